"""How tables stand on a terminal."""

from __future__ import annotations

from collections.abc import Iterable

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text


def new_table(columns: Iterable[str], left: Iterable[str] = ()) -> Table:
    """Return an empty table; columns named in `left` stand to the left, others, numbers mostly, to the right."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, collapse_padding=True)
    for name in columns:
        table.add_column(Text(name), justify="left" if name in left else "right", header_style="")
    return table


def titled(title: str, table: Table) -> RenderableType:
    """Return a table under its title, which may be wider than the table is."""
    return Group(Text(title, style="bold"), table)


def add_row(table: Table, *cells: str) -> None:
    """Add a row of words as they are: what a person typed is no markup."""
    table.add_row(*map(Text, cells))
