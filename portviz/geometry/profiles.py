"""Wall and valve as profiles in the half plane (r, z), the valve at its rest position.

z runs along the stem, positive from the head into the port; z = 0 is the plane of the seat band's
outer edge. A profile is a chain of straight parts, but for the valve's fillet, a circular arc.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from portviz.errors import GeometryError
from portviz.geometry.dimensions import (
    LENGTH_TOLERANCE,
    Array,
    Dimensions,
    LengthText,
    Mask,
    broken_rules,
    check_dimensions,
    in_millimetres,
)

#: Angle of the cone between seat and throat where there is no bottom cut [rad].
PLAIN_THROAT_ANGLE = np.pi / 3.0

VALVE_PARTS = ("margin", "face", "back cut", "under-head cone", "fillet", "stem")


@dataclass(frozen=True)
class Profiles:
    """Profiles of N designs.

    Parameters
    ----------
    wall : ndarray, shape (N, C + 5, 2)
        Corners (r, z) [m] from the chamber to the port: top cut's outer edge, seat band's outer and
        inner edge, the end of each of the C bottom cuts, the throat's corner, the throat's far end.
        A part that is missing or trimmed away has no length.
    valve : ndarray, shape (N, 7, 2)
        Corners (r, z) [m] of the closed valve: margin's lower edge, face's outer and inner edge, back
        cut's inner edge, fillet's start on the under-head cone and end on the stem, stem's far end.
    fillet_centre : ndarray, shape (N, 2)
        [m], of the closed valve.
    fillet_radius : ndarray, shape (N,)
        [m].
    fillet_angles : ndarray, shape (N, 2)
        Polar angles [rad] of the fillet's start and end about its centre.
    cuts_trimmed : ndarray of bool, shape (N, C)
        True for a bottom cut that was shortened or left out at the throat.
    """

    wall: Array
    valve: Array
    fillet_centre: Array
    fillet_radius: Array
    fillet_angles: Array
    cuts_trimmed: Mask

    @property
    def count(self) -> int:
        """Number of designs."""
        return int(self.wall.shape[0])

    @property
    def bottom_cut_count(self) -> int:
        """Number of bottom cuts that each design has room for."""
        return int(self.wall.shape[1]) - 5

    @property
    def wall_parts(self) -> tuple[str, ...]:
        """Names of the parts between the wall's corners, from the chamber to the port."""
        cuts = (f"bottom cut {number + 1}" for number in range(self.bottom_cut_count))
        return ("top cut", "seat band", *cuts, "cone to the throat", "throat")

    def take(self, designs: slice | npt.NDArray[np.intp]) -> Profiles:
        """Return the designs at the given places."""
        return Profiles(**{name: getattr(self, name)[designs] for name in self.__dataclass_fields__})


def build_profiles(designs: Dimensions, length_text: LengthText = in_millimetres) -> Profiles:
    """Return the profiles of valve and seat, the valve closed.

    Parameters
    ----------
    designs : Dimensions
    length_text : callable
        Length [m] -> text, for messages.

    Returns
    -------
    Profiles

    Raises
    ------
    GeometryError
        If the dimensions break a rule, or the closed valve stands inside the wall.
    """
    check_dimensions(designs, length_text)
    profiles = _profiles(designs)
    places = closed_overlap(profiles)
    worst = int(np.argmax(places[3])) if profiles.count else -1
    if worst >= 0 and places[3][worst] > LENGTH_TOLERANCE:
        raise _standing_inside(profiles, places, worst, length_text)
    return profiles


def possible_profiles(
    designs: Dimensions, length_text: LengthText = in_millimetres
) -> tuple[Profiles, Mask, dict[int, str]]:
    """Return the profiles of those designs that make a valve and seat, and why the others do not.

    Returns
    -------
    profiles : Profiles
        Of the possible designs, in their order.
    possible : ndarray of bool, shape (N,)
    reasons : dict of int to str
        For each design that is not possible, by its place.
    """
    possible = np.ones(designs.count, dtype=bool)
    reasons: dict[int, str] = {}
    for rule, mask in broken_rules(designs):
        possible &= ~mask
        for place in np.flatnonzero(mask).tolist():
            reasons[place] = rule.message(designs.take(slice(place, place + 1)), length_text)
    profiles = _profiles(designs.take(np.flatnonzero(possible)))
    places = closed_overlap(profiles)
    inside = places[3] > LENGTH_TOLERANCE
    if inside.any():
        at = np.flatnonzero(possible)
        for place in np.flatnonzero(inside).tolist():
            reasons[int(at[place])] = _standing_inside(profiles, places, place, length_text).problem
        possible[at[inside]] = False
        profiles = profiles.take(np.flatnonzero(~inside))
    return profiles, possible, reasons


def _standing_inside(
    profiles: Profiles,
    places: tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], Array, Array],
    design: int,
    length_text: LengthText,
) -> GeometryError:
    part_wall, part_valve, place, depth = (each[design] for each in places)
    wall_name, valve_name = profiles.wall_parts[part_wall], VALVE_PARTS[part_valve]
    return GeometryError(
        f"the closed valve stands inside the wall: its {valve_name} is {length_text(float(depth))} inside "
        f"the {wall_name} at a diameter of {length_text(2.0 * float(place))}",
        (_WALL_KEYS.get(wall_name, "seat.bottom_cuts"), _VALVE_KEYS[valve_name]),
        "closed valve inside the wall",
    )


_WALL_KEYS = {"top cut": "seat.top_cut", "seat band": "seat.width", "throat": "seat.throat_diameter"}
_VALVE_KEYS = {
    "margin": "valve.margin",
    "face": "valve.face_angle",
    "back cut": "valve.back_cut",
    "under-head cone": "valve.underhead_angle",
    "fillet": "valve.fillet_radius",
    "stem": "valve.stem_diameter",
}


def _profiles(designs: Dimensions) -> Profiles:
    reach = 4.0 * (designs.head_radius + designs.seat_outer_radius)
    wall, trimmed = _wall_corners(designs, reach)
    valve = _valve_corners(designs, reach)
    # Set down on the seat: valve corners come with the face's outer edge at z = 0.
    rest = _rest_height(designs)
    valve[:, :, 1] += rest[:, None]
    radius = designs.fillet_radius
    end = valve[:, 5]
    centre = np.stack([designs.stem_radius + radius, end[:, 1]], axis=1)
    # From the centre the arc's start lies square to the under-head cone, its end toward the stem.
    start_angle = -np.pi / 2.0 - designs.underhead_angle
    angles = np.stack([start_angle, np.full_like(start_angle, -np.pi)], axis=1)
    return Profiles(wall, valve, centre, radius, angles, trimmed)


def _wall_corners(designs: Dimensions, reach: Array) -> tuple[Array, Mask]:
    count, cuts = designs.bottom_cut_angles.shape
    wall = np.zeros((count, cuts + 5, 2))
    outer, throat = designs.seat_outer_radius, designs.throat_radius
    wall[:, 0, 0] = outer + designs.top_cut_width * np.cos(designs.top_cut_angle)
    wall[:, 0, 1] = -designs.top_cut_width * np.sin(designs.top_cut_angle)
    wall[:, 1, 0] = outer
    wall[:, 2, 0] = designs.seat_inner_radius
    wall[:, 2, 1] = designs.seat_width * np.sin(designs.seat_angle)
    angle = np.full(count, PLAIN_THROAT_ANGLE)
    trimmed = np.zeros((count, cuts), dtype=bool)
    for cut in range(cuts):
        start = wall[:, 2 + cut]
        present = designs.bottom_cut_widths[:, cut] > 0.0
        angle = np.where(present, designs.bottom_cut_angles[:, cut], angle)
        width = designs.bottom_cut_widths[:, cut]
        room = np.maximum(start[:, 0] - throat, 0.0) / np.cos(angle)
        trimmed[:, cut] = present & (width > room + LENGTH_TOLERANCE)
        length = np.minimum(width, room)
        wall[:, 3 + cut, 0] = np.maximum(start[:, 0] - length * np.cos(angle), throat)
        wall[:, 3 + cut, 1] = start[:, 1] + length * np.sin(angle)
    last = wall[:, 2 + cuts]
    wall[:, 3 + cuts, 0] = throat
    wall[:, 3 + cuts, 1] = last[:, 1] + np.maximum(last[:, 0] - throat, 0.0) * np.tan(angle)
    wall[:, 4 + cuts, 0] = throat
    wall[:, 4 + cuts, 1] = wall[:, 3 + cuts, 1] + reach
    return wall, trimmed


def _valve_corners(designs: Dimensions, reach: Array) -> Array:
    valve = np.zeros((designs.count, 7, 2))
    stem, underhead = designs.stem_radius, designs.underhead_angle
    valve[:, 0, 0] = valve[:, 1, 0] = designs.head_radius
    valve[:, 0, 1] = -designs.margin
    valve[:, 2, 0] = designs.face_inner_radius
    valve[:, 2, 1] = designs.face_width * np.sin(designs.face_angle)
    valve[:, 3, 0] = designs.underhead_radius
    valve[:, 3, 1] = valve[:, 2, 1] + designs.back_cut_width * np.sin(designs.back_cut_angle)
    corner = valve[:, 3, 1] + (designs.underhead_radius - stem) * np.tan(underhead)
    tangent = designs.fillet_tangent
    valve[:, 4, 0] = np.minimum(stem + tangent * np.cos(underhead), designs.underhead_radius)
    valve[:, 4, 1] = corner - tangent * np.sin(underhead)
    valve[:, 5, 0] = valve[:, 6, 0] = stem
    valve[:, 5, 1] = corner + tangent
    valve[:, 6, 1] = valve[:, 5, 1] + reach
    return valve


def _rest_height(designs: Dimensions) -> Array:
    """Return the height [m] of the face's outer edge when the face first touches the seat, shape (N,).

    Both are straight where they overlap, so that they first touch at an end of the overlap: the
    outer one with a face flatter than the seat, the inner one with a steeper face.
    """
    outer = np.minimum(designs.head_radius, designs.seat_outer_radius)
    inner = np.maximum(designs.face_inner_radius, designs.seat_inner_radius)

    def room(radius: Array) -> Array:
        seat = (designs.seat_outer_radius - radius) * np.tan(designs.seat_angle)
        face = (designs.head_radius - radius) * np.tan(designs.face_angle)
        return np.asarray(seat - face)

    return np.minimum(room(outer), room(inner))


def closed_overlap(
    profiles: Profiles,
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], Array, Array]:
    """Return where the closed valve stands deepest inside the wall.

    Returns
    -------
    wall_part, valve_part : ndarray of int, shape (N,)
        The parts there, as places in `Profiles.wall_parts` and `VALVE_PARTS`.
    radius : ndarray, shape (N,)
        [m].
    depth : ndarray, shape (N,)
        Valve height over wall height there [m]; not positive where the valve is clear.

    Notes
    -----
    Both profiles only rise toward the axis, so that each is a height over the radius between its
    vertical parts. On each stretch between corners the difference is straight, or convex where the
    fillet curves, and is greatest at a corner.
    """
    wall, valve = profiles.wall[:, :-1], profiles.valve[:, 1:6]
    low = np.maximum(wall[:, -1, 0], valve[:, -1, 0])
    high = np.minimum(wall[:, 0, 0], valve[:, 0, 0])
    radii = np.concatenate([wall[:, :, 0], valve[:, :, 0], low[:, None], high[:, None]], axis=1)
    inside = (radii >= low[:, None]) & (radii <= high[:, None])
    wall_height, wall_part = _height(wall, radii)
    valve_height, valve_part = _height(valve, radii)
    centre, arc = profiles.fillet_centre, profiles.fillet_radius
    under_arc = valve_part == 3
    reach = np.sqrt(np.maximum(arc[:, None] ** 2 - (radii - centre[:, :1]) ** 2, 0.0))
    valve_height = np.where(under_arc & (arc[:, None] > 0.0), centre[:, 1:] - reach, valve_height)
    depth = np.where(inside, valve_height - wall_height, -np.inf)
    worst = np.argmax(depth, axis=1)
    row = np.arange(len(worst))
    return wall_part[row, worst], valve_part[row, worst] + 1, radii[row, worst], depth[row, worst]


def profile_heights(corners: Array, radii: Array) -> Array:
    """Return the heights [m] of falling profiles, corners (N, K, 2), at radii [m], both (N, R); -inf beside them."""
    return _height(corners, radii)[0]


def _height(corners: Array, radii: Array) -> tuple[Array, npt.NDArray[np.intp]]:
    """Return height [m] and part number of a falling profile at radii [m], both shape (N, R)."""
    height = np.full(radii.shape, -np.inf)
    part = np.zeros(radii.shape, dtype=np.intp)
    for index in range(corners.shape[1] - 1):
        (r0, z0), (r1, z1) = corners[:, index].T, corners[:, index + 1].T
        span = r0 - r1
        inside = (radii <= r0[:, None]) & (radii >= r1[:, None]) & (span[:, None] > 0.0)
        slope = np.divide(z1 - z0, span, out=np.zeros_like(span), where=span > 0.0)
        here = z0[:, None] + (r0[:, None] - radii) * slope[:, None]
        better = inside & (here > height)
        height = np.where(better, here, height)
        part = np.where(better, index, part)
    return height, part
