"""What a drawing of seat and valve shows: parts with their words, diameters, contact and least passage, undrawn."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from portviz.distribution.areas import job_dimensions, job_profiles
from portviz.distribution.designs import own_values
from portviz.geometry.contact import Contact, seat_contact
from portviz.geometry.ends import passage_ends
from portviz.geometry.passages import least_passages
from portviz.geometry.profiles import PLAIN_THROAT_ANGLE, VALVE_PARTS, Profiles
from portviz.geometry.revolve import valve_chains
from portviz.job.model import Array, Job
from portviz.job.words import lift_text
from portviz.units import area_unit

#: Parts shorter than this are not there [m].
NO_LENGTH = 1e-7
#: Angles that differ by less than this are shown as one [rad].
_SAME_ANGLE = 1e-6


@dataclass(frozen=True)
class Part:
    """A part of a profile.

    Parameters
    ----------
    name : str
    points : ndarray, shape (K, 2)
        Its line (r, z) [m], from the chamber toward the port, the valve at its lift.
    words : str
        Name, angle and width as a shop says them.
    """

    name: str
    points: Array
    words: str

    @property
    def length(self) -> float:
        """Length of the line [m]."""
        return float(np.sum(np.hypot(*np.diff(self.points, axis=0).T)))


@dataclass(frozen=True)
class Diameter:
    """A diameter to be dimensioned: its name, the radius, and the height [m] at which the metal shows it."""

    name: str
    radius: float
    height: float


@dataclass(frozen=True)
class Section:
    """Seat and valve of one design at a lift, lengths in metres.

    Parameters
    ----------
    job : Job
        With the design's valve and seat.
    name : str
        Of the design.
    lift : float
    profiles : Profiles
        Of this design alone.
    wall, valve : tuple of Part
        Parts that are there, from the chamber toward the port.
    left_out : tuple of str
        Bottom cuts that the throat leaves no room for, in words.
    wall_line, valve_line : ndarray, shape (K, 2)
        Whole outlines, the valve at its lift; the valve's begins at the margin's lower edge.
    diameters : tuple of Diameter
        Below the drawing: head, seat band, contact (its mean, or its line); above it throat and stem, the last two.
    contact : Contact
    contact_line : ndarray, shape (2, 2), or None
        The closed valve's contact band; a point twice where it is a line; None where the valve is open.
    least_line : ndarray, shape (2, 2), or None
        The least passage; None where the valve is closed.
    least_words : str
        What the contact or the least passage is.
    """

    job: Job
    name: str
    lift: float
    profiles: Profiles
    wall: tuple[Part, ...]
    valve: tuple[Part, ...]
    left_out: tuple[str, ...]
    wall_line: Array
    valve_line: Array
    diameters: tuple[Diameter, ...]
    contact: Contact
    contact_line: Array | None
    least_line: Array | None
    least_words: str


def design_section(job: Job, name: str, lift: float) -> Section:
    """Return what a drawing of a job's valve and seat shows at a lift [m].

    Raises
    ------
    JobError
        If the dimensions make no valve and seat.
    """
    profiles, dims = job_profiles(job), job_dimensions(job)
    contact = seat_contact(dims)
    drop = np.array([0.0, lift])
    wall, left_out = _wall_parts(job, profiles)
    valve = _valve_parts(job, profiles, drop)
    stem_top = _port_top(profiles) + 0.25 * float(dims.head_radius[0]) + lift
    surface, _ = valve_chains(profiles, stem_top=max(stem_top, float(profiles.valve[0, 5, 1]) + 1e-3))
    closed = lift <= 0.0
    least_line, least_words = (None, contact_words(job, contact)) if closed else _least(job, profiles, lift)
    return Section(
        job=job,
        name=name,
        lift=lift,
        profiles=profiles,
        wall=wall,
        valve=valve,
        left_out=left_out,
        wall_line=np.concatenate([profiles.wall[0, :-1], [[profiles.wall[0, -1, 0], _port_top(profiles)]]]),
        valve_line=surface - drop,
        diameters=_diameters(profiles, contact, lift),
        contact=contact,
        contact_line=_contact_line(job, contact) if closed else None,
        least_line=least_line,
        least_words=least_words,
    )


def angle_text(angle: float) -> str:
    """Return an angle of metal [rad] in degrees."""
    return f"{round(float(np.degrees(angle)), 2):g}°"


def cut_words(job: Job, name: str, angle: float, width: float, asked: float | None = None) -> str:
    """Return a cut's name, angle and width, and how wide it was asked for where it was trimmed."""
    trimmed = "" if asked is None else f"\n(trimmed at the throat from {lift_text(job, asked)})"
    return f"{name}: {angle_text(angle)}, {lift_text(job, width)}{trimmed}"


def contact_words(job: Job, contact: Contact) -> str:
    """Return where the closed valve's face meets the seat."""
    diameter = lift_text(job, 2.0 * float(contact.mean_radius[0]))
    if contact.line[0]:
        return f"contact: line at Ø {diameter}, angles {angle_text(abs(float(contact.interference[0])))} apart"
    return f"contact: {lift_text(job, float(contact.width[0]))} wide, mean Ø {diameter}"


def trimmed_widths(job: Job, profiles: Profiles) -> list[tuple[float, float]]:
    """Return of each bottom cut the width [m] that it has, and the one that was asked for."""
    corners = profiles.wall[0, 2 : 3 + len(job.seat.bottom_cuts)]
    steps = np.hypot(*np.diff(corners, axis=0).T)
    return [
        (float(step) if trimmed else cut.width, cut.width)
        for step, cut, trimmed in zip(steps, job.seat.bottom_cuts, profiles.cuts_trimmed[0], strict=True)
    ]


def last_angle(job: Job) -> float:
    """Return the angle at which the wall goes on to the throat [rad]."""
    return job.seat.bottom_cuts[-1].angle if job.seat.bottom_cuts else PLAIN_THROAT_ANGLE


def _wall_parts(job: Job, profiles: Profiles) -> tuple[tuple[Part, ...], tuple[str, ...]]:
    seat, corners = job.seat, profiles.wall[0]
    words, left_out = [], []
    top = seat.top_cut
    words.append("" if top is None else cut_words(job, "top cut", top.angle, top.width))
    words.append(cut_words(job, "seat band", seat.angle, seat.width))
    for number, (cut, (width, asked)) in enumerate(
        zip(seat.bottom_cuts, trimmed_widths(job, profiles), strict=True), start=1
    ):
        name = f"bottom cut {number}"
        words.append(cut_words(job, name, cut.angle, width, asked if asked - width > NO_LENGTH else None))
        if width <= NO_LENGTH:
            left_out.append(f"{name} ({angle_text(cut.angle)}, {lift_text(job, asked)}): no room before the throat")
    cone = float(np.hypot(*(corners[-2] - corners[-3])))
    words.append(cut_words(job, "cone to the throat", last_angle(job), cone))
    words.append(f"throat: Ø {lift_text(job, seat.throat_diameter)}")
    ends = np.concatenate([corners[:-1], [[corners[-1, 0], _port_top(profiles)]]])
    parts = (
        Part(name, ends[place : place + 2], said)
        for place, (name, said) in enumerate(zip(profiles.wall_parts, words, strict=True))
    )
    return tuple(part for part in parts if part.length > NO_LENGTH), tuple(left_out)


def _valve_parts(job: Job, profiles: Profiles, drop: Array) -> tuple[Part, ...]:
    valve, corners = job.valve, profiles.valve[0]
    back = valve.back_cut
    words = (
        f"margin: {lift_text(job, valve.margin)}",
        cut_words(job, "face", valve.face_angle, valve.face_width),
        "" if back is None else cut_words(job, "back cut", back.angle, back.width),
        f"under-head cone: {angle_text(valve.underhead_angle)}",
        f"fillet: radius {lift_text(job, valve.fillet_radius)}",
    )
    surface, _ = valve_chains(profiles)
    lines = [corners[:2], corners[1:3], corners[2:4], corners[3:5], surface[4:-1]]
    parts = (Part(name, line - drop, said) for name, line, said in zip(VALVE_PARTS[:5], lines, words, strict=True))
    return tuple(part for part in parts if part.length > NO_LENGTH)


def _diameters(profiles: Profiles, contact: Contact, lift: float) -> tuple[Diameter, ...]:
    wall, valve = profiles.wall[0], profiles.valve[0]
    middle = float(contact.mean_radius[0])
    slope = (wall[2, 1] - wall[1, 1]) / (wall[1, 0] - wall[2, 0])
    return (
        Diameter("seat inner", float(wall[2, 0]), float(wall[2, 1])),
        Diameter(_contact_name(contact), middle, float((wall[1, 0] - middle) * slope)),
        Diameter("seat outer", float(wall[1, 0]), 0.0),
        Diameter("head", float(valve[0, 0]), float(valve[0, 1]) - lift),
        Diameter("throat", float(wall[-1, 0]), _port_top(profiles)),
        Diameter("stem", float(valve[5, 0]), _port_top(profiles)),
    )


def _contact_name(contact: Contact) -> str:
    return "contact line at" if contact.line[0] else "contact mean"


def _contact_line(job: Job, contact: Contact) -> Array:
    radii = np.array([float(contact.outer_radius[0]), float(contact.inner_radius[0])])
    return np.stack([radii, (0.5 * job.seat.outer_diameter - radii) * np.tan(job.seat.angle)], axis=1)


def _least(job: Job, profiles: Profiles, lift: float) -> tuple[Array, str]:
    passages = least_passages(profiles, [lift], lines=True)
    assert passages.gap_line is not None
    assert passages.throat_line is not None
    by_gap = bool(passages.limited_by_gap[0, 0])
    line = (passages.gap_line if by_gap else passages.throat_line)[0, 0]
    unit, scale = area_unit(job.units.length)
    area = f"{float(passages.flow_area[0, 0]) * scale:.{1 if unit == 'mm²' else 4}f} {unit}"
    across = lift_text(job, float(np.hypot(*(line[1] - line[0]))))
    name = (
        "gap"
        if by_gap
        else "throat passage, {} to {}".format(*passage_ends(profiles, passages.throat_line[0], np.array([lift]))[0])
    )
    return line, f"least passage ({name}): {area}, {across} across"


def _port_top(profiles: Profiles) -> float:
    """Return the height to which the port is drawn [m]."""
    corner, fillet = profiles.wall[0, -2], profiles.valve[0, 5]
    return float(max(corner[1] + 0.35 * corner[0], min(fillet[1], corner[1] + 0.6 * corner[0]) + 0.08 * corner[0]))


def differences(one: Section, other: Section) -> list[tuple[str, str, str]]:
    """Return what differs between two designs: its name, and both values in words."""
    rows = []
    values = [own_values(replace(each.job, unnamed=frozenset())) for each in (one, other)]
    for key in dict.fromkeys(key for each in values for key in each):
        a, b = (each.get(key, np.nan) for each in values)
        is_angle = key.endswith("angle")
        if key in ("valve.seat_force", "valve.gas_pressure") or _alike(a, b, is_angle):
            continue
        words = key.replace("_", " ").replace(".", " ").replace("[", " ").replace("]", "").replace("cuts", "cut")
        rows.append((words, _value_text(one.job, a, is_angle), _value_text(one.job, b, is_angle)))
    inner = [next(each.radius for each in side.diameters if each.name == "seat inner") for side in (one, other)]
    if not _alike(inner[0], inner[1], False):
        rows.append(("seat inner diameter", lift_text(one.job, 2.0 * inner[0]), lift_text(one.job, 2.0 * inner[1])))
    middle = [float(each.contact.mean_radius[0]) for each in (one, other)]
    lines = [bool(each.contact.line[0]) for each in (one, other)]
    if not _alike(middle[0], middle[1], False) or lines[0] != lines[1]:
        texts = [
            f"{'line at ' if line else 'mean ' if any(lines) else ''}{lift_text(one.job, 2.0 * radius)}"
            for line, radius in zip(lines, middle, strict=True)
        ]
        rows.append(("contact diameter" if any(lines) else "contact mean diameter", texts[0], texts[1]))
    widths = [
        "line" if each.contact.line[0] else lift_text(one.job, float(each.contact.width[0])) for each in (one, other)
    ]
    if widths[0] != widths[1]:
        rows.append(("contact width", widths[0], widths[1]))
    if one.lift > 0.0 and rows:
        areas = [float(least_passages(each.profiles, [each.lift]).flow_area[0, 0]) for each in (one, other)]
        unit, scale = area_unit(one.job.units.length)
        decimals = 1 if unit == "mm²" else 4
        change = 100.0 * (areas[1] / areas[0] - 1.0)
        texts = [f"{area * scale:.{decimals}f} {unit}" for area in areas]
        rows.append((f"flow area at {lift_text(one.job, one.lift)}", texts[0], f"{texts[1]} ({change:+.1f} %)"))
    return rows


def _alike(a: float, b: float, is_angle: bool) -> bool:
    if np.isnan(a) or np.isnan(b):
        return bool(np.isnan(a) and np.isnan(b))
    return abs(a - b) <= (_SAME_ANGLE if is_angle else NO_LENGTH)


def _value_text(job: Job, value: float, is_angle: bool) -> str:
    if np.isnan(value):
        return "none"
    return angle_text(value) if is_angle else lift_text(job, value)
