"""Small jobs built in memory, without files."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from portviz.air import RoomAir
from portviz.distribution.areas import job_profiles
from portviz.distribution.reduce import Reduction, reduce_job
from portviz.job.model import (
    Bench,
    BenchFlow,
    DisplayUnits,
    Gauge,
    Job,
    Readings,
    Seat,
    Stations,
    Valve,
)

#: Run, lift [m], station [deg], reading [Pa or m/s].
Row = tuple[str, float, float, float]

VALVE = Valve(
    head_diameter=40e-3,
    stem_diameter=7e-3,
    face_angle=math.radians(45.0),
    face_width=2.5e-3,
    margin=1e-3,
    back_cut=None,
    underhead_angle=math.radians(15.0),
    fillet_radius=0.0,
)
SEAT = Seat(
    angle=math.radians(45.0),
    width=2e-3,
    outer_diameter=40e-3,
    top_cut=None,
    bottom_cuts=(),
    throat_diameter=35e-3,
)


def job_of(
    rows: Sequence[Row],
    *,
    side: str = "intake",
    reads: str = "upstream-minus-tap",
    coefficient: float = 1.0,
    test_pressure: float = 7000.0,
    flow: Mapping[tuple[str, float], tuple[float, float]] | None = None,
    stations: Sequence[float] | None = None,
) -> Job:
    """Return a job of these rows; `flow` maps run and lift to flow [m3/s] and test pressure [Pa] (NaN: the job's)."""
    angles = list(dict.fromkeys(row[2] for row in rows)) if stations is None else list(stations)
    runs = list(dict.fromkeys(row[0] for row in rows))
    keys = sorted({(runs.index(row[0]), row[1]) for row in rows})
    readings = Readings(
        runs=tuple(runs),
        group=np.array([keys.index((runs.index(row[0]), row[1])) for row in rows]),
        station=np.array([angles.index(row[2]) for row in rows]),
        value=np.array([row[3] for row in rows], dtype=float),
        line=np.arange(2, len(rows) + 2),
        group_run=np.array([run for run, _ in keys]),
        group_lift=np.array([lift for _, lift in keys]),
        file="readings.csv",
    )
    bench_flow = None
    if flow is not None:
        cells = np.array([flow.get((runs[run], lift), (math.nan, math.nan)) for run, lift in keys])
        lines = np.arange(2, len(cells) + 2)
        bench_flow = BenchFlow(cells[:, 0], cells[:, 1], lines, "flow.csv")
    return Job(
        folder=Path("job"),
        title="Invented",
        side=side,
        valve=VALVE,
        seat=SEAT,
        bench=Bench(test_pressure, RoomAir(99_800.0, 294.15, 0.45)),
        gauge=Gauge(reads, coefficient, None),
        stations=Stations(np.array(angles, dtype=float), "toward the bore wall"),
        units=DisplayUnits("mm", "Pa", "l/s", "m/s"),
        readings=readings,
        flow=bench_flow,
    )


@pytest.fixture(scope="session")
def make_job() -> Callable[..., Job]:
    """The function `job_of`, for tests, which can't import it."""
    return job_of


@pytest.fixture(scope="session")
def reduced() -> Callable[..., Reduction]:
    """As `make_job`, and reduced; one profile serves all of these jobs."""
    profiles = job_profiles(job_of([("a", 1e-3, angle, 1000.0) for angle in (0.0, 120.0, 240.0)]))

    def reduce(rows: Sequence[Row], **words: Any) -> Reduction:
        return reduce_job(job_of(rows, **words), profiles)

    return reduce
