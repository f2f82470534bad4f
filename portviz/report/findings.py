"""What the numbers say, in plain words: the rules, one function each, in the order in which they are told.

A rule looks at results that are there already and says one thing, with the numbers that it rests on, or nothing. None
speaks where the data do not: a difference is told as one only with its verdict, a direction only where the bias is
larger than its own uncertainty and than what uneven stations feign. Since a rule picks out of all lifts, its verdicts
hold for all lifts together. Nothing is said on power: a bench does not know it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from portviz.distribution.comparison import Comparison, LiftComparison
from portviz.distribution.event_comparison import EventComparison
from portviz.distribution.field import degrees_apart
from portviz.distribution.propagation import plus_minus
from portviz.distribution.verdicts import HIGHER, LOWER, NOT_SHOWN, expanded
from portviz.geometry.ends import passage_ends
from portviz.geometry.passages import least_passages
from portviz.geometry.profiles import Profiles
from portviz.geometry.takeover import throat_takes_over
from portviz.job.digits import with_uncertainty
from portviz.job.model import Job
from portviz.job.words import direction_words, facing_words, lift_text
from portviz.report.content import Evidence, Finding
from portviz.report.finding_checks import family_wise, last_step, leaning_groups, surely_apart
from portviz.report.finding_doubts import (
    closure_above_one,
    closure_changed,
    distrusted,
    flow_not_shown,
    flow_unknown,
    nothing_known,
    stations_not_shown,
)
from portviz.report.finding_words import (
    Facts,
    arcs,
    area_evidence,
    band_evidence,
    bias_evidence,
    change_words,
    count_of,
    event_flow_evidence,
    extreme_evidence,
    flow_evidence,
    leaning_evidence,
    listed,
    of_lifts,
    rescaled_words,
    station_angle,
    station_evidence,
    velocity_known,
)
from portviz.units import in_unit

#: A lift of a comparison, and a place among its stations.
_Hit = tuple[LiftComparison, int]
#: Directions nearer than this are one side [deg].
_ONE_SIDE = 45.0
#: So many stations are named as the slowest, or the fastest, of one lift or another.
_FEW = 3


def report_findings(facts: Facts) -> tuple[Finding, ...]:
    """Return what the numbers say, the main things first; each with its evidence."""
    together = replace(facts, comparisons=tuple(map(family_wise, facts.comparisons)))
    return tuple(finding for rule in RULES for finding in rule(together))


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
        bands = [band for band, verdict in enumerate(each.band_flow.verdicts) if verdict != NOT_SHOWN]
        words += _where_it_comes_from(facts, each, bands)
        evidence = [event_flow_evidence(facts, each, flow), *(band_evidence(facts, each, band) for band in bands)]
        yield Finding("change", words, tuple(evidence))


def _where_it_comes_from(facts: Facts, each: EventComparison, shown: list[int]) -> str:
    """Return which lift band has the largest part of a change of mean flow, or which have a gain and which a loss."""
    verdict, verdicts, share = each.values["mean_flow"].verdicts[0], each.band_flow.verdicts, each.band_gain_share

    def told(bands: list[int]) -> str:
        ends = [[lift_text(facts.job, float(each.edges[band + side])) for side in (0, 1)] for band in bands]
        return listed([f"{low} to {high}" for low, high in ends])

    if {verdicts[band] for band in shown} == {HIGHER, LOWER}:
        gains, losses = ([band for band in shown if verdicts[band] == word] for word in (HIGHER, LOWER))
        return f" It gains at lifts of {told(gains)} and loses at {told(losses)}."
    if not np.isfinite(share).all():
        return ""
    most = int(np.argmax(share))
    if verdicts[most] != verdict:
        return ""
    return f" The largest part of it, {100.0 * share[most]:.0f} %, comes from lifts of {told([most])}."


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
                f"{change_words(facts.job, most.values['flow'], 0, 'flow')}{rescaled_words(there, comparison)}."
            )
            yield Finding("change", words, tuple(flow_evidence(facts, comparison, each) for each in there))


def station_changes(facts: Facts) -> Iterator[Finding]:
    """Tell where round the valve the air passes faster or slower than before; air that flows back is neither."""
    for comparison in facts.comparisons:
        for verdict, word in ((HIGHER, "faster"), (LOWER, "slower")):
            hits: dict[float, list[_Hit]] = {}
            for each in comparison.lifts:
                velocity = each.stations["velocity"]
                forward = (velocity.a >= 0.0) & (velocity.b >= 0.0)
                for place, angle in enumerate(each.angles_deg.tolist()):
                    if velocity.verdicts[place] == verdict and forward[place]:
                        hits.setdefault(angle, []).append((each, place))
            if not hits:
                continue
            lift, place = max(
                (hit for some in hits.values() for hit in some),
                key=lambda hit: abs(float(hit[0].stations["velocity"].difference[hit[1]])),
            )
            words = (
                f"In run “{comparison.b.name}” the air passes {word} than in “{comparison.a.name}” "
                f"{_where_and_how_often(facts, comparison, hits)}; most at {lift.angles_deg[place]:g}° and "
                f"{lift_text(facts.job, lift.lift)}: "
                f"{change_words(facts.job, lift.stations['velocity'], place, 'velocity')}"
                f"{rescaled_words([lift], comparison)}."
            )
            order = sorted(hits, key=lambda angle: -len(hits[angle]))
            yield Finding("change", words, tuple(station_evidence(facts, comparison, hits, order)))


def _where_and_how_often(facts: Facts, comparison: Comparison, hits: Mapping[float, Sequence[_Hit]]) -> str:
    """Return the stations that changed: those that did at all lifts, and those that did at some, and at which."""
    compared = sorted({angle for each in comparison.lifts for angle in each.angles_deg.tolist()})
    count = len(comparison.lifts)
    always = sorted(angle for angle, some in hits.items() if len(some) == count)
    sometimes = sorted(set(hits) - set(always))
    if count == 1:
        return f"at {arcs(always, compared)}"
    told = [f"at {arcs(always, compared)}, at all {count} lifts"] if always else []
    if sometimes:
        there = {each.lift for angle in sometimes for each, _ in hits[angle]}
        told.append(f"at {arcs(sometimes, compared)}, at {_span(facts, comparison, min(there), max(there))}")
    return ", and ".join(told)


def _span(facts: Facts, comparison: Comparison, low: float, high: float) -> str:
    """Return what part of a comparison's lifts lies from a lift to another [m], in words."""
    first, last = comparison.lifts[0].lift, comparison.lifts[-1].lift
    ends = [lift_text(facts.job, each) for each in (low, high)]
    if low == high:
        return f"{ends[0]} only"
    if (low, high) == (first, last):
        return "some lifts only"
    return (
        f"lifts up to {ends[1]} only"
        if low == first
        else f"lifts from {ends[0]} on"
        if high == last
        else (f"lifts of {ends[0]} to {ends[1]} only")
    )


def more_but_uneven(facts: Facts) -> Iterator[Finding]:
    """Tell of more flow that is packed to one side: a gain on the bench that the cylinder may not see."""
    for comparison in facts.comparisons:
        there = [
            each
            for each in comparison.lifts
            if each.values["flow"].verdicts[0] == each.bias.magnitude.verdicts[0] == HIGHER
            and _told_in_both(comparison, each)
        ]
        if there:
            words = (
                f"At {of_lifts(facts.job, there, comparison)} run “{comparison.b.name}” flows more, but more of it "
                f"passes at one side: the bias grew too. Such a gain is real on the bench; {_who_gains(facts.job)}."
            )
            yield Finding("bias", words, tuple(bias_evidence(facts, comparison, each) for each in there))


def more_even(facts: Facts) -> Iterator[Finding]:
    """Tell that the flow passes more evenly round the valve than before."""
    for comparison in facts.comparisons:
        there = [
            each
            for each in comparison.lifts
            if each.bias.magnitude.verdicts[0] == LOWER and _told_in_both(comparison, each)
        ]
        if there:
            words = (
                f"At {of_lifts(facts.job, there, comparison)} run “{comparison.b.name}” flows more evenly round "
                f"the valve than “{comparison.a.name}”: its bias is smaller."
            )
            yield Finding("bias", words, tuple(bias_evidence(facts, comparison, each) for each in there))


def _told_in_both(comparison: Comparison, each: LiftComparison) -> bool:
    """Tell if the bias of both runs is more than what uneven stations feign."""
    sides = zip((comparison.a, comparison.b), each.groups, strict=True)
    return all(bool(side.reduction.bias_told[group]) for side, group in sides)


def _who_gains(job: Job) -> str:
    what = "the cylinder gets it" if job.side == "intake" else "the running engine is rid of more gas"
    return f"whether {what}, the bench can't say"


# Where the air passes ------------------------------------------------------------------------------------------------


def directions(facts: Facts) -> Iterator[Finding]:
    """Tell of each run where most air passes, and its weakest and strongest station, where they surely differ."""
    for run in facts.runs:
        leaning, apart = leaning_groups(facts, run), surely_apart(facts, run)
        words = " ".join([*_leaning_words(facts, run, leaning), *_extreme_words(facts, apart)])
        evidence = [leaning_evidence(facts, run, group) for group in leaning]
        evidence += [extreme_evidence(facts, run, group, *pair) for group, pair in apart]
        if evidence:
            words = f"Run “{facts.reduction.runs[run]}”: {words[:1].lower()}{words[1:]}"
            yield Finding("direction", words, tuple(evidence))


def _leaning_words(facts: Facts, run: int, leaning: list[int]) -> Iterator[str]:
    if not leaning:
        return
    reduction, highest = facts.reduction, leaning[-1]
    angle = reduction.bias_angle_deg
    near = degrees_apart(angle[[highest]], angle[leaning])[:, 0] <= _ONE_SIDE
    others = [group for group, yes in zip(leaning, near, strict=True) if not yes]
    at = np.array([highest])
    wide = float(plus_minus(facts.uncertainty.bias_magnitude.take(at), facts.uncertainty.readings.freedom[at])[0])
    words = (
        f"more air passes at one side, {_side(facts, highest)}, at "
        f"{count_of(int(near.sum()), len(facts.open_groups(run)), 'lift')}; the bias is "
        f"{with_uncertainty(float(reduction.bias_magnitude[highest]), wide)} at "
        f"{lift_text(facts.job, float(reduction.lift[highest]))} (0 even, 1 all at one station)."
    )
    if others:
        turned = others[-1]
        words += (
            f" The side turns with the lift: at {lift_text(facts.job, float(reduction.lift[turned]))} it is "
            f"{_side(facts, turned)}."
        )
    yield words


def _side(facts: Facts, group: int) -> str:
    return direction_words(float(facts.reduction.bias_angle_deg[group]), 1.0, facing=facing_words(facts.job, 30))


def _extreme_words(facts: Facts, apart: list[tuple[int, tuple[int, int]]]) -> Iterator[str]:
    if not apart:
        return
    group, pair = apart[-1]
    ends = [sorted({station_angle(facts, places[side]) for _, places in apart}) for side in (0, 1)]
    few = all(len(angles) <= _FEW for angles in ends) and not set(ends[0]) & set(ends[1])
    weak, strong = (
        " or ".join(f"{angle:g}°" for angle in (angles if few else [station_angle(facts, pair[side])]))
        for side, angles in enumerate(ends)
    )
    by_lift = ", by lift" if few and max(map(len, ends)) > 1 else ""
    lift = lift_text(facts.job, float(facts.reduction.lift[group]))
    at = f"{lift} {{}} against {{}}".format(*(velocity_known(facts, place) for place in pair))
    yield f"The air is slowest at {weak} and fastest at {strong}{by_lift}: at {at}."


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
    first, last = (_passage(profiles, lift) for lift in (min(takes_over + 1e-5, highest), highest))
    later = "" if last == first else f", and at {lift_text(job, highest)} that from {last}"
    words = (
        f"Up to a lift of {lift_text(job, takes_over)} the gap between seat and valve is the narrowest passage; above "
        f"it the passage from {first} is narrower{later}."
    )
    measured = sorted({float(facts.reduction.lift[group]) for run in facts.runs for group in facts.open_groups(run)})
    below, above = ([lift for lift in measured if (lift <= takes_over) == under] for under in (True, False))
    lifts = [*below[-1:], *above[:1], *above[1:][-1:]]
    yield Finding("limit", words, tuple(area_evidence(facts, lift) for lift in lifts))


def _passage(profiles: Profiles, lift: float) -> str:
    """Return the parts that the least passage other than the gap runs between at a lift [m]."""
    lifts = np.array([lift])
    line = least_passages(profiles, lifts, lines=True).throat_line
    assert line is not None
    return "{} to {}".format(*passage_ends(profiles, line[0], lifts)[0])


def last_lift(facts: Facts) -> Iterator[Finding]:
    """Tell of a last step of lift in which flow surely levels off, or falls."""
    for run in facts.runs:
        found = last_step(facts, run)
        if found is None:
            continue
        name, unit = facts.reduction.runs[run], facts.job.units.flow
        flow = in_unit(1.0, unit, "flow")
        lifts = [lift_text(facts.job, float(facts.reduction.lift[group])) for group in found.groups]
        told = f"{with_uncertainty(found.gain * flow, float(expanded(found.u, np.inf)) * flow)} {unit}"
        words = (
            f"In run “{name}” flow {'falls' if found.falls else 'levels off'} in the last step of lift, from "
            f"{lifts[0]} to {lifts[1]}: {told}, where the step before would have brought {found.before * flow:.3g} "
            f"{unit} over as much lift. The numbers do not say why."
        )
        evidence = Evidence(
            f"{lifts[0]} to {lifts[1]}, at one test pressure: {told}",
            run=name,
            lift=float(facts.reduction.lift[found.groups[1]]),
            quantity="flow_m3_s",
            difference=found.gain,
            u=found.u,
            verdict=LOWER if found.falls else NOT_SHOWN,
        )
        yield Finding("limit", words, (evidence,))


Rule = Callable[[Facts], Iterator[Finding]]
#: The rules, in the order in which their findings are told: doubt in the readings goes before what they say.
RULES: tuple[Rule, ...] = (
    distrusted,
    closure_above_one,
    closure_changed,
    event_change,
    flow_change,
    more_but_uneven,
    more_even,
    station_changes,
    directions,
    limiting_passage,
    last_lift,
    flow_not_shown,
    flow_unknown,
    stations_not_shown,
    nothing_known,
)
