"""Pictures, with and without OpenGL, and what is said where nothing can be drawn."""

import dataclasses
import os
import subprocess
import sys

import numpy as np
import pytest
from PIL import Image

from portviz.__main__ import main
from portviz.distribution.field import QUANTITIES
from portviz.distribution.reduce import reduce_job
from portviz.errors import DrawingError
from portviz.job.read import read_job
from portviz.scene import display
from portviz.scene.charts import run_chart
from portviz.scene.state import display_limits

CRASH = "import faulthandler, os, signal; faulthandler.disable(); os.kill(os.getpid(), signal.SIGSEGV)"


def let_the_probe(monkeypatch, code):
    """Make the child process run this code instead of drawing, in a copy of this process and in a fresh one."""
    monkeypatch.setattr(display, "drawn_with", lambda: exec(code))
    monkeypatch.setattr(display, "_PROGRAM", code)


def picture(path):
    return np.asarray(Image.open(path).convert("RGB"), dtype=float)


def test_view_writes_a_picture_of_the_size_asked_for(examples, tmp_path, opengl, capsys):
    target = tmp_path / "a.png"
    arguments = ["view", str(examples / "sidecar_intake"), "--picture", str(target), "--size", "700x400"]
    assert main(arguments) == 0
    assert picture(target).shape == (400, 700, 3)
    assert f"Written: {target}" in capsys.readouterr().out
    assert main(arguments) == 1
    assert "is there already" in capsys.readouterr().err
    assert main([*arguments, "--overwrite"]) == 0
    assert [each.name for each in tmp_path.iterdir()] == ["a.png"]


def test_the_strong_side_is_drawn_brighter_where_it_lies(examples, tmp_path, opengl):
    """From the cylinder station 0 is on the right, 180 on the left; the demo is weak at 0."""
    target = tmp_path / "a.png"
    base = ["view", str(examples / "sidecar_intake"), "--picture", str(target), "--size", "700x500", "--camera"]
    assert main([*base, "port", "--lift", "8 mm"]) == 0
    image = picture(target)
    # viridis: weak is violet (blue over green), strong is green.
    greener = image[:, :, 1] - image[:, :, 2]
    saturated = image.max(axis=2) - image.min(axis=2) > 60
    body = slice(0, int(700 * 0.85))  # without the colour bar
    columns = np.arange(700)[body]
    centre = 350
    left = greener[:, body][saturated[:, body] & (columns < centre - 40)]
    right = greener[:, body][saturated[:, body] & (columns > centre + 40) & (columns < centre + 140)]
    assert left.mean() > right.mean() + 20.0


def test_the_picture_changes_with_lift_run_and_field(examples, tmp_path, opengl):
    images = []
    for number, extra in enumerate(
        (["--lift", "3 mm"], ["--lift", "9 mm"], ["--lift", "9 mm", "--run", "wall relieved"], ["--field", "drop"])
    ):
        target = tmp_path / f"{number}.png"
        assert (
            main(["view", str(examples / "sidecar_intake"), "--picture", str(target), "--size", "640x400", *extra]) == 0
        )
        images.append(picture(target))
    for first in range(len(images)):
        for second in range(first):
            assert np.abs(images[first] - images[second]).max() > 30.0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--picture", "a.jpg"], "must end in .png"),
        (["--picture", "a.png", "--size", "12"], "WIDTHxHEIGHT"),
        (["--picture", "a.png", "--size", "99999x10"], "WIDTHxHEIGHT"),
        (["--picture", "a.png", "--field", "speed"], "not one of velocity"),
        (["--picture", "a.png", "--lift", "30 mm"], "lies outside what was measured"),
        (["--picture", "a.png", "--lift", "5"], "has no unit"),
    ],
)
def test_wrong_usage_of_view(examples, tmp_path, monkeypatch, capsys, arguments, words):
    monkeypatch.chdir(tmp_path)
    assert main(["view", str(examples / "sidecar_intake"), *arguments]) == 2
    assert words in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_drawing_process_that_crashes_is_told_with_what_to_install(examples, tmp_path, monkeypatch, capsys):
    let_the_probe(monkeypatch, CRASH)
    target = tmp_path / "a.png"
    assert main(["view", str(examples / "sidecar_intake"), "--picture", str(target)]) == 1
    complaint = capsys.readouterr().err
    assert "OpenGL is missing or broken" in complaint
    assert "apt-get install libgl1" in complaint
    assert not target.exists()


@pytest.mark.parametrize("kind", [display._ForkedProbe, display._StartedProbe])
@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("import time; time.sleep(60)", "did not answer within 0.4 s"),
        (CRASH, "ended with signal 11"),
        ("raise RuntimeError('no')", "ended with code 1"),
    ],
)
def test_whatever_becomes_of_the_drawing_process_is_told(monkeypatch, kind, code, words):
    let_the_probe(monkeypatch, code)
    monkeypatch.setattr(display, "_PROBE_SECONDS", 0.4 if "sleep" in code else 30.0)
    with pytest.raises(DrawingError, match=words):
        assert kind().software


def test_a_fresh_process_that_draws_nothing_is_no_answer(monkeypatch):
    let_the_probe(monkeypatch, "pass")
    with pytest.raises(DrawingError, match="ended with code 0"):
        assert display._StartedProbe().software


def test_the_copied_process_tells_what_it_was_told(monkeypatch):
    """What is drawn with decides between software and hardware."""
    for words, software in (("Mesa llvmpipe (LLVM 15)", True), ("Some graphics card", False)):
        monkeypatch.setattr(display, "drawn_with", lambda words=words: words)
        assert display._ForkedProbe().software is software


@pytest.mark.parametrize("kind", [display._ForkedProbe, display._StartedProbe])
def test_both_ways_of_asking_give_one_answer(opengl, kind):
    assert kind().software is opengl


def test_a_window_without_a_screen_is_refused_with_the_way_out(examples, monkeypatch, capsys):
    monkeypatch.setattr(display, "display_available", lambda: False)
    assert main(["view", str(examples / "sidecar_intake")]) == 1
    assert "--picture FILE.png" in capsys.readouterr().err


def test_demo_writes_its_pictures_where_there_is_no_window(tmp_path, monkeypatch, capsys, opengl):
    monkeypatch.chdir(tmp_path)
    assert main(["demo", "--pictures"]) == 0
    names = {each.name for each in (tmp_path / "portviz-demo").iterdir()}
    assert {"job.toml", "readings.csv", "flow.csv", "cam.csv"} <= names
    assert {"1-as-found-angle-lift.png", "1-as-found-three-quarter.png", "2-wall-relieved-cylinder.png"} <= names
    out = capsys.readouterr().out
    assert "invented" in out
    assert "1-as-found-three-quarter.png" in out
    typed = tmp_path / "portviz-demo" / "readings.csv"
    typed.write_text(typed.read_text(encoding="utf-8").replace("as found", "my own"), encoding="utf-8")
    flow = tmp_path / "portviz-demo" / "flow.csv"
    flow.write_text(flow.read_text(encoding="utf-8").replace("as found", "my own"), encoding="utf-8")
    assert main(["demo", "--pictures"]) == 0
    assert "used as it is" in capsys.readouterr().out
    assert "my own" in typed.read_text(encoding="utf-8")


def test_demo_without_opengl_draws_flat_pictures_and_says_what_to_install(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    let_the_probe(monkeypatch, CRASH)
    assert main(["demo", "--pictures", "--into", "here"]) == 0
    said = capsys.readouterr()
    assert (tmp_path / "here" / "2-wall-relieved-angle-lift.png").stat().st_size > 20_000
    assert not list((tmp_path / "here").glob("*three-quarter*"))
    assert "apt-get install libgl1" in said.err


def test_the_flat_picture_shows_every_measured_point(sidecar):
    figure = run_chart(sidecar, 1)
    points = figure.axes[0].collections[-1].get_offsets()
    groups = sidecar.groups_of(1)
    inside = points[points[:, 0] < 360.0]
    assert len(inside) == sum(len(range(*sidecar.stations_of(each).indices(10**6))) for each in groups)
    # The circle closes: station 0 stands at both ends.
    assert len(points) == len(inside) + len(groups)
    assert set(np.round(points[:, 1], 6)) == {1.0, 2.0, 3.5, 5.0, 6.5, 8.0, 9.5, 11.0}
    assert "m/s" in figure.axes[2].get_ylabel()
    low, high, _ = display_limits(sidecar, QUANTITIES["velocity"])
    assert figure.axes[0].collections[0].get_clim() == (low, high)


def test_the_flat_picture_of_one_lift_is_a_curve_through_its_points(tmp_path, examples):
    text = (examples / "sidecar_intake" / "job.toml").read_text(encoding="utf-8")
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    rows = "".join(f"only,4,{angle},{value}\n" for angle, value in ((0, 200), (90, 310), (210, 260)))
    (tmp_path / "readings.csv").write_text(f"run,lift [mm],station,reading [mmH2O]\n{rows}", encoding="utf-8")
    reduction = reduce_job(read_job(tmp_path))
    axes = run_chart(reduction, 0).axes[0]
    curve, points = axes.lines[0].get_xydata(), axes.collections[0].get_offsets()
    assert sorted(points[:, 0]) == [0.0, 90.0, 210.0, 360.0]
    assert np.interp(points[:, 0], *curve.T) == pytest.approx(points[:, 1], rel=1e-12)
    nothing = run_chart(reduction, 0, "flow-per-degree").axes[0]
    assert "not measured in this run" in nothing.get_title()
    assert not nothing.lines


DEAD_SCREEN = """
import sys
from portviz.__main__ import main
sys.exit(main(sys.argv[1:]))
"""


@pytest.mark.parametrize(("command", "code"), [("view", 1), ("demo", 0)])
def test_a_screen_that_does_not_answer_is_told(examples, tmp_path, opengl, command, code):
    """VTK would draw into a picture that nobody sees; the demo writes its pictures to files instead."""
    where = [str(examples / "sidecar_intake")] if command == "view" else []
    environment = {**os.environ, "DISPLAY": ":987"}
    done = subprocess.run(
        [sys.executable, "-c", DEAD_SCREEN, command, *where],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
        env=environment,
    )
    assert done.returncode == code
    assert "DISPLAY=:987 does not answer" in " ".join((done.stdout + done.stderr).split())
    if command == "demo":
        assert (tmp_path / "portviz-demo" / "1-as-found-three-quarter.png").is_file()


def test_a_demo_whose_opengl_fails_before_its_window_writes_the_flat_pictures(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("DISPLAY", ":0")
    let_the_probe(monkeypatch, CRASH)
    assert main(["demo"]) == 0
    said = capsys.readouterr()
    assert "instead of a window: 3D pictures can't be drawn here" in said.out
    assert (tmp_path / "portviz-demo" / "2-wall-relieved-angle-lift.png").is_file()


def test_runs_with_like_names_have_pictures_of_their_own(sidecar, tmp_path):
    from portviz.scene.charts import write_charts

    twins = dataclasses.replace(sidecar, runs=("a b", "A-b $x_{ y$"))
    assert [each.name for each in write_charts(twins, tmp_path)] == [
        "1-a-b-angle-lift.png",
        "2-a-b--x---y--angle-lift.png",
    ]
