"""Which file of a job's folder holds what: job.toml, and each table as text or as a sheet of a workbook."""

from __future__ import annotations

from pathlib import Path

from portviz.errors import JobError
from portviz.job.model import JOB_FILE
from portviz.job.workbook import WORKBOOK_ENDING, workbook_sheets

TABLES = ("readings", "flow", "cam")
#: Endings under which a text editor or a spreadsheet may have saved what should be a .csv or .toml file.
_TEXT_ENDINGS = (".txt", ".text", ".tsv", ".tab", ".dat", ".doc", ".rtf", ".docx")
_SPREADSHEET_ENDINGS = (".xls", ".xlsm", ".xlsb", ".ods", ".numbers")


def find_job_file(path: Path) -> Path:
    """Return the job.toml that is meant by a job's folder, or by the file itself.

    Raises
    ------
    JobError
        If it isn't there; a file with a name alike is named.
    """
    if path.name.lower() == JOB_FILE and path.is_file():
        return path
    if not path.exists():
        raise JobError(
            "there is no such folder", file=str(path), expected="a job's folder", mend="Make one with: portviz new DIR"
        )
    if not path.is_dir():
        raise JobError("this is a file", file=str(path), expected=f"the folder that holds {JOB_FILE}")
    found = _file_called(path, JOB_FILE)
    if found is None:
        _refuse_misnamed(path, JOB_FILE)
        raise JobError(
            f"the folder has no {JOB_FILE}",
            file=str(path),
            mend=f"Make a job with: portviz new DIR, or name the folder that holds {JOB_FILE}",
        )
    return found


def find_tables(folder: Path) -> tuple[dict[str, tuple[Path, str]], tuple[str, ...]]:
    """Return the file of each table with its sheet, and remarks on workbooks that could not be looked into.

    A table is NAME.csv, in small letters or large; workbooks are only looked into for those that are not there,
    and there it is a sheet called NAME.

    Raises
    ------
    JobError
        If a table is there twice or under a wrong name, or the readings are in no sheet of the workbooks.
    """
    found = {name: (path, "") for name in TABLES if (path := _file_called(folder, f"{name}.csv")) is not None}
    remarks: tuple[str, ...] = ()
    missing = [name for name in TABLES if name not in found]
    if missing:
        sheets, remarks = _find_sheets(folder, missing)
        found |= sheets
    for name in missing:
        if name not in found:
            _refuse_misnamed(folder, f"{name}.csv")
    return found, remarks


def _find_sheets(folder: Path, missing: list[str]) -> tuple[dict[str, tuple[Path, str]], tuple[str, ...]]:
    """Return the sheets that hold missing tables, and remarks on workbooks that can't be read."""
    books = sorted(
        path for path in folder.iterdir() if path.suffix.lower() == WORKBOOK_ENDING and not path.name.startswith("~$")
    )
    found: dict[str, tuple[Path, str]] = {}
    faults: list[JobError] = []
    seen: list[str] = []
    for book in books:
        try:
            sheets = workbook_sheets(book)
        except JobError as error:
            faults.append(error)
            continue
        seen += sheets
        for sheet in sheets:
            name = sheet.strip().lower()
            if name not in missing:
                continue
            if name in found:
                raise JobError(
                    f"the table {name} is there twice",
                    file=book.name,
                    place=f"sheet {sheet}",
                    value=found[name][0].name,
                    expected="one place for each table",
                    mend="Take one of the two away",
                )
            found[name] = (book, sheet)
    if books and "readings" in missing and "readings" not in found:
        if faults:
            raise faults[0]
        raise JobError(
            "there is no sheet for the readings",
            file=books[0].name,
            value=", ".join(seen),
            expected="sheets named readings, flow, cam (or readings.csv in the folder)",
        )
    lost = ", ".join(name for name in missing if name not in found)
    remarks = [f"{error.file} was left out while looking for {lost}: {error.problem}" for error in faults]
    for name in missing:
        alike = next((sheet for sheet in seen if name in sheet.lower()), None) if name not in found else None
        if alike is not None:
            remarks.append(f"the sheet {alike!r} is not read; if it holds the table {name}, name it {name}")
    return found, tuple(remarks)


def _file_called(folder: Path, name: str) -> Path | None:
    """Return the file of a name in small letters or large, or None."""
    found = sorted(path for path in folder.iterdir() if path.name.lower() == name)
    if len(found) > 1:
        raise JobError(
            "two files have this name, but for small and large letters",
            file=found[0].name,
            value=found[1].name,
            expected=f"one {name}",
            mend="Take one of the two away",
        )
    return found[0] if found else None


def _refuse_misnamed(folder: Path, name: str) -> None:
    """Raise JobError where a file was meant to be called `name`, and an editor added or changed its ending."""
    stem, ending = name.split(".")
    text = {stem + extra for extra in _TEXT_ENDINGS} | {name + extra for extra in (*_TEXT_ENDINGS, f".{ending}")}
    spreadsheet = {stem + extra for extra in _SPREADSHEET_ENDINGS}
    for path in sorted(folder.iterdir()):
        if path.name.lower() in text:
            raise JobError(f"this file is not called {name}", file=path.name, mend=f"Rename it to {name}")
        if path.name.lower() in spreadsheet and ending == "csv":
            raise JobError(
                f"a spreadsheet of this kind can't be read, and there is no {name}",
                file=path.name,
                mend=f"Save the sheet as {name} (CSV UTF-8), or the workbook as {WORKBOOK_ENDING}",
            )
