"""Findings in plain words: said where the data show it, with the numbers of the other outputs, and not otherwise."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from portviz.__main__ import main
from portviz.distribution.areas import areas_at
from portviz.distribution.reduce import Reduction, reduce_job
from portviz.report.build import collected_facts
from portviz.report.finding_words import Facts, arcs
from portviz.report.findings import report_findings

#: Words that a bench can't answer for.
POWER = re.compile(r"horse|\bhp\b|\bbhp\b|\bkw\b|torque|more power|\bps\b", re.IGNORECASE)


def facts_of(reduction: Reduction, runs=None) -> Facts:
    return collected_facts(reduction, list(range(len(reduction.runs))) if runs is None else runs)


def told(reduction: Reduction, topic: str, runs=None):
    return [each for each in report_findings(facts_of(reduction, runs)) if each.topic == topic]


def with_values(reduction: Reduction, values: np.ndarray, accuracy: float | None = 30.0) -> Reduction:
    """Return the reduction of the same job with other readings [Pa] and what is known of one of them."""
    job = reduction.job
    readings = replace(job.readings, value=values)
    return reduce_job(replace(job, readings=readings, gauge=replace(job.gauge, accuracy=accuracy)))


def even_values(reduction: Reduction, level: float = 4000.0) -> np.ndarray:
    return np.full(len(reduction.job.readings.value), level)


def test_every_finding_rests_on_something_and_none_speaks_of_power(sidecar, tractor):
    for reduction in (sidecar, tractor):
        found = report_findings(facts_of(reduction))
        assert {"change", "direction", "limit", "not shown"} <= {each.topic for each in found}
        for each in found:
            assert each.evidence
            words = " ".join([each.words, *(rests.words for rests in each.evidence)])
            assert not POWER.search(words)
            assert "nan" not in words.lower()


def test_evidence_has_the_numbers_of_compare(sidecar, examples, capsys):
    code = main(["compare", str(examples / "sidecar_intake"), "as found", "wall relieved", "--json"])
    compared = json.loads(capsys.readouterr().out)
    assert code == 0
    lifts = {round(each["lift_m"], 7): each for each in compared["lifts"]}
    checked = 0
    for finding in told(sidecar, "change"):
        for rests in finding.evidence:
            if rests.quantity == "flow_m3_s" and "lifts of" not in rests.words:
                expected = lifts[round(rests.lift, 7)]["flow_m3_s"]
            elif rests.quantity == "velocity_m_s":
                stations = lifts[round(rests.lift, 7)]["stations"]
                expected = next(each["velocity_m_s"] for each in stations if each["angle_deg"] == rests.stations_deg[0])
            else:
                continue
            checked += 1
            assert rests.difference == pytest.approx(expected["difference"], rel=1e-9)
            assert rests.u == pytest.approx(expected["u"], rel=1e-6)
            assert rests.verdict == expected["verdict"]
    assert checked > 12


def test_findings_of_the_event_have_the_numbers_of_event(sidecar, examples, capsys):
    assert main(["event", str(examples / "sidecar_intake"), "--json"]) == 0
    flow = json.loads(capsys.readouterr().out)["comparisons"][0]["mean_flow_m3_s"]
    rests = told(sidecar, "change")[0].evidence[0]
    assert rests.quantity == "mean_flow_m3_s"
    assert rests.difference == pytest.approx(flow["difference"], rel=1e-9)
    assert rests.u == pytest.approx(flow["u"], rel=1e-9)


def test_the_lift_up_to_which_the_gap_limits_is_where_the_areas_cross(sidecar):
    # scipy's root finder as the oracle.
    def apart(lift: float) -> float:
        areas = areas_at(sidecar.job, sidecar.profiles, np.array([lift]))
        # Up to there both may share their corner and be one; a hair parts them.
        return float(areas.gap_area[0] - areas.throat_area[0]) - 1e-11

    crossing = brentq(apart, 6.5e-3, 8e-3, xtol=1e-9)
    finding = told(sidecar, "limit")[0]
    assert f"Up to a lift of {1e3 * crossing:.2f} mm" in finding.words


def test_without_any_knowledge_of_the_readings_nothing_is_claimed(sidecar):
    job, readings = sidecar.job, sidecar.job.readings
    # Each station once: neither an accuracy nor repeats.
    once = np.sort(np.unique(readings.group * 1000 + readings.station, return_index=True)[1])
    read = {name: getattr(readings, name)[once] for name in ("group", "station", "value", "line")}
    bare = reduce_job(
        replace(
            job,
            readings=replace(readings, **read),
            gauge=replace(job.gauge, accuracy=None, coefficient_uncertainty=None),
            bench=replace(job.bench, flow_accuracy_part=None, lift_uncertainty=None),
        )
    )
    found = report_findings(facts_of(bare))
    assert {each.topic for each in found} <= {"limit", "not shown", "distrust"}
    words = " ".join(each.words for each in found)
    assert "gauge.accuracy" in words
    assert "bench.flow_accuracy" in words


def test_more_flow_packed_to_one_side_is_told_and_only_then(sidecar):
    # The runs' readings change places and their flows stay: less bias before, more flow after.
    readings = sidecar.job.readings
    value = readings.value.copy()
    first, second = (np.isin(readings.group, list(sidecar.groups_of(run))) for run in (0, 1))
    value[first], value[second] = readings.value[second], readings.value[first]
    turned = with_values(sidecar, value, sidecar.job.gauge.accuracy)
    assert any("leave" in each.words or "one side" in each.words for each in told(turned, "bias"))
    assert all("more evenly" in each.words for each in told(sidecar, "bias"))
    # Its lifts are those of the two verdicts in the comparison.
    comparison = facts_of(turned).comparisons[0]
    both = [
        each.lift
        for each in comparison.lifts
        if each.values["flow"].verdicts[0] == each.bias.magnitude.verdicts[0] == "higher"
    ]
    finding = next(each for each in told(turned, "bias") if "one side" in each.words)
    assert [rests.lift for rests in finding.evidence] == both


def test_an_even_ring_leans_nowhere_but_by_chance(sidecar):
    # One lift, 200 rings of nothing but noise: each rule may speak by chance at 5 %; binomial bound of 1 in 1000.
    rng = np.random.default_rng(7)
    readings = sidecar.job.readings
    keep = readings.group == 0
    one = replace(
        sidecar.job,
        readings=replace(
            readings,
            runs=readings.runs[:1],
            group=readings.group[keep],
            station=readings.station[keep],
            value=readings.value[keep],
            line=readings.line[keep],
            group_run=readings.group_run[:1],
            group_lift=readings.group_lift[:1],
        ),
        flow=None,
        cam=None,
        engine=None,
        gauge=replace(sidecar.job.gauge, accuracy=30.0),
    )
    leaning = apart = 0
    for _ in range(200):
        noisy = 4000.0 + rng.normal(0.0, 30.0, keep.sum())
        reduction = reduce_job(replace(one, readings=replace(one.readings, value=noisy)), sidecar.profiles)
        for finding in told(reduction, "direction"):
            leaning += "one side" in finding.words
            apart += "slowest" in finding.words
    # scipy.stats.binom.isf(1e-3, 200, 0.05) = 20.
    assert leaning <= 20
    assert apart <= 20


def test_a_clear_lean_is_found(sidecar):
    readings, job = sidecar.job.readings, sidecar.job
    angle = np.radians(job.stations.circle_deg[readings.station])
    reduction = with_values(sidecar, 4000.0 * (1.0 + 0.4 * np.cos(angle - math.pi / 2)))
    finding = told(reduction, "direction")[0]
    assert "90°" in finding.words
    assert "fastest at 90°" in finding.words
    assert "slowest at 270°" in finding.words


def test_a_last_step_of_lift_without_gain_is_told(sidecar):
    job = sidecar.job
    flow = job.flow.flow.copy()
    last = sidecar.groups_of(0)[-1]
    flow[last] = flow[last - 1]
    stalled = reduce_job(replace(job, flow=replace(job.flow, flow=flow)))
    words = [each.words for each in told(stalled, "limit")]
    assert any("9.50 mm to 11.00 mm, shows no gain" in each for each in words)
    assert not any("shows no gain" in each.words for each in told(sidecar, "limit"))


def test_readings_to_distrust_are_told_with_their_lines(sidecar):
    value = sidecar.job.readings.value.copy()
    value[40] *= 2.2
    finding = told(with_values(sidecar, value), "distrust")[0]
    assert f"line {sidecar.job.readings.line[40]}" in " ".join(rests.words for rests in finding.evidence)


@pytest.mark.parametrize(
    ("some", "words"),
    [
        ([0.0, 90.0, 180.0, 270.0], "all stations"),
        ([0.0, 270.0], "270° and 0°"),
        ([0.0, 90.0, 270.0], "270° to 90°"),
        ([180.0], "180°"),
    ],
)
def test_stations_beside_one_another_are_told_as_an_arc(some, words):
    assert arcs(some, [0.0, 90.0, 180.0, 270.0]) == words


def test_the_command_prints_words_and_a_document(examples, capsys):
    job = str(examples / "sidecar_intake")
    assert main(["findings", job]) == 0
    out = capsys.readouterr().out
    assert "makers" in out
    assert "--evidence tells all" in out
    assert main(["findings", job, "--json", "--run", "as found"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["format"] == 1
    assert document["runs"] == ["as found"]
    assert {each["topic"] for each in document["findings"]} == {"direction", "limit"}
    for finding in document["findings"]:
        assert finding["evidence"]
        assert all(rests["u"] is None or rests["u"] >= 0.0 for rests in finding["evidence"])


def test_a_run_that_is_not_there_is_refused(examples, capsys):
    assert main(["findings", str(examples / "sidecar_intake"), "--run", "as fund"]) == 2
    assert "Did you mean 'as found'?" in capsys.readouterr().err
