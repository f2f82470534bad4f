"""A study of valve and seat: passages, contact and predicted flow of many designs, before metal is cut."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from portviz.distribution.areas import length_text
from portviz.distribution.cam_event import CamEvent
from portviz.distribution.designs import Designs
from portviz.distribution.event import flow_per_area
from portviz.distribution.event_ring import over_lift
from portviz.distribution.lift_time import lift_time
from portviz.distribution.reduce import Reduction
from portviz.distribution.uncertainty import Uncertainty
from portviz.geometry.contact import Contact, seat_contact
from portviz.geometry.passages import least_passages
from portviz.geometry.profiles import Profiles, possible_profiles
from portviz.geometry.takeover import HALVINGS, LOOKED_AT, throat_takes_over
from portviz.geometry.three_stage import three_stage_area
from portviz.job.model import SAME_LIFT, Array, Index, Job, Mask

#: Designs worked off at once; bounds the memory that a study takes beside its results.
_AT_ONCE = 20_000
#: Lifts on which the event's mean is taken, straight between them.
_EVENT_LIFTS = 16
#: Low lift, over the head's diameter [-] (common practice, no source).
LOW_LIFT, LOW_LIFTS = 0.1, 5
#: Up to this lift over the head's diameter it is looked at which passage limits [-].
HIGH_LIFT = 0.4
#: Least part of a flow by which another design's may be off [-] (an assumption, no source).
LEAST_BAND = 0.01
#: About what one passage takes on a plain machine, files and words not counted [s].
_SECONDS_A_CASE = 2e-6
#: About what it takes to write one row, and to hold one of a document [s], [bytes].
_SECONDS_A_ROW, _BYTES_A_ROW = 2e-5, 2500.0


@dataclass(frozen=True)
class Coefficients:
    """The measured flow-area coefficient of one run over lift, for designs that were not measured.

    Parameters
    ----------
    run : str
    lift : ndarray, shape (K,)
        Measured lifts [m], ascending.
    value, u : ndarray, shape (K,)
        Coefficient on the flow area [-] and its standard uncertainty; NaN where that is not known.
    flow_per_area : float
        Volume flow [m3/s] through one square metre at the job's test pressure.
    """

    run: str
    lift: Array
    value: Array
    u: Array
    flow_per_area: float

    def at(self, lift: Array) -> Array:
        """Return the coefficient at lifts [m]; NaN outside the measured ones."""
        if not len(self.lift):
            return np.full(lift.shape, np.nan)
        measured = (lift >= self.lift[0] - SAME_LIFT) & (lift <= self.lift[-1] + SAME_LIFT)
        return np.where(measured, over_lift(self.lift, self.value, lift), np.nan)

    def held_at(self, lift: Array) -> Array:
        """Return the coefficient at lifts [m], outside the measured ones that of the nearest."""
        return over_lift(self.lift, self.value, lift) if len(self.lift) else np.full(lift.shape, np.nan)

    def u_at(self, lift: Array) -> Array:
        """Return the coefficient's standard uncertainty at lifts [m]: straight between the measured ones."""
        if not len(self.lift):
            return np.full(lift.shape, np.nan)
        return np.where(np.isnan(self.at(lift)), np.nan, np.interp(lift, self.lift, self.u))


@dataclass(frozen=True)
class Study:
    """N possible designs at M lifts, the first one the job as it stands.

    Parameters
    ----------
    job : Job
    lift : ndarray, shape (M,)
        [m], ascending.
    designs : Designs
    refused : tuple of (str or None, dict of str to float, str)
        Name, changes in SI and reason of each design that is none.
    profiles : Profiles
    gap_area, throat_area, three_stage_area : ndarray, shape (N, M)
        [m2].
    limited_by_gap : ndarray of bool, shape (N, M)
    stage : ndarray of int, shape (N, M)
    contact : Contact
    coefficients : Coefficients or None
        None where nothing was measured.
    event_area, event_flow : ndarray, shape (N,), or None
        Mean flow area [m2] and predicted mean flow [m3/s] over the lift event; None without a cam.
    """

    job: Job
    lift: Array
    designs: Designs
    refused: tuple[tuple[str | None, dict[str, float], str], ...]
    profiles: Profiles
    gap_area: Array
    throat_area: Array
    three_stage_area: Array
    limited_by_gap: Mask
    stage: npt.NDArray[np.intp]
    contact: Contact
    coefficients: Coefficients | None
    event_area: Array | None
    event_flow: Array | None

    @property
    def count(self) -> int:
        """Number of possible designs."""
        return len(self.designs.names)

    @cached_property
    def flow_area(self) -> Array:
        """The smaller of gap and throat [m2], shape (N, M)."""
        return np.minimum(self.gap_area, self.throat_area)

    @cached_property
    def flow(self) -> Array:
        """Flow at the job's test pressure, if the coefficients stay [m3/s], shape (N, M); NaN where none is known."""
        if self.coefficients is None:
            return np.full(self.gap_area.shape, np.nan)
        return self.coefficients.at(self.lift) * self.flow_area * self.coefficients.flow_per_area

    @cached_property
    def flow_u(self) -> Array:
        """Standard uncertainty of the flow from what was measured alone [m3/s], shape (N, M)."""
        if self.coefficients is None:
            return np.full(self.gap_area.shape, np.nan)
        return self.coefficients.u_at(self.lift) * self.flow_area * self.coefficients.flow_per_area

    @cached_property
    def flow_band(self) -> Array:
        """How far the flow may be off since coefficients move with geometry [m3/s], shape (N, M).

        Half of what the change of flow area brings, as if half of it could be lost again, or gained once more; of
        another design than the present one at least `LEAST_BAND` of the flow, since an area that stays says nothing of
        the coefficient. Assumptions, no source.
        """
        band = np.maximum(0.5 * np.abs(self.flow - self.flow[:1]), LEAST_BAND * self.flow)
        band[[not changes for changes in self.designs.changes]] *= 0.0
        return np.asarray(band)

    @property
    def low_lift_change(self) -> Array:
        """Flow area at low lifts over the job's own, less one [-], shape (N,).

        The mean of `LOW_LIFTS` lifts, evenly spaced up to `LOW_LIFT` head diameters of the present valve, whatever
        lifts were asked for.
        """
        lifts = np.linspace(0.0, LOW_LIFT * self.job.valve.head_diameter, LOW_LIFTS + 1)[1:]
        area = least_passages(self.profiles, lifts).flow_area
        return np.asarray(np.mean(area / area[:1], axis=1) - 1.0)

    def throat_takes_over(self) -> Array:
        """Return the lift from which another passage than the gap is the narrower [m], shape (N,).

        NaN where the gap is up to `HIGH_LIFT` head diameters; the first such lift, whatever lifts were asked for.
        """
        return throat_takes_over(self.profiles, HIGH_LIFT * self.job.valve.head_diameter)


@dataclass(frozen=True)
class StudyBase:
    """What a study takes from the job's files.

    Parameters
    ----------
    coefficients : Coefficients or None
    event : CamEvent or None
    lifts : list of float
        To look at where nobody names any [m].
    """

    coefficients: Coefficients | None
    event: CamEvent | None
    lifts: list[float]


def usual_lifts(job: Job, coefficients: Coefficients | None) -> list[float]:
    """Return the measured lifts [m], or, where there are none, steps of 0.05 head diameters up to 0.3."""
    if coefficients is not None and len(coefficients.lift):
        return [float(lift) for lift in coefficients.lift]
    return [round(0.05 * step * job.valve.head_diameter, 6) for step in range(1, 7)]


def study_cost(designs: int, lifts: int, *, rows: int = 0) -> tuple[float, float]:
    """Return about how long a study takes [s], and how much memory [bytes], with the lifts of an event counted in.

    Parameters
    ----------
    designs, lifts : int
    rows : int
        How many times each design and lift is written out, as in a table and a document.
    """
    cases = designs * (lifts + _EVENT_LIFTS + LOW_LIFTS + LOOKED_AT + HALVINGS)
    seconds = _SECONDS_A_CASE * cases + 1e-4 * designs + _SECONDS_A_ROW * rows * designs * lifts
    return seconds, designs * (60.0 * lifts + 3000.0) + _BYTES_A_ROW * max(rows - 1, 0) * designs * lifts


def run_coefficients(reduction: Reduction, uncertainty: Uncertainty, run: int) -> Coefficients:
    """Return a run's flow-area coefficients at the lifts where its flow was measured."""
    groups = np.array(reduction.groups_of(run))
    groups = groups[(reduction.lift[groups] > 0.0) & np.isfinite(reduction.flow_area_coefficient[groups])]
    return Coefficients(
        run=reduction.runs[run],
        lift=reduction.lift[groups],
        value=reduction.flow_area_coefficient[groups],
        u=uncertainty.flow_area_coefficient.standard[groups],
        flow_per_area=flow_per_area(reduction.job),
    )


def study_designs(
    job: Job,
    designs: Designs,
    lifts: npt.ArrayLike,
    *,
    coefficients: Coefficients | None = None,
    event: CamEvent | None = None,
    progress: Callable[[int], None] | None = None,
) -> Study:
    """Return passages, contact and predicted flow of designs.

    Parameters
    ----------
    job : Job
    designs : Designs
        The first one is the job as it stands, and possible.
    lifts : array_like, shape (M,)
        [m].
    coefficients : Coefficients, optional
        Of the run that was measured with the job's own valve and seat.
    event : CamEvent, optional
    progress : callable, optional
        Called with the number of designs that are done.

    Notes
    -----
    Predicted flow = the measured coefficient on the flow area, at the same lift, x the design's flow area. That the
    coefficient stays is an assumption; `Study.flow_band` says how far it may lead astray.
    """
    lift = np.unique(np.asarray(lifts, dtype=float))
    weights = None if event is None else _event_weights(event)
    blocks: list[_Block] = []
    refused: list[tuple[str | None, dict[str, float], str]] = []
    count = len(designs.names)
    for start in range(0, count, _AT_ONCE):
        part = slice(start, min(start + _AT_ONCE, count))
        profiles, possible, reasons = possible_profiles(
            designs.dimensions.take(part), lambda length: length_text(job, length)
        )
        refused += [
            (designs.names[start + place], designs.changes[start + place], reason)
            for place, reason in sorted(reasons.items())
        ]
        done = None if progress is None else _shifted(progress, start)
        blocks.append(_block(profiles, np.flatnonzero(possible) + start, lift, weights, coefficients, done))
    chosen = np.concatenate([block.place for block in blocks])
    dims = designs.dimensions.take(chosen)
    textbook = three_stage_area(
        lift,
        2.0 * dims.head_radius[:, None],
        2.0 * dims.throat_radius[:, None],
        2.0 * dims.stem_radius[:, None],
        dims.seat_radial_width[:, None],
        dims.seat_angle[:, None],
    )
    return Study(
        job=job,
        lift=lift,
        designs=Designs(
            tuple(designs.names[place] for place in chosen.tolist()),
            tuple(designs.changes[place] for place in chosen.tolist()),
            {key: value[chosen] for key, value in designs.values.items()},
            dims,
            designs.holds,
        ),
        refused=tuple(refused),
        profiles=joined_profiles([block.profiles for block in blocks]),
        gap_area=np.concatenate([block.gap_area for block in blocks]),
        throat_area=np.concatenate([block.throat_area for block in blocks]),
        three_stage_area=textbook.area,
        limited_by_gap=np.concatenate([block.limited_by_gap for block in blocks]),
        stage=textbook.stage,
        contact=seat_contact(dims),
        coefficients=coefficients,
        event_area=None if weights is None else np.concatenate([block.event_area for block in blocks]),
        event_flow=None if weights is None else np.concatenate([block.event_flow for block in blocks]),
    )


@dataclass(frozen=True)
class _Block:
    """The possible ones of some designs, with their places among all."""

    profiles: Profiles
    place: Index
    gap_area: Array
    throat_area: Array
    limited_by_gap: Mask
    event_area: Array
    event_flow: Array


def _shifted(progress: Callable[[int], None], start: int) -> Callable[[int], None]:
    return lambda done: progress(start + done)


def _block(
    profiles: Profiles,
    place: Index,
    lift: Array,
    weights: tuple[Array, Array] | None,
    coefficients: Coefficients | None,
    progress: Callable[[int], None] | None,
) -> _Block:
    at_lifts = lift if weights is None else np.concatenate([lift, weights[0]])
    passages = least_passages(profiles, at_lifts)
    here = slice(0, len(lift))
    area = flow = np.full(len(place), np.nan)
    if weights is not None:
        over = passages.flow_area[:, len(lift) :]
        area = over @ weights[1]
        if coefficients is not None:
            flow = over @ (weights[1] * coefficients.held_at(weights[0])) * coefficients.flow_per_area
    if progress is not None:
        progress(len(place))
    return _Block(
        profiles,
        place,
        passages.gap_area[:, here],
        passages.throat_area[:, here],
        passages.limited_by_gap[:, here],
        area,
        flow,
    )


def joined_profiles(parts: list[Profiles]) -> Profiles:
    """Return the profiles of all parts, one behind the other."""
    if len(parts) == 1:
        return parts[0]
    fields = Profiles.__dataclass_fields__
    return Profiles(**{name: np.concatenate([getattr(part, name) for part in parts]) for name in fields})


def _event_weights(event: CamEvent) -> tuple[Array, Array]:
    """Return lifts [m] above zero and their weights [-]: the mean over the event of what is straight between them."""
    lifts = np.linspace(0.0, event.peak_lift, _EVENT_LIFTS + 1)
    time = lift_time(event, lifts[1:])
    above = np.interp(time.lift, lifts, np.arange(_EVENT_LIFTS + 1.0))
    low = np.clip(np.floor(above).astype(np.intp), 0, _EVENT_LIFTS - 1)
    part = above - low
    weight = np.bincount(low, time.weight * (1.0 - part), _EVENT_LIFTS + 1)
    weight += np.bincount(low + 1, time.weight * part, _EVENT_LIFTS + 1)
    return lifts[1:], weight[1:] / event.duration_deg
