"""Facts of the trade: common practice, no source. They are held to only as closely as a shop says them."""

from __future__ import annotations

import math

import pytest

from portviz.air import RoomAir, isentropic_state
from portviz.geometry.dimensions import dimensions
from portviz.geometry.passages import least_passages
from portviz.geometry.profiles import build_profiles
from portviz.geometry.three_stage import curtain_area, head_area
from portviz.units import parse_quantity, unit_factor

MM = 1e-3


def test_curtain_equals_the_head_at_a_quarter_of_the_diameter() -> None:
    """Common practice, no source; for the full head it is an identity, pi D D/4 = pi/4 D^2."""
    assert curtain_area(10 * MM, 40 * MM) == pytest.approx(head_area(40 * MM), rel=1e-15)
    assert curtain_area(9.9 * MM, 40 * MM) < head_area(40 * MM)


@pytest.mark.parametrize("throat_over_head", [0.85, 0.90])
def test_curtain_equals_the_throat_a_little_below_a_quarter(throat_over_head: float) -> None:
    """Common practice, no source: "near L/D 0.25".

    With the throat at 85 to 90 % of the head and the stem taken off it is 0.17 to 0.20.
    """
    head, stem = 40 * MM, 7 * MM
    design = dimensions(
        head_radius=head / 2,
        stem_radius=stem / 2,
        seat_angle=math.pi / 4,
        seat_width=1.5 * MM,
        throat_radius=throat_over_head * head / 2,
    )
    port = least_passages(build_profiles(design), [20 * MM]).throat_area[0, 0]
    lift_over_diameter = port / (math.pi * head) / head
    assert 0.17 < lift_over_diameter < 0.20
    assert curtain_area(lift_over_diameter * head, head) == pytest.approx(port, rel=1e-12)


@pytest.mark.parametrize("temperature", ["60 degF", "68 degF", "80 degF"])
def test_about_350_feet_a_second_at_28_inches_of_water(temperature: str) -> None:
    """Common practice, no source: 350 ft/s. From rest it is 353 to 361 ft/s over a shop's temperatures: within 4 %."""
    air = RoomAir(101325.0, parse_quantity(temperature, "temperature"), 0.5)
    drop = parse_quantity("28 inH2O", "pressure")
    state = isentropic_state(drop, air.pressure, air.temperature, air.gas_constant)
    assert state.velocity / unit_factor("ft/s", "velocity") == pytest.approx(350.0, rel=0.04)


@pytest.mark.parametrize("interference", [0.5, 1.0])
def test_usual_interference_angles_make_a_valve_that_seats(interference: float) -> None:
    """Common practice, no source: the face half a degree to one degree flatter than the seat."""
    design = dimensions(
        head_radius=20 * MM,
        stem_radius=3.5 * MM,
        seat_angle=math.radians(45.0),
        face_angle=math.radians(45.0 - interference),
        seat_width=1.5 * MM,
        throat_radius=17.5 * MM,
    )
    closed = least_passages(build_profiles(design), [0.0]).gap_area[0, 0]
    assert closed == pytest.approx(0.0, abs=1e-15)
