"""The commands: each parses, calls and prints. Heavy modules are imported where a command needs them."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import App, CycloptsError, MissingArgumentError, Parameter, UnusedCliTokensError

from portviz import __version__
from portviz.errors import DrawingError, JobError, UnitError, UsageError, counted, one_line, shortened, suggestion

if TYPE_CHECKING:
    from rich.console import Console

    from portviz.distribution.reduce import Reduction
    from portviz.distribution.study import StudyBase
    from portviz.job.design_file import NamedDesign
    from portviz.job.model import Job

CAUTION = (
    "Grinding a valve or seat wrong can burn the valve, or drop it. The limits of the valve's and seat's makers "
    "and licensed practice come first; these numbers describe air on a bench and permit nothing."
)

app = App(
    name="portviz",
    version=__version__,
    version_flags=["--version"],
    help_flags=["--help", "-h"],
    help="Where the air leaves the valve: flow-bench readings mapped onto the valve's curtain, in numbers and in 3D.",
    help_epilogue=f"A job is a folder with job.toml, readings.csv, flow.csv. Start with: portviz demo\n\n{CAUTION}",
    help_format="plaintext",
    result_action="return_value",
)

JobFolder = Annotated[Path, Parameter(name="JOB", help="The job's folder.")]
AsJson = Annotated[bool, Parameter("--json", negative=(), help="Print one JSON document in SI instead of tables.")]
RunName = Annotated[str | None, Parameter(help="The run; without it, all of them.")]
OneRun = Annotated[str | None, Parameter(help="The run; without it, the first.")]
_FIELD_HELP = "What colours the curtain: velocity, velocity-ratio, mach, flow-per-degree or drop (pressure drop)."
_LIMITS_HELP = "A table of usual ranges, instead of the job's limits.csv or the package's."
DesignFile = Annotated[Path | None, Parameter(help="A designs.toml with named designs.")]
Overwrite = Annotated[bool, Parameter(negative=(), help="Replace the file if it is there already.")]


def run(arguments: list[str] | None = None) -> int:
    """Run a command line and return its exit code; portviz's own errors pass through."""
    try:
        result = app(arguments, exit_on_error=False, print_error=False)
    except CycloptsError as error:
        raise UsageError(_refusal(error)) from None
    except SystemExit as ending:
        # The parser makes an exit of its own out of an interrupt.
        if ending.code == 130:
            raise KeyboardInterrupt from None
        raise
    return result if isinstance(result, int) else 0


def _refusal(error: CycloptsError) -> str:
    """Return what is wrong with a command line, and whose help says more."""
    command = " ".join(["portviz", *(error.command_chain or ())])
    refusal = str(error).strip()
    if isinstance(error, MissingArgumentError) and error.argument is not None and error.argument.required:
        refusal = f"{command} needs {error.argument.names[0]}: {error.argument.parameter.help}"
    if isinstance(error, UnusedCliTokensError):
        more = " ".join(error.unused_tokens or ())
        refusal = f"{command} can make nothing of {shortened(more)}; a name with spaces stands in quotes."
    return f"{refusal} See: {command} --help"


@app.command
def demo(
    *,
    into: Annotated[Path, Parameter(help="The folder to copy the demo job to.")] = Path("portviz-demo"),
    pictures: Annotated[bool, Parameter(negative=(), help="Write pictures instead of opening the window.")] = False,
) -> int:
    """Copy an invented demo job, check and summarise it, and open the window (or write pictures)."""
    from portviz.job.demo import demo_folder
    from portviz.job.write import copy_folder

    if into.exists():
        _require_demo(into)
        _say(f"{into} is there already and is used as it is.")
    else:
        copy_folder(demo_folder(), into)
        _say(f"The demo job is copied to {into}. Its data is invented.")
    check(into)
    summary(into)
    from portviz.scene.display import display_available

    if pictures:
        return _demo_pictures(into, "Pictures are written:")
    if not display_available():
        return _demo_pictures(
            into, "Pictures are written instead of a window: there is no screen (DISPLAY is not set)."
        )
    _say(f"A window opens; close it to go on. Again with: portviz view {into}")
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

    reduction = _reduction(_read(folder))
    written = write_charts(reduction, folder)
    missing = None
    try:
        written += write_pictures(reduction, folder)
    except DrawingError as error:
        missing = error
    _say(reason)
    for path in written:
        _say(f"  {path}")
    if missing is not None:
        _warn([f"only the flat pictures could be made. {missing}"])
    return 0


@app.command
def new(folder: Annotated[Path, Parameter(name="DIR", help="The folder to make.")], /, *, json: AsJson = False) -> None:
    """Make a commented template job to fill in."""
    from portviz.job.demo import template_folder
    from portviz.job.write import copy_folder

    files = copy_folder(template_folder(), folder)
    if json:
        _print_json({"format": 1, "warnings": [], "folder": str(folder), "files": [file.name for file in files]})
        return
    _say(f"Made {folder} with {', '.join(file.name for file in files)}. Its numbers are placeholders.")
    _say(f"Fill in your own, then: portviz check {folder}")


@app.command
def check(job: JobFolder, /, *, json: AsJson = False) -> None:
    """Read the whole job and say what is there, and what is wrong with it."""
    from portviz.distribution.areas import job_profiles
    from portviz.distribution.cam_event import cam_event
    from portviz.distribution.notes import geometry_warnings, job_warnings, reduction_warnings

    read = _read(job)
    if read.cam is not None:
        # What makes no event is an error here; results that need none only warn of it.
        cam_event(read)
    if read.readings is None:
        warnings = job_warnings(read) + geometry_warnings(read, job_profiles(read))
    else:
        from portviz.distribution.event_notes import reach_warnings

        warnings = [*reduction_warnings(_reduction(read)), *reach_warnings(read)]
    if json:
        from portviz.report.machine import check_document

        _print_json(check_document(read, warnings), warnings)
        return
    from portviz.report.tables import check_table

    _warn(warnings)
    _print(check_table(read))
    _say(f"No errors; {counted(len(warnings), 'warning')}." if warnings else "No errors.")


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

    at = _lifts(lifts)
    read = _read(job, tables=False)
    profiles = job_profiles(read)
    areas, warnings = areas_at(read, profiles, at), geometry_warnings(read, profiles)
    if json:
        from portviz.report.machine import area_document

        _print_json(area_document(areas, warnings), warnings)
        return
    from portviz.report.tables import area_table

    _warn(warnings)
    _print(area_table(read, areas, profiles, wide=_console().width >= _WIDE))


@app.command
def summary(
    job: JobFolder,
    /,
    *,
    run: RunName = None,
    stations: Annotated[bool, Parameter(negative=(), help="Add a table of the stations at each lift.")] = False,
    csv: Annotated[
        Path | None, Parameter(help="Write all results to this file as a comma-separated table, in SI units.")
    ] = None,
    monte_carlo: Annotated[
        int | None, Parameter(help="Find all uncertainties by so many random samples, 1000 to 100000.")
    ] = None,
    overwrite: Overwrite = False,
    json: AsJson = False,
) -> None:
    """Print flow, coefficients, closure, the pattern round the valve at each lift, and how well they are known."""
    from portviz.distribution.notes import reduction_warnings
    from portviz.distribution.uncertainty import reduction_uncertainty

    if monte_carlo is not None and not 1000 <= monte_carlo <= 100_000:
        raise UsageError(f"monte-carlo: {monte_carlo} is not a number of samples from 1000 to 100000")

    if csv is not None and (overwrite or not csv.exists()):
        _require_own_csv(csv, job)
    reduction = _reduction(_read(job))
    runs = _runs(reduction, run)
    warnings = reduction_warnings(reduction)
    uncertainty = reduction_uncertainty(reduction, samples=monte_carlo, runs=runs)
    if csv is not None:
        from portviz.job.write import write_text
        from portviz.report.rows import summary_csv

        write_text(csv, summary_csv(reduction, runs, uncertainty), overwrite=overwrite)
    if json:
        from portviz.report.machine import summary_document

        _print_json(summary_document(reduction, runs, warnings, uncertainty), warnings)
        return
    from portviz.report.tables import summary_tables

    _warn(warnings)
    wide = _console().width >= _WIDE
    _print(summary_tables(reduction, runs, uncertainty, stations=stations, wide=wide))
    if csv is not None:
        _say(f"Written: {csv}")


@app.command
def compare(
    job: JobFolder,
    run_a: Annotated[str, Parameter(name="RUN_A", help="The run before.")],
    run_b: Annotated[str, Parameter(name="RUN_B", help="The run after.")],
    /,
    *,
    job_b: Annotated[Path | None, Parameter(help="Another job's folder that RUN_B is taken from.")] = None,
    stations: Annotated[bool, Parameter(negative=(), help="Add a table of the stations at each lift.")] = False,
    on_field: Annotated[
        bool, Parameter(negative=(), help="Where stations differ, compare the interpolated field of RUN_B.")
    ] = False,
    picture: Annotated[Path | None, Parameter(help="Write the difference on the curtain to this .png.")] = None,
    chart: Annotated[Path | None, Parameter(help="Write a flat chart with intervals to this .png.")] = None,
    window: Annotated[bool, Parameter(negative=(), help="Show the difference on the curtain in a window.")] = False,
    lift: Annotated[
        str | None, Parameter(allow_leading_hyphen=True, help="The lift of picture or window; the greatest common one.")
    ] = None,
    camera: Annotated[str, Parameter(help="three-quarter, cylinder, port or section.")] = "cylinder",
    size: Annotated[str, Parameter(help="Width and height of picture or window in pixels.")] = "1280x800",
    overwrite: Overwrite = False,
    json: AsJson = False,
) -> None:
    """Say what changed from one run to another, how surely, and what the data do not show."""
    from portviz.distribution.comparison import Side, compare_runs
    from portviz.distribution.notes import reduction_warnings
    from portviz.distribution.uncertainty import reduction_uncertainty
    from portviz.report.comparison import comparison_document, comparison_tables, comparison_warnings

    width, height = _size(size)
    lift_m = None if lift is None else _lift(lift)
    if window or picture is not None or chart is not None:
        from portviz.scene.state import CAMERAS, require_word

        require_word(camera, CAMERAS, "camera")
    for option, file in (("picture", picture), ("chart", chart)):
        if file is not None:
            from portviz.job.write import require_free
            from portviz.scene.picture import require_picture_name

            require_picture_name(file, option)
            require_free(file, overwrite=overwrite)
    if picture is not None and chart is not None and picture.resolve() == chart.resolve():
        raise UsageError(f"chart: {chart} is the picture's name too; give each its own")
    if lift is not None and picture is None and not window:
        raise UsageError("lift: this is the lift of --picture or --window, and neither is asked for")
    first = _reduction(_read(job))
    one_job = job_b is None or job_b.resolve() == job.resolve()
    second = first if one_job or job_b is None else _reduction(_read(job_b))
    place_a, place_b = _runs(first, run_a)[0], _runs(second, run_b)[0]
    known = reduction_uncertainty(first, runs=[place_a, place_b] if one_job else [place_a])
    a = Side(first, known, place_a)
    b = Side(second, known if one_job else reduction_uncertainty(second, runs=[place_b]), place_b)
    comparison = compare_runs(a, b, on_field=on_field)
    warnings = comparison_warnings(comparison)
    for each in (first,) if one_job else (first, second):
        whose = "" if one_job else f"{each.job.folder.resolve().name}: "
        warnings += [f"{whose}{doubt}" for doubt in reduction_warnings(each)]
    if picture is not None or window:
        from portviz.scene.comparison import lift_to_show

        lift_m = lift_to_show(comparison, lift_m)
    written = []
    if chart is not None:
        from portviz.scene.comparison import write_comparison_chart

        written.append(write_comparison_chart(comparison, chart, overwrite=overwrite))
    if picture is not None:
        from portviz.scene.comparison import write_comparison_picture

        written.append(
            write_comparison_picture(comparison, lift_m, camera, picture, (width, height), overwrite=overwrite)
        )
    if json:
        _print_json(comparison_document(comparison, warnings), warnings)
        return
    _warn(warnings)
    _print(comparison_tables(comparison, stations=stations))
    for file in written:
        _say(f"Written: {file}")
    if window:
        from portviz.scene.comparison import open_comparison
        from portviz.scene.display import start_probe

        open_comparison(comparison, lift_m, camera, (width, height), start_probe(off_screen=False))


@app.command
def distortion(
    job: JobFolder,
    /,
    *,
    run: RunName = None,
    toward: Annotated[
        str, Parameter(allow_leading_hyphen=True, help="The middle of the half circle whose share is told [deg].")
    ] = "0",
    axis: Annotated[
        str, Parameter(allow_leading_hyphen=True, help="The axis whose two halves are compared [deg].")
    ] = "0",
    json: AsJson = False,
) -> None:
    """Print how uneven the ring is at each lift: lobes, weak arc, max/min and halves, each with its ±."""
    from portviz.distribution.distortion import distortion as measured
    from portviz.distribution.notes import reduction_warnings
    from portviz.distribution.uncertainty import linear_uncertainty
    from portviz.report.distortion import distortion_document, distortion_tables

    directions = {"toward_deg": _direction(toward, "toward"), "axis_deg": _direction(axis, "axis")}
    reduction = _reduction(_read(job))
    runs = _runs(reduction, run)
    warnings = reduction_warnings(reduction)
    found = measured(reduction, linear_uncertainty(reduction), **directions)
    if json:
        _print_json(distortion_document(reduction, found, runs, warnings), warnings)
        return
    _warn(warnings)
    _print(distortion_tables(reduction, found, runs, wide=_console().width >= _WIDE))


@app.command
def plan(
    job: JobFolder,
    /,
    *,
    change: Annotated[
        str, Parameter(allow_leading_hyphen=True, help='The change at one station to be shown, such as "5 %".')
    ] = "5 %",
    power: Annotated[
        str, Parameter(allow_leading_hyphen=True, help='The chance to show it, from "50 %" to "99.9 %".')
    ] = "90 %",
    run: RunName = None,
    json: AsJson = False,
) -> None:
    """Print how often to read each station, so that a change of a given size would be shown."""
    from portviz.distribution.notes import reduction_warnings
    from portviz.distribution.plan import plan_repeats
    from portviz.distribution.uncertainty import linear_uncertainty
    from portviz.report.plan import plan_document, plan_tables, plan_warnings

    part, chance = _part(change, "change", 0.0, 1.0), _part(power, "power", 0.5, 0.999)
    reduction = _reduction(_read(job))
    runs = _runs(reduction, run)
    planned = plan_repeats(reduction, linear_uncertainty(reduction), part, chance)
    warnings = [*plan_warnings(reduction, planned, runs), *reduction_warnings(reduction)]
    if json:
        _print_json(plan_document(reduction, planned, runs, warnings), warnings)
        return
    _warn(warnings)
    _print(plan_tables(reduction, planned, runs))


@app.command
def event(
    job: JobFolder,
    /,
    *,
    run: RunName = None,
    against: Annotated[
        str | None, Parameter(help="The run that the others are compared with; the first one by default.")
    ] = None,
    chart: Annotated[Path | None, Parameter(help="Write a flat chart of the event to this .png.")] = None,
    csv: Annotated[
        Path | None, Parameter(help="Write lift, effective area and flow against crank angle to this file, in SI.")
    ] = None,
    overwrite: Overwrite = False,
    json: AsJson = False,
) -> None:
    """Weigh flow and pattern by how long the valve stays at each lift, and compare runs over the whole event."""
    from portviz.distribution.event_comparison import compare_events, lift_event
    from portviz.distribution.event_notes import comparison_warnings, event_warnings
    from portviz.distribution.notes import reduction_warnings
    from portviz.distribution.uncertainty import linear_uncertainty
    from portviz.job.write import require_free

    if chart is not None:
        from portviz.scene.picture import require_picture_name

        require_picture_name(chart, "chart")
        require_free(chart, overwrite=overwrite)
    if csv is not None:
        require_free(csv, overwrite=overwrite)
        _require_own_csv(csv, job)
        if chart is not None and chart.resolve() == csv.resolve():
            raise UsageError(f"csv: {csv} is the chart's name too; give each its own")
    reduction = _reduction(_read(job))
    runs = _runs(reduction, run)
    first = 0 if against is None else _runs(reduction, against, "against")[0]
    if against is not None and runs == [first]:
        raise UsageError(f"against: {against!r} can't be compared with itself; name another run")
    others = [each for each in runs if each != first] if run is None or against is not None else []
    events = lift_event(reduction, linear_uncertainty(reduction))
    comparisons = [compare_events(events, first, other) for other in others]
    shown = sorted({first, *runs}) if others else runs
    warnings = event_warnings(events, shown)
    warnings += [words for each in comparisons for words in comparison_warnings(events, each)]
    warnings += reduction_warnings(reduction)
    written = []
    if csv is not None:
        from portviz.job.write import write_text
        from portviz.report.event import event_csv

        written.append(write_text(csv, event_csv(events, shown), overwrite=overwrite))
    if chart is not None:
        from portviz.scene.event_charts import write_event_chart

        written.append(write_event_chart(events, shown, chart, overwrite=overwrite))
    if json:
        from portviz.report.event import event_document

        _print_json(event_document(events, shown, comparisons, warnings), warnings)
        return
    from portviz.report.event_tables import event_tables

    _warn(warnings)
    _print(event_tables(events, shown, comparisons))
    for file in written:
        _say(f"Written: {file}")


@app.command
def study(
    job: JobFolder,
    /,
    *,
    vary: Annotated[
        list[str] | None,
        Parameter(
            consume_multiple=True,
            negative=(),
            help='A dimension and its values, such as "seat.width=1.0:2.4:0.1 mm"; several make a grid.',
        ),
    ] = None,
    designs: Annotated[Path | None, Parameter(help="A designs.toml with named designs, instead of --vary.")] = None,
    hold: Annotated[
        list[str] | None,
        Parameter(
            consume_multiple=True,
            negative=(),
            help="What stays while others change: outer, contact or inner (diameter of the seat), throat.",
        ),
    ] = None,
    lifts: Annotated[
        str | None,
        Parameter(allow_leading_hyphen=True, help='Lifts such as "1 mm, 4 mm, 8 mm"; the measured ones by default.'),
    ] = None,
    run: OneRun = None,
    limits: Annotated[Path | None, Parameter(help=_LIMITS_HELP)] = None,
    cut_depth: Annotated[
        str | None,
        Parameter(
            allow_leading_hyphen=True,
            help='Metal taken off the seat, such as "0.2 mm", all cuts following: how far the valve sinks.',
        ),
    ] = None,
    plane: Annotated[
        str | None,
        Parameter(
            allow_leading_hyphen=True,
            help='How far a plane (piston, plug) lies below the seat\'s outer edge, such as "12 mm": what stays clear.',
        ),
    ] = None,
    csv: Annotated[
        Path | None, Parameter(help="Write all results to this file as a comma-separated table, in SI units.")
    ] = None,
    chart: Annotated[Path | None, Parameter(help="Write a flat chart of the study to this .png, .pdf or .svg.")] = None,
    yes: Annotated[bool, Parameter(negative=(), help="Go on with a study that takes long or much memory.")] = False,
    overwrite: Overwrite = False,
    json: AsJson = False,
) -> None:
    """Show what other dimensions of valve and seat would do to passages, contact and flow, before metal is cut."""
    from portviz.distribution.designs import named_designs, parse_variation, require_holds, varied_designs
    from portviz.distribution.findings import reach_warnings
    from portviz.distribution.heights import study_heights
    from portviz.distribution.notes import geometry_warnings, job_warnings
    from portviz.job.limits import read_limits
    from portviz.report.progress import designs_progress

    depth_m = None if cut_depth is None else _length(cut_depth, "cut-depth")
    plane_m = None if plane is None else _length(plane, "plane")
    if (vary is None) == (designs is None):
        raise UsageError(
            'study: name what to vary, --vary "seat.width=1.0:2.4:0.1 mm", or a file, --designs designs.toml'
        )
    if csv is not None:
        from portviz.job.write import require_free

        require_free(csv, overwrite=overwrite)
        _require_own_csv(csv, job)
    if chart is not None:
        from portviz.job.write import require_free
        from portviz.scene.paper import require_ending

        require_ending(chart, "chart")
        require_free(chart, overwrite=overwrite)
        if csv is not None and chart.resolve() == csv.resolve():
            raise UsageError(f"csv: {csv} is the chart's name too; give each its own")
    read = _read(job)
    base = _study_base(read, run)
    at = _lifts(lifts) if lifts is not None else base.lifts
    usual, usual_name = read_limits(read, limits)
    holds = hold or []
    if designs is not None:
        from portviz.job.design_file import read_designs

        made = named_designs(read, read_designs(designs, read), holds)
    else:
        variations: dict[str, Any] = {}
        for each in vary or []:
            key, values = parse_variation(each, read)
            if key in variations:
                raise UsageError(f"vary: {key} is varied twice; write all its values in one")
            variations[key] = values
        require_holds(holds, variations)
        _require_size(variations, len(at), yes=yes)
        made = varied_designs(read, variations, holds)
    from portviz.distribution.study import study_designs

    with designs_progress(len(made.names)) as progress:
        found = study_designs(read, made, at, coefficients=base.coefficients, event=base.event, progress=progress)
    heights = None
    if depth_m is not None or plane_m is not None:
        heights = study_heights(found, depth_m, plane_m, base.event)
    warnings = [*geometry_warnings(read, found.profiles.take(slice(0, 1))), *job_warnings(read)]
    warnings += reach_warnings(found, base.event)
    if csv is not None:
        from portviz.job.write import write_text
        from portviz.report.study import study_csv

        write_text(csv, study_csv(found, heights), overwrite=overwrite)
    if chart is not None:
        from functools import partial

        from portviz.report.study_tables import design_label
        from portviz.scene.study_charts import write_study_chart

        write_study_chart(found, usual, usual_name, partial(design_label, found), chart, overwrite=overwrite)
    if json:
        from portviz.report.study import study_document

        _print_json(study_document(found, usual, warnings, heights), warnings)
        return
    from portviz.report.study_tables import study_tables

    _warn(warnings)
    _print(study_tables(found, usual, usual_name, heights))
    for file in (csv, chart):
        if file is not None:
            _say(f"Written: {file}")


@app.command
def find(
    job: JobFolder,
    what: Annotated[str, Parameter(name="WHAT", help="width, cuts or throat.")],
    /,
    *,
    keep: Annotated[
        str | None, Parameter(allow_leading_hyphen=True, help='width: part of the present flow area, such as "95 %".')
    ] = None,
    at: Annotated[str | None, Parameter(allow_leading_hyphen=True, help='width: at this lift, such as "1 mm".')] = None,
    hold: Annotated[str | None, Parameter(help="width: what stays, outer, contact or inner diameter.")] = None,
    contact: Annotated[
        str | None, Parameter(allow_leading_hyphen=True, help='cuts: mean diameter of the band, such as "39.2 mm".')
    ] = None,
    width: Annotated[
        str | None, Parameter(allow_leading_hyphen=True, help="cuts: width of the band; the present one by default.")
    ] = None,
    up_to: Annotated[
        str | None, Parameter(allow_leading_hyphen=True, help='throat: the gap limits up to this lift, such as "8 mm".')
    ] = None,
    run: OneRun = None,
    limits: Annotated[Path | None, Parameter(help=_LIMITS_HELP)] = None,
    json: AsJson = False,
) -> None:
    """Find the widest seat, the cuts for a contact band, or the largest throat that does what is asked."""
    from portviz.distribution.findings import reach_warnings
    from portviz.distribution.notes import geometry_warnings, job_warnings
    from portviz.job.limits import read_limits

    options = {"keep": keep, "at": at, "hold": hold, "contact": contact, "width": width, "up-to": up_to}
    _require_question(what, options)
    from portviz.distribution.inverse import find_throat, find_width
    from portviz.distribution.recut import find_cuts

    part = None if keep is None else _part(keep, "keep", 0.01, 2.0)
    typed = {name: text for name, text in options.items() if name not in ("keep", "hold")}
    lengths = {name: _length(text, name) for name, text in typed.items() if text is not None}
    read = _read(job)
    base = _study_base(read, run)
    usual, usual_name = read_limits(read, limits)
    if what == "width":
        answer = find_width(read, base, part or 0.0, lengths["at"], hold or "outer")
    elif what == "cuts":
        answer = find_cuts(read, base, lengths["contact"], lengths.get("width"))
    else:
        answer = find_throat(read, base, lengths["up-to"])
    warnings = [*geometry_warnings(read, answer.study.profiles.take(slice(0, 1))), *job_warnings(read)]
    warnings += reach_warnings(answer.study, base.event)
    from portviz.report.inverse import inverse_document, inverse_tables

    if json:
        _print_json(inverse_document(answer, usual, warnings), warnings)
        return
    _warn(warnings)
    _print(inverse_tables(answer, usual, usual_name))


#: What `find` can look for: what it needs, and what it takes besides.
_QUESTIONS = {
    "width": (("keep", "at"), ("hold",), 'width --keep "95 %" --at "1 mm"'),
    "cuts": (("contact",), ("width",), 'cuts --contact "39.2 mm"'),
    "throat": (("up-to",), (), 'throat --up-to "8 mm"'),
}


def _require_question(what: str, options: dict[str, str | None]) -> None:
    """Raise UsageError where a question is none, lacks something, or has what belongs to another."""
    if what not in _QUESTIONS:
        refusal = f"find: {what!r} can't be looked for; only {', '.join(_QUESTIONS)} can."
        raise UsageError(" ".join(filter(None, (refusal, suggestion(what, _QUESTIONS)))))
    needed, besides, example = _QUESTIONS[what]
    missing = [name for name in needed if options[name] is None]
    if missing:
        raise UsageError(f"find: {what} needs --{' and --'.join(missing)}, as in: portviz find JOB {example}")
    other = [name for name, text in options.items() if text is not None and name not in (*needed, *besides)]
    if other:
        raise UsageError(f"find: --{other[0]} says nothing about {what}; take it away")


@app.command
def tolerance(
    job: JobFolder,
    /,
    *,
    length: Annotated[
        str, Parameter(allow_leading_hyphen=True, help="How far each length may be off, either way.")
    ] = "0.05 mm",
    angle: Annotated[
        str, Parameter(allow_leading_hyphen=True, help="How far each angle may be off, either way.")
    ] = "0.5 deg",
    samples: Annotated[int, Parameter(help="Valves and seats to draw, 100 to 100000.")] = 2000,
    lifts: Annotated[
        str | None,
        Parameter(allow_leading_hyphen=True, help='Lifts such as "1 mm, 4 mm, 8 mm"; the measured ones by default.'),
    ] = None,
    json: AsJson = False,
) -> None:
    """Draw valves and seats within machining tolerances: how far areas and contact scatter, and what does most."""
    from portviz.distribution.notes import geometry_warnings, job_warnings

    if not 100 <= samples <= 100_000:
        raise UsageError(f"samples: {samples} is not a number of samples from 100 to 100000")
    length_m, angle_rad = _length(length, "length"), _length(angle, "angle", kind="angle")
    at = None if lifts is None else _lifts(lifts)
    from portviz.distribution.areas import job_profiles
    from portviz.distribution.tolerance import tolerance_study
    from portviz.report.progress import designs_progress
    from portviz.report.tolerance import tolerance_document, tolerance_tables

    read = _read(job)
    profiles = job_profiles(read)
    with designs_progress(samples) as progress:
        found = tolerance_study(
            read, at or _study_base(read, None).lifts, length_m, angle_rad, samples, progress=progress
        )
    warnings = [*geometry_warnings(read, profiles), *job_warnings(read)]
    if json:
        _print_json(tolerance_document(found, warnings), warnings)
        return
    _warn(warnings)
    _print(tolerance_tables(found))


@app.command
def view(
    job: JobFolder,
    /,
    *,
    run: OneRun = None,
    lift: Annotated[
        str | None, Parameter(allow_leading_hyphen=True, help='The lift to begin with, such as "8 mm".')
    ] = None,
    field: Annotated[str, Parameter(help=_FIELD_HELP)] = "velocity",
    camera: Annotated[str, Parameter(help="three-quarter, cylinder, port or section.")] = "three-quarter",
    designs: Annotated[Path | None, Parameter(help="A designs.toml; the keys n and b go through its designs.")] = None,
    picture: Annotated[Path | None, Parameter(help="Write this .png instead of opening a window.")] = None,
    size: Annotated[str, Parameter(help="Width and height of window or picture in pixels.")] = "1280x800",
    overwrite: Overwrite = False,
) -> int:
    """Show valve, seat and the coloured curtain in a window, with a slider for the lift."""
    from portviz.distribution.field import QUANTITIES
    from portviz.scene.display import start_probe
    from portviz.scene.state import CAMERAS, require_word, view_state

    require_word(field, QUANTITIES, "field")
    require_word(camera, CAMERAS, "camera")
    width, height = _size(size)
    lift_m = None if lift is None else _lift(lift)
    if picture is not None and designs is not None:
        raise UsageError(
            "designs: the window alone goes through them; a picture of one is made by: "
            "portviz section JOB FILE.png --designs FILE --design NAME"
        )
    if picture is not None:
        from portviz.job.write import require_free
        from portviz.scene.picture import require_picture_name

        require_picture_name(picture)
        require_free(picture, overwrite=overwrite)
    # The child process looks at OpenGL while this one reads and computes.
    probe = start_probe(off_screen=picture is not None)
    read = _read(job)
    named: tuple[NamedDesign, ...] = ()
    if designs is not None:
        from portviz.job.design_file import read_designs

        named = read_designs(designs, read)
    reduction = _reduction(read)
    place = _runs(reduction, run)[0]
    from portviz.distribution.notes import reduction_warnings

    _warn(reduction_warnings(reduction, quality=False))
    state = view_state(reduction, place, lift_m, field, camera)
    if picture is not None:
        from portviz.scene.picture import write_picture

        _say(f"Written: {write_picture(state, picture, (width, height), probe, overwrite=overwrite)}")
        return 0
    if designs is not None:
        from portviz.scene.design_switch import design_set, open_design_window

        shown = design_set(read, named)
        _warn(list(shown.refused))
        open_design_window(state, shown, (width, height), probe)
        return 0
    from portviz.scene.window import open_window

    open_window(state, (width, height), probe)
    return 0


@app.command
def film(
    job: JobFolder,
    file: Annotated[Path, Parameter(name="FILE", help="A .gif, .webp or .mp4 file to write.")],
    /,
    *,
    run: OneRun = None,
    beside: Annotated[str | None, Parameter(help="A second run, shown in step beside the first.")] = None,
    field: Annotated[str, Parameter(help=_FIELD_HELP)] = "velocity",
    camera: Annotated[str, Parameter(help="three-quarter, cylinder, port or section.")] = "three-quarter",
    seconds: Annotated[float | None, Parameter(help="What one event takes in the film in seconds; usually 6.")] = None,
    slow: Annotated[
        float | None, Parameter(help="How many times slower than the engine instead, such as 500; needs engine.speed.")
    ] = None,
    rate: Annotated[float, Parameter(help="Frames a second.")] = 25.0,
    size: Annotated[str, Parameter(help="Width and height of a run's picture in pixels.")] = "960x600",
    overwrite: Overwrite = False,
) -> None:
    """Write a film of the valve's event: it opens and closes as the cam moves it, and again."""
    from portviz.distribution.cam_event import cam_event
    from portviz.distribution.field import QUANTITIES
    from portviz.distribution.notes import reduction_warnings
    from portviz.job.write import require_free
    from portviz.scene.display import start_probe
    from portviz.scene.encode import require_film_name
    from portviz.scene.film import film_plan, require_film_options, write_film
    from portviz.scene.state import CAMERAS, require_word

    require_word(field, QUANTITIES, "field")
    require_word(camera, CAMERAS, "camera")
    require_film_name(file)
    shape = _size(size)
    require_film_options(file, shape, seconds, slow, rate, beside=beside is not None)
    require_free(file, overwrite=overwrite)
    read = _read(job)
    plan = film_plan(read, cam_event(read), file.suffix.lower(), seconds, slow, rate)
    reduction = _reduction(read)
    places = [_runs(reduction, run)[0], *([] if beside is None else _runs(reduction, beside, "beside"))]
    if len(set(places)) < len(places):
        raise UsageError(f"beside: run {beside!r} is the one shown already; name another")
    _warn(reduction_warnings(reduction, quality=False))
    probe = start_probe(off_screen=True)
    written = write_film(reduction, places, field, camera, plan, file, shape, probe, overwrite=overwrite)
    _say(f"Written: {written} ({plan.frames} frames, {plan.seconds:.2f} s)")


@app.command
def export(
    job: JobFolder,
    file: Annotated[Path, Parameter(name="FILE", help="A .stl, .ply or .vtp file to write.")],
    /,
    *,
    part: Annotated[str, Parameter(help="curtain, valve or seat.")] = "curtain",
    run: OneRun = None,
    lift: Annotated[
        str | None,
        Parameter(allow_leading_hyphen=True, help='The lift, such as "8 mm"; the greatest measured one by default.'),
    ] = None,
    overwrite: Overwrite = False,
) -> None:
    """Write curtain, valve or seat as a mesh in millimetres; .vtp carries all fields of the curtain."""
    from portviz.distribution.notes import reduction_warnings
    from portviz.scene.export import PARTS, require_mesh_name, write_mesh
    from portviz.scene.state import require_word

    require_word(part, PARTS, "part")
    require_mesh_name(file)
    lift_m = None if lift is None else _lift(lift)
    reduction = _reduction(_read(job))
    place = _runs(reduction, run)[0]
    _warn(reduction_warnings(reduction, quality=False))
    _say(f"Written: {write_mesh(reduction, place, lift_m, part, file, overwrite=overwrite)}")


@app.command
def section(
    job: JobFolder,
    file: Annotated[Path, Parameter(name="FILE", help="A .png, .pdf or .svg file to write.")],
    /,
    *,
    lift: Annotated[
        str, Parameter(allow_leading_hyphen=True, help='The lift, such as "4 mm"; closed by default.')
    ] = "0 mm",
    designs: DesignFile = None,
    design: Annotated[
        str | None, Parameter(help="The design of that file to draw; the job as it stands by default.")
    ] = None,
    against: Annotated[
        str | None, Parameter(help='A design dashed over it; "present" is the job as it stands.')
    ] = None,
    overwrite: Overwrite = False,
) -> None:
    """Draw a dimensioned half section of seat and valve, with a zoomed detail of the cuts."""
    from portviz.distribution.notes import geometry_warnings
    from portviz.job.write import require_free
    from portviz.scene.paper import require_ending

    require_ending(file, "FILE")
    lift_m = _lift(lift)
    require_free(file, overwrite=overwrite)
    read = _read(job, tables=False)
    if lift_m > read.valve.head_diameter:
        raise UsageError(f"lift: {lift.strip()} is more than the valve head's diameter; no valve opens so far")
    chosen = _design_job(read, designs, design)
    other = None if against is None else _design_job(read, designs, against, "against")
    if other is not None and other[0] == chosen[0]:
        raise UsageError(f"against: {against!r} can't be drawn over itself; name another design")
    from portviz.scene.section_drawing import write_section
    from portviz.scene.section_parts import design_section

    drawn = design_section(chosen[1], chosen[0], lift_m)
    over = None if other is None else design_section(other[1], other[0], lift_m)
    _warn(geometry_warnings(chosen[1], drawn.profiles))
    _say(f"Written: {write_section(drawn, over, file, overwrite=overwrite)}")


@app.command
def sheet(
    job: JobFolder,
    file: Annotated[Path, Parameter(name="FILE", help="A .pdf or .png file to write.")],
    /,
    *,
    designs: DesignFile = None,
    design: Annotated[str | None, Parameter(help="The design of that file; the job as it stands by default.")] = None,
    date: Annotated[
        str | None, Parameter(help='A date to stand on the page, such as "2026-11-25"; none by default.')
    ] = None,
    limits: Annotated[
        Path | None, Parameter(help="A table of usual ranges, instead of the job's limits.csv or the package's.")
    ] = None,
    overwrite: Overwrite = False,
) -> None:
    """Write one page for the shop: the dimensioned detail, the cutters, contact, what to check, fields to sign."""
    from portviz.distribution.designs import named_designs
    from portviz.distribution.study import study_designs, usual_lifts
    from portviz.job.limits import read_limits
    from portviz.job.write import require_free
    from portviz.scene.paper import require_ending
    from portviz.scene.section_parts import design_section
    from portviz.scene.shop_sheet import SHEET_ENDINGS, write_sheet

    require_ending(file, "FILE", SHEET_ENDINGS)
    if date is not None:
        _require_date(date)
    require_free(file, overwrite=overwrite)
    read = _read(job, tables=False)
    usual, usual_name = read_limits(read, limits)
    name, chosen = _design_job(read, designs, design)
    # A study of the design alone, as if it were the job: what it says then is the design's own.
    found = study_designs(chosen, named_designs(chosen, ()), usual_lifts(chosen, None))
    drawn = design_section(chosen, name, 0.0)
    _say(f"Written: {write_sheet(drawn, found, 0, usual, usual_name, file, date=date, overwrite=overwrite)}")


@app.command
def schema() -> None:
    """Print the JSON Schema of job.toml, for editors that complete and check it."""
    import json

    from portviz.job.schema import job_json_schema

    print(json.dumps(job_json_schema(), indent=2))


def _study_base(job: Job, run: str | None) -> StudyBase:
    """Return what a study takes from the job's files: coefficients of a run, the event, and lifts to look at."""
    from portviz.distribution.areas import job_profiles
    from portviz.distribution.cam_event import cam_event
    from portviz.distribution.study import StudyBase, run_coefficients, usual_lifts
    from portviz.distribution.uncertainty import linear_uncertainty

    job_profiles(job)
    coefficients = None
    if job.readings is not None:
        reduction = _reduction(job)
        place = _runs(reduction, run)[0]
        coefficients = run_coefficients(reduction, linear_uncertainty(reduction), place)
    elif run is not None:
        raise UsageError(f"run: {run!r} can't be found, since the job has no readings")
    event = None if job.cam is None else cam_event(job)
    return StudyBase(coefficients, event, usual_lifts(job, coefficients))


def _design_job(job: Job, file: Path | None, name: str | None, option: str = "design") -> tuple[str, Job]:
    """Return the name and the job of a design; the job as it stands, "present", where none is named.

    Raises
    ------
    UsageError
        If there is no such design, with the nearest name.
    JobError
        If its dimensions make no valve and seat.
    """
    from portviz.distribution.areas import job_profiles

    job_profiles(job)
    if file is None:
        if name in (None, PRESENT):
            return PRESENT, job
        raise UsageError(f"{option}: {name!r} needs the file that holds it: --designs designs.toml")
    from portviz.job.design_file import read_designs

    named = {each.name: each.job for each in read_designs(file, job)}
    if (name is None and option == "design") or (name == PRESENT and PRESENT not in named):
        return PRESENT, job
    if name not in named:
        refusal = f"{option}: there is no design {name!r}; {file.name} has {', '.join(map(repr, [*named][:12]))}"
        more = f" and {len(named) - 12} more" if len(named) > 12 else ""
        raise UsageError(" ".join(filter(None, (f"{refusal}{more}.", suggestion(str(name), named, "'")))))
    try:
        job_profiles(named[name])
    except JobError as error:
        raise JobError(
            error.problem, file=file.name, place=f"design {shortened(name)}", mend="Mend one of its dimensions"
        ) from None
    return name, named[name]


#: The name of the job as it stands, among designs.
PRESENT = "present"


def _require_date(text: str) -> None:
    from datetime import date

    try:
        if len(text) != len("2026-11-25"):
            raise ValueError
        date.fromisoformat(text)
    except ValueError:
        raise UsageError(f'date: {shortened(text)} is no date; write year-month-day, such as "2026-11-25"') from None


def _require_size(variations: dict[str, Any], lifts: int, *, yes: bool) -> None:
    """Raise UsageError where a grid would take long or much memory, unless that is wanted."""
    from portviz.distribution.study import study_cost

    count = 1
    for values in variations.values():
        count *= len(values)
    seconds, memory = study_cost(count, lifts)
    if count > MOST_DESIGNS:
        raise UsageError(f"study: {count:,} designs are too many; at most {MOST_DESIGNS:,}: take larger steps")
    if not yes and (seconds > 60.0 or memory > 2**30):
        raise UsageError(
            f"study: {count:,} designs x {lifts} lifts would take about {max(seconds / 60.0, 0.1):.1f} minutes and "
            f"{memory / 2**20:,.0f} MB; add --yes to go on, or take larger steps"
        )


#: More designs than this are refused whatever is said.
MOST_DESIGNS = 2_000_000


def _require_own_csv(path: Path, job: Path) -> None:
    """Raise UsageError where results would pass for a workbook, or take the place of what the job is read from."""
    if path.suffix.lower() in (".xlsx", ".xls", ".ods"):
        raise UsageError(f"csv: {path.name!r} is the name of a workbook; this table is text, so let it end in .csv")
    folder = job if job.is_dir() else job.parent
    names = ("job.toml", "readings.csv", "flow.csv", "cam.csv")
    if path.name.lower() in names and path.resolve().parent == folder.resolve():
        raise UsageError(f"csv: {path} is one of the files that the job is read from; choose another name")


def _read(folder: Path, *, tables: bool = True) -> Job:
    from portviz.job.read import read_job

    return read_job(folder, tables=tables)


def _reduction(job: Job) -> Reduction:
    from portviz.distribution.reduce import reduce_job

    if job.readings is None:
        raise JobError(
            "there are no readings",
            file=str(job.folder),
            expected="readings.csv with the columns run, lift [mm], station, reading [unit]",
            mend='Without readings the areas are there all the same: portviz area JOB --lifts "1 mm, 4 mm, 8 mm"',
        )
    return reduce_job(job)


def _lifts(text: str) -> list[float]:
    """Return lifts [m] from a list with commas or semicolons between them."""
    try:
        return [_lift(each) for each in text.rstrip(" ,;").split(";" if ";" in text else ",")]
    except UsageError:
        if not re.search(r"\d,\d", text):
            raise
        raise UsageError(
            f"lifts: in {shortened(text)} a comma stands between digits; write a decimal point inside a number, "
            'and give each lift its unit: "1.5 mm, 3 mm"'
        ) from None


def _lift(text: str) -> float:
    from portviz.units import parse_quantity

    try:
        lift = parse_quantity(text, "length")
    except UnitError as error:
        raise UsageError(f"lift: {error}") from None
    if lift < 0.0:
        raise UsageError(f"lift: {text.strip()} is negative; a lift is zero or more")
    return lift


def _length(text: str, name: str, *, kind: str = "length") -> float:
    """Return a length [m], or an angle [rad], that is typed with its unit; above zero."""
    from portviz.units import parse_quantity

    try:
        length = parse_quantity(text, kind)
    except UnitError as error:
        raise UsageError(f"{name}: {error}") from None
    if not length > 0.0:
        raise UsageError(f"{name}: {text.strip()} is not above zero")
    return length


def _part(text: str, name: str, least: float, most: float) -> float:
    """Return a part of a whole, typed with its unit; more than zero and within limits."""
    from portviz.units import parse_quantity

    try:
        part = parse_quantity(text, "ratio")
    except UnitError as error:
        raise UsageError(f"{name}: {error}") from None
    if not max(least, 1e-6) <= part <= most:
        span = f"from {100.0 * least:g} % to {100.0 * most:g} %" if least else f"above 0 % and up to {100.0 * most:g} %"
        raise UsageError(f"{name}: {text.strip()} can't be meant; write a part {span}")
    return part


def _direction(text: str, name: str) -> float:
    """Return a direction round the valve [deg], as a station's: a number, with or without its unit."""
    number = re.fullmatch(r"\s*([+-]?(?:\d+\.?\d*|\.\d+))\s*(?:deg|°)?\s*", text[:40], re.ASCII)
    if number is None or abs(float(number[1])) > 360.0:
        raise UsageError(f"{name}: {shortened(text)} is no direction; write degrees from -360 to 360, such as 90")
    return float(number[1])


def _runs(reduction: Reduction, name: str | None, option: str = "run") -> list[int]:
    """Return the places of the runs asked for: the named one, or all."""
    if name is None:
        return list(range(len(reduction.runs)))
    if name not in reduction.runs:
        refusal = f"{option}: there is no run {name!r}; the job has {', '.join(map(repr, reduction.runs))}."
        raise UsageError(" ".join(filter(None, (refusal, suggestion(name, reduction.runs, "'")))))
    return [reduction.runs.index(name)]


def _size(text: str) -> tuple[int, int]:
    parts = text.lower().split("x")
    if len(text) <= 20 and len(parts) == 2 and all(part.strip().isascii() and part.strip().isdigit() for part in parts):
        width, height = (int(part) for part in parts)
        if 640 <= width <= 8000 and 400 <= height <= 8000:
            return width, height
    raise UsageError(f"size: {shortened(text)} is not WIDTHxHEIGHT with 640x400 to 8000x8000 pixels, such as 1280x800")


def _say(text: str) -> None:
    print(text)


def _warn(warnings: list[str]) -> None:
    for warning in warnings:
        print(f"warning: {one_line(warning)}", file=sys.stderr)


def _print_json(document: dict[str, Any], warnings: list[str] | None = None) -> None:
    from portviz.report.machine import to_text

    _warn(warnings or [])
    print(to_text(document))


#: Letters across from which tables have room for more words.
_WIDE = 100


def _console() -> Console:
    from rich.console import Console

    console = Console(highlight=False)
    return console if console.is_terminal else Console(highlight=False, width=110)


def _print(what: Any) -> None:
    _console().print(what)
