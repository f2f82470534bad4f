"""`event` as a document of the contract's keys, as tables, as a table for a spreadsheet and as a chart."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from portviz.__main__ import main

RUNS = ("as found", "wall relieved")
KEYS = {
    "run",
    "duration_deg",
    "area_integral_m2_deg",
    "mean_effective_area_m2",
    "mean_flow_m3_s",
    "beyond_measured_share",
    "lift_bands",
    "stations",
    "bias_magnitude",
    "bias_angle_deg",
}


def event(capsys, *arguments: object):
    code = main(["event", *map(str, arguments)])
    said = capsys.readouterr()
    return code, said.out, said.err


@pytest.fixture
def copied(examples, tmp_path) -> Path:
    """The sidecar's job in a folder of its own."""
    return Path(shutil.copytree(examples / "sidecar_intake", tmp_path / "job"))


def rewritten(file: Path, change) -> None:
    file.write_text(change(file.read_text(encoding="utf-8")), encoding="utf-8")


def without_engine(text: str) -> str:
    return text.split("\n[engine]")[0] + "\n"


def test_the_document_has_the_keys_of_the_contract(examples, capsys):
    code, out, err = event(capsys, examples / "sidecar_intake", "--json")
    document = json.loads(out)
    assert code == 0
    assert document["format"] == 1
    assert [f"warning: {each}" for each in document["warnings"]] == err.splitlines()
    assert [run["run"] for run in document["runs"]] == list(RUNS)
    for run in document["runs"]:
        assert set(run) >= KEYS
        for band in run["lift_bands"]:
            assert {"from_m", "to_m", "time_share", "flow_share"} <= set(band)
        for station in run["stations"]:
            assert {"angle_deg", "flow_share"} <= set(station)
        assert sum(band["time_share"] for band in run["lift_bands"]) == pytest.approx(1.0)
        assert sum(band["flow_share"] for band in run["lift_bands"]) == pytest.approx(1.0)
        # Cubics through shares that sum to one leave a little.
        assert sum(station["flow_share"] for station in run["stations"]) == pytest.approx(1.0, abs=1e-4)
        for key in ("area_integral_m2_deg", "mean_effective_area_m2", "mean_flow_m3_s", "bias_magnitude"):
            assert 0.0 < run[f"{key}_u"] < 0.05 * run[key]
    (compared,) = document["comparisons"]
    a, b = document["runs"]
    assert compared["runs"] == list(RUNS)
    flow = compared["mean_flow_m3_s"]
    assert (flow["a"], flow["b"]) == (a["mean_flow_m3_s"], b["mean_flow_m3_s"])
    assert flow["verdict"] == "higher"
    assert flow["u"] == pytest.approx(np.hypot(a["mean_flow_m3_s_u"], b["mean_flow_m3_s_u"]), rel=1e-6)
    gained = sum(band["flow_m3_s"]["difference"] for band in compared["lift_bands"])
    assert gained == pytest.approx(flow["difference"])
    assert sum(band["gain_share"] for band in compared["lift_bands"]) == pytest.approx(1.0)


def test_the_examples_engine_gives_turning_and_mach_index(examples, capsys):
    _, out, _ = event(capsys, examples / "sidecar_intake", "--json")
    document = json.loads(out)
    assert document["engine"]["mean_piston_speed_m_s"] > 0.0
    for run in document["runs"]:
        assert run["mach_index"] > 0.0
        turning = run["turning"]
        assert {"about_bore_axis", "across_toward_0", "across_toward_90", "rolls_down_deg"} <= set(turning)
        assert turning["about_bore_axis_u"] > 0.0
        assert len(turning["lifts"]) == 8
        # The event's is a mean of the lifts', weighed by flow.
        each = [lift["about_bore_axis"] for lift in turning["lifts"]]
        assert min(each) < turning["about_bore_axis"] < max(each)
    assert document["comparisons"][0]["turning"]["about_bore_axis"]["verdict"] in ("higher", "lower", "not shown")


def test_without_an_engine_it_says_what_is_missing(copied, capsys):
    rewritten(copied / "job.toml", without_engine)
    _, out, _ = event(capsys, copied, "--json")
    document = json.loads(out)
    assert document["engine"] is None
    assert all(run["turning"] is None and run["mach_index"] is None for run in document["runs"])
    _, out, _ = event(capsys, copied)
    words = " ".join(out.split())
    assert "turning of the charge: engine.bore, engine.valve_offset" in words
    assert "mean inlet Mach index: engine.bore, engine.stroke, engine.speed" in words
    assert "Turning of the charge by the jets" not in words


def test_the_exhaust_side_has_no_inlet_mach_index(examples, capsys):
    _, out, _ = event(capsys, examples / "tractor_exhaust", "--json")
    assert all(run["mach_index"] is None and run["turning"] is None for run in json.loads(out)["runs"])


def test_tables_say_what_changed_first(examples, capsys):
    code, out, _ = event(capsys, examples / "sidecar_intake")
    assert code == 0
    words = " ".join(out.split())
    assert "The valve is open for 264.0° of crank, from 0.0° to 264.0°, and up to 10.67 mm at 132.0°." in words
    assert "Mean flow: 32.4 l/s to 33.5 l/s" in words
    assert "higher, shown by the data." in words
    assert words.index("what changed over the event") < words.index("Lift bands")
    assert "wall relieved against as found: which lifts it comes from" in words
    assert "predicts no power" in words


def test_one_run_alone_and_another_one_before(examples, capsys):
    job = examples / "sidecar_intake"
    _, out, _ = event(capsys, job, "--run", "wall relieved", "--json")
    document = json.loads(out)
    assert [run["run"] for run in document["runs"]] == ["wall relieved"]
    assert document["comparisons"] == []
    _, out, _ = event(capsys, job, "--run", "wall relieved")
    assert "Share of the event's flow at each station" in out
    _, out, _ = event(capsys, job, "--run", "as found", "--against", "wall relieved", "--json")
    (compared,) = json.loads(out)["comparisons"]
    assert compared["runs"] == ["wall relieved", "as found"]
    assert compared["mean_flow_m3_s"]["verdict"] == "lower"


def test_no_verdict_where_the_flows_accuracy_is_not_stated(examples, capsys):
    _, out, _ = event(capsys, examples / "tractor_exhaust")
    words = " ".join(out.split())
    assert "its uncertainty is not known, so there is no verdict" in words
    assert "No ± on flow: state bench.flow_accuracy in job.toml." in words


def test_without_bench_flow_the_time_is_all_there_is(copied, capsys):
    (copied / "flow.csv").unlink()
    code, out, err = event(capsys, copied, "--json")
    assert code == 0
    assert "has no bench flow: of the event only the time at each lift is known" in err
    run = json.loads(out)["runs"][0]
    assert run["mean_flow_m3_s"] is run["bias_magnitude"] is run["beyond_measured_share"] is None
    assert run["stations"][0]["flow_share"] is None
    assert sum(band["time_share"] for band in run["lift_bands"]) == pytest.approx(1.0)
    assert {band["flow_share"] for band in run["lift_bands"]} == {None}
    code, out, _ = event(capsys, copied, "--chart", copied / "chart.png")
    assert code == 0
    assert "not measured in both runs" in out


def test_a_cam_beyond_what_was_measured_is_told(copied, capsys):
    def higher(text: str) -> str:
        header, *rows = text.splitlines()
        cells = [row.split(",") for row in rows]
        return "\n".join([header, *(f"{crank},{1.3 * float(lift):.4f}" for crank, lift in cells)]) + "\n"

    rewritten(copied / "cam.csv", higher)
    code, out, err = event(capsys, copied, "--json")
    assert code == 0
    share = json.loads(out)["runs"][0]["beyond_measured_share"]
    assert 0.3 < share < 0.8
    assert f"{100.0 * share:.1f} % of the event's flow lies above the highest lift measured, 11.00 mm" in err
    assert "the valve opens to 13.87 mm" in err
    _, out, _ = event(capsys, copied)
    assert "*" in out


def test_stations_not_read_at_a_lift_are_named(copied, capsys):
    def fewer(text: str) -> str:
        return "\n".join(row for row in text.splitlines() if not row.startswith("as found,5,90,")) + "\n"

    rewritten(copied / "readings.csv", fewer)
    code, _, err = event(capsys, copied)
    assert code == 0
    assert "not read, and taken from the field between the stations beside: 90° at 5.00 mm" in err


def test_the_spreadsheets_table(examples, tmp_path, capsys):
    file = tmp_path / "event.csv"
    code, out, _ = event(capsys, examples / "sidecar_intake", "--csv", file)
    assert code == 0
    assert f"Written: {file}" in out
    with file.open(encoding="utf-8", newline="") as opened:
        rows = list(csv.DictReader(opened))
    assert len(rows) == 2 * 67
    _, out, _ = event(capsys, examples / "sidecar_intake", "--json")
    for run in json.loads(out)["runs"]:
        own = [row for row in rows if row["run"] == run["run"]]
        crank, area = (np.array([float(row[key]) for row in own]) for key in ("crank_deg", "effective_area_m2"))
        assert np.trapezoid(area, crank) == pytest.approx(run["area_integral_m2_deg"], rel=2e-3)
        flow = np.array([float(row["flow_m3_s"]) for row in own])
        assert np.trapezoid(flow, crank) / run["duration_deg"] == pytest.approx(run["mean_flow_m3_s"], rel=2e-3)
    assert main(["event", str(examples / "sidecar_intake"), "--csv", str(file)]) == 1
    assert "there already" in capsys.readouterr().err


def test_the_chart_is_a_picture(examples, tmp_path, capsys):
    file = tmp_path / "event.png"
    code, _, _ = event(capsys, examples / "sidecar_intake", "--chart", file)
    assert code == 0
    with Image.open(file) as picture:
        assert picture.size[0] == 1280
        assert len(np.unique(np.asarray(picture.convert("RGB")).reshape(-1, 3), axis=0)) > 50


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("--run", "as fund"), 2, "run: there is no run 'as fund'"),
        (("--against", "as fund"), 2, "against: there is no run 'as fund'"),
        (("--run", "as found", "--against", "as found"), 2, "can't be compared with itself"),
        (("--chart", "event.jpg"), 2, "must end in .png"),
        (("--csv", "event.xlsx"), 2, "is the name of a workbook"),
        (("--chart", "a.png", "--csv", "a.png"), 2, "is the chart's name too"),
        (("--chart", "nowhere/a.png"), 1, "its folder does not exist"),
    ],
)
def test_wrong_usage(examples, tmp_path, capsys, monkeypatch, arguments, code, words):
    monkeypatch.chdir(tmp_path)
    found, out, err = event(capsys, examples / "sidecar_intake", *arguments)
    assert (found, out) == (code, "")
    assert words in err
    assert list(tmp_path.iterdir()) == []


def test_a_job_without_a_cam(copied, capsys):
    (copied / "cam.csv").unlink()
    code, out, err = event(capsys, copied)
    assert (code, out) == (1, "")
    assert "there is no cam" in err
    assert "[cam]" in err
