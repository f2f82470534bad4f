"""The summary as a table for a spreadsheet: the same numbers as the JSON, and no formula in a cell."""

from __future__ import annotations

import csv
import io
import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from portviz.__main__ import main
from portviz.distribution.reduce import Reduction, reduce_job
from portviz.job.read import read_job
from portviz.report.machine import summary_document, to_text
from portviz.report.rows import summary_csv


def cell(value: Any) -> str:
    """What stands in a cell for a value of the document: nothing for null, every digit of a float."""
    return "" if value is None else repr(value) if isinstance(value, float) else str(value)


def expected_rows(document: dict[str, Any]) -> list[dict[str, str]]:
    """One row a station, each with its run and the results of its lift."""
    return [
        {
            "run": run["run"],
            **{key: cell(value) for key, value in lift.items() if key != "stations"},
            **{f"station_{key}": cell(value) for key, value in tap.items()},
        }
        for run in document["runs"]
        for lift in run["lifts"]
        for tap in lift["stations"]
    ]


def read_back(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


@pytest.mark.parametrize("example", ["sidecar", "tractor"])
def test_the_table_is_the_document(example: str, request: pytest.FixtureRequest) -> None:
    """Both examples: stations of both ascend, so that rows stand in the document's order."""
    reduction = request.getfixturevalue(example)
    runs = list(range(len(reduction.runs)))
    document = json.loads(to_text(summary_document(reduction, runs, [])))
    assert read_back(summary_csv(reduction, runs)) == expected_rows(document)


def test_velocity_gauge(examples: Path, tmp_path: Path) -> None:
    """Readings in m/s, and no reading in Pa."""
    folder = shutil.copytree(examples / "sidecar_intake", tmp_path / "job")
    path = folder / "job.toml"
    text = path.read_text(encoding="utf-8").replace("upstream-minus-tap", "velocity")
    path.write_text(text.replace('accuracy = "3 mmH2O"', ""), encoding="utf-8")
    lines = [f"a,5,{angle},{60 + angle / 10}" for angle in range(0, 360, 30)]
    (folder / "readings.csv").write_text("\n".join(["run,lift [mm],station,reading [m/s]", *lines]))
    (folder / "flow.csv").unlink()
    reduction = reduce_job(read_job(folder))
    rows = read_back(summary_csv(reduction, [0]))
    document = json.loads(to_text(summary_document(reduction, [0], [])))
    assert rows == expected_rows(document)
    assert [float(row["station_reading_m_s"]) for row in rows] == pytest.approx(
        [60 + a / 10 for a in range(0, 360, 30)]
    )
    assert {row["station_reading_pa"] for row in rows} == {""}
    assert {row["discharge_coefficient"] for row in rows} == {""}


def test_one_run_alone(sidecar: Reduction) -> None:
    rows = read_back(summary_csv(sidecar, [1]))
    assert {row["run"] for row in rows} == {sidecar.runs[1]}
    assert len(rows) == 8 * 12


def test_lines_end_as_spreadsheets_expect(sidecar: Reduction) -> None:
    """RFC 4180: CRLF behind each record."""
    text = summary_csv(sidecar, [0])
    assert text.count("\r\n") == text.count("\n") == 1 + 8 * 12


def test_a_file_through_the_command_line(examples: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job, target = str(examples / "sidecar_intake"), tmp_path / "out.csv"
    assert main(["summary", job, "--csv", str(target), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    written = target.read_bytes()
    assert read_back(written.decode("utf-8")) == expected_rows(document)
    assert main(["summary", job, "--csv", str(target)]) == 1
    assert "already" in capsys.readouterr().err
    assert target.read_bytes() == written
    assert main(["summary", job, "--csv", str(target), "--overwrite"]) == 0


@pytest.mark.parametrize(
    ("name", "written"),
    [
        ("=1+1", "'=1+1"),
        ("+cmd", "'+cmd"),
        ("-2", "'-2"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("as found", "as found"),
        ("1=1", "1=1"),
        ('say "wide", then cut', 'say "wide", then cut'),
        ("Ø 38; fräst", "Ø 38; fräst"),
    ],
)
def test_no_name_of_a_run_is_a_formula(name: str, written: str, examples: Path, tmp_path: Path) -> None:
    """A cell that begins with = + - or @ is run by a spreadsheet: a quote before it makes it a text."""
    folder = shutil.copytree(examples / "sidecar_intake", tmp_path / "job")
    (folder / "flow.csv").unlink()
    with (folder / "readings.csv").open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file)
        table.writerow(["run", "lift [mm]", "station", "reading [Pa]"])
        table.writerows([name, 5, angle, 3000 + angle] for angle in range(0, 360, 30))
    reduction = reduce_job(read_job(folder))
    assert reduction.runs == (name,)
    rows = read_back(summary_csv(reduction, [0]))
    assert {row["run"] for row in rows} == {written}


def test_numbers_below_zero_stay_numbers(examples: Path, tmp_path: Path) -> None:
    """The guard is for words: a reverse flow's minus is a number's."""
    folder = shutil.copytree(examples / "sidecar_intake", tmp_path / "job")
    (folder / "flow.csv").unlink()
    lines = [f"a,5,{angle},{-20 if angle == 90 else 3000}" for angle in range(0, 360, 30)]
    (folder / "readings.csv").write_text("\n".join(["run,lift [mm],station,reading [Pa]", *lines]))
    rows = read_back(summary_csv(reduce_job(read_job(folder)), [0]))
    assert float(rows[3]["station_reading_pa"]) == -20.0
    assert float(rows[3]["station_velocity_m_s"]) < 0.0
