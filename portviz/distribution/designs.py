"""Designs of valve and seat for a study: the job's own, and what is changed of it, many at once."""

from __future__ import annotations

import itertools
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from portviz.defaults import FACE_OVER_SEAT_WIDTH
from portviz.errors import UnitError, UsageError, shortened, suggestion
from portviz.geometry.contact import seat_contact
from portviz.geometry.dimensions import Array, Dimensions
from portviz.job.design_file import NamedDesign
from portviz.job.model import Cut, Job
from portviz.job.schema import GAS_PRESSURES, SEAT_FORCES
from portviz.units import in_unit, require_magnitude, unit_factor

#: Every key of job.toml that a study may change, with the kind of its unit; cuts of the seat besides.
KEYS: dict[str, str] = {
    "valve.head_diameter": "length",
    "valve.stem_diameter": "length",
    "valve.face_angle": "angle",
    "valve.face_width": "length",
    "valve.margin": "length",
    "valve.back_cut.angle": "angle",
    "valve.back_cut.width": "length",
    "valve.underhead_angle": "angle",
    "valve.fillet_radius": "length",
    "valve.seat_force": "force",
    "valve.gas_pressure": "pressure",
    "seat.angle": "angle",
    "seat.width": "length",
    "seat.outer_diameter": "length",
    "seat.top_cut.angle": "angle",
    "seat.top_cut.width": "length",
    "seat.throat_diameter": "length",
}
_BOTTOM_CUT = re.compile(r"seat\.bottom_cuts(?:\[(\d{1,2})\]|\.(\d{1,2}))\.(angle|width)", re.ASCII)
#: What may be held while other dimensions change.
HOLDS = ("outer", "contact", "inner", "throat")
#: Halvings of the seat's outer radius that hold a contact diameter: far below a nanometre.
_HALVINGS = 60

#: Values that one key may take.
MOST_VALUES = 100_000
_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_RANGE = re.compile(
    rf"(?P<from>{_NUMBER})\s*:\s*(?P<to>{_NUMBER})\s*:\s*(?P<step>{_NUMBER})\s*(?P<unit>[^\d\s,:.+-].*)", re.ASCII
)
_LIST = re.compile(rf"(?P<values>{_NUMBER}(?:\s*,\s*{_NUMBER})*)\s*(?P<unit>[^\d\s,:.+-].*)")
_EXAMPLES = {
    "length": "1.0:2.4:0.1 mm",
    "angle": "30:46:1 deg",
    "force": "200:400:50 N",
    "pressure": "40:80:10 bar",
}

Values = Mapping[str, Array]


@dataclass(frozen=True)
class Designs:
    """N designs, the first one the job as it stands.

    Parameters
    ----------
    names : tuple of (str or None), length N
    changes : tuple of dict of str to float, length N
        What is changed of each, in SI, by its key in job.toml.
    values : dict of str to ndarray, shape (N,)
        Every key's value in SI; NaN where the design has no such part, or leaves it to its default.
    dimensions : Dimensions
    holds : tuple of str
        What was held, of `HOLDS`.
    """

    names: tuple[str | None, ...]
    changes: tuple[dict[str, float], ...]
    values: dict[str, Array]
    dimensions: Dimensions
    holds: tuple[str, ...] = ()

    def named_changes(self, place: int) -> dict[str, float]:
        """Return what was asked to change of a design, without what had to follow for something to be held."""
        follows = {"seat.outer_diameter"} if set(self.holds) - {"throat"} else set()
        return {key: value for key, value in self.changes[place].items() if key not in follows}


def key_kind(key: str, job: Job) -> tuple[str, str]:
    """Return a key in its proper spelling, and the kind of its unit.

    Raises
    ------
    UsageError
        If no such dimension can be changed, with the nearest name; or if the job has no such cut.
    """
    plain = key.strip().lower()
    cut = _BOTTOM_CUT.fullmatch(plain)
    if cut is not None:
        number, count = int(cut[1] or cut[2]), len(job.seat.bottom_cuts)
        if not 1 <= number <= count:
            raise UsageError(
                f"vary: {key!r} is none of the job's bottom cuts; it has {count}, counted from 1 at the seat"
            )
        return f"seat.bottom_cuts[{number}].{cut[3]}", "angle" if cut[3] == "angle" else "length"
    if plain in KEYS:
        part = plain.rpartition(".")[0]
        missing = {
            "valve.back_cut": job.valve.back_cut,
            "seat.top_cut": job.seat.top_cut,
        }
        if part in missing and missing[part] is None:
            raise UsageError(f"vary: the job has no {part}; add one to job.toml, or name designs in a designs.toml")
        return plain, KEYS[plain]
    known = [*KEYS, *(f"seat.bottom_cuts[{n + 1}].width" for n in range(len(job.seat.bottom_cuts)))]
    by_last = [each for each in known if each.rpartition(".")[2] == plain.rpartition(".")[2]]
    near = f"Did you mean {by_last[0]}?" if len(by_last) == 1 else suggestion(plain, known)
    refusal = f"vary: {key!r} is no dimension of valve or seat in job.toml."
    raise UsageError(" ".join(filter(None, (refusal, near))))


def own_values(job: Job) -> dict[str, float]:
    """Return the job's own value of every key in SI; NaN where it is left to its default, or there is no such part."""
    valve, seat = job.valve, job.seat
    none = Cut(np.nan, np.nan)
    back, top = valve.back_cut or none, seat.top_cut or none
    values = {
        "valve.head_diameter": valve.head_diameter,
        "valve.stem_diameter": valve.stem_diameter,
        "valve.face_angle": valve.face_angle,
        "valve.face_width": valve.face_width,
        "valve.margin": valve.margin,
        "valve.back_cut.angle": back.angle,
        "valve.back_cut.width": back.width,
        "valve.underhead_angle": valve.underhead_angle,
        "valve.fillet_radius": valve.fillet_radius,
        "valve.seat_force": np.nan if valve.seat_force is None else valve.seat_force,
        "valve.gas_pressure": np.nan if valve.gas_pressure is None else valve.gas_pressure,
        "seat.angle": seat.angle,
        "seat.width": seat.width,
        "seat.outer_diameter": seat.outer_diameter,
        "seat.top_cut.angle": top.angle,
        "seat.top_cut.width": top.width,
        "seat.throat_diameter": seat.throat_diameter,
    }
    for number, cut in enumerate(seat.bottom_cuts, start=1):
        values[f"seat.bottom_cuts[{number}].angle"] = cut.angle
        values[f"seat.bottom_cuts[{number}].width"] = cut.width
    return values | dict.fromkeys(job.unnamed, np.nan)


def own_dimensions(job: Job) -> Dimensions:
    """Return the job's own valve and seat as one design."""
    return design_dimensions({key: np.array([value]) for key, value in own_values(job).items()})


def varied_designs(job: Job, variations: Mapping[str, Array], holds: Sequence[str] = ()) -> Designs:
    """Return the job as it stands and every combination of varied values, the last key changing fastest.

    Parameters
    ----------
    job : Job
    variations : dict of str to ndarray
        Values in SI by key.
    holds : sequence of str
        Of `HOLDS`: what stays at the job's own value. "outer", "contact" (the middle of the contact band) and
        "inner" (the band's inner edge) set the seat's outer diameter.

    Raises
    ------
    UsageError
        If holds contradict each other or what is varied.
    """
    require_holds(holds, variations)
    own = own_values(job)
    combinations = list(itertools.product(*variations.values())) if variations else []
    grid = np.array(combinations, dtype=float).reshape(len(combinations), len(variations))
    count = len(grid) + 1
    values = {key: np.full(count, value) for key, value in own.items()}
    for column, key in enumerate(variations):
        values[key] = np.concatenate([values[key][:1], grid[:, column]])
    changes = [{}, *(dict(zip(variations, row, strict=True)) for row in grid.tolist())]
    return held_designs(job, (None,) * count, tuple(changes), values, holds)


def named_designs(job: Job, named: Sequence[NamedDesign], holds: Sequence[str] = ()) -> Designs:
    """Return the job as it stands, and the designs of a file."""
    for design in named:
        require_holds(holds, dict.fromkeys(design.named))
    rows = [own_values(each) for each in (job, *(design.job for design in named))]
    keys = list(dict.fromkeys(key for row in rows for key in row))
    values = {key: np.array([row.get(key, np.nan) for row in rows]) for key in keys}
    changes: list[dict[str, float]] = [{}]
    own_cuts = len(job.seat.bottom_cuts)
    for design, row in zip(named, rows[1:], strict=True):
        # A part that is left away has no width.
        gone = [f"seat.bottom_cuts[{n + 1}].width" for n in range(len(design.job.seat.bottom_cuts), own_cuts)]
        changes.append({key: 0.0 if np.isnan(row.get(key, np.nan)) else row[key] for key in (*design.named, *gone)})
    return held_designs(job, (None, *(design.name for design in named)), tuple(changes), values, holds)


def parse_variation(text: str, job: Job) -> tuple[str, Array]:
    """Return the key and the values in SI of ``"seat.width=1.0:2.4:0.1 mm"``.

    Parameters
    ----------
    text : str
        KEY=FROM:TO:STEP UNIT, or KEY=VALUE, VALUE, ... UNIT.
    job : Job

    Raises
    ------
    UsageError
        For anything that can't be understood.
    """
    key, equals, typed = text.partition("=")
    if not equals:
        raise UsageError(f'vary: {shortened(text)} is no variation; write it like "seat.width=1.0:2.4:0.1 mm"')
    name, kind = key_kind(key, job)
    typed = typed.strip().strip("\"'").strip()
    match = _RANGE.fullmatch(typed) or _LIST.fullmatch(typed)
    if match is not None and re.match(r"[+-]?\d+,\d+\s*[^\d\s,.]", typed):
        raise UsageError(
            f"vary: in {shortened(typed)} of {name} a comma stands between digits; write a decimal point if it is one "
            "number, and a blank behind the comma if they are two"
        )
    if match is None:
        example = f"{name}={_EXAMPLES[kind]}"
        raise UsageError(
            f'vary: {shortened(typed)} of {name} can\'t be understood; write FROM:TO:STEP UNIT, as in "{example}", or '
            "values with commas between them and one unit behind"
        )
    unit = match["unit"]
    try:
        if "step" in match.groupdict():
            numbers = _steps(name, *(float(match[part]) for part in ("from", "to", "step")))
        else:
            numbers = np.array([float(each) for each in match["values"].split(",")])
        values = numbers * unit_factor(unit, kind)
        for value in (values.min(), values.max()):
            require_magnitude(float(value), unit, kind, f"{value / unit_factor(unit, kind):g} {unit}")
            _require_load(name, float(value), unit, kind)
    except UnitError as error:
        raise UsageError(f"vary: {name}: {error}") from None
    return name, values


def _require_load(key: str, value: float, unit: str, kind: str) -> None:
    """Raise UsageError for a force or a gas pressure that job.toml would refuse too."""
    limits = {"force": SEAT_FORCES, "pressure": GAS_PRESSURES}.get(kind)
    if limits is not None and not limits[0] <= value <= limits[1]:
        low, high = (f"{in_unit(each, unit, kind):.4g} {unit}" for each in limits)
        raise UsageError(f"vary: {key} lies between {low} and {high}, not at {in_unit(value, unit, kind):g} {unit}")


def _steps(name: str, first: float, last: float, step: float) -> Array:
    if not np.isfinite([first, last, step]).all():
        raise UsageError(
            f"vary: {name} runs from {first:g} to {last:g} in steps of {step:g}; these are no finite numbers"
        )
    if not step > 0.0:
        raise UsageError(f"vary: the step of {name} is {step:g}; it must be larger than zero")
    if last < first:
        raise UsageError(f"vary: {name} runs from {first:g} to {last:g}; write the smaller one first")
    count = (last - first) / step
    if count > MOST_VALUES:
        raise UsageError(f"vary: {name} would have {count:.3g} values; at most {MOST_VALUES:,} can be told apart")
    # Values as a person would write them: no 1.2000000000000002.
    return np.round(first + step * np.arange(int(count + 1e-9) + 1), 12)


def held_designs(
    job: Job,
    names: tuple[str | None, ...],
    changes: tuple[dict[str, float], ...],
    values: dict[str, Array],
    holds: Sequence[str],
) -> Designs:
    """Return designs of given values, with what is held put at the job's own; the first is the job's own."""
    if "throat" in holds:
        values["seat.throat_diameter"] = np.full_like(values["seat.throat_diameter"], job.seat.throat_diameter)
    for hold in set(holds) - {"throat"}:
        outer = _held_outer_diameter(job, values, hold)
        outer[0] = values["seat.outer_diameter"][0]
        default = values["valve.head_diameter"] if "seat.outer_diameter" in job.unnamed else job.seat.outer_diameter
        moved = np.abs(outer - default) > 1e-12
        for place in np.flatnonzero(moved[1:]) + 1:
            changes[place]["seat.outer_diameter"] = float(outer[place])
        values["seat.outer_diameter"] = outer
    return Designs(names, changes, values, design_dimensions(values), tuple(holds))


def require_holds(holds: Sequence[str], changed: Mapping[str, object]) -> None:
    """Raise UsageError where holds contradict each other or what is changed."""
    for hold in holds:
        if hold not in HOLDS:
            near = suggestion(hold, HOLDS)
            raise UsageError(
                " ".join(filter(None, (f"hold: {hold!r} can't be held; only {', '.join(HOLDS)} can.", near)))
            )
    by_outer = [hold for hold in dict.fromkeys(holds) if hold != "throat"]
    if len(by_outer) > 1:
        raise UsageError(
            f"hold: {' and '.join(by_outer)} contradict each other; each of them sets the seat's outer diameter: "
            "name one"
        )
    for hold, key in (*((each, "seat.outer_diameter") for each in by_outer), ("throat", "seat.throat_diameter")):
        if hold in holds and key in changed:
            raise UsageError(f"hold: {hold} can't be held while {key} is varied; take one of the two away")


def _held_outer_diameter(job: Job, values: dict[str, Array], hold: str) -> Array:
    """Return the seat's outer diameters that hold an edge or the contact's middle at the job's own place."""
    own = own_dimensions(job)
    count = len(values["seat.width"])
    if hold == "outer":
        return np.full(count, 2.0 * own.seat_outer_radius[0])
    width = values["seat.width"] * np.cos(values["seat.angle"])
    if hold == "inner":
        return np.asarray(2.0 * (own.seat_inner_radius[0] + width))
    contact = seat_contact(own)
    wanted = 0.5 * float(contact.pressed_inner_radius[0] + contact.pressed_outer_radius[0])
    low, high = np.full(count, wanted), wanted + 2.0 * width
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        found = seat_contact(design_dimensions({**values, "seat.outer_diameter": 2.0 * middle}))
        short = 0.5 * (found.pressed_inner_radius + found.pressed_outer_radius) < wanted
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return low + high


def design_dimensions(values: Values) -> Dimensions:
    """Return the dimensions of designs, shape (N,), what is NaN at its default or left away."""

    def given(key: str, default: Array | float) -> Array:
        value = values[key]
        return np.where(np.isnan(value), default, value)

    head, angle, width = values["valve.head_diameter"], values["seat.angle"], values["seat.width"]
    cuts = sum(1 for key in values if _BOTTOM_CUT.fullmatch(key)) // 2
    count = len(head)
    cut_angles, cut_widths = np.zeros((count, cuts)), np.zeros((count, cuts))
    for cut in range(cuts):
        cut_angles[:, cut] = given(f"seat.bottom_cuts[{cut + 1}].angle", 0.0)
        cut_widths[:, cut] = given(f"seat.bottom_cuts[{cut + 1}].width", 0.0)
    return Dimensions(
        head_radius=0.5 * head,
        stem_radius=0.5 * values["valve.stem_diameter"],
        face_angle=given("valve.face_angle", angle),
        face_width=given("valve.face_width", FACE_OVER_SEAT_WIDTH * width),
        margin=values["valve.margin"],
        back_cut_angle=given("valve.back_cut.angle", 0.0),
        back_cut_width=given("valve.back_cut.width", 0.0),
        underhead_angle=values["valve.underhead_angle"],
        fillet_radius=values["valve.fillet_radius"],
        seat_angle=angle,
        seat_width=width,
        seat_outer_radius=0.5 * given("seat.outer_diameter", head),
        top_cut_angle=given("seat.top_cut.angle", 0.0),
        top_cut_width=given("seat.top_cut.width", 0.0),
        bottom_cut_angles=cut_angles,
        bottom_cut_widths=cut_widths,
        throat_radius=0.5 * values["seat.throat_diameter"],
    )
