"""What a reader of the results must be warned of."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from portviz import air
from portviz.distribution.reduce import Reduction
from portviz.geometry.profiles import Profiles
from portviz.job.model import Job
from portviz.units import format_quantity

_NAMED = 4


def room_warnings(job: Job) -> list[str]:
    """Return warnings on the room's air."""
    room = job.bench.air
    found = []
    low, high = air.CIPM_TEMPERATURE_RANGE
    if not low <= room.temperature <= high:
        found.append(
            f"the room's {room.temperature - air.ZERO_CELSIUS:.1f} degC lie outside the range of the air density "
            "formula (CIPM-2007: 15 to 27 degC); density is less certain"
        )
    low, high = air.CIPM_PRESSURE_RANGE
    if not low <= room.pressure <= high:
        found.append(
            f"the barometer's {room.pressure / 1e3:.2f} kPa lie outside the range of the air density formula "
            "(CIPM-2007: 60 to 110 kPa); check its unit"
        )
    return found


def geometry_warnings(profiles: Profiles) -> list[str]:
    """Return warnings on the geometry of one design."""
    trimmed = np.flatnonzero(profiles.cuts_trimmed[0])
    return [
        f"bottom cut {number + 1} would pass the throat and is trimmed at it; check seat.throat_diameter"
        for number in trimmed
    ]


def reduction_warnings(reduction: Reduction) -> list[str]:
    """Return warnings on a reduction: the room, the geometry, and readings to look at again."""
    job, stations = reduction.job, reduction.stations
    group = reduction.station_group
    found = room_warnings(job) + geometry_warnings(reduction.profiles)

    def at_stations(mask: npt.NDArray[np.bool_], words: str) -> None:
        places = [
            f"{_place(reduction, int(group[index]))}, station {job.stations.angles_deg[stations.station[index]]:g} deg"
            for index in np.flatnonzero(mask)[:_NAMED]
        ]
        _add(found, words, places, int(mask.sum()))

    def at_lifts(mask: npt.NDArray[np.bool_], words: str) -> None:
        places = [_place(reduction, int(index)) for index in np.flatnonzero(mask)[:_NAMED]]
        _add(found, words, places, int(mask.sum()))

    at_stations(stations.drop < 0.0, "reverse flow (a negative drop): read these again, or check the tap")
    at_stations(
        stations.drop > reduction.test_pressure[group] * (1.0 + 1e-9),
        "the drop is larger than the test pressure: read these again, and check what the gauge reads",
    )
    at_stations(
        np.abs(stations.mach) > air.MACH_TRUSTED,
        f"Mach number above {air.MACH_TRUSTED:g}, where a tap needs a correction that is not made here",
    )
    at_lifts(reduction.lift == 0.0, "the valve is closed: what flows is leakage, and no coefficient is given")
    at_lifts(
        np.isnan(stations.flow_share[reduction.starts]), "nothing flows in all, so that there are no shares to give"
    )
    at_lifts(
        reduction.closure > 1.0,
        "closure above 1: more air passed the bench than gap and readings account for; "
        "check lift, dimensions, the gauge's coefficient and leaks",
    )
    missing = np.bincount(group, minlength=len(reduction.starts)) < len(job.stations.angles_deg)
    at_lifts(missing, "not all stations were read; their neighbours' sectors take their place")
    return found


def _place(reduction: Reduction, group: int) -> str:
    run = reduction.runs[reduction.group_run[group]]
    return f"{run} at {lift_text(reduction.job, float(reduction.lift[group]))}"


def _add(found: list[str], words: str, places: list[str], count: int) -> None:
    if count:
        more = f" and {count - len(places)} more" if count > len(places) else ""
        found.append(f"{words}: {'; '.join(places)}{more}")


def lift_text(job: Job, lift: float) -> str:
    """Return a lift [m] as text in the job's unit."""
    decimals = 2 if job.units.length.lower() == "mm" else 4
    return format_quantity(lift, job.units.length, "length", decimals)
