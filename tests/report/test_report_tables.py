"""Tables as a terminal shows them: every number is there, with its unit, and nothing is cut off.

Expected numbers come from the reduction itself: what is checked here is how they are told. Units are converted
with their definitions, not with the package.
"""

from __future__ import annotations

import io
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from rich.console import Console, RenderableType

from portviz.__main__ import main
from portviz.distribution.areas import areas_at, job_profiles
from portviz.distribution.reduce import Reduction, reduce_job
from portviz.job.read import read_job
from portviz.report.tables import area_table, check_table, summary_tables

INCH = 0.0254
FOOT = 0.3048
#: Not a mark that stands in any of our words: rich puts it where it cuts.
CUT = "…"


def rendered(what: RenderableType, width: int = 200) -> str:
    console = Console(width=width, file=io.StringIO(), highlight=False)
    console.print(what)
    text = console.file.getvalue()
    assert isinstance(text, str)
    return text


def table_of(text: str, title: str) -> list[str]:
    """The lines of the table under a title, up to the next blank one."""
    lines = text[text.index(title) :].splitlines()[1:]
    rule = next(number for number, line in enumerate(lines) if "─" in line)
    end = next((number for number, line in enumerate(lines) if number > rule and not line.strip()), len(lines))
    return lines[:end]


def rows_of(text: str, title: str) -> list[list[str]]:
    """The cells of the table under a title, split at two or more spaces."""
    lines = table_of(text, title)
    rule = next(number for number, line in enumerate(lines) if "─" in line)
    return [re.split(r"\s{2,}", line.strip()) for line in lines[rule + 1 :]]


def header_of(text: str, title: str) -> list[str]:
    """The columns' names with their units; the rows below the rule show where a column ends."""
    lines = table_of(text, title)
    rule = next(number for number, line in enumerate(lines) if "─" in line)
    head, row = lines[1:rule], lines[rule + 1]
    ends = [match.end() for match in re.finditer(r"\S+(?: \S+)*", row)]
    starts = [0, *ends[:-1]]
    ends[-1] = max(map(len, [*head, row]))
    return [" ".join(" ".join(line[a:b] for line in head).split()) for a, b in zip(starts, ends, strict=True)]


@pytest.fixture(scope="session")
def sidecar_areas(sidecar: Reduction) -> str:
    areas = areas_at(sidecar.job, job_profiles(sidecar.job), [1e-3, 8e-3])
    return rendered(area_table(sidecar.job, areas, sidecar.profiles))


# --- numbers and units ---------------------------------------------------------------------------------------------


def limited(reduction: Reduction, group: int) -> str:
    """Both examples' throat passage runs from the seat to the back of the head at first, then across the throat."""
    if reduction.areas.limited_by(group) == "gap":
        return "gap"
    # The whole ring between throat and stem is the textbook's third stage.
    if reduction.areas.throat_area[group] == pytest.approx(reduction.areas.three_stage_area[group], rel=1e-12):
        return "throat: throat to stem"
    return "throat: seat to back of head"


def test_flow_table(sidecar: Reduction) -> None:
    text = rendered(summary_tables(sidecar, [0, 1]))
    for run, name in enumerate(sidecar.runs):
        rows = rows_of(text, f"Run “{name}”: flow")
        groups = sidecar.groups_of(run)
        assert len(rows) == len(groups)
        for row, group in zip(rows, groups, strict=True):
            assert row == [
                f"{sidecar.lift[group] * 1e3:.2f}",
                f"{sidecar.lift[group] / 41e-3:.3f}",
                f"{sidecar.bench_flow[group] * 1e3:.1f}",
                f"{sidecar.discharge_coefficient[group]:.3f}",
                f"{sidecar.flow_area_coefficient[group]:.3f}",
                f"{sidecar.closure[group]:.3f}",
                limited(sidecar, group),
            ]


def test_pattern_table(tractor: Reduction) -> None:
    text = rendered(summary_tables(tractor, [0]))
    rows = rows_of(text, f"Run “{tractor.runs[0]}”: velocity round the valve")
    for row, group in zip(rows, tractor.groups_of(0), strict=True):
        assert row[0] == f"{tractor.lift[group] / INCH:.4f}"
        assert row[1] == f"{tractor.measures.mean[group] / FOOT:.1f}"
        assert row[2] == f"{tractor.measures.uniformity_index[group]:.3f}"
        assert row[3] == f"{tractor.bias_magnitude[group]:.3f}"
        assert row[4] == f"{tractor.bias_angle_deg[group]:.0f}° (toward the spark plug)"
        velocity = tractor.stations.velocity[tractor.stations_of(group)] / FOOT
        assert row[5].endswith(f"°: {velocity.min():.1f}")
        assert row[6].endswith(f"°: {velocity.max():.1f}")


def test_columns_say_their_units(tractor: Reduction) -> None:
    text = rendered(summary_tables(tractor, [0]), 110)
    assert header_of(text, "”: flow") == [
        "lift [in]",
        "L/D",
        "flow [cfm]",
        "discharge coefficient",
        "flow-area coefficient",
        "closure",
        "limited by",
    ]
    head = " ".join(" ".join(table_of(text, "round the valve")[1:3]).split())
    assert head == "lift mean weakest strongest [in] [ft/s] uniformity bias leans [ft/s] [ft/s]"


def test_station_tables(sidecar: Reduction) -> None:
    text = rendered(summary_tables(sidecar, [0], stations=True, wide=False))
    stations = sidecar.stations
    for group in sidecar.groups_of(0):
        rows = rows_of(text, f"Run “as found” at {sidecar.lift[group] * 1e3:.2f} mm: stations")
        part = sidecar.stations_of(group)
        assert len(rows) == 12
        for row, index in zip(rows, range(part.start, part.stop), strict=True):
            assert row == [
                f"{stations.angle_deg[index]:g}°",
                f"{stations.reading[index] / 9.80665:.1f}",
                str(stations.repeats[index]),
                f"{stations.drop[index] / 9.80665:.1f}",
                f"{stations.velocity[index]:.1f}",
                f"{stations.velocity_ratio[index]:.3f}",
                f"{stations.mach[index]:.3f}",
                f"{100.0 * stations.flow_share[index]:.2f}",
                f"{stations.flow[index] * 1e3:.2f}",
            ]


def test_station_tables_say_their_units(sidecar: Reduction) -> None:
    assert header_of(rendered(summary_tables(sidecar, [0], stations=True, wide=False)), "1.00 mm: stations") == [
        "station",
        "reading [mmH2O]",
        "repeats",
        "pressure drop [mmH2O]",
        "velocity [m/s]",
        "velocity ratio",
        "Mach number",
        "share [%]",
        "flow [l/s]",
    ]


def shortened(examples: Path, tmp_path: Path, keep: Callable[[list[str]], bool], flow: str | None = None) -> Reduction:
    """The intake example with some rows of its readings alone."""
    folder = shutil.copytree(examples / "sidecar_intake", tmp_path / "job")
    header, *rows = (folder / "readings.csv").read_text(encoding="utf-8").splitlines()
    kept = [row for row in rows if keep(row.split(","))]
    (folder / "readings.csv").write_text("\n".join([header, *kept, ""]), encoding="utf-8")
    if flow is None:
        (folder / "flow.csv").unlink()
    else:
        (folder / "flow.csv").write_text(flow, encoding="utf-8")
    return reduce_job(read_job(folder))


@pytest.mark.parametrize(
    ("missing", "words"),
    [
        ({"30", "60"}, "10 of 12 stations (not read: 30°, 60°)"),
        ({"0", "30", "60", "90", "120", "150"}, "6 of 12 stations (not read: 0°, 30°, 60°, 90° and 2 more)"),
    ],
)
def test_a_station_table_says_what_was_not_read(missing: set[str], words: str, examples: Path, tmp_path: Path) -> None:
    reduction = shortened(examples, tmp_path, lambda row: row[2] not in missing)
    text = rendered(summary_tables(reduction, [0], stations=True, wide=False))
    assert f"Run “as found” at 1.00 mm: {words}" in text
    assert len(rows_of(text, f"at 1.00 mm: {words}")) == 12 - len(missing)
    assert header_of(text, f"at 1.00 mm: {words}")[-1] == "share [%]"


def test_the_test_pressure_stands_where_it_changes(examples: Path, tmp_path: Path) -> None:
    """25 inH2O = 6227.22275 Pa = 635.00 mmH2O."""
    flow = "run,lift [mm],flow [l/s],test_pressure [inH2O]\nas found,1,6.7,25\nas found,2,13.4,20\n"
    reduction = shortened(examples, tmp_path, lambda row: row[0] == "as found" and row[1] in ("1", "2"), flow)
    text = rendered(summary_tables(reduction, [0]))
    assert header_of(text, "”: flow")[2] == "test pressure [mmH2O]"
    assert [row[2] for row in rows_of(text, "”: flow")] == ["635.0", "508.0"]


def test_area_table(sidecar: Reduction, sidecar_areas: str) -> None:
    areas = areas_at(sidecar.job, job_profiles(sidecar.job), [1e-3, 8e-3])
    rows = rows_of(sidecar_areas, "Areas")
    for index, row in enumerate(rows):
        columns = (areas.curtain_area, areas.three_stage_area, areas.gap_area, areas.throat_area, areas.flow_area)
        curtain, textbook, gap, throat, flow = (f"{each[index] * 1e6:.1f}" for each in columns)
        lift = areas.lift[index] * 1e3
        assert row == [
            f"{lift:.2f}",
            f"{lift / 41.0:.3f}",
            curtain,
            textbook,
            str(areas.stage[index]),
            gap,
            throat,
            flow,
            ("gap", "throat: seat to back of head")[index],
        ]


def test_area_table_says_its_unit(sidecar_areas: str, tractor: Reduction) -> None:
    assert "Areas [mm²]; the valve head's is 1320.3" in sidecar_areas  # pi 41^2 / 4
    inches = rendered(area_table(tractor.job, tractor.areas, tractor.profiles))
    assert "Areas [in²]" in inches
    first = rows_of(inches, "Areas")[0]
    assert first[2] == f"{tractor.areas.curtain_area[0] / INCH**2:.3f}"


def test_check_table(sidecar: Reduction) -> None:
    text = rendered(check_table(sidecar.job))
    for words in (
        "head 41.00 mm, stem 7.00 mm, face 45° x 2.20 mm, back cut 30° x 1.00 mm",
        "outer 40.60 mm, band 45° x 1.60 mm, throat 35.50 mm",
        "top cut 30° x 1.20 mm, bottom cut 60° x 1.50 mm, bottom cut 70° x 1.60 mm",
        "test pressure 635.0 mmH2O",
        "reads upstream-minus-tap, coefficient 0.98, accuracy 3 mmH2O",
        "12, station 0 faces “toward the bore wall”",
        "576 in readings.csv",
        "run “as found”: 8 lifts, 1.00 mm to 11.00 mm",
        "flow.csv",
        "67 points",
    ):
        assert words in text


def test_what_is_not_known_is_a_dash(examples: Path, tmp_path: Path) -> None:
    """Without total flow there are no coefficients: dashes, not zeros and not nan."""
    folder = shutil.copytree(examples / "sidecar_intake", tmp_path / "job")
    (folder / "flow.csv").unlink()
    reduction = reduce_job(read_job(folder))
    rows = rows_of(rendered(summary_tables(reduction, [0])), "Run “as found”: flow")
    assert {tuple(row[2:6]) for row in rows} == {("–", "–", "–", "–")}
    assert "none (no coefficients, no closure)" in rendered(check_table(reduction.job))


def test_still_air_is_told_without_nan(examples: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(examples / "sidecar_intake", tmp_path / "job")
    lines = [f"still,5,{angle},0" for angle in range(0, 360, 30)]
    (folder / "readings.csv").write_text("\n".join(["run,lift [mm],station,reading [Pa]", *lines]))
    (folder / "flow.csv").write_text("run,lift [mm],flow [l/s]\nstill,5,0\n")
    text = rendered(summary_tables(reduce_job(read_job(folder)), [0], stations=True))
    assert "nan" not in text.lower()
    assert "–" in text


# --- widths --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [80, 110])
@pytest.mark.parametrize("example", ["sidecar", "tractor"])
def test_nothing_is_cut_in_a_summary(width: int, example: str, request: pytest.FixtureRequest) -> None:
    reduction = request.getfixturevalue(example)
    text = rendered(summary_tables(reduction, range(len(reduction.runs)), stations=True, wide=width > 100), width)
    assert CUT not in text
    assert max(map(len, text.splitlines())) <= width


@pytest.mark.parametrize("width", [80, 110])
@pytest.mark.parametrize("example", ["sidecar", "tractor"])
def test_every_row_of_a_summary_takes_one_line(width: int, example: str, request: pytest.FixtureRequest) -> None:
    reduction = request.getfixturevalue(example)
    text = rendered(summary_tables(reduction, [0], stations=True, wide=width > 100), width)
    for title in ("”: flow", "round the valve"):
        assert len(rows_of(text, title)) == len(reduction.groups_of(0))
    assert len(rows_of(text, ": stations")) == len(reduction.job.stations.angles_deg)


@pytest.mark.parametrize("width", [80, 110])
@pytest.mark.parametrize("example", ["sidecar", "tractor"])
def test_nothing_is_cut_in_areas(width: int, example: str, request: pytest.FixtureRequest) -> None:
    reduction = request.getfixturevalue(example)
    text = rendered(area_table(reduction.job, reduction.areas, reduction.profiles, wide=width > 100), width)
    assert CUT not in text
    assert max(map(len, text.splitlines())) <= width


@pytest.mark.parametrize("width", [80, 110])
@pytest.mark.parametrize("example", ["sidecar", "tractor"])
def test_nothing_is_cut_in_a_check(width: int, example: str, request: pytest.FixtureRequest) -> None:
    reduction = request.getfixturevalue(example)
    text = rendered(check_table(reduction.job), width)
    assert CUT not in text
    assert max(map(len, text.splitlines())) <= width


# --- words that a person typed -------------------------------------------------------------------------------------

#: Names that a marked-up text would swallow, restyle or choke on.
NAMES = ["bowl [red] 2", "port [/]", "[bold]wide[/bold]", "as found \\[1]", ":wrench: ground"]


@pytest.fixture
def named(request: pytest.FixtureRequest, examples: Path, tmp_path: Path) -> tuple[str, Path]:
    """A job whose first run, title and reference are the parameter, literally."""
    name = str(request.param)
    folder = shutil.copytree(examples / "sidecar_intake", tmp_path / "job")
    for file in ("readings.csv", "flow.csv"):
        path = folder / file
        path.write_text(path.read_text(encoding="utf-8").replace("as found", name), encoding="utf-8")
    path = folder / "job.toml"
    quoted = name.replace("\\", "\\\\")
    text = path.read_text(encoding="utf-8").replace("toward the bore wall", quoted)
    text = text.replace("Hill-climb sidecar single, intake (invented)", quoted)
    path.write_text(text, encoding="utf-8")
    return name, folder


@pytest.mark.parametrize("named", NAMES, indirect=True)
def test_typed_words_are_shown_as_typed_in_a_summary(named: tuple[str, Path]) -> None:
    name, folder = named
    text = rendered(summary_tables(reduce_job(read_job(folder)), [0], stations=True))
    assert text.startswith(f"{name}\n")
    assert f"Run “{name}”: flow" in text
    assert f"Run “{name}”: velocity round the valve" in text
    assert f"Run “{name}” at 1.00 mm: stations" in text
    assert f"Station 0 faces “{name}”" in text


@pytest.mark.parametrize("named", NAMES, indirect=True)
def test_typed_words_are_shown_as_typed_in_a_check(named: tuple[str, Path]) -> None:
    name, folder = named
    text = rendered(check_table(read_job(folder)))
    assert re.search(rf"title +{re.escape(name)}", text)
    assert f"run “{name}”: 8 lifts" in text
    assert f"station 0 faces “{name}”" in text


@pytest.mark.parametrize("command", ["summary", "check"])
@pytest.mark.parametrize("named", ["port [/]"], indirect=True)
def test_commands_take_any_typed_words(
    command: str, named: tuple[str, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    name, folder = named
    code = main([command, str(folder)])
    out, err = capsys.readouterr()
    assert code == 0, err
    assert name in out


def test_directions_are_told_from_station_0_and_what_it_faces(
    examples: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = shutil.copytree(examples / "tractor_exhaust", tmp_path / "job")
    path = folder / "job.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("toward the spark plug", "plug [hot]"), encoding="utf-8")
    assert main(["summary", str(folder)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "Station 0 faces “plug [hot]”. Angles run anticlockwise from station 0, seen from the cylinder" in out


def test_a_reference_that_nobody_named_is_not_told(examples: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(examples / "tractor_exhaust", tmp_path / "job")
    path = folder / "job.toml"
    path.write_text(re.sub(r"reference = .*", "", path.read_text(encoding="utf-8")), encoding="utf-8")
    reduction = reduce_job(read_job(folder))
    assert "faces" not in rendered(check_table(reduction.job))
    text = rendered(summary_tables(reduction, [0]))
    assert "faces" not in text
    assert "Angles run anticlockwise from station 0" in text
