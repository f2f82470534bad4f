"""Tables of a printed report: small ones side by side, wide ones in groups of columns, heads on every page."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from reportlab.platypus import Table

from portviz.report.content import TextTable
from portviz.report.document_columns import (
    ACROSS,
    LONG,
    SIZES,
    WHOLE,
    Plan,
    Words,
    head_lines,
    plans,
    table_words,
    unbroken_plan,
)
from portviz.report.document_pages import Block, text_block
from portviz.report.document_style import (
    BOLD,
    HAIR,
    HEIGHT,
    INK,
    NOTE,
    SOFT,
    TEXT,
    WIDTH,
    paragraph,
    plain,
    words_width,
    wrapped,
)

_TITLE_SIZE, _NOTE_SIZE, _LEADING = 8.2, 7.0, 1.2
#: Room above and below a cell's words, and before and after a table [pt].
_ABOVE, _BELOW, _BEFORE, _AFTER = 1.3, 0.9, 6.0, 6.0
#: Most lines of a title or head, of a note within the table, and of a row before it goes on as another.
_HEAD_LINES, _NOTE_LINES, _ROW_LINES = 10, 8, 24
#: Rows that stay with the head, and with the end; a table no taller than this part of a page stays whole.
_TOGETHER, _SMALL = 3, 0.24
#: Of tables side by side: the tallest, over the page; most lines of a title; a title's room [pt].
_TALLEST_BESIDE, _LINES_BESIDE, _LEAST_BESIDE = 0.4, 3, 130.0
#: Room between two of them [pt].
_GAP, _WIDEST_GAP = 16.0, 40.0


@dataclass(frozen=True)
class _Piece:
    """A table as it is printed: what stays together of it, its width and its height [pt]."""

    flowable: Any
    least: float
    width: float
    height: float


def tables_blocks(tables: Sequence[TextTable]) -> list[Block]:
    """Return tables as blocks of the report; those with the same heads are set in the same size of type."""
    rest = [table for table in tables if table.columns]
    alike: dict[tuple[str, ...], float] = {}
    for table in rest:
        alike[table.columns] = min(plans(table_words(table))[0].size, alike.get(table.columns, SIZES[0]))
    blocks: list[Block] = []
    while rest:
        beside = _side_by_side(rest)
        if len(beside) > 1:
            blocks.append(_row_of_tables(beside))
        else:
            blocks += _table_blocks(rest[0], [size for size in SIZES if size <= alike[rest[0].columns]])
        rest = rest[max(len(beside), 1) :]
    return blocks


def bare() -> list[tuple[Any, ...]]:
    """Return the style of a table that only places things."""
    return [
        ("FONT", (0, 0), (-1, -1), TEXT),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        *((f"{side}PADDING", (0, 0), (-1, -1), 0.0) for side in ("LEFT", "RIGHT", "TOP", "BOTTOM")),
    ]


def _side_by_side(tables: Sequence[TextTable]) -> list[_Piece]:
    """Return the first tables that stand side by side with no cell broken, in the largest type in which two do."""
    for size in SIZES[:WHOLE]:
        found: list[_Piece] = []
        for table in tables:
            piece = _small_piece(table, size)
            if piece is None or sum(each.width + _GAP for each in found) + piece.width > WIDTH:
                break
            found.append(piece)
        if len(found) > 1:
            return found
    return []


def _small_piece(table: TextTable, size: float) -> _Piece | None:
    """Return a small table whose cells are not broken, its title and note no wider than itself; None of another."""
    if len(table.rows) > LONG:
        return None
    words = table_words(table)
    plan = unbroken_plan(words, size)
    named = plain(table.title)
    wide = max(sum(plan.widths), min(words_width(named, BOLD, _TITLE_SIZE) + ACROSS, _LEAST_BESIDE))
    title = wrapped(named, BOLD, _TITLE_SIZE, wide - ACROSS)
    note = _note_lines(table, wide)
    if wide > WIDTH or len(title) > _LINES_BESIDE or len(note) > _NOTE_LINES:
        return None
    piece = replace(_laid_out(title, words, plan, note), width=wide)
    return piece if piece.height <= _TALLEST_BESIDE * HEIGHT else None


def _row_of_tables(pieces: Sequence[_Piece]) -> Block:
    gap = min((WIDTH - sum(piece.width for piece in pieces)) / (len(pieces) - 1), _WIDEST_GAP)
    row = Table(
        [[piece.flowable for piece in pieces]],
        colWidths=[*(piece.width + gap for piece in pieces[:-1]), pieces[-1].width],
        style=bare(),
        hAlign="LEFT",
        spaceBefore=_BEFORE,
        spaceAfter=_AFTER,
    )
    height = max(piece.height for piece in pieces) + 2.0 * _BEFORE
    return Block((row,), height, height=height)


def _note_lines(table: TextTable, width: float) -> list[str]:
    return wrapped(plain(table.note), TEXT, _NOTE_SIZE, width - ACROSS) if table.note.strip() else []


def _table_blocks(table: TextTable, sizes: Sequence[float]) -> list[Block]:
    """Return a table's pieces; a note too long to stand in the last one follows it."""
    words = table_words(table)
    pieces = plans(words, sizes)
    note = _note_lines(table, WIDTH)
    inside = note if len(note) <= _NOTE_LINES else []
    blocks: list[Block] = []
    for number, plan in enumerate(pieces, start=1):
        title = plain(table.title) + (f" ({number} of {len(pieces)})" if len(pieces) > 1 else "")
        lines = wrapped(title, BOLD, _TITLE_SIZE, WIDTH - ACROSS)
        piece = _laid_out(lines, words, plan, inside if number == len(pieces) else [])
        # Pieces of one table, and its note, keep their order.
        whole = _BEFORE + piece.height if len(pieces) == 1 and len(inside) == len(note) else math.inf
        blocks.append(Block((piece.flowable,), _BEFORE + piece.least, height=whole))
    if note and not inside:
        blocks.append(text_block(paragraph(table.note, NOTE)))
    return blocks


def _laid_out(title: Sequence[str], words: Words, plan: Plan, note: Sequence[str]) -> _Piece:
    """Return a piece whose cells are broken into lines already; title and heads are its first rows, the note its last.

    Words of title and note go on over the cells beside theirs, which are empty.
    """
    size, pitch = plan.size, _LEADING * plan.size
    inner = [each - 2.0 * ACROSS + 0.01 for each in plan.widths]
    columns = list(zip(plan.columns, inner, strict=True))
    empty = [""] * (len(columns) - 1)
    title = _cut(title)
    head = [_cut(head_lines(words.heads[place], size, room)) for place, room in columns]
    cells = [["\n".join(title), *empty], ["\n".join(each) for each in head]]
    heights = [
        len(title) * _LEADING * _TITLE_SIZE + 5.0,
        max(len(each) for each in head) * pitch + _ABOVE + _BELOW + 1.0,
    ]
    begins = []
    for row in words.rows:
        lines = [wrapped(row[place], TEXT, size, room) for place, room in columns]
        begins.append(len(cells))
        for first in range(0, max(len(each) for each in lines), _ROW_LINES):
            part = [each[first : first + _ROW_LINES] for each in lines]
            cells.append(["\n".join(each) for each in part])
            heights.append(max(len(each) for each in part) * pitch + _ABOVE + _BELOW)
    body = len(cells)
    if note:
        cells.append(["\n".join(note), *empty])
        heights.append(len(note) * _LEADING * _NOTE_SIZE + 7.0)
    left = [at for at, place in enumerate(plan.columns) if place in words.left]
    made = Table(
        cells,
        colWidths=list(plan.widths),
        rowHeights=heights,
        repeatRows=2,
        hAlign="LEFT",
        style=[*_looks(size, begins, body, left, noted=bool(note)), *_kept_rows(heights, noted=bool(note))],
        spaceBefore=_BEFORE,
        spaceAfter=_AFTER,
    )
    height = sum(heights)
    least = height if height <= _SMALL * HEIGHT else min(sum(heights[: 2 + _TOGETHER]), 0.6 * HEIGHT)
    return _Piece(made, least, sum(plan.widths), height)


def _looks(size: float, begins: Sequence[int], body: int, left: Sequence[int], *, noted: bool) -> list[tuple[Any, ...]]:
    """Return fonts, rules and room.

    Parameters
    ----------
    size : float
        Of the type [pt].
    begins : sequence of int
        Rows at which one of the table's own begins.
    body : int
        The row after the last of them.
    left : sequence of int
        Columns that stand to the left.
    noted : bool
        A note follows.
    """
    pitch = _LEADING * size
    looks: list[tuple[Any, ...]] = [
        ("FONT", (0, 0), (-1, 0), BOLD, _TITLE_SIZE, _LEADING * _TITLE_SIZE),
        ("FONT", (0, 1), (-1, 1), BOLD, size, pitch),
        ("FONT", (0, 2), (-1, -1), TEXT, size, pitch),
        ("TEXTCOLOR", (0, 0), (-1, -1), INK),
        ("LEFTPADDING", (0, 0), (-1, -1), ACROSS),
        ("RIGHTPADDING", (0, 0), (-1, -1), ACROSS),
        ("TOPPADDING", (0, 0), (-1, -1), _ABOVE),
        ("BOTTOMPADDING", (0, 0), (-1, -1), _BELOW),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("VALIGN", (0, 1), (-1, 1), "BOTTOM"),
        ("ALIGN", (0, 1), (-1, body - 1), "RIGHT"),
        ("LINEBELOW", (0, 1), (-1, 1), 0.8, INK),
        ("LINEBELOW", (0, body - 1), (-1, body - 1), 0.6, INK),
        # Titles and notes begin where the table does.
        ("LEFTPADDING", (0, 0), (0, 0), 0.0),
    ]
    looks += [("ALIGN", (at, 1), (at, body - 1), "LEFT") for at in left]
    looks += [("LINEABOVE", (0, at), (-1, at), 0.35, HAIR) for at in begins[1:]]
    if noted:
        looks += [
            ("FONT", (0, body), (-1, body), TEXT, _NOTE_SIZE, _LEADING * _NOTE_SIZE),
            ("TEXTCOLOR", (0, body), (-1, body), SOFT),
            ("TOPPADDING", (0, body), (-1, body), 4.0),
            ("LEFTPADDING", (0, body), (0, body), 0.0),
        ]
    return looks


def _kept_rows(heights: Sequence[float], *, noted: bool) -> list[tuple[Any, ...]]:
    """Return which rows no page's end may part: the first from the heads, the last from one another and the note."""
    first = min(1 + _TOGETHER, len(heights) - 1)
    last = max(len(heights) - _TOGETHER - noted, 0)
    rules = []
    if sum(heights[: first + 1]) < 0.5 * HEIGHT:
        rules.append(("NOSPLIT", (0, 0), (0, first)))
    if sum(heights[:2]) + sum(heights[last:]) < 0.7 * HEIGHT:
        rules.append(("NOSPLIT", (0, last), (0, len(heights) - 1)))
    return rules


def _cut(lines: Sequence[str]) -> list[str]:
    return list(lines) if len(lines) <= _HEAD_LINES else [*lines[: _HEAD_LINES - 1], f"{lines[_HEAD_LINES - 1][:-1]}…"]
