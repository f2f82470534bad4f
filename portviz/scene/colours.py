"""Colours that flat charts and the 3D scene share. The scale is perceptually uniform and colour-blind safe."""

from __future__ import annotations

from typing import Any

COLOUR_MAP = "viridis"
BACKGROUND = "#f6f5f1"
INK = "#26282b"
CUT = "#ece3d0"
VALVE = "#a9b4bf"
LEAST = "#c2185b"
JET = "#1f2a44"
JET_INFERRED = "#9aa3b5"
REFERENCE = "#b35c00"
NO_DATA = "#bdbdb8"
#: Colours and strokes of runs: told apart by colour-blind readers, and in black and white (after Okabe and Ito).
RUNS: tuple[tuple[str, Any], ...] = (
    ("#0072b2", "-"),
    ("#d55e00", "--"),
    ("#009e73", "-."),
    ("#8c6bb1", ":"),
    ("#56534f", (0, (5, 1, 1, 1, 1, 1))),
)
