"""Tables as sheets of one workbook."""

from __future__ import annotations

import builtins
import datetime
import io
import re
import zipfile
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest
from numpy.testing import assert_allclose

from portviz.errors import JobError
from portviz.job.read import read_job

MakeJob = Callable[..., Path]
Rows = Iterable[Sequence[Any]]
HEADER = ("run", "lift [mm]", "station", "reading [Pa]")
READINGS = [HEADER, *(("as cast", lift, angle, 3000 + angle) for lift in (4, 8.5) for angle in (0, 90, 180, 270))]
FLOW = [
    ("run", "lift [mm]", "flow [l/s]", "test_pressure [Pa]"),
    ("as cast", 4, 20, None),
    ("as cast", 8.5, None, 6500),
]
CAM = [("crank [deg]", "lift [mm]"), (0, 0), (110, 9.5), (220, 0)]


def workbook(**sheets: Rows) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()


def test_all_three_sheets(make_job: MakeJob) -> None:
    job = read_job(make_job(readings_csv=None, bench_xlsx=workbook(readings=READINGS, flow=FLOW, cam=CAM)))
    assert job.readings is not None
    assert job.readings.runs == ("as cast",)
    assert_allclose(job.readings.group_lift, [4e-3, 8.5e-3])
    assert_allclose(job.readings.value[:4], [3000, 3090, 3180, 3270])
    assert job.readings.line.tolist() == list(range(2, 10))
    assert job.flow is not None
    assert_allclose(job.flow.flow, [0.02, np.nan])
    assert_allclose(job.flow.test_pressure, [np.nan, 6500])
    assert job.cam is not None
    assert_allclose(job.cam.crank_deg, [0, 110, 220])


def test_a_workbook_says_the_same_as_text(make_job: MakeJob) -> None:
    text = "\n".join(",".join(map(str, row)) for row in READINGS)
    plain, book = (
        read_job(make_job(readings_csv=text)),
        read_job(make_job(readings_csv=None, bench_xlsx=workbook(readings=READINGS))),
    )
    assert plain.readings is not None
    assert book.readings is not None
    for name in ("runs", "group", "station", "value", "line", "group_run", "group_lift"):
        assert np.array_equal(getattr(plain.readings, name), getattr(book.readings, name)), name
    assert plain.units == book.units


@pytest.mark.parametrize("name", ["Readings", "READINGS", " readings ", "readings "])
def test_case_and_spaces_of_a_sheets_name(make_job: MakeJob, name: str) -> None:
    job = read_job(make_job(readings_csv=None, bench_xlsx=workbook(**{name: READINGS})))
    assert job.readings is not None
    assert len(job.readings.value) == 8


def test_other_sheets_and_workbooks_are_left_alone(make_job: MakeJob) -> None:
    book = workbook(sketch=[("anything", 1)], readings=READINGS)
    job = read_job(make_job(readings_csv=None, bench_xlsx=book, shopping_xlsx=workbook(list=[("oil",)])))
    assert job.readings is not None
    job = read_job(make_job(flow_csv=None, shopping_xlsx=workbook(list=[("oil",)])))
    assert job.readings is not None


def test_sheets_may_lie_in_several_workbooks_and_texts(make_job: MakeJob) -> None:
    text = "\n".join(",".join(map(str, row)) for row in READINGS)
    job = read_job(make_job(readings_csv=text, a_xlsx=workbook(flow=FLOW), b_xlsx=workbook(cam=CAM)))
    assert job.flow is not None
    assert job.cam is not None


def test_the_lock_file_of_an_open_workbook_is_no_workbook(make_job: MakeJob) -> None:
    folder = make_job(readings_csv=None, bench_xlsx=workbook(readings=READINGS))
    (folder / "~$bench.xlsx").write_bytes(b"\x05owner")
    assert read_job(folder).readings is not None


@pytest.mark.parametrize("table", ["readings", "flow", "cam"])
def test_a_table_in_text_goes_before_the_one_in_a_workbook(make_job: MakeJob, table: str) -> None:
    texts = {
        "readings_csv": "\n".join(",".join(map(str, row)) for row in READINGS).replace("3000", "3001"),
        "flow_csv": "run,lift [mm],flow [l/s]\nas cast,4,30\nas cast,8.5,30\n",
        "cam_csv": "crank [deg],lift [mm]\n0,0\n110,9\n220,0\n",
    }
    book = workbook(readings=READINGS, flow=FLOW, cam=CAM)
    files = {"readings_csv": None, f"{table}_csv": texts[f"{table}_csv"]}
    job = read_job(make_job(**files, bench_xlsx=book))
    assert job.readings is not None
    assert job.flow is not None
    assert job.cam is not None
    assert job.readings.file == ("readings.csv" if table == "readings" else "bench.xlsx, sheet readings")
    assert job.readings.value[0] == (3001 if table == "readings" else 3000)
    assert job.flow.flow[0] == pytest.approx(0.03 if table == "flow" else 0.02)
    assert job.cam.lift.max() == pytest.approx(9e-3 if table == "cam" else 9.5e-3)


@pytest.mark.parametrize("book", [b"", b"no workbook", b"PK\x03\x04"])
def test_a_broken_workbook_beside_the_readings_is_remarked_upon(make_job: MakeJob, book: bytes) -> None:
    job = read_job(make_job(bench_xlsx=book))
    assert job.readings is not None
    assert len(job.remarks) == 1
    assert job.remarks[0].startswith("bench.xlsx was left out while looking for flow, cam: the workbook can't be read")


def test_workbooks_are_not_opened_where_all_tables_are_text(make_job: MakeJob) -> None:
    flow, cam = "run,lift [mm],flow [l/s]\nas cast,4,30\n", "crank [deg],lift [mm]\n0,0\n110,9\n220,0\n"
    assert read_job(make_job(flow_csv=flow, cam_csv=cam, bench_xlsx=b"no workbook")).remarks == ()


def test_a_broken_workbook_beside_a_good_one(make_job: MakeJob) -> None:
    job = read_job(make_job(readings_csv=None, a_xlsx=b"", b_xlsx=workbook(readings=READINGS, flow=FLOW)))
    assert job.flow is not None
    assert [each.split(":")[0] for each in job.remarks] == ["a.xlsx was left out while looking for cam"]


def test_a_table_in_two_workbooks_or_two_sheets_is_there_twice(make_job: MakeJob) -> None:
    book = workbook(readings=READINGS)
    with pytest.raises(JobError, match=r"b\.xlsx, sheet readings: .*there twice \(got 'a\.xlsx'\)"):
        read_job(make_job(readings_csv=None, a_xlsx=book, b_xlsx=book))
    with pytest.raises(JobError, match=r"a\.xlsx, sheet Readings ?: .*there twice"):
        read_job(make_job(readings_csv=None, a_xlsx=workbook(**{"readings": READINGS, "Readings ": READINGS})))


def test_blank_rows_and_columns_keep_the_lines_of_the_sheet(make_job: MakeJob) -> None:
    padded = [(), (None, None), *((*row, None, "") for row in READINGS[:5]), (), ("as cast", 8, 0, "x")]
    with pytest.raises(
        JobError, match=r"bench\.xlsx, sheet readings, line 9, column reading: .*finite number \(got 'x'\)"
    ):
        read_job(make_job(readings_csv=None, bench_xlsx=workbook(readings=padded)))


@pytest.mark.parametrize("stated", ['<dimension ref="A1"/>', '<dimension ref="A1:XFD1048576"/>', ""])
def test_the_extent_that_a_sheet_states_is_not_trusted(make_job: MakeJob, stated: str) -> None:
    # Programs other than spreadsheets often state the first cell alone, or nothing.
    content = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(workbook(readings=READINGS))) as whole,
        zipfile.ZipFile(content, "w") as changed,
    ):
        for name in whole.namelist():
            part = whole.read(name)
            if name.endswith("sheet1.xml"):
                part, count = re.subn(rb"<dimension [^>]*/>", stated.encode(), part)
                assert count == 1
            changed.writestr(name, part)
    job = read_job(make_job(readings_csv=None, bench_xlsx=content.getvalue()))
    assert job.readings is not None
    assert len(job.readings.value) == 8


def test_cells_of_text_may_have_a_decimal_comma(make_job: MakeJob) -> None:
    rows = [HEADER, *(("a", "4,5", str(angle), "3000,25") for angle in (0, 90, 180))]
    job = read_job(make_job(readings_csv=None, bench_xlsx=workbook(readings=rows)))
    assert job.readings is not None
    assert_allclose(job.readings.group_lift, [4.5e-3])
    assert_allclose(job.readings.value, 3000.25)


def test_runs_may_be_called_by_numbers(make_job: MakeJob) -> None:
    rows = [HEADER, *((run, 4, angle, 3000) for run in (2, 1) for angle in (0, 90, 180))]
    flow = [FLOW[0][:3], (1, 4, 20), ("2", 4, 30)]
    job = read_job(make_job(readings_csv=None, bench_xlsx=workbook(readings=rows, flow=flow)))
    assert job.readings is not None
    assert job.readings.runs == ("2", "1")
    assert job.flow is not None
    assert_allclose(job.flow.flow, [0.03, 0.02])


@pytest.mark.parametrize(
    ("cell", "shown"),
    [
        ("abc", "abc"),
        ("nan", "nan"),
        (True, "True"),
        (datetime.datetime(2021, 3, 4), "2021-03-04"),
        ("=NA()", "empty"),
        ("#DIV/0!", "#DIV/0!"),
        (None, "empty"),
        ("30 Pa", "30 Pa"),
    ],
)
def test_cells_that_are_no_numbers(make_job: MakeJob, cell: object, shown: str) -> None:
    rows = [*READINGS[:3], ("as cast", 4, 180, cell), *READINGS[4:]]
    with pytest.raises(JobError) as refused:
        read_job(make_job(readings_csv=None, bench_xlsx=workbook(readings=rows)))
    assert str(refused.value).startswith("bench.xlsx, sheet readings, line 4, column reading: this ")
    assert shown in str(refused.value)


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ([], ": the table is empty; expected a header with run, lift"),
        ([HEADER], ": the table has a header but no rows"),
        ([HEADER[:3], ("a", 1, 0)], ", line 1: the column reading is missing"),
        ([("run", "lift", *HEADER[2:]), ("a", 1, 0, 1)], r", line 1, column 2: this column has no unit \(got 'lift'\)"),
        ([(*HEADER, "lift [in]"), ("a", 1, 0, 1, 1)], ", line 1, column 5: this column is there twice"),
    ],
    ids=["empty", "header alone", "column missing", "no unit", "column twice"],
)
def test_broken_sheets(make_job: MakeJob, rows: Rows, message: str) -> None:
    with pytest.raises(JobError, match=r"bench\.xlsx, sheet readings" + message):
        read_job(make_job(readings_csv=None, bench_xlsx=workbook(readings=rows)))


def test_a_workbook_without_readings_says_which_sheet_it_lacks(make_job: MakeJob) -> None:
    with pytest.raises(JobError) as refused:
        read_job(make_job(readings_csv=None, bench_xlsx=workbook(Sheet1=READINGS)))
    assert "bench.xlsx" in str(refused.value)
    assert "Sheet1" in str(refused.value)
    assert "readings" in str(refused.value)
    assert "KeyError" not in str(refused.value)


def not_a_workbook(kind: str) -> bytes:
    if kind == "zip of something else":
        content = io.BytesIO()
        with zipfile.ZipFile(content, "w") as archive:
            archive.writestr("letter.txt", "hello")
        return content.getvalue()
    whole = workbook(readings=READINGS)
    return {
        "empty": b"",
        "text": b"run,lift [mm]\n",
        "cut off": whole[: len(whole) // 2],
        "damaged": whole[:300] + bytes(400) + whole[700:],
        "old format": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(504),
    }[kind]


@pytest.mark.parametrize("kind", ["empty", "text", "cut off", "damaged", "old format", "zip of something else"])
def test_files_that_are_no_workbook(make_job: MakeJob, kind: str) -> None:
    with pytest.raises(JobError, match=r"bench\.xlsx: the workbook can't be read.*expected an \.xlsx workbook"):
        read_job(make_job(readings_csv=None, bench_xlsx=not_a_workbook(kind)))


def test_without_the_reader_of_workbooks_the_message_says_what_to_install(
    make_job: MakeJob, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = make_job(readings_csv=None, bench_xlsx=workbook(readings=READINGS))
    real_import = builtins.__import__

    def without(name: str, *args: Any) -> Any:
        if name.split(".")[0] == "openpyxl":
            raise ImportError(name)
        return real_import(name, *args)

    beside = make_job(bench_xlsx=workbook(flow=FLOW))
    monkeypatch.setattr(builtins, "__import__", without)
    assert read_job(beside).remarks == (
        "bench.xlsx was left out while looking for flow, cam: reading a workbook needs the package openpyxl",
    )
    with pytest.raises(
        JobError, match=r"bench\.xlsx: .*needs the package openpyxl\. .*pip install \"\.\[excel\]\"; .*CSV"
    ):
        read_job(folder)
