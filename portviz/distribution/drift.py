"""Readings that creep during a lift: a bench that warms up, or a gauge that leaves its zero."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr

from portviz.distribution.repeats import Repeats
from portviz.distribution.verdicts import holm
from portviz.job.model import Array, Index, Job, Readings

#: Chance that any lift of a job without drift is said to drift [-].
DRIFT_LEVEL = 0.01
#: Rounds lie apart where rows are so far from the middle of their station's, over all rows of the lift [-].
_APART = 0.1


@dataclass(frozen=True)
class Drift:
    """Lifts during which the readings drift, the worst first; arrays of shape (D,).

    Parameters
    ----------
    group : ndarray of int
    change : ndarray
        From the lift's first row to its last, by the straight line of least squares [Pa or m/s].
    first, last : ndarray of int
        Those rows, in the readings.
    """

    group: Index
    change: Array
    first: Index
    last: Index


def drifting_lifts(job: Job, readings: Readings, repeats: Repeats, left_out: Index) -> Drift:
    """Return the lifts during which readings drift from row to row.

    Parameters
    ----------
    job : Job
    readings : Readings
    repeats : Repeats
    left_out : ndarray of int
        Places with an outlier, which are not looked at.

    Notes
    -----
    One straight line through the residuals over the place of their rows among those of the lift, for all
    stations together, each with its own mean, by least squares; Student's t test of its slope with
    sum(n - 1) - 1 degrees of freedom (analysis of covariance), and Holm's procedure over the lifts of the
    job at `DRIFT_LEVEL`. Rounding, a twelfth of the square of the readings' step, is the least variance. Lifts
    whose repeats follow one another station by station are not looked at, since they hardly tell; nor is a
    drift smaller than the gauge's accuracy told.
    """
    groups = len(readings.group_lift)
    used = np.ones(len(repeats.count), dtype=bool)
    used[left_out] = False
    if not used.any():
        none = np.zeros(0, dtype=np.intp)
        return Drift(none, np.zeros(0), none, none)
    order = _order_in_group(readings.group, groups)
    turn = order[repeats.rows].astype(float)
    turn -= (np.add.reduceat(turn, repeats.starts) / repeats.count)[repeats.place]
    group = repeats.group[repeats.place]
    weight = used[repeats.place].astype(float)

    def total(values: Array) -> Array:
        return np.asarray(np.bincount(group, weights=weight * values, minlength=groups), dtype=float)

    rows = np.bincount(readings.group, minlength=groups)
    freedom = np.bincount(repeats.group, weights=used * (repeats.count - 1.0), minlength=groups) - 1.0
    along = total(turn**2)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = total(turn * repeats.residual) / along
        left = np.maximum(total(repeats.residual**2) - slope**2 * along, 0.0)
        variance = np.maximum(left / freedom, repeats.step**2 / 12.0)
        p = 2.0 * stdtr(freedom, -np.abs(slope) * np.sqrt(along / variance))
        apart = np.sqrt(along / total(np.ones(len(turn)))) > _APART * (rows - 1.0)
    change = slope * (rows - 1.0)
    tested = apart & (freedom >= 1.0)
    told = holm(np.where(tested, p, np.nan), DRIFT_LEVEL) & (np.abs(change) > (job.gauge.accuracy or 0.0))
    found = np.flatnonzero(told)
    found = found[np.argsort(-np.abs(change[found]), kind="stable")]
    first = np.full(groups, len(readings.value))
    np.minimum.at(first, readings.group, np.arange(len(readings.value)))
    last = np.zeros(groups, dtype=np.intp)
    np.maximum.at(last, readings.group, np.arange(len(readings.value)))
    return Drift(found, change[found], first[found], last[found])


def _order_in_group(group: Index, groups: int) -> Index:
    """Return each row's place among those of its group, in the order of the file."""
    counts = np.bincount(group, minlength=groups)
    order = np.argsort(group, kind="stable")
    place = np.empty(len(group), dtype=np.intp)
    place[order] = np.arange(len(group)) - np.repeat(np.cumsum(counts) - counts, counts)
    return place
