"""Sections of a printed report: paragraphs, then charts, then tables, under a heading."""

from __future__ import annotations

from portviz.report.content import Section
from portviz.report.document_charts import chart_block
from portviz.report.document_pages import Block, filling, text_block
from portviz.report.document_parts import heading_block
from portviz.report.document_style import BODY, paragraph
from portviz.report.document_tables import tables_blocks

#: Paragraphs of fewer letters stay with the chart or table after them.
_SHORT = 400


def section_blocks(section: Section, number: int) -> list[Block]:
    """Return a section without its details; nothing of one that holds nothing, or nothing else."""
    words = [each for each in section.paragraphs if each.strip()]
    charts = [each for each in section.charts if not each.detail]
    tables = [each for each in section.tables if not each.detail]
    if (section.charts or section.tables) and not charts and not tables:
        return []
    # Few words lead to what they are about.
    leads = bool(charts or tables) and sum(map(len, words)) < _SHORT
    blocks = [text_block(paragraph(each, BODY), leads=leads) for each in words]
    shown = [*map(chart_block, charts), *tables_blocks(tables)]
    blocks += [filling(shown)] if shown else []
    return [heading_block(section.title, f"section-{number}"), *blocks] if blocks else []
