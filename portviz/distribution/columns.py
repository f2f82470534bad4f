"""A reduction's results as columns, named as in JSON documents and data frames: SI, the unit in each name."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from portviz.distribution.propagation import Spread
from portviz.distribution.reduce import Reduction
from portviz.distribution.uncertainty import Uncertainty
from portviz.job.model import Array

#: A column's values and what is known of them: a spread, standard uncertainties, or nothing that has a column.
Column = tuple[npt.ArrayLike, "Spread | Array | None"]


def lift_columns(reduction: Reduction, known: Uncertainty) -> dict[str, Column]:
    """Return the results of each group by name, each with what is known of it."""
    job, areas, lift, count = reduction.job, reduction.areas, reduction.lift, len(reduction.lift)
    diameter, bench = job.valve.head_diameter, job.bench
    lift_u = np.full(count, bench.lift_uncertainty or np.nan)
    part = np.hypot(lift_u / np.where(lift > 0.0, lift, np.nan), (job.valve.length_uncertainty or np.nan) / diameter)
    freedom = known.readings.freedom
    by_area = {
        f"{name}_area_m2": (value, _of_area(value, parts))
        for name, value, parts in (
            ("curtain", areas.curtain_area, known.areas.curtain),
            ("gap", areas.gap_area, known.areas.gap),
            ("throat", areas.throat_area, known.areas.throat),
            ("flow", areas.flow_area, known.areas.flow),
            ("head", areas.head_area, known.areas.head),
        )
    }
    return {
        "lift_m": (lift, lift_u),
        "three_stage_area_m2": (areas.three_stage_area, None),
        **by_area,
        "lift_over_diameter": (lift / diameter, lift / diameter * part),
        "test_pressure_pa": (reduction.test_pressure, np.full(count, bench.test_pressure_uncertainty or np.nan)),
        "flow_m3_s": (reduction.bench_flow, known.bench_flow),
        "discharge_coefficient": (reduction.discharge_coefficient, known.discharge_coefficient),
        "flow_area_coefficient": (reduction.flow_area_coefficient, known.flow_area_coefficient),
        "closure": (reduction.closure, known.closure),
        "mean_velocity_m_s": (reduction.measures.mean, known.mean_velocity),
        "coefficient_of_variation": (reduction.measures.coefficient_of_variation, known.coefficient_of_variation),
        "uniformity_index": (reduction.measures.uniformity_index, known.uniformity_index),
        "bias_magnitude": (reduction.bias_magnitude, known.bias_magnitude),
        "bias_angle_deg": (reduction.bias_angle_deg, known.bias_angle_deg),
        "even_bias_magnitude": (reduction.even_bias_magnitude, None),
        "even_bias_angle_deg": (reduction.even_bias_angle_deg, None),
        "stage": (areas.stage, None),
        "limited_by": (np.where(areas.limited_by_gap, "gap", "throat").astype(object), None),
        "degrees_of_freedom": (finite(freedom), None),
        "uncertainty_from": (np.array(known.readings.source, dtype=object), None),
        "uncertainty_method": (np.array(known.method, dtype=object), None),
    }


def _of_area(area: Array, parts: Array) -> Array:
    """Return the standard uncertainty of areas; NaN where nothing is stated of lengths and lifts.

    That of a closed passage is not known either: its parts are relative to an area of nothing.
    """
    total, there = np.full(area.shape, np.nan), area > 0.0
    total[there] = area[there] * np.hypot(*parts[:, there])
    return np.where(total > 0.0, total, np.nan)


def station_columns(reduction: Reduction, known: Uncertainty) -> dict[str, Column]:
    """Return the results of each station by name, each with what is known of it."""
    stations, job = reduction.stations, reduction.job
    by_velocity = job.gauge.kind == "velocity"
    return {
        "angle_deg": (job.stations.angles_deg[stations.station], None),
        "repeats": (stations.repeats, None),
        "sector_deg": (stations.sector_deg, None),
        "reading_m_s" if by_velocity else "reading_pa": (stations.reading, known.readings.mean),
        "drop_pa": (stations.drop, known.drop),
        "velocity_m_s": (stations.velocity, known.velocity),
        "velocity_ratio": (stations.velocity_ratio, known.velocity_ratio),
        "mach": (stations.mach, known.mach),
        "flow_share": (stations.flow_share, known.flow_share),
        "flow_m3_s": (stations.flow, known.flow),
    }


def with_uncertainties(columns: dict[str, Column]) -> dict[str, npt.ArrayLike]:
    """Return columns, each with its standard uncertainty behind it."""
    found: dict[str, npt.ArrayLike] = {}
    for name, (values, known) in columns.items():
        found[name] = values
        if known is not None:
            found[f"{name}_u"] = finite(known.standard if isinstance(known, Spread) else known)
    return found


def finite(values: Array) -> Array:
    """Return values, NaN where they are endless."""
    return np.where(np.isfinite(values), values, np.nan)
