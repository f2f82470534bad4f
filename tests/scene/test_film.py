"""The film of the valve's event: when it shows what, what it says, and the files read back."""

import dataclasses
import itertools
import re
import shutil
import signal
import subprocess
import sys
import time

import numpy as np
import pytest
from PIL import Image

from portviz.__main__ import main
from portviz.distribution.cam_event import CamEvent, cam_event
from portviz.errors import JobError, UsageError
from portviz.job.model import Engine
from portviz.scene import film
from portviz.scene.encode import frame_seconds, palette_of
from portviz.scene.event_words import slowness_text
from portviz.scene.film import FilmPlan, close, drawn, film_plan, film_scenes
from portviz.scene.state import display_limits

#: A cam of two straight flanks, whose lift anybody can tell: 200 deg open from 300, 10 mm at 380.
TENT = CamEvent(np.array([300.0, 380.0, 500.0]), np.array([0.0, 10e-3, 0.0]), assumed=False)
RPM = np.pi / 30.0


def tent_lift(crank):
    return 10e-3 * np.where(crank < 380.0, (crank - 300.0) / 80.0, (500.0 - crank) / 120.0)


def with_engine(job, speed):
    return dataclasses.replace(job, engine=Engine(bore=0.08, speed=speed))


@pytest.fixture
def scenes(sidecar, opengl):
    """Make film scenes of the tent, and close them in the end."""
    made = []

    def make(*runs, size=(640, 400), camera="three-quarter", event=TENT, field="velocity", reduction=sidecar):
        made.extend(new := film_scenes(reduction, list(runs or (0,)), field, camera, FilmPlan(event, 40, 0.1), size))
        return new

    yield make
    close(made)


# When a film shows what


@pytest.mark.parametrize("ending", [".gif", ".webp", ".mp4"])
@pytest.mark.parametrize(("seconds", "rate"), [(6.0, 25.0), (4.0, 30.0), (0.7, 24.0), (10.0, 7.0)])
def test_equal_steps_of_crank_in_equal_times_from_opening_to_closing_and_round(sidecar, ending, seconds, rate):
    plan = film_plan(sidecar.job, TENT, ending, seconds, None, rate)
    crank = plan.crank_deg
    assert len(crank) == plan.frames
    assert crank[0] == 300.0
    assert np.diff(crank) == pytest.approx(200.0 / plan.frames, rel=1e-12)
    assert crank[-1] + 200.0 / plan.frames == pytest.approx(500.0, rel=1e-12)
    assert TENT.lift_at(crank) == pytest.approx(tent_lift(crank), abs=1e-15)
    # No frame is longer or shorter than the others, so the whole is off by half a frame at most.
    assert plan.seconds == pytest.approx(seconds, abs=0.5 * plan.frame_seconds + 1e-12)


def test_a_frame_lasts_what_its_kind_of_file_can_state():
    """GIF counts in 1/100 s (GIF89a specification, graphic control extension), WebP in 1/1000 s (its container's)."""
    assert frame_seconds(".gif", 25.0) == 0.04
    assert frame_seconds(".gif", 30.0) == 0.03
    assert frame_seconds(".webp", 30.0) == 0.033
    assert frame_seconds(".mp4", 30.0) == 1.0 / 30.0


def test_slow_is_told_by_the_engine(sidecar):
    """One degree takes 1 / (6 n) s at n revolutions a minute, since a revolution of 360 deg takes 60 / n s."""
    job = with_engine(sidecar.job, 5000.0 * RPM)
    plan = film_plan(job, TENT, ".mp4", None, 600.0, 25.0)
    assert plan.seconds == pytest.approx(600.0 * 200.0 / (6.0 * 5000.0), abs=0.02)
    assert slowness_text(plan.seconds, TENT, 5000.0 * RPM) == "600 times slower than at 5000 rpm"
    assert slowness_text(2.8, CamEvent(np.array([0.0, 130.0, 260.0]), TENT.lift, False), 6500.0 * RPM) == (
        "420 times slower than at 6500 rpm"
    )
    assert slowness_text(6.0, TENT, None) is None


@pytest.mark.parametrize("engine", [None, Engine(bore=0.08)])
def test_slow_without_an_engines_speed_says_so(sidecar, engine):
    job = dataclasses.replace(sidecar.job, engine=engine)
    with pytest.raises(JobError, match=r"job\.toml, engine\.speed: slow: .*6500 rpm.*--seconds"):
        film_plan(job, TENT, ".gif", None, 500.0, 25.0)


def test_slow_beyond_what_a_film_takes_names_what_fits(sidecar):
    job = with_engine(sidecar.job, 5000.0 * RPM)
    with pytest.raises(UsageError, match=r"slow: 3 times .* 5000 rpm .* takes 0\.02 s.* 75 to 18000 times"):
        film_plan(job, TENT, ".gif", None, 3.0, 25.0)
    for fits in (75.0, 18000.0):
        film_plan(job, TENT, ".gif", None, fits, 25.0)


# What it shows


def test_at_each_frame_the_valve_and_the_mark_stand_where_the_cam_has_them(scenes):
    (scene,) = scenes()
    plan = FilmPlan(TENT, 40, 0.1)
    low, high = 1e-3, 11e-3
    heights, places = [], []
    for crank in plan.crank_deg.tolist():
        scene.move(crank)
        lift = float(tent_lift(crank))
        assert scene.state.lift == pytest.approx(lift, abs=1e-15)
        assert scene.valve.GetPosition()[2] == pytest.approx(-1e3 * lift, abs=1e-9)
        grey = np.isnan(scene.curtain["field"])
        assert grey.all() if not low - 1e-9 < lift < high else not grey.any()
        heights.append(lift)
        places.append(np.asarray(scene.curve.meshes["mark"].points)[:, :2].mean(axis=0))
    across, up = np.array(places).T
    frame = scene.curve.frame
    assert across == pytest.approx(frame.left + frame.width * (plan.crank_deg - 300.0) / 200.0, abs=0.01)
    assert up == pytest.approx(frame.bottom + frame.height * np.array(heights) / 10e-3, abs=0.01)


def test_words_are_steady_but_for_crank_and_lift(scenes):
    (scene,) = scenes()
    said = []
    for crank in FilmPlan(TENT, 40, 0.1).crank_deg.tolist():
        scene.move(crank)
        said.append((scene.words.input, scene.legend.input, scene.footnote.input, scene.dial.caption.input))
        assert f"crank {crank:.0f}°" in scene.words.input
        assert f"{1e3 * float(tent_lift(crank)):.2f} mm" in scene.words.input
    heads, *others = zip(*said, strict=True)
    assert len({re.sub(r"[\d\u2007]", "#", head) for head in heads}) == 1
    assert [len(set(each)) for each in others] == [1, 1, 1]
    assert "grey: not measured below 1.00 mm" in others[1][0]
    assert "above" not in others[1][0]
    assert "not the engine's" in others[1][0]


def test_grey_is_told_below_and_above_the_measured_lifts(scenes):
    higher = dataclasses.replace(TENT, lift=TENT.lift * 1.2)
    (scene,) = scenes(event=higher)
    assert "grey: not measured below 1.00 mm and above 11.00 mm" in scene.footnote.input
    scene.move(380.0)
    assert np.isnan(scene.curtain["field"]).all()


def test_neither_balls_nor_dark_arrows_flash_at_measured_lifts(scenes):
    (scene,) = scenes()
    scene.move(300.0 + 80.0 * 0.8)  # 8 mm, which was measured
    assert scene.state.group is not None
    for mesh in (scene.markers, scene.jets, scene.dial.dots):
        assert np.ptp(np.asarray(mesh.points).reshape(12, -1, 3), axis=1).max() == 0.0
    assert (np.ptp(np.asarray(scene.inferred_jets.points).reshape(12, -1, 3), axis=1).max(axis=1) > 0.1).all()


def test_the_slow_motion_and_an_assumed_curve_are_told(sidecar, opengl):
    job = with_engine(sidecar.job, 6500.0 * RPM)
    reduction = dataclasses.replace(sidecar, job=job)
    plan = FilmPlan(dataclasses.replace(TENT, assumed=True), 150, 0.04)
    scenes = film_scenes(reduction, [0], "velocity", "three-quarter", plan, (640, 400))
    try:
        # 200 deg at 6500 rpm take 200 / 39000 s; 6 s are 1170 times that.
        assert "1200 times slower than at 6500 rpm" in scenes[0].words.input
        assert "assumed from a cam card" in scenes[0].curve._texts["peak"].input
    finally:
        close(scenes)


def test_two_runs_go_in_step_with_one_scale_of_colours(scenes, sidecar):
    both = scenes(0, 1)
    frame = drawn(both, 380.0)
    assert frame.shape == (400, 1280, 3)
    assert [scene.state.run for scene in both] == [0, 1]
    assert both[0].state.lift == both[1].state.lift == 10e-3
    limits = display_limits(sidecar, both[0].state.what)
    for scene in both:
        assert tuple(scene.curtain_actor.mapper.scalar_range) == (limits.low, limits.high)
    left, right = frame[:, :639].astype(int), frame[:, 641:].astype(int)
    assert (np.abs(left - right[:, :639]).max(axis=2) > 8).mean() > 0.005


def test_frames_differ_where_the_lift_does_and_a_film_closes_its_circle(scenes):
    (scene,) = scenes()
    shut, half, again = (drawn([scene], crank).astype(int) for crank in (300.0, 350.0, 500.0))
    body = np.s_[80:300, 200:520]
    assert np.abs(shut[body] - half[body]).max() > 30
    assert np.abs(shut[body] - again[body]).max() == 0


@pytest.mark.parametrize("size", [(640, 400), (960, 600), (1280, 800)])
@pytest.mark.parametrize("camera", ["three-quarter", "cylinder", "port", "section"])
@pytest.mark.parametrize("assumed", [False, True])
def test_no_words_overlap_or_are_cut(scenes, size, camera, assumed):
    (scene,) = scenes(size=size, camera=camera, event=dataclasses.replace(TENT, assumed=assumed))
    texts = [scene.words, scene.legend, scene.footnote, scene.dial.caption, *scene.curve._texts.values()]
    for crank in (300.0, 340.0, 380.0, 450.0):
        drawn([scene], crank)
        boxes = []
        for text in (*texts, *(label for _, label in scene._labels if label.GetVisibility())):
            corners = [0.0] * 4
            text.GetBoundingBox(scene.plotter.renderer, corners)
            at = text.GetPositionCoordinate().GetComputedViewportValue(scene.plotter.renderer)
            boxes.append((corners[0] + at[0], corners[1] + at[0], corners[2] + at[1], corners[3] + at[1]))
        for left, right, low, high in boxes:
            assert left >= 0
            assert right < size[0]
            assert low >= 0
            assert high < size[1]
        for one, other in itertools.combinations(boxes[: len(texts)], 2):
            apart = one[1] < other[0] or other[1] < one[0] or one[3] < other[2] or other[3] < one[2]
            assert apart, (one, other)
        for words, label in itertools.product(boxes[: len(texts)], boxes[len(texts) :]):
            apart = words[1] < label[0] or label[1] < words[0] or words[3] < label[2] or label[3] < words[2]
            assert apart, (words, label)


def box_of(text, renderer):
    corners = [0.0] * 4
    text.GetBoundingBox(renderer, corners)
    at = text.GetPositionCoordinate().GetComputedViewportValue(renderer)
    return corners[0] + at[0], corners[1] + at[0], corners[2] + at[1], corners[3] + at[1]


def test_a_film_of_two_tells_each_runs_mean_flow_and_how_they_differ(scenes, sidecar):
    """The tent is as long at each lift as at any other: its mean flow is the mean over the lift, here by scipy.

    PCHIP (Fritsch and Carlson 1980) is another cubic that keeps the shape; the two agree to a part of a percent.
    """
    interpolate = pytest.importorskip("scipy.interpolate")
    means = []
    for run in (0, 1):
        groups = sidecar.groups_of(run)
        part = slice(groups.start, groups.stop)
        lift, flow = np.append(0.0, sidecar.lift[part]), np.append(0.0, sidecar.bench_flow[part])
        means.append(float(interpolate.PchipInterpolator(lift, flow).integrate(0.0, 10e-3)) / 10e-3)
    both = scenes(0, 1)
    said = []
    for crank in (300.0, 350.0, 450.0):
        drawn(both, crank)
        said.append([scene.words.input.splitlines()[2] for scene in both])
    assert said[0] == said[1] == said[2]
    left, right = said[0]
    found = [float(re.search(r"mean flow over the event ([\d.]+) l/s", line)[1]) for line in (left, right)]
    assert found == pytest.approx([1e3 * mean for mean in means], rel=0.01)
    assert "%" not in left + right, "no difference without its uncertainty"


def test_a_mean_flow_that_is_not_known_or_partly_a_guess_says_so(scenes, sidecar):
    mass_flow = sidecar.bench_mass_flow.copy()
    groups = sidecar.groups_of(1)
    mass_flow[groups.start : groups.stop] = np.nan
    unmeasured = dataclasses.replace(sidecar, bench_mass_flow=mass_flow)
    high = dataclasses.replace(TENT, lift=TENT.lift * 1.3)
    left, right = scenes(0, 1, reduction=unmeasured, event=high, camera="cylinder")
    drawn([left, right], 340.0)
    assert "(as at 11.00 mm above it: a guess)" in " ".join(left.words.input.split())
    assert "mean flow over the event: not known" in right.words.input
    for scene in (left, right):
        renderer = scene.plotter.renderer
        assert box_of(scene.words, renderer)[1] < box_of(scene.legend, renderer)[0]


@pytest.mark.parametrize("size", [(640, 400), (800, 500), (960, 600), (1280, 800)])
def test_the_dials_angles_stand_clear_of_its_ring(scenes, size):
    (scene,) = scenes(size=size)
    drawn([scene], 340.0)
    dial = scene.dial
    middle, edge = (dial_pixels(dial.renderer, point) for point in ((0.0, 0.0, 0.0), (1.0, 0.0, 0.0)))
    ring = edge[0] - middle[0]
    low = np.array(dial.renderer.GetOrigin())
    for text in dial.angles.values():
        left, right, bottom, top = np.array(box_of(text, dial.renderer)) + np.repeat(low, 2)
        nearest = np.clip(middle, (left, bottom), (right, top))
        assert np.hypot(*(nearest - middle)) > ring + 1.5
        assert left >= low[0]
        assert right < low[0] + dial.renderer.GetSize()[0]
    pointer = dial_pixels(dial.renderer, dial.pointer.points[1])[0]
    assert pointer > box_of(dial.angles[0.0], dial.renderer)[1] + low[0]


def dial_pixels(renderer, point):
    renderer.SetWorldPoint(*point, 1.0)
    renderer.WorldToDisplay()
    return np.array(renderer.GetDisplayPoint()[:2])


@pytest.mark.parametrize("size", [(640, 400), (960, 600)])
def test_the_curve_is_drawn_within_a_part_of_a_pixel(scenes, size):
    """The middle of the ink in each column of pixels is where the cam has the valve there."""
    crank = np.linspace(300.0, 500.0, 101)
    event = CamEvent(crank, 10e-3 * np.sin(np.radians(0.9 * (crank - 300.0))) ** 2, assumed=False)
    (scene,) = scenes(size=size, event=event)
    picture = drawn([scene], 300.0).astype(float).mean(axis=2)
    frame = scene.curve.frame
    off = []
    for column in range(round(frame.left + 0.25 * frame.width), round(frame.left + 0.75 * frame.width)):
        at = 300.0 + 200.0 * (column + 0.5 - frame.left) / frame.width
        exact = size[1] - float(scene.curve.pixels(at, event.lift_at(at))[1])
        rows = np.arange(round(exact) - 6, round(exact) + 7)
        ink = np.clip(picture[0, 0] - picture[rows, column], 0.0, None)
        off.append((ink @ (rows + 0.5)) / ink.sum() - exact)
    assert len(off) > 80
    assert np.abs(off).max() < 0.6
    assert np.std(off) < 0.22


@pytest.mark.parametrize("size", [(640, 400), (960, 600), (1280, 800)])
def test_the_heads_outline_has_no_nick_in_the_section(scenes, size):
    (scene,) = scenes(size=size, camera="section")
    picture = drawn([scene], 340.0).astype(int)
    radius, top, bottom = head_edge(scene)
    for edge in (-radius, radius):
        (x, low), (_, high) = (dial_pixels(scene.plotter.renderer, (edge, 0.0, z)) for z in (bottom, top))
        strip = picture[size[1] - int(high) + 4 : size[1] - int(low) - 5, int(x) - 3 : int(x) + 4]
        assert strip.min() < 90
        assert np.ptp(strip, axis=0).max() <= 16


def head_edge(scene):
    """Return the outer radius of the head's cut face, and its top and bottom [mm]."""
    from portviz.scene import shapes

    points = 1e3 * shapes.head_section(scene.profiles)[0][0].points
    outer = points[np.isclose(np.abs(points[:, 0]), np.abs(points[:, 0]).max())]
    return np.abs(points[:, 0]).max(), outer[:, 2].max(), outer[:, 2].min()


# Files, read back


def film_of(examples, target, *extra, job="sidecar_intake"):
    small = ["--size", "640x400", "--seconds", "0.5", "--rate", "25"] if "--seconds" not in extra else []
    return main(["film", str(examples / job), str(target), *small, *extra])


def pictures(path):
    with Image.open(path) as image:
        found = []
        for place in range(image.n_frames):
            image.seek(place)
            found.append((np.asarray(image.convert("RGB"), dtype=float), image.info["duration"]))
        return found, image.info.get("loop")


@pytest.mark.parametrize("ending", ["gif", "webp"])
def test_gif_and_webp_hold_the_frames_drawn_and_go_round_for_ever(examples, tmp_path, opengl, sidecar, capsys, ending):
    first, second = tmp_path / f"a.{ending}", tmp_path / f"b.{ending}"
    assert film_of(examples, first) == 0
    seen = capsys.readouterr()
    assert f"Written: {first} (12 frames, 0.48 s)" in seen.out
    assert "drawing" not in seen.err
    assert film_of(examples, second) == 0
    assert first.read_bytes() == second.read_bytes()
    found, loop = pictures(first)
    assert loop == 0
    assert len(found) == 12
    assert {duration for _, duration in found} == {40}
    plan = FilmPlan(cam_event(sidecar.job), 12, 0.04)
    scenes = film_scenes(sidecar, [0], "velocity", "three-quarter", plan, (640, 400))
    for (picture, _), crank in zip(found, plan.crank_deg.tolist(), strict=True):
        assert picture.shape == (400, 640, 3)
        off = np.abs(picture - drawn(scenes, crank))
        # WebP is written without loss; a GIF has 255 colours for all frames. Below the headline, whose words an
        # engine's speed adds to.
        assert off[80:].max() == 0.0 if ending == "webp" else off[80:].mean() < 1.0
    close(scenes)
    for before, after in itertools.pairwise(found):
        assert np.abs(before[0] - after[0]).max() > 30.0


def test_mp4_plays_where_h264_does(examples, tmp_path, opengl):
    """4:2:0 with even sides, and the index (moov) before the data (mdat) so that it starts at once: ISO 14496-12."""
    imageio = pytest.importorskip("imageio.v2", reason="imageio is not installed")
    pytest.importorskip("imageio_ffmpeg", reason="what writes .mp4 is not installed: the extra film")
    target = tmp_path / "a.mp4"
    assert film_of(examples, target) == 0
    with imageio.get_reader(target) as reader:
        details = reader.get_meta_data()
        assert reader.count_frames() == 12
        assert details["size"] == (640, 400)
        assert details["fps"] == 25.0
        assert details["duration"] == pytest.approx(0.48, abs=0.01)
        assert details["codec"] == "h264"
        assert details["pix_fmt"].startswith("yuv420p")
        first, middle = (np.asarray(reader.get_data(place), dtype=float) for place in (0, 6))
    assert np.abs(first - middle).max() > 60.0
    assert np.abs(first[395, 300] - [246, 245, 241]).max() < 6.0
    content = target.read_bytes()
    assert content.index(b"moov") < content.index(b"mdat")


def test_the_palette_keeps_even_areas_and_the_steps_of_the_scale():
    scale = np.stack([np.arange(256), 255 - np.arange(256), np.full(256, 90)], axis=1).astype(np.uint8)
    sample = np.full((200, 300, 3), (246, 245, 241), dtype=np.uint8)
    sample[:80, :80] = (236, 227, 208)
    sample[100:140, :256] = scale
    sample[150:, 10:11] = (255, 0, 0)
    back = np.asarray(Image.fromarray(sample).quantize(palette=palette_of([sample], scale), dither=0).convert("RGB"))
    off = np.abs(back.astype(int) - sample)
    assert off[:100].max() == 0
    assert off[100:140].max() <= 4
    assert off[150:, 10].max() <= 8


# What can't be


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["a.avi"], "must end in .gif, .webp or .mp4"),
        (["a.gif", "--seconds", "6", "--slow", "500"], "give one of them"),
        (["a.gif", "--seconds", "0.1"], "seconds: 0.1 is not from 0.5 to 120"),
        (["a.gif", "--seconds", "nan"], "seconds: nan"),
        (["a.gif", "--seconds", "-3"], "seconds: -3"),
        (["a.gif", "--seconds", "six"], "--seconds"),
        (["a.gif", "--slow", "0"], "slow: 0"),
        (["a.gif", "--slow", "2000000"], "slow: 2000000 is not"),
        (["a.gif", "--slow", "100000"], "slow: 100000 times slower than at 8000 rpm the event takes 550 s"),
        (["a.gif", "--slow", "1000000"], "slow: 1000000 times slower than at 8000 rpm the event takes 5500 s"),
        (["a.gif", "--rate", "60"], "from 1 to 50"),
        (["a.mp4", "--rate", "61"], "from 1 to 60"),
        (["a.webp", "--rate", "inf"], "rate: inf"),
        (["a.gif", "--seconds", "100", "--rate", "50"], "5000 frames"),
        (["a.gif", "--seconds", "1", "--rate", "5"], "5 frames"),
        (["a.gif", "--size", "100x100"], "WIDTHxHEIGHT"),
        (["a.gif", "--size", "8000x600"], "too large"),
        (["a.gif", "--size", "3000x600", "--beside", "wall relieved"], "two runs make 6000x600"),
        (["a.mp4", "--size", "961x601"], "such as 962x602"),
        (["a.gif", "--field", "velocitty"], "Did you mean velocity?"),
        (["a.gif", "--camera", "top"], "not one of three-quarter"),
        (["a.gif", "--run", "as fond"], "run: there is no run 'as fond'"),
        (["a.gif", "--beside", "as fond"], "beside: there is no run 'as fond'"),
        (["a.gif", "--beside", "as found"], "the one shown already"),
    ],
)
def test_wrong_usage_writes_nothing(examples, tmp_path, monkeypatch, capsys, arguments, words):
    monkeypatch.chdir(tmp_path)
    assert main(["film", str(examples / "sidecar_intake"), *arguments]) == 2
    complaint = capsys.readouterr().err
    assert words in complaint
    assert complaint.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_a_job_without_a_cam_says_how_to_add_one(examples, tmp_path, capsys):
    job = tmp_path / "job"
    shutil.copytree(examples / "sidecar_intake", job)
    (job / "cam.csv").unlink()
    target = tmp_path / "a.gif"
    assert main(["film", str(job), str(target)]) == 1
    assert "cam.csv with the columns crank [deg], lift [mm]" in capsys.readouterr().err
    assert not target.exists()


def test_a_missing_encoder_is_told_with_what_to_install(examples, tmp_path, monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "imageio_ffmpeg", None)
    assert film_of(examples, tmp_path / "a.mp4") == 2
    assert '.venv/bin/pip install ".[film]"' in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("ending", ["gif", "webp", "mp4"])
@pytest.mark.parametrize(("trouble", "code"), [(KeyboardInterrupt, 130), (OSError(28, "No space left on device"), 1)])
def test_trouble_in_the_middle_leaves_nothing(examples, tmp_path, monkeypatch, opengl, capsys, ending, trouble, code):
    if ending == "mp4":
        pytest.importorskip("imageio_ffmpeg", reason="what writes .mp4 is not installed: the extra film")
    target = tmp_path / f"a.{ending}"
    target.write_text("an older film", encoding="utf-8")
    calls = itertools.count()

    def until(scenes, crank):
        if next(calls) >= 15:
            raise trouble
        return drawn(scenes, crank)

    monkeypatch.setattr(film, "drawn", until)
    assert film_of(examples, target, "--seconds", "2", "--size", "640x400", "--overwrite") == code
    assert capsys.readouterr().err.count("\n") == 1
    assert next(calls) > 15
    assert target.read_text(encoding="utf-8") == "an older film"
    assert [each.name for each in tmp_path.iterdir()] == [target.name]


@pytest.mark.skipif(sys.platform == "win32", reason="SIGINT can't be sent to a process on Windows")
@pytest.mark.parametrize("ending", ["gif", "mp4"])
def test_an_interrupt_leaves_neither_file_nor_scratch_folder(examples, tmp_path, opengl, ending):
    command = [sys.executable, "-m", "portviz", "film", str(examples / "sidecar_intake"), str(tmp_path / f"a.{ending}")]
    running = subprocess.Popen([*command, "--seconds", "60"], stderr=subprocess.PIPE, text=True)
    try:
        deadline = time.monotonic() + 60.0
        while not any(tmp_path.glob(f".portviz-*/a.{ending}")):
            assert running.poll() is None
            assert time.monotonic() < deadline
            time.sleep(0.05)
        running.send_signal(signal.SIGINT)
        said = running.communicate(timeout=60)[1]
    finally:
        running.kill()
    assert running.returncode == 130
    assert said == "portviz: interrupted; nothing half-made is left behind\n"
    assert list(tmp_path.iterdir()) == []


FULL_DISK = """
import resource, sys
from portviz.__main__ import main
resource.setrlimit(resource.RLIMIT_FSIZE, (9000, 9000))
sys.exit(main(sys.argv[1:]))
"""


@pytest.mark.parametrize("ending", ["gif", "webp", "mp4"])
def test_a_disk_that_is_full_is_told(examples, tmp_path, opengl, ending):
    pytest.importorskip("resource", reason="only POSIX systems can limit a file's size")
    if ending == "mp4":
        pytest.importorskip("imageio_ffmpeg", reason="what writes .mp4 is not installed: the extra film")
    command = [sys.executable, "-c", FULL_DISK, "film", str(examples / "sidecar_intake"), str(tmp_path / f"a.{ending}")]
    done = subprocess.run([*command, "--seconds", "1"], capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert "the file can't be written" in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_terminal_sees_a_bar_of_progress(monkeypatch, capsys):
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    assert list(film._told([1.0, 2.0, 3.0])) == [1.0, 2.0, 3.0]
    assert "drawing" in capsys.readouterr().err
