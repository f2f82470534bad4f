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
    sizes = [(picture.shape[1], picture.shape[0]) for picture in pictures(stored)]
    # Six figures seven inches wide at 130 dots an inch, and the scene.
    assert [width for width, _ in sizes].count(910) == 6
    assert sizes.count((960, 600)) == 1


STALE = "the stored notebook is stale: run python examples/make_notebook.py, and commit what it writes"


def shown(notebook: NotebookNode) -> list[tuple[str, str]]:
    """The texts that its code cells show, in order, each with its kind: plain, HTML, printed."""
    found = []
    for cell in notebook.cells:
        for output in cell.get("outputs", []):
            if output.output_type == "stream":
                found.append((output.name, output.text))
            else:
                found += [(kind, text) for kind, text in sorted(output.data.items()) if kind.startswith("text/")]
    return found


NUMBER = re.compile(r"\d+(?:\.\d+)?(?:e[+-]?\d+)?")


def same_text(old: str, new: str) -> bool:
    """Tell if texts are the same but for tags, blanks, and one step of the last figure of a number.

    Other processors add up in another order, which may turn the last figure over; where an object lies in memory is
    another each time.
    """
    # How a library sets its tables' tags and blanks is its own affair.
    old, new = (" ".join(re.sub(r" at 0x[0-9a-fA-F]+|<[^>]*>", " ", text).split()) for text in (old, new))
    if NUMBER.sub("#", old) != NUMBER.sub("#", new):
        return False
    return all(
        first == second
        or (len(first) == len(second) and abs(float(first) - float(second)) <= 1.01 * last_figure(first))
        for first, second in zip(NUMBER.findall(old), NUMBER.findall(new), strict=True)
    )


def last_figure(number: str) -> float:
    """The worth of a number's last figure; none in a whole number, which is counted or typed."""
    mantissa, _, power = number.partition("e")
    _, point, decimals = mantissa.partition(".")
    return 10.0 ** (int(power or 0) - len(decimals)) if point else 0.0


def test_the_comparison_of_texts_is_strict():
    assert same_text("<Figure at 0x7f01>: 1.25 l/s", "<Figure at 0x8e02>: 1.26 l/s")
    for other in (
        "1.27 m/s, 3 lifts",
        "1.3 m/s, 3 lifts",
        "1.25 m/s, 4 lifts",
        "-1.25 m/s, 3 lifts",
    ):
        assert not same_text("1.25 m/s, 3 lifts", other)


def test_its_stored_texts_are_what_the_package_says_now(stored, fresh):
    before, now = shown(stored), shown(fresh)[:-1]
    assert [kind for kind, _ in before] == [kind for kind, _ in now], STALE
    for (_, old), (_, new) in zip(before, now, strict=True):
        assert same_text(old, new), f"{STALE}\nstored:\n{old}\nnow:\n{new}"
    assert sum(len(NUMBER.findall(text)) for _, text in before) > 300


def pictures(notebook: NotebookNode) -> list[Any]:
    found = []
    for cell in notebook.cells:
        for output in cell.get("outputs", []):
            if "image/png" in output.get("data", {}):
                with Image.open(io.BytesIO(base64.b64decode(output.data["image/png"]))) as image:
                    found.append(np.asarray(image.convert("RGB"), dtype=int))
    return found


def test_its_stored_pictures_are_what_the_package_draws_now(stored, fresh, script):
    """As a whole: libraries and drivers draw letters and edges each in its own way."""
    before, now = pictures(stored), pictures(fresh)
    assert [picture.shape for picture in before] == [picture.shape for picture in now], STALE
    for old, new in zip(before, now, strict=True):
        assert np.mean(np.abs(old - new).max(axis=2) > 2 * script["MOST_OFF"]) < 0.05, STALE


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
