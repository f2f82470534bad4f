"""Angular momentum of the jets: hand-made cases, plain cross products, and symmetry."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from portviz.distribution.turning import jet_arms, rolls_down_deg, turning
from portviz.geometry.passages import least_passages
from portviz.job.model import Engine

ANGLES = tuple(float(angle) for angle in range(0, 360, 30))
LIFT = 4e-3
CENTRAL = Engine(bore=0.08, valve_offset=0.0)


def reduction_of(reduced, drop):
    rows = [("a", LIFT, angle, drop(angle)) for angle in ANGLES]
    return reduced(rows, flow={("a", LIFT): (0.02, math.nan)})


def leaning(angle: float) -> float:
    return 2000.0 + 700.0 * math.cos(math.radians(angle - 75.0)) + 200.0 * math.sin(math.radians(2.0 * angle))


def test_an_even_flow_from_a_central_valve_turns_nothing(reduced):
    found = turning(reduction_of(reduced, lambda angle: 2000.0), CENTRAL)
    assert_allclose(found.coefficient, 0.0, atol=1e-12)
    assert_allclose(found.flux, 0.0, atol=1e-12)


def test_a_central_valve_never_turns_the_charge_about_the_bore(reduced):
    found = turning(reduction_of(reduced, leaning), CENTRAL)
    assert found.coefficient[2, 0] == pytest.approx(0.0, abs=1e-12)
    # More flow toward 75 deg goes down there.
    assert rolls_down_deg(found.coefficient[:2, 0]) == pytest.approx(75.0, abs=3.0)


def test_against_plain_cross_products(reduced):
    """Sum over stations of m v (r x d), written out in plain floats; the coefficient is 8 T / (m v0 B)."""
    reduction = reduction_of(reduced, leaning)
    engine = Engine(bore=0.08, valve_offset=0.018, valve_direction_deg=200.0)
    line = least_passages(reduction.profiles, [LIFT], lines=True).gap_line[0, 0]
    radius, depth = line[:, 0].mean(), -line[:, 1].mean()
    seat = reduction.job.seat.angle
    stations = reduction.stations
    total = np.zeros(3)
    for angle, share, velocity in zip(stations.angle_deg, stations.flow_share, stations.velocity, strict=True):
        turn, aim = math.radians(angle), math.radians(200.0)
        place = [
            0.018 * math.cos(aim) + radius * math.cos(turn),
            0.018 * math.sin(aim) + radius * math.sin(turn),
            depth,
        ]
        way = [math.cos(seat) * math.cos(turn), math.cos(seat) * math.sin(turn), math.sin(seat)]
        arm = [
            place[1] * way[2] - place[2] * way[1],
            place[2] * way[0] - place[0] * way[2],
            place[0] * way[1] - place[1] * way[0],
        ]
        total += reduction.bench_mass_flow[0] * share * velocity * np.array(arm)
    found = turning(reduction, engine)
    assert_allclose(found.flux[:, 0], total, rtol=1e-12)
    expected = 8.0 * total / (reduction.bench_mass_flow[0] * reduction.ideal_velocity[0] * 0.08)
    assert_allclose(found.coefficient[:, 0], expected, rtol=1e-12)


def test_one_jet_by_hand(reduced):
    """Nearly all flow at 90 deg from a valve at 20 mm toward 0 deg: +20 mm x cos(45 deg) about the bore."""
    drops = {angle: 2000.0 if angle == 90.0 else 1e-12 for angle in ANGLES}
    reduction = reduction_of(reduced, drops.__getitem__)
    engine = Engine(bore=0.09, valve_offset=0.02, valve_direction_deg=0.0)
    about = turning(reduction, engine).flux[2, 0] / (reduction.bench_mass_flow[0] * reduction.stations.velocity.max())
    assert about == pytest.approx(0.02 * math.cos(math.radians(45.0)), rel=1e-6)


def test_mirrored_data_turn_the_other_way(reduced):
    engine = Engine(bore=0.08, valve_offset=0.015, valve_direction_deg=40.0)
    mirrored = replace(engine, valve_direction_deg=-40.0)
    one = turning(reduction_of(reduced, leaning), engine).coefficient[:, 0]
    other = turning(reduction_of(reduced, lambda angle: leaning(-angle)), mirrored).coefficient[:, 0]
    assert_allclose(other, one * [-1.0, 1.0, -1.0], atol=1e-12)
    assert abs(one[2]) > 1e-3


@settings(max_examples=25, deadline=None)
@given(steps=st.integers(1, 11), offset=st.floats(0.0, 0.02), aim=st.floats(-360.0, 360.0))
def test_turning_the_head_turns_the_axes(reduced, steps, offset, aim):
    """All turned by a number of stations: the same about the bore, and across it turned along."""
    by = 30.0 * steps
    one = turning(reduction_of(reduced, leaning), Engine(0.08, valve_offset=offset, valve_direction_deg=aim))
    other = turning(
        reduction_of(reduced, lambda angle: leaning(angle - by)),
        Engine(0.08, valve_offset=offset, valve_direction_deg=aim + by),
    )
    across = [complex(*found.coefficient[:2, 0]) for found in (one, other)]
    assert across[1] == pytest.approx(across[0] * np.exp(1j * math.radians(by)), abs=1e-12)
    assert other.coefficient[2, 0] == pytest.approx(one.coefficient[2, 0], abs=1e-12)


def test_it_needs_the_valves_place(reduced):
    with pytest.raises(ValueError, match="needs the valve's offset"):
        jet_arms(reduction_of(reduced, leaning), Engine(0.08))
