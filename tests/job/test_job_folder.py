"""Which files of a folder are read: names in small letters or large, and names that an editor has changed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from portviz.errors import JobError
from portviz.job.read import read_job

MakeJob = Callable[..., Path]
FLOW = "run,lift [mm],flow [l/s]\nas cast,4,20\n"


def renamed(folder: Path, old: str, new: str) -> Path:
    (folder / old).rename(folder / new)
    return folder


@pytest.mark.parametrize("name", ["Readings.CSV", "READINGS.csv", "readings.Csv"])
def test_large_letters_in_the_name_of_a_table(make_job: MakeJob, name: str) -> None:
    job = read_job(renamed(make_job(), "readings.csv", name))
    assert job.readings is not None
    assert job.readings.file == name


@pytest.mark.parametrize("name", ["Job.toml", "JOB.TOML"])
def test_large_letters_in_the_name_of_the_job(make_job: MakeJob, name: str) -> None:
    folder = renamed(make_job(), "job.toml", name)
    assert read_job(folder).title == "Small twin"
    assert read_job(folder / name).folder == folder


@pytest.mark.parametrize(("old", "new"), [("readings.csv", "Readings.csv"), ("job.toml", "Job.toml")])
def test_two_names_that_differ_by_large_letters_alone(make_job: MakeJob, old: str, new: str) -> None:
    folder = make_job()
    (folder / new).write_bytes((folder / old).read_bytes())
    if len(list(folder.iterdir())) == 2:
        return  # This file system knows no such pair.
    message = rf"{new}: two files have this name, but for small and large letters \(got '{old}'\); expected one {old}"
    with pytest.raises(JobError, match=message):
        read_job(folder)


@pytest.mark.parametrize(
    ("proper", "found"),
    [
        ("readings.csv", "readings.txt"),
        ("readings.csv", "readings.csv.txt"),
        ("readings.csv", "Readings.CSV.TXT"),
        ("readings.csv", "readings.csv.csv"),
        ("readings.csv", "readings.tsv"),
        ("flow.csv", "flow.txt"),
        ("cam.csv", "cam.csv.txt"),
        ("job.toml", "job.toml.txt"),
        ("job.toml", "job.txt"),
        ("job.toml", "Job.toml.toml"),
    ],
)
def test_a_file_under_a_wrong_ending_is_named(make_job: MakeJob, proper: str, found: str) -> None:
    folder = make_job(flow_csv=FLOW, cam_csv="crank [deg],lift [mm]\n0,0\n110,9\n220,0\n")
    renamed(folder, proper, found)
    with pytest.raises(JobError) as refused:
        read_job(folder)
    assert str(refused.value) == f"{found}: this file is not called {proper}. Rename it to {proper}."


@pytest.mark.parametrize("found", ["readings.xls", "Readings.ods"])
def test_a_spreadsheet_of_another_kind_is_named(make_job: MakeJob, found: str) -> None:
    folder = renamed(make_job(), "readings.csv", found)
    with pytest.raises(JobError, match=rf"{found}: a spreadsheet of this kind .*Save the sheet as readings\.csv"):
        read_job(folder)


@pytest.mark.parametrize("beside", ["readings.txt", "readings.csv.txt", "job.toml.txt", "flow.png", "notes.txt"])
def test_other_files_beside_the_proper_ones_do_not_matter(make_job: MakeJob, beside: str) -> None:
    folder = make_job()
    (folder / beside).write_text("anything")
    assert read_job(folder).readings is not None
