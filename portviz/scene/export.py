"""Meshes as files: curtain, valve and seat of a job, in millimetres."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from portviz.distribution.field import QUANTITIES, run_field
from portviz.distribution.reduce import Reduction
from portviz.errors import UsageError
from portviz.geometry.revolve import Surface
from portviz.job.words import lift_text
from portviz.job.write import require_free, write_atomically
from portviz.scene import shapes
from portviz.scene.state import CURTAIN_COLUMNS, require_word, view_state

if TYPE_CHECKING:
    import pyvista as pv

PARTS = ("curtain", "valve", "seat")
MESH_ENDINGS = (".stl", ".ply", ".vtp")


def require_mesh_name(path: Path) -> None:
    """Raise UsageError where the name has no ending that we write."""
    if path.suffix.lower() not in MESH_ENDINGS:
        raise UsageError(f"file: {path.name!r} must end in one of {', '.join(MESH_ENDINGS)}")


def curtain_surface(reduction: Reduction, run: int, lift: float) -> tuple[Surface, dict[str, np.ndarray]]:
    """Return the curtain at a lift [m] and its fields in SI, by name, one value a point; NaN where not known."""
    angles = np.linspace(0.0, 360.0, CURTAIN_COLUMNS)
    points = shapes.lift_shapes(reduction.job, reduction.profiles, lift, angles).curtain
    surface = Surface(points, shapes.curtain_faces(len(angles)), np.empty((0, 3), dtype=np.intp))
    fields = {name: run_field(reduction, run, name, angles) for name in QUANTITIES}
    unknown = np.full(len(angles), np.nan)
    around = {name: field.at(lift) if field.covers(lift) else unknown for name, field in fields.items()}
    return surface, {name: np.repeat(values, shapes.CURTAIN_ROWS) for name, values in around.items()}


#: Name of each field in a mesh file: SI, the unit in the name.
FIELD_NAMES = {
    "velocity": "velocity_m_s",
    "velocity-ratio": "velocity_ratio",
    "mach": "mach",
    "flow-per-degree": "flow_m3_s_per_deg",
    "drop": "drop_pa",
}


def part_mesh(reduction: Reduction, run: int, lift: float | None, part: str) -> pv.PolyData:
    """Return a part at a lift [m] as a pyvista mesh in millimetres, the curtain with all its fields.

    Raises
    ------
    UsageError
        If there is no such part, or the lift lies outside the measured ones.
    """
    require_word(part, PARTS, "part")
    from portviz.scene.meshes import MM, to_mesh

    state = view_state(reduction, run, lift, "velocity", "three-quarter")
    if part == "curtain":
        surface, fields = curtain_surface(reduction, run, state.lift)
        mesh = to_mesh(surface)
        for name, values in fields.items():
            mesh.point_data[FIELD_NAMES[name]] = values
        mesh.set_active_scalars(FIELD_NAMES["velocity"])
        far = state.far_from_reading(np.linspace(0.0, 360.0, CURTAIN_COLUMNS))
        mesh.point_data["far_from_reading"] = np.repeat(far, shapes.CURTAIN_ROWS).astype(np.uint8)
        said = {
            "title": reduction.job.title,
            "run": reduction.runs[run],
            "lift": lift_text(reduction.job, state.lift),
            "status": state.lift_status(),
            "flow_status": state.changed(quantity="flow-per-degree").lift_status(),
        }
        for name, words in said.items():
            mesh.field_data[name] = [words]
        return mesh
    if part == "seat":
        return to_mesh(shapes.head_solid(reduction.profiles, cut_away=False))
    mesh = to_mesh(shapes.valve_solid(reduction.profiles))
    return mesh.translate((0.0, 0.0, -state.lift * MM), inplace=False)


def write_mesh(
    reduction: Reduction, run: int, lift: float | None, part: str, path: str | Path, *, overwrite: bool = False
) -> Path:
    """Write a part as .stl, .ply or .vtp.

    Raises
    ------
    UsageError
        If the ending, part or lift does not fit.
    JobError
        If the file is there already or can't be written.
    """
    path = Path(path)
    require_mesh_name(path)
    require_free(path, overwrite=overwrite)
    content = mesh_file(part_mesh(reduction, run, lift, part), path.suffix.lower())
    return write_atomically(path, lambda made: _plain_write(made, content), overwrite=overwrite)


def mesh_file(mesh: pv.PolyData, ending: str) -> bytes:
    """Return a mesh as a file's content; made in memory, since not every writer tells when a disk is full."""
    if ending == ".vtp":
        from vtkmodules.vtkIOXML import vtkXMLPolyDataWriter

        writer = vtkXMLPolyDataWriter()
        writer.SetInputData(mesh)
        writer.WriteToOutputStringOn()
        # Appended data would not survive the way through a string; base64 does.
        writer.SetDataModeToBinary()
        writer.Write()
        return str(writer.GetOutputString()).encode()
    import trimesh

    triangles = mesh.triangulate()
    solid = trimesh.Trimesh(triangles.points, triangles.faces.reshape(-1, 4)[:, 1:], process=False)
    return bytes(solid.export(file_type=ending.lstrip(".")))


def _plain_write(path: Path, content: bytes) -> None:
    path.write_bytes(content)
