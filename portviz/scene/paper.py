"""Drawing on paper: a sheet measured in inches, views of metal on it, dimension lines, labels in columns, files."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import matplotlib as mpl
import matplotlib.style
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle

from portviz.errors import UsageError, suggestion
from portviz.job.model import Array
from portviz.job.write import write_atomically
from portviz.scene.colours import INK
from portviz.units import in_unit, unit_factor

PAPER_ENDINGS = (".png", ".pdf", ".svg")
#: One font on every machine, whole in a PDF so that its words can be searched; fixed names in an SVG.
STYLE: dict[str, Any] = {
    "font.family": "DejaVu Sans",
    "pdf.fonttype": 42,
    "svg.hashsalt": "portviz",
    "hatch.linewidth": 0.5,
    "axes.unicode_minus": False,
    "text.parse_math": False,
    # Words as wide on a screen as on paper: they are measured once, for all kinds of file.
    "text.hinting": "none",
}
THIN = "#6d7075"
#: Of a .png, an inch.
DOTS = 130
_POINT = 1.0 / 72.0
#: Height of a line of words over the size of its type.
LINE_PITCH = 1.3


@dataclass(frozen=True)
class Box:
    """A rectangle on the sheet [inch]."""

    left: float
    bottom: float
    right: float
    top: float


@dataclass(frozen=True)
class View:
    """How metal (r, z) [m] comes to the sheet [inch].

    Parameters
    ----------
    scale : float
        Inches of paper a metre of metal.
    origin : ndarray, shape (2,)
        Where r = 0, z = 0 stands on the sheet [inch].
    box : Box
        What the view fills.
    """

    scale: float
    origin: Array
    box: Box

    def to_sheet(self, points: Any) -> Array:
        """Return points (..., 2) of the metal [m] as points of the sheet [inch]."""
        return np.asarray(self.origin + self.scale * np.asarray(points, dtype=float))

    def to_metal(self, points: Any) -> Array:
        """Return points (..., 2) of the sheet [inch] as points of the metal [m]."""
        return np.asarray((np.asarray(points, dtype=float) - self.origin) / self.scale)


def fitted_view(low: Array, high: Array, box: Box) -> View:
    """Return the view that shows the metal between two corners (r, z) [m] as large as a box allows, in its middle."""
    span = np.array([box.right - box.left, box.top - box.bottom])
    scale = float(np.min(span / (high - low)))
    middle = 0.5 * np.array([box.left + box.right, box.bottom + box.top])
    return View(scale, middle - scale * 0.5 * (low + high), box)


def new_sheet(width: float, height: float) -> tuple[Figure, Any]:
    """Return a white figure and axes in inches that fill it; call it within `mpl.rc_context(STYLE)`."""
    figure = Figure(figsize=(width, height), dpi=DOTS, facecolor="white")
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0.0, width)
    axes.set_ylim(0.0, height)
    axes.axis("off")
    return figure, axes


def words_size(axes: Any, words: str, size: float) -> tuple[float, float]:
    """Return width and height of words [inch]."""
    key = axes.figure.dpi, tuple(mpl.rcParams["font.family"]), mpl.rcParams["text.hinting"], words, size
    if key not in _SIZES:
        text = axes.text(0.0, 0.0, words, fontsize=size, parse_math=False, linespacing=LINE_PITCH)
        box = text.get_window_extent(axes.figure.canvas.get_renderer())
        text.remove()
        if len(_SIZES) >= _MOST_SIZES:
            _SIZES.clear()
        _SIZES[key] = box.width / axes.figure.dpi, box.height / axes.figure.dpi
    return _SIZES[key]


#: Sizes of words measured before, by all that they depend on: the same labels are measured again and again.
_SIZES: dict[Any, tuple[float, float]] = {}
_MOST_SIZES = 4096


def say(axes: Any, x: float, y: float, words: str, size: float = 8.5, **options: Any) -> Any:
    """Write words at a place [inch]."""
    options = {"color": INK, "linespacing": LINE_PITCH, "parse_math": False, "va": "center"} | options
    return axes.text(x, y, words, fontsize=size, **options)


def cell(axes: Any, x: float, y: float, words: str, size: float = 8.5, **options: Any) -> Any:
    """Write a word of a table's row, all of a row on one line, about a height [inch]."""
    return say(axes, x, y - 0.36 * size * _POINT, words, size, va="baseline", **options)


def wrapped(axes: Any, words: str, size: float, width: float, most: int = 100) -> list[str]:
    """Return words on lines no wider than a width [inch]; what more than `most` lines hold ends in an ellipsis."""
    lines: list[str] = []
    for paragraph in words.split("\n"):
        line = " ".join(paragraph.split())
        if not line or words_size(axes, line, size)[0] <= width:
            lines.append(line)
            continue
        line = ""
        for word in _short_words(axes, paragraph.split(), size, width):
            longer = f"{line} {word}" if line else word
            if line and words_size(axes, longer, size)[0] > width:
                lines.append(line)
                line = word
            else:
                line = longer
        lines.append(line)
    if len(lines) > most:
        last = lines[most - 1]
        while last and words_size(axes, f"{last} …", size)[0] > width:
            last = last[:-1]
        lines = [*lines[: most - 1], f"{last} …"]
    return lines


def _short_words(axes: Any, words: Sequence[str], size: float, width: float) -> list[str]:
    """Return words, those too long for a line broken."""
    found = []
    for word in words:
        while len(word) > 8 and words_size(axes, word, size)[0] > width:
            part = len(word)
            while part > 4 and words_size(axes, word[:part], size)[0] > width:
                part = part * 9 // 10 if part > 20 else part - 1
            found.append(word[:part])
            word = word[part:]
        found.append(word)
    return found


def spread(wanted: Sequence[float], heights: Sequence[float], low: float, high: float) -> Array:
    """Return heights at which labels stand in a column, in order, none over another, as near as may be to those wanted.

    Parameters
    ----------
    wanted : sequence of float
        Middles of the labels, ascending.
    heights : sequence of float
        Room that each needs.
    low, high : float
        Ends of the column; where the labels need more room they run over the upper end.

    Notes
    -----
    With the labels' own room taken off, an order to keep is a rising sequence: the nearest in the sense of least
    squares is found by pooling neighbours that stand in a wrong order.

    Examples
    --------
    >>> spread([1.0, 1.0, 5.0], [1.0, 1.0, 1.0], 0.0, 9.0).tolist()
    [0.5, 1.5, 5.0]
    """
    room = np.asarray(heights, dtype=float)
    below = np.concatenate([[0.0], np.cumsum(room)[:-1]]) + 0.5 * room
    pools: list[list[float]] = []
    for value in np.asarray(wanted, dtype=float) - below:
        pools.append([float(value), 1.0])
        while len(pools) > 1 and pools[-2][0] > pools[-1][0]:
            (first, n), (second, m) = pools[-2:]
            pools[-2:] = [[(first * n + second * m) / (n + m), n + m]]
    free = np.concatenate([np.full(int(count), value) for value, count in pools]) if pools else np.empty(0)
    return np.asarray(np.clip(free, low, max(high - float(room.sum()), low)) + below)


def label_column(
    axes: Any,
    anchors: Array,
    labels: Sequence[str],
    x: float,
    low: float,
    high: float,
    *,
    side: str,
    size: float = 8.5,
    colour: str = INK,
    colours: Sequence[str] | None = None,
) -> list[Any]:
    """Write labels in a column beside a view, each with a leader to its anchor.

    Parameters
    ----------
    axes : Axes
        Of a sheet in inches.
    anchors : ndarray, shape (K, 2)
        Points on the sheet that the leaders end at.
    labels : sequence of str
    x : float
        Where the words begin (`side` "right") or end (`side` "left").
    low, high : float
        Ends of the column.
    side : str
        On which side of the view the column stands.
    size : float
        Of the type [point].
    colour : str
    colours : sequence of str, optional
        Of each label, instead.
    """
    order = np.argsort(anchors[:, 1], kind="stable")
    heights = [words_size(axes, labels[place], size)[1] + 6.0 * _POINT for place in order]
    at = spread(anchors[order, 1].tolist(), heights, low, high)
    toward = 1.0 if side == "right" else -1.0
    texts = []
    for place, y in zip(order.tolist(), at.tolist(), strict=True):
        each = colours[place] if colours is not None else colour
        anchor = anchors[place]
        elbow = x - toward * 0.16
        axes.plot([anchor[0], elbow, x - toward * 0.05], [anchor[1], y, y], color=each, linewidth=0.7, zorder=6)
        axes.plot(*anchor, marker="o", markersize=2.6, color=each, zorder=6)
        align = "left" if side == "right" else "right"
        texts.append(say(axes, x, y, labels[place], size, ha=align, color=each, zorder=7))
    return texts


def draw_metal(axes: Any, outline: Array, view: View, colour: str, hatch: str, clip: Any = None) -> None:
    """Draw cut metal: an outline (r, z) [m], filled and hatched."""
    points = view.to_sheet(outline)
    for look in (
        {"facecolor": colour, "edgecolor": THIN, "hatch": hatch, "linewidth": 0.0, "zorder": 1},
        {"facecolor": "none", "edgecolor": INK, "linewidth": 1.1, "zorder": 3},
    ):
        patch = Polygon(points, closed=True, **look)
        axes.add_patch(patch)
        if clip is not None:
            patch.set_clip_path(clip)


def draw_line(axes: Any, line: Array, view: View, clip: Any = None, **look: Any) -> None:
    """Draw a line (r, z) [m]."""
    for each in axes.plot(*view.to_sheet(line).T, **look):
        if clip is not None:
            each.set_clip_path(clip)


_FRAME: dict[str, Any] = {"facecolor": "none", "edgecolor": THIN, "linewidth": 0.8, "zorder": 8}


def frame(axes: Any, box: Box, **look: Any) -> Any:
    """Draw a box's frame and return it, to clip by."""
    patch = Rectangle(
        (box.left, box.bottom),
        box.right - box.left,
        box.top - box.bottom,
        **_FRAME | look,
    )
    axes.add_patch(patch)
    return patch


def dimension_line(axes: Any, x: float, to: float, y: float, metal: float, words: str, size: float = 8.0) -> Any:
    """Draw half a diameter's dimension line at a height, from the centre line to its end, and that to its metal.

    The arrow stands at the metal's side; the half toward the other side is left away with the other half section.
    """
    past = 0.05 if y > metal else -0.05
    axes.plot([to, to], [metal, y + past], color=THIN, linewidth=0.6, zorder=4)
    axes.annotate(
        "",
        (to, y),
        (x, y),
        arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 0.7, "shrinkA": 0, "shrinkB": 0},
        zorder=5,
    )
    background = {"facecolor": "white", "edgecolor": "none", "pad": 1.2}
    return say(axes, 0.5 * (x + to), y, words, size, ha="center", bbox=background, zorder=6)


def round_length(most: float, unit: str) -> float:
    """Return the largest of 1, 2, 5, 10 ... of a unit that is no longer than `most` [m], in metres."""
    wanted = in_unit(most, unit, "length")
    step = 10.0 ** np.floor(np.log10(wanted))
    return float(
        max(factor for factor in (1.0, 2.0, 5.0) if factor * step <= wanted * (1 + 1e-9)) * step
    ) * unit_factor(unit, "length")


def scale_bar(axes: Any, view: View, x: float, y: float, most: float, unit: str, size: float = 8.0) -> float:
    """Draw a scale bar no longer than `most` [inch] and return the length that it stands for [m]."""
    length = round_length(most / view.scale, unit)
    wide = length * view.scale
    axes.plot(
        [x, x, x, x + wide, x + wide, x + wide], y + np.array([0.04, -0.04, 0, 0, -0.04, 0.04]), color=INK, lw=1.2
    )
    say(axes, x + wide + 0.08, y, f"{in_unit(length, unit, 'length'):g} {unit}", size, ha="left")
    return length


def require_ending(path: Path, what: str, endings: Sequence[str] = PAPER_ENDINGS) -> None:
    """Raise UsageError where a file's name has no ending that is written."""
    if path.suffix.lower() not in endings:
        near = suggestion(path.suffix.lower(), endings)
        refusal = f"{what}: {path.name!r} must end in {' or '.join(endings)}."
        raise UsageError(" ".join(filter(None, (refusal, near))))


def write_figure(make: Callable[[], Figure], path: Path, *, overwrite: bool = False) -> Path:
    """Make a figure and write it as its ending says, without a date, so that the same input makes the same file.

    Parameters
    ----------
    make : callable
        Returns the figure; called with the style of `STYLE` alone, whatever a person has set for plots of their own.
    path : Path
        With an ending of `PAPER_ENDINGS`.
    overwrite : bool
    """
    nameless: dict[str, dict[str, Any]] = {
        ".pdf": {"CreationDate": None, "Producer": None, "Creator": "portviz"},
        ".svg": {"Date": None, "Creator": "portviz"},
        ".png": {"Software": "portviz"},
    }
    ending = path.suffix.lower()
    with in_style(), warnings.catch_warnings():
        # Signs that the font does not have are drawn as boxes, which can be seen.
        warnings.filterwarnings("ignore", r"Glyph \d+ .*missing from")
        figure = make()
        return write_atomically(
            path,
            lambda made: figure.savefig(made, format=ending[1:], dpi=DOTS, metadata=nameless[ending]),
            overwrite=overwrite,
        )


def in_style() -> Any:
    """Return the context in which sheets are drawn: matplotlib's own defaults and `STYLE`."""
    return mpl.style.context(["default", STYLE])
