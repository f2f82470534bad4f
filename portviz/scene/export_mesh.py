"""A model as one mesh, in millimetres: .stl, .ply and .obj."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from portviz.distribution.frames import FIELD_COLUMNS
from portviz.scene.export_parts import FAR_NAME, Model, Part, at_lift

if TYPE_CHECKING:
    import trimesh

#: Millimetres in a metre.
_MM = 1e3


def mesh_file(model: Model, ending: str) -> bytes:
    """Return a model as the content of a file; made in memory, since not every writer tells when a disk is full."""
    import trimesh

    # One mesh is what is made of metal and air; where objects stand apart, marks stand among them.
    parts = [at_lift(part, model.state.lift) for part in (*model.parts, *(model.marks if ending == ".obj" else ()))]
    meshes = [_mesh(part) for part in parts]
    if ending == ".stl":
        return bytes(trimesh.util.concatenate(meshes).export(file_type="stl"))
    return _ply(model, parts, meshes) if ending == ".ply" else _obj(model, parts, meshes)


def _mesh(part: Part) -> trimesh.Trimesh:
    import trimesh

    return trimesh.Trimesh(part.surface.points * _MM, part.surface.all_triangles, process=False)


def _ply(model: Model, parts: list[Part], meshes: list[trimesh.Trimesh]) -> bytes:
    import trimesh

    mesh = trimesh.util.concatenate(meshes)
    mesh.visual = trimesh.visual.ColorVisuals(mesh, vertex_colors=np.concatenate([part.colours for part in parts]))
    if any(part.fields for part in parts):
        unknown = {part.name: np.full(len(part.surface.points), np.nan) for part in parts}
        for name in FIELD_COLUMNS.values():
            mesh.vertex_attributes[name] = np.concatenate([part.fields.get(name, unknown[part.name]) for part in parts])
        far = [np.zeros(len(part.surface.points), dtype=bool) if part.far is None else part.far for part in parts]
        mesh.vertex_attributes[FAR_NAME] = np.concatenate(far).astype(np.uint8)
    content = bytes(trimesh.exchange.ply.export_ply(mesh, vertex_normal=False))
    header, rest = content.split(b"end_header\n", 1)
    lines = [line for line in header.decode("ascii").splitlines() if not line.startswith("comment")]
    lines[2:2] = [f"comment {line}" for line in _remarks(model)]
    return "\n".join([*lines, "end_header", ""]).encode("ascii") + rest


def _obj(model: Model, parts: list[Part], meshes: list[trimesh.Trimesh]) -> bytes:
    """Return an .obj with an object a part and the colours behind the coordinates, so that it needs no second file."""
    import trimesh

    scene = trimesh.Scene()
    for part, mesh in zip(parts, meshes, strict=True):
        mesh.visual = trimesh.visual.ColorVisuals(mesh, vertex_colors=part.colours)
        name = part.name.replace(" ", "_")
        mesh.metadata["name"] = name
        scene.add_geometry(mesh, geom_name=name, node_name=name)
    text = trimesh.exchange.obj.export_obj(scene, include_normals=False, header="\n# ".join(_remarks(model)))
    return str(text).encode("ascii")


def _remarks(model: Model) -> list[str]:
    """Return what the file says of itself as lines of ASCII; quoted, so that no title can end or continue a line."""
    scale = model.scale()
    return [
        *(f"{name}: {text!a}" for name, text in model.said().items()),
        "unit of length: mm",
        f"colours: {scale['colours']} of {scale['field']}, {scale['low']} to {scale['high']} {scale['unit']}; "
        "grey where not known",
    ]
