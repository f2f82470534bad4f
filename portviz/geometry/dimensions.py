"""Dimensions of valve and seat, for one design or for many at once, and the rules they must keep."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from portviz.defaults import FACE_OVER_SEAT_WIDTH, MARGIN, UNDERHEAD_ANGLE, or_as
from portviz.errors import GeometryError

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

#: Lengths nearer than this are the same [m]; far below what a shop can measure.
LENGTH_TOLERANCE = 1e-9


@dataclass(frozen=True)
class Dimensions:
    """Valve and seat of N designs, lengths in metres and angles in radians.

    Angles are measured from the plane of the valve head; widths lie along the cones. A part that a
    design does not have (top cut, back cut, fillet) has zero width or radius.

    Parameters
    ----------
    head_radius, stem_radius, margin, fillet_radius : ndarray, shape (N,)
        [m].
    face_angle, back_cut_angle, underhead_angle : ndarray, shape (N,)
        [rad].
    face_width, back_cut_width : ndarray, shape (N,)
        [m].
    seat_angle, top_cut_angle : ndarray, shape (N,)
        [rad].
    seat_width, seat_outer_radius, top_cut_width, throat_radius : ndarray, shape (N,)
        [m].
    bottom_cut_angles : ndarray, shape (N, C)
        [rad], from the seat toward the throat.
    bottom_cut_widths : ndarray, shape (N, C)
        [m].
    """

    head_radius: Array
    stem_radius: Array
    face_angle: Array
    face_width: Array
    margin: Array
    back_cut_angle: Array
    back_cut_width: Array
    underhead_angle: Array
    fillet_radius: Array
    seat_angle: Array
    seat_width: Array
    seat_outer_radius: Array
    top_cut_angle: Array
    top_cut_width: Array
    bottom_cut_angles: Array
    bottom_cut_widths: Array
    throat_radius: Array

    @property
    def count(self) -> int:
        """Number of designs."""
        return int(self.head_radius.shape[0])

    @property
    def seat_inner_radius(self) -> Array:
        """Radius of the seat band's inner edge [m], shape (N,)."""
        return self.seat_outer_radius - self.seat_width * np.cos(self.seat_angle)

    @property
    def face_inner_radius(self) -> Array:
        """Radius of the face's inner edge [m], shape (N,)."""
        return self.head_radius - self.face_width * np.cos(self.face_angle)

    @property
    def underhead_radius(self) -> Array:
        """Radius at which the under-head cone begins [m], shape (N,)."""
        return self.face_inner_radius - self.back_cut_width * np.cos(self.back_cut_angle)

    @property
    def seat_radial_width(self) -> Array:
        """Seat width projected on the radius, width x cos(angle) [m], shape (N,)."""
        return self.seat_width * np.cos(self.seat_angle)

    @property
    def fillet_tangent(self) -> Array:
        """Length from the sharp corner of under-head cone and stem to the fillet's ends [m], shape (N,)."""
        turn = np.pi / 2.0 - self.underhead_angle
        return self.fillet_radius * np.tan(turn / 2.0)

    def take(self, designs: slice | npt.NDArray[np.intp]) -> Dimensions:
        """Return the designs at the given places."""
        return Dimensions(**{name: getattr(self, name)[designs] for name in self.__dataclass_fields__})


def dimensions(
    *,
    head_radius: npt.ArrayLike,
    stem_radius: npt.ArrayLike,
    seat_angle: npt.ArrayLike,
    seat_width: npt.ArrayLike,
    throat_radius: npt.ArrayLike,
    seat_outer_radius: npt.ArrayLike | None = None,
    face_angle: npt.ArrayLike | None = None,
    face_width: npt.ArrayLike | None = None,
    margin: npt.ArrayLike = MARGIN,
    back_cut_angle: npt.ArrayLike = 0.0,
    back_cut_width: npt.ArrayLike = 0.0,
    underhead_angle: npt.ArrayLike = UNDERHEAD_ANGLE,
    fillet_radius: npt.ArrayLike = 0.0,
    top_cut_angle: npt.ArrayLike = 0.0,
    top_cut_width: npt.ArrayLike = 0.0,
    bottom_cut_angles: npt.ArrayLike = (),
    bottom_cut_widths: npt.ArrayLike = (),
) -> Dimensions:
    """Return `Dimensions` with the defaults of `portviz.defaults` filled in and everything broadcast to N designs.

    Parameters
    ----------
    head_radius, stem_radius, seat_angle, seat_width, throat_radius : array_like, scalar or (N,)
        [m], angles [rad].
    seat_outer_radius : array_like, optional
        [m]; the head's radius where it is not given.
    face_angle : array_like, optional
        [rad]; the seat's angle.
    face_width : array_like, optional
        [m]; wider than the seat.
    margin, back_cut_width, fillet_radius, top_cut_width : array_like, optional
        [m].
    back_cut_angle, underhead_angle, top_cut_angle : array_like, optional
        [rad].
    bottom_cut_angles, bottom_cut_widths : array_like, shape (C,) or (N, C), optional
        [rad] and [m].
    """
    cut_angles = np.atleast_2d(np.asarray(bottom_cut_angles, dtype=float))
    cut_widths = np.atleast_2d(np.asarray(bottom_cut_widths, dtype=float))
    seat_width = np.asarray(seat_width, dtype=float)
    single = {
        "head_radius": head_radius,
        "stem_radius": stem_radius,
        "face_angle": or_as(face_angle, seat_angle),
        "face_width": or_as(face_width, FACE_OVER_SEAT_WIDTH * seat_width),
        "margin": margin,
        "back_cut_angle": back_cut_angle,
        "back_cut_width": back_cut_width,
        "underhead_angle": underhead_angle,
        "fillet_radius": fillet_radius,
        "seat_angle": seat_angle,
        "seat_width": seat_width,
        "seat_outer_radius": or_as(seat_outer_radius, head_radius),
        "top_cut_angle": top_cut_angle,
        "top_cut_width": top_cut_width,
        "throat_radius": throat_radius,
    }
    arrays = {name: np.atleast_1d(np.asarray(value, dtype=float)) for name, value in single.items()}
    count = np.broadcast_shapes(
        *(value.shape for value in arrays.values()), cut_angles.shape[:1], cut_widths.shape[:1]
    )[0]
    cuts = max(cut_angles.shape[1], cut_widths.shape[1])
    return Dimensions(
        **{name: np.broadcast_to(value, (count,)) for name, value in arrays.items()},
        bottom_cut_angles=np.broadcast_to(cut_angles, (count, cuts)),
        bottom_cut_widths=np.broadcast_to(cut_widths, (count, cuts)),
    )


LengthText = Callable[[float], str]


def in_millimetres(length: float) -> str:
    """Return a length [m] as text."""
    return f"{length * 1e3:.3f} mm"


@dataclass(frozen=True)
class Rule:
    """One thing that dimensions must keep.

    Parameters
    ----------
    name : str
        Short name, for counting refused designs.
    keys : tuple of str
        The dimensions involved, as keys of job.toml.
    broken : callable
        Dimensions -> mask (N,), True where the rule is broken.
    words : callable
        Dimensions of one design, and what writes a length of it -> what is wrong.
    """

    name: str
    keys: tuple[str, ...]
    broken: Callable[[Dimensions], Mask]
    words: Callable[[Dimensions, Callable[[Array], str]], str]

    def message(self, design: Dimensions, length_text: LengthText = in_millimetres) -> str:
        """Return what is wrong with one design, in words.

        Parameters
        ----------
        design : Dimensions
            Of one design.
        length_text : callable
            Length [m] -> text, in the unit of the reader.
        """
        return self.words(design, lambda length: length_text(float(np.ravel(length)[0])))


def _deg(angle: Array) -> str:
    return f"{np.degrees(angle[0]):g} deg"


def _outside_right_angle(angle: Array) -> Mask:
    return ~((angle > 0.0) & (angle < np.pi / 2.0))


def _positive(name: str, key: str) -> Rule:
    per_radius = 2.0 if name.endswith("_radius") else 1.0
    return Rule(
        f"{key} positive",
        (key,),
        lambda d: ~(getattr(d, name) > 0.0),
        lambda d, text: f"{key} must be larger than zero, not {text(per_radius * getattr(d, name))}",
    )


#: Checked in this order: later rules may take the earlier ones for granted.
RULES: tuple[Rule, ...] = (
    _positive("head_radius", "valve.head_diameter"),
    _positive("stem_radius", "valve.stem_diameter"),
    _positive("face_width", "valve.face_width"),
    _positive("margin", "valve.margin"),
    _positive("seat_width", "seat.width"),
    _positive("seat_outer_radius", "seat.outer_diameter"),
    _positive("throat_radius", "seat.throat_diameter"),
    Rule(
        "seat angle",
        ("seat.angle",),
        lambda d: _outside_right_angle(d.seat_angle),
        lambda d, text: f"the seat's angle must lie between 0 and 90 deg, not {_deg(d.seat_angle)}",
    ),
    Rule(
        "face angle",
        ("valve.face_angle",),
        lambda d: _outside_right_angle(d.face_angle),
        lambda d, text: f"the face's angle must lie between 0 and 90 deg, not {_deg(d.face_angle)}",
    ),
    Rule(
        "top cut",
        ("seat.top_cut",),
        lambda d: (d.top_cut_width != 0.0) & (_outside_right_angle(d.top_cut_angle) | ~(d.top_cut_width > 0.0)),
        lambda d, text: (
            "the top cut needs a width above zero and an angle between 0 and 90 deg, "
            f"not {text(d.top_cut_width)} at {_deg(d.top_cut_angle)}"
        ),
    ),
    Rule(
        "bottom cuts",
        ("seat.bottom_cuts",),
        lambda d: np.any(
            (d.bottom_cut_widths != 0.0) & (_outside_right_angle(d.bottom_cut_angles) | ~(d.bottom_cut_widths >= 0.0)),
            axis=1,
        ),
        lambda d, text: (
            "each bottom cut needs a width above zero and an angle between 0 and 90 deg, not "
            + ", ".join(
                f"{text(width)} at {np.degrees(angle):g} deg"
                for angle, width in zip(d.bottom_cut_angles[0], d.bottom_cut_widths[0], strict=True)
            )
        ),
    ),
    Rule(
        "underhead angle",
        ("valve.underhead_angle",),
        lambda d: ~((d.underhead_angle >= 0.0) & (d.underhead_angle < np.pi / 2.0)),
        lambda d, text: f"the under-head angle must be 0 deg or more and below 90 deg, not {_deg(d.underhead_angle)}",
    ),
    Rule(
        "seat wider than its diameter allows",
        ("seat.width", "seat.outer_diameter"),
        lambda d: d.seat_inner_radius <= 0.0,
        lambda d, text: (
            f"the seat is wider than its diameter allows: {text(d.seat_width)} along {_deg(d.seat_angle)} takes "
            f"{text(d.seat_radial_width)} of a radius of {text(d.seat_outer_radius)}"
        ),
    ),
    Rule(
        "throat larger than the seat",
        ("seat.throat_diameter", "seat.width", "seat.outer_diameter"),
        lambda d: d.throat_radius > d.seat_inner_radius + LENGTH_TOLERANCE,
        lambda d, text: (
            f"the throat is larger than the seat: throat diameter {text(2 * d.throat_radius)}, inner diameter of "
            f"the seat band {text(2 * d.seat_inner_radius)} (outer diameter {text(2 * d.seat_outer_radius)} less the "
            f"band's width)"
        ),
    ),
    Rule(
        "stem wider than the throat",
        ("valve.stem_diameter", "seat.throat_diameter"),
        lambda d: d.stem_radius >= d.throat_radius - LENGTH_TOLERANCE,
        lambda d, text: (
            f"the stem is wider than the throat: stem diameter {text(2 * d.stem_radius)}, "
            f"throat diameter {text(2 * d.throat_radius)}"
        ),
    ),
    Rule(
        "stem wider than the head",
        ("valve.stem_diameter", "valve.head_diameter"),
        lambda d: d.stem_radius >= d.head_radius,
        lambda d, text: (
            f"the stem is wider than the head: stem diameter {text(2 * d.stem_radius)}, "
            f"head diameter {text(2 * d.head_radius)}"
        ),
    ),
    Rule(
        "face reaches the stem",
        ("valve.face_width", "valve.stem_diameter"),
        lambda d: d.face_inner_radius <= d.stem_radius,
        lambda d, text: (
            f"the face is too wide: {text(d.face_width)} along {_deg(d.face_angle)} ends at a diameter of "
            f"{text(2 * d.face_inner_radius)}, inside the stem of {text(2 * d.stem_radius)}"
        ),
    ),
    Rule(
        "back cut meets nothing",
        ("valve.back_cut", "valve.face_angle", "valve.underhead_angle"),
        lambda d: (
            (d.back_cut_width != 0.0)
            & (
                ~(d.back_cut_width > 0.0)
                | ~(d.back_cut_angle <= d.face_angle + 1e-12)
                | ~(d.back_cut_angle >= d.underhead_angle - 1e-12)
            )
        ),
        lambda d, text: (
            f"the back cut meets nothing: its angle of {_deg(d.back_cut_angle)} must lie between the under-head "
            f"cone's {_deg(d.underhead_angle)} and the face's {_deg(d.face_angle)}, its width "
            f"({text(d.back_cut_width)}) above zero"
        ),
    ),
    Rule(
        "back cut reaches the stem",
        ("valve.back_cut", "valve.stem_diameter"),
        lambda d: d.underhead_radius <= d.stem_radius,
        lambda d, text: (
            f"the back cut meets nothing: {text(d.back_cut_width)} along {_deg(d.back_cut_angle)} ends at a diameter "
            f"of {text(2 * d.underhead_radius)}, inside the stem of {text(2 * d.stem_radius)}"
        ),
    ),
    Rule(
        "fillet radius",
        ("valve.fillet_radius",),
        lambda d: ~(d.fillet_radius >= 0.0),
        lambda d, text: f"the fillet's radius must be zero (sharp) or more, not {text(d.fillet_radius)}",
    ),
    Rule(
        "fillet does not fit",
        ("valve.fillet_radius", "valve.underhead_angle", "valve.stem_diameter"),
        lambda d: d.stem_radius + d.fillet_tangent * np.cos(d.underhead_angle) > d.underhead_radius + LENGTH_TOLERANCE,
        lambda d, text: (
            f"the fillet does not fit: radius {text(d.fillet_radius)} would begin at a diameter of "
            f"{text(2 * (d.stem_radius + d.fillet_tangent * np.cos(d.underhead_angle)))}, but the under-head cone "
            f"begins at {text(2 * d.underhead_radius)}"
        ),
    ),
    Rule(
        "face and seat do not meet",
        ("valve.head_diameter", "valve.face_width", "seat.outer_diameter", "seat.width"),
        lambda d: (
            (d.head_radius <= d.seat_inner_radius + LENGTH_TOLERANCE)
            | (d.face_inner_radius >= d.seat_outer_radius - LENGTH_TOLERANCE)
        ),
        lambda d, text: (
            f"the face does not meet the seat: the face runs from diameter {text(2 * d.face_inner_radius)} to "
            f"{text(2 * d.head_radius)}, the seat band from {text(2 * d.seat_inner_radius)} to "
            f"{text(2 * d.seat_outer_radius)}"
        ),
    ),
)


def broken_rules(designs: Dimensions) -> list[tuple[Rule, Mask]]:
    """Return each rule that some design breaks, with the mask (N,) of those that break it first.

    A design counts for the first rule that it breaks only.
    """
    found = []
    fine = np.ones(designs.count, dtype=bool)
    with np.errstate(invalid="ignore"):
        for rule in RULES:
            mask = rule.broken(designs) & fine
            if mask.any():
                found.append((rule, mask))
                fine &= ~mask
    return found


def check_dimensions(designs: Dimensions, length_text: LengthText = in_millimetres) -> None:
    """Raise GeometryError for the first rule that any design breaks; `length_text` writes the lengths [m]."""
    for rule, mask in broken_rules(designs):
        first = int(np.argmax(mask))
        raise GeometryError(rule.message(designs.take(slice(first, first + 1)), length_text), rule.keys, rule.name)
