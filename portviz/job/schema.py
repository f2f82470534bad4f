"""What job.toml may hold: checked by pydantic, and published as JSON Schema for editors."""

from __future__ import annotations

import functools
import math
import re
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    StringConstraints,
    ValidationError,
    WithJsonSchema,
)
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from portviz.defaults import FACE_OVER_SEAT_WIDTH, MARGIN, UNDERHEAD_ANGLE
from portviz.errors import JobError, UnitError, counted, nearest_name, sentence, suggestion
from portviz.job.model import JOB_FILE, UNNAMED_REFERENCE, GaugeReads, Side
from portviz.units import KINDS, in_unit, parse_quantity, split_quantity

_QUANTITY_PATTERN = r"^\s*[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?\s*[A-Za-zµ°%].*$"
#: A shaft's speed may be told in 1/min.
_ROTATION_PATTERN = _QUANTITY_PATTERN.replace("[A-Z", r"(1\s*/\s*)?[A-Z", 1)


def _finding(problem: str, mend: str | None = None) -> PydanticCustomError:
    return PydanticCustomError("ours", "{problem}", {"problem": problem, "mend": mend})


def _plain(number: float) -> str:
    """Return a number of four figures, without an exponent where it is of a length to be read."""
    text = f"{number:.4g}"
    return f"{number:.0f}" if "e+" in text and abs(number) < 1e7 else text


@dataclass(frozen=True)
class _Quantity:
    """A quantity in quotes, turned into SI: above a value, or between two, with the words for what lies outside."""

    kind: str
    example: str
    above: float | None = None
    between: tuple[float, float, str] | None = None
    of_mercury: bool = False

    def parse(self, value: object) -> float:
        try:
            number, unit = split_quantity(value, self.kind, self.example if self.of_mercury else None)
            number = parse_quantity(value, self.kind)
        except UnitError as error:
            raise _finding(error.problem, self._mend(error.mend)) from None
        if self.above is not None and not number > self.above:
            raise _finding(f"the {self.kind} must be larger than zero")
        if self.between is not None and not self.between[0] <= number <= self.between[1]:
            low, high = (f"{_plain(in_unit(limit, unit, self.kind))} {unit}" for limit in self.between[:2])
            raise _finding(f"{self.between[2]} between {low} and {high}", "Check the number and its unit")
        return number

    def _mend(self, mend: str | None) -> str | None:
        # The inches and millimetres of a barometer are of mercury, those of a bench of water.
        return mend.replace("H2O", "Hg") if mend and self.of_mercury else mend

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.parse)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {
            "type": "string",
            "description": f"{self.kind} with its unit ({', '.join(KINDS[self.kind][1])})",
            "examples": [self.example],
            "pattern": _ROTATION_PATTERN if self.kind == "rotation" else _QUANTITY_PATTERN,
        }


Length = Annotated[float, _Quantity("length", "1.6 mm")]
PositiveLength = Annotated[float, _Quantity("length", "41 mm", above=0.0)]
PositivePressure = Annotated[float, _Quantity("pressure", "0.05 inH2O", above=0.0)]
#: What a spring's seat force [N] and a cylinder's greatest pressure [Pa] may be.
SEAT_FORCES, GAS_PRESSURES = (1.0, 1e5), (1e4, 5e7)
SeatForce = Annotated[float, _Quantity("force", "300 N", between=(*SEAT_FORCES, "a spring's seat force lies"))]
GasPressure = Annotated[
    float,
    _Quantity("pressure", "60 bar", between=(*GAS_PRESSURES, "a cylinder's greatest pressure lies"), of_mercury=True),
]
PositiveRatio = Annotated[float, _Quantity("ratio", "0.3 %", above=0.0)]
Angle = Annotated[float, _Quantity("angle", "45 deg")]
TestPressure = Annotated[float, _Quantity("pressure", "28 inH2O", between=(1.0, 1e6, "a test pressure lies"))]
Barometer = Annotated[float, _Quantity("pressure", "100 kPa", between=(1e4, 2e5, "a barometer shows"), of_mercury=True)]
Temperature = Annotated[float, _Quantity("temperature", "21 degC", between=(223.15, 343.15, "a room has"))]
Humidity = Annotated[float, _Quantity("ratio", "45 %", between=(0.0, 1.0, "relative humidity lies"))]
Lash = Annotated[float, _Quantity("length", "0.15 mm", between=(0.0, 5e-3, "lash lies"))]
ZeroOrLength = Annotated[float, _Quantity("length", "1 mm", between=(0.0, 0.1, "a lift lies"))]
#: Angles of the crank on the cam's own scale, which may go on past a turn of the cam.
CrankAngle = Annotated[
    float, _Quantity("angle", "108 deg", between=(-4.0 * math.pi, 8.0 * math.pi, "a crank angle lies"))
]
Duration = Annotated[
    float, _Quantity("angle", "272 deg", between=(math.pi / 18.0, 4.0 * math.pi, "a duration in crank angle lies"))
]
Direction = Annotated[
    float, _Quantity("angle", "180 deg", between=(-2.0 * math.pi, 2.0 * math.pi, "a station's angle lies"))
]
Bore = Annotated[float, _Quantity("length", "82 mm", between=(0.01, 1.0, "a bore lies"))]
Stroke = Annotated[float, _Quantity("length", "70 mm", between=(0.005, 3.0, "a stroke lies"))]
RodLength = Annotated[float, _Quantity("length", "130 mm", between=(0.01, 6.0, "a rod's length lies"))]
Offset = Annotated[float, _Quantity("length", "18 mm", between=(0.0, 0.5, "a valve's offset lies"))]
Speed = Annotated[
    float,
    _Quantity("rotation", "6500 rpm", between=(math.pi / 30.0, 1000.0 * math.pi, "a crankshaft's speed lies")),
]


def _number(value: object) -> object:
    plain = isinstance(value, int | float) and not isinstance(value, bool)
    if not plain or not -1e9 <= value <= 1e9:  # type: ignore[operator]
        quoted = re.fullmatch(r"\s*[+-]?\d+(\.\d+)?\s*(deg|degrees|°)?\s*", value) if isinstance(value, str) else None
        bare = "Write it without quotes" + (" and unit" if quoted and quoted[2] else "")
        raise _finding("a plain number is needed here", bare if quoted else None)
    return value


def _coefficient(value: float) -> float:
    if not 0.01 <= value <= 10.0:
        per_cent = f"If it is in per cent, write {value / 100.0:g}" if 10.0 < value <= 200.0 else None
        raise _finding("the coefficient must lie between 0.01 and 10", per_cent)
    return value


def _coefficient_uncertainty(value: float) -> float:
    if not 0.0 < value <= 1.0:
        raise _finding("the coefficient's standard uncertainty must be larger than zero, and at most 1", None)
    return value


def _rocker_ratio(value: float) -> float:
    if not 0.3 <= value <= 5.0:
        raise _finding("the rocker ratio, valve lift over tappet lift, must lie between 0.3 and 5")
    return value


def _valves(value: object) -> object:
    if isinstance(value, int | float) and not isinstance(value, bool) and value in range(1, 9):
        return int(value)
    quoted = isinstance(value, str) and re.fullmatch(r"\s*[1-8]\s*", value)
    raise _finding("a whole number from 1 to 8 is needed here", "Write it without quotes" if quoted else None)


def _typed_later(description: str, example: str) -> WithJsonSchema:
    """Return the schema of a quantity whose kind depends on other keys, so that it is read when they are."""
    return WithJsonSchema(
        {"type": "string", "description": description, "examples": [example], "pattern": _QUANTITY_PATTERN}
    )


def _text(value: object) -> object:
    if not isinstance(value, str):
        raise _finding("words in quotes are needed here", f'Write it like: "{value}"' if _is_plain(value) else None)
    if not value.strip():
        raise _finding("there are no words between the quotes", "Write some, or take the line away")
    if len(value) > _LONGEST_TEXT:
        raise _finding(f"these words are too long, {len(value)} letters where at most {_LONGEST_TEXT} fit")
    return value


def _is_plain(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and len(str(value)) <= 20


_LONGEST_TEXT = 200
Number = Annotated[float, BeforeValidator(_number)]
Text = Annotated[str, BeforeValidator(_text), StringConstraints(strict=True, min_length=1, max_length=_LONGEST_TEXT)]


class _Table(BaseModel):
    # Built when the job is checked, once for all tables, not class by class at import.
    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)


class CutTable(_Table):
    """A cone cut: angle from the plane of the valve head, width along the cone."""

    angle: Angle
    width: PositiveLength


class ValveTable(_Table):
    """The valve."""

    head_diameter: PositiveLength
    stem_diameter: PositiveLength
    face_angle: Angle | None = Field(None, description="default: the seat's angle")
    face_width: PositiveLength | None = Field(
        None, description=f"along the cone; default: {FACE_OVER_SEAT_WIDTH} x the seat's width"
    )
    margin: PositiveLength = Field(MARGIN, description=f"default {1e3 * MARGIN:.1f} mm")
    back_cut: CutTable | None = None
    underhead_angle: Angle = Field(
        UNDERHEAD_ANGLE, description=f"cone toward the stem; default {math.degrees(UNDERHEAD_ANGLE):g} deg"
    )
    fillet_radius: Length = Field(0.0, description="under-head cone to stem; default 0 (sharp)")
    length_uncertainty: PositiveLength | None = Field(
        None, description="standard uncertainty of each length of the valve"
    )
    seat_force: SeatForce | None = Field(None, description="of the spring on the closed valve")
    gas_pressure: GasPressure | None = Field(
        None, description="greatest pressure in the cylinder over that in the port, on the closed valve"
    )


class SeatTable(_Table):
    """The seat, from the chamber to the throat."""

    angle: Angle
    width: PositiveLength = Field(description="along the seat")
    outer_diameter: PositiveLength | None = Field(None, description="default: the valve's head diameter")
    top_cut: CutTable | None = Field(None, description="on the chamber side")
    bottom_cuts: tuple[CutTable, ...] = Field(
        (), description="from the seat toward the throat, in order", max_length=20
    )
    throat_diameter: PositiveLength
    length_uncertainty: PositiveLength | None = Field(None, description="standard uncertainty of each length of it")


class BenchTable(_Table):
    """The flow bench and the room's air."""

    test_pressure: TestPressure
    temperature: Temperature
    barometer: Barometer
    humidity: Humidity
    flow_accuracy: Annotated[Any, _typed_later("standard uncertainty of one flow, a part of it or a flow", "1 %")] = (
        None
    )
    test_pressure_uncertainty: PositivePressure | None = Field(
        None, description="standard uncertainty of the test pressure"
    )
    density_uncertainty: PositiveRatio | None = Field(
        None, description="standard uncertainty of the air's density, as a part of it"
    )
    lift_uncertainty: PositiveLength | None = Field(None, description="standard uncertainty of a lift")
    leak_test: Literal["report", "subtract"] = Field(
        "report", description="what is done with the flow measured at lift 0; default: it is reported"
    )


class GaugeTable(_Table):
    """The gauge at the stations."""

    reads: GaugeReads
    coefficient: Annotated[
        Number, AfterValidator(_coefficient), Field(json_schema_extra={"minimum": 0.01, "maximum": 10})
    ] = Field(1.0, description="velocity = coefficient x isentropic velocity")
    coefficient_uncertainty: (
        Annotated[Number, AfterValidator(_coefficient_uncertainty), Field(json_schema_extra={"exclusiveMinimum": 0})]
        | None
    ) = Field(None, description="standard uncertainty of the coefficient")
    accuracy: Annotated[Any, _typed_later("standard uncertainty of one reading, with its unit", "0.1 inH2O")] = None
    resolution: Annotated[Any, _typed_later("least step that the gauge shows, with its unit", "0.05 inH2O")] = None


class StationsTable(_Table):
    """The stations round the valve."""

    angles: tuple[Number, ...] = Field(
        description="degrees, anticlockwise seen from the cylinder", min_length=3, max_length=3600
    )
    reference: Text = Field(UNNAMED_REFERENCE, description="what station 0 faces, in your words")


class DurationTable(_Table):
    """How long the valve stands above a lift, as a cam card tells it."""

    lift: ZeroOrLength = Field(description="a lift of 0 mm: from opening to closing")
    angle: Duration = Field(description="crank angle for which the valve stands above that lift")


class CamTable(_Table):
    """The cam: what cam.csv does not tell, or in its place the figures of a cam card."""

    peak_lift: PositiveLength | None = Field(None, description="greatest lift of the card")
    peak_at: CrankAngle | None = Field(None, description="crank angle of the greatest lift")
    durations: tuple[DurationTable, ...] = Field(
        (), description="one or two of { lift = ..., angle = ... }: crank angle above that lift", max_length=2
    )
    lift_of: Literal["valve", "tappet"] = Field(
        "valve", description="whose lift the card's figures are; default: the valve's"
    )
    rocker_ratio: (
        Annotated[Number, AfterValidator(_rocker_ratio), Field(json_schema_extra={"minimum": 0.3, "maximum": 5})] | None
    ) = Field(None, description="valve lift over tappet lift, where the lift is the tappet's")
    lash: Lash | None = Field(None, description="clearance, taken off the valve's lift; below it the valve is closed")


class EngineTable(_Table):
    """The cylinder that the valve works in."""

    bore: Bore
    stroke: Stroke | None = None
    rod_length: RodLength | None = Field(None, description="between the centres of its bearings")
    speed: Speed | None = Field(None, description="of the crankshaft")
    valves: Annotated[int, BeforeValidator(_valves), Field(json_schema_extra={"minimum": 1, "maximum": 8})] = Field(
        1, description="valves of the job's side in one cylinder; default 1"
    )
    valve_offset: Offset | None = Field(None, description="distance of the valve's axis from the bore's")
    valve_direction: Direction | None = Field(
        None, description="station angle of the direction from the bore's axis to the valve's"
    )
    dead_centre: CrankAngle | None = Field(
        None,
        description="crank angle, as the cam counts it, of the top dead centre at which the gas is exchanged",
    )


class ShopTable(_Table):
    """The shop that hands a report over."""

    name: Text | None = None
    address: Text | None = Field(None, description="lines parted by commas or line ends")
    contact: Text | None = Field(None, description="telephone, mail: what a customer reaches you by")
    logo: Text | None = Field(None, description="a .png or .jpg in the job's folder")


class CustomerTable(_Table):
    """Whom a report is for."""

    name: Text | None = None
    head: Text | None = Field(None, description="which head or engine it is about, in your words")
    order: Text | None = Field(None, description="your own number of the work")


class JobTable(_Table):
    """A flow-bench job: one head, one valve, its bench data."""

    format: Literal[1]
    title: Text = "Untitled job"
    side: Side
    valve: ValveTable
    seat: SeatTable
    bench: BenchTable
    gauge: GaugeTable
    stations: StationsTable
    cam: CamTable | None = None
    engine: EngineTable | None = None
    shop: ShopTable | None = None
    customer: CustomerTable | None = None


def job_json_schema() -> dict[str, Any]:
    """Return the JSON Schema of job.toml."""
    schema = JobTable.model_json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": "portviz job.toml"}


def validate_job_table(raw: dict[str, Any]) -> JobTable:
    """Return job.toml's content checked, in SI.

    Raises
    ------
    JobError
        For the first thing that is wrong: its key, value, and what was expected.
    """
    try:
        return JobTable.model_validate(raw)
    except ValidationError as error:
        problems = error.errors(include_url=False)
    # Unknown keys first: a misspelt key also shows up as a missing one, and the spelling explains both.
    problems.sort(key=lambda problem: problem["type"] != "extra_forbidden")
    message = _explain(dict(problems[0]))
    # A list with a wrong entry is found too short besides.
    first = problems[0]["loc"]
    problems = [each for each in problems if each["loc"] == first or each["loc"] != first[: len(each["loc"])]]
    if problems[0]["type"] == "extra_forbidden":
        # A misspelt section or key is missing under its proper name too: that is one fault, not two.
        *above, key = problems[0]["loc"]
        meant = (*above, nearest_name(str(key), _keys_at(tuple(above))))
        problems = [each for each in problems if each["type"] != "missing" or each["loc"] != meant]
    if len(problems) > 1:
        others = [_dotted(problem["loc"]) for problem in problems[1:4]]
        more = "" if len(problems) <= 4 else f" and {len(problems) - 4} more"
        more = f"More to mend in the same file: {', '.join(others)}{more}"
        message["mend"] = " ".join(sentence(each) for each in (message.get("mend"), more) if each)
    raise JobError(**message)


def _dotted(location: tuple[int | str, ...]) -> str:
    text = ""
    for step in location:
        text += f"[{step + 1}]" if isinstance(step, int) else f".{step if len(step) <= 60 else step[:59] + '…'}"
    return text.lstrip(".")


def _explain(problem: dict[str, Any]) -> dict[str, Any]:
    """Turn one of pydantic's findings into the words of a JobError."""
    location, kind, value = problem["loc"], problem["type"], problem["input"]
    words: dict[str, Any] = {"file": JOB_FILE, "place": _dotted(location)}
    if kind == "extra_forbidden":
        return words | _unknown_key(location, value)
    if kind == "missing":
        what = "section" if len(location) == 1 and _keys_at(location) else "key"
        return words | {"problem": f"this {what} is missing", "expected": _description(location)}
    words["value"] = value
    if kind == "ours":
        return {**words, **problem["ctx"]}
    if kind == "literal_error":
        choices = _choices(location)
        words["mend"] = suggestion(str(value), choices, '"')
        return words | {"problem": "this does not fit here", "expected": _description(location)}
    if kind in ("model_type", "model_attributes_type"):
        doubled = isinstance(value, list) and len(location) == 1
        words["mend"] = f"Write [{location[0]}], in single brackets" if doubled else None
        return words | {"problem": "keys and values are needed here", "expected": _description(location)}
    if kind == "tuple_type":
        return words | _no_list(location, value)
    if kind in ("too_short", "too_long"):
        length = counted(len(value), "entry", "entries")
        limits = _schema_at(location)
        fits = f"at least {limits['minItems']}" if kind == "too_short" else f"at most {limits['maxItems']}"
        return words | {"problem": f"this list has {length}", "expected": f"{fits}: {_description(location)}"}
    return words | {"problem": "this value does not fit here", "expected": _description(location)}


def _no_list(location: tuple[int | str, ...], value: object) -> dict[str, Any]:
    """Return the words for a value that should stand in square brackets."""
    key = str(location[-1])
    mend = None
    entry = ", ".join(f"{name} = ..." for name in _keys_at((*location, 0)))
    if entry:
        what = "it" if isinstance(value, dict) else "each one"
        mend = f"Put {what} in [ ... ]: {key} = [ {{ {entry} }} ]"
    elif isinstance(value, str):
        mend = f"Write it without quotes, in [ ... ]: {key} = [0, 90, 180, 270]"
    elif isinstance(value, int | float):
        mend = f"Write each one in [ ... ]: {key} = [0, 90, 180, 270]"
    expected = None if isinstance(value, dict) else _description(location)
    return {"problem": "a list in square brackets is needed here", "expected": expected, "mend": mend}


def _unknown_key(location: tuple[int | str, ...], value: object) -> dict[str, Any]:
    """Return the words for a key that its section does not have; one that another section has is sent there."""
    key, section = str(location[-1]), ".".join(str(step) for step in location[:-1])
    known = _keys_at(location[:-1])
    if section == "cam" and key.lower() in ("opens", "closes", "opening", "closing", "open", "close"):
        # What many cam cards print.
        mend = (
            "Opening and closing make a duration: opening before top dead centre + 180 + closing after bottom dead "
            "centre, as 12 + 180 + 60 = 252; the peak of a symmetric cam stands midway between the two"
        )
        return {"problem": "unknown key", "value": value, "expected": f"one of {', '.join(known)}", "mend": mend}
    home, name = _home_of(key, section)
    near = nearest_name(key, known)
    # The same word but for a slip, such as angle for angles, goes before one of another section.
    # So does a section with a section's near name, such as [valves] for [valve].
    slip = home != section and near is not None and key in near and len(near) - len(key) < 2
    section_slip = isinstance(value, dict) and len(location) == 1 and near is not None and bool(_keys_at((near,)))
    if home is not None and not (slip or section_slip):
        where = f"the section [{home}]" if home else "the top of the file, above the first section"
        moved = f"It belongs to {where}" if home != section else "The name of the section stays away"
        written = "" if name == key else f": {name} = ..."
        other = f"; here there is {near}" if near and near.endswith(f"_{key}") else ""
        return {"problem": "unknown key", "value": value, "mend": f"{moved}{written}{other}"}
    return {
        "problem": "unknown key",
        "value": value,
        "expected": f"one of {', '.join(known)}",
        "mend": suggestion(key, known),
    }


def _home_of(key: str, section: str) -> tuple[str | None, str]:
    """Return the section that has a key, "" for the top of the file, and the key's name there.

    A key may name its section, as in ``seat_width``.
    """
    sections = {name: _keys_at((name,)) for name in _keys_at(()) if _keys_at((name,))}
    for name, keys in sections.items():
        rest = key.removeprefix(f"{name}_")
        if rest != key and rest in keys:
            return name, rest
    if section and key in set(_keys_at(())) - set(sections):
        return "", key
    return next(((name, key) for name, keys in sections.items() if key in keys and name != section), (None, key))


def _choices(location: tuple[int | str, ...]) -> list[str]:
    return [str(word) for word in _schema_at(location).get("enum", ())]


@functools.cache
def _cached_schema() -> dict[str, Any]:
    return job_json_schema()


def _schema_at(location: tuple[int | str, ...]) -> dict[str, Any]:
    schema = _cached_schema()
    definitions = schema["$defs"]

    def resolved(node: dict[str, Any]) -> dict[str, Any]:
        for option in node.get("anyOf", []):
            if option.get("type") != "null":
                node = {**node, **option}
        if "$ref" in node:
            node = {**definitions[node["$ref"].rsplit("/", 1)[1]], **node}
        return node

    node = schema
    for step in location:
        node = resolved(node.get("items", {}) if isinstance(step, int) else node.get("properties", {}).get(step, {}))
    return node


def _keys_at(location: tuple[int | str, ...]) -> list[str]:
    return list(_schema_at(location).get("properties", {}))


def _description(location: tuple[int | str, ...]) -> str:
    node = _schema_at(location)
    if "properties" in node:
        keys = ", ".join(node.get("required", node["properties"]))
        return f"a section with {keys}" if len(location) == 1 else f"{{ ... }} with {keys}"
    words = str(node.get("description") or node.get("type") or "a value")
    if "examples" in node:
        words += f', such as "{node["examples"][0]}"'
    if "enum" in node:
        words = "one of " + ", ".join(f'"{word}"' for word in node["enum"])
    if "const" in node:
        words = str(node["const"])
    return words
