"""How small changes of drops, factors and areas move every result: the linear law of propagation [JCGM-100].

A result's uncertainty has two parts. The independent one stems from readings, which err each for
itself. The common ones stem from factors that all readings of one set-up share (the gauge's
coefficient, the air's density, the test pressure, the lengths of valve and seat): they move all
results together, so that they cancel in differences.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portviz.air import CRITICAL_PRESSURE_RATIO, GAMMA, isentropic_drop, isentropic_state
from portviz.distribution.measures import group_sizes, group_sum
from portviz.distribution.reduce import Reduction, upstream_pressure
from portviz.distribution.verdicts import effective_freedom, expanded
from portviz.job.model import Array, Index

#: The factors that the readings of one set-up share, in the order of `Spread.common`.
COMMON = ("coefficient", "density", "test pressure", "dimensions")


@dataclass(frozen=True)
class Spread:
    """Uncertainty of N results in its parts, in the results' units.

    Parameters
    ----------
    independent : ndarray, shape (N,)
        Standard uncertainty from the readings, which err each for itself; NaN where unknown. Its degrees of
        freedom are those of the readings.
    stated : ndarray, shape (N,)
        From what else errs for itself and was stated, not observed, as the bench flow's accuracy: known exactly,
        with endless degrees of freedom.
    common : ndarray, shape (4, N)
        Change of the results for one standard uncertainty of each factor in `COMMON`, with its sign.
    """

    independent: Array
    stated: Array
    common: Array

    @property
    def standard(self) -> Array:
        """Standard uncertainty of each result, shape (N,)."""
        with np.errstate(over="ignore"):
            return np.asarray(np.sqrt(self.independent**2 + self.stated**2 + np.sum(self.common**2, axis=0)))

    def take(self, index: Index | slice) -> Spread:
        """Return the spread of some of the results."""
        return Spread(self.independent[index], self.stated[index], self.common[:, index])

    def freedom(self, of_readings: Array) -> Array:
        """Return the degrees of freedom of the whole, shape (N,), from those of the readings, shape (N,)."""
        parts = np.concatenate([[self.independent, self.stated], self.common])
        freedoms = np.concatenate([[of_readings], np.full((len(parts) - 1, len(of_readings)), np.inf)])
        return effective_freedom(parts, freedoms)

    def scaled(self, factor: float) -> Spread:
        """Return the spread of the results times a factor."""
        return Spread(self.independent * abs(factor), self.stated * abs(factor), self.common * factor)


def plus_minus(spread: Spread, freedom: Array) -> Array:
    """Return half the width of the intervals that cover 95 of 100 times, shape (N,); NaN where not known.

    Parameters
    ----------
    spread : Spread
        Of N results.
    freedom : ndarray, shape (N,)
        Degrees of freedom of the readings [-].
    """
    return expanded(spread.standard, spread.freedom(freedom))


@dataclass(frozen=True)
class Change:
    """A small change of the state at K stations and in G groups, as it moves the results.

    Parameters
    ----------
    drop, velocity, mass_flux, velocity_ratio, mach : ndarray, shape (K,)
        Change of each, in its unit.
    bench_mass, ideal_flux, ideal_velocity : ndarray, shape (G,)
        Relative change of the bench's mass flow, of the ideal mass flux and of its velocity [-].
    """

    drop: Array
    velocity: Array
    mass_flux: Array
    velocity_ratio: Array
    mach: Array
    bench_mass: Array
    ideal_flux: Array
    ideal_velocity: Array


def reading_slopes(reduction: Reduction) -> Change:
    """Return how the state at each station changes with its own reading, per pascal or per m/s.

    Notes
    -----
    From v dv = d(drop) / density and the speed of sound a: d(mass flux) = (1 - Mach^2) / v, both times
    the gauge's coefficient; dMach = (1 + (gamma - 1) / 2 Mach^2) dv / a. Infinite at zero drop, where a
    linear law does not hold; a gauge that reads velocity has no such place.
    """
    stations, job = reduction.stations, reduction.job
    coefficient, room, group = job.gauge.coefficient, job.bench.air, reduction.station_group
    speed, mach = np.abs(stations.velocity) / coefficient, np.abs(stations.mach)
    sound = np.sqrt(GAMMA * room.gas_constant * room.temperature - (GAMMA - 1.0) / 2.0 * speed**2)
    none = np.zeros(len(reduction.starts))
    with np.errstate(divide="ignore", invalid="ignore"):
        # The isentropic velocity's own slope, and the drop's.
        if job.gauge.kind == "velocity":
            isentropic, drop = np.ones(len(speed)), stations.density * speed
        else:
            isentropic, drop = 1.0 / (stations.density * speed), np.ones(len(speed))
        return Change(
            drop=drop,
            velocity=coefficient * isentropic,
            mass_flux=coefficient * stations.density * (1.0 - mach**2) * isentropic,
            velocity_ratio=coefficient * isentropic / reduction.ideal_velocity[group],
            mach=(1.0 + (GAMMA - 1.0) / 2.0 * mach**2) * isentropic / sound,
            bench_mass=none,
            ideal_flux=none,
            ideal_velocity=none,
        )


def moved_drop(reduction: Reduction, change: Array) -> Array:
    """Return the drops [Pa] of readings changed by something [Pa or m/s], broadcast with shape (K,)."""
    stations, job, room = reduction.stations, reduction.job, reduction.job.bench.air
    if job.gauge.kind != "velocity":
        return np.asarray(stations.drop + change)
    sonic = 0.999 * np.sqrt(2.0 * GAMMA / (GAMMA + 1.0) * room.gas_constant * room.temperature)
    upstream = reduction.upstream_pressure[reduction.station_group]
    return isentropic_drop(
        np.clip(stations.reading + change, -sonic, sonic), upstream, room.temperature, room.gas_constant
    )


def moved_state(reduction: Reduction, change: Array) -> tuple[Array, Array]:
    """Return velocity [m/s] and mass flux [kg/(s m2)] at the stations for changed readings [Pa or m/s], shape (K,)."""
    room, upstream = reduction.job.bench.air, reduction.upstream_pressure[reduction.station_group]
    limit = 0.999 * (1.0 - CRITICAL_PRESSURE_RATIO) * upstream
    drop = np.clip(moved_drop(reduction, change), -limit, limit)
    state = isentropic_state(drop, upstream, room.temperature, room.gas_constant)
    velocity = reduction.job.gauge.coefficient * state.velocity
    return velocity, state.density * velocity


def moves_of_readings(reduction: Reduction, uncertainty: Array) -> tuple[Array, Array]:
    """Return what readings off by their uncertainty do to velocity [m/s] and mass flux [kg/(s m2)], shape (K,).

    Half of what lies between a reading moved up and one moved down, which holds near zero drop too; NaN where
    the uncertainty [Pa or m/s] is.
    """
    known = np.where(np.isnan(uncertainty), np.nan, 0.5)
    step = np.nan_to_num(uncertainty)
    higher, lower = (moved_state(reduction, sign * step) for sign in (1.0, -1.0))
    return known * (higher[0] - lower[0]), known * (higher[1] - lower[1])


def common_changes(reduction: Reduction) -> tuple[Change, ...]:
    """Return the change of the state for one standard uncertainty of each factor in `COMMON` but the dimensions.

    Factors whose uncertainty is not stated change nothing.
    """
    return _coefficient_change(reduction), _density_change(reduction), _test_pressure_change(reduction)


def _coefficient_change(reduction: Reduction) -> Change:
    stations, gauge = reduction.stations, reduction.job.gauge
    part = (gauge.coefficient_uncertainty or 0.0) / gauge.coefficient
    none, no_group = np.zeros(len(stations.drop)), np.zeros(len(reduction.starts))
    return Change(
        drop=none,
        velocity=part * stations.velocity,
        mass_flux=part * stations.density * stations.velocity,
        velocity_ratio=part * stations.velocity_ratio,
        mach=none,
        bench_mass=no_group,
        ideal_flux=no_group,
        ideal_velocity=no_group,
    )


def _density_change(reduction: Reduction) -> Change:
    """Denser air at the same drop is slower by half as much, and carries half as much more."""
    stations = reduction.stations
    part = reduction.job.bench.density_uncertainty or 0.0
    none = np.zeros(len(stations.drop))
    return Change(
        drop=none,
        velocity=-0.5 * part * stations.velocity,
        mass_flux=0.5 * part * stations.density * stations.velocity,
        velocity_ratio=none,
        mach=none,
        bench_mass=np.full(len(reduction.starts), part),
        ideal_flux=np.full(len(reduction.starts), 0.5 * part),
        ideal_velocity=np.full(len(reduction.starts), -0.5 * part),
    )


def _test_pressure_change(reduction: Reduction) -> Change:
    """By the state at a test pressure a little higher: it moves what lies upstream, and some gauges' drops."""
    job, stations, group = reduction.job, reduction.stations, reduction.station_group
    none, no_group = np.zeros(len(stations.drop)), np.zeros(len(reduction.starts))
    uncertainty = job.bench.test_pressure_uncertainty or 0.0
    if not uncertainty:
        return Change(none, none, none, none, none, no_group, no_group, no_group)
    room = job.bench.air
    step = 1e-6 * reduction.test_pressure
    higher = reduction.test_pressure + step
    upstream = upstream_pressure(job, higher)
    by_test = job.gauge.reads == "tap-minus-downstream"
    drop = stations.drop + (step[group] if by_test else 0.0)
    state = isentropic_state(drop, upstream[group], room.temperature, room.gas_constant)
    whole = isentropic_state(higher, upstream, room.temperature, room.gas_constant)
    velocity = job.gauge.coefficient * state.velocity
    scale = uncertainty / step
    flux = stations.density * stations.velocity
    return Change(
        drop=(drop - stations.drop) * scale[group],
        velocity=(velocity - stations.velocity) * scale[group],
        mass_flux=(state.density * velocity - flux) * scale[group],
        velocity_ratio=(velocity / whole.velocity[group] - stations.velocity_ratio) * scale[group],
        mach=(state.mach - stations.mach) * scale[group],
        bench_mass=(upstream / reduction.upstream_pressure - 1.0) * scale,
        ideal_flux=(whole.mass_flux / reduction.ideal_mass_flux - 1.0) * scale,
        ideal_velocity=(whole.velocity / reduction.ideal_velocity - 1.0) * scale,
    )


class Weights:
    """What the group results' slopes are made of, at K stations.

    Parameters
    ----------
    reduction : Reduction
    """

    def __init__(self, reduction: Reduction) -> None:
        stations, starts = reduction.stations, reduction.starts
        sizes = group_sizes(starts, len(stations.drop))
        self.starts, self._sizes = starts, sizes
        mean = self.each(reduction.measures.mean)
        off = stations.velocity - mean
        side = np.sign(off)
        part = stations.sector_deg / 360.0
        with np.errstate(divide="ignore", invalid="ignore"):
            through = self.each(group_sum(stations.density * stations.velocity * part, starts))
            self.mass_part = part / through  # of a share or the closure, per mass flux
            turn = np.exp(1j * np.radians(stations.angle_deg))
            bias = self.each(np.add.reduceat(stations.flow_share * turn, starts))
            self.bias = self.mass_part * (turn - bias)
            self.mean = part
            uneven = self.each(group_sum(np.abs(off) * part, starts))
            balance = self.each(group_sum(side * part, starts))
            self.uniformity = -part * (side - balance) / (2.0 * np.abs(mean)) + part * uneven * np.sign(mean) / (
                2.0 * mean**2
            )
            deviation = self.each(reduction.measures.coefficient_of_variation) * np.abs(mean)
            self.variation = part * off / (deviation * np.abs(mean)) - part * deviation * np.sign(mean) / mean**2

    def each(self, of_group: Array) -> Array:
        """Return a group's value at each of its stations."""
        return np.repeat(of_group, self._sizes)

    def change(self, weight: Array, change: Array) -> Array:
        """Return the change of the groups' results, shape (G,), for one at all stations together."""
        return np.add.reduceat(weight * change, self.starts)

    def spread(self, weight: Array, uncertainty: Array) -> Array:
        """Return the uncertainty of the groups' results, shape (G,), where stations err each for itself."""
        return np.sqrt(group_sum((weight * uncertainty) ** 2, self.starts))
