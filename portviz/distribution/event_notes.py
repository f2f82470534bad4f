"""What a reader of the lift event must be warned of."""

from __future__ import annotations

import numpy as np

from portviz.distribution.event import HELD_SHARE, RunEvent
from portviz.distribution.event_comparison import EventComparison, LiftEvent
from portviz.job.model import SAME_LIFT, Job
from portviz.job.words import lift_text, station_name

#: More of the event's flow than this below the lowest measured lift is worth a word [-].
_BELOW = 0.1
#: Shares that sum to one less exactly than this change too much from lift to lift [-].
_UNEVEN_SUM = 1e-3
_NAMED = 6


def event_warnings(events: LiftEvent, runs: list[int]) -> list[str]:
    """Return warnings on the runs asked for: what was not measured of the event, and what stands for it."""
    return [words for run in runs for words in _run_warnings(events, events.runs[run])]


def _run_warnings(events: LiftEvent, found: RunEvent) -> list[str]:
    job, name = events.reduction.job, repr(events.reduction.runs[found.run])
    if not len(found.knots):
        return [f"run {name} has no bench flow: of the event only the time at each lift is known"]
    warnings = []
    if found.beyond_share > HELD_SHARE:
        warnings.append(
            f"run {name}: {100.0 * found.beyond_share:.1f} % of the event's flow lies above the highest lift measured, "
            f"{lift_text(job, float(found.knots[-1]))} (the valve opens to {lift_text(job, events.event.peak_lift)}); "
            "effective area and pattern are held there, which is a guess: measure up to the peak"
        )
    if found.below_share > _BELOW:
        warnings.append(
            f"run {name}: {100.0 * found.below_share:.0f} % of the event's flow lies below the lowest lift measured, "
            f"{lift_text(job, float(found.knots[0]))}; measure at lower lifts too"
        )
    if len(found.knots) == 1:
        warnings.append(
            f"run {name} was measured at one lift only: the effective area is straight from there to zero, which says "
            "little of the event"
        )
    off = abs(float(found.flow_share.sum()) - 1.0)
    if off > _UNEVEN_SUM:
        warnings.append(
            f"run {name}: the stations' shares of the event sum to {100.0 * found.flow_share.sum():.1f} %, as the "
            "pattern changes much from lift to lift; measure at more lifts"
        )
    bare = ~found.ring.read
    if bare.any():
        places = [
            f"{station_name(job, int(found.ring.station[station]))} at {lift_text(job, float(found.ring.lift[row]))}"
            for row, station in np.argwhere(bare)
        ]
        more = f" and {len(places) - _NAMED} more" if len(places) > _NAMED else ""
        warnings.append(
            f"run {name}: not read, and taken from the field between the stations beside: "
            f"{', '.join(places[:_NAMED])}{more}"
        )
    return warnings


def comparison_warnings(events: LiftEvent, each: EventComparison) -> list[str]:
    """Return what a reader of a comparison over the event must be warned of."""
    names = events.reduction.runs
    pair = f"{names[each.b]!r} against {names[each.a]!r}"
    found = []
    if events.runs[each.a].held or events.runs[each.b].held:
        found.append(
            f"{pair}: no verdict over the whole event, as a part of it lies above the highest lift of one of them; "
            "measure both up to the cam's peak"
        )
    if each.flow_share is None:
        found.append(f"{pair}: read at other stations; shares, bias and turning are not compared")
    elif each.incomplete.any():
        listed = ", ".join(f"{angle:g}°" for angle in each.angles_deg[each.incomplete][:_NAMED])
        found.append(f"{pair}: no verdict at {listed}, nor on bias and turning: not read there at every lift")
    return found


def reach_warnings(job: Job) -> list[str]:
    """Return a warning where the valve opens further than the flow was measured, without working out the event."""
    if job.cam is None or job.readings is None:
        return []
    peak = float(job.cam.lift.max())
    known = np.isfinite(job.flow.flow) if job.flow is not None else np.ones(len(job.readings.group_lift), dtype=bool)
    short = []
    for run, name in enumerate(job.readings.runs):
        lifts = job.readings.group_lift[(job.readings.group_run == run) & known]
        if lifts.size and lifts.max() < peak - SAME_LIFT:
            short.append(f"{name!r} to {lift_text(job, float(lifts.max()))}")
    if not short:
        return []
    more = f" and {len(short) - _NAMED} more" if len(short) > _NAMED else ""
    return [
        f"the valve opens to {lift_text(job, peak)}, further than was measured: {', '.join(short[:_NAMED])}{more}; "
        "over the event the rest is held, which is a guess"
    ]
