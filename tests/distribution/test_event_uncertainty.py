"""What is known over the event, against whole jobs drawn anew: each reading and flow by its own accuracy [JCGM-101]."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from portviz.distribution.event import event_results
from portviz.distribution.event_comparison import compare_events, lift_event
from portviz.distribution.event_notes import comparison_warnings
from portviz.distribution.turning import turning
from portviz.distribution.uncertainty import linear_uncertainty
from portviz.errors import UsageError
from portviz.job.model import Cam, Engine

ANGLES = tuple(range(0, 360, 45))
LIFTS = (1e-3, 2.5e-3, 4e-3, 6e-3, 9e-3)
CRANK = np.linspace(0.0, 250.0, 51)
CAM = Cam(CRANK, np.where((CRANK > 0) & (CRANK < 250), 9e-3 * np.sin(np.pi * CRANK / 250.0) ** 2, 0.0))
ENGINE = Engine(bore=0.09, valve_offset=0.02, valve_direction_deg=30.0)
ACCURACY, PART, LIFT_U = 30.0, 0.01, 0.05e-3
DRAWS = 500


def drop(lift: float, angle: float, depth: float = 0.25) -> float:
    return 2500.0 - 1e5 * lift - depth * 2000.0 * math.exp(-(((angle - 90.0) / 50.0) ** 2))


def flow_of(lift: float) -> float:
    return 0.03 * lift / (lift + 5e-3)


def made(reduced, rng=None, *, runs=("a",), gain=1.0, accuracy=ACCURACY, missing=(), depths=(0.25, 0.25)):
    """Return the reduction of runs read exactly, or with what may be wrong drawn from `rng`."""
    rows, flow = [], {}
    for place, run in enumerate(runs):
        for lift in LIFTS:
            # What is set is not quite what is typed.
            real = lift + (rng.normal(0.0, LIFT_U) if rng else 0.0)
            value = flow_of(real) * gain**place
            flow[(run, lift)] = (value * (1.0 + (rng.normal(0.0, PART) if rng else 0.0)), math.nan)
            for angle in ANGLES:
                if (lift, angle) not in missing:
                    off = rng.normal(0.0, accuracy) if rng else 0.0
                    rows.append((run, lift, float(angle), drop(lift, angle, depths[place]) + off))
    reduction = reduced(rows, flow=flow, stations=ANGLES)
    job = reduction.job
    job = replace(
        job,
        cam=CAM,
        engine=ENGINE,
        gauge=replace(job.gauge, accuracy=accuracy),
        bench=replace(job.bench, flow_accuracy_part=PART, lift_uncertainty=LIFT_U),
    )
    return replace(reduction, job=job)


@pytest.mark.parametrize("missing", [(), ((2.5e-3, 90), (4e-3, 45), (4e-3, 180))], ids=["full rings", "missing"])
def test_every_result_against_jobs_drawn_anew(reduced, missing):
    """The standard deviation of 500 drawn jobs, good to 3.2 %: within four times that."""
    reduction = made(reduced, missing=missing)
    events = lift_event(reduction, linear_uncertainty(reduction))
    (known,) = events.known
    rng = np.random.default_rng(7)
    flows, shares, biases, bands, turns = [], [], [], [], []
    for _ in range(DRAWS):
        each = made(reduced, rng, missing=missing)
        (found,) = event_results(each)
        flows.append(found.mean_flow)
        shares.append(found.flow_share)
        biases.append(found.bias)
        bands.append(found.bands.flow)
        if not missing:
            coefficient = turning(each, ENGINE).coefficient
            weight = found.time.weight * found.area_at(found.time.lift)
            from portviz.distribution.event_ring import over_lift

            turns.append(weight @ over_lift(found.ring.lift, coefficient.T, found.time.lift) / weight.sum())
    near = {"rtol": 4.0 / math.sqrt(2.0 * DRAWS)}
    assert_allclose(np.std(flows), known.mean_flow.spread.standard[0], **near)
    assert_allclose(np.std(shares, axis=0), known.flow_share.spread.standard, **near)
    # A band's flow hangs on its two lifts' areas; the first is bent by the shape that the cubic must keep.
    assert_allclose(np.std(bands, axis=0), known.band_flow.spread.standard, rtol=0.2)
    assert_allclose(np.std(np.abs(biases)), known.bias_magnitude.spread.standard[0], **near)
    off = np.degrees(np.angle(np.array(biases) * np.conj(events.runs[0].bias)))
    assert_allclose(np.std(off), known.bias_angle_deg.spread.standard[0], **near)
    covariance = np.cov(np.real(biases), np.imag(biases))
    assert_allclose(np.diag(covariance), np.diag(known.bias), rtol=2.0 * near["rtol"])
    if not missing:
        assert known.turning is not None
        assert_allclose(np.std(turns, axis=0), known.turning.spread.standard, **near)
        assert_allclose(np.mean(turns, axis=0), known.turning.values, atol=4.0 * np.std(turns, axis=0).max() / 22.0)


def test_the_bias_of_an_even_ring_is_simulated(reduced):
    """|two normal parts of one deviation s|: standard deviation s sqrt(2 - pi / 2), Rayleigh's (textbook)."""
    reduction = made(reduced, depths=(0.0, 0.0))
    events = lift_event(reduction, linear_uncertainty(reduction))
    known = events.known[0]
    assert events.runs[0].bias_magnitude < 1e-12
    s = math.sqrt(np.trace(known.bias) / 2.0)
    assert known.bias_magnitude.spread.independent[0] == pytest.approx(s * math.sqrt(2.0 - math.pi / 2.0), rel=0.04)


def test_no_false_verdicts_and_true_ones(reduced):
    """Two runs of one port, drawn anew: at most 1 family in 20 shows a change (here 60: at most 7, binomial 99 %)."""
    rng = np.random.default_rng(3)
    false_shares = false_flow = false_bands = 0
    for _ in range(60):
        reduction = made(reduced, rng, runs=("a", "b"))
        found = compare_events(lift_event(reduction, linear_uncertainty(reduction)), 0, 1)
        assert found.flow_share is not None
        false_shares += any(verdict != "not shown" for verdict in found.flow_share.verdicts)
        false_flow += found.values["mean_flow"].verdicts[0] != "not shown"
        false_bands += any(verdict != "not shown" for verdict in found.band_flow.verdicts)
        if found.values["mean_flow"].verdicts[0] == "not shown":
            assert np.isnan(found.band_gain_share).all()
    assert max(false_shares, false_flow, false_bands) <= 7
    reduction = made(reduced, rng, runs=("a", "b"), gain=1.06, depths=(0.25, 0.1))
    found = compare_events(lift_event(reduction, linear_uncertainty(reduction)), 0, 1)
    assert found.values["mean_flow"].verdicts == ("higher",)
    assert found.values["mean_flow"].difference[0] / found.values["mean_flow"].a[0] == pytest.approx(0.06, abs=0.03)
    assert found.band_gain_share.sum() == pytest.approx(1.0)
    assert found.bias is not None
    assert found.bias.shown
    assert found.bias.magnitude.verdicts == ("lower",)
    assert found.flow_share is not None
    assert found.flow_share.verdicts[ANGLES.index(90)] == "higher"
    assert found.turning is not None


def test_common_factors_cancel_within_the_job(reduced):
    """Density moves both runs' flow alike, and the difference by its own part alone."""
    reduction = made(reduced, runs=("a", "b"), gain=1.05)
    bench = replace(reduction.job.bench, density_uncertainty=0.02, test_pressure_uncertainty=50.0)
    reduction = replace(reduction, job=replace(reduction.job, bench=bench))
    events = lift_event(reduction, linear_uncertainty(reduction))
    area = events.known[0].area_integral
    # Effective area = mass flow / ideal flux: up by half of what the density is.
    assert area.spread.common[1, 0] / area.values[0] == pytest.approx(0.01)
    # Volume flow is what the bench read.
    assert_allclose(events.known[0].mean_flow.spread.common[:, 0], 0.0, atol=1e-9)
    found = compare_events(events, 0, 1).values["area_integral"]
    own = math.hypot(*(known.area_integral.spread.stated[0] for known in events.known))
    assert found.u[0] == pytest.approx(math.hypot(own, 0.01 * found.difference[0], 0.0), rel=0.1)


def test_unknown_readings_and_flows_give_no_verdict(reduced):
    reduction = made(reduced, runs=("a", "b"), gain=1.2, depths=(0.25, 0.0), accuracy=None)
    bench = replace(reduction.job.bench, flow_accuracy_part=None)
    reduction = replace(reduction, job=replace(reduction.job, bench=bench))
    found = compare_events(lift_event(reduction, linear_uncertainty(reduction)), 0, 1)
    assert found.values["mean_flow"].verdicts == ("not shown",)
    assert np.isnan(found.values["mean_flow"].u[0])
    assert found.flow_share is not None
    assert set(found.flow_share.verdicts) == {"not shown"}
    # Where the change comes from is told all the same; that it is untested stands beside it.
    assert found.band_gain_share.sum() == pytest.approx(1.0)


def test_other_lifts_and_stations(reduced):
    """Bands lie between the lifts of both; shares of other rings are not compared."""
    rows = [("a", lift, float(angle), drop(lift, angle)) for lift in LIFTS for angle in ANGLES]
    rows += [("b", lift, float(angle), drop(lift, angle)) for lift in (2e-3, 6e-3) for angle in ANGLES[:-1]]
    flow = {(run, lift): (flow_of(lift), math.nan) for run, lift, _, _ in rows}
    reduction = reduced(rows, flow=flow, stations=ANGLES)
    reduction = replace(reduction, job=replace(reduction.job, cam=CAM))
    found = compare_events(lift_event(reduction, linear_uncertainty(reduction)), 0, 1)
    assert_allclose(found.edges, [0.0, 1e-3, 2e-3, 2.5e-3, 4e-3, 6e-3, 9e-3])
    assert found.flow_share is None
    assert found.bias is None
    assert found.band_flow.difference.sum() == pytest.approx(found.values["mean_flow"].difference[0])
    with pytest.raises(UsageError, match="can't be compared with itself"):
        compare_events(lift_event(reduction, linear_uncertainty(reduction)), 1, 1)


def copies(reduced, without, accuracy=ACCURACY):
    """Return the event of one port read twice, alike to the last digit, the second time without some rows."""
    rows = [
        (run, lift, float(angle), drop(lift, angle))
        for run in ("a", "b")
        for lift in LIFTS
        for angle in ANGLES
        if run == "a" or not without(lift, angle)
    ]
    flow = {(run, lift): (flow_of(lift), math.nan) for run, lift, _, _ in rows}
    reduction = reduced(rows, flow=flow, stations=ANGLES)
    job = replace(
        reduction.job,
        cam=CAM,
        engine=ENGINE,
        gauge=replace(reduction.job.gauge, accuracy=accuracy),
        bench=replace(reduction.job.bench, flow_accuracy_part=PART),
    )
    reduction = replace(reduction, job=job)
    return lift_event(reduction, linear_uncertainty(reduction))


def test_what_is_held_beyond_the_highest_lift_has_no_verdict(reduced):
    """One port, once measured to 6 mm only: the difference is all extrapolation, and nothing of it is shown."""
    events = copies(reduced, lambda lift, angle: lift > 8e-3)
    found = compare_events(events, 0, 1)
    assert abs(found.values["mean_flow"].difference[0]) > 0.02 * found.values["mean_flow"].a[0]
    assert found.held.tolist() == [False, False, False, False, True]
    for difference in (*found.values.values(), found.flow_share, found.turning, found.bias.magnitude):
        assert set(difference.verdicts) == {"not shown"}
        assert np.isnan(difference.u).all()
    assert not found.bias.shown
    assert found.band_flow.verdicts[-1] == "not shown"
    assert np.isnan(found.band_flow.u[-1])
    assert np.isfinite(found.band_flow.u[:-1]).all()
    (words,) = comparison_warnings(events, found)
    assert "no verdict over the whole event" in words


def test_stations_read_now_and_then_have_no_verdict(reduced):
    """One port, once without two stations at its higher lifts: their field is a guess, and so is the ring's bias."""
    events = copies(reduced, lambda lift, angle: lift > 5e-3 and angle in (90, 135))
    found = compare_events(events, 0, 1)
    assert found.incomplete.tolist() == [angle in (90, 135) for angle in ANGLES]
    assert np.isnan(found.flow_share.u).tolist() == found.incomplete.tolist()
    assert not found.bias.shown
    assert set(found.bias.magnitude.verdicts) == set(found.turning.verdicts) == {"not shown"}
    (words,) = comparison_warnings(events, found)
    assert "no verdict at 90°, 135°" in words


def test_other_rings_are_not_compared(reduced):
    events = copies(reduced, lambda lift, angle: angle == 90)
    found = compare_events(events, 0, 1)
    assert found.flow_share is found.bias is found.turning is None
    assert "read at other stations" in comparison_warnings(events, found)[0]


def test_a_direction_is_told_where_there_is_one(reduced):
    """An even ring read with noise leans anywhere: 2.5 to 6 in 100 such jobs are told one (here 100: at most 12)."""
    rng = np.random.default_rng(5)
    told = 0
    for _ in range(100):
        reduction = made(reduced, rng, depths=(0.0, 0.0))
        events = lift_event(reduction, linear_uncertainty(reduction))
        told += events.known[0].leans(events.runs[0])
    assert told <= 12
    reduction = made(reduced, rng)
    events = lift_event(reduction, linear_uncertainty(reduction))
    assert events.known[0].leans(events.runs[0])
    assert events.known[0].rolls()


def test_a_flow_of_nothing_with_an_absolute_accuracy(reduced):
    """At one lift nothing flows: its accuracy counts as any other's."""
    reduction = made(reduced)
    flow = reduction.bench_flow.copy()
    flow[0] = 0.0
    bench = replace(reduction.job.bench, flow_accuracy_part=None, flow_accuracy=1e-4)
    mass = flow * reduction.upstream_density
    reduction = replace(reduction, bench_flow=flow, bench_mass_flow=mass, job=replace(reduction.job, bench=bench))
    known = lift_event(reduction, linear_uncertainty(reduction)).known[0]
    assert np.isfinite(known.mean_flow.spread.standard[0])
    assert (known.effective_area.spread.standard > 0.0).all()
