"""A plan of repeats, as tables and as a JSON document."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from portviz.distribution.plan import (
    MOST_REPEATS,
    OTHER_LIFTS,
    Plan,
    StationPlan,
    open_groups,
    relative_now,
    repeat_first,
)
from portviz.distribution.reduce import Reduction
from portviz.distribution.verdicts import LEVEL
from portviz.job.digits import two_figures
from portviz.job.words import lift_text, station_name
from portviz.report.layout import add_row, new_table, titled
from portviz.report.machine import FORMAT, Document, plain_number
from portviz.units import number_text

_NAMED_FIRST = 5
#: Stations that the document names to be repeated first.
_LISTED_FIRST = 20
_BEYOND = "not with this gauge"


def plan_warnings(reduction: Reduction, plan: Plan, runs: Iterable[int]) -> list[str]:
    """Return what a reader of the plan must be warned of."""
    found = []
    for run in runs:
        other = [group for group in open_groups(reduction, run) if plan.source[group] == OTHER_LIFTS]
        if other:
            lifts = [lift_text(reduction.job, float(reduction.lift[group])) for group in other]
            listed = ", ".join(lifts[:8]) + (f" and {len(lifts) - 8} more" if len(lifts) > 8 else "")
            found.append(
                f"run {reduction.runs[run]!r} has no repeats at {listed}: planned by the scatter of the repeats at "
                "other lifts or runs; as it was read, no change is shown there"
            )
    return found


def plan_tables(reduction: Reduction, plan: Plan, runs: Iterable[int]) -> RenderableType:
    """Return what each station of runs needs, and which to repeat first."""
    parts: list[RenderableType] = [Text(reduction.job.title, style="bold")]
    for run in runs:
        title = f"Run “{reduction.runs[run]}”: to show a change of {_percent(plan.change)} at one station"
        parts += [
            titled(title, _station_table(reduction, plan, run)),
            Text(_first_words(reduction, plan, run)),
            Text(""),
        ]
    parts.append(Text(_meanings(plan), style="dim"))
    return Group(*parts)


def _percent(part: float) -> str:
    return f"{100.0 * part:g} %"


def _meanings(plan: Plan) -> str:
    return (
        "u: standard uncertainty as read so far, without what two runs share (coefficient, density, test pressure). "
        "Shown: the smallest change that two runs read like this one show "
        f"{_percent(plan.power)} of the time. Needed: readings of every station of the lift, in each of the two runs, "
        f"to show {_percent(plan.change)} as often; “{_BEYOND}” where it would be more than {MOST_REPEATS}. All "
        f"stations of a lift are tested together at {_percent(LEVEL)}, here by Bonferroni's limit; the comparison's "
        "own, Holm's, is never stricter."
    )


def _station_table(reduction: Reduction, plan: Plan, run: int) -> Table:
    job, stations = reduction.job, reduction.stations
    table = new_table(
        (
            f"lift\n[{job.units.length}]",
            "\nstation",
            "read\nso far",
            "velocity\nu [%]",
            "\nshown [%]",
            "\nneeded",
            "share\nu [%]",
            "\nshown [%]",
            "\nneeded",
        )
    )
    for group in open_groups(reduction, run):
        part = reduction.stations_of(group)
        for place in range(*part.indices(len(stations.station))):
            add_row(
                table,
                number_text(float(reduction.lift[group]), job.units.length, "length") if place == part.start else "",
                station_name(job, int(stations.station[place])),
                str(stations.repeats[place]),
                *_cells(plan.velocity, place),
                *_cells(plan.flow_share, place),
            )
    return table


def _cells(plan: StationPlan, place: int) -> tuple[str, str, str]:
    """Return relative uncertainty, smallest change and repeats of one station."""
    value, now = abs(float(plan.value[place])), float(plan.uncertainty[place])
    repeats = float(plan.repeats[place])
    return (
        two_figures(100.0 * now / value if value else np.nan),
        two_figures(100.0 * float(plan.smallest[place])),
        _BEYOND if np.isnan(repeats) else f"{repeats:.0f}",
    )


def _first_words(reduction: Reduction, plan: Plan, run: int) -> str:
    stations, relative = reduction.stations, relative_now(reduction, plan)
    group = reduction.station_group
    named = [
        f"{station_name(reduction.job, int(stations.station[place]))} at "
        f"{lift_text(reduction.job, float(reduction.lift[group[place]]))} "
        f"(u {two_figures(100.0 * float(relative[place]))} %)"
        for place in repeat_first(reduction, plan, run)[:_NAMED_FIRST].tolist()
    ]
    return f"Repeat first: {', '.join(named)}."


def plan_document(reduction: Reduction, plan: Plan, runs: list[int], warnings: list[str]) -> Document:
    """Return what `plan --json` prints, for the given places among the reduction's runs."""
    return {
        "format": FORMAT,
        "title": reduction.job.title,
        "warnings": warnings,
        "change": plan.change,
        "power": plan.power,
        "level": LEVEL,
        "most_repeats": MOST_REPEATS,
        "runs": [_run_document(reduction, plan, run) for run in runs],
    }


def _run_document(reduction: Reduction, plan: Plan, run: int) -> Document:
    stations, group, relative = reduction.stations, reduction.station_group, relative_now(reduction, plan)
    angles = reduction.job.stations.angles_deg
    return {
        "run": reduction.runs[run],
        "lifts": [
            {
                "lift_m": float(reduction.lift[each]),
                "source": plan.source[each],
                "tests": int(plan.tests[each]),
                "stations": [
                    {
                        "angle_deg": float(angles[stations.station[place]]),
                        "repeats": int(stations.repeats[place]),
                        **_quantity(plan.velocity, place, "velocity", "velocity_m_s"),
                        **_quantity(plan.flow_share, place, "flow_share", "flow_share"),
                    }
                    for place in range(*reduction.stations_of(each).indices(len(group)))
                ],
            }
            for each in open_groups(reduction, run)
        ],
        "repeat_first": [
            {
                "lift_m": float(reduction.lift[group[place]]),
                "angle_deg": float(angles[stations.station[place]]),
                "relative_u": plain_number(relative[place]),
            }
            for place in repeat_first(reduction, plan, run)[:_LISTED_FIRST].tolist()
        ],
    }


def _quantity(plan: StationPlan, place: int, name: str, key: str) -> Document:
    repeats = plain_number(plan.repeats[place])
    return {
        key: plain_number(plan.value[place]),
        f"{key}_independent_u": plain_number(plan.uncertainty[place]),
        f"{name}_smallest_change": plain_number(plan.smallest[place]),
        f"{name}_repeats_needed": None if repeats is None else int(repeats),
    }
