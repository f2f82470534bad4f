"""Parts of a printed report before and after its sections: letterhead, findings, the sheet of facts, what to heed."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from reportlab.lib.units import mm
from reportlab.platypus import HRFlowable, Spacer, Table

from portviz.report.content import Evidence, Finding, Letterhead, Report, TextTable
from portviz.report.document_charts import logo_picture
from portviz.report.document_pages import Block, bookmark, height_of, text_block
from portviz.report.document_style import (
    ACCENT,
    BODY,
    CAUTION,
    FINDING,
    HEAD_LABEL,
    HEAD_VALUE,
    HEAD_WORDS,
    HEADING,
    HEIGHT,
    NOTE,
    SHOP,
    SIGNS,
    SOFT,
    TEXT,
    TITLE,
    WARNING,
    WIDTH,
    paragraph,
    plain,
    words_width,
    wrapped,
)
from portviz.report.document_tables import bare, tables_blocks

_LOGO = (44.0 * mm, 20.0 * mm)
#: Width of what is told of customer and order, and of its labels [pt].
_ABOUT, _LABELS = 0.4 * WIDTH, 46.0
_GAP = 10.0
#: A letterhead taller than this part of the page is set as plain paragraphs, which may go on over its end.
_TALLEST_HEAD = 0.4
#: Of evidence: its type and pitch, how far it is set in, the room of a sign [pt]; lines before it goes on as another.
_EVIDENCE, _EVIDENCE_PITCH, _INDENT, _SIGN, _MOST_LINES = 7.0, 9.0, 19.0, 11.0, 24
#: Places that one finding rests on which are printed; the page tells all.
MOST_EVIDENCE = 4
_INVENTED = "The data of this report are invented; no bench, head or person stands behind them."
#: Signs of verdicts, for who sees no colour.
_SIGNS = {"higher": "▲", "lower": "▼", "not shown": "○"}


def heading_block(title: str, key: str) -> Block:
    """Return a heading that leads to what follows, with its bookmark."""
    made = paragraph(title, HEADING)
    return Block((bookmark(title, key), made), height_of(made), leads=True)


def opening_blocks(report: Report) -> list[Block]:
    """Return the letterhead, the title and the summary."""
    rule = HRFlowable(width="100%", thickness=1.2, color=ACCENT, spaceBefore=4.0, spaceAfter=2.0)
    blocks = [*_letterhead_blocks(report.letterhead, report.date), Block((rule,), 8.0)]
    summed_up = bool(report.summary.strip())
    blocks.append(text_block(paragraph(report.title, TITLE), leads=summed_up))
    if summed_up:
        blocks.append(text_block(paragraph(report.summary, BODY)))
    return blocks


def _letterhead_blocks(letterhead: Letterhead, date: str) -> list[Block]:
    shop = [
        *([paragraph(letterhead.shop, SHOP)] if letterhead.shop.strip() else []),
        *(paragraph(each, HEAD_WORDS) for each in (letterhead.address, letterhead.contact) if each.strip()),
    ]
    told = (("for", letterhead.customer), ("head", letterhead.head), ("order", letterhead.order), ("date", date))
    about = [(label, value) for label, value in told if value.strip()]
    labelled = Table(
        [[paragraph(label, HEAD_LABEL), paragraph(value, HEAD_VALUE)] for label, value in about] or [["", ""]],
        colWidths=[_LABELS, _ABOUT - _LABELS],
        style=bare(),
    )
    logo = None if letterhead.logo is None else logo_picture(letterhead.logo, *_LOGO)
    sign = 0.0 if logo is None else logo.width + _GAP
    cells = [["" if logo is None else logo, shop or "", labelled]]
    table = Table(cells, colWidths=[sign, WIDTH - _ABOUT - _GAP - sign, _ABOUT + _GAP], style=bare(), hAlign="LEFT")
    height = height_of(table)
    if height <= _TALLEST_HEAD * HEIGHT:
        return [Block((table,), height)]
    stacked = [*shop, *(paragraph(f"{label}: {value}", HEAD_WORDS) for label, value in about)]
    return [
        *([] if logo is None else [Block((logo, Spacer(1.0, 4.0)), logo.height + 4.0)]),
        *map(text_block, stacked),
    ]


def findings_blocks(findings: Sequence[Finding]) -> list[Block]:
    """Return the findings, each with its number and over its evidence."""
    blocks = [heading_block("Main findings", "findings")]
    if not findings:
        return [*blocks, text_block(paragraph("None are stated.", BODY))]
    for number, finding in enumerate(findings, start=1):
        words = text_block(paragraph(finding.words, FINDING, bullet=str(number)), leads=bool(finding.evidence))
        blocks.append(words)
        blocks += _evidence_blocks(_some_of(finding.evidence))
    shown = {each.verdict for finding in findings for each in finding.evidence} & set(_SIGNS)
    if shown:
        key = ",  ".join(f"{sign} {verdict}" for verdict, sign in _SIGNS.items() if verdict in shown)
        blocks.append(text_block(paragraph(key, SIGNS)))
    return blocks


def _some_of(evidence: Sequence[Evidence]) -> Sequence[Evidence]:
    """Return as much evidence as is printed, from the first to the last, and how much more there is."""
    if len(evidence) <= MOST_EVIDENCE:
        return evidence
    shown = MOST_EVIDENCE - 1
    places = [round(place * (len(evidence) - 1) / (shown - 1)) for place in range(shown)]
    return [*(evidence[place] for place in places), Evidence(f"and {len(evidence) - shown} more")]


def _evidence_blocks(evidence: Sequence[Evidence]) -> list[Block]:
    """Return what a finding rests on: short words in columns, longer ones across."""
    room = WIDTH - _INDENT
    items = [(_SIGNS.get(each.verdict, "–"), plain(each.words)) for each in evidence]
    across = [
        next((count for count in (3, 2) if _sign_and(words) <= room / count and "\n" not in words), 1)
        for _, words in items
    ]
    blocks = []
    for alone, group in itertools.groupby(zip(items, across, strict=True), key=lambda each: each[1] == 1):
        part = list(group)
        count = 1 if alone else min(each for _, each in part)
        blocks.append(_evidence_grid([item for item, _ in part], count, room / count))
    return blocks


def _sign_and(words: str) -> float:
    return words_width(words, TEXT, _EVIDENCE) + _SIGN + _GAP


def _evidence_grid(items: Sequence[tuple[str, str]], count: int, width: float) -> Block:
    """Return items in so many columns of a width [pt], one below the other in each."""
    tall = -(-len(items) // count)
    lines = [wrapped(words, TEXT, _EVIDENCE, width - _SIGN - 0.5 * _GAP) for _, words in items]
    cells, heights = [], []
    for row in range(tall):
        places = range(row, len(items), tall)
        most = max(len(lines[place]) for place in places)
        for first in range(0, most, _MOST_LINES):
            parts = [lines[place][first : first + _MOST_LINES] for place in places]
            filled = [
                each
                for place, part in zip(places, parts, strict=True)
                for each in (items[place][0] if first == 0 else "", "\n".join(part))
            ]
            cells.append(["", *filled, *[""] * (2 * count - len(filled))])
            heights.append(max(len(part) for part in parts) * _EVIDENCE_PITCH)
    looks = [
        *bare(),
        ("FONT", (0, 0), (-1, -1), TEXT, _EVIDENCE, _EVIDENCE_PITCH),
        ("TEXTCOLOR", (0, 0), (-1, -1), SOFT),
    ]
    widths = [_INDENT, *[_SIGN, width - _SIGN] * count]
    table = Table(cells, colWidths=widths, rowHeights=heights, style=looks, hAlign="LEFT")
    return Block((table,), sum(heights[:2]))


def facts_blocks(facts: Sequence[TextTable]) -> list[Block]:
    """Return the sheet of facts, without its details."""
    shown = [each for each in facts if not each.detail]
    return [heading_block("Valve, seat and bench", "facts"), *tables_blocks(shown)] if shown else []


def warnings_blocks(warnings: Sequence[str]) -> list[Block]:
    """Return the warnings, each with a sign of its own."""
    if not warnings:
        return []
    return [
        heading_block("Readings to distrust, and other warnings", "warnings"),
        *(text_block(paragraph(each, WARNING, bullet="!")) for each in warnings),
    ]


def closing_blocks(report: Report) -> list[Block]:
    """Return how it was found, the cautions in their box, and whether the data are invented."""
    blocks = []
    if report.method:
        blocks.append(heading_block("How it was found, and how well it is known", "method"))
        blocks += [text_block(paragraph(each, BODY)) for each in report.method]
    if report.cautions.strip():
        blocks.append(heading_block("Cautions", "cautions"))
        box = paragraph(report.cautions, CAUTION)
        # The box's frame stands about its words.
        height = height_of(box) + 14.0
        blocks.append(Block((Spacer(1.0, 6.0), box, Spacer(1.0, 8.0)), min(height, 0.5 * HEIGHT)))
    if report.invented:
        blocks.append(text_block(paragraph(_INVENTED, NOTE)))
    return blocks
