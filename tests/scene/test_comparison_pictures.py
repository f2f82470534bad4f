"""The difference of two runs as pictures: grey where no change is shown, and nothing between lifts of one run alone."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from portviz.__main__ import main
from portviz.distribution.comparison import Side, compare_runs
from portviz.distribution.uncertainty import reduction_uncertainty
from portviz.errors import UsageError
from portviz.scene.comparison import (
    comparison_chart,
    difference_range,
    difference_round,
    lift_to_show,
    shown_round,
)


@pytest.fixture(scope="module")
def comparison(sidecar):
    known = reduction_uncertainty(sidecar)
    return compare_runs(Side(sidecar, known, 0), Side(sidecar, known, 1))


def test_the_difference_goes_through_the_stations_and_is_unknown_where_none_is_shown(comparison):
    for at in comparison.lifts:
        angles = np.arange(361.0)
        around = difference_round(comparison, at, angles)
        velocity = at.stations["velocity"]
        for station, verdict, off in zip(at.angles_deg, velocity.verdicts, velocity.difference, strict=True):
            found = around[int(station)]
            if verdict == "not shown":
                assert np.isnan(found)
            else:
                assert found == pytest.approx(off, rel=1e-9)
        # A sector reaches half-way to its neighbours, which are 30 degrees away.
        grey = np.isnan(around[:360])
        hidden = sum(verdict == "not shown" for verdict in velocity.verdicts)
        assert abs(int(grey.sum()) - 30 * hidden) <= 2 * hidden


def test_the_range_is_even_about_zero_and_holds_every_difference(comparison):
    colours = difference_range(comparison)
    assert colours.low == -colours.high
    assert colours.steps % 2 == 0
    for at in comparison.lifts:
        assert np.abs(at.stations["velocity"].difference).max() <= colours.high


def test_sectors_wrap_round_the_circle(comparison):
    at = comparison.lifts[-1]
    shown = at.stations["velocity"].verdicts[0] != "not shown"
    assert shown_round(at, np.array([0.0, 359.0, 346.0, 14.0])).tolist() == [shown] * 4


def test_the_chart_has_a_point_with_its_interval_for_every_station(comparison):
    figure = comparison_chart(comparison)
    panels = [axes for axes in figure.axes if axes.get_visible()]
    assert len(panels) == len(comparison.lifts)
    for axes, at in zip(panels, comparison.lifts, strict=True):
        points = sum(len(container[0].get_xdata()) for container in axes.containers)
        assert points == len(at.angles_deg)
        assert len(axes.containers) == 2


def test_a_lift_that_is_not_common_is_refused(comparison):
    assert lift_to_show(comparison, None) == comparison.lifts[-1].lift
    with pytest.raises(UsageError, match=r"7\.00 mm was not measured in both runs; they have 1\.00 mm, 2\.00 mm"):
        lift_to_show(comparison, 7e-3)


def test_picture_and_chart_are_written(examples, tmp_path, opengl, capsys):
    picture, chart = tmp_path / "difference.png", tmp_path / "chart.png"
    arguments = ["compare", str(examples / "sidecar_intake"), "as found", "wall relieved", "--lift", "6.5 mm"]
    assert main([*arguments, "--picture", str(picture), "--chart", str(chart), "--size", "900x600"]) == 0
    seen = np.asarray(Image.open(picture).convert("RGB"), dtype=float)
    assert seen.shape == (600, 900, 3)
    # Orange (higher) on the right, where station 0 lies, grey where nothing is shown.
    ring = seen[150:480, 260:760]
    orange = (ring[..., 0] - ring[..., 2] > 60.0) & (ring[..., 0] > 150.0)
    columns = np.flatnonzero(orange.any(axis=0))
    assert columns.mean() > 230
    assert (np.abs(ring - [189, 189, 184]).max(axis=2) < 3.0).sum() > 200
    assert Image.open(chart).size[0] > 600
    assert main([*arguments, "--picture", str(picture)]) == 1
    assert "is there already" in capsys.readouterr().err


def test_the_window_of_a_difference_has_no_keys_for_runs_and_fields(comparison, screen):
    from portviz.scene.comparison import difference_scene
    from portviz.scene.scene import new_plotter
    from portviz.scene.window import Window

    plotter = new_plotter((900, 600), off_screen=False, software=screen)
    window = Window(difference_scene(plotter, comparison, 6.5e-3, "cylinder"), choices=False)
    plotter.show(interactive_update=True, auto_close=False)
    assert "run" not in window.scene.key_list.input
    assert "velocity, r" not in window.scene.key_list.input
    assert "space" not in window.scene.key_list.input
    assert "wall relieved less as found" in window.scene.words.input
    window._slid(7.2)
    assert "not measured in both runs" in " ".join(window.scene.words.input.split())
    assert np.isnan(window.scene.curtain["field"]).all()
    interactor = plotter.iren.interactor
    interactor.SetKeySym("Right")
    interactor.InvokeEvent("KeyPressEvent")
    assert window.state.lift == pytest.approx(8e-3)
    assert np.isfinite(window.scene.curtain["field"]).any()
    plotter.close()
