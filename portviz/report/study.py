"""A study of valve and seat as a JSON document and as a table for a spreadsheet."""

from __future__ import annotations

import csv
from typing import TextIO

import numpy as np

from portviz.distribution.findings import closed_pressure, findings, spring_pressure
from portviz.distribution.heights import Heights
from portviz.distribution.study import HIGH_LIFT, Study
from portviz.geometry.contact import friction_bounds
from portviz.geometry.three_stage import curtain_area, head_area
from portviz.job.limits import Limit
from portviz.job.model import Array
from portviz.report.machine import FORMAT, Document, plain_number
from portviz.report.rows import safe_cell

#: Friction between face and seat, up to which bounds are given [-] (common practice, no source).
FRICTION = 0.2
NOTHING_OUTSIDE = "Nothing lies outside the table of usual ranges. That is no permission: the makers' figures decide."


def study_document(
    study: Study, limits: tuple[Limit, ...], warnings: list[str], heights: Heights | None = None
) -> Document:
    """Return what `study --json` prints."""
    said = findings(study, limits, range(study.count))
    columns = design_columns(study)
    return {
        "format": FORMAT,
        "title": study.job.title,
        "warnings": warnings,
        "run": None if study.coefficients is None else study.coefficients.run,
        "friction": FRICTION,
        "gap_limit_looked_up_to_m": HIGH_LIFT * study.job.valve.head_diameter,
        **({} if heights is None else {"cut_depth_m": heights.cut_depth, "plane_m": heights.plane}),
        "refused": [{"name": name, "changes": changes, "reason": reason} for name, changes, reason in study.refused],
        "designs": [design_document(study, place, said[place], columns, heights) for place in range(study.count)],
    }


def design_columns(study: Study) -> dict[str, Array]:
    """Return what belongs to a whole design, shape (N,), by its key; NaN where it is not known.

    Under the spring friction may lessen the pressure (sliding in) or keep more than it holds (wedged by a greater load
    before). The gas' greatest pressure is the greatest load itself: friction only takes away from it.
    """
    pressure = spring_pressure(study)
    closed = closed_pressure(study)
    low, high = friction_bounds(study.designs.dimensions.seat_angle, FRICTION)
    nothing = np.full(study.count, np.nan)
    return {
        "mean_pressure_pa": pressure,
        "mean_pressure_least_pa": pressure * low,
        "mean_pressure_greatest_pa": pressure * high,
        "mean_pressure_with_gas_pa": closed,
        "mean_pressure_with_gas_least_pa": closed * low,
        "low_lift_area_change": study.low_lift_change,
        "throat_from_lift_m": study.throat_takes_over(),
        "event_flow_area_m2": nothing if study.event_area is None else study.event_area,
        "event_flow_m3_s": nothing if study.event_flow is None else study.event_flow,
    }


def design_document(
    study: Study, place: int, said: list[str], columns: dict[str, Array], heights: Heights | None = None
) -> Document:
    """Return one design of a study; `columns` are those of `design_columns`."""
    contact, designs = study.contact, study.designs
    own = {key: plain_number(values[place]) for key, values in columns.items()}
    return {
        "name": designs.names[place],
        "changes": designs.changes[place],
        "lifts": _lifts(study, place, heights),
        "contact": {
            "inner_diameter_m": 2.0 * float(contact.inner_radius[place]),
            "outer_diameter_m": 2.0 * float(contact.outer_radius[place]),
            "mean_diameter_m": 2.0 * float(contact.mean_radius[place]),
            "width_m": float(contact.width[place]),
            "area_m2": float(contact.area[place]),
            **{key: own.pop(key) for key in list(own) if key.startswith("mean_pressure")},
            "interference_rad": float(contact.interference[place]),
            "worn_in_inner_diameter_m": 2.0 * float(contact.pressed_inner_radius[place]),
            "worn_in_outer_diameter_m": 2.0 * float(contact.pressed_outer_radius[place]),
            "face_overhang_m": float(contact.overhang[place]),
            "seat_left_bare_m": max(float(contact.bare[place]), 0.0),
            "protrusion_m": float(contact.protrusion[place]),
        },
        **own,
        **({} if heights is None else {"heights": _heights(heights, place)}),
        "findings": said,
    }


def _heights(heights: Heights, place: int) -> Document:
    least = None if heights.least_clearance is None else float(heights.least_clearance[place])
    return {
        "valve_sinks_m": float(heights.sinks[place]),
        "installed_height_grows_m": float(heights.sinks[place]),
        "protrusion_m": float(heights.protrusion[place]),
        "least_clearance_m": least,
        "least_clearance_lift_m": heights.highest_lift,
        "least_clearance_lift_of_cam": heights.of_cam,
        "touches": None if least is None else least <= 0.0,
    }


def _lifts(study: Study, place: int, heights: Heights | None = None) -> list[Document]:
    head = 2.0 * float(study.designs.dimensions.head_radius[place])
    flow, flow_u, band = study.flow[place], study.flow_u[place], study.flow_band[place]
    area = study.flow_area[place]
    clearance = None if heights is None or heights.clearance is None else heights.clearance[place]
    return [
        {
            "lift_m": float(lift),
            "stage": int(study.stage[place, column]),
            "three_stage_area_m2": float(study.three_stage_area[place, column]),
            "curtain_area_m2": float(curtain_area(lift, head)),
            "gap_area_m2": float(study.gap_area[place, column]),
            "throat_area_m2": float(study.throat_area[place, column]),
            "flow_area_m2": float(area[column]),
            "limited_by": "gap" if study.limited_by_gap[place, column] else "throat",
            "head_area_m2": float(head_area(head)),
            "flow_m3_s": plain_number(flow[column]),
            "flow_m3_s_u": plain_number(flow_u[column]),
            "flow_m3_s_band": plain_number(band[column]),
            **({} if clearance is None else {"clearance_m": float(clearance[column])}),
        }
        for column, lift in enumerate(study.lift.tolist())
    ]


def write_study_csv(study: Study, out: TextIO, heights: Heights | None = None) -> None:
    """Write the study as comma-separated text in SI to an open file, a row a design and lift, one after the other."""
    writer = csv.writer(out, lineterminator="\r\n")
    keys = list(dict.fromkeys(key for changes in study.designs.changes for key in changes))
    columns = design_columns(study)
    values = study.designs.values
    lifts = list(_lifts(study, 0, heights)[0])
    contact = ("inner_diameter_m", "outer_diameter_m", "width_m", "area_m2")
    writer.writerow(
        [
            "design",
            "name",
            *map(_with_unit, keys),
            *lifts,
            *(f"contact_{name}" for name in contact),
            *columns,
            *([] if heights is None else _heights(heights, 0)),
        ]
    )
    for place in range(study.count):
        whole = design_document(study, place, [], columns, heights)
        fixed = [whole["contact"][name] for name in contact]
        fixed += [plain_number(column[place]) for column in columns.values()]
        fixed += [] if heights is None else list(_heights(heights, place).values())
        changes = study.designs.changes[place]
        changed = [plain_number(changes.get(key, values[key][place])) for key in keys]
        name = study.designs.names[place]
        before = [place, "" if name is None else safe_cell(name), *changed]
        writer.writerows([*before, *row.values(), *fixed] for row in whole["lifts"])


def _with_unit(key: str) -> str:
    """Return a key of job.toml with its SI unit behind it."""
    last = key.rpartition(".")[2]
    unit = {"angle": "rad", "face_angle": "rad", "underhead_angle": "rad", "seat_force": "n", "gas_pressure": "pa"}
    return f"{key}_{unit.get(last, 'm')}"
