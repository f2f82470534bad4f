"""The curve made from a cam card's figures: closed forms, end conditions, and the figures themselves."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.interpolate import BPoly

from portviz.errors import JobError
from portviz.job.cam_card import (
    EXPONENTS,
    STEP_DEG,
    USUAL_EXPONENT,
    CardCurve,
    card_polynomial,
    place_of,
    possible_durations,
    sample,
    solve_one,
    solve_two,
)
from portviz.job.read import read_job

MakeJob = Callable[..., Path]
PLACES = np.linspace(0.0, 1.0, 2001)
PEAK, PEAK_DEG = 10.6e-3, 108.0

exponents = st.floats(*EXPONENTS)
levels = st.floats(1e-3, 0.95)


# The family ----------------------------------------------------------------------------------------------------------


def test_the_member_of_2_4_6_is_a_cube() -> None:
    """1 - 3 x^2 + 3 x^4 - x^6 = (1 - x^2)^3, by the binomial theorem."""
    assert_allclose(card_polynomial(PLACES, 4.0), (1.0 - PLACES**2) ** 3, atol=1e-15)


@pytest.mark.parametrize("p", [3.0, 6.0, 8.0, 12.0])
def test_coefficients_are_the_textbooks_products(p: float) -> None:
    """C_i = -prod n_j / (n_j - n_i) over the other exponents, the textbook's polynomial cam (from memory)."""
    powers = [2.0, p, p + 2.0]
    expected = np.ones_like(PLACES)
    for n in powers:
        expected -= np.prod([m / (m - n) for m in powers if m != n]) * PLACES**n
    assert_allclose(card_polynomial(PLACES, p), expected, atol=1e-13)


@pytest.mark.parametrize("p", [4, 6, 10])
def test_even_members_are_bernstein_polynomials_by_their_end_conditions(p: int) -> None:
    """scipy's polynomial of the lowest degree with the same derivatives at both ends, where that is unique.

    All derivatives at the peak up to p + 1 are set, so that the degree p + 2 leaves only the end's three.
    """
    from math import factorial

    fullness = (p + 2) / (p - 2)
    at_peak = [0.0] * p
    at_peak[0], at_peak[2] = 1.0, -fullness * factorial(2)
    unique = BPoly.from_derivatives([0.0, 1.0], [at_peak, [0.0, 0.0, 0.0]])
    assert unique.c.shape[0] == p + 3
    assert_allclose(card_polynomial(PLACES, float(p)), unique(PLACES), atol=2e-9 if p > 6 else 1e-12)


def test_the_limits_of_the_family() -> None:
    """Toward p = 2: (x^p - x^2) / (p - 2) -> x^2 ln x; for large p: 1 - x^2 but for the last bit near x = 1."""
    x = PLACES[1:-1]
    assert_allclose(card_polynomial(x, 2.0 + 1e-6), 1.0 + 4.0 * x**2 * np.log(x) - x**4, atol=1e-5)
    assert_allclose(card_polynomial(x[x < 0.5], 200.0), 1.0 - x[x < 0.5] ** 2 * 202.0 / 198.0, atol=1e-15)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(p=exponents)
def test_slope_and_curvature_end_at_nothing(p: float) -> None:
    """By one-sided differences of a step h: they tend to zero as h^2 and h; the third derivative is finite."""
    scale = (p + 2.0) ** 3
    for h in (1e-3, 5e-4):
        end = card_polynomial(1.0 - h * np.arange(4), p)
        assert end[0] == 0.0
        assert abs(end[1] - end[0]) / h < scale * h**2
        assert abs(end[2] - 2.0 * end[1] + end[0]) / h**2 < scale * h
    top = card_polynomial([0.0, 1e-4], p)
    assert top[0] == 1.0
    assert 0.0 <= (top[0] - top[1]) / 1e-4 < 0.1


def test_slope_and_curvature_at_the_end_vanish_in_the_limit() -> None:
    """Halving the step quarters the slope and halves the curvature: they are zero at the end itself."""
    for p in (2.5, 4.0, 6.0, 9.3):
        slopes, bends = [], []
        for h in (1e-3, 5e-4):
            end = card_polynomial(1.0 - h * np.arange(3), p)
            slopes.append((end[1] - end[0]) / h)
            bends.append((end[2] - 2.0 * end[1] + end[0]) / h**2)
        assert slopes[1] / slopes[0] == pytest.approx(0.25, rel=0.02)
        assert bends[1] / bends[0] == pytest.approx(0.5, rel=0.02)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(p=exponents)
def test_flanks_fall_all_the_way(p: float) -> None:
    """Over all exponents that are tried; near the end the fall is below the rounding of a sum of four terms."""
    y = card_polynomial(PLACES, p)
    assert np.all(np.diff(y) < 4.0 * np.finfo(float).eps * (p + 2.0) / (p - 2.0))
    inner = PLACES < 0.98
    assert np.all(np.diff(y[inner]) < 0.0)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(p=exponents, wider=st.floats(1.001, 2.0))
def test_larger_exponents_are_fuller(p: float, wider: float) -> None:
    fuller = min(2.0 + (p - 2.0) * wider, 80.0)
    x = PLACES[50:-50]
    assert np.all(card_polynomial(x, fuller) >= card_polynomial(x, p) - 1e-12)


# Its solving ---------------------------------------------------------------------------------------------------------


def sampled_lift(curve: CardCurve, duration_deg: float) -> tuple[float, float]:
    """The lift of the sampled curve at both places that a duration names."""
    crank, lift = sample(curve, [0.5 * duration_deg])
    ends = [curve.peak_deg - 0.5 * duration_deg, curve.peak_deg + 0.5 * duration_deg]
    places = [int(np.argmin(np.abs(crank - end))) for end in ends]
    assert_allclose(crank[places], ends, atol=1e-12)
    return float(lift[places[0]]), float(lift[places[1]])


@settings(max_examples=100, deadline=None, derandomize=True)
@given(level=levels, duration=st.floats(120.0, 360.0), at=st.floats(-200.0, 800.0))
def test_one_duration_is_exact(level: float, duration: float, at: float) -> None:
    curve = solve_one(PEAK, at, level * PEAK, duration)
    assert curve.exponent == USUAL_EXPONENT
    assert_allclose(sampled_lift(curve, duration), level * PEAK, rtol=0.0, atol=1e-12)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    low=st.just(0.0) | st.floats(1e-4, 0.9),
    rise=st.floats(0.02, 0.95),
    duration=st.floats(120.0, 360.0),
    part=st.floats(0.0, 1.0),
)
def test_two_durations_are_exact_wherever_they_can_be(low: float, rise: float, duration: float, part: float) -> None:
    """From a lift of nothing, or of a micrometre, upward."""
    high = low + rise * (1.0 - low)
    least, greatest = possible_durations(low, duration, high)
    assert 0.0 < least < greatest < duration
    shorter = least + part * (greatest - least)
    curve = solve_two(PEAK, PEAK_DEG, (low * PEAK, high * PEAK), (duration, shorter))
    assert EXPONENTS[0] <= curve.exponent <= EXPONENTS[1]
    assert_allclose(sampled_lift(curve, duration), low * PEAK, rtol=0.0, atol=1e-12)
    assert_allclose(sampled_lift(curve, shorter), high * PEAK, rtol=0.0, atol=1e-12)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(p=st.floats(2.2, 20.0), low=st.floats(0.01, 0.3), high=st.floats(0.4, 0.9))
def test_the_exponent_is_found_again(p: float, low: float, high: float) -> None:
    """Figures taken off a member of the family lead back to it."""
    half = 130.0
    durations = (2.0 * half * place_of(low, p), 2.0 * half * place_of(high, p))
    curve = solve_two(PEAK, PEAK_DEG, (low * PEAK, high * PEAK), durations)
    assert curve.exponent == pytest.approx(p, rel=1e-7)
    assert curve.half_duration_deg == pytest.approx(half, rel=1e-9)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(low=st.just(0.0) | st.floats(1e-4, 0.8), rise=st.floats(0.05, 0.9))
def test_what_two_durations_can_be_rises_with_the_exponent(low: float, rise: float) -> None:
    """So that the ends of the range of exponents are the ends of what is possible; near the peak up to rounding."""
    high = low + rise * (1.0 - low)
    ratios = [place_of(high, p) / place_of(low, p) for p in 2.0 + np.geomspace(0.01, 58.0, 40)]
    assert np.all(np.diff(ratios) > -1e-14)
    assert ratios[-1] > 1.01 * ratios[0]


def test_a_place_is_a_cube_root_in_the_member_of_2_4_6() -> None:
    """(1 - x^2)^3 = h at x = sqrt(1 - h^(1/3))."""
    for level in (1e-6, 0.015, 0.1, 0.5, 0.999):
        assert place_of(level, 4.0) == pytest.approx(np.sqrt(1.0 - level ** (1.0 / 3.0)), rel=1e-12)
    assert place_of(0.0, 4.0) == 1.0


# The sampled curve ---------------------------------------------------------------------------------------------------


def test_samples_are_fine_symmetric_and_have_all_that_was_told() -> None:
    curve = solve_two(PEAK, PEAK_DEG, (0.15e-3, 1e-3), (272.0, 234.0))
    crank, lift = sample(curve, [136.0, 117.0])
    assert np.diff(crank).min() > 0.0
    assert np.diff(crank).max() <= STEP_DEG + 1e-9
    assert_allclose(lift, lift[::-1], rtol=0.0, atol=0.0)
    assert_allclose(crank + crank[::-1], 2.0 * PEAK_DEG, rtol=1e-14)
    assert lift[0] == lift[-1] == 0.0
    assert lift.max() == PEAK
    assert lift[np.argmin(np.abs(crank - PEAK_DEG))] == PEAK
    assert {PEAK_DEG - 136.0, PEAK_DEG - 117.0, PEAK_DEG + 117.0, PEAK_DEG + 136.0} <= set(crank.tolist())
    rising = np.diff(lift[crank <= PEAK_DEG])
    assert np.all(rising > 0.0)


# In a job ------------------------------------------------------------------------------------------------------------

CARD = """
[cam]
peak_lift = "10.6 mm"
peak_at = "108 deg"
durations = [ { lift = "1.0 mm", angle = "234 deg" }, { lift = "0.15 mm", angle = "272 deg" } ]
"""


def job_with(make_job: MakeJob, small_job: str, card: str) -> Path:
    return make_job(job_toml=small_job + card)


def test_a_card_in_a_job(make_job: MakeJob, small_job: str) -> None:
    """The durations in any order; each stated lift stands at half its duration on both sides of the peak."""
    cam = read_job(job_with(make_job, small_job, CARD)).cam
    assert cam is not None
    assert (cam.file, cam.line, cam.lash, cam.assumed) == ("job.toml", None, 0.0, True)
    for duration, lift in ((272.0, 0.15e-3), (234.0, 1e-3)):
        for side in (-0.5, 0.5):
            assert np.interp(108.0 + side * duration, cam.crank_deg, cam.lift) == pytest.approx(lift, abs=1e-12)
    assert cam.lift.max() == pytest.approx(10.6e-3, abs=1e-15)
    assert cam.crank_deg[np.argmax(cam.lift)] == 108.0


def test_tappet_figures_and_lash(make_job: MakeJob, small_job: str) -> None:
    """Valve lift = ratio x tappet lift - lash: 0.1 mm x 1.5 = 0.15 mm is at the lash, so that the valve opens there."""
    card = CARD.replace('"0.15 mm"', '"0.1 mm"') + 'lift_of = "tappet"\nrocker_ratio = 1.5\nlash = "0.15 mm"\n'
    cam = read_job(job_with(make_job, small_job, card)).cam
    assert cam is not None
    assert cam.lift.max() == pytest.approx(1.5 * 10.6e-3 - 0.15e-3, abs=1e-15)
    open_ = np.flatnonzero(cam.lift > 0.0)
    assert cam.crank_deg[open_[0] - 1] == pytest.approx(108.0 - 136.0, abs=1e-9)
    assert cam.crank_deg[open_[-1] + 1] == pytest.approx(108.0 + 136.0, abs=1e-9)
    assert np.interp(108.0 + 117.0, cam.crank_deg, cam.lift) == pytest.approx(1.35e-3, abs=1e-12)


def test_a_duration_above_nothing_is_that_of_the_event(make_job: MakeJob, small_job: str) -> None:
    card = CARD.split("durations")[0] + 'durations = [ { lift = "0 mm", angle = "280 deg" } ]\n'
    cam = read_job(job_with(make_job, small_job, card)).cam
    assert cam is not None
    assert_allclose(cam.crank_deg[[0, -1]], [-32.0, 248.0], rtol=1e-14)
    half = np.abs(cam.crank_deg - 108.0) / 140.0
    assert_allclose(cam.lift, 10.6e-3 * card_polynomial(half, USUAL_EXPONENT), rtol=0.0, atol=1e-15)


def test_without_tables_no_curve_is_solved(make_job: MakeJob, small_job: str) -> None:
    assert read_job(job_with(make_job, small_job, CARD), tables=False).cam is None


@pytest.mark.parametrize("angle", ["150 deg", "262 deg"])
def test_the_range_that_a_message_gives_is_accepted(make_job: MakeJob, small_job: str, angle: str) -> None:
    with pytest.raises(JobError) as refused:
        read_job(job_with(make_job, small_job, CARD.replace("234 deg", angle)))
    assert refused.value.place == "cam.durations[1]"
    assert refused.value.expected is not None
    low, high = [float(word) for word in refused.value.expected.split() if word[0].isdigit()][:2]
    for edge in (low, high):
        read_job(job_with(make_job, small_job, CARD.replace("234 deg", f"{edge:g} deg")))


def test_a_curve_longer_than_a_turn_of_the_cam(make_job: MakeJob, small_job: str) -> None:
    card = CARD.split("durations")[0] + 'durations = [ { lift = "10 mm", angle = "600 deg" } ]\n'
    with pytest.raises(JobError, match=r"cam\.durations: from opening to closing this curve takes .*at most 720 deg"):
        read_job(job_with(make_job, small_job, card))
