"""Several files, and a folder beside one, that are written together: all of them or none."""

from __future__ import annotations

import os
import re
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import TypeVar

from portviz.errors import JobError
from portviz.job.write import require_free
from portviz.scene.export_parts import told_apart
from portviz.scene.words import file_words

Item = TypeVar("Item")

#: The ending of all files in a folder that we may replace.
FOLDER_ENDING = ".vtp"
#: Fewer steps than this are done before a bar is worth looking at.
_WORTH_A_BAR = 4


def named_after(path: Path, labels: Sequence[Sequence[str]]) -> list[Path]:
    """Return names of files beside a path, each with words behind its stem, no two alike.

    Parameters
    ----------
    path : Path
    labels : sequence of sequences of str
        The words of each file; whatever they hold, only letters, digits and dashes reach a name.

    Examples
    --------
    >>> [each.name for each in named_after(Path("head.png"), [("../as found", "8.00 mm"), ("as found!", "8.00 mm")])]
    ['head----as-found-8-00-mm.png', 'head-as-found--8-00-mm.png']
    """
    stems = told_apart(["-".join([path.stem, *map(file_words, words)]) for words in labels], "{}-{}")
    return [path.with_name(stem + path.suffix) for stem in stems]


def sortable(text: str, greatest: str) -> str:
    """Return a text that begins with a number, its whole part as wide as that of the greatest of its kind.

    Names of files then stand in the order of their numbers.

    Examples
    --------
    >>> sortable("2.50 mm", "11.00 mm"), sortable("0.100 in", "0.450 in")
    ('02.50 mm', '0.100 in')
    """
    whole, wide = (re.match(r"\d*", each) for each in (text, greatest))
    assert whole is not None
    assert wide is not None
    return "0" * (wide.end() - whole.end()) + text


def require_free_set(targets: Iterable[Path], folder: Path | None = None, *, overwrite: bool) -> None:
    """Raise JobError where one of the files, or the folder that belongs to them, may not be written."""
    for target in targets:
        require_free(target, overwrite=overwrite)
    if folder is None or not os.path.lexists(folder):
        return
    if not overwrite:
        raise JobError(
            "the folder is there already",
            file=str(folder),
            mend="Choose another name, or add --overwrite to replace it",
        )
    own = folder.is_dir() and not folder.is_symlink()
    if not own or any(not each.is_file() or each.suffix != FOLDER_ENDING for each in folder.iterdir()):
        raise JobError(
            "this is not a folder that an export has made, and stays",
            file=str(folder),
            expected=f"nothing there, or a folder with {FOLDER_ENDING} files alone",
            mend="Choose another name",
        )


def write_set(
    targets: Sequence[Path], write: Callable[[Path], None], folder: Path | None = None, *, overwrite: bool = False
) -> list[Path]:
    """Let `write` make files in a scratch folder, then move them to their places: all, or none where one can't be.

    Parameters
    ----------
    targets : sequence of Path
        The files to be, in one folder.
    write : callable
        Called with the scratch folder; makes every file there under its own name, and the folder if there is one.
    folder : Path, optional
        A folder beside the files that belongs to them; it is placed before them.
    overwrite : bool
        Allow what is there already to be replaced.

    Raises
    ------
    JobError
        If one is there already or can't be written; all is then as it was.
    """
    require_free_set(targets, folder, overwrite=overwrite)
    places = [*([] if folder is None else [folder]), *targets]
    try:
        with tempfile.TemporaryDirectory(dir=targets[0].parent, prefix=".portviz-") as scratch:
            write(Path(scratch))
            kept = Path(scratch) / ".kept"
            kept.mkdir()
            _place_all([(Path(scratch) / each.name, each) for each in places], kept, overwrite=overwrite)
    except FileExistsError as error:
        raise JobError("this is there already", file=str(error.filename2 or error.filename or places[0])) from None
    except OSError as error:
        raise JobError(f"the file can't be written: {error.strerror or error}", file=str(targets[0])) from None
    return list(targets)


def _place_all(moves: list[tuple[Path, Path]], kept: Path, *, overwrite: bool) -> None:
    """Move files and folders to their places; where one can't be moved, put all back as it was."""
    begun: list[tuple[Path, Path]] = []
    placed: list[Path] = []
    try:
        for made, target in moves:
            if overwrite and os.path.lexists(target):
                old = kept / target.name
                begun.append((old, target))
                target.rename(old)
            _place(made, target)
            placed.append(target)
    except BaseException:
        for target in placed:
            shutil.rmtree(target) if target.is_dir() else target.unlink()
        for old, target in begun:
            if os.path.lexists(old):
                old.rename(target)
        raise


def _place(made: Path, target: Path) -> None:
    """Move a file or folder to where none is; raise FileExistsError where one has appeared meanwhile."""
    if made.is_dir():
        if os.path.lexists(target):
            raise FileExistsError(17, "File exists", str(target))
        made.rename(target)
        return
    try:
        os.link(made, target)
    except FileExistsError:
        raise
    except OSError:
        # Some file systems have no links.
        if os.path.lexists(target):
            raise FileExistsError(17, "File exists", str(target)) from None
        made.rename(target)


def told(items: Sequence[Item], what: str) -> Iterator[Item]:
    """Go through items, with a bar of progress where they are many and somebody watches a terminal."""
    if len(items) < _WORTH_A_BAR or not sys.stderr.isatty():
        yield from items
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn(what), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        yield from bar.track(items)
