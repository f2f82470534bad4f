"""Inverse questions: each answer put back through a study, by a plain search over a grid, and where there is none."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portviz.distribution.areas import areas_at, job_profiles
from portviz.distribution.designs import varied_designs
from portviz.distribution.inverse import find_throat, find_width
from portviz.distribution.recut import find_cuts
from portviz.distribution.study import StudyBase, study_designs
from portviz.errors import JobError, UsageError
from portviz.job.model import Cut, Job
from portviz.job.read import read_job

MM = 1e-3
deg = math.radians
BASE = StudyBase(None, None, [MM, 4 * MM, 8 * MM])


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory, small_job: str) -> Job:
    """Head 40 mm, seat 45 deg x 1.6 mm, throat 35 mm, no cuts."""
    folder = tmp_path_factory.mktemp("small")
    (folder / "job.toml").write_text(small_job, encoding="utf-8")
    return read_job(folder)


@pytest.fixture(scope="module")
def sidecar_job(examples: Path) -> Job:
    return read_job(examples / "sidecar_intake")


def by_hand(job: Job, lift: float, **seat: float) -> float:
    """The flow area of a job of its own, its defaults filled in here; NaN where it is none."""
    new = replace(job.seat, **seat)
    valve = job.valve
    if "valve.face_width" in job.unnamed:
        valve = replace(valve, face_width=1.25 * new.width)
    changed = replace(job, seat=new, valve=valve)
    try:
        return float(areas_at(changed, job_profiles(changed), [lift]).flow_area[0])
    except JobError:
        return math.nan


@pytest.mark.parametrize("keep", [0.93, 0.97, 1.0, 1.02])
def test_the_widest_seat_by_a_plain_search(small: Job, keep: float) -> None:
    """Every width in steps of 5 um, each as a job of its own: the last that keeps so much."""
    answer = find_width(small, BASE, keep, MM)
    present = by_hand(small, MM)
    widths = np.arange(0.1, 3.7, 0.005) * MM
    area = np.array([by_hand(small, MM, width=width) for width in widths])
    fits = widths[np.nan_to_num(area / present, nan=0.0) >= keep - 1e-12]
    (low, high), *more = answer.ranges
    assert not more
    assert high == pytest.approx(fits.max(), abs=5.1e-6)
    assert low == pytest.approx(fits.min(), abs=5.1e-6)
    assert answer.study.designs.changes[1] == {"seat.width": high}
    assert by_hand(small, MM, width=high) / present >= keep * (1.0 - 1e-9)
    if keep < 1.0:
        # A micrometre more does not keep it, or is no seat.
        assert not by_hand(small, MM, width=high + 1e-6) / present >= keep


@settings(max_examples=40, deadline=None)
@given(
    keep=st.floats(0.85, 1.05),
    lift=st.floats(0.2, 6.0),
    hold=st.sampled_from(["outer", "contact", "inner"]),
)
def test_a_width_put_back_through_a_study_keeps_what_was_asked(small: Job, keep: float, lift: float, hold: str) -> None:
    answer = find_width(small, BASE, keep, lift * MM, hold)
    if answer.none is not None:
        assert answer.study.count == 1
        assert not answer.course.fits.any()
        assert np.nanmax(answer.course.columns["flow_area_over_present"]) < keep
        return
    for low, high in answer.ranges:
        assert 0.0 < low <= high
    width = answer.ranges[-1][1]
    study = study_designs(small, varied_designs(small, {"seat.width": np.array([width])}, (hold,)), [lift * MM])
    assert study.flow_area[1, 0] / study.flow_area[0, 0] >= keep - 1e-9
    # What the answer shows is that study, worked out by itself.
    column = int(np.argmin(np.abs(answer.study.lift - lift * MM)))
    assert answer.study.flow_area[1, column] == pytest.approx(study.flow_area[1, 0], rel=1e-12)
    # At an edge that the criterion sets it is just met.
    beyond = varied_designs(small, {"seat.width": np.array([width + 1e-6])}, (hold,))
    after = study_designs(small, beyond, [lift * MM])
    ended = any("impossible" in words or "not looked at" in words for words in answer.remarks)
    assert ended or after.flow_area[1, 0] / after.flow_area[0, 0] < keep


def test_the_narrowest_is_told_where_the_criterion_sets_it(small: Job) -> None:
    """A face 2 deg flatter seals at the outer edge, which a narrower seat on the same inner edge brings inward.

    The ring just off that edge then shrinks, so that there is a least width too; below it the area falls short.
    """
    flat = replace(small, valve=replace(small.valve, face_angle=deg(43.0), face_width=2.4 * MM), unnamed=frozenset())
    answer = find_width(flat, BASE, 0.995, 0.03 * MM, "inner")
    names, low = answer.study.designs.names, answer.ranges[-1][0]
    assert "narrowest" in names
    assert answer.study.designs.changes[names.index("narrowest")]["seat.width"] == low
    for width, keeps in ((low, True), (low - 1e-6, False)):
        study = study_designs(flat, varied_designs(flat, {"seat.width": np.array([width])}, ("inner",)), [0.03 * MM])
        assert (study.flow_area[1, 0] / study.flow_area[0, 0] >= 0.995 - 1e-12) == keeps


def test_no_width_keeps_too_much(small: Job) -> None:
    answer = find_width(small, BASE, 1.5, MM)
    assert answer.none is not None
    most = by_hand(small, MM, width=0.1 * MM) / by_hand(small, MM)
    assert answer.none == f"no possible seat.width keeps 150 %; the most is {most:.4f}, at 0.100 mm"
    assert answer.study.designs.names == (None,)
    assert answer.ranges == ()


def test_widths_are_never_clipped_in_silence(small: Job) -> None:
    """The end of what is possible, or of what was looked at, is said."""
    possible = find_width(small, BASE, 0.5, MM)
    assert any("any wider is impossible: the throat is larger than the seat" in each for each in possible.remarks)
    # 40 - 2 w cos 45 = 35.
    assert possible.ranges[-1][1] == pytest.approx(2.5 * MM / math.cos(deg(45.0)), abs=1e-8)
    looked = find_width(small, BASE, 0.5, MM, "inner")
    assert any(each.startswith("clipped: seats wider than") for each in looked.remarks)
    assert any("the narrowest looked at" in each for each in possible.remarks)
    assert any("any narrower is impossible: the face does not meet the seat" in each for each in looked.remarks)
    with pytest.raises(UsageError, match="only outer, contact, inner can"):
        find_width(small, BASE, 0.9, MM, "throat")


def with_cuts(job: Job) -> Job:
    seat = replace(
        job.seat,
        outer_diameter=39 * MM,
        top_cut=Cut(deg(30.0), 1.0 * MM),
        bottom_cuts=(Cut(deg(60.0), 1.2 * MM),),
        throat_diameter=32 * MM,
    )
    valve = replace(job.valve, face_width=3.2 * MM)
    return replace(job, seat=seat, valve=valve, unnamed=frozenset())


@settings(max_examples=40, deadline=None)
@given(mean=st.floats(36.0, 40.0), width=st.floats(0.6, 2.4))
def test_cuts_put_back_through_a_study_lay_the_band_where_it_was_asked(small: Job, mean: float, width: float) -> None:
    job = with_cuts(small)
    answer = find_cuts(job, BASE, mean * MM, width * MM)
    radial = 2.0 * width * math.cos(deg(45.0))
    inner, outer = mean - radial / 2.0, mean + radial / 2.0
    top = 39.0 + 2.0 * math.cos(deg(30.0))
    far = 39.0 - 3.2 * math.cos(deg(45.0)) - 2.4 * math.cos(deg(60.0))
    face = 40.0 - 6.4 * math.cos(deg(45.0))
    there = far < inner and outer < min(top, 40.0) and inner > face
    assert (answer.none is None) == there
    if not there:
        assert "the band would run from" in (answer.none or "")
        return
    changes = answer.study.designs.changes[1]
    variations = {key: np.array([value]) for key, value in changes.items()}
    study = study_designs(job, varied_designs(job, variations), [MM])
    assert not study.refused
    assert 2.0 * study.contact.mean_radius[1] == pytest.approx(mean * MM, abs=1e-9)
    assert study.contact.width[1] == pytest.approx(width * MM, abs=1e-9)
    # The cuts' ends away from the seat keep their diameters; angles stay.
    assert study.profiles.wall[1, 0, 0] == pytest.approx(study.profiles.wall[0, 0, 0], abs=1e-9)
    assert study.profiles.wall[1, 3, 0] == pytest.approx(study.profiles.wall[0, 3, 0], abs=1e-9)
    assert changes["seat.top_cut.width"] == pytest.approx((top - outer) / 2.0 * MM / math.cos(deg(30.0)), abs=1e-9)
    assert changes["seat.bottom_cuts[1].width"] == pytest.approx((inner - far) / 2.0 * MM / 0.5, abs=1e-9)


@pytest.mark.parametrize(("mean", "width"), [(37.9, 1.6), (37.4, 1.6), (38.4, 1.2), (37.8688, 1.6), (37.6, 0.9)])
def test_how_far_the_valve_sinks_since_metal_only_comes_off(small: Job, mean: float, width: float) -> None:
    """The new outline is lowered into the old one until nothing stands out of it, by trying depths at many radii."""
    job = with_cuts(small)
    answer = find_cuts(job, BASE, mean * MM, width * MM)
    wall, valve = answer.study.profiles.wall, answer.study.profiles.valve
    radii = np.linspace(wall[0, -2, 0], wall[0, 0, 0], 200_001)
    old, new = (np.interp(radii, each[-2::-1, 0], each[-2::-1, 1]) for each in wall)
    deeper = float(np.max(old - new))
    # The valve's rim, which moves with the seat that it rests on.
    sinks = deeper + valve[1, 1, 1] - valve[0, 1, 1]
    assert answer.figures["valve_sinks_at_least_m"] == pytest.approx(sinks, abs=1e-8)
    assert answer.figures["valve_sinks_at_least_m"] > -1e-9


def test_moving_a_contact_by_one_cut_alone(small: Job) -> None:
    """Outward: the top cut stays and the seat follows it, (tan 45 - tan 30) for each radius; by hand.

    Inward: the bottom cut stays, (tan 60 - tan 45).
    """
    job = with_cuts(small)
    own = 39.0 - 1.6 * math.cos(deg(45.0))
    out = find_cuts(job, BASE, (own + 0.4) * MM, 1.6 * MM)
    assert out.figures["valve_sinks_at_least_m"] == pytest.approx(0.2 * MM * (1.0 - math.tan(deg(30.0))), rel=1e-6)
    inward = find_cuts(job, BASE, (own - 0.4) * MM, 1.6 * MM)
    assert inward.figures["valve_sinks_at_least_m"] == pytest.approx(0.2 * MM * (math.tan(deg(60.0)) - 1.0), rel=1e-6)
    stays = find_cuts(job, BASE, own * MM)
    assert stays.asked["width_m"] == pytest.approx(1.6 * MM)
    assert stays.figures["valve_sinks_at_least_m"] == pytest.approx(0.0, abs=1e-9)


def test_why_there_are_no_cuts(small: Job) -> None:
    job = with_cuts(small)
    for mean, width, words in (
        (39.9, 1.6, "and the face reaches from 35.475 mm to 40.000 mm"),
        (36.0, 1.0, "and the face reaches from"),
        (36.5, 1.4, "the first bottom cut's inner edge is at 35.537 mm: none of it is left"),
        (37.0, 9.0, "no mean diameter has room for a band so wide"),
    ):
        answer = find_cuts(job, BASE, mean * MM, width * MM)
        assert words in (answer.none or ""), answer.none
        assert answer.study.count == 1
    # What fits is told beside.
    answer = find_cuts(job, BASE, 39.9 * MM, 1.6 * MM)
    ((low, high),) = answer.ranges
    assert f"can lie from {low / MM:.3f} mm to {high / MM:.3f} mm" in (answer.none or "")
    for inside, outside in ((low + 1e-6, low - 1e-6), (high - 1e-6, high + 1e-6)):
        assert find_cuts(job, BASE, inside, 1.6 * MM).none is None
        assert find_cuts(job, BASE, outside, 1.6 * MM).none is not None


def test_cuts_that_the_job_has_not_are_told(small: Job) -> None:
    """Without cuts; and the face, whose default would follow the seat, is named so that it stays."""
    answer = find_cuts(small, BASE, 38.6 * MM, 1.2 * MM)
    said = " ".join(answer.remarks)
    assert "the job has no top cut: one is needed" in said
    assert "no bottom cut: the plain cone to the throat" in said
    assert "name valve.face_width in job.toml" in said
    assert answer.study.designs.changes[1]["valve.face_width"] == pytest.approx(2.0 * MM)
    steep = replace(small, valve=replace(small.valve, face_angle=deg(44.0)), unnamed=frozenset())
    assert any("angles of face and seat differ" in each for each in find_cuts(steep, BASE, 38.8 * MM).remarks)


@pytest.mark.parametrize("up_to", [2.0, 4.0, 6.0])
def test_the_throat_by_a_plain_search(small: Job, up_to: float) -> None:
    """Every diameter in steps of 20 um with 400 lifts each: where the gap limits at all of them."""
    answer = find_throat(small, BASE, up_to * MM)
    lifts = up_to * MM * np.arange(1, 401) / 400
    largest = 40 * MM - 3.2 * MM * math.cos(deg(45.0))
    throats = np.arange(8.0 * MM, largest, 0.02 * MM)
    study = study_designs(small, varied_designs(small, {"seat.throat_diameter": throats}), lifts)
    fits = throats[np.all(study.limited_by_gap[1:], axis=1)]
    if not len(fits):
        assert answer.none is not None
        return
    low, high = answer.ranges[-1]
    assert low == pytest.approx(fits.min(), abs=2.1e-5)
    assert high == pytest.approx(largest, abs=1e-9)
    assert any(
        each.startswith("clipped: no throat is larger than the seat band's inner edge") for each in answer.remarks
    )
    over = answer.study.throat_takes_over()
    assert np.all(np.isnan(over[1:]) | (over[1:] > up_to * MM - 2e-6))


def test_where_no_throat_keeps_the_gap_the_limit(sidecar_job: Job) -> None:
    """At 8 mm the passage to the back of the head is the narrower whatever the throat: a study of all says so too."""
    answer = find_throat(sidecar_job, BASE, 8 * MM)
    assert "There the passage from seat to back of head is the narrower from about 7.0" in (answer.none or "")
    throats = np.linspace(20.0, 38.3, 200) * MM
    study = study_designs(sidecar_job, varied_designs(sidecar_job, {"seat.throat_diameter": throats}), [8 * MM])
    assert not study.limited_by_gap.any()


def test_a_throat_that_takes_away_from_the_bottom_cuts_is_told(sidecar_job: Job) -> None:
    """40.6 - 2 (1.6 cos 45 + 1.5 cos 60 + 1.6 cos 70), by hand."""
    answer = find_throat(sidecar_job, BASE, 4 * MM)
    whole = 40.6 - 2.0 * (1.6 * math.cos(deg(45.0)) + 1.5 * 0.5 + 1.6 * math.cos(deg(70.0)))
    assert answer.figures["bottom_cuts_trimmed_from_m"] == pytest.approx(whole * MM, rel=1e-9)
    assert any("takes away from the bottom cuts" in each for each in answer.remarks)
    place = answer.study.designs.names.index("largest")
    assert answer.study.profiles.cuts_trimmed[place].all()


FINDERS: dict[str, Callable[[Job], object]] = {
    "width": lambda job: find_width(job, BASE, 0.95, MM),
    "throat": lambda job: find_throat(job, BASE, 4 * MM),
    "cuts": lambda job: find_cuts(job, BASE, 39.2 * MM),
}


@pytest.mark.parametrize("finder", FINDERS.values(), ids=FINDERS.keys())
def test_the_course_tells_each_value_or_why_it_is_none(sidecar_job: Job, finder) -> None:
    course = finder(sidecar_job).course
    assert np.all(np.diff(course.value) > 0.0)
    first = next(iter(course.columns.values()))
    for place, reason in enumerate(course.reasons):
        assert (reason is None) == bool(np.isfinite(first[place]))
        assert reason is None or not course.fits[place]
