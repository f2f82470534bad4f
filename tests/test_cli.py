"""The commands: their documents, exit codes, files, and what they load."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import os
import subprocess
import sys
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from portviz import __version__, cli
from portviz.__main__ import main
from portviz.errors import DrawingError

EXAMPLES = Path(__file__).parent.parent / "examples"


def readings(*runs: str, lifts: tuple[str, ...] = ("8", "4"), unit: str = "Pa", scale: float = 1.0) -> str:
    """Return readings at the four stations; lifts stand in the order given."""
    rows = [
        f"{run},{lift},{angle},{scale * (3000 + 10 * number + angle):g}"
        for number, run in enumerate(runs)
        for lift in lifts
        for angle in (0, 90, 180, 270)
    ]
    return "\n".join([f"run,lift [mm],station,reading [{unit}]", *rows, ""])


MakeJob = Callable[..., Path]


@pytest.fixture
def make_job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, small_job: str) -> MakeJob:
    """Return a function that writes a job to the folder `job` and goes beside it."""
    monkeypatch.chdir(tmp_path)

    def make(changes: dict[str, str] | None = None, **files: str) -> Path:
        job = small_job
        for old, new in (changes or {}).items():
            assert job.count(old) == 1, f"{old!r} is not once in the job"
            job = job.replace(old, new)
        folder = tmp_path / "job"
        folder.mkdir()
        for key, text in {"job_toml": job, **files}.items():
            (folder / ".".join(key.rsplit("_", 1))).write_text(text, encoding="utf-8")
        return folder

    return make


@dataclass(frozen=True)
class Outcome:
    """What a command line gave back."""

    code: int
    out: str
    err: str

    @property
    def document(self) -> dict[str, Any]:
        """The JSON document on standard output, which must hold no NaN and nothing beside it."""

        def refuse(constant: str) -> None:
            raise AssertionError(f"{constant} in the document")

        assert self.code == 0, self.err
        document = json.loads(self.out, parse_constant=refuse)
        assert document["format"] == 1
        assert document["warnings"] == [line.removeprefix("warning: ") for line in self.err.splitlines()]
        return document


def run(*arguments: object) -> Outcome:
    """Run portviz in this process."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main([str(each) for each in arguments])
    return Outcome(code, out.getvalue(), err.getvalue())


def process(*arguments: object, **environment: str) -> subprocess.CompletedProcess[bytes]:
    """Run portviz as a program."""
    command = [sys.executable, "-m", "portviz", *map(str, arguments)]
    return subprocess.run(
        command,
        capture_output=True,
        timeout=60,
        check=False,
        env={**os.environ, **environment},
        stdin=subprocess.DEVNULL,
    )


def csv_rows(path: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(Path(path).read_bytes().decode("utf-8"), newline="")))


def content(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() if path.is_file() else b"/" for path in folder.rglob("*")}


# Documents -----------------------------------------------------------------------------------------------------------

NUMBER = (int, float)
AREA_KEYS = {
    "lift_m": NUMBER,
    "stage": int,
    "three_stage_area_m2": NUMBER,
    "curtain_area_m2": NUMBER,
    "gap_area_m2": NUMBER,
    "throat_area_m2": NUMBER,
    "flow_area_m2": NUMBER,
    "limited_by": str,
    "head_area_m2": NUMBER,
}
NULLABLE = (*NUMBER, type(None))
LIFT_KEYS = {
    **AREA_KEYS,
    "lift_over_diameter": NUMBER,
    "test_pressure_pa": NUMBER,
    "flow_m3_s": NULLABLE,
    "discharge_coefficient": NULLABLE,
    "flow_area_coefficient": NULLABLE,
    "closure": NULLABLE,
    "mean_velocity_m_s": NUMBER,
    "coefficient_of_variation": NUMBER,
    "uniformity_index": NUMBER,
    "bias_magnitude": NUMBER,
    "bias_angle_deg": NUMBER,
    "stations": list,
}
STATION_KEYS = {
    "angle_deg": NUMBER,
    "repeats": int,
    "drop_pa": NUMBER,
    "velocity_m_s": NUMBER,
    "velocity_ratio": NUMBER,
    "mach": NUMBER,
    "flow_share": NUMBER,
    "flow_m3_s": NULLABLE,
}


def assert_keys(found: dict[str, Any], keys: dict[str, Any]) -> None:
    """Assert that a document has the keys, each of its type; true and false are no numbers."""
    assert set(keys) <= set(found), f"missing: {sorted(set(keys) - set(found))}"
    wrong = {key: found[key] for key, kind in keys.items() if not isinstance(found[key], kind) or found[key] is True}
    assert not wrong


def test_area_document(make_job: MakeJob) -> None:
    document = run("area", make_job(), "--lifts", "0.5 mm, 0.1 in,8mm", "--json").document
    assert_keys(document, {"format": int, "lifts": list})
    assert [row["lift_m"] for row in document["lifts"]] == pytest.approx([5e-4, 2.54e-3, 8e-3], rel=1e-12)
    for row in document["lifts"]:
        assert_keys(row, AREA_KEYS)
        assert row["stage"] in (1, 2, 3)
        assert row["limited_by"] in ("gap", "throat")
        assert row["flow_area_m2"] == min(row["gap_area_m2"], row["throat_area_m2"])


def test_area_needs_no_tables(make_job: MakeJob) -> None:
    folder = make_job(readings_csv="nonsense", flow_csv="")
    assert len(run("area", folder, "--lifts", "1 mm", "--json").document["lifts"]) == 1


def test_area_keeps_the_order_and_repeats_of_the_lifts(make_job: MakeJob) -> None:
    rows = run("area", make_job(), "--lifts", "8 mm,0 mm,8 mm", "--json").document["lifts"]
    assert [row["lift_m"] for row in rows] == [8e-3, 0.0, 8e-3]
    assert rows[0] == rows[2]


@pytest.mark.parametrize("example", ["sidecar_intake", "tractor_exhaust"])
def test_summary_document(example: str) -> None:
    document = run("summary", EXAMPLES / example, "--json").document
    assert_keys(document, {"format": int, "title": str, "side": str, "air": dict, "warnings": list, "runs": list})
    assert_keys(document["air"], {"density_kg_m3": NUMBER, "upstream_pressure_pa": NUMBER, "temperature_k": NUMBER})
    angles = tomllib.loads((EXAMPLES / example / "job.toml").read_text(encoding="utf-8"))["stations"]["angles"]
    for entry in document["runs"]:
        assert_keys(entry, {"run": str, "lifts": list})
        lifts = [row["lift_m"] for row in entry["lifts"]]
        assert lifts == sorted(lifts)
        for row in entry["lifts"]:
            assert_keys(row, LIFT_KEYS)
            assert 0.0 <= row["bias_angle_deg"] < 360.0
            assert [station["angle_deg"] for station in row["stations"]] == angles
            for station in row["stations"]:
                assert_keys(station, {**STATION_KEYS, "reading_pa": NUMBER})
                assert "reading_m_s" not in station
            assert sum(station["flow_share"] for station in row["stations"]) == pytest.approx(1.0)
            assert sum(station["flow_m3_s"] for station in row["stations"]) == pytest.approx(row["flow_m3_s"])


def test_summary_keeps_the_order_of_runs_and_sorts_the_lifts(make_job: MakeJob) -> None:
    document = run("summary", make_job(readings_csv=readings("zebra", "ant")), "--json").document
    assert [entry["run"] for entry in document["runs"]] == ["zebra", "ant"]
    assert [[row["lift_m"] for row in entry["lifts"]] for entry in document["runs"]] == [[4e-3, 8e-3]] * 2


def test_summary_without_flow_has_nulls(make_job: MakeJob) -> None:
    document = run("summary", make_job(readings_csv=readings("a")), "--json").document
    for row in document["runs"][0]["lifts"]:
        for key in ("flow_m3_s", "discharge_coefficient", "flow_area_coefficient", "closure"):
            assert row[key] is None
        assert all(station["flow_m3_s"] is None for station in row["stations"])
        assert sum(station["flow_share"] for station in row["stations"]) == pytest.approx(1.0)


def test_an_empty_flow_cell_is_null_at_its_lift_alone(make_job: MakeJob) -> None:
    flow = "run,lift [mm],flow [l/s]\na,8,\na,4,20\n"
    low, high = run("summary", make_job(readings_csv=readings("a"), flow_csv=flow), "--json").document["runs"][0][
        "lifts"
    ]
    assert low["flow_m3_s"] == pytest.approx(0.02)
    assert isinstance(low["closure"], float)
    assert high["flow_m3_s"] is None
    assert high["closure"] is None
    assert all(station["flow_m3_s"] is None for station in high["stations"])


def test_test_pressure_of_a_row_stands_in_the_document(make_job: MakeJob) -> None:
    flow = "run,lift [mm],flow [l/s],test_pressure [Pa]\na,8,40,5000\na,4,20,\n"
    document = run("summary", make_job(readings_csv=readings("a"), flow_csv=flow), "--json").document
    assert [row["test_pressure_pa"] for row in document["runs"][0]["lifts"]] == [7000.0, 5000.0]


@pytest.mark.parametrize(("side", "pressure"), [("intake", 100e3), ("exhaust", 107e3)])
def test_air_is_that_upstream(make_job: MakeJob, side: str, pressure: float) -> None:
    folder = make_job({'"intake"': f'"{side}"'}, readings_csv=readings("a"))
    document = run("summary", folder, "--json").document
    assert document["side"] == side
    assert document["air"]["upstream_pressure_pa"] == pytest.approx(pressure)
    assert document["air"]["temperature_k"] == pytest.approx(293.15)
    # Room air at 100 kPa, 20 degC and 40 % is 1.184 kg/m3; upstream it is denser with the pressure.
    assert document["air"]["density_kg_m3"] == pytest.approx(1.184 * pressure / 100e3, abs=1e-3)


def test_repeats_are_counted_and_averaged(make_job: MakeJob) -> None:
    text = readings("a", lifts=("4",)) + "a,4,90,3100\na,4,90,3190\n"
    stations = run("summary", make_job(readings_csv=text), "--json").document["runs"][0]["lifts"][0]["stations"]
    assert [station["repeats"] for station in stations] == [1, 3, 1, 1]
    assert [station["reading_pa"] for station in stations] == pytest.approx(
        [3000, (3090 + 3100 + 3190) / 3, 3180, 3270]
    )


def test_a_station_that_was_not_read_is_left_out_with_a_warning(make_job: MakeJob) -> None:
    text = readings("a", lifts=("4",)).replace("a,4,90,3090\n", "")
    document = run("summary", make_job(readings_csv=text), "--json").document
    assert [station["angle_deg"] for station in document["runs"][0]["lifts"][0]["stations"]] == [0, 180, 270]
    missing, unread, uneven = document["warnings"]
    assert missing.startswith("not all stations were read in a run, at any lift")
    assert missing.endswith(": a (90 deg)")
    assert unread.endswith("guesses: a at 4.00 mm (180 deg)")
    assert uneven.endswith("(0.250 toward 270 deg)")


def test_stations_keep_the_names_of_the_job(make_job: MakeJob) -> None:
    folder = make_job({"[0, 90, 180, 270]": "[270, -180, 90, 360]"}, readings_csv=readings("a", lifts=("4",)))
    stations = run("summary", folder, "--json").document["runs"][0]["lifts"][0]["stations"]
    assert [(station["angle_deg"], station["reading_pa"]) for station in stations] == [
        (270, 3270),
        (-180, 3180),
        (90, 3090),
        (360, 3000),
    ]


@pytest.mark.parametrize("reads", ["upstream-minus-tap", "total-minus-static", "tap-minus-downstream"])
def test_drop_by_the_gauge(make_job: MakeJob, reads: str) -> None:
    folder = make_job({"upstream-minus-tap": reads}, readings_csv=readings("a", lifts=("4",)))
    for station in run("summary", folder, "--json").document["runs"][0]["lifts"][0]["stations"]:
        reading = 3000.0 + station["angle_deg"]
        assert station["reading_pa"] == pytest.approx(reading)
        assert station["drop_pa"] == pytest.approx(7000.0 - reading if reads == "tap-minus-downstream" else reading)


def test_a_gauge_that_reads_velocity(make_job: MakeJob) -> None:
    text = readings("a", lifts=("4",), unit="m/s", scale=0.025)
    folder = make_job({'"upstream-minus-tap"': '"velocity"\ncoefficient = 0.9'}, readings_csv=text)
    for station in run("summary", folder, "--json").document["runs"][0]["lifts"][0]["stations"]:
        assert_keys(station, {**STATION_KEYS, "reading_m_s": NUMBER})
        assert station["reading_pa"] is None
        assert station["reading_m_s"] == pytest.approx(0.025 * (3000 + station["angle_deg"]))
        assert station["velocity_m_s"] == pytest.approx(0.9 * station["reading_m_s"])


def test_zero_lift_has_a_pattern_but_no_coefficients(make_job: MakeJob) -> None:
    flow = "run,lift [mm],flow [l/s]\na,0,0.3\n"
    document = run("summary", make_job(readings_csv=readings("a", lifts=("0",)), flow_csv=flow), "--json").document
    row = document["runs"][0]["lifts"][0]
    assert (row["lift_m"], row["gap_area_m2"], row["curtain_area_m2"]) == (0.0, 0.0, 0.0)
    assert row["discharge_coefficient"] is row["flow_area_coefficient"] is row["closure"] is None
    assert sum(station["flow_share"] for station in row["stations"]) == pytest.approx(1.0)
    assert any("closed" in warning for warning in document["warnings"])


def test_all_readings_zero(make_job: MakeJob) -> None:
    document = run("summary", make_job(readings_csv=readings("a", lifts=("4",), scale=0.0)), "--json").document
    row = document["runs"][0]["lifts"][0]
    assert row["mean_velocity_m_s"] == 0.0
    assert all(station["flow_share"] is None for station in row["stations"])
    assert row["bias_magnitude"] is None
    assert any("nothing flows" in warning for warning in document["warnings"])
    assert run("summary", Path("job"), "--stations").code == 0


def test_check_document(make_job: MakeJob) -> None:
    folder = make_job(
        readings_csv=readings("b", "a"),
        flow_csv="run,lift [mm],flow [l/s]\na,4,1\na,8,\nb,4,\nb,8,\n",
        cam_csv="crank [deg],lift [mm]\n0,0\n100,9\n200,0\n",
    )
    document = run("check", folder, "--json").document
    assert (document["title"], document["side"]) == ("Small twin", "intake")
    assert document["readings"] == 16
    assert document["runs"] == [{"run": "b", "lifts_m": [4e-3, 8e-3]}, {"run": "a", "lifts_m": [4e-3, 8e-3]}]
    assert document["stations_deg"] == [0, 90, 180, 270]
    assert document["has_flow"] is True
    assert document["has_cam"] is True


def test_check_of_a_job_for_areas_alone(make_job: MakeJob) -> None:
    document = run("check", make_job(), "--json").document
    assert (document["readings"], document["runs"], document["has_flow"]) == (0, [], False)
    assert "none (areas only)" in run("check", Path("job")).out


def test_a_job_may_be_named_by_its_file(make_job: MakeJob) -> None:
    folder = make_job(readings_csv=readings("a"))
    assert run("check", folder / "job.toml", "--json").document == run("check", folder, "--json").document


def test_words_of_any_script_stand_in_the_documents(make_job: MakeJob) -> None:
    folder = make_job({"Small twin": "Zwölf 気筒 “é” 😀"}, readings_csv=readings("nach dem Fräsen", "過"))
    document = run("summary", folder, "--json").document
    assert document["title"] == "Zwölf 気筒 “é” 😀"
    assert [entry["run"] for entry in document["runs"]] == ["nach dem Fräsen", "過"]


# Warnings ------------------------------------------------------------------------------------------------------------


WIDE_CUT = {'"35 mm"': '"35 mm"\nbottom_cuts = [ { angle = "60 deg", width = "9 mm" } ]'}


@pytest.mark.parametrize(
    ("changes", "change", "words"),
    [
        ({'"20 degC"': '"35 degC"'}, None, ("35.0 degC", "CIPM-2007")),
        ({'"100 kPa"': '"55 kPa"'}, None, ("55.00 kPa", "barometer")),
        (WIDE_CUT, None, ("bottom cut 1", "trimmed", "seat.throat_diameter")),
        ({}, ("a,4,90,3090", "a,4,90,-500"), ("reverse flow", "a at 4.00 mm, station 90 deg")),
        ({}, ("a,4,90,3090", "a,4,90,7001"), ("larger than the test pressure", "a at 4.00 mm, station 90 deg")),
        ({}, ("a,4,90,3090", "a,4,90,30900"), ("Mach number", "a at 4.00 mm, station 90 deg")),
    ],
    ids=["room too warm", "barometer low", "cut trimmed", "reverse flow", "beyond the test pressure", "fast"],
)
def test_warnings_go_to_standard_error_and_into_the_documents(
    make_job: MakeJob, changes: dict[str, str], change: tuple[str, str] | None, words: tuple[str, ...]
) -> None:
    text = readings("a")
    folder = make_job(changes, readings_csv=text.replace(*change) if change else text)
    for command in ("check", "summary"):
        in_json, plain = run(command, folder, "--json"), run(command, folder)
        warnings = in_json.document["warnings"]
        assert any(all(word in warning for word in words) for warning in warnings), warnings
        assert plain.code == 0
        assert plain.err == in_json.err
        assert "warning: " not in plain.out


def test_the_areas_warn_of_the_geometry_too(make_job: MakeJob) -> None:
    document = run("area", make_job(WIDE_CUT), "--lifts", "1 mm", "--json").document
    assert [warning for warning in document["warnings"] if "bottom cut 1" in warning]


def test_a_job_without_fault_warns_of_nothing(make_job: MakeJob) -> None:
    folder = make_job(readings_csv=readings("a"))
    for command in (("check",), ("summary",), ("area", "--lifts", "1 mm")):
        outcome = run(command[0], folder, *command[1:])
        assert (outcome.code, outcome.err) == (0, "")
    assert "No errors." in run("check", folder).out


# Tables for people ---------------------------------------------------------------------------------------------------


def test_tables_name_their_units(make_job: MakeJob) -> None:
    folder = make_job(readings_csv=readings("a").replace("[Pa]", "[mmH2O]").replace(",3", ",0.3"))
    head = [
        line.split()
        for line in run("summary", folder, "--stations").out.splitlines()
        if line.lstrip().startswith("station ")
    ]
    assert head == [["station", "[mmH2O]", "repeats", "[mmH2O]", "[m/s]", "ratio", "number", "[%]"]] * 2
    assert "[mm²]" in run("area", folder, "--lifts", "1 mm").out


@pytest.mark.parametrize(
    "words", ["[/]", "[/bold] x", "[red]x", "[link=a]b", "a [mm] b", ":warning:", "\\[x]", "100 %s {0}"]
)
def test_words_of_a_person_are_no_markup(make_job: MakeJob, words: str) -> None:
    changes = {
        "Small twin": words.replace("\\", "\\\\"),
        "[0, 90, 180, 270]": f"[0, 90, 180, 270]\nreference = '{words}'",
    }
    folder = make_job(changes, readings_csv=readings(words))
    for command in ("check", "summary"):
        outcome = run(command, folder)
        assert outcome.code == 0, outcome.err
        lines = " ".join(outcome.out.split())
        assert lines.count(words) >= 3, f"{words} is not there as it was typed"


def test_summary_of_one_run(make_job: MakeJob) -> None:
    folder = make_job(readings_csv=readings("rough", "smooth"))
    document = run("summary", folder, "--run", "smooth", "--json").document
    assert [entry["run"] for entry in document["runs"]] == ["smooth"]
    assert document["runs"] == run("summary", folder, "--json").document["runs"][1:]
    out = run("summary", folder, "--run", "smooth").out
    assert "smooth" in out
    assert "rough" not in out


# Words of the command line --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["summary"], "portviz summary needs JOB: The job's folder. See: portviz summary --help"),
        (["view", "--lift", "8 mm"], "portviz view needs JOB"),
        (["export", "job"], "portviz export needs FILE: A .glb, .stl, .ply, .obj, .vtp, .vtm, .vtkhdf, .csv, .xlsx or"),
        (["new"], "portviz new needs DIR: The folder to make."),
        (["area", "job"], "portviz area needs --lifts"),
        (["summary", "my", "job"], "nothing of 'job'; a name with spaces stands in quotes"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_what_is_missing_or_too_much_is_named(arguments: list[str], words: str) -> None:
    outcome = run(*arguments)
    assert (outcome.code, outcome.out) == (2, "")
    assert words in outcome.err


@pytest.mark.parametrize("command", ["new", "check", "area", "summary", "view", "export"])
def test_a_place_is_not_an_option_as_well(command: str) -> None:
    out = run(command, "--help").out
    assert not {"--JOB", "--job", "--DIR", "--FILE"} & set(out.split())
    assert "JOB" in out or "DIR" in out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["view", "nowhere", "--field", "velocty"], "field: 'velocty' is not one of velocity, velocity-ratio"),
        (["view", "nowhere", "--camera", "cylnder"], "Did you mean cylinder?"),
        (["export", "nowhere", "a.stl", "--part", "valv"], "Did you mean valve?"),
        (["view", "nowhere", "--lift", "1,5 mm"], "with a decimal point, not a comma"),
        (["area", "nowhere", "--lifts", "1,5 mm; 3 mm"], "a decimal point inside a number"),
        (["area", "nowhere", "--lifts", "1,5 mm"], "a decimal point inside a number"),
        (["area", "nowhere", "--lifts", "1,2,3 mm"], "give each lift its unit"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_words_are_looked_at_before_files(arguments: list[str], words: str) -> None:
    outcome = run(*arguments)
    assert (outcome.code, outcome.out) == (2, "")
    assert words in outcome.err
    assert "nowhere" not in outcome.err


def test_lifts_may_have_semicolons_between_them(make_job: MakeJob) -> None:
    rows = run("area", make_job(), "--lifts", "1 mm; 2.5 mm", "--json").document["lifts"]
    assert [row["lift_m"] for row in rows] == pytest.approx([1e-3, 2.5e-3])


@pytest.mark.parametrize("arguments", [["summary"], ["view", "--picture", "a.png"], ["export", "a.stl"]])
def test_without_readings_the_areas_are_pointed_to(make_job: MakeJob, arguments: list[str]) -> None:
    make_job()
    command, *others = arguments
    outcome = run(command, "job", *others)
    assert (outcome.code, outcome.out) == (1, "")
    assert "there are no readings" in outcome.err
    assert "portviz area JOB --lifts" in outcome.err
    assert not Path("a.png").exists()
    assert not Path("a.stl").exists()


def test_an_export_warns_as_a_summary_does(make_job: MakeJob) -> None:
    folder = make_job(readings_csv=readings("a").replace("a,4,90,3090", "a,4,90,-500"))
    outcome = run("export", folder, "a.stl")
    assert outcome.code == 0
    assert outcome.err == run("summary", folder).err
    assert "reverse flow" in outcome.err


# The demo -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("held", ["another job", "a changed demo", "no job"])
def test_the_demo_leaves_other_folders_alone(make_job: MakeJob, held: str) -> None:
    folder = make_job(readings_csv=readings("a"))
    if held == "a changed demo":
        text = (EXAMPLES / "sidecar_intake" / "job.toml").read_text(encoding="utf-8")
        (folder / "job.toml").write_text(text.replace("41 mm", "42 mm"), encoding="utf-8")
    if held == "no job":
        (folder / "job.toml").unlink()
    before = content(folder)
    outcome = run("demo", "--pictures", "--into", folder)
    assert (outcome.code, outcome.out) == (1, "")
    assert "not the demo job as it came" in outcome.err
    assert "--into" in outcome.err
    assert content(folder) == before


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "Pictures are written instead of a window: there is no screen (DISPLAY is not set)."),
        (["--pictures"], "Pictures are written:"),
    ],
)
def test_the_demo_says_why_there_is_no_window(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], words: str
) -> None:
    def no_opengl(reduction: object, folder: Path) -> list[Path]:
        raise DrawingError("OpenGL is missing.")

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("portviz.scene.display.display_available", lambda: False)
    monkeypatch.setattr("portviz.scene.picture.write_pictures", no_opengl)
    for _ in range(2):
        outcome = run("demo", *arguments)
        assert outcome.code == 0
        assert words in outcome.out.splitlines()
    assert "is there already and is used as it is" in outcome.out


# Files ---------------------------------------------------------------------------------------------------------------


def test_summary_csv_holds_what_the_document_holds(make_job: MakeJob) -> None:
    flow = "run,lift [mm],flow [l/s]\nrough,4,20\nrough,8,\nsmooth,4,21\nsmooth,8,40\n"
    folder = make_job(readings_csv=readings("rough", "smooth"), flow_csv=flow)
    outcome = run("summary", folder, "--csv", "out.csv", "--json")
    document = outcome.document
    rows = csv_rows("out.csv")
    assert len(rows) == 2 * 2 * 4
    index = 0
    for entry in document["runs"]:
        for lift in entry["lifts"]:
            for station in sorted(lift["stations"], key=lambda each: each["angle_deg"]):
                row = rows[index]
                index += 1
                assert row["run"] == entry["run"]
                for key in set(LIFT_KEYS) - {"stations", "limited_by"}:
                    assert row[key] == "" if lift[key] is None else float(row[key]) == lift[key], key
                assert row["limited_by"] == lift["limited_by"]
                for key in (*STATION_KEYS, "reading_pa"):
                    cell = row[f"station_{key}"]
                    assert cell == "" if station[key] is None else float(cell) == station[key], key


def test_summary_csv_of_one_run_says_where_it_is(make_job: MakeJob) -> None:
    folder = make_job(readings_csv=readings("rough", "smooth"))
    outcome = run("summary", folder, "--run", "smooth", "--csv", "out.csv")
    assert outcome.code == 0
    assert "out.csv" in outcome.out.splitlines()[-1]
    assert {row["run"] for row in csv_rows("out.csv")} == {"smooth"}


def test_summary_csv_is_never_put_over_a_file_unless_told(make_job: MakeJob) -> None:
    folder = make_job(readings_csv=readings("a"))
    assert run("summary", folder, "--csv", "out.csv").code == 0
    first = Path("out.csv").read_bytes()
    Path("out.csv").write_bytes(b"mine")
    refused = run("summary", folder, "--csv", "out.csv")
    assert (refused.code, refused.out) == (1, "")
    assert "out.csv" in refused.err
    assert "--overwrite" in refused.err
    assert Path("out.csv").read_bytes() == b"mine"
    assert run("summary", folder, "--csv", "out.csv", "--overwrite").code == 0
    assert Path("out.csv").read_bytes() == first
    assert sorted(path.name for path in Path().iterdir()) == ["job", "out.csv"]


@pytest.mark.parametrize("name", ["=1+1", "+cmd", "-2", "@x"])
def test_summary_csv_has_no_formulas(make_job: MakeJob, name: str) -> None:
    folder = make_job(readings_csv=readings(name))
    assert run("summary", folder, "--csv", "out.csv").code == 0
    assert {row["run"] for row in csv_rows("out.csv")} == {f"'{name}"}


def test_commands_that_print_write_nothing(make_job: MakeJob) -> None:
    folder = make_job(readings_csv=readings("a"))
    before = content(Path())
    for command in (
        ["check", folder],
        ["summary", folder],
        ["area", folder, "--lifts", "1 mm"],
        ["schema"],
        ["--help"],
    ):
        assert run(*command).code == 0
    assert content(Path()) == before


def test_new_makes_a_job_that_is_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    outcome = run("new", "head", "--json")
    document = outcome.document
    assert_keys(document, {"format": int, "warnings": list, "folder": str, "files": list})
    assert document["folder"] == "head"
    assert sorted(document["files"]) == sorted(path.name for path in Path("head").iterdir())
    assert [path.name for path in Path().iterdir()] == ["head"]
    for command in (("check",), ("summary",), ("area", "--lifts", "1 mm")):
        assert run(command[0], "head", *command[1:]).code == 0
    (warning,) = run("check", "head", "--json").document["warnings"]
    assert warning == "the title is still the template's, 'New job'; are all the numbers your own?"


def test_new_says_what_to_do_next(tmp_path: Path) -> None:
    outcome = run("new", tmp_path / "head")
    assert (outcome.code, outcome.err) == (0, "")
    assert "job.toml" in outcome.out
    assert f"portviz check {tmp_path / 'head'}" in " ".join(outcome.out.split())


def test_new_leaves_what_is_there(tmp_path: Path) -> None:
    (tmp_path / "head").mkdir()
    (tmp_path / "head" / "job.toml").write_text("mine")
    outcome = run("new", tmp_path / "head", "--json")
    assert (outcome.code, outcome.out) == (1, "")
    assert "there already" in outcome.err
    assert content(tmp_path) == {"head": b"/", "head/job.toml": b"mine"}


def test_schema_is_printed_whole(small_job: str) -> None:
    outcome = run("schema")
    assert (outcome.code, outcome.err) == (0, "")
    schema = json.loads(outcome.out)
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    job = tomllib.loads(small_job)
    assert validator.is_valid(job)
    job["seat"]["colour"] = "red"
    assert not validator.is_valid(job)


# Help, usage and the ends of a run -----------------------------------------------------------------------------------


def test_version() -> None:
    outcome = run("--version")
    assert (outcome.code, outcome.out, outcome.err) == (0, f"{__version__}\n", "")


@pytest.mark.parametrize("arguments", [[], ["--help"], ["-h"]])
def test_help_lists_the_commands(arguments: list[str]) -> None:
    outcome = run(*arguments)
    assert (outcome.code, outcome.err) == (0, "")
    for command in ("demo", "new", "check", "area", "summary", "view", "export", "schema"):
        assert f"\n  {command} " in outcome.out or f" {command} " in outcome.out
    assert "Start with: portviz demo" in " ".join(outcome.out.split())


@pytest.mark.parametrize("command", ["demo", "new", "check", "area", "summary", "view", "export", "schema"])
def test_help_of_a_command(command: str) -> None:
    outcome = run(command, "--help")
    assert (outcome.code, outcome.err) == (0, "")
    assert f"portviz {command}" in outcome.out


def test_unforeseen_errors_say_how_to_report_them(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(arguments: list[str] | None) -> int:
        raise ZeroDivisionError("by zero")

    monkeypatch.setattr(cli, "run", fail)
    monkeypatch.delenv("PORTVIZ_DEBUG", raising=False)
    outcome = run("check", "job")
    assert (outcome.code, outcome.out) == (1, "")
    assert "not foreseen (ZeroDivisionError: by zero)" in outcome.err
    assert "PORTVIZ_DEBUG=1" in outcome.err
    assert "Traceback" not in outcome.err
    monkeypatch.setenv("PORTVIZ_DEBUG", "1")
    with pytest.raises(ZeroDivisionError, match="by zero"):
        main(["check", "job"])


def test_a_file_that_fails_is_not_taken_for_the_output(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(arguments: list[str] | None) -> int:
        raise FileNotFoundError(2, "No such file or directory", "port.stl")

    monkeypatch.setattr(cli, "run", fail)
    monkeypatch.delenv("PORTVIZ_DEBUG", raising=False)
    outcome = run("check", "job")
    assert (outcome.code, outcome.out) == (1, "")
    assert "port.stl" in outcome.err
    assert "the output" not in outcome.err


def test_an_interrupt_ends_with_130(monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(arguments: list[str] | None) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr(cli, "run", stop)
    outcome = run("check", "job")
    assert (outcome.code, outcome.out) == (130, "")
    assert "interrupted" in outcome.err


@pytest.mark.parametrize(
    ("arguments", "code"),
    [(["summary", "job", "--json"], 0), (["check", "nowhere"], 1), (["area", "job", "--lifts", "1"], 2)],
)
def test_exit_codes_of_the_program(make_job: MakeJob, arguments: list[str], code: int) -> None:
    make_job(readings_csv=readings("a"))
    done = process(*arguments)
    assert done.returncode == code
    assert bool(done.stdout) == (code == 0)
    assert bool(done.stderr) == (code != 0)
    assert b"Traceback" not in done.stderr


@pytest.fixture
def closed_pipe() -> Iterator[int]:
    """The writing end of a pipe whose reader went away."""
    reader, writer = os.pipe()
    os.close(reader)
    yield writer
    os.close(writer)


@pytest.mark.parametrize(
    "arguments",
    [["--version"], ["--help"], ["summary", "job"], ["summary", "job", "--json"], ["schema"]],
    ids=lambda arguments: " ".join(arguments),
)
def test_a_reader_that_went_away_is_no_error(make_job: MakeJob, closed_pipe: int, arguments: list[str]) -> None:
    make_job(readings_csv=readings("a"))
    done = subprocess.run(
        [sys.executable, "-m", "portviz", *arguments],
        stdout=closed_pipe,
        stderr=subprocess.PIPE,
        timeout=60,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device that is always full is a thing of Linux")
@pytest.mark.parametrize("arguments", [["summary", "job"], ["summary", "job", "--json"]], ids=["tables", "json"])
def test_a_full_disk_behind_the_output_is_told(make_job: MakeJob, arguments: list[str]) -> None:
    make_job(readings_csv=readings("a"))
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "portviz", *arguments], stdout=full, stderr=subprocess.PIPE, timeout=60, check=False
        )
    message = done.stderr.decode()
    assert done.returncode == 1
    assert "No space left" in message
    assert "not foreseen" not in message
    assert "Traceback" not in message
    assert message.count("\n") == 1


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
@pytest.mark.parametrize(
    "arguments",
    [["area", "job", "--lifts", "1 mm"], ["summary", "job"], ["summary", "job", "--json"]],
    ids=["area", "summary", "json"],
)
def test_any_encoding_of_the_output_will_do(make_job: MakeJob, encoding: str, arguments: list[str]) -> None:
    # Where the output goes to a file or a pipe, some systems take an old code page.
    make_job({"Small twin": "Zwölf 気筒"}, readings_csv=readings("a"))
    done = process(*arguments, PYTHONIOENCODING=encoding)
    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout
    if "--json" in arguments:
        # A JSON document is UTF-8, of which plain ASCII is a part.
        assert json.loads(done.stdout.decode("utf-8"))["title"] == "Zwölf 気筒"


# What a command loads ------------------------------------------------------------------------------------------------

_LOADED = """
import sys
from portviz.__main__ import main
try:
    code = main(sys.argv[1:])
except SystemExit as end:
    code = end.code
print(*sorted({name.split(".")[0] for name in sys.modules}), file=sys.stderr)
sys.exit(code)
"""
DRAWING = {"vtk", "vtkmodules", "pyvista", "matplotlib", "trimesh", "PIL"}


def loaded(*arguments: str) -> set[str]:
    """Return the top-level modules that a command line has loaded when it is done."""
    done = subprocess.run([sys.executable, "-c", _LOADED, *arguments], capture_output=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr.decode()
    assert done.stdout
    return set(done.stderr.decode().splitlines()[-1].split())


@pytest.mark.parametrize(
    "arguments", [["--help"], ["--version"], ["summary", "--help"]], ids=lambda arguments: " ".join(arguments)
)
def test_help_and_version_load_nothing_heavy(arguments: list[str]) -> None:
    modules = loaded(*arguments)
    assert "portviz" in modules
    assert modules & (DRAWING | {"numpy", "scipy", "pydantic", "pint", "openpyxl"}) == set()


@pytest.mark.parametrize(
    "arguments",
    [
        ["check", "job"],
        ["summary", "job"],
        ["summary", "job", "--json"],
        ["summary", "job", "--csv", "out.csv"],
        ["area", "job", "--lifts", "1 mm"],
        ["schema"],
        ["new", "fresh"],
    ],
    ids=lambda arguments: " ".join(arguments),
)
def test_numbers_are_found_without_anything_that_draws(make_job: MakeJob, arguments: list[str]) -> None:
    make_job(readings_csv=readings("a"), flow_csv="run,lift [mm],flow [l/s]\na,4,20\na,8,40\n")
    assert loaded(*arguments) & DRAWING == set()


def test_workbooks_are_looked_into_only_where_there_is_one(make_job: MakeJob) -> None:
    make_job(readings_csv=readings("a"))
    assert "openpyxl" not in loaded("check", "job")


@pytest.mark.parametrize("name", ["readings.csv", "flow.csv", "job.toml"])
def test_results_never_take_the_place_of_what_a_job_is_read_from(make_job: MakeJob, name: str) -> None:
    folder = make_job(readings_csv=readings("a", lifts=("4",)))
    (folder / "flow.csv").write_text("run,lift [mm],flow [cfm]\na,4,50\n", encoding="utf-8")
    before = (folder / name).read_bytes()
    outcome = run("summary", folder, "--csv", folder / name, "--overwrite")
    assert (outcome.code, outcome.out) == (2, "")
    assert f"csv: {folder / name} is one of the files that the job is read from" in outcome.err
    if name.endswith(".csv"):
        # Here the file is no option: it is called what the help calls it.
        outcome = run("export", folder, folder / name, "--overwrite")
        assert (outcome.code, outcome.out) == (2, "")
        assert f"FILE: {folder / name} is one of the files that the job is read from" in outcome.err
    assert (folder / name).read_bytes() == before


def test_a_table_of_text_takes_no_workbooks_name(make_job: MakeJob, tmp_path: Path) -> None:
    outcome = run("summary", make_job(readings_csv=readings("a", lifts=("4",))), "--csv", tmp_path / "a.xlsx")
    assert outcome.code == 2
    assert "let it end in .csv" in outcome.err
    assert not (tmp_path / "a.xlsx").exists()


@pytest.mark.parametrize("unit", ["millimetre", "millimeter", "cm", "m"])
def test_metric_units_by_any_name_are_metric(make_job: MakeJob, unit: str) -> None:
    table = readings("a", lifts=("0.004",)).replace("lift [mm]", f"lift [{unit}]")
    if unit != "m":
        scale = {"cm": "0.4"}.get(unit, "4")
        table = table.replace("0.004", scale)
    outcome = run("summary", make_job(readings_csv=table))
    assert outcome.code == 0
    assert "[m/s]" in outcome.out
    assert "[ft/s]" not in outcome.out
