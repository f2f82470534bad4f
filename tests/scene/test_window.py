"""The window on a real screen: what its keys and slider do."""

import numpy as np
import pytest

from portviz.distribution.field import QUANTITIES
from portviz.scene.state import view_state


@pytest.fixture
def window(sidecar, screen):
    from portviz.scene.scene import new_plotter
    from portviz.scene.window import Window

    plotter = new_plotter((800, 500), off_screen=False, software=screen)
    made = Window(plotter, view_state(sidecar, 0, 8e-3, "velocity", "three-quarter"))
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


def test_a_key_for_run_field_and_each_view(window):
    press(window, "u")
    assert window.state.run == 1
    press(window, "u")
    assert window.state.run == 0
    seen = [window.state.quantity]
    for _ in QUANTITIES:
        press(window, "g")
        seen.append(window.state.quantity)
    assert seen[:-1] == list(QUANTITIES)
    assert seen[-1] == seen[0]
    for key, camera in (("n", "cylinder"), ("m", "port"), ("k", "section"), ("b", "three-quarter")):
        press(window, key)
        assert window.state.camera == camera


def test_the_slider_moves_the_valve_and_snaps_to_a_measured_lift_nearby(window):
    window._slid(7.2)
    assert window.state.lift == pytest.approx(7.2e-3)
    assert window.state.group is None
    window._slid(7.98)
    assert window.state.lift == pytest.approx(8e-3)
    assert window.state.group is not None
    window._slid(0.2)
    assert not window.state.covered
    assert np.isnan(window.scene.curtain["field"]).all()


def test_the_key_list_names_every_key_and_can_be_hidden(window):
    shown = window.scene.key_list.input
    for word in ("left, right", "u ", "g ", "b, n", "m, k", "x ", "h ", "q "):
        assert word in shown
    press(window, "h")
    assert not window.scene.key_list.GetVisibility()
    press(window, "h")
    assert window.scene.key_list.GetVisibility()


def test_a_picture_is_written_under_a_new_name_each_time(window, tmp_path, monkeypatch):
    job = window.state.reduction.job
    moved = job.__class__(**{**job.__dict__, "folder": tmp_path})
    monkeypatch.setattr(window.scene.state.reduction.__class__, "job", property(lambda self: moved), raising=False)
    first, second = window.picture(), window.picture()
    assert first != second
    assert {first, second} == set(tmp_path.iterdir())
    assert first.stat().st_size > 5_000
