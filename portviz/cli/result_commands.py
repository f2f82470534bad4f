"""Commands on what was measured: summary, compare, distortion, plan, event."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from portviz.cli.application import AsJson, JobFolder, Overwrite, RunName, app
from portviz.cli.arguments import (
    chosen_runs,
    parse_direction,
    parse_lift,
    parse_part,
    parse_size,
    read_folder,
    reduced,
    require_own_csv,
)
from portviz.cli.output import WIDE, console, print_json, say, show, warn
from portviz.errors import UsageError


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
        require_own_csv(csv, job)
    reduction = reduced(read_folder(job))
    runs = chosen_runs(reduction, run)
    warnings = reduction_warnings(reduction)
    uncertainty = reduction_uncertainty(reduction, samples=monte_carlo, runs=runs)
    if csv is not None:
        from portviz.job.write import write_text
        from portviz.report.rows import summary_csv

        write_text(csv, summary_csv(reduction, runs, uncertainty), overwrite=overwrite)
    if json:
        from portviz.report.machine import summary_document

        print_json(summary_document(reduction, runs, warnings, uncertainty), warnings)
        return
    from portviz.report.tables import summary_tables

    warn(warnings)
    wide = console().width >= WIDE
    show(summary_tables(reduction, runs, uncertainty, stations=stations, wide=wide))
    if csv is not None:
        say(f"Written: {csv}")


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

    width, height = parse_size(size)
    lift_m = None if lift is None else parse_lift(lift)
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
    first = reduced(read_folder(job))
    one_job = job_b is None or job_b.resolve() == job.resolve()
    second = first if one_job or job_b is None else reduced(read_folder(job_b))
    place_a, place_b = chosen_runs(first, run_a)[0], chosen_runs(second, run_b)[0]
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
        print_json(comparison_document(comparison, warnings), warnings)
        return
    warn(warnings)
    show(comparison_tables(comparison, stations=stations))
    for file in written:
        say(f"Written: {file}")
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

    directions = {"toward_deg": parse_direction(toward, "toward"), "axis_deg": parse_direction(axis, "axis")}
    reduction = reduced(read_folder(job))
    runs = chosen_runs(reduction, run)
    warnings = reduction_warnings(reduction)
    found = measured(reduction, linear_uncertainty(reduction), **directions)
    if json:
        print_json(distortion_document(reduction, found, runs, warnings), warnings)
        return
    warn(warnings)
    show(distortion_tables(reduction, found, runs, wide=console().width >= WIDE))


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

    part, chance = parse_part(change, "change", 0.0, 1.0), parse_part(power, "power", 0.5, 0.999)
    reduction = reduced(read_folder(job))
    runs = chosen_runs(reduction, run)
    planned = plan_repeats(reduction, linear_uncertainty(reduction), part, chance)
    warnings = [*plan_warnings(reduction, planned, runs), *reduction_warnings(reduction)]
    if json:
        print_json(plan_document(reduction, planned, runs, warnings), warnings)
        return
    warn(warnings)
    show(plan_tables(reduction, planned, runs))


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
        require_own_csv(csv, job)
        if chart is not None and chart.resolve() == csv.resolve():
            raise UsageError(f"csv: {csv} is the chart's name too; give each its own")
    reduction = reduced(read_folder(job))
    runs = chosen_runs(reduction, run)
    first = 0 if against is None else chosen_runs(reduction, against, "against")[0]
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

        print_json(event_document(events, shown, comparisons, warnings), warnings)
        return
    from portviz.report.event_tables import event_tables

    warn(warnings)
    show(event_tables(events, shown, comparisons))
    for file in written:
        say(f"Written: {file}")
