"""The lift curve's arithmetic, on a cam of two straight flanks whose angles anybody can tell."""

import numpy as np
import pytest

from portviz.distribution.cam_event import CamEvent

#: Open for 200 deg from 300, 10 mm at 380: 8 deg a millimetre up, 12 deg a millimetre down.
TENT = CamEvent(np.array([300.0, 380.0, 500.0]), np.array([0.0, 10e-3, 0.0]), assumed=False)


def course(low, high):
    from portviz.scene.lift_curve import curve_course

    return curve_course(TENT, low, high)


def test_the_curve_is_cut_where_it_crosses_the_measured_lifts(opengl):
    crank, lift, known = course(1e-3, 8e-3)
    assert crank == pytest.approx([300.0, 308.0, 364.0, 380.0, 404.0, 488.0, 500.0], rel=1e-12)
    assert lift == pytest.approx([0.0, 1e-3, 8e-3, 10e-3, 8e-3, 1e-3, 0.0], abs=1e-15)
    assert known.tolist() == [False, True, False, False, True, False]


def test_nothing_of_the_curve_is_known_where_nothing_was_measured(opengl):
    assert not course(np.inf, -np.inf)[2].any()


def test_all_of_the_curve_is_known_between_closed_and_beyond_the_peak(opengl):
    crank, _, known = course(0.0, 11e-3)
    assert crank.tolist() == [300.0, 380.0, 500.0]
    assert known.all()


@pytest.mark.parametrize(("lift", "expected"), [(0.0, 300.0), (1e-3, 308.0), (10e-3, 380.0), (10.1e-3, None)])
def test_a_lift_stands_on_the_opening_flank(opengl, lift, expected):
    from portviz.scene.lift_curve import opening_flank_deg

    assert opening_flank_deg(TENT, lift) == (expected if expected is None else pytest.approx(expected, rel=1e-12))
