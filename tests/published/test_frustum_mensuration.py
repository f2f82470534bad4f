"""The lateral area of a conical frustum, pi (r1 + r2) slant, as any table of mensuration has it.

How far seen: the formula is from memory; the four values were computed from it apart from this package, and
one was met by triangles (141.371549 of 141.371669 mm2 with 2000 sections).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh

from portviz.geometry.dimensions import dimensions
from portviz.geometry.passages import _squared, least_passages
from portviz.geometry.profiles import build_profiles
from portviz.geometry.three_stage import curtain_area, head_area

MM = 1e-3


@pytest.mark.parametrize(
    ("one", "other", "area"),
    [
        ((3.0, 0.0), (5.0, 0.0), 50.265482),
        ((4.0, 0.0), (4.0, 7.0), 175.929189),
        ((0.0, 4.0), (3.0, 0.0), 47.123890),
        ((3.0, 0.0), (6.0, 4.0), 141.371669),
    ],
    ids=["flat ring", "cylinder", "cone", "frustum"],
)
def test_frustum_between_two_points(one: tuple[float, float], other: tuple[float, float], area: float) -> None:
    """The formula that every passage goes through; six decimals given."""
    ends = np.array([one, other])
    assert math.pi * math.sqrt(_squared(ends[0], ends[1])) == pytest.approx(area, abs=5e-7)
    assert math.pi * math.sqrt(_squared(ends[1], ends[0])) == pytest.approx(area, abs=5e-7)


def test_flat_ring_is_what_a_wide_open_valve_leaves() -> None:
    """Throat of radius 5, stem of radius 3: pi (25 - 9) = 50.265482."""
    design = dimensions(
        head_radius=6 * MM,
        stem_radius=3 * MM,
        seat_angle=math.pi / 4,
        seat_width=0.8 * MM,
        throat_radius=5 * MM,
    )
    area = least_passages(build_profiles(design), [20 * MM]).throat_area[0, 0]
    assert area / MM**2 == pytest.approx(50.265482, abs=5e-7)


def test_cylinder_is_the_curtain() -> None:
    """Diameter 8, height 7: 175.929189."""
    assert curtain_area(7 * MM, 8 * MM) / MM**2 == pytest.approx(175.929189, abs=5e-7)


def test_flat_disc_is_the_head() -> None:
    """A cone without height: pi r^2, for a diameter of 8 50.265482."""
    assert head_area(8 * MM) / MM**2 == pytest.approx(50.265482, abs=5e-7)


@pytest.mark.parametrize("lift", [0.5, 3.0, 6.0, 12.0])
@pytest.mark.parametrize("kind", ["gap", "throat"])
def test_least_line_turned_about_the_axis_as_triangles(lift: float, kind: str) -> None:
    """The surface of the turned line, summed over 2000 sections of triangles.

    A ring of n chords is short of its circle by (pi / n)^2 / 6 at the most, 4e-7; the slanting triangles double
    that at worst. 2e-6 is allowed, and the sum is never the larger.
    """
    design = dimensions(
        head_radius=20 * MM,
        stem_radius=3.5 * MM,
        seat_angle=math.pi / 4,
        seat_width=1.6 * MM,
        throat_radius=17 * MM,
        fillet_radius=8 * MM,
    )
    passages = least_passages(build_profiles(design), [lift * MM], lines=True)
    area = getattr(passages, f"{kind}_area")[0, 0]
    line = getattr(passages, f"{kind}_line")[0, 0]
    turned = trimesh.creation.revolve(line, sections=2000)
    assert turned.area == pytest.approx(area, rel=2e-6)
    assert turned.area < area
