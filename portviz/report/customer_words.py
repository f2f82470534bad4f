"""What a customer reads where the porter reads advice: the same sentences without what to do at the bench's files."""

from __future__ import annotations

import re
from dataclasses import replace

from portviz.report.content import TextTable

#: What only the porter can do anything about.
_FOR_THE_SHOP = re.compile(r"job\.toml|limits\.csv|\.csv\b|--[a-z]|\bJSON\b")


def for_customer(words: str) -> str:
    """Return sentences without those parts that speak of the shop's files and commands.

    Examples
    --------
    >>> for_customer("no verdict on flow: state bench.flow_accuracy in job.toml")
    'no verdict on flow'
    >>> for_customer("Ranges are common practice; --limits FILE replaces them. The makers come first.")
    'Ranges are common practice. The makers come first.'
    """
    if not _FOR_THE_SHOP.search(words):
        return words
    parts = [part for part in re.split(r"(?<=[.;:])\s+", words) if not _FOR_THE_SHOP.search(part)]
    told = " ".join(parts)
    # What is left of a sentence ends like one.
    told = re.sub(r"[;:](?=\s+[A-Z])", ".", told)
    return re.sub(r"[;:,]$", "", told)


def without_empty_columns(table: TextTable) -> TextTable:
    """Return a table without the columns in which nothing stands but dashes."""
    kept = [
        place
        for place in range(len(table.columns))
        if place == 0 or not table.rows or any(row[place].strip() not in ("", "–") for row in table.rows)
    ]
    if len(kept) == len(table.columns):
        return table
    return replace(
        table,
        columns=tuple(table.columns[place] for place in kept),
        rows=tuple(tuple(row[place] for place in kept) for row in table.rows),
        words=frozenset(new for new, place in enumerate(kept) if place in table.words),
    )
