"""The lift event as a JSON document and as a table for a spreadsheet."""

from __future__ import annotations

import csv
import io
from typing import Any

import numpy as np

from portviz.distribution.crank_train import mean_piston_speed, sound_speed
from portviz.distribution.differences import Difference
from portviz.distribution.event_comparison import EventComparison, LiftEvent
from portviz.distribution.event_course import Course, event_course, flow_coefficient, inlet_mach_index
from portviz.distribution.event_uncertainty import Estimates
from portviz.distribution.turning import rolls_down_deg, turning, turning_spread
from portviz.job.model import Array
from portviz.report.comparison import quantities
from portviz.report.machine import FORMAT, Document, plain_number
from portviz.report.rows import safe_cell

AXES = ("about_bore_axis", "across_toward_0", "across_toward_90")


def event_document(
    events: LiftEvent, runs: list[int], comparisons: list[EventComparison], warnings: list[str]
) -> Document:
    """Return what `event --json` prints, for the given places among the reduction's runs."""
    job, event, course = events.reduction.job, events.event, event_course(events)
    return {
        "format": FORMAT,
        "title": job.title,
        "side": job.side,
        "warnings": warnings,
        "event": {
            "opening_deg": event.opening_deg,
            "closing_deg": event.closing_deg,
            "duration_deg": event.duration_deg,
            "peak_lift_m": event.peak_lift,
            "peak_deg": event.peak_deg,
            "assumed": event.assumed,
            "lash_m": job.cam.lash if job.cam is not None else 0.0,
        },
        "test_pressure_pa": job.bench.test_pressure,
        "engine": _engine_document(events),
        "course": {
            "crank_deg": course.crank_deg.tolist(),
            "lift_m": course.lift.tolist(),
            "piston_position_m": _plain(course.piston_position),
            "piston_speed_m_s": _plain(course.piston_speed),
            "volume_rate_m3_s": _plain(course.volume_rate),
        },
        "runs": [_run_document(events, run, course) for run in runs],
        "comparisons": [_comparison_document(events, each) for each in comparisons],
    }


def _engine_document(events: LiftEvent) -> Document | None:
    engine = events.reduction.job.engine
    if engine is None:
        return None
    known = engine.stroke is not None and engine.speed is not None
    return {
        "mean_piston_speed_m_s": mean_piston_speed(engine.stroke, engine.speed)  # type: ignore[arg-type]
        if known
        else None,
        "sound_speed_m_s": sound_speed(events.reduction.job),
        "dead_centre_deg": engine.dead_centre_deg,
        "valves": engine.valves,
    }


def _known(key: str, estimates: Estimates, place: int = 0) -> Document:
    """Return a value and its standard uncertainty."""
    return {
        key: plain_number(estimates.values[place]),
        f"{key}_u": plain_number(estimates.spread.standard[place]),
    }


def _plain(values: Array | None) -> list[float | None] | None:
    return None if values is None else [plain_number(value) for value in values.tolist()]


def _run_document(events: LiftEvent, run: int, course: Course) -> Document:
    reduction, found, known = events.reduction, events.runs[run], events.known[run]
    job, duration = reduction.job, events.event.duration_deg
    integral_u = plain_number(known.area_integral.spread.standard[0])
    bands, shares = found.bands, found.band_flow_share
    order = np.argsort(found.ring.station)
    return {
        "run": reduction.runs[run],
        "duration_deg": duration,
        **_known("area_integral_m2_deg", known.area_integral),
        "mean_effective_area_m2": plain_number(found.mean_effective_area),
        "mean_effective_area_m2_u": None if integral_u is None else integral_u / duration,
        **_known("mean_flow_m3_s", known.mean_flow),
        "beyond_measured_share": plain_number(found.beyond_share),
        "below_measured_share": plain_number(found.below_share),
        "lift_bands": [
            {
                "from_m": float(bands.start[band]),
                "to_m": float(bands.stop[band]),
                "time_share": float(bands.time_share[band]),
                "flow_share": plain_number(shares[band]),
                **_known("flow_m3_s", known.band_flow, band),
            }
            for band in range(len(bands.start))
        ],
        "stations": [
            {
                "angle_deg": float(job.stations.angles_deg[found.ring.station[place]]),
                **_known("flow_share", known.flow_share, place),
            }
            for place in order.tolist()
        ],
        "bias_magnitude": plain_number(found.bias_magnitude),
        "bias_magnitude_u": plain_number(known.bias_magnitude.spread.standard[0]),
        "bias_angle_deg": plain_number(found.bias_angle_deg),
        "bias_angle_deg_u": plain_number(known.bias_angle_deg.spread.standard[0]),
        "effective_areas": [
            {"lift_m": float(lift), **_known("effective_area_m2", known.effective_area, place)}
            for place, lift in enumerate(found.knots)
        ],
        "course": {
            "effective_area_m2": _plain(course.effective_area[run]),
            "demand_mach": None if course.demand_mach is None else _plain(course.demand_mach[run]),
        },
        "flow_coefficient": plain_number(flow_coefficient(job, found)),
        "mach_index": inlet_mach_index(job, found),
        "turning": _turning_document(events, run),
    }


def _turning_document(events: LiftEvent, run: int) -> Document | None:
    """Return the turning over the event and at each lift; the axes in the order of `AXES`."""
    reduction, known = events.reduction, events.known[run].turning
    engine = reduction.job.engine
    if known is None or engine is None:
        return None
    at_lifts = turning(reduction, engine)
    spreads = turning_spread(reduction, events.uncertainty, engine)
    order = (2, 0, 1)

    def at(group: int) -> Document:
        return {
            key: value
            for name, axis in zip(AXES, order, strict=True)
            for key, value in (
                (name, plain_number(at_lifts.coefficient[axis, group])),
                (f"{name}_u", plain_number(spreads[axis].standard[group])),
            )
        }

    over: Document = {}
    for name, axis in zip(AXES, order, strict=True):
        over |= _known(name, known, axis)
    return {
        **over,
        "rolls_down_deg": rolls_down_deg(known.values[:2]),
        "lifts": [
            {
                "lift_m": float(reduction.lift[group]),
                **at(group),
                "flux_about_bore_axis_n_m": plain_number(at_lifts.flux[2, group]),
            }
            for group in events.runs[run].ring.groups.tolist()
        ],
    }


def _comparison_document(events: LiftEvent, each: EventComparison) -> Document:
    def one(difference: Difference) -> Document:
        return quantities(difference)[0]

    gains = each.band_gain_share
    return {
        "runs": [events.reduction.runs[each.a], events.reduction.runs[each.b]],
        "mean_flow_m3_s": one(each.values["mean_flow"]),
        "mean_effective_area_m2": one(each.values["mean_effective_area"]),
        "area_integral_m2_deg": one(each.values["area_integral"]),
        "bias": None
        if each.bias is None
        else {
            "magnitude_a": plain_number(each.bias.magnitude.a[0]),
            "magnitude_b": plain_number(each.bias.magnitude.b[0]),
            "magnitude_u": plain_number(each.bias.magnitude.u[0]),
            "shift": [plain_number(part) for part in each.bias.shift],
            "u": plain_number(each.bias.u),
            "verdict": each.bias.magnitude.verdicts[0],
            "shift_shown": each.bias.shown,
        },
        "stations": None
        if each.flow_share is None
        else [
            {"angle_deg": float(angle), "flow_share": share}
            for angle, share in zip(each.angles_deg, quantities(each.flow_share), strict=True)
        ],
        "lift_bands": [
            {
                "from_m": float(each.edges[band]),
                "to_m": float(each.edges[band + 1]),
                "flow_m3_s": flow,
                "gain_share": plain_number(gains[band]),
            }
            for band, flow in enumerate(quantities(each.band_flow))
        ],
        "turning": None if each.turning is None else _turned(each.turning),
    }


def _turned(difference: Difference) -> dict[str, Any]:
    each = quantities(difference)
    return {name: each[axis] for name, axis in zip(AXES, (2, 0, 1), strict=True)}


def event_csv(events: LiftEvent, runs: list[int]) -> str:
    """Return the event against crank angle at the cam's points, a row a run and point, in SI."""
    course = event_course(events)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(
        [
            "run",
            "crank_deg",
            "lift_m",
            "effective_area_m2",
            "flow_m3_s",
            "piston_position_m",
            "piston_speed_m_s",
            "volume_rate_m3_s",
            "demand_mach",
        ]
    )

    def cell(values: Any, *place: int) -> float | None:
        return None if values is None else plain_number(values[place])

    for run in runs:
        for point in range(len(course.crank_deg)):
            writer.writerow(
                [
                    safe_cell(events.reduction.runs[run]),
                    float(course.crank_deg[point]),
                    float(course.lift[point]),
                    cell(course.effective_area, run, point),
                    cell(course.flow, run, point),
                    cell(course.piston_position, point),
                    cell(course.piston_speed, point),
                    cell(course.volume_rate, point),
                    cell(course.demand_mach, run, point),
                ]
            )
    return out.getvalue()
