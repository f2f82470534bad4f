"""Distortion of a ring of probes, harmonics round a circle and their aliases: small worked patterns.

Intensity, extent and multiple per revolution: SAE Aerospace Recommended Practice 1420. The standard itself was not
read; its procedure (linear between probes, arcs less than 25 deg apart merged) was seen in an open implementation,
and the numbers below were computed from it apart from this package, to the decimals that stand here.

Harmonics and the periodic trapezoid rule: textbook mathematics; amplitudes chosen, closed forms derived.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from portviz.distribution.harmonics import harmonic_weights, lobe_direction_deg
from portviz.distribution.measures import velocity_measures
from portviz.distribution.rings import half_circle_parts, half_circle_share, weak_arcs

FIRST = np.array([0])
EIGHT = 45.0 * np.arange(8)


def even(count: int) -> np.ndarray:
    return np.arange(count) * 360.0 / count


@pytest.mark.parametrize(
    ("ring", "mean", "extent", "low_mean", "intensity"),
    [
        ([100, 100, 100, 98, 94, 98, 100, 100], 98.75, 123.75, 96.647727, 0.02128884),
        ([101, 102, 101, 99, 97, 98, 100, 102], 100.0, 157.5, 98.357143, 0.01642857),
    ],
    ids=["one arc", "a probe at the mean"],
)
def test_intensity_and_extent(ring: list[float], mean: float, extent: float, low_mean: float, intensity: float) -> None:
    """[ARP-1420] by an open implementation; half a unit of the last decimal."""
    found = weak_arcs(np.array(ring, dtype=float), EIGHT, FIRST)
    assert found.arcs[0] == 1.0
    assert found.multiple[0] == pytest.approx(1.0, abs=1e-12)
    assert found.extent_deg[0] == pytest.approx(extent, abs=1e-9)
    assert found.intensity[0] == pytest.approx(intensity, abs=5.1e-9)
    assert mean * (1.0 - found.intensity[0]) == pytest.approx(low_mean, abs=5.1e-7)


@pytest.mark.parametrize("amplitude", [0.05, 0.3, 0.9])
@pytest.mark.parametrize("crest", [0.0, 77.0, 310.0])
def test_one_lobe_is_half_the_ring(amplitude: float, crest: float) -> None:
    """mean (1 + a cos): below its mean over 180 deg, by 2 a / pi; straight lines between 1440 stations."""
    angle = even(1440)
    found = weak_arcs(50.0 * (1.0 + amplitude * np.cos(np.radians(angle - crest))), angle, FIRST)
    assert found.extent_deg[0] == pytest.approx(180.0, abs=1e-3)
    assert found.intensity[0] == pytest.approx(2.0 * amplitude / math.pi, rel=1e-5)
    middle = (found.from_deg[0] + 0.5 * found.extent_deg[0]) % 360.0
    assert (middle - crest) % 360.0 == pytest.approx(180.0, abs=1e-3)


def test_two_equal_lobes_weigh_twice() -> None:
    """mean (1 + a cos 2 angle): two arcs of 90 deg each, 90 deg apart; multiple per revolution 2."""
    angle = even(1440)
    found = weak_arcs(50.0 * (1.0 + 0.2 * np.cos(np.radians(2.0 * angle))), angle, FIRST)
    assert found.arcs[0] == 2.0
    assert found.multiple[0] == pytest.approx(2.0, abs=1e-6)
    assert found.extent_deg[0] == pytest.approx(90.0, abs=1e-3)
    assert found.intensity[0] == pytest.approx(0.4 / math.pi, rel=1e-5)


@pytest.mark.parametrize(("between", "arcs"), [(24.0, 1), (26.0, 2)])
def test_arcs_less_than_25_degrees_apart_are_one(between: float, arcs: int) -> None:
    """[ARP-1420] by an open implementation: the strong arc between two weak ones decides at 25 deg."""
    # Steps of 0.02 deg; the ring's mean is 100 whatever the width of the arc between.
    begin = np.array([0.0, 40.0, 40.0 + between, 80.0 + between])
    angle = np.sort(np.concatenate([begin, begin + 0.02]))
    low, high = 90.0, 100.0 + 800.0 / 280.0
    velocity = np.array([high, low, low, high, high, low, low, high])
    found = weak_arcs(velocity, angle, FIRST)
    assert found.arcs[0] == arcs
    assert found.extent_deg[0] == pytest.approx(80.0 if arcs == 1 else 40.0, abs=0.1)
    assert found.multiple[0] == pytest.approx(float(arcs), abs=2e-3)


def test_harmonics_of_eight_points() -> None:
    """100 + 12 cos(a - 30) + 5 cos(2 a + 40) + 2 cos(3 a) gives back 12, 5 and 2, with crests at 30, 160 and 0 deg."""
    turn = np.radians(EIGHT)
    velocity = 100.0 + 12.0 * np.cos(turn - np.radians(30.0)) + 5.0 * np.cos(2.0 * turn + np.radians(40.0))
    velocity += 2.0 * np.cos(3.0 * turn)
    harmonic = harmonic_weights(EIGHT, FIRST) @ velocity
    assert np.abs(harmonic[:3]) == pytest.approx([12.0, 5.0, 2.0], abs=1e-11)
    assert np.isnan(harmonic[3])
    crests = [float(lobe_direction_deg(harmonic[[place]], place + 1)[0]) for place in range(3)]
    assert crests[:2] == pytest.approx([30.0, 160.0], abs=1e-9)
    assert math.cos(math.radians(3.0 * crests[2])) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("count", [3, 4, 5, 6, 8])
def test_the_mean_of_even_stations_hears_the_first_alias_alone(count: int) -> None:
    """The periodic trapezoid rule is exact below harmonic N; harmonic N comes up whole."""
    angle = np.radians(even(count))
    for order in range(1, 2 * count):
        velocity = 50.0 + 10.0 * np.cos(order * angle)
        mean = velocity_measures(velocity, np.ones(count), FIRST).mean[0]
        assert mean == pytest.approx(60.0 if order == count else 50.0, abs=1e-11)


@pytest.mark.parametrize("count", [5, 6, 8])
def test_a_lobe_beyond_the_stations_comes_up_as_its_alias(count: int) -> None:
    """Harmonic N - 1 of N even stations looks like the first: why amplitudes need k < N / 2."""
    velocity = 50.0 + 10.0 * np.cos((count - 1) * np.radians(even(count)))
    harmonic = harmonic_weights(even(count), FIRST) @ velocity
    assert abs(harmonic[0]) == pytest.approx(10.0, abs=1e-11)


@pytest.mark.parametrize("amplitude", [0.1, 0.5, 1.0])
def test_share_of_the_half_circle_and_uniformity_of_one_lobe(amplitude: float) -> None:
    """1 + a cos: the half circle toward the crest carries 1/2 + a / pi, and the uniformity index is 1 - a / pi.

    Even sectors over n stations miss the integrals by about (pi / n)^2: 2e-6 at 3600, less.
    """
    angle = even(3600)
    velocity = 1.0 + amplitude * np.cos(np.radians(angle))
    share = velocity / velocity.sum()
    half = half_circle_share(share, half_circle_parts(angle, FIRST, 0.0), FIRST)
    assert half[0] == pytest.approx(0.5 + amplitude / math.pi, abs=1e-6)
    across = half_circle_share(share, half_circle_parts(angle, FIRST, 90.0), FIRST)
    assert across[0] == pytest.approx(0.5, abs=1e-12)
    index = velocity_measures(velocity, np.ones(3600), FIRST).uniformity_index[0]
    assert index == pytest.approx(1.0 - amplitude / math.pi, abs=1e-6)
