"""Profiles of wall and valve: corners, trimming, fillet, the rest position, and valves that do not fit."""

from __future__ import annotations

import math
import re
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from portviz.errors import GeometryError
from portviz.geometry.dimensions import dimensions
from portviz.geometry.profiles import PLAIN_THROAT_ANGLE, VALVE_PARTS, Profiles, build_profiles

MM = 1e-3
deg = math.radians


def built(design: dict[str, Any]) -> Profiles:
    return build_profiles(dimensions(**design))


def slope(start: np.ndarray, end: np.ndarray) -> float:
    """Angle of a part from the head's plane [deg]."""
    return math.degrees(math.atan2(end[1] - start[1], start[0] - end[0]))


def heights(parts: list[Any], radii: np.ndarray) -> np.ndarray:
    """Height over the radius of a chain that only rises toward the axis, from many points of it."""
    points = np.concatenate([part.at(np.linspace(0.0, 1.0, 400)) for part in parts])
    order = np.argsort(points[:, 0], kind="stable")
    return np.interp(radii, points[order, 0], points[order, 1])


@pytest.mark.parametrize("seed", range(60))
def test_corners_are_those_of_the_definitions(reference: SimpleNamespace, seed: int) -> None:
    """Against profiles drawn by the reference; 1e-12 m for rounding."""
    design = reference.possible_design(seed)
    profiles = built(design)
    wall = reference.wall_parts(design)
    assert profiles.wall_parts == tuple(part.name for part in wall)
    corners = [part.at(0.0) for part in wall]
    assert profiles.wall[0, :-1] == pytest.approx(np.array(corners), abs=1e-12)
    valve = reference.valve_parts(design)
    assert tuple(part.name for part in valve) == VALVE_PARTS
    corners = [part.at(0.0) for part in valve]
    assert profiles.valve[0, :-1] == pytest.approx(np.array(corners), abs=1e-12)


def test_cylinder_and_stem_reach_far_up(plain: dict[str, Any]) -> None:
    """Higher than any lift and any line across: three head radii at least."""
    profiles = built(plain)
    for corners, radius in ((profiles.wall[0, -2:], 17 * MM), (profiles.valve[0, -2:], 3.5 * MM)):
        assert corners[:, 0] == pytest.approx([radius, radius], abs=1e-15)
        assert corners[1, 1] - corners[0, 1] > 60 * MM


def test_plain_seat_by_hand(plain: dict[str, Any]) -> None:
    """Band of 2 mm along 45 deg: sqrt(2) in and up; then 60 deg to the throat's 17 mm. The face rests in line."""
    root = math.sqrt(2.0)
    profiles = built(plain)
    throat = root + (20 - root - 17) * math.sqrt(3.0)
    assert profiles.wall[0, :4] / MM == pytest.approx(
        np.array([[20, 0], [20, 0], [20 - root, root], [17, throat]]), abs=1e-12
    )
    face = 2.5 / root
    assert profiles.valve[0, :3] / MM == pytest.approx(np.array([[20, -1], [20, 0], [20 - face, face]]), abs=1e-12)
    corner = face + (20 - face - 3.5) * math.tan(deg(15))
    assert profiles.valve[0, 4] / MM == pytest.approx([3.5, corner], abs=1e-12)


def test_cone_of_60_deg_where_there_is_no_bottom_cut(plain: dict[str, Any]) -> None:
    profiles = built(plain)
    assert slope(profiles.wall[0, 2], profiles.wall[0, 3]) == pytest.approx(60.0, abs=1e-9)
    assert pytest.approx(deg(60.0)) == PLAIN_THROAT_ANGLE


@pytest.mark.parametrize("widths", [[0.5, 0.6], [0.5, 0.0]], ids=["two cuts", "second one left out"])
def test_cone_goes_on_at_the_last_cuts_angle(plain: dict[str, Any], widths: list[float]) -> None:
    """A cut of no width is no cut: the one before it is then the last."""
    changes = {"bottom_cut_angles": [deg(55), deg(72)], "bottom_cut_widths": np.array(widths) * MM}
    profiles = built(plain | changes)
    last = 72.0 if widths[1] else 55.0
    assert profiles.wall.shape == (1, 7, 2)
    assert slope(profiles.wall[0, 4], profiles.wall[0, 5]) == pytest.approx(last, abs=1e-9)
    assert profiles.wall[0, 5, 0] == pytest.approx(17 * MM, abs=1e-15)
    assert not profiles.cuts_trimmed.any()


def test_cuts_are_trimmed_at_the_throat(plain: dict[str, Any]) -> None:
    """Room of 3 - sqrt(2) mm on the radius: the first cut of 2 mm at 60 deg takes 1 mm, the second 0.586 of its 0.8."""
    changes = {
        "bottom_cut_angles": [deg(60), deg(66), deg(80)],
        "bottom_cut_widths": np.array([2.0, 2.0, 1.0]) * MM,
    }
    profiles = built(plain | changes)
    assert profiles.cuts_trimmed.tolist() == [[False, True, True]]
    wall = profiles.wall[0] / MM
    left = 2.0 - math.sqrt(2.0)
    assert wall[3, 0] == pytest.approx(19 - math.sqrt(2.0), abs=1e-12)
    assert wall[4, 0] == pytest.approx(17.0, abs=1e-12)
    assert wall[4, 1] - wall[3, 1] == pytest.approx(left * math.tan(deg(66)), abs=1e-12)
    # The third has no room at all, and nothing is left for the cone to the throat.
    assert wall[5] == pytest.approx(wall[4], abs=1e-12)
    assert wall[6] == pytest.approx(wall[4], abs=1e-12)


def test_a_cut_that_just_reaches_the_throat_is_not_trimmed(plain: dict[str, Any]) -> None:
    room = (3.0 - math.sqrt(2.0)) / math.cos(deg(60))
    for width, trimmed in ((room, False), (room + 1e-3, True)):
        profiles = built(plain | {"bottom_cut_angles": [deg(60)], "bottom_cut_widths": [width * MM]})
        assert profiles.cuts_trimmed.tolist() == [[trimmed]]
        assert profiles.wall[0, 3, 0] == pytest.approx(17 * MM, abs=1e-12)


def test_top_cut_lies_toward_the_chamber(plain: dict[str, Any]) -> None:
    """2 mm along 30 deg: sqrt(3) outward and 1 mm down."""
    profiles = built(plain | {"top_cut_width": 2 * MM, "top_cut_angle": deg(30)})
    assert profiles.wall[0, 0] / MM == pytest.approx([20 + math.sqrt(3.0), -1.0], abs=1e-12)
    assert profiles.wall[0, 1] == pytest.approx([20 * MM, 0.0], abs=1e-15)


@pytest.mark.parametrize("underhead", [0.0, 7.0, 15.0, 30.0])
@pytest.mark.parametrize("radius", [0.5, 4.0, 9.0])
def test_fillet_is_tangent_to_cone_and_stem(plain: dict[str, Any], underhead: float, radius: float) -> None:
    """Both ends one radius from the centre and square to their parts; 1e-12 for rounding."""
    profiles = built(plain | {"underhead_angle": deg(underhead), "fillet_radius": radius * MM})
    cone_start, start, end, stem_end = profiles.valve[0, 3:7] / MM
    centre = profiles.fillet_centre[0] / MM
    for point, other in ((start, cone_start), (end, stem_end)):
        spoke, along = point - centre, other - point
        assert np.hypot(*spoke) == pytest.approx(radius, abs=1e-12)
        assert np.dot(spoke, along) / np.hypot(*along) == pytest.approx(0.0, abs=1e-12)
    angles = profiles.fillet_angles[0]
    spokes = np.stack([np.cos(angles), np.sin(angles)], axis=1) * radius
    assert centre + spokes == pytest.approx(np.stack([start, end]), abs=1e-12)
    # The arc between stays on the side of the corner that it rounds off, off the stem and above the cone.
    between = np.linspace(*angles, 50)[1:-1]
    r, z = centre[0] + radius * np.cos(between), centre[1] + radius * np.sin(between)
    assert (r > 3.5).all()
    assert (z > start[1] + (start[0] - r) * math.tan(deg(underhead)) - 1e-12).all()
    assert (np.diff(r) < 0).all()
    assert (np.diff(z) > 0).all()


def test_no_fillet_is_a_sharp_corner(plain: dict[str, Any]) -> None:
    profiles = built(plain)
    assert profiles.valve[0, 4] == pytest.approx(profiles.valve[0, 5], abs=1e-15)
    assert profiles.fillet_centre[0] == pytest.approx(profiles.valve[0, 5], abs=1e-15)


# The rest position: where the face first touches the seat.


@pytest.mark.parametrize("flatter", [0.25, 0.5, 1.0, 3.0])
def test_a_flatter_face_rests_on_the_outer_edge(plain: dict[str, Any], flatter: float) -> None:
    profiles = built(plain | {"face_angle": deg(45 - flatter)})
    assert profiles.valve[0, 1] == pytest.approx([20 * MM, 0.0], abs=1e-15)
    # The inner end of the overlap is clear: the band's inner edge is sqrt(2) mm in from the edge.
    face_height = math.sqrt(2.0) * math.tan(deg(45 - flatter))
    assert face_height < profiles.wall[0, 2, 1] / MM


def test_a_flatter_and_larger_face_rests_on_the_bands_outer_edge(plain: dict[str, Any]) -> None:
    """The head's rim then hangs lower than the plane of the edge, by 0.5 mm x tan(44 deg)."""
    profiles = built(plain | {"face_angle": deg(44), "head_radius": 20.5 * MM})
    assert profiles.valve[0, 1] / MM == pytest.approx([20.5, -0.5 * math.tan(deg(44))], abs=1e-12)


def test_a_flatter_and_smaller_face_rests_with_its_rim_on_the_band(plain: dict[str, Any]) -> None:
    profiles = built(plain | {"face_angle": deg(44), "head_radius": 19.5 * MM})
    assert profiles.valve[0, 1] / MM == pytest.approx([19.5, 0.5], abs=1e-12)


@pytest.mark.parametrize("steeper", [0.25, 0.5, 1.0, 3.0])
def test_a_steeper_face_rests_on_the_bands_inner_edge(plain: dict[str, Any], steeper: float) -> None:
    """With a face that goes further in than the band, its line passes through the band's inner edge."""
    profiles = built(plain | {"face_angle": deg(45 + steeper)})
    edge = profiles.wall[0, 2]
    start = profiles.valve[0, 1]
    assert start[1] + (start[0] - edge[0]) * math.tan(deg(45 + steeper)) == pytest.approx(edge[1], abs=1e-15)
    assert start[1] < 0.0


def test_a_steeper_and_narrower_face_rests_on_its_own_inner_edge(plain: dict[str, Any]) -> None:
    """The overlap then ends inside the band: there the face's inner edge lies on the band's line z = 20 mm - r."""
    profiles = built(plain | {"face_angle": deg(47), "face_width": 1.2 * MM})
    r, z = profiles.valve[0, 2] / MM
    assert r == pytest.approx(20 - 1.2 * math.cos(deg(47)), abs=1e-12)
    assert z == pytest.approx(20 - r, abs=1e-12)


@pytest.mark.parametrize("seed", range(40))
def test_rest_height_is_the_first_touch(reference: SimpleNamespace, seed: int) -> None:
    """Against trying a hundred radii of the overlap."""
    design = reference.random_design(*reference.seeded(1000 + seed))
    design |= {"fillet_radius": 0.0, "back_cut_width": 0.0}
    profiles = built(design)
    assert profiles.valve[0, 1, 1] == pytest.approx(reference.rest_height(design), abs=1e-15)


# Closed valves that would stand inside the wall.


@pytest.mark.parametrize(
    ("changes", "valve_part", "wall_part", "keys"),
    [
        (
            {
                "head_radius": 22 * MM,
                "face_width": 5 * MM,
                "face_angle": deg(25),
                "top_cut_angle": deg(30),
                "top_cut_width": 3 * MM,
            },
            "face",
            "top cut",
            ("seat.top_cut", "valve.face_angle"),
        ),
        (
            {"face_width": 1 * MM, "underhead_angle": deg(50)},
            "under-head cone",
            "seat band",
            ("seat.width", "valve.underhead_angle"),
        ),
        (
            {"underhead_angle": deg(70)},
            "under-head cone",
            "cone to the throat",
            ("seat.bottom_cuts", "valve.underhead_angle"),
        ),
        (
            {"underhead_angle": deg(65),
             "bottom_cut_angles": [deg(46), deg(85)], "bottom_cut_widths": [1.5 * MM, 9 * MM]},
            "under-head cone",
            "bottom cut 1",
            ("seat.bottom_cuts", "valve.underhead_angle"),
        ),
        (
            {"face_angle": deg(50), "seat_angle": deg(50), "back_cut_angle": deg(49.9), "back_cut_width": 9 * MM,
             "bottom_cut_angles": [deg(20)], "bottom_cut_widths": [3 * MM]},
            "back cut",
            "bottom cut 1",
            ("seat.bottom_cuts", "valve.back_cut"),
        ),
        (
            {"stem_radius": 13 * MM, "underhead_angle": 0.0, "fillet_radius": 5 * MM,
             "bottom_cut_angles": [deg(20)], "bottom_cut_widths": [9 * MM], "throat_radius": 13.5 * MM},
            "fillet",
            "bottom cut 1",
            ("seat.bottom_cuts", "valve.fillet_radius"),
        ),
    ],
)  # fmt: skip
def test_a_closed_valve_inside_the_wall_names_parts_and_place(
    reference: SimpleNamespace,
    plain: dict[str, Any],
    changes: dict[str, Any],
    valve_part: str,
    wall_part: str,
    keys: tuple[str, str],
) -> None:
    design = plain | changes
    with pytest.raises(GeometryError, match="the closed valve stands inside the wall") as caught:
        built(design)
    assert caught.value.rule == "closed valve inside the wall"
    assert caught.value.keys == keys
    found = re.search(
        r"its (.+) is (\d+\.\d{3}) mm inside the (.+) at a diameter of (\d+\.\d{3}) mm", caught.value.problem
    )
    assert found is not None
    assert (found[1], found[3]) == (valve_part, wall_part)
    # The depth at that diameter, from the reference's parts; three decimals are printed, of a slope up to tan(80 deg).
    depth, radius = float(found[2]) * MM, float(found[4]) / 2 * MM
    wall = heights(reference.wall_parts(design)[:-1], np.array([radius]))
    valve = heights(reference.valve_parts(design)[1:-1], np.array([radius]))
    assert valve - wall == pytest.approx([depth], abs=5e-6)


@pytest.mark.parametrize("seed", range(120))
def test_valves_are_refused_where_many_radii_show_them_inside(reference: SimpleNamespace, seed: int) -> None:
    """Tight designs without a fillet, against heights at 500 radii and at every corner; 1e-9 m is the package's own."""
    uniform, whole = reference.seeded(2000 + seed)
    design = reference.random_design(uniform, whole)
    if whole(0, 1):
        design |= {"underhead_angle": deg(uniform(20.0, 75.0)), "back_cut_width": 0.0}
    if whole(0, 1):
        design |= {
            "top_cut_angle": design["seat_angle"] * uniform(0.5, 1.3),
            "face_angle": design["seat_angle"] - deg(uniform(0.0, 12.0)),
            "back_cut_width": 0.0,
            "underhead_angle": design["underhead_angle"] * 0.5,
        }
    design["fillet_radius"] = 0.0
    wall = reference.wall_parts(design)[:-1]
    valve = reference.valve_parts(design)[1:4]
    low = max(wall[-1].at(1.0)[0], valve[-1].at(1.0)[0])
    high = min(wall[0].at(0.0)[0], valve[0].at(0.0)[0])
    corners = [part.at(end)[0] for part in wall + valve for end in (0.0, 1.0)]
    radii = np.concatenate([np.linspace(low, high, 501), [r for r in corners if low <= r <= high]])
    deepest = float(np.max(heights(valve, radii) - heights(wall, radii)))
    if deepest > 1e-9:
        with pytest.raises(GeometryError, match="the closed valve stands inside the wall"):
            built(design)
    else:
        # It touches, for it is closed.
        assert deepest == pytest.approx(0.0, abs=1e-12)
        assert built(design).count == 1


def test_one_bad_design_among_many_is_the_one_reported(plain: dict[str, Any]) -> None:
    """The deepest is named: 65 deg stands less deep than 70 deg at the throat's edge."""
    with pytest.raises(GeometryError) as alone:
        built(plain | {"underhead_angle": deg(70)})
    with pytest.raises(GeometryError) as among:
        built(plain | {"underhead_angle": np.radians([15.0, 69.0, 70.0, 20.0])})
    assert str(among.value) == str(alone.value)


def test_take_keeps_whole_profiles(plain: dict[str, Any]) -> None:
    many = built(plain | {"throat_radius": np.array([15.0, 16.0, 17.0]) * MM})
    part = many.take(slice(1, 3))
    assert (many.count, part.count) == (3, 2)
    assert part.wall[:, -1, 0] == pytest.approx(np.array([16.0, 17.0]) * MM)
