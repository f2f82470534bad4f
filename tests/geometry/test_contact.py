"""Contact of face and seat against solids cut and measured as meshes, in limits, by finite differences; recession."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from portviz.geometry.contact import Contact, friction_bounds, mean_contact_pressure, seat_contact
from portviz.geometry.dimensions import dimensions
from portviz.geometry.profiles import build_profiles
from portviz.geometry.recession import metal_on_valve, metal_sinks, plane_clearance, valve_sinks
from portviz.geometry.revolve import revolved_solid, valve_chains, wall_chains

MM = 1e-3
deg = math.radians


def contact(design: dict[str, Any]) -> Contact:
    return seat_contact(dimensions(**design))


def meshes(design: dict[str, Any], count: int = 360) -> tuple[trimesh.Trimesh, trimesh.Trimesh]:
    """Closed valve and head as solids."""
    profiles = build_profiles(dimensions(**design))
    solids = [revolved_solid(*chains(profiles), count=count) for chains in (valve_chains, wall_chains)]
    return tuple(trimesh.Trimesh(each.points, each.all_triangles, process=False) for each in solids)  # type: ignore[return-value]


def section(mesh: trimesh.Trimesh) -> np.ndarray:
    """Ends (r, z) of the lines in which the half plane at the first meridian cuts a solid of revolution."""
    lines = trimesh.intersections.mesh_plane(mesh, [0.0, 1.0, 0.0], [0.0, 1e-7, 0.0])
    half = lines[np.all(lines[:, :, 0] > 0.0, axis=1)]
    return half[:, :, [0, 2]]


def touching(valve: np.ndarray, wall: np.ndarray, near: float) -> np.ndarray:
    """Radii at which the two sections, sampled finely, are nearer to each other than `near`."""
    found = []
    at = np.linspace(0.0, 1.0, 2001)[:, None]
    for start, end in valve:
        points = start + at * (end - start)
        for first, last in wall:
            step = last - first
            length = float(np.hypot(*step))
            if length < 1e-9:
                continue
            along = np.clip((points - first) @ step / length**2, 0.0, 1.0)
            apart = np.hypot(*(points - first - along[:, None] * step).T)
            found.append(points[apart < near][:, 0])
    return np.concatenate(found)


DESIGNS = {
    "face over seat": {},
    "seat narrower and farther in": {"seat_outer_radius": 19.8 * MM, "seat_width": 1.2 * MM},
    "seat reaches out": {"seat_outer_radius": 20.3 * MM},
    "narrow face": {"face_width": 1.4 * MM},
    "30 deg": {"seat_angle": deg(30.0), "face_angle": deg(30.0)},
    # Without a bottom cut the plain cone to the throat, 60 deg too, would carry the face as well.
    "60 deg": {
        "seat_angle": deg(60.0),
        "face_angle": deg(60.0),
        "seat_width": 1.5 * MM,
        "bottom_cut_angles": [deg(75.0)],
        "bottom_cut_widths": [1.0 * MM],
    },
}


@pytest.mark.parametrize("change", DESIGNS.values(), ids=DESIGNS.keys())
def test_the_band_is_where_the_sections_of_the_solids_touch(plain, change) -> None:
    """The two solids are cut by a plane; their outlines lie on each other along the band, to the samples' spacing."""
    design = plain | change
    found = contact(design)
    radii = touching(*map(section, meshes(design)), near=2e-8)
    assert not found.line[0]
    # A mesh's section runs at the cosine of half a step; 2 um covers it and the samples.
    assert radii.min() == pytest.approx(found.inner_radius[0], abs=2e-6)
    assert radii.max() == pytest.approx(found.outer_radius[0], abs=2e-6)


@pytest.mark.parametrize("change", DESIGNS.values(), ids=DESIGNS.keys())
def test_the_area_is_that_of_the_mesh_between_the_bands_ends(plain, change) -> None:
    """The head's surface, cut off at the band's radii: its triangles' area, short by (pi / n)^2 / 6 at most twice."""
    design = plain | change
    found, profiles = contact(design), build_profiles(dimensions(**design))
    inner, outer = float(found.inner_radius[0]), float(found.outer_radius[0])
    seat = profiles.wall[0, 1:3]

    def on_seat(radius: float) -> np.ndarray:
        share = (seat[0, 0] - radius) / (seat[0, 0] - seat[1, 0])
        return seat[0] + share * (seat[1] - seat[0])

    turned = trimesh.creation.revolve(np.array([on_seat(outer), on_seat(inner)]), sections=2000)
    assert turned.area == pytest.approx(found.area[0], rel=2e-6)
    assert found.width[0] == pytest.approx(float(np.hypot(*(on_seat(outer) - on_seat(inner)))), rel=1e-12)


@pytest.mark.parametrize(("face", "edge"), [(44.0, "outer_radius"), (46.0, "inner_radius")])
def test_with_other_angles_the_solids_touch_at_one_edge(plain, face, edge) -> None:
    """A flatter face seals at the outer edge, a steeper one at the inner; no mesh stands in the other."""
    design = plain | {"face_angle": deg(face), "seat_outer_radius": 19.9 * MM}
    found = contact(design)
    radii = touching(*map(section, meshes(design)), near=2e-8)
    expected = {"outer_radius": 19.9 * MM, "inner_radius": 19.9 * MM - 2 * MM * math.cos(deg(45.0))}[edge]
    assert found.line[0]
    assert found.width[0] == found.area[0] == 0.0
    assert found.mean_radius[0] == pytest.approx(expected, rel=1e-12)
    # 1 deg opens 2e-8 over a micrometre.
    assert radii == pytest.approx(np.full(len(radii), expected), abs=3e-6)
    assert np.isnan(mean_contact_pressure(300.0, found.mean_radius, found.radial_width)[0])


def test_the_closed_head_stands_out_by_the_meshs_lowest_point(plain) -> None:
    for face, seat_outer in ((45.0, 20.0), (45.0, 19.7), (44.0, 19.7), (46.0, 20.2)):
        design = plain | {"face_angle": deg(face), "seat_outer_radius": seat_outer * MM}
        valve, _ = meshes(design)
        assert contact(design).protrusion[0] == pytest.approx(-valve.bounds[0, 2], abs=1e-12)


def test_overhang_and_what_is_left_bare(plain) -> None:
    """Both by hand: 20 - 19.7 mm; face ends at 20 - 1.4 cos 45, seat at 19.7 - 2 cos 45."""
    found = contact(plain | {"seat_outer_radius": 19.7 * MM, "face_width": 1.4 * MM})
    assert found.overhang[0] == pytest.approx(0.3 * MM, rel=1e-9)
    assert found.bare[0] == pytest.approx((0.3 + 0.6 * math.cos(deg(45.0))) * MM, rel=1e-9)


def test_the_band_as_a_flat_ring_and_as_a_cylinder_in_the_limit(plain) -> None:
    """A seat of nearly 0 deg is a flat ring, pi (ro^2 - ri^2); one of nearly 90 deg a cylinder, 2 pi r width."""
    flat = contact(plain | {"seat_angle": 1e-6, "face_angle": 1e-6, "throat_radius": 15 * MM})
    assert flat.area[0] == pytest.approx(math.pi * (0.020**2 - 0.018**2), rel=1e-9)
    steep = contact(plain | {"seat_angle": math.pi / 2 - 1e-6, "face_angle": math.pi / 2 - 1e-6})
    assert steep.area[0] == pytest.approx(2.0 * math.pi * 0.020 * 0.002, rel=1e-6)


def test_slopes_of_width_and_area_by_finite_differences(plain) -> None:
    """While the face covers the seat: d width = d seat width; d area / d w = 2 pi times the inner radius."""
    step = 1e-8
    for angle in (30.0, 45.0, 60.0):
        design = plain | {"seat_angle": deg(angle), "face_angle": deg(angle), "face_width": 3.5 * MM}
        low, high = (contact(design | {"seat_width": 2 * MM + sign * step}) for sign in (-1.0, 1.0))
        assert (high.width - low.width)[0] / (2 * step) == pytest.approx(1.0, abs=1e-6)
        inner = contact(design).inner_radius[0]
        assert (high.area - low.area)[0] / (2 * step) == pytest.approx(2.0 * math.pi * inner, rel=1e-6)


@given(depth=st.floats(1e-6, 2e-3), angle=st.floats(5.0, 85.0))
def test_a_cone_moved_by_the_sinking_has_lost_the_depth(depth: float, angle: float) -> None:
    """The distance of two lines of one slope, the second moved along the axis: a point's distance from a line."""
    slope = math.radians(angle)
    sinks = float(valve_sinks(depth, slope))
    direction = np.array([-math.cos(slope), math.sin(slope)])
    moved = np.array([0.0, sinks])
    distance = abs(direction[0] * moved[1] - direction[1] * moved[0])
    assert distance == pytest.approx(depth, rel=1e-12)


@pytest.mark.parametrize("face", [44.0, 45.0, 46.0])
def test_the_valve_follows_the_wall_whatever_touches(plain, face) -> None:
    """The wall moved along its axis by s: where a valve that was lifted off comes to rest, found from both outlines."""
    design = (
        plain
        | {"face_angle": deg(face), "seat_outer_radius": 19.8 * MM, "top_cut_width": 1 * MM}
        | {"top_cut_angle": deg(30.0)}
    )
    profiles = build_profiles(dimensions(**design))
    wall, valve = profiles.wall[0, :-1], profiles.valve[0, 1:5]
    sinks = float(valve_sinks(0.2 * MM, deg(45.0)))
    radii = np.linspace(max(wall[-1, 0], valve[-1, 0]), min(wall[0, 0], valve[0, 0]), 20001)
    radii = np.union1d(radii, [wall[1, 0], wall[2, 0]])
    below = np.interp(radii, valve[::-1, 0], valve[::-1, 1])
    above = np.interp(radii, wall[::-1, 0], wall[::-1, 1] + sinks)
    assert float(np.min(above - below)) == pytest.approx(sinks, abs=1e-9)


def test_sinking_is_refused_where_there_is_no_cone() -> None:
    for depth, angle in ((-1e-4, 0.7), (1e-4, 0.0), (1e-4, math.pi / 2), (math.nan, 0.7)):
        with pytest.raises(ValueError, match=r"not negative|between 0 and 90"):
            valve_sinks(depth, angle)


@settings(max_examples=50)
@given(plane=st.floats(1e-3, 30e-3), lift=st.floats(0.0, 20e-3), cut=st.floats(0.0, 1e-3))
def test_clearance_shrinks_by_the_lift_and_grows_by_the_cut(plane: float, lift: float, cut: float) -> None:
    sinks = float(valve_sinks(cut, math.pi / 4))
    closed = float(plane_clearance(plane, 1e-3, 0.0))
    assert float(plane_clearance(plane, 1e-3, lift, sinks)) == pytest.approx(closed - lift + sinks, abs=1e-12)
    # At the plane itself it touches: what is left is nothing.
    assert float(plane_clearance(plane, 1e-3, plane - 1e-3)) == pytest.approx(0.0, abs=1e-12)


def test_friction_bounds_lie_round_one() -> None:
    low, high = friction_bounds(np.radians([20.0, 45.0, 70.0]), 0.2)
    assert np.all(low < 1.0)
    assert np.all(high > 1.0)
    assert friction_bounds(0.7, 0.0)[0] == friction_bounds(0.7, 0.0)[1] == 1.0


PLAIN = {
    "head_radius": 20.5 * MM,
    "stem_radius": 3.5 * MM,
    "seat_angle": deg(45.0),
    "seat_width": 1.6 * MM,
    "throat_radius": 17.5 * MM,
}


@pytest.mark.parametrize("depth", [0.0, 0.1 * MM, 0.5 * MM])
def test_a_seat_moved_in_lies_deeper_by_the_rise_of_the_steepest_cone(depth):
    """The same wall `depth` farther in: raised until its plain 60 deg cone is clear, depth x tan 60 (by hand)."""
    present = build_profiles(dimensions(**PLAIN, seat_outer_radius=20.0 * MM))
    moved = build_profiles(dimensions(**PLAIN, seat_outer_radius=20.0 * MM - depth))
    assert metal_sinks(present, moved)[0] == pytest.approx(depth * math.tan(deg(60.0)), abs=1e-12)


def test_a_smaller_throat_can_not_be_cut_and_a_larger_one_needs_no_depth():
    present, small, large = (
        build_profiles(dimensions(**{**PLAIN, "throat_radius": radius * MM})) for radius in (17.5, 17.0, 18.0)
    )
    assert metal_sinks(present, small)[0] == math.inf
    assert metal_sinks(present, large)[0] == 0.0


def test_metal_on_the_valve_is_how_much_higher_it_stands_under_the_head():
    """By hand: a thicker margin lifts all of it, a back cut begun on the face's inner edge lifts the cone behind it."""
    present = build_profiles(dimensions(**PLAIN, face_width=2.0 * MM, margin=1.0 * MM))
    assert metal_on_valve(present, present)[0] == 0.0
    thicker = build_profiles(dimensions(**PLAIN, face_width=2.0 * MM, margin=1.3 * MM))
    assert metal_on_valve(present, thicker)[0] == pytest.approx(0.3 * MM, abs=1e-12)
    assert metal_on_valve(thicker, present)[0] == 0.0
    cut = build_profiles(
        dimensions(**PLAIN, face_width=2.0 * MM, margin=1.0 * MM, back_cut_angle=deg(30.0), back_cut_width=1.0 * MM)
    )
    # The 30 deg cut begins where the 15 deg cone did: after 1 mm it stands sin 30 - cos 30 tan 15 higher.
    assert metal_on_valve(present, cut)[0] == pytest.approx(
        (math.sin(deg(30.0)) - math.cos(deg(30.0)) * math.tan(deg(15.0))) * MM, abs=1e-9
    )
