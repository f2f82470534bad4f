"""Two runs compared, as pictures: the difference on the curtain, and a flat chart with intervals."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from portviz.distribution.comparison import Comparison, LiftComparison
from portviz.distribution.field import degrees_apart, run_field
from portviz.distribution.verdicts import NOT_SHOWN, expanded
from portviz.errors import UsageError
from portviz.geometry.dimensions import Mask
from portviz.job.model import SAME_LIFT, Array
from portviz.job.words import lift_text
from portviz.job.write import write_atomically
from portviz.scene.colours import BACKGROUND, INK, JET
from portviz.scene.display import Probe, require_screen, start_probe
from portviz.scene.state import ColourRange, ViewState, round_range, view_state
from portviz.scene.words import fitted, packed
from portviz.units import in_unit

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Diverging, safe for colour-blind readers: violet lower, orange higher, white no difference.
DIFFERENCE_MAP = "PuOr_r"
_NOT_SHOWN_COLOUR = "#9a9c9f"


def compared_at(comparison: Comparison, lift: float) -> LiftComparison | None:
    """Return the comparison at a lift [m], or None where the runs were not both measured."""
    return next((each for each in comparison.lifts if abs(each.lift - lift) <= SAME_LIFT), None)


def lift_to_show(comparison: Comparison, lift: float | None) -> float:
    """Return the lift asked for [m], or the greatest common one.

    Raises
    ------
    UsageError
        If the runs were not both measured there.
    """
    if lift is None:
        return comparison.lifts[-1].lift
    if compared_at(comparison, lift) is None:
        job = comparison.a.reduction.job
        common = ", ".join(lift_text(job, each.lift) for each in comparison.lifts)
        raise UsageError(f"lift: {lift_text(job, lift)} was not measured in both runs; they have {common} in common")
    return lift


def difference_round(comparison: Comparison, at: LiftComparison, angles_deg: Array) -> Array:
    """Return the second run's velocity less the first one's round the valve [m/s], shape (A,).

    Where a station's change is not shown its sector, half-way to its neighbours, is NaN: what can't be
    told from nothing must not look like something.
    """
    a, b = comparison.a, comparison.b
    scale = float(a.reduction.ideal_velocity[at.groups[0]] / b.reduction.ideal_velocity[at.groups[1]])
    before = run_field(a.reduction, a.run, "velocity", angles_deg).at(at.lift)
    after = run_field(b.reduction, b.run, "velocity", angles_deg).at(float(b.reduction.lift[at.groups[1]])) * scale
    return np.where(shown_round(at, angles_deg), after - before, np.nan)


def shown_round(at: LiftComparison, angles_deg: Array) -> Mask:
    """Tell which angles [deg] belong to a station whose change of velocity is shown."""
    shown = np.array([verdict != NOT_SHOWN for verdict in at.stations["velocity"].verdicts])
    return np.asarray(shown[np.argmin(degrees_apart(at.angles_deg, angles_deg), axis=-1)])


def difference_range(comparison: Comparison) -> ColourRange:
    """Return the range of colours for the differences of all common lifts, in display units, even about zero."""
    job = comparison.a.reduction.job
    greatest = max(float(np.max(np.abs(each.stations["velocity"].difference))) for each in comparison.lifts)
    greatest *= in_unit(1.0, job.units.velocity, "velocity")
    _, high, steps = round_range(0.0, greatest or 1.0)
    return ColourRange(-high, high, 2 * steps)


def _what(comparison: Comparison) -> str:
    a, b = comparison.a, comparison.b
    field = ", of the interpolated field" if comparison.on_field else ""
    return f"{b.label(a)} less {a.label(b)}{field}"


def headline(comparison: Comparison, lift: float, letters: int) -> str:
    """Return what is compared, and what is shown at a lift [m]."""
    job = comparison.a.reduction.job
    lines = [
        *fitted(job.title, letters, 2),
        *fitted(f"{_what(comparison)}: difference of velocity", letters, 2),
    ]
    at = compared_at(comparison, lift)
    if at is None:
        common = ", ".join(lift_text(job, each.lift) for each in comparison.lifts)
        return "\n".join(
            [*lines, *fitted(f"lift {lift_text(job, lift)}: not measured in both runs; only {common}", letters, 2)]
        )
    verdicts = at.stations["velocity"].verdicts
    unknown = int(np.isnan(at.stations["velocity"].u).sum())
    counts = {word: verdicts.count(word) for word in ("higher", "lower", NOT_SHOWN)}
    counts[NOT_SHOWN] -= unknown
    if unknown:
        counts["of unknown uncertainty"] = unknown
    lines.append(packed([f"lift {lift_text(job, lift)}", f"{len(verdicts)} stations compared"], letters))
    lines.append(packed([f"{count} {word}" for word, count in counts.items()], letters))
    return "\n".join(lines)


_FOOTNOTE = [
    "grey: no change of the stations there is shown by the data, or its uncertainty is unknown",
    "colours between stations: interpolated",
    "verdicts at 5 % for all stations of a lift together (Holm)",
    "one scale of colours for all common lifts",
]
_NOT_MEASURED = ["grey: not measured in both runs at this lift; the marks on the slider are the first run's lifts"]


def difference_scene(plotter: Any, comparison: Comparison, lift: float, camera: str) -> Any:
    """Return a scene that shows the difference of two runs on the curtain of the first."""
    from portviz.scene.scene import Scene

    class DifferenceScene(Scene):
        """A scene coloured by what changed; lifts that only one run has are grey."""

        def values_round(self, state: ViewState) -> Array:
            at = compared_at(comparison, state.lift)
            if at is None:
                return np.full(len(self.fields.angles_deg), np.nan)
            unit = in_unit(1.0, self.job.units.velocity, "velocity")
            return difference_round(comparison, at, self.fields.angles_deg) * unit

        def stations_to_mark(self, state: ViewState) -> Mask:
            at = compared_at(comparison, state.lift)
            circle = self.job.stations.circle_deg
            return (
                np.isin(circle, np.mod(at.angles_deg, 360.0)) if at is not None else np.zeros(len(circle), dtype=bool)
            )

        def arrows(self, state: ViewState) -> Array:
            return np.zeros(len(self.job.stations.circle_deg))

        def bias(self) -> complex | None:
            at = compared_at(comparison, self.state.lift)
            return complex(*at.bias.shift) if at is not None and at.bias.shown else None

        arrow_name = "shift of the bias"

        def recolour(self) -> None:
            self.curtain_actor.mapper.lookup_table.apply_cmap(DIFFERENCE_MAP)
            self.show_range(
                difference_range(comparison), f"Velocity\ndifference\n[{self.job.units.velocity}]", known=True
            )

        def say_all(self, now: Any) -> None:
            super().say_all(now)
            self.words.input = headline(comparison, self.state.lift, self.size.letters(0.58, 15))
            known = compared_at(comparison, self.state.lift) is not None
            self.footnote.input = packed(_FOOTNOTE if known else _NOT_MEASURED, self.size.letters(0.62, 12))

        def file_subject(self) -> str:
            return f"difference-{comparison.a.name}-{comparison.b.name}"

    state = view_state(comparison.a.reduction, comparison.a.run, lift, "velocity", camera)
    return DifferenceScene(plotter, state)


def write_comparison_picture(
    comparison: Comparison,
    lift: float | None,
    camera: str,
    path: Path,
    size: tuple[int, int],
    *,
    overwrite: bool = False,
) -> Path:
    """Draw the difference on the curtain and write it as PNG.

    Raises
    ------
    DrawingError
        If nothing can be drawn on this machine.
    UsageError
        If the runs were not both measured at the lift.
    """
    at = lift_to_show(comparison, lift)
    probe = start_probe(off_screen=True)
    from portviz.scene.scene import new_plotter

    plotter = new_plotter(size, off_screen=True, software=probe.software)
    try:
        difference_scene(plotter, comparison, at, camera)
        return write_atomically(path, lambda made: plotter.screenshot(str(made)), overwrite=overwrite)
    finally:
        plotter.close()


def open_comparison(
    comparison: Comparison, lift: float | None, camera: str, size: tuple[int, int], probe: Probe
) -> None:
    """Open a window on the difference and stay until it is closed."""
    import gc

    from portviz.scene.scene import new_plotter
    from portviz.scene.window import Window

    at = lift_to_show(comparison, lift)
    plotter = new_plotter(size, off_screen=False, software=probe.software)
    require_screen(plotter)
    Window(difference_scene(plotter, comparison, at, camera), choices=False)
    gc.enable()
    plotter.show()


def comparison_chart(comparison: Comparison) -> Figure:
    """Return the differences of all stations with their intervals, a panel a lift."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    job, lifts = comparison.a.reduction.job, comparison.lifts
    across = min(len(lifts), 4)
    down = -(-len(lifts) // across)
    figure = Figure(
        figsize=(max(3.4 * across, 6.4), 2.6 * down + 1.2), dpi=100, facecolor=BACKGROUND, layout="constrained"
    )
    FigureCanvasAgg(figure)
    title = [
        *fitted(job.title, 30 * across, 2),
        *fitted(f"{_what(comparison)}: difference of velocity, ± of each station alone at 95 %", 30 * across, 2),
    ]
    figure.suptitle("\n".join(title), color=INK, fontsize=12, parse_math=False)
    panels = figure.subplots(down, across, sharex=True, sharey=True, squeeze=False)
    for axes, each in zip(panels.flat, lifts, strict=False):
        _draw_differences(axes, comparison, each)
    for axes in panels.flat[len(lifts) :]:
        axes.set_visible(False)
        # The panel above it is the last of its column.
        above = panels[down - 2, list(panels[down - 1]).index(axes)]
        above.tick_params(labelbottom=True)
    for axes in panels[:, 0]:
        axes.set_ylabel(f"[{job.units.velocity}]")
    figure.supxlabel(
        "station angle [deg], anticlockwise seen from the cylinder; filled: shown at 5 % for all stations of a lift "
        "together, grey: not shown",
        fontsize=9,
    )
    return figure


def _draw_differences(axes: Any, comparison: Comparison, each: LiftComparison) -> None:
    job, velocity = comparison.a.reduction.job, each.stations["velocity"]
    scale = in_unit(1.0, job.units.velocity, "velocity")
    angle, off = np.mod(each.angles_deg, 360.0), velocity.difference * scale
    wide = expanded(velocity.u, velocity.freedom) * scale
    shown = np.array([verdict != NOT_SHOWN for verdict in velocity.verdicts])
    axes.axhline(0.0, color=INK, linewidth=0.8)
    for mask, colour, face in ((shown, JET, JET), (~shown, _NOT_SHOWN_COLOUR, "white")):
        axes.errorbar(
            angle[mask],
            off[mask],
            yerr=np.nan_to_num(wide[mask]),
            fmt="o",
            color=colour,
            markerfacecolor=face,
            markersize=4.5,
            capsize=2.5,
            linewidth=1.2,
        )
    axes.set_xlim(-10.0, 370.0)
    axes.set_xticks([0, 90, 180, 270, 360])
    unknown = " (uncertainty unknown)" if np.isnan(wide).all() else ""
    axes.set_title(f"{lift_text(job, each.lift)}{unknown}", fontsize=10, color=INK)


def write_comparison_chart(comparison: Comparison, path: Path, *, overwrite: bool = False) -> Path:
    """Write the chart as PNG."""
    return write_atomically(path, comparison_chart(comparison).savefig, overwrite=overwrite)
