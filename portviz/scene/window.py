"""The window: the scene with a slider for the lift and keys for the rest."""

from __future__ import annotations

import gc
from collections.abc import Callable
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pyvista as pv
from vtkmodules.vtkRenderingCore import vtkActor2D, vtkCoordinate, vtkPolyDataMapper2D

from portviz.errors import JobError, one_line
from portviz.job.words import lift_text
from portviz.job.write import write_atomically
from portviz.scene.colours import INK, REFERENCE
from portviz.scene.display import Probe, require_screen
from portviz.scene.event_scene import EventScene
from portviz.scene.interrupt import held_interrupt
from portviz.scene.playing import Playing, scene_to_play
from portviz.scene.scene import Scene, new_plotter
from portviz.scene.state import ViewState
from portviz.scene.words import file_words, fitted
from portviz.units import in_unit, unit_factor

#: A key for each field and each side to look from.
FIELD_KEYS = {"v": "velocity", "r": "velocity-ratio", "m": "mach", "f": "flow-per-degree", "d": "drop"}
CAMERA_KEYS = {"t": "three-quarter", "c": "cylinder", "p": "port", "s": "section"}
#: The first runs have a key each, 1 to 9.
_MOST_RUN_KEYS = 9
#: Below this scale of type there is no room for the slider's title.
_ROOM_FOR_TITLE = 0.65
#: How far the slider runs where only the closed valve was measured [m].
_NO_LIFT = 1e-3
#: No reason why there is no event takes more lines: the slider stands above them.
_REASON_LINES = 4
#: How often an interrupt is looked for [ms].
_HEARTBEAT_MS = 200
_SLIDER_FROM, _SLIDER_TO, _SLIDER_HEIGHT = 0.38, 0.86, 0.135


def key_list(runs: tuple[str, ...], *, fields: bool = True, play: bool = True) -> str:
    """Return the list of keys, a line for each purpose."""
    lines = [f"{number}   run {fitted(name, 24)[0]}" for number, name in enumerate(runs[:_MOST_RUN_KEYS], start=1)]
    if len(lines) > 3:
        lines = [*lines[:2], f"3 … {len(lines)}   further runs"]
    if len(runs) > _MOST_RUN_KEYS:
        lines.append("up, down   previous, next run")
    return "\n".join(
        [
            *lines,
            f"left, right   measured lifts{'; space play, stop' if play else ''}",
            *(["v velocity, r ratio, m Mach", "f flow per degree, d drop"] if fields else []),
            "t three-quarter, s section",
            "c from cylinder, p from port",
            "w write a picture",
            "h hide or show this, q close",
        ]
    )


class Window:
    """A scene under a person's hands.

    Parameters
    ----------
    scene : Scene
    choices : bool
        Let runs and fields be chosen, and the event be played; without it the scene shows what it shows.
    why_not : str
        Why a scene without a cam's event has none to play.
    """

    def __init__(self, scene: Scene, *, choices: bool = True, why_not: str = "no event to play") -> None:
        self.plotter = plotter = scene.plotter
        self.scene = scene
        self._choices = choices
        self._why_not = why_not
        self.playing = Playing(scene, self._show_crank) if isinstance(scene, EventScene) else None
        scene.key_list.input = key_list(self.state.reduction.runs if choices else (), fields=choices, play=choices)
        self._unit = self.state.reduction.job.units.length
        self._factor = unit_factor(self._unit, "length")
        self.slider_value = scene.add_text((_SLIDER_TO + 0.012, _SLIDER_HEIGHT), "left", "center", 14)
        self._tell_lift()
        self.slider = self._add_slider()
        self.marks = self._add_marks()
        self.slider_title = self.scene.add_text((_SLIDER_FROM - 0.012, _SLIDER_HEIGHT), "right", "center", 13)
        self.slider_title.input = "lift (marks: measured)"
        self._bind_keys()
        plotter.iren.add_observer("ConfigureEvent", lambda *_: self._resized())
        self._shown_size = tuple(plotter.window_size)
        self._make_room()

    def _make_room(self) -> None:
        """Leave the slider's title out where the key list would be under it."""
        self.slider_title.SetVisibility(self.scene.size.scale > _ROOM_FOR_TITLE)

    def _resized(self) -> None:
        """Lay everything out anew where the window has another size."""
        size = tuple(self.plotter.window_size)
        if size != self._shown_size:
            self._shown_size = size
            self.scene.resize()
            self._make_room()

    @property
    def state(self) -> ViewState:
        """What is shown now."""
        return self.scene.state

    def _add_slider(self) -> Any:
        slider = self.plotter.add_slider_widget(
            self._slid,
            # Where nothing but the closed valve was measured the slider has nowhere to go.
            (0.0, (self.state.greatest_lift or _NO_LIFT) / self._factor),
            value=self.state.lift / self._factor,
            title=" ",
            pointa=(_SLIDER_FROM, _SLIDER_HEIGHT),
            pointb=(_SLIDER_TO, _SLIDER_HEIGHT),
            color=INK,
            slider_width=0.028,
            tube_width=0.006,
            interaction_event="always",
        )
        shape = slider.GetRepresentation()
        shape.GetSliderProperty().SetColor(*pv.Color(REFERENCE).float_rgb)
        shape.GetTubeProperty().SetColor(0.55, 0.56, 0.58)
        shape.GetCapProperty().SetOpacity(0.0)
        shape.SetEndCapLength(0.0)
        shape.SetSliderLength(0.016)
        # VTK fits its own label anew at each step, which takes half as long as a frame; ours stands beside.
        shape.ShowSliderLabelOff()
        return slider

    def _add_marks(self) -> Any:
        """Return the marks at the measured lifts of the run, on the slider's tube."""
        self._mark_mesh = pv.PolyData()
        place = vtkCoordinate()
        place.SetCoordinateSystemToNormalizedViewport()
        mapper = vtkPolyDataMapper2D()
        mapper.SetInputData(self._mark_mesh)
        mapper.SetTransformCoordinate(place)
        actor = vtkActor2D()
        actor.SetMapper(mapper)
        actor.GetProperty().SetColor(*pv.Color(INK).float_rgb)
        actor.GetProperty().SetLineWidth(2.0)
        self.plotter.add_actor(actor, reset_camera=False)
        self._place_marks()
        return actor

    def _place_marks(self) -> None:
        lifts = self.state.measured_lifts
        # The slider's middle runs from half its length behind one end to half its length before the other.
        margin = 0.5 * self.slider.GetRepresentation().GetSliderLength()
        across = (
            _SLIDER_FROM
            + margin
            + lifts / (self.state.greatest_lift or _NO_LIFT) * (_SLIDER_TO - _SLIDER_FROM - 2.0 * margin)
        )
        ends = np.stack([np.full_like(across, _SLIDER_HEIGHT + off) for off in (-0.013, 0.013)], axis=1)
        points = np.stack([np.repeat(across, 2), ends.ravel(), np.zeros(2 * len(across))], axis=1)
        lines = np.insert(np.arange(len(points)).reshape(-1, 2), 0, 2, axis=1).ravel()
        self._mark_mesh.copy_from(pv.PolyData(points, lines=lines))

    def _bind_keys(self) -> None:
        # VTK's own single-letter commands (fly, stereo, wireframe ...) would fire beside ours.
        self.plotter.iren.interactor.RemoveObservers("CharEvent")
        keys: dict[str, Callable[[], object]] = {
            "Left": lambda: self.step(-1),
            "Right": lambda: self.step(1),
            "w": self.picture,
            "h": self.toggle_keys,
            "q": self.close,
        }
        keys |= {key: partial(self.look_from, camera) for key, camera in CAMERA_KEYS.items()}
        if self._choices:
            runs = len(self.state.reduction.runs)
            keys |= {key: partial(self.colour_by, quantity) for key, quantity in FIELD_KEYS.items()}
            keys |= {str(run + 1): partial(self.show_run, run) for run in range(min(runs, _MOST_RUN_KEYS))}
            keys |= {"space": self.play_or_stop, "Up": lambda: self.step_run(-1), "Down": lambda: self.step_run(1)}
        for key, action in keys.items():
            self.plotter.clear_events_for_key(key, raise_on_missing=False)
            self.plotter.add_key_event(key, action)

    def _slid(self, value: float) -> None:
        self._hold()
        self.show(self.state.changed(lift=self._snapped(value * self._factor)), move_slider=False)

    def _snapped(self, lift: float) -> float:
        """Return the measured lift where the slider stands within a pixel or two of it."""
        lifts = self.state.measured_lifts
        nearest = float(lifts[np.argmin(np.abs(lifts - lift))])
        return nearest if abs(nearest - lift) <= 0.004 * self.state.greatest_lift else lift

    def show(self, state: ViewState, *, move_slider: bool = True) -> None:
        """Show another state, in place."""
        other_run = state.run != self.state.run
        self.scene.update(state)
        if move_slider:
            self.slider.GetRepresentation().SetValue(state.lift / self._factor)
        self._tell_lift()
        if other_run:
            self._place_marks()
        self.plotter.render()

    def _tell_lift(self) -> None:
        self.slider_value.input = lift_text(self.state.reduction.job, self.state.lift)

    def play_or_stop(self) -> None:
        """Let the valve go through its event, again and again, or leave it where it is."""
        if self.playing is None:
            self.scene.say("\n".join(fitted(self._why_not, self.scene.size.letters(0.62, 12), _REASON_LINES)))
            self.plotter.render()
        elif self.playing.under_way:
            self.playing.stop()
            self.plotter.render()
        else:
            self.playing.start()

    def _show_crank(self, crank_deg: float) -> None:
        assert isinstance(self.scene, EventScene)
        self.scene.crank_deg = crank_deg
        self.show(self.state.changed(lift=float(self.scene.event.lift_at(crank_deg))))

    def _hold(self) -> None:
        """Take the valve out of its event: what is shown next is a lift for itself."""
        if self.playing is not None:
            self.playing.release()

    def step(self, by: int) -> None:
        """Go to the previous or next measured lift of the run."""
        self._hold()
        lifts = self.state.measured_lifts
        tolerance = 1e-9
        if by > 0:
            beyond = lifts[lifts > self.state.lift + tolerance]
            lift = beyond[0] if beyond.size else lifts[-1]
        else:
            below = lifts[lifts < self.state.lift - tolerance]
            lift = below[-1] if below.size else lifts[0]
        self.show(self.state.changed(lift=float(lift)))

    def show_run(self, run: int) -> None:
        """Show another run at the same lift."""
        self.show(self.state.changed(run=run))

    def step_run(self, by: int) -> None:
        """Go to the previous or next run, round and round."""
        self.show_run((self.state.run + by) % len(self.state.reduction.runs))

    def colour_by(self, quantity: str) -> None:
        """Colour by another quantity."""
        self.show(self.state.changed(quantity=quantity))

    def close(self) -> None:
        """End the window."""
        self._hold()
        self.plotter.iren.terminate_app()

    def look_from(self, camera: str) -> None:
        """Move the camera."""
        self.scene.look_from(camera)
        self.plotter.render()

    def toggle_keys(self) -> None:
        """Hide or show the key list."""
        self.scene.key_list.SetVisibility(not self.scene.key_list.GetVisibility())
        self.plotter.render()

    def picture(self) -> Path | None:
        """Write what is seen beside the job's files, under a new name; None where that can't be."""
        if self.playing is not None:
            self.playing.stop()
        state = self.state
        lift = in_unit(state.lift, self._unit, "length")
        moment = datetime.now().strftime("%Y%m%d-%H%M%S-%f")[:-3]
        name = f"view-{file_words(self.scene.file_subject())}-{lift:.2f}{self._unit}-{moment}.png"
        path = state.reduction.job.folder / name
        helpers = (self.scene.key_list, self.marks, self.slider_title, self.slider_value)
        shown = [each.GetVisibility() for each in helpers]
        self.slider.Off()
        for each in helpers:
            each.SetVisibility(False)
        written = None
        try:
            self.plotter.render()
            written = write_atomically(path, lambda made: self.plotter.screenshot(str(made)))
            said = f"written: {path.name}"
        except JobError as error:
            said = str(error)
        finally:
            self.slider.On()
            for each, visible in zip(helpers, shown, strict=True):
                each.SetVisibility(visible)
        self.scene.say(said)
        self.plotter.render()
        print(one_line(said))
        return written


def open_window(state: ViewState, size: tuple[int, int], probe: Probe) -> None:
    """Open the window and stay until it is closed.

    Raises
    ------
    DrawingError
        If nothing can be drawn on this machine.
    KeyboardInterrupt
        If the window was closed by an interrupt.
    """
    plotter = new_plotter(size, off_screen=False, software=probe.software)
    require_screen(plotter)
    scene, why_not = scene_to_play(plotter, state)
    Window(scene, why_not=why_not)
    gc.enable()
    show_until_closed(plotter)


def show_until_closed(plotter: pv.Plotter) -> None:
    """Show a window until it is closed, also by an interrupt.

    Python sees no interrupt while VTK waits for events: a timer gives it its turn.
    """
    interactor = plotter.iren.interactor
    interactor.Initialize()
    with held_interrupt(plotter.iren.terminate_app) as interrupted:
        # One that comes before the window waits for events would not end that.
        interactor.AddObserver("TimerEvent", lambda *_: plotter.iren.terminate_app() if interrupted() else None)
        interactor.CreateRepeatingTimer(_HEARTBEAT_MS)
        plotter.show()
