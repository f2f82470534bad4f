"""Interrupts while VTK is at work: where one comes in an observer VTK ends the process, or swallows it."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def held_interrupt(meanwhile: Callable[[], object] = lambda: None) -> Iterator[Callable[[], bool]]:
    """Hold an interrupt from the keyboard until the end of a `with` block, and raise it there.

    Parameters
    ----------
    meanwhile : callable
        Called at once when one comes; it must not raise.

    Yields
    ------
    callable
        Tells if one has come.

    Raises
    ------
    KeyboardInterrupt
        At the end, if one has come.
    """
    if threading.current_thread() is not threading.main_thread():
        # Interrupts come in the main thread alone.
        yield lambda: False
        return
    come = False

    def keep(*_: object) -> None:
        nonlocal come
        come = True
        meanwhile()

    before = signal.signal(signal.SIGINT, keep)
    try:
        yield lambda: come
    finally:
        signal.signal(signal.SIGINT, signal.SIG_DFL if before is None else before)
    if come:
        raise KeyboardInterrupt
