"""Uncertainties by drawing samples, after [JCGM-101]: for results where a linear law of propagation does not hold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from portviz import air
from portviz.distribution.propagation import Spread, reading_slopes
from portviz.distribution.reduce import Reduction
from portviz.distribution.uncertainty import (
    GROUP_RESULTS,
    MONTE_CARLO,
    STATION_RESULTS,
    Uncertainty,
    bench_flow_uncertainty,
    result_values,
)
from portviz.job.model import Array, Index

#: Samples drawn at once are kept below this many station values, some tens of megabytes.
_CHUNK = 400_000
_SEED = 20_101


@np.errstate(all="ignore")
def simulated(reduction: Reduction, linear: Uncertainty, groups: Index, samples: int) -> Uncertainty:
    """Return uncertainties with those of some groups found by simulation.

    Parameters
    ----------
    reduction : Reduction
    linear : Uncertainty
        By the linear law.
    groups : ndarray of int
        The groups to simulate.
    samples : int
        Samples of each, 100 or more.

    Notes
    -----
    Mean readings, bench flow and lift are drawn from normal distributions with their standard uncertainties;
    degrees of freedom are kept beside. A result's uncertainty from them is its samples' standard deviation
    ([JCGM-101] 7.6); an angle's is that of its turn from the result. Common factors stay at their values
    here and keep their linear parts, so that they cancel in differences. The same job gives the same
    numbers: the generator starts from a fixed seed and the group.
    """
    parts = {name: _copy(getattr(linear, name)) for name in (*STATION_RESULTS, *GROUP_RESULTS)}
    covariance, method = linear.bias.copy(), list(linear.method)
    for group in groups.tolist():
        found, centroid = group_samples(reduction, linear, group, samples)
        place = reduction.stations_of(group)
        for name in (*STATION_RESULTS, *GROUP_RESULTS):
            at = place if name in STATION_RESULTS else slice(group, group + 1)
            # What has no value, as shares of nothing, has no uncertainty either.
            there = np.where(np.isnan(result_values(reduction, name)[at]), np.nan, 1.0)
            total, stated = _deviation(found[name]) * there, getattr(linear, name).stated[at]
            only_stated = getattr(linear, name).independent[at] == 0.0
            rest = np.sqrt(np.maximum(total**2 - stated**2, 0.0))
            parts[name].independent[at] = np.where(only_stated, 0.0, rest)
            parts[name].stated[at] = np.where(only_stated, total, stated)
        covariance[group] = np.cov(centroid.real, centroid.imag)
        method[group] = MONTE_CARLO
    return replace(linear, bias=covariance, method=tuple(method), **parts)  # type: ignore[arg-type]


@np.errstate(all="ignore")
def simulated_patterns(reduction: Reduction, linear: Uncertainty, groups: Index, samples: int) -> Uncertainty:
    """Return uncertainties with those of some groups' bias, variation and uniformity found by simulation.

    The stations' velocities and mass fluxes follow their linear law here, which holds away from zero
    drop; only the measures bend. Common factors keep their linear parts.
    """
    slopes = reading_slopes(reduction)
    names = ("coefficient_of_variation", "uniformity_index", "bias_magnitude", "bias_angle_deg")
    parts = {name: _copy(getattr(linear, name)) for name in names}
    method = list(linear.method)
    for group in groups.tolist():
        part = reduction.stations_of(group)
        noise = np.random.default_rng([_SEED, group]).standard_normal((samples, part.stop - part.start))
        noise *= linear.readings.mean[part]
        velocity = reduction.stations.velocity[part] + slopes.velocity[part] * noise
        flux = reduction.stations.density[part] * reduction.stations.velocity[part] + slopes.mass_flux[part] * noise
        found, _ = _pattern(reduction, group, velocity, flux)
        for name in names:
            parts[name].independent[group] = _deviation(found[name])
        method[group] = MONTE_CARLO
    return replace(linear, method=tuple(method), **parts)  # type: ignore[arg-type]


def _copy(spread: Spread) -> Spread:
    return Spread(spread.independent.copy(), spread.stated.copy(), spread.common.copy())


def _over_stations(samples: Array, weights: Array) -> Array:
    """Return the weighted sums of samples, shape (N, S), over the stations; one thread is faster at this size."""
    return np.asarray(np.einsum("ns,s->n", samples, weights))


def _pattern(reduction: Reduction, group: int, velocity: Array, flux: Array) -> tuple[dict[str, Array], Array]:
    """Return the measures of a pattern for samples of its velocities and mass fluxes, (N, S), and its bias."""
    part = reduction.stations_of(group)
    sector = reduction.stations.sector_deg[part] / 360.0
    turn = np.radians(reduction.stations.angle_deg[part])
    mean = _over_stations(velocity, sector)
    off = velocity - mean[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        east, north = (_over_stations(flux, sector * way(turn)) for way in (np.cos, np.sin))
        bias = (east + 1j * north) / _over_stations(flux, sector)
        away = np.angle(bias * np.exp(-1j * np.radians(reduction.bias_angle_deg[group])), deg=True)
        measures = {
            "mean_velocity": mean,
            "coefficient_of_variation": np.sqrt(_over_stations(off**2, sector)) / np.abs(mean),
            "uniformity_index": 1.0 - _over_stations(np.abs(off), sector) / (2.0 * np.abs(mean)),
            "bias_magnitude": np.abs(bias),
            "bias_angle_deg": away,
        }
    return measures, bias


def _deviation(samples: Array) -> Array:
    """Return the standard deviation of samples along their first axis; NaN where any is not known."""
    return np.asarray(np.std(samples, axis=0, ddof=1))


def group_samples(
    reduction: Reduction, linear: Uncertainty, group: int, samples: int
) -> tuple[dict[str, Array], Array]:
    """Return samples of one group's results.

    Returns
    -------
    results : dict of str to ndarray
        By the names in `STATION_RESULTS`, shape (N, S), and in `GROUP_RESULTS`, shape (N,), in SI.
    bias : ndarray of complex, shape (N,)
    """
    generator = np.random.default_rng([_SEED, group])
    part = reduction.stations_of(group)
    rows = max(_CHUNK // (part.stop - part.start), 1)
    pieces = [
        _drawn(reduction, linear, group, min(rows, samples - start), generator) for start in range(0, samples, rows)
    ]
    results = {name: np.concatenate([piece[0][name] for piece in pieces]) for name in pieces[0][0]}
    return results, np.concatenate([piece[1] for piece in pieces])


def _drawn(
    reduction: Reduction, linear: Uncertainty, group: int, count: int, generator: np.random.Generator
) -> tuple[dict[str, Array], Array]:
    job, stations, part = reduction.job, reduction.stations, reduction.stations_of(group)
    room, upstream = job.bench.air, reduction.upstream_pressure[group]
    noise = linear.readings.mean[part] * generator.standard_normal((count, part.stop - part.start))
    limit = 0.999 * (1.0 - air.CRITICAL_PRESSURE_RATIO) * upstream
    if job.gauge.kind == "velocity":
        sonic = float(air.isentropic_state(limit, upstream, room.temperature, room.gas_constant).velocity)
        typed = np.clip(stations.reading[part] + noise, -sonic, sonic)
        drop = air.isentropic_drop(typed, upstream, room.temperature, room.gas_constant)
    else:
        drop = stations.drop[part] + noise
    # The tails of a wide distribution may reach choked flow, which has no velocity of its own.
    state = air.isentropic_state(np.clip(drop, -limit, limit), upstream, room.temperature, room.gas_constant)
    velocity, mass_flux = job.gauge.coefficient * state.velocity, job.gauge.coefficient * state.mass_flux
    sector = stations.sector_deg[part] / 360.0
    flow = _normal(reduction.bench_flow[group], bench_flow_uncertainty(reduction)[group], (count,), generator)
    bench_mass, ideal = flow * reduction.upstream_density[group], reduction.ideal_mass_flux[group]
    curtain, gap, passage = (
        _areas(area[group], known[1, group], generator.standard_normal(count))
        for area, known in (
            (reduction.areas.curtain_area, linear.areas.curtain),
            (reduction.areas.gap_area, linear.areas.gap),
            (reduction.areas.flow_area, linear.areas.flow),
        )
    )
    measures, bias = _pattern(reduction, group, velocity, mass_flux)
    with np.errstate(divide="ignore", invalid="ignore"):
        through = _over_stations(mass_flux, sector)
        share = mass_flux * sector / through[:, None]
        results = {
            "drop": drop,
            "velocity": velocity,
            "velocity_ratio": velocity / reduction.ideal_velocity[group],
            "mach": state.mach,
            "flow_share": share,
            "flow": share * flow[:, None],
            "discharge_coefficient": bench_mass / (ideal * curtain),
            "flow_area_coefficient": bench_mass / (ideal * passage),
            "closure": bench_mass / (through * gap),
            **measures,
        }
    return results, bias


def _areas(area: float, relative: float, normal: Array) -> Array:
    """Return samples of an area; of a closed passage nothing is known, since what is known is relative to it."""
    return area * (1.0 + relative * normal) if area > 0.0 else np.full(normal.shape, np.nan)


def _normal(value: float, uncertainty: float, shape: tuple[int, ...], generator: np.random.Generator) -> Array:
    """Return normal samples; NaN where the value or its uncertainty is not known."""
    return value + uncertainty * generator.standard_normal(shape)
