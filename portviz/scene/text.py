"""Words in a view: one font with all our signs, sizes that follow the picture's."""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pyvista as pv

from portviz.scene.colours import BACKGROUND

#: The size of a view at which type has its plain size [pixels].
PLAIN_SIZE = (1280, 800)
#: No type is drawn smaller than this part of its plain size, or it can't be read.
_LEAST_SCALE = 0.62
#: Below this scale there is room for the model and the headline alone.
_ROOMY_SCALE = 0.49
#: Mean width of a letter over the size of the type, a little on the safe side.
_LETTER_WIDTH = 0.53


class TypeSize:
    """Sizes of type for a view.

    Parameters
    ----------
    window_size : sequence of int
        Width and height [pixels].
    """

    def __init__(self, window_size: tuple[int, int] | list[int]) -> None:
        self.width = window_size[0]
        scale = min(window_size[0] / PLAIN_SIZE[0], window_size[1] / PLAIN_SIZE[1])
        self.scale = max(scale, _LEAST_SCALE)
        #: True where there is room for legend, footnote, keys and dial.
        self.roomy = scale >= _ROOMY_SCALE

    def pixels(self, size: float) -> int:
        """Return a plain size of type scaled to the view."""
        return max(round(size * self.scale), 8)

    def letters(self, part: float, size: float) -> int:
        """Return how many letters of a plain size fit on a part of the view's width."""
        return max(int(part * self.width / (_LETTER_WIDTH * self.pixels(size))), 12)


@cache
def font_file() -> str | None:
    """Return the path of a font with all our signs, as matplotlib ships it, without importing that."""
    spec = find_spec("matplotlib")
    if spec is None or not spec.submodule_search_locations:
        return None
    path = Path(spec.submodule_search_locations[0]) / "mpl-data" / "fonts" / "ttf" / "DejaVuSans.ttf"
    return str(path) if path.is_file() else None


def set_font(prop: Any) -> None:
    """Give a VTK text property our font, upright and plain."""
    font = font_file()
    if font is not None:
        prop.SetFontFamily(4)  # VTK_FONT_FILE
        prop.SetFontFile(font)
    prop.SetBold(False)
    prop.SetItalic(False)
    prop.SetShadow(False)


def new_text(color: str, across: str, along: str, *, plate: bool = False) -> pv.Text:
    """Return an empty text actor.

    Parameters
    ----------
    color : str
    across, along : str
        How it is set about its place: "left", "center" or "right"; "top", "center" or "bottom".
    plate : bool
        Lay it on a plate of the background's colour, so that it reads on anything.
    """
    text = pv.Text(" ")
    prop = text.prop
    prop.color = color
    prop.justification_horizontal = across
    prop.justification_vertical = along
    prop.SetLineSpacing(1.25)
    if plate:
        prop.background_color = BACKGROUND
        prop.background_opacity = 0.78
    set_font(prop)
    return text


def place_in_view(text: pv.Text, at: tuple[float, float]) -> pv.Text:
    """Set a text at a part of the view's width and height."""
    text.GetPositionCoordinate().SetCoordinateSystemToNormalizedViewport()
    text.position = at
    return text


def place_in_world(text: pv.Text, at: Any) -> pv.Text:
    """Set a text at a point of the scene."""
    text.GetPositionCoordinate().SetCoordinateSystemToWorld()
    text.GetPositionCoordinate().SetValue(*(float(each) for each in at))
    return text
