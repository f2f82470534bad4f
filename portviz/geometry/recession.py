"""What a cut of the seat does to the valve's height, and how near the open valve comes to a plane below it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from portviz.geometry.dimensions import LENGTH_TOLERANCE, Array
from portviz.geometry.profiles import Profiles, profile_heights


def valve_sinks(depth: npt.ArrayLike, seat_angle: npt.ArrayLike) -> Array:
    """Return how far the valve sinks into the head along its axis [m].

    Parameters
    ----------
    depth : array_like
        Metal taken off the seat, square to its cone [m]; not negative.
    seat_angle : array_like
        From the plane of the head [rad].

    Raises
    ------
    ValueError
        For a negative depth, or an angle outside 0 to 90 degrees.

    Notes
    -----
    All cuts follow, so that each edge keeps its diameter and each width stays: the whole wall moves along the axis, by
    s. Its cones keep their angles, and a cone moved by s along the axis has moved by s cos(b) square to itself, for its
    normal leans by b from the axis. So s = depth / cos(b), b the seat's angle; a neighbouring cut of angle a loses
    s cos(a). The valve goes with the wall by s, whatever touches: a band (one angle), or a line at the band's outer or
    inner edge (face flatter or steeper), since that edge keeps its diameter.

    The spring's installed height grows and the lash of a train without adjusters shrinks by s; the head stands out
    by s less. Were the seat alone cut, its outer edge would move out along the top cut: other widths, another design.

    Examples
    --------
    >>> [float(each.round(9)) for each in valve_sinks(2e-4, np.radians([30.0, 45.0, 60.0]))]
    [0.00023094, 0.000282843, 0.0004]
    """
    depth, angle = np.broadcast_arrays(np.asarray(depth, dtype=float), np.asarray(seat_angle, dtype=float))
    if not np.all(depth >= 0.0):
        raise ValueError("a depth of cut is not negative")
    if not np.all((angle > 0.0) & (angle < np.pi / 2.0)):
        raise ValueError("a seat's angle lies between 0 and 90 degrees")
    return np.asarray(depth / np.cos(angle))


def plane_clearance(
    plane: npt.ArrayLike, protrusion: npt.ArrayLike, lift: npt.ArrayLike, sinks: npt.ArrayLike = 0.0
) -> Array:
    """Return how far the head's lower edge stands clear of a plane below it [m]; not above zero where it touches.

    Parameters
    ----------
    plane : array_like
        Distance of the plane below that of the seat's outer edge, as it is before any cut [m].
    protrusion : array_like
        How far the closed head's lower edge stands below the plane of the seat's outer edge [m].
    lift : array_like
        [m].
    sinks : array_like
        How far the valve has sunk by a cut [m].

    Notes
    -----
    The plane is square to the valve's axis and stands still, and the head is flat underneath.

    Examples
    --------
    >>> float(plane_clearance(12e-3, 1e-3, 10e-3).round(6)), float(plane_clearance(12e-3, 1e-3, 11.5e-3).round(6))
    (0.001, -0.0005)
    """
    plane, protrusion, lift, sinks = np.broadcast_arrays(
        *(np.asarray(each, dtype=float) for each in (plane, protrusion, lift, sinks))
    )
    return np.asarray(plane - (protrusion + lift - sinks))


def metal_sinks(present: Profiles, designs: Profiles) -> Array:
    """Return how much deeper in the head designs' outer edges lie at least, cut from the present seat [m], shape (N,).

    Parameters
    ----------
    present : Profiles
        Of one design.
    designs : Profiles
        Of N designs.

    Returns
    -------
    ndarray
        Infinite where the throat is smaller, so that no depth of cut makes the design; below zero where the edge moves
        out along the metal that is there, and lies nearer to the cylinder.

    Notes
    -----
    Metal only comes off: raised by s toward the port, the new wall must nowhere stand below the present one, as far out
    as both are known. Both are straight between corners, so that corners decide.
    """
    old, new = present.wall[:, :-1], designs.wall[:, :-1]
    old = np.broadcast_to(old, (designs.count, *old.shape[1:]))
    throat = np.maximum(old[:, -1, 0], new[:, -1, 0])
    outer = np.minimum(old[:, 0, 0], new[:, 0, 0])
    radii = np.concatenate([old[:, :, 0], new[:, :, 0], outer[:, None]], axis=1)
    inside = (radii >= throat[:, None]) & (radii <= outer[:, None])
    deeper = np.where(inside, profile_heights(old, radii) - profile_heights(new, radii), -np.inf)
    return np.where(new[:, -1, 0] < old[:, -1, 0] - LENGTH_TOLERANCE, np.inf, np.max(deeper, axis=1))


def least_sinking(profiles: Profiles, protrusion: Array) -> Array:
    """Return how far valves sink at least if each seat is cut from the first one of N [m], shape (N,).

    Parameters
    ----------
    profiles : Profiles
        Of N designs.
    protrusion : ndarray, shape (N,)
        Of the closed heads' lower edges beyond their own seats' outer edges [m]: a valve rests on its seat, wherever
        that one's edge lies.

    Returns
    -------
    ndarray
        Infinite where no depth of cut makes the design; see `metal_sinks`.
    """
    return np.asarray(metal_sinks(profiles.take(slice(0, 1)), profiles) + protrusion[0] - protrusion)


def metal_on_valve(present: Profiles, designs: Profiles) -> Array:
    """Return by how much designs' valves stand higher under the head than the present one [m], shape (N,).

    Notes
    -----
    With the heads' lower edges at one height, within the smaller of both heads; up to the fillet's start, whose arc is
    taken as its chord. Above zero, metal would have to be put on.
    """
    old, new = present.valve[:, 1:6], designs.valve[:, 1:6]
    old = np.broadcast_to(old, (designs.count, *old.shape[1:]))
    stem, outer = np.maximum(old[:, -1, 0], new[:, -1, 0]), np.minimum(old[:, 0, 0], new[:, 0, 0])
    radii = np.concatenate([old[:, :, 0], new[:, :, 0], outer[:, None]], axis=1)
    inside = (radii >= np.maximum(stem, np.maximum(old[:, 3, 0], new[:, 3, 0]))[:, None]) & (radii <= outer[:, None])
    level = (designs.valve[:, 0, 1] - present.valve[:, 0, 1])[:, None]
    higher = np.where(inside, profile_heights(new, radii) - level - profile_heights(old, radii), 0.0)
    return np.asarray(np.maximum(np.max(higher, axis=1), 0.0))
