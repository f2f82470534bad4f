"""What the turning view says of a run at a lift, in words and with the units of the job's files."""

from __future__ import annotations

import math

import numpy as np

from portviz.distribution.propagation import Spread, plus_minus
from portviz.distribution.reduce import Reduction
from portviz.errors import counted
from portviz.job.digits import with_uncertainty
from portviz.job.model import Array, Job
from portviz.job.words import direction_words, facing_words, lift_text
from portviz.report.content import Report
from portviz.scene.shapes import LiftShapes
from portviz.scene.state import ViewState
from portviz.units import area_unit, in_unit

#: Areas nearer than this part of one another are called nearly the same.
_TIE = 0.01
_MOST_NAMED = 8


def lift_words(job: Job, lift: float, now: LiftShapes) -> dict[str, str]:
    """Return a lift [m] and its passages in words."""
    over = f"{lift_text(job, lift)} (L/D {lift / job.valve.head_diameter:.3f})"
    if lift == 0.0:
        return {"text": lift_text(job, lift), "over": over, "passage": "The valve is closed."}
    unit, scale = area_unit(job.units.length)
    decimals = 0 if unit == "mm²" else 3
    gap, throat = (f"{area * scale:.{decimals}f} {unit}" for area in (now.gap_area, now.throat_area))
    throat_name = "the throat passage ({} to {})".format(*now.throat_ends)
    names = (("the gap", gap), (throat_name, throat))
    narrow, wide = names if now.limited_by_gap else names[::-1]
    tie = ", nearly the same" if abs(now.gap_area - now.throat_area) < _TIE * now.gap_area else ""
    passage = f"Narrowest passage: {narrow[0]}, {narrow[1]}; wider: {wide[0]}, {wide[1]}{tie}."
    return {"text": lift_text(job, lift), "over": over, "passage": passage}


def unmeasured_words(state: ViewState) -> list[str]:
    """Return what is said where a run was not measured."""
    lifts = [lift_text(state.reduction.job, float(lift)) for lift in state.measured_lifts]
    named = ", ".join(lifts[:_MOST_NAMED]) + (" …" if len(lifts) > _MOST_NAMED else "")
    return [f"Not measured at this lift in this run, so that nothing is coloured; measured at {named}."]


def group_sentences(report: Report, state: ViewState, group: int) -> list[str]:
    """Return the results of a run at a measured lift, each with its plus-minus at 95 % where it is known."""
    job, reduction, known = report.reduction.job, report.reduction, report.uncertainty
    flow, speed = in_unit(1.0, job.units.flow, "flow"), in_unit(1.0, job.units.velocity, "velocity")
    found = [f"{state.lift_status()[:1].upper()}{state.lift_status()[1:]}."]
    told = []
    for name, values, spread, scale, unit, decimals in (
        ("bench flow", reduction.bench_flow, known.bench_flow, flow, f" {job.units.flow}", 2),
        ("discharge coefficient", reduction.discharge_coefficient, known.discharge_coefficient, 1.0, "", 3),
        ("mean velocity", reduction.measures.mean, known.mean_velocity, speed, f" {job.units.velocity}", 1),
        ("uniformity", reduction.measures.uniformity_index, known.uniformity_index, 1.0, "", 3),
    ):
        # Of a closed valve the leak is told, and nothing of how it is shared.
        if math.isfinite(values[group]) and (reduction.lift[group] > 0.0 or name == "bench flow"):
            told.append(
                f"{name} {_with_interval(values, spread, known.readings.freedom, group, scale, decimals)}{unit}"
            )
    magnitude = float(reduction.bias_magnitude[group])
    if math.isfinite(magnitude) and reduction.lift[group] > 0.0:
        words = direction_words(
            float(reduction.bias_angle_deg[group]),
            magnitude,
            told=bool(reduction.bias_told[group]),
            facing=facing_words(job, 40),
        )
        told.append(f"bias {magnitude:.3f}, {words}")
    interval = "; ± at 95 %" if any("±" in each for each in told) else ""
    if told:
        found.append(f"{told[0][:1].upper()}{'; '.join(told)[1:]}{interval}.")
    extremes = _extremes(report, group) if reduction.lift[group] > 0.0 else []
    return [_unbroken(words) for words in (*found, *extremes)]


def _unbroken(words: str) -> str:
    """Return words in which no line breaks within an interval, or before a per cent sign."""
    return words.replace(" ± ", "\u00a0±\u00a0").replace(" %", "\u00a0%")


def _extremes(report: Report, group: int) -> list[str]:
    reduction = report.reduction
    job, part = reduction.job, reduction.stations_of(group)
    velocity = reduction.stations.velocity[part] * in_unit(1.0, job.units.velocity, "velocity")
    angles = job.stations.angles_deg[reduction.stations.station[part]]
    unit = job.units.velocity

    def at(place: int) -> str:
        return f"{angles[place]:g}°, {velocity[place]:.1f} {unit}"

    found = [f"Fastest at {at(int(np.argmax(velocity)))}; slowest at {at(int(np.argmin(velocity)))}."]
    if np.ptp(velocity) == 0.0:
        found = [f"All stations are alike, {velocity[0]:.1f} {unit}."]
    back = angles[velocity < 0.0]
    if back.size:
        named = ", ".join(f"{angle:g}°" for angle in back[:_MOST_NAMED]) + (" …" if back.size > _MOST_NAMED else "")
        found.append(f"Reverse flow at {counted(back.size, 'station')} ({named}).")
    return found


def _with_interval(values: Array, spread: Spread, freedom: Array, group: int, scale: float, decimals: int) -> str:
    at = np.array([group])
    wide = float(plus_minus(spread.take(at), freedom[at])[0]) * scale
    return with_uncertainty(float(values[group]) * scale, wide, decimals)


def _station_numbers(report: Report, group: int) -> list[tuple[str, str, str]]:
    """Return angle, velocity and share [%] of each station of a group, in words without units, ascending in angle."""
    reduction, known = report.reduction, report.uncertainty
    job, part = reduction.job, reduction.stations_of(group)
    freedom = np.full(part.stop - part.start, known.readings.freedom[group])
    speed = in_unit(1.0, job.units.velocity, "velocity")
    velocity = reduction.stations.velocity[part] * speed
    share = reduction.stations.flow_share[part] * 100.0
    wide = plus_minus(known.velocity.take(part), freedom) * speed
    wide_share = plus_minus(known.flow_share.take(part), freedom) * 100.0
    angles = job.stations.angles_deg[reduction.stations.station[part]]
    return [
        (
            f"{angles[place]:g}°",
            with_uncertainty(float(velocity[place]), float(wide[place]), 1),
            with_uncertainty(float(share[place]), float(wide_share[place]), 2) if reduction.lift[group] > 0.0 else "–",
        )
        for place in range(len(angles))
    ]


def group_rows(report: Report, group: int) -> list[tuple[str, str, str]]:
    """Return the rows of the table beside the view: station, velocity and share [%]."""
    return _station_numbers(report, group)


def station_words(report: Report, group: int) -> list[str]:
    """Return what stands at each station of a group in the view, as plotly's markup."""
    unit = plotly_text(report.reduction.job.units.velocity)
    words = []
    for angle, velocity, share in _station_numbers(report, group):
        interval = " (95 %)" if "±" in velocity else ""
        share_words = "" if share == "–" else f"<br>share {share} %"
        words.append(f"station {angle}: measured<br>{velocity} {unit}{interval}{share_words}")
    return words


def plotly_text(words: str) -> str:
    """Return words as plotly shows them literally: it reads some tags and entities.

    Examples
    --------
    >>> plotly_text('<a href="x">&')
    '&lt;a href="x"&gt;&amp;'
    """
    return words.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def table_columns(job: Job) -> tuple[str, str, str]:
    """Return the heads of the table beside the view."""
    return ("station", f"velocity [{job.units.velocity}]", "share of flow [%]")


def longest_words(reduction: Reduction) -> str:
    """Return the greatest velocity of all runs and lifts, which the longest arrow stands for."""
    unit = reduction.job.units.velocity
    greatest = float(np.nanmax(np.abs(reduction.stations.velocity), initial=0.0))
    return f"{in_unit(greatest, unit, 'velocity'):.0f} {unit}"
