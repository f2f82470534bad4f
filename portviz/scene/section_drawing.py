"""A dimensioned half section of seat and valve on a sheet: the whole, and a zoomed detail of seat and face."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from portviz.job.model import Array
from portviz.job.words import lift_text
from portviz.scene.colours import CUT, INK, LEAST, VALVE
from portviz.scene.paper import (
    THIN,
    Box,
    View,
    cell,
    dimension_line,
    draw_line,
    draw_metal,
    fitted_view,
    frame,
    label_column,
    new_sheet,
    say,
    scale_bar,
    words_size,
    wrapped,
    write_figure,
)
from portviz.scene.section_parts import Section, differences

#: The closed valve's contact, and a second design: told apart from red and from each other by colour-blind readers.
CONTACT, SECOND = "#0057b7", "#c45a00"
_DASHES = (0, (5, 2.5))
#: Where one part meets the next.
_CORNER = {"linestyle": "none", "marker": "o", "markersize": 3.2, "markerfacecolor": "white", "color": INK}
CAUTION = (
    "A narrow seat cools the valve worse, a wide one seals worse; a burnt valve can break, a seat pull out, a thin "
    "margin crack. The valve's and seat's makers' limits and licensed practice come first; this drawing permits "
    "nothing. Wear eye and breathing protection when you grind."
)
_WIDTH, _HEIGHT = 15.0, 8.9
_ROW = 0.27
#: Rows of the table of differences; more are counted.
_MOST_ROWS = 24


def metal_outlines(section: Section, reach: float = 0.0) -> tuple[Array, Array]:
    """Return the closed outlines (r, z) [m] of the seat's metal, out to a radius at least, and of the half valve."""
    wall = section.wall_line
    outer = max(1.18 * max(wall[0, 0], section.valve_line[0, 0]), reach)
    ring = np.concatenate([wall, [[outer, wall[-1, 1]], [outer, wall[0, 1]]]])
    valve = section.valve_line
    return ring, np.concatenate([[[0.0, valve[0, 1]]], valve, [[0.0, valve[-1, 1]]]])


def closed_head(section: Section) -> Array:
    """Return the half valve's outline (r, z) [m] from the axis, along the head's underside, up to the stem's end."""
    return np.concatenate([[[0.0, section.valve_line[0, 1]]], section.valve_line])


def detail_corners(section: Section, other: Section | None = None) -> tuple[Array, Array]:
    """Return the corners (r, z) [m] of what the detail shows: all cuts and the face, to a little beyond them."""
    shown = [_detail_points(each) for each in (section, other) if each is not None]
    points = np.concatenate(shown)
    low, high = points.min(axis=0), points.max(axis=0)
    pad = 0.10 * np.max(high - low)
    return low - pad, high + pad


def _detail_points(section: Section) -> Array:
    faces = [part.points for part in section.valve if part.name in ("margin", "face", "back cut")]
    throat = section.profiles.wall[0, -2:-1]
    return np.concatenate([section.profiles.wall[0, :-2], throat, *faces])


def section_figure(section: Section, other: Section | None = None) -> Figure:
    """Return the drawing of a design, a second one dashed over it; called within `paper.in_style`."""
    rows = [] if other is None else differences(section, other)
    extra = 0.0 if other is None else 0.55 + 0.2 * (-(-min(len(rows), _MOST_ROWS) // 2) + 1)
    figure, axes = new_sheet(_WIDTH, _HEIGHT + extra)
    top = _HEIGHT + extra
    _write_title(axes, section, other, top)
    low, high = detail_corners(section, other)
    draw_whole(axes, section, other, Box(0.35, extra + 0.95, 5.3, top - 0.95), (low, high))
    draw_detail(axes, section, other, Box(7.75, extra + 1.05, 11.75, top - 1.0), (5.75, 14.85))
    if other is not None:
        _write_differences(axes, section, other, rows, extra)
    words = (
        "Angles from the plane of the valve's head, widths along the cone. "
        + (f"Left out: {'; '.join(section.left_out)}. " if section.left_out else "")
        + CAUTION
    )
    for number, line in enumerate(wrapped(axes, words, 7.5, _WIDTH - 0.7, 3)):
        say(axes, 0.35, 0.55 + extra - 0.15 * number, line, 7.5, color=THIN)
    return figure


def _write_title(axes: Any, section: Section, other: Section | None, top: float) -> None:
    job = section.job
    at = "valve closed" if section.lift <= 0.0 else f"at {lift_text(job, section.lift)} lift"
    title = wrapped(axes, job.title, 13, _WIDTH - 0.7, 1)[0]
    say(axes, 0.35, top - 0.3, title, 13)
    said = f"Half section, {at}; design: {shortened_name(section.name)}"
    low, high = detail_corners(section, other)
    if section.least_line is not None and not ((section.least_line > low) & (section.least_line < high)).all():
        said += f"; {section.least_words}"
    if other is not None:
        said += f"; dashed: {shortened_name(other.name)} (both with the seat band's outer edge at one height)"
    say(axes, 0.35, top - 0.6, wrapped(axes, said, 9.5, _WIDTH - 0.7, 1)[0], 9.5)


def shortened_name(name: str) -> str:
    """Return a design's name cut to a length that fits a line."""
    return name if len(name) <= 50 else f"{name[:49]}…"


def draw_whole(axes: Any, section: Section, other: Section | None, box: Box, detail: tuple[Array, Array]) -> None:
    """Draw the half section with its diameters below and above."""
    ring, valve = metal_outlines(section)
    points = np.concatenate([ring, valve])
    below, above = section.diameters[:4], section.diameters[4:]
    inner = Box(box.left, box.bottom + _ROW * (len(below) + 1.4), box.right, box.top - _ROW * (len(above) + 0.9))
    if other is not None:
        # What is larger than the design must not leave its view.
        points = np.concatenate([points, other.valve_line, other.wall_line])
    view = fitted_view(points.min(axis=0), points.max(axis=0), inner)
    draw_metal(axes, ring, view, CUT, "////")
    draw_metal(axes, valve, view, VALVE, "\\\\\\\\")
    if other is not None:
        for outline in (other.wall_line, closed_head(other)):
            draw_line(axes, outline, view, color=SECOND, linewidth=0.9, linestyle=_DASHES, zorder=4)
    _mark_contact_or_passage(axes, section, view)
    lowest, highest = view.to_sheet(points.min(axis=0))[1], view.to_sheet(points.max(axis=0))[1]
    axis = view.to_sheet([0.0, 0.0])[0]
    rows = [*((each, lowest - _ROW * (row + 0.9)) for row, each in enumerate(below))]
    rows += [(each, highest + _ROW * (row + 0.8)) for row, each in enumerate(reversed(above))]
    for each, y in rows:
        to, metal = view.to_sheet([each.radius, each.height])
        words = f"{each.name} Ø {lift_text(section.job, 2.0 * each.radius)}"
        if each.name == "stem" or to - axis < 1.9:
            _beside(axes, axis, to, y, metal, words)
        else:
            dimension_line(axes, axis, to, y, metal, words)
    axes.plot(
        [axis, axis],
        [lowest - _ROW * (len(below) + 0.3), highest + _ROW * (len(above) + 0.3)],
        color=INK,
        linewidth=0.8,
        linestyle=(0, (12, 3, 2, 3)),
        zorder=5,
    )
    _write_fillet(axes, section, view)
    corners = view.to_sheet(np.array(detail))
    frame(axes, Box(*corners[0], *corners[1]), linestyle=(0, (2, 2)))
    say(axes, corners[1, 0] - 0.05, corners[1, 1] + 0.12, "detail", 8, ha="right", color=INK, zorder=9, bbox=_PLATE)
    scale_bar(axes, view, box.left, box.bottom - 0.12, 1.6, section.job.units.length)


_PLATE = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}


def _beside(axes: Any, axis: float, to: float, y: float, metal: float, words: str) -> None:
    """Draw a diameter too short for its words, which stand behind its end."""
    said = dimension_line(axes, axis, to, y, metal, words)
    said.set_position((to + 0.12, y))
    said.set_horizontalalignment("left")


def _write_fillet(axes: Any, section: Section, view: View) -> None:
    fillet = next((part for part in section.valve if part.name == "fillet"), None)
    if fillet is None:
        return
    middle = view.to_sheet(fillet.points[len(fillet.points) // 2])
    stem, throat = (
        view.to_sheet([each.radius, 0.0])[0] for each in sorted(section.diameters[4:], key=lambda each: each.radius)
    )
    words = fillet.words.replace("fillet: radius", "fillet R")
    top = view.to_sheet([0.0, section.wall_line[-1, 1]])[1]
    at = 0.5 * (stem + throat), top - 0.22
    if words_size(axes, words, 8.0)[0] > throat - stem - 0.1:
        # In a small drawing it stands above the seat's metal, out of the way of the detail's frame.
        words = words.removeprefix("fillet ")
        at = max(at[0], stem + 0.5 * words_size(axes, words, 8.0)[0] + 0.06), top + 0.1
    axes.plot([middle[0], at[0]], [middle[1], at[1] - 0.1], color=INK, linewidth=0.7, zorder=5)
    axes.plot(*middle, marker="o", markersize=2.6, color=INK, zorder=5)
    say(axes, *at, words, 8.0, ha="center", bbox=_PLATE, zorder=7)


def _mark_contact_or_passage(axes: Any, section: Section, view: View, clip: Any = None, wide: float = 3.4) -> None:
    if section.contact_line is not None:
        line = section.contact_line
        if section.contact.line[0]:
            draw_line(axes, line[:1], view, clip, marker="o", markersize=1.4 * wide, color=CONTACT, zorder=5)
        else:
            draw_line(axes, line, view, clip, color=CONTACT, linewidth=wide, solid_capstyle="butt", zorder=5)
    if section.least_line is not None:
        draw_line(axes, section.least_line, view, clip, color=LEAST, linewidth=0.75 * wide, zorder=5)


def draw_detail(
    axes: Any,
    section: Section,
    other: Section | None,
    box: Box,
    across: tuple[float, float],
    size: float = 8.5,
) -> View:
    """Draw the zoomed detail of seat and face in a box, labels of the valve at its left and of the seat at its right.

    Parameters
    ----------
    axes : Axes
        Of a sheet in inches.
    section : Section
    other : Section or None
        Drawn dashed over it.
    box : Box
    across : tuple of float
        From where to where on the sheet the labels may reach [inch].
    size : float
        Of the type [point].
    """
    low, high = detail_corners(section, other)
    view = fitted_view(low, high, box)
    clip = frame(axes, box)
    for outline, colour, hatch in zip(
        metal_outlines(section, 2.0 * high[0]), (CUT, VALVE), ("///", "\\\\\\"), strict=True
    ):
        draw_metal(axes, outline, view, colour, hatch, clip)
    for part in (*section.wall, *section.valve):
        draw_line(axes, part.points[[0, -1]], view, clip, zorder=4, **_CORNER)
    if other is not None:
        for outline in (other.wall_line, closed_head(other)):
            draw_line(axes, outline, view, clip, color=SECOND, linewidth=1.5, linestyle=_DASHES, zorder=5)
    _mark_contact_or_passage(axes, section, view, clip, 6.0)
    _label_sides(axes, section, view, across, size)
    say(axes, box.left + 0.08, box.top + 0.14, "detail of seat and face", size)
    scale_bar(axes, view, box.left + 0.08, box.bottom - 0.2, 1.3, section.job.units.length)
    return view


def _label_sides(axes: Any, section: Section, view: View, across: tuple[float, float], size: float) -> None:
    box = view.box
    marked, colour = _marked_point(section, view), CONTACT if section.contact_line is not None else LEAST
    valve = [part for part in section.valve if part.name != "fillet"]
    columns = {
        "right": ([*section.wall], box.right + 0.28, across[1] - box.right - 0.28),
        "left": (valve, box.left - 0.28, box.left - 0.28 - across[0]),
    }
    for side, (parts, x, room) in columns.items():
        labels, anchors, colours = [], [], []
        for part in parts:
            anchor = _visible_part(part.points, view, _ALONG.get(part.name, 0.5))
            if anchor is not None:
                labels.append("\n".join(_label_lines(axes, part.words, size, room)))
                anchors.append(anchor)
                colours.append(INK)
        if side == "right" and marked is not None:
            labels.append("\n".join(_label_lines(axes, section.least_words, size, room)))
            anchors.append(marked)
            colours.append(colour)
        label_column(axes, np.array(anchors), labels, x, box.bottom, box.top, side=side, size=size, colours=colours)


def _label_lines(axes: Any, words: str, size: float, room: float) -> list[str]:
    """Return a label on lines no wider than its room [inch], broken behind commas and colons where that is enough."""
    lines: list[str] = []
    for part in re.split(r"(?<=[,:]) ", words):
        longer = f"{lines[-1]} {part}" if lines else part
        if lines and words_size(axes, longer, size)[0] > room:
            lines.append(part)
        else:
            lines[-1:] = [longer]
    return [each for line in lines for each in wrapped(axes, line, size, room)]


def _marked_point(section: Section, view: View) -> Array | None:
    """Return the point [inch] at which contact or least passage is labelled, or None where a view does not show it."""
    if section.contact_line is not None:
        # Not the middle, where the band's own label ends.
        start, end = section.contact_line
        return view.to_sheet(start + 0.2 * (end - start))
    assert section.least_line is not None
    return _visible_part(section.least_line, view)


#: Where along a part its leader ends, if not at its middle: band, contact and face lie on each other.
_ALONG = {"seat band": 0.66, "face": 0.92}


def _visible_part(line: Array, view: View, part: float = 0.5) -> Array | None:
    """Return the point [inch] at a part of what a view's box shows of a line (r, z) [m]; None for nothing."""
    start, end = view.to_sheet(line[[0, -1]])
    along = np.linspace(0.0, 1.0, 201)[:, None]
    points = start + along * (end - start)
    box = view.box
    inside = (points >= [box.left, box.bottom]).all(axis=1) & (points <= [box.right, box.top]).all(axis=1)
    seen = points[inside]
    return seen[int(part * (len(seen) - 1))] if len(seen) else None


def _write_differences(
    axes: Any, section: Section, other: Section, rows: list[tuple[str, str, str]], extra: float
) -> None:
    """Write what differs in two columns of a table at the sheet's foot."""
    top = extra + 0.02
    more = len(rows) - _MOST_ROWS
    shown = rows[:_MOST_ROWS]
    half = max(-(-len(shown) // 2), 1)
    title = "What differs" + (f" ({more} more are not listed)" if more > 0 else "")
    say(axes, 0.35, top, title if rows else "Nothing differs.", 9)
    for column in range(2):
        part = shown[column * half : (column + 1) * half]
        if not part:
            continue
        x = 0.35 + 7.3 * column
        for place, (words, colour) in enumerate(
            (("", INK), (shortened_name(section.name), INK), (f"{shortened_name(other.name)} (dashed)", SECOND))
        ):
            cell(axes, x + _COLUMNS[place], top - 0.22, wrapped(axes, words, 8, 2.3, 1)[0], 8, color=colour)
        for row, cells in enumerate(part):
            for place, (words, colour) in enumerate(zip(cells, (INK, INK, SECOND), strict=True)):
                cell(axes, x + _COLUMNS[place], top - 0.42 - 0.2 * row, words, 8, color=colour)


_COLUMNS = (0.0, 2.2, 4.6)


def write_section(section: Section, other: Section | None, path: Path, *, overwrite: bool = False) -> Path:
    """Write the drawing as .png, .pdf or .svg."""
    return write_figure(lambda: section_figure(section, other), path, overwrite=overwrite)
