"""The lift event as a flat chart: lift and area against crank, lift bands, stations, gains and the piston's demand."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from portviz.distribution.crank_train import sound_speed
from portviz.distribution.event_comparison import EventComparison, LiftEvent, compare_events
from portviz.distribution.event_course import event_course
from portviz.distribution.propagation import plus_minus
from portviz.distribution.verdicts import NOT_SHOWN, expanded
from portviz.job.model import Array
from portviz.job.words import lift_text, pressure_text, reference_words
from portviz.job.write import write_atomically
from portviz.scene.colours import BACKGROUND, INK, RUNS
from portviz.scene.plot_style import plain_words, run_label
from portviz.scene.words import fitted
from portviz.units import area_unit, in_unit

_LIFT, _TIME = "#8a8d91", "#c9c5bb"
#: Runs that one chart can still tell apart.
MOST_RUNS = len(RUNS)
#: The demand is drawn up to this Mach number [-].
_MOST_MACH = 1.0
#: Letters of a panel's title that fit beside another panel.
_TITLE_LETTERS = 84


def event_chart(events: LiftEvent, runs: list[int]) -> Figure:
    """Return the event of up to `MOST_RUNS` runs; of two runs also which lifts the change comes from."""
    left_out, runs = len(runs) - MOST_RUNS, runs[:MOST_RUNS]
    job = events.reduction.job
    known = [run for run in runs if len(events.runs[run].knots)]
    course = event_course(events, np.linspace(events.event.opening_deg, events.event.closing_deg, 721))
    comparison = compare_events(events, runs[0], runs[1]) if len(known) == 2 == len(runs) else None
    extra: list[Callable[[Any], None]] = []
    if comparison is not None:
        extra.append(partial(draw_gains, events=events, comparison=comparison))
    if course.demand_mach is not None and known:
        extra.append(partial(_draw_demand, events=events, runs=runs, course=course))
    rows = 3 if extra else 2
    figure = Figure(figsize=(12.8, 4.3 * rows + 0.6), dpi=100, facecolor=BACKGROUND, layout="constrained")
    FigureCanvasAgg(figure)
    figure.suptitle(
        "\n".join([*fitted(job.title, 110, 2), *fitted(_subtitle(events, left_out), 120, 2)]),
        color=INK,
        fontsize=12,
        parse_math=False,
    )
    grid = figure.add_gridspec(rows, 2)
    draw_course(figure.add_subplot(grid[0, :]), events, runs, course)
    draw_bands(figure.add_subplot(grid[1, 0] if known else grid[1, :]), events, runs)
    if known:
        draw_stations(figure.add_subplot(grid[1, 1]), events, runs)
    for place, draw in enumerate(extra):
        draw(figure.add_subplot(grid[2, place] if len(extra) > 1 else grid[2, :]))
    return figure


def _subtitle(events: LiftEvent, left_out: int) -> str:
    job, event = events.reduction.job, events.event
    assumed = ", assumed from a cam card" if event.assumed else ""
    return (
        f"lift event of {event.duration_deg:.0f}° of crank, up to {lift_text(job, event.peak_lift)}{assumed}; all at "
        f"the bench's {pressure_text(job, job.bench.test_pressure)}"
        + (f"; the first {MOST_RUNS} runs, {left_out} more are not drawn" if left_out > 0 else "")
    )


def _name(events: LiftEvent, run: int) -> str:
    """Return a run's name as `run_label` does, none of its signs taken for mathematics."""
    return plain_words(run_label(events.reduction.runs, run))


def draw_course(axes: Any, events: LiftEvent, runs: list[int], course: Any, size: float = 9.0) -> None:
    """Draw lift and effective area against crank angle; `size` of the legend's type [point]."""
    job = events.reduction.job
    unit, (area, to_area) = job.units.length, area_unit(job.units.length)
    axes.fill_between(
        course.crank_deg, course.lift * in_unit(1.0, unit, "length"), color=_TIME, alpha=0.55, linewidth=0
    )
    axes.set_ylabel(f"lift [{unit}] (filled)")
    axes.set_xlabel("crank angle [deg]")
    axes.set_xlim(events.event.opening_deg, events.event.closing_deg)
    axes.set_ylim(0.0, None)
    if not any(len(events.runs[run].knots) for run in runs):
        axes.set_title("no flow was measured, so there is no effective area", fontsize=10)
        return
    other = axes.twinx()
    for place, run in enumerate(runs):
        found, (colour, stroke) = events.runs[run], RUNS[place]
        if not len(found.knots):
            continue
        over = course.effective_area[run] * to_area
        measured = course.lift <= found.knots[-1]
        mean = f"{found.mean_effective_area * to_area:.{1 if area == 'mm²' else 4}f} {area}"
        other.plot(
            course.crank_deg,
            np.where(measured, over, np.nan),
            color=colour,
            linestyle=stroke,
            linewidth=1.8,
            label=f"{_name(events, run)}: mean {mean}",
        )
        other.plot(course.crank_deg, np.where(measured, np.nan, over), color=colour, linewidth=1.2, alpha=0.45)
        where = _crossings(course.crank_deg, course.lift, found.knots)
        other.plot(
            where,
            found.area_at(np.interp(where, course.crank_deg, course.lift)) * to_area,
            marker="o",
            linestyle="none",
            markersize=5,
            color=colour,
            markeredgecolor="white",
        )
    other.set_ylim(0.0, None)
    other.set_ylabel(f"effective area [{area}] (lines)")
    other.legend(loc="upper left", fontsize=size, frameon=False)
    axes.set_title("dots: at a measured lift; between them interpolated; pale: held beyond the highest", fontsize=10)


def _crossings(crank_deg: Array, lift: Array, knots: Array) -> Array:
    """Return the crank angles [deg] at which lifts are passed, on both flanks."""
    found = []
    for knot in knots:
        over = lift - knot
        start = np.flatnonzero(over[:-1] * over[1:] < 0.0)
        part = over[start] / (over[start] - over[start + 1])
        found.append(crank_deg[start] + part * (crank_deg[start + 1] - crank_deg[start]))
        found.append(crank_deg[over == 0.0])
    return np.concatenate(found) if found else np.empty(0)


def draw_bands(axes: Any, events: LiftEvent, runs: list[int], size: float = 9.0) -> None:
    """Draw the share of time and flow in each band of lift; `size` of the legend's type [point]."""
    job = events.reduction.job
    to_unit = in_unit(1.0, job.units.length, "length")
    for place, run in enumerate(runs):
        found, (colour, stroke) = events.runs[run], RUNS[place]
        edges = np.append(found.bands.start, found.bands.stop[-1]) * to_unit
        width = np.diff(edges)
        if place == 0:
            axes.stairs(
                100.0 * found.bands.time_share / width, edges, fill=True, color=_TIME, alpha=0.7, label="time there"
            )
        share = found.band_flow_share
        if np.isfinite(share).all():
            label = f"flow: {_name(events, run)}"
            axes.stairs(100.0 * share / width, edges, color=colour, linestyle=stroke, linewidth=1.8, label=label)
    axes.set_xlim(0.0, None)
    axes.set_ylim(0.0, None)
    axes.set_xlabel(f"lift [{job.units.length}]")
    axes.set_ylabel(f"share of the event [% per {job.units.length}]")
    axes.set_title("share of each lift band: the area of a step is the band's share", fontsize=10)
    axes.legend(loc="upper center", fontsize=size, frameon=False)


def draw_stations(axes: Any, events: LiftEvent, runs: list[int], size: float = 9.0) -> None:
    """Draw the stations' share of the event's flow; `size` of the legend's type [point]."""
    job = events.reduction.job
    axes.axhline(1.0, color=INK, linewidth=0.8)
    for place, run in enumerate(runs):
        found, known = events.runs[run], events.known[run].flow_share
        if not np.isfinite(found.flow_share).all() or not len(found.flow_share):
            continue
        colour, stroke = RUNS[place]
        even = found.ring.sector_deg / 360.0
        wide = np.nan_to_num(plus_minus(known.spread, known.freedom) / even)
        angle, over = found.ring.angle_deg, found.flow_share / even
        again = angle == angle[0]
        axes.plot(
            np.append(angle, angle[again] + 360.0),
            np.append(over, over[again]),
            color=colour,
            linestyle=stroke,
            linewidth=1.0,
            alpha=0.6,
        )
        axes.errorbar(
            angle, over, yerr=wide, fmt="o", color=colour, markersize=5, capsize=2.5, label=_name(events, run)
        )
    axes.set_xlim(-8.0, 368.0)
    axes.set_xticks(np.arange(0, 361, 45))
    reference = reference_words(job)
    facing = "" if reference is None else f"\n0° = {reference}"
    axes.set_xlabel(f"station angle [deg], anticlockwise seen from the cylinder{facing}", parse_math=False)
    axes.set_ylabel("flow over an even one [-]")
    with_about = any(np.isfinite(events.known[run].flow_share.spread.standard).any() for run in runs)
    about = "dots with ± at 95 %" if with_about else "their ± is not known"
    axes.set_title(f"stations over the event: {about}; lines to guide the eye", fontsize=10)
    if axes.get_legend_handles_labels()[1]:
        axes.legend(loc="best", fontsize=size, frameon=False)


def draw_gains(axes: Any, events: LiftEvent, comparison: EventComparison) -> None:
    """Draw what each band of lift adds to the change of the mean flow, with its plus-minus."""
    job, gain = events.reduction.job, comparison.band_flow
    to_unit, to_flow = in_unit(1.0, job.units.length, "length"), in_unit(1.0, job.units.flow, "flow")
    edges = comparison.edges * to_unit
    middle, width = 0.5 * (edges[1:] + edges[:-1]), np.diff(edges)
    shown = np.array([verdict != NOT_SHOWN for verdict in gain.verdicts])
    off = gain.difference * to_flow
    colours = np.where(shown, RUNS[1][0], "#d9d7d0")
    bars = axes.bar(middle, off, width=0.92 * width, color=colours, edgecolor=INK, linewidth=0.6)
    wide = expanded(gain.u, gain.freedom) * to_flow
    known = np.isfinite(wide)
    axes.errorbar(middle[known], off[known], yerr=wide[known], fmt="none", color=INK, capsize=2.5, linewidth=1.0)
    axes.axhline(0.0, color=INK, linewidth=0.8)
    axes.set_xlabel(f"lift [{job.units.length}]")
    axes.set_ylabel(f"part of the change [{job.units.flow}]")
    legend = "no verdict: uncertainty not known"
    if known.any():
        legend = "filled: shown by the data (all bands together, Holm), pale: not shown; ± of each at 95 %"
    if comparison.held.any():
        legend += "; hatched: held, not measured"
        for bar, held in zip(bars, comparison.held, strict=True):
            bar.set_hatch("///" if held else "")
    title = [
        "which lifts the change of the mean flow comes from: "
        f"{_name(events, comparison.b)} less {_name(events, comparison.a)}",
        legend,
    ]
    axes.set_title("\n".join(part for line in title for part in fitted(line, _TITLE_LETTERS, 2)), fontsize=9.5)


def _draw_demand(axes: Any, events: LiftEvent, runs: list[int], course: Any) -> None:
    job = events.reduction.job
    engine = job.engine
    assert engine is not None
    assert engine.speed is not None
    assert engine.dead_centre_deg is not None
    for place, run in enumerate(runs):
        colour, stroke = RUNS[place]
        mach = course.demand_mach[run]
        if np.isfinite(mach).any():
            measured = course.lift <= events.runs[run].knots[-1]
            axes.plot(
                course.crank_deg,
                np.where(measured, mach, np.nan),
                color=colour,
                linestyle=stroke,
                linewidth=1.8,
                label=_name(events, run),
            )
            axes.plot(course.crank_deg, np.where(measured, np.nan, mach), color=colour, linewidth=1.2, alpha=0.45)
    axes.axhline(0.0, color=INK, linewidth=0.8)
    low, high = axes.get_ylim()
    axes.set_ylim(max(low, -_MOST_MACH), min(high, _MOST_MACH))
    axes.set_xlim(events.event.opening_deg, events.event.closing_deg)
    for turn in (0.0, 180.0, 360.0, -180.0, -360.0):
        at = engine.dead_centre_deg + turn
        if events.event.opening_deg <= at <= events.event.closing_deg:
            axes.axvline(at, color=_LIFT, linewidth=0.8, linestyle=":")
            late = at - events.event.opening_deg > 0.75 * events.event.duration_deg
            axes.annotate(
                "top dead centre" if turn % 360.0 == 0.0 else "bottom dead centre",
                (at, 0.0),
                xycoords=("data", "axes fraction"),
                xytext=(-3 if late else 3, 4),
                textcoords="offset points",
                va="bottom",
                ha="right" if late else "left",
                fontsize=8,
                color=INK,
            )
    axes.set_xlabel("crank angle [deg]")
    axes.set_ylabel(f"Mach number asked for [-], drawn up to ±{_MOST_MACH:g}")
    speed = in_unit(engine.speed, "rpm", "rotation")
    sound = in_unit(sound_speed(job), job.units.velocity, "velocity")
    blow = ", no blow-down, no hot gas" if job.side == "exhaust" else ""
    title = [
        f"what the piston asks for in the effective area, at {speed:.0f} rpm, top dead centre at "
        f"{engine.dead_centre_deg:g}°",
        f"if gas as in the bench's room (sound: {sound:.0f} {job.units.velocity}) followed at once; no waves{blow}",
    ]
    axes.set_title("\n".join(part for line in title for part in fitted(line, _TITLE_LETTERS, 2)), fontsize=9.5)
    axes.legend(loc="best", fontsize=9, frameon=False)


def write_event_chart(events: LiftEvent, runs: list[int], path: Path, *, overwrite: bool = False) -> Path:
    """Write the chart as PNG."""
    return write_atomically(path, event_chart(events, runs).savefig, overwrite=overwrite)
