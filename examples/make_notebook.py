"""Write examples/sidecar_notebook.ipynb: the invented sidecar job, from its readings to pictures, run cell by cell.

python examples/make_notebook.py
"""

from __future__ import annotations

import base64
import io
from pathlib import Path

import nbformat
import numpy as np
from nbclient import NotebookClient
from nbformat import NotebookNode
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook
from PIL import Image

HERE = Path(__file__).parent
NOTEBOOK = "sidecar_notebook.ipynb"
SECONDS = 120
#: No pixel of a stored picture may be further off than this, of 255: a palette takes a third of the room.
MOST_OFF = 16

WORDS_AND_CODE = [
    """\
# What the grinder changed: a sidecar's intake port

**The data here is invented.** No bench, head or person stands behind it. Use this page to learn the program, not as a
pattern to grind to.

A porter measured one intake valve of a hill-climb sidecar on a flow bench at eight lifts: the total flow, and the
pressure drop at twelve stations round the valve. First as found, then with the wall of the port relieved. Where does
the air leave the valve, what did the change do, and what do the data *not* show?

To run this yourself, install portviz with its extra for notebooks, from portviz's folder:
`.venv/bin/pip install ".[notebook]"`.
""",
    """\
import portviz

job = portviz.read_job("sidecar_intake")
print(job.title)
print(len(job.stations.angles_deg), "stations; station 0 faces", job.stations.reference)
job.to_dataframe().head(4)
""",
    """\
Each row is one reading. All columns are SI, with the unit in their name: `lift_m` in metres, `reading_pa` in pascals.
Before anything else, let the program look at the readings. A warning is a question to the bench, not a verdict.
""",
    """\
result = portviz.reduce_job(job)
known = portviz.reduction_uncertainty(result)
portviz.reduction_warnings(result) or "nothing to warn of"
""",
    """\
## Flow

The discharge coefficient is the measured flow over what would go through the whole curtain, π × head diameter × lift,
without loss. Columns that end in `_u` are standard uncertainties; where the gauge's accuracy is stated, as here, twice
that covers 95 of 100 cases.
""",
    """\
lifts = result.to_dataframe(known)
lifts["lift_mm"], lifts["flow_l_s"] = 1e3 * lifts["lift_m"], 1e3 * lifts["flow_m3_s"]
lifts.pivot(index="lift_mm", columns="run", values=["flow_l_s", "discharge_coefficient"]).round(3)
""",
    """\
portviz.plot_flow(result, known)
""",
    """\
A bench tells how much air passes, at one steady pressure drop. It does not know the engine's own pressures, waves, heat
or wear, and says nothing on power.

## Round the valve

The same flow can leave the valve evenly or mostly on one side. The rose is seen from the cylinder; its line between the
measured points is interpolated, not measured.
""",
    """\
portviz.plot_velocities(result, known, lift=8e-3)
""",
    """\
The station with the least velocity at each lift. Its neighbour may be as weak: look at the uncertainty beside it.
""",
    """\
stations = result.to_dataframe(known, of="stations")
weakest = stations.loc[stations.groupby(["run", "lift_m"])["velocity_m_s"].idxmin()]
weakest = weakest.assign(lift_mm=1e3 * weakest["lift_m"])
weakest[["run", "lift_mm", "angle_deg", "velocity_m_s", "velocity_m_s_u", "flow_share"]].round(3).reset_index(drop=True)
""",
    """\
All lifts at once, unrolled: dots are measured, what lies between them is interpolated.
""",
    """\
portviz.plot_unrolled(result, "as found")
""",
    """\
Between the measured lifts and stations you can read the field at any place, as an interpolation:
""",
    """\
field = portviz.run_field(result, "as found", quantity="velocity", angles_deg=[0, 15, 30, 45])
field.to_dataframe(lifts=[6e-3, 7e-3]).round(4)
""",
    """\
## What changed

Two runs differ for two reasons: the port changed, and no reading is exact. `compare` sets the first against the second.
It calls a change *higher* or *lower* only where the data show it at 5 %, for all stations of a lift together. *Not
shown* is not the same as no change.
""",
    """\
changes = portviz.compare(result, "as found", "wall relieved", known)
portviz.plot_changes(changes)
""",
    """\
by_station = changes.to_dataframe(of="stations")
by_station["lift_mm"] = 1e3 * by_station["lift_m"]
by_station.groupby("lift_mm")["velocity_m_s_verdict"].value_counts().unstack(fill_value=0)
""",
    """\
## Over the whole lift event

The valve stands still on the bench only. With the cam's lift curve each lift counts for as long as the valve is there.
""",
    """\
events = portviz.lift_event(result, known)
portviz.plot_event(events)
""",
    """\
over = events.to_dataframe()
over["mean_flow_l_s"], over["mean_flow_l_s_u"] = 1e3 * over["mean_flow_m3_s"], 1e3 * over["mean_flow_m3_s_u"]
over[["run", "mean_flow_l_s", "mean_flow_l_s_u", "bias_magnitude", "bias_angle_deg"]].round(3)
""",
    """\
flow = portviz.compare_events(events, "as found", "wall relieved").values["mean_flow"]
change, u = 1e3 * flow.difference[0], 1e3 * flow.u[0]
print(f"mean flow over the event: {change:+.2f} l/s, standard uncertainty {u:.2f} l/s: {flow.verdicts[0]}")
""",
    """\
## In plain words

The findings of a customer's report, each of which rests on numbers above:
""",
    """\
import textwrap

compared = [portviz.run_place(result, run) for run in ("as found", "wall relieved")]
facts = portviz.collected_facts(result, compared, uncertainty=known)
for finding in portviz.report_findings(facts):
    print(textwrap.fill(finding.words, 110, initial_indent="- ", subsequent_indent="  "))
""",
    """\
## The valve and its curtain

The colours stand on the curtain, the gap between seat and valve through which the air leaves. Arrows have the measured
velocity's length; their direction is square to the gap, which is not measured.
""",
    """\
from PIL import Image

plotter = portviz.plot_curtain(result, "as found", lift=8e-3)
picture = Image.fromarray(plotter.screenshot())
plotter.close()
picture
""",
    """\
portviz.plot_section(job)
""",
    """\
A narrow seat cools the valve worse, a wide one seals worse; a valve with a thin margin can crack. The limits of the
valve's and the seat's makers, local rules and licensed practice come before any number on this page. Wear eye and
breathing protection when you grind.

## Take it elsewhere

Tables go to any spreadsheet, figures to .png, .pdf or .svg, the curtain with its colours to programs for 3D.
""",
    """\
import tempfile
from pathlib import Path

with tempfile.TemporaryDirectory() as folder:
    stations.to_csv(Path(folder, "stations.csv"), index=False)
    portviz.plot_flow(result, known).savefig(Path(folder, "flow.pdf"))
    portviz.write_mesh(result, "as found", 8e-3, "curtain", Path(folder, "curtain.vtp"))
    print(*sorted(file.name for file in Path(folder).iterdir()))
""",
]


def built() -> NotebookNode:
    """Return the notebook, not run; a text that begins with a capital or a sign is prose, any other code."""
    cells = []
    for number, text in enumerate(WORDS_AND_CODE):
        make = new_markdown_cell if text[0] in "#*" or text[0].isupper() else new_code_cell
        cells.append(make(text.rstrip(), id=f"cell-{number:02d}"))
    kernel = {"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}}
    return new_notebook(cells=cells, metadata={**kernel, "language_info": {"name": "python"}})


def executed(notebook: NotebookNode) -> NotebookNode:
    """Return the notebook with what its cells show, run in the examples' folder; a cell's error is raised."""
    client = NotebookClient(
        notebook,
        timeout=SECONDS,
        kernel_name="python3",
        resources={"metadata": {"path": str(HERE)}},
        record_timing=False,
    )
    client.execute()
    # What belongs to this machine, not to the notebook.
    notebook.metadata["language_info"] = {"name": "python"}
    return notebook


def smaller(picture: str) -> str:
    """Return a picture (base64) with a palette of its own, where that changes no colour that can be seen."""
    image = Image.open(io.BytesIO(base64.b64decode(picture))).convert("RGB")
    reduced = image.quantize(256, Image.Quantize.MAXCOVERAGE, kmeans=3, dither=Image.Dither.NONE)
    off = np.abs(np.asarray(reduced.convert("RGB"), dtype=int) - np.asarray(image, dtype=int)).max()
    made = io.BytesIO()
    (reduced if off <= MOST_OFF else image).save(made, format="png", optimize=True)
    return base64.b64encode(made.getvalue()).decode()


def main() -> None:
    """Run the notebook and write it."""
    notebook = executed(built())
    for cell in notebook.cells:
        for output in cell.get("outputs", []):
            if "image/png" in output.get("data", {}):
                output.data["image/png"] = smaller(output.data["image/png"])
    nbformat.validate(notebook)
    nbformat.write(notebook, HERE / NOTEBOOK)


if __name__ == "__main__":
    main()
