"""Weak arcs, halves and harmonics of ragged groups, against slow and plain computations."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portviz.distribution.harmonics import harmonic_weights
from portviz.distribution.rings import (
    greatest_over_least,
    half_circle_parts,
    half_circle_share,
    weak_arcs,
)

FIRST = np.array([0])
many = settings(max_examples=100, deadline=None)


@st.composite
def rings(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray]:
    """Stations on whole degrees, and velocities, often equal ones."""
    angles = draw(st.lists(st.integers(0, 359), min_size=3, max_size=14, unique=True))
    step = draw(st.sampled_from([0.01, 1.0, 10.0]))
    values = draw(st.lists(st.floats(60.0, 140.0), min_size=len(angles), max_size=len(angles)))
    return np.sort(np.array(angles, dtype=float)), np.round(np.array(values) / step) * step


def arcs_of_a_fine_ring(velocity: np.ndarray, angle: np.ndarray) -> tuple[float, float, float, float]:
    """Arcs, intensity, extent and multiple of a ring laid out in 0.002 deg and walked once round."""
    count = 180_000
    fine = (np.arange(count) + 0.5) * 360.0 / count
    knots = np.concatenate([[angle[-1] - 360.0], angle, [angle[0] + 360.0]])
    ring = np.interp(fine, knots, np.concatenate([velocity[-1:], velocity, velocity[:1]]))
    mean = ring.mean()
    low = ring < mean - 1e-7 * mean
    if not low.any():
        return 0.0, 0.0, 0.0, math.nan
    first_high = int(np.flatnonzero(~low & np.roll(low, 1))[0])
    low, ring = np.roll(low, -first_high), np.roll(ring, -first_high)
    pieces = np.split(np.arange(count), np.flatnonzero(np.diff(low.astype(int))) + 1)
    highs = [len(piece) * 360.0 / count for piece in pieces[0::2]]
    extents = [len(piece) * 360.0 / count for piece in pieces[1::2]]
    weights = [float((mean - ring[piece]).sum()) * 360.0 / count for piece in pieces[1::2]]
    parted = [place for place, high in enumerate(highs) if high >= 25.0]
    arcs: list[list[float]] = [] if parted else [[0.0, 0.0]]
    for step in range(len(extents)):
        place = ((parted[0] if parted else 0) + step) % len(extents)
        if place in parted:
            arcs.append([0.0, 0.0])
        arcs[-1][0] += extents[place]
        arcs[-1][1] += weights[place]
    extent, weight = max(arcs, key=lambda arc: arc[1])
    return float(len(arcs)), weight / extent / mean, extent, sum(arc[1] for arc in arcs) / weight


def rng_rings() -> list[tuple[np.ndarray, np.ndarray]]:
    generator = np.random.default_rng(7)
    found = []
    for number in range(150):
        size = int(generator.integers(3, 30))
        angle = np.sort(generator.choice(3600, size, replace=False) / 10.0)
        velocity = 100.0 + 10.0 * generator.standard_normal(size)
        if number % 5 == 0:
            velocity = np.round(velocity / 10.0) * 10.0
        if number % 29 == 0:
            velocity[:] = 50.0
        found.append((angle, velocity))
    return found


def test_weak_arcs_of_ragged_rings_in_one_pass_are_those_of_a_walk_round_each() -> None:
    each = rng_rings()
    starts = np.cumsum([0, *(len(angle) for angle, _ in each[:-1])])
    found = weak_arcs(np.concatenate([v for _, v in each]), np.concatenate([a for a, _ in each]), starts)
    for place, (angle, velocity) in enumerate(each):
        mine = [float(values[place]) for values in found[:4]]
        assert mine == pytest.approx(arcs_of_a_fine_ring(velocity, angle), rel=3e-3, abs=1e-2, nan_ok=True), place


@many
@given(ring=rings(), turn=st.integers(0, 359))
def test_where_station_0_stands_does_not_matter(ring: tuple[np.ndarray, np.ndarray], turn: int) -> None:
    angle, velocity = ring
    moved = np.mod(angle + turn, 360.0)
    order = np.argsort(moved)
    here, there = weak_arcs(velocity, angle, FIRST), weak_arcs(velocity[order], moved[order], FIRST)
    for mine, theirs in zip(here[:4], there[:4], strict=True):
        assert theirs == pytest.approx(mine, rel=1e-6, abs=1e-6, nan_ok=True)


def test_two_short_strong_arcs_of_one_width_leave_one_weak_arc() -> None:
    angle = np.array([0.0, 10.0, 20.0, 180.0, 190.0, 200.0])
    velocity = np.array([90.0, 150.0, 90.0, 90.0, 150.0, 90.0])
    assert weak_arcs(velocity, angle, FIRST).arcs[0] == 1.0


def test_an_even_ring_has_no_weak_arc_and_air_that_flows_back_no_intensity() -> None:
    angle = np.array([0.0, 90.0, 200.0])
    found = weak_arcs(np.array([70.0, 70.0, 70.0, -70.0, -60.0, -70.0]), np.tile(angle, 2), np.array([0, 3]))
    assert (found.arcs[0], found.intensity[0], found.extent_deg[0]) == (0.0, 0.0, 0.0)
    assert np.isnan([found.multiple[0], found.from_deg[0], found.to_deg[0]]).all()
    assert np.isnan([values[1] for values in found]).all()


@many
@given(ring=rings(), toward=st.floats(-360.0, 360.0))
def test_half_circles_are_cut_at_their_edges(ring: tuple[np.ndarray, np.ndarray], toward: float) -> None:
    """Against sectors laid out in 0.01 deg; the other half circle has the rest."""
    angle, velocity = ring
    fine = (np.arange(36_000) + 0.5) / 100.0
    apart = np.abs((fine[:, None] - angle + 180.0) % 360.0 - 180.0)
    nearest = np.argmin(apart, axis=1)
    inside = np.cos(np.radians(fine - toward)) > 0.0
    parts = half_circle_parts(angle, FIRST, toward)
    expected = [np.mean(inside[nearest == station]) for station in range(len(angle))]
    assert parts == pytest.approx(expected, abs=0.02)
    share = velocity / velocity.sum()
    halves = [
        half_circle_share(share, half_circle_parts(angle, FIRST, to), FIRST)[0] for to in (toward, toward + 180.0)
    ]
    assert sum(halves) == pytest.approx(1.0, abs=1e-12)


def test_a_half_circle_along_a_station_line_takes_half_of_two_sectors() -> None:
    share = np.array([0.4, 0.3, 0.2, 0.1])
    parts = half_circle_parts(90.0 * np.arange(4), FIRST, 90.0)
    assert half_circle_share(share, parts, FIRST)[0] == pytest.approx(0.3 + 0.5 * (0.4 + 0.2))


def test_greatest_over_least_is_not_told_where_air_stands() -> None:
    velocity = np.array([60.0, 90.0, 80.0, 0.0, 90.0, 80.0])
    found = greatest_over_least(velocity, np.array([0, 3]))
    assert found[0] == pytest.approx(1.5)
    assert np.isnan(found[1])


def test_harmonics_of_uneven_stations_are_exact_as_far_as_they_are_supported() -> None:
    angle = np.array([0.0, 25.0, 70.0, 130.0, 160.0, 215.0, 240.0, 290.0, 335.0])
    turn = np.radians(angle)
    velocity = 80.0 + sum(
        size * np.cos(order * turn - phase) for order, size, phase in ((1, 9.0, 0.3), (2, 4.0, 2.0), (3, 3.0, 4.0))
    )
    found = harmonic_weights(angle, FIRST) @ velocity
    assert np.abs(found[:3]) == pytest.approx([9.0, 4.0, 3.0], abs=1e-9)
    assert np.mod(np.angle(found[:3]), 2.0 * math.pi) == pytest.approx([0.3, 2.0, 4.0], abs=1e-9)


def test_harmonics_are_those_of_a_least_squares_fit() -> None:
    generator = np.random.default_rng(3)
    angle = np.sort(generator.choice(72, 16, replace=False) * 5.0)
    velocity = 80.0 + 10.0 * generator.standard_normal(16)
    turn = np.radians(angle)
    terms = [np.ones(16), *(part(order * turn) for order in range(1, 5) for part in (np.cos, np.sin))]
    fit = np.linalg.lstsq(np.stack(terms, axis=1), velocity, rcond=None)[0]
    assert harmonic_weights(angle, FIRST) @ velocity == pytest.approx(fit[1::2] + 1j * fit[2::2], abs=1e-9)


@pytest.mark.parametrize(("count", "told"), [(3, 1), (4, 1), (5, 2), (6, 2), (7, 3), (8, 3), (9, 4), (24, 4)])
def test_stations_support_fewer_than_half_as_many_lobes(count: int, told: int) -> None:
    weights = harmonic_weights(np.arange(count) * 360.0 / count, FIRST)
    assert np.isfinite(weights).all(axis=1).tolist() == [order <= told for order in range(1, 5)]


def test_stations_in_a_heap_tell_no_lobes() -> None:
    weights = harmonic_weights(np.array([0.0, 2.0, 4.0, 6.0, 8.0, 180.0]), FIRST)
    assert np.isnan(weights).all()
