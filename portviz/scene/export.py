"""Curtain, valve and seat of a job as files for other programs: which ending holds what, and how they are written."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from portviz.distribution.field import QUANTITIES
from portviz.distribution.given import lift_in_metres, run_place
from portviz.distribution.reduce import Reduction
from portviz.errors import UsageError
from portviz.job.words import lift_text
from portviz.job.write import require_free, write_atomically
from portviz.scene.export_marks import marked
from portviz.scene.export_parts import ALL, PARTS, Model, curtain_surface, models_at
from portviz.scene.export_set import named_after, require_free_set, sortable, told, write_set
from portviz.scene.state import require_word

__all__ = [
    "MESH_ENDINGS",
    "PARTS",
    "PART_WORDS",
    "curtain_surface",
    "require_mesh_name",
    "usual_part",
    "write_mesh",
    "write_meshes",
]

PART_WORDS = (*PARTS, ALL)
#: Kinds of file that hold one model each, and those that hold many.
SINGLE_ENDINGS, JOINT_ENDINGS = (".stl", ".ply", ".obj", ".vtp"), (".glb", ".vtm", ".vtkhdf")
MESH_ENDINGS = (*SINGLE_ENDINGS, *JOINT_ENDINGS)
#: Of those, the ones without colours.
BARE_ENDING = ".stl"


def require_mesh_name(path: Path) -> None:
    """Raise UsageError where the name has no ending that we write, or what writes it is missing."""
    if path.suffix.lower() not in MESH_ENDINGS:
        raise UsageError(f"file: {path.name!r} must end in one of {', '.join(MESH_ENDINGS)}")
    if path.suffix.lower() == ".vtkhdf":
        from portviz.scene.export_vtk import require_hdf_writer

        require_hdf_writer()


def usual_part(ending: str) -> str:
    """Return the part that a kind of file holds where none is named."""
    return ALL if ending in (*JOINT_ENDINGS, ".obj") else "curtain"


def write_mesh(
    reduction: Reduction,
    run: int | str,
    lift: float | None,
    part: str,
    path: str | Path,
    *,
    field: str = "velocity",
    overwrite: bool = False,
) -> Path:
    """Write a part at a lift as .stl, .ply, .obj, .vtp, .glb, .vtm or .vtkhdf.

    Parameters
    ----------
    reduction : Reduction
    run : int or str
        Its place among the reduction's runs, or its name.
    lift : float or None
        [m]; None for the greatest measured one.
    part : str
        "curtain", "valve", "seat" or "all".
    path : str or Path
        Its ending is the kind of file. Lengths are millimetres, but metres in .glb.
    field : str
        What colours the curtain; .vtp, .vtm and .vtkhdf hold all fields and show this one first.
    overwrite : bool

    Raises
    ------
    UsageError
        If there is no such run, or the ending, part, field or lift does not fit.
    JobError
        If the file is there already or can't be written.
    """
    path = Path(path)
    require_mesh_name(path)
    require_word(part, PART_WORDS, "part")
    require_word(field, QUANTITIES, "field")
    place, at = run_place(reduction, run), None if lift is None else lift_in_metres(lift)
    require_free(path, overwrite=overwrite)
    return _write(_models(reduction, place, [at], part, field), path, overwrite=overwrite)[0]


def write_meshes(
    reduction: Reduction,
    run: int,
    lifts: Sequence[float],
    part: str,
    path: Path,
    *,
    field: str = "velocity",
    overwrite: bool = False,
) -> list[Path]:
    """Write a run's parts at several lifts [m]: into one file where its kind holds many, else into a file a lift.

    Those are named after the path and the lift. See `write_mesh`.

    Raises
    ------
    UsageError
        If the ending, part, field or a lift does not fit.
    JobError
        If one of the files is there already or can't be written; then none is.
    """
    require_mesh_name(path)
    require_word(part, PART_WORDS, "part")
    require_word(field, QUANTITIES, "field")
    ending = path.suffix.lower()
    if part == "seat":
        raise UsageError("all-lifts: the seat is the same at every lift; leave --all-lifts away")
    models = _models(reduction, run, lifts, part, field)
    if ending in JOINT_ENDINGS:
        return _write(models, path, overwrite=overwrite)
    greatest = lift_text(reduction.job, models[0].state.greatest_lift)
    targets = named_after(path, [(sortable(model.label, greatest),) for model in models])
    require_free_set(targets, overwrite=overwrite)

    def write(scratch: Path) -> None:
        for model, target in told(list(zip(models, targets, strict=True)), "lifts"):
            (scratch / target.name).write_bytes(_single_file(model, ending))

    return write_set(targets, write, overwrite=overwrite)


def _models(reduction: Reduction, run: int, lifts: Sequence[float | None], part: str, field: str) -> list[Model]:
    models = models_at(reduction, run, lifts, part, field)
    return [marked(model) for model in models] if part == ALL else models


def _write(models: list[Model], path: Path, *, overwrite: bool) -> list[Path]:
    """Write models into one file."""
    ending = path.suffix.lower()
    if ending == ".vtm":
        from portviz.scene.export_vtk import block_folder, write_vtm

        folder = block_folder(path)
        return write_set([path], lambda scratch: write_vtm(models, scratch / path.name), folder, overwrite=overwrite)
    if ending == ".vtkhdf":
        from portviz.scene.export_vtk import write_vtkhdf

        return [write_atomically(path, lambda made: write_vtkhdf(models, made), overwrite=overwrite)]
    if ending == ".glb":
        from portviz.scene.export_glb import glb_file

        content = glb_file(models)
    else:
        content = _single_file(models[0], ending)
    return [write_atomically(path, lambda made: _plain_write(made, content), overwrite=overwrite)]


def _single_file(model: Model, ending: str) -> bytes:
    if ending == ".vtp":
        from portviz.scene.export_vtk import vtp_file, whole_mesh

        return vtp_file(whole_mesh(model))
    from portviz.scene.export_mesh import mesh_file

    return mesh_file(model, ending)


def _plain_write(path: Path, content: bytes) -> None:
    path.write_bytes(content)
