"""What figures for print and notebooks share: their size and type, names and looks of runs, intervals, legends."""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from functools import wraps
from typing import Any, ParamSpec

import matplotlib as mpl
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from portviz.distribution.by_name import run_place
from portviz.distribution.reduce import Reduction
from portviz.errors import UsageError, counted
from portviz.job.model import SAME_LIFT, Array
from portviz.job.words import reference_words
from portviz.scene.colours import INK, RUNS
from portviz.scene.paper import DOTS, THIN, in_style
from portviz.scene.words import fitted

#: Of a figure across a page [inch].
WIDTH = 7.0
#: Type of axes and legends, of titles, and of small print [point].
TYPE, TITLE, SMALL = 8.0, 8.5, 7.5
_PRINT: Any = {
    "font.size": TYPE,
    "axes.titlesize": TITLE,
    "axes.labelsize": TYPE,
    "axes.titlelocation": "left",
    "axes.titlepad": 5.0,
    "axes.labelpad": 3.0,
    "axes.edgecolor": THIN,
    "axes.labelcolor": INK,
    "axes.titlecolor": INK,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "grid.color": "#dedcd5",
    "grid.linewidth": 0.6,
    "text.color": INK,
    "xtick.labelsize": TYPE,
    "ytick.labelsize": TYPE,
    "xtick.color": THIN,
    "ytick.color": THIN,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.major.size": 2.5,
    "ytick.major.size": 2.5,
    "xtick.major.width": 0.7,
    "ytick.major.width": 0.7,
    "xtick.major.pad": 2.5,
    "ytick.major.pad": 2.5,
    "legend.fontsize": TYPE,
    "legend.frameon": False,
    "legend.handlelength": 2.4,
    "legend.borderaxespad": 0.0,
    "legend.borderpad": 0.0,
    "legend.columnspacing": 1.6,
    "legend.labelspacing": 0.35,
}
_LONGEST_NAME = 30
#: Bars of more points than these have no caps, which would touch.
_MOST_CAPS = 20
#: Letters of a legend's line across the whole figure, and what a mark and the gap after it take of them.
_LEGEND_LETTERS, _MARK_LETTERS = 104, 9
_LEGEND_ROW = 0.17

Drawing = ParamSpec("Drawing")


class PrintFigure(Figure):
    """A figure that a notebook shows by itself, as it is printed."""

    def savefig(self, *to: Any, **options: Any) -> None:
        """Save the figure in the style of print, in which its words have been fitted."""
        with in_style(), _boxes_for_unknown_signs():
            super().savefig(*to, **options)

    def _repr_png_(self) -> bytes:
        made = io.BytesIO()
        self.savefig(made, format="png", dpi=DOTS, metadata={"Software": "portviz"})
        return made.getvalue()


@contextmanager
def _boxes_for_unknown_signs() -> Iterator[None]:
    """Do not warn of signs that the font does not have: they are drawn as boxes, which can be seen."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", r"Glyph \d+ .*missing from")
        yield


def for_print(draw: Callable[Drawing, Figure]) -> Callable[Drawing, Figure]:
    """Let a function draw in the style of print, whatever a person has set for plots of their own."""

    @wraps(draw)
    def styled(*args: Drawing.args, **options: Drawing.kwargs) -> Figure:
        with in_style(), mpl.rc_context(_PRINT), _boxes_for_unknown_signs():
            figure = draw(*args, **options)
            for axes in figure.axes:
                # Made now, in this style; else they would be made in that of who saves the figure.
                for axis in (axes.xaxis, axes.yaxis):
                    axis.get_major_ticks()
            return figure

    return styled


def new_figure(height: float) -> PrintFigure:
    """Return an empty figure across a page, of a height [inch]."""
    figure = PrintFigure(figsize=(WIDTH, height), dpi=DOTS, facecolor="white")
    FigureCanvasAgg(figure)
    return figure


def add_panel(figure: Figure, left: float, bottom: float, width: float, height: float, **options: Any) -> Any:
    """Return axes at a place of a figure, all in inches."""
    across, up = figure.get_size_inches()
    return figure.add_axes((left / across, bottom / up, width / across, height / up), **options)


def write(figure: Figure, left: float, bottom: float, words: str, size: float = TYPE, **options: Any) -> Any:
    """Write words at a place of a figure [inch]."""
    across, up = figure.get_size_inches()
    looks: dict[str, Any] = {"color": INK, "va": "bottom", "parse_math": False} | options
    return figure.text(left / across, bottom / up, words, fontsize=size, **looks)


def plain_words(words: str) -> str:
    """Return words none of whose signs are taken for mathematics, in the style in force."""
    return words.replace("$", r"\$") if mpl.rcParams["text.parse_math"] else words


def run_label(names: Sequence[str], run: int) -> str:
    """Return a run's name for a legend, numbered where names are too long to tell all apart.

    Examples
    --------
    >>> run_label(["as found", "_blended"], 1)
    ' _blended'
    """
    number = f"({run + 1}) " if any(len(name) > _LONGEST_NAME for name in names) else ""
    label = number + fitted(names[run], _LONGEST_NAME)[0]
    # A legend leaves out what begins with a line below.
    return f" {label}" if label.startswith("_") else label


#: A run by its place among the job's, or by its name; and several of them.
Run = int | str
Runs = Iterable[Run] | Run | None


def drawn_runs(reduction: Reduction, runs: Runs) -> tuple[list[int], str]:
    """Return the places of the runs to draw, at most as many as can be told apart, and what is to be said of others.

    Raises
    ------
    UsageError
        If there is no such run, or none is named.
    """
    if runs is None:
        runs = range(len(reduction.runs))
    elif isinstance(runs, int | str):
        runs = [runs]
    wanted = [run_place(reduction, run) for run in runs]
    if not wanted:
        raise UsageError("runs: name one at least")
    left_out = len(wanted) - len(RUNS)
    more = f"{counted(left_out, 'more run')} not drawn." if left_out > 0 else ""
    return wanted[: len(RUNS)], more


def group_at(reduction: Reduction, run: int, lift: float) -> int | None:
    """Return the group of a run that was measured at a lift [m], or None."""
    for group in reduction.groups_of(run):
        if abs(reduction.lift[group] - lift) <= SAME_LIFT:
            return group
    return None


def draw_points(axes: Any, place: int, x: Array, y: Array, wide: Array, *, size: float = 3.6, line: bool = True) -> Any:
    """Draw a run's measured points with their intervals where known, joined by a thin line or not.

    Parameters
    ----------
    axes : Axes
    place : int
        Of the run among those drawn.
    x, y, wide : ndarray, shape (N,)
        `wide` half the width of the intervals.
    size : float
        Of the points [point].
    line : bool
    """
    colour, stroke = RUNS[place]
    if line:
        axes.plot(x, y, color=colour, linestyle=stroke, linewidth=0.9, alpha=0.75, zorder=2)
    known = np.isfinite(wide)
    if known.any():
        axes.errorbar(
            x[known],
            y[known],
            yerr=wide[known],
            fmt="none",
            ecolor=colour,
            elinewidth=0.9,
            capsize=1.8 if len(x) <= _MOST_CAPS else 0.0,
            zorder=2.5,
        )
    return axes.plot(
        x,
        y,
        linestyle="none",
        marker=MARKERS[place],
        markersize=size,
        color=colour,
        markeredgecolor="white",
        markeredgewidth=0.4,
        zorder=3,
        clip_on=False,
    )[0]


MARKERS = ("o", "s", "^", "D", "v")


def run_handles(labels: Sequence[str]) -> list[Any]:
    """Return what stands before each run's name in a legend."""
    from matplotlib.lines import Line2D

    return [
        Line2D([], [], color=colour, linestyle=stroke, linewidth=1.1, marker=marker, markersize=3.6, label=label)
        for label, (colour, stroke), marker in zip(labels, RUNS, MARKERS, strict=False)
    ]


def legend_columns(labels: Sequence[str]) -> int:
    """Return in how many columns names stand across a figure."""
    longest = max(map(len, labels)) + _MARK_LETTERS
    return int(np.clip(_LEGEND_LETTERS // longest, 1, len(labels)))


def legend_height(labels: Sequence[str]) -> float:
    """Return the height that names take above the panels of a figure [inch]."""
    return _LEGEND_ROW * -(-len(labels) // legend_columns(labels)) + 0.06


def add_legend(figure: Figure, labels: Sequence[str], left: float) -> Any:
    """Write the names of the runs along a figure's upper edge, from a place on [inch]."""
    across, up = figure.get_size_inches()
    return figure.legend(
        handles=run_handles(labels),
        loc="upper left",
        bbox_to_anchor=(left / across, 1.0 - 0.05 / up),
        ncols=legend_columns(labels),
    )


def label_angles(axes: Any, reduction: Reduction, letters: int, *, every: float = 45.0) -> None:
    """Mark an axis of station angles, and say what 0° faces."""
    reference = reference_words(reduction.job)
    facing = "" if reference is None else "\n" + fitted(f"0° = {reference}", letters)[0]
    axes.set_xlabel(f"station angle [deg], anticlockwise seen from the cylinder{facing}", parse_math=False)
    axes.set_xlim(0.0, 360.0)
    axes.set_xticks(np.arange(0.0, 361.0, every))
