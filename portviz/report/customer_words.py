"""What a customer reads where the porter reads advice: the same sentences without what to do at the shop's files."""

from __future__ import annotations

import re
from dataclasses import replace

from portviz.report.content import TextTable
from portviz.report.uncertainty import WHAT_TO_ADD

#: The package's own advice on files and options, as it stands in its own sentences; nothing else is ever left out.
_ADVICE = re.compile(
    "|".join(
        [
            "[:;] " + re.escape(WHAT_TO_ADD),
            ": state bench\\.flow_accuracy in job\\.toml",
            "; --limits FILE, or a limits\\.csv in the job's folder, replaces them",
            "; friction up to [0-9.]+ \\(common practice, no source\\) bounds it in --json",
            ", since valve\\.face_angle is named in job\\.toml and stays: vary it with the seat",
        ]
    )
)


def for_customer(words: str) -> str:
    """Return sentences without the package's own advice on the shop's files and commands.

    Examples
    --------
    >>> for_customer("no verdict on flow: state bench.flow_accuracy in job.toml")
    'no verdict on flow'
    >>> for_customer("seat width 1.6 mm is outside the usual range (shop sheet v2.csv): check it")
    'seat width 1.6 mm is outside the usual range (shop sheet v2.csv): check it'
    """
    return _ADVICE.sub("", words)


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
