"""A report as a printed document (PDF): A4 pages to hand over, the same bytes for the same report."""

from __future__ import annotations

import datetime
import io
from contextlib import nullcontext
from pathlib import Path

from portviz.errors import UsageError, shortened
from portviz.job.write import require_free, write_atomically
from portviz.report.content import Report
from portviz.report.page import Pictures
from portviz.report.page_pictures import Waiting, run_pictures


def document_bytes(report: Report, *, picture: Pictures | None = run_pictures) -> bytes:
    """Return a report as a PDF.

    The findings stand first, then facts, sections, warnings, method and cautions. Charts are drawn once, at 300 dots
    an inch. The only date in it is the report's, so that the same report makes the same bytes. Words are taken as
    they stand: nothing in them is markup. Letters that the fonts do not have are shown as boxes.

    Parameters
    ----------
    report : Report
    picture : callable or None
        Starts drawing runs in three dimensions, which stand where the report tells of the air round the valve. With
        None, as where nothing can be drawn, there are none.

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
    from portviz.report.document_pictures import drawn_runs
    from portviz.report.document_sections import PICTURED
    from portviz.report.document_style import register_fonts

    register_fonts()
    pictured = any(each.key == PICTURED for each in report.sections)
    drawing = nullcontext(dict) if picture is None or not pictured else picture(report.reduction, drawn_runs(report))
    with drawing as drawn:
        return _laid_out(report, date, drawn)


def _laid_out(report: Report, date: str, drawn: Waiting) -> bytes:
    from portviz.report.document_pages import kept, print_pages
    from portviz.report.document_parts import (
        closing_blocks,
        facts_blocks,
        findings_blocks,
        opening_blocks,
        warnings_blocks,
    )
    from portviz.report.document_pictures import pictures_blocks
    from portviz.report.document_sections import PICTURED, left_out_blocks, section_blocks
    from portviz.report.document_style import title_words

    blocks = [
        *opening_blocks(report),
        *findings_blocks(report.findings),
        *facts_blocks(report.facts),
    ]
    numbered = list(enumerate(report.sections, start=1))
    # Charts of the other sections are drawn while the pictures are.
    made = {number: section_blocks(section, number) for number, section in numbered if section.key != PICTURED}
    pictures = pictures_blocks(report, drawn())
    for number, section in numbered:
        blocks += made[number] if number in made else section_blocks(section, number, pictures)
    blocks += left_out_blocks(report, pictured=bool(pictures))
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


def write_document(
    report: Report, path: str | Path, *, picture: Pictures | None = run_pictures, overwrite: bool = False
) -> Path:
    """Write a report as a PDF, whole or not at all.

    Parameters
    ----------
    report : Report
    path : Path
    picture : callable or None
        As in `document_bytes`.
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
    path = Path(path)
    require_printing()
    require_free(path, overwrite=overwrite)
    content = document_bytes(report, picture=picture)
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
