"""From readings to velocities, shares and coefficients: the whole reduction, in one vectorised pass.

The stations of all runs and lifts lie in flat arrays, group by group; a group is one run at one lift.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from portviz import air
from portviz.distribution.areas import Areas, areas_at, job_profiles
from portviz.distribution.leakage import subtracted_leak
from portviz.distribution.measures import (
    VelocityMeasures,
    bias_is_told,
    direction_deg,
    flow_bias,
    group_sizes,
    group_sum,
    nothing_but_rounding,
    sector_angles,
    velocity_measures,
)
from portviz.errors import ChokedFlowError, JobError
from portviz.geometry.profiles import Profiles
from portviz.job.model import JOB_FILE, Array, Index, Job, Mask, Readings
from portviz.units import in_unit

if TYPE_CHECKING:
    import pandas as pd

    from portviz.distribution.uncertainty import Uncertainty


@dataclass(frozen=True)
class StationResults:
    """Results at K stations, group by group and ascending in angle; all arrays have shape (K,).

    Parameters
    ----------
    station : ndarray of int
        Place among the job's stations.
    angle_deg : ndarray
        In [0, 360) [deg].
    reading : ndarray
        Mean of the repeats [Pa], or [m/s] where the gauge reads velocity.
    repeats : ndarray of int
        Number of readings.
    squares : ndarray
        Sum of the repeats' squared deviations from their mean, as the gauge reads them [Pa2 or m2/s2].
    drop : ndarray
        Pressure drop [Pa].
    velocity, velocity_ratio, mach, density : ndarray
        [m/s], [-], [-], [kg/m3].
    sector_deg : ndarray
        Width of the sector [deg].
    flow_share : ndarray
        [-]; NaN where nothing flows in all.
    flow : ndarray
        Share of the bench's flow [m3/s]; NaN where it is not known.
    """

    station: Index
    angle_deg: Array
    reading: Array
    repeats: Index
    squares: Array
    drop: Array
    velocity: Array
    velocity_ratio: Array
    mach: Array
    density: Array
    sector_deg: Array
    flow_share: Array
    flow: Array


@dataclass(frozen=True)
class Reduction:
    """A job's results in G groups of one run and one lift.

    Parameters
    ----------
    job : Job
    profiles : Profiles
    runs : tuple of str
    group_run : ndarray of int, shape (G,)
        Place in `runs`.
    areas : Areas
        At each group's lift, arrays of shape (G,).
    test_pressure, upstream_pressure, upstream_density : ndarray, shape (G,)
        [Pa], [Pa], [kg/m3].
    ideal_velocity, ideal_mass_flux : ndarray, shape (G,)
        Isentropic velocity [m/s] and mass flux [kg/(s m2)] of the whole test pressure.
    bench_flow, bench_mass_flow : ndarray, shape (G,)
        [m3/s], [kg/s]; NaN where not measured.
    leak, leak_scale : ndarray, shape (G,)
        What was taken from the measured flow, as the job asks [m3/s], and its leak test's flow times what it is [-].
    discharge_coefficient, flow_area_coefficient, closure : ndarray, shape (G,)
        [-]; NaN where they can't be found.
    measures : VelocityMeasures
        Arrays of shape (G,).
    bias_magnitude, bias_angle_deg : ndarray, shape (G,)
        [-], [deg].
    even_bias_magnitude, even_bias_angle_deg : ndarray, shape (G,)
        The bias that equally fast air would show at these stations [-], [deg]: none where they are spaced evenly.
    starts : ndarray of int, shape (G,)
        First station of each group.
    stations : StationResults
    """

    job: Job
    profiles: Profiles
    runs: tuple[str, ...]
    group_run: Index
    areas: Areas
    test_pressure: Array
    upstream_pressure: Array
    upstream_density: Array
    ideal_velocity: Array
    ideal_mass_flux: Array
    bench_flow: Array
    bench_mass_flow: Array
    leak: Array
    leak_scale: Array
    discharge_coefficient: Array
    flow_area_coefficient: Array
    closure: Array
    measures: VelocityMeasures
    bias_magnitude: Array
    bias_angle_deg: Array
    even_bias_magnitude: Array
    even_bias_angle_deg: Array
    starts: Index
    stations: StationResults

    @property
    def lift(self) -> Array:
        """Lift of each group [m], shape (G,)."""
        return self.areas.lift

    @property
    def bias_told(self) -> Mask:
        """True where the bias is more than the stations' own uneven places feign, shape (G,)."""
        return np.asarray(bias_is_told(self.bias_magnitude, self.even_bias_magnitude))

    @property
    def station_group(self) -> Index:
        """The group of each station, shape (K,)."""
        return np.repeat(np.arange(len(self.starts)), group_sizes(self.starts, len(self.stations.station)))

    def groups_of(self, run: int) -> range:
        """Return the groups of a run, ascending in lift."""
        first, last = np.searchsorted(self.group_run, [run, run + 1])
        return range(int(first), int(last))

    def stations_of(self, group: int) -> slice:
        """Return a group's stations."""
        last = self.starts[group + 1] if group + 1 < len(self.starts) else len(self.stations.station)
        return slice(int(self.starts[group]), int(last))

    def to_dataframe(self, uncertainty: Uncertainty | None = None, *, of: str = "lifts") -> pd.DataFrame:
        """Return a pandas data frame, a row a lift or, `of` "stations", a station; see `frames.reduction_frame`."""
        from portviz.distribution.frames import reduction_frame

        return reduction_frame(self, uncertainty, of=of)


def upstream_pressure(job: Job, test_pressure: Array) -> Array:
    """Return the upstream stagnation pressure [Pa] for test pressures [Pa] of one shape."""
    blowing = test_pressure if job.side == "exhaust" else np.zeros_like(test_pressure)
    return np.asarray(job.bench.air.pressure + blowing)


def reduce_job(job: Job, profiles: Profiles | None = None) -> Reduction:
    """Return all results of a job.

    Parameters
    ----------
    job : Job
        With readings.
    profiles : Profiles, optional
        Those of the job, where they are there already.

    Raises
    ------
    JobError
        If there are no readings, the geometry is impossible, or the flow is choked.

    Notes
    -----
    Drop of a station by the gauge's kind; velocity = coefficient x isentropic velocity of the drop
    from upstream stagnation pressure and room temperature; share = density x velocity x sector's
    part of the gap over the sum of the same; closure = bench mass flow over that sum; discharge
    coefficient = bench mass flow over ideal mass flux x curtain area.
    """
    readings = job.readings
    if readings is None:
        raise JobError(
            "there are no readings",
            file=str(job.folder),
            expected="readings.csv with the columns run, lift [mm], station, reading [unit]",
        )
    profiles = job_profiles(job) if profiles is None else profiles
    count = len(readings.group_lift)
    test_pressure, measured_flow = _group_conditions(job, count)
    leak, leak_scale = subtracted_leak(job, readings, test_pressure, measured_flow)
    bench_flow = measured_flow - leak
    upstream = upstream_pressure(job, test_pressure)
    gas = job.bench.air.gas_constant
    temperature = job.bench.air.temperature
    _require_subsonic_tests(job, readings, test_pressure, upstream)

    group, station, reading, repeats, squares, drop = _averaged(job, readings, test_pressure, upstream)
    starts = np.searchsorted(group, np.arange(count))
    sizes = group_sizes(starts, len(group))
    angle = job.stations.circle_deg[station]
    try:
        state = air.isentropic_state(drop, upstream[group], temperature, gas)
    except ChokedFlowError:
        raise _choked(job, readings, group, station, drop, upstream) from None
    velocity = job.gauge.coefficient * state.velocity
    sector = sector_angles(angle, starts)
    lifts, level = np.unique(readings.group_lift, return_inverse=True)
    areas = _take(areas_at(job, profiles, lifts), level)

    density = upstream / (gas * temperature)
    bench_mass = bench_flow * density
    whole = air.isentropic_state(test_pressure, upstream, temperature, gas)
    ideal_flux = whole.mass_flux
    mass_per_area = state.density * velocity
    # Shares by sector alone, so that they are there at zero lift too; the gap's area cancels in them.
    through = group_sum(mass_per_area * sector, starts) / 360.0
    nothing = nothing_but_rounding(mass_per_area * sector, starts)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = mass_per_area * sector / 360.0 / np.repeat(np.where(nothing, np.nan, through), sizes)
        closure = bench_mass / (through * areas.gap_area)
        by_curtain = bench_mass / (ideal_flux * areas.curtain_area)
        by_passage = bench_mass / (ideal_flux * areas.flow_area)
    open_ = areas.lift > 0.0
    bias = flow_bias(share, angle, starts)
    even = flow_bias(sector / 360.0, angle, starts)
    results = StationResults(
        station=station,
        angle_deg=angle,
        reading=reading,
        repeats=repeats,
        squares=squares,
        drop=drop,
        velocity=velocity,
        velocity_ratio=velocity / np.repeat(whole.velocity, sizes),
        mach=state.mach,
        density=state.density,
        sector_deg=sector,
        flow_share=share,
        flow=share * np.repeat(bench_flow, sizes),
    )
    return Reduction(
        job=job,
        profiles=profiles,
        runs=readings.runs,
        group_run=readings.group_run,
        areas=areas,
        test_pressure=test_pressure,
        upstream_pressure=upstream,
        upstream_density=density,
        ideal_velocity=whole.velocity,
        ideal_mass_flux=ideal_flux,
        bench_flow=bench_flow,
        bench_mass_flow=bench_mass,
        leak=leak,
        leak_scale=leak_scale,
        discharge_coefficient=np.where(open_, by_curtain, np.nan),
        flow_area_coefficient=np.where(open_, by_passage, np.nan),
        closure=np.where(open_ & ~nothing, closure, np.nan),
        measures=velocity_measures(velocity, sector, starts),
        bias_magnitude=np.abs(bias),
        bias_angle_deg=direction_deg(bias),
        even_bias_magnitude=np.abs(even),
        even_bias_angle_deg=direction_deg(even),
        starts=starts,
        stations=results,
    )


def _group_conditions(job: Job, count: int) -> tuple[Array, Array]:
    """Return test pressure [Pa] and bench flow [m3/s] of each group, shape (G,)."""
    test_pressure, bench_flow = np.full(count, job.bench.test_pressure), np.full(count, np.nan)
    if job.flow is not None:
        bench_flow = job.flow.flow
        own = np.isfinite(job.flow.test_pressure)
        test_pressure = np.where(own, job.flow.test_pressure, test_pressure)
    return test_pressure, bench_flow


def _averaged(
    job: Job, readings: Readings, test_pressure: Array, upstream: Array
) -> tuple[Index, Index, Array, Index, Array, Array]:
    """Return group, station, mean reading, repeats, their squared deviations and drop, a row a station by angle.

    Repeats are averaged as pressures: a gauge that reads velocity is turned into drops first, and
    its mean reading is the velocity of the mean drop.
    """
    order_of_station = np.argsort(np.argsort(job.stations.circle_deg, kind="stable"), kind="stable")
    width = len(job.stations.angles_deg)
    value = readings.value
    velocity_gauge = job.gauge.reads == "velocity"
    gas, temperature = job.bench.air.gas_constant, job.bench.air.temperature
    if velocity_gauge:
        try:
            value = air.isentropic_drop(value, upstream[readings.group], temperature, gas)
        except ChokedFlowError:
            raise _sonic(job, readings) from None
    keys, row = np.unique(readings.group * width + order_of_station[readings.station], return_inverse=True)
    repeats = np.bincount(row)
    mean = np.bincount(row, weights=value) / repeats
    typed = np.bincount(row, weights=readings.value) / repeats if velocity_gauge else mean
    squares = np.asarray(np.bincount(row, weights=(readings.value - typed[row]) ** 2), dtype=float)
    group, place = np.divmod(keys, width)
    station = np.argsort(order_of_station)[place]
    drop = test_pressure[group] - mean if job.gauge.reads == "tap-minus-downstream" else mean
    if velocity_gauge:
        mean = air.isentropic_state(drop, upstream[group], temperature, gas).velocity
    return group, station, mean, repeats, squares, drop


def _require_subsonic_tests(job: Job, readings: Readings, test_pressure: Array, upstream: Array) -> None:
    limit = (1.0 - air.CRITICAL_PRESSURE_RATIO) * upstream
    worst = int(np.argmax(test_pressure - limit))
    if test_pressure[worst] < limit[worst]:
        return
    file, place = JOB_FILE, "bench.test_pressure"
    if job.flow is not None and np.isfinite(job.flow.test_pressure[worst]):
        file, place = job.flow.file, f"line {job.flow.line[worst]}, column test_pressure"
    raise JobError(
        f"the test pressure of {_pressure(job, test_pressure[worst])} chokes the flow of "
        f"{_group_place(job, readings, worst)}",
        file=file,
        place=place,
        expected=f"less than the critical {_pressure(job, limit[worst])} of {_pressure(job, upstream[worst])} upstream",
        mend="Check the pressure's unit and the barometer",
    )


def _sonic(job: Job, readings: Readings) -> JobError:
    fastest = int(np.argmax(np.abs(readings.value)))
    unit = job.units.velocity
    room = job.bench.air
    limit = float(np.sqrt(2.0 * air.GAMMA / (air.GAMMA + 1.0) * room.gas_constant * room.temperature))
    return JobError(
        "this velocity is sonic or faster, and the flow is choked",
        file=readings.file,
        place=f"line {readings.line[fastest]}, column reading",
        value=_reading(job, float(readings.value[fastest])),
        expected=f"less than {in_unit(limit, unit, 'velocity'):.4g} {unit}",
        mend="Check the column's unit",
    )


def _choked(job: Job, readings: Readings, group: Index, station: Index, drop: Array, upstream: Array) -> JobError:
    worst = int(np.argmax(np.abs(drop) / upstream[group]))
    rows = np.flatnonzero((readings.group == group[worst]) & (readings.station == station[worst]))
    # Of the repeats, the one that pulls the mean there.
    pull = np.sign(drop[worst]) * (-1.0 if job.gauge.reads == "tap-minus-downstream" else 1.0)
    row = int(rows[np.argmax(pull * readings.value[rows])])
    limit = (1.0 - air.CRITICAL_PRESSURE_RATIO) * upstream[group[worst]]
    typed, stands_for = _reading(job, float(readings.value[row])), _pressure(job, drop[worst])
    words = "" if typed == stands_for else f", where the readings stand for a drop of {stands_for}"
    return JobError(
        f"the flow is choked at station {job.stations.angles_deg[station[worst]]:g} deg, "
        f"{_group_place(job, readings, int(group[worst]))}{words}",
        file=readings.file,
        place=f"line {readings.line[row]}, column reading",
        value=typed,
        expected=f"a drop below the critical {_pressure(job, limit)}; the velocity can't be found beyond it",
        mend="Check the column's unit and what the gauge reads",
    )


def _group_place(job: Job, readings: Readings, group: int) -> str:
    run = readings.runs[readings.group_run[group]]
    lift = in_unit(float(readings.group_lift[group]), job.units.length, "length")
    return f"run {run!r} at {lift:.4g} {job.units.length}"


def _pressure(job: Job, pressure: float) -> str:
    return f"{in_unit(float(pressure), job.units.pressure, 'pressure'):.4g} {job.units.pressure}"


def _reading(job: Job, value: float) -> str:
    unit = job.units.velocity if job.gauge.kind == "velocity" else job.units.pressure
    return f"{in_unit(value, unit, job.gauge.kind):g} {unit}"


def _take(areas: Areas, index: Index) -> Areas:
    return Areas(**{name: getattr(areas, name)[index] for name in areas.__dataclass_fields__})
