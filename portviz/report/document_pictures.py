"""Pictures of valve and curtain in a printed report: two in a row, the scale of colours beside them."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

from PIL import Image
from reportlab.lib.colors import HexColor
from reportlab.lib.utils import ImageReader
from reportlab.platypus import Flowable

from portviz.job.words import lift_text
from portviz.report.content import Report
from portviz.report.document_pages import Block, height_of
from portviz.report.document_style import (
    CAPTION,
    CHART_TITLE,
    INK,
    SOFT,
    TEXT,
    WIDTH,
    on_one_line,
    paragraph,
    words_width,
)

if TYPE_CHECKING:
    from portviz.scene.state import ColourRange

#: Runs drawn at most; of more, the first and the last.
MOST_DRAWN = 4
_BESIDE = 2
#: Width of a picture, room right of it, room of its caption, and the tallest that it may be [pt].
_BROAD, _GAP, _PITCH, _TALLEST = 204.0, 12.0, 10.0, 170.0
#: Of the scale: its bar, ticks, and the type of its numbers and of the captions [pt].
_BAR, _TICK, _TYPE = 10.0, 3.0, 7.0
_SHOWS = (
    "Head cut open; the curtain through which the air passes is coloured by velocity, on one scale for all runs and "
    "lifts{ends}. Dots: measured at the stations. Colours between them: interpolated; grey: not measured. Arrows are "
    "as long as the air is fast; their direction, square to the gap, is not measured. Red: the narrowest passage in "
    "the section; orange: station 0°."
)


def drawn_runs(report: Report) -> tuple[int, ...]:
    """Return the places of the runs that are drawn."""
    return report.runs if len(report.runs) <= MOST_DRAWN else (report.runs[0], report.runs[-1])


def pictures_blocks(report: Report, drawn: dict[int, bytes]) -> list[Block]:
    """Return the runs' pictures as blocks, each row whole on a page; none where nothing was drawn.

    Parameters
    ----------
    report : Report
    drawn : dict of bytes
        PNGs by the run's place.
    """
    runs = [run for run in drawn_runs(report) if run in drawn]
    if not runs:
        return []
    from portviz.distribution.field import QUANTITIES
    from portviz.report.page_scene import colour_stops
    from portviz.scene.state import display_limits

    reduction = report.reduction
    unit = reduction.job.units.velocity
    colours = display_limits(reduction, QUANTITIES["velocity"])
    stops = [(float(part), str(colour)) for part, colour in colour_stops()]
    made = []
    for run in runs:
        lift = float(reduction.lift[reduction.groups_of(run).stop - 1])
        image = Image.open(io.BytesIO(drawn[run])).convert("RGB")
        made.append((image, f", {lift_text(reduction.job, lift)}", reduction.runs[run]))
    named = paragraph("Valve and curtain, each run at its greatest measured lift", CHART_TITLE)
    ends = f", {_number(colours, 0)} to {_number(colours, colours.steps)} {unit}"
    shows = paragraph(_SHOWS.format(ends=ends), CAPTION)
    rows = [_Row(made[first : first + _BESIDE], colours, stops, f"[{unit}]") for first in range(0, len(made), _BESIDE)]
    parts = [[row] for row in rows]
    parts[0].insert(0, named)
    parts[-1].append(shows)
    return [Block(tuple(each), sum(map(height_of, each)), leads=each is not parts[-1]) for each in parts]


def _number(colours: ColourRange, place: int) -> str:
    step = (colours.high - colours.low) / colours.steps
    return f"{colours.low + place * step:z.{colours.decimals}f}"


class _Row(Flowable):  # type: ignore[misc]
    """Pictures side by side over their captions, and the scale right of them.

    Parameters
    ----------
    pictures : sequence of tuple
        Picture, the end of its caption, and the run's name, which is cut to the room before that.
    colours : ColourRange
    stops : sequence of tuple
        Parts of the scale and their colours.
    unit : str
        Stands over the scale.
    """

    def __init__(
        self,
        pictures: Sequence[tuple[Image.Image, str, str]],
        colours: ColourRange,
        stops: Sequence[tuple[float, str]],
        unit: str,
    ) -> None:
        super().__init__()
        self.pictures, self.colours, self.stops, self.unit = pictures, colours, stops, unit
        self.sizes = []
        for image, _, _ in pictures:
            scale = min(_BROAD / image.width, _TALLEST / image.height)
            self.sizes.append((scale * image.width, scale * image.height))
        self.tall = max(height for _, height in self.sizes)
        self.width, self.height, self.hAlign = WIDTH, self.tall + _PITCH + 5.0, "LEFT"

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        """Return the size, whatever room there is."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw pictures, captions and scale."""
        canvas, left = self.canv, 0.0
        canvas.setFont(TEXT, _TYPE)
        for (image, lift, run), (wide, high) in zip(self.pictures, self.sizes, strict=True):
            canvas.drawImage(ImageReader(image), left, self.height - self.tall, wide, high)
            room = _BROAD - words_width(f"“”{lift}", TEXT, _TYPE)
            canvas.setFillColor(INK)
            canvas.drawString(left, 4.0, f"“{on_one_line(run, TEXT, _TYPE, room)}”{lift}")
            left += _BROAD + _GAP
        self._draw_scale(left, self.height - self.tall + 2.0, self.tall - 16.0)

    def _draw_scale(self, left: float, bottom: float, high: float) -> None:
        canvas = self.canv
        canvas.saveState()
        outline = canvas.beginPath()
        outline.rect(left, bottom, _BAR, high)
        canvas.clipPath(outline, stroke=0, fill=0)
        colours = [HexColor(colour) for _, colour in self.stops]
        canvas.linearGradient(
            left, bottom, left, bottom + high, colours, [part for part, _ in self.stops], extend=False
        )
        canvas.restoreState()
        canvas.setStrokeColor(SOFT)
        canvas.setLineWidth(0.5)
        canvas.setFillColor(INK)
        canvas.drawString(left, bottom + high + 7.0, self.unit)
        for place in range(self.colours.steps + 1):
            up = bottom + high * place / self.colours.steps
            canvas.line(left + _BAR, up, left + _BAR + _TICK, up)
            canvas.drawString(left + _BAR + _TICK + 2.0, up - 0.36 * _TYPE, _number(self.colours, place))
