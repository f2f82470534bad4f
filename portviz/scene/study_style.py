"""What the panels of a study's figure share: legends, marks and names."""

from __future__ import annotations

from typing import Any

import numpy as np

from portviz.distribution.study import Study
from portviz.job.model import Array
from portviz.scene.colours import BACKGROUND
from portviz.scene.study_data import present_value
from portviz.units import in_unit

LEGEND: dict[str, Any] = {"fontsize": 8, "facecolor": BACKGROUND, "edgecolor": "none", "framealpha": 0.85}
#: Letters of a panel's title across the whole figure.
TITLE_LETTERS = 120
#: A design whose face and seat touch along a line.
CROSS: dict[str, Any] = {"color": "#d55e00", "clip_on": False, "zorder": 5}
KINDS = {"seat width": "length", "contact pressure": "pressure"}
_LONGEST_NAME = 40


def short_name(words: str) -> str:
    """Return words short enough for a legend; one that begins with a line below would be left out of it."""
    short = words if len(words) <= _LONGEST_NAME else f"{words[: _LONGEST_NAME - 1].rstrip()}…"
    return f" {short}" if short.startswith("_") else short


def from_zero(axes: Any) -> None:
    """Let an upright axis begin at zero, with a little room above what is shown."""
    axes.set_ylim(0.0, 1.06 * axes.get_ylim()[1])


def draw_course(axes: Any, value: Array, over: Array) -> None:
    """Draw what belongs to each value of a dimension; points where they can be told apart."""
    marker = "o" if len(value) <= 60 else ""
    axes.plot(value, over, color="#0072b2", linewidth=1.6, marker=marker, markersize=3.5, label="designs")


def mark_present(axes: Any, study: Study, key: str, over: float, unit: str, kind: str) -> None:
    """Mark the present design over its dimension, in a unit of a kind, where both are known."""
    at = present_value(study, key) * in_unit(1.0, unit, kind)
    if np.isfinite([at, over]).all():
        axes.plot(at, over, "D", color="black", markersize=6, label="present", zorder=4)
