"""From a folder of bench files to a `Job`."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from portviz.air import RoomAir, saturation_pressure
from portviz.defaults import FACE_OVER_SEAT_WIDTH, or_as
from portviz.errors import JobError, UnitError
from portviz.job.cam import in_degrees, read_cam
from portviz.job.folder import find_job_file, find_tables
from portviz.job.model import (
    JOB_FILE,
    Bench,
    Cut,
    DisplayUnits,
    Engine,
    Gauge,
    Handover,
    Job,
    Seat,
    Stations,
    Valve,
)
from portviz.job.readings import FLOW_COLUMNS, READING_COLUMNS, read_bench_flow, read_readings
from portviz.job.schema import CutTable, EngineTable, JobTable, validate_job_table
from portviz.job.tables import Table, read_table
from portviz.job.textfile import decode, read_bytes, require_short_lines
from portviz.job.toml_text import parse_toml
from portviz.units import in_unit, is_metric, parse_quantity, split_quantity

MAX_JOB_BYTES = 2**20
#: A head may touch the bore; what two units round differently is no overlap [m].
_TOUCHING = 1e-9


def read_job(folder: str | Path, *, tables: bool = True) -> Job:
    """Read a job's folder.

    Parameters
    ----------
    folder : str or Path
        The folder that holds job.toml, or job.toml itself.
    tables : bool
        Also read the tables; without them only the geometry is there.

    Returns
    -------
    Job

    Raises
    ------
    JobError
        For the first thing in the files that is wrong.
    """
    folder = Path(folder)
    try:
        job_file = find_job_file(folder)
        folder = job_file.parent
        found, remarks = find_tables(folder) if tables else ({}, ())
    except OSError as error:
        raise JobError(f"the folder can't be read: {error.strerror or error}", file=str(folder)) from None
    raw = read_toml(job_file)
    table = validate_job_table(raw)
    room = _room(table, raw)
    stations = _stations(table)
    gauge = _gauge(table)
    readings_table = flow_table = readings = flow = cam = None
    if "readings" in found:
        readings_table = read_table(found["readings"][0], READING_COLUMNS[gauge.kind], found["readings"][1])
        readings = read_readings(readings_table, gauge, stations)
    if "flow" in found:
        flow_table = read_table(found["flow"][0], FLOW_COLUMNS, found["flow"][1])
        if readings is None or readings_table is None:
            raise JobError(
                "there is total flow, but no readings at the stations",
                file=flow_table.file,
                mend="Add readings.csv with the columns run, lift, station, reading",
            )
        flow = read_bench_flow(flow_table, readings, table.bench.test_pressure, readings_table.units["lift"])
    if tables:
        cam = read_cam(found.get("cam"), table.cam, raw.get("cam", {}), table.side)
    return Job(
        folder=folder,
        title=table.title,
        side=table.side,
        valve=_valve(table),
        seat=_seat(table),
        bench=_bench(table, room),
        gauge=gauge,
        stations=stations,
        units=_display_units(raw, gauge, readings_table, flow_table),
        readings=readings,
        flow=flow,
        cam=cam,
        engine=None if table.engine is None else _engine(table.engine, table, raw),
        handover=_handover(table),
        remarks=remarks,
        unnamed=_unnamed(table),
    )


def with_valve_and_seat(job: Job, table: JobTable) -> Job:
    """Return a job with the valve and the seat of another table."""
    return replace(job, valve=_valve(table), seat=_seat(table), unnamed=_unnamed(table))


def read_toml(path: Path) -> dict[str, Any]:
    """Return a TOML file's content.

    Raises
    ------
    JobError
        If it can't be read or is none.
    """
    text = decode(read_bytes(path, MAX_JOB_BYTES, "a text file"), path.name)
    require_short_lines(text, path.name, "a job")
    return parse_toml(text.replace("\r\n", "\n"), path.name)


def _valve(table: JobTable) -> Valve:
    valve, seat = table.valve, table.seat
    return Valve(
        head_diameter=valve.head_diameter,
        stem_diameter=valve.stem_diameter,
        face_angle=or_as(valve.face_angle, seat.angle),
        face_width=or_as(valve.face_width, FACE_OVER_SEAT_WIDTH * seat.width),
        margin=valve.margin,
        back_cut=_cut(valve.back_cut),
        underhead_angle=valve.underhead_angle,
        fillet_radius=valve.fillet_radius,
        length_uncertainty=valve.length_uncertainty,
        seat_force=valve.seat_force,
        gas_pressure=valve.gas_pressure,
    )


def _unnamed(table: JobTable) -> frozenset[str]:
    """Return the keys that were left to a default which hangs on another dimension."""
    left = {
        "valve.face_angle": table.valve.face_angle,
        "valve.face_width": table.valve.face_width,
        "seat.outer_diameter": table.seat.outer_diameter,
    }
    return frozenset(key for key, value in left.items() if value is None)


def _seat(table: JobTable) -> Seat:
    seat = table.seat
    return Seat(
        angle=seat.angle,
        width=seat.width,
        outer_diameter=or_as(seat.outer_diameter, table.valve.head_diameter),
        top_cut=_cut(seat.top_cut),
        bottom_cuts=tuple(Cut(cut.angle, cut.width) for cut in seat.bottom_cuts),
        throat_diameter=seat.throat_diameter,
        length_uncertainty=seat.length_uncertainty,
    )


def _room(table: JobTable, raw: dict[str, Any]) -> RoomAir:
    room = RoomAir(table.bench.barometer, table.bench.temperature, table.bench.humidity)
    vapour = room.humidity * saturation_pressure(room.temperature)
    if vapour >= 0.9 * room.pressure:
        unit = split_quantity(raw["bench"]["barometer"], "pressure")[1]
        raise JobError(
            f"the room would hold more water than air: {in_unit(vapour, unit, 'pressure'):.4g} {unit} of vapour",
            file=JOB_FILE,
            place="bench.temperature, bench.humidity, bench.barometer",
            value=f"barometer {raw['bench']['barometer']}",
            expected="a barometer well above the vapour's pressure",
            mend="Check the three, and their units",
        )
    return room


def _cut(cut: CutTable | None) -> Cut | None:
    return None if cut is None else Cut(cut.angle, cut.width)


def _gauge(table: JobTable) -> Gauge:
    gauge = Gauge(table.gauge.reads, table.gauge.coefficient, None)
    return replace(
        gauge,
        accuracy=_positive(table.gauge.accuracy, gauge.kind, "gauge.accuracy"),
        resolution=_positive(table.gauge.resolution, gauge.kind, "gauge.resolution"),
        coefficient_uncertainty=table.gauge.coefficient_uncertainty,
    )


def _positive(typed: object, kind: str, key: str) -> float | None:
    """Return a typed quantity above zero in SI; None where nothing is typed."""
    if typed is None:
        return None
    try:
        value = parse_quantity(typed, kind)
    except UnitError as error:
        raise JobError(error.problem, file=JOB_FILE, place=key, value=typed, mend=error.mend) from None
    if not value > 0.0:
        name = key.rpartition(".")[2].replace("_", " ")
        raise JobError(f"the {name} must be larger than zero", file=JOB_FILE, place=key, value=typed)
    return value


def _bench(table: JobTable, room: RoomAir) -> Bench:
    bench = table.bench
    part = isinstance(bench.flow_accuracy, str) and bench.flow_accuracy.rstrip().endswith("%")
    try:
        accuracy = _positive(bench.flow_accuracy, "ratio" if part else "flow", "bench.flow_accuracy")
    except JobError as error:
        if part:
            raise
        raise JobError(
            "this is neither a part of a flow nor a flow",
            file=JOB_FILE,
            place="bench.flow_accuracy",
            value=bench.flow_accuracy,
            expected='a part such as "1 %", or a flow such as "0.5 cfm"',
        ) from error
    if part and accuracy is not None and accuracy > 0.5:
        raise JobError(
            "a flow that is not known to a half of itself tells nothing",
            file=JOB_FILE,
            place="bench.flow_accuracy",
            value=bench.flow_accuracy,
            expected="at most 50 %",
        )
    return Bench(
        bench.test_pressure,
        room,
        flow_accuracy=None if part else accuracy,
        flow_accuracy_part=accuracy if part else None,
        test_pressure_uncertainty=bench.test_pressure_uncertainty,
        density_uncertainty=bench.density_uncertainty,
        lift_uncertainty=bench.lift_uncertainty,
        subtract_leak=bench.leak_test == "subtract",
    )


def _engine(engine: EngineTable, table: JobTable, raw: dict[str, Any]) -> Engine:
    """Return the cylinder, whose rod must reach round the crank and whose bore must hold the valve."""
    typed = raw["engine"]
    if engine.stroke is not None and engine.rod_length is not None and engine.rod_length <= 0.5 * engine.stroke:
        raise JobError(
            "the rod is not longer than half the stroke, so that the crank can't turn",
            file=JOB_FILE,
            place="engine.rod_length, engine.stroke",
            value=f"rod_length {typed['rod_length']}, stroke {typed['stroke']}",
            expected="a rod clearly longer than half the stroke, measured between the centres of its bearings",
            mend="Check both, and their units",
        )
    head = table.valve.head_diameter
    room = 0.5 * engine.bore - 0.5 * head - or_as(engine.valve_offset, 0.0)
    if room < -_TOUCHING:
        offset = engine.valve_offset is not None
        unit = split_quantity(typed["valve_offset" if offset else "bore"], "length")[1]
        over = f"{in_unit(-room, unit, 'length'):.4g} {unit}"
        shown = [f"bore {typed['bore']}", f"head_diameter {raw['valve']['head_diameter']}"]
        shown += [f"valve_offset {typed['valve_offset']}"] if offset else []
        raise JobError(
            f"the valve's head would stand {over} outside the bore",
            file=JOB_FILE,
            place=", ".join(["engine.bore", *["engine.valve_offset"] * offset, "valve.head_diameter"]),
            value=", ".join(shown),
            expected="valve_offset and half the head's diameter together at most half the bore",
            mend="Check them, and their units; valve_offset is a distance between two axes, not two edges",
        )
    return Engine(
        bore=engine.bore,
        stroke=engine.stroke,
        rod_length=engine.rod_length,
        speed=engine.speed,
        valves=engine.valves,
        valve_offset=engine.valve_offset,
        valve_direction_deg=None if engine.valve_direction is None else in_degrees(engine.valve_direction),
        dead_centre_deg=None if engine.dead_centre is None else in_degrees(engine.dead_centre),
    )


def _handover(table: JobTable) -> Handover:
    shop, customer = table.shop, table.customer
    words: dict[str, str | None] = {}
    if shop is not None:
        words.update(shop=shop.name, address=shop.address, contact=shop.contact, logo=shop.logo)
    if customer is not None:
        words.update(customer=customer.name, head=customer.head, order=customer.order)
    return Handover(**{name: text for name, text in words.items() if text is not None})


def _stations(table: JobTable) -> Stations:
    stations = Stations(np.array(table.stations.angles, dtype=float), table.stations.reference)
    order = np.argsort(stations.circle_deg, kind="stable")
    circle = stations.circle_deg[order]
    apart = np.diff(circle, append=circle[0] + 360.0)
    if np.any(apart < 1e-6):
        first = int(np.argmax(apart < 1e-6))
        pair = [stations.angles_deg[order[(first + step) % len(order)]] for step in (0, 1)]
        raise JobError(
            "the same station is listed twice",
            file=JOB_FILE,
            place="stations.angles",
            value=f"{pair[0]:g} and {pair[1]:g}",
            expected="each angle once (360 is 0)",
        )
    return stations


def _display_units(raw: dict[str, Any], gauge: Gauge, readings: Table | None, flow: Table | None) -> DisplayUnits:
    length = split_quantity(raw["valve"]["head_diameter"], "length")[1]
    if readings is not None:
        length = readings.units["lift"]
    pressure = split_quantity(raw["bench"]["test_pressure"], "pressure")[1]
    metric = is_metric(length)
    velocity = "m/s" if metric else "ft/s"
    if readings is not None:
        if gauge.kind == "velocity":
            velocity = readings.units["reading"]
        else:
            pressure = readings.units["reading"]
    volume = flow.units["flow"] if flow is not None else ("l/s" if metric else "cfm")
    return DisplayUnits(length, pressure, volume, velocity)
