"""The standard uncertainty of a station's mean reading: from repeats, from the gauge's accuracy, or both.

Type A and type B evaluation after [JCGM-100], clauses 4.2 and 4.3.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri

from portviz.distribution.measures import group_sum
from portviz.distribution.reduce import Reduction
from portviz.job.model import Array

#: Repeats that scatter more than the accuracy explains at this level are believed, not the accuracy [-].
DOUBT_LEVEL = 0.01
#: Squared deviations below this part of the squared drops are rounding [-].
_ROUNDING = 1e-20
ACCURACY, REPEATS, RESOLUTION, UNKNOWN = "accuracy", "repeats", "resolution", "unknown"


@dataclass(frozen=True)
class ReadingUncertainty:
    """What is known of the mean readings at K stations in G groups.

    Parameters
    ----------
    mean : ndarray, shape (K,)
        Standard uncertainty of the mean reading [Pa, or m/s where the gauge reads velocity], independent from
        station to station; NaN where unknown.
    freedom : ndarray, shape (G,)
        Degrees of freedom [-]; inf where the accuracy is given.
    source : tuple of str, length G
        "accuracy", "repeats", "resolution" or "unknown".
    scatter : ndarray, shape (G,)
        Pooled standard deviation of one reading [Pa or m/s]; NaN without repeats.
    scatter_freedom : ndarray, shape (G,)
        Its degrees of freedom [-].
    """

    mean: Array
    freedom: Array
    source: tuple[str, ...]
    scatter: Array
    scatter_freedom: Array


def reading_uncertainty(reduction: Reduction) -> ReadingUncertainty:
    """Return the uncertainty of the mean readings of a reduction.

    Notes
    -----
    Accuracy alone: accuracy / sqrt(n) for the mean of n repeats. Repeats alone: the scatter pooled over the
    stations of one run at one lift, s^2 = sum of squared deviations / sum(n - 1), over sqrt(n), with
    sum(n - 1) degrees of freedom. Both: the accuracy, unless the repeats scatter more than it explains
    (chi-square test at `DOUBT_LEVEL`): then the repeats. A stated resolution adds half its step as the bound
    of a rectangular distribution, resolution / sqrt(12), which repeats do not average out; alone it counts where
    repeats never differ, and nowhere else.
    """
    stations, starts = reduction.stations, reduction.starts
    group = reduction.station_group
    freedom = group_sum(stations.repeats - 1.0, starts)
    squares = group_sum(stations.squares, starts)
    with np.errstate(divide="ignore", invalid="ignore"):
        scatter = np.where(freedom > 0, np.sqrt(squares / freedom), np.nan)
    accuracy = reduction.job.gauge.accuracy
    one = np.full(len(group), np.nan if accuracy is None else accuracy)
    source = np.full(len(starts), UNKNOWN if accuracy is None else ACCURACY, dtype=object)
    if accuracy is None:
        # Repeats that never differ tell of a gauge too coarse to see them, not of none: its step is then all.
        believed = (freedom > 0) & (squares > _ROUNDING * group_sum(stations.reading**2, starts))
        coarse = (freedom > 0) & ~believed & (reduction.job.gauge.resolution is not None)
        one = np.where(coarse[group], 0.0, one)
        source[coarse] = RESOLUTION
    else:
        ordinary = group_sum(np.where(stations.repeats > 1, (stations.repeats - 1.0) * accuracy**2, 0.0), starts)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = squares / (ordinary / np.maximum(freedom, 1.0))
        believed = (freedom > 0) & (ratio > chdtri(np.maximum(freedom, 1.0), DOUBT_LEVEL))
    one = np.where(believed[group], scatter[group], one)
    source[believed] = REPEATS
    mean = one / np.sqrt(stations.repeats)
    known_freedom = np.where(believed, freedom, np.inf)
    step = gauge_resolution(reduction)
    if step is not None:
        both = np.sqrt(mean**2 + step**2 / 12.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            # Welch-Satterthwaite; the part of the resolution is taken as exactly known.
            more = np.minimum.reduceat((both / mean) ** 4, starts)
        known_freedom = np.where(believed, known_freedom * np.where(np.isfinite(more), more, 1.0), np.inf)
        mean = both
    return ReadingUncertainty(mean, known_freedom, tuple(map(str, source)), scatter, freedom)


def gauge_resolution(reduction: Reduction) -> Array | None:
    """Return the gauge's least step [Pa or m/s], shape (K,); None where it is not stated."""
    resolution = reduction.job.gauge.resolution
    return None if resolution is None else np.full(len(reduction.stations.drop), resolution)
