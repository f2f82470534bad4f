"""How often to read each station, so that a change of a given size would be shown: the power of the comparison."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.special import nctdtr, nctdtrinc, ndtr, ndtri, stdtrit

from portviz.air import CRITICAL_PRESSURE_RATIO, ideal_mass_flux
from portviz.distribution.measures import group_sizes, group_sum
from portviz.distribution.propagation import Weights, moved_drop, reading_slopes
from portviz.distribution.reduce import Reduction
from portviz.distribution.scatter import ACCURACY, UNKNOWN, ReadingUncertainty, gauge_resolution
from portviz.distribution.uncertainty import Uncertainty
from portviz.distribution.verdicts import LEVEL
from portviz.errors import JobError
from portviz.job.model import JOB_FILE, Array, Index

#: More repeats of one station than this are no plan for a bench.
MOST_REPEATS = 50
#: What is known of one reading at a lift from repeats at other lifts of the job.
OTHER_LIFTS = "repeats at other lifts"
#: From so many degrees of freedom on Student's t is normal [-].
_MANY = 1e5


class StationPlan(NamedTuple):
    """What is needed to show a change of one quantity at K stations; arrays of shape (K,).

    Parameters
    ----------
    value : ndarray
        The quantity, in SI.
    uncertainty : ndarray
        Its standard uncertainty now, without what two runs share; NaN where nothing is known at this lift.
    smallest : ndarray
        The smallest change that would be shown between two runs read as often as this one, as a part of
        the value [-]; NaN where nothing is known.
    repeats : ndarray
        Readings needed of each station in each of two runs [-]; NaN where it would be more than `MOST_REPEATS`.
    """

    value: Array
    uncertainty: Array
    smallest: Array
    repeats: Array


@dataclass(frozen=True)
class Plan:
    """A plan of repeats for K stations in G groups.

    Parameters
    ----------
    change : float
        The change to be shown, as a part of the value [-].
    power : float
        The chance to show it [-].
    source : tuple of str, length G
        Whence one reading's uncertainty is known: "accuracy", "repeats" or "repeats at other lifts".
    tests : ndarray of int, shape (G,)
        Stations of the lift, which are tested together.
    velocity, flow_share : StationPlan
    one_reading : ndarray, shape (K,)
        Standard uncertainty of a velocity by one reading, as a part of it [-].
    """

    change: float
    power: float
    source: tuple[str, ...]
    tests: Index
    velocity: StationPlan
    flow_share: StationPlan
    one_reading: Array


def plan_repeats(reduction: Reduction, uncertainty: Uncertainty, change: float, power: float) -> Plan:
    """Return how many readings of each station would show a change.

    Parameters
    ----------
    reduction : Reduction
    uncertainty : Uncertainty
        Of the reduction, by the linear law.
    change : float
        Of one station's velocity, or share, as a part of it [-].
    power : float
        Chance to show it [-].

    Raises
    ------
    JobError
        If neither an accuracy nor repeats tell how well a station is read.

    Notes
    -----
    Two runs are taken whose stations are all read n times. A difference then has the variance
    2 (s^2 / n + r^2), with s of one reading (the gauge's accuracy, or the scatter of the repeats seen so far,
    at other lifts where this one has none) and r of the gauge's resolution, which repeats do not average
    out. What both runs share cancels. Where s comes from repeats it will be found again from the new ones,
    with 2 S (n - 1) degrees of freedom for S stations (Welch-Satterthwaite [JCGM-100] G.4). The chance that
    the comparison shows the change d is that of a noncentral t with noncentrality d / u beyond the
    two-sided limit at 5 % / S. That limit is Bonferroni's; Holm's steps are never stricter [Holm], so that the
    chance is this at least. The scatter seen so far is taken as the true one.
    """
    readings = uncertainty.readings
    floor = gauge_resolution(reduction)
    step = np.zeros(len(readings.mean)) if floor is None else floor / np.sqrt(12.0)
    one, source = _one_reading(reduction, readings, step)
    group = reduction.station_group
    tests = group_sizes(reduction.starts, len(group))
    many = _Repeats(one, step, tests[group], np.array([each == ACCURACY for each in source])[group])
    slopes, weights = reading_slopes(reduction), Weights(reduction)
    stations = reduction.stations

    def of_velocity(drop: Array) -> Array:
        return np.asarray(drop * slopes.velocity)

    def of_share(drop: Array) -> Array:
        own = (weights.mass_part * _moved_flux(reduction, slopes.mass_flux, drop)) ** 2
        both = weights.each(group_sum(own, reduction.starts))
        return np.sqrt(own * (1.0 - 2.0 * stations.flow_share) + stations.flow_share**2 * both)

    freedom = 2.0 * readings.freedom[group]
    with np.errstate(divide="ignore", invalid="ignore"):
        plans = [
            StationPlan(
                value,
                now,
                smallest_change(now * np.sqrt(2.0), freedom, tests[group], power) / np.abs(value),
                _needed(change * np.abs(value), spread(one), spread(step), many, power),
            )
            for value, now, spread in (
                (stations.velocity, uncertainty.velocity.independent, of_velocity),
                (stations.flow_share, uncertainty.flow_share.independent, of_share),
            )
        ]
        relative = of_velocity(np.hypot(one, step)) / np.abs(stations.velocity)
    return Plan(change, power, source, tests, plans[0], plans[1], relative)


def _moved_flux(reduction: Reduction, slope: Array, change: Array) -> Array:
    """Return by how much readings' changes move mass fluxes; at zero drop, where there is no slope, by half the way."""
    by_slope = slope * change
    if np.isfinite(by_slope).all():
        return np.asarray(by_slope)
    room, job = reduction.job.bench.air, reduction.job
    upstream = reduction.upstream_pressure[reduction.station_group]
    limit = 0.999 * (1.0 - CRITICAL_PRESSURE_RATIO) * upstream
    higher, lower = (
        ideal_mass_flux(
            np.clip(moved_drop(reduction, sign * np.nan_to_num(change)), -limit, limit),
            upstream,
            room.temperature,
            room.gas_constant,
        )
        for sign in (1.0, -1.0)
    )
    half = job.gauge.coefficient * (higher - lower) / 2.0
    return np.where(np.isfinite(by_slope), by_slope, np.where(np.isnan(change), np.nan, np.abs(half)))


class _Repeats(NamedTuple):
    """What many readings of each station have for degrees of freedom; arrays of shape (K,)."""

    one: Array
    step: Array
    tests: Index
    exact: Array

    def freedom(self, repeats: Array) -> Array:
        """Return the degrees of freedom of a difference of two runs."""
        with np.errstate(divide="ignore", invalid="ignore"):
            surely = (1.0 + self.step**2 * repeats / self.one**2) ** 2
        return np.where(self.exact, np.inf, 2.0 * self.tests * (repeats - 1.0) * surely)


def _one_reading(reduction: Reduction, readings: ReadingUncertainty, step: Array) -> tuple[Array, tuple[str, ...]]:
    """Return the standard uncertainty of one reading as a drop [Pa], shape (K,), and whence each group's is known."""
    group = reduction.station_group
    one = np.sqrt(np.maximum(readings.mean**2 - step**2, 0.0) * reduction.stations.repeats)
    known = np.array([each != UNKNOWN for each in readings.source])
    believed = known & (readings.scatter_freedom > 0.0)
    if not known.any():
        repeated = bool((readings.scatter_freedom > 0.0).any())
        raise JobError(
            "the repeats never differ, and tell nothing of how well a station is read"
            if repeated
            else "nothing is known of how well a station is read",
            file=JOB_FILE,
            place="gauge.accuracy",
            expected="the standard uncertainty of one reading, such as '0.1 inH2O'",
            mend="State it, or read some stations at least twice: more rows of the same run, lift and station in "
            "readings.csv",
        )
    if not known.all():
        squares = readings.scatter[believed] ** 2 * readings.scatter_freedom[believed]
        pooled = float(np.sqrt(np.sum(squares) / np.sum(readings.scatter_freedom[believed])))
        one = np.where(known[group], one, pooled)
    return one, tuple(each if each != UNKNOWN else OTHER_LIFTS for each in readings.source)


def chance_to_show(change: Array, uncertainty: Array, freedom: Array, tests: Array | Index) -> Array:
    """Return the chance that a change is shown in its true direction among so many tests [-].

    Parameters
    ----------
    change : ndarray
        True difference, not below zero.
    uncertainty : ndarray
        Standard uncertainty of the difference, in its unit.
    freedom : ndarray
        Degrees of freedom [-]; inf where the uncertainty is known.
    tests : ndarray
        Number of tests that hold together at 5 % (Bonferroni) [-].

    Examples
    --------
    >>> one = np.array([1.0])
    >>> np.round(chance_to_show(2.802 * one, one, np.inf * one, one), 3)
    array([0.8])
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.asarray(change / uncertainty)
    limit = _limit(freedom, tests)
    few = np.minimum(freedom, _MANY)
    student = 1.0 - nctdtr(few, ratio, limit)
    # Far out the series of the noncentral t does not end; nothing is missed there.
    student = np.where(np.isnan(student) & (ratio > limit), 1.0, student)
    return np.asarray(np.where(freedom >= _MANY, ndtr(ratio - limit), student))


def smallest_change(uncertainty: Array, freedom: Array, tests: Array | Index, power: float) -> Array:
    """Return the change that is shown with a given chance, in the unit of its uncertainty; see `chance_to_show`.

    Examples
    --------
    >>> one = np.array([1.0])
    >>> np.round(smallest_change(one, np.inf * one, one, 0.8), 3)
    array([2.802])
    """
    limit = _limit(freedom, tests)
    student = nctdtrinc(np.minimum(freedom, _MANY), 1.0 - power, limit)
    return np.asarray(uncertainty * np.where(freedom >= _MANY, limit + ndtri(power), student))


def _limit(freedom: Array, tests: Array | Index) -> Array:
    """Return the two-sided limit of t at 5 % over the number of tests."""
    return np.asarray(stdtrit(np.minimum(freedom, 1e9), 1.0 - 0.5 * LEVEL / tests))


def _needed(change: Array, one: Array, step: Array, many: _Repeats, power: float) -> Array:
    """Return the least number of readings that shows a change, by halving; NaN where it is beyond `MOST_REPEATS`."""

    def enough(repeats: Array) -> Array:
        uncertainty = np.sqrt(2.0 * (one**2 / repeats + step**2))
        freedom = many.freedom(repeats)
        # Without a second reading there is no scatter to find.
        there = freedom > 0.0
        shown = chance_to_show(change, uncertainty, np.where(there, freedom, 1.0), many.tests) >= power
        return np.asarray(there & shown)

    low, high = np.zeros(len(change)), np.full(len(change), MOST_REPEATS + 1.0)
    while (high - low > 1.0).any():
        middle = np.maximum(np.floor(0.5 * (low + high)), 1.0)
        found = enough(middle)
        high, low = np.where(found, middle, high), np.where(found, low, middle)
    return np.where(high > MOST_REPEATS, np.nan, high)


def open_groups(reduction: Reduction, run: int) -> list[int]:
    """Return the groups of a run with the valve open: nothing is compared, and so planned, at lift 0."""
    return [group for group in reduction.groups_of(run) if reduction.lift[group] > 0.0]


def repeat_first(reduction: Reduction, plan: Plan, run: int) -> Index:
    """Return the stations of a run, those known worst first: by their relative uncertainty as read so far."""
    stations = np.flatnonzero(np.isin(reduction.station_group, open_groups(reduction, run)))
    worst = np.nan_to_num(relative_now(reduction, plan)[stations], nan=np.inf)
    return np.asarray(stations[np.argsort(-worst, kind="stable")])


def relative_now(reduction: Reduction, plan: Plan) -> Array:
    """Return the standard uncertainty of each velocity as read so far, as a part of it [-], shape (K,).

    Where this lift has no repeats and no accuracy, by the repeats at other lifts.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        now = plan.velocity.uncertainty / np.abs(plan.velocity.value)
    return np.where(np.isnan(now), plan.one_reading / np.sqrt(reduction.stations.repeats), now)
