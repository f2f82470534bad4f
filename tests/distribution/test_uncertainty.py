"""Uncertainties: the linear law against simulation, areas against brute force, and where the law gives way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from portviz.distribution.area_uncertainty import area_uncertainty
from portviz.distribution.areas import areas_at, job_profiles
from portviz.distribution.comparison import Side, compare_runs
from portviz.distribution.monte_carlo import group_samples, simulated
from portviz.distribution.reduce import Reduction, reduce_job
from portviz.distribution.uncertainty import (
    GROUP_RESULTS,
    STATION_RESULTS,
    bench_flow_uncertainty,
    bent_groups,
    linear_uncertainty,
    reduction_uncertainty,
)
from portviz.job.model import Job

Reduce = Callable[..., Reduction]


def doubtful(job: Job) -> Job:
    """The job with an uncertainty of everything."""
    accuracy = 30.0 if job.gauge.kind == "pressure" else 0.4
    return replace(
        job,
        gauge=replace(job.gauge, accuracy=accuracy, coefficient_uncertainty=0.01),
        bench=replace(
            job.bench,
            flow_accuracy_part=0.01,
            density_uncertainty=0.004,
            test_pressure_uncertainty=30.0,
            lift_uncertainty=2e-5,
        ),
        valve=replace(job.valve, length_uncertainty=2e-5),
        seat=replace(job.seat, length_uncertainty=3e-5),
    )


@pytest.mark.parametrize("reads", ["upstream-minus-tap", "tap-minus-downstream", "velocity"])
@pytest.mark.parametrize("example", ["sidecar", "tractor"])
def test_the_linear_law_and_a_simulation_agree(example: str, reads: str, request: pytest.FixtureRequest) -> None:
    """Every result of one run: standard uncertainties within what 20,000 samples scatter and a kink bends, 4 %."""
    reduction: Reduction = request.getfixturevalue(example)
    job = reduction.job
    readings = job.readings
    assert readings is not None
    if reads != job.gauge.reads:
        value = readings.value if reads != "velocity" else 60.0 + 0.004 * readings.value
        job = replace(job, gauge=replace(job.gauge, reads=reads), readings=replace(readings, value=value))
    reduction = reduce_job(doubtful(job))
    linear = linear_uncertainty(reduction)
    groups = np.array(reduction.groups_of(0))
    sampled = simulated(reduction, linear, groups, 20_000)
    for name in (*STATION_RESULTS, *GROUP_RESULTS):
        places = groups
        if name in STATION_RESULTS:
            places = np.concatenate([np.arange(*reduction.stations_of(int(g)).indices(10**6)) for g in groups])
        law, draw = getattr(linear, name).standard[places], getattr(sampled, name).standard[places]
        assert law == pytest.approx(draw, rel=0.04), name
    assert linear.bias[groups, 0, 0] == pytest.approx(sampled.bias[groups, 0, 0], rel=0.06)


def test_areas_against_lengths_drawn_at_random(sidecar: Reduction) -> None:
    """Every length of valve and seat drawn 400 times: the scatter of the areas is the slopes' sum."""
    job = doubtful(sidecar.job)
    lifts = np.array([1e-3, 4e-3, 9e-3])
    exact = areas_at(job, job_profiles(job), lifts)
    dice = np.random.default_rng(7)
    drawn = []
    for _ in range(400):
        step = 2e-6 * dice.standard_normal(20)
        valve, seat = job.valve, job.seat
        assert valve.back_cut is not None
        assert seat.top_cut is not None
        valve = replace(
            valve,
            head_diameter=valve.head_diameter + step[0],
            stem_diameter=valve.stem_diameter + step[1],
            face_width=valve.face_width + step[2],
            margin=valve.margin + step[3],
            back_cut=replace(valve.back_cut, width=valve.back_cut.width + step[4]),
            fillet_radius=valve.fillet_radius + step[5],
        )
        seat = replace(
            seat,
            width=seat.width + step[6],
            outer_diameter=seat.outer_diameter + step[7],
            top_cut=replace(seat.top_cut, width=seat.top_cut.width + step[8]),
            bottom_cuts=tuple(
                replace(cut, width=cut.width + off) for cut, off in zip(seat.bottom_cuts, step[9:], strict=False)
            ),
            throat_diameter=seat.throat_diameter + step[12],
        )
        other = replace(job, valve=valve, seat=seat)
        areas = areas_at(other, job_profiles(other), lifts)
        drawn.append([areas.gap_area, areas.throat_area, areas.flow_area])
    scatter = np.std(drawn, axis=0, ddof=1) / [exact.gap_area, exact.throat_area, exact.flow_area]
    small = replace(
        job,
        valve=replace(job.valve, length_uncertainty=2e-6),
        seat=replace(job.seat, length_uncertainty=2e-6),
        bench=replace(job.bench, lift_uncertainty=None),
    )
    known = area_uncertainty(small, exact, job_profiles(small))
    assert np.array([known.gap[0], known.throat[0], known.flow[0]]) == pytest.approx(scatter, rel=0.15)


def test_a_lift_moves_areas_by_their_slope(sidecar: Reduction) -> None:
    job = replace(sidecar.job, bench=replace(sidecar.job.bench, lift_uncertainty=1e-5))
    lifts = np.array([2e-3, 5e-3])
    exact, higher = (areas_at(job, sidecar.profiles, lifts + step) for step in (0.0, 1e-5))
    known = area_uncertainty(job, exact, sidecar.profiles)
    assert known.gap[1] == pytest.approx(higher.gap_area / exact.gap_area - 1.0, rel=1e-2)
    assert known.curtain[1] == pytest.approx(1e-5 / lifts, rel=1e-9)


def test_nothing_stated_is_nothing_known(reduced: Reduce) -> None:
    result = reduced([("a", 5e-3, angle, 2000.0 + angle) for angle in (0.0, 100.0, 220.0)])
    known = reduction_uncertainty(result)
    assert known.readings.source == ("unknown",)
    for name in (*STATION_RESULTS, *GROUP_RESULTS):
        assert np.isnan(getattr(known, name).standard).all(), name


@pytest.fixture
def near_zero(reduced: Reduce) -> Reduction:
    """Drops of two standard uncertainties at one station; the others far away."""
    result = reduced([("a", 5e-3, angle, value) for angle, value in ((0, 10.0), (90, 900), (180, 1500), (270, 700))])
    return reduce_job(replace(result.job, gauge=replace(result.job.gauge, accuracy=5.0)))


def test_near_zero_drop_a_simulation_takes_over(near_zero: Reduction) -> None:
    """A drop of 10 +- 5 Pa: a million draws of the incompressible velocity, the sign kept, against its slope."""
    linear = linear_uncertainty(near_zero)
    assert bent_groups(near_zero, linear)[0].tolist() == [0]
    found = reduction_uncertainty(near_zero)
    assert found.method == ("monte-carlo",)
    ratio = found.velocity.standard[0] / linear.velocity.standard[0]
    draws = 10.0 + 5.0 * np.random.default_rng(1).standard_normal(1_000_000)
    slope = 5.0 * 0.5 / np.sqrt(10.0)
    assert ratio == pytest.approx(np.std(np.sign(draws) * np.sqrt(np.abs(draws))) / slope, rel=0.07)
    assert found.velocity.standard[2] == pytest.approx(linear.velocity.standard[2], rel=0.03)


def test_the_same_job_gives_the_same_numbers(near_zero: Reduction) -> None:
    first, second = reduction_uncertainty(near_zero), reduction_uncertainty(near_zero)
    assert first.velocity.standard.tolist() == second.velocity.standard.tolist()


def test_an_even_pattern_has_an_uncertain_bias_all_the_same(reduced: Reduce) -> None:
    """Twelve like readings: no slope at all, yet the bias scatters as two normal parts do (Rayleigh)."""
    result = reduced([("a", 5e-3, 30.0 * place, 3000.0) for place in range(12)])
    result = reduce_job(replace(result.job, gauge=replace(result.job.gauge, accuracy=20.0)))
    linear = linear_uncertainty(result)
    groups, patterns = bent_groups(result, linear)
    assert (groups.tolist(), patterns.tolist()) == ([], [0])
    found = reduction_uncertainty(result)
    axis = np.sqrt(linear.bias[0, 0, 0])
    # The standard deviation of a Rayleigh distribution is sqrt(2 - pi / 2) of its axes' (mathematics).
    assert found.bias_magnitude.standard[0] == pytest.approx(np.sqrt(2.0 - np.pi / 2.0) * axis, rel=0.05)
    assert np.isfinite(found.uniformity_index.standard[0])


def test_samples_are_the_results_of_their_own_readings(sidecar: Reduction) -> None:
    """Without any uncertainty but the readings', the samples' mean is the result."""
    sidecar = reduce_job(replace(sidecar.job, bench=replace(sidecar.job.bench, flow_accuracy_part=None)))
    known = linear_uncertainty(sidecar)
    drawn, bias = group_samples(sidecar, known, 3, 4000)
    part = sidecar.stations_of(3)
    assert drawn["velocity"].mean(axis=0) == pytest.approx(sidecar.stations.velocity[part], rel=1e-4)
    assert drawn["flow_share"].sum(axis=1) == pytest.approx(np.ones(4000))
    assert np.abs(bias.mean()) == pytest.approx(sidecar.bias_magnitude[3], rel=1e-3)
    # The bench flow's accuracy is not stated: what hangs on it is not known.
    assert np.isnan(drawn["closure"]).all()


def test_resolution_is_not_averaged_out(reduced: Reduce) -> None:
    rows = [("a", 5e-3, angle, 3000.0) for _ in range(100) for angle in (0.0, 120.0, 240.0)]
    result = reduced(rows)
    job = replace(result.job, gauge=replace(result.job.gauge, accuracy=10.0, resolution=12.0))
    known = linear_uncertainty(reduce_job(job))
    assert known.readings.mean == pytest.approx(np.full(3, np.hypot(1.0, np.sqrt(12.0))))


@pytest.mark.parametrize("reading", [0.0, 0.01, 0.5, 3.0, 10.0])
def test_a_gauge_that_reads_velocity_is_as_sure_near_rest_as_elsewhere(reduced: Reduce, reading: float) -> None:
    """Its velocity is its reading times the coefficient, wherever it lies; the drop goes with its square."""
    rows = [("a", 5e-3, angle, value) for angle, value in ((0, 60.0), (90, reading), (180, 50.0), (270, 70.0))]
    result = reduced(rows, reads="velocity", coefficient=0.98)
    result = reduce_job(replace(result.job, gauge=replace(result.job.gauge, accuracy=1.0)))
    known = reduction_uncertainty(result)
    assert known.method == ("linear",)
    assert known.velocity.standard == pytest.approx(np.full(4, 0.98), rel=1e-9)
    assert np.isfinite(known.flow_share.standard).all()
    draws = reading + np.random.default_rng(2).standard_normal(400_000)
    density = result.stations.density[1]
    assert known.drop.standard[1] == pytest.approx(np.std(np.sign(draws) * density * draws**2 / 2.0), rel=0.25)


def test_common_factors_cancel_beside_a_weak_station_too(reduced: Reduce) -> None:
    """One station near rest is simulated with its lift; the coefficient keeps moving both runs alike."""
    differences = []
    for weak in (2500.0, 40.0):
        truth = np.array([4000.0, 4200.0, weak, 4100.0, 3900.0, 4300.0])
        rows = [
            (run, 5e-3, 60.0 * place, float(value))
            for run, factor in (("a", 1.0), ("b", 1.03))
            for place, value in enumerate(truth * factor)
        ]
        result = reduced(rows)
        gauge = replace(result.job.gauge, accuracy=25.0, coefficient_uncertainty=0.05)
        result = reduce_job(replace(result.job, gauge=gauge))
        known = reduction_uncertainty(result)
        a, b = Side(result, known, 0), Side(result, known, 1)
        differences.append(compare_runs(a, b).lifts[0])
    strong, beside_weak = differences
    assert set(reduction_uncertainty(result).method) == {"monte-carlo"}
    assert beside_weak.stations["velocity"].u[0] == pytest.approx(strong.stations["velocity"].u[0], rel=0.1)
    # The weak station makes the mean less sure; the coefficient, 5 % of it in each run, would by far more.
    mean = beside_weak.values["mean_velocity"]
    assert mean.u[0] < 0.2 * 0.05 * np.sqrt(2.0) * mean.a[0]


def test_a_scaled_leak_is_scaled_in_its_uncertainty(reduced: Reduce) -> None:
    """Accuracy 0.2 l/s; a leak test at a quarter of the pressure counts twice: 0.2 sqrt(1 + 4) l/s, though it be 0."""
    result = reduced(
        [("a", 5e-3, angle, 2000.0 + angle) for angle in (0.0, 100.0, 220.0)], flow={("a", 5e-3): (0.03, 7000.0)}
    )
    result = replace(
        result,
        job=replace(result.job, bench=replace(result.job.bench, flow_accuracy=2e-4)),
        leak_scale=np.array([2.0]),
        leak=np.array([0.0]),
    )
    assert bench_flow_uncertainty(result) == pytest.approx([2e-4 * np.sqrt(5.0)])
