"""The plan of repeats: against closed forms and scipy.stats, and by comparisons of simulated runs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from portviz.distribution.comparison import Side, compare_runs
from portviz.distribution.plan import (
    MOST_REPEATS,
    OTHER_LIFTS,
    Plan,
    chance_to_show,
    plan_repeats,
    relative_now,
    repeat_first,
    smallest_change,
)
from portviz.distribution.reduce import Reduction, reduce_job
from portviz.distribution.uncertainty import linear_uncertainty
from portviz.errors import JobError
from portviz.job.model import Job

MakeJob = Callable[..., Job]
ANGLES = 30.0 * np.arange(12)
DROPS = 3000.0 + 800.0 * np.cos(np.radians(ANGLES - 40.0))
STATION = 3


def rows(run: str, lift: float, drops: np.ndarray) -> list[tuple[str, float, float, float]]:
    """One reading of each station a row of `drops`, shape (n, 12)."""
    return [(run, lift, angle, drop) for each in drops for angle, drop in zip(ANGLES, each, strict=True)]


def scattered(deviation: float, repeats: int) -> np.ndarray:
    """Readings whose pooled scatter is just the deviation; `repeats` is even."""
    sign = np.where(np.arange(repeats) % 2, 1.0, -1.0)[:, None]
    return np.asarray(DROPS + deviation * np.sqrt((repeats - 1) / repeats) * sign)


def reduced(make_job: MakeJob, readings: list[tuple[str, float, float, float]], **gauge: float) -> Reduction:
    job = make_job(readings)
    return reduce_job(replace(job, gauge=replace(job.gauge, **gauge)))


def planned(reduction: Reduction, change: float = 0.05, power: float = 0.9) -> Plan:
    return plan_repeats(reduction, linear_uncertainty(reduction), change, power)


@pytest.mark.parametrize("freedom", [2.0, 6.0, 22.0, 240.0, 1e4])
@pytest.mark.parametrize("tests", [1, 3, 12])
@pytest.mark.parametrize("ratio", [0.5, 3.0, 5.0])
def test_the_chance_is_that_of_a_noncentral_t(freedom: float, tests: int, ratio: float) -> None:
    limit = stats.t.ppf(1.0 - 0.025 / tests, freedom)
    found = chance_to_show(np.array([2.0 * ratio]), np.array([2.0]), np.array([freedom]), np.array([tests]))
    assert found[0] == pytest.approx(stats.nct.sf(limit, freedom, ratio), abs=1e-9)


def test_with_a_known_uncertainty_it_is_the_closed_form() -> None:
    """Sample size of two means, known deviation: change = (z of 1 - level / 2 + z of power) x u."""
    one, known = np.array([1.0]), np.array([np.inf])
    expected = stats.norm.ppf(1.0 - 0.025 / 12.0) + stats.norm.ppf(0.9)
    assert smallest_change(one, known, np.array([12]), 0.9)[0] == pytest.approx(expected)
    assert chance_to_show(expected * one, one, known, np.array([12]))[0] == pytest.approx(0.9)


@pytest.mark.parametrize("freedom", [3.0, 11.0, 80.0, 2e5, np.inf])
def test_the_smallest_change_is_shown_with_the_chance_that_was_asked(freedom: float) -> None:
    u, given, tests = np.array([0.3]), np.array([freedom]), np.array([8])
    change = smallest_change(u, given, tests, 0.85)
    assert chance_to_show(change, u, given, tests)[0] == pytest.approx(0.85, abs=1e-4)


def test_far_out_nothing_is_missed() -> None:
    one = np.array([1.0])
    for freedom in (6.0, 1e4, 9e4, 1e6):
        assert chance_to_show(60.0 * one, one, freedom * one, 12.0 * one)[0] == pytest.approx(1.0)


@pytest.mark.parametrize("change", [0.05, 0.02, 0.008])
def test_repeats_by_the_accuracy_are_the_closed_form_rounded_up(make_job: MakeJob, change: float) -> None:
    """n = 2 (z + z)^2 (u / d)^2 for the velocity, with its u by the slope at each drop, here by differences."""
    reduction = reduced(make_job, rows("a", 4e-3, DROPS[None]), accuracy=30.0)
    plan = planned(reduction, change)
    higher = reduced(make_job, rows("a", 4e-3, DROPS[None] + 0.01)).stations.velocity
    u = 30.0 * (higher - reduction.stations.velocity) / 0.01
    reach = stats.norm.ppf(1.0 - 0.025 / 12.0) + stats.norm.ppf(0.9)
    expected = np.ceil(2.0 * (reach * u / (change * reduction.stations.velocity)) ** 2 - 1e-4)
    assert plan.source == ("accuracy",)
    assert plan.velocity.repeats == pytest.approx(np.where(expected > MOST_REPEATS, np.nan, expected), nan_ok=True)


@pytest.mark.parametrize("change", [0.05, 0.03, 0.012])
def test_repeats_by_their_scatter_are_the_least_that_reach_the_power(make_job: MakeJob, change: float) -> None:
    reduction = reduced(make_job, rows("a", 4e-3, scattered(40.0, 4)))
    plan = planned(reduction, change)
    one = plan.velocity.uncertainty * 2.0
    for place in range(12):
        powers = []
        for repeats in range(2, MOST_REPEATS + 1):
            freedom = 24.0 * (repeats - 1)
            ratio = change * plan.velocity.value[place] / (one[place] * np.sqrt(2.0 / repeats))
            powers.append(stats.nct.sf(stats.t.ppf(1.0 - 0.025 / 12.0, freedom), freedom, ratio))
        enough = np.flatnonzero(np.array(powers) >= 0.9)
        assert plan.velocity.repeats[place] == enough[0] + 2


def test_the_smallest_change_now_is_that_of_two_runs_like_this_one(make_job: MakeJob) -> None:
    reduction = reduced(make_job, rows("a", 4e-3, scattered(40.0, 4)))
    plan, known = planned(reduction), linear_uncertainty(reduction)
    expected = smallest_change(
        np.sqrt(2.0) * known.velocity.independent, np.full(12, 72.0), np.full(12, 12), 0.9
    ) / np.abs(reduction.stations.velocity)
    assert plan.velocity.smallest == pytest.approx(expected)


def test_no_number_of_repeats_gets_below_the_resolution(make_job: MakeJob) -> None:
    reduction = reduced(make_job, rows("a", 4e-3, DROPS[None]), accuracy=1.0, resolution=300.0)
    assert np.isnan(planned(reduction, 0.05).velocity.repeats).all()
    assert np.isfinite(planned(reduction, 0.5).velocity.repeats).all()


def test_a_lift_without_repeats_is_planned_by_the_others(make_job: MakeJob) -> None:
    readings = [*rows("a", 2e-3, scattered(40.0, 2)), *rows("a", 4e-3, DROPS[None])]
    plan = planned(reduced(make_job, readings))
    assert plan.source == ("repeats", OTHER_LIFTS)
    assert plan.velocity.repeats[12:] == pytest.approx(plan.velocity.repeats[:12])
    assert np.isnan(plan.velocity.smallest[12:]).all()
    assert np.isnan(plan.velocity.uncertainty[12:]).all()


def test_the_worst_known_station_is_repeated_first(make_job: MakeJob) -> None:
    reduction = reduced(make_job, rows("a", 4e-3, DROPS[None]), accuracy=30.0)
    plan = planned(reduction)
    first = repeat_first(reduction, plan, 0)
    assert first[0] == np.argmin(DROPS)
    assert (np.diff(relative_now(reduction, plan)[first]) <= 0.0).all()


@pytest.mark.parametrize(
    ("readings", "words"),
    [(1, "nothing is known of how well a station is read"), (2, "the repeats never differ")],
)
def test_without_repeats_and_accuracy_there_is_no_plan(make_job: MakeJob, readings: int, words: str) -> None:
    reduction = reduced(make_job, rows("a", 4e-3, np.tile(DROPS, (readings, 1))))
    with pytest.raises(JobError, match=words):
        planned(reduction)


def raised(reduction: Reduction, quantity: str, change: float) -> np.ndarray:
    """Return drops at which one station's velocity, or share, is higher by the change."""
    share = reduction.stations.flow_share[STATION] if quantity == "flow_share" else 0.0
    # A share s grows by the change where its flux grows by (1 + change) (1 - s) / (1 - s (1 + change)).
    flux = (1.0 + change) * (1.0 - share) / (1.0 - share * (1.0 + change))
    drops = DROPS.copy()
    mach = reduction.stations.mach[STATION]
    # Flux grows as velocity does but for (1 - Mach^2); velocity as the drop's root, nearly.
    drops[STATION] *= (1.0 + (flux - 1.0) / (1.0 - mach**2)) ** 2 if quantity == "flow_share" else flux**2
    return drops


@pytest.mark.parametrize("quantity", ["velocity", "flow_share"])
@pytest.mark.parametrize("by_accuracy", [True, False])
def test_simulated_comparisons_show_the_change_as_often_as_promised(
    make_job: MakeJob, quantity: str, by_accuracy: bool
) -> None:
    """500 comparisons of 12 stations: at least the promised 90 %, less three of their own deviations (1.3 %)."""
    change, deviation, count = 0.03, 60.0, 500
    gauge = {"accuracy": deviation} if by_accuracy else {}
    seen = reduced(make_job, rows("a", 4e-3, DROPS[None] if by_accuracy else scattered(deviation, 2)), **gauge)
    plan = getattr(planned(seen, change), quantity)
    repeats = int(plan.repeats[STATION])
    one = plan.uncertainty[STATION] * (1.0 if by_accuracy else np.sqrt(2.0))
    freedom = np.inf if by_accuracy else 24.0 * (repeats - 1)
    promised = chance_to_show(
        np.array([change * plan.value[STATION]]),
        np.array([one * np.sqrt(2.0 / repeats)]),
        np.array([freedom]),
        np.array([12]),
    )[0]
    assert promised >= 0.9
    generator = np.random.default_rng(17)
    readings = [
        row
        for run, drops in (("a", DROPS), ("b", raised(seen, quantity, change)))
        for number in range(count)
        for row in rows(run, 1e-3 + 1e-6 * number, drops + deviation * generator.standard_normal((repeats, 12)))
    ]
    both = reduced(make_job, readings, **gauge)
    known = linear_uncertainty(both)
    found = compare_runs(Side(both, known, 0), Side(both, known, 1))
    shown = np.mean([each.stations[quantity].verdicts[STATION] == "higher" for each in found.lifts])
    assert promised - 0.04 <= shown <= promised + 0.05
