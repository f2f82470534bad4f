"""The least passages between two revolved profiles, exact and for many designs and lifts at once.

A line from a point of the wall to a point of the valve, turned about the axis, is a conical frustum
of lateral area pi (r1 + r2) x length. The least of them over all lines is the passage.

Why corners are enough for straight parts: move both ends of a line that stands inside two straight
parts so that it keeps its direction. The area is then a parabola in the step, and where the line is
stationary that parabola opens downward, so no least line has both ends inside straight parts. One
end is a corner, and the other is a corner or the foot found from a quadratic. Only the valve's
fillet, an arc, needs iteration: see `portviz.geometry.fillet`.

Which lines need not be looked at. Write (rq, zq) for the wall's end, (rx, zx) for the valve's, T for
the throat's corner, rt and rs for the radii of throat and stem. Both profiles only rise toward the
axis, and the closed valve, hence also the open one, stands clear of the wall.

1. To the stem only the level line counts, a ring of pi (rt^2 - rs^2): any other has
   (rq + rs) length >= rq^2 - rs^2 >= rt^2 - rs^2.
2. A line that climbs from the wall (zq < zx) need not be looked at: at the height zx the wall has a
   point nearer the axis, and the level line there has rq'^2 - rx^2 <= rq^2 - rx^2 <= (rq + rx) length.
   Where zx is above T, the line from T is shorter and its ring no larger. Either belongs to the same
   passage, gap or throat, as the line that climbs.
3. On the throat only T counts. A level line from above T to the valve has rt^2 - rx^2, which only falls
   as the line is lowered and rx grows, until it stands at T; any other line is longer than the level
   one, or than that from T, with the same ring.
4. On the margin only the face's outer edge counts, which is never above T. By rule 2 the wall's end is
   no lower than the valve's. Is it above the edge, the edge is nearer; if not, raise a level line to
   the edge's height: rq falls and rx stays.

What is left: the wall's corners but the far end, the valve's from the face's outer edge to the fillet's
start, the straight parts between them, the arc, and the ring round the stem.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Generator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from portviz.geometry.dimensions import Array, Mask
from portviz.geometry.fillet import fillet_lines
from portviz.geometry.profiles import Profiles
from portviz.geometry.straight import Best, Corners, note_corners, offer_feet
from portviz.geometry.straight import foot_on_line as foot_on_line

#: Pairs of corners held at once while designs are worked off in chunks: some 10 MB a thread.
_CHUNK = 240_000
#: Fewer chunks than this are not worth the start of threads.
_FEW_CHUNKS = 2
#: More threads than this wait for one another, and each holds a chunk.
_MOST_THREADS = 8
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


def least_passages(
    profiles: Profiles,
    lifts: npt.ArrayLike,
    *,
    lines: bool = False,
    progress: Callable[[int], None] | None = None,
) -> Passages:
    """Return the least gap and throat passages.

    Parameters
    ----------
    profiles : Profiles
        Of N designs, as `build_profiles` makes them: the closed valve stands clear of the wall.
    lifts : array_like, shape (M,) or (N, M)
        [m], not negative.
    lines : bool
        Also return the end points of the least lines.
    progress : callable, optional
        Called with the number of designs done after each chunk of them, by the calling thread.

    Returns
    -------
    Passages

    Notes
    -----
    Areas are exact to rounding, those on the fillet far below 1e-9 relative. Designs and lifts are
    worked off in chunks, by threads where there are many: memory stays bounded, results do not depend
    on the number of threads, and an interruption stops it after the chunks at work.
    """
    lifts = np.atleast_1d(np.asarray(lifts, dtype=float))
    if lifts.ndim == 1:
        lifts = np.broadcast_to(lifts, (profiles.count, lifts.shape[0]))
    shape = lifts.shape
    gap, throat = np.full(shape, np.inf), np.full(shape, np.inf)
    gap_ends, throat_ends = (np.zeros((*shape, 2, 2)) if lines else None for _ in range(2))
    pairs = 4 * (profiles.wall.shape[1] - 1)
    columns = max(min(shape[1], _CHUNK // pairs), 1)
    step = max(_CHUNK // (columns * pairs), 1)

    def work(start: int) -> int:
        stop: int = min(start + step, shape[0])
        rows = slice(start, stop)
        designs = profiles.take(rows)
        for left in range(0, shape[1], columns):
            part = rows, slice(left, min(left + columns, shape[1]))
            for best, areas, ends in zip(
                _search(designs, lifts[part], lines), (gap, throat), (gap_ends, throat_ends), strict=True
            ):
                best.write(areas[part], None if ends is None else ends[part])
        return stop

    starts = range(0, shape[0], step)
    with closing(_worked_off(work, starts, parallel=len(starts) >= _FEW_CHUNKS)) as steps:
        for done in steps:
            if progress is not None:
                progress(done)
    return Passages(np.pi * np.sqrt(gap), np.pi * np.sqrt(throat), gap_ends, throat_ends)


def _worked_off(work: Callable[[int], int], starts: range, *, parallel: bool) -> Generator[int]:
    """Yield what `work` returns for each start, in order; numpy lets threads run side by side."""
    threads = min(os.cpu_count() or 1, _MOST_THREADS, len(starts)) if parallel else 1
    if threads < 2:
        yield from map(work, starts)
        return
    with ThreadPoolExecutor(threads) as pool:
        try:
            yield from pool.map(work, starts)
        finally:
            # After an interruption nothing that has not begun is begun.
            pool.shutdown(wait=False, cancel_futures=True)


def _search(profiles: Profiles, lifts: Array, lines: bool) -> tuple[Best, Best]:
    """Return the least gaps and throats of N designs at lifts (N, M)."""
    wall, valve = np.moveaxis(profiles.wall, 0, -1).swapaxes(0, 1), np.moveaxis(profiles.valve, 0, -1).swapaxes(0, 1)
    wall, valve, at_lifts = (np.ascontiguousarray(each) for each in (wall[:, :-1], valve[:, 1:6], lifts.T))
    corners = Corners(wall, valve[:, :4], at_lifts)
    value = corners.square * (corners.ring * corners.ring)[:, :, None]
    gap = Best(np.min(value[:, :3], axis=(0, 1)), lines)
    throat = Best(np.minimum(np.min(value[:, 2:], axis=(0, 1)), np.min(value[-1, :2], axis=0)), lines)
    if lines:
        note_corners(corners, value, gap, throat)
    _offer_the_ring_round_the_stem(corners, valve[:, 4], throat)
    offer_feet(corners, gap, throat)
    if np.any(profiles.fillet_radius > 0.0):
        found = fillet_lines(profiles, corners.rise[:, 3], corners.apart[:, 3], throat.value)
        throat.offer(found.case, found.value, found.ends)
    return gap, throat


def _offer_the_ring_round_the_stem(corners: Corners, stem: Array, throat: Best) -> None:
    """Offer the level line between throat and stem, (2, N), which both go on for ever, at any lift."""
    wall, value = corners.wall[:, -1], throat.value
    height = np.maximum(wall[1], stem[1] - corners.lifts)
    points = [np.stack([np.broadcast_to(each[0], value.shape), height], axis=-1) for each in (wall, stem)]
    ends = tuple(points[side][..., axis].ravel() for side in (0, 1) for axis in (0, 1))
    throat.offer(np.arange(value.size), _squared(*points).ravel(), ends)


def _squared(wall: Array, valve: Array) -> Array:
    """Return (area / pi) squared of frusta between points (..., 2) [m]."""
    ring = wall[..., 0] + valve[..., 0]
    dr = wall[..., 0] - valve[..., 0]
    dz = wall[..., 1] - valve[..., 1]
    return np.asarray(ring * ring * (dr * dr + dz * dz))
