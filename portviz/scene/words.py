"""What a view says of itself: pure texts of its state."""

from __future__ import annotations

import textwrap

import numpy as np

from portviz.distribution.notes import EVEN_BIAS
from portviz.job.words import direction_words, facing_words, flow_text, lift_text, reference_words, velocity_text
from portviz.scene.shapes import LiftShapes
from portviz.scene.state import FAR_FROM_READING_DEG, ViewState
from portviz.units import area_unit, in_unit

_VIEWS = {
    "three-quarter": "cut open from 0° to 180°",
    "cylinder": "from the cylinder, valve as outline; angles anticlockwise",
    "port": "from the port; angles clockwise",
    "section": "section at 0° and 180°",
}
_MOST_NAMED = 6
_LONGEST_FILE_WORDS = 60
#: Areas nearer than this part of one another are called nearly the same.
_TIE = 0.01


def fitted(text: str, letters: int, lines: int = 1) -> list[str]:
    """Return a text on at most so many lines of so many letters; what does not fit ends in an ellipsis.

    Examples
    --------
    >>> fitted("a rather long title", 10, 2)
    ['a rather', 'long title']
    >>> fitted("a rather long title", 10)
    ['a rather…']
    """
    return textwrap.wrap(text, letters, max_lines=lines, placeholder="…") or [""]


def packed(parts: list[str], letters: int) -> str:
    """Return parts side by side on lines of at most so many letters, none broken but for want of room."""
    lines: list[str] = []
    for part in parts:
        if lines and len(lines[-1]) + 3 + len(part) <= letters:
            lines[-1] += f"   {part}"
        else:
            lines += fitted(part, letters, 2)
    return "\n".join(lines)


def file_words(name: str) -> str:
    """Return a run's name as a part of a file name."""
    return "".join(letter if letter.isalnum() else "-" for letter in name.lower())[:_LONGEST_FILE_WORDS]


def headline(state: ViewState, letters: int) -> str:
    """Return title, run, lift and what was measured there, on lines of at most so many letters."""
    job, reduction = state.reduction.job, state.reduction
    over = state.lift / job.valve.head_diameter
    lines = [
        *fitted(job.title, letters, 2),
        *fitted(f"run: {reduction.runs[state.run]}", letters),
        packed([f"lift {lift_text(job, state.lift)}", f"L/D {over:.3f}", state.lift_status()], letters),
    ]
    if state.group is not None:
        lines += [packed(parts, letters) for parts in _measured_words(state, state.group)]
    return "\n".join(lines)


def _measured_words(state: ViewState, group: int) -> list[list[str]]:
    job, reduction = state.reduction.job, state.reduction
    parts = []
    if np.isfinite(reduction.bench_flow[group]):
        parts.append(f"flow {flow_text(job, float(reduction.bench_flow[group]))}")
    if np.isfinite(reduction.discharge_coefficient[group]):
        parts.append(f"discharge coefficient {reduction.discharge_coefficient[group]:.3f}")
    if np.isfinite(reduction.measures.uniformity_index[group]):
        parts.append(f"uniformity {reduction.measures.uniformity_index[group]:.3f}")
    if np.isfinite(reduction.bias_magnitude[group]):
        magnitude, angle = float(reduction.bias_magnitude[group]), float(reduction.bias_angle_deg[group])
        direction = direction_words(
            angle, magnitude, told=bool(reduction.bias_told[group]), facing=facing_words(job, 30)
        )
        parts.append(f"bias {magnitude:.3f}, {direction}")
        if reduction.even_bias_magnitude[group] > EVEN_BIAS:
            parts.append(f"({reduction.even_bias_magnitude[group]:.3f} by uneven stations alone)")
    part = reduction.stations_of(group)
    velocity = reduction.stations.velocity[part]
    angles = job.stations.angles_deg[reduction.stations.station[part]]

    def at(place: int) -> str:
        return f"{angles[place]:g}° {velocity_text(job, float(velocity[place]))}"

    extremes = [f"strongest station {at(int(np.argmax(velocity)))}", f"weakest {at(int(np.argmin(velocity)))}"]
    if np.ptp(velocity) == 0.0:
        extremes = [f"all stations alike, {velocity_text(job, float(velocity[0]))}"]
    lines = [parts, extremes]
    back = angles[velocity < 0.0]
    if back.size:
        named = ", ".join(f"{angle:g}°" for angle in back[:_MOST_NAMED]) + (" …" if back.size > _MOST_NAMED else "")
        lines.append([f"reverse flow at {named}: read again"])
    return [line for line in lines if line]


def legend(state: ViewState, now: LiftShapes, letters: int) -> str:
    """Return what the lines and arrows of the model stand for."""
    job = state.reduction.job
    unit, scale = area_unit(job.units.length)
    decimals = 0 if unit == "mm²" else 3
    gap, throat = (f"{area * scale:.{decimals}f} {unit}" for area in (now.gap_area, now.throat_area))
    passage = "throat passage ({} to {})".format(*now.throat_ends)
    if state.lift == 0.0:
        narrowest = ["the valve is closed"]
    else:
        names = (("gap", gap), (passage, throat)) if now.limited_by_gap else ((passage, throat), ("gap", gap))
        tie = " (nearly the same)" if abs(now.gap_area - now.throat_area) < _TIE * now.gap_area else ""
        narrowest = ["red line: {} {}".format(*names[0]), "wider: {} {}".format(*names[1]) + tie]
    return "\n".join(
        [
            *(part for line in narrowest for part in fitted(line, letters, 2)),
            *view_words(state, letters),
        ]
    )


def view_words(state: ViewState, letters: int) -> list[str]:
    """Return where station 0 stands and where the view is seen from."""
    station = ", ".join(filter(None, ("orange: station 0", reference_words(state.reduction.job))))
    return [*fitted(station, letters, 2), *fitted(_VIEWS[state.camera], letters, 2)]


def footnote(state: ViewState, top_speed: float, letters: int, *, hatched: bool, known: bool) -> str:
    """Return what is measured and what is not, and what the scales hold for.

    Parameters
    ----------
    state : ViewState
    top_speed : float
        The velocity of the longest arrow of all runs and lifts [m/s].
    letters : int
        The longest line.
    hatched : bool
        True where a part of the curtain lies far from any reading.
    known : bool
        True where the field is known at all.
    """
    unit = state.reduction.job.units.velocity
    speed = in_unit(top_speed, unit, "velocity")
    parts = [
        "balls, dark arrows: measured",
        "pale arrows, colours between balls: interpolated",
        *([f"hatched: more than {FAR_FROM_READING_DEG:g}° from a reading"] if hatched else []),
        *([] if known else ["grey: not known"]),
        "arrows: length the velocity, direction square to the gap (not measured)",
        f"one scale of colours and of arrows for all runs and lifts (longest arrow of all: {speed:.0f} {unit})",
    ]
    return packed(parts, letters)
