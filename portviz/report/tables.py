"""Tables for the terminal."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from portviz.distribution.areas import Areas
from portviz.distribution.reduce import Reduction
from portviz.job.model import Job
from portviz.job.words import (
    coefficient_text,
    direction_words,
    flow_text,
    lift_text,
    station_text,
    velocity_text,
)
from portviz.units import area_unit, in_unit


def _table(title: str | None, columns: Iterable[str], left: Iterable[str] = ()) -> Table:
    heading = None if title is None else Text(title, style="bold")
    table = Table(title=heading, title_justify="left", box=box.SIMPLE_HEAD, pad_edge=False, collapse_padding=True)
    for name in columns:
        table.add_column(Text(name), justify="left" if name in left else "right", header_style="")
    return table


def _add_row(table: Table, *cells: str) -> None:
    """Add a row of words as they are: what a person typed is no markup."""
    table.add_row(*map(Text, cells))


def area_table(job: Job, areas: Areas) -> Table:
    """Return the areas at each lift."""
    unit, scale = area_unit(job.units.length)
    decimals = 1 if unit == "mm²" else 3
    table = _table(
        f"Areas [{unit}]",
        ("lift", "L/D", "curtain πDL", "three stages", "stage", "gap", "throat", "flow area", "limited by"),
        left=("limited by",),
    )
    for index, lift in enumerate(areas.lift):
        columns = (areas.curtain_area, areas.three_stage_area, areas.gap_area, areas.throat_area, areas.flow_area)
        curtain, textbook, gap, throat, flow = (f"{each[index] * scale:.{decimals}f}" for each in columns)
        _add_row(
            table,
            lift_text(job, float(lift)),
            f"{lift / job.valve.head_diameter:.3f}",
            curtain,
            textbook,
            str(areas.stage[index]),
            gap,
            throat,
            flow,
            areas.limited_by(index),
        )
    return table


def summary_tables(reduction: Reduction, runs: Iterable[int], *, stations: bool = False) -> RenderableType:
    """Return the results of runs: flow and coefficients, then what happens round the valve, at each lift."""
    job = reduction.job
    parts: list[RenderableType] = [Text(job.title, style="bold")]
    for run in runs:
        name = reduction.runs[run]
        parts += [_flow_table(reduction, run, name), _pattern_table(reduction, run, name)]
        if stations:
            parts += [_station_table(reduction, group, name) for group in reduction.groups_of(run)]
    parts.append(
        Text(
            f"Station 0 faces “{job.stations.reference}”; angles run anticlockwise, seen from the cylinder. "
            "Bias: 0 even, 1 all at one station. Closure: bench flow over the flow that gap and velocities "
            "account for.",
            style="dim",
        )
    )
    return Group(*parts)


def _flow_table(reduction: Reduction, run: int, name: str) -> Table:
    job = reduction.job
    table = _table(
        f"Run “{name}”: flow",
        ("lift", "L/D", "flow", "discharge coeff.", "passage coeff.", "closure", "area limited by"),
        left=("area limited by",),
    )
    for group in reduction.groups_of(run):
        lift = float(reduction.lift[group])
        _add_row(
            table,
            lift_text(job, lift),
            f"{lift / job.valve.head_diameter:.3f}",
            flow_text(job, float(reduction.bench_flow[group])),
            coefficient_text(float(reduction.discharge_coefficient[group])),
            coefficient_text(float(reduction.flow_area_coefficient[group])),
            coefficient_text(float(reduction.closure[group])),
            reduction.areas.limited_by(group),
        )
    return table


def _pattern_table(reduction: Reduction, run: int, name: str) -> Table:
    job, stations = reduction.job, reduction.stations
    unit = job.units.velocity
    table = _table(
        f"Run “{name}”: round the valve",
        ("lift", "mean velocity", "uniformity", "bias", "it leans", f"weakest [{unit}]", f"strongest [{unit}]"),
        left=("it leans",),
    )
    for group in reduction.groups_of(run):
        part = reduction.stations_of(group)
        velocity = stations.velocity[part]
        least, most = (part.start + int(each) for each in (np.argmin(velocity), np.argmax(velocity)))
        magnitude, angle = float(reduction.bias_magnitude[group]), float(reduction.bias_angle_deg[group])
        _add_row(
            table,
            lift_text(job, float(reduction.lift[group])),
            velocity_text(job, float(reduction.measures.mean[group])),
            coefficient_text(float(reduction.measures.uniformity_index[group])),
            coefficient_text(magnitude),
            direction_words(angle, magnitude, job.stations.reference),
            station_text(job, int(stations.station[least]), float(stations.velocity[least])),
            station_text(job, int(stations.station[most]), float(stations.velocity[most])),
        )
    return table


def _station_table(reduction: Reduction, group: int, name: str) -> Table:
    job, stations = reduction.job, reduction.stations
    kind = job.gauge.kind
    unit = job.units.velocity if kind == "velocity" else job.units.pressure
    pressure = job.units.pressure
    table = _table(
        f"Run “{name}” at {lift_text(job, float(reduction.lift[group]))}: stations",
        (
            "station",
            f"reading [{unit}]",
            "repeats",
            f"drop [{pressure}]",
            f"velocity [{job.units.velocity}]",
            "ratio",
            "Mach",
            "share",
        ),
    )
    for index in range(*reduction.stations_of(group).indices(len(stations.station))):
        _add_row(
            table,
            f"{job.stations.angles_deg[stations.station[index]]:g}°",
            f"{in_unit(float(stations.reading[index]), unit, kind):.2f}",
            str(stations.repeats[index]),
            f"{in_unit(float(stations.drop[index]), pressure, 'pressure'):.2f}",
            f"{in_unit(float(stations.velocity[index]), job.units.velocity, 'velocity'):.1f}",
            coefficient_text(float(stations.velocity_ratio[index])),
            coefficient_text(float(stations.mach[index])),
            "–" if np.isnan(stations.flow_share[index]) else f"{100 * stations.flow_share[index]:.2f} %",
        )
    return table


def check_table(job: Job) -> Table:
    """Return what a job's folder holds."""
    table = _table(None, ("part", "what is there"), left=("part", "what is there"))
    table.show_header = False
    seat, valve = job.seat, job.valve

    def length(value: float) -> str:
        return lift_text(job, value)

    def cone(angle: float, width: float) -> str:
        return f"{np.degrees(angle):g}° x {length(width)}"

    _add_row(table, "title", job.title)
    _add_row(table, "side", job.side)
    parts = [f"head {length(valve.head_diameter)}", f"stem {length(valve.stem_diameter)}"]
    parts.append(f"face {cone(valve.face_angle, valve.face_width)}")
    if valve.back_cut:
        parts.append(f"back cut {cone(valve.back_cut.angle, valve.back_cut.width)}")
    _add_row(table, "valve", ", ".join(parts))
    parts = [f"outer {length(seat.outer_diameter)}", f"band {cone(seat.angle, seat.width)}"]
    if seat.top_cut:
        parts.append(f"top cut {cone(seat.top_cut.angle, seat.top_cut.width)}")
    parts += [f"bottom cut {cone(cut.angle, cut.width)}" for cut in seat.bottom_cuts]
    _add_row(table, "seat", ", ".join([*parts, f"throat {length(seat.throat_diameter)}"]))
    _add_row(table, "stations", f"{len(job.stations.angles_deg)}, station 0 faces “{job.stations.reference}”")
    if job.readings is None:
        _add_row(table, "readings", "none (areas only)")
        return table
    readings = job.readings
    _add_row(table, "readings", f"{len(readings.value)} in {readings.file}")
    for place, name in enumerate(readings.runs):
        lifts = readings.group_lift[readings.groups_of(place)]
        span = length(float(lifts[0])) + (f" to {length(float(lifts[-1]))}" if len(lifts) > 1 else "")
        _add_row(table, "", f"run “{name}”: {len(lifts)} lift{'s' if len(lifts) > 1 else ''}, {span}")
    _add_row(table, "total flow", job.flow.file if job.flow else "none (no coefficients, no closure)")
    _add_row(table, "cam", f"{len(job.cam.lift)} points" if job.cam else "none")
    return table
