"""Marks in a mesh file beside its parts: a ball at each measured station, and an arrow that points out at station 0."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from portviz.distribution.field import QUANTITIES
from portviz.distribution.frames import FIELD_COLUMNS
from portviz.geometry.revolve import Surface, revolved_solid
from portviz.job.model import Array
from portviz.job.words import reference_words
from portviz.scene import shapes
from portviz.scene.colours import REFERENCE
from portviz.scene.export_parts import Model, Part, rgb
from portviz.scene.state import ViewState
from portviz.scene.words import fitted

BALLS, ARROW = "measured stations", "station 0"
BALL_COLOUR = "#ffffff"
#: Radius of a ball in head radii, and at most this part of the gap's width, but never too small to be seen.
_BALL, _BALL_OF_GAP, _LEAST_BALL = 0.036, 0.42, 0.012
#: Steps round a ball and round the arrow; half as many lead from pole to pole.
_ROUND = 20
#: The arrow's length, where it begins and how high it lies, in radii of the head drawn and of the valve's head.
_LENGTH, _BEGIN, _HEIGHT = 0.3, 1.06, -0.1
#: Corners of an arrow of unit length (r, z), from its foot to its tip.
_PROFILE = np.array([(0.05, 0.0), (0.05, 0.55), (0.16, 0.55), (0.0, 1.0)])


def marked(model: Model) -> Model:
    """Return a model with balls at the stations that were read at its lift, if any, and an arrow at station 0."""
    balls, arrow = _balls(model.state), _arrow(model.state)
    return replace(model, marks=(arrow,) if balls is None else (balls, arrow))


def _balls(state: ViewState) -> Part | None:
    reduction, read = state.reduction, state.stations_read
    if not read.any():
        return None
    part = reduction.stations_of(state.support[0])
    stations = reduction.stations.station[part]
    now = shapes.lift_shapes(reduction.job, reduction.profiles, state.lift, np.zeros(1))
    head = 0.5 * reduction.job.valve.head_diameter
    radius = max(min(_BALL * head, _BALL_OF_GAP * now.gap_width), _LEAST_BALL * head)
    around = np.linspace(np.pi, 0.0, _ROUND // 2 + 1)
    # The poles are on the axis to the last digit.
    chain = radius * np.stack([np.concatenate([[0.0], np.sin(around[1:-1]), [0.0]]), np.cos(around)], axis=1)
    ball = revolved_solid(chain, chain * [0.0, 1.0], count=_ROUND)
    said: dict[str, list[float]] = {"stations_deg": reduction.job.stations.angles_deg[stations].tolist()}
    for name, quantity in QUANTITIES.items():
        values = quantity.values(reduction)[part]
        if np.isfinite(values).all():
            said[FIELD_COLUMNS[name]] = values.tolist()
    surface = _copies(ball, now.markers[stations])
    return Part(BALLS, surface, np.tile(rgb(BALL_COLOUR), (len(surface.points), 1)), said=said)


def _copies(surface: Surface, places: Array) -> Surface:
    """Return a surface at each of N places [m], shape (N, 3)."""
    first = len(surface.points) * np.arange(len(places))[:, None, None]
    return Surface(
        (surface.points + places[:, None]).reshape(-1, 3),
        (surface.quads + first).reshape(-1, 4),
        (surface.triangles + first).reshape(-1, 3),
    )


def _arrow(state: ViewState) -> Part:
    """Return an arrow along +x that begins outside the head."""
    reduction = state.reduction
    head = 0.5 * reduction.job.valve.head_diameter
    begin = _BEGIN * float(shapes.head_solid(reduction.profiles, cut_away=False, count=4).points[:, 0].max())
    made = revolved_solid(_LENGTH * head * _PROFILE, _LENGTH * head * _PROFILE * [0.0, 1.0], count=_ROUND)
    points = made.points[:, [2, 0, 1]] + [begin, 0.0, _HEIGHT * head]
    return Part(
        ARROW,
        Surface(points, made.quads, made.triangles),
        np.tile(rgb(REFERENCE), (len(points), 1)),
        title=ARROW if (faces := reference_words(reduction.job)) is None else f"{ARROW}: {fitted(faces, 80)[0]}",
    )
