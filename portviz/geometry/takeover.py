"""The lift from which another passage than the gap is the narrower."""

from __future__ import annotations

import numpy as np

from portviz.geometry.dimensions import Array
from portviz.geometry.passages import least_passages
from portviz.geometry.profiles import Profiles

#: Lifts looked at, and how often the step between two is halved: to a micrometre between lifts 8 mm apart.
LOOKED_AT, HALVINGS = 40, 13


def throat_takes_over(profiles: Profiles, highest: float) -> Array:
    """Return the lift from which another passage than the gap is the narrower [m], shape (N,).

    Parameters
    ----------
    profiles : Profiles
        Of N designs.
    highest : float
        The lift up to which it is looked for [m].

    Returns
    -------
    ndarray, shape (N,)
        NaN where the gap is the narrower up to the highest lift.

    Notes
    -----
    The first such lift: looked for at `LOOKED_AT` lifts and halved out between two. Gap and throat may share their
    corner over a stretch of lifts, where they are one and count as the gap, so that no slope would find it.
    """
    lifts = np.linspace(0.0, highest, LOOKED_AT + 1)[1:]
    taken = ~least_passages(profiles, lifts).limited_by_gap
    first = np.argmax(taken, axis=1)
    found = np.where(taken.any(axis=1), lifts[first], np.nan)
    rows = np.flatnonzero(taken.any(axis=1))
    if not len(rows):
        return found
    profiles = profiles.take(rows)
    low = np.where(first[rows] > 0, lifts[np.maximum(first[rows] - 1, 0)], 0.0)
    high = lifts[first[rows]]
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        gap = least_passages(profiles, middle[:, None]).limited_by_gap[:, 0]
        low, high = np.where(gap, middle, low), np.where(gap, high, middle)
    found[rows] = 0.5 * (low + high)
    return found
