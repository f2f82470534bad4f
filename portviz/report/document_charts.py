"""Charts of a printed report: drawn once, at the resolution of print, with their words."""

from __future__ import annotations

import io
import warnings
from typing import Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image
from reportlab.lib.utils import ImageReader
from reportlab.platypus import Flowable

from portviz.report.content import Chart, Logo
from portviz.report.document_pages import Block, height_of
from portviz.report.document_style import CAPTION, CHART_TITLE, HEIGHT, WIDTH, paragraph
from portviz.scene.paper import in_style

#: Of a chart and of a logo, an inch of paper.
DOTS, _LOGO_DOTS = 300.0, 600.0
_INCH = 72.0
#: A chart is no wider than this part of the text.
_BROAD = 0.88
#: A chart's height is no more than this part of a page's, so that several stand on one.
_HIGHEST = 0.33
#: At a page's end a chart is drawn smaller, down to this part, where it fits so.
_SHRUNK = 0.93
#: A chart and its words take no more than this part of a page, so that a heading has room above; words may take that
#: part from their chart, and longer ones go on over the page's end.
_TALLEST, _WORDS_PART = 0.86, 0.4


class Picture(Flowable):  # type: ignore[misc]
    """A raster picture of a size on paper [pt]."""

    def __init__(self, image: Image.Image, width: float, height: float, align: str = "LEFT") -> None:
        super().__init__()
        self.image, self.width, self.height, self.hAlign = image, width, height, align

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        """Return the size, whatever room there is."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw the picture."""
        self.canv.drawImage(ImageReader(self.image), 0, 0, self.width, self.height)


class _Elastic(Picture):
    """A picture that gives way to the words after it where a page's end is near."""

    def __init__(self, image: Image.Image, width: float, height: float) -> None:
        super().__init__(image, width, height)
        self.full, self.after = (width, height), 0.0

    def wrap(self, _width: float, height: float) -> tuple[float, float]:
        """Return the size in what room there is."""
        part = min(max((height - self.after) / self.full[1], _SHRUNK), 1.0)
        self.width, self.height = part * self.full[0], part * self.full[1]
        return self.width, self.height


def chart_block(chart: Chart) -> Block:
    """Return a chart under its title and over its words, all on one page."""
    title, words = paragraph(chart.title, CHART_TITLE), paragraph(chart.shows, CAPTION)
    about = height_of(title) + height_of(words)
    room = _TALLEST * HEIGHT - min(about, _WORDS_PART * HEIGHT)
    picture = _drawn(chart, min(room, _HIGHEST * HEIGHT))
    picture.after = height_of(words)
    return Block((title, picture, words), min(about + _SHRUNK * picture.height + 0.5, HEIGHT - 1.0))


def _drawn(chart: Chart, most: float) -> _Elastic:
    """Return a chart's picture, no wider than the paper and no taller than `most` [pt]."""
    with in_style(), warnings.catch_warnings():
        # Signs that the font does not have are drawn as boxes, which can be seen.
        warnings.filterwarnings("ignore", r"Glyph \d+ .*missing from")
        figure = chart.make()
        wide, high = (_INCH * float(each) for each in figure.get_size_inches())
        scale = min(1.0, _BROAD * WIDTH / wide, most / high)
        # The type of a chart made for wider paper shrinks with it; its dots do not.
        figure.set_dpi(DOTS * scale)
        canvas: Any = FigureCanvasAgg(figure)
        canvas.draw()
        dots = np.asarray(canvas.buffer_rgba())
    return _Elastic(Image.fromarray(dots).convert("RGB"), wide * scale, high * scale)


def logo_picture(logo: Logo, width: float, height: float) -> Picture:
    """Return a logo on white, as large as a box allows [pt], with no more dots than print shows."""
    image = Image.open(io.BytesIO(logo.png)).convert("RGBA")
    scale = min(width / image.width, height / image.height)
    wide, high = image.width * scale, image.height * scale
    most = [max(round(each / _INCH * _LOGO_DOTS), 1) for each in (wide, high)]
    if image.width > most[0] or image.height > most[1]:
        image = image.resize((min(most[0], image.width), min(most[1], image.height)), Image.Resampling.LANCZOS)
    white = Image.new("RGBA", image.size, "white")
    return Picture(Image.alpha_composite(white, image).convert("RGB"), wide, high)
