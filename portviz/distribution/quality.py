"""Readings to distrust: what repeats, neighbouring lifts, the gauge's end and the closed valve tell of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portviz.distribution.drift import Drift, drifting_lifts
from portviz.distribution.leakage import closed_bench
from portviz.distribution.lift_course import Jumps, jumping_closures, jumping_stations
from portviz.distribution.measures import group_sizes, group_sum
from portviz.distribution.reduce import Reduction
from portviz.distribution.repeats import (
    Identical,
    Repeats,
    find_repeats,
    identical_lifts,
    least_step,
    outlying_places,
)
from portviz.job.model import Array, Index, Job, Readings

#: Places (one station at one run and lift) that must share the largest reading for it to be the gauge's end ...
_LEAST_AT_END = 4
#: ... being so many times those of the next smaller values, on average over up to so many of them [-].
_PILED, _VALUES_BELOW = 4.0, 10
#: With fewer different values below there is no telling.
_LEAST_BELOW = 5


@dataclass(frozen=True)
class OverRange:
    """Readings at the end of the gauge's range.

    Parameters
    ----------
    value : float
        The largest reading [Pa or m/s].
    rows : ndarray of int
        The readings that share it, in the order of the file; none where it is not the gauge's end.
    """

    value: float
    rows: Index


@dataclass(frozen=True)
class ClosedValve:
    """What gauge and bench show with the valve closed; arrays of shape (L,), a value a run that has it.

    Parameters
    ----------
    run, open_group : ndarray of int
        Run, and its least open lift (-1 where there is none).
    drop, open_drop : ndarray
        Mean of the stations there [Pa]; NaN where they were not read.
    flow, open_flow : ndarray
        The bench's, as measured [m3/s]; NaN where it was not.
    """

    run: Index
    open_group: Index
    drop: Array
    open_drop: Array
    flow: Array
    open_flow: Array


@dataclass(frozen=True)
class Quality:
    """What there is to distrust among a job's readings, of each kind the worst first.

    Parameters
    ----------
    repeats : Repeats
    outliers : ndarray of int
        Places among the repeats with an outlier.
    drift : Drift
    identical : Identical
    jumps : Jumps
        Of stations, by their drops [Pa]; without those of outliers.
    closure_jumps : Jumps
    over_range : OverRange
    closed : ClosedValve
    """

    repeats: Repeats
    outliers: Index
    drift: Drift
    identical: Identical
    jumps: Jumps
    closure_jumps: Jumps
    over_range: OverRange
    closed: ClosedValve


def reading_quality(reduction: Reduction) -> Quality:
    """Return what there is to distrust among the readings of a reduction."""
    job, readings = reduction.job, reduction.job.readings
    assert readings is not None
    distinct = np.unique(readings.value)
    repeats = find_repeats(job, readings, least_step(job, distinct))
    outliers, _ = outlying_places(job, readings, repeats)
    over = over_range(job, readings, distinct)
    return Quality(
        repeats=repeats,
        outliers=outliers,
        drift=drifting_lifts(job, readings, repeats, outliers),
        identical=identical_lifts(job, readings, repeats, over.value if over.rows.size else None),
        jumps=_without(jumping_stations(reduction), repeats, outliers, len(job.stations.angles_deg)),
        closure_jumps=jumping_closures(reduction),
        over_range=over,
        closed=closed_valve(reduction),
    )


def _without(jumps: Jumps, repeats: Repeats, outliers: Index, stations: int) -> Jumps:
    """Return the jumps that an outlier among the repeats does not account for."""
    told = repeats.group[outliers] * stations + repeats.station[outliers]
    kept = ~np.isin(jumps.group * stations + jumps.column, told)
    return Jumps(jumps.group[kept], jumps.column[kept], jumps.value[kept], jumps.expected[kept])


def over_range(job: Job, readings: Readings, distinct: Array) -> OverRange:
    """Return the readings at the largest value, where so many share it that the gauge could show no more.

    Parameters
    ----------
    job : Job
    readings : Readings
    distinct : ndarray
        The different values among them, ascending [Pa or m/s].

    Notes
    -----
    A gauge at its end piles up what lies beyond on one value. Told where at least four places share the
    largest reading exactly, and four times as many as share each of the ten values next below on average;
    where a coarse gauge rounds, those are shared too. A closed valve is left out: it reads the same all round.
    """
    largest, below = float(distinct[-1]), distinct[-1 - _VALUES_BELOW : -1]
    none = OverRange(largest, np.zeros(0, dtype=np.intp))
    rows = np.flatnonzero(readings.value == largest)
    rows = rows[readings.group_lift[readings.group[rows]] > 0.0]
    at_end = _places(job, readings, rows)
    if at_end < _LEAST_AT_END or len(below) < _LEAST_BELOW:
        return none
    next_below = np.flatnonzero((readings.value >= below[0]) & (readings.value < largest))
    ordinary = _places(job, readings, next_below) / len(below)
    return OverRange(largest, rows) if at_end >= _PILED * ordinary else none


def _places(job: Job, readings: Readings, rows: Index) -> int:
    return len(np.unique(readings.group[rows] * len(job.stations.angles_deg) + readings.station[rows]))


def closed_valve(reduction: Reduction) -> ClosedValve:
    """Return what was read with the valve closed, beside the same at the least open lift of the run."""
    readings = reduction.job.readings
    assert readings is not None
    bench = closed_bench(reduction.job, readings)
    closed = np.flatnonzero(reduction.lift == 0.0)
    mean_drop = group_sum(reduction.stations.drop, reduction.starts) / group_sizes(
        reduction.starts, len(reduction.stations.drop)
    )
    drop = np.full(len(reduction.runs), np.nan)
    drop[reduction.group_run[closed]] = mean_drop[closed]
    run = np.flatnonzero(np.isfinite(drop) | np.isfinite(bench.flow))
    # Groups ascend in run, then lift: the first that is open.
    first = np.searchsorted(reduction.group_run, run) + np.isfinite(drop[run])
    place = np.minimum(first, len(mean_drop) - 1)
    there = (place == first) & (reduction.group_run[place] == run)
    measured = reduction.bench_flow + reduction.leak
    return ClosedValve(
        run=run,
        open_group=np.where(there, place, -1),
        drop=drop[run],
        open_drop=np.where(there, mean_drop[place], np.nan),
        flow=bench.flow[run],
        open_flow=np.where(there, measured[place], np.nan),
    )
