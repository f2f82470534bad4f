"""A small job in plain texts, written to a folder with whatever a test changes in it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

JOB = """\
format = 1
title = "Small twin"
side = "intake"

[valve]
head_diameter = "40 mm"
stem_diameter = "7 mm"

[seat]
angle = "45 deg"
width = "1.6 mm"
throat_diameter = "35 mm"

[bench]
test_pressure = "7000 Pa"
temperature = "20 degC"
barometer = "100 kPa"
humidity = "40 %"

[gauge]
reads = "upstream-minus-tap"

[stations]
angles = [0, 90, 180, 270]
"""

READINGS = """\
run,lift [mm],station,reading [Pa]
as cast,4,0,3000
as cast,4,90,3100
as cast,4,180,3200
as cast,4,270,3300
"""

MakeJob = Callable[..., Path]


@pytest.fixture
def make_job(tmp_path: Path) -> MakeJob:
    """Return a function that writes a job and returns its folder.

    `changes` replace words of job.toml; every other argument is a file, its dot written `_`, and its
    text, bytes, or None where it is to be missing.
    """

    def make(changes: dict[str, str] | None = None, **files: str | bytes | None) -> Path:
        job = JOB
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
