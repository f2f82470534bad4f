"""Measures of a distribution round the valve, for many groups of stations in one pass.

Stations lie one behind the other, group by group; `starts` holds the first station of each group.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from portviz.job.model import Array, Index, Mask


def group_sum(values: npt.ArrayLike, starts: Index) -> npt.NDArray[np.float64]:
    """Return the sum of each group, shape (G,), of station values, shape (K,)."""
    return np.asarray(np.add.reduceat(np.asarray(values), starts))


def group_sizes(starts: Index, count: int) -> Index:
    """Return the number of stations of each group, shape (G,), of `count` stations in all."""
    return np.diff(starts, append=count)


def sector_angles(angles_deg: Array, starts: Index) -> Array:
    """Return each station's sector [deg], from half-way to its neighbours on the circle.

    Parameters
    ----------
    angles_deg : ndarray, shape (K,)
        In [0, 360) and ascending within each group of two or more [deg].
    starts : ndarray of int, shape (G,)

    Returns
    -------
    ndarray, shape (K,)
        [deg]; 360 in all for each group.

    Examples
    --------
    >>> sector_angles(np.array([0.0, 90.0, 180.0]), np.array([0]))
    array([135.,  90., 135.])
    """
    following = np.arange(1, len(angles_deg) + 1)
    ends = np.append(starts[1:], len(angles_deg)) - 1
    following[ends] = starts
    ahead = np.mod(angles_deg[following] - angles_deg, 360.0)
    behind = np.empty_like(ahead)
    behind[following] = ahead
    return np.asarray(0.5 * (ahead + behind))


#: Sums smaller than this part of what went into them are rounding [-].
_ROUNDING = 1e-12


def nothing_but_rounding(values: Array, starts: Index) -> Mask:
    """Tell which groups' sums, shape (G,), are zero but for rounding, so that nothing may be divided by them."""
    return np.asarray(np.abs(group_sum(values, starts)) <= _ROUNDING * group_sum(np.abs(values), starts))


class VelocityMeasures(NamedTuple):
    """Area-weighted measures of each group, shape (G,); but for the mean NaN where that is zero or rounding.

    Parameters
    ----------
    mean : ndarray
        Mean velocity [m/s].
    coefficient_of_variation : ndarray
        Population standard deviation over mean [-].
    uniformity_index : ndarray
        1 - sum(|v - mean| A) / (2 |mean| sum(A)) [-]; 1 where all stations are alike.
    """

    mean: Array
    coefficient_of_variation: Array
    uniformity_index: Array


def velocity_measures(velocity: Array, area: Array, starts: Index) -> VelocityMeasures:
    """Return mean, coefficient of variation and uniformity index of each group.

    Parameters
    ----------
    velocity : ndarray, shape (K,)
        [m/s].
    area : ndarray, shape (K,)
        Weights, such as the area of each sector [m2].
    starts : ndarray of int, shape (G,)

    Notes
    -----
    The uniformity index is that of [Weltens] (formula from memory).

    Examples
    --------
    >>> measures = velocity_measures(np.array([10.0, 20.0]), np.array([3.0, 1.0]), np.array([0]))
    >>> float(measures.mean[0]), float(measures.uniformity_index[0])
    (12.5, 0.85)
    """
    sizes = group_sizes(starts, len(velocity))
    total = group_sum(area, starts)
    mean = group_sum(velocity * area, starts) / total
    off = velocity - np.repeat(mean, sizes)
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = np.sqrt(group_sum(off**2 * area, starts) / total) / np.abs(mean)
        uniformity = 1.0 - group_sum(np.abs(off) * area, starts) / (2.0 * np.abs(mean) * total)
    flat = nothing_but_rounding(velocity * area, starts)
    return VelocityMeasures(mean, np.where(flat, np.nan, spread), np.where(flat, np.nan, uniformity))


def flow_bias(share: Array, angles_deg: Array, starts: Index) -> npt.NDArray[np.complex128]:
    """Return the centroid of the flow shares of each group, shape (G,).

    Parameters
    ----------
    share : ndarray, shape (K,)
        Flow shares [-], one in all for each group.
    angles_deg : ndarray, shape (K,)
        [deg].
    starts : ndarray of int, shape (G,)

    Returns
    -------
    ndarray of complex, shape (G,)
        sum(share exp(i angle)); magnitude 0 where the flow is even, 1 where one station has it all.
    """
    return np.asarray(np.add.reduceat(share * np.exp(1j * np.radians(angles_deg)), starts))


def bias_is_told(magnitude: npt.ArrayLike, even_magnitude: npt.ArrayLike) -> Mask:
    """Tell where a bias is more than equally fast air would show at the same stations; false where there is none."""
    magnitude, even = np.asarray(magnitude, dtype=float), np.asarray(even_magnitude, dtype=float)
    return np.asarray((magnitude > 1.5 * even) & (magnitude > 0.0))


def direction_deg(bias: npt.NDArray[np.complex128]) -> Array:
    """Return the direction of a bias [deg] in [0, 360); 0 where its magnitude is nothing but rounding."""
    angle = np.mod(np.degrees(np.angle(bias)), 360.0)
    return np.where((np.abs(bias) < 1e-12) | (angle >= 360.0), 0.0, angle)
