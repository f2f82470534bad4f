"""What a view says while the valve moves: only what is steady, and the numbers of the moment."""

from __future__ import annotations

import numpy as np

from portviz.distribution.cam_event import CamEvent
from portviz.distribution.event import RunEvent
from portviz.errors import counted
from portviz.job.model import Job
from portviz.job.words import flow_text, lift_text
from portviz.scene.state import FAR_FROM_READING_DEG, ViewState
from portviz.scene.words import fitted, packed, view_words
from portviz.units import in_unit

#: As wide as a digit, so that words do not move as numbers grow.
_DIGIT_SPACE = "\u2007"


def slowness_text(seconds: float, event: CamEvent, speed: float | None) -> str | None:
    """Return how much slower than the engine an event is shown; None where the engine's speed is not known.

    Parameters
    ----------
    seconds : float
        What the event takes in the picture [s].
    event : CamEvent
    speed : float or None
        Of the crankshaft [rad/s].

    Examples
    --------
    >>> event = CamEvent(np.array([0.0, 130.0, 260.0]), np.array([0.0, 0.01, 0.0]), assumed=False)
    >>> slowness_text(2.8, event, 6500.0 * np.pi / 30.0)
    '420 times slower than at 6500 rpm'
    """
    if speed is None:
        return None
    times = float(f"{seconds * speed / np.radians(event.duration_deg):.2g}")
    return f"{times:g} times slower than at {speed * 30.0 / np.pi:.4g} rpm" if times < 1e5 else None


def flow_words(job: Job, run: RunEvent) -> str:
    """Return the mean flow of a run over the event; whether two differ is for a comparison with its uncertainties."""
    flow = run.mean_flow
    if not np.isfinite(flow):
        return "mean flow over the event: not known (no flow of the bench)"
    words = f"mean flow over the event {flow_text(job, flow)}"
    if run.held:
        words += f" (as at {lift_text(job, float(run.knots[-1]))} above it: a guess)"
    return words


def headline(
    state: ViewState, crank_deg: float, event: CamEvent, slowness: str | None, flow: str | None, letters: int
) -> str:
    """Return title, run, its flow, crank angle and lift, on lines of at most so many letters."""
    job = state.reduction.job
    return "\n".join(
        [
            *fitted(job.title, letters, 2),
            *fitted(f"run: {state.reduction.runs[state.run]}", letters),
            *(fitted(flow, letters, 2) if flow else []),
            packed([_crank_text(crank_deg, event), f"lift {_lift_text(state, event)}"], letters),
            *(fitted(slowness, letters, 2) if slowness else []),
        ]
    )


def _crank_text(crank_deg: float, event: CamEvent) -> str:
    ends = (event.opening_deg, event.closing_deg)
    return f"crank {_padded(f'{crank_deg:.0f}', *(f'{end:.0f}' for end in ends))}°"


def _lift_text(state: ViewState, event: CamEvent) -> str:
    job = state.reduction.job
    return _padded(lift_text(job, state.lift), lift_text(job, event.peak_lift))


def _padded(text: str, *widest: str) -> str:
    return text.rjust(max(map(len, widest)), _DIGIT_SPACE)


def legend(state: ViewState, letters: int) -> str:
    """Return what the line and the arrow of the model stand for."""
    return "\n".join([*fitted("red line: narrowest passage", letters), *view_words(state, letters)])


def not_known(state: ViewState, event: CamEvent) -> str | None:
    """Return where along the event nothing is known of the field, which is drawn grey; None where all is."""
    job, lifts = state.reduction.job, state.reduction.lift[state.known]
    if not lifts.size:
        return "grey: the bench's flow was not measured in this run"
    where = [f"below {lift_text(job, float(lifts[0]))}"] if lifts[0] > 0.0 else []
    if event.peak_lift > lifts[-1]:
        where.append(f"above {lift_text(job, float(lifts[-1]))}")
    return f"grey: not measured {' and '.join(where)}" if where else None


def footnote(state: ViewState, event: CamEvent, top_speed: float, letters: int, *, hatched: bool, film: bool) -> str:
    """Return what is measured, what the picture assumes, and what the scales hold for.

    A film says all; a window, which has less room, leaves out what it says of a lift for itself. See `words.footnote`.
    """
    unit = state.reduction.job.units.velocity
    speed = in_unit(top_speed, unit, "velocity")
    lifts = counted(len(state.known), "measured lift")
    grey = not_known(state, event)
    parts = [
        "the bench's steady flow at each lift, not the engine's",
        *([grey] if grey else []),
        *([f"colours, pale arrows: interpolated between {lifts} (ticks)"] if len(state.known) else []),
        *([f"hatched: more than {FAR_FROM_READING_DEG:g}° from a reading"] if hatched else []),
        *(["arrows: length the velocity, direction square to the gap (not measured)"] if film else []),
        f"one scale of colours and of arrows for all runs and lifts (longest arrow of all: {speed:.0f} {unit})",
    ]
    return packed(parts, letters)
