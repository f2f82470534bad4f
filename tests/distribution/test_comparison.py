"""Comparison of runs: how often its verdicts are false, and find what is there; what is refused; what is rescaled.

Simulated jobs: the truth is known, so that the promises can be counted. Fixed seeds.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from portviz.air import ideal_mass_flux, isentropic_state
from portviz.distribution.comparison import Side, compare_runs, packed_to_one_side
from portviz.distribution.reduce import Reduction, reduce_job
from portviz.distribution.uncertainty import linear_uncertainty, reduction_uncertainty
from portviz.distribution.verdicts import expanded
from portviz.errors import UsageError
from portviz.job.model import BenchFlow, Job, Readings

Reduce = Callable[..., Reduction]
MakeJob = Callable[..., Job]

STATIONS, LIFT, SIGMA = 12, 6e-3, 25.0
ANGLES = np.arange(STATIONS) * 30.0
#: An uneven pattern far from zero drop [Pa].
TRUTH = 4000.0 + 900.0 * np.cos(np.radians(ANGLES - 200.0)) + 250.0 * np.sin(np.radians(2 * ANGLES))


def simulated(
    make_job: MakeJob, pairs: int, repeats: int, seed: int, *, accuracy: float | None, change: float = 0.0
) -> Reduction:
    """Pairs of runs of one lift with normal scatter; the second of each has a change [Pa] at one station."""
    rows = [("a", LIFT, angle, value) for angle, value in zip(ANGLES, TRUTH, strict=True)]
    job = make_job(rows, test_pressure=7000.0)
    dice = np.random.default_rng(seed)
    runs = 2 * pairs
    truth = np.tile(TRUTH, (runs, 1))
    truth[1::2, 4] += change
    values = truth[:, :, None] + SIGMA * dice.standard_normal((runs, STATIONS, repeats))
    count = values.size
    readings = Readings(
        runs=tuple(f"run {number}" for number in range(runs)),
        group=np.repeat(np.arange(runs), STATIONS * repeats),
        station=np.tile(np.repeat(np.arange(STATIONS), repeats), runs),
        value=values.ravel(),
        line=np.arange(2, count + 2),
        group_run=np.arange(runs),
        group_lift=np.full(runs, LIFT),
        file="readings.csv",
    )
    return reduce_job(replace(job, readings=readings, gauge=replace(job.gauge, accuracy=accuracy)))


def compared(reduction: Reduction, pairs: int):
    """The only lift of each pair's comparison."""
    known = linear_uncertainty(reduction)
    for pair in range(pairs):
        a, b = Side(reduction, known, 2 * pair), Side(reduction, known, 2 * pair + 1)
        yield compare_runs(a, b).lifts[0]


@pytest.mark.parametrize(("repeats", "accuracy"), [(1, SIGMA), (3, SIGMA), (3, None), (2, None)])
def test_without_a_change_at_most_one_lift_in_twenty_shows_one(
    make_job: MakeJob, repeats: int, accuracy: float | None
) -> None:
    """2,000 jobs: any station called changed in velocity, or in share, in at most 6 % of them; each other value too."""
    pairs = 2000
    reduction = simulated(make_job, pairs, repeats, 11, accuracy=accuracy)
    false = {"velocity": 0, "flow_share": 0, "mean_velocity": 0, "uniformity_index": 0, "bias": 0, "shift": 0}
    for lift in compared(reduction, pairs):
        for name in ("velocity", "flow_share"):
            false[name] += any(verdict != "not shown" for verdict in lift.stations[name].verdicts)
        for name in ("mean_velocity", "uniformity_index"):
            false[name] += lift.values[name].verdicts[0] != "not shown"
        false["bias"] += lift.bias.magnitude.verdicts[0] != "not shown"
        false["shift"] += lift.bias.shown
    assert max(false.values()) <= 0.06 * pairs, false


@pytest.mark.parametrize(("repeats", "accuracy"), [(1, SIGMA), (3, None)])
def test_a_change_of_five_uncertainties_at_one_station_is_found(
    make_job: MakeJob, repeats: int, accuracy: float | None
) -> None:
    """At least 95 of 100, in velocity and in share."""
    pairs = 600
    change = 5.0 * SIGMA * math.sqrt(2.0 / repeats)
    reduction = simulated(make_job, pairs, repeats, 12, accuracy=accuracy, change=change)
    found = [lift.stations["velocity"].verdicts[4] == "higher" for lift in compared(reduction, pairs)]
    assert np.mean(found) >= 0.95


@pytest.mark.parametrize(("repeats", "accuracy"), [(1, SIGMA), (3, None)])
def test_intervals_cover_the_truth_as_often_as_they_say(
    make_job: MakeJob, repeats: int, accuracy: float | None
) -> None:
    """95 % intervals of velocity, share, bias and uniformity cover in 94 to 96 of 100 cases."""
    runs = 6000
    reduction = simulated(make_job, runs // 2, repeats, 13, accuracy=accuracy)
    known = linear_uncertainty(reduction)
    exact = reduce_job(replace(reduction.job, readings=_one_run(reduction.job, TRUTH)))
    freedom = known.readings.freedom
    at_stations = np.repeat(freedom, STATIONS)

    def covered(values: np.ndarray, truth: np.ndarray, u: np.ndarray, freedoms: np.ndarray) -> float:
        return float(np.mean(np.abs(values - truth) <= expanded(u, freedoms)))

    for name in ("velocity", "flow_share"):
        truth = np.tile(getattr(exact.stations, name), runs)
        part = covered(getattr(reduction.stations, name), truth, getattr(known, name).standard, at_stations)
        assert 0.94 <= part <= 0.96, name
    for name, values, truth in (
        ("bias_magnitude", reduction.bias_magnitude, exact.bias_magnitude),
        ("uniformity_index", reduction.measures.uniformity_index, exact.measures.uniformity_index),
        ("mean_velocity", reduction.measures.mean, exact.measures.mean),
    ):
        part = covered(values, truth, getattr(known, name).standard, freedom)
        assert 0.94 <= part <= 0.96, name


def _one_run(job: Job, values: np.ndarray) -> Readings:
    assert job.readings is not None
    return replace(
        job.readings,
        runs=("truth",),
        group=np.zeros(STATIONS, dtype=int),
        station=np.arange(STATIONS),
        value=values,
        line=np.arange(2, STATIONS + 2),
        group_run=np.zeros(1, dtype=int),
        group_lift=np.array([LIFT]),
    )


def rows_of(run: str, values: np.ndarray, lift: float = LIFT, angles: np.ndarray = ANGLES):
    return [(run, lift, float(angle), float(value)) for angle, value in zip(angles, values, strict=True)]


def sides(reduction: Reduction) -> tuple[Side, Side]:
    known = reduction_uncertainty(reduction)
    return Side(reduction, known, 0), Side(reduction, known, 1)


def accurate(reduced: Reduce, rows, accuracy: float | None = SIGMA, **words) -> Reduction:
    result = reduced(rows, **words)
    return reduce_job(replace(result.job, gauge=replace(result.job.gauge, accuracy=accuracy)))


def test_what_is_common_to_both_runs_cancels(reduced: Reduce) -> None:
    """A coefficient known to 2 % makes no difference of like runs less certain, and cancels whole in shares."""
    result = accurate(reduced, rows_of("a", TRUTH) + rows_of("b", TRUTH + 30.0))
    doubtful = reduce_job(
        replace(
            result.job,
            gauge=replace(result.job.gauge, coefficient_uncertainty=0.02),
            bench=replace(result.job.bench, density_uncertainty=0.01),
        )
    )
    plain, loose = compare_runs(*sides(result)).lifts[0], compare_runs(*sides(doubtful)).lifts[0]
    assert loose.stations["velocity"].u == pytest.approx(plain.stations["velocity"].u, rel=0.02)
    assert loose.stations["flow_share"].u == pytest.approx(plain.stations["flow_share"].u, rel=1e-9)
    # A velocity of its own is as uncertain as the coefficient and half the density.
    known = linear_uncertainty(doubtful).velocity.standard / doubtful.stations.velocity
    assert known == pytest.approx(np.hypot(0.02, 0.005), rel=0.02)


def test_factors_of_two_jobs_do_not_cancel(reduced: Reduce) -> None:
    first = accurate(reduced, rows_of("a", TRUTH))
    first = reduce_job(replace(first.job, gauge=replace(first.job.gauge, coefficient_uncertainty=0.02)))
    second = reduce_job(replace(first.job, folder=Path("later"), readings=replace(first.job.readings, runs=("b",))))
    a, b = Side(first, linear_uncertainty(first), 0), Side(second, linear_uncertainty(second), 0)
    lift = compare_runs(a, b).lifts[0]
    least = math.sqrt(2.0) * 0.02 * first.stations.velocity
    assert (lift.stations["velocity"].u > least).all()
    assert set(lift.stations["velocity"].verdicts) == {"not shown"}


def test_what_two_jobs_are_rescaled_by_has_an_uncertainty(reduced: Reduce) -> None:
    """Flow over ideal flow, velocity over isentropic velocity: both test pressures count, by a half at most."""
    jobs = []
    for folder, run, pressure in (("first", "a", 7000.0), ("later", "b", 6000.0)):
        made = accurate(reduced, rows_of(run, TRUTH * pressure / 7000.0), test_pressure=pressure)
        flow = replace_flow(made.job, 0.05 * math.sqrt(pressure / 7000.0))
        bench = replace(made.job.bench, test_pressure_uncertainty=0.04 * pressure, flow_accuracy_part=1e-6)
        jobs.append(reduce_job(replace(made.job, folder=Path(folder), flow=flow, bench=bench)))
    a, b = (Side(each, linear_uncertainty(each), 0) for each in jobs)
    lift = compare_runs(a, b).lifts[0]
    assert lift.values["flow"].u[0] / 0.05 == pytest.approx(0.5 * math.hypot(0.04, 0.04), rel=0.1)
    ratio = lift.stations["velocity"].u / lift.stations["velocity"].a
    assert ratio == pytest.approx(np.full(STATIONS, 0.5 * math.hypot(0.04, 0.04)), rel=0.1)
    assert lift.values["flow"].verdicts == ("not shown",)


def replace_flow(job: Job, flow: float) -> BenchFlow:
    return BenchFlow(np.array([flow]), np.array([math.nan]), np.array([2]), "flow.csv")


def test_nothing_known_no_verdict(reduced: Reduce) -> None:
    result = reduced(rows_of("a", TRUTH) + rows_of("b", 1.5 * TRUTH))
    lift = compare_runs(*sides(result)).lifts[0]
    assert np.isnan(lift.stations["velocity"].u).all()
    assert set(lift.stations["velocity"].verdicts) == {"not shown"}
    assert lift.values["mean_velocity"].verdicts == ("not shown",)
    assert not lift.bias.shown


def test_repeats_that_never_differ_tell_nothing(reduced: Reduce) -> None:
    """Typed twice, to the last digit: no scatter of zero, but none that is known."""
    result = reduced(2 * rows_of("a", TRUTH) + 2 * rows_of("b", 1.5 * TRUTH))
    assert set(linear_uncertainty(result).readings.source) == {"unknown"}
    coarse = reduce_job(replace(result.job, gauge=replace(result.job.gauge, resolution=60.0)))
    known = linear_uncertainty(coarse)
    assert set(known.readings.source) == {"resolution"}
    assert known.readings.mean == pytest.approx(np.full(2 * STATIONS, 60.0 / math.sqrt(12.0)))


def test_scatter_beyond_the_accuracy_is_believed(reduced: Reduce) -> None:
    dice = np.random.default_rng(3)
    rows = [row for _ in range(4) for row in rows_of("a", TRUTH + 80.0 * dice.standard_normal(STATIONS))]
    loose = linear_uncertainty(accurate(reduced, rows, accuracy=10.0))
    assert loose.readings.source == ("repeats",)
    assert loose.readings.freedom.tolist() == [36.0]
    assert loose.readings.mean == pytest.approx(np.full(STATIONS, 40.0), rel=0.35)
    ordinary = linear_uncertainty(accurate(reduced, rows, accuracy=80.0))
    assert ordinary.readings.source == ("accuracy",)
    assert ordinary.readings.mean == pytest.approx(np.full(STATIONS, 40.0))


def test_other_test_pressures_are_rescaled_and_it_is_said(reduced: Reduce) -> None:
    """One head on two benches: equal velocity ratios and one effective area are no change."""
    room_pressure, gas = 99_800.0, None
    first, second = 7000.0, 5000.0
    result = reduced(rows_of("a", TRUTH))
    room = result.job.bench.air
    gas = room.gas_constant

    def speed(drop: np.ndarray | float) -> np.ndarray:
        return isentropic_state(drop, room_pressure, room.temperature, gas).velocity

    ratio = speed(TRUTH) / speed(first)
    from portviz.air import isentropic_drop

    other = isentropic_drop(ratio * speed(second), room_pressure, room.temperature, gas)
    flow = [float(ideal_mass_flux(each, room_pressure, room.temperature, gas)) * 1e-5 for each in (first, second)]
    rows = rows_of("a", TRUTH) + rows_of("b", other)
    both = accurate(reduced, rows, flow={("a", LIFT): (flow[0], first), ("b", LIFT): (flow[1], second)})
    lift = compare_runs(*sides(both)).lifts[0]
    assert lift.rescaled
    assert lift.stations["velocity"].difference == pytest.approx(np.zeros(STATIONS), abs=1e-9)
    assert lift.values["flow"].difference[0] == pytest.approx(0.0, abs=1e-12)
    assert set(lift.stations["velocity"].verdicts) == {"not shown"}


def test_lifts_of_one_run_alone_are_listed_and_never_invented(reduced: Reduce) -> None:
    rows = rows_of("a", TRUTH, 4e-3) + rows_of("a", TRUTH, 6e-3) + rows_of("b", TRUTH, 6e-3) + rows_of("b", TRUTH, 8e-3)
    found = compare_runs(*sides(accurate(reduced, rows)))
    assert [each.lift for each in found.lifts] == [6e-3]
    assert found.only_a.tolist() == [4e-3]
    assert found.only_b.tolist() == [8e-3]


def test_more_flow_packed_to_one_side_is_told(reduced: Reduce) -> None:
    packed = TRUTH + 500.0 * np.cos(np.radians(ANGLES - 200.0))
    rows = rows_of("a", TRUTH) + rows_of("b", packed)
    flow = {("a", LIFT): (0.050, math.nan), ("b", LIFT): (0.053, math.nan)}
    result = accurate(reduced, rows, flow=flow)
    assert packed_to_one_side(compare_runs(*sides(result))) == []
    known = reduce_job(replace(result.job, bench=replace(result.job.bench, flow_accuracy_part=0.005)))
    assert packed_to_one_side(compare_runs(*sides(known))) == [LIFT]


def test_other_stations_are_refused_unless_the_field_is_asked_for(reduced: Reduce) -> None:
    fewer = ANGLES[::2]
    rows = rows_of("a", TRUTH) + rows_of("b", TRUTH[::2], angles=fewer)
    result = accurate(reduced, rows)
    with pytest.raises(UsageError, match=r"at 6\.00 mm the runs were read at other stations .*--on-field"):
        compare_runs(*sides(result))
    lift = compare_runs(*sides(result), on_field=True).lifts[0]
    off = lift.stations["velocity"].difference
    assert off[::2] == pytest.approx(np.zeros(6), abs=1e-9)
    # Shares of the finer stations: those of a smooth pattern, and one in all.
    assert lift.stations["flow_share"].b.sum() == pytest.approx(1.0, abs=0.01)
    # Known where both were read, unknown between: no verdict on an interpolated value, nor on a ring of others.
    assert np.isfinite(lift.stations["velocity"].u).tolist() == [True, False] * 6
    assert np.isnan(lift.stations["flow_share"].u).all()
    assert set(lift.stations["flow_share"].verdicts) == {"not shown"}
    for name in ("mean_velocity", "uniformity_index", "coefficient_of_variation", "closure"):
        assert np.isnan(lift.values[name].u[0])
    assert np.isnan(lift.bias.u)


def test_turned_stations_give_no_false_verdict(reduced: Reduce) -> None:
    """Another run of the same port read half a sector on: interpolation is not measurement."""
    fine = np.arange(0.0, 360.0, 22.5)
    pattern = 4000.0 + 1500.0 * np.cos(np.radians(fine - 100.0)) + 600.0 * np.cos(np.radians(3 * fine))
    rows = rows_of("a", pattern[::2], angles=fine[::2]) + rows_of("b", pattern[1::2], angles=fine[1::2])
    lift = compare_runs(*sides(accurate(reduced, rows, accuracy=5.0)), on_field=True).lifts[0]
    verdicts = [*lift.stations["velocity"].verdicts, *lift.values["uniformity_index"].verdicts]
    assert set(verdicts) == {"not shown"}
    assert not lift.bias.shown


def test_a_stated_flow_accuracy_has_endless_degrees_of_freedom(reduced: Reduce) -> None:
    """However few the repeats at the stations are; closure, which hangs on both, has those of both."""
    dice = np.random.default_rng(4)
    rows = [row for run in "ab" for row in rows_of(run, TRUTH)]
    rows += [(run, LIFT, 0.0, float(TRUTH[0] + 30.0 * dice.standard_normal())) for run in "ab"]
    flow = {("a", LIFT): (0.050, math.nan), ("b", LIFT): (0.0522, math.nan)}
    result = accurate(reduced, rows, accuracy=None, flow=flow)
    result = reduce_job(replace(result.job, bench=replace(result.job.bench, flow_accuracy_part=0.01)))
    known = linear_uncertainty(result)
    assert known.readings.freedom.tolist() == [1.0, 1.0]
    lift = compare_runs(*sides(result)).lifts[0]
    assert np.isinf(lift.values["flow"].freedom[0])
    assert lift.values["flow"].u[0] == pytest.approx(math.hypot(0.0005, 0.000522), rel=1e-9)
    assert lift.values["flow"].verdicts == ("higher",)
    assert np.isinf(lift.values["discharge_coefficient"].freedom[0])
    assert 2.0 <= lift.values["closure"].freedom[0] < np.inf


def test_closed_valves_are_not_compared(reduced: Reduce) -> None:
    rows = [row for run in "ab" for lift in (0.0, LIFT) for row in rows_of(run, TRUTH * (0.01 + lift / LIFT), lift)]
    found = compare_runs(*sides(accurate(reduced, rows)))
    assert [each.lift for each in found.lifts] == [LIFT]
    assert found.only_a.tolist() == found.only_b.tolist() == [0.0]


def test_what_can_not_be_compared(reduced: Reduce) -> None:
    result = accurate(reduced, rows_of("a", TRUTH, 4e-3) + rows_of("b", TRUTH, 8e-3))
    a, b = sides(result)
    with pytest.raises(UsageError, match=r"no open lift in common; 'a' has 4\.00 mm, 'b' has 8\.00 mm"):
        compare_runs(a, b)
    with pytest.raises(UsageError, match="can't be compared with itself"):
        compare_runs(a, a)
    # The same folder read twice is the same run still; another side is another thing.
    twin = reduce_job(result.job)
    with pytest.raises(UsageError, match="can't be compared with itself"):
        compare_runs(a, Side(twin, linear_uncertainty(twin), 0))
    blown = reduce_job(replace(result.job, side="exhaust"))
    with pytest.raises(UsageError, match="measured on the intake, 'b' on the exhaust side"):
        compare_runs(a, Side(blown, linear_uncertainty(blown), 1))
