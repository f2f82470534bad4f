"""A scene that follows the cam: while the valve moves it says only what is steady, so that it can be watched."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyvista as pv

from portviz.distribution.cam_event import CamEvent
from portviz.geometry.dimensions import Mask
from portviz.job.model import SAME_LIFT
from portviz.scene import event_words
from portviz.scene.dial import DIAL_BOTTOM, dial_side
from portviz.scene.lift_curve import LINE_PITCH, Box, LiftCurve, opening_flank_deg
from portviz.scene.scene import Scene
from portviz.scene.state import ViewState

#: The headline's plain size, where it begins, and how many lines of it leave room for the curve above the dial.
_HEADLINE_TYPE, _HEADLINE_TOP, _HEADLINE_LINES = 15, 0.98, 7
_LEFT = 0.015


def box_below_dial(size: Sequence[int]) -> Box:
    """Return the curve's place in a film [pixels]: the lower left, where a window has its keys."""
    width, height = size
    return Box(_LEFT * width, 0.03 * height, 0.29 * width, 0.25 * height)


def box_above_dial(size: Sequence[int], type_size: int, lines: float) -> Box:
    """Return the curve's place in a window [pixels]: between a headline of so many lines and the dial."""
    width, height = size
    bottom = DIAL_BOTTOM * height + dial_side(size)
    top = _HEADLINE_TOP * height - lines * LINE_PITCH * type_size
    return Box(_LEFT * width, bottom, 0.24 * width, min(top - bottom, 0.15 * width))


class EventScene(Scene):
    """A scene with its cam's lift curve.

    Parameters
    ----------
    plotter : pyvista.Plotter
    state : ViewState
        What to show first.
    event : CamEvent
    slowness : str or None
        How much slower than the engine the valve moves, in words.
    flow : str or None
        What flows over the event, in words.
    film : bool
        Set the curve where a window has its keys, and show a crank angle from the beginning.
    """

    def __init__(
        self,
        plotter: pv.Plotter,
        state: ViewState,
        event: CamEvent,
        *,
        slowness: str | None = None,
        flow: str | None = None,
        film: bool = False,
    ) -> None:
        self.event = event
        #: The crank angle shown [deg]; None where a lift is shown for itself.
        self.crank_deg: float | None = event.opening_deg if film else None
        self._resting_deg: float | None = None
        self._slowness, self._flow = slowness, flow
        self._film = film
        self._hatchings: dict[tuple[int, str], bool] = {}
        self._curve_place: tuple[Box, tuple[int, ...]] | None = None
        self.curve: LiftCurve | None = None
        super().__init__(plotter, state.changed(lift=float(event.lift_at(event.opening_deg))) if film else state)
        self.curve = LiftCurve(self, event)
        self.curve.show_measured(self.state.reduction.lift[self.state.known])
        self.resize()
        self.update(self.state)

    @property
    def crank_on_curve(self) -> float | None:
        """The crank angle of the mark on the curve [deg]: the one shown, or where the lift is first reached.

        None beyond the peak. Where the valve was stopped, and still stands, the mark stays on that flank.
        """
        if self.crank_deg is not None:
            return self.crank_deg
        resting = self._resting_deg
        if resting is not None and abs(float(self.event.lift_at(resting)) - self.state.lift) < SAME_LIFT:
            return resting
        return opening_flank_deg(self.event, self.state.lift)

    def resize(self) -> None:
        """Fit everything to the plotter's size."""
        super().resize()
        self._lay_curve()

    def move(self, crank_deg: float) -> None:
        """Show the valve at a crank angle [deg]."""
        self.crank_deg = crank_deg
        self.update(self.state.changed(lift=float(self.event.lift_at(crank_deg))))

    def rest(self) -> None:
        """Show the lift at which the valve stands for itself, and the mark where it is."""
        if self.crank_deg is not None:
            self._resting_deg, self.crank_deg = self.crank_deg, None
            self.update(self.state)

    def release(self) -> None:
        """Let what is shown next be a lift for itself."""
        self.crank_deg = self._resting_deg = None

    def update(self, state: ViewState) -> None:
        """Show another lift, run or quantity, and its place on the curve."""
        other = (state.run, state.quantity) != (self.state.run, self.state.quantity)
        super().update(state)
        if self.curve is None:
            return
        if other:
            self.curve.show_measured(state.reduction.lift[state.known])
        self.curve.mark(self.crank_on_curve)

    def stations_to_mark(self, state: ViewState) -> Mask:
        """Return no station while the valve moves: balls would flash as it passes the measured lifts."""
        return self._while_still(super().stations_to_mark(state))

    def arrows_measured(self, state: ViewState) -> Mask:
        """Return no station while the valve moves: all arrows are pale then."""
        return self._while_still(super().arrows_measured(state))

    def bias(self) -> complex | None:
        """Return the bias of a lift that is shown for itself."""
        return super().bias() if self.crank_deg is None else None

    def _while_still(self, mask: Mask) -> Mask:
        return mask if self.crank_deg is None else np.zeros_like(mask)

    def say_all(self, now: Any) -> None:
        """Say what is shown: while the valve moves what is steady, beside crank angle and lift."""
        if self.crank_deg is None:
            super().say_all(now)
        else:
            letters, state = self.size.letters, self.state
            hatched = self._hatched_anywhere()
            self.words.input = event_words.headline(
                state, self.crank_deg, self.event, self._slowness, self._flow, letters(0.58, 15)
            )
            self.legend.input = event_words.legend(state, letters(0.36, 15))
            self.footnote.input = event_words.footnote(
                state, self.event, self._top_speed, letters(0.62, 12), hatched=hatched, film=self._film
            )
        self._lay_curve()

    def _hatched_anywhere(self) -> bool:
        """Tell if the field lies far from any reading at any of the run's measured lifts."""
        key = (self.state.run, self.state.quantity)
        if key not in self._hatchings:
            lifts = self.state.reduction.lift[self.state.known]
            states = (self.state.changed(lift=float(lift)) for lift in lifts)
            self._hatchings[key] = any(state.far_from_reading(self.fields.angles_deg).any() for state in states)
        return self._hatchings[key]

    def _lay_curve(self) -> None:
        """Set the curve to its place, and leave it out where the headline needs the room."""
        if self.curve is None:
            return
        size, lines = tuple(self.plotter.window_size), self.words.input.count("\n") + 1
        # A headline of a lift for itself grows and shrinks from lift to lift; the curve shall not jump with it.
        reserved = max(lines, _HEADLINE_LINES)
        box = box_below_dial(size) if self._film else box_above_dial(size, self.size.pixels(_HEADLINE_TYPE), reserved)
        if not self._film and self.crank_deg is not None and not self.curve.fits(box):
            box = box_above_dial(size, self.size.pixels(_HEADLINE_TYPE), lines + 0.4)
        if (box, size) != self._curve_place:
            self._curve_place = (box, size)
            self.curve.place(box)
            self.curve.show(self.size.roomy)
