"""Profiles turned about the valve's axis: points and faces, ready for any mesh library.

Axes are right-handed: x points at station 0, z from the head into the port. Stations count
anticlockwise as seen from the cylinder, looking along +z, which is the negative sense about z: the
station at angle a lies at (r cos a, -r sin a, z).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from portviz.geometry.dimensions import Array
from portviz.geometry.profiles import Profiles

#: Points on the fillet of a drawn valve.
FILLET_POINTS = 25


@dataclass(frozen=True)
class Surface:
    """A surface of quadrilaterals and triangles.

    Parameters
    ----------
    points : ndarray, shape (P, 3)
        [m].
    quads : ndarray of int, shape (Q, 4)
        Corners, anticlockwise seen from outside.
    triangles : ndarray of int, shape (T, 3)
        Corners, anticlockwise seen from outside.
    """

    points: Array
    quads: npt.NDArray[np.intp]
    triangles: npt.NDArray[np.intp]

    @property
    def all_triangles(self) -> npt.NDArray[np.intp]:
        """All faces as triangles, each quadrilateral cut along a diagonal; shape (2 Q + T, 3)."""
        return np.concatenate([self.quads[:, [0, 1, 2]], self.quads[:, [0, 2, 3]], self.triangles])


def on_circle(r: npt.ArrayLike, z: npt.ArrayLike, angle_deg: npt.ArrayLike) -> Array:
    """Return points (..., 3) [m] at radius [m], height [m] and station angle [deg], broadcast."""
    r, z, angle = np.broadcast_arrays(
        np.asarray(r, dtype=float), np.asarray(z, dtype=float), np.radians(np.asarray(angle_deg, dtype=float))
    )
    return np.stack([r * np.cos(angle), -r * np.sin(angle), z], axis=-1)


def revolved_line(start: Array, end: Array, angles_deg: Array, across: int = 2) -> Surface:
    """Return the frustum that a straight line sweeps: a grid of points, angle by angle.

    Parameters
    ----------
    start, end : ndarray, shape (2,)
        Ends (r, z) [m].
    angles_deg : ndarray, shape (A,)
        Station angles [deg]; the last may repeat the first a full turn on, which leaves a seam.
    across : int
        Points along the line, both ends counted.

    Returns
    -------
    Surface
        Points in the order (angle, along the line), shape (A * across, 3); quads between neighbours.
    """
    along = np.linspace(0.0, 1.0, across)[None, :, None]
    line = start + (end - start) * along
    points = on_circle(line[..., 0], line[..., 1], np.asarray(angles_deg)[:, None])
    return Surface(points.reshape(-1, 3), _grid_quads(len(angles_deg), across), np.empty((0, 3), dtype=np.intp))


def _grid_quads(rows: int, columns: int) -> npt.NDArray[np.intp]:
    index = np.arange(rows * columns, dtype=np.intp).reshape(rows, columns)
    corners = (index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1])
    return np.stack(corners, axis=-1).reshape(-1, 4)


def revolved_solid(
    front: Array, back: Array, *, count: int = 180, start_deg: float = 0.0, stop_deg: float = 360.0
) -> Surface:
    """Return a closed solid of revolution, whole or a slice with flat ends.

    Parameters
    ----------
    front, back : ndarray, shape (K, 2)
        Two chains of corners (r, z) [m] whose rungs front[k] to back[k] cut the profile into a strip
        of quadrilaterals; corners on the axis have r = 0. Along `front` the metal lies to the right
        in the (r, z) plane.
    count : int
        Steps round the axis.
    start_deg, stop_deg : float
        Range of station angles [deg]; a full turn makes a closed ring.

    Returns
    -------
    Surface
        Watertight, faces turned outward. Corners on the axis are single points.
    """
    loop = np.concatenate([front, back[::-1]])
    full = abs(stop_deg - start_deg - 360.0) < 1e-9
    angles = np.linspace(start_deg, stop_deg, count + 1)[: count if full else None]
    rows, corners = len(angles), len(loop)
    on_axis = loop[:, 0] <= 0.0
    points = on_circle(loop[:, 0], loop[:, 1], angles[:, None]).reshape(-1, 3)
    number = np.arange(rows * corners).reshape(rows, corners)
    number[:, on_axis] = number[0, on_axis]

    around = np.append(np.arange(rows), 0) if full else np.arange(rows)
    after = np.append(np.arange(1, corners), 0)
    this, following = number[around[:-1]], number[around[1:]]
    faces = np.stack([this, this[:, after], following[:, after], following], axis=-1).reshape(-1, 4)
    if not full:
        rung = np.arange(len(front) - 1)
        other = corners - 1 - rung
        cap = np.stack([rung, rung + 1, other - 1, other], axis=-1)
        faces = np.concatenate([faces, number[0][cap[:, ::-1]], number[-1][cap]])
    return _tidy(points, faces)


def _tidy(points: Array, faces: npt.NDArray[np.intp]) -> Surface:
    """Merge coincident points and corners, drop faces that have become lines, sort the rest by corners."""
    key = np.round(points / 1e-10).astype(np.int64)
    _, first, place = np.unique(key, axis=0, return_index=True, return_inverse=True)
    faces = place.reshape(-1)[faces]
    points = points[first]
    same = faces == np.roll(faces, -1, axis=1)
    repeats = same.sum(axis=1)
    quads = faces[repeats == 0]
    # A quad whose opposite corners meet has folded to a line.
    folded = (quads[:, 0] == quads[:, 2]) | (quads[:, 1] == quads[:, 3])
    quads = quads[~folded]
    once, where = faces[repeats == 1], np.argmax(same[repeats == 1], axis=1)
    keep = (where[:, None] + np.array([1, 2, 3])) % 4
    triangles = np.take_along_axis(once, keep, axis=1)
    distinct = (
        (triangles[:, 0] != triangles[:, 1])
        & (triangles[:, 1] != triangles[:, 2])
        & (triangles[:, 2] != triangles[:, 0])
    )
    return Surface(points, quads, triangles[distinct])


def revolved_volume(front: Array, back: Array) -> float:
    """Return the exact volume [m3] of a full solid of revolution between two chains (r, z) [m].

    Pappus, summed over the closed polygon: V = pi / 3 |sum (r1^2 + r1 r2 + r2^2) (z2 - z1)|.
    """
    loop = np.concatenate([front, back[::-1]])
    following = np.roll(loop, -1, axis=0)
    r1, r2 = loop[:, 0], following[:, 0]
    return float(abs(np.pi / 3.0 * np.sum((r1 * r1 + r1 * r2 + r2 * r2) * (following[:, 1] - loop[:, 1]))))


def valve_chains(profiles: Profiles, design: int = 0, stem_top: float | None = None) -> tuple[Array, Array]:
    """Return the closed valve's front (its surface) and back (the axis) for `revolved_solid`.

    Parameters
    ----------
    profiles : Profiles
    design : int
        Which design.
    stem_top : float, optional
        Height of the stem's end [m]; by default two head radii above the fillet.
    """
    corners = profiles.valve[design]
    first, last = profiles.fillet_angles[design].tolist()
    angles = np.linspace(first, last, FILLET_POINTS)
    centre, radius = profiles.fillet_centre[design], profiles.fillet_radius[design]
    arc = centre + radius * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    fillet = arc if radius > 0.0 else corners[4:5]
    top = corners[5, 1] + 2.0 * corners[1, 0] if stem_top is None else stem_top
    surface = np.concatenate([corners[:4], fillet, [[corners[5, 0], top]]])
    axis = np.stack([np.zeros(len(surface)), surface[:, 1]], axis=1)
    return surface, axis


def wall_chains(
    profiles: Profiles, design: int = 0, *, outer_radius: float | None = None, port_top: float | None = None
) -> tuple[Array, Array]:
    """Return the head round the seat: front (cuts and throat) and back (an outer cylinder).

    Parameters
    ----------
    profiles : Profiles
    design : int
        Which design.
    outer_radius : float, optional
        [m]; by default a quarter more than the largest cut or the valve.
    port_top : float, optional
        Height to which the throat is drawn [m]; by default one throat radius above its corner.
    """
    corners = profiles.wall[design]
    top = corners[-2, 1] + corners[-2, 0] if port_top is None else port_top
    widest = max(corners[0, 0], profiles.valve[design, 0, 0])
    outer = 1.25 * widest if outer_radius is None else outer_radius
    front = np.concatenate([corners[:-1], [[corners[-1, 0], top]]])[::-1]
    back = np.stack([np.full(len(front), outer), front[:, 1]], axis=1)
    return front, back
