"""The errors that reach a user: what is wrong, where, and how to mend it."""

from __future__ import annotations

import difflib
import reprlib
from collections.abc import Iterable
from importlib import import_module
from types import ModuleType


class PortvizError(Exception):
    """Base of every error that portviz raises on purpose."""


class UsageError(PortvizError):
    """The command line asks for something that cannot be (exit code 2)."""


class UnitError(PortvizError, ValueError):
    """A quantity has no unit, an unknown unit, or a unit of the wrong kind.

    Parameters
    ----------
    problem : str
        What is wrong.
    mend : str, optional
        What to do, as a sentence of its own.
    """

    def __init__(self, problem: str, mend: str | None = None) -> None:
        super().__init__(f"{problem}. {mend}" if mend else problem)
        self.problem = problem
        self.mend = mend


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
        if self.value not in (None, "") and not self._problem_shows_value():
            text += f" (got {shortened(self.value)})"
        if self.expected:
            text += f"; expected {self.expected}"
        return " ".join(sentence(each) for each in (text, self.mend) if each)

    def _problem_shows_value(self) -> bool:
        """Tell if the problem names the value already: a text by its quotes, anything else at its beginning."""
        shown = shortened(self.value)
        return shown in self.problem if isinstance(self.value, str) else self.problem.startswith(f"{shown} ")


def sentence(text: str) -> str:
    """Return a text with the point that ends it, where it has none."""
    text = text.strip()
    return text if text.endswith((".", "?", ":")) else f"{text}."


def counted(number: int, noun: str, plural: str | None = None) -> str:
    """Return a number with its noun, in the plural (noun and s, unless it is given) where it is not one."""
    return f"{number} {noun if number == 1 else plural or noun + 's'}"


#: Messages longer than this are cut: what was typed may be of any length.
LONGEST_MESSAGE = 800


def spelled_out(text: str, kept: str = "") -> str:
    r"""Return a text with the signs that can't be seen spelled out, line ends too, but for those to be kept.

    Examples
    --------
    >>> print(spelled_out("a\x1b[31mb\u202ec\x00\n"))
    a\x1b[31mb\u202ec\x00\n
    """
    if text.isprintable():
        return text
    return "".join(
        sign if sign.isprintable() or sign in kept else sign.encode("unicode_escape").decode() for sign in text
    )


def one_line(text: str) -> str:
    """Return a text on one line, cut to a readable length, with signs that can't be seen spelled out."""
    text = spelled_out(text[:2000])
    return text if len(text) <= LONGEST_MESSAGE else text[: LONGEST_MESSAGE - 1] + "…"


def shortened(value: object, limit: int = 60) -> str:
    """Return `value` as a text, quoted if it was one, cut to `limit` characters."""
    if isinstance(value, str):
        text = repr(value[: limit + 1])
    elif isinstance(value, int) and abs(value) >= 10**limit:
        text = f"a whole number of more than {limit} digits"
    elif isinstance(value, int | float) or hasattr(value, "isoformat"):
        text = str(value)
    else:
        text = _SHORT.repr(value)
    return text if len(text) <= limit else text[: limit - 1] + "…"


_SHORT = reprlib.Repr()
_SHORT.maxlevel, _SHORT.maxdict, _SHORT.maxlist = 3, 4, 6


def nearest_name(name: str, known: Iterable[str]) -> str | None:
    """Return the known name most like `name`, or None where nothing is near."""
    if len(name) > 100:
        return None
    by_lower = {each.lower(): each for each in known}
    found = difflib.get_close_matches(name.lower(), list(by_lower), n=1, cutoff=0.6)
    return by_lower[found[0]] if found else None


def suggestion(name: str, known: Iterable[str], quote: str = "") -> str | None:
    """Return "Did you mean ...?" with the nearest known name between quotes, or None where nothing is near."""
    near = nearest_name(name, known)
    return f"Did you mean {quote}{near}{quote}?" if near else None


def required_package(name: str, refusal: str) -> ModuleType:
    """Return a package that an extra brings; raise UsageError with what to do where it is not installed."""
    try:
        return import_module(name)
    except ImportError:
        raise UsageError(refusal) from None
