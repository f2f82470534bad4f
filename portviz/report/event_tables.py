"""The lift event as tables: each run over the event, its lift bands and stations, and what changed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from portviz.distribution.differences import Difference
from portviz.distribution.event_comparison import EventComparison, LiftEvent
from portviz.distribution.event_course import inlet_mach_index, missing_of_engine
from portviz.distribution.event_uncertainty import Estimates
from portviz.distribution.propagation import plus_minus
from portviz.distribution.turning import rolls_down_deg, turning, turning_spread
from portviz.distribution.verdicts import NOT_SHOWN
from portviz.job.digits import with_uncertainty
from portviz.job.words import direction_words, facing_words, flow_text, lift_text, pressure_text
from portviz.report.comparison import changed
from portviz.report.layout import add_row, new_table, titled
from portviz.report.uncertainty import WHAT_TO_ADD
from portviz.units import area_unit, in_unit, number_text

#: Runs side by side in one table.
_RUNS_ABREAST = 4
_LONGEST_HEADING = 18
#: Less turning than this is none [-].
_NO_TURNING = 5e-5


def event_tables(events: LiftEvent, runs: list[int], comparisons: list[EventComparison]) -> RenderableType:
    """Return the event of the runs asked for, and the comparisons."""
    job = events.reduction.job
    parts: list[RenderableType] = [Text(job.title, style="bold"), Text(_event_words(events)), Text("")]
    parts.append(titled("Over the event", _run_table(events, runs)))
    for each in comparisons:
        parts += [
            Text(f"{_pair(events, each)}: what changed over the event", style="bold"),
            Text(_change_words(events, each)),
            Text(""),
        ]
    for some in _abreast(runs):
        parts.append(titled("Lift bands: how long the valve is there, and what flows there", _bands(events, some)))
    for each in comparisons:
        if np.isfinite(each.band_flow.difference).any():
            parts.append(titled(f"{_pair(events, each)}: which lifts it comes from", _gains(events, each)))
    told_apart = [each for each in comparisons if _shares_known(each)]
    compared = {run for each in told_apart for run in (each.a, each.b)}
    alone = [run for run in runs if run not in compared and np.isfinite(events.runs[run].flow_share).any()]
    for some in _abreast(alone):
        parts.append(titled("Share of the event's flow at each station", _stations(events, some)))
    for each in told_apart:
        parts.append(titled(f"{_pair(events, each)}: stations over the event", _changed_stations(each)))
    if any(events.known[run].turning is not None for run in runs):
        parts.append(titled("Turning of the charge by the jets (an indicator, see below)", _turnings(events, runs)))
        parts.append(titled("The same at each lift", _turning_at_lifts(events, runs)))
    parts.append(Text(_meanings(events, runs), style="dim"))
    return Group(*parts)


def _shares_known(each: EventComparison) -> bool:
    return each.flow_share is not None and bool(np.isfinite(each.flow_share.difference).any())


def _pair(events: LiftEvent, each: EventComparison) -> str:
    names = events.reduction.runs
    return f"{names[each.b]} against {names[each.a]}"


def _abreast(runs: list[int]) -> Iterator[list[int]]:
    for start in range(0, len(runs), _RUNS_ABREAST):
        yield runs[start : start + _RUNS_ABREAST]


def _event_words(events: LiftEvent) -> str:
    job, event = events.reduction.job, events.event
    assumed = (
        " The curve is exact at the cam card's figures and assumed between them (a smooth, symmetric polynomial)."
        if event.assumed
        else ""
    )
    lash = job.cam.lash if job.cam is not None else 0.0
    taken = f" A lash of {lift_text(job, lash)} is taken off." if lash else ""
    return (
        f"The valve is open for {event.duration_deg:.1f}° of crank, from {event.opening_deg:.1f}° to "
        f"{event.closing_deg:.1f}°, and up to {lift_text(job, event.peak_lift)} at {event.peak_deg:.1f}°."
        f"{taken}{assumed}"
    )


def half_widths(estimates: Estimates) -> np.ndarray:
    """Return half the width of the intervals that cover at 95 %, shape (N,); NaN where not known."""
    return plus_minus(estimates.spread, estimates.freedom)


def _told(estimates: Estimates, scale: float, decimals: int, place: int = 0) -> str:
    return with_uncertainty(
        float(estimates.values[place]) * scale, float(half_widths(estimates)[place]) * scale, decimals
    )


def _run_table(events: LiftEvent, runs: list[int]) -> Table:
    job = events.reduction.job
    area, to_area = area_unit(job.units.length)
    to_flow = in_unit(1.0, job.units.flow, "flow")
    index = any(inlet_mach_index(job, events.runs[run]) is not None for run in runs)
    columns = ["run", f"mean effective\narea [{area}]", f"mean flow\n[{job.units.flow}]", "bias", "leans to"]
    table = new_table([*columns, *(["mean inlet\nMach index"] if index else [])], ("run", "leans to"))
    for run in runs:
        found, known = events.runs[run], events.known[run]
        mach = inlet_mach_index(job, found)
        mean = Estimates(
            known.area_integral.values / events.event.duration_deg,
            known.area_integral.spread.scaled(1.0 / events.event.duration_deg),
            known.area_integral.freedom,
        )
        leans = direction_words(found.bias_angle_deg, found.bias_magnitude, facing=facing_words(job, 30))
        if np.isfinite(found.bias_magnitude) and not known.leans(found):
            leans = "not told"
        add_row(
            table,
            events.reduction.runs[run],
            _told(mean, to_area, 1 if area == "mm²" else 4),
            _told(known.mean_flow, to_flow, 2),
            _told(known.bias_magnitude, 1.0, 3),
            leans,
            *(["–" if mach is None else f"{mach:.3f}"] if index else []),
        )
    return table


def _bands(events: LiftEvent, runs: list[int]) -> Table:
    """Return the bands of each run; runs with the same lifts share their rows."""
    unit = events.reduction.job.units.length
    table = new_table(
        (f"from\n[{unit}]", "to", "time\n[%]", *(f"flow [%]\n{name}" for name in _headings(events, runs)))
    )
    rows: dict[tuple[float, float], tuple[float, dict[int, float]]] = {}
    for run in runs:
        found = events.runs[run]
        for start, stop, time, share in zip(
            found.bands.start, found.bands.stop, found.bands.time_share, found.band_flow_share, strict=True
        ):
            key = (round(float(start), 7), round(float(stop), 7))
            rows.setdefault(key, (float(time), {}))[1][run] = float(share)
    highest = {run: events.runs[run].knots[-1] if len(events.runs[run].knots) else 0.0 for run in runs}
    for (start, stop), (time, shares) in sorted(rows.items()):
        cells = []
        for run in runs:
            share = shares.get(run, np.nan)
            held = "*" if start >= highest[run] - 1e-7 and np.isfinite(share) else ""
            cells.append("–" if np.isnan(share) else f"{100.0 * share:.1f}{held}")
        add_row(
            table,
            number_text(start, unit, "length"),
            number_text(stop, unit, "length"),
            f"{100.0 * time:.1f}",
            *cells,
        )
    return table


def _headings(events: LiftEvent, runs: list[int]) -> list[str]:
    """Return the runs' names for the heads of columns: shortened, and then with their numbers to tell them apart."""
    names = [events.reduction.runs[run] for run in runs]
    if all(len(name) <= _LONGEST_HEADING for name in names):
        return names
    return [f"({run + 1}) {name[: _LONGEST_HEADING - 6]}…" for run, name in zip(runs, names, strict=True)]


def _stations(events: LiftEvent, runs: list[int]) -> Table:
    job = events.reduction.job
    table = new_table(("station", *(f"share [%]\n{name}" for name in _headings(events, runs))))
    for station in range(len(job.stations.angles_deg)):
        cells = []
        for run in runs:
            ring = events.runs[run].ring.station
            where = np.flatnonzero(ring == station)
            cells.append(_told(events.known[run].flow_share, 100.0, 2, int(where[0])) if where.size else "–")
        if any(cell != "–" for cell in cells):
            add_row(table, f"{job.stations.angles_deg[station]:g}°", *cells)
    return table


def _turnings(events: LiftEvent, runs: list[int]) -> Table:
    table = new_table(
        ("run", "about the bore's\naxis (swirl)", "which is", "across it\n(tumble)", "rolls\ndown at"),
        ("run", "which is"),
    )
    for run in runs:
        known = events.known[run].turning
        if known is None:
            continue
        about, wide = known.values, half_widths(known)
        sense = "anticlockwise" if about[2] > 0.0 else "clockwise"
        across = float(np.hypot(about[0], about[1]))
        # Along the direction itself; the two parts are taken to err alike.
        across_wide = float(np.hypot(about[0] * wide[0], about[1] * wide[1]) / across) if across else np.nan
        add_row(
            table,
            events.reduction.runs[run],
            with_uncertainty(float(about[2]) + 0.0, float(wide[2]), 4),
            sense if not abs(about[2]) <= wide[2] else "not told",
            with_uncertainty(across, across_wide, 4),
            f"{round(rolls_down_deg(about[:2])) % 360}°" if events.known[run].rolls() else "not told",
        )
    return table


def _turning_at_lifts(events: LiftEvent, runs: list[int]) -> Table:
    reduction, job = events.reduction, events.reduction.job
    assert job.engine is not None
    found, spreads = turning(reduction, job.engine), turning_spread(reduction, events.uncertainty, job.engine)
    freedom = events.uncertainty.readings.freedom
    wide = [plus_minus(spread, freedom) for spread in spreads]
    columns = (f"lift\n[{job.units.length}]", "about the bore's\naxis (swirl)", "across it\n(tumble)", "rolls\ndown at")
    table = new_table(("run", *columns), ("run",))
    for run in runs:
        for place, group in enumerate(events.runs[run].ring.groups.tolist()):
            about = found.coefficient[:, group]
            across = float(np.hypot(about[0], about[1]))
            add_row(
                table,
                reduction.runs[run] if place == 0 else "",
                number_text(float(reduction.lift[group]), job.units.length, "length"),
                with_uncertainty(float(about[2]), float(wide[2][group]), 4),
                f"{across:.3f}",
                f"{round(rolls_down_deg(about[:2])) % 360}°",
            )
    return table


def _gains(events: LiftEvent, each: EventComparison) -> Table:
    job, unit = events.reduction.job, events.reduction.job.units.length
    to_flow = in_unit(1.0, job.units.flow, "flow")
    table = new_table(
        (f"from\n[{unit}]", "to", f"its part of the mean\nflow's change [{job.units.flow}]", "of the change\n[%]")
    )
    for band, share in enumerate(each.band_gain_share):
        add_row(
            table,
            number_text(float(each.edges[band]), unit, "length"),
            number_text(float(each.edges[band + 1]), unit, "length"),
            changed(each.band_flow, band, to_flow),
            "–" if np.isnan(share) else f"{100.0 * share:.0f}{'*' if each.held[band] else ''}",
        )
    return table


def _changed_stations(each: EventComparison) -> Table:
    share = each.flow_share
    assert share is not None
    table = new_table(("station", "share before\n[%]", "after", "change"))
    for place, angle in enumerate(each.angles_deg):
        add_row(
            table,
            f"{angle:g}°",
            f"{100.0 * share.a[place]:.2f}",
            f"{100.0 * share.b[place]:.2f}",
            changed(share, place, 100.0),
        )
    return table


def _change_words(events: LiftEvent, each: EventComparison) -> str:
    job, flow = events.reduction.job, each.values["mean_flow"]
    lines = []
    if np.isnan(flow.difference[0]):
        lines.append("Mean flow: not measured in both runs.")
    else:
        part = f" ({100.0 * flow.difference[0] / flow.a[0]:+.1f} %)" if flow.a[0] else ""
        lines.append(
            f"Mean flow: {flow_text(job, float(flow.a[0]))} to {flow_text(job, float(flow.b[0]))}, "
            f"{changed(flow, 0, in_unit(1.0, job.units.flow, 'flow'))} {job.units.flow}{part}: "
            f"{_verdict_words(flow)}."
        )
    if each.bias is None:
        lines.append("Bias and shares: not compared, since the runs were read at other stations.")
    elif np.isfinite(each.bias.shift).all():
        magnitude = each.bias.magnitude
        moved = float(np.hypot(*each.bias.shift))
        angle = float(np.degrees(np.arctan2(each.bias.shift[1], each.bias.shift[0]))) % 360.0
        nothing = "" if np.isnan(each.bias.u) else "; no move is shown"
        shown = f"; moved by {moved:.3f} toward {angle:.0f}°" if each.bias.shown else nothing
        lines.append(f"Bias: {magnitude.a[0]:.3f} to {magnitude.b[0]:.3f}, {_verdict_words(magnitude)}{shown}.")
    if each.turning is not None:
        lines += _turning_words(each.turning)
    return "\n".join(lines)


def _turning_words(turned: Difference) -> list[str]:
    """Return how the turning about the bore's axis and across it changed."""
    before, after = float(turned.a[2]), float(turned.b[2])

    if max(abs(before), abs(after)) < _NO_TURNING:
        return ["Turning about the bore's axis (swirl): none, as from a central valve."]

    def sense(value: float) -> str:
        return f"{abs(value):.4f} {'anticlockwise' if value > 0.0 else 'clockwise'}"

    shown = turned.verdicts[2] != NOT_SHOWN
    way = "turned the other way round" if before * after < 0.0 else "stronger" if abs(after) > abs(before) else "weaker"
    verdict = f"{way}, shown by the data" if shown else _verdict_words(_of_axis(turned, 2))
    across = [float(np.hypot(*part[:2])) for part in (turned.a, turned.b)]
    if np.isnan(turned.u[:2]).all():
        moved = _verdict_words(_of_axis(turned, 0))
    else:
        moved = "changed, shown by the data" if set(turned.verdicts[:2]) != {NOT_SHOWN} else "not shown by the data"
    return [
        f"Turning about the bore's axis (swirl): {sense(before)} to {sense(after)}, "
        f"{changed(turned, 2, 1.0).rpartition(' ')[0]}: {verdict}.",
        f"Turning across it (tumble): {across[0]:.3f} to {across[1]:.3f}: {moved}.",
    ]


def _of_axis(turned: Difference, axis: int) -> Difference:
    at = slice(axis, axis + 1)
    return Difference(turned.a[at], turned.b[at], turned.u[at], turned.freedom[at], turned.verdicts[at])


def _verdict_words(difference: Difference) -> str:
    if np.isnan(difference.u[0]):
        return "its uncertainty is not known, so there is no verdict"
    word = difference.verdicts[0]
    return "not shown by the data" if word == NOT_SHOWN else f"{word}, shown by the data"


def _meanings(events: LiftEvent, runs: list[int]) -> str:
    job = events.reduction.job
    runs = [run for run in runs if len(events.runs[run].knots)]
    if not runs:
        return "No flow was measured: of the event only the time at each lift is known."
    words = [
        f"All at the bench's {pressure_text(job, job.bench.test_pressure)}, weighed by how long the valve stays at "
        "each lift: it compares ports over the whole event; it does not know the engine's own pressures and "
        "predicts no power.",
        "Effective area: discharge coefficient x curtain area; a shape-preserving cubic between measured lifts, zero "
        "at zero lift, held beyond the highest (bands marked *).",
        "± at 95 % covers readings, flows and the setting of lifts; the cam, the curves between measured lifts and "
        "what is held count as exact. ↑ higher, ↓ lower: shown by the data at 5 % for each table together (Holm); "
        "·: not shown.",
    ]
    if any(np.isnan(events.known[run].mean_flow.spread.standard[0]) for run in runs):
        words.append("No ± on flow: state bench.flow_accuracy in job.toml.")
    if any(np.isnan(events.known[run].bias_magnitude.spread.standard[0]) for run in runs):
        words.append(f"No ± on shares and bias: {WHAT_TO_ADD}.")
    if any(events.known[run].turning is not None for run in runs):
        words.append(
            "Turning: angular momentum of the jets over mass flow, ideal velocity and an eighth of the bore, if they "
            "leave straight along the seat's angle, from this valve alone; walls, piston and other valves change it. "
            "Rolls down: the side at which the charge goes toward the piston."
        )
    if any(inlet_mach_index(job, events.runs[run]) is not None for run in runs):
        words.append(
            "Mean inlet Mach index [Taylor]: an engine breathes worse where it is above 0.5 to 0.6 (from memory); with "
            "this bench's coefficients and the room's speed of sound."
        )
    missing = missing_of_engine(job)
    if missing:
        listed = "; ".join(f"{what}: {', '.join(keys)}" for what, keys in missing.items())
        words.append(f"Missing in job.toml: {listed}.")
    return " ".join(words)
