"""Arrays as pyvista meshes, in millimetres."""

from __future__ import annotations

import numpy as np
import pyvista as pv

from portviz.geometry.revolve import Surface
from portviz.scene import shapes

MM = 1e3


def to_mesh(surface: Surface, scale: float = MM) -> pv.PolyData:
    """Return a surface as a pyvista mesh, in millimetres."""
    faces = [np.insert(each, 0, each.shape[1], axis=1).ravel() for each in (surface.quads, surface.triangles)]
    return pv.PolyData(surface.points * scale, np.concatenate(faces))


def hatch_mesh(columns: int) -> pv.PolyData:
    """Return a mesh with room for the hatching of a curtain, whose points are set later."""
    rows = shapes.CURTAIN_ROWS
    lines = np.arange(shapes.hatch_size(columns) * rows).reshape(-1, rows)
    return pv.PolyData(np.zeros((lines.size, 3)), lines=np.insert(lines, 0, rows, axis=1).ravel())


def copies(template: pv.PolyData, count: int) -> pv.PolyData:
    """Return a mesh with room for `count` copies of a template, whose points are set later."""
    faces = template.triangulate().faces.reshape(-1, 4)
    step = np.array([0, 1, 1, 1]) * template.n_points
    return pv.PolyData(
        np.zeros((count * template.n_points, 3)), np.concatenate([faces + step * copy for copy in range(count)]).ravel()
    )
