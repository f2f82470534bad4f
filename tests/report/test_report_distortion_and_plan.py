"""`distortion` and `plan` on the command line: documents, tables, and what they refuse."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from portviz.__main__ import main
from portviz.distribution.distortion import distortion
from portviz.distribution.plan import plan_repeats
from portviz.distribution.reduce import Reduction
from portviz.distribution.uncertainty import linear_uncertainty

READINGS = "run,lift [mm],station,reading [Pa]\n" + "".join(
    f"a,{lift},{angle},{3000 + angle}\n" for lift in (4, 8) for angle in (0, 90, 180, 270)
)


def make_job(folder: Path, job: str, readings: str = READINGS) -> Path:
    (folder / "job.toml").write_text(job, encoding="utf-8")
    (folder / "readings.csv").write_text(readings, encoding="utf-8")
    return folder


def test_the_document_of_distortion_holds_its_numbers(
    examples: Path, sidecar: Reduction, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = str(examples / "sidecar_intake")
    assert main(["distortion", folder, "--run", "wall relieved", "--toward", "-90 deg", "--axis", "45", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    found = distortion(sidecar, linear_uncertainty(sidecar), toward_deg=-90.0, axis_deg=45.0)
    assert [run["run"] for run in document["runs"]] == ["wall relieved"]
    assert (document["toward_deg"], document["axis_deg"]) == (-90.0, 45.0)
    groups = sidecar.groups_of(sidecar.runs.index("wall relieved"))
    for group, lift in zip(groups, document["runs"][0]["lifts"], strict=True):
        assert lift["lift_m"] == sidecar.lift[group]
        for name, key in (("intensity", "intensity"), ("half_share", "half_share"), ("imbalance", "imbalance")):
            assert lift[key] == found.values[name][group]
            assert lift[f"{key}_u"] == found.spreads[name].standard[group]
            assert lift[f"{key}_u95"] == found.expanded[name][group]
        assert [each["order"] for each in lift["harmonics"]] == [1, 2, 3, 4]
        assert lift["harmonics"][1]["amplitude_m_s"] == found.values["amplitude_2"][group]
        assert lift["harmonics"][0]["direction_deg_u"] == found.spreads["direction_1_deg"].standard[group]


def test_the_tables_of_distortion_tell_plus_minus(examples: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["distortion", str(examples / "sidecar_intake")]) == 0
    text = " ".join(capsys.readouterr().out.split())
    for words in ("lobes of the velocity", "weak arc", "half toward 0°", "imbalance at 0°", " ± ", "± at 95 %"):
        assert words in text


def test_four_stations_tell_one_lobe_and_without_accuracy_no_plus_minus(
    tmp_path: Path, small_job: str, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = make_job(tmp_path, small_job)
    assert main(["distortion", str(folder)]) == 0
    text = capsys.readouterr().out
    assert " ± " not in text.split("Angles run")[0]
    assert "state gauge.accuracy" in " ".join(text.split())
    assert main(["distortion", str(folder), "--json"]) == 0
    lift = json.loads(capsys.readouterr().out)["runs"][0]["lifts"][0]
    assert [each["amplitude_m_s"] is None for each in lift["harmonics"]] == [False, True, True, True]
    assert lift["harmonics"][0]["amplitude_m_s_u"] is None


def test_the_document_of_plan_holds_its_numbers(
    examples: Path, tractor: Reduction, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["plan", str(examples / "tractor_exhaust"), "--change", "0.5 %", "--power", "80 %", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    plan = plan_repeats(tractor, linear_uncertainty(tractor), 0.005, 0.8)
    assert (document["change"], document["power"], document["level"]) == (0.005, 0.8, 0.05)
    stations = [each for run in document["runs"] for lift in run["lifts"] for each in lift["stations"]]
    assert [each["flow_share_smallest_change"] for each in stations] == plan.flow_share.smallest.tolist()
    needed = [each["velocity_repeats_needed"] for each in stations]
    needed = [float("nan") if each is None else each for each in needed]
    assert needed == pytest.approx(plan.velocity.repeats.tolist(), nan_ok=True)
    relative = [each["relative_u"] for each in document["runs"][0]["repeat_first"]]
    assert relative == sorted(relative, reverse=True)


def test_the_table_of_plan_says_what_the_gauge_can_not(examples: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", str(examples / "sidecar_intake"), "--run", "as found", "--change", "0.3 %"]) == 0
    text = capsys.readouterr().out
    assert "not with this gauge" in text
    assert "Repeat first: 30° at 11.00 mm" in text
    assert "to show a change of 0.3 % at one station" in text


def test_a_lift_without_repeats_is_warned_of(
    tmp_path: Path, small_job: str, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = make_job(tmp_path, small_job, READINGS + "a,4,0,3020\na,4,90,3060\n")
    assert main(["plan", str(folder), "--json"]) == 0
    out = capsys.readouterr()
    assert "run 'a' has no repeats at 8.00 mm" in json.loads(out.out)["warnings"][0]
    assert out.err.startswith("warning: run 'a' has no repeats at 8.00 mm")


def test_no_plan_without_repeats_and_accuracy(
    tmp_path: Path, small_job: str, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = make_job(tmp_path, small_job)
    assert main(["plan", str(folder)]) == 1
    out = capsys.readouterr()
    assert out.out == ""
    assert "gauge.accuracy: nothing is known of how well a station is read" in out.err
    assert "or read some stations at least twice" in out.err


@pytest.mark.parametrize(
    ("words", "refusal"),
    [
        (["plan", "--change", "0 %"], "change: 0 % can't be meant; write a part above 0 % and up to 100 %"),
        (["plan", "--change", "-3 %"], "change: -3 % can't be meant"),
        (["plan", "--change", "101 %"], "change: 101 % can't be meant"),
        (["plan", "--change", "5"], "change: '5' has no unit"),
        (["plan", "--change", "5 mm"], "change: "),
        (["plan", "--power", "100 %"], "power: 100 % can't be meant; write a part from 50 % to 99.9 %"),
        (["plan", "--run", "as fond"], "Did you mean 'as found'?"),
        (["distortion", "--run", "as fond"], "Did you mean 'as found'?"),
        (["distortion", "--toward", "inf"], "toward: 'inf' is no direction; write degrees from -360 to 360"),
        (["distortion", "--toward", "361"], "toward: '361' is no direction"),
        (["distortion", "--axis", "1e2"], "axis: '1e2' is no direction"),
        (["distortion", "--axis", "bore wall"], "axis: 'bore wall' is no direction"),
    ],
)
def test_what_can_not_be_meant_is_refused(
    examples: Path, words: list[str], refusal: str, capsys: pytest.CaptureFixture[str]
) -> None:
    command, *options = words
    assert main([command, str(examples / "sidecar_intake"), *options]) == 2
    out = capsys.readouterr()
    assert out.out == ""
    assert refusal in out.err


@pytest.mark.parametrize("command", ["distortion", "plan"])
def test_a_job_without_readings_says_so(
    tmp_path: Path, small_job: str, command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "job.toml").write_text(small_job, encoding="utf-8")
    assert main([command, str(tmp_path)]) == 1
    assert "there are no readings" in capsys.readouterr().err
