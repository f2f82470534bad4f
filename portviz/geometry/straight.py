"""Lines between corners, and from corners to feet inside straight parts, of many designs and lifts.

The last axis is the design's, so that what does not depend on lift is found once a design. Lines whose
least possible area is more than the best so far are not looked at.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from portviz.geometry.dimensions import Array, Mask

Index = npt.NDArray[np.intp]


class Best:
    """The least frustum so far of M lifts of N designs: (area / pi) squared, and its ends if wanted."""

    def __init__(self, value: Array, lines: bool) -> None:
        # Flat views are written to.
        self.value = np.ascontiguousarray(value)
        self.ends = np.zeros((4, value.size)) if lines else None

    def offer(self, case: Index, value: Array, ends: Array | tuple[Array, ...]) -> None:
        """Keep candidates (K,) of flattened cases where they are better; ends are r, z of wall and of valve."""
        flat = self.value.reshape(-1)
        if self.ends is None:
            np.minimum.at(flat, case, value)
            return
        better = value < flat[case]
        np.minimum.at(flat, case, value)
        chosen = np.flatnonzero(better & (value == flat[case]))
        for kept, end in zip(self.ends, ends, strict=True):
            kept[case[chosen]] = end[chosen]

    def write(self, areas: Array, ends: Array | None) -> None:
        """Write into the results, shapes (N, M) and (N, M, 2, 2)."""
        areas[...] = self.value.T
        if ends is not None and self.ends is not None:
            ends[...] = self.ends.reshape(2, 2, *self.value.shape).transpose(3, 2, 0, 1)


class Corners:
    """Every line from a wall corner to a valve corner of N designs at M lifts.

    The last axis is the design's, so that what does not depend on lift is found once a design.

    Parameters
    ----------
    wall : ndarray, shape (2, W, N)
        r and z from the top cut's outer edge to the throat's corner.
    valve : ndarray, shape (2, 4, N)
        r and z of the closed valve: face's outer and inner edge, back cut's inner edge, fillet's start.
    lifts : ndarray, shape (M, N)
        [m].

    Attributes
    ----------
    ring, apart : ndarray, shape (W, 4, N)
        Sum and difference (wall less valve) of the radii [m].
    rise : ndarray, shape (W, 4, M, N)
        Height of the wall's corner over the valve's [m].
    square : ndarray, shape (W, 4, M, N)
        Of the line's length [m2].
    """

    def __init__(self, wall: Array, valve: Array, lifts: Array) -> None:
        self.wall, self.valve, self.lifts = wall, valve, lifts
        self.ring = wall[0][:, None] + valve[0]
        self.apart = wall[0][:, None] - valve[0]
        self.rise = (wall[1][:, None] - valve[1])[:, :, None] + lifts
        self.square = self.rise * self.rise
        self.square += (self.apart * self.apart)[:, :, None]


def note_corners(corners: Corners, value: Array, gap: Best, throat: Best) -> None:
    """Note the ends of the least lines between corners, found by value alone."""
    size = corners.lifts.size
    pairs = np.arange(value.shape[0] * value.shape[1]).reshape(value.shape[:2])
    for best, own in ((gap, pairs[:, :3].ravel()), (throat, np.concatenate([pairs[:, 2:].ravel(), pairs[-1, :2]]))):
        pair = own[np.argmin(value.reshape(-1, size)[own], axis=0)]
        case = np.arange(size)
        first, second = np.divmod(pair, value.shape[1])
        best.ends = np.stack(_ends(corners, first, second, case))


def _ends(corners: Corners, wall: Index, valve: Index, case: Index) -> tuple[Array, ...]:
    """Return r, z of wall corners and r, z of valve corners at their lift, each (K,) [m]."""
    design = case % corners.lifts.shape[1]
    height = corners.valve[1, valve, design] - corners.lifts.reshape(-1)[case]
    return corners.wall[0, wall, design], corners.wall[1, wall, design], corners.valve[0, valve, design], height


@dataclass(frozen=True)
class _Feet:
    """Lines from corners to straight parts, A x B pairs: wall corners x valve's parts, or wall's parts x valve corners.

    Parameters
    ----------
    starts, ends : tuple of slice
        Where `Corners` has the pairs of the corners with the starts and the ends of the parts.
    direction : tuple of ndarray, each broadcast with (A, B, N)
        Unit direction of the parts, r and z.
    length : ndarray, broadcast with (A, B, N)
        [m].
    sign : float
        1 where the parts are the wall's, -1 where they are the valve's.
    gap_only, throat_only, both : tuple of slice
        Which pairs belong to which passage.
    """

    starts: tuple[slice, slice]
    ends: tuple[slice, slice]
    direction: Array
    length: Array
    sign: float
    gap_only: tuple[slice, slice]
    throat_only: tuple[slice, slice]
    both: tuple[slice, slice]


_ALL = slice(None)


def _feet_on_the_valve(corners: Corners) -> _Feet:
    """Return the lines from wall corners to face and back cut, the throat's corner last, and to the under-head cone."""
    direction, length = _parts(corners.valve)
    return _Feet(
        starts=(_ALL, slice(0, 3)),
        ends=(_ALL, slice(1, 4)),
        direction=direction[:, None],
        length=length,
        sign=-1.0,
        gap_only=(slice(0, -1), slice(0, 2)),
        throat_only=(_ALL, slice(2, 3)),
        both=(slice(-1, None), slice(0, 2)),
    )


def _feet_on_the_wall(corners: Corners) -> _Feet:
    """Return the lines from valve corners to top cut, seat band, bottom cuts and cone to the throat."""
    direction, length = _parts(corners.wall)
    return _Feet(
        starts=(slice(0, -1), _ALL),
        ends=(slice(1, None), _ALL),
        direction=direction[:, :, None],
        length=length[:, None],
        sign=1.0,
        gap_only=(_ALL, slice(0, 2)),
        throat_only=(_ALL, slice(3, 4)),
        both=(_ALL, slice(2, 3)),
    )


def _parts(corners: Array) -> tuple[Array, Array]:
    """Return unit directions (2, K, N) and lengths (K, N) of the parts between corners (2, K + 1, N)."""
    steps = np.diff(corners, axis=1)
    lengths = np.hypot(steps[0], steps[1])
    return steps / np.where(lengths > 0.0, lengths, 1.0), lengths


def _possible_feet(corners: Corners, feet: _Feet, gap: Best, throat: Best) -> Mask:
    """Return where a foot may lie inside its part and make a line less than the best so far, (A, B, M, N).

    With the names of `foot_on_line`, and from the part's start at t = 0 to its end at t = l:

    - The derivative v_r c + R0 b at the start is negative.
    - All these parts run toward the axis, v_r <= 0, so that at the foot b + t = -v_r distance^2 / R >= 0. Hence
      b + l > 0: the point stands before the part's end.
    - No line to the part is less than its smaller ring times the distance |v_r dz - v_z dr| from the endless line.
    """
    along_r, along_z = feet.direction
    ring, apart = corners.ring[feet.starts], corners.apart[feet.starts]
    rise = corners.rise[feet.starts]
    # Each is a product with the line's height or length, and what no lift changes.
    slope = corners.square[feet.starts] * along_r[:, :, None]
    term = rise * (feet.sign * ring * along_z)[:, :, None]
    slope += term
    slope += (feet.sign * ring * along_r * apart)[:, :, None]
    possible = slope < 0.0

    np.multiply(corners.rise[feet.ends], (feet.sign * along_z)[:, :, None], out=term)
    possible &= term > (-feet.sign * along_r * corners.apart[feet.ends])[:, :, None]

    small = np.minimum(ring, corners.ring[feet.ends])
    bound = np.multiply(rise, (small * along_r)[:, :, None], out=term)
    bound -= (small * along_z * apart)[:, :, None]
    np.abs(bound, out=bound)
    least_gap, least_throat = np.sqrt(gap.value), np.sqrt(throat.value)
    possible[feet.gap_only] &= bound[feet.gap_only] < least_gap
    possible[feet.throat_only] &= bound[feet.throat_only] < least_throat
    possible[feet.both] &= bound[feet.both] < np.maximum(least_gap, least_throat)
    return np.asarray(possible)


def offer_feet(corners: Corners, gap: Best, throat: Best) -> None:
    """Offer the lines from corners to feet inside straight parts."""
    for feet in (_feet_on_the_valve(corners), _feet_on_the_wall(corners)):
        _offer_feet(corners, feet, gap, throat)


def _offer_feet(corners: Corners, feet: _Feet, gap: Best, throat: Best) -> None:
    possible = _possible_feet(corners, feet, gap, throat)
    pair, case = np.divmod(np.flatnonzero(possible), corners.lifts.size)
    first, second = np.divmod(pair, possible.shape[1])
    design = case % corners.lifts.shape[1]
    shape = *possible.shape[:2], possible.shape[3]
    at = pair * shape[2] + design

    def of(each: Array) -> Array:
        return np.asarray(np.broadcast_to(each, shape).reshape(-1)[at])

    ring, along_r, along_z = of(corners.ring[feet.starts]), of(feet.direction[0]), of(feet.direction[1])
    dr = feet.sign * of(corners.apart[feet.starts])
    # Starts are the first corners of either side, so that first and second are also the corners' own numbers.
    start = (first * corners.ring.shape[1] + second) * corners.lifts.size + case
    dz = feet.sign * corners.rise.reshape(-1)[start]
    along = _along(ring, dr, dz, along_r, along_z, of(feet.length))
    step_r, step_z = along * along_r, along * along_z
    value = (ring + step_r) ** 2 * ((dr + step_r) ** 2 + (dz + step_z) ** 2)
    for best, other in ((gap, feet.throat_only), (throat, feet.gap_only)):
        mine = np.ones(shape[:2], dtype=bool)
        mine[other] = False
        own = np.flatnonzero(mine.reshape(-1)[pair])
        ends: tuple[Array, ...] = ()
        if best.ends is not None:
            wall_r, wall_z, valve_r, valve_z = _ends(corners, first[own], second[own], case[own])
            if feet.sign > 0.0:
                ends = wall_r + step_r[own], wall_z + step_z[own], valve_r, valve_z
            else:
                ends = wall_r, wall_z, valve_r + step_r[own], valve_z + step_z[own]
        best.offer(case[own], value[own], ends)


def foot_on_line(point: Array, start: Array, direction: Array, length: Array) -> Array:
    """Return how far along straight parts [m] the least frustum from given points ends.

    Parameters
    ----------
    point, start, direction : ndarray, shape (..., 2)
        The fixed end (r, z) [m], the part's start [m] and its unit direction.
    length : ndarray
        Of the part [m].

    Notes
    -----
    With t along the part, ring R = R0 + t v_r and distance^2 = c + 2 b t + t^2, the area's
    derivative is zero where 2 v_r t^2 + (3 b v_r + R0) t + (v_r c + R0 b) = 0; it rises through
    zero at the root with the positive square root, which is the minimum. The root is clipped to the
    part; where the derivative has no zero, the start is returned.
    """
    dr, dz = start[..., 0] - point[..., 0], start[..., 1] - point[..., 1]
    return _along(start[..., 0] + point[..., 0], dr, dz, direction[..., 0], direction[..., 1], length)


def _along(ring: Array, dr: Array, dz: Array, vr: Array, vz: Array, length: Array) -> Array:
    """Return `foot_on_line` of a start at dr, dz from the point, with a ring there, and a direction vr, vz."""
    b = vr * dr + vz * dz
    linear = 3.0 * b * vr + ring
    constant = vr * (dr * dr + dz * dz) + ring * b
    root = linear * linear - 8.0 * vr * constant
    exists = root >= 0.0
    root = np.sqrt(np.maximum(root, 0.0))
    # The form without cancellation for either sign of the linear term.
    rising = linear >= 0.0
    above = np.where(rising, -2.0 * constant, root - linear)
    below = np.where(rising, linear + root, 4.0 * vr)
    usable = exists & (below != 0.0)
    along = np.divide(above, below, out=np.zeros_like(above), where=usable)
    return np.asarray(np.clip(along, 0.0, length))
