"""Sentences on readings to distrust: where, how much, and what to do at the bench."""

from __future__ import annotations

import numpy as np

from portviz.distribution.lift_course import Jumps
from portviz.distribution.quality import Quality, reading_quality
from portviz.distribution.reduce import Reduction
from portviz.distribution.sentences import NAMED, group_place, warning
from portviz.job.model import Index
from portviz.job.words import coefficient_text, flow_text, lift_text, pressure_text, reading_text

#: Rows whose lines are listed in one place; of more the first and the last.
_LINES = 4


def quality_warnings(reduction: Reduction) -> list[str]:
    """Return warnings on the readings of a reduction, what is surely wrong before what merely looks so."""
    quality = reading_quality(reduction)
    return [*_doubts(reduction, quality), *_closed(reduction, quality), *_subtracted(reduction)]


def reading_doubts(reduction: Reduction) -> list[str]:
    """Return those of the warnings that give reason to read again; what a leak test showed is none of them."""
    return _doubts(reduction, reading_quality(reduction))


def _doubts(reduction: Reduction, quality: Quality) -> list[str]:
    return [
        *_outliers(reduction, quality),
        *_jumps(reduction, quality),
        *_over_range(reduction, quality),
        *_identical(reduction, quality),
        *_drift(reduction, quality),
        *_closure_jumps(reduction, quality.closure_jumps),
    ]


def _station_place(reduction: Reduction, group: int, station: int) -> str:
    return f"{group_place(reduction, group)}, station {reduction.job.stations.angles_deg[station]:g} deg"


def _lines(reduction: Reduction, rows: Index) -> str:
    """Return the lines of rows in words."""
    readings = reduction.job.readings
    assert readings is not None
    lines = sorted(readings.line[rows].tolist())
    if len(lines) == 1:
        return f"line {lines[0]}"
    if len(lines) > _LINES:
        return f"{len(lines)} lines from {lines[0]} to {lines[-1]}"
    return f"lines {', '.join(map(str, lines[:-1]))} and {lines[-1]}"


def _outliers(reduction: Reduction, quality: Quality) -> list[str]:
    job, readings, repeats = reduction.job, reduction.job.readings, quality.repeats
    assert readings is not None
    value, line = readings.value, readings.line

    def place(index: int) -> str:
        rows = repeats.rows_of(index)
        rows = rows[np.argsort(value[rows], kind="stable")]
        rows = rows if len(rows) <= NAMED else rows[[0, -1]]
        values = ", ".join(f"{reading_text(job, float(value[row]))} (line {line[row]})" for row in rows)
        return f"{_station_place(reduction, int(repeats.group[index]), int(repeats.station[index]))}: {values}"

    allowed = "the scatter of the other repeats" + ("" if job.gauge.accuracy is None else " and the gauge's accuracy")
    allows = "allows" if job.gauge.accuracy is None else "allow"
    words = (
        f"repeats differ far more than {allowed} {allows}, and are averaged all the same; re-read these stations "
        f"first, or mend a slip of the pen in {readings.file}"
    )
    return warning(words, quality.outliers.tolist(), place)


def _jumps(reduction: Reduction, quality: Quality) -> list[str]:
    job, readings, jumps = reduction.job, reduction.job.readings, quality.jumps
    assert readings is not None

    def place(index: int) -> str:
        group, station = int(jumps.group[index]), int(jumps.column[index])
        rows = np.flatnonzero((readings.group == group) & (readings.station == station))
        there, expected = (pressure_text(job, float(each[index])) for each in (jumps.value, jumps.expected))
        return (
            f"{_station_place(reduction, group, station)}: a drop of {there} where {expected} is expected "
            f"({_lines(reduction, rows)})"
        )

    return warning(
        "stations that jump between lifts, off the line through the lifts beside them as no other station is; re-read "
        f"these stations first, or look in {readings.file} for rows that have changed places",
        range(len(jumps.group)),
        place,
    )


def _over_range(reduction: Reduction, quality: Quality) -> list[str]:
    job, readings, over = reduction.job, reduction.job.readings, quality.over_range
    assert readings is not None
    if not over.rows.size:
        return []
    keys = readings.group[over.rows] * len(job.stations.angles_deg) + readings.station[over.rows]
    places, first = np.unique(keys, return_index=True)

    def place(index: int) -> str:
        rows = over.rows[keys == places[index]]
        row = over.rows[first[index]]
        group, station = int(readings.group[row]), int(readings.station[row])
        return f"{_station_place(reduction, group, station)} ({_lines(reduction, rows)})"

    return warning(
        f"{len(over.rows)} readings are exactly the largest, {reading_text(job, over.value)}, as of a gauge at the end "
        "of its range; re-read these stations first, with a gauge that reaches further or a lower test pressure",
        range(len(places)),
        place,
    )


def _identical(reduction: Reduction, quality: Quality) -> list[str]:
    job, readings, identical = reduction.job, reduction.job.readings, quality.identical
    assert readings is not None

    def place(index: int) -> str:
        example = int(identical.example[index])
        rows = quality.repeats.rows_of(example)
        angle = job.stations.angles_deg[quality.repeats.station[example]]
        return (
            f"{group_place(reduction, int(identical.group[index]))} ({identical.same[index]} of "
            f"{identical.repeated[index]} stations, such as {angle:g} deg: "
            f"{reading_text(job, float(readings.value[rows[0]]))} in {_lines(reduction, rows)})"
        )

    return warning(
        "repeats are the same to the last digit at more stations than the readings' scatter or the gauge's accuracy "
        "lets one expect; if they were read once and copied, re-read these lifts, or keep one row a station",
        range(len(identical.group)),
        place,
    )


def _drift(reduction: Reduction, quality: Quality) -> list[str]:
    job, readings, drift = reduction.job, reduction.job.readings, quality.drift
    assert readings is not None

    def place(index: int) -> str:
        change = float(drift.change[index])
        lines = (int(readings.line[rows[index]]) for rows in (drift.first, drift.last))
        first, last = lines
        return (
            f"{group_place(reduction, int(drift.group[index]))}: {'+' if change > 0.0 else ''}"
            f"{reading_text(job, change)} from line {first} to line {last}"
        )

    return warning(
        "readings drift from round to round; let the bench settle, set the gauge's zero and re-read these lifts first",
        range(len(drift.group)),
        place,
    )


def _closure_jumps(reduction: Reduction, jumps: Jumps) -> list[str]:
    flow = reduction.job.flow

    def place(index: int) -> str:
        group = int(jumps.group[index])
        there, expected = (coefficient_text(float(each[index])) for each in (jumps.value, jumps.expected))
        line = "" if flow is None else f" ({flow.file}, line {flow.line[group]})"
        return f"{group_place(reduction, group)}: {there} where {expected} is expected{line}"

    return warning(
        "closure is far from that of the lifts beside it; measure the flow there again first, then check the lift's "
        "setting and re-read its stations",
        range(len(jumps.group)),
        place,
    )


def _closed(reduction: Reduction, quality: Quality) -> list[str]:
    job, closed = reduction.job, quality.closed

    def part(what: str, value: str, of: float, whole: float, whole_text: str) -> str:
        share = f", {100.0 * abs(of / whole):.2g} % of {whole_text}" if whole else ""
        return f"{what} {value}{share}"

    def place(index: int) -> str:
        group = int(closed.open_group[index])
        drop, open_drop, flow, open_flow = (
            float(each[index]) for each in (closed.drop, closed.open_drop, closed.flow, closed.open_flow)
        )
        at = "" if group < 0 else f" at {lift_text(job, float(reduction.lift[group]))}"
        told = []
        if np.isfinite(drop):
            whole = open_drop if np.isfinite(open_drop) else 0.0
            told.append(part("drop", pressure_text(job, drop), drop, whole, pressure_text(job, whole) + at))
        if np.isfinite(flow):
            whole = open_flow if np.isfinite(open_flow) else 0.0
            told.append(part("flow", flow_text(job, flow), flow, whole, flow_text(job, whole) + at))
        return f"{reduction.runs[closed.run[index]]} at {lift_text(job, 0.0)} ({'; '.join(told)})"

    leaks = bool(np.any(closed.flow > 0.0)) and not job.bench.subtract_leak
    more = '; leak_test = "subtract" in [bench] takes the flow from the others' if leaks else ""
    with np.errstate(divide="ignore", invalid="ignore"):
        order = np.argsort(-np.nan_to_num(np.abs(closed.flow / closed.open_flow)), kind="stable")
    return warning(
        "the valve is closed: what flows is leakage, what the gauge reads besides is its zero, and no coefficient is "
        f"given; check seat, fixture and zero{more}",
        order.tolist(),
        place,
    )


def _subtracted(reduction: Reduction) -> list[str]:
    """Return what was taken from the flows."""
    job, leak = reduction.job, reduction.leak
    if not job.bench.subtract_leak:
        return []
    runs = np.unique(reduction.group_run[leak > 0.0])

    def place(index: int) -> str:
        run = int(runs[index])
        of_run = leak[(reduction.group_run == run) & (leak > 0.0)]
        least, most = (flow_text(job, float(each)) for each in (of_run.min(), of_run.max()))
        return f"{reduction.runs[run]} ({least if least == most else f'{least} to {most}'})"

    return warning(
        "the flow at lift 0 is subtracted from a run's other flows, scaled by the square root of the test pressures "
        "where they differ",
        range(len(runs)),
        place,
    )
