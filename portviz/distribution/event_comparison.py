"""A job's runs over the lift event, and what changed from one to another there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portviz.distribution.cam_event import CamEvent, cam_event
from portviz.distribution.differences import BiasShift, Difference, bias_shift, tested_difference
from portviz.distribution.event import RunEvent, band_edges, event_results
from portviz.distribution.event_uncertainty import Estimates, EventUncertainty, band_flows, event_uncertainty
from portviz.distribution.reduce import Reduction
from portviz.distribution.uncertainty import Uncertainty
from portviz.errors import UsageError
from portviz.job.model import SAME_LIFT, Array


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

    @property
    def band_gain_share(self) -> Array:
        """Each band's part of the gain in mean flow [-], shape (B,); NaN where no gain or loss is shown."""
        total = self.values["mean_flow"]
        gain = float(total.difference[0])
        if total.verdicts[0] == "not shown" or gain == 0.0:
            return np.full(len(self.edges) - 1, np.nan)
        return self.band_flow.difference / gain


def lift_event(reduction: Reduction, uncertainty: Uncertainty) -> LiftEvent:
    """Return a job's runs over the event of its valve, with what is known of them.

    Raises
    ------
    JobError
        If the job has no cam, or its lifts make no event.
    """
    event = cam_event(reduction.job)
    runs = event_results(reduction, event)
    return LiftEvent(
        reduction, uncertainty, event, runs, tuple(event_uncertainty(reduction, uncertainty, run) for run in runs)
    )


def compare_events(events: LiftEvent, a: int, b: int) -> EventComparison:
    """Return what changed from one run to another over the event.

    Parameters
    ----------
    events : LiftEvent
    a, b : int
        Places of the run before and the run after among the reduction's runs.

    Raises
    ------
    UsageError
        If the two are the same run.

    Notes
    -----
    Common factors of the job cancel as far as they move both runs alike. Verdicts of the stations, of the bands
    of lift and of the axes of turning hold for each family together, at 5 % [Holm].
    """
    if a == b:
        raise UsageError(f"event: {events.reduction.runs[a]!r} can't be compared with itself; name two runs")
    first, second = events.runs[a], events.runs[b]
    known_a, known_b = events.known[a], events.known[b]
    values = {name: _difference(getattr(known_a, name), getattr(known_b, name)) for name in _VALUES}
    mean = tuple(_scaled(known.area_integral, 1.0 / events.event.duration_deg) for known in (known_a, known_b))
    values["mean_effective_area"] = _difference(*mean)
    edges = band_edges(events.event, _merged(first.measured_lifts, second.measured_lifts))
    bands = [
        band_flows(events.reduction, events.uncertainty, run, edges)
        if len(run.knots)
        else _unknown(len(edges) - 1, known.mean_flow)
        for run, known in ((first, known_a), (second, known_b))
    ]
    same = np.array_equal(first.ring.station, second.ring.station)
    share = _difference(known_a.flow_share, known_b.flow_share) if same else None
    turned = None
    if known_a.turning is not None and known_b.turning is not None:
        turned = _difference(known_a.turning, known_b.turning)
    return EventComparison(
        a=a,
        b=b,
        values=values,
        angles_deg=events.reduction.job.stations.angles_deg[first.ring.station],
        flow_share=share,
        bias=_bias(events, a, b) if same else None,
        edges=edges,
        band_flow=_difference(*bands),
        turning=turned,
    )


_VALUES = ("mean_flow", "area_integral")


def _difference(first: Estimates, second: Estimates) -> Difference:
    return tested_difference(
        (first.values, first.spread, first.freedom), (second.values, second.spread, second.freedom), one_job=True
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


def _bias(events: LiftEvent, a: int, b: int) -> BiasShift:
    known_a, known_b = events.known[a], events.known[b]
    return bias_shift(
        _difference(known_a.bias_magnitude, known_b.bias_magnitude),
        events.runs[b].bias - events.runs[a].bias,
        known_a.bias + known_b.bias,
        (known_a.bias_common, known_b.bias_common),
        one_job=True,
    )
