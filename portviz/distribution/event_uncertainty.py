"""What is known of a run over the lift event: readings and flows at each lift err each for itself [JCGM-100].

Slopes of the event's results over what was measured are found by central differences through the same
shape-preserving cubics. The cam and the lifts at which the pattern was read count as exact.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portviz.air import ideal_mass_flux
from portviz.distribution.event import RunEvent, area_over_lift, area_slopes, band_edges
from portviz.distribution.event_ring import full_shares, over_lift
from portviz.distribution.lift_time import lift_time
from portviz.distribution.measures import bias_is_told
from portviz.distribution.propagation import COMMON, Spread, common_changes, moves_of_readings
from portviz.distribution.reduce import Reduction, upstream_pressure
from portviz.distribution.turning import turning, turning_spread
from portviz.distribution.uncertainty import Uncertainty
from portviz.distribution.verdicts import LEVEL, effective_freedom, shift_p
from portviz.job.model import Array

#: Step of the differences over the greatest of the values: far above rounding, far below what bends a cubic [-].
_STEP = 1e-6
#: A bias nearer to zero than so many of its standard uncertainties is simulated, with so many samples.
_FAR_FROM_ZERO, _SAMPLES, _SEED = 4.0, 5_000, 20_306


@dataclass(frozen=True)
class Estimates:
    """N results with what is known of them.

    Parameters
    ----------
    values : ndarray, shape (N,)
    spread : Spread
    freedom : ndarray, shape (N,)
        Degrees of freedom of what comes from the readings [-].
    """

    values: Array
    spread: Spread
    freedom: Array


@dataclass(frozen=True)
class EventUncertainty:
    """One run's results over the event, with what is known of them.

    Parameters
    ----------
    effective_area : Estimates
        At the measured lifts, N = M [m2].
    area_integral : Estimates
        N = 1 [m2 deg].
    mean_flow : Estimates
        N = 1 [m3/s].
    band_flow : Estimates
        Of the run's own bands, N = B [m3/s].
    flow_share : Estimates
        N = S [-].
    bias_magnitude, bias_angle_deg : Estimates
        N = 1 [-], [deg].
    bias : ndarray, shape (2, 2)
        Covariance of the bias's two parts from what errs for itself [-].
    bias_common : ndarray of complex, shape (4,)
    turning : Estimates or None
        Coefficient about the three axes of `turning`, N = 3 [-]; None without an engine's bore and valve offset.
    """

    effective_area: Estimates
    area_integral: Estimates
    mean_flow: Estimates
    band_flow: Estimates
    flow_share: Estimates
    bias_magnitude: Estimates
    bias_angle_deg: Estimates
    bias: Array
    bias_common: Array
    turning: Estimates | None

    def leans(self, event: RunEvent) -> bool:
        """Tell if the bias has a direction: more than uneven stations feign, and not nothing by what is known of it."""
        if not bool(bias_is_told(event.bias_magnitude, abs(event.even_bias))):
            return False
        parts = np.stack([self.bias_common.real, self.bias_common.imag])
        covariance = self.bias + parts @ parts.T
        p = shift_p(np.array([event.bias.real, event.bias.imag]), covariance, float(self.bias_magnitude.freedom[0]))
        return not p > LEVEL

    def rolls(self) -> bool:
        """Tell if the turning across the bore has a direction."""
        if self.turning is None:
            return False
        about, u = self.turning.values[:2], self.turning.spread.standard[:2]
        freedom = float(self.turning.freedom[:2].min())
        return not shift_p(about, np.diag(u**2), freedom) > LEVEL


def event_uncertainty(reduction: Reduction, uncertainty: Uncertainty, event: RunEvent) -> EventUncertainty:
    """Return what is known of one run over the event."""
    flows = _Flows(reduction, uncertainty, event)
    own = flows.through_bands(band_edges(event.event, event.measured_lifts))
    total = flows.joined(np.ones((1, len(own.values))) @ flows.band_gradient, np.array([event.mean_flow]), at_job=True)
    per_flow = event.event.duration_deg / event.flow_per_area
    integral = flows.joined(
        per_flow * np.sum(flows.band_gradient, axis=0, keepdims=True), np.array([event.area_integral]), at_job=False
    )
    pattern = _Pattern(reduction, uncertainty, event, flows)
    share, bias, common = pattern.shares()
    return EventUncertainty(
        effective_area=flows.joined(np.eye(len(event.knots)), event.effective_area, at_job=False),
        area_integral=integral,
        mean_flow=total,
        band_flow=own,
        flow_share=share,
        bias_magnitude=pattern.along(bias, common, event.bias_magnitude, across=False),
        bias_angle_deg=pattern.along(bias, common, event.bias_angle_deg, across=True),
        bias=bias,
        bias_common=common,
        turning=pattern.turning(),
    )


def band_flows(reduction: Reduction, uncertainty: Uncertainty, event: RunEvent, edges: Array) -> Estimates:
    """Return the part of a run's mean flow [m3/s] in each band of lift between edges [m], with what is known of it."""
    return _Flows(reduction, uncertainty, event).through_bands(edges)


class _Flows:
    """Effective areas at the measured lifts, and what they make of the event's flow."""

    def __init__(self, reduction: Reduction, uncertainty: Uncertainty, event: RunEvent) -> None:
        self.event, groups = event, event.groups
        per_flow = reduction.upstream_density[groups] / reduction.ideal_mass_flux[groups]
        slope = area_slopes(event.knots, event.effective_area)
        # What was measured belongs to a lift a little beside the one that was set.
        self.area_u = np.hypot(
            uncertainty.bench_flow.standard[groups] * per_flow, slope * (reduction.job.bench.lift_uncertainty or 0.0)
        )
        self.area_common = -uncertainty.ideal_flow[:, groups] * event.effective_area
        self._at_job = _ideal_flow_change(reduction)

    def joined(self, gradient: Array, values: Array, *, at_job: bool) -> Estimates:
        """Return results by their slopes over the effective areas, shape (N, M).

        Parameters
        ----------
        gradient : ndarray, shape (N, M)
        values : ndarray, shape (N,)
        at_job : bool
            True for flows, which stand for the job's test pressure and move with what is uncertain of that.
        """
        common = np.stack([gradient @ row for row in self.area_common])
        if at_job:
            common = common + self._at_job[:, None] * values
        stated = np.sqrt((gradient**2) @ self.area_u**2) if len(self.area_u) else np.full(len(values), np.nan)
        return Estimates(values, Spread(np.zeros(len(values)), stated, common), np.full(len(values), np.inf))

    def through_bands(self, edges: Array) -> Estimates:
        """Return the part of the mean flow [m3/s] in each band of lift between edges [m]; keeps its slopes."""
        event = self.event
        time = lift_time(event.event, np.union1d(event.knots, edges[1:]))
        home = np.clip(np.searchsorted(edges, time.lift, side="right") - 1, 0, len(edges) - 2)
        weight = np.zeros((len(edges) - 1, len(time.lift)))
        weight[home, np.arange(len(time.lift))] = time.weight * event.flow_per_area / event.event.duration_deg
        values = weight @ event.area_at(time.lift)
        #: Slopes of the bands' flows over the areas, shape (B, M) [m/s].
        self.band_gradient = weight @ self.slopes(time.lift)
        return self.joined(self.band_gradient, values, at_job=True)

    def slopes(self, lift: Array) -> Array:
        """Return the slopes of the effective area at lifts over those at the measured ones, shape (Q, M) [-]."""
        area = self.event.effective_area
        if not len(area):
            return np.zeros((len(lift), 0))
        step = _STEP * (float(np.abs(area).max()) or 1.0)
        moves = step * np.eye(len(area))
        high, low = (area_over_lift(self.event.knots, area[:, None] + sign * moves, lift) for sign in (1.0, -1.0))
        return np.asarray((high - low) / (2.0 * step))


class _Pattern:
    """Shares at the measured lifts, and what they make of the event's."""

    def __init__(self, reduction: Reduction, uncertainty: Uncertainty, event: RunEvent, flows: _Flows) -> None:
        self.reduction, self.uncertainty, self.event, self.flows = reduction, uncertainty, event, flows
        time = event.time
        area = event.area_at(time.lift)
        total = event.area_integral
        with np.errstate(divide="ignore", invalid="ignore"):
            self._weight = time.weight * area / total
            # How the weights move with each area; they always sum to one.
            moves = time.weight[:, None] * flows.slopes(time.lift)
            self._weight_slopes = (moves - self._weight[:, None] * moves.sum(axis=0)) / total
        # Without the flow's accuracy the weights count as exact: they hardly move the shares.
        self._area_u = np.nan_to_num(flows.area_u)

    def over_event(self, values: Array) -> tuple[Array, Array, Array]:
        """Return values averaged over the event's flow, with their slopes.

        Parameters
        ----------
        values : ndarray, shape (M, N)
            At the ring's measured lifts.

        Returns
        -------
        mean : ndarray, shape (N,)
        by_value : ndarray, shape (M, N)
            Slope over the value at each lift [-].
        by_area : ndarray, shape (A, N)
            Slope over each effective area [1/m2].
        """
        ring, lift = self.event.ring, self.event.time.lift
        at = over_lift(ring.lift, values, lift)
        step = _STEP * (float(np.nanmax(np.abs(values), initial=0.0)) or 1.0)
        moves = step * np.eye(len(values))[:, None, :]
        high, low = (over_lift(ring.lift, values[..., None] + sign * moves, lift) for sign in (1.0, -1.0))
        by_value = np.tensordot(self._weight, high - low, axes=1).T / (2.0 * step)
        return self._weight @ at, by_value, self._weight_slopes.T @ at

    def shares(self) -> tuple[Estimates, Array, Array]:
        """Return the event's shares, the covariance (2, 2) of its bias, and what common factors do to that (4,)."""
        reduction, ring = self.reduction, self.event.ring
        count = len(ring.station)
        turn = np.exp(1j * np.radians(ring.angle_deg))
        if not np.isfinite(self.event.area_integral) or not self.event.area_integral > 0.0 or not count:
            unknown = Spread(np.full(count, np.nan), np.full(count, np.nan), np.full((len(COMMON), count), np.nan))
            return (
                Estimates(self.event.flow_share, unknown, np.full(count, np.inf)),
                np.full((2, 2), np.nan),
                np.full(len(COMMON), np.nan + 0j),
            )
        _, by_share, by_area = self.over_event(ring.share)
        flux = reduction.stations.density * reduction.stations.velocity
        flux_u = moves_of_readings(reduction, self.uncertainty.readings.mean)[1]
        changes = common_changes(reduction)
        squares, common = np.zeros((len(ring.lift), count)), np.zeros((len(COMMON), count))
        covariance = np.zeros((2, 2))
        for row, group in enumerate(ring.groups.tolist()):
            part = reduction.stations_of(group)
            moves = by_share[row][:, None] * self._share_slopes(row, flux[part])
            own = moves * flux_u[part]
            squares[row] = np.sum(own**2, axis=1)
            of_bias = turn @ own
            covariance += np.stack([of_bias.real, of_bias.imag]) @ np.stack([of_bias.real, of_bias.imag]).T
            common[: len(changes)] += np.array([moves @ change.mass_flux[part] for change in changes])
        by_flow = by_area * self._area_u[:, None]
        of_flow = turn @ by_flow.T
        covariance += np.stack([of_flow.real, of_flow.imag]) @ np.stack([of_flow.real, of_flow.imag]).T
        common += self.flows.area_common @ by_area
        spread = Spread(np.sqrt(squares.sum(axis=0)), np.sqrt(np.sum(by_flow**2, axis=0)), common)
        return Estimates(self.event.flow_share, spread, self._freedom(np.sqrt(squares))), covariance, common @ turn

    def _share_slopes(self, row: int, flux: Array) -> Array:
        """Return the slopes of a lift's shares over the mass fluxes of its stations, shape (S, K)."""
        ring, reduction = self.event.ring, self.reduction
        part = reduction.stations_of(int(ring.groups[row]))
        if ring.read[row].all():
            through = np.sum(flux * ring.sector_deg)
            return np.asarray((np.diag(ring.sector_deg) - np.outer(ring.share[row], ring.sector_deg)) / through)
        step = _STEP * float(np.abs(flux).max())
        moves = step * np.eye(len(flux))
        high, low = (
            full_shares(
                reduction.stations.angle_deg[part], flux[:, None] + sign * moves, ring.angle_deg, ring.sector_deg
            )
            for sign in (1.0, -1.0)
        )
        return np.asarray((high - low) / (2.0 * step))

    def _freedom(self, parts: Array) -> Array:
        """Return the degrees of freedom of sums over the ring's lifts, shape (N,), of parts (M, N)."""
        freedoms = self.uncertainty.readings.freedom[self.event.ring.groups]
        return effective_freedom(parts, np.repeat(freedoms[:, None], parts.shape[1], axis=1))

    def along(self, covariance: Array, common: Array, value: float, *, across: bool) -> Estimates:
        """Return the bias's magnitude, or across it its direction [deg], with what is known of it."""
        turned = np.exp(-1j * np.radians(self.event.bias_angle_deg))
        way, scale = np.array([turned.real, -turned.imag]), 1.0
        if across:
            way = np.array([turned.imag, turned.real])
            magnitude = self.event.bias_magnitude
            scale = np.degrees(1.0) / magnitude if magnitude > 0.0 else np.nan
        own = float(np.sqrt(way @ covariance @ way)) * scale
        if self.event.bias_magnitude < _FAR_FROM_ZERO * np.sqrt(np.trace(covariance)):
            own = _drawn(self.event.bias, covariance, across=across)
        moved = (common * turned).imag if across else (common * turned).real
        spread = Spread(np.array([own]), np.zeros(1), (moved * scale)[:, None])
        freedom = self.uncertainty.readings.freedom[self.event.ring.groups]
        # The lifts' parts are much alike: their least freedom is on the safe side.
        least = float(freedom.min()) if len(freedom) else np.inf
        return Estimates(np.array([value]), spread, np.array([least]))

    def turning(self) -> Estimates | None:
        """Return the turning coefficient over the event's flow."""
        reduction, ring = self.reduction, self.event.ring
        engine = reduction.job.engine
        if engine is None or engine.valve_offset is None or reduction.job.side != "intake":
            return None
        if engine.valve_direction_deg is None and engine.valve_offset:
            return None
        if not len(ring.lift) or not self.event.area_integral > 0.0:
            return None
        values = turning(reduction, engine).coefficient[:, ring.groups].T
        mean, by_value, by_area = self.over_event(values)
        spreads = turning_spread(reduction, self.uncertainty, engine)
        own = by_value * np.stack([spread.independent[ring.groups] for spread in spreads], axis=1)
        common = np.stack(
            [spread.common[:, ring.groups] @ by_value[:, axis] for axis, spread in enumerate(spreads)], axis=1
        )
        common += self.flows.area_common @ by_area
        stated = np.sqrt(np.sum((by_area * self._area_u[:, None]) ** 2, axis=0))
        return Estimates(mean, Spread(np.sqrt(np.sum(own**2, axis=0)), stated, common), self._freedom(own))


def _drawn(bias: complex, covariance: Array, *, across: bool) -> float:
    """Return the standard deviation of a bias's magnitude or direction [deg] near zero, where no line holds [JCGM-101].

    The generator starts from a fixed seed: the same job gives the same numbers.
    """
    draws = np.random.default_rng(_SEED).multivariate_normal([bias.real, bias.imag], covariance, _SAMPLES)
    drawn = draws[:, 0] + 1j * draws[:, 1]
    if not across:
        return float(np.std(np.abs(drawn), ddof=1))
    return float(np.std(np.degrees(np.angle(drawn * np.conj(bias))), ddof=1))


def _ideal_flow_change(reduction: Reduction) -> Array:
    """Return the relative change of the ideal volume flow at the job's test pressure, a standard uncertainty each (4,).

    In the order of `COMMON`: the gauge's coefficient and the dimensions are not in it, denser air flows slower.
    """
    job, room = reduction.job, reduction.job.bench.air
    by_pressure = 0.0
    if job.bench.test_pressure_uncertainty:
        step = 1e-6 * job.bench.test_pressure
        pressures = job.bench.test_pressure + np.array([0.0, step])
        upstream = upstream_pressure(job, pressures)
        flow = ideal_mass_flux(pressures, upstream, room.temperature, room.gas_constant) / upstream
        by_pressure = float(flow[1] / flow[0] - 1.0) * job.bench.test_pressure_uncertainty / step
    return np.array([0.0, -0.5 * (job.bench.density_uncertainty or 0.0), by_pressure, 0.0])
