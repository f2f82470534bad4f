"""Verdicts: tests, families of tests, degrees of freedom."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from portviz.distribution.verdicts import effective_freedom, expanded, holm, shift_p, two_sided_p, verdict


def by_closed_testing(p: list[float], level: float) -> list[bool]:
    """Holm's procedure is the closed test of Bonferroni's: a claim stands if every family it belongs to fails."""
    places = range(len(p))
    families = [family for size in range(1, len(p) + 1) for family in itertools.combinations(places, size)]
    return [
        all(min(p[k] for k in family) <= level / len(family) for family in families if one in family) for one in places
    ]


@given(st.lists(st.floats(0.0, 0.2), min_size=1, max_size=7))
def test_holm_is_the_closed_test_of_bonferroni(p: list[float]) -> None:
    assert holm(np.array(p)).tolist() == by_closed_testing(p, 0.05)


def test_holm_leaves_out_what_is_not_known() -> None:
    assert holm(np.array([np.nan, 0.03, np.nan, 0.02])).tolist() == [False, True, False, True]
    assert holm(np.array([np.nan])).tolist() == [False]


@pytest.mark.parametrize("freedom", [1.0, 4.0, 22.0, np.inf])
def test_p_and_intervals_are_students(freedom: float) -> None:
    """Against scipy.stats."""
    law = scipy.stats.t(freedom) if np.isfinite(freedom) else scipy.stats.norm()
    off = np.array([0.0, 0.7, -2.2, 5.0])
    assert two_sided_p(off, np.full(4, 1.5), freedom) == pytest.approx(2.0 * law.sf(np.abs(off) / 1.5), rel=1e-6)
    assert float(expanded(2.0, freedom)) == pytest.approx(2.0 * law.ppf(0.975), rel=1e-6)


def test_certain_and_unknown_differences() -> None:
    p = two_sided_p(np.array([0.0, 1.0, 1.0]), np.array([0.0, 0.0, np.nan]), np.inf)
    assert p[:2].tolist() == [1.0, 0.0]
    assert np.isnan(p[2])
    assert [verdict(1.0, True), verdict(-1.0, True), verdict(1.0, False), verdict(0.0, True)] == [
        "higher",
        "lower",
        "not shown",
        "not shown",
    ]


def test_a_shift_in_two_directions() -> None:
    """Known covariance: chi-square with two degrees of freedom, exp(-d^2 / 2); else F."""
    covariance = np.array([[4.0, 1.0], [1.0, 2.0]])
    shift = np.array([3.0, -1.0])
    distance = float(shift @ np.linalg.inv(covariance) @ shift)
    assert shift_p(shift, covariance, np.inf) == pytest.approx(np.exp(-distance / 2.0), rel=1e-6)
    assert shift_p(shift, covariance, 11.0) == pytest.approx(scipy.stats.f(2, 11).sf(distance / 2.0), rel=1e-9)
    assert np.isnan(shift_p(shift, covariance * np.nan, 11.0))


def test_freedom_of_parts_known_exactly_is_endless() -> None:
    assert np.isinf(effective_freedom(np.array([1.0, 2.0]), np.array([np.inf, np.inf])))
