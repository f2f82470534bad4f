"""A job's readings as a data frame."""

from __future__ import annotations

from types import ModuleType
from typing import TYPE_CHECKING

import numpy as np

from portviz.errors import JobError, required_package
from portviz.job.model import Job

if TYPE_CHECKING:
    import pandas as pd


def require_pandas() -> ModuleType:
    """Return the package pandas.

    Raises
    ------
    UsageError
        If it is not installed.
    """
    return required_package(
        "pandas",
        "data frames need the package pandas. Install it from portviz's folder with: "
        '.venv/bin/pip install ".[notebook]"',
    )


def readings_frame(job: Job) -> pd.DataFrame:
    """Return the rows of a job's readings as they were typed, in SI.

    Parameters
    ----------
    job : Job

    Returns
    -------
    pandas.DataFrame
        A row a reading: run, lift_m, angle_deg (the station as typed), reading_pa or reading_m_s, line (in the file).

    Raises
    ------
    JobError
        If there are no readings.
    UsageError
        If pandas is not installed.

    Examples
    --------
    >>> from portviz.job.demo import demo_folder
    >>> from portviz.job.read import read_job
    >>> list(readings_frame(read_job(demo_folder())).columns)
    ['run', 'lift_m', 'angle_deg', 'reading_pa', 'line']
    """
    pandas = require_pandas()
    readings = job.readings
    if readings is None:
        raise JobError("there are no readings to put in a data frame", file=str(job.folder), expected="readings.csv")
    names = np.array(readings.runs, dtype=object)
    return pandas.DataFrame(
        {
            "run": names[readings.group_run[readings.group]],
            "lift_m": readings.group_lift[readings.group],
            "angle_deg": job.stations.angles_deg[readings.station],
            "reading_m_s" if job.gauge.kind == "velocity" else "reading_pa": readings.value,
            "line": readings.line,
        }
    )
