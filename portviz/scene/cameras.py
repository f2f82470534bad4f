"""Where a view is seen from."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pyvista as pv


class Side(NamedTuple):
    """A place to look from, in head radii from the middle of the model.

    Parameters
    ----------
    eye, up : tuple of float
        Place, and the direction that is upward in the view.
    reach : float
        Half the height that is seen, in head radii.
    parallel : bool
        True where lengths keep their measure, as in a drawing.
    """

    eye: tuple[float, float, float]
    up: tuple[float, float, float]
    reach: float
    parallel: bool


# Stations 0 to 180 lie on the near side of the section, which is y < 0. From the cylinder they run anticlockwise
# with station 0 on the right.
SIDES = {
    "three-quarter": Side((-1.9, -5.7, 2.4), (0, 0, 1), 1.62, False),
    "section": Side((0.0, -6.3, 0.0), (0, 0, 1), 1.6, True),
    "cylinder": Side((0.0, 0.0, -8.4), (0, -1, 0), 2.2, True),
    "port": Side((0.0, 0.0, 8.4), (0, 1, 0), 2.2, True),
}
#: The model stands a little right of the middle, beside the dial, and a little above it, over the slider.
_OFF_CENTRE = (-0.1, -0.05)
_VIEW_ANGLE = 30.0


def look_from(plotter: pv.Plotter, name: str, radius: float, *, centred: bool) -> None:
    """Place a plotter's camera.

    Parameters
    ----------
    plotter : pyvista.Plotter
    name : str
        A key of `SIDES`.
    radius : float
        Radius of the valve's head, in the scene's unit.
    centred : bool
        Keep the model in the middle between left and right.
    """
    side = SIDES[name]
    width, height = plotter.window_size
    # Room for the orange arrow left of the colour bar, whatever the view's shape.
    # In small views type is larger beside the model: more room for the headline above a ring of labels.
    crowded = 1.18 if min(width / 1280, height / 800) < 0.62 and name in ("cylinder", "port") else 1.0
    reach = max(side.reach, 2.8 * height / width) * crowded * radius
    middle = np.array([0.06, 0.0, 0.0]) * radius
    eye = np.array(side.eye)
    distance = reach / np.tan(np.radians(_VIEW_ANGLE / 2.0))
    camera = plotter.camera
    camera.focal_point = middle
    camera.position = middle + eye / np.linalg.norm(eye) * distance
    camera.up = side.up
    camera.view_angle = _VIEW_ANGLE
    camera.parallel_projection = side.parallel
    camera.parallel_scale = reach
    camera.SetWindowCenter(0.0 if centred else _OFF_CENTRE[0], _OFF_CENTRE[1])
    plotter.reset_camera_clipping_range()
