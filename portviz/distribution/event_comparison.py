"""A job's runs over the lift event, and what changed from one to another there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from portviz.distribution.cam_event import CamEvent, cam_event
from portviz.distribution.differences import BiasShift, Difference, bias_shift, tested_difference
from portviz.distribution.event import RunEvent, band_edges, event_results
from portviz.distribution.event_uncertainty import Estimates, EventUncertainty, band_flows, event_uncertainty
from portviz.distribution.given import run_place
from portviz.distribution.propagation import Spread
from portviz.distribution.reduce import Reduction
from portviz.distribution.uncertainty import Uncertainty, linear_uncertainty
from portviz.distribution.verdicts import NOT_SHOWN
from portviz.errors import UsageError
from portviz.job.model import SAME_LIFT, Array, Mask

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class LiftEvent:
    """A job's runs over the event of its valve.

    Parameters
    ----------
    reduction : Reduction
    uncertainty : Uncertainty
    event : CamEvent
    runs : tuple of RunEvent
        One each of the reduction's runs.
    known : tuple of EventUncertainty
    """

    reduction: Reduction
    uncertainty: Uncertainty
    event: CamEvent
    runs: tuple[RunEvent, ...]
    known: tuple[EventUncertainty, ...]

    def to_dataframe(self, *, of: str = "runs") -> pd.DataFrame:
        """Return a pandas data frame of "runs", "lifts", "bands", "stations" or "course"; see `frames.event_frame`."""
        from portviz.distribution.frames import event_frame

        return event_frame(self, of=of)


@dataclass(frozen=True)
class EventComparison:
    """Two runs of one job compared over the event.

    Parameters
    ----------
    a, b : int
        Places among the reduction's runs.
    values : dict of str to Difference
        One value each: "mean_flow", "mean_effective_area", "area_integral".
    angles_deg : ndarray, shape (S,)
        Stations as typed [deg].
    flow_share : Difference or None
        S values; None where the runs were read at other stations.
    bias : BiasShift or None
    edges : ndarray, shape (B + 1,)
        Ends of the bands of lift between the measured lifts of both runs [m].
    band_flow : Difference
        Each band's part of the mean flow, B values [m3/s].
    turning : Difference or None
        Coefficient about the three axes of `turning`.
    held : ndarray of bool, shape (B,)
        Bands in which one of the runs is held at its highest lift, not measured.
    incomplete : ndarray of bool, shape (S,)
        Stations that one of the runs was not read at, at some lift.
    """

    a: int
    b: int
    values: dict[str, Difference]
    angles_deg: Array
    flow_share: Difference | None
    bias: BiasShift | None
    edges: Array
    band_flow: Difference
    turning: Difference | None
    held: Mask
    incomplete: Mask

    @property
    def band_gain_share(self) -> Array:
        """Each band's part of the change in mean flow [-], shape (B,).

        NaN where the change is known well enough to tell that it may be none.
        """
        total = self.values["mean_flow"]
        gain = float(total.difference[0])
        if gain == 0.0 or (total.verdicts[0] == NOT_SHOWN and np.isfinite(total.u[0])):
            return np.full(len(self.edges) - 1, np.nan)
        return self.band_flow.difference / gain


def lift_event(reduction: Reduction, uncertainty: Uncertainty | None = None) -> LiftEvent:
    """Return a job's runs over the event of its valve, with what is known of them.

    Parameters
    ----------
    reduction : Reduction
    uncertainty : Uncertainty, optional
        That of the reduction, where it is there already; by the linear law by default.

    Raises
    ------
    JobError
        If the job has no cam, or its lifts make no event.
    """
    event = cam_event(reduction.job)
    uncertainty = uncertainty or linear_uncertainty(reduction)
    runs = event_results(reduction, event)
    return LiftEvent(
        reduction, uncertainty, event, runs, tuple(event_uncertainty(reduction, uncertainty, run) for run in runs)
    )


def compare_events(events: LiftEvent, a: int | str, b: int | str) -> EventComparison:
    """Return what changed from one run to another over the event.

    Parameters
    ----------
    events : LiftEvent
    a, b : int or str
        The run before and the run after, by their names or their places among the reduction's runs.

    Raises
    ------
    UsageError
        If there is no such run, or the two are the same.

    Notes
    -----
    What was not measured has no verdict: bands of lift beyond one of the runs' highest lift, stations that were not
    read at some lift, and, where more than a trace of the event's flow is held so, everything over the whole event.
    Common factors of the job cancel as far as they move both runs alike. Verdicts of the stations, of the bands
    of lift and of the axes of turning hold for each family together, at 5 % [Holm].
    """
    a, b = run_place(events.reduction, a), run_place(events.reduction, b)
    if a == b:
        raise UsageError(f"event: {events.reduction.runs[a]!r} can't be compared with itself; name two runs")
    first, second = events.runs[a], events.runs[b]
    known_a, known_b = events.known[a], events.known[b]
    guessed = np.array([first.held or second.held])
    values = {name: _difference(getattr(known_a, name), getattr(known_b, name), guessed) for name in _VALUES}
    mean = tuple(_scaled(known.area_integral, 1.0 / events.event.duration_deg) for known in (known_a, known_b))
    values["mean_effective_area"] = _difference(mean[0], mean[1], guessed)
    edges = band_edges(events.event, _merged(first.measured_lifts, second.measured_lifts))
    bands = [
        band_flows(events.reduction, events.uncertainty, run, edges)
        if len(run.knots)
        else _unknown(len(edges) - 1, known.mean_flow)
        for run, known in ((first, known_a), (second, known_b))
    ]
    highest = min(float(run.knots[-1]) if len(run.knots) else 0.0 for run in (first, second))
    held = edges[:-1] >= highest - SAME_LIFT
    same = np.array_equal(first.ring.station, second.ring.station)
    incomplete = np.zeros(len(first.ring.station), dtype=bool)
    if same:
        incomplete = np.asarray(~(first.ring.read.all(axis=0) & second.ring.read.all(axis=0)))
    whole = np.array([bool(guessed[0] or incomplete.any())])
    share = _difference(known_a.flow_share, known_b.flow_share, incomplete | guessed) if same else None
    turned = None
    if same and known_a.turning is not None and known_b.turning is not None:
        turned = _difference(known_a.turning, known_b.turning, np.repeat(whole, 3))
    return EventComparison(
        a=a,
        b=b,
        values=values,
        angles_deg=events.reduction.job.stations.angles_deg[first.ring.station],
        flow_share=share,
        bias=_bias(events, a, b, whole) if same else None,
        edges=edges,
        band_flow=_difference(bands[0], bands[1], held),
        turning=turned,
        held=held,
        incomplete=incomplete,
    )


_VALUES = ("mean_flow", "area_integral")


def _difference(first: Estimates, second: Estimates, unknown: Mask) -> Difference:
    """Return the differences, tested as one family but for those that are not known, shape (N,)."""
    spread = Spread(np.where(unknown, np.nan, first.spread.independent), first.spread.stated, first.spread.common)
    return tested_difference(
        (first.values, spread, first.freedom), (second.values, second.spread, second.freedom), one_job=True
    )


def _scaled(estimates: Estimates, factor: float) -> Estimates:
    return Estimates(estimates.values * factor, estimates.spread.scaled(factor), estimates.freedom)


def _unknown(count: int, like: Estimates) -> Estimates:
    """Return estimates of nothing known."""
    return Estimates(np.full(count, np.nan), like.spread.take(np.zeros(count, dtype=np.intp)), np.full(count, np.inf))


def _merged(first: Array, second: Array) -> Array:
    """Return the lifts of both [m], each once."""
    lifts = np.union1d(first, second)
    return np.array([lift for place, lift in enumerate(lifts) if place == 0 or lift - lifts[place - 1] > SAME_LIFT])


def _bias(events: LiftEvent, a: int, b: int, unknown: Mask) -> BiasShift:
    known_a, known_b = events.known[a], events.known[b]
    return bias_shift(
        _difference(known_a.bias_magnitude, known_b.bias_magnitude, unknown),
        events.runs[b].bias - events.runs[a].bias,
        known_a.bias + known_b.bias + np.where(unknown[0], np.nan, 0.0),
        (known_a.bias_common, known_b.bias_common),
        one_job=True,
    )
