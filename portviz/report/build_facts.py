"""What stands round a report's results: the opening paragraph, the sheet of valve, seat and bench, and the method."""

from __future__ import annotations

import numpy as np

from portviz.distribution.scatter import UNKNOWN
from portviz.job.model import Job
from portviz.job.words import lift_text, pressure_text, reading_text, reference_words, velocity_text
from portviz.report.content import TextTable
from portviz.report.finding_words import Facts, listed
from portviz.units import format_quantity, is_metric

_GAUGES = {
    "upstream-minus-tap": "the pressure upstream less that at the tap",
    "tap-minus-downstream": "the pressure at the tap less that downstream",
    "total-minus-static": "total less static pressure",
    "velocity": "the velocity itself",
}


def summary_words(facts: Facts) -> str:
    """Return one paragraph on what was measured."""
    reduction, job = facts.reduction, facts.job
    groups = [group for run in facts.runs for group in reduction.groups_of(run)]
    lifts = np.unique(np.round(reduction.lift[groups], 7))
    names = listed([f"“{reduction.runs[run]}”" for run in facts.runs])
    span = lift_text(job, float(lifts[0]))
    if len(lifts) > 1:
        span = f"{len(lifts)} lifts from {span} to {lift_text(job, float(lifts[-1]))}"
    else:
        span = f"one lift, {span}"
    reference = reference_words(job)
    faces = f" Station 0° faces “{reference}”." if reference is not None else ""
    states = "one state of the port" if len(facts.runs) == 1 else f"{len(facts.runs)} states of the port"
    flow = ""
    if not np.isfinite(reduction.bench_flow[groups]).any():
        flow = " The total flow was not measured, so that there are no coefficients."
    counts = sorted({len(_stations(facts, group)) for group in groups})
    return (
        f"The {job.side} was measured on a flow bench at {_pressures(facts, groups)}: at "
        f"{' or '.join(map(str, counts))} stations round the valve and {span}, in {states}: {names}.{faces} Angles run "
        f"anticlockwise as seen from the cylinder.{flow}"
    )


def _stations(facts: Facts, group: int) -> range:
    part = facts.reduction.stations_of(group)
    return range(part.start, part.stop)


def _pressures(facts: Facts, groups: list[int]) -> str:
    """Return the test pressures that were measured at."""
    used = facts.reduction.test_pressure[groups]
    ends = [pressure_text(facts.job, float(each)) for each in (used.min(), used.max())]
    return ends[0] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"


def fact_tables(facts: Facts) -> tuple[TextTable, ...]:
    """Return the sheet of valve, seat, contact and bench, each a table of names and values."""
    from portviz.distribution.designs import named_designs
    from portviz.distribution.study import study_designs, usual_lifts
    from portviz.scene.section_parts import design_section
    from portviz.scene.shop_sheet import contact_rows, cutter_list, valve_rows

    job = facts.job
    section = design_section(job, "present", 0.0)
    study = study_designs(job, named_designs(job, ()), usual_lifts(job, None))
    cut = [each for each in cutter_list(section) if not each.left_out]
    cuts = TextTable(
        "Seat, as it stands",
        ("cut", "angle", "width", "outer Ø", "inner Ø"),
        tuple((each.name, each.angle, each.width, each.outer, each.inner) for each in cut),
        note="; ".join(f"{each.name}: {each.remark}" for each in cut if each.remark),
        words=frozenset({0}),
    )
    pairs = [("Valve", valve_rows(section)), ("Contact and throat", contact_rows(section, study, 0)), _bench(facts)]
    made = [TextTable(title, ("what", "value"), tuple(rows), words=frozenset({0, 1})) for title, rows in pairs]
    return (made[0], cuts, *made[1:])


def _bench(facts: Facts) -> tuple[str, list[tuple[str, str]]]:
    job = facts.job
    bench, gauge = job.bench, job.gauge
    groups = [group for run in facts.runs for group in facts.reduction.groups_of(run)]
    room = bench.air
    temperature = format_quantity(room.temperature, "degC" if is_metric(job.units.length) else "degF", "temperature")
    rows = [
        ("side", job.side),
        ("test pressure", _pressures(facts, groups)),
        ("room", f"{temperature.replace('deg', '°')}, {100.0 * room.humidity:.0f} % humidity"),
        ("barometer", format_quantity(room.pressure, "kPa", "pressure")),
        ("gauge reads", _GAUGES[gauge.reads]),
        ("gauge's coefficient", f"{gauge.coefficient:g}"),
        ("accuracy of a reading", "not stated" if gauge.accuracy is None else reading_text(job, gauge.accuracy)),
        ("accuracy of flow", _flow_accuracy(job)),
    ]
    if bench.subtract_leak:
        rows.append(("leak", "the flow at closed valve is subtracted"))
    return "Bench and gauge", rows


def _flow_accuracy(job: Job) -> str:
    bench = job.bench
    if bench.flow_accuracy_part is not None:
        return f"{100.0 * bench.flow_accuracy_part:g} %"
    if bench.flow_accuracy is not None:
        return format_quantity(bench.flow_accuracy, job.units.flow, "flow")
    return "not stated"


def method_words(facts: Facts) -> tuple[str, ...]:
    """Return how the results were found, and how well they are known."""
    job, known = facts.job, facts.uncertainty.readings
    groups = [group for run in facts.runs for group in facts.reduction.groups_of(run)]
    air = facts.reduction.upstream_density[groups[0]]
    fastest = velocity_text(job, float(np.nanmax(facts.reduction.ideal_velocity[groups])))
    found = [
        "The pressure drop at each station gives the velocity there, by the isentropic relation from "
        f"the air at rest upstream (density {air:.3f} kg/m³ of moist air, CIPM-2007) times the gauge's coefficient; "
        f"the whole test pressure would give {fastest}. A station stands for its sector, half-way to its neighbours; "
        "its share of the flow is density x velocity x sector. The discharge coefficient is the bench's mass flow over "
        "the ideal one through the curtain, π x head diameter x lift (Heywood, ch. 6). The narrowest passages are the "
        "least cone frusta between seat and valve. Between stations and between lifts curves are interpolated, "
        "shape-preserving; only the dots are measured.",
        _knowledge(facts, [known.source[group] for group in groups]),
    ]
    return tuple(found)


def _knowledge(facts: Facts, sources: list[str]) -> str:
    job = facts.job
    if all(source == UNKNOWN for source in sources):
        return (
            "How well it is known was not stated: neither an accuracy of the gauge nor repeated readings. So there is "
            "no ±, and no change can be told from chance."
        )
    flow_known = (job.bench.flow_accuracy or job.bench.flow_accuracy_part) if job.flow is not None else None
    stated = [
        name
        for name, value in (
            ("the accuracy of a reading", job.gauge.accuracy),
            ("the gauge's steps", job.gauge.resolution),
            ("the gauge's coefficient", job.gauge.coefficient_uncertainty),
            ("the accuracy of flow", flow_known),
            ("the test pressure", job.bench.test_pressure_uncertainty),
            ("the air's density", job.bench.density_uncertainty),
            ("the setting of lift", job.bench.lift_uncertainty),
            ("the lengths of valve and seat", job.valve.length_uncertainty or job.seat.length_uncertainty),
        )
        if value is not None
    ]
    rests = [*stated, *(["the scatter of repeated readings"] if "repeats" in sources else [])]
    return (
        f"How well it is known. ± covers the true value in 95 of 100 cases. It rests on {listed(rests)}, and on "
        "nothing else: what is not stated counts as exact, but readings and flow of which nothing is known have no ±. "
        "“Higher” and “lower” are shown by the data at 5 %: in the tables for all stations of one lift together, in "
        "the findings for all lifts together (Holm's procedure); so a table may show a change that no finding tells. "
        "“Not shown” is not “unchanged”: the data cannot say."
    )
