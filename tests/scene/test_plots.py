"""Figures for print: what their artists hold is what the results say, and all of it stands within the page."""

from __future__ import annotations

import contextlib
import io
import json
import re
import warnings
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.collections import LineCollection, PathCollection
from matplotlib.figure import Figure
from matplotlib.text import Text
from scipy import stats

import portviz
from portviz.__main__ import main
from portviz.distribution.comparison import Comparison
from portviz.distribution.event_comparison import LiftEvent, lift_event
from portviz.distribution.reduce import Reduction, reduce_job
from portviz.distribution.uncertainty import Uncertainty, reduction_uncertainty
from portviz.errors import JobError, UsageError
from portviz.job.model import Cut
from portviz.job.read import read_job
from portviz.scene.paper import in_style
from portviz.scene.plots import (
    plot_changes,
    plot_curtain,
    plot_event,
    plot_flow,
    plot_section,
    plot_unrolled,
    plot_velocities,
)

#: 97.5 % point of the normal distribution, from scipy.stats: half a 95 % interval of a value whose u is known exactly.
NORMAL = stats.norm.ppf(0.975)
HOSTILE = (
    "_$x$ <b>&amp;",
    r"$\frac{1}{0}$ a very long name of a run, as people write them, that goes on and on",
    "气门",
)

Make = Callable[..., Reduction]


@pytest.fixture(scope="module")
def made(small_job: str, tmp_path_factory: pytest.TempPathFactory) -> Make:
    """Return a function that writes a job of smooth patterns and reduces it."""

    def make(
        stations: int = 12,
        lifts: Sequence[float] = (2.0, 4.0),
        runs: Sequence[str] = ("before", "after"),
        *,
        flow: bool = True,
        cam: bool = False,
        accuracy: str = "30 Pa",
        reference: str = "",
        lowest: float = 1500.0,
        more: Mapping[str, Sequence[float]] = MappingProxyType({}),
    ) -> Reduction:
        folder = tmp_path_factory.mktemp("job")
        angles = np.round(np.arange(stations) * 360.0 / stations, 3)
        text = small_job.replace("[0, 90, 180, 270]", str(angles.tolist()))
        if accuracy:
            text = text.replace("[gauge]", f'[gauge]\naccuracy = "{accuracy}"')
        if reference:
            text += f"reference = {json.dumps(reference)}\n"
        readings, flows = ["run,lift [mm],station,reading [Pa]"], ["run,lift [mm],flow [l/s]"]
        for place, run in enumerate(runs):
            for lift in (*lifts, *more.get(run, ())):
                drops = lowest + 1500.0 * (1.0 + np.cos(np.radians(angles - 200.0 - 20.0 * place)))
                readings += [f'"{run}",{lift},{angle:g},{drop:.1f}' for angle, drop in zip(angles, drops, strict=True)]
                flows.append(f'"{run}",{lift},{6.0 * lift * (1.0 + 0.03 * place) - 0.1 * lift**2:.3f}')
        (folder / "job.toml").write_text(text, encoding="utf-8")
        (folder / "readings.csv").write_text("\n".join(readings) + "\n", encoding="utf-8")
        if flow:
            (folder / "flow.csv").write_text("\n".join(flows) + "\n", encoding="utf-8")
        if cam:
            lift_of = {crank: 10.0 * np.sin(np.pi * crank / 260.0) ** 2 for crank in range(0, 261, 10)}
            rows = "".join(f"{crank},{lift:.4f}\n" for crank, lift in lift_of.items())
            (folder / "cam.csv").write_text(f"crank [deg],lift [mm]\n{rows}", encoding="utf-8")
        return reduce_job(read_job(folder))

    return make


@pytest.fixture(scope="module")
def known(sidecar: Reduction) -> Uncertainty:
    return reduction_uncertainty(sidecar)


@pytest.fixture(scope="module")
def comparison(sidecar: Reduction, known: Uncertainty) -> Comparison:
    return portviz.compare(sidecar, 0, 1, known)


@pytest.fixture(scope="module")
def events(sidecar: Reduction, known: Uncertainty) -> LiftEvent:
    return lift_event(sidecar, known)


@pytest.fixture(scope="module")
def summary(sidecar: Reduction) -> list[dict[str, Any]]:
    """The runs that the command prints."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(io.StringIO()):
        assert main(["summary", str(sidecar.job.folder), "--json"]) == 0
    runs: list[dict[str, Any]] = json.loads(out.getvalue())["runs"]
    return runs


def dots(axes: Any) -> list[np.ndarray]:
    """Where the points without a line stand, one array a run, shape (N, 2); the ends of bars are no points."""
    loose = [line for line in axes.lines if line.get_linestyle() == "None"]
    return [np.array(line.get_xydata()) for line in loose if line.get_marker() not in ("None", "_")]


def bars(axes: Any) -> list[np.ndarray]:
    """The upright bars, one array a run, shape (N, 2 ends, 2)."""
    return [np.array(each.get_segments()) for each in axes.collections if isinstance(each, LineCollection)]


def words(figure: Figure) -> str:
    return "\n".join(text.get_text() for text in figure.findobj(Text))


def panel(figure: Figure, title: str) -> Any:
    """The panel whose title begins so."""
    return next(axes for axes in figure.axes if axes.get_title(loc="left").startswith(title))


# What is drawn


def test_flow_and_coefficient_stand_at_the_measured_lifts_with_their_bars(sidecar, known, summary):
    figure = plot_flow(sidecar, known)
    for title, key, scale in (("flow [l/s]", "flow_m3_s", 1e3), ("discharge", "discharge_coefficient", 1.0)):
        axes = panel(figure, title)
        for run, points, uprights in zip(summary, dots(axes), bars(axes), strict=True):
            value = np.array([lift[key] for lift in run["lifts"]]) * scale
            u = np.array([lift[f"{key}_u"] for lift in run["lifts"]]) * scale
            np.testing.assert_allclose(points[:, 0], [lift["lift_m"] * 1e3 for lift in run["lifts"]], rtol=1e-9)
            np.testing.assert_allclose(points[:, 1], value, rtol=1e-9)
            np.testing.assert_allclose(uprights[:, :, 1], np.stack([value - NORMAL * u, value + NORMAL * u], 1))
    assert "as found" in words(figure)


def test_where_the_flow_is_not_known_well_or_at_all_the_figure_says_so(made):
    figure = plot_flow(made())
    assert bars(panel(figure, "flow")) == []
    assert "± is not known" in words(figure)
    nothing = plot_flow(made(flow=False))
    assert nothing.axes == []
    assert "No flow was measured" in words(nothing)


def test_velocities_stand_at_their_stations_seen_from_the_cylinder(sidecar, known, summary):
    figure = plot_velocities(sidecar, known, lift=8e-3)
    rose, axes = figure.axes
    stations = [next(lift for lift in run["lifts"] if abs(lift["lift_m"] - 8e-3) < 1e-9)["stations"] for run in summary]
    for place, each in enumerate(stations):
        angle = np.array([station["angle_deg"] for station in each])
        velocity, u = (np.array([station[key] for station in each]) for key in ("velocity_m_s", "velocity_m_s_u"))
        np.testing.assert_allclose(dots(rose)[place], np.stack([np.radians(angle), velocity], axis=1))
        # Station 0 is drawn once more at the axis's end.
        np.testing.assert_allclose(dots(axes)[place][:-1], np.stack([angle, velocity], axis=1))
        np.testing.assert_allclose(dots(axes)[place][-1], [360.0, velocity[0]])
        np.testing.assert_allclose(np.diff(bars(axes)[place][:-1, :, 1])[:, 0], 2.0 * NORMAL * u)
        # The line between them goes through every measured point.
        ring = [line for line in axes.lines if line.get_marker() == "None"][place].get_xydata()
        np.testing.assert_allclose(np.interp(angle, *ring.T), velocity)
    # Anticlockwise, with 0 deg at the right.
    centre, right, up = (rose.transData.transform(at) for at in ((0.0, 0.0), (0.0, 50.0), (np.pi / 2.0, 50.0)))
    assert right[0] > centre[0] + 10.0
    assert right[1] == pytest.approx(centre[1])
    assert up[1] > centre[1] + 10.0
    assert "0° = toward the bore wall" in words(figure)


def test_the_lift_is_the_greatest_that_all_runs_drawn_have(made):
    longer = made(runs=("a", "b"), lifts=(2.0, 4.0), more={"a": (6.0,)})
    assert "at 4.00 mm lift" in words(plot_velocities(longer))
    assert "at 6.00 mm lift" in words(plot_velocities(longer, runs="a"))
    # Between measured lifts there is a line and no point; where a run has nothing at all there is neither.
    figure = plot_velocities(longer, lift=5e-3)
    assert "a: interpolated" in words(figure)
    assert "b: not measured" in words(figure)
    assert dots(figure.axes[1]) == []
    assert len(figure.axes[1].lines) == 1
    with pytest.raises(UsageError, match=r"lift: 9.00 mm lies outside what was measured: 'a' from 2.00 mm to 6.00 mm"):
        plot_velocities(longer, lift=9e-3)


def test_reverse_flow_is_drawn_inside_a_circle_of_zero(made):
    reduction = made(lowest=-900.0)
    assert (reduction.stations.velocity < 0.0).any()
    rose = plot_velocities(reduction).axes[0]
    assert rose.get_ylim()[0] < reduction.stations.velocity.min()
    circle = rose.lines[-1].get_ydata()
    assert not np.any(circle)


def test_the_unrolled_field_has_its_measured_dots(sidecar, summary):
    figure = plot_unrolled(sidecar, "wall relieved")
    axes = figure.axes[0]
    rows = [
        (station["angle_deg"], lift["lift_m"] * 1e3, station["velocity_m_s"])
        for lift in summary[1]["lifts"]
        for station in lift["stations"]
    ]
    drawn = next(each for each in axes.collections if isinstance(each, PathCollection))
    got = np.column_stack([drawn.get_offsets(), drawn.get_array()])
    # Station 0 once more at 360 deg.
    rows += [(360.0, lift, velocity) for angle, lift, velocity in rows if angle == 0.0]
    np.testing.assert_allclose(sorted(map(tuple, got)), sorted(rows))
    # The field's cell about each dot is near it: cells are narrower than 1.1 deg and 0.07 mm.
    image = axes.images[0]
    left, right, low, high = image.get_extent()
    values = np.asarray(image.get_array())
    for angle, lift, velocity in rows:
        column = int((angle - left) / (right - left) * values.shape[1])
        row = min(int((lift - low) / (high - low) * values.shape[0]), values.shape[0] - 1)
        assert values[row, column] == pytest.approx(velocity, abs=1.0)
    assert axes.get_xlim() == (0.0, 360.0)


def test_one_lift_is_a_curve_and_a_field_that_is_not_known_is_said_so(made):
    reduction = made(stations=3, lifts=(5.0,), runs=("only",), flow=False)
    axes = plot_unrolled(reduction, 0).axes[0]
    assert len(axes.images) == 0
    offsets = axes.collections[0].get_offsets()
    np.testing.assert_allclose(offsets[:3, 1], reduction.stations.velocity)
    nothing = plot_unrolled(reduction, 0, quantity="flow-per-degree")
    assert nothing.axes == []
    assert "was not measured" in words(nothing)
    with pytest.raises(UsageError, match="Did you mean velocity"):
        plot_unrolled(reduction, 0, quantity="velocty")


NUMBER = re.compile(r"^[+-]\d+(\.\d)?$")


def test_changes_are_told_where_they_are_shown_and_nowhere_else(comparison, capsys):
    assert main(["compare", str(comparison.a.reduction.job.folder), "as found", "wall relieved", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    figure = plot_changes(comparison)
    axes = figure.axes[0]
    shown, hidden = {}, []
    for row, lift in enumerate(document["lifts"]):
        for column, station in enumerate(lift["stations"]):
            change = station["velocity_m_s"]
            if change["verdict"] == "not shown":
                hidden.append((column + 0.5, row + 0.5))
            else:
                shown[column + 0.5, row + 0.5] = change["difference"]
    assert shown
    assert hidden
    told = {each.get_position(): float(each.get_text()) for each in axes.texts if NUMBER.match(each.get_text())}
    assert set(told) == set(shown)
    assert all(abs(told[place] - shown[place]) <= 0.05 + 1e-9 for place in shown)
    assert sorted(map(tuple, dots(axes)[0])) == sorted(hidden)
    image = axes.images[0]
    assert image.norm.vmin == -image.norm.vmax
    assert np.ma.getmaskarray(image.get_array()).sum() == len(hidden)
    assert image.cmap.name == "PuOr_r"


def test_the_flow_s_change_stands_beside_with_its_interval(comparison):
    axes = plot_changes(comparison).axes[0]
    beside = [each.get_text() for each in axes.texts if "±" in each.get_text()]
    for text, each in zip(beside, comparison.lifts, strict=True):
        flow = each.values["flow"]
        off, wide = (float(part) for part in re.match(r"([+-][\d.]+) ± ([\d.]+)", text).groups())
        assert off == pytest.approx(1e3 * flow.difference[0], rel=0.01)
        # Two figures of the interval.
        assert wide == pytest.approx(1e3 * NORMAL * flow.u[0], rel=0.05)
        assert text.endswith("not shown") == (flow.verdicts[0] == "not shown")


def test_long_words_on_the_flow_are_smaller_and_stay_on_the_page(comparison):
    """A change of nothing with a small interval takes most letters, as in “+0.000 ± 0.090, not shown”."""
    flows = [each.values["flow"] for each in comparison.lifts]
    flow = replace(flows[0], b=flows[0].a, u=np.array([4.6e-5]), verdicts=("not shown",))
    small = replace(comparison.lifts[0], values=comparison.lifts[0].values | {"flow": flow})
    sizes = []
    for lifts in (comparison.lifts, (small, *comparison.lifts[1:])):
        figure = plot_changes(replace(comparison, lifts=lifts))
        with in_style():
            assert figure.get_tightbbox().x1 <= 7.0
        sizes.append({each.get_fontsize() for each in figure.axes[0].texts if "±" in each.get_text()})
    assert "+0.000 ± 0.090, not shown" in words(figure)
    assert sizes[0] == {8.0}
    assert len(sizes[1]) == 1
    assert 6.0 < min(sizes[1]) < 8.0


def test_nothing_is_told_of_changes_whose_uncertainty_is_not_known(made):
    figure = plot_changes(portviz.compare(made(accuracy=""), "before", "after"))
    axes = figure.axes[0]
    assert len(dots(axes)[0]) == 24
    assert not any(NUMBER.match(each.get_text()) for each in axes.texts)
    assert "nothing is known of how well the stations were read" in words(figure)


def test_many_stations_have_colours_alone_with_their_scale(made):
    figure = plot_changes(portviz.compare(made(stations=72, lifts=range(1, 13)), 0, 1))
    assert not any(NUMBER.match(each.get_text()) for each in figure.axes[0].texts)
    scale = figure.axes[1]
    low, high = scale.get_xlim()
    assert low == -high


def test_the_event_shows_areas_bands_and_stations(events):
    document = events.to_dataframe(of="bands"), events.to_dataframe(of="stations")
    figure = plot_event(events)
    top, areas = panel(figure, "lift"), figure.axes[-1]
    assert top.get_xlim() == (events.event.opening_deg, events.event.closing_deg)
    areas = next(axes for axes in figure.axes if "effective area" in axes.get_ylabel())
    for run, points in zip(events.runs, dots(areas), strict=True):
        # Each measured lift below the cam's peak is passed twice, opening and closing.
        passed = run.effective_area[run.knots < events.event.peak_lift]
        np.testing.assert_allclose(np.sort(points[:, 1]), np.sort(np.tile(passed, 2)) * 1e6, rtol=1e-9)
    alone = panel(plot_event(events, runs=[0]), "each lift band").patches
    band = document[0][document[0]["run"] == events.reduction.runs[0]]
    for drawn, share in zip(alone, (band["time_share"], band["flow_share"]), strict=True):
        values, edges, _ = drawn.get_data()
        np.testing.assert_allclose(values * np.diff(edges) / 100.0, share)
    bars = panel(figure, "what each lift band adds").patches
    gain = portviz.compare_events(events, 0, 1).band_flow.difference
    np.testing.assert_allclose([each.get_height() for each in bars], 1e3 * gain)
    stations = panel(figure, "each station")
    for name, points in zip(events.reduction.runs, dots(stations), strict=True):
        share = document[1][document[1]["run"] == name]["flow_share"].to_numpy()
        np.testing.assert_allclose(points[:, 1], share * len(share))


def test_an_event_needs_a_cam_and_says_where_no_flow_is(made):
    with pytest.raises(JobError, match="cam"):
        plot_event(lift_event(made(), reduction_uncertainty(made())))
    reduction = made(flow=False, cam=True)
    figure = plot_event(lift_event(reduction, reduction_uncertainty(reduction)))
    assert "No flow was measured" in words(figure)
    assert "before: no flow" in words(figure)


def test_the_section_is_dimensioned(sidecar, tractor):
    closed = words(plot_section(sidecar.job))
    for said in ("head Ø 41.00 mm", "throat Ø 35.50 mm", "stem Ø 7.00 mm", "valve closed", "makers' limits"):
        assert said in closed
    assert "at 0.2000 in lift" in words(plot_section(tractor.job, 0.2 * 25.4e-3))


def test_the_curtain_is_a_scene_off_the_screen(sidecar, opengl):
    plotter = plot_curtain(sidecar, "wall relieved", 8e-3, quantity="mach", camera="cylinder", size=(480, 300))
    picture = plotter.screenshot()
    plotter.close()
    assert picture.shape == (300, 480, 3)
    assert len(np.unique(picture.reshape(-1, 3), axis=0)) > 500
    with pytest.raises(UsageError, match="Did you mean cylinder"):
        plot_curtain(sidecar, camera="cylindr")


# How it is drawn


def every_figure(reduction: Reduction) -> dict[str, Figure]:
    known = reduction_uncertainty(reduction)
    figures = {
        "flow": plot_flow(reduction, known),
        "velocities": plot_velocities(reduction, known),
        "unrolled": plot_unrolled(reduction, 0),
        "section": plot_section(reduction.job),
    }
    if len(reduction.runs) > 1:
        figures["changes"] = plot_changes(portviz.compare(reduction, 0, 1, known))
    if reduction.job.cam is not None:
        figures["event"] = plot_event(lift_event(reduction, known))
    return figures


@pytest.fixture(scope="module")
def hostile(made: Make) -> Reduction:
    reference = "$y$ <i>toward</i> the long wall of the bore of a single that never ran anywhere at all, on any hill"
    return made(36, range(1, 13), [*HOSTILE, "d", "e", "f"], cam=True, reference=reference)


@pytest.mark.parametrize("which", ["sidecar", "tractor", "hostile", "one"])
def test_all_words_stand_within_the_page(which, made, request):
    reduction = made(3, (5.0,), ("only",), flow=False) if which == "one" else request.getfixturevalue(which)
    for name, figure in every_figure(reduction).items():
        across, up = figure.get_size_inches()
        assert across == 7.0
        assert 0.5 < up <= 5.5
        with in_style(), warnings.catch_warnings():
            warnings.filterwarnings("ignore", r"Glyph \d+ .*missing from")
            box = figure.get_tightbbox()
        # [inch], of all that is drawn.
        assert min(box.x0, box.y0) >= 0.0, name
        assert box.x1 <= across, name
        assert box.y1 <= up, name


def test_names_are_drawn_as_they_are_typed(hostile):
    figure = plot_velocities(hostile, lift=4e-3, runs=[0, HOSTILE[1]])
    legend = [text.get_text() for text in figure.legends[0].get_texts()]
    assert legend[0] == f"(1) {HOSTILE[0]}"
    assert legend[1].startswith(r"(2) $\frac{1}{0}$ a very long")
    assert not any(text.get_parse_math() for text in figure.findobj(Text))
    # No more runs than five can be told apart.
    assert "1 more run not drawn" in words(plot_velocities(hostile))
    with pytest.raises(UsageError, match="there is no run 'nobody'"):
        plot_velocities(hostile, runs="nobody")
    with pytest.raises(UsageError, match="there is no run 6"):
        plot_flow(hostile, runs=[6])


def test_a_person_s_own_settings_change_nothing(sidecar, known):
    with mpl.rc_context({"font.size": 30.0, "axes.grid": True, "lines.linewidth": 9.0, "figure.facecolor": "black"}):
        figure = plot_flow(sidecar, known)
        shown = figure._repr_png_()
    assert {label.get_fontsize() for axes in figure.axes for label in axes.get_xticklabels()} == {8.0}
    assert shown == plot_flow(sidecar, known)._repr_png_()
    assert shown.startswith(b"\x89PNG")


@pytest.mark.parametrize("which", ["sidecar", "tractor"])
def test_a_page_can_carry_them_as_drawings(which, request):
    for name, figure in every_figure(request.getfixturevalue(which)).items():
        made = io.StringIO()
        with in_style():
            figure.savefig(made, format="svg")
        assert len(made.getvalue()) < 150_000, name


def test_a_section_of_many_cuts_stays_on_its_page(sidecar):
    cuts = tuple(Cut(np.radians(angle), 0.5e-3) for angle in (55.0, 60.0, 65.0, 70.0, 75.0, 80.0))
    figure = plot_section(replace(sidecar.job, seat=replace(sidecar.job.seat, bottom_cuts=cuts)))
    assert "bottom cut 6: 80°" in words(figure).replace("\n", " ")
    box = figure.get_tightbbox()
    assert min(box.x0, box.y0) >= 0.0
    assert box.x1 <= figure.get_size_inches()[0]
    assert box.y1 <= figure.get_size_inches()[1]
