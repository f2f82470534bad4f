"""The event against crank angle: lift, effective area, flow at the bench's pressure, and what the piston asks for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portviz.distribution.crank_train import (
    mach_index,
    mean_piston_speed,
    piston_position,
    piston_speed,
    sound_speed,
    volume_rate,
)
from portviz.distribution.event import RunEvent
from portviz.distribution.event_comparison import LiftEvent
from portviz.job.model import Array, Engine, Job

#: Below this part of the greatest effective area the speed that the piston asks for says nothing [-].
_OPEN = 0.02


@dataclass(frozen=True)
class Course:
    """The event at N crank angles, for R runs.

    Parameters
    ----------
    crank_deg, lift : ndarray, shape (N,)
        [deg], [m].
    effective_area, flow : ndarray, shape (R, N)
        [m2], [m3/s] at the job's test pressure.
    piston_position, piston_speed, volume_rate : ndarray, shape (N,), or None
        Distance from top dead centre [m], speed away from it [m/s] and growth of the cylinder [m3/s]; None where the
        engine does not tell.
    demand_mach : ndarray, shape (R, N), or None
        Mach number that the piston asks for in the effective area of all valves [-]: growth of the cylinder (on the
        exhaust side its shrinking) over area and speed of sound; NaN where the valve is hardly open.
    """

    crank_deg: Array
    lift: Array
    effective_area: Array
    flow: Array
    piston_position: Array | None
    piston_speed: Array | None
    volume_rate: Array | None
    demand_mach: Array | None


def event_course(events: LiftEvent, crank_deg: Array | None = None) -> Course:
    """Return the event against crank angle, at given angles [deg] or at the cam's own points.

    Notes
    -----
    The demand is that of a gas that follows the piston at once, at the bench's speed of sound; waves in the port and
    the pressure left in the cylinder are not in it.
    """
    job, event = events.reduction.job, events.event
    crank = event.crank_deg if crank_deg is None else np.asarray(crank_deg, dtype=float)
    lift = event.lift_at(crank)
    area = np.array([run.area_at(lift) for run in events.runs])
    position = moving = rate = mach = None
    engine = job.engine
    if engine is not None:
        rate = volume_rate(engine, crank)
        if engine.stroke is not None and engine.rod_length is not None and engine.dead_centre_deg is not None:
            after = crank - engine.dead_centre_deg
            position = piston_position(after, engine.stroke, engine.rod_length)
            if engine.speed is not None:
                moving = piston_speed(after, engine.stroke, engine.rod_length, engine.speed)
    if engine is not None and rate is not None:
        asked = rate if job.side == "intake" else -rate
        wide = area > _OPEN * np.nanmax(area, axis=1, initial=0.0, keepdims=True)
        with np.errstate(divide="ignore", invalid="ignore"):
            mach = np.where(wide, asked / (engine.valves * area) / sound_speed(job), np.nan)
    flow = area * np.array([run.flow_per_area for run in events.runs])[:, None]
    return Course(crank, lift, area, flow, position, moving, rate, mach)


def flow_coefficient(job: Job, run: RunEvent) -> float:
    """Return the mean effective area over that of the valve's head [-], which the Mach index takes."""
    return run.mean_effective_area / (np.pi / 4.0 * job.valve.head_diameter**2)


def inlet_mach_index(job: Job, run: RunEvent) -> float | None:
    """Return the mean inlet Mach index of a run [-]; None on the exhaust side or without stroke and speed."""
    engine = job.engine
    if engine is None or job.side != "intake" or engine.stroke is None or engine.speed is None:
        return None
    speed = mean_piston_speed(engine.stroke, engine.speed)
    coefficient = flow_coefficient(job, run)
    if not coefficient > 0.0:
        return None
    return mach_index(engine.bore, job.valve.head_diameter, engine.valves, speed, coefficient, sound_speed(job))


def missing_of_engine(job: Job) -> dict[str, tuple[str, ...]]:
    """Return the keys of job.toml that are missing for each result that needs the engine; none where it is there."""
    engine = job.engine or Engine(0.0)
    named = {
        "engine.bore": engine.bore > 0.0,
        "engine.stroke": engine.stroke is not None,
        "engine.rod_length": engine.rod_length is not None,
        "engine.speed": engine.speed is not None,
        "engine.valve_offset": engine.valve_offset is not None,
        "engine.valve_direction": engine.valve_direction_deg is not None,
        "engine.dead_centre": engine.dead_centre_deg is not None,
    }
    needs: dict[str, tuple[str, ...]] = {
        "what the piston asks for": (
            "engine.bore",
            "engine.stroke",
            "engine.rod_length",
            "engine.speed",
            "engine.dead_centre",
        ),
    }
    if job.side == "intake":
        needs["mean inlet Mach index"] = ("engine.bore", "engine.stroke", "engine.speed")
        needs["turning of the charge"] = ("engine.bore", "engine.valve_offset", "engine.valve_direction")
    lacking = {what: tuple(key for key in keys if not named[key]) for what, keys in needs.items()}
    return {what: keys for what, keys in lacking.items() if keys}
