"""The command that writes results, meshes and pictures for other programs: export."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from portviz.cli.application import CAUTION, FIELD_HELP, JobFolder, Overwrite, app
from portviz.cli.arguments import chosen_runs, parse_lift, parse_size, read_folder, reduced, require_own_csv
from portviz.cli.output import say, warn
from portviz.errors import UsageError

_TABLES, _PICTURES = (".csv", ".xlsx"), (".png",)


@app.command
def export(
    job: JobFolder,
    file: Annotated[
        Path,
        Parameter(
            name="FILE", help="A .glb, .stl, .ply, .obj, .vtp, .vtm, .vtkhdf, .csv, .xlsx or .png file to write."
        ),
    ],
    /,
    *,
    part: Annotated[
        str | None, Parameter(help="curtain, valve, seat or all; the curtain in .stl, .ply and .vtp, all elsewhere.")
    ] = None,
    field: Annotated[str | None, Parameter(help=FIELD_HELP)] = None,
    run: Annotated[
        str | None,
        Parameter(help="The run; without it the first one, but all of them in tables and in pictures of all lifts."),
    ] = None,
    lift: Annotated[
        str | None,
        Parameter(allow_leading_hyphen=True, help='The lift, such as "8 mm"; the greatest measured one by default.'),
    ] = None,
    all_lifts: Annotated[
        bool, Parameter(negative=(), help="Every measured lift: within one .glb, .vtm or .vtkhdf, else a file each.")
    ] = False,
    camera: Annotated[str | None, Parameter(help="Of a .png: three-quarter, cylinder, port or section.")] = None,
    size: Annotated[str | None, Parameter(help="Width and height of a .png in pixels; usually 1280x800.")] = None,
    overwrite: Overwrite = False,
) -> None:
    """Write meshes with colours and fields, tables or pictures for other programs, by the file's ending."""
    given = {
        "part": part is not None,
        "field": field is not None,
        "lift": lift is not None,
        "all-lifts": all_lifts,
        "camera": camera is not None,
        "size": size is not None,
    }
    ending = _require_fitting(file, [option for option, is_given in given.items() if is_given])
    if ending in _TABLES:
        _export_table(job, file, run, overwrite=overwrite)
        return
    from portviz.distribution.field import QUANTITIES
    from portviz.distribution.notes import reduction_warnings
    from portviz.job.write import require_free
    from portviz.scene.export import JOINT_ENDINGS, PART_WORDS, usual_part, write_mesh, write_meshes
    from portviz.scene.state import CAMERAS, require_word

    part, field, camera = part or usual_part(ending), field or "velocity", camera or "three-quarter"
    require_word(part, PART_WORDS, "part")
    require_word(field, QUANTITIES, "field")
    require_word(camera, CAMERAS, "camera")
    shape = parse_size(size or "1280x800")
    lift_m = None if lift is None else parse_lift(lift)
    if all_lifts and lift is not None:
        raise UsageError("lift: --all-lifts takes every measured lift; leave one of the two away")
    if all_lifts and part == "seat":
        raise UsageError("all-lifts: the seat is the same at every lift; leave --all-lifts away")
    if not all_lifts or ending in JOINT_ENDINGS:
        require_free(file, overwrite=overwrite)
    if ending in _PICTURES:
        from portviz.scene.display import start_probe

        # The child process looks at OpenGL while this one reads and computes.
        probe = start_probe(off_screen=True)
    reduction = reduced(read_folder(job))
    runs = chosen_runs(reduction, run)
    warn(reduction_warnings(reduction))
    if ending in _PICTURES and all_lifts:
        from portviz.scene.export_pictures import lift_states, write_picture_set

        states = lift_states(reduction, runs, field, camera)
        written = write_picture_set(states, file, shape, probe, overwrite=overwrite)
    elif ending in _PICTURES:
        from portviz.scene.picture import write_picture
        from portviz.scene.state import view_state

        state = view_state(reduction, runs[0], lift_m, field, camera)
        written = [write_picture(state, file, shape, probe, overwrite=overwrite)]
    elif all_lifts:
        lifts = [float(reduction.lift[group]) for group in reduction.groups_of(runs[0])]
        written = write_meshes(reduction, runs[0], lifts, part, file, field=field, overwrite=overwrite)
    else:
        written = [write_mesh(reduction, runs[0], lift_m, part, file, field=field, overwrite=overwrite)]
    beside = ""
    if ending == ".vtm":
        from portviz.scene.export_vtk import block_folder

        beside = f" and its folder {block_folder(file).name}; keep the two together"
    for each in written:
        say(f"Written: {each}{beside}")


def _require_fitting(file: Path, options: list[str]) -> str:
    """Return a file's ending; raise UsageError where it is none of ours, or an option says nothing to its kind."""
    ending = file.suffix.lower()
    if ending in _TABLES:
        takes: tuple[str, ...] = ()
        why = "a table holds every lift and station"
    elif ending in _PICTURES:
        takes = ("field", "lift", "all-lifts", "camera", "size")
        why = "a picture shows all parts"
    else:
        from portviz.scene.export import BARE_ENDING, MESH_ENDINGS, require_mesh_name

        if ending not in MESH_ENDINGS:
            endings = ", ".join((*MESH_ENDINGS, *_TABLES, *_PICTURES))
            raise UsageError(f"file: {file.name!r} must end in one of {endings}")
        require_mesh_name(file)
        takes = ("part", "lift", "all-lifts", *(() if ending == BARE_ENDING else ("field",)))
        why = "this kind of file is no picture"
        if ending == BARE_ENDING and "field" in options:
            why = "this kind of file has no colours"
    unfit = [option for option in options if option not in takes]
    if ending in _TABLES and "field" in unfit:
        raise UsageError(
            f"field: --field colours meshes and pictures; a table holds every field, so leave it away for {file.name}"
        )
    if unfit:
        raise UsageError(f"{unfit[0]}: nothing for {file.name}, {why}; leave --{unfit[0]} away")
    return ending


def _export_table(job: Path, file: Path, run: str | None, *, overwrite: bool) -> None:
    """Write all results of runs as a flat table or as a workbook."""
    from portviz.distribution.notes import reduction_warnings
    from portviz.distribution.uncertainty import reduction_uncertainty
    from portviz.job.write import require_free, write_atomically, write_text

    is_workbook = file.suffix.lower() == ".xlsx"
    if is_workbook:
        from portviz.report.workbook_file import require_openpyxl

        require_openpyxl()
    require_free(file, overwrite=overwrite)
    _require_no_source(file, job)
    reduction = reduced(read_folder(job))
    runs = chosen_runs(reduction, run)
    warnings = reduction_warnings(reduction)
    uncertainty = reduction_uncertainty(reduction, runs=runs)
    if is_workbook:
        from portviz.report.workbook import result_sheets
        from portviz.report.workbook_file import workbook_file

        sheets = result_sheets(reduction, runs, warnings, uncertainty, CAUTION)

        def write(made: Path) -> None:
            made.write_bytes(workbook_file(sheets, reduction.job.title))

        written = write_atomically(file, write, overwrite=overwrite)
    else:
        from portviz.report.rows import summary_csv

        written = write_text(file, summary_csv(reduction, runs, uncertainty), overwrite=overwrite)
    warn(warnings)
    say(f"Written: {written}")


def _require_no_source(file: Path, job: Path) -> None:
    """Raise UsageError where a table would take the place of what the job is read from."""
    if file.suffix.lower() == ".csv":
        require_own_csv(file, job, option="FILE")
        return
    from portviz.job.folder import find_job_file, find_tables

    tables, _ = find_tables(find_job_file(job).parent)
    if file.resolve() in {path.resolve() for path, _ in tables.values()}:
        raise UsageError(f"FILE: {file} is one of the files that the job is read from; choose another name")
