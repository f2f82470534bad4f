"""Models as a binary glTF 2.0 file: metres, y up, one node a lift, the curtain in the colours of its field.

Beside them stand a ball at each measured station and an arrow at station 0. Lifts stand side by side, since a viewer
shows all nodes at once; each node's place is told in its extras.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from portviz.distribution.frames import FIELD_COLUMNS
from portviz.job.model import Array
from portviz.job.words import reference_words
from portviz.scene.colours import REFERENCE
from portviz.scene.export_marks import ARROW, BALL_COLOUR, BALLS
from portviz.scene.export_parts import SOLID_COLOURS, Colours, Model, Part, axes_words, rgb
from portviz.scene.state import in_display_unit

if TYPE_CHECKING:
    import trimesh

#: glTF is y up and right-handed [glTF-2.0 3.4]: the valve's z becomes y, its stem points upward.
_Y_UP = np.array([[1.0, 0.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [0.0, -1.0, 0.0, 0.0], [0.0, 0.0, 0.0, 1.0]])
#: Between one lift and the next, in widths of a lift.
_APART = 0.25
#: Parts and marks that differ from lift to lift.
_OF_A_LIFT = ("curtain", BALLS)
#: Faces that meet at less are drawn as one round surface [deg].
_ROUND_DEG = 20.0
_ROOT = "portviz"
#: Colours that are no surface's own, shown as they are whatever the light.
_UNLIT = "KHR_materials_unlit"
#: What a buffer view holds: points or faces [glTF-2.0 5.11].
_POINTS, _FACES = 34962, 34963
#: The name under which colours are handed over; the library keeps eight bits of those it takes for colours.
_COLOUR_NAME = "_COLOUR"


def glb_file(models: list[Model]) -> bytes:
    """Return models of one run, a lift each, as the content of a .glb file."""
    import trimesh

    scene = trimesh.Scene()
    scene.graph.update(frame_to=_ROOT, frame_from=scene.graph.base_frame, matrix=_Y_UP)
    extras: dict[str, dict[str, Any]] = {_ROOT: _about(models)}
    across = [each.surface.points[:, 0] for each in (*models[0].parts, *models[0].marks)]
    apart = (1.0 + _APART) * (max(float(x.max()) for x in across) - min(float(x.min()) for x in across))
    for place, model in enumerate(models):
        node = f"lift {model.label}"
        shift = place * apart
        scene.graph.update(frame_to=node, frame_from=_ROOT, matrix=_moved(0, shift))
        said = model.said()
        extras[node] = {"lift_m": model.state.lift, "lift": said["lift"], "status": said["status"], "moved_x_m": shift}
        for part in (*model.parts, *model.marks):
            name = f"{part.title or part.name}, {node}"
            mesh = name if part.name in _OF_A_LIFT else part.name
            if mesh not in scene.geometry:
                scene.geometry[mesh] = _curtain(part) if part.name == "curtain" else _solid(part)
            lowered = -model.state.lift if part.name == "valve" else 0.0
            scene.graph.update(frame_to=name, frame_from=node, matrix=_moved(2, lowered), geometry=mesh)
            if part.said:
                extras[name] = dict(part.said)
    content = trimesh.exchange.gltf.export_glb(
        scene, include_normals=None, tree_postprocessor=lambda tree: _finish(tree, extras)
    )
    return bytes(content)


def _moved(axis: int, distance: float) -> Array:
    matrix = np.eye(4)
    matrix[axis, 3] = distance
    return matrix


def _curtain(part: Part) -> trimesh.Trimesh:
    import trimesh

    mesh = trimesh.Trimesh(part.surface.points, part.surface.all_triangles, process=False)
    mesh.vertex_attributes[_COLOUR_NAME] = linear(part.colours)
    for name, values in part.fields.items():
        # No accessor may hold NaN [glTF-2.0 3.6.2]; an attribute of one's own begins with an underscore [3.7.2].
        if np.isfinite(values).all():
            mesh.vertex_attributes[f"_{name.upper()}"] = values.astype(np.float32)
    material = trimesh.visual.material.PBRMaterial(
        name=part.name, doubleSided=True, metallicFactor=0.0, roughnessFactor=1.0
    )
    mesh.visual = trimesh.visual.TextureVisuals(material=material)
    return mesh


def _solid(part: Part) -> trimesh.Trimesh:
    import trimesh

    mesh = trimesh.Trimesh(part.surface.points, part.surface.all_triangles, process=False)
    mesh = trimesh.graph.smooth_shade(mesh, angle=np.radians(_ROUND_DEG), facet_minarea=None)
    mesh.metadata.clear()
    # Asked for once, normals are kept, and what is kept is written.
    _ = mesh.vertex_normals
    mesh.visual = trimesh.visual.TextureVisuals(material=trimesh.visual.material.PBRMaterial(name=part.name))
    return mesh


def linear(colours: Colours) -> np.ndarray[Any, np.dtype[np.float32]]:
    """Return colours of a screen as amounts of light from 0 to 1, as glTF wants them (IEC 61966-2-1, sRGB)."""
    part = colours / 255.0
    return np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4).astype(np.float32)


def _about(models: list[Model]) -> dict[str, Any]:
    """Return what the file says of itself."""
    first = models[0]
    reduction, what = first.state.reduction, first.state.what
    said = first.said()
    one_si = float(in_display_unit(reduction, what, np.array([1.0]))[0])
    scale = first.scale()
    return {
        **{name: said[name] for name in ("title", "run", "side")},
        "lifts_m": [model.state.lift for model in models],
        "lifts": [model.said()["lift"] for model in models],
        "status": said["status"],
        "axes": f"{axes_words(reduction.job, 'y')}; glTF is y up and in metres",
        "station_0": reference_words(reduction.job),
        "scale": {
            **scale,
            "low_si": float(scale["low"]) / one_si,
            "high_si": float(scale["high"]) / one_si,
            "attribute": f"_{FIELD_COLUMNS[what.name].upper()}",
        },
        "made_with": "portviz",
    }


def _finish(tree: dict[str, Any], extras: dict[str, dict[str, Any]]) -> None:
    """Give a glTF document its colours, materials and extras."""
    tree["asset"]["generator"] = extras[_ROOT]["made_with"]
    for node in tree["nodes"]:
        if node.get("name") in extras:
            node["extras"] = extras[node["name"]]
    tree["scenes"][0].update(name=_ROOT, extras=extras[_ROOT])
    for mesh in tree["meshes"]:
        if not mesh.get("extras"):
            mesh.pop("extras", None)
        for primitive in mesh["primitives"]:
            attributes = primitive["attributes"]
            if _COLOUR_NAME in attributes:
                attributes["COLOR_0"] = attributes.pop(_COLOUR_NAME)
            _tell_target(tree, primitive["indices"], _FACES)
            for accessor in attributes.values():
                _tell_target(tree, accessor, _POINTS)
    for material in tree["materials"]:
        if material["name"] == "curtain":
            material["extensions"] = {_UNLIT: {}}
            tree["extensionsUsed"] = [_UNLIT]
        else:
            material.update(_METALS[material["name"]])


def _tell_target(tree: dict[str, Any], accessor: int, target: int) -> None:
    tree["bufferViews"][tree["accessors"][accessor]["bufferView"]]["target"] = target


def _metal(colour: str, *, metallic: float, roughness: float, alpha: float = 1.0) -> dict[str, Any]:
    light = [round(float(part), 6) for part in linear(rgb(colour))]
    look: dict[str, Any] = {
        "pbrMetallicRoughness": {
            "baseColorFactor": [*light, alpha],
            "metallicFactor": metallic,
            "roughnessFactor": roughness,
        }
    }
    return look if alpha == 1.0 else {**look, "alphaMode": "BLEND"}


#: The head is seen through, as it would hide the curtain.
_METALS = {
    "valve": _metal(SOLID_COLOURS["valve"], metallic=0.3, roughness=0.45),
    "seat": _metal(SOLID_COLOURS["seat"], metallic=0.0, roughness=0.8, alpha=0.4),
    BALLS: _metal(BALL_COLOUR, metallic=0.0, roughness=0.6),
    ARROW: _metal(REFERENCE, metallic=0.0, roughness=0.6),
}
