"""The errors that reach a user: what is wrong, where, and how to mend it."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class PortvizError(Exception):
    """Base of every error that portviz raises on purpose."""


class UsageError(PortvizError):
    """The command line asks for something that cannot be (exit code 2)."""


class UnitError(PortvizError, ValueError):
    """A quantity has no unit, an unknown unit, or a unit of the wrong kind."""


class ChokedFlowError(PortvizError, ValueError):
    """A pressure drop at or beyond the critical one; subsonic relations do not hold there."""


class DrawingError(PortvizError):
    """A picture or window cannot be made on this machine as it stands."""


class GeometryError(PortvizError, ValueError):
    """Dimensions that make no valve and seat.

    Parameters
    ----------
    problem : str
        What is wrong, with the names of the parts and the numbers.
    keys : tuple of str
        The dimensions involved, as keys of job.toml.
    rule : str
        The short name of the rule that was broken.
    """

    def __init__(self, problem: str, keys: tuple[str, ...] = (), rule: str = "") -> None:
        super().__init__(problem)
        self.problem = problem
        self.keys = keys
        self.rule = rule


class JobError(PortvizError):
    """Something in the job's files is wrong (exit code 1).

    Parameters
    ----------
    problem : str
        What is wrong.
    file : str, optional
        The file, as the user knows it.
    place : str, optional
        The line, column or key in it.
    value : object, optional
        The value found there.
    expected : str, optional
        What was expected instead.
    mend : str, optional
        What to do.
    """

    def __init__(
        self,
        problem: str,
        *,
        file: str | None = None,
        place: str | None = None,
        value: object = None,
        expected: str | None = None,
        mend: str | None = None,
    ) -> None:
        self.problem = problem
        self.file = file
        self.place = place
        self.value = value
        self.expected = expected
        self.mend = mend
        super().__init__(self._message())

    def _message(self) -> str:
        where = ", ".join(part for part in (self.file, self.place) if part)
        text = f"{where}: {self.problem}" if where else self.problem
        if self.value is not None:
            text += f" (got {shortened(self.value)})"
        if self.expected:
            text += f"; expected {self.expected}"
        text = text.rstrip(".") + "."
        if self.mend:
            text += f" {self.mend.rstrip('.')}."
        return text


def shortened(value: object, limit: int = 60) -> str:
    """Return `value` as a quoted text on one line, cut to `limit` characters."""
    text = repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= limit else text[: limit - 1] + "…"


def nearest_name(name: str, known: Iterable[str]) -> str | None:
    """Return the known name most like `name`, or None where nothing is near."""
    by_lower = {each.lower(): each for each in known}
    found = difflib.get_close_matches(name.lower(), list(by_lower), n=1, cutoff=0.6)
    return by_lower[found[0]] if found else None
