"""The scene: living actors, changed in place."""

import numpy as np
import pytest

from portviz.distribution.field import QUANTITIES
from portviz.distribution.reduce import reduce_job
from portviz.errors import UsageError
from portviz.job.read import read_job
from portviz.scene.state import CAMERAS, FieldStore, display_unit, round_range, view_state
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


def sizes(mesh, count):
    """How far the points of each of the mesh's copies lie apart."""
    copies = np.asarray(mesh.points).reshape(count, -1, 3)
    return np.ptp(copies, axis=1).max(axis=1)


def test_balls_and_dark_arrows_show_only_what_was_measured(scene):
    assert (sizes(scene.markers, 12) > 0.1).all()
    assert (sizes(scene.jets, 12) > 0.1).all()
    assert (sizes(scene.inferred_jets, 12) == 0.0).all()
    assert "measured here at all 12 stations" in scene.words.input
    scene.update(scene.state.changed(lift=7.1e-3))
    assert (sizes(scene.markers, 12) == 0.0).all()
    assert (sizes(scene.jets, 12) == 0.0).all()
    assert (sizes(scene.inferred_jets, 12) > 0.1).all()
    assert "interpolated between 6.50 mm and 8.00 mm" in scene.words.input
    assert np.isfinite(scene.curtain["field"]).all()


def test_beyond_the_measured_lifts_the_curtain_is_grey(scene):
    scene.update(scene.state.changed(lift=0.4e-3))
    assert np.isnan(scene.curtain["field"]).all()
    assert "nothing measured here, only at 1.00 mm to 11.00 mm" in scene.words.input
    for mesh in (scene.markers, scene.jets, scene.inferred_jets):
        assert (sizes(mesh, 12) == 0.0).all()


@pytest.fixture
def sparse(tmp_path, examples):
    """Eight of twelve stations read at 8 mm, a bench flow there but not at 6 mm."""
    text = (examples / "sidecar_intake" / "job.toml").read_text(encoding="utf-8")
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    rows = [f"a,{lift},{angle},{300 + angle / 4}" for lift in (4, 6, 8) for angle in range(0, 360, 30)]
    rows = [row for row in rows if not row.startswith(("a,8,0,", "a,8,30,", "a,8,60,", "a,8,210,"))]
    (tmp_path / "readings.csv").write_text("\n".join(["run,lift [mm],station,reading [mmH2O]", *rows]), "utf-8")
    (tmp_path / "flow.csv").write_text("run,lift [mm],flow [l/s]\na,4,25\na,6,\na,8,50\n", "utf-8")
    return reduce_job(read_job(tmp_path))


def test_a_ball_stands_only_where_a_station_was_read(sparse, opengl):
    from portviz.scene.scene import Scene, new_plotter

    plotter = new_plotter((1280, 800), off_screen=True, software=opengl)
    scene = Scene(plotter, view_state(sparse, 0, 8e-3, "velocity", "three-quarter"))
    circle = sparse.job.stations.circle_deg
    missing = np.isin(circle, (0.0, 30.0, 60.0, 210.0))
    for mesh in (scene.markers, scene.jets, scene.dial.dots):
        assert ((sizes(mesh, 12) > 0.0) == ~missing).all()
    assert ((sizes(scene.inferred_jets, 12) > 0.0) == missing).all()
    assert "measured here at 8 of 12 stations" in scene.words.input
    assert "hatched: more than 30° from a reading" in scene.footnote.input
    lines = np.asarray(scene.hatch.points).reshape(-1, 5, 3)
    hatched = lines[np.ptp(lines, axis=1).max(axis=1) > 0.0][:, 2]
    where = np.mod(np.degrees(np.arctan2(-hatched[:, 1], hatched[:, 0])), 360.0)
    assert where.size
    assert (np.minimum(np.abs(where - 90.0), np.abs(where - 330.0)) > 30.0).all()
    scene.update(scene.state.changed(lift=6e-3))
    assert "hatched" not in scene.footnote.input
    plotter.close()


def test_flow_that_was_not_measured_is_interpolated_and_says_so_while_velocity_is_measured(sparse, opengl):
    from portviz.scene.scene import Scene, new_plotter

    plotter = new_plotter((1280, 800), off_screen=True, software=opengl)
    scene = Scene(plotter, view_state(sparse, 0, 6e-3, "flow-per-degree", "three-quarter"))
    assert "no bench flow here; interpolated between 4.00 mm and 8.00 mm" in scene.words.input
    assert (sizes(scene.markers, 12) == 0.0).all()
    assert (sizes(scene.jets, 12) > 0.0).all()
    scene.update(scene.state.changed(quantity="velocity"))
    assert "measured here at all 12 stations" in scene.words.input
    plotter.close()


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
    assert QUANTITIES[quantity].title in " ".join(title.split())
    unit = display_unit(sidecar, QUANTITIES[quantity])
    assert (f"[{unit}]" in title) == bool(unit)


@pytest.mark.parametrize("camera", CAMERAS)
def test_cameras_look_from_their_side(scene, camera):
    scene.look_from(camera)
    x, y, z = scene.plotter.camera.position
    # The valve must not hide the curtain: its outline stands for it from the cylinder, its cut face in section.
    assert bool(scene.valve.GetVisibility()) == (camera in ("three-quarter", "port"))
    assert all(bool(each.GetVisibility()) == (camera == "cylinder") for each in scene.valve_rings)
    assert all(bool(each.GetVisibility()) == (camera == "section") for each in scene.valve_section)
    if camera == "cylinder":
        assert z < 0
        assert abs(z) > 5 * np.hypot(x, y)
    elif camera == "port":
        assert z > 0
        assert z > 5 * np.hypot(x, y)
    else:
        assert y < 0


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
    scene = Scene(plotter, view_state(reduction, 0, None, "velocity", "cylinder"))
    assert np.isfinite(scene.curtain["field"]).all()
    assert "measured here at 3 of 12 stations" in " ".join(scene.words.input.split())
    scene.update(scene.state.changed(quantity="flow-per-degree"))
    assert np.isnan(scene.curtain["field"]).all()
    assert "the bench's flow was not measured in this run" in " ".join(scene.words.input.split())
    plotter.close()


def test_a_round_range_holds_the_values_and_has_few_steps():
    rng = np.random.default_rng(4)
    for _ in range(300):
        low = rng.normal() * 10.0 ** rng.integers(-4, 5)
        high = low + 10.0 ** rng.uniform(-4, 5)
        first, last, steps = round_range(low, high)
        assert first <= low + 1e-9 * (high - low)
        assert high - 1e-9 * (high - low) <= last
        assert 1 <= steps <= 8


def test_every_label_of_a_colour_bar_is_another_number_and_the_right_one():
    rng = np.random.default_rng(5)
    for _ in range(300):
        low = rng.normal() * 10.0 ** rng.integers(-3, 5)
        colours = round_range(low, low + 10.0 ** rng.uniform(-3, 5))
        at = np.linspace(colours.low, colours.high, colours.steps + 1)
        labels = [f"{value:.{colours.decimals}f}" for value in at]
        assert len(set(labels)) == len(labels)
        assert [float(label) for label in labels] == pytest.approx(at, abs=1e-6 * (colours.high - colours.low))


@pytest.mark.parametrize("size", [(1280, 800), (900, 700), (640, 400), (400, 300)])
def test_long_words_stay_inside_the_picture(tmp_path, examples, opengl, size):
    import dataclasses

    from portviz.scene.scene import Scene, new_plotter

    job = read_job(examples / "sidecar_intake")
    long = "a very long name that somebody typed with everything that could be said of it " * 2
    stations = dataclasses.replace(job.stations, reference=long[:150])
    readings = dataclasses.replace(job.readings, runs=(long, "b"))
    job = dataclasses.replace(job, title=long, stations=stations, readings=readings)
    plotter = new_plotter(size, off_screen=True, software=opengl)
    scene = Scene(plotter, view_state(reduce_job(job), 0, 8e-3, "velocity", "cylinder"))
    plotter.render()
    boxes = {}
    for name in ("words", "legend", "footnote"):
        box = [0.0] * 4
        getattr(scene, name).GetBoundingBox(plotter.renderer, box)
        text = getattr(scene, name)
        if not text.GetVisibility():
            continue
        x, y = (part * whole for part, whole in zip(text.position, size, strict=True))
        boxes[name] = (x + box[0], x + box[1], y + box[2], y + box[3])
        assert boxes[name][0] >= 0.0
        assert boxes[name][1] <= size[0]
        assert boxes[name][2] >= 0.0
        assert boxes[name][3] <= size[1]
    if scene.legend.GetVisibility():
        assert boxes["words"][1] < boxes["legend"][0]
    plotter.close()
