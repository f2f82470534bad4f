"""Numbers of a job as the words and units its porter reads."""

from __future__ import annotations

import math

from portviz.distribution.notes import lift_text
from portviz.job.model import Job
from portviz.units import format_quantity, in_unit

__all__ = ["coefficient_text", "direction_words", "flow_text", "lift_text", "station_text", "velocity_text"]

#: Below this the flow leans nowhere worth naming [-].
_NO_BIAS = 0.005


def direction_words(angle_deg: float, magnitude: float, reference: str) -> str:
    """Return where a bias points, told from what station 0 faces.

    Parameters
    ----------
    angle_deg : float
        [deg] in [0, 360).
    magnitude : float
        Of the bias [-].
    reference : str
        The job's words for station 0.

    Examples
    --------
    >>> direction_words(10.0, 0.1, "toward the bore wall")
    '10°: toward the bore wall'
    >>> direction_words(206.0, 0.1, "toward the bore wall")
    '206°: opposite'
    """
    if math.isnan(magnitude):
        return "–"
    if magnitude < _NO_BIAS:
        return "nowhere (even)"
    words = (reference, "anticlockwise side", "opposite", "clockwise side")
    return f"{round(angle_deg) % 360}°: {words[round(angle_deg / 90.0) % 4]}"


def coefficient_text(value: float, decimals: int = 3) -> str:
    """Return a plain number, or a dash where there is none."""
    return "–" if math.isnan(value) else f"{value:.{decimals}f}"


def flow_text(job: Job, flow: float) -> str:
    """Return a volume flow [m3/s] in the job's unit."""
    return "–" if math.isnan(flow) else format_quantity(flow, job.units.flow, "flow", 1)


def velocity_text(job: Job, velocity: float) -> str:
    """Return a velocity [m/s] in the job's unit."""
    return format_quantity(velocity, job.units.velocity, "velocity", 1)


def station_text(job: Job, station: int, velocity: float) -> str:
    """Return a station's angle and velocity [m/s]."""
    value = in_unit(velocity, job.units.velocity, "velocity")
    return f"{job.stations.angles_deg[station]:g}°: {value:.1f}"
