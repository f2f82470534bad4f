"""The figure of a study: its maps hold the study's areas, many designs are sampled evenly and said so."""

import itertools
import warnings
from dataclasses import replace

import numpy as np
import pytest

from portviz.cli import run
from portviz.distribution.designs import named_designs, parse_variation, varied_designs
from portviz.distribution.study import run_coefficients, study_designs
from portviz.distribution.uncertainty import linear_uncertainty
from portviz.errors import JobError, UsageError
from portviz.geometry.passages import least_passages
from portviz.job.design_file import read_designs
from portviz.job.limits import read_limits
from portviz.report.study_tables import design_label
from portviz.scene.paper import in_style
from portviz.scene.study_charts import MOST_DRAWN, study_figure
from portviz.scene.study_data import (
    MOST_VALUES,
    cell_edges,
    dimension_map,
    drawn_places,
    evenly,
    pair_maps,
    part_of,
    varied_keys,
)


@pytest.fixture(scope="module")
def job(sidecar):
    return sidecar.job


@pytest.fixture(scope="module")
def make(sidecar, job):
    """A study of variations as a person types them, with the coefficients of the first run."""
    coefficients = run_coefficients(sidecar, linear_uncertainty(sidecar), 0)

    def made(*variations, lifts=(1e-3, 3.5e-3, 8e-3, 11e-3), holds=(), of=None):
        of = of or job
        values = dict(parse_variation(each, of) for each in variations)
        return study_designs(of, varied_designs(of, values, holds), lifts, coefficients=coefficients)

    return made


def drawn(study):
    """The figure, its axes by their titles, and all its words; nothing clipped, nothing warned of."""
    limits = read_limits(study.job)
    with in_style(), warnings.catch_warnings():
        warnings.simplefilter("error")
        figure = study_figure(study, *limits, lambda place: design_label(study, place))
        figure.canvas.draw()
    words = [text for text in figure.findobj(lambda each: hasattr(each, "get_text")) if text.get_text().strip()]
    renderer, size = figure.canvas.get_renderer(), figure.bbox
    for text in figure.texts:
        box = text.get_window_extent(renderer)
        assert box.x0 >= 0, text.get_text()
        assert box.x1 <= size.width, text.get_text()
        assert box.y0 >= 0, text.get_text()
        assert box.y1 <= size.height, text.get_text()
    for axes in figure.axes:
        box = axes.get_tightbbox(renderer)
        assert box.x0 >= -1, axes.get_title()
        assert box.x1 <= size.width + 1, axes.get_title()
        assert box.y0 >= -1, axes.get_title()
        assert box.y1 <= size.height + 1, axes.get_title()
    for one, other in itertools.combinations([axes for axes in figure.axes if axes.get_title()], 2):
        a, b = one.title.get_window_extent(renderer), other.title.get_window_extent(renderer)
        assert not a.overlaps(b), (one.get_title(), other.get_title())
    return figure, {axes.get_title(): axes for axes in figure.axes}, " ".join(text.get_text() for text in words)


def test_a_map_holds_the_studys_areas_at_its_lifts(make):
    study = make("seat.width=1.0:2.4:0.2 mm", holds=("contact",))
    found = dimension_map(study, "seat.width")
    own = np.searchsorted(found.lift, study.lift)
    assert found.lift[own] == pytest.approx(study.lift)
    assert found.value == pytest.approx(np.arange(1.0, 2.5, 0.2) * 1e-3)
    # The first design is the present one; then one a value, in ascending order.
    expected = study.flow_area[1:] / study.flow_area[0] - 1.0
    assert found.change[:, own] == pytest.approx(expected, abs=1e-12)
    assert found.takes_over == pytest.approx(study.throat_takes_over()[1:])
    assert found.present == pytest.approx(1.6e-3)
    between = int(np.argmax(~np.isin(np.arange(len(found.lift)), own)))
    area = least_passages(study.profiles, [found.lift[between]]).flow_area[:, 0]
    assert found.change[:, between] == pytest.approx(area[1:] / area[0] - 1.0, abs=1e-12)


def test_values_in_any_order_make_an_ascending_map(make):
    study = make("seat.width=2.0, 1.0, 2.0, 1.4 mm")
    found = dimension_map(study, "seat.width")
    assert found.value == pytest.approx([1.0e-3, 1.4e-3, 2.0e-3])
    own = np.searchsorted(found.lift, study.lift)
    expected = study.flow_area[[2, 4, 1]] / study.flow_area[0] - 1.0
    assert found.change[:, own] == pytest.approx(expected, abs=1e-12)


def test_maps_of_two_dimensions_hold_the_studys_areas_and_leave_refused_ones_open(make):
    study = make("seat.width=1.0:2.0:0.5 mm", "seat.throat_diameter=34:38:2 mm")
    assert varied_keys(study) == ("seat.width", "seat.throat_diameter")
    maps = pair_maps(study, varied_keys(study))
    # The lowest lift asked for, the nearest to a tenth of the head's diameter (4.1 mm), and the highest.
    assert [found.lift for found in maps] == pytest.approx([1e-3, 3.5e-3, 11e-3])
    for found, column in zip(maps, (0, 1, 3), strict=True):
        for place in range(1, study.count):
            across = int(np.argmin(np.abs(found.across - study.designs.values["seat.width"][place])))
            along = int(np.argmin(np.abs(found.along - study.designs.values["seat.throat_diameter"][place])))
            expected = study.flow_area[place, column] / study.flow_area[0, column] - 1.0
            assert found.change[along, across] == pytest.approx(expected, abs=1e-12)
        assert int(np.isfinite(found.change).sum()) == study.count - 1
    # A throat of 38 mm is wider than the inner edge of a 2.0 mm band (40.6 - 2 x 2.0 cos 45 deg = 37.8 mm).
    assert np.isnan(maps[0].change[2, 2])
    assert len(study.refused) == 1


def test_the_present_value_of_a_default_is_what_it_comes_to(tractor):
    job = tractor.job
    values = dict([parse_variation("seat.outer_diameter=1.40:1.44:0.01 in", job)])
    study = study_designs(job, varied_designs(job, values), [0.005])
    # The contract: a seat's outer diameter that nobody names is the head's.
    assert dimension_map(study, "seat.outer_diameter").present == pytest.approx(1.42 * 0.0254)


def test_places_are_taken_evenly():
    assert evenly(5, 8).tolist() == [0, 1, 2, 3, 4]
    taken = evenly(100_001, 6)
    assert taken.tolist() == [0, 20_000, 40_000, 60_000, 80_000, 100_000]
    assert evenly(0, 6).tolist() == []


def test_part_of_a_study_is_that_part(make):
    study = make("seat.width=1.0:2.4:0.2 mm")
    part = part_of(study, np.array([0, 3, 5]))
    assert part.flow_area == pytest.approx(study.flow_area[[0, 3, 5]])
    assert part.contact.width == pytest.approx(study.contact.width[[0, 3, 5]])
    assert part.designs.changes == tuple(study.designs.changes[place] for place in (0, 3, 5))
    assert part.throat_takes_over() == pytest.approx(study.throat_takes_over()[[0, 3, 5]])


def test_edges_of_cells_lie_half_way_between():
    assert cell_edges(np.array([1.0, 2.0, 4.0])) == pytest.approx([0.5, 1.5, 3.0, 5.0])
    edges = cell_edges(np.array([3.0]))
    assert edges[0] < 3.0 < edges[1]


def test_the_figure_of_one_dimension(make, job):
    study = make("seat.width=1.0:2.4:0.1 mm", holds=("contact",))
    _, axes, words = drawn(study)
    areas, change = (
        axes["flow area: the least passage at each lift"],
        axes["against the present design; colours as beside"],
    )
    lines = areas.get_lines()
    assert len(lines) == 1 + MOST_DRAWN
    assert lines[0].get_ydata() == pytest.approx(study.flow_area[0] * 1e6)
    assert lines[1].get_ydata() == pytest.approx(study.flow_area[1] * 1e6)
    assert lines[-1].get_ydata() == pytest.approx(study.flow_area[-1] * 1e6)
    percent = change.get_lines()[-1].get_ydata()
    assert percent == pytest.approx(100.0 * (study.flow_area[-1] / study.flow_area[0] - 1.0))
    painted = axes["change of flow area over seat width and lift"].collections[0]
    found = dimension_map(study, "seat.width")
    assert np.asarray(painted.get_array()).reshape(found.change.T.shape) == pytest.approx(100.0 * found.change.T)
    low, high = painted.norm.vmin, painted.norm.vmax
    assert low == pytest.approx(-high)
    assert high == pytest.approx(max(100.0 * np.abs(found.change).max(), 1.0))
    assert "12 of 15 designs, evenly taken" in words
    assert "above: another passage than the gap limits" in words
    assert "an assumption, no source" in words
    assert "“as found”" in words
    assert "usual seat width, 0.9 to 1.9 mm (workshop manuals" in words
    assert "no valve.seat_force in job.toml" in words
    width = axes["contact width along the cone; pressure: no valve.seat_force in job.toml"].get_lines()[0]
    assert width.get_ydata() == pytest.approx(study.contact.width[1:] * 1e3)
    assert job.title in words


def test_pressure_is_drawn_where_it_is_known(make, job):
    forced = replace(job, valve=replace(job.valve, seat_force=300.0))
    study = make("seat.width=1.0:2.0:0.2 mm", of=forced)
    _, axes, words = drawn(study)
    line = axes["spring's mean pressure on the band, without friction"].get_lines()[0]
    # Statics: force over the band's area as seen along the axis, pi (R^2 - r^2).
    outer, inner = study.contact.outer_radius[1:], study.contact.inner_radius[1:]
    assert line.get_ydata() == pytest.approx(300.0 / (np.pi * (outer**2 - inner**2)) / 1e6)
    assert "no valve.seat_force" not in words


def test_a_line_contact_is_no_point_of_the_curve(make):
    study = make("valve.face_angle=44, 45, 46 deg")
    _, axes, _ = drawn(study)
    contact = next(each for title, each in axes.items() if title.startswith("contact width"))
    assert np.isnan(contact.get_lines()[0].get_ydata()).tolist() == [True, False, True]
    assert contact.get_lines()[1].get_xdata() == pytest.approx([44.0, 46.0])


@pytest.mark.parametrize(
    ("variations", "lifts"),
    [
        (["seat.width=1.6 mm"], [8e-3]),
        (["seat.width=1.0 mm"], [0.0]),
        (["seat.width=1.0, 1.2 mm"], [0.0, 2e-3]),
        (["valve.margin=1.0:1.4:0.1 mm"], [2e-3, 9e-3]),
        (["seat.width=30 mm"], [2e-3, 9e-3]),
        (["seat.width=1.0:2.0:0.5 mm", "seat.angle=30, 45 deg"], [2e-3, 9e-3]),
        (["seat.width=1.0 mm", "seat.angle=30 deg"], [2e-3]),
        (["seat.width=1.0:2.0:0.5 mm", "seat.angle=30, 45 deg", "valve.margin=1, 2 mm"], [2e-3, 9e-3]),
        (["seat.bottom_cuts[2].width=0.5:2.5:0.5 mm"], [2e-3, 9e-3]),
        (["valve.seat_force=200:400:100 N"], [2e-3, 9e-3]),
    ],
)
def test_a_figure_of_any_study_is_whole(make, variations, lifts):
    figure, _, words = drawn(make(*variations, lifts=lifts))
    assert len(figure.axes) >= 3
    assert "makers' limits" in words


def test_named_designs_are_drawn_by_their_names(examples, job):
    named = read_designs(examples / "sidecar_intake" / "designs.toml", job)
    study = study_designs(job, named_designs(job, named), [2e-3, 11e-3])
    assert varied_keys(study) == ()
    _, axes, words = drawn(study)
    for each in named:
        assert each.name in words
    assert "nothing was measured to predict it from" in words
    contact = next(each for title, each in axes.items() if title.startswith("contact width"))
    assert contact.get_lines()[0].get_xdata() == pytest.approx(study.contact.width * 1e3)


def test_all_of_twelve_designs_are_drawn_and_each_value_of_a_larger_grid(make):
    study = make("seat.width=1.0:1.5:0.1 mm", "valve.face_angle=44, 45 deg")
    assert drawn_places(study, varied_keys(study), MOST_DRAWN).tolist() == list(range(1, 13))
    study = make("seat.width=1.0:1.7:0.1 mm", "valve.face_angle=44:46:0.5 deg")
    places = drawn_places(study, varied_keys(study), MOST_DRAWN)
    assert len(places) <= MOST_DRAWN
    for key in varied_keys(study):
        values = study.designs.values[key]
        assert set(values[places].tolist()) == set(values[1:].tolist())
    _, axes, words = drawn(study)
    assert f"Lines: {len(places)} of 40 designs, each value in one of them" in words
    # Contract, section 3: other angles than the seat's 45 deg touch along an edge.
    legend = [text.get_text() for text in axes["flow area: the least passage at each lift"].get_legend().get_texts()]
    assert sum("(line contact)" in each for each in legend) == int(np.sum(study.contact.line[places])) > 0
    assert "Hatched: face and seat touch along a line." in words


def test_line_contact_is_hatched_cell_by_cell(make):
    study = make("seat.width=1.0, 1.2 mm", "seat.angle=44, 45, 46 deg")
    for found in pair_maps(study, varied_keys(study)):
        assert found.line.tolist() == [[True, True], [False, False], [True, True]]
    assert dimension_map(make("valve.face_angle=44, 45, 46 deg"), "valve.face_angle").line.tolist() == [
        True,
        False,
        True,
    ]


def test_one_lift_makes_a_curve_and_small_changes_are_not_painted_large(make):
    study = make("seat.throat_diameter=34:36:0.5 mm", lifts=[11e-3])
    _, axes, _ = drawn(study)
    curve = axes["change of flow area at 11.00 mm lift"].get_lines()[1]
    # Ring round the stem: pi (R^2 - r^2), the least passage at full lift.
    ring = np.arange(34.0, 36.1, 0.5) ** 2 - 7.0**2
    assert curve.get_ydata() == pytest.approx(100.0 * (ring / (35.5**2 - 7.0**2) - 1.0), abs=1e-6)
    assert not any("and lift" in title for title in axes)
    study = make("valve.margin=1.0:1.4:0.1 mm", lifts=[2e-3, 9e-3])
    _, axes, words = drawn(study)
    assert axes["change of flow area over valve margin and lift"].collections[0].norm.vmax == pytest.approx(1.0)
    assert "All changes are below 1 %: the map's colours span that at least." in words


def test_more_names_than_a_legend_holds_are_counted(make, job):
    study = make("seat.width=1.0:1.6:0.02 mm")
    names = (None, *(f"design {number}" for number in range(1, study.count)))
    named = replace(study, designs=replace(study.designs, names=names))
    with in_style():
        figure = study_figure(named, *read_limits(job), lambda place: names[place])
    lines = figure.axes[0].get_lines()
    legend = [text.get_text() for text in figure.axes[0].get_legend().get_texts()]
    # Each named design has a line, and one stands for those that the legend has no room for.
    assert len(lines) == 1 + 31 + 1
    assert legend[-1] == "and 5 more"


def test_names_of_any_signs_stand_in_the_legend(job, make):
    study = make("seat.width=1.0, 1.2 mm")
    named = replace(study, designs=replace(study.designs, names=(None, "_過 $x$", "a" * 90)))
    limits = read_limits(job)
    with in_style():
        figure = study_figure(named, *limits, lambda place: named.designs.names[place])
    legend = [text.get_text().strip() for text in figure.axes[0].get_legend().get_texts()]
    assert legend == ["present", "_過 $x$", "a" * 39 + "…"]


def test_many_designs_are_sampled_and_that_is_said(make):
    study = make("seat.width=1.0:1.6:0.00002 mm", lifts=[2e-3, 9e-3])
    assert study.count == 30_002
    _, axes, words = drawn(study)
    assert f"Lines: {MOST_DRAWN} of 30,001 designs, evenly taken" in words
    assert f"Map: {MOST_VALUES} of 30,001 values, evenly taken" in words
    band = axes["flow area: the least passage at each lift"].collections[0].get_paths()[0].vertices
    assert band[:, 1].max() == pytest.approx(study.flow_area.max() * 1e6)
    assert len(axes["flow area: the least passage at each lift"].get_lines()) == 1 + MOST_DRAWN


def test_the_command_writes_the_chart(examples, tmp_path, capsys):
    job = str(examples / "sidecar_intake")
    for number, name in enumerate(("a.png", "b.png")):
        command = ["study", job, "--vary", "seat.width=1.0:2.0:0.5 mm", "--chart", str(tmp_path / name)]
        assert run(command) == 0
        assert f"Written: {tmp_path / name}" in capsys.readouterr().out
        if number == 0:
            with pytest.raises(JobError, match="there already"):
                run(command)
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()
    both = str(tmp_path / "d.png")
    with pytest.raises(UsageError, match="is the chart's name too"):
        run(["study", job, "--vary", "seat.width=1 mm", "--chart", both, "--csv", both])
    with pytest.raises(UsageError, match=r"chart: 'a.gif' must end in \.png or \.pdf or \.svg"):
        run(["study", job, "--vary", "seat.width=1.0:2.0:0.5 mm", "--chart", str(tmp_path / "a.gif")])
    assert (
        run(
            [
                "study",
                str(examples / "tractor_exhaust"),
                "--vary",
                "seat.width=0.05:0.08:0.01 in",
                "--chart",
                str(tmp_path / "c.pdf"),
                "--json",
            ]
        )
        == 0
    )
    assert (tmp_path / "c.pdf").is_file()
