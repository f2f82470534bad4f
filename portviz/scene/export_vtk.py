"""Models for VTK's viewers, in millimetres, with all fields in SI: .vtp, .vtm with its folder, .vtkhdf."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

import numpy as np

from portviz.distribution.frames import FIELD_COLUMNS
from portviz.errors import UsageError
from portviz.job.room import require_room
from portviz.job.words import lift_text
from portviz.scene.export_parts import FAR_NAME, PARTS, Model, Part, at_lift
from portviz.scene.export_set import FOLDER_ENDING, sortable
from portviz.scene.words import file_words

if TYPE_CHECKING:
    import pyvista as pv

#: Values that are compressed together, and how hard (of 9): a curtain is small.
_CHUNK, _COMPRESSION = 4096, 4
#: What a block takes in a .vtkhdf file beside its values [bytes].
_BLOCK_ROOM = 2**18


def part_mesh(model: Model, part: Part) -> pv.PolyData:
    """Return a part as a pyvista mesh in millimetres with its fields, and what the file says of itself."""
    from portviz.scene.meshes import to_mesh

    part = at_lift(part, model.state.lift)
    mesh = to_mesh(part.surface)
    for name, values in part.fields.items():
        mesh.point_data[name] = values
    if part.far is not None:
        mesh.point_data[FAR_NAME] = part.far.astype(np.uint8)
        mesh.set_active_scalars(FIELD_COLUMNS[model.state.quantity])
    _say(mesh, model)
    return mesh


def whole_mesh(model: Model) -> pv.PolyData:
    """Return all parts as one mesh; `part` tells them apart (0 curtain, 1 valve, 2 seat), solids have no field."""
    if len(model.parts) == 1:
        return part_mesh(model, model.parts[0])
    meshes = [part_mesh(model, part) for part in model.parts]
    fields = any(part.fields for part in model.parts)
    for part, mesh in zip(model.parts, meshes, strict=True):
        mesh.point_data["part"] = np.full(mesh.n_points, PARTS.index(part.name), dtype=np.uint8)
        if fields and not part.fields:
            for name in FIELD_COLUMNS.values():
                mesh.point_data[name] = np.full(mesh.n_points, np.nan)
            mesh.point_data[FAR_NAME] = np.zeros(mesh.n_points, dtype=np.uint8)
    whole = meshes[0].append_polydata(*meshes[1:])
    whole.set_active_scalars(FIELD_COLUMNS[model.state.quantity])
    whole.field_data.clear()
    _say(whole, model)
    return whole


def _say(mesh: pv.PolyData, model: Model) -> None:
    """Give a mesh what a file says of itself, as field data."""
    from vtkmodules.vtkCommonCore import vtkDoubleArray, vtkStringArray

    for name, text in {**model.said(), "length_unit": "mm"}.items():
        words = vtkStringArray()
        words.SetName(name)
        words.InsertNextValue(text)
        mesh.GetFieldData().AddArray(words)
    lift = vtkDoubleArray()
    lift.SetName("lift_m")
    lift.InsertNextValue(model.state.lift)
    mesh.GetFieldData().AddArray(lift)


def vtp_file(mesh: pv.PolyData) -> bytes:
    """Return a mesh as the content of a .vtp file; made in memory, since its writer does not tell of a full disk."""
    from vtkmodules.vtkIOXML import vtkXMLPolyDataWriter

    writer = vtkXMLPolyDataWriter()
    writer.SetInputData(mesh)
    writer.WriteToOutputStringOn()
    # Appended data would not survive the way through a string; base64 does.
    writer.SetDataModeToBinary()
    writer.Write()
    return str(writer.GetOutputString()).encode()


def _blocks(models: list[Model]) -> Iterator[tuple[str | None, list[tuple[Model, Part]]]]:
    """Give the blocks: the parts of one lift as they are, those of many by lift, the seat once."""
    if len(models) == 1:
        yield None, [(models[0], part) for part in models[0].parts]
        return
    for model in models:
        parts = [(model, part) for part in model.parts if part.name != "seat"]
        if parts:
            yield f"lift {model.label}", parts
    seats = [(models[0], part) for part in models[0].parts if part.name == "seat"]
    if seats:
        yield None, seats


def block_folder(path: Path) -> Path:
    """Return the folder of a .vtm file's blocks, named so that it is no one's but ours.

    Raises
    ------
    UsageError
        If the file's name can't stand in an XML document.
    """
    if not path.name.isprintable():
        raise UsageError(f"file: the name {path.name!a} has signs that can't be seen; choose another")
    return path.with_name(f"{path.name}-blocks")


def write_vtm(models: list[Model], path: Path) -> None:
    """Write a .vtm file and the folder with its blocks into a folder that is free of both."""
    folder = block_folder(path)
    folder.mkdir()
    # The index is written here and not by VTK: its own writer says nothing of a full disk, and names the folder by the
    # file's stem, which may be a job's.
    root = ElementTree.Element(
        "VTKFile", type="vtkMultiBlockDataSet", version="1.0", byte_order="LittleEndian", header_type="UInt32"
    )
    index = ElementTree.SubElement(root, "vtkMultiBlockDataSet")
    first = models[0].state
    greatest = lift_text(first.reduction.job, first.greatest_lift)
    for name, parts in _blocks(models):
        within = index if name is None else ElementTree.SubElement(index, "Block", index=str(len(index)), name=name)
        for model, part in parts:
            words = part.name if name is None else f"{part.name}-{file_words(sortable(model.label, greatest))}"
            file = folder / f"{words}{FOLDER_ENDING}"
            file.write_bytes(vtp_file(part_mesh(model, part)))
            place = {"index": str(len(within)), "name": part.name, "file": f"{folder.name}/{file.name}"}
            ElementTree.SubElement(within, "DataSet", place)
    ElementTree.indent(root)
    path.write_bytes(ElementTree.tostring(root, encoding="utf-8", xml_declaration=True))


def require_hdf_writer() -> Any:
    """Return VTK's class that writes VTKHDF.

    Raises
    ------
    UsageError
        If the VTK here is too old for it.
    """
    try:
        from vtkmodules.vtkIOHDF import vtkHDFWriter
    except ImportError:
        raise UsageError(
            "file: this VTK is too old to write .vtkhdf. Install a newer one with: .venv/bin/pip install "
            '"vtk>=9.4"; or let the file end in .vtm'
        ) from None
    return vtkHDFWriter


def write_vtkhdf(models: list[Model], path: Path) -> None:
    """Write models as blocks of a .vtkhdf file; a single part is a mesh and no block.

    Raises
    ------
    OSError
        If what stands in the file then is not what was written.
    UsageError
        If the VTK here is too old.
    """
    from vtkmodules.vtkCommonCore import vtkLogger
    from vtkmodules.vtkIOHDF import vtkHDFReader

    data = _hdf_data(models)
    # On a full disk the library complains at length and can't be closed any more.
    require_room(
        2 * 1024 * data.GetActualMemorySize() + _BLOCK_ROOM * sum(len(model.parts) for model in models), path.parent
    )
    writer = require_hdf_writer()()
    writer.SetInputData(data)
    writer.SetFileName(str(path))
    writer.SetChunkSize(_CHUNK)
    writer.SetCompressionLevel(_COMPRESSION)
    # It does not always tell what went wrong, so the file is read again.
    loud = vtkLogger.GetCurrentVerbosityCutoff()
    vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_OFF)
    try:
        writer.Write()
        reader = vtkHDFReader()
        reader.SetFileName(str(path))
        reader.Update()
        read = reader.GetOutputDataObject(0)
    finally:
        vtkLogger.SetStderrVerbosity(loud)
    if not _same(data, read):
        raise OSError("it can't be read again as it was written; is the disk full?")


def _hdf_data(models: list[Model]) -> Any:
    if len(models) == 1 and len(models[0].parts) == 1:
        return part_mesh(models[0], models[0].parts[0])
    import pyvista as pv

    whole = pv.MultiBlock()
    for name, parts in _blocks(models):
        within = whole
        if name is not None:
            within = pv.MultiBlock()
            whole.append(within, name)
        for model, part in parts:
            within.append(part_mesh(model, part), part.name)
    return whole


def _same(written: Any, read: Any) -> bool:
    """Tell if two data sets have the same points and the same fields there."""
    import pyvista as pv

    if read is None or read.GetClassName() not in ("vtkPolyData", "vtkMultiBlockDataSet"):
        return False
    read = pv.wrap(read)
    if isinstance(written, pv.MultiBlock):
        if not isinstance(read, pv.MultiBlock) or read.keys() != written.keys():
            return False
        return all(_same(written[name], read[name]) for name in written.keys())  # noqa: SIM118
    if not isinstance(read, pv.PolyData) or read.n_cells != written.n_cells:
        return False
    return np.array_equal(written.points, read.points) and all(
        name in read.point_data and np.array_equal(values, read.point_data[name], equal_nan=values.dtype.kind == "f")
        for name, values in written.point_data.items()
    )
