"""Velocity round the valve at one lift: as a rose seen from the cylinder, and over the station angle with intervals."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from portviz.distribution.field import run_field
from portviz.distribution.given import REDUCED, lift_in_metres, require_a
from portviz.distribution.propagation import plus_minus
from portviz.distribution.reduce import Reduction
from portviz.distribution.scatter import UNKNOWN
from portviz.distribution.uncertainty import Uncertainty, reduction_uncertainty
from portviz.errors import UsageError
from portviz.job.words import lift_text, reference_words
from portviz.scene.colours import INK, RUNS
from portviz.scene.paper import THIN
from portviz.scene.plot_style import (
    MARKERS,
    SMALL,
    Runs,
    add_legend,
    add_panel,
    draw_points,
    drawn_runs,
    for_print,
    group_at,
    legend_height,
    new_figure,
    run_label,
    write,
)
from portviz.scene.words import fitted
from portviz.units import in_unit

#: Half-way between the rays of a rose, each at every third degree of the circle.
_BETWEEN = slice(7, 120, 15)
_AROUND = np.linspace(0.0, 360.0, 121)


def lift_in_common(reduction: Reduction, runs: Sequence[int]) -> float:
    """Return the greatest lift [m] at which all runs were measured, or, where there is none, the first run's."""
    first = [float(reduction.lift[group]) for group in reversed(reduction.groups_of(runs[0]))]
    common = (lift for lift in first if all(group_at(reduction, run, lift) is not None for run in runs))
    return next(common, first[0])


@for_print
def plot_velocities(
    reduction: Reduction,
    uncertainty: Uncertainty | None = None,
    *,
    lift: float | None = None,
    runs: Runs = None,
) -> Figure:
    """Return the velocities round the valve at one lift: measured points with ± at 95 %, between them interpolated.

    Parameters
    ----------
    reduction : Reduction
    uncertainty : Uncertainty, optional
        That of the reduction, where it is there already.
    lift : float, optional
        [m]; the greatest at which all runs drawn were measured by default.
    runs : iterable of int or str, optional
        Places or names of the runs to draw; all by default, but no more than can be told apart.

    Raises
    ------
    UsageError
        If no run drawn was measured at the lift, or below and above it; if the lift is no number.

    Notes
    -----
    A run that was not measured at the lift, but below and above it, is drawn as a line without points.
    """
    require_a(reduction, Reduction, REDUCED)
    job, known = reduction.job, uncertainty or reduction_uncertainty(reduction)
    places, left_out = drawn_runs(reduction, runs)
    at = lift_in_common(reduction, places) if lift is None else lift_in_metres(lift)
    angles_deg = np.union1d(_AROUND, job.stations.circle_deg)
    fields = [run_field(reduction, run, "velocity", angles_deg) for run in places]
    covered = [field.covers(at) for field in fields]
    if not any(covered):
        spans = "; ".join(
            f"{reduction.runs[run]!r} from {lift_text(job, float(field.lifts[0]))} to "
            f"{lift_text(job, float(field.lifts[-1]))}"
            for run, field in zip(places, fields, strict=True)
        )
        raise UsageError(f"lift: {lift_text(job, at)} lies outside what was measured: {spans}")
    groups = [group_at(reduction, run, at) for run in places]
    labels = [
        run_label(reduction.runs, run) + ("" if group is not None else ": interpolated" if there else ": not measured")
        for run, group, there in zip(places, groups, covered, strict=True)
    ]
    figure = new_figure(3.0 + legend_height(labels))
    rose = add_panel(figure, 0.45, 0.66, 2.1, 2.1, projection="polar")
    axes = add_panel(figure, 3.42, 0.83, 3.42, 1.98)
    scale = in_unit(1.0, job.units.velocity, "velocity")
    lowest, greatest, inside = 0.0, 0.0, np.full(len(angles_deg), np.inf)
    for place, (field, group) in enumerate(zip(fields, groups, strict=True)):
        colour, stroke = RUNS[place]
        if covered[place]:
            ring = field.at(at) * scale
            lowest, greatest = min(lowest, float(ring.min())), max(greatest, float(ring.max()))
            inside = np.minimum(inside, ring)
            for panel, angle in ((rose, np.radians(angles_deg)), (axes, angles_deg)):
                panel.plot(angle, ring, color=colour, linestyle=stroke, linewidth=0.9, zorder=2)
        if group is None:
            continue
        part = reduction.stations_of(group)
        angle, velocity = reduction.stations.angle_deg[part], reduction.stations.velocity[part] * scale
        freedom = np.full(len(angle), known.readings.freedom[group])
        wide = plus_minus(known.velocity.take(part), freedom) * scale
        size = 3.6 if len(angle) <= 16 else 2.6 if len(angle) <= 40 else 1.8
        rose.plot(
            np.radians(angle),
            velocity,
            linestyle="none",
            marker=MARKERS[place],
            markersize=size,
            color=colour,
            markeredgecolor="white",
            markeredgewidth=0.4,
            zorder=3,
            clip_on=False,
        )
        again = angle == 0.0
        draw_points(
            axes,
            place,
            np.append(angle, angle[again] + 360.0),
            np.append(velocity, velocity[again]),
            np.append(wide, wide[again]),
            size=size,
            line=False,
        )
    # The scale's numbers stand between two of the rose's rays, where all runs leave most room.
    room = inside[np.isin(angles_deg, _AROUND)][_BETWEEN]
    _finish_rose(rose, lowest, greatest, float(_AROUND[_BETWEEN][np.argmax(room)]))
    axes.grid(True)
    if lowest < 0.0:
        axes.axhline(0.0, color=INK, linewidth=0.7)
    axes.set_xlabel("station angle [deg]")
    axes.set_xlim(0.0, 360.0)
    axes.set_xticks(np.arange(0.0, 361.0, 45.0))
    axes.margins(y=0.08)
    axes.set_title(f"velocity [{job.units.velocity}] at {lift_text(job, at)} lift")
    add_legend(figure, labels, 0.12)
    reference = reference_words(job)
    facing = "" if reference is None else f", 0° = {fitted(reference, 60)[0]}"
    around = f"Anticlockwise seen from the cylinder{facing}."
    write(figure, 0.12, 0.06, "\n".join([around, _note(known, groups, left_out)]), SMALL, linespacing=1.25)
    return figure


def _note(known: Uncertainty, groups: Sequence[int | None], left_out: str) -> str:
    """Return what points, bars and lines stand for."""
    measured = [group for group in groups if group is not None]
    sources = [known.readings.source[group] != UNKNOWN for group in measured]
    bars = "bars: ± at 95 % of each alone" if any(sources) else "their ± is not known"
    points = f"Points: measured, {bars}; lines: interpolated" if measured else "Lines: interpolated"
    return " ".join(filter(None, (f"{points}.", left_out)))


def _finish_rose(rose: Any, lowest: float, greatest: float, clear_deg: float) -> None:
    """Let a rose begin at zero, or at the strongest reverse flow, and mark zero there."""
    rose.set_rlim(1.15 * lowest, 1.08 * greatest or 1.0)
    rose.set_thetagrids(np.arange(0, 360, 45))
    rose.tick_params(axis="x", pad=-1.0)
    rose.spines["polar"].set_visible(False)
    rose.yaxis.set_major_locator(MaxNLocator(4))
    rose.set_rlabel_position(clear_deg)
    for label in rose.get_yticklabels():
        label.set_color(THIN)
        label.set_fontsize(7.0)
    if lowest < 0.0:
        rose.plot(np.radians(_AROUND), np.zeros_like(_AROUND), color=INK, linewidth=0.7, zorder=1.5)
