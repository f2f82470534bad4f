"""What commands take from the command line and from a job's files; typed text becomes SI here."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from portviz.errors import JobError, UnitError, UsageError, shortened, suggestion

if TYPE_CHECKING:
    from portviz.distribution.reduce import Reduction
    from portviz.distribution.study import StudyBase
    from portviz.job.model import Job

#: More designs than this are refused whatever is said.
MOST_DESIGNS = 2_000_000


def read_folder(folder: Path, *, tables: bool = True) -> Job:
    """Return the job of a folder."""
    from portviz.job.read import read_job

    return read_job(folder, tables=tables)


def reduced(job: Job) -> Reduction:
    """Return a job's results; without readings it is told what is there all the same."""
    from portviz.distribution.reduce import reduce_job

    if job.readings is None:
        raise JobError(
            "there are no readings",
            file=str(job.folder),
            expected="readings.csv with the columns run, lift [mm], station, reading [unit]",
            mend='Without readings the areas are there all the same: portviz area JOB --lifts "1 mm, 4 mm, 8 mm"',
        )
    return reduce_job(job)


def chosen_runs(reduction: Reduction, name: str | None, option: str = "run") -> list[int]:
    """Return the places of the runs asked for: the named one, or all."""
    if name is None:
        return list(range(len(reduction.runs)))
    if name not in reduction.runs:
        refusal = f"{option}: there is no run {name!r}; the job has {', '.join(map(repr, reduction.runs))}."
        raise UsageError(" ".join(filter(None, (refusal, suggestion(name, reduction.runs, "'")))))
    return [reduction.runs.index(name)]


def study_base(job: Job, run: str | None) -> StudyBase:
    """Return what a study takes from the job's files: coefficients of a run, the event, and lifts to look at."""
    from portviz.distribution.areas import job_profiles
    from portviz.distribution.cam_event import cam_event
    from portviz.distribution.study import StudyBase, run_coefficients, usual_lifts
    from portviz.distribution.uncertainty import linear_uncertainty

    job_profiles(job)
    coefficients = None
    if job.readings is not None:
        reduction = reduced(job)
        place = chosen_runs(reduction, run)[0]
        coefficients = run_coefficients(reduction, linear_uncertainty(reduction), place)
    elif run is not None:
        raise UsageError(f"run: {run!r} can't be found, since the job has no readings")
    event = None if job.cam is None else cam_event(job)
    return StudyBase(coefficients, event, usual_lifts(job, coefficients))


def design_job(job: Job, file: Path | None, name: str | None, option: str = "design") -> tuple[str, Job]:
    """Return the name and the job of a design; the job as it stands, "present", where none is named.

    Raises
    ------
    UsageError
        If there is no such design, with the nearest name.
    JobError
        If its dimensions make no valve and seat.
    """
    from portviz.distribution.areas import job_profiles
    from portviz.job.design_file import PRESENT, read_designs

    job_profiles(job)
    if file is None:
        if name in (None, PRESENT):
            return PRESENT, job
        raise UsageError(f"{option}: {name!r} needs the file that holds it: --designs designs.toml")
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


def parse_lifts(text: str) -> list[float]:
    """Return lifts [m] from a list with commas or semicolons between them."""
    try:
        return [parse_lift(each) for each in text.rstrip(" ,;").split(";" if ";" in text else ",")]
    except UsageError:
        if not re.search(r"\d,\d", text):
            raise
        raise UsageError(
            f"lifts: in {shortened(text)} a comma stands between digits; write a decimal point inside a number, "
            'and give each lift its unit: "1.5 mm, 3 mm"'
        ) from None


def parse_lift(text: str) -> float:
    """Return a lift [m] from a number with its unit."""
    from portviz.units import parse_quantity

    try:
        lift = parse_quantity(text, "length")
    except UnitError as error:
        raise UsageError(f"lift: {error}") from None
    if lift < 0.0:
        raise UsageError(f"lift: {text.strip()} is negative; a lift is zero or more")
    return lift


def parse_length(text: str, name: str, *, kind: str = "length") -> float:
    """Return a length [m], or an angle [rad], that is typed with its unit; above zero."""
    from portviz.units import parse_quantity

    try:
        length = parse_quantity(text, kind)
    except UnitError as error:
        raise UsageError(f"{name}: {error}") from None
    if not length > 0.0:
        raise UsageError(f"{name}: {text.strip()} is not above zero")
    return length


def parse_part(text: str, name: str, least: float, most: float) -> float:
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


def parse_direction(text: str, name: str) -> float:
    """Return a direction round the valve [deg], as a station's: a number, with or without its unit."""
    number = re.fullmatch(r"\s*([+-]?(?:\d+\.?\d*|\.\d+))\s*(?:deg|°)?\s*", text[:40], re.ASCII)
    if number is None or abs(float(number[1])) > 360.0:
        raise UsageError(f"{name}: {shortened(text)} is no direction; write degrees from -360 to 360, such as 90")
    return float(number[1])


def parse_size(text: str) -> tuple[int, int]:
    """Return width and height [pixels] from WIDTHxHEIGHT."""
    parts = text.lower().split("x")
    if len(text) <= 20 and len(parts) == 2 and all(part.strip().isascii() and part.strip().isdigit() for part in parts):
        width, height = (int(part) for part in parts)
        if 640 <= width <= 8000 and 400 <= height <= 8000:
            return width, height
    raise UsageError(f"size: {shortened(text)} is not WIDTHxHEIGHT with 640x400 to 8000x8000 pixels, such as 1280x800")


def require_date(text: str) -> None:
    """Raise UsageError where a text is no date such as 2026-11-25."""
    from datetime import date

    try:
        if len(text) != len("2026-11-25"):
            raise ValueError
        date.fromisoformat(text)
    except ValueError:
        raise UsageError(f'date: {shortened(text)} is no date; write year-month-day, such as "2026-11-25"') from None


def require_grid_size(variations: dict[str, Any], lifts: int, *, rows: int, yes: bool) -> None:
    """Raise UsageError where a grid would take long or much memory, unless that is wanted."""
    from portviz.distribution.study import study_cost

    count = 1
    for values in variations.values():
        count *= len(values)
    seconds, memory = study_cost(count, lifts, rows=rows)
    if count > MOST_DESIGNS:
        raise UsageError(f"study: {count:,} designs are too many; at most {MOST_DESIGNS:,}: take larger steps")
    if not yes and (seconds > 60.0 or memory > 2**30):
        raise UsageError(
            f"study: {count:,} designs x {lifts} lifts would take about {max(seconds / 60.0, 0.1):.1f} minutes and "
            f"{memory / 2**20:,.0f} MB; add --yes to go on, or take larger steps"
        )


def require_own_csv(path: Path, job: Path, *others: Path | None, option: str = "csv") -> None:
    """Raise UsageError where results would pass for a workbook, or take the place of what the job is read from."""
    if path.suffix.lower() in (".xlsx", ".xls", ".ods"):
        raise UsageError(
            f"{option}: {path.name!r} is the name of a workbook; this table is text, so let it end in .csv"
        )
    folder = job if job.is_dir() else job.parent
    names = ("job.toml", "readings.csv", "flow.csv", "cam.csv", "limits.csv", "designs.toml")
    own = path.name.lower() in names and path.resolve().parent == folder.resolve()
    if own or path.resolve() in {each.resolve() for each in others if each is not None}:
        raise UsageError(f"{option}: {path} is one of the files that the job is read from; choose another name")
