"""The three-stage formula, the curtain and the head's area as functions: shapes, limits, symmetries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portviz.geometry.three_stage import curtain_area, head_area, three_stage_area

MM = 1e-3
VALVE = (40 * MM, 35 * MM, 7 * MM, 2 * MM, math.pi / 4)


def test_lifts_and_dimensions_are_broadcast() -> None:
    heads = np.array([[38.0], [40.0]]) * MM
    area, stage = three_stage_area([1 * MM, 5 * MM, 20 * MM], heads, *VALVE[1:])
    assert area.shape == stage.shape == (2, 3)
    assert stage[1].tolist() == [1, 2, 3]
    assert area[1, 1] == three_stage_area(5 * MM, *VALVE).area


def test_stage_is_a_whole_number() -> None:
    assert np.issubdtype(three_stage_area([1 * MM], *VALVE).stage.dtype, np.integer)


def test_no_lift_is_no_area() -> None:
    result = three_stage_area(0.0, *VALVE)
    assert result.area == 0.0
    assert result.stage == 1


valves = st.tuples(
    st.floats(15.0, 60.0), st.floats(0.75, 0.92), st.floats(0.1, 0.25), st.floats(0.02, 0.08), st.floats(20.0, 65.0)
)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(valves)
def test_area_rises_without_jumps_to_the_port(valve: tuple[float, float, float, float, float]) -> None:
    """For any usual valve: stages in order, area never falling, each step no larger than the steepest law allows."""
    head, port, stem, width, angle = valve
    slope = math.radians(angle)
    lifts = np.linspace(0.0, 0.6 * head, 1201) * MM
    area, stage = three_stage_area(lifts, head * MM, head * port * MM, head * stem * MM, head * width * MM, slope)
    assert (np.diff(area) >= -1e-18).all()
    assert (np.diff(stage) >= 0).all()
    # Steepest of all is the third law's forerunner: a cylinder, pi D per unit of lift.
    assert np.max(np.diff(area)) <= math.pi * head * MM * (lifts[1] - lifts[0]) * (1 + 1e-9)
    assert area[-1] == pytest.approx(math.pi / 4 * (head * MM) ** 2 * (port**2 - stem**2), rel=1e-12)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(valves, st.floats(0.01, 0.5), st.floats(0.1, 10.0))
def test_area_scales_with_the_square_of_the_size(
    valve: tuple[float, float, float, float, float], lift: float, factor: float
) -> None:
    """1e-12 relative for rounding. The stage is compared away from its limits only, through the area."""
    head, port, stem, width, angle = valve

    def area(size: float) -> float:
        d = head * MM * size
        return float(three_stage_area(lift * d, d, port * d, stem * d, width * d, math.radians(angle)).area)

    assert area(factor) == pytest.approx(area(1.0) * factor**2, rel=1e-12)


def test_curtain_and_head_take_arrays() -> None:
    assert curtain_area([1 * MM, 2 * MM], 40 * MM) == pytest.approx(np.pi * 40e-6 * np.array([1, 2]), rel=1e-14)
    assert head_area([20 * MM, 40 * MM]) == pytest.approx(np.pi * 1e-4 * np.array([1, 4]), rel=1e-14)
