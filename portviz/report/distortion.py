"""The circumferential distortion of a job's runs, as tables and as a JSON document."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from rich.console import Group, RenderableType
from rich.text import Text

from portviz.distribution.distortion import MEASURES, PLACES, Distortion
from portviz.distribution.harmonics import ORDERS
from portviz.distribution.reduce import Reduction
from portviz.job.digits import with_uncertainty
from portviz.job.model import Job
from portviz.job.words import reference_words
from portviz.report.layout import add_row, new_table, titled
from portviz.report.machine import FORMAT, Document, plain_number
from portviz.units import in_unit, number_text, told_decimals

#: Results of each lift with their keys in the document, after those of the harmonics.
_KEYS = {
    "intensity": "intensity",
    "extent_deg": "extent_deg",
    "multiple": "multiple_per_revolution",
    "greatest_over_least": "max_over_min",
    "half_share": "half_share",
    "imbalance": "imbalance",
}
_MEANINGS = (
    "Lobes: how much the velocity swings once, twice, three and four times round the valve (its harmonics), and where "
    "the first crest stands; k lobes need 2k + 1 stations at least. "
    "Weak arc: where the velocity lies below its mean, straight between stations; intensity: how far below, as a "
    "part of the mean; extent: how wide. Arcs with less than 25° between them count as one; of more, the weightiest is "
    "shown, and multiple tells how many such ones all of them weigh. "
    "max/min: greatest over least velocity."
)


def distortion_tables(
    reduction: Reduction, found: Distortion, runs: Iterable[int], *, wide: bool = True
) -> RenderableType:
    """Return lobes, weak arcs and halves of runs at each lift, with plus-minus at 95 % where it is known."""
    job = reduction.job
    parts: list[RenderableType] = [Text(job.title, style="bold")]
    for run in runs:
        name, groups = reduction.runs[run], reduction.groups_of(run)
        parts.append(titled(f"Run “{name}”: lobes of the velocity", _lobe_table(reduction, found, groups, wide=wide)))
        parts.append(titled(f"Run “{name}”: weak arc", _arc_table(reduction, found, groups)))
        parts.append(titled(f"Run “{name}”: extremes and halves", _half_table(reduction, found, groups)))
    parts.append(Text(f"{_words(job, found)} {_MEANINGS} {_certainty(found)}", style="dim"))
    return Group(*parts)


def _words(job: Job, found: Distortion) -> str:
    reference = reference_words(job)
    faces = "" if reference is None else f"Station 0 faces “{reference}”. "
    return (
        f"{faces}Angles run anticlockwise from station 0, seen from the cylinder. Half: share of the flow in the half "
        f"circle centred on {found.toward_deg:g}°. Imbalance: flow of the half anticlockwise of the axis at "
        f"{found.axis_deg:g}° less that of the other, over both."
    )


def _certainty(found: Distortion) -> str:
    known = np.isfinite(found.spreads["half_share"].standard)
    if not known.any():
        return (
            "There is no ±, since nothing is known of how well the stations were read: state gauge.accuracy in "
            "job.toml, or read each station at least twice."
        )
    return "± at 95 %; a direction is told where its lobes are more than their ±."


def _lobe_table(reduction: Reduction, found: Distortion, groups: range, *, wide: bool) -> Any:
    job, unit = reduction.job, reduction.job.units.velocity
    scale, decimals = in_unit(1.0, unit, "velocity"), told_decimals(unit, "velocity") + 1
    names = ("one lobe", "two lobes", "three lobes", "four lobes")
    columns = [each for name in names for each in (f"{name}\n[{unit}]", "at")]
    table = new_table((f"lift\n[{job.units.length}]", *columns))
    for group in groups:
        cells = []
        for order in ORDERS:
            amplitude, about = (
                float(each[f"amplitude_{order}"][group]) * scale for each in (found.values, found.expanded)
            )
            cells += [with_uncertainty(amplitude, about, decimals), _lobe_direction(found, order, group, wide=wide)]
        add_row(table, number_text(float(reduction.lift[group]), job.units.length, "length"), *cells)
    return table


def _lobe_direction(found: Distortion, order: int, group: int, *, wide: bool) -> str:
    amplitude, about = (float(each[f"amplitude_{order}"][group]) for each in (found.values, found.expanded))
    direction, turn = (float(each[f"direction_{order}_deg"][group]) for each in (found.values, found.expanded))
    if np.isnan(amplitude) or np.isnan(direction):
        return "–"
    if amplitude <= about:
        return "not told"
    if not wide or not np.isfinite(turn):
        return f"{direction:.0f}°"
    return f"{direction:.0f}° ± {turn:.0f}°" if turn >= 1.0 else f"{direction:.1f}° ± {turn:.1f}°"


def _arc_table(reduction: Reduction, found: Distortion, groups: range) -> Any:
    table = new_table(
        (
            f"lift\n[{reduction.job.units.length}]",
            "intensity\n[%]",
            "extent\n[deg]",
            "from, to",
            "arcs",
            "multiple",
        )
    )
    values = found.values
    for group in groups:
        begin, end = (float(values[name][group]) for name in ("from_deg", "to_deg"))
        arcs = float(values["arcs"][group])
        add_row(
            table,
            *_cells(reduction, found, group, ("intensity", 100.0, 2), ("extent_deg", 1.0, 1)),
            "–" if np.isnan(begin) else f"{begin:.0f}° to {end:.0f}°",
            "–" if np.isnan(arcs) else f"{arcs:.0f}",
            with_uncertainty(float(values["multiple"][group]), float(found.expanded["multiple"][group]), 2),
        )
    return table


def _half_table(reduction: Reduction, found: Distortion, groups: range) -> Any:
    table = new_table(
        (
            f"lift\n[{reduction.job.units.length}]",
            "max/min",
            f"half toward {found.toward_deg:g}°\n[%]",
            f"imbalance at {found.axis_deg:g}°\n[%]",
        )
    )
    for group in groups:
        wanted = (("greatest_over_least", 1.0, 3), ("half_share", 100.0, 2), ("imbalance", 100.0, 2))
        add_row(table, *_cells(reduction, found, group, *wanted))
    return table


def _cells(reduction: Reduction, found: Distortion, group: int, *wanted: tuple[str, float, int]) -> Sequence[str]:
    """Return the lift, and measures by name, scale and decimals, as a table shows them."""
    lift = number_text(float(reduction.lift[group]), reduction.job.units.length, "length")
    told = [
        with_uncertainty(float(found.values[name][group]) * scale, float(found.expanded[name][group]) * scale, decimals)
        for name, scale, decimals in wanted
    ]
    return [lift, *told]


def distortion_document(reduction: Reduction, found: Distortion, runs: list[int], warnings: list[str]) -> Document:
    """Return what `distortion --json` prints, for the given places among the reduction's runs."""
    return {
        "format": FORMAT,
        "title": reduction.job.title,
        "warnings": warnings,
        "toward_deg": found.toward_deg,
        "axis_deg": found.axis_deg,
        "runs": [
            {
                "run": reduction.runs[run],
                "lifts": [_lift_document(reduction, found, group) for group in reduction.groups_of(run)],
            }
            for run in runs
        ],
    }


def _lift_document(reduction: Reduction, found: Distortion, group: int) -> Document:
    def pair(name: str, key: str) -> Document:
        """Return a value, its standard uncertainty, and half the width of its interval."""
        return {
            key: plain_number(found.values[name][group]),
            f"{key}_u": plain_number(found.spreads[name].standard[group]),
            f"{key}_u95": plain_number(found.expanded[name][group]),
        }

    row: Document = {
        "lift_m": float(reduction.lift[group]),
        "mean_velocity_m_s": plain_number(reduction.measures.mean[group]),
        "harmonics": [
            {
                "order": order,
                **pair(f"amplitude_{order}", "amplitude_m_s"),
                **pair(f"relative_amplitude_{order}", "amplitude_over_mean"),
                **pair(f"direction_{order}_deg", "direction_deg"),
            }
            for order in ORDERS
        ],
    }
    for name, key in _KEYS.items():
        row |= pair(name, key)
    arcs, begin, end = (plain_number(found.values[name][group]) for name in PLACES)
    row |= {"weak_arcs": None if arcs is None else int(arcs), "weak_from_deg": begin, "weak_to_deg": end}
    row["simulated"] = [name for name in MEASURES if found.simulated[name][group]]
    return row
