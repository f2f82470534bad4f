"""cam.csv as shops have it: crank or camshaft degrees, valve or tappet lift, lash; and angles that do not rise."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from portviz.errors import JobError
from portviz.job.cam import take_lash
from portviz.job.model import Cam
from portviz.job.read import read_job

MakeJob = Callable[..., Path]
ROWS = "0,0\n60,5\n110,9\n160,5\n220,0\n"
CRANK = "crank [deg],lift [mm]\n"


@pytest.fixture
def cam_of(make_job: MakeJob, small_job: str) -> Callable[..., Cam]:
    """Return a function that reads the cam of a job with a table and, if given, a section [cam]."""

    def read(table: str, section: str = "") -> Cam:
        cam = read_job(make_job(job_toml=small_job + section, cam_csv=table)).cam
        assert cam is not None
        return cam

    return read


@pytest.fixture
def refusal(make_job: MakeJob, small_job: str) -> Callable[..., str]:
    """Return a function that reads such a job and returns the words of its refusal."""

    def read(table: str | None, section: str = "") -> str:
        with pytest.raises(JobError) as refused:
            read_job(make_job(job_toml=small_job + section, cam_csv=table))
        return str(refused.value)

    return read


# What it holds -------------------------------------------------------------------------------------------------------


def test_crank_and_valve_lift_as_they_stand(cam_of: Callable[..., Cam]) -> None:
    cam = cam_of(CRANK + ROWS)
    assert cam.crank_deg.tolist() == [0.0, 60.0, 110.0, 160.0, 220.0]
    assert_allclose(cam.lift, [0.0, 5e-3, 9e-3, 5e-3, 0.0])
    assert cam.line is not None
    assert cam.line.tolist() == [2, 3, 4, 5, 6]
    assert (cam.file, cam.lash, cam.assumed) == ("cam.csv", 0.0, False)


def test_camshaft_degrees_are_doubled(cam_of: Callable[..., Cam]) -> None:
    """The camshaft of a four-stroke engine turns once in two turns of the crank."""
    cam = cam_of("camshaft [deg],lift [mm]\n0,0\n30.25,5\n55,9\n110,0\n")
    assert cam.crank_deg.tolist() == [0.0, 60.5, 110.0, 220.0]


def test_tappet_lifts_are_multiplied_by_the_rocker_ratio(cam_of: Callable[..., Cam]) -> None:
    cam = cam_of("crank [deg],tappet_lift [in]\n0,0\n100,0.25\n200,0\n", "[cam]\nrocker_ratio = 1.6\n")
    assert_allclose(cam.lift, [0.0, 0.4 * 0.0254, 0.0])


def test_columns_in_any_order_and_blank_lines(cam_of: Callable[..., Cam]) -> None:
    cam = cam_of("\nLift [mm];Camshaft [deg]\n0;0\n\n4,5;50\n0;100\n")
    assert cam.crank_deg.tolist() == [0.0, 100.0, 200.0]
    assert cam.line is not None
    assert cam.line.tolist() == [3, 5, 6]


def test_an_empty_section_changes_nothing(cam_of: Callable[..., Cam]) -> None:
    plain, with_section = cam_of(CRANK + ROWS), cam_of(CRANK + ROWS, "[cam]\n")
    assert plain.lift.tolist() == with_section.lift.tolist()


def test_lash_ends_the_event_where_the_straight_piece_crosses_it(cam_of: Callable[..., Cam]) -> None:
    """5 mm in 60 deg: 0.5 mm are reached at 6 deg, and on the way down at 214 deg."""
    cam = cam_of(CRANK + ROWS, '[cam]\nlash = "0.5 mm"\n')
    assert_allclose(cam.crank_deg, [0.0, 6.0, 60.0, 110.0, 160.0, 214.0, 220.0])
    assert_allclose(cam.lift, [0.0, 0.0, 4.5e-3, 8.5e-3, 4.5e-3, 0.0, 0.0], atol=1e-18)
    assert cam.lash == pytest.approx(0.5e-3)
    assert cam.line is not None
    assert cam.line.tolist() == [2, 2, 3, 4, 5, 5, 6]


def test_lash_is_taken_off_the_valves_lift(cam_of: Callable[..., Cam]) -> None:
    """Not off the tappet's: 6 mm x 1.5 - 0.5 mm."""
    cam = cam_of("crank [deg],tappet_lift [mm]\n0,0\n100,6\n200,0\n", '[cam]\nrocker_ratio = 1.5\nlash = "0.5 mm"\n')
    assert cam.lift.max() == pytest.approx(8.5e-3)


def test_a_point_at_the_lash_is_no_crossing() -> None:
    crank, lift, source = take_lash(np.array([0.0, 10.0, 50.0, 90.0]), np.array([0.0, 1e-3, 5e-3, 1e-3]), 1e-3)
    assert crank.tolist() == [0.0, 10.0, 50.0, 90.0]
    assert_allclose(lift, [0.0, 0.0, 4e-3, 0.0])
    assert source.tolist() == [0, 1, 2, 3]


@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    lifts=st.lists(st.floats(0.0, 12e-3), min_size=3, max_size=12),
    steps=st.lists(st.floats(1.0, 40.0), min_size=12, max_size=12),
    lash=st.floats(0.0, 5e-3),
)
def test_lash_lowers_the_line_and_cuts_it_at_nothing(lifts: list[float], steps: list[float], lash: float) -> None:
    """Everywhere, not only at the points: numpy's linear interpolation is the oracle."""
    before = np.array(lifts)
    crank = np.cumsum(steps[: len(lifts)])
    found, lift, source = take_lash(crank, before, lash)
    anywhere = np.linspace(crank[0], crank[-1], 400)
    expected = np.maximum(np.interp(anywhere, crank, before) - lash, 0.0)
    assert_allclose(np.interp(anywhere, found, lift), expected, atol=1e-11)
    assert np.all(np.diff(found) > 0.0)
    assert np.all(np.diff(source) >= 0)
    assert set(source.tolist()) == set(range(len(lifts)))


# Ratio, and columns that exclude each other --------------------------------------------------------------------------


def test_a_ratio_that_is_missing(refusal: Callable[..., str]) -> None:
    words = refusal("crank [deg],tappet_lift [mm]\n" + ROWS)
    assert words.startswith(
        "job.toml, cam.rocker_ratio: the rocker ratio is missing: the column tappet_lift of cam.csv"
    )
    assert "rocker_ratio = 1.5 in the section [cam]" in words


def test_a_ratio_that_has_nothing_to_do(refusal: Callable[..., str]) -> None:
    words = refusal(CRANK + ROWS, "[cam]\nrocker_ratio = 1.5\n")
    assert "there is a rocker ratio, but cam.csv holds the valve's own lift" in words
    assert "head that column tappet_lift" in words


@pytest.mark.parametrize(
    ("header", "pair"),
    [
        ("crank [deg],camshaft [deg],lift [mm]", "crank and camshaft"),
        ("crank [deg],lift [mm],tappet_lift [mm]", "lift and tappet_lift"),
        ("tappet_lift [mm],crank [deg],lift [mm]", "tappet_lift and lift"),
    ],
)
def test_two_columns_of_one_thing(refusal: Callable[..., str], header: str, pair: str) -> None:
    words = refusal(f"{header}\n0,0,0\n100,8,8\n200,0,0\n", "[cam]\nrocker_ratio = 1.5\n")
    assert f"the columns {pair} say the same" in words
    assert "Keep one of the two" in words


@pytest.mark.parametrize(
    "lifts",
    [
        "lift [mm],lift [mm]",
        "intake lift [mm],exhaust lift [mm]",
        "lift intake [mm],lift exhaust [mm]",
        "intake [mm],exhaust [mm]",
        "lift_1 [mm],lift_2 [mm]",
    ],
)
def test_lifts_of_two_valves(refusal: Callable[..., str], lifts: str) -> None:
    words = refusal(f"crank [deg],{lifts}\n0,0,0\n100,8,8\n200,0,0\n")
    assert words.startswith("cam.csv, line 1, columns 2, 3: there are lifts of several valves beside each other")
    assert 'Keep the one of this job\'s valve, side = "intake"' in words


@pytest.mark.parametrize(
    ("header", "meant"),
    [
        ("crank angle [deg],lift [mm]", "Did you mean crank [deg]?"),
        ("cam degrees [deg],lift [mm]", "Did you mean camshaft [deg]?"),
        ("camshaft deg,lift [mm]", "Write it as camshaft [deg]"),
        ("crank [deg],valve lift [mm]", "Did you mean lift [mm]?"),
        ("crank [deg],exhaust lift [mm]", "Did you mean lift [mm]?"),
        ("crank [deg],cam lift [mm]", "Did you mean tappet_lift [mm]?"),
        ("crank [deg],lifter [in]", "Did you mean tappet_lift [in]?"),
        ("crank [deg],tappet lift (mm)", "Write it as tappet_lift [mm]"),
        ("crank [deg],tapet_lift [mm]", "Did you mean tappet_lift?"),
    ],
)
def test_other_names(refusal: Callable[..., str], header: str, meant: str) -> None:
    assert meant in refusal(f"{header}\n{ROWS}")


# Angles and rows -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "words"),
    [
        (CRANK + "600,0\n660,8\n700,8.5\n2,7\n60,0\n", ["line 5, column crank", "Write 722 for 2, and add 720"]),
        (CRANK + "300,0\n340,8\n358,8.5\n1,7\n60,0\n", ["line 5, column crank", "Write 361 for 1, and add 360"]),
        ("camshaft [deg],lift [mm]\n300,0\n330,8\n359,8\n1,7\n30,0\n", ["line 5", "Write 361 for 1, and add 360"]),
        (CRANK + "200,0\n100,8\n0,0\n", ["line 3", "they fall throughout", "Sort the rows by crank angle"]),
        (CRANK + "0,0\n100,8\n90,8\n200,0\n", ["line 4", "here they fall (got '90')", "Sort the rows"]),
        (CRANK + "0,0\n100,8\n50,8\n20,3\n200,0\n", ["line 4", "here they fall", "Sort the rows"]),
        (CRANK + "0,0\n100,8\n100,8\n200,0\n", ["line 4", "already in line 3", "Keep one row for each angle"]),
        (CRANK + "0,0\n100,8\n", ["too few rows, 2", "at least 3"]),
        (CRANK + "0,0\n100,8\n721,0\n", ["line 4", "spans 721 deg of crank", "at most 720 deg"]),
        ("camshaft [deg],lift [mm]\n0,0\n200,8\n400,0\n", ["spans 800 deg", "head the column crank [deg]"]),
        (CRANK + "0,0\n100,-8\n200,0\n", ["line 3, column lift", "negative (got '-8')", "as lash"]),
    ],
)
def test_rows_that_make_no_event(refusal: Callable[..., str], table: str, words: list[str]) -> None:
    found = refusal(table)
    assert [each for each in words if each not in found] == []


def test_what_a_message_asks_for_is_accepted(cam_of: Callable[..., Cam]) -> None:
    cam = cam_of(CRANK + "600,0\n660,8\n700,8.5\n722,7\n780,0\n")
    assert cam.crank_deg[-1] - cam.crank_deg[0] == 180.0


def test_a_whole_turn_of_the_cam_is_accepted(cam_of: Callable[..., Cam]) -> None:
    assert len(cam_of(CRANK + "0,0\n360,8\n720,0\n").lift) == 3
    assert len(cam_of("camshaft [rad],lift [mm]\n0,0\n3,8\n6.283185307179586,0\n").lift) == 3


# Beside figures ------------------------------------------------------------------------------------------------------


def test_figures_beside_a_table(refusal: Callable[..., str]) -> None:
    words = refusal(CRANK + ROWS, '[cam]\npeak_lift = "9 mm"\npeak_at = "108 deg"\n')
    assert words.startswith("job.toml, cam.peak_lift, cam.peak_at: the lift is given twice, here and in cam.csv")
    assert "lift_of" not in words
    assert "head" in refusal(CRANK + ROWS, '[cam]\nlift_of = "valve"\n')


def test_lash_alone(refusal: Callable[..., str]) -> None:
    words = refusal(None, '[cam]\nlash = "0.15 mm"\n')
    assert words.startswith("job.toml, cam: the section says nothing of the lift, and there is no cam.csv; expected ")
    assert all(key in words for key in ("peak_lift", "peak_at", "durations", "crank [deg]"))


def test_scipy_is_loaded_for_figures_alone(make_job: MakeJob, small_job: str) -> None:
    """A table needs no solving; figures do. (The units' library looks into scipy in any case.)"""
    card = '[cam]\npeak_lift = "9 mm"\npeak_at = "108 deg"\ndurations = [ { lift = "1 mm", angle = "230 deg" } ]\n'
    table = make_job(cam_csv=CRANK + ROWS)
    figures = make_job(job_toml=small_job + card)
    script = "import sys; from portviz.job.read import read_job; read_job(sys.argv[1]); "
    script += "print('scipy.optimize' in sys.modules)"
    for folder, loaded in ((table, "False"), (figures, "True")):
        found = subprocess.run(
            [sys.executable, "-c", script, str(folder)], capture_output=True, text=True, check=True, timeout=120
        )
        assert found.stdout.strip() == loaded


def test_a_whole_turn_is_begun_where_the_valve_is_closed(make_job: MakeJob) -> None:
    """0 to 720 deg with the event across the ends: written on past 720, to the digit; with and without row 720."""
    crank = np.arange(0.0, 721.0, 10.0)
    lift = np.maximum(10.0 * np.cos(np.radians((crank - 720.0 * (crank > 360.0) - 40.0) * 0.75)), 0.0)
    lift[(crank > 160.0) & (crank < 640.0)] = 0.0
    for last in (None, -1):
        rows = "".join(f"{at:g},{each:.4f}\n" for at, each in zip(crank[:last], lift[:last], strict=True))
        cam = read_job(make_job(cam_csv="crank [deg],lift [mm]\n" + rows)).cam
        assert cam is not None
        opened = cam.lift > 0.0
        assert cam.lift[0] == cam.lift[-1] == 0.0
        assert np.diff(np.flatnonzero(opened)).max() == 1
        assert cam.crank_deg[np.argmax(cam.lift)] == pytest.approx(760.0)
        assert (np.diff(cam.crank_deg) > 0.0).all()
        assert cam.line is not None
        assert cam.line[np.argmax(cam.lift)] == 2 + 4


def test_a_dial_a_little_below_zero_counts_as_zero(make_job: MakeJob) -> None:
    cam = read_job(make_job(cam_csv="crank [deg],lift [mm]\n-20,-0.02\n0,0\n100,8\n200,0\n220,-0.01\n")).cam
    assert cam is not None
    assert cam.lift.min() == 0.0
    assert cam.below_zero == pytest.approx(-2e-5)


def test_all_negative_lines_are_named(make_job: MakeJob) -> None:
    with pytest.raises(JobError, match=r"line 2.*can't be negative; so are those in lines 4"):
        read_job(make_job(cam_csv="crank [deg],lift [mm]\n-20,-1\n0,8\n100,-2\n"))


def test_a_note_column_is_welcome(make_job: MakeJob) -> None:
    cam = read_job(make_job(cam_csv="crank [deg],lift [mm],note\n0,0,\n100,8,by eye\n200,0,\n")).cam
    assert cam is not None


def test_opening_and_closing_are_told_to_be_a_duration(make_job: MakeJob, small_job: str) -> None:
    with pytest.raises(JobError, match=r"cam\.opens.*12 \+ 180 \+ 60 = 252"):
        read_job(make_job(job_toml=small_job + '[cam]\nopens = "12 deg"\n'))
