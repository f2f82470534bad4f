"""Velocity-area integration round a circle: what even stations integrate exactly, and what they mistake.

A trapezoid over n even points of a period is exact for harmonics below n; the first that it takes for
something else is the n-th. Textbook mathematics of discrete sums; the limits were checked apart from this
package for n = 3, 4, 5, 6 and 8. Tolerance: rounding of sums of up to 16 terms.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from portviz.distribution.measures import flow_bias, sector_angles, velocity_measures

FIRST = np.array([0])
ROUNDING = 1e-12
even = pytest.mark.parametrize("count", [3, 4, 5, 6, 8])


def mean_over_sectors(velocity: np.ndarray, angle: np.ndarray) -> float:
    return float(velocity_measures(velocity, sector_angles(angle, FIRST), FIRST).mean[0])


def lobes(order: int, angle: np.ndarray, phase: float = 0.3) -> np.ndarray:
    return np.cos(order * np.radians(angle) + phase)


@even
@pytest.mark.parametrize("offset", [0.0, 7.5])
def test_equal_sectors_integrate_harmonics_below_their_number(count: int, offset: float) -> None:
    angle = offset + 360.0 * np.arange(count) / count
    assert sector_angles(angle, FIRST) == pytest.approx(np.full(count, 360.0 / count), abs=1e-10)
    for order in range(1, count):
        assert mean_over_sectors(1.0 + 0.5 * lobes(order, angle), angle) == pytest.approx(1.0, abs=ROUNDING), order


@even
def test_the_first_alias_of_the_mean_is_the_number_of_stations(count: int) -> None:
    """Every station stands at the same place of the n-th harmonic: it is taken for mean velocity, whole."""
    angle = 360.0 * np.arange(count) / count
    assert mean_over_sectors(1.0 + 0.5 * lobes(count, angle), angle) == pytest.approx(
        1.0 + 0.5 * math.cos(0.3), abs=ROUNDING
    )


@even
def test_the_first_alias_of_the_bias_is_one_less(count: int) -> None:
    """Amplitudes need twice as many stations as means: the (n - 1)-th harmonic is taken for a lean of a / 2."""
    angle = 360.0 * np.arange(count) / count
    share = (1.0 + 0.5 * lobes(count - 1, angle)) / count
    assert abs(flow_bias(share, angle, FIRST)[0]) == pytest.approx(0.25, abs=ROUNDING)
    for order in range(2, count - 1):
        share = (1.0 + 0.5 * lobes(order, angle)) / count
        assert abs(flow_bias(share, angle, FIRST)[0]) < ROUNDING, order


def test_sectors_are_the_periodic_trapezoid() -> None:
    """On uneven stations too: half the way to each neighbour is the trapezoid's weight."""
    angle = np.array([5.0, 31.0, 90.0, 122.0, 200.0, 201.5, 340.0])
    velocity = np.array([60.0, 75.0, 71.0, 90.0, 88.0, 87.0, 64.0])
    closed = np.append(angle, angle[0] + 360.0), np.append(velocity, velocity[0])
    trapezoid = float(np.sum(np.diff(closed[0]) * (closed[1][1:] + closed[1][:-1]) / 2.0)) / 360.0
    assert mean_over_sectors(velocity, angle) == pytest.approx(trapezoid, rel=ROUNDING)


def test_a_circle_of_many_stations_needs_no_even_spacing() -> None:
    """Uneven stations integrate smooth patterns with an error that falls with the square of their spacing."""
    errors = []
    for count in (12, 24, 48, 96):
        even_angle = 360.0 * np.arange(count) / count
        angle = even_angle + 60.0 / math.pi * np.sin(np.radians(even_angle))
        errors.append(abs(mean_over_sectors(2.0 + np.cos(np.radians(angle)), angle) - 2.0))
    orders = np.log2(np.array(errors[:-1]) / np.array(errors[1:]))
    assert orders[-1] == pytest.approx(2.0, abs=0.05)
