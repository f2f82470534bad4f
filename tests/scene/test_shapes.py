"""The arrays behind a view, checked against trimesh and the analytic values."""

import itertools

import numpy as np
import pytest
import trimesh

from portviz.geometry.revolve import (
    on_circle,
    revolved_solid,
    revolved_volume,
    valve_chains,
    wall_chains,
)
from portviz.scene import shapes


def as_trimesh(surface):
    return trimesh.Trimesh(surface.points, surface.all_triangles, process=False)


def polygon_factor(steps):
    """Volume of a prism on a regular polygon over that on its circle (mensuration)."""
    return steps / (2.0 * np.pi) * np.sin(2.0 * np.pi / steps)


def test_station_90_lies_on_the_far_side_of_y_so_that_the_cylinder_sees_it_anticlockwise():
    # contract: anticlockwise positive when looking along +z. Looking along +z with x to the right,
    # "up" is -y in a right-handed frame.
    assert on_circle(1.0, 0.0, 90.0) == pytest.approx([0.0, -1.0, 0.0], abs=1e-15)
    looking, right = np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0])
    up = np.cross(right, looking)
    assert on_circle(1.0, 0.0, 90.0) @ up == pytest.approx(1.0)


@pytest.mark.parametrize("chains", [valve_chains, wall_chains])
@pytest.mark.parametrize(("start", "stop"), [(0.0, 360.0), (180.0, 360.0), (10.0, 100.0)])
def test_solids_are_watertight_and_have_the_volume_of_pappus(sidecar, tractor, chains, start, stop):
    for reduction in (sidecar, tractor):
        front, back = chains(reduction.profiles)
        solid = as_trimesh(revolved_solid(front, back, count=90, start_deg=start, stop_deg=stop))
        assert solid.is_watertight
        assert solid.is_winding_consistent
        part = (stop - start) / 360.0
        expected = revolved_volume(front, back) * part * polygon_factor(90 / part)
        assert solid.volume == pytest.approx(expected, rel=1e-9)


def test_pappus_volume_of_a_cylinder_and_a_cone():
    # V = pi r^2 h and pi r^2 h / 3, any mensuration table (from memory).
    cylinder = np.array([[2.0, 0.0], [2.0, 5.0]]), np.array([[0.0, 0.0], [0.0, 5.0]])
    cone = np.array([[3.0, 0.0], [0.0, 4.0]]), np.array([[0.0, 0.0], [0.0, 4.0]])
    assert revolved_volume(*cylinder) == pytest.approx(np.pi * 4.0 * 5.0)
    assert revolved_volume(*cone) == pytest.approx(np.pi * 9.0 * 4.0 / 3.0)


def test_valve_solid_meets_the_axis_in_single_points(sidecar):
    solid = shapes.valve_solid(sidecar.profiles, count=60)
    on_axis = np.hypot(*solid.points[:, :2].T) < 1e-12
    heights = np.round(solid.points[on_axis, 2], 9)
    assert len(heights) == len(np.unique(heights))


def test_curtain_has_the_area_of_the_least_gap(sidecar):
    angles = np.linspace(0.0, 360.0, 361)
    now = shapes.lift_shapes(sidecar.job, sidecar.profiles, 5e-3, angles)
    quads = shapes.curtain_faces(361)
    mesh = trimesh.Trimesh(now.curtain, np.concatenate([quads[:, :3], quads[:, [0, 2, 3]]]), process=False)
    # A frustum of 360 flat strips is smaller than the round one by a few parts in 1e5.
    assert mesh.area == pytest.approx(now.gap_area, rel=1e-4)
    at = int(np.flatnonzero(np.isclose(sidecar.lift, 5e-3))[0])
    assert now.gap_area == pytest.approx(float(sidecar.areas.gap_area[at]), rel=1e-12)


def test_the_curtain_runs_from_wall_to_valve_at_its_lift(sidecar):
    lift = 3.5e-3
    now = shapes.lift_shapes(sidecar.job, sidecar.profiles, lift, np.array([0.0, 90.0]))
    valve = sidecar.profiles.valve[0] - [0.0, lift]
    wall = sidecar.profiles.wall[0]

    def distance_to(chain, point):
        best = np.inf
        for start, end in itertools.pairwise(chain):
            step = end - start
            along = np.clip((point - start) @ step / max(step @ step, 1e-30), 0.0, 1.0)
            best = min(best, float(np.hypot(*(start + along * step - point))))
        return best

    first, last = now.curtain[0], now.curtain[shapes.CURTAIN_ROWS - 1]
    assert distance_to(wall, np.array([first[0], first[2]])) < 1e-12
    assert distance_to(valve, np.array([last[0], last[2]])) < 1e-12


@pytest.mark.parametrize("angle", [0.0, 90.0, 200.0])
def test_jets_point_outward_on_the_intake_and_inward_on_the_exhaust(sidecar, tractor, angle):
    template = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0]])
    for reduction, sign in ((sidecar, 1.0), (tractor, -1.0)):
        now = shapes.lift_shapes(reduction.job, reduction.profiles, 5e-3, np.array([0.0, 1.0]))
        count = len(reduction.job.stations.angles_deg)
        angles = np.full(count, angle)
        tails_and_tips = shapes.jet_points(template, now, angles, np.full(count, 2e-3)).reshape(count, 2, 3)
        flow = tails_and_tips[0, 1] - tails_and_tips[0, 0]
        assert np.linalg.norm(flow) == pytest.approx(2e-3)
        outward = on_circle(1.0, 0.0, angle)
        assert sign * (flow @ outward) > 0.0
        assert sign * flow[2] < 0.0  # intake air leaves toward the cylinder


def test_jets_without_flow_have_no_length(sidecar):
    now = shapes.lift_shapes(sidecar.job, sidecar.profiles, 5e-3, np.array([0.0, 1.0]))
    angles = sidecar.job.stations.circle_deg
    points = shapes.jet_points(np.eye(3), now, angles, np.full(len(angles), np.nan))
    assert points.reshape(len(angles), 3, 3) == pytest.approx(np.repeat(now.markers[:, None], 3, axis=1))


def test_least_line_in_the_section_is_the_narrower_passage(sidecar):
    for lift, by_gap in ((2e-3, True), (11e-3, False)):
        now = shapes.lift_shapes(sidecar.job, sidecar.profiles, lift, np.array([0.0, 1.0]))
        assert now.limited_by_gap is by_gap
        (x0, y0, z0), (x1, y1, z1) = now.least_line[:2]
        assert y0 == y1 == pytest.approx(0.0, abs=1e-4)  # a hair in front of the section, to be seen
        area = np.pi * (x0 + x1) * np.hypot(x1 - x0, z1 - z0)
        assert area == pytest.approx(min(now.gap_area, now.throat_area), rel=1e-12)
        assert now.least_line[2:, 0] == pytest.approx(-now.least_line[:2, 0])


def test_a_closed_valve_has_a_curtain_of_no_width(sidecar):
    now = shapes.lift_shapes(sidecar.job, sidecar.profiles, 0.0, np.array([0.0, 90.0]))
    assert now.gap_width == pytest.approx(0.0, abs=1e-9)
    assert np.isfinite(now.across).all()


def test_hatching_lies_on_the_curtain_and_only_where_it_is_wanted(sidecar):
    angles = np.linspace(0.0, 360.0, 361)
    curtain = shapes.lift_shapes(sidecar.job, sidecar.profiles, 6e-3, angles).curtain
    far = (angles > 80.0) & (angles < 130.0)
    lines = shapes.hatch_points(curtain, far).reshape(shapes.hatch_size(361), shapes.CURTAIN_ROWS, 3)
    length = np.linalg.norm(lines[:, -1] - lines[:, 0], axis=1)
    where = np.mod(np.degrees(np.arctan2(-lines[:, 2, 1], lines[:, 2, 0])), 360.0)
    drawn = length > 0.0
    assert drawn.any()
    assert ((where[drawn] > 80.0) & (where[drawn] < 130.0)).all()
    apart = np.linalg.norm(lines[drawn].reshape(-1, 1, 3) - curtain[None], axis=2).min(axis=1)
    assert apart.max() == 0.0


def test_the_valve_in_section_has_the_area_of_its_outline(sidecar, tractor):
    """Faces against the shoelace formula of the outline (any mensuration table, from memory)."""
    for reduction in (sidecar, tractor):
        for sections in (shapes.valve_section, shapes.head_section):
            faces, outlines = sections(reduction.profiles)
            for face, outline in zip(faces, outlines, strict=True):
                mesh = trimesh.Trimesh(face.points, face.all_triangles, process=False)
                x, z = outline[:, 0], outline[:, 2]
                shoelace = 0.5 * abs(np.sum(x * np.roll(z, -1) - np.roll(x, -1) * z))
                assert mesh.area == pytest.approx(shoelace, rel=1e-9)
