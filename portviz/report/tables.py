"""Tables for the terminal: narrow ones, with each column's unit under its name."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from portviz.distribution.areas import Areas
from portviz.distribution.cam_event import cam_event
from portviz.distribution.propagation import plus_minus
from portviz.distribution.reduce import Reduction
from portviz.distribution.uncertainty import Uncertainty, reduction_uncertainty
from portviz.errors import counted
from portviz.geometry.ends import passage_ends
from portviz.geometry.passages import least_passages
from portviz.geometry.profiles import Profiles
from portviz.job.digits import two_figures
from portviz.job.model import Array, Engine, Job
from portviz.job.words import (
    coefficient_text,
    direction_words,
    facing_words,
    lift_text,
    reading_unit,
    reference_words,
    station_name,
    station_text,
)
from portviz.report.layout import add_row, new_table, titled
from portviz.report.uncertainty import uncertainty_table
from portviz.units import area_unit, format_quantity, in_unit, number_text, told_decimals

_NAMED_STATIONS = 4
#: Longer words for what station 0 faces stand below the table, not in it.
_LONGEST_FACING = 14


def _number(value: float, unit: str, kind: str, decimals: int | None = None) -> str:
    return "–" if np.isnan(value) else number_text(float(value), unit, kind, decimals)


def area_table(job: Job, areas: Areas, profiles: Profiles, *, wide: bool = True) -> RenderableType:
    """Return the areas at each lift."""
    unit, scale = area_unit(job.units.length)
    decimals = 1 if unit == "mm²" else 3
    head = f"{areas.head_area[0] * scale:.{decimals}f}"
    table = new_table(
        (
            f"lift\n[{job.units.length}]",
            "L/D",
            "curtain\nπDL",
            "three-stage\narea",
            "stage",
            "gap",
            "throat",
            "flow\narea",
            "limited\nby",
        ),
        left=("limited\nby",),
    )
    limited = limited_words(profiles, areas.lift, wide=wide)
    for index, lift in enumerate(areas.lift):
        columns = (areas.curtain_area, areas.three_stage_area, areas.gap_area, areas.throat_area, areas.flow_area)
        curtain, textbook, gap, throat, flow = (f"{each[index] * scale:.{decimals}f}" for each in columns)
        add_row(
            table,
            _number(lift, job.units.length, "length"),
            f"{lift / job.valve.head_diameter:.3f}",
            curtain,
            textbook,
            str(areas.stage[index]),
            gap,
            throat,
            flow,
            limited[index],
        )
    return titled(f"Areas [{unit}]; the valve head's is {head}", table)


def summary_tables(
    reduction: Reduction,
    runs: Iterable[int],
    uncertainty: Uncertainty | None = None,
    *,
    stations: bool = False,
    wide: bool = True,
) -> RenderableType:
    """Return the results of runs: flow and coefficients, then what happens round the valve, at each lift."""
    job = reduction.job
    uncertainty = uncertainty or reduction_uncertainty(reduction)
    parts: list[RenderableType] = [Text(job.title, style="bold")]
    for run in runs:
        name = reduction.runs[run]
        parts += [flow_table(reduction, run, name, wide=wide), pattern_table(reduction, run, name, wide=wide)]
        parts.append(uncertainty_table(reduction, uncertainty, run, wide=wide))
        if stations:
            parts += [
                _station_table(reduction, uncertainty, group, name, wide=wide) for group in reduction.groups_of(run)
            ]
    parts.append(Text(f"{_directions(job)} {_MEANINGS}", style="dim"))
    return Group(*parts)


_MEANINGS = (
    "Bias: 0 even, 1 all at one station. Closure: bench flow over the flow that gap and velocities account for. "
    "L/D: lift over head diameter."
)


def _directions(job: Job) -> str:
    """Return what station 0 faces, and how directions are told from it."""
    reference = reference_words(job)
    faces = "" if reference is None else f"Station 0 faces “{reference}”. "
    return f"{faces}Angles run anticlockwise from station 0, seen from the cylinder; directions are told from there."


def limited_words(profiles: Profiles, lifts: Array, *, wide: bool) -> list[str]:
    """Return what limits the flow area at each lift [m]; of a throat passage also the parts it runs between."""
    passages = least_passages(profiles, lifts, lines=True)
    assert passages.throat_line is not None
    between = passage_ends(profiles, passages.throat_line[0], lifts)
    return [
        "gap" if by_gap else "throat: {} to {}".format(*ends) if wide else "throat"
        for by_gap, ends in zip(passages.limited_by_gap[0], between, strict=True)
    ]


def flow_table(reduction: Reduction, run: int, name: str, *, wide: bool) -> RenderableType:
    """Return flow and coefficients; the test pressure too, where it is not the same at all lifts."""
    job, groups = reduction.job, reduction.groups_of(run)
    pressures = reduction.test_pressure[groups.start : groups.stop]
    with_pressure = bool(np.ptp(pressures) > 0.0)
    limited = limited_words(reduction.profiles, reduction.lift[groups.start : groups.stop], wide=wide)
    table = new_table(
        (
            f"lift\n[{job.units.length}]",
            "L/D",
            *([f"test pressure\n[{job.units.pressure}]"] if with_pressure else []),
            f"flow\n[{job.units.flow}]",
            "discharge\ncoefficient",
            "flow-area\ncoefficient",
            "closure",
            "limited\nby",
        ),
        left=("limited\nby",),
    )
    for group in groups:
        lift = float(reduction.lift[group])
        pressure = _number(reduction.test_pressure[group], job.units.pressure, "pressure")
        add_row(
            table,
            _number(lift, job.units.length, "length"),
            f"{lift / job.valve.head_diameter:.3f}",
            *([pressure] if with_pressure else []),
            _number(reduction.bench_flow[group], job.units.flow, "flow"),
            coefficient_text(float(reduction.discharge_coefficient[group])),
            coefficient_text(float(reduction.flow_area_coefficient[group])),
            coefficient_text(float(reduction.closure[group])),
            limited[group - groups.start],
        )
    return titled(f"Run “{name}”: flow", table)


def pattern_table(reduction: Reduction, run: int, name: str, *, wide: bool) -> RenderableType:
    """Return the velocity round the valve at each lift: mean, unevenness, bias, weakest and strongest station."""
    job, stations = reduction.job, reduction.stations
    unit, facing = job.units.velocity, facing_words(job, _LONGEST_FACING) if wide else None
    listed, groups = len(job.stations.angles_deg), reduction.groups_of(run)
    read = {group: len(range(*reduction.stations_of(group).indices(len(stations.station)))) for group in groups}
    some_missing = any(count < listed for count in read.values())
    table = new_table(
        (
            f"lift\n[{job.units.length}]",
            *(["stations\nread"] if some_missing else []),
            f"mean\n[{unit}]",
            "uniformity",
            "bias",
            "leans",
            f"weakest\n[{unit}]",
            f"strongest\n[{unit}]",
        ),
        left=("leans",),
    )
    for group in groups:
        part = reduction.stations_of(group)
        velocity = stations.velocity[part]
        least, most = (part.start + int(each) for each in (np.argmin(velocity), np.argmax(velocity)))
        magnitude, angle = float(reduction.bias_magnitude[group]), float(reduction.bias_angle_deg[group])
        add_row(
            table,
            _number(reduction.lift[group], job.units.length, "length"),
            *([f"{read[group]} of {listed}"] if some_missing else []),
            _number(reduction.measures.mean[group], unit, "velocity"),
            coefficient_text(float(reduction.measures.uniformity_index[group])),
            coefficient_text(magnitude),
            direction_words(angle, magnitude, told=bool(reduction.bias_told[group]), facing=facing),
            station_text(job, int(stations.station[least]), float(stations.velocity[least])),
            station_text(job, int(stations.station[most]), float(stations.velocity[most])),
        )
    return titled(f"Run “{name}”: velocity round the valve", table)


def _station_table(
    reduction: Reduction, uncertainty: Uncertainty, group: int, name: str, *, wide: bool
) -> RenderableType:
    job, stations = reduction.job, reduction.stations
    # A station's flow is a tenth of the whole, or so.
    part = reduction.stations_of(group)
    freedom = np.full(part.stop - part.start, uncertainty.readings.freedom[group])
    velocity, share = (
        plus_minus(spread.take(part), freedom) for spread in (uncertainty.velocity, uncertainty.flow_share)
    )
    with_interval = wide and bool(np.isfinite(velocity).any())
    with_flow, decimals = bool(np.isfinite(reduction.bench_flow[group])), told_decimals(job.units.flow, "flow") + 1
    table = new_table(
        (
            "station",
            f"reading\n[{reading_unit(job)}]",
            "repeats",
            f"pressure\ndrop\n[{job.units.pressure}]",
            f"velocity\n[{job.units.velocity}]",
            *(["±"] if with_interval else []),
            "velocity\nratio",
            "Mach\nnumber",
            "share\n[%]",
            *(["±"] if with_interval else []),
            *([f"flow\n[{job.units.flow}]"] if with_flow else []),
        ),
    )
    for place, index in enumerate(range(part.start, part.stop)):
        add_row(
            table,
            station_name(job, int(stations.station[index])),
            _number(stations.reading[index], reading_unit(job), job.gauge.kind),
            str(stations.repeats[index]),
            _number(stations.drop[index], job.units.pressure, "pressure"),
            _number(stations.velocity[index], job.units.velocity, "velocity"),
            *([two_figures(in_unit(float(velocity[place]), job.units.velocity, "velocity"))] if with_interval else []),
            coefficient_text(float(stations.velocity_ratio[index])),
            coefficient_text(float(stations.mach[index])),
            coefficient_text(100.0 * float(stations.flow_share[index]), 2),
            *([two_figures(100.0 * float(share[place]))] if with_interval else []),
            *([_number(stations.flow[index], job.units.flow, "flow", decimals)] if with_flow else []),
        )
    lift = lift_text(job, float(reduction.lift[group]))
    return titled(f"Run “{name}” at {lift}: {_stations_read(reduction, group)}", table)


def _stations_read(reduction: Reduction, group: int) -> str:
    """Return "stations", or where some were not read how many were, and which were not."""
    job = reduction.job
    count, read = len(job.stations.angles_deg), reduction.stations.station[reduction.stations_of(group)]
    missing = np.setdiff1d(np.arange(count), read)
    if not missing.size:
        return "stations"
    names = ", ".join(station_name(job, int(station)) for station in missing[:_NAMED_STATIONS])
    more = f" and {missing.size - _NAMED_STATIONS} more" if missing.size > _NAMED_STATIONS else ""
    return f"{len(read)} of {count} stations (not read: {names}{more})"


def check_table(job: Job) -> Table:
    """Return what a job's folder holds."""
    table = new_table(("part", "what is there"), left=("part", "what is there"))
    table.show_header = False
    seat, valve = job.seat, job.valve

    def length(value: float) -> str:
        return lift_text(job, value)

    def cone(angle: float, width: float) -> str:
        return f"{np.degrees(angle):g}° x {length(width)}"

    add_row(table, "title", job.title)
    add_row(table, "side", job.side)
    parts = [f"head {length(valve.head_diameter)}", f"stem {length(valve.stem_diameter)}"]
    parts.append(f"face {cone(valve.face_angle, valve.face_width)}")
    if valve.back_cut:
        parts.append(f"back cut {cone(valve.back_cut.angle, valve.back_cut.width)}")
    add_row(table, "valve", ", ".join(parts))
    parts = [f"outer {length(seat.outer_diameter)}", f"band {cone(seat.angle, seat.width)}"]
    add_row(table, "seat", ", ".join([*parts, f"throat {length(seat.throat_diameter)}"]))
    parts = [f"top cut {cone(seat.top_cut.angle, seat.top_cut.width)}"] if seat.top_cut else []
    parts += [f"bottom cut {cone(cut.angle, cut.width)}" for cut in seat.bottom_cuts]
    for first in range(0, len(parts), 3):
        add_row(table, "", ", ".join(parts[first : first + 3]))
    pressure = format_quantity(job.bench.test_pressure, job.units.pressure, "pressure")
    add_row(table, "bench", f"test pressure {pressure}")
    parts = [f"reads {job.gauge.reads}", f"coefficient {job.gauge.coefficient:g}"]
    if job.gauge.accuracy is not None:
        parts.append(
            f"accuracy {in_unit(job.gauge.accuracy, reading_unit(job), job.gauge.kind):.4g} {reading_unit(job)}"
        )
    add_row(table, "gauge", ", ".join(parts))
    reference = reference_words(job)
    faces = "" if reference is None else f", station 0 faces “{reference}”"
    add_row(table, "stations", f"{len(job.stations.angles_deg)}{faces}")
    readings = job.readings
    if readings is None:
        add_row(table, "readings", "none (areas only)")
    else:
        add_row(table, "readings", f"{len(readings.value)} in {readings.file}")
        for place, name in enumerate(readings.runs):
            lifts = readings.group_lift[readings.groups_of(place)]
            span = length(float(lifts[0])) + (f" to {length(float(lifts[-1]))}" if len(lifts) > 1 else "")
            add_row(table, "", f"run “{name}”: {len(lifts)} lift{'s' if len(lifts) > 1 else ''}, {span}")
        add_row(table, "total flow", job.flow.file if job.flow else "none (no coefficients, no closure)")
    for part, lines in (("cam", _cam_lines(job)), ("engine", _engine_lines(job))):
        for number, line in enumerate(lines):
            add_row(table, "" if number else part, line)
    return table


def _cam_lines(job: Job) -> list[str]:
    """Return what is there of the valve's motion."""
    cam = job.cam
    if cam is None:
        return ["none"]
    event = cam_event(job)
    whence = "assumed between the figures in" if cam.assumed else "measured, in"
    lash = f", less {lift_text(job, cam.lash)} of lash" if cam.lash else ""
    return [
        f"{len(cam.lift)} points, {whence} {cam.file}{lash}",
        f"open for {event.duration_deg:.4g}° of crank, {event.opening_deg:.4g}° to {event.closing_deg:.4g}°, "
        f"peak {lift_text(job, event.peak_lift)} at {event.peak_deg:.4g}°",
    ]


def _dead_centre(engine: Engine) -> str:
    at = engine.dead_centre_deg
    return "dead centre not stated" if at is None else f"dead centre at {at:g}°"


def _direction(engine: Engine) -> str:
    toward = engine.valve_direction_deg
    return "direction not stated" if toward is None else f"toward {toward:g}°"


def _engine_lines(job: Job) -> list[str]:
    """Return what is there of the cylinder."""
    engine = job.engine
    if engine is None:
        return ["none"]
    lengths = {"bore": engine.bore, "stroke": engine.stroke, "rod": engine.rod_length}
    parts = [f"{name} {lift_text(job, length)}" for name, length in lengths.items() if length is not None]
    if engine.speed is not None:
        parts.append(format_quantity(engine.speed, "rpm", "rotation"))
    parts.append(f"{counted(engine.valves, 'valve')} of this side, {_dead_centre(engine)}")
    if engine.valve_offset is None:
        return [", ".join(parts)]
    where = f"valve {lift_text(job, engine.valve_offset)} from the bore's axis"
    return [", ".join(parts), f"{where}, {_direction(engine)}"]
