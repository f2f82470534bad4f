"""What a reader of the lift event must be warned of."""

from __future__ import annotations

import numpy as np

from portviz.distribution.event import RunEvent
from portviz.distribution.event_comparison import LiftEvent
from portviz.job.words import lift_text, station_name

#: More of the event's flow than this outside the measured lifts is worth a word [-].
_OUTSIDE = 0.005
_BELOW = 0.1
_NAMED = 6


def event_warnings(events: LiftEvent, runs: list[int]) -> list[str]:
    """Return warnings on the runs asked for: what was not measured of the event, and what stands for it."""
    return [words for run in runs for words in _run_warnings(events, events.runs[run])]


def _run_warnings(events: LiftEvent, found: RunEvent) -> list[str]:
    job, name = events.reduction.job, repr(events.reduction.runs[found.run])
    if not len(found.knots):
        return [f"run {name} has no bench flow: of the event only the time at each lift is known"]
    warnings = []
    if found.beyond_share > _OUTSIDE:
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
