"""A report as a printed document (PDF): A4 pages to hand over, the same bytes for the same report."""

from __future__ import annotations

import datetime
import io
from pathlib import Path

from portviz.errors import UsageError, shortened
from portviz.job.write import require_free, write_atomically
from portviz.report.content import Report


def document_bytes(report: Report) -> bytes:
    """Return a report as a PDF.

    The findings stand first, then facts, sections, warnings, method and cautions. Charts are drawn once, at 300 dots
    an inch. The only date in it is the report's, so that the same report makes the same bytes. Words are taken as
    they stand: nothing in them is markup. Letters that the fonts do not have are shown as boxes.

    Parameters
    ----------
    report : Report

    Returns
    -------
    bytes

    Raises
    ------
    UsageError
        If what makes a PDF is not installed, or the report's date is no date.
    """
    require_printing()
    date = _checked_date(report.date)
    from portviz.report.document_pages import kept, print_pages
    from portviz.report.document_style import register_fonts, title_words

    register_fonts()
    from portviz.report.document_parts import (
        closing_blocks,
        facts_blocks,
        findings_blocks,
        opening_blocks,
        warnings_blocks,
    )
    from portviz.report.document_sections import section_blocks

    blocks = [
        *opening_blocks(report),
        *findings_blocks(report.findings),
        *facts_blocks(report.facts),
    ]
    for number, section in enumerate(report.sections, start=1):
        blocks += section_blocks(section, number)
    blocks += [*warnings_blocks(report.warnings), *closing_blocks(report)]
    shop, title = title_words(report.letterhead.shop), title_words(report.title)
    about = (("head", report.letterhead.head), ("order", report.letterhead.order), ("for", report.letterhead.customer))
    named = [f"{label} {title_words(value)}" for label, value in about if value.strip()]
    target = io.BytesIO()
    print_pages(
        kept(blocks),
        target,
        "  ·  ".join(filter(None, (shop, title))),
        date,
        {"title": title, "author": shop, "subject": ", ".join(["Flow-bench report", *named])},
    )
    return target.getvalue()


def write_document(report: Report, path: Path, *, overwrite: bool = False) -> Path:
    """Write a report as a PDF, whole or not at all.

    Parameters
    ----------
    report : Report
    path : Path
    overwrite : bool
        Allow an existing file to be replaced.

    Returns
    -------
    Path

    Raises
    ------
    JobError
        If the file is there already, or can't be written.
    UsageError
        As `document_bytes` does.
    """
    require_printing()
    require_free(path, overwrite=overwrite)
    content = document_bytes(report)
    return write_atomically(path, lambda made: _write_bytes(made, content), overwrite=overwrite)


def _write_bytes(path: Path, content: bytes) -> None:
    path.write_bytes(content)


def require_printing() -> None:
    """Raise UsageError where what makes a PDF is not installed."""
    try:
        import reportlab  # noqa: F401
    except ImportError as error:
        raise UsageError(
            f"report: what makes a .pdf is not installed ({error}). Install it with: "
            '.venv/bin/pip install ".[report]"; or let the report end in .html'
        ) from None


def _checked_date(text: str) -> str:
    try:
        return datetime.date.fromisoformat(text).isoformat()
    except ValueError:
        raise UsageError(f'date: {shortened(text)} is no date; write year-month-day, such as "2026-11-25"') from None
