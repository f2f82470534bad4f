"""Two runs compared, as a JSON document and as tables."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from rich.console import Group, RenderableType
from rich.text import Text

from portviz.distribution.comparison import Comparison, Difference, LiftComparison, packed_to_one_side
from portviz.distribution.verdicts import NOT_SHOWN, expanded
from portviz.job.model import Array, Job
from portviz.job.words import lift_text
from portviz.report.layout import add_row, new_table, titled
from portviz.report.machine import FORMAT, Document
from portviz.units import in_unit

_SIGNS = {"higher": "↑", "lower": "↓", NOT_SHOWN: "·"}


def comparison_warnings(comparison: Comparison) -> list[str]:
    """Return what a reader of a comparison must be warned of."""
    a, b = comparison.a, comparison.b
    found = []
    for name, lifts in ((a.name, comparison.only_a), (b.name, comparison.only_b)):
        if len(lifts):
            listed = ", ".join(lift_text(a.reduction.job, float(lift)) for lift in lifts[:12])
            found.append(f"measured in run {name!r} only, and not compared: {listed}")
    if comparison.on_field:
        found.append(
            "where stations differ, the second run's interpolated field is compared at the first one's stations; what "
            "the field does between stations is not measured"
        )
    rescaled = [lift_text(a.reduction.job, each.lift) for each in comparison.lifts if each.rescaled]
    if rescaled:
        found.append(
            f"test pressure or air differ at {', '.join(rescaled[:12])}: velocities and flow of {b.name!r} are "
            f"rescaled to those of {a.name!r} (at one velocity ratio; at one effective area by the compressible flux)"
        )
    unknown = [each.lift for each in comparison.lifts if np.isnan(each.stations["velocity"].u).all()]
    if unknown:
        where = ", ".join(lift_text(a.reduction.job, lift) for lift in unknown[:12])
        found.append(
            f"no verdict at {where}: nothing is known of how well the stations were read; state gauge.accuracy in "
            "job.toml, or read each station at least twice in both runs"
        )
    if all(np.isnan(each.values["flow"].u[0]) for each in comparison.lifts):
        found.append("no verdict on flow, closure and coefficients: state bench.flow_accuracy in job.toml")
    packed = packed_to_one_side(comparison)
    if packed:
        where = ", ".join(lift_text(a.reduction.job, lift) for lift in packed)
        found.append(
            f"more flow, but more of it packed to one side, at {where}: flow and bias both grew; a gain on the bench "
            "that the cylinder may not see"
        )
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
        "flow_m3_s": _quantities(values["flow"])[0],
        "mean_velocity_m_s": _quantities(values["mean_velocity"])[0],
        "uniformity_index": _quantities(values["uniformity_index"])[0],
        "coefficient_of_variation": _quantities(values["coefficient_of_variation"])[0],
        "closure": _quantities(values["closure"])[0],
        "discharge_coefficient": _quantities(values["discharge_coefficient"])[0],
        "bias": {
            "magnitude_a": _number(bias.magnitude.a[0]),
            "magnitude_b": _number(bias.magnitude.b[0]),
            "magnitude_u": _number(bias.magnitude.u[0]),
            "shift": [_number(part) for part in bias.shift],
            "u": _number(bias.u),
            "verdict": bias.magnitude.verdicts[0],
            "shift_shown": bias.shown,
        },
        "stations": [
            {"angle_deg": angle, "velocity_m_s": velocity, "flow_share": share}
            for angle, velocity, share in zip(
                each.angles_deg.tolist(),
                _quantities(each.stations["velocity"]),
                _quantities(each.stations["flow_share"]),
                strict=True,
            )
        ],
    }


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _quantities(difference: Difference) -> list[dict[str, Any]]:
    return [
        {
            "a": _number(a),
            "b": _number(b),
            "difference": _number(b - a),
            "u": _number(u),
            "degrees_of_freedom": _number(freedom),
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
        Text(f"{comparison.b.name} against {comparison.a.name}: what changed", style="bold"),
        _lift_table(comparison, job),
        _station_verdicts(comparison, job),
    ]
    if stations:
        parts += [_station_table(each, job) for each in comparison.lifts]
    parts.append(
        Text(
            "± covers the difference in 95 of 100 cases. ↑ higher, ↓ lower: shown by the data at 5 %, for all stations "
            "of a lift together (Holm); ·: not shown, which is not the same as unchanged.",
            style="dim",
        )
    )
    return Group(*parts)


def _changed(difference: Difference, place: int, scale: float) -> str:
    """Return a difference with its interval and what is shown of it."""
    off, u = difference.difference[place] * scale, difference.u[place] * scale
    if np.isnan(off):
        return "–"
    if np.isnan(u):
        return f"{off:+.3g} ±?"
    wide = float(expanded(u, difference.freedom[place]))
    decimals = decimals_of(wide)
    sign = _SIGNS[difference.verdicts[place]]
    return f"{off:+.{decimals}f} ±{wide:.{decimals}f} {sign}"


def decimals_of(uncertainty: float) -> int:
    """Return the decimals that show two figures of an uncertainty."""
    if not uncertainty > 0.0 or not np.isfinite(uncertainty):
        return 3
    return int(np.clip(1 - np.floor(np.log10(uncertainty)), 0, 6))


def _lift_table(comparison: Comparison, job: Job) -> RenderableType:
    flow, speed = in_unit(1.0, job.units.flow, "flow"), in_unit(1.0, job.units.velocity, "velocity")
    table = new_table(
        (
            f"lift\n[{job.units.length}]",
            f"flow\n[{job.units.flow}]",
            f"mean velocity\n[{job.units.velocity}]",
            "uniformity",
            "bias",
            "closure",
        ),
        left=(),
    )
    for each in comparison.lifts:
        add_row(
            table,
            lift_text(job, each.lift).split(" ")[0],
            _changed(each.values["flow"], 0, flow),
            _changed(each.values["mean_velocity"], 0, speed),
            _changed(each.values["uniformity_index"], 0, 1.0),
            _changed(each.bias.magnitude, 0, 1.0),
            _changed(each.values["closure"], 0, 1.0),
        )
    return titled("Differences at each lift", table)


_VERDICT_COLUMNS = ("velocity\nhigher at", "velocity\nlower at", "share\nhigher at", "share\nlower at")


def _station_verdicts(comparison: Comparison, job: Job) -> RenderableType:
    """Return which stations changed at each lift, in velocity and in share."""
    table = new_table(
        (
            f"lift\n[{job.units.length}]",
            "velocity\nhigher at",
            "velocity\nlower at",
            "share\nhigher at",
            "share\nlower at",
        ),
        left=("velocity\nhigher at", "velocity\nlower at", "share\nhigher at", "share\nlower at"),
    )
    for each in comparison.lifts:
        add_row(
            table,
            lift_text(job, each.lift).split(" ")[0],
            *(
                _angles(each.angles_deg, each.stations[name].verdicts, verdict)
                for name in ("velocity", "flow_share")
                for verdict in ("higher", "lower")
            ),
        )
    return titled("Stations whose change is shown", table)


def _angles(angles: Array, verdicts: Iterable[str], wanted: str) -> str:
    found = [f"{angle:g}°" for angle, verdict in zip(angles, verdicts, strict=True) if verdict == wanted]
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
            _changed(velocity, place, speed),
            f"{share.a[place] * 100:.2f}",
            f"{share.b[place] * 100:.2f}",
            _changed(share, place, 100.0),
        )
    return titled(f"Stations at {lift_text(job, each.lift)}", table)
