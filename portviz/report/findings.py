"""What the numbers say, in plain words: the rules, one function each, in the order in which they are told.

A rule looks at results that are there already and says one thing, with the numbers that it rests on, or nothing. None
speaks where the data do not: a difference is told as one only with its verdict, a direction only where the bias is
larger than its own uncertainty and than what uneven stations feign. Nothing is said on power: a bench does not know it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from portviz.distribution.comparison import Comparison, LiftComparison
from portviz.distribution.quality_notes import quality_warnings
from portviz.distribution.verdicts import HIGHER, LOWER, NOT_SHOWN, expanded
from portviz.geometry.ends import passage_ends
from portviz.geometry.passages import least_passages
from portviz.geometry.takeover import throat_takes_over
from portviz.job.words import direction_words, facing_words, lift_text
from portviz.report.content import Evidence, Finding
from portviz.report.digits import with_uncertainty
from portviz.report.finding_checks import last_step, leans, surely_apart, untold
from portviz.report.finding_words import (
    Facts,
    arcs,
    area_evidence,
    band_evidence,
    bias_evidence,
    change_words,
    compared_numbers,
    count_of,
    event_flow_evidence,
    extreme_evidence,
    from_to,
    leaning_evidence,
    listed,
    of_lifts,
    station_angle,
    station_evidence,
    velocity_known,
)
from portviz.report.uncertainty import NOTHING_KNOWN
from portviz.units import in_unit


def report_findings(facts: Facts) -> tuple[Finding, ...]:
    """Return what the numbers say, the main things first; each with its evidence."""
    return tuple(finding for rule in RULES for finding in rule(facts))


# What changed --------------------------------------------------------------------------------------------------------


def event_change(facts: Facts) -> Iterator[Finding]:
    """Tell how mean flow over the lift event changed, where the data show it, and the lifts that it comes from."""
    if facts.events is None:
        return
    names = facts.reduction.runs
    for each in facts.event_comparisons:
        flow = each.values["mean_flow"]
        if flow.verdicts[0] == NOT_SHOWN:
            continue
        more = "more" if flow.verdicts[0] == HIGHER else "less"
        words = (
            f"Over the whole lift event run “{names[each.b]}” passes {more} air than “{names[each.a]}”: "
            f"{change_words(facts.job, flow, 0, 'flow')} on average, at the bench's test pressure."
        )
        evidence = [event_flow_evidence(facts, each, flow)]
        shown = [band for band, verdict in enumerate(each.band_flow.verdicts) if verdict == flow.verdicts[0]]
        share = each.band_gain_share
        if shown and np.isfinite(share[shown]).all():
            most = max(shown, key=lambda band: float(share[band]))
            ends = [lift_text(facts.job, float(each.edges[most + side])) for side in (0, 1)]
            words += (
                f" The largest part of it, {100.0 * share[most]:.0f} %, comes from lifts of {ends[0]} to {ends[1]}."
            )
            evidence += [band_evidence(facts, each, band) for band in shown]
        yield Finding("change", words, tuple(evidence))


def flow_change(facts: Facts) -> Iterator[Finding]:
    """Tell at which lifts flow changed, where the data show it."""
    for comparison in facts.comparisons:
        for verdict, more in ((HIGHER, "more"), (LOWER, "less")):
            there = [each for each in comparison.lifts if each.values["flow"].verdicts[0] == verdict]
            if not there:
                continue
            most = max(there, key=lambda each: abs(float(each.values["flow"].difference[0])))
            words = (
                f"Run “{comparison.b.name}” flows {more} than “{comparison.a.name}” at "
                f"{of_lifts(facts.job, there, comparison)}; most at {lift_text(facts.job, most.lift)}: "
                f"{change_words(facts.job, most.values['flow'], 0, 'flow')}."
            )
            evidence = tuple(
                Evidence(
                    f"{lift_text(facts.job, each.lift)}: {from_to(facts.job, each.values['flow'], 0, 'flow')}",
                    **compared_numbers(comparison, each, each.values["flow"], 0, "flow_m3_s"),
                )
                for each in there
            )
            yield Finding("change", words, evidence)


def station_changes(facts: Facts) -> Iterator[Finding]:
    """Tell where round the valve the air passes faster or slower than before."""
    for comparison in facts.comparisons:
        for verdict, word in ((HIGHER, "faster"), (LOWER, "slower")):
            hits: dict[float, list[tuple[LiftComparison, int]]] = {}
            for each in comparison.lifts:
                for place, angle in enumerate(each.angles_deg.tolist()):
                    if each.stations["velocity"].verdicts[place] == verdict:
                        hits.setdefault(angle, []).append((each, place))
            if not hits:
                continue
            order = sorted(hits, key=lambda angle: -len(hits[angle]))
            lift, place = max(
                (hit for some in hits.values() for hit in some),
                key=lambda hit: abs(float(hit[0].stations["velocity"].difference[hit[1]])),
            )
            compared = sorted({angle for each in comparison.lifts for angle in each.angles_deg.tolist()})
            words = (
                f"In run “{comparison.b.name}” the air passes {word} than in “{comparison.a.name}” at "
                f"{arcs(sorted(hits), compared)}, at one lift or more; "
                f"most at {lift.angles_deg[place]:g}° and {lift_text(facts.job, lift.lift)}: "
                f"{change_words(facts.job, lift.stations['velocity'], place, 'velocity')}."
            )
            yield Finding("change", words, tuple(station_evidence(facts, comparison, hits, order)))


def more_but_uneven(facts: Facts) -> Iterator[Finding]:
    """Tell of more flow that is packed to one side: a gain on the bench that the cylinder may not see."""
    for comparison in facts.comparisons:
        there = [
            each
            for each in comparison.lifts
            if each.values["flow"].verdicts[0] == HIGHER and each.bias.magnitude.verdicts[0] == HIGHER
        ]
        if there:
            words = (
                f"At {of_lifts(facts.job, there, comparison)} run “{comparison.b.name}” flows more, but more of it "
                "passes at one side: the bias grew too. Such a gain is real on the bench; whether the cylinder "
                "gets it, the bench can't say."
            )
            yield Finding("bias", words, tuple(bias_evidence(facts, comparison, each) for each in there))


def more_even(facts: Facts) -> Iterator[Finding]:
    """Tell that the flow passes more evenly round the valve than before."""
    for comparison in facts.comparisons:
        there = [each for each in comparison.lifts if each.bias.magnitude.verdicts[0] == LOWER]
        if there:
            words = (
                f"At {of_lifts(facts.job, there, comparison)} run “{comparison.b.name}” flows more evenly round "
                f"the valve than “{comparison.a.name}”: its bias is smaller."
            )
            yield Finding("bias", words, tuple(bias_evidence(facts, comparison, each) for each in there))


# Where the air leaves ------------------------------------------------------------------------------------------------


def directions(facts: Facts) -> Iterator[Finding]:
    """Tell of each run where most air passes, and its weakest and strongest station, where they surely differ."""
    for run in facts.runs:
        groups = facts.open_groups(run)
        leaning = [group for group in groups if leans(facts, group)]
        apart = [(group, pair) for group in groups if (pair := surely_apart(facts, group)) is not None]
        words = " ".join([*_leaning_words(facts, run, leaning, len(groups)), *_extreme_words(facts, apart)])
        evidence = [leaning_evidence(facts, run, group) for group in leaning]
        evidence += [extreme_evidence(facts, run, group, *pair) for group, pair in apart]
        if evidence:
            yield Finding("direction", f"Run “{facts.reduction.runs[run]}”: {words}", tuple(evidence))


def _leaning_words(facts: Facts, run: int, leaning: list[int], measured: int) -> Iterator[str]:
    if not leaning:
        return
    reduction, highest = facts.reduction, leaning[-1]
    magnitude, angle = float(reduction.bias_magnitude[highest]), float(reduction.bias_angle_deg[highest])
    yield (
        f"more air passes at one side, {direction_words(angle, magnitude, facing=facing_words(facts.job, 30))}; so at "
        f"{count_of(len(leaning), measured, 'lift')}, with a bias of {magnitude:.2f} at "
        f"{lift_text(facts.job, float(reduction.lift[highest]))} (0 even, 1 all at one station)."
    )


def _extreme_words(facts: Facts, apart: list[tuple[int, tuple[int, int]]]) -> Iterator[str]:
    if not apart:
        return
    group, pair = apart[-1]
    weak, strong = (station_angle(facts, place) for place in pair)
    often = [
        sum(station_angle(facts, ends[side]) == angle for _, ends in apart) for side, angle in ((0, weak), (1, strong))
    ]
    words = (
        f"The air is slowest at {weak:g}° and fastest at {strong:g}°: {velocity_known(facts, pair[0])} against "
        f"{velocity_known(facts, pair[1])} at {lift_text(facts.job, float(facts.reduction.lift[group]))}."
    )
    if len(apart) > 1:
        words += (
            f" Of the {len(apart)} lifts where the two surely differ {weak:g}° is the slowest at {often[0]}, "
            f"{strong:g}° the fastest at {often[1]}."
        )
    yield words


# What limits ---------------------------------------------------------------------------------------------------------


def limiting_passage(facts: Facts) -> Iterator[Finding]:
    """Tell what the narrowest passage is, and from which lift on another one is narrower."""
    job, profiles = facts.job, facts.reduction.profiles
    highest = max(float(facts.reduction.lift[facts.reduction.groups_of(run)[-1]]) for run in facts.runs)
    if highest <= 0.0:
        return
    takes_over = float(throat_takes_over(profiles, highest)[0])
    if np.isnan(takes_over):
        words = (
            f"Up to the highest lift measured, {lift_text(job, highest)}, the gap between seat and valve is the "
            "narrowest passage: lift, seat and valve's face set the area, not the throat."
        )
        yield Finding("limit", words, (area_evidence(facts, highest),))
        return
    beyond = np.array([highest])
    line = least_passages(profiles, beyond, lines=True).throat_line
    assert line is not None
    ends = "{} to {}".format(*passage_ends(profiles, line[0], beyond)[0])
    words = (
        f"Up to a lift of {lift_text(job, takes_over)} the gap between seat and valve is the narrowest passage; above "
        f"it another one is, at {lift_text(job, highest)} that from {ends}. There seat and face no longer set the area."
    )
    yield Finding("limit", words, tuple(area_evidence(facts, lift) for lift in (0.5 * takes_over, takes_over, highest)))


def last_lift(facts: Facts) -> Iterator[Finding]:
    """Tell of a last step of lift that brought no flow."""
    for run in facts.runs:
        found = last_step(facts, run)
        if found is None:
            continue
        (low, high), gain, u = found
        wide = float(expanded(u, np.inf))
        lifts = [lift_text(facts.job, float(facts.reduction.lift[group])) for group in (low, high)]
        flow, unit = in_unit(1.0, facts.job.units.flow, "flow"), facts.job.units.flow
        told = f"{with_uncertainty(gain * flow, wide * flow)} {unit}"
        evidence = Evidence(
            f"{lifts[0]} to {lifts[1]}, at one test pressure: {told}",
            run=facts.reduction.runs[run],
            lift=float(facts.reduction.lift[high]),
            quantity="flow_m3_s",
            difference=gain,
            u=u,
            verdict=NOT_SHOWN,
        )
        words = (
            f"In run “{facts.reduction.runs[run]}” the last step of lift, from {lifts[0]} to {lifts[1]}, shows no gain "
            f"of flow: {told}. Above it something other than lift holds the flow back."
        )
        yield Finding("limit", words, (evidence,))


# What is not shown, and what to distrust -----------------------------------------------------------------------------


def not_shown(facts: Facts) -> Iterator[Finding]:
    """Tell of changes that the data do not show, which is not the same as none."""
    for comparison in facts.comparisons:
        flows = [each for each in comparison.lifts if untold(each.values["flow"], 0)]
        if flows:
            words = (
                f"At {of_lifts(facts.job, flows, comparison)} no change of flow from “{comparison.a.name}” to "
                f"“{comparison.b.name}” is shown. That does not say that there is none: it is smaller than these "
                "measurements can tell."
            )
            evidence = tuple(
                Evidence(
                    f"{lift_text(facts.job, each.lift)}: {change_words(facts.job, each.values['flow'], 0, 'flow')}",
                    **compared_numbers(comparison, each, each.values["flow"], 0, "flow_m3_s"),
                )
                for each in flows
            )
            yield Finding("not shown", words, evidence)
        yield from _flow_unknown(facts, comparison)
        yield from _stations_not_shown(facts, comparison)
    for each in facts.event_comparisons:
        flow, names = each.values["mean_flow"], facts.reduction.runs
        if untold(flow, 0):
            pair = f"from “{names[each.a]}” to “{names[each.b]}”"
            words = f"Over the whole lift event no change of mean flow {pair} is shown."
            yield Finding("not shown", words, (event_flow_evidence(facts, each, flow),))


def _flow_unknown(facts: Facts, comparison: Comparison) -> Iterator[Finding]:
    """Tell that flow has no verdict, where it was measured in both runs but nothing is known of how well."""
    there = [each for each in comparison.lifts if np.isfinite(each.values["flow"].difference[0])]
    unknown = [each for each in there if np.isnan(each.values["flow"].u[0])]
    if not unknown:
        return
    words = (
        f"At {of_lifts(facts.job, unknown, comparison)} the flow of “{comparison.b.name}” differs from that of "
        f"“{comparison.a.name}”, but nothing is known of how well flow was measured, so that no change can be told "
        "from chance: state bench.flow_accuracy in job.toml."
    )
    evidence = tuple(
        Evidence(
            f"{lift_text(facts.job, each.lift)}: {from_to(facts.job, each.values['flow'], 0, 'flow')}, ± unknown",
            **compared_numbers(comparison, each, each.values["flow"], 0, "flow_m3_s"),
        )
        for each in unknown
    )
    yield Finding("not shown", words, evidence)


def _stations_not_shown(facts: Facts, comparison: Comparison) -> Iterator[Finding]:
    counts = [
        (each, sum(untold(each.stations["velocity"], place) for place in range(len(each.angles_deg))))
        for each in comparison.lifts
    ]
    unshown = [(each, count) for each, count in counts if count]
    if not unshown:
        return
    total = sum(len(each.angles_deg) for each in comparison.lifts)
    words = (
        f"Of {total} pairs of station readings in “{comparison.a.name}” and “{comparison.b.name}”, "
        f"{sum(count for _, count in unshown)} show no change of velocity."
    )
    evidence = tuple(
        Evidence(
            f"{lift_text(facts.job, each.lift)}: "
            + listed(
                [
                    f"{angle:g}°"
                    for place, angle in enumerate(each.angles_deg.tolist())
                    if untold(each.stations["velocity"], place)
                ]
            ),
            run=comparison.b.name,
            against=comparison.a.name,
            lift=each.lift,
            stations_deg=tuple(
                angle
                for place, angle in enumerate(each.angles_deg.tolist())
                if untold(each.stations["velocity"], place)
            ),
            quantity="velocity_m_s",
            verdict=NOT_SHOWN,
        )
        for each, _ in unshown
    )
    yield Finding("not shown", words, evidence)


def nothing_known(facts: Facts) -> Iterator[Finding]:
    """Name runs of which nothing is known of how well they were read."""
    known = facts.uncertainty.readings.mean
    for run in facts.runs:
        groups = facts.reduction.groups_of(run)
        bare = [group for group in groups if not np.isfinite(known[facts.reduction.stations_of(group)]).any()]
        if len(bare) == len(groups):
            name = facts.reduction.runs[run]
            evidence = Evidence(f"run “{name}”: neither an accuracy of the gauge nor repeats", run=name)
            yield Finding("not shown", f"Run “{name}”: {NOTHING_KNOWN[0].lower()}{NOTHING_KNOWN[1:]}", (evidence,))


def distrusted(facts: Facts) -> Iterator[Finding]:
    """Tell of readings that look wrong, each with its lines."""
    found = quality_warnings(facts.reduction)
    if found:
        count = f"{len(found)} things" if len(found) > 1 else "one thing"
        words = f"The readings themselves give reason to doubt {count}; read again before metal is cut."
        yield Finding("distrust", words, tuple(Evidence(each) for each in found))


Rule = Callable[[Facts], Iterator[Finding]]
#: The rules, in the order in which their findings are told.
RULES: tuple[Rule, ...] = (
    event_change,
    flow_change,
    more_but_uneven,
    more_even,
    station_changes,
    directions,
    limiting_passage,
    last_lift,
    not_shown,
    nothing_known,
    distrusted,
)
