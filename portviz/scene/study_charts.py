"""A study of valve and seat as one figure: flow areas over lift, maps over what is varied, contact and pressure."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import TwoSlopeNorm
from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine
from matplotlib.patches import Rectangle

from portviz.distribution.findings import spring_pressure
from portviz.distribution.study import Study
from portviz.errors import counted
from portviz.job.limits import Limit
from portviz.job.model import Array, Index, Mask
from portviz.job.words import lift_text, pressure_text
from portviz.scene.colours import BACKGROUND, INK, NO_DATA
from portviz.scene.paper import write_figure
from portviz.scene.study_contact import draw_contact_by_design, draw_contact_over
from portviz.scene.study_data import (
    PairMap,
    cell_edges,
    dimension_map,
    drawn_places,
    key_words,
    pair_maps,
    unit_of,
    value_words,
    varied_keys,
)
from portviz.scene.study_style import KINDS, LEGEND, TITLE_LETTERS, draw_course, mark_present, short_name
from portviz.scene.words import fitted
from portviz.units import area_unit, in_unit

#: Colours and strokes of designs (after Okabe and Ito); the present one is black.
_DESIGNS = (
    ("#0072b2", "--"),
    ("#d55e00", "-."),
    ("#009e73", (0, (5, 1, 1, 1, 1, 1))),
    ("#cc79a7", ":"),
    ("#b58900", (0, (8, 2))),
    ("#56b4e9", (0, (3, 1, 1, 1))),
    ("#7b3294", (0, (10, 2, 2, 2))),
    ("#8c510a", (0, (1, 1))),
    ("#d0006f", (0, (6, 1, 1, 1, 1, 1, 1, 1))),
    ("#4d6b00", (0, (4, 3))),
    ("#1f9e9e", (0, (12, 2, 1, 2))),
    ("#7f7f7f", (0, (2, 2))),
)
#: Lines that are drawn of designs without names; of more, the colours come again with other points.
MOST_DRAWN = len(_DESIGNS)
_POINTS = "os^Dvx"
_BAND = "#dcd9d0"
#: More is more: orange less area than now, violet more; white no change.
CHANGE_MAP = "PuOr"
#: The least range of a map's colours [-]: less would paint what no one can cut or measure.
_LEAST_RANGE = 1e-2
#: Entries of a legend in one column.
_MOST_IN_COLUMN, _MOST_IN_LEGEND = 14, 26
_HATCH: dict[str, Any] = {"facecolor": "none", "edgecolor": "#3a3a3a", "hatch": "//", "linewidth": 0.0}
_LINE_MARK = " (line contact)"
_FOOT_LETTERS = 225

Label = Callable[[int], str]


def study_figure(study: Study, limits: tuple[Limit, ...], limits_name: str, label: Label) -> Figure:
    """Return the figure of a study; called within `paper.in_style`.

    Parameters
    ----------
    study : Study
    limits : tuple of Limit
        Usual ranges.
    limits_name : str
        Where they come from.
    label : callable
        Returns a design's words by its place.
    """
    keys = varied_keys(study)
    figure = Figure(
        figsize=(13.2, 10.2), dpi=100, facecolor=BACKGROUND, layout=ConstrainedLayoutEngine(h_pad=0.09, w_pad=0.09)
    )
    FigureCanvasAgg(figure)
    title = [*fitted(study.job.title, 100, 2), *fitted(_subtitle(study, keys), 130, 2)]
    figure.suptitle("\n".join(title), color=INK, fontsize=12)
    grid = figure.add_gridspec(2, 1)
    # The areas themselves lie on one another: what differs has more room.
    top, bottom = grid[0].subgridspec(1, 2, width_ratios=(1.0, 1.25)), grid[1].subgridspec(1, 2)
    drawn = drawn_places(study, keys, MOST_DRAWN)
    # Of several dimensions the values alone tell designs apart; what they are of is said once.
    of, named = "", label
    if len(keys) > 1:
        of, named = f"{', '.join(map(key_words, keys))}:", partial(value_words, study, keys)
    _draw_areas(figure.add_subplot(top[0]), study, drawn, named, of)
    _draw_changes(figure.add_subplot(top[1]), study, drawn)
    notes: list[str] = []
    lifts = int(np.sum(study.lift > 0.0))
    if len(keys) == 1 and lifts:
        if lifts > 1:
            notes += _draw_map(figure.add_subplot(bottom[0]), study, keys[0])
        else:
            _draw_curve(figure.add_subplot(bottom[0]), study, keys[0])
        draw_contact_over(figure, bottom[1], study, keys[0], limits)
    elif len(keys) == 2 and lifts:
        notes += _draw_pairs(figure, bottom if lifts == 1 else grid[1], study, (keys[0], keys[1]))
        if lifts == 1:
            draw_contact_by_design(figure, bottom[1], study, limits, named, of, TITLE_LETTERS // 2)
    else:
        draw_contact_by_design(figure, grid[1], study, limits, named, of)
        if len(keys) > 2:
            notes.append(f"{len(keys)} dimensions are varied: a map could show two at most.")
    if len(keys) != 2 or lifts < 2:
        notes += _limit_words(study, limits, limits_name)
    foot = "\n".join(_foot_lines([*_told(study, drawn), *notes]))
    figure.supxlabel(foot, x=0.01, ha="left", fontsize=7.5, color="#4a4d51")
    return figure


def _subtitle(study: Study, keys: tuple[str, ...]) -> str:
    what = f"study of {' and '.join(map(key_words, keys))}" if 0 < len(keys) <= 3 else "study of designs"
    refused = f", {counted(len(study.refused), 'design')} refused" if study.refused else ""
    held = f"; held: {', '.join(study.designs.holds)}" if study.designs.holds else ""
    count = study.count - 1
    designs = f"{count:,} design{'' if count == 1 else 's'}" if count else "no possible design"
    return f"{what}: {designs} beside the present one{refused}{held}"


def _told(study: Study, drawn: Index) -> list[str]:
    words = []
    if study.count - 1 > len(drawn):
        taken = "evenly taken"
        if len(varied_keys(study)) > 1:
            values = max(len(np.unique(study.designs.values[key][1:])) for key in varied_keys(study))
            taken = f"each value in one of them{' as far as there is room' if values > MOST_DRAWN else ''}"
        words.append(
            f"Lines: {len(drawn)} of {study.count - 1:,} designs, {taken}; pale band: between the least and the "
            "greatest of all."
        )
    words.append("Dots: areas found at these lifts, straight lines between them.")
    if study.coefficients is not None and np.isfinite(study.flow).any():
        words.append(
            f"Predicted flow changes as the flow area does if the coefficients measured in run "
            f"“{fitted(study.coefficients.run, 40)[0]}” stay (at {_pressure(study)}): an assumption, no source, since "
            "coefficients move with geometry; measure what you cut."
        )
    else:
        words.append(
            "Flow: nothing was measured to predict it from; area is not flow, since coefficients move with geometry."
        )
    words.append(
        "A narrow seat cools the valve worse, a wide one seals worse; makers' limits and licensed practice come first."
    )
    return words


def _pressure(study: Study) -> str:
    return pressure_text(study.job, study.job.bench.test_pressure)


def _foot_lines(parts: list[str]) -> list[str]:
    return fitted(" ".join(filter(None, parts)), _FOOT_LETTERS, 8)


def _limit_words(study: Study, limits: tuple[Limit, ...], name: str) -> list[str]:
    shown = [limit for limit in limits if limit.what == "seat width"]
    if np.isfinite(spring_pressure(study)).any():
        shown += [limit for limit in limits if limit.what == "contact pressure"]
    words = []
    for limit in shown:
        low, high = (in_unit(end, limit.unit, KINDS[limit.what]) for end in (limit.low, limit.high))
        words.append(f"Bluish band: usual {limit.what}, {low:g} to {high:g} {limit.unit} ({limit.source}; {name}).")
    return words


#: A cross on an axis is whole.


def _draw_areas(axes: Any, study: Study, drawn: Index, label: Label, of: str) -> None:
    unit, (area, to_area) = study.job.units.length, area_unit(study.job.units.length)
    lift, areas = study.lift * in_unit(1.0, unit, "length"), study.flow_area * to_area
    if study.count - 1 > len(drawn):
        axes.fill_between(lift, areas.min(axis=0), areas.max(axis=0), color=_BAND, linewidth=0, label="all designs")
    axes.plot(lift, areas[0], color="black", linewidth=2.2, marker="o", markersize=3.5, label="present")
    for number, place in enumerate(drawn.tolist()):
        mark = _LINE_MARK if study.contact.line[place] else ""
        named = f"{short_name(label(place))}{mark}" if number < _MOST_IN_LEGEND else None
        axes.plot(lift, areas[place], **_look(number), markersize=2.8, label=named)
    if len(drawn) > _MOST_IN_LEGEND:
        axes.plot([], [], " ", label=f"and {len(drawn) - _MOST_IN_LEGEND} more")
    axes.set_xlim(0.0, 1.04 * (lift[-1] or 1.0))
    # A closed valve alone has no area, but for rounding.
    axes.set_ylim(0.0, None if (study.lift > 0.0).any() else 1.0)
    axes.set_xlabel(f"lift [{unit}]")
    axes.set_ylabel(f"flow area [{area}]")
    axes.set_title("flow area: the least passage at each lift", fontsize=10)
    title = "\n".join(fitted(of, 50, 3))
    columns = -(-len(drawn) // _MOST_IN_COLUMN)
    small = {"fontsize": 5.5 if columns > 1 else 7 if len(drawn) > 7 else 8, "ncols": min(columns, 2) or 1}
    axes.legend(loc="lower right", title=title, title_fontsize=8, **LEGEND | small)


def _look(number: int) -> dict[str, Any]:
    """Return colour, stroke and points of the line of a design, by its number among those drawn."""
    colour, stroke = _DESIGNS[number % len(_DESIGNS)]
    marker = _POINTS[number // len(_DESIGNS) % len(_POINTS)]
    return {"color": colour, "linestyle": stroke, "linewidth": 1.6, "marker": marker}


def _draw_changes(axes: Any, study: Study, drawn: Index) -> None:
    unit = study.job.units.length
    above = study.lift > 0.0
    lift = study.lift[above] * in_unit(1.0, unit, "length")
    change = 100.0 * (study.flow_area[:, above] / study.flow_area[:1, above] - 1.0)
    if study.count - 1 > len(drawn) and len(lift):
        axes.fill_between(lift, change.min(axis=0), change.max(axis=0), color=_BAND, linewidth=0)
    axes.axhline(0.0, color="black", linewidth=2.0)
    for number, place in enumerate(drawn.tolist()):
        axes.plot(lift, change[place], **_look(number), markersize=3.2)
    if not len(lift):
        axes.set_title("no lift above zero was asked for", fontsize=10)
        return
    _at_least(axes, 0.5)
    axes.set_xlim(0.0, 1.04 * lift[-1])
    axes.set_xlabel(f"lift [{unit}]")
    axes.set_ylabel("change of flow area [%]")
    axes.set_title("against the present design; colours as beside", fontsize=10)


def _at_least(axes: Any, least: float) -> None:
    """Let an axis round zero span a little at least, so that rounding is not drawn large."""
    low, high = axes.get_ylim()
    axes.set_ylim(min(low, -least), max(high, least))


def _greatest(change: Array) -> float:
    return max(float(np.nanmax(np.abs(change), initial=0.0)), _LEAST_RANGE)


def _paint(axes: Any, across: Array, along: Array, change: Array, most: float) -> None:
    """Paint cells of a map (along, across) and its bar of colours, white where nothing changes."""
    scale = TwoSlopeNorm(0.0, -100.0 * most, 100.0 * most)
    shown = axes.pcolormesh(
        cell_edges(across),
        cell_edges(along),
        np.ma.masked_invalid(100.0 * change),
        cmap=CHANGE_MAP,
        norm=scale,
        rasterized=True,
    )
    axes.figure.colorbar(shown, ax=axes, label="change of flow area [%]")


def _hatch(axes: Any, x: Array, y: Array, line: Mask) -> None:
    """Hatch the cells between edges (y, x) in which face and seat touch along a line, row by row."""
    for row, cells in enumerate(line):
        ends = np.flatnonzero(np.diff(np.concatenate([[False], cells, [False]]).astype(np.int8)))
        for first, after in zip(ends[::2], ends[1::2], strict=True):
            axes.add_patch(Rectangle((x[first], y[row]), x[after] - x[first], y[row + 1] - y[row], **_HATCH))


def _colour_words(changes: Array, line: Mask) -> list[str]:
    """Return what the small print says of a map's colours and hatching."""
    words = []
    if float(np.nanmax(np.abs(changes), initial=0.0)) < _LEAST_RANGE:
        words.append(f"All changes are below {100.0 * _LEAST_RANGE:g} %: the map's colours span that at least.")
    if line.any():
        words.append("Hatched: face and seat touch along a line.")
    return words


def _draw_curve(axes: Any, study: Study, key: str) -> None:
    """Draw the change of flow area at the only lift over the dimension that is varied."""
    unit, kind = unit_of(study, key)
    to_value, column = in_unit(1.0, unit, kind), int(np.argmax(study.lift > 0.0))
    value = study.designs.values[key][1:] * to_value
    order = np.argsort(value, kind="stable")
    change = 100.0 * (study.flow_area[1:, column] / study.flow_area[0, column] - 1.0)
    line = study.contact.line[1:][order]
    axes.axhline(0.0, color="black", linewidth=0.8)
    draw_course(axes, value[order], change[order])
    if line.any():
        axes.plot(value[order][line], change[order][line], "x", color="#d55e00", label="line contact", zorder=4)
    mark_present(axes, study, key, 0.0, unit, kind)
    _at_least(axes, 0.5)
    axes.set_xlabel(f"{key_words(key)} [{unit}]")
    axes.set_ylabel("change of flow area [%]")
    axes.set_title(f"change of flow area at {lift_text(study.job, float(study.lift[column]))} lift", fontsize=10)
    axes.legend(loc="best", **LEGEND)


def _draw_map(axes: Any, study: Study, key: str) -> list[str]:
    """Draw the map of one dimension and lift; return what is to be said of it."""
    found = dimension_map(study, key)
    unit, kind = unit_of(study, key)
    to_value, to_lift = in_unit(1.0, unit, kind), in_unit(1.0, study.job.units.length, "length")
    across, along = found.value * to_value, found.lift * to_lift
    _paint(axes, across, along, found.change.T, _greatest(found.change))
    _hatch(axes, cell_edges(across), cell_edges(along)[[0, -1]], found.line[None])
    ends = cell_edges(across)[[0, -1]]
    lines = []
    if np.isfinite(found.takes_over).any():
        # Of one value alone the line runs across its cell.
        at = across if len(across) > 1 else ends
        level = np.broadcast_to(found.takes_over, at.shape) * to_lift
        axes.plot(at, level, color="white", linewidth=3.4)
        lines += axes.plot(at, level, color="black", linewidth=1.4, label="above: another passage than the gap limits")
    if np.isfinite(found.present):
        present = found.present * to_value
        lines.append(axes.axvline(present, color="black", linewidth=1.4, linestyle=(0, (4, 2)), label="present value"))
        ends = np.array([min(ends[0], present), max(ends[1], present)])
        pad = 0.0 if ends[0] < present < ends[1] else 0.02 * (ends[1] - ends[0])
        ends += np.array([-pad, pad])
    axes.set_facecolor(BACKGROUND)
    axes.set_xlim(*ends)
    axes.set_ylim(*cell_edges(along)[[0, -1]])
    axes.set_xlabel(f"{key_words(key)} [{unit}]")
    axes.set_ylabel(f"lift [{study.job.units.length}]")
    if lines:
        axes.legend(handles=lines, loc="upper left", **LEGEND)
    over = "" if np.isfinite(found.takes_over).any() else "; the gap limits at all of these lifts"
    axes.set_title(f"change of flow area over {key_words(key)} and lift{over}", fontsize=10)
    total = len(np.unique(study.designs.values[key][1:]))
    taken = [f"Map: {len(found.value)} of {total:,} values, evenly taken."] if total > len(found.value) else []
    return [*taken, *_colour_words(found.change, found.line)]


def _draw_pairs(figure: Figure, place: Any, study: Study, keys: tuple[str, str]) -> list[str]:
    """Draw the maps of two dimensions, up to three lifts beside each other; return what is to be said of them."""
    maps = pair_maps(study, keys)
    most = max(_greatest(each.change) for each in maps)
    grid = place.subgridspec(1, len(maps)) if len(maps) > 1 else place
    for number, each in enumerate(maps):
        _draw_pair(figure.add_subplot(grid[number]), study, each, most)
    changes, line = np.array([each.change for each in maps]), maps[0].line
    return ["Maps: grey cells make no valve and seat; circle: the present values.", *_colour_words(changes, line)]


def _draw_pair(axes: Any, study: Study, found: PairMap, most: float) -> None:
    units = [unit_of(study, key) for key in found.keys]
    axes.set_facecolor(NO_DATA)
    (to_across, to_along) = (in_unit(1.0, unit, kind) for unit, kind in units)
    _paint(axes, found.across * to_across, found.along * to_along, found.change, most)
    _hatch(axes, cell_edges(found.across * to_across), cell_edges(found.along * to_along), found.line)
    present = found.present[0] * to_across, found.present[1] * to_along
    if np.isfinite(present).all():
        axes.plot(*present, marker="o", markersize=9, markerfacecolor="white", markeredgecolor="black", clip_on=False)
    axes.set_xlabel(f"{key_words(found.keys[0])} [{units[0][0]}]")
    axes.set_ylabel(f"{key_words(found.keys[1])} [{units[1][0]}]")
    axes.set_title(f"change of flow area at {lift_text(study.job, found.lift)} lift", fontsize=10)


def write_study_chart(
    study: Study,
    limits: tuple[Limit, ...],
    limits_name: str,
    label: Label,
    path: Path,
    *,
    overwrite: bool = False,
) -> Path:
    """Write the figure as .png, .pdf or .svg; see `study_figure`."""
    return write_figure(lambda: study_figure(study, limits, limits_name, label), path, overwrite=overwrite)
