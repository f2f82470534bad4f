"""The lift event against closed forms, scipy's quadrature and its PCHIP, and an implementation of its own."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.integrate import quad
from scipy.interpolate import PchipInterpolator

from portviz.distribution.cam_event import CamEvent
from portviz.distribution.event import area_over_lift, event_results, flow_per_area
from portviz.distribution.event_ring import run_ring
from portviz.distribution.lift_time import lift_time
from portviz.job.model import Cam

ANGLES = (0.0, 60.0, 120.0, 180.0, 240.0, 300.0)
LIFTS = (1e-3, 3e-3, 5e-3, 8e-3)


def triangle(peak: float, duration: float = 240.0) -> CamEvent:
    return CamEvent(np.array([0.0, duration / 2.0, duration]), np.array([0.0, peak, 0.0]), False)


def cosine(peak: float, duration: float = 240.0, points: int = 721) -> CamEvent:
    crank = np.linspace(0.0, duration, points)
    lift = 0.5 * peak * (1.0 - np.cos(2.0 * math.pi * crank / duration))
    lift[[0, -1]] = 0.0
    return CamEvent(crank, lift, False)


def rows_of(drop, run="a"):
    return [(run, lift, angle, drop(lift, angle)) for lift in LIFTS for angle in ANGLES]


def uneven(lift: float, angle: float) -> float:
    return 2000.0 - 1e5 * lift + 500.0 * (1.0 + 100.0 * lift) * math.cos(math.radians(angle - 40.0))


def with_cam(reduction, event: CamEvent):
    return replace(reduction, job=replace(reduction.job, cam=Cam(event.crank_deg, event.lift)))


@pytest.fixture(scope="session")
def measured(reduced):
    flow = {("a", lift): (0.02 * math.sqrt(lift / 8e-3), math.nan) for lift in LIFTS}
    return reduced(rows_of(uneven), flow=flow)


# --- Time over lift ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("degree", range(7))
def test_powers_of_lift_over_a_triangle(degree):
    """Triangular lift, peak p, duration T: the integral of lift^n is T p^n / (n + 1), elementary calculus."""
    event = triangle(9e-3)
    time = lift_time(event, np.array(LIFTS))
    assert time.weight @ time.lift**degree == pytest.approx(240.0 * 9e-3**degree / (degree + 1), rel=1e-11)


@pytest.mark.parametrize("degree", [1, 2, 3])
def test_powers_of_lift_over_a_cosine(degree):
    """(1 - cos)/2 lift: means of the powers are 1/2, 3/8 and 5/16 (Wallis), here with 7200 straight pieces."""
    event = cosine(9e-3, points=7201)
    time = lift_time(event, np.array(LIFTS))
    mean = {1: 1 / 2, 2: 3 / 8, 3: 5 / 16}[degree]
    assert time.weight @ time.lift**degree / 240.0 == pytest.approx(mean * 9e-3**degree, rel=1e-6)


@settings(max_examples=60, deadline=None)
@given(
    lifts=st.lists(st.floats(0.0, 1.2e-2), min_size=1, max_size=8),
    steps=st.lists(st.floats(1e-3, 40.0), min_size=12, max_size=12),
    knots=st.lists(st.floats(2e-4, 1.5e-2), min_size=1, max_size=6),
    degree=st.integers(0, 6),
)
def test_any_lifts_against_the_trapezoid_of_exact_pieces(lifts, steps, knots, degree):
    """Against the antiderivative of each straight piece, in plain floats; knots change nothing of a polynomial."""
    crank = np.concatenate([[0.0], np.cumsum(steps)])[: len(lifts) + 2]
    lift = np.array([0.0, *lifts, 0.0])
    event = CamEvent(crank, lift, False)
    ends = np.unique(np.round(knots, 5))
    time = lift_time(event, ends)
    exact = 0.0
    for low, high, step in zip(lift[:-1], lift[1:], np.diff(crank), strict=True):
        mean = sum(low**place * high ** (degree - place) for place in range(degree + 1)) / (degree + 1)
        exact += step * mean
    assert time.weight @ time.lift**degree == pytest.approx(exact, rel=1e-8, abs=1e-12 * 1.5e-2**degree * 240.0)
    assert time.time.sum() == pytest.approx(event.duration_deg)


def test_a_dwell_stands_in_one_band():
    event = CamEvent(np.array([0.0, 50.0, 150.0, 200.0]), np.array([0.0, 6e-3, 6e-3, 0.0]), False)
    time = lift_time(event, np.array([2e-3, 5e-3]))
    assert_allclose(time.edges, [0.0, 2e-3, 5e-3, 6e-3])
    assert_allclose(time.time, [100.0 / 3.0, 50.0, 100.0 / 6.0 + 100.0])


def test_a_dwell_on_an_edge_lies_below_it():
    """Also where another unit writes the lift with other last digits: above the edge is above it."""
    for off in (0.0, 5e-8):
        event = CamEvent(np.array([0.0, 50.0, 150.0, 200.0]), np.array([0.0, 5e-3 + off, 5e-3 + off, 0.0]), False)
        time = lift_time(event, np.array([2e-3, 5e-3]))
        assert_allclose(time.time[:2], [40.0, 160.0], rtol=1e-4)


# --- The event of a run ------------------------------------------------------------------------------------------


def test_a_linear_area_over_a_triangle(reduced):
    """Effective area k x lift over a triangle of peak p: mean k p / 2; shares alike at all lifts stay."""
    flow = {("a", lift): (2.0 * lift, math.nan) for lift in LIFTS}
    reduction = reduced(rows_of(lambda lift, angle: uneven(3e-3, angle)), flow=flow)
    (found,) = event_results(with_cam(reduction, triangle(8e-3)))
    per_lift = found.effective_area / found.knots
    assert_allclose(per_lift, per_lift[0])
    assert found.mean_effective_area == pytest.approx(per_lift[0] * 4e-3)
    assert found.mean_flow == pytest.approx(8e-3)
    assert_allclose(found.flow_share, reduction.stations.flow_share[:6])
    assert found.beyond_share == 0.0
    # Time share by lift, flow share by its square.
    assert_allclose(found.bands.time_share, np.diff([0.0, 1.0, 3.0, 5.0, 8.0]) / 8.0)
    assert_allclose(found.bands.flow / found.mean_flow, np.diff(np.square([0.0, 1.0, 3.0, 5.0, 8.0])) / 64.0)


def test_a_constant_coefficient_held_beyond_the_highest_lift(reduced):
    """Measured to half the peak of a triangle, area linear below and held above: beyond / all = 2/3 of the flow."""
    flow = {("a", lift): (2.0 * lift, math.nan) for lift in LIFTS}
    reduction = reduced(rows_of(lambda lift, angle: uneven(3e-3, angle)), flow=flow)
    (found,) = event_results(with_cam(reduction, triangle(16e-3)))
    assert found.mean_effective_area == pytest.approx(found.effective_area[-1] * 0.75)
    assert found.beyond_share == pytest.approx(0.5 / 0.75)
    assert found.bands.stop[-1] == pytest.approx(16e-3)
    assert found.bands.flow[-1] / found.mean_flow == pytest.approx(found.beyond_share)


@pytest.mark.parametrize("peak", [0.6e-3, 2e-3, 7.7e-3, 8e-3, 11e-3])
@pytest.mark.parametrize("shape", [triangle, cosine])
def test_against_scipy_quadrature_of_scipy_pchip(measured, shape, peak):
    """scipy.interpolate.PchipInterpolator and scipy.integrate.quad, piece by piece of the cam and of the knots."""
    event = shape(peak) if shape is triangle else cosine(peak, points=25)
    (found,) = event_results(with_cam(measured, event))
    knots, lifts = np.array([0.0, *LIFTS]), np.array(LIFTS)
    area = PchipInterpolator(
        knots, [0.0, *(measured.bench_mass_flow / measured.ideal_mass_flux).tolist()], extrapolate=False
    )
    shares = PchipInterpolator(lifts, measured.stations.flow_share.reshape(4, 6), axis=0)

    def area_at(lift):
        return float(area(min(lift, LIFTS[-1])))

    def share_at(lift, station):
        return float(shares(min(max(lift, LIFTS[0]), LIFTS[-1]))[station])

    def integral(function):
        total = 0.0
        for start, stop in zip(event.crank_deg[:-1], event.crank_deg[1:], strict=True):
            ends = event.lift_at([start, stop])
            inside = [start + (lift - ends[0]) / (ends[1] - ends[0]) * (stop - start) for lift in LIFTS]
            points = sorted(point for point in inside if start < point < stop)
            for low, high in zip([start, *points], [*points, stop], strict=True):
                total += quad(lambda crank: function(float(event.lift_at(crank))), low, high, epsrel=1e-10)[0]
        return total

    whole = integral(area_at)
    assert found.area_integral == pytest.approx(whole, rel=1e-9)
    assert found.mean_flow == pytest.approx(whole / 240.0 * flow_per_area(measured.job), rel=1e-9)
    expected = [integral(lambda lift, k=k: area_at(lift) * share_at(lift, k)) / whole for k in range(6)]
    assert_allclose(found.flow_share, expected, rtol=1e-8)
    bias = sum(share * np.exp(1j * math.radians(angle)) for share, angle in zip(expected, ANGLES, strict=True))
    assert found.bias_magnitude == pytest.approx(abs(bias), rel=1e-8)
    assert found.bias_angle_deg == pytest.approx(math.degrees(np.angle(bias)) % 360.0, rel=1e-8)
    assert found.bands.flow.sum() == pytest.approx(found.mean_flow)
    assert found.bands.time_share.sum() == pytest.approx(1.0)


def test_the_flow_at_one_lift_held_is_the_flow_measured_there(measured):
    """A valve that opens at once and stays: nothing but that lift counts."""
    lift = LIFTS[2]
    event = CamEvent(np.array([0.0, 1e-9, 200.0, 200.0 + 1e-9]), np.array([0.0, lift, lift, 0.0]), False)
    (found,) = event_results(with_cam(measured, event))
    assert found.mean_flow == pytest.approx(measured.bench_flow[2], rel=1e-9)
    assert_allclose(found.flow_share, measured.stations.flow_share[12:18], rtol=1e-9)
    assert found.bias_magnitude == pytest.approx(measured.bias_magnitude[2], rel=1e-9)


@pytest.mark.parametrize("event", [triangle(9e-3), cosine(9e-3)], ids=["triangle", "cosine"])
def test_refined_lifts_converge_to_a_known_function(event):
    """Effective area a sin(lift / s): the event's integral converges to scipy's quadrature, at least as step^2."""

    def area(lift):
        return 4e-4 * np.sin(np.asarray(lift) / 7e-3)

    exact = sum(
        quad(lambda crank: float(area(event.lift_at(crank))), low, high, epsabs=1e-14)[0]
        for low, high in zip(event.crank_deg[:-1], event.crank_deg[1:], strict=True)
    )
    errors = []
    for count in (4, 8, 16, 32):
        knots = np.linspace(0.0, 9e-3, count + 1)[1:]
        time = lift_time(event, knots)
        errors.append(abs(float(time.weight @ area_over_lift(knots, area(knots), time.lift)) / exact - 1.0))
    assert errors[-1] < 2e-5
    assert all(finer < coarser / 3.5 for coarser, finer in itertools.pairwise(errors))


def test_symmetry_a_cam_read_backwards_gives_the_same(measured):
    crank, lift = np.array([0.0, 40.0, 90.0, 130.0, 250.0]), np.array([0.0, 2e-3, 7e-3, 9e-3, 0.0])
    (forth,) = event_results(with_cam(measured, CamEvent(crank, lift, False)))
    (back,) = event_results(with_cam(measured, CamEvent(250.0 - crank[::-1], lift[::-1], False)))
    assert back.mean_flow == pytest.approx(forth.mean_flow)
    assert_allclose(back.flow_share, forth.flow_share)
    assert_allclose(back.bands.time_share, forth.bands.time_share)


def test_a_turned_and_a_mirrored_pattern(reduced):
    flow = {("a", lift): (0.02, math.nan) for lift in LIFTS}
    event = cosine(9e-3)
    one, turned, mirrored = (
        event_results(with_cam(reduced(rows_of(drop), flow=flow), event))[0]
        for drop in (
            uneven,
            lambda lift, angle: uneven(lift, angle - 60.0),
            lambda lift, angle: uneven(lift, -angle),
        )
    )
    assert_allclose(np.roll(one.flow_share, 1), turned.flow_share)
    assert turned.bias_angle_deg == pytest.approx(one.bias_angle_deg + 60.0)
    assert mirrored.bias_angle_deg == pytest.approx(360.0 - one.bias_angle_deg)
    assert mirrored.bias_magnitude == pytest.approx(one.bias_magnitude)


# --- What was not measured ---------------------------------------------------------------------------------------


def test_the_closed_valve_is_left_out(reduced):
    """A leak test at lift 0 moves nothing: the effective area there is zero, and its pattern is the gauge's noise."""
    rows = [("a", 0.0, angle, 3.0 * (1 + (angle > 100.0))) for angle in ANGLES] + rows_of(uneven)
    flow = {("a", lift): (0.02, math.nan) for lift in LIFTS}
    plain, leaking = (
        event_results(with_cam(reduced(chosen, flow=leak | flow), cosine(9e-3)))[0]
        for chosen, leak in ((rows_of(uneven), {}), (rows, {("a", 0.0): (1e-4, math.nan)}))
    )
    assert leaking.mean_flow == pytest.approx(plain.mean_flow)
    assert_allclose(leaking.flow_share, plain.flow_share)
    assert_allclose(leaking.bands.start, plain.bands.start)


def test_without_flow_only_the_time_is_known(reduced):
    (found,) = event_results(with_cam(reduced(rows_of(uneven)), cosine(9e-3)))
    assert math.isnan(found.mean_flow)
    assert math.isnan(found.bias_magnitude)
    assert np.isnan(found.flow_share).all()
    assert math.isnan(found.beyond_share)
    assert found.bands.time_share.sum() == pytest.approx(1.0)


def test_a_lift_without_flow_is_bridged(reduced):
    """The effective area runs straight on between the lifts beside it; the pattern of that lift still counts."""
    flow = {("a", lift): (2.0 * lift, math.nan) for lift in LIFTS if lift != 3e-3}
    (found,) = event_results(with_cam(reduced(rows_of(uneven), flow=flow), triangle(8e-3)))
    assert found.mean_flow == pytest.approx(8e-3)
    assert_allclose(found.bands.start, [0.0, 1e-3, 3e-3, 5e-3])
    assert_allclose(found.ring.lift, LIFTS)


def test_one_measured_lift(reduced):
    rows = [("a", 5e-3, angle, uneven(5e-3, angle)) for angle in ANGLES]
    reduction = reduced(rows, flow={("a", 5e-3): (0.01, math.nan)})
    (found,) = event_results(with_cam(reduction, triangle(10e-3)))
    assert found.mean_flow == pytest.approx(0.01 * 0.75)
    assert_allclose(found.flow_share, reduction.stations.flow_share)


def test_a_station_missing_at_one_lift_comes_from_the_field(reduced):
    """The full ring there is the interpolated flux; where the pattern is even that is exact."""
    flow = {("a", lift): (0.02, math.nan) for lift in LIFTS}
    rows = [row for row in rows_of(lambda lift, angle: 1500.0 + 1e4 * lift) if row[1:3] != (3e-3, 120.0)]
    (found,) = event_results(with_cam(reduced(rows, flow=flow), cosine(9e-3)))
    assert_allclose(found.flow_share, np.full(6, 1 / 6))
    rows = [row for row in rows_of(uneven) if row[1:3] != (3e-3, 120.0)]
    ring = run_ring(reduced(rows, flow=flow), 0)
    assert ring.read.sum() == 23
    assert not ring.read[1, 2]
    assert_allclose(ring.share.sum(axis=1), 1.0)
    whole = run_ring(reduced(rows_of(uneven), flow=flow), 0)
    assert_allclose(ring.share, whole.share, atol=0.012)
    assert not np.array_equal(ring.share[1], whole.share[1])


def test_rows_at_their_own_test_pressure_count_by_their_effective_area(reduced):
    """Twice the test pressure at the same effective area flows more on the bench, and the same over the event."""
    plain = reduced(rows_of(uneven), flow={("a", lift): (0.02, math.nan) for lift in LIFTS})
    through = flow_per_area(plain.job)
    doubled = flow_per_area(replace(plain.job, bench=replace(plain.job.bench, test_pressure=14_000.0)))
    flow = {("a", lift): (0.02 * doubled / through, 14_000.0) for lift in LIFTS}
    other = reduced(rows_of(uneven), flow=flow)
    found = [event_results(with_cam(each, cosine(9e-3)))[0].mean_flow for each in (plain, other)]
    assert found[1] == pytest.approx(found[0], rel=1e-12)
