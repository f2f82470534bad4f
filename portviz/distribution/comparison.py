"""What a change really changed: two runs, lift by lift, each difference with its uncertainty and a verdict."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from portviz.distribution.differences import BiasShift, Difference, bias_shift, tested_difference
from portviz.distribution.field import around_circle
from portviz.distribution.measures import sector_angles
from portviz.distribution.propagation import Spread
from portviz.distribution.reduce import Reduction
from portviz.distribution.uncertainty import Uncertainty
from portviz.distribution.verdicts import HIGHER
from portviz.errors import UsageError
from portviz.job.model import SAME_LIFT, Array, Index
from portviz.job.words import lift_text

if TYPE_CHECKING:
    import pandas as pd

#: Conditions nearer than this part of one another are the same [-].
_SAME = 1e-6


@dataclass(frozen=True)
class Side:
    """One of the two runs that are compared.

    Parameters
    ----------
    reduction : Reduction
    uncertainty : Uncertainty
    run : int
        Place among the reduction's runs.
    """

    reduction: Reduction
    uncertainty: Uncertainty
    run: int

    @property
    def name(self) -> str:
        """Name of the run."""
        return self.reduction.runs[self.run]

    def label(self, other: Side) -> str:
        """Return the run's name, with its job's folder where the other side is another job's."""
        if self.reduction is other.reduction:
            return self.name
        return f"{self.name} ({self.reduction.job.folder.resolve().name})"

    @property
    def groups(self) -> Index:
        """Groups of the run, ascending in lift."""
        return np.array(self.reduction.groups_of(self.run))


@dataclass(frozen=True)
class LiftComparison:
    """Two runs at one lift.

    Parameters
    ----------
    lift : float
        [m].
    groups : tuple of int
        The group of each run.
    angles_deg : ndarray, shape (S,)
        Stations compared, as typed [deg].
    values : dict of str to Difference
        One value each: "flow", "mean_velocity", "uniformity_index", "coefficient_of_variation", "closure",
        "discharge_coefficient".
    stations : dict of str to Difference
        S values each: "velocity", "flow_share".
    bias : BiasShift
    rescaled : bool
        True where the second run's velocities and flow stand for the first one's test pressure and air.
    """

    lift: float
    groups: tuple[int, int]
    angles_deg: Array
    values: dict[str, Difference]
    stations: dict[str, Difference]
    bias: BiasShift
    rescaled: bool


@dataclass(frozen=True)
class Comparison:
    """Two runs compared.

    Parameters
    ----------
    a, b : Side
    lifts : tuple of LiftComparison
        Ascending.
    only_a, only_b : ndarray
        Lifts [m] that only one of them has.
    on_field : bool
        True where the second run's field was read at the first one's stations.
    """

    a: Side
    b: Side
    lifts: tuple[LiftComparison, ...]
    only_a: Array
    only_b: Array
    on_field: bool

    def to_dataframe(self, *, of: str = "lifts") -> pd.DataFrame:
        """Return a pandas data frame, a row a lift or, `of` "stations", a station; see `frames.comparison_frame`."""
        from portviz.distribution.frames import comparison_frame

        return comparison_frame(self, of=of)


def compare_runs(a: Side, b: Side, *, on_field: bool = False) -> Comparison:
    """Return the differences of two runs, of one job or of two.

    Parameters
    ----------
    a, b : Side
    on_field : bool
        Where stations differ, compare b's field at a's stations; without it that is refused.

    Raises
    ------
    UsageError
        If the runs are the same, have no lift in common or other stations.

    Notes
    -----
    Within one job the coefficient, the density, the test pressure and the dimensions are common to both
    runs and cancel as far as they move both alike; of two jobs they are taken to err each for itself. Of two
    jobs, and where conditions differ, velocities are compared over their isentropic velocity and flows over
    their ideal flow, whose own uncertainties then count.
    Station verdicts hold for all stations of a lift together, at 5 % for each quantity [Holm].
    """
    if a.reduction is b.reduction and a.run == b.run:
        raise UsageError(f"compare: {a.name!r} can't be compared with itself; name two runs")
    one, other = a.reduction.job, b.reduction.job
    if one.folder.resolve() == other.folder.resolve() and a.name == b.name:
        raise UsageError(f"compare: {a.name!r} can't be compared with itself; name two runs")
    if one.side != other.side:
        raise UsageError(f"compare: {a.name!r} is measured on the {one.side}, {b.name!r} on the {other.side} side")
    pairs, only_a, only_b = common_lifts(a, b)
    if not pairs:
        raise UsageError(
            f"compare: the runs have no open lift in common; {a.name!r} has {_lift_list(a)}, {b.name!r} has "
            f"{_lift_list(b)}"
        )
    lifts = tuple(_compared(a, b, first, second, on_field=on_field) for first, second in pairs)
    return Comparison(a, b, lifts, only_a, only_b, on_field)


def common_lifts(a: Side, b: Side) -> tuple[list[tuple[int, int]], Array, Array]:
    """Return the groups of the lifts that both runs have, and the lifts [m] that only one has."""
    lift_a, lift_b = a.reduction.lift[a.groups], b.reduction.lift[b.groups]
    apart = np.abs(lift_a[:, None] - lift_b[None, :])
    # With the valve closed there is nothing but leakage and the gauge's zero to compare.
    match = (apart <= SAME_LIFT) & (lift_a[:, None] > 0.0)
    pairs = [(int(a.groups[first]), int(b.groups[second])) for first, second in np.argwhere(match)]
    return pairs, lift_a[~match.any(axis=1)], lift_b[~match.any(axis=0)]


def _lift_list(side: Side) -> str:
    lifts = [lift_text(side.reduction.job, float(lift)) for lift in side.reduction.lift[side.groups]]
    return ", ".join(lifts[:12]) + (" ..." if len(lifts) > 12 else "")


def _compared(a: Side, b: Side, group_a: int, group_b: int, *, on_field: bool) -> LiftComparison:
    first, second = a.reduction, b.reduction
    part_a, part_b = first.stations_of(group_a), second.stations_of(group_b)
    same = np.array_equal(first.stations.angle_deg[part_a], second.stations.angle_deg[part_b])
    if not same and not on_field:
        raise UsageError(_other_stations(a, b, group_a, group_b))
    speed, flow = _scales(first, second, group_a, group_b)
    one_job = first is second
    rescaled = abs(speed - 1.0) > _SAME or abs(flow - 1.0) > _SAME
    tested = _Tested(a, b, group_a, group_b, one_job=one_job, same_stations=same, by_reference=rescaled or not one_job)
    station_values = {}
    for name, scale in (("velocity", speed), ("flow_share", 1.0)):
        va, vb = getattr(first.stations, name)[part_a], getattr(second.stations, name)[part_b]
        sa = getattr(a.uncertainty, name).take(part_a)
        sb = getattr(b.uncertainty, name).take(part_b)
        if name == "velocity" and tested.by_reference:
            sa = _at_reference(sa, va, a.uncertainty.ideal_velocity[:, group_a])
            sb = _at_reference(sb, vb, b.uncertainty.ideal_velocity[:, group_b])
        if not same:
            at = first.stations.angle_deg[part_a]
            vb, sb = read_field(second, part_b, at, vb, sb, per_sector=name == "flow_share")
        station_values[name] = tested.family(va, vb * scale, sa, sb.scaled(scale))
    values = {
        name: tested.single(
            getattr(a.uncertainty, name),
            getattr(b.uncertainty, name),
            va,
            vb,
            scale,
            of_ring=name != "discharge_coefficient",
            against="ideal_velocity" if name == "mean_velocity" else "",
        )
        for name, va, vb, scale in (
            ("mean_velocity", first.measures.mean, second.measures.mean, speed),
            ("uniformity_index", first.measures.uniformity_index, second.measures.uniformity_index, 1.0),
            (
                "coefficient_of_variation",
                first.measures.coefficient_of_variation,
                second.measures.coefficient_of_variation,
                1.0,
            ),
            ("closure", first.closure, second.closure, 1.0),
            ("discharge_coefficient", first.discharge_coefficient, second.discharge_coefficient, 1.0),
        )
    }
    values["flow"] = tested.single(
        a.uncertainty.bench_flow,
        b.uncertainty.bench_flow,
        first.bench_flow,
        second.bench_flow,
        flow,
        of_ring=False,
        against="ideal_flow",
    )
    return LiftComparison(
        lift=float(first.lift[group_a]),
        groups=(group_a, group_b),
        angles_deg=first.job.stations.angles_deg[first.stations.station[part_a]],
        values=values,
        stations=station_values,
        bias=tested.bias(),
        rescaled=rescaled,
    )


def _at_reference(spread: Spread, values: Array, parts: Array) -> Spread:
    """Return the spread of values that stand for reference conditions: what moves those moves the values back.

    Parameters
    ----------
    spread : Spread
    values : ndarray, shape (N,)
    parts : ndarray, shape (4,)
        Relative change of the reference for one standard uncertainty of each common factor [-].
    """
    return Spread(spread.independent, spread.stated, spread.common - parts[:, None] * values)


def _scales(first: Reduction, second: Reduction, group_a: int, group_b: int) -> tuple[float, float]:
    """Return what the second run's velocities and flow are multiplied with to stand for the first one's conditions.

    Velocity by the isentropic velocity of the whole test pressure (the velocity ratio stays); flow, at
    one effective area, by ideal mass flux over upstream density.
    """
    speed = first.ideal_velocity[group_a] / second.ideal_velocity[group_b]
    first_flow = first.ideal_mass_flux[group_a] / first.upstream_density[group_a]
    second_flow = second.ideal_mass_flux[group_b] / second.upstream_density[group_b]
    scales = float(speed), float(first_flow / second_flow)
    return tuple(1.0 if abs(scale - 1.0) <= 1e-12 else scale for scale in scales)  # type: ignore[return-value]


class _Tested:
    """The tests of one lift: what is common to both runs, and the degrees of freedom of each."""

    def __init__(
        self,
        a: Side,
        b: Side,
        group_a: int,
        group_b: int,
        *,
        one_job: bool,
        same_stations: bool,
        by_reference: bool,
    ) -> None:
        self.a, self.b, self.group_a, self.group_b = a, b, group_a, group_b
        self._one_job, self._same_stations = one_job, same_stations
        #: True where values stand for conditions that have an uncertainty of their own.
        self.by_reference = by_reference
        self._freedom = (
            float(a.uncertainty.readings.freedom[group_a]),
            float(b.uncertainty.readings.freedom[group_b]),
        )

    def family(self, va: Array, vb: Array, sa: Spread, sb: Spread) -> Difference:
        """Return the differences of values that are tested as one family."""
        freedoms = tuple(np.full(len(va), freedom) for freedom in self._freedom)
        return tested_difference((va, sa, freedoms[0]), (vb, sb, freedoms[1]), one_job=self._one_job)

    def single(
        self,
        spread_a: Spread,
        spread_b: Spread,
        va: Array,
        vb: Array,
        scale: float,
        *,
        of_ring: bool = True,
        against: str = "",
    ) -> Difference:
        """Return the difference of one value of each group; of a ring it is not known where stations differ."""
        at_a, at_b = np.array([self.group_a]), np.array([self.group_b])
        sa, sb = spread_a.take(at_a), spread_b.take(at_b)
        if against and self.by_reference:
            sa = _at_reference(sa, va[at_a], getattr(self.a.uncertainty, against)[:, self.group_a])
            sb = _at_reference(sb, vb[at_b], getattr(self.b.uncertainty, against)[:, self.group_b])
        second = sb.scaled(scale if self._same_stations or not of_ring else np.nan)
        return self.family(va[at_a], vb[at_b] * scale, sa, second)

    def bias(self) -> BiasShift:
        """Return how the bias moved."""
        first, second = self.a.reduction, self.b.reduction
        magnitude = self.single(
            self.a.uncertainty.bias_magnitude,
            self.b.uncertainty.bias_magnitude,
            first.bias_magnitude,
            second.bias_magnitude,
            1.0,
        )
        covariances, common = zip(
            *(
                (side.uncertainty.bias[group], side.uncertainty.bias_common[:, group])
                for side, group in ((self.a, self.group_a), (self.b, self.group_b))
            ),
            strict=True,
        )
        covariance = covariances[0] + covariances[1]
        if not self._same_stations:
            covariance = covariance * np.nan
        moved = _bias(second, self.group_b) - _bias(first, self.group_a)
        return bias_shift(magnitude, moved, covariance, common, one_job=self._one_job)


def _bias(reduction: Reduction, group: int) -> complex:
    turn = np.exp(1j * np.radians(reduction.bias_angle_deg[group]))
    return complex(reduction.bias_magnitude[group] * turn)


def packed_to_one_side(comparison: Comparison) -> list[float]:
    """Return the lifts [m] that gained flow while their bias grew, both shown."""
    return [
        each.lift
        for each in comparison.lifts
        if each.values["flow"].verdicts[0] == HIGHER and each.bias.magnitude.verdicts[0] == HIGHER
    ]


def read_field(
    reduction: Reduction, part: slice, angle_deg: Array, values: Array, spread: Spread, *, per_sector: bool
) -> tuple[Array, Spread]:
    """Return a group's field at other angles than its stations, and what is known of it there.

    Parameters
    ----------
    reduction : Reduction
    part : slice
        The group's stations.
    angle_deg : ndarray, shape (A,)
        In [0, 360) [deg].
    values : ndarray, shape (S,)
        At the stations.
    spread : Spread
        Of the values.
    per_sector : bool
        True for what belongs to a sector, as shares do: the value becomes that of the sector at the new angle.

    Notes
    -----
    What the field does between stations was not measured, so that its uncertainty there is not known; where an
    angle is that of a station it is the station's own. A share of other sectors is never known.
    """
    stations = reduction.stations.angle_deg[part]
    density, width = np.ones(len(stations)), np.ones(len(angle_deg))
    if per_sector:
        density, width = reduction.stations.sector_deg[part], sector_angles(angle_deg, np.array([0]))
    found = around_circle(stations, values / density, angle_deg) * width
    same = np.abs(angle_deg[:, None] - stations) < 1e-6
    at = np.argmax(same, axis=1)
    there = np.where(same.any(axis=1) & (not per_sector), 1.0, np.nan)
    own = spread.take(at)
    return found, Spread(own.independent * there, own.stated * there, own.common)


def _other_stations(a: Side, b: Side, group_a: int, group_b: int) -> str:
    angles = [
        side.reduction.job.stations.angles_deg[side.reduction.stations.station[side.reduction.stations_of(group)]]
        for side, group in ((a, group_a), (b, group_b))
    ]
    missing = [
        ", ".join(f"{angle:g}°" for angle in np.setdiff1d(mine, other)[:8]) or "none"
        for mine, other in (angles, angles[::-1])
    ]
    lift = lift_text(a.reduction.job, float(a.reduction.lift[group_a]))
    return (
        f"compare: at {lift} the runs were read at other stations (only in {a.name!r}: {missing[0]}; only in "
        f"{b.name!r}: {missing[1]}); read the same ones, or compare the interpolated fields with --on-field"
    )
