"""The first line of a table: the name of each column and, in square brackets, its unit."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from portviz.errors import JobError, UnitError, suggestion
from portviz.units import meant_unit, unit_factor, units_that_fit

SEPARATORS = ",;\t"
#: How many of the first lines are looked at for a header that stands too low.
_LINES_LOOKED_AT = 30


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
    instead_of : str or None
        A required column whose place this one takes; only one of the two may be there.
    only_one : str or None
        What to do where several columns look like this one, each of another valve.
    """

    name: str
    kind: str | None = None
    required: bool = True
    plain_unit: str | None = None
    instead_of: str | None = None
    only_one: str | None = None


#: What people call a column, as far as it isn't the name itself.
_OTHER_NAMES = {
    "run": "name port cylinder state",
    "lift": "valve_lift valvelift valve intake_lift inlet_lift exhaust_lift intake_valve_lift exhaust_valve_lift lifts",
    "tappet_lift": "tappet tappetlift cam_lift camlift lobe_lift lobe follower follower_lift lifter lifter_lift "
    "bucket_lift pushrod_lift",
    "station": "angle angles degree degrees deg position point",
    "reading": "readings pressure pressures dp delta_p deltap drop pressure_drop depression velocity speed value gauge",
    "flow": "cfm airflow air_flow volume_flow",
    "test_pressure": "pressure depression",
    "crank": "crank_angle crankshaft crankshaft_angle crank_degrees crank_degree angle degree degrees deg",
    "camshaft": "camshaft_angle camshaft_degrees camshaft_degree cam cam_angle cam_degrees cam_degree",
    "note": "notes comment comments remark remarks",
}


def named(columns: Iterable[Column]) -> str:
    """Return the columns that a table must have, in words."""
    return ", ".join(f"{each.name} [unit]" if each.kind else each.name for each in columns if each.required)


def split_line(line: str, columns: Sequence[Column]) -> tuple[str, list[str]]:
    """Return the separator that splits a line into the most columns that we know, and the cells."""
    cells = {separator: next(csv.reader([line], delimiter=separator), []) for separator in SEPARATORS}
    best = max(SEPARATORS, key=lambda separator: (known_names(cells[separator], columns), len(cells[separator])))
    return best, cells[best]


def known_names(cells: Iterable[str], columns: Iterable[Column]) -> int:
    """Return how many cells name a column that we know."""
    known = {each.name for each in columns}
    return sum(_split_header(cell)[0] in known for cell in cells)


def require_header_first(rows: Iterable[tuple[int, Sequence[str]]], columns: Sequence[Column], file: str) -> None:
    """Raise JobError where a row further down, and not the first one, looks like the header.

    Parameters
    ----------
    rows : iterable of (int, sequence of str)
        Line and cells of each row that is not blank; only as many as needed are taken.
    columns : sequence of Column
    file : str
    """
    first: tuple[int, Sequence[str]] | None = None
    for count, (line, cells) in enumerate(rows):
        if first is None:
            if known_names(cells, columns) >= 2:
                return
            first = line, cells
        elif known_names(cells, columns) >= 2:
            raise JobError(
                f"the header must be the first line; line {line} looks like it",
                file=file,
                place=f"line {first[0]}",
                value=", ".join(cell.strip() for cell in first[1] if cell.strip()),
                mend="Take away what stands above the header",
            )
        if count >= _LINES_LOOKED_AT:
            return


def read_header(
    cells: Sequence[str], columns: Sequence[Column], file: str, line: int
) -> tuple[list[str], dict[str, str]]:
    """Return the name of each column, "" where it has none, and the units by name.

    Raises
    ------
    JobError
        For a column that is unknown, there twice or missing, and for a unit that is missing or doesn't fit.
    """
    known = {each.name: each for each in columns}
    names: list[str] = []
    units: dict[str, str] = {}
    _require_one_valve(cells, columns, file, line)
    for number, cell in enumerate(cells, start=1):
        name, unit = _split_header(cell)
        where = {"file": file, "place": f"line {line}, column {number}", "value": cell.strip()}
        if not name:
            names.append("")
            continue
        if name not in known:
            raise _unknown_column(cell, cells, known, where)
        if name in names:
            raise JobError("this column is there twice", **where)
        rival = next((each for each in names if each and _rivals(known[each], known[name])), None)
        if rival is not None:
            raise JobError(f"the columns {rival} and {name} say the same", **where, mend="Keep one of the two")
        kind = known[name].kind
        if kind is not None:
            if not unit:
                raise JobError(
                    "this column has no unit",
                    **where,
                    expected=f"a unit in square brackets, such as {name} [{units_that_fit(kind).split(',')[0]}]",
                )
            try:
                unit_factor(unit, kind)
            except UnitError as error:
                raise JobError(error.problem, **where, mend=error.mend) from None
            units[name] = unit
        elif unit and unit != known[name].plain_unit:
            only = known[name].plain_unit
            raise JobError(
                f"the unit {unit} does not belong to the column {name}",
                **where,
                expected=f"{name} [{only}], or {name} alone" if only else f"{name} alone",
            )
        names.append(name)
    standing_in = {known[name].instead_of for name in names if name}
    missing = [each for each in columns if each.required and each.name not in {*names, *standing_in}]
    if missing:
        raise JobError(
            f"the column {missing[0].name} is missing",
            file=file,
            place=f"line {line}",
            value=", ".join(cell.strip() for cell in cells)[:120],
            expected=f"a header with {named(columns)}",
        )
    while names and not names[-1]:
        names.pop()
    return names, units


def _rivals(one: Column, other: Column) -> bool:
    return one.name == other.instead_of or other.name == one.instead_of


#: Words by which a column is known to hold a valve's lift, and those by which it isn't.
_LIFT_WORDS = frozenset({"lift", "intake", "inlet", "exhaust", "valve"})
_ANGLE_WORDS = frozenset({"crank", "crankshaft", "camshaft", "angle"})


def _require_one_valve(cells: Sequence[str], columns: Sequence[Column], file: str, line: int) -> None:
    """Raise JobError where a table of one valve's lifts has columns for several, beside each other."""
    column = next((each for each in columns if each.only_one), None)
    if column is None:
        return
    named_so = [
        number
        for number, cell in enumerate(cells, start=1)
        if (words := set(re.split(r"[^a-z]+", cell[:200].lower()))) & _LIFT_WORDS and not words & _ANGLE_WORDS
    ]
    plain = [_split_header(cells[number - 1])[0] for number in named_so]
    stand_ins = {each.name for each in columns if each.instead_of == column.name}
    if len(named_so) < 2 or (len(plain) == 2 and len({*plain} & {column.name, *stand_ins}) == 2):
        return
    raise JobError(
        "there are lifts of several valves beside each other",
        file=file,
        place=f"line {line}, columns {', '.join(map(str, named_so))}",
        value=", ".join(cells[number - 1].strip() for number in named_so)[:120],
        expected=f"one column {column.name} [{units_that_fit(column.kind).split(',')[0]}]" if column.kind else None,
        mend=column.only_one,
    )


def _split_header(cell: str) -> tuple[str, str | None]:
    """Split ``"Lift [mm]"`` into ``"lift"`` and ``"mm"``."""
    name, bracket, unit = cell.strip().partition("[")
    if bracket and unit.endswith("]") and not set(unit[:-1]) & set("[]"):
        return _plain_name(name), unit[:-1].strip()
    return _plain_name(cell), None


def _plain_name(text: str) -> str:
    return "_".join(text.lower().split())


def _unknown_column(cell: str, cells: Sequence[str], known: Mapping[str, Column], where: Mapping[str, str]) -> JobError:
    free = {name: column for name, column in known.items() if name not in {_split_header(each)[0] for each in cells}}
    name, unit = _split_header(cell)
    bracketed = None if unit else _with_brackets(cell, free)
    if bracketed is not None:
        return JobError("the unit of a column stands in square brackets", **where, mend=f"Write it as {bracketed}")
    meant = _meant_name(name, free)
    if not meant and not known_names(cells, known.values()):
        return JobError(
            "unknown column",
            **where,
            expected=f"a header with {named(known.values())} as the first line of the table",
            mend="Separate the columns by commas, semicolons or tabs" if len(cells) == 1 else None,
        )
    return JobError(
        "unknown column",
        **where,
        expected=f"one of {', '.join(known)}",
        mend=f"Did you mean {_in_full(free[meant], unit or name)}?" if meant else suggestion(name, known),
    )


def _meant_name(name: str, known: Iterable[str]) -> str | None:
    """Return the column that people mean by another name, or None."""
    return next((each for each in known if name == each or name in _OTHER_NAMES.get(each, "").split()), None)


def _in_full(column: Column, unit: str) -> str:
    """Return a column's name with a unit that fits it: the given one, or the most usual."""
    if column.kind is None:
        return column.name
    return f"{column.name} [{_fitting_unit(unit, column.kind) or units_that_fit(column.kind).split(',')[0]}]"


def _with_brackets(cell: str, known: Mapping[str, Column]) -> str | None:
    """Return ``"lift (mm)"``, ``"lift mm"``, ``"lift, mm"`` or ``"lift_mm"`` as ``"lift [mm]"``, or None."""
    for gap in re.finditer(r"[\s_,:;/(\[{]+", cell[:200]):
        name = _meant_name(_plain_name(cell[: gap.start()]), known)
        kind = known[name].kind if name else None
        unit = _fitting_unit(cell[gap.end() :].strip(" \t)]}._"), kind) if kind else None
        if unit:
            return f"{name} [{unit}]"
    return None


def _fitting_unit(unit: str, kind: str) -> str | None:
    """Return a unit of a kind, as typed or as meant, or None."""
    try:
        unit_factor(unit, kind)
    except UnitError:
        return meant_unit(unit, kind)
    return unit
