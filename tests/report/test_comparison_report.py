"""`compare` as a document of the contract's keys and as tables, with its warnings."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from portviz.__main__ import main

RUNS = ("as found", "wall relieved")


def compare(capsys, *arguments: str):
    code = main(["compare", *arguments])
    said = capsys.readouterr()
    return code, said.out, said.err


def test_the_document_has_the_keys_of_the_contract(examples, capsys):
    code, out, err = compare(capsys, str(examples / "sidecar_intake"), *RUNS, "--json")
    document = json.loads(out)
    assert code == 0
    assert document["format"] == 1
    assert document["runs"] == list(RUNS)
    assert [f"warning: {each}" for each in document["warnings"]] == err.splitlines()
    quantity = {"a", "b", "difference", "u", "verdict"}
    for lift in document["lifts"]:
        for name in ("flow_m3_s", "mean_velocity_m_s", "uniformity_index"):
            assert quantity <= set(lift[name])
            assert lift[name]["difference"] == pytest.approx(lift[name]["b"] - lift[name]["a"])
        assert {"magnitude_a", "magnitude_b", "shift", "u", "verdict"} <= set(lift["bias"])
        assert len(lift["bias"]["shift"]) == 2
        for station in lift["stations"]:
            for name in ("velocity_m_s", "flow_share"):
                assert quantity <= set(station[name])
                assert station[name]["verdict"] in ("higher", "lower", "not shown")


def test_values_are_those_of_the_summary(examples, capsys):
    job = str(examples / "tractor_exhaust")
    _, out, _ = compare(capsys, job, "stock casting", "bowl opened", "--json")
    compared = json.loads(out)
    assert main(["summary", job, "--json"]) == 0
    first, second = json.loads(capsys.readouterr().out)["runs"]
    for lift, a, b in zip(compared["lifts"], first["lifts"], second["lifts"], strict=True):
        assert (lift["flow_m3_s"]["a"], lift["flow_m3_s"]["b"]) == (a["flow_m3_s"], b["flow_m3_s"])
        for station, before, after in zip(lift["stations"], a["stations"], b["stations"], strict=True):
            assert station["velocity_m_s"]["a"] == pytest.approx(before["velocity_m_s"], rel=1e-12)
            assert station["velocity_m_s"]["b"] == pytest.approx(after["velocity_m_s"], rel=1e-12)
            u = (before["velocity_m_s_u"] ** 2 + after["velocity_m_s_u"] ** 2) ** 0.5
            assert station["velocity_m_s"]["u"] == pytest.approx(u, rel=1e-9)


def test_tables_name_what_is_shown(examples, capsys):
    code, out, _ = compare(capsys, str(examples / "sidecar_intake"), *RUNS, "--stations")
    assert code == 0
    assert "wall relieved against as found: what changed" in out
    assert "Stations whose change is shown" in out
    assert "Stations at 11.00 mm" in out
    assert "not the same as unchanged" in out


def test_without_accuracy_or_repeats_no_verdict_and_what_to_add(examples, tmp_path, capsys):
    folder = tmp_path / "job"
    shutil.copytree(examples / "tractor_exhaust", folder)
    text = (folder / "job.toml").read_text(encoding="utf-8")
    (folder / "job.toml").write_text(
        "\n".join(line for line in text.splitlines() if "accuracy" not in line), encoding="utf-8"
    )
    rows = (folder / "readings.csv").read_text(encoding="utf-8").splitlines()
    once = list({tuple(row.split(",")[:3]): row for row in rows}.values())
    (folder / "readings.csv").write_text("\n".join(once) + "\n", encoding="utf-8")
    code, out, err = compare(capsys, str(folder), "stock casting", "bowl opened")
    assert code == 0
    assert "state gauge.accuracy in job.toml, or read each station at least twice" in err
    assert "state bench.flow_accuracy" in err
    assert "±?" in out
    assert main(["summary", str(folder)]) == 0
    assert "Nothing is known of how well the stations were read" in " ".join(capsys.readouterr().out.split())


def test_what_two_jobs_differ_in_is_told(examples, tmp_path, capsys):
    other = tmp_path / "later"
    shutil.copytree(examples / "sidecar_intake", other)
    text = (other / "job.toml").read_text(encoding="utf-8")
    text = text.replace("toward the bore wall", "toward the plug").replace('"41 mm"', '"41.2 mm"')
    (other / "job.toml").write_text(text, encoding="utf-8")
    code, out, err = compare(capsys, str(examples / "sidecar_intake"), "as found", "as found", "--job-b", str(other))
    assert code == 0
    assert "if that is not the same place, no station of theirs can be compared" in err
    assert "the two jobs' valves differ" in err
    assert "as found (later) against as found (sidecar_intake)" in out


def test_readings_to_distrust_are_told_beside_the_verdicts(examples, tmp_path, capsys):
    folder = tmp_path / "job"
    shutil.copytree(examples / "sidecar_intake", folder)
    rows = (folder / "readings.csv").read_text(encoding="utf-8").splitlines()
    run, lift, station, reading = rows[40].split(",")
    rows[40] = f"{run},{lift},{station},{10 * float(reading)}"
    (folder / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    _, _, err = compare(capsys, str(folder), *RUNS)
    assert "line 41" in err or "lines" in err


def test_two_jobs(examples, tmp_path, capsys):
    other = tmp_path / "later"
    shutil.copytree(examples / "sidecar_intake", other)
    code, out, _ = compare(capsys, str(examples / "sidecar_intake"), *RUNS, "--job-b", str(other), "--json")
    assert code == 0
    assert json.loads(out)["lifts"][0]["stations"][0]["velocity_m_s"]["verdict"] == "higher"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("as fond", "wall relieved"), "Did you mean 'as found'?"),
        (("as found", "as found"), "can't be compared with itself"),
        (("as found",), "RUN_B"),
        (("as found", "wall relieved", "--camera", "under", "--picture", "a.png"), "not one of three-quarter"),
        (("as found", "wall relieved", "--picture", "a.jpg"), "must end in .png"),
        (("as found", "wall relieved", "--picture", "a.png", "--chart", "a.png"), "give each its own"),
        (("as found", "wall relieved", "--lift", "5 mm"), "neither is asked for"),
        (("as found", "wall relieved", "--lift", "7 mm", "--chart", "a.png", "--window"), "was not measured in both"),
    ],
)
def test_wrong_usage(examples, tmp_path: Path, monkeypatch, capsys, arguments, words):
    monkeypatch.chdir(tmp_path)
    code, out, err = compare(capsys, str(examples / "sidecar_intake"), *arguments)
    assert code == 2
    assert words in err
    assert err.count("\n") == 1
    assert out == ""
    assert list(tmp_path.iterdir()) == []
