"""The time of a customer's page as a ratio to what plotly and matplotlib need for the same things, and its size."""

import io
import time
from dataclasses import replace

import pytest

from portviz.distribution.reduce import reduce_job
from portviz.job.read import read_job
from portviz.report.build import build_report
from portviz.report.page import page_text
from portviz.scene.paper import in_style

LIFTS = range(1, 13)


@pytest.fixture(scope="module")
def report(examples, tmp_path_factory):
    """Two runs of twelve stations at twelve lifts, made of the sidecar's readings at 1 mm."""
    folder = tmp_path_factory.mktemp("job")
    source = examples / "sidecar_intake"
    for name in ("job.toml", "cam.csv"):
        (folder / name).write_text((source / name).read_text())
    head, *rows = (source / "readings.csv").read_text().splitlines()
    least = [row.split(",") for row in rows if row.split(",")[1] == "1"]
    made = [
        f"{run},{lift},{station},{float(reading) * (1.0 - 0.05 * lift * (0 if station == '90' else 1)):.1f}"
        for lift in LIFTS
        for run, _, station, reading, *_ in least
    ]
    (folder / "readings.csv").write_text("\n".join([head, *made]))
    flows = [f"{run},{lift},{6.5 * lift:.1f}" for run in ("as found", "wall relieved") for lift in LIFTS]
    (folder / "flow.csv").write_text("\n".join(["run,lift [mm],flow [l/s]", *flows]))
    made_of = build_report(reduce_job(read_job(folder)), date="2026-11-25")
    assert len(made_of.reduction.starts) == 24
    return made_of


def test_a_page_against_the_same_figure_and_charts_written_bare(report, tmp_path):
    """Within 1.5 of plotly's own page of the same 3D figure, made before, and matplotlib's own SVG of the same charts.

    The bare figure stands still; the page has all runs and lifts. Both are without the pictures for paper, which a
    process of its own draws meanwhile.
    """
    from matplotlib.figure import Figure
    from plotly.graph_objects import Figure as Turning

    from portviz.report.page_scene import page_scene

    figure = Turning(page_scene(report).figure)

    def page():
        return page_text(report, picture=None)

    def bare():
        figure.write_html(tmp_path / "bare.html", include_plotlyjs=True)
        for section in report.sections:
            for chart in section.charts:
                with in_style():
                    Figure.savefig(chart.make(), io.StringIO(), format="svg")

    def timed(action):
        start = time.perf_counter()
        action()
        return time.perf_counter() - start

    page()
    pages, bares = [], []
    while len(pages) < 2 or (len(pages) < 5 and min(pages) > 1.5 * min(bares)):
        bares.append(timed(bare))
        pages.append(timed(page))
    print(f"\npage / bare figure and charts = {min(pages) / min(bares):.2f} ({len(pages)} rounds)")
    assert min(pages) <= 1.5 * min(bares)


def test_a_page_of_two_runs_and_twelve_lifts_is_small_enough_to_be_sent(report):
    """5 MB, of which the bundle that draws is 1.75; a picture of 150 kB at most comes to it for each run."""
    bare = len(page_text(replace(report, sections=()), picture=None).encode())
    whole = len(page_text(report, picture=None).encode())
    print(f"\npage: {whole / 1e6:.2f} MB, {bare / 1e6:.2f} without charts and tables")
    assert whole + 2 * 150_000 * 4 / 3 <= 5e6
