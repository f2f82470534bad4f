"""Room air and isentropic flow from rest.

Sources are cited by key: [CIPM-2007], [Heywood], [NACA-1135]; see DEVELOPERS.md, bibliography.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from portviz.errors import ChokedFlowError

Array = npt.NDArray[np.float64]

#: Ratio of specific heats of air [-].
GAMMA = 1.4
#: Downstream over stagnation pressure at which the flow chokes [-], (2 / (gamma + 1)) ** (gamma / (gamma - 1)).
CRITICAL_PRESSURE_RATIO = (2.0 / (GAMMA + 1.0)) ** (GAMMA / (GAMMA - 1.0))
#: Celsius zero [K].
ZERO_CELSIUS = 273.15
#: Range for which CIPM-2007 is stated: pressure [Pa], temperature [K].
CIPM_PRESSURE_RANGE = (60_000.0, 110_000.0)
CIPM_TEMPERATURE_RANGE = (ZERO_CELSIUS + 15.0, ZERO_CELSIUS + 27.0)
#: Mach number above which pressure taps and probes are no longer trusted without a correction [-]
#: (common practice, no source).
MACH_TRUSTED = 0.7


@dataclass(frozen=True)
class RoomAir:
    """Air of the room in which the bench stands.

    Parameters
    ----------
    pressure : float
        Barometer [Pa].
    temperature : float
        [K].
    humidity : float
        Relative humidity [-], 0 to 1.
    """

    pressure: float
    temperature: float
    humidity: float

    @property
    def density(self) -> float:
        """Density of the room's air [kg/m3]."""
        return moist_air_density(self.pressure, self.temperature, self.humidity)

    @property
    def gas_constant(self) -> float:
        """Specific gas constant that belongs to that density [J/(kg K)]."""
        return self.pressure / (self.density * self.temperature)


def moist_air_density(pressure: float, temperature: float, humidity: float) -> float:
    """Return the density of moist air by CIPM-2007.

    Parameters
    ----------
    pressure : float
        [Pa], stated for 60 to 110 kPa.
    temperature : float
        [K], stated for 288.15 to 300.15 K.
    humidity : float
        Relative humidity [-], 0 to 1.

    Returns
    -------
    float
        Density [kg/m3], for 400 micromole of carbon dioxide per mole of dry air.

    Notes
    -----
    rho = p Ma / (Z R T) (1 - xv (1 - Mv / Ma)); [CIPM-2007] with its constants.

    Examples
    --------
    >>> round(moist_air_density(101325.0, 293.15, 0.5), 7)
    1.1993139
    """
    celsius = temperature - ZERO_CELSIUS
    enhancement = 1.00062 + 3.14e-8 * pressure + 5.6e-7 * celsius**2
    vapour = humidity * enhancement * saturation_pressure(temperature) / pressure
    ratio = pressure / temperature
    compressibility = (
        1.0
        - ratio
        * (
            1.58123e-6
            - 2.9331e-8 * celsius
            + 1.1043e-10 * celsius**2
            + (5.707e-6 - 2.051e-8 * celsius) * vapour
            + (1.9898e-4 - 2.376e-6 * celsius) * vapour**2
        )
        + ratio**2 * (1.83e-11 - 0.765e-8 * vapour**2)
    )
    molar_gas, molar_air, molar_water = 8.314472, 28.96546e-3, 18.01528e-3
    dry = pressure * molar_air / (compressibility * molar_gas * temperature)
    return float(dry * (1.0 - vapour * (1.0 - molar_water / molar_air)))


def saturation_pressure(temperature: float) -> float:
    """Return the saturation vapour pressure of water [Pa] at `temperature` [K], by CIPM-2007."""
    exponent = 1.2378847e-5 * temperature**2 - 1.9121316e-2 * temperature + 33.93711047 - 6343.1645 / temperature
    return float(np.exp(exponent))


def require_subsonic(drop: npt.ArrayLike, stagnation_pressure: npt.ArrayLike, what: str) -> None:
    """Raise ChokedFlowError where a drop [Pa] reaches the critical one of its stagnation pressure [Pa]."""
    drops, stagnation = np.broadcast_arrays(
        np.abs(np.asarray(drop, dtype=float)), np.asarray(stagnation_pressure, dtype=float)
    )
    limit = (1.0 - CRITICAL_PRESSURE_RATIO) * stagnation
    worst = int(np.argmax(drops - limit)) if drops.size else 0
    if drops.size and not drops.flat[worst] < limit.flat[worst]:
        raise ChokedFlowError(
            f"{what}: a drop of {drops.flat[worst] / 1e3:.2f} kPa from {stagnation.flat[worst] / 1e3:.2f} kPa "
            f"chokes the flow (the limit is {limit.flat[worst] / 1e3:.2f} kPa); "
            "the velocity can't be found from it"
        )


@dataclass(frozen=True)
class IsentropicState:
    """Air expanded from rest by a pressure drop; arrays of one shape.

    Parameters
    ----------
    velocity : ndarray
        [m/s]; negative where the drop is (reverse flow).
    mach : ndarray
        [-]; of the velocity's sign.
    density : ndarray
        Static density [kg/m3].
    """

    velocity: Array
    mach: Array
    density: Array

    @property
    def mass_flux(self) -> Array:
        """Density times velocity [kg/(s m2)]."""
        return np.asarray(self.density * self.velocity)


def isentropic_state(
    drop: npt.ArrayLike,
    stagnation_pressure: npt.ArrayLike,
    stagnation_temperature: float,
    gas_constant: float,
) -> IsentropicState:
    """Return velocity, Mach number and density behind an isentropic pressure drop from rest.

    Parameters
    ----------
    drop : array_like
        Stagnation minus static pressure [Pa]. A negative drop is taken as flow the other way.
    stagnation_pressure : array_like
        [Pa], broadcast with `drop`.
    stagnation_temperature : float
        [K].
    gas_constant : float
        [J/(kg K)].

    Raises
    ------
    ChokedFlowError
        If a drop reaches the critical one.

    Notes
    -----
    v = sqrt(2 gamma / (gamma - 1) R T0 (1 - (1 - drop / p0) ** ((gamma - 1) / gamma))), subsonic;
    [NACA-1135].

    Examples
    --------
    >>> state = isentropic_state(6974.48948, 101325.0, 288.15, 287.055)
    >>> round(float(state.velocity), 3), round(float(state.mach), 5)
    (108.067, 0.32082)
    """
    drop = np.asarray(drop, dtype=float)
    stagnation_pressure = np.asarray(stagnation_pressure, dtype=float)
    require_subsonic(drop, stagnation_pressure, "pressure drop")
    # log1p/expm1 keep all digits where the drop is a few pascal.
    log_ratio = np.log1p(-np.abs(drop) / stagnation_pressure)
    cooling = -np.expm1((GAMMA - 1.0) / GAMMA * log_ratio)
    sign = np.sign(drop)
    velocity = sign * np.sqrt(2.0 * GAMMA / (GAMMA - 1.0) * gas_constant * stagnation_temperature * cooling)
    mach = sign * np.sqrt(2.0 / (GAMMA - 1.0) * cooling / (1.0 - cooling))
    stagnation_density = stagnation_pressure / (gas_constant * stagnation_temperature)
    return IsentropicState(velocity, mach, stagnation_density * np.exp(log_ratio / GAMMA))


def isentropic_drop(
    velocity: npt.ArrayLike,
    stagnation_pressure: npt.ArrayLike,
    stagnation_temperature: float,
    gas_constant: float,
) -> Array:
    """Return the pressure drop [Pa] whose isentropic velocity is given; inverse of `isentropic_state`.

    Parameters
    ----------
    velocity : array_like
        [m/s]; the sign is kept.
    stagnation_pressure : array_like
        [Pa].
    stagnation_temperature : float
        [K].
    gas_constant : float
        [J/(kg K)].

    Raises
    ------
    ChokedFlowError
        If a velocity is sonic or faster.
    """
    velocity = np.asarray(velocity, dtype=float)
    stagnation_pressure = np.asarray(stagnation_pressure, dtype=float)
    limit = np.sqrt(2.0 * GAMMA / (GAMMA + 1.0) * gas_constant * stagnation_temperature)
    fastest = float(np.max(np.abs(velocity), initial=0.0))
    if not fastest < limit:
        raise ChokedFlowError(
            f"a velocity of {fastest:.1f} m/s is sonic or faster (the limit is {limit:.1f} m/s); flow is choked"
        )
    cooling = velocity**2 * (GAMMA - 1.0) / (2.0 * GAMMA * gas_constant * stagnation_temperature)
    return np.asarray(-np.sign(velocity) * stagnation_pressure * np.expm1(GAMMA / (GAMMA - 1.0) * np.log1p(-cooling)))


def ideal_mass_flux(
    drop: npt.ArrayLike,
    stagnation_pressure: npt.ArrayLike,
    stagnation_temperature: float,
    gas_constant: float,
) -> Array:
    """Return density times velocity of the isentropic state [kg/(s m2)].

    The one-dimensional orifice flow of [Heywood] eq. C.8 (number from memory) per unit of area;
    subsonic only. Parameters and errors as in `isentropic_state`.
    """
    return isentropic_state(drop, stagnation_pressure, stagnation_temperature, gas_constant).mass_flux
