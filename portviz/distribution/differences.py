"""Differences of two runs, each with its uncertainty and a verdict."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portviz.distribution.propagation import Spread
from portviz.distribution.verdicts import LEVEL, effective_freedom, holm, shift_p, two_sided_p, verdict
from portviz.job.model import Array


@dataclass(frozen=True)
class Difference:
    """N values of two runs, in SI.

    Parameters
    ----------
    a, b : ndarray, shape (N,)
    u : ndarray, shape (N,)
        Standard uncertainty of b - a; NaN where nothing is known of it.
    freedom : ndarray, shape (N,)
        Its degrees of freedom [-].
    verdicts : tuple of str, length N
        "higher", "lower" or "not shown".
    """

    a: Array
    b: Array
    u: Array
    freedom: Array
    verdicts: tuple[str, ...]

    @property
    def difference(self) -> Array:
        """What b is more than a, shape (N,)."""
        return self.b - self.a


@dataclass(frozen=True)
class BiasShift:
    """How the bias moved at one lift.

    Parameters
    ----------
    magnitude : Difference
        Of one value.
    shift : ndarray, shape (2,)
        Along station 0 and a quarter turn anticlockwise of it [-].
    u : float
        Standard uncertainty along the shift [-].
    shown : bool
        True where the data show that it moved at all.
    """

    magnitude: Difference
    shift: Array
    u: float
    shown: bool


#: N values, what is known of them, and the degrees of freedom that their readings have, shape (N,).
Known = tuple[Array, Spread, Array]


def tested_difference(first: Known, second: Known, *, one_job: bool) -> Difference:
    """Return the differences of values that are tested as one family.

    Parameters
    ----------
    first, second : tuple
        Values, shape (N,), their `Spread`, and the degrees of freedom of their readings, shape (N,).
    one_job : bool
        True where both share the common factors, which then cancel as far as they move both alike.

    Notes
    -----
    Two-sided tests; all of the family hold together at 5 % [Holm].
    """
    (va, sa, freedom_a), (vb, sb, freedom_b) = first, second
    common = (sb.common - sa.common) if one_job else np.sqrt(sa.common**2 + sb.common**2)
    parts = np.concatenate([[sa.independent, sb.independent, sa.stated, sb.stated], common])
    with np.errstate(over="ignore"):
        u = np.sqrt(np.sum(parts**2, axis=0))
    freedoms = np.concatenate([[freedom_a, freedom_b], np.full((len(parts) - 2, len(va)), np.inf)])
    freedom = effective_freedom(parts, freedoms)
    shown = holm(two_sided_p(vb - va, u, freedom))
    verdicts = tuple(verdict(float(off), bool(yes)) for off, yes in zip(vb - va, shown, strict=True))
    return Difference(va, vb, u, freedom, verdicts)


def bias_shift(
    magnitude: Difference, moved: complex, covariance: Array, common: tuple[Array, ...], *, one_job: bool
) -> BiasShift:
    """Return how a bias moved.

    Parameters
    ----------
    magnitude : Difference
        Of its magnitude.
    moved : complex
        [-].
    covariance : ndarray, shape (2, 2)
        Of the shift, from what errs for itself in both.
    common : tuple of two ndarrays of complex, shape (4,)
        Change of the first and the second bias for one standard uncertainty of each common factor.
    one_job : bool
    """
    shift = np.array([moved.real, moved.imag])
    for each in (common[1] - common[0],) if one_job else common:
        covariance = covariance + np.stack([each.real, each.imag]) @ np.stack([each.real, each.imag]).T
    along = shift / np.hypot(*shift) if shift.any() else np.array([1.0, 0.0])
    u = float(np.sqrt(along @ covariance @ along)) if np.isfinite(covariance).all() else float("nan")
    p = shift_p(shift, covariance, float(magnitude.freedom[0]))
    return BiasShift(magnitude, shift, u, bool(p <= LEVEL))
