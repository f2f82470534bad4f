"""Commands on valve and seat before metal is cut: study, find, tolerance."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from cyclopts import Parameter

from portviz.cli.application import LIMITS_HELP, AsJson, JobFolder, OneRun, Overwrite, app
from portviz.cli.arguments import (
    parse_length,
    parse_lifts,
    parse_part,
    read_folder,
    require_grid_size,
    require_own_csv,
    study_base,
)
from portviz.cli.output import console, print_json, say, show, warn
from portviz.errors import UsageError, suggestion

#: No seat is cut deeper than this [m].
MOST_CUT = 5e-3
#: What `find` can look for: what it needs, and what it takes besides.
_QUESTIONS = {
    "width": (("keep", "at"), ("hold",), 'width --keep "95 %" --at "1 mm"'),
    "cuts": (("contact",), ("width",), 'cuts --contact "39.2 mm"'),
    "throat": (("up-to",), (), 'throat --up-to "8 mm"'),
}


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
    limits: Annotated[Path | None, Parameter(help=LIMITS_HELP)] = None,
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
            help='How far a plane (piston, plug) lies below the present seat\'s edge, as "12 mm": what stays clear.',
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
    from portviz.distribution.findings import line_warnings, reach_warnings
    from portviz.distribution.heights import study_heights
    from portviz.distribution.notes import geometry_warnings, job_warnings
    from portviz.job.limits import read_limits
    from portviz.report.progress import designs_progress

    depth_m = None if cut_depth is None else parse_length(cut_depth, "cut-depth")
    if depth_m is not None and depth_m > MOST_CUT:
        raise UsageError(f"cut-depth: {cut_depth} is more than any seat is cut; at most {1e3 * MOST_CUT:g} mm")
    plane_m = None if plane is None else parse_length(plane, "plane")
    if vary is not None and designs is not None:
        raise UsageError("study: --vary and --designs are both there; take one of the two away")
    if vary is None and designs is None:
        raise UsageError(
            'study: name what to vary, --vary "seat.width=1.0:2.4:0.1 mm", or a file, --designs designs.toml'
        )
    if csv is not None:
        from portviz.job.write import require_free

        require_free(csv, overwrite=overwrite)
        require_own_csv(csv, job, designs, limits)
    if chart is not None:
        from portviz.job.write import require_free
        from portviz.scene.paper import require_ending

        require_ending(chart, "chart")
        require_free(chart, overwrite=overwrite)
        if csv is not None and chart.resolve() == csv.resolve():
            raise UsageError(f"csv: {csv} is the chart's name too; give each its own")
    read = read_folder(job)
    base = study_base(read, run)
    at = parse_lifts(lifts) if lifts is not None else base.lifts
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
        require_grid_size(variations, len(at), rows=(csv is not None) + 2 * json, yes=yes)
        made = varied_designs(read, variations, holds)
    from portviz.distribution.study import study_designs

    with designs_progress(len(made.names)) as progress:
        found = study_designs(read, made, at, coefficients=base.coefficients, event=base.event, progress=progress)
    heights = None
    if depth_m is not None or plane_m is not None:
        heights = study_heights(found, depth_m, plane_m, base.event)
    warnings = [*geometry_warnings(read, found.profiles.take(slice(0, 1))), *job_warnings(read)]
    warnings += [*reach_warnings(found, base.event), *line_warnings(found)]
    if csv is not None:
        from portviz.job.write import write_stream
        from portviz.report.study import write_study_csv

        write_stream(csv, lambda out: write_study_csv(found, out, heights), overwrite=overwrite)
    if chart is not None:
        from functools import partial

        from portviz.report.study_tables import design_label
        from portviz.scene.study_charts import write_study_chart

        write_study_chart(found, usual, usual_name, partial(design_label, found), chart, overwrite=overwrite)
    if json:
        from portviz.report.study import study_document

        print_json(study_document(found, usual, warnings, heights), warnings)
        return
    from portviz.report.study_tables import study_tables

    warn(warnings)
    show(study_tables(found, usual, usual_name, heights, console().width))
    for file in (csv, chart):
        if file is not None:
            say(f"Written: {file}")


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
    limits: Annotated[Path | None, Parameter(help=LIMITS_HELP)] = None,
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

    part = None if keep is None else parse_part(keep, "keep", 0.01, 2.0)
    typed = {name: text for name, text in options.items() if name not in ("keep", "hold")}
    lengths = {name: parse_length(text, name) for name, text in typed.items() if text is not None}
    read = read_folder(job)
    base = study_base(read, run)
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
        print_json(inverse_document(answer, usual, warnings), warnings)
        return
    warn(warnings)
    show(inverse_tables(answer, usual, usual_name))


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
    length_m, angle_rad = parse_length(length, "length"), parse_length(angle, "angle", kind="angle")
    at = None if lifts is None else parse_lifts(lifts)
    from portviz.distribution.areas import job_profiles
    from portviz.distribution.tolerance import tolerance_study
    from portviz.report.progress import designs_progress
    from portviz.report.tolerance import tolerance_document, tolerance_tables

    read = read_folder(job)
    profiles = job_profiles(read)
    with designs_progress(samples) as progress:
        found = tolerance_study(
            read, at or study_base(read, None).lifts, length_m, angle_rad, samples, progress=progress
        )
    warnings = [*geometry_warnings(read, profiles), *job_warnings(read)]
    if json:
        print_json(tolerance_document(found, warnings), warnings)
        return
    warn(warnings)
    show(tolerance_tables(found))
