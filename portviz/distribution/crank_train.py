"""Piston and gas demand of the engine, and the mean inlet Mach index."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from portviz.air import GAMMA
from portviz.job.model import Array, Engine, Job


def piston_position(crank_deg: npt.ArrayLike, stroke: float, rod_length: float) -> Array:
    """Return the piston's distance from top dead centre [m].

    Parameters
    ----------
    crank_deg : array_like
        Crank angle after top dead centre [deg].
    stroke, rod_length : float
        [m]; the rod at least half as long as the stroke.

    Notes
    -----
    [Heywood] eq. 2.5 (number from memory): a + l - a cos(t) - sqrt(l^2 - a^2 sin^2(t)), a = stroke / 2. The bore's
    axis meets the crankshaft's.

    Examples
    --------
    >>> float(piston_position(180.0, 0.08, 0.14).round(9))
    0.08
    """
    turn, crank = np.radians(np.asarray(crank_deg, dtype=float)), 0.5 * stroke
    lean = np.sqrt(rod_length**2 - (crank * np.sin(turn)) ** 2)
    return np.asarray(crank * (1.0 - np.cos(turn)) + rod_length - lean)


def piston_speed(crank_deg: npt.ArrayLike, stroke: float, rod_length: float, speed: float) -> Array:
    """Return the piston's speed away from top dead centre [m/s]; negative on its way up.

    Parameters
    ----------
    crank_deg : array_like
        Crank angle after top dead centre [deg].
    stroke, rod_length : float
        [m].
    speed : float
        Of the crankshaft [rad/s].

    Notes
    -----
    [Heywood] eq. 2.11 (number from memory): speed / mean speed = pi / 2 sin(t) (1 + cos(t) / sqrt(R^2 - sin^2(t))),
    R = rod / crank.
    """
    turn, ratio = np.radians(np.asarray(crank_deg, dtype=float)), rod_length / (0.5 * stroke)
    swing = 1.0 + np.cos(turn) / np.sqrt(ratio**2 - np.sin(turn) ** 2)
    return np.asarray(mean_piston_speed(stroke, speed) * math.pi / 2.0 * np.sin(turn) * swing)


def mean_piston_speed(stroke: float, speed: float) -> float:
    """Return the mean piston speed [m/s]: two strokes a turn of the crankshaft, whose speed is in [rad/s]."""
    return stroke * speed / math.pi


def sound_speed(job: Job) -> float:
    """Return the speed of sound in the bench's room [m/s]."""
    room = job.bench.air
    return math.sqrt(GAMMA * room.gas_constant * room.temperature)


def mach_index(
    bore: float, head_diameter: float, valves: int, mean_piston_speed: float, flow_coefficient: float, sound: float
) -> float:
    """Return the mean inlet Mach index [-].

    Parameters
    ----------
    bore, head_diameter : float
        [m].
    valves : int
        Inlet valves of one cylinder, all alike.
    mean_piston_speed : float
        [m/s].
    flow_coefficient : float
        Mean over the event, on the area of the valve's head [-].
    sound : float
        Speed of sound at the inlet [m/s].

    Notes
    -----
    [Taylor] vol. 1 ch. 6 (from memory): Z = (b / D)^2 s / (C a), the piston's area over that of all inlet
    valves. Volumetric efficiency falls off above about 0.5 to 0.6.

    Examples
    --------
    >>> round(mach_index(0.086, 0.033, 2, 2 * 0.086 * 6500 / 60, 0.35, 343.23497), 6)
    0.526708
    """
    return bore**2 / (valves * head_diameter**2) * mean_piston_speed / (flow_coefficient * sound)


def volume_rate(engine: Engine, crank_deg: npt.ArrayLike) -> Array | None:
    """Return how fast the cylinder grows [m3/s] at crank angles as the cam counts them [deg].

    None where the engine does not tell stroke, rod, speed and dead centre.
    """
    if engine.stroke is None or engine.rod_length is None or engine.speed is None or engine.dead_centre_deg is None:
        return None
    after = np.asarray(crank_deg, dtype=float) - engine.dead_centre_deg
    moved = piston_speed(after, engine.stroke, engine.rod_length, engine.speed)
    return np.asarray(math.pi / 4.0 * engine.bore**2 * moved)
