"""The printed report, read back with pypdf, a general PDF library, and drawn by nobody of us.

What a PDF file holds (fonts with their programs, /Lang, document information, outlines, the matrix that places a
picture) is named as in ISO 32000-1.
"""

from __future__ import annotations

import contextlib
import datetime
import io
import json
import math
import os
import re
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from matplotlib.figure import Figure
from PIL import Image
from pypdf import PdfReader

from portviz.__main__ import main
from portviz.distribution.uncertainty import reduction_uncertainty
from portviz.errors import JobError, UsageError
from portviz.report import page_pictures
from portviz.report.build import build_report
from portviz.report.content import Chart, Evidence, Finding, Letterhead, Logo, Report, Section, TextTable
from portviz.report.document import document_bytes, write_document

DATE = "2026-11-25"
HOSTILE = '<img src="file:///etc/hostname"/> & <para> </para> <a href="http://x.invalid">a</a> &lt; ]]> %s {0} <br/>'
#: Smallest type that is still readable in print: the promise of the document, no source.
SMALLEST_TYPE = 6.5
#: Left at a page's upper end [pt]; printers take 5 mm, 14 pt, and more: common practice, no source.
MARGIN = 30
#: A4 is 210 mm x 297 mm (ISO 216); a point is 1/72 inch.
A4 = (210 / 25.4 * 72, 297 / 25.4 * 72)


def picture(width: int, height: int) -> Logo:
    made = io.BytesIO()
    Image.new("RGBA", (width, height), (20, 60, 90, 255)).save(made, "PNG")
    return Logo(made.getvalue(), width, height)


def line_chart(key: str, width: float = 7.0, height: float = 2.0) -> Chart:
    def make() -> Figure:
        figure = Figure(figsize=(width, height))
        figure.add_subplot().plot([0, 1], [0, 1])
        return figure

    return Chart(key, f"Chart {key}", f"Shows {key}.", make)


@pytest.fixture(scope="module")
def example(sidecar) -> Report:
    head = Letterhead(
        shop="Hillside Head Works (invented)",
        address="4 Foundry Lane\nUpper Marsh",
        contact="flow@example.invalid",
        logo=picture(1200, 480),
        customer="Sidecar team (invented)",
        head="Single, intake",
        order="W-0417",
    )
    return build_report(sidecar, date=DATE, letterhead=head)


#: As large as a picture of a run is, and as no chart or logo is [pixels].
DRAWN = (583, 361)


class Drawn:
    """Stands for what draws the runs: one plain picture each; keeps which runs were asked for."""

    def __init__(self, reduction, runs):
        self.found = {run: picture(*DRAWN).png for run in runs}
        Drawn.asked = tuple(runs)

    def __enter__(self):
        return lambda: self.found

    def __exit__(self, *error):
        pass


@pytest.fixture(scope="module")
def printed(example) -> PdfReader:
    return PdfReader(io.BytesIO(document_bytes(example, picture=Drawn)))


@pytest.fixture(scope="module")
def pages(printed) -> list[str]:
    """The words of each page, one blank between them."""
    return [" ".join(page.extract_text().split()) for page in printed.pages]


@pytest.fixture(scope="module")
def bare(sidecar) -> Report:
    """Nothing but a title and a date."""
    known = reduction_uncertainty(sidecar, runs=(0,))
    return Report("Bare", DATE, Letterhead(), "", (), (), (), (), "", (), (), sidecar, known, (0,), (), None)


def with_table(bare: Report, *tables: TextTable, paragraphs: tuple[str, ...] = ()) -> Report:
    return replace(bare, sections=(Section("tables", "Tables", paragraphs, (), tables),))


def reader(report: Report) -> PdfReader:
    return PdfReader(io.BytesIO(document_bytes(report, picture=Drawn)))


def words(pdf: PdfReader) -> str:
    """Return all words with one blank between them, whatever the lines."""
    return " ".join(" ".join(page.extract_text() for page in pdf.pages).split())


def letters(pdf: PdfReader) -> str:
    """Return all letters without what parts them: a long word may stand on several lines."""
    return "".join("".join(page.extract_text() for page in pdf.pages).split())


def fonts(pdf: PdfReader):
    """Yield every font that a page or a form on it can use, once."""
    seen = set()
    waiting = [page["/Resources"] for page in pdf.pages]
    while waiting:
        resources = waiting.pop()
        for font in resources.get("/Font", {}).values():
            if font.idnum not in seen:
                seen.add(font.idnum)
                yield font.get_object()
        others = (each.get_object() for each in resources.get("/XObject", {}).values())
        waiting += [each["/Resources"] for each in others if each["/Subtype"] == "/Form"]


def placed_pictures(page):
    """Yield name, width and height [pt] and pixels of each picture on a page, by its transformation matrix."""
    matrix, kept = np.eye(3), []
    for operands, operator in page.get_contents().operations:
        if operator == b"q":
            kept.append(matrix)
        elif operator == b"Q":
            matrix = kept.pop()
        elif operator == b"cm":
            a, b, c, d, e, f = (float(each) for each in operands)
            matrix = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ matrix
        elif operator == b"Do":
            made = page["/Resources"]["/XObject"][operands[0]].get_object()
            if made["/Subtype"] == "/Image":
                width, height = math.hypot(*matrix[0, :2]), math.hypot(*matrix[1, :2])
                yield operands[0], width, height, (made["/Width"], made["/Height"]), matrix[2, :2]


def test_the_flow_table_prints_what_summary_prints_as_json(pages, examples):
    """The values are those of `summary --json`, in litres a second and millimetres, with the decimals of the page."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(io.StringIO()):
        assert main(["summary", str(examples / "sidecar_intake"), "--json"]) == 0
    text = " ".join(pages)
    for run in json.loads(out.getvalue())["runs"]:
        assert f"Run “{run['run']}”: flow" in text
        for lift in run["lifts"]:
            row = [
                f"{1e3 * lift['lift_m']:.2f}",
                f"{lift['lift_over_diameter']:.3f}",
                f"{1e3 * lift['flow_m3_s']:.1f}",
                f"{lift['discharge_coefficient']:.3f}",
                f"{lift['flow_area_coefficient']:.3f}",
                f"{lift['closure']:.3f}",
                lift["limited_by"],
            ]
            assert " ".join(row) in text


def test_the_example_is_a_few_a4_pages_that_count_themselves(printed, pages):
    count = len(printed.pages)
    # A customer reads a few pages: common practice, no source.
    assert 3 <= count <= 6
    for number, page in enumerate(printed.pages, start=1):
        assert tuple(map(float, page.mediabox[2:])) == pytest.approx(A4, abs=0.5)
        assert pages[number - 1].endswith(f"{DATE} page {number} of {count}")


def test_findings_stand_first_with_signs_and_words_for_verdicts(example, pages):
    text = " ".join(pages)
    assert text.index("Main findings") < text.index("Valve, seat and bench") < text.index(example.sections[0].title)
    for finding in example.findings:
        assert " ".join(finding.words.split()) in text
        # Of more than four places the first, one between and the last are printed, and how many more there are.
        last = len(finding.evidence) - 1
        printed = finding.evidence if last < 4 else [finding.evidence[place] for place in (0, round(last / 2), last)]
        assert last < 4 or f"and {last - 2} more" in text
        for each in printed:
            sign = {"higher": "▲ ", "lower": "▼ ", "not shown": "○ "}.get(each.verdict, "– ")
            assert sign + " ".join(each.words.split()) in text
    assert "▲ higher, ▼ lower, ○ not shown" in text
    for part in (example.summary, *example.method, example.cautions, *example.warnings):
        assert " ".join(part.split()) in text


def test_letterhead_stands_on_the_first_page(pages, example):
    head = example.letterhead
    for part in (head.shop, *head.address.split("\n"), head.contact, head.customer, head.head, head.order, DATE):
        assert part in pages[0]


def test_every_font_is_embedded_and_is_the_one_that_matplotlib_ships(printed):
    found = list(fonts(printed))
    assert {str(font["/BaseFont"]).partition("+")[2] for font in found} == {"DejaVuSans", "DejaVuSans-Bold"}
    for font in found:
        # A subset is named by six letters and a plus sign; /FontFile2 holds a TrueType program.
        assert re.match(r"/[A-Z]{6}\+", font["/BaseFont"])
        assert len(font["/FontDescriptor"]["/FontFile2"].get_data()) > 1000


def test_what_the_file_says_of_itself(printed, example):
    about = printed.metadata
    assert about.title == example.title
    assert about.author == example.letterhead.shop
    assert about.creator == "portviz"
    assert about.subject == "Flow-bench report, head Single, intake, order W-0417, for Sidecar team (invented)"
    midnight = datetime.datetime.fromisoformat(DATE).replace(tzinfo=datetime.UTC)
    assert about.creation_date == about.modification_date == midnight
    root = printed.trailer["/Root"]
    assert root["/Lang"] == "en-GB"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]


def test_the_outline_leads_to_the_pages_of_the_headings_and_nothing_leads_out(printed, pages, example):
    titles = [entry.title for entry in printed.outline]
    told = ["Readings to distrust, and other warnings"] if example.warnings else []
    closing = [*told, "How it was found, and how well it is known", "Cautions"]
    # All sections but that whose tables are the page's alone.
    shown = [each.title for each in example.sections if each.key != "stations"]
    assert titles == ["Main findings", "Valve, seat and bench", *shown, *closing]
    for entry in printed.outline:
        assert entry.title in pages[printed.get_destination_page_number(entry)]
    for page in printed.pages:
        assert "/Annots" not in page
    assert not {"/OpenAction", "/AA", "/AcroForm"} & set(printed.trailer["/Root"])


def test_charts_are_sharp_within_the_page_and_stand_with_their_words(printed, pages, example):
    charts = [each for section in example.sections for each in section.charts if not each.detail]
    # The pictures of the runs stand for the fields unrolled.
    charts = [each for each in charts if not each.key.startswith("unrolled")]
    found, drawn = [], 0
    for number, page in enumerate(printed.pages):
        for _, width, height, (across, up), (x, y) in placed_pictures(page):
            assert x >= 40
            assert y >= 40
            assert x + width <= A4[0] - 40
            assert y + height <= A4[1] - MARGIN
            dots = min(across / (width / 72), up / (height / 72))
            if (across, up) == DRAWN:
                drawn += 1
                assert dots >= 200
                continue
            assert dots >= 250
            found.append((number, width))
    assert drawn == 2
    # The first picture is the logo.
    assert len(found) == 1 + len(charts)
    for (number, _), chart in zip(found[1:], charts, strict=True):
        title, shows = " ".join(chart.title.split()), " ".join(chart.shows.split())
        assert title in pages[number]
        assert shows in pages[number]


def test_no_type_is_smaller_than_can_be_read(printed):
    sizes = []
    for page in printed.pages:
        page.extract_text(
            visitor_text=lambda text, _cm, tm, _font, size: sizes.append(abs(size * tm[3])) if text.strip() else None
        )
    assert min(sizes) >= SMALLEST_TYPE


LEFT_OUT = "Left out here, and told by the page (.html) of this report: "


def test_details_are_left_to_the_page_and_named(bare):
    """In small type after the last section; what differs by the run alone is named once."""
    shown, *hidden = (
        TextTable(name, (f"head {name}",), (("1",),), detail=name != "kept")
        for name in ("kept", "Run “x”: share [%]", "Run “y”: share [%]", "Run “x”: sums", "long: " + "w" * 70)
    )
    charts = (line_chart("small"), replace(line_chart("more"), detail=True))
    parts = (Section("a", "Part", (), charts, (shown, *hidden)), Section("b", "Hidden", (), (), (hidden[2],)))
    sheet = TextTable("sheet", ("head sheet",), (("1",),), detail=True)
    whole = replace(bare, runs=(0, 1), sections=parts, facts=(sheet,), method=("How.",))
    text = words(reader(whole))
    assert "head kept" in text
    assert text.count("Chart small") == 1
    for name in ("Run “", "sheet", "long"):
        assert f"head {name}" not in text
    told = "Valve, seat and bench (sheet); Part (Chart more, share, sums of “x”, long); Hidden (sums of “x”)."
    assert f"{LEFT_OUT}{told} How it was found" in text
    assert LEFT_OUT not in words(reader(replace(whole, sections=(), facts=(replace(sheet, detail=False),))))


def test_the_example_names_all_that_it_leaves_out(example, pages):
    before, _, after = " ".join(pages).partition(LEFT_OUT)
    told = after[: after.index(" How it was found")]
    # After all sections that are printed: that of the stations is not.
    assert all(each.title in before for each in example.sections if each.key != "stations")
    for section in example.sections:
        if any(each.detail for each in (*section.charts, *section.tables)):
            assert f"{section.title} (" in told
    assert "Velocity over angle and lift" in told
    assert "the numbers that the findings rest on" in told


def test_pictures_of_the_runs_stand_first_round_the_valve_with_their_scale(example, sidecar, printed, pages):
    (place,) = (at for at, page in enumerate(pages) if "Valve and curtain, each run" in page)
    text = pages[place]
    assert text.index("Where the air passes round the valve") < text.index("Valve and curtain")
    whole = " ".join(pages)
    (section,) = (each for each in example.sections if each.key == "round")
    assert whole.index("Valve and curtain") < whole.index(section.charts[0].title)
    drawn = [each for each in placed_pictures(printed.pages[place]) if each[3] == DRAWN]
    assert len(drawn) == len(example.runs)
    # Side by side, in the shape that they were drawn in.
    assert drawn[0][4][1] == pytest.approx(drawn[1][4][1])
    assert drawn[1][4][0] > drawn[0][4][0] + drawn[0][1]
    for _, width, height, (across, up), _ in drawn:
        assert width / height == pytest.approx(across / up, rel=1e-3)
    for run in example.runs:
        lift = 1e3 * max(sidecar.lift[group] for group in sidecar.groups_of(run))
        assert f"“{sidecar.runs[run]}”, {lift:.2f} mm" in text
    # One scale that holds every velocity of all runs, its ends in words and as numbers beside it.
    low, high, unit = re.search(r"one scale for all runs and lifts, ([\d.]+) to ([\d.]+) (m/s)\.", text).groups()
    assert float(low) <= sidecar.stations.velocity.min() < sidecar.stations.velocity.max() <= float(high)
    marks = re.search(rf"\[{unit}\]((?: [\d.]+)+) ", text).group(1).split()
    assert (marks[0], marks[-1]) == (low, high)
    steps = np.diff([float(each) for each in marks])
    assert steps == pytest.approx(np.full(len(steps), steps[0]))
    assert "Dots: measured at the stations. Colours between them: interpolated" in text


@pytest.mark.parametrize(("runs", "asked"), [((0,), (0,)), ((0, 1, 0, 1), (0, 1, 0, 1)), ((0, 1, 1, 1, 1), (0, 1))])
def test_four_runs_are_drawn_two_in_a_row_and_of_more_the_first_and_the_last(example, runs, asked):
    section = replace(next(each for each in example.sections if each.key == "round"), charts=(), tables=())
    pdf = reader(replace(example, runs=runs, letterhead=Letterhead(), findings=(), facts=(), sections=(section,)))
    assert Drawn.asked == asked
    drawn = [each[4] for page in pdf.pages for each in placed_pictures(page)]
    assert len(drawn) == len(asked)
    assert len({x for x, _ in drawn}) == min(len(asked), 2)
    assert len({y for _, y in drawn}) == math.ceil(len(asked) / 2)


def test_where_nothing_can_be_drawn_the_report_says_less(example, monkeypatch):
    """Without OpenGL the process that draws ends without a word."""
    (section,) = (each for each in example.sections if each.key == "round")
    part = replace(example, letterhead=Letterhead(), findings=(), facts=(), sections=(section,))
    monkeypatch.setattr(page_pictures, "draw_runs", lambda *args, **options: os._exit(3))
    monkeypatch.setattr(page_pictures.platform, "system", lambda: "Linux")
    content = document_bytes(part)
    assert content == document_bytes(part, picture=None)
    text = words(PdfReader(io.BytesIO(content)))
    assert "Valve and curtain" not in text
    # The field of the last run stands in their place.
    shown = [each for each in section.charts if not each.detail]
    assert len(shown) > 1
    for each in shown:
        assert each.title in text


def test_the_drawn_pictures_make_the_same_bytes_again(example, opengl):
    (section,) = (each for each in example.sections if each.key == "round")
    part = replace(example, letterhead=Letterhead(), findings=(), facts=(), sections=(replace(section, charts=()),))
    content = document_bytes(part)
    assert content == document_bytes(part)
    page = PdfReader(io.BytesIO(content)).pages[0]
    drawn = [page["/Resources"]["/XObject"][name].get_object() for name, *_ in placed_pictures(page)]
    assert len(drawn) == 2
    assert drawn[0].get_data() != drawn[1].get_data()
    for each in drawn:
        # Three colours a dot, many of them: more than a plain sheet.
        assert len({*zip(*[iter(each.get_data())] * 3, strict=True)}) > 1000


def test_invented_data_are_told_at_the_very_end(pages, bare):
    told = "The data of this report are invented; no bench, head or person stands behind them."
    assert told in pages[-1]
    assert pages[-1].index("Cautions") < pages[-1].index(told)
    assert told not in words(reader(replace(bare, cautions="Take care.")))


def test_notes_stand_under_their_tables_also_side_by_side(bare):
    notes = tuple(f"{name} " + "note of several words that needs more lines than one or two or three" for name in "PQ")
    tables = tuple(
        TextTable(f"T{name[0]}", ("what", "value"), (("a width of it", "1.00 mm"), ("depth", "2.00 mm")), name)
        for name in notes
    )
    page = reader(replace(bare, facts=tables)).pages[0]
    found = {}
    page.extract_text(
        visitor_text=lambda text, cm, tm, _font, size: found.setdefault(
            text.strip()[:6], (tm[4] + cm[4], tm[5] + cm[5], size)
        )
    )
    text = words(reader(replace(bare, facts=tables)))
    assert all(note in text for note in notes)
    assert found["P note"][1] == pytest.approx(found["Q note"][1], abs=0.1)
    assert found["Q note"][0] == pytest.approx(found["TQ"][0], abs=0.1)
    for name in ("P note", "Q note"):
        assert found[name][1] < found["depth"][1]
        assert found[name][2] <= 7.5


def test_a_chart_near_the_end_of_a_page_gives_way_a_little(bare):
    """It is never smaller than by a tenth, and its words are on its page."""
    wide = []
    for lines in range(24, 36):
        before = Section("a", "Before", tuple(f"line {number}" for number in range(lines)))
        pdf = reader(replace(bare, sections=(before, Section("b", "After", (), (line_chart("it", 7.0, 3.0),)))))
        ((page, width),) = [(page, each[1]) for page in pdf.pages for each in placed_pictures(page)]
        assert "Shows it." in page.extract_text()
        wide.append(width)
    assert 0.9 * max(wide) <= min(wide) < 0.99 * max(wide)


SCRIPT = """
import sys
from portviz.distribution.reduce import reduce_job
from portviz.distribution.uncertainty import reduction_uncertainty
from portviz.job.read import read_job
from portviz.report.content import *
from portviz.report.document import document_bytes
from portviz.scene.plots import plot_flow
made = reduce_job(read_job(sys.argv[1]))
known = reduction_uncertainty(made)
words = TextTable("Table “é”", ("a [mm]", "b"), tuple((str(i), "x ▲ y") for i in range(90)), "note", frozenset({1}))
chart = Chart("flow", "Flow", "Shows flow.", lambda: plot_flow(made, known))
part = Section("s", "Section", ("Words.",), (chart,), (words,))
found = (Finding("change", "More.", (Evidence("here", verdict="higher"), Evidence("there", verdict="lower"))),)
report = Report("T", "2026-11-25", Letterhead("Shop"), "S", found, (words,), (part,), ("M",), "C", ("W",), (),
                made, known, (0,), (), None)
open(sys.argv[2], "wb").write(document_bytes(report))
"""


def test_the_same_report_makes_the_same_bytes_in_another_process(examples, tmp_path):
    """Other seeds of hashing, another zone, a build's date and settings of plots do not show, nor the time of day."""
    (tmp_path / "odd").mkdir()
    (tmp_path / "odd" / "matplotlibrc").write_text("font.size: 21\nsavefig.dpi: 33\naxes.facecolor: red\n")
    surroundings = (
        {"PYTHONHASHSEED": "1", "TZ": "UTC"},
        {
            "PYTHONHASHSEED": "2",
            "TZ": "Asia/Tokyo",
            "MATPLOTLIBRC": str(tmp_path / "odd"),
            "SOURCE_DATE_EPOCH": "86400",
        },
    )
    running = [
        subprocess.Popen(
            [sys.executable, "-c", SCRIPT, str(examples / "sidecar_intake"), str(tmp_path / f"{number}.pdf")],
            env={**os.environ, **each},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        for number, each in enumerate(surroundings)
    ]
    ended = [(*each.communicate(timeout=120), each.returncode) for each in running]
    assert [code for _, _, code in ended] == [0, 0], ended
    content = (tmp_path / "0.pdf").read_bytes()
    assert content == (tmp_path / "1.pdf").read_bytes()
    # Every date in the file is the report's, and none is the drawing library's.
    assert set(re.findall(rb"D:\d{4,14}", content)) == {b"D:20261125000000"}
    assert b"atplotlib" not in content


def test_a_table_of_200_rows_has_its_heads_on_every_page_and_every_row_once(bare):
    rows = tuple((f"row{number:03d}", f"{number / 7:.3f}") for number in range(200))
    table = TextTable("Long table", ("name", "value [mm]"), rows, "The note below.", frozenset({0}))
    pdf = reader(with_table(bare, table))
    bodies = [page.extract_text() for page in pdf.pages]
    assert len(bodies) >= 3
    told = []
    for body in bodies:
        lines = body.splitlines()
        numbers = [lines.index(line) for line in lines if line.startswith("row")]
        told += [lines[place : place + 2] for place in numbers]
        assert lines.index("Long table") < lines.index("name") < lines.index("[mm]") < numbers[0]
    assert [tuple(each) for each in told] == list(rows)
    # At least three rows stand with the head and with the end.
    assert min(body.count("row") for body in bodies) >= 3
    assert "The note below." in bodies[-1]


def test_a_table_wider_than_the_paper_goes_on_in_groups_that_repeat_what_tells_rows_apart(bare):
    columns = ("lift [mm]", "station", *(f"quantity {number} [m/s]" for number in range(24)))
    rows = tuple(
        (f"{lift}.00", f"{angle}°", *(f"{lift}{angle}.{number:03d}" for number in range(24)))
        for lift in (1, 2)
        for angle in (0, 90)
    )
    pdf = reader(with_table(bare, TextTable("Wide", columns, rows)))
    text = words(pdf)
    groups = re.findall(r"Wide \((\d) of (\d)\)", text)
    assert [int(number) for number, _ in groups] == list(range(1, len(groups) + 1))
    assert len(groups) > 1
    for row in rows:
        # Lift alone does not tell rows apart, lift and station do: both stand in each group.
        assert text.count(f"{row[0]} {row[1]} ") == len(groups)
        for each in row[2:]:
            assert text.count(each) == 1


def test_hostile_words_are_printed_as_they_stand(bare):
    pdf = reader(
        replace(
            bare,
            title=HOSTILE,
            summary=HOSTILE,
            letterhead=Letterhead(HOSTILE, HOSTILE, HOSTILE, None, HOSTILE, HOSTILE, HOSTILE),
            findings=(Finding("change", HOSTILE, (Evidence(HOSTILE),)),),
            facts=(TextTable(HOSTILE, (HOSTILE, "b"), ((HOSTILE, "1"),), HOSTILE, frozenset({0})),),
            sections=(Section("s", HOSTILE, (HOSTILE,), (replace(line_chart("c"), title=HOSTILE, shows=HOSTILE),)),),
            method=(HOSTILE,),
            cautions=HOSTILE,
            warnings=(HOSTILE,),
        )
    )
    # Letterhead 6, title and summary 2, finding 2, table 4, section 4, and 3 at the end.
    assert letters(pdf).count("".join(HOSTILE.split())) == 21
    assert pdf.metadata.title == HOSTILE
    # One picture: the chart. Nothing was fetched, nothing leads anywhere.
    assert sum(1 for page in pdf.pages for _ in placed_pictures(page)) == 1
    assert all("/Annots" not in page for page in pdf.pages)


def test_signs_that_steer_are_left_out_and_unknown_letters_are_boxes(bare):
    """Bidirectional controls turn lines round (Unicode Annex 9); a lone surrogate is no letter at all."""
    odd = "a\x00b\x07c\u202ed\u2066e\ud800f\u200bg 日本 \U0001f6de end"
    pdf = reader(replace(bare, title=odd, summary=odd, facts=(TextTable(odd, (odd,), ((odd,),)),)))
    text = words(pdf)
    # What the font does not have is its first glyph, a box, which stands for no letter.
    assert re.search(r"abcde\W?fg\W+end", text)
    assert not re.search("[\u202e\u2066\u200b\x07]", text)
    assert pdf.metadata.title.startswith("abcdefg")


LONG_WORD = "Windungszahl" * 42
MANY_WORDS = " ".join(["a good many words that go on and on"] * 60)


LONG_CELLS = tuple((str(number), LONG_WORD[:500], MANY_WORDS[:500], f"{number}.0") for number in range(12))


def only(*tables: TextTable) -> dict[str, tuple[Section, ...]]:
    return {"sections": (Section("tables", "Tables", (), (), tables),)}


#: What is changed in a report with nothing in it.
EXTREMES = {
    "nothing": {},
    "title of 200 letters": {"title": "W" * 200, "letterhead": Letterhead("W" * 300)},
    "60 findings": {
        "findings": tuple(
            Finding("change", f"is{number}. {MANY_WORDS[: 5 * number]}", (Evidence(f"by{number}. " + "x" * number),))
            for number in range(60)
        )
    },
    "cells of 500 letters": only(
        TextTable(LONG_WORD, ("n", "long", "many", "v"), LONG_CELLS, MANY_WORDS, frozenset({1, 2})),
        TextTable("numbers", (LONG_WORD, MANY_WORDS), ((LONG_WORD, LONG_WORD),)),
    ),
    "a cell longer than pages": only(TextTable("t", ("a", "b"), (("1", MANY_WORDS * 9),), words=frozenset({1}))),
    "empty tables": only(TextTable("", ("",), (("",),)), TextTable("no rows", ("a", "b"), ())),
    "no columns": only(TextTable("t", (), ())),
    "empty sections": {"sections": (Section("a", "Empty"), Section("b", LONG_WORD, ("", " ")))},
    "a letterhead longer than a page": {
        "letterhead": Letterhead(LONG_WORD, "\n".join(["line"] * 120), MANY_WORDS, picture(40, 20))
    },
    "long words everywhere": {
        "summary": LONG_WORD * 9,
        "method": (MANY_WORDS * 3, LONG_WORD * 3),
        "cautions": MANY_WORDS * 3,
        "warnings": (LONG_WORD * 3, MANY_WORDS * 3),
    },
    "charts of all shapes": {
        "sections": (
            Section("a", "Shapes", (), (line_chart("tall", 1.0, 20.0), line_chart("flat", 20.0, 0.9))),
            Section("b", "Words", (), (replace(line_chart("told", 2, 2), title=MANY_WORDS, shows=MANY_WORDS * 3),)),
        )
    },
}


@pytest.mark.parametrize("name", EXTREMES)
def test_no_input_is_too_long_for_pages(bare, name):
    report = replace(bare, **EXTREMES[name])
    pdf = reader(report)
    found = letters(pdf)
    for part in (report.summary, *report.method, report.cautions, *report.warnings, report.title):
        # The rest may stand on another page, after the footer.
        assert "".join(part.split())[:90] in found
    for finding in report.findings:
        assert "".join(finding.words.split())[:90] in found
        assert "".join(finding.evidence[0].words.split()) in found
    for table in (each for section in report.sections for each in section.tables):
        for row in table.rows:
            for cell in row:
                assert "".join(cell.split())[:30] in found
    for page in pdf.pages:
        for _, width, height, _, (x, y) in placed_pictures(page):
            assert x + width <= A4[0] - 40
            assert y + height <= A4[1] - MARGIN
            assert y >= 40


def test_cells_of_500_letters_are_printed_whole(bare):
    """Each column's lines stand below one another, so that a cell's letters follow each other."""
    pdf = reader(replace(bare, **EXTREMES["cells of 500 letters"]))
    found = letters(pdf)
    assert found.count(LONG_WORD[:500]) >= 12
    assert found.count("".join(MANY_WORDS[:500].split())) >= 12


@pytest.mark.parametrize("size", [(2400, 6), (6, 2400), (1, 1), (900, 300)])
def test_a_logo_keeps_its_shape_within_its_box(bare, size):
    pdf = reader(replace(bare, letterhead=Letterhead("Shop", logo=picture(*size))))
    ((_, width, height, _, _),) = placed_pictures(pdf.pages[0])
    assert width / height == pytest.approx(size[0] / size[1], rel=0.01)
    # 44 mm x 20 mm.
    assert width <= 44 / 25.4 * 72 + 0.01
    assert height <= 20 / 25.4 * 72 + 0.01


@pytest.mark.parametrize("kind", ["paragraph", "table", "chart"])
def test_no_heading_stands_last_on_a_page(bare, kind):
    """Wherever a heading comes to stand, what it leads to begins on the same page."""
    follows = {
        "paragraph": {"paragraphs": ("Followed by words.",)},
        "table": {"tables": (TextTable("Its table", ("head",), (("Followed",), ("b",), ("c",), ("d",))),)},
        "chart": {"charts": (line_chart("Followed", 3.0, 1.0),)},
    }[kind]
    broken = 0
    first = 26 if kind == "chart" else 32
    for lines in range(first, first + 16, 2):
        before = Section("a", "Before", tuple(f"line {number}" for number in range(lines)))
        pdf = reader(replace(bare, sections=(before, Section("b", "The heading", **follows))))
        told = [page.extract_text() for page in pdf.pages]
        (place,) = (number for number, page in enumerate(told) if "The heading" in page)
        assert "Followed" in told[place]
        broken += place
    # The heading did come to the page's end, and went over it.
    assert 0 < broken < 8


def test_small_tables_stand_side_by_side(bare):
    tables = tuple(TextTable(f"T{number}", ("what", "value"), (("width", f"{number} mm"),)) for number in (1, 2))
    page = reader(replace(bare, facts=tables)).pages[0]
    found = {}
    page.extract_text(
        visitor_text=lambda text, cm, tm, *_: found.setdefault(text.strip(), (tm[4] + cm[4], tm[5] + cm[5]))
    )
    assert found["T1"][1] == pytest.approx(found["T2"][1], abs=0.1)
    assert found["T2"][0] > found["T1"][0] + 50


TEXTS = st.text(max_size=60)


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(TEXTS, min_size=8, max_size=8))
def test_any_words_make_a_document(bare, typed):
    title, shop, summary, finding, head, cell, note, warning = typed
    report = replace(
        bare,
        title=title,
        letterhead=Letterhead(shop, address=note),
        summary=summary,
        findings=(Finding("change", finding, (Evidence(cell, verdict="higher"),)),),
        facts=(TextTable(title, (head, "b"), ((cell, "1"),), note, frozenset({0})),),
        warnings=(warning,),
    )
    assert "page 1 of 1" in words(reader(report))


def test_a_missing_library_is_told_with_what_to_install(bare, monkeypatch, tmp_path):
    monkeypatch.setitem(sys.modules, "reportlab", None)
    with pytest.raises(UsageError, match=re.escape('pip install ".[report]"')):
        document_bytes(bare)
    with pytest.raises(UsageError, match=r"\.pdf is not installed"):
        write_document(bare, tmp_path / "a.pdf")
    assert not list(tmp_path.iterdir())


def test_a_date_that_is_none_is_refused(bare):
    with pytest.raises(UsageError, match="'tomorrow' is no date; write year-month-day"):
        document_bytes(replace(bare, date="tomorrow"))


def test_a_file_is_written_whole_and_never_over_another(bare, tmp_path):
    path = tmp_path / "report.pdf"
    assert write_document(bare, path) == path
    assert path.read_bytes() == document_bytes(bare)
    path.write_bytes(b"theirs")
    with pytest.raises(JobError, match="the file is there already"):
        write_document(bare, path)
    assert path.read_bytes() == b"theirs"
    write_document(bare, path, overwrite=True)
    assert path.read_bytes().startswith(b"%PDF")

    def fails() -> Figure:
        raise RuntimeError("no chart")

    broken = replace(bare, sections=(Section("a", "A", (), (replace(line_chart("c"), make=fails),)),))
    before = path.read_bytes()
    with pytest.raises(RuntimeError, match="no chart"):
        write_document(broken, path, overwrite=True)
    assert path.read_bytes() == before
    assert [each.name for each in tmp_path.iterdir()] == ["report.pdf"]
    with pytest.raises(JobError, match="folder does not exist"):
        write_document(bare, tmp_path / "none" / "report.pdf")
