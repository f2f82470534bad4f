"""The printed report against matplotlib's own saving of the same charts as pictures, in the same run."""

import io
import time

from portviz.report.build import build_report
from portviz.report.document import document_bytes
from portviz.scene.paper import in_style

#: The promise; a report holds its charts, at the same resolution, and all the rest.
MOST = 2.0


def test_a_document_takes_no_more_than_twice_the_saving_of_its_charts(sidecar):
    """Drawing the charts, laying out and writing within 2 of savefig, at 300 dots an inch, of charts made already.

    Without the pictures of the runs: another process draws those, and how long that takes is OpenGL's affair. With
    them there are fewer charts, since the pictures stand for the fields unrolled.
    """
    report = build_report(sidecar, date="2026-11-25")
    charts = [each for section in report.sections for each in section.charts if not each.detail]

    def saved() -> float:
        with in_style():
            figures = [each.make() for each in charts]
            start = time.perf_counter()
            for figure in figures:
                figure.savefig(io.BytesIO(), format="png", dpi=300)
        return time.perf_counter() - start

    def printed() -> float:
        start = time.perf_counter()
        document_bytes(report, picture=None)
        return time.perf_counter() - start

    # Fonts are read once in a process, by both.
    with in_style():
        charts[0].make().savefig(io.BytesIO(), format="png", dpi=30)
    bare, made = [], []
    while not made or (len(made) < 3 and min(made) > MOST * min(bare)):
        bare.append(saved())
        made.append(printed())
    print(f"\nprinted report / its charts saved = {min(made) / min(bare):.2f} ({len(made)} rounds)")
    assert len(charts) >= 4
    assert min(made) <= MOST * min(bare)
