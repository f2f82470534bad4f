"""`find` and `tolerance`: documents, tables and what they refuse."""

from __future__ import annotations

import json
import math
import shutil
from pathlib import Path
from typing import Any

import pytest

from portviz.__main__ import main


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    code = main([*map(str, arguments)])
    said = capsys.readouterr()
    return code, said.out, said.err


def document(capsys: pytest.CaptureFixture[str], *arguments: object) -> dict[str, Any]:
    code, out, err = run(capsys, *arguments, "--json")
    assert code == 0, err
    return json.loads(out)


@pytest.fixture
def copied(examples, tmp_path) -> Path:
    return Path(shutil.copytree(examples / "sidecar_intake", tmp_path / "job"))


def test_a_width_found_goes_back_through_study(copied, capsys):
    """The design of `find` given to `study` as a variation: the same areas, and the part that was asked."""
    found = document(capsys, "find", copied, "width", "--keep", "101 %", "--at", "1 mm")
    assert found["format"] == 1
    assert found["none"] is None
    assert found["asked"] == {"keep": pytest.approx(1.01), "lift_m": pytest.approx(0.001), "hold": "outer"}
    present, widest = found["designs"][:2]
    assert (present["changes"], widest["name"]) == ({}, "widest")
    width = widest["changes"]["seat.width"]
    assert found["ranges"][-1]["to_m"] == width
    study = document(capsys, "study", copied, "--vary", f"seat.width={1e3 * width!r} mm", "--lifts", "1 mm")
    own, changed = (each["lifts"][0]["flow_area_m2"] for each in study["designs"])
    assert changed / own == pytest.approx(1.01, abs=1e-5)
    assert widest["lifts"][0]["flow_area_m2"] == pytest.approx(changed, rel=1e-9)
    for row in found["course"]:
        assert set(row) == {"seat.width_m", "flow_area_over_present", "fits", "reason"}
        assert (row["flow_area_over_present"] is None) == (row["reason"] is not None)
        assert row["fits"] == (row["reason"] is None and row["flow_area_over_present"] >= 1.01 - 1e-12)


def test_cuts_found_go_back_through_designs_toml(copied, capsys):
    found = document(capsys, "find", copied, "cuts", "--contact", "39.2 mm", "--width", "1.4 mm")
    changes = found["designs"][1]["changes"]
    (copied / "designs.toml").write_text(
        f"""\
[[design]]
name = "recut"
seat.width = "{changes["seat.width"]!r} m"
seat.outer_diameter = "{changes["seat.outer_diameter"]!r} m"
seat.top_cut.width = "{changes["seat.top_cut.width"]!r} m"
seat.bottom_cuts = [
  {{ angle = "60 deg", width = "{changes["seat.bottom_cuts[1].width"]!r} m" }},
  {{ angle = "70 deg", width = "1.6 mm" }},
]
""",
        encoding="utf-8",
    )
    study = document(capsys, "study", copied, "--designs", copied / "designs.toml")
    contact = study["designs"][1]["contact"]
    assert contact["mean_diameter_m"] == pytest.approx(0.0392, abs=1e-9)
    assert contact["width_m"] == pytest.approx(0.0014, abs=1e-9)
    assert found["figures"]["valve_sinks_at_least_m"] > 0.0
    assert {"contact_mean_diameter_m", "seat.outer_diameter_m", "seat.top_cut.width_m"} <= set(found["course"][0])


def test_a_throat_and_none(copied, examples, capsys):
    found = document(capsys, "find", examples / "tractor_exhaust", "throat", "--up-to", "4 mm")
    assert [each["name"] for each in found["designs"]] == [None, "largest", "smallest"]
    assert any(each.startswith("clipped") for each in found["remarks"])
    assert any("throat over head" in each for each in found["designs"][1]["findings"])
    none = document(capsys, "find", copied, "throat", "--up-to", "8 mm")
    assert len(none["designs"]) == 1
    assert none["ranges"] == []
    assert "the passage from seat to back of head is the narrower" in none["none"]


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (("width", "--keep", "101 %", "--at", "1 mm"), ("widest: seat width 0.94 mm", "All that fits, seat width")),
        (("cuts", "--contact", "39.2 mm"), ("recut: seat outer diameter 40.33 mm", "valve sinks at least: 0.10 mm")),
        (("cuts", "--contact", "42 mm"), ("None The band would run from", "the face reaches from 37.889 mm")),
        (("throat", "--up-to", "8 mm"), ("None No possible seat.throat_diameter", "back of head")),
        (("throat", "--up-to", "4 mm"), ("largest: seat throat diameter", "Clipped: no throat is larger")),
    ],
)
def test_tables(copied, capsys, arguments, expected):
    code, out, _ = run(capsys, "find", copied, *arguments)
    words = " ".join(out.split())
    assert code == 0
    for each in (*expected, "What is possible, over", "To check", "makers' limits and licensed practice come first"):
        assert each in words
    assert max(map(len, out.splitlines())) <= 110


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("widht",), "Did you mean width?"),
        (("width",), "width needs --keep and --at, as in: portviz find JOB width"),
        (("throat",), "throat needs --up-to"),
        (("cuts", "--contact", "39 mm", "--hold", "inner"), "--hold says nothing about cuts"),
        (("throat", "--up-to", "8 mm", "--keep", "95 %"), "--keep says nothing about throat"),
        (("width", "--keep", "0.95", "--at", "1 mm"), 'such as "95 %"'),
        (("width", "--keep", "400 %", "--at", "1 mm"), "write a part from 1 % to 200 %"),
        (("width", "--keep", "95 %", "--at", "0 mm"), "at: 0 mm is not above zero"),
        (("width", "--keep", "95 %", "--at", "1 mm", "--hold", "throat"), "only outer, contact, inner can"),
        (("cuts", "--contact", "39"), "has no unit"),
        (("cuts", "--contact", ""), "contact: "),
    ],
)
def test_find_refuses(copied, capsys, arguments, words):
    code, out, err = run(capsys, "find", copied, *arguments)
    assert (code, out) == (2, "")
    assert words in err


def test_tolerance_document(copied, capsys):
    found = document(capsys, "tolerance", copied, "--samples", "500", "--lifts", "4 mm, 1 mm")
    assert found["format"] == 1
    assert found["distribution"] == "rectangular"
    assert (found["samples"], found["possible"], found["impossible"]) == (500, 500, {})
    assert found["length_m"] == pytest.approx(5e-5)
    assert found["angle_rad"] == pytest.approx(math.radians(0.5))
    assert [lift["lift_m"] for lift in found["lifts"]] == pytest.approx([0.001, 0.004])
    for each in (*found["lifts"], found["contact_width_m"], found["contact_mean_diameter_m"]):
        spread = each.get("flow_area_m2", each)
        assert spread["quantile_2_5"] < spread["mean"] < spread["quantile_97_5"]
        assert 0.0 < spread["standard_deviation"] < 0.05 * spread["mean"]
        assert sum(each["variance_shares"].values()) == pytest.approx(1.0)
        assert set(each["variance_shares"]) == set(found["dimensions"])
        assert 0.0 < each["linear_part"] <= 1.0
    assert found == document(capsys, "tolerance", copied, "--samples", "500", "--lifts", "4 mm, 1 mm")


def test_tolerance_tables(copied, capsys):
    code, out, _ = run(capsys, "tolerance", copied, "--samples", "300", "--angle", "1 deg")
    words = " ".join(out.split())
    assert code == 0
    assert "300 valves and seats drawn: every length within ±0.05 mm, every angle within ±1.00 deg" in words
    assert "each value between as likely (rectangular)" in words
    assert "seat width 100 %" in words
    assert "makers' limits and licensed practice come first" in words
    assert max(map(len, out.splitlines())) <= 110


def test_impossible_draws_are_told(copied, capsys):
    text = (copied / "job.toml").read_text(encoding="utf-8")
    changed = text.replace('throat_diameter = "35.5 mm"', 'throat_diameter = "38.33 mm"')
    (copied / "job.toml").write_text(changed, encoding="utf-8")
    _, out, _ = run(capsys, "tolerance", copied, "--samples", "200", "--lifts", "4 mm")
    assert "of them make a valve and seat, and count below. Impossible:" in " ".join(out.split())
    found = document(capsys, "tolerance", copied, "--samples", "200", "--lifts", "4 mm")
    assert found["possible"] + sum(found["impossible"].values()) == 200
    assert "the throat is larger than the seat" in found["impossible"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--samples", "10"), "from 100 to 100000"),
        (("--length", "0.05"), "has no unit"),
        (("--length", "0 mm"), "length: 0 mm is not above zero"),
        (("--angle", "1 mm"), "is not an angle"),
        (("--lifts", "1"), "has no unit"),
    ],
)
def test_tolerance_refuses(copied, capsys, arguments, words):
    code, out, err = run(capsys, "tolerance", copied, *arguments)
    assert (code, out) == (2, "")
    assert words in err


def test_no_seat_is_looked_for_beyond_what_the_face_covers(examples, capsys):
    """The sidecar's face ends at 41 - 2 x 2.2 cos(45 deg) = 37.889 mm: the band between is 2.2 mm at the most."""
    asked = ("width", "--keep", "98 %", "--at", "3.5 mm", "--hold", "contact")
    found = document(capsys, "find", examples / "sidecar_intake", *asked)
    assert any("the valve's face would not cover the band" in each for each in found["remarks"])
    contact = found["designs"][1]["contact"]
    assert contact["width_m"] == pytest.approx(found["designs"][1]["changes"]["seat.width"], rel=1e-6)
    assert contact["width_m"] < 2.2e-3
    assert contact["face_overhang_m"] > -1e-8
