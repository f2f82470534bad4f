"""Heywood, Internal Combustion Engine Fundamentals, eqs C.8 and C.9: mass flow through an orifice.

How far seen: number and text of the equations are from memory; the same form was read in public documentation of
a flow restriction's model and in public scripts. The values were computed from them apart from this package, with
gamma = 1.4, R = 287.055 J/(kg K) and 1 inH2O = 249.08891 Pa, to the decimals given.
"""

from __future__ import annotations

import math

import pytest

from portviz.air import CRITICAL_PRESSURE_RATIO, ideal_mass_flux

P0, T0, R = 101325.0, 293.15, 287.055
INCH = 249.08891
#: Discharge coefficient x area [m2].
EFFECTIVE_AREA = 1e-3


@pytest.mark.parametrize(("inches", "flow"), [(10, 0.07642350), (28, 0.12472899), (60, 0.17408419)])
def test_eq_c_8_subsonic(inches: int, flow: float) -> None:
    assert EFFECTIVE_AREA * ideal_mass_flux(inches * INCH, P0, T0, R) == pytest.approx(flow, abs=5.1e-9)


def test_eq_c_9_choked_is_the_limit_of_eq_c_8() -> None:
    """0.23917148 kg/s, and 0.6847314564 for the flux times sqrt(R T0) / p0; the flux is flat at its limit."""
    flux = ideal_mass_flux((1.0 - CRITICAL_PRESSURE_RATIO) * P0 * (1.0 - 1e-12), P0, T0, R)
    assert EFFECTIVE_AREA * flux == pytest.approx(0.23917148, abs=5.1e-9)
    assert flux * math.sqrt(R * T0) / P0 == pytest.approx(0.6847314564, abs=5.1e-11)


@pytest.mark.parametrize(
    ("low", "high", "root", "suction", "blowing"),
    [
        (10, 28, 1.673320, 1.632076, 1.670672),
        (25, 28, 1.058301, 1.053816, 1.058021),
        (28, 60, 1.463850, 1.395699, 1.459737),
    ],
)
def test_flow_at_another_test_pressure(low: int, high: int, root: float, suction: float, blowing: float) -> None:
    """Ratio of mass flows at one coefficient: the square root of the pressures overstates it.

    Suction holds the upstream stagnation pressure, blowing the downstream pressure (at one T0). Six decimals.
    """
    assert math.sqrt(high / low) == pytest.approx(root, abs=5.1e-7)
    sucked = [ideal_mass_flux(inches * INCH, P0, T0, R) for inches in (low, high)]
    blown = [ideal_mass_flux(inches * INCH, P0 + inches * INCH, T0, R) for inches in (low, high)]
    assert sucked[1] / sucked[0] == pytest.approx(suction, abs=5.1e-7)
    assert blown[1] / blown[0] == pytest.approx(blowing, abs=5.1e-7)
