"""Where the valve's face meets the seat: the band that cools and seals, and what presses on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from portviz.geometry.dimensions import Array, Dimensions, Mask

#: Angles of face and seat nearer than this are one angle [rad].
SAME_ANGLE = 1e-9


@dataclass(frozen=True)
class Contact:
    """Contact of N designs, the valve closed; arrays of shape (N,).

    Parameters
    ----------
    inner_radius, outer_radius : ndarray
        Ends of the contact band [m]; the same where face and seat touch along a line.
    width : ndarray
        Along the cone [m].
    area : ndarray
        Of the band [m2].
    line : ndarray of bool
        True where the angles of face and seat differ: they touch along an edge.
    interference : ndarray
        Seat's angle less the face's [rad]; with a flatter face, above zero, the outer edge seals.
    pressed_inner_radius, pressed_outer_radius : ndarray
        Ends of the band on which face and seat lie over each other [m]; where they touch along a line, the band that
        bears once they have worn or pressed into each other.
    overhang : ndarray
        How far the face reaches out beyond the band, radially [m]; below zero the seat is undercut: it reaches out
        beyond the face.
    bare : ndarray
        How much of the seat band's inner end the face does not cover, radially [m]; below zero the face goes on.
    protrusion : ndarray
        How far the head's lower edge stands below the plane of the seat's outer edge [m].
    """

    inner_radius: Array
    outer_radius: Array
    width: Array
    area: Array
    line: Mask
    interference: Array
    pressed_inner_radius: Array
    pressed_outer_radius: Array
    overhang: Array
    bare: Array
    protrusion: Array

    @property
    def mean_radius(self) -> Array:
        """Mean radius of the band, or the radius of the line [m], shape (N,)."""
        return 0.5 * (self.inner_radius + self.outer_radius)

    @property
    def radial_width(self) -> Array:
        """Width of the band projected on the radius [m], shape (N,)."""
        return self.outer_radius - self.inner_radius


def seat_contact(designs: Dimensions) -> Contact:
    """Return where the closed valve's face meets the seat band.

    Parameters
    ----------
    designs : Dimensions
        Whose face and seat meet.

    Notes
    -----
    Face and band of one angle lie on each other where both are: from the smaller of their outer radii to the larger
    of their inner ones. Its area is that of the cone's frustum, 2 pi x mean radius x width along it. With other angles
    they touch at one end of that stretch: a flatter face at the outer, a steeper one at the inner.
    """
    outer = np.minimum(designs.head_radius, designs.seat_outer_radius)
    inner = np.maximum(designs.face_inner_radius, designs.seat_inner_radius)
    interference = designs.seat_angle - designs.face_angle
    line = np.abs(interference) > SAME_ANGLE
    edge = np.where(interference > 0.0, outer, inner)
    band_inner, band_outer = np.where(line, edge, inner), np.where(line, edge, outer)
    width = (band_outer - band_inner) / np.cos(designs.seat_angle)
    rest = (designs.seat_outer_radius - edge) * np.tan(designs.seat_angle) - (designs.head_radius - edge) * np.tan(
        designs.face_angle
    )
    return Contact(
        inner_radius=band_inner,
        outer_radius=band_outer,
        width=width,
        area=np.pi * (band_inner + band_outer) * width,
        line=line,
        interference=interference,
        pressed_inner_radius=inner,
        pressed_outer_radius=outer,
        overhang=designs.head_radius - designs.seat_outer_radius,
        bare=designs.face_inner_radius - designs.seat_inner_radius,
        protrusion=designs.margin - rest,
    )


def mean_contact_pressure(force: npt.ArrayLike, mean_radius: npt.ArrayLike, radial_width: npt.ArrayLike) -> Array:
    """Return the mean pressure on the band [Pa]; NaN where it is a line.

    Parameters
    ----------
    force : array_like
        Along the valve's axis [N].
    mean_radius, radial_width : array_like
        Of the band [m].

    Notes
    -----
    Statics without friction: the normal force is F / cos(angle), the area 2 pi r w / cos(angle), w the radial
    width; the angle drops out. The force is spread evenly, which a distorted or worn seat does not do.

    Examples
    --------
    >>> float(mean_contact_pressure(300.0, 0.019, 0.002).round(1))
    1256486.4
    """
    force, radius, width = np.broadcast_arrays(
        *(np.asarray(each, dtype=float) for each in (force, mean_radius, radial_width))
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(width > 0.0, force / (2.0 * np.pi * radius * width), np.nan)


def friction_bounds(angle: npt.ArrayLike, friction: npt.ArrayLike) -> tuple[Array, Array]:
    """Return the least and greatest normal force over the frictionless one [-].

    Parameters
    ----------
    angle : array_like
        Of the seat, from the plane of the head [rad].
    friction : array_like
        Coefficient of friction [-].

    Returns
    -------
    low, high : ndarray
        While the valve slides in, and while it would slide out; `high` is infinite where it sticks.

    Notes
    -----
    Cone friction: N = F / (cos b + mu sin b) sliding in, F / (cos b - mu sin b) sliding out; it sticks from
    mu = cot b on. Friction is not known and gives bounds, no value.

    Examples
    --------
    >>> [float(each.round(6)) for each in friction_bounds(np.pi / 4, 0.15)]
    [0.869565, 1.176471]
    """
    angle, mu = np.broadcast_arrays(np.asarray(angle, dtype=float), np.asarray(friction, dtype=float))
    plain, side = np.cos(angle), mu * np.sin(angle)
    with np.errstate(divide="ignore"):
        high = np.where(plain > side, plain / (plain - side), np.inf)
    return plain / (plain + side), high


def gas_force(pressure: npt.ArrayLike, mean_radius: npt.ArrayLike) -> Array:
    """Return the force of a gas pressure on the closed valve [N]: on the circle within the contact's mean radius.

    Parameters
    ----------
    pressure : array_like
        In the cylinder less that in the port [Pa].
    mean_radius : array_like
        [m].
    """
    return np.asarray(np.pi * np.asarray(mean_radius, dtype=float) ** 2 * np.asarray(pressure, dtype=float))
