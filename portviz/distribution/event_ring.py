"""The pattern of a run over lift: the shares of one full ring of stations at each measured lift."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portviz.distribution.field import around_circle
from portviz.distribution.measures import sector_angles
from portviz.distribution.monotone import monotone_cubic
from portviz.distribution.reduce import Reduction
from portviz.job.model import Array, Index, Mask


@dataclass(frozen=True)
class RunRing:
    """The ring of one run: S stations, read at any of its M open lifts.

    Parameters
    ----------
    station : ndarray of int, shape (S,)
        Places among the job's stations, ascending in angle.
    angle_deg, sector_deg : ndarray, shape (S,)
        [deg].
    groups : ndarray of int, shape (M,)
        Groups whose shares are known, ascending in lift; the closed valve is left out.
    lift : ndarray, shape (M,)
        [m].
    share : ndarray, shape (M, S)
        Flow shares [-], one in all at each lift.
    read : ndarray of bool, shape (M, S)
        False where a station was not read, and its flux taken from the field round the circle.
    """

    station: Index
    angle_deg: Array
    sector_deg: Array
    groups: Index
    lift: Array
    share: Array
    read: Mask


def run_ring(reduction: Reduction, run: int) -> RunRing:
    """Return the ring of a run.

    Notes
    -----
    Where all stations were read the shares are the reduction's own. Where some were not, the sectors beside
    them are wider there, and shares of other lifts can't be set beside these: the mass flux is then
    interpolated round the circle at the missing stations, and all shares are those of the full ring.
    """
    stations = reduction.stations
    groups = np.array(
        [group for group in reduction.groups_of(run) if _known(reduction, group)],
        dtype=np.intp,
    )
    parts = [reduction.stations_of(group) for group in groups.tolist()]
    station = np.unique(np.concatenate([stations.station[part] for part in parts] or [np.empty(0, dtype=np.intp)]))
    circle = reduction.job.stations.circle_deg[station]
    order = np.argsort(circle)
    station, circle = station[order], circle[order]
    sector = sector_angles(circle, np.array([0])) if len(circle) else circle
    place = np.zeros(len(reduction.job.stations.angles_deg), dtype=np.intp)
    place[station] = np.arange(len(station))
    read = np.zeros((len(groups), len(station)), dtype=bool)
    share = np.zeros((len(groups), len(station)))
    for row, part in enumerate(parts):
        read[row, place[stations.station[part]]] = True
        if read[row].all():
            share[row] = stations.flow_share[part]
        else:
            flux = stations.density[part] * stations.velocity[part]
            share[row] = full_shares(stations.angle_deg[part], flux, circle, sector)
    return RunRing(station, circle, sector, groups, reduction.lift[groups], share, read)


def _known(reduction: Reduction, group: int) -> bool:
    shares = reduction.stations.flow_share[reduction.stations_of(group)]
    return bool(reduction.lift[group] > 0.0 and np.isfinite(shares).all())


def full_shares(read_deg: Array, flux: Array, ring_deg: Array, sector_deg: Array) -> Array:
    """Return the shares of a full ring, shape (S, ...), from mass fluxes at the stations that were read, (K, ...)."""
    around = around_circle(read_deg, flux, ring_deg)
    here = np.abs(ring_deg[:, None] - read_deg) < 1e-9
    around[here.any(axis=1)] = flux[np.argmax(here, axis=1)[here.any(axis=1)]]
    mass = around * sector_deg.reshape(-1, *[1] * (flux.ndim - 1))
    return np.asarray(mass / mass.sum(axis=0))


def over_lift(knots: Array, values: Array, at: Array) -> Array:
    """Return values between measured lifts, shape (Q, ...): the lowest lift's below it, the highest's above it.

    Parameters
    ----------
    knots : ndarray, shape (M,)
        Measured lifts [m], ascending, one or more.
    values : ndarray, shape (M, ...)
    at : ndarray, shape (Q,)
        Lifts [m].
    """
    if len(knots) == 1:
        return np.broadcast_to(values[0], (len(at), *values.shape[1:]))
    return monotone_cubic(knots, values, at)
