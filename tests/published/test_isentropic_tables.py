"""Tables of isentropic flow of air, gamma = 7/5.

How far seen: Mach 0.1, 0.2, 0.5 and 1.0 agree with two printed 7/5 tables that could be read (a data book of
aeronautics, tables A4.1 and A4.2, and a textbook's table A.1). NACA Report 1135, table I, for which the row of
Mach 0.3 stands too, is from memory. Each ratio was also computed from its closed form apart from this package.

Tolerance: half a unit of the last digit printed, and a little for the rounding of what goes in.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from portviz.air import (
    CRITICAL_PRESSURE_RATIO,
    GAMMA,
    ideal_mass_flux,
    isentropic_drop,
    isentropic_state,
)

P0, T0, R = 101325.0, 288.15, 287.055
RHO0 = P0 / (R * T0)
#: Mach, p/pt, rho/rhot, T/Tt, A/A*.
ROWS = [
    (0.1, 0.993031, 0.995017, 0.998004, 5.82183),
    (0.2, 0.972497, 0.980277, 0.992063, 2.96352),
    (0.3, 0.939470, 0.956380, 0.982318, 2.03507),
    (0.5, 0.843019, 0.885170, 0.952381, 1.33984),
]
row = pytest.mark.parametrize(("mach", "pressure", "density", "temperature", "area"), ROWS)
#: Just short of choking, where subsonic relations still hold.
BRINK = (1.0 - CRITICAL_PRESSURE_RATIO) * P0 * (1.0 - 1e-12)


def speed(mach: float, temperature_ratio: float) -> float:
    return mach * math.sqrt(GAMMA * R * T0 * temperature_ratio)


@row
def test_pressure_ratio_of_a_velocity(
    mach: float, pressure: float, density: float, temperature: float, area: float
) -> None:
    """The velocity of the Mach number at the static temperature belongs to the table's p/pt."""
    exact = 1.0 / (1.0 + 0.2 * mach**2)
    assert exact == pytest.approx(temperature, abs=5.1e-7)
    drop = isentropic_drop(speed(mach, exact), P0, T0, R)
    assert 1.0 - drop / P0 == pytest.approx(pressure, abs=5.1e-7)


@row
def test_state_of_a_pressure_ratio(
    mach: float, pressure: float, density: float, temperature: float, area: float
) -> None:
    """From the printed p/pt: Mach number, density, velocity.

    Half a unit in p/pt moves the Mach number by 5e-7 / (gamma M p/pt), at Mach 0.1 by 3.6e-6.
    """
    state = isentropic_state((1.0 - pressure) * P0, P0, T0, R)
    assert state.mach == pytest.approx(mach, abs=4e-6)
    assert state.density / RHO0 == pytest.approx(density, abs=1.1e-6)
    assert state.velocity == pytest.approx(speed(mach, temperature), rel=4e-5)


@row
def test_velocity_over_mach_is_the_local_speed_of_sound(
    mach: float, pressure: float, density: float, temperature: float, area: float
) -> None:
    """a^2 = gamma R T, with T from p and rho of the same state: consistent to rounding."""
    state = isentropic_state((1.0 - pressure) * P0, P0, T0, R)
    static = pressure * P0 / (state.density * R)
    assert static / T0 == pytest.approx(temperature, abs=1.5e-6)
    assert state.velocity / state.mach == pytest.approx(math.sqrt(GAMMA * R * static), rel=1e-12)


@row
def test_area_over_sonic_area(mach: float, pressure: float, density: float, temperature: float, area: float) -> None:
    """A/A* is the mass flux at the critical ratio over that of the Mach number; five decimals.

    The exact Mach number is used: from the rounded p/pt, A/A* would move by 2e-4 at Mach 0.1.
    """
    drop = isentropic_drop(speed(mach, 1.0 / (1.0 + 0.2 * mach**2)), P0, T0, R)
    ratio = ideal_mass_flux(BRINK, P0, T0, R) / ideal_mass_flux(drop, P0, T0, R)
    assert ratio == pytest.approx(area, abs=5.1e-6)


def test_critical_pressure_ratio() -> None:
    """(2 / (gamma + 1))^(gamma / (gamma - 1)): 0.528282 printed for Mach 1; ten digits from the closed form."""
    assert pytest.approx(0.528282, abs=5e-7) == CRITICAL_PRESSURE_RATIO
    assert pytest.approx(0.5282817877, abs=5e-11) == CRITICAL_PRESSURE_RATIO


def test_state_on_the_brink_of_choking_is_the_row_of_mach_1() -> None:
    state = isentropic_state(BRINK, P0, T0, R)
    assert state.mach == pytest.approx(1.0, abs=1e-9)
    assert state.density / RHO0 == pytest.approx(0.633938, abs=5.1e-7)
    assert CRITICAL_PRESSURE_RATIO * P0 / (state.density * R * T0) == pytest.approx(0.833333, abs=5.1e-7)


def test_mass_flux_is_greatest_at_mach_1() -> None:
    drops = np.linspace(0.01, 1.0, 400) * BRINK
    flux = ideal_mass_flux(drops, P0, T0, R)
    assert (np.diff(flux) > 0.0).all()


@pytest.mark.parametrize(
    ("inches", "ratio", "mach", "velocity", "error", "flux_error"),
    [
        (10, 0.975417, 0.188903, 64.05469, -0.442, 1.344),
        (28, 0.931167, 0.320820, 108.06705, -1.256, 3.905),
        (60, 0.852501, 0.482959, 160.64445, -2.762, 8.978),
    ],
)
def test_what_the_incompressible_formula_would_miss(
    inches: int, ratio: float, mach: float, velocity: float, error: float, flux_error: float
) -> None:
    """Bench pressures at 288.15 K, computed apart from this package from the closed forms; digits as given.

    sqrt(2 dp / rho0) falls short by 1/(4 gamma) of dp/p0 to leading order, the mass flux that goes with it is
    3/(4 gamma) too large; both to second order, for which (dp/p0)^2 is allowed.
    """
    drop = inches * 249.08891
    state = isentropic_state(drop, P0, T0, R)
    assert 1.0 - drop / P0 == pytest.approx(ratio, abs=5e-7)
    assert state.mach == pytest.approx(mach, abs=5.1e-7)
    assert state.velocity == pytest.approx(velocity, abs=5.1e-6)
    plain = math.sqrt(2.0 * drop / RHO0)
    assert 100.0 * (plain / state.velocity - 1.0) == pytest.approx(error, abs=5.1e-4)
    too_much = RHO0 * plain / ideal_mass_flux(drop, P0, T0, R) - 1.0
    assert 100.0 * too_much == pytest.approx(flux_error, abs=5.1e-4)
    x = drop / P0
    assert plain / state.velocity - 1.0 == pytest.approx(-x / (4.0 * GAMMA), abs=x**2)
    assert too_much == pytest.approx(3.0 * x / (4.0 * GAMMA), abs=x**2)
