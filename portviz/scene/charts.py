"""Flat pictures that need no OpenGL: the field over angle and lift, and the section."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from portviz.distribution.field import QUANTITIES, known_groups, run_field
from portviz.distribution.reduce import Reduction
from portviz.geometry.passages import least_passages
from portviz.geometry.revolve import valve_chains
from portviz.job.model import Array
from portviz.job.words import lift_text, reference_words
from portviz.job.write import write_atomically
from portviz.scene.colours import BACKGROUND, COLOUR_MAP, CUT, INK, JET, LEAST, VALVE
from portviz.scene.state import display_limits, display_unit, in_display_unit
from portviz.scene.words import file_words, fitted
from portviz.units import in_unit


def run_chart(reduction: Reduction, run: int, quantity: str = "velocity") -> Figure:
    """Return one run's field over angle and lift with its measured points, beside the section at full lift."""
    job = reduction.job
    figure = Figure(figsize=(12.8, 6.4), dpi=100, facecolor=BACKGROUND, layout="constrained")
    FigureCanvasAgg(figure)
    title = [*fitted(job.title, 110, 2), *fitted(f"run “{reduction.runs[run]}”", 110)]
    figure.suptitle("\n".join(title), color=INK, fontsize=13, parse_math=False)
    left, right = figure.subplots(1, 2, width_ratios=(1.9, 1.0))
    if len(known_groups(reduction, run, quantity)) > 1:
        draw_field(left, reduction, run, quantity)
    else:
        draw_one_lift(left, reduction, run, quantity)
    reference = reference_words(job)
    facing = "" if reference is None else "\n" + fitted(f"0° = {reference}", 90)[0]
    left.set_xlabel(f"station angle [deg], anticlockwise seen from the cylinder{facing}", parse_math=False)
    left.set_xlim(0.0, 360.0)
    left.set_xticks(np.arange(0, 361, 45))
    _draw_section(right, reduction, run)
    return figure


def _measured_points(reduction: Reduction, run: int, quantity: str) -> tuple[Array, Array, Array]:
    """Return angle [deg], lift [m] and value in SI of the run's measured points; station 0 stands at 360 too."""
    at_stations = QUANTITIES[quantity].values(reduction)
    parts = [reduction.stations_of(group) for group in known_groups(reduction, run, quantity).tolist()]
    place = np.concatenate([np.arange(part.start, part.stop) for part in parts] or [np.empty(0, dtype=np.intp)])
    angle, lift = reduction.stations.angle_deg[place], reduction.lift[reduction.station_group[place]]
    again = angle == 0.0
    return (
        np.concatenate([angle, angle[again] + 360.0]),
        np.concatenate([lift, lift[again]]),
        np.concatenate([at_stations[place], at_stations[place][again]]),
    )


def _axis_title(reduction: Reduction, quantity: str) -> str:
    what = QUANTITIES[quantity]
    unit = display_unit(reduction, what)
    return f"{what.title} [{unit}]" if unit else what.title


def draw_field(axes: Any, reduction: Reduction, run: int, quantity: str, dot: float = 34.0) -> None:
    """Draw a run's field over angle and lift, with its measured dots of a size [point2]."""
    job, what = reduction.job, QUANTITIES[quantity]
    angles = np.linspace(0.0, 360.0, 361)
    field = run_field(reduction, run, quantity, angles)
    unit = job.units.length
    low, high, _ = display_limits(reduction, what)
    colours = {"cmap": COLOUR_MAP, "vmin": low, "vmax": high}
    lifts = np.linspace(field.lifts[0], field.lifts[-1], 160)
    values = in_display_unit(reduction, what, np.array([field.at(float(lift)) for lift in lifts]))
    to_unit = in_unit(1.0, unit, "length")
    # A picture of equal cells about their middles, which is drawn and stored far quicker than a mesh.
    half = 0.5 * (lifts[1] - lifts[0])
    ends = (-0.5, 360.5, (lifts[0] - half) * to_unit, (lifts[-1] + half) * to_unit)
    shown = axes.imshow(values, extent=ends, origin="lower", aspect="auto", interpolation="none", **colours)
    axes.set_ylim(lifts[0] * to_unit, lifts[-1] * to_unit)
    angle, lift, value = _measured_points(reduction, run, quantity)
    axes.scatter(
        angle,
        lift * to_unit,
        c=in_display_unit(reduction, what, value),
        s=dot,
        edgecolors="white",
        linewidths=0.2 * dot**0.5,
        zorder=3,
        clip_on=False,
        **colours,
    )
    axes.figure.colorbar(shown, ax=axes, label=_axis_title(reduction, quantity))
    axes.set_ylabel(f"lift [{unit}]")
    axes.set_title("angle against lift: dots measured, between them interpolated", fontsize=10, color=INK)


def draw_one_lift(axes: Any, reduction: Reduction, run: int, quantity: str, dot: float = 40.0) -> None:
    """Draw the values round the valve as a curve, where there is one lift only; or say that there is none."""
    what = QUANTITIES[quantity]
    angles = np.linspace(0.0, 360.0, 361)
    field = run_field(reduction, run, quantity, angles)
    if not field.lifts.size:
        axes.set_title(f"{what.title.lower()} was not measured in this run", fontsize=10, color=INK)
        return
    angle, _, value = _measured_points(reduction, run, quantity)
    axes.plot(angles, in_display_unit(reduction, what, field.values[0]), color="#5b5f66")
    measured = in_display_unit(reduction, what, value)
    axes.scatter(angle, measured, s=dot, color=JET, zorder=3, clip_on=False)
    axes.set_ylabel(_axis_title(reduction, quantity))
    lift = lift_text(reduction.job, float(field.lifts[0]))
    axes.set_title(f"one lift, {lift}: dots measured, the line interpolated", fontsize=10, color=INK)


def _draw_section(axes: Any, reduction: Reduction, run: int) -> None:
    job, profiles = reduction.job, reduction.profiles
    lift = float(reduction.lift[reduction.groups_of(run).stop - 1])
    unit = job.units.length
    scale = in_unit(1.0, unit, "length")
    passages = least_passages(profiles, [lift], lines=True)
    assert passages.gap_line is not None
    assert passages.throat_line is not None
    wall = profiles.wall[0] * scale
    top = wall[-2, 1] + 0.5 * wall[-2, 0]
    wall = np.concatenate([wall[:-1], [[wall[-1, 0], top]]])
    outer = 1.15 * max(wall[0, 0], profiles.valve[0, 0, 0] * scale)
    ring = np.concatenate([wall, [[outer, top], [outer, wall[0, 1]]]])
    axes.fill(*ring.T, facecolor=CUT, edgecolor=INK, linewidth=1.2)
    surface, _ = valve_chains(profiles, stem_top=top / scale + lift)
    surface = (surface - [0.0, lift]) * scale
    solid = np.concatenate([[[0.0, surface[0, 1]]], surface, [[0.0, surface[-1, 1]]]])
    axes.fill(*solid.T, facecolor=VALVE, edgecolor=INK, linewidth=1.2)
    by_gap = bool(passages.limited_by_gap[0, 0])
    for name, line, narrow in (
        ("gap", passages.gap_line[0, 0], by_gap),
        ("throat", passages.throat_line[0, 0], not by_gap),
    ):
        axes.plot(
            *(line * scale).T,
            color=LEAST if narrow else "#5b5f66",
            linewidth=3 if narrow else 1.5,
            linestyle="-" if narrow else "--",
            label=f"least passage of the {name}{' (the narrower)' if narrow else ''}",
        )
    axes.axvline(0.0, color=INK, linewidth=0.8, linestyle="-.")
    axes.set_aspect("equal")
    axes.set_xlabel(f"radius [{unit}]")
    axes.set_ylabel(f"height over the seat's edge [{unit}]")
    axes.set_title(f"section at {lift_text(job, lift)}", fontsize=10, color=INK)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.14), fontsize=8, frameon=False)


def write_charts(reduction: Reduction, folder: Path) -> list[Path]:
    """Write one flat picture a run into a folder; existing ones are replaced."""
    written = []
    for run, name in enumerate(reduction.runs):
        figure = run_chart(reduction, run)
        path = folder / f"{run + 1}-{file_words(name)}-angle-lift.png"
        written.append(write_atomically(path, figure.savefig, overwrite=True))
    return written
