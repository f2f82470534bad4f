"""The textbook's three stages of a poppet valve's minimum flow area."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from portviz.geometry.dimensions import Array


class ThreeStageArea(NamedTuple):
    """Area and stage, arrays of one shape.

    Parameters
    ----------
    area : ndarray
        Minimum flow area [m2].
    stage : ndarray of int
        1, 2 or 3.
    """

    area: Array
    stage: npt.NDArray[np.intp]


def three_stage_area(
    lift: npt.ArrayLike,
    head_diameter: npt.ArrayLike,
    port_diameter: npt.ArrayLike,
    stem_diameter: npt.ArrayLike,
    radial_seat_width: npt.ArrayLike,
    seat_angle: npt.ArrayLike,
) -> ThreeStageArea:
    """Return the minimum flow area of a plain valve by the textbook's three stages.

    Parameters
    ----------
    lift : array_like
        [m], not negative; broadcast with all others.
    head_diameter, port_diameter, stem_diameter : array_like
        [m].
    radial_seat_width : array_like
        Difference of the seat's outer and inner radius [m]: the width along the seat times cos(angle).
    seat_angle : array_like
        From the plane of the valve head [rad].

    Returns
    -------
    ThreeStageArea

    Notes
    -----
    With D_m = D_v - w, [Heywood] eqs 6.7 to 6.9:

    - L <= w / (sin b cos b): A = pi L cos b (D_v - 2 w + L / 2 sin 2b)
    - up to the lift of the third stage: A = pi D_m sqrt((L - w tan b)^2 + w^2)
    - beyond: A = pi / 4 (D_p^2 - D_s^2)

    The third stage begins where the first two reach its area. For usual seats that is the book's
    second limit; for a seat so wide that the limit falls into the first stage, or does not exist,
    the smaller area still holds and the result stays continuous.

    Examples
    --------
    >>> area, stage = three_stage_area([2e-3, 5e-3], 40e-3, 35e-3, 7e-3, 2e-3, np.pi / 4)
    >>> [float(round(1e6 * each, 6)) for each in area], [int(each) for each in stage]
    ([164.386669, 430.432589], [1, 2])
    """
    lift, head, port, stem, width, angle = np.broadcast_arrays(
        *(
            np.asarray(value, dtype=float)
            for value in (lift, head_diameter, port_diameter, stem_diameter, radial_seat_width, seat_angle)
        )
    )
    first = np.pi * lift * np.cos(angle) * (head - 2.0 * width + 0.5 * lift * np.sin(2.0 * angle))
    second = np.pi * (head - width) * np.hypot(lift - width * np.tan(angle), width)
    in_first = lift <= width / (np.sin(angle) * np.cos(angle))
    opening = np.where(in_first, first, second)
    port_area = np.pi / 4.0 * (port**2 - stem**2)
    stage = np.where(opening > port_area, 3, np.where(in_first, 1, 2))
    return ThreeStageArea(np.minimum(opening, port_area), stage)


def curtain_area(lift: npt.ArrayLike, head_diameter: npt.ArrayLike) -> Array:
    """Return the cylinder pi D L [m2] under the valve head's rim, for lift and diameter in [m]."""
    return np.asarray(np.pi * np.asarray(head_diameter, dtype=float) * np.asarray(lift, dtype=float))


def head_area(head_diameter: npt.ArrayLike) -> Array:
    """Return the area of the valve head, pi / 4 D^2 [m2], for a diameter in [m]."""
    return np.asarray(np.pi / 4.0 * np.asarray(head_diameter, dtype=float) ** 2)
