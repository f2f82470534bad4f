"""Broken files through the real command line: one message that helps, nothing on stdout, nothing written."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from portviz.__main__ import main

JOB = """\
format = 1
title = "Small twin"
side = "intake"

[valve]
head_diameter = "40 mm"
stem_diameter = "7 mm"
face_angle = "45 deg"
face_width = "2 mm"
margin = "1 mm"
underhead_angle = "15 deg"
fillet_radius = "8 mm"
back_cut = { angle = "30 deg", width = "1.1 mm" }

[seat]
angle = "45 deg"
width = "1.6 mm"
outer_diameter = "39.8 mm"
top_cut = { angle = "30 deg", width = "1.2 mm" }
bottom_cuts = [ { angle = "60 deg", width = "0.9 mm" }, { angle = "70 deg", width = "0.8 mm" } ]
throat_diameter = "35 mm"

[bench]
test_pressure = "28 inH2O"
temperature = "21 degC"
barometer = "100 kPa"
humidity = "45 %"

[gauge]
reads = "upstream-minus-tap"
coefficient = 0.98
accuracy = "0.2 inH2O"

[stations]
angles = [0, 90, 180, 270]
reference = "toward the bore wall"
"""
HEADER = "run,lift [mm],station,reading [inH2O],note\n"
READINGS = HEADER + "".join(
    f"{run},{lift},{angle},{15 + lift / 10 + angle / 100},\n"
    for run in ("rough", "smooth")
    for lift in (4, 8)
    for angle in (0, 90, 180, 270)
)
FLOW = "run,lift [mm],flow [cfm]\nrough,4,55\nrough,8,99\nsmooth,4,56\nsmooth,8,101\n"
CAM = "crank [deg],lift [mm]\n0,0\n60,5\n110,9\n" + "".join(
    f"{crank},{lift}\n"
    for crank, lift in (
        (120, 8.9),
        (130, 8.6),
        (140, 8),
        (150, 7.2),
        (160, 6.1),
        (170, 4.9),
        (180, 3.5),
        (190, 2.1),
        (205, 0.6),
        (220, 0),
    )
)
FILES = {"job.toml": JOB, "readings.csv": READINGS, "flow.csv": FLOW, "cam.csv": CAM}

MEGABYTE = 2**20
UNFORESEEN = "not foreseen"


@dataclass(frozen=True)
class Outcome:
    """What a command line gave back."""

    code: int
    out: str
    err: str


def run(*arguments: object) -> Outcome:
    """Run portviz in this process."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main([str(each) for each in arguments])
    return Outcome(code, out.getvalue(), err.getvalue())


def content(folder: Path) -> dict[str, bytes | str]:
    """Return everything under a folder with its bytes."""
    found: dict[str, bytes | str] = {}
    for path in folder.rglob("*"):
        plain = path.is_file() and path.stat().st_size < MEGABYTE
        found[str(path.relative_to(folder))] = path.read_bytes() if plain else f"{path.lstat().st_size} bytes"
    return found


def assert_one_message(outcome: Outcome, code: int, *words: str) -> None:
    """Assert that a command gave up with one message that has all the words, and printed nothing else."""
    assert UNFORESEEN not in outcome.err, outcome.err
    assert "Traceback" not in outcome.err
    assert outcome.err.startswith("portviz: "), outcome
    assert outcome.err.endswith("\n")
    assert outcome.err.count("\n") == 1, outcome.err
    assert outcome.err[:-1].isprintable(), repr(outcome.err)
    assert len(outcome.err) <= 1000, f"a message of {len(outcome.err)} characters"
    assert outcome.out == ""
    missing = [word for word in words if word not in outcome.err]
    assert not missing, f"{missing} not in: {outcome.err}"
    assert outcome.code == code


def assert_sound(outcome: Outcome) -> None:
    """Assert that a command did its work and printed finite JSON, or gave up with one message."""
    if outcome.code:
        assert_one_message(outcome, 1)
        return
    assert [line for line in outcome.err.splitlines() if not line.startswith("warning: ")] == []

    def refuse(constant: str) -> None:
        raise AssertionError(f"{constant} in the document")

    document = json.loads(outcome.out, parse_constant=refuse)
    assert document["warnings"] == [line.removeprefix("warning: ") for line in outcome.err.splitlines()]


class Arena:
    """A place where a broken job is laid out, run and compared."""

    def __init__(self, place: Path) -> None:
        self.place = place
        self.folder = place / "job"
        self.folder.mkdir()
        for name, text in FILES.items():
            self.write(name, text)

    def write(self, name: str, text: str | bytes | None) -> None:
        path = self.folder / name
        if text is None:
            path.unlink()
        else:
            path.write_bytes(text if isinstance(text, bytes) else text.encode())

    def change(self, name: str, old: str, new: str) -> None:
        assert FILES[name].count(old) >= 1, f"{old!r} is not in {name}"
        self.write(name, FILES[name].replace(old, new, 1))

    def refuses(self, *words: str, commands: tuple[tuple[str, ...], ...] = (), code: int = 1) -> None:
        """Assert that the commands give up alike, and leave everything as it is."""
        before = content(self.place)
        for command in commands or (("check", "--json"), ("summary",)):
            assert_one_message(run(command[0], self.folder, *command[1:]), code, *words)
        assert content(self.place) == before


@pytest.fixture
def arena(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Arena]:
    place = tmp_path / "arena"
    place.mkdir()
    monkeypatch.chdir(place)
    yield Arena(place)
    # Some jobs here are a hundred megabytes, and pytest keeps the folders of its last runs.
    shutil.rmtree(place)


def test_the_job_of_these_tests_is_whole(arena: Arena) -> None:
    for command in (("check", "--json"), ("summary", "--json"), ("area", "--lifts", "1 mm", "--json")):
        outcome = run(command[0], arena.folder, *command[1:])
        # The cam has few points on its way up, and opens further than the runs were measured.
        told = ["cam.csv leaps"] if command[0] in ("check", "summary") else []
        told += ["the valve opens to 9.00 mm, further than was measured"] if command[0] == "check" else []
        assert outcome.code == 0
        assert len(outcome.err.splitlines()) == len(told)
        assert all(
            line.startswith(f"warning: {words}") for line, words in zip(outcome.err.splitlines(), told, strict=True)
        )
        assert_sound(outcome)


# job.toml: keys and words --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("head_diameter", "head_diametre", ("valve.head_diametre", "unknown key", "Did you mean head_diameter?")),
        ("stem_diameter", "stem_dia", ("valve.stem_dia", "unknown key", "stem_diameter")),
        ("back_cut", "backcut", ("valve.backcut", "Did you mean back_cut?")),
        ("fillet_radius", "filet_radius", ("valve.filet_radius", "Did you mean fillet_radius?")),
        ("[valve]", "[valves]", ("valves", "unknown key", "Did you mean valve?")),
        ("[seat]", "[Seat]", ("Seat", "unknown key", "Did you mean seat?")),
        ("bottom_cuts", "bottom_cut", ("seat.bottom_cut", "Did you mean bottom_cuts?")),
        ("throat_diameter", "throat", ("seat.throat", "unknown key", "throat_diameter")),
        ('{ angle = "30 deg", width = "1.2', '{ angel = "30 deg", width = "1.2', ("seat.top_cut.angel", "angle?")),
        ('width = "0.8 mm"', 'widht = "0.8 mm"', ("seat.bottom_cuts[2].widht", "Did you mean width?")),
        ("test_pressure", "test_presure", ("bench.test_presure", "Did you mean test_pressure?")),
        ("humidity", "humidty", ("bench.humidty", "Did you mean humidity?")),
        ("coefficient", "coeficient", ("gauge.coeficient", "Did you mean coefficient?")),
        ("[gauge]", "[gage]", ("gage", "Did you mean gauge?")),
        ("angles = [", "angle = [", ("stations.angle", "Did you mean angles?")),
        ("title", "titel", ("titel", "Did you mean title?")),
        ("format = 1", "format = 1\nxyzzy = 12345", ("xyzzy", "unknown key", "12345", "side", "stations")),
        ("[valve]\n", "[valve]\nseat_force = {}\nlobes = {}\n", ("valve.", "unknown key")),
    ],
)
def test_unknown_keys(arena: Arena, old: str, new: str, words: tuple[str, ...]) -> None:
    arena.change("job.toml", old, new)
    arena.refuses("job.toml", *words)


@pytest.mark.parametrize(
    ("gone", "key", "expected"),
    [
        ("format = 1\n", "format", "1"),
        ('side = "intake"\n', "side", '"exhaust"'),
        ('head_diameter = "40 mm"\n', "valve.head_diameter", "length"),
        ('stem_diameter = "7 mm"\n', "valve.stem_diameter", "length"),
        ('throat_diameter = "35 mm"\n', "seat.throat_diameter", "mm, in"),
        ('angle = "45 deg"\nwidth = "1.6 mm"\n', "seat.angle", "deg"),
        ('angle = "30 deg", width = "1.1 mm"', "valve.back_cut.angle", "deg"),
        (', width = "0.8 mm"', "seat.bottom_cuts[2].width", "mm"),
        ('test_pressure = "28 inH2O"\n', "bench.test_pressure", "inH2O"),
        ('temperature = "21 degC"\n', "bench.temperature", "degC"),
        ('barometer = "100 kPa"\n', "bench.barometer", "kPa"),
        ('humidity = "45 %"\n', "bench.humidity", "%"),
        ('reads = "upstream-minus-tap"\n', "gauge.reads", '"tap-minus-downstream"'),
        ("angles = [0, 90, 180, 270]\n", "stations.angles", "degrees"),
        ('[stations]\nangles = [0, 90, 180, 270]\nreference = "toward the bore wall"\n', "stations", "angles"),
    ],
)
def test_missing_keys(arena: Arena, gone: str, key: str, expected: str) -> None:
    arena.change("job.toml", gone, "")
    arena.refuses(f"job.toml, {key}: ", "missing", expected)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("format = 1", "format = 2", ("format", "2", "expected 1")),
        ("format = 1", 'format = "1"', ("format", "'1'", "expected 1")),
        ("format = 1", "format = [1]", ("format", "[1]", "expected 1")),
        ('side = "intake"', 'side = "inlet"', ("side", "'inlet'", "intake", "exhaust")),
        ('side = "intake"', 'side = "Intake"', ("side", "'Intake'", 'Did you mean "intake"?')),
        ('side = "intake"', "side = 1", ("side", "1", "intake", "exhaust")),
        ("upstream-minus-tap", "upstream", ("gauge.reads", "'upstream'", "upstream-minus-tap", "velocity")),
        ("upstream-minus-tap", "total-minus-statik", ("gauge.reads", 'Did you mean "total-minus-static"?')),
        ('title = "Small twin"', "title = 5", ("title", "5", "words in quotes", '"5"')),
        ('title = "Small twin"', 'title = ""', ("title", "no words between the quotes")),
        ('title = "Small twin"', f'title = "{"x" * 500}"', ("title", "xxx", "200")),
        ('reference = "toward', 'reference = ["toward', ("job.toml",)),
        ('reference = "toward the bore wall"', "reference = true", ("stations.reference", "True", "words in quotes")),
        ("[valve]", "[[valve]]", ("valve", "[valve], in single brackets", "head_diameter")),
        ('back_cut = { angle = "30 deg", width = "1.1 mm" }', 'back_cut = "30 deg"', ("valve.back_cut", "'30 deg'")),
        ('back_cut = { angle = "30 deg", width = "1.1 mm" }', "back_cut = []", ("valve.back_cut", "angle, width")),
        ('[ { angle = "60 deg", width = "0.9 mm" }, ', '{ a = "60 deg" } #', ("seat.bottom_cuts", "list")),
        ('[ { angle = "60 deg", width = "0.9 mm" }, ', '[ "60 deg", ', ("seat.bottom_cuts[1]", "'60 deg'", "angle")),
        ("coefficient = 0.98", 'coefficient = "0.98"', ("gauge.coefficient", "'0.98'", "number")),
        ("coefficient = 0.98", "coefficient = true", ("gauge.coefficient", "True", "number")),
        ("coefficient = 0.98", "coefficient = 0", ("gauge.coefficient", "0.01")),
        ("coefficient = 0.98", "coefficient = -0.98", ("gauge.coefficient", "-0.98")),
        ("coefficient = 0.98", "coefficient = nan", ("gauge.coefficient", "nan", "number")),
        ("coefficient = 0.98", "coefficient = inf", ("gauge.coefficient", "inf", "number")),
        ("coefficient = 0.98", "coefficient = 98", ("gauge.coefficient", "98", "10")),
    ],
)
def test_words_and_kinds_of_values(arena: Arena, old: str, new: str, words: tuple[str, ...]) -> None:
    arena.change("job.toml", old, new)
    arena.refuses("job.toml", *words)


@pytest.mark.parametrize(
    ("angles", "words"),
    [
        ("[]", ("stations.angles", "3")),
        ("[0, 180]", ("stations.angles", "3", "[0, 180]")),
        ('[0, "90", 180]', ("stations.angles[2]", "'90'", "number")),
        ("[0, nan, 180]", ("stations.angles[2]", "nan", "number")),
        ("[0, 90, -inf]", ("stations.angles[3]", "-inf", "number")),
        ("[0, true, 180]", ("stations.angles[2]", "True", "number")),
        ("[0, [90], 180]", ("stations.angles[2]", "[90]", "number")),
        ('"0, 90, 180, 270"', ("stations.angles", "list", "0, 90, 180, 270")),
        ("4", ("stations.angles", "list", "4")),
        ("[0, 90, 180, 270, 90]", ("stations.angles", "twice", "90 and 90")),
        ("[0, 90, 180, 270, 360]", ("stations.angles", "twice", "0 and 360")),
        ("[-30, 90, 180, 330]", ("stations.angles", "twice", "-30 and 330")),
    ],
)
def test_angles_of_the_stations(arena: Arena, angles: str, words: tuple[str, ...]) -> None:
    arena.change("job.toml", "[0, 90, 180, 270]", angles)
    arena.refuses("job.toml", *words)


# job.toml: quantities ------------------------------------------------------------------------------------------------

QUANTITIES = {
    "valve.head_diameter": ('head_diameter = "40 mm"', "length", "mm, in"),
    "valve.face_angle": ('face_angle = "45 deg"', "angle", "deg, rad"),
    "valve.margin": ('margin = "1 mm"', "length", "mm, in"),
    "valve.fillet_radius": ('fillet_radius = "8 mm"', "length", "mm, in"),
    "valve.back_cut.width": ('width = "1.1 mm"', "length", "mm, in"),
    "seat.top_cut.width": ('width = "1.2 mm"', "length", "mm, in"),
    "seat.bottom_cuts[1].angle": ('angle = "60 deg"', "angle", "deg, rad"),
    "seat.throat_diameter": ('throat_diameter = "35 mm"', "length", "mm, in"),
    "bench.test_pressure": ('test_pressure = "28 inH2O"', "pressure", "inH2O, mmH2O"),
    "bench.temperature": ('temperature = "21 degC"', "temperature", "degC, degF, K"),
    "bench.barometer": ('barometer = "100 kPa"', "pressure", "kPa"),
    "bench.humidity": ('humidity = "45 %"', "ratio", "%"),
    "gauge.accuracy": ('accuracy = "0.2 inH2O"', "pressure", "inH2O, mmH2O"),
}


def with_value(line: str, value: str) -> str:
    return f"{line.split(' = ')[0]} = {value}"


@pytest.mark.parametrize("key", QUANTITIES)
@pytest.mark.parametrize("value", ["40", "0.45", '"40"', '" 0.45 "'])
def test_a_bare_number_says_which_units_fit(arena: Arena, key: str, value: str) -> None:
    line, _, units = QUANTITIES[key]
    arena.change("job.toml", line, with_value(line, value))
    arena.refuses(f"job.toml, {key}: ", value.strip('"'), "has no unit", units)


@pytest.mark.parametrize("key", QUANTITIES)
@pytest.mark.parametrize("value", ["40 furlong", "3 cfm", "40 [mm]", "12 mm mm", "5 deg2", "7 kg/m**2"])
def test_a_wrong_unit_says_which_units_fit(arena: Arena, key: str, value: str) -> None:
    line, kind, units = QUANTITIES[key]
    arena.change("job.toml", line, with_value(line, f'"{value}"'))
    arena.refuses(f"job.toml, {key}: ", value, kind, units)


@pytest.mark.parametrize("key", QUANTITIES)
@pytest.mark.parametrize(
    "value",
    ['"nan mm"', '"inf deg"', '"-inf K"', '"1e999 %"', '""', '" "', '"about 40 mm"', '"40,5 mm"', '"mm"', '"--4 mm"'],
)
def test_a_quantity_is_a_finite_number(arena: Arena, key: str, value: str) -> None:
    line, _, _ = QUANTITIES[key]
    arena.change("job.toml", line, with_value(line, value))
    arena.refuses(f"job.toml, {key}: ", f"'{value[1:-1]}'", "number")


@pytest.mark.parametrize("key", QUANTITIES)
@pytest.mark.parametrize("value", ["true", "nan", "[40]", "{ mm = 40 }", "2020-05-01"])
def test_a_quantity_stands_in_quotes(arena: Arena, key: str, value: str) -> None:
    line, _, _ = QUANTITIES[key]
    arena.change("job.toml", line, with_value(line, value))
    arena.refuses(f"job.toml, {key}: ")


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("valve.head_diameter", "0 mm"),
        ("valve.head_diameter", "-40 mm"),
        ("valve.margin", "0 mm"),
        ("valve.back_cut.width", "-1 mm"),
        ("seat.top_cut.width", "0 in"),
        ("seat.throat_diameter", "-0.1 in"),
        ("bench.test_pressure", "0 inH2O"),
        ("bench.test_pressure", "-28 inH2O"),
        ("bench.temperature", "-300 degC"),
        ("bench.temperature", "0 K"),
        ("bench.barometer", "0 kPa"),
        ("bench.humidity", "-1 %"),
        ("bench.humidity", "145 %"),
        ("gauge.accuracy", "0 inH2O"),
        ("gauge.accuracy", "-0.1 inH2O"),
    ],
)
def test_a_quantity_within_its_range(arena: Arena, key: str, value: str) -> None:
    line, _, _ = QUANTITIES[key]
    arena.change("job.toml", line, with_value(line, f'"{value}"'))
    arena.refuses(f"job.toml, {key}: ", f"(got '{value}')")


@pytest.mark.parametrize("key", QUANTITIES)
def test_a_quantity_stays_finite_in_si(arena: Arena, key: str) -> None:
    line, kind, _ = QUANTITIES[key]
    unit = {"length": "km", "angle": "kilodeg", "pressure": "bar", "temperature": "kilokelvin", "ratio": "kiloone"}[
        kind
    ]
    arena.change("job.toml", line, with_value(line, f'"1e308 {unit}"'))
    arena.refuses(f"job.toml, {key}: ", "1e308", commands=(("check", "--json"), ("area", "--lifts", "1 mm", "--json")))


@pytest.mark.parametrize("digits", [400, 5000])
@pytest.mark.parametrize("line", ["coefficient = 0.98", "angles = [0, 90, 180, 270]", "format = 1", 'margin = "1 mm"'])
def test_whole_numbers_of_any_length(arena: Arena, line: str, digits: int) -> None:
    value = "9" * digits
    arena.change("job.toml", line, with_value(line, f"[0, 90, {value}]" if "angles" in line else value))
    arena.refuses("job.toml")


@pytest.mark.parametrize("value", ["0x" + "f" * 5000, "0b" + "1" * 20000, "0o" + "7" * 6000])
def test_whole_numbers_in_other_bases(arena: Arena, value: str) -> None:
    arena.change("job.toml", 'margin = "1 mm"', f"margin = {value}")
    arena.refuses("job.toml")


# job.toml: impossible valves, seats and rooms ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('throat_diameter = "35 mm"', 'throat_diameter = "39 mm"', ("seat.throat_diameter", "larger than the seat")),
        ('throat_diameter = "35 mm"', 'throat_diameter = "5 mm"', ("seat.throat_diameter", "stem", "7.000 mm")),
        ('stem_diameter = "7 mm"', 'stem_diameter = "45 mm"', ("valve.stem_diameter", "45.000 mm")),
        ('outer_diameter = "39.8 mm"', 'outer_diameter = "60 mm"', ("seat.outer_diameter", "does not meet the seat")),
        ('width = "1.6 mm"', 'width = "100 mm"', ("seat.width", "wider than its diameter allows", "100.000 mm")),
        ('face_width = "2 mm"', 'face_width = "40 mm"', ("valve.face_width", "too wide", "40.000 mm")),
        ('angle = "45 deg"\nwidth', 'angle = "90 deg"\nwidth', ("seat.angle", "between 0 and 90 deg", "90 deg")),
        ('angle = "45 deg"\nwidth', 'angle = "-45 deg"\nwidth', ("seat.angle", "-45 deg")),
        ('face_angle = "45 deg"', 'face_angle = "0 deg"', ("valve.face_angle", "0 deg")),
        ('face_angle = "45 deg"', 'face_angle = "135 deg"', ("valve.face_angle", "135 deg")),
        ('underhead_angle = "15 deg"', 'underhead_angle = "-1 deg"', ("valve.underhead_angle", "-1 deg")),
        ('underhead_angle = "15 deg"', 'underhead_angle = "90 deg"', ("valve.underhead_angle", "90 deg")),
        ('underhead_angle = "15 deg"', 'underhead_angle = "40 deg"', ("valve.back_cut", "40 deg")),
        ('fillet_radius = "8 mm"', 'fillet_radius = "80 mm"', ("valve.fillet_radius", "does not fit", "80.000 mm")),
        ('fillet_radius = "8 mm"', 'fillet_radius = "-1 mm"', ("valve.fillet_radius", "-1.000 mm")),
        ('{ angle = "30 deg", width = "1.1', '{ angle = "50 deg", width = "1.1', ("valve.back_cut", "50 deg")),
        ('width = "1.1 mm"', 'width = "30 mm"', ("valve.back_cut", "meets nothing", "30.000 mm")),
        ('{ angle = "30 deg", width = "1.2', '{ angle = "95 deg", width = "1.2', ("seat.top_cut", "95 deg")),
        ('angle = "60 deg"', 'angle = "90 deg"', ("seat.bottom_cuts", "90 deg")),
        ('angle = "70 deg"', 'angle = "-5 deg"', ("seat.bottom_cuts", "-5 deg")),
    ],
)
def test_impossible_dimensions(arena: Arena, old: str, new: str, words: tuple[str, ...]) -> None:
    arena.change("job.toml", old, new)
    arena.refuses("job.toml, ", *words)
    arena.refuses("job.toml, ", *words, commands=(("area", "--lifts", "1 mm", "--json"), ("area", "--lifts", "0 mm")))


def test_a_closed_valve_inside_the_wall_names_both_parts_and_the_place(arena: Arena) -> None:
    # A bottom cut much flatter than the steep cone under the head that stands over it.
    job = JOB.replace('back_cut = { angle = "30 deg", width = "1.1 mm" }\n', "")
    job = job.replace('underhead_angle = "15 deg"', 'underhead_angle = "44 deg"')
    arena.write("job.toml", job.replace('angle = "60 deg", width = "0.9 mm"', 'angle = "5 deg", width = "1.2 mm"'))
    arena.refuses("job.toml, ", "the closed valve stands inside the wall", "bottom cut 1", "diameter", " mm")


def inch_job() -> str:
    """Return the job with its lengths in inches."""
    return re.sub(r'"([\d.]+) mm"', lambda match: f'"{float(match[1]) / 25.4:.6f} in"', JOB)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('throat_diameter = "1.377953 in"', 'throat_diameter = "1.6 in"', ("throat diameter 1.6000 in", "1.4778 in")),
        ('stem_diameter = "0.275591 in"', 'stem_diameter = "1.7 in"', ("stem diameter 1.7000 in",)),
        ('fillet_radius = "0.314961 in"', 'fillet_radius = "3 in"', ("radius 3.0000 in",)),
    ],
)
def test_an_inch_job_is_told_its_lengths_in_inches(arena: Arena, old: str, new: str, words: tuple[str, ...]) -> None:
    job = inch_job()
    assert old in job
    arena.write("job.toml", job.replace(old, new))
    outcome = run("area", arena.folder, "--lifts", "0.1 in", "--json")
    assert_one_message(outcome, 1, *words)
    assert " mm" not in outcome.err


def test_an_inch_job_is_told_in_inches_where_its_closed_valve_stands_in_the_wall(arena: Arena) -> None:
    job = inch_job().replace('back_cut = { angle = "30 deg", width = "0.043307 in" }\n', "")
    job = job.replace('underhead_angle = "15 deg"', 'underhead_angle = "44 deg"')
    arena.write(
        "job.toml", job.replace('angle = "60 deg", width = "0.035433 in"', 'angle = "5 deg", width = "0.08 in"')
    )
    outcome = run("area", arena.folder, "--lifts", "0.1 in", "--json")
    assert_one_message(outcome, 1, "stands inside the wall", " in inside the bottom cut 1 at a diameter of 1.")
    assert " mm" not in outcome.err


def test_an_inch_table_is_told_its_lifts_in_inches(arena: Arena) -> None:
    arena.change("job.toml", "28 inH2O", "28 psi")
    arena.write("readings.csv", READINGS.replace("[mm]", "[in]").replace(",4,", ",.1,").replace(",8,", ",.3,"))
    arena.write("flow.csv", None)
    arena.refuses("chokes the flow of run 'rough' at 0.1 in", "775 inH2O")


@pytest.mark.parametrize("pressure", ["60 kPa", "10 psi", "1e5 mmH2O", "100 kPa", "47.2 kPa"])
def test_choked_test_pressure(arena: Arena, pressure: str) -> None:
    arena.change("job.toml", "28 inH2O", pressure)
    arena.refuses("job.toml, bench.test_pressure: ", "chokes", "the critical 189.4 inH2O of 401.5 inH2O upstream")


def test_barometer_in_the_wrong_unit_chokes_the_test_pressure(arena: Arena) -> None:
    arena.change("job.toml", "100 kPa", "100 hPa")
    arena.refuses("job.toml", "barometer", "40.15 inH2O", "chokes")


@pytest.mark.parametrize("temperature", ["1 K", "300 degC", "360 degC", "1e6 degC", "1e300 K", "1e308 degC"])
def test_a_room_too_hot_or_cold_for_air(arena: Arena, temperature: str) -> None:
    arena.change("job.toml", "21 degC", temperature)
    arena.refuses("job.toml", "bench.temperature")


@pytest.mark.parametrize("barometer", ["1e-300 Pa", "5e-324 kPa", "1e300 Pa", "1e12 bar"])
def test_a_barometer_beyond_reason(arena: Arena, barometer: str) -> None:
    arena.change("job.toml", "100 kPa", barometer)
    arena.refuses("job.toml", "barometer")


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("job.toml", 'margin = "1 mm"', 'margin = "1e300 m"'),
        ("job.toml", 'head_diameter = "40 mm"', 'head_diameter = "1e308 m"'),
        ("job.toml", 'head_diameter = "40 mm"', 'head_diameter = "1e-320 mm"'),
        ("job.toml", "28 inH2O", "5e-324 Pa"),
        ("job.toml", "28 inH2O", "1e-300 Pa"),
        ("job.toml", "coefficient = 0.98", "coefficient = 1e-310"),
        ("job.toml", "[0, 90, 180, 270]", "[0, 90, 180, 270, 1e308]"),
        ("readings.csv", "15.4", "1e-320"),
        ("readings.csv", "rough,8,", "rough,1e300,"),
        ("flow.csv", "rough,4,55", "rough,4,1e308"),
        ("flow.csv", "[cfm]", "[m3/s]"),
        ("flow.csv", "flow [cfm]\nrough,4,55", "flow [cfm],test_pressure [Pa]\nrough,4,55,5e-324"),
        ("flow.csv", "flow [cfm]\nrough,4,55", "flow [cfm],test_pressure [Pa]\nrough,4,55,1e-300"),
        ("cam.csv", "110,9", "110,1e308"),
    ],
)
def test_magnitudes_that_no_bench_has(arena: Arena, name: str, old: str, new: str) -> None:
    text = FILES[name]
    assert old in text
    arena.write(name, text.replace(old, new))
    if "1e300," in new:
        arena.write("flow.csv", None)
    for command in (("check",), ("summary",), ("area", "--lifts", "1 mm")):
        assert_sound(run(command[0], arena.folder, *command[1:], "--json"))


def test_a_room_that_holds_more_water_than_air(arena: Arena) -> None:
    # At 70 degC water boils under 31 kPa: a saturated room has at least that pressure.
    room = JOB.replace("21 degC", "70 degC").replace("45 %", "100 %").replace("100 kPa", "12 kPa")
    arena.write("job.toml", room.replace("28 inH2O", "4 inH2O").replace("0.2 inH2O", "0.02 inH2O"))
    arena.write("readings.csv", READINGS.replace("inH2O", "mmH2O"))
    arena.refuses("job.toml", "bench.")


@pytest.mark.parametrize("lift", ["1e300 m", "1e200 m", "1e160 m", "1e308 km"])
def test_lifts_that_no_valve_has(arena: Arena, lift: str) -> None:
    outcome = run("area", arena.folder, "--lifts", lift, "--json")
    if outcome.code == 2:
        assert_one_message(outcome, 2, "lift", lift)
    else:
        assert_sound(outcome)


# job.toml: text that is no TOML --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("xyzzy", ("line 1", "'xyzzy'", "followed by =")),
        ("", ("format", "missing")),
        ("# only a remark\n", ("format", "missing")),
        (JOB.replace('"40 mm"', '"40 mm'), ("line 6",)),
        (JOB.replace('"40 mm"', "40 mm"), ("line 6",)),
        (JOB.replace("head_diameter =", "head_diameter"), ("line 6",)),
        (JOB.replace("head_diameter =", "head diameter ="), ("line 6",)),
        (JOB.replace("[valve]", "[valve"), ("line 5",)),
        (JOB.replace("[0, 90", "[0, 90,, 91"), ("line 35",)),
        (JOB.replace('side = "intake"', 'side = "intake"\nside = "intake"'), ("line 4",)),
        (JOB + "\n[bench]\n", ("already in line 23", "[bench]")),
        (JOB.replace('"Small twin"', '"Small \\q twin"'), ("line 2",)),
        (JOB.replace('"Small twin"', '"Small \\ud800"'), ("line 2",)),
        (JOB.replace("format = 1", "format = 2020-13-45"), ("line 1",)),
        (JOB.replace("\n", "\r"), ("line 1",)),
        (READINGS, ("line 1",)),
        ('{"format": 1}', ("line 1",)),
    ],
    ids=range(17),
)
def test_text_that_is_no_toml(arena: Arena, text: str, words: tuple[str, ...]) -> None:
    arena.write("job.toml", text)
    arena.refuses("job.toml", *words)


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 500_000,
        "a = " + "[" * 200_000 + "]" * 200_000,
        "a = " + "{ a = " * 100_000,
        "a = " + "[[" * 300 + "]]" * 300,
        ".".join("a" * 1000) + " = 1\n",
        f"[{'.'.join('a' * 2000)}]\n",
        JOB.replace("title", "title" + ".a" * 1500),
        JOB.replace("[valve]", "[valve" + ".a" * 1500 + "]\n[valve]"),
        JOB.replace("margin = ", "margin" + ".a" * 1500 + " = "),
        "x = [" + "[[1]]," * 100_000 + "]\n",
    ],
    ids=range(10),
)
def test_nests(arena: Arena, text: str) -> None:
    arena.write("job.toml", text)
    arena.refuses("job.toml")


@pytest.mark.parametrize("key", ['"two\\nlines"', '"bell\\u0007"', '"\\u001b[31mred"', '"\\u202eright to left"', '""'])
def test_messages_stay_on_one_line_whatever_a_key_holds(arena: Arena, key: str) -> None:
    arena.change("job.toml", "[valve]", f"{key} = 1\n[valve]")
    arena.refuses("job.toml", "unknown key")


def test_messages_stay_on_one_line_whatever_a_run_is_called(arena: Arena) -> None:
    arena.write("readings.csv", READINGS.replace("rough", '"two\nlines"'))
    arena.refuses("flow.csv", "line 2", "'rough'")


# Tables --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "old", "new", "words"),
    [
        ("readings.csv", "lift [mm]", "lift", ("line 1, column 2", "'lift'", "no unit", "lift [mm]")),
        ("readings.csv", "lift [mm]", "lift []", ("line 1, column 2", "no unit", "lift [mm]")),
        ("readings.csv", "lift [mm]", "lift [deg]", ("line 1, column 2", "'deg'", "mm, in")),
        ("readings.csv", "lift [mm]", "lift [cfm]", ("line 1, column 2", "'cfm'", "length")),
        ("readings.csv", "lift [mm]", "lift [parsnips]", ("line 1, column 2", "'parsnips'", "mm, in")),
        ("readings.csv", "lift [mm]", "lift (mm)", ("line 1, column 2", "'lift (mm)'", "square brackets", "lift [mm]")),
        ("readings.csv", "lift [mm]", "lift mm", ("line 1, column 2", "'lift mm'", "lift")),
        ("readings.csv", "lift [mm]", "lift [mm", ("line 1, column 2", "'lift [mm'")),
        ("readings.csv", "lift [mm]", "lft [mm]", ("line 1, column 2", "'lft [mm]'", "Did you mean lift?")),
        ("readings.csv", "reading [inH2O]", "reading", ("line 1, column 4", "no unit", "reading [inH2O]")),
        ("readings.csv", "reading [inH2O]", "reading [mm]", ("line 1, column 4", "'mm'", "inH2O", "mmHg")),
        ("readings.csv", "reading [inH2O]", "reading [m/s]", ("line 1, column 4", "'m/s'", "pressure")),
        ("readings.csv", "reading [inH2O]", "readings [inH2O]", ("line 1, column 4", "Did you mean reading [inH2O]?")),
        ("readings.csv", "station", "angle", ("line 1, column 3", "'angle'", "station")),
        ("readings.csv", "station", "sation", ("line 1, column 3", "'sation'", "Did you mean station?")),
        ("readings.csv", "station", "station [rad]", ("line 1, column 3", "rad")),
        ("readings.csv", "station", "run", ("line 1, column 3", "twice", "'run'")),
        ("readings.csv", "note", "lift [in]", ("line 1, column 5", "twice", "'lift [in]'")),
        ("readings.csv", "note", "operator", ("line 1, column 5", "unknown column", "'operator'", "note")),
        ("readings.csv", ",station", "", ("line 1", "station", "missing")),
        ("readings.csv", "run,", "", ("line 1", "run", "missing")),
        ("readings.csv", ",note\nrough,4,0,15.4,", "\nrough,4,0,15.4,gusty", ("line 2", "gusty", "5 cells", "4")),
        ("readings.csv", HEADER, "", ("line 1, column 1", "'rough'", "a header with run, lift [unit], station")),
        ("readings.csv", HEADER, HEADER.replace(",", "|"), ("line 1, column 1", "run|lift")),
        ("flow.csv", "flow [cfm]", "flow", ("line 1, column 3", "no unit", "flow [cfm]")),
        ("flow.csv", "flow [cfm]", "flow [mm]", ("line 1, column 3", "'mm'", "cfm, l/s")),
        ("flow.csv", "flow [cfm]", "flow [kg/s]", ("line 1, column 3", "'kg/s'", "cfm, l/s")),
        ("flow.csv", "flow [cfm]", "folw [cfm]", ("line 1, column 3", "'folw [cfm]'", "Did you mean flow?")),
        ("flow.csv", ",flow [cfm]", "", ("line 1", "flow", "missing")),
        ("flow.csv", "flow [cfm]", "flow [cfm],test_pressure", ("line 1, column 4", "no unit", "[inH2O]")),
        ("flow.csv", "flow [cfm]", "flow [cfm],station", ("line 1, column 4", "'station'", "test_pressure")),
        ("cam.csv", "crank [deg]", "crank", ("line 1, column 1", "no unit", "crank [deg]")),
        ("cam.csv", "crank [deg]", "crank [mm]", ("line 1, column 1", "'mm'", "deg, rad")),
        ("cam.csv", "crank [deg]", "crnk [deg]", ("line 1, column 1", "Did you mean crank?")),
        ("cam.csv", "lift [mm]", "lift", ("line 1, column 2", "no unit", "lift [mm]")),
        ("cam.csv", ",lift [mm]", "", ("line 1", "lift", "missing")),
        ("cam.csv", "crank [deg]", "cam angle [deg]", ("line 1, column 1", "Did you mean camshaft [deg]?")),
        ("cam.csv", "lift [mm]", "tappet lift [mm]", ("cam.rocker_ratio", "missing", "column tappet_lift")),
        ("cam.csv", "lift [mm]", "tappet lift (mm)", ("line 1, column 2", "Write it as tappet_lift [mm]")),
        ("cam.csv", "lift [mm]", "follower [mm]", ("line 1, column 2", "Did you mean tappet_lift [mm]?")),
        ("cam.csv", "lift [mm]", "intake lift [mm]", ("line 1, column 2", "Did you mean lift [mm]?")),
        ("cam.csv", "lift [mm]", "lift [mm],camshaft [deg]", ("crank and camshaft", "Keep one")),
        ("cam.csv", "lift [mm]", "lift [mm],tappet_lift [mm]", ("lift and tappet_lift", "Keep one")),
        ("cam.csv", "lift [mm]", "lift [mm],lift [mm]", ("line 1, columns 2, 3", "several valves", '"intake"')),
        ("cam.csv", "lift [mm]", "intake [mm],exhaust [mm]", ("line 1, columns 2, 3", "several valves", "Keep")),
        ("cam.csv", "lift [mm]", "inlet lift [mm],ex lift [mm]", ("line 1, columns 2, 3", "several valves")),
    ],
)
def test_headers(arena: Arena, name: str, old: str, new: str, words: tuple[str, ...]) -> None:
    arena.change(name, old, new)
    arena.refuses(name, *words)


NO_NUMBERS = [
    "abc",
    "nan",
    "NaN",
    "inf",
    "-inf",
    "Infinity",
    "1e999",
    "12 mm",
    "1_2",
    "0x10",
    "1.2.3",
    "--5",
    "½",
    "1e",
    "'5",
]


@pytest.mark.parametrize("cell", [*NO_NUMBERS, "", "   "])
@pytest.mark.parametrize(
    ("name", "old", "new", "place"),
    [
        ("readings.csv", "rough,8,90", "rough,{},90", "line 7, column lift"),
        ("readings.csv", "rough,8,90", "rough,8,{}", "line 7, column station"),
        ("readings.csv", "rough,8,90,16.7", "rough,8,90,{}", "line 7, column reading"),
        ("flow.csv", "smooth,4,56", "smooth,{},56", "line 4, column lift"),
        ("cam.csv", "110,9", "{},9", "line 4, column crank"),
        ("cam.csv", "110,9", "110,{}", "line 4, column lift"),
    ],
    ids=["readings lift", "station", "reading", "flow lift", "crank", "cam lift"],
)
def test_cells_that_are_no_numbers(arena: Arena, name: str, old: str, new: str, place: str, cell: str) -> None:
    arena.change(name, old, new.format(cell))
    # A cell of blanks may be shown without them.
    arena.refuses(f"{name}, {place}: ", f"(got {cell!r})" if cell.strip() else "empty", "expected a number")


@pytest.mark.parametrize("cell", NO_NUMBERS)
def test_flows_that_are_no_numbers(arena: Arena, cell: str) -> None:
    arena.change("flow.csv", "smooth,4,56", f"smooth,4,{cell}")
    arena.refuses("flow.csv, line 4, column flow: ", f"(got {cell!r})", "expected a number")


@pytest.mark.parametrize(
    ("name", "old", "new", "words"),
    [
        ("readings.csv", "rough,4,0,", "rough,-4,0,", ("line 2, column lift", "'-4'", "negative")),
        ("readings.csv", "rough,4,0,", ",4,0,", ("line 2, column run", "empty")),
        ("readings.csv", "rough,4,0,", "  ,4,0,", ("line 2, column run", "empty")),
        ("readings.csv", "rough,4,90,", "rough,4,91,", ("line 3, column station", "'91'", "0, 90, 180, 270")),
        ("readings.csv", "rough,4,90,", "rough,4,45,", ("line 3, column station", "'45'", "stations.angles")),
        ("readings.csv", "rough,4,90,", "rogh,4,90,", ("line 3", "'rogh'", "1 station", "4 mm", "at least 3")),
        ("readings.csv", "rough,4,90,", "rough,4.1,90,", ("line 3", "'rough'", "1 station", "4.1 mm", "at least 3")),
        ("readings.csv", "rough,4,90,", "rough,4,90,1,2,", ("line 3", "7 cells", "the header 5")),
        ("readings.csv", "rough,4,90,16.3,", "rough,4,90", ("line 3, column reading", "empty")),
        ("readings.csv", "16.3,", "16,3,gusty", ("line 3", "gusty", "decimal comma")),
        ("readings.csv", "rough,4,0,15.4", "rough,4,0,200", ("line 2", "choked", "station 0 deg", "4 mm", "200")),
        ("readings.csv", "smooth,8,270,18.5", "smooth,8,270,-999", ("line 17", "choked", "270 deg", "8 mm", "999")),
        ("flow.csv", "rough,4,55\n", "", ("no flow row", "'rough'", "4 mm", "readings.csv, line 2")),
        ("flow.csv", "rough,4,55", "rough,5,55", ("line 2, column lift", "'5'", "readings.csv")),
        ("flow.csv", "rough,4,55", "ruff,4,55", ("line 2, column run", "'ruff'", "rough, smooth")),
        ("flow.csv", "rough,4,55", "Rough,4,55", ("line 2, column run", "'Rough'", "Did you mean rough?")),
        ("flow.csv", "rough,4,55", "rough,8,55", ("line 3, column lift", "already in line 2")),
        ("flow.csv", "rough,4,55", "rough,4,55\nrough,4.0,55", ("line 3, column lift", "'4.0'", "already in line 2")),
        ("flow.csv", "rough,4,55", "rough,4,-55", ("line 2, column flow", "'-55'", "negative")),
        ("flow.csv", "rough,4,55", "rough,-4,55", ("line 2, column lift", "'-4'", "negative")),
        ("cam.csv", "110,9", "110,-9", ("line 4, column lift", "'-9'", "negative")),
        ("cam.csv", "110,9", "60,9", ("line 4, column crank", "'60'", "rise", "already in line 3")),
        ("cam.csv", "110,9", "50,9", ("line 4, column crank", "'50'", "rise", "here they fall", "Sort the rows")),
        ("cam.csv", "220,0", "941,0", ("line 14, column crank", "941 deg of crank", "at most 720 deg")),
    ],
)
def test_rows(arena: Arena, name: str, old: str, new: str, words: tuple[str, ...]) -> None:
    arena.change(name, old, new)
    arena.refuses(name, *words)


CARD = """
[cam]
peak_lift = "9 mm"
peak_at = "108 deg"
durations = [ { lift = "0.1 mm", angle = "270 deg" }, { lift = "1 mm", angle = "230 deg" } ]
"""
ENGINE = """
[engine]
bore = "82 mm"
stroke = "70 mm"
rod_length = "130 mm"
speed = "6500 rpm"
valves = 1
valve_offset = "18 mm"
valve_direction = "180 deg"
dead_centre = "24 deg"
"""


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('peak_lift = "9 mm"\n', "", ("cam.peak_lift", "missing", "durations")),
        ('peak_at = "108 deg"\n', "", ("cam.peak_at", "missing")),
        ("durations", "# durations", ("cam.durations", "missing")),
        ('"9 mm"', '"9"', ("cam.peak_lift", "no unit", "mm, in")),
        ('"9 mm"', '"0.5 mm"', ("cam.durations[2].lift", "not below the peak", "0.5 mm")),
        ('"108 deg"', '"108 mm"', ("cam.peak_at", "angle", "deg, rad")),
        ('"108 deg"', '"2000 deg"', ("cam.peak_at", "between -720 deg and 1440 deg")),
        ('"270 deg"', '"220 deg"', ("cam.durations[2]", "220 deg", "which angle belongs to which lift")),
        ('"230 deg"', '"262 deg"', ("cam.durations[2]", "fuller", "262 deg", "between")),
        ('"230 deg"', '"120 deg"', ("cam.durations[2]", "more pointed", "120 deg", "between")),
        ('"230 deg"', '"800 deg"', ("cam.durations[2].angle", "between 10 deg and 720 deg")),
        ('"0.1 mm"', '"1 mm"', ("cam.durations", "same lift")),
        ('"0.1 mm"', '"-0.1 mm"', ("cam.durations[1].lift", "-0.1 mm")),
        ("angle =", "angel =", ("cam.durations[1].angel", "Did you mean angle?")),
        (" ]\n", ', { lift = "3 mm", angle = "160 deg" } ]\n', ("cam.durations", "3 entries", "at most 2")),
        ("[ { lift", "{ lift", ("job.toml",)),
        ('"108 deg"', '"108 deg"\nlift_of = "lobe"', ("cam.lift_of", "valve", "tappet")),
        ('"108 deg"', '"108 deg"\nlift_of = "tappet"', ("cam.rocker_ratio", "missing", "1.5")),
        ('"108 deg"', '"108 deg"\nrocker_ratio = 1.5', ("cam.rocker_ratio", "lift_of")),
        ('"108 deg"', '"108 deg"\nrocker_ratio = 15', ("cam.rocker_ratio", "between 0.3 and 5")),
        ('"108 deg"', '"108 deg"\nlash = "6 mm"', ("cam.lash", "between 0 mm and 5 mm")),
        ('"108 deg"', '"108 deg"\nlash = 0.15', ("cam.lash", "no unit")),
        ('"108 deg"', '"108 deg"\nlsh = "1 mm"', ("cam.lsh", "Did you mean lash?")),
    ],
)
def test_figures_of_a_cam_card(arena: Arena, old: str, new: str, words: tuple[str, ...]) -> None:
    arena.write("cam.csv", None)
    assert old in CARD
    arena.write("job.toml", JOB + CARD.replace(old, new, 1))
    arena.refuses("job.toml", *words)


def test_a_lift_given_twice(arena: Arena) -> None:
    arena.write("job.toml", JOB + CARD)
    arena.refuses("job.toml", "cam.peak_lift", "given twice", "cam.csv", "rocker_ratio and lash")


@pytest.mark.parametrize("section", ['[cam]\nlash = "0.15 mm"\n', "[cam]\n"])
def test_a_cam_of_nothing(arena: Arena, section: str) -> None:
    arena.write("cam.csv", None)
    arena.write("job.toml", JOB + section)
    arena.refuses("job.toml, cam: ", "no cam.csv", "peak_lift", "peak_at", "durations")


def test_lifts_without_a_cam_section_are_needed_by_check_alone(arena: Arena) -> None:
    """An event that can't be is an error of `check`; a summary needs none, and warns."""
    arena.write("cam.csv", CAM.replace("110,9", "110,0"))
    assert_one_message(run("check", arena.folder), 1, "cam.csv, line 5", "opens more than once")
    outcome = run("summary", arena.folder, "--json")
    assert_sound(outcome)
    assert "the cam makes no event" in outcome.err


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('bore = "82 mm"\n', "", ("engine.bore", "missing", "82 mm")),
        ('"82 mm"', '"82"', ("engine.bore", "no unit", "mm, in")),
        ('"82 mm"', '"82 m"', ("engine.bore", "between 0.01 m and 1 m")),
        ('"82 mm"', '"50 mm"', ("engine.bore", "engine.valve_offset", "valve.head_diameter", "13 mm outside")),
        ('"18 mm"', '"30 mm"', ("engine.valve_offset", "9 mm outside the bore", "valve_offset 30 mm")),
        ('"18 mm"', '"-18 mm"', ("engine.valve_offset", "between 0 mm")),
        ('"130 mm"', '"35 mm"', ("engine.rod_length", "35 mm", "stroke 70 mm", "half the stroke")),
        ('"6500 rpm"', "6500", ("engine.speed", "no unit", "rpm, 1/min, rad/s")),
        ('"6500 rpm"', '"6500 U/min"', ("engine.speed", "Did you mean rpm?")),
        ('"6500 rpm"', '"65000 rpm"', ("engine.speed", "between 1 rpm and 30000 rpm")),
        ("valves = 1", "valves = 0", ("engine.valves", "whole number from 1 to 8")),
        ("valves = 1", "valves = 2.5", ("engine.valves", "whole number from 1 to 8", "2.5")),
        ("valves = 1", "valves = true", ("engine.valves", "whole number from 1 to 8")),
        ("valves = 1", 'valves = "2"', ("engine.valves", "'2'", "without quotes")),
        ("valves = 1", f"valves = 1{'0' * 400}", ("engine.valves", "whole number from 1 to 8")),
        ('"180 deg"', "180", ("engine.valve_direction", "no unit", "deg")),
        ('"24 deg"', '"24 mm"', ("engine.dead_centre", "angle")),
        ("stroke", "strok", ("engine.strok", "Did you mean stroke?")),
    ],
)
def test_figures_of_an_engine(arena: Arena, old: str, new: str, words: tuple[str, ...]) -> None:
    assert old in ENGINE
    arena.write("job.toml", JOB + ENGINE.replace(old, new, 1))
    arena.refuses("job.toml", *words)


@pytest.mark.parametrize(
    ("cell", "unit", "words"),
    [
        ("0", "inH2O", ("column test_pressure", "'0'", "larger than zero")),
        ("-28", "inH2O", ("column test_pressure", "'-28'", "larger than zero")),
        ("x", "inH2O", ("column test_pressure", "'x'", "number")),
        ("nan", "inH2O", ("column test_pressure", "'nan'", "number")),
        ("60", "kPa", ("240.9 inH2O", "chokes")),
        ("28", "psi", ("chokes",)),
        ("1e308", "kPa", ()),
    ],
)
def test_test_pressures_of_rows(arena: Arena, cell: str, unit: str, words: tuple[str, ...]) -> None:
    header = f"run,lift [mm],flow [cfm],test_pressure [{unit}]\n"
    arena.write("flow.csv", f"{header}rough,4,55,\nrough,8,99,{cell}\nsmooth,4,56,\nsmooth,8,101,\n")
    arena.refuses("flow.csv", "line 3", *words)


def test_choked_readings_name_the_row_that_chokes(arena: Arena) -> None:
    # One repeat of three was typed without its point.
    rows = "rough,4,0,15.4,\nrough,4,0,15.3,\nrough,4,0,1552,\n"
    arena.write("readings.csv", READINGS.replace("rough,4,0,15.4,\n", rows))
    arena.refuses("readings.csv", "line 4", "choked", "1552 inH2O", "a drop of 527.6 inH2O", "critical 189.4 inH2O")


def test_a_choked_drop_that_is_the_reading_is_named_once(arena: Arena) -> None:
    arena.change("readings.csv", "rough,4,0,15.4", "rough,4,0,200")
    arena.refuses("choked", "(got '200 inH2O')")
    assert run("check", arena.folder).err.count("200 inH2O") == 1


def test_a_sonic_velocity_is_named_in_its_own_unit(arena: Arena) -> None:
    arena.write("job.toml", JOB.replace("upstream-minus-tap", "velocity").replace("0.2 inH2O", "1 m/s"))
    arena.write("readings.csv", READINGS.replace("[inH2O]", "[ft/s]").replace("rough,4,0,15.4", "rough,4,0,1200"))
    arena.refuses("line 2", "sonic", "(got '1200 ft/s')", "less than 1032 ft/s")


@pytest.mark.parametrize(
    ("reading", "word"), [("320", "sonic"), ("-5000", "sonic"), ("1e9", "beyond any"), ("1e308", "beyond any")]
)
def test_choked_velocities(arena: Arena, reading: str, word: str) -> None:
    arena.write("job.toml", JOB.replace("upstream-minus-tap", "velocity").replace("0.2 inH2O", "1 m/s"))
    readings = READINGS.replace("[inH2O]", "[m/s]")
    arena.write("readings.csv", readings.replace("rough,4,180,17.2", f"rough,4,180,{reading}"))
    arena.refuses("readings.csv, line 4", word)


def test_flow_without_readings(arena: Arena) -> None:
    arena.write("readings.csv", None)
    arena.refuses("flow.csv", "no readings", "readings.csv", "run, lift, station, reading")


def test_nothing_to_summarise(arena: Arena) -> None:
    arena.write("readings.csv", None)
    arena.write("flow.csv", None)
    arena.refuses("job", "there are no readings", "readings.csv", commands=(("summary", "--json"), ("summary",)))
    assert run("check", arena.folder).code == 0


@pytest.mark.parametrize("name", ["readings.csv", "flow.csv", "cam.csv"])
@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ("the table is empty", "expected a header with", "lift [unit]")),
        ("\ufeff", ("the table is empty",)),
        ("\n\r\n  \n,,,\n\t\n", ("the table is empty",)),
        ("HEADER", ("header but no rows", "at least one row")),
        ("HEADER\n\n,,,\n", ("header but no rows", "at least one row")),
    ],
    ids=["nothing", "mark alone", "blanks", "header alone", "header and blanks"],
)
def test_tables_with_nothing_in_them(arena: Arena, name: str, text: str, words: tuple[str, ...]) -> None:
    arena.write(name, text.replace("HEADER", FILES[name].splitlines()[0]))
    arena.refuses(name, *words)


@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize(
    ("encoded", "words"),
    [
        (lambda text: text.encode("utf-16"), ("UTF-16", "UTF-8")),
        (lambda text: text.encode("utf-16-le"), ("line 1", "zero byte")),
        (lambda text: text.encode("utf-16-be"), ("line 1", "zero byte")),
        (lambda text: text.encode("utf-32"), ("UTF-8",)),
        (lambda text: text.encode() + "# Zündung\n".encode("latin-1"), ("0xfc", "UTF-8")),
        (lambda text: text.encode() + "# 45°\n".encode("cp437"), ("0xf8", "UTF-8")),
        (lambda text: text.encode() + b"\xed\xa0\x80\n", ("0xed", "UTF-8")),
        (lambda text: text.encode().replace(b"\n", b"\n\0", 1), ("line 2", "zero byte")),
        (lambda text: text.encode().replace(b"\n", b"\n\xff", 1), ("line 2", "0xff", "UTF-8")),
        (lambda text: b"\x89PNG\r\n\x1a\n" + text.encode(), ("line 1", "0x89", "UTF-8")),
        (lambda text: bytes(10_000), ("line 1", "zero byte")),
        (lambda text: b"\x1f\x8b\x08" + text.encode(), ("0x8b", "UTF-8")),
    ],
    ids=[
        "utf-16",
        "utf-16-le",
        "utf-16-be",
        "utf-32",
        "latin-1",
        "cp437",
        "surrogate",
        "0",
        "255",
        "png",
        "0s",
        "gzip",
    ],
)
def test_encodings(arena: Arena, name: str, encoded: Callable[[str], bytes], words: tuple[str, ...]) -> None:
    arena.write(name, encoded(FILES[name]))
    arena.refuses(name, *words)


@pytest.mark.parametrize("name", ["readings.csv", "flow.csv", "cam.csv"])
@pytest.mark.parametrize("spoilt", ['"', 'x"y"z,"', '"a"b'])
def test_quotes_that_do_not_close(arena: Arena, name: str, spoilt: str) -> None:
    first, rest = FILES[name].split("\n", 1)
    arena.write(name, f"{first}\n{spoilt}{rest}")
    arena.refuses(name, "line ")


@pytest.mark.parametrize("name", ["readings.csv", "flow.csv", "cam.csv"])
@pytest.mark.parametrize("length", [100_000, 300_000])
@pytest.mark.parametrize("place", ["header", "row"])
def test_cells_of_unreasonable_length(arena: Arena, name: str, length: int, place: str) -> None:
    first, rest = FILES[name].split("\n", 1)
    long = "x" * length
    arena.write(name, f"{first}{long}\n{rest}" if place == "header" else f"{first}\n{long}{rest}")
    # Other packages in this process may have raised the limit that the program starts with.
    before = csv.field_size_limit(131_072)
    try:
        arena.refuses(name, "line 1" if place == "header" else "line 2")
    finally:
        csv.field_size_limit(before)


def test_a_missing_column_of_numbers_with_a_note_in_its_place(arena: Arena) -> None:
    arena.write("readings.csv", READINGS.replace("15.4,", ",15.4 inH2O"))
    arena.refuses("readings.csv, line 2, column reading", "empty")


# Files and folders ---------------------------------------------------------------------------------------------------


def test_no_folder(arena: Arena) -> None:
    for path in ("nowhere", "no/where", "flow.csv/job"):
        for command in ("check", "summary"):
            assert_one_message(run(command, path, "--json"), 1, path, "no such folder", "portviz new")


def test_not_a_folder(arena: Arena) -> None:
    outcome = run("check", arena.folder / "flow.csv", "--json")
    assert_one_message(outcome, 1, "flow.csv", "this is a file", "job.toml")


def test_a_folder_without_a_job(arena: Arena) -> None:
    arena.write("job.toml", None)
    arena.refuses("job: ", "no job.toml", "portviz new")


def test_a_name_too_long_for_a_folder(arena: Arena) -> None:
    for command in (("check",), ("summary",), ("area", "--lifts", "1 mm"), ("new",)):
        assert_one_message(run(command[0], "n" * 300, *command[1:], "--json"), 1, "nnn", "too long")
    assert_one_message(run("summary", arena.folder, "--csv", "n" * 300), 1, "nnn", "too long")


@pytest.mark.parametrize("name", [*FILES, "bench.xlsx"])
def test_a_folder_where_a_file_should_be(arena: Arena, name: str) -> None:
    if name in FILES:
        arena.write(name, None)
    (arena.folder / name).mkdir()
    if name == "bench.xlsx":
        arena.write("readings.csv", None)
    arena.refuses(name, "expected")


@pytest.mark.parametrize("name", FILES)
def test_a_file_that_may_not_be_read(arena: Arena, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    real = Path.read_bytes

    def guarded(path: Path) -> bytes:
        if path.name == name:
            raise PermissionError(13, "Permission denied", str(path))
        return real(path)

    with monkeypatch.context() as patch:
        patch.setattr(Path, "read_bytes", guarded)
        outcome = run("check", arena.folder, "--json")
    assert_one_message(outcome, 1, name, "can't be read", "Permission denied")


def test_a_folder_that_may_not_be_listed(arena: Arena, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(path: Path) -> Iterator[Path]:
        raise PermissionError(13, "Permission denied", str(path))

    with monkeypatch.context() as patch:
        patch.setattr(Path, "iterdir", refuse)
        outcome = run("check", arena.folder, "--json")
    assert_one_message(outcome, 1, "job", "can't be read", "Permission denied")


def test_a_folder_that_may_not_be_entered(arena: Arena, monkeypatch: pytest.MonkeyPatch) -> None:
    real = os.stat

    def guarded(path: Any, *args: Any, **words: Any) -> os.stat_result:
        if not isinstance(path, int) and str(arena.folder) in os.fsdecode(path):
            raise PermissionError(13, "Permission denied", os.fsdecode(path))
        return real(path, *args, **words)

    with monkeypatch.context() as patch:
        patch.setattr(os, "stat", guarded)
        outcome = run("check", arena.folder, "--json")
    assert_one_message(outcome, 1, str(arena.folder))


# Large and endless files, in a process of their own that may not take all the machine has ----------------------------

_GUARDED = """
import os, sys
os.environ["OPENBLAS_NUM_THREADS"] = "1"
try:
    import resource
    resource.setrlimit(resource.RLIMIT_AS, (2 << 30, 2 << 30))
except (ImportError, ValueError):
    pass
from portviz.__main__ import main
code = main(sys.argv[2:])
try:
    with open("/proc/self/status") as status:
        peak = next(int(line.split()[1]) for line in status if line.startswith("VmHWM")) // 1024
except OSError:
    peak = 0
with open(sys.argv[1], "w") as note:
    note.write(str(peak))
sys.exit(code)
"""


def refuses_fast(arena: Arena, *words: str, seconds: float = 4.0, megabytes: int = 500) -> None:
    """Assert that `check` gives up with one message within time and memory, whatever lies in the job's folder."""
    before = content(arena.place)
    with tempfile.TemporaryDirectory() as scratch:
        note = Path(scratch) / "peak"
        command = [sys.executable, "-c", _GUARDED, str(note), "check", str(arena.folder), "--json"]
        try:
            done = subprocess.run(command, capture_output=True, timeout=seconds, check=False)
        except subprocess.TimeoutExpired:
            pytest.fail(f"not refused within {seconds:g} s")
        peak = int(note.read_text() or 0) if note.exists() else 0
    assert_one_message(Outcome(done.returncode, done.stdout.decode(), done.stderr.decode()), 1, *words)
    assert peak < megabytes, f"{peak} MB of memory for a refusal"
    assert content(arena.place) == before


def random_bytes(size: int) -> bytes:
    block = os.urandom(MEGABYTE)
    return (block * (size // MEGABYTE + 1))[:size]


@pytest.mark.parametrize("name", ["job.toml", "readings.csv", "bench.xlsx"])
def test_a_hundred_megabytes_of_noise(arena: Arena, name: str) -> None:
    if name == "bench.xlsx":
        arena.write("readings.csv", None)
    arena.write(name, random_bytes(100 * MEGABYTE))
    refuses_fast(arena, name)


def test_a_hundred_sparse_gigabytes(arena: Arena) -> None:
    with (arena.folder / "readings.csv").open("r+b") as file:
        file.truncate(100 * 1024 * MEGABYTE)
    refuses_fast(arena, "readings.csv", "too large", "MB")


HEADER_BYTES = HEADER.encode()


@pytest.mark.parametrize(
    "garbage",
    [
        lambda size: random_bytes(size),
        lambda size: bytes(size),
        lambda size: b"x" * size,
        lambda size: b"xxxx\n" * (size // 5),
        lambda size: b"\n" * size,
        lambda size: b"," * size,
        lambda size: b",,,,\n" * (size // 5),
        lambda size: b"a,b,c,d,e\n" * (size // 10),
        lambda size: b'"' * size,
    ],
    ids=["noise", "zeros", "letters", "short rows", "line ends", "commas", "blank rows", "words", "quotes"],
)
def test_sixty_megabytes_of_garbage_behind_a_good_header(arena: Arena, garbage: Callable[[int], bytes]) -> None:
    arena.write("readings.csv", HEADER_BYTES + garbage(60 * MEGABYTE))
    refuses_fast(arena, "readings.csv")


@pytest.mark.parametrize("line", [b"x" * 60 * MEGABYTE, b"," * 60 * MEGABYTE], ids=["letters", "commas"])
def test_sixty_megabytes_in_one_line(arena: Arena, line: bytes) -> None:
    arena.write("readings.csv", line)
    refuses_fast(arena, "readings.csv")


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("readings.csv", "lift [mm]", "lift" + " " * 400 + "]"),
        ("readings.csv", "note", " " * 2000 + "]["),
        ("readings.csv", "15.4", "1" * 30_000 + "x"),
        ("readings.csv", "[mm]", "[m**9**9**9]"),
        ("job.toml", "40 mm", "40 m**9**9**9"),
        ("job.toml", "40 mm", "40 a" + " " * 200_000 + "b"),
        ("job.toml", "40 mm", "9" * 500_000 + " mm"),
        ("job.toml", "40 mm", "40 " + "m*m/" * 50_000 + "m"),
        ("job.toml", "title", "title" + ".a" * 50_000),
        ("job.toml", "[valve]", "[valve" + ".a" * 100_000 + "]\n[valve]"),
        ("job.toml", "[0, 90, 180, 270]", "[" + "0, " * 250_000 + "0]"),
    ],
    ids=[
        "blanks and a bracket", "more blanks", "digits", "powers in a header", "powers", "blanks in a unit",
        "digits of a quantity", "products of units", "dotted key", "dotted table", "stations",
    ],
)  # fmt: skip
def test_text_made_to_take_for_ever(arena: Arena, name: str, old: str, new: str) -> None:
    arena.change(name, old, new)
    refuses_fast(arena, name)


def workbook_with(rows: bytes) -> bytes:
    """Return a workbook whose sheet of readings goes on with the given rows."""
    book = openpyxl.Workbook()
    book.active.title = "readings"
    for line in READINGS.splitlines():
        book.active.append(line.split(","))
    plain, content_now = io.BytesIO(), io.BytesIO()
    book.save(plain)
    with (
        zipfile.ZipFile(plain) as whole,
        zipfile.ZipFile(content_now, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as new,
    ):
        for name in whole.namelist():
            part = re.sub(rb"<dimension [^>]*/>", b"", whole.read(name))
            new.writestr(name, part.replace(b"</sheetData>", rows + b"</sheetData>"))
    return content_now.getvalue()


@pytest.mark.parametrize(
    "rows",
    [
        b'<row><c t="inlineStr"><is><t>x</t></is></c></row>' * 1_200_000,
        b'<row r="1000000000"><c r="A1000000000"><v>1</v></c></row>',
        b'<row r="20">' + b"<c><v>1</v></c>" * 3_000_000 + b"</row>",
    ],
    ids=["rows", "a far row", "cells"],
)
def test_a_small_workbook_that_swells(arena: Arena, rows: bytes) -> None:
    arena.write("readings.csv", None)
    arena.write("bench.xlsx", workbook_with(rows))
    refuses_fast(arena, "bench.xlsx")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="named pipes are a thing of POSIX")
@pytest.mark.parametrize("name", ["job.toml", "readings.csv"])
def test_a_pipe_where_a_file_should_be(arena: Arena, name: str) -> None:
    arena.write(name, None)
    os.mkfifo(arena.folder / name)
    refuses_fast(arena, name)


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="endless files are a thing of POSIX")
@pytest.mark.parametrize("name", ["job.toml", "flow.csv"])
def test_an_endless_file(arena: Arena, name: str) -> None:
    arena.write(name, None)
    (arena.folder / name).symlink_to("/dev/zero")
    refuses_fast(arena, name)


# Bytes and cells at random -------------------------------------------------------------------------------------------

SETTINGS = settings(
    max_examples=120, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
#: What a slip of the hand, a spreadsheet or a broken disk puts in the place of a number or word.
ODDITIES = [
    "", " ", "0", "-0", "-1", "1e3", "1e6", "1e12", "1e-9", "1e150", "1e308", "-1e308", "5e-324", "nan", "inf",
    "1e999", "360", "359.9999999", "1_0", "true", "45 deg", "mm", "in", "Pa", "K", "%", "m/s", "9007199254740993",
    "٣", "é", "😀", '"', "'", "[", "]", "{", "}", "=", "#", ",", ";", "\t", "\r", "\n", "\u00a0", "\u2028",
    "\u0085", "\x0c", "\x1c", "\x00", "1979-05-27", "#REF!", "=1+1", "..", "\\", "*", "**", "/",
]  # fmt: skip


@pytest.fixture(scope="module")
def field(tmp_path_factory: pytest.TempPathFactory) -> Arena:
    return Arena(tmp_path_factory.mktemp("field"))


def assert_sound_whatever(field: Arena, name: str, content_now: bytes) -> None:
    """Put content into a file of the whole job, run all commands, and put the file back."""
    field.write(name, content_now)
    try:
        assert_sound(run("summary", field.folder, "--json"))
        if name == "job.toml":
            assert_sound(run("area", field.folder, "--lifts", "1 mm", "--json"))
        plain = run("check", field.folder)
        assert UNFORESEEN not in plain.err
        assert plain.code in (0, 1)
        assert (field.folder / name).read_bytes() == content_now
        assert sorted(path.name for path in field.folder.iterdir()) == sorted(FILES)
        assert len(list(field.place.iterdir())) == 1
    finally:
        field.write(name, FILES[name])


@SETTINGS
@given(
    name=st.sampled_from(sorted(FILES)),
    edits=st.lists(
        st.tuples(st.floats(0, 1), st.integers(0, 40), st.binary(max_size=3), st.booleans()), min_size=1, max_size=4
    ),
)
def test_random_bytes_changed(field: Arena, name: str, edits: list[tuple[float, int, bytes, bool]]) -> None:
    changed = FILES[name].encode()
    for where, length, new, insert in edits:
        at = int(where * len(changed))
        changed = changed[:at] + new + changed[at if insert else at + max(length, 1) :]
    assert_sound_whatever(field, name, changed)


@SETTINGS
@given(name=st.sampled_from(sorted(FILES)), start=st.floats(0, 1), end=st.floats(0, 1), twice=st.booleans())
@example(name="job.toml", start=0.0, end=1.0, twice=False)
def test_a_stretch_lost_or_doubled(field: Arena, name: str, start: float, end: float, twice: bool) -> None:
    whole = FILES[name].encode()
    low, high = sorted(int(each * len(whole)) for each in (start, end))
    assert_sound_whatever(field, name, whole[:high] + whole[low:] if twice else whole[:low] + whole[high:])


def replaced(text: str, pattern: str, places: list[float], new: list[str]) -> str:
    """Return a text with some of the matches of a pattern replaced."""
    for place, word in zip(places, new, strict=False):
        matches = list(re.finditer(pattern, text))
        if matches:
            match = matches[int(place * (len(matches) - 1))]
            text = text[: match.start()] + word + text[match.end() :]
    return text


@SETTINGS
@given(
    name=st.sampled_from(["readings.csv", "flow.csv", "cam.csv"]),
    places=st.lists(st.floats(0, 1), min_size=1, max_size=3),
    new=st.lists(st.sampled_from(ODDITIES) | st.text(max_size=6), min_size=3, max_size=3),
)
def test_random_cells_replaced(field: Arena, name: str, places: list[float], new: list[str]) -> None:
    text = replaced(FILES[name], r"[^,\n]+", places, new)
    assert_sound_whatever(field, name, text.encode(errors="surrogatepass"))


@SETTINGS
@given(
    places=st.lists(st.floats(0, 1), min_size=1, max_size=3),
    new=st.lists(st.sampled_from(ODDITIES) | st.text(max_size=6), min_size=3, max_size=3),
    pattern=st.sampled_from([r"[\d.]+", r"[A-Za-z_0-9.%-]+", r'"[^"\n]*"', r"[^\n]*\n"]),
)
def test_random_words_of_the_job_replaced(field: Arena, places: list[float], new: list[str], pattern: str) -> None:
    assert_sound_whatever(field, "job.toml", replaced(JOB, pattern, places, new).encode(errors="surrogatepass"))


@SETTINGS
@given(
    numbers=st.lists(
        st.floats(allow_nan=False, allow_infinity=False) | st.floats(-50, 50) | st.integers(-(10**30), 10**30),
        min_size=1,
        max_size=3,
    ),
    places=st.lists(st.floats(0, 1), min_size=3, max_size=3),
    name=st.sampled_from(sorted(FILES)),
)
def test_random_numbers_in_the_place_of_numbers(
    field: Arena, numbers: list[float], places: list[float], name: str
) -> None:
    text = replaced(FILES[name], r"(?<![A-Za-z])\d+(\.\d+)?", places, [repr(number) for number in numbers])
    assert_sound_whatever(field, name, text.encode())


# Words of the messages -----------------------------------------------------------------------------------------------


def test_a_question_ends_with_its_mark(arena: Arena) -> None:
    arena.change("job.toml", "coefficient", "coeficient")
    assert run("check", arena.folder).err.endswith("Did you mean coefficient?\n")


def test_a_value_stands_in_quotes_once(arena: Arena) -> None:
    arena.change("job.toml", 'humidity = "45 %"', 'humidity = "45 %"\ndewpoint = "9 degC"')
    assert "(got '9 degC')" in run("check", arena.folder).err


@pytest.mark.parametrize(("old", "new"), [("[gauge]", "[Gauge]"), ("head_diameter", "head_diametre")])
def test_a_misspelt_name_is_one_fault_not_two(arena: Arena, old: str, new: str) -> None:
    arena.change("job.toml", old, new)
    err = run("check", arena.folder).err
    assert "Did you mean" in err
    assert "More to mend" not in err


def test_all_that_is_missing_is_counted(arena: Arena) -> None:
    arena.write("job.toml", "")
    assert "More to mend in the same file: side, valve, seat and 3 more." in run("check", arena.folder).err


def test_other_faults_of_the_file_are_listed_once_each(arena: Arena) -> None:
    arena.change("job.toml", "[0, 90, 180, 270]", '[0, "90", 180, 270]')
    err = run("check", arena.folder).err
    assert "stations.angles[2]" in err
    assert "  " not in err
    assert "More to mend" not in err


#: What a clumsy hand does to each file, in the words of a change.
SLIPS = {
    "job.toml": [
        ("40 mm", "40"), ("40 mm", ""), ("40 mm", "40,5 mm"), ("40 mm", "1 13/16 in"), ("40 mm", "40 furlong"),
        ('"40 mm"', "40 mm"), ('"40 mm"', "“40 mm”"), ('"40 mm"', "40"), ('"40 mm"', "true"), ('"40 mm"', "[]"),
        ("28 inH2O", "28 in"), ("28 inH2O", "28 psi"), ("100 kPa", "29.92"), ("100 kPa", "30 in"), ("21 degC", "18 C"),
        ("45 %", "0.55"), ("45 %", "145 %"), ("0.2 inH2O", "0.2 m/s"), ("0.2 inH2O", "0.2"), ("0.2 inH2O", ""),
        ("= 0.98", "= 98"), ("= 0.98", '= ""'), ("[0, 90, 180, 270]", "[]"), ("[0, 90, 180, 270]", "[0]"),
        ("[0, 90, 180, 270]", "[0, 90, 180, 90]"), ("[0, 90, 180, 270]", '""'), ('"toward the bore wall"', '""'),
        ("Small twin", ""), ('"Small twin"', "5"), ("format = 1", ""), ("format = 1", "format = 2"),
        ("intake", "Intake"), ("intake", ""), ("upstream-minus-tap", "upstream"), ("[valve]", "[[valve]]"),
        ("[valve]", "[valves]"), ("[valve]", "[seat]"), ("[valve]", ""), ("[valve]", "[valve]\nwidth = 1"),
        ("35 mm", "39 mm"), ("35 mm", "5 mm"), ("7 mm", "45 mm"), ("8 mm", "80 mm"), ("1.1 mm", "30 mm"),
        ("Small", "\\q"), ("[0, 90", "[0, 90,,"), ('{ angle = "30 deg", width = "1.2 mm" }', '""'),
        ('{ angle = "30 deg", width = "1.2 mm" }', '{ angle = "30 deg" }'),
    ],
    "readings.csv": [
        ("lift [mm]", "lift"), ("lift [mm]", "lift []"), ("lift [mm]", "lift (mm)"),
        ("reading [inH2O]", "reading [mm]"),
        ("reading [inH2O]", "reading [ft/s]"), ("station", "angle"), ("station", ""), ("station,", ""), ("note", "run"),
        ("run,", "Bench of May\nrun,"), (HEADER, ""), ("rough,4,0,15.4,", ",4,0,15.4,"), ("15.4", ""), ("15.4", " "),
        ("15.4", "15,4"), ("15.4", "15.Jan"), ("15.4", "15 inH2O"), ("15.4", "200"), ("15.4", "-999"), ("15.4", "x"),
        ("rough,4,90", "rough,4,91"), ("rough,4,90", "rogh,4,90"), ("rough,4,90", "rough,-4,90"),
        ("rough,4,0", "rough,4"),
    ],
    "flow.csv": [
        ("flow [cfm]", "cfm"), ("flow [cfm]", "flow [mm]"), ("rough,4,55", "rough,4,55,5"),
        ("rough,4,55", "rough,5,55"),
        ("rough,4,55", "ruff,4,55"), ("rough,4,55\n", ""), ("rough,4,55", "rough,8,55"), ("55", "-55"), ("55", "1e9"),
        ("lift [mm]", "lift [in]"), ("rough,4,55", ",4,55"), ("rough,4,55", '"rough,4,55'),
    ],
    "cam.csv": [
        ("crank [deg]", "angle [deg]"), ("crank [deg]", "crank"), ("110,9", "110,-9"), ("110,9", "60,9"),
        ("110,9", "110,"), ("110,9", "70,9\n66,9"), ("110,9", "60,9"), ("110,9", "110,0"), ("0,0\n", "0,5\n"),
        ("lift [mm]", "lift [mm],lift [mm]"), ("lift [mm]", "tappet_lift"),
        ("crank [deg]", "crank [deg],camshaft [deg]"), ("220,0", "2,0"), ("220,0", "999,0"),
        ("lift [mm]", "lift [mm],tappet_lift [mm]"),
    ],
}  # fmt: skip
UNTIDY = re.compile(r"  |\. \(|\? \(|\(''\)|got ''|\(s\)|\.\.(?!\.)(?<!\.\.\.)|;;|,,|\.;| ;| ,|None|\[\]\?")


@pytest.mark.parametrize(("name", "old", "new"), [(name, *slip) for name, slips in SLIPS.items() for slip in slips])
def test_messages_are_joined_tidily(arena: Arena, name: str, old: str, new: str) -> None:
    arena.change(name, old, new)
    outcome = run("check", arena.folder)
    assert_one_message(outcome, 1, name)
    own = re.sub(r"\(got [^)]*\)", "(got)", outcome.err.removeprefix("portviz: ").rstrip("\n"))
    assert UNTIDY.search(own) is None, outcome.err
    assert re.search("[“”„‘’«»]", own) is None, outcome.err
    assert own.endswith((".", "?")), outcome.err
    assert not re.search(r"Input|should be|valid string|tuple|dictionary|instance", own), outcome.err
    shown = re.search(r"\(got ('[^']+')\)", outcome.err)
    if shown:
        assert outcome.err.count(shown[1]) == 1, outcome.err


# Wrong usage and targets ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["check"], ("check", "--help")),
        (["check", "JOB", "extra"], ("extra",)),
        (["check", "JOB", "--jsn"], ("--jsn", "--json")),
        (["check", "JOB", "--json", "--json"], ("--json",)),
        (["chek", "JOB"], ("chek", "check")),
        (["--bogus"], ("--bogus",)),
        (["area", "JOB"], ("lifts",)),
        (["area", "JOB", "--lifts"], ("lifts",)),
        (["area", "JOB", "--lifts", ""], ("lift", "''", "46 mm")),
        (["area", "JOB", "--lifts", "8"], ("lift", "'8'", "no unit", "mm, in")),
        (["area", "JOB", "--lifts", "8 deg"], ("lift", "'deg'", "mm, in")),
        (["area", "JOB", "--lifts", "1 mm, eight mm"], ("lift", "eight mm")),
        (["area", "JOB", "--lifts", "1 mm,,2 mm"], ("lift", "''")),
        (["area", "JOB", "--lifts", "1,5 mm; 2 mm"], ("lift", "'1,5 mm; 2 mm'", "decimal point")),
        (["area", "JOB", "--lifts", "nan mm"], ("lift", "nan mm")),
        (["area", "JOB", "--lifts", "1e999 mm"], ("lift", "1e999 mm", "finite")),
        (["area", "JOB", "--lifts=-1 mm"], ("lift", "-1 mm", "negative")),
        (["area", "JOB", "--lifts", "-1 mm"], ("lift", "-1 mm", "negative")),
        (["summary", "JOB", "--run", "ruogh"], ("run", "'ruogh'", "'rough', 'smooth'", "Did you mean 'rough'?")),
        (["summary", "JOB", "--run", "Smooth"], ("run", "'Smooth'", "Did you mean 'smooth'?")),
        (["summary", "JOB", "--run", ""], ("run", "''", "'rough'")),
        (["view", "JOB", "--picture", "a.png", "--size", "big"], ("size", "'big'", "1280x800")),
        (["view", "JOB", "--picture", "a.png", "--size", "100x100"], ("size", "'100x100'", "640x400 to 8000x8000")),
        (["view", "JOB", "--picture", "a.png", "--size", "1280x99999"], ("size", "'1280x99999'")),
        (["view", "JOB", "--picture", "a.png", "--size", "1280x800x3"], ("size", "'1280x800x3'")),
        (["view", "JOB", "--picture", "a.png", "--size", "²00x800"], ("size", "'²00x800'")),
        (["view", "JOB", "--picture", "a.gif"], ("a.gif", ".png")),
        (["view", "JOB", "--picture", "a.png", "--lift", "8"], ("lift", "'8'", "no unit")),
        (["export", "JOB"], ("FILE",)),
        (["export", "JOB", "a.dwg"], ("a.dwg", ".stl")),
        (["new"], ("DIR",)),
        (["schema", "extra"], ("extra",)),
    ],
    ids=lambda value: " ".join(value)[:60] if isinstance(value, list) else "",
)
def test_wrong_usage(arena: Arena, arguments: list[str], words: tuple[str, ...]) -> None:
    before = content(arena.place)
    outcome = run(*(str(arena.folder) if each == "JOB" else each for each in arguments))
    assert_one_message(outcome, 2, *words)
    assert content(arena.place) == before


def test_a_missing_job_is_called_by_its_name(arena: Arena) -> None:
    # The folder has no option: asking for "--job" sends people the wrong way.
    outcome = run("check")
    assert_one_message(outcome, 2, "JOB")
    assert "--job" not in outcome.err.lower().replace("--json", "")


@pytest.mark.parametrize("json_flag", [[], ["--json"]])
def test_an_existing_target_is_kept(arena: Arena, json_flag: list[str]) -> None:
    target = arena.place / "mine.csv"
    target.write_text("my own figures")
    before = content(arena.place)
    outcome = run("summary", arena.folder, "--csv", target, *json_flag)
    assert_one_message(outcome, 1, "mine.csv", "there already", "--overwrite")
    outcome = run("summary", arena.folder, "--csv", arena.folder / "readings.csv", *json_flag)
    assert_one_message(outcome, 1, "readings.csv", "there already")
    assert content(arena.place) == before


@pytest.mark.parametrize("overwrite", [[], ["--overwrite"]])
@pytest.mark.parametrize(
    ("target", "words"),
    [("job", ("job", "folder")), ("none/a.csv", ("a.csv", "folder does not exist")), ("", ("folder",))],
)
def test_a_target_that_cannot_be(arena: Arena, target: str, words: tuple[str, ...], overwrite: list[str]) -> None:
    before = content(arena.place)
    outcome = run("summary", arena.folder, "--csv", arena.place / target, *overwrite, "--json")
    assert_one_message(outcome, 1, *words)
    assert content(arena.place) == before


def test_a_target_that_may_not_be_written(arena: Arena, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*args: object, **words: object) -> str:
        raise PermissionError(13, "Permission denied")

    before = content(arena.place)
    with monkeypatch.context() as patch:
        patch.setattr(tempfile, "mkdtemp", refuse)
        for command in (("summary", arena.folder, "--csv", "new.csv", "--json"), ("new", "fresh", "--json")):
            assert_one_message(run(*command), 1, "can't be written", "Permission denied")
    assert content(arena.place) == before


@pytest.mark.parametrize("name", ["picture.png", "mesh.stl"])
def test_existing_pictures_and_meshes_are_kept(arena: Arena, name: str) -> None:
    (arena.place / name).write_bytes(b"mine")
    before = content(arena.place)
    command = ["view", arena.folder, "--picture", name] if name.endswith("png") else ["export", arena.folder, name]
    assert_one_message(run(*command), 1, name, "there already", "--overwrite")
    assert content(arena.place) == before


@pytest.mark.parametrize("target", ["job", "job/readings.csv", "none/fresh"])
def test_new_makes_only_what_is_not_there(arena: Arena, target: str) -> None:
    before = content(arena.place)
    for flag in ([], ["--json"]):
        words = ("parent folder does not exist",) if "none" in target else ("there already",)
        assert_one_message(run("new", target, *flag), 1, target, *words)
    assert content(arena.place) == before


@pytest.mark.parametrize(
    ("reading", "arguments", "code"), [("fifteen", [], 1), ("999", [], 1), ("15.4", ["--run", "ruogh"], 2)]
)
def test_errors_come_before_any_file_is_written(arena: Arena, reading: str, arguments: list[str], code: int) -> None:
    arena.change("readings.csv", "15.4", reading)
    before = content(arena.place)
    assert_one_message(run("summary", arena.folder, "--csv", "out.csv", "--json", *arguments), code)
    assert content(arena.place) == before


# The installed program -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["check", "job"], 1, ("readings.csv, line 2, column reading", "'fifteen'")),
        (["summary", "job", "--json"], 1, ("readings.csv, line 2, column reading", "'fifteen'")),
        (["area", "job", "--lifts", "8"], 2, ("'8'", "no unit")),
        (["check", "nowhere"], 1, ("nowhere", "no such folder")),
    ],
)
def test_the_program_itself(arena: Arena, arguments: list[str], code: int, words: tuple[str, ...]) -> None:
    arena.change("readings.csv", "15.4", "fifteen")
    before = content(arena.place)
    done = subprocess.run([sys.executable, "-m", "portviz", *arguments], capture_output=True, timeout=60, check=False)
    assert_one_message(Outcome(done.returncode, done.stdout.decode(), done.stderr.decode()), code, *words)
    assert content(arena.place) == before
