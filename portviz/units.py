"""The door between the text a person types and the SI floats used inside.

Every quantity carries its unit, either behind the number (``"46 mm"``) or in square brackets in a
table's header (``lift [mm]``). Nothing below this module knows any unit but SI.
"""

from __future__ import annotations

import math
import re
import unicodedata
from functools import cache
from typing import TYPE_CHECKING

from portviz.errors import UnitError, shortened, suggestion

if TYPE_CHECKING:
    import pint

# The registry is our own and small: pint's stock one takes a third of a second to read. Angle and
# ratio are dimensions here, so that "45 %" is no angle and "45 deg" no humidity.
# Conventional water and mercury columns: 1000 kg/m3 and 13595.1 kg/m3 at g_n = 9.80665 m/s2.
_DEFINITIONS = """
micro- = 1e-6 = µ-
milli- = 1e-3 = m-
centi- = 1e-2 = c-
hecto- = 1e2 = h-
kilo- = 1e3 = k-
meter = [length] = m = metre
second = [time] = s = sec
kilogram = [mass] = kg
kelvin = [temperature]; offset: 0 = K
radian = [angle] = rad
one = [ratio]
minute = 60 * second = min
hour = 3600 * second = h = hr
inch = 0.0254 * meter = in = inches
foot = 0.3048 * meter = ft = feet
thou = 2.54e-5 * meter = thou = mil
liter = 1e-3 * meter ** 3 = l = L = litre
newton = kilogram * meter / second ** 2 = N
pound_force = 4.4482216152605 * newton = lbf
pascal = newton / meter ** 2 = Pa
bar = 1e5 * pascal = bar
megapascal = 1e6 * pascal = MPa
psi = 6894.757293168361 * pascal = psi
atmosphere = 101325 * pascal = atm
inch_of_water = 249.08891 * pascal = inH2O
millimeter_of_water = 9.80665 * pascal = mmH2O
centimeter_of_water = 98.0665 * pascal = cmH2O
inch_of_mercury = 3386.388640341 * pascal = inHg
millimeter_of_mercury = 133.322387415 * pascal = mmHg
cubic_foot_per_minute = 0.0004719474432 * meter ** 3 / second = cfm
degree = 0.017453292519943295 * radian = deg = °
degree_Celsius = kelvin; offset: 273.15 = degC = degreeC
degree_Fahrenheit = 5 / 9 * kelvin; offset: 255.3722222222222 = degF = degreeF
percent = 0.01 * one = %
kilometer_per_hour = 0.2777777777777778 * meter / second = kmh
revolution_per_minute = 0.10471975511965977 * radian / second = rpm
"""

#: For each kind of quantity: its SI unit and the units to name in messages, most usual first.
KINDS: dict[str, tuple[str, tuple[str, ...]]] = {
    "length": ("m", ("mm", "in", "cm", "m", "thou")),
    "angle": ("rad", ("deg", "rad")),
    "pressure": ("Pa", ("inH2O", "mmH2O", "cmH2O", "Pa", "hPa", "kPa", "MPa", "mbar", "bar", "inHg", "mmHg", "psi")),
    "flow": ("m3/s", ("cfm", "l/s", "l/min", "m3/h", "m3/min", "m3/s", "ft3/s")),
    "velocity": ("m/s", ("m/s", "ft/s")),
    "temperature": ("K", ("degC", "degF", "K")),
    "ratio": ("one", ("%",)),
    "force": ("N", ("N", "lbf", "kN")),
    "rotation": ("rad/s", ("rpm", "1/min", "rad/s")),
}

#: Greatest magnitude that a person can mean, in SI; anything beyond is a slip of the pen.
_GREATEST = {
    "length": 1e4,
    "angle": 1e3,
    "pressure": 1e9,
    "flow": 1e3,
    "velocity": 1e4,
    "temperature": 1e4,
    "ratio": 1e3,
    "force": 1e7,
    "rotation": 1e5,
}

# These patterns look at each sign once: no text makes them run long.
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_UNIT_NAME = r"[A-Za-zµ°%][A-Za-z0-9µ°]*(?:\^[23]|\*\*[23]|[²³])?"
_UNIT = re.compile(rf"{_UNIT_NAME}(?:(?: ?[*/] ?| ){_UNIT_NAME}){{0,3}}", re.ASCII)
_POWER = re.compile(r"(?<=[A-Za-z])\^?([23])(?![A-Za-z0-9])")
_LONGEST = 200
#: Units whose usual spelling is no name of a unit; a shaft's 1/min counts turns, not radians.
_SPELT = {"1/min": "rpm"}


@cache
def _registry() -> pint.UnitRegistry[float]:
    import pint

    registry: pint.UnitRegistry[float] = pint.UnitRegistry(None)
    for line in _DEFINITIONS.strip().splitlines():
        registry.define(line)
    return registry


@cache
def _spellings() -> dict[str, str]:
    """Map the lower-case spelling of every unit we name to its proper one."""
    return {unit.lower(): unit for _, units in KINDS.values() for unit in units}


def units_that_fit(kind: str) -> str:
    """Return the units of a kind as a phrase for messages."""
    return ", ".join(KINDS[kind][1])


def _article(kind: str) -> str:
    return f"an {kind}" if kind[0] in "aeiou" else f"a {kind}"


@cache
def _scale(unit: str, kind: str) -> tuple[float, float]:
    """Return (factor, offset) with SI = value * factor + offset.

    Raises
    ------
    UnitError
        If the unit is unknown or of another kind.
    """
    registry = _registry()
    named = _SPELT.get("".join(unit[:_LONGEST].lower().split()), unit)
    known = _spellings().get(named.lower().replace("^", ""), named)
    for spelling in (named, known) if len(named) <= _LONGEST and _UNIT.fullmatch(named) else ():
        expression = _POWER.sub(r"**\1", spelling)
        try:
            parsed = registry.Unit(expression.replace("%", "percent"))
            zero = registry.Quantity(0.0, parsed).to(_POWER.sub(r"**\1", KINDS[kind][0])).magnitude
            one = registry.Quantity(1.0, parsed).to(_POWER.sub(r"**\1", KINDS[kind][0])).magnitude
        except Exception:
            continue
        return float(one - zero), float(zero)
    raise UnitError(
        f"the unit {shortened(unit)} is not {_article(kind)}; units that fit: {units_that_fit(kind)}",
        _suggested_unit(unit, kind),
    )


def _suggested_unit(unit: str, kind: str) -> str | None:
    """Return "Did you mean ...?" with the unit of a kind that was meant, or None where nothing is near."""
    meant = meant_unit(unit, kind)
    if meant is not None:
        return f"Did you mean {meant}?"
    named = KINDS[kind][1]
    if kind == "pressure" and not re.search("hg|merc", unit, re.IGNORECASE):
        # A column of mercury is 13.6 times one of water: it is only suggested to those who name it.
        named = tuple(each for each in named if not each.endswith("Hg"))
    return suggestion(unit, named)


#: What shops write for a unit, in small letters and without blanks, stops and hyphens.
_SHOP_WORDS: dict[str, dict[str, str]] = {
    "length": {"mm": "millimeters millimetres", "in": "\" '' ″ ” zoll"},
    "angle": {"deg": "º ˚ o"},
    "pressure": {
        "inH2O": 'in inch inches " \'\' ″ ” wc iwc inwc inchwc incheswc "wc ″wc wg iwg inwg "wg inaq inw h2o h20 '
        "inh2o inchh2o inchesh2o \"h2o ''h2o ″h2o ”h2o inh20 inwater inchwater incheswater inofwater inchofwater "
        "inchesofwater inofh2o inchesofh2o",
        "mmH2O": "mm mmwc mmws mmwg mmce mmaq mmh2o mmh20 mmwater mmofwater",
        "cmH2O": "cm cmwc cmws cmwg cmce cmaq cmh2o cmh20 cmwater cmofwater",
        "inHg": 'hg "hg inhg inchhg incheshg inofhg inchesofhg inmercury inchesofmercury',
        "mmHg": "mmhg mmofhg mmofmercury torr",
        "hPa": "mb millibar",
        "psi": "psig lb/in2",
    },
    "flow": {
        "cfm": "scfm acfm cf/m cuft/min",
        "l/s": "lps ltr/s",
        "l/min": "lpm ltr/min",
        "m3/h": "m3h cmh cbm/h",
    },
    "velocity": {"m/s": "mps", "ft/s": "fps ftps"},
    "temperature": {"degC": "c celsius centigrade ºc ˚c", "degF": "f fahrenheit ºf ˚f"},
    "ratio": {"%": "pct rh %rh"},
    "force": {"lbf": "lb lbs pound pounds", "N": "newtons"},
    "rotation": {"rpm": "u/min upm rev/min r/min revs/min revs/minute rev min1 min^1 /min tr/min"},
}


def meant_unit(unit: str, kind: str) -> str | None:
    """Return the unit of a kind that a shop's word stands for, such as inH2O for "in. WC", or None."""
    word = re.sub(r"[\s.\-_]", "", unit[:_LONGEST].lower())
    return next((proper for proper, words in _SHOP_WORDS[kind].items() if word in words.split()), None)


def unit_factor(unit: str, kind: str) -> float:
    """Return what a value in `unit` is multiplied with to be in SI.

    Parameters
    ----------
    unit : str
        The unit, as typed between square brackets in a table's header.
    kind : str
        A key of `KINDS`, without an offset (no temperature).

    Raises
    ------
    UnitError
        If the unit is unknown or of another kind.

    Examples
    --------
    >>> unit_factor("inH2O", "pressure")
    249.08891
    """
    return _scale(unit, kind)[0]


def parse_quantity(text: object, kind: str) -> float:
    """Return a typed quantity in SI.

    Parameters
    ----------
    text : str
        Number and unit, for example ``"1.811 in"``.
    kind : str
        A key of `KINDS`.

    Returns
    -------
    float
        The value in the kind's SI unit.

    Raises
    ------
    UnitError
        If there is no number, no unit, or a unit that does not fit.

    Examples
    --------
    >>> round(parse_quantity("46 mm", "length"), 6)
    0.046
    """
    number, unit = split_quantity(text, kind)
    factor, offset = _scale(unit, kind)
    value = number * factor + offset
    require_magnitude(value, unit, kind, shortened(text))
    return value


def require_magnitude(value: float, unit: str, kind: str, text: str) -> None:
    """Raise UnitError where an SI value is endless, or beyond what can be meant.

    Parameters
    ----------
    value : float
        In SI.
    unit : str
        The unit it was typed in.
    kind : str
        A key of `KINDS`.
    text : str
        What was typed, for the message.
    """
    if not abs(value) <= _GREATEST[kind]:
        if not math.isfinite(value):
            raise UnitError(f"{text} is not a finite number")
        raise UnitError(
            f"{text} is beyond any {kind} that is meant here (at most {in_unit(_GREATEST[kind], unit, kind):g} {unit})"
        )


def split_quantity(text: object, kind: str, example: str | None = None) -> tuple[float, str]:
    """Split ``"46 mm"`` into 46.0 and ``"mm"``; the unit must be of the given kind.

    Parameters
    ----------
    text : str
    kind : str
        A key of `KINDS`.
    example : str, optional
        What messages show, where the kind's own example would mislead.
    """
    sample = f'"{example or _EXAMPLES[kind]}"'
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        raise UnitError(f"{shortened(text)} is not {_article(kind)}; write number and unit, such as {sample}")
    if not isinstance(text, str):
        raise UnitError(
            f"{shortened(text)} has no unit; write {_article(kind)} with its unit in quotes, such as "
            f"{sample if example else _example(kind, str(text))} (units that fit: {units_that_fit(kind)})"
        )
    typed = text.strip()
    fraction = _fraction(typed)
    if fraction is not None:
        raise UnitError(f"{shortened(text)} is a fraction", f'Write it as a decimal: "{fraction}"')
    match = _NUMBER.match(typed) if len(typed) <= _LONGEST else None
    if match is None or re.match(r",\d", typed[match.end() :]):
        comma = " (with a decimal point, not a comma)" if re.match(r"[+-]?\d+,\d", typed[:_LONGEST]) else ""
        raise UnitError(f"{shortened(text)} is not a number with a unit; write it like {sample}{comma}")
    number, unit = float(match[0]), typed[match.end() :].strip()
    if not unit:
        raise UnitError(
            f"{shortened(text)} has no unit; write {_article(kind)} such as "
            f"{sample if example else _example(kind, match[0])} (units that fit: {units_that_fit(kind)})"
        )
    if not math.isfinite(number):
        raise UnitError(f"{shortened(text)} is not a finite number")
    _scale(unit, kind)
    return number, unit


def _example(kind: str, number: str) -> str:
    """Return the number that was typed with a unit, in quotes, or an example of the kind where it is too long."""
    if len(number) > 25:
        return f'"{_EXAMPLES[kind]}"'
    if kind == "ratio" and 0.0 < float(number) <= 1.0:
        return f'"{100.0 * float(number):.6g} %"'
    return f'"{number} {KINDS[kind][1][0]}"'


_WHOLE_AND_FRACTION = re.compile(
    r"(?:(\d{1,4})[\s-]+)?(\d{1,4})\s*[/⁄]\s*(\d{1,4})\s*([^\d/⁄].{0,20})?", re.ASCII | re.DOTALL
)


def _fraction(typed: str) -> str | None:
    """Return ``"1 13/16 in"`` as a decimal with its unit, or None where the text is no fraction."""
    spelt = re.sub("[¼½¾⅐-⅞]", lambda sign: f" {unicodedata.normalize('NFKC', sign[0])}", typed[:_LONGEST]).strip()
    match = _WHOLE_AND_FRACTION.fullmatch(spelt)
    if match is None or int(match[3]) == 0:
        return None
    value = int(match[1] or 0) + int(match[2]) / int(match[3])
    unit = (match[4] or "in").strip().replace('"', "in").replace("″", "in")
    return f"{round(value, 6):.8g} {unit}"


_EXAMPLES = {
    "length": "46 mm",
    "angle": "45 deg",
    "pressure": "28 inH2O",
    "flow": "310 cfm",
    "velocity": "95 m/s",
    "temperature": "21 degC",
    "ratio": "45 %",
    "force": "300 N",
    "rotation": "6500 rpm",
}


def in_unit(value: float, unit: str, kind: str) -> float:
    """Return an SI value in the given unit."""
    factor, offset = _scale(unit, kind)
    return (value - offset) / factor


#: What is worth telling of a quantity that a bench measures, in SI; it sets the decimals in each unit.
_TOLD: dict[str, float] = {
    "length": 1e-5,
    "angle": 2e-3,
    "pressure": 3.0,
    "flow": 1e-4,
    "velocity": 0.1,
    "temperature": 0.1,
    "ratio": 1e-3,
    "force": 1.0,
    "rotation": 0.1048,
}


@cache
def told_decimals(unit: str, kind: str) -> int:
    """Return how many decimals a measured quantity is told with in a unit: four figures or so on a bench.

    Examples
    --------
    >>> told_decimals("mm", "length"), told_decimals("in", "length"), told_decimals("m3/s", "flow")
    (2, 4, 4)
    """
    return max(0, math.ceil(-math.log10(_TOLD[kind] / _scale(unit, kind)[0]) - 1e-9))


def number_text(value: float, unit: str, kind: str, decimals: int | None = None) -> str:
    """Return an SI value as a number in the given unit, for example ``"8.00"``; see `told_decimals`."""
    decimals = told_decimals(unit, kind) if decimals is None else decimals
    return f"{in_unit(value, unit, kind):z.{decimals}f}"


def format_quantity(value: float, unit: str, kind: str, decimals: int | None = None) -> str:
    """Return an SI value as text in the given unit, for example ``"8.00 mm"``; see `told_decimals`."""
    return f"{number_text(value, unit, kind, decimals)} {unit}"


def is_metric(length_unit: str) -> bool:
    """Tell if a unit of length is a metric one: a power of ten of the metre."""
    return round(math.log10(unit_factor(length_unit, "length")), 9).is_integer()


def area_unit(length_unit: str) -> tuple[str, float]:
    """Return the unit in which areas stand beside lengths of a unit, and what an area in [m2] is multiplied with."""
    return ("mm²", 1e6) if is_metric(length_unit) else ("in²", 1.0 / 0.0254**2)
