"""What of a cam's lifts is worth a second look: one sentence each, with lines, the worst places first."""

from __future__ import annotations

import numpy as np

from portviz.distribution.cam_event import CamEvent, cam_event, open_stretches, point_place, small_lift
from portviz.distribution.sentences import warning as _warning
from portviz.distribution.sentences import worst_first as _worst
from portviz.errors import JobError
from portviz.job.model import Array, Cam, Engine, Job, Mask
from portviz.job.words import lift_text

#: A flank that turns back by more than this [m], or this part of the peak [-], is worth a word.
_UNEVEN = 2e-5
_UNEVEN_PART = 0.005
#: Durations [deg of crank] and peak lifts over head diameter [-] outside these ranges (common practice, no source).
_USUAL_DURATION = (170.0, 380.0)
_USUAL_PEAK = (0.03, 0.6)
#: Fewer points than this in an event leave long straight pieces.
_FEW_POINTS = 12
#: A gauge may rest at this part of the peak with the valve closed [-].
_REST_PART = 0.02
#: So many points near the least lift are a valve at rest.
_RESTING = 4
#: Steps so many times the usual one, and wider than this [deg], leave rows out.
_WIDE_STEP, _LEAST_GAP = 3.5, 8.0
#: A point so many times further off its neighbours' line than is usual, and by this part of the peak [-], is a slip.
_OUT_OF_LINE, _OUT_OF_LINE_PART = 10.0, 0.02
#: Rods shorter than this many strokes are worth a word (common practice, no source).
_SHORTEST_ROD = 1.2
#: Angles between the dead centre and the peak of a valve's lift [deg] (common practice, no source).
_USUAL_CENTRE = (70.0, 150.0)


def cam_warnings(job: Job) -> list[str]:
    """Return warnings on how a job's valve moves, and on figures of its cylinder that look like a slip."""
    return [*_motion_warnings(job), *_engine_warnings(job)]


def _motion_warnings(job: Job) -> list[str]:
    cam = job.cam
    if cam is None:
        return []
    try:
        event = cam_event(job)
    except JobError as error:
        # What needs no event is told all the same; `check` and what needs one stop here.
        return [f"the cam makes no event: {error}"]
    at_rest = _zero_warnings(job, cam)
    return [
        *at_rest,
        *([] if at_rest else _end_warnings(job, cam, event)),
        *_gap_warnings(cam, event),
        *_bump_warnings(job, cam),
        *_flank_warnings(job, cam, event),
        *_size_warnings(job, event),
        *_curve_warnings(cam, event),
    ]


def _end_warnings(job: Job, cam: Cam, event: CamEvent) -> list[str]:
    """Return warnings on an event that the table does not follow to where the valve is closed."""
    found = []
    for end, where, taken in ((0, "begins", "opening"), (-1, "ends", "closing")):
        if event.lift[end] > 0.0:
            found.append(
                f"{cam.file} {where} with the valve open, by {lift_text(job, float(event.lift[end]))} at "
                f"{point_place(cam, end)}; that is taken for its {taken}: add the rows up to a lift of 0"
            )
    return found


def _zero_warnings(job: Job, cam: Cam) -> list[str]:
    """Return warnings on a gauge that does not read zero with the valve closed."""
    found = []
    if cam.below_zero < 0.0:
        found.append(
            f"{cam.file} has lifts down to {lift_text(job, cam.below_zero)}; beside a closed valve they count as 0"
        )
    rest, peak = float(cam.lift.min()), float(cam.lift.max())
    if 0.0 < rest <= _REST_PART * peak and np.count_nonzero(cam.lift <= 1.5 * rest) >= _RESTING:
        found.append(
            f"no lift in {cam.file} is 0, the least is {lift_text(job, rest)}: if that is where the gauge rests "
            f'with the valve closed, subtract it from all rows, or write lash = "{lift_text(job, rest)}" in [cam]'
        )
    return found


def _gap_warnings(cam: Cam, event: CamEvent) -> list[str]:
    """Return a warning on steps far wider than the others, where rows may be missing."""
    if event.assumed:
        return []
    step = np.diff(event.crank_deg)
    first = int(np.searchsorted(cam.crank_deg, event.opening_deg))
    wide = (step > _WIDE_STEP * np.median(step)) & (step > _LEAST_GAP)
    return _warning(
        f"{cam.file} leaps, where other steps are {np.median(step):.3g} deg; the lift is taken to be straight there, "
        "and a peak may be lost",
        _worst(wide, step),
        lambda place: (
            f"from {event.crank_deg[place]:.4g} to {event.crank_deg[place + 1]:.4g} deg, "
            f"{point_place(cam, first + place)} to {point_place(cam, first + place + 1)}"
        ),
    )


def _bump_warnings(job: Job, cam: Cam) -> list[str]:
    """Return a warning on small lifts outside the event."""
    peaks = [(first, float(cam.lift[first : last + 1].max())) for first, last in open_stretches(cam)]
    bumps = sorted((bump for bump in peaks if bump[1] <= small_lift(cam)), key=lambda bump: -bump[1])
    return _warning(
        f"{cam.file} has small lifts outside the event, which are left out of it",
        range(len(bumps)),
        lambda place: f"{point_place(cam, bumps[place][0])} ({lift_text(job, bumps[place][1])})",
    )


def _flank_warnings(job: Job, cam: Cam, event: CamEvent) -> list[str]:
    """Return a warning on points at which the lift turns back on its way up or down."""
    first = int(np.searchsorted(cam.crank_deg, event.opening_deg))
    alone, plain = _standing_out(event), _neighbours_line(event)
    found = _warning(
        f"{cam.file}: a lift stands out from its neighbours; read this point again",
        _worst(alone, np.abs(event.lift - plain)),
        lambda point: (
            f"{point_place(cam, first + point)} ({lift_text(job, float(event.lift[point]))}, where its neighbours "
            f"let expect {lift_text(job, float(plain[point]))})"
        ),
    )
    # One reading too high would make its neighbours look too low.
    back = _turned_back(np.where(alone, plain, event.lift))
    found += _warning(
        f"{cam.file}: the lift turns back on its way up or down; read these points and their neighbours again",
        _worst(back > max(_UNEVEN, _UNEVEN_PART * event.peak_lift), back),
        lambda point: f"{point_place(cam, first + point)} ({lift_text(job, float(back[point]))} too low)",
    )
    return found


def _neighbours_line(event: CamEvent) -> Array:
    """Return the lift of each point on the line through its neighbours [m], shape (N,); its own at the ends."""
    crank, lift = event.crank_deg, event.lift
    plain = lift.copy()
    part = (crank[1:-1] - crank[:-2]) / (crank[2:] - crank[:-2])
    plain[1:-1] = lift[:-2] + part * (lift[2:] - lift[:-2])
    return plain


def _standing_out(event: CamEvent) -> Mask:
    """Tell which single points lie far off the line through their neighbours, against what is usual in this event."""
    off = event.lift - _neighbours_line(event)
    # Beside a leap of the table the line through the neighbours says nothing.
    step = np.diff(event.crank_deg)
    wide = step > _WIDE_STEP * np.median(step)
    off[:-1][wide] = off[1:][wide] = 0.0
    usual = float(np.median(np.abs(off[1:-1]))) if len(off) > 4 else np.inf
    far = np.abs(off) > max(_OUT_OF_LINE * usual, _UNEVEN, _OUT_OF_LINE_PART * event.peak_lift)
    # A slip pulls its neighbours' lines half as far the other way.
    beside = np.maximum(np.append(np.abs(off[1:]), 0.0), np.append(0.0, np.abs(off[:-1])))
    return np.asarray(far & (np.abs(off) > beside))


def _turned_back(lift: Array) -> Array:
    """Return by how much each point lies below the highest between it and the end of its flank [m], shape (K,)."""
    peak = int(np.argmax(lift))
    highest = np.concatenate([np.maximum.accumulate(lift[: peak + 1]), np.maximum.accumulate(lift[:peak:-1])[::-1]])
    return np.asarray(highest - lift)


def _size_warnings(job: Job, event: CamEvent) -> list[str]:
    found = []
    duration = event.duration_deg
    if duration < _USUAL_DURATION[0]:
        mend = "write crank degrees in [cam]: double them" if event.assumed else "then head the column camshaft [deg]"
        found.append(f"the event lasts only {duration:.4g} deg of crank; are these camshaft degrees? {mend}")
    elif duration > _USUAL_DURATION[1]:
        found.append(
            f"the event lasts {duration:.4g} deg of crank, more than cams have; check the angles, and whether lash or "
            "a ramp is still in the lifts: cam.lash takes it off"
        )
    part = event.peak_lift / job.valve.head_diameter
    if not _USUAL_PEAK[0] <= part <= _USUAL_PEAK[1]:
        found.append(
            f"the cam's peak lift, {lift_text(job, event.peak_lift)}, is {part:.3g} of the head's diameter "
            f"({_USUAL_PEAK[0]:g} to {_USUAL_PEAK[1]:g} is common practice, no source); check the lifts' unit, and "
            "whether they are the valve's or the tappet's"
        )
    return found


def _curve_warnings(cam: Cam, event: CamEvent) -> list[str]:
    if len(event.lift) < _FEW_POINTS and not event.assumed:
        return [
            f"{cam.file} has only {len(event.lift)} points in the event, with straight lines between them; "
            "one every few degrees tells more"
        ]
    return []


def _engine_warnings(job: Job) -> list[str]:
    engine = job.engine
    if engine is None:
        return []
    return [*_rod_warnings(job, engine), *_dead_centre_warnings(job, engine)]


def _dead_centre_warnings(job: Job, engine: Engine) -> list[str]:
    """Return a warning where the valve's peak does not lie where the piston's way lets one expect."""
    if job.cam is None or engine.stroke is None or not job.cam.lift.max() > 0.0 or engine.dead_centre_deg is None:
        return []
    peak = float(job.cam.crank_deg[int(np.argmax(job.cam.lift))]) - engine.dead_centre_deg
    after = (peak if job.side == "intake" else -peak) % 360.0
    if _USUAL_CENTRE[0] <= after <= _USUAL_CENTRE[1]:
        return []
    way = "after" if job.side == "intake" else "before"
    return [
        f"the valve's peak stands {after:.0f} deg {way} engine.dead_centre ({engine.dead_centre_deg:g} deg), where "
        f"{_USUAL_CENTRE[0]:g} to {_USUAL_CENTRE[1]:g} deg are usual on the {job.side} side (common practice, no "
        "source); what the piston asks for hangs on it: check engine.dead_centre, on the cam's own scale, and that "
        "this is not the other valve's lift"
    ]


def _rod_warnings(job: Job, engine: Engine) -> list[str]:
    if engine.rod_length is None or engine.stroke is None:
        return []
    if engine.rod_length >= _SHORTEST_ROD * engine.stroke:
        return []
    rod, stroke = (lift_text(job, length) for length in (engine.rod_length, engine.stroke))
    return [
        f"engine.rod_length, {rod}, is short for a stroke of {stroke}; most are 1.4 to 2.3 strokes long "
        "(common practice, no source): check both"
    ]
