"""Least passages between wall and valve: against search, in their limits, and many at once."""

from __future__ import annotations

import itertools
import math
import threading
import time
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from portviz.errors import GeometryError
from portviz.geometry.dimensions import dimensions
from portviz.geometry.ends import passage_ends
from portviz.geometry.passages import TIE, Passages, foot_on_line, least_passages
from portviz.geometry.profiles import Profiles, build_profiles

MM = 1e-3
deg = math.radians
#: Lifts from a hair to wide open, for a head of 40 mm diameter; scaled with the head.
LIFTS = np.array([0.02, 0.3, 1.0, 2.5, 5.0, 9.0, 14.0]) * MM


def built(design: dict[str, Any]) -> Profiles:
    return build_profiles(dimensions(**design))


def stacked(designs: list[dict[str, Any]]) -> dict[str, Any]:
    """One set of arguments for many designs; missing bottom cuts get no width."""
    most = max(len(design["bottom_cut_widths"]) for design in designs)
    together: dict[str, Any] = {
        key: np.array([design[key] for design in designs]) for key in designs[0] if not key.startswith("bottom_cut")
    }
    for key in ("bottom_cut_angles", "bottom_cut_widths"):
        together[key] = np.array([[*design[key], *[0.0] * (most - len(design[key]))] for design in designs])
    return together


@pytest.fixture(scope="module")
def full() -> dict[str, Any]:
    """A design with every part: three cuts about the band, a back cut and a fillet."""
    return {
        "head_radius": 20.5 * MM,
        "stem_radius": 3.5 * MM,
        "face_angle": deg(44.5),
        "face_width": 2.2 * MM,
        "margin": 1.2 * MM,
        "back_cut_angle": deg(30),
        "back_cut_width": 1.0 * MM,
        "underhead_angle": deg(15),
        "fillet_radius": 8.0 * MM,
        "seat_angle": deg(45),
        "seat_width": 1.6 * MM,
        "seat_outer_radius": 20.3 * MM,
        "top_cut_angle": deg(30),
        "top_cut_width": 1.2 * MM,
        "bottom_cut_angles": [deg(60), deg(75)],
        "bottom_cut_widths": [1.5 * MM, 1.0 * MM],
        "throat_radius": 17.5 * MM,
    }


# Against search.


def assert_found_by_search(reference: SimpleNamespace, design: dict[str, Any], lifts: np.ndarray) -> None:
    """The search closes in to 1e-12 of each part, and an area is flat about its least: 1e-9 relative is ample."""
    passages = least_passages(built(design), lifts)
    for index, lift in enumerate(lifts):
        gap, throat = reference.searched_passages(design, lift)
        assert passages.gap_area[0, index] == pytest.approx(gap, rel=1e-9)
        assert passages.throat_area[0, index] == pytest.approx(throat, rel=1e-9)


@pytest.mark.parametrize("seed", range(70))
def test_random_design_against_search(reference: SimpleNamespace, seed: int) -> None:
    design = reference.possible_design(seed)
    assert_found_by_search(reference, design, LIFTS * design["head_radius"] / (20 * MM))


@settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.filter_too_much])
@given(data=st.data())
def test_any_design_against_search(reference: SimpleNamespace, data: st.DataObject) -> None:
    design = reference.random_design(
        lambda low, high: data.draw(st.floats(low, high)), lambda low, high: data.draw(st.integers(low, high))
    )
    lift = data.draw(st.floats(0.05, 0.7)) * design["head_radius"]
    try:
        built(design)
    except GeometryError:
        assume(False)
    assert_found_by_search(reference, design, np.array([lift]))


def test_design_with_every_part_against_search(reference: SimpleNamespace, full: dict[str, Any]) -> None:
    assert_found_by_search(reference, full, np.linspace(0.05, 15.0, 40) * MM)


@pytest.mark.parametrize("seed", range(200, 212))
def test_random_design_against_all_pairs_of_points(reference: SimpleNamespace, seed: int) -> None:
    """Points 0.08 mm apart on every part: no pair may beat the least passage, and the best comes as near as it must.

    Each end of the least line has a sampled point within half the spacing e / 2, so that the best pair has at most
    pi (R + e) (d + e), with ring R and length d of the least line.
    """
    spacing = 0.08 * MM
    design = reference.possible_design(seed)
    lifts = np.array([0.5, 3.0, 8.0]) * design["head_radius"] / 20
    passages = least_passages(built(design), lifts, lines=True)
    assert passages.gap_line is not None
    assert passages.throat_line is not None
    for index, lift in enumerate(lifts):
        sampled = reference.sampled_passages(design, lift, spacing)
        for best, least, line in (
            (sampled[0], passages.gap_area[0, index], passages.gap_line[0, index]),
            (sampled[1], passages.throat_area[0, index], passages.throat_line[0, index]),
        ):
            ring, length = line[:, 0].sum(), np.hypot(*(line[1] - line[0]))
            assert least <= best * (1.0 + 1e-12)
            assert best <= math.pi * (ring + spacing) * (length + spacing)


def with_large_fillet(design: dict[str, Any], share: float) -> dict[str, Any]:
    """The design without a back cut, its under-head cone flatter, its fillet `share` of the largest that fits."""
    under = min(design["underhead_angle"], 0.5 * design["face_angle"])
    run = design["head_radius"] - design["face_width"] * math.cos(design["face_angle"]) - design["stem_radius"]
    largest = run / (math.tan((math.pi / 2.0 - under) / 2.0) * math.cos(under))
    return design | {"back_cut_width": 0.0, "underhead_angle": under, "fillet_radius": share * largest}


def ends_inside(arc: Any, point: np.ndarray) -> bool:
    """Whether a point lies on the arc and is none of its ends."""
    return arc.distance(point) < 1e-12 and min(np.hypot(*(arc.at(t) - point)) for t in (0.0, 1.0)) > 1e-6


def test_least_lines_that_end_on_the_arc(reference: SimpleNamespace) -> None:
    """Large fillets, at lifts where the throat limits: found by search, and many do end inside the arc."""
    inside = 0
    for seed in range(100, 140):
        draws = reference.seeded(seed)
        design = with_large_fillet(reference.possible_design(seed), draws[0](0.7, 0.999))
        lifts = np.linspace(0.35, 0.7, 6) * design["head_radius"]
        assert_found_by_search(reference, design, lifts)
        passages = least_passages(built(design), lifts, lines=True)
        assert passages.throat_line is not None
        arc = reference.valve_parts(design)[4]
        for index, lift in enumerate(lifts):
            inside += ends_inside(arc.lowered(lift), passages.throat_line[0, index, 1])
    assert inside > 60


def test_line_to_the_arc_is_least_for_its_wall_end(reference: SimpleNamespace, full: dict[str, Any]) -> None:
    """Twenty thousand places of the arc for the same wall end: the best is no better, and 1e-7 as good."""
    design = with_large_fillet(full, 0.95)
    lifts = np.linspace(9.4, 12.0, 9) * MM
    passages = least_passages(built(design), lifts, lines=True)
    assert passages.throat_line is not None
    for index, lift in enumerate(lifts):
        arc = reference.valve_parts(design)[4].lowered(lift)
        wall, valve = passages.throat_line[0, index]
        assert ends_inside(arc, valve)
        best = float(np.min(reference.area(wall, arc.at(np.linspace(0.0, 1.0, 20001)))))
        assert passages.throat_area[0, index] <= best * (1.0 + 1e-12)
        assert passages.throat_area[0, index] == pytest.approx(best, rel=1e-7)


# Against a plain search that leaves no pair out.


def plain_passages(profiles: Profiles, lifts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Least gap and throat of one design: every wall part with every valve part, the arc by golden section.

    None of the package's reasons why a line need not be looked at is used, nor its functions.
    """
    wall = profiles.wall[0]
    valve = profiles.valve[0] - lifts[:, None, None] * np.array([0.0, 1.0])
    # Throat and stem go on for ever: their level line is there at any lift.
    ring = wall[-1, 0] ** 2 - valve[:, -1, 0] ** 2
    least = {True: np.full(len(lifts), np.inf), False: ring**2}
    for row, column in itertools.product(range(len(wall) - 1), range(6)):
        ends = wall[row], wall[row + 1], valve[:, column], valve[:, column + 1]
        if column == 4 and profiles.fillet_radius[0] > 0.0:
            square = least_to_arc(*ends[:2], profiles, lifts)
        else:
            square = least_between(*ends)
        is_gap = row < len(wall) - 2 and column < 3
        least[is_gap] = np.minimum(least[is_gap], square)
    return np.pi * np.sqrt(least[True]), np.pi * np.sqrt(least[False])


def least_between(a: np.ndarray, b: np.ndarray, c: np.ndarray, d: np.ndarray) -> np.ndarray:
    """Least (area / pi)^2 between the straight parts a-b and c-d: one end is a corner."""
    return np.min(
        [least_to_part(a, c, d), least_to_part(b, c, d), least_to_part(c, a, b), least_to_part(d, a, b)], axis=0
    )


def least_to_part(point: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Least (area / pi)^2 between points (..., 2) and straight parts: at an end or a root of its derivative.

    With R = R0 + t v_r and d^2 = c + 2 b t + t^2, (R^2 d^2)' = 0 where
    2 v_r t^2 + (3 b v_r + R0) t + v_r c + R0 b = 0.
    """
    point, start, end = np.broadcast_arrays(point, start, end)
    length = np.hypot(*np.moveaxis(end - start, -1, 0))
    unit = (end - start) / np.where(length > 0.0, length, 1.0)[..., None]
    ring, away = start[..., 0] + point[..., 0], start - point
    b, c = np.sum(unit * away, axis=-1), np.sum(away * away, axis=-1)
    linear, constant = 3.0 * b * unit[..., 0] + ring, unit[..., 0] * c + ring * b
    root = np.sqrt(np.maximum(linear**2 - 8.0 * unit[..., 0] * constant, 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        places = [np.zeros_like(length), length, -2.0 * constant / (linear + root), -2.0 * constant / (linear - root)]
    squares = []
    for place in places:
        t = np.clip(np.nan_to_num(place), 0.0, length)
        foot = start + t[..., None] * unit
        squares.append((foot[..., 0] + point[..., 0]) ** 2 * np.sum((foot - point) ** 2, axis=-1))
    return np.min(squares, axis=0)


def least_to_arc(start: np.ndarray, end: np.ndarray, profiles: Profiles, lifts: np.ndarray) -> np.ndarray:
    """Least (area / pi)^2 between a wall part and the fillet at each lift, shape (M,)."""
    centre = profiles.fillet_centre[0] - lifts[:, None] * np.array([0.0, 1.0])

    def square(angle: np.ndarray, middle: np.ndarray) -> np.ndarray:
        point = middle + profiles.fillet_radius[0] * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
        return least_to_part(point, start, end)

    first, last = profiles.fillet_angles[0]
    angles = np.linspace(first, last, 65)
    nodes = square(np.broadcast_to(angles[:, None], (65, len(lifts))), centre)
    # A least place lies beside a node that is no larger than its neighbours.
    ringed = np.concatenate([nodes[:1], nodes, nodes[-1:]])
    node, lift = np.nonzero((nodes <= ringed[:-2]) & (nodes <= ringed[2:]))
    low, high = angles[np.maximum(node - 1, 0)], angles[np.minimum(node + 1, 64)]
    golden = (math.sqrt(5.0) - 1.0) / 2.0
    for _ in range(42):
        width = golden * (high - low)
        left = square(high - width, centre[lift]) < square(low + width, centre[lift])
        low, high = np.where(left, low, high - width), np.where(left, low + width, high)
    least = np.min(nodes, axis=0)
    np.minimum.at(least, lift, square(0.5 * (low + high), centre[lift]))
    return least


def varied(reference: SimpleNamespace, seed: int) -> dict[str, Any]:
    """A possible design; every second with a large fillet, some with a steep back of the head or cuts in any order."""
    uniform, whole = reference.seeded(seed)
    for attempt in range(20):
        design = reference.possible_design(seed + 10_000 * attempt)
        design["bottom_cut_angles"] = design["bottom_cut_angles"][:: (1, -1)[whole(0, 1)]]
        if seed % 2:
            design = with_large_fillet(design, uniform(0.3, 0.999))
        if seed % 5 == 0:
            design |= {"back_cut_width": 0.0, "underhead_angle": deg(uniform(0.0, 80.0))}
        try:
            built(design)
        except GeometryError:
            continue
        return design
    raise AssertionError("twenty random designs were refused in a row")


def assert_as_the_plain_search(design: dict[str, Any], lifts: np.ndarray) -> None:
    """1e-12 relative for straight parts, 1e-10 where a fillet may be met."""
    profiles = built(design)
    passages = least_passages(profiles, lifts)
    gap, throat = plain_passages(profiles, lifts)
    assert passages.gap_area[0] == pytest.approx(gap, rel=1e-12)
    assert passages.throat_area[0] == pytest.approx(throat, rel=1e-10 if design["fillet_radius"] else 1e-12)


@pytest.mark.parametrize("seed", range(600, 680))
def test_random_design_as_the_plain_search(reference: SimpleNamespace, seed: int) -> None:
    design = varied(reference, seed)
    assert_as_the_plain_search(design, np.linspace(0.01, 0.9, 25) * design["head_radius"])


@settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.filter_too_much])
@given(data=st.data())
def test_any_design_as_the_plain_search(reference: SimpleNamespace, data: st.DataObject) -> None:
    design = reference.random_design(
        lambda low, high: data.draw(st.floats(low, high)), lambda low, high: data.draw(st.integers(low, high))
    )
    lift = data.draw(st.floats(0.01, 2.0)) * design["head_radius"]
    try:
        built(design)
    except GeometryError:
        assume(False)
    assert_as_the_plain_search(design, np.array([lift]))


def test_design_with_every_part_as_the_plain_search(full: dict[str, Any]) -> None:
    assert_as_the_plain_search(full, np.linspace(0.1, 20.0, 60) * MM)


# The foot of the least frustum on a straight part.


@settings(max_examples=200, deadline=None, derandomize=True)
@given(
    r=st.floats(1.0, 30.0),
    z=st.floats(-20.0, 20.0),
    start=st.floats(1.0, 30.0),
    angle=st.floats(0.0, 2.0 * math.pi),
    length=st.floats(0.0, 40.0),
)
def test_foot_is_the_least_of_the_line(r: float, z: float, start: float, angle: float, length: float) -> None:
    """The foot or an end of the part has the least area of a thousand places on it; none lies off the part."""
    direction = np.array([math.cos(angle), math.sin(angle)])
    if direction[0] < 0.0:
        # Stay on this side of the axis, where a profile is.
        length = min(length, 0.99 * start / -direction[0])
    along = float(foot_on_line(np.array([r, z]), np.array([start, 0.0]), direction, np.array(length)))
    assert 0.0 <= along <= length

    def ring_times_length(t: np.ndarray) -> np.ndarray:
        return (r + start + t * direction[0]) * np.hypot(start + t * direction[0] - r, t * direction[1] - z)

    places = np.linspace(0.0, length, 1001)
    least = float(np.min(ring_times_length(np.array([along, 0.0, length]))))
    # Nodes may miss the least, never be below it; 1e-9 mm2 for rounding at lengths near zero.
    assert least <= float(np.min(ring_times_length(places))) + 1e-9


def test_foot_on_a_cylinder_is_square_to_it() -> None:
    """Where the ring does not change along the part, least area is least length."""
    along = foot_on_line(np.array([3.0, 7.0]), np.array([5.0, 2.0]), np.array([0.0, 1.0]), np.array(20.0))
    assert along == pytest.approx(5.0, rel=1e-15)


def test_foot_leans_toward_the_axis() -> None:
    """From a point 1 above a flat ring, at a radius of 10, worked by hand.

    With x inward from below the point, d/dx of (20 - x)^2 (1 + x^2) is zero at 2 x^2 - 20 x + 1 = 0.
    """
    along = foot_on_line(np.array([10.0, 1.0]), np.array([10.0, 0.0]), np.array([-1.0, 0.0]), np.array(5.0))
    assert along == pytest.approx((20.0 - math.sqrt(400.0 - 8.0)) / 4.0, rel=1e-12)


# Which passage limits.


def test_line_to_a_shared_corner_ties_and_counts_for_the_gap(plain: dict[str, Any]) -> None:
    """With face and band alike the low-lift line starts at the face's inner edge, which the under-head cone shares."""
    design = plain | {"face_width": 2.0 * MM}
    passages = least_passages(built(design), [0.5 * MM, 1 * MM, 2 * MM], lines=True)
    assert passages.gap_line is not None
    assert passages.gap_area == pytest.approx(passages.throat_area, rel=1e-12)
    assert passages.limited_by_gap.tolist() == [[True, True, True]]
    edge = np.array([20 - math.sqrt(2.0), math.sqrt(2.0) - 1.0]) * MM
    assert passages.gap_line[0, 1, 1] == pytest.approx(edge, abs=1e-12)


def test_a_tie_is_the_gaps_within_a_billionth() -> None:
    throat = np.array([[1.0, 1.0, 1.0, 1.0]])
    passages = Passages(np.array([[1.0, 1.0 + 0.5 * TIE, 1.0 + 2.0 * TIE, 0.9]]), throat, None, None)
    assert TIE == 1e-9
    assert passages.limited_by_gap.tolist() == [[True, True, False, True]]
    assert passages.flow_area.tolist() == [[1.0, 1.0, 1.0, 0.9]]


def test_gap_limits_at_low_lift_and_throat_when_wide_open(full: dict[str, Any]) -> None:
    passages = least_passages(built(full), np.array([0.5, 2.0, 15.0, 20.0]) * MM)
    assert passages.limited_by_gap.tolist() == [[True, True, False, False]]
    assert (passages.flow_area == np.minimum(passages.gap_area, passages.throat_area)).all()


@pytest.mark.parametrize("seed", range(300, 330))
def test_lines_reproduce_areas_and_lie_on_the_parts_named(reference: SimpleNamespace, seed: int) -> None:
    """1e-12 relative for the area, 1e-12 m for the ends: rounding alone."""
    design = reference.possible_design(seed)
    lifts = LIFTS * design["head_radius"] / (20 * MM)
    passages = least_passages(built(design), lifts, lines=True)
    assert passages.gap_line is not None
    assert passages.throat_line is not None
    wall = reference.wall_parts(design)
    for index, lift in enumerate(lifts):
        valve = [part.lowered(lift) for part in reference.valve_parts(design)]
        line = passages.gap_line[0, index]
        assert reference.area(*line) == pytest.approx(passages.gap_area[0, index], rel=1e-12)
        assert min(part.distance(line[0]) for part in wall if part.name != reference.throat) < 1e-12
        assert min(part.distance(line[1]) for part in valve if part.name in reference.near) < 1e-12
        line = passages.throat_line[0, index]
        assert reference.area(*line) == pytest.approx(passages.throat_area[0, index], rel=1e-12)
        on_wall = {part.name for part in wall if part.distance(line[0]) < 1e-12}
        on_valve = {part.name for part in valve if part.distance(line[1]) < 1e-12}
        assert on_wall
        assert on_valve
        assert reference.throat in on_wall or not on_valve <= set(reference.near)


def test_lines_are_left_out_unless_wanted(full: dict[str, Any]) -> None:
    without, with_lines = (least_passages(built(full), LIFTS, lines=wanted) for wanted in (False, True))
    assert without.gap_line is None
    assert without.throat_line is None
    assert (without.gap_area == with_lines.gap_area).all()
    assert (without.throat_area == with_lines.throat_area).all()


# Limits and symmetries.


@pytest.mark.parametrize("seed", range(400, 430))
def test_areas_do_not_fall_with_lift(reference: SimpleNamespace, seed: int) -> None:
    """1e-13 m2 for rounding, of areas of some 1e-4."""
    design = reference.possible_design(seed)
    passages = least_passages(built(design), np.linspace(0.0, 0.8, 161) * design["head_radius"])
    for area in (passages.gap_area, passages.throat_area, passages.flow_area):
        assert (np.diff(area[0]) >= -1e-13).all()
    assert (np.diff(passages.gap_area[0]) > 0.0).all()


@pytest.mark.parametrize("seed", range(430, 450))
def test_closed_valve_has_no_gap(reference: SimpleNamespace, seed: int) -> None:
    """1e-15 m2 is a hair of 1e-14 m round the seat."""
    passages = least_passages(built(reference.possible_design(seed)), [0.0])
    assert passages.gap_area[0, 0] == pytest.approx(0.0, abs=1e-15)
    assert passages.limited_by_gap[0, 0] or passages.throat_area[0, 0] == pytest.approx(0.0, abs=1e-15)


@pytest.mark.parametrize("seed", range(450, 470))
def test_wide_open_valve_leaves_throat_less_stem(reference: SimpleNamespace, seed: int) -> None:
    """pi (Rt^2 - Rs^2), straight across; a lift of two head radii is far beyond any valve's."""
    design = reference.possible_design(seed)
    passages = least_passages(built(design), [2.0 * design["head_radius"]])
    expected = math.pi * (design["throat_radius"] ** 2 - design["stem_radius"] ** 2)
    assert passages.throat_area[0, 0] == pytest.approx(expected, rel=1e-12)
    assert passages.flow_area[0, 0] == pytest.approx(expected, rel=1e-12)
    assert not passages.limited_by_gap[0, 0]


@pytest.mark.parametrize("factor", [0.1, 0.5, 3.0, 25.4])
def test_areas_scale_with_the_square_of_the_size(full: dict[str, Any], factor: float) -> None:
    """1e-12 relative for rounding on straight parts and a converged arc."""
    larger = {
        key: value if "angle" in key else (np.asarray(value) * factor if np.ndim(value) else value * factor)
        for key, value in full.items()
    }
    one, other = (least_passages(built(d), LIFTS * f) for d, f in ((full, 1.0), (larger, factor)))
    assert other.gap_area == pytest.approx(one.gap_area * factor**2, rel=1e-12)
    assert other.throat_area == pytest.approx(one.throat_area * factor**2, rel=1e-12)


def test_a_cut_along_the_face_or_the_band_changes_no_flow_area(plain: dict[str, Any]) -> None:
    """A back cut at the under-head cone's angle, and a bottom cut at 60 deg, only rename pieces of the same profile.

    What moves from the throat's side to the gap's may move between the two areas, not in the smaller of them.
    """
    lifts = np.linspace(0.1, 14.0, 60) * MM
    bare = least_passages(built(plain), lifts).flow_area
    back = plain | {"back_cut_angle": deg(15), "back_cut_width": 2 * MM}
    assert least_passages(built(back), lifts).flow_area == pytest.approx(bare, rel=1e-12)
    cut = plain | {"bottom_cut_angles": [deg(60)], "bottom_cut_widths": [1 * MM]}
    assert least_passages(built(cut), lifts).flow_area == pytest.approx(bare, rel=1e-12)


def test_a_fillet_of_almost_no_radius_is_a_sharp_corner(full: dict[str, Any]) -> None:
    """A micrometre of radius changes no area by more than its own share, 1e-4 relative."""
    lifts = np.linspace(0.1, 14.0, 60) * MM
    sharp, rounded = (least_passages(built(full | {"fillet_radius": radius}), lifts) for radius in (0.0, 1e-6))
    assert rounded.throat_area == pytest.approx(sharp.throat_area, rel=1e-4)
    assert (rounded.throat_area <= sharp.throat_area * (1.0 + 1e-12)).all()


@pytest.mark.parametrize("slimmer", [{"fillet_radius": 8 * MM}, {"stem_radius": 3 * MM}, {"underhead_angle": deg(10)}])
def test_material_taken_off_the_valve_never_narrows_the_passage(
    full: dict[str, Any], slimmer: dict[str, float]
) -> None:
    """A smaller fillet, a thinner stem, a flatter back: at least as much room at every lift, and more at some."""
    lifts = np.linspace(0.1, 14.0, 60) * MM
    stout = full | {"fillet_radius": 15 * MM}
    before, after = (least_passages(built(design), lifts).throat_area for design in (stout, stout | slimmer))
    assert (after >= before * (1.0 - 1e-12)).all()
    assert (after > before * 1.001).any()


# Many designs at once.


@pytest.fixture(scope="module")
def designs(reference: SimpleNamespace) -> list[dict[str, Any]]:
    return [reference.possible_design(seed) for seed in range(500, 530)]


def test_many_at_once_are_as_one_at_a_time(designs: list[dict[str, Any]]) -> None:
    """With cuts and fillets mixed; 1e-13 relative, and 1e-9 m for ends, whose place is flatter than the area."""
    together = least_passages(built(stacked(designs)), LIFTS, lines=True)
    assert together.gap_area.shape == (len(designs), len(LIFTS))
    for number, design in enumerate(designs):
        alone = least_passages(built(design), LIFTS, lines=True)
        for name in ("gap_area", "throat_area"):
            assert getattr(together, name)[number] == pytest.approx(getattr(alone, name)[0], rel=1e-13)
        assert (together.limited_by_gap[number] == alone.limited_by_gap[0]).all()
        assert together.gap_line is not None
        assert alone.gap_line is not None
        assert together.gap_line[number] == pytest.approx(alone.gap_line[0], abs=1e-9)


@pytest.mark.parametrize("size", [1, 700, 5000])
def test_chunks_change_nothing(designs: list[dict[str, Any]], monkeypatch: pytest.MonkeyPatch, size: int) -> None:
    profiles = built(stacked(designs))
    whole = least_passages(profiles, LIFTS, lines=True)
    monkeypatch.setattr("portviz.geometry.passages._CHUNK", size)
    chunked = least_passages(profiles, LIFTS, lines=True)
    for name in ("gap_area", "throat_area", "gap_line", "throat_line"):
        # Equal to rounding: the last bit of a sine may depend on its place in an array.
        assert getattr(chunked, name) == pytest.approx(getattr(whole, name), rel=1e-13, abs=1e-11)


@pytest.mark.parametrize("threads", [1, 2, 7])
def test_threads_change_nothing_and_progress_is_told(
    designs: list[dict[str, Any]], monkeypatch: pytest.MonkeyPatch, threads: int
) -> None:
    """The same to the last bit; progress rises to the number of designs, told by the thread that asked."""
    profiles = built(stacked(designs))
    monkeypatch.setattr("portviz.geometry.passages._CHUNK", 700)
    monkeypatch.setattr("os.cpu_count", lambda: 1)
    alone = least_passages(profiles, LIFTS, lines=True)
    monkeypatch.setattr("os.cpu_count", lambda: threads)
    told: list[tuple[int, int]] = []
    found = least_passages(
        profiles, LIFTS, lines=True, progress=lambda done: told.append((done, threading.get_ident()))
    )
    for name in ("gap_area", "throat_area", "gap_line", "throat_line"):
        assert (getattr(found, name) == getattr(alone, name)).all()
    done = [each for each, _ in told]
    assert len(done) > 4
    assert done == sorted(set(done))
    assert done[-1] == len(designs)
    assert {thread for _, thread in told} == {threading.get_ident()}


@pytest.mark.parametrize("threads", [1, 3])
def test_an_interruption_stops_it(designs: list[dict[str, Any]], monkeypatch: pytest.MonkeyPatch, threads: int) -> None:
    """Ctrl-C after the first chunk: those at work are finished, the many others never begun."""
    from portviz.geometry import passages as module

    profiles = built(stacked(10 * designs))
    begun, whole = [], module._search

    def counted(*arguments: Any) -> Any:
        begun.append(1)
        time.sleep(0.001)
        return whole(*arguments)

    def stop(done: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(module, "_search", counted)
    monkeypatch.setattr(module, "_CHUNK", 1)
    monkeypatch.setattr("os.cpu_count", lambda: threads)
    with pytest.raises(KeyboardInterrupt):
        least_passages(profiles, LIFTS, progress=stop)
    assert len(begun) < 0.5 * profiles.count * len(LIFTS)


def test_every_design_may_have_its_own_lifts(designs: list[dict[str, Any]]) -> None:
    profiles = built(stacked(designs[:3]))
    lifts = np.array([[1.0, 2.0], [3.0, 4.0], [5.0, 6.0]]) * MM
    own = least_passages(profiles, lifts)
    for number in range(3):
        same = least_passages(profiles, lifts[number])
        assert own.gap_area[number] == pytest.approx(same.gap_area[number], rel=1e-13)
        assert own.throat_area[number] == pytest.approx(same.throat_area[number], rel=1e-13)


def test_a_missing_cut_and_one_of_no_width_are_the_same(plain: dict[str, Any]) -> None:
    padded = plain | {"bottom_cut_angles": [0.0, 0.0], "bottom_cut_widths": [0.0, 0.0]}
    one, other = (least_passages(built(design), LIFTS) for design in (plain, padded))
    assert other.gap_area == pytest.approx(one.gap_area, rel=1e-14)
    assert other.throat_area == pytest.approx(one.throat_area, rel=1e-14)


def test_ends_of_a_passage_are_named_by_the_parts_they_lie_on() -> None:
    """Hand-made lines on the parts of a plain valve and seat, closed and lifted."""
    profiles = build_profiles(
        dimensions(
            head_radius=20e-3,
            stem_radius=3.5e-3,
            face_angle=np.radians(45.0),
            face_width=2.5e-3,
            margin=1e-3,
            back_cut_angle=np.radians(30.0),
            back_cut_width=1e-3,
            underhead_angle=np.radians(15.0),
            fillet_radius=5e-3,
            seat_angle=np.radians(45.0),
            seat_width=1.5e-3,
            seat_outer_radius=20e-3,
            throat_radius=17e-3,
        )
    )
    wall, valve, lift = profiles.wall[0], profiles.valve[0], 4e-3
    middle = [(valve[part] + valve[part + 1]) / 2.0 - [0.0, lift] for part in range(6)]
    arc = profiles.fillet_centre[0] + 5e-3 * np.array([-np.cos(0.6), -np.sin(0.6)]) - [0.0, lift]
    middle[4] = arc
    on_seat, in_throat = (wall[1] + wall[2]) / 2.0, wall[-2] + [0.0, 1e-3]
    names = ["margin", "face", "back cut", "back of head", "fillet", "stem"]
    for end, where in ((on_seat, "seat"), (in_throat, "throat")):
        lines = np.array([[end, each] for each in middle])
        found = passage_ends(profiles, lines, np.full(6, lift))
        assert found == [(where, name) for name in names]
    corner = np.array([[wall[-2], valve[5] - [0.0, lift]]])
    assert passage_ends(profiles, corner, np.array([lift])) == [("throat", "stem")]
