"""An independent reference for the geometry: profiles drawn from the definitions, areas by search.

The package is asked for one thing only, whether it takes a design. Random designs come from a pair of
draws, so that the same recipe serves a seeded generator and hypothesis.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from portviz.errors import GeometryError
from portviz.geometry.dimensions import dimensions
from portviz.geometry.profiles import build_profiles

MM = 1e-3
#: Wall parts that belong to the gap; the throat is the other one.
THROAT = "throat"
#: Valve parts that belong to the gap.
NEAR = ("margin", "face", "back cut")


@dataclass(frozen=True)
class Part:
    """A straight part or an arc: p(t) = start + t step + radius (cos, sin)(first + t turn), 0 <= t <= 1."""

    name: str
    start: tuple[float, float]
    step: tuple[float, float]
    radius: float = 0.0
    first: float = 0.0
    turn: float = 0.0

    @property
    def length(self) -> float:
        return math.hypot(*self.step) + self.radius * abs(self.turn)

    def at(self, t: Any) -> np.ndarray:
        t = np.asarray(t, dtype=float)
        angle = self.first + t * self.turn
        r = self.start[0] + t * self.step[0] + self.radius * np.cos(angle)
        z = self.start[1] + t * self.step[1] + self.radius * np.sin(angle)
        return np.stack([r, z], axis=-1)

    def lowered(self, lift: float) -> Part:
        return Part(self.name, (self.start[0], self.start[1] - lift), self.step, self.radius, self.first, self.turn)

    def distance(self, point: np.ndarray) -> float:
        """Shortest distance from a point to the part [m]."""
        if self.radius:
            dr, dz = point[0] - self.start[0], point[1] - self.start[1]
            along = (math.atan2(dz, dr) - self.first) / self.turn if self.turn else 0.0
            # The angle is known but for whole turns.
            along = min((along + n * 2.0 * math.pi / abs(self.turn) for n in (-1, 0, 1)), key=lambda t: abs(t - 0.5))
        else:
            square = self.step[0] ** 2 + self.step[1] ** 2
            to = point - np.array(self.start)
            along = float(np.dot(to, self.step)) / square if square else 0.0
        return float(np.hypot(*(self.at(min(max(along, 0.0), 1.0)) - point)))


def straight(name: str, start: tuple[float, float], end: tuple[float, float]) -> Part:
    return Part(name, start, (end[0] - start[0], end[1] - start[1]))


def wall_parts(design: dict[str, Any]) -> list[Part]:
    """Top cut, seat band, bottom cuts, cone to the throat and throat, as the definitions have them."""
    outer, throat = design["seat_outer_radius"], design["throat_radius"]

    def onward(point: tuple[float, float], length: float, angle: float) -> tuple[float, float]:
        return point[0] - length * math.cos(angle), point[1] + length * math.sin(angle)

    at = (outer, 0.0)
    top = onward(at, -design["top_cut_width"], design["top_cut_angle"])
    parts = [straight("top cut", top, at)]
    end = onward(at, design["seat_width"], design["seat_angle"])
    parts.append(straight("seat band", at, end))
    at, angle = end, math.radians(60.0)
    for number, (cut_angle, width) in enumerate(
        zip(design["bottom_cut_angles"], design["bottom_cut_widths"], strict=True), start=1
    ):
        if width:
            angle = cut_angle
        end = onward(at, min(width, (at[0] - throat) / math.cos(angle)), angle)
        parts.append(straight(f"bottom cut {number}", at, end))
        at = end
    end = (throat, at[1] + (at[0] - throat) * math.tan(angle))
    parts.append(straight("cone to the throat", at, end))
    parts.append(straight(THROAT, end, (throat, end[1] + 3.0 * design["head_radius"])))
    return parts


def valve_parts(design: dict[str, Any]) -> list[Part]:
    """Margin, face, back cut, under-head cone, fillet and stem of the closed valve."""
    head, stem = design["head_radius"], design["stem_radius"]
    face, under = design["face_angle"], design["underhead_angle"]
    rim = (head, 0.0)
    inner = (
        head - design["face_width"] * math.cos(face),
        design["face_width"] * math.sin(face),
    )
    back = (
        inner[0] - design["back_cut_width"] * math.cos(design["back_cut_angle"]),
        inner[1] + design["back_cut_width"] * math.sin(design["back_cut_angle"]),
    )
    # The fillet's centre: one radius off the stem, and one radius off the under-head cone, square to it.
    radius = design["fillet_radius"]
    centre_r = stem + radius
    on_cone = (
        centre_r - radius * math.sin(under),
        back[1] + (back[0] - centre_r + radius * math.sin(under)) * math.tan(under),
    )
    centre = (centre_r, on_cone[1] + radius * math.cos(under))
    on_stem = (stem, centre[1])
    parts = [
        straight("margin", (head, -design["margin"]), rim),
        straight("face", rim, inner),
        straight("back cut", inner, back),
        straight("under-head cone", back, on_cone),
        # From straight below the cone's normal, turning clockwise, to the stem.
        Part("fillet", centre, (0.0, 0.0), radius, -math.pi / 2.0 - under, -(math.pi / 2.0 - under)),
        straight("stem", on_stem, (stem, on_stem[1] + 3.0 * head)),
    ]
    rest = rest_height(design)
    return [part.lowered(-rest) for part in parts]


def rest_height(design: dict[str, Any]) -> float:
    """Height of the face's outer edge when face and band first touch, by trying many radii of the overlap."""
    head, outer = design["head_radius"], design["seat_outer_radius"]
    inner = max(
        head - design["face_width"] * math.cos(design["face_angle"]),
        outer - design["seat_width"] * math.cos(design["seat_angle"]),
    )
    radii = np.linspace(inner, min(head, outer), 101)
    band = (outer - radii) * math.tan(design["seat_angle"])
    face = (head - radii) * math.tan(design["face_angle"])
    return float(np.min(band - face))


def area(wall: Any, valve: Any) -> Any:
    """Lateral area of the frusta between points (..., 2): pi (r1 + r2) slant."""
    return np.pi * (wall[..., 0] + valve[..., 0]) * np.hypot(wall[..., 0] - valve[..., 0], wall[..., 1] - valve[..., 1])


def _pairs(design: dict[str, Any], lift: float) -> list[tuple[Part, Part, bool]]:
    valve = [part.lowered(lift) for part in valve_parts(design)]
    return [
        (wall, other, wall.name != THROAT and other.name in NEAR)
        for wall in wall_parts(design)
        for other in valve
        if (wall.length or wall.name == "top cut") and (other.length or other.name == "margin")
    ]


def sampled_passages(design: dict[str, Any], lift: float, spacing: float) -> tuple[float, float]:
    """Least gap and throat area over all pairs of points that stand at most `spacing` apart on each part."""
    least = {True: math.inf, False: math.inf}
    for wall, valve, is_gap in _pairs(design, lift):
        ends = [part.at(np.linspace(0.0, 1.0, max(math.ceil(part.length / spacing), 1) + 1)) for part in (wall, valve)]
        least[is_gap] = min(least[is_gap], float(np.min(area(ends[0][:, None], ends[1][None, :]))))
    return least[True], least[False]


def searched_passages(design: dict[str, Any], lift: float) -> tuple[float, float]:
    """Least gap and throat area by grids on every pair of parts that close in on their best nodes.

    Besides the grid over both parts, each part is searched alone from the ends of the other: with a gap of
    a hair between nearly parallel parts, a grid over both does not see the bottom of the valley.
    """
    pairs = _pairs(design, lift)
    gap = np.array([pair[2] for pair in pairs])
    numbers = np.array(
        [
            [[p.start[0], p.start[1], p.step[0], p.step[1], p.radius, p.first, p.turn] for p in pair[:2]]
            for pair in pairs
        ]
    )
    square = _close_in(numbers, (41, 41), (0.0, 0.0))
    for end in (0.0, 1.0):
        square = np.minimum(square, _close_in(numbers, (201, 1), (0.0, end)))
        square = np.minimum(square, _close_in(numbers, (1, 201), (end, 0.0)))
    return float(np.pi * np.sqrt(square[gap].min())), float(np.pi * np.sqrt(square[~gap].min()))


def _close_in(numbers: np.ndarray, nodes: tuple[int, int], fixed: tuple[float, float]) -> np.ndarray:
    """Least (area / pi)^2 of each pair (P, 2 sides, 7 numbers); a side with one node stands still at `fixed`."""
    row = np.arange(len(numbers))
    low = np.array([np.full(len(row), 0.0 if count > 1 else at) for count, at in zip(nodes, fixed, strict=True)])
    high = np.array([np.full(len(row), 1.0 if count > 1 else at) for count, at in zip(nodes, fixed, strict=True)])
    best = np.full(len(row), np.inf)
    while np.max(high - low) > 1e-12:
        places, points = [], []
        for side in (0, 1):
            r, z, dr, dz, radius, first, turn = numbers[:, side].T[:, :, None]
            t = low[side][:, None] + (high[side] - low[side])[:, None] * np.linspace(0.0, 1.0, nodes[side])
            angle = first + t * turn
            places.append(t)
            points.append((r + t * dr + radius * np.cos(angle), z + t * dz + radius * np.sin(angle)))
        (wall_r, wall_z), (valve_r, valve_z) = points
        ring = wall_r[:, :, None] + valve_r[:, None, :]
        across = (wall_r[:, :, None] - valve_r[:, None, :]) ** 2 + (wall_z[:, :, None] - valve_z[:, None, :]) ** 2
        square = (ring * ring * across).reshape(len(row), -1)
        node = np.argmin(square, axis=1)
        best = np.minimum(best, square[row, node])
        for side, index in enumerate(np.divmod(node, nodes[1])):
            reach = 2.0 * (high[side] - low[side]) / max(nodes[side] - 1, 1)
            here = places[side][row, index]
            low[side] = np.maximum(here - reach, low[side])
            high[side] = np.minimum(here + reach, high[side])
    return best


Uniform = Callable[[float, float], float]
Whole = Callable[[int, int], int]


def random_design(uniform: Uniform, whole: Whole) -> dict[str, Any]:
    """Return the arguments of a design with every optional part sometimes there, lengths in metres.

    Not every result is a possible valve: the caller drops what the rules refuse.
    """

    def angle(low: float, high: float) -> float:
        return math.radians(uniform(low, high))

    def perhaps(value: float) -> float:
        return value if whole(0, 1) else 0.0

    head = uniform(9.0, 26.0) * MM
    seat_angle = math.radians((30.0, 45.0, 60.0, uniform(25.0, 65.0))[whole(0, 3)])
    seat_width = uniform(0.8, 2.5) * MM
    seat_outer = head + perhaps(uniform(-0.5, 0.4)) * MM
    inner = seat_outer - seat_width * math.cos(seat_angle)
    face_angle = seat_angle + perhaps(angle(-2.0, 2.0))
    underhead = perhaps(angle(1.0, 25.0))
    cuts = whole(0, 3)
    bottom_angles = sorted(angle(math.degrees(seat_angle) + 1.0, 85.0) for _ in range(cuts))
    return {
        "head_radius": head,
        "stem_radius": head * uniform(0.12, 0.28),
        "face_angle": face_angle,
        "face_width": seat_width * uniform(0.7, 1.5),
        "margin": uniform(0.3, 2.0) * MM,
        "back_cut_angle": underhead + (face_angle - underhead) * uniform(0.0, 1.0),
        "back_cut_width": perhaps(uniform(0.2, 2.0)) * MM,
        "underhead_angle": underhead,
        "fillet_radius": perhaps(uniform(0.5, 12.0)) * MM,
        "seat_angle": seat_angle,
        "seat_width": seat_width,
        "seat_outer_radius": seat_outer,
        "top_cut_angle": seat_angle * uniform(0.3, 0.95),
        "top_cut_width": perhaps(uniform(0.3, 2.0)) * MM,
        "bottom_cut_angles": bottom_angles,
        "bottom_cut_widths": [perhaps(uniform(0.2, 2.0)) * MM for _ in range(cuts)],
        "throat_radius": inner * (1.0 - perhaps(uniform(0.0, 0.2))),
    }


def seeded(seed: int) -> tuple[Uniform, Whole]:
    """Return the two draws of a seeded generator."""
    generator = np.random.default_rng(seed)
    return (
        lambda low, high: float(generator.uniform(low, high)),
        lambda low, high: int(generator.integers(low, high, endpoint=True)),
    )


def possible_design(seed: int) -> dict[str, Any]:
    """Return a random design that the rules let pass."""
    for attempt in range(20):
        design = random_design(*seeded(seed + 100_000 * attempt))
        try:
            build_profiles(dimensions(**design))
        except GeometryError:
            continue
        return design
    raise AssertionError("twenty random designs were refused in a row")


@pytest.fixture(scope="session")
def reference() -> SimpleNamespace:
    """The functions of this file, for tests, which can't import it."""
    return SimpleNamespace(
        area=area,
        near=NEAR,
        possible_design=possible_design,
        random_design=random_design,
        rest_height=rest_height,
        sampled_passages=sampled_passages,
        searched_passages=searched_passages,
        seeded=seeded,
        throat=THROAT,
        valve_parts=valve_parts,
        wall_parts=wall_parts,
    )


@pytest.fixture
def plain() -> dict[str, Any]:
    """A design with every argument spelt out and no optional part: change a key, and see."""
    return {
        "head_radius": 20.0 * MM,
        "stem_radius": 3.5 * MM,
        "face_angle": math.radians(45.0),
        "face_width": 2.5 * MM,
        "margin": 1.0 * MM,
        "back_cut_angle": 0.0,
        "back_cut_width": 0.0,
        "underhead_angle": math.radians(15.0),
        "fillet_radius": 0.0,
        "seat_angle": math.radians(45.0),
        "seat_width": 2.0 * MM,
        "seat_outer_radius": 20.0 * MM,
        "top_cut_angle": 0.0,
        "top_cut_width": 0.0,
        "bottom_cut_angles": [],
        "bottom_cut_widths": [],
        "throat_radius": 17.0 * MM,
    }
