"""Exported meshes, read back by trimesh and by VTK's readers: shapes, fields, colours, lifts."""

import contextlib
import io
import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import pyvista as pv
import trimesh
from matplotlib import colormaps

from portviz.__main__ import main

ENDINGS = ("glb", "stl", "ply", "obj", "vtp", "vtm", "vtkhdf")
LIFT = 8e-3
FIELDS = {
    "velocity_m_s": "velocity_m_s",
    "velocity_ratio": "velocity_ratio",
    "mach": "mach",
    "drop_pa": "drop_pa",
}


def export(job, target, *extra):
    with contextlib.redirect_stdout(io.StringIO()):
        return main(["export", str(job), str(target), *extra])


@pytest.fixture(scope="module")
def job(examples):
    return examples / "sidecar_intake"


@pytest.fixture(scope="module")
def summary(job):
    """What `summary --json` prints."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main(["summary", str(job), "--json"]) == 0
    return json.loads(out.getvalue())


@pytest.fixture(scope="module")
def made(job, tmp_path_factory):
    """All parts at one lift in every kind of file; and every lift, where one file holds them all."""
    folder = tmp_path_factory.mktemp("export")
    for ending in ENDINGS:
        assert export(job, folder / f"one.{ending}", "--lift", "8 mm", "--part", "all") == 0
    for ending in ("glb", "vtm", "vtkhdf"):
        assert export(job, folder / f"lifts.{ending}", "--all-lifts") == 0
    return folder


@pytest.fixture(scope="module")
def flowless(job, tmp_path_factory):
    """The job without the bench's flow, and with readings of the closed valve."""
    folder = shutil.copytree(job, tmp_path_factory.mktemp("flowless") / "job")
    (folder / "flow.csv").unlink()
    closed = "".join(f"as found,0,{angle},0\n" for angle in range(0, 360, 30))
    with (folder / "readings.csv").open("a", encoding="utf-8") as table:
        table.write(closed)
    return folder


def at_lift(summary, lift=LIFT, run=0):
    return next(row for row in summary["runs"][run]["lifts"] if abs(row["lift_m"] - lift) < 1e-9)


def glb_tree(path):
    """Header and data of a binary glTF file (glTF 2.0, 4.4: three words, then chunks of length, kind and content)."""
    content = path.read_bytes()
    magic, version, length = np.frombuffer(content, "<u4", 3).tolist()
    assert (magic, version, length) == (0x46546C67, 2, len(content))
    size, kind = np.frombuffer(content, "<u4", 2, 12).tolist()
    assert kind == 0x4E4F534A
    data_size, data_kind = np.frombuffer(content, "<u4", 2, 20 + size).tolist()
    assert (data_kind, 28 + size + data_size) == (0x004E4942, len(content))
    return json.loads(content[20 : 20 + size]), content[28 + size :]


def accessor(tree, data, number):
    each = tree["accessors"][number]
    view = tree["bufferViews"][each["bufferView"]]
    kind = {5121: "u1", 5123: "<u2", 5125: "<u4", 5126: "<f4"}[each["componentType"]]
    width = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}[each["type"]]
    start = view.get("byteOffset", 0) + each.get("byteOffset", 0)
    return np.frombuffer(data, kind, each["count"] * width, start).reshape(each["count"], width)


def curtains(folder, ending):
    """The curtain of a file: points in metres on the valve's axis, triangulated area, values by name."""
    path = folder / f"one.{ending}"
    if ending == "glb":
        tree, data = glb_tree(path)
        mesh = next(each for each in tree["meshes"] if each["name"].startswith("curtain"))["primitives"][0]
        fields = {name: accessor(tree, data, number) for name, number in mesh["attributes"].items()}
        points, faces = fields.pop("POSITION"), accessor(tree, data, mesh["indices"]).reshape(-1, 3)
        area = trimesh.Trimesh(points, faces, process=False).area
        return points, area, {name.lower().lstrip("_"): values for name, values in fields.items()}
    if ending == "ply":
        mesh = trimesh.load(path, process=False)
        raw = mesh.metadata["_ply_raw"]["vertex"]["data"]
        points, own = np.stack([raw[axis] for axis in "xyz"], axis=1) * 1e-3, np.isfinite(raw["velocity_m_s"])
        faces = mesh.faces[own[mesh.faces].all(axis=1)]
        fields = {name: raw[name][own] for name in raw.dtype.names}
        return points[own], mesh.area_faces[own[mesh.faces].all(axis=1)].sum() * 1e-6, fields
    if ending == "vtp":
        mesh = pv.read(path)
        part = mesh.extract_points(mesh.point_data["part"] == 0, adjacent_cells=False)
        return part.points * 1e-3, part.area * 1e-6, dict(part.point_data)
    mesh = pv.read(path)["curtain"]
    return mesh.points * 1e-3, mesh.area * 1e-6, dict(mesh.point_data)


def angles_of(points):
    """Station angles [deg]: anticlockwise seen along +z, from +x (the definition of the axes)."""
    return np.mod(np.degrees(np.arctan2(-points[:, 1], points[:, 0])), 360.0)


# Shapes ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", ["glb", "ply", "vtp", "vtm", "vtkhdf"])
def test_the_curtain_is_the_frustum_of_the_gap(made, summary, ending):
    """Lateral area of a conical frustum, pi (r1 + r2) s (textbook mensuration), on the rims found in the file."""
    points, area, _ = curtains(made, ending)
    radius, height = np.hypot(points[:, 0], points[:, 1]), points[:, 2]
    outer, inner = np.argmax(radius), np.argmin(radius)
    slant = np.hypot(radius[outer] - radius[inner], height[outer] - height[inner])
    frustum = np.pi * (radius[outer] + radius[inner]) * slant
    # 360 flat strips lie inside the cone, by less than (pi / 360)^2 / 6 x 2 of its area.
    assert area == pytest.approx(frustum, rel=1e-4)
    assert frustum == pytest.approx(at_lift(summary)["gap_area_m2"], rel=1e-6)


def test_areas_are_the_same_in_every_kind_of_file(made):
    """Of what is metal and air: balls and arrow are nodes and objects of their own."""
    tree = trimesh.load(made / "one.glb")
    parts = [node for node in tree.graph.nodes_geometry if node.startswith(("curtain", "valve", "seat"))]
    objects = trimesh.load(made / "one.obj", process=False, split_objects=True).geometry
    whole = {
        "glb": sum(tree.geometry[tree.graph[node][1]].area for node in parts) * 1e6,
        "obj": sum(objects[name].area for name in ("curtain", "valve", "seat")),
        **{ending: trimesh.load(made / f"one.{ending}", process=False).area for ending in ("stl", "ply")},
        "vtp": pv.read(made / "one.vtp").area,
        **{ending: sum(part.area for part in pv.read(made / f"one.{ending}")) for ending in ("vtm", "vtkhdf")},
    }
    assert set(whole) == set(ENDINGS)
    assert len(parts) == 3
    assert list(whole.values()) == pytest.approx([whole["stl"]] * len(whole), rel=1e-6)


def balls_of(solid):
    """The balls of a mesh that holds them all: their middles, and their radii."""
    solid.merge_vertices()
    balls = solid.split(only_watertight=True)
    return np.array([ball.bounds.mean(axis=0) for ball in balls]), np.array([ball.extents for ball in balls]) / 2.0


def test_a_ball_marks_each_measured_station(made, summary):
    """In millimetres in .obj, in metres and y up in .glb; on the curtain, half-way from its upper to its lower rim."""
    taps = at_lift(summary)["stations"]
    tree = trimesh.load(made / "one.glb")
    transform, name = tree.graph["measured stations, lift 8.00 mm"]
    middles, radii = balls_of(tree.geometry[name])
    in_obj, _ = balls_of(
        trimesh.load(made / "one.obj", process=False, split_objects=True).geometry["measured_stations"]
    )
    points, _, _ = curtains(made, "ply")
    rims = np.hypot(points[:, 0], points[:, 1])
    assert len(middles) == len(in_obj) == len(taps) == 12
    assert np.sort(angles_of(middles).round(2) % 360.0) == pytest.approx(sorted(tap["angle_deg"] for tap in taps))
    for found in (middles, in_obj * 1e-3):
        assert np.hypot(found[:, 0], found[:, 1]) == pytest.approx(0.5 * (rims.min() + rims.max()), abs=1e-6)
        assert found[:, 2] == pytest.approx(0.5 * (points[:, 2].min() + points[:, 2].max()), abs=1e-6)
    # Round, and small beside the gap.
    assert np.ptp(radii) < 1e-3 * radii.mean()
    assert radii.max() < 0.2 * np.hypot(np.ptp(rims), np.ptp(points[:, 2]))
    assert transform[:3, :3] @ [0.0, 0.0, 1.0] == pytest.approx([0.0, 1.0, 0.0])
    nodes = {node["name"]: node for node in glb_tree(made / "one.glb")[0]["nodes"]}
    said = nodes["measured stations, lift 8.00 mm"]["extras"]
    order = np.argsort(said["stations_deg"])
    assert [said["stations_deg"][each] for each in order] == [tap["angle_deg"] for tap in taps]
    assert [said["velocity_m_s"][each] for each in order] == pytest.approx([tap["velocity_m_s"] for tap in taps])


def test_an_arrow_points_out_at_station_0(made):
    """Along +x, beyond the head; its name tells what station 0 faces in the porter's words."""
    tree = trimesh.load(made / "one.glb")
    transform, name = tree.graph["station 0: toward the bore wall, lift 8.00 mm"]
    obj = trimesh.load(made / "one.obj", process=False, split_objects=True).geometry
    for arrow, scale in ((tree.geometry[name], 1.0), (obj["station_0"], 1e-3)):
        arrow.merge_vertices(merge_tex=True, merge_norm=True)
        assert arrow.is_watertight
        assert arrow.volume > 0.0
        low, high = arrow.bounds * scale
        # About the x axis, and off the head; its thin end is a point.
        assert (low + high)[1] == pytest.approx(0.0, abs=1e-9)
        assert low[0] > obj["seat"].bounds[1, 0] * 1e-3
        tip = arrow.vertices[arrow.vertices[:, 0] * scale > high[0] - 1e-9]
        assert len(tip) == 1
    assert transform[:3, :3] @ [1.0, 0.0, 0.0] == pytest.approx([1.0, 0.0, 0.0])


def test_files_say_where_their_axes_point(made):
    extras = glb_tree(made / "one.glb")[0]["scenes"][0]["extras"]
    assert extras["station_0"] == "toward the bore wall"
    assert extras["axes"].startswith("y along the stem into the port, station 0 toward +x: 'toward the bore wall'")
    for name in ("one.ply", "one.obj"):
        text = (made / name).read_bytes()[:3000].decode("ascii", "replace")
        (line,) = [line for line in text.splitlines() if "axes:" in line]
        assert "z along the stem into the port, station 0 toward +x: 'toward the bore wall'" in line
    assert "station 0 toward +x" in pv.read(made / "one.vtp").field_data["axes"][0]


def test_where_nothing_was_measured_no_ball_stands(job, tmp_path):
    """Between two measured lifts, 6.5 and 8 mm; the arrow stays."""
    assert export(job, tmp_path / "a.obj", "--lift", "7 mm") == 0
    objects = [line for line in (tmp_path / "a.obj").read_text("ascii").splitlines() if line.startswith("o ")]
    assert objects == ["o curtain", "o valve", "o seat", "o station_0"]


def test_the_seat_can_be_seen_and_seen_through(made):
    tree, _ = glb_tree(made / "one.glb")
    look = {material["name"]: material for material in tree["materials"]}
    assert 0.3 <= look["seat"]["pbrMetallicRoughness"]["baseColorFactor"][3] <= 0.6
    assert look["seat"]["alphaMode"] == "BLEND"
    assert all("alphaMode" not in look[name] for name in ("curtain", "valve", "measured stations", "station 0"))


def test_solids_are_closed_and_as_large_as_the_job_says(made):
    """Places by the definitions of axes, widths and lift: z = 0 at the seat band's outer edge, widths along the cone,
    a closed valve rests on the band, and a lift moves it down.
    """
    scene = trimesh.load(made / "one.obj", process=False, split_objects=True)
    assert set(scene.geometry) == {"curtain", "valve", "seat", "measured_stations", "station_0"}
    valve, seat = scene.geometry["valve"], scene.geometry["seat"]
    assert all(solid.is_watertight or merged(solid) for solid in (valve, seat))
    # The valve's head is 41 mm wide, its stem 7 mm.
    assert valve.extents[:2] == pytest.approx([41.0, 41.0], abs=1e-6)
    top = valve.vertices[valve.vertices[:, 2] > valve.bounds[1, 2] - 1e-6]
    assert np.hypot(top[:, 0], top[:, 1]).max() == pytest.approx(3.5, abs=1e-6)
    # Face and seat are of 45 deg: the face's edge stands half of 41 - 40.6 mm below the band's, the margin of 1.2 mm
    # below that, and all of it 8 mm lower at 8 mm of lift.
    assert valve.bounds[0, 2] == pytest.approx(-(41.0 - 40.6) / 2.0 - 1.2 - 8.0, abs=1e-6)
    # The top cut, 1.2 mm at 30 deg, ends in the chamber: lower and wider than the band's edge of 40.6 mm.
    assert seat.bounds[0, 2] == pytest.approx(-1.2 * np.sin(np.radians(30.0)), abs=1e-6)
    rim = seat.vertices[seat.vertices[:, 2] < seat.bounds[0, 2] + 1e-6]
    assert np.hypot(rim[:, 0], rim[:, 1]).min() == pytest.approx(20.3 + 1.2 * np.cos(np.radians(30.0)), abs=1e-6)


def merged(solid):
    solid.merge_vertices()
    return solid.is_watertight


def test_obj_stands_alone(made):
    text = (made / "one.obj").read_text(encoding="ascii")
    assert "mtllib" not in text
    objects = [line.removeprefix("o ") for line in text.splitlines() if line.startswith("o ")]
    assert objects == ["curtain", "valve", "seat", "measured_stations", "station_0"]
    assert not (made / "one.mtl").exists()


@pytest.mark.parametrize(
    ("ending", "usual"), [("stl", 1), ("ply", 1), ("vtp", 1), ("obj", 3), ("glb", 3), ("vtm", 3), ("vtkhdf", 3)]
)
def test_what_a_file_holds_where_nobody_says(job, tmp_path, made, ending, usual):
    target = tmp_path / f"usual.{ending}"
    assert export(job, target, "--lift", "8 mm") == 0
    size, whole = target.stat().st_size, (made / f"one.{ending}").stat().st_size
    if ending == "vtm":
        assert len(list((tmp_path / "usual.vtm-blocks").iterdir())) == usual
    else:
        assert (size == whole) == (usual == 3)


# Fields and colours ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", ["glb", "ply", "vtp", "vtm", "vtkhdf"])
def test_fields_at_the_stations_are_those_of_the_summary(made, summary, ending):
    points, _, fields = curtains(made, ending)
    angles = angles_of(points)
    row = at_lift(summary)
    rel = 1e-6 if ending == "glb" else 1e-12  # glTF knows no double
    for tap in row["stations"]:
        there = np.abs((angles - tap["angle_deg"] + 180.0) % 360.0 - 180.0) < 0.01
        assert there.sum() >= 5
        for name, key in FIELDS.items():
            assert np.ravel(fields[name][there]) == pytest.approx(tap[key], rel=rel)
        per_degree = np.ravel(fields["flow_m3_s_per_deg"][there])
        assert per_degree * tap["sector_deg"] == pytest.approx(tap["flow_m3_s"], rel=rel)


def viridis(values, low, high):
    return colormaps["viridis"]((np.ravel(values) - low) / (high - low), bytes=True)[:, :3].astype(int)


def test_colours_are_the_fields_on_one_scale_of_the_job(made, summary):
    tree, _ = glb_tree(made / "one.glb")
    scale = tree["scenes"][0]["extras"]["scale"]
    assert (scale["field"], scale["unit"], scale["colours"]) == ("velocity", "m/s", "viridis")
    velocities = [tap["velocity_m_s"] for run in summary["runs"] for row in run["lifts"] for tap in row["stations"]]
    assert scale["low"] <= min(velocities)
    assert max(velocities) <= scale["high"]
    assert scale["high"] - scale["low"] < 2.0 * (max(velocities) - min(velocities))
    _, _, ply = curtains(made, "ply")
    wanted = viridis(ply["velocity_m_s"], scale["low"], scale["high"])
    assert np.abs(np.stack([ply[name] for name in ("red", "green", "blue")], axis=1) - wanted).max() == 0
    # In an .obj they stand behind the coordinates, from 0 to 1.
    lines = [line.split() for line in (made / "one.obj").read_text(encoding="ascii").splitlines()]
    obj = np.array([line[1:] for line in lines if line[:1] == ["v"]], dtype=float)[: len(wanted)]
    assert np.abs(obj[:, 3:] * 255.0 - wanted).max() < 1e-3
    # glTF wants amounts of light, a screen's colours are their powers (sRGB, IEC 61966-2-1, from memory).
    _, _, glb = curtains(made, "glb")
    light = glb["color_0"]
    screen = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.power(light, 1.0 / 2.4) - 0.055) * 255.0
    assert np.abs(screen - viridis(glb["velocity_m_s"], scale["low"], scale["high"])).max() < 1.0


def test_what_is_not_known_is_grey_and_no_number(flowless, tmp_path):
    """Without the bench's flow there is no flow per degree."""
    for ending in ("glb", "ply"):
        assert export(flowless, tmp_path / f"a.{ending}", "--field", "flow-per-degree", "--part", "curtain") == 0
    raw = trimesh.load(tmp_path / "a.ply", process=False).metadata["_ply_raw"]["vertex"]["data"]
    assert np.isnan(raw["flow_m3_s_per_deg"]).all()
    assert np.isfinite(raw["velocity_m_s"]).all()
    assert np.ptp(np.stack([raw[name] for name in ("red", "green", "blue")]).astype(int), axis=0).max() < 10
    tree, data = glb_tree(tmp_path / "a.glb")
    attributes = tree["meshes"][0]["primitives"][0]["attributes"]
    assert "_FLOW_M3_S_PER_DEG" not in attributes
    assert "_VELOCITY_M_S" in attributes
    assert np.ptp(accessor(tree, data, attributes["COLOR_0"]), axis=1).max() < 0.05


def test_another_field_comes_first_in_a_viewer(job, tmp_path):
    assert export(job, tmp_path / "a.vtp", "--field", "mach") == 0
    assert pv.read(tmp_path / "a.vtp").active_scalars_name == "mach"


def test_files_say_where_they_come_from(made, summary):
    extras = glb_tree(made / "one.glb")[0]["scenes"][0]["extras"]
    assert (extras["title"], extras["run"]) == (summary["title"], "as found")
    assert extras["lifts"] == ["8.00 mm"]
    for mesh in (pv.read(made / "one.vtp"), pv.read(made / "one.vtm")["curtain"]):
        said = mesh.field_data
        assert said["title"].tolist() == [summary["title"]]
        assert (said["lift"].tolist(), said["lift_m"].tolist()) == (["8.00 mm"], [LIFT])
        assert said["length_unit"].tolist() == ["mm"]
    for name in ("one.ply", "one.obj"):
        assert repr(summary["title"]).encode() in (made / name).read_bytes()[:3000]


# Lifts ----------------------------------------------------------------------------------------------------------------


def test_every_lift_is_a_node_of_the_glb(made, summary):
    scene = trimesh.load(made / "lifts.glb")
    rows = summary["runs"][0]["lifts"]
    tree, _ = glb_tree(made / "lifts.glb")
    nodes = {node["name"]: node for node in tree["nodes"]}
    assert tree["scenes"][0]["extras"]["lifts_m"] == [row["lift_m"] for row in rows]
    places = []
    for row in rows:
        name = f"lift {row['lift_m'] * 1e3:.2f} mm"
        assert nodes[name]["extras"]["lift_m"] == row["lift_m"]
        transform, mesh = scene.graph[f"curtain, {name}"]
        assert scene.geometry[mesh].area == pytest.approx(row["gap_area_m2"], rel=1e-4)
        # y is up, in metres: the valve stands lower by the lift than the seat of its node.
        up = {part: scene.graph[f"{part}, {name}"][0] for part in ("valve", "seat")}
        assert up["seat"][1, 3] - up["valve"][1, 3] == pytest.approx(row["lift_m"], abs=1e-9)
        assert transform[:3, :3] @ [0.0, 0.0, 1.0] == pytest.approx([0.0, 1.0, 0.0])
        places.append(transform[0, 3])
    # No two of them in one place; the head is 41 mm wide.
    assert np.diff(places).min() > 0.041
    assert np.linalg.det(transform[:3, :3]) == pytest.approx(1.0)


def test_another_reader_finds_the_glb_in_metres_and_y_up(made):
    """VTK's glTF reader applies the nodes' transforms: the stem's end, high up, is 7 mm wide, the head 41 mm."""
    parts = list(pv.read(made / "one.glb").recursive_iterator())
    assert len(parts) == 5
    valve = min(parts, key=lambda part: part.bounds[2])
    top = valve.points[valve.points[:, 1] > valve.bounds[3] - 1e-7]
    assert np.hypot(top[:, 0], top[:, 2]).max() == pytest.approx(3.5e-3, rel=1e-5)
    assert valve.bounds[1] - valve.bounds[0] == pytest.approx(0.041, rel=1e-5)


@pytest.mark.parametrize("ending", ["vtm", "vtkhdf"])
def test_every_lift_is_a_block(made, summary, ending):
    blocks = pv.read(made / f"lifts.{ending}")
    rows = summary["runs"][0]["lifts"]
    assert blocks.keys() == [*(f"lift {row['lift_m'] * 1e3:.2f} mm" for row in rows), "seat"]
    for row, block in zip(rows, blocks, strict=False):
        assert block.keys() == ["curtain", "valve"]
        assert block["curtain"].area * 1e-6 == pytest.approx(row["gap_area_m2"], rel=1e-4)
    # The valve goes down as it opens.
    low = [block["valve"].bounds[4] for block in list(blocks)[:-1]]
    assert np.diff(low) == pytest.approx([-1e3 * step for step in np.diff([row["lift_m"] for row in rows])])


@pytest.mark.parametrize("ending", ["glb", "ply", "obj", "stl", "vtm", "vtkhdf"])
def test_a_closed_valve_is_exported_too(flowless, tmp_path, ending):
    """At lift 0 the curtain has no area; files stay readable."""
    target = tmp_path / f"a.{ending}"
    assert export(flowless, target, "--lift", "0 mm", "--part", "all") == 0
    if ending in ("vtm", "vtkhdf"):
        assert pv.read(target)["valve"].area > 0.0
    else:
        assert trimesh.load(target, process=False).area > 0.0


# The glTF 2.0 specification -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["one", "lifts"])
def test_glb_keeps_to_the_schema_and_to_the_rules_on_buffers(made, name):
    """The JSON schema of the glTF 2.0 specification, as trimesh carries it, and what its text adds on buffers."""
    tree, data = glb_tree(made / f"{name}.glb")
    trimesh.exchange.gltf.validate(tree)
    assert tree["asset"]["version"] == "2.0"
    assert len(data) == tree["buffers"][0]["byteLength"]
    for number, each in enumerate(tree["accessors"]):
        values = accessor(tree, data, number)
        # 3.6.2.4: accessors are aligned to the size of their parts; 3.6.2.5: min and max are exact; no NaN.
        assert tree["bufferViews"][each["bufferView"]].get("byteOffset", 0) % 4 == 0
        assert np.isfinite(values).all()
        assert (each["min"], each["max"]) == (values.min(axis=0).tolist(), values.max(axis=0).tolist())
    for mesh in tree["meshes"]:
        primitive = mesh["primitives"][0]
        counts = {tree["accessors"][number]["count"] for number in primitive["attributes"].values()}
        assert len(counts) == 1
        assert accessor(tree, data, primitive["indices"]).max() < counts.pop()
        if "NORMAL" in primitive["attributes"]:
            normals = accessor(tree, data, primitive["attributes"]["NORMAL"])
            assert np.linalg.norm(normals, axis=1) == pytest.approx(1.0, abs=1e-5)


def khronos_report(path):
    """What the validator of the Khronos Group, the keepers of glTF, says of a file; skips where it is not installed."""
    package, node = Path(sys.prefix) / "node_modules" / "gltf-validator", shutil.which("node")
    if node is None or not package.is_dir():
        pytest.skip(f"needs Node.js, and: npm install --no-save --prefix {sys.prefix} gltf-validator@2.0.0-dev.3.10")
    program = (
        "const [, validator, file] = process.argv;"
        "require(validator).validateBytes(new Uint8Array(require('fs').readFileSync(file)))"
        ".then(report => console.log(JSON.stringify(report)))"
    )
    done = subprocess.run([node, "-e", program, str(package), str(path)], capture_output=True, check=True, timeout=60)
    return json.loads(done.stdout)


@pytest.mark.parametrize("name", ["one", "lifts"])
def test_the_validator_of_the_khronos_group_is_content(made, name):
    report = khronos_report(made / f"{name}.glb")
    assert report["mimeType"] == "model/gltf-binary"
    assert report["issues"]["messages"] == []
    assert report["info"]["drawCallCount"] == (5 if name == "one" else 2 * 8 + 3)  # curtains, balls; valve, seat, arrow


def test_the_validator_has_no_complaint_of_odd_files(flowless, tmp_path):
    """A closed valve, whose curtain is a line, and a field that is not known: no error and no warning."""
    assert export(flowless, tmp_path / "a.glb", "--lift", "0 mm", "--field", "flow-per-degree") == 0
    issues = khronos_report(tmp_path / "a.glb")["issues"]
    assert (issues["numErrors"], issues["numWarnings"]) == (0, 0)


def test_the_validator_would_say_so(made, tmp_path):
    """A file with one number changed: the length of a buffer view."""
    content = (made / "one.glb").read_bytes()
    tree, _ = glb_tree(made / "one.glb")
    length = tree["bufferViews"][0]["byteLength"]
    broken = content.replace(f'"byteLength":{length}'.encode(), f'"byteLength":{length - 4}'.encode(), 1)
    assert broken != content
    (tmp_path / "broken.glb").write_bytes(broken)
    assert khronos_report(tmp_path / "broken.glb")["issues"]["numErrors"] > 0
