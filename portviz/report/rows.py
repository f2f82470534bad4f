"""The summary as one flat table, a row a station, for a spreadsheet."""

from __future__ import annotations

import csv
import io
import re

from portviz.distribution.reduce import Reduction
from portviz.distribution.uncertainty import Uncertainty, reduction_uncertainty
from portviz.report.machine import lift_rows, station_rows


def summary_csv(reduction: Reduction, runs: list[int], uncertainty: Uncertainty | None = None) -> str:
    """Return the results of runs as comma-separated text in SI, units in the header's keys."""
    uncertainty = uncertainty or reduction_uncertainty(reduction)
    lifts, stations = lift_rows(reduction, uncertainty), station_rows(reduction, uncertainty)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    station_names = {name: f"station_{name}" for name in stations[0]}
    writer.writerow(["run", *lifts[0], *station_names.values()])
    for run in runs:
        for group in reduction.groups_of(run):
            for row in stations[reduction.stations_of(group)]:
                writer.writerow([safe_cell(reduction.runs[run]), *lifts[group].values(), *row.values()])
    return out.getvalue()


#: Before a sign that begins a formula, at a text's beginning and behind what some spreadsheets part cells at.
_FORMULA = re.compile(r"(?:\A|(?<=[;\t\r\n]))(?=[=+\-@\t\r\n])")


def safe_cell(text: str) -> str:
    """Return text that no spreadsheet takes for a formula, also where its cells are parted by semicolons.

    Examples
    --------
    >>> safe_cell("=1+1"), safe_cell("38 mm;=1+1"), safe_cell("1=1")
    ("'=1+1", "38 mm;'=1+1", '1=1')
    """
    return _FORMULA.sub("'", text)
