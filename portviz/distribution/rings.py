"""Measures of the ring of stations round the valve: weak arcs, extremes, halves.

Stations lie one behind the other, group by group; `starts` holds the first station of each group.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from portviz.distribution.measures import group_sizes, group_sum, nothing_but_rounding, sector_angles
from portviz.job.model import Array, Index

#: Weak arcs with less than this between them count as one [deg].
LEAST_STRONG_ARC = 25.0
#: A velocity nearer to the mean than this part of it is the mean [-].
_ROUNDING = 1e-12


class WeakArcs(NamedTuple):
    """Where a ring lies below its mean, each of shape (G,); NaN where the mean is not above zero.

    Parameters
    ----------
    arcs : ndarray
        Weak arcs, after those with little between them have been joined [-]; 0 on an even ring.
    intensity : ndarray
        Of the weightiest arc: (mean - mean of the arc) / mean [-].
    extent_deg : ndarray
        Of the weightiest arc [deg].
    multiple : ndarray
        Sum of intensity x extent of all arcs over that of the weightiest [-]; NaN on an even ring.
    from_deg, to_deg : ndarray
        Where the weightiest arc begins and ends, anticlockwise [deg] in [0, 360); NaN on an even ring.
    """

    arcs: Array
    intensity: Array
    extent_deg: Array
    multiple: Array
    from_deg: Array
    to_deg: Array


def weak_arcs(velocity: Array, angle_deg: Array, starts: Index) -> WeakArcs:
    """Return the intensity and extent of the circumferential distortion of each group, [ARP-1420].

    Parameters
    ----------
    velocity : ndarray, shape (K,)
        [m/s].
    angle_deg : ndarray, shape (K,)
        In [0, 360) and ascending within each group [deg].
    starts : ndarray of int, shape (G,)

    Notes
    -----
    The practice was made for the total pressure P in one ring of probes before an engine, and takes

        PAV = (1/360) integral of P over the ring; extent = the degrees in which P < PAV;
        PAVLOW = (1/extent) integral of P over the extent; intensity = (PAV - PAVLOW) / PAV.

    Arcs below PAV with less than 25 deg above it between them count as one, with the sum of their extents
    and integrals. Where more than one is left, intensity and extent are those of the arc with the greatest
    intensity x extent, and multiple = sum(intensity x extent) / greatest (multiple per revolution).

    Round a valve no total pressure is read: the gauge shows a pressure drop. Here P stands for the
    velocity, of which the air that a sector passes is made; its mean over the ring is the mean
    velocity weighted by sectors. The same pattern in drops would show about twice the intensity.

    Between stations the velocity runs straight, so that the integrals are exact and crossings of the
    mean lie where the straight lines cross it.

    Examples
    --------
    >>> ring = np.array([100.0, 100.0, 100.0, 98.0, 94.0, 98.0, 100.0, 100.0])
    >>> found = weak_arcs(ring, 45.0 * np.arange(8), np.array([0]))
    >>> float(found.extent_deg[0]), round(float(found.intensity[0]), 6)
    (123.75, 0.021289)
    """
    sizes, following, width = _segments(angle_deg, starts)
    group = np.repeat(np.arange(len(starts)), sizes)
    mean = group_sum(velocity * sector_angles(angle_deg, starts), starts) / 360.0
    off = velocity - mean[group]
    off[np.abs(off) <= _ROUNDING * np.abs(mean[group])] = 0.0
    after = off[following]
    begins, ends = (off >= 0.0) & (after < 0.0), (off < 0.0) & (after >= 0.0)
    crossing = begins | ends
    share = np.where(crossing, np.minimum(off, after) / np.where(crossing, -np.abs(after - off), 1.0), 1.0)
    low = np.where((off < 0.0) | (after < 0.0), width * share, 0.0)
    missing = -0.5 * low * np.where(crossing, np.minimum(off, after), off + after)

    counts = group_sum(begins.astype(float), starts).astype(np.intp)
    first_arc, number_of_arcs = np.cumsum(counts) - counts, int(counts.sum())
    begun = np.cumsum(begins) - first_arc[group]

    def arc_of(number: Index) -> Index:
        """Return arcs by their number in the group; what lies before the first belongs to the last."""
        return np.asarray(first_arc[group] + np.where(number == 0, counts[group], number) - 1)

    def of_arcs(arc: Index, values: Array) -> Array:
        """Return the sum of each arc; groups without any are left out."""
        inside = counts[group] > 0
        return np.asarray(np.bincount(arc[inside], weights=values[inside], minlength=number_of_arcs), dtype=float)

    arc = arc_of(begun)
    extent, deficit = of_arcs(arc, low), of_arcs(arc, missing)
    strong = of_arcs(arc_of(begun - begins), width - low)
    start = np.mod(angle_deg[begins] + (width - low)[begins], 360.0)
    end = np.empty(number_of_arcs)
    end[arc[ends]] = np.mod(angle_deg[ends] + low[ends], 360.0)
    return _weightiest(mean, counts, extent, deficit, strong, start, end)


def _segments(angle_deg: Array, starts: Index) -> tuple[Index, Index, Array]:
    """Return the groups' sizes, each station's next one round the circle, and the way to it [deg]."""
    sizes = group_sizes(starts, len(angle_deg))
    following = np.arange(1, len(angle_deg) + 1)
    following[starts + sizes - 1] = starts
    return sizes, following, np.mod(angle_deg[following] - angle_deg, 360.0)


def _weightiest(
    mean: Array, counts: Index, extent: Array, deficit: Array, strong: Array, start: Array, end: Array
) -> WeakArcs:
    """Join arcs with little between them, and return what is told of each group."""
    forward = mean > 0.0
    none = np.where(forward, 0.0, np.nan)
    unknown = np.full(len(mean), np.nan)
    some = np.flatnonzero(counts > 0)
    if some.size == 0:
        return WeakArcs(none, none, none, unknown, unknown, unknown)
    first = (np.cumsum(counts) - counts)[some]
    size = counts[some]
    group = np.repeat(np.arange(len(some)), size)
    # Where all would join, the ring is cut at its longest strong arc, so that one arc is left.
    parted = strong >= LEAST_STRONG_ARC
    parted[_first_greatest(strong, first)] = True
    joined = np.add.reduceat(parted.astype(np.intp), first)
    before: Index = np.cumsum(parted) - parted
    label = np.mod(before - before[first][group], joined[group])
    offset = np.cumsum(joined) - joined
    label = label + offset[group]
    total = int(joined.sum())
    wide = np.asarray(np.bincount(label, weights=extent, minlength=total), dtype=float)
    weight = np.asarray(np.bincount(label, weights=deficit, minlength=total), dtype=float)
    begin, stop = np.empty(total), np.empty(total)
    stop[label[parted]] = end[parted]
    follows = np.arange(1, len(parted) + 1)
    follows[first + size - 1] = first
    begin[label[follows[parted]]] = start[follows[parted]]

    at = _first_greatest(weight, offset)
    greatest = weight[at]

    def of_groups(values: Array, otherwise: Array) -> Array:
        full = otherwise.copy()
        full[some] = np.where(forward[some], values, np.nan)
        return full

    with np.errstate(divide="ignore", invalid="ignore"):
        intensity = greatest / wide[at] / mean[some]
        multiple = np.add.reduceat(weight, offset) / greatest
    return WeakArcs(
        arcs=of_groups(joined * 1.0, none),
        intensity=of_groups(intensity, none),
        extent_deg=of_groups(wide[at], none),
        multiple=of_groups(multiple, unknown),
        from_deg=of_groups(begin[at], unknown),
        to_deg=of_groups(stop[at], unknown),
    )


def _first_greatest(values: Array, starts: Index) -> Index:
    """Return the place of each group's greatest value; the first of equal ones."""
    group = np.repeat(np.arange(len(starts)), group_sizes(starts, len(values)))
    at = np.flatnonzero(values == np.maximum.reduceat(values, starts)[group])
    return np.asarray(at[np.flatnonzero(np.diff(group[at], prepend=-1))])


def greatest_over_least(velocity: Array, starts: Index) -> Array:
    """Return the greatest over the least velocity of each group [-], shape (G,); NaN where air stands or flows back.

    Examples
    --------
    >>> greatest_over_least(np.array([60.0, 90.0, 80.0]), np.array([0]))
    array([1.5])
    """
    least = np.minimum.reduceat(velocity, starts)
    return np.maximum.reduceat(velocity, starts) / np.where(least > 0.0, least, np.nan)


def half_circle_parts(angle_deg: Array, starts: Index, toward_deg: float) -> Array:
    """Return what part of each station's sector lies in the half circle centred on a direction [-], shape (K,).

    Parameters
    ----------
    angle_deg : ndarray, shape (K,)
        In [0, 360) and ascending within each group [deg].
    starts : ndarray of int, shape (G,)
    toward_deg : float
        The middle of the half circle [deg].

    Notes
    -----
    Sectors reach half-way to the neighbours and are cut where the half circle ends. A sector's air
    leaves evenly over it, so that group_sum(flow_share x part) is the half circle's share.

    Examples
    --------
    >>> half_circle_parts(np.array([0.0, 90.0, 180.0, 270.0]), np.array([0]), 0.0)
    array([1. , 0.5, 0. , 0.5])
    """
    _, following, ahead = _segments(angle_deg, starts)
    behind = np.empty_like(ahead)
    behind[following] = ahead
    begin = angle_deg - 0.5 * behind - toward_deg + 90.0
    sector = 0.5 * (behind + ahead)
    return np.asarray((_inside(begin + sector) - _inside(begin)) / sector)


def _inside(angle_deg: Array) -> Array:
    """Return how many of the degrees from 0 to an angle lie in a first half circle, turn by turn."""
    turns, rest = np.divmod(angle_deg, 360.0)
    return np.asarray(180.0 * turns + np.minimum(rest, 180.0))


def half_circle_share(flow_share: Array, parts: Array, starts: Index) -> Array:
    """Return the half circle's share of the flow of each group [-], shape (G,); see `half_circle_parts`."""
    share = group_sum(flow_share * parts, starts)
    return np.where(nothing_but_rounding(flow_share, starts), np.nan, share)
