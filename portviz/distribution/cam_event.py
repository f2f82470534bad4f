"""The valve's event: from its opening to its closing, as the cam moves it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from portviz.errors import JobError
from portviz.job.model import Array, Job


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

    Raises
    ------
    JobError
        If the job has no cam, or its lifts make no event.
    """
    cam = job.cam
    if cam is None:
        raise JobError(
            "there is no cam",
            file=str(job.folder),
            expected="cam.csv with the columns crank [deg], lift [mm], or a section [cam] in job.toml",
        )
    open_ = np.flatnonzero(cam.lift > 0.0)
    if not open_.size:
        raise JobError("the cam never opens the valve", file=cam.file)
    part = slice(max(int(open_[0]) - 1, 0), int(open_[-1]) + 2)
    return CamEvent(cam.crank_deg[part], cam.lift[part], cam.assumed)
