"""Mesh files, read back by trimesh and pyvista."""

import numpy as np
import pytest
import pyvista as pv
import trimesh

from portviz.__main__ import main
from portviz.distribution.frames import FIELD_COLUMNS
from portviz.scene.export import write_mesh


def export(examples, target, *extra, job="sidecar_intake"):
    return main(["export", str(examples / job), str(target), *extra])


def test_curtain_with_all_fields(examples, tmp_path, sidecar):
    target = tmp_path / "curtain.vtp"
    assert export(examples, target, "--lift", "5 mm") == 0
    mesh = pv.read(target)
    group = int(np.flatnonzero(np.isclose(sidecar.lift, 5e-3))[0])
    assert mesh.area == pytest.approx(sidecar.areas.gap_area[group] * 1e6, rel=1e-4)  # mm2; 360 flat strips
    assert set(FIELD_COLUMNS.values()) <= set(mesh.point_data.keys())
    part = sidecar.stations_of(group)
    for name, expected in (
        ("velocity_m_s", sidecar.stations.velocity),
        ("mach", sidecar.stations.mach),
        ("drop_pa", sidecar.stations.drop),
        ("velocity_ratio", sidecar.stations.velocity_ratio),
    ):
        around = np.asarray(mesh.point_data[name]).reshape(361, -1)
        stations = sidecar.stations.angle_deg[part].astype(int)
        assert around[stations, 0] == pytest.approx(expected[part], rel=1e-12)
    # Flow per degree at the stations: the station's flow spread over its sector.
    around = np.asarray(mesh.point_data["flow_m3_s_per_deg"]).reshape(361, -1)[:, 0]
    assert around[::30][:12] * 30.0 == pytest.approx(sidecar.stations.flow[part], rel=1e-12)


@pytest.mark.parametrize("ending", ["stl", "ply"])
def test_valve_and_seat_are_watertight_and_stand_at_their_lift(examples, tmp_path, sidecar, ending):
    for part in ("valve", "seat"):
        target = tmp_path / f"{part}.{ending}"
        assert export(examples, target, "--part", part, "--lift", "8 mm") == 0
        mesh = trimesh.load(target, process=True)
        mesh.merge_vertices()
        assert mesh.is_watertight
        if part == "valve":
            rim = sidecar.profiles.valve[0, 0, 1] * 1e3
            assert mesh.bounds[0, 2] == pytest.approx(rim - 8.0, abs=1e-4)
            assert mesh.bounds[1, 0] == pytest.approx(20.5, abs=1e-4)


@pytest.mark.parametrize(
    ("extra", "target", "words"),
    [
        (["--part", "valv"], "a.stl", "Did you mean valve?"),
        ([], "a.dwg", "must end in one of .stl"),
        (["--lift", "0.2 mm"], "a.stl", "lies outside what was measured"),
        (["--run", "as fond"], "a.stl", "Did you mean 'as found'?"),
    ],
)
def test_wrong_usage_writes_nothing(examples, tmp_path, capsys, extra, target, words):
    assert export(examples, tmp_path / target, *extra) == 2
    assert words in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_an_existing_file_stays(examples, tmp_path, capsys):
    target = tmp_path / "a.stl"
    target.write_text("typed by hand", encoding="utf-8")
    assert export(examples, target) == 1
    assert "--overwrite" in capsys.readouterr().err
    assert target.read_text(encoding="utf-8") == "typed by hand"


def test_a_mesh_file_says_where_it_comes_from(examples, tmp_path):
    target = tmp_path / "curtain.vtp"
    assert export(examples, target, "--lift", "7.1 mm", "--run", "wall relieved") == 0
    said = pv.read(target).field_data
    assert said["run"].tolist() == ["wall relieved"]
    assert said["lift"].tolist() == ["7.10 mm"]
    assert said["status"].tolist() == ["interpolated between 6.50 mm and 8.00 mm"]


def test_a_path_as_text_is_a_path(tmp_path, sidecar):
    assert write_mesh(sidecar, 0, None, "seat", str(tmp_path / "seat.stl")).is_file()
