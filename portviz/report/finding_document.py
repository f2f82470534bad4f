"""Findings as a JSON document, and as words on a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from portviz.report.content import Evidence, Finding
from portviz.report.finding_words import Facts
from portviz.report.machine import FORMAT, Document, plain_number

#: Evidence told of one finding where not all of it is asked for.
_FEW = 3


def findings_document(facts: Facts, findings: Sequence[Finding], warnings: list[str]) -> Document:
    """Return what `findings --json` prints."""
    return {
        "format": FORMAT,
        "title": facts.job.title,
        "runs": [facts.reduction.runs[run] for run in facts.runs],
        "warnings": warnings,
        "findings": [
            {"topic": each.topic, "words": each.words, "evidence": [_evidence(rests) for rests in each.evidence]}
            for each in findings
        ],
    }


def _evidence(rests: Evidence) -> Document:
    return {
        "words": rests.words,
        "run": rests.run or None,
        "against": rests.against or None,
        "lift_m": plain_number(rests.lift),
        "stations_deg": list(rests.stations_deg),
        "quantity": rests.quantity or None,
        "value": plain_number(rests.value),
        "difference": plain_number(rests.difference),
        "u": plain_number(rests.u),
        "verdict": rests.verdict or None,
    }


def findings_text(title: str, findings: Sequence[Finding], cautions: str, *, whole: bool) -> RenderableType:
    """Return findings in words, each with what it rests on; `whole` for all of that, not the first few alone."""
    parts: list[RenderableType] = [Text(title, style="bold"), Text("")]
    if not findings:
        parts.append(Text("The numbers say nothing that is sure enough to be told."))
    for number, each in enumerate(findings, start=1):
        parts.append(Text(f"{number}. {each.words}"))
        told = each.evidence if whole else each.evidence[:_FEW]
        parts += [Padding(Text(rests.words, style="dim"), (0, 0, 0, 4), expand=False) for rests in told]
        more = len(each.evidence) - len(told)
        if more:
            parts.append(
                Padding(Text(f"and {more} more: --evidence tells all", style="dim"), (0, 0, 0, 4), expand=False)
            )
        parts.append(Text(""))
    return Group(*parts, Text(cautions, style="dim"))
