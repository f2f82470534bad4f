"""Room air and isentropic flow from rest: limits, inverses, signs, precision, and errors."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portviz.air import (
    CRITICAL_PRESSURE_RATIO,
    GAMMA,
    MACH_TRUSTED,
    ZERO_CELSIUS,
    RoomAir,
    ideal_mass_flux,
    isentropic_drop,
    isentropic_state,
    moist_air_density,
    require_subsonic,
    saturation_pressure,
)
from portviz.errors import ChokedFlowError, PortvizError

P0, T0, R = 101325.0, 293.15, 287.1
RHO0 = P0 / (R * T0)
#: (gamma - 1) / gamma, the exponent of the temperature ratio.
A = 2.0 / 7.0
SONIC = math.sqrt(2.0 * GAMMA / (GAMMA + 1.0) * R * T0)

fractions = st.floats(1e-9, 0.4717)
signs = st.sampled_from([-1.0, 1.0])
stagnation = st.floats(60e3, 120e3)


# Room air.


def test_dry_air_is_a_perfect_gas_within_its_compressibility() -> None:
    """R of dry air, 8.314472 / 28.96546e-3 = 287.05 J/(kg K), times Z, 0.9996 at room conditions."""
    air = RoomAir(P0, T0, 0.0)
    assert air.gas_constant / (8.314472 / 28.96546e-3) == pytest.approx(0.9996, abs=1e-4)


def test_gas_constant_belongs_to_the_density() -> None:
    air = RoomAir(98e3, 300.0, 0.6)
    assert air.gas_constant * air.density * air.temperature == pytest.approx(98e3, rel=1e-15)
    assert air.density == moist_air_density(98e3, 300.0, 0.6)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(stagnation, st.floats(283.15, 313.15), st.floats(0.0, 0.99), st.floats(0.001, 0.5))
def test_damp_air_is_lighter(pressure: float, temperature: float, humidity: float, more: float) -> None:
    drier = moist_air_density(pressure, temperature, humidity)
    damper = moist_air_density(pressure, temperature, min(humidity + more, 1.0))
    assert damper < drier


@settings(max_examples=100, deadline=None, derandomize=True)
@given(stagnation, st.floats(283.15, 313.15), st.floats(0.0, 1.0), st.floats(1.0001, 1.2))
def test_density_rises_with_pressure_and_falls_with_temperature(
    pressure: float, temperature: float, humidity: float, factor: float
) -> None:
    here = moist_air_density(pressure, temperature, humidity)
    assert moist_air_density(pressure * factor, temperature, humidity) > here
    assert moist_air_density(pressure, temperature * factor, humidity) < here


def test_humidity_acts_in_proportion_to_vapour() -> None:
    """Vapour weighs 0.622 of dry air: the density falls by 0.378 e / p, to 1 % for the second-order terms."""
    share = 0.5 * saturation_pressure(T0) / P0
    fall = 1.0 - moist_air_density(P0, T0, 0.5) / moist_air_density(P0, T0, 0.0)
    assert fall == pytest.approx(0.378 * share, rel=0.01)


def test_saturation_pressure_rises_by_its_latent_heat() -> None:
    """Clausius and Clapeyron: d ln p / dT = L / (Rv T^2), with 2.45 MJ/kg and 461.5 J/(kg K) at 20 C; within 1 %."""
    slope = math.log(saturation_pressure(T0 + 0.05) / saturation_pressure(T0 - 0.05)) / 0.1
    assert slope == pytest.approx(2.454e6 / (461.5 * T0**2), rel=0.01)


def test_constants() -> None:
    """gamma = 1.4 as agreed for the whole project; Celsius zero by definition."""
    assert GAMMA == 1.4
    assert ZERO_CELSIUS == 273.15
    assert pytest.approx((5.0 / 6.0) ** 3.5, rel=1e-15) == CRITICAL_PRESSURE_RATIO
    assert 0.3 < MACH_TRUSTED < 1.0


# The isentropic state.


@settings(max_examples=200, deadline=None, derandomize=True)
@given(fractions, stagnation, st.floats(250.0, 350.0), signs)
def test_drop_is_the_inverse_of_the_state(fraction: float, pressure: float, temperature: float, sign: float) -> None:
    """1e-12 relative. Near choking the drop is steep in the velocity, not the other way: no digits are lost."""
    drop = sign * fraction * pressure
    state = isentropic_state(drop, pressure, temperature, R)
    assert isentropic_drop(state.velocity, pressure, temperature, R) == pytest.approx(drop, rel=1e-12)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.floats(1e-4, 0.999), stagnation, signs)
def test_state_is_the_inverse_of_the_drop(share: float, pressure: float, sign: float) -> None:
    velocity = sign * share * SONIC
    state = isentropic_state(isentropic_drop(velocity, pressure, T0, R), pressure, T0, R)
    assert state.velocity == pytest.approx(velocity, rel=1e-12)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(fractions, stagnation, st.floats(250.0, 350.0))
def test_energy_and_entropy_are_kept(fraction: float, pressure: float, temperature: float) -> None:
    """cp T + v^2 / 2 = cp T0, p / rho^gamma = p0 / rho0^gamma, M = v / sqrt(gamma R T)."""
    state = isentropic_state(fraction * pressure, pressure, temperature, R)
    static = (1.0 - fraction) * pressure / (state.density * R)
    assert static + state.velocity**2 * A / (2.0 * R) == pytest.approx(temperature, rel=1e-12)
    ratio = state.density * R * temperature / pressure
    assert ratio**GAMMA == pytest.approx(1.0 - fraction, rel=1e-12)
    assert state.velocity / math.sqrt(GAMMA * R) == pytest.approx(state.mach * math.sqrt(static), rel=1e-12)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(fractions, stagnation)
def test_reverse_flow_is_the_mirror_image(fraction: float, pressure: float) -> None:
    forth = isentropic_state(fraction * pressure, pressure, T0, R)
    back = isentropic_state(-fraction * pressure, pressure, T0, R)
    assert back.velocity == -forth.velocity
    assert back.mach == -forth.mach
    assert back.density == forth.density
    assert back.velocity < 0.0 < forth.velocity
    flux = ideal_mass_flux(-fraction * pressure, pressure, T0, R)
    assert flux == -ideal_mass_flux(fraction * pressure, pressure, T0, R)
    assert isentropic_drop(back.velocity, pressure, T0, R) == -isentropic_drop(forth.velocity, pressure, T0, R)


def test_no_drop_is_no_flow() -> None:
    state = isentropic_state(0.0, P0, T0, R)
    assert (state.velocity, state.mach) == (0.0, 0.0)
    assert state.density == pytest.approx(RHO0, rel=1e-15)
    assert isentropic_drop(0.0, P0, T0, R) == 0.0
    assert ideal_mass_flux(0.0, P0, T0, R) == 0.0


@pytest.mark.parametrize("drop", [1e-9, 1e-6, 1e-3, 1.0, 10.0])
def test_tiny_drops_keep_their_digits(drop: float) -> None:
    """Against the series in x = drop / p0 and a = (gamma - 1) / gamma.

    v^2 = 2 R T0 x (1 + (1 - a) x / 2 + (1 - a)(2 - a) x^2 / 6 + ...): the next term is below x^3 <= 1e-12, times 0.2.
    A difference 1 - (1 - x)^a taken as it is written would lose 1e-16 / x, at a pascal 1e-11 and at 1e-6 Pa 1e-5.
    """
    x = drop / P0
    square = 2.0 * R * T0 * x * (1.0 + (1.0 - A) * x / 2.0 + (1.0 - A) * (2.0 - A) * x**2 / 6.0)
    state = isentropic_state(drop, P0, T0, R)
    assert state.velocity**2 == pytest.approx(square, rel=2e-15 + x**3)
    assert state.density == pytest.approx(RHO0 * (1.0 - x / GAMMA), rel=1e-15 + x**2)
    assert state.mach == pytest.approx(math.sqrt(square / (GAMMA * R * T0)), rel=1e-14 + x)
    assert isentropic_drop(math.sqrt(square), P0, T0, R) == pytest.approx(drop, rel=4e-15 + x**3)


@pytest.mark.parametrize("velocity", [1e-6, 1e-3, 0.1, 1.0])
def test_tiny_velocities_keep_their_digits(velocity: float) -> None:
    """drop = rho0 v^2 / 2 (1 - M^2 / 4 + ...), the incompressible one in the limit; M^4 for the next terms."""
    mach = velocity / math.sqrt(GAMMA * R * T0)
    expected = 0.5 * RHO0 * velocity**2 * (1.0 - mach**2 / 4.0)
    assert isentropic_drop(velocity, P0, T0, R) == pytest.approx(expected, rel=4e-15 + mach**4)


def test_arrays_are_broadcast_and_as_one_by_one() -> None:
    drops = np.array([[-500.0, 0.0, 7000.0], [1.0, 20e3, 40e3]])
    pressures = np.array([[101325.0], [99e3]])
    state = isentropic_state(drops, pressures, T0, R)
    assert state.velocity.shape == state.mach.shape == state.density.shape == (2, 3)
    for row in range(2):
        for column in range(3):
            alone = isentropic_state(drops[row, column], pressures[row, 0], T0, R)
            assert state.velocity[row, column] == pytest.approx(alone.velocity, rel=1e-14)
            assert state.density[row, column] == pytest.approx(alone.density, rel=1e-14)
    assert isentropic_drop(state.velocity, pressures, T0, R) == pytest.approx(drops, rel=1e-12)


def test_nothing_in_nothing_out() -> None:
    assert isentropic_state([], P0, T0, R).velocity.shape == (0,)
    assert isentropic_drop([], P0, T0, R).shape == (0,)


def test_velocity_rises_with_drop_and_with_the_root_of_temperature() -> None:
    drops = np.linspace(1.0, 0.4717 * P0, 300)
    assert (np.diff(isentropic_state(drops, P0, T0, R).velocity) > 0.0).all()
    cold, hot = (isentropic_state(5e3, P0, temperature, R) for temperature in (T0, 4.0 * T0))
    assert hot.velocity == pytest.approx(2.0 * cold.velocity, rel=1e-14)
    assert hot.mach == pytest.approx(cold.mach, rel=1e-14)


def test_mass_flux_is_density_times_velocity() -> None:
    drops = np.array([10.0, 6974.5, 30e3])
    state = isentropic_state(drops, P0, T0, R)
    assert ideal_mass_flux(drops, P0, T0, R) == pytest.approx(state.density * state.velocity, rel=1e-15)


# Choking.


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("more", [1.0, 1.0 + 1e-9, 1.5, 2.2])
def test_a_drop_at_or_beyond_the_critical_one_chokes(sign: float, more: float) -> None:
    """The limit, (1 - 0.528282) x 101.325 kPa = 47.80 kPa, is named with the drop and where it is from."""
    drop = sign * (1.0 - CRITICAL_PRESSURE_RATIO) * P0 * more
    wanted = (
        f"pressure drop: a drop of {abs(drop) / 1e3:.2f} kPa from 101.33 kPa chokes the flow (the limit is 47.80 kPa); "
        "the velocity can't be found from it"
    )
    for function in (isentropic_state, ideal_mass_flux):
        with pytest.raises(ChokedFlowError, match=re.escape(wanted)):
            function(drop, P0, T0, R)


def test_a_drop_just_short_of_critical_is_taken() -> None:
    state = isentropic_state((1.0 - CRITICAL_PRESSURE_RATIO) * P0 * (1.0 - 1e-12), P0, T0, R)
    assert state.mach == pytest.approx(1.0, abs=1e-9)
    assert state.velocity == pytest.approx(SONIC, rel=1e-9)


def test_the_worst_of_many_drops_is_named() -> None:
    """Worst is the one furthest beyond its own limit: 60 kPa of 120 by 3.4 kPa, 50 kPa of 90 by 7.5."""
    wanted = "station 30: a drop of 50.00 kPa from 90.00 kPa chokes the flow (the limit is 42.45 kPa)"
    with pytest.raises(ChokedFlowError, match=re.escape(wanted)):
        require_subsonic([10e3, 60e3, 50e3, -20e3], [100e3, 120e3, 90e3, 100e3], "station 30")


def test_subsonic_drops_pass_in_silence() -> None:
    assert require_subsonic([10e3, -20e3, 0.0], P0, "station") is None
    assert require_subsonic([], P0, "station") is None


def test_a_drop_that_is_no_number_does_not_pass() -> None:
    with pytest.raises(ChokedFlowError, match="a drop of nan kPa"):
        isentropic_state([1000.0, math.nan], P0, T0, R)


@pytest.mark.parametrize("velocity", [SONIC, -SONIC, 1.2 * SONIC, 1e6])
def test_a_sonic_velocity_has_no_drop(velocity: float) -> None:
    """The limit is sqrt(2 gamma / (gamma + 1) R T0), 313.4 m/s for air of 20 C."""
    wanted = f"a velocity of {abs(velocity):.1f} m/s is sonic or faster (the limit is 313.4 m/s); flow is choked"
    with pytest.raises(ChokedFlowError, match=re.escape(wanted)):
        isentropic_drop([10.0, velocity], P0, T0, R)


def test_a_velocity_that_is_no_number_does_not_pass() -> None:
    with pytest.raises(ChokedFlowError, match="a velocity of nan m/s"):
        isentropic_drop([10.0, math.nan], P0, T0, R)


def test_choked_flow_is_an_error_of_ours_and_of_value() -> None:
    assert issubclass(ChokedFlowError, PortvizError)
    assert issubclass(ChokedFlowError, ValueError)
