"""The field round the valve and over lift, between the measured points of one run.

Shape-preserving cubics (PCHIP) go through every measured value and never beyond its neighbours:
round the circle, periodic, at each measured lift; then over lift at each angle. Nothing is said
outside the measured lifts.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from portviz.distribution.given import lift_in_metres, run_place
from portviz.distribution.monotone import monotone_cubic, monotone_slopes
from portviz.distribution.reduce import Reduction
from portviz.errors import UsageError, suggestion
from portviz.job.model import SAME_LIFT, Array, Index

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Quantity:
    """Something that the field can show.

    Parameters
    ----------
    name : str
        The word for it on the command line and in meshes.
    title : str
        What it is, for a reader.
    kind : str or None
        The kind of its unit; None where it has none.
    values : callable
        Reduction -> values at its stations, shape (K,), in SI.
    """

    name: str
    title: str
    kind: str | None
    values: Callable[[Reduction], Array]


def _flow_per_degree(reduction: Reduction) -> Array:
    """Return the bench's flow that leaves through one degree of the circle [m3/s per deg]; NaN where not measured."""
    still = reduction.bench_flow[reduction.station_group] == 0.0
    return np.where(still, 0.0, reduction.stations.flow / reduction.stations.sector_deg)


QUANTITIES: dict[str, Quantity] = {
    each.name: each
    for each in (
        Quantity("velocity", "Velocity", "velocity", lambda reduction: reduction.stations.velocity),
        Quantity("velocity-ratio", "Velocity ratio", None, lambda reduction: reduction.stations.velocity_ratio),
        Quantity("mach", "Mach number", None, lambda reduction: reduction.stations.mach),
        Quantity("flow-per-degree", "Flow per degree", "flow", _flow_per_degree),
        Quantity("drop", "Pressure drop", "pressure", lambda reduction: reduction.stations.drop),
    )
}


def around_circle(station_deg: Array, value: Array, angle_deg: npt.ArrayLike) -> Array:
    """Return values between stations: periodic, exact at the stations, within their neighbours.

    Parameters
    ----------
    station_deg : ndarray, shape (S,)
        Three or more, in [0, 360) and ascending [deg].
    value : ndarray, shape (S,)
    angle_deg : array_like
        Any angles [deg].

    Returns
    -------
    ndarray
        Of the shape of `angle_deg`.

    Raises
    ------
    ValueError
        If there are fewer than three stations.

    Notes
    -----
    Two stations are added beyond each end, which is as far as a slope looks.
    """
    if len(station_deg) < 3:
        raise ValueError(f"a field round the valve needs at least three stations, not {len(station_deg)}")
    knots = np.concatenate([station_deg[-2:] - 360.0, station_deg, station_deg[:2] + 360.0])
    values = np.concatenate([value[-2:], value, value[:2]])
    return monotone_cubic(knots, values, np.mod(np.asarray(angle_deg, dtype=float), 360.0))


@dataclass(frozen=True)
class RunField:
    """One quantity of one run, on given angles, for any lift between the measured ones.

    Parameters
    ----------
    quantity : Quantity
    lifts : ndarray, shape (M,)
        Lifts at which it is known from measurement [m], ascending; there may be none.
    angles_deg : ndarray, shape (A,)
        [deg].
    values : ndarray, shape (M, A)
        At the measured lifts, in SI.
    """

    quantity: Quantity
    lifts: Array
    angles_deg: Array
    values: Array

    @cached_property
    def _slopes(self) -> Array:
        return monotone_slopes(self.lifts, self.values)

    def covers(self, lift: float) -> bool:
        """Tell if a lift [m] lies within the measured ones."""
        if not self.lifts.size:
            return False
        return bool(self.lifts[0] - SAME_LIFT <= lift <= self.lifts[-1] + SAME_LIFT)

    def at(self, lift: float) -> Array:
        """Return the values round the valve at a lift [m], shape (A,).

        Raises
        ------
        ValueError
            If the lift lies outside the measured ones.
        UsageError
            If it is no number.
        """
        lift = lift_in_metres(lift)
        if not self.covers(lift):
            span = f"from {self.lifts[0]:g} to {self.lifts[-1]:g} m" if self.lifts.size else "nowhere"
            raise ValueError(f"no field at a lift of {lift:g} m: measured {span}")
        nearest = int(np.argmin(np.abs(self.lifts - lift)))
        if abs(self.lifts[nearest] - lift) <= SAME_LIFT:
            return np.asarray(self.values[nearest])
        return monotone_cubic(self.lifts, self.values, lift, self._slopes)

    def to_dataframe(self, lifts: npt.ArrayLike | None = None) -> pd.DataFrame:
        """Return the field as a pandas data frame, at the measured lifts or at others [m]; see `frames.field_frame`."""
        from portviz.distribution.frames import field_frame

        return field_frame(self, lifts)


def degrees_apart(station_deg: Array, angle_deg: npt.ArrayLike) -> Array:
    """Return how far angles lie from each of K stations on the circle [deg], of the shape of `angle_deg` and (K,)."""
    return np.asarray(
        np.abs(np.mod(np.asarray(angle_deg, dtype=float)[..., None] - station_deg + 180.0, 360.0) - 180.0)
    )


def angle_to_nearest(station_deg: Array, angle_deg: npt.ArrayLike) -> Array:
    """Return how far angles lie from the nearest station on the circle [deg], of the shape of `angle_deg`.

    Examples
    --------
    >>> angle_to_nearest(np.array([0.0, 90.0, 200.0]), [10.0, 350.0, 145.0])
    array([10., 10., 55.])
    """
    return np.asarray(degrees_apart(station_deg, angle_deg).min(axis=-1))


def known_groups(reduction: Reduction, run: int, quantity: str) -> Index:
    """Return the groups of a run in which a quantity is known at every station read, ascending in lift.

    All of them for what the gauge tells; for the flow per degree those whose bench flow was measured.
    """
    groups = np.array(reduction.groups_of(run))
    known = np.isfinite(QUANTITIES[quantity].values(reduction))
    return np.asarray(groups[np.logical_and.reduceat(known, reduction.starts)[groups]])


def run_field(
    reduction: Reduction, run: int | str, quantity: str = "velocity", angles_deg: npt.ArrayLike | None = None
) -> RunField:
    """Return the field of one quantity of one run on given angles.

    Parameters
    ----------
    reduction : Reduction
    run : int or str
        Its place among the reduction's runs, or its name.
    quantity : str
        "velocity" [m/s], "velocity-ratio" [-], "mach" [-], "flow-per-degree" [m3/s per deg] or "drop" [Pa].
    angles_deg : array_like, shape (A,), optional
        [deg]; every whole degree from 0 to 359 by default.

    Returns
    -------
    RunField
        Lifts at which the quantity is not known are left out of it.

    Raises
    ------
    UsageError
        If there is no such run or quantity.

    Examples
    --------
    >>> from portviz.distribution.reduce import reduce_job
    >>> from portviz.job.demo import demo_folder
    >>> from portviz.job.read import read_job
    >>> run_field(reduce_job(read_job(demo_folder())), "as found").at(8e-3).shape
    (360,)
    """
    run = run_place(reduction, run)
    if quantity not in QUANTITIES:
        refusal = f"quantity: {quantity!r} is not one of {', '.join(QUANTITIES)}."
        raise UsageError(" ".join(filter(None, (refusal, suggestion(str(quantity), QUANTITIES)))))
    what = QUANTITIES[quantity]
    groups = known_groups(reduction, run, quantity)
    angles = np.arange(360.0) if angles_deg is None else np.asarray(angles_deg, dtype=float)
    at_stations = what.values(reduction)
    rows = [
        around_circle(reduction.stations.angle_deg[part], at_stations[part], angles)
        for part in map(reduction.stations_of, groups.tolist())
    ]
    return RunField(what, reduction.lift[groups], angles, np.array(rows).reshape(len(rows), len(angles)))
