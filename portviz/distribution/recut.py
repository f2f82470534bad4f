"""The cuts of a seat for a contact band that is to lie elsewhere, the valve as it is."""

from __future__ import annotations

import numpy as np

from portviz.distribution.areas import length_text
from portviz.distribution.designs import Designs, held_designs, own_dimensions, own_values
from portviz.distribution.inverse import EDGE, Answer, Course, checked_study
from portviz.distribution.study import StudyBase
from portviz.geometry.contact import seat_contact
from portviz.geometry.dimensions import Dimensions
from portviz.geometry.profiles import possible_profiles
from portviz.geometry.recession import least_sinking
from portviz.job.model import Job

#: Mean diameters that are looked at, across the face.
_VALUES = 161


def find_cuts(job: Job, base: StudyBase, mean_diameter: float, width: float | None = None) -> Answer:
    """Return the cuts that put the contact band at a mean diameter, for the present valve.

    Parameters
    ----------
    job : Job
    base : StudyBase
    mean_diameter : float
        Of the band [m].
    width : float, optional
        Of the band along the cone [m]; that of the present one by default.

    Notes
    -----
    The seat becomes the band: its edges are mean diameter -/+ width x cos(angle). Angles stay. The top cut's outer edge
    and the first bottom cut's inner edge keep their diameters, so that both cuts grow or shrink at the seat. Metal only
    comes off: the new wall must nowhere stand out of the present one, and is set as much deeper as that takes; the
    valve then sinks by the difference of its rest heights and that depth, at least.
    """
    cutter = _Cutter(job)
    wide = cutter.present_width if width is None else width
    values, reason = cutter.cut(mean_diameter, wide)
    course = _cuts_course(cutter, mean_diameter, wide)
    ranges = _ranges(cutter, course, wide)
    none, made = None, None
    figures: dict[str, float] = {}
    remarks: list[str] = []
    if values is None:
        spans = " and ".join(f"from {length_text(job, low)} to {length_text(job, high)}" for low, high in ranges)
        none = f"{reason}; " + (
            f"a band so wide can lie {spans}" if ranges else "no mean diameter has room for a band so wide"
        )
    else:
        made = cutter.designs(values)
        figures = {"valve_sinks_at_least_m": cutter.sinks(made.dimensions)}
        remarks = cutter.remarks(values)
    return Answer(
        what="cuts",
        asked={"mean_diameter_m": mean_diameter, "width_m": wide},
        none=none,
        ranges=tuple(ranges),
        remarks=tuple(remarks),
        course=course,
        study=checked_study(job, base, made, ("recut",), []),
        figures=figures,
    )


def _cuts_course(cutter: _Cutter, mean_diameter: float, width: float) -> Course:
    """Return the cuts over the band's mean diameter, across the face and somewhat beyond."""
    face = 2.0 * float(cutter.own.face_inner_radius[0]), 2.0 * float(cutter.own.head_radius[0])
    values = np.unique([*np.linspace(0.99 * face[0], 1.005 * face[1], _VALUES), mean_diameter])
    names = ["seat.outer_diameter", *cutter.cut_keys]
    columns = {f"{name}_m": np.full(len(values), np.nan) for name in names}
    columns["valve_sinks_at_least_m"] = np.full(len(values), np.nan)
    reasons: list[str | None] = []
    for place, value in enumerate(values.tolist()):
        cut, reason = cutter.cut(value, width)
        reasons.append(reason)
        if cut is not None:
            for name in names:
                columns[f"{name}_m"][place] = cut[name]
            columns["valve_sinks_at_least_m"][place] = cutter.sinks(cutter.designs(cut).dimensions)
    fits = np.array([reason is None for reason in reasons])
    return Course("contact mean diameter", values, columns, tuple(reasons), fits)


def _ranges(cutter: _Cutter, course: Course, width: float) -> list[tuple[float, float]]:
    """Return the stretches of mean diameters that have room for the band [m]."""
    from scipy.optimize import bisect

    def fits(value: float) -> float:
        return 1.0 if cutter.cut(value, width)[1] is None else -1.0

    def edge(inside: int, outside: int) -> float:
        at = float(course.value[inside])
        if not 0 <= outside < len(course.value):
            return at
        other = float(course.value[outside])
        return float(bisect(fits, at, other, xtol=EDGE)) + 2.0 * EDGE * float(np.sign(at - other))

    places = np.flatnonzero(np.diff(np.concatenate([[False], course.fits, [False]]).astype(np.int8))).tolist()
    return [
        (edge(first, first - 1), edge(after - 1, after)) for first, after in zip(places[::2], places[1::2], strict=True)
    ]


class _Cutter:
    """The cuts of a job's seat, put elsewhere."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self.values = own_values(job)
        self.own = own_dimensions(job)
        self.profiles, _, _ = possible_profiles(self.own)
        self.contact = seat_contact(self.own)
        self.angle = float(self.own.seat_angle[0])
        band = float(self.contact.pressed_outer_radius[0] - self.contact.pressed_inner_radius[0])
        self.present_width = band / float(np.cos(self.angle))
        self.cut_keys = [
            *(["seat.top_cut.width"] if job.seat.top_cut else []),
            *(["seat.bottom_cuts[1].width"] if job.seat.bottom_cuts else []),
        ]

    def cut(self, mean_diameter: float, width: float) -> tuple[dict[str, float] | None, str | None]:
        """Return what changes, by key in SI, or why there is no such seat."""
        own, seat, wall = self.own, self.job.seat, self.profiles.wall[0]
        half = 0.5 * width * np.cos(self.angle)
        inner, outer = 0.5 * mean_diameter - half, 0.5 * mean_diameter + half
        band = f"the band would run from {self._text(inner)} to {self._text(outer)} diameter, and "
        face_inner, head = float(own.face_inner_radius[0]), float(own.head_radius[0])
        throat = float(own.throat_radius[0])
        if inner < face_inner - EDGE or outer > head + EDGE:
            return None, f"{band}the face reaches from {self._text(face_inner)} to {self._text(head)}"
        if inner < throat - EDGE:
            return None, f"{band}the throat is {self._text(throat)}"
        changes = {"seat.outer_diameter": float(2.0 * outer), "seat.width": width}
        if seat.top_cut is not None:
            room = (float(wall[0, 0]) - outer) / np.cos(seat.top_cut.angle)
            if room <= EDGE:
                return None, f"{band}the top cut's outer edge is at {self._text(float(wall[0, 0]))}: none of it is left"
            changes["seat.top_cut.width"] = float(room)
        if seat.bottom_cuts:
            far = float(wall[3, 0])
            room = (inner - far) / np.cos(seat.bottom_cuts[0].angle)
            if room <= EDGE:
                return None, f"{band}the first bottom cut's inner edge is at {self._text(far)}: none of it is left"
            changes["seat.bottom_cuts[1].width"] = float(room)
        for key, given in (("valve.face_width", own.face_width), ("valve.face_angle", own.face_angle)):
            if key in self.job.unnamed:
                # The valve stays, whatever its default would follow.
                changes[key] = float(given[0])
        _, possible, reasons = possible_profiles(self.designs(changes).dimensions, self._length)
        return (changes, None) if possible[1] else (None, reasons[1])

    def designs(self, changes: dict[str, float]) -> Designs:
        """Return the present design and one with changes."""
        both = {key: np.array([value, changes.get(key, value)]) for key, value in self.values.items()}
        return held_designs(self.job, (None, None), ({}, dict(changes)), both, ())

    @staticmethod
    def sinks(dims: Dimensions) -> float:
        """Return how far the valve sinks at least [m], from the present design to the second one."""
        return float(least_sinking(possible_profiles(dims)[0], seat_contact(dims).protrusion)[1])

    def remarks(self, changes: dict[str, float]) -> list[str]:
        """Return what to know of a seat that was put elsewhere."""
        job, said = self.job, []
        outer, own_outer = changes["seat.outer_diameter"], 2.0 * float(self.own.seat_outer_radius[0])
        if job.seat.top_cut is None and outer < own_outer - EDGE:
            said.append(
                f"the job has no top cut: one is needed to bring the seat's outer edge in from "
                f"{self._length(own_outer)} to {self._length(outer)}; name it in seat.top_cut"
            )
        if not job.seat.bottom_cuts:
            said.append("the job has no bottom cut: the plain cone to the throat, 60 deg, follows the seat")
        if "valve.face_width" in changes:
            said.append(
                f"the face stays {self._length(changes['valve.face_width'])} wide: name valve.face_width in job.toml, "
                "or its default follows the new seat"
            )
        if self.contact.line[0]:
            said.append(
                "angles of face and seat differ: this is the band that bears once they have worn in; before, they "
                "touch along its edge"
            )
        return said

    def _length(self, length: float) -> str:
        return length_text(self.job, length)

    def _text(self, radius: float) -> str:
        return length_text(self.job, 2.0 * radius)
