"""Readings and flow: rows of text become groups of one run and one lift."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from portviz.errors import JobError
from portviz.job.model import BenchFlow, Readings
from portviz.job.read import read_job

MakeJob = Callable[..., Path]
QUARTERS = (0, 90, 180, 270)


def rows(run: str, lift: str, values: tuple[float, ...] = (100.0, 200.0, 300.0, 400.0)) -> str:
    """Return one reading at each quarter of the circle."""
    return "".join(f"{run},{lift},{angle},{value:g}\n" for angle, value in zip(QUARTERS, values, strict=True))


def readings_of(folder: Path) -> Readings:
    readings = read_job(folder).readings
    assert readings is not None
    return readings


def flow_of(folder: Path) -> tuple[Readings, BenchFlow]:
    job = read_job(folder)
    assert job.readings is not None
    assert job.flow is not None
    return job.readings, job.flow


def groups(readings: Readings) -> list[tuple[str, float]]:
    """Run and lift [mm] of each group."""
    names = [readings.runs[run] for run in readings.group_run]
    return list(zip(names, np.round(readings.group_lift * 1e3, 6).tolist(), strict=True))


def test_runs_stand_in_order_of_first_appearance_and_lifts_ascend(make_job: MakeJob) -> None:
    text = "run,lift [mm],station,reading [Pa]\n" + rows("zebra", "8") + rows("ant", "6") + rows("zebra", "2.5")
    found = readings_of(make_job(readings_csv=text + rows("ant", "4") + rows("mole", "1")))
    assert found.runs == ("zebra", "ant", "mole")
    assert groups(found) == [("zebra", 2.5), ("zebra", 8.0), ("ant", 4.0), ("ant", 6.0), ("mole", 1.0)]
    assert found.groups_of(1) == slice(2, 4)
    assert found.first_line(0) == 10


def test_every_row_points_to_its_run_lift_and_station(make_job: MakeJob) -> None:
    text = "run,lift [mm],station,reading [Pa]\nb,2,270,1\na,2,0,2\nb,2,0,3\nb,2,90,4\na,2,180,5\na,2,90,6\n"
    found = readings_of(make_job(readings_csv=text))
    assert_array_equal(found.group, [0, 1, 0, 0, 1, 1])
    assert_array_equal(found.station, [3, 0, 0, 1, 2, 1])
    assert_allclose(found.value, [1, 2, 3, 4, 5, 6])
    assert_array_equal(found.line, [2, 3, 4, 5, 6, 7])


def test_spaces_round_a_runs_name_do_not_count_but_case_does(make_job: MakeJob) -> None:
    text = "run,lift [mm],station,reading [Pa]\n" + rows(" bowl ", "4") + rows("bowl", "8") + rows("Bowl", "4")
    found = readings_of(make_job(readings_csv=text))
    assert found.runs == ("bowl", "Bowl")
    assert groups(found) == [("bowl", 4.0), ("bowl", 8.0), ("Bowl", 4.0)]


def test_repeats_stay_rows_of_one_group(make_job: MakeJob) -> None:
    text = "run,lift [mm],station,reading [Pa]\n" + rows("a", "4") + rows("a", "4.0", (500, 600, 700, 800))
    found = readings_of(make_job(readings_csv=text))
    assert groups(found) == [("a", 4.0)]
    assert_array_equal(found.station, [0, 1, 2, 3, 0, 1, 2, 3])
    assert_allclose(found.value, [100, 200, 300, 400, 500, 600, 700, 800])


@pytest.mark.parametrize(
    "cells", [("360", "90", "180", "-90"), ("-360", "450", "540.0", "630"), ("0", "-270", "-180", "1e-9")]
)
def test_stations_are_angles_on_a_circle(make_job: MakeJob, cells: tuple[str, ...]) -> None:
    text = "run,lift [mm],station,reading [Pa]\n" + "".join(f"a,4,{cell},100\n" for cell in cells)
    expected = [0, 1, 2, 0] if cells[-1] == "1e-9" else [0, 1, 2, 3]
    assert_array_equal(readings_of(make_job(readings_csv=text)).station, expected)


@pytest.mark.parametrize(
    ("angles", "cells"),
    [
        ("[360, 90, 180, -90]", ("0", "90", "180", "270")),
        ("[30, -30, 150]", ("30", "330", "150")),
        ("[330, 30, 150]", ("-30", "390", "-210")),
        ("[0.1, 120.1, 240.1]", ("360.1", "120.1", "-119.9")),
    ],
)
def test_stations_of_the_job_are_angles_on_a_circle(make_job: MakeJob, angles: str, cells: tuple[str, ...]) -> None:
    text = "run,lift [mm],station,reading [Pa]\n" + "".join(f"a,4,{cell},100\n" for cell in cells)
    job = read_job(make_job({"[0, 90, 180, 270]": angles}, readings_csv=text))
    assert job.readings is not None
    assert_array_equal(job.readings.station, range(len(cells)))
    assert np.all((job.stations.circle_deg >= 0.0) & (job.stations.circle_deg < 360.0))


@pytest.mark.parametrize("cell", ["0.001", "359.99", "89", "45", "100000.5"])
def test_a_station_that_is_near_is_not_taken_for_it(make_job: MakeJob, cell: str) -> None:
    text = "run,lift [mm],station,reading [Pa]\n" + rows("a", "4") + f"a,4,{cell},100\n"
    with pytest.raises(
        JobError, match=r"readings\.csv, line 6, column station: .*got '" + cell + r"'\).*0, 90, 180, 270"
    ):
        read_job(make_job(readings_csv=text))


@pytest.mark.parametrize(
    "angles", ["[0, 90, 360]", "[-30, 90, 330]", "[10, 370, 90]", "[0, 90, 0]", "[0, 90, 359.9999999]"]
)
def test_one_station_under_two_names_is_an_error(make_job: MakeJob, angles: str) -> None:
    with pytest.raises(
        JobError, match=r"job\.toml, stations\.angles: the same station is listed twice \(got '.* and .*'\)"
    ):
        read_job(make_job({"[0, 90, 180, 270]": angles}))


@pytest.mark.parametrize(
    ("unit", "reading", "pascal"),
    [
        ("Pa", "250", 250.0),
        ("inH2O", "10", 2490.8891),
        ("mmH2O", "100", 980.665),
        ("kPa", "1.5", 1500.0),
        ("psi", "1", 6894.757),
    ],
)
def test_unit_of_a_reading(make_job: MakeJob, unit: str, reading: str, pascal: float) -> None:
    text = f"run,lift [mm],station,reading [{unit}]\n" + "".join(f"a,4,{angle},{reading}\n" for angle in QUARTERS)
    assert_allclose(readings_of(make_job(readings_csv=text)).value, pascal, rtol=1e-6)


@pytest.mark.parametrize(("unit", "factor"), [("m/s", 1.0), ("ft/s", 0.3048)])
def test_velocities_where_the_gauge_reads_them(make_job: MakeJob, unit: str, factor: float) -> None:
    text = f"run,lift [mm],station,reading [{unit}]\n" + rows("a", "4", (50, 60, 70, 80))
    found = readings_of(make_job({'"upstream-minus-tap"': '"velocity"'}, readings_csv=text))
    assert_allclose(found.value, np.array([50, 60, 70, 80]) * factor)


def test_notes_are_free_words_and_change_nothing(make_job: MakeJob) -> None:
    text = (
        'note,run,lift [mm],station,reading [Pa]\n"windy, door open",a,4,0,100\n,a,4,90,200\n"1e999\n[x]",a,4,180,300\n'
    )
    assert_allclose(readings_of(make_job(readings_csv=text)).value, [100, 200, 300])


def test_fewer_stations_than_the_job_has_are_enough_from_three_on(make_job: MakeJob) -> None:
    three = "run,lift [mm],station,reading [Pa]\na,4,0,1\na,4,90,2\na,4,180,3\n"
    assert_array_equal(readings_of(make_job(readings_csv=three)).station, [0, 1, 2])
    two = "run,lift [mm],station,reading [Pa]\n" + rows("a", "4") + "a,8,0,1\na,8,90,2\na,8,90,3\na,8,0,4\n"
    with pytest.raises(JobError, match=r"line 6: run 'a' has readings at only 2 station.* 8 mm; expected at least 3"):
        read_job(make_job(readings_csv=two))


@pytest.mark.parametrize("lifts", [("4", "-1"), ("4", "-0.0001")])
def test_lifts_are_not_negative(make_job: MakeJob, lifts: tuple[str, str]) -> None:
    text = "run,lift [mm],station,reading [Pa]\n" + "".join(rows("a", lift) for lift in lifts)
    with pytest.raises(JobError, match=rf"line 6, column lift: a lift can't be negative \(got '{lifts[1]}'\)"):
        read_job(make_job(readings_csv=text))


def test_zero_lift_is_a_lift(make_job: MakeJob) -> None:
    text = "run,lift [mm],station,reading [Pa]\n" + rows("a", "0") + rows("a", "-0") + rows("a", "1")
    assert groups(readings_of(make_job(readings_csv=text))) == [("a", 0.0), ("a", 1.0)]


@pytest.mark.parametrize(
    "row", ["as cast,4,90,20,9", "as cast,4,90,20,9,", "as cast,4,90,-20,9", "as cast,4,90,20, 9 "]
)
def test_a_decimal_comma_does_not_turn_its_digits_into_a_note(make_job: MakeJob, row: str) -> None:
    text = "run,lift [mm],station,reading [mmH2O],note\nas cast,4,0,21,\n" + row + "\nas cast,4,180,22,\n"
    with pytest.raises(JobError, match=r"readings\.csv, line 3.*decimal comma"):
        read_job(make_job(readings_csv=text))


@pytest.mark.parametrize("row", ["as cast,4,0,90,20.9", "as cast,4,0,22.5,20.9", "as cast,4,90,5,20."])
def test_a_decimal_comma_further_left_does_not_turn_the_reading_into_a_note(make_job: MakeJob, row: str) -> None:
    # A lift of 4,0 makes the station a reading.
    text = "run,lift [mm],station,reading [mmH2O],note\nas cast,4,0,21,\n" + row + "\nas cast,4,180,22,\n"
    with pytest.raises(JobError, match=r"readings\.csv, line 3, column note: this note looks like a number that"):
        read_job(make_job(readings_csv=text))


@pytest.mark.parametrize("end", [",", ""])
def test_a_decimal_comma_in_every_row(make_job: MakeJob, end: str) -> None:
    rows = "".join(f"as cast,4,{angle},20,{angle // 90}{end}\n" for angle in QUARTERS)
    message = r"line 2, column note: this note looks like .*got '0'\)\. Write 20\.0 in the column reading, or .*semi"
    with pytest.raises(JobError, match=message):
        read_job(make_job(readings_csv=f"run,lift [mm],station,reading [mmH2O],note\n{rows}"))


@pytest.mark.parametrize(
    ("header", "row", "value"),
    [
        ("run,lift [mm],station,reading [Pa],note", "as cast,4,{},20.9,1", 20.9),
        ("run,lift [mm],station,reading [Pa],note", "as cast,4,{},20,no. 1", 20.0),
        ("run;lift [mm];station;reading [Pa];note", "as cast;4;{};20;1", 20.0),
        ("note,run,lift [mm],station,reading [Pa]", "1,as cast,4,{},20", 20.0),
        ("run,note,lift [mm],station,reading [Pa]", "2,1,4,{},20", 20.0),
    ],
)
def test_notes_that_can_be_told_from_digits(make_job: MakeJob, header: str, row: str, value: float) -> None:
    text = "\n".join([header, *(row.format(angle) for angle in QUARTERS), ""])
    assert_allclose(readings_of(make_job(readings_csv=text)).value, value)


# Total flow ----------------------------------------------------------------------------------------------------------

TWO_RUNS = "run,lift [mm],station,reading [Pa]\n" + "".join(
    rows(run, lift) for run in ("rough", "smooth") for lift in ("2.54", "5.08")
)


def test_flow_rows_find_their_readings_in_any_order_and_unit(make_job: MakeJob) -> None:
    flow = "run,lift [in],flow [m3/s]\nsmooth,0.2,4\nrough,0.1,1\nsmooth,0.1,3\nrough,0.2,2\n"
    readings, found = flow_of(make_job(readings_csv=TWO_RUNS, flow_csv=flow))
    assert groups(readings) == [("rough", 2.54), ("rough", 5.08), ("smooth", 2.54), ("smooth", 5.08)]
    assert_allclose(found.flow, [1, 2, 3, 4])
    assert np.all(np.isnan(found.test_pressure))


@pytest.mark.parametrize(
    ("readings_lift", "flow_lift"), [("2.54", "0.1"), ("2.5400001", "0.1"), ("7.62", "0.3"), ("0", "0")]
)
def test_one_lift_in_two_units_is_one_lift(make_job: MakeJob, readings_lift: str, flow_lift: str) -> None:
    text = "run,lift [mm],station,reading [Pa]\n" + rows("a", readings_lift)
    _, found = flow_of(make_job(readings_csv=text, flow_csv=f"run,lift [in],flow [l/s]\na,{flow_lift},10\n"))
    assert_allclose(found.flow, [0.01])


def test_lifts_a_hundredth_of_a_millimetre_apart_are_two(make_job: MakeJob) -> None:
    text = "run,lift [mm],station,reading [Pa]\n" + rows("a", "2.54") + rows("a", "2.55")
    readings, found = flow_of(make_job(readings_csv=text, flow_csv="run,lift [mm],flow [l/s]\na,2.55,2\na,2.54,1\n"))
    assert groups(readings) == [("a", 2.54), ("a", 2.55)]
    assert_allclose(found.flow, [0.001, 0.002])


def test_empty_flow_cell_is_no_flow_rather_than_zero(make_job: MakeJob) -> None:
    flow = "run,lift [mm],flow [l/s]\nrough,2.54,\nrough,5.08,0\nsmooth,2.54, \nsmooth,5.08,20\n"
    _, found = flow_of(make_job(readings_csv=TWO_RUNS, flow_csv=flow))
    assert_array_equal(np.isnan(found.flow), [True, False, True, False])
    assert_allclose(found.flow[[1, 3]], [0.0, 0.02])


def test_test_pressure_of_a_row(make_job: MakeJob) -> None:
    flow = (
        "run,lift [mm],flow [l/s],Test Pressure [mmH2O],note\nrough,2.54,1,500,low\nrough,5.08,2,,\n"
        "smooth,2.54,3,600,\nsmooth,5.08,4, ,\n"
    )
    _, found = flow_of(make_job(readings_csv=TWO_RUNS, flow_csv=flow))
    assert_array_equal(np.isnan(found.test_pressure), [False, True, False, True])
    assert_allclose(found.test_pressure[[0, 2]], [4903.325, 5883.99])


def test_the_flow_of_a_closed_valve_needs_no_readings(make_job: MakeJob) -> None:
    flow = (
        "run,lift [mm],flow [l/s],test_pressure [Pa]\nsmooth,0,0.5,1750\nrough,2.54,1,\nrough,5.08,2,\n"
        "smooth,2.54,3,\nsmooth,5.08,4,\n"
    )
    readings, found = flow_of(make_job(readings_csv=TWO_RUNS, flow_csv=flow))
    assert_allclose(found.flow, [0.001, 0.002, 0.003, 0.004])
    assert found.closed is not None
    assert [readings.runs[run] for run in found.closed.run] == ["smooth"]
    assert_allclose(found.closed.flow, [0.0005])
    assert_allclose(found.closed.test_pressure, [1750.0])
    assert found.closed.line.tolist() == [2]


@pytest.mark.parametrize(
    ("flow", "message"),
    [
        (
            "rough,2.54,1\nrough,5.08,2\nsmooth,2.54,3\n",
            r"flow\.csv: there is no flow row for run 'smooth'.*5\.08 mm.*line 14",
        ),
        (
            "rough,2.54,1\nrough,5.08,2\nsmooth,2.54,3\nsmooth,5.08,4\nsmooth,6,5\n",
            r"line 6, column lift: run 'smooth' has no readings.*got '6'",
        ),
        (
            "rough,2.54,1\nrough,5.08,2\nsmooth,2.54,3\nsmooth,5.08,4\nsmoth,5.08,5\n",
            r"line 6, column run: .*got 'smoth'.*Did you mean smooth",
        ),
        (
            "rough,2.54,1\nrough,5.08,2\nsmooth,2.54,3\nsmooth,5.08,4\nrough,2.540,5\n",
            r"line 6, column lift: .*already in line 2 \(got '2\.540'\)",
        ),
        (
            "rough,2.54,1\nrough,5.08,2\nsmooth,2.54,3\nsmooth,5.08,4\nrough,0,0.1\nrough,0.0,0.1\n",
            r"line 7, column lift: .*already in line 6 \(got '0\.0'\)",
        ),
        (
            "rough,2.54,-1\nrough,5.08,2\nsmooth,2.54,3\nsmooth,5.08,4\n",
            r"line 2, column flow: a flow can't be negative \(got '-1'\)",
        ),
    ],
    ids=["row missing", "row without readings", "run without readings", "row twice", "leak twice", "negative"],
)
def test_flow_rows_and_readings_belong_together(make_job: MakeJob, flow: str, message: str) -> None:
    with pytest.raises(JobError, match=message):
        read_job(make_job(readings_csv=TWO_RUNS, flow_csv="run,lift [mm],flow [l/s]\n" + flow))


@pytest.mark.parametrize(
    ("header", "row", "problem"),
    [
        ("run,lift [mm],flow [l/s],test_pressure [Pa]", "as cast,4,62,5", "column test_pressure: this can't be told"),
        (
            "run,lift [mm],flow [l/s],test_pressure [kPa]",
            "as cast,4,62,3",
            "Write 62.3 in the column flow, or 3.0",
        ),
        ("run,lift [mm],flow [l/s],test_pressure [kPa]", "as cast,4,62,5,7,", "has 6 cells, the header 4"),
        ("run,lift [mm],flow [l/s],test_pressure [kPa],note", "as cast,4,62,5,7", "column note: this note looks like"),
        ("run,lift [mm],flow [l/s],note", "as cast,4,62,5", "column note: this note looks like"),
        ("run,lift [mm],flow [l/s],note", "as cast,4,0,62.5", "column note: this note looks like a number that"),
        ("run,lift [mm],flow [l/s],test_pressure [kPa]", "as cast,4,0,62.5", "column flow: this can't be told from"),
        ("run,lift [mm],flow [l/s]", "as cast,4,62,5", "has 4 cells, the header 3"),
    ],
)
def test_a_decimal_comma_does_not_turn_the_digits_of_a_flow_into_another_cell(
    make_job: MakeJob, header: str, row: str, problem: str
) -> None:
    with pytest.raises(JobError) as refused:
        read_job(make_job(flow_csv=f"{header}\n{row}\n"))
    assert str(refused.value).startswith("flow.csv, line 2")
    assert problem in str(refused.value)


@pytest.mark.parametrize(
    ("row", "kilopascal"),
    [("62,28", 28.0), ("62,5", 5.0), ("62,3.0", 3.0), ("62.5,3", 3.0), ("62,", np.nan), ("0.0,6", 6.0), ("0,", np.nan)],
)
def test_whole_test_pressures_beside_whole_flows(make_job: MakeJob, row: str, kilopascal: float) -> None:
    # The job tests at 7 kPa.
    text = f"run,lift [mm],flow [l/s],test_pressure [kPa]\nas cast,4,{row}\n"
    _, found = flow_of(make_job(flow_csv=text))
    assert_allclose(found.test_pressure, [1e3 * kilopascal])


def test_lifts_that_do_not_match_are_listed_in_both_units(make_job: MakeJob) -> None:
    # One header says mm, the other in: the usual cause.
    flow = "run,lift [in],flow [l/s]\nrough,2.54,1\n"
    with pytest.raises(JobError) as refused:
        read_job(make_job(readings_csv=TWO_RUNS, flow_csv=flow))
    assert str(refused.value) == (
        "flow.csv, line 2, column lift: run 'rough' has no readings at this lift in readings.csv (got '2.54'); "
        "expected one of 0.1, 0.2 in (2.54, 5.08 mm in readings.csv). Check the unit of the lift in both headers, "
        "read the stations at this lift too, or take the row away."
    )
    with pytest.raises(JobError, match=r"expected one of 2\.54, 5\.08 mm\. Check"):
        read_job(make_job(readings_csv=TWO_RUNS, flow_csv="run,lift [mm],flow [l/s]\nrough,3,1\n"))


def test_a_missing_flow_row_names_the_lift_in_the_unit_of_the_readings(make_job: MakeJob) -> None:
    text = TWO_RUNS.replace("[mm]", "[in]").replace("2.54", "0.1").replace("5.08", "0.2")
    with pytest.raises(JobError, match=r"no flow row for run 'rough' at the lift of 0\.1 in, which has readings"):
        read_job(make_job(readings_csv=text, flow_csv="run,lift [mm],flow [l/s]\nrough,5.08,1\n"))


@pytest.mark.parametrize(("rows", "words"), [(("0",), "only 1 station at"), (("0", "90"), "only 2 stations at")])
def test_stations_are_counted_in_words(make_job: MakeJob, rows: tuple[str, ...], words: str) -> None:
    text = "run,lift [mm],station,reading [Pa]\n" + "".join(f"a,4,{angle},1\n" for angle in rows)
    with pytest.raises(JobError, match=words):
        read_job(make_job(readings_csv=text))


@pytest.mark.parametrize("cell", ["0", "-5"])
def test_test_pressure_of_a_row_is_above_zero(make_job: MakeJob, cell: str) -> None:
    flow = f"run,lift [mm],flow [l/s],test_pressure [Pa]\nas cast,4,1,{cell}\n"
    with pytest.raises(JobError, match=rf"line 2, column test_pressure: .*larger than zero \(got '{cell}'\)"):
        read_job(make_job(flow_csv=flow))


def test_a_run_at_one_lift_is_not_the_other_runs(make_job: MakeJob) -> None:
    # The next lift of the ladder belongs to another run: it must not be taken for this one's.
    text = "run,lift [mm],station,reading [Pa]\n" + rows("a", "4") + rows("b", "0")
    with pytest.raises(JobError, match=r"line 4, column lift: run 'a' has no readings at this lift"):
        read_job(make_job(readings_csv=text, flow_csv="run,lift [mm],flow [l/s]\na,4,1\nb,0,1\na,5,1\n"))


def test_display_units_are_those_that_were_typed(make_job: MakeJob) -> None:
    text = TWO_RUNS.replace("[mm]", "[in]").replace("2.54", "0.1").replace("5.08", "0.2").replace("[Pa]", "[inH2O]")
    flow = "run,lift [mm],flow [cfm]\nrough,2.54,1\nrough,5.08,2\nsmooth,2.54,3\nsmooth,5.08,4\n"
    units = read_job(make_job(readings_csv=text, flow_csv=flow)).units
    assert (units.length, units.pressure, units.flow, units.velocity) == ("in", "inH2O", "cfm", "ft/s")
    units = read_job(make_job(readings_csv=None)).units
    assert (units.length, units.pressure, units.flow, units.velocity) == ("mm", "Pa", "l/s", "m/s")
