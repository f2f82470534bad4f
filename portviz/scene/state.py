"""What a view shows: one run at one lift, coloured by one quantity, seen from one side."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from portviz.distribution.field import QUANTITIES, Quantity, RunField, run_field
from portviz.distribution.reduce import Reduction
from portviz.errors import UsageError, suggestion
from portviz.job.model import SAME_LIFT, Array
from portviz.job.words import lift_text
from portviz.units import in_unit

#: Columns of the curtain round the circle; the last repeats the first.
CURTAIN_COLUMNS = 361
CAMERAS = ("three-quarter", "cylinder", "port", "section")


@dataclass(frozen=True)
class ViewState:
    """What a view shows.

    Parameters
    ----------
    reduction : Reduction
    run : int
        Place among the runs.
    lift : float
        [m].
    quantity : str
        A key of `QUANTITIES`.
    camera : str
        One of `CAMERAS`.
    """

    reduction: Reduction
    run: int
    lift: float
    quantity: str
    camera: str

    @property
    def measured_lifts(self) -> Array:
        """Measured lifts of the run [m], ascending."""
        groups = self.reduction.groups_of(self.run)
        return self.reduction.lift[groups.start : groups.stop]

    @property
    def greatest_lift(self) -> float:
        """Greatest lift measured in any run [m]."""
        return float(self.reduction.lift.max())

    @property
    def group(self) -> int | None:
        """The group that was measured at this run and lift, or None between and beyond them."""
        groups = self.reduction.groups_of(self.run)
        off = np.abs(self.measured_lifts - self.lift)
        nearest = int(np.argmin(off))
        return groups.start + nearest if off[nearest] <= SAME_LIFT else None

    @property
    def covered(self) -> bool:
        """True where the lift lies within the measured ones."""
        lifts = self.measured_lifts
        return bool(lifts[0] - SAME_LIFT <= self.lift <= lifts[-1] + SAME_LIFT)

    @property
    def what(self) -> Quantity:
        """The quantity shown."""
        return QUANTITIES[self.quantity]

    def lift_status(self) -> str:
        """Return in words if the field is measured at this lift, interpolated, or not there."""
        job, lifts = self.reduction.job, self.measured_lifts
        if self.group is not None:
            return "measured at this lift"
        if not self.covered:
            span = lift_text(job, float(lifts[0]))
            if len(lifts) > 1:
                span += f" to {lift_text(job, float(lifts[-1]))}"
            return f"no readings here: measured at {span}"
        after = int(np.searchsorted(lifts, self.lift))
        return (
            f"interpolated between {lift_text(job, float(lifts[after - 1]))} and {lift_text(job, float(lifts[after]))}"
        )

    def changed(self, **changes: object) -> ViewState:
        """Return a state with some parts replaced."""
        return replace(self, **changes)  # type: ignore[arg-type]


def display_unit(reduction: Reduction, quantity: Quantity) -> str:
    """Return the unit in which a quantity is shown; empty where it has none."""
    units = reduction.job.units
    by_kind = {"velocity": units.velocity, "flow": units.flow, "pressure": units.pressure}
    if quantity.kind is None:
        return ""
    return by_kind[quantity.kind] + ("/deg" if quantity.kind == "flow" else "")


def in_display_unit(reduction: Reduction, quantity: Quantity, values: Array) -> Array:
    """Return SI values of a quantity in its display unit."""
    if quantity.kind is None:
        return values
    unit = display_unit(reduction, quantity).removesuffix("/deg")
    return values * in_unit(1.0, unit, quantity.kind)


class FieldStore:
    """The fields of all runs and quantities of a reduction, made when first asked for."""

    def __init__(self, reduction: Reduction) -> None:
        self.reduction = reduction
        self.angles_deg = np.linspace(0.0, 360.0, CURTAIN_COLUMNS)
        self._fields: dict[tuple[int, str, bool], RunField] = {}

    def around(self, state: ViewState) -> Array:
        """Return the field round the curtain in display units, shape (A,); NaN beyond measured lifts."""
        return self._at(state, state.quantity, stations=False)

    def at_stations(self, state: ViewState, quantity: str) -> Array:
        """Return a quantity at the job's stations in SI, shape (S,); NaN beyond measured lifts."""
        return self._at(state, quantity, stations=True)

    def _at(self, state: ViewState, quantity: str, *, stations: bool) -> Array:
        key = (state.run, quantity, stations)
        angles = self.reduction.job.stations.circle_deg if stations else self.angles_deg
        if key not in self._fields:
            self._fields[key] = run_field(self.reduction, state.run, quantity, angles)
        field = self._fields[key]
        values = field.at(state.lift) if field.covers(state.lift) else np.full(angles.shape, np.nan)
        return values if stations else in_display_unit(self.reduction, QUANTITIES[quantity], values)

    def limits(self, quantity: str) -> tuple[float, float]:
        """Return the range of a quantity over all runs and lifts in display units, so that runs compare."""
        what = QUANTITIES[quantity]
        values = in_display_unit(self.reduction, what, what.values(self.reduction))
        low, high = float(np.nanmin(values)), float(np.nanmax(values))
        return (low, high) if high > low else (low - 0.5, high + 0.5)


def view_state(reduction: Reduction, run: int, lift: float | None, quantity: str, camera: str) -> ViewState:
    """Return the state for what a user asked for.

    Raises
    ------
    UsageError
        If there is no such field or camera, or the lift lies beyond the measured ones.
    """
    require_word(quantity, QUANTITIES, "field")
    require_word(camera, CAMERAS, "camera")
    groups = reduction.groups_of(run)
    greatest = float(reduction.lift[groups.stop - 1])
    state = ViewState(reduction, run, greatest if lift is None else lift, quantity, camera)
    if not state.covered:
        raise UsageError(
            f"lift: {lift_text(reduction.job, state.lift)} lies outside what was measured in run "
            f"{reduction.runs[run]!r}; {state.lift_status().removeprefix('no readings here: ')}"
        )
    return state


def require_word(word: str, known: Iterable[str], what: str) -> None:
    """Raise UsageError where a word is not among the known ones, with the nearest."""
    known = list(known)
    if word not in known:
        refusal = f"{what}: {word!r} is not one of {', '.join(known)}."
        raise UsageError(" ".join(filter(None, (refusal, suggestion(word, known)))))
