"""Which differences the data show: two-sided t tests, and Holm's step-down procedure for a family of them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import fdtrc, stdtr, stdtrit

from portviz.job.model import Array, Mask

HIGHER, LOWER, NOT_SHOWN = "higher", "lower", "not shown"
#: Chance of a false verdict in a family of differences none of which is real [-].
LEVEL = 0.05


def effective_freedom(uncertainties: Array, freedoms: Array) -> Array:
    """Return the degrees of freedom of a sum by Welch and Satterthwaite, [JCGM-100] G.2b.

    Parameters
    ----------
    uncertainties : ndarray, shape (P, ...)
        Standard uncertainty that each part adds.
    freedoms : ndarray, broadcast with it
        Degrees of freedom of each part [-]; inf for parts known exactly.

    Returns
    -------
    ndarray, shape (...)

    Examples
    --------
    >>> float(effective_freedom(np.array([1.0, 1.0]), np.array([5.0, np.inf])))
    20.0
    """
    with np.errstate(all="ignore"):
        total = np.sum(np.square(uncertainties), axis=0) ** 2
        lost = np.sum(np.power(uncertainties, 4) / freedoms, axis=0)
        return np.asarray(np.where(lost > 0.0, total / lost, np.inf))


def two_sided_p(difference: Array, uncertainty: Array, freedom: npt.ArrayLike) -> Array:
    """Return the chance of a difference at least as large where there is none [-]; NaN where it is not known.

    A difference without any uncertainty is certain, none at all is nothing.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.abs(difference) / uncertainty
    p = 2.0 * stdtr(np.minimum(np.asarray(freedom, dtype=float), 1e9), -ratio)
    return np.where((difference == 0.0) & (uncertainty == 0.0), 1.0, p)


def holm(p: Array, level: float = LEVEL) -> Mask:
    """Return which of a family's tests are shown, so that any false one comes up at most at `level`.

    Parameters
    ----------
    p : ndarray, shape (N,)
        One each; NaN is never shown, and no member of the family.

    Notes
    -----
    S. Holm's step-down procedure [Holm]: the tests in ascending order of p, each against level over
    the number of those left, up to the first that fails.

    Examples
    --------
    >>> holm(np.array([0.01, 0.04, 0.03, 0.005])).tolist()
    [True, False, False, True]
    """
    shown = np.zeros(len(p), dtype=bool)
    members = np.flatnonzero(~np.isnan(p))
    order = members[np.argsort(p[members], kind="stable")]
    left = np.arange(len(order), 0, -1)
    failed = p[order] > level / left
    shown[order[: int(np.argmax(failed)) if failed.any() else len(order)]] = True
    return shown


def verdict(difference: float, shown: bool) -> str:
    """Return "higher", "lower" or "not shown"."""
    if not shown or difference == 0.0:
        return NOT_SHOWN
    return HIGHER if difference > 0.0 else LOWER


def expanded(uncertainty: npt.ArrayLike, freedom: npt.ArrayLike, coverage: float = 0.95) -> Array:
    """Return half the width of the interval that covers the value so often, [JCGM-100] G.3."""
    quantile = stdtrit(np.minimum(np.asarray(freedom, dtype=float), 1e9), 0.5 + coverage / 2.0)
    return np.asarray(quantile * np.asarray(uncertainty))


def shift_p(shift: Array, covariance: Array, freedom: float) -> float:
    """Return the chance of a shift of two parts at least as far out where there is none [-].

    Hotelling's test with a covariance known up to a scale of `freedom` degrees of freedom: half the
    squared distance is F distributed with 2 and `freedom`.
    """
    if not np.isfinite(covariance).all():
        return float("nan")
    if not covariance.any():
        return 1.0 if not shift.any() else 0.0
    distance = float(shift @ np.linalg.pinv(covariance) @ shift)
    return float(fdtrc(2.0, min(freedom, 1e9), distance / 2.0))
