"""What scripts hand over: runs by name or place, lifts in metres, results of the right kind; if not, told in words."""

from __future__ import annotations

import operator
from typing import SupportsFloat

import numpy as np

from portviz.distribution.reduce import Reduction
from portviz.errors import UsageError, shortened, suggestion

#: The call that returns a `Reduction`, for `require_a`.
REDUCED = "portviz.reduce_job(job)"


def run_place(reduction: Reduction, run: int | str) -> int:
    """Return the place of a run among the reduction's, by its name or by the place itself.

    Raises
    ------
    UsageError
        If there is no such run.

    Examples
    --------
    >>> from portviz.distribution.reduce import reduce_job
    >>> from portviz.job.demo import demo_folder
    >>> from portviz.job.read import read_job
    >>> run_place(reduce_job(read_job(demo_folder())), "wall relieved")
    1
    """
    names = reduction.runs
    if isinstance(run, str):
        if run not in names:
            refusal = f"run: there is no run {run!r}; the job has {', '.join(map(repr, names))}."
            raise UsageError(" ".join(filter(None, (refusal, suggestion(run, names, "'")))))
        return names.index(run)
    try:
        place = operator.index(run)
    except TypeError:
        raise UsageError(
            f"run: {shortened(run)} is no run; name one, such as {names[0]!r}, or give its place"
        ) from None
    if not 0 <= place < len(names):
        raise UsageError(f"run: there is no run {place}; their places run from 0 to {len(names) - 1}")
    return place


def lift_in_metres(lift: SupportsFloat) -> float:
    """Return a lift [m] that a script gives.

    Raises
    ------
    UsageError
        If it is no number: units exist only where people type.

    Examples
    --------
    >>> lift_in_metres("8 mm")
    Traceback (most recent call last):
    ...
    portviz.errors.UsageError: lift: '8 mm' is no number; a lift is a number in metres, such as 8e-3
    """
    try:
        number = np.nan if isinstance(lift, str | bytes) else float(lift)
    except (TypeError, ValueError):
        number = np.nan
    if not np.isfinite(number):
        raise UsageError(f"lift: {shortened(lift)} is no number; a lift is a number in metres, such as 8e-3")
    return number


def require_a(value: object, kind: type, maker: str) -> None:
    """Raise UsageError where a result is of another kind than the one wanted.

    Parameters
    ----------
    value : object
    kind : type
    maker : str
        The call that returns what is wanted, for the message.

    Examples
    --------
    >>> require_a(8e-3, Reduction, REDUCED)
    Traceback (most recent call last):
    ...
    portviz.errors.UsageError: a Reduction is wanted here, as portviz.reduce_job(job) returns it, not a float
    """
    if not isinstance(value, kind):
        article, other = ("an" if name[0] in "AEIOU" else "a" for name in (kind.__name__, type(value).__name__))
        raise UsageError(
            f"{article} {kind.__name__} is wanted here, as {maker} returns it, not {other} {type(value).__name__}"
        )
