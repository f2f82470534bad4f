"""What is collected for a report: the same numbers as the other outputs, and less where less was measured."""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import replace

import numpy as np
import pytest

from portviz.__main__ import main
from portviz.distribution.reduce import reduce_job
from portviz.errors import JobError, UsageError
from portviz.report.build import MOST_RUNS, build_report
from portviz.report.content import Report

DATE = "2026-11-25"


def all_tables(report: Report):
    return [*report.facts, *(table for section in report.sections for table in section.tables)]


@pytest.fixture(scope="module")
def whole(sidecar, examples) -> Report:
    return build_report(sidecar, date=DATE, designs=examples / "sidecar_intake" / "designs.toml")


def test_the_sections_are_those_that_the_job_has(whole, tractor):
    keys = [section.key for section in whole.sections]
    assert keys == ["seat", "flow", "round", "changes-1", "designs", "event", "stations", "words"]
    still = replace(tractor, job=replace(tractor.job, cam=None))
    assert [section.key for section in build_report(still, date=DATE).sections] == [
        "seat",
        "flow",
        "round",
        "changes-1",
        "stations",
        "words",
    ]
    charts = [chart.key for section in whole.sections for chart in section.charts]
    assert len(set(charts)) == len(charts)
    assert all(re.fullmatch(r"[a-z0-9-]+", key) for key in [*keys, *charts])
    assert all(chart.shows.endswith(".") for section in whole.sections for chart in section.charts)


def test_every_row_has_a_cell_for_each_column(whole):
    for table in all_tables(whole):
        assert table.title
        assert all(len(row) == len(table.columns) for row in table.rows)
        assert all(0 <= place < len(table.columns) for place in table.words)


def test_tables_have_the_numbers_of_the_summary(whole, examples, capsys):
    assert main(["summary", str(examples / "sidecar_intake"), "--json"]) == 0
    summary = json.loads(capsys.readouterr().out)
    tables = {table.title: table for table in all_tables(whole)}
    for run in summary["runs"]:
        flow = tables[f"Run “{run['run']}”: flow"]
        velocity = tables[f"Run “{run['run']}”: velocity [m/s]"]
        share = tables[f"Run “{run['run']}”: share of flow [%]"]
        for place, lift in enumerate(run["lifts"]):
            row = flow.rows[place]
            assert float(row[0]) == pytest.approx(1e3 * lift["lift_m"], abs=5e-3)
            assert float(row[2]) == pytest.approx(1e3 * lift["flow_m3_s"], abs=0.051)
            assert float(row[3]) == pytest.approx(lift["discharge_coefficient"], abs=5.1e-4)
            for station, values, ratios in zip(lift["stations"], velocity.rows, share.rows, strict=True):
                told, about = (float(each) for each in values[place + 1].split(" ± "))
                assert values[0] == f"{station['angle_deg']:g}°"
                assert told == pytest.approx(station["velocity_m_s"], abs=0.051)
                # ± is at 95 %: 1.96 standard uncertainties of a stated accuracy [JCGM-100] G.3.
                assert about == pytest.approx(1.96 * station["velocity_m_s_u"], abs=0.06)
                assert float(ratios[place + 1].split(" ± ")[0]) == pytest.approx(100 * station["flow_share"], abs=6e-3)


def test_cautions_defer_to_makers_and_no_word_is_on_power(whole):
    for word in ("makers", "licensed practice", "local rules", "burn the valve", "drop a valve"):
        assert word in whole.cautions
    words = " ".join([*whole.method, whole.summary, *(each.words for each in whole.findings)])
    assert not re.search(r"horse|\bhp\b|torque", words, re.IGNORECASE)


def test_a_customer_is_given_no_advice_on_the_shops_files(tractor, sidecar, examples):
    # The tractor's flow has no accuracy, which the shop is told to state.
    report = build_report(tractor, date=DATE)
    assert any("job.toml" in each for each in report.shop_warnings)
    with_designs = build_report(sidecar, date=DATE, designs=examples / "sidecar_intake" / "designs.toml")
    for each in (report, with_designs):
        words = [*each.warnings, *each.method, each.summary, each.cautions]
        words += [words for finding in each.findings for words in (finding.words, *(e.words for e in finding.evidence))]
        words += [words for section in each.sections for words in section.paragraphs]
        words += [table.note for table in all_tables(each)]
        assert not any(sign in text for text in words for sign in ("job.toml", "limits.csv", " --"))
    assert "no verdict on flow, closure and coefficients" in report.warnings


@pytest.mark.parametrize("name", ["raw--cast", "port v2.csv", "job.toml; JSON"])
def test_names_take_nothing_out_of_what_a_customer_reads(sidecar, name):
    runs = (name, "after")
    job = replace(sidecar.job, readings=replace(sidecar.job.readings, runs=runs))
    report = build_report(reduce_job(job), date=DATE)
    plain = build_report(sidecar, date=DATE)

    def words(each: Report) -> list[str]:
        told = [*each.warnings, *(words for section in each.sections for words in section.paragraphs)]
        return [text.replace(each.reduction.runs[0], "A").replace(each.reduction.runs[1], "B") for text in told]

    assert words(report) == words(plain)


def test_signs_that_turn_or_hide_what_stands_beside_them_are_spelled_out(sidecar):
    hostile = ("a\u202e 12.5", "b\x00\x07")
    readings = replace(sidecar.job.readings, runs=hostile)
    job = replace(sidecar.job, title="t\u2066", readings=readings)
    report = build_report(reduce_job(job), date=DATE)
    assert report.title == "t\\u2066"
    assert report.reduction.runs == ("a\\u202e 12.5", "b\\x00\\x07")
    assert all(text.isprintable() for finding in report.findings for text in (finding.words,))
    assert all(cell.isprintable() for table in all_tables(report) for row in table.rows for cell in row)


def test_words_of_the_trade_are_explained_where_they_are_used(whole, tractor):
    words = {section.key: section for section in whole.sections}["words"].tables[0]
    told = {row[0] for row in words.rows}
    assert {"curtain", "closure", "bias, leans", "turning (swirl, tumble)", "mean inlet Mach index"} <= told
    # The tractor has no engine, and no turning.
    fewer = {row[0] for row in build_report(tractor, date=DATE).sections[-1].tables[0].rows}
    assert "closure" in fewer
    assert not any("swirl" in word or "Mach index" in word for word in fewer)


def test_designs_tell_what_they_change(whole):
    changes = {section.key: section for section in whole.sections}["designs"].tables[0]
    rows = dict(changes.rows)
    assert rows["present"] == "as it stands"
    assert "valve face angle 30.0 deg" in rows["30 deg seat"]
    assert "seat width 1.20 mm" in rows["narrower seat, same contact"]


def test_without_flow_nothing_is_said_of_flow(sidecar):
    report = build_report(reduce_job(replace(sidecar.job, flow=None)), date=DATE)
    flow = {section.key: section for section in report.sections}["flow"]
    assert flow.title == "What limits at each lift"
    assert not flow.charts
    assert flow.tables[0].columns == ("lift [mm]", "L/D", "limited by")
    assert "accuracy of flow" not in report.method[1]
    assert "accuracy of flow" in build_report(sidecar, date=DATE).method[1]


def test_an_unfilled_template_makes_no_report(sidecar):
    with pytest.raises(JobError, match="the title is still the template's"):
        build_report(replace(sidecar, job=replace(sidecar.job, title="New job")), date=DATE)


def test_a_job_with_one_lift_one_run_and_nothing_else_says_less(small_job, tmp_path):
    (tmp_path / "job.toml").write_text(small_job, encoding="utf-8")
    rows = ["run,lift [mm],station,reading [Pa]", *(f"only,5,{angle},{4000 + angle}" for angle in (0, 90, 180, 270))]
    (tmp_path / "readings.csv").write_text("\n".join(rows), encoding="utf-8")
    from portviz.job.read import read_job

    report = build_report(reduce_job(read_job(tmp_path)), date=DATE)
    assert [section.key for section in report.sections] == ["seat", "flow", "round", "stations", "words"]
    assert "one lift, 5.00 mm" in report.summary
    assert "The total flow was not measured" in report.summary
    assert {each.topic for each in report.findings} == {"limit", "not shown"}
    assert "was not stated" in report.method[1]
    cells = [cell for table in all_tables(report) for row in table.rows for cell in row]
    assert not any("nan" in cell.lower() or "±" in cell for cell in cells)


def test_a_station_that_one_run_lacks_takes_nothing_else_away(sidecar):
    job, readings = sidecar.job, sidecar.job.readings
    # The second run lacks one station at its lowest lift, so that the two rings differ there.
    keep = ~((readings.station == 3) & (readings.group == sidecar.groups_of(1)[0]))
    parted = {name: getattr(readings, name)[keep] for name in ("group", "station", "value", "line")}
    report = build_report(reduce_job(replace(job, readings=replace(readings, **parted))), date=DATE)
    whole = build_report(sidecar, date=DATE)
    for lift, as_whole in zip(report.comparisons[0].lifts, whole.comparisons[0].lifts, strict=True):
        assert lift.values["flow"].verdicts == as_whole.values["flow"].verdicts
    assert np.isnan(report.comparisons[0].lifts[0].stations["velocity"].u[3])
    assert any("interpolated field" in each for each in report.warnings)
    assert "11 or 12 stations" in report.summary


def test_runs_without_a_lift_in_common_are_each_told_for_themselves(sidecar):
    readings = sidecar.job.readings
    lifts = readings.group_lift + np.where(readings.group_run == 1, 1e-4, 0.0)
    job = replace(sidecar.job, readings=replace(readings, group_lift=lifts))
    report = build_report(reduce_job(job), date=DATE)
    assert not report.comparisons
    assert any("can't be compared lift by lift" in each for each in report.warnings)
    assert "changes-1" not in [section.key for section in report.sections]


def test_only_the_runs_that_are_asked_for_are_told_of(sidecar):
    readings = sidecar.job.readings
    value = readings.value.copy()
    spoilt = int(np.flatnonzero(readings.group == sidecar.groups_of(1)[3])[5])
    value[spoilt] *= 2.2
    reduction = reduce_job(replace(sidecar.job, readings=replace(readings, value=value)))
    assert any(each.topic == "distrust" for each in build_report(reduction, date=DATE).findings)
    report = build_report(reduction, date=DATE, runs=[0])
    assert report.reduction.runs == ("as found",)
    words = " ".join([*report.warnings, *(rests.words for each in report.findings for rests in each.evidence)])
    assert "wall relieved" not in words
    alone = report.reduction
    np.testing.assert_array_equal(alone.stations.velocity, reduction.stations.velocity[: len(alone.stations.velocity)])
    np.testing.assert_array_equal(alone.bench_flow, reduction.bench_flow[list(reduction.groups_of(0))])
    second = build_report(reduction, date=DATE, runs=[1]).reduction
    np.testing.assert_array_equal(second.bench_flow, reduction.bench_flow[list(reduction.groups_of(1))])
    np.testing.assert_array_equal(
        second.job.readings.line, readings.line[np.isin(readings.group, list(reduction.groups_of(1)))]
    )


def test_every_test_pressure_is_told(sidecar):
    pressure = np.where(np.arange(len(sidecar.lift)) == 2, 5000.0, np.nan)
    job = replace(sidecar.job, flow=replace(sidecar.job.flow, test_pressure=pressure))
    report = build_report(reduce_job(job), date=DATE)
    assert "509.9 mmH2O to 635.0 mmH2O" in report.summary


def test_too_many_runs_are_refused(sidecar):
    readings = sidecar.job.readings
    groups = np.arange(MOST_RUNS + 1)
    take = np.concatenate([np.flatnonzero(readings.group == 0)] * len(groups))
    count = len(take) // len(groups)
    many = replace(
        readings,
        runs=tuple(f"run {group}" for group in groups),
        group=np.repeat(groups, count),
        station=readings.station[take],
        value=readings.value[take],
        line=np.arange(len(take)),
        group_run=groups,
        group_lift=np.full(len(groups), 5e-3),
    )
    reduction = reduce_job(replace(sidecar.job, readings=many, flow=None))
    with pytest.raises(UsageError, match="6 runs are too many"):
        build_report(reduction, date=DATE)
    assert len(build_report(reduction, date=DATE, runs=[0, 5]).runs) == 2


def test_the_run_that_others_are_compared_with_can_be_named(sidecar):
    report = build_report(sidecar, date=DATE, first=1)
    assert report.runs == (1, 0)
    assert (report.comparisons[0].a.run, report.comparisons[0].b.run) == (1, 0)


def test_a_broken_designs_file_is_named(sidecar, examples, tmp_path, capsys):
    shutil.copytree(examples / "sidecar_intake", tmp_path / "job")
    (tmp_path / "job" / "designs.toml").write_text("[[design]]\nname = 3\n", encoding="utf-8")
    assert main(["report", str(tmp_path / "job"), str(tmp_path / "out.pdf")]) == 1
    assert "designs.toml" in capsys.readouterr().err
    assert not (tmp_path / "out.pdf").exists()
