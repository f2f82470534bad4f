"""The passages of a job's valve and seat at given lifts."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from portviz.errors import GeometryError, JobError
from portviz.geometry.dimensions import Array, Dimensions, Mask, dimensions
from portviz.geometry.passages import least_passages
from portviz.geometry.profiles import Profiles, build_profiles
from portviz.geometry.three_stage import curtain_area, head_area, three_stage_area
from portviz.job.model import JOB_FILE, Job
from portviz.units import format_quantity, unit_factor


@dataclass(frozen=True)
class Areas:
    """Areas at M lifts; all arrays have shape (M,).

    Parameters
    ----------
    lift : ndarray
        [m].
    three_stage_area : ndarray
        The textbook's minimum flow area [m2].
    stage : ndarray of int
        Its stage, 1 to 3.
    curtain_area : ndarray
        pi D L [m2].
    gap_area, throat_area, flow_area : ndarray
        Least passages [m2]; `flow_area` is the smaller.
    limited_by_gap : ndarray of bool
        True where the gap is the smaller, or ties.
    head_area : ndarray
        Area of the valve head [m2].
    """

    lift: Array
    three_stage_area: Array
    stage: npt.NDArray[np.intp]
    curtain_area: Array
    gap_area: Array
    throat_area: Array
    flow_area: Array
    limited_by_gap: Mask
    head_area: Array

    def limited_by(self, index: int) -> str:
        """Return "gap" or "throat"."""
        return "gap" if self.limited_by_gap[index] else "throat"


def job_dimensions(job: Job) -> Dimensions:
    """Return a job's valve and seat as the dimensions of one design."""
    valve, seat = job.valve, job.seat
    return dimensions(
        head_radius=valve.head_diameter / 2.0,
        stem_radius=valve.stem_diameter / 2.0,
        face_angle=valve.face_angle,
        face_width=valve.face_width,
        margin=valve.margin,
        back_cut_angle=valve.back_cut.angle if valve.back_cut else 0.0,
        back_cut_width=valve.back_cut.width if valve.back_cut else 0.0,
        underhead_angle=valve.underhead_angle,
        fillet_radius=valve.fillet_radius,
        seat_angle=seat.angle,
        seat_width=seat.width,
        seat_outer_radius=seat.outer_diameter / 2.0,
        top_cut_angle=seat.top_cut.angle if seat.top_cut else 0.0,
        top_cut_width=seat.top_cut.width if seat.top_cut else 0.0,
        bottom_cut_angles=[cut.angle for cut in seat.bottom_cuts],
        bottom_cut_widths=[cut.width for cut in seat.bottom_cuts],
        throat_radius=seat.throat_diameter / 2.0,
    )


def job_profiles(job: Job) -> Profiles:
    """Return the profiles of a job's wall and closed valve.

    Raises
    ------
    JobError
        If the dimensions make no valve and seat.
    """
    try:
        return build_profiles(job_dimensions(job), lambda length: length_text(job, length))
    except GeometryError as error:
        raise JobError(
            error.problem, file=JOB_FILE, place=", ".join(error.keys), mend="Mend one of these dimensions"
        ) from None


def length_text(job: Job, length: float) -> str:
    """Return a length [m] as text in the job's unit, to about a micrometre."""
    unit = job.units.length
    decimals = max(0, round(math.log10(unit_factor(unit, "length") / 1e-6)))
    return format_quantity(length, unit, "length", decimals)


def areas_at(job: Job, profiles: Profiles, lifts: npt.ArrayLike) -> Areas:
    """Return all areas at the given lifts [m], shape (M,)."""
    lift = np.atleast_1d(np.asarray(lifts, dtype=float))
    passages = least_passages(profiles, lift)
    valve, seat = job.valve, job.seat
    # The textbook's seat width is the radial one; this is the one place where it is converted.
    textbook = three_stage_area(
        lift,
        valve.head_diameter,
        seat.throat_diameter,
        valve.stem_diameter,
        seat.width * np.cos(seat.angle),
        seat.angle,
    )
    return Areas(
        lift=lift,
        three_stage_area=textbook.area,
        stage=textbook.stage,
        curtain_area=curtain_area(lift, valve.head_diameter),
        gap_area=passages.gap_area[0],
        throat_area=passages.throat_area[0],
        flow_area=passages.flow_area[0],
        limited_by_gap=passages.limited_by_gap[0],
        head_area=np.full(lift.shape, head_area(valve.head_diameter)),
    )
