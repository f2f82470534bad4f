"""Velocities and shares of a run, a row a station and a column a lift."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from portviz.distribution.propagation import Spread, plus_minus
from portviz.distribution.reduce import Reduction
from portviz.distribution.uncertainty import Uncertainty
from portviz.job.digits import with_uncertainty
from portviz.job.model import Array
from portviz.job.words import lift_text
from portviz.report.content import TextTable
from portviz.units import in_unit


def station_matrices(reduction: Reduction, uncertainty: Uncertainty, run: int) -> Iterator[TextTable]:
    """Yield a run's velocities, then its shares; a dash where a station was not read at a lift."""
    job, stations = reduction.job, reduction.stations
    unit, name = job.units.velocity, reduction.runs[run]
    for what, values, spread, factor, decimals in (
        (f"velocity [{unit}]", stations.velocity, uncertainty.velocity, in_unit(1.0, unit, "velocity"), 1),
        ("share of flow [%]", stations.flow_share, uncertainty.flow_share, 100.0, 2),
    ):
        yield _matrix(reduction, uncertainty, run, f"Run “{name}”: {what}", values, spread, factor, decimals)


def _matrix(
    reduction: Reduction,
    uncertainty: Uncertainty,
    run: int,
    title: str,
    values: Array,
    spread: Spread,
    scale: float,
    decimals: int,
) -> TextTable:
    job, groups = reduction.job, reduction.groups_of(run)
    cells: dict[int, dict[int, str]] = {}
    for group in groups:
        part = reduction.stations_of(group)
        freedom = np.full(part.stop - part.start, uncertainty.readings.freedom[group])
        wide = plus_minus(spread.take(part), freedom) * scale
        for place, index in enumerate(range(part.start, part.stop)):
            told = with_uncertainty(float(values[index]) * scale, float(wide[place]), decimals)
            cells.setdefault(int(reduction.stations.station[index]), {})[group] = told
    return TextTable(
        title=title,
        columns=("station", *(lift_text(job, float(reduction.lift[group])) for group in groups)),
        rows=tuple(
            (f"{job.stations.angles_deg[station]:g}°", *(cells[station].get(group, "–") for group in groups))
            for station in sorted(cells)
        ),
    )
