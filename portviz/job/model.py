"""A job as frozen data classes: SI floats and arrays, no text to parse and no files.

Angles of seat and valve are in radians. Station and crank angles are labels that a person chose and
reads back, so they stay in degrees, and their names say so.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np
import numpy.typing as npt

from portviz.air import RoomAir

if TYPE_CHECKING:
    import pandas as pd

Array = npt.NDArray[np.float64]
Index = npt.NDArray[np.intp]
Mask = npt.NDArray[np.bool_]
Side = Literal["intake", "exhaust"]
GaugeReads = Literal["upstream-minus-tap", "tap-minus-downstream", "total-minus-static", "velocity"]

#: What station 0 faces in a job that does not say.
UNNAMED_REFERENCE = "station 0"
#: The file that makes a folder a job.
JOB_FILE = "job.toml"
#: Lifts nearer than this are one lift [m]; two units may write the same lift with other last digits.
SAME_LIFT = 1e-7


@dataclass(frozen=True)
class Cut:
    """A cone cut on seat or valve: angle from the head's plane [rad] and width along the cone [m]."""

    angle: float
    width: float


@dataclass(frozen=True)
class Valve:
    """The valve; lengths in metres, angles in radians from the plane of the head.

    `seat_force` is the spring's on the closed valve [N], `gas_pressure` the greatest one in the cylinder over that in
    the port [Pa].
    """

    head_diameter: float
    stem_diameter: float
    face_angle: float
    face_width: float
    margin: float
    back_cut: Cut | None
    underhead_angle: float
    fillet_radius: float
    length_uncertainty: float | None = None
    seat_force: float | None = None
    gas_pressure: float | None = None


@dataclass(frozen=True)
class Seat:
    """The seat; lengths in metres, angles in radians; bottom cuts from the seat toward the throat."""

    angle: float
    width: float
    outer_diameter: float
    top_cut: Cut | None
    bottom_cuts: tuple[Cut, ...]
    throat_diameter: float
    length_uncertainty: float | None = None


@dataclass(frozen=True)
class Bench:
    """The bench, and what is known of how well it measures; standard uncertainties [JCGM-100], None where not stated.

    Parameters
    ----------
    test_pressure : float
        [Pa].
    air : RoomAir
    flow_accuracy : float or None
        Of one flow [m3/s].
    flow_accuracy_part : float or None
        Of one flow, as a part of it [-].
    test_pressure_uncertainty : float or None
        [Pa].
    density_uncertainty : float or None
        Of the air's density, as a part of it [-].
    lift_uncertainty : float or None
        [m].
    subtract_leak : bool
        Take a run's flow at lift 0 from its other flows.
    """

    test_pressure: float
    air: RoomAir
    flow_accuracy: float | None = None
    flow_accuracy_part: float | None = None
    test_pressure_uncertainty: float | None = None
    density_uncertainty: float | None = None
    lift_uncertainty: float | None = None
    subtract_leak: bool = False


@dataclass(frozen=True)
class Gauge:
    """The gauge at the stations.

    Parameters
    ----------
    reads : str
        What a reading stands for.
    coefficient : float
        Velocity over isentropic velocity [-].
    accuracy : float or None
        Standard uncertainty [JCGM-100] of one reading [Pa], or [m/s] where the gauge reads velocity.
    resolution : float or None
        Least step that it shows [Pa or m/s].
    coefficient_uncertainty : float or None
        Standard uncertainty of the coefficient [-].
    """

    reads: GaugeReads
    coefficient: float
    accuracy: float | None
    resolution: float | None = None
    coefficient_uncertainty: float | None = None

    @property
    def kind(self) -> str:
        """The kind of unit that a reading has."""
        return "velocity" if self.reads == "velocity" else "pressure"


@dataclass(frozen=True)
class Stations:
    """Stations round the valve.

    Parameters
    ----------
    angles_deg : ndarray, shape (S,)
        As typed [deg], anticlockwise seen from the cylinder.
    reference : str
        What station 0 faces, in the porter's words.
    """

    angles_deg: Array
    reference: str

    @property
    def circle_deg(self) -> Array:
        """Angles brought to [0, 360) [deg], shape (S,)."""
        return np.asarray(np.mod(self.angles_deg, 360.0))


@dataclass(frozen=True)
class Readings:
    """The rows of the readings table, K of them, in G groups of one run and one lift.

    Parameters
    ----------
    runs : tuple of str
        Names of the runs, in order of first appearance.
    group : ndarray of int, shape (K,)
        Each row's group.
    station : ndarray of int, shape (K,)
        Each row's place among the job's stations.
    value : ndarray, shape (K,)
        Reading [Pa], or [m/s] where the gauge reads velocity.
    line : ndarray of int, shape (K,)
        Line in the file.
    group_run : ndarray of int, shape (G,)
        Each group's place in `runs`; ascending.
    group_lift : ndarray, shape (G,)
        Each group's lift [m]; ascending within a run.
    file : str
        Name of the file, for messages.
    """

    runs: tuple[str, ...]
    group: Index
    station: Index
    value: Array
    line: Index
    group_run: Index
    group_lift: Array
    file: str

    def groups_of(self, run: int) -> slice:
        """Return the groups of a run."""
        first, last = np.searchsorted(self.group_run, [run, run + 1])
        return slice(int(first), int(last))

    def first_line(self, group: int) -> int:
        """Return the line of a group's first row."""
        return int(self.line[np.argmax(self.group == group)])


@dataclass(frozen=True)
class ClosedFlow:
    """The bench's flow with the valve closed, of runs whose stations were not read then; arrays of shape (L,).

    Parameters
    ----------
    run : ndarray of int
        Place among the readings' runs.
    flow, test_pressure : ndarray
        [m3/s], [Pa]; NaN where the cell is empty.
    line : ndarray of int
        Line in the file.
    """

    run: Index
    flow: Array
    test_pressure: Array
    line: Index


@dataclass(frozen=True)
class BenchFlow:
    """The bench's total flow, by the readings' groups.

    Parameters
    ----------
    flow : ndarray, shape (G,)
        [m3/s] at bench conditions; NaN where the cell is empty.
    test_pressure : ndarray, shape (G,)
        [Pa]; NaN where the row has none of its own.
    line : ndarray of int, shape (G,)
        Line in the file.
    file : str
        Name of the file, for messages.
    closed : ClosedFlow or None
        Rows at lift 0 that no readings go with.
    """

    flow: Array
    test_pressure: Array
    line: Index
    file: str
    closed: ClosedFlow | None = None


@dataclass(frozen=True)
class Cam:
    """How the valve moves: K points with straight lines between them; lash is taken off already.

    Parameters
    ----------
    crank_deg : ndarray, shape (K,)
        Crank angle [deg], ascending.
    lift : ndarray, shape (K,)
        Valve lift [m].
    file : str
        Where the points stand, for messages.
    line : ndarray of int, shape (K,), or None
        Line in that file of each point; None where the curve was made from the figures of a cam card.
    lash : float
        What was taken off the lifts [m].
    below_zero : float
        The lowest lift typed, where it is a closed valve's unsteady reading that counts as zero [m]; zero or less.
    """

    crank_deg: Array
    lift: Array
    file: str = "cam.csv"
    line: Index | None = None
    lash: float = 0.0
    below_zero: float = 0.0

    @property
    def assumed(self) -> bool:
        """True where the curve between a cam card's figures was assumed, not measured."""
        return self.file == JOB_FILE


@dataclass(frozen=True)
class Engine:
    """The cylinder that the valve works in; None where it is not stated.

    Parameters
    ----------
    bore : float
        [m].
    stroke, rod_length : float or None
        [m]; the rod between the centres of its bearings.
    speed : float or None
        Of the crankshaft [rad/s].
    valves : int
        Valves of the job's side in one cylinder.
    valve_offset : float or None
        Distance of the valve's axis from the bore's [m].
    valve_direction_deg : float or None
        Station angle of the direction from the bore's axis to the valve's [deg].
    dead_centre_deg : float or None
        Crank angle, as the cam counts it, of the top dead centre at which the gas is exchanged [deg].
    """

    bore: float
    stroke: float | None = None
    rod_length: float | None = None
    speed: float | None = None
    valves: int = 1
    valve_offset: float | None = None
    valve_direction_deg: float | None = None
    dead_centre_deg: float | None = None


@dataclass(frozen=True)
class Handover:
    """Who hands a report over, and to whom, in their own words; empty where it is not stated.

    Parameters
    ----------
    shop, address, contact : str
        Of the shop.
    logo : str
        Name of a picture in the job's folder.
    customer, head, order : str
        Whom it is for, which head or engine it is about, and the shop's number of the work.
    """

    shop: str = ""
    address: str = ""
    contact: str = ""
    logo: str = ""
    customer: str = ""
    head: str = ""
    order: str = ""


@dataclass(frozen=True)
class DisplayUnits:
    """The units in which a person reads this job's results: those that its files were typed in."""

    length: str
    pressure: str
    flow: str
    velocity: str


@dataclass(frozen=True)
class Job:
    """One head, one valve and its bench data.

    `remarks` say what a reader should know of the files, such as a workbook that could not be looked into; `unnamed`
    holds the keys of job.toml that were left to a default which hangs on another dimension.
    """

    folder: Path
    title: str
    side: Side
    valve: Valve
    seat: Seat
    bench: Bench
    gauge: Gauge
    stations: Stations
    units: DisplayUnits
    readings: Readings | None = None
    flow: BenchFlow | None = None
    cam: Cam | None = None
    engine: Engine | None = None
    handover: Handover = Handover()
    remarks: tuple[str, ...] = ()
    unnamed: frozenset[str] = frozenset()

    def to_dataframe(self) -> pd.DataFrame:
        """Return the readings as a pandas data frame, a row a reading; see `portviz.job.frames.readings_frame`."""
        from portviz.job.frames import readings_frame

        return readings_frame(self)
