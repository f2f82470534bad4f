"""Writing files whole or not at all, and never over what a person typed."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TextIO

from portviz.errors import JobError


def write_atomically(path: str | Path, write: Callable[[Path], None], *, overwrite: bool = False) -> Path:
    """Let `write` make a file beside its place, then move it there in one step.

    Parameters
    ----------
    path : str or Path
        The file to be.
    write : callable
        Called with a temporary path of the same ending in the same folder.
    overwrite : bool
        Allow an existing file to be replaced.

    Returns
    -------
    Path

    Raises
    ------
    JobError
        If the file is there already, or its folder can't be written.
    """
    path = Path(path)
    require_free(path, overwrite=overwrite)
    try:
        with tempfile.TemporaryDirectory(dir=path.parent, prefix=".portviz-") as scratch:
            made = Path(scratch) / path.name
            write(made)
            if overwrite:
                made.replace(path)
            else:
                _move_to_free_place(made, path)
    except FileExistsError:
        require_free(path, overwrite=False)
        raise JobError("a link to nothing is there already", file=str(path), mend="Choose another name") from None
    except OSError as error:
        raise JobError(f"the file can't be written: {error.strerror or error}", file=str(path)) from None
    return path


def _move_to_free_place(made: Path, path: Path) -> None:
    """Move a file where none is, and raise FileExistsError where one has appeared meanwhile."""
    try:
        os.link(made, path)
    except FileExistsError:
        raise
    except OSError:
        # Some file systems have no links.
        if os.path.lexists(path):
            raise FileExistsError from None
        made.replace(path)


def write_text(path: str | Path, text: str, *, overwrite: bool = False) -> Path:
    """Write UTF-8 text atomically; see `write_atomically`."""
    return write_atomically(path, lambda made: _plain_write(made, text), overwrite=overwrite)


def write_stream(path: str | Path, write: Callable[[TextIO], None], *, overwrite: bool = False) -> Path:
    """Let `write` fill an open UTF-8 text file piece by piece, atomically; see `write_atomically`."""

    def made(file: Path) -> None:
        with file.open("w", encoding="utf-8", newline="") as out:
            write(out)

    return write_atomically(path, made, overwrite=overwrite)


def _plain_write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="")


def require_free(path: Path, *, overwrite: bool) -> None:
    """Raise JobError where a file may not be written: it is there already, or has no folder."""
    try:
        if path.is_dir():
            raise JobError("this is a folder", file=str(path), expected="the name of a file to write")
        if path.exists() and not overwrite:
            raise JobError(
                "the file is there already",
                file=str(path),
                mend="Choose another name, or add --overwrite to replace it",
            )
        if not path.parent.is_dir():
            raise JobError("its folder does not exist", file=str(path), mend="Make the folder first, or name another")
    except OSError as error:
        raise JobError(f"the file can't be written: {error.strerror or error}", file=str(path)) from None


def copy_folder(source: Path, target: Path) -> list[Path]:
    """Copy a folder's plain files to a new folder, whole or not at all.

    Raises
    ------
    JobError
        If the target is there already or can't be written.
    """
    try:
        if target.exists():
            raise JobError("this is there already", file=str(target), mend="Choose another name, or take it away first")
        if not target.parent.is_dir():
            raise JobError("its parent folder does not exist", file=str(target), mend="Make it first, or name another")
        with tempfile.TemporaryDirectory(dir=target.parent, prefix=".portviz-") as scratch:
            made = Path(scratch) / target.name
            made.mkdir()
            for file in sorted(source.iterdir()):
                if file.is_file() and file.suffix in (".toml", ".csv", ".md"):
                    shutil.copyfile(file, made / file.name)
            made.replace(target)
    except OSError as error:
        raise JobError(f"the folder can't be written: {error.strerror or error}", file=str(target)) from None
    return sorted(target.iterdir())
