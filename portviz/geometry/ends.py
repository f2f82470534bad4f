"""Which parts a least passage runs between, in a shop's words."""

from __future__ import annotations

import numpy as np

from portviz.geometry.dimensions import Array
from portviz.geometry.profiles import Profiles

#: Ends nearer than this to a corner belong to it [m].
_AT_CORNER = 1e-7


def passage_ends(profiles: Profiles, lines: Array, lifts: Array, design: int = 0) -> list[tuple[str, str]]:
    """Return the wall's and the valve's part at each end of least passages.

    Parameters
    ----------
    profiles : Profiles
    lines : ndarray, shape (M, 2, 2)
        Ends (r, z) on wall and valve at each lift, as in `Passages` [m].
    lifts : ndarray, shape (M,)
        [m].
    design : int
        Which design.

    Returns
    -------
    list of tuple of str
        "seat" (band or cuts) or "throat"; and "margin", "face", "back cut", "back of head", "fillet" or
        "stem". A corner counts for the part nearer the port.
    """
    wall, valve = profiles.wall[design], profiles.valve[design]
    throat_corner = wall[-2]
    found = []
    for (wall_end, valve_end), lift in zip(lines, lifts, strict=True):
        in_throat = wall_end[1] >= throat_corner[1] - _AT_CORNER
        radius, height = valve_end[0], valve_end[1] + lift
        # From the rim inward each part ends at a smaller radius; margin and stem are upright.
        inner = valve[2:6, 0] + _AT_CORNER
        if height < valve[1, 1] - _AT_CORNER:
            part = "margin"
        else:
            names = ("face", "back cut", "back of head", "fillet", "stem")
            part = names[int(np.sum(radius <= inner))]
        found.append(("throat" if in_throat else "seat", part))
    return found
