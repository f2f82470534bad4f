"""Propagation, degrees of freedom and coverage against the GUM's own examples and the library `uncertainties`.

[JCGM-100] Guide to the expression of uncertainty in measurement: H.1 (end gauge), inputs from memory; [JCGM-101]
9.2 (sums of four equal quantities), values from memory, the rectangular one in closed form; ISO 5725: repeatability
limit 2.8 s_r, as told by secondary sources. The velocity example is the pitot form v = K sqrt(2 dp / rho).
"""

import numpy as np
import pytest
from uncertainties import correlation_matrix, ufloat, umath

from portviz.distribution.reduce import reduce_job
from portviz.distribution.uncertainty import linear_uncertainty
from portviz.distribution.verdicts import effective_freedom, expanded
from portviz.job.read import read_job


def test_gum_h1_degrees_of_freedom_and_quantile():
    """Parts 25, 9.7, 2.9, 16.6 nm with 18, 25.6, 50, 2 degrees of freedom: 16.7, and t99(16) = 2.92."""
    parts, freedoms = np.array([25.0, 9.7, 2.9, 16.6]), np.array([18.0, 25.6, 50.0, 2.0])
    # H.1 rounds the combined uncertainty to 32 nm (1002 nm2) before it divides.
    assert float(effective_freedom(parts, freedoms)) == pytest.approx(16.729, rel=3e-2)
    assert float(expanded(1.0, 16.0, coverage=0.99)) == pytest.approx(2.92078, rel=1e-5)


def test_jcgm_101_four_normal_quantities():
    """The sum of four N(0, 1) is covered by +-3.92 at 95 % (9.2.2)."""
    assert float(expanded(2.0, np.inf)) == pytest.approx(3.91993, rel=1e-5)


def test_iso_5725_repeatability_limit():
    """The difference of two single readings stays below 1.96 sqrt(2) s_r, for 2.8 in round numbers."""
    s_r = np.std([151.2, 150.8, 151.5, 150.9, 151.1], ddof=1)
    assert s_r == pytest.approx(0.2738613, rel=1e-6)
    assert float(expanded(np.sqrt(2.0) * s_r, np.inf)) == pytest.approx(0.759091, rel=1e-5)
    assert 2.8 * s_r == pytest.approx(0.766812, rel=1e-5)


def test_pitot_example_by_the_library_is_what_the_sensitivities_give():
    """K 0.99 +- 0.005, dp 250 +- 2.5 Pa, rho 1.2 +- 0.006: v = 20.20829, u = 0.1522445 m/s."""
    v = ufloat(0.99, 0.005) * umath.sqrt(2.0 * ufloat(250.0, 2.5) / ufloat(1.2, 0.006))
    assert v.nominal_value == pytest.approx(20.20829038, rel=1e-9)
    assert v.std_dev == pytest.approx(0.1522444922, rel=1e-8)
    # The factors a velocity is multiplied with here: coefficient, half of drop and of density.
    relative = np.sqrt((0.005 / 0.99) ** 2 + 0.25 * (2.5 / 250.0) ** 2 + 0.25 * (0.006 / 1.2) ** 2)
    assert v.std_dev / v.nominal_value == pytest.approx(relative, rel=1e-8)


@pytest.mark.parametrize("example", ["sidecar_intake", "tractor_exhaust"])
def test_shares_bias_and_measures_by_the_library(examples, example):
    """One lift, every station's drop an uncertain number, carried through the formulas of the definitions."""
    reduction = reduce_job(read_job(examples / example))
    known = linear_uncertainty(reduction)
    group = 5
    part, room = reduction.stations_of(group), reduction.job.bench.air
    p0, coefficient = reduction.upstream_pressure[group], reduction.job.gauge.coefficient
    drops = [
        ufloat(value, u) for value, u in zip(reduction.stations.drop[part], known.readings.mean[part], strict=True)
    ]
    heat = 2.0 * 1.4 / 0.4 * room.gas_constant * room.temperature
    velocity = [coefficient * umath.sqrt(heat * (1.0 - (1.0 - drop / p0) ** (0.4 / 1.4))) for drop in drops]
    density = [p0 / (room.gas_constant * room.temperature) * (1.0 - drop / p0) ** (1.0 / 1.4) for drop in drops]
    sector = reduction.stations.sector_deg[part] / 360.0
    flux = [v * d * s for v, d, s in zip(velocity, density, sector, strict=True)]
    total = sum(flux)
    share = [each / total for each in flux]
    angle = np.radians(reduction.stations.angle_deg[part])
    east = sum(each * np.cos(turn) for each, turn in zip(share, angle, strict=True))
    north = sum(each * np.sin(turn) for each, turn in zip(share, angle, strict=True))
    mean = sum(v * s for v, s in zip(velocity, sector, strict=True))
    spread = umath.sqrt(sum((v - mean) ** 2 * s for v, s in zip(velocity, sector, strict=True))) / mean
    uniformity = 1.0 - sum((v - mean if v >= mean else mean - v) * s for v, s in zip(velocity, sector, strict=True)) / (
        2.0 * mean
    )
    assert known.velocity.independent[part] == pytest.approx([each.std_dev for each in velocity], rel=1e-6)
    assert known.flow_share.independent[part] == pytest.approx([each.std_dev for each in share], rel=1e-6)
    assert known.mean_velocity.independent[group] == pytest.approx(mean.std_dev, rel=1e-6)
    assert known.coefficient_of_variation.independent[group] == pytest.approx(spread.std_dev, rel=1e-6)
    assert known.uniformity_index.independent[group] == pytest.approx(uniformity.std_dev, rel=1e-6)
    magnitude = umath.sqrt(east**2 + north**2)
    assert known.bias_magnitude.independent[group] == pytest.approx(magnitude.std_dev, rel=1e-6)
    direction = umath.degrees(umath.atan2(north, east))
    assert known.bias_angle_deg.independent[group] == pytest.approx(direction.std_dev, rel=1e-6)
    covariance = known.bias[group]
    assert np.sqrt(np.diag(covariance)) == pytest.approx([east.std_dev, north.std_dev], rel=1e-6)
    correlation = covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1])
    assert correlation == pytest.approx(correlation_matrix([east, north])[0, 1], abs=1e-6)


def test_jcgm_101_four_rectangular_quantities():
    """The sum of four rectangular quantities of unit variance: +-2 sqrt(3) (2 - 0.6^(1/4)), 3.88 at 95 % (9.2.3)."""
    dice = np.random.default_rng(5)
    total = dice.uniform(-np.sqrt(3.0), np.sqrt(3.0), size=(4, 1_000_000)).sum(axis=0)
    closed = 2.0 * np.sqrt(3.0) * (2.0 - 0.6**0.25)
    assert closed == pytest.approx(3.87941, rel=1e-6)
    assert np.quantile(np.abs(total), 0.95) == pytest.approx(closed, rel=3e-3)


def test_shares_and_bias_by_half_a_million_draws(examples):
    """The definitions' formulas in plain numpy, drops drawn at random: shares, bias and its two parts within 1 %."""
    reduction = reduce_job(read_job(examples / "sidecar_intake"))
    known = linear_uncertainty(reduction)
    group = 6
    part, room = reduction.stations_of(group), reduction.job.bench.air
    dice = np.random.default_rng(8)
    p0 = reduction.upstream_pressure[group]
    sector = reduction.stations.sector_deg[part] / 360.0
    turn = np.exp(1j * np.radians(reduction.stations.angle_deg[part]))
    heat = 7.0 * room.gas_constant * room.temperature
    shares, biases = [], []
    for _ in range(10):
        noise = known.readings.mean[part] * dice.standard_normal((50_000, len(sector)))
        ratio = 1.0 - (reduction.stations.drop[part] + noise) / p0
        flux = np.sqrt(heat * (1.0 - ratio ** (0.4 / 1.4))) * ratio ** (1.0 / 1.4) * sector
        share = flux / flux.sum(axis=1, keepdims=True)
        shares.append(share)
        biases.append(share @ turn)
    share, bias = np.concatenate(shares), np.concatenate(biases)
    assert known.flow_share.independent[part] == pytest.approx(share.std(axis=0), rel=0.01)
    assert known.bias_magnitude.independent[group] == pytest.approx(np.abs(bias).std(), rel=0.01)
    assert np.diag(known.bias[group]) == pytest.approx([bias.real.var(), bias.imag.var()], rel=0.02)
