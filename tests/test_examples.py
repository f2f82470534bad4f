"""The examples run, say that they are invented, and are what their generators write."""

import runpy
import subprocess
import sys

import numpy as np
import pytest
import pyvista as pv
import trimesh

JOBS = ("sidecar_intake", "tractor_exhaust")


@pytest.mark.parametrize("job", JOBS)
def test_an_example_says_that_it_is_invented(examples, job):
    text = (examples / job / "job.toml").read_text(encoding="utf-8")
    assert "INVENTED" in text.splitlines()[0]
    assert "(invented)" in text


def test_the_generator_writes_the_committed_files(examples, tmp_path):
    module = runpy.run_path(str(examples / "make_examples.py"))
    module["main"].__globals__["HERE"] = tmp_path
    module["main"]()
    for job in JOBS:
        for file in sorted((examples / job).iterdir()):
            made = tmp_path / job / file.name
            assert made.read_text(encoding="utf-8") == file.read_text(encoding="utf-8"), file.name


@pytest.mark.parametrize("fixture", ["sidecar", "tractor"])
def test_an_example_is_plausible(fixture, request):
    reduction = request.getfixturevalue(fixture)
    assert (reduction.closure < 1.0).all()
    assert (reduction.closure > 0.8).all()
    # Published discharge coefficients of poppet valves on the curtain lie between about 0.4 and 0.75
    # (Heywood, figs 6.14 and 6.21, from memory).
    assert (reduction.discharge_coefficient > 0.4).all()
    assert (reduction.discharge_coefficient < 0.75).all()
    assert (reduction.stations.velocity_ratio < 1.0).all()
    assert len(reduction.runs) == 2
    assert len(np.unique(reduction.lift)) >= 6
    assert (reduction.stations.repeats >= 2).all()
    assert set(reduction.areas.limited_by_gap) == {True, False}


def test_the_examples_are_one_metric_intake_and_one_inch_exhaust(sidecar, tractor):
    assert (sidecar.job.side, len(sidecar.job.stations.angles_deg), sidecar.job.units.length) == ("intake", 12, "mm")
    assert (tractor.job.side, len(tractor.job.stations.angles_deg), tractor.job.units.length) == ("exhaust", 16, "in")
    assert tractor.job.gauge.reads == "tap-minus-downstream"


@pytest.mark.parametrize(
    ("script", "words"),
    [
        ("least_passages.py", "the throat limits"),
        ("weakest_direction.py", "11.00 mm:  30 deg, 0.70 of the mean"),
        ("what_changed.py", "11.00 mm: 0° +13.5 m/s"),
        ("over_the_event.py", "change +1.13 l/s, u 0.12: higher"),
    ],
)
def test_a_script_runs(examples, tmp_path, script, words):
    command = [sys.executable, str(examples / script)]
    result = subprocess.run(command, capture_output=True, text=True, encoding="utf-8", cwd=tmp_path, check=True)
    assert words in result.stdout
    assert result.stderr == ""


def test_the_committed_meshes_are_those_of_the_demo(examples, sidecar):
    meshes = examples.parent / "meshes"
    group = int(np.flatnonzero(np.isclose(sidecar.lift, 8e-3))[0])
    curtain = pv.read(meshes / "sidecar_curtain.vtp")
    assert curtain.area == pytest.approx(sidecar.areas.gap_area[group] * 1e6, rel=1e-4)
    part = sidecar.stations_of(group)
    around = np.asarray(curtain.point_data["velocity_m_s"]).reshape(361, -1)[:, 0]
    assert around[::30][:12] == pytest.approx(sidecar.stations.velocity[part])
    for name in ("valve", "seat"):
        solid = trimesh.load(meshes / f"sidecar_{name}.stl")
        solid.merge_vertices()
        assert solid.is_watertight
