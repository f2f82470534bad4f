"""What a mesh file holds: curtain, valve and seat at a lift as arrays, with fields in SI and colours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from portviz.distribution.field import QUANTITIES, run_field
from portviz.distribution.frames import FIELD_COLUMNS
from portviz.distribution.reduce import Reduction
from portviz.geometry.revolve import Surface
from portviz.job.model import Array, Job
from portviz.job.words import lift_text, reference_words
from portviz.scene import shapes
from portviz.scene.colours import COLOUR_MAP, CUT, NO_DATA, VALVE
from portviz.scene.state import CURTAIN_COLUMNS, ViewState, display_limits, display_unit, in_display_unit, view_state
from portviz.scene.words import fitted

#: Colours of points, shape (P, 3), as a screen takes them (sRGB).
Colours = npt.NDArray[np.uint8]

PARTS = ("curtain", "valve", "seat")
ALL = "all"

#: Name of the mark of points that lie far from any reading.
FAR_NAME = "far_from_reading"
SOLID_COLOURS = {"valve": VALVE, "seat": CUT}


@dataclass(frozen=True)
class Part:
    """A part of a model at a lift.

    Parameters
    ----------
    name : str
        One of `PARTS`, or of a mark.
    surface : Surface
        [m], on the valve's axis, at the lift.
    colours : ndarray of uint8, shape (P, 3)
    fields : dict of str to ndarray, shape (P,)
        In SI, by the names of `FIELD_COLUMNS`; NaN where not known. Solids have none.
    far : ndarray of bool, shape (P,), or None
        Points of the curtain that lie far from any reading.
    title : str
        Its name in a file that tells more; empty where it is `name`.
    said : dict of str to list
        What a mark says of itself, in SI.
    """

    name: str
    surface: Surface
    colours: Colours
    fields: dict[str, Array] = field(default_factory=dict)
    far: npt.NDArray[np.bool_] | None = None
    title: str = ""
    said: dict[str, list[float]] = field(default_factory=dict)


@dataclass(frozen=True)
class Model:
    """The parts of one run at one lift.

    Parameters
    ----------
    state : ViewState
        Its quantity colours the curtain.
    label : str
        The lift in words, unlike those of the other lifts exported with it.
    parts : tuple of Part
    marks : tuple of Part
        Stations and directions, for files in which they stand apart from the parts.
    """

    state: ViewState
    label: str
    parts: tuple[Part, ...]
    marks: tuple[Part, ...] = ()

    def said(self) -> dict[str, str]:
        """Return what a file says of itself."""
        reduction, state = self.state.reduction, self.state
        return {
            "title": reduction.job.title,
            "run": reduction.runs[state.run],
            "side": reduction.job.side,
            "lift": lift_text(reduction.job, state.lift),
            "status": state.changed(quantity="velocity").lift_status(),
            "flow_status": state.changed(quantity="flow-per-degree").lift_status(),
            "axes": axes_words(reduction.job),
        }

    def scale(self) -> dict[str, float | str]:
        """Return what the colours stand for: the quantity and the ends of its scale, as pictures of the job have it."""
        reduction, what = self.state.reduction, self.state.what
        limits = display_limits(reduction, what)
        return {
            "field": what.name,
            "low": limits.low,
            "high": limits.high,
            "unit": display_unit(reduction, what) or "-",
            "colours": COLOUR_MAP,
            "not_known": NO_DATA,
        }


def chosen_parts(part: str) -> tuple[str, ...]:
    """Return the parts that a word stands for."""
    return PARTS if part == ALL else (part,)


def models_at(reduction: Reduction, run: int, lifts: Sequence[float | None], part: str, quantity: str) -> list[Model]:
    """Return a run's parts at lifts [m]; None is its greatest measured one.

    Parameters
    ----------
    reduction : Reduction
    run : int
        Place among the runs.
    lifts : sequence of float or None
        [m].
    part : str
        One of `PARTS`, or `ALL`.
    quantity : str
        What colours the curtain, a key of `QUANTITIES`.

    Raises
    ------
    UsageError
        If a lift lies outside the measured ones.
    """
    states = [view_state(reduction, run, lift, quantity, "three-quarter") for lift in lifts]
    labels = told_apart([lift_text(reduction.job, state.lift) for state in states])
    wanted = chosen_parts(part)
    # Solids are the same at all lifts, but for where the valve stands.
    solids = {name: solid_part(reduction, name) for name in wanted if name != "curtain"}
    return [
        Model(state, label, tuple(solids[name] if name in solids else curtain_part(state) for name in wanted))
        for state, label in zip(states, labels, strict=True)
    ]


def axes_words(job: Job, up: str = "z") -> str:
    """Return where the axes of a file point; `up` is the one along the stem."""
    faces = reference_words(job)
    return (
        f"{up} along the stem into the port, station 0 toward +x"
        + ("" if faces is None else f": {fitted(faces, 200)[0]!r}")
        + "; station angles anticlockwise seen from the cylinder"
    )


def told_apart(texts: list[str], pattern: str = "{} ({})") -> list[str]:
    """Return texts in which one that was there already has a number behind it.

    Examples
    --------
    >>> told_apart(["2.00 mm", "2.00 mm", "4.00 mm"])
    ['2.00 mm', '2.00 mm (2)', '4.00 mm']
    """
    found: dict[str, None] = {}
    for text in texts:
        number, each = 1, text
        while each in found:
            number += 1
            each = pattern.format(text, number)
        found[each] = None
    return list(found)


def solid_part(reduction: Reduction, name: str) -> Part:
    """Return the closed valve, or the whole head round the seat."""
    profiles = reduction.profiles
    surface = shapes.valve_solid(profiles) if name == "valve" else shapes.head_solid(profiles, cut_away=False)
    return Part(name, surface, np.tile(rgb(SOLID_COLOURS[name]), (len(surface.points), 1)))


def curtain_part(state: ViewState) -> Part:
    """Return the curtain at the state's lift with all its fields."""
    surface, fields = curtain_surface(state.reduction, state.run, state.lift)
    far = state.far_from_reading(np.linspace(0.0, 360.0, CURTAIN_COLUMNS))
    return Part(
        "curtain",
        surface,
        field_colours(state.reduction, state.quantity, fields[state.quantity]),
        {FIELD_COLUMNS[name]: values for name, values in fields.items()},
        np.repeat(far, shapes.CURTAIN_ROWS),
    )


def curtain_surface(reduction: Reduction, run: int, lift: float) -> tuple[Surface, dict[str, Array]]:
    """Return the curtain at a lift [m] and its fields in SI, by name, one value a point; NaN where not known."""
    angles = np.linspace(0.0, 360.0, CURTAIN_COLUMNS)
    points = shapes.lift_shapes(reduction.job, reduction.profiles, lift, angles).curtain
    surface = Surface(points, shapes.curtain_faces(len(angles)), np.empty((0, 3), dtype=np.intp))
    fields = {name: run_field(reduction, run, name, angles) for name in QUANTITIES}
    unknown = np.full(len(angles), np.nan)
    around = {name: each.at(lift) if each.covers(lift) else unknown for name, each in fields.items()}
    return surface, {name: np.repeat(values, shapes.CURTAIN_ROWS) for name, values in around.items()}


def field_colours(reduction: Reduction, quantity: str, values: Array) -> Colours:
    """Return the colours of SI values of a quantity on the job's one scale; grey where not known."""
    from matplotlib import colormaps

    what = QUANTITIES[quantity]
    limits = display_limits(reduction, what)
    place = (in_display_unit(reduction, what, values) - limits.low) / (limits.high - limits.low)
    known = np.isfinite(place)
    colours = np.asarray(colormaps[COLOUR_MAP](np.where(known, place, 0.0), bytes=True))[..., :3]
    return np.where(known[..., None], colours, rgb(NO_DATA)).astype(np.uint8)


def rgb(colour: str) -> Colours:
    """Return red, green and blue of a colour written #rrggbb, shape (3,)."""
    return np.array([int(colour[place : place + 2], 16) for place in (1, 3, 5)], dtype=np.uint8)


def at_lift(part: Part, lift: float) -> Part:
    """Return a part as it stands at a lift [m]: the valve goes down with it."""
    if part.name != "valve":
        return part
    surface = part.surface
    return replace(part, surface=Surface(surface.points - [0.0, 0.0, lift], surface.quads, surface.triangles))
