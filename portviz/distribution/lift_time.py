"""How long the valve stays at each lift: an event's time over lift, exact for piecewise polynomials of lift."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from portviz.distribution.cam_event import CamEvent
from portviz.job.model import SAME_LIFT, Array, Index

#: A product of two cubics, an area and a share of it, is of degree 6: so many places in each interval carry it.
_PLACES = 7


@dataclass(frozen=True)
class LiftTime:
    """Lifts and the crank angles that stand for them; the integral of f over the event is sum(weight x f(lift)).

    Parameters
    ----------
    edges : ndarray, shape (J + 1,)
        Ends of the lift intervals [m], from zero to the event's peak or the last knot above it.
    lift : ndarray, shape (J * 7,)
        Places in the intervals, interval by interval [m].
    weight : ndarray, shape (J * 7,)
        [deg]; single ones may be negative.
    time : ndarray, shape (J,)
        How long the valve is in each interval [deg].
    """

    edges: Array
    lift: Array
    weight: Array
    time: Array

    @property
    def interval(self) -> Index:
        """The interval of each place, shape (J * 7,)."""
        return np.repeat(np.arange(len(self.time)), _PLACES)


def lift_time(event: CamEvent, knots: Array) -> LiftTime:
    """Return an event's time over lift.

    Parameters
    ----------
    event : CamEvent
    knots : ndarray, shape (M,)
        Lifts [m], ascending and above zero, between which what is to be integrated is a polynomial of lift of
        degree 6 or less.

    Returns
    -------
    LiftTime
        Its intervals lie between zero, the knots and, where that is higher, the event's peak.

    Notes
    -----
    Lift is linear in crank angle between the event's points. On each such piece the integral of x^m, x the
    place in an interval from -1 to 1, is step / (m + 1) x sum of x1^i x0^(m - i), which needs no division
    where the lift hardly changes. Seven weights an interval give its seven moments back.
    """
    edges = np.concatenate([[0.0], knots])
    if event.peak_lift > edges[-1] + SAME_LIFT or len(edges) < 2:
        edges = np.append(edges, max(event.peak_lift, 1e-9))
    low, high, part = _pieces(event, edges)
    middle, half = 0.5 * (edges[1:] + edges[:-1]), 0.5 * np.diff(edges)
    first, second = (low - middle) / half, (high - middle) / half
    power, total = np.ones_like(first), np.ones_like(first)
    moments = [part.sum(axis=0)]
    for degree in range(1, _PLACES):
        power = power * first
        total = total * second + power
        moments.append((part * total).sum(axis=0) / (degree + 1.0))
    place, inverse = _rule()
    weight = np.array(moments).T @ inverse.T
    return LiftTime(edges, (middle[:, None] + half[:, None] * place).ravel(), weight.ravel(), moments[0])


def _pieces(event: CamEvent, edges: Array) -> tuple[Array, Array, Array]:
    """Return the ends [m] and the crank angle [deg] of each of the event's lines in each interval, shape (N - 1, J)."""
    start, end, step = event.lift[:-1, None], event.lift[1:, None], np.diff(event.crank_deg)[:, None]
    lower, upper = np.minimum(start, end), np.maximum(start, end)
    low, high = np.clip(lower, edges[:-1], edges[1:]), np.clip(upper, edges[:-1], edges[1:])
    rise = upper - lower
    # A dwell stays in one interval; on an edge, though another unit may write it with other last digits, in the lower.
    home = np.clip(np.searchsorted(edges + SAME_LIFT, lower[:, 0], side="left") - 1, 0, len(edges) - 2)
    dwells = (np.arange(len(edges) - 1) == home[:, None]).astype(float)
    part = np.where(rise > 0.0, (high - low) / np.where(rise > 0.0, rise, 1.0), dwells)
    return low, high, part * step


@cache
def _rule() -> tuple[Array, Array]:
    """Return places in [-1, 1], and the matrix that turns moments of x^m into their weights."""
    place = np.polynomial.legendre.leggauss(_PLACES)[0]
    return place, np.asarray(np.linalg.inv(np.vander(place, _PLACES, increasing=True).T), dtype=float)
