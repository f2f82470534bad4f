"""Flat pictures that need no OpenGL: the curtain unrolled over lift, and the section."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from portviz.distribution.field import QUANTITIES, run_field
from portviz.distribution.reduce import Reduction
from portviz.geometry.passages import least_passages
from portviz.geometry.revolve import valve_chains
from portviz.job.words import lift_text
from portviz.job.write import write_atomically
from portviz.scene.colours import BACKGROUND, COLOUR_MAP, CUT, INK, LEAST, VALVE
from portviz.scene.picture import file_words
from portviz.scene.state import display_unit, in_display_unit
from portviz.units import in_unit


def run_chart(reduction: Reduction, run: int, quantity: str = "velocity") -> Figure:
    """Return one run's field over angle and lift with its measured points, beside the section at full lift."""
    job = reduction.job
    figure = Figure(figsize=(12.8, 6.0), dpi=100, facecolor=BACKGROUND, layout="constrained")
    FigureCanvasAgg(figure)
    figure.suptitle(f"{job.title} – run “{reduction.runs[run]}”", color=INK, fontsize=13)
    left, right = figure.subplots(1, 2, width_ratios=(1.9, 1.0))
    _draw_field(left, reduction, run, quantity)
    _draw_section(right, reduction, run)
    return figure


def _draw_field(axes: Any, reduction: Reduction, run: int, quantity: str) -> None:
    job, what = reduction.job, QUANTITIES[quantity]
    angles = np.linspace(0.0, 360.0, 361)
    field = run_field(reduction, run, quantity, angles)
    groups = reduction.groups_of(run)
    unit = job.units.length
    all_values = in_display_unit(reduction, what, what.values(reduction))
    low, high = float(np.nanmin(all_values)), float(np.nanmax(all_values))
    shown = None
    if len(field.lifts) > 1:
        lifts = np.linspace(field.lifts[0], field.lifts[-1], 160)
        values = in_display_unit(reduction, what, np.array([field.at(float(lift)) for lift in lifts]))
        shown = axes.pcolormesh(
            angles,
            [in_unit(float(lift), unit, "length") for lift in lifts],
            values,
            cmap=COLOUR_MAP,
            vmin=low,
            vmax=high,
            shading="gouraud",
            rasterized=True,
        )
    part = slice(reduction.starts[groups.start], reduction.stations_of(groups.stop - 1).stop)
    sizes = [reduction.stations_of(group).stop - reduction.stations_of(group).start for group in groups]
    lift = np.repeat([in_unit(float(reduction.lift[group]), unit, "length") for group in groups], sizes)
    points = axes.scatter(
        reduction.stations.angle_deg[part],
        lift,
        c=all_values[part],
        cmap=COLOUR_MAP,
        vmin=low,
        vmax=high,
        s=34,
        edgecolors="white",
        linewidths=1.2,
        zorder=3,
        label="measured",
        clip_on=False,
    )
    label = display_unit(reduction, what)
    axes.figure.colorbar(shown or points, ax=axes, label=f"{what.title} [{label}]" if label else what.title)
    axes.set_xlim(0.0, 360.0)
    axes.set_xticks(np.arange(0, 361, 45))
    axes.set_xlabel(f"station angle [deg]; 0 = {job.stations.reference}")
    axes.set_ylabel(f"lift [{unit}]")
    axes.set_title("the curtain unrolled: dots measured, between them interpolated", fontsize=10, color=INK)


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
            label=f"least {name} passage{' (the narrower)' if narrow else ''}",
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
        path = folder / f"{file_words(name)}-unrolled.png"
        written.append(write_atomically(path, figure.savefig, overwrite=True))
    return written
