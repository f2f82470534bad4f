"""How the measured jets would turn the charge: the angular momentum that they carry into the cylinder.

An indicator from steady flow, of one valve alone. Jets are taken to leave along the seat's angle, straight
out from the valve; what walls, piston and other valves make of them is not in it.

The frame: first axis toward station 0, second toward station 90, third along the bore toward the piston, so
that turning about the third is positive anticlockwise as seen from the cylinder.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portviz.distribution.measures import group_sum
from portviz.distribution.propagation import COMMON, Spread, common_changes, moves_of_readings
from portviz.distribution.reduce import Reduction
from portviz.distribution.uncertainty import Uncertainty
from portviz.geometry.passages import least_passages
from portviz.job.model import Array, Engine


@dataclass(frozen=True)
class Turning:
    """The turning of G groups; arrays of shape (3, G), by the axes of the frame.

    Parameters
    ----------
    coefficient : ndarray
        8 x angular momentum flux / (mass flow x ideal velocity x bore) [-].
    flux : ndarray
        Angular momentum flux [N m]; NaN where the bench's flow was not measured.
    """

    coefficient: Array
    flux: Array


def jet_arms(reduction: Reduction, engine: Engine) -> Array:
    """Return place x direction of each station's jet about the bore's axis in the seat's plane [m], shape (3, K).

    Raises
    ------
    ValueError
        If the engine does not tell the valve's offset.

    Notes
    -----
    place: the valve's axis, and from there the middle of the least line across the gap at the station;
    direction: along the seat's angle, outward and toward the piston.
    """
    if engine.valve_offset is None or (engine.valve_direction_deg is None and engine.valve_offset):
        raise ValueError("the turning of the charge needs the valve's offset from the bore's axis, and its direction")
    group, turn = reduction.station_group, np.radians(reduction.stations.angle_deg)
    lifts, level = np.unique(reduction.lift, return_inverse=True)
    line = least_passages(reduction.profiles, lifts, lines=True).gap_line
    assert line is not None
    radius, height = line[0].mean(axis=1)[level][group].T
    angle, aim = reduction.job.seat.angle, np.radians(engine.valve_direction_deg or 0.0)
    ahead = np.stack([np.cos(turn), np.sin(turn)])
    flat = engine.valve_offset * np.array([[np.cos(aim)], [np.sin(aim)]]) + radius * ahead
    place = np.concatenate([flat, [-height]])
    direction = np.concatenate([np.cos(angle) * ahead, [np.full(len(turn), np.sin(angle))]])
    return np.asarray(np.cross(place, direction, axis=0))


def turning(reduction: Reduction, engine: Engine) -> Turning:
    """Return the turning of the charge at each lift of an intake.

    Notes
    -----
    Angular momentum flux = sum over stations of mass flow x velocity x (place x direction), [Heywood] ch. 8's
    measure for a steady-flow rig with a torque meter: coefficient = 8 T / (m v0 B), with the isentropic
    velocity v0 of the test pressure and the bore B (from memory). Zero for an even flow from a central valve.
    """
    stations = reduction.stations
    return _turning(reduction, engine, stations.flow_share * stations.velocity * jet_arms(reduction, engine))


def _turning(reduction: Reduction, engine: Engine, per_mass: Array) -> Turning:
    through = np.add.reduceat(per_mass, reduction.starts, axis=1)
    return Turning(
        coefficient=8.0 * through / (reduction.ideal_velocity * engine.bore),
        flux=through * reduction.bench_mass_flow,
    )


def turning_spread(reduction: Reduction, uncertainty: Uncertainty, engine: Engine) -> tuple[Spread, Spread, Spread]:
    """Return what is known of the coefficient about each axis, N = G each; of readings and common factors alone.

    Notes
    -----
    The linear law [JCGM-100] 5.1.3: each reading is moved up and down by its standard uncertainty.
    """
    stations, starts = reduction.stations, reduction.starts
    arms, flux = jet_arms(reduction, engine), stations.density * stations.velocity
    group = reduction.station_group
    through = group_sum(flux * stations.sector_deg, starts)[group]
    part = stations.sector_deg / through
    scale = 8.0 / (reduction.ideal_velocity * engine.bore)
    mean = np.add.reduceat(stations.flow_share * stations.velocity * arms, starts, axis=1)[:, group]

    def moved(velocity_change: Array, flux_change: Array) -> Array:
        """Return the change that one station's own change makes, shape (3, K)."""
        of_share = part * flux_change * (stations.velocity * arms - mean)
        return np.asarray(of_share + stations.flow_share * velocity_change * arms)

    own = moved(*moves_of_readings(reduction, uncertainty.readings.mean)) * scale[group]
    independent = np.sqrt(np.add.reduceat(own**2, starts, axis=1))
    value = turning(reduction, engine).coefficient
    common = np.zeros((3, len(COMMON), len(starts)))
    for factor, change in enumerate(common_changes(reduction)):
        by_jets = np.add.reduceat(moved(change.velocity, change.mass_flux), starts, axis=1) * scale
        common[:, factor] = by_jets - value * change.ideal_velocity
    none = np.zeros(len(starts))
    return tuple(Spread(independent[axis], none, common[axis]) for axis in range(3))  # type: ignore[return-value]


def rolls_down_deg(about: Array) -> float:
    """Return the station angle [deg] at which a charge that turns across the bore goes down toward the piston.

    Parameters
    ----------
    about : ndarray, shape (2,)
        Turning about the axes toward stations 0 and 90.
    """
    return float(np.mod(np.degrees(np.arctan2(about[0], -about[1])), 360.0))
