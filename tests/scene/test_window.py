"""The window on a real screen: what its keys and slider do."""

import re
import shutil
import signal
import subprocess
import sys

import numpy as np
import pytest
import pyvista as pv
from PIL import Image

from portviz.distribution.field import QUANTITIES
from portviz.scene.colours import REFERENCE
from portviz.scene.state import CAMERAS, view_state
from portviz.scene.window import CAMERA_KEYS, FIELD_KEYS


@pytest.fixture
def window(sidecar, screen):
    from portviz.scene.scene import Scene, new_plotter
    from portviz.scene.window import Window

    plotter = new_plotter((800, 500), off_screen=False, software=screen)
    made = Window(Scene(plotter, view_state(sidecar, 0, 8e-3, "velocity", "three-quarter")))
    plotter.show(interactive_update=True, auto_close=False)
    yield made
    plotter.close()


def press(window, key):
    interactor = window.plotter.iren.interactor
    interactor.SetKeySym(key)
    interactor.InvokeEvent("KeyPressEvent")


def test_arrows_step_through_measured_lifts_and_stop_at_the_ends(window):
    press(window, "Right")
    assert window.state.lift == pytest.approx(9.5e-3)
    for _ in range(5):
        press(window, "Right")
    assert window.state.lift == pytest.approx(11e-3)
    press(window, "Left")
    press(window, "Left")
    assert window.state.lift == pytest.approx(8e-3)
    assert window.slider.GetRepresentation().GetValue() == pytest.approx(8.0)


def test_a_key_for_each_run_field_and_view(window):
    press(window, "2")
    assert window.state.run == 1
    press(window, "1")
    assert window.state.run == 0
    assert set(FIELD_KEYS.values()) == set(QUANTITIES)
    assert set(CAMERA_KEYS.values()) == set(CAMERAS)
    for key, quantity in FIELD_KEYS.items():
        press(window, key)
        assert window.state.quantity == quantity
    for key, camera in CAMERA_KEYS.items():
        press(window, key)
        assert window.state.camera == camera


def test_the_slider_has_a_mark_at_each_measured_lift_where_its_knob_stands(window):
    shape = window.slider.GetRepresentation()
    start, end = shape.GetPoint1Coordinate().GetValue()[0], shape.GetPoint2Coordinate().GetValue()[0]
    marks = np.asarray(window._mark_mesh.points)[::2, 0]
    assert len(marks) == len(window.state.measured_lifts)
    assert start < marks[0] < marks[-1] < end
    assert np.diff(marks) / np.ptp(marks) == pytest.approx(
        np.diff(window.state.measured_lifts) / np.ptp(window.state.measured_lifts)
    )
    assert window.slider_value.input == "8.00 mm"
    window._slid(7.2)
    assert window.slider_value.input == "7.20 mm"


def test_the_slider_moves_the_valve_and_snaps_to_a_measured_lift_nearby(window):
    window._slid(7.2)
    assert window.state.lift == pytest.approx(7.2e-3)
    assert window.state.group is None
    window._slid(7.98)
    assert window.state.lift == pytest.approx(8e-3)
    assert window.state.group is not None
    window._slid(0.2)
    assert window.state.support == ()
    assert np.isnan(window.scene.curtain["field"]).all()


def test_the_key_list_names_every_key_and_can_be_hidden(window):
    shown = window.scene.key_list.input
    for word in ("1   run as found", "2   run wall relieved", "left, right", "w write", "h hide", "q close"):
        assert word in shown
    for key in (*FIELD_KEYS, *CAMERA_KEYS):
        assert re.search(rf"\b{key} [a-zM]", shown)
    press(window, "h")
    assert not window.scene.key_list.GetVisibility()
    press(window, "h")
    assert window.scene.key_list.GetVisibility()


def test_a_picture_is_written_under_a_new_name_each_time(window, tmp_path, monkeypatch):
    job = window.state.reduction.job
    moved = job.__class__(**{**job.__dict__, "folder": tmp_path})
    monkeypatch.setattr(window.scene.state.reduction.__class__, "job", property(lambda self: moved), raising=False)
    press(window, "h")
    first, second = window.picture(), window.picture()
    assert not window.scene.key_list.GetVisibility()
    assert window.scene.footnote.input == f"written: {second.name}"
    assert first != second
    assert {first, second} == set(tmp_path.iterdir())
    assert first.stat().st_size > 5_000


def test_neither_slider_nor_keys_stand_in_a_picture(window, tmp_path, monkeypatch):
    job = window.state.reduction.job
    moved = job.__class__(**{**job.__dict__, "folder": tmp_path})
    monkeypatch.setattr(window.scene.state.reduction.__class__, "job", property(lambda self: moved), raising=False)
    seen = np.asarray(Image.open(window.picture()).convert("RGB"), dtype=float)
    knob = np.array(pv.Color(REFERENCE).int_rgb)
    height, width = seen.shape[:2]
    below = seen[int(0.8 * height) :, int(0.36 * width) :]
    assert np.abs(below - knob).max(axis=2).min() > 30.0
    keys = seen[int(0.82 * height) :, : int(0.2 * width)]
    assert np.ptp(keys.reshape(-1, 3), axis=0).max() < 3.0
    assert window.scene.key_list.GetVisibility()
    assert window.slider.GetEnabled()


def test_the_window_opens_and_closes_with_its_key(sidecar, screen, monkeypatch):
    """open_window stays until the close key ends it, and turns the collector of memory on again."""
    import gc

    from portviz.scene import window as module

    opened = []

    class Watched(module.Window):
        def __init__(self, scene, **more):
            super().__init__(scene, **more)
            opened.append(self)
            interactor = scene.plotter.iren.interactor
            interactor.AddObserver("TimerEvent", lambda *_: press(self, "q"))
            scene.plotter.iren.initialize()
            interactor.CreateRepeatingTimer(200)

    class Known:
        software = screen

    monkeypatch.setattr(module, "Window", Watched)
    gc.disable()
    try:
        module.open_window(view_state(sidecar, 0, 8e-3, "velocity", "three-quarter"), (500, 400), Known())
        assert gc.isenabled()
    finally:
        gc.enable()
    assert len(opened) == 1
    assert opened[0].state.lift == pytest.approx(8e-3)


def test_a_window_of_another_size_is_laid_out_anew(window):
    def type_size():
        return window.scene.legend.prop.font_size

    before = type_size()
    window.plotter.render_window.SetSize(1400, 900)
    window.plotter.iren.interactor.InvokeEvent("ConfigureEvent")
    assert type_size() > before
    assert window.scene.legend.GetVisibility()
    window.plotter.render_window.SetSize(480, 320)
    window.plotter.iren.interactor.InvokeEvent("ConfigureEvent")
    assert type_size() <= before
    for each in (window.scene.legend, window.scene.footnote, window.scene.key_list):
        assert not each.GetVisibility()


def test_only_the_closed_valve_measured(examples, tmp_path, screen):
    from portviz.distribution.reduce import reduce_job
    from portviz.job.read import read_job
    from portviz.scene.scene import Scene, new_plotter
    from portviz.scene.window import Window

    text = (examples / "sidecar_intake" / "job.toml").read_text(encoding="utf-8")
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    rows = "".join(f"shut,0,{angle},1.5\n" for angle in (0, 120, 240))
    (tmp_path / "readings.csv").write_text(f"run,lift [mm],station,reading [mmH2O]\n{rows}", encoding="utf-8")
    plotter = new_plotter((800, 500), off_screen=False, software=screen)
    made = Window(Scene(plotter, view_state(reduce_job(read_job(tmp_path)), 0, None, "velocity", "three-quarter")))
    plotter.show(interactive_update=True, auto_close=False)
    press(made, "Right")
    assert "the valve is closed" in made.scene.legend.input
    assert np.isfinite(made._mark_mesh.points).all()
    plotter.close()


def test_up_and_down_go_through_all_runs(window):
    press(window, "Down")
    assert window.state.run == 1
    press(window, "Down")
    assert window.state.run == 0
    press(window, "Up")
    assert window.state.run == 1


@pytest.fixture
def player(sidecar, screen):
    """A window with its cam's event, whose clock stands still until it is moved."""
    from portviz.scene.playing import scene_to_play
    from portviz.scene.scene import new_plotter
    from portviz.scene.window import Window

    plotter = new_plotter((800, 500), off_screen=False, software=screen)
    scene, why_not = scene_to_play(plotter, view_state(sidecar, 0, 8e-3, "velocity", "three-quarter"))
    made = Window(scene, why_not=why_not)
    made.now = 100.0
    made.playing._clock = lambda: made.now
    plotter.show(interactive_update=True, auto_close=False)
    yield made
    plotter.close()


def shown_crank(window):
    return window.scene.crank_deg


def test_the_space_key_plays_the_event_by_the_clock_and_stops_it(player):
    event = player.scene.event
    press(player, "Left")
    rising = event.crank_deg <= event.peak_deg
    begin = float(np.interp(6.5e-3, event.lift[rising], event.crank_deg[rising]))
    press(player, "space")
    assert player.playing.under_way
    assert shown_crank(player) == pytest.approx(begin)
    for seconds in (0.5, 2.0, 5.9, 11.0):
        player.now = 100.0 + seconds
        player.playing.tick()
        # One event takes 6 s.
        part = (begin - event.opening_deg) / event.duration_deg + seconds / 6.0
        crank = event.opening_deg + part % 1.0 * event.duration_deg
        assert shown_crank(player) == pytest.approx(crank)
        assert player.state.lift == pytest.approx(float(event.lift_at(crank)), abs=1e-12)
        assert player.slider.GetRepresentation().GetValue() == pytest.approx(1e3 * player.state.lift, abs=1e-6)
        assert player.slider_value.input == f"{1e3 * player.state.lift:.2f} mm"
    stopped = shown_crank(player)
    press(player, "space")
    assert not player.playing.under_way
    player.now += 1.0
    player.playing.tick()
    assert player.scene.curve.crank_deg == stopped
    assert player.state.lift == pytest.approx(float(event.lift_at(stopped)))
    press(player, "space")
    assert shown_crank(player) == pytest.approx(stopped)


def test_a_stopped_valve_is_a_lift_for_itself_where_it_stands(player):
    from portviz.scene import words

    press(player, "space")
    player.now += 1.6
    player.playing.tick()
    stopped = shown_crank(player)
    assert stopped > player.scene.event.peak_deg
    assert "times slower" in player.scene.words.input
    press(player, "space")
    scene, letters = player.scene, player.scene.size.letters
    for key in (None, "2", "m", "s", "1", "v"):
        if key is not None:
            press(player, key)
        assert scene.words.input == words.headline(player.state, letters(0.58, 15))
        assert scene.legend.input == words.legend(player.state, scene.now, letters(0.36, 15))
        assert "slower" not in scene.words.input
        assert "interpolated between" in scene.words.input
        assert "measured" in scene.footnote.input
        assert scene.curve.crank_deg == stopped
    press(player, "Right")
    assert scene.curve.crank_deg < scene.event.peak_deg


def test_runs_fields_and_views_change_while_it_plays(player):
    press(player, "space")
    for key in ("2", "m", "s", "c", "d", "Up", "h", "t"):
        press(player, key)
        player.now += 0.3
        player.playing.tick()
        assert player.playing.under_way
        assert f"crank {shown_crank(player):.0f}°" in player.scene.words.input.replace("\u2007", "")
    assert (player.state.run, player.state.quantity, player.state.camera) == (0, "drop", "three-quarter")


def test_a_lift_chosen_by_hand_ends_the_play(player):
    for choose in (lambda: press(player, "Right"), lambda: player._slid(5.0)):
        press(player, "space")
        player.now += 0.7
        player.playing.tick()
        choose()
        assert not player.playing.under_way
        assert shown_crank(player) is None
        assert player.state.group is not None
        assert "measured here at all 12 stations" in player.scene.words.input


def test_the_mark_stands_on_the_opening_flank_and_not_beyond_the_peak(player):
    event = player.scene.event
    player._slid(5.0)
    assert event.lift_at(player.scene.curve.crank_deg) == pytest.approx(5e-3)
    assert player.scene.curve.crank_deg < event.peak_deg
    player._slid(11.0)
    assert player.scene.curve.crank_deg is None
    press(player, "space")
    assert shown_crank(player) == pytest.approx(event.opening_deg)


def test_the_real_timer_moves_the_valve(player):
    import time

    player.playing._clock = time.perf_counter
    press(player, "space")
    seen = set()
    deadline = time.monotonic() + 20.0
    while len(seen) < 4 and time.monotonic() < deadline:
        player.plotter.iren.process_events()
        seen.add(shown_crank(player))
    press(player, "space")
    assert len(seen) >= 4
    stopped = player.state.lift
    time.sleep(0.1)
    player.plotter.iren.process_events()
    assert player.state.lift == stopped


def test_a_picture_stops_the_play(player, tmp_path, monkeypatch):
    job = player.state.reduction.job
    moved = job.__class__(**{**job.__dict__, "folder": tmp_path})
    monkeypatch.setattr(player.scene.state.reduction.__class__, "job", property(lambda self: moved), raising=False)
    press(player, "space")
    written = player.picture()
    assert not player.playing.under_way
    assert player.scene.footnote.input == f"written: {written.name}"


def test_without_a_cam_the_space_key_says_how_to_add_one(sidecar, screen):
    import dataclasses

    from portviz.scene.playing import scene_to_play
    from portviz.scene.scene import new_plotter
    from portviz.scene.window import Window

    bare = dataclasses.replace(sidecar, job=dataclasses.replace(sidecar.job, cam=None))
    plotter = new_plotter((800, 500), off_screen=False, software=screen)
    scene, why_not = scene_to_play(plotter, view_state(bare, 0, 8e-3, "velocity", "three-quarter"))
    made = Window(scene, why_not=why_not)
    plotter.show(interactive_update=True, auto_close=False)
    assert "space play" in made.scene.key_list.input
    press(made, "space")
    said = " ".join(made.scene.footnote.input.split())
    assert "there is no cam; add cam.csv with the columns crank [deg], lift [mm]" in said
    assert made.state.lift == 8e-3
    plotter.close()


def test_a_cam_that_makes_no_event_opens_the_window_and_the_space_key_says_why(sidecar, screen):
    import dataclasses

    from portviz.scene.playing import scene_to_play
    from portviz.scene.scene import new_plotter
    from portviz.scene.window import Window

    cam = sidecar.job.cam
    cut = dataclasses.replace(cam, crank_deg=cam.crank_deg[20:], lift=cam.lift[20:], line=cam.line[20:])
    broken = dataclasses.replace(sidecar, job=dataclasses.replace(sidecar.job, cam=cut))
    for size in ((640, 400), (1280, 800)):
        plotter = new_plotter(size, off_screen=False, software=screen)
        scene, why_not = scene_to_play(plotter, view_state(broken, 0, 8e-3, "velocity", "three-quarter"))
        made = Window(scene, why_not=why_not)
        plotter.show(interactive_update=True, auto_close=False)
        press(made, "space")
        said = " ".join(made.scene.footnote.input.split())
        assert said.startswith("no event to play: cam.csv, line 22: the opening is cut off")
        assert said.endswith("Add the rows up to where the valve is closed.")
        press(made, "Right")
        assert made.state.lift == pytest.approx(9.5e-3)
        plotter.close()


@pytest.mark.skipif(sys.platform == "win32", reason="SIGINT can't be sent to a process on Windows")
@pytest.mark.parametrize("event", [True, False])
def test_an_interrupt_closes_the_window_as_it_ends_other_commands(examples, tmp_path, screen, event):
    job = tmp_path / "job"
    shutil.copytree(examples / "sidecar_intake", job)
    if not event:
        (job / "cam.csv").unlink()
    command = [sys.executable, "-c", OPENED, "view", str(job), "--size", "640x400"]
    running = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        assert running.stdout.readline() == "open\n"
        running.send_signal(signal.SIGINT)
        out, said = running.communicate(timeout=60)
    finally:
        running.kill()
    assert running.returncode == 130
    assert (out, said) == ("", "portviz: interrupted; nothing half-made is left behind\n")


#: Says when the window's own loop runs.
OPENED = """
import sys
from portviz.scene import window
from portviz.__main__ import main
class Told(window.Window):
    def __init__(self, scene, **options):
        super().__init__(scene, **options)
        scene.plotter.iren.add_observer("TimerEvent", self.tell)
        self.told = False
    def tell(self, *_):
        if not self.told:
            self.told = True
            print("open", flush=True)
window.Window = Told
sys.exit(main(sys.argv[1:]))
"""


@pytest.mark.parametrize("size", [(640, 400), (960, 600), (1280, 800)])
@pytest.mark.parametrize("crank", [None, 92.0])
def test_no_words_of_the_window_overlap(sidecar, screen, size, crank):
    import itertools

    from portviz.scene.playing import scene_to_play
    from portviz.scene.scene import new_plotter
    from portviz.scene.window import Window

    plotter = new_plotter(size, off_screen=False, software=screen)
    scene, _ = scene_to_play(plotter, view_state(sidecar, 0, 8e-3, "velocity", "three-quarter"))
    made = Window(scene)
    plotter.show(interactive_update=True, auto_close=False)
    if crank is not None:
        made._show_crank(crank)
    plotter.render()
    texts = [
        scene.words,
        scene.legend,
        scene.footnote,
        scene.key_list,
        scene.dial.caption,
        *scene.curve._texts.values(),
    ]
    boxes = []
    for text in (*texts, made.slider_title, made.slider_value):
        if text.GetVisibility():
            corners = [0.0] * 4
            text.GetBoundingBox(plotter.renderer, corners)
            at = text.GetPositionCoordinate().GetComputedViewportValue(plotter.renderer)
            boxes.append((corners[0] + at[0], corners[1] + at[0], corners[2] + at[1], corners[3] + at[1]))
    for one, other in itertools.combinations(boxes, 2):
        assert one[1] < other[0] or other[1] < one[0] or one[3] < other[2] or other[3] < one[2], (one, other)
    assert scene.curve.visible == (size != (640, 400) or crank is not None)
    plotter.close()
