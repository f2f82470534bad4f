"""Heights of a study's valves: after a cut of the seat, and over a plane below the head."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portviz.distribution.cam_event import CamEvent
from portviz.distribution.study import Study
from portviz.geometry.recession import least_sinking, plane_clearance, valve_sinks
from portviz.job.model import Array


@dataclass(frozen=True)
class Heights:
    """Heights of N designs at M lifts.

    Parameters
    ----------
    cut_depth : float or None
        Metal taken off the seat, square to its cone, all cuts following [m].
    plane : float or None
        Distance of a plane below that of the present seat's outer edge [m].
    sinks : ndarray, shape (N,)
        How far the valve sinks along its axis by the depth of cut [m]; zero without one. The spring's installed height
        grows by as much.
    protrusion : ndarray, shape (N,)
        How far the closed head's lower edge then stands below the plane of the present seat's outer edge [m], the
        design cut no deeper than it must be; where it can't be cut, its own outer edge stands for that.
    clearance : ndarray, shape (N, M), or None
        Of the head's lower edge from the plane at each lift [m]; below zero it stands in it.
    highest_lift : float or None
        The cam's peak; without a cam the highest lift of the study [m].
    of_cam : bool
        True where that is the cam's.
    least_clearance : ndarray, shape (N,), or None
        At that lift [m].
    """

    cut_depth: float | None
    plane: float | None
    sinks: Array
    protrusion: Array
    clearance: Array | None
    highest_lift: float | None
    of_cam: bool
    least_clearance: Array | None


def study_heights(study: Study, cut_depth: float | None, plane: float | None, event: CamEvent | None) -> Heights:
    """Return the heights of a study's valves; see `geometry.recession` for what they rest on."""
    sinks = valve_sinks(cut_depth or 0.0, study.designs.dimensions.seat_angle)
    uncut = study.contact.protrusion
    deeper = least_sinking(study.profiles, uncut)
    protrusion = np.where(np.isfinite(deeper), uncut[0] - deeper, uncut)
    clearance = least = highest = None
    if plane is not None:
        clearance = plane_clearance(plane, protrusion[:, None], study.lift, sinks[:, None])
        highest = float(study.lift[-1]) if event is None else event.peak_lift
        least = plane_clearance(plane, protrusion, highest, sinks)
    return Heights(
        cut_depth, plane, sinks, protrusion - sinks, clearance, highest, plane is not None and event is not None, least
    )
