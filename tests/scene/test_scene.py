"""The scene: living actors, changed in place."""

import numpy as np
import pytest

from portviz.distribution.field import QUANTITIES
from portviz.distribution.reduce import reduce_job
from portviz.errors import UsageError
from portviz.job.read import read_job
from portviz.scene.state import CAMERAS, FieldStore, display_unit, view_state
from portviz.units import in_unit


@pytest.fixture
def scene(sidecar, opengl):
    from portviz.scene.scene import Scene, new_plotter

    plotter = new_plotter((640, 400), off_screen=True, software=opengl)
    yield Scene(plotter, view_state(sidecar, 0, 8e-3, "velocity", "three-quarter"))
    plotter.close()


def measured(reduction, group, values):
    return values[reduction.stations_of(group)]


def test_the_curtain_carries_the_measured_values_at_the_stations(scene, sidecar):
    from portviz.scene import shapes

    group = scene.state.group
    field = np.asarray(scene.curtain["field"]).reshape(-1, shapes.CURTAIN_ROWS)
    at_stations = field[sidecar.stations.angle_deg[sidecar.stations_of(group)].astype(int)]
    expected = measured(sidecar, group, sidecar.stations.velocity)
    assert at_stations == pytest.approx(np.repeat(expected[:, None], shapes.CURTAIN_ROWS, axis=1), rel=1e-12)


def test_update_keeps_every_actor_and_mesh(scene):
    actors = dict(scene.plotter.renderer.actors)
    memory = scene.curtain.points.__array_interface__["data"][0]
    before = scene.curtain.points.copy(), scene.valve.GetPosition()
    scene.update(scene.state.changed(lift=3e-3, run=1, quantity="mach"))
    after = scene.plotter.renderer.actors
    assert list(after) == list(actors)
    assert all(after[name] is actors[name] for name in actors)
    assert scene.curtain.points.__array_interface__["data"][0] == memory
    assert not np.allclose(before[0], scene.curtain.points)
    assert before[1][2] == pytest.approx(-8.0)
    assert scene.valve.GetPosition()[2] == pytest.approx(-3.0)


def test_measured_points_show_only_where_they_were_measured(scene):
    assert scene.marker_actor.GetVisibility()
    scene.update(scene.state.changed(lift=7.1e-3))
    assert not scene.marker_actor.GetVisibility()
    assert "interpolated between 6.50 mm and 8.00 mm" in scene.words.input
    assert np.isfinite(scene.curtain["field"]).all()


def test_beyond_the_measured_lifts_the_curtain_is_grey(scene):
    scene.update(scene.state.changed(lift=0.4e-3))
    assert np.isnan(scene.curtain["field"]).all()
    assert "no readings here: measured at 1.00 mm to 11.00 mm" in scene.words.input
    assert not scene.jet_actor.GetVisibility()


def test_colour_range_is_that_of_all_runs_so_that_runs_compare(scene, sidecar):
    low, high = scene.curtain_actor.mapper.scalar_range
    velocity = sidecar.stations.velocity
    assert low <= velocity.min()
    assert velocity.max() <= high
    scene.update(scene.state.changed(run=1))
    assert scene.curtain_actor.mapper.scalar_range == (low, high)


@pytest.mark.parametrize("quantity", list(QUANTITIES))
def test_every_quantity_has_a_titled_bar_with_its_unit(scene, sidecar, quantity):
    scene.update(scene.state.changed(quantity=quantity))
    title = scene.bar.GetTitle()
    assert QUANTITIES[quantity].title in title
    unit = display_unit(sidecar, QUANTITIES[quantity])
    assert (f"[{unit}]" in title) == bool(unit)


@pytest.mark.parametrize("camera", CAMERAS)
def test_cameras_look_from_their_side(scene, camera):
    scene.look_from(camera)
    x, y, z = scene.plotter.camera.position
    if camera == "cylinder":
        assert z < 0
        assert abs(z) > 5 * np.hypot(x, y)
        assert scene.valve.prop.opacity < 1.0
    elif camera == "port":
        assert z > 0
        assert z > 5 * np.hypot(x, y)
    else:
        assert y < 0
        assert scene.valve.prop.opacity == 1.0


def test_units_are_those_of_the_job(tractor):
    store = FieldStore(tractor)
    state = view_state(tractor, 0, 0.2 * 0.0254, "velocity", "section")
    station = 3
    angle = int(2 * tractor.job.stations.circle_deg[station]) / 2
    metres = store.at_stations(state, "velocity")[station]
    feet = np.interp(angle, store.angles_deg, store.around(state))
    assert feet == pytest.approx(in_unit(metres, "ft/s", "velocity"), rel=1e-3)
    assert display_unit(tractor, QUANTITIES["flow-per-degree"]) == "cfm/deg"


def test_words_that_are_not_known_are_answered_with_the_nearest(sidecar):
    with pytest.raises(UsageError, match="Did you mean velocity-ratio"):
        view_state(sidecar, 0, None, "velocty-ratio", "section")
    with pytest.raises(UsageError, match="Did you mean cylinder"):
        view_state(sidecar, 0, None, "mach", "cylindre")
    with pytest.raises(UsageError, match=r"12\.00 mm lies outside what was measured in run 'as found'; measured at"):
        view_state(sidecar, 0, 12e-3, "mach", "section")


def test_a_run_with_one_lift_and_three_stations_can_be_seen(tmp_path, examples, opengl):
    from portviz.scene.scene import Scene, new_plotter

    text = (examples / "sidecar_intake" / "job.toml").read_text(encoding="utf-8")
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    rows = "".join(f"only,4,{angle},{value}\n" for angle, value in ((0, 200), (90, 310), (210, 260)))
    (tmp_path / "readings.csv").write_text(f"run,lift [mm],station,reading [mmH2O]\n{rows}", encoding="utf-8")
    reduction = reduce_job(read_job(tmp_path))
    plotter = new_plotter((400, 300), off_screen=True, software=opengl)
    scene = Scene(plotter, view_state(reduction, 0, None, "flow-per-degree", "cylinder"))
    assert np.isfinite(scene.curtain["field"]).all()
    assert "measured at this lift" in scene.words.input
    plotter.close()


def test_a_round_range_holds_the_values_and_has_few_steps():
    from portviz.scene.scene import round_range

    rng = np.random.default_rng(4)
    for _ in range(300):
        low = rng.normal() * 10.0 ** rng.integers(-4, 5)
        high = low + 10.0 ** rng.uniform(-4, 5)
        first, last, steps = round_range(low, high)
        assert first <= low + 1e-9 * (high - low)
        assert high - 1e-9 * (high - low) <= last
        assert 1 <= steps <= 8
