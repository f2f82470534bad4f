"""`study`: keys of the contract, tables, the spreadsheet's table, limits.csv, designs.toml, and what it refuses."""

from __future__ import annotations

import csv
import json
import math
import shutil
import time
from pathlib import Path
from typing import Any

import pytest

from portviz.__main__ import main

AREA_KEYS = {
    "lift_m",
    "stage",
    "three_stage_area_m2",
    "curtain_area_m2",
    "gap_area_m2",
    "throat_area_m2",
    "flow_area_m2",
    "limited_by",
    "head_area_m2",
    "flow_m3_s",
}
CONTACT_KEYS = {"inner_diameter_m", "outer_diameter_m", "width_m", "area_m2", "mean_pressure_pa"}
VARY = ("--vary", "seat.width=1.2,1.6,2.0 mm")


def study(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    code = main(["study", *map(str, arguments)])
    said = capsys.readouterr()
    return code, said.out, said.err


def document(capsys: pytest.CaptureFixture[str], *arguments: object) -> dict[str, Any]:
    code, out, err = study(capsys, *arguments, "--json")
    assert code == 0, err
    return json.loads(out)


@pytest.fixture
def copied(examples, tmp_path) -> Path:
    """The sidecar's job in a folder of its own."""
    return Path(shutil.copytree(examples / "sidecar_intake", tmp_path / "job"))


def test_the_document_has_the_keys_of_the_contract(copied, capsys):
    found = document(capsys, copied, *VARY, "--vary", "seat.throat_diameter=34, 39 mm", "--lifts", "8 mm, 2 mm, 4 mm")
    assert found["format"] == 1
    assert found["warnings"] == []
    assert len(found["designs"]) + len(found["refused"]) == 1 + 6
    for refused in found["refused"]:
        assert {"changes", "reason"} <= set(refused)
        assert refused["changes"]["seat.throat_diameter"] == pytest.approx(0.039)
        assert "the throat is larger than the seat" in refused["reason"]
    first, *others = found["designs"]
    assert first["changes"] == {}
    assert [set(each["changes"]) for each in others] == [{"seat.width", "seat.throat_diameter"}] * len(others)
    for design in found["designs"]:
        assert design["name"] is None
        assert [lift["lift_m"] for lift in design["lifts"]] == pytest.approx([0.002, 0.004, 0.008])
        assert all(set(lift) >= AREA_KEYS for lift in design["lifts"])
        assert set(design["contact"]) >= CONTACT_KEYS
        assert all(isinstance(each, str) for each in design["findings"])
        contact = design["contact"]
        # A cone's frustum from its ends and width.
        mean = 0.5 * (contact["inner_diameter_m"] + contact["outer_diameter_m"])
        assert contact["area_m2"] == pytest.approx(math.pi * mean * contact["width_m"], rel=1e-12)
        assert contact["mean_pressure_pa"] is None


def test_pressure_and_line_contact_in_the_document(copied, capsys):
    """300 N over pi x mean diameter x radial width; none on a line."""
    found = document(capsys, copied, "--vary", "valve.seat_force=300 N", "--vary", "valve.face_angle=44, 45 deg")
    _, line, band = (each["contact"] for each in found["designs"])
    assert line["width_m"] == line["area_m2"] == 0.0
    assert line["mean_pressure_pa"] is None
    assert line["inner_diameter_m"] == line["outer_diameter_m"] == pytest.approx(0.0406)
    mean = 0.5 * (band["inner_diameter_m"] + band["outer_diameter_m"])
    radial = 0.5 * (band["outer_diameter_m"] - band["inner_diameter_m"])
    assert band["mean_pressure_pa"] == pytest.approx(300.0 / (math.pi * mean * radial), rel=1e-12)
    assert band["mean_pressure_with_gas_pa"] is None
    assert any("touch along a line" in each for each in found["designs"][1]["findings"])


def test_tables_tell_designs_refusals_and_cautions(copied, capsys):
    code, out, _ = study(capsys, copied, *VARY, "--vary", "seat.throat_diameter=34, 39 mm")
    words = " ".join(out.split())
    assert code == 0
    assert "3 designs beside the present one, 3 designs refused. Flow by the coefficients measured in run" in words
    assert "Refused, since they make no valve and seat" in words
    assert "3 x the throat is larger than the seat" in words
    assert "nothing here is a permission" in words
    assert "Coefficients move with geometry" in words
    # Nothing is cut off at the terminal's edge.
    assert max(map(len, out.splitlines())) <= 110
    assert "…" not in out


def test_many_designs_are_listed_in_part_and_said_so(copied, capsys):
    code, out, _ = study(capsys, copied, "--vary", "seat.width=1:2:0.01 mm")
    assert code == 0
    assert "62 more designs are not listed here; --csv and --json hold them all." in " ".join(out.split())
    assert len(document(capsys, copied, "--vary", "seat.width=1:2:0.01 mm")["designs"]) == 102


def test_the_spreadsheets_table_holds_what_the_document_does(copied, tmp_path, capsys):
    file = tmp_path / "study.csv"
    options = (*VARY, "--cut-depth", "0.2 mm", "--plane", "12 mm")
    code, out, _ = study(capsys, copied, *options, "--csv", file)
    assert code == 0
    assert f"Written: {file}" in out
    found = document(capsys, copied, *options)
    with file.open(encoding="utf-8", newline="") as opened:
        rows = list(csv.DictReader(opened))
    assert len(rows) == 4 * 8
    for row in rows:
        design = found["designs"][int(row["design"])]
        (lift,) = (each for each in design["lifts"] if each["lift_m"] == pytest.approx(float(row["lift_m"]), abs=1e-9))
        for key in ("flow_area_m2", "flow_m3_s", "clearance_m"):
            assert float(row[key]) == pytest.approx(lift[key], rel=1e-12)
        assert row["limited_by"] == lift["limited_by"]
        assert float(row["contact_width_m"]) == pytest.approx(design["contact"]["width_m"])
        assert float(row["valve_sinks_m"]) == pytest.approx(design["heights"]["valve_sinks_m"])
        assert float(row["seat.width_m"]) == pytest.approx(design["changes"].get("seat.width", 0.0016))
    code, _, err = study(capsys, copied, *VARY, "--csv", file)
    assert code == 1
    assert "there already" in err
    code, _, err = study(capsys, copied, *VARY, "--csv", copied / "readings.csv", "--overwrite")
    assert code == 2
    assert "one of the files that the job is read from" in err


def test_heights_in_document_and_table(copied, capsys):
    """0.2 / cos 45 = 0.2828 mm; the head's edge lies 1.2 + 0.2 mm below the seat's; the cam's peak is 10.67 mm."""
    found = document(capsys, copied, *VARY, "--cut-depth", "0.2 mm", "--plane", "12 mm")
    assert (found["cut_depth_m"], found["plane_m"]) == (pytest.approx(2e-4), pytest.approx(0.012))
    heights = found["designs"][0]["heights"]
    assert heights["valve_sinks_m"] == heights["installed_height_grows_m"] == pytest.approx(2e-4 * math.sqrt(2.0))
    assert heights["protrusion_m"] == pytest.approx(1.4e-3 - 2e-4 * math.sqrt(2.0))
    assert heights["least_clearance_lift_of_cam"]
    left = 12e-3 - 1.4e-3 + 2e-4 * math.sqrt(2.0) - heights["least_clearance_lift_m"]
    assert heights["least_clearance_m"] == pytest.approx(left, abs=1e-12)
    assert heights["touches"] is False
    near = document(capsys, copied, *VARY, "--plane", "11 mm")["designs"][0]["heights"]
    assert near["touches"] is True
    assert near["valve_sinks_m"] == 0.0
    _, out, _ = study(capsys, copied, *VARY, "--plane", "11 mm")
    words = " ".join(out.split())
    assert "touches (-1.07)" in words
    assert "Clearance on paper is no clearance" in words
    assert "spring longer" not in words
    _, out, _ = study(capsys, copied, *VARY, "--cut-depth", "0.2 mm")
    words = " ".join(out.split())
    assert "Its stem tip rises by as much: lash shrinks" in words
    assert "makers' figures" in words
    assert "heights" not in document(capsys, copied, *VARY)["designs"][0]
    (copied / "cam.csv").unlink()
    _, out, _ = study(capsys, copied, *VARY, "--plane", "11 mm")
    assert "Without a cam the highest lift of this study" in " ".join(out.split())


def test_designs_toml(copied, capsys):
    (copied / "designs.toml").write_text(
        """\
format = 1
[[design]]
name = "narrow"
seat.width = "1.2 mm"
[[design]]
name = "no cuts"
seat.top_cut = false
seat.bottom_cuts = []
valve.back_cut = false
[[design]]
name = "throat too large"
seat.throat_diameter = "40 mm"
""",
        encoding="utf-8",
    )
    found = document(capsys, copied, "--designs", copied / "designs.toml", "--lifts", "4 mm")
    assert [each["name"] for each in found["designs"]] == [None, "narrow", "no cuts"]
    assert found["designs"][1]["changes"] == {"seat.width": pytest.approx(0.0012)}
    assert found["designs"][2]["changes"]["seat.top_cut.width"] == 0.0
    assert [each["name"] for each in found["refused"]] == ["throat too large"]
    varied = document(capsys, copied, "--vary", "seat.width=1.2 mm", "--lifts", "4 mm")["designs"][1]
    assert found["designs"][1]["lifts"] == varied["lifts"]
    _, out, _ = study(capsys, copied, "--designs", copied / "designs.toml")
    assert "no cuts" in out
    assert "throat too large" in out


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "there are no designs"),
        ("format = 2\n[[design]]\nname = 'a'\nseat.width = '1 mm'", "this format is not known"),
        ("designs = 1", "designs: unknown key"),
        ("[[design]]\nseat.width = '1 mm'", "design 1: this design needs a name"),
        ("[[design]]\nname = 'a'", "this design changes nothing"),
        ("[[design]]\nname = 'a'\nseat.widht = '1 mm'", "Did you mean width?"),
        ("[[design]]\nname = 'a'\nseat.width = 1.2", "design 1 ('a'), seat.width"),
        ("[[design]]\nname = 'a'\nseat.width = '1.2 deg'", "is not a length"),
        ("[[design]]\nname = 'a'\nbench.test_pressure = '1 kPa'", "a design changes the valve and the seat alone"),
        ("[[design]]\nname = 'a'\nseat.width = '1 mm'\n" * 2, "two designs have this name"),
        ("[[design]\nname = 'a'", "designs.toml"),
    ],
)
def test_designs_toml_that_can_not_be(copied, capsys, text, words):
    (copied / "designs.toml").write_text(text, encoding="utf-8")
    code, out, err = study(capsys, copied, "--designs", copied / "designs.toml")
    assert (code, out) == (1, "")
    assert words in err
    assert "designs.toml" in err
    assert "Traceback" not in err


def test_limits_of_the_job_replace_the_packages(copied, capsys):
    """A seat width of 1.6 mm is usual by the package's table, and not by this shop's own."""
    plain = document(capsys, copied, *VARY)["designs"][0]["findings"]
    assert not any("seat width" in each for each in plain)
    (copied / "limits.csv").write_text(
        "what;side;from;to;unit;source\nseat width;intake;1,0;1,3;mm;own bench\nseat width;exhaust;9;9;mm;another\n",
        encoding="utf-8",
    )
    found = document(capsys, copied, *VARY)["designs"]
    (said,) = found[0]["findings"]
    assert said == ("seat width 1.60 mm is outside the usual range, 1 to 1.3 mm (own bench); check the maker's figure")
    assert found[1]["findings"] == []
    _, out, _ = study(capsys, copied, *VARY)
    assert "Limits: limits.csv" in " ".join(out.split())
    elsewhere = copied.parent / "shop.csv"
    elsewhere.write_text("what,side,from,to,unit,source\nmargin,both,2,3,mm,shop\n", encoding="utf-8")
    (said,) = document(capsys, copied, *VARY, "--limits", elsewhere)["designs"][0]["findings"]
    assert said.startswith("margin 1.20 mm is outside the usual range, 2 to 3 mm (shop)")


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ("seat widht,both,1,2,mm,x", "Did you mean seat width?"),
        ("seat width,left,1,2,mm,x", "this is no side"),
        ("seat width,both,one,2,mm,x", "line 2"),
        ("seat width,both,1,2,deg,x", "is not a length"),
        ("seat width,both,1,2,,x", "column unit"),
        ("seat width,both,1,1e9,mm,x", "beyond any length"),
        ("seat width,both,2,1,mm,x", "ends below where it begins"),
        ("seat width,both,1,2,mm,", "common practice, no source"),
        ("throat over head,both,0.8,0.9,mm,x", "a plain number has no unit"),
        ("throat over head,both,nan,0.9,-,x", "this is not a finite number"),
        ("throat over head,both,0.8,inf,-,x", "this is not a finite number"),
    ],
)
def test_limits_that_can_not_be(copied, capsys, rows, words):
    (copied / "limits.csv").write_text(f"what,side,from,to,unit,source\n{rows}\n", encoding="utf-8")
    code, out, err = study(capsys, copied, *VARY)
    assert (code, out) == (1, "")
    assert words in err
    assert "limits.csv" in err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "name what to vary"),
        ((*VARY, "--designs", "designs.toml"), "take one of the two away"),
        (("--vary", "seat.widht=1 mm"), "Did you mean seat.width?"),
        (("--vary", "seat.width=1 mm", "--vary", "seat.width=2 mm"), "is varied twice"),
        ((*VARY, "--hold", "contct"), "Did you mean contact?"),
        ((*VARY, "--hold", "outer", "--hold", "inner"), "contradict each other"),
        (("--vary", "seat.outer_diameter=40 mm", "--hold", "outer"), "while seat.outer_diameter is varied"),
        ((*VARY, "--run", "as fund"), "there is no run 'as fund'"),
        ((*VARY, "--cut-depth", "0.2"), "has no unit"),
        ((*VARY, "--cut-depth", "-0.2 mm"), "cut-depth: -0.2 mm is not above zero"),
        ((*VARY, "--plane", "0 mm"), "plane: 0 mm is not above zero"),
        ((*VARY, "--csv", "study.xlsx"), "is the name of a workbook"),
    ],
)
def test_wrong_usage(copied, tmp_path, capsys, monkeypatch, arguments, words):
    monkeypatch.chdir(tmp_path)
    code, out, err = study(capsys, copied, *arguments)
    assert (code, out) == (2, "")
    assert words in err
    assert [each.name for each in tmp_path.iterdir()] == ["job"]


def test_a_grid_that_takes_long_asks_first_and_a_senseless_one_is_refused(copied, capsys):
    """One that would take minutes needs --yes; one of millions is refused whatever is said."""
    large = ("--vary", "seat.width=1:2:0.0001 mm", "--vary", "seat.throat_diameter=30:34:0.05 mm")
    code, _, err = study(capsys, copied, *large)
    assert code == 2
    assert "810,081 designs x 8 lifts would take about" in err
    assert "add --yes to go on" in err
    larger = ("--vary", "seat.width=1:2:0.0001 mm", "--vary", "seat.throat_diameter=30:34:0.01 mm")
    code, _, err = study(capsys, copied, *larger, "--yes")
    assert code == 2
    assert "4,010,401 designs are too many" in err


def test_yes_lets_it_go_on(copied, capsys, monkeypatch):
    """What is asked about is the cost, made large here so that the study itself stays small."""
    monkeypatch.setattr("portviz.distribution.study.study_cost", lambda designs, lifts, rows=0: (600.0, 2.0**20))
    code, _, err = study(capsys, copied, *VARY)
    assert code == 2
    assert "would take about 10.0 minutes" in err
    assert study(capsys, copied, *VARY, "--yes")[0] == 0


def test_an_inch_job_reads_inches(examples, capsys):
    _, out, _ = study(capsys, examples / "tractor_exhaust", "--vary", "seat.width=0.05,0.06 in", "--plane", "0.5 in")
    assert "seat width 0.0500 in" in out
    assert "[in]" in out
    assert "[mm]" not in out


def test_no_number_is_cut_whatever_the_width(examples, capsys, monkeypatch):
    """At 60 and at 110 letters the same figures stand there, whole, in as many tables as it needs."""
    from portviz.cli import seat_commands

    found = []
    for width in (60, 110):
        monkeypatch.setattr(seat_commands, "console", lambda width=width: type("C", (), {"width": width}))
        code, out, _ = study(capsys, examples / "tractor_exhaust", "--vary", "seat.width=0.05:0.08:0.01 in")
        assert code == 0
        assert "…" not in out
        found.append(out)
    for figure in ("0.0500", "0.4000", "0.0680"):
        assert all(figure in out for out in found)
    titles = [out.count("Designs: contact and passages") for out in found]
    assert titles[0] > titles[1] >= 1


def test_designs_that_can_not_be_cut_from_the_present_metal(examples, capsys, tmp_path):
    """A smaller throat, a larger head, a back cut on top, a seat further out at one height: each is told."""
    file = tmp_path / "d.toml"
    file.write_text(
        """
[[design]]
name = "smaller throat"
seat.throat_diameter = "34 mm"
[[design]]
name = "larger head"
valve.head_diameter = "42 mm"
[[design]]
name = "wider back cut"
valve.back_cut.width = "2.0 mm"
[[design]]
name = "narrower, outer edge held"
seat.width = "1.2 mm"
[[design]]
name = "steep top cut"
seat.top_cut.angle = "45 deg"
""",
        encoding="utf-8",
    )
    document = json.loads(study(capsys, examples / "sidecar_intake", "--designs", file, "--json")[1])
    said = {design["name"]: " ".join(design["findings"]) for design in document["designs"]}
    assert "metal would have to be put on, with an insert" in said["smaller throat"]
    assert "a larger head is another valve" in said["larger head"]
    assert "can't be ground from the present one" in said["wider back cut"]
    assert "the top cut, 45 deg, is as steep as the seat or steeper" in said["steep top cut"]
    # The 60 deg cut moves out by 0.4 mm along the 45 deg band: only metal off, at no depth.
    assert "deeper in the head" not in said["narrower, outer edge held"]
    assert said[None] == ""


def test_a_seat_varied_alone_leaves_the_face_and_says_so(examples, capsys):
    _, _, err = study(capsys, examples / "sidecar_intake", "--vary", "seat.angle=30, 45 deg")
    assert "1 of 2 designs have a seat and a face more than 2 deg apart, since valve.face_angle is named" in err


def test_the_name_of_the_job_as_it_stands_is_taken(examples, capsys, tmp_path):
    file = tmp_path / "d.toml"
    file.write_text('[[design]]\nname = "present"\nseat.width = "1.2 mm"\n', encoding="utf-8")
    code, _, err = study(capsys, examples / "sidecar_intake", "--designs", file)
    assert code == 1
    assert "stands for the job as it stands" in err


def test_a_table_of_many_designs_grows_as_they_do(examples, capsys, tmp_path):
    """Four times as many designs take less than eight times as long: no work of all designs for each of them."""
    times = []
    for step in ("0.002", "0.0005"):
        start = time.perf_counter()
        vary = ("--vary", f"seat.width=1.0:1.8:{step} mm")
        assert study(capsys, examples / "sidecar_intake", *vary, "--csv", tmp_path / f"{step}.csv")[0] == 0
        times.append(time.perf_counter() - start)
    assert times[1] < 8.0 * times[0]


@pytest.mark.parametrize("name", ["designs.toml", "limits.csv", "job.toml"])
def test_the_jobs_own_files_are_never_overwritten(copied, capsys, name):
    code, _, err = study(capsys, copied, *VARY, "--csv", copied / name, "--overwrite")
    assert code == 2
    assert "is one of the files that the job is read from" in err


def test_the_file_of_limits_is_never_overwritten(copied, capsys, tmp_path):
    limits = tmp_path / "mine.csv"
    limits.write_text("what,side,from,to,unit,source\nmargin,both,1,2,mm,mine\n", encoding="utf-8")
    code, _, err = study(capsys, copied, *VARY, "--limits", limits, "--csv", limits, "--overwrite")
    assert code == 2
    assert "choose another name" in err


def test_an_edge_that_is_held_is_told_where_its_default_moves(small_job, tmp_path, capsys):
    """Without outer_diameter the seat follows the head; held, it stays, and that is a change from the default."""
    (tmp_path / "job.toml").write_text(small_job, encoding="utf-8")
    _, out, _ = study(capsys, tmp_path, "--vary", "valve.head_diameter=41, 42 mm", "--hold", "outer", "--json")
    for design in json.loads(out)["designs"][1:]:
        assert design["changes"]["seat.outer_diameter"] == pytest.approx(0.040)
        assert design["contact"]["outer_diameter_m"] == pytest.approx(0.040)


def test_cuts_that_are_left_away_are_changes(copied, capsys):
    (copied / "designs.toml").write_text('[[design]]\nname = "plain"\nseat.bottom_cuts = []\n', encoding="utf-8")
    _, out, _ = study(capsys, copied, "--designs", copied / "designs.toml", "--json")
    changes = json.loads(out)["designs"][1]["changes"]
    assert changes == {"seat.bottom_cuts[1].width": 0.0, "seat.bottom_cuts[2].width": 0.0}


@pytest.mark.parametrize(
    ("vary", "words"),
    [
        ("valve.seat_force=-5, 300 N", "valve.seat_force lies between 1 N and"),
        ("valve.gas_pressure=0, 50 bar", "valve.gas_pressure lies between 0.1 bar and 500 bar"),
        ("seat.width=1e999:1e999:1 mm", "no finite numbers"),
        ("seat.width=1,2 mm", "a comma stands between digits"),
    ],
)
def test_values_that_job_toml_would_refuse(copied, capsys, vary, words):
    code, _, err = study(capsys, copied, "--vary", vary)
    assert code == 2
    assert words in err


def test_the_jobs_own_designs_are_found_from_anywhere(examples, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, _ = study(capsys, examples / "sidecar_intake", "--designs", "designs.toml", "--json")
    assert code == 0
    assert len(json.loads(out)["designs"]) == 4
    assert study(capsys, examples / "sidecar_intake", "--designs", "nothing.toml")[0] == 1
