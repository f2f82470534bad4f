"""The pictures that stand where the turning view can't: on paper, without scripts, without the browser's 3D.

They are drawn in a process of their own, while the rest of the page is made: VTK without OpenGL ends its process.
"""

from __future__ import annotations

import io
import os
import platform
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from functools import cache
from multiprocessing import get_context
from multiprocessing.connection import Connection
from typing import TYPE_CHECKING

from portviz.distribution.reduce import Reduction
from portviz.errors import DrawingError
from portviz.scene.display import INSTALL_OPENGL

if TYPE_CHECKING:
    from PIL.Image import Image

#: What waits for the pictures and returns PNGs by the run's place; where nothing can be drawn there are none.
Waiting = Callable[[], dict[int, bytes]]
#: Size of a picture [pixels]: the scene is laid out at the first and drawn so many times larger, type with it.
SIZE, SCALE = (480, 320), 2
#: Left round what is shown [pixels].
_MARGIN = 8
#: A picture is mostly white: more pains with it take five times as long for a twentieth of its bytes.
_PACKED = 6
#: Seconds after which a process that draws is given up.
_PATIENCE = 60.0
NO_PICTURES = (
    "the report has no pictures of the valve in three dimensions, since OpenGL is "
    f"missing or broken here; a flat section stands in their place. {INSTALL_OPENGL}"
)


@contextmanager
def run_pictures(reduction: Reduction, runs: Iterable[int]) -> Iterator[Waiting]:
    """Start drawing runs, each at its greatest measured lift; gives what waits for them, once."""
    places = tuple(runs)
    if platform.system() != "Linux":
        yield cache(lambda: _drawn_here(reduction, places))
        return
    # Both processes need these: loaded now, they are loaded once.
    import matplotlib.figure  # noqa: F401
    import pyvista  # noqa: F401

    context = get_context("fork")
    receiving, sending = context.Pipe(duplex=False)
    process = context.Process(target=_draw_apart, args=(reduction, places, receiving, sending), daemon=True)
    process.start()
    sending.close()
    try:
        yield cache(lambda: _received(receiving))
    finally:
        receiving.close()
        process.kill()
        process.join()


def _received(receiving: Connection) -> dict[int, bytes]:
    # Without OpenGL the process that draws has ended, and nothing comes.
    with suppress(EOFError, OSError):
        if receiving.poll(_PATIENCE):
            return dict(receiving.recv())
    return {}


def _draw_apart(reduction: Reduction, runs: tuple[int, ...], receiving: Connection, sending: Connection) -> None:
    # A process that keeps the other end open would wait for ever for a reader that has gone.
    receiving.close()
    # What VTK says of a broken OpenGL is no message of ours.
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
    # Nor is it to be asked first whether it can draw, with a window of its own: it may as well end here.
    os.environ["ALLOW_PLOTTING"] = "true"
    with suppress(OSError):
        sending.send(draw_runs(reduction, runs, software=True))


def _drawn_here(reduction: Reduction, runs: tuple[int, ...]) -> dict[int, bytes]:
    from portviz.scene.display import start_probe

    try:
        return draw_runs(reduction, runs, software=start_probe(off_screen=True).software)
    except DrawingError:
        return {}


def draw_runs(reduction: Reduction, runs: Iterable[int], *, software: bool) -> dict[int, bytes]:
    """Draw runs at their greatest measured lift and return PNGs by the run's place, without an empty margin.

    Parameters
    ----------
    reduction : Reduction
    runs : iterable of int
    software : bool
        True where OpenGL runs in software.
    """
    from PIL.Image import fromarray

    from portviz.scene.scene import Scene, new_plotter
    from portviz.scene.state import view_state

    drawn: dict[int, Image] = {}
    plotter, scene = new_plotter(SIZE, off_screen=True, software=software), None
    try:
        for run in runs:
            state = view_state(reduction, run, None, "velocity", "three-quarter")
            if scene is None:
                scene = Scene(plotter, state)
                plotter.set_background("white")
            else:
                scene.update(state)
            # The page has words and scale beside the picture, in letters that can be read aloud.
            scene.words.input = " "
            scene.bar.SetVisibility(False)
            drawn[run] = fromarray(plotter.screenshot(None, return_img=True, scale=SCALE))
    finally:
        plotter.close()
    return _trimmed(drawn)


def _trimmed(drawn: dict[int, Image]) -> dict[int, bytes]:
    """Return pictures as PNGs, all cut to what any of them shows."""
    from PIL import ImageChops

    inked = [ImageChops.invert(each).getbbox() or (0, 0, *each.size) for each in drawn.values()]
    left, top, right, bottom = zip(*inked, strict=True)
    box = (min(left) - _MARGIN, min(top) - _MARGIN, max(right) + _MARGIN, max(bottom) + _MARGIN)
    found = {}
    for run, each in drawn.items():
        made = io.BytesIO()
        inside = (max(box[0], 0), max(box[1], 0), min(box[2], each.width), min(box[3], each.height))
        each.crop(inside).save(made, "PNG", compress_level=_PACKED)
        found[run] = made.getvalue()
    return found


def picture_size(png: bytes) -> tuple[int, int]:
    """Return a picture's width and height [pixels]."""
    from PIL.Image import open as opened

    with opened(io.BytesIO(png)) as picture:
        return picture.size
