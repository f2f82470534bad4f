"""A valve's lift curve from the figures printed on a cam card: pure numbers, no files.

A card tells the peak and for how long the valve stands above one or two lifts; the curve between is assumed. Of the
textbook's polynomial cams (two-power "polydyne" polynomials) the family here has the exponents 2, p and p + 2: with x
the distance from the peak over half the duration,

    y = 1 + C_2 x^2 + C_p x^p + C_q x^q,    C_i = -prod_(j != i) n_j / (n_j - n_i),    q = p + 2

so that y = y' = y'' = 0 at x = 1 and y' = 0 at the peak. Here C_2 = -a, C_p = a, C_q = -1 with a = (p + 2) / (p - 2).
The flank falls all the way, for every p > 2: y' = -x g(x) with g = 2 a - a p x^(p-2) + (p + 2) x^p, where g(1) = 0 and
g' = p (p + 2) x^(p-3) (x^2 - 1) < 0. Larger p are fuller: thin as 1 + 4 x^2 ln x - x^4 toward p = 2, full as the
parabola 1 - x^2 for large p (textbooks on cam design, from memory; coefficients and limits derived again).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from portviz.job.model import Array

#: The exponent where one duration alone is told, which can't say how full the curve is: of cam grinders' usual powers a
#: middling one (an assumption; common practice, no source).
USUAL_EXPONENT = 6.0
#: Exponents that are tried: nearer to 2 and beyond 60 the curves hardly differ any more from the limits of the family.
EXPONENTS = (2.01, 60.0)
#: Widest step between the points of a sampled curve [deg].
STEP_DEG = 0.5
_FINEST = 4.0 * float(np.finfo(float).eps)


@dataclass(frozen=True)
class CardCurve:
    """A member of the family, in place and size.

    Parameters
    ----------
    peak_lift : float
        [m].
    peak_deg : float
        Where the peak stands [deg].
    half_duration_deg : float
        From opening to the peak [deg].
    exponent : float
        p [-].
    """

    peak_lift: float
    peak_deg: float
    half_duration_deg: float
    exponent: float


def card_polynomial(place: npt.ArrayLike, exponent: float) -> Array:
    """Return lift over peak lift [-] at places from 0 (the peak) to 1 (closed), of the same shape.

    Parameters
    ----------
    place : array_like
        Distance from the peak over half the duration [-].
    exponent : float
        p, more than 2 [-].

    Examples
    --------
    The member of p = 4 is (1 - x^2)^3:

    >>> float(card_polynomial(0.5, 4.0)) == 0.75**3
    True
    """
    x = np.asarray(place, dtype=float)
    fullness = (exponent + 2.0) / (exponent - 2.0)
    return np.asarray(1.0 - x ** (exponent + 2.0) - fullness * (x**2 - x**exponent))


def place_of(level: float, exponent: float) -> float:
    """Return the place from 0 to 1 at which the lift over peak lift is a level from 0 to below 1 [-]."""
    if level <= 0.0:
        return 1.0
    from scipy.optimize import brentq

    return float(brentq(lambda x: float(card_polynomial(x, exponent)) - level, 0.0, 1.0, xtol=1e-15, rtol=_FINEST))


def possible_durations(level: float, longer: float, higher_level: float) -> tuple[float, float]:
    """Return the least and greatest duration above a higher level that members of the family have [deg].

    Parameters
    ----------
    level, higher_level : float
        Lift over peak lift [-]; `level` is the lower.
    longer : float
        Duration above `level` [deg].
    """
    thin, full = (longer * place_of(higher_level, p) / place_of(level, p) for p in EXPONENTS)
    return thin, full


def solve_one(peak_lift: float, peak_deg: float, lift: float, duration_deg: float) -> CardCurve:
    """Return the curve of the usual exponent that stands above a lift [m], less than the peak, for a duration [deg]."""
    half = 0.5 * duration_deg / place_of(lift / peak_lift, USUAL_EXPONENT)
    return CardCurve(peak_lift, peak_deg, half, USUAL_EXPONENT)


def solve_two(
    peak_lift: float, peak_deg: float, lifts: tuple[float, float], durations_deg: tuple[float, float]
) -> CardCurve:
    """Return the curve that stands above two lifts for two durations, both exact.

    Parameters
    ----------
    peak_lift, peak_deg : float
        [m], [deg].
    lifts : (float, float)
        Rising, less than the peak [m].
    durations_deg : (float, float)
        Falling; the second within `possible_durations` of the first [deg].
    """
    from scipy.optimize import brentq

    low, high = (lift / peak_lift for lift in lifts)
    wanted = durations_deg[1] / durations_deg[0]

    def excess(logarithm: float) -> float:
        p = 2.0 + float(np.exp(logarithm))
        return place_of(high, p) / place_of(low, p) - wanted

    # The ratio of the two places rises with p, ever more slowly: in the logarithm of p - 2 it does so evenly.
    ends = [float(np.log(p - 2.0)) for p in EXPONENTS]
    at_ends = [excess(end) for end in ends]
    if at_ends[0] >= 0.0 or at_ends[1] <= 0.0:
        exponent = EXPONENTS[0 if at_ends[0] >= 0.0 else 1]
    else:
        exponent = 2.0 + float(np.exp(brentq(excess, ends[0], ends[1], xtol=1e-15, rtol=_FINEST)))
    return CardCurve(peak_lift, peak_deg, 0.5 * durations_deg[0] / place_of(low, exponent), exponent)


def sample(curve: CardCurve, halves_deg: npt.ArrayLike = ()) -> tuple[Array, Array]:
    """Return crank angles [deg] and lifts [m] of a curve, both of shape (K,), symmetric about the peak.

    Parameters
    ----------
    curve : CardCurve
    halves_deg : array_like, shape (N,)
        Distances from the peak that must be among the points on both sides [deg]; the peak and both ends are anyway.
    """
    inside = np.asarray(halves_deg, dtype=float)
    inside = inside[(inside > 0.0) & (inside < curve.half_duration_deg)]
    knots = np.unique(np.concatenate([[0.0], inside, [curve.half_duration_deg]]))
    pieces = [
        np.linspace(start, end, int(np.ceil((end - start) / STEP_DEG)) + 1)[:-1]
        for start, end in pairwise(knots.tolist())
    ]
    away = np.concatenate([*pieces, knots[-1:]])
    lift = curve.peak_lift * np.clip(card_polynomial(away / curve.half_duration_deg, curve.exponent), 0.0, 1.0)
    crank = np.concatenate([curve.peak_deg - away[:0:-1], curve.peak_deg + away])
    return crank, np.concatenate([lift[:0:-1], lift])
