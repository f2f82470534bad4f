"""Tables as spreadsheets leave them: comma, semicolon or tab; UTF-8 with or without mark; or a workbook.

A header names each column and, in square brackets, its unit. Cells stay text here; `cells.numbers`
turns a column into SI floats; every complaint names file, line, column and value.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from operator import itemgetter, methodcaller
from pathlib import Path

import numpy as np

from portviz.errors import JobError
from portviz.job.headers import Column, named, read_header, require_header_first, split_line
from portviz.job.model import Index
from portviz.job.textfile import decode, read_bytes, require_short_lines
from portviz.job.workbook import WORKBOOK_ENDING, workbook_rows

#: Larger tables are refused: a bench's readings fill kilobytes, and two million rows fit in this.
MAX_TABLE_BYTES = 64 * 2**20
#: More rows are refused before they fill the memory.
MAX_TABLE_ROWS = 1_000_000


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
        rows, lines = workbook_rows(path, sheet or "")
        file = f"{path.name}, sheet {sheet}"
        filled = ((int(line), row) for line, row in zip(lines, rows, strict=True) if any(map(str.strip, row)))
        require_header_first(filled, columns, file)
        return _table_of_rows(rows, lines, file, columns, decimal_comma=True)
    file = path.name
    text = decode(read_bytes(path, MAX_TABLE_BYTES, "a table"), file)
    if text.count("\n") + text.count("\r") > 2 * MAX_TABLE_ROWS:
        raise JobError("the table has too many lines", file=file, expected=f"at most {MAX_TABLE_ROWS:,} rows")
    require_short_lines(text, file, "a table")
    require_header_first(_first_lines(text, columns), columns, file)
    header = next(_filled_lines(text), (1, ""))[1]
    separator = split_line(header, columns)[0]
    plain = _plain_columns(text, separator)
    if plain is not None:
        names, units = read_header([column[0] for column in plain], columns, file, 1)
        if len(names) == len(plain) and all(names):
            cells = {name: column[1:] for name, column in zip(names, plain, strict=True)}
            return Table(file, cells, units, np.arange(2, len(plain[0]) + 1), separator != ",")
    rows, lines = _text_rows(text, file, separator)
    return _table_of_rows(rows, lines, file, columns, decimal_comma=separator != ",")


def _filled_lines(text: str) -> Iterator[tuple[int, str]]:
    """Yield the number and text of each line that is not blank."""
    number, end = 1, 0
    for line in re.finditer(r"[^\r\n]+", text):
        number += len(re.findall(r"\r\n|\r|\n", text[end : line.start()]))
        end = line.end()
        if line[0].strip(' \t,;"'):
            yield number, line[0]


def _first_lines(text: str, columns: Sequence[Column]) -> Iterator[tuple[int, list[str]]]:
    for number, line in _filled_lines(text):
        yield number, split_line(line, columns)[1]


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
        raise JobError("the table is empty", file=file, expected=f"a header with {named(columns)}")
    names, units = read_header(rows[first], columns, file, int(lines[first]))
    spare = any(each.name == names[-1] and not each.required for each in columns)
    body, lines = _body(
        rows[first + 1 :],
        lines[first + 1 :],
        len(names),
        len(rows[first]),
        file,
        comma=not decimal_comma,
        spare=spare,
    )
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


def _body(
    rows: list[list[str]], lines: Index, width: int, header_width: int, file: str, *, comma: bool, spare: bool
) -> tuple[list[list[str]], Index]:
    """Return rows of one width: blank ones left out, trailing blank cells cut, short rows filled up.

    In a table separated by commas whose last column is a `spare` one that may stay empty, a row that fills it and
    goes on, be it with blank cells, is refused: a decimal comma may have split a number. Blank cells at the end of
    all rows alike are a spreadsheet's, and pass.
    """
    filled = [(row, line) for row, line in zip(rows, lines, strict=True) if any(map(str.strip, row))]
    uneven = comma and spare and len({len(row) for row, _ in filled}) > 1
    longer = [(row, line) for row, line in filled if len(row) > width]
    for row, line in longer:
        split = uneven and len(row) > header_width and row[width - 1].strip()
        if any(map(str.strip, row[width:])) or split:
            raise JobError(
                f"this row has {len(row)} cells, the header {header_width}",
                file=file,
                place=f"line {line}",
                value=", ".join(row),
                mend="Where a decimal comma has split a number, write a point or separate the table by semicolons; "
                "else take the stray comma away"
                if comma
                else "Check for a stray separator, or clear what stands behind the last column",
            )
    kept = [row if len(row) == width else [*row[:width], *[""] * (width - len(row))] for row, _ in filled]
    return kept, np.array([line for _, line in filled], dtype=np.intp)
