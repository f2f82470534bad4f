"""Commands that draw: view, film, section, sheet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from portviz.cli.application import FIELD_HELP, DesignFile, JobFolder, OneRun, Overwrite, app
from portviz.cli.arguments import chosen_runs, design_job, parse_lift, parse_size, read_folder, reduced, require_date
from portviz.cli.output import say, warn
from portviz.errors import UsageError

if TYPE_CHECKING:
    from portviz.job.design_file import NamedDesign


@app.command
def view(
    job: JobFolder,
    /,
    *,
    run: OneRun = None,
    lift: Annotated[
        str | None, Parameter(allow_leading_hyphen=True, help='The lift to begin with, such as "8 mm".')
    ] = None,
    field: Annotated[str, Parameter(help=FIELD_HELP)] = "velocity",
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
    width, height = parse_size(size)
    lift_m = None if lift is None else parse_lift(lift)
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
    read = read_folder(job)
    named: tuple[NamedDesign, ...] = ()
    if designs is not None:
        from portviz.job.design_file import read_designs

        named = read_designs(designs, read)
    reduction = reduced(read)
    place = chosen_runs(reduction, run)[0]
    from portviz.distribution.notes import reduction_warnings

    warn(reduction_warnings(reduction, quality=False))
    state = view_state(reduction, place, lift_m, field, camera)
    if picture is not None:
        from portviz.scene.picture import write_picture

        say(f"Written: {write_picture(state, picture, (width, height), probe, overwrite=overwrite)}")
        return 0
    if designs is not None:
        from portviz.scene.design_set import design_set, opening_lift
        from portviz.scene.design_switch import open_design_window

        shown = design_set(read, named)
        warn(list(shown.refused))
        if lift_m is None:
            state = state.changed(lift=opening_lift(state, shown))
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
    field: Annotated[str, Parameter(help=FIELD_HELP)] = "velocity",
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
    shape = parse_size(size)
    require_film_options(file, shape, seconds, slow, rate, beside=beside is not None)
    require_free(file, overwrite=overwrite)
    read = read_folder(job)
    plan = film_plan(read, cam_event(read), file.suffix.lower(), seconds, slow, rate)
    reduction = reduced(read)
    places = [chosen_runs(reduction, run)[0], *([] if beside is None else chosen_runs(reduction, beside, "beside"))]
    if len(set(places)) < len(places):
        raise UsageError(f"beside: run {beside!r} is the one shown already; name another")
    warn(reduction_warnings(reduction, quality=False))
    probe = start_probe(off_screen=True)
    written = write_film(reduction, places, field, camera, plan, file, shape, probe, overwrite=overwrite)
    say(f"Written: {written} ({plan.frames} frames, {plan.seconds:.2f} s)")


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
    lift_m = parse_lift(lift)
    require_free(file, overwrite=overwrite)
    read = read_folder(job, tables=False)
    if lift_m > read.valve.head_diameter:
        raise UsageError(f"lift: {lift.strip()} is more than the valve head's diameter; no valve opens so far")
    chosen = design_job(read, designs, design)
    other = None if against is None else design_job(read, designs, against, "against")
    if other is not None and other[0] == chosen[0]:
        raise UsageError(f"against: {against!r} can't be drawn over itself; name another design")
    from portviz.scene.section_drawing import write_section
    from portviz.scene.section_parts import design_section

    drawn = design_section(chosen[1], chosen[0], lift_m)
    over = None if other is None else design_section(other[1], other[0], lift_m)
    warn(geometry_warnings(chosen[1], drawn.profiles))
    say(f"Written: {write_section(drawn, over, file, overwrite=overwrite)}")


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
    from portviz.job.design_file import read_designs
    from portviz.job.limits import read_limits
    from portviz.job.write import require_free
    from portviz.scene.paper import require_ending
    from portviz.scene.section_parts import design_section
    from portviz.scene.shop_sheet import SHEET_ENDINGS, sheet_lines, sheet_warnings, write_sheet

    require_ending(file, "FILE", SHEET_ENDINGS)
    if date is not None:
        require_date(date)
    require_free(file, overwrite=overwrite)
    read = read_folder(job, tables=False)
    usual, usual_name = read_limits(read, limits)
    name, chosen = design_job(read, designs, design)
    named = [] if designs is None else [each for each in read_designs(designs, read) if each.name == name]
    # Beside the present design: some findings are about what changes.
    found = study_designs(read, named_designs(read, named), usual_lifts(read, None))
    drawn, present = design_section(chosen, name, 0.0), design_section(read, "present", 0.0)
    place = found.count - 1
    written = write_sheet(drawn, found, place, usual, usual_name, file, date=date, present=present, overwrite=overwrite)
    warn(sheet_warnings(drawn))
    for line in sheet_lines(drawn, found, place, usual, usual_name, present):
        say(line)
    say(f"Written: {written}")
