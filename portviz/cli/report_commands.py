"""Commands for whom it is handed to: findings in plain words, and the report as a page or a printed document."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from portviz.cli.application import AsJson, JobFolder, Overwrite, app
from portviz.cli.arguments import chosen_runs, read_folder, reduced, require_date
from portviz.cli.output import print_json, say, show, warn
from portviz.errors import UsageError, suggestion

if TYPE_CHECKING:
    from portviz.distribution.reduce import Reduction
    from portviz.report.content import Report

REPORT_ENDINGS = (".html", ".pdf")
#: Words on the command line are no longer than those in job.toml.
_LONGEST = 200

SomeRuns = Annotated[
    list[str] | None, Parameter(negative=(), help="A run to tell of; several may be named. Without it, all of them.")
]
Against = Annotated[str | None, Parameter(help="The run that the others are compared with; the first one by default.")]


@app.command
def findings(
    job: JobFolder,
    /,
    *,
    run: SomeRuns = None,
    against: Against = None,
    evidence: Annotated[bool, Parameter(negative=(), help="Tell all that each finding rests on.")] = False,
    json: AsJson = False,
) -> None:
    """Say in plain words what the numbers show, what they do not show, and which readings to distrust."""
    from portviz.report.build import CAUTIONS, collected_facts, report_warnings
    from portviz.report.finding_document import findings_document, findings_text
    from portviz.report.findings import report_findings

    reduction = reduced(read_folder(job))
    runs, first = _runs(reduction, run, against)
    facts = collected_facts(reduction, runs, first)
    found, warnings = report_findings(facts), report_warnings(facts)
    if json:
        print_json(findings_document(facts, found, warnings), warnings)
        return
    warn(warnings)
    show(findings_text(reduction.job.title, found, CAUTIONS, whole=evidence))


@app.command
def report(
    job: JobFolder,
    file: Annotated[Path, Parameter(name="FILE", help="A .html or .pdf file to write.")],
    /,
    *,
    run: SomeRuns = None,
    against: Against = None,
    designs: Annotated[
        Path | None, Parameter(help="Designs to tell of; the designs.toml in the job's folder by default.")
    ] = None,
    date: Annotated[str | None, Parameter(help='The date on it, such as "2026-11-25"; today by default.')] = None,
    shop: Annotated[
        str | None, Parameter(help='The shop\'s name, instead of shop.name in job.toml; "" for none, as below.')
    ] = None,
    address: Annotated[str | None, Parameter(help="Its address.")] = None,
    contact: Annotated[str | None, Parameter(help="What a customer reaches it by.")] = None,
    logo: Annotated[str | None, Parameter(help="Its logo, a .png or .jpg.")] = None,
    customer: Annotated[str | None, Parameter(help="Whom it is for.")] = None,
    head: Annotated[str | None, Parameter(help="Which head or engine it is about.")] = None,
    order: Annotated[str | None, Parameter(help="The shop's number of the work.")] = None,
    overwrite: Overwrite = False,
) -> None:
    """Write what a customer is handed: a page that turns the valve in 3D, or a printed document.

    Shop and customer stand in the sections [shop] and [customer] of job.toml, or are named here. It takes the extra
    report: .venv/bin/pip install ".[report]"
    """
    from portviz.job.write import require_free

    ending = file.suffix.lower()
    if ending not in REPORT_ENDINGS:
        near = suggestion(ending, REPORT_ENDINGS)
        refusal = f"FILE: {file.name!r} must end in {' or '.join(REPORT_ENDINGS)}."
        raise UsageError(" ".join(filter(None, (refusal, near))))
    if date is not None:
        require_date(date)
    words = {"shop": shop, "address": address, "contact": contact, "customer": customer, "head": head, "order": order}
    for option, text in words.items():
        if text is not None and len(text) > _LONGEST:
            raise UsageError(f"{option}: {len(text)} letters are too many; at most {_LONGEST} fit")
    require_free(file, overwrite=overwrite)
    _require_library(ending)
    from contextlib import nullcontext
    from dataclasses import replace
    from datetime import date as calendar

    from portviz.distribution.run_selection import with_runs
    from portviz.report.build import build_report
    from portviz.report.letterhead import letterhead

    read = read_folder(job)
    # What is given empty takes away what job.toml says.
    given = {name: text for name, text in words.items() if text is not None}
    if logo == "":
        given["logo"] = ""
    above = letterhead(read.folder, replace(read.handover, **given), Path(logo) if logo else None)
    reduction = reduced(read)
    runs, first = _runs(reduction, run, against)
    # From here on there are no other runs, for the pictures either.
    wanted = sorted({*runs, *([] if first is None else [first])})
    reduction = with_runs(reduction, wanted)
    runs, first = [wanted.index(each) for each in runs], None if first is None else wanted.index(first)
    if designs is None and (read.folder / "designs.toml").is_file():
        designs = read.folder / "designs.toml"

    def build() -> Report:
        made = build_report(
            reduction,
            date=date or calendar.today().isoformat(),
            letterhead=above,
            runs=runs,
            first=first,
            designs=designs,
        )
        warn(list(made.shop_warnings))
        return made

    from portviz.report.page_pictures import NO_PICTURES, run_pictures

    # The pictures are drawn in a process of their own, meanwhile.
    with run_pictures(reduction, runs if first is None else {first, *runs}) as drawn:
        made = build()
        if ending == ".pdf":
            from portviz.report.document import write_document as write
        else:
            from portviz.report.page import write_page as write
        written = write(made, file, picture=lambda *_: nullcontext(drawn), overwrite=overwrite)
        if not drawn():
            warn([NO_PICTURES])
    say(f"Written: {written}")


def _runs(reduction: Reduction, names: list[str] | None, against: str | None) -> tuple[list[int], int | None]:
    """Return the places of the runs told of, and of the one before."""
    runs = chosen_runs(reduction, None)
    if names is not None:
        runs = list(dict.fromkeys(chosen_runs(reduction, name)[0] for name in names))
    first = None if against is None else chosen_runs(reduction, against, "against")[0]
    if runs == [first] and len(reduction.runs) > 1:
        raise UsageError(f"against: {against!r} can't be compared with itself; name another run")
    return runs, first


def _require_library(ending: str) -> None:
    """Raise UsageError where the library that makes such a report is not installed, before anything is worked out."""
    from importlib.util import find_spec

    missing = [name for name in (("reportlab",) if ending == ".pdf" else ("jinja2",)) if not find_spec(name)]
    if missing:
        raise UsageError(
            f"report: a {ending} file takes {' and '.join(missing)}, not installed here; install portviz with the "
            'extra report: .venv/bin/pip install ".[report]"'
        )
