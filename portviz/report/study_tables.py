"""A study of valve and seat as tables."""

from __future__ import annotations

import re
from collections import Counter

import numpy as np
from rich.console import Group, RenderableType
from rich.text import Text

from portviz.distribution.designs import key_kind
from portviz.distribution.findings import closed_pressure, findings, spring_pressure
from portviz.distribution.heights import Heights
from portviz.distribution.study import HIGH_LIFT, LEAST_BAND, LOW_LIFT, Study
from portviz.errors import counted
from portviz.job.limits import Limit
from portviz.job.words import lift_text, pressure_text
from portviz.report.layout import fitted_tables, titled
from portviz.report.study import FRICTION, NOTHING_OUTSIDE
from portviz.units import area_unit, format_quantity, in_unit, number_text, told_decimals

#: Designs that a table lists; more are in the files.
MOST_ROWS = 40
#: Reasons of refused designs, and designs with findings, that are told one by one.
_TOLD = 12
#: Heads and rows of a table.
_Rows = tuple[list[str], list[list[str]]]
#: Highest lifts whose clearance a table shows.
_FEW_LIFTS = 3


def study_tables(
    study: Study, limits: tuple[Limit, ...], limits_name: str, heights: Heights | None = None, width: int = 110
) -> RenderableType:
    """Return contact and passages of the designs, what they would flow, what was refused, and what is to be checked.

    Tables are parted where they would be wider than `width` letters.
    """
    job = study.job
    shown = list(range(min(study.count, MOST_ROWS)))
    parts: list[RenderableType] = [Text(job.title, style="bold"), Text(_words(study)), Text("")]
    tables = [("Designs: contact and passages", *_design_table(study, shown))]
    tables.append(("Flow area against the present one [%], by lift", *_area_table(study, shown)))
    if np.isfinite(study.flow).any():
        tables.append((f"Flow if the coefficients stay [{job.units.flow}], by lift", *_flow_table(study, shown)))
    if heights is not None:
        tables.append((_heights_title(study, heights), *_heights_table(study, heights, shown)))
    for title, columns, rows in tables:
        parts += [titled(title, table) for table in fitted_tables(columns, rows, width)]
    if heights is not None:
        parts += [Text(_heights_words(study, heights)), Text("")]
    if study.count > len(shown):
        parts.append(
            Text(f"{study.count - len(shown)} more designs are not listed here; --csv and --json hold them all.")
        )
    if study.refused:
        parts += [Text("Refused, since they make no valve and seat", style="bold"), Text(refused(study)), Text("")]
    parts += [Text("To check", style="bold"), Text(to_check(study, limits, shown)), Text("")]
    parts.append(Text(meanings(study, limits_name), style="dim"))
    return Group(*parts)


def design_label(study: Study, place: int) -> str:
    """Return a design's name, or what it changes, in the job's unit of length, degrees, newtons and bars."""
    name, changes = study.designs.names[place], study.designs.named_changes(place)
    if place == 0:
        return "present"
    if name is not None:
        return name
    return ", ".join(change_text(study, key, value) for key, value in changes.items())


def change_text(study: Study, key: str, value: float) -> str:
    """Return one change in words, such as "seat width 1.20 mm"."""
    job = study.job
    kind = key_kind(key, job)[1] if not key.startswith("seat.bottom_cuts") else "angle" if "angle" in key else "length"
    unit = {"length": job.units.length, "angle": "deg", "force": "N", "pressure": "bar"}[kind]
    decimals = {"angle": 1, "force": 0, "pressure": 1}.get(kind, told_decimals(unit, kind))
    # As many as it was varied with, so that two values never look alike; what was solved for has no last digit.
    number = in_unit(value, unit, kind)
    decimals = next(
        (more for more in range(decimals, decimals + 3) if abs(round(number, more) - number) < 1e-9), decimals
    )
    words = re.sub(r"bottom_cuts\[(\d+)\]", r"bottom_cut \1", key).replace(".", " ").replace("_", " ")
    return f"{words} {format_quantity(value, unit, kind, decimals)}"


def _words(study: Study) -> str:
    refused = f", {counted(len(study.refused), 'design')} refused" if study.refused else ""
    flow = ""
    if study.coefficients is not None:
        flow = f" Flow by the coefficients measured in run “{study.coefficients.run}”."
    return f"{counted(study.count - 1, 'design')} beside the present one{refused}.{flow}"


def _design_table(study: Study, shown: list[int]) -> _Rows:
    job = study.job
    unit, (area, to_area) = job.units.length, area_unit(job.units.length)
    pressure, takes_over = spring_pressure(study), study.throat_takes_over()
    closed = closed_pressure(study)
    with_pressure, with_gas = np.isfinite(pressure).any(), np.isfinite(closed).any()
    with_event = study.event_area is not None
    columns = [
        "design",
        f"seat's\nouter\n[{unit}]",
        f"contact\nwidth\n[{unit}]",
        f"contact\nmean dia.\n[{unit}]",
        *(["spring\non it\n[MPa]"] if with_pressure else []),
        *(["with\ngas\n[MPa]"] if with_gas else []),
        "low-lift\narea\n[%]",
        f"gap limits\nup to\n[{unit}]",
        *([f"event\nmean area\n[{area}]"] if with_event else []),
        *([f"event\nflow\n[{job.units.flow}]"] if with_event and study.coefficients is not None else []),
    ]
    rows = []
    low = study.low_lift_change
    for place in shown:
        cells = [
            design_label(study, place),
            number_text(2.0 * float(study.designs.dimensions.seat_outer_radius[place]), unit, "length"),
            *_contact_cells(study, place),
        ]
        if with_pressure:
            cells.append(_mega(pressure[place]))
        if with_gas:
            cells.append(_mega(closed[place]))
        cells.append("" if place == 0 else f"{100.0 * low[place]:+.1f}")
        cells.append("–" if np.isnan(takes_over[place]) else number_text(float(takes_over[place]), unit, "length"))
        if study.event_area is not None:
            cells.append(f"{study.event_area[place] * to_area:.{1 if area == 'mm²' else 4}f}")
            if study.event_flow is not None and study.coefficients is not None:
                cells.append(number_text(float(study.event_flow[place]), job.units.flow, "flow", 2))
        rows.append(cells)
    return columns, rows


def _contact_cells(study: Study, place: int) -> list[str]:
    """Return width and mean diameter of the contact; of a line what it is once worn in, in brackets."""
    contact, unit = study.contact, study.job.units.length
    inner, outer = float(contact.pressed_inner_radius[place]), float(contact.pressed_outer_radius[place])
    width = (outer - inner) / float(np.cos(study.designs.dimensions.seat_angle[place]))
    cells = [number_text(width, unit, "length"), number_text(inner + outer, unit, "length")]
    return [f"line ({cells[0]})", f"({cells[1]})"] if contact.line[place] else cells


def _mega(pressure: float) -> str:
    return "–" if np.isnan(pressure) else f"{pressure / 1e6:.2f}"


def _lift_columns(study: Study) -> list[str]:
    unit = study.job.units.length
    return [f"{number_text(float(lift), unit, 'length')}\n{unit}" for lift in study.lift]


def _area_table(study: Study, shown: list[int]) -> _Rows:
    area, to_area = area_unit(study.job.units.length)
    decimals = 0 if area == "mm²" else 3
    rows = []
    flow_area = study.flow_area
    present = flow_area[0]
    for place in shown:
        cells = []
        for lift in range(len(study.lift)):
            if present[lift] <= 0.0:
                cells.append("–")
            elif place == 0:
                cells.append(f"{present[lift] * to_area:.{decimals}f} {area}")
            else:
                cells.append(f"{100.0 * (flow_area[place, lift] / present[lift] - 1.0):+.1f}")
        rows.append([design_label(study, place), *cells])
    return ["design", *_lift_columns(study)], rows


def _flow_table(study: Study, shown: list[int]) -> _Rows:
    job = study.job
    rows = []
    flow, band = study.flow, study.flow_band
    scale = in_unit(1.0, job.units.flow, "flow")
    for place in shown:
        cells = []
        for lift in range(len(study.lift)):
            if np.isnan(flow[place, lift]):
                cells.append("–")
            else:
                off = "" if place == 0 else f" ({band[place, lift] * scale:.1f})"
                cells.append(number_text(float(flow[place, lift]), job.units.flow, "flow", 1) + off)
        rows.append([design_label(study, place), *cells])
    return ["design", *_lift_columns(study)], rows


def _heights_title(study: Study, heights: Heights) -> str:
    asked = []
    if heights.cut_depth is not None:
        asked.append(f"seat cut {lift_text(study.job, heights.cut_depth)} deep, square to its cone, all cuts following")
    if heights.plane is not None:
        asked.append(f"a plane {lift_text(study.job, heights.plane)} below the present seat's outer edge")
    return f"Heights: {'; '.join(asked)}"


def _heights_table(study: Study, heights: Heights, shown: list[int]) -> _Rows:
    unit = study.job.units.length
    columns = ["design"]
    if heights.cut_depth is not None:
        columns += [f"valve sinks,\nspring longer\n[{unit}]"]
    columns += [f"stands out\nclosed\n[{unit}]"]
    if heights.clearance is not None:
        columns += [f"clear at\n{lift_text(study.job, float(lift))}\n[{unit}]" for lift in study.lift[-_FEW_LIFTS:]]
        where = "the cam's peak" if heights.of_cam else "the highest lift"
        columns += [f"at {where},\n{lift_text(study.job, heights.highest_lift or 0.0)}\n[{unit}]"]
    rows = []
    for place in shown:
        cells = [design_label(study, place)]
        if heights.cut_depth is not None:
            cells.append(number_text(float(heights.sinks[place]), unit, "length"))
        cells.append(number_text(float(heights.protrusion[place]), unit, "length"))
        if heights.clearance is not None and heights.least_clearance is not None:
            cells += [_clear(study, float(each)) for each in heights.clearance[place, -_FEW_LIFTS:]]
            cells.append(_clear(study, float(heights.least_clearance[place])))
        rows.append(cells)
    return columns, rows


def _clear(study: Study, clearance: float) -> str:
    number = number_text(clearance, study.job.units.length, "length")
    return number if clearance > 0.0 else f"touches ({number})"


def _heights_words(study: Study, heights: Heights) -> str:
    words = []
    if heights.cut_depth is not None:
        words.append(
            "The whole wall moves along the axis, depth / cos(seat angle), so that each edge keeps its diameter; the "
            "valve goes with it. Its stem tip rises by as much: lash shrinks or the adjuster's travel is used up, and "
            "the spring's installed height grows, so that its load falls. The makers' figures for stem height, "
            "installed height and seat insert come first; the edge of a worn seat may lie elsewhere."
        )
    if heights.plane is not None:
        words.append(
            "The plane is taken square to the valve's axis and at rest, the head flat underneath; a piston moves, and "
            "a leaning valve comes nearer at one side. Clearance on paper is no clearance: measure it, with the "
            "makers' least figure for heat, stretch and float."
        )
        if not heights.of_cam:
            words.append("Without a cam the highest lift of this study stands for the valve's greatest.")
    return " ".join(words)


def refused(study: Study) -> str:
    """Return how many designs were refused, and why."""
    counts = Counter(reason.split(":")[0] for _, _, reason in study.refused)
    first: dict[str, tuple[str | None, dict[str, float], str]] = {}
    for name, changes, reason in study.refused:
        first.setdefault(reason.split(":")[0], (name, changes, reason))
    lines = []
    for kind, count in counts.most_common(_TOLD):
        name, changes, reason = first[kind]
        who = name or ", ".join(change_text(study, key, changes[key]) for key in changes)
        lines.append(f"{count} x {reason} (such as: {who})")
    return "\n".join(lines)


def to_check(study: Study, limits: tuple[Limit, ...], shown: list[int]) -> str:
    """Return what to check, the present design first; of one kind the first design's words, and who else."""
    said = findings(study, limits, shown)
    lines = [f"present: {words}" for words in said[0]]
    kinds: dict[str, list[tuple[int, str]]] = {}
    for place, sentences in zip(shown[1:], said[1:], strict=True):
        for words in sentences:
            if words not in said[0]:
                kinds.setdefault(_kind(words), []).append((place, words))
    for told in kinds.values():
        (first, words), others = told[0], [design_label(study, place) for place, _ in told[1:]]
        lines.append(f"{design_label(study, first)}: {words}")
        also = "; ".join(others[:_TOLD]) + (f" and {len(others) - _TOLD} more" if len(others) > _TOLD else "")
        if others:
            lines[-1] += f". Likewise, with their own figures: {also}"
    return "\n".join(lines) if lines else NOTHING_OUTSIDE


def _kind(words: str) -> str:
    """Return a finding without its figures, so that alike ones can be told together."""
    return re.sub(r"[-+]?\d[\d.]*", "#", words.partition(" is outside ")[0] if " is outside " in words else words)


def meanings(study: Study, limits_name: str) -> str:
    """Return what the columns mean, and what was assumed."""
    job = study.job
    words = [
        "Low-lift area: flow area at lifts up to "
        f"{lift_text(job, LOW_LIFT * job.valve.head_diameter)} over the present one's. Gap limits up to: above that "
        "lift another passage is the narrower, mostly from the seat to the back of the head, not the bore; – where "
        f"that is beyond {lift_text(job, HIGH_LIFT * job.valve.head_diameter)}. line (...): face and seat touch along "
        "a line, and in brackets the band once worn in.",
        f"Limits: {limits_name}; --limits FILE, or a limits.csv in the job's folder, replaces them.",
        "A narrow seat cools the valve worse, a wide one seals worse; a valve can burn, a seat pull out, a thin margin "
        "crack. The valve's and seat's makers' limits and licensed practice come first: nothing here is a permission.",
    ]
    spring = study.designs.values["valve.seat_force"]
    if np.isfinite(closed_pressure(study)).any():
        alone = " (gas alone where valve.seat_force is not stated)" if np.isnan(spring).any() else ""
        words.insert(1, f"With gas: the spring and valve.gas_pressure on the circle within the contact{alone}.")
    if np.isfinite(spring).any():
        words.insert(
            1,
            "The spring's mean pressure on the band is frictionless; friction up to "
            f"{FRICTION:g} (common practice, no source) bounds it in --json. On a line there is no mean pressure.",
        )
    if np.isfinite(study.flow).any():
        words.insert(
            1,
            "Flow: the measured coefficient on the flow area, at the same lift, x the new flow area, at "
            f"{pressure_text(job, job.bench.test_pressure)}. Coefficients move with geometry: in brackets half of the "
            f"change, and {100.0 * LEAST_BAND:g} % of the flow at least, as if so much could be lost or gained besides "
            "(assumptions, no source); measure what you cut.",
        )
    return " ".join(words)
