"""Shape-preserving cubics through given points: never beyond the neighbouring values."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from portviz.job.model import Array


def monotone_slopes(knots: Array, values: Array) -> Array:
    """Return the slopes of a monotone piecewise cubic at its knots.

    Parameters
    ----------
    knots : ndarray, shape (M,)
        Ascending, two or more.
    values : ndarray, shape (M, ...)
        At the knots.

    Returns
    -------
    ndarray, shape (M, ...)

    Notes
    -----
    Inside: the weighted harmonic mean of the two neighbouring differences, zero where they differ in
    sign or vanish [Fritsch-Butland]; at the ends: three-point differences, limited so that the shape
    is kept [Moler]. The same cubic as the usual PCHIP routines.
    """
    step = np.diff(knots).reshape(-1, *[1] * (values.ndim - 1))
    difference = np.diff(values, axis=0) / step
    if len(knots) == 2:
        return np.concatenate([difference, difference])
    before, after = difference[:-1], difference[1:]
    first_weight = 2.0 * step[1:] + step[:-1]
    second_weight = step[1:] + 2.0 * step[:-1]
    turns = np.sign(before) * np.sign(after) <= 0.0
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        inside = (first_weight + second_weight) / (first_weight / before + second_weight / after)
    inside = np.where(turns, 0.0, inside)
    first = _end_slope(step[0], step[1], difference[0], difference[1])
    last = _end_slope(step[-1], step[-2], difference[-1], difference[-2])
    return np.concatenate([first[None], inside, last[None]])


def _end_slope(near: Array, far: Array, difference: Array, following: Array) -> Array:
    slope = ((2.0 * near + far) * difference - near * following) / (near + far)
    slope = np.where(np.sign(slope) != np.sign(difference), 0.0, slope)
    steep = (np.sign(difference) != np.sign(following)) & (np.abs(slope) > 3.0 * np.abs(difference))
    return np.asarray(np.where(steep, 3.0 * difference, slope))


def monotone_cubic(knots: Array, values: Array, at: npt.ArrayLike, slopes: Array | None = None) -> Array:
    """Return a monotone piecewise cubic's values; exact at the knots, within their neighbours between.

    Parameters
    ----------
    knots : ndarray, shape (M,)
        Ascending, two or more.
    values : ndarray, shape (M, ...)
        At the knots.
    at : array_like
        Places within the knots; outside them the end value is returned.
    slopes : ndarray, shape (M, ...), optional
        From `monotone_slopes`, where they are there already.

    Returns
    -------
    ndarray, shape (shape of `at`, ...)

    Examples
    --------
    >>> monotone_cubic(np.array([0.0, 1.0, 2.0]), np.array([0.0, 1.0, 1.0]), [0.0, 1.0, 1.5])
    array([0., 1., 1.])
    """
    slopes = monotone_slopes(knots, values) if slopes is None else slopes
    places = np.clip(np.asarray(at, dtype=float), knots[0], knots[-1])
    place = np.clip(np.searchsorted(knots, places, side="right") - 1, 0, len(knots) - 2)
    span = knots[place + 1] - knots[place]
    inner = [1] * (values.ndim - 1)
    part = ((places - knots[place]) / span).reshape((*places.shape, *inner))
    span = span.reshape((*places.shape, *inner))
    low, high = values[place], values[place + 1]
    rest = 1.0 - part
    # Hermite's form, written so that both ends come out exact.
    found = (
        low * (rest * rest * (1.0 + 2.0 * part))
        + high * (part * part * (3.0 - 2.0 * part))
        + span * part * rest * (slopes[place] * rest - slopes[place + 1] * part)
    )
    # Held against rounding in the last digit.
    return np.asarray(np.clip(found, np.minimum(low, high), np.maximum(low, high)))
