"""The report of a job: everything that is handed over, collected once for the page and for the printed document."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from portviz.distribution.comparison import Comparison, Side, compare_runs
from portviz.distribution.event_comparison import EventComparison, LiftEvent, compare_events, lift_event
from portviz.distribution.event_notes import comparison_warnings as event_comparison_warnings
from portviz.distribution.event_notes import event_warnings
from portviz.distribution.notes import reduction_warnings
from portviz.distribution.quality_notes import quality_warnings
from portviz.distribution.reduce import Reduction
from portviz.distribution.uncertainty import Uncertainty, reduction_uncertainty
from portviz.errors import UsageError
from portviz.report.build_facts import fact_tables, method_words, summary_words
from portviz.report.build_sections import report_sections
from portviz.report.comparison import comparison_warnings
from portviz.report.content import Letterhead, Report
from portviz.report.finding_words import Facts
from portviz.report.findings import report_findings

#: More runs than one chart can tell apart are not handed over together.
MOST_RUNS = 5
CAUTIONS = (
    "Grinding a valve or a seat wrong can burn the valve, loosen the seat or drop a valve into the engine. Seat width, "
    "angles, margin, recession and spring loads have limits: those of the valve's and seat's makers, local rules and "
    "licensed practice come before anything printed here. This report describes air on a bench. It does not know "
    "heat, wear, valve motion or strength; it makes no statement on power and permits nothing. Wear eye and "
    "breathing protection when you grind."
)


def collected_facts(
    reduction: Reduction, runs: Sequence[int], first: int | None = None, uncertainty: Uncertainty | None = None
) -> Facts:
    """Return what findings and sections look at.

    Parameters
    ----------
    reduction : Reduction
    runs : sequence of int
        Places of the runs told of.
    first : int, optional
        The run that the others are compared with; the first of them by default.
    uncertainty : Uncertainty, optional
        Of the reduction, where it is there already.

    Notes
    -----
    Runs that can't be compared, as those read at other stations or with no lift in common, are told of each for itself.
    """
    before = runs[0] if first is None else first
    ordered = (before, *(run for run in runs if run != before))
    known = uncertainty or reduction_uncertainty(reduction, runs=ordered)
    sides = {run: Side(reduction, known, run) for run in ordered}
    comparisons: list[Comparison] = []
    for run in ordered[1:]:
        try:
            comparisons.append(compare_runs(sides[before], sides[run]))
        except UsageError:
            continue
    events: LiftEvent | None = None
    event_comparisons: list[EventComparison] = []
    if reduction.job.cam is not None:
        events = lift_event(reduction, known)
        event_comparisons = [compare_events(events, before, run) for run in ordered[1:]]
    return Facts(reduction, known, ordered, tuple(comparisons), events, tuple(event_comparisons))


def build_report(
    reduction: Reduction,
    *,
    date: str,
    letterhead: Letterhead | None = None,
    runs: Sequence[int] | None = None,
    first: int | None = None,
    designs: Path | None = None,
) -> Report:
    """Return the report of a job.

    Parameters
    ----------
    reduction : Reduction
    date : str
        Year-month-day, to stand on it.
    letterhead : Letterhead, optional
        Who hands it over, and to whom.
    runs : sequence of int, optional
        Places of the runs told of; all by default.
    first : int, optional
        The run that the others are compared with; the first by default.
    designs : Path, optional
        A designs.toml whose designs are told of.

    Raises
    ------
    UsageError
        If there are more runs than `MOST_RUNS`.
    JobError
        If something in the job's files is wrong.
    """
    chosen = list(range(len(reduction.runs))) if runs is None else list(runs)
    if first is not None and first not in chosen:
        chosen.insert(0, first)
    if len(chosen) > MOST_RUNS:
        raise UsageError(
            f"report: {len(chosen)} runs are too many for one report; name at most {MOST_RUNS} of them: "
            f'--run "{reduction.runs[0]}" --run "{reduction.runs[-1]}"'
        )
    facts = collected_facts(reduction, chosen, first)
    return Report(
        title=reduction.job.title,
        date=date,
        letterhead=letterhead or Letterhead(),
        summary=summary_words(facts),
        findings=report_findings(facts),
        facts=fact_tables(facts),
        sections=report_sections(facts, designs),
        method=method_words(facts),
        cautions=CAUTIONS,
        warnings=tuple(dict.fromkeys(report_warnings(facts))),
        reduction=reduction,
        uncertainty=facts.uncertainty,
        runs=facts.runs,
        comparisons=facts.comparisons,
        events=facts.events,
    )


def report_warnings(facts: Facts) -> list[str]:
    """Return what a reader of the report must be warned of; readings to distrust are a finding of their own."""
    reduction = facts.reduction
    told = set(quality_warnings(reduction))
    found = [each for each in reduction_warnings(reduction) if each not in told]
    for comparison in facts.comparisons:
        found += comparison_warnings(comparison)
    compared = {comparison.b.run for comparison in facts.comparisons}
    for run in facts.runs[1:]:
        if run not in compared:
            names = (reduction.runs[facts.runs[0]], reduction.runs[run])
            found.append(
                f"runs {names[0]!r} and {names[1]!r} can't be compared lift by lift: they were read at other stations, "
                "or have no open lift in common"
            )
    if facts.events is not None:
        found += event_warnings(facts.events, list(facts.runs))
        for each in facts.event_comparisons:
            found += event_comparison_warnings(facts.events, each)
    return found
