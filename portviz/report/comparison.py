"""Two runs compared, as a JSON document and as tables."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from rich.console import Group, RenderableType
from rich.text import Text

from portviz.distribution.comparison import Comparison, LiftComparison, Side, packed_to_one_side
from portviz.distribution.differences import Difference
from portviz.distribution.verdicts import NOT_SHOWN, expanded
from portviz.job.digits import decimals_of
from portviz.job.model import Array, Job
from portviz.job.words import lift_text
from portviz.report.layout import add_row, new_table, titled
from portviz.report.machine import FORMAT, Document, plain_number
from portviz.report.uncertainty import WHAT_TO_ADD
from portviz.units import in_unit, number_text

_SIGNS = {"higher": "↑", "lower": "↓", NOT_SHOWN: "·"}


def comparison_warnings(comparison: Comparison) -> list[str]:
    """Return what a reader of a comparison must be warned of."""
    a, b = comparison.a, comparison.b
    before, after = a.label(b), b.label(a)
    found = _other_heads(a.reduction.job, b.reduction.job)
    for name, lifts in ((before, comparison.only_a), (after, comparison.only_b)):
        if len(lifts):
            listed = ", ".join(lift_text(a.reduction.job, float(lift)) for lift in lifts[:12])
            closed = "; with the valve closed there is nothing to compare" if lifts[0] == 0.0 else ""
            found.append(f"measured in run {name!r} only, or closed, and not compared: {listed}{closed}")
    if comparison.on_field:
        found.append(
            "where stations differ, the second run's interpolated field is compared at the first one's stations; what "
            "the field does between stations is not measured, so that there is no verdict there, nor on measures of "
            "the whole ring"
        )
    rescaled = [lift_text(a.reduction.job, each.lift) for each in comparison.lifts if each.rescaled]
    if rescaled:
        found.append(
            f"test pressure or air differ at {', '.join(rescaled[:12])}: velocities and flow of {after!r} are "
            f"rescaled to those of {before!r} (at one velocity ratio; at one effective area by the compressible flux)"
        )
    unknown = [
        each.lift
        for each in comparison.lifts
        if any(_not_known(side, group) for side, group in zip((a, b), each.groups, strict=True))
    ]
    if unknown:
        where = ", ".join(lift_text(a.reduction.job, lift) for lift in unknown[:12])
        doubtful = [
            name
            for name, side, place in ((before, a, 0), (after, b, 1))
            if any(_not_known(side, each.groups[place]) for each in comparison.lifts)
        ]
        found.append(
            f"no verdict at {where}: nothing is known of how well {' and '.join(map(repr, doubtful))} "
            f"{'were' if len(doubtful) > 1 else 'was'} read; {WHAT_TO_ADD}"
        )
    flows = [each.values["flow"] for each in comparison.lifts]
    if all(np.isnan(each.difference[0]) for each in flows):
        found.append("no verdict on flow, closure and coefficients: the bench's flow was not measured in both runs")
    elif all(np.isnan(each.u[0]) for each in flows):
        found.append("no verdict on flow, closure and coefficients: state bench.flow_accuracy in job.toml")
    packed = packed_to_one_side(comparison)
    if packed:
        where = ", ".join(lift_text(a.reduction.job, lift) for lift in packed)
        found.append(
            f"more flow, but more of it packed to one side, at {where}: flow and bias both grew; a gain on the bench "
            f"that the {'cylinder' if a.reduction.job.side == 'intake' else 'running engine'} may not see"
        )
    return found


def _not_known(side: Side, group: int) -> bool:
    """Tell if nothing is known of how well a group's stations were read."""
    return bool(np.isnan(side.uncertainty.readings.mean[side.reduction.stations_of(group)]).all())


def _other_heads(one: Job, other: Job) -> list[str]:
    """Return what two jobs differ in that makes their runs hard to compare."""
    found = []
    if one.stations.reference != other.stations.reference:
        found.append(
            f"station 0 faces “{one.stations.reference}” in one job, “{other.stations.reference}” in the other: if "
            "that is not the same place, no station of theirs can be compared"
        )
    if replace(one.valve, length_uncertainty=None) != replace(other.valve, length_uncertainty=None):
        found.append("the two jobs' valves differ: coefficients and closure change with them; pictures show the first")
    if replace(one.seat, length_uncertainty=None) != replace(other.seat, length_uncertainty=None):
        found.append("the two jobs' seats differ: coefficients and closure change with them; pictures show the first")
    return found


def comparison_document(comparison: Comparison, warnings: list[str]) -> Document:
    """Return what `compare --json` prints."""
    return {
        "format": FORMAT,
        "runs": [comparison.a.name, comparison.b.name],
        "warnings": warnings,
        "only_in_a_m": comparison.only_a.tolist(),
        "only_in_b_m": comparison.only_b.tolist(),
        "on_field": comparison.on_field,
        "lifts": [_lift_document(each) for each in comparison.lifts],
    }


def _lift_document(each: LiftComparison) -> Document:
    bias, values = each.bias, each.values
    return {
        "lift_m": each.lift,
        "rescaled": each.rescaled,
        "flow_m3_s": quantities(values["flow"])[0],
        "mean_velocity_m_s": quantities(values["mean_velocity"])[0],
        "uniformity_index": quantities(values["uniformity_index"])[0],
        "coefficient_of_variation": quantities(values["coefficient_of_variation"])[0],
        "closure": quantities(values["closure"])[0],
        "discharge_coefficient": quantities(values["discharge_coefficient"])[0],
        "bias": {
            "magnitude_a": plain_number(bias.magnitude.a[0]),
            "magnitude_b": plain_number(bias.magnitude.b[0]),
            "magnitude_u": plain_number(bias.magnitude.u[0]),
            "shift": [plain_number(part) for part in bias.shift],
            "u": plain_number(bias.u),
            "verdict": bias.magnitude.verdicts[0],
            "shift_shown": bias.shown,
        },
        "stations": [
            {"angle_deg": angle, "velocity_m_s": velocity, "flow_share": share}
            for angle, velocity, share in zip(
                each.angles_deg.tolist(),
                quantities(each.stations["velocity"]),
                quantities(each.stations["flow_share"]),
                strict=True,
            )
        ],
    }


def quantities(difference: Difference) -> list[dict[str, Any]]:
    """Return each difference as a document: both values, what lies between, its uncertainty and verdict."""
    return [
        {
            "a": plain_number(a),
            "b": plain_number(b),
            "difference": plain_number(b - a),
            "u": plain_number(u),
            "degrees_of_freedom": plain_number(freedom),
            "verdict": verdict,
        }
        for a, b, u, freedom, verdict in zip(
            difference.a, difference.b, difference.u, difference.freedom, difference.verdicts, strict=True
        )
    ]


def comparison_tables(comparison: Comparison, *, stations: bool = False) -> RenderableType:
    """Return the differences at each lift, then, where asked for, those of every station."""
    job = comparison.a.reduction.job
    parts: list[RenderableType] = [
        Text(
            f"{comparison.b.label(comparison.a)} against {comparison.a.label(comparison.b)}: what changed", style="bold"
        ),
        _lift_table(comparison, job),
        _station_verdicts(comparison, job),
    ]
    if stations:
        parts += [_station_table(each, job) for each in comparison.lifts]
    parts.append(
        Text(
            "± covers the difference in 95 of 100 cases. ↑ higher, ↓ lower: shown by the data at 5 %, for all stations "
            "of a lift together (Holm); * shown; ·: not shown, which is not the same as unchanged.",
            style="dim",
        )
    )
    return Group(*parts)


def changed(difference: Difference, place: int, scale: float) -> str:
    """Return a difference with its interval and what is shown of it."""
    off, u = difference.difference[place] * scale, difference.u[place] * scale
    if np.isnan(off):
        return "–"
    if np.isnan(u):
        return f"{off:+.3f} ±?"
    wide = float(expanded(u, difference.freedom[place]))
    decimals = decimals_of(wide)
    sign = _SIGNS[difference.verdicts[place]]
    # Adding nothing takes the sign off what is rounded to nothing.
    return f"{round(off, decimals) + 0.0:+.{decimals}f} ±{wide:.{decimals}f} {sign}"


def _moved(each: LiftComparison) -> str:
    """Return how far and where the bias moved, and if that is shown."""
    if not np.isfinite(each.bias.shift).all():
        return "–"
    length = float(np.hypot(*each.bias.shift))
    angle = round(float(np.degrees(np.arctan2(each.bias.shift[1], each.bias.shift[0])))) % 360
    return f"{length:.3f} {angle}° {'*' if each.bias.shown else '?' if np.isnan(each.bias.u) else '·'}"


def _lift_table(comparison: Comparison, job: Job) -> RenderableType:
    flow, speed = in_unit(1.0, job.units.flow, "flow"), in_unit(1.0, job.units.velocity, "velocity")
    table = new_table(
        (
            f"lift\n[{job.units.length}]",
            f"flow\n[{job.units.flow}]",
            f"mean velocity\n[{job.units.velocity}]",
            "uniformity",
            "bias",
            "bias moved\ntoward",
            "closure",
        ),
        left=(),
    )
    for each in comparison.lifts:
        add_row(
            table,
            number_text(each.lift, job.units.length, "length"),
            changed(each.values["flow"], 0, flow),
            changed(each.values["mean_velocity"], 0, speed),
            changed(each.values["uniformity_index"], 0, 1.0),
            changed(each.bias.magnitude, 0, 1.0),
            _moved(each),
            changed(each.values["closure"], 0, 1.0),
        )
    return titled("Differences at each lift", table)


_VERDICT_COLUMNS = ("velocity\nhigher at", "velocity\nlower at", "share\nhigher at", "share\nlower at")


def _station_verdicts(comparison: Comparison, job: Job) -> RenderableType:
    """Return which stations changed at each lift, in velocity and in share."""
    table = new_table(
        (f"lift\n[{job.units.length}]", *_VERDICT_COLUMNS),
        left=_VERDICT_COLUMNS,
    )
    for each in comparison.lifts:
        add_row(
            table,
            number_text(each.lift, job.units.length, "length"),
            *(
                _angles(each.angles_deg, each.stations[name], verdict)
                for name in ("velocity", "flow_share")
                for verdict in ("higher", "lower")
            ),
        )
    return titled("Stations whose change is shown", table)


def _angles(angles: Array, difference: Difference, wanted: str) -> str:
    if np.isnan(difference.u).all():
        return "unknown"
    found = [f"{angle:g}°" for angle, verdict in zip(angles, difference.verdicts, strict=True) if verdict == wanted]
    if len(found) == len(angles):
        return "all"
    return " ".join(found) or "none"


def _station_table(each: LiftComparison, job: Job) -> RenderableType:
    speed = in_unit(1.0, job.units.velocity, "velocity")
    table = new_table(
        (
            "station",
            f"velocity before\n[{job.units.velocity}]",
            "after",
            "change",
            "share before\n[%]",
            "after",
            "change",
        ),
        left=(),
    )
    velocity, share = each.stations["velocity"], each.stations["flow_share"]
    for place, angle in enumerate(each.angles_deg):
        add_row(
            table,
            f"{angle:g}°",
            f"{velocity.a[place] * speed:.1f}",
            f"{velocity.b[place] * speed:.1f}",
            changed(velocity, place, speed),
            f"{share.a[place] * 100:.2f}",
            f"{share.b[place] * 100:.2f}",
            changed(share, place, 100.0),
        )
    return titled(f"Stations at {lift_text(job, each.lift)}", table)
