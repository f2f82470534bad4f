"""What of a design lies outside the ranges that are usual in the trade: told with its source, never as a permission."""

from __future__ import annotations

import numpy as np

from portviz.distribution.cam_event import CamEvent
from portviz.distribution.study import Study
from portviz.geometry.contact import gas_force, mean_contact_pressure
from portviz.geometry.recession import least_sinking, metal_on_valve
from portviz.job.limits import MEASURES, Limit
from portviz.job.model import SAME_LIFT, Array
from portviz.job.words import lift_text
from portviz.units import format_quantity, in_unit

#: Nearer to a limit than this part of it a figure is the limit, whatever its last digits [-].
_AT_LIMIT = 1e-9
#: A band narrower than this is no band [m].
_NO_BAND = 1e-9
#: Metal thinner than this is not told [m].
_CUTTABLE = 5e-6
#: Angles further apart than this are no interference angle [deg] (common practice, no source).
_FAR_APART_DEG = 2.0


def measures(study: Study) -> dict[str, Array]:
    """Return what limits may be about, each of shape (N,), in SI."""
    dims, contact = study.designs.dimensions, study.contact
    return {
        "seat width": dims.seat_width,
        "interference angle": contact.interference,
        "throat over head": dims.throat_radius / dims.head_radius,
        "margin": dims.margin,
        "face overhang": contact.overhang,
        "contact width": (contact.pressed_outer_radius - contact.pressed_inner_radius) / np.cos(dims.seat_angle),
        "contact pressure": spring_pressure(study),
    }


def spring_pressure(study: Study) -> Array:
    """Return the mean contact pressure under the spring's seat force [Pa], shape (N,); NaN where it is not known."""
    contact = study.contact
    return mean_contact_pressure(study.designs.values["valve.seat_force"], contact.mean_radius, contact.radial_width)


def closed_pressure(study: Study) -> Array:
    """Return the mean contact pressure under spring and gas [Pa], shape (N,); NaN where no gas pressure is known.

    Where the spring's force is not known it is that of the gas alone.
    """
    contact, values = study.contact, study.designs.values
    force = np.nan_to_num(values["valve.seat_force"]) + gas_force(values["valve.gas_pressure"], contact.mean_radius)
    return mean_contact_pressure(force, contact.mean_radius, contact.radial_width)


def findings(study: Study, limits: tuple[Limit, ...], places: range | list[int]) -> list[list[str]]:
    """Return what is to be said of designs by their places, a list of sentences each."""
    values = measures(study)
    chosen = np.asarray(places, dtype=np.intp)
    present, new = study.profiles.take(slice(0, 1)), study.profiles.take(chosen)
    both = np.concatenate([[0], chosen])
    sinks = least_sinking(study.profiles.take(both), study.contact.protrusion[both])[1:]
    on_valve = metal_on_valve(present, new)
    return [
        [
            *_outside(limits, values, place),
            *_contact_words(study, place),
            *_metal_words(study, place, float(sinks[row]), float(on_valve[row])),
        ]
        for row, place in enumerate(places)
    ]


def line_warnings(study: Study) -> list[str]:
    """Return that designs touch along a line as their angles are far apart, where the varied ones do."""
    apart = np.abs(study.contact.interference) > np.radians(_FAR_APART_DEG)
    count = int(apart[1:].sum())
    if not count or apart[0]:
        return []
    face = study.designs.values["valve.face_angle"]
    kept = "" if np.isnan(face[0]) else ", since valve.face_angle is named in job.toml and stays: vary it with the seat"
    return [
        f"{count} of {study.count - 1} designs have a seat and a face more than {_FAR_APART_DEG:g} deg apart{kept}; "
        "they touch along a line and are no seats to cut"
    ]


def _metal_words(study: Study, place: int, sinks: float, on_valve: float) -> list[str]:
    """Return what of a design can't be cut from the present metal."""
    job, dims = study.job, study.designs.dimensions
    found: list[str] = []
    if place == 0:
        return found
    if np.isinf(sinks):
        found.append(
            f"the throat is smaller than the present one, {lift_text(job, 2.0 * float(dims.throat_radius[0]))}: metal "
            "would have to be put on, with an insert"
        )
    elif sinks > _CUTTABLE:
        found.append(
            f"cut from the present seat, the valve sinks by at least {lift_text(job, sinks)}, since metal only comes "
            "off: its spring's installed height and its stem height change"
        )
    if dims.head_radius[place] > dims.head_radius[0] + _CUTTABLE:
        found.append("a larger head is another valve; see that it clears the bore, the piston and its neighbour")
    elif on_valve > _CUTTABLE:
        found.append(
            f"this valve can't be ground from the present one: it stands {lift_text(job, on_valve)} higher under the "
            "head (a back cut ground into a valve narrows its face: lower valve.face_width by as much)"
        )
    if dims.top_cut_width[place] > 0.0 and dims.top_cut_angle[place] >= dims.seat_angle[place]:
        found.append(
            f"the top cut, {np.degrees(dims.top_cut_angle[place]):g} deg, is as steep as the seat or steeper: the seat "
            "would stand in a hollow of the chamber"
        )
    return found


def reach_warnings(study: Study, event: CamEvent | None) -> list[str]:
    """Return that an event's flow is held where no coefficient was measured, if it is."""
    measured = study.coefficients
    if event is None or measured is None or not len(measured.lift):
        return []
    highest = float(measured.lift[-1])
    if event.peak_lift <= highest + SAME_LIFT:
        return []
    return [
        f"the cam opens the valve to {lift_text(study.job, event.peak_lift)}, and run {measured.run!r} was measured up "
        f"to {lift_text(study.job, highest)}: above it the event's flow holds the last coefficient"
    ]


def _outside(limits: tuple[Limit, ...], values: dict[str, Array], place: int) -> list[str]:
    found = []
    for limit in limits:
        value = float(values[limit.what][place])
        slack = _AT_LIMIT * max(abs(limit.low), abs(limit.high))
        if np.isnan(value) or limit.low - slack <= value <= limit.high + slack:
            continue
        kind = MEASURES[limit.what]
        if kind is None:
            shown, low, high = f"{value:.3f}", f"{limit.low:g}", f"{limit.high:g}"
        else:
            decimals = 0 if kind == "pressure" else 2
            shown = format_quantity(value, limit.unit, kind, decimals)
            low, high = f"{in_unit(limit.low, limit.unit, kind):g}", f"{in_unit(limit.high, limit.unit, kind):g}"
        unit = f" {limit.unit}" if limit.unit else ""
        found.append(
            f"{limit.what} {shown} is outside the usual range, {low} to {high}{unit} ({limit.source}); check "
            "the maker's figure"
        )
    return found


def _contact_words(study: Study, place: int) -> list[str]:
    job, contact, dims = study.job, study.contact, study.designs.dimensions
    found = []
    if contact.line[place]:
        edge = "outer edge, toward the cylinder" if contact.interference[place] > 0.0 else "inner edge, toward the port"
        band = 2.0 * float(contact.pressed_inner_radius[place]), 2.0 * float(contact.pressed_outer_radius[place])
        found.append(
            f"face and seat differ by {abs(np.degrees(contact.interference[place])):.2g} deg: they touch along a line "
            f"at {lift_text(job, 2.0 * float(contact.mean_radius[place]))} diameter, the band's {edge}; worn in, "
            f"the band is {lift_text(job, band[0])} to {lift_text(job, band[1])}"
        )
    if contact.overhang[place] < -_NO_BAND:
        found.append(
            f"the seat reaches out {lift_text(job, -float(contact.overhang[place]))} beyond the valve's head on each "
            "side: what the face does not cover makes no contact"
        )
    if contact.bare[place] > _NO_BAND:
        found.append(
            f"the face leaves {lift_text(job, float(contact.bare[place]))} of the seat band bare toward the port, on "
            f"each side: a face of {lift_text(job, float(dims.face_width[place]))} is too narrow, or sits too far out"
        )
    return found
