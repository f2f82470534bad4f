"""Room on a disk, asked for before a library writes that makes a mess of a full one."""

from __future__ import annotations

import tempfile
from pathlib import Path

_PIECE = 2**20


def require_room(size: int, folder: Path | None = None) -> None:
    """Raise OSError where a folder has no room for a file of so many bytes.

    Parameters
    ----------
    size : int
        [bytes].
    folder : Path, optional
        By default that of the system's temporary files.

    Notes
    -----
    A file of that size is written and taken away again: quotas and limits on a file's size count then as well.
    """
    with tempfile.TemporaryFile(dir=folder) as file:
        for start in range(0, size, _PIECE):
            file.write(bytes(min(_PIECE, size - start)))
        file.flush()
