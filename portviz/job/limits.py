"""Ranges that are usual in the trade: a small table, the package's own or the user's."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from portviz.errors import UnitError, suggestion
from portviz.job.cells import numbers
from portviz.job.headers import Column
from portviz.job.model import Job
from portviz.job.tables import Table, read_table
from portviz.units import require_magnitude, unit_factor

LIMITS_FILE = "limits.csv"
#: What a row may be about, with the kind of its unit; None for a plain number.
MEASURES: dict[str, str | None] = {
    "seat width": "length",
    "interference angle": "angle",
    "throat over head": None,
    "margin": "length",
    "face overhang": "length",
    "contact width": "length",
    "contact pressure": "pressure",
}
_SIDES = ("intake", "exhaust", "both")
_COLUMNS = (Column("what"), Column("side"), Column("from"), Column("to"), Column("unit"), Column("source"))


@dataclass(frozen=True)
class Limit:
    """A usual range.

    Parameters
    ----------
    what : str
        A key of `MEASURES`.
    low, high : float
        In SI.
    unit : str
        In which it was typed; empty for a plain number.
    source : str
    """

    what: str
    low: float
    high: float
    unit: str
    source: str


def read_limits(job: Job, path: Path | None = None) -> tuple[tuple[Limit, ...], str]:
    """Return the ranges for a job's side, and the name of the table: a given one, the job's own, or the package's.

    Raises
    ------
    JobError
        For a row that can't be understood, by line and column.
    """
    own = job.folder / LIMITS_FILE
    chosen = path or (own if own.is_file() else Path(__file__).parent / LIMITS_FILE)
    table = read_table(chosen, _COLUMNS)
    ends = [numbers(table, column) for column in ("from", "to")]
    limits = [
        _limit(table, row, *(float(end[row]) for end in ends))
        for row in range(len(table))
        if _side(table, row) in (job.side, "both")
    ]
    return tuple(limits), chosen.name if path or chosen == own else "the package's own limits"


def _side(table: Table, row: int) -> Literal["intake", "exhaust", "both"]:
    side = table.cells["side"][row].strip().lower()
    if side not in _SIDES:
        raise table.error(row, "side", "this is no side", expected=f"one of {', '.join(_SIDES)}")
    return side  # type: ignore[return-value]


def _limit(table: Table, row: int, first: float, last: float) -> Limit:
    what = table.cells["what"][row].strip().lower()
    if what not in MEASURES:
        raise table.error(
            row, "what", "no such measure", expected=f"one of {', '.join(MEASURES)}", mend=suggestion(what, MEASURES)
        )
    if not table.cells["source"][row].strip():
        raise table.error(row, "source", "this cell is empty", expected='a source, or "common practice, no source"')
    low, high = (
        _value(table, row, column, number, MEASURES[what]) for column, number in (("from", first), ("to", last))
    )
    if high < low:
        raise table.error(row, "to", "the range ends below where it begins", mend="Exchange the two")
    unit = "" if MEASURES[what] is None else table.cells["unit"][row].strip()
    return Limit(what, low, high, unit, table.cells["source"][row].strip())


def _value(table: Table, row: int, column: str, number: float, kind: str | None) -> float:
    unit = table.cells["unit"][row].strip()
    if kind is None:
        if unit not in ("-", ""):
            raise table.error(row, "unit", "a plain number has no unit", expected="-")
        return number
    try:
        value = number * unit_factor(unit, kind)
        require_magnitude(value, unit, kind, f"{number:g} {unit}")
    except UnitError as error:
        raise table.error(row, "unit" if not unit else column, error.problem, mend=error.mend) from None
    return value
