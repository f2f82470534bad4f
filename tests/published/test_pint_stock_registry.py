"""Unit definitions, with pint's stock registry as the oracle.

How far seen: every factor is asked of the library when the test runs. The figures of the other inches of water
come from unit libraries that were read (2.49082E+02 Pa for 39.2 F as in SP 811, table B.8, and 248.84 Pa for 60 F);
SP 811 itself is from memory.

Tolerance: 1e-12 relative, some roundings of a double, where nothing else is said.
"""

from __future__ import annotations

import pint
import pytest

from portviz.units import KINDS, in_unit, parse_quantity, unit_factor

#: Our unit: (kind, the stock registry's expression). Its own "cfm" is a hundredth of a femtometre and its "mil" an
#: angle, so that those are spelt out.
STOCK = {
    "mm": ("length", "millimeter"),
    "cm": ("length", "centimeter"),
    "m": ("length", "meter"),
    "in": ("length", "inch"),
    "ft": ("length", "foot"),
    "thou": ("length", "thou"),
    "mil": ("length", "thou"),
    "deg": ("angle", "degree"),
    "°": ("angle", "degree"),
    "rad": ("angle", "radian"),
    "inH2O": ("pressure", "inch_H2O"),
    "mmH2O": ("pressure", "millimeter_H2O"),
    "cmH2O": ("pressure", "centimeter_H2O"),
    "Pa": ("pressure", "pascal"),
    "hPa": ("pressure", "hectopascal"),
    "MPa": ("pressure", "megapascal"),
    "kPa": ("pressure", "kilopascal"),
    "mbar": ("pressure", "millibar"),
    "bar": ("pressure", "bar"),
    "inHg": ("pressure", "inch_Hg"),
    "mmHg": ("pressure", "millimeter_Hg"),
    "psi": ("pressure", "pound_force_per_square_inch"),
    "atm": ("pressure", "standard_atmosphere"),
    "cfm": ("flow", "foot**3/minute"),
    "l/s": ("flow", "liter/second"),
    "l/min": ("flow", "liter/minute"),
    "m3/h": ("flow", "meter**3/hour"),
    "m3/min": ("flow", "meter**3/minute"),
    "m3/s": ("flow", "meter**3/second"),
    "ft3/s": ("flow", "foot**3/second"),
    "ft3/min": ("flow", "foot**3/minute"),
    "m/s": ("velocity", "meter/second"),
    "ft/s": ("velocity", "foot/second"),
    "km/h": ("velocity", "kilometer/hour"),
    "%": ("ratio", "percent"),
    "N": ("force", "newton"),
    "kN": ("force", "kilonewton"),
    "lbf": ("force", "pound_force"),
    "rpm": ("rotation", "revolution/minute"),
    "1/min": ("rotation", "revolution/minute"),
    "rad/s": ("rotation", "radian/second"),
}
SI = {
    "length": "meter",
    "angle": "radian",
    "pressure": "pascal",
    "flow": "meter**3/second",
    "velocity": "meter/second",
    "ratio": "dimensionless",
    "force": "newton",
    "rotation": "radian/second",
}


@pytest.fixture(scope="module")
def stock() -> pint.UnitRegistry:
    return pint.UnitRegistry()


@pytest.mark.parametrize("unit", STOCK)
def test_factor_is_the_stock_one(stock: pint.UnitRegistry, unit: str) -> None:
    kind, expression = STOCK[unit]
    expected = stock.Quantity(1.0, expression).to(SI[kind]).magnitude
    assert unit_factor(unit, kind) == pytest.approx(expected, rel=1e-12)


def test_every_unit_named_in_messages_is_compared() -> None:
    """Temperatures stand below, for their offsets."""
    named = {unit for kind, (_, units) in KINDS.items() if kind != "temperature" for unit in units}
    assert named <= set(STOCK)


@pytest.mark.parametrize(("ours", "theirs"), [("degC", "degC"), ("degF", "degF"), ("K", "kelvin")])
@pytest.mark.parametrize("value", [-40.0, 0.0, 32.0, 59.0, 70.0, 212.0, 300.0])
def test_temperature_is_the_stock_one(stock: pint.UnitRegistry, ours: str, theirs: str, value: float) -> None:
    """1e-12 of some hundred kelvin: 2e-10 K is ample."""
    expected = stock.Quantity(value, theirs).to("kelvin").magnitude
    assert parse_quantity(f"{value} {ours}", "temperature") == pytest.approx(expected, abs=2e-10)
    assert in_unit(expected, ours, "temperature") == pytest.approx(value, abs=2e-10)


def test_our_inch_of_water_is_the_conventional_one(stock: pint.UnitRegistry) -> None:
    """1000 kg/m3 x 9.80665 m/s2 x 0.0254 m = 249.08891 Pa, an exact product; the stock `inH2O` is the same."""
    assert unit_factor("inH2O", "pressure") == 249.08891
    assert stock.Quantity(1.0, "inH2O").to("pascal").magnitude == pytest.approx(249.08891, rel=1e-14)
    product = stock.Quantity(1000.0, "kg/m^3") * stock.Quantity(1.0, "standard_gravity * inch")
    assert product.to("pascal").magnitude == pytest.approx(249.08891, rel=1e-14)


@pytest.mark.parametrize(
    ("name", "figure", "below"),
    [("inch_H2O_4C", 249.082, 2.8e-5), ("inch_H2O_60F", 248.84, 1.0e-3)],
)
def test_inches_of_water_at_a_temperature_are_others(
    stock: pint.UnitRegistry, name: str, figure: float, below: float
) -> None:
    """They are smaller by the water's density; the names are the stock registry's, the figures as printed."""
    other = stock.Quantity(1.0, name).to("pascal").magnitude
    assert other == pytest.approx(figure, rel=3e-6)
    assert 1.0 - other / unit_factor("inH2O", "pressure") == pytest.approx(below, rel=0.02)


def test_columns_agree_with_each_other() -> None:
    """25.4 mm to the inch, and mercury 13.5951 times as heavy as water, by convention."""
    assert unit_factor("inH2O", "pressure") == pytest.approx(25.4 * unit_factor("mmH2O", "pressure"), rel=1e-14)
    assert unit_factor("inHg", "pressure") == pytest.approx(13.5951 * unit_factor("inH2O", "pressure"), rel=1e-12)
    assert unit_factor("mmHg", "pressure") == pytest.approx(13.5951 * unit_factor("mmH2O", "pressure"), rel=1e-12)
