"""Rules of findings on what the data do not show, and on readings to distrust."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from portviz.distribution.comparison import Comparison, LiftComparison
from portviz.distribution.propagation import plus_minus
from portviz.distribution.quality_notes import reading_doubts
from portviz.distribution.verdicts import NOT_SHOWN
from portviz.job.digits import with_uncertainty
from portviz.job.words import lift_text
from portviz.report.content import Evidence, Finding
from portviz.report.finding_checks import groups_above_one, untold
from portviz.report.finding_words import (
    Facts,
    change_words,
    compared_numbers,
    event_flow_evidence,
    flow_evidence,
    listed,
    of_lifts,
)


def closure_above_one(facts: Facts) -> Iterator[Finding]:
    """Tell of lifts at which more air surely passed the bench than the stations account for: one of the two is off."""
    closure, known = facts.reduction.closure, facts.uncertainty
    for run in facts.runs:
        groups = groups_above_one(facts, run)
        if not groups:
            continue
        name = facts.reduction.runs[run]
        lifts = [lift_text(facts.job, float(facts.reduction.lift[group])) for group in groups]
        at = np.array(groups)
        wide = plus_minus(known.closure.take(at), known.readings.freedom[at])
        unsure = "" if np.isfinite(wide).all() else " How well closure is known was not stated."
        words = (
            f"Run “{name}” at {listed(lifts)}: more air passed the bench than the velocities at the stations account "
            "for (closure above 1). Bench, gauge or a dimension is off there; doubt what is said of these lifts."
            f"{unsure}"
        )
        evidence = [
            Evidence(
                f"{lift}: closure {with_uncertainty(float(closure[group]), float(about))}",
                run=name,
                lift=float(facts.reduction.lift[group]),
                quantity="closure",
                value=float(closure[group]),
                u=float(known.closure.standard[group]),
            )
            for lift, group, about in zip(lifts, groups, wide, strict=True)
        ]
        yield Finding("distrust", words, tuple(evidence))


def closure_changed(facts: Facts) -> Iterator[Finding]:
    """Tell that closure changed between two runs: bench and stations do not agree on what changed."""
    for comparison in facts.comparisons:
        there = [each for each in comparison.lifts if each.values["closure"].verdicts[0] != NOT_SHOWN]
        if not there:
            continue
        words = (
            f"At {of_lifts(facts.job, there, comparison)} the bench's flow and the velocities at the stations do not "
            f"change alike from “{comparison.a.name}” to “{comparison.b.name}”: their ratio, closure, changes. Part of "
            "what changed may stem from the measuring; check test pressure, gauge and leaks."
        )
        evidence = [
            Evidence(
                f"{lift_text(facts.job, each.lift)}: closure {each.values['closure'].a[0]:.3f} to "
                f"{each.values['closure'].b[0]:.3f}",
                **compared_numbers(comparison, each, each.values["closure"], 0, "closure"),
            )
            for each in there
        ]
        yield Finding("distrust", words, tuple(evidence))


def flow_not_shown(facts: Facts) -> Iterator[Finding]:
    """Tell of flows, at lifts and over the event, whose change is too uncertain to be told from none."""
    for comparison in facts.comparisons:
        flows = [each for each in comparison.lifts if untold(each.values["flow"], 0)]
        if flows:
            words = (
                f"At {of_lifts(facts.job, flows, comparison)} no change of flow from “{comparison.a.name}” to "
                f"“{comparison.b.name}” is shown. There may be one, but it can't be told from none."
            )
            evidence = tuple(
                Evidence(
                    f"{lift_text(facts.job, each.lift)}: {change_words(facts.job, each.values['flow'], 0, 'flow')}",
                    **compared_numbers(comparison, each, each.values["flow"], 0, "flow_m3_s"),
                )
                for each in flows
            )
            yield Finding("not shown", words, evidence)
    for each in facts.event_comparisons:
        flow, names = each.values["mean_flow"], facts.reduction.runs
        if untold(flow, 0):
            pair = f"from “{names[each.a]}” to “{names[each.b]}”"
            words = f"Over the whole lift event no change of mean flow {pair} is shown; it can't be told from none."
            yield Finding("not shown", words, (event_flow_evidence(facts, each, flow),))


def flow_unknown(facts: Facts) -> Iterator[Finding]:
    """Tell that flow has no verdict, where it was measured in both runs but nothing is known of how well."""
    for comparison in facts.comparisons:
        there = [each for each in comparison.lifts if np.isfinite(each.values["flow"].difference[0])]
        unknown = [each for each in there if np.isnan(each.values["flow"].u[0])]
        if not unknown:
            continue
        words = (
            f"At {of_lifts(facts.job, unknown, comparison)} flow was measured in both “{comparison.a.name}” and "
            f"“{comparison.b.name}”, but how well is not known, so that a change can't be told from chance."
        )
        evidence = tuple(flow_evidence(facts, comparison, each, ", ± unknown") for each in unknown)
        yield Finding("not shown", words, evidence)


def stations_not_shown(facts: Facts) -> Iterator[Finding]:
    """Tell of stations whose change of velocity is too uncertain to be told from none."""
    for comparison in facts.comparisons:
        evidence = [rests for each in comparison.lifts for rests in _unshown_stations(facts, comparison, each)]
        if not evidence:
            continue
        known = sum(int(np.isfinite(each.stations["velocity"].u).sum()) for each in comparison.lifts)
        count = sum(len(rests.stations_deg) for rests in evidence)
        words = (
            f"Of {known} velocities compared between “{comparison.a.name}” and “{comparison.b.name}”, all lifts "
            f"together, {count} show no change that could be told from none."
        )
        yield Finding("not shown", words, tuple(evidence))


def _unshown_stations(facts: Facts, comparison: Comparison, each: LiftComparison) -> Iterator[Evidence]:
    velocity = each.stations["velocity"]
    angles = [angle for place, angle in enumerate(each.angles_deg.tolist()) if untold(velocity, place)]
    if angles:
        yield Evidence(
            f"{lift_text(facts.job, each.lift)}: {listed([f'{angle:g}°' for angle in angles])}",
            run=comparison.b.name,
            against=comparison.a.name,
            lift=each.lift,
            stations_deg=tuple(angles),
            quantity="velocity_m_s",
            verdict=NOT_SHOWN,
        )


def nothing_known(facts: Facts) -> Iterator[Finding]:
    """Name runs of which nothing is known of how well they were read."""
    known = facts.uncertainty.readings.mean
    for run in facts.runs:
        groups = facts.reduction.groups_of(run)
        if any(np.isfinite(known[facts.reduction.stations_of(group)]).any() for group in groups):
            continue
        name = facts.reduction.runs[run]
        words = (
            f"How well the stations of run “{name}” were read is not known: no accuracy of the gauge was stated, and "
            "no reading was repeated. So nothing that was read there can be told from chance."
        )
        yield Finding("not shown", words, (Evidence(f"run “{name}”: neither an accuracy nor repeats", run=name),))


def distrusted(facts: Facts) -> Iterator[Finding]:
    """Tell of readings that look wrong, each with its lines."""
    found = reading_doubts(facts.reduction)
    if found:
        count = f"{len(found)} things" if len(found) > 1 else "one thing"
        words = f"The readings themselves give reason to doubt {count}; read again before metal is cut."
        yield Finding("distrust", words, tuple(Evidence(each) for each in found))
