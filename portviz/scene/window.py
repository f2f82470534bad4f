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

from portviz.distribution.field import QUANTITIES
from portviz.job.write import write_atomically
from portviz.scene.colours import INK
from portviz.scene.display import Probe
from portviz.scene.picture import file_words
from portviz.scene.scene import Scene, new_plotter
from portviz.scene.state import CAMERAS, ViewState
from portviz.units import in_unit, unit_factor

KEYS = """\
left, right   previous, next measured lift
u   next run
g   next quantity
b, n   view: three-quarter, from the cylinder
m, k   view: from the port, in section
x   write a picture
h   hide or show this list
q   close"""
CAMERA_KEYS = dict(zip(("b", "n", "m", "k"), CAMERAS, strict=True))


class Window:
    """A scene under a person's hands.

    Parameters
    ----------
    plotter : pyvista.Plotter
    state : ViewState
        What to show first.
    """

    def __init__(self, plotter: pv.Plotter, state: ViewState) -> None:
        self.plotter = plotter
        self.scene = Scene(plotter, state, KEYS)
        self._unit = state.reduction.job.units.length
        self._factor = unit_factor(self._unit, "length")
        self.slider = self._add_slider()
        self._bind_keys()

    @property
    def state(self) -> ViewState:
        """What is shown now."""
        return self.scene.state

    def _add_slider(self) -> Any:
        slider = self.plotter.add_slider_widget(
            self._slid,
            (0.0, self.state.greatest_lift / self._factor),
            value=self.state.lift / self._factor,
            title=f"lift [{self._unit}]",
            pointa=(0.36, 0.09),
            pointb=(0.84, 0.09),
            color=INK,
            title_height=0.022,
            title_color=INK,
            slider_width=0.028,
            tube_width=0.006,
            fmt="%.2f" if self._unit.lower() == "mm" else "%.4f",
            interaction_event="always",
        )
        shape = slider.GetRepresentation()
        shape.GetSliderProperty().SetColor(0.69, 0.36, 0.0)
        shape.GetTubeProperty().SetColor(0.55, 0.56, 0.58)
        shape.GetCapProperty().SetOpacity(0.0)
        shape.SetLabelHeight(0.022)
        shape.SetSliderLength(0.02)
        for text in (shape.GetTitleProperty(), shape.GetLabelProperty()):
            self.scene.set_font(text)
            text.SetColor(*pv.Color(INK).float_rgb)
        return slider

    def _bind_keys(self) -> None:
        # VTK's own single-letter commands (fly, stereo, wireframe ...) would fire beside ours.
        self.plotter.iren.interactor.RemoveObservers("CharEvent")
        keys: dict[str, Callable[[], object]] = {
            "Left": lambda: self.step(-1),
            "Right": lambda: self.step(1),
            "u": self.next_run,
            "g": self.next_quantity,
            "x": self.picture,
            "h": self.toggle_keys,
            "q": self.close,
        }
        for key, camera in CAMERA_KEYS.items():
            keys[key] = partial(self.look_from, camera)
        for key, action in keys.items():
            self.plotter.clear_events_for_key(key, raise_on_missing=False)
            self.plotter.add_key_event(key, action)

    def _slid(self, value: float) -> None:
        self.show(self.state.changed(lift=self._snapped(value * self._factor)), move_slider=False)

    def _snapped(self, lift: float) -> float:
        """Return the measured lift where the slider stands within a pixel or two of it."""
        lifts = self.state.measured_lifts
        nearest = float(lifts[np.argmin(np.abs(lifts - lift))])
        return nearest if abs(nearest - lift) <= 0.004 * self.state.greatest_lift else lift

    def show(self, state: ViewState, *, move_slider: bool = True) -> None:
        """Show another state, in place."""
        self.scene.update(state)
        if move_slider:
            self.slider.GetRepresentation().SetValue(state.lift / self._factor)
        self.plotter.render()

    def step(self, by: int) -> None:
        """Go to the previous or next measured lift of the run."""
        lifts = self.state.measured_lifts
        tolerance = 1e-9
        if by > 0:
            beyond = lifts[lifts > self.state.lift + tolerance]
            lift = beyond[0] if beyond.size else lifts[-1]
        else:
            below = lifts[lifts < self.state.lift - tolerance]
            lift = below[-1] if below.size else lifts[0]
        self.show(self.state.changed(lift=float(lift)))

    def next_run(self) -> None:
        """Show the next run at the same lift."""
        self.show(self.state.changed(run=(self.state.run + 1) % len(self.state.reduction.runs)))

    def next_quantity(self) -> None:
        """Colour by the next quantity."""
        names = list(QUANTITIES)
        after = (names.index(self.state.quantity) + 1) % len(names)
        self.show(self.state.changed(quantity=names[after]))

    def close(self) -> None:
        """End the window."""
        self.plotter.iren.terminate_app()

    def look_from(self, camera: str) -> None:
        """Move the camera."""
        self.scene.look_from(camera)
        self.plotter.render()

    def toggle_keys(self) -> None:
        """Hide or show the key list."""
        self.scene.key_list.SetVisibility(not self.scene.key_list.GetVisibility())
        self.plotter.render()

    def picture(self) -> Path:
        """Write what is seen beside the job's files, under a new name."""
        state = self.state
        lift = in_unit(state.lift, self._unit, "length")
        run = file_words(state.reduction.runs[state.run])
        moment = datetime.now().strftime("%Y%m%d-%H%M%S-%f")[:-3]
        name = f"view-{run}-{lift:.2f}{self._unit}-{state.quantity}-{moment}.png"
        path = state.reduction.job.folder / name
        self.slider.Off()
        try:
            write_atomically(path, lambda made: self.plotter.screenshot(str(made)))
        finally:
            self.slider.On()
        print(f"Written: {path}")
        return path


def open_window(state: ViewState, size: tuple[int, int], probe: Probe) -> None:
    """Open the window and stay until it is closed.

    Raises
    ------
    DrawingError
        If nothing can be drawn on this machine.
    """
    plotter = new_plotter(size, off_screen=False, software=probe.software)
    Window(plotter, state)
    gc.enable()
    plotter.show()
