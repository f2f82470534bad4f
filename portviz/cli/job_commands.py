"""Commands on a job as a whole: demo, new, check, area, schema."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from portviz.cli.application import AsJson, JobFolder, app
from portviz.cli.arguments import parse_lifts, read_folder, reduced
from portviz.cli.output import WIDE, console, print_json, say, show, warn
from portviz.errors import DrawingError, JobError, counted


@app.command
def demo(
    *,
    into: Annotated[Path, Parameter(help="The folder to copy the demo job to.")] = Path("portviz-demo"),
    pictures: Annotated[bool, Parameter(negative=(), help="Write pictures instead of opening the window.")] = False,
) -> int:
    """Copy an invented demo job, check and summarise it, and open the window (or write pictures)."""
    from portviz.cli.picture_commands import view
    from portviz.cli.result_commands import summary
    from portviz.job.demo import demo_folder
    from portviz.job.write import copy_folder

    if into.exists():
        _require_demo(into)
        say(f"{into} is there already and is used as it is.")
    else:
        copy_folder(demo_folder(), into)
        say(f"The demo job is copied to {into}. Its data is invented.")
    check(into)
    summary(into)
    from portviz.scene.display import display_available

    if pictures:
        return _demo_pictures(into, "Pictures are written:")
    if not display_available():
        return _demo_pictures(
            into, "Pictures are written instead of a window: there is no screen (DISPLAY is not set)."
        )
    say(f"A window opens; close it to go on. Again with: portviz view {into}")
    try:
        return view(into)
    except DrawingError as error:
        return _demo_pictures(into, f"Pictures are written instead of a window: {error}")


def _require_demo(folder: Path) -> None:
    """Raise JobError where a folder is not the demo, whose pictures would be put over somebody's files."""
    from portviz.job.demo import demo_folder
    from portviz.job.model import JOB_FILE

    theirs, ours = folder / JOB_FILE, demo_folder() / JOB_FILE
    if not theirs.is_file() or theirs.read_text("utf-8", "replace") != ours.read_text("utf-8"):
        raise JobError(
            "this is there already and is not the demo job as it came",
            file=str(folder),
            mend="Name a new folder with --into; a job of your own is shown by: portviz view JOB",
        )


def _demo_pictures(folder: Path, reason: str) -> int:
    """Write the demo's pictures and say where they are; flat ones at least, where OpenGL is missing."""
    from portviz.scene.charts import write_charts
    from portviz.scene.picture import write_pictures

    reduction = reduced(read_folder(folder))
    written = write_charts(reduction, folder)
    missing = None
    try:
        written += write_pictures(reduction, folder)
    except DrawingError as error:
        missing = error
    say(reason)
    for path in written:
        say(f"  {path}")
    if missing is not None:
        warn([f"only the flat pictures could be made. {missing}"])
    return 0


@app.command
def new(folder: Annotated[Path, Parameter(name="DIR", help="The folder to make.")], /, *, json: AsJson = False) -> None:
    """Make a commented template job to fill in."""
    from portviz.job.demo import template_folder
    from portviz.job.write import copy_folder

    files = copy_folder(template_folder(), folder)
    if json:
        print_json({"format": 1, "warnings": [], "folder": str(folder), "files": [file.name for file in files]})
        return
    say(f"Made {folder} with {', '.join(file.name for file in files)}. Its numbers are placeholders.")
    say(f"Fill in your own, then: portviz check {folder}")


@app.command
def check(job: JobFolder, /, *, json: AsJson = False) -> None:
    """Read the whole job and say what is there, and what is wrong with it."""
    from portviz.distribution.areas import job_profiles
    from portviz.distribution.cam_event import cam_event
    from portviz.distribution.notes import geometry_warnings, job_warnings, reduction_warnings

    read = read_folder(job)
    if read.cam is not None:
        # What makes no event is an error here; results that need none only warn of it.
        cam_event(read)
    if read.handover.logo:
        # So is a logo that no report can show.
        from portviz.report.letterhead import letterhead

        letterhead(read.folder, read.handover)
    if read.readings is None:
        warnings = job_warnings(read) + geometry_warnings(read, job_profiles(read))
    else:
        from portviz.distribution.event_notes import reach_warnings

        warnings = [*reduction_warnings(reduced(read)), *reach_warnings(read)]
    from portviz.report.handover import handover_lines, handover_section

    if json:
        from portviz.report.machine import check_document

        print_json({**check_document(read, warnings), "handover": handover_section(read)}, warnings)
        return
    from portviz.report.layout import add_row
    from portviz.report.tables import check_table

    warn(warnings)
    table = check_table(read)
    for section, words in handover_lines(read):
        add_row(table, section, words)
    show(table)
    say(f"No errors; {counted(len(warnings), 'warning')}." if warnings else "No errors.")


@app.command
def area(
    job: JobFolder,
    /,
    *,
    lifts: Annotated[
        str,
        Parameter(
            allow_leading_hyphen=True,
            help='Lifts, each with its unit, a comma or semicolon between them: "0.5 mm, 1 mm, 8 mm".',
        ),
    ],
    json: AsJson = False,
) -> None:
    """Print curtain area, three-stage area, gap, throat and flow area at given lifts."""
    from portviz.distribution.areas import areas_at, job_profiles
    from portviz.distribution.notes import geometry_warnings

    at = parse_lifts(lifts)
    read = read_folder(job, tables=False)
    profiles = job_profiles(read)
    areas, warnings = areas_at(read, profiles, at), geometry_warnings(read, profiles)
    if json:
        from portviz.report.machine import area_document

        print_json(area_document(areas, warnings), warnings)
        return
    from portviz.report.tables import area_table

    warn(warnings)
    show(area_table(read, areas, profiles, wide=console().width >= WIDE))


@app.command
def schema() -> None:
    """Print the JSON Schema of job.toml, for editors that complete and check it."""
    import json

    from portviz.job.schema import job_json_schema

    print(json.dumps(job_json_schema(), indent=2))
