"""A small job in plain texts, written to a folder with whatever a test changes in it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

READINGS = """\
run,lift [mm],station,reading [Pa]
as cast,4,0,3000
as cast,4,90,3100
as cast,4,180,3200
as cast,4,270,3300
"""

MakeJob = Callable[..., Path]


@pytest.fixture
def make_job(tmp_path: Path, small_job: str) -> MakeJob:
    """Return a function that writes a job and returns its folder.

    `changes` replace words of job.toml; every other argument is a file, its dot written `_`, and its
    text, bytes, or None where it is to be missing.
    """

    def make(changes: dict[str, str] | None = None, **files: str | bytes | None) -> Path:
        job = small_job
        for old, new in (changes or {}).items():
            assert job.count(old) == 1, f"{old!r} is not once in the job"
            job = job.replace(old, new)
        folder = tmp_path / f"job-{len(list(tmp_path.iterdir()))}"
        folder.mkdir()
        for key, content in {"job_toml": job, "readings_csv": READINGS, **files}.items():
            if content is not None:
                name = ".".join(key.rsplit("_", 1))
                (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())
        return folder

    return make
