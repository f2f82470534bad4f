"""A bar on the terminal while something takes long; silence where nobody watches."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

#: Fewer designs than this are done before a bar could be seen.
_WORTH_A_BAR = 2_000


@contextmanager
def designs_progress(count: int) -> Iterator[Callable[[int], None] | None]:
    """Yield what is to be called with the number of designs done; None where no bar is shown."""
    if count < _WORTH_A_BAR or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("designs"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("designs", total=count)
        yield lambda done: bar.update(task, completed=done)
