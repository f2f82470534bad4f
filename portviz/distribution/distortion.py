"""The circumferential distortion of a job's runs: harmonics, weak arcs, extremes and halves, with their uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portviz.distribution.harmonics import ORDERS, harmonic_weights, lobe_direction_deg
from portviz.distribution.measures import group_sizes, group_sum, nothing_but_rounding, sector_angles
from portviz.distribution.monte_carlo import group_samples
from portviz.distribution.propagation import Spread, common_changes, moved_state, plus_minus
from portviz.distribution.reduce import Reduction
from portviz.distribution.rings import greatest_over_least, half_circle_parts, half_circle_share, weak_arcs
from portviz.distribution.uncertainty import Uncertainty
from portviz.job.model import Array, Index, Mask

#: Samples of a group where the linear law does not hold: its standard deviations are good to 1.6 %.
SAMPLES = 2_000
#: A measure whose changes up and down differ by more than this part of its uncertainty is no linear one [-].
_BENT = 0.1

Values = dict[str, Array]
AMPLITUDES = tuple(f"amplitude_{order}" for order in ORDERS)
RELATIVE = tuple(f"relative_amplitude_{order}" for order in ORDERS)
DIRECTIONS = tuple(f"direction_{order}_deg" for order in ORDERS)
#: Turns after which a direction is the same again [deg].
_PERIODS = {name: 360.0 / order for name, order in zip(DIRECTIONS, ORDERS, strict=True)}
#: Measures that have an uncertainty.
MEASURES = (
    *AMPLITUDES,
    *RELATIVE,
    *DIRECTIONS,
    "intensity",
    "extent_deg",
    "multiple",
    "greatest_over_least",
    "half_share",
    "imbalance",
)
#: Those that tell where and how often, and have none.
PLACES = ("arcs", "from_deg", "to_deg")


@dataclass(frozen=True)
class Distortion:
    """Measures of the ring of stations in G groups.

    Parameters
    ----------
    toward_deg, axis_deg : float
        Middle of the half circle, and the axis that parts two halves [deg].
    values : dict of str to ndarray, shape (G,)
        By the names in `MEASURES` and `PLACES`, in SI; NaN where there is none.
    spreads : dict of str to Spread
        Of the measures, N = G; NaN where nothing is known of the readings.
    expanded : dict of str to ndarray, shape (G,)
        Half the width of the interval that covers the measure at 95 %.
    simulated : dict of str to ndarray of bool, shape (G,)
        True where a measure's uncertainty was found by drawing samples.
    """

    toward_deg: float
    axis_deg: float
    values: Values
    spreads: dict[str, Spread]
    expanded: Values
    simulated: dict[str, Mask]


class _Ring:
    """Where the stations of groups stand, and what every measure weighs them with."""

    def __init__(self, angle_deg: Array, starts: Index, toward_deg: float, axis_deg: float) -> None:
        self.angle_deg, self.starts = angle_deg, starts
        self.part = sector_angles(angle_deg, starts) / 360.0
        self.harmonics = harmonic_weights(angle_deg, starts)
        self.half = half_circle_parts(angle_deg, starts, toward_deg)
        self.first = half_circle_parts(angle_deg, starts, axis_deg + 90.0)

    def repeated(self, part: slice, count: int) -> _Ring:
        """Return the ring of one group as many times."""
        ring = object.__new__(_Ring)
        size = part.stop - part.start
        ring.angle_deg, ring.starts = np.tile(self.angle_deg[part], count), size * np.arange(count)
        ring.part = np.tile(self.part[part], count)
        ring.harmonics = np.tile(self.harmonics[:, part], (1, count))
        ring.half, ring.first = np.tile(self.half[part], count), np.tile(self.first[part], count)
        return ring

    def values(self, velocity: Array, mass_flux: Array) -> Values:
        """Return every measure of each group.

        Parameters
        ----------
        velocity, mass_flux : ndarray, shape (K,)
            [m/s], and of any one scale in a group.
        """
        mean = group_sum(velocity * self.part, self.starts)
        mean = np.where(nothing_but_rounding(velocity * self.part, self.starts), np.nan, np.abs(mean))
        mass = mass_flux * self.part
        through = np.where(nothing_but_rounding(mass, self.starts), np.nan, group_sum(mass, self.starts))
        share = mass / np.repeat(through, group_sizes(self.starts, len(mass)))
        found: Values = {}
        for order, weights in zip(ORDERS, self.harmonics, strict=True):
            harmonic = np.add.reduceat(weights * velocity, self.starts)
            found[f"amplitude_{order}"] = np.abs(harmonic)
            found[f"relative_amplitude_{order}"] = np.abs(harmonic) / mean
            direction = lobe_direction_deg(harmonic, order)
            # An even ring leans nowhere; what rounding has left is no direction.
            found[f"direction_{order}_deg"] = np.where(np.abs(harmonic) > 1e-9 * mean, direction, np.nan)
        arcs = weak_arcs(velocity, self.angle_deg, self.starts)
        found.update(arcs._asdict())
        found["greatest_over_least"] = greatest_over_least(velocity, self.starts)
        found["half_share"] = half_circle_share(share, self.half, self.starts)
        found["imbalance"] = 2.0 * half_circle_share(share, self.first, self.starts) - 1.0
        return found


def distortion(
    reduction: Reduction, uncertainty: Uncertainty, *, toward_deg: float = 0.0, axis_deg: float = 0.0
) -> Distortion:
    """Return how uneven the ring of each group is.

    Parameters
    ----------
    reduction : Reduction
    uncertainty : Uncertainty
        Of the reduction.
    toward_deg : float
        Middle of the half circle whose share of the flow is told [deg].
    axis_deg : float
        The axis: the first half of the circle lies anticlockwise of it, the second clockwise [deg].

    Notes
    -----
    Harmonics of the velocity by `harmonic_weights`, their amplitudes also over the mean velocity; the weak
    arc by `weak_arcs` [ARP-1420]; the half circle's share of the mass flow, with sectors cut at its ends;
    imbalance = (first - second) / (first + second) of the halves' flows.

    Uncertainty by [JCGM-100] 5.1.3, note 2: each reading, and each common factor, is moved up and down
    by its standard uncertainty, and half the difference of the results is what it adds. Where the results do
    not move alike up and down (by more than a tenth of their uncertainty in all), samples are drawn instead
    [JCGM-101]: so it is near an even ring, and where an arc begins, ends or joins another.
    """
    ring = _Ring(reduction.stations.angle_deg, reduction.starts, toward_deg, axis_deg)
    stations = reduction.stations
    mass_flux = stations.density * stations.velocity
    values = ring.values(stations.velocity, mass_flux)
    independent, common, bends = _moved(reduction, uncertainty, ring, values, mass_flux)
    known = np.isfinite(np.add.reduceat(uncertainty.readings.mean, reduction.starts))
    spreads, simulated = {}, {}
    for name in MEASURES:
        there = known & np.isfinite(values[name])
        own = np.where(there, independent[name], np.nan)
        simulated[name] = there & ~(bends[name] <= _BENT * np.hypot(own, np.sqrt(np.sum(common[name] ** 2, axis=0))))
        spreads[name] = Spread(own, np.zeros_like(own), common[name])
    _simulate(reduction, uncertainty, ring, values, spreads, simulated)
    return Distortion(
        toward_deg=toward_deg,
        axis_deg=axis_deg,
        values=values,
        spreads=spreads,
        expanded={name: plus_minus(spreads[name], uncertainty.readings.freedom) for name in MEASURES},
        simulated=simulated,
    )


def _moved(
    reduction: Reduction, uncertainty: Uncertainty, ring: _Ring, values: Values, mass_flux: Array
) -> tuple[Values, Values, Values]:
    """Return what readings add to each measure (G,), what common factors do (4, G), and how far the law bends (G,)."""
    stations, starts = reduction.stations, reduction.starts
    step = np.nan_to_num(uncertainty.readings.mean)
    higher, lower = (moved_state(reduction, sign * step) for sign in (1.0, -1.0))
    place = np.arange(len(step)) - starts[reduction.station_group]
    squares = {name: np.zeros(len(starts)) for name in MEASURES}
    bends = {name: np.zeros(len(starts)) for name in MEASURES}

    def change(up: Values, down: Values) -> Values:
        """Return half of what lies between the two, and add how far its middle lies from the result."""
        halves = {}
        for name in MEASURES:
            more, less = (_turned(each[name] - values[name], name) for each in (up, down))
            halves[name] = 0.5 * (more - less)
            bends[name] += np.abs(0.5 * (more + less))
        return halves

    for one in range(int(place.max()) + 1):
        here = place == one
        moved = [
            ring.values(np.where(here, velocity, stations.velocity), np.where(here, flux, mass_flux))
            for velocity, flux in (higher, lower)
        ]
        for name, half in change(*moved).items():
            squares[name] += half**2
    factors = []
    for each in common_changes(reduction):
        moved = [
            ring.values(stations.velocity + sign * each.velocity, mass_flux + sign * each.mass_flux)
            for sign in (1.0, -1.0)
        ]
        factors.append(change(*moved))
    none = np.zeros(len(starts))
    common = {name: np.array([*(each[name] for each in factors), none]) for name in MEASURES}
    return {name: np.sqrt(squares[name]) for name in MEASURES}, common, bends


def _turned(difference: Array, name: str) -> Array:
    """Return a difference of directions by the shorter way round; others as they are."""
    period = _PERIODS.get(name)
    return difference if period is None else np.mod(difference + 0.5 * period, period) - 0.5 * period


def _simulate(
    reduction: Reduction,
    uncertainty: Uncertainty,
    ring: _Ring,
    values: Values,
    spreads: dict[str, Spread],
    simulated: dict[str, Mask],
) -> None:
    """Put the standard deviation of samples where the linear law does not hold."""
    for group in np.flatnonzero(np.any(list(simulated.values()), axis=0)).tolist():
        part = reduction.stations_of(group)
        drawn, _ = group_samples(reduction, uncertainty, group, SAMPLES)
        velocity = drawn["velocity"].reshape(-1)
        flux = (drawn["flow_share"] / ring.part[part]).reshape(-1)
        found = ring.repeated(part, SAMPLES).values(velocity, flux)
        for name in MEASURES:
            if simulated[name][group]:
                off = _turned(found[name] - values[name][group], name)
                off = off[np.isfinite(off)]
                spreads[name].independent[group] = np.std(off, ddof=1) if len(off) > SAMPLES // 2 else np.nan
