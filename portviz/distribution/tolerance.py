"""What machining tolerances do to passages and contact: many valves and seats drawn at random, after [JCGM-101]."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from portviz.distribution.designs import Designs, design_dimensions, own_dimensions, own_values
from portviz.distribution.study import Study, study_designs
from portviz.geometry.dimensions import Dimensions
from portviz.job.model import Array, Job

#: Where the random numbers start, unless told otherwise.
SEED = 30_103
#: Quantiles that are told beside mean and standard deviation [-].
QUANTILES = (0.025, 0.975)
#: Scatter below this is rounding, over the valve's size [-].
_NOISE = 1e-9
#: What a dimension's key in job.toml is called here, and how many of its unit one drawn number stands for.
_LENGTHS = {
    "valve.head_diameter": ("head_radius", 2.0),
    "valve.stem_diameter": ("stem_radius", 2.0),
    "valve.face_width": ("face_width", 1.0),
    "valve.margin": ("margin", 1.0),
    "valve.back_cut.width": ("back_cut_width", 1.0),
    "valve.fillet_radius": ("fillet_radius", 1.0),
    "seat.width": ("seat_width", 1.0),
    "seat.outer_diameter": ("seat_outer_radius", 2.0),
    "seat.top_cut.width": ("top_cut_width", 1.0),
    "seat.throat_diameter": ("throat_radius", 2.0),
}
_ANGLES = {
    "valve.face_angle": "face_angle",
    "valve.back_cut.angle": "back_cut_angle",
    "valve.underhead_angle": "underhead_angle",
    "seat.angle": "seat_angle",
    "seat.top_cut.angle": "top_cut_angle",
}


@dataclass(frozen=True)
class Distribution:
    """Mean, standard deviation and quantiles of M results; arrays of shape (M,), NaN where there is nothing to tell.

    Parameters
    ----------
    mean, deviation, low, high : ndarray
        `low` and `high` are the `QUANTILES`.
    """

    mean: Array
    deviation: Array
    low: Array
    high: Array


@dataclass(frozen=True)
class Tolerance:
    """What tolerances do to a job's valve and seat.

    Parameters
    ----------
    job : Job
    length, angle : float
        Greatest deviation of a length [m] and of an angle [rad]; zero for none.
    samples, seed : int
    keys : tuple of str, length K
        The dimensions drawn, by their keys in job.toml.
    lift : ndarray, shape (M,)
        [m].
    present_area : ndarray, shape (M,)
        Flow area of the job as it stands [m2].
    area : Distribution
        Of the flow area at each lift [m2].
    contact : dict of str to Distribution
        "width" along the cone and "mean diameter" of the worn-in band [m], each of one result; "throat takes over" is
        the lift from which the throat is the narrower [m], of those draws in which it is.
    present : dict of str to float
        The same of the job as it stands; NaN where the throat never is.
    share : ndarray, shape (M + 2, K)
        Part of the variance that comes from each dimension, of the area at each lift, then of the band's width and of
        its mean diameter, by the linear fit; parts of one result make one. NaN where nothing varies.
    straight : ndarray, shape (M + 2,)
        How much of the variance the linear fit holds [-].
    takes_over : int
        Draws in which the throat is the narrower at some lift.
    impossible : dict of str to int
        Draws that make no valve and seat, by reason.
    """

    job: Job
    length: float
    angle: float
    samples: int
    seed: int
    keys: tuple[str, ...]
    lift: Array
    present_area: Array
    area: Distribution
    contact: dict[str, Distribution]
    present: dict[str, float]
    share: Array
    straight: Array
    takes_over: int
    impossible: dict[str, int]

    @property
    def possible(self) -> int:
        """Draws that make a valve and seat."""
        return self.samples - sum(self.impossible.values())


def drawn_keys(job: Job, length: float, angle: float) -> tuple[str, ...]:
    """Return the dimensions that tolerances are about: each one that the valve and seat have.

    A sharp corner has no fillet to vary, and no part that is missing has a width. Dimensions left to their defaults are
    metal of their own, and vary by themselves.
    """
    own = own_dimensions(job)
    keys = [key for key, (name, _) in _LENGTHS.items() if length > 0.0 and float(getattr(own, name)[0]) > 0.0]
    there = {"valve.back_cut.angle": job.valve.back_cut, "seat.top_cut.angle": job.seat.top_cut}
    keys += [key for key in _ANGLES if angle > 0.0 and there.get(key, True)]
    for number in range(1, len(job.seat.bottom_cuts) + 1):
        keys += [f"seat.bottom_cuts[{number}].width"] if length > 0.0 else []
        keys += [f"seat.bottom_cuts[{number}].angle"] if angle > 0.0 else []
    return tuple(keys)


def draw_values(
    job: Job, length: float, angle: float, samples: int, seed: int = SEED
) -> tuple[dict[str, Array], Array]:
    """Return every dimension of the job and of its random likes, and how far each was off.

    Parameters
    ----------
    job : Job
    length, angle : float
        Greatest deviation [m] and [rad].
    samples, seed : int

    Returns
    -------
    values : dict of str to ndarray, shape (samples + 1,)
        In SI by key, the first one the job's own.
    off : ndarray, shape (samples, K)
        Evenly in [-1, 1), in parts of the tolerance, by `drawn_keys`.
    """
    own, keys = own_dimensions(job), drawn_keys(job, length, angle)
    off = np.random.default_rng(seed).uniform(-1.0, 1.0, (samples, len(keys)))
    values = {key: np.full(samples + 1, value) for key, value in own_values(job).items()}
    for column, key in enumerate(keys):
        centre = _centre(own, key, values)
        step = angle if key.endswith("angle") else length
        values[key] = np.concatenate([[centre], centre + step * off[:, column]])
    return values, off


def _centre(own: Dimensions, key: str, values: dict[str, Array]) -> float:
    """Return a dimension's own value in SI, its default where nobody named it."""
    if key in _LENGTHS:
        name, per = _LENGTHS[key]
        return per * float(getattr(own, name)[0])
    return float(getattr(own, _ANGLES[key])[0]) if key in _ANGLES else float(values[key][0])


def tolerance_study(
    job: Job,
    lifts: Array | list[float],
    length: float,
    angle: float,
    samples: int = 2000,
    *,
    seed: int = SEED,
    progress: Callable[[int], None] | None = None,
) -> Tolerance:
    """Return what tolerances of all lengths and angles do.

    Parameters
    ----------
    job : Job
    lifts : array_like, shape (M,)
        [m].
    length, angle : float
        Greatest deviation of each length [m] and angle [rad], either way; every value between is as likely.
    samples : int
    seed : int
        Where the random numbers start: the same job and seed give the same results.
    progress : callable, optional
        Called with the number of designs that are done.

    Notes
    -----
    Each dimension is drawn by itself; a rectangular distribution within +/- t has the standard deviation t / sqrt(3)
    ([JCGM-100] 4.3.7). A share of variance is (slope x t)^2 / 3 over the sum of these, with slopes by least squares on
    all draws. Angles of face and seat are nearly never the same in a draw, so that the band is the worn-in one.
    """
    values, off = draw_values(job, length, angle, samples, seed)
    count = samples + 1
    designs = Designs(
        (None,) * count, tuple({"draw": float(n)} for n in range(count)), values, design_dimensions(values)
    )
    study = study_designs(job, designs, lifts, progress=progress)
    drawn = np.array([int(each["draw"]) for each in study.designs.changes])[1:] - 1
    band = _band(study)
    results = np.column_stack([study.flow_area[1:], *(band[name][1:] for name in ("width", "mean diameter"))])
    head = job.valve.head_diameter
    scale = np.array([*np.full(len(study.lift), head**2), head, head])
    share, straight = _shares(off[drawn], results, scale)
    taken = study.throat_takes_over()
    found = taken[1:][np.isfinite(taken[1:])]
    return Tolerance(
        job=job,
        length=length,
        angle=angle,
        samples=samples,
        seed=seed,
        keys=drawn_keys(job, length, angle),
        lift=study.lift,
        present_area=study.flow_area[0],
        area=_distribution(study.flow_area[1:]),
        contact={
            **{name: _distribution(each[1:, None]) for name, each in band.items()},
            "throat takes over": _distribution(found[:, None]),
        },
        present={**{name: float(each[0]) for name, each in band.items()}, "throat takes over": float(taken[0])},
        share=share,
        straight=straight,
        takes_over=len(found),
        impossible=dict(Counter(_kind(reason) for _, _, reason in study.refused).most_common()),
    )


def _band(study: Study) -> dict[str, Array]:
    """Return width along the cone and mean diameter [m] of the worn-in band, each of shape (N,)."""
    contact, angle = study.contact, study.designs.dimensions.seat_angle
    inner, outer = contact.pressed_inner_radius, contact.pressed_outer_radius
    return {"width": (outer - inner) / np.cos(angle), "mean diameter": inner + outer}


def _distribution(draws: Array) -> Distribution:
    """Return mean, deviation and quantiles over draws (S, M)."""
    nothing = np.full(draws.shape[1], np.nan)
    if len(draws) < 2:
        return Distribution(nothing, nothing, nothing, nothing)
    low, high = np.quantile(draws, QUANTILES, axis=0)
    return Distribution(draws.mean(axis=0), draws.std(axis=0, ddof=1), low, high)


def _shares(off: Array, results: Array, scale: Array) -> tuple[Array, Array]:
    """Return parts of variance (M, K) by a linear fit of results (S, M) on deviations (S, K), and how much it holds.

    What scatters by less than rounding does at the results' scale, shape (M,), does not vary.
    """
    count, keys = results.shape[1], off.shape[1]
    if len(off) <= keys + 1:
        return np.full((count, keys), np.nan), np.full(count, np.nan)
    centred = results - results.mean(axis=0)
    places = off - off.mean(axis=0)
    slopes = np.linalg.lstsq(places, centred, rcond=None)[0].T
    total = np.sum(centred**2, axis=0)
    left = np.sum((centred - places @ slopes.T) ** 2, axis=0)
    squares = slopes**2
    sums = squares.sum(axis=1)
    varies = total > len(off) * (_NOISE * scale) ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(varies[:, None], squares / sums[:, None], np.nan)
        straight = np.where(varies, 1.0 - left / total, np.nan)
    return share, straight


def _kind(reason: str) -> str:
    """Return a reason without its numbers."""
    return re.split(r":|, not ", reason)[0]
