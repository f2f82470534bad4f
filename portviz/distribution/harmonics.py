"""Harmonics of a pattern round the valve: how strong its one, two, three and four lobes are, and where they stand."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from portviz.distribution.measures import group_sizes
from portviz.job.model import Array, Index

#: The harmonics that are looked for.
ORDERS = (1, 2, 3, 4)
#: Stations that stand so unevenly that they would blow errors up by more than this tell no harmonic [-].
_WORST_CONDITION = 10.0


def harmonic_weights(angle_deg: Array, starts: Index) -> npt.NDArray[np.complex128]:
    """Return what the values at the stations are weighted with to give each group's harmonics.

    Parameters
    ----------
    angle_deg : ndarray, shape (K,)
        In [0, 360) and ascending within each group [deg].
    starts : ndarray of int, shape (G,)
        First station of each group.

    Returns
    -------
    ndarray of complex, shape (4, K)
        The sum of weight x value over a group is a + i b of the lobes a cos(k angle) + b sin(k angle),
        k = 1 to 4; NaN where the group's stations do not support the harmonic.

    Notes
    -----
    Least squares of mean + sum over k of a_k cos(k angle) + b_k sin(k angle) on the stations' own places,
    with as many harmonics as they support: S stations support k < S / 2, since lobes beyond that can't be told
    from fewer ones; and only as many as keep the condition number of the fit at 10 or less, which is
    sqrt(2) for even stations. For even stations the fit is the discrete Fourier sum (2 / S) sum(v exp(i k angle)).

    Examples
    --------
    >>> angle = np.array([0.0, 90.0, 180.0, 270.0])
    >>> weights = harmonic_weights(angle, np.array([0]))
    >>> np.round(weights[0] @ np.array([12.0, 10.0, 8.0, 10.0]), 9)
    np.complex128(2+0j)
    >>> weights[1]
    array([nan+nanj, nan+nanj, nan+nanj, nan+nanj])
    """
    weights = np.full((len(ORDERS), len(angle_deg)), complex(np.nan, np.nan))
    sizes = group_sizes(starts, len(angle_deg))
    for size in np.unique(sizes).tolist():
        groups = np.flatnonzero(sizes == size)
        places = starts[groups, None] + np.arange(size)
        patterns, which = np.unique(angle_deg[places], axis=0, return_inverse=True)
        weights[:, places] = _pattern_weights(patterns)[:, which.reshape(-1)]
    return weights


def _pattern_weights(angle_deg: Array) -> npt.NDArray[np.complex128]:
    """Return weights of P patterns of S stations each, shape (4, P, S)."""
    count = angle_deg.shape[1]
    weights = np.full((len(ORDERS), *angle_deg.shape), complex(np.nan, np.nan))
    angle = np.radians(angle_deg)[..., None]
    left = np.ones(len(angle_deg), dtype=bool)
    for most in range(min(len(ORDERS), (count - 1) // 2), 0, -1):
        orders = np.arange(1, most + 1)
        terms = np.concatenate([np.ones_like(angle), np.cos(orders * angle), np.sin(orders * angle)], axis=2)
        told = left & (np.linalg.cond(terms) <= _WORST_CONDITION)
        if told.any():
            fit = np.linalg.pinv(terms[told])
            found = fit[:, 1 : most + 1] + 1j * fit[:, most + 1 :]
            weights[:most, told] = found.transpose(1, 0, 2)
        left &= ~told
    return weights


def lobe_direction_deg(harmonic: npt.NDArray[np.complex128], order: int) -> Array:
    """Return the direction of the first crest of a harmonic a + i b [deg], in [0, 360 / order).

    Its other crests follow every 360 / order degrees.

    Examples
    --------
    >>> lobe_direction_deg(np.array([2.0j, 1.0 + 0.0j]), 2)
    array([45.,  0.])
    """
    apart = 360.0 / order
    direction = np.mod(np.degrees(np.angle(harmonic)) / order, apart)
    return np.where(direction >= apart, 0.0, direction)
