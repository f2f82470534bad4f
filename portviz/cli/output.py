"""What commands print: results to standard output, warnings to standard error."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

from portviz.errors import one_line

if TYPE_CHECKING:
    from rich.console import Console

#: Letters across from which tables have room for more words.
WIDE = 100


def say(text: str) -> None:
    """Print a line."""
    print(text)


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


def show(what: Any) -> None:
    """Print tables."""
    console().print(what)
