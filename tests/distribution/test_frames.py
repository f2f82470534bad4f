"""Data frames hold what the commands print: the oracle is pandas' own flattening of the printed JSON documents."""

from __future__ import annotations

import contextlib
import io
import json
import sys
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

import portviz
from portviz.__main__ import main
from portviz.distribution.comparison import Comparison, Side, compare_runs
from portviz.distribution.event_comparison import LiftEvent, lift_event
from portviz.distribution.field import QUANTITIES, run_field
from portviz.distribution.frames import FIELD_COLUMNS
from portviz.distribution.reduce import Reduction, reduce_job
from portviz.distribution.uncertainty import linear_uncertainty, reduction_uncertainty
from portviz.errors import JobError, UsageError
from portviz.job.read import read_job

JOBS = ("sidecar_intake", "tractor_exhaust")


def printed(*arguments: str) -> dict[str, Any]:
    """What a command prints with --json."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(io.StringIO()):
        assert main([*arguments, "--json"]) == 0
    document: dict[str, Any] = json.loads(out.getvalue())
    return document


@pytest.fixture(scope="module", params=JOBS)
def folder(request, examples):
    return examples / request.param


@pytest.fixture(scope="module")
def reduction(folder) -> Reduction:
    return reduce_job(read_job(folder))


@pytest.fixture(scope="module")
def summary(folder) -> dict[str, Any]:
    return printed("summary", str(folder))


@pytest.fixture(scope="module")
def comparison(reduction) -> Comparison:
    known = reduction_uncertainty(reduction)
    return compare_runs(Side(reduction, known, 0), Side(reduction, known, 1))


@pytest.fixture(scope="module")
def compared(folder, reduction) -> dict[str, Any]:
    return printed("compare", str(folder), *reduction.runs)


@pytest.fixture(scope="module")
def events(reduction) -> LiftEvent:
    return lift_event(reduction, linear_uncertainty(reduction))


@pytest.fixture(scope="module")
def over_event(folder) -> dict[str, Any]:
    return printed("event", str(folder))


def assert_same(frame: pd.DataFrame, expected: pd.DataFrame) -> None:
    """The same columns with the same values to the last digit, null standing for NaN; the columns' order is free."""
    assert set(frame.columns) == set(expected.columns)
    assert len(frame) == len(expected) > 0
    for name in expected.columns:
        if isinstance(expected[name].dropna().iloc[0] if expected[name].notna().any() else 0.0, str):
            assert frame[name].tolist() == expected[name].tolist(), name
        else:
            got, wanted = (each[name].to_numpy(dtype=float, na_value=np.nan) for each in (frame, expected))
            np.testing.assert_array_equal(got, wanted, err_msg=name)


def test_lifts_are_those_of_the_summary(reduction, summary):
    expected = pd.json_normalize(summary["runs"], record_path="lifts", meta="run").drop(columns="stations")
    assert_same(reduction.to_dataframe(), expected)


def test_stations_are_those_of_the_summary(reduction, summary):
    expected = pd.json_normalize(summary["runs"], ["lifts", "stations"], ["run", ["lifts", "lift_m"]])
    assert_same(reduction.to_dataframe(of="stations"), expected.rename(columns={"lifts.lift_m": "lift_m"}))


def test_an_uncertainty_that_is_given_is_the_one_told(reduction):
    without = reduction_uncertainty(reduction, samples=0)
    frame = reduction.to_dataframe(without, of="stations")
    order = np.lexsort((reduction.stations.station, reduction.station_group))
    np.testing.assert_array_equal(frame["velocity_m_s_u"], without.velocity.standard[order])


def flat(records: list[dict[str, Any]]) -> pd.DataFrame:
    return pd.json_normalize(records, sep="_")


def test_changes_of_lifts_are_those_of_compare(comparison, compared):
    expected = flat(compared["lifts"]).drop(columns="stations")
    shift = np.array(expected.pop("bias_shift").tolist())
    expected["bias_shift_0"], expected["bias_shift_90"] = shift.T
    assert_same(comparison.to_dataframe(), expected)


def test_changes_of_stations_are_those_of_compare(comparison, compared):
    expected = flat(
        [{"lift_m": each["lift_m"], **station} for each in compared["lifts"] for station in each["stations"]]
    )
    frame = comparison.to_dataframe(of="stations")
    assert_same(frame, expected)
    assert set(frame["velocity_m_s_verdict"]) <= {"higher", "lower", "not shown"}


def of_runs(document: dict[str, Any], key: str) -> pd.DataFrame:
    return pd.json_normalize(document["runs"], key, "run")


def test_runs_are_those_of_the_event(events, over_event):
    parts = ["lift_bands", "stations", "effective_areas", "course_effective_area_m2", "course_demand_mach"]
    expected = flat(over_event["runs"]).drop(columns=[*parts, "turning_lifts"], errors="ignore")
    # A turning that can't be told is one null in the document, and no columns in the frame.
    assert_same(events.to_dataframe(), expected.drop(columns="turning", errors="ignore"))


@pytest.mark.parametrize(
    ("of", "key"), [("bands", "lift_bands"), ("stations", "stations"), ("lifts", "effective_areas")]
)
def test_parts_are_those_of_the_event(events, over_event, of, key):
    assert_same(events.to_dataframe(of=of), of_runs(over_event, key))


def test_the_course_is_what_the_event_writes_as_csv(events, folder, tmp_path):
    file = tmp_path / "course.csv"
    printed("event", str(folder), "--csv", str(file))
    # Python's own float reads each number back to the last digit.
    written = pd.read_csv(file, dtype=str)
    numbers = written.drop(columns="run").astype(float)
    assert_same(events.to_dataframe(of="course"), numbers.assign(run=written["run"]))


def test_readings_are_those_of_the_file(reduction, folder):
    frame = reduction.job.to_dataframe()
    # The file as a spreadsheet reads it; factors of the units by hand: conventional mmH2O and inH2O, the inch.
    typed = pd.read_csv(folder / "readings.csv")
    length, pressure = {"sidecar_intake": (1e-3, 9.80665), "tractor_exhaust": (25.4e-3, 249.08891)}[folder.name]
    lift, reading = (next(name for name in typed if name.startswith(word)) for word in ("lift", "reading"))
    assert frame["run"].tolist() == typed["run"].tolist()
    np.testing.assert_allclose(frame["lift_m"], typed[lift] * length, rtol=1e-12)
    np.testing.assert_allclose(frame["reading_pa"], typed[reading] * pressure, rtol=1e-6)
    assert frame["angle_deg"].tolist() == typed["station"].tolist()
    assert frame["line"].tolist() == list(range(2, len(typed) + 2))


def test_a_velocity_gauge_has_its_readings_in_metres_a_second(reduced):
    rows = [("a", 2e-3, angle, 40.0 + angle / 10.0) for angle in (0.0, 120.0, 240.0)]
    reduction = reduced(rows, reads="velocity")
    assert reduction.job.to_dataframe()["reading_m_s"].tolist() == [40.0, 52.0, 64.0]
    frame = reduction.to_dataframe(of="stations")
    assert "reading_pa" not in frame
    # Coefficient 1: the velocity is the reading; without a flow its share is not known, but there.
    np.testing.assert_allclose(frame["velocity_m_s"], [40.0, 52.0, 64.0], rtol=1e-12)
    assert frame["flow_m3_s"].isna().all()


def test_a_field_s_frame_goes_through_the_measured_points(reduction):
    angles = reduction.job.stations.angles_deg
    for name, column in FIELD_COLUMNS.items():
        field = run_field(reduction, 1, name, angles)
        frame = field.to_dataframe()
        assert list(frame.columns) == ["lift_m", "angle_deg", column]
        table = frame.pivot(index="lift_m", columns="angle_deg", values=column)
        groups = np.array(reduction.groups_of(1))
        measured = [QUANTITIES[name].values(reduction)[reduction.stations_of(group)] for group in groups]
        np.testing.assert_allclose(table.to_numpy(), measured, rtol=1e-12)
    between = field.to_dataframe([0.5 * (field.lifts[0] + field.lifts[1])])
    assert len(between) == len(angles)
    assert between["lift_m"].nunique() == 1


def test_every_field_has_a_column():
    assert set(FIELD_COLUMNS) == set(QUANTITIES)


def test_a_run_may_be_named_wherever_its_place_may_stand(reduction, events, tmp_path):
    """The same results by name as by place, bit for bit."""
    name = reduction.runs[1]
    by_name, by_place = run_field(reduction, name), run_field(reduction, 1, "velocity", np.arange(360))
    np.testing.assert_array_equal(by_name.values, by_place.values)
    np.testing.assert_array_equal(by_name.angles_deg, np.arange(360))
    before = reduction.runs[0]
    flows = [portviz.compare_events(events, *pair).values["mean_flow"].difference for pair in ((0, 1), (before, name))]
    np.testing.assert_array_equal(*flows)
    for run in (1, name):
        portviz.write_mesh(reduction, run, None, "curtain", tmp_path / f"{run}.stl")
    assert (tmp_path / "1.stl").read_bytes() == (tmp_path / f"{name}.stl").read_bytes()
    known = [reduction_uncertainty(reduction, runs=[run]).bias_magnitude.standard for run in (1, name)]
    np.testing.assert_array_equal(*known)


def test_a_lift_event_needs_no_uncertainty_to_be_named(reduction, events):
    """The command's own: by the linear law."""
    assert_same(lift_event(reduction).to_dataframe(), events.to_dataframe())


def test_what_a_script_gives_wrong_is_told_in_words(reduction, comparison, events, tmp_path):
    field = run_field(reduction, 0)
    cases: list[tuple[str, Callable[[], object]]] = [
        ("run: there is no run 'as fond'; the job has", lambda: run_field(reduction, "as fond")),
        ("run: there is no run 7", lambda: run_field(reduction, 7)),
        (r"run: 0\.5 is no run; name one, such as", lambda: run_field(reduction, 0.5)),  # type: ignore[arg-type]
        (r"quantity: 'velocty' is not one of .*Did you mean velocity\?", lambda: run_field(reduction, 0, "velocty")),
        ("run: there is no run 'x'", lambda: portviz.compare_events(events, reduction.runs[0], "x")),
        ("can't be compared with itself", lambda: portviz.compare_events(events, 0, reduction.runs[0])),
        ("run: there is no run 'x'", lambda: portviz.write_mesh(reduction, "x", None, "all", tmp_path / "a.stl")),
        ("run: there is no run 'x'", lambda: reduction_uncertainty(reduction, runs=["x"])),
        ("a Reduction is wanted here", lambda: portviz.compare(comparison, 0, 1)),  # type: ignore[arg-type]
    ]
    lifts: list[Callable[[Any], object]] = [
        field.at,
        field.to_dataframe,
        lambda lift: field.to_dataframe([lift]),
        lambda lift: portviz.write_mesh(reduction, 0, lift, "all", tmp_path / "a.stl"),
        lambda lift: portviz.plot_velocities(reduction, lift=lift),
        lambda lift: portviz.plot_section(reduction.job, lift),
        lambda lift: portviz.plot_curtain(reduction, 0, lift),
    ]
    said = "lift: '8 mm' is no number; a lift is a number in metres, such as 8e-3"
    cases += [(said, lambda call=call: call("8 mm")) for call in lifts]  # type: ignore[misc]
    job = reduction.job
    cases += [
        (f"{kind} is wanted here, as portviz.{maker}.* returns it, not a", lambda call=call, value=value: call(value))  # type: ignore[misc]
        for call, value, kind, maker in (
            (portviz.plot_changes, reduction, "a Comparison", "compare"),
            (portviz.plot_event, reduction, "a LiftEvent", "lift_event"),
            (portviz.plot_flow, job, "a Reduction", "reduce_job"),
            (portviz.plot_velocities, job, "a Reduction", "reduce_job"),
            (lambda value: portviz.plot_unrolled(value, 0), job, "a Reduction", "reduce_job"),
            (portviz.plot_curtain, job, "a Reduction", "reduce_job"),
            (portviz.plot_section, reduction, "a Job", "read_job"),
        )
    ]
    for words, call in cases:
        with pytest.raises(UsageError, match=words):
            call()
    assert list(tmp_path.iterdir()) == []


Frame = Callable[[], pd.DataFrame]


def frames_of(reduction: Reduction, comparison: Comparison, events: LiftEvent) -> dict[str, Frame]:
    return {
        "job": reduction.job.to_dataframe,
        "reduction": reduction.to_dataframe,
        "comparison": comparison.to_dataframe,
        "event": events.to_dataframe,
        "field": run_field(reduction, 0, "velocity", [0.0]).to_dataframe,
    }


def test_without_pandas_the_message_says_what_to_install(reduction, comparison, events, monkeypatch):
    # Python's own rule: a name that is None in sys.modules can't be imported.
    monkeypatch.setitem(sys.modules, "pandas", None)
    for frame in frames_of(reduction, comparison, events).values():
        with pytest.raises(UsageError, match=r'pandas. Install it from .*pip install "\.\[notebook\]"'):
            frame()


def test_an_unknown_frame_is_refused_with_the_nearest(reduction, comparison, events):
    with pytest.raises(UsageError, match=r"of: 'station' is not one of lifts, stations. Did you mean stations\?"):
        reduction.to_dataframe(of="station")
    for result in (comparison, events):
        with pytest.raises(UsageError, match="is not one of"):
            result.to_dataframe(of="nothing")


def test_a_job_without_readings_says_so(small_job, tmp_path):
    (tmp_path / "job.toml").write_text(small_job, encoding="utf-8")
    with pytest.raises(JobError, match="there are no readings"):
        portviz.read_job(tmp_path).to_dataframe()


@pytest.fixture(params=["closed alone", "closed and open"])
def barely_open(request, small_job, tmp_path):
    """A job measured with the valve closed, whose lengths and lifts are not known for sure."""
    text = small_job.replace("[seat]", 'length_uncertainty = "0.02 mm"\n\n[seat]')
    text = text.replace('humidity = "40 %"', 'humidity = "40 %"\nlift_uncertainty = "0.05 mm"')
    (tmp_path / "job.toml").write_text(text.replace("[stations]", 'accuracy = "20 Pa"\n\n[stations]'), encoding="utf-8")
    lifts = (0, 5) if request.param == "closed and open" else (0,)
    rows = [f"only,{lift},{at},{at + 900 * lift}" for lift in lifts for at in (0, 90, 180, 270)]
    (tmp_path / "readings.csv").write_text("\n".join(["run,lift [mm],station,reading [Pa]", *rows]), encoding="utf-8")
    rows = [f"only,{lift},{0.4 + 6 * lift}" for lift in lifts]
    (tmp_path / "flow.csv").write_text("\n".join(["run,lift [mm],flow [l/s]", *rows]), encoding="utf-8")
    return tmp_path


@pytest.mark.filterwarnings("error")
def test_areas_of_a_closed_valve_are_no_reason_to_complain(barely_open, capsys):
    """The uncertainty of a product is that of its factors, relative (JCGM 100:2008, 5.1.6): curtain = pi D L."""
    frame = reduce_job(read_job(barely_open)).to_dataframe()
    for name in ("curtain", "gap", "flow"):
        assert np.isnan(frame[f"{name}_area_m2_u"][0])
    # The head is there whether the valve is open or not: pi D^2 / 4.
    assert frame["head_area_m2_u"].to_numpy() == pytest.approx(2.0 * 0.02 / 40.0 * np.pi * 0.02**2)
    if len(frame) > 1:
        part = np.hypot(0.02 / 40.0, 0.05 / 5.0)
        assert frame["curtain_area_m2_u"][1] == pytest.approx(part * np.pi * 0.04 * 0.005)
        assert frame["gap_area_m2_u"][1] > 0.0
    commands = (
        ["export", str(barely_open), str(barely_open / "x.csv")],
        ["export", str(barely_open), str(barely_open / "x.xlsx")],
        ["distortion", str(barely_open)],
        ["summary", str(barely_open)],
    )
    for command in commands:
        assert main(command) == 0
        said = capsys.readouterr().err
        assert all(line.startswith("warning: ") for line in said.splitlines())
        assert "Warning" not in said
