"""What must stay, and what must follow, when a job's readings are changed in a known way.

Tolerance where none is given a reason: 1e-9 relative, far above the rounding of a few hundred operations on
doubles and far below anything that a wrong formula would do.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portviz.distribution.notes import reduction_warnings
from portviz.distribution.reduce import Reduction
from portviz.errors import JobError
from portviz.report.machine import Document, summary_document, to_text

Row = tuple[str, float, float, float]
Reduce = Callable[..., Reduction]

LIFT = 5e-3
TEST_PRESSURE = 7000.0
close = pytest.approx
few = settings(max_examples=60, deadline=None)


@st.composite
def stations(draw: st.DrawFn, least: int = 3) -> list[float]:
    """Three or more angles in half degrees, in any order."""
    return draw(st.lists(st.integers(0, 719).map(lambda half: half / 2.0), min_size=least, max_size=16, unique=True))


@st.composite
def drops(draw: st.DrawFn, low: float = 1.0) -> list[Row]:
    """Rows of one run at one lift, one a station, all flowing the right way."""
    angles = draw(stations())
    values = draw(st.lists(st.floats(low, 6900.0), min_size=len(angles), max_size=len(angles)))
    return [("a", LIFT, angle, value) for angle, value in zip(angles, values, strict=True)]


def document(reduction: Reduction) -> Document:
    return summary_document(reduction, list(range(len(reduction.runs))), [])


def by_station(reduction: Reduction, name: str) -> dict[float, float]:
    """One result of a job of one group, by the station's angle."""
    values = getattr(reduction.stations, name)
    angles = reduction.job.stations.angles_deg[reduction.stations.station]
    return dict(zip(angles.tolist(), values.tolist(), strict=True))


def centroid(reduction: Reduction) -> complex:
    angle = math.radians(float(reduction.bias_angle_deg[0]))
    return float(reduction.bias_magnitude[0]) * complex(math.cos(angle), math.sin(angle))


def near(found: complex, expected: complex, within: float = 1e-9) -> bool:
    return abs(found - expected) < within


# --- shares and sectors --------------------------------------------------------------------------------------------


@few
@given(rows=drops())
def test_shares_are_parts_of_one_whole(rows: list[Row], reduced: Reduce) -> None:
    result = reduced(rows, flow={("a", LIFT): (0.04, math.nan)})
    assert result.stations.flow_share.sum() == close(1.0, abs=1e-12)
    assert result.stations.flow.sum() == close(0.04, rel=1e-12)
    assert result.stations.sector_deg.sum() == close(360.0, abs=1e-9)
    assert 0.0 <= result.bias_magnitude[0] <= 1.0
    assert 0.0 <= result.bias_angle_deg[0] < 360.0


@few
@given(rows=drops(), lift=st.floats(1e-4, 12e-3))
def test_all_sectors_scaled_alike_change_no_share_and_no_measure(rows: list[Row], lift: float, reduced: Reduce) -> None:
    """The same drops at another lift: the gap is another, every sector's part of it grows alike."""
    one, other = reduced(rows), reduced([(run, lift, angle, value) for run, _, angle, value in rows])
    assert by_station(other, "flow_share") == close(by_station(one, "flow_share"), rel=1e-12)
    assert other.measures.mean[0] == close(one.measures.mean[0], rel=1e-12)
    assert other.measures.uniformity_index[0] == close(one.measures.uniformity_index[0], rel=1e-12)


@few
@given(rows=drops(), which=st.integers(0, 15))
def test_a_sector_is_half_the_way_to_both_neighbours(rows: list[Row], which: int, reduced: Reduce) -> None:
    """Every direction belongs to its nearest station: counted in steps of a quarter degree off the boundaries."""
    sector = by_station(reduced(rows), "sector_deg")
    angle = rows[which % len(rows)][2]
    around = np.arange(0.0, 360.0, 0.125) + 0.0625
    angles = np.array([row[2] for row in rows])
    away = np.abs((around[:, None] - angles + 180.0) % 360.0 - 180.0)
    nearest = angles[np.argmin(away, axis=1)]
    assert np.count_nonzero(nearest == angle) * 0.125 == close(sector[angle], abs=1e-9)


def test_a_missing_station_leaves_its_sector_to_its_neighbours(reduced: Reduce) -> None:
    """Stations at 0, 90, 180, 270; at the second lift 90 was not read: 0 and 180 reach to 90 each."""
    rows = [("a", LIFT, angle, 3000.0) for angle in (0.0, 90.0, 180.0, 270.0)]
    rows += [("a", 8e-3, angle, 3000.0) for angle in (0.0, 180.0, 270.0)]
    result = reduced(rows)
    assert result.stations.sector_deg[result.stations_of(0)].tolist() == [90.0] * 4
    assert result.stations.sector_deg[result.stations_of(1)].tolist() == [135.0, 135.0, 90.0]
    warning = next(each for each in reduction_warnings(result) if "not all stations" in each)
    assert "8.00 mm" in warning
    assert "5.00 mm" not in warning


# --- rows ----------------------------------------------------------------------------------------------------------


@st.composite
def tables(draw: st.DrawFn) -> tuple[list[Row], list[Row]]:
    """Rows of two runs, two lifts and repeats, and the same rows in another order (runs begin as they did)."""
    angles = draw(stations())
    rows = []
    for run in ("first", "second"):
        for lift in (2e-3, 9e-3):
            for angle in angles:
                count = draw(st.integers(1, 3))
                rows += [(run, lift, angle, draw(st.floats(10.0, 6900.0))) for _ in range(count)]
    shuffled = draw(st.permutations(rows[1:]))
    return rows, [rows[0], *shuffled]


@settings(max_examples=30, deadline=None)
@given(pair=tables())
def test_the_order_of_rows_does_not_matter(pair: tuple[list[Row], list[Row]], reduced: Reduce) -> None:
    rows, shuffled = pair
    angles = sorted({row[2] for row in rows})
    one, other = (reduced(each, stations=angles) for each in (rows, shuffled))
    assert one.runs == other.runs == ("first", "second")
    assert one.lift.tolist() == other.lift.tolist()
    assert one.stations.repeats.tolist() == other.stations.repeats.tolist()
    # Sums of the same repeats in another order: rounding only.
    for name in ("reading", "velocity", "flow_share", "mach"):
        assert getattr(other.stations, name) == close(getattr(one.stations, name), rel=1e-12)


@few
@given(rows=drops(), counts=st.lists(st.integers(1, 5), min_size=16, max_size=16))
def test_equal_repeats_say_what_one_reading_says(rows: list[Row], counts: list[int], reduced: Reduce) -> None:
    repeated = [row for row, count in zip(rows, counts, strict=False) for _ in range(count)]
    one, other = reduced(rows), reduced(repeated)
    for name in ("reading", "drop", "velocity", "velocity_ratio", "mach", "flow_share"):
        assert by_station(other, name) == close(by_station(one, name), rel=1e-12), name
    expected = {row[2]: count for row, count in zip(rows, counts, strict=False)}
    assert by_station(other, "repeats") == expected
    assert near(centroid(other), centroid(one))


@pytest.mark.parametrize("reads", ["upstream-minus-tap", "total-minus-static", "tap-minus-downstream"])
def test_repeats_are_averaged_as_pressures(reads: str, reduced: Reduce) -> None:
    """1000 and 3000 Pa make 2000 Pa, whose velocity is not the mean of the two velocities."""
    rows = [("a", LIFT, angle, value) for angle in (0.0, 120.0, 240.0) for value in (1000.0, 3000.0)]
    result = reduced(rows, reads=reads)
    drop = TEST_PRESSURE - 2000.0 if reads == "tap-minus-downstream" else 2000.0
    assert result.stations.reading == close(np.full(3, 2000.0), rel=1e-14)
    assert result.stations.drop == close(np.full(3, drop), rel=1e-14)
    same = reduced([("a", LIFT, angle, 2000.0) for angle in (0.0, 120.0, 240.0)], reads=reads)
    assert result.stations.velocity == close(same.stations.velocity, rel=1e-14)


def test_repeats_of_velocities_are_averaged_as_pressures(reduced: Reduce) -> None:
    """Nearly the root of the mean square, as the drop grows with the square of the velocity: not the mean, 60 m/s."""
    rows = [("a", LIFT, angle, value) for angle in (0.0, 120.0, 240.0) for value in (40.0, 80.0)]
    result = reduced(rows, reads="velocity")
    # At Mach 0.2 the drop is the dynamic pressure within 1 %, and so the velocity within half a per cent.
    assert result.stations.velocity == close(np.full(3, math.sqrt((40.0**2 + 80.0**2) / 2.0)), rel=5e-3)
    parts = [
        reduced([("a", LIFT, angle, value) for angle in (0.0, 120.0, 240.0)], reads="velocity").stations.drop[0]
        for value in (40.0, 80.0)
    ]
    assert result.stations.drop == close(np.full(3, sum(parts) / 2.0), rel=1e-12)


# --- turning and mirroring -----------------------------------------------------------------------------------------


@few
@given(rows=drops(), turn=st.integers(-720, 720).map(lambda half: half / 2.0))
def test_turned_stations_turn_the_bias(rows: list[Row], turn: float, reduced: Reduce) -> None:
    one = reduced(rows)
    other = reduced([(run, lift, angle + turn, value) for run, lift, angle, value in rows])
    angle = math.radians(turn)
    assert near(centroid(other), centroid(one) * complex(math.cos(angle), math.sin(angle)))
    assert other.measures.uniformity_index[0] == close(one.measures.uniformity_index[0], rel=1e-9, abs=1e-12)
    assert other.measures.mean[0] == close(one.measures.mean[0], rel=1e-12)


@few
@given(rows=drops())
def test_mirrored_stations_mirror_the_bias(rows: list[Row], reduced: Reduce) -> None:
    one = reduced(rows)
    other = reduced([(run, lift, -angle, value) for run, lift, angle, value in rows])
    assert near(centroid(other), centroid(one).conjugate())
    mirrored = {-angle: share for angle, share in by_station(one, "flow_share").items()}
    assert by_station(other, "flow_share") == close(mirrored, rel=1e-9)


@few
@given(angles=stations(), value=st.floats(1.0, 6900.0))
def test_equal_drops_lean_by_the_stations_places_alone(angles: list[float], value: float, reduced: Reduce) -> None:
    """Equal velocities: uniformity 1, variation 0, and each share is the sector's part of the circle."""
    result = reduced([("a", LIFT, angle, value) for angle in angles])
    assert result.measures.uniformity_index[0] == close(1.0, abs=1e-12)
    assert result.measures.coefficient_of_variation[0] == close(0.0, abs=1e-7)
    assert result.stations.flow_share == close(result.stations.sector_deg / 360.0, rel=1e-12)


@pytest.mark.parametrize("count", [3, 4, 5, 8, 12, 16, 37])
def test_an_even_pattern_on_even_stations_has_no_bias(count: int, reduced: Reduce) -> None:
    result = reduced([("a", LIFT, 360.0 * place / count, 4000.0) for place in range(count)])
    assert result.bias_magnitude[0] < 1e-12
    assert result.bias_angle_deg[0] == 0.0


@pytest.mark.parametrize("place", range(7))
def test_a_lone_jet_has_bias_one_toward_itself(place: int, reduced: Reduce) -> None:
    angles = [360.0 * each / 7.0 for each in range(7)]
    result = reduced([("a", LIFT, angle, 4000.0 if at == place else 0.0) for at, angle in enumerate(angles)])
    assert result.bias_magnitude[0] == close(1.0, abs=1e-12)
    assert near(centroid(result), complex(math.cos(math.radians(angles[place])), math.sin(math.radians(angles[place]))))
    # One of n equal sectors has it all: uniformity 1 / n.
    assert result.measures.uniformity_index[0] == close(1.0 / 7.0, rel=1e-12)


# --- flow ----------------------------------------------------------------------------------------------------------


@few
@given(rows=drops(100.0), factor=st.floats(0.1, 10.0))
def test_closure_and_coefficients_grow_with_the_flow(rows: list[Row], factor: float, reduced: Reduce) -> None:
    one, other = (reduced(rows, flow={("a", LIFT): (0.03 * each, math.nan)}) for each in (1.0, factor))
    for name in ("closure", "discharge_coefficient", "flow_area_coefficient"):
        assert getattr(other, name)[0] == close(factor * getattr(one, name)[0], rel=1e-12), name
    assert by_station(other, "flow_share") == by_station(one, "flow_share")


@few
@given(rows=drops(100.0), coefficient=st.floats(0.5, 1.2), side=st.sampled_from(["intake", "exhaust"]))
def test_the_coefficient_scales_velocities_alone(
    rows: list[Row], coefficient: float, side: str, reduced: Reduce
) -> None:
    """Mach number is the drop's own; shares are ratios; closure divides by the velocities."""
    flow = {("a", LIFT): (0.03, math.nan)}
    one, other = (reduced(rows, flow=flow, side=side, coefficient=each) for each in (1.0, coefficient))
    assert other.stations.velocity == close(coefficient * one.stations.velocity, rel=1e-12)
    assert other.stations.velocity_ratio == close(coefficient * one.stations.velocity_ratio, rel=1e-12)
    assert other.stations.mach.tolist() == one.stations.mach.tolist()
    assert other.stations.density.tolist() == one.stations.density.tolist()
    assert other.stations.flow_share == close(one.stations.flow_share, rel=1e-12)
    assert other.closure[0] == close(one.closure[0] / coefficient, rel=1e-12)
    assert other.discharge_coefficient[0] == one.discharge_coefficient[0]


@few
@given(rows=drops(), side=st.sampled_from(["intake", "exhaust"]), own=st.floats(3000.0, 12000.0))
def test_gauges_of_every_kind_tell_the_same_air(rows: list[Row], side: str, own: float, reduced: Reduce) -> None:
    """The same drops as read from above, from below, with a probe and as velocities, at a row's own test pressure."""
    flow = {("a", LIFT): (0.03, own)}
    upstream = reduced(rows, side=side, flow=flow)
    speeds = by_station(upstream, "velocity")
    as_read = {
        "total-minus-static": rows,
        "tap-minus-downstream": [(run, lift, angle, own - value) for run, lift, angle, value in rows],
        "velocity": [(run, lift, angle, speeds[angle]) for run, lift, angle, _ in rows],
    }
    for reads, same in as_read.items():
        other = reduced(same, side=side, flow=flow, reads=reads)
        # A drop of 1 Pa left over from 12000 Pa keeps 11 digits.
        for name in ("drop", "velocity", "velocity_ratio", "flow_share"):
            assert by_station(other, name) == close(by_station(upstream, name), rel=1e-9), (reads, name)
        assert other.closure[0] == close(upstream.closure[0], rel=1e-9)


def test_a_rows_own_test_pressure_stands_in_for_the_jobs(reduced: Reduce) -> None:
    """Exhaust: it moves the upstream pressure too. A full drop has velocity ratio 1 at either lift."""
    rows = [
        ("a", lift, angle, drop) for lift, drop in ((LIFT, 7000.0), (8e-3, 9000.0)) for angle in (0.0, 120.0, 240.0)
    ]
    flow = {("a", LIFT): (0.03, math.nan), ("a", 8e-3): (0.05, 9000.0)}
    result = reduced(rows, side="exhaust", flow=flow)
    assert result.test_pressure.tolist() == [7000.0, 9000.0]
    assert result.upstream_pressure.tolist() == [106_800.0, 108_800.0]
    assert result.stations.velocity_ratio == close(np.ones(6), rel=1e-12)


def test_a_full_drop_all_round_has_the_ideal_closure(reduced: Reduce) -> None:
    """With every tap at the downstream pressure, closure times gap is discharge coefficient times curtain."""
    rows = [("a", LIFT, angle, TEST_PRESSURE) for angle in (0.0, 100.0, 200.0)]
    result = reduced(rows, flow={("a", LIFT): (0.03, math.nan)})
    ideal = result.discharge_coefficient[0] * result.areas.curtain_area[0]
    assert result.closure[0] * result.areas.gap_area[0] == close(ideal, rel=1e-12)
    assert result.flow_area_coefficient[0] * result.areas.flow_area[0] == close(ideal, rel=1e-12)


def test_zero_flow_is_a_number(reduced: Reduce) -> None:
    rows = [("a", LIFT, angle, 2000.0) for angle in (0.0, 120.0, 240.0)]
    result = reduced(rows, flow={("a", LIFT): (0.0, math.nan)})
    assert result.closure[0] == result.discharge_coefficient[0] == result.flow_area_coefficient[0] == 0.0
    assert result.stations.flow.tolist() == [0.0] * 3
    assert result.stations.flow_share.sum() == close(1.0, abs=1e-12)


def test_no_flow_table_leaves_nulls(reduced: Reduce) -> None:
    row = document(reduced([("a", LIFT, angle, 2000.0) for angle in (0.0, 120.0, 240.0)]))["runs"][0]["lifts"][0]
    for key in ("flow_m3_s", "discharge_coefficient", "flow_area_coefficient", "closure"):
        assert row[key] is None, key
    assert [tap["flow_m3_s"] for tap in row["stations"]] == [None] * 3
    assert row["mean_velocity_m_s"] > 0.0


# --- the odd ones --------------------------------------------------------------------------------------------------


@few
@given(rows=drops(500.0), which=st.integers(0, 15), drop=st.floats(0.1, 50.0))
def test_reverse_flow_keeps_its_sign(rows: list[Row], which: int, drop: float, reduced: Reduce) -> None:
    """One tap turned: velocity, Mach and share turn with it, the size is that of the same drop forward."""
    which %= len(rows)
    angle = rows[which][2]
    forward, turned = (
        reduced([*rows[:which], ("a", LIFT, angle, value), *rows[which + 1 :]]) for value in (drop, -drop)
    )
    if not math.isfinite(turned.stations.flow_share[0]):
        return
    for name in ("velocity", "mach", "velocity_ratio"):
        assert by_station(turned, name)[angle] == close(-by_station(forward, name)[angle], rel=1e-12), name
    assert by_station(turned, "flow_share")[angle] < 0.0
    assert turned.stations.flow_share.sum() == close(1.0, abs=1e-9)
    warning = next(each for each in reduction_warnings(turned) if "reverse flow" in each)
    assert f"station {angle:g} deg" in warning
    assert not any("reverse flow" in each for each in reduction_warnings(forward))


def test_a_drop_beyond_the_test_pressure_is_warned_of(reduced: Reduce) -> None:
    rows = [("a", LIFT, angle, 7100.0 if angle else 3000.0) for angle in (0.0, 120.0, 240.0)]
    warning = next(each for each in reduction_warnings(reduced(rows)) if "larger than the test pressure" in each)
    assert "station 120 deg" in warning
    assert "station 0 deg" not in warning


def test_nothing_moves_at_all(reduced: Reduce) -> None:
    """All gauges at zero: velocities are zero, and what divides by them is null, in proper JSON."""
    result = reduced([("a", LIFT, angle, 0.0) for angle in (0.0, 120.0, 240.0)], flow={("a", LIFT): (0.0, math.nan)})
    row = document(result)["runs"][0]["lifts"][0]
    assert row["mean_velocity_m_s"] == 0.0
    for key in ("closure", "coefficient_of_variation", "uniformity_index", "bias_magnitude"):
        assert row[key] is None, key
    assert [tap["flow_share"] for tap in row["stations"]] == [None] * 3
    assert [tap["velocity_m_s"] for tap in row["stations"]] == [0.0] * 3
    assert "NaN" not in to_text(document(result))


def test_a_row_at_zero_lift_has_no_coefficients(reduced: Reduce) -> None:
    """A closed valve leaks, if at all: nothing is divided by its areas, and the lift beside it is as ever."""
    rows = [("a", lift, angle, value) for lift, value in ((0.0, 50.0), (LIFT, 3000.0)) for angle in (0.0, 120.0, 240.0)]
    flow = {("a", 0.0): (1e-4, math.nan), ("a", LIFT): (0.03, math.nan)}
    result = reduced(rows, flow=flow)
    closed, open_ = document(result)["runs"][0]["lifts"]
    assert closed["lift_m"] == closed["lift_over_diameter"] == 0.0
    for key in ("curtain_area_m2", "three_stage_area_m2"):
        assert closed[key] == 0.0, key
    # The gap of two cones that lie on each other: zero but for the rounding of lengths near 20 mm.
    assert closed["gap_area_m2"] == close(0.0, abs=1e-16)
    for key in ("discharge_coefficient", "flow_area_coefficient", "closure"):
        assert closed[key] is None, key
        assert open_[key] > 0.0, key
    assert sum(tap["flow_share"] for tap in closed["stations"]) == close(1.0, abs=1e-12)
    assert any("closed" in each for each in reduction_warnings(result))
    assert "NaN" not in to_text(document(result))
    alone = reduced([row for row in rows if row[1]], flow=flow)
    assert document(alone)["runs"][0]["lifts"][0] == open_


@pytest.mark.parametrize("value", [48_000.0, -48_000.0])
def test_a_choked_reading_is_an_error_that_names_its_place(value: float, reduced: Reduce) -> None:
    """The critical drop from 99.8 kPa is 47.08 kPa; no velocity belongs to more."""
    rows = [("as found", LIFT, angle, value if angle == 120.0 else 3000.0) for angle in (0.0, 120.0, 240.0)]
    with pytest.raises(JobError, match=r"readings\.csv, line 3, .*choked at station 120 deg, run 'as found' at 5 mm"):
        reduced(rows)


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 0, 1), (1, 2, 0)])
def test_stations_are_told_in_the_jobs_order(order: Sequence[int], reduced: Reduce) -> None:
    angles = [(0.0, 110.0, 250.0)[place] for place in order]
    result = reduced([("a", LIFT, angle, 1000.0 + angle) for angle in (0.0, 110.0, 250.0)], stations=angles)
    taps = document(result)["runs"][0]["lifts"][0]["stations"]
    assert [tap["angle_deg"] for tap in taps] == angles
    assert [tap["reading_pa"] for tap in taps] == [1000.0 + angle for angle in angles]
