"""Results as data frames, in SI: columns have the names that the numbers have in the JSON documents, units included.

A standard uncertainty stands in the column of its result's name and "_u". What is not known is NaN.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from portviz.distribution.columns import finite, lift_columns, station_columns, with_uncertainties
from portviz.distribution.comparison import Comparison
from portviz.distribution.differences import Difference
from portviz.distribution.event_comparison import LiftEvent
from portviz.distribution.event_course import event_course, flow_coefficient, inlet_mach_index
from portviz.distribution.event_uncertainty import Estimates
from portviz.distribution.field import RunField
from portviz.distribution.given import lift_in_metres
from portviz.distribution.reduce import Reduction
from portviz.distribution.turning import rolls_down_deg
from portviz.distribution.uncertainty import Uncertainty, reduction_uncertainty
from portviz.errors import UsageError, suggestion
from portviz.job.frames import require_pandas
from portviz.job.model import Array

if TYPE_CHECKING:
    import pandas as pd

#: Name of a field's column in frames and mesh files, by the field's own: SI, the unit in the name.
FIELD_COLUMNS = {
    "velocity": "velocity_m_s",
    "velocity-ratio": "velocity_ratio",
    "mach": "mach",
    "flow-per-degree": "flow_m3_s_per_deg",
    "drop": "drop_pa",
}
#: What a frame may hold a row of.
OF_REDUCTION = ("lifts", "stations")
OF_COMPARISON = ("lifts", "stations")
OF_EVENT = ("runs", "lifts", "bands", "stations", "course")
#: The axes of turning, and the place of each among those of `turning`.
_AXES = {"about_bore_axis": 2, "across_toward_0": 0, "across_toward_90": 1}


def reduction_frame(reduction: Reduction, uncertainty: Uncertainty | None = None, *, of: str = "lifts") -> pd.DataFrame:
    """Return the results of all runs, as `summary --json` tells them.

    Parameters
    ----------
    reduction : Reduction
    uncertainty : Uncertainty, optional
        That of the reduction, where it is there already.
    of : str
        "lifts": a row a run and lift; "stations": a row a run, lift and station, in the job's order of stations.

    Raises
    ------
    UsageError
        If pandas is not installed or there is no such frame.

    Examples
    --------
    >>> from portviz.distribution.reduce import reduce_job
    >>> from portviz.job.demo import demo_folder
    >>> from portviz.job.read import read_job
    >>> frame = reduction_frame(reduce_job(read_job(demo_folder())))
    >>> frame[frame["lift_m"] == 8e-3][["run", "discharge_coefficient"]].round(3).values.tolist()
    [['as found', 0.5], ['wall relieved', 0.518]]
    """
    _require(of, OF_REDUCTION)
    pandas = require_pandas()
    known = uncertainty or reduction_uncertainty(reduction)
    names = np.array(reduction.runs, dtype=object)[reduction.group_run]
    if of == "lifts":
        return pandas.DataFrame({"run": names, **with_uncertainties(lift_columns(reduction, known))})
    columns = with_uncertainties(station_columns(reduction, known))
    group = reduction.station_group
    order = np.lexsort((reduction.stations.station, group))
    whole = {"run": names[group], "lift_m": reduction.lift[group], **columns}
    return pandas.DataFrame({name: np.asarray(values)[order] for name, values in whole.items()})


def field_frame(field: RunField, lifts: npt.ArrayLike | None = None) -> pd.DataFrame:
    """Return a field, a row a lift and angle: lift_m, angle_deg and the field's value.

    Parameters
    ----------
    field : RunField
    lifts : array_like, optional
        [m], between those measured; the measured ones by default.

    Raises
    ------
    ValueError
        If a lift lies outside the measured ones.
    UsageError
        If pandas is not installed, or a lift is no number.

    Examples
    --------
    >>> from portviz.distribution.field import QUANTITIES
    >>> field = RunField(QUANTITIES["mach"], np.array([1e-3, 3e-3]), np.array([0.0]), np.array([[0.2], [0.3]]))
    >>> field_frame(field, [2e-3]).to_dict("list")
    {'lift_m': [0.002], 'angle_deg': [0.0], 'mach': [0.25]}
    """
    pandas = require_pandas()
    at = field.lifts if lifts is None else np.array([lift_in_metres(lift) for lift in np.atleast_1d(lifts).tolist()])
    values = np.array([field.at(lift) for lift in at]).reshape(len(at), len(field.angles_deg))
    return pandas.DataFrame(
        {
            "lift_m": np.repeat(at, len(field.angles_deg)),
            "angle_deg": np.tile(field.angles_deg, len(at)),
            FIELD_COLUMNS[field.quantity.name]: values.ravel(),
        }
    )


def comparison_frame(comparison: Comparison, *, of: str = "lifts") -> pd.DataFrame:
    """Return what changed, as `compare --json` tells it.

    Parameters
    ----------
    comparison : Comparison
    of : str
        "lifts": a row a common lift; "stations": a row a lift and station.

    Returns
    -------
    pandas.DataFrame
        Of each quantity such as `velocity_m_s` the columns with "_a" (before), "_b" (after), "_difference", "_u" (its
        standard uncertainty), "_degrees_of_freedom" and "_verdict" behind its name.

    Raises
    ------
    UsageError
        If pandas is not installed or there is no such frame.
    """
    _require(of, OF_COMPARISON)
    pandas = require_pandas()
    rows: list[pd.DataFrame] = []
    for each in comparison.lifts:
        if of == "stations":
            columns: dict[str, Any] = {"lift_m": each.lift, "angle_deg": each.angles_deg}
            columns |= _difference_columns("velocity_m_s", each.stations["velocity"])
            columns |= _difference_columns("flow_share", each.stations["flow_share"])
        else:
            columns = {"lift_m": [each.lift], "rescaled": each.rescaled}
            for name, key in _COMPARED.items():
                columns |= _difference_columns(name, each.values[key])
            bias = each.bias
            columns |= {
                "bias_magnitude_a": bias.magnitude.a,
                "bias_magnitude_b": bias.magnitude.b,
                "bias_magnitude_u": bias.magnitude.u,
                "bias_shift_0": bias.shift[0],
                "bias_shift_90": bias.shift[1],
                "bias_u": bias.u,
                "bias_verdict": bias.magnitude.verdicts[0],
                "bias_shift_shown": bias.shown,
            }
        rows.append(pandas.DataFrame(columns))
    return pandas.concat(rows, ignore_index=True)


_COMPARED = {
    "flow_m3_s": "flow",
    "mean_velocity_m_s": "mean_velocity",
    "uniformity_index": "uniformity_index",
    "coefficient_of_variation": "coefficient_of_variation",
    "closure": "closure",
    "discharge_coefficient": "discharge_coefficient",
}


def _difference_columns(name: str, change: Difference) -> dict[str, Any]:
    return {
        f"{name}_a": finite(change.a),
        f"{name}_b": finite(change.b),
        f"{name}_difference": finite(change.difference),
        f"{name}_u": finite(change.u),
        f"{name}_degrees_of_freedom": finite(change.freedom),
        f"{name}_verdict": list(change.verdicts),
    }


def event_frame(events: LiftEvent, *, of: str = "runs") -> pd.DataFrame:
    """Return all runs over the lift event, as `event --json` tells them.

    Parameters
    ----------
    events : LiftEvent
    of : str
        "runs": a row a run; "lifts": the effective area at each measured lift; "bands": a row a run and band of lift;
        "stations": a row a run and station; "course": a row a run and point of the cam, as `event --csv` writes them.

    Raises
    ------
    UsageError
        If pandas is not installed or there is no such frame.
    """
    _require(of, OF_EVENT)
    pandas = require_pandas()
    if of == "course":
        columns = _course_columns(events)
    else:
        row = {"runs": _run_columns, "lifts": _area_columns, "bands": _band_columns, "stations": _ring_columns}[of]
        columns = [row(events, run) for run in range(len(events.runs))]
    frames = [pandas.DataFrame({"run": events.reduction.runs[run], **each}) for run, each in enumerate(columns)]
    return pandas.concat(frames, ignore_index=True)


def _known(name: str, estimates: Estimates, values: Array | None = None) -> dict[str, Array]:
    """Return the columns of results and of their standard uncertainties."""
    return {
        name: finite(estimates.values if values is None else values),
        f"{name}_u": finite(estimates.spread.standard),
    }


def _run_columns(events: LiftEvent, run: int) -> dict[str, Any]:
    found, known, duration = events.runs[run], events.known[run], events.event.duration_deg
    job = events.reduction.job
    index = inlet_mach_index(job, found)
    columns: dict[str, Any] = {
        "duration_deg": [duration],
        **_known("area_integral_m2_deg", known.area_integral),
        "mean_effective_area_m2": found.mean_effective_area,
        "mean_effective_area_m2_u": finite(known.area_integral.spread.standard / duration),
        **_known("mean_flow_m3_s", known.mean_flow),
        "beyond_measured_share": found.beyond_share,
        "below_measured_share": found.below_share,
        **_known("bias_magnitude", known.bias_magnitude),
        **_known("bias_angle_deg", known.bias_angle_deg),
        "flow_coefficient": flow_coefficient(job, found),
        "mach_index": np.nan if index is None else index,
    }
    if known.turning is not None:
        for name, axis in _AXES.items():
            columns[f"turning_{name}"] = known.turning.values[axis]
            columns[f"turning_{name}_u"] = finite(known.turning.spread.standard)[axis]
        columns["turning_rolls_down_deg"] = rolls_down_deg(known.turning.values[:2])
    return columns


def _area_columns(events: LiftEvent, run: int) -> dict[str, Any]:
    found = events.runs[run]
    return {"lift_m": found.knots, **_known("effective_area_m2", events.known[run].effective_area)}


def _band_columns(events: LiftEvent, run: int) -> dict[str, Any]:
    bands = events.runs[run].bands
    return {
        "from_m": bands.start,
        "to_m": bands.stop,
        "time_share": bands.time_share,
        "flow_share": events.runs[run].band_flow_share,
        **_known("flow_m3_s", events.known[run].band_flow),
    }


def _ring_columns(events: LiftEvent, run: int) -> dict[str, Any]:
    ring = events.runs[run].ring
    order = np.argsort(ring.station)
    shares = _known("flow_share", events.known[run].flow_share)
    angles = events.reduction.job.stations.angles_deg[ring.station]
    return {name: values[order] for name, values in {"angle_deg": angles, **shares}.items()}


def _course_columns(events: LiftEvent) -> list[dict[str, Any]]:
    course = event_course(events)
    shared = {
        name: np.full(len(course.crank_deg), np.nan) if values is None else values
        for name, values in (
            ("piston_position_m", course.piston_position),
            ("piston_speed_m_s", course.piston_speed),
            ("volume_rate_m3_s", course.volume_rate),
        )
    }
    return [
        {
            "crank_deg": course.crank_deg,
            "lift_m": course.lift,
            "effective_area_m2": course.effective_area[run],
            "flow_m3_s": course.flow[run],
            **shared,
            "demand_mach": np.nan if course.demand_mach is None else course.demand_mach[run],
        }
        for run in range(len(events.runs))
    ]


def _require(of: str, known: tuple[str, ...]) -> None:
    if of not in known:
        refusal = f"of: {of!r} is not one of {', '.join(known)}."
        raise UsageError(" ".join(filter(None, (refusal, suggestion(of, known)))))
