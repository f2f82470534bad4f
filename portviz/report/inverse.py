"""Answers to inverse questions, as a JSON document and as tables."""

from __future__ import annotations

import numpy as np
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from portviz.distribution.findings import findings
from portviz.distribution.inverse import Answer
from portviz.errors import sentence
from portviz.job.limits import Limit
from portviz.job.words import lift_text
from portviz.report.layout import add_row, new_table, titled
from portviz.report.machine import FORMAT, Document, plain_number
from portviz.report.study import NOTHING_OUTSIDE, design_columns, design_document
from portviz.report.study_tables import change_text
from portviz.units import number_text

#: Rows of the table that shows what is possible.
_ROWS = 15
_COLUMNS = {
    "flow_area_over_present": "flow area over\nthe present one",
    "least_throat_over_gap": "throat over gap,\nthe least",
    "seat.outer_diameter_m": "seat's outer\ndiameter",
    "seat.top_cut.width_m": "top cut\nwidth",
    "seat.bottom_cuts[1].width_m": "bottom cut 1\nwidth",
    "valve_sinks_at_least_m": "valve sinks\nat least",
}
_CAUTION = (
    "This is geometry: it knows neither heat nor wear. A narrow seat cools the valve worse; a seat can be cut too "
    "deep, a throat through. The valve's and seat's makers' limits and licensed practice come first."
)


def inverse_document(answer: Answer, limits: tuple[Limit, ...], warnings: list[str]) -> Document:
    """Return what `find --json` prints."""
    study, course = answer.study, answer.course
    columns = design_columns(study)
    said = findings(study, limits, range(study.count))
    return {
        "format": FORMAT,
        "title": study.job.title,
        "warnings": warnings,
        "what": answer.what,
        "asked": answer.asked,
        "none": answer.none,
        "ranges": [{"from_m": low, "to_m": high} for low, high in answer.ranges],
        "remarks": list(answer.remarks),
        "figures": answer.figures,
        "course": [
            {
                f"{course.key.replace(' ', '_')}_m": float(value),
                **{name: plain_number(column[place]) for name, column in course.columns.items()},
                "fits": bool(course.fits[place]),
                "reason": course.reasons[place],
            }
            for place, value in enumerate(course.value.tolist())
        ],
        "designs": [design_document(study, place, said[place], columns) for place in range(study.count)],
    }


def inverse_tables(answer: Answer, limits: tuple[Limit, ...], limits_name: str) -> RenderableType:
    """Return the answer, how it was checked, what is possible, and what is to be checked."""
    study, job = answer.study, answer.study.job
    parts: list[RenderableType] = [Text(job.title, style="bold"), Text(_question(answer)), Text("")]
    if answer.none is not None:
        parts += [Text("None", style="bold"), Text(sentence(_begun(answer.none))), Text("")]
    for place in range(1, study.count):
        changes = study.designs.changes[place]
        words = ", ".join(change_text(study, key, value) for key, value in changes.items())
        parts.append(Text.assemble((f"{study.designs.names[place]}: ", "bold"), words))
    for name, value in answer.figures.items():
        parts.append(Text(f"{name.removesuffix('_m').replace('_', ' ')}: {lift_text(job, value)}"))
    if answer.ranges:
        spans = "; ".join(f"{lift_text(job, low)} to {lift_text(job, high)}" for low, high in answer.ranges)
        parts.append(Text(f"All that fits, {_name(answer.course.key)}: {spans}"))
    parts += [Text(sentence(_begun(remark))) for remark in answer.remarks]
    parts.append(Text(""))
    if study.count > 1:
        parts.append(titled("Worked out anew", _checked_table(answer)))
    parts.append(titled(f"What is possible, over {_name(answer.course.key)}", _course_table(answer)))
    said = findings(study, limits, range(study.count))
    lines = [
        f"{'present' if place == 0 else study.designs.names[place]}: {words}"
        for place, each in enumerate(said)
        for words in each
    ]
    parts += [Text("To check", style="bold"), Text("\n".join(lines) or NOTHING_OUTSIDE)]
    parts += [Text(""), Text(f"Limits: {limits_name}. {_CAUTION}", style="dim")]
    return Group(*parts)


def _begun(words: str) -> str:
    return words[:1].upper() + words[1:]


def _name(key: str) -> str:
    return key.replace(".", " ").replace("_", " ")


def _question(answer: Answer) -> str:
    job, asked = answer.study.job, answer.asked
    if answer.what == "width":
        return (
            f"The widest seat that keeps {100.0 * float(asked['keep']):g} % of the present flow area at "
            f"{lift_text(job, float(asked['lift_m']))}, its {asked['hold']} diameter held."
        )
    if answer.what == "throat":
        return (
            "The largest throat with which the gap limits the flow at every lift up to "
            f"{lift_text(job, float(asked['up_to_m']))}."
        )
    return (
        f"The cuts for a contact band {lift_text(job, float(asked['width_m']))} wide at a mean diameter of "
        f"{lift_text(job, float(asked['mean_diameter_m']))}, the valve as it is."
    )


def _checked_table(answer: Answer) -> Table:
    study, unit = answer.study, answer.study.job.units.length
    takes_over, area = study.throat_takes_over(), study.flow_area
    asked = {"width": "lift_m", "throat": "up_to_m"}.get(answer.what)
    lift = float(answer.asked[asked]) if asked else float(study.lift[-1])
    column = int(np.argmin(np.abs(study.lift - lift)))
    table = new_table(
        [
            "design",
            f"contact\nwidth [{unit}]",
            f"contact\nmean dia. [{unit}]",
            f"flow area at\n{lift_text(study.job, lift)} [%]",
            f"gap limits\nup to [{unit}]",
        ],
        ("design",),
    )
    contact = study.contact
    for place in range(study.count):
        wide = float(contact.pressed_outer_radius[place] - contact.pressed_inner_radius[place])
        wide /= float(np.cos(study.designs.dimensions.seat_angle[place]))
        middle = float(contact.pressed_outer_radius[place] + contact.pressed_inner_radius[place])
        change = 100.0 * float(area[place, column] / area[0, column]) if area[0, column] > 0.0 else np.nan
        add_row(
            table,
            "present" if place == 0 else study.designs.names[place] or "",
            f"{number_text(wide, unit, 'length')}{' (worn in)' if contact.line[place] else ''}",
            number_text(middle, unit, "length"),
            "–" if np.isnan(change) else f"{change:.2f}",
            "–" if np.isnan(takes_over[place]) else number_text(float(takes_over[place]), unit, "length"),
        )
    return table


def _course_table(answer: Answer) -> Table:
    course, unit = answer.course, answer.study.job.units.length
    heads = [f"{_COLUMNS[name]}\n[{unit}]" if name.endswith("_m") else _COLUMNS[name] for name in course.columns]
    table = new_table([f"{_name(course.key)}\n[{unit}]", *heads, "fits"], ("fits",))
    for place in _rows(answer):
        cells = [number_text(float(course.value[place]), unit, "length")]
        for name, column in course.columns.items():
            value = float(column[place])
            if np.isnan(value):
                cells.append("–")
            else:
                cells.append(number_text(value, unit, "length") if name.endswith("_m") else f"{value:.4f}")
        reason = course.reasons[place]
        add_row(table, *cells, "yes" if course.fits[place] else "no" if reason is None else f"impossible: {reason}")
    return table


def _rows(answer: Answer) -> list[int]:
    """Return places spread over the course; of stretches for which the same kind of reason stands, their ends alone."""
    course = answer.course
    count = len(course.value)
    possible = np.array([reason is None for reason in course.reasons])
    kinds = [reason.split(":")[0].split(" diameter, and ")[-1][:20] if reason else "" for reason in course.reasons]
    turns = [n for n in range(1, count) if kinds[n] != kinds[n - 1]]
    keep = {0, count - 1, *turns, *(n - 1 for n in turns)}
    inside = np.flatnonzero(possible)
    if len(inside):
        keep |= {int(inside[n]) for n in np.linspace(0, len(inside) - 1, _ROWS).round().astype(int)}
    edges = np.flatnonzero(np.diff(course.fits.astype(np.int8)))
    return sorted(keep | {int(n) for n in edges} | {int(n) + 1 for n in edges})
