"""Designs of a file in the window: a key goes from one to the next, and seat, valve and curtain change in place."""

from __future__ import annotations

import gc
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt
import pyvista as pv

from portviz.geometry.contact import seat_contact
from portviz.geometry.dimensions import Mask
from portviz.geometry.passages import least_passages
from portviz.geometry.profiles import Profiles
from portviz.geometry.revolve import FILLET_POINTS, on_circle, wall_chains
from portviz.job.model import Array
from portviz.job.words import lift_text
from portviz.scene import shapes
from portviz.scene.colours import CUT, INK, VALVE
from portviz.scene.design_set import DesignSet, gap_limits_up_to
from portviz.scene.display import Probe, require_screen
from portviz.scene.meshes import MM
from portviz.scene.scene import HEAD_COLOUR, Scene, new_plotter
from portviz.scene.state import ViewState
from portviz.scene.window import FIELD_KEYS, Window, show_until_closed
from portviz.scene.words import file_words, fitted, packed
from portviz.units import area_unit

#: Why the event is not played here.
NO_EVENT = "no event to play beside designs; without --designs it can be played"
#: Strips of a surface that meet at less than this are one smooth surface [rad].
_SMOOTH = np.radians(20.0)
#: How far the cut faces and their outlines stand before the section [m].
_FACE, _OUTLINE = 2e-5, 4e-5
_STEPS = 180
#: The first runs have a key each, as in the window: 1 to 9.
_MOST_RUN_KEYS = 9
#: What a key says that chooses a run or a field of a design that was not measured.
PRESENT_ONLY = "runs and fields were measured with the present seat only; b and n go back to it"


@dataclass(frozen=True)
class NotMeasured(ViewState):
    """The state of a design of which nothing was measured: no field, no station, no bias."""

    @property
    def group(self) -> int | None:
        """No group of readings."""
        return None

    @property
    def support(self) -> tuple[int, ...]:
        """No group that a field could stem from."""
        return ()

    @property
    def stations_read(self) -> Mask:
        """Return no station, shape (S,)."""
        return np.zeros(len(self.reduction.job.stations.angles_deg), dtype=bool)

    def lift_status(self) -> str:
        """Return that nothing was measured."""
        return "not measured"


def turned_faces(corners: int, rows: int) -> npt.NDArray[np.intp]:
    """Return the faces of a turned line of so many corners for a PolyData, each strip with points of its own."""
    strip = np.arange(2 * rows).reshape(rows, 2)
    quads = np.stack([strip[:-1, 0], strip[:-1, 1], strip[1:, 1], strip[1:, 0]], axis=-1)
    all_quads = (2 * rows * np.arange(corners - 1))[:, None, None] + quads
    return np.insert(all_quads.reshape(-1, 4), 0, 4, axis=1).ravel()


def turned_points(line: Array, angles_deg: Array) -> Array:
    """Return the points [m] of a turned line (r, z), strip by strip, angle by angle; shape (2 (K - 1) A, 3)."""
    ends = np.stack([line[:-1], line[1:]], axis=1)[:, None]
    return on_circle(ends[..., 0], ends[..., 1], angles_deg[:, None]).reshape(-1, 3)


def turned_normals(line: Array, angles_deg: Array) -> Array:
    """Return the outward normals at `turned_points`, the metal at the line's left; smooth where it bends little."""
    step = np.diff(line, axis=0)
    length = np.hypot(*step.T)[:, None]
    own = np.divide(np.stack([step[:, 1], -step[:, 0]], axis=1), length, out=np.zeros_like(step), where=length > 0.0)
    start, end = own.copy(), own.copy()
    smooth = np.einsum("ki,ki->k", own[:-1], own[1:]) > np.cos(_SMOOTH)
    mean = own[:-1] + own[1:]
    mean[smooth] /= np.hypot(*mean[smooth].T)[:, None]
    end[:-1][smooth], start[1:][smooth] = mean[smooth], mean[smooth]
    both = np.stack([start, end], axis=1)[:, None]
    return on_circle(both[..., 0], both[..., 1], angles_deg[:, None]).reshape(-1, 3)


def valve_line(profiles: Profiles, stem_top: float) -> Array:
    """Return the closed valve's surface (r, z) [m] up to a height, always of as many corners, even without a fillet."""
    corners = profiles.valve[0]
    first, last = profiles.fillet_angles[0].tolist()
    angles = np.linspace(first, last, FILLET_POINTS)
    arc = profiles.fillet_centre[0] + profiles.fillet_radius[0] * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    return np.concatenate([corners[:4], arc, [[corners[5, 0], stem_top]]])


class DesignScene(Scene):
    """A scene whose seat and valve may be those of several designs; only the first was measured.

    Parameters
    ----------
    plotter : pyvista.Plotter
    state : ViewState
        Of the present design.
    designs : DesignSet
    """

    def __init__(self, plotter: pv.Plotter, state: ViewState, designs: DesignSet) -> None:
        self.designs = designs
        #: The place of the design shown.
        self.design = 0
        #: Every mesh of seat and valve, with what makes its points, and its normals where it has any, of profiles.
        self.living: list[tuple[pv.PolyData, Callable[[Profiles], Array], Callable[[Profiles], Array] | None]] = []
        all_of_them = [designs.profiles_of(place) for place in range(len(designs.names))]
        widest = max(float(max(each.wall[0, 0, 0], each.valve[0, 0, 0])) for each in all_of_them)
        # One frame for all designs, so that only what differs moves.
        self._outer, self._top = 1.18 * widest, max(shapes.port_top(each) for each in all_of_them)
        self._stem_top = max(shapes.valve_top(each) for each in all_of_them)
        highest = state.greatest_lift
        self._gap_up_to = gap_limits_up_to(designs.profiles, highest) if highest > 0.0 else None
        super().__init__(plotter, state)

    # Building, once, from the present design

    def _add_solids(self) -> None:
        shine = {"smooth_shading": True, "ambient": 0.25, "diffuse": 0.75}
        half = np.linspace(*shapes.HEAD_RANGE, _STEPS + 1)
        self._add_solid(self._head_loop, half, color=HEAD_COLOUR, **shine)
        self._add_section(self._head_chains, self._head_loop, CUT)
        shine |= {"ambient": 0.2, "diffuse": 0.7, "specular": 0.35, "specular_power": 25}
        self.valve = self._add_solid(self._valve_loop, np.linspace(0.0, 360.0, _STEPS + 1), color=VALVE, **shine)
        self.valve_section = self._add_section(self._valve_chains, self._valve_loop, VALVE)
        self.valve_rings = [self._add_line(partial(_ring, ring)) for ring in range(3)]

    def _head_chains(self, of: Profiles) -> tuple[Array, Array]:
        return wall_chains(of, outer_radius=self._outer, port_top=self._top)

    def _head_loop(self, of: Profiles) -> Array:
        front, back = self._head_chains(of)
        return np.concatenate([front, back[::-1], front[:1]])

    def _valve_chains(self, of: Profiles) -> tuple[Array, Array]:
        surface = valve_line(of, self._stem_top)
        return surface, surface * [0.0, 1.0]

    def _valve_loop(self, of: Profiles) -> Array:
        surface, axis = self._valve_chains(of)
        return np.concatenate([axis[:1], surface, axis[-1:]])

    def _add_solid(self, loop: Callable[[Profiles], Array], angles_deg: Array, **look: Any) -> Any:
        return self._add_living(
            turned_faces(len(loop(self.profiles_now)), len(angles_deg)),
            lambda of: turned_points(loop(of), angles_deg),
            lambda of: turned_normals(loop(of), angles_deg),
            **look,
        )

    def _add_section(
        self, chains: Callable[[Profiles], tuple[Array, Array]], loop: Callable[[Profiles], Array], color: str
    ) -> list[Any]:
        """Add both cut faces of a solid, then their outlines."""
        count = len(chains(self.profiles_now)[0])
        rung = np.arange(count - 1)
        quads = np.stack([rung, rung + 1, count + rung + 1, count + rung], axis=1)
        faces = np.insert(quads, 0, 4, axis=1).ravel()
        actors = [
            self._add_living(
                faces,
                partial(_face, chains, angle),
                color=color,
                lighting=False,
            )
            for angle in shapes.HEAD_RANGE
        ]
        return actors + [self._add_line(partial(_outline, loop, angle)) for angle in shapes.HEAD_RANGE]

    def _add_line(self, points: Callable[[Profiles], Array]) -> Any:
        mesh = pv.lines_from_points(points(self.profiles_now) * MM)
        self.living.append((mesh, points, None))
        return self._draw(mesh, color=INK, line_width=1.5, lighting=False)

    def _add_living(
        self,
        faces: npt.NDArray[np.intp],
        points: Callable[[Profiles], Array],
        normals: Callable[[Profiles], Array] | None = None,
        **look: Any,
    ) -> Any:
        mesh = pv.PolyData(points(self.profiles_now) * MM, faces)
        if normals is not None:
            mesh.point_data.active_normals = normals(self.profiles_now)
        self.living.append((mesh, points, normals))
        return self._draw(mesh, **look)

    @property
    def profiles_now(self) -> Profiles:
        """The profiles of the design shown."""
        return self.designs.profiles_of(self.design)

    # Changing the design, in place

    @property
    def name(self) -> str:
        """The name of the design shown."""
        return self.designs.names[self.design]

    def choose(self, design: int) -> None:
        """Show another design, by its place, at the same lift."""
        self.design = design
        self.job, self.profiles = self.designs.jobs[design], self.profiles_now
        for mesh, points, normals in self.living:
            mesh.points[:] = points(self.profiles) * MM
            if normals is not None:
                mesh.point_data.active_normals[:] = normals(self.profiles)
                mesh.GetPointData().GetNormals().Modified()
            mesh.GetPoints().Modified()
            mesh.Modified()
        self.update(self.state)

    def update(self, state: ViewState) -> None:
        """Show another lift, run or quantity of the design."""
        kind = NotMeasured if self.design else ViewState
        super().update(kind(state.reduction, state.run, state.lift, state.quantity, state.camera))
        # Beside a grey curtain a bar of colours would stand for nothing.
        self.bar.SetVisibility(bool(np.isfinite(self.curtain["field"]).any()))

    def values_round(self, state: ViewState) -> Array:
        """Return the field of the present design, and of any other that it is not known."""
        known = super().values_round(state)
        return np.full_like(known, np.nan) if self.design else known

    def arrows(self, state: ViewState) -> Array:
        """Return the arrows of the present design, and none of any other."""
        known = super().arrows(state)
        return np.zeros_like(known) if self.design else known

    def file_subject(self) -> str:
        """Return what a picture's file is named after."""
        return f"design-{file_words(self.name)}" if self.design else super().file_subject()

    def say_all(self, now: shapes.LiftShapes) -> None:
        """Say what is shown; of a design that was not measured, how it stands against the present one."""
        super().say_all(now)
        if not self.design:
            return
        letters = self.size.letters
        self.words.input = self._headline(letters(0.58 if self.size.roomy else 0.92, 15))
        said = f"design {fitted(self.name, 60)[0]}: not measured; the colours belong to the present seat"
        self.footnote.input = packed([said], letters(0.62, 12))

    def _headline(self, letters: int) -> str:
        state, present = self.state, self.designs.jobs[0]
        lift = lift_text(present, state.lift)
        over = state.lift / self.job.valve.head_diameter
        area, contact = self._areas(), seat_contact(self.designs.dimensions.take(np.array([0, self.design])))
        unit, scale = area_unit(present.units.length)
        decimals = 0 if unit == "mm²" else 3
        own, was = (f"{float(each) * scale:.{decimals}f} {unit}" for each in area[::-1])
        change = f", {100.0 * (area[1] / area[0] - 1.0):+.1f} %" if state.lift > 0.0 else ""
        width = [
            "a line" if line else lift_text(present, float(wide))
            for line, wide in zip(contact.line, contact.width, strict=True)
        ]
        number = self.designs.numbers[self.design]
        throat = [lift_text(present, job.seat.throat_diameter) for job in (present, self.job)]
        return "\n".join(
            [
                *fitted(present.title, letters, 2),
                *fitted(f"design {number} of {self.designs.count_words}: {self.name}", letters, 2),
                packed([f"lift {lift}", f"L/D {over:.3f}", "not measured"], letters),
                packed([f"flow area {own} (present {was}{change})"], letters),
                *([packed([self._limit_words()], letters)] if self._gap_up_to is not None else []),
                packed([f"throat diameter {throat[1]} (present {throat[0]})"], letters),
                packed([f"contact width {width[1]} (present {width[0]})"], letters),
            ]
        )

    def _limit_words(self) -> str:
        assert self._gap_up_to is not None
        now, was = (
            "all measured lifts" if np.isnan(lift) else lift_text(self.designs.jobs[0], float(lift))
            for lift in self._gap_up_to[[self.design, 0]]
        )
        return f"gap limits up to {now} (present {was})"

    def _areas(self) -> Array:
        """Return the flow areas of the present design and of the one shown, at the lift [m2]."""
        both = self.designs.profiles.take(np.array([0, self.design]))
        return least_passages(both, [self.state.lift]).flow_area[:, 0]


def _ring(ring: int, of: Profiles) -> Array:
    return shapes.valve_rings(of)[ring]


def _face(chains: Callable[[Profiles], tuple[Array, Array]], angle_deg: float, of: Profiles) -> Array:
    return _before(np.concatenate(chains(of)), angle_deg, _FACE)


def _outline(loop: Callable[[Profiles], Array], angle_deg: float, of: Profiles) -> Array:
    return _before(loop(of), angle_deg, _OUTLINE)


def _before(line: Array, angle_deg: float, forward: float) -> Array:
    """Return points (r, z) at an angle of the section, a little before it [m]."""
    return on_circle(line[:, 0], line[:, 1], angle_deg) - [0.0, forward, 0.0]


def bind_design_keys(window: Window, scene: DesignScene) -> None:
    """Let keys go through the designs, round and round, and name them in the list of keys."""

    def step(by: int) -> None:
        scene.choose((scene.design + by) % len(scene.designs.names))
        window.plotter.render()

    for key, by in (("n", 1), ("N", -1), ("b", -1)):
        window.plotter.clear_events_for_key(key, raise_on_missing=False)
        window.plotter.add_key_event(key, partial(step, by))

    def of_present(action: Callable[[], object]) -> None:
        if not scene.design:
            action()
            return
        scene.say(PRESENT_ONLY)
        window.plotter.render()

    runs = len(window.state.reduction.runs)
    actions: dict[str, Callable[[], object]] = {
        str(run + 1): partial(window.show_run, run) for run in range(min(runs, _MOST_RUN_KEYS))
    }
    actions |= {key: partial(window.colour_by, quantity) for key, quantity in FIELD_KEYS.items()}
    actions |= {"Up": partial(window.step_run, -1), "Down": partial(window.step_run, 1)}
    for key, action in actions.items():
        window.plotter.clear_events_for_key(key, raise_on_missing=False)
        window.plotter.add_key_event(key, partial(of_present, action))
    lines = scene.key_list.input.replace("; space play, stop", "").split("\n")
    at = next((place for place, line in enumerate(lines) if line.startswith("w ")), len(lines))
    scene.key_list.input = "\n".join(
        [*lines[:at], "n, b   next, previous design", "runs, fields: present seat only", *lines[at:]]
    )


def open_design_window(state: ViewState, designs: DesignSet, size: tuple[int, int], probe: Probe) -> None:
    """Open the window on the present design and stay until it is closed.

    Raises
    ------
    DrawingError
        If nothing can be drawn on this machine.
    KeyboardInterrupt
        If the window was closed by an interrupt.
    """
    plotter = new_plotter(size, off_screen=False, software=probe.software)
    require_screen(plotter)
    scene = DesignScene(plotter, state, designs)
    bind_design_keys(Window(scene, why_not=NO_EVENT), scene)
    gc.enable()
    show_until_closed(plotter)
