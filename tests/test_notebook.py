"""The notebook among the examples is what its script writes, runs to its end, and shows the numbers of the commands."""

from __future__ import annotations

import base64
import contextlib
import io
import json
import re
import runpy
from pathlib import Path
from typing import Any

import nbformat
import numpy as np
import pytest
from nbformat import NotebookNode
from nbformat.v4 import new_code_cell
from PIL import Image

from portviz.__main__ import main

#: Run after the notebook's own cells: what its variables hold, as text.
ASKED = """\
import json
print(json.dumps({"lifts": result.to_dataframe(known).to_dict("list"), "stations": stations.to_dict("list"),
    "changes": by_station.to_dict("list"), "over": over.to_dict("list"), "change": [change, u]}))
"""


@pytest.fixture(scope="module")
def stored(examples: Path) -> NotebookNode:
    return nbformat.read(examples / "sidecar_notebook.ipynb", as_version=4)


@pytest.fixture(scope="module")
def script(examples: Path) -> dict[str, Any]:
    return runpy.run_path(str(examples / "make_notebook.py"))


@pytest.fixture(scope="module")
def fresh(script: dict[str, Any], opengl: bool) -> NotebookNode:
    """The notebook run now, with one cell more."""
    notebook = script["built"]()
    notebook.cells.append(new_code_cell(ASKED))
    found: NotebookNode = script["executed"](notebook)
    return found


@pytest.fixture(scope="module")
def held(fresh: NotebookNode) -> dict[str, Any]:
    """What its variables hold."""
    answer: dict[str, Any] = json.loads(fresh.cells[-1].outputs[0].text)
    return answer


def printed(*arguments: str) -> dict[str, Any]:
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(io.StringIO()):
        assert main([*arguments, "--json"]) == 0
    document: dict[str, Any] = json.loads(out.getvalue())
    return document


def test_the_stored_cells_are_those_of_the_script(stored, script):
    built = script["built"]()
    assert [(cell.cell_type, cell.source) for cell in stored.cells] == [
        (cell.cell_type, cell.source) for cell in built.cells
    ]


def test_it_was_run_from_top_to_bottom_without_a_complaint(stored, examples):
    code = [cell for cell in stored.cells if cell.cell_type == "code"]
    assert [cell.execution_count for cell in code] == list(range(1, len(code) + 1))
    kinds = {output.output_type for cell in code for output in cell.outputs}
    assert kinds == {"stream", "execute_result"}
    assert all(output.get("name", "stdout") == "stdout" for cell in code for output in cell.outputs)
    # Nothing of the machine it was made on.
    assert all(not cell.metadata for cell in stored.cells)
    assert stored.metadata == {
        "kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"},
        "language_info": {"name": "python"},
    }
    assert (examples / "sidecar_notebook.ipynb").stat().st_size < 600_000


def test_it_says_that_its_data_is_invented_and_bids_caution(stored):
    prose = " ".join("\n".join(cell.source for cell in stored.cells if cell.cell_type == "markdown").split())
    assert "**The data here is invented.**" in prose
    assert "licensed practice come before any number on this page" in prose


def test_its_pictures_are_whole(stored):
    sizes = []
    for cell in stored.cells:
        for output in cell.get("outputs", []):
            if "image/png" in output.get("data", {}):
                picture = Image.open(io.BytesIO(base64.b64decode(output.data["image/png"])))
                picture.load()
                sizes.append(picture.size)
    # Six figures seven inches wide at 130 dots an inch, and the scene.
    assert [width for width, _ in sizes].count(910) == 6
    assert sizes.count((960, 600)) == 1


def shown(notebook: NotebookNode) -> list[str]:
    """The texts that its code cells show, in order."""
    return [
        output.text if output.output_type == "stream" else output.data["text/plain"]
        for cell in notebook.cells
        if cell.cell_type == "code"
        for output in cell.outputs
    ]


NUMBER = re.compile(r"[+-]?\d+(?:\.\d+)?(?:e[+-]?\d+)?")


def test_its_stored_outputs_are_what_the_package_says_now(stored, fresh):
    before, now = shown(stored), shown(fresh)[:-1]
    assert len(before) == len(now)
    compared = 0
    for old, new in zip(before, now, strict=True):
        if old.startswith("<"):
            # The name and size of a figure; a picture's own text holds where it lies in memory.
            assert old.split(" at 0x")[0] == new.split(" at 0x")[0]
            continue
        numbers = [np.array([float(each) for each in NUMBER.findall(text)]) for text in (old, new)]
        assert NUMBER.sub("#", " ".join(old.split())) == NUMBER.sub("#", " ".join(new.split()))
        # Shown with three figures or so: one of the last may turn over.
        np.testing.assert_allclose(numbers[0], numbers[1], rtol=1e-3, atol=1.1e-3)
        compared += len(numbers[0])
    assert compared > 150


def test_its_numbers_are_those_of_the_summary(held, examples):
    runs = printed("summary", str(examples / "sidecar_intake"))["runs"]
    lifts = [lift for run in runs for lift in run["lifts"]]
    for key in ("lift_m", "flow_m3_s", "discharge_coefficient", "discharge_coefficient_u", "uniformity_index"):
        np.testing.assert_allclose(held["lifts"][key], [lift[key] for lift in lifts], rtol=1e-12)
    stations = [station for lift in lifts for station in lift["stations"]]
    for key in ("angle_deg", "velocity_m_s", "velocity_m_s_u", "flow_share"):
        np.testing.assert_allclose(held["stations"][key], [each[key] for each in stations], rtol=1e-12)


def test_its_changes_are_those_of_compare_and_event(held, examples):
    folder = str(examples / "sidecar_intake")
    lifts = printed("compare", folder, "as found", "wall relieved")["lifts"]
    velocities = [station["velocity_m_s"] for lift in lifts for station in lift["stations"]]
    assert held["changes"]["velocity_m_s_verdict"] == [each["verdict"] for each in velocities]
    np.testing.assert_allclose(
        held["changes"]["velocity_m_s_difference"], [each["difference"] for each in velocities], rtol=1e-9
    )
    event = printed("event", folder)
    for key in ("mean_flow_m3_s", "bias_magnitude", "bias_angle_deg"):
        np.testing.assert_allclose(held["over"][key], [run[key] for run in event["runs"]], rtol=1e-9)
    flow = event["comparisons"][0]["mean_flow_m3_s"]
    np.testing.assert_allclose(held["change"], [1e3 * flow["difference"], 1e3 * flow["u"]], rtol=1e-9)
