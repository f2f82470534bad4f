"""The sections of a report: what each shows, its charts with their words, and its tables."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from portviz.distribution.comparison import Comparison
from portviz.distribution.verdicts import HIGHER, LOWER, NOT_SHOWN
from portviz.errors import sentence, spelled_out
from portviz.job.words import flow_text, lift_text, reference_words, velocity_text
from portviz.report.comparison import comparison_tables
from portviz.report.content import Chart, Section, TextTable
from portviz.report.customer_words import for_customer, without_empty_columns
from portviz.report.finding_words import Facts, listed
from portviz.report.layout import text_tables
from portviz.report.station_matrix import station_matrices
from portviz.report.tables import flow_table, pattern_table
from portviz.report.uncertainty import uncertainty_table

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from portviz.distribution.study import Study

#: Letters that the heads of a study's tables may have across.
_WIDE = 400
#: Tables of the event that a printed document has room for.
_EVENT_TABLES = 1


def report_sections(facts: Facts, designs: Path | None) -> tuple[Section, ...]:
    """Return the sections in the order of reading."""
    parts = [_seat(facts), _flow(facts), _round(facts)]
    parts += [_compared(facts, each, number) for number, each in enumerate(facts.comparisons, start=1)]
    if designs is not None:
        parts.append(_designs(facts, designs))
    if facts.events is not None:
        parts.append(_event(facts))
    parts.append(_stations(facts))
    return tuple(_plainly(each) for each in parts)


def _plainly(section: Section) -> Section:
    """Return a section without columns of nothing, advice for the shop, and signs that can't be seen."""
    return replace(
        section,
        title=spelled_out(section.title),
        paragraphs=tuple(spelled_out(for_customer(each)) for each in section.paragraphs),
        tables=tuple(_plain_table(without_empty_columns(each)) for each in section.tables),
    )


def _plain_table(table: TextTable) -> TextTable:
    return replace(
        table,
        title=spelled_out(table.title),
        rows=tuple(tuple(map(spelled_out, row)) for row in table.rows),
        note=spelled_out(for_customer(table.note)),
    )


def _flow(facts: Facts) -> Section:
    reduction, runs = facts.reduction, list(facts.runs)

    def make() -> Figure:
        from portviz.scene.plots import plot_flow

        return plot_flow(reduction, facts.uncertainty, runs=runs)

    tables: list[TextTable] = []
    for run in runs:
        name = reduction.runs[run]
        tables += text_tables(flow_table(reduction, run, name, wide=True))
        known = text_tables(uncertainty_table(reduction, facts.uncertainty, run, wide=True))
        tables += [_as_detail(each) for each in known]
    groups = [group for run in runs for group in reduction.groups_of(run)]
    if not np.isfinite(reduction.bench_flow[groups]).any():
        tables = [replace(each, title=each.title.replace(": flow", ": what limits")) for each in tables]
        return Section("flow", "What limits at each lift", ("The total flow was not measured.",), (), tuple(tables))
    return Section(
        "flow",
        "Flow and coefficients against lift",
        ("Flow is what the bench measured; the discharge coefficient is what passes over what could pass at best.",),
        (Chart("flow", "Flow and discharge coefficient against lift", _flow_shows(facts), make),),
        tuple(tables),
    )


def _flow_shows(facts: Facts) -> str:
    reduction, job = facts.reduction, facts.job
    words = []
    for run in facts.runs:
        groups = [group for group in facts.open_groups(run) if np.isfinite(reduction.bench_flow[group])]
        if not groups:
            words.append(f"Run “{reduction.runs[run]}”: flow not measured.")
            continue
        first, last = groups[0], groups[-1]
        words.append(
            f"Run “{reduction.runs[run]}”: {flow_text(job, float(reduction.bench_flow[first]))} at "
            f"{lift_text(job, float(reduction.lift[first]))} to {flow_text(job, float(reduction.bench_flow[last]))} at "
            f"{lift_text(job, float(reduction.lift[last]))}; discharge coefficient "
            f"{reduction.discharge_coefficient[first]:.3f} to {reduction.discharge_coefficient[last]:.3f}."
        )
    return " ".join(words)


def _round(facts: Facts) -> Section:
    reduction, runs = facts.reduction, list(facts.runs)

    def velocities() -> Figure:
        from portviz.scene.plots import plot_velocities

        return plot_velocities(reduction, facts.uncertainty, runs=runs)

    def unrolled(run: int) -> Figure:
        from portviz.scene.plots import plot_unrolled

        return plot_unrolled(reduction, run)

    charts = [Chart("velocities", "Velocity round the valve", _velocities_show(facts), velocities)]
    charts += [
        Chart(
            f"unrolled-{number}",
            f"Velocity over angle and lift, run “{reduction.runs[run]}”",
            _unrolled_shows(facts, run),
            partial(unrolled, run),
            detail=number < len(runs),
        )
        for number, run in enumerate(runs, start=1)
    ]
    # A printed document shows the pattern of the last run alone, as it shows its field.
    tables = []
    for run in runs:
        made = list(text_tables(pattern_table(reduction, run, reduction.runs[run], wide=True)))
        tables += made if run == runs[-1] else _first_whole(made, 0)
    reference = reference_words(facts.job)
    faces = "" if reference is None else f" 0° faces “{reference}”."
    return Section(
        "round",
        "Where the air passes round the valve",
        (f"Dots are measured; what lies between them is interpolated. Bias: 0 is even, 1 all at one station.{faces}",),
        tuple(charts),
        tuple(tables),
    )


def _velocities_show(facts: Facts) -> str:
    reduction, job = facts.reduction, facts.job
    words = []
    for run in facts.runs:
        group = reduction.groups_of(run)[-1]
        part = reduction.stations_of(group)
        velocity = reduction.stations.velocity[part]
        angles = job.stations.angles_deg[reduction.stations.station[part]]
        weak, strong = int(np.argmin(velocity)), int(np.argmax(velocity))
        words.append(
            f"Run “{reduction.runs[run]}” at {lift_text(job, float(reduction.lift[group]))}: slowest at "
            f"{angles[weak]:g}° with {velocity_text(job, float(velocity[weak]))}, fastest at {angles[strong]:g}° with "
            f"{velocity_text(job, float(velocity[strong]))}."
        )
    return " ".join(words)


def _unrolled_shows(facts: Facts, run: int) -> str:
    reduction, job = facts.reduction, facts.job
    groups = reduction.groups_of(run)
    part = slice(reduction.stations_of(groups[0]).start, reduction.stations_of(groups[-1]).stop)
    velocity = reduction.stations.velocity[part]
    ends = [velocity_text(job, float(each)) for each in (velocity.min(), velocity.max())]
    return (
        f"Velocities from {ends[0]} to {ends[1]}, colours by angle round the valve and by lift; dots where a station "
        f"was read, at {len(groups)} {'lift' if len(groups) == 1 else 'lifts'}."
    )


def _compared(facts: Facts, comparison: Comparison, number: int) -> Section:
    def make() -> Figure:
        from portviz.scene.plots import plot_changes

        return plot_changes(comparison)

    verdicts = [word for each in comparison.lifts for word in each.stations["velocity"].verdicts]
    told = [f"{verdicts.count(word)} {word}" for word in (HIGHER, LOWER, NOT_SHOWN)]
    pair = f"“{comparison.b.name}” against “{comparison.a.name}”"
    return Section(
        f"changes-{number}",
        f"What changed: {pair}",
        (
            "± covers the difference in 95 of 100 cases. ↑ higher, ↓ lower: shown by the data; ·: not shown, which is "
            "not the same as unchanged.",
        ),
        (
            Chart(
                f"changes-{number}",
                f"Change of velocity at each station and lift: {pair}",
                f"Of {len(verdicts)} changes of velocity at the stations, each lift tested for itself, {listed(told)}.",
                make,
            ),
        ),
        tuple(_first_whole(list(text_tables(comparison_tables(comparison))), 1)),
    )


def _event(facts: Facts) -> Section:
    from portviz.report.event_tables import event_tables

    events, runs = facts.events, list(facts.runs)
    assert events is not None

    def make() -> Figure:
        from portviz.scene.plots import plot_event

        return plot_event(events, runs)

    event, job = events.event, facts.job
    shows = [f"The valve is open for {event.duration_deg:.0f}° of crank, up to {lift_text(job, event.peak_lift)}."]
    for run in runs:
        flow = events.runs[run].mean_flow
        if np.isfinite(flow):
            shows.append(f"Run “{facts.reduction.runs[run]}”: mean flow {flow_text(job, flow)}.")
    tables = list(text_tables(event_tables(events, runs, list(facts.event_comparisons))))
    return Section(
        "event",
        "Over the whole lift event",
        (
            "The valve never stands still: everything here is weighed by how long it stays at each lift, at the "
            "bench's test pressure. It compares ports; it does not know the engine's own pressures or waves.",
            *(["The lift curve was assumed from the figures of a cam card."] if event.assumed else []),
        ),
        (Chart("event", "Lift and effective area over the event", " ".join(shows), make),),
        tuple(_first_whole(tables, _EVENT_TABLES)),
    )


def _as_detail(table: TextTable) -> TextTable:
    return replace(table, detail=True)


def _first_whole(tables: list[TextTable], count: int) -> list[TextTable]:
    """Return tables of which a printed document has room for the first ones."""
    return [*tables[:count], *(_as_detail(each) for each in tables[count:])]


def _seat(facts: Facts) -> Section:
    job = facts.job

    def make() -> Figure:
        from portviz.scene.plots import plot_section

        return plot_section(job)

    seat, valve = job.seat, job.valve
    shows = (
        f"Half section of the closed valve: head {lift_text(job, valve.head_diameter)}, seat "
        f"{np.degrees(seat.angle):g}° and {lift_text(job, seat.width)} wide, throat "
        f"{lift_text(job, seat.throat_diameter)}."
    )
    return Section("seat", "Valve and seat", (), (Chart("section", "Half section of valve and seat", shows, make),))


def _designs(facts: Facts, file: Path) -> Section:
    from portviz.job.limits import read_limits
    from portviz.report.study_tables import meanings, refused, study_tables, to_check

    study = _study(facts, file)
    limits, name = read_limits(facts.job, None)
    run = facts.reduction.runs[facts.runs[0]]
    said = [
        f"Worked out, not measured: passages by geometry, and flow if the coefficients of run “{run}” stayed as they "
        "are, which is an assumption; between lifts by coefficient, so that even the present design differs a little "
        "from what was measured over the event. The makers' limits come first; nothing here is a permission to cut.",
    ]
    if study.refused:
        said.append(f"Refused, since they make no valve and seat. {refused(study)}")
    said.append(sentence(f"To check. {to_check(study, limits, list(range(study.count)))}"))
    tables = [_design_changes(study), *text_tables(study_tables(study, limits, name, None, _WIDE))]
    tables[-1] = replace(tables[-1], note=meanings(study, name))
    return Section("designs", "Other dimensions of valve and seat", tuple(said), (), tuple(_first_whole(tables, 2)))


def _design_changes(study: Study) -> TextTable:
    from portviz.report.study_tables import change_text, design_label

    rows = []
    for place in range(study.count):
        changes = study.designs.named_changes(place)
        told = "; ".join(change_text(study, key, value) for key, value in changes.items())
        rows.append((design_label(study, place), told or "as it stands"))
    return TextTable("Designs: what each changes", ("design", "changes"), tuple(rows), words=frozenset({0, 1}))


def _study(facts: Facts, file: Path) -> Study:
    from portviz.distribution.cam_event import cam_event
    from portviz.distribution.designs import named_designs
    from portviz.distribution.study import run_coefficients, study_designs, usual_lifts
    from portviz.job.design_file import read_designs

    job = facts.job
    coefficients = run_coefficients(facts.reduction, facts.uncertainty, facts.runs[0])
    event = None if job.cam is None else cam_event(job)
    made = named_designs(job, read_designs(file, job), [])
    return study_designs(job, made, usual_lifts(job, coefficients), coefficients=coefficients, event=event)


def _stations(facts: Facts) -> Section:
    tables = []
    for run in facts.runs:
        tables += _first_whole(list(station_matrices(facts.reduction, facts.uncertainty, run)), 0)
    said = ("Velocities and shares as measured, with their ± at 95 %.",)
    return Section("stations", "Every station", said, (), tuple(tables))
