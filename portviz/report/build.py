"""The report of a job: everything that is handed over, collected once for the page and for the printed document."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from portviz.distribution.comparison import Comparison, Side, compare_runs
from portviz.distribution.event_comparison import EventComparison, LiftEvent, compare_events, lift_event
from portviz.distribution.event_notes import comparison_warnings as event_comparison_warnings
from portviz.distribution.event_notes import event_warnings
from portviz.distribution.notes import TEMPLATE_TITLE, reduction_warnings
from portviz.distribution.quality_notes import reading_doubts
from portviz.distribution.reduce import Reduction
from portviz.distribution.run_selection import with_runs
from portviz.distribution.scatter import UNKNOWN
from portviz.distribution.uncertainty import Uncertainty, reduction_uncertainty
from portviz.errors import JobError, UsageError, spelled_out
from portviz.job.model import JOB_FILE
from portviz.report.build_facts import fact_tables, method_words, summary_words
from portviz.report.build_sections import report_sections
from portviz.report.comparison import comparison_warnings
from portviz.report.content import Letterhead, Report
from portviz.report.customer_words import for_customer
from portviz.report.finding_words import Facts
from portviz.report.findings import report_findings
from portviz.report.uncertainty import WHAT_TO_ADD
from portviz.report.words_used import words_used

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
    Only the runs asked for are told of: the rest of the job is left out. Runs read at other stations are compared on
    the interpolated field, without a verdict there; those with no lift in common are told of each for itself.
    """
    before = runs[0] if first is None else first
    wanted = sorted({before, *runs})
    chosen = with_plain_words(with_runs(reduction, wanted))
    if len(wanted) < len(reduction.runs):
        uncertainty = None
    ordered = tuple(wanted.index(run) for run in dict.fromkeys([before, *runs]))
    known = uncertainty or reduction_uncertainty(chosen)
    sides = {run: Side(chosen, known, run) for run in ordered}
    pairs = [_compared(sides[ordered[0]], sides[run]) for run in ordered[1:]]
    comparisons = [each for each in pairs if each is not None]
    events: LiftEvent | None = None
    event_comparisons: list[EventComparison] = []
    if chosen.job.cam is not None:
        events = lift_event(chosen, known)
        event_comparisons = [compare_events(events, ordered[0], run) for run in ordered[1:]]
    return Facts(chosen, known, ordered, tuple(comparisons), events, tuple(event_comparisons))


def with_plain_words(reduction: Reduction) -> Reduction:
    """Return a reduction whose words from files hold no signs that can't be seen or turn what stands beside them."""
    job = reduction.job
    runs = tuple(map(spelled_out, reduction.runs))
    reference = spelled_out(job.stations.reference)
    assert job.readings is not None
    if (*runs, reference, spelled_out(job.title)) == (*reduction.runs, job.stations.reference, job.title):
        return reduction
    plain = replace(
        job,
        title=spelled_out(job.title),
        stations=replace(job.stations, reference=reference),
        readings=replace(job.readings, runs=runs),
    )
    return replace(reduction, job=plain, runs=runs)


def _compared(before: Side, after: Side) -> Comparison | None:
    """Return two runs compared, on the interpolated field where their stations differ; None with no lift in common."""
    for on_field in (False, True):
        try:
            return compare_runs(before, after, on_field=on_field)
        except UsageError:
            continue
    return None


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
    if reduction.job.title == TEMPLATE_TITLE:
        raise JobError(
            "the title is still the template's, so that the numbers may be too",
            file=JOB_FILE,
            place="title",
            value=reduction.job.title,
            mend="Give the job a title of its own, and look through all its numbers, before anyone is handed a report",
        )
    facts = collected_facts(reduction, chosen, first)
    warnings = tuple(dict.fromkeys(report_warnings(facts)))
    sheet, sections = fact_tables(facts), report_sections(facts, designs)
    words = words_used(sections, sheet)
    return Report(
        title=facts.job.title,
        date=date,
        letterhead=letterhead or Letterhead(),
        summary=summary_words(facts),
        findings=report_findings(facts),
        facts=sheet,
        sections=sections if words is None else (*sections, words),
        method=method_words(facts),
        cautions=CAUTIONS,
        warnings=tuple(dict.fromkeys(map(for_customer, warnings))),
        shop_warnings=warnings,
        reduction=facts.reduction,
        uncertainty=facts.uncertainty,
        runs=facts.runs,
        comparisons=facts.comparisons,
        events=facts.events,
    )


def report_warnings(facts: Facts) -> list[str]:
    """Return what a reader of the report must be warned of; readings to distrust are a finding of their own."""
    reduction = facts.reduction
    told = set(reading_doubts(reduction))
    found = [each for each in reduction_warnings(reduction) if each not in told]
    for comparison in facts.comparisons:
        found += comparison_warnings(comparison)
    compared = {comparison.b.run for comparison in facts.comparisons}
    for run in facts.runs[1:]:
        if run not in compared:
            names = (reduction.runs[facts.runs[0]], reduction.runs[run])
            found.append(
                f"runs {names[0]!r} and {names[1]!r} can't be compared lift by lift: they have no open lift in common"
            )
    unknown = [
        reduction.runs[run]
        for run in facts.runs
        if all(facts.uncertainty.readings.source[group] == UNKNOWN for group in reduction.groups_of(run))
    ]
    if unknown and not facts.comparisons:
        found.append(f"no ± and no verdict on {' and '.join(map(repr, unknown))}: {WHAT_TO_ADD}")
    if facts.events is not None:
        found += event_warnings(facts.events, list(facts.runs))
        for each in facts.event_comparisons:
            found += event_comparison_warnings(facts.events, each)
    return found
