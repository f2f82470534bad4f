"""Sheets as an .xlsx file: numbers as numbers with their formats, texts as texts whatever they begin with."""

from __future__ import annotations

import io
import re
import sys
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from types import ModuleType
from typing import Any

from portviz.errors import required_package, spelled_out
from portviz.job.room import require_room

Cell = str | float | int | None

#: Letters that a cell has room for.
MOST_LETTERS = 32_767
#: More rows than this take long enough for a bar.
_WORTH_A_BAR = 5_000
#: Ends of a key that are a unit, as a header shows it and with the format of its numbers; longer ends first.
UNITS = {
    "_j_kg_k": ("J/(kg K)", "0.00"),
    "_kg_m3": ("kg/m³", "0.0000"),
    "_m2_deg": ("m² deg", "0.000E+00"),
    "_m3_s": ("m³/s", "0.00000"),
    "_m_s": ("m/s", "0.00"),
    "_m2": ("m²", "0.000E+00"),
    "_deg": ("deg", "0.0"),
    "_pa": ("Pa", "0.0"),
    "_k": ("K", "0.00"),
    "_m": ("m", "0.00000"),
}
_PLAIN_FORMAT, _UNCERTAINTY_FORMAT, _WHOLE_FORMAT = "0.0000", "0.0E+00", "0"
#: Keys of words and counts, which have no unit.
_WORDS = ("what", "value", "unit", "warning", "run", "lift", "before", "after", "limited_by")
_MORE_WORDS = ("uncertainty_from", "uncertainty_method")
_COUNTS = ("stage", "repeats", "degrees_of_freedom", "band")
#: What a number takes in a temporary file, and what a letter takes at most [bytes].
_CELL_ROOM = 80
_WIDEST, _NARROWEST = 90, 10
#: Letters that begin a formula, or what a spreadsheet takes for one.
_FORMULA_SIGNS = tuple("=+-@\t\r\n'")


@dataclass
class Sheet:
    """A sheet: a header, and rows under it.

    Parameters
    ----------
    name : str
    keys : list of str
        One a column, with the unit at its end as in the JSON documents.
    rows : list of lists
        Numbers in SI, texts; None where nothing is known.
    """

    name: str
    keys: list[str]
    rows: list[list[Cell]] = field(default_factory=list)


def require_openpyxl() -> ModuleType:
    """Return the library that writes workbooks.

    Raises
    ------
    UsageError
        If it is not installed.
    """
    return required_package(
        "openpyxl",
        "file: writing a workbook needs the package openpyxl. Install it with: "
        '.venv/bin/pip install ".[excel]"; or let the file end in .csv',
    )


def heading(key: str) -> str:
    """Return a column's header: words, and the unit in brackets.

    Examples
    --------
    >>> heading("flow_area_m2"), heading("flow_share_u"), heading("limited_by")
    ('flow area [m²]', 'flow share, u [-]', 'limited by')
    """
    name, unit, _ = _parts(key)
    words = name.replace("_", " ") + (", u" if key.endswith("_u") else "")
    return f"{words} [{unit}]" if unit else words


def _parts(key: str) -> tuple[str, str, str]:
    """Return the name in a key, its unit ("-" for a plain number, nothing for words and counts) and a format."""
    bare = key.removesuffix("_u")
    if key in _COUNTS:
        return key, "", _WHOLE_FORMAT
    if key in _WORDS or key in _MORE_WORDS or key.endswith("_verdict"):
        return key, "", "General"
    for end, (unit, form) in UNITS.items():
        if bare.endswith(end):
            return bare.removesuffix(end), unit, _UNCERTAINTY_FORMAT if bare != key else form
    return bare, "-", _UNCERTAINTY_FORMAT if bare != key else _PLAIN_FORMAT


def plain_text(text: str) -> str:
    """Return a text as a workbook can hold it: signs that can't be seen are spelled out, and it has an end."""
    return spelled_out(text, kept="\n\u00a0")[:MOST_LETTERS]


def workbook_file(sheets: Sequence[Sheet], title: str) -> bytes:
    """Return sheets as the content of an .xlsx file: the same bytes whenever it is made of the same results.

    Raises
    ------
    UsageError
        If the library that writes workbooks is not installed.
    OSError
        If there is no room for its temporary files.
    """
    openpyxl = require_openpyxl()
    from openpyxl.packaging.core import DocumentProperties
    from openpyxl.utils import get_column_letter

    values = (value for sheet in sheets for row in sheet.rows for value in row)
    require_room(sum(_CELL_ROOM * (len(value) if isinstance(value, str) else 1) for value in values))
    book = openpyxl.Workbook(write_only=True)
    for sheet in _told(sheets):
        page = book.create_sheet(sheet.name)
        page.freeze_panes = "A2"
        heads, forms = [heading(key) for key in sheet.keys], [_parts(key)[2] for key in sheet.keys]
        for place, width in enumerate(_widths(heads, sheet.rows), start=1):
            page.column_dimensions[get_column_letter(place)].width = width
        cells = _Cells(page)
        page.append(cells.of(head, "head") for head in heads)
        for row in sheet.rows:
            page.append(cells.of(value, form) for value, form in zip(row, forms, strict=True))
    content = io.BytesIO()
    book.save(content)
    about = DocumentProperties(creator="portviz", title=plain_text(title)).to_tree()
    return _undated(content.getvalue(), about)


class _Cells:
    """Cells of a sheet that is written row by row: one a kind, which takes the next value as soon as it is written.

    Each of its own would cost more than half of the time, for styles that are all alike.
    """

    def __init__(self, page: Any) -> None:
        self._page = page
        self._cells: dict[str, Any] = {}

    def of(self, value: Cell, form: str) -> Any:
        """Return a cell with a value; `form` is the format of its number, or "head"."""
        if isinstance(value, str):
            value = plain_text(value)
        if value is None or value == "":
            return None
        if isinstance(value, str) and form != "head":
            form = "quoted" if value.startswith(_FORMULA_SIGNS) else "long" if len(value) > _WIDEST else "text"
        if form not in self._cells:
            self._cells[form] = self._new(form)
        cell = self._cells[form]
        cell.value = value
        if isinstance(value, str):
            cell.data_type = "s"
        return cell

    def _new(self, form: str) -> Any:
        from openpyxl.cell import WriteOnlyCell
        from openpyxl.styles import Alignment, Font

        cell = WriteOnlyCell(self._page)
        cell.alignment = Alignment(vertical="top", wrap_text=form in ("head", "long", "quoted") or None)
        if form == "head":
            cell.font = Font(bold=True)
        elif form == "quoted":
            # A text is no formula, neither here nor when somebody edits the cell.
            cell.quotePrefix = True
        elif form not in ("long", "text"):
            cell.number_format = form
        return cell


def _undated(content: bytes, about: Any) -> bytes:
    """Return a workbook without the hour of making: what it says of itself in `about`, and the dates in its archive."""
    from openpyxl.xml.functions import tostring

    for each in [each for each in about if each.tag.endswith(("}created", "}modified"))]:
        about.remove(each)
    replaced = {"docProps/core.xml": bytes(tostring(about))}
    made = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            member = zipfile.ZipInfo(name)
            member.compress_type, member.create_system, member.external_attr = zipfile.ZIP_DEFLATED, 3, 0o600 << 16
            new.writestr(member, replaced.get(name) or old.read(name))
    return made.getvalue()


def _widths(heads: list[str], rows: list[list[Cell]]) -> Iterator[float]:
    """Give the widths of columns [letters]: room for the texts, and for the longest word of the header."""
    for place, head in enumerate(heads):
        longest = max((len(row[place]) for row in rows[:1000] if isinstance(row[place], str)), default=0)  # type: ignore[arg-type]
        word = max(map(len, re.split(r"\s", head)))
        yield min(max(longest + 2, word + 2, len(head) // 2 + 2, _NARROWEST), _WIDEST)


def _told(sheets: Sequence[Sheet]) -> Iterable[Sheet]:
    """Go through sheets, with a bar where they are long and somebody watches a terminal."""
    total = sum(len(sheet.rows) for sheet in sheets)
    if total < _WORTH_A_BAR or not sys.stderr.isatty():
        yield from sheets
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("rows"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("rows", total=total)
        for sheet in sheets:
            yield sheet
            bar.advance(task, len(sheet.rows))
