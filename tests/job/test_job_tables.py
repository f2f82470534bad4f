"""Tables as spreadsheets and editors leave them: all of these say the same."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from portviz.errors import JobError
from portviz.job.cells import numbers
from portviz.job.headers import Column
from portviz.job.read import read_job
from portviz.job.tables import Table, read_table
from portviz.job.textfile import decode

MakeJob = Callable[..., Path]
COLUMNS = (Column("run"), Column("lift", "length"), Column("station", plain_unit="deg"), Column("note", required=False))
SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t"}


def table(folder: Path, content: str | bytes) -> Table:
    path = folder / "table.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return read_table(path, COLUMNS)


def lifts(folder: Path, content: str | bytes) -> list[float]:
    """Lifts of a table in millimetres."""
    return [round(lift * 1e3, 9) for lift in numbers(table(folder, content), "lift", "length")]


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"], ids=["plain", "with byte order mark"])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"], ids=["LF", "CRLF", "CR"])
@pytest.mark.parametrize("separator", SEPARATORS.values(), ids=SEPARATORS)
def test_separators_line_ends_and_mark(tmp_path: Path, separator: str, ending: str, mark: bytes) -> None:
    lines = ["run,lift [mm],station", "first,1.5,0", "second,2.5,90"]
    text = ending.join(line.replace(",", separator) for line in lines) + ending
    found = table(tmp_path, mark + text.encode())
    assert list(found.cells["run"]) == ["first", "second"]
    assert_allclose(numbers(found, "lift", "length"), [0.0015, 0.0025])
    assert_allclose(numbers(found, "station"), [0.0, 90.0])
    assert found.lines.tolist() == [2, 3]


def test_mixed_line_ends_count_as_lines(tmp_path: Path) -> None:
    found = table(tmp_path, b"run,lift [mm],station\r\na,1,0\na,2,0\ra,3,0\r\na,4,0")
    assert_allclose(numbers(found, "lift", "length"), [1e-3, 2e-3, 3e-3, 4e-3])
    assert found.lines.tolist() == [2, 3, 4, 5]


def test_no_line_end_at_the_end(tmp_path: Path) -> None:
    assert lifts(tmp_path, "run,lift [mm],station\na,1,0\na,2,0") == [1.0, 2.0]


@pytest.mark.parametrize("separator", [";", "\t"], ids=["semicolon", "tab"])
def test_decimal_comma_where_the_separator_is_no_comma(tmp_path: Path, separator: str) -> None:
    text = "run,lift [mm],station\na,1|5,22|5\na,-0|5,0\na,.5,0\na,+2|5e1,0\n".replace(",", separator).replace("|", ",")
    assert lifts(tmp_path, text) == [1.5, -0.5, 0.5, 25.0]


@pytest.mark.parametrize("other", ["985", "12.5", "-.5"])
def test_a_comma_that_may_stand_between_thousands_is_refused(tmp_path: Path, other: str) -> None:
    # As pasted from a spreadsheet that groups thousands: 1,034 must not become 1.034.
    found = table(tmp_path, f"run;lift [mm];station\na;{other};0\na;1,034;0\n")
    with pytest.raises(
        JobError, match=r"line 3, column lift: this comma can't be told .*Write 1034, or 1\.034 if it is"
    ):
        numbers(found, "lift", "length")


def test_three_decimals_behind_a_decimal_comma(tmp_path: Path) -> None:
    assert lifts(tmp_path, "run;lift [mm];station\na;1,034;0\na;12,5;0\na;7;0\na;0,125;0\n") == [1.034, 12.5, 7, 0.125]
    assert lifts(tmp_path, "run;lift [mm];station\na;0,125;0\na;985;0\n") == [0.125, 985]


def test_decimal_comma_within_quotes_of_a_comma_table_is_no_number(tmp_path: Path) -> None:
    found = table(tmp_path, 'run,lift [mm],station\na,"1,5",0\n')
    with pytest.raises(JobError, match=r"table\.csv, line 2, column lift: .*finite number \(got '1,5'\)"):
        numbers(found, "lift", "length")


@pytest.mark.parametrize(
    "cell", ["1.234,5", "1,234.5", "1,2,3", "1 234", "1'234", "1_5", "0x1F", "½", "1e", "e5", "--1"]
)
def test_other_number_styles_are_refused(tmp_path: Path, cell: str) -> None:
    found = table(tmp_path, f"run;lift [mm];station\nx;1;0\na;{cell};0\n")
    with pytest.raises(JobError, match=r"line 3, column lift: this is not a finite number"):
        numbers(found, "lift", "length")


@pytest.mark.parametrize("blank", ["", "   ", "\t ", ",,", " , , ", ",,,,,,,,", '"","",""'], ids=repr)
def test_blank_rows_are_left_out_and_still_count_as_lines(tmp_path: Path, blank: str) -> None:
    found = table(tmp_path, f"{blank}\nrun,lift [mm],station\n{blank}\na,1,0\n{blank}\n{blank}\nb,2,0\n{blank}\n")
    assert list(found.cells["run"]) == ["a", "b"]
    assert found.lines.tolist() == [4, 7]


def test_trailing_separators_in_header_and_rows(tmp_path: Path) -> None:
    assert lifts(tmp_path, "run,lift [mm],station,,\na,1,0,,\nb,2,0\nc,3,0,\n") == [1.0, 2.0, 3.0]
    assert lifts(tmp_path, "run,lift [mm],station\na,1,0,,\n,,,,\nb,2,0,,\n") == [1.0, 2.0]
    assert lifts(tmp_path, "run;lift [mm];station\na;1;0;;\nb;2;0\n") == [1.0, 2.0]
    # Uneven ones can split no number where every column must be filled, or where the spare one is empty.
    assert lifts(tmp_path, "run,lift [mm],station\na,1,0\nb,2,0,\n") == [1.0, 2.0]
    assert lifts(tmp_path, "run,lift [mm],station,note\na,1,0,,,\nb,2,0,\n") == [1.0, 2.0]


@pytest.mark.parametrize(
    ("text", "line", "cells", "header"),
    [
        ("run,lift [mm],station,note\na,1,0,5,\nb,2,0,\n", 2, 5, 4),
        ("run,lift [mm],station,note\na,1,0,\nb,2,0,5,,\n", 3, 6, 4),
    ],
)
def test_a_row_that_fills_a_spare_column_and_goes_on_is_an_error_though_blank(
    tmp_path: Path, text: str, line: int, cells: int, header: int
) -> None:
    # A decimal comma moves what stands behind it into the next column: 1,5 would be read as 1.
    message = rf"table\.csv, line {line}: this row has {cells} cells, the header {header} .*decimal comma"
    with pytest.raises(JobError, match=message):
        table(tmp_path, text)


def test_text_behind_the_last_column_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(JobError, match=r"table\.csv, line 3: this row has 5 cells, the header 3 .*decimal comma"):
        table(tmp_path, "run,lift [mm],station\na,1,0\na,1,5,22,5\n")


def test_a_column_without_a_name_is_empty_or_an_error(tmp_path: Path) -> None:
    assert lifts(tmp_path, "run,,lift [mm],station\na,,1,0\nb, ,2,0\n") == [1.0, 2.0]
    with pytest.raises(JobError, match=r"table\.csv, line 3, column 2: .*without a name \(got '7'\)"):
        table(tmp_path, "run,,lift [mm],station\na,,1,0\nb,7,2,0\n")


def test_quoted_cells(tmp_path: Path) -> None:
    found = table(tmp_path, '"run","lift [mm]","station"\n"bowl, ""blended""","1.5","0"\n"a;b\tc",2,90\n')
    assert list(found.cells["run"]) == ['bowl, "blended"', "a;b\tc"]
    assert_allclose(numbers(found, "lift", "length"), [0.0015, 0.002])


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"], ids=["LF", "CRLF", "CR"])
def test_cells_with_line_breaks_keep_the_count_of_lines(tmp_path: Path, ending: str) -> None:
    rows = ["run,lift [mm],station,note", 'a,1,0,"first', 'second"', "a,2,0,", "a,x,0,"]
    found = table(tmp_path, ending.join(rows) + ending)
    assert found.cells["note"][0] == f"first{ending}second"
    assert found.lines.tolist()[1:] == [4, 5]
    with pytest.raises(JobError, match=r"line 5, column lift: .*got 'x'"):
        numbers(found, "lift", "length")


def test_quote_marks_within_a_plain_cell(tmp_path: Path) -> None:
    assert list(table(tmp_path, 'run,lift [mm],station\n8" port,1,0\n').cells["run"]) == ['8" port']


@pytest.mark.parametrize(
    "header",
    [
        "run,lift [mm],station",
        "RUN,LIFT [mm],STATION",
        "  Run ,  Lift   [ mm ] , Station  ",
        "run,lift[mm],station",
        "run,lift\t[mm],station",
        "run,lift [MM],station",
        "run,lift [millimeter],station",
    ],
)
def test_case_and_spaces_of_a_header(tmp_path: Path, header: str) -> None:
    found = table(tmp_path, f"{header}\na,1.5,0\n")
    assert set(found.cells) == {"run", "lift", "station"}
    assert_allclose(numbers(found, "lift", "length"), [0.0015])


def test_columns_in_any_order(tmp_path: Path) -> None:
    found = table(tmp_path, "note,station,lift [mm],run\n,90,1.5,a\nseen,0,2,b\n")
    assert list(found.cells["run"]) == ["a", "b"]
    assert list(found.cells["note"]) == ["", "seen"]
    assert_allclose(numbers(found, "station"), [90.0, 0.0])


@pytest.mark.parametrize(
    ("unit", "metres"),
    [("mm", 1e-3), ("in", 0.0254), ("thou", 2.54e-5), ("cm", 1e-2), ("m", 1.0), ("IN", 0.0254), ("inch", 0.0254)],
)
def test_unit_of_a_header(tmp_path: Path, unit: str, metres: float) -> None:
    found = table(tmp_path, f"run,lift [{unit}],station\na,3,0\n")
    assert_allclose(numbers(found, "lift", "length"), [3.0 * metres], rtol=1e-14)


def test_a_unit_where_none_belongs_is_not_passed_over(tmp_path: Path) -> None:
    # Station angles are degrees; a column in radians read as degrees would be wrong without a word.
    with pytest.raises(JobError, match=r"station"):
        table(tmp_path, "run,lift [mm],station [rad]\na,1,0\n")


def test_degrees_may_be_named_at_the_stations(tmp_path: Path) -> None:
    assert_allclose(numbers(table(tmp_path, "run,lift [mm],station [deg]\na,1,45\n"), "station"), [45.0])


def test_empty_cell_is_named(tmp_path: Path) -> None:
    found = table(tmp_path, "run,lift [mm],station\na,1,0\na, ,0\n")
    with pytest.raises(JobError, match=r"line 3, column lift: this cell is empty .*expected a number"):
        numbers(found, "lift", "length")
    assert np.isnan(numbers(found, "lift", "length", blank=True)).tolist() == [False, True]


@pytest.mark.parametrize("cell", ["nan", "NaN", "inf", "-inf", "Infinity", "1e999", "-1e999", "9" * 400])
def test_numbers_are_finite(tmp_path: Path, cell: str) -> None:
    found = table(tmp_path, f"run,lift [mm],station\na,{cell},0\n")
    with pytest.raises(JobError, match="this is not a finite number"):
        numbers(found, "lift", "length")
    with pytest.raises(JobError, match="this is not a finite number"):
        numbers(found, "lift", "length", blank=True)


def test_numbers_stay_finite_in_si(tmp_path: Path) -> None:
    found = table(tmp_path, "run,lift [km],station\na,1e308,0\n")
    with pytest.raises(JobError, match=r"line 2, column lift: .*1e308"):
        numbers(found, "lift", "length")


@pytest.mark.parametrize(
    ("cell", "advice"),
    [
        ("20,0 inH2O", ["Units stand in the header, not in the cells", "For the decimal comma write 20.0"]),
        ("20 inH2O", ["Units stand in the header, not in the cells"]),
        ('20"', ["Units stand in the header, not in the cells"]),
        ("20,5", ["For the decimal comma write 20.5, or separate the table by semicolons"]),
        ("20.Jan", ["turned the number into a date"]),
        ("20. Jan", ["turned the number into a date"]),
        ("20-Jan", ["turned the number into a date"]),
        ("Jan 20", ["turned the number into a date"]),
        ("Jan-20", ["turned the number into a date"]),
        ("05. Mai", ["turned the number into a date"]),
        ("20.01.2026", ["turned the number into a date"]),
        ("2026-01-20", ["turned the number into a date"]),
        ("2026-01-20 00:00:00", ["turned the number into a date"]),
        ("1/20/2026", ["turned the number into a date"]),
        ("1,234.5", ["between its thousands"]),
        ("1 234", ["between its thousands"]),
        ("#DIV/0!", ["formula has failed"]),
    ],
)
def test_what_to_do_about_a_cell_that_is_no_number(tmp_path: Path, cell: str, advice: list[str]) -> None:
    found = table(tmp_path, 'run,lift [mm],station\na,"{}",0\n'.format(cell.replace('"', '""')))
    with pytest.raises(JobError) as refused:
        numbers(found, "lift", "length")
    assert [each for each in advice if each not in str(refused.value)] == []
    if "date" in advice[0]:
        assert "Units stand" not in str(refused.value)


def test_a_decimal_comma_with_its_unit_where_the_comma_may_stand(tmp_path: Path) -> None:
    found = table(tmp_path, "run;lift [mm];station\na;2,5 mm;0\n")
    with pytest.raises(JobError, match="Units stand in the header") as refused:
        numbers(found, "lift", "length")
    assert "decimal comma" not in str(refused.value)


@pytest.mark.parametrize(
    ("cell", "written"),
    [
        ("lift (mm)", "lift [mm]"),
        ("lift mm", "lift [mm]"),
        ("lift_mm", "lift [mm]"),
        ("lift, mm", "lift [mm]"),
        ("lift: mm", "lift [mm]"),
        ("lift [mm", "lift [mm]"),
        ("Lift (IN)", "lift [IN]"),
        ("valve lift (mm)", "lift [mm]"),
        ("lift in inches", None),
    ],
)
def test_a_unit_without_its_brackets(tmp_path: Path, cell: str, written: str | None) -> None:
    with pytest.raises(JobError, match="line 1, column 2: ") as refused:
        table(tmp_path, f"run;{cell};station\na;1;0\n")
    if written:
        assert f"the unit of a column stands in square brackets (got '{cell}'). Write it as {written}." in str(
            refused.value
        )
    else:
        assert "unknown column" in str(refused.value)


@pytest.mark.parametrize(
    ("cell", "meant"),
    [("angle", "station"), ("Angle [deg]", "station"), ("degrees", "station"), ("comment", "note"), ("port", "run")],
)
def test_other_names_of_a_column(tmp_path: Path, cell: str, meant: str) -> None:
    header = ["run", "lift [mm]", "station"]
    header[["run", "station", "note"].index(meant) if meant != "station" else 2] = cell
    with pytest.raises(JobError, match=rf"unknown column .*Did you mean {meant}\?"):
        table(tmp_path, f"{','.join(header)}\na,1,0\n")


@pytest.mark.parametrize("title", ["Bench readings of March", "Twin, intake, 28 inH2O", "sep=;", "My run;;;"])
@pytest.mark.parametrize("blanks", ["", "\n", ",,\n\n"])
def test_a_title_above_the_header_is_named(tmp_path: Path, title: str, blanks: str) -> None:
    line = 2 + blanks.count("\n")
    with pytest.raises(JobError, match=rf"table\.csv, line 1: the header must be the first line; line {line} looks"):
        table(tmp_path, f"{title}\n{blanks}run,lift [mm],station\na,1,0\n")
    with pytest.raises(JobError, match=rf"the header must be the first line; line {line} looks like it .*Take away"):
        table(tmp_path, f"{title}\n{blanks}run;Lift;station\na;1;0\n")


@pytest.mark.parametrize("separator", ["|", " ", ":"])
def test_another_separator_is_refused_with_those_that_fit(tmp_path: Path, separator: str) -> None:
    with pytest.raises(JobError, match="Separate the columns by commas, semicolons or tabs"):
        table(tmp_path, "run,lift [mm],station\na,1,0\n".replace(",", separator))


def test_a_second_header_is_called_one(tmp_path: Path) -> None:
    found = table(tmp_path, "run,lift [mm],station\na,1,0\nrun,lift [mm],station\na,1,0\n")
    with pytest.raises(JobError, match=r"line 3, column lift: .*This looks like a second header; take the line away\."):
        numbers(found, "lift", "length")


def test_a_header_of_other_names_alone_is_understood(tmp_path: Path) -> None:
    with pytest.raises(JobError, match=r"Did you mean run\?"):
        table(tmp_path, "name,valve lift,angle\na,1,0\n")


def test_a_table_without_any_header_says_what_it_should_be(tmp_path: Path) -> None:
    with pytest.raises(
        JobError, match=r"unknown column \(got 'a'\); expected a header with run, lift \[unit\], station"
    ):
        table(tmp_path, "a,1,0\nb,2,0\n")


@pytest.mark.parametrize("cell", ["nan", "-inf", "1e999", "--1"])
def test_the_hint_on_units_is_kept_for_cells_with_units(tmp_path: Path, cell: str) -> None:
    hint = "Units stand in the header"
    with pytest.raises(JobError, match=hint):
        numbers(table(tmp_path, "run,lift [mm],station\na,4 mm,0\n"), "lift", "length")
    with pytest.raises(JobError) as refused:
        numbers(table(tmp_path, f"run,lift [mm],station\na,{cell},0\n"), "lift", "length")
    assert hint not in str(refused.value)


def test_decode_takes_the_mark_off() -> None:
    assert decode(b"\xef\xbb\xbfrun", "t.csv") == "run"
    assert decode("Zündapfel".encode(), "t.csv") == "Zündapfel"


@pytest.mark.parametrize(("separator", "ending"), list(product(SEPARATORS.values(), ["\n", "\r\n", "\r"])))
def test_a_whole_job_reads_the_same_in_every_style(make_job: MakeJob, separator: str, ending: str) -> None:
    plain = "run,lift [mm],station,reading [Pa]\n" + "".join(f"a,2.5,{angle},30.5\n" for angle in (0, 90, 180, 270))
    decimal = "." if separator == "," else ","
    styled = plain.replace(",", separator).replace("2.5", f"2{decimal}5").replace("30.5", f"30{decimal}5")
    readings = read_job(make_job(readings_csv=b"\xef\xbb\xbf" + styled.replace("\n", ending).encode())).readings
    assert readings is not None
    assert readings.runs == ("a",)
    assert_allclose(readings.group_lift, [0.0025])
    assert_allclose(readings.value, 30.5)
    assert readings.line.tolist() == [2, 3, 4, 5]


def test_cam_in_any_unit(make_job: MakeJob) -> None:
    cam = read_job(make_job(cam_csv="Crank [rad];Lift [in]\n0;0\n1,5;0,1\n3;0\n")).cam
    assert cam is not None
    assert_allclose(cam.crank_deg, np.degrees([0.0, 1.5, 3.0]))
    assert_allclose(cam.lift, [0.0, 0.00254, 0.0])


def test_cam_may_begin_before_zero(make_job: MakeJob) -> None:
    cam = read_job(make_job(cam_csv="crank [deg],lift [mm]\n-20,0\n100,8\n260,0\n")).cam
    assert cam is not None
    assert_allclose(cam.crank_deg, [-20.0, 100.0, 260.0])


CELLS = st.text(st.characters(codec="utf-8", exclude_characters='",;\t\r\n\0\ufeff'), max_size=6)
QUANTITY_CELLS = st.sampled_from(["1", "2.5", "0", "x", "", " 3 "])


@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    rows=st.lists(st.tuples(CELLS, QUANTITY_CELLS, QUANTITY_CELLS, CELLS), min_size=1, max_size=5),
    separator=st.sampled_from(sorted(SEPARATORS.values())),
    ending=st.sampled_from(["\n", "\r\n", "\r"]),
    order=st.permutations(range(4)),
)
def test_quotes_line_ends_and_order_change_no_cell(
    tmp_path_factory: pytest.TempPathFactory,
    rows: list[tuple[str, ...]],
    separator: str,
    ending: str,
    order: list[int],
) -> None:
    folder = tmp_path_factory.getbasetemp()
    whole = [("run", "lift [mm]", "station", "note"), *rows]
    kept = [row for row in rows if any(map(str.strip, row))]
    plain = ending.join(separator.join(row[place] for place in order) for row in whole) + ending
    quoted = ending.join(separator.join(f'"{row[place]}"' for place in order) for row in whole) + ending
    if not kept:
        with pytest.raises(JobError, match="header but no rows"):
            table(folder, plain)
        return
    for text in (plain, quoted):
        found = table(folder, text)
        assert list(zip(*(found.cells[name] for name in ("run", "lift", "station", "note")), strict=True)) == kept
        assert found.lines.tolist() == [line for line, row in enumerate(rows, start=2) if any(map(str.strip, row))]
