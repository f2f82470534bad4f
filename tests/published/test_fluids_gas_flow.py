"""Compressible flow against the `fluids` library, asked when the test runs.

How far seen: the library's functions were read and run. Its coefficients for gas flow through a relief device
(API 520) hold the same isentropic relations as an orifice's mass flow, in other clothes:
subcritical m = F2 sqrt(2 rho0 (p0 - p)) per unit of area, choked m = C / 0.03948 x p0 / sqrt(R T0).

Tolerance: 1e-12 relative, for the order of operations, where nothing else is said.
"""

from __future__ import annotations

import math

import fluids
import pytest

from portviz.air import CRITICAL_PRESSURE_RATIO, GAMMA, ideal_mass_flux, isentropic_state, require_subsonic
from portviz.errors import ChokedFlowError

P0, T0, R = 101325.0, 293.15, 287.055
INCH = 249.08891
drops = pytest.mark.parametrize("inches", [0.5, 5, 10, 25, 28, 60, 150, 190])


@drops
def test_mass_flux_is_the_subcritical_one(inches: float) -> None:
    drop = inches * INCH
    factor = fluids.API520_F2(k=GAMMA, P1=P0, P2=P0 - drop)
    expected = factor * math.sqrt(2.0 * P0 / (R * T0) * drop)
    # F2 is built from 1 - r^(2/7) and 1 - r, which lose digits as the drop becomes small: 1e-16 p0 / drop.
    assert ideal_mass_flux(drop, P0, T0, R) == pytest.approx(expected, rel=1e-15 * P0 / drop + 1e-12)


@drops
def test_stagnation_temperature_and_pressure_come_back(inches: float) -> None:
    """Static state and velocity of the drop, brought to rest by the library, are p0 and T0 again."""
    state = isentropic_state(inches * INCH, P0, T0, R)
    static = (P0 - inches * INCH) / (state.density * R)
    heat_capacity = GAMMA / (GAMMA - 1.0) * R
    back = fluids.T_stagnation_ideal(T=static, V=float(state.velocity), Cp=heat_capacity)
    assert back == pytest.approx(T0, rel=1e-12)
    assert fluids.P_stagnation(P=P0 - inches * INCH, T=static, Tst=T0, k=GAMMA) == pytest.approx(P0, rel=1e-12)


@drops
def test_mach_number_is_velocity_over_speed_of_sound(inches: float) -> None:
    """The library's gas constant is 8.31446 J/(mol K): the molar mass is chosen to give our R."""
    state = isentropic_state(inches * INCH, P0, T0, R)
    static = (P0 - inches * INCH) / (state.density * R)
    sound = fluids.c_ideal_gas(T=float(static), k=GAMMA, MW=1e3 * 8.31446261815324 / R)
    assert state.velocity / sound == pytest.approx(state.mach, rel=1e-12)


def test_critical_pressure_and_temperature() -> None:
    assert fluids.P_critical_flow(P=1.0, k=GAMMA) == pytest.approx(CRITICAL_PRESSURE_RATIO, rel=1e-14)
    brink = isentropic_state((1.0 - CRITICAL_PRESSURE_RATIO) * P0 * (1.0 - 1e-12), P0, T0, R)
    static = CRITICAL_PRESSURE_RATIO * P0 / (brink.density * R)
    # The state lies 1e-12 short of critical.
    assert static == pytest.approx(fluids.T_critical_flow(T=T0, k=GAMMA), rel=1e-11)


def test_choked_limit_of_the_mass_flux() -> None:
    """Near the critical ratio the flux is flat, so that 1e-12 short of it costs 1e-24 of the flux."""
    found = ideal_mass_flux((1.0 - CRITICAL_PRESSURE_RATIO) * P0 * (1.0 - 1e-12), P0, T0, R)
    expected = fluids.API520_C(GAMMA) / 0.03948 * P0 / math.sqrt(R * T0)
    assert found == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("ratio", [0.4, 0.52, 0.5282, 0.5283, 0.6, 0.99])
def test_choked_where_the_library_says_so(ratio: float) -> None:
    if fluids.is_critical_flow(P1=P0, P2=ratio * P0, k=GAMMA):
        with pytest.raises(ChokedFlowError, match="chokes the flow"):
            require_subsonic((1.0 - ratio) * P0, P0, "flow.csv")
    else:
        assert isentropic_state((1.0 - ratio) * P0, P0, T0, R).mach < 1.0
