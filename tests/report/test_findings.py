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
from portviz.distribution.quality_notes import quality_warnings
from portviz.distribution.reduce import Reduction, reduce_job
from portviz.distribution.uncertainty import linear_uncertainty
from portviz.job.read import read_job
from portviz.report.build import collected_facts
from portviz.report.finding_checks import family_wise
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
            # What holds for all lifts together holds for one.
            assert rests.verdict == expected["verdict"] != "not shown"
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
    assert "no accuracy of the gauge was stated" in words
    assert "how well is not known" in words
    assert "job.toml" not in words


def test_more_flow_packed_to_one_side_is_told_and_only_then(sidecar):
    # The runs' readings change places and their flows stay: less bias before, more flow after.
    readings = sidecar.job.readings
    value = readings.value.copy()
    first, second = (np.isin(readings.group, list(sidecar.groups_of(run))) for run in (0, 1))
    value[first], value[second] = readings.value[second], readings.value[first]
    turned = with_values(sidecar, value, sidecar.job.gauge.accuracy)
    assert any("one side" in each.words for each in told(turned, "bias"))
    assert all("more evenly" in each.words for each in told(sidecar, "bias"))
    # Its lifts are those of the two verdicts in the comparison.
    comparison = family_wise(facts_of(turned).comparisons[0])
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


def with_flow(reduction: Reduction, change, accuracy: float = 0.005) -> Reduction:
    """Return the reduction with flows changed in place by `change`, known to a part `accuracy` of themselves."""
    job, flow = reduction.job, reduction.job.flow.flow.copy()
    change(flow)
    bench = replace(job.bench, flow_accuracy_part=accuracy)
    return reduce_job(replace(job, bench=bench, flow=replace(job.flow, flow=flow)))


def test_a_last_step_of_lift_that_levels_off_or_falls_is_told_and_no_other(sidecar):
    last = sidecar.groups_of(0)[-1]

    def levelled(flow):
        flow[last] = 1.01 * flow[last - 1]

    def fallen(flow):
        flow[last] = 0.9 * flow[last - 1]

    words = [each.words for each in told(with_flow(sidecar, levelled), "limit")]
    assert any("levels off in the last step of lift, from 9.50 mm to 11.00 mm" in each for each in words)
    assert any("falls in the last step" in each.words for each in told(with_flow(sidecar, fallen), "limit"))
    # What is too uncertain to be told from a gain is no levelling off.
    for silent in (sidecar, with_flow(sidecar, levelled, 0.06)):
        assert not any("last step" in each.words for each in told(silent, "limit"))


def test_the_largest_part_of_the_events_change_is_that_of_event(sidecar, examples, capsys):
    assert main(["event", str(examples / "sidecar_intake"), "--json"]) == 0
    compared = json.loads(capsys.readouterr().out)["comparisons"][0]
    most = max(compared["lift_bands"], key=lambda band: band["flow_m3_s"]["difference"])
    words = told(sidecar, "change")[0].words
    assert f"{1e3 * most['from_m']:.2f} mm to {1e3 * most['to_m']:.2f} mm" in words

    def mixed(flow):
        second = list(sidecar.groups_of(1))
        flow[second[:5]] *= 0.9
        flow[second[5:]] *= 1.1

    words = told(with_flow(sidecar, mixed), "change")[0].words
    assert "It gains at lifts of" in words
    assert "and loses at" in words
    assert "largest part" not in words


def test_two_runs_of_one_port_show_a_change_by_chance_at_most_as_often_as_is_said(sidecar):
    # The first run twice, at eight lifts, with noise of the stated size: each kind of change at most in 1 of 20 jobs.
    rng = np.random.default_rng(3)
    job, readings = sidecar.job, sidecar.job.readings
    truth, accuracy, part = readings.value.copy(), 30.0, 0.005
    first, second = (np.isin(readings.group, list(sidecar.groups_of(run))) for run in (0, 1))
    truth[second] = truth[first]
    flow = job.flow.flow.copy()
    flow[list(sidecar.groups_of(1))] = flow[list(sidecar.groups_of(0))]
    job = replace(
        job,
        cam=None,
        engine=None,
        gauge=replace(job.gauge, accuracy=accuracy),
        bench=replace(job.bench, flow_accuracy_part=part, lift_uncertainty=None),
    )
    counts = {"flows": 0, "passes": 0, "evenly": 0}
    trials = 100
    for _ in range(trials):
        read = replace(readings, value=truth + rng.normal(0.0, accuracy, len(truth)))
        measured = replace(job.flow, flow=flow * (1.0 + rng.normal(0.0, part, len(flow))))
        reduction = reduce_job(replace(job, readings=read, flow=measured), sidecar.profiles)
        facts = collected_facts(reduction, [0, 1], uncertainty=linear_uncertainty(reduction))
        words = [each.words for each in report_findings(facts) if each.topic in ("change", "bias")]
        counts["evenly"] += any("evenly" in each for each in words)
        counts["passes"] += any("the air passes" in each for each in words)
        counts["flows"] += any("flows more than" in each or "flows less than" in each for each in words)
    # scipy.stats.binom.isf(1e-3, 100, 0.05) = 12.
    assert all(count <= 12 for count in counts.values()), counts


def test_a_lean_is_told_of_the_lifts_that_lean_that_way(sidecar):
    readings, job = sidecar.job.readings, sidecar.job
    angle = np.radians(job.stations.circle_deg[readings.station])
    place = readings.group - np.array([sidecar.groups_of(run)[0] for run in readings.group_run[readings.group]])
    way = np.where(place < 6, 1.0, -1.0)
    finding = told(with_values(sidecar, 4000.0 * (1.0 + 0.3 * way * np.cos(angle))), "direction")[0]
    assert "180° (away from the bore wall), at 2 of 8 lifts" in finding.words
    assert "The side turns with the lift: at 8.00 mm it is 0° (toward the bore wall)" in finding.words


def test_a_bias_too_small_to_matter_is_not_told(sidecar):
    angle = np.radians(sidecar.job.stations.circle_deg[sidecar.job.readings.station])
    small = with_values(sidecar, 4000.0 * (1.0 + 0.01 * np.cos(angle)), 1.0)
    assert (small.bias_magnitude < 0.005).all()
    assert not any("one side" in each.words for each in told(small, "direction"))


def test_a_bias_that_uneven_stations_feign_has_no_word(sidecar):
    job, readings = sidecar.job, sidecar.job.readings
    keep = np.isin(readings.station, [0, 1, 2, 3])
    some = {name: getattr(readings, name)[keep] for name in ("group", "station", "value", "line")}
    reduction = reduce_job(replace(job, readings=replace(readings, **some)))
    assert not reduction.bias_told.any()
    assert not told(reduction, "bias")


def test_air_that_flows_back_is_neither_faster_nor_slower(sidecar):
    readings = sidecar.job.readings
    value = readings.value.copy()
    back = readings.station == 0
    value[back & np.isin(readings.group, list(sidecar.groups_of(0)))] = -2000.0
    value[back & np.isin(readings.group, list(sidecar.groups_of(1)))] = -1000.0
    found = report_findings(facts_of(with_values(sidecar, value)))
    for finding in found:
        if "the air passes" in finding.words:
            assert all(0.0 not in rests.stations_deg for rests in finding.evidence)
        assert "slowest at 0°" not in finding.words


def test_an_exhaust_has_words_of_its_own(tractor):
    readings = tractor.job.readings
    value = readings.value.copy()
    first, second = (np.isin(readings.group, list(tractor.groups_of(run))) for run in (0, 1))
    value[first], value[second] = readings.value[second], readings.value[first]
    job = replace(tractor.job, readings=replace(readings, value=value))
    reduction = reduce_job(replace(job, bench=replace(job.bench, flow_accuracy_part=0.005)))
    words = " ".join(each.words for each in told(reduction, "bias"))
    assert "the running engine" in words
    assert "cylinder" not in words


def test_a_leak_test_is_no_reason_to_doubt(sidecar, small_job, tmp_path):
    (tmp_path / "job.toml").write_text(small_job, encoding="utf-8")
    rows = [f"only,{lift},{angle},{4000 * (lift > 0) + angle}" for lift in (0, 5) for angle in (0, 90, 180, 270)]
    (tmp_path / "readings.csv").write_text("\n".join(["run,lift [mm],station,reading [Pa]", *rows]), encoding="utf-8")
    (tmp_path / "flow.csv").write_text("run,lift [mm],flow [l/s]\nonly,0,0.4\nonly,5,30\n", encoding="utf-8")
    reduction = reduce_job(read_job(tmp_path))
    assert quality_warnings(reduction)
    assert not told(reduction, "distrust")


def test_closure_above_one_and_closure_that_changes_are_told_before_any_gain(sidecar):
    second = list(sidecar.groups_of(1))

    def more(flow):
        flow[second[2:4]] *= 1.12

    found = report_findings(facts_of(with_flow(sidecar, more)))
    assert [each.topic for each in found[:2]] == ["distrust", "distrust"]
    above, changed = found[:2]
    closure = with_flow(sidecar, more).closure
    assert [rests.value for rests in above.evidence] == [value for value in closure[second] if value > 1.0]
    assert all(rests.value > 1.0 and "closure 1.0" in rests.words for rests in above.evidence)
    assert "do not change alike" in changed.words
    assert [rests.lift for rests in changed.evidence] == [float(sidecar.lift[group]) for group in second[2:4]]
    assert not told(sidecar, "distrust")


def test_closure_that_may_be_one_is_no_doubt(sidecar):
    closure = sidecar.closure[list(sidecar.groups_of(0))]

    def scaled(flow):
        # Closure a hair above 1 at all lifts of the first run, far within its plus-minus.
        flow[list(sidecar.groups_of(0))] *= 1.004 / closure

    reduction = with_flow(sidecar, scaled)
    assert (reduction.closure[list(sidecar.groups_of(0))] > 1.0).all()
    assert not any("closure above 1" in each.words for each in told(reduction, "distrust"))


def test_the_lifts_at_which_some_stations_changed_are_told(sidecar):
    faster, slower = (each.words for each in told(sidecar, "change") if "the air passes" in each.words)
    comparison = family_wise(facts_of(sidecar).comparisons[0])
    lifts = {"higher": [], "lower": []}
    for each in comparison.lifts:
        for angle, word in zip(each.angles_deg, each.stations["velocity"].verdicts, strict=True):
            if 120.0 <= angle <= 270.0 and word in lifts:
                lifts[word].append(each.lift)
    assert f"at lifts up to {1e3 * max(lifts['higher']):.2f} mm only" in faster
    assert f"at lifts from {1e3 * min(lifts['lower']):.2f} mm on" in slower


def test_what_limits_rests_on_measured_lifts_and_tells_a_tie_as_one(sidecar, tractor):
    for reduction in (sidecar, tractor):
        finding = told(reduction, "limit")[0]
        measured = set(np.round(reduction.lift, 9))
        assert {round(rests.lift, 9) for rests in finding.evidence} <= measured
        for rests in finding.evidence:
            gap, *other = re.findall(r"(\d+\.\d+) (?:mm²|in²)", rests.words)
            assert other != [gap]


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
