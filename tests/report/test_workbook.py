"""The workbook and the flat table that `export` writes: the JSON documents' numbers, and texts that stay texts."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import re
import shutil
import sys
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from portviz.__main__ import main
from portviz.report.rows import safe_cell
from portviz.report.workbook_file import Sheet, heading, plain_text, workbook_file

HOSTILE = ("=1+1", "+cmd|' /C calc'!A0", "-2", "@SUM(A1)", "38 mm;=1+1", "\x07bell", "a\u202eb", "_x0041_", "plain")


def printed(*arguments: object) -> Any:
    """Return the JSON document that a command prints."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main([*map(str, arguments), "--json"]) == 0
    return json.loads(out.getvalue())


def export(job: Path, target: Path, *extra: str) -> int:
    with contextlib.redirect_stdout(io.StringIO()):
        return main(["export", str(job), str(target), *extra])


def rows(page: Any) -> list[dict[str, Any]]:
    """Return a sheet's rows by the words of its header."""
    header, *others = page.iter_rows(values_only=True)
    assert len(set(header)) == len(header)
    return [dict(zip(header, row, strict=True)) for row in others]


def near(value: float | None) -> Any:
    """Return what equals a number to the 16 digits that the library writes; nothing for null."""
    return None if value is None else pytest.approx(value, rel=2e-15, abs=1e-300)


@pytest.fixture(scope="module")
def job(examples: Path) -> Path:
    return examples / "sidecar_intake"


@pytest.fixture(scope="module")
def summary(job: Path) -> Any:
    return printed("summary", job)


@pytest.fixture(scope="module")
def file(job: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path: Path = tmp_path_factory.mktemp("workbook") / "all.xlsx"
    assert export(job, path) == 0
    return path


@pytest.fixture(scope="module")
def book(file: Path) -> Any:
    return openpyxl.load_workbook(file)


# Numbers --------------------------------------------------------------------------------------------------------------

UNITS = {
    "lift_m": "lift [m]",
    "flow_m3_s": "flow [m³/s]",
    "test_pressure_pa": "test pressure [Pa]",
    "curtain_area_m2": "curtain area [m²]",
    "mean_velocity_m_s": "mean velocity [m/s]",
    "mean_velocity_m_s_u": "mean velocity, u [m/s]",
    "bias_angle_deg": "bias angle [deg]",
    "uniformity_index": "uniformity index [-]",
    "limited_by": "limited by",
    "stage": "stage",
}


def test_a_header_has_its_unit() -> None:
    assert {key: heading(key) for key in UNITS} == UNITS


def test_sheets_have_a_frozen_header_and_room(book: Any) -> None:
    assert book.sheetnames == [
        "about",
        "lifts",
        "stations",
        "warnings",
        "comparison",
        "comparison by station",
        "event",
        "event by band",
        "event by station",
    ]
    for page in book:
        assert page.freeze_panes == "A2"
        assert all(cell.font.bold for cell in page[1])
        for cell in page[1]:
            assert page.column_dimensions[cell.column_letter].width >= max(map(len, str(cell.value).split()))


def test_lifts_and_stations_are_those_of_the_summary(book: Any, summary: Any) -> None:
    lifts, stations = rows(book["lifts"]), rows(book["stations"])
    wanted = [(run["run"], lift) for run in summary["runs"] for lift in run["lifts"]]
    assert len(lifts) == len(wanted)
    taps = iter(stations)
    for row, (run, lift) in zip(lifts, wanted, strict=True):
        assert row["run"] == run
        for key, value in lift.items():
            if key != "stations":
                assert row[heading(key)] == (value if isinstance(value, str) else near(value)), key
        for tap in lift["stations"]:
            found = next(taps)
            assert (found["run"], found["lift [m]"]) == (run, near(lift["lift_m"]))
            for key, value in tap.items():
                assert found[heading(key)] == near(value), key
    assert next(taps, None) is None


def test_numbers_are_numbers(book: Any) -> None:
    """A cell of words has the type "s", a number "n"; no cell is a formula."""
    kinds = {cell.data_type for page in book for row in page.iter_rows(min_row=2) for cell in row}
    assert kinds == {"s", "n"}
    words = {"run", "lift", "limited by", "uncertainty from", "uncertainty method"}
    for column in book["lifts"].iter_cols():
        expected = str if column[0].value in words else (int, float, type(None))
        assert all(isinstance(cell.value, expected) for cell in column[1:]), column[0].value
        if column[0].value in ("lift [m]", "flow [m³/s]"):
            assert {cell.number_format for cell in column[1:]} == {"0.00000"}


def test_comparison_is_that_of_compare(book: Any, job: Path) -> None:
    document = printed("compare", job, "as found", "wall relieved")
    lifts, stations = rows(book["comparison"]), iter(rows(book["comparison by station"]))
    for row, lift in zip(lifts, document["lifts"], strict=True):
        assert (row["before"], row["after"]) == ("as found", "wall relieved")
        assert row["lift [m]"] == near(lift["lift_m"])
        for name, key, unit in (
            ("flow", "flow_m3_s", "m³/s"),
            ("mean velocity", "mean_velocity_m_s", "m/s"),
            ("uniformity index", "uniformity_index", "-"),
            ("closure", "closure", "-"),
            ("discharge coefficient", "discharge_coefficient", "-"),
        ):
            assert_change(row, name, unit, lift[key])
        bias = lift["bias"]
        assert row["bias verdict"] == bias["verdict"]
        assert row["bias, u [-]"] == near(bias["magnitude_u"])
        assert [row["bias shift toward 0 [-]"], row["bias shift toward 90 [-]"]] == [near(x) for x in bias["shift"]]
        for tap in lift["stations"]:
            found = next(stations)
            assert found["angle [deg]"] == tap["angle_deg"]
            assert_change(found, "velocity", "m/s", tap["velocity_m_s"])
            assert_change(found, "flow share", "-", tap["flow_share"])
    assert next(stations, None) is None


def assert_change(row: dict[str, Any], name: str, unit: str, change: Any) -> None:
    assert row[f"{name} before [{unit}]"] == near(change["a"])
    assert row[f"{name} after [{unit}]"] == near(change["b"])
    assert row[f"{name} difference [{unit}]"] == near(change["difference"])
    assert row[f"{name} difference, u [{unit}]"] == near(change["u"])
    assert row[f"{name} verdict"] == change["verdict"]


def test_event_is_that_of_event(book: Any, job: Path) -> None:
    document = printed("event", job)
    bands, stations = iter(rows(book["event by band"])), iter(rows(book["event by station"]))
    for row, run in zip(rows(book["event"]), document["runs"], strict=True):
        assert row["run"] == run["run"]
        for key in (
            "duration_deg",
            "area_integral_m2_deg",
            "mean_effective_area_m2",
            "mean_flow_m3_s",
            "bias_angle_deg",
        ):
            assert row[heading(key)] == near(run[key])
        for each, found in [(band, next(bands)) for band in run["lift_bands"]]:
            assert found["flow share [-]"] == near(each["flow_share"])
            assert (found["from [m]"], found["to [m]"]) == (near(each["from_m"]), near(each["to_m"]))
        for each, found in [(tap, next(stations)) for tap in run["stations"]]:
            assert (found["angle [deg]"], found["flow share [-]"]) == (each["angle_deg"], near(each["flow_share"]))


def test_the_first_sheet_says_what_is_what(book: Any, summary: Any) -> None:
    told = {row["what"]: (row["value"], row["unit"]) for row in rows(book["about"])}
    assert told["title"][0] == summary["title"]
    assert told["side"][0] == "intake"
    assert told["air before the valve: density"] == (near(summary["air"]["density_kg_m3"]), "kg/m³")
    assert told["valve: head diameter"] == (near(0.041), "m")
    assert told["seat: angle"] == (pytest.approx(45.0, rel=1e-12), "deg")
    assert "SI" in told["numbers"][0]
    assert "makers" in told["caution"][0]
    assert "licensed practice" in told["caution"][0]


def test_one_run_alone_is_compared_with_nothing(job: Path, tmp_path: Path) -> None:
    assert export(job, tmp_path / "a.xlsx", "--run", "wall relieved") == 0
    book = openpyxl.load_workbook(tmp_path / "a.xlsx")
    assert "comparison" not in book.sheetnames
    assert {row["run"] for row in rows(book["stations"])} == {"wall relieved"}


def test_the_same_results_make_the_same_bytes(file: Path, job: Path, tmp_path: Path) -> None:
    """Neither the file nor what it is packed of has an hour of making."""
    with zipfile.ZipFile(file) as archive:
        assert {member.date_time for member in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        about = archive.read("docProps/core.xml").decode()
    assert "portviz" in about
    assert not re.search(r"created|modified|\d\d:\d\d", about)
    assert export(job, tmp_path / "again.xlsx") == 0
    assert (tmp_path / "again.xlsx").read_bytes() == file.read_bytes()


# Texts ----------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def hostile(job: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job whose title and runs would be formulas, or are no text of XML."""
    folder = shutil.copytree(job, tmp_path_factory.mktemp("hostile") / "job")
    (folder / "flow.csv").unlink()
    with (folder / "readings.csv").open("w", encoding="utf-8", newline="") as out:
        table = csv.writer(out)
        table.writerow(["run", "lift [mm]", "station", "reading [Pa]"])
        table.writerows([name, 5, angle, 3000 + angle] for name in HOSTILE for angle in range(0, 360, 30))
    text = (folder / "job.toml").read_text(encoding="utf-8")
    changed = text.replace('"Hill-climb sidecar single, intake (invented)"', r'"=HYPERLINK(\"http://x\")\u0007"')
    assert changed != text
    (folder / "job.toml").write_text(changed, encoding="utf-8")
    return folder


def test_no_text_becomes_a_formula_in_a_workbook(hostile: Path, tmp_path: Path) -> None:
    """ECMA-376 part 1, 18.3.1.4: a formula stands in an element f; a text that begins with a sign has quotePrefix."""
    runs = printed("summary", hostile)["runs"]
    names = [run["run"] for run in runs]
    assert names == list(HOSTILE)
    assert export(hostile, tmp_path / "a.xlsx") == 0
    with zipfile.ZipFile(tmp_path / "a.xlsx") as archive:
        for name in archive.namelist():
            if name.startswith("xl/worksheets/"):
                assert b"<f>" not in archive.read(name)
    book = openpyxl.load_workbook(tmp_path / "a.xlsx")
    cells = [row[0] for row in book["lifts"].iter_rows(min_row=2)]
    assert [cell.value for cell in cells] == [plain_text(name) for name in names]
    assert {cell.data_type for cell in cells} == {"s"}
    for cell in cells:
        assert bool(cell.quotePrefix) == (cell.value[0] in "=+-@")
    assert book["about"]["B2"].value == r'=HYPERLINK("http://x")\x07'
    assert book["about"]["B2"].data_type == "s"


def test_no_text_becomes_a_formula_in_a_flat_table(hostile: Path, tmp_path: Path) -> None:
    """Neither where cells are parted by commas, nor where a spreadsheet parts them by semicolons or tabs."""
    assert export(hostile, tmp_path / "a.csv") == 0
    text = (tmp_path / "a.csv").read_bytes().decode("utf-8")
    for delimiter in ",;\t":
        for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter):
            for cell in row:
                assert cell[:1] not in tuple("=+@\t\r\n") or cell == ""
                if cell[:1] == "-":
                    float(cell.split(",")[0])
    assert safe_cell("") == ""


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("as found\n2nd", "as found\n2nd"),
        ("a\x00b\x1fc", r"a\x00b\x1fc"),
        ("\ud800 \ufffe", r"\ud800 \ufffe"),
        ("Ø 38\u00a0mm 🙂", "Ø 38\u00a0mm 🙂"),
        ("x" * 40_000, "x" * 32_767),
    ],
    ids=["line", "control", "no character", "letters", "long"],
)
def test_what_no_workbook_can_hold_is_spelled_out(text: str, written: str) -> None:
    content = workbook_file([Sheet("s", ["run"], [[text]])], text)
    assert openpyxl.load_workbook(io.BytesIO(content))["s"]["A2"].value == written


def test_a_sheet_of_no_warnings_says_so(book: Any) -> None:
    """The sidecar's readings give none (`summary` prints none either); a bare header would leave a reader in doubt."""
    assert rows(book["warnings"]) == [{"warning": "none"}]


def test_warnings_are_told_in_the_workbook_too(job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = shutil.copytree(job, tmp_path / "job")
    path = folder / "readings.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    lines[1] = ",".join([*lines[1].split(",")[:3], "-200"])
    path.write_text("\n".join([*lines, ""]), encoding="utf-8")
    assert export(folder, tmp_path / "a.xlsx") == 0
    said = [line.removeprefix("warning: ") for line in capsys.readouterr().err.splitlines()]
    told = [row["warning"] for row in rows(openpyxl.load_workbook(tmp_path / "a.xlsx")["warnings"])]
    assert said
    assert told[: len(said)] == said


def test_runs_that_cannot_be_compared_are_told(job: Path, tmp_path: Path) -> None:
    """The second run has other lifts: a note stands in the place of its comparison."""
    folder = shutil.copytree(job, tmp_path / "job")
    (folder / "flow.csv").unlink()
    lines = [f"{run},{lift},{angle},3000" for run, lift in (("a", 5), ("b", 6)) for angle in range(0, 360, 30)]
    (folder / "readings.csv").write_text("\n".join(["run,lift [mm],station,reading [Pa]", *lines]))
    assert export(folder, tmp_path / "a.xlsx") == 0
    book = openpyxl.load_workbook(tmp_path / "a.xlsx")
    assert "comparison" not in book.sheetnames
    told = [row["warning"] for row in rows(book["warnings"])]
    assert any(text.startswith("'b' is not compared with 'a': ") and "no open lift in common" in text for text in told)


# What is refused ------------------------------------------------------------------------------------------------------


def test_without_the_library_it_is_told_what_to_install(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    assert export(job, tmp_path / "a.xlsx") == 2
    assert 'pip install ".[excel]"' in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_workbook_that_the_job_is_read_from_stays(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = shutil.copytree(job, tmp_path / "job")
    source = openpyxl.Workbook()
    for name in ("readings", "flow"):
        page = source.create_sheet(name)
        with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as table:
            for row in csv.reader(table):
                page.append(row)
        (folder / f"{name}.csv").unlink()
    source.save(folder / "bench.xlsx")
    before = (folder / "bench.xlsx").read_bytes()
    assert export(folder, folder / "bench.xlsx", "--overwrite") == 2
    assert "FILE: " in (said := capsys.readouterr().err)
    assert "one of the files that the job is read from" in said
    assert (folder / "bench.xlsx").read_bytes() == before
    # A workbook of results beside it changes nothing of what the job is read from.
    first = printed("summary", folder)
    assert export(folder, folder / "results.xlsx") == 0
    assert printed("summary", folder) == first


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_an_existing_table_stays(job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], ending: str) -> None:
    target = tmp_path / f"a.{ending}"
    target.write_text("typed by hand", encoding="utf-8")
    assert export(job, target) == 1
    assert "--overwrite" in capsys.readouterr().err
    assert target.read_text(encoding="utf-8") == "typed by hand"
    assert export(job, target, "--overwrite") == 0
    assert target.read_bytes() != b"typed by hand"


def test_the_flat_table_is_that_of_summary(job: Path, tmp_path: Path) -> None:
    assert export(job, tmp_path / "a.csv") == 0
    with contextlib.redirect_stdout(io.StringIO()):
        assert main(["summary", str(job), "--csv", str(tmp_path / "b.csv")]) == 0
    assert (tmp_path / "a.csv").read_bytes() == (tmp_path / "b.csv").read_bytes()
