"""Scatter that a few slips do not enlarge, and the bound beyond which a value is one of them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit

from portviz.job.model import Array, Index

#: Normal standard deviation over median absolute deviation [-], [Iglewicz-Hoaglin].
DEVIATION_OVER_MEDIAN = 1.4826
#: A scatter found from the median is as sure as one from the squares of so many fewer values [-], [Rousseeuw-Croux].
EFFICIENCY = 0.367


def group_median(values: Array, group: Index, groups: int) -> Array:
    """Return each group's median, the lower of the two in the middle, shape (groups,); NaN where there are no values.

    Parameters
    ----------
    values : ndarray, shape (N,)
        Zero or more; differences below 1e-9 of the largest may be lost.
    group : ndarray of int, shape (N,)
    groups : int

    Examples
    --------
    >>> group_median(np.array([3.0, 1.0, 2.0, 5.0]), np.array([0, 0, 0, 2]), 3).tolist()
    [2.0, nan, 5.0]
    """
    counts = np.bincount(group, minlength=groups)
    largest = 2.0 * float(values.max(initial=0.0))
    if not largest > 0.0:
        return np.where(counts > 0, 0.0, np.nan)
    # One sort for all groups: the group before the point, the value behind it.
    ladder = np.sort(group + values / largest)
    middle = np.minimum(np.cumsum(counts) - counts + np.maximum(counts - 1, 0) // 2, len(values) - 1)
    return np.where(counts > 0, (ladder[middle] - np.arange(groups)) * largest, np.nan)


def group_scatter(values: Array, group: Index, groups: int) -> Array:
    """Return each group's standard deviation about zero by the median of the absolute values, shape (groups,)."""
    return DEVIATION_OVER_MEDIAN * group_median(np.abs(values), group, groups)


def bound(tests: npt.ArrayLike, freedom: npt.ArrayLike, level: float) -> Array:
    """Return what the largest of so many values over their scatter passes with this chance at most [-].

    Student's t for both signs, and Bonferroni's inequality for the number of values.

    Examples
    --------
    >>> round(float(bound(1, 1e9, 0.05)), 3)
    1.96
    """
    chance: Array = 0.5 * level / np.maximum(np.asarray(tests, dtype=float), 1.0)
    return np.asarray(-stdtrit(np.clip(np.asarray(freedom, dtype=float), 0.3, 1e9), chance))
