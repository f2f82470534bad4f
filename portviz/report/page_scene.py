"""The turning view of a report's page: a plotly figure of valve, head and curtain, and the numbers that move it.

All geometry comes from `portviz.scene.shapes`; what runs in the page only puts the arrays of another lift or run in the
place of those shown. Lengths are millimetres. No words from files go into the figure: plotly reads some of them as
markup.
"""

from __future__ import annotations

import base64
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from portviz.distribution.field import QUANTITIES, around_circle
from portviz.distribution.propagation import plus_minus
from portviz.geometry.revolve import on_circle
from portviz.job.model import SAME_LIFT, Array
from portviz.report.content import Report
from portviz.report.page_words import group_rows, group_sentences, lift_words, station_words, unmeasured_words
from portviz.scene import shapes
from portviz.scene.cameras import SIDES
from portviz.scene.colours import COLOUR_MAP, CUT, INK, JET, JET_INFERRED, LEAST, NO_DATA, REFERENCE, VALVE
from portviz.scene.state import ColourRange, ViewState, display_limits
from portviz.units import in_unit

MM = 1e3
_VELOCITY = QUANTITIES["velocity"]
_HEAD_COLOUR = "#ddd5c7"
#: Columns of the curtain round the circle; the last repeats the first.
COLUMNS = 361
#: Jet length at the greatest velocity, and where labels and pointer stand, in head radii.
_REACH, _LABEL_RING, _LABEL_HEIGHT = 0.42, 1.6, -0.34
#: How far beyond the labels the pointer to station 0 begins, and its length, in head radii.
_POINTER_GAP, _POINTER = 0.17, 0.25
#: Radius of a ball in head radii, and at most this part of the gap's width, but never too small to be seen.
_BALL, _BALL_OF_GAP, _LEAST_BALL = 0.036, 0.42, 0.014
#: No more labels than this stand round the valve.
_MOST_LABELS = 24
#: Edges of more than this are drawn sharp [deg].
_SHARP = 20.0
_METAL = {"ambient": 0.5, "diffuse": 0.65, "specular": 0.12, "roughness": 0.55, "fresnel": 0.05}
_LIGHT = {"x": -3e3, "y": -9e3, "z": 8e3}
_FLAT = {"ambient": 1.0, "diffuse": 0.0, "specular": 0.0, "fresnel": 0.0}
#: Names of the traces, in the order in which they stand in the figure.
TRACES = (
    "head",
    "cut faces",
    "outline",
    "valve",
    "curtain",
    "hatching",
    "arrows",
    "pale arrows",
    "stations",
    "narrowest passage",
    "pointer",
)


@dataclass(frozen=True)
class PageScene:
    """The turning view.

    Parameters
    ----------
    figure : dict
        Of the first run at its greatest lift, as plotly.js takes it: `data`, the traces as in `TRACES`, and `layout`.
    moving : dict
        What every lift and run puts in its place, ready for JSON.
    colours : ColourRange
        One scale for all runs and lifts, in display units.
    """

    figure: dict[str, Any]
    moving: dict[str, Any]
    colours: ColourRange


def page_scene(report: Report) -> PageScene:
    """Return the turning view of a report's runs."""
    reduction = report.reduction
    colours = display_limits(reduction, _VELOCITY)
    lifts = shown_lifts(report)
    drawing = _Drawing(report)
    moving: dict[str, Any] = {
        "unit": reduction.job.units.velocity,
        "low": colours.low,
        "high": colours.high,
        "decimals": 1,
        "noData": NO_DATA,
        "colours": colour_stops(),
        "ball": _packed_points(np.asarray(drawing.ball.points)),
        "stations": len(reduction.job.stations.angles_deg),
        "labels": drawing.labels(),
        "rings": drawing.rings(),
        "lifts": [drawing.at_lift(lift) for lift in lifts],
        "runs": [
            {"name": reduction.runs[run], "lifts": [drawing.at_run(run, lift) for lift in lifts]} for run in report.runs
        ],
    }
    greatest = ViewState(reduction, report.runs[0], 0.0, "velocity", "three-quarter").measured_lifts[-1]
    start = int(np.argmin(np.abs(np.array(lifts) - greatest)))
    moving["start"] = start
    return PageScene(
        drawing.figure(moving["lifts"][start], moving["runs"][0]["lifts"][start], colours), moving, colours
    )


def shown_lifts(report: Report) -> list[float]:
    """Return the lifts [m] at which any of the report's runs was measured, ascending."""
    reduction = report.reduction
    groups = np.concatenate([np.array(reduction.groups_of(run)) for run in report.runs])
    lifts = np.unique(reduction.lift[groups])
    return [float(lift) for lift in lifts[np.append(True, np.diff(lifts) > SAME_LIFT)]]


def colour_stops(count: int = 17) -> list[list[Any]]:
    """Return the scale of colours, as plotly takes it."""
    from matplotlib import colormaps
    from matplotlib.colors import to_hex

    return [[float(part), to_hex(colormaps[COLOUR_MAP](float(part)))] for part in np.linspace(0.0, 1.0, count)]


def packed(values: npt.ArrayLike, kind: str = "f4") -> dict[str, str]:
    """Return an array as plotly writes typed arrays into JSON."""
    array = np.ascontiguousarray(values, dtype=np.dtype(kind).newbyteorder("<"))
    return {"dtype": kind, "bdata": base64.b64encode(array.tobytes()).decode("ascii")}


def _packed_points(points: Array) -> dict[str, dict[str, str]]:
    return {axis: packed(points[:, place]) for place, axis in enumerate("xyz")}


def _with_gaps(lines: Iterator[Array] | list[Array]) -> Array:
    """Return lines of points (N, 3), one after another, NaN between them, so that they are drawn apart."""
    gap = np.full((1, 3), np.nan)
    pieces = [piece for line in lines for piece in (line, gap)]
    return np.concatenate(pieces[:-1]) if pieces else np.empty((0, 3))


class _Drawing:
    """What all lifts and runs share."""

    def __init__(self, report: Report) -> None:
        import pyvista as pv

        self.report = report
        self.reduction = report.reduction
        self.job = self.reduction.job
        self.profiles = self.reduction.profiles
        self.radius = self.job.valve.head_diameter / 2.0 * MM
        self.angles = np.linspace(0.0, 360.0, COLUMNS)
        self.speed = in_unit(1.0, self.job.units.velocity, "velocity")
        self.top_speed = float(np.nanmax(np.abs(self.reduction.stations.velocity), initial=0.0)) or 1.0
        arrow = pv.Arrow(tip_length=0.32, tip_radius=0.10, shaft_radius=0.038, tip_resolution=10, shaft_resolution=8)
        self.arrow = arrow.triangulate()
        self.ball = pv.Sphere(radius=1.0, theta_resolution=10, phi_resolution=8)
        self._shapes: dict[float, shapes.LiftShapes] = {}

    def shapes_at(self, lift: float) -> shapes.LiftShapes:
        """Return what moves with the lift, at a lift [m]; made once."""
        if lift not in self._shapes:
            self._shapes[lift] = shapes.lift_shapes(self.job, self.profiles, lift, self.angles)
        return self._shapes[lift]

    # What moves

    def at_lift(self, lift: float) -> dict[str, Any]:
        """Return what all runs share at a lift [m]."""
        now = self.shapes_at(lift)
        ends = now.least_line * MM
        return {
            **lift_words(self.job, lift, now),
            "shift": -lift * MM,
            "ball": self.ball_radius(now),
            "curtain": _packed_points(now.curtain * MM),
            "least": _packed_points(_with_gaps([ends[:2], ends[2:]])),
        }

    def at_run(self, run: int, lift: float) -> dict[str, Any]:
        """Return what is known of a run at a lift [m]: all of it in words, and arrays where it was measured."""
        reduction = self.reduction
        state = ViewState(reduction, run, lift, "velocity", "three-quarter")
        group = state.group
        if group is None:
            return {"says": unmeasured_words(state), "rows": []}
        now, part = self.shapes_at(lift), reduction.stations_of(group)
        angle, velocity = reduction.stations.angle_deg[part], reduction.stations.velocity[part]
        around = around_circle(angle, velocity, self.angles)
        circle, read = self.job.stations.circle_deg, state.stations_read
        far = state.far_from_reading(self.angles)
        jets = around_circle(angle, velocity, circle) / self.top_speed * _REACH * self.radius / MM
        known = {
            "says": group_sentences(self.report, state, group),
            "rows": group_rows(self.report, group),
            "values": packed(around * self.speed),
            "stations": _packed_points(now.markers[reduction.stations.station[part]] * MM),
            "hover": station_words(self.report, group),
            "arrows": self._arrows(now, np.where(read, jets, 0.0)),
            "ring": self._ring(group),
        }
        if not read.all():
            known["paleArrows"] = self._arrows(now, np.where(read, 0.0, jets))
        if far.any():
            known["far"] = np.packbits(far).tolist()
            lines = (shapes.hatch_points(now.curtain, far) * MM).reshape(-1, shapes.CURTAIN_ROWS, 3)
            known["hatching"] = _packed_points(_with_gaps(list(lines[np.ptp(lines, axis=1).any(axis=1)])))
        return known

    def _arrows(self, now: shapes.LiftShapes, lengths: Array) -> dict[str, dict[str, str]]:
        points = shapes.jet_points(
            np.asarray(self.arrow.points, dtype=float), now, self.job.stations.circle_deg, lengths
        )
        return _packed_points(points * MM)

    def ball_radius(self, now: shapes.LiftShapes) -> float:
        """Return the radius of the stations' balls [mm]."""
        gap = now.gap_width * MM / self.radius
        return round(self.radius * max(min(_BALL, _BALL_OF_GAP * gap), _LEAST_BALL), 4)

    def _balls(self, lift: dict[str, Any], run: dict[str, Any]) -> dict[str, Any]:
        """Return the balls of a run at a lift, as the page's script lays them."""
        ball = np.asarray(self.ball.points, dtype=float)
        middle = np.stack([_unpacked(run["stations"][axis]) for axis in "xyz"], axis=1)
        count, read = len(self.job.stations.angles_deg), len(middle)
        # The faces are those of all stations: balls that are not there shrink to a point within the last.
        size = lift["ball"] * (np.arange(count) < read)
        middle = middle[np.minimum(np.arange(count), read - 1)]
        faces = self.ball.faces.reshape(-1, 4)[:, 1:] + np.arange(count)[:, None, None] * len(ball)
        return {
            **_packed_points((middle[:, None] + size[:, None, None] * ball).reshape(-1, 3)),
            **_triangles(faces.reshape(-1, 3)),
            "hovertext": np.repeat(run["hover"], len(ball)).tolist(),
        }

    def _ring(self, group: int) -> dict[str, list[float | None]]:
        part = self.reduction.stations_of(group)
        half = self.report.uncertainty.velocity.take(part)
        freedom = np.full(part.stop - part.start, self.report.uncertainty.readings.freedom[group])
        wide = plus_minus(half, freedom) * self.speed
        return {
            "angle": self.reduction.stations.angle_deg[part].tolist(),
            "value": np.round(self.reduction.stations.velocity[part] * self.speed, 4).tolist(),
            "half": [round(float(each), 4) if np.isfinite(each) else None for each in wide],
        }

    # What stands still, and the figure

    def figure(self, lift: dict[str, Any], run: dict[str, Any], colours: ColourRange) -> dict[str, Any]:
        """Return the figure of a run at a lift."""
        from portviz.scene.meshes import to_mesh

        head = to_mesh(shapes.head_solid(self.profiles, cut_away=True, count=90))
        faces, outlines = shapes.head_section(self.profiles)
        valve = to_mesh(shapes.valve_solid(self.profiles, count=120))
        cut = to_mesh(faces[0]).merge(to_mesh(faces[1]), merge_points=False)
        lines = _with_gaps([outline * MM for outline in outlines])
        quads = shapes.curtain_faces(COLUMNS)
        shift = [0.0, 0.0, lift["shift"]]
        pointer = self._pointer()
        still = {"hoverinfo": "skip", "showlegend": False}
        arrows = {"flatshading": False, "lighting": _METAL, "lightposition": _LIGHT} | still
        none: dict[str, Any] = {axis: [] for axis in "xyz"}
        traces = [
            _trace(
                "mesh3d", **_mesh(head, sharp=True), color=_HEAD_COLOUR, lighting=_METAL, lightposition=_LIGHT, **still
            ),
            _trace("mesh3d", **_mesh(cut), color=CUT, lighting=_FLAT, **still),
            _trace("scatter3d", **_xyz(lines), mode="lines", line={"color": INK, "width": 2}, **still),
            _trace(
                "mesh3d",
                **_mesh(valve, sharp=True, shift=shift),
                color=VALVE,
                lighting=_METAL,
                lightposition=_LIGHT,
                **still,
            ),
            _trace(
                "mesh3d",
                **lift["curtain"],
                **_triangles(np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])),
                intensity=packed(np.repeat(_unpacked(run["values"]), shapes.CURTAIN_ROWS)),
                colorscale=colour_stops(),
                cmin=colours.low,
                cmax=colours.high,
                showscale=False,
                lighting=_FLAT,
                hoverinfo="text",
            ),
            _trace(
                "scatter3d",
                **run.get("hatching", none),
                mode="lines",
                line={"color": "#ffffff", "width": 2},
                **still,
            ),
            _trace("mesh3d", **run["arrows"], **self._arrow_faces(), color=JET, **arrows),
            _trace("mesh3d", **run.get("paleArrows", none), **self._arrow_faces(), color=JET_INFERRED, **arrows),
            _trace(
                "mesh3d",
                **self._balls(lift, run),
                color="#ffffff",
                lighting=_METAL,
                lightposition=_LIGHT,
                hoverinfo="text",
            ),
            _trace("scatter3d", **lift["least"], mode="lines", line={"color": LEAST, "width": 5}, **still),
            _trace("mesh3d", **_mesh(pointer), color=REFERENCE, lighting=_METAL, lightposition=_LIGHT, **still),
        ]
        named = [trace | {"name": name} for trace, name in zip(traces, TRACES, strict=True)]
        return {"data": named, "layout": self._layout([head, valve])}

    def labels(self) -> dict[str, Any]:
        """Return what stands at the stations and where; the page lays it over the view, so that nothing hides it."""
        circle = self.job.stations.circle_deg
        order = np.argsort(circle)[:: -(-len(circle) // _MOST_LABELS)]
        places = on_circle(_LABEL_RING * self.radius, _LABEL_HEIGHT * self.radius, circle[order])
        words = [f"{angle:g}°" for angle in self.job.stations.angles_deg[order]]
        return {"text": words, **{axis: places[:, place].tolist() for place, axis in enumerate("xyz")}}

    def rings(self) -> dict[str, list[Any]]:
        """Return what the page needs to lay labels: circles within the view's edges, and where head and curtain are.

        Circles are radius and height: of the labels, then of what has none. The head is its inner and outer radius, and
        its lowest and highest height; the curtain an inner and an outer radius.
        """
        height, deepest = _LABEL_HEIGHT * self.radius, -self.reduction.lift.max() * MM
        head = shapes.head_solid(self.profiles, cut_away=True, count=2).points * MM
        across = np.hypot(head[:, 0], head[:, 1])
        low, high = float(head[:, 2].min()), float(head[:, 2].max())
        return {
            "labels": [[_LABEL_RING * self.radius, height]],
            "corners": [
                [(_LABEL_RING + _POINTER_GAP + _POINTER) * self.radius, height],
                [float(across.max()), high],
                [self.radius, float(self.profiles.valve[0, 0, 1]) * MM + deepest],
            ],
            "head": [float(across.min()), float(across.max()), low, high],
            "curtain": [0.9 * self.radius, 1.04 * self.radius],
        }

    def _pointer(self) -> Any:
        import pyvista as pv

        start = ((_LABEL_RING + _POINTER_GAP) * self.radius, 0.0, _LABEL_HEIGHT * self.radius)
        sizes = {"tip_length": 0.45, "tip_radius": 0.16, "shaft_radius": 0.05, "scale": _POINTER * self.radius}
        return pv.Arrow(start=start, direction=(1.0, 0.0, 0.0), **sizes)

    def _arrow_faces(self) -> dict[str, dict[str, str]]:
        faces = self.arrow.faces.reshape(-1, 4)[:, 1:]
        step = np.arange(len(self.job.stations.angles_deg))[:, None, None] * self.arrow.n_points
        return _triangles((faces + step).reshape(-1, 3))

    def _layout(self, solids: list[Any]) -> dict[str, Any]:
        """Return axes that no lift goes beyond, without a mark, and the first camera."""
        reach = 2.05 * self.radius
        bottom = min(float(solid.points[:, 2].min()) for solid in solids) - self.reduction.lift.max() * MM
        bottom = min(bottom, _LABEL_HEIGHT * self.radius)
        top = max(float(solid.points[:, 2].max()) for solid in solids)
        low, high = np.array([-reach, -reach, bottom]), np.array([reach, reach, top])
        pad = 0.03 * self.radius
        axes = {
            f"{axis}axis": {"range": [float(low[place]) - pad, float(high[place]) + pad], "visible": False}
            for place, axis in enumerate("xyz")
        }
        span = (high - low + 2.0 * pad) / (2.0 * self.radius)
        eye = np.array(SIDES["three-quarter"].eye)
        eye = eye / np.linalg.norm(eye) * 1.85
        scene = {
            "aspectmode": "manual",
            "aspectratio": dict(zip("xyz", map(float, span), strict=True)),
            "camera": {
                "eye": dict(zip("xyz", map(float, eye), strict=True)),
                "center": {"x": 0.0, "y": 0.0, "z": -0.17},
                "up": {"x": 0, "y": 0, "z": 1},
            },
            # The page turns the view itself: plotly would keep a thumb from scrolling.
            "dragmode": False,
            "bgcolor": "rgba(0,0,0,0)",
            **axes,
        }
        return {
            "scene": scene,
            "margin": {"l": 0, "r": 0, "t": 0, "b": 0},
            "paper_bgcolor": "rgba(0,0,0,0)",
            # What stands on several lines begins at the left, wherever the label hangs.
            "template": {"layout": {"hoverlabel": {"align": "left"}}},
            "showlegend": False,
            "uirevision": "view",
        }


def _trace(kind: str, **options: Any) -> dict[str, Any]:
    return {"type": kind, **options}


def _unpacked(array: dict[str, str]) -> Array:
    return np.frombuffer(base64.b64decode(array["bdata"]), dtype=f"<{array['dtype']}").astype(float)


def _xyz(points: Array) -> dict[str, Any]:
    return _packed_points(np.asarray(points, dtype=float))


def _triangles(faces: npt.NDArray[Any]) -> dict[str, dict[str, str]]:
    kind = "u2" if faces.max(initial=0) < 2**16 else "u4"
    return {axis: packed(faces[:, place], kind) for place, axis in enumerate("ijk")}


def _mesh(mesh: Any, *, sharp: bool = False, shift: Any = (0.0, 0.0, 0.0)) -> dict[str, Any]:
    """Return a pyvista mesh as plotly's arrays; `sharp` parts the points on its edges, so that these stay sharp."""
    if sharp:
        mesh = mesh.compute_normals(cell_normals=False, split_vertices=True, feature_angle=_SHARP)
    mesh = mesh.triangulate()
    return _xyz(np.asarray(mesh.points) + shift) | _triangles(mesh.faces.reshape(-1, 4)[:, 1:])
