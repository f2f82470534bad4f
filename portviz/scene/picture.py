"""Pictures of a view, written without a window."""

from __future__ import annotations

from pathlib import Path

from portviz.distribution.reduce import Reduction
from portviz.errors import UsageError
from portviz.job.write import write_atomically
from portviz.scene.display import Probe, start_probe
from portviz.scene.state import ViewState, view_state
from portviz.scene.words import file_words

PICTURE_ENDINGS = (".png",)


def require_picture_name(path: Path, option: str = "picture") -> None:
    """Raise UsageError where the name has no ending that we write."""
    if path.suffix.lower() not in PICTURE_ENDINGS:
        raise UsageError(f"{option}: {path.name!r} must end in {' or '.join(PICTURE_ENDINGS)}")


def write_picture(
    state: ViewState, path: Path, size: tuple[int, int], probe: Probe, *, overwrite: bool = False
) -> Path:
    """Draw a view and write it as PNG.

    Raises
    ------
    DrawingError
        If nothing can be drawn on this machine.
    JobError
        If the file is there already or can't be written.
    """
    from portviz.scene.scene import Scene, new_plotter

    software = probe.software
    plotter = new_plotter(size, off_screen=True, software=software)
    try:
        Scene(plotter, state)
        return write_atomically(path, lambda made: plotter.screenshot(str(made)), overwrite=overwrite)
    finally:
        plotter.close()


def write_pictures(reduction: Reduction, folder: Path) -> list[Path]:
    """Draw each run at its greatest lift from two sides into a folder; existing pictures are replaced.

    Raises
    ------
    DrawingError
        If nothing can be drawn on this machine.
    """
    probe = start_probe(off_screen=True)
    written = []
    for run, name in enumerate(reduction.runs):
        for camera in ("three-quarter", "cylinder"):
            state = view_state(reduction, run, None, "velocity", camera)
            path = folder / f"{run + 1}-{file_words(name)}-{camera}.png"
            written.append(write_picture(state, path, (1280, 800), probe, overwrite=True))
    return written
