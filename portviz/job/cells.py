"""From the text of a table's cells to SI floats, and what to say of a cell that is no number."""

from __future__ import annotations

import math
import re

import numpy as np

from portviz.errors import UnitError
from portviz.job.model import Array
from portviz.job.tables import Table
from portviz.units import require_magnitude, unit_factor


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
        plain = all(map(math.isfinite, number.values())) and _plain_signs("".join(seen))
    except ValueError:
        plain = False
    if not plain:
        first = {text: row for row, text in reversed(list(enumerate(cells)))}
        _require_no_thousands(table, first, column)
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
                raise table.error(worst, column, error.problem, mend=error.mend) from None
    return scaled


def _plain_signs(text: str) -> bool:
    """Tell if a text has no sign that Python reads as a part of a number and a spreadsheet does not."""
    return text.isascii() and "_" not in text


_THOUSANDS = re.compile(r"\s*[+-]?[1-9]\d{0,2},\d{3}\s*", re.ASCII)
_NO_DECIMAL_COMMA = re.compile(r"\s*[+-]?(\d+\.\d*|\.\d+|\d{3,})\s*", re.ASCII)


def _require_no_thousands(table: Table, first: dict[str, int], column: str) -> None:
    """Raise JobError where 1,034 stands among 985 or 12.5: its comma may stand between thousands.

    Parameters
    ----------
    table : Table
    first : dict of str to int
        The distinct texts of the column, and the first row of each.
    column : str
    """
    grouped = next((text for text in first if _THOUSANDS.fullmatch(text)), None)
    if grouped is not None and table.decimal_comma and any(map(_NO_DECIMAL_COMMA.fullmatch, first)):
        text = grouped.strip()
        raise table.error(
            first[grouped],
            column,
            "this comma can't be told from one between thousands, as other cells of the column have no decimal comma",
            mend=f"Write {text.replace(',', '')}, or {text.replace(',', '.')} if it is a decimal comma",
        )


_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)


def _number(table: Table, row: int, column: str, blank: bool) -> float:
    text = table.cells[column][row].strip()
    if blank and not text:
        return float("nan")
    if table.decimal_comma and text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    if _NUMBER.fullmatch(text) and np.isfinite(float(text)):
        return float(text)
    if not text:
        raise table.error(row, column, "this cell is empty", expected="a number", mend="Type it, or take the row away")
    raise table.error(
        row,
        column,
        "this is not a finite number",
        expected="a number such as 12.5",
        mend="This looks like a second header; take the line away"
        if text.lower().startswith(column)
        else _what_to_mend(table.cells[column][row].strip()[:100], table.decimal_comma),
    )


_MONTH = r"(?:jan|feb|mar|mär|mrz|apr|mai|may|jun|jul|aug|sep|oct|okt|nov|dec|dez)[a-zä]*\.?"
_DATE = re.compile(
    rf"\d{{1,4}}[\s.\-/]*{_MONTH}([\s.\-/]*\d{{1,4}})?|{_MONTH}[\s.\-/]*\d{{1,4}}([\s,.\-/]+\d{{1,4}})?"
    r"|\d{1,4}([.\-/])\s?\d{1,2}\3\s?\d{0,4}([ T]\d{1,2}:\d\d.*)?",
    re.IGNORECASE,
)
_WITH_UNIT = re.compile(r"([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+))\s*[a-zA-Zµ°%\"″].*", re.DOTALL | re.ASCII)
_DECIMAL_COMMA = re.compile(r"[+-]?\d*,\d+", re.ASCII)
_GROUPED = re.compile(r"[+-]?\d{1,3}([.,' \u00a0\u202f]\d{3})+([.,]\d+)?", re.ASCII)


def _what_to_mend(text: str, decimal_comma: bool) -> str | None:
    """Return what to do about a cell that is no number, as far as can be told."""
    if _DATE.fullmatch(text):
        return "A spreadsheet has turned the number into a date; format the column as text or number and type it again"
    with_unit = None if _NUMBER.fullmatch(text) else _WITH_UNIT.fullmatch(text)
    number = with_unit[1] if with_unit else text
    advice = []
    if with_unit:
        advice.append("Units stand in the header, not in the cells")
    if _DECIMAL_COMMA.fullmatch(number) and not decimal_comma:
        point = number.replace(",", ".")
        advice.append(f"For the decimal comma write {point}, or separate the table by semicolons")
    elif _GROUPED.fullmatch(number):
        advice.append("Write the number without signs or blanks between its thousands")
    elif text.startswith(("#", "=")):
        advice.append("A spreadsheet's formula has failed here or was not worked out; type the number itself")
    return ". ".join(advice) or None
