"""Moist air and water against CoolProp, asked when the test runs.

How far seen: the library's humid-air model is a real-gas one, independent of CIPM-2007. It stands 3.8e-5
above CIPM-2007 throughout the range, for its own gas constant and molar mass of air.
"""

from __future__ import annotations

import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI

from portviz.air import moist_air_density, saturation_pressure


def humid_density(pressure: float, temperature: float, humidity: float) -> float:
    return 1.0 / HAPropsSI("Vha", "T", temperature, "P", pressure, "R", humidity)


@pytest.mark.parametrize("celsius", [15.0, 20.0, 27.0])
@pytest.mark.parametrize("pressure", [60e3, 85e3, 101325.0, 110e3])
@pytest.mark.parametrize("humidity", [0.0, 0.5, 1.0])
def test_density_over_the_stated_range(celsius: float, pressure: float, humidity: float) -> None:
    """1e-4 relative: more than twice the known offset."""
    ours = moist_air_density(pressure, 273.15 + celsius, humidity)
    assert ours == pytest.approx(humid_density(pressure, 273.15 + celsius, humidity), rel=1e-4)


def test_offset_is_the_known_one() -> None:
    """1.1993593 against 1.1993139 kg/m3 at 20 C, 101325 Pa, 50 %: 3.8e-5, and CIPM-2007 is the lower."""
    theirs = humid_density(101325.0, 293.15, 0.5)
    assert theirs == pytest.approx(1.1993593, abs=1e-6)
    assert theirs / moist_air_density(101325.0, 293.15, 0.5) - 1.0 == pytest.approx(3.8e-5, abs=0.3e-5)


@pytest.mark.parametrize("celsius", [10.0, 20.0, 25.0, 40.0])
def test_saturation_pressure_of_water(celsius: float) -> None:
    """1e-4 relative: the two formulations differ by 7e-5 at 10 C and by less above."""
    theirs = PropsSI("P", "T", 273.15 + celsius, "Q", 0, "Water")
    assert saturation_pressure(273.15 + celsius) == pytest.approx(theirs, rel=1e-4)
