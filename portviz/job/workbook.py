"""Workbooks: their sheets, and a sheet's cells as text."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any

import numpy as np

from portviz.errors import JobError
from portviz.job.model import Index
from portviz.job.textfile import read_bytes

WORKBOOK_ENDING = ".xlsx"
#: Larger files, and sheets that swell to more than this, are refused before they fill the memory.
MAX_FILE_BYTES = 64 * 2**20
MAX_WORKBOOK_BYTES = 16 * 2**20
MAX_WORKBOOK_ROWS = 100_000
MAX_WORKBOOK_COLUMNS = 1_000


def workbook_sheets(path: Path) -> list[str]:
    """Return the names of a workbook's sheets."""
    return list(_workbook(path).sheetnames)


def _workbook(path: Path) -> Any:
    try:
        import openpyxl
    except ImportError:
        raise JobError(
            "reading a workbook needs the package openpyxl",
            file=path.name,
            mend='Install it from portviz\'s folder with: pip install ".[excel]"; or save each sheet as CSV UTF-8',
        ) from None
    content = read_bytes(path, MAX_FILE_BYTES, "a workbook")
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            inflated = sum(each.file_size for each in archive.infolist())
    except Exception as error:
        raise _unreadable_workbook(path, error) from None
    if inflated > MAX_WORKBOOK_BYTES:
        raise JobError(
            "the workbook is too large",
            file=path.name,
            value=f"{inflated / 2**20:.0f} MB unpacked",
            expected=f"at most {MAX_WORKBOOK_BYTES / 2**20:.0f} MB; save large tables as CSV UTF-8",
        )
    try:
        return openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    except Exception as error:
        raise _unreadable_workbook(path, error) from None


def _unreadable_workbook(path: Path, error: Exception) -> JobError:
    reason = type(error).__name__
    return JobError(f"the workbook can't be read ({reason})", file=path.name, expected="an .xlsx workbook")


def workbook_rows(path: Path, sheet: str) -> tuple[list[list[str]], Index]:
    """Return the cells of a sheet as text, and the line of each row."""
    book = _workbook(path)
    try:
        cells = book[sheet]
        # What a sheet states of its extent is not always true.
        cells.reset_dimensions()
        rows = []
        for number, row in enumerate(cells.iter_rows(values_only=True), start=1):
            if number > MAX_WORKBOOK_ROWS or len(row) > MAX_WORKBOOK_COLUMNS:
                raise JobError(
                    "the sheet is too large",
                    file=path.name,
                    place=f"sheet {sheet}, row {number}",
                    expected=f"at most {MAX_WORKBOOK_ROWS:,} rows of {MAX_WORKBOOK_COLUMNS} cells; "
                    "clear what lies beyond the table, or save it as CSV UTF-8",
                )
            rows.append([_cell_text(cell) for cell in row])
    except JobError:
        raise
    except Exception as error:
        raise _unreadable_workbook(path, error) from None
    return rows, np.arange(1, len(rows) + 1)


def _cell_text(value: object) -> str:
    return "" if value is None else str(value)
