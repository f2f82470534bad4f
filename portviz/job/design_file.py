"""Named designs of valve and seat: designs.toml, each what it changes of job.toml."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from portviz.errors import JobError, shortened, suggestion
from portviz.job.model import JOB_FILE, Job
from portviz.job.read import read_toml, with_valve_and_seat
from portviz.job.schema import validate_job_table

MOST_DESIGNS = 200
#: The name of the job as it stands, among designs.
PRESENT = "present"
#: Parts that a design may leave away, by the word false.
_OPTIONAL = {("valve", "back_cut"), ("seat", "top_cut")}


@dataclass(frozen=True)
class NamedDesign:
    """One design of a designs.toml.

    Parameters
    ----------
    name : str
    job : Job
        The job with the design's valve and seat.
    named : tuple of str
        The keys that it names, as in job.toml; those of a cut each for itself.
    """

    name: str
    job: Job
    named: tuple[str, ...]


def read_designs(path: str | Path, job: Job) -> tuple[NamedDesign, ...]:
    """Return the designs of a file.

    Parameters
    ----------
    path : str or Path
        From where one stands, or else from the job's folder; with tables [[design]], each with a name and what it
        changes of [valve] and [seat].
    job : Job
        Whose job.toml they change.

    Raises
    ------
    JobError
        For anything that can't be understood, by design and key.
    """
    path = Path(path)
    if not path.exists() and not path.is_absolute() and (job.folder / path).exists():
        # A plain name is mostly that of the job's own file.
        path = job.folder / path
    raw = read_toml(path)
    own = read_toml(job.folder / JOB_FILE)
    designs = raw.get("design")
    unknown = [key for key in raw if key not in ("format", "design")]
    if unknown:
        raise JobError(
            "unknown key",
            file=path.name,
            place=unknown[0],
            expected="format = 1 and tables [[design]]",
            mend=suggestion(unknown[0], ("format", "design")),
        )
    if raw.get("format", 1) != 1:
        raise JobError("this format is not known", file=path.name, place="format", value=raw["format"], expected="1")
    if not isinstance(designs, list) or not designs or not all(isinstance(each, dict) for each in designs):
        raise JobError(
            "there are no designs",
            file=path.name,
            expected='tables such as [[design]] with name = "narrow seat" and seat.width = "1.2 mm"',
        )
    if len(designs) > MOST_DESIGNS:
        raise JobError(f"there are {len(designs)} designs", file=path.name, expected=f"at most {MOST_DESIGNS}")
    found = tuple(_design(path.name, number, design, own, job) for number, design in enumerate(designs, start=1))
    names = [design.name for design in found]
    for number, name in enumerate(names):
        if name in names[:number]:
            raise JobError(
                "two designs have this name", file=path.name, place=f"design {number + 1}", value=name, mend="Name each"
            )
    return found


def _design(file: str, number: int, design: dict[str, Any], own: dict[str, Any], job: Job) -> NamedDesign:
    name = design.get("name")
    place = f"design {number}" + (f" ({shortened(name)})" if isinstance(name, str) else "")
    if not isinstance(name, str) or not name.strip() or len(name) > 200:
        raise JobError("this design needs a name", file=file, place=place, value=name, expected='name = "narrow seat"')
    if not name.strip().isprintable():
        raise JobError(
            "this name holds signs that can't be seen", file=file, place=place, value=name, mend="Type it anew"
        )
    if name.strip().lower() == PRESENT:
        raise JobError(
            "this name stands for the job as it stands", file=file, place=place, value=name, mend="Choose another name"
        )
    changed = {key: value for key, value in design.items() if key != "name"}
    for key, value in changed.items():
        if key not in ("valve", "seat") or not isinstance(value, dict):
            raise JobError(
                "a design changes the valve and the seat alone",
                file=file,
                place=f"{place}, {key}",
                value=None if isinstance(value, dict) else value,
                expected='keys such as seat.width = "1.2 mm" or valve.head_diameter = "42 mm"',
            )
    if not changed:
        raise JobError(
            "this design changes nothing", file=file, place=place, expected='keys such as seat.width = "1.2 mm"'
        )
    try:
        table = validate_job_table(_merged(own, changed))
    except JobError as error:
        raise JobError(
            error.problem,
            file=file,
            place=f"{place}, {error.place}" if error.place else place,
            value=error.value,
            expected=error.expected,
            mend=error.mend,
        ) from None
    changed_job = with_valve_and_seat(job, table)
    return NamedDesign(name.strip(), changed_job, tuple(_keys(changed)))


def _merged(own: Mapping[str, Any], changed: Mapping[str, Any], above: tuple[str, ...] = ()) -> dict[str, Any]:
    """Return job.toml's content with what a design changes; a cut may be changed in part, and left away by false."""
    merged = dict(own)
    for key, value in changed.items():
        if value is False and (*above, key) in _OPTIONAL:
            merged.pop(key, None)
        elif isinstance(value, dict) and isinstance(merged.get(key), dict):
            merged[key] = _merged(merged[key], value, (*above, key))
        else:
            merged[key] = value
    return merged


def _keys(changed: Mapping[str, Any], above: str = "") -> Iterator[str]:
    """Yield the keys that a design names, those of cuts each for itself."""
    for key, value in changed.items():
        path = f"{above}{key}"
        if isinstance(value, dict):
            yield from _keys(value, f"{path}.")
        elif value is False:
            yield f"{path}.width"
        elif isinstance(value, list):
            for number in range(1, len(value) + 1):
                yield from (f"{path}[{number}].angle", f"{path}[{number}].width")
        else:
            yield path
