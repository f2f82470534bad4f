"""The dial: the curtain laid flat as seen from the cylinder, so that all stations are seen at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pyvista as pv
from vtkmodules.vtkRenderingCore import vtkRenderer

from portviz.job.model import Array
from portviz.scene import shapes
from portviz.scene.colours import INK, JET, REFERENCE
from portviz.scene.text import new_text, place_in_view, place_in_world

_OUTER, _INNER = 1.0, 0.74
#: The bias whose arrow reaches the ring [-]; larger ones, which are rare, end there too.
_BIAS_AT_RING = 0.5
_HALF_HEIGHT = 1.42
#: Where the dial stands, as parts of the view's width and height.
_DIAL_LEFT, DIAL_BOTTOM = 0.008, 0.36
#: Between ring, angles and pointer, and how long the pointer is [pixels, dial's unit].
_CLEAR, _POINTER = 4.0, 0.12
#: Widths of a digit and of the sign for degrees over the size of the type.
_DIGIT_WIDTH, _DEGREE_WIDTH = 0.64, 0.5


def dial_side(window_size: Sequence[int]) -> float:
    """Return the dial's width and height in a window of a width and height [pixels]."""
    return min(0.32 * window_size[1], 0.2 * window_size[0])


def _label_width(text: pv.Text) -> float:
    """Return how wide an angle's label is [pixels]."""
    return float(((len(text.input) - 1) * _DIGIT_WIDTH + _DEGREE_WIDTH) * text.prop.font_size)


def _flat(radius: npt.ArrayLike, angle_deg: npt.ArrayLike) -> Array:
    """Return points (..., 3) in the dial's plane: station 0 to the right, anticlockwise."""
    radius, angle = np.broadcast_arrays(np.asarray(radius, dtype=float), np.radians(angle_deg))
    return np.stack([radius * np.cos(angle), radius * np.sin(angle), np.zeros_like(angle)], axis=-1)


class Dial:
    """A small flat ring beside the model, in a renderer of its own.

    Parameters
    ----------
    plotter : pyvista.Plotter
        Whose window it is drawn in.
    curtain : pyvista.PolyData
        Its faces and its field are shared.
    hatch : pyvista.PolyData
        With room for the ring's hatching.
    angles_deg, circle_deg : ndarray
        Angles of the curtain's columns and of the stations [deg].
    add_sized : callable
        Lets the type of a text property follow the view's size: called with the property and its plain size.
    """

    def __init__(
        self,
        plotter: pv.Plotter,
        curtain: pv.PolyData,
        hatch: pv.PolyData,
        angles_deg: Array,
        circle_deg: Array,
        add_sized: Callable[[Any, int], None],
    ) -> None:
        self._circle = circle_deg
        #: Every mesh drawn with its look, in order.
        self.drawn: list[tuple[pv.PolyData, dict[str, Any]]] = []
        self.actors: list[Any] = []
        self.renderer = vtkRenderer()
        self.renderer.SetLayer(1)
        self.renderer.SetInteractive(False)
        plotter.render_window.SetNumberOfLayers(2)
        plotter.render_window.AddRenderer(self.renderer)
        camera = self.renderer.GetActiveCamera()
        camera.ParallelProjectionOn()
        camera.SetParallelScale(_HALF_HEIGHT)
        camera.SetPosition(0.0, 0.0, 5.0)

        rows = np.linspace(_OUTER, _INNER, shapes.CURTAIN_ROWS)
        self._grid = _flat(rows, np.asarray(angles_deg)[:, None]).reshape(-1, 3)
        self.ring = pv.PolyData(self._grid, curtain.faces)
        self.ring.GetPointData().SetScalars(curtain.GetPointData().GetScalars())
        self.ring_mapper = self._add(self.ring).mapper
        self.hatch = hatch
        self._add(self.hatch, color="white", line_width=1.0)

        radius = min(0.06, 0.3 * 2.0 * np.pi * _INNER / len(circle_deg))
        corner = _flat(radius, np.arange(0.0, 360.0, 30.0))
        self._dot = corner
        count, corners = len(circle_deg), len(corner)
        faces = np.insert(np.arange(count * corners).reshape(count, corners), 0, corners, axis=1)
        self.dots = pv.PolyData(np.zeros((count * corners, 3)), faces.ravel())
        self._add(self.dots, color="white", show_edges=True, edge_color=INK)
        self.bias = pv.PolyData(np.zeros((4, 3)), lines=[2, 0, 1, 3, 2, 1, 3])
        self.bias_actor = self._add(self.bias, color=JET, line_width=3)
        self._add(pv.PolyData([0.0, 0.0, 0.0]), color=JET, point_size=5)
        self.pointer = pv.PolyData(np.zeros((3, 3)), [3, 0, 1, 2])
        self._add(self.pointer, color=REFERENCE)
        self.angles = {}
        for angle in (0.0, 90.0, 180.0, 270.0):
            self.angles[angle] = text = new_text(INK, "center", "center")
            add_sized(text.prop, 12)
            text.input = f"{angle:g}°"
            self._show(text)
        # Not in the dial's own renderer, which would cut its words at the edge.
        self.caption = new_text(INK, "center", "top")
        add_sized(self.caption.prop, 12)
        self.actors.append(self.caption)
        plotter.add_actor(self.caption, reset_camera=False)

    def _add(self, mesh: pv.PolyData, **look: Any) -> pv.Actor:
        self.drawn.append((mesh, look))
        actor = pv.Actor(mapper=pv.DataSetMapper(mesh), prop=pv.Property(lighting=False, **look))
        self._show(actor)
        return actor

    def _show(self, actor: Any) -> None:
        self.actors.append(actor)
        self.renderer.AddViewProp(actor)

    def place(self, window_size: Sequence[int]) -> None:
        """Set the dial's place in a window of a width and height [pixels], its angles clear of the ring."""
        width, height = window_size
        side = dial_side(window_size)
        unit = 0.5 * side / _HALF_HEIGHT
        # In a small window type is larger beside the ring, and its angles need more room than the ring leaves.
        broad = max(side, 2.0 * (unit * _OUTER + _CLEAR + _label_width(self.angles[180.0]) + 1.0))
        left, bottom = _DIAL_LEFT, DIAL_BOTTOM
        self.renderer.SetViewport(left, bottom, left + broad / width, bottom + side / height)
        place_in_view(self.caption, (left + broad / width / 2.0, bottom + 0.01))
        for angle, text in self.angles.items():
            half = 0.5 * (_label_width(text) if angle in (0.0, 180.0) else text.prop.font_size)
            place_in_world(text, _flat(_OUTER + (_CLEAR + half) / unit, angle))
        start = _OUTER + (2.0 * _CLEAR + _label_width(self.angles[0.0])) / unit
        tip, half = [start + _POINTER, 0.0, 0.0], 0.5 * _POINTER
        self.pointer.points[:] = [tip, [start, half, 0.0], [start, -half, 0.0]]
        self.pointer.GetPoints().Modified()
        self.pointer.Modified()

    def update(
        self, read: npt.NDArray[np.bool_], far: npt.NDArray[np.bool_], bias: complex | None, name: str = "bias"
    ) -> None:
        """Show other measured stations, far places and bias; the colours follow the curtain's.

        Parameters
        ----------
        read : ndarray of bool, shape (S,)
            Stations measured.
        far : ndarray of bool, shape (A,)
            Columns far from any reading.
        bias : complex or None
            Centroid of the flow shares, or another arrow of its kind [-].
        name : str
            What the arrow stands for.
        """
        middle = _flat((_OUTER + _INNER) / 2.0, self._circle)[:, None]
        self.dots.points[:] = (middle + self._dot * read[:, None, None] + [0.0, 0.0, 0.02]).reshape(-1, 3)
        self.hatch.points[:] = shapes.hatch_points(self._grid, far)
        self.hatch.points[:, 2] = 0.01
        self.bias_actor.prop.opacity = float(bias is not None)
        self.caption.input = "from the cylinder" + (
            "" if bias is None else f";\narrow: {name} (ring: {_BIAS_AT_RING:g} or more)"
        )
        if bias is not None:
            length = min(abs(bias) / _BIAS_AT_RING, 1.0) * _INNER
            along = bias / abs(bias) if bias else 1.0
            barb = 0.09
            shape = np.array([0.0, length, length - barb * (1 + 0.6j), length - barb * (1 - 0.6j)]) * along
            self.bias.points[:] = np.stack([shape.real, shape.imag, np.full(4, 0.03)], axis=1)
        for mesh in (self.dots, self.hatch, self.bias):
            mesh.GetPoints().Modified()
            mesh.Modified()
