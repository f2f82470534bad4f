"""The field between stations and lifts: exact where it was measured, and never beyond its neighbours."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from portviz.distribution.field import QUANTITIES, RunField, angle_to_nearest, around_circle, known_groups, run_field
from portviz.distribution.reduce import Reduction
from portviz.job.model import SAME_LIFT

Reduce = Callable[..., Reduction]
Circle = tuple[np.ndarray, np.ndarray]

EVERYWHERE = np.linspace(0.0, 360.0, 1441)
values = st.floats(-200.0, 200.0, allow_subnormal=False)
many = settings(max_examples=100, deadline=None)


@st.composite
def circles(draw: st.DrawFn, apart: float = 0.5) -> Circle:
    """Three or more uneven stations and their values."""
    steps = int(360.0 / apart) - 1
    places = draw(st.lists(st.integers(0, steps), min_size=3, max_size=12, unique=True))
    value = draw(st.lists(values, min_size=len(places), max_size=len(places)))
    return np.sort(np.array(places)) * apart, np.array(value)


def span(value: np.ndarray) -> float:
    return float(np.ptp(value)) + 1e-9


# --- round the circle ----------------------------------------------------------------------------------------------


@many
@given(circle=circles())
def test_exact_at_every_station(circle: Circle) -> None:
    station, value = circle
    assert around_circle(station, value, station) == pytest.approx(value, rel=1e-14, abs=1e-13)
    assert around_circle(station, value, station + 360.0) == pytest.approx(value, rel=1e-14, abs=1e-13)


@many
@given(circle=circles())
def test_never_beyond_the_neighbouring_stations(circle: Circle) -> None:
    """Exactly: not even by rounding, so that the colour scale's ends are measured values."""
    station, value = circle
    found = around_circle(station, value, EVERYWHERE)
    for angle, each in zip(EVERYWHERE % 360.0, found, strict=True):
        after = int(np.searchsorted(station, angle, side="right")) % len(station)
        pair = value[after - 1], value[after]
        assert min(pair) <= each <= max(pair), angle


@many
@given(circle=circles(), angle=st.floats(-360.0, 720.0), turns=st.integers(-3, 3))
def test_periodic(circle: Circle, angle: float, turns: int) -> None:
    """The same after whole turns; rounding of the angle (1e-13 deg) times the steepest slope (400 in half a degree)."""
    station, value = circle
    found = around_circle(station, value, [0.0, 360.0, angle, angle + 360.0 * turns])
    assert found[0] == found[1]
    assert found[2] == pytest.approx(found[3], abs=1e-8)


@many
@given(circle=circles(), turn=st.integers(1, 719).map(lambda half: half / 2.0))
def test_the_place_of_zero_is_of_no_account(circle: Circle, turn: float) -> None:
    """Turning the stations turns the field: so it is as smooth across 0 as anywhere else."""
    station, value = circle
    turned = (station + turn) % 360.0
    order = np.argsort(turned)
    one = around_circle(station, value, EVERYWHERE)
    other = around_circle(turned[order], value[order], EVERYWHERE + turn)
    assert other == pytest.approx(one, abs=1e-8 * span(value))


@many
@given(circle=circles(apart=10.0))
def test_slope_is_continuous_across_zero(circle: Circle) -> None:
    """One-sided slopes of second order, at 0 and at each station.

    With stations 10 deg apart the third derivative is below 12 x 400 / 10^3, so the slopes are good to
    2 / 3 x 1e-6 x 5 and rounding adds 1e-13 x 400 / 1e-3.
    """
    station, value = circle
    step = 1e-3
    for angle in (0.0, *station):
        ahead = around_circle(station, value, angle + step * np.arange(3))
        behind = around_circle(station, value, angle - step * np.arange(3))
        slope = (-3.0 * ahead[0] + 4.0 * ahead[1] - ahead[2]) / (2.0 * step)
        slope_behind = -(-3.0 * behind[0] + 4.0 * behind[1] - behind[2]) / (2.0 * step)
        assert slope == pytest.approx(slope_behind, abs=2e-5)


@many
@given(circle=circles(), constant=values)
def test_a_constant_stays_what_it_is(circle: Circle, constant: float) -> None:
    station, _ = circle
    assert (around_circle(station, np.full(len(station), constant), EVERYWHERE) == constant).all()


@many
@given(circle=circles(), factor=st.floats(0.1, 10.0), shift=values)
def test_units_do_not_change_the_shape(circle: Circle, factor: float, shift: float) -> None:
    station, value = circle
    # Differences that vanish beside the shift would be rounded away: the data's fault, not the field's.
    assume(all(abs(step) > 1e-3 or step == 0.0 for step in np.diff(value, append=value[0])))
    one = around_circle(station, value, EVERYWHERE)
    other = around_circle(station, factor * value + shift, EVERYWHERE)
    assert other == pytest.approx(factor * one + shift, abs=1e-7 * (factor * span(value) + abs(shift)))


def test_mirrored_stations_mirror_the_field() -> None:
    station, value = np.array([10.0, 95.0, 180.0, 300.0]), np.array([3.0, -1.0, 7.0, 4.0])
    mirrored = np.sort(360.0 - station)
    one = around_circle(station, value, EVERYWHERE)
    assert around_circle(mirrored, value[::-1], -EVERYWHERE) == pytest.approx(one, abs=1e-10)


def test_between_two_stations_the_field_is_their_mean_where_the_pattern_is_symmetric() -> None:
    """Four even stations, up and down: by symmetry half-way is the mean."""
    found = around_circle(np.array([0.0, 90.0, 180.0, 270.0]), np.array([0.0, 10.0, 0.0, 10.0]), [45.0, 135.0, 315.0])
    assert found == pytest.approx([5.0, 5.0, 5.0], abs=1e-12)


@pytest.mark.parametrize("count", [0, 1, 2])
def test_fewer_than_three_stations_are_refused(count: int) -> None:
    with pytest.raises(ValueError, match=f"at least three stations, not {count}"):
        around_circle(np.arange(count) * 90.0, np.zeros(count), 0.0)


def test_the_shape_of_the_angles_is_kept() -> None:
    station, value = np.array([0.0, 120.0, 240.0]), np.array([1.0, 2.0, 3.0])
    assert around_circle(station, value, 120.0).shape == ()
    assert around_circle(station, value, np.zeros((2, 5))).shape == (2, 5)
    assert around_circle(station, value, []).shape == (0,)


def test_nan_never_becomes_a_number() -> None:
    """A station without a value: whatever is shown near it, no number is made up there."""
    station, value = np.array([0.0, 90.0, 180.0, 270.0]), np.array([1.0, np.nan, 2.0, 3.0])
    found = around_circle(station, value, [60.0, 90.0, 120.0])
    assert np.isnan(found).all()


# --- over lift -----------------------------------------------------------------------------------------------------


@st.composite
def grids(draw: st.DrawFn) -> RunField:
    """Values at measured lifts on twelve angles."""
    count = draw(st.integers(2, 7))
    microns = draw(st.lists(st.integers(100, 14_000), min_size=count, max_size=count, unique=True))
    rows = draw(st.lists(st.lists(values, min_size=12, max_size=12), min_size=count, max_size=count))
    lifts = np.sort(np.array(microns)) * 1e-6
    assume(np.diff(lifts).min() > 10.0 * SAME_LIFT)
    return RunField(QUANTITIES["velocity"], lifts, np.arange(12) * 30.0, np.array(rows))


@many
@given(field=grids())
def test_exact_at_every_measured_lift(field: RunField) -> None:
    for lift, row in zip(field.lifts, field.values, strict=True):
        assert field.at(lift).tolist() == row.tolist()


@many
@given(field=grids(), share=st.floats(0.0, 1.0))
def test_never_beyond_the_neighbouring_lifts(field: RunField, share: float) -> None:
    lift = float(field.lifts[0] + share * (field.lifts[-1] - field.lifts[0]))
    below = max(int(np.searchsorted(field.lifts, lift, side="right")) - 1, 0)
    below = min(below, len(field.lifts) - 2)
    pair = field.values[below : below + 2]
    found = field.at(lift)
    # Within the tolerance that makes two lifts one, a lift may be taken for the next one's.
    if np.min(np.abs(field.lifts - lift)) > SAME_LIFT:
        assert (pair.min(axis=0) <= found).all()
        assert (found <= pair.max(axis=0)).all()
    low, high = field.values.min(), field.values.max()
    assert low <= found.min() <= found.max() <= high


@many
@given(field=grids(), beyond=st.floats(1e-5, 1.0))
def test_outside_the_measured_lifts_is_refused(field: RunField, beyond: float) -> None:
    for lift in (field.lifts[0] - beyond, field.lifts[-1] + beyond):
        assert not field.covers(lift)
        with pytest.raises(ValueError, match=r"no field at a lift of .* m: measured from .* to .* m"):
            field.at(lift)


def test_one_lift_is_shown_at_itself_alone(reduced: Reduce) -> None:
    result = reduced([("a", 5e-3, angle, 1000.0 + 10.0 * angle) for angle in (0.0, 100.0, 220.0)])
    field = run_field(result, 0, "drop", [0.0, 100.0, 220.0])
    assert field.at(5e-3).tolist() == [1000.0, 2000.0, 3200.0]
    for lift in (4.9e-3, 5.1e-3):
        with pytest.raises(ValueError, match=r"measured from 0\.005 to 0\.005 m"):
            field.at(lift)


@pytest.mark.parametrize("quantity", list(QUANTITIES))
def test_fields_of_a_run_go_through_its_stations(quantity: str, sidecar: Reduction) -> None:
    """Each of two runs, each quantity, all lifts: exact at the stations."""
    angles = sidecar.job.stations.circle_deg
    for run in range(len(sidecar.runs)):
        field = run_field(sidecar, run, quantity, angles)
        expected = QUANTITIES[quantity].values(sidecar)
        for group in sidecar.groups_of(run):
            at_stations = expected[sidecar.stations_of(group)]
            assert field.at(float(sidecar.lift[group])) == pytest.approx(at_stations, rel=1e-14)


def test_flow_per_degree_adds_up_to_the_bench_flow(sidecar: Reduction) -> None:
    """Times the sectors' degrees it is the bench's total."""
    per_degree = QUANTITIES["flow-per-degree"].values(sidecar)
    for group, flow in enumerate(sidecar.bench_flow):
        part = sidecar.stations_of(group)
        total = float(np.sum(per_degree[part] * sidecar.stations.sector_deg[part]))
        assert total == pytest.approx(flow, rel=1e-12)


def test_flow_per_degree_is_known_only_where_the_bench_flow_was_measured(reduced: Reduce) -> None:
    """A lift without bench flow is no flow guessed from the gap: the field goes on between its neighbours."""
    lifts = (4e-3, 6e-3, 8e-3)
    rows = [("a", lift, angle, 1000.0 + angle) for lift in lifts for angle in (0.0, 100.0, 220.0)]
    result = reduced(rows, flow={("a", 4e-3): (0.02, math.nan), ("a", 8e-3): (0.04, math.nan)})
    assert known_groups(result, 0, "flow-per-degree").tolist() == [0, 2]
    assert known_groups(result, 0, "velocity").tolist() == [0, 1, 2]
    per_degree = QUANTITIES["flow-per-degree"].values(result)
    assert np.isnan(per_degree[3:6]).all()
    field = run_field(result, 0, "flow-per-degree", [0.0, 100.0, 220.0])
    assert field.lifts.tolist() == [4e-3, 8e-3]
    assert field.at(6e-3) == pytest.approx((per_degree[:3] + per_degree[6:]) / 2.0, rel=1e-12)


def test_flow_per_degree_of_a_run_without_bench_flow_is_known_nowhere(reduced: Reduce) -> None:
    rows = [("a", 4e-3, angle, 1000.0 + angle) for angle in (0.0, 100.0, 220.0)]
    field = run_field(reduced(rows), 0, "flow-per-degree", EVERYWHERE)
    assert field.values.shape == (0, len(EVERYWHERE))
    assert not field.covers(4e-3)
    with pytest.raises(ValueError, match="measured nowhere"):
        field.at(4e-3)


@many
@given(angle=st.floats(-720.0, 720.0), stations=st.lists(st.integers(0, 359), min_size=3, max_size=12, unique=True))
def test_how_far_the_nearest_station_lies(angle: float, stations: list[int]) -> None:
    """Against the chord between two points of the circle, which a table of chords turns into an angle."""
    found = float(angle_to_nearest(np.array(stations, dtype=float), [angle])[0])
    here = np.exp(1j * np.radians(angle))
    chord = np.abs(here - np.exp(1j * np.radians(stations))).min()
    assert found == pytest.approx(np.degrees(2.0 * np.arcsin(min(chord / 2.0, 1.0))), abs=1e-5)


@pytest.mark.parametrize("quantity", list(QUANTITIES))
def test_a_field_of_still_air_is_finite(quantity: str, reduced: Reduce) -> None:
    """No flow at one lift, where shares do not exist, must not spoil the picture of the others."""
    rows = [("a", 4e-3, angle, 0.0) for angle in (0.0, 100.0, 220.0)]
    rows += [("a", 6e-3, angle, 1000.0) for angle in (0.0, 100.0, 220.0)]
    field = run_field(
        reduced(rows, flow={("a", 4e-3): (0.0, math.nan), ("a", 6e-3): (0.02, math.nan)}), 0, quantity, EVERYWHERE
    )
    assert np.isfinite(field.at(5e-3)).all()
    assert field.at(4e-3) == pytest.approx(np.zeros(len(EVERYWHERE)), abs=0.0)


def test_lifts_with_other_stations_share_one_field(reduced: Reduce) -> None:
    """A station missing at one lift is interpolated there and measured at the other."""
    rows = [("a", 4e-3, angle, 1000.0) for angle in (0.0, 90.0, 180.0, 270.0)]
    rows += [("a", 6e-3, angle, 2000.0) for angle in (0.0, 180.0, 270.0)]
    field = run_field(reduced(rows), 0, "drop", EVERYWHERE)
    assert (field.at(6e-3) == 2000.0).all()
    assert field.at(5e-3) == pytest.approx(np.full(len(EVERYWHERE), 1500.0), rel=1e-12)
