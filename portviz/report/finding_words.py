"""The words and the numbers of findings: lifts, stations and differences as a customer reads them, and the evidence."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from portviz.distribution.areas import areas_at
from portviz.distribution.comparison import Comparison, LiftComparison
from portviz.distribution.differences import Difference
from portviz.distribution.event_comparison import EventComparison, LiftEvent
from portviz.distribution.propagation import plus_minus
from portviz.distribution.reduce import Reduction
from portviz.distribution.uncertainty import Uncertainty
from portviz.distribution.verdicts import expanded
from portviz.job.digits import decimals_of, with_uncertainty
from portviz.job.model import Job
from portviz.job.words import lift_text
from portviz.report.content import Evidence
from portviz.units import area_unit, in_unit

#: Lifts and stations named in one sentence; of more the first and the last, or the first ones, and how many.
NAMED = 5


@dataclass(frozen=True)
class Facts:
    """What the rules look at.

    Parameters
    ----------
    reduction : Reduction
    uncertainty : Uncertainty
    runs : tuple of int
        Places of the runs told of among the reduction's; the first is the one before.
    comparisons : tuple of Comparison
        Of the other runs against the first.
    events : LiftEvent or None
    event_comparisons : tuple of EventComparison
        Of the same pairs.
    """

    reduction: Reduction
    uncertainty: Uncertainty
    runs: tuple[int, ...]
    comparisons: tuple[Comparison, ...] = ()
    events: LiftEvent | None = None
    event_comparisons: tuple[EventComparison, ...] = ()

    @property
    def job(self) -> Job:
        """The job."""
        return self.reduction.job

    def open_groups(self, run: int) -> list[int]:
        """Return the groups of a run with the valve open, ascending in lift."""
        return [group for group in self.reduction.groups_of(run) if self.reduction.lift[group] > 0.0]


def listed(words: Sequence[str]) -> str:
    """Return words in a row, the last two joined by and."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def arcs(some: Sequence[float], all_of: Sequence[float]) -> str:
    """Return stations in words: those beside one another, round the circle, as from the first to the last.

    Examples
    --------
    >>> arcs([0.0, 30.0, 90.0, 330.0], [0.0, 30.0, 60.0, 90.0, 120.0, 330.0])
    '90° and 330° to 30°'
    """
    if len(some) == len(all_of):
        return "all stations"
    runs: list[list[int]] = []
    for place in (all_of.index(angle) for angle in some):
        if runs and runs[-1][-1] == place - 1:
            runs[-1].append(place)
        else:
            runs.append([place])
    if len(runs) > 1 and runs[0][0] == 0 and runs[-1][-1] == len(all_of) - 1:
        runs[-1] += runs.pop(0)
    words = []
    for run in runs:
        ends = [f"{all_of[place]:g}°" for place in (run[0], run[-1])]
        words.append(f"{ends[0]} to {ends[1]}" if len(run) > 2 else listed([f"{all_of[place]:g}°" for place in run]))
    return listed(words)


def count_of(some: int, all_of: int, noun: str) -> str:
    """Return how many of all, in words."""
    if some == all_of:
        return f"the one {noun} measured" if all_of == 1 else f"all {all_of} {noun}s"
    return f"{some} of {all_of} {noun}s"


def of_lifts(job: Job, there: Sequence[LiftComparison], comparison: Comparison) -> str:
    """Return lifts of a comparison in words: all of them, each by name, or how many."""
    count = count_of(len(there), len(comparison.lifts), "lift")
    if len(there) == len(comparison.lifts) > 1:
        return f"{count} ({lift_text(job, there[0].lift)} to {lift_text(job, there[-1].lift)})"
    if len(there) <= NAMED:
        return listed([lift_text(job, each.lift) for each in there])
    return f"{count} ({lift_text(job, there[0].lift)} … {lift_text(job, there[-1].lift)})"


def _unit(job: Job, kind: str) -> tuple[str, float]:
    unit = {"flow": job.units.flow, "velocity": job.units.velocity}[kind]
    return unit, in_unit(1.0, unit, kind)


def change_words(job: Job, difference: Difference, place: int, kind: str) -> str:
    """Return a difference with its plus-minus at 95 %, its unit, and its part of the first value."""
    unit, scale = _unit(job, kind)
    off, u = (float(values[place]) * scale for values in (difference.difference, difference.u))
    wide = float(expanded(u, difference.freedom[place]))
    decimals = decimals_of(wide)
    about = f" ± {wide:.{decimals}f}" if np.isfinite(wide) else ""
    first = float(difference.a[place]) * scale
    part = f" ({100.0 * off / first:+.1f} %)" if first > 0.0 else ""
    return f"{off:+.{decimals}f}{about} {unit}{part}"


def from_to(job: Job, difference: Difference, place: int, kind: str) -> str:
    """Return both values, what lies between them with its plus-minus, and the unit."""
    unit, scale = _unit(job, kind)
    decimals = decimals_of(float(expanded(difference.u[place] * scale, difference.freedom[place])))
    before, after = (f"{float(values[place]) * scale:.{decimals}f}" for values in (difference.a, difference.b))
    return f"{before} to {after} {unit}, {change_words(job, difference, place, kind)}"


def rescaled_words(there: Sequence[LiftComparison], comparison: Comparison) -> str:
    """Return what the second run's numbers stand for, where test pressure or air of the two differ."""
    if not any(each.rescaled for each in there):
        return ""
    return f" (“{comparison.b.name}” as at the test pressure and in the air of “{comparison.a.name}”)"


def compared_numbers(
    comparison: Comparison, each: LiftComparison, difference: Difference, place: int, quantity: str
) -> dict[str, Any]:
    """Return the numbers of an evidence on a difference at a lift."""
    return {
        "run": comparison.b.name,
        "against": comparison.a.name,
        "lift": each.lift,
        "quantity": quantity,
        "value": float(difference.b[place]),
        "difference": float(difference.difference[place]),
        "u": float(difference.u[place]),
        "verdict": difference.verdicts[place],
    }


def flow_evidence(facts: Facts, comparison: Comparison, each: LiftComparison, remark: str = "") -> Evidence:
    """Return the evidence of the flow of two runs at a lift, with a remark on it."""
    return Evidence(
        f"{lift_text(facts.job, each.lift)}: {from_to(facts.job, each.values['flow'], 0, 'flow')}{remark}",
        **compared_numbers(comparison, each, each.values["flow"], 0, "flow_m3_s"),
    )


def event_flow_evidence(facts: Facts, each: EventComparison, flow: Difference) -> Evidence:
    """Return the evidence of mean flow over the event."""
    names = facts.reduction.runs
    return Evidence(
        f"mean flow over the event: {from_to(facts.job, flow, 0, 'flow')}",
        run=names[each.b],
        against=names[each.a],
        quantity="mean_flow_m3_s",
        value=float(flow.b[0]),
        difference=float(flow.difference[0]),
        u=float(flow.u[0]),
        verdict=flow.verdicts[0],
    )


def band_evidence(facts: Facts, each: EventComparison, band: int) -> Evidence:
    """Return the evidence of one lift band's part of it."""
    ends = [lift_text(facts.job, float(each.edges[band + side])) for side in (0, 1)]
    names, gain = facts.reduction.runs, each.band_flow
    return Evidence(
        f"lifts of {ends[0]} to {ends[1]}: {change_words(facts.job, gain, band, 'flow')}",
        run=names[each.b],
        against=names[each.a],
        lift=float(each.edges[band + 1]),
        quantity="flow_m3_s",
        value=float(gain.b[band]),
        difference=float(gain.difference[band]),
        u=float(gain.u[band]),
        verdict=gain.verdicts[band],
    )


def station_evidence(
    facts: Facts, comparison: Comparison, hits: dict[float, list[tuple[LiftComparison, int]]], order: list[float]
) -> Iterator[Evidence]:
    """Return one evidence a station: its largest shown change, and at how many lifts one is shown."""
    for angle in order:
        lift, place = max(hits[angle], key=lambda hit: abs(float(hit[0].stations["velocity"].difference[hit[1]])))
        velocity = lift.stations["velocity"]
        count = count_of(len(hits[angle]), len(comparison.lifts), "lift")
        yield Evidence(
            f"{angle:g}°, shown at {count}; most at {lift_text(facts.job, lift.lift)}: "
            f"{from_to(facts.job, velocity, place, 'velocity')}",
            stations_deg=(angle,),
            **compared_numbers(comparison, lift, velocity, place, "velocity_m_s"),
        )


def bias_evidence(facts: Facts, comparison: Comparison, each: LiftComparison) -> Evidence:
    """Return the evidence of a bias that changed, with what the flow did."""
    bias = each.bias.magnitude
    wide = float(expanded(bias.u[0], bias.freedom[0]))
    decimals = decimals_of(wide)
    flow = each.values["flow"]
    with_flow = "" if np.isnan(flow.difference[0]) else f"; flow {change_words(facts.job, flow, 0, 'flow')}"
    return Evidence(
        f"{lift_text(facts.job, each.lift)}: bias {bias.a[0]:.3f} to {bias.b[0]:.3f}, "
        f"{bias.difference[0]:+.{decimals}f} ± {wide:.{decimals}f}{with_flow}",
        **compared_numbers(comparison, each, bias, 0, "bias_magnitude"),
    )


def leaning_evidence(facts: Facts, run: int, group: int) -> Evidence:
    """Return the evidence of a group's bias."""
    reduction, known = facts.reduction, facts.uncertainty
    at = np.array([group])
    wide = float(plus_minus(known.bias_magnitude.take(at), known.readings.freedom[at])[0])
    angle = round(float(reduction.bias_angle_deg[group])) % 360
    return Evidence(
        f"{lift_text(facts.job, float(reduction.lift[group]))}: bias "
        f"{with_uncertainty(float(reduction.bias_magnitude[group]), wide)} toward {angle}°",
        run=reduction.runs[run],
        lift=float(reduction.lift[group]),
        quantity="bias_magnitude",
        value=float(reduction.bias_magnitude[group]),
        u=float(known.bias_magnitude.standard[group]),
    )


def station_angle(facts: Facts, place: int) -> float:
    """Return the angle of a station as typed [deg], by its place among the results."""
    return float(facts.job.stations.angles_deg[facts.reduction.stations.station[place]])


def velocity_known(facts: Facts, place: int) -> str:
    """Return a station's velocity with its plus-minus and unit, by its place among the results."""
    unit, scale = _unit(facts.job, "velocity")
    at = np.array([place])
    freedom = facts.uncertainty.readings.freedom[facts.reduction.station_group[at]]
    wide = float(plus_minus(facts.uncertainty.velocity.take(at), freedom)[0])
    return f"{with_uncertainty(float(facts.reduction.stations.velocity[place]) * scale, wide * scale)} {unit}"


def extreme_evidence(facts: Facts, run: int, group: int, weak: int, strong: int) -> Evidence:
    """Return the evidence of a group's weakest and strongest station."""
    return Evidence(
        f"{lift_text(facts.job, float(facts.reduction.lift[group]))}: {station_angle(facts, weak):g}° "
        f"{velocity_known(facts, weak)}, {station_angle(facts, strong):g}° {velocity_known(facts, strong)}",
        run=facts.reduction.runs[run],
        lift=float(facts.reduction.lift[group]),
        stations_deg=(station_angle(facts, weak), station_angle(facts, strong)),
        quantity="velocity_m_s",
        value=float(facts.reduction.stations.velocity[weak]),
        u=float(facts.uncertainty.velocity.standard[weak]),
    )


def area_evidence(facts: Facts, lift: float) -> Evidence:
    """Return the evidence of what limits at a lift [m]."""
    areas = areas_at(facts.job, facts.reduction.profiles, np.array([lift]))
    unit, scale = area_unit(facts.job.units.length)
    decimals = 1 if unit == "mm²" else 4
    gap, throat = (float(area[0]) * scale for area in (areas.gap_area, areas.throat_area))
    other = f"the least other passage {throat:.{decimals}f} {unit}"
    if abs(throat - gap) <= 1e-6 * gap:
        # They share a corner, and are one.
        other = "no other passage is narrower"
    return Evidence(
        f"{lift_text(facts.job, lift)}: gap {gap:.{decimals}f} {unit}, {other}",
        lift=lift,
        quantity="flow_area_m2",
        value=float(areas.flow_area[0]),
    )
