"""Designs in the window: keys go through them, meshes change in place, and what was not measured is grey."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh

from portviz.cli import run
from portviz.distribution.areas import job_profiles
from portviz.errors import JobError, UsageError
from portviz.geometry.passages import least_passages
from portviz.geometry.revolve import revolved_volume
from portviz.job.design_file import NamedDesign, read_designs
from portviz.job.model import Cut
from portviz.scene.state import view_state


@pytest.fixture(scope="module")
def designs(sidecar, examples):
    from portviz.scene.design_set import design_set

    job = sidecar.job
    named = read_designs(examples / "sidecar_intake" / "designs.toml", job)
    # One with no bottom cut and no fillet besides, and one with five cuts: other parts than the present one has.
    bare = replace(
        job,
        seat=replace(job.seat, bottom_cuts=(), top_cut=None),
        valve=replace(job.valve, fillet_radius=0.0, back_cut=None),
    )
    cuts = tuple(Cut(np.radians(50.0 + 5.0 * number), 0.5e-3) for number in range(5))
    many = replace(job, seat=replace(job.seat, bottom_cuts=cuts))
    return design_set(job, (*named, NamedDesign("bare", bare, ()), NamedDesign("five cuts", many, ())))


@pytest.fixture
def scene(sidecar, designs, opengl):
    from portviz.scene.design_switch import DesignScene
    from portviz.scene.scene import new_plotter

    plotter = new_plotter((1280, 800), off_screen=True, software=opengl)
    yield DesignScene(plotter, view_state(sidecar, 0, 8e-3, "velocity", "three-quarter"), designs)
    plotter.close()


@pytest.fixture
def window(sidecar, designs, screen):
    from portviz.scene.design_switch import DesignScene, bind_design_keys
    from portviz.scene.scene import new_plotter
    from portviz.scene.window import Window

    plotter = new_plotter((1280, 800), off_screen=False, software=screen)
    made = DesignScene(plotter, view_state(sidecar, 0, 8e-3, "velocity", "three-quarter"), designs)
    window = Window(made)
    bind_design_keys(window, made)
    plotter.show(interactive_update=True, auto_close=False)
    yield window
    plotter.close()


def press(window, key):
    interactor = window.plotter.iren.interactor
    interactor.SetKeySym(key)
    interactor.InvokeEvent("KeyPressEvent")


def test_all_designs_have_as_many_corners(designs):
    assert designs.names == (
        "present",
        "narrower seat, same contact",
        "30 deg seat",
        "larger throat",
        "bare",
        "five cuts",
    )
    assert designs.profiles.wall.shape == (6, 10, 2)
    for place, job in enumerate(designs.jobs):
        own = job_profiles(job)
        padded = designs.profiles_of(place)
        lifts = np.array([1e-3, 5e-3, 11e-3])
        # A cut without length changes no passage.
        assert least_passages(padded, lifts).flow_area == pytest.approx(least_passages(own, lifts).flow_area)


def test_going_through_the_designs_keeps_every_mesh_and_its_faces(scene, designs):
    actors = dict(scene.plotter.renderer.actors)
    memory = [mesh.points.__array_interface__["data"][0] for mesh, _, _ in scene.living]
    faces = [mesh.GetPolys().GetNumberOfCells() for mesh, _, _ in scene.living]
    before = [mesh.points.copy() for mesh, _, _ in scene.living]
    for place in range(len(designs.names)):
        scene.choose(place)
        assert [mesh.points.__array_interface__["data"][0] for mesh, _, _ in scene.living] == memory
        assert [mesh.GetPolys().GetNumberOfCells() for mesh, _, _ in scene.living] == faces
        assert all(np.isfinite(mesh.points).all() for mesh, _, _ in scene.living)
    now = scene.plotter.renderer.actors
    assert list(now) == list(actors)
    assert all(now[name] is actors[name] for name in actors)
    assert not np.allclose(before[0], scene.living[0][0].points)
    scene.choose(0)
    for (mesh, _, _), points in zip(scene.living, before, strict=True):
        assert np.array_equal(mesh.points, points)


def test_the_living_solids_are_those_of_the_design(scene, designs):
    for place, job in enumerate(designs.jobs):
        scene.choose(place)
        profiles = job_profiles(job)
        head, valve = (mesh for mesh, _, normals in scene.living if normals is not None)
        for mesh, corners in ((head, profiles.wall[0, :-1]), (valve, profiles.valve[0, :6])):
            shown = np.stack([np.hypot(*mesh.points[:, :2].T), mesh.points[:, 2]], axis=1)
            for corner in corners * 1e3:
                assert np.hypot(*(shown - corner).T).min() < 1e-4
        # Pappus' theorem for the whole valve, by trimesh's own volume, within what 180 flat steps leave out.
        line, axis = scene._valve_chains(designs.profiles_of(place))
        whole = trimesh.Trimesh(valve.points, valve.triangulate().regular_faces)
        whole.merge_vertices(merge_norm=True)
        assert abs(whole.volume) == pytest.approx(revolved_volume(line, axis) * 1e9, rel=1e-3)
        assert whole.volume > 0.0


def test_normals_point_out_of_the_metal(scene):
    for mesh, _, normals in scene.living:
        if normals is None:
            continue
        quads = mesh.regular_faces
        corner = mesh.points[quads]
        across = np.cross(corner[:, 2] - corner[:, 0], corner[:, 3] - corner[:, 1])
        area = np.linalg.norm(across, axis=1)
        there = area > 1e-6
        stored = np.asarray(mesh.point_data.active_normals)[quads].mean(axis=1)
        assert (np.einsum("fi,fi->f", across[there], stored[there]) > 0.0).all()


def test_a_design_that_was_not_measured_is_grey_and_says_so(scene, designs):
    measured = scene.curtain["field"].copy()
    footnote, headline = scene.footnote.input, scene.words.input
    assert np.isfinite(measured).all()
    scene.choose(2)
    assert np.isnan(scene.curtain["field"]).all()
    assert np.isnan(scene.cut["field"]).all()
    for mesh in (scene.markers, scene.jets, scene.inferred_jets):
        assert (np.ptp(np.asarray(mesh.points).reshape(12, -1, 3), axis=1) == 0.0).all()
    assert scene.bias() is None
    assert scene.footnote.input == "design 30 deg seat: not measured; the colours belong to the present seat"
    area = least_passages(designs.profiles.take(np.array([0, 2])), [8e-3]).flow_area[:, 0] * 1e6
    for words in (
        "30 deg seat",
        f"flow area {area[1]:.0f} mm² (present {area[0]:.0f} mm², {100 * (area[1] / area[0] - 1):+.1f} %)",
        "throat diameter 35.50 mm (present 35.50 mm)",
        "design 2 of 5: 30 deg seat",
        "contact width 1.60 mm (present 1.60 mm)",
    ):
        assert words in scene.words.input
    scene.update(scene.state.changed(lift=7.3e-3, quantity="mach"))
    assert np.isnan(scene.curtain["field"]).all()
    assert "lift 7.30 mm" in scene.words.input
    scene.update(scene.state.changed(lift=8e-3, quantity="velocity"))
    scene.choose(0)
    assert np.array_equal(scene.curtain["field"], measured)
    assert (scene.footnote.input, scene.words.input) == (footnote, headline)


def test_the_bar_of_colours_is_hidden_while_the_curtain_is_grey(scene):
    seen = []
    for place in (0, 2, 1, 0):
        scene.choose(place)
        seen.append(bool(scene.bar.GetVisibility()))
    assert seen == [True, False, False, True]
    scene.choose(2)
    scene.update(scene.state.changed(quantity="mach"))
    assert not scene.bar.GetVisibility()


def test_the_gap_limits_up_to_the_lift_that_a_fine_search_finds(scene, designs):
    from portviz.scene.design_set import gap_limits_up_to

    lifts = np.arange(1, 2201) * 5e-6
    gap = least_passages(designs.profiles, lifts).limited_by_gap
    found = gap_limits_up_to(designs.profiles, 11e-3)
    for each, row in zip(found, gap, strict=True):
        if row.all():
            assert np.isnan(each)
        else:
            assert each == pytest.approx(lifts[np.argmin(row)], abs=1e-5)
    scene.choose(2)
    assert f"gap limits up to {found[2] * 1e3:.2f} mm (present {found[0] * 1e3:.2f} mm)" in scene.words.input


def test_it_opens_where_the_designs_differ(sidecar, designs):
    from portviz.scene.design_set import opening_lift

    state = view_state(sidecar, 0, None, "velocity", "three-quarter")
    found = opening_lift(state, designs)
    area = least_passages(designs.profiles, state.measured_lifts[state.measured_lifts > 0.0]).flow_area
    assert found in state.measured_lifts
    assert found < state.greatest_lift
    spread = np.ptp(area / area[0], axis=0)
    assert spread[state.measured_lifts[state.measured_lifts > 0.0] == found] > spread[-1]


def test_curtain_and_least_line_are_the_designs(scene, designs):
    scene.choose(3)
    scene.update(scene.state.changed(lift=11e-3))
    passages = least_passages(designs.profiles_of(3), [11e-3], lines=True)
    assert scene.now.gap_area == pytest.approx(float(passages.gap_area[0, 0]))
    line = scene.least.points[:2]
    expected = passages.throat_line[0, 0] * 1e3
    assert np.hypot(*line[:, :2].T) == pytest.approx(expected[:, 0], abs=1e-3)
    assert line[:, 2] == pytest.approx(expected[:, 1])


def test_keys_go_through_the_designs_round_and_round(window):
    scene = window.scene
    colours = scene.curtain["field"].copy()
    seen = []
    for _ in range(6):
        press(window, "n")
        seen.append(scene.name)
    assert seen == ["narrower seat, same contact", "30 deg seat", "larger throat", "bare", "five cuts", "present"]
    assert np.array_equal(scene.curtain["field"], colours)
    press(window, "N")
    assert scene.name == "five cuts"
    press(window, "b")
    assert scene.name == "bare"
    press(window, "Right")
    assert window.state.lift == pytest.approx(9.5e-3)
    assert scene.name == "bare"
    assert np.isnan(scene.curtain["field"]).all()
    press(window, "s")
    assert window.state.camera == "section"
    assert "not measured" in scene.words.input
    assert "n, b   next, previous design" in scene.key_list.input
    assert "space play" not in scene.key_list.input
    run, quantity = window.state.run, window.state.quantity
    for key in ("2", "m", "Down"):
        scene.say("")
        press(window, key)
        assert "the present seat only" in scene.footnote.input
        assert (window.state.run, window.state.quantity) == (run, quantity)
    press(window, "n")
    press(window, "n")
    assert scene.name == "present"
    press(window, "2")
    press(window, "m")
    assert (window.state.run, window.state.quantity) == (1, "mach")


def test_a_picture_from_the_window_bears_the_designs_name(window):
    press(window, "n")
    assert window.scene.file_subject() == "design-narrower-seat--same-contact"


def test_designs_that_make_no_seat_are_told_and_left_out(sidecar):
    from portviz.scene.design_set import design_set

    job = sidecar.job
    bad = NamedDesign("too wide", replace(job, seat=replace(job.seat, throat_diameter=40e-3)), ())
    good = NamedDesign("fine", replace(job, seat=replace(job.seat, width=1.2e-3)), ())
    found = design_set(job, (bad, good))
    assert found.names == ("present", "fine")
    assert (found.numbers, found.count_words) == ((0, 2), "2, 1 makes no seat")
    assert found.refused[0].startswith("design 'too wide' can't be shown: the throat is larger than the seat")
    with pytest.raises(UsageError, match="none of them makes a valve and seat; design 'too wide'"):
        design_set(job, (bad,))


def test_the_command_refuses_what_can_not_be(examples, tmp_path):
    job = examples / "sidecar_intake"
    with pytest.raises(UsageError, match="the window alone goes through them"):
        run(["view", str(job), "--designs", str(job / "designs.toml"), "--picture", str(tmp_path / "a.png")])
    with pytest.raises(JobError, match=r"none\.toml: the file can't be read"):
        run(["view", str(job), "--designs", str(tmp_path / "none.toml")])


def test_the_window_opens_on_the_designs_and_closes_with_its_key(examples, screen, monkeypatch):
    from portviz.scene import design_switch as module

    opened = []

    class Watched(module.Window):
        def __init__(self, scene, **more):
            super().__init__(scene, **more)
            opened.append(scene)
            interactor = scene.plotter.iren.interactor
            interactor.AddObserver("TimerEvent", lambda *_: (press(self, "n"), press(self, "q")))
            scene.plotter.iren.initialize()
            interactor.CreateRepeatingTimer(200)

    monkeypatch.setattr(module, "Window", Watched)
    job = examples / "sidecar_intake"
    assert run(["view", str(job), "--designs", str(job / "designs.toml"), "--size", "640x480"]) == 0
    assert len(opened) == 1
    assert opened[0].design > 0
