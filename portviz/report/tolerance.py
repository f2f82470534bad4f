"""What machining tolerances do, as a JSON document and as tables."""

from __future__ import annotations

import numpy as np
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from portviz.distribution.tolerance import QUANTILES, Distribution, Tolerance
from portviz.job.words import lift_text
from portviz.report.layout import add_row, new_table, titled
from portviz.report.machine import FORMAT, Document, plain_number
from portviz.units import area_unit, format_quantity, number_text

#: Dimensions that a table names for each result, and the least part of the variance worth naming [-].
_NAMED, _LEAST = 4, 0.02
#: Below this part of the variance the linear fit tells little [-].
_STRAIGHT = 0.8


def tolerance_document(found: Tolerance, warnings: list[str]) -> Document:
    """Return what `tolerance --json` prints."""
    lifts = [
        {
            "lift_m": float(lift),
            "flow_area_m2": {"present": float(found.present_area[place]), **_distribution(found.area, place)},
            **_shares(found, place),
        }
        for place, lift in enumerate(found.lift.tolist())
    ]
    count = len(found.lift)
    whole = {"width": ("contact_width_m", count), "mean diameter": ("contact_mean_diameter_m", count + 1)}
    takes_over = "throat takes over"
    return {
        "format": FORMAT,
        "title": found.job.title,
        "warnings": warnings,
        "length_m": found.length,
        "angle_rad": found.angle,
        "distribution": "rectangular",
        "samples": found.samples,
        "seed": found.seed,
        "possible": found.possible,
        "impossible": found.impossible,
        "dimensions": list(found.keys),
        "quantiles": list(QUANTILES),
        "lifts": lifts,
        **{
            key: {
                "present": plain_number(found.present[name]),
                **_distribution(found.contact[name], 0),
                **_shares(found, place),
            }
            for name, (key, place) in whole.items()
        },
        "throat_from_lift_m": {
            "present": plain_number(found.present[takes_over]),
            **_distribution(found.contact[takes_over], 0),
            "draws": found.takes_over,
        },
    }


def _distribution(each: Distribution, place: int) -> Document:
    return {
        "mean": plain_number(float(each.mean[place])),
        "standard_deviation": plain_number(float(each.deviation[place])),
        "quantile_2_5": plain_number(float(each.low[place])),
        "quantile_97_5": plain_number(float(each.high[place])),
    }


def _shares(found: Tolerance, place: int) -> Document:
    return {
        "variance_shares": {
            key: plain_number(float(part)) for key, part in zip(found.keys, found.share[place], strict=True)
        },
        "linear_part": plain_number(float(found.straight[place])),
    }


def tolerance_tables(found: Tolerance) -> RenderableType:
    """Return what tolerances do to the flow area at each lift and to the contact, and which dimension does most."""
    job = found.job
    angle = format_quantity(found.angle, "deg", "angle", 2)
    parts: list[RenderableType] = [
        Text(job.title, style="bold"),
        Text(
            f"{found.samples} valves and seats drawn: every length within ±{lift_text(job, found.length)}, every angle "
            f"within ±{angle}, each value between as likely (rectangular), each dimension by itself."
        ),
        Text(_impossible(found)),
        Text(""),
    ]
    if found.possible > 1:
        parts.append(titled("Flow area", _area_table(found)))
        parts.append(titled("Contact (worn in) and change of limit", _contact_table(found)))
        parts.append(titled("Where the variance comes from", _share_table(found)))
    parts.append(Text(_meanings(found), style="dim"))
    return Group(*parts)


def _impossible(found: Tolerance) -> str:
    if not found.impossible:
        return "All of them make a valve and seat."
    reasons = "; ".join(f"{count} x {reason}" for reason, count in found.impossible.items())
    return f"{found.possible} of them make a valve and seat, and count below. Impossible: {reasons}."


def _area_table(found: Tolerance) -> Table:
    unit = found.job.units.length
    area, scale = area_unit(unit)
    decimals = 1 if area == "mm²" else 4
    table = new_table(
        [f"lift\n[{unit}]", f"present\n[{area}]", f"mean\n[{area}]", "standard\ndeviation [%]", f"95 of 100\n[{area}]"]
    )
    each = found.area
    for place, lift in enumerate(found.lift.tolist()):
        present = float(found.present_area[place])
        values = [f"{value[place] * scale:.{decimals}f}" for value in (each.mean, each.low, each.high)]
        add_row(
            table,
            number_text(lift, unit, "length"),
            f"{present * scale:.{decimals}f}",
            values[0],
            f"{100.0 * each.deviation[place] / present:.2f}" if present > 0.0 else "–",
            f"{values[1]} to {values[2]}",
        )
    return table


def _contact_table(found: Tolerance) -> Table:
    unit = found.job.units.length
    table = new_table(
        ["", f"present\n[{unit}]", f"mean\n[{unit}]", f"standard\ndeviation [{unit}]", f"95 of 100\n[{unit}]"], ("",)
    )
    words = {"width": "contact width", "mean diameter": "contact mean diameter"}
    for name, each in found.contact.items():
        label = words.get(name, f"gap limits up to ({found.takes_over} of {found.possible} draws)")
        mean, deviation, low, high = (float(value[0]) for value in (each.mean, each.deviation, each.low, each.high))
        add_row(
            table,
            label,
            _number(found, found.present[name]),
            _number(found, mean),
            "–" if np.isnan(deviation) else number_text(deviation, unit, "length", _decimals(found) + 1),
            "–" if np.isnan(low) else f"{_number(found, low)} to {_number(found, high)}",
        )
    return table


def _decimals(found: Tolerance) -> int:
    text = number_text(0.0, found.job.units.length, "length")
    return len(text.partition(".")[2])


def _number(found: Tolerance, value: float) -> str:
    return "–" if np.isnan(value) else number_text(value, found.job.units.length, "length")


def _share_table(found: Tolerance) -> Table:
    job = found.job
    names = [f"flow area at {lift_text(job, lift)}" for lift in found.lift.tolist()]
    names += ["contact width", "contact mean diameter"]
    table = new_table(["of", "most of it from", "linear fit\nholds [%]"], ("of", "most of it from"))
    for place, name in enumerate(names):
        share = found.share[place]
        if np.all(np.isnan(share)):
            add_row(table, name, "nothing", "–")
            continue
        order = np.argsort(share)[::-1][:_NAMED]
        said = [
            f"{_words(found.keys[each])} {100.0 * share[each]:.0f} %"
            for each in order.tolist()
            if share[each] >= _LEAST
        ]
        add_row(table, name, ", ".join(said), f"{100.0 * found.straight[place]:.0f}")
    return table


def _words(key: str) -> str:
    return key.replace("bottom_cuts[", "bottom cut ").replace("]", "").replace(".", " ").replace("_", " ")


def _meanings(found: Tolerance) -> str:
    words = [
        f"95 of 100: from the 2.5 to the 97.5 % quantile of the draws; {found.samples} draws know a standard deviation "
        f"to about {100.0 / np.sqrt(2.0 * max(found.possible, 2)):.1f} %, and the same job gives the same numbers.",
        "Variance: of a linear fit over all draws, parts of one whole; below "
        f"{100.0 * _STRAIGHT:.0f} % the fit is crooked, and its parts tell an order at best.",
        "Angles of face and seat differ in nearly every draw: they touch along a line, and the contact told is the "
        "band once worn in.",
        "Tolerances here are what you stated; a head out of round, a worn guide and a leaning valve are not in them. "
        "The valve's and seat's makers' limits and licensed practice come first: nothing here is a permission.",
    ]
    return " ".join(words)
