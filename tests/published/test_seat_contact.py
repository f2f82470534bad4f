"""Statics of the conical contact of valve and seat: N = F / (cos b + mu sin b), and the pressure on the band.

How far seen: cone friction as in textbooks on machine elements (cone clutches and wedges), from memory, and written
down again here from the balance of forces. The check values (300 N, mean diameter 38 mm, radial width 2 mm) were
computed apart from this package. Friction is bounds, not a value.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from portviz.geometry.contact import friction_bounds, gas_force, mean_contact_pressure, seat_contact
from portviz.geometry.dimensions import dimensions

MM = 1e-3
FORCE, MEAN, RADIAL = 300.0, 38 * MM, 2 * MM


def band(angle_deg: float):
    """The contact of a valve and seat whose band has that mean diameter and radial width."""
    angle = math.radians(angle_deg)
    return seat_contact(
        dimensions(
            head_radius=20 * MM,
            stem_radius=3.5 * MM,
            seat_angle=angle,
            seat_width=RADIAL / math.cos(angle),
            face_width=2 * RADIAL,
            throat_radius=17 * MM,
        )
    )


def test_the_published_band_of_45_degrees() -> None:
    """N 424.264069 N, area 337.659103 mm2, pressure 1.2564864 MPa; as many figures as are given."""
    contact = band(45.0)
    assert 2.0 * contact.mean_radius[0] == pytest.approx(MEAN, rel=1e-12)
    assert contact.area[0] / MM**2 == pytest.approx(337.659103, abs=5e-7)
    pressure = float(mean_contact_pressure(FORCE, contact.mean_radius, contact.radial_width)[0])
    assert pressure / 1e6 == pytest.approx(1.2564864, abs=5e-8)
    assert pressure * contact.area[0] == pytest.approx(424.264069, abs=5e-7)


@pytest.mark.parametrize("angle", [30.0, 45.0, 60.0])
def test_the_frictionless_pressure_does_not_know_the_angle(angle: float) -> None:
    """Axial force over the projected ring: F / (pi Dm w), and N = F / cos(b) over the cone's own area, is the same."""
    contact = band(angle)
    pressure = float(mean_contact_pressure(FORCE, contact.mean_radius, contact.radial_width)[0])
    assert pressure / 1e6 == pytest.approx(1.2564864, abs=5e-8)
    assert pressure == pytest.approx(FORCE / math.cos(math.radians(angle)) / contact.area[0], rel=1e-12)


def test_sliding_in_with_friction() -> None:
    """mu 0.15 at 45 deg: N 368.925277 N, pressure 1.0925969 MPa."""
    low, _ = friction_bounds(math.radians(45.0), 0.15)
    assert 424.264069 * low == pytest.approx(368.925277, abs=1e-6)
    contact = band(45.0)
    pressure = mean_contact_pressure(FORCE, contact.mean_radius, contact.radial_width)[0] * low
    assert pressure / 1e6 == pytest.approx(1.0925969, abs=1e-7)


@pytest.mark.parametrize("angle", [20.0, 30.0, 45.0, 60.0, 75.0])
@pytest.mark.parametrize("friction", [0.0, 0.1, 0.2])
def test_the_bounds_balance_the_forces(angle: float, friction: float) -> None:
    """Along the axis, N cos(b) +/- mu N sin(b) carries F: friction helps on the way in, not on the way out.

    The forces are put together as vectors on the cone; at 75 deg 0.2 is still below cot(b) = 0.268.
    """
    slope = math.radians(angle)
    low, high = (float(each) * FORCE / math.cos(slope) for each in friction_bounds(slope, friction))
    # In (r, z), z along the stem: the seat pushes the face toward the axis and down, square to the cone.
    normal = np.array([-math.sin(slope), -math.cos(slope)])
    # The face slides up and in along the cone as it wedges; friction on it points down and out.
    sliding_in = np.array([math.cos(slope), -math.sin(slope)])
    assert normal @ sliding_in == pytest.approx(0.0, abs=1e-15)
    assert (low * normal + friction * low * sliding_in)[1] == pytest.approx(-FORCE, rel=1e-12)
    assert (high * normal - friction * high * sliding_in)[1] == pytest.approx(-FORCE, rel=1e-12)
    assert low <= FORCE / math.cos(slope) * (1.0 + 1e-12) <= high * (1.0 + 2e-12)


def test_it_sticks_from_the_cotangent_on() -> None:
    """mu >= cot(b): no force along the axis alone loosens the valve, and nothing bounds N from above."""
    angle = math.radians(60.0)
    limit = 1.0 / math.tan(angle)
    assert np.isfinite(friction_bounds(angle, 0.999 * limit)[1])
    assert np.isinf(friction_bounds(angle, 1.001 * limit)[1])
    assert np.isfinite(friction_bounds(angle, 1.001 * limit)[0])


def test_gas_presses_on_the_circle_within_the_contact() -> None:
    """60 bar on a circle of 38 mm: pi / 4 x 0.038^2 x 6e6 = 6804.69 N (by hand)."""
    assert float(gas_force(60e5, MEAN / 2.0)) == pytest.approx(math.pi / 4.0 * 0.038**2 * 6e6, rel=1e-12)
    assert float(gas_force(60e5, MEAN / 2.0)) == pytest.approx(6804.69, abs=0.01)
