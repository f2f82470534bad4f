"""All results as a workbook: what stands on its sheets. The numbers are those of the JSON documents, in SI."""

from __future__ import annotations

from typing import Any

import numpy as np

from portviz.distribution.comparison import Side, compare_runs
from portviz.distribution.event_comparison import lift_event
from portviz.distribution.event_notes import event_warnings
from portviz.distribution.reduce import Reduction
from portviz.distribution.uncertainty import Uncertainty, linear_uncertainty, reduction_uncertainty
from portviz.errors import PortvizError, UsageError
from portviz.job.model import Job
from portviz.job.words import lift_text
from portviz.report.comparison import comparison_document, comparison_warnings
from portviz.report.event import event_document
from portviz.report.machine import Document, summary_document
from portviz.report.workbook_file import UNITS, Cell, Sheet

#: Rows that a sheet of the format has room for.
MOST_ROWS = 1_048_576


def result_sheets(
    reduction: Reduction, runs: list[int], warnings: list[str], uncertainty: Uncertainty, caution: str
) -> list[Sheet]:
    """Return what is known of runs, at the given places among the reduction's, sheet by sheet.

    Parameters
    ----------
    reduction : Reduction
    runs : list of int
    warnings : list of str
        Those of the reduction.
    uncertainty : Uncertainty
    caution : str
        What a reader must know before metal is cut.

    Raises
    ------
    UsageError
        If a sheet has more rows than the format allows.
    """
    document = summary_document(reduction, runs, warnings, uncertainty)
    told = [*warnings]
    sheets = [_about(reduction.job, document, caution), *_summary_sheets(reduction.job, document)]
    sheets += _comparison_sheets(reduction, runs, told)
    sheets += _event_sheets(reduction, runs, told)
    sheets.insert(3, Sheet("warnings", ["warning"], [[text] for text in dict.fromkeys(told)] or [["none"]]))
    for sheet in sheets:
        if len(sheet.rows) >= MOST_ROWS:
            raise UsageError(
                f"file: {len(sheet.rows):,} rows of {sheet.name} are more than a workbook's sheet can hold; "
                "let the file end in .csv, or choose one run"
            )
    return sheets


def _about(job: Job, document: Document, caution: str) -> Sheet:
    air, bench, room = document["air"], job.bench, job.bench.air
    known: list[tuple[str, Cell, str]] = [
        ("title", job.title, ""),
        ("side", job.side, ""),
        ("runs", ", ".join(run["run"] for run in document["runs"]), ""),
        ("test pressure", bench.test_pressure, "Pa"),
        ("room: temperature", room.temperature, "K"),
        ("room: barometer", room.pressure, "Pa"),
        ("room: relative humidity", room.humidity, "-"),
        ("air before the valve: density", air["density_kg_m3"], "kg/m³"),
        ("air before the valve: pressure", air["upstream_pressure_pa"], "Pa"),
        ("air: gas constant", air["gas_constant_j_kg_k"], "J/(kg K)"),
        ("valve: head diameter", job.valve.head_diameter, "m"),
        ("valve: stem diameter", job.valve.stem_diameter, "m"),
        ("valve: face angle", float(np.degrees(job.valve.face_angle)), "deg"),
        ("seat: angle", float(np.degrees(job.seat.angle)), "deg"),
        ("seat: width", job.seat.width, "m"),
        ("seat: throat diameter", job.seat.throat_diameter, "m"),
        ("gauge: reads", job.gauge.reads, ""),
        ("gauge: coefficient", job.gauge.coefficient, "-"),
        (
            "gauge: standard uncertainty of a reading",
            job.gauge.accuracy,
            "Pa" if job.gauge.kind == "pressure" else "m/s",
        ),
        ("station 0 faces", job.stations.reference, ""),
        (
            "numbers",
            "SI, with the unit in each header; u is a standard uncertainty. Empty: not known, or not stated.",
            "",
        ),
        (
            "angles",
            "Of stations: anticlockwise seen from the cylinder, from station 0. Of metal: from the head's plane.",
            "",
        ),
        ("measured", "Lifts and stations as read on the bench; nothing on these sheets is a statement on power.", ""),
        ("caution", caution, ""),
    ]
    return Sheet("about", ["what", "value", "unit"], [list(row) for row in known])


def _summary_sheets(job: Job, document: Document) -> list[Sheet]:
    """Return the sheets of lifts and of stations."""
    lifts, stations = Sheet("lifts", []), Sheet("stations", [])
    for run in document["runs"]:
        for row in run["lifts"]:
            place = {"run": run["run"], "lift": lift_text(job, row["lift_m"])}
            _add(lifts, {**place, **{key: value for key, value in row.items() if key != "stations"}})
            for tap in row["stations"]:
                _add(stations, {**place, "lift_m": row["lift_m"], **tap})
    return [lifts, stations]


def _add(sheet: Sheet, row: dict[str, Cell]) -> None:
    """Add a row to a sheet, whose first row makes its header."""
    if not sheet.keys:
        sheet.keys = [*row]
    sheet.rows.append([row.get(key) for key in sheet.keys])


def _comparison_sheets(reduction: Reduction, runs: list[int], told: list[str]) -> list[Sheet]:
    """Return what changed from the first run to each other one, by lift and by station; add what must be told of it."""
    job = reduction.job
    lifts, stations = Sheet("comparison", []), Sheet("comparison by station", [])
    for other in runs[1:]:
        pair = (runs[0], other)
        names = {"before": reduction.runs[pair[0]], "after": reduction.runs[pair[1]]}
        known = reduction_uncertainty(reduction, runs=list(pair))
        try:
            comparison = compare_runs(*(Side(reduction, known, run) for run in pair))
        except PortvizError as error:
            told.append(f"{names['after']!r} is not compared with {names['before']!r}: {error}")
            continue
        told += comparison_warnings(comparison)
        for row in comparison_document(comparison, [])["lifts"]:
            place = {**names, "lift": lift_text(job, row["lift_m"]), "lift_m": row["lift_m"]}
            bias = row["bias"]
            _add(
                lifts,
                {
                    **place,
                    **{key: value for name in _COMPARED for key, value in _change(name, row[name]).items()},
                    "bias_before": bias["magnitude_a"],
                    "bias_after": bias["magnitude_b"],
                    "bias_u": bias["magnitude_u"],
                    "bias_verdict": bias["verdict"],
                    "bias_shift_toward_0": bias["shift"][0],
                    "bias_shift_toward_90": bias["shift"][1],
                    "bias_shift_u": bias["u"],
                },
            )
            for tap in row["stations"]:
                changes = [_change(name, tap[name]) for name in ("velocity_m_s", "flow_share")]
                _add(stations, {**place, "angle_deg": tap["angle_deg"], **changes[0], **changes[1]})
    return [sheet for sheet in (lifts, stations) if sheet.rows]


_COMPARED = (
    "flow_m3_s",
    "mean_velocity_m_s",
    "uniformity_index",
    "coefficient_of_variation",
    "closure",
    "discharge_coefficient",
)


def _change(key: str, change: dict[str, Any]) -> dict[str, Cell]:
    """Return a difference as columns whose keys end in the unit."""
    unit = next((end for end in UNITS if key.endswith(end)), "")
    name = key.removesuffix(unit)
    return {
        f"{name}_before{unit}": change["a"],
        f"{name}_after{unit}": change["b"],
        f"{name}_difference{unit}": change["difference"],
        f"{name}_difference{unit}_u": change["u"],
        f"{name}_verdict": change["verdict"],
    }


def _event_sheets(reduction: Reduction, runs: list[int], told: list[str]) -> list[Sheet]:
    """Return the lift event of runs, where the job has a cam; add what must be told of it."""
    if reduction.job.cam is None:
        return []
    try:
        events = lift_event(reduction, linear_uncertainty(reduction))
    except PortvizError as error:
        told.append(f"the lift event is left out: {error}")
        return []
    told += event_warnings(events, runs)
    whole, bands, stations = Sheet("event", []), Sheet("event by band", []), Sheet("event by station", [])
    for run in event_document(events, runs, [], [])["runs"]:
        _add(whole, {key: value for key, value in run.items() if not isinstance(value, dict | list)})
        for number, band in enumerate(run["lift_bands"], start=1):
            _add(bands, {"run": run["run"], "band": number, **band})
        for tap in run["stations"]:
            _add(stations, {"run": run["run"], **tap})
    return [whole, bands, stations]
