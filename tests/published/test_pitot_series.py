"""Impact pressure over dynamic pressure, 1 + M^2/4 + M^4/40 + ..., for gamma = 7/5.

How far seen: the series stands in texts on compressible flow and is from memory; the values were computed from
the closed form apart from this package.
"""

from __future__ import annotations

import pytest

from portviz.air import GAMMA, isentropic_state

P0, T0, R = 101325.0, 293.15, 287.055


@pytest.mark.parametrize(("mach", "ratio"), [(0.1, 1.0025025), (0.2, 1.0100400), (0.3, 1.0227030)])
def test_impact_pressure_over_dynamic_pressure(mach: float, ratio: float) -> None:
    """The drop from rest over half the static density times the velocity squared; seven decimals given."""
    drop = P0 * (1.0 - (1.0 + 0.2 * mach**2) ** (-GAMMA / (GAMMA - 1.0)))
    state = isentropic_state(drop, P0, T0, R)
    found = drop / (0.5 * state.density * state.velocity**2)
    assert found == pytest.approx(ratio, abs=5.1e-8)
    # The next term of the series is M^6 / 1600.
    assert found == pytest.approx(1.0 + mach**2 / 4.0 + mach**4 / 40.0, abs=mach**6 / 1600.0 * 1.05)
