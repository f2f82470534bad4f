"""Results as JSON documents: SI, the unit in each key; NaN becomes null."""

from __future__ import annotations

import contextlib
import gc
import json
import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from portviz.distribution.areas import Areas
from portviz.distribution.reduce import Reduction, upstream_pressure
from portviz.job.model import Array, Job

FORMAT = 1
Document = dict[str, Any]


def to_text(document: Document) -> str:
    """Return a document as JSON text, in ASCII, so that any terminal or pipe takes it unchanged."""
    return json.dumps(document, indent=1, allow_nan=False)


def _plain(values: Array) -> list[float | None]:
    """Return floats, with None for NaN."""
    values = np.asarray(values)
    if not np.isnan(values).any():
        plain: list[float | None] = values.tolist()
        return plain
    return [None if math.isnan(value) else value for value in values.tolist()]


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
    names = tuple(columns)
    return [dict(zip(names, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def area_document(areas: Areas, warnings: list[str]) -> Document:
    """Return what `area --json` prints."""
    return {"format": FORMAT, "warnings": warnings, "lifts": area_rows(areas)}


def summary_document(reduction: Reduction, runs: list[int], warnings: list[str]) -> Document:
    """Return what `summary --json` prints, for the given places among the reduction's runs."""
    with collector_paused():
        return _summary_document(reduction, runs, warnings)


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


def _summary_document(reduction: Reduction, runs: list[int], warnings: list[str]) -> Document:
    job = reduction.job
    lifts, stations = lift_rows(reduction), station_rows(reduction)
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


def lift_rows(reduction: Reduction) -> list[Document]:
    """Return the results of each group, without its stations."""
    diameter = reduction.job.valve.head_diameter
    more = {
        "lift_over_diameter": (reduction.lift / diameter).tolist(),
        "test_pressure_pa": reduction.test_pressure.tolist(),
        "flow_m3_s": _plain(reduction.bench_flow),
        "discharge_coefficient": _plain(reduction.discharge_coefficient),
        "flow_area_coefficient": _plain(reduction.flow_area_coefficient),
        "closure": _plain(reduction.closure),
        "mean_velocity_m_s": _plain(reduction.measures.mean),
        "coefficient_of_variation": _plain(reduction.measures.coefficient_of_variation),
        "uniformity_index": _plain(reduction.measures.uniformity_index),
        "bias_magnitude": _plain(reduction.bias_magnitude),
        "bias_angle_deg": _plain(reduction.bias_angle_deg),
        "even_bias_magnitude": _plain(reduction.even_bias_magnitude),
        "even_bias_angle_deg": _plain(reduction.even_bias_angle_deg),
    }
    return [{**area, **row} for area, row in zip(area_rows(reduction.areas), _rows(more), strict=True)]


def station_rows(reduction: Reduction) -> list[Document]:
    """Return the results of each station."""
    stations, job = reduction.stations, reduction.job
    reading = "reading_m_s" if job.gauge.kind == "velocity" else "reading_pa"
    columns: dict[str, list[Any]] = {
        "angle_deg": job.stations.angles_deg[stations.station].tolist(),
        reading: _plain(stations.reading),
        "repeats": stations.repeats.tolist(),
        "drop_pa": _plain(stations.drop),
        "velocity_m_s": _plain(stations.velocity),
        "velocity_ratio": _plain(stations.velocity_ratio),
        "mach": _plain(stations.mach),
        "sector_deg": stations.sector_deg.tolist(),
        "flow_share": _plain(stations.flow_share),
        "flow_m3_s": _plain(stations.flow),
    }
    if job.gauge.kind == "velocity":
        columns["reading_pa"] = [None] * len(stations.station)
    return _rows(columns)


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
    }
