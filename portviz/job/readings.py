"""The readings and flow tables: rows of text become arrays that point into the job's runs, lifts and stations."""

from __future__ import annotations

import re

import numpy as np

from portviz.errors import JobError, counted, suggestion
from portviz.job.cells import numbers
from portviz.job.headers import Column
from portviz.job.model import SAME_LIFT, Array, BenchFlow, ClosedFlow, Gauge, Index, Mask, Readings, Stations
from portviz.job.tables import Table
from portviz.units import in_unit

READING_COLUMNS = {
    kind: (
        Column("run"),
        Column("lift", "length"),
        Column("station", plain_unit="deg"),
        Column("reading", kind),
        Column("note", required=False),
    )
    for kind in ("pressure", "velocity")
}
FLOW_COLUMNS = (
    Column("run"),
    Column("lift", "length"),
    Column("flow", "flow"),
    Column("test_pressure", "pressure", required=False),
    Column("note", required=False),
)
#: Least test pressure that a bench can hold [Pa].
LEAST_TEST_PRESSURE = 1.0
#: Fewest stations that show a pattern round the valve.
LEAST_STATIONS = 3
#: Lifts listed in a message.
_LIFTS_NAMED = 12


def read_readings(table: Table, gauge: Gauge, stations: Stations) -> Readings:
    """Return the readings table in SI, each row at its run, lift and station.

    Raises
    ------
    JobError
        For a negative lift, a station that the job does not have, an empty run name, or fewer than
        three stations at a lift.
    """
    _require_whole_notes(table)
    runs, run = _runs(table)
    lifts, lift = _lift_levels(_lift_column(table))
    station = _station_places(table, stations)
    value = numbers(table, "reading", gauge.kind)
    keys, group = np.unique(run * len(lifts) + lift, return_inverse=True)
    group_run, group_lift = np.divmod(keys, len(lifts))
    readings = Readings(runs, group, station, value, table.lines, group_run, lifts[group_lift], table.file)
    _require_stations(readings, table, len(stations.angles_deg))
    return readings


def read_bench_flow(table: Table, readings: Readings, test_pressure: float, lift_unit: str) -> BenchFlow:
    """Return the flow table in SI, by the readings' groups.

    Parameters
    ----------
    table : Table
    readings : Readings
    test_pressure : float
        The job's [Pa].
    lift_unit : str
        The unit of the lifts in the readings table, for messages.

    Raises
    ------
    JobError
        For a row without readings, readings without a row, a row that is there twice, a negative
        flow or a test pressure that is not above zero.
    """
    _require_whole_notes(table)
    row_run, row_group = _row_groups(table, readings, lift_unit)
    flow = numbers(table, "flow", "flow", blank=True)
    if np.any(flow < 0.0):
        raise table.error(int(np.argmax(flow < 0.0)), "flow", "a flow can't be negative")
    pressure = np.full(len(table), np.nan)
    if "test_pressure" in table.cells:
        pressure = numbers(table, "test_pressure", "pressure", blank=True)
        if np.any(pressure < LEAST_TEST_PRESSURE):
            row = int(np.argmax(pressure < LEAST_TEST_PRESSURE))
            raise table.error(row, "test_pressure", "a test pressure must be at least 1 Pa, larger than zero")
        _require_whole_flows(table, pressure < 0.5 * test_pressure)
    _require_each_once(table, row_group, readings, lift_unit)
    order = np.argsort(row_group, kind="stable")
    by_group, closed = order[row_group[order] >= 0], np.flatnonzero(row_group < 0)
    alone = ClosedFlow(row_run[closed], flow[closed], pressure[closed], table.lines[closed]) if closed.size else None
    return BenchFlow(flow[by_group], pressure[by_group], table.lines[by_group], table.file, alone)


_WHOLE = re.compile(r"\s*[+-]?\d+\s*", re.ASCII)
_NUMBER = re.compile(r"\s*[+-]?\d+(\.\d*)?\s*", re.ASCII)


def _require_whole_notes(table: Table) -> None:
    """Raise JobError where a note holds a number that a decimal comma may have moved there.

    The digits behind the comma of ``20,9`` end up beside a whole number; a comma further left moves a whole cell.
    """
    before = _column_before(table, "note")
    if table.decimal_comma or before in (None, "run"):
        return
    suspects = {note for note in set(table.cells["note"]) if _NUMBER.fullmatch(note)}
    for row, note in enumerate(table.cells["note"]) if suspects else ():
        if note not in suspects:
            continue
        number = table.cells[before][row].strip()
        if _WHOLE.fullmatch(note) and _WHOLE.fullmatch(number):
            raise table.error(
                row,
                "note",
                "this note looks like the digits behind a decimal comma",
                mend=f"Write {number}.{note.strip()} in the column {before}, or separate the table by semicolons; "
                "if it is a note, add a word to it",
            )
        if "." in note:
            raise table.error(
                row,
                "note",
                "this note looks like a number that a decimal comma further left has moved here",
                mend="Write all numbers with a decimal point, or separate the table by semicolons; "
                "if it is a note, add a word to it",
            )


def _require_whole_flows(table: Table, low: Mask) -> None:
    """Raise JobError where a decimal comma may have put a digit, or the flow itself, in the place of a test pressure.

    A row's own test pressure beside a whole flow is nothing strange. One digit that stands for less than half of
    the job's test pressure can't be told from a flow of 62,5; nor can a flow of 0 with a test pressure from a lift
    of 4,0.
    """
    if table.decimal_comma or _column_before(table, "test_pressure") != "flow":
        return
    flows = list(map(str.strip, table.cells["flow"]))
    pressures = list(map(str.strip, table.cells["test_pressure"]))
    for row in np.flatnonzero(low).tolist():
        if len(pressures[row]) == 1 and _WHOLE.fullmatch(flows[row]):
            raise table.error(
                row,
                "test_pressure",
                "this can't be told from the digit behind a decimal comma",
                mend=f"Write {flows[row]}.{pressures[row]} in the column flow, "
                f"or {pressures[row]}.0 here if it is a test pressure",
            )
    for row, (flow, pressure) in enumerate(zip(flows, pressures, strict=True)):
        if flow == "0" and pressure and _column_before(table, "flow") == "lift":
            lift = table.cells["lift"][row].strip()
            raise table.error(
                row,
                "flow",
                f"this can't be told from the digit behind the decimal comma of a lift of {lift},0",
                mend="Write lifts with a decimal point, or 0.0 here if nothing flows",
            )


def _column_before(table: Table, name: str) -> str | None:
    """Return the name of the column before another one, or None where there is none."""
    names = list(table.cells)
    return names[names.index(name) - 1] if name in names[1:] else None


def _row_groups(table: Table, readings: Readings, lift_unit: str) -> tuple[Index, Index]:
    """Return the run and the group of each row of the flow table.

    A closed valve's flow needs no readings; without them the row has, in place of a group, its run counted
    downward from -1.
    """
    names, name = _runs(table)
    place = {run: index for index, run in enumerate(readings.runs)}
    for code, each in enumerate(names):
        if each not in place:
            raise table.error(
                int(np.argmax(name == code)),
                "run",
                f"this run has no readings in {readings.file}",
                expected=f"one of {', '.join(readings.runs[:12])}",
                mend=suggestion(each, readings.runs),
            )
    run = np.array([place[each] for each in names], dtype=np.intp)[name]
    lift = _lift_column(table)
    # Groups ascend in run, then lift: one number that ascends with them finds the nearest of the run.
    span = 1.0 + max(float(readings.group_lift.max()), float(lift.max()))
    ladder = readings.group_run * span + readings.group_lift
    after = np.clip(np.searchsorted(ladder, run * span + lift - SAME_LIFT), 0, len(ladder) - 1)
    stray = (readings.group_run[after] != run) | (np.abs(readings.group_lift[after] - lift) > SAME_LIFT)
    closed = stray & (lift <= SAME_LIFT)
    stray &= ~closed
    if stray.any():
        row = int(np.argmax(stray))
        raise table.error(
            row,
            "lift",
            f"run {names[name[row]]!r} has no readings at this lift in {readings.file}",
            expected=_lifts_of(readings, int(run[row]), table.units["lift"], lift_unit),
            mend="Check the unit of the lift in both headers, read the stations at this lift too, or take the row away",
        )
    return run, np.asarray(np.where(closed, -1 - run, after), dtype=np.intp)


def _lifts_of(readings: Readings, run: int, unit: str, readings_unit: str) -> str:
    """Return the lifts of a run in words, in the unit of the table at hand and in that of the readings."""

    def listed(unit: str) -> str:
        lifts = [in_unit(float(lift), unit, "length") for lift in readings.group_lift[readings.groups_of(run)]]
        more = "" if len(lifts) <= _LIFTS_NAMED else ", ..."
        return f"{', '.join(f'{lift:.4g}' for lift in lifts[:_LIFTS_NAMED])}{more} {unit}"

    other = "" if unit == readings_unit else f" ({listed(readings_unit)} in {readings.file})"
    return f"one of {listed(unit)}{other}"


def _require_each_once(table: Table, row_group: Index, readings: Readings, lift_unit: str) -> None:
    order = np.argsort(row_group, kind="stable")
    twice = np.flatnonzero(np.diff(row_group[order]) == 0)
    if twice.size:
        first, second = order[twice[0]], order[twice[0] + 1]
        raise table.error(
            int(second),
            "lift",
            f"this run and lift are already in line {table.lines[first]}",
            mend="Keep one row for each run and lift",
        )
    lost = np.setdiff1d(np.arange(len(readings.group_lift)), row_group)
    if lost.size:
        group = int(lost[0])
        lift = in_unit(float(readings.group_lift[group]), lift_unit, "length")
        raise JobError(
            f"there is no flow row for run {readings.runs[readings.group_run[group]]!r} at the lift of "
            f"{lift:.6g} {lift_unit}, which has readings in {readings.file}, line {readings.first_line(group)}",
            file=table.file,
            mend="Add the row; leave its flow cell empty where the total flow was not measured",
        )


def _runs(table: Table) -> tuple[tuple[str, ...], Index]:
    """Return the names of the runs in order of first appearance, and each row's place among them."""
    cells = list(map(str.strip, table.cells["run"]))
    codes = {name: place for place, name in enumerate(dict.fromkeys(cells))}
    if "" in codes:
        raise table.error(cells.index(""), "run", "this cell is empty", expected="the name of a run")
    return tuple(codes), np.fromiter(map(codes.__getitem__, cells), dtype=np.intp, count=len(cells))


def _lift_column(table: Table) -> Array:
    lift = numbers(table, "lift", "length")
    if np.any(lift < 0.0):
        raise table.error(int(np.argmax(lift < 0.0)), "lift", "a lift can't be negative")
    return lift


def _lift_levels(lift: Array) -> tuple[Array, Index]:
    """Return the distinct lifts [m] and each row's place among them."""
    values, place = np.unique(lift, return_inverse=True)
    level = np.concatenate([[0], np.cumsum(np.diff(values) > SAME_LIFT)])
    first = np.concatenate([[True], np.diff(level) > 0])
    return values[first], np.asarray(level[place], dtype=np.intp)


def _station_places(table: Table, stations: Stations) -> Index:
    angle = np.mod(numbers(table, "station"), 360.0)
    circle = stations.circle_deg
    order = np.argsort(circle)
    # The circle is laid out with its first station once more behind the last, so that 359.9999999 finds 0.
    around = np.append(circle[order], circle[order[0]] + 360.0)
    after = np.searchsorted(around, angle)
    after = np.minimum(after, len(order))
    before = np.maximum(after - 1, 0)
    nearer = np.where(np.abs(around[before] - angle) < np.abs(around[after] - angle), before, after)
    off = np.abs(around[nearer] - angle) > 1e-6
    if off.any():
        row = int(np.argmax(off))
        listed = ", ".join(f"{each:g}" for each in stations.angles_deg[:24])
        raise table.error(
            row,
            "station",
            "the job has no such station",
            expected=f"one of {listed} (stations.angles of job.toml)",
        )
    return np.asarray(order[nearer % len(order)], dtype=np.intp)


def _require_stations(readings: Readings, table: Table, station_count: int) -> None:
    seen = np.unique(readings.group * station_count + readings.station) // station_count
    count = np.bincount(seen, minlength=len(readings.group_lift))
    few = count < LEAST_STATIONS
    if few.any():
        group = int(np.argmax(few))
        row = int(np.argmax(readings.group == group))
        lift = f"{table.cells['lift'][row].strip()} {table.units['lift']}"
        run = readings.runs[readings.group_run[group]]
        near = suggestion(run, [name for name in readings.runs if name != run], "'")
        raise JobError(
            f"run {run!r} has readings at only {counted(int(count[group]), 'station')} at the lift of {lift}",
            file=table.file,
            place=f"line {table.lines[row]}",
            expected=f"at least {LEAST_STATIONS} stations, or the pattern round the valve can't be found",
            mend=near or "Check the run's name and the lift in this row, or read more stations",
        )
