"""The door between typed quantities and SI: every unit, every spelling, and messages that help."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portviz.errors import PortvizError, UnitError
from portviz.units import KINDS, format_quantity, in_unit, parse_quantity, split_quantity, unit_factor, units_that_fit

#: One of each unit in SI. By definition: inch 25.4 mm, foot 12 inches, pound-force 0.45359237 kg x 9.80665 m/s2,
#: columns of water 1000 kg/m3 and of mercury 13595.1 kg/m3 at 9.80665 m/s2.
ONE = {
    "mm": 1e-3,
    "in": 0.0254,
    "cm": 1e-2,
    "m": 1.0,
    "thou": 2.54e-5,
    "deg": math.pi / 180.0,
    "rad": 1.0,
    "inH2O": 1000.0 * 9.80665 * 0.0254,
    "mmH2O": 9.80665,
    "cmH2O": 98.0665,
    "Pa": 1.0,
    "hPa": 100.0,
    "kPa": 1000.0,
    "mbar": 100.0,
    "MPa": 1e6,
    "bar": 1e5,
    "inHg": 13595.1 * 9.80665 * 0.0254,
    "mmHg": 13595.1 * 9.80665e-3,
    "psi": 0.45359237 * 9.80665 / 0.0254**2,
    "cfm": 0.3048**3 / 60.0,
    "l/s": 1e-3,
    "l/min": 1e-3 / 60.0,
    "m3/h": 1.0 / 3600.0,
    "m3/min": 1.0 / 60.0,
    "m3/s": 1.0,
    "ft3/s": 0.3048**3,
    "m/s": 1.0,
    "ft/s": 0.3048,
    "degC": 274.15,
    "degF": 273.15 + (1.0 - 32.0) * 5.0 / 9.0,
    "K": 1.0,
    "%": 0.01,
    "N": 1.0,
    "lbf": 0.45359237 * 9.80665,
    "kN": 1000.0,
    "rpm": 2.0 * math.pi / 60.0,
    "1/min": 2.0 * math.pi / 60.0,
    "rad/s": 1.0,
}
KIND_AND_UNIT = [(kind, unit) for kind, (_, units) in KINDS.items() for unit in units]


@pytest.mark.parametrize(("kind", "unit"), KIND_AND_UNIT)
def test_one_of_each_unit(kind: str, unit: str) -> None:
    """1e-12 relative for rounding, kelvins included."""
    assert parse_quantity(f"1 {unit}", kind) == pytest.approx(ONE[unit], rel=1e-12)


@pytest.mark.parametrize(("kind", "unit"), [pair for pair in KIND_AND_UNIT if pair[0] != "temperature"])
def test_factor_of_a_header_is_what_one_unit_is(kind: str, unit: str) -> None:
    assert unit_factor(unit, kind) == pytest.approx(ONE[unit], rel=1e-12)


@pytest.mark.parametrize(("kind", "unit"), [("flow", "m3/s"), ("pressure", "Pa"), ("temperature", "K"), ("force", "N")])
def test_si_is_one_to_one(kind: str, unit: str) -> None:
    assert KINDS[kind][0] == unit
    assert parse_quantity(f"12.5 {unit}", kind) == 12.5


@pytest.mark.parametrize("spelling", ["m3/h", "m^3/h", "m**3/h", "m³/h", "M3/H", "m3/hr", "m3 / h", "meter**3/hour"])
def test_spellings_of_a_power(spelling: str) -> None:
    assert parse_quantity(f"36 {spelling}", "flow") == pytest.approx(0.01, rel=1e-12)


@pytest.mark.parametrize("spelling", ["ft3/s", "ft^3/s", "ft**3/s", "ft³/s", "FT3/S", "feet3/s"])
def test_spellings_of_cubic_feet(spelling: str) -> None:
    assert parse_quantity(f"2 {spelling}", "flow") == pytest.approx(2 * 0.3048**3, rel=1e-12)


def test_cubic_feet_a_minute_are_cfm() -> None:
    assert parse_quantity("310 ft3/min", "flow") == pytest.approx(parse_quantity("310 cfm", "flow"), rel=1e-12)


def test_the_2_in_a_column_of_water_is_no_power() -> None:
    assert parse_quantity("28 inH2O", "pressure") == pytest.approx(6974.48948, rel=1e-12)


@pytest.mark.parametrize(("kind", "unit"), KIND_AND_UNIT)
@pytest.mark.parametrize("change", [str.upper, str.lower, str.title], ids=["upper", "lower", "title"])
def test_case_is_forgiven(kind: str, unit: str, change: object) -> None:
    assert parse_quantity(f"1 {change(unit)}", kind) == parse_quantity(f"1 {unit}", kind)


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("45°", "angle", math.pi / 4),
        ("45 °", "angle", math.pi / 4),
        ("45 degree", "angle", math.pi / 4),
        ("45%", "ratio", 0.45),
        ("45 %", "ratio", 0.45),
        ("45 percent", "ratio", 0.45),
        ("2 inches", "length", 0.0508),
        ("2 metre", "length", 2.0),
        ("1.5 ft", "length", 0.4572),
        ("60 mil", "length", 1.524e-3),
        ("5 µm", "length", 5e-6),
        ("1 atm", "pressure", 101325.0),
        ("36 km/h", "velocity", 10.0),
        ("36 kmh", "velocity", 10.0),
        ("5 L/s", "flow", 5e-3),
        ("5 litre/s", "flow", 5e-3),
        ("0 degC", "temperature", 273.15),
        ("-40 degF", "temperature", 233.15),
        ("6500 RPM", "rotation", 6500.0 * 2.0 * math.pi / 60.0),
        ("6500 1 / min", "rotation", 6500.0 * 2.0 * math.pi / 60.0),
        ("3000 deg/s", "rotation", 3000.0 * math.pi / 180.0),
    ],
)
def test_other_spellings(text: str, kind: str, value: float) -> None:
    assert parse_quantity(text, kind) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(("text", "kelvin"), [("21 °C", 294.15), ("21°C", 294.15), ("70 °F", 294.26111111)])
def test_degree_sign_of_a_temperature(text: str, kelvin: float) -> None:
    assert parse_quantity(text, "temperature") == pytest.approx(kelvin, abs=1e-8)


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("46 mm", 46.0),
        ("46mm", 46.0),
        ("  46   mm  ", 46.0),
        ("46\tmm\n", 46.0),
        ("46\u00a0mm", 46.0),
        ("+46 mm", 46.0),
        ("-46 mm", -46.0),
        ("46. mm", 46.0),
        (".46 mm", 0.46),
        ("4.6e1 mm", 46.0),
        ("4.6E+1mm", 46.0),
        ("460e-1 mm", 46.0),
    ],
)
def test_ways_to_write_a_number(text: str, number: float) -> None:
    assert split_quantity(text, "length") == (pytest.approx(number, rel=1e-15), "mm")


# Messages.


@pytest.mark.parametrize("kind", KINDS)
def test_units_that_fit_fit(kind: str) -> None:
    named = units_that_fit(kind).split(", ")
    assert named == list(KINDS[kind][1])
    assert all(math.isfinite(parse_quantity(f"1 {unit}", kind)) for unit in named)


@pytest.mark.parametrize("kind", KINDS)
def test_unit_of_another_kind_is_refused_with_those_that_fit(kind: str) -> None:
    others = [unit for other, unit in KIND_AND_UNIT if other != kind]
    for unit in others:
        with pytest.raises(UnitError, match=re.escape(f"units that fit: {units_that_fit(kind)}")) as caught:
            parse_quantity(f"1 {unit}", kind)
        assert str(caught.value).startswith(f"the unit '{unit}' is not a")
    assert len(others) == len(KIND_AND_UNIT) - len(KINDS[kind][1])


@pytest.mark.parametrize("unit", ["furlong", "kg/s", "m2", "1/m", "%%", "()", "__class__", "mm mm", "2*mm", "mm)", "Ω"])
def test_unknown_unit_is_refused(unit: str) -> None:
    with pytest.raises(UnitError, match=re.escape(f"the unit {unit!r} is not a length; units that fit: mm, in, cm")):
        parse_quantity(f"5 {unit}", "length")


@pytest.mark.parametrize(
    ("text", "kind", "hint"),
    [
        ("28 inh20", "pressure", "inH2O"),
        ("28 in H2O", "pressure", "inH2O"),
        ("310 scfm", "flow", "cfm"),
        ("310 m/s", "flow", "m3/s"),
        ("95 mps", "velocity", "m/s"),
        ("300 lb", "force", "lbf"),
        ("46 [mm]", "length", "mm"),
        ("21 deg", "temperature", "degF"),
    ],
)
def test_near_miss_gets_a_hint(text: str, kind: str, hint: str) -> None:
    with pytest.raises(UnitError, match=re.escape(f"Did you mean {hint}?")):
        parse_quantity(text, kind)


@pytest.mark.parametrize(
    ("text", "kind", "hint"),
    [
        ("18 C", "temperature", "degC"),
        ("64 F", "temperature", "degF"),
        ("18 celsius", "temperature", "degC"),
        ("28 inWC", "pressure", "inH2O"),
        ("28 in. H2O", "pressure", "inH2O"),
        ('28 "H2O', "pressure", "inH2O"),
        ("28 wc", "pressure", "inH2O"),
        ("28 in WC", "pressure", "inH2O"),
        ("28 inches of water", "pressure", "inH2O"),
        ("711 mmWS", "pressure", "mmH2O"),
        ("5 lps", "flow", "l/s"),
        ("350 fps", "velocity", "ft/s"),
        ("45 RH", "ratio", "%"),
        ('1.5"', "length", "in"),
        ("6500 U/min", "rotation", "rpm"),
        ("6500 rev/min", "rotation", "rpm"),
        ("6500 min-1", "rotation", "rpm"),
        ("6500 r.p.m.", "rotation", "rpm"),
    ],
)
def test_words_of_the_shop_get_a_hint(text: str, kind: str, hint: str) -> None:
    with pytest.raises(UnitError, match=re.escape(f"Did you mean {hint}?")):
        parse_quantity(text, kind)


@pytest.mark.parametrize(
    ("unit", "hint"), [("in", "inH2O"), ("inch", "inH2O"), ("mm", "mmH2O"), ("cm", "cmH2O"), ('"', "inH2O")]
)
def test_a_length_for_a_pressure_is_a_column_of_water_and_never_of_mercury(unit: str, hint: str) -> None:
    # A factor of 13.6 lies between them.
    with pytest.raises(UnitError) as typed:
        parse_quantity(f"28 {unit}", "pressure")
    with pytest.raises(UnitError) as header:
        unit_factor(unit, "pressure")
    assert typed.value.mend == header.value.mend == f"Did you mean {hint}?"


@pytest.mark.parametrize("unit", ["inn", "inh", "mmh", "ih", "m"])
def test_mercury_is_suggested_to_those_alone_who_name_it(unit: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_quantity(f"28 {unit}", "pressure")
    assert "Hg" not in (caught.value.mend or "")
    with pytest.raises(UnitError, match=re.escape("Did you mean inHg?")):
        parse_quantity("29.9 in. Hg", "pressure")


@pytest.mark.parametrize("value", ["0.55", 0.55])
def test_humidity_as_a_fraction_of_one_is_shown_in_per_cent(value: object) -> None:
    with pytest.raises(UnitError, match=re.escape('such as "55 %"')):
        parse_quantity(value, "ratio")


@pytest.mark.parametrize("text", ["28", "6974.5"])
def test_text_without_a_unit_is_shown_with_one(text: str) -> None:
    with pytest.raises(UnitError, match=re.escape(f'such as "{text} inH2O"')):
        parse_quantity(text, "pressure")


@pytest.mark.parametrize(
    ("text", "decimal"),
    [
        ("1 13/16 in", "1.8125 in"),
        ("1-13/16 in", "1.8125 in"),
        ("13/16 in", "0.8125 in"),
        ('1 13/16"', "1.8125 in"),
        ("1 13/16", "1.8125 in"),
        ("1½ in", "1.5 in"),
        ("1 ¾ in", "1.75 in"),
        ("2 1/3 mm", "2.333333 mm"),
    ],
)
def test_a_fraction_is_given_as_a_decimal(text: str, decimal: str) -> None:
    with pytest.raises(UnitError, match=re.escape(f'is a fraction. Write it as a decimal: "{decimal}"')):
        parse_quantity(text, "length")


@pytest.mark.parametrize("text", ["1/0 in", "1 13/0 in", "1/2/3 in", "/2 in"])
def test_what_is_no_fraction_is_not_called_one(text: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_quantity(text, "length")
    assert "fraction" not in str(caught.value)


def test_far_miss_gets_no_hint() -> None:
    with pytest.raises(UnitError, match="is not a length") as caught:
        parse_quantity("5 furlong", "length")
    assert "Did you mean" not in str(caught.value)


def test_article_fits_the_kind() -> None:
    with pytest.raises(UnitError, match="is not an angle"):
        parse_quantity("5 mm", "angle")
    with pytest.raises(UnitError, match="is not a pressure"):
        parse_quantity("5 mm", "pressure")


@pytest.mark.parametrize("kind", KINDS)
def test_number_in_text_without_a_unit(kind: str) -> None:
    with pytest.raises(UnitError, match=re.escape(f"'46' has no unit; write a{'n' * (kind == 'angle')} {kind}")) as got:
        parse_quantity("46", kind)
    assert f"(units that fit: {units_that_fit(kind)})" in str(got.value)


@pytest.mark.parametrize("number", [46, 46.5, -3, 0, 1e-7, np.float64(46.5)])
def test_bare_number_shows_how_to_write_it(number: float) -> None:
    wanted = f'{number} has no unit; write a length with its unit in quotes, such as "{number} mm"'
    with pytest.raises(UnitError, match=re.escape(wanted)) as caught:
        parse_quantity(number, "length")
    assert "(units that fit: mm, in, cm, m, thou)" in str(caught.value)


@pytest.mark.parametrize("value", [True, False, None, [46], ["46 mm"], {"mm": 46}, b"46 mm", (46, "mm"), 46 + 0j])
def test_neither_text_nor_number(value: object) -> None:
    """True is no 1 here."""
    wanted = f'{value} is not a length; write number and unit, such as "46 mm"'
    with pytest.raises(UnitError, match=re.escape(wanted)):
        parse_quantity(value, "length")


@pytest.mark.parametrize(
    "text", ["", "   ", "mm", "wide", "nan mm", "NaN", "inf mm", "-inf mm", "--5 mm", "+ mm", "- 5 mm"]
)
def test_text_without_a_number(text: str) -> None:
    with pytest.raises(UnitError, match=re.escape(f'{text!r} is not a number with a unit; write it like "46 mm"')):
        parse_quantity(text, "length")


@pytest.mark.parametrize("text", ["1e400 mm", "-1e999 mm"])
def test_number_too_large_for_a_float(text: str) -> None:
    with pytest.raises(UnitError, match=f"'{text}' is not a finite number"):
        parse_quantity(text, "length")


@pytest.mark.parametrize(("text", "kind"), [("1e308 km", "length"), ("1e306 bar", "pressure")])
def test_number_too_large_once_in_si(text: str, kind: str) -> None:
    with pytest.raises(UnitError, match="is not a finite number"):
        parse_quantity(text, kind)


@pytest.mark.parametrize("text", ["46 mm;", "46 mm.", "46 mm # about"])
def test_text_behind_the_unit_is_refused(text: str) -> None:
    with pytest.raises(UnitError, match="is not a length"):
        parse_quantity(text, "length")


@pytest.mark.parametrize("text", ["1,5 mm", "-1,5 mm", " 46,25mm", "1,500 mm"])
def test_decimal_comma_gets_a_hint(text: str) -> None:
    with pytest.raises(UnitError, match="with a decimal point"):
        parse_quantity(text, "length")


def test_no_hint_of_a_decimal_point_where_there_is_no_comma() -> None:
    with pytest.raises(UnitError, match="is not a number with a unit") as caught:
        parse_quantity("wide", "length")
    assert "decimal point" not in str(caught.value)


def test_long_text_is_cut_in_the_message() -> None:
    with pytest.raises(UnitError, match="…") as caught:
        parse_quantity("x" * 5000, "length")
    assert len(str(caught.value)) < 200


def test_unit_errors_are_errors_of_ours_and_of_value() -> None:
    assert issubclass(UnitError, PortvizError)
    assert issubclass(UnitError, ValueError)


@pytest.mark.parametrize("unit", ["kg", "", "degX"])
def test_header_with_a_unit_that_does_not_fit(unit: str) -> None:
    with pytest.raises(UnitError, match=re.escape(f"the unit {unit!r} is not a pressure; units that fit: inH2O")):
        unit_factor(unit, "pressure")


# Back again.

# Within what can be meant in every unit: the door refuses more than that.
typed = st.floats(-800.0, 800.0, allow_nan=False).filter(lambda x: x == 0.0 or abs(x) > 1e-6)


@settings(max_examples=300, deadline=None, derandomize=True)
@given(number=typed, pair=st.sampled_from(KIND_AND_UNIT))
def test_round_trip_of_a_number(number: float, pair: tuple[str, str]) -> None:
    """Rounding: some 1e-16 of the value, and of the 300 K between scales of temperature."""
    kind, unit = pair
    back = in_unit(parse_quantity(f"{number!r} {unit}", kind), unit, kind)
    assert back == pytest.approx(number, rel=1e-13, abs=1e-9 if kind == "temperature" else 1e-300)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(number=typed, pair=st.sampled_from(KIND_AND_UNIT), other=st.integers(0, 20))
def test_two_units_of_a_kind_agree(number: float, pair: tuple[str, str], other: int) -> None:
    """A value written again in another unit of its kind is the same in SI."""
    kind, unit = pair
    units = KINDS[kind][1]
    second = units[other % len(units)]
    value = parse_quantity(f"{number!r} {unit}", kind)
    again = parse_quantity(f"{in_unit(value, second, kind)!r} {second}", kind)
    assert again == pytest.approx(value, rel=1e-12, abs=1e-9 if kind == "temperature" else 1e-300)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(text=st.text(max_size=30), kind=st.sampled_from(sorted(KINDS)))
def test_any_text_is_a_number_or_a_unit_error(text: str, kind: str) -> None:
    """Nothing typed gets past the door as another error."""
    try:
        value = parse_quantity(text, kind)
    except UnitError as error:
        assert str(error) != ""  # noqa: PT017
    else:
        assert isinstance(value, float)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(number=st.integers(0, 99), tail=st.text(alphabet="mMinftlbH2O3/^*%°. ()[]_#;'\"\\", max_size=8))
def test_any_unit_is_a_length_or_a_unit_error(number: int, tail: str) -> None:
    try:
        value = parse_quantity(f"{number}{tail}", "length")
    except UnitError as error:
        assert str(error) != ""  # noqa: PT017
    else:
        assert isinstance(value, float)


@pytest.mark.parametrize(
    ("value", "unit", "kind", "decimals", "text"),
    [
        (0.008, "mm", "length", 2, "8.00 mm"),
        (6974.48948, "inH2O", "pressure", 1, "28.0 inH2O"),
        (294.15, "degC", "temperature", 0, "21 degC"),
        (math.pi / 4, "deg", "angle", 1, "45.0 deg"),
        (0.45, "%", "ratio", 0, "45 %"),
    ],
)
def test_format(value: float, unit: str, kind: str, decimals: int, text: str) -> None:
    assert format_quantity(value, unit, kind, decimals) == text


@pytest.mark.parametrize(
    ("value", "unit", "kind", "text"),
    [
        (8e-3, "mm", "length", "8.00 mm"),
        (8e-3, "cm", "length", "0.800 cm"),
        (8e-3, "in", "length", "0.3150 in"),
        (8e-3, "thou", "length", "315.0 thou"),
        (0.0521, "l/s", "flow", "52.1 l/s"),
        (0.0521, "cfm", "flow", "110.4 cfm"),
        (0.0521, "m3/h", "flow", "187.6 m3/h"),
        (0.0521, "m3/min", "flow", "3.126 m3/min"),
        (0.0521, "l/min", "flow", "3126 l/min"),
        (0.0521, "m3/s", "flow", "0.0521 m3/s"),
        (4199.0, "mmH2O", "pressure", "428.2 mmH2O"),
        (4199.0, "inH2O", "pressure", "16.86 inH2O"),
        (4199.0, "Pa", "pressure", "4199 Pa"),
        (4199.0, "kPa", "pressure", "4.199 kPa"),
        (4199.0, "mbar", "pressure", "41.99 mbar"),
        (4199.0, "psi", "pressure", "0.6090 psi"),
        (92.94, "m/s", "velocity", "92.9 m/s"),
        (92.94, "ft/s", "velocity", "304.9 ft/s"),
    ],
)
def test_a_measured_quantity_has_about_four_figures(value: float, unit: str, kind: str, text: str) -> None:
    """A lift to a hundredth of a millimetre or better, and bench values as a bench shows them."""
    assert format_quantity(value, unit, kind) == text


@settings(max_examples=100, deadline=None, derandomize=True)
@given(number=st.floats(-800.0, 800.0), pair=st.sampled_from(KIND_AND_UNIT))
def test_format_can_be_read_again(number: float, pair: tuple[str, str]) -> None:
    """Three decimals keep half a thousandth of a unit."""
    kind, unit = pair
    value = parse_quantity(f"{number!r} {unit}", kind)
    again = parse_quantity(format_quantity(value, unit, kind, 3), kind)
    assert in_unit(again, unit, kind) == pytest.approx(number, abs=5.001e-4)
