"""What job.toml may hold: checked by pydantic, and published as JSON Schema for editors."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import (
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

from portviz.errors import JobError, UnitError, suggestion
from portviz.job.model import JOB_FILE, GaugeReads, Side
from portviz.units import KINDS, parse_quantity

_QUANTITY_PATTERN = r"^\s*[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?\s*[A-Za-zµ°%].*$"


@dataclass(frozen=True)
class _Quantity:
    """A quantity in quotes, turned into SI: above a value, or between two, with the words for what lies outside."""

    kind: str
    example: str
    above: float | None = None
    between: tuple[float, float, str] | None = None

    def parse(self, value: object) -> float:
        try:
            number = parse_quantity(value, self.kind)
        except UnitError as error:
            raise PydanticCustomError("unit", "{reason}", {"reason": str(error)}) from None
        if self.above is not None and not number > self.above:
            raise PydanticCustomError("range", "{reason}", {"reason": f"the {self.kind} must be larger than zero"})
        if self.between is not None and not self.between[0] <= number <= self.between[1]:
            raise PydanticCustomError("range", "{reason}", {"reason": self.between[2]})
        return number

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.parse)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {
            "type": "string",
            "description": f"{self.kind} with its unit ({', '.join(KINDS[self.kind][1])})",
            "examples": [self.example],
            "pattern": _QUANTITY_PATTERN,
        }


Length = Annotated[float, _Quantity("length", "1.6 mm")]
PositiveLength = Annotated[float, _Quantity("length", "41 mm", above=0.0)]
Angle = Annotated[float, _Quantity("angle", "45 deg")]
TestPressure = Annotated[
    float, _Quantity("pressure", "28 inH2O", between=(1.0, 1e6, "a test pressure lies between 1 Pa and 1 MPa"))
]
Barometer = Annotated[
    float, _Quantity("pressure", "100 kPa", between=(1e4, 2e5, "a barometer shows between 10 kPa and 200 kPa"))
]
Temperature = Annotated[
    float, _Quantity("temperature", "21 degC", between=(223.15, 343.15, "a room has between -50 degC and 70 degC"))
]
Humidity = Annotated[
    float, _Quantity("ratio", "45 %", between=(0.0, 1.0, "relative humidity lies between 0 % and 100 %"))
]


def _number(value: object) -> object:
    plain = isinstance(value, int | float) and not isinstance(value, bool)
    if not plain or not -1e9 <= value <= 1e9:  # type: ignore[operator]
        raise PydanticCustomError("number", "{reason}", {"reason": "a plain number is needed here"})
    return value


Number = Annotated[float, BeforeValidator(_number)]
Text = Annotated[str, StringConstraints(strict=True, min_length=1, max_length=200)]


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
    face_width: PositiveLength | None = Field(None, description="along the cone; default: 1.25 x the seat's width")
    margin: PositiveLength = Field(1e-3, description="default 1.0 mm")
    back_cut: CutTable | None = None
    underhead_angle: Angle = Field(math.radians(15.0), description="cone toward the stem; default 15 deg")
    fillet_radius: Length = Field(0.0, description="under-head cone to stem; default 0 (sharp)")


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


class BenchTable(_Table):
    """The flow bench and the room's air."""

    test_pressure: TestPressure
    temperature: Temperature
    barometer: Barometer
    humidity: Humidity


class GaugeTable(_Table):
    """The gauge at the stations."""

    reads: GaugeReads
    coefficient: Annotated[Number, Field(ge=0.01, le=10.0, json_schema_extra={"minimum": 0.01, "maximum": 10})] = Field(
        1.0, description="velocity = coefficient x isentropic velocity"
    )
    accuracy: Annotated[
        Any,
        WithJsonSchema(
            {
                "type": "string",
                "description": "standard uncertainty of one reading, with its unit",
                "examples": ["0.1 inH2O"],
                "pattern": _QUANTITY_PATTERN,
            }
        ),
    ] = None


class StationsTable(_Table):
    """The stations round the valve."""

    angles: tuple[Number, ...] = Field(
        description="degrees, anticlockwise seen from the cylinder", min_length=3, max_length=3600
    )
    reference: Text = Field("station 0", description="what station 0 faces, in your words")


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
    if len(problems) > 1:
        others = [_dotted(problem["loc"]) for problem in problems[1:4]]
        more = "" if len(problems) <= 4 else f" and {len(problems) - 4} more"
        message["mend"] = (message.get("mend") or "") + f" More to mend in the same file: {', '.join(others)}{more}"
    raise JobError(**message)


def _dotted(location: tuple[int | str, ...]) -> str:
    text = ""
    for step in location:
        text += f"[{step + 1}]" if isinstance(step, int) else f".{step if len(step) <= 60 else step[:59] + '…'}"
    return text.lstrip(".")


def _explain(problem: dict[str, Any]) -> dict[str, Any]:
    """Turn one of pydantic's findings into the words of a JobError."""
    location, kind, value = problem["loc"], problem["type"], problem["input"]
    key = _dotted(location)
    words: dict[str, Any] = {"file": JOB_FILE, "place": key}
    if kind == "extra_forbidden":
        known = _keys_at(location[:-1])
        words |= {"problem": "unknown key", "value": value}
        words["expected"] = f"one of {', '.join(known)}"
        words["mend"] = suggestion(str(location[-1]), known)
    elif kind == "missing":
        words |= {"problem": "this key is missing", "expected": _description(location)}
    elif kind in ("unit", "range", "number"):
        words |= {"problem": problem["ctx"]["reason"], "value": value}
    elif kind == "literal_error":
        words |= {"problem": "not one of the words that fit", "value": value, "expected": problem["ctx"]["expected"]}
        words["mend"] = suggestion(str(value), _choices(problem), '"')
    elif kind in ("model_type", "model_attributes_type"):
        words |= {"problem": "a table of keys is needed here", "value": value, "expected": _description(location)}
    elif kind in ("tuple_type", "too_short", "too_long"):
        words |= {"problem": problem["msg"].replace("Tuple", "The list").replace("tuple", "list"), "value": value}
        words["expected"] = _description(location)
    else:
        words |= {"problem": problem["msg"], "value": value}
    return words


def _choices(problem: dict[str, Any]) -> list[str]:
    return [word.strip(" '") for word in problem["ctx"]["expected"].replace(" or ", ",").split(",")]


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
        return "a table with " + ", ".join(node.get("required", node["properties"]))
    words = str(node.get("description") or node.get("type") or "a value")
    if "examples" in node:
        words += f', such as "{node["examples"][0]}"'
    if "enum" in node:
        words = "one of " + ", ".join(f'"{word}"' for word in node["enum"])
    if "const" in node:
        words = str(node["const"])
    return words
