"""The section [engine]: the cylinder that the valve works in."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import jsonschema
import pytest

from portviz.errors import JobError
from portviz.job.read import read_job
from portviz.job.schema import job_json_schema

MakeJob = Callable[..., Path]
ENGINE = """
[engine]
bore = "82 mm"
stroke = "70 mm"
rod_length = "130 mm"
speed = "6500 rpm"
valves = 2
valve_offset = "18 mm"
valve_direction = "180 deg"
dead_centre = "24 deg"
"""


def test_the_cylinder_in_si(make_job: MakeJob, small_job: str) -> None:
    """6500 rpm x 2 pi / 60; angles that a person reads back stay as typed."""
    engine = read_job(make_job(job_toml=small_job + ENGINE)).engine
    assert engine is not None
    lengths = (engine.bore, engine.stroke, engine.rod_length, engine.valve_offset)
    assert lengths == pytest.approx((82e-3, 70e-3, 130e-3, 18e-3), rel=1e-12)
    assert engine.speed == pytest.approx(6500.0 * 2.0 * math.pi / 60.0, rel=1e-12)
    assert (engine.valves, engine.valve_direction_deg, engine.dead_centre_deg) == (2, 180.0, 24.0)


def test_the_bore_is_enough(make_job: MakeJob, small_job: str) -> None:
    engine = read_job(make_job(job_toml=small_job + '[engine]\nbore = "3.25 in"\n')).engine
    assert engine is not None
    assert engine.bore == pytest.approx(3.25 * 0.0254)
    assert (engine.stroke, engine.rod_length, engine.speed, engine.valve_offset) == (None, None, None, None)
    assert (engine.valves, engine.valve_direction_deg, engine.dead_centre_deg) == (1, None, None)


def test_no_section_no_engine(make_job: MakeJob) -> None:
    assert read_job(make_job()).engine is None


def test_the_engine_is_there_without_tables(make_job: MakeJob, small_job: str) -> None:
    assert read_job(make_job(job_toml=small_job + ENGINE), tables=False).engine is not None


@pytest.mark.parametrize("speed", ["6500 rpm", "6500 1/min", "680.6784082777885 rad/s", "6500 RPM"])
def test_spellings_of_a_speed_pass_reader_and_schema(make_job: MakeJob, small_job: str, speed: str) -> None:
    text = small_job + ENGINE.replace("6500 rpm", speed)
    engine = read_job(make_job(job_toml=text)).engine
    assert engine is not None
    assert engine.speed == pytest.approx(680.6784082777885, rel=1e-12)
    jsonschema.validate({"engine": {"bore": "82 mm", "speed": speed}}, _part("engine"))


def _part(section: str) -> dict[str, object]:
    schema = job_json_schema()
    return {"$defs": schema["$defs"], "properties": {section: schema["properties"][section]}}


@pytest.mark.parametrize(
    "bad", [{"bore": "82 mm", "speed": "rpm"}, {"speed": "6500 rpm"}, {"bore": 82}, {"bore": "82 mm", "valves": 9}]
)
def test_the_schema_refuses_what_the_reader_refuses(bad: dict[str, object]) -> None:
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"engine": bad}, _part("engine"))


@pytest.mark.parametrize("section", ["cam", "engine"])
def test_the_schema_describes_every_key(section: str) -> None:
    definition = job_json_schema()["$defs"][f"{section.title()}Table"]
    for key, node in definition["properties"].items():
        described = [node.get("description")] + [each.get("description") for each in node.get("anyOf", [])]
        assert any(described), key


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ('"18 mm"', '"21 mm"', None),
        ('"18 mm"', '"21.1 mm"', "engine.bore, engine.valve_offset, valve.head_diameter"),
        ('"18 mm"', '"0.8267716535433071 in"', None),
        ('"130 mm"', '"35 mm"', "engine.rod_length, engine.stroke"),
        ('"130 mm"', '"60 mm"', None),
    ],
)
def test_what_fits_and_what_does_not(make_job: MakeJob, small_job: str, old: str, new: str, place: str | None) -> None:
    """The head of 40 mm fits a bore of 82 mm up to an offset of 41 - 20 = 21 mm; touching is allowed."""
    folder = make_job(job_toml=small_job + ENGINE.replace(old, new))
    if place is None:
        assert read_job(folder).engine is not None
        return
    with pytest.raises(JobError) as refused:
        read_job(folder)
    assert refused.value.place == place


def test_a_valve_wider_than_the_bore_needs_no_offset_to_be_wrong(make_job: MakeJob, small_job: str) -> None:
    with pytest.raises(JobError, match=r"engine\.bore, valve\.head_diameter: .* would stand 0\.5 mm outside the bore"):
        read_job(make_job(job_toml=small_job + '[engine]\nbore = "39 mm"\n'))
