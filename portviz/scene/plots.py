"""Figures of a job's results for reports and notebooks, across a page: matplotlib figures, and the scene as a plotter.

Each function can be called on its own. Where something was not measured its figure says so, and shows the rest.

Examples
--------
>>> from portviz.distribution.reduce import reduce_job
>>> from portviz.job.demo import demo_folder
>>> from portviz.job.read import read_job
>>> figure = plot_flow(reduce_job(read_job(demo_folder())), runs="as found")
>>> [axes.get_title(loc="left") for axes in figure.axes]
['flow [l/s]', 'discharge coefficient [-]']
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.figure import Figure

from portviz.distribution.by_name import run_place
from portviz.distribution.event_comparison import LiftEvent, compare_events
from portviz.distribution.event_course import event_course
from portviz.distribution.field import QUANTITIES, known_groups
from portviz.distribution.given import REDUCED, lift_in_metres, require_a
from portviz.distribution.propagation import plus_minus
from portviz.distribution.reduce import Reduction
from portviz.distribution.uncertainty import Uncertainty, reduction_uncertainty
from portviz.job.model import Job
from portviz.job.words import lift_text, pressure_text, reference_words
from portviz.scene.charts import draw_field, draw_one_lift
from portviz.scene.event_charts import draw_bands, draw_course, draw_gains, draw_stations
from portviz.scene.paper import THIN, Box, say, wrapped
from portviz.scene.plot_changes import plot_changes
from portviz.scene.plot_style import (
    SMALL,
    TITLE,
    WIDTH,
    Run,
    Runs,
    add_legend,
    add_panel,
    draw_points,
    drawn_runs,
    for_print,
    label_angles,
    legend_height,
    new_figure,
    run_label,
    write,
)
from portviz.scene.plot_velocities import plot_velocities
from portviz.scene.state import require_word
from portviz.scene.words import fitted
from portviz.units import area_unit, in_unit

if TYPE_CHECKING:
    import pyvista as pv

__all__ = [
    "plot_changes",
    "plot_curtain",
    "plot_event",
    "plot_flow",
    "plot_section",
    "plot_unrolled",
    "plot_velocities",
]


#: Room for a label beside the section [inch].
_LABEL = 0.37


@for_print
def plot_flow(reduction: Reduction, uncertainty: Uncertainty | None = None, *, runs: Runs = None) -> Figure:
    """Return the bench's flow and the discharge coefficient against lift, measured points with ± at 95 %.

    Parameters
    ----------
    reduction : Reduction
    uncertainty : Uncertainty, optional
        That of the reduction, where it is there already.
    runs : iterable of int or str, optional
        Places or names of the runs to draw; all by default, but no more than can be told apart.

    Raises
    ------
    UsageError
        If there is no such run, or what is given is no reduction.
    """
    require_a(reduction, Reduction, REDUCED)
    job, known = reduction.job, uncertainty or reduction_uncertainty(reduction)
    places, left_out = drawn_runs(reduction, runs)
    labels = [run_label(reduction.runs, run) for run in places]
    measured = [np.isfinite(reduction.bench_flow[np.array(reduction.groups_of(run))]) for run in places]
    labels = [label if some.any() else f"{label}: no flow" for label, some in zip(labels, measured, strict=True)]
    if not any(some.any() for some in measured):
        figure = new_figure(0.7)
        write(figure, 0.3, 0.3, "No flow was measured, so there is no flow curve and no discharge coefficient.")
        return figure
    figure = new_figure(2.85 + legend_height(labels))
    to_lift, to_flow = in_unit(1.0, job.units.length, "length"), in_unit(1.0, job.units.flow, "flow")
    for left, title, values, spread, scale in (
        (0.62, f"flow [{job.units.flow}]", reduction.bench_flow, known.bench_flow, to_flow),
        (4.12, "discharge coefficient [-]", reduction.discharge_coefficient, known.discharge_coefficient, 1.0),
    ):
        axes = add_panel(figure, left, 0.62, 2.72, 2.03)
        axes.grid(True)
        for place, run in enumerate(places):
            groups = np.array(reduction.groups_of(run))
            groups = groups[np.isfinite(values[groups])]
            wide = plus_minus(spread.take(groups), known.readings.freedom[groups]) * scale
            draw_points(axes, place, reduction.lift[groups] * to_lift, values[groups] * scale, wide)
        axes.set_title(title)
        axes.set_xlabel(f"lift [{job.units.length}]")
        axes.set_xlim(0.0, 1.04 * to_lift * float(reduction.lift.max()) or 1.0)
        # A curve from zero tells how much a change is; coefficients lie too near to each other for that.
        axes.set_ylim(0.0 if spread is known.bench_flow and np.nanmin(values) >= 0.0 else None, None)
        axes.margins(y=0.08)
    add_legend(figure, labels, 0.62)
    groups = np.concatenate([np.array(reduction.groups_of(run)) for run in places])
    about = "bars: ± at 95 %" if np.isfinite(known.bench_flow.standard[groups]).any() else "their ± is not known"
    note = f"Points: measured, {about}; thin lines only join them."
    write(figure, 0.62, 0.07, " ".join(filter(None, (note, left_out))), SMALL)
    return figure


@for_print
def plot_unrolled(reduction: Reduction, run: Run, *, quantity: str = "velocity") -> Figure:
    """Return one run's field over angle and lift with its measured dots; of one lift alone the curve round the valve.

    Parameters
    ----------
    reduction : Reduction
    run : int or str
        Its place among the reduction's runs, or its name.
    quantity : str
        A key of `portviz.distribution.field.QUANTITIES`.

    Raises
    ------
    UsageError
        If there is no such run or field.
    """
    require_a(reduction, Reduction, REDUCED)
    require_word(quantity, QUANTITIES, "field")
    place = run_place(reduction, run)
    groups = known_groups(reduction, place, quantity)
    if not len(groups):
        figure = new_figure(0.7)
        write(figure, 0.3, 0.3, f"{QUANTITIES[quantity].title} was not measured in run “{_short(reduction, place)}”.")
        return figure
    many = len(groups) > 1
    figure = new_figure(3.0 if many else 2.6)
    axes = add_panel(figure, 0.62, 0.62, 6.55 if many else 6.2, 2.1 if many else 1.7)
    stations = max(np.diff([*reduction.starts, len(reduction.stations.station)]))
    dot = float(np.clip(500.0 / max(stations, 3.0 * len(groups)), 4.0, 22.0))
    if many:
        draw_field(axes, reduction, place, quantity, dot)
        bar = axes.images[0].colorbar
        bar.solids.set_rasterized(True)
        bar.outline.set_linewidth(0.5)
    else:
        draw_one_lift(axes, reduction, place, quantity, dot)
        axes.grid(True)
    at = "" if many else f" at {lift_text(reduction.job, float(reduction.lift[groups[0]]))} lift"
    axes.set_title("", loc="center")
    axes.set_title(
        f"“{_short(reduction, place)}”{at}: dots measured, between them interpolated", loc="left", fontsize=TITLE
    )
    label_angles(axes, reduction, 90)
    return figure


def _short(reduction: Reduction, run: int) -> str:
    return fitted(reduction.runs[run], 40)[0]


@for_print
def plot_event(events: LiftEvent, runs: Runs = None) -> Figure:
    """Return the lift event: lift and effective area against crank angle, what each lift and each station have of it.

    Parameters
    ----------
    events : LiftEvent
        As `portviz.lift_event` returns it, which raises JobError where the job has no cam.
    runs : iterable of int or str, optional
        Places or names of the runs to draw; all by default, but no more than can be told apart.

    Raises
    ------
    UsageError
        If there is no such run, or what is given is no lift event.
    """
    require_a(events, LiftEvent, "portviz.lift_event(result)")
    reduction, event = events.reduction, events.event
    places, left_out = drawn_runs(reduction, runs)
    flowing = [run for run in places if len(events.runs[run].knots)]
    course = event_course(events, np.linspace(event.opening_deg, event.closing_deg, 241))
    area, to_area = area_unit(reduction.job.units.length)
    decimals = 1 if area == "mm²" else 4
    labels = [
        f"{run_label(reduction.runs, run)}: "
        + (
            f"mean {events.runs[run].mean_effective_area * to_area:.{decimals}f} {area}"
            if run in flowing
            else "no flow"
        )
        for run in places
    ]
    notes = _event_notes(events, flowing, left_out)
    foot = 0.5 + 0.13 * len(notes)
    figure = new_figure(foot + 3.33 + legend_height(labels))
    add_legend(figure, labels, 0.62)
    top = add_panel(figure, 0.62, foot + 1.74, 5.72, 1.36)
    draw_course(top, events, places, course, SMALL)
    bands = add_panel(figure, 0.62, foot, 2.72 if flowing else 5.72, 1.18)
    # Of two runs what is asked is where the change comes from; their shares look alike.
    pair = len(places) == len(flowing) == 2
    if pair:
        draw_gains(bands, events, compare_events(events, *places))
    else:
        draw_bands(bands, events, places, SMALL)
    titles = [
        (top, "lift (filled) and effective area (lines) over the event"),
        (bands, "what each lift band adds to the change" if pair else "each lift band's share: area of its step"),
    ]
    if flowing:
        _tidy_areas(figure, top)
        stations = add_panel(figure, 4.1, foot, 2.74, 1.18)
        draw_stations(stations, events, places, SMALL)
        _remove_legend(stations)
        for line in stations.lines:
            line.set_markersize(3.6)
        stations.set_xlabel("station angle [deg]")
        titles.append((stations, "each station's flow over an even one"))
        stations.set_ylabel("")
    for axes, title in titles:
        axes.set_title("", loc="center")
        axes.set_title(title, loc="left", fontsize=TITLE)
    # The names of the runs stand above.
    _remove_legend(bands)
    if pair:
        bands.set_ylabel(f"mean flow [{reduction.job.units.flow}]")
    else:
        bands.legend(handles=bands.patches[:1], loc="upper left" if flowing else "upper right", fontsize=SMALL)
        bands.set_ylabel(f"share [% per {reduction.job.units.length}]")
    write(figure, 0.62, 0.06, "\n".join(notes), SMALL, linespacing=1.25)
    return figure


def _tidy_areas(figure: Figure, top: Any) -> None:
    """Take the legend off the axis of areas, which stands to the right, and let its edge be seen."""
    for axes in figure.axes:
        if axes is not top and axes.bbox.bounds == top.bbox.bounds:
            _remove_legend(axes)
            axes.spines["right"].set_visible(True)


def _remove_legend(axes: Any) -> None:
    if axes.get_legend() is not None:
        axes.get_legend().remove()


def _event_notes(events: LiftEvent, flowing: list[int], left_out: str) -> list[str]:
    """Return the small print of the event."""
    reduction = events.reduction
    notes = []
    if flowing:
        notes.append("Dots: measured lifts and stations; between them interpolated.")
        if any(events.runs[run].beyond_share > 0.0 for run in flowing):
            notes.append("Pale: held beyond the highest lift measured.")
        about = any(np.isfinite(events.known[run].flow_share.spread.standard).any() for run in flowing)
        notes.append("Whiskers: ± at 95 %." if about else "No ± is known.")
        if len(flowing) == 2:
            notes.append("Bars filled: shown by the data, pale: not shown.")
    else:
        notes.append("No flow was measured.")
    if events.event.assumed:
        notes.append("The lift curve is assumed from a cam card.")
    reference = reference_words(reduction.job)
    if flowing and reference is not None:
        notes.append(f"0° = {fitted(reference, 60)[0]}, anticlockwise seen from the cylinder.")
    if left_out:
        notes.append(left_out)
    pressure = pressure_text(reduction.job, reduction.job.bench.test_pressure)
    notes.append(f"All at the bench's {pressure}, as if the air followed at once.")
    return fitted(" ".join(notes), 112, 3)


@for_print
def plot_section(job: Job, lift: float | None = None) -> Figure:
    """Return the dimensioned half section of valve and seat with a detail of seat and face.

    Parameters
    ----------
    job : Job
    lift : float, optional
        [m]; the valve is closed by default.

    Raises
    ------
    JobError
        If the dimensions make no valve and seat.
    UsageError
        If the lift is below zero or no number, or what is given is no job.
    """
    require_a(job, Job, "portviz.read_job(folder)")
    from portviz.scene.section_drawing import detail_corners, draw_detail, draw_whole
    from portviz.scene.section_parts import design_section

    section = design_section(job, "present", 0.0 if lift is None else lift_in_metres(lift))
    # Each label beside the seat may take two lines.
    height = max(4.2, 1.3 + _LABEL * (len(section.wall) + 1))
    figure = new_figure(height)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0.0, WIDTH)
    axes.set_ylim(0.0, height)
    axes.axis("off")
    at = "valve closed" if section.lift <= 0.0 else f"at {lift_text(job, section.lift)} lift"
    words = (
        f"Half section, {at}. Angles from the plane of the valve's head, widths along the cone. "
        + (f"Left out: {'; '.join(section.left_out)}. " if section.left_out else "")
        + "The makers' limits and licensed practice come first; this drawing permits nothing."
    )
    lines = wrapped(axes, words, SMALL, WIDTH - 0.3, 3)
    foot = 0.1 + 0.14 * len(lines)
    for number, line in enumerate(lines):
        say(axes, 0.1, foot - 0.03 - 0.14 * (number + 0.5), line, SMALL, color=THIN)
    draw_whole(axes, section, None, Box(0.1, foot + 0.3, 1.6, height - 0.05), detail_corners(section))
    draw_detail(axes, section, None, Box(4.2, foot + 0.4, 5.6, height - 0.3), (2.85, WIDTH - 0.08), SMALL)
    return figure


def plot_curtain(
    reduction: Reduction,
    run: Run = 0,
    lift: float | None = None,
    *,
    quantity: str = "velocity",
    camera: str = "three-quarter",
    size: tuple[int, int] = (960, 600),
) -> pv.Plotter:
    """Return a pyvista plotter with the 3D scene of one run at one lift, off the screen.

    Parameters
    ----------
    reduction : Reduction
    run : int or str
        Its place among the reduction's runs, or its name.
    lift : float, optional
        [m], within those measured; the greatest by default.
    quantity : str
        A key of `portviz.distribution.field.QUANTITIES`.
    camera : str
        "three-quarter", "cylinder", "port" or "section".
    size : tuple of int
        Width and height [pixels].

    Returns
    -------
    pyvista.Plotter
        `screenshot()` gives the picture as an array, `show()` shows it; close it after use.

    Raises
    ------
    UsageError
        If there is no such run, field or camera, or the lift lies beyond the measured ones.
    DrawingError
        If nothing can be drawn on this machine.
    """
    from portviz.scene.display import start_probe
    from portviz.scene.state import view_state

    require_a(reduction, Reduction, REDUCED)
    at = None if lift is None else lift_in_metres(lift)
    state = view_state(reduction, run_place(reduction, run), at, quantity, camera)
    software = start_probe(off_screen=True).software
    from portviz.scene.scene import Scene, new_plotter

    plotter = new_plotter(size, off_screen=True, software=software)
    Scene(plotter, state)
    return plotter
