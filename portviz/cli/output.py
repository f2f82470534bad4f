"""What commands print: results to standard output, warnings to standard error."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

from portviz.errors import one_line, spelled_out

if TYPE_CHECKING:
    from rich.console import Console, RenderableType

#: Letters across from which tables have room for more words.
WIDE = 100


def say(text: str) -> None:
    """Print a line, with signs that can't be seen spelled out."""
    print(spelled_out(text, kept="\u00a0"))


def warn(warnings: list[str]) -> None:
    """Print warnings to standard error, a line each."""
    for warning in warnings:
        print(f"warning: {one_line(warning)}", file=sys.stderr)


def print_json(document: dict[str, Any], warnings: list[str] | None = None) -> None:
    """Print a document, and its warnings to standard error."""
    from portviz.report.machine import to_text

    warn(warnings or [])
    print(to_text(document))


def console() -> Console:
    """Return where tables are printed: the terminal, or 110 letters where there is none."""
    from rich.console import Console

    console = Console(highlight=False)
    return console if console.is_terminal else Console(highlight=False, width=110)


def show(what: RenderableType) -> None:
    """Print tables and words. What stands in them comes from files: signs that steer a terminal are spelled out."""
    from portviz.report.layout import shown_plainly

    console().print(shown_plainly(what))
