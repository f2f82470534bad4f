"""The lift event: what the readings mean for a valve that never stands still.

Everything is weighed by how long the valve stays at each lift, and by what flows there at the bench's
pressure: a quasi-steady view, which knows nothing of the engine's own pressures.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portviz import air
from portviz.distribution.cam_event import CamEvent, cam_event
from portviz.distribution.event_ring import RunRing, over_lift, run_ring
from portviz.distribution.lift_time import LiftTime, lift_time
from portviz.distribution.measures import direction_deg
from portviz.distribution.monotone import monotone_cubic, monotone_slopes
from portviz.distribution.reduce import Reduction, upstream_pressure
from portviz.job.model import SAME_LIFT, Array, Index, Job

#: More of the event's flow than this beyond the lifts measured is worth a word, and bars verdicts [-].
HELD_SHARE = 0.005


@dataclass(frozen=True)
class LiftBands:
    """B bands of lift; arrays of shape (B,).

    Parameters
    ----------
    start, stop : ndarray
        [m].
    time_share : ndarray
        Part of the event's duration [-].
    flow : ndarray
        Its part of the event's mean flow [m3/s]; NaN where no flow was measured.
    """

    start: Array
    stop: Array
    time_share: Array
    flow: Array


@dataclass(frozen=True)
class RunEvent:
    """One run over the event.

    Parameters
    ----------
    run : int
        Place among the reduction's runs.
    event : CamEvent
    groups : ndarray of int, shape (M,)
        Groups whose bench flow was measured, ascending in lift, the closed valve left out.
    knots : ndarray, shape (M,)
        Their lifts [m].
    effective_area : ndarray, shape (M,)
        [m2] there: discharge coefficient x curtain area = bench mass flow / ideal mass flux.
    flow_per_area : float
        Volume flow [m3/s] through one square metre of effective area at the job's test pressure.
    ring : RunRing
    time : LiftTime
    area_integral : float
        Of the effective area over the event [m2 deg]; NaN where no flow was measured.
    beyond_share : float
        Part of the event's flow at lifts above the highest measured [-].
    below_share : float
        Part of it at lifts below the lowest measured [-].
    bands : LiftBands
    flow_share : ndarray, shape (S,)
        Of the ring's stations [-]; NaN where no flow was measured.
    """

    run: int
    event: CamEvent
    groups: Index
    knots: Array
    effective_area: Array
    flow_per_area: float
    ring: RunRing
    time: LiftTime
    area_integral: float
    beyond_share: float
    below_share: float
    bands: LiftBands
    flow_share: Array

    @property
    def measured_lifts(self) -> Array:
        """Lifts at which stations or flow were measured [m], ascending; the closed valve is left out."""
        return np.union1d(self.knots, self.ring.lift)

    @property
    def mean_effective_area(self) -> float:
        """Mean of the effective area over the event [m2]."""
        return self.area_integral / self.event.duration_deg

    @property
    def mean_flow(self) -> float:
        """Mean flow over the event, at the job's test pressure [m3/s]."""
        return self.mean_effective_area * self.flow_per_area

    @property
    def bias(self) -> complex:
        """Centroid of the stations' flow shares over the event [-]; NaN where none was read with the valve open."""
        if not len(self.flow_share):
            return complex(np.nan)
        return complex(np.sum(self.flow_share * np.exp(1j * np.radians(self.ring.angle_deg))))

    @property
    def even_bias(self) -> complex:
        """Centroid that an even flow would show at the ring's stations [-]."""
        return complex(np.sum(self.ring.sector_deg / 360.0 * np.exp(1j * np.radians(self.ring.angle_deg))))

    @property
    def held(self) -> bool:
        """True where more of the event's flow than a trace lies above the highest lift measured."""
        return self.beyond_share > HELD_SHARE

    @property
    def band_flow_share(self) -> Array:
        """Part of the event's flow in each band [-]; NaN where nothing flows or none was measured."""
        if not self.mean_flow > 0.0:
            return np.full(len(self.bands.flow), np.nan)
        return self.bands.flow / self.mean_flow

    @property
    def bias_magnitude(self) -> float:
        """Magnitude of the bias [-]."""
        return abs(self.bias)

    @property
    def bias_angle_deg(self) -> float:
        """Direction of the bias [deg]."""
        return float(direction_deg(np.array([self.bias]))[0])

    def area_at(self, lift: Array) -> Array:
        """Return the effective area [m2] at lifts [m]."""
        return area_over_lift(self.knots, self.effective_area, lift)


def area_over_lift(knots: Array, area: Array, lift: Array) -> Array:
    """Return effective areas [m2], shape (Q, ...), at lifts [m], shape (Q,).

    Parameters
    ----------
    knots : ndarray, shape (M,)
        Measured lifts [m].
    area : ndarray, shape (M, ...)
        Effective areas there [m2].
    lift : ndarray, shape (Q,)

    Notes
    -----
    Zero at zero lift, a shape-preserving cubic between, held beyond the highest.
    """
    if not len(knots):
        return np.full((len(lift), *area.shape[1:]), np.nan)
    values = np.concatenate([np.zeros_like(area[:1]), area])
    return monotone_cubic(np.concatenate([[0.0], knots]), values, lift)


def area_slopes(knots: Array, area: Array) -> Array:
    """Return how fast the effective area grows with lift at the measured lifts [m2/m], shape (M,)."""
    if not len(knots):
        return area
    return monotone_slopes(np.concatenate([[0.0], knots]), np.concatenate([[0.0], area]))[1:]


def flow_per_area(job: Job) -> float:
    """Return the volume flow [m3/s] of upstream air through one square metre at the job's test pressure."""
    room = job.bench.air
    test_pressure = np.array([job.bench.test_pressure])
    upstream = upstream_pressure(job, test_pressure)
    flux = air.ideal_mass_flux(test_pressure, upstream, room.temperature, room.gas_constant)
    return float((flux * room.gas_constant * room.temperature / upstream)[0])


def event_results(reduction: Reduction, event: CamEvent | None = None) -> tuple[RunEvent, ...]:
    """Return every run over the lift event.

    Parameters
    ----------
    reduction : Reduction
    event : CamEvent, optional
        That of the job's cam by default.

    Raises
    ------
    JobError
        If the job has no cam.

    Notes
    -----
    Integrals over crank angle from opening to closing are exact: lift is linear between the cam's points,
    effective area and shares are cubics of lift between the measured lifts (`lift_time`). Each run is one
    product of the event's weights with its areas and shares.
    """
    event = cam_event(reduction.job) if event is None else event
    through = flow_per_area(reduction.job)
    times: dict[bytes, LiftTime] = {}
    return tuple(_run_event(reduction, event, run, through, times) for run in range(len(reduction.runs)))


def _run_event(
    reduction: Reduction, event: CamEvent, run: int, through: float, times: dict[bytes, LiftTime]
) -> RunEvent:
    ring = run_ring(reduction, run)
    groups = np.array(reduction.groups_of(run))
    groups = groups[(reduction.lift[groups] > 0.0) & np.isfinite(reduction.bench_mass_flow[groups])]
    knots = reduction.lift[groups]
    area = reduction.bench_mass_flow[groups] / reduction.ideal_mass_flux[groups]
    every = np.union1d(knots, ring.lift)
    time = times.get(every.tobytes()) or lift_time(event, every)
    times[every.tobytes()] = time
    flowing = time.weight * area_over_lift(knots, area, time.lift)
    total = float(flowing.sum())
    share = np.full(len(ring.station), np.nan)
    if len(ring.lift) and total > 0.0:
        share = flowing @ over_lift(ring.lift, ring.share, time.lift) / total
    by_interval = np.add.reduceat(flowing, np.arange(0, len(flowing), len(flowing) // len(time.time)))
    bands = _bands(event, every, time, by_interval * through / event.duration_deg)
    known = len(knots) > 0 and total > 0.0
    return RunEvent(
        run=run,
        event=event,
        groups=groups,
        knots=knots,
        effective_area=area,
        flow_per_area=through,
        ring=ring,
        time=time,
        area_integral=total,
        beyond_share=float(by_interval[time.edges[:-1] >= knots[-1] - SAME_LIFT].sum() / total) if known else np.nan,
        below_share=float(by_interval[time.edges[1:] <= knots[0] + SAME_LIFT].sum() / total) if known else np.nan,
        bands=bands,
        flow_share=share,
    )


def _bands(event: CamEvent, lifts: Array, time: LiftTime, flow: Array) -> LiftBands:
    """Return the bands between neighbouring measured lifts, from zero to the event's peak."""
    edges = band_edges(event, lifts)
    home = np.clip(
        np.searchsorted(edges, 0.5 * (time.edges[1:] + time.edges[:-1]), side="right") - 1, 0, len(edges) - 2
    )

    def sums(values: Array) -> Array:
        return np.bincount(home, values, minlength=len(edges) - 1).astype(float)

    return LiftBands(
        start=edges[:-1],
        stop=edges[1:],
        time_share=sums(time.time) / event.duration_deg,
        flow=sums(flow),
    )


def band_edges(event: CamEvent, lifts: Array) -> Array:
    """Return zero, the measured lifts below the event's peak, and the peak [m]."""
    return np.concatenate([[0.0], lifts[lifts < event.peak_lift - SAME_LIFT], [event.peak_lift]])
