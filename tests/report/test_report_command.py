"""`report` on the command line: what it writes and refuses, and jobs that measured little."""

from __future__ import annotations

import io
import os
import re
import signal
import sys
from pathlib import Path

import pypdf
import pytest

from portviz.__main__ import main
from portviz.distribution.reduce import reduce_job
from portviz.job.read import read_job
from portviz.report import page_pictures
from portviz.report.build import build_report
from portviz.report.document import document_bytes
from portviz.report.page import page_text

DATE = "2026-11-25"
STATIONS = (0, 90, 180, 270)
#: Jobs that measured little: readings (run, lift, station, reading), flow (run, lift, flow), and more of job.toml.
LITTLE = {
    "one lift of one run": ([("only", 5, at, 4000 + at) for at in STATIONS], [], ""),
    "one lift of two runs": ([(run, 5, at, 4000 + at) for run in ("a", "b") for at in STATIONS], [], ""),
    "flow at one lift": (
        [("only", lift, at, 4000 + at) for lift in (2, 5) for at in STATIONS],
        [("only", 2, ""), ("only", 5, 30.0)],
        "",
    ),
    "the valve closed alone": ([("only", 0, at, at) for at in STATIONS], [("only", 0, 0.4)], ""),
    "closed and open": (
        [("only", lift, at, 4000 * (lift > 0)) for lift in (0, 5) for at in STATIONS],
        [("only", 0, 0.4), ("only", 5, 30.0)],
        "",
    ),
    "runs without a lift in common": (
        [(run, lift, at, 4000 + at) for run, lift in (("a", 3), ("b", 5)) for at in STATIONS],
        [],
        "",
    ),
    "air that flows back": ([("only", 5, at, 4000 if at else -300) for at in STATIONS], [], ""),
    "no air at all": ([("only", lift, at, 0) for lift in (2, 5) for at in STATIONS], [], ""),
    "a cam and no flow": (
        [("only", lift, at, 4000 + at) for lift in (2, 5) for at in STATIONS],
        [],
        '\n[cam]\npeak_lift = "9 mm"\npeak_at = "110 deg"\ndurations = [{ lift = "0 mm", angle = "260 deg" }]\n',
    ),
    "an accuracy and one lift": ([("only", 5, at, 4000 + at) for at in STATIONS], [], None),
}

#: Those that are printed too, which takes longer.
PRINTED = ("one lift of one run", "the valve closed alone", "no air at all", "a cam and no flow")


def job_of(folder: Path, small_job: str, name: str) -> Path:
    readings, flow, more = LITTLE[name]
    text = small_job.replace("[stations]", 'accuracy = "20 Pa"\n\n[stations]') if more is None else small_job + more
    (folder / "job.toml").write_text(text, encoding="utf-8")
    rows = ["run,lift [mm],station,reading [Pa]", *(",".join(map(str, row)) for row in readings)]
    (folder / "readings.csv").write_text("\n".join(rows), encoding="utf-8")
    if flow:
        rows = ["run,lift [mm],flow [l/s]", *(",".join(map(str, row)) for row in flow)]
        (folder / "flow.csv").write_text("\n".join(rows), encoding="utf-8")
    return folder


@pytest.mark.parametrize("name", LITTLE)
def test_where_little_was_measured_the_report_says_less_and_does_not_break(small_job, tmp_path, name):
    report = build_report(reduce_job(read_job(job_of(tmp_path, small_job, name))), date=DATE)
    page = page_text(report, picture=None)
    said = [re.sub(r"<script.*?</script>|<style.*?</style>", "", page, flags=re.DOTALL)]
    if name in PRINTED:
        pages = pypdf.PdfReader(io.BytesIO(document_bytes(report, picture=None))).pages
        said.append("\n".join(each.extract_text() for each in pages))
    for text in said:
        assert report.title in text
        assert "makers" in text
        assert not re.search(r"\b(nan|NaN|inf)\b|>None<", text)
    # Nothing is claimed of what the data do not show.
    if name != "an accuracy and one lift":
        assert {each.topic for each in report.findings} <= {"limit", "not shown", "distrust"}


def test_it_writes_and_names_what_was_written(examples, tmp_path, capsys):
    out = tmp_path / "report.pdf"
    job = str(examples / "tractor_exhaust")
    assert main(["report", job, str(out), "--run", "bowl opened", "--customer", "A. & B. <i>", "--date", DATE]) == 0
    assert f"Written: {out}" in capsys.readouterr().out
    text = "\n".join(each.extract_text() for each in pypdf.PdfReader(out).pages)
    assert "A. & B. <i>" in text
    assert "bowl opened" in text
    assert "stock casting" not in text
    assert main(["report", job, str(out)]) == 1
    assert "add --overwrite to replace it" in capsys.readouterr().err
    assert main(["report", job, str(out), "--overwrite", "--date", DATE]) == 0
    assert [each.name for each in tmp_path.iterdir()] == ["report.pdf"]


def test_the_command_line_goes_before_the_jobs_words_and_empty_takes_them_away(small_job, tmp_path, capsys):
    folder = job_of(tmp_path, small_job, "one lift of one run")
    with (folder / "job.toml").open("a", encoding="utf-8") as file:
        file.write('\n[shop]\nname = "Valve Lane"\nlogo = "none.png"\n[customer]\nname = "N. N."\nhead = "twin"\n')
    out = tmp_path / "report.pdf"
    job = [str(folder), str(out), "--date", DATE, "--overwrite"]
    assert main(["report", *job]) == 1
    assert "the logo is not there" in capsys.readouterr().err
    assert main(["report", *job, "--customer", "", "--head", "single", "--logo", ""]) == 0
    text = pypdf.PdfReader(out).pages[0].extract_text()
    assert ("Valve Lane" in text, "N. N." in text, "twin" in text.replace("Small twin", "")) == (True, False, False)
    assert "single" in text


def test_without_opengl_the_page_is_written_and_it_is_said_what_it_lacks(small_job, tmp_path, capsys, monkeypatch):
    """VTK without OpenGL ends the process that draws."""
    monkeypatch.setattr(page_pictures, "draw_runs", lambda *args, **options: os.kill(os.getpid(), signal.SIGKILL))
    monkeypatch.setattr(page_pictures.platform, "system", lambda: "Linux")
    out = tmp_path / "page.html"
    job = str(job_of(tmp_path, small_job, "one lift of one run"))
    assert main(["report", job, str(out), "--date", DATE]) == 0
    said = capsys.readouterr()
    assert said.out == f"Written: {out}\n"
    assert "warning: the report has no pictures of the valve in three dimensions" in said.err
    assert "apt-get install libgl1" in said.err
    page = out.read_text(encoding="utf-8")
    assert "No picture in three dimensions could be drawn" in page
    assert "Valve and seat in section" in page


def test_with_opengl_the_page_has_a_picture_and_nothing_is_said_of_it(small_job, tmp_path, capsys, opengl):
    out = tmp_path / "page.html"
    job = str(job_of(tmp_path, small_job, "one lift of two runs"))
    assert main(["report", job, str(out), "--date", DATE, "--run", "a", "--against", "b"]) == 0
    assert "pictures" not in capsys.readouterr().err
    assert out.read_text(encoding="utf-8").count("Valve and head cut open, curtain coloured by velocity") == 2


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["out.docx"], 2, "must end in .html or .pdf"),
        (["out.htm"], 2, "Did you mean .html?"),
        (["out.pdf", "--date", "25.11.2026"], 2, "write year-month-day"),
        (["out.pdf", "--run", "as fund"], 2, "Did you mean 'as found'?"),
        (["out.pdf", "--against", "before"], 2, "against: there is no run 'before'"),
        (["out.pdf", "--shop", "x" * 201], 2, "shop: 201 letters are too many"),
        (["out.pdf", "--logo", "none.png"], 1, "the logo is not there"),
        (["out.pdf", "--designs", "none.toml"], 1, "none.toml"),
        (["none/out.pdf"], 1, "its folder does not exist"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(
    examples, tmp_path, capsys, monkeypatch, arguments, code, words
):
    monkeypatch.chdir(tmp_path)
    assert main(["report", str(examples / "sidecar_intake"), *arguments]) == code
    said = capsys.readouterr()
    assert words in said.err
    assert not said.out
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(("ending", "library"), [(".pdf", "reportlab"), (".html", "jinja2")])
def test_a_missing_library_is_told_with_what_to_install(examples, tmp_path, capsys, monkeypatch, ending, library):
    monkeypatch.setitem(sys.modules, library, None)
    assert main(["report", str(examples / "sidecar_intake"), str(tmp_path / f"out{ending}")]) == 2
    err = capsys.readouterr().err
    assert library in err
    assert '".[report]"' in err


def test_the_picture_is_that_of_the_run_asked_for(examples, tmp_path, opengl):
    """Of each run alone there is one picture, and not the same."""
    job = str(examples / "sidecar_intake")
    pictures = []
    for number, arguments in enumerate((["--run", "wall relieved"], ["--run", "as found"])):
        out = tmp_path / f"{number}.html"
        assert main(["report", job, str(out), "--date", DATE, *arguments]) == 0
        page = out.read_text(encoding="utf-8")
        pictures.append(re.findall(r'<img[^>]* src="(data:image/png;base64,[^"]+)"', page))
    assert [len(each) for each in pictures] == [1, 1]
    assert pictures[0] != pictures[1]
