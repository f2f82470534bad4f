"""The valve's event: from its opening to its closing, as the cam moves it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from portviz.errors import JobError
from portviz.job.model import Array, Cam, Job
from portviz.job.words import lift_text

#: Lift at an end of the table, over the peak, from which the event is cut off there [-].
_CUT_OFF = 0.2
#: Up to this lift [m], or this part of the peak [-], a stretch is the unevenness of a closed valve's reading.
_LEAST_OPENING = 5e-5
_LEAST_PART = 0.01
#: A turn of the cam in degrees of the crank.
_CAM_TURN = 720.0


@dataclass(frozen=True)
class CamEvent:
    """One opening of the valve: straight lines between N points.

    Parameters
    ----------
    crank_deg : ndarray, shape (N,)
        Crank angle [deg], ascending, from opening to closing.
    lift : ndarray, shape (N,)
        Valve lift [m].
    assumed : bool
        True where the curve was made from the figures of a cam card.
    """

    crank_deg: Array
    lift: Array
    assumed: bool

    @property
    def opening_deg(self) -> float:
        """Crank angle at which the valve begins to open [deg]."""
        return float(self.crank_deg[0])

    @property
    def closing_deg(self) -> float:
        """Crank angle at which it is closed again [deg]."""
        return float(self.crank_deg[-1])

    @property
    def duration_deg(self) -> float:
        """How long it is open [deg of crank]."""
        return self.closing_deg - self.opening_deg

    @property
    def peak_lift(self) -> float:
        """Greatest lift [m]."""
        return float(self.lift.max())

    @property
    def peak_deg(self) -> float:
        """Crank angle of the greatest lift [deg]; the middle, where it is held."""
        top = self.crank_deg[self.lift == self.lift.max()]
        return float(0.5 * (top[0] + top[-1]))

    def lift_at(self, crank_deg: npt.ArrayLike) -> Array:
        """Return the lift [m] at crank angles [deg]; zero before opening and after closing."""
        return np.asarray(np.interp(np.asarray(crank_deg, dtype=float), self.crank_deg, self.lift, left=0.0, right=0.0))


def cam_event(job: Job) -> CamEvent:
    """Return the event of a job's cam.

    Bumps of a closed valve, up to `small_lift`, are none; `cam_notes.cam_warnings` tells them.

    Raises
    ------
    JobError
        If the job has no cam, or its lifts make no event: the valve never opens, opens more than once, or is open at
        an end of the table.
    """
    cam = job.cam
    if cam is None:
        raise JobError(
            "there is no cam",
            file=str(job.folder),
            expected="cam.csv with the columns crank [deg], lift [mm], or a section [cam] in job.toml",
        )
    first, last = _open_points(job, cam)
    part = slice(max(first - 1, 0), last + 2)
    return CamEvent(cam.crank_deg[part], cam.lift[part], cam.assumed)


def open_stretches(cam: Cam) -> list[tuple[int, int]]:
    """Return the first and last point of each stretch of points at which the valve is open."""
    open_ = np.concatenate([[False], cam.lift > 0.0, [False]]).astype(np.int8)
    turns = np.flatnonzero(np.diff(open_))
    return list(zip(turns[::2].tolist(), (turns[1::2] - 1).tolist(), strict=True))


def small_lift(cam: Cam) -> float:
    """Return the lift up to which a stretch is the unevenness of a closed valve's reading, no opening [m]."""
    peak = float(cam.lift.max())
    return min(max(_LEAST_OPENING, _LEAST_PART * peak), _CUT_OFF * peak)


def point_place(cam: Cam, point: int) -> str:
    """Return where a point of the cam stands: its line, or its crank angle where it has none."""
    if cam.line is None:
        return f"{cam.crank_deg[point]:g} deg"
    return f"line {cam.line[point]}"


def _open_points(job: Job, cam: Cam) -> tuple[int, int]:
    """Return the first and last point of the one stretch at which the valve is open."""
    peak = float(cam.lift.max())
    if not peak > 0.0:
        lash = f"; the lash of {lift_text(job, cam.lash)} takes off all of it" if cam.lash else ""
        raise JobError(
            f"the cam never opens the valve{lash}",
            file=cam.file,
            expected="a lift above 0",
            mend="Check cam.lash, and its unit" if lash else "Check the lifts, and the column they stand in",
        )
    if peak > job.valve.head_diameter:
        point = int(np.argmax(cam.lift))
        raise JobError(
            f"the valve would open by {lift_text(job, peak)}, more than its head is wide",
            file=cam.file,
            place=point_place(cam, point),
            expected=f"lifts well below the head's diameter of {lift_text(job, job.valve.head_diameter)}",
            mend="Check the unit of the lift, and this row",
        )
    end = len(cam.lift) - 1
    openings = [
        (first, last) for first, last in open_stretches(cam) if cam.lift[first : last + 1].max() > small_lift(cam)
    ]
    if len(openings) == 2 and openings[0][0] == 0 and openings[1][1] == end:
        raise _wrapped(job, cam, *openings)
    if len(openings) > 1:
        (_, closes), (again, _) = openings[:2]
        few = again - closes - 1
        slip = "; or a cell there may be mistyped" if few <= 2 and cam.lift[closes] > _CUT_OFF * peak else ""
        raise JobError(
            f"the valve opens more than once: it closes after {point_place(cam, closes)} and opens again at "
            f"{point_place(cam, again)}",
            file=cam.file,
            place=point_place(cam, again),
            value=lift_text(job, float(cam.lift[again])),
            expected="one opening and one closing",
            mend="Keep the rows of one event; a bump of a closed valve can be written 0, or taken off as cam.lash"
            + slip,
        )
    for point, turns in ((0, "opening"), (end, "closing")):
        if cam.lift[point] > _CUT_OFF * peak:
            raise JobError(
                f"the {turns} is cut off: the valve is open by {lift_text(job, float(cam.lift[point]))} at the table's "
                f"{'beginning' if point == 0 else 'end'}",
                file=cam.file,
                place=point_place(cam, point),
                expected=f"a lift of 0 there, or one near it (the peak is {lift_text(job, peak)})",
                mend="Add the rows up to where the valve is closed",
            )
    return openings[0]


def _wrapped(job: Job, cam: Cam, closing: tuple[int, int], opening: tuple[int, int]) -> JobError:
    """Return the error for a turn of the cam that begins and ends while the valve is open."""
    closes, opens = closing[1], opening[0]
    # The last closed point before the opening begins the table.
    begin = opens - 1
    turn = _CAM_TURN if cam.crank_deg[-1] - cam.crank_deg[0] > 0.5 * _CAM_TURN + 1.0 else 0.5 * _CAM_TURN
    camshaft = "; if these are degrees of the camshaft, head the column camshaft [deg]" if turn < _CAM_TURN else ""
    return JobError(
        f"the table begins and ends while the valve is open, {lift_text(job, float(cam.lift[0]))} and "
        f"{lift_text(job, float(cam.lift[-1]))}, and is closed in between, after {point_place(cam, closes)}",
        file=cam.file,
        place=point_place(cam, begin),
        expected="one event from opening to closing",
        mend=f"Begin the table with {point_place(cam, begin)}, and write the rows above it on past the end, with "
        f"{turn:g} deg of crank added to their angles{camshaft}",
    )
