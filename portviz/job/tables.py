"""Tables as spreadsheets leave them: comma, semicolon or tab; UTF-8 with or without mark; or a workbook.

A header names each column and, in square brackets, its unit. Cells stay text here until `numbers`
turns a column into SI floats; every complaint names file, line, column and value.
"""

from __future__ import annotations

import csv
import io
import math
import re
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from operator import itemgetter, methodcaller
from pathlib import Path
from typing import Any

import numpy as np

from portviz.errors import JobError, UnitError, suggestion
from portviz.job.model import Array, Index
from portviz.units import require_magnitude, unit_factor, units_that_fit

#: Larger tables are refused: a bench's readings fill kilobytes, and two million rows fit in this.
MAX_TABLE_BYTES = 64 * 2**20
WORKBOOK_ENDING = ".xlsx"

#: More rows, or a longer line, are refused before they fill the memory.
MAX_TABLE_ROWS = 1_000_000
MAX_WORKBOOK_BYTES = 16 * 2**20
MAX_WORKBOOK_ROWS = 100_000
MAX_WORKBOOK_COLUMNS = 1_000
LONGEST_LINE = 50_000


@dataclass(frozen=True)
class Column:
    """A column that a table may have.

    Parameters
    ----------
    name : str
    kind : str or None
        The kind of its unit; None for words and plain numbers.
    required : bool
        True where a table without it is an error.
    plain_unit : str or None
        The one unit that may be named for plain numbers.
    """

    name: str
    kind: str | None = None
    required: bool = True
    plain_unit: str | None = None


@dataclass(frozen=True)
class Table:
    """A table's cells as text, by column.

    Parameters
    ----------
    file : str
        Name for messages.
    cells : mapping of str to sequence of str
        By column name; all of one length.
    units : dict of str to str
        Unit of each column that has one.
    lines : ndarray of int
        Line in the file of each row.
    decimal_comma : bool
        True where numbers may be written with a comma.
    """

    file: str
    cells: Mapping[str, Sequence[str]]
    units: dict[str, str]
    lines: Index
    decimal_comma: bool

    def __len__(self) -> int:
        return len(self.lines)

    def place(self, row: int, column: str) -> str:
        """Return the place of a cell, in words."""
        return f"line {self.lines[row]}, column {column}"

    def error(self, row: int, column: str, problem: str, **words: str | None) -> JobError:
        """Return the error for a cell."""
        return JobError(problem, file=self.file, place=self.place(row, column), value=self.cells[column][row], **words)


def read_bytes(path: Path, limit: int, what: str) -> bytes:
    """Return a file's content, or raise JobError saying why it can't be read."""
    try:
        if path.is_dir():
            raise JobError("this is a folder, not a file", file=path.name, expected=what)
        if path.exists() and not path.is_file():
            raise JobError("this is a pipe or a device, not a file", file=path.name, expected=what)
        size = path.stat().st_size
        if size > limit:
            raise JobError(
                "the file is too large",
                file=path.name,
                value=f"{size / 2**20:.0f} MB",
                expected=f"{what} of at most {limit / 2**20:.0f} MB",
            )
        return path.read_bytes()
    except OSError as error:
        reason = error.strerror or str(error)
        raise JobError(f"the file can't be read: {reason}", file=path.name, expected=what) from None


def decode(content: bytes, file: str) -> str:
    """Return UTF-8 text, with or without byte order mark."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise JobError(
            "the file is written in UTF-16", file=file, expected="UTF-8", mend="Save it as 'CSV UTF-8' or plain UTF-8"
        )
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise JobError(
            f"byte {content[error.start]:#04x} is not UTF-8 text",
            file=file,
            place=f"line {line}",
            expected="UTF-8 text",
            mend="Save the file as 'CSV UTF-8' or plain UTF-8",
        ) from None
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise JobError("the file holds a zero byte and is no text", file=file, place=f"line {line}")
    return text


def read_table(path: Path, columns: Sequence[Column], sheet: str | None = None) -> Table:
    """Return a table's cells.

    Parameters
    ----------
    path : Path
        A text table, or a workbook with one sheet for each table.
    columns : sequence of Column
        What the table must or may have.
    sheet : str, optional
        The sheet, where `path` is a workbook.

    Raises
    ------
    JobError
        For anything that can't be understood.
    """
    if path.suffix.lower() == WORKBOOK_ENDING:
        rows, lines = _workbook_rows(path, sheet or "")
        return _table_of_rows(rows, lines, f"{path.name}, sheet {sheet}", columns, decimal_comma=True)
    file = path.name
    text = decode(read_bytes(path, MAX_TABLE_BYTES, "a table"), file)
    _require_readable_lines(text, file)
    header = next((line[0] for line in re.finditer(r"[^\r\n]+", text) if line[0].strip(" \t,;")), "")
    separator = _sniffed(header, columns)
    decimal_comma = separator != ","
    plain = _plain_columns(text, separator)
    if plain is not None:
        names, units = _header([column[0] for column in plain], columns, file, 1)
        if len(names) == len(plain) and all(names):
            cells = {name: column[1:] for name, column in zip(names, plain, strict=True)}
            return Table(file, cells, units, np.arange(2, len(plain[0]) + 1), decimal_comma)
    rows, lines = _text_rows(text, file, separator)
    return _table_of_rows(rows, lines, file, columns, decimal_comma=decimal_comma)


def _require_readable_lines(text: str, file: str) -> None:
    """Raise JobError for more rows, or a longer line, than any table of readings has."""
    if text.count("\n") + text.count("\r") > 2 * MAX_TABLE_ROWS:
        raise JobError("the table has too many lines", file=file, expected=f"at most {MAX_TABLE_ROWS:,} rows")
    for number, line in enumerate(text.split("\n"), start=1):
        if len(line) > LONGEST_LINE and max(map(len, line.split("\r"))) > LONGEST_LINE:
            raise JobError(
                "this line is too long for a table",
                file=file,
                place=f"line {number}",
                value=line[:80],
                expected=f"at most {LONGEST_LINE:,} characters",
            )


def _plain_columns(text: str, separator: str) -> list[list[str]] | None:
    """Return the columns of a table with no quotes and no blanks, header first, or None for any other.

    Splitting at separators is then the same as the csv module's reading, and several times faster.
    """
    text = text.replace("\r\n", "\n").rstrip("\n")
    if '"' in text or "\r" in text:
        return None
    lines = text.split("\n")
    width = lines[0].count(separator) + 1
    if len(lines) < 2 or set(map(methodcaller("count", separator), lines)) != {width - 1}:
        return None
    cells = separator.join(lines).split(separator)
    columns = [cells[place::width] for place in range(width)]
    return columns if all(map(str.strip, columns[0])) else None


def _table_of_rows(
    rows: list[list[str]], lines: Index, file: str, columns: Sequence[Column], *, decimal_comma: bool
) -> Table:
    first = next((index for index, row in enumerate(rows) if any(map(str.strip, row))), None)
    if first is None:
        raise JobError("the table is empty", file=file, expected=f"a header with {_named(columns)}")
    names, units = _header(rows[first], columns, file, int(lines[first]))
    body, lines = _body(rows[first + 1 :], lines[first + 1 :], len(names), file)
    if not body:
        raise JobError("the table has a header but no rows", file=file, expected="at least one row")
    by_place = [list(map(itemgetter(place), body)) for place in range(len(names))]
    for place, (name, cells) in enumerate(zip(names, by_place, strict=True), start=1):
        row = next((row for row, cell in enumerate(cells) if cell.strip()), None)
        if not name and row is not None:
            raise JobError(
                "there is something in a column without a name",
                file=file,
                place=f"line {lines[row]}, column {place}",
                value=cells[row],
                mend="Name the column in the header, or clear it",
            )
    cells_by_name = {name: cells for name, cells in zip(names, by_place, strict=True) if name}
    return Table(file, cells_by_name, units, lines, decimal_comma)


def _named(columns: Sequence[Column]) -> str:
    return ", ".join(f"{each.name} [unit]" if each.kind else each.name for each in columns if each.required)


def _text_rows(text: str, file: str, separator: str) -> tuple[list[list[str]], Index]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        rows = list(reader)
    except csv.Error as error:
        raise JobError(
            f"the table can't be split into cells: {error}", file=file, place=f"line {reader.line_num}"
        ) from None
    if reader.line_num == len(rows):
        return rows, np.arange(1, len(rows) + 1)
    # Cells with line ends inside: read again, keeping the line on which each row ends.
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    return rows, np.array([reader.line_num for _ in reader], dtype=np.intp)


def _sniffed(header: str, columns: Sequence[Column]) -> str:
    """Return the separator that splits the header into the most columns that we know."""
    known = {each.name for each in columns}

    def score(separator: str) -> tuple[int, int]:
        cells = next(csv.reader([header], delimiter=separator), [])
        names = [_split_header(cell)[0] for cell in cells]
        return sum(name in known for name in names), len(cells)

    return max(",;\t", key=score)


def _split_header(cell: str) -> tuple[str, str | None]:
    """Split ``"Lift [mm]"`` into ``"lift"`` and ``"mm"``."""
    name, bracket, unit = cell.strip().partition("[")
    if bracket and unit.endswith("]") and not set(unit[:-1]) & set("[]"):
        return "_".join(name.lower().split()), unit[:-1].strip()
    return "_".join(cell.lower().split()), None


def _header(cells: Sequence[str], columns: Sequence[Column], file: str, line: int) -> tuple[list[str], dict[str, str]]:
    known = {each.name: each for each in columns}
    names: list[str] = []
    units: dict[str, str] = {}
    for number, cell in enumerate(cells, start=1):
        name, unit = _split_header(cell)
        place = f"line {line}, column {number}"
        if not name:
            names.append("")
            continue
        if name not in known:
            raise JobError(
                "unknown column",
                file=file,
                place=place,
                value=cell.strip(),
                expected=f"one of {', '.join(known)}",
                mend=suggestion(name, known),
            )
        if name in names:
            raise JobError("this column is there twice", file=file, place=place, value=cell.strip())
        kind = known[name].kind
        if kind is not None:
            fits = f"a unit in square brackets, such as {name} [{units_that_fit(kind).split(',')[0]}]"
            if not unit:
                raise JobError("this column has no unit", file=file, place=place, value=cell.strip(), expected=fits)
            try:
                unit_factor(unit, kind)
            except UnitError as error:
                raise JobError(str(error), file=file, place=place, value=cell.strip(), expected=fits) from None
            units[name] = unit
        elif unit and unit != known[name].plain_unit:
            only = known[name].plain_unit
            raise JobError(
                f"the unit {unit} does not belong to the column {name}",
                file=file,
                place=place,
                value=cell.strip(),
                expected=f"{name} [{only}], or {name} alone" if only else f"{name} alone",
            )
        names.append(name)
    missing = [each for each in columns if each.required and each.name not in names]
    if missing:
        raise JobError(
            f"the column {missing[0].name} is missing",
            file=file,
            place=f"line {line}",
            value=", ".join(cell.strip() for cell in cells)[:120],
            expected=f"a header with {_named(columns)}",
        )
    while names and not names[-1]:
        names.pop()
    return names, units


def _body(rows: list[list[str]], lines: Index, width: int, file: str) -> tuple[list[list[str]], Index]:
    """Return rows of one width: blank ones left out, trailing blank cells cut, short rows filled up."""
    kept, at = [], []
    for row, line in zip(rows, lines, strict=True):
        if not any(map(str.strip, row)):
            continue
        if any(map(str.strip, row[width:])):
            raise JobError(
                f"this row has {len(row)} cells, the header {width}",
                file=file,
                place=f"line {line}",
                value=", ".join(row),
                mend="Check for a decimal comma in a comma-separated table, or a stray separator",
            )
        kept.append([*row[:width], *[""] * (width - len(row))])
        at.append(line)
    return kept, np.array(at, dtype=np.intp)


def workbook_sheets(path: Path) -> list[str]:
    """Return the names of a workbook's sheets."""
    return list(_workbook(path).sheetnames)


def _workbook(path: Path) -> Any:
    try:
        import openpyxl
    except ImportError:
        raise JobError(
            "reading a workbook needs the package openpyxl",
            file=path.name,
            mend='Install it with: pip install "portviz[excel]", or save each sheet as CSV UTF-8',
        ) from None
    content = read_bytes(path, MAX_TABLE_BYTES, "a workbook")
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            inflated = sum(each.file_size for each in archive.infolist())
    except Exception as error:
        raise _unreadable_workbook(path, error) from None
    if inflated > MAX_WORKBOOK_BYTES:
        raise JobError(
            "the workbook is too large",
            file=path.name,
            value=f"{inflated / 2**20:.0f} MB unpacked",
            expected=f"at most {MAX_WORKBOOK_BYTES / 2**20:.0f} MB; save large tables as CSV UTF-8",
        )
    try:
        return openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    except Exception as error:
        raise _unreadable_workbook(path, error) from None


def _unreadable_workbook(path: Path, error: Exception) -> JobError:
    reason = type(error).__name__
    return JobError(f"the workbook can't be read ({reason})", file=path.name, expected="an .xlsx workbook")


def _workbook_rows(path: Path, sheet: str) -> tuple[list[list[str]], Index]:
    book = _workbook(path)
    try:
        cells = book[sheet]
        # What a sheet states of its extent is not always true.
        cells.reset_dimensions()
        rows = []
        for number, row in enumerate(cells.iter_rows(values_only=True), start=1):
            if number > MAX_WORKBOOK_ROWS or len(row) > MAX_WORKBOOK_COLUMNS:
                raise JobError(
                    "the sheet is too large",
                    file=path.name,
                    place=f"sheet {sheet}, row {number}",
                    expected=f"at most {MAX_WORKBOOK_ROWS:,} rows of {MAX_WORKBOOK_COLUMNS} cells; "
                    "clear what lies beyond the table, or save it as CSV UTF-8",
                )
            rows.append([_cell_text(cell) for cell in row])
    except JobError:
        raise
    except Exception as error:
        raise _unreadable_workbook(path, error) from None
    return rows, np.arange(1, len(rows) + 1)


def _cell_text(value: object) -> str:
    return "" if value is None else str(value)


def numbers(table: Table, column: str, kind: str | None = None, *, blank: bool = False) -> Array:
    """Return a column as floats, in SI where it has a unit.

    Parameters
    ----------
    table : Table
    column : str
    kind : str, optional
        The kind of its unit; None for plain numbers.
    blank : bool
        Allow empty cells, which become NaN.

    Raises
    ------
    JobError
        For the first cell that is no finite number.
    """
    cells = table.cells[column]
    # Lifts and stations repeat many times: each text is read once.
    seen = dict.fromkeys(cells)
    try:
        number = {text: float(text) for text in seen}
        plain = all(map(math.isfinite, number.values())) and "_" not in "".join(seen)
    except ValueError:
        plain = False
    if not plain:
        first = {text: row for row, text in reversed(list(enumerate(cells)))}
        number = {text: _number(table, first[text], column, blank) for text in seen}
    values = np.fromiter(map(number.__getitem__, cells), dtype=float, count=len(cells))
    if kind is None:
        return values
    unit = table.units[column]
    with np.errstate(over="ignore"):
        scaled = values * unit_factor(unit, kind)
    if scaled.size:
        worst = int(np.nanargmax(np.abs(scaled))) if not np.isnan(scaled).all() else 0
        if not np.isnan(scaled[worst]):
            try:
                require_magnitude(float(scaled[worst]), unit, kind, f"{values[worst]:g} {unit}")
            except UnitError as error:
                raise table.error(worst, column, str(error)) from None
    return scaled


_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_NUMBER_AND_UNIT = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)\s*[a-zA-Zµ°%]\D*", re.ASCII)


def _number(table: Table, row: int, column: str, blank: bool) -> float:
    text = table.cells[column][row].strip()
    if blank and not text:
        return float("nan")
    if table.decimal_comma and text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    if _NUMBER.fullmatch(text) and np.isfinite(float(text)):
        return float(text)
    if not text:
        raise table.error(row, column, "this cell is empty", expected="a number")
    mend = "Units stand in the header, not in the cells" if _NUMBER_AND_UNIT.fullmatch(text) else None
    raise table.error(row, column, "this is not a finite number", expected="a number such as 12.5", mend=mend)
