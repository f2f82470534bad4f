"""The customer's page without a browser: its policy, words, numbers and charts, and what stands where nothing draws.

The page is read back with Python's own HTML parser, its policy's hashes are found again with hashlib (Content Security
Policy Level 3, 2.3: base64 of the digest of the element's text), and its numbers are compared with `summary --json`.
"""

import base64
import hashlib
import io
import json
import os
import re
import sys
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import plotly.graph_objects
import pytest
from PIL import Image

from portviz.distribution.uncertainty import reduction_uncertainty
from portviz.errors import DrawingError, JobError
from portviz.report import page_pictures
from portviz.report.build import build_report
from portviz.report.content import Chart, Evidence, Finding, Letterhead, Logo, Section, TextTable
from portviz.report.machine import summary_document
from portviz.report.page import _vendored, page_text, write_page
from portviz.report.page_charts import ChartStyles, chart_svg, contrast, draw_svg, lightened
from portviz.report.page_scene import TRACES, page_scene

#: Elements without an end tag (HTML Living Standard, void elements).
VOID = {"meta", "link", "img", "input", "br", "hr"}
HOSTILE = """</title></script><script>window.hacked=1</script><img src=x onerror=alert(1)> "quoted' & <b>bold</b>"""


class Read(HTMLParser):
    """The elements of a page with their attributes and words."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.elements, self.open = [], []
        self.feed(text)
        self.close()

    def handle_starttag(self, name, attributes):
        element = {"name": name, "attributes": dict(attributes), "words": "", "within": [e["name"] for e in self.open]}
        self.elements.append(element)
        if name not in VOID:
            self.open.append(element)

    def handle_startendtag(self, name, attributes):
        self.handle_starttag(name, attributes)
        if name not in VOID:
            self.open.pop()

    def handle_endtag(self, name):
        if name in VOID:
            return
        assert self.open, f"</{name}> ends nothing"
        assert self.open[-1]["name"] == name, f"</{name}> within <{self.open[-1]['name']}>"
        self.open.pop()

    def handle_data(self, data):
        for element in self.open:
            element["words"] += data

    def named(self, *names):
        return [each for each in self.elements if each["name"] in names]

    def by_id(self, name):
        (found,) = [each for each in self.elements if each["attributes"].get("id") == name]
        return found

    def json(self, name):
        return json.loads(self.by_id(name)["words"])


def png(colour="#808080", size=(24, 16)):
    made = io.BytesIO()
    Image.new("RGB", size, colour).save(made, "PNG")
    return made.getvalue()


class Drawn:
    """Stands for what draws the runs: one small picture each."""

    def __init__(self, reduction, runs):
        self.found = {run: png() for run in runs}

    def __enter__(self):
        return lambda: self.found

    def __exit__(self, *error):
        pass


@pytest.fixture(scope="module")
def report(sidecar):
    head = Letterhead(
        "Invented Heads", "1 Mill Lane\nNowhere", "a@b.invalid", Logo(png(), 24, 16), "A. Rider", "single", "7"
    )
    return build_report(sidecar, date="2026-11-25", letterhead=head)


@pytest.fixture(scope="module")
def text(report):
    return page_text(report, picture=Drawn)


@pytest.fixture(scope="module")
def page(text):
    return Read(text)


@pytest.fixture(scope="module")
def summary(report):
    return summary_document(report.reduction, list(report.runs), [])


def unpacked(array):
    return np.frombuffer(base64.b64decode(array["bdata"]), dtype=f"<{array['dtype']}").astype(float)


# The file


def test_every_element_is_ended_and_every_name_is_there_once(page):
    assert not page.open
    names = [each["attributes"]["id"] for each in page.elements if "id" in each["attributes"]]
    assert len(names) == len(set(names))
    for each in page.elements:
        for key in ("aria-labelledby", "aria-describedby", "for"):
            assert set(each["attributes"].get(key, "").split()) <= set(names), each
        for key in ("href", "clip-path"):
            target = re.fullmatch(r"(?:url\()?#([^)]*)\)?", each["attributes"].get(key, ""))
            assert target is None or target[1] in names, each


def test_the_policy_names_all_scripts_and_styles_by_their_hashes_and_allows_nothing_else(page):
    (policy,) = [
        each["attributes"]["content"]
        for each in page.named("meta")
        if each["attributes"].get("http-equiv") == "Content-Security-Policy"
    ]
    rules = {part.split()[0]: part.split()[1:] for part in policy.split("; ")}
    assert rules["default-src"] == rules["base-uri"] == rules["form-action"] == ["'none'"]
    assert rules["img-src"] == ["data:"]
    assert set(rules) == {"default-src", "base-uri", "form-action", "img-src", "script-src", "style-src"}

    def hashes(elements):
        digests = [hashlib.sha256(each["words"].encode()).digest() for each in elements]
        return [f"'sha256-{base64.b64encode(digest).decode()}'" for digest in digests]

    scripts = [each for each in page.named("script") if each["attributes"].get("type") != "application/json"]
    assert rules["script-src"] == hashes(scripts)
    assert rules["style-src"] == hashes(page.named("style"))
    assert len(scripts) == 2


def test_nothing_is_loaded_and_no_attribute_holds_a_script_or_a_style(text, page):
    for each in page.elements:
        for key, value in each["attributes"].items():
            assert not key.startswith("on"), each
            assert key not in ("style", "srcset", "action", "background"), each
            if key in ("src", "href", "xlink:href"):
                assert value.startswith(("data:image/", "#")) or value == "data:,", each
    (style,) = page.named("style")
    assert "@import" not in style["words"]
    assert not re.search(r"url\((?!#)", style["words"])


def test_words_from_files_are_shown_and_never_read_as_markup(report, text):
    table = TextTable(HOSTILE, (HOSTILE, "b"), ((HOSTILE, "1"),), HOSTILE)
    chart = Chart("bad", HOSTILE, HOSTILE, lambda: _figure_of(HOSTILE + "\x01"))
    bad = replace(
        report,
        title=HOSTILE,
        letterhead=Letterhead(*[HOSTILE] * 3, None, *[HOSTILE] * 3),
        summary=HOSTILE,
        findings=(Finding(HOSTILE, HOSTILE, (Evidence(HOSTILE),) * 5),),
        facts=(table,),
        sections=(Section("bad", HOSTILE, (HOSTILE,), (chart,), (table,)),),
        method=(HOSTILE,),
        cautions=HOSTILE,
        warnings=(HOSTILE, "half a pair \ud800"),
        reduction=replace(
            report.reduction,
            runs=(HOSTILE, "b"),
            job=replace(
                report.reduction.job, title=HOSTILE, stations=replace(report.reduction.job.stations, reference=HOSTILE)
            ),
        ),
    )
    made = page_text(bad, picture=Drawn)
    made.encode()
    read = Read(made)
    assert not read.open
    kinds = {each["name"] for each in read.elements}
    assert kinds <= {each["name"] for each in Read(text).elements}
    assert len(read.named("script")) == 4
    assert [each["words"] for each in read.named("title") if each["within"][-1] == "head"] == [HOSTILE]
    assert [each["words"] for each in read.named("h1")] == [HOSTILE]
    for name in ("h2", "p", "li", "th", "caption", "figcaption", "title", "desc", "text", "label", "dd", "strong"):
        assert any(HOSTILE in each["words"] for each in read.named(name)), name
    assert read.json("moving")["runs"][0]["name"] == HOSTILE
    # plotly reads markup in its labels: none of these words may come near them.
    assert "hacked" not in read.by_id("figure")["words"]
    hover = [words for run in read.json("moving")["runs"] for at in run["lifts"] for words in at.get("hover", [])]
    assert hover
    assert not any("hacked" in words for words in hover)


def _figure_of(words):
    from matplotlib.figure import Figure

    figure = Figure(figsize=(2, 1))
    figure.text(0.1, 0.5, words)
    return figure


def test_one_report_makes_one_page(report, text):
    assert page_text(report, picture=Drawn) == text


def test_a_page_is_written_whole_and_over_nothing(report, tmp_path, monkeypatch):
    monkeypatch.setattr("portviz.report.page.page_text", lambda report, **options: "all of it")
    path = tmp_path / "page.html"
    path.write_text("mine")
    with pytest.raises(JobError, match="there already"):
        write_page(report, path)
    assert path.read_text() == "mine"
    assert write_page(report, path, overwrite=True) == path
    assert path.read_text() == "all of it"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("name", ["jinja2"])
def test_a_missing_package_is_told_with_the_extra_that_brings_it(report, tmp_path, monkeypatch, name):
    monkeypatch.setitem(sys.modules, name, None)
    with pytest.raises(DrawingError, match=rf'{name}.*not installed.*pip install "\.\[report\]"'):
        write_page(report, tmp_path / "page.html")
    assert not list(tmp_path.iterdir())


def test_the_bundle_is_the_one_that_its_note_names_and_its_licence_goes_along(text):
    note = re.search(r"sha256: ([0-9a-f]{64})", _vendored("README.md"))
    bundle = _vendored("plotly-gl3d.min.js")
    assert hashlib.sha256(bundle.encode()).hexdigest() == note[1]
    assert bundle in text
    # The MIT licence asks for its notice in all copies.
    assert "Permission is hereby granted, free of charge" in text


# What stands in it


def test_parts_stand_in_the_order_of_reading(page, report):
    heads = [each["words"] for each in page.named("h2")]
    sections = [section.title for section in report.sections]
    after = [*(["Warnings"] if report.warnings else []), "How it was found", "Cautions"]
    first = ["What was measured", "Main findings", "The valve at every lift", "Valve, seat and bench"]
    assert heads == [*first, *sections, *after]
    links = [each["attributes"]["href"] for each in page.named("a")]
    assert len(links) == len(heads)
    assert all(page.by_id(link[1:])["name"] == "section" for link in links)
    assert [each["words"] for each in page.named("h1")] == [report.title]
    assert any("2026-11-25" in each["words"] for each in page.named("dd"))
    (footer,) = page.named("footer")
    assert "invented" in footer["words"]
    assert report.cautions in "".join(each["words"] for each in page.named("section"))


def test_all_of_the_report_is_in_the_page(page, report):
    shown = {" ".join(each["words"].split()) for each in page.elements}
    for finding in report.findings:
        assert any(finding.words in each for each in shown)
        for each in finding.evidence:
            assert " ".join(each.words.split()) in shown
    cells = [cell for table in all_tables(report) for row in (table.columns, *table.rows) for cell in row]
    assert len(cells) > 500
    assert {" ".join(cell.split()) for cell in cells} <= shown


def all_tables(report):
    return [*report.facts, *(table for section in report.sections for table in section.tables)]


def test_tables_have_captions_and_heads_that_say_what_they_head(page, report):
    tables = page.named("table")
    assert len(tables) == len(all_tables(report)) + 1
    captions = [each["words"] for each in page.named("caption")]
    assert captions == ["", *(table.title for table in all_tables(report))]
    for each in page.named("th"):
        assert each["attributes"]["scope"] == ("col" if "thead" in each["within"] else "row")


def test_everything_to_look_at_has_words_and_every_control_a_label(page):
    for each in page.named("img"):
        assert len(each["attributes"]["alt"]) > 8
    # Those that are hidden from who hears the page stand within an element that has the words.
    pictures = [each for each in page.named("svg") if each["attributes"].get("aria-hidden") != "true"]
    assert len(pictures) > 8
    names = {each["attributes"].get("id"): each["words"] for each in page.elements}
    for each in pictures:
        attributes = each["attributes"]
        assert attributes["role"] == "img"
        assert attributes.get("aria-label") or names[attributes["aria-labelledby"]].strip()
    labelled = {each["attributes"].get("for") for each in page.named("label")}
    for each in page.named("input"):
        assert each["attributes"].get("id") in labelled or "label" in each["within"]
    assert all(each["words"].strip() for each in page.named("button"))


def test_a_report_of_one_run_has_no_choice_of_runs(tractor):
    alone = replace(build_report(tractor, date="2026-11-25", runs=[1]), sections=())
    read = Read(page_text(alone, picture=Drawn))
    assert not read.named("fieldset")
    (slider,) = read.named("input")
    lifts = len(tractor.groups_of(1))
    assert slider["attributes"]["type"] == "range"
    assert int(slider["attributes"]["max"]) == lifts - 1


def test_tables_are_folded_only_where_those_of_the_other_run_are_too(page, report):
    folded = [each["words"] for each in page.named("caption") if "details" in each["within"]]
    detail = {table.title for table in all_tables(report) if table.detail}
    runs = report.reduction.runs
    assert {f"Run “{run}”: velocity round the valve" for run in runs} & detail
    assert not [title for title in folded if "velocity round the valve" in title]
    for run in runs:
        assert f"Run “{run}”: ± at 95 %" in folded
        assert f"Run “{run}”: share of flow [%]" in folded
    assert set(folded) <= detail


def test_long_words_may_be_broken_over_lines_and_short_ones_may_not(report):
    rows = (("short", "a few words", "1.0"), ("lift", "what is told here takes more letters than one line has", "2.0"))
    table = TextTable("Words", ("word", "what it means", "number"), rows, "A note.", frozenset({0, 1}))
    read = Read(page_text(replace(report, sections=(Section("words", "Words used", (), (), (table,)),)), picture=Drawn))
    kinds = {each["words"]: each["attributes"].get("class") for each in read.named("th", "td")}
    assert [kinds[cell] for cell in rows[0]] == ["words", "words long", None]
    assert "A note." in [each["words"] for each in read.named("p") if each["attributes"].get("class") == "note"]


# The turning view


def test_labels_stand_at_their_stations_outside_of_the_head(page, report):
    moving = page.json("moving")
    labels = moving["labels"]
    x, y = np.array(labels["x"]), np.array(labels["y"])
    angles = [float(words.removesuffix("°")) for words in labels["text"]]
    # Anticlockwise looking along +z, station 0 along +x (DEVELOPERS.md, README: stations and axes).
    np.testing.assert_allclose(np.degrees(np.arctan2(-y, x)) % 360.0, angles, atol=1e-6)
    assert sorted(angles) == sorted(report.reduction.job.stations.angles_deg)
    head = next(trace for trace in page.json("figure")["data"] if trace["name"] == "head")
    widest = np.hypot(unpacked(head["x"]), unpacked(head["y"])).max()
    assert np.hypot(x, y).min() > 1.1 * widest


def test_the_view_has_the_numbers_of_the_summary(page, report, summary):
    moving = page.json("moving")
    assert [each["name"] for each in moving["runs"]] == [each["run"] for each in summary["runs"]]
    assert moving["unit"] == "m/s"
    for run, measured in zip(moving["runs"], summary["runs"], strict=True):
        for lift, at, known in zip(moving["lifts"], run["lifts"], measured["lifts"], strict=True):
            assert lift["text"] == f"{known['lift_m'] * 1e3:.2f} mm"
            # Opening the valve by L moves it by -L in z (DEVELOPERS.md, README: stations and axes).
            assert lift["shift"] == pytest.approx(-1e3 * known["lift_m"])
            around = unpacked(at["values"])
            assert len(around) == 361
            for place, station in enumerate(known["stations"]):
                velocity, angle = station["velocity_m_s"], station["angle_deg"]
                assert at["ring"]["value"][place] == pytest.approx(velocity, abs=1e-4)
                # Ninety-five in a hundred lie within 1.96 standard uncertainties (normal distribution, tables).
                wide = 1.96 * station["velocity_m_s_u"]
                assert at["ring"]["half"][place] == pytest.approx(wide, rel=1e-3)
                assert around[round(angle)] == pytest.approx(velocity, rel=1e-6)
                numbers = [float(each) for each in re.findall(r"\d+(?:\.\d+)?", at["hover"][place])]
                share = 100.0 * station["flow_share"]
                assert numbers[:2] == [angle, pytest.approx(velocity, abs=0.051)]
                assert numbers[2] == pytest.approx(wide, rel=0.05)
                assert numbers[3] == 95
                assert numbers[4] == pytest.approx(share, abs=0.006)
                assert at["rows"][place][1] in at["hover"][place]
                assert at["rows"][place][2] in at["hover"][place]
            told = re.search(r"discharge coefficient (\d\.\d+)\s±\s(\d\.\d+)", " ".join(at["says"]))
            assert float(told[1]) == pytest.approx(known["discharge_coefficient"], abs=6e-4)
            assert float(told[2]) == pytest.approx(1.96 * known["discharge_coefficient_u"], rel=0.05)


def test_balls_stand_on_the_curtain_and_arrows_are_as_long_as_the_velocity(page, report, summary):
    moving, figure = page.json("moving"), page.json("figure")
    assert [trace["name"] for trace in figure["data"]] == list(TRACES)
    radius = 1e3 * report.reduction.job.valve.head_diameter / 2.0
    fastest = max(s["velocity_m_s"] for r in summary["runs"] for lift in r["lifts"] for s in lift["stations"])
    at, lift = moving["runs"][1]["lifts"][3], moving["lifts"][3]
    told = summary["runs"][1]["lifts"][3]["stations"]
    x, y, z = (unpacked(at["stations"][axis]) for axis in "xyz")
    angles = np.radians([station["angle_deg"] for station in told])
    # Anticlockwise looking along +z, station 0 along +x: the station at angle a lies at (r cos a, -r sin a).
    np.testing.assert_allclose(np.arctan2(-y, x) % (2 * np.pi), angles, atol=1e-6)
    curtain = np.stack([unpacked(lift["curtain"][axis]) for axis in "xyz"], axis=1)
    middle = np.stack([x, y, z], axis=1)
    assert np.min(np.linalg.norm(curtain[:, None] - middle, axis=2), axis=0).max() < 1e-4
    arrows = np.stack([unpacked(at["arrows"][axis]) for axis in "xyz"], axis=1).reshape(len(told), -1, 3)
    reach = np.linalg.norm(arrows - middle[:, None], axis=2).max(axis=1)
    np.testing.assert_allclose(reach, [0.42 * radius * s["velocity_m_s"] / fastest for s in told], rtol=1e-4)


def test_the_start_of_the_view_is_what_its_script_lays(report):
    """The figure, as plotly's own Python package reads it, and what the script puts in its place at the start.

    The package refuses any key or value that plotly.js does not know (it is made from the same schema).
    """
    scene = page_scene(report)
    moving, traces = scene.moving, {trace.name: trace for trace in plotly.graph_objects.Figure(scene.figure).data}
    start = moving["start"]
    lift, at = moving["lifts"][start], moving["runs"][0]["lifts"][start]
    assert traces["curtain"].x == lift["curtain"]["x"]
    assert traces["arrows"].z == at["arrows"]["z"]
    np.testing.assert_array_equal(unpacked(traces["curtain"].intensity), np.repeat(unpacked(at["values"]), 5))
    centres = unpacked(traces["stations"].x).reshape(moving["stations"], -1).mean(axis=1)
    np.testing.assert_allclose(centres, unpacked(at["stations"]["x"]), atol=1e-4)
    # The closed valve's lowest corner is the profile's; opened it lies lower by the lift.
    assert unpacked(traces["valve"].z).min() == pytest.approx(
        report.reduction.profiles.valve[0, 0, 1] * 1e3 + lift["shift"], abs=1e-3
    )


def test_what_was_not_read_is_told_and_grey(examples, tmp_path):
    """A run that lacks a lift has no numbers there; at a station that lacks its reading an arrow is inferred."""
    from portviz.distribution.reduce import reduce_job
    from portviz.job.read import read_job

    for name in ("job.toml", "flow.csv"):
        (tmp_path / name).write_text((examples / "sidecar_intake" / name).read_text())
    rows = (examples / "sidecar_intake" / "readings.csv").read_text().splitlines()
    left_out = ("as found,8,60,", "as found,8,90,", "wall relieved,5,")
    (tmp_path / "readings.csv").write_text("\n".join(row for row in rows if not row.startswith(left_out)))
    flow = (tmp_path / "flow.csv").read_text().splitlines()
    (tmp_path / "flow.csv").write_text("\n".join(row for row in flow if not row.startswith("wall relieved,5,")))
    reduction = reduce_job(read_job(tmp_path))
    read = Read(page_text(replace(_bare(reduction), sections=()), picture=Drawn))
    moving = read.json("moving")
    lifts = [lift["text"] for lift in moving["lifts"]]
    absent = moving["runs"][1]["lifts"][lifts.index("5.00 mm")]
    assert set(absent) == {"says", "rows"}
    assert "Not measured at this lift" in absent["says"][0]
    assert "5.00 mm" not in absent["says"][0]
    patchy = moving["runs"][0]["lifts"][lifts.index("8.00 mm")]
    assert len(patchy["rows"]) == 10
    assert "measured here at 10 of 12 stations" in patchy["says"][0].lower()
    # From 30 to 120 deg nothing was read: the middle 30 deg lie more than 30 deg from a reading.
    far = np.unpackbits(np.array(patchy["far"], dtype=np.uint8))[:361].astype(bool)
    np.testing.assert_array_equal(np.flatnonzero(far), np.arange(61, 90))
    pale = np.stack([unpacked(patchy["paleArrows"][axis]) for axis in "xyz"], axis=1).reshape(12, -1, 3)
    assert np.flatnonzero(np.ptp(pale, axis=1).max(axis=1) > 1e-3).tolist() == [2, 3]
    words = " ".join(each["words"] for each in read.named("li"))
    assert "Dull arrows" in words
    assert "more than 30° from a reading" in words


def _bare(reduction):
    from portviz.report.content import Report

    return Report(
        "Bare",
        "",
        Letterhead(),
        "",
        (),
        (),
        (),
        (),
        "",
        (),
        (),
        reduction,
        reduction_uncertainty(reduction),
        (0, 1),
        (),
        None,
    )


# Pictures


def test_pictures_are_drawn_of_each_run_and_small_enough(report, opengl):
    with page_pictures.run_pictures(report.reduction, report.runs) as drawn:
        found = drawn()
    assert list(found) == list(report.runs)
    assert len(set(found.values())) == 2
    for made in found.values():
        assert len(made) <= 150_000
        with Image.open(io.BytesIO(made)) as picture:
            assert picture.format == "PNG"
            assert min(picture.size) > 300
            assert len(picture.convert("RGB").getcolors(2**24)) > 1000
            # Nothing is shown at its very edge: nothing is cut off.
            pixels = np.asarray(picture.convert("L"))
            assert pixels[[0, -1]].min() == pixels[:, [0, -1]].min() == 255


def test_where_drawing_ends_its_process_a_flat_section_stands_for_the_pictures(report, monkeypatch):
    monkeypatch.setattr(page_pictures, "draw_runs", lambda *args, **options: os._exit(3))
    monkeypatch.setattr(page_pictures.platform, "system", lambda: "Linux")
    read = Read(page_text(replace(report, sections=())))
    assert [each["attributes"]["class"] for each in read.named("img")] == ["logo"]
    assert "No picture in three dimensions could be drawn" in " ".join(each["words"] for each in read.named("p"))
    assert read.by_id("flat-title")["words"] == "Valve and seat in section"


# Charts


def test_a_chart_has_no_styles_of_its_own_and_follows_the_theme(report):
    styles = ChartStyles()
    (chart,) = [each for section in report.sections for each in section.charts if each.key == "flow"]
    drawn = draw_svg(chart)
    assert 'style="' in drawn
    svg = chart_svg(chart, styles)
    assert "style=" not in svg
    root = Read(svg)
    classes = {each["attributes"].get("class") for each in root.elements} - {None, "themed", "plate"}
    sheet = styles.sheet()
    assert all(f".chart .{name}{{" in sheet for name in classes)
    assert chart.title in root.by_id("flow-title")["words"]
    assert chart.shows in root.by_id("flow-shows")["words"]
    # Words stay words, so that they can be searched and copied.
    assert {"as found", "wall relieved"} <= {each["words"].strip() for each in root.named("text")}
    light = dict(re.findall(r"--(c[0-9a-f]{6}):(#[0-9a-f]{6})", sheet.split("@media")[0]))
    dark = dict(re.findall(r"--(c[0-9a-f]{6}):(#[0-9a-f]{6})", sheet.split("@media")[1].split(".plate")[0]))
    assert set(light) == set(dark)
    assert dark["c26282b"] == "#e6e4df"


def test_words_on_coloured_cells_keep_their_colours_and_those_round_them_follow_the_theme(report):
    (changes,) = [chart for section in report.sections for chart in section.charts if chart.key.startswith("change")]
    styles = ChartStyles()
    read = Read(chart_svg(changes, styles))
    rules = dict(re.findall(r"\.chart \.(s\d+){([^}]*)}", styles.sheet()))
    numbers, others = [], []
    for each in read.named("text"):
        # On a cell stands a change without its plus-minus, beside the cells the flow's with it.
        on_cell = re.fullmatch(r"[+-]\d+\.\d", each["words"].strip())
        (numbers if on_cell else others).append(rules[each["attributes"]["class"]])
    assert len(numbers) > 40
    assert all(re.search(r"fill:\s*#(ffffff|26282b)", rule) for rule in numbers)
    assert {rule[-7:] for rule in numbers} == {"#ffffff", "#26282b"}
    assert len(others) > 20
    assert all("fill:var(--" in rule for rule in others)
    assert read.elements[0]["attributes"]["class"] == "themed"


def test_white_words_on_what_is_no_cell_keep_the_paper_that_they_were_chosen_for():
    from matplotlib.figure import Figure

    def make():
        figure = Figure(figsize=(2, 1))
        figure.text(0.1, 0.5, "white", color="white")
        return figure

    svg = chart_svg(Chart("white", "White", "White words.", make), ChartStyles())
    assert Read(svg).elements[0]["attributes"]["class"] == "plate"


def test_contrast_is_that_of_the_guidelines():
    # W3C, Understanding WCAG 1.4.3: #767676 on white is the lightest grey that passes 4.5 (4.54), from memory.
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    assert contrast("#777777", "#ffffff") < 4.5
    for colour in ("#0072b2", "#56534f", "#1f2a44", "#c2185b"):
        assert contrast(lightened(colour), "#17181a") >= 4.5


def test_the_process_that_draws_ends_when_its_reader_has_gone():
    """As after a signal that ends the command: nobody reads, and nothing waits."""
    from multiprocessing import get_context

    from portviz.report import page_pictures

    context = get_context("fork")
    receiving, sending = context.Pipe(duplex=False)
    # More than a pipe holds, so that sending waits for a reader.
    drawn = {0: bytes(2**20)}

    def draw(*_, **__):
        return drawn

    kept = page_pictures.draw_runs
    page_pictures.draw_runs = draw
    try:
        process = context.Process(target=page_pictures._draw_apart, args=(None, (0,), receiving, sending))
        process.start()
    finally:
        page_pictures.draw_runs = kept
    sending.close()
    receiving.close()
    process.join(10.0)
    alive = process.is_alive()
    process.kill()
    assert not alive
