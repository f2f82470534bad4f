"""How tables stand on a terminal, and how they leave it for a page."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from rich import box
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from portviz.errors import spelled_out
from portviz.report.content import TextTable


def new_table(columns: Iterable[str], left: Iterable[str] = ()) -> Table:
    """Return an empty table; columns named in `left` stand to the left, others, numbers mostly, to the right."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, collapse_padding=True)
    for name in columns:
        table.add_column(Text(name), justify="left" if name in left else "right", header_style="")
    return table


#: Least and most letters of a first column whose words may be broken.
_LABEL = (14, 40)


def fitted_tables(columns: Sequence[str], rows: Sequence[Sequence[str]], width: int) -> list[Table]:
    """Return a table of labels and numbers, in as many pieces as a width needs; each begins with the labels.

    Parameters
    ----------
    columns : sequence of str
        Heads of the columns; lines are parted by line ends.
    rows : sequence of sequence of str
        A label and the numbers of each row.
    width : int
        Letters across.
    """
    wide = [
        max(len(line) for cell in (name, *(row[place] for row in rows)) for line in cell.split("\n"))
        for place, name in enumerate(columns)
    ]
    label = min(max(wide[0], _LABEL[0]), _LABEL[1])
    pieces: list[list[int]] = [[]]
    room = width - label - 2
    for place, letters in enumerate(wide[1:], start=1):
        if pieces[-1] and sum(wide[each] + 2 for each in pieces[-1]) + letters + 2 > room:
            pieces.append([])
        pieces[-1].append(place)
    tables = []
    for piece in pieces:
        table = new_table([columns[place] for place in (0, *piece)], columns[:1])
        table.columns[0].width = label
        for column in table.columns[1:]:
            column.no_wrap = True
        for row in rows:
            add_row(table, *(row[place] for place in (0, *piece)))
        tables.append(table)
    return tables


def titled(title: str, table: Table) -> RenderableType:
    """Return a table under its title, which may be wider than the table is."""
    return Group(Text(title, style="bold"), table)


def add_row(table: Table, *cells: str) -> None:
    """Add a row of words as they are: what a person typed is no markup."""
    table.add_row(*map(Text, cells))


#: Line ends are our own, and a space that holds words together harms no one.
_KEPT = "\n\u00a0"


def shown_plainly(made: RenderableType) -> RenderableType:
    """Return tables and words with the signs that can't be seen spelled out; tables are changed in place."""
    if isinstance(made, Text):
        return _plainly(made)
    if isinstance(made, str):
        return spelled_out(made, _KEPT)
    if isinstance(made, Group):
        return Group(*map(shown_plainly, made.renderables), fit=made.fit)
    if isinstance(made, Padding):
        made.renderable = shown_plainly(made.renderable)
    elif isinstance(made, Table):
        for column in made.columns:
            column.header = shown_plainly(column.header)
            column._cells[:] = map(shown_plainly, column.cells)
    return made


def _plainly(text: Text) -> Text:
    if spelled_out(text.plain, _KEPT) == text.plain:
        return text
    places = [place for place, sign in enumerate(text.plain) if spelled_out(sign, _KEPT) != sign]
    pieces = text.divide(sorted({each for place in places for each in (place, place + 1)}))
    return text.blank_copy().join(
        piece if len(piece) > 1 else piece.blank_copy(spelled_out(piece.plain, _KEPT)) for piece in pieces
    )


def text_tables(made: RenderableType) -> Iterator[TextTable]:
    """Yield the tables that a terminal would be shown, each with its title, as tables in words."""
    parts = list(made.renderables) if isinstance(made, Group) else [made]
    for place, part in enumerate(parts):
        if isinstance(part, Table):
            before = parts[place - 1] if place else None
            yield _text_table(before.plain if isinstance(before, Text) else "", part)
        elif isinstance(part, Group):
            yield from text_tables(part)


def _text_table(title: str, table: Table) -> TextTable:
    columns = [[_plain(cell) for cell in column.cells] for column in table.columns]
    return TextTable(
        title=title,
        columns=tuple(_plain(column.header).replace("\n", " ") for column in table.columns),
        rows=tuple(zip(*columns, strict=True)),
        words=frozenset(place for place, column in enumerate(table.columns) if column.justify == "left"),
    )


def _plain(cell: RenderableType) -> str:
    return cell.plain if isinstance(cell, Text) else str(cell)
