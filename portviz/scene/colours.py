"""Colours that flat charts and the 3D scene share. The scale is perceptually uniform and colour-blind safe."""

COLOUR_MAP = "viridis"
BACKGROUND = "#f6f5f1"
INK = "#26282b"
CUT = "#ece3d0"
VALVE = "#a9b4bf"
LEAST = "#c2185b"
