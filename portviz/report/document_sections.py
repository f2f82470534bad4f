"""Sections of a printed report: paragraphs, pictures, charts and tables under a heading, and what is left out."""

from __future__ import annotations

import re
from collections.abc import Sequence

from portviz.report.content import Chart, Report, Section, TextTable
from portviz.report.document_charts import chart_block
from portviz.report.document_pages import Block, filling, text_block
from portviz.report.document_parts import MOST_EVIDENCE, heading_block
from portviz.report.document_style import BODY, LEFT_OUT, paragraph
from portviz.report.document_tables import tables_blocks

#: Paragraphs of fewer letters stay with the chart or table after them.
_SHORT = 400
#: The section whose first thing are the pictures of the runs, and its charts that these stand for on paper.
PICTURED, _PICTURED_CHARTS = "round", "unrolled-"
#: Titles of what is left out are cut to so many letters.
_LONGEST_TITLE = 60
_AT_END = re.compile(r"\s*(\([^()]*\)|\[[^\[\]]*\])$")
_OF_RUN = re.compile(r"^Run (“.*”): (.+)$|^(.+), run (“.*”)$", re.DOTALL)


def section_blocks(section: Section, number: int, pictures: Sequence[Block] = ()) -> list[Block]:
    """Return a section without its details; nothing of one that holds nothing, or nothing else.

    Parameters
    ----------
    section : Section
    number : int
        Among the report's sections, from 1.
    pictures : sequence of Block
        Stand before the charts.
    """
    words = [each for each in section.paragraphs if each.strip()]
    charts = [each for each in section.charts if not _is_left_out(each, pictured=bool(pictures))]
    tables = [each for each in section.tables if not each.detail]
    if (section.charts or section.tables) and not charts and not tables and not pictures:
        return []
    # Few words lead to what they are about.
    leads = bool(charts or tables or pictures) and sum(map(len, words)) < _SHORT
    blocks = [*(text_block(paragraph(each, BODY), leads=leads) for each in words), *pictures]
    shown = [*map(chart_block, charts), *tables_blocks(tables)]
    blocks += [filling(shown)] if shown else []
    return [heading_block(section.title, f"section-{number}"), *blocks] if blocks else []


def left_out_blocks(report: Report, *, pictured: bool) -> list[Block]:
    """Return what the page of the report tells and this does not, in small type; nothing where that is nothing.

    Parameters
    ----------
    report : Report
    pictured : bool
        The pictures of the runs stand for some charts.
    """
    told = []
    if any(len(each.evidence) > MOST_EVIDENCE for each in report.findings):
        told.append("all the numbers that the findings rest on")
    parts: list[tuple[str, Sequence[Chart | TextTable]]] = [("Valve, seat and bench", report.facts)]
    parts += [(each.title, (*each.charts, *each.tables)) for each in report.sections]
    for name, held in parts:
        titles = _grouped([each.title for each in held if _is_left_out(each, pictured=pictured)], len(report.runs))
        if titles:
            told.append(f"{_shortened(name)} ({', '.join(titles)})")
    if not told:
        return []
    words = f"Left out here, and told by the page (.html) of this report: {'; '.join(told)}."
    return [text_block(paragraph(words, LEFT_OUT))]


def _is_left_out(part: Chart | TextTable, *, pictured: bool) -> bool:
    return part.detail or (pictured and isinstance(part, Chart) and part.key.startswith(_PICTURED_CHARTS))


def _grouped(titles: Sequence[str], count: int) -> list[str]:
    """Return titles in short: those that differ by the run alone as one, without runs where it is of all so many.

    Examples
    --------
    >>> _grouped(["Run “a”: share [%]", "Run “b”: share [%]", "Field, run “b”", "Sums (see below)"], 2)
    ['share', 'Field of “b”', 'Sums']
    """
    runs: dict[str, list[str]] = {}
    for title in titles:
        found = _OF_RUN.match(title)
        before, after, first, last = found.groups() if found else (None, title, None, None)
        what = _shortened(_AT_END.sub("", first or after or ""))
        runs.setdefault(what, [])
        name = before or last
        if name and name not in runs[what]:
            runs[what].append(name)
    return [
        f"{what} of {', '.join(map(_shortened, names))}" if 0 < len(names) < count else what
        for what, names in runs.items()
    ]


def _shortened(words: str) -> str:
    words = " ".join(words.split())
    if len(words) > _LONGEST_TITLE:
        words = words.split(": ")[0]
    return words if len(words) <= _LONGEST_TITLE else f"{words[: _LONGEST_TITLE - 1].rstrip()}…"
