"""Standard uncertainty of every result of a reduction, after [JCGM-100] and, where lines bend, [JCGM-101]."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from portviz.distribution.area_uncertainty import AreaUncertainty, area_uncertainty
from portviz.distribution.given import run_place
from portviz.distribution.propagation import COMMON, Spread, Weights, common_changes, reading_slopes
from portviz.distribution.reduce import Reduction
from portviz.distribution.scatter import ReadingUncertainty, reading_uncertainty
from portviz.job.model import Array, Index

LINEAR, MONTE_CARLO = "linear", "monte-carlo"
#: A result nearer to zero than so many of its standard uncertainties is no place for a linear law [-].
_FAR_FROM_ZERO = 4.0
#: Samples of a group where the linear law does not hold: for all its results, and for its pattern's alone.
SAMPLES, PATTERN_SAMPLES = 5_000, 2_000


@dataclass(frozen=True)
class Uncertainty:
    """Uncertainties of the results at K stations in G groups; NaN where what they hang on is not known.

    Parameters
    ----------
    readings : ReadingUncertainty
    method : tuple of str, length G
        "linear" or "monte-carlo".
    drop, velocity, velocity_ratio, mach, flow_share, flow : Spread
        At the stations, N = K.
    bench_flow, discharge_coefficient, flow_area_coefficient, closure : Spread
        Of the groups, N = G.
    mean_velocity, coefficient_of_variation, uniformity_index, bias_magnitude, bias_angle_deg : Spread
        Of the groups, N = G.
    bias : ndarray, shape (G, 2, 2)
        Covariance of the bias's two parts from what errs for itself [-].
    bias_common : ndarray of complex, shape (4, G)
        Its change for one standard uncertainty of each common factor.
    ideal_velocity, ideal_flow : ndarray, shape (4, G)
        Relative change of the whole test pressure's isentropic velocity, and of its volume flow through one area,
        for one standard uncertainty of each common factor [-].
    areas : AreaUncertainty
    """

    readings: ReadingUncertainty
    method: tuple[str, ...]
    drop: Spread
    velocity: Spread
    velocity_ratio: Spread
    mach: Spread
    flow_share: Spread
    flow: Spread
    bench_flow: Spread
    discharge_coefficient: Spread
    flow_area_coefficient: Spread
    closure: Spread
    mean_velocity: Spread
    coefficient_of_variation: Spread
    uniformity_index: Spread
    bias_magnitude: Spread
    bias_angle_deg: Spread
    bias: Array
    bias_common: Array
    ideal_velocity: Array
    ideal_flow: Array
    areas: AreaUncertainty


#: Results of the stations and of the groups, as fields of `Uncertainty`.
STATION_RESULTS = ("drop", "velocity", "velocity_ratio", "mach", "flow_share", "flow")
GROUP_RESULTS = (
    "discharge_coefficient",
    "flow_area_coefficient",
    "closure",
    "mean_velocity",
    "coefficient_of_variation",
    "uniformity_index",
    "bias_magnitude",
    "bias_angle_deg",
)


def reduction_uncertainty(
    reduction: Reduction, *, samples: int | None = None, runs: Iterable[int | str] | None = None
) -> Uncertainty:
    """Return the uncertainties of a reduction.

    Parameters
    ----------
    reduction : Reduction
    samples : int, optional
        Simulate all groups with so many samples. Without it the law is linear, and groups where it
        does not hold (a drop, bias or variation near zero) are simulated with `SAMPLES`; with 0 none is.
    runs : iterable of int or str, optional
        Places or names of the runs whose groups may be simulated; all of them by default.

    Raises
    ------
    UsageError
        If there is no such run.

    Notes
    -----
    Only what the job states or its repeats show is counted: accuracy or scatter of the readings,
    resolution, the bench flow's accuracy, the uncertainties of coefficient, density, test pressure,
    lift and lengths. What is not stated counts as exact.
    """
    uncertainty = linear_uncertainty(reduction)
    if samples == 0:
        return uncertainty
    if samples:
        groups, patterns = np.arange(len(reduction.starts)), np.array([], dtype=np.intp)
    else:
        groups, patterns = bent_groups(reduction, uncertainty)
    if runs is not None:
        wanted = np.isin(reduction.group_run, [run_place(reduction, run) for run in runs])
        groups, patterns = groups[wanted[groups]], patterns[wanted[patterns]]
    if not groups.size and not patterns.size:
        return uncertainty
    from portviz.distribution.monte_carlo import simulated, simulated_patterns

    uncertainty = simulated_patterns(reduction, uncertainty, patterns, PATTERN_SAMPLES)
    return simulated(reduction, uncertainty, groups, samples or SAMPLES)


@np.errstate(all="ignore")
def linear_uncertainty(reduction: Reduction) -> Uncertainty:
    """Return the uncertainties by the linear law of propagation, [JCGM-100] 5.1 and 5.2."""
    stations, group = reduction.stations, reduction.station_group
    readings = reading_uncertainty(reduction)
    areas = area_uncertainty(reduction.job, reduction.areas, reduction.profiles)
    weights, slopes, common = Weights(reduction), reading_slopes(reduction), common_changes(reduction)
    flow = bench_flow_uncertainty(reduction)
    with np.errstate(divide="ignore", invalid="ignore"):
        flow_part = flow / reduction.bench_flow
        mass = readings.mean * slopes.mass_flux
        own = (weights.mass_part * mass) ** 2
        both = weights.each(np.add.reduceat(own, reduction.starts))
        share_own = np.sqrt(own * (1.0 - 2.0 * stations.flow_share) + stations.flow_share**2 * both)
    no_dimensions, nothing, no_group = np.zeros((1, len(group))), np.zeros(len(group)), np.zeros(len(flow))

    def at_stations(slope: Array, changes: list[Array]) -> Spread:
        return Spread(readings.mean * slope, nothing, np.concatenate([changes, no_dimensions]))

    total = [weights.each(weights.change(weights.mass_part, each.mass_flux)) for each in common]
    share_common = [
        weights.mass_part * each.mass_flux - stations.flow_share * change
        for each, change in zip(common, total, strict=True)
    ]
    share = Spread(share_own, nothing, np.concatenate([share_common, no_dimensions]))
    bench = reduction.bench_flow[group]
    station_flow = Spread(
        np.abs(bench) * share.independent, np.abs(stations.flow_share) * flow[group], bench * share.common
    )
    turned = np.exp(-1j * np.radians(reduction.bias_angle_deg))
    along = weights.each(turned) * weights.bias
    bias_common = np.array([weights.change(weights.bias, each.mass_flux) for each in common] + [0.0 * turned])
    per_degree = np.degrees(1.0) / np.where(reduction.bias_magnitude > 0.0, reduction.bias_magnitude, np.nan)

    def of_group(weight: Array, changed: str) -> Spread:
        uncertain = readings.mean * getattr(slopes, changed)
        moved = [weights.change(weight, getattr(each, changed)) for each in common]
        return Spread(weights.spread(weight, uncertain), no_group, np.array([*moved, no_group]))

    def coefficient(value: Array, area: Array, through: bool) -> Spread:
        """Of a bench flow over a flow by an area: by readings, or by the ideal flux."""
        size = np.abs(value)
        own = weights.spread(weights.mass_part, mass) if through else no_group
        moved = [
            each.bench_mass - (weights.change(weights.mass_part, each.mass_flux) if through else each.ideal_flux)
            for each in common
        ]
        return Spread(size * own, size * np.hypot(flow_part, area[1]), value * np.array([*moved, -area[0]]))

    return Uncertainty(
        readings=readings,
        method=(LINEAR,) * len(reduction.starts),
        drop=_drop_spread(at_stations(slopes.drop, [each.drop for each in common]), reduction, readings),
        velocity=at_stations(slopes.velocity, [each.velocity for each in common]),
        velocity_ratio=at_stations(slopes.velocity_ratio, [each.velocity_ratio for each in common]),
        mach=at_stations(slopes.mach, [each.mach for each in common]),
        flow_share=share,
        flow=station_flow,
        bench_flow=Spread(no_group, flow, np.zeros((len(COMMON), len(flow)))),
        discharge_coefficient=coefficient(reduction.discharge_coefficient, areas.curtain, through=False),
        flow_area_coefficient=coefficient(reduction.flow_area_coefficient, areas.flow, through=False),
        closure=coefficient(reduction.closure, areas.gap, through=True),
        mean_velocity=of_group(weights.mean, "velocity"),
        coefficient_of_variation=of_group(weights.variation, "velocity"),
        uniformity_index=of_group(weights.uniformity, "velocity"),
        bias_magnitude=of_group(along.real, "mass_flux"),
        bias_angle_deg=of_group(along.imag * weights.each(per_degree), "mass_flux"),
        bias=_covariance(weights, mass),
        bias_common=bias_common,
        ideal_velocity=np.array([*(each.ideal_velocity for each in common), no_group]),
        ideal_flow=np.array([*(each.ideal_flux - each.bench_mass for each in common), no_group]),
        areas=areas,
    )


def result_values(reduction: Reduction, name: str) -> Array:
    """Return the values of a result by its name in `STATION_RESULTS` or `GROUP_RESULTS`."""
    if name in STATION_RESULTS:
        return np.asarray(getattr(reduction.stations, name))
    if name == "mean_velocity":
        return reduction.measures.mean
    owner = reduction.measures if name in ("coefficient_of_variation", "uniformity_index") else reduction
    return np.asarray(getattr(owner, name))


def bench_flow_uncertainty(reduction: Reduction) -> Array:
    """Return the standard uncertainty of each group's bench flow [m3/s], shape (G,); NaN where not stated."""
    bench = reduction.job.bench
    # Where a leak was taken off, both flows were measured.
    measured, leak = np.abs(reduction.bench_flow + reduction.leak), np.abs(reduction.leak)
    if bench.flow_accuracy_part is not None:
        return np.asarray(bench.flow_accuracy_part * np.hypot(measured, leak))
    if bench.flow_accuracy is not None:
        flows = np.where(np.isfinite(measured), np.hypot(1.0, reduction.leak_scale), np.nan)
        return np.asarray(bench.flow_accuracy * flows)
    return np.full(len(reduction.starts), np.nan)


def _drop_spread(linear: Spread, reduction: Reduction, readings: ReadingUncertainty) -> Spread:
    """Return the spread of the drops; that of a velocity's square does not vanish where the velocity does."""
    if reduction.job.gauge.kind != "velocity":
        return linear
    at_rest = reduction.stations.density * readings.mean**2 / np.sqrt(2.0)
    return Spread(np.hypot(linear.independent, at_rest), linear.stated, linear.common)


def _covariance(weights: Weights, mass: Array) -> Array:
    parts = np.stack([weights.bias.real, weights.bias.imag]) * mass
    return np.array(
        [[np.add.reduceat(first * second, weights.starts) for second in parts] for first in parts]
    ).transpose(2, 0, 1)


@np.errstate(all="ignore")
def bent_groups(reduction: Reduction, uncertainty: Uncertainty) -> tuple[Index, Index]:
    """Return the groups where a drop lies too near to zero for the linear law, and those where a measure does.

    Measures of the pattern (bias, variation, uniformity) have a kink where the pattern is even; the stations
    themselves may be known well there.
    """
    # A gauge that reads velocity bends nowhere: its velocities are its readings.
    near = np.abs(reduction.stations.drop) < _FAR_FROM_ZERO * uncertainty.drop.independent
    near &= reduction.job.gauge.kind != "velocity"
    bent = np.logical_or.reduceat(near, reduction.starts)
    even = np.zeros(len(bent), dtype=bool)
    known = np.isfinite(np.add.reduceat(uncertainty.readings.mean, reduction.starts))
    known &= np.isfinite(reduction.measures.mean)
    for value, spread in (
        (reduction.measures.coefficient_of_variation, uncertainty.coefficient_of_variation),
        (1.0 - reduction.measures.uniformity_index, uncertainty.uniformity_index),
        (reduction.bias_magnitude, uncertainty.bias_magnitude),
    ):
        # An exactly even pattern has no slope at all.
        even |= ~(np.abs(value) >= _FAR_FROM_ZERO * spread.independent)
    return np.flatnonzero(bent & known), np.flatnonzero(even & ~bent & known)
