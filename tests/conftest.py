"""Fixtures for all tests, and the rule that nothing may be skipped where PORTVIZ_NO_SKIP is set."""

from __future__ import annotations

import gc
import os
from pathlib import Path

import pytest

from portviz.distribution.reduce import Reduction, reduce_job
from portviz.errors import DrawingError
from portviz.job.read import read_job
from portviz.scene.display import display_available, start_probe

EXAMPLES = Path(__file__).parent.parent / "examples"

SMALL_JOB = """\
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


def pytest_collection_finish(session):
    """Spare the collector what stays anyway: libraries and thousands of tests, walked again and again."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    report = yield
    if report.skipped and os.environ.get("PORTVIZ_NO_SKIP"):
        report.outcome = "failed"
        report.longrepr = f"skipped where no test may be: {report.longrepr}"
    return report


@pytest.fixture(scope="session")
def examples() -> Path:
    return EXAMPLES


@pytest.fixture(scope="session")
def small_job() -> str:
    """job.toml of a small twin with nothing optional in it."""
    return SMALL_JOB


@pytest.fixture(scope="session")
def sidecar() -> Reduction:
    return reduce_job(read_job(EXAMPLES / "sidecar_intake"))


@pytest.fixture(scope="session")
def tractor() -> Reduction:
    return reduce_job(read_job(EXAMPLES / "tractor_exhaust"))


@pytest.fixture(scope="session")
def opengl() -> bool:
    """True where OpenGL runs in software; skips where it is missing."""
    try:
        return start_probe(off_screen=True).software
    except DrawingError as error:
        pytest.skip(str(error))


@pytest.fixture
def screen(opengl: bool) -> bool:
    """As `opengl`, and there is a screen to open windows on."""
    if not display_available():
        pytest.skip("there is no screen (DISPLAY is not set)")
    return opengl
