"""One page for the shop: the dimensioned detail, the cutters in their order, contact, findings, and fields to sign."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from portviz.distribution.findings import closed_pressure, findings, spring_pressure
from portviz.distribution.notes import job_warnings, room_warnings
from portviz.distribution.study import Study
from portviz.job.limits import Limit
from portviz.job.words import lift_text
from portviz.scene.colours import INK
from portviz.scene.paper import THIN, Box, cell, new_sheet, say, wrapped, write_figure
from portviz.scene.section_drawing import draw_detail, shortened_name
from portviz.scene.section_parts import NO_LENGTH, Section, angle_text, differences, last_angle, trimmed_widths

#: A4 [inch].
WIDTH, HEIGHT = 8.27, 11.69
SHEET_ENDINGS = (".pdf", ".png")
_LEFT, _RIGHT = 0.5, WIDTH - 0.5
_TYPE = 7.5
_ROW = 0.175
#: Lines of findings that a page has room for at least, and the drawing's height [inch].
_LEAST_FINDINGS, _LEAST_DRAWING, _MOST_DRAWING = 5, 2.0, 4.3
_LINE, _LABEL = 0.15, 0.205
#: Differences from the present design that the page lists; more are counted.
_MOST_DIFFERENCES = 8
ORDER = (
    "In this order: the band first, a top cut then sets its outer diameter, bottom cuts its inner one and the way to "
    "the throat (common practice, no source); a form cutter cuts all at once."
)
CAUTIONS = (
    "Cautions. A narrow seat cools the valve worse and can burn it; a wide one seals worse. A valve with a thin margin "
    "can crack and drop into the cylinder; a seat cut too deep or too near its press fit can pull out. The valve's and "
    "the seat's makers' limits, local rules and licensed practice come first: this sheet describes a geometry and "
    "permits nothing. Check runout, contact all round and free valve travel before the engine turns. Wear eye "
    "and breathing protection when you grind."
)
NOTHING_OUTSIDE = "Nothing lies outside the table of usual ranges; that is no permission: the makers' figures decide."
INSERT = (
    "The cuts reach out to Ø {}: a machinist must check what is left of the insert's edge and of its press fit; its "
    "size is not known here."
)
_FIELDS = (
    ("seat width, measured", "contact width, measured", "contact diameter, measured"),
    ("throat diameter, measured", "spring's installed height, measured", "runout of the seat"),
    ("leak test", "checked by", "date checked"),
)


@dataclass(frozen=True)
class CutRow:
    """One line of the cutter list, in words: what, angle, width along the cone, outer and inner diameter, remark.

    A cut that the throat leaves no room for is left out.
    """

    name: str
    angle: str
    width: str
    outer: str
    inner: str
    remark: str
    left_out: bool = False


def cutter_list(section: Section) -> list[CutRow]:
    """Return the cuts of a seat in the order in which they are cut."""
    job, wall = section.job, section.profiles.wall[0]
    seat = job.seat

    def row(name: str, angle: float, width: float, first: int, remark: str = "") -> CutRow:
        outer, inner = (lift_text(job, 2.0 * float(wall[corner, 0])) for corner in (first, first + 1))
        return CutRow(name, angle_text(angle), lift_text(job, width), outer, inner, remark)

    rows = [row("seat band", seat.angle, seat.width, 1)]
    if seat.top_cut is not None:
        rows.append(row("top cut", seat.top_cut.angle, seat.top_cut.width, 0))
    for number, (cut, (width, asked)) in enumerate(
        zip(seat.bottom_cuts, trimmed_widths(job, section.profiles), strict=True), start=1
    ):
        left_out = width <= NO_LENGTH
        trimmed = f"trimmed at the throat from {lift_text(job, asked)}" if asked - width > NO_LENGTH else ""
        made = row(f"bottom cut {number}", cut.angle, width, 1 + number, "no room: left out" if left_out else trimmed)
        rows.append(replace(made, left_out=left_out))
    cone = float(np.hypot(*(wall[-2] - wall[-3])))
    if cone > NO_LENGTH:
        rows.append(row("on to the throat", last_angle(job), cone, len(wall) - 3, "goes on at the last angle"))
    return rows


def contact_rows(section: Section, study: Study, place: int) -> list[tuple[str, str]]:
    """Return contact and throat in words, a name and a value each."""
    job, contact = section.job, study.contact
    interference = float(contact.interference[place])
    apart = angle_text(abs(interference))
    kind = (
        f"{apart}, face {'flatter' if interference > 0.0 else 'steeper'} than seat" if contact.line[place] else "none"
    )
    width = "line" if contact.line[place] else lift_text(job, float(contact.width[place]))
    rows = [
        ("contact width, along the cone", width),
        (
            "line's diameter" if contact.line[place] else "contact's mean diameter",
            lift_text(job, 2.0 * float(contact.mean_radius[place])),
        ),
    ]
    if contact.line[place]:
        ends = (float(each[place]) for each in (contact.pressed_inner_radius, contact.pressed_outer_radius))
        rows.append(("worn in, from and to", " to ".join(lift_text(job, 2.0 * end) for end in ends)))
    rows += [
        ("interference angle", kind),
        ("face beyond the band, radially", lift_text(job, float(contact.overhang[place]))),
    ]
    if contact.bare[place] > 1e-9:
        rows.append(("band left bare toward the port", lift_text(job, float(contact.bare[place]))))
    pressure = float(spring_pressure(study)[place])
    if np.isfinite(pressure):
        rows.append(("mean pressure by the spring", f"{pressure / 1e6:.2f} MPa, frictionless"))
    with_gas = float(closed_pressure(study)[place])
    if np.isfinite(with_gas) and job.valve.gas_pressure is not None:
        whose = "spring and gas" if np.isfinite(pressure) else "the gas alone"
        rows.append((f"mean pressure by {whose}", f"{with_gas / 1e6:.1f} MPa, frictionless"))
    takes_over = float(study.throat_takes_over()[place])
    beyond = np.isnan(takes_over)
    up_to = lift_text(job, float(study.lift[-1]) if beyond else takes_over)
    rows += [
        ("throat diameter", lift_text(job, job.seat.throat_diameter)),
        ("throat over head", f"{job.seat.throat_diameter / job.valve.head_diameter:.3f}"),
        ("gap limits up to a lift of", f"{up_to} at least" if beyond else up_to),
    ]
    return rows


def valve_rows(section: Section) -> list[tuple[str, str]]:
    """Return the valve's figures in words, a name and a value each."""
    job, valve = section.job, section.job.valve
    back = valve.back_cut
    return [
        ("head diameter", lift_text(job, valve.head_diameter)),
        ("stem diameter", lift_text(job, valve.stem_diameter)),
        ("face", f"{angle_text(valve.face_angle)}, {lift_text(job, valve.face_width)} wide"),
        ("margin", lift_text(job, valve.margin)),
        ("back cut", "none" if back is None else f"{angle_text(back.angle)}, {lift_text(job, back.width)} wide"),
        ("under-head cone", angle_text(valve.underhead_angle)),
        ("fillet to the stem", lift_text(job, valve.fillet_radius) if valve.fillet_radius else "sharp"),
    ]


def finding_lines(
    section: Section, study: Study, place: int, limits: tuple[Limit, ...], limits_name: str, *, warned: bool = True
) -> list[str]:
    """Return what to check: warnings of the job, what lies outside the usual ranges, or that nothing does, the insert.

    That nothing was found is no permission, and is said so.
    """
    found = [*(sheet_warnings(section) if warned else []), *findings(study, limits, [place])[0]]
    said = [f"{words[:1].upper()}{words[1:]}{'' if words.endswith('?') else '.'}" for words in found]
    checked = ", ".join(dict.fromkeys(limit.what for limit in limits)) or "nothing"
    if said:
        said.append(f"Ranges looked at: {checked} ({limits_name}); to lie within them is no permission.")
    else:
        said.append(f"{NOTHING_OUTSIDE} (Ranges looked at: {checked}; {limits_name}.)")
    widest = lift_text(section.job, 2.0 * float(section.profiles.wall[0, 0, 0]))
    # First, where a full page keeps it.
    return [INSERT.format(widest), *said]


def sheet_warnings(section: Section) -> list[str]:
    """Return the warnings of a design's job that bear on its metal; of gauge and room a seat knows nothing."""
    job = section.job
    about_air = room_warnings(job)
    return [each for each in job_warnings(job, cam=False) if each not in about_air and not each.startswith("gauge.")]


def sheet_lines(
    section: Section, study: Study, place: int, limits: tuple[Limit, ...], limits_name: str, present: Section
) -> list[str]:
    """Return what of the page is told on the terminal, beside `sheet_warnings`."""
    pressures = [
        f"{name.replace('mean', 'Mean contact')}: {value}."
        for name, value in contact_rows(section, study, place)
        if name.startswith("mean pressure")
    ]
    lines = [*finding_lines(section, study, place, limits, limits_name, warned=False), *pressures]
    return [each for each in (difference_words(section, present, 1000), *lines) if each]


def difference_words(section: Section, present: Section, most: int = _MOST_DIFFERENCES) -> str:
    """Return what differs from the design that the job holds, in one sentence; empty where nothing does."""
    rows = differences(present, section)
    if not rows:
        return ""
    listed = [f"{name} {new} (now {old})" for name, old, new in rows[:most]]
    more = [f"{len(rows) - most} more"] if len(rows) > most else []
    return f"Against the present design: {'; '.join([*listed, *more])}."


def sheet_figure(
    section: Section,
    study: Study,
    place: int,
    limits: tuple[Limit, ...],
    limits_name: str,
    date: str | None,
    present: Section | None = None,
) -> Figure:
    """Return the page of a design, by its place in a study; called within `paper.in_style`.

    What is to be checked stands at the top, far from the fields to sign, so that none signs it as a permission.
    """
    figure, axes = new_sheet(WIDTH, HEIGHT)
    job = section.job
    title = wrapped(axes, job.title, 14, _RIGHT - _LEFT, 1)[0]
    say(axes, _LEFT, HEIGHT - 0.5, title, 14)
    subtitle = f"Shop sheet: {job.side} seat and valve, design “{shortened_name(section.name)}”"
    cell(axes, _LEFT, HEIGHT - 0.78, subtitle, 9.5)
    if date is not None:
        cell(axes, _RIGHT, HEIGHT - 0.78, date, 9.5, ha="right")
    axes.plot([_LEFT, _RIGHT], [HEIGHT - 0.93] * 2, color=INK, linewidth=1.0)

    cuts, contact, valve = cutter_list(section), contact_rows(section, study, place), valve_rows(section)
    said = [
        line
        for words in finding_lines(section, study, place, limits, limits_name)
        for line in wrapped(axes, words, _TYPE, _RIGHT - _LEFT)
    ]
    changed = "" if present is None else difference_words(section, present)
    differing = wrapped(axes, changed, _TYPE, _RIGHT - _LEFT) if changed else []
    order = wrapped(axes, ORDER, _TYPE, _RIGHT - _LEFT)
    cautions = wrapped(axes, CAUTIONS, 7.0, _RIGHT - _LEFT)

    y = 0.35 + _LINE * len(cautions)
    for number, line in enumerate(cautions):
        say(axes, _LEFT, y - _LINE * (number + 0.5), line, 7.0)
    y = _draw_fields(axes, y + 0.08)
    rows = max(len(contact), len(valve))
    top = y + 0.12 + _ROW * rows + 0.25
    middle = 0.5 * (_LEFT + _RIGHT) + 0.1
    _pairs(axes, "Contact and throat", contact, _LEFT, top, 2.05)
    _pairs(axes, "Valve", valve, middle, top, 1.45)
    y = _text_block(axes, "", [*order, *differing], top + 0.12)
    y = _draw_cuts(axes, cuts, y + 0.02)
    room = HEIGHT - 0.93 - y - 0.62 - 0.3
    # The drawing's labels need their room too.
    least = max(_LEAST_DRAWING, _LABEL * (len(section.wall) + 1))
    most = max(int((room - least) / _LINE), _LEAST_FINDINGS)
    if len(said) > most:
        said = [*said[: most - 1], "… and more: portviz sheet tells all of it on the terminal."]
    _text_block(axes, "To check", said, HEIGHT - 0.93 - 0.3 - _LINE * len(said))
    room -= _LINE * len(said)
    tall = min(max(room, least), _MOST_DRAWING)
    bottom = y + 0.36 + 0.5 * max(room - tall, 0.0)
    draw_detail(axes, section, None, Box(2.35, bottom, 5.05, bottom + tall), (_LEFT, _RIGHT), _TYPE)
    return figure


def _text_block(axes: Any, title: str, lines: list[str], bottom: float) -> float:
    """Write lines above a height, with a title, and return the height they reach."""
    top = bottom + _LINE * len(lines)
    for number, line in enumerate(lines):
        say(axes, _LEFT, top - _LINE * (number + 0.5), line, _TYPE)
    return _title(axes, title, _LEFT, top) if title else top


def _title(axes: Any, words: str, x: float, bottom: float) -> float:
    say(axes, x, bottom + 0.1, words, 9.0, weight="bold")
    return bottom + 0.22


def _pairs(axes: Any, title: str, rows: list[tuple[str, str]], x: float, top: float, across: float) -> None:
    _title(axes, title, x, top - 0.22)
    for number, (name, value) in enumerate(rows):
        y = top - 0.25 - _ROW * (number + 0.5)
        cell(axes, x, y, name, _TYPE)
        cell(axes, x + across, y, value, _TYPE)


_COLUMNS = (0.0, 0.3, 1.55, 2.15, 3.25, 4.25, 5.2)
_HEADS = ("", "cut", "angle", "width on the cone", "outer Ø", "inner Ø", "remark")


def _draw_cuts(axes: Any, cuts: list[CutRow], bottom: float) -> float:
    """Draw the cutter list above a height and return the height it reaches."""
    top = bottom + _ROW * (len(cuts) + 1)
    for x, head in zip(_COLUMNS, _HEADS, strict=True):
        cell(axes, _LEFT + x, top - 0.5 * _ROW, head, _TYPE, color=THIN)
    axes.plot([_LEFT, _RIGHT], [top - _ROW] * 2, color=THIN, linewidth=0.6)
    for number, cut in enumerate(cuts, start=1):
        y = top - _ROW * (number + 0.5)
        cells = ("–" if cut.left_out else str(number), cut.name, cut.angle, cut.width, cut.outer, cut.inner, cut.remark)
        for x, words in zip(_COLUMNS, cells, strict=True):
            cell(axes, _LEFT + x, y, words, _TYPE)
    return _title(axes, "Cutters", _LEFT, top)


def _draw_fields(axes: Any, bottom: float) -> float:
    """Draw the blank fields above a height and return the height they reach."""
    wide, tall = (_RIGHT - _LEFT) / len(_FIELDS[0]), 0.34
    for row, names in enumerate(reversed(_FIELDS)):
        for column, name in enumerate(names):
            x, y = _LEFT + wide * column, bottom + tall * row
            axes.plot([x, x + wide, x + wide, x, x], [y, y, y + tall, y + tall, y], color=THIN, linewidth=0.7, zorder=2)
            say(axes, x + 0.06, y + tall - 0.08, name, 6.0, color=THIN)
    return bottom + tall * len(_FIELDS)


def write_sheet(
    section: Section,
    study: Study,
    place: int,
    limits: tuple[Limit, ...],
    limits_name: str,
    path: Path,
    *,
    date: str | None = None,
    present: Section | None = None,
    overwrite: bool = False,
) -> Path:
    """Write the page as .pdf or .png.

    Parameters
    ----------
    section : Section
        Of the design, the valve closed.
    study : Study
        That holds the design.
    place : int
        Of the design in the study.
    limits : tuple of Limit
    limits_name : str
        Where the limits come from.
    path : Path
    date : str, optional
        Written on the page; without it the page has none.
    present : Section, optional
        Of the job as it stands, that the page may say what differs from it.
    overwrite : bool
    """
    return write_figure(
        lambda: sheet_figure(section, study, place, limits, limits_name, date, present), path, overwrite=overwrite
    )
