"""The arrays behind a view: static solids, the curtain, markers, jets and lines at a lift."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from portviz.geometry.ends import passage_ends
from portviz.geometry.passages import least_passages
from portviz.geometry.profiles import Profiles
from portviz.geometry.revolve import (
    Surface,
    on_circle,
    revolved_line,
    revolved_solid,
    valve_chains,
    wall_chains,
)
from portviz.job.model import Array, Job

#: Points of the curtain from wall to valve.
CURTAIN_ROWS = 5
#: The half of the head that stays when it is cut away [deg]: behind the plane of stations 0 and 180.
HEAD_RANGE = (180.0, 360.0)


@dataclass(frozen=True)
class LiftShapes:
    """Everything that moves with the lift.

    Parameters
    ----------
    curtain : ndarray, shape (A * CURTAIN_ROWS, 3)
        Points of the curtain [m], angle by angle, from the wall to the valve.
    markers : ndarray, shape (S, 3)
        Middle of the curtain at each station [m].
    least_line : ndarray, shape (4, 3)
        The narrowest passage in the section, as two lines of two points [m].
    gap_area, throat_area : float
        [m2].
    throat_ends : tuple of str
        The parts that the least throat passage runs between, on wall and valve.
    limited_by_gap : bool
    gap_width : float
        Length of the least line across the gap [m]; balls are drawn no larger than it allows.
    across : ndarray, shape (2,)
        Unit vector (r, z) of the flow through the gap, square to its least line.
    """

    curtain: Array
    markers: Array
    least_line: Array
    gap_area: float
    throat_area: float
    throat_ends: tuple[str, str]
    limited_by_gap: bool
    gap_width: float
    across: Array


def lift_shapes(job: Job, profiles: Profiles, lift: float, angles_deg: Array) -> LiftShapes:
    """Return everything that moves, at a lift [m], the curtain on the given angles [deg]."""
    passages = least_passages(profiles, [lift], lines=True)
    assert passages.gap_line is not None
    assert passages.throat_line is not None
    gap_line, throat_line = passages.gap_line[0, 0], passages.throat_line[0, 0]
    by_gap = bool(passages.limited_by_gap[0, 0])
    least = gap_line if by_gap else throat_line
    curtain = revolved_line(gap_line[0], gap_line[1], angles_deg, CURTAIN_ROWS).points
    middle = gap_line.mean(axis=0)
    markers = on_circle(middle[0], middle[1], job.stations.circle_deg)
    in_section = on_circle(np.tile(least[:, 0], 2), np.tile(least[:, 1], 2), [0.0, 0.0, 180.0, 180.0])
    in_section -= [0.0, 6e-5, 0.0]
    return LiftShapes(
        curtain=curtain,
        markers=markers,
        least_line=in_section,
        gap_area=float(passages.gap_area[0, 0]),
        throat_area=float(passages.throat_area[0, 0]),
        throat_ends=passage_ends(profiles, throat_line[None], np.array([lift]))[0],
        limited_by_gap=by_gap,
        gap_width=float(np.hypot(*(gap_line[1] - gap_line[0]))),
        across=_flow_direction(job, gap_line),
    )


def _flow_direction(job: Job, gap_line: Array) -> Array:
    """Return the unit vector (r, z) square to the gap line, outward for intake and inward for exhaust.

    Where the gap is closed the line has no direction, and the seat's own is taken.
    """
    step = gap_line[0] - gap_line[1]
    length = float(np.hypot(*step))
    angle = job.seat.angle
    along_seat = np.array([np.cos(angle), -np.sin(angle)])
    square = np.array([step[1], -step[0]]) / length if length > 1e-9 else along_seat
    if square @ along_seat < 0.0:
        square = -square
    return square if job.side == "intake" else -square


def jet_points(template: Array, shapes: LiftShapes, angles_deg: Array, lengths: Array) -> Array:
    """Return arrow points, arrow by arrow: a template along +x set at each marker, along the flow.

    Parameters
    ----------
    template : ndarray, shape (P, 3)
        An arrow of unit length from the origin along x.
    shapes : LiftShapes
    angles_deg : ndarray, shape (S,)
        Station angles [deg].
    lengths : ndarray, shape (S,)
        [m]; negative for reverse flow, zero or NaN for none.

    Returns
    -------
    ndarray, shape (S * P, 3)
        [m].
    """
    lengths = np.nan_to_num(lengths)
    forward = on_circle(shapes.across[0], shapes.across[1], angles_deg)
    sideways = on_circle(1.0, 0.0, angles_deg + 90.0)
    upward = np.cross(forward, sideways)
    frame = np.stack([forward, sideways, upward], axis=1)  # (S, 3, 3)
    turned = np.einsum("pk,skx->spx", template, frame) * lengths[:, None, None]
    return np.asarray(shapes.markers[:, None] + turned).reshape(-1, 3)


def port_top(profiles: Profiles) -> float:
    """Return the height to which the port is drawn [m]."""
    corner = profiles.wall[0, -2]
    return float(corner[1] + 0.55 * corner[0])


def valve_top(profiles: Profiles) -> float:
    """Return the height at which the closed valve's stem is cut [m]: a little above the drawn port."""
    return max(port_top(profiles), float(profiles.valve[0, 5, 1])) + 0.5 * float(profiles.valve[0, 1, 0])


def valve_solid(profiles: Profiles, *, count: int = 180) -> Surface:
    """Return the closed valve."""
    return revolved_solid(*valve_chains(profiles, stem_top=valve_top(profiles)), count=count)


def _head_chains(profiles: Profiles) -> tuple[Array, Array]:
    widest = max(float(profiles.wall[0, 0, 0]), float(profiles.valve[0, 0, 0]))
    return wall_chains(profiles, outer_radius=1.18 * widest, port_top=port_top(profiles))


def head_solid(profiles: Profiles, *, cut_away: bool, count: int = 180) -> Surface:
    """Return the head round the seat, whole or the half behind the section."""
    start, stop = HEAD_RANGE if cut_away else (0.0, 360.0)
    return revolved_solid(*_head_chains(profiles), count=count, start_deg=start, stop_deg=stop)


def head_section(profiles: Profiles) -> tuple[list[Surface], list[Array]]:
    """Return the head's two cut faces, a hair in front of the section, and their outlines [m]."""
    return _section(*_head_chains(profiles))


def valve_section(profiles: Profiles) -> tuple[list[Surface], list[Array]]:
    """Return the closed valve's two cut faces, a hair in front of the section, and their outlines [m]."""
    surface, axis = valve_chains(profiles, stem_top=valve_top(profiles))
    faces, _ = _section(surface, axis)
    rim = np.concatenate([axis[:1], surface, axis[-1:]])
    return faces, [_in_section(rim, angle, 4e-5) for angle in HEAD_RANGE]


def _section(front: Array, back: Array) -> tuple[list[Surface], list[Array]]:
    rung = np.arange(len(front) - 1)
    quads = np.stack([rung, rung + 1, len(front) + rung + 1, len(front) + rung], axis=1)
    corners, loop = np.concatenate([front, back]), _bends(np.concatenate([front, back[::-1], front[:1]]))
    faces = [Surface(_in_section(corners, angle, 2e-5), quads, np.empty((0, 3), dtype=np.intp)) for angle in HEAD_RANGE]
    return faces, [_in_section(loop, angle, 4e-5) for angle in HEAD_RANGE]


def _bends(line: Array) -> Array:
    """Return a line's ends and the corners at which it bends: a drawn line may break where two pieces only meet."""
    steps = np.diff(line, axis=0)
    line, steps = np.concatenate([line[:1], line[1:][steps.any(axis=1)]]), steps[steps.any(axis=1)]
    before, after = steps[:-1], steps[1:]
    turned = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    lengths = np.hypot(*before.T) * np.hypot(*after.T)
    straight = (np.abs(turned) <= 1e-9 * lengths) & (np.sum(before * after, axis=1) > 0.0)
    return np.asarray(line[np.concatenate([[True], ~straight, [True]])])


def _in_section(corners: Array, angle_deg: float, forward: float) -> Array:
    """Return corners (r, z) at an angle of the section, a little in front of it [m]."""
    return on_circle(corners[:, 0], corners[:, 1], angle_deg) - [0.0, forward, 0.0]


def valve_rings(profiles: Profiles, *, count: int = 120) -> list[Array]:
    """Return the closed valve's outline seen along its axis: circles of rim, face and stem [m]."""
    angles = np.linspace(0.0, 360.0, count + 1)
    corners = profiles.valve[0, [1, 2, 5]]
    return list(on_circle(corners[:, :1], corners[:, 1:], angles))


#: The hatching: one short line every so many columns, each running over one column a row.
_HATCH_STEP = 3


def hatch_size(angle_count: int) -> int:
    """Return the number of hatching lines on a curtain with so many columns."""
    return len(range(0, angle_count - 1, _HATCH_STEP))


def hatch_points(curtain: Array, far: npt.NDArray[np.bool_]) -> Array:
    """Return the points of the hatching lines on the curtain; a line that is not wanted is a single point.

    Parameters
    ----------
    curtain : ndarray, shape (A * CURTAIN_ROWS, 3)
        Angle by angle, the last column repeating the first.
    far : ndarray of bool, shape (A,)
        The columns that are hatched.

    Returns
    -------
    ndarray, shape (hatch_size(A) * CURTAIN_ROWS, 3)
    """
    grid = curtain.reshape(-1, CURTAIN_ROWS, 3)
    rows = np.arange(CURTAIN_ROWS)
    first = np.arange(0, len(grid) - 1, _HATCH_STEP)[:, None]
    points = grid[(first + rows) % (len(grid) - 1), rows]
    wanted = far[(first[:, 0] + CURTAIN_ROWS // 2) % (len(grid) - 1)]
    return np.asarray(np.where(wanted[:, None, None], points, points[:, :1])).reshape(-1, 3)


def curtain_faces(angle_count: int) -> npt.NDArray[np.intp]:
    """Return the curtain's quadrilaterals."""
    line = np.zeros(2)
    return revolved_line(line, line, np.zeros(angle_count), CURTAIN_ROWS).quads
