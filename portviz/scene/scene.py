"""The scene: living actors for one view, updated in place as lift, run or field change.

Lengths are millimetres here, since VTK's cameras and labels are happier with numbers near one.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pyvista as pv
from vtkmodules.vtkCommonCore import vtkLogger
from vtkmodules.vtkCommonDataModel import vtkPlane

from portviz.geometry.dimensions import Mask
from portviz.geometry.revolve import Surface, on_circle
from portviz.job.model import Array
from portviz.scene import shapes, words
from portviz.scene.cameras import SIDES, look_from
from portviz.scene.colours import (
    BACKGROUND,
    COLOUR_MAP,
    CUT,
    INK,
    JET,
    JET_INFERRED,
    LEAST,
    NO_DATA,
    REFERENCE,
    VALVE,
)
from portviz.scene.dial import Dial
from portviz.scene.meshes import MM, copies, hatch_mesh, to_mesh
from portviz.scene.state import ColourRange, FieldStore, ViewState, display_limits, display_unit
from portviz.scene.text import TypeSize, new_text, place_in_view, place_in_world, set_font

HEAD_COLOUR = "#ddd5c7"
#: Jet length at the greatest velocity, in head radii.
JET_REACH = 0.42
#: Radius of a ball in head radii, and at most this part of the gap's width, but never too small to be seen.
_BALL, _BALL_OF_GAP, _LEAST_BALL = 0.036, 0.42, 0.012
#: Where the labels stand, in head radii from the axis and from the seat.
_LABEL_RING, _LABEL_HEIGHT = 1.5, -0.25
#: No more labels than this stand round the valve: with more stations, every second, third ... has one.
_MOST_LABELS = 36


class Scene:
    """Actors of a view on a plotter.

    Parameters
    ----------
    plotter : pyvista.Plotter
    state : ViewState
        What to show first.
    """

    def __init__(self, plotter: pv.Plotter, state: ViewState) -> None:
        self.plotter = plotter
        self.state = state
        self.size = TypeSize(plotter.window_size)
        self._sized: list[tuple[Any, int]] = []
        #: Every mesh drawn with its options, in order.
        self.drawn: list[tuple[pv.PolyData, dict[str, Any]]] = []
        self.fields = FieldStore(state.reduction)
        self.job = state.reduction.job
        self.profiles = state.reduction.profiles
        self.head_radius = self.job.valve.head_diameter / 2.0 * MM
        self._top_speed = float(np.nanmax(np.abs(state.reduction.stations.velocity), initial=0.0)) or 1.0
        plotter.set_background(BACKGROUND)
        self._add_solids()
        self._add_curtain()
        self._add_stations()
        self._add_lines()
        self._add_words()
        circle, angles = self.job.stations.circle_deg, self.fields.angles_deg
        self.dial = Dial(plotter, self.curtain, hatch_mesh(len(angles)), angles, circle, self.add_sized)
        self.dial.ring_mapper.lookup_table = self.curtain_actor.mapper.lookup_table
        self.now: shapes.LiftShapes | None = None
        self._hatched = False
        self.resize()
        self.update(state)
        self.look_from(state.camera)

    # Building, once

    def _add_solids(self) -> None:
        shine = {"smooth_shading": True, "split_sharp_edges": True, "feature_angle": 20.0}
        head = to_mesh(shapes.head_solid(self.profiles, cut_away=True))
        self._draw(head, color=HEAD_COLOUR, ambient=0.25, diffuse=0.75, **shine)
        self._draw_section(*shapes.head_section(self.profiles), CUT)
        valve = to_mesh(shapes.valve_solid(self.profiles))
        self.valve = self._draw(valve, color=VALVE, ambient=0.2, diffuse=0.7, specular=0.35, specular_power=25, **shine)
        # In section and from the cylinder the valve would hide the curtain: its cut face or its outline stands for it.
        self.valve_section = self._draw_section(*shapes.valve_section(self.profiles), VALVE)
        self.valve_rings = [
            self._draw(pv.lines_from_points(ring * MM), color=INK, line_width=1.5, lighting=False)
            for ring in shapes.valve_rings(self.profiles)
        ]

    def _draw_section(self, faces: list[Surface], outlines: list[Array], color: str) -> list[Any]:
        actors = [self._draw(to_mesh(face), color=color, lighting=False) for face in faces]
        lines = [pv.lines_from_points(outline * MM) for outline in outlines]
        return actors + [self._draw(line, color=INK, line_width=1.5, lighting=False) for line in lines]

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
        # In section only the curtain's cut edges are shown: what lies behind would seem to fill the passage.
        self.cut = pv.PolyData(np.zeros((4, 3)), lines=np.array([2, 0, 1, 2, 2, 3]))
        self.cut["field"] = np.zeros(4)
        self.cut_actor = self._draw(
            self.cut, scalars="field", lighting=False, show_scalar_bar=False, line_width=9, nan_color=NO_DATA
        )
        self.cut_actor.mapper.lookup_table = self.curtain_actor.mapper.lookup_table
        self.hatch = hatch_mesh(columns)
        self.hatch_actor = self._draw(self.hatch, color="white", line_width=1.5, lighting=False)
        self.hatch_actor.mapper.resolve = "polygon_offset"
        self.bar = self.plotter.add_scalar_bar(
            title=" ",
            mapper=self.curtain_actor.mapper,
            vertical=True,
            position_x=0.91,
            position_y=0.2,
            width=0.06,
            height=0.56,
            color=INK,
        )
        self.bar.SetUnconstrainedFontSize(True)
        for prop, size in ((self.bar.GetTitleTextProperty(), 14), (self.bar.GetLabelTextProperty(), 14)):
            set_font(prop)
            self.add_sized(prop, size)

    def _add_stations(self) -> None:
        circle = self.job.stations.circle_deg
        count = len(circle)
        ball = pv.Sphere(radius=1.0, theta_resolution=14, phi_resolution=14)
        self._ball = np.asarray(ball.points, dtype=float)
        self.markers = copies(ball, count)
        self.marker_actor = self._draw(self.markers, color="white", ambient=0.45, diffuse=0.6)
        arrow = pv.Arrow(tip_length=0.32, tip_radius=0.10, shaft_radius=0.038, tip_resolution=16, shaft_resolution=12)
        self._arrow = np.asarray(arrow.points, dtype=float)
        self.jets, self.inferred_jets = copies(arrow, count), copies(arrow, count)
        self.jet_actors = [
            self._draw(self.jets, color=JET, ambient=0.35, diffuse=0.65),
            self._draw(self.inferred_jets, color=JET_INFERRED, ambient=0.45, diffuse=0.55),
        ]
        self._labels: list[tuple[float, pv.Text]] = []
        every = -(-count // _MOST_LABELS)
        for place in np.argsort(circle)[::every]:
            text = new_text(INK, "center", "center", plate=True)
            self.add_sized(text.prop, 14)
            text.input = f"{self.job.stations.angles_deg[place]:g}°"
            self._labels.append((float(circle[place]), text))
            self.plotter.add_actor(text, reset_camera=False)
        self.leaders = pv.PolyData(
            np.zeros((2 * count, 3)), lines=np.insert(np.arange(2 * count).reshape(-1, 2), 0, 2, axis=1).ravel()
        )
        self._draw(self.leaders, color="#8a8a84", line_width=1, lighting=False)

    def _add_lines(self) -> None:
        self.least = pv.PolyData(np.zeros((4, 3)), lines=np.array([2, 0, 1, 2, 2, 3]))
        self._draw(self.least, color=LEAST, line_width=5, lighting=False)
        pointer = pv.Arrow(
            start=(1.6 * self.head_radius, 0.0, _LABEL_HEIGHT * self.head_radius),
            direction=(1.0, 0.0, 0.0),
            scale=0.3 * self.head_radius,
            tip_length=0.45,
            tip_radius=0.16,
            shaft_radius=0.05,
        )
        self._draw(pointer, color=REFERENCE, ambient=0.4)

    def _add_words(self) -> None:
        self.words = self.add_text((0.015, 0.98), "left", "top", 15)
        self.legend = self.add_text((0.985, 0.98), "right", "top", 15)
        self.footnote = self.add_text((0.985, 0.018), "right", "bottom", 12)
        self.key_list = self.add_text((0.015, 0.018), "left", "bottom", 12)

    def add_text(self, at: tuple[float, float], across: str, along: str, size: int) -> pv.Text:
        """Add a text at a part of the view's width and height, set about that place, of a plain size [pixels]."""
        text = place_in_view(new_text(INK, across, along), at)
        self.add_sized(text.prop, size)
        self.plotter.add_actor(text, reset_camera=False)
        return text

    def add_sized(self, prop: Any, size: int) -> None:
        """Let the type of a VTK text property follow the view's size."""
        self._sized.append((prop, size))
        prop.SetFontSize(self.size.pixels(size))

    def resize(self) -> None:
        """Fit type, dial and what there is room for to the plotter's size."""
        self.size = TypeSize(self.plotter.window_size)
        for prop, size in self._sized:
            prop.SetFontSize(self.size.pixels(size))
        self.dial.place(self.plotter.window_size)
        for each in (self.legend, self.footnote, self.key_list, *self.dial.actors):
            each.SetVisibility(self.size.roomy)
        if self.now is not None:
            self.say_all(self.now)

    # Updating, in place

    def update(self, state: ViewState) -> None:
        """Show another lift, run or quantity: points and scalars of the living actors change."""
        recolour = state.quantity != self.state.quantity or self.now is None
        self.state = state
        self.now = now = shapes.lift_shapes(self.job, self.profiles, state.lift, self.fields.angles_deg)
        for actor in (self.valve, *self.valve_section, *self.valve_rings):
            actor.SetPosition(0.0, 0.0, -state.lift * MM)
        self.curtain.points[:] = now.curtain * MM
        around = self.values_round(state)
        self.curtain["field"][:] = np.repeat(around, shapes.CURTAIN_ROWS)
        columns = now.curtain.reshape(-1, shapes.CURTAIN_ROWS, 3)[[0, 180]]
        self.cut.points[:] = columns[:, [0, -1]].reshape(-1, 3) * MM
        self.cut["field"][:] = np.repeat(around[[0, 180]], 2)
        far = state.far_from_reading(self.fields.angles_deg)
        self._hatched = bool(far.any())
        self.hatch.points[:] = shapes.hatch_points(now.curtain, far) * MM
        self._update_stations(now)
        self._place_labels(now)
        self.least.points[:] = now.least_line * MM
        for mesh in (self.curtain, self.cut, self.hatch, self.markers, self.jets, self.inferred_jets, self.least):
            mesh.GetPoints().Modified()
            mesh.Modified()
        for mesh in (self.curtain, self.cut):
            mesh.GetPointData().GetScalars().Modified()
        self.dial.update(self.stations_to_mark(state), far, self.bias(), self.arrow_name)
        if recolour:
            self.recolour()
        self.say_all(now)

    # What is shown; a scene of another kind shows something else

    #: What the arrow in the dial stands for.
    arrow_name = "bias"

    def file_subject(self) -> str:
        """Return what a picture's file is named after."""
        return f"{self.state.reduction.runs[self.state.run]}-{self.state.quantity}"

    def values_round(self, state: ViewState) -> Array:
        """Return what colours the curtain's columns, in display units, shape (A,); NaN where it is not known."""
        return self.fields.around(state)

    def stations_to_mark(self, state: ViewState) -> Mask:
        """Return which of the job's stations have a ball, shape (S,)."""
        return state.stations_read

    def arrows(self, state: ViewState) -> Array:
        """Return the length of the arrow at each of the job's stations, over that of the longest, shape (S,)."""
        return self.fields.at_stations(state, "velocity") / self._top_speed

    def arrows_measured(self, state: ViewState) -> Mask:
        """Return which of the job's stations have a dark arrow, as the velocity was measured there, shape (S,)."""
        return state.changed(quantity="velocity").stations_read

    def _update_stations(self, now: shapes.LiftShapes) -> None:
        """Show a ball where the field was measured, a dark arrow where the velocity was, pale ones elsewhere."""
        read = self.stations_to_mark(self.state)
        gap = now.gap_width / (self.head_radius / MM)
        radius = self.head_radius * max(min(_BALL, _BALL_OF_GAP * gap), _LEAST_BALL)
        balls = now.markers[:, None] * MM + radius * self._ball * read[:, None, None]
        self.markers.points[:] = balls.reshape(-1, 3)
        reach = JET_REACH * self.head_radius / MM * self.arrows(self.state)
        told = self.arrows_measured(self.state)
        for mesh, shown in ((self.jets, told), (self.inferred_jets, ~told)):
            lengths = np.where(shown, reach, 0.0)
            mesh.points[:] = shapes.jet_points(self._arrow, now, self.job.stations.circle_deg, lengths) * MM

    def say_all(self, now: shapes.LiftShapes) -> None:
        """Say in words what is shown."""
        state, letters = self.state, self.size.letters
        hatched = self._hatched
        known = bool(np.isfinite(self.curtain["field"]).all())
        self.words.input = words.headline(state, letters(0.58 if self.size.roomy else 0.92, 15))
        self.legend.input = words.legend(state, now, letters(0.36, 15))
        self.footnote.input = words.footnote(state, self._top_speed, letters(0.62, 12), hatched=hatched, known=known)

    def say(self, what: str) -> None:
        """Say something in the window, until the view changes."""
        self.footnote.input = what

    def bias(self) -> complex | None:
        """Return the bias measured at this lift; None where there is none, or uneven stations can't tell it."""
        group, reduction = self.state.group, self.state.reduction
        if group is None or not reduction.bias_told[group]:
            return None
        turn = np.exp(1j * np.radians(reduction.bias_angle_deg[group]))
        return complex(reduction.bias_magnitude[group] * turn)

    def recolour(self) -> None:
        """Fit colours and bar to the quantity shown."""
        what = self.state.what
        unit = display_unit(self.state.reduction, what)
        title = what.title.replace(" ", "\n", 1) + f"\n{f'[{unit}]' if unit else ''}"
        known = bool(np.isfinite(what.values(self.state.reduction)).any())
        self.show_range(display_limits(self.state.reduction, what), title, known=known)

    def show_range(self, colours: ColourRange, title: str, *, known: bool) -> None:
        """Set the range of colours and the bar's title; where nothing is known a bar would stand for nothing."""
        for mapper in (self.curtain_actor.mapper, self.cut_actor.mapper, self.dial.ring_mapper):
            mapper.scalar_range = (colours.low, colours.high)
        self.bar.SetNumberOfLabels(colours.steps + 1)
        self.bar.SetLabelFormat(f"%.{colours.decimals}f")
        self.bar.SetVisibility(known)
        self.bar.SetTitle(f"{title}\n ")

    def look_from(self, camera: str) -> None:
        """Place the camera by its name, and show the valve and the labels as it needs them."""
        look_from(self.plotter, camera, self.head_radius, centred=not self.size.roomy)
        self.state = self.state.changed(camera=camera)
        self.valve.SetVisibility(camera in ("three-quarter", "port"))
        for actor in self.valve_section:
            actor.SetVisibility(camera == "section")
        for actor in self.valve_rings:
            actor.SetVisibility(camera == "cylinder")
        self.curtain_actor.SetVisibility(camera != "section")
        self.hatch_actor.SetVisibility(camera != "section")
        self.cut_actor.SetVisibility(camera == "section")
        self._cut(camera == "section")
        if self.now is not None:
            self._place_labels(self.now)
        self.leaders.GetPoints().Modified()
        self.leaders.Modified()
        if self.now is not None:
            self.say_all(self.now)

    def _cut(self, cut: bool) -> None:
        """Leave of balls and arrows those in the section: what lies before and behind it would seem to belong to it."""
        beside = 0.06 * self.head_radius
        for actor in (self.marker_actor, *self.jet_actors):
            actor.mapper.RemoveAllClippingPlanes()
            for side in (-1.0, 1.0) if cut else ():
                plane = vtkPlane()
                plane.SetOrigin(0.0, side * beside, 0.0)
                plane.SetNormal(0.0, -side, 0.0)
                actor.mapper.AddClippingPlane(plane)

    def _place_labels(self, now: shapes.LiftShapes) -> None:
        """Set the stations' labels round the valve; seen from the side those behind stand below their balls."""
        camera, r = self.state.camera, self.head_radius
        circle = self.job.stations.circle_deg
        from_side, cut = camera in ("three-quarter", "section"), camera == "section"
        middle = now.markers[0] * MM
        below = middle[2] - 0.14 * r
        for angle, text in self._labels:
            behind = angle > 180.0 and from_side
            ring, height = (float(np.hypot(*middle[:2])), below) if behind else (_LABEL_RING * r, _LABEL_HEIGHT * r)
            place_in_world(text, on_circle(ring, height, angle))
            text.SetVisibility(not (cut and angle not in (0.0, 180.0)) and not self._behind_stem(angle))
        hidden = (from_side & (circle > 180.0)) | (cut & (circle != 0.0) & (circle != 180.0))
        ends = [on_circle(part * _LABEL_RING * r, _LABEL_HEIGHT * r, circle) for part in (0.82, 0.92)]
        ends[1][hidden] = ends[0][hidden]
        self.leaders.points[:] = np.stack(ends, axis=1).reshape(-1, 3)

    def _behind_stem(self, angle: float) -> bool:
        """Tell if the stem hides a station [deg] in the view cut open."""
        if self.state.camera != "three-quarter":
            return False
        eye = SIDES["three-quarter"].eye
        straight_behind = np.degrees(np.arctan2(eye[1], -eye[0]))
        width = np.degrees(np.arcsin(self.job.valve.stem_diameter / self.job.valve.head_diameter)) + 6.0
        return bool(abs((angle - straight_behind + 180.0) % 360.0 - 180.0) < width)


def new_plotter(size: tuple[int, int], *, off_screen: bool, software: bool) -> pv.Plotter:
    """Return a plotter; a window's multisampling is off on software OpenGL, where it costs most of a frame."""
    # VTK looks for a screen first and warns where there is none, before it draws without one.
    vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_ERROR)
    plotter = pv.Plotter(off_screen=off_screen, window_size=list(size), title="portviz", lighting="light kit")
    plotter.render_window.SetMultiSamples(0 if software and not off_screen else 4)
    return plotter
