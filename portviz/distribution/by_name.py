"""Runs by their names, for scripts and notebooks."""

from __future__ import annotations

from portviz.distribution.comparison import Comparison, Side, compare_runs
from portviz.distribution.given import REDUCED, require_a, run_place
from portviz.distribution.reduce import Reduction
from portviz.distribution.uncertainty import Uncertainty, reduction_uncertainty

__all__ = ["compare", "run_place"]


def compare(
    reduction: Reduction,
    before: int | str,
    after: int | str,
    uncertainty: Uncertainty | None = None,
    *,
    on_field: bool = False,
) -> Comparison:
    """Return the differences of two runs of one job, each with its uncertainty and a verdict.

    Parameters
    ----------
    reduction : Reduction
    before, after : int or str
        Names of the runs, or their places.
    uncertainty : Uncertainty, optional
        That of the reduction, where it is there already.
    on_field : bool
        Where stations differ, compare the second run's interpolated field at the first one's stations.

    Raises
    ------
    UsageError
        If there are no such runs, or they can't be compared; see `compare_runs`, which compares runs of two jobs too.

    Examples
    --------
    >>> from portviz.distribution.reduce import reduce_job
    >>> from portviz.job.demo import demo_folder
    >>> from portviz.job.read import read_job
    >>> changed = compare(reduce_job(read_job(demo_folder())), "as found", "wall relieved")
    >>> changed.lifts[0].stations["velocity"].verdicts[0]
    'higher'
    """
    require_a(reduction, Reduction, REDUCED)
    known = uncertainty or reduction_uncertainty(reduction)
    first, second = (Side(reduction, known, run_place(reduction, run)) for run in (before, after))
    return compare_runs(first, second, on_field=on_field)
