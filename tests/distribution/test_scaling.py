"""A hundred thousand readings: time against the plain reading of the same file, and growth with their number.

Reading a job, reducing it, looking for what to warn of and summarising it with uncertainties, over what the standard
library's csv module takes to split the same file into rows, in the same run: a ratio that says the same on a fast and
a slow computer. Processor time, so that what else the computer does counts for nothing; the best of several, as
anything but the work itself can only add to it.
"""

from __future__ import annotations

import csv
import random
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from portviz.distribution.notes import reduction_warnings
from portviz.distribution.reduce import reduce_job
from portviz.distribution.uncertainty import reduction_uncertainty
from portviz.job.read import read_job
from portviz.report.machine import lift_rows, summary_document

STATIONS = 12
#: Runs, lifts, repeats: a quarter and the whole of about 100,000 readings, in two shapes.
SHAPES = {
    "few runs, many repeats": ((5, 20, 21), (5, 20, 84)),
    "many runs": ((104, 20, 1), (417, 20, 1)),
}
shape = pytest.mark.parametrize("name", list(SHAPES))
TIMES = 5
#: The goal: no more than five times the plain reading of the file.
MOST_RATIO = 5.0
#: Four times the rows take four times as long; the rest is for the growing heap, and for the file's fixed part.
MOST_GROWTH = 6.0


@pytest.fixture(scope="module")
def folders(examples: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[Path, Path]]:
    """For each shape the folders of a quarter of the readings and of all of them."""
    return {
        name: (
            write_job(examples, tmp_path_factory.mktemp("quarter"), *quarter),
            write_job(examples, tmp_path_factory.mktemp("whole"), *whole),
        )
        for name, (quarter, whole) in SHAPES.items()
    }


def write_job(examples: Path, folder: Path, runs: int, lifts: int, repeats: int) -> Path:
    shutil.copy(examples / "sidecar_intake" / "job.toml", folder)
    dice = random.Random(1)
    readings, flow = ["run,lift [mm],station,reading [mmH2O]"], ["run,lift [mm],flow [l/s]"]
    for run in range(runs):
        for level in range(lifts):
            lift = 0.5 * (level + 1)
            flow.append(f"run {run},{lift},{6.5 * lift:.2f}")
            readings += [
                f"run {run},{lift},{30 * station},{dice.uniform(200.0, 600.0):.1f}"
                for station in range(STATIONS)
                for _ in range(repeats)
            ]
    (folder / "readings.csv").write_text("\n".join(readings) + "\n", encoding="utf-8")
    (folder / "flow.csv").write_text("\n".join(flow) + "\n", encoding="utf-8")
    return folder


def summary(folder: Path) -> int:
    """What `summary` prints of each lift: read, reduced, its uncertainties found, laid out in rows."""
    reduction = reduce_job(read_job(folder))
    assert isinstance(reduction_warnings(reduction), list)
    rows = lift_rows(reduction, reduction_uncertainty(reduction))
    assert len(rows) == len(reduction.starts)
    return int(reduction.stations.repeats.sum())


def whole_way(folder: Path) -> int:
    """The same and the document with a row of twenty numbers a station."""
    reduction = reduce_job(read_job(folder))
    document = summary_document(reduction, list(range(len(reduction.runs))), reduction_warnings(reduction))
    return sum(tap["repeats"] for run in document["runs"] for lift in run["lifts"] for tap in lift["stations"])


def reading_as_rows(folder: Path) -> int:
    """The csv module's own way to a row with names a station."""
    with (folder / "readings.csv").open(encoding="utf-8", newline="") as file:
        return len(list(csv.DictReader(file)))


def plain_reading(folder: Path) -> int:
    with (folder / "readings.csv").open(encoding="utf-8", newline="") as file:
        return len(list(csv.reader(file))) - 1


def best_time(work: Callable[[Path], int], folder: Path, count: int) -> float:
    """Least processor time of several rounds [s]; each must deal with all readings.

    Measured in a process of its own, as a command is one: what other tests left in memory does not matter.
    """
    command = [sys.executable, __file__, work.__name__, str(folder), str(count)]
    return float(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def measure(work: Callable[[Path], int], folder: Path, count: int) -> float:
    times = []
    for _ in range(TIMES):
        start = time.process_time()
        done = work(folder)
        times.append(time.process_time() - start)
        assert done == count
    return min(times)


def number_of_readings(runs: int, lifts: int, repeats: int) -> int:
    return runs * lifts * repeats * STATIONS


@shape
def test_a_hundred_thousand_readings_against_plain_reading(
    name: str, folders: dict[str, tuple[Path, Path]], capsys: pytest.CaptureFixture[str]
) -> None:
    count = number_of_readings(*SHAPES[name][1])
    assert count >= 100_000
    ours, plain = (best_time(work, folders[name][1], count) for work in (summary, plain_reading))
    with capsys.disabled():
        print(f"\n{name}: {count} readings in {ours:.3f} s, plain reading {plain:.3f} s, ratio {ours / plain:.2f}")
    assert ours / plain < MOST_RATIO


@shape
def test_the_whole_document_against_reading_as_rows(
    name: str, folders: dict[str, tuple[Path, Path]], capsys: pytest.CaptureFixture[str]
) -> None:
    count = number_of_readings(*SHAPES[name][1])
    ours, rows = (best_time(work, folders[name][1], count) for work in (whole_way, reading_as_rows))
    with capsys.disabled():
        print(f"\n{name}: document {ours:.3f} s, csv.DictReader {rows:.3f} s, ratio {ours / rows:.2f}")
    assert ours / rows < MOST_RATIO


@shape
def test_time_grows_with_the_readings_and_no_faster(
    name: str, folders: dict[str, tuple[Path, Path]], capsys: pytest.CaptureFixture[str]
) -> None:
    quarter, whole = (
        best_time(whole_way, folder, number_of_readings(*size))
        for folder, size in zip(folders[name], SHAPES[name], strict=True)
    )
    with capsys.disabled():
        print(f"\n{name}: {quarter:.3f} s for a quarter, {whole:.3f} s for all, {whole / quarter:.2f} times as long")
    assert whole / quarter < MOST_GROWTH


if __name__ == "__main__":
    print(
        measure(
            {each.__name__: each for each in (summary, whole_way, plain_reading, reading_as_rows)}[sys.argv[1]],
            Path(sys.argv[2]),
            int(sys.argv[3]),
        )
    )
