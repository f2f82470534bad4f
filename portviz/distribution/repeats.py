"""Repeats of one reading: their scatter round the mean of each station, and what in it can't be chance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import bdtrc

from portviz.distribution.robust import EFFICIENCY, bound, group_median, group_scatter
from portviz.job.model import Array, Index, Job, Mask, Readings

#: Nominal chance that ordinary scatter gives any outlier in a job [-]; with what is approximate about it below 5 %.
OUTLIER_LEVEL = 0.02
#: A lift that scatters by more than this over its run is judged by its own scatter [-].
_RESTLESS = 1.5
#: Degrees of freedom that a stated accuracy counts for.
_ACCURACY_FREEDOM = 5.0
#: With fewer degrees of freedom in a run, and no accuracy, there is no scatter to go by.
_LEAST_FREEDOM = 3
#: Then repeats may differ by this part of their mean, and of an ordinary reading [-] (common practice, no source).
_PART_OF_MEAN, _PART_OF_ORDINARY = 0.25, 0.02
#: Residuals that a run needs for its scatter to be related to the size of the readings.
_LEAST_FOR_SLOPE = 40
#: Standard deviation of the logarithm of a normal value's size [-]: pi / sqrt(8).
_LOG_DEVIATION = 1.1107
#: Chance that any lift of a job has so many identical repeats by chance [-], and the fewest stations told.
IDENTICAL_LEVEL = 0.001
_LEAST_IDENTICAL = 4


@dataclass(frozen=True)
class Repeats:
    """The rows of stations read more than once: K rows at M places, a place being one station at one run and lift.

    Parameters
    ----------
    rows : ndarray of int, shape (K,)
        Place in the readings, place by place and in the order of the file.
    place : ndarray of int, shape (K,)
    residual : ndarray, shape (K,)
        Reading minus mean of its place [Pa or m/s].
    starts, count : ndarray of int, shape (M,)
        First of a place's rows, and their number.
    group, station : ndarray of int, shape (M,)
        Of each place.
    mean : ndarray, shape (M,)
        [Pa or m/s].
    step : float
        The least step in which the readings are typed or shown [Pa or m/s].
    """

    rows: Index
    place: Index
    residual: Array
    starts: Index
    count: Index
    group: Index
    station: Index
    mean: Array
    step: float

    def rows_of(self, place: int) -> Index:
        """Return a place's rows in the readings, in the order of the file."""
        return self.rows[self.starts[place] : self.starts[place] + self.count[place]]


@dataclass(frozen=True)
class Identical:
    """Lifts at which too many stations have repeats without any difference, the most first; shape (D,).

    Parameters
    ----------
    group : ndarray of int
    same, repeated : ndarray of int
        Stations whose repeats are all the same, and stations with repeats.
    example : ndarray of int
        One of the first, as a place among the repeats.
    """

    group: Index
    same: Index
    repeated: Index
    example: Index


def find_repeats(job: Job, readings: Readings, step: float) -> Repeats:
    """Return the repeats among a job's readings, typed or shown in steps [Pa or m/s]."""
    width = len(job.stations.angles_deg)
    key = readings.group * width + readings.station
    count = np.bincount(key, minlength=len(readings.group_lift) * width)
    repeated = count > 1
    order = np.argsort(key, kind="stable")
    rows = order[repeated[key[order]]]
    keys = np.flatnonzero(repeated)
    count = count[keys]
    starts = np.cumsum(count) - count
    place = np.repeat(np.arange(len(keys)), count)
    value = readings.value[rows]
    mean = np.add.reduceat(value, starts) / count if len(keys) else np.zeros(0)
    residual = value - mean[place]
    # Equal repeats differ from their mean by rounding only.
    residual[np.abs(residual) < 1e-12 * np.abs(mean[place])] = 0.0
    group, station = np.divmod(keys, width)
    return Repeats(rows, place, residual, starts, count, group, station, mean, step)


def least_step(job: Job, distinct: Array) -> float:
    """Return the gauge's resolution, or the least step between distinct readings where that is larger; else 0."""
    apart = np.diff(distinct)
    apart = apart[apart > 1e-9 * np.abs(distinct).max()]
    return max(job.gauge.resolution or 0.0, float(apart.min()) if apart.size else 0.0)


def outlying_places(job: Job, readings: Readings, repeats: Repeats) -> tuple[Index, Array]:
    """Return the places with an outlier among their repeats, the worst first, and how far each is past the bound [-].

    Notes
    -----
    The modified z-score of [Iglewicz-Hoaglin], by the median absolute deviation, of residuals pooled over a
    run: a residual r of n repeats counts as r / sqrt(1 - 1/n). Where the residuals grow with the reading,
    as a power of it that differs from 0 by more than twice its standard error, they are divided by that
    power; a lift that scatters more than half as much again as its run is judged by its own scatter.
    Accuracy, where stated, is the least scatter, and half a step of the readings is added to it in squares.
    Instead of the customary 3.5, which most large jobs would pass, the bound is Student's t at
    `OUTLIER_LEVEL` over the number of residuals of the job; the degrees of freedom are those of the
    residuals times `EFFICIENCY`, and five more by a stated accuracy. A run with less than three degrees of
    freedom and no accuracy is looked at coarsely: there repeats may differ by a quarter of their mean, and
    by a fiftieth of the job's median reading.
    """
    if not len(repeats.count):
        return np.zeros(0, dtype=np.intp), np.zeros(0)
    run = readings.group_run[repeats.group]
    runs, groups = len(readings.runs), len(readings.group_lift)
    freedom = np.bincount(run, weights=repeats.count - 1.0, minlength=runs)
    size = np.abs(repeats.residual) / np.sqrt(1.0 - 1.0 / repeats.count)[repeats.place]
    size /= _relative_scatter(repeats, size, run, runs)[repeats.place]
    row_run, row_group = run[repeats.place], repeats.group[repeats.place]
    of_run = group_scatter(size, row_run, runs)
    of_lift = group_scatter(size, row_group, groups)[repeats.group]
    scatter = np.where(of_lift > _RESTLESS * of_run[run], of_lift, of_run[run])
    accuracy = job.gauge.accuracy
    scatter = np.hypot(np.maximum(scatter, accuracy or 0.0), 0.5 * repeats.step)
    # Of two repeats one residual tells the other.
    tests = np.where(repeats.count > 2, repeats.count, 1).sum()
    limit = bound(tests, EFFICIENCY * freedom + (_ACCURACY_FREEDOM if accuracy else 0.0), OUTLIER_LEVEL)
    worst = np.maximum.reduceat(size, repeats.starts)
    with np.errstate(divide="ignore", invalid="ignore"):
        excess = np.where(worst > 0.0, worst / (limit[run] * scatter), 0.0)
    if accuracy is None:
        excess = np.where(freedom[run] < _LEAST_FREEDOM, _coarse_excess(readings, repeats), excess)
    places = np.flatnonzero(excess > 1.0)
    places = places[np.argsort(-excess[places], kind="stable")]
    return places, excess[places]


def _relative_scatter(repeats: Repeats, size: Array, run: Index, runs: int) -> Array:
    """Return the scatter of each place over that of an ordinary reading of its run [-], shape (M,)."""
    level = np.abs(repeats.mean)
    ordinary = group_median(level, run, runs)[run]
    with np.errstate(divide="ignore", invalid="ignore"):
        relative = np.where(ordinary > 0.0, np.maximum(level / ordinary, 0.05), 1.0)
    log_level = np.log(relative)
    least = max(0.25 * repeats.step, float(size.max()) * 1e-9, 1e-300)
    log_size = np.add.reduceat(np.log(np.maximum(size, least)), repeats.starts)
    # A place counts by its degrees of freedom; the mean logarithm of its residuals stands for each.
    weight = repeats.count - 1.0
    log_size /= repeats.count

    def total(values: Array) -> Array:
        return np.asarray(np.bincount(run, weights=weight * values, minlength=runs), dtype=float)

    many = np.maximum(total(np.ones(len(run))), 1.0)
    level_off = log_level - (total(log_level) / many)[run]
    size_off = log_size - (total(log_size) / many)[run]
    squares = total(level_off**2)
    with np.errstate(divide="ignore", invalid="ignore"):
        power = total(level_off * size_off) / squares
        told = (many >= _LEAST_FOR_SLOPE) & (np.abs(power) * np.sqrt(squares) > 2.0 * _LOG_DEVIATION)
    power = np.where(told, np.clip(power, -1.0, 1.0), 0.0)
    return np.asarray(relative ** power[run])


def _coarse_excess(readings: Readings, repeats: Repeats) -> Array:
    """Return the range of each place's repeats over what it may be where nothing is known of the scatter [-]."""
    largest = np.maximum.reduceat(repeats.residual, repeats.starts)
    spread = largest - np.minimum.reduceat(repeats.residual, repeats.starts)
    ordinary = _PART_OF_ORDINARY * np.median(np.abs(readings.value))
    with np.errstate(divide="ignore", invalid="ignore"):
        excess = spread / np.maximum(_PART_OF_MEAN * np.abs(repeats.mean), ordinary)
    return np.asarray(np.nan_to_num(excess, nan=0.0, posinf=np.inf))


def identical_lifts(job: Job, readings: Readings, repeats: Repeats, gauge_end: float | None = None) -> Identical:
    """Return the lifts at which more repeats are the same to the last digit than chance allows.

    Parameters
    ----------
    job : Job
    readings : Readings
    repeats : Repeats
    gauge_end : float, optional
        The reading at which the gauge ends [Pa or m/s]; repeats there are the same for that reason.

    Notes
    -----
    Two normal values of standard deviation s, rounded to steps of q, are the same with a chance of about
    q / (2 sqrt(pi) s), n of them with its power n - 1. The number of such stations at a lift is binomial;
    told is what comes up with a chance below `IDENTICAL_LEVEL` over the number of lifts, from four stations
    on. s is the scatter of the job's repeats that do differ (at four stations or more), else the gauge's
    accuracy; where it is less than one and a half steps, a coarse gauge explains what is seen.
    """
    groups = len(readings.group_lift)
    none = np.zeros(0, dtype=np.intp)
    squares = np.add.reduceat(repeats.residual**2, repeats.starts) if len(repeats.count) else np.zeros(0)
    # With the valve closed nothing stirs.
    same = (squares == 0.0) & (readings.group_lift[repeats.group] > 0.0)
    if gauge_end is not None:
        same &= readings.value[repeats.rows[repeats.starts]] != gauge_end
    scatter = job.gauge.accuracy or 0.0
    differ = squares > 0.0
    if np.count_nonzero(differ) >= _LEAST_IDENTICAL:
        scatter = float(np.sqrt(np.median(squares[differ] / (repeats.count[differ] - 1.0))))
    if not same.any() or not scatter > 0.0 or scatter < 1.5 * repeats.step:
        return Identical(none, none, none, none)
    chance = np.minimum(repeats.step / (2.0 * np.sqrt(np.pi) * scatter), 1.0) ** (repeats.count - 1.0)
    number = np.bincount(repeats.group, minlength=groups)
    alike = np.bincount(repeats.group[same], minlength=groups)
    mean_chance = np.bincount(repeats.group, weights=chance, minlength=groups) / np.maximum(number, 1)
    tail = np.where(alike > 0, bdtrc(np.maximum(alike - 1.0, 0.0), number, mean_chance), 1.0)
    told: Mask = (alike >= _LEAST_IDENTICAL) & (tail < IDENTICAL_LEVEL / np.count_nonzero(number))
    found = np.flatnonzero(told)
    found = found[np.argsort(-alike[found], kind="stable")]
    places = np.flatnonzero(same)
    example = places[np.searchsorted(repeats.group[places], found)]
    return Identical(found, alike[found], number[found], example)
