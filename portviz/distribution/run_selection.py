"""A job as if only some of its runs had been measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from portviz.distribution.reduce import Reduction, reduce_job
from portviz.job.model import BenchFlow, ClosedFlow, Job


def with_runs(reduction: Reduction, runs: Sequence[int]) -> Reduction:
    """Return the reduction of a job of some of its runs alone, in their order in the job.

    Parameters
    ----------
    reduction : Reduction
    runs : sequence of int
        Places among its runs.

    Returns
    -------
    Reduction
        The same one where all runs are named.
    """
    kept = np.array(sorted(set(runs)), dtype=np.intp)
    if len(kept) == len(reduction.runs):
        return reduction
    return reduce_job(_job_of(reduction.job, kept), reduction.profiles)


def _job_of(job: Job, kept: np.ndarray) -> Job:
    readings = job.readings
    assert readings is not None
    groups = np.flatnonzero(np.isin(readings.group_run, kept))
    rows = np.flatnonzero(np.isin(readings.group, groups))
    chosen = replace(
        readings,
        runs=tuple(readings.runs[run] for run in kept),
        group=np.searchsorted(groups, readings.group[rows]),
        station=readings.station[rows],
        value=readings.value[rows],
        line=readings.line[rows],
        group_run=np.searchsorted(kept, readings.group_run[groups]),
        group_lift=readings.group_lift[groups],
    )
    return replace(job, readings=chosen, flow=None if job.flow is None else _flow_of(job.flow, groups, kept))


def _flow_of(flow: BenchFlow, groups: np.ndarray, kept: np.ndarray) -> BenchFlow:
    closed = None
    if flow.closed is not None:
        rows = np.flatnonzero(np.isin(flow.closed.run, kept))
        if len(rows):
            closed = ClosedFlow(
                np.searchsorted(kept, flow.closed.run[rows]),
                flow.closed.flow[rows],
                flow.closed.test_pressure[rows],
                flow.closed.line[rows],
            )
    return BenchFlow(flow.flow[groups], flow.test_pressure[groups], flow.line[groups], flow.file, closed)
