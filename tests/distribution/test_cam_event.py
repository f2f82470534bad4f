"""One event of the valve: what makes one, what makes none, and what is worth a second look."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from portviz.distribution.cam_event import cam_event
from portviz.distribution.cam_notes import cam_warnings
from portviz.distribution.notes import job_warnings, reduction_warnings
from portviz.distribution.reduce import Reduction
from portviz.errors import JobError
from portviz.job.cam_card import sample, solve_two
from portviz.job.model import Cam, Engine, Job

JobWith = Callable[..., Job]
#: A flank of 10 mm up and down over 240 deg, every 10 deg, closed for 40 deg before and behind: (1 - x^2)^3.
CRANK = np.arange(-40.0, 281.0, 10.0)
LIFT = 10e-3 * np.clip(1.0 - ((CRANK - 120.0) / 120.0) ** 2, 0.0, None) ** 3


@pytest.fixture
def job_with(make_job: Callable[..., Job]) -> JobWith:
    """Return a function that makes a job (head 40 mm) with a cam; its lines count from 2."""
    job = make_job([("a", 5e-3, angle, 1000.0) for angle in (0.0, 120.0, 240.0)])

    def with_cam(crank: np.ndarray, lift: np.ndarray, **words: object) -> Job:
        return replace(job, cam=Cam(crank, lift, line=np.arange(2, len(crank) + 2), **words))

    return with_cam


def refused(job: Job) -> JobError:
    with pytest.raises(JobError) as refusal:
        cam_event(job)
    return refusal.value


# The event -----------------------------------------------------------------------------------------------------------


def test_the_event_lies_between_opening_and_closing(job_with: JobWith) -> None:
    event = cam_event(job_with(CRANK, LIFT))
    assert (event.opening_deg, event.closing_deg, event.duration_deg) == (0.0, 240.0, 240.0)
    assert (event.peak_lift, event.peak_deg) == (10e-3, 120.0)
    assert_allclose(event.lift_at([-5.0, 0.0, 120.0, 125.0, 240.0, 300.0])[[0, 1, 4, 5]], 0.0)
    assert event.lift_at(125.0) == pytest.approx(0.5 * (LIFT[16] + LIFT[17]))


def test_no_cam(job_with: JobWith) -> None:
    error = refused(replace(job_with(CRANK, LIFT), cam=None))
    assert "there is no cam" in str(error)
    assert "[cam]" in str(error)
    assert cam_warnings(replace(job_with(CRANK, LIFT), cam=None)) == []


def test_a_valve_that_never_opens(job_with: JobWith) -> None:
    assert "never opens the valve" in str(refused(job_with(CRANK, 0.0 * LIFT)))
    with_lash = refused(job_with(CRANK, 0.0 * LIFT, lash=2e-3))
    assert "the lash of 2.00 mm takes off all of it" in str(with_lash)
    assert "cam.lash" in str(with_lash)


def test_two_events_name_their_lines(job_with: JobWith) -> None:
    """Lines count from 2: 33 rows, then 33 more; closed from row 28 to 37, that is line 30 to line 39."""
    crank = np.concatenate([CRANK, CRANK + 330.0])
    error = refused(job_with(crank, np.tile(LIFT, 2)))
    opens = 2 + int(np.flatnonzero(np.tile(LIFT, 2)[30:] > 0.0)[0]) + 30
    closes = 2 + int(np.flatnonzero(LIFT > 0.0)[-1])
    assert f"closes after line {closes} and opens again at line {opens}" in str(error)
    assert "Keep the rows of one event" in str(error)
    assert error.place == f"line {opens}"


@pytest.mark.parametrize("end", ["beginning", "end"])
def test_an_event_that_is_cut_off(job_with: JobWith, end: str) -> None:
    part = slice(10, None) if end == "beginning" else slice(None, -10)
    crank, lift = CRANK[part], LIFT[part]
    error = refused(job_with(crank, lift))
    open_by = lift[0] if end == "beginning" else lift[-1]
    assert f"the valve is open by {1e3 * open_by:.2f} mm at the table's {end}" in str(error)
    assert error.place == ("line 2" if end == "beginning" else f"line {len(crank) + 1}")


def test_a_full_turn_that_begins_within_the_event(job_with: JobWith) -> None:
    """An intake that opens at 660 and closes at 180 deg of a turn of 720."""
    crank = np.arange(0.0, 720.0, 10.0)
    away = np.minimum(np.abs(crank - 60.0), np.abs(crank - 780.0))
    lift = 10e-3 * np.clip(1.0 - (away / 120.0) ** 2, 0.0, None) ** 3
    error = refused(job_with(crank, lift))
    begin = 2 + 66
    assert crank[begin - 2] == 660.0
    assert f"Begin the table with line {begin}" in str(error)
    assert "on past the end, with 720 deg of crank added" in str(error)
    assert "camshaft" not in str(error)
    # What it asks for makes the event.
    event = cam_event(job_with(np.append(crank[66:], crank[:66] + 720.0), np.append(lift[66:], lift[:66])))
    assert (event.opening_deg, event.closing_deg) == (660.0, 900.0)


def test_a_full_turn_of_half_as_many_degrees_may_be_the_camshafts(job_with: JobWith) -> None:
    crank = np.arange(0.0, 360.0, 10.0)
    away = np.minimum(np.abs(crank - 30.0), np.abs(crank - 390.0))
    error = refused(job_with(crank, 10e-3 * np.clip(1.0 - (away / 60.0) ** 2, 0.0, None) ** 3))
    assert "with 360 deg of crank added" in str(error)
    assert "camshaft [deg]" in str(error)


def test_the_unevenness_of_a_closed_valve_is_no_event(job_with: JobWith) -> None:
    lift = LIFT.copy()
    lift[1], lift[-2] = 0.02e-3, 0.01e-3
    job = job_with(CRANK, lift)
    assert cam_event(job).duration_deg == 240.0
    (warning,) = cam_warnings(job)
    assert "small lifts outside the event" in warning
    assert warning.endswith(": line 3 (0.02 mm); line 33 (0.01 mm)")


def test_a_peak_of_a_hair_is_an_event_all_the_same(job_with: JobWith) -> None:
    job = job_with(CRANK, LIFT * 1e-3)
    assert cam_event(job).duration_deg == 240.0
    assert any("of the head's diameter" in each for each in cam_warnings(job))


# What is worth a word ------------------------------------------------------------------------------------------------


def test_a_good_cam_is_quiet(job_with: JobWith, sidecar: Reduction) -> None:
    for job in (job_with(CRANK, LIFT), sidecar.job):
        assert cam_warnings(job) == []


def test_ends_that_are_not_quite_closed(job_with: JobWith) -> None:
    part = slice(5, -6)
    job = job_with(CRANK[part], LIFT[part])
    begins, ends = cam_warnings(job)
    assert f"begins with the valve open, by {1e3 * LIFT[5]:.2f} mm at line 2; that is taken for its opening" in begins
    assert "ends with the valve open" in ends
    assert cam_event(job).opening_deg == CRANK[5]


def test_a_flank_that_turns_back_names_the_worst_line_first(job_with: JobWith) -> None:
    """Row 10 falls 0.2 mm below row 9, and row 22 0.6 mm below row 23; 0.04 mm at row 7 are within 0.5 % of 10 mm."""
    lift = LIFT.copy()
    lift[10], lift[22], lift[7] = lift[9] - 0.2e-3, lift[23] - 0.6e-3, lift[6] - 0.04e-3
    alone, back = cam_warnings(job_with(CRANK, lift))
    assert "stands out from its neighbours" in alone
    assert ": line 24 (" in alone
    assert "turns back" in back
    assert back.endswith(": line 12 (0.20 mm too low)")


def test_a_slip_upward_blames_itself(job_with: JobWith) -> None:
    lift = LIFT.copy()
    lift[8] += 3e-3
    (warning,) = cam_warnings(job_with(CRANK, lift))
    assert "stands out" in warning
    assert f"line 10 ({1e3 * lift[8]:.2f} mm" in warning


def test_rows_that_are_missing(job_with: JobWith) -> None:
    keep = (CRANK <= 80.0) | (CRANK >= 150.0)
    (warning,) = cam_warnings(job_with(CRANK[keep], LIFT[keep]))
    assert "cam.csv leaps, where other steps are" in warning
    assert "a peak may be lost" in warning


def test_a_gauge_that_rests_above_zero(job_with: JobWith) -> None:
    crank = np.concatenate([CRANK[0] - np.array([30.0, 20.0, 10.0]), CRANK])
    (*_, warning) = [
        words
        for words in cam_warnings(job_with(crank, np.concatenate([np.zeros(3), LIFT]) + 0.03e-3))
        if "no lift" in words
    ]
    assert 'lash = "0.03 mm"' in warning


@pytest.mark.parametrize(("scale", "words"), [(0.5, "are these camshaft degrees"), (2.0, "more than cams have")])
def test_durations_that_no_cam_has(job_with: JobWith, scale: float, words: str) -> None:
    (warning,) = cam_warnings(job_with(CRANK * scale, LIFT))
    assert words in warning
    assert f"{240.0 * scale:g} deg of crank" in warning


@pytest.mark.parametrize(("scale", "told"), [(0.1, True), (0.13, False), (2.3, False), (2.5, True)])
def test_peaks_that_no_valve_has(job_with: JobWith, scale: float, told: bool) -> None:
    """Of a head of 40 mm: 0.03 are 1.2 mm and 0.6 are 24 mm."""
    found = cam_warnings(job_with(CRANK, LIFT * scale))
    assert len(found) == told
    assert not told or f"peak lift, {10.0 * scale:.2f} mm, is {10.0 * scale / 40.0:.3g} of the head" in found[0]


def test_few_points(job_with: JobWith) -> None:
    (warning,) = cam_warnings(job_with(CRANK[::4], LIFT[::4]))
    assert "only 7 points" in warning
    assert cam_warnings(job_with(CRANK[::2], LIFT[::2])) == []


def test_a_card_is_marked_as_assumed_which_is_no_doubt(job_with: JobWith) -> None:
    curve = solve_two(10e-3, 108.0, (0.15e-3, 1e-3), (272.0, 234.0))
    crank, lift = sample(curve, [136.0, 117.0])
    job = replace(job_with(CRANK, LIFT), cam=Cam(crank, lift, "job.toml"))
    assert cam_event(job).assumed
    assert cam_warnings(job) == []


def test_an_event_that_can_not_be_is_a_warning_where_none_is_needed(job_with: JobWith) -> None:
    (warning,) = cam_warnings(job_with(CRANK, 0.0 * LIFT))
    assert warning.startswith("the cam makes no event: ")
    assert "never opens" in warning


def test_a_rod_that_is_short(job_with: JobWith) -> None:
    job = job_with(CRANK, LIFT)
    short, usual = (replace(job, engine=Engine(80e-3, 75e-3, rod)) for rod in (75e-3, 130e-3))
    (warning,) = cam_warnings(short)
    assert "engine.rod_length, 75.00 mm, is short for a stroke of 75.00 mm" in warning
    assert cam_warnings(usual) == []


def test_the_warnings_reach_check_and_summary_but_no_picture(
    reduced: Callable[..., Reduction], job_with: JobWith
) -> None:
    reduction = reduced([("a", 5e-3, angle, 1000.0) for angle in (0.0, 120.0, 240.0)])
    job = job_with(CRANK[::4], LIFT[::4])
    reduction = replace(reduction, job=replace(reduction.job, cam=job.cam))
    (warning,) = cam_warnings(reduction.job)
    assert warning in job_warnings(reduction.job)
    assert warning in reduction_warnings(reduction)
    assert warning not in reduction_warnings(reduction, quality=False)
