"""A report as one page for a browser: a single HTML file that loads nothing, with a view that turns.

What stands in a report was typed by people and is taken for hostile: words go into the page escaped, numbers for its
script as inert JSON, and a content policy names by their hashes the only scripts and styles that may be used. The page
needs no script to be read or printed; the script adds the view that turns and the choice of lift and run.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager, nullcontext
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from portviz.distribution.reduce import Reduction
from portviz.errors import DrawingError
from portviz.job.words import lift_text, reference_words
from portviz.job.write import require_free, write_text
from portviz.report.content import Chart, Report, Section, TextTable
from portviz.report.page_pictures import Waiting, picture_size, run_pictures

if TYPE_CHECKING:
    from markupsafe import Markup

    from portviz.report.page_charts import ChartStyles
    from portviz.scene.state import ColourRange

#: Starts drawing a reduction's runs, by their places; gives what waits for their PNGs.
Pictures = Callable[[Reduction, Iterable[int]], AbstractContextManager[Waiting]]
_TURNS = (
    ("left", "Turn left"),
    ("right", "Turn right"),
    ("up", "From above"),
    ("down", "From below"),
    ("closer", "Closer"),
    ("farther", "Farther"),
    ("start", "Back to the start"),
)
#: Letters and columns of a table that a sheet of paper takes in type of the usual size.
_LETTERS_ON_PAPER, _COLUMNS_ON_PAPER = 84, 8
#: A cell of words with more letters may be broken over lines on a screen: in a table's first column, in the others.
_LETTERS_ON_A_LINE = 18, 32
_SUMMARY = "What was measured"
_SURROGATE = re.compile("[\ud800-\udfff]")


def write_page(
    report: Report, path: str | Path, *, picture: Pictures | None = run_pictures, overwrite: bool = False
) -> Path:
    """Write a report as one HTML file, whole or not at all.

    Parameters
    ----------
    report : Report
    path : str or Path
    picture : callable or None
        As in `page_text`.
    overwrite : bool
        Allow an existing file to be replaced.

    Raises
    ------
    JobError
        If the file is there already or can't be written.
    DrawingError
        If a package of the extra `report` is not installed.
    """
    path = Path(path)
    require_free(path, overwrite=overwrite)
    return write_text(path, page_text(report, picture=picture), overwrite=overwrite)


def page_text(report: Report, *, picture: Pictures | None = run_pictures) -> str:
    """Return a report as one HTML page; the same report makes the same page.

    Parameters
    ----------
    report : Report
    picture : callable or None
        Starts drawing runs for paper and for browsers without 3D. With None, as where nothing can be drawn, a flat
        section stands in their place.

    Raises
    ------
    DrawingError
        If a package of the extra `report` is not installed.
    """
    require_packages()
    drawing = nullcontext(dict) if picture is None else picture(report.reduction, report.runs)
    with drawing as drawn:
        return _SURROGATE.sub("\ufffd", _filled(report, drawn))


def require_packages() -> None:
    """Raise DrawingError where a package that makes the page is not installed."""
    try:
        import jinja2  # noqa: F401
    except ImportError:
        raise DrawingError(
            "page: the package jinja2, which makes the page, is not installed. "
            'Install it from portviz\'s folder with: pip install ".[report]"'
        ) from None


def _filled(report: Report, drawn: Waiting) -> str:
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    from portviz import __version__
    from portviz.report.page_charts import ChartStyles
    from portviz.report.page_scene import page_scene
    from portviz.report.page_words import longest_words, table_columns
    from portviz.scene.state import FAR_FROM_READING_DEG

    job, styles = report.reduction.job, ChartStyles()
    scene = page_scene(report)
    sections = [
        {
            "key": section.key,
            "title": section.title,
            "paragraphs": section.paragraphs,
            "charts": [_chart(chart, styles) for chart in section.charts],
            "tables": _folded(section, report),
        }
        for section in report.sections
    ]
    pictures, flat = _pictures(report, drawn(), styles)
    at_runs = [at for run in scene.moving["runs"] for at in run["lifts"]]
    style = f"{_part('page.css')}\n{styles.sheet()}\n"
    script, plotly = _part("page.js"), _vendored("plotly-gl3d.min.js")
    environment = Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True, undefined=StrictUndefined)
    environment.tests["wide_table"] = _is_wide
    environment.filters["cell_kinds"] = _cell_kinds
    return environment.from_string(_part("page.html.j2")).render(
        report=report,
        letterhead=report.letterhead,
        logo=report.letterhead.logo and _data_address(report.letterhead.logo.png),
        policy=content_policy([plotly, script], [style]),
        style=Markup(style),
        contents=_contents(report),
        summary_title=_SUMMARY,
        sections=sections,
        runs=[report.reduction.runs[run] for run in report.runs],
        lifts=[lift["text"] for lift in scene.moving["lifts"]],
        start=scene.moving["start"],
        turns=_TURNS,
        unit=job.units.velocity,
        colour_bar=colour_bar(scene.colours, scene.moving["colours"]),
        pictures=pictures,
        flat=flat,
        still_words=_STILL if pictures else _FLAT,
        station_columns=table_columns(job),
        pale=any("paleArrows" in at for at in at_runs),
        hatched=any("hatching" in at for at in at_runs),
        far=f"{FAR_FROM_READING_DEG:g}",
        longest=longest_words(report.reduction),
        reference=reference_words(job),
        invented=report.invented,
        version=__version__,
        figure=script_data(scene.figure),
        moving=script_data(scene.moving),
        licence=Markup(_vendored("LICENSE").replace("--", "- -").strip()),
        plotly=Markup(plotly),
        script=Markup(script),
    )


_STILL = (
    "Each run at its greatest measured lift: valve, head cut open, and the curtain through which the air passes, "
    "coloured by velocity. White dots are measured stations; colours between them are interpolated."
)
_FLAT = "No picture in three dimensions could be drawn for this page; the section shows valve and seat."


def _is_wide(table: TextTable) -> bool:
    """Tell if a table wants smaller type to stand on a sheet of paper."""
    letters = [max(map(len, column)) + 2 for column in zip(*table.rows, strict=True)]
    return sum(letters) > _LETTERS_ON_PAPER or len(table.columns) > _COLUMNS_ON_PAPER


def _cell_kinds(table: TextTable) -> list[Markup]:
    """Return what is put behind the name of each column's cells: what kind of words they hold."""
    from markupsafe import Markup

    kinds = []
    for place, column in enumerate(zip(table.columns, *table.rows, strict=True)):
        letters = max((len(line) for cell in column[1:] for line in cell.split("\n")), default=0)
        is_long = letters > _LETTERS_ON_A_LINE[place > 0]
        kinds.append(Markup(f' class="words{" long" if is_long else ""}"' if place in table.words else ""))
    return kinds


def _folded(section: Section, report: Report) -> list[tuple[TextTable, bool]]:
    """Return a section's tables and whether each is folded: only where all of its kind, in any run, are details."""
    runs = sorted(report.reduction.runs, key=len, reverse=True)

    def kind(table: TextTable) -> str:
        title = table.title
        for run in runs:
            title = title.replace(run, "")
        return title

    open_kinds = {kind(table) for table in section.tables if not table.detail}
    return [(table, kind(table) not in open_kinds) for table in section.tables]


def _contents(report: Report) -> list[tuple[str, str]]:
    """Return keys and names of the page's parts, in order."""
    optional = (
        ("findings", "Main findings", report.findings),
        ("view", "The valve at every lift", True),
        ("facts", "Valve, seat and bench", report.facts),
        *((section.key, section.title, True) for section in report.sections),
        ("warnings", "Warnings", report.warnings),
        ("method", "How it was found", report.method),
        ("cautions", "Cautions", report.cautions),
    )
    return [("summary", _SUMMARY), *((key, name) for key, name, there in optional if there)]


def _chart(chart: Chart, styles: ChartStyles) -> dict[str, Any]:
    from markupsafe import Markup

    from portviz.report.page_charts import chart_svg

    return {"title": chart.title, "svg": Markup(chart_svg(chart, styles))}


def _pictures(report: Report, drawn: dict[int, bytes], styles: ChartStyles) -> tuple[list[dict[str, Any]], Any]:
    """Return the runs' pictures, and the flat section where there are none."""
    from markupsafe import Markup

    from portviz.report.page_charts import chart_svg

    reduction = report.reduction
    found = []
    for run in report.runs:
        if run not in drawn:
            continue
        group = reduction.groups_of(run).stop - 1
        width, height = picture_size(drawn[run])
        where = f"{reduction.runs[run]}, lift {lift_text(reduction.job, float(reduction.lift[group]))}"
        found.append(
            {
                "source": _data_address(drawn[run]),
                "width": width,
                "height": height,
                "alt": f"Valve and head cut open, curtain coloured by velocity, arrows at the stations: {where}",
                "caption": f"{where}, its greatest measured lift",
            }
        )
    if found:
        return found, ""
    from portviz.scene.plots import plot_section

    section = Chart(
        "flat", "Valve and seat in section", "Dimensions as in the tables.", lambda: plot_section(reduction.job)
    )
    return [], Markup(f'<div class="chart">{chart_svg(section, styles)}</div>')


def colour_bar(colours: ColourRange, stops: list[list[Any]]) -> Markup:
    """Return the scale of colours with its numbers."""
    from markupsafe import Markup

    left, wide = 14.0, 392.0
    parts = "".join(f'<stop offset="{part:.4f}" stop-color="{colour}"/>' for part, colour in stops)
    step = (colours.high - colours.low) / colours.steps
    marks = []
    for place in range(colours.steps + 1):
        x = left + wide * place / colours.steps
        value = f"{colours.low + place * step:z.{colours.decimals}f}"
        marks.append(
            f'<path class="grid" d="M{x:.2f} 14v4"/><text x="{x:.2f}" y="30" text-anchor="middle">{value}</text>'
        )
    title = f"Scale of colours from {colours.low:g} to {colours.high:g}, dark blue over green to yellow"
    return Markup(
        f'<svg viewBox="0 0 420 34" role="img" aria-label="{title}"><defs><linearGradient id="scale">{parts}'
        f'</linearGradient></defs><rect x="{left}" width="{wide}" height="14" fill="url(#scale)"/>'
        f"{''.join(marks)}</svg>"
    )


def content_policy(scripts: Iterable[str], styles: Iterable[str]) -> str:
    """Return the content policy of a page: these scripts and styles, pictures that it holds itself, nothing else."""
    return "; ".join(
        (
            "default-src 'none'",
            f"script-src {' '.join(map(_hash, scripts))}",
            f"style-src {' '.join(map(_hash, styles))}",
            "img-src data:",
            "base-uri 'none'",
            "form-action 'none'",
        )
    )


def _hash(content: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(content.encode()).digest()).decode()}'"


def script_data(document: object) -> Markup:
    """Return a document as JSON that a page can hold: no letter in it ends or opens a tag."""
    from markupsafe import Markup

    text = json.dumps(document, separators=(",", ":"), allow_nan=False)
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def _data_address(png: bytes) -> str:
    return f"data:image/png;base64,{base64.b64encode(png).decode('ascii')}"


def _part(name: str) -> str:
    return (files("portviz.report") / "templates" / name).read_text(encoding="utf-8")


def _vendored(name: str) -> str:
    return (files("portviz.report") / "vendor" / name).read_text(encoding="utf-8")
