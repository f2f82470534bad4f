"""job.toml: its defaults, its words, and the schema that editors get."""

from __future__ import annotations

import copy
import json
import math
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from numpy.testing import assert_allclose

from portviz.errors import JobError
from portviz.job.demo import demo_folder, template_folder
from portviz.job.model import Cut, Job
from portviz.job.read import read_job
from portviz.job.schema import job_json_schema

MakeJob = Callable[..., Path]
EXAMPLES = Path(__file__).parents[2] / "examples"
JOBS = [*sorted(folder for folder in EXAMPLES.iterdir() if (folder / "job.toml").is_file()), template_folder()]


def job_from(make_job: MakeJob, **changes: str) -> Job:
    """Read a job with words of job.toml replaced: `seat='width = "2 mm"'` puts a line into a table."""
    lines = {f"[{table}]\n": f"[{table}]\n{line}\n" for table, line in changes.items()}
    return read_job(make_job(lines))


def test_defaults_of_the_contract(make_job: MakeJob) -> None:
    job = read_job(make_job())
    assert job.valve.face_angle == job.seat.angle == pytest.approx(math.radians(45.0))
    assert job.valve.face_width == pytest.approx(1.25 * 1.6e-3)
    assert job.valve.margin == pytest.approx(1e-3)
    assert job.valve.underhead_angle == pytest.approx(math.radians(15.0))
    assert job.valve.fillet_radius == 0.0
    assert job.valve.back_cut is None
    assert job.seat.outer_diameter == job.valve.head_diameter == pytest.approx(40e-3)
    assert job.seat.top_cut is None
    assert job.seat.bottom_cuts == ()
    assert job.gauge.coefficient == 1.0
    assert job.gauge.accuracy is None
    assert job.flow is None
    assert job.cam is None


@pytest.mark.parametrize(("angle", "width"), [("30 deg", "2.0 mm"), ("1.0 rad", "0.08 in")])
def test_the_face_follows_the_seat(make_job: MakeJob, angle: str, width: str) -> None:
    job = read_job(make_job({'angle = "45 deg"\nwidth = "1.6 mm"': f'angle = "{angle}"\nwidth = "{width}"'}))
    assert job.valve.face_angle == job.seat.angle
    assert job.valve.face_width == pytest.approx(1.25 * job.seat.width)


def test_what_is_given_takes_the_place_of_the_defaults(make_job: MakeJob) -> None:
    valve = """face_angle = "44 deg"\nface_width = "2.2 mm"\nmargin = "0.05 in"\nunderhead_angle = "0 deg"
fillet_radius = "8 mm"\nback_cut = { angle = "30 deg", width = "1 mm" }"""
    seat = """outer_diameter = "39.6 mm"\ntop_cut = { angle = "30 deg", width = "1.2 mm" }
bottom_cuts = [ { angle = "60 deg", width = "0.7 mm" }, { width = "30 thou", angle = "1.25 rad" } ]"""
    job = job_from(make_job, valve=valve, seat=seat, gauge='coefficient = 0.97\naccuracy = "0.1 inH2O"')
    assert job.valve.face_angle == pytest.approx(math.radians(44.0))
    assert job.valve.face_width == pytest.approx(2.2e-3)
    assert job.valve.margin == pytest.approx(1.27e-3)
    assert job.valve.underhead_angle == 0.0
    assert job.valve.fillet_radius == pytest.approx(8e-3)
    assert job.valve.back_cut == Cut(pytest.approx(math.radians(30.0)), pytest.approx(1e-3))
    assert job.seat.outer_diameter == pytest.approx(39.6e-3)
    assert job.seat.top_cut == Cut(pytest.approx(math.radians(30.0)), pytest.approx(1.2e-3))
    assert job.seat.bottom_cuts == (
        Cut(pytest.approx(math.radians(60.0)), pytest.approx(0.7e-3)),
        Cut(pytest.approx(1.25), pytest.approx(0.762e-3)),
    )
    assert job.gauge.coefficient == 0.97
    assert job.gauge.accuracy == pytest.approx(24.908891)


def test_the_bench_in_si(make_job: MakeJob) -> None:
    job = read_job(
        make_job(
            {
                '"7000 Pa"': '"28 inH2O"',
                '"20 degC"': '"68 degF"',
                '"100 kPa"': '"29.53 inHg"',
                '"40 %"': '"40%"',
            }
        )
    )
    assert job.bench.test_pressure == pytest.approx(28 * 249.08891)
    assert job.bench.air.temperature == pytest.approx(293.15)
    assert job.bench.air.pressure == pytest.approx(100_000.0, rel=1e-5)
    assert job.bench.air.humidity == pytest.approx(0.4)


@pytest.mark.parametrize("humidity", ["0 %", "100 %"])
def test_dry_and_saturated_air_are_allowed(make_job: MakeJob, humidity: str) -> None:
    job = read_job(make_job({'"40 %"': f'"{humidity}"'}))
    assert job.bench.air.humidity == pytest.approx(float(humidity[:-2]) / 100.0)


@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_both_sides(make_job: MakeJob, side: str) -> None:
    assert read_job(make_job({'side = "intake"': f'side = "{side}"'})).side == side


@pytest.mark.parametrize(
    ("reads", "unit", "kind"),
    [
        ("upstream-minus-tap", "Pa", "pressure"),
        ("tap-minus-downstream", "mmH2O", "pressure"),
        ("total-minus-static", "inH2O", "pressure"),
        ("velocity", "m/s", "velocity"),
    ],
)
def test_all_gauges(make_job: MakeJob, reads: str, unit: str, kind: str) -> None:
    text = f"run,lift [mm],station,reading [{unit}]\n" + "".join(f"a,4,{angle},5\n" for angle in (0, 90, 180))
    job = read_job(make_job({'"upstream-minus-tap"': f'"{reads}"\naccuracy = "0.5 {unit}"'}, readings_csv=text))
    assert (job.gauge.reads, job.gauge.kind) == (reads, kind)
    assert job.readings is not None
    # Reading and accuracy went through the same door.
    assert_allclose(job.readings.value, 10.0 * job.gauge.accuracy)


@pytest.mark.parametrize(("reads", "unit"), [("velocity", "inH2O"), ("total-minus-static", "m/s")])
def test_accuracy_has_the_kind_of_the_gauge(make_job: MakeJob, reads: str, unit: str) -> None:
    with pytest.raises(JobError, match=rf"job\.toml, gauge\.accuracy: the unit '{unit}' is not a "):
        read_job(make_job({'"upstream-minus-tap"': f'"{reads}"\naccuracy = "0.5 {unit}"'}), tables=False)


def test_stations_keep_their_order_and_names(make_job: MakeJob) -> None:
    job = job_from(make_job, stations='reference = "toward the plug"')
    assert job.stations.reference == "toward the plug"
    job = read_job(make_job({"[0, 90, 180, 270]": "[315, -30.5, 90]"}, readings_csv=None))
    assert job.stations.angles_deg.tolist() == [315.0, -30.5, 90.0]
    assert_allclose(job.stations.circle_deg, [315.0, 329.5, 90.0])


def test_as_many_stations_as_the_schema_allows(make_job: MakeJob) -> None:
    angles = ", ".join(f"{tenth / 10:g}" for tenth in range(3600))
    assert len(read_job(make_job({"0, 90, 180, 270": angles})).stations.angles_deg) == 3600


def test_the_folder_or_its_job_file(make_job: MakeJob) -> None:
    folder = make_job()
    assert read_job(folder).title == read_job(folder / "job.toml").title == read_job(str(folder)).title == "Small twin"
    assert read_job(folder / "job.toml").folder == folder


def test_without_tables_only_the_geometry_is_read(make_job: MakeJob) -> None:
    job = read_job(make_job(readings_csv="nonsense", flow_csv=b"\xff", cam_csv=""), tables=False)
    assert job.readings is job.flow is job.cam is None


@pytest.mark.parametrize(
    "style", [str, lambda text: text.replace("\n", "\r\n"), lambda text: "\ufeff" + text], ids=["LF", "CRLF", "mark"]
)
def test_styles_of_text(make_job: MakeJob, style: Callable[[str], str]) -> None:
    plain = (make_job() / "job.toml").read_text()
    assert read_job(make_job(job_toml=style(plain))).valve == read_job(make_job()).valve


def test_job_data_cannot_be_changed(make_job: MakeJob) -> None:
    job = read_job(make_job())
    with pytest.raises(AttributeError, match="cannot assign"):
        job.title = "other"  # type: ignore[misc]


# The schema ----------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def validator() -> jsonschema.Draft202012Validator:
    schema = json.loads(json.dumps(job_json_schema()))
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


def toml_of(folder: Path) -> dict[str, Any]:
    return tomllib.loads((folder / "job.toml").read_text(encoding="utf-8"))


def test_schema_names_its_dialect(validator: jsonschema.Draft202012Validator) -> None:
    assert validator.schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"


@pytest.mark.parametrize("folder", JOBS, ids=lambda folder: folder.name)
def test_schema_and_reader_accept_the_jobs_that_come_along(
    validator: jsonschema.Draft202012Validator, folder: Path
) -> None:
    assert [error.message for error in validator.iter_errors(toml_of(folder))] == []
    job = read_job(folder)
    assert job.readings is not None
    assert job.flow is not None
    assert np.all(np.isfinite(job.readings.value))


def test_the_demo_is_the_sidecar_example() -> None:
    """By content: an installed package carries its own copy."""
    example = EXAMPLES / "sidecar_intake"
    names = sorted(file.name for file in example.iterdir())
    assert sorted(file.name for file in demo_folder().iterdir()) == names
    for name in names:
        assert (demo_folder() / name).read_bytes() == (example / name).read_bytes()


def test_the_template_mentions_every_key(validator: jsonschema.Draft202012Validator) -> None:
    text = (template_folder() / "job.toml").read_text(encoding="utf-8")
    tables = validator.schema["$defs"].values()
    keys = {key for table in tables for key in table.get("properties", {})}
    assert {"face_angle", "back_cut", "throat_diameter", "accuracy", "angles"} <= keys
    assert [key for key in sorted(keys) if f"{key} =" not in text] == []


@pytest.mark.parametrize(
    "path",
    [(), ("valve",), ("seat",), ("seat", "top_cut"), ("seat", "bottom_cuts", 0), ("bench",), ("gauge",), ("stations",)],
)
def test_schema_refuses_an_unknown_key(validator: jsonschema.Draft202012Validator, path: tuple[str | int, ...]) -> None:
    table = copy.deepcopy(toml_of(demo_folder()))
    node: Any = table
    for step in path:
        node = node[step]
    node["colour"] = "red"
    errors = list(validator.iter_errors(table))
    assert errors, "an unknown key passes"
    text = " ".join(detail.message for error in errors for detail in [error, *(error.context or [])])
    assert "'colour' was unexpected" in text


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("valve", "head_diameter"), 41),
        (("valve", "head_diameter"), "41"),
        (("valve", "head_diameter"), "mm"),
        (("valve", "back_cut"), "30 deg"),
        (("seat", "bottom_cuts"), {"angle": "60 deg", "width": "1 mm"}),
        (("side",), "inlet"),
        (("format",), 2),
        (("gauge", "reads"), "upstream"),
        (("gauge", "coefficient"), 0),
        (("gauge", "accuracy"), 0.1),
        (("stations", "angles"), [0, 90]),
        (("stations", "angles"), ["0", "90", "180"]),
        (("title",), ""),
    ],
    ids=str,
)
def test_schema_refuses_what_the_reader_refuses(
    validator: jsonschema.Draft202012Validator, path: tuple[str, ...], value: object
) -> None:
    table = copy.deepcopy(toml_of(demo_folder()))
    node = table
    for step in path[:-1]:
        node = node[step]
    old = node[path[-1]]
    node[path[-1]] = value
    assert list(validator.iter_errors(table)), f"{value!r} passes in place of {old!r}"


@pytest.mark.parametrize(
    "path", [("format",), ("side",), ("valve",), ("seat", "width"), ("bench", "humidity"), ("gauge", "reads")], ids=str
)
def test_schema_refuses_a_missing_key(validator: jsonschema.Draft202012Validator, path: tuple[str, ...]) -> None:
    table = copy.deepcopy(toml_of(demo_folder()))
    node = table
    for step in path[:-1]:
        node = node[step]
    del node[path[-1]]
    assert any(f"'{path[-1]}' is a required property" in error.message for error in validator.iter_errors(table))
