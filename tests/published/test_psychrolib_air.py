"""Moist air against PsychroLib, asked when the test runs.

How far seen: the library takes moist air for a mixture of ideal gases, so that it leaves out the
compressibility and the enhancement factor of CIPM-2007, a few parts in ten thousand.
"""

from __future__ import annotations

import psychrolib
import pytest

from portviz.air import moist_air_density, saturation_pressure


@pytest.fixture(autouse=True)
def _si_units() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)


def ideal_density(celsius: float, pressure: float, humidity: float) -> float:
    ratio = psychrolib.GetHumRatioFromRelHum(celsius, humidity, pressure)
    return psychrolib.GetMoistAirDensity(celsius, ratio, pressure)


@pytest.mark.parametrize("celsius", [15.0, 20.0, 27.0])
@pytest.mark.parametrize("pressure", [60e3, 85e3, 101325.0, 110e3])
@pytest.mark.parametrize("humidity", [0.0, 0.5, 1.0])
def test_density_over_the_stated_range(celsius: float, pressure: float, humidity: float) -> None:
    """5e-4 relative for the ideal gas."""
    ours = moist_air_density(pressure, 273.15 + celsius, humidity)
    assert ours == pytest.approx(ideal_density(celsius, pressure, humidity), rel=5e-4)


def test_compressibility_makes_ours_the_denser() -> None:
    """1.1988980 against 1.1993139 kg/m3 at 20 C, 101325 Pa, 50 %; 1 / Z alone is 1 + 3.9e-4."""
    theirs = ideal_density(20.0, 101325.0, 0.5)
    assert theirs == pytest.approx(1.1988980, abs=1e-6)
    assert moist_air_density(101325.0, 293.15, 0.5) / theirs - 1.0 == pytest.approx(3.5e-4, abs=0.5e-4)


@pytest.mark.parametrize(
    ("celsius", "pressure"), [(10.0, 1227.995), (20.0, 2338.804), (25.0, 3169.217), (40.0, 7383.460)]
)
def test_saturation_pressure_of_water(celsius: float, pressure: float) -> None:
    """3e-4 relative: the older formulation of the library is 1.0e-4 to 1.9e-4 lower."""
    theirs = psychrolib.GetSatVapPres(celsius)
    assert theirs == pytest.approx(pressure, abs=1e-3)
    assert saturation_pressure(273.15 + celsius) == pytest.approx(theirs, rel=3e-4)
    assert saturation_pressure(273.15 + celsius) > theirs
