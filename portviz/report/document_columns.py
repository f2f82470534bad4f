"""Which columns of a printed table stand on the paper together, how wide each is, and in which size of type."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from portviz.report.content import TextTable
from portviz.report.document_style import BOLD, TEXT, WIDTH, plain, words_of, words_width, wrapped

#: Sizes of type from the wanted one down to the smallest that reads well on paper [pt]; in so many of them tables are
#: tried without a broken cell first.
SIZES, WHOLE = (7.0, 6.5), 2
#: Tables of more rows are set in smaller type from the outset.
LONG, _LONG_SIZES = 40, (6.5,)
#: Room at each side of a cell [pt].
ACROSS = 4.0
#: No word makes its column wider than this part of the paper; a longer one is broken.
_WIDEST_WORD = 0.36
#: A column of words is not made narrower than this, if its words are as wide [pt].
_WORDS_ROOM = 96.0
#: Columns at the left that may be repeated beside each group of the others, and the part of the paper they may take.
_MOST_LEADING, _LEADING_PART = 3, 0.4


@dataclass(frozen=True)
class Words:
    """A table's heads and cells as plain text.

    Parameters
    ----------
    heads : tuple of str
    rows : tuple of tuple of str
    left : frozenset of int
        Columns of words, which stand to the left and may be broken into lines.
    """

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: frozenset[int]


@dataclass(frozen=True)
class Plan:
    """Which columns stand in a piece of a table, how wide each is [pt], and the size of the type [pt]."""

    columns: tuple[int, ...]
    widths: tuple[float, ...]
    size: float


@dataclass(frozen=True)
class _Column:
    """Widths over the size of the type: of the longest word, of what need not be broken; and if it holds words."""

    least: float
    ideal: float
    words: bool


def table_words(table: TextTable) -> Words:
    """Return a table's words as plain text."""
    rows = tuple(tuple(plain(cell) for cell in row) for row in table.rows)
    return Words(tuple(plain(head) for head in table.columns), rows, table.words)


def _measured(words: Words) -> list[_Column]:
    columns = []
    for place, head in enumerate(words.heads):
        lines = {line for row in words.rows for line in row[place].split("\n")}
        natural = max((words_width(line, TEXT, 1.0) for line in lines), default=0.0)
        longest, in_head = natural, _longest_word(head, BOLD)
        if place in words.left:
            longest = max((_longest_word(line, TEXT) for line in lines), default=0.0)
        # A head of several words may stand on two lines.
        whole_head = words_width(head.replace("\n", " "), BOLD, 1.0)
        ideal = max(natural, in_head, min(whole_head, 0.6 * whole_head + 1.0))
        columns.append(_Column(max(longest, in_head), ideal, place in words.left))
    return columns


def _longest_word(text: str, font: str) -> float:
    return max(words_width(word, font, 1.0) for word in words_of(text))


def unbroken_plan(words: Words, size: float) -> Plan:
    """Return the plan of a table in one piece whose cells are not broken, however wide it is."""
    widths = tuple(column.ideal * size + 2.0 * ACROSS for column in _measured(words))
    return Plan(tuple(range(len(widths))), widths, size)


def plans(words: Words, sizes: Sequence[float] = SIZES) -> list[Plan]:
    """Return the pieces of a table: one, in the largest type in which it fits, else groups of columns in the smallest.

    Parameters
    ----------
    words : Words
    sizes : sequence of float
        Of the type, the largest first [pt].

    Returns
    -------
    list of Plan
        Each begins with the columns at the left that tell the rows apart.
    """
    if len(words.rows) > LONG:
        sizes = [size for size in sizes if size <= _LONG_SIZES[0]] or sizes
    columns = _measured(words)
    everything = tuple(range(len(columns)))
    for size in sizes:
        if size >= SIZES[WHOLE - 1]:
            plan = unbroken_plan(words, size)
            if sum(plan.widths) <= WIDTH:
                return [plan]
    for size in sizes:
        least = _least_widths(columns, size)
        if sum(least) <= WIDTH:
            return [Plan(everything, _shared_out(columns, least, size), size)]
    size = sizes[-1]
    least = _least_widths(columns, size)
    lead = _leading_columns(words.rows, least)
    room = WIDTH - sum(least[:lead])
    groups: list[list[int]] = [[]]
    for place in everything[lead:]:
        if groups[-1] and sum(least[each] for each in groups[-1]) + least[place] > room:
            groups.append([])
        groups[-1].append(place)
    found = []
    for group in groups:
        places = (*everything[:lead], *group)
        widths = _shared_out([columns[each] for each in places], [least[each] for each in places], size)
        found.append(Plan(places, widths, size))
    return found


def _least_widths(columns: Sequence[_Column], size: float) -> list[float]:
    """Return the widths below which words would be broken [pt]; no single one takes too much of the paper."""
    found = []
    for column in columns:
        least = column.least * size
        if column.words:
            least = max(least, min(column.ideal * size, _WORDS_ROOM))
        found.append(min(least, _WIDEST_WORD * WIDTH) + 2.0 * ACROSS)
    return found


def _shared_out(columns: Sequence[_Column], least: Sequence[float], size: float) -> tuple[float, ...]:
    """Return widths [pt]: what is left of the paper goes to the columns that would be wider."""
    wanted = [max(column.ideal * size + 2.0 * ACROSS - low, 0.0) for column, low in zip(columns, least, strict=True)]
    part = min(1.0, (WIDTH - sum(least)) / sum(wanted)) if sum(wanted) > 0.0 else 0.0
    return tuple(low + part * more for low, more in zip(least, wanted, strict=True))


def _leading_columns(rows: Sequence[Sequence[str]], least: Sequence[float]) -> int:
    """Return how many columns at the left tell the rows apart: they stand beside each group of the others."""
    lead = 1
    while (
        lead < min(_MOST_LEADING, len(least) - 1)
        and len({row[:lead] for row in rows}) < len(rows)
        and sum(least[: lead + 1]) <= _LEADING_PART * WIDTH
    ):
        lead += 1
    return lead


def head_lines(head: str, size: float, room: float) -> list[str]:
    """Return a head on lines, a unit at its end on one of its own where it does not stand on one line."""
    if "\n" not in head and head.endswith("]") and words_width(head, BOLD, size) > room:
        head = "\n[".join(head.rsplit(" [", 1))
    return wrapped(head, BOLD, size, room)
