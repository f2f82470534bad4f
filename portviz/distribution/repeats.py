"""Repeats of one reading that cannot all be right: a coarse look for slips of the pen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from portviz.job.model import Array, Index, Job, Readings

#: Repeats may spread over so many accuracies (or standard deviations of the others) without a word [-].
SPREAD = 10.0
#: And over this part of their mean [-]; ordinary air is as restless as that where it separates.
PART_OF_MEAN = 0.25
#: Nor is anything told below this part of an ordinary reading, where gauges only flicker [-].
PART_OF_ORDINARY = 0.02
#: Expected range of 2 to 10 normal values over their standard deviation [-] (control charts' d2, from memory).
_RANGE_OVER_DEVIATION = np.array([1.128, 1.693, 2.059, 2.326, 2.534, 2.704, 2.847, 2.970, 3.078])


@dataclass(frozen=True)
class OddRepeats:
    """Stations whose repeats differ too much, the worst first.

    Parameters
    ----------
    rows : list of ndarray of int
        For each, its rows in the readings, ascending in value.
    excess : ndarray
        For each, the repeats' range over what is allowed [-].
    """

    rows: list[Index]
    excess: Array


def odd_repeats(job: Job, readings: Readings) -> OddRepeats:
    """Return the stations of one run and lift whose repeats differ by far more than they should.

    Notes
    -----
    The range of the repeats is compared with the largest of: ten times the gauge's accuracy, or where
    it is not stated ten times the scatter of all other repeats; a quarter of their mean; a fiftieth of
    the job's median reading. The scatter is the median of range over expected range, so that no single
    slip makes it larger. Slips of less than a quarter are not found: they lie beyond a coarse look.
    """
    key = readings.group * len(job.stations.angles_deg) + readings.station
    order = np.argsort(key, kind="stable")
    value, starts = readings.value[order], _first_of_each(key[order])
    counts = np.diff(starts, append=len(order))
    spread = np.maximum.reduceat(value, starts) - np.minimum.reduceat(value, starts)
    mean = np.add.reduceat(value, starts) / counts
    allowed = np.maximum(PART_OF_MEAN * np.abs(mean), PART_OF_ORDINARY * np.median(np.abs(readings.value)))
    scatter = _scatter(spread, counts) if job.gauge.accuracy is None else job.gauge.accuracy
    allowed = np.maximum(allowed, SPREAD * scatter)
    odd = np.flatnonzero((spread > allowed) & (counts > 1))
    with np.errstate(divide="ignore"):
        excess = spread[odd] / allowed[odd]
    worst = np.argsort(-excess, kind="stable")
    repeats = [order[starts[place] : starts[place] + counts[place]] for place in odd[worst]]
    return OddRepeats([rows[np.argsort(readings.value[rows], kind="stable")] for rows in repeats], excess[worst])


def _first_of_each(ascending: Index) -> Index:
    return np.flatnonzero(np.diff(ascending, prepend=ascending[0] - 1))


def _scatter(spread: Array, counts: npt.NDArray[np.intp]) -> float:
    """Return the repeats' standard deviation by the (lower) median of their ranges; 0 where it is not known."""
    repeated = counts > 1
    if repeated.sum() < 2:
        return 0.0
    expected = _RANGE_OVER_DEVIATION[np.minimum(counts[repeated], 10) - 2]
    deviations = np.sort(spread[repeated] / expected)
    return float(deviations[(len(deviations) - 1) // 2])
