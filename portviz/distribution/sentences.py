"""One sentence a warning: the first places named, the worst of them first, and the others counted."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np
import numpy.typing as npt

from portviz.distribution.reduce import Reduction
from portviz.job.model import Mask
from portviz.job.words import lift_text

#: Places named in one warning.
NAMED = 4


def worst_first(mask: Mask, badness: npt.ArrayLike) -> list[int]:
    """Return the places where a mask is true, the worst first; of equals the first."""
    places = np.flatnonzero(mask)
    order = np.argsort(-np.asarray(badness, dtype=float)[places], kind="stable")
    chosen: list[int] = places[order].tolist()
    return chosen


def warning(words: str, places: Iterable[int], text: Callable[[int], str]) -> list[str]:
    """Return one warning that names the first places and counts the others; none where there are no places."""
    places = list(places)
    if not places:
        return []
    more = f"; and {len(places) - NAMED} more" if len(places) > NAMED else ""
    return [f"{words}: {'; '.join(map(text, places[:NAMED]))}{more}"]


def group_place(reduction: Reduction, group: int) -> str:
    """Return a group's run and lift."""
    run = reduction.runs[reduction.group_run[group]]
    return f"{run} at {lift_text(reduction.job, float(reduction.lift[group]))}"
