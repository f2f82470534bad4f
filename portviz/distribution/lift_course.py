"""How a result goes from lift to lift: a value that its neighbours in lift do not lead one to expect."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portviz.distribution.reduce import Reduction
from portviz.distribution.robust import EFFICIENCY, bound, group_scatter
from portviz.job.model import Array, Index, Mask

#: Nominal chance that a job whose stations merely scatter has a jump [-]; with what is approximate about it below 5 %.
JUMP_LEVEL = 0.005
#: Departures of neighbouring lifts share readings: so many of them are free [-].
_FREE = 0.5
#: A drop jumps if it is off by this part of what is expected [-] (common practice, no source) ...
_PART_OF_EXPECTED = 0.06
#: ... or of this part of the run's mean drop, where that is more [-].
_PART_OF_MEAN = 0.3
#: So does closure by this part of what is expected [-] (common practice, no source).
_PART_OF_CLOSURE = 0.1
#: Departures of closure that have a scatter worth the name; with fewer the tenth alone must do.
_LEAST_FOR_SCATTER = 12


@dataclass(frozen=True)
class Jumps:
    """Values that stand apart from those of their neighbours in lift, the worst first; arrays of shape (J,).

    Parameters
    ----------
    group, column : ndarray of int
        Group, and column of the table that was looked at: a station, for a table of stations.
    value, expected : ndarray
        What is there, and what the straight line through its neighbours gives.
    """

    group: Index
    column: Index
    value: Array
    expected: Array


def jumping_stations(reduction: Reduction) -> Jumps:
    """Return the stations that jump between lifts, by their pressure drops [Pa].

    Notes
    -----
    Drops over test pressure, which go with the square of the velocity ratio and have one scatter for
    weak stations and strong ones. Of each the departure from the straight line through the lifts before
    and after (the second difference, for even lifts), less the median of all stations at that lift, which
    share the port's own course, over the larger of the run's and the lift's scatter of the same
    (median absolute deviation): a modified z-score [Iglewicz-Hoaglin], with Student's t at `JUMP_LEVEL`
    over the number of departures of the job as its bound. Departures must pass it as they are and as parts
    of what is expected, since scatter may grow with the drop or not.
    """
    group, station = reduction.station_group, reduction.stations.station
    table = np.full((len(reduction.starts), len(reduction.job.stations.angles_deg)), np.nan)
    table[group, station] = reduction.stations.drop / reduction.test_pressure[group]
    table[reduction.lift == 0.0] = np.nan
    line = _straight_line(table, reduction)
    if line is None:
        return _none()
    run, runs = reduction.group_run, len(reduction.runs)
    drop = np.abs(np.nan_to_num(table[group, station]))
    total = np.bincount(run[group], weights=drop, minlength=runs)
    mean = total / np.maximum(np.bincount(run[group], weights=drop > 0.0, minlength=runs), 1.0)
    ordinary = np.fmax(np.abs(line.expected), (_PART_OF_MEAN * mean)[run][:, None])
    off = (table - line.expected) / line.deviation[:, None]
    off = off - _row_median(off)[:, None]
    with np.errstate(invalid="ignore"):
        apart = np.abs(off) * line.deviation[:, None] > _PART_OF_EXPECTED * ordinary
    # Whether scatter grows with the drop or not: beyond either.
    for each in (off, off / np.where(ordinary > 0.0, ordinary, 1.0)):
        if apart.any():
            apart &= _beyond_scatter(each, reduction)
    found = _peaks(table, line, off, apart)
    pressure = reduction.test_pressure[found.group]
    return Jumps(found.group, found.column, found.value * pressure, found.expected * pressure)


def jumping_closures(reduction: Reduction) -> Jumps:
    """Return the groups whose closure is far from that of their neighbours in lift [-].

    Notes
    -----
    As for the stations, with one value a lift, the scatter that of the whole job, and a tenth of what is
    expected as the least that is told.
    """
    table = np.where(reduction.closure > 0.0, reduction.closure, np.nan)[:, None]
    line = _straight_line(table, reduction)
    if line is None:
        return _none()
    off = (table - line.expected) / line.deviation[:, None]
    known = off[np.isfinite(off)]
    scatter = group_scatter(known, np.zeros(len(known), dtype=np.intp), 1)[0]
    limit = bound(len(known), _FREE * EFFICIENCY * len(known), JUMP_LEVEL)
    least = limit * scatter if len(known) >= _LEAST_FOR_SCATTER else 0.0
    with np.errstate(invalid="ignore"):
        apart = np.abs(off) > least
        apart &= np.abs(table - line.expected) > _PART_OF_CLOSURE * line.expected
    return _peaks(table, line, off, apart)


@dataclass(frozen=True)
class _Line:
    """What neighbours in lift lead one to expect: a table, the weight of the lower, and the departure's deviation."""

    expected: Array
    lower_weight: Array
    deviation: Array


def _none() -> Jumps:
    return Jumps(np.zeros(0, dtype=np.intp), np.zeros(0, dtype=np.intp), np.zeros(0), np.zeros(0))


def _straight_line(table: Array, reduction: Reduction) -> _Line | None:
    """Return the straight lines through the lifts before and after each group, NaN at the ends; None if all are."""
    run, lift = reduction.group_run, reduction.lift
    inner = np.zeros(len(run), dtype=bool)
    inner[1:-1] = (run[:-2] == run[1:-1]) & (run[1:-1] == run[2:])
    place = np.flatnonzero(inner)
    lower_weight = np.full(len(run), np.nan)
    lower_weight[place] = (lift[place + 1] - lift[place]) / (lift[place + 1] - lift[place - 1])
    expected = np.full(table.shape, np.nan)
    weight = lower_weight[place][:, None]
    expected[place] = weight * table[place - 1] + (1.0 - weight) * table[place + 1]
    if not np.isfinite(expected).any():
        return None
    return _Line(expected, lower_weight, np.sqrt(1.0 + lower_weight**2 + (1.0 - lower_weight) ** 2))


def _row_median(table: Array) -> Array:
    """Return the median of each row's numbers, the lower of two; NaN where there are none."""
    ascending = np.sort(table, axis=1)
    middle = np.maximum(np.isfinite(table).sum(axis=1) - 1, 0) // 2
    return np.asarray(ascending[np.arange(len(table)), middle])


def _beyond_scatter(off: Array, reduction: Reduction) -> Mask:
    """Tell which departures are more than chance gives beside those of their run and lift, shape (G, S)."""
    known = np.isfinite(off)
    run, group = reduction.group_run, np.nonzero(known)[0]
    number = np.bincount(run[group], minlength=len(reduction.runs))
    of_run = group_scatter(off[known], run[group], len(reduction.runs))
    of_lift = group_scatter(off[known], group, len(off))
    limit = bound(len(group), _FREE * EFFICIENCY * number, JUMP_LEVEL)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.abs(off) > (limit[run] * np.fmax(of_lift, of_run[run]))[:, None])


def _peaks(table: Array, line: _Line, off: Array, apart: Mask) -> Jumps:
    """Return the places to blame for departures: of neighbouring lifts the one that departs most.

    A value that is wrong makes its neighbours depart the other way by its weight in their lines. Where the
    lift beside an end departs alone, the wrong value is the end's.
    """
    size = np.nan_to_num(np.abs(off))
    none = np.zeros_like(size[:1])
    peak = apart & (size >= np.concatenate([none, size[:-1]])) & (size >= np.concatenate([size[1:], none]))
    group, column = np.nonzero(peak)
    order = np.argsort(-size[group, column], kind="stable")
    group, column = group[order], column[order]
    gap = np.nan_to_num(off * line.deviation[:, None])
    weight = line.lower_weight
    here = gap[group, column]
    at_start = ~np.isfinite(off[group - 1, column])
    at_end = ~np.isfinite(off[group + 1, column])
    with np.errstate(divide="ignore", invalid="ignore"):
        echo_above, echo_below = -gap[group + 1, column] / here, -gap[group - 1, column] / here
    below = at_start & ~at_end & (echo_above < 0.5 * weight[group + 1])
    above = at_end & ~at_start & (echo_below < 0.5 * (1.0 - weight[group - 1]))
    blamed = np.where(below, group - 1, np.where(above, group + 1, group))
    # An end is off by so much that its weight in the line beside it explains the departure there.
    off_by = np.where(below, -here / weight[group], np.where(above, -here / (1.0 - weight[group]), here))
    value = table[blamed, column]
    return Jumps(blamed, column, value, value - off_by)
