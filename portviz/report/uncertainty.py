"""What is known of a run's results, as a table: plus-minus at 95 %."""

from __future__ import annotations

import numpy as np
from rich.console import RenderableType
from rich.text import Text

from portviz.distribution.propagation import plus_minus
from portviz.distribution.reduce import Reduction
from portviz.distribution.scatter import UNKNOWN
from portviz.distribution.uncertainty import Uncertainty
from portviz.job.digits import two_figures
from portviz.report.layout import add_row, new_table, titled
from portviz.units import in_unit, number_text

WHAT_TO_ADD = (
    "state gauge.accuracy in job.toml, or read each station at least twice (repeats that never differ tell nothing "
    "unless gauge.resolution is stated)"
)
NOTHING_KNOWN = (
    "Nothing is known of how well the stations were read, so that there is no ± and no verdict: " + WHAT_TO_ADD + "."
)


def uncertainty_table(reduction: Reduction, uncertainty: Uncertainty, run: int, *, wide: bool = True) -> RenderableType:
    """Return the plus-minus of a run's results at each lift, or a line that says why there is none."""
    job, groups = reduction.job, np.array(reduction.groups_of(run))
    readings = uncertainty.readings
    if all(readings.source[group] == UNKNOWN for group in groups):
        return Text(NOTHING_KNOWN, style="italic")
    freedom = readings.freedom[groups]
    flow, speed = in_unit(1.0, job.units.flow, "flow"), in_unit(1.0, job.units.velocity, "velocity")
    columns = (
        (f"flow\n[{job.units.flow}]", uncertainty.bench_flow, flow),
        ("discharge\ncoefficient", uncertainty.discharge_coefficient, 1.0),
        ("closure", uncertainty.closure, 1.0),
        (f"mean\n[{job.units.velocity}]", uncertainty.mean_velocity, speed),
        ("uniformity", uncertainty.uniformity_index, 1.0),
        ("bias", uncertainty.bias_magnitude, 1.0),
        ("leans\n[deg]", uncertainty.bias_angle_deg, 1.0),
    )
    intervals = [plus_minus(spread.take(groups), freedom) * scale for _, spread, scale in columns]
    source_column = ["known from"] if wide else []
    table = new_table((f"lift\n[{job.units.length}]", *(name for name, _, _ in columns), *source_column), source_column)
    for place, group in enumerate(groups.tolist()):
        source = readings.source[group]
        if source == "repeats":
            source = f"repeats, {freedom[place]:.0f} dof"
        if uncertainty.method[group] != "linear":
            source += ", simulated"
        add_row(
            table,
            number_text(float(reduction.lift[group]), job.units.length, "length"),
            *(two_figures(float(column[place])) for column in intervals[:-1]),
            # More than half a circle either way says nothing of a direction.
            two_figures(float(intervals[-1][place])) if intervals[-1][place] < 180.0 else "–",
            *([source] if wide else []),
        )
    return titled(f"Run “{reduction.runs[run]}”: ± at 95 %", table)
