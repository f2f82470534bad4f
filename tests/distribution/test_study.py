"""Studies of valve and seat: what follows, what is refused, what is held, and each result by another way."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from portviz.__main__ import main
from portviz.distribution.areas import areas_at, job_profiles
from portviz.distribution.cam_event import cam_event
from portviz.distribution.designs import parse_variation, varied_designs
from portviz.distribution.findings import findings, reach_warnings
from portviz.distribution.heights import study_heights
from portviz.distribution.study import Coefficients, Study, run_coefficients, study_designs
from portviz.distribution.uncertainty import linear_uncertainty
from portviz.errors import UsageError
from portviz.geometry.passages import least_passages
from portviz.job.limits import read_limits
from portviz.job.model import Job
from portviz.job.read import read_job
from portviz.report.study import design_columns

MM = 1e-3
deg = math.radians
WriteJob = Callable[..., Path]


@pytest.fixture
def write_job(tmp_path: Path, small_job: str) -> WriteJob:
    """Write the small job with some of its text changed, and return its folder."""

    def write(changes: dict[str, str] | None = None, name: str = "job") -> Path:
        text = small_job
        for old, new in (changes or {}).items():
            assert text.count(old) == 1
            text = text.replace(old, new)
        folder = tmp_path / name
        folder.mkdir()
        (folder / "job.toml").write_text(text, encoding="utf-8")
        return folder

    return write


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory, small_job: str) -> Job:
    folder = tmp_path_factory.mktemp("small")
    (folder / "job.toml").write_text(small_job, encoding="utf-8")
    return read_job(folder)


def printed(capsys: pytest.CaptureFixture[str], *arguments: object) -> dict[str, Any]:
    assert main([*map(str, arguments), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def studied(job: Job, lifts: Any, holds: tuple[str, ...] = (), **keys: Any) -> Study:
    """A study by keys whose dot is written as two underscores."""
    variations = {key.replace("__", "."): np.atleast_1d(np.array(value, dtype=float)) for key, value in keys.items()}
    return study_designs(job, varied_designs(job, variations, holds), lifts)


def test_what_is_unnamed_follows(small: Job) -> None:
    """Contract: face width 1.25 x seat width, face angle the seat's, seat's outer diameter the head's."""
    study = studied(small, [MM], seat__width=[1.2 * MM, 2.0 * MM], seat__angle=[deg(30.0), deg(45.0)])
    dims = study.designs.dimensions
    assert dims.face_width == pytest.approx(1.25 * dims.seat_width, rel=1e-12)
    assert np.array_equal(dims.face_angle, dims.seat_angle)
    assert not study.contact.line.any()
    study = studied(small, [MM], valve__head_diameter=[39 * MM, 41 * MM])
    assert 2.0 * study.designs.dimensions.seat_outer_radius == pytest.approx([40 * MM, 39 * MM, 41 * MM])


@pytest.mark.parametrize(
    ("key", "value", "old", "new"),
    [
        ("seat.width", "2.1 mm", 'width = "1.6 mm"', 'width = "2.1 mm"'),
        ("seat.angle", "30 deg", 'angle = "45 deg"', 'angle = "30 deg"'),
        ("seat.throat_diameter", "33 mm", 'throat_diameter = "35 mm"', 'throat_diameter = "33 mm"'),
        ("valve.head_diameter", "41 mm", 'head_diameter = "40 mm"', 'head_diameter = "41 mm"'),
        ("valve.face_width", "2.4 mm", 'stem_diameter = "7 mm"', 'stem_diameter = "7 mm"\nface_width = "2.4 mm"'),
        ("seat.outer_diameter", "39.7 mm", 'width = "1.6 mm"', 'width = "1.6 mm"\nouter_diameter = "39.7 mm"'),
        ("valve.fillet_radius", "6 mm", 'stem_diameter = "7 mm"', 'stem_diameter = "7 mm"\nfillet_radius = "6 mm"'),
    ],
)
def test_a_design_is_the_job_with_that_line_in_job_toml(write_job, capsys, key, value, old, new) -> None:
    """Its areas are those of `area` for a job.toml that says so: the same passages by another way in."""
    lifts = "0.5 mm, 3 mm, 7 mm, 11 mm"
    study = printed(capsys, "study", write_job(), "--vary", f"{key}={value}", "--lifts", lifts)
    plain = printed(capsys, "area", write_job({old: new}, "changed"), "--lifts", lifts)
    present = printed(capsys, "area", write_job(name="present"), "--lifts", lifts)
    assert study["designs"][0]["changes"] == {}
    (name,) = study["designs"][1]["changes"]
    assert name == key
    for design, areas in zip(study["designs"], (present, plain), strict=True):
        for found, expected in zip(design["lifts"], areas["lifts"], strict=True):
            for name, number in expected.items():
                assert found[name] == (number if isinstance(number, str) else pytest.approx(number, rel=1e-9)), name


def test_what_makes_no_valve_is_refused_with_its_reason(write_job, capsys) -> None:
    """0 and 90 degrees, no width, a throat larger than the seat; every design asked for is told, once."""
    job = write_job()
    found = printed(capsys, "study", job, "--vary", "seat.angle=0,45,90 deg", "--vary", "seat.width=0,1.6,4 mm")
    assert len(found["refused"]) + len(found["designs"]) == 1 + 9
    reasons = {
        (round(math.degrees(each["changes"]["seat.angle"])), round(each["changes"]["seat.width"] / MM, 3)): each[
            "reason"
        ]
        for each in found["refused"]
    }
    assert set(reasons) == {(0, 0.0), (0, 1.6), (0, 4.0), (45, 0.0), (45, 4.0), (90, 0.0), (90, 1.6), (90, 4.0)}
    for angle in (0, 90):
        assert reasons[angle, 1.6] == f"the seat's angle must lie between 0 and 90 deg, not {angle} deg"
    assert "must be larger than zero" in reasons[45, 0.0]
    # 40 - 2 x 4 cos 45 = 34.343 mm.
    assert "throat diameter 35.000 mm, inner diameter of the seat band 34.343 mm" in reasons[45, 4.0]


@pytest.mark.parametrize("hold", ["outer", "contact", "inner"])
def test_holds(small: Job, hold: str) -> None:
    """By hand: the band is 40 mm to 40 - 3.2 cos(45) mm at present, its face wider than itself."""
    width, angle = 1.1 * MM, deg(30.0)
    study = studied(small, [MM], (hold,), seat__width=width, seat__angle=angle)
    outer, inner = 40 * MM, 40 * MM - 3.2 * MM * math.cos(deg(45.0))
    radial = 2.0 * width * math.cos(angle)
    expected = {
        "outer": outer,
        "inner": inner + radial,
        "contact": 0.5 * (outer + inner) + 0.5 * radial,
    }[hold]
    assert 2.0 * study.designs.dimensions.seat_outer_radius[1] == pytest.approx(expected, abs=1e-9)
    moved = study.designs.changes[1].get("seat.outer_diameter", 40 * MM)
    assert moved == pytest.approx(expected, abs=1e-9)
    assert study.designs.changes[0] == {}


def test_a_contact_that_runs_into_the_heads_rim_is_held_still(small: Job) -> None:
    """Wider than twice the room to the rim: the band is cut off there, and its middle stays all the same."""
    study = studied(small, [MM], ("contact",), seat__width=np.linspace(1.6, 2.4, 9) * MM)
    middle = study.contact.inner_radius + study.contact.outer_radius
    assert middle == pytest.approx(np.full(10, middle[0]), abs=1e-9)
    assert np.all(study.contact.outer_radius <= 20 * MM + 1e-12)


def test_holds_that_contradict(small: Job) -> None:
    with pytest.raises(UsageError, match="contradict each other"):
        varied_designs(small, {"seat.width": np.array([MM])}, ("outer", "inner"))
    with pytest.raises(UsageError, match=r"outer can't be held while seat\.outer_diameter is varied"):
        varied_designs(small, {"seat.outer_diameter": np.array([0.04])}, ("outer",))
    with pytest.raises(UsageError, match=r"throat can't be held while seat\.throat_diameter is varied"):
        varied_designs(small, {"seat.throat_diameter": np.array([0.03])}, ("throat",))
    with pytest.raises(UsageError, match="Did you mean contact"):
        varied_designs(small, {}, ("contct",))


def test_predicted_flow_of_the_present_design_is_the_benchs(examples, capsys) -> None:
    """At the measured lifts the coefficient on the flow area gives back what it came from, for each run."""
    summary = printed(capsys, "summary", examples / "sidecar_intake")
    for run in summary["runs"]:
        found = printed(
            capsys, "study", examples / "sidecar_intake", "--vary", "seat.width=1.2 mm", "--run", run["run"]
        )
        assert found["run"] == run["run"]
        present, other = found["designs"]
        assert len(present["lifts"]) == len(run["lifts"])
        for mine, theirs, changed in zip(present["lifts"], run["lifts"], other["lifts"], strict=True):
            assert mine["flow_m3_s"] == pytest.approx(theirs["flow_m3_s"], rel=1e-9)
            assert changed["flow_m3_s"] / changed["flow_area_m2"] == pytest.approx(
                mine["flow_m3_s"] / mine["flow_area_m2"], rel=1e-9
            )
            # Half of what the area brings, and a hundredth at least.
            half = 0.5 * abs(changed["flow_m3_s"] - mine["flow_m3_s"])
            assert changed["flow_m3_s_band"] == pytest.approx(max(half, 0.01 * changed["flow_m3_s"]))
            assert mine["flow_m3_s_band"] == 0.0


def test_no_flow_is_predicted_beyond_the_measured_lifts(examples, capsys) -> None:
    found = printed(
        capsys, "study", examples / "sidecar_intake", "--vary", "seat.width=1.2 mm", "--lifts", "0.5 mm, 4 mm, 12 mm"
    )
    for design in found["designs"]:
        low, measured, high = (lift["flow_m3_s"] for lift in design["lifts"])
        assert low is high is None
        assert measured > 0.0


def test_without_readings_nothing_is_predicted(write_job, capsys) -> None:
    found = printed(capsys, "study", write_job(), "--vary", "seat.width=1.2 mm")
    assert found["run"] is None
    assert {lift["flow_m3_s"] for design in found["designs"] for lift in design["lifts"]} == {None}
    assert found["designs"][1]["contact"]["mean_pressure_pa"] is None


@pytest.mark.parametrize(("angle", "allowed"), [(30.0, 0.0035), (45.0, 0.002), (60.0, 0.002)])
def test_plain_seats_against_the_textbooks_stages(small: Job, angle: float, allowed: float) -> None:
    """[Heywood] 6.7 and 6.8 (from memory, derived again) stand square to the seat, which is not the least ring.

    The exact gap of a plain seat, its face as wide as itself, is never more, and less by at most 0.2 % (0.35 % at 30
    deg) for radial widths up to a twenty-third of the head; a wider 30 deg seat falls shorter.
    """
    widths = np.linspace(0.8, 2.0, 7) * MM
    lifts = np.linspace(0.25, 9.0, 36) * MM
    study = studied(
        small,
        lifts,
        seat__width=widths,
        valve__face_width=widths,
        seat__angle=deg(angle),
        seat__throat_diameter=33 * MM,
        valve__underhead_angle=0.0,
    )
    dims = study.designs.dimensions
    plain = np.flatnonzero(np.abs(dims.seat_width - dims.face_width) < 1e-12)
    assert len(plain) == len(widths)
    checked = 0
    for design in plain:
        # Written anew: D 40 mm, w the radial width.
        b, w, head = deg(angle), dims.seat_width[design] * math.cos(deg(angle)), 40 * MM
        first = np.pi * lifts * math.cos(b) * (head - 2.0 * w + 0.5 * lifts * math.sin(2.0 * b))
        second = np.pi * (head - w) * np.hypot(lifts - w * math.tan(b), w)
        stage = np.where(lifts <= w / (math.sin(b) * math.cos(b)), first, second)
        below = stage < np.pi / 4.0 * (0.033**2 - 0.007**2)
        ratio = study.gap_area[design, below] / stage[below]
        assert np.all(ratio <= 1.0 + 1e-12)
        assert np.all(ratio >= 1.0 - allowed)
        assert study.three_stage_area[design, below] == pytest.approx(stage[below], rel=1e-12)
        checked += int(below.sum())
    assert checked > 130


def test_a_30_degree_seat_opens_more_than_one_of_45_at_low_lift(small: Job) -> None:
    """pi D L cos(b), D the inner diameter of the contact held: cos 30 / cos 45 = 1.2247 where the lift goes to zero."""
    study = studied(small, [1e-7], ("inner",), seat__angle=[deg(30.0), deg(45.0)])
    flat, steep = study.flow_area[1:, 0]
    assert flat / steep == pytest.approx(math.cos(deg(30.0)) / math.cos(deg(45.0)), rel=1e-5)
    inner = 40 * MM - 3.2 * MM * math.cos(deg(45.0))
    assert steep == pytest.approx(math.pi * inner * 1e-7 * math.cos(deg(45.0)), rel=1e-5)


def test_low_lift_change_is_the_mean_of_low_lifts(small: Job) -> None:
    """Five lifts up to a tenth of the head, 4 mm here, whatever lifts are asked for."""
    lifts = np.array([0.8, 1.6, 2.4, 3.2, 4.0]) * MM
    study = studied(small, lifts, seat__width=[1.0 * MM, 2.2 * MM])
    ratio = study.flow_area / study.flow_area[0]
    assert study.low_lift_change == pytest.approx(ratio.mean(axis=1) - 1.0, rel=1e-9, abs=1e-12)
    assert study.low_lift_change[0] == 0.0
    assert study.low_lift_change[1] > 0.0 > study.low_lift_change[2]
    high = studied(small, [6 * MM, 8 * MM], seat__width=[1.0 * MM, 2.2 * MM])
    assert high.low_lift_change == pytest.approx(study.low_lift_change, rel=1e-12)


def test_where_the_throat_takes_over_by_a_fine_search(examples) -> None:
    """Every lift in steps of 2 um, up to the first at which the gap no longer limits."""
    job = read_job(examples / "sidecar_intake")
    widths = np.array([1.0, 1.6, 2.2]) * MM
    study = studied(
        job, np.linspace(1.0, 11.0, 11) * MM, seat__width=widths, seat__throat_diameter=[33 * MM, 35.5 * MM]
    )
    fine = np.arange(0.002, 11.0, 0.002) * MM
    gap = least_passages(study.profiles, fine).limited_by_gap
    expected = fine[np.argmax(~gap, axis=1)]
    assert np.all(~gap[:, -1])
    assert study.throat_takes_over() == pytest.approx(expected, abs=2.5e-6)
    # Whatever lifts are asked for; nothing takes over where the head is small for its throat.
    few = studied(job, [1 * MM], seat__width=widths, seat__throat_diameter=[33 * MM, 35.5 * MM])
    assert few.throat_takes_over() == pytest.approx(study.throat_takes_over(), abs=2.5e-6)


def test_event_area_and_flow_by_a_fine_quadrature(sidecar) -> None:
    """Over crank in 20000 steps, areas at 1200 lifts, coefficients by scipy's PCHIP, held where none was measured.

    The study takes its mean straight between 16 lifts; a thousandth is allowed for the areas' bends.
    """
    job = sidecar.job
    event = cam_event(job)
    coefficients = run_coefficients(sidecar, linear_uncertainty(sidecar), 0)
    variations = {"seat.width": np.array([1.0, 2.2]) * MM, "seat.throat_diameter": np.array([33.0, 35.4]) * MM}
    study = study_designs(job, varied_designs(job, variations), [MM], coefficients=coefficients, event=event)
    assert study.event_area is not None
    assert study.event_flow is not None
    crank = np.linspace(event.opening_deg, event.closing_deg, 20_001)
    lift = np.interp(crank, event.crank_deg, event.lift)
    lifts = np.linspace(0.0, event.peak_lift, 1201)
    areas = np.concatenate([np.zeros((study.count, 1)), least_passages(study.profiles, lifts[1:]).flow_area], axis=1)
    inside = np.clip(lift, coefficients.lift[0], coefficients.lift[-1])
    value = PchipInterpolator(coefficients.lift, coefficients.value)(inside)
    for design in range(study.count):
        area = np.interp(lift, lifts, areas[design])
        mean = np.trapezoid(area, crank) / event.duration_deg
        flow = np.trapezoid(area * value, crank) / event.duration_deg * coefficients.flow_per_area
        assert study.event_area[design] == pytest.approx(mean, rel=1e-3)
        assert study.event_flow[design] == pytest.approx(flow, rel=2e-3)


def test_a_coefficient_held_above_what_was_measured_is_told(sidecar) -> None:
    job, event = sidecar.job, cam_event(sidecar.job)
    made = varied_designs(job, {})
    for highest, told in ((11 * MM, 0), (9 * MM, 1)):
        held = Coefficients("a", np.array([MM, highest]), np.array([0.7, 0.6]), np.array([0.01, 0.01]), 80.0)
        warnings = reach_warnings(study_designs(job, made, [MM], coefficients=held, event=event), event)
        assert len(warnings) == told
        assert all("above it the event's flow holds the last coefficient" in each for each in warnings)


def test_mean_pressure_by_hand(small: Job) -> None:
    """300 N over pi x mean diameter x radial width; with 60 bar besides on the circle within the contact."""
    study = studied(small, [MM], valve__seat_force=300.0, valve__gas_pressure=60e5)
    radial = 1.6 * MM * math.cos(deg(45.0))
    mean = 40 * MM - radial
    columns = design_columns(study)
    ring = math.pi * mean * radial
    assert columns["mean_pressure_pa"][1] == pytest.approx(300.0 / ring, rel=1e-12)
    both = (300.0 + math.pi / 4.0 * mean**2 * 60e5) / ring
    assert columns["mean_pressure_with_gas_pa"][1] == pytest.approx(both, rel=1e-12)
    # Friction 0.2 at 45 deg, going in: 1 / (1 + 0.2); loosening: 1 / (1 - 0.2).
    assert columns["mean_pressure_least_pa"][1] == pytest.approx(300.0 / ring / 1.2, rel=1e-12)
    assert columns["mean_pressure_greatest_pa"][1] == pytest.approx(300.0 / ring / 0.8, rel=1e-12)
    assert columns["mean_pressure_with_gas_least_pa"][1] == pytest.approx(both / 1.2, rel=1e-12)
    assert np.isnan(columns["mean_pressure_pa"][0])


def test_findings_tell_what_lies_outside_with_its_source(small: Job) -> None:
    limits, _ = read_limits(small)
    study = studied(small, [MM], seat__width=[0.8 * MM, 1.6 * MM], valve__face_angle=[deg(45.0), deg(43.0)])
    said = findings(study, limits, range(study.count))
    assert not any("seat width" in each for each in said[0])
    assert any(
        each.startswith("seat width 0.80 mm is outside the usual range, 0.9 to 1.9 mm (work") for each in said[1]
    )
    assert any("interference angle 2.00 deg is outside" in each for each in said[2])
    assert any("they touch along a line at 40.00 mm diameter, the band's outer edge" in each for each in said[2])
    # The throat's 35 over the head's 40 mm is within what is usual, and no finding permits anything.
    assert not any("throat over head" in each for each in said[0])
    assert not any("allowed" in words or "safe" in words for each in said for words in each)


def test_heights_by_hand(examples) -> None:
    """45 deg: 0.2 / cos 45 = 0.2828 mm; head's lower edge 1.4 mm below the seat's edge (margin 1.2, head 0.2 over)."""
    job = read_job(examples / "sidecar_intake")
    event = cam_event(job)
    study = studied(job, [MM, 11 * MM], seat__width=1.2 * MM)
    heights = study_heights(study, 0.2 * MM, 12 * MM, event)
    assert heights.sinks == pytest.approx([0.282842712 * MM] * 2, rel=1e-8)
    stands_out = study.contact.protrusion[0]
    # Face and seat of one angle lie on one cone: 0.2 mm farther out is 0.2 mm lower.
    assert stands_out == pytest.approx(1.4 * MM, rel=1e-9)
    assert heights.protrusion[0] == pytest.approx(stands_out - 0.282842712 * MM, rel=1e-8)
    assert heights.clearance is not None
    assert heights.clearance[0] == pytest.approx(12 * MM - stands_out + 0.282842712 * MM - np.array([1, 11]) * MM)
    assert heights.least_clearance is not None
    assert heights.least_clearance[0] == pytest.approx(12 * MM - stands_out + 0.282842712 * MM - event.peak_lift)
    assert heights.of_cam
    without = study_heights(study, None, 12 * MM, None)
    assert without.least_clearance is not None
    assert (without.highest_lift, without.of_cam) == (11 * MM, False)
    assert without.least_clearance[0] < 0.0 < heights.least_clearance[0]


def test_a_seat_widened_outward_into_its_top_cut_lets_the_valve_sink(examples) -> None:
    """By hand: 0.1 mm out along 45 deg is 0.1 mm lower, but the 30 deg top cut there only 0.0577 mm: 0.0423 mm."""
    job = read_job(examples / "sidecar_intake")
    outer = job.valve.head_diameter - 0.4 * MM
    widened = {"seat__outer_diameter": outer + 0.2 * MM, "seat__width": job.seat.width + 0.1 * MM / math.cos(deg(45.0))}
    study = studied(job, [MM], **widened)
    assert study.contact.protrusion == pytest.approx([1.4 * MM, 1.3 * MM], rel=1e-9)
    sinks = 0.1 * MM * (1.0 - math.tan(deg(30.0)))
    assert study_heights(study, None, None, None).protrusion == pytest.approx([1.4 * MM, 1.4 * MM - sinks], rel=1e-9)
    said = " ".join(findings(study, (), range(2))[1])
    assert "the valve sinks by at least 0.04 mm" in said


@settings(max_examples=60, deadline=None)
@given(
    first=st.integers(1, 40),
    steps=st.integers(0, 30),
    step=st.integers(1, 9),
    unit=st.sampled_from([("mm", 1e-3), ("in", 0.0254), ("thou", 2.54e-5)]),
)
def test_a_range_names_every_step_and_its_end(small: Job, first: int, steps: int, step: int, unit: tuple) -> None:
    """Values of a tenth, as a person would type them: last one included, however its last digits fall."""
    low, high = first / 10, (first + steps * step) / 10
    key, values = parse_variation(f"seat.width={low}:{high}:{step / 10} {unit[0]}", small)
    assert key == "seat.width"
    assert values == pytest.approx([(first + n * step) / 10 * unit[1] for n in range(steps + 1)], rel=1e-12)


@settings(max_examples=40, deadline=None)
@given(width=st.floats(0.8, 2.4), angle=st.floats(25.0, 60.0), outer=st.floats(39.4, 40.4), lift=st.floats(0.1, 12.0))
def test_a_study_is_the_same_one_by_one(small: Job, width: float, angle: float, outer: float, lift: float) -> None:
    """A design among many has the areas that a job of its own has."""
    study = studied(
        small,
        [lift * MM],
        seat__width=[1.5 * MM, width * MM],
        seat__angle=[deg(40.0), deg(angle)],
        seat__outer_diameter=outer * MM,
    )
    wanted = {"seat.width": width * MM, "seat.angle": deg(angle)}
    places = [n for n, each in enumerate(study.designs.changes) if wanted.items() <= each.items()]
    assume(places)
    seat = replace(small.seat, angle=deg(angle), width=width * MM, outer_diameter=outer * MM)
    valve = replace(small.valve, face_angle=deg(angle), face_width=1.25 * width * MM)
    alone = replace(small, seat=seat, valve=valve)
    areas = areas_at(alone, job_profiles(alone), [lift * MM])
    assert study.flow_area[places[0], 0] == pytest.approx(areas.flow_area[0], rel=1e-9)
    assert study.three_stage_area[places[0], 0] == pytest.approx(areas.three_stage_area[0], rel=1e-12)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("seat.width", "is no variation"),
        ("seat.widht=1:2:0.5 mm", "Did you mean seat.width?"),
        ("throat_diameter=30:34:1 mm", "Did you mean seat.throat_diameter?"),
        ("seat.width=1:2:0.5", "can't be understood"),
        ("seat.width=1:2:0 mm", "must be larger than zero"),
        ("seat.width=2:1:0.1 mm", "write the smaller one first"),
        ("seat.width=1:2:0.0000001 mm", "at most 100,000"),
        ("seat.width=1:2:0.5 deg", "is not a length"),
        ("seat.width=1e9 mm", "beyond any length"),
        ("seat.bottom_cuts[1].width=1 mm", "none of the job's bottom cuts; it has 0"),
        ("seat.top_cut.width=1 mm", "the job has no seat.top_cut"),
        ("bench.test_pressure=1 kPa", "is no dimension of valve or seat"),
    ],
)
def test_variations_that_can_not_be(small: Job, text: str, words: str) -> None:
    with pytest.raises(UsageError) as refusal:
        parse_variation(text, small)
    assert words in str(refusal.value)
