"""The film of the valve's event: equal steps of crank angle in equal times, from opening to closing, and again."""

from __future__ import annotations

import gc
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from portviz.distribution.cam_event import CamEvent
from portviz.distribution.event import event_results
from portviz.distribution.reduce import Reduction
from portviz.errors import JobError, UsageError
from portviz.job.model import JOB_FILE, Array, Job
from portviz.job.write import write_atomically
from portviz.scene.display import Probe
from portviz.scene.encode import Frame, frame_seconds, palette_of, write_film_file
from portviz.scene.event_words import flow_words, slowness_text
from portviz.scene.interrupt import held_interrupt
from portviz.scene.state import view_state

if TYPE_CHECKING:
    from PIL import Image

    from portviz.scene.event_scene import EventScene

#: What one event takes in a film where nobody says [s].
USUAL_SECONDS = 6.0
_SECONDS, _RATES, _FRAMES = (0.5, 120.0), (1.0, 60.0), (12, 3000)
_GREATEST_SIDE, _GREATEST_AREA = 4096, 4096 * 2304
_SAMPLES = 6
#: The line between two runs, and its width [pixels].
_SEAM_COLOUR, _SEAM = 200, 2


@dataclass(frozen=True)
class FilmPlan:
    """When a film shows what.

    Parameters
    ----------
    event : CamEvent
    frames : int
        Frames of one event.
    frame_seconds : float
        How long each is shown [s].
    """

    event: CamEvent
    frames: int
    frame_seconds: float

    @property
    def crank_deg(self) -> Array:
        """Crank angle of each frame [deg], shape (frames,); the one after the last is the first again."""
        part = np.arange(self.frames) / self.frames
        return self.event.opening_deg + part * self.event.duration_deg

    @property
    def seconds(self) -> float:
        """What one event takes [s]."""
        return self.frames * self.frame_seconds


def require_film_options(
    path: Path, size: tuple[int, int], seconds: float | None, slow: float | None, rate: float, *, beside: bool
) -> None:
    """Raise UsageError where options can't be meant, before anything is read or drawn."""
    if seconds is not None and slow is not None:
        raise UsageError("seconds, slow: both say how long the event takes; give one of them")
    if seconds is not None and not _SECONDS[0] <= seconds <= _SECONDS[1]:
        raise UsageError(f"seconds: {seconds:.10g} is not from {_SECONDS[0]:g} to {_SECONDS[1]:g}")
    if slow is not None and not 1.0 <= slow <= 1e6:
        raise UsageError(f"slow: {slow:.10g} is not a number of times from 1 to 1000000, such as 500")
    ending = path.suffix.lower()
    most = 50.0 if ending == ".gif" else _RATES[1]
    if not _RATES[0] <= rate <= most:
        whose = " of a .gif, whose frames are shown for 2/100 s at least," if ending == ".gif" else ""
        raise UsageError(f"rate: {rate:g} frames a second{whose} is not from {_RATES[0]:g} to {most:g}")
    width, height = size[0] * (2 if beside else 1), size[1]
    if max(width, height) > _GREATEST_SIDE or width * height > _GREATEST_AREA:
        both = f"; two runs make {width}x{height}" if beside else ""
        raise UsageError(
            f"size: {size[0]}x{size[1]} is too large for a film{both}, and players show up to "
            f"{_GREATEST_SIDE}x{_GREATEST_AREA // _GREATEST_SIDE}"
        )
    if ending == ".mp4" and (width % 2 or height % 2):
        even = f"{size[0] + (width % 2)}x{height + height % 2}"
        raise UsageError(f"size: {size[0]}x{size[1]} has an odd side, and .mp4 needs even ones, such as {even}")


def film_plan(
    job: Job, event: CamEvent, ending: str, seconds: float | None, slow: float | None, rate: float
) -> FilmPlan:
    """Return when the film of a job's event shows what.

    Parameters
    ----------
    job : Job
    event : CamEvent
    ending : str
        Of the file, with its point.
    seconds : float or None
        What one event takes in the film [s].
    slow : float or None
        How many times slower than the engine instead [-].
    rate : float
        Frames a second.

    Raises
    ------
    JobError
        If the engine's speed is needed and not stated.
    UsageError
        If the film would be too short or too long.
    """
    asked = "seconds" if slow is None else "slow"
    if slow is not None:
        seconds = _slowed(event, slow, _engine_speed(job))
    seconds = USUAL_SECONDS if seconds is None else seconds
    step = frame_seconds(ending, rate)
    frames = round(seconds / step)
    if not _FRAMES[0] <= frames <= _FRAMES[1]:
        raise UsageError(
            f"{asked}, rate: {seconds:.3g} s at {rate:g} frames a second are {frames} frames, and a film has "
            f"{_FRAMES[0]} to {_FRAMES[1]}"
        )
    return FilmPlan(event, frames, step)


def _slowed(event: CamEvent, slow: float, speed: float) -> float:
    """Return what an event takes in a film [s] that is so many times slower than the engine at a speed [rad/s]."""
    seconds = float(slow * np.radians(event.duration_deg) / speed)
    if not _SECONDS[0] <= seconds <= _SECONDS[1]:
        least, most = np.ceil(_SECONDS[0] / seconds * slow), np.floor(_SECONDS[1] / seconds * slow)
        raise UsageError(
            f"slow: {slow:.10g} times slower than at {speed * 30.0 / np.pi:.4g} rpm the event takes "
            f"{float(f'{seconds:.2g}'):.10g} s, "
            f"and a film {_SECONDS[0]:g} to {_SECONDS[1]:g} s, which is {least:.0f} to {most:.0f} times"
        )
    return seconds


def _engine_speed(job: Job) -> float:
    speed = None if job.engine is None else job.engine.speed
    if speed is None:
        raise JobError(
            "slow: the engine's speed is not stated" if job.engine else "slow: there is no engine",
            file=JOB_FILE,
            place="engine.speed",
            expected='a speed of the crankshaft, such as [engine] speed = "6500 rpm"',
            mend="Or say how long one event takes in the film: --seconds 6",
        )
    return speed


def film_scenes(
    reduction: Reduction, runs: list[int], field: str, camera: str, plan: FilmPlan, size: tuple[int, int]
) -> list[EventScene]:
    """Return a scene for each run, on a plotter of its own, at the first frame."""
    from portviz.scene.event_scene import EventScene
    from portviz.scene.scene import new_plotter

    engine = reduction.job.engine
    slowness = slowness_text(plan.seconds, plan.event, None if engine is None else engine.speed)
    flows: list[str | None] = [None] * len(runs)
    if len(runs) > 1:
        # Two shades side by side leave one guessing which run flows more.
        results = event_results(reduction, plan.event)
        flows = [flow_words(reduction.job, results[run]) for run in runs]
    scenes = []
    try:
        for run, flow in zip(runs, flows, strict=True):
            state = view_state(reduction, run, None, field, camera)
            plotter = new_plotter(size, off_screen=True, software=True)
            scenes.append(EventScene(plotter, state, plan.event, slowness=slowness, flow=flow, film=True))
    except BaseException:
        close(scenes)
        raise
    return scenes


def close(scenes: list[EventScene]) -> None:
    """Close the scenes' plotters."""
    for scene in scenes:
        scene.plotter.close()


def drawn(scenes: list[EventScene], crank_deg: float) -> Frame:
    """Return the scenes side by side at a crank angle [deg], shape (height, width of all, 3)."""
    pictures = []
    with held_interrupt():
        for scene in scenes:
            scene.move(crank_deg)
            pictures.append(pixels(scene.plotter))
    if len(pictures) == 1:
        return pictures[0]
    frame = np.concatenate(pictures, axis=1)
    for edge in np.cumsum([each.shape[1] for each in pictures])[:-1]:
        frame[:, edge - _SEAM // 2 : edge + _SEAM // 2] = _SEAM_COLOUR
    return frame


def pixels(plotter: Any) -> Frame:
    """Render a plotter and return its pixels from the top, shape (height, width, 3)."""
    from vtkmodules.util.numpy_support import vtk_to_numpy
    from vtkmodules.vtkCommonCore import vtkUnsignedCharArray

    window = plotter.render_window
    window.Render()
    width, height = window.GetSize()
    data = vtkUnsignedCharArray()
    window.GetPixelData(0, 0, width - 1, height - 1, 0, data, 0)
    return np.ascontiguousarray(vtk_to_numpy(data).reshape(height, width, 3)[::-1])


def film_frames(scenes: list[EventScene], plan: FilmPlan) -> Iterator[Frame]:
    """Draw the frames one after the other, with a bar of progress where somebody watches a terminal."""
    for crank in _told(plan.crank_deg.tolist()):
        yield drawn(scenes, crank)


def _told(angles: list[float]) -> Iterator[float]:
    if not sys.stderr.isatty():
        yield from angles
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("drawing"), BarColumn(), TextColumn("{task.completed}/{task.total}"), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        yield from bar.track(angles)


def write_film(
    reduction: Reduction,
    runs: list[int],
    field: str,
    camera: str,
    plan: FilmPlan,
    path: Path,
    size: tuple[int, int],
    probe: Probe,
    *,
    overwrite: bool = False,
) -> Path:
    """Draw the film of one event and write it.

    Parameters
    ----------
    reduction : Reduction
    runs : list of int
        Places among the runs, shown side by side and in step.
    field, camera : str
        What colours the curtain, and the side it is seen from.
    plan : FilmPlan
    path : Path
        Its ending is the format.
    size : tuple of int
        Width and height of each run's picture [pixels].
    probe : Probe
    overwrite : bool

    Raises
    ------
    DrawingError
        If nothing can be drawn on this machine.
    JobError
        If the file is there already or can't be written.
    """
    _ = probe.software  # Told here, before VTK may end the process.
    with held_interrupt():
        scenes = film_scenes(reduction, runs, field, camera, plan, size)
    # Many frames leave more behind than one picture; what is loaded so far need not be walked again and again.
    was_on = gc.isenabled()
    gc.freeze()
    gc.enable()
    try:
        return write_atomically(path, lambda made: _write(made, scenes, plan), overwrite=overwrite)
    finally:
        close(scenes)
        gc.unfreeze()
        if not was_on:
            gc.disable()


def _write(path: Path, scenes: list[EventScene], plan: FilmPlan) -> None:
    palette = film_palette(scenes, plan) if path.suffix.lower() == ".gif" else None
    write_film_file(path, film_frames(scenes, plan), plan.frames, plan.frame_seconds, palette)


def film_palette(scenes: list[EventScene], plan: FilmPlan) -> Image.Image:
    """Return one palette for all frames, made from a few of them."""
    samples = (drawn(scenes, crank) for crank in plan.crank_deg[:: -(-plan.frames // _SAMPLES)].tolist())
    scale = np.asarray(scenes[0].curtain_actor.mapper.lookup_table.values, dtype=np.uint8)[:, :3]
    return palette_of(samples, scale)
