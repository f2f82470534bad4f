"""What dimensions are where nobody names them; the seat's angle and the head's diameter stand for the rest."""

from __future__ import annotations

from typing import TypeVar

Given = TypeVar("Given")

#: Width of the face over that of the seat, both along the cone.
FACE_OVER_SEAT_WIDTH = 1.25
#: [m].
MARGIN = 1e-3
#: 15 degrees [rad].
UNDERHEAD_ANGLE = 0.2617993877991494


def or_as(given: Given | None, other: Given) -> Given:
    """Return what is given, or the other where nothing is."""
    return other if given is None else given
