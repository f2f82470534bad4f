"""Uncertainties by drawing samples, after [JCGM-101]: for results where a linear law of propagation does not hold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from portviz import air
from portviz.distribution.propagation import Spread, drop_slopes
from portviz.distribution.reduce import Reduction, upstream_pressure
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
    Mean drops, bench flow and common factors are drawn from normal distributions with their standard
    uncertainties; degrees of freedom are kept beside. A result's standard uncertainty is its samples'
    standard deviation ([JCGM-101] 7.6); an angle's is that of its turn from the result. What part of it is
    common to other results is not told apart, so that nothing cancels in differences. The same job
    gives the same numbers: the generator starts from a fixed seed and the group.
    """
    parts = {name: _copy(getattr(linear, name)) for name in (*STATION_RESULTS, *GROUP_RESULTS)}
    covariance, bias_common, method = linear.bias.copy(), linear.bias_common.copy(), list(linear.method)
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
            parts[name].common[:, at] = 0.0
        covariance[group] = np.cov(centroid.real, centroid.imag)
        bias_common[:, group] = 0.0
        method[group] = MONTE_CARLO
    return replace(linear, bias=covariance, bias_common=bias_common, method=tuple(method), **parts)  # type: ignore[arg-type]


@np.errstate(all="ignore")
def simulated_patterns(reduction: Reduction, linear: Uncertainty, groups: Index, samples: int) -> Uncertainty:
    """Return uncertainties with those of some groups' bias, variation and uniformity found by simulation.

    The stations' velocities and mass fluxes follow their linear law here, which holds away from zero
    drop; only the measures bend. Their common factors move all stations alike and are left out.
    """
    slopes = drop_slopes(reduction)
    names = ("coefficient_of_variation", "uniformity_index", "bias_magnitude", "bias_angle_deg")
    parts = {name: _copy(getattr(linear, name)) for name in names}
    method = list(linear.method)
    for group in groups.tolist():
        part = reduction.stations_of(group)
        noise = np.random.default_rng([_SEED, group]).standard_normal((samples, part.stop - part.start))
        noise *= linear.readings.drop[part]
        velocity = reduction.stations.velocity[part] + slopes.velocity[part] * noise
        flux = reduction.stations.density[part] * reduction.stations.velocity[part] + slopes.mass_flux[part] * noise
        found, _ = _pattern(reduction, group, velocity, flux)
        for name in names:
            parts[name].independent[group], parts[name].common[:, group] = _deviation(found[name]), 0.0
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
    bench, gauge, room = job.bench, job.gauge, job.bench.air
    drop = stations.drop[part] + linear.readings.drop[part] * generator.standard_normal((count, part.stop - part.start))
    coefficient = gauge.coefficient + (gauge.coefficient_uncertainty or 0.0) * generator.standard_normal((count, 1))
    dense = 1.0 + (bench.density_uncertainty or 0.0) * generator.standard_normal((count, 1))
    pressed = (bench.test_pressure_uncertainty or 0.0) * generator.standard_normal((count, 1))
    test = reduction.test_pressure[group] + pressed
    upstream = upstream_pressure(job, test)
    if gauge.reads == "tap-minus-downstream":
        drop = drop + pressed
    # The tails of a wide distribution may reach choked flow, which has no velocity of its own.
    limit = 0.999 * (1.0 - air.CRITICAL_PRESSURE_RATIO) * upstream
    state = air.isentropic_state(np.clip(drop, -limit, limit), upstream, room.temperature, room.gas_constant)
    whole = air.isentropic_state(np.clip(test, 1e-3, limit), upstream, room.temperature, room.gas_constant)
    thin = np.sqrt(1.0 / dense)
    velocity, mass_flux = coefficient * state.velocity * thin, coefficient * state.mass_flux / thin
    sector = stations.sector_deg[part] / 360.0
    flow = _normal(reduction.bench_flow[group], bench_flow_uncertainty(reduction)[group], (count,), generator)
    bench_mass = (
        flow * reduction.upstream_density[group] * (upstream / reduction.upstream_pressure[group] * dense)[:, 0]
    )
    areas = linear.areas
    curtain, gap, passage = (
        area[group] * (1.0 + np.hypot(*known[:, group]) * generator.standard_normal(count))
        for area, known in (
            (reduction.areas.curtain_area, areas.curtain),
            (reduction.areas.gap_area, areas.gap),
            (reduction.areas.flow_area, areas.flow),
        )
    )
    measures, bias = _pattern(reduction, group, velocity, mass_flux)
    with np.errstate(divide="ignore", invalid="ignore"):
        through = _over_stations(mass_flux, sector)
        share = mass_flux * sector / through[:, None]
        ideal = (whole.mass_flux / thin)[:, 0]
        results = {
            "drop": drop,
            "velocity": velocity,
            "velocity_ratio": velocity / (whole.velocity * thin),
            "mach": state.mach,
            "flow_share": share,
            "flow": share * flow[:, None],
            "discharge_coefficient": bench_mass / (ideal * curtain),
            "flow_area_coefficient": bench_mass / (ideal * passage),
            "closure": bench_mass / (through * gap),
            **measures,
        }
    return results, bias


def _normal(value: float, uncertainty: float, shape: tuple[int, ...], generator: np.random.Generator) -> Array:
    """Return normal samples; NaN where the value or its uncertainty is not known."""
    return value + uncertainty * generator.standard_normal(shape)
