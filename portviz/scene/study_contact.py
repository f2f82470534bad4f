"""Contact width and pressure of a study's designs: over what is varied, or design by design."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from portviz.distribution.findings import spring_pressure
from portviz.distribution.study import Study
from portviz.job.limits import Limit
from portviz.scene.study_data import (
    evenly,
    key_words,
    part_of,
    unit_of,
)
from portviz.scene.study_style import CROSS, LEGEND, TITLE_LETTERS, draw_course, from_zero, mark_present, short_name
from portviz.scene.words import fitted
from portviz.units import in_unit

_USUAL = "#dfe3ea"
#: Designs and values that a panel of contact marks at most.
_MOST_NAMED, _MOST_MARKED = 16, 400

Label = Callable[[int], str]


def _band(axes: Any, limits: tuple[Limit, ...], what: str, scale: float, *, upright: bool = False) -> None:
    for limit in limits:
        if limit.what == what:
            draw = axes.axvspan if upright else axes.axhspan
            draw(
                limit.low * scale,
                limit.high * scale,
                color=_USUAL,
                linewidth=0,
                label=f"usual {what}; check the maker's",
                zorder=0,
            )


def draw_contact_over(figure: Figure, place: Any, study: Study, key: str, limits: tuple[Limit, ...]) -> None:
    """Draw contact width, and pressure where it is known, against the dimension that is varied."""
    shown = part_of(study, np.concatenate([[0], 1 + evenly(study.count - 1, _MOST_MARKED)]))
    unit, kind = unit_of(study, key)
    value = shown.designs.values[key][1:] * in_unit(1.0, unit, kind)
    order = np.argsort(value, kind="stable")
    pressure = spring_pressure(shown)
    with_pressure = bool(np.isfinite(pressure).any())
    grid = place.subgridspec(2 if with_pressure else 1, 1)
    length = study.job.units.length
    to_length = in_unit(1.0, length, "length")
    top = figure.add_subplot(grid[0])
    lines = shown.contact.line[1:][order]
    draw_course(top, value[order], np.where(lines, np.nan, shown.contact.width[1:][order] * to_length))
    if lines.any():
        nothing = np.zeros(int(lines.sum()))
        top.plot(value[order][lines], nothing, "x", label="face and seat touch along a line", **CROSS)
    _band(top, limits, "seat width", to_length)
    mark_present(top, study, key, float(shown.contact.width[0]) * to_length, unit, kind)
    from_zero(top)
    top.set_ylabel(f"contact width [{length}]")
    note = "" if with_pressure else _why_none(shown)
    top.set_title(f"contact width along the cone{note}", fontsize=10)
    top.legend(loc="best", **LEGEND)
    last = top
    if with_pressure:
        last = figure.add_subplot(grid[1], sharex=top)
        top.tick_params(labelbottom=False)
        draw_course(last, value[order], pressure[1:][order] / 1e6)
        _band(last, limits, "contact pressure", 1e-6)
        mark_present(last, study, key, float(pressure[0]) / 1e6, unit, kind)
        from_zero(last)
        last.set_ylabel("pressure [MPa]")
        last.set_title("spring's mean pressure on the band, without friction", fontsize=10)
    last.set_xlabel(f"{key_words(key)} [{unit}]")


def draw_contact_by_design(
    figure: Figure,
    place: Any,
    study: Study,
    limits: tuple[Limit, ...],
    label: Label,
    of: str,
    letters: int = TITLE_LETTERS,
) -> None:
    """Draw contact width, and pressure where it is known, design by design; titles fit so many letters across."""
    places = np.concatenate([[0], 1 + evenly(study.count - 1, _MOST_NAMED)])
    shown = part_of(study, places)
    pressure = spring_pressure(shown)
    with_pressure = bool(np.isfinite(pressure).any())
    grid = place.subgridspec(1, 2 if with_pressure else 1)
    length = study.job.units.length
    to_length = in_unit(1.0, length, "length")
    rows = np.arange(len(places))[::-1]
    names = ["present", *(short_name(label(each)) for each in places[1:].tolist())]
    axes = figure.add_subplot(grid[0])
    width, line = shown.contact.width * to_length, shown.contact.line
    axes.plot(width[~line], rows[~line], "o", color="#0072b2")
    if line.any():
        said = "line contact" if letters < TITLE_LETTERS else "face and seat touch along a line"
        axes.plot(width[line], rows[line], "x", label=said, **CROSS)
    _band(axes, limits, "seat width", to_length, upright=True)
    axes.set_yticks(rows, names, fontsize=8)
    axes.set_ylabel("\n".join(fitted(of.removesuffix(":"), 50, 3)), fontsize=8)
    axes.set_xlim(0.0, None)
    axes.set_ylim(-0.7, len(places) - 0.3)
    axes.set_xlabel(f"contact width [{length}]")
    taken = "" if study.count <= len(places) else f", {len(places) - 1} of {study.count - 1:,} designs, evenly taken"
    note = "" if with_pressure else _why_none(shown)
    # A narrow panel leaves the band to the small print.
    entries = [
        (handle, words)
        for handle, words in zip(*axes.get_legend_handles_labels(), strict=True)
        if letters == TITLE_LETTERS or words == "line contact"
    ]
    if entries:
        axes.legend(*zip(*entries, strict=True), loc="best", **LEGEND)
    letters //= 2 if with_pressure else 1
    title = fitted(f"contact width along the cone{taken}{note}", letters, 4)
    axes.set_title("\n".join(title), fontsize=10)
    if with_pressure:
        other = figure.add_subplot(grid[1], sharey=axes)
        other.plot(pressure / 1e6, rows, "o", color="#0072b2")
        other.tick_params(labelleft=False)
        _band(other, limits, "contact pressure", 1e-6, upright=True)
        other.set_xlim(0.0, None)
        other.set_xlabel("pressure [MPa]")
        title = fitted("spring's mean pressure on the band, without friction", letters, 4)
        other.set_title("\n".join(title), fontsize=10)


def _why_none(study: Study) -> str:
    """Return why there is no mean pressure to draw."""
    if np.isfinite(study.designs.values["valve.seat_force"]).any():
        return "; no mean pressure on a line"
    return "; pressure: no valve.seat_force in job.toml"
