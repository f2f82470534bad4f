"""The scene: living actors for one view, updated in place as lift, run or field change.

Lengths are millimetres here, since VTK's cameras and labels are happier with numbers near one.
"""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
import pyvista as pv
from vtkmodules.vtkCommonCore import vtkLogger

from portviz.geometry.revolve import Surface, on_circle
from portviz.job.model import Array
from portviz.job.words import lift_text
from portviz.scene import shapes
from portviz.scene.colours import BACKGROUND, COLOUR_MAP, CUT, INK, LEAST, VALVE
from portviz.scene.state import FieldStore, ViewState, display_unit
from portviz.units import area_unit, format_quantity, in_unit

MM = 1e3
NO_DATA = "#bdbdb8"
HEAD_COLOUR = "#ddd5c7"
JET_COLOUR = "#1f2a44"
#: Jet length at the greatest velocity, in head radii.
JET_REACH = 0.42


def font_file() -> str | None:
    """Return the path of a font with all our signs, as matplotlib ships it, without importing that."""
    spec = find_spec("matplotlib")
    if spec is None or not spec.submodule_search_locations:
        return None
    path = Path(spec.submodule_search_locations[0]) / "mpl-data" / "fonts" / "ttf" / "DejaVuSans.ttf"
    return str(path) if path.is_file() else None


def to_mesh(surface: Surface, scale: float = MM) -> pv.PolyData:
    """Return a surface as a pyvista mesh, in millimetres."""
    faces = [np.insert(each, 0, each.shape[1], axis=1).ravel() for each in (surface.quads, surface.triangles)]
    return pv.PolyData(surface.points * scale, np.concatenate(faces))


def round_range(low: float, high: float) -> tuple[float, float, int]:
    """Return a range of round numbers round the given one, and the number of round steps in it."""
    step = 10.0 ** np.floor(np.log10((high - low) / 4.0))
    for factor in (1.0, 2.0, 2.5, 5.0, 10.0):
        first, last = np.floor(low / (factor * step)), np.ceil(high / (factor * step))
        if last - first <= 8:
            break
    return float(first * factor * step), float(last * factor * step), int(last - first)


def _copies(template: pv.PolyData, count: int) -> pv.PolyData:
    """Return a mesh with room for `count` copies of a template, whose points are set later."""
    faces = template.triangulate().faces.reshape(-1, 4)
    step = np.array([0, 1, 1, 1]) * template.n_points
    return pv.PolyData(
        np.zeros((count * template.n_points, 3)), np.concatenate([faces + step * copy for copy in range(count)]).ravel()
    )


class Scene:
    """Actors of a view on a plotter.

    Parameters
    ----------
    plotter : pyvista.Plotter
    state : ViewState
        What to show first.
    keys : str
        The key list of a window; empty for a picture.
    """

    def __init__(self, plotter: pv.Plotter, state: ViewState, keys: str = "") -> None:
        self.plotter = plotter
        self.state = state
        self._type_scale = plotter.window_size[1] / 800.0
        #: Every mesh drawn with its options, in order.
        self.drawn: list[tuple[pv.PolyData, dict[str, Any]]] = []
        self.fields = FieldStore(state.reduction)
        self.job = state.reduction.job
        self.profiles = state.reduction.profiles
        self.head_radius = self.job.valve.head_diameter / 2.0 * MM
        self._font = font_file()
        self._top_speed = float(np.nanmax(np.abs(state.reduction.stations.velocity), initial=0.0)) or 1.0
        plotter.set_background(BACKGROUND)
        self._add_solids()
        self._add_curtain()
        self._add_stations()
        self._add_lines()
        self._add_words(keys)
        self.update(state)
        self.look_from(state.camera)

    # Building, once

    def _add_solids(self) -> None:
        head = to_mesh(shapes.head_solid(self.profiles, cut_away=True))
        valve = to_mesh(shapes.valve_solid(self.profiles))
        shine = {"smooth_shading": True, "split_sharp_edges": True, "feature_angle": 20.0}
        self._draw(head, color=HEAD_COLOUR, ambient=0.25, diffuse=0.75, **shine)
        self.valve = self._draw(valve, color=VALVE, ambient=0.2, diffuse=0.7, specular=0.35, specular_power=25, **shine)
        for face in shapes.section_faces(self.profiles):
            self._draw(to_mesh(face), color=CUT, lighting=False)
        for outline in shapes.section_outline(self.profiles):
            line = pv.lines_from_points(outline * MM)
            self._draw(line, color=INK, line_width=1.5)

    def _draw(self, mesh: pv.PolyData, **options: Any) -> Any:
        self.drawn.append((mesh, options))
        return self.plotter.add_mesh(mesh, **options)

    def _add_curtain(self) -> None:
        columns = len(self.fields.angles_deg)
        quads = shapes.curtain_faces(columns)
        points = np.zeros((columns * shapes.CURTAIN_ROWS, 3))
        self.curtain = to_mesh(Surface(points, quads, np.empty((0, 3), dtype=np.intp)))
        self.curtain["field"] = np.zeros(len(points))
        self.curtain_actor = self._draw(
            self.curtain,
            scalars="field",
            cmap=COLOUR_MAP,
            nan_color=NO_DATA,
            lighting=False,
            show_scalar_bar=False,
            interpolate_before_map=True,
        )
        self.bar = self.plotter.add_scalar_bar(
            title=" ",
            mapper=self.curtain_actor.mapper,
            vertical=True,
            position_x=0.915,
            position_y=0.2,
            width=0.06,
            height=0.56,
            n_labels=6,
            fmt="%.3g",
            color=INK,
            title_font_size=round(15 * self._type_scale),
            label_font_size=round(14 * self._type_scale),
        )
        self.bar.SetUnconstrainedFontSize(True)
        for text in (self.bar.GetTitleTextProperty(), self.bar.GetLabelTextProperty()):
            self.set_font(text)

    def _add_stations(self) -> None:
        circle = self.job.stations.circle_deg
        count = len(circle)
        ball = pv.Sphere(radius=0.04 * self.head_radius, theta_resolution=14, phi_resolution=14)
        self._ball = np.asarray(ball.points, dtype=float)
        self.markers = _copies(ball, count)
        self.marker_actor = self._draw(self.markers, color="white", ambient=0.45, diffuse=0.6)
        arrow = pv.Arrow(tip_length=0.32, tip_radius=0.10, shaft_radius=0.038, tip_resolution=16, shaft_resolution=12)
        self._arrow = np.asarray(arrow.points, dtype=float)
        self.jets = _copies(arrow, count)
        self.jet_actor = self._draw(self.jets, color=JET_COLOUR, ambient=0.35, diffuse=0.65)

        ring = 1.62 * self.head_radius
        self.label_texts = [f"{angle:g}°" for angle in self.job.stations.angles_deg]
        self.label_points = on_circle(ring, -0.25 * self.head_radius, circle)
        self._labels(self.label_points, self.label_texts, 15)
        inner, outer = 1.3 * self.head_radius, 1.52 * self.head_radius
        ticks = [
            pv.Line(on_circle(inner, -0.25 * self.head_radius, each), on_circle(outer, -0.25 * self.head_radius, each))
            for each in circle
        ]
        self._draw(pv.merge(ticks), color="#8a8a84", line_width=1)

    def _add_lines(self) -> None:
        self.least = pv.PolyData(np.zeros((4, 3)), lines=np.array([2, 0, 1, 2, 2, 3]))
        self._draw(self.least, color=LEAST, line_width=5, lighting=False)
        z = -0.25 * self.head_radius
        pointer = pv.Arrow(
            start=(1.82 * self.head_radius, 0.0, z),
            direction=(1.0, 0.0, 0.0),
            scale=0.42 * self.head_radius,
            tip_length=0.35,
            tip_radius=0.11,
            shaft_radius=0.035,
        )
        self._draw(pointer, color="#b35c00", ambient=0.4)

    def _labels(self, points: Array, texts: list[str], size: int, color: str = INK) -> None:
        self.plotter.add_point_labels(
            points,
            texts,
            font_size=round(size * self._type_scale),
            text_color=color,
            shape=None,
            show_points=False,
            always_visible=True,
            justification_horizontal="center",
            justification_vertical="center",
            font_file=self._font,
        )

    def _add_words(self, keys: str) -> None:
        self.words = self._text((0.015, 0.98), "left", "top", INK)
        self.legend = self._text((0.985, 0.98), "right", "top", INK)
        self.key_list = self._text((0.015, 0.02), "left", "bottom", "#55585c")
        self.key_list.input = keys

    def _text(self, at: tuple[float, float], across: str, along: str, color: str) -> pv.Text:
        text = pv.Text(" ", position=at)
        text.GetPositionCoordinate().SetCoordinateSystemToNormalizedViewport()
        prop = text.prop
        prop.font_size = round(15 * self._type_scale)
        prop.color = color
        prop.justification_horizontal = across
        prop.justification_vertical = along
        prop.SetLineSpacing(1.25)
        self.set_font(prop)
        self.plotter.add_actor(text, reset_camera=False)
        return text

    def set_font(self, text: Any) -> None:
        """Give a VTK text property our font, upright and plain."""
        if self._font is not None:
            text.SetFontFamily(4)  # VTK_FONT_FILE
            text.SetFontFile(self._font)
        text.SetBold(False)
        text.SetItalic(False)
        text.SetShadow(False)

    # Updating, in place

    def update(self, state: ViewState) -> None:
        """Show another lift, run or quantity: points and scalars of the living actors change."""
        recolour = state.quantity != self.state.quantity or not hasattr(self, "now")
        self.state = state
        angles = self.fields.angles_deg
        self.now = shapes.lift_shapes(self.job, self.profiles, state.lift, angles)
        self.valve.SetPosition(0.0, 0.0, -state.lift * MM)
        self.curtain.points[:] = self.now.curtain * MM
        self.curtain["field"][:] = np.repeat(self.fields.around(state), shapes.CURTAIN_ROWS)
        self.markers.points[:] = (self.now.markers[:, None] * MM + self._ball).reshape(-1, 3)
        self.marker_actor.SetVisibility(state.group is not None)
        speed = self.fields.at_stations(state, "velocity")
        reach = JET_REACH * self.head_radius / MM * speed / self._top_speed
        self.jets.points[:] = shapes.jet_points(self._arrow, self.now, self.job.stations.circle_deg, reach) * MM
        self.jet_actor.SetVisibility(state.covered)
        self.least.points[:] = self.now.least_line * MM
        for mesh in (self.curtain, self.markers, self.jets, self.least):
            mesh.GetPoints().Modified()
            mesh.Modified()
        self.curtain.GetPointData().GetScalars().Modified()
        if recolour:
            self._recolour()
        self.words.input = self._headline()
        self.legend.input = self._passage_words()

    def _recolour(self) -> None:
        what = self.state.what
        low, high, steps = round_range(*self.fields.limits(self.state.quantity))
        self.curtain_actor.mapper.scalar_range = (low, high)
        self.bar.SetNumberOfLabels(steps + 1)
        unit = display_unit(self.state.reduction, what)
        self.bar.SetTitle(f"{what.title}\n{f'[{unit}]' if unit else ''}\n ")

    def _headline(self) -> str:
        state, job, reduction = self.state, self.job, self.state.reduction
        over = state.lift / job.valve.head_diameter
        lines = [
            job.title,
            f"run: {reduction.runs[state.run]}",
            f"lift {lift_text(job, state.lift)}   L/D {over:.3f}   {state.lift_status()}",
        ]
        group = state.group
        if group is not None:
            parts = []
            if np.isfinite(reduction.bench_flow[group]):
                parts.append(f"flow {format_quantity(reduction.bench_flow[group], job.units.flow, 'flow')}")
            if np.isfinite(reduction.discharge_coefficient[group]):
                parts.append(f"discharge coefficient {reduction.discharge_coefficient[group]:.3f}")
            parts.append(f"uniformity {reduction.measures.uniformity_index[group]:.3f}")
            lines.append("   ".join(parts))
        return "\n".join(lines)

    def _passage_words(self) -> str:
        unit, scale = area_unit(self.job.units.length)
        gap, throat = self.now.gap_area * scale, self.now.throat_area * scale
        decimals = 0 if unit == "mm²" else 3
        name = "gap" if self.now.limited_by_gap else "throat"
        speed = in_unit(self._top_speed, self.job.units.velocity, "velocity")
        return (
            f"narrowest: the {name} (red line)\ngap {gap:.{decimals}f} {unit}   throat {throat:.{decimals}f} {unit}\n"
            f"longest arrow {speed:.0f} {self.job.units.velocity}\n"
            f"station 0 (orange arrow): {self.job.stations.reference}"
        )

    def look_from(self, camera: str) -> None:
        """Place the camera by its name."""
        r = self.head_radius
        middle = np.array([0.12, 0.0, 0.02]) * r
        # Stations 0 to 180 lie on the near side of the section, which is y < 0. From the cylinder they
        # run anticlockwise with station 0 on the right; the valve lets the curtain shine through there.
        eye, up = {
            "three-quarter": ((-1.9, -5.7, 2.4), (0, 0, 1)),
            "section": ((0.0, -6.3, 0.9), (0, 0, 1)),
            "cylinder": ((0.0, 0.0, -8.4), (0, -1, 0)),
            "port": ((0.0, 0.0, 8.4), (0, 1, 0)),
        }[camera]
        width, height = self.plotter.window_size
        r *= max(1.0, 1.6 * height / width)
        # A little above the middle, which leaves room for the words and the slider below.
        middle -= 0.12 * r * np.array(up)
        self.valve.prop.opacity = 0.3 if camera == "cylinder" else 1.0
        self.plotter.camera.focal_point = middle
        self.plotter.camera.position = middle + np.array(eye) * r
        self.plotter.camera.up = up
        self.plotter.camera.view_angle = 30.0
        self.plotter.reset_camera_clipping_range()
        self.state = self.state.changed(camera=camera)


def new_plotter(size: tuple[int, int], *, off_screen: bool, software: bool) -> pv.Plotter:
    """Return a plotter; a window's multisampling is off on software OpenGL, where it costs most of a frame."""
    # VTK looks for a screen first and warns where there is none, before it draws without one.
    vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_ERROR)
    plotter = pv.Plotter(off_screen=off_screen, window_size=list(size), title="portviz", lighting="light kit")
    plotter.render_window.SetMultiSamples(0 if software and not off_screen else 4)
    return plotter
