"""The shop's page: its lists are the profiles', its words can be read from the file, one input makes one file."""

import itertools
import re
import shutil
import zlib
from dataclasses import replace

import numpy as np
import pytest

from portviz.cli import run
from portviz.distribution.designs import varied_designs
from portviz.distribution.study import study_designs, usual_lifts
from portviz.errors import JobError, UsageError
from portviz.job.limits import read_limits
from portviz.job.model import Cut
from portviz.job.read import read_job
from portviz.scene.paper import in_style
from portviz.scene.section_parts import design_section
from portviz.scene.shop_sheet import (
    NOTHING_OUTSIDE,
    contact_rows,
    cutter_list,
    finding_lines,
    sheet_figure,
    valve_rows,
    write_sheet,
)


@pytest.fixture(scope="module")
def job(examples):
    return read_job(examples / "sidecar_intake", tables=False)


def of_job(job):
    """The section and the study that a job's sheet is made of."""
    return design_section(job, "present", 0.0), study_designs(job, varied_designs(job, {}), usual_lifts(job, None))


def pdf_words(data):
    """The words of a PDF, but for signs beyond the first 256; a line break between strings shown apart.

    Letters are told by their number, as matplotlib writes TrueType; strings stand in parentheses or angle brackets and
    are shown by Tj and TJ (ISO 32000-1, 7.3.4 and 9.4.3, from memory).
    """
    shown = []
    for packed in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", data, re.DOTALL):
        try:
            content = zlib.decompress(packed)
        except zlib.error:
            continue
        if b"BT" not in content:
            continue
        for operand in re.findall(
            rb"((?:\[.*?\])|(?:\((?:\\.|[^\\()])*\))|(?:<[0-9A-Fa-f]*>))\s*T[jJ]", content, re.DOTALL
        ):
            letters = b""
            for plain, coded in re.findall(rb"\(((?:\\.|[^\\()])*)\)|<([0-9A-Fa-f]+)>", operand, re.DOTALL):
                letters += bytes.fromhex(coded.decode()) if coded else _unescaped(plain)
            shown.append(letters.decode("utf-16-be") if b"\0" in letters else letters.decode("latin-1"))
    return "\n".join(shown)


def _unescaped(text):
    def one(match):
        sign = match[1]
        return bytes([int(sign, 8)]) if sign[:1].isdigit() else {b"n": b"\n", b"r": b"\r", b"t": b"\t"}.get(sign, sign)

    return re.sub(rb"\\([0-7]{1,3}|.)", one, text, flags=re.DOTALL)


def test_cuts_stand_in_cutting_order_with_their_ends(job):
    section, _ = of_job(job)
    rows = cutter_list(section)
    assert [row.name for row in rows] == ["seat band", "top cut", "bottom cut 1", "bottom cut 2", "on to the throat"]
    assert [row.angle for row in rows] == ["45°", "30°", "60°", "70°", "70°"]
    # Each cone takes width x cos(angle) of the radius, from the band's outer diameter of 40.6 mm.
    ends = 40.6 - 2.0 * np.cumsum([0.0, *(w * np.cos(np.radians(a)) for a, w in ((45, 1.6), (60, 1.5), (70, 1.6)))])
    assert [row.outer for row in rows[2:]] == [f"{end:.2f} mm" for end in ends[1:]]
    assert rows[0].outer == rows[1].inner == "40.60 mm"
    assert rows[1].outer == f"{40.6 + 2.0 * 1.2 * np.cos(np.radians(30.0)):.2f} mm"
    assert rows[-1].inner == "35.50 mm"
    for this, following in itertools.pairwise(rows[2:]):
        assert this.inner == following.outer


def test_trimmed_cuts_say_so_and_those_without_room_are_no_step(job):
    cuts = tuple(Cut(np.radians(55.0 + 5.0 * number), 1.2e-3) for number in range(5))
    section, _ = of_job(replace(job, seat=replace(job.seat, bottom_cuts=cuts)))
    rows = cutter_list(section)
    trimmed = [row for row in rows if row.remark.startswith("trimmed at the throat from 1.20 mm")]
    assert len(trimmed) == 1
    assert trimmed[0].inner == "35.50 mm"
    after = rows[rows.index(trimmed[0]) + 1 :]
    assert after
    assert all(row.left_out for row in after)
    assert not any(row.left_out for row in rows[: rows.index(trimmed[0]) + 1])


def test_contact_and_valve_are_the_studys(job):
    section, study = of_job(job)
    rows = dict(contact_rows(section, study, 0))
    assert rows["contact width, along the cone"] == "1.60 mm"
    assert rows["interference angle"] == "none"
    # Head 41.0 mm, seat 40.6 mm: 0.2 mm on each side; 35.5 / 41.
    assert rows["face beyond the band, radially"] == "0.20 mm"
    assert rows["throat over head"] == "0.866"
    assert rows["gap limits up to a lift of"] == f"{study.throat_takes_over()[0] * 1e3:.2f} mm"
    assert dict(valve_rows(section))["back cut"] == "30°, 1.00 mm wide"
    flat = replace(job, valve=replace(job.valve, face_angle=np.radians(44.0), seat_force=300.0))
    rows = dict(contact_rows(*of_job(flat), 0))
    assert rows["contact width, along the cone"] == "line"
    assert rows["interference angle"] == "1°, face flatter than seat"
    assert "worn in, from and to" in rows
    assert rows["line's diameter"] == "40.60 mm"
    assert "mean pressure by the spring" not in rows
    forced = replace(job, valve=replace(job.valve, seat_force=300.0, gas_pressure=60e5))
    outer = 20.3e-3
    area = np.pi * (outer**2 - (outer - 1.6e-3 * np.cos(np.pi / 4)) ** 2)
    rows = dict(contact_rows(*of_job(forced), 0))
    assert rows["mean pressure by the spring"] == f"{300.0 / area / 1e6:.2f} MPa, frictionless"
    # Statics: the gas presses on the circle within the contact's mean radius.
    middle = outer - 0.5 * 1.6e-3 * np.cos(np.pi / 4)
    force = 300.0 + 60e5 * np.pi * middle**2
    assert rows["mean pressure by spring and gas"] == f"{force / area / 1e6:.1f} MPa, frictionless"


def odd_jobs(job):
    """Jobs with none, one and five cuts, wide and narrow ones, and with much to be found."""
    for count in (0, 1, 3, 5):
        for width in (0.2e-3, 1.5e-3):
            cuts = tuple(Cut(np.radians(50.0 + 5.0 * number), width) for number in range(count))
            yield replace(job, seat=replace(job.seat, bottom_cuts=cuts))
    valve = replace(job.valve, margin=0.3e-3, face_angle=np.radians(43.0), fillet_radius=0.0, back_cut=None)
    yield replace(
        job,
        title="A title as long as they come, " * 6,
        valve=valve,
        seat=replace(job.seat, width=2.6e-3, outer_diameter=41.6e-3, throat_diameter=30e-3, top_cut=None),
    )


@pytest.mark.parametrize("place", range(9))
def test_nothing_on_the_page_overlaps_or_leaves_it(job, place):
    section, study = of_job([*odd_jobs(job)][place])
    with in_style():
        figure = sheet_figure(
            replace(section, name="a design of a long name " * 4), study, 0, *read_limits(job), "2026-11-25"
        )
        renderer = figure.canvas.get_renderer()
        texts = [text for text in figure.axes[0].texts if text.get_text().strip()]
        boxes = [(text.get_text(), text.get_window_extent(renderer)) for text in texts]
    for words, box in boxes:
        assert box.x0 >= 0, words
        assert box.y0 >= 0, words
        assert box.x1 <= figure.bbox.width, words
        assert box.y1 <= figure.bbox.height, words
    for (one, a), (other, b) in itertools.combinations(boxes, 2):
        across, along = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
        # Lines of a paragraph may touch: a letter's tail reaches below its line.
        assert across <= 0.5 or along <= 3.0, (one, other)


def test_the_words_can_be_read_from_the_pdf(examples, tmp_path):
    file = tmp_path / "sheet.pdf"
    job = examples / "sidecar_intake"
    command = ["sheet", str(job), str(file), "--designs", str(job / "designs.toml"), "--design", "30 deg seat"]
    assert run([*command, "--date", "2026-11-25"]) == 0
    data = file.read_bytes()
    words = " ".join(pdf_words(data).split())
    for said in (
        "Hill-climb sidecar single, intake (invented)",
        "30 deg seat",
        "2026-11-25",
        "seat band: 30°, 1.60 mm",
        "contact: 1.60 mm wide, mean Ø 39.21 mm",
        "Cutters",
        "the valve sinks by at least",
        "a machinist must check what is left of the insert's edge and of its press",
        "Against the present design: ",
        "contact diameter, measured",
        "throat diameter, measured",
        "spring's installed height, measured",
        "runout of the seat",
        "checked by",
        "Wear eye",
        "makers' limits",
    ):
        assert said in words, said
    # Letters are shapes of a TrueType font within the file, on one page of A4; no moment of making.
    assert b"/FontFile2" in data
    assert b"DejaVuSans" in data
    assert b"/CreationDate" not in data
    box = re.search(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]", data)
    assert [float(each) * 25.4 / 72.0 for each in box.groups()] == pytest.approx([210.0, 297.0], abs=0.5)
    assert data.count(b"/Type /Page ") == 1


def test_findings_are_on_the_page_with_their_source(job, tmp_path):
    thin = replace(job, valve=replace(job.valve, margin=0.5e-3))
    section, study = of_job(thin)
    write_sheet(section, study, 0, *read_limits(job), tmp_path / "a.pdf")
    words = pdf_words((tmp_path / "a.pdf").read_bytes()).replace("\n", " ")
    assert "Margin 0.50 mm is outside the usual range, 0.8 to 3 mm (common practice, no source)" in words


def test_what_is_to_be_checked_stands_far_from_the_fields_to_sign(job):
    section, study = of_job(job)
    with in_style():
        figure = sheet_figure(section, study, 0, *read_limits(job), None)
    assert any(NOTHING_OUTSIDE in words for words in finding_lines(section, study, 0, *read_limits(job)))
    assert "that is no permission" in NOTHING_OUTSIDE
    at = {text.get_text(): text.get_position()[1] for text in figure.axes[0].texts}
    # The drawing and all lists stand between them; A4 is 11.69 inch tall.
    assert at["To check"] - at["checked by"] > 0.6 * 11.69
    assert at["Cutters"] < at["To check"]


def test_the_title_of_the_template_and_the_change_are_told(examples, tmp_path, capsys):
    folder = tmp_path / "job"
    shutil.copytree(examples / "sidecar_intake", folder)
    text = (folder / "job.toml").read_text(encoding="utf-8")
    text = text.replace("Hill-climb sidecar single, intake (invented)", "New job")
    (folder / "job.toml").write_text(text.replace("[seat]", 'seat_force = "300 N"\n[seat]'), encoding="utf-8")
    command = ["sheet", str(folder), str(tmp_path / "a.pdf"), "--designs", str(folder / "designs.toml")]
    assert run([*command, "--design", "narrower seat, same contact"]) == 0
    said = capsys.readouterr()
    page = " ".join(pdf_words((tmp_path / "a.pdf").read_bytes()).split())
    for words in (page, said.err):
        assert "itle is still the template's" in words
    for words in (page, said.out):
        assert "seat width 1.20 mm (now 1.60 mm)" in words
        assert "a machinist must check" in words
    # Statics: 300 N over the ring of a 1.2 mm band round a mean diameter of 40.32 mm less its own 1.2 cos 45 deg.
    band = 1.2e-3 * np.cos(np.pi / 4)
    pressure = 300.0 / (np.pi * (40.32e-3 - band) * band) / 1e6
    assert f"Mean contact pressure by the spring: {pressure:.2f} MPa" in said.out
    assert f"{pressure:.2f} MPa" in page


@pytest.mark.parametrize("ending", [".pdf", ".png"])
def test_the_same_input_makes_the_same_file(examples, tmp_path, monkeypatch, ending):
    written = []
    for number in range(2):
        file = tmp_path / f"{number}{ending}"
        assert run(["sheet", str(examples / "tractor_exhaust"), str(file)]) == 0
        written.append(file.read_bytes())
        monkeypatch.setenv("SOURCE_DATE_EPOCH", "86400")
    assert written[0] == written[1]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["a.svg"], "must end in .pdf or .png"),
        (["a.pdf", "--date", "25.11.2026"], "write year-month-day"),
        (["a.pdf", "--date", "2026-13-01"], "is no date"),
        (["a.pdf", "--design", "x"], "--designs designs.toml"),
    ],
)
def test_what_can_not_be_is_refused(examples, tmp_path, arguments, words):
    with pytest.raises(UsageError) as refusal:
        run(["sheet", str(examples / "sidecar_intake"), str(tmp_path / arguments[0]), *arguments[1:]])
    assert words in str(refusal.value)
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_there_stays(examples, tmp_path):
    file = tmp_path / "a.pdf"
    file.write_text("mine", encoding="utf-8")
    with pytest.raises(JobError, match="there already"):
        run(["sheet", str(examples / "sidecar_intake"), str(file)])
    assert file.read_text(encoding="utf-8") == "mine"
    assert run(["sheet", str(examples / "sidecar_intake"), str(file), "--overwrite"]) == 0
    assert file.read_bytes().startswith(b"%PDF")
