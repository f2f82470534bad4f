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
from portviz.report.build import build_report
from portviz.report.content import Chart, Evidence, Finding, Letterhead, Logo, Report, Section, TextTable
from portviz.report.document import document_bytes, write_document

DATE = "2026-11-25"
HOSTILE = '<img src="file:///etc/hostname"/> & <para> </para> <a href="http://x.invalid">a</a> &lt; ]]> %s {0} <br/>'
#: Smallest type that is still readable in print: the promise of the document, no source.
SMALLEST_TYPE = 6.5
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


@pytest.fixture(scope="module")
def printed(example) -> PdfReader:
    return PdfReader(io.BytesIO(document_bytes(example)))


@pytest.fixture(scope="module")
def pages(printed) -> list[str]:
    """The words of each page, one blank between them."""
    return [" ".join(page.extract_text().split()) for page in printed.pages]


@pytest.fixture(scope="module")
def bare(sidecar) -> Report:
    """Nothing but a title and a date."""
    known = reduction_uncertainty(sidecar, runs=(0,))
    return Report("Bare", DATE, Letterhead(), "", (), (), (), (), "", (), sidecar, known, (0,), (), None)


def with_table(bare: Report, *tables: TextTable, paragraphs: tuple[str, ...] = ()) -> Report:
    return replace(bare, sections=(Section("tables", "Tables", paragraphs, (), tables),))


def reader(report: Report) -> PdfReader:
    return PdfReader(io.BytesIO(document_bytes(report)))


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
    found = []
    for number, page in enumerate(printed.pages):
        for _, width, height, (across, up), (x, y) in placed_pictures(page):
            assert min(across / (width / 72), up / (height / 72)) >= 250
            assert x >= 40
            assert y >= 40
            assert x + width <= A4[0] - 40
            assert y + height <= A4[1] - 40
            found.append((number, width))
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


def test_details_are_left_to_the_page(bare):
    shown, hidden = (TextTable(name, ("a",), (("1",),), detail=name == "left out") for name in ("kept", "left out"))
    charts = (line_chart("small"), replace(line_chart("more"), detail=True))
    pdf = reader(replace(bare, sections=(Section("a", "Part", (), charts, (shown, hidden)),), facts=(hidden,)))
    text = words(pdf)
    assert "kept" in text
    assert "Chart small" in text
    assert "left out" not in text
    assert "Chart more" not in text


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
report = Report("T", "2026-11-25", Letterhead("Shop"), "S", found, (words,), (part,), ("M",), "C", ("W",),
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
            assert y + height <= A4[1] - 40
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
