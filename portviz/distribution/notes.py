"""What a reader of the results must be warned of: one sentence each, the worst places first."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from portviz import air
from portviz.distribution.areas import job_dimensions
from portviz.distribution.cam_notes import cam_warnings
from portviz.distribution.reduce import Reduction
from portviz.distribution.sentences import NAMED as _NAMED
from portviz.distribution.sentences import group_place as _place
from portviz.distribution.sentences import warning as _warning
from portviz.distribution.sentences import worst_first as _worst
from portviz.geometry.profiles import Profiles
from portviz.job.model import Array, Job, Mask
from portviz.job.words import coefficient_text, lift_text, pressure_text
from portviz.units import format_quantity

TEMPLATE_TITLE = "New job"
#: More between the angles of face and seat is worth a word [deg]; as are coefficients and greatest lifts over
#: head diameter outside these ranges [-] (common practice, no source).
_WIDEST_INTERFERENCE = 2.0
_USUAL_COEFFICIENT = (0.8, 1.2)
_WIDEST_ACCURACY = 0.1
_USUAL_LIFT = (0.03, 0.6)
#: More of the circle than this between two stations is worth a word [deg]: three even stations leave as much.
_WIDEST_UNREAD = 120.0
#: As is a bias of the stations alone larger than this [-].
EVEN_BIAS = 0.02
#: Closure below which readings and bench speak of different things [-] (common practice, no source).
_LOW_CLOSURE = 0.3
#: What of the seat band may stay bare before it is told, radially [m]; less cannot be measured.
_BARE = 5e-6


def job_warnings(job: Job, *, cam: bool = True) -> list[str]:
    """Return warnings on a job's files, on figures that look like a slip, on the room's air, and on the cam."""
    moved = cam_warnings(job) if cam else []
    return [*job.remarks, *_slip_warnings(job), *room_warnings(job), *moved]


def _slip_warnings(job: Job) -> list[str]:
    found = []
    if job.title == TEMPLATE_TITLE:
        found.append(f"the title is still the template's, {TEMPLATE_TITLE!r}; are all the numbers your own?")
    apart = abs(np.degrees(job.valve.face_angle - job.seat.angle))
    if apart > _WIDEST_INTERFERENCE:
        found.append(
            f"valve.face_angle and seat.angle differ by {apart:g} deg, so that face and seat touch along an edge only; "
            "half a degree or one is common (common practice, no source): check both"
        )
    if not _USUAL_COEFFICIENT[0] <= job.gauge.coefficient <= _USUAL_COEFFICIENT[1]:
        found.append(
            f"gauge.coefficient is {job.gauge.coefficient:g}, far from 1, and all velocities scale with it; check it"
        )
    accuracy = job.gauge.accuracy
    if accuracy is not None and job.gauge.kind == "pressure" and accuracy > _WIDEST_ACCURACY * job.bench.test_pressure:
        found.append(
            f"gauge.accuracy, {pressure_text(job, accuracy)}, is more than a tenth of the test pressure; check its unit"
        )
    if job.readings is not None:
        part = float(job.readings.group_lift.max()) / job.valve.head_diameter
        if part > 0.0 and not _USUAL_LIFT[0] <= part <= _USUAL_LIFT[1]:
            lift = lift_text(job, float(job.readings.group_lift.max()))
            found.append(f"the greatest lift, {lift}, is {part:.3g} of the head's diameter; check the lifts' unit")
    return found


def room_warnings(job: Job) -> list[str]:
    """Return warnings on the room's air, in the units of either habit: the job keeps no unit for them."""
    room = job.bench.air
    found = []
    low, high = air.CIPM_TEMPERATURE_RANGE
    if not low <= room.temperature <= high:
        celsius, fahrenheit = (format_quantity(room.temperature, unit, "temperature") for unit in ("degC", "degF"))
        found.append(
            f"the room's {celsius} ({fahrenheit}) lie outside the range of the air density formula "
            "(CIPM-2007: 15 to 27 degC, 59 to 81 degF); density is less certain"
        )
    low, high = air.CIPM_PRESSURE_RANGE
    if not low <= room.pressure <= high:
        metric, inches = (format_quantity(room.pressure, unit, "pressure", 2) for unit in ("kPa", "inHg"))
        found.append(
            f"the barometer's {metric} ({inches}) lie outside the range of the air density formula "
            "(CIPM-2007: 60 to 110 kPa, 17.7 to 32.5 inHg); check its unit"
        )
    return found


def geometry_warnings(job: Job, profiles: Profiles) -> list[str]:
    """Return warnings on a job's valve and seat."""
    found = [
        f"bottom cut {number + 1} would pass the throat and is trimmed at it; check seat.throat_diameter"
        for number in np.flatnonzero(profiles.cuts_trimmed[0])
    ]
    sizes = job_dimensions(job)
    bare = float((sizes.face_inner_radius - sizes.seat_inner_radius)[0])
    if bare > _BARE:
        face, band = (lift_text(job, width) for width in (job.valve.face_width, job.seat.width))
        found.append(
            f"the valve's face ({face} wide) does not cover the seat band ({band} wide): {lift_text(job, bare)} of the "
            "radius at the band's inner edge stay bare; check valve.face_width, seat.width and the diameters"
        )
    return found


def reduction_warnings(reduction: Reduction, *, quality: bool = True) -> list[str]:
    """Return warnings on a reduction: the room, the geometry, and readings to look at again.

    Parameters
    ----------
    reduction : Reduction
    quality : bool
        Also test the readings for slips, drift and the like, which takes statistics and their time; and the cam,
        which a picture does not show.
    """
    job = reduction.job
    doubts: list[str] = []
    if quality:
        # Not at the top: a picture does without statistics, which take a quarter of a second to load.
        from portviz.distribution.quality_notes import quality_warnings

        doubts = quality_warnings(reduction)
    return [
        *job_warnings(job, cam=quality),
        *geometry_warnings(job, reduction.profiles),
        *doubts,
        *_station_warnings(reduction),
        *_lift_warnings(reduction),
        *_missing_warnings(reduction),
        *_uneven_warnings(reduction),
    ]


def _station_warnings(reduction: Reduction) -> list[str]:
    job, stations = reduction.job, reduction.stations
    group = reduction.station_group
    test_pressure = reduction.test_pressure[group]

    def at_stations(mask: Mask, badness: Array, words: str, value: Callable[[int], str]) -> list[str]:
        def place(index: int) -> str:
            angle = job.stations.angles_deg[stations.station[index]]
            return f"{_place(reduction, int(group[index]))}, station {angle:g} deg ({value(index)})"

        return _warning(words, _worst(mask, badness), place)

    def drop(index: int) -> str:
        return pressure_text(job, float(stations.drop[index]))

    return [
        *at_stations(
            stations.drop < 0.0,
            -stations.drop,
            "reverse flow (a negative pressure drop): read these again, or check the tap",
            drop,
        ),
        *at_stations(
            stations.drop > test_pressure * (1.0 + 1e-9),
            stations.drop / np.maximum(test_pressure, 1e-9),
            "the pressure drop is larger than the test pressure: read these again, and check what the gauge reads",
            lambda index: f"{drop(index)} of {pressure_text(job, float(test_pressure[index]))}",
        ),
        *at_stations(
            np.abs(stations.mach) > air.MACH_TRUSTED,
            np.abs(stations.mach),
            f"Mach number above {air.MACH_TRUSTED:g}, where a tap needs a correction that is not made here",
            lambda index: coefficient_text(float(stations.mach[index])),
        ),
    ]


def _lift_warnings(reduction: Reduction) -> list[str]:
    job, closure = reduction.job, reduction.closure

    def at_lifts(mask: Mask, words: str, values: Array | None = None, *, least_first: bool = False) -> list[str]:
        def place(index: int) -> str:
            value = "" if values is None else f" ({coefficient_text(float(values[index]))})"
            return f"{_place(reduction, index)}{value}"

        badness = np.zeros(len(mask)) if values is None else values
        return _warning(words, _worst(mask, -badness if least_first else badness), place)

    still = np.isnan(reduction.stations.flow_share[reduction.starts])
    no_flow = (reduction.bench_flow == 0.0) & (reduction.lift > 0.0) & ~still
    return [
        *at_lifts(still, "nothing flows in all, so that there are no shares to give"),
        *at_lifts(
            no_flow,
            f"the bench's flow is 0 {job.units.flow} although the stations show flow; "
            "leave the cell empty where flow was not measured",
        ),
        *at_lifts(
            closure > 1.0,
            "closure above 1: more air passed the bench than gap and readings account for; "
            "check lift, dimensions, the gauge's coefficient and leaks",
            closure,
        ),
        *at_lifts(
            (closure >= 0.0) & (closure < _LOW_CLOSURE) & ~no_flow,
            f"closure below {_LOW_CLOSURE:g}: gap and readings account for far more air than passed the bench; "
            "check the flow's unit, lift, dimensions and what the gauge reads",
            closure,
            least_first=True,
        ),
        *at_lifts(
            closure < 0.0,
            "closure below 0: the stations together show flow the other way; check what the gauge reads and its hoses",
            closure,
            least_first=True,
        ),
        *at_lifts(
            reduction.discharge_coefficient > 1.0,
            "discharge coefficient above 1: more air than the whole curtain can pass; "
            "check flow, lift, test pressure and head diameter",
            reduction.discharge_coefficient,
        ),
        *at_lifts(
            reduction.flow_area_coefficient > 1.0,
            "flow-area coefficient above 1: more air than the narrowest passage can pass; "
            "check flow, lift, test pressure and the dimensions of valve and seat",
            reduction.flow_area_coefficient,
        ),
    ]


def _missing_warnings(reduction: Reduction) -> list[str]:
    """Return warnings on stations that were not read: in a whole run, and at single lifts."""
    job, count = reduction.job, len(reduction.job.stations.angles_deg)
    groups = len(reduction.starts)
    read = np.zeros((groups, count), dtype=bool)
    read[reduction.station_group, reduction.stations.station] = True
    first_groups = np.searchsorted(reduction.group_run, np.arange(len(reduction.runs)))
    in_run = np.logical_or.reduceat(read, first_groups)
    missing = in_run[reduction.group_run] & ~read
    at_lift = missing.sum(axis=1)

    def names(mask: Mask) -> str:
        angles = job.stations.angles_deg[mask]
        if len(angles) > _NAMED:
            return f"{len(angles)} of {count}"
        return f"{', '.join(f'{angle:g}' for angle in angles)} deg"

    return [
        *_warning(
            "not all stations were read in a run, at any lift; their neighbours' sectors take their place",
            _worst(np.asarray(~in_run.all(axis=1)), -in_run.sum(axis=1)),
            lambda run: f"{reduction.runs[run]} ({names(~in_run[run])})",
        ),
        *_warning(
            "not all stations were read; their neighbours' sectors take their place",
            _worst(at_lift > 0, at_lift),
            lambda group: f"{_place(reduction, group)} ({names(missing[group])})",
        ),
    ]


def _uneven_warnings(reduction: Reduction) -> list[str]:
    """Return warnings on stations that leave much of the circle unread, or feign a bias by where they stand."""
    stations, starts = reduction.stations, reduction.starts
    following = np.arange(1, len(stations.angle_deg) + 1)
    following[np.append(starts[1:], len(following)) - 1] = starts
    unread = np.mod(stations.angle_deg[following] - stations.angle_deg, 360.0)
    widest = np.maximum.reduceat(unread, starts)
    even = reduction.even_bias_magnitude
    return [
        *_warning(
            f"more than {_WIDEST_UNREAD:g} deg of the circle lie between neighbouring stations; shares, bias and "
            "uniformity there are guesses",
            _worst(widest > _WIDEST_UNREAD + 1e-6, widest),
            lambda group: f"{_place(reduction, group)} ({widest[group]:.0f} deg)",
        ),
        *_warning(
            "the stations read stand unevenly; equally fast air would show this bias too, so that the bias there says "
            "little",
            _worst(even > EVEN_BIAS, even),
            lambda group: (
                f"{_place(reduction, group)} ({even[group]:.3f} toward {reduction.even_bias_angle_deg[group]:.0f} deg)"
            ),
        ),
    ]
