"""Piston motion and the mean inlet Mach index against textbooks.

Heywood, Internal Combustion Engine Fundamentals, eqs 2.4 to 2.6 and 2.11 (equations and numbers from memory); Taylor,
The Internal Combustion Engine in Theory and Practice, vol. 1 ch. 6 (from memory; its formula was read in public
text). The series for the piston's acceleration at the dead centres is any machine-dynamics textbook's (from memory).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import cumulative_simpson

from portviz.distribution.crank_train import (
    mach_index,
    mean_piston_speed,
    piston_position,
    piston_speed,
    volume_rate,
)
from portviz.job.model import Engine

STROKE, ROD = 0.086, 0.143
SPEED = 6500.0 * 2.0 * math.pi / 60.0


def test_position_by_the_triangle_of_crank_and_rod():
    """The law of cosines: rod^2 = crank^2 + y^2 - 2 crank y cos(t), y from crankshaft to piston pin (eq. 2.5)."""
    crank = np.linspace(-360.0, 360.0, 97)
    reach = STROKE / 2.0 + ROD - piston_position(crank, STROKE, ROD)
    turn = np.radians(crank)
    assert_allclose((STROKE / 2.0) ** 2 + reach**2 - STROKE * reach * np.cos(turn), ROD**2, rtol=1e-12)
    assert_allclose(piston_position([0.0, 180.0, 360.0], STROKE, ROD), [0.0, STROKE, 0.0], atol=1e-15)


def test_speed_is_the_slope_of_position():
    crank = np.linspace(0.0, 360.0, 181)
    step = 1e-4
    slope = (piston_position(crank + step, STROKE, ROD) - piston_position(crank - step, STROKE, ROD)) / (2.0 * step)
    assert_allclose(piston_speed(crank, STROKE, ROD, SPEED), slope * math.degrees(SPEED), atol=1e-6)


def test_mean_speed_is_two_strokes_a_turn():
    """Eq. 2.9: 2 x stroke x turns a second: 18.63333 m/s at 86 mm and 6500 a minute."""
    assert mean_piston_speed(STROKE, SPEED) == pytest.approx(18.63333, abs=5e-6)
    crank = np.linspace(0.0, 180.0, 1001)
    moved = cumulative_simpson(piston_speed(crank, STROKE, ROD, SPEED), x=np.radians(crank) / SPEED)[-1]
    assert moved == pytest.approx(STROKE, rel=1e-9)


def test_acceleration_at_the_dead_centres():
    """crank x speed^2 x (1 + crank/rod) at the top, -(1 - crank/rod) at the bottom."""
    for at, expected in ((0.0, 1.0 + STROKE / 2 / ROD), (180.0, -(1.0 - STROKE / 2 / ROD))):
        step = 1e-3
        found = np.diff(piston_speed([at - step, at + step], STROKE, ROD, SPEED))[0] / math.radians(2 * step) * SPEED
        assert found == pytest.approx(STROKE / 2.0 * SPEED**2 * expected, rel=1e-6)


def test_an_endless_rod_gives_a_sine():
    crank = np.linspace(0.0, 360.0, 37)
    expected = math.pi / 2.0 * np.sin(np.radians(crank)) * mean_piston_speed(STROKE, SPEED)
    assert_allclose(piston_speed(crank, STROKE, 1e6, SPEED), expected, atol=1e-5)


def test_two_valves_of_33_mm():
    """b 86, stroke 86 mm, 6500 a minute, C 0.35, a 343.23497 m/s: Z = 0.5267081 (computed apart from this package)."""
    found = mach_index(0.086, 0.033, 2, mean_piston_speed(STROKE, SPEED), 0.35, 343.23497)
    assert found == pytest.approx(0.5267081, abs=5.1e-8)


def test_volume_rate_counts_from_the_dead_centre_on_the_cams_scale():
    engine = Engine(0.08, STROKE, ROD, SPEED, dead_centre_deg=24.0)
    rate = volume_rate(engine, [24.0, 104.0, 204.0])
    assert rate is not None
    area = math.pi * 0.08**2 / 4.0
    assert_allclose(rate, area * piston_speed([0.0, 80.0, 180.0], STROKE, ROD, SPEED), atol=1e-12)
    assert volume_rate(Engine(0.08, STROKE, ROD), [0.0]) is None
