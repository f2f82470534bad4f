"""What a handed-over report holds, before it becomes a page or a printed document: words, tables and charts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from portviz.distribution.comparison import Comparison
    from portviz.distribution.event_comparison import LiftEvent
    from portviz.distribution.reduce import Reduction
    from portviz.distribution.uncertainty import Uncertainty


@dataclass(frozen=True)
class Evidence:
    """What a finding rests on, at one place; numbers in SI, NaN where there is none.

    Parameters
    ----------
    words : str
        The place and the numbers with their units, as a customer reads them.
    run : str
        The run, or the run after.
    lift : float
        [m].
    stations_deg : tuple of float
        Stations as typed [deg].
    quantity : str
        The key that the number has in the JSON output, such as "velocity_m_s".
    value : float
        The value, or the second run's.
    difference, u : float
        Against `against`, with its standard uncertainty; `u` of the value where there is no difference.
    verdict : str
        Of the difference; empty where there is none.
    against : str
        The run before; empty where nothing is compared.
    """

    words: str
    run: str = ""
    lift: float = float("nan")
    stations_deg: tuple[float, ...] = ()
    quantity: str = ""
    value: float = float("nan")
    difference: float = float("nan")
    u: float = float("nan")
    verdict: str = ""
    against: str = ""


@dataclass(frozen=True)
class Finding:
    """One thing that the numbers say, in plain words.

    Parameters
    ----------
    topic : str
        "change", "direction", "bias", "limit", "event", "not shown" or "distrust".
    words : str
        One or two sentences.
    evidence : tuple of Evidence
        Never empty.
    """

    topic: str
    words: str
    evidence: tuple[Evidence, ...]


@dataclass(frozen=True)
class TextTable:
    """A table in words.

    Parameters
    ----------
    title : str
    columns : tuple of str
        Heads, each with its unit in brackets.
    rows : tuple of tuple of str
        As many cells each as there are columns.
    note : str
        What stands below.
    words : frozenset of int
        Columns that hold words and stand to the left; the others hold numbers.
    detail : bool
        True for what a page holds and a printed document has no room for.
    """

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""
    words: frozenset[int] = frozenset()
    detail: bool = False


@dataclass(frozen=True)
class Chart:
    """A flat picture.

    Parameters
    ----------
    key : str
        Letters, digits and hyphens; once in a report.
    title : str
    shows : str
        What it shows, with its numbers, for who can't see it.
    make : callable
        Draws it; called in the style of `portviz.scene.paper.in_style`.
    detail : bool
        True for what a page holds and a printed document has no room for.
    """

    key: str
    title: str
    shows: str
    make: Callable[[], Figure]
    detail: bool = False


@dataclass(frozen=True)
class Section:
    """A part of the report with its own heading: paragraphs, then charts, then tables."""

    key: str
    title: str
    paragraphs: tuple[str, ...] = ()
    charts: tuple[Chart, ...] = ()
    tables: tuple[TextTable, ...] = ()


@dataclass(frozen=True)
class Logo:
    """A shop's own sign, taken apart and made anew: a PNG's bytes and its size [pixels]."""

    png: bytes
    width: int
    height: int


@dataclass(frozen=True)
class Letterhead:
    """Who hands the report over, and to whom; empty where it is not stated.

    Parameters
    ----------
    shop, address, contact : str
        Of the shop; an address may have several lines.
    logo : Logo or None
    customer, head : str
        Whom it is for, and which head or engine it is about.
    order : str
        The shop's own number of the work.
    """

    shop: str = ""
    address: str = ""
    contact: str = ""
    logo: Logo | None = None
    customer: str = ""
    head: str = ""
    order: str = ""


@dataclass(frozen=True)
class Report:
    """All that is handed over.

    Parameters
    ----------
    title : str
        The job's.
    date : str
        Year-month-day.
    letterhead : Letterhead
    summary : str
        One paragraph: what was measured.
    findings : tuple of Finding
        The main ones first.
    facts : tuple of TextTable
        The sheet of valve, seat and bench.
    sections : tuple of Section
        In the order of reading: seat, flow, round the valve, comparisons, designs, event, stations.
    method : tuple of str
        Paragraphs on how it was found, and how well it is known.
    cautions : str
    warnings : tuple of str
        On the readings, for who is handed the report.
    shop_warnings : tuple of str
        The same with what to do about them, for the shop's terminal alone.
    reduction : Reduction
    uncertainty : Uncertainty
    runs : tuple of int
        Places of the runs shown among the reduction's runs; the first one is that before.
    comparisons : tuple of Comparison
        Of the other runs against the first.
    events : LiftEvent or None
        Where the job has a cam.
    """

    title: str
    date: str
    letterhead: Letterhead
    summary: str
    findings: tuple[Finding, ...]
    facts: tuple[TextTable, ...]
    sections: tuple[Section, ...]
    method: tuple[str, ...]
    cautions: str
    warnings: tuple[str, ...]
    shop_warnings: tuple[str, ...]
    reduction: Reduction
    uncertainty: Uncertainty
    runs: tuple[int, ...]
    comparisons: tuple[Comparison, ...]
    events: LiftEvent | None

    @property
    def invented(self) -> bool:
        """True where the job's title says that its data are invented."""
        return "(invented)" in self.title.lower()
