"""Uniformity index of a velocity pattern, and harmonics round a circle: small worked patterns.

Uniformity index: 1 - sum(|w - mean| A) / (2 |mean| sum(A)), Weltens and others, SAE paper 930780 (1993). The
paper was located but its formula could not be read: it is from memory. Every number below was computed from
that formula apart from this package; where seven decimals are given, half a unit of the last is the tolerance,
and where the value is a short fraction, rounding alone.

Harmonics: discrete Fourier sums over even stations, textbook mathematics; amplitudes computed apart.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from portviz.distribution.measures import direction_deg, flow_bias, sector_angles, velocity_measures

FIRST = np.array([0])
ROUNDING = 1e-12


def uniformity(velocity: list[float] | np.ndarray, area: list[float] | None = None) -> float:
    weights = np.ones(len(velocity)) if area is None else np.array(area)
    return float(velocity_measures(np.array(velocity, dtype=float), weights, FIRST).uniformity_index[0])


@pytest.mark.parametrize(
    ("velocity", "area", "index", "within"),
    [
        ([7.0, 7.0, 7.0, 7.0], None, 1.0, ROUNDING),
        ([0.8, 1.0, 1.2], None, 0.9333333, 5.1e-8),
        ([10.0, 12.0, 8.0, 11.0, 9.0, 10.0], None, 0.95, ROUNDING),
        ([10.0, 20.0], [3.0, 1.0], 0.85, ROUNDING),
    ],
    ids=["uniform", "three", "six", "weighted"],
)
def test_uniformity_index(velocity: list[float], area: list[float] | None, index: float, within: float) -> None:
    """[Weltens], from memory; values computed apart from this package."""
    assert uniformity(velocity, area) == pytest.approx(index, abs=within)


@pytest.mark.parametrize("count", [2, 3, 4, 8, 16])
def test_uniformity_index_of_one_jet(count: int) -> None:
    """[Weltens], from memory: one of n equal parts carries all, and the index is 1 / n."""
    velocity = np.zeros(count)
    velocity[count // 2] = 31.0
    assert uniformity(velocity) == pytest.approx(1.0 / count, abs=ROUNDING)


@pytest.mark.parametrize("amplitude", [0.1, 0.5, 1.0])
def test_uniformity_index_of_one_lobe(amplitude: float) -> None:
    """[Weltens], from memory: 1 + a cos(angle) has the index 1 - a / pi.

    The mean of |cos| over n even points is 2 / pi (1 - pi^2 / (3 n^2)) or better: 4e-7 at 3600.
    """
    angle = np.radians(np.arange(3600) / 10.0)
    found = uniformity(50.0 * (1.0 + amplitude * np.cos(angle)))
    assert found == pytest.approx(1.0 - amplitude / math.pi, abs=4e-7)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_uniformity_index_divides_by_the_size_of_the_mean(sign: float) -> None:
    """[Weltens], from memory, with |mean|: all flow the other way is as uniform."""
    assert uniformity(sign * np.array([0.8, 1.0, 1.2])) == pytest.approx(0.9333333, abs=5.1e-8)


EIGHT = np.arange(8) * 45.0
#: Eight points at 45 deg, v = 100 + 12 cos(a - 30) + 5 cos(2 a + 40) + 2 cos(3 a).
LOBES = (
    100.0
    + 12.0 * np.cos(np.radians(EIGHT - 30.0))
    + 5.0 * np.cos(np.radians(2.0 * EIGHT + 40.0))
    + 2.0 * np.cos(np.radians(3.0 * EIGHT))
)


@pytest.mark.parametrize(("order", "amplitude", "phase"), [(1, 12.0, 30.0), (2, 5.0, 320.0), (3, 2.0, 0.0)])
def test_amplitudes_of_eight_points(order: int, amplitude: float, phase: float) -> None:
    """The centroid of the shares at angles multiplied by the order is amplitude / (2 mean), at the lobe's phase."""
    centroid = flow_bias(LOBES / LOBES.sum(), order * EIGHT, FIRST)
    assert 2.0 * 100.0 * abs(centroid[0]) == pytest.approx(amplitude, abs=ROUNDING * 100.0)
    assert (direction_deg(centroid)[0] - phase + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-9)


def test_bias_hears_the_first_harmonic_alone() -> None:
    """Of the same eight points: 12 / 200 toward 30 deg; the second and third lobe lean nowhere."""
    bias = flow_bias(LOBES / LOBES.sum(), EIGHT, FIRST)
    assert abs(bias[0]) == pytest.approx(0.06, abs=ROUNDING)
    assert direction_deg(bias)[0] == pytest.approx(30.0, abs=1e-9)
    rest = LOBES - 12.0 * np.cos(np.radians(EIGHT - 30.0))
    assert abs(flow_bias(rest / rest.sum(), EIGHT, FIRST)[0]) < ROUNDING


def test_root_mean_square_of_eight_points() -> None:
    """By Parseval rms / mean is sqrt((12^2 + 5^2 + 2^2) / 2) / 100 = sqrt(86.5) / 100; recomputed, nine decimals."""
    area = sector_angles(EIGHT, FIRST)
    found = velocity_measures(LOBES, area, FIRST)
    assert found.mean[0] == pytest.approx(100.0, abs=ROUNDING * 100.0)
    assert found.coefficient_of_variation[0] == pytest.approx(0.093005376, abs=5.1e-10)
