"""Numbers of a job as the words and units its porter reads; tables, warnings and pictures share them."""

from __future__ import annotations

import math
import re

from portviz.job.model import UNNAMED_REFERENCE, Job
from portviz.units import format_quantity, number_text

#: Below this the flow leans nowhere worth naming [-].
_NO_BIAS = 0.005


def lift_text(job: Job, lift: float) -> str:
    """Return a lift, or another length of metal [m], in the job's unit."""
    return format_quantity(lift, job.units.length, "length")


def pressure_text(job: Job, pressure: float) -> str:
    """Return a gauge's pressure [Pa] in the job's unit."""
    return format_quantity(pressure, job.units.pressure, "pressure")


def flow_text(job: Job, flow: float) -> str:
    """Return a volume flow [m3/s] in the job's unit."""
    return "–" if math.isnan(flow) else format_quantity(flow, job.units.flow, "flow")


def velocity_text(job: Job, velocity: float) -> str:
    """Return a velocity [m/s] in the job's unit."""
    return format_quantity(velocity, job.units.velocity, "velocity")


def reading_unit(job: Job) -> str:
    """Return the unit in which the job's gauge is read."""
    return job.units.velocity if job.gauge.kind == "velocity" else job.units.pressure


def reading_text(job: Job, reading: float) -> str:
    """Return a reading of the job's gauge [Pa or m/s] in the job's unit."""
    return format_quantity(reading, reading_unit(job), job.gauge.kind)


def station_name(job: Job, station: int) -> str:
    """Return a station's angle as its porter typed it, by its place among the job's stations."""
    return f"{job.stations.angles_deg[station]:g}°"


def station_text(job: Job, station: int, velocity: float) -> str:
    """Return a station's angle and its velocity [m/s]."""
    return f"{station_name(job, station)}: {number_text(velocity, job.units.velocity, 'velocity')}"


def reference_words(job: Job) -> str | None:
    """Return what station 0 faces in the porter's words, or None where the job does not say."""
    return None if job.stations.reference == UNNAMED_REFERENCE else job.stations.reference


def coefficient_text(value: float, decimals: int = 3) -> str:
    """Return a plain number, or a dash where there is none."""
    return "–" if math.isnan(value) else f"{value:.{decimals}f}"


def direction_words(angle_deg: float, magnitude: float, *, told: bool = True, facing: str | None = "0°") -> str:
    """Return where a bias points, told from what station 0 faces.

    Parameters
    ----------
    angle_deg : float
        [deg] in [0, 360), anticlockwise seen from the cylinder.
    magnitude : float
        Of the bias [-].
    told : bool
        False where the stations stand so unevenly that they alone may feign it.
    facing : str or None
        What station 0 faces; None for the angle alone.

    Examples
    --------
    >>> direction_words(206.0, 0.1)
    '206° (away from 0°)'
    >>> direction_words(10.0, 0.1, facing="the bore wall")
    '10° (toward the bore wall)'
    >>> direction_words(292.0, 0.14, told=False)
    'not told (uneven stations)'
    """
    if math.isnan(magnitude):
        return "–"
    if magnitude < _NO_BIAS:
        return "nowhere (even)"
    if not told:
        return "not told (uneven stations)"
    angle, quarter = round(angle_deg) % 360, round(angle_deg / 90.0) % 4
    if facing is None:
        return f"{angle}°"
    return f"{angle}° ({('toward', 'anticlockwise of', 'away from', 'clockwise of')[quarter]} {facing})"


def facing_words(job: Job, longest: int = 60) -> str:
    """Return what station 0 faces, without a leading "toward"; "0°" where the job does not say, or at length."""
    reference = reference_words(job) or ""
    facing = re.sub(r"^(toward|towards|to|facing)\s+", "", reference.strip(), flags=re.IGNORECASE)
    return facing if 0 < len(facing) <= longest else "0°"
