"""What a view shows: one run at one lift, coloured by one quantity, seen from one side."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from portviz.distribution.field import (
    QUANTITIES,
    Quantity,
    RunField,
    angle_to_nearest,
    known_groups,
    run_field,
)
from portviz.distribution.reduce import Reduction
from portviz.errors import UsageError, suggestion
from portviz.geometry.dimensions import Mask
from portviz.job.model import SAME_LIFT, Array, Index
from portviz.job.words import lift_text
from portviz.units import in_unit

#: Columns of the curtain round the circle; the last repeats the first.
CURTAIN_COLUMNS = 361
CAMERAS = ("three-quarter", "cylinder", "port", "section")
#: Further than this from a station that was read the field is drawn hatched [deg].
FAR_FROM_READING_DEG = 30.0


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
        """Lifts of the run at which stations were read [m], ascending."""
        groups = self.reduction.groups_of(self.run)
        return self.reduction.lift[groups.start : groups.stop]

    @property
    def greatest_lift(self) -> float:
        """Greatest lift measured in any run [m]."""
        return float(self.reduction.lift.max())

    @property
    def group(self) -> int | None:
        """The group of readings at this run and lift, or None between and beyond them."""
        groups = self.reduction.groups_of(self.run)
        off = np.abs(self.measured_lifts - self.lift)
        nearest = int(np.argmin(off))
        return groups.start + nearest if off[nearest] <= SAME_LIFT else None

    @cached_property
    def known(self) -> Index:
        """The run's groups in which the quantity shown is known, ascending in lift."""
        return known_groups(self.reduction, self.run, self.quantity)

    @property
    def support(self) -> tuple[int, ...]:
        """The groups that the field shown stems from: one where it is measured, two between, none beyond."""
        lifts = self.reduction.lift[self.known]
        off = np.abs(lifts - self.lift)
        if off.size and off.min() <= SAME_LIFT:
            return (int(self.known[np.argmin(off)]),)
        after = int(np.searchsorted(lifts, self.lift))
        return (int(self.known[after - 1]), int(self.known[after])) if 0 < after < len(lifts) else ()

    @property
    def stations_read(self) -> Mask:
        """Which of the job's stations the quantity shown was measured at, at this lift, shape (S,)."""
        read = np.zeros(len(self.reduction.job.stations.angles_deg), dtype=bool)
        if len(self.support) == 1:
            read[self.reduction.stations.station[self.reduction.stations_of(self.support[0])]] = True
        return read

    def far_from_reading(self, angles_deg: Array) -> Mask:
        """Tell which angles [deg] lie far from every station that the field shown stems from."""
        far = np.zeros(angles_deg.shape, dtype=bool)
        for group in self.support:
            read = self.reduction.stations.angle_deg[self.reduction.stations_of(group)]
            far |= angle_to_nearest(read, angles_deg) > FAR_FROM_READING_DEG + 1e-9
        return far

    @property
    def what(self) -> Quantity:
        """The quantity shown."""
        return QUANTITIES[self.quantity]

    def lift_status(self) -> str:
        """Return in words if the field is measured at this lift, interpolated, or not there."""
        support = [lift_text(self.reduction.job, float(self.reduction.lift[group])) for group in self.support]
        if len(support) == 1:
            read, listed = int(self.stations_read.sum()), len(self.stations_read)
            return f"measured here at {'all' if read == listed else f'{read} of'} {listed} stations"
        status = f"interpolated between {support[0]} and {support[1]}" if support else self._where_measured()
        if self.group is None:
            return status
        flowing = np.isfinite(self.reduction.bench_flow[self.group])
        return f"{'nothing flows at the stations' if flowing else 'no bench flow'} here; {status}"

    def _where_measured(self) -> str:
        job, lifts = self.reduction.job, self.reduction.lift[self.known]
        if not lifts.size:
            return "the bench's flow was not measured in this run"
        span = lift_text(job, float(lifts[0]))
        if len(lifts) > 1:
            span += f" to {lift_text(job, float(lifts[-1]))}"
        return f"nothing measured here, only at {span}"

    def changed(self, **changes: object) -> ViewState:
        """Return a state with some parts replaced."""
        return replace(self, **changes)  # type: ignore[arg-type]


def display_unit(reduction: Reduction, quantity: Quantity) -> str:
    """Return the unit in which a quantity is shown; empty where it has none."""
    units = reduction.job.units
    by_kind = {None: "", "velocity": units.velocity, "flow": f"{units.flow}/deg", "pressure": units.pressure}
    return by_kind[quantity.kind]


def in_display_unit(reduction: Reduction, quantity: Quantity, values: Array) -> Array:
    """Return SI values of a quantity in its display unit."""
    if quantity.kind is None:
        return values
    unit = display_unit(reduction, quantity).removesuffix("/deg")
    return values * in_unit(1.0, unit, quantity.kind)


class ColourRange(NamedTuple):
    """A range of colours.

    Parameters
    ----------
    low, high : float
        Round numbers in display units.
    steps : int
        Number of round steps between them.
    """

    low: float
    high: float
    steps: int

    @property
    def decimals(self) -> int:
        """Decimals that tell each step from the next."""
        step = (self.high - self.low) / self.steps
        return next((count for count in range(9) if abs(round(step, count) - step) <= 1e-6 * step), 9)


def display_limits(reduction: Reduction, quantity: Quantity) -> ColourRange:
    """Return the colour range of a quantity over all runs and lifts, so that runs compare."""
    values = in_display_unit(reduction, quantity, quantity.values(reduction))
    values = values[np.isfinite(values)]
    if not values.size:
        return ColourRange(0.0, 1.0, 1)
    low, high = float(values.min()), float(values.max())
    return round_range(low, high) if high > low else round_range(low - 0.5, high + 0.5)


def round_range(low: float, high: float) -> ColourRange:
    """Return a range of round numbers round the given one, and the number of round steps in it."""
    step = 10.0 ** np.floor(np.log10((high - low) / 4.0))
    for factor in (1.0, 2.0, 2.5, 5.0, 10.0):
        first, last = np.floor(low / (factor * step)), np.ceil(high / (factor * step))
        if last - first <= 8:
            break
    return ColourRange(float(first * factor * step), float(last * factor * step), int(last - first))


class FieldStore:
    """The fields of all runs and quantities of a reduction, made when first asked for."""

    def __init__(self, reduction: Reduction) -> None:
        self.reduction = reduction
        self.angles_deg = np.linspace(0.0, 360.0, CURTAIN_COLUMNS)
        self._fields: dict[tuple[int, str, bool], RunField] = {}

    def around(self, state: ViewState) -> Array:
        """Return the field round the curtain in display units, shape (A,); NaN where it is not known."""
        return self._at(state, state.quantity, stations=False)

    def at_stations(self, state: ViewState, quantity: str) -> Array:
        """Return a quantity at the job's stations in SI, shape (S,); NaN where it is not known."""
        return self._at(state, quantity, stations=True)

    def _at(self, state: ViewState, quantity: str, *, stations: bool) -> Array:
        key = (state.run, quantity, stations)
        angles = self.reduction.job.stations.circle_deg if stations else self.angles_deg
        if key not in self._fields:
            self._fields[key] = run_field(self.reduction, state.run, quantity, angles)
        field = self._fields[key]
        values = field.at(state.lift) if field.covers(state.lift) else np.full(angles.shape, np.nan)
        return values if stations else in_display_unit(self.reduction, QUANTITIES[quantity], values)


def view_state(reduction: Reduction, run: int, lift: float | None, quantity: str, camera: str) -> ViewState:
    """Return the state for what a user asked for.

    Raises
    ------
    UsageError
        If there is no such field or camera, or the lift lies beyond the measured ones.
    """
    require_word(quantity, QUANTITIES, "field")
    require_word(camera, CAMERAS, "camera")
    lifts = reduction.lift[np.array(reduction.groups_of(run))]
    state = ViewState(reduction, run, float(lifts[-1]) if lift is None else lift, quantity, camera)
    if not lifts[0] - SAME_LIFT <= state.lift <= lifts[-1] + SAME_LIFT:
        elsewhere = state.changed(quantity="velocity").lift_status().removeprefix("nothing measured here, only ")
        raise UsageError(
            f"lift: {lift_text(reduction.job, state.lift)} lies outside what was measured in run "
            f"{reduction.runs[run]!r}; measured {elsewhere}"
        )
    return state


def require_word(word: str, known: Iterable[str], what: str) -> None:
    """Raise UsageError where a word is not among the known ones, with the nearest."""
    known = list(known)
    if word not in known:
        refusal = f"{what}: {word!r} is not one of {', '.join(known)}."
        raise UsageError(" ".join(filter(None, (refusal, suggestion(word, known)))))
