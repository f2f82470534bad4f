"""Warnings: what they are raised by, what they name first, and what leaves them quiet."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from portviz.air import RoomAir
from portviz.distribution.areas import job_profiles
from portviz.distribution.notes import geometry_warnings, job_warnings, reduction_warnings, room_warnings
from portviz.distribution.reduce import Reduction, reduce_job
from portviz.job.model import Job

Row = tuple[str, float, float, float]
Reduce = Callable[..., Reduction]

LIFT = 5e-3
ANGLES = (0.0, 90.0, 180.0, 270.0)
INCHES = {"length": "in", "pressure": "inH2O", "flow": "cfm", "velocity": "ft/s"}
INCH_OF_WATER = 249.08891


def about(warnings: Sequence[str], words: str) -> str:
    """The one warning with the words; fails where there is none or more."""
    (found,) = [each for each in warnings if words in each]
    return found


def repeated(values: Mapping[float, Sequence[float]], *, lift: float = LIFT, run: str = "a") -> list[Row]:
    """Rows of a run at a lift, station by station."""
    return [(run, lift, angle, value) for angle, each in values.items() for value in each]


def ordinary(times: int = 3, scatter: float = 20.0, level: float = 3000.0) -> dict[float, list[float]]:
    """Repeats at four stations with scatter, the same each time."""
    random = np.random.default_rng(7)
    return {angle: (level + scatter * random.standard_normal(times)).tolist() for angle in ANGLES}


def with_accuracy(result: Reduction, accuracy: float) -> list[str]:
    job = result.job
    return reduction_warnings(reduce_job(replace(job, gauge=replace(job.gauge, accuracy=accuracy))))


# --- repeats ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("factor", [0.1, 10.0, -1.0])
def test_a_slip_in_one_repeat_is_named_with_its_lines(factor: float, reduced: Reduce) -> None:
    """Tenfold, a tenth, or a lost sign: run, lift, station, values and lines; the header is line 1."""
    values = ordinary()
    values[90.0] = [3000.0, factor * 3000.0, 3010.0]
    warning = about(reduction_warnings(reduced(repeated(values))), "repeats differ")
    assert "the scatter of the other repeats" in warning
    assert "readings.csv: a at 5.00 mm, station 90 deg: " in warning
    for value, line in ((3000.0, 5), (factor * 3000.0, 6), (3010.0, 7)):
        assert f"{value:.0f} Pa (line {line})" in warning
    assert "station 0 deg" not in warning


def test_a_slip_is_measured_by_the_gauges_accuracy_where_it_is_known(reduced: Reduce) -> None:
    """1000 Pa apart, 707 Pa as a residual of a pair: far more than 50 Pa explain, not more than 300 Pa do."""
    values = ordinary()
    values[90.0] = [2500.0, 3500.0]
    result = reduced(repeated(values))
    assert "the gauge's accuracy" in about(with_accuracy(result, 50.0), "repeats differ")
    assert with_accuracy(result, 300.0) == []


def test_one_slip_does_not_hide_another(reduced: Reduce) -> None:
    """The scatter is that of the ordinary station, whatever the slips are; the larger is named first."""
    values = ordinary()
    values |= {0.0: [300.0, 900.0], 180.0: [300.0, 3000.0]}
    warning = about(reduction_warnings(reduced(repeated(values))), "repeats differ")
    assert warning.index("station 180 deg") < warning.index("station 0 deg")


def test_slips_beyond_four_are_counted(reduced: Reduce) -> None:
    rows = [
        row
        for number in range(1, 6)
        for row in repeated({**ordinary(), 90.0: [3000.0, 300.0 - number]}, lift=number * 1e-3)
    ]
    warning = about(reduction_warnings(reduced(rows)), "repeats differ")
    assert warning.count("station 90 deg") == 4
    assert warning.endswith("; and 1 more")


def test_of_many_repeats_the_least_and_the_greatest_are_named(reduced: Reduce) -> None:
    values = {**ordinary(), 90.0: [3000.0, 3001.0, 3002.0, 300.0, 3003.0, 3004.0]}
    warning = about(reduction_warnings(reduced(repeated(values))), "repeats differ")
    assert warning.endswith("station 90 deg: 300 Pa (line 8), 3004 Pa (line 10)")


@pytest.mark.parametrize("scatter", [0.0, 20.0, 300.0])
@pytest.mark.parametrize("times", [1, 2, 3, 12])
def test_ordinary_scatter_is_quiet(times: int, scatter: float, reduced: Reduce) -> None:
    """Up to a standard deviation of a tenth of the reading."""
    assert reduction_warnings(reduced(repeated(ordinary(times, scatter)))) == []


def test_a_gauge_that_flickers_about_zero_is_quiet(reduced: Reduce) -> None:
    """0 and 3 Pa beside 3000 Pa: twice their mean, and nothing all the same."""
    values = {**ordinary(), 90.0: [1.0, 4.0]}
    assert reduction_warnings(reduced(repeated(values))) == []


def test_a_lone_pair_has_nothing_to_be_measured_by_but_itself(reduced: Reduce) -> None:
    values = {angle: [3000.0] for angle in ANGLES}
    near, far = ({**values, 90.0: [3000.0, other]} for other in (3500.0, 300.0))
    assert reduction_warnings(reduced(repeated(near))) == []
    assert "(line 4)" in about(reduction_warnings(reduced(repeated(far))), "repeats differ")


# --- stations --------------------------------------------------------------------------------------------------------


def in_inches(job: Job) -> Job:
    return replace(job, units=replace(job.units, **INCHES))


def test_places_come_worst_first_with_values_in_the_jobs_units(reduced: Reduce) -> None:
    values = {0.0: [-249.0], 90.0: [3000.0], 180.0: [-2.0 * INCH_OF_WATER], 270.0: [3000.0]}
    result = reduce_job(in_inches(reduced(repeated(values, lift=0.2 * 0.0254)).job))
    warning = about(reduction_warnings(result), "reverse flow")
    assert warning.endswith(
        ": a at 0.2000 in, station 180 deg (-2.00 inH2O); a at 0.2000 in, station 0 deg (-1.00 inH2O)"
    )


def test_a_drop_beyond_the_test_pressure_names_both(reduced: Reduce) -> None:
    values = {0.0: [3000.0], 120.0: [7100.0], 240.0: [7200.0]}
    warning = about(reduction_warnings(reduced(repeated(values))), "larger than the test pressure")
    assert warning.endswith("station 240 deg (7200 Pa of 7000 Pa); a at 5.00 mm, station 120 deg (7100 Pa of 7000 Pa)")


def test_fast_stations_have_their_mach_number(reduced: Reduce) -> None:
    """(1 - 30000 / 99800) ** (-2 / 7) = 1.1075 = 1 + M**2 / 5: M = 0.733."""
    values = {0.0: [3000.0], 120.0: [30_000.0], 240.0: [3000.0]}
    warning = about(reduction_warnings(reduced(repeated(values), test_pressure=35_000.0)), "Mach number")
    assert warning.endswith("station 120 deg (0.733)")


def test_missing_stations_are_named(reduced: Reduce) -> None:
    rows = repeated(ordinary(1)) + repeated({angle: [3000.0] for angle in (0.0, 180.0)}, lift=8e-3)
    warning = about(reduction_warnings(reduced(rows)), "not all stations were read")
    assert warning.endswith(": a at 8.00 mm (90, 270 deg)")


def test_many_missing_stations_are_counted(reduced: Reduce) -> None:
    rows = repeated({30.0 * step: [3000.0] for step in range(12)})
    rows += repeated({0.0: [3000.0], 120.0: [3000.0], 240.0: [3000.0]}, lift=8e-3)
    assert about(reduction_warnings(reduced(rows)), "not all").endswith(": a at 8.00 mm (9 of 12)")


def test_a_station_that_a_run_never_read_is_told_once(reduced: Reduce) -> None:
    """Not at each lift again; and the lift that lacks more than the run does is told of the rest alone."""
    rows = repeated(ordinary(1), run="a")
    rows += repeated({angle: [3000.0] for angle in (0.0, 90.0, 180.0)}, run="b")
    rows += repeated({angle: [3000.0] for angle in (0.0, 180.0)}, run="b", lift=8e-3)
    whole, single = (each for each in reduction_warnings(reduced(rows)) if "not all stations" in each)
    assert "at any lift" in whole
    assert whole.endswith(": b (270 deg)")
    assert single.endswith(": b at 8.00 mm (90 deg)")


# --- lifts -----------------------------------------------------------------------------------------------------------


def flows(reduced: Reduce, *litres: float) -> Reduction:
    """A job with flows [l/s] at 1, 2, 3 ... mm, all stations alike."""
    rows = [row for number in range(1, len(litres) + 1) for row in repeated(ordinary(1, 0.0), lift=number * 1e-3)]
    return reduced(rows, flow={("a", (n + 1) * 1e-3): (flow * 1e-3, math.nan) for n, flow in enumerate(litres)})


def test_closure_and_coefficients_above_one_come_worst_first_with_values(reduced: Reduce) -> None:
    """40 l/s at 1 mm and at 2 mm: about four and two times what the curtain passes."""
    result = flows(reduced, 40.0, 40.0, 25.0)
    warnings = reduction_warnings(result)
    for name, values in (
        ("closure above 1", result.closure),
        ("discharge coefficient above 1", result.discharge_coefficient),
        ("flow-area coefficient above 1", result.flow_area_coefficient),
    ):
        order = [place for place in np.argsort(-values) if values[place] > 1.0]
        assert order[:2] == [0, 1]
        places = "; ".join(f"a at {place + 1}.00 mm ({values[place]:.3f})" for place in order)
        assert about(warnings, name).endswith(f": {places}")


def test_a_very_low_closure_is_told(reduced: Reduce) -> None:
    """A litre where ten would pass."""
    result = flows(reduced, 7.0, 1.0)
    assert result.closure[0] > 0.5
    warning = about(reduction_warnings(result), "closure below 0.3")
    assert warning.endswith(f": a at 2.00 mm ({result.closure[1]:.3f})")


def test_no_bench_flow_where_the_stations_show_some(reduced: Reduce) -> None:
    warnings = reduction_warnings(flows(reduced, 0.0, 13.0))
    assert about(warnings, "the bench's flow is 0 l/s although").endswith(": a at 1.00 mm")
    assert not any("closure below" in each for each in warnings)


def test_no_flow_anywhere_is_no_contradiction(reduced: Reduce) -> None:
    result = reduced(repeated({angle: [0.0] for angle in ANGLES}), flow={("a", LIFT): (0.0, math.nan)})
    (warning,) = reduction_warnings(result)
    assert warning.startswith("nothing flows in all")


def test_a_good_job_is_quiet(reduced: Reduce, sidecar: Reduction, tractor: Reduction) -> None:
    for result in (flows(reduced, 5.0, 10.0), sidecar, tractor):
        assert reduction_warnings(result) == []


# --- valve, seat and room --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("face", "bare"), [(1.5, 0.5 * math.sqrt(0.5)), (2.0, 0.0), (2.5, 0.0)])
def test_a_face_narrower_than_the_seat_band(face: float, bare: float, reduced: Reduce) -> None:
    """The seat is 2 mm wide at 45 deg, its outer edge at the head's."""
    job = reduced(repeated(ordinary(1))).job
    job = replace(job, valve=replace(job.valve, face_width=face * 1e-3))
    warnings = geometry_warnings(job, job_profiles(job))
    if bare:
        assert f"face ({face:.2f} mm wide) does not cover the seat band (2.00 mm wide)" in warnings[0]
        assert f"{bare:.2f} mm of the radius" in warnings[0]
    assert len(warnings) == (bare > 0.0)


def test_the_room_is_told_in_both_habits(reduced: Reduce) -> None:
    """40 degC = 104 degF; 50 kPa / 3386.388640341 Pa = 14.7650 inHg, just below."""
    job = reduced(repeated(ordinary(1))).job
    job = replace(job, bench=replace(job.bench, air=RoomAir(50e3, 313.15, 0.4)))
    warm, low = room_warnings(job)
    assert "the room's 40.0 degC (104.0 degF) lie outside" in warm
    assert "the barometer's 50.00 kPa (14.76 inHg) lie outside" in low


def test_uneven_stations_feign_a_bias(reduced: Reduce) -> None:
    """Equal readings at three stations within 20 degrees: the bias is that of their sectors alone, and not told."""
    rows = [("a", 5e-3, angle, 1000.0) for angle in (0.0, 10.0, 20.0)]
    result = reduced(rows)
    assert result.bias_magnitude == pytest.approx(result.even_bias_magnitude, rel=1e-12)
    assert not result.bias_told.any()
    found = reduction_warnings(result)
    assert any("guesses: a at 5.00 mm (340 deg)" in each for each in found)
    assert any("the stations read stand unevenly" in each for each in found)


def test_even_stations_feign_none(sidecar: Reduction) -> None:
    assert sidecar.even_bias_magnitude == pytest.approx(0.0, abs=1e-12)
    assert sidecar.bias_told.all()


def test_sums_that_are_rounding_give_no_numbers(reduced: Reduce) -> None:
    """Readings that cancel: no shares, no closure, no variation of millions of millions."""
    readings = (10.1, -7.3, 3.3, -10.1, 7.3, -3.3)
    rows = [("a", 5e-3, 60.0 * place, 100.0 * value) for place, value in enumerate(readings)]
    result = reduced(rows, flow={("a", 5e-3): (0.02, math.nan)})
    assert np.isnan(result.stations.flow_share).all()
    assert np.isnan([result.closure, result.bias_magnitude, result.measures.coefficient_of_variation]).all()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"valve": {"face_angle": math.radians(30.0)}}, "differ by 15 deg"),
        ({"gauge": {"coefficient": 1.5}}, "gauge.coefficient is 1.5, far from 1"),
        ({"title": "New job"}, "the title is still the template's"),
    ],
)
def test_figures_that_look_like_a_slip(sidecar: Reduction, changes: dict[str, Any], words: str) -> None:
    job = sidecar.job
    for name, change in changes.items():
        job = replace(job, **{name: replace(getattr(job, name), **change) if isinstance(change, dict) else change})
    assert any(words in each for each in job_warnings(job))
    assert job_warnings(sidecar.job) == []


def test_lifts_far_from_a_valves(sidecar: Reduction) -> None:
    readings = sidecar.job.readings
    assert readings is not None
    for scale in (0.0254, 25.4):
        job = replace(sidecar.job, readings=replace(readings, group_lift=readings.group_lift * scale))
        (warning,) = job_warnings(job)
        assert "check the lifts' unit" in warning
