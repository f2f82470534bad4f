"""Results as JSON documents: SI, the unit in each key; NaN becomes null."""

from __future__ import annotations

import contextlib
import gc
import itertools
import json
import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt

from portviz.distribution.areas import Areas
from portviz.distribution.cam_event import CamEvent, cam_event
from portviz.distribution.columns import Column, lift_columns, station_columns, with_uncertainties
from portviz.distribution.reduce import Reduction, upstream_pressure
from portviz.distribution.uncertainty import Uncertainty, reduction_uncertainty
from portviz.job.model import Cam, Engine, Job

FORMAT = 1
Document = dict[str, Any]


def to_text(document: Document) -> str:
    """Return a document as JSON text, in ASCII, so that any terminal or pipe takes it unchanged."""
    return json.dumps(document, indent=1, allow_nan=False)


def _plain(values: npt.NDArray[Any]) -> list[Any]:
    """Return plain values, with None for floats that are not finite."""
    if values.dtype.kind != "f":
        return list(values.tolist())
    finite = np.isfinite(values)
    if not finite.any():
        return [None] * len(values)
    if finite.all():
        return list(values.tolist())
    return [value if math.isfinite(value) else None for value in values.tolist()]


def plain_number(value: float) -> float | None:
    """Return a number, with None for what is not finite."""
    return float(value) if math.isfinite(value) else None


def area_rows(areas: Areas) -> list[Document]:
    """Return the areas of each lift."""
    columns = {
        "lift_m": areas.lift.tolist(),
        "stage": areas.stage.tolist(),
        "three_stage_area_m2": areas.three_stage_area.tolist(),
        "curtain_area_m2": areas.curtain_area.tolist(),
        "gap_area_m2": areas.gap_area.tolist(),
        "throat_area_m2": areas.throat_area.tolist(),
        "flow_area_m2": areas.flow_area.tolist(),
        "limited_by": ["gap" if gap else "throat" for gap in areas.limited_by_gap.tolist()],
        "head_area_m2": areas.head_area.tolist(),
    }
    return _rows(columns)


def _rows(columns: dict[str, list[Any]]) -> list[Document]:
    # All in C: a document of many stations spends most of its time here.
    return list(map(dict, map(zip, itertools.repeat(tuple(columns)), zip(*columns.values(), strict=True))))


def area_document(areas: Areas, warnings: list[str]) -> Document:
    """Return what `area --json` prints."""
    return {"format": FORMAT, "warnings": warnings, "lifts": area_rows(areas)}


def summary_document(
    reduction: Reduction, runs: list[int], warnings: list[str], uncertainty: Uncertainty | None = None
) -> Document:
    """Return what `summary --json` prints, for the given places among the reduction's runs."""
    with collector_paused():
        return _summary_document(reduction, runs, warnings, uncertainty or reduction_uncertainty(reduction))


@contextlib.contextmanager
def collector_paused() -> Iterator[None]:
    """Pause the garbage collector, which would walk a growing document again and again."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _summary_document(reduction: Reduction, runs: list[int], warnings: list[str], uncertainty: Uncertainty) -> Document:
    job = reduction.job
    lifts, stations = lift_rows(reduction, uncertainty), station_rows(reduction, uncertainty)
    room = job.bench.air
    upstream = float(upstream_pressure(job, np.array(job.bench.test_pressure)))
    # Stations stand in the job's order, group by group.
    starts = reduction.starts.tolist()
    ends = [*starts[1:], len(stations)]
    order = np.lexsort((reduction.stations.station, reduction.station_group))
    in_job_order = [stations[place] for place in order.tolist()]
    for row, start, end in zip(lifts, starts, ends, strict=True):
        row["stations"] = in_job_order[start:end]
    return {
        "format": FORMAT,
        "title": job.title,
        "side": job.side,
        "air": {
            "density_kg_m3": upstream / (room.gas_constant * room.temperature),
            "upstream_pressure_pa": upstream,
            "temperature_k": room.temperature,
            "gas_constant_j_kg_k": room.gas_constant,
        },
        "warnings": warnings,
        "runs": [
            {"run": reduction.runs[run], "lifts": [lifts[group] for group in reduction.groups_of(run)]} for run in runs
        ],
    }


def lift_rows(reduction: Reduction, uncertainty: Uncertainty) -> list[Document]:
    """Return the results of each group, without its stations; each with its standard uncertainty beside it."""
    return _rows(_plain_columns(lift_columns(reduction, uncertainty)))


def station_rows(reduction: Reduction, uncertainty: Uncertainty) -> list[Document]:
    """Return the results of each station; each with its standard uncertainty beside it."""
    columns = _plain_columns(station_columns(reduction, uncertainty))
    if reduction.job.gauge.kind == "velocity":
        columns["reading_pa"] = [None] * len(reduction.stations.station)
    return _rows(columns)


def _plain_columns(columns: dict[str, Column]) -> dict[str, list[Any]]:
    return {name: _plain(np.asarray(values)) for name, values in with_uncertainties(columns).items()}


def check_document(job: Job, warnings: list[str]) -> Document:
    """Return what `check --json` prints."""
    readings = job.readings
    runs = []
    if readings is not None:
        runs = [
            {"run": name, "lifts_m": readings.group_lift[readings.groups_of(place)].tolist()}
            for place, name in enumerate(readings.runs)
        ]
    return {
        "format": FORMAT,
        "title": job.title,
        "side": job.side,
        "warnings": warnings,
        "stations_deg": job.stations.angles_deg.tolist(),
        "readings": 0 if readings is None else len(readings.value),
        "runs": runs,
        "has_flow": job.flow is not None,
        "has_cam": job.cam is not None,
        "cam": None if job.cam is None else _cam_section(job.cam, cam_event(job)),
        "engine": None if job.engine is None else _engine_section(job.engine),
    }


def _cam_section(cam: Cam, event: CamEvent) -> Document:
    return {
        "file": cam.file,
        "points": len(cam.lift),
        "assumed": event.assumed,
        "opening_deg": event.opening_deg,
        "closing_deg": event.closing_deg,
        "duration_deg": event.duration_deg,
        "peak_lift_m": event.peak_lift,
        "peak_deg": event.peak_deg,
        "lash_m": cam.lash,
    }


def _engine_section(engine: Engine) -> Document:
    return {
        "bore_m": engine.bore,
        "stroke_m": engine.stroke,
        "rod_length_m": engine.rod_length,
        "speed_rad_s": engine.speed,
        "valves": engine.valves,
        "valve_offset_m": engine.valve_offset,
        "valve_direction_deg": engine.valve_direction_deg,
        "dead_centre_deg": engine.dead_centre_deg,
    }
