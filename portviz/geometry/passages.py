"""The least passages between two revolved profiles, exact and for many designs and lifts at once.

A line from a point of the wall to a point of the valve, turned about the axis, is a conical frustum
of lateral area pi (r1 + r2) x length. The least of them over all lines is the passage.

Why corners are enough for straight parts: move both ends of a line that stands inside two straight
parts so that it keeps its direction. The area is then a parabola in the step, and where the line is
stationary that parabola opens downward, so no least line has both ends inside straight parts. One
end is a corner, and the other is a corner or the foot found from a quadratic. Only the valve's
fillet, an arc, needs iteration: every sign change of the derivative along it is bisected.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from portviz.geometry.dimensions import Array, Mask
from portviz.geometry.profiles import Profiles

#: Places along the fillet at which its derivative is looked at before bisection.
_ARC_PLACES = 33
#: Halvings of a stretch of the fillet; the area is flat at its least, so 1e-8 in place is 1e-16 in area.
_ARC_HALVINGS = 26
#: So many angles of the fillet are looked at in one call; more in a loop, to keep memory low.
_AT_ONCE = 20_000
#: Candidates held at once while designs are worked off in chunks.
_CHUNK = 200_000
#: Passages nearer than this, relative, are the same: a shared corner, which counts as the gap's.
TIE = 1e-9


@dataclass(frozen=True)
class Passages:
    """Least passages of N designs at M lifts.

    Parameters
    ----------
    gap_area : ndarray, shape (N, M)
        Least area between seat cuts and valve face [m2].
    throat_area : ndarray, shape (N, M)
        Least area over all other pairs of parts [m2].
    gap_line, throat_line : ndarray, shape (N, M, 2, 2), or None
        The end points on the wall and on the valve, (r, z) [m], with the valve at its lift.
    """

    gap_area: Array
    throat_area: Array
    gap_line: Array | None
    throat_line: Array | None

    @property
    def flow_area(self) -> Array:
        """The smaller of gap and throat [m2], shape (N, M)."""
        return np.minimum(self.gap_area, self.throat_area)

    @property
    def limited_by_gap(self) -> Mask:
        """True where the gap is the smaller or ties, shape (N, M)."""
        return self.gap_area <= self.throat_area * (1.0 + TIE)


def least_passages(profiles: Profiles, lifts: npt.ArrayLike, *, lines: bool = False) -> Passages:
    """Return the least gap and throat passages.

    Parameters
    ----------
    profiles : Profiles
        Of N designs.
    lifts : array_like, shape (M,) or (N, M)
        [m], not negative.
    lines : bool
        Also return the end points of the least lines.

    Returns
    -------
    Passages

    Notes
    -----
    Areas are exact to rounding for straight parts, and converged far below 1e-9 relative on the
    fillet. Memory stays bounded: designs and lifts are worked off in chunks.
    """
    lifts = np.atleast_1d(np.asarray(lifts, dtype=float))
    if lifts.ndim == 1:
        lifts = np.broadcast_to(lifts, (profiles.count, lifts.shape[0]))
    shape = lifts.shape
    gap, throat = _Best(shape, lines), _Best(shape, lines)
    wall_count = profiles.wall.shape[1]
    pairs = wall_count * 7
    columns = max(min(shape[1], _CHUNK // pairs), 1)
    step = max(_CHUNK // (columns * pairs), 1)
    for start in range(0, shape[0], step):
        rows = slice(start, min(start + step, shape[0]))
        designs = profiles.take(rows)
        for left in range(0, shape[1], columns):
            part = rows, slice(left, min(left + columns, shape[1]))
            _Chunk(designs, lifts[part]).search(gap.view(part), throat.view(part))
    return Passages(np.pi * np.sqrt(gap.value), np.pi * np.sqrt(throat.value), gap.ends, throat.ends)


class _Best:
    """The least frustum so far of each design and lift: (area / pi) squared, and its ends if wanted."""

    def __init__(self, shape: tuple[int, ...], lines: bool) -> None:
        self.value = np.full(shape, np.inf)
        self.ends = np.zeros((*shape, 2, 2)) if lines else None

    def view(self, place: tuple[slice, slice]) -> _Best:
        part = object.__new__(_Best)
        part.value = self.value[place]
        part.ends = None if self.ends is None else self.ends[place]
        return part

    def offer(self, value: Array, wall: Array, valve: Array) -> None:
        """Keep the least candidate of each design and lift where it is better.

        Parameters
        ----------
        value : ndarray, shape (N, M, A, B)
            (Area / pi) squared of A x B candidates.
        wall, valve : ndarray
            Their ends, broadcast with (N, M, A, B, 2).
        """
        flat = value.reshape(*value.shape[:2], -1)
        if self.ends is None:
            np.minimum(self.value, flat.min(axis=-1), out=self.value)
            return
        place = np.argmin(flat, axis=-1)
        least = np.take_along_axis(flat, place[..., None], axis=-1)[..., 0]
        rows, lifts = np.nonzero(least < self.value)
        first, second = np.unravel_index(place[rows, lifts], value.shape[2:])
        self.value[rows, lifts] = least[rows, lifts]
        for end, points in enumerate((wall, valve)):
            chosen = np.broadcast_to(points, (*value.shape, 2))[rows, lifts, first, second]
            self.ends[rows, lifts, end] = chosen


def _squared(wall: Array, valve: Array) -> Array:
    """Return (area / pi) squared of frusta between points (..., 2) [m]."""
    ring = wall[..., 0] + valve[..., 0]
    dr = wall[..., 0] - valve[..., 0]
    dz = wall[..., 1] - valve[..., 1]
    return np.asarray(ring * ring * (dr * dr + dz * dz))


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
    vr, vz = direction[..., 0], direction[..., 1]
    ring = start[..., 0] + point[..., 0]
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


def _parts(corners: Array) -> tuple[Array, Array, Array]:
    """Return starts, unit directions (..., K, 2) and lengths (..., K) of the parts between corners."""
    starts = corners[..., :-1, :]
    steps = corners[..., 1:, :] - starts
    lengths = np.hypot(steps[..., 0], steps[..., 1])
    safe = np.where(lengths > 0.0, lengths, 1.0)
    return starts, steps / safe[..., None], lengths


class _Chunk:
    """A few designs at all their lifts."""

    def __init__(self, profiles: Profiles, lifts: Array) -> None:
        self.profiles = profiles
        self.wall = profiles.wall[:, None]  # (N, 1, W, 2)
        self.valve = np.repeat(profiles.valve[:, None], lifts.shape[1], axis=1)  # (N, M, 7, 2)
        self.valve[..., 1] -= lifts[..., None]
        self.centre = np.repeat(profiles.fillet_centre[:, None], lifts.shape[1], axis=1)
        self.centre[..., 1] -= lifts
        self.wall_parts = _parts(self.wall)
        self.valve_parts = _parts(self.valve)

    def search(self, gap: _Best, throat: _Best) -> None:
        """Offer every candidate to the passages that it belongs to.

        Wall corners 0 .. W-2 lie on the cuts, W-2 and W-1 on the throat; valve corners 0 .. 3 lie on
        margin, face and back cut, 3 .. 6 on under-head cone, fillet and stem.
        """
        corners = self.wall.shape[2]
        cuts, cylinder = slice(0, corners - 1), slice(corners - 2, corners)
        near, far = slice(0, 4), slice(3, 7)
        every = slice(None)
        # The parts between corners: cuts 0 .. W-3, throat W-2; margin, face, back cut 0 .. 2,
        # under-head cone 3, (fillet's chord 4, left to the arc), stem 5.
        cut_parts, cylinder_part = slice(0, corners - 2), slice(corners - 2, corners - 1)
        near_parts = [0, 1, 2]
        far_parts, straight_parts = [3, 5], [0, 1, 2, 3, 5]
        for best, wall, valve in (
            (gap, cuts, near),
            (throat, cylinder, every),
            (throat, cuts, far),
        ):
            best.offer(*self._corner_to_corner(wall, valve))
        for best, wall, parts in (
            (gap, cuts, near_parts),
            (throat, cylinder, straight_parts),
            (throat, cuts, far_parts),
        ):
            best.offer(*self._corner_to_valve_part(wall, parts))
        for best, part, valve in (
            (gap, cut_parts, near),
            (throat, cylinder_part, every),
            (throat, cut_parts, far),
        ):
            best.offer(*self._wall_part_to_corner(part, valve))
        throat.offer(*self._ring_round_the_stem())
        if np.any(self.profiles.fillet_radius > 0.0):
            self._search_fillet(throat)

    def _ring_round_the_stem(self) -> tuple[Array, Array, Array]:
        """Return the level line between throat and stem, which both go on for ever, at any lift."""
        wall, valve = self.wall[:, :, -2], self.valve[:, :, 5]
        height = np.maximum(wall[..., 1], valve[..., 1])

        def end(corner: Array) -> Array:
            return np.stack([np.broadcast_to(corner[..., 0], height.shape), height], axis=-1)[:, :, None, None]

        return _squared(end(wall), end(valve)), end(wall), end(valve)

    def _corner_to_corner(self, wall: slice, valve: slice) -> tuple[Array, Array, Array]:
        ends = self.wall[:, :, wall, None, :], self.valve[:, :, None, valve, :]
        return _squared(*ends), *ends

    def _corner_to_valve_part(self, wall: slice, parts: list[int]) -> tuple[Array, Array, Array]:
        start, direction, length = (each[:, :, None][:, :, :, parts] for each in self.valve_parts)
        corner = self.wall[:, :, wall, None, :]
        along = foot_on_line(corner, start, direction, length)
        foot = start + along[..., None] * direction
        return _squared(corner, foot), corner, foot

    def _wall_part_to_corner(self, part: slice, valve: slice) -> tuple[Array, Array, Array]:
        start, direction, length = (each[:, :, part, None] for each in self.wall_parts)
        corner = self.valve[:, :, None, valve, :]
        along = foot_on_line(corner, start, direction, length)
        foot = start + along[..., None] * direction
        return _squared(foot, corner), foot, corner

    def _search_fillet(self, throat: _Best) -> None:
        """Offer the least lines from every wall part to the fillet.

        For a point of the arc the best foot on a wall part is closed-form, so that one angle is left.
        """
        shape = (*throat.value.shape, self.wall_parts[0].shape[2])
        first, last = self.profiles.fillet_angles.T
        steps = np.linspace(0.0, 1.0, _ARC_PLACES)
        angles = first[:, None] + (last - first)[:, None] * steps  # (N, P)
        flat = [np.broadcast_to(each, (*shape, 2)).reshape(-1, 2) for each in self.wall_parts[:2]]
        starts, directions = flat
        lengths = np.broadcast_to(self.wall_parts[2], shape).ravel()
        centre = np.broadcast_to(self.centre[:, :, None], (*shape, 2)).reshape(-1, 2)
        radius = np.broadcast_to(self.profiles.fillet_radius[:, None, None], shape).ravel()
        design = np.broadcast_to(np.arange(shape[0])[:, None, None], shape).ravel()

        at_angles = angles.T[:, design]  # (P, K)
        parts = (centre, radius, starts, directions, lengths)
        if at_angles.size <= _AT_ONCE:
            tiled = [np.concatenate([part] * len(at_angles)) for part in parts]
            slopes = _arc_frustum(at_angles.ravel(), *tiled)[1].reshape(at_angles.shape).T
        else:
            slopes = np.stack([_arc_frustum(angle, *parts)[1] for angle in at_angles], axis=1)
        # A least place: the area falls before it and rises behind it (the arc runs with falling angle).
        line, place = np.nonzero((slopes[:, :-1] > 0.0) & (slopes[:, 1:] <= 0.0))
        if line.size == 0:
            return
        low, high = angles[design[line], place], angles[design[line], place + 1]
        chosen = (centre[line], radius[line], starts[line], directions[line], lengths[line])
        for _ in range(_ARC_HALVINGS):
            middle = 0.5 * (low + high)
            falling = _arc_frustum(middle, *chosen)[1] > 0.0
            low, high = np.where(falling, middle, low), np.where(falling, high, middle)
        value, _, foot, point = _arc_frustum(0.5 * (low + high), *chosen)
        rows = line // shape[2]
        # Several least places may belong to one design and lift: the last write must be the least.
        order = np.argsort(-value, kind="stable")
        rows, value = rows[order], value[order]
        least = np.full(shape[0] * shape[1], np.inf)
        least[rows] = value
        ends = np.zeros((shape[0] * shape[1], 2, 2))
        ends[rows, 0], ends[rows, 1] = foot[order], point[order]
        grid = ends.reshape(*shape[:2], 1, 1, 2, 2)
        throat.offer(least.reshape(*shape[:2], 1, 1), grid[..., 0, :], grid[..., 1, :])


def _arc_frustum(
    angle: Array, centre: Array, radius: Array, start: Array, direction: Array, length: Array
) -> tuple[Array, Array, Array, Array]:
    """Return (area / pi)^2, its slope over the angle (up to a positive factor), wall foot and arc point.

    All arrays have one leading axis. The wall end is the best one of its part, so that the slope is
    that of the arc's end alone.
    """
    unit = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    point = centre + radius[:, None] * unit
    along = foot_on_line(point, start, direction, length)
    feet = np.stack([along, np.zeros_like(along), length])
    values = np.stack([_squared(start + each[:, None] * direction, point) for each in feet])
    best = np.argmin(values, axis=0)
    row = np.arange(len(best))
    foot = start + feet[best, row][:, None] * direction
    ring = foot[:, 0] + point[:, 0]
    apart = point - foot
    tangent_r, tangent_z = -unit[:, 1], unit[:, 0]
    slope = tangent_r * np.sum(apart**2, axis=1) + ring * (apart[:, 0] * tangent_r + apart[:, 1] * tangent_z)
    return values[best, row], slope, foot, point
