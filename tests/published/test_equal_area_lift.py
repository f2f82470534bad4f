"""Textbook lift for equal area, h = d / (4 cos(alpha)): a text on machine design, section 32.22.

How far seen: the section was read in text found by search.

The rule sets the passage square to the seat, pi d h cos(alpha), equal to the port, pi d^2 / 4. It takes the ring at
the port's diameter for every lift, so that it is the low-lift law carried on in a straight line: that, and no more, is
what is held against the exact gap here, with a throat as wide as the seat's inner edge and no stem.
"""

from __future__ import annotations

import math

import pytest

from portviz.geometry.dimensions import dimensions
from portviz.geometry.passages import least_passages
from portviz.geometry.profiles import build_profiles
from portviz.geometry.three_stage import head_area, three_stage_area

MM = 1e-3
PORT = 36 * MM
#: So low that the ring's growth with lift, L sin(2a) / (2 d), is below 2e-7.
LIFT = 1e-8


@pytest.mark.parametrize(("angle", "lift_over_diameter"), [(30.0, 0.288675), (45.0, 0.353553)])
def test_low_lift_law_reaches_the_port_at_the_textbook_lift(angle: float, lift_over_diameter: float) -> None:
    """Six decimals given; 1e-6 for the lift at which the slope is taken."""
    slope = math.radians(angle)
    width = 2 * MM
    design = dimensions(
        head_radius=PORT / 2 + width * math.cos(slope),
        stem_radius=3 * MM,
        seat_angle=slope,
        seat_width=width,
        face_width=width,
        throat_radius=PORT / 2,
        underhead_angle=0.0,
    )
    per_lift = least_passages(build_profiles(design), [LIFT]).gap_area[0, 0] / LIFT
    found = head_area(PORT) / per_lift / PORT
    assert found == pytest.approx(1.0 / (4.0 * math.cos(slope)), rel=1e-6)
    assert found == pytest.approx(lift_over_diameter, abs=1e-6)


@pytest.mark.parametrize("angle", [30.0, 45.0])
def test_three_stage_formula_has_the_same_low_lift_law(angle: float) -> None:
    """Eq. 6.7 divided by the lift tends to pi cos(alpha) times the seat's inner diameter."""
    slope = math.radians(angle)
    area = three_stage_area(LIFT, PORT + 4 * MM, PORT, 0.0, 2 * MM, slope).area
    assert head_area(PORT) / (area / LIFT) / PORT == pytest.approx(1.0 / (4.0 * math.cos(slope)), rel=1e-6)


def test_at_the_textbook_lift_the_gap_is_already_larger_than_the_port() -> None:
    """At h a 45 deg seat 2 mm wide is far in its second stage, where the passage no longer stands square to the seat.

    The gap is then pi D_m sqrt((h - w)^2 + w^2) to within 0.2 %, a third more than the port: a rule for estimates.
    """
    slope = math.pi / 4
    radial = 2 * MM * math.cos(slope)
    design = dimensions(
        head_radius=PORT / 2 + radial,
        stem_radius=3 * MM,
        seat_angle=slope,
        seat_width=2 * MM,
        face_width=2 * MM,
        throat_radius=PORT / 2,
        underhead_angle=0.0,
    )
    lift = PORT / (4.0 * math.cos(slope))
    gap = least_passages(build_profiles(design), [lift]).gap_area[0, 0]
    second = math.pi * (PORT + radial) * math.hypot(lift - radial, radial)
    assert gap == pytest.approx(second, rel=0.002)
    assert 1.3 < gap / head_area(PORT) < 1.35
