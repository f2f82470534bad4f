"""How a printed report looks: its paper, fonts, colours and kinds of paragraph; and a person's words as plain text."""

from __future__ import annotations

import re
import unicodedata
from functools import cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import matplotlib as mpl
from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Paragraph

PAGE = A4
SIDE, TOP, BOTTOM = 17.0 * mm, 12.0 * mm, 16.0 * mm
#: What words and charts fill [pt].
WIDTH, HEIGHT = PAGE[0] - 2.0 * SIDE, PAGE[1] - TOP - BOTTOM

INK, SOFT, RULE, HAIR = HexColor("#26282b"), HexColor("#55595f"), HexColor("#8a8d91"), HexColor("#cfd0d2")
ACCENT = HexColor("#1f4e6b")

#: Names of our fonts in the document's maker, and the files that matplotlib ships.
TEXT, BOLD = "portviz-text", "portviz-bold"
_FONT_FILES = {TEXT: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}
#: Stands for what the fonts or the PDF's table of letters can't hold: a place that no font fills is drawn as a box.
_NO_GLYPH = "\ue000"
#: No line ends between a number and its sign.
_BLANKS = re.compile("[ \n]+")
_TOGETHER = re.compile(r"(?<=\d) (?=%|±|mm\b|m/s\b|l/s\b|cfm\b)|(?<=±) (?=\d)")


def register_fonts() -> None:
    """Make our fonts known, once in a process."""
    known = pdfmetrics.getRegisteredFontNames()
    for name, file in _FONT_FILES.items():
        if name not in known:
            pdfmetrics.registerFont(TTFont(name, Path(mpl.get_data_path()) / "fonts" / "ttf" / file))


def plain(text: str) -> str:
    r"""Return a text without signs that steer a printer or a line's direction; lines end in a line end alone.

    Letters beyond the basic plane of Unicode become one that no font has, and so a box.

    Examples
    --------
    >>> plain("a\tb\x07\u202ec")
    'a bc'
    """
    return "".join(_plain_sign(sign) for sign in text.replace("\r\n", "\n").replace("\r", "\n"))


def title_words(text: str) -> str:
    """Return a text on one line, for a reader of the file that has fonts of its own."""
    shown = (sign for sign in text if unicodedata.category(sign) not in ("Cc", "Cf", "Cs") or sign.isspace())
    return " ".join("".join(shown).split())


def _plain_sign(sign: str) -> str:
    if " " <= sign <= "~" or sign == "\n":
        return sign
    if sign in "\t\v\f":
        return " "
    category = unicodedata.category(sign)
    if category in ("Zl", "Zp"):
        return "\n"
    if category in ("Cc", "Cf"):
        return ""
    return _NO_GLYPH if category == "Cs" or ord(sign) > 0xFFFF else sign


@cache
def _letter_width(sign: str, font: str) -> float:
    """Return the width of a letter over the size of its type."""
    return float(pdfmetrics.stringWidth(sign, font, 1.0))


def words_width(words: str, font: str, size: float) -> float:
    """Return the width of words on one line [pt]."""
    return size * sum(_letter_width(sign, font) for sign in words)


def words_of(text: str) -> list[str]:
    """Return what a line may be broken between; a number stays with its unit."""
    return _BLANKS.split(_TOGETHER.sub("\u00a0", text).strip(" \n"))


def wrapped(text: str, font: str, size: float, width: float) -> list[str]:
    """Return a plain text on lines no wider than a width [pt]; a word too long for a line is broken.

    Parameters
    ----------
    text : str
        As `plain` gives it; its own line ends are kept.
    font : str
    size, width : float
        [pt].

    Returns
    -------
    list of str
        At least one line.
    """
    lines: list[str] = []
    blank = words_width(" ", font, size)
    for part in text.split("\n"):
        line: list[str] = []
        used = 0.0
        for word in words_of(part):
            wide = words_width(word, font, size)
            if line and used + blank + wide > width:
                lines.append(" ".join(line))
                line, used = [], 0.0
            if wide > width:
                *whole, word = _broken(word, font, size, width)
                lines += whole
                wide = words_width(word, font, size)
            used += wide + (blank if line else 0.0)
            line.append(word)
        lines.append(" ".join(line))
    return lines


def _broken(word: str, font: str, size: float, width: float) -> list[str]:
    """Return a word in pieces no wider than a width, each of one letter at least."""
    pieces, piece, used = [], "", 0.0
    for sign in word:
        wide = size * _letter_width(sign, font)
        if piece and used + wide > width:
            pieces.append(piece)
            piece, used = "", 0.0
        piece += sign
        used += wide
    return [*pieces, piece]


def on_one_line(text: str, font: str, size: float, width: float) -> str:
    """Return a text on one line no wider than a width [pt]; what does not fit ends in an ellipsis."""
    words = " ".join(plain(text).split())
    if words_width(words, font, size) <= width:
        return words
    room, kept = width - words_width("…", font, size), ""
    for sign in words:
        room -= size * _letter_width(sign, font)
        if room < 0.0:
            break
        kept += sign
    return f"{kept.rstrip()}…"


def _style(size: float, leading: float, **look: Any) -> ParagraphStyle:
    look = {"fontName": TEXT, "textColor": INK, "bulletFontName": BOLD, "bulletColor": ACCENT} | look
    return ParagraphStyle("", fontSize=size, leading=leading, allowWidows=0, allowOrphans=0, **look)


#: Kinds of paragraph.
TITLE = _style(17.0, 21.0, fontName=BOLD, spaceBefore=7.0, spaceAfter=4.0)
HEADING = _style(11.0, 14.0, fontName=BOLD, textColor=ACCENT, spaceBefore=11.0, spaceAfter=3.0)
BODY = _style(8.6, 11.8, spaceAfter=3.5)
FINDING = _style(9.0, 12.0, leftIndent=19.0, bulletIndent=0.0, bulletFontSize=9.0, spaceBefore=4.0, spaceAfter=1.2)
WARNING = _style(8.6, 11.8, leftIndent=13.0, bulletIndent=2.0, bulletFontSize=8.6, bulletColor=INK, spaceAfter=2.5)
CHART_TITLE = _style(8.6, 11.0, fontName=BOLD, spaceBefore=6.0, spaceAfter=2.0)
CAPTION = _style(7.4, 9.8, textColor=SOFT, spaceBefore=2.0, spaceAfter=6.0)
NOTE = _style(7.4, 9.8, textColor=SOFT, spaceBefore=2.0, spaceAfter=4.0)
LEFT_OUT = _style(7.0, 9.0, textColor=SOFT, spaceBefore=10.0, spaceAfter=2.0)
SIGNS = _style(7.4, 9.8, textColor=SOFT, leftIndent=19.0, spaceBefore=4.0, spaceAfter=2.0)
CAUTION = _style(
    8.4, 11.4, borderWidth=0.9, borderColor=INK, borderPadding=(6.0, 7.0, 7.0, 7.0), leftIndent=8.0, rightIndent=8.0
)
SHOP = _style(11.5, 14.0, fontName=BOLD)
HEAD_WORDS = _style(8.0, 10.6, textColor=SOFT)
HEAD_LABEL = _style(8.0, 10.6, textColor=SOFT)
HEAD_VALUE = _style(8.0, 10.6)


def paragraph(text: str, style: ParagraphStyle, bullet: str | None = None) -> Any:
    """Return a paragraph of a text as it stands: none of it is markup, its line ends are kept."""
    words = _TOGETHER.sub("\u00a0", plain(text).strip("\n"))
    markup = "<br/>".join(escape(line) for line in words.split("\n"))
    return Paragraph(markup, style, bulletText=bullet)
