"""Readings to distrust: tests against scipy and by simulation, what is named, and what leaves them quiet.

Simulated jobs are drawn with fixed seeds. Rates are stated for normal scatter, even or growing with the reading.
"""

from __future__ import annotations

import json
import math
import shutil
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

from portviz.__main__ import main
from portviz.distribution.drift import drifting_lifts
from portviz.distribution.lift_course import jumping_closures, jumping_stations
from portviz.distribution.notes import reduction_warnings
from portviz.distribution.quality import over_range
from portviz.distribution.quality_notes import quality_warnings
from portviz.distribution.reduce import Reduction, reduce_job
from portviz.distribution.repeats import (
    OUTLIER_LEVEL,
    Repeats,
    find_repeats,
    identical_lifts,
    least_step,
    outlying_places,
)
from portviz.distribution.robust import bound, group_median, group_scatter
from portviz.errors import JobError
from portviz.job.model import ClosedFlow, Job, Readings

Reduce = Callable[..., Reduction]
Values = np.ndarray
Capture = pytest.CaptureFixture[str]
EXAMPLE_NAMES = ("sidecar", "tractor")


def about(warnings: Sequence[str], words: str) -> str:
    """The one warning with the words; fails where there is none or more."""
    (found,) = [each for each in warnings if words in each]
    return found


class Bench:
    """A job of stations, repeats in rounds, lifts and runs, whose readings fall with lift and lean to one side."""

    def __init__(self, make_job: Callable[..., Job], stations: int, repeats: int, lifts: int, runs: int) -> None:
        angles = np.arange(stations) * 360.0 / stations
        groups = runs * lifts
        self.job = make_job([("a", 1e-3, angle, 1000.0) for angle in angles])
        self.readings = Readings(
            runs=tuple(f"run {run}" for run in range(runs)),
            group=np.repeat(np.arange(groups), stations * repeats),
            station=np.tile(np.arange(stations), groups * repeats),
            value=np.zeros(groups * stations * repeats),
            line=np.arange(2, groups * stations * repeats + 2),
            group_run=np.repeat(np.arange(runs), lifts),
            group_lift=np.tile(np.arange(1, lifts + 1) * 1e-3, runs),
            file="readings.csv",
        )
        lift = self.readings.group_lift[self.readings.group] * 1e3 / lifts
        lean = np.cos(np.radians(angles[self.readings.station]))
        self.level = 5000.0 - 3000.0 * lift * (0.6 + 0.4 * lean)

    def read(self, values: Values) -> Readings:
        return replace(self.readings, value=values)

    def reduced(self, values: Values) -> Reduction:
        return reduce_job(replace(self.job, readings=self.read(values)))


MakeBench = Callable[..., Bench]


@pytest.fixture
def bench(make_job: Callable[..., Job]) -> MakeBench:
    return lambda *shape: Bench(make_job, *shape)


def repeats_of(job: Job, readings: Readings) -> Repeats:
    return find_repeats(job, readings, least_step(job, np.unique(readings.value)))


def outlying_rows(job: Job, readings: Readings) -> set[int]:
    repeats = repeats_of(job, readings)
    return {int(row) for place in outlying_places(job, readings, repeats)[0] for row in repeats.rows_of(place)}


def with_accuracy(job: Job, accuracy: float | None) -> Job:
    return replace(job, gauge=replace(job.gauge, accuracy=accuracy))


# --- medians and bounds ----------------------------------------------------------------------------------------------


def test_the_scatter_is_the_median_absolute_deviation_of_scipy() -> None:
    random = np.random.default_rng(5)
    group = random.integers(0, 7, 301)
    values = random.standard_normal(301) * (1.0 + group)
    found = group_scatter(values, group, 8)
    for each in range(7):
        own = values[group == each]
        own = own if len(own) % 2 else np.append(own, 0.0)  # the lower of two in the middle
        expected = stats.median_abs_deviation(own, center=lambda x, axis: 0.0, scale="normal")
        assert found[each] == pytest.approx(expected, rel=1e-4)
    assert math.isnan(found[7])


def test_a_median_of_nothing_but_zeros() -> None:
    assert group_median(np.zeros(3), np.array([0, 0, 2]), 3).tolist() == pytest.approx(
        [0.0, math.nan, 0.0], nan_ok=True
    )


@pytest.mark.parametrize(("tests", "freedom", "level"), [(1, 4.0, 0.05), (96, 20.0, 0.01), (5000, 1e9, 0.02)])
def test_the_bound_is_students_with_bonferroni(tests: int, freedom: float, level: float) -> None:
    assert float(bound(tests, freedom, level)) == pytest.approx(stats.t.isf(level / 2 / tests, freedom), rel=1e-6)


# --- outliers among repeats ------------------------------------------------------------------------------------------

SHAPES = [
    (12, 3, 8, 2),
    (12, 2, 8, 2),
    (16, 2, 8, 1),
    (8, 2, 6, 1),
    (4, 2, 5, 1),
    (4, 3, 1, 1),
    (6, 5, 3, 1),
    (12, 12, 1, 1),
]
SCATTERS = {
    "even": lambda level: np.full_like(level, 30.0),
    "growing with the reading": lambda level: 0.01 * level,
    "both": lambda level: np.hypot(20.0, 0.006 * level),
}


@pytest.mark.parametrize("scatter", SCATTERS)
@pytest.mark.parametrize("shape", SHAPES)
def test_ordinary_scatter_gives_an_outlier_in_at_most_five_jobs_of_a_hundred(
    shape: tuple[int, ...], scatter: str, bench: MakeBench
) -> None:
    made, random, jobs = bench(*shape), np.random.default_rng(11), 300
    deviation = SCATTERS[scatter](made.level)
    alarms = 0
    for number in range(jobs):
        values = made.level + deviation * random.standard_normal(len(made.level))
        # As typed: to 1 Pa, or as coarsely as the scatter itself.
        values = np.round(values / (30.0 if number % 3 == 0 else 1.0)) * (30.0 if number % 3 == 0 else 1.0)
        job = with_accuracy(made.job, (None, 15.0, 30.0)[number % 3])
        alarms += bool(outlying_rows(job, made.read(values)))
    assert alarms / jobs <= 0.05


@pytest.mark.parametrize(("shape", "least"), [((12, 3, 8, 2), 0.97), ((12, 2, 8, 2), 0.9), ((16, 2, 8, 1), 0.9)])
def test_a_slip_of_ten_standard_deviations_is_found(shape: tuple[int, ...], least: float, bench: MakeBench) -> None:
    made, random, jobs = bench(*shape), np.random.default_rng(12), 200
    found = 0
    for _ in range(jobs):
        values = made.level + 30.0 * random.standard_normal(len(made.level))
        row = int(random.integers(len(values)))
        values[row] += 300.0 * random.choice([-1.0, 1.0])
        found += row in outlying_rows(made.job, made.read(np.round(values)))
    assert found / jobs >= least


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("factor", [10.0, 0.1])
def test_a_tenfold_slip_is_always_found(shape: tuple[int, ...], factor: float, bench: MakeBench) -> None:
    made, random = bench(*shape), np.random.default_rng(13)
    for _ in range(50):
        values = made.level + 30.0 * random.standard_normal(len(made.level))
        row = int(random.integers(len(values)))
        values[row] *= factor
        assert row in outlying_rows(made.job, made.read(values))


def test_slips_do_not_hide_one_another(bench: MakeBench) -> None:
    """One reading in twenty tenfold, half of them at one lift."""
    made, random = bench(12, 3, 8, 1), np.random.default_rng(14)
    values = made.level + 30.0 * random.standard_normal(len(made.level))
    rows = [*range(0, 24, 5), *range(40, len(values), 29)]
    values[rows] *= 10.0
    assert outlying_rows(made.job, made.read(values)) >= set(rows)


def test_a_restless_lift_is_judged_by_its_own_scatter(bench: MakeBench) -> None:
    """One lift with four times the scatter: its normal values are no outliers."""
    made, random, alarms = bench(12, 3, 8, 1), np.random.default_rng(15), 0
    deviation = np.where(made.readings.group == 4, 120.0, 30.0)
    for _ in range(200):
        alarms += bool(
            outlying_rows(made.job, made.read(made.level + deviation * random.standard_normal(len(deviation))))
        )
    assert alarms / 200 <= 0.1


def test_the_score_is_that_of_iglewicz_and_hoaglin(bench: MakeBench) -> None:
    """One lift, three readings each: 0.6745 |residual| over the median of the residuals, against the bound."""
    made, random = bench(12, 3, 1, 1), np.random.default_rng(16)
    values = made.level + 30.0 * random.standard_normal(36)
    values[7] += 400.0
    readings = made.read(values)
    repeats = replace(repeats_of(made.job, readings), step=0.0)
    (place,), (excess,) = outlying_places(made.job, readings, repeats)
    table = values.reshape(3, 12)
    sizes = np.abs(table - table.mean(axis=0)) / math.sqrt(1.0 - 1.0 / 3.0)
    median = np.sort(sizes.ravel())[17]
    limit = stats.t.isf(OUTLIER_LEVEL / 2.0 / 36.0, 0.367 * 24.0)
    assert place == 7
    assert excess == pytest.approx(sizes.max() / (1.4826 * median) / limit, rel=1e-6)


def test_an_outlier_is_not_told_again_as_a_jump(sidecar: Reduction) -> None:
    """Line 50 of the example tenfold less: one of three repeats, and the mean of the station with it."""
    readings = sidecar.job.readings
    assert readings is not None
    value = np.where(readings.line == 50, 0.1 * readings.value, readings.value)
    job = replace(sidecar.job, readings=replace(readings, value=value))
    assert jumping_stations(reduce_job(job, sidecar.profiles)).group.size == 1
    (warning,) = quality_warnings(reduce_job(job, sidecar.profiles))
    assert "repeats differ" in warning
    assert "(line 50)" in warning


# --- drift -----------------------------------------------------------------------------------------------------------


def test_drift_is_the_slope_test_of_an_analysis_of_covariance(bench: MakeBench) -> None:
    """Against the full least squares problem: a mean for each station and one slope."""
    made, random = bench(6, 3, 1, 1), np.random.default_rng(21)
    turn = np.arange(18.0)
    design = np.column_stack([np.eye(6)[made.readings.station], turn])
    told = 0
    for _ in range(200):
        values = made.level + 30.0 * random.standard_normal(18) + 5.0 * turn
        solution, squares, *_ = np.linalg.lstsq(design, values, rcond=None)
        error = math.sqrt(squares[0] / 11.0 * np.linalg.inv(design.T @ design)[-1, -1])
        p = 2.0 * stats.t.sf(abs(solution[-1]) / error, 11)
        readings = made.read(values)
        drift = drifting_lifts(made.job, readings, repeats_of(made.job, readings), np.zeros(0, dtype=int))
        assert (len(drift.group) == 1) == (p <= 0.01)
        if len(drift.group):
            told += 1
            assert drift.change[0] == pytest.approx(17.0 * solution[-1])
            assert (drift.first[0], drift.last[0]) == (0, 17)
    assert 20 < told < 180


@pytest.mark.parametrize("shape", [(12, 3, 8, 2), (12, 2, 8, 2), (4, 2, 5, 1), (6, 5, 3, 1)])
def test_steady_readings_are_said_to_drift_in_one_job_of_a_hundred(shape: tuple[int, ...], bench: MakeBench) -> None:
    """300 jobs at 1 %: more than nine come up in one of a thousand such tests (binomial)."""
    made, random, alarms = bench(*shape), np.random.default_rng(22), 0
    for _ in range(300):
        readings = made.read(made.level + 30.0 * random.standard_normal(len(made.level)))
        repeats = repeats_of(made.job, readings)
        alarms += drifting_lifts(made.job, readings, repeats, np.zeros(0, dtype=int)).group.size > 0
    assert alarms <= stats.binom.ppf(0.999, 300, 0.01)


def test_a_drift_at_one_lift_is_found_there(bench: MakeBench) -> None:
    made, random, found = bench(12, 3, 8, 2), np.random.default_rng(23), 0
    turn = np.tile(np.arange(36.0) / 35.0, 16)
    for _ in range(100):
        values = (
            made.level + 30.0 * random.standard_normal(len(turn)) + np.where(made.readings.group == 5, 120 * turn, 0)
        )
        readings = made.read(values)
        found += drifting_lifts(
            made.job, readings, repeats_of(made.job, readings), np.zeros(0, dtype=int)
        ).group.tolist() == [5]
    assert found >= 90


def test_a_drift_is_told_with_its_lines_unless_the_accuracy_covers_it(reduced: Reduce) -> None:
    rows = [("a", 5e-3, angle, 3000.0 + 40.0 * turn) for turn in range(3) for angle in (0.0, 90.0, 180.0, 270.0)]
    random = np.random.default_rng(24)
    rows = [(*row[:3], round(row[3] + 3.0 * random.standard_normal())) for row in rows]
    job = reduced(rows).job
    warning = about(quality_warnings(reduce_job(job)), "drift from round to round")
    assert "a at 5.00 mm: +" in warning
    assert warning.endswith("from line 2 to line 13")
    assert not any("drift" in each for each in quality_warnings(reduce_job(with_accuracy(job, 200.0))))


def test_repeats_taken_station_by_station_tell_of_no_drift(reduced: Reduce) -> None:
    """Each second reading 40 Pa higher: within a station, not over the lift."""
    rows = [("a", 5e-3, angle, 3000.0 + 40.0 * turn) for angle in np.arange(12) * 30.0 for turn in range(2)]
    assert not any("drift" in each for each in quality_warnings(reduced(rows)))


# --- jumps between lifts ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", EXAMPLE_NAMES)
def test_examples_are_quiet(name: str, request: pytest.FixtureRequest) -> None:
    """As they are, without the accuracy, and read more coarsely."""
    result: Reduction = request.getfixturevalue(name)
    assert result.job.readings is not None
    accuracy = result.job.gauge.accuracy
    assert accuracy is not None
    for each in (accuracy, None):
        assert quality_warnings(reduce_job(with_accuracy(result.job, each), result.profiles)) == []
    for step in (0.5 * accuracy, 2.0 * accuracy):
        coarse = np.round(result.job.readings.value / step) * step
        job = replace(result.job, readings=replace(result.job.readings, value=coarse))
        assert quality_warnings(reduce_job(job, result.profiles)) == []


@pytest.mark.parametrize("factor", [0.75, 1.25])
def test_one_station_off_by_a_quarter_is_named_at_every_lift(factor: float, sidecar: Reduction) -> None:
    """Each place of the example in turn, all its repeats alike; at the ends of a run nearly all."""
    readings = sidecar.job.readings
    assert readings is not None
    found, last = 0, [7, 15]
    for group in range(16):
        for station in range(12):
            value = readings.value.copy()
            value[(readings.group == group) & (readings.station == station)] *= factor
            job = replace(sidecar.job, readings=replace(readings, value=value))
            jumps = jumping_stations(reduce_job(job, sidecar.profiles))
            right = (jumps.group.tolist(), jumps.column.tolist()) == ([group], [station])
            assert right or group in last
            found += right
    assert found >= 186  # of 192


def test_two_readings_that_changed_places_are_both_named(sidecar: Reduction) -> None:
    """Stations 30 and 180 deg of the run as found at 5 mm, whose lines are told."""
    readings = sidecar.job.readings
    assert readings is not None
    value = readings.value.copy()
    one, other = (np.flatnonzero((readings.group == 3) & (readings.station == place)) for place in (1, 6))
    value[one], value[other] = value[other], value[one]
    job = replace(sidecar.job, readings=replace(readings, value=value))
    warning = about(quality_warnings(reduce_job(job, sidecar.profiles)), "jump between lifts")
    assert "as found at 5.00 mm, station 30 deg: a drop of " in warning
    assert "as found at 5.00 mm, station 180 deg: a drop of " in warning
    assert f"(lines {readings.line[one[0]]}, {readings.line[one[1]]} and {readings.line[one[2]]})" in warning


def test_what_is_expected_is_the_line_through_the_neighbours(bench: MakeBench) -> None:
    made = bench(12, 1, 6, 1)
    values = made.level.copy()
    values[2 * 12 + 5] *= 1.25
    jumps = jumping_stations(made.reduced(values))
    assert (jumps.group.tolist(), jumps.column.tolist()) == ([2], [5])
    assert jumps.value[0] == pytest.approx(1.25 * made.level[29])
    expected = np.interp(3.0, [2.0, 4.0], made.level[[17, 41]])
    assert jumps.expected[0] == pytest.approx(expected)


@pytest.mark.parametrize("group", [0, 5])
def test_a_wrong_end_is_blamed_itself(group: int, bench: MakeBench) -> None:
    made = bench(12, 1, 6, 1)
    values = made.level.copy()
    values[group * 12 + 5] *= 1.3
    jumps = jumping_stations(made.reduced(values))
    assert (jumps.group.tolist(), jumps.column.tolist()) == ([group], [5])
    assert jumps.expected[0] == pytest.approx(made.level[group * 12 + 5])


@pytest.mark.parametrize("shape", [(12, 1, 8, 2), (8, 1, 6, 1), (4, 1, 5, 1), (4, 1, 3, 1), (6, 1, 20, 3)])
@pytest.mark.parametrize("part", [0.01, 0.05])
def test_scatter_alone_jumps_in_at_most_five_jobs_of_a_hundred(
    shape: tuple[int, ...], part: float, bench: MakeBench
) -> None:
    made, random, alarms = bench(*shape), np.random.default_rng(31), 0
    for _ in range(120):
        values = made.level * (1.0 + part * random.standard_normal(len(made.level)))
        alarms += jumping_stations(made.reduced(values)).group.size > 0
    assert alarms / 120 <= 0.05


def test_closure_far_from_its_neighbours_is_named_with_the_flows_line(sidecar: Reduction) -> None:
    job = sidecar.job
    assert job.flow is not None
    flow = job.flow.flow.copy()
    flow[3] *= 0.8
    result = reduce_job(replace(job, flow=replace(job.flow, flow=flow)), sidecar.profiles)
    warning = about(quality_warnings(result), "closure is far from that of the lifts beside it")
    expected = np.interp(5.0, [3.5, 6.5], sidecar.closure[[2, 4]])
    assert warning.endswith(
        f": as found at 5.00 mm: {result.closure[3]:.3f} where {expected:.3f} is expected (flow.csv, line 5)"
    )
    assert jumping_closures(sidecar).group.size == 0


# --- the gauge's end, and copied repeats -----------------------------------------------------------------------------


def test_a_gauge_at_its_end_is_told(sidecar: Reduction) -> None:
    readings = sidecar.job.readings
    assert readings is not None
    ceiling = np.sort(readings.value)[-40]
    job = replace(sidecar.job, readings=replace(readings, value=np.minimum(readings.value, ceiling)))
    (warning,) = quality_warnings(reduce_job(job, sidecar.profiles))
    assert "as of a gauge at the end of its range" in warning
    count = int(np.count_nonzero(job.readings.value == ceiling))
    assert warning.startswith(f"{count} readings are exactly the largest, 565.7 mmH2O")
    assert "as found at 1.00 mm, station " in warning
    assert "(line" in warning


@pytest.mark.parametrize("step", [1.0, 20.0, 100.0, 400.0])
def test_coarse_readings_are_at_no_end(step: float, bench: MakeBench) -> None:
    """Rounded values pile up at the largest as they do below it, scatter or none."""
    made, random = bench(12, 3, 8, 2), np.random.default_rng(41)
    for scatter in (0.0, 30.0, 300.0):
        values = np.round((made.level + scatter * random.standard_normal(len(made.level))) / step) * step
        assert over_range(made.job, made.read(values), np.unique(values)).rows.size == 0


def test_repeats_that_were_copied_are_told(bench: MakeBench) -> None:
    made, random = bench(8, 2, 6, 1), np.random.default_rng(42)
    values = np.round(made.level + 30.0 * random.standard_normal(len(made.level)))
    lift = made.readings.group == 2
    values[lift] = np.tile(values[lift][:8], 2)
    warning = about(quality_warnings(made.reduced(values)), "the same to the last digit")
    first = f"{values[lift][0]:.0f} Pa in lines 34 and 42"
    assert warning.endswith(f": run 0 at 3.00 mm (8 of 8 stations, such as 0 deg: {first})")


def test_repeats_that_are_all_the_same_are_measured_by_the_accuracy(bench: MakeBench) -> None:
    """Where nothing differs the gauge may be too coarse to tell; a stated accuracy says that it is not."""
    made = bench(8, 2, 6, 1)
    readings = made.read(np.round(made.level))
    for accuracy, lifts in ((None, 0), (0.5, 0), (30.0, 6)):
        job = with_accuracy(made.job, accuracy)
        assert len(identical_lifts(job, readings, repeats_of(job, readings)).group) == lifts


@pytest.mark.parametrize("step", [1.0, 15.0, 60.0, 200.0])
def test_a_coarse_gauge_is_not_accused_of_copying(step: float, bench: MakeBench) -> None:
    made, random, alarms = bench(12, 2, 8, 2), np.random.default_rng(43), 0
    for number in range(200):
        values = np.round((made.level + 30.0 * random.standard_normal(len(made.level))) / step) * step
        job = with_accuracy(made.job, 30.0 if number % 2 else None)
        alarms += identical_lifts(job, made.read(values), repeats_of(job, made.read(values))).group.size > 0
    assert alarms <= 2


# --- the closed valve ------------------------------------------------------------------------------------------------

ANGLES = (0.0, 90.0, 180.0, 270.0)


def leaking(reduced: Reduce, flow: dict[float, float], *, subtract: bool, leak_pressure: float = math.nan) -> Reduction:
    """A run with readings at 0, 2 and 4 mm and these flows [l/s] by lift [mm]; at lift 0 a test pressure of its own."""
    drops = {0.0: 30.0, 2.0: 3000.0, 4.0: 2500.0}
    rows = [("a", lift * 1e-3, angle, drop) for lift, drop in drops.items() for angle in ANGLES]
    flows = {
        ("a", lift * 1e-3): (each * 1e-3, leak_pressure if lift == 0.0 else math.nan) for lift, each in flow.items()
    }
    job = reduced(rows, flow=flows).job
    return reduce_job(replace(job, bench=replace(job.bench, subtract_leak=subtract)))


def test_a_leak_is_reported_with_its_size_against_the_least_lift(reduced: Reduce) -> None:
    result = leaking(reduced, {0.0: 0.5, 2.0: 10.0, 4.0: 20.0}, subtract=False)
    assert result.bench_flow.tolist() == pytest.approx([0.5e-3, 10e-3, 20e-3])
    warning = about(reduction_warnings(result), "the valve is closed")
    assert 'leak_test = "subtract" in [bench] takes the flow from the others' in warning
    assert warning.endswith(
        ": a at 0.00 mm (drop 30 Pa, 1 % of 3000 Pa at 2.00 mm; flow 0.5 l/s, 5 % of 10.0 l/s at 2.00 mm)"
    )


def test_a_leak_is_subtracted_where_the_job_says_so(reduced: Reduce) -> None:
    flows = {0.0: 0.5, 2.0: 10.0, 4.0: 20.0}
    plain, less = (leaking(reduced, flows, subtract=each) for each in (False, True))
    assert less.bench_flow.tolist() == pytest.approx([0.5e-3, 9.5e-3, 19.5e-3])
    assert less.leak.tolist() == pytest.approx([0.0, 0.5e-3, 0.5e-3])
    assert less.closure[1:].tolist() == pytest.approx((plain.closure[1:] * [0.95, 0.975]).tolist())
    warning = about(reduction_warnings(less), "is subtracted from a run's other flows")
    assert warning.endswith(": a (0.5 l/s)")
    assert not any("takes the flow from the others" in each for each in reduction_warnings(less))


def test_a_leak_at_another_test_pressure_goes_with_its_square_root(reduced: Reduce) -> None:
    """7000 Pa against 1750 Pa: twice the leak."""
    result = leaking(reduced, {0.0: 0.5, 2.0: 10.0, 4.0: 20.0}, subtract=True, leak_pressure=1750.0)
    assert result.bench_flow[1:].tolist() == pytest.approx([9e-3, 19e-3])


@pytest.mark.parametrize(
    ("flow", "words"),
    [
        ({0.0: math.nan, 2.0: 10.0, 4.0: 20.0}, "run 'a' has an empty flow at lift 0"),
        ({0.0: 11.0, 2.0: 10.0, 4.0: 20.0}, "the leak is more than the flow of run 'a' at 2.00 mm"),
    ],
)
def test_a_leak_that_can_not_be_subtracted_is_an_error(flow: dict[float, float], words: str, reduced: Reduce) -> None:
    with pytest.raises(JobError, match=words) as raised:
        leaking(reduced, flow, subtract=True)
    assert "flow.csv" in str(raised.value)


def test_subtracting_without_flows_is_an_error(sidecar: Reduction) -> None:
    job = replace(sidecar.job, flow=None, bench=replace(sidecar.job.bench, subtract_leak=True))
    with pytest.raises(JobError, match=r"there are no flows to take the leak from") as raised:
        reduce_job(job, sidecar.profiles)
    assert "bench.leak_test" in str(raised.value)


def test_a_run_without_a_row_at_lift_0_is_an_error(sidecar: Reduction) -> None:
    job = replace(sidecar.job, bench=replace(sidecar.job.bench, subtract_leak=True))
    with pytest.raises(JobError, match="run 'as found' has no row at lift 0") as raised:
        reduce_job(job, sidecar.profiles)
    assert "with the valve closed" in str(raised.value)


def test_the_flow_of_a_closed_valve_is_subtracted_without_its_stations(sidecar: Reduction) -> None:
    """1 l/s at a quarter of the test pressure is 2 l/s at all of it, in one run and from the file's text on."""
    job = sidecar.job
    assert job.flow is not None
    quarter = job.bench.test_pressure / 4.0
    closed = ClosedFlow(np.array([0, 1]), np.array([1e-3, 0.0]), np.array([quarter, math.nan]), np.array([18, 19]))
    job = replace(job, flow=replace(job.flow, closed=closed))
    warning = about(reduction_warnings(reduce_job(job, sidecar.profiles)), "the valve is closed")
    assert warning.endswith(
        "as found at 0.00 mm (flow 1.0 l/s, 15 % of 6.7 l/s at 1.00 mm); "
        "wall relieved at 0.00 mm (flow 0.0 l/s, 0 % of 7.0 l/s at 1.00 mm)"
    )
    less = reduce_job(replace(job, bench=replace(job.bench, subtract_leak=True)), sidecar.profiles)
    assert (sidecar.bench_flow - less.bench_flow).tolist() == pytest.approx([2e-3] * 8 + [0.0] * 8)


def test_a_job_that_asks_for_it_from_file_to_document(tmp_path: Path, examples: Path, capsys: Capture) -> None:
    """The example with a leak of 1 l/s in both runs, through the commands."""
    folder = tmp_path / "job"
    shutil.copytree(examples / "sidecar_intake", folder)
    text = (folder / "job.toml").read_text(encoding="utf-8")
    (folder / "job.toml").write_text(text.replace("[bench]", '[bench]\nleak_test = "subtract"'), encoding="utf-8")
    assert main(["check", str(folder)]) == 1
    assert "run 'as found' has no row at lift 0" in capsys.readouterr().err
    with (folder / "flow.csv").open("a", encoding="utf-8") as file:
        file.write("as found,0,1.0\nwall relieved,0,1.0\n")
    for command in ("check", "summary"):
        assert main([command, str(folder), "--json"]) == 0
        document = json.loads(capsys.readouterr().out)
        about(document["warnings"], "is subtracted from a run's other flows")
    assert document["runs"][0]["lifts"][0]["flow_m3_s"] == pytest.approx(5.7e-3)
    (folder / "job.toml").write_text(text.replace("[bench]", '[bench]\nleak_test = "substract"'), encoding="utf-8")
    assert main(["check", str(folder)]) == 1
    error = capsys.readouterr().err
    assert 'one of "report", "subtract"' in error
    assert "bench.leak_test" in error


# --- bad and odd input -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("value", [0.0, 3000.0])
@pytest.mark.parametrize("times", [1, 2, 3])
@pytest.mark.parametrize("words", [{}, {"reads": "tap-minus-downstream"}])
def test_readings_without_any_difference_are_quiet(
    value: float, times: int, words: dict[str, Any], reduced: Reduce
) -> None:
    rows = [("a", lift * 1e-3, angle, value) for lift in (1, 2, 3, 4) for _ in range(times) for angle in ANGLES]
    assert quality_warnings(reduced(rows, **words)) == []


def test_velocities_are_told_in_their_unit(reduced: Reduce) -> None:
    rows = [("a", 5e-3, angle, 60.0 + each) for each in (0.1, 0.2, 0.4) for angle in ANGLES]
    rows[5] = ("a", 5e-3, 90.0, 6.0)
    warning = about(quality_warnings(reduced(rows, reads="velocity")), "repeats differ")
    assert "station 90 deg: 6.0 m/s (line 7), 60.1 m/s (line 3), 60.4 m/s (line 11)" in warning


def test_stations_and_lifts_that_are_missing_are_no_jumps(bench: MakeBench) -> None:
    made = bench(12, 1, 6, 2)
    random = np.random.default_rng(51)
    values = made.level * (1.0 + 0.01 * random.standard_normal(len(made.level)))
    kept = np.flatnonzero((made.readings.station % 5 != made.readings.group % 4) | (made.readings.group == 3))
    readings = made.read(values)
    job = replace(
        made.job,
        readings=replace(
            readings,
            group=readings.group[kept],
            station=readings.station[kept],
            value=values[kept],
            line=readings.line[kept],
        ),
    )
    assert quality_warnings(reduce_job(job)) == []
