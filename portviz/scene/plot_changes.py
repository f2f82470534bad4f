"""What changed from one run to another: stations over lifts as a table of colours, with the total flow's change."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.figure import Figure

from portviz.distribution.comparison import Comparison, LiftComparison
from portviz.distribution.differences import Difference
from portviz.distribution.given import require_a
from portviz.distribution.verdicts import NOT_SHOWN, expanded
from portviz.job.digits import decimals_of
from portviz.job.model import Array
from portviz.job.words import reference_words
from portviz.scene.colours import INK
from portviz.scene.comparison import DIFFERENCE_MAP, difference_range
from portviz.scene.paper import THIN, words_size
from portviz.scene.plot_style import SMALL, TITLE, TYPE, WIDTH, add_panel, for_print, new_figure, write
from portviz.scene.words import fitted
from portviz.units import in_unit, number_text

#: Left edge, width and right column of the table [inch].
_LEFT, _TABLE, _FLOW = 0.62, 4.75, 5.5
_ROW, _MOST_TABLE = 0.24, 2.9
#: What stays free at the paper's right edge [inch].
_EDGE = 0.04
_GREY = "#9a9c9f"
#: Smaller numbers are left out [point].
_LEAST_TYPE = 6.0


@for_print
def plot_changes(comparison: Comparison) -> Figure:
    """Return the change of velocity at each common lift and station, coloured and told where the data show it.

    Parameters
    ----------
    comparison : Comparison
        As `portviz.compare_runs` returns it.

    Raises
    ------
    UsageError
        If what is given is no comparison.

    Notes
    -----
    A change that is not shown is a grey dot, which is not the same as none. Beside the table stands the change of the
    bench's flow with ± at 95 %.
    """
    require_a(comparison, Comparison, "portviz.compare(result, before, after)")
    a, b, job, lifts = comparison.a, comparison.b, comparison.a.reduction.job, comparison.lifts
    angles = np.unique(np.concatenate([np.mod(each.angles_deg, 360.0) for each in lifts]))
    change, shown, there = _table(lifts, angles, in_unit(1.0, job.units.velocity, "velocity"))
    tall = min(_ROW * len(lifts), _MOST_TABLE)
    before, after = (fitted(name, 48)[0] for name in (a.label(b), b.label(a)))
    heading = fitted(f"change of velocity [{job.units.velocity}] from “{before}” to “{after}”", 76, 2)
    bottom = 0.82
    figure = new_figure(bottom + tall + 0.16 * len(heading) + 0.06)
    axes = add_panel(figure, _LEFT, bottom, _TABLE, tall)
    limits = difference_range(comparison)
    axes.set_xlim(0.0, len(angles))
    axes.set_ylim(0.0, len(lifts))
    painted = axes.imshow(
        np.ma.masked_where(~shown, change),
        extent=(0.0, len(angles), 0.0, len(lifts)),
        origin="lower",
        aspect="auto",
        interpolation="none",
        cmap=DIFFERENCE_MAP,
        vmin=limits.low,
        vmax=limits.high,
    )
    wide, high = 72.0 * _TABLE / len(angles), 72.0 * tall / len(lifts)
    if wide > 4.0:
        axes.vlines(np.arange(1, len(angles)), 0.0, len(lifts), color="white", linewidth=0.8)
    axes.hlines(np.arange(1, len(lifts)), 0.0, len(angles), color="white", linewidth=0.8)
    row, column = np.nonzero(there & ~shown)
    dot = min(2.8, 0.4 * wide, 0.4 * high)
    axes.plot(column + 0.5, row + 0.5, linestyle="none", marker="o", markersize=dot, color=_GREY, markeredgewidth=0.0)
    numbers = _write_numbers(axes, change, shown, painted, wide, high)
    _mark_axes(axes, comparison, angles)
    _write_flows(axes, comparison, min(TYPE, 0.8 * high))
    up = bottom + tall + 0.06
    for number, line in enumerate(reversed(heading)):
        write(figure, _LEFT, up + 0.16 * number, line, TITLE)
    write(figure, _FLOW, up, f"change of flow [{job.units.flow}]", TITLE)
    unknown = all(np.isnan(each.stations["velocity"].u).all() for each in lifts)
    words = (
        f"Orange: higher, violet: lower{', by the number' if numbers else ''}, where the data show it (5 %, all "
        "stations of a lift together). Grey dot: not shown, which is not the same as no change. Flow: ± at 95 %."
    )
    if unknown:
        words = "Grey dots: no verdict, since nothing is known of how well the stations were read."
    if not there.all():
        words += " Blank: not compared."
    write(figure, 0.12, 0.06, "\n".join(fitted(words, 118, 3)), SMALL, linespacing=1.25)
    if shown.any() and not numbers:
        bar = figure.colorbar(painted, cax=add_panel(figure, _FLOW, 0.62, 1.3, 0.09), orientation="horizontal")
        bar.outline.set_linewidth(0.5)
        bar.ax.set_xticks([limits.low, 0.0, limits.high])
        bar.ax.tick_params(labelsize=7.0)
    return figure


def _mark_axes(axes: Any, comparison: Comparison, angles: Array) -> None:
    job = comparison.a.reduction.job
    lifts = [number_text(each.lift, job.units.length, "length") for each in comparison.lifts]
    often = max(1, -(-len(lifts) // 20))
    axes.set_yticks((np.arange(len(lifts)) + 0.5)[::often], lifts[::often])
    every = max(1, -(-len(angles) // 13))
    axes.set_xticks((np.arange(len(angles)) + 0.5)[::every], [f"{angle:g}°" for angle in angles[::every]])
    axes.tick_params(length=0)
    for spine in axes.spines.values():
        spine.set_visible(False)
    axes.set_ylabel(f"lift [{job.units.length}]")
    reference = reference_words(job)
    facing = "" if reference is None else f"; 0° = {reference}"
    axes.set_xlabel(fitted(f"station, anticlockwise seen from the cylinder{facing}", 84)[0])


def _write_flows(axes: Any, comparison: Comparison, size: float) -> None:
    """Write the change of the bench's flow beside each lift."""
    scale = in_unit(1.0, comparison.a.reduction.job.units.flow, "flow")
    across, room = (_FLOW - _LEFT) / _TABLE, WIDTH - _FLOW - _EDGE
    flows = [each.values["flow"] for each in comparison.lifts]
    said = [_change_words(flow, scale) for flow in flows]
    # All in one size: that in which the longest stays on the paper.
    size *= min(1.0, room / words_size(axes, max(said, key=len), size)[0])
    for row, (flow, words) in enumerate(zip(flows, said, strict=True)):
        known = flow.verdicts[0] != NOT_SHOWN
        axes.text(
            across,
            row + 0.5,
            words,
            transform=axes.get_yaxis_transform(),
            fontsize=size,
            va="center_baseline",
            weight="bold" if known else "normal",
            color=INK if known else THIN,
        )


def _change_words(change: Difference, scale: float) -> str:
    """Return a difference with its ± at 95 %, to the second figure of that."""
    off, wide = float(change.difference[0]) * scale, float(expanded(change.u, change.freedom)[0]) * scale
    if np.isnan(off):
        return "not measured"
    if not np.isfinite(wide):
        return f"{off:+.3g} ± ?"
    decimals = decimals_of(wide)
    said = f"{off:+.{decimals}f} ± {wide:.{decimals}f}"
    return said if change.verdicts[0] != NOT_SHOWN else f"{said}, not shown"


def _table(lifts: tuple[LiftComparison, ...], angles: Array, scale: float) -> tuple[Array, Any, Any]:
    """Return the changes, which of them are shown, and which were compared, shape (lifts, angles)."""
    change = np.full((len(lifts), len(angles)), np.nan)
    shown = np.zeros(change.shape, dtype=bool)
    for row, each in enumerate(lifts):
        column = np.searchsorted(angles, np.mod(each.angles_deg, 360.0))
        change[row, column] = each.stations["velocity"].difference * scale
        shown[row, column] = [verdict != NOT_SHOWN for verdict in each.stations["velocity"].verdicts]
    return change, shown, np.isfinite(change)


def _write_numbers(axes: Any, change: Array, shown: Any, painted: Any, wide: float, tall: float) -> bool:
    """Write the shown changes into their cells where they fit; tell if they do."""
    if not shown.any():
        return True
    places = list(zip(*np.nonzero(shown), strict=True))
    # Whole numbers where one more figure does not fit; but none of them may read as no change.
    most = 0 if np.abs(change[shown]).max() >= 9.5 else 1
    least = 0 if np.abs(change[shown]).min() >= 0.95 else 1
    for decimals in range(max(most, least), least - 1, -1):
        words = {place: f"{change[place]:+.{decimals}f}" for place in places}
        size = min(TYPE, 0.92 * wide / (0.62 * max(map(len, words.values()))), 0.75 * tall)
        if size >= _LEAST_TYPE:
            break
    else:
        return False
    for (row, column), text in words.items():
        rgba = painted.cmap(painted.norm(change[row, column]))
        dark = np.dot(rgba[:3], (0.299, 0.587, 0.114)) < 0.5
        axes.text(
            column + 0.5,
            row + 0.5,
            text,
            fontsize=size,
            ha="center",
            va="center_baseline",
            color="white" if dark else INK,
        )
    return True
