"""The measures themselves: weights, many groups in one pass, and their edges."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portviz.distribution.measures import (
    direction_deg,
    flow_bias,
    group_sizes,
    group_sum,
    sector_angles,
    velocity_measures,
)

FIRST = np.array([0])
many = settings(max_examples=100, deadline=None)
velocities = st.lists(st.floats(1.0, 200.0), min_size=3, max_size=12).map(np.array)


def measured(velocity: np.ndarray, area: np.ndarray) -> tuple[float, float, float]:
    found = velocity_measures(velocity, area, FIRST)
    return float(found.mean[0]), float(found.coefficient_of_variation[0]), float(found.uniformity_index[0])


@many
@given(velocity=velocities, data=st.data())
def test_weights_are_areas(velocity: np.ndarray, data: st.DataObject) -> None:
    """Whole weights say the same as that many equal sectors; the population's spread, not a sample's."""
    count = len(velocity)
    weight = np.array(data.draw(st.lists(st.integers(1, 6), min_size=count, max_size=count)))
    spread_out = np.repeat(velocity, weight)
    mean = float(np.mean(spread_out))
    found = measured(velocity, weight.astype(float))
    # A spread that vanishes beside the mean is left with the rounding of squares near 200^2.
    assert found[0] == pytest.approx(mean, rel=1e-12)
    assert found[1] == pytest.approx(float(np.std(spread_out)) / mean, rel=1e-9, abs=1e-8)
    assert found[2] == pytest.approx(1.0 - float(np.mean(np.abs(spread_out - mean))) / (2.0 * mean), rel=1e-12)


@many
@given(velocity=velocities, factor=st.floats(0.01, 100.0), data=st.data())
def test_neither_unit_of_area_nor_of_velocity_matters(velocity: np.ndarray, factor: float, data: st.DataObject) -> None:
    count = len(velocity)
    area = np.array(data.draw(st.lists(st.floats(0.1, 10.0), min_size=count, max_size=count)))
    mean, spread, uniformity = measured(velocity, area)
    assert measured(velocity, factor * area) == pytest.approx((mean, spread, uniformity), rel=1e-9, abs=1e-8)
    assert measured(factor * velocity, area) == pytest.approx((factor * mean, spread, uniformity), rel=1e-9, abs=1e-8)


@many
@given(velocity=velocities, share=st.floats(0.05, 0.95), place=st.integers(0, 11))
def test_a_sector_cut_in_two_changes_nothing(velocity: np.ndarray, share: float, place: int) -> None:
    place %= len(velocity)
    area = np.linspace(1.0, 2.0, len(velocity))
    parts = np.insert(area, place, share * area[place])
    parts[place + 1] *= 1.0 - share
    whole = measured(velocity, area)
    assert measured(np.insert(velocity, place, velocity[place]), parts) == pytest.approx(whole, rel=1e-9, abs=1e-8)


@many
@given(velocity=velocities)
def test_limits_of_the_uniformity_index(velocity: np.ndarray) -> None:
    """No two positive velocities are further apart than one jet among still sectors: 1 / n to 1."""
    _, spread, uniformity = measured(velocity, np.ones(len(velocity)))
    count = len(velocity)
    assert 1.0 / count - 1e-12 <= uniformity <= 1.0
    assert 0.0 <= spread <= math.sqrt(count - 1.0)


def test_no_mean_no_measure() -> None:
    """As much back as forward: mean zero, and nothing that divides by it."""
    mean, spread, uniformity = measured(np.array([5.0, -5.0, 0.0]), np.ones(3))
    assert mean == 0.0
    assert math.isnan(spread)
    assert math.isnan(uniformity)


def test_groups_do_not_mix() -> None:
    """Three groups of three, two and four stations at once, against each alone."""
    velocity = np.array([10.0, 20.0, 30.0, 5.0, 7.0, 1.0, 2.0, 3.0, 4.0])
    area = np.array([1.0, 2.0, 1.0, 3.0, 1.0, 1.0, 1.0, 2.0, 2.0])
    angle = np.array([0.0, 100.0, 200.0, 10.0, 190.0, 0.0, 45.0, 90.0, 300.0])
    starts = np.array([0, 3, 5])
    together, sectors = velocity_measures(velocity, area, starts), sector_angles(angle, starts)
    bias = flow_bias(velocity, angle, starts)
    assert group_sizes(starts, 9).tolist() == [3, 2, 4]
    assert group_sum(area, starts).tolist() == [4.0, 4.0, 6.0]
    for group, part in enumerate((slice(0, 3), slice(3, 5), slice(5, 9))):
        alone = measured(velocity[part], area[part])
        for name, expected in zip(("mean", "coefficient_of_variation", "uniformity_index"), alone, strict=True):
            assert getattr(together, name)[group] == pytest.approx(expected, rel=1e-14)
        assert sectors[part].tolist() == sector_angles(angle[part], FIRST).tolist()
        assert bias[group] == pytest.approx(flow_bias(velocity[part], angle[part], FIRST)[0], rel=1e-14)


@pytest.mark.parametrize(
    ("angles", "sectors"),
    [
        ([0.0, 180.0], [180.0, 180.0]),
        ([0.0, 120.0, 240.0], [120.0, 120.0, 120.0]),
        # Worked by hand: gaps of 40, 75, 145.5 and 99.5 deg.
        ([0.0, 40.0, 115.0, 260.5], [69.75, 57.5, 110.25, 122.5]),
        # The gap across 0 is 20 deg.
        ([10.0, 200.0, 350.0], [105.0, 170.0, 85.0]),
    ],
)
def test_sectors_by_hand(angles: list[float], sectors: list[float]) -> None:
    assert sector_angles(np.array(angles), FIRST).tolist() == sectors


@pytest.mark.parametrize("angle", [0.0, 1.0, 89.5, 90.0, 180.0, 270.0, 359.5])
def test_direction_of_a_lone_share(angle: float) -> None:
    """In [0, 360); a direction is rounded like the sine it comes from, 1e-13 deg."""
    bias = flow_bias(np.array([0.0, 1.0]), np.array([0.0, angle]), FIRST)
    assert abs(bias[0]) == pytest.approx(1.0, abs=1e-15)
    found = float(direction_deg(bias)[0])
    assert 0.0 <= found < 360.0
    assert (found - angle + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-12)


def test_direction_stays_below_a_whole_turn() -> None:
    """A hair clockwise of station 0 rounds up to 360, which is 0."""
    assert direction_deg(np.array([complex(1.0, -1e-18)])).tolist() == [0.0]
    assert float(direction_deg(np.array([complex(1.0, -1e-6)]))[0]) == pytest.approx(360.0, abs=1e-4)


def test_direction_of_rounding_is_no_direction() -> None:
    assert direction_deg(np.array([complex(-1e-17, 1e-17)])).tolist() == [0.0]
