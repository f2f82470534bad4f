"""The least lines that end inside the valve's fillet, an arc.

Notation: a wall corner Q = (rq, zq), the arc's centre C = (rc, zc) and radius rho, and a point X of the
arc at the angle s from the stem's end, X = C - rho (cos s, sin s) with 0 <= s <= s0 <= 90 deg. The arc is
hollow toward the air. R = rq + rx is the ring, d the line's length. By rule 2 of
`portviz.geometry.passages` only lines with zq >= zx count; they come to X from the side of C.

The wall's end is a corner. Were it inside a straight part, slide both ends so that the line keeps its
direction. With the arc's tangent in place of the arc, the area is a parabola that opens downward where
the line is stationary. The arc lies off its tangent, toward C, by a square of the step; that makes the
area less still if a step of X toward C does. It shortens ln d by n/d and widens ln R by at most m/R, with
n and m the parts toward C of the line's unit vector and of the radius's. Along the arc the line is
stationary, so that the other parts over d and over R are equal; both vectors have unit length, and n/d is
the larger where d < R. A line with d >= R has R d >= R^2 > rq^2, more than the ring round the stem.
So no least line ends so.

The corner lies below the arc's centre and above its start. Let a = rq - rc and b = zq - zc. The area's
slope over s has the sign of
S = (b^2 + rho^2 - 2 a rc) sin s + (rq + rc) b cos s + 3 rho a sin s cos s + 2 rho b sin^2 s - rho b cos^2 s.
For b >= 0 it does not rise through zero. Where a < 0, |a| < rho < rc, and S / sin s has no zero: the terms in a
and rho^2 come to at least rho^2 - rho |a|, and those in b are not negative, as rq + rc > rho. Where a >= 0,
S / sin s does not rise, as rho cos s (1 + 3 sin^2 s) <= 16/9 rho and rq + rc >= 2 rho. And X stands no higher than
Q, so that Q is above the arc's start.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from portviz.geometry.dimensions import Array
from portviz.geometry.profiles import Profiles

#: Stretches of the arc whose ends show a change of the slope's sign.
_STRETCHES = 32
#: Steps toward a zero of the slope. Three of Newton's are enough from so short a stretch; the area is flat there,
#: so that 1e-8 in place is 1e-16 in area.
_STEPS = 5


@dataclass(frozen=True)
class FilletLines:
    """Lines of K wall corners to the arc, each least for its corner.

    Parameters
    ----------
    case : ndarray of int, shape (K,)
        Place in the flattened (M, N) lifts and designs.
    value : ndarray, shape (K,)
        (Area / pi) squared [m4].
    ends : ndarray, shape (4, K)
        r and z on the wall, r and z on the valve at its lift [m].
    """

    case: npt.NDArray[np.intp]
    value: Array
    ends: Array


def fillet_lines(profiles: Profiles, rise: Array, apart: Array, best: Array) -> FilletLines:
    """Return the lines from wall corners to the fillet that may be less than the best so far.

    Parameters
    ----------
    profiles : Profiles
        Of N designs.
    rise : ndarray, shape (W, M, N)
        Height of the wall's corners over the fillet's start, the valve at its lift [m].
    apart : ndarray, shape (W, N)
        Radius of the wall's corners less that of the fillet's start [m].
    best : ndarray, shape (M, N)
        (Area / pi) squared of the least throat passages so far [m4].
    """
    wall = np.moveaxis(profiles.wall, 0, -1)
    start_r, start_z = profiles.valve[:, 4].T
    height = profiles.fillet_centre[:, 1] - start_z
    # No line of Q to the arc is below rq^2 - rx^2, the level one.
    level = apart * (wall[: len(apart), 0] + start_r)
    possible = (rise > 0.0) & (rise < height) & (level[:, None] < np.sqrt(best))
    place = np.flatnonzero(possible)
    corner, case = np.divmod(place, best.size)
    design = case % best.shape[1]
    wall_r, wall_z = wall[corner, 0, design], wall[corner, 1, design]
    centre_r, radius = profiles.fillet_centre[design, 0], profiles.fillet_radius[design]
    a, b = wall_r - centre_r, rise.ravel()[place] - height[design]

    # X is no nearer the stem than the arc at Q's own height; there the ring is smallest. How near the arc comes: with
    # Q farther out than C the distance only falls toward the arc's start; else it is no less than to the full circle.
    sine = np.minimum(-b / radius, 1.0)
    cosine = np.sqrt(1.0 - sine * sine)
    to_start = apart[corner, design] ** 2 + (b + height[design]) ** 2
    near = np.where(a > 0.0, to_start, (radius - np.hypot(a, b)) ** 2)
    ring = wall_r + centre_r - radius * cosine
    keep = np.flatnonzero(ring * ring * near < best.ravel()[case])
    if keep.size == 0:
        return FilletLines(case[keep], near[keep], np.empty((4, 0)))
    case, design, wall_r, wall_z, a, b, radius, centre_r, sine, cosine = (
        each[keep] for each in (case, design, wall_r, wall_z, a, b, radius, centre_r, sine, cosine)
    )

    low = sine / (1.0 + cosine)
    turn = profiles.fillet_angles[design, 0] + np.pi
    high = np.tan(0.5 * turn)
    line, half = _least_places(_slope(wall_r, a, b, centre_r, radius), low, high)
    case, wall_r, wall_z, a, b, radius, centre_r = (
        each[line] for each in (case, wall_r, wall_z, a, b, radius, centre_r)
    )
    square = half * half
    out, down = radius * (1.0 - square) / (1.0 + square), radius * 2.0 * half / (1.0 + square)
    ring = wall_r + centre_r - out
    value = ring * ring * ((a + out) ** 2 + (b + down) ** 2)
    return FilletLines(case, value, np.stack([wall_r, wall_z, centre_r - out, wall_z - b - down]))


def _slope(wall_r: Array, a: Array, b: Array, centre_r: Array, radius: Array) -> Array:
    """Return S (1 + u^2)^2 with u = tan(s / 2) as a polynomial: its factors from u^0 to u^4, shape (5, K)."""
    sine = b * b + radius * radius - 2.0 * a * centre_r
    cosine = (wall_r + centre_r) * b
    both, twice = 3.0 * radius * a, radius * b
    return np.stack([cosine - twice, 2.0 * (sine + both), 10.0 * twice, 2.0 * (sine - both), -cosine - twice])


def _value(factors: Array, at: Array) -> Array:
    c0, c1, c2, c3, c4 = factors
    return np.asarray((((c4 * at + c3) * at + c2) * at + c1) * at + c0)


def _least_places(factors: Array, low: Array, high: Array) -> tuple[npt.NDArray[np.intp], Array]:
    """Return where polynomials (5, K) rise through zero between low and high: which one, and the place."""
    share = np.linspace(0.0, 1.0, _STRETCHES + 1)[:, None]
    negative = _value(factors, low + share * (high - low)) < 0.0
    stretch, line = np.nonzero(negative[:-1] & ~negative[1:])
    step = (high[line] - low[line]) / _STRETCHES
    left = low[line] + stretch * step
    right = left + step
    factors = factors[:, line]
    at = 0.5 * (left + right)
    _, c1, c2, c3, c4 = factors
    for _ in range(_STEPS):
        value = _value(factors, at)
        below = value < 0.0
        left, right = np.where(below, at, left), np.where(below, right, at)
        slope = ((4.0 * c4 * at + 3.0 * c3) * at + 2.0 * c2) * at + c1
        further = at - np.divide(value, slope, out=np.full_like(value, np.inf), where=slope > 0.0)
        # Where Newton's step leaves the stretch, halve it.
        at = np.where((further >= left) & (further <= right), further, 0.5 * (left + right))
    return line, at
