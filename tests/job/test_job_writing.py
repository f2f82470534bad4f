"""Files are written whole or not at all, and never over what a person typed."""

from __future__ import annotations

import errno
import tempfile
from pathlib import Path

import pytest

from portviz.errors import JobError
from portviz.job.demo import demo_folder, template_folder
from portviz.job.write import copy_folder, write_atomically, write_text


def content(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() if path.is_file() else b"/" for path in folder.rglob("*")}


def test_text_is_utf8_with_its_line_ends_as_they_are(tmp_path: Path) -> None:
    path = write_text(tmp_path / "a.csv", "angle [°]\r\n1\n")
    assert path.read_bytes() == "angle [°]\r\n1\n".encode()
    assert list(content(tmp_path)) == ["a.csv"]


def test_existing_file_is_kept_unless_told(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(b"typed by hand")
    with pytest.raises(JobError, match=r"a\.csv: the file is there already\. .*--overwrite"):
        write_text(path, "new")
    assert content(tmp_path) == {"a.csv": b"typed by hand"}
    write_text(path, "new", overwrite=True)
    assert content(tmp_path) == {"a.csv": b"new"}


def test_a_folder_is_no_file_even_when_told(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    with pytest.raises(JobError, match=r"a: this is a folder; expected the name of a file"):
        write_text(tmp_path / "a", "new", overwrite=True)
    assert content(tmp_path) == {"a": b"/"}


def test_folder_of_the_file_must_be_there(tmp_path: Path) -> None:
    with pytest.raises(JobError, match=r"its folder does not exist\. Make the folder first"):
        write_text(tmp_path / "no" / "a.csv", "new")
    assert content(tmp_path) == {}


@pytest.mark.parametrize("number", [errno.EACCES, errno.EROFS, errno.ENOSPC])
def test_folder_that_cannot_be_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int) -> None:
    def refuse(*args: object, **words: object) -> str:
        raise OSError(number, "refused here")

    monkeypatch.setattr(tempfile, "mkdtemp", refuse)
    with pytest.raises(JobError, match=r"a\.csv: the file can't be written: refused here"):
        write_text(tmp_path / "a.csv", "new")
    with pytest.raises(JobError, match=r"job: the folder can't be written: refused here"):
        copy_folder(template_folder(), tmp_path / "job")
    assert content(tmp_path) == {}


def test_nothing_half_made_is_left_where_the_disk_is_full(tmp_path: Path) -> None:
    def fill(made: Path) -> None:
        made.write_bytes(b"half")
        raise OSError(errno.ENOSPC, "No space left on device")

    old = tmp_path / "old.png"
    old.write_bytes(b"whole")
    for path, overwrite in ((old, True), (tmp_path / "new.png", False)):
        with pytest.raises(JobError, match="the file can't be written: No space left on device"):
            write_atomically(path, fill, overwrite=overwrite)
    assert content(tmp_path) == {"old.png": b"whole"}


def test_nothing_half_made_is_left_by_an_interrupt(tmp_path: Path) -> None:
    def stop(made: Path) -> None:
        made.write_bytes(b"half")
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_atomically(tmp_path / "a.png", stop)
    assert content(tmp_path) == {}


def test_the_maker_is_given_the_ending_of_the_file(tmp_path: Path) -> None:
    names = []

    def make(made: Path) -> None:
        names.append((made.suffix, made.exists()))
        made.write_bytes(b"1")

    write_atomically(tmp_path / "a.vtp", make)
    assert names == [(".vtp", False)]


@pytest.mark.parametrize("source", [demo_folder(), template_folder()], ids=["demo", "template"])
def test_a_copied_folder_has_the_plain_files(tmp_path: Path, source: Path) -> None:
    files = copy_folder(source, tmp_path / "job")
    assert {"job.toml", "readings.csv", "flow.csv"} <= {file.name for file in files}
    for file in files:
        assert file.read_bytes() == (source / file.name).read_bytes()
    assert [path.name for path in tmp_path.iterdir()] == ["job"]


def test_what_is_there_is_never_copied_over(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"mine")
    (tmp_path / "empty").mkdir()
    for name in ("file", "empty"):
        with pytest.raises(JobError, match=f"{name}: this is there already"):
            copy_folder(template_folder(), tmp_path / name)
    with pytest.raises(JobError, match="its parent folder does not exist"):
        copy_folder(template_folder(), tmp_path / "no" / "job")
    assert content(tmp_path) == {"file": b"mine", "empty": b"/"}
