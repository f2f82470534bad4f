"""The dimensioned section: what it shows is the profiles', and no label lies over another."""

import itertools
import time
import warnings
from dataclasses import replace

import numpy as np
import pytest

from portviz.cli import run
from portviz.distribution.areas import job_profiles
from portviz.errors import JobError, UsageError
from portviz.geometry.passages import least_passages
from portviz.job.design_file import read_designs
from portviz.job.model import Cut
from portviz.job.read import read_job
from portviz.scene.paper import Box, fitted_view, in_style, round_length, spread, write_figure
from portviz.scene.section_drawing import closed_head, detail_corners, metal_outlines, section_figure
from portviz.scene.section_parts import design_section, differences


@pytest.fixture(scope="module")
def job(examples):
    return read_job(examples / "sidecar_intake", tables=False)


@pytest.fixture(scope="module")
def inch_job(examples):
    return read_job(examples / "tractor_exhaust", tables=False)


@pytest.fixture(scope="module")
def designs(examples, job):
    found = read_designs(examples / "sidecar_intake" / "designs.toml", job)
    return {each.name: each.job for each in found}


def with_cuts(job, count, width):
    """The job with so many bottom cuts of one width [m], each 5 deg steeper than the one before."""
    cuts = tuple(Cut(np.radians(50.0 + 5.0 * number), width) for number in range(count))
    return replace(job, seat=replace(job.seat, bottom_cuts=cuts))


def extents(figure):
    """Every text of a figure that is seen, with its box in pixels."""
    renderer = figure.canvas.get_renderer()
    texts = [text for axes in figure.axes for text in axes.texts if text.get_text().strip()]
    return [(text.get_text(), text.get_window_extent(renderer)) for text in texts]


def overlaps(figure):
    """Pairs of texts that lie over each other by more than half a pixel, and texts that leave the sheet."""
    found = extents(figure)
    wrong = []
    for (one, a), (other, b) in itertools.combinations(found, 2):
        across, along = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
        if across > 0.5 and along > 0.5:
            wrong.append((one, other))
    width, height = figure.bbox.width, figure.bbox.height
    outside = [words for words, box in found if box.x0 < 0 or box.y0 < 0 or box.x1 > width or box.y1 > height]
    return wrong + outside


@pytest.mark.parametrize("lift", [0.0, 3e-3, 11e-3])
def test_lines_are_the_profiles(job, lift):
    section = design_section(job, "present", lift)
    profiles = job_profiles(job)
    assert section.wall_line[:-1] == pytest.approx(profiles.wall[0, :-1])
    assert section.wall_line[-1, 0] == pytest.approx(0.5 * job.seat.throat_diameter)
    assert section.valve_line[:4] == pytest.approx(profiles.valve[0, :4] - [0.0, lift])
    for part, start in zip(section.wall, (0, 1, 2, 3, 4), strict=False):
        assert part.points == pytest.approx(profiles.wall[0, start : start + 2]), part.name
    names = [part.name for part in section.valve]
    assert names == ["margin", "face", "back cut", "under-head cone", "fillet"]
    centre = profiles.fillet_centre[0] - [0.0, lift]
    fillet = section.valve[-1].points
    assert np.hypot(*(fillet - centre).T) == pytest.approx(job.valve.fillet_radius)


def test_diameters_are_the_jobs(job):
    section = design_section(job, "present", 0.0)
    found = {each.name: 2.0 * each.radius for each in section.diameters}
    # By the definition of widths along the cone: the band takes width x cos(angle) of each radius.
    inner = job.seat.outer_diameter - 2.0 * job.seat.width * np.cos(job.seat.angle)
    assert found == pytest.approx(
        {
            "seat inner": inner,
            "seat outer": job.seat.outer_diameter,
            "contact mean": 0.5 * (inner + job.seat.outer_diameter),
            "head": job.valve.head_diameter,
            "throat": job.seat.throat_diameter,
            "stem": job.valve.stem_diameter,
        }
    )


def test_the_contact_band_lies_on_the_seat_and_is_told(job):
    section = design_section(job, "present", 0.0)
    assert section.contact_line == pytest.approx(section.wall[1].points)
    assert section.least_line is None
    assert section.least_words == "contact: 1.60 mm wide, mean Ø 39.47 mm"
    steep = replace(job, valve=replace(job.valve, face_angle=np.radians(44.0)))
    line = design_section(steep, "steep", 0.0)
    # A face flatter than the seat touches at the outer edge (contract, section 3).
    assert line.contact_line == pytest.approx(np.array([[20.3e-3, 0.0], [20.3e-3, 0.0]]))
    assert line.least_words == "contact: line at Ø 40.60 mm, angles 1° apart"
    names = [each.name for each in line.diameters]
    assert "contact line at" in names
    assert "contact mean" not in names
    rows = {name: cells for name, *cells in differences(section, line)}
    assert rows["contact diameter"] == ["mean 39.47 mm", "line at 40.60 mm"]


def test_the_red_line_is_the_least_passage(job):
    for lift in (2e-3, 8e-3, 11e-3):
        section = design_section(job, "present", lift)
        start, end = section.least_line
        # Mensuration of a cone's frustum: pi (r1 + r2) x slant.
        area = np.pi * (start[0] + end[0]) * np.hypot(*(end - start))
        assert area == pytest.approx(float(least_passages(job_profiles(job), [lift]).flow_area[0, 0]))
        assert f"{area * 1e6:.1f} mm²" in section.least_words
    assert "throat to stem" in section.least_words


def test_trimmed_cuts_have_their_trimmed_width_and_say_so(job):
    section = design_section(with_cuts(job, 5, 0.9e-3), "five", 0.0)
    parts = {part.name: part for part in section.wall}
    trimmed = [part for part in section.wall if "trimmed" in part.words]
    assert len(trimmed) == 1
    assert f"{trimmed[0].length * 1e3:.2f} mm" in trimmed[0].words
    assert "from 0.90 mm" in trimmed[0].words
    assert parts["bottom cut 1"].length == pytest.approx(0.9e-3)
    assert len(section.left_out) == 5 - sum(name.startswith("bottom cut") for name in parts)
    assert "cone to the throat" not in parts


def test_the_detail_holds_all_cuts_and_the_face(job):
    for lift in (0.0, 8e-3):
        section = design_section(job, "present", lift)
        low, high = detail_corners(section)
        for part in (*section.wall[:-1], *section.valve[:3]):
            assert (part.points > low).all()
            assert (part.points < high).all()
    ring, valve = metal_outlines(section)
    assert ring[:, 0].min() == pytest.approx(0.5 * job.seat.throat_diameter)
    assert valve[[0, -1], 0] == pytest.approx([0.0, 0.0])


def test_the_dashed_head_is_closed_below_and_within_its_view(job):
    larger = replace(job, valve=replace(job.valve, head_diameter=43e-3))
    one, other = design_section(job, "present", 0.0), design_section(larger, "larger", 0.0)
    outline = closed_head(other)
    # From the axis along the head's underside, a margin below the rim, to the rim itself.
    assert outline[0] == pytest.approx([0.0, outline[1, 1]])
    assert outline[1] == pytest.approx([21.5e-3, outline[2, 1] - job.valve.margin])
    with in_style():
        figure = section_figure(one, other)
        assert overlaps(figure) == []


def test_views_keep_the_shape_of_metal():
    view = fitted_view(np.array([0.01, -0.002]), np.array([0.03, 0.004]), Box(1.0, 1.0, 5.0, 3.0))
    corner = view.to_sheet([[0.01, -0.002], [0.03, 0.004]])
    assert (corner >= np.array([1.0, 1.0]) - 1e-9).all()
    assert (corner <= np.array([5.0, 3.0]) + 1e-9).all()
    step = corner[1] - corner[0]
    assert step[0] / step[1] == pytest.approx(20.0 / 6.0)
    assert view.to_metal(corner[1]) == pytest.approx([0.03, 0.004])


@pytest.mark.parametrize(("most", "unit", "expected"), [(7.3e-3, "mm", 5e-3), (0.3 * 0.0254, "in", 0.2 * 0.0254)])
def test_scale_bars_are_round(most, unit, expected):
    assert round_length(most, unit) == pytest.approx(expected)


def test_spread_labels_keep_order_and_room_and_move_as_little_as_may_be():
    rng = np.random.default_rng(5)
    for _ in range(40):
        wanted = np.sort(rng.uniform(0.0, 6.0, 8))
        heights = rng.uniform(0.2, 0.7, 8)
        found = spread(wanted.tolist(), heights.tolist(), 0.0, 6.0)
        assert (np.diff(found) >= 0.5 * (heights[1:] + heights[:-1]) - 1e-9).all()
        assert found[0] - 0.5 * heights[0] >= -1e-9
        assert found[-1] + 0.5 * heights[-1] <= 6.0 + 1e-9
        # The nearest such sequence in least squares, by a general solver (scipy's SLSQP).
        from scipy.optimize import minimize

        gaps = 0.5 * (heights[1:] + heights[:-1])
        best = minimize(
            lambda at, wanted=wanted: np.sum((at - wanted) ** 2),
            found,
            jac=lambda at, wanted=wanted: 2.0 * (at - wanted),
            constraints={"type": "ineq", "fun": lambda at, gaps=gaps: np.diff(at) - gaps},
            bounds=[(0.5 * heights[0], None), *[(None, None)] * 6, (None, 6.0 - 0.5 * heights[-1])],
            method="SLSQP",
        )
        assert np.sum((found - wanted) ** 2) <= best.fun + 1e-6


@pytest.mark.parametrize("count", range(6))
@pytest.mark.parametrize("width", [0.15e-3, 1.5e-3])
@pytest.mark.parametrize("lift", [0.0, 9e-3])
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_no_label_lies_over_another(job, inch_job, count, width, lift, unit):
    chosen = with_cuts(job if unit == "mm" else inch_job, count, width)
    with in_style():
        figure = section_figure(design_section(chosen, "a design with a rather long name, as people give them", lift))
        assert overlaps(figure) == []
        said = " ".join(words for words, _ in extents(figure))
    for name in ("seat band", "throat", "margin", "face", "head Ø", "stem Ø", "detail"):
        assert name in said
    assert ("contact:" in said) == (lift == 0.0)
    assert ("least passage" in said) == (lift > 0.0)


def test_no_label_lies_over_another_where_parts_are_missing_or_odd(small_job, tmp_path):
    (tmp_path / "job.toml").write_text(small_job.replace("Small twin", "Title " * 33), encoding="utf-8")
    plain = read_job(tmp_path, tables=False)
    thick = replace(plain, valve=replace(plain.valve, stem_diameter=30e-3, fillet_radius=0.5e-3))
    wide = replace(plain, seat=replace(plain.seat, width=0.3e-3))
    for each, lift in itertools.product((plain, thick, wide), (0.0, 5e-3)):
        with in_style():
            assert overlaps(section_figure(design_section(each, "present", lift))) == []


@pytest.mark.parametrize("lift", [0.0, 5e-3, 11e-3])
def test_no_label_lies_over_another_with_a_second_design(job, designs, lift):
    for name, other in designs.items():
        with in_style():
            figure = section_figure(design_section(job, "present", lift), design_section(other, name, lift))
            assert overlaps(figure) == []
            said = [words for words, _ in extents(figure)]
        assert any(f"dashed: {name}" in words for words in said)
        assert f"{name} (dashed)" in said


def test_what_differs_is_listed(job, designs):
    one = design_section(job, "present", 11e-3)
    rows = {name: cells for name, *cells in differences(one, design_section(designs["larger throat"], "t", 11e-3))}
    assert rows["seat throat diameter"] == ["35.50 mm", "36.40 mm"]
    assert rows["seat bottom cut 2 width"] == ["1.60 mm", "0.60 mm"]
    # Ring round the stem: pi (R^2 - r^2), the passage of both at full lift.
    ring = [np.pi * (throat**2 - 3.5**2) for throat in (17.75, 18.2)]
    assert rows["flow area at 11.00 mm"] == [
        f"{ring[0]:.1f} mm²",
        f"{ring[1]:.1f} mm² ({100 * (ring[1] / ring[0] - 1):+.1f} %)",
    ]
    assert set(rows) == {"seat throat diameter", "seat bottom cut 2 width", "flow area at 11.00 mm"}
    assert differences(one, one) == []
    gone = replace(job, seat=replace(job.seat, top_cut=None))
    rows = {name: cells for name, *cells in differences(one, design_section(gone, "t", 11e-3))}
    assert rows["seat top cut width"] == ["1.20 mm", "none"]


@pytest.mark.parametrize("ending", [".png", ".pdf", ".svg"])
def test_the_same_input_makes_the_same_file(job, tmp_path, monkeypatch, ending):
    section = design_section(job, "present", 0.0)
    written = []
    for number in range(2):
        path = tmp_path / f"{number}{ending}"
        # What a person has set for plots of their own, and the hour, leave no trace.
        import matplotlib as mpl

        with mpl.rc_context({"font.size": 8.0 + 9.0 * number, "lines.linewidth": 1.0 + number}):
            write_figure(lambda: section_figure(section), path)
        written.append(path.read_bytes())
        monkeypatch.setattr(time, "time", lambda: 1.9e9)
        monkeypatch.setenv("SOURCE_DATE_EPOCH", "86400")
    assert written[0] == written[1]
    assert written[0].startswith({".png": b"\x89PNG", ".pdf": b"%PDF", ".svg": b"<?xml"}[ending])


def test_the_command_writes_and_overwrites_only_when_told(examples, tmp_path, capsys):
    job, file = str(examples / "sidecar_intake"), tmp_path / "a.png"
    designs = ["--designs", str(examples / "sidecar_intake" / "designs.toml")]
    assert run(["section", job, str(file), *designs, "--design", "30 deg seat", "--against", "present"]) == 0
    assert f"Written: {file}" in capsys.readouterr().out
    with pytest.raises(JobError, match="there already"):
        run(["section", job, str(file)])
    assert run(["section", job, str(file), "--lift", "4 mm", "--overwrite"]) == 0
    assert run(["section", str(examples / "tractor_exhaust"), str(tmp_path / "b.svg"), "--lift", "0.2 in"]) == 0


def test_signs_that_the_font_lacks_are_drawn_without_a_word(job, tmp_path):
    section = design_section(replace(job, title="Zwölf 気筒 $x"), "過", 0.0)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        write_figure(lambda: section_figure(section), tmp_path / "a.pdf")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["{tmp}/a.pgn"], "must end in .png or .pdf or .svg. Did you mean .png?"),
        (["{tmp}/a"], "must end in"),
        (["{tmp}/a.png", "--lift", "4"], "lift"),
        (["{tmp}/a.png", "--lift", "-1 mm"], "is negative"),
        (["{tmp}/a.png", "--lift", "1 m"], "more than the valve head's diameter"),
        (["{tmp}/a.png", "--design", "narrow"], "needs the file that holds it: --designs designs.toml"),
        (["{tmp}/a.png", "{designs}", "--design", "30 deg sat"], "Did you mean '30 deg seat'?"),
        (["{tmp}/a.png", "{designs}", "--against", "larger throt"], "against: there is no design 'larger throt'"),
        (["{tmp}/a.png", "--against", "present"], "can't be drawn over itself"),
    ],
)
def test_what_can_not_be_is_refused(examples, tmp_path, arguments, words):
    job = examples / "sidecar_intake"
    given = []
    for each in arguments:
        given += (
            ["--designs", str(job / "designs.toml")] if each == "{designs}" else [each.replace("{tmp}", str(tmp_path))]
        )
    with pytest.raises(UsageError) as refusal:
        run(["section", str(job), *given])
    assert words in str(refusal.value)
    assert list(tmp_path.iterdir()) == []


def test_a_design_that_makes_no_seat_is_refused_by_its_name(examples, tmp_path):
    file = tmp_path / "designs.toml"
    file.write_text('[[design]]\nname = "far too wide"\nseat.throat_diameter = "40.5 mm"\n', encoding="utf-8")
    command = ["section", str(examples / "sidecar_intake"), str(tmp_path / "a.png"), "--designs", str(file)]
    with pytest.raises(JobError) as error:
        run([*command, "--design", "far too wide"])
    assert "designs.toml, design 'far too wide'" in str(error.value)
    assert "the throat is larger than the seat" in str(error.value)
    with pytest.raises(JobError, match="there is no such folder"):
        run(["section", str(tmp_path / "none"), str(tmp_path / "a.png")])
    assert not (tmp_path / "a.png").exists()
