"""What a cut of the seat does to the valve's height, and how near the open valve comes to a plane below it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from portviz.geometry.dimensions import Array


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
