"""The lift curve: a small flat chart of lift against crank angle in a view, with a mark at the present position."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pyvista as pv
from vtkmodules.vtkRenderingCore import vtkActor2D, vtkCoordinate, vtkPolyDataMapper2D

from portviz.distribution.cam_event import CamEvent
from portviz.geometry.dimensions import Mask
from portviz.job.model import Array, Job
from portviz.job.words import lift_text
from portviz.scene.colours import INK, NO_DATA, REFERENCE
from portviz.scene.scene import Scene
from portviz.scene.text import new_text

_AXIS_COLOUR = "#8a8a84"
_TYPE = 12
#: A line of words over the size of its type.
LINE_PITCH = 1.3
#: Length of a tick, radius of the mark [pixels at plain size].
_TICK, _MARK = 6.0, 7.0
_MARK_CORNERS = 24
#: No curve is drawn lower than this [pixels at plain size].
_LEAST_HEIGHT = 34.0


class Box(NamedTuple):
    """A place in a view [pixels], from its lower left corner."""

    left: float
    bottom: float
    width: float
    height: float


def curve_course(event: CamEvent, low: float, high: float) -> tuple[Array, Array, Mask]:
    """Return the lift curve's corners, also where it crosses the least and the greatest measured lift.

    Parameters
    ----------
    event : CamEvent
    low, high : float
        Least and greatest lift at which the field is known [m].

    Returns
    -------
    crank_deg, lift : ndarray, shape (M,)
        [deg], [m].
    known : ndarray of bool, shape (M - 1,)
        True for the pieces between corners that lie within the measured lifts.
    """
    crank, lift = event.crank_deg, event.lift
    places = [crank]
    for level in (low, high):
        before, after = lift[:-1] - level, lift[1:] - level
        at = np.flatnonzero(before * after < 0.0)
        part = before[at] / (before[at] - after[at])
        places.append(crank[at] + part * (crank[at + 1] - crank[at]))
    corners = np.unique(np.concatenate(places))
    lifts = event.lift_at(corners)
    middle = event.lift_at(0.5 * (corners[1:] + corners[:-1]))
    return corners, lifts, np.asarray((middle >= low) & (middle <= high))


def opening_flank_deg(event: CamEvent, lift: float) -> float | None:
    """Return the first crank angle [deg] at which the valve stands at a lift [m]; None beyond the peak."""
    if lift > event.peak_lift * (1.0 + 1e-9):
        return None
    after = int(np.argmax(event.lift >= lift * (1.0 - 1e-9)))
    if after == 0:
        return event.opening_deg
    ends = slice(after - 1, after + 1)
    return float(np.interp(lift, event.lift[ends], event.crank_deg[ends]))


class LiftCurve:
    """The curve as flat actors over a scene, drawn in pixels.

    Parameters
    ----------
    scene : Scene
    event : CamEvent
    """

    def __init__(self, scene: Scene, event: CamEvent) -> None:
        self.scene = scene
        self.event = event
        self.crank_deg: float | None = None
        #: Where the curve itself is drawn [pixels].
        self.frame = Box(0.0, 0.0, 1.0, 1.0)
        self._wanted = self._fits = True
        self._measured: Array = np.empty(0)
        self.meshes = {name: pv.PolyData() for name in ("axis", "ticks", "unknown", "known", "drop", "mark")}
        looks = {"axis": (_AXIS_COLOUR, 1.0), "ticks": (INK, 1.5), "unknown": (NO_DATA, 2.5), "known": (INK, 2.0)}
        looks |= {"drop": (REFERENCE, 1.5), "mark": (REFERENCE, 1.0)}
        self._flat = {name: self._add_flat(mesh, *looks[name]) for name, mesh in self.meshes.items()}
        self._texts = {name: self._add_text(*places) for name, places in _PLACES.items()}
        for name, words in curve_words(scene.job, event).items():
            self._texts[name].input = words

    def _add_flat(self, mesh: pv.PolyData, color: str, width: float) -> Any:
        pixels = vtkCoordinate()
        pixels.SetCoordinateSystemToViewport()
        mapper = vtkPolyDataMapper2D()
        mapper.SetInputData(mesh)
        mapper.SetTransformCoordinate(pixels)
        # Without this VTK moves each corner to a whole pixel, and the curve wobbles.
        mapper.TransformCoordinateUseDoubleOn()
        actor = vtkActor2D()
        actor.SetMapper(mapper)
        actor.GetProperty().SetColor(*pv.Color(color).float_rgb)
        actor.GetProperty().SetLineWidth(width)
        self.scene.plotter.add_actor(actor, reset_camera=False)
        return actor

    def _add_text(self, across: str, along: str) -> pv.Text:
        text = new_text(INK, across, along)
        text.GetPositionCoordinate().SetCoordinateSystemToViewport()
        self.scene.add_sized(text.prop, _TYPE)
        self.scene.plotter.add_actor(text, reset_camera=False)
        return text

    def frame_in(self, box: Box) -> Box:
        """Return where the curve itself stands in a box, between its words."""
        pitch = self.scene.size.pixels(_TYPE) * LINE_PITCH
        above = pitch * (self._texts["peak"].input.count("\n") + 1)
        tick, mark = _TICK * self.scene.size.scale, _MARK * self.scene.size.scale
        bottom = box.bottom + pitch + 0.6 * mark
        height = box.bottom + box.height - above - 1.2 * mark - bottom
        return Box(box.left + tick, bottom, box.width - 2.0 * tick, height)

    def fits(self, box: Box) -> bool:
        """Tell if a box is high enough for the curve."""
        return self.frame_in(box).height >= _LEAST_HEIGHT * self.scene.size.scale

    def place(self, box: Box) -> None:
        """Set the curve and its words into a box; where it is too low for them they are hidden."""
        self.frame = self.frame_in(box)
        self._fits = self.fits(box)
        self._set_visibility()
        if not self._fits:
            return
        frame = self.frame
        for name, x, y in (
            ("opens", box.left, box.bottom),
            ("closes", box.left + box.width, box.bottom),
            ("peak", box.left + 0.5 * box.width, box.bottom + box.height),
        ):
            self._texts[name].GetPositionCoordinate().SetValue(x, y, 0.0)
        ends = np.array([[frame.left, frame.bottom], [frame.left + frame.width, frame.bottom]])
        up = np.array([[frame.left, frame.bottom], [frame.left, frame.bottom + frame.height]])
        _set_lines(self.meshes["axis"], np.concatenate([ends, up]))
        self.show_measured(self._measured)
        self.mark(self.crank_deg)

    def pixels(self, crank_deg: Array, lift: Array) -> Array:
        """Return where points of the curve [deg], [m] stand in the view [pixels], shape (..., 2)."""
        x = (np.asarray(crank_deg) - self.event.opening_deg) / self.event.duration_deg
        y = np.asarray(lift) / self.event.peak_lift
        frame = self.frame
        return np.stack([frame.left + x * frame.width, frame.bottom + y * frame.height], axis=-1)

    def show_measured(self, lifts: Array) -> None:
        """Show measured lifts [m] as ticks, and as grey what of the curve lies below and above them."""
        self._measured = lifts
        low, high = (float(lifts[0]), float(lifts[-1])) if lifts.size else (np.inf, -np.inf)
        crank, lift, known = curve_course(self.event, low, high)
        points = self.pixels(crank, lift)
        pieces = np.stack([points[:-1], points[1:]], axis=1)
        _set_lines(self.meshes["known"], pieces[known].reshape(-1, 2))
        _set_lines(self.meshes["unknown"], pieces[~known].reshape(-1, 2))
        within = lifts[lifts <= self.event.peak_lift]
        ticks = self.pixels(np.full(within.shape, self.event.opening_deg), within)
        length = [_TICK * self.scene.size.scale, 0.0]
        _set_lines(self.meshes["ticks"], np.stack([ticks - length, ticks], axis=1).reshape(-1, 2))

    def mark(self, crank_deg: float | None) -> None:
        """Set the mark at a crank angle [deg], or leave it out."""
        self.crank_deg = crank_deg
        self._set_visibility()
        if crank_deg is None:
            return
        at = self.pixels(np.array(crank_deg), self.event.lift_at(crank_deg))
        turn = np.linspace(0.0, 2.0 * np.pi, _MARK_CORNERS, endpoint=False)
        disc = at + _MARK * self.scene.size.scale * np.stack([np.cos(turn), np.sin(turn)], axis=1)
        _set_lines(self.meshes["drop"], np.stack([[at[0], self.frame.bottom], at]))
        _set_points(self.meshes["mark"], disc, faces=[_MARK_CORNERS, *range(_MARK_CORNERS)])

    def show(self, wanted: bool) -> None:
        """Show the curve where it fits, or hide it."""
        self._wanted = wanted
        self._set_visibility()

    def _set_visibility(self) -> None:
        visible = self.visible
        for name, actor in self._flat.items():
            actor.SetVisibility(visible and (name not in ("drop", "mark") or self.crank_deg is not None))
        for text in self._texts.values():
            text.SetVisibility(visible)

    @property
    def visible(self) -> bool:
        """True where the curve is wanted and fits."""
        return self._wanted and self._fits


#: How each text is set about its place.
_PLACES = {"opens": ("left", "bottom"), "closes": ("right", "bottom"), "peak": ("center", "top")}


def curve_words(job: Job, event: CamEvent) -> dict[str, str]:
    """Return what stands at the curve's ends and over its peak."""
    assumed = "curve assumed from a cam card\n" if event.assumed else ""
    return {
        "opens": f"opens {_degrees(event.opening_deg)}",
        "closes": f"closes {_degrees(event.closing_deg)}",
        "peak": f"{assumed}peak {lift_text(job, event.peak_lift)} at {_degrees(event.peak_deg)}",
    }


def _degrees(angle_deg: float) -> str:
    return f"{round(angle_deg, 1):g}°"


def _set_lines(mesh: pv.PolyData, ends: Array) -> None:
    """Make a mesh of lines, each between two points after one another."""
    _set_points(mesh, ends, lines=np.insert(np.arange(len(ends)).reshape(-1, 2), 0, 2, axis=1).ravel())


def _set_points(mesh: pv.PolyData, flat: Array, **cells: Any) -> None:
    points = np.column_stack([flat, np.zeros(len(flat))])
    if mesh.n_points == len(points):
        mesh.points[:] = points
        mesh.GetPoints().Modified()
        mesh.Modified()
    else:
        mesh.copy_from(pv.PolyData(points, **cells) if len(points) else pv.PolyData())
