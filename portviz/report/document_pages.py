"""Pages of a printed report: what must stay together, the footer with its count of pages, bookmarks and dates."""

from __future__ import annotations

import math
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, CondPageBreak, Flowable, Frame, PageTemplate

from portviz.report.document_style import (
    BOTTOM,
    HEIGHT,
    PAGE,
    RULE,
    SIDE,
    SOFT,
    TEXT,
    WIDTH,
    on_one_line,
    title_words,
    words_width,
)

_FOOTER = 7.2
#: Bookmarks longer than this are cut.
_LONGEST_BOOKMARK = 80
_BUILD_DATE = "SOURCE_DATE_EPOCH"


@dataclass(frozen=True)
class Block:
    """A part of the pages.

    Parameters
    ----------
    flowables : tuple
        In order.
    least : float
        Height that stays on one page from its beginning on [pt].
    leads : bool
        It must not stand last on a page: what follows begins on the same one.
    height : float
        Of one that may stand before others of its section, where it fits the rest of a page and they don't [pt].
    """

    flowables: tuple[Any, ...]
    least: float
    leads: bool = False
    height: float = math.inf


def height_of(flowable: Any, width: float = WIDTH) -> float:
    """Return the height that a flowable takes, with the space about it [pt]."""
    _, height = flowable.wrap(width, 1e6)
    return float(flowable.getSpaceBefore() + height + flowable.getSpaceAfter())


def text_block(flowable: Any, width: float = WIDTH, *, leads: bool = False) -> Block:
    """Return a block of a paragraph: the first three lines of it stay together, all of it where it leads."""
    height = height_of(flowable, width)
    first = flowable.getSpaceBefore() + 3.0 * flowable.style.leading
    return Block((flowable,), height if leads else min(height, first), leads)


def kept(blocks: Sequence[Block]) -> list[Any]:
    """Return all flowables, each block led by a break where too little of the page is left for its beginning."""
    backward: list[Any] = []
    following = 0.0
    for block in reversed(blocks):
        need = block.least + (following if block.leads else 0.0)
        backward += [*reversed(block.flowables), CondPageBreak(min(need, HEIGHT - 1.0))]
        following = need
    return backward[::-1]


class _Filling(Flowable):  # type: ignore[misc]
    """Blocks that fill pages: where the next one does not fit the rest of a page, a later one that does comes first."""

    def __init__(self, blocks: Sequence[Block]) -> None:
        super().__init__()
        self.blocks = list(blocks)

    def wrap(self, width: float, _height: float) -> tuple[float, float]:
        """Never fit as a whole, so that `split` is asked."""
        return width, math.inf

    def split(self, _width: float, height: float) -> list[Any]:
        """Return the block to stand next, and the others; nothing where only the next page has room."""
        if not self.blocks:
            return [_Nothing()]
        place = 0
        if min(self.blocks[0].least, HEIGHT - 1.0) > height:
            place = next((at for at, block in enumerate(self.blocks) if block.height <= height), -1)
        if place < 0:
            return []
        others = [*self.blocks[:place], *self.blocks[place + 1 :]]
        return [_Nothing(), *self.blocks[place].flowables, *([_Filling(others)] if others else [])]


def filling(blocks: Sequence[Block]) -> Block:
    """Return a block of blocks that may change places to fill a page."""
    return Block((_Filling(blocks),), min(block.least for block in blocks))


class _Nothing(Flowable):  # type: ignore[misc]
    """Takes no room."""

    _ZEROSIZE = 1

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        """Take no room."""
        return 0.0, 0.0

    def draw(self) -> None:
        """Draw nothing."""


class Bookmark(_Nothing):
    """A place that the outline leads to; it takes no room."""

    def __init__(self, title: str, key: str) -> None:
        super().__init__()
        self.title, self.key = title, key

    def draw(self) -> None:
        """Put the place into the outline."""
        self.canv.bookmarkHorizontal(self.key, 0, 22.0)
        self.canv.addOutlineEntry(self.title, self.key, level=0)


def bookmark(title: str, key: str) -> Bookmark:
    """Return a bookmark, its title cut to a readable length."""
    words = title_words(title)
    return Bookmark(
        words if len(words) <= _LONGEST_BOOKMARK else f"{words[: _LONGEST_BOOKMARK - 1]}…",
        key,
    )


class CountedCanvas(Canvas):  # type: ignore[misc]
    """A canvas whose pages say how many there are: each shows a form that is made when all are known."""

    def count_page(self) -> None:
        """Show this page's number and how many pages there are, at the footer's right end."""
        self.doForm(f"count-{self.getPageNumber()}")

    def save(self) -> None:
        """Make the forms, then the document."""
        pages = self.getPageNumber() - 1
        for page in range(1, pages + 1):
            self.beginForm(f"count-{page}", 0, 0, *PAGE)
            self.setFont(TEXT, _FOOTER)
            self.setFillColor(SOFT)
            self.drawRightString(PAGE[0] - SIDE, _footer_line(), f"page {page} of {pages}")
            self.endForm()
        super().save()


def _footer_line() -> float:
    return float(BOTTOM) - 20.0


@contextmanager
def _own_settings() -> Iterator[None]:
    """Let nothing from outside into the file, and leave its streams as bytes.

    Spelled in printable letters they would be a quarter longer, and take their time. The library counts a build's
    date, where the surroundings name one, into the file's mark.
    """
    spelled, build = rl_config.useA85, os.environ.pop(_BUILD_DATE, None)
    rl_config.useA85 = 0
    try:
        yield
    finally:
        rl_config.useA85 = spelled
        if build is not None:
            os.environ[_BUILD_DATE] = build


def print_pages(story: list[Any], target: Any, footer: str, date: str, metadata: dict[str, str]) -> None:
    """Lay flowables out on pages and write them.

    Parameters
    ----------
    story : list
        Flowables.
    target : binary file
    footer : str
        What the footer says, cut to its room.
    date : str
        Year-month-day: in the footer, and the file's only date.
    metadata : dict
        "title", "author", "subject".
    """
    stamp = "D:" + date.replace("-", "") + "000000Z"
    right = f"{date}    page 888 of 888"
    words = on_one_line(footer, TEXT, _FOOTER, WIDTH - words_width(right, TEXT, _FOOTER) - 14.0)

    def new_canvas(*arguments: Any, **options: Any) -> CountedCanvas:
        canvas = CountedCanvas(*arguments, **options)
        canvas.setDateFormatter(lambda *_: stamp)
        return canvas

    def draw_footer(canvas: CountedCanvas, _document: Any) -> None:
        canvas.saveState()
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.5)
        canvas.line(SIDE, _footer_line() + 11.0, PAGE[0] - SIDE, _footer_line() + 11.0)
        canvas.setFillColor(SOFT)
        canvas.setFont(TEXT, _FOOTER)
        canvas.drawString(SIDE, _footer_line(), words)
        canvas.drawRightString(
            PAGE[0] - SIDE - words_width("page 888 of 888", TEXT, _FOOTER) - 8.0, _footer_line(), date
        )
        canvas.count_page()
        canvas.restoreState()

    frame = Frame(SIDE, BOTTOM, WIDTH, HEIGHT, leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0, id="page")
    document = BaseDocTemplate(
        target,
        pagesize=PAGE,
        pageTemplates=[PageTemplate(id="page", frames=[frame], onPageEnd=draw_footer)],
        invariant=1,
        pageCompression=1,
        lang="en-GB",
        displayDocTitle=1,
        initialFontName=TEXT,
        creator="portviz",
        **metadata,
    )
    with _own_settings():
        document.build(story, canvasmaker=new_canvas)
