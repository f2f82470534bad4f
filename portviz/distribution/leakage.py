"""The leak test: the bench's flow with the valve closed, and what of it is taken from the other flows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portviz.errors import JobError
from portviz.job.model import JOB_FILE, Array, Index, Job, Readings
from portviz.job.words import flow_text, lift_text


@dataclass(frozen=True)
class ClosedBench:
    """The bench with the valve closed, a value for each of R runs.

    Parameters
    ----------
    flow, test_pressure : ndarray, shape (R,)
        [m3/s], [Pa]; NaN where it was not measured.
    line : ndarray of int, shape (R,)
        Line in the flow's file; 0 where there is none.
    """

    flow: Array
    test_pressure: Array
    line: Index


def closed_bench(job: Job, readings: Readings) -> ClosedBench:
    """Return what the bench showed at lift 0 in each run, with readings at the stations or without."""
    runs = len(readings.runs)
    flow, pressure, line = np.full(runs, np.nan), np.full(runs, np.nan), np.zeros(runs, dtype=np.intp)
    if job.flow is None:
        return ClosedBench(flow, pressure, line)
    closed = np.flatnonzero(readings.group_lift == 0.0)
    parts = [(readings.group_run[closed], job.flow.flow[closed], job.flow.test_pressure[closed], job.flow.line[closed])]
    if job.flow.closed is not None:
        alone = job.flow.closed
        parts.append((alone.run, alone.flow, alone.test_pressure, alone.line))
    for run, *values in parts:
        for target, each in zip((flow, pressure, line), values, strict=True):
            target[run] = each
    pressure[(line > 0) & np.isnan(pressure)] = job.bench.test_pressure
    return ClosedBench(flow, pressure, line)


def subtracted_leak(job: Job, readings: Readings, test_pressure: Array, flow: Array) -> tuple[Array, Array]:
    """Return what is to be taken from each group's flow [m3/s], and by how much a leak test is scaled for it [-].

    Parameters
    ----------
    job : Job
    readings : Readings
    test_pressure, flow : ndarray, shape (G,)
        [Pa], [m3/s]; NaN where the flow was not measured.

    Raises
    ------
    JobError
        If the job asks for it and a run with flows has none at lift 0, or its leak is more than a flow.

    Notes
    -----
    Both have the shape (G,), and are 0 where nothing is taken. The run's flow at lift 0, times the square root of
    test pressure over the leak test's own where they differ: a leak is taken for an orifice in air of constant
    density. The flow at lift 0 stays as it is.
    """
    leak, scale = np.zeros(len(flow)), np.zeros(len(flow))
    if not job.bench.subtract_leak:
        return leak, scale
    if job.flow is None:
        raise JobError(
            "there are no flows to take the leak from",
            file=JOB_FILE,
            place="bench.leak_test",
            value="subtract",
            expected="flow.csv, with a row at lift 0 for each run",
            mend="Add flow.csv, or take this line away",
        )
    closed = closed_bench(job, readings)
    open_ = (readings.group_lift > 0.0) & np.isfinite(flow)
    _require_leak_tests(job, readings, closed, readings.group_run[open_])
    run = readings.group_run[open_]
    scale[open_] = np.sqrt(test_pressure[open_] / closed.test_pressure[run])
    leak[open_] = closed.flow[run] * scale[open_]
    _require_smaller(job, readings, leak, flow)
    return leak, scale


def _require_leak_tests(job: Job, readings: Readings, closed: ClosedBench, runs: Index) -> None:
    assert job.flow is not None
    without = runs[np.isnan(closed.flow[runs])]
    if not without.size:
        return
    run = int(without[0])
    line = int(closed.line[run])
    problem = "has an empty flow at lift 0" if line else "has no row at lift 0"
    raise JobError(
        f"run {readings.runs[run]!r} {problem}, and so no leak to take from its flows",
        file=job.flow.file,
        place=f"line {line}" if line else None,
        expected=f'a flow with the valve closed, for bench.leak_test = "subtract" of {JOB_FILE}',
        mend=f"Measure it with the valve closed, or take leak_test from {JOB_FILE}",
    )


def _require_smaller(job: Job, readings: Readings, leak: Array, flow: Array) -> None:
    assert job.flow is not None
    larger = np.flatnonzero(leak > flow)
    if not larger.size:
        return
    group = int(larger[np.argmax(leak[larger] - flow[larger])])
    raise JobError(
        f"the leak is more than the flow of run {readings.runs[readings.group_run[group]]!r} at "
        f"{lift_text(job, float(readings.group_lift[group]))}",
        file=job.flow.file,
        place=f"line {job.flow.line[group]}",
        value=flow_text(job, float(flow[group])),
        expected=f"more than the leak at lift 0, {flow_text(job, float(leak[group]))} at this test pressure",
        mend="Check both flows and their lifts; seal the fixture and the seat before you measure again",
    )
