"""Playing the valve's event in a window: a timer moves the crank by the real clock."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from portviz.distribution.cam_event import cam_event
from portviz.errors import JobError
from portviz.scene.event_scene import EventScene
from portviz.scene.event_words import slowness_text
from portviz.scene.film import USUAL_SECONDS
from portviz.scene.scene import Scene
from portviz.scene.state import ViewState

#: Time between two looks at the clock [ms].
_TICK_MS = 20


class Playing:
    """The event under way or at rest.

    Parameters
    ----------
    scene : EventScene
    show : callable
        Shows the crank angle [deg] it is called with.
    clock : callable
        Returns the time [s].
    """

    def __init__(
        self, scene: EventScene, show: Callable[[float], None], clock: Callable[[], float] = time.perf_counter
    ) -> None:
        self._scene = scene
        self._show = show
        self._clock = clock
        self._timer: int | None = None
        self._zero = 0.0
        self._interactor: Any = scene.plotter.iren.interactor
        self._interactor.AddObserver("TimerEvent", lambda *_: self.tick())

    @property
    def under_way(self) -> bool:
        """True while the valve moves."""
        return self._timer is not None

    def start(self) -> None:
        """Go on from where the mark on the curve stands, or from the opening."""
        event, mark = self._scene.event, self._scene.crank_on_curve
        part = 0.0 if mark is None else (mark - event.opening_deg) / event.duration_deg
        self._zero = self._clock() - part * USUAL_SECONDS
        self._timer = self._interactor.CreateRepeatingTimer(_TICK_MS)
        self.tick()

    def stop(self) -> None:
        """Leave the valve where it is, as a lift shown for itself."""
        self._end()
        self._scene.rest()

    def release(self) -> None:
        """Stop, and let what is shown next be a lift for itself."""
        self._end()
        self._scene.release()

    def _end(self) -> None:
        if self._timer is not None:
            self._interactor.DestroyTimer(self._timer)
            self._timer = None

    def tick(self) -> None:
        """Show where the valve stands now."""
        if self.under_way:
            event = self._scene.event
            part = (self._clock() - self._zero) / USUAL_SECONDS % 1.0
            self._show(event.opening_deg + part * event.duration_deg)


def scene_to_play(plotter: Any, state: ViewState) -> tuple[Scene, str]:
    """Return the scene of a window, and why it has no event to play where that is so."""
    job = state.reduction.job
    try:
        event = cam_event(job)
    except JobError as error:
        what = f"{error.problem}; add cam.csv with the columns crank [deg], lift [mm]" if job.cam is None else error
        return Scene(plotter, state), f"no event to play: {what}"
    speed = None if job.engine is None else job.engine.speed
    return EventScene(plotter, state, event, slowness=slowness_text(USUAL_SECONDS, event, speed)), ""
