"""How well the passages are known: what uncertain lengths and lifts do to every area."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from portviz.distribution.areas import Areas, job_dimensions
from portviz.geometry.dimensions import Dimensions, broken_rules
from portviz.geometry.passages import least_passages
from portviz.geometry.profiles import Profiles, build_profiles
from portviz.job.model import Array, Job

#: Lengths of the valve and of the seat as `Dimensions` hold them, and what one of a typed length is there.
_VALVE = {
    "head_radius": 0.5,
    "stem_radius": 0.5,
    "face_width": 1.0,
    "margin": 1.0,
    "back_cut_width": 1.0,
    "fillet_radius": 1.0,
}
_SEAT = {"seat_width": 1.0, "seat_outer_radius": 0.5, "top_cut_width": 1.0, "throat_radius": 0.5}
#: Step of the differences [m]: far above rounding, far below what moves a passage to another corner.
_STEP = 1e-7


@dataclass(frozen=True)
class AreaUncertainty:
    """Relative standard uncertainty of the areas at M lifts [-]; zero where nothing is stated.

    Parameters
    ----------
    curtain, gap, throat, flow, head : ndarray, shape (2, M)
        From the lengths of valve and seat, which all runs of a job share, and from the lift, which is
        set anew each time.
    """

    curtain: Array
    gap: Array
    throat: Array
    flow: Array
    head: Array


def area_uncertainty(job: Job, areas: Areas, profiles: Profiles) -> AreaUncertainty:
    """Return what uncertain lengths and lifts do to the areas.

    Notes
    -----
    The linear law of propagation [JCGM-100] 5.1, with the slopes by central differences of the exact
    passages; each length errs for itself.
    """
    # Many runs share their lifts: each is looked at once.
    lift, first, level = np.unique(areas.lift, return_index=True, return_inverse=True)
    by_length, by_lift = np.zeros((3, len(lift))), np.zeros((3, len(lift)))
    base = job_dimensions(job) if job.valve.length_uncertainty or job.seat.length_uncertainty else None
    if base is not None:
        lengths = _uncertain_lengths(job, base)
        designs, steps, sizes = _stepped(base, lengths)
        by_length = np.sqrt(np.sum((_slopes(designs, lift, steps) * sizes[:, None]) ** 2, axis=1))
    uncertainty = job.bench.lift_uncertainty or 0.0
    if uncertainty:
        below, above = np.maximum(lift - _STEP, 0.0), lift + _STEP
        moved = least_passages(profiles, np.concatenate([below, above]))
        pairs = [getattr(moved, name)[0].reshape(2, -1) for name in ("gap_area", "throat_area", "flow_area")]
        by_lift = np.stack([uncertainty * (high - low) / (above - below) for low, high in pairs])
    head = (job.valve.length_uncertainty or 0.0) / job.valve.head_diameter
    with np.errstate(divide="ignore", invalid="ignore"):
        parts = [
            np.stack([by_length[row], np.abs(by_lift[row])]) / area[first]
            for row, area in enumerate((areas.gap_area, areas.throat_area, areas.flow_area))
        ]
        curtain = np.stack([np.full(lift.shape, head), uncertainty / lift])
    of_head = np.stack([np.full(lift.shape, 2.0 * head), np.zeros(lift.shape)])
    return AreaUncertainty(*(part[:, level] for part in (curtain, *parts, of_head)))


def _uncertain_lengths(job: Job, base: Dimensions) -> list[tuple[str, int, float, float]]:
    """Return name, column, radius or length per typed length, and uncertainty [m] of each length there is."""
    found = []
    for names, uncertainty in ((_VALVE, job.valve.length_uncertainty), (_SEAT, job.seat.length_uncertainty)):
        if uncertainty is not None:
            found += [(name, -1, part, uncertainty) for name, part in names.items() if getattr(base, name)[0] > 0.0]
    if job.seat.length_uncertainty is not None:
        cuts = range(base.bottom_cut_widths.shape[1])
        found += [("bottom_cut_widths", cut, 1.0, job.seat.length_uncertainty) for cut in cuts]
    return found


def _stepped(base: Dimensions, lengths: list[tuple[str, int, float, float]]) -> tuple[Dimensions, Array, Array]:
    """Return two designs a length, a step above and below it, with the steps [m] (L, 2) and uncertainties (L,)."""
    count = 2 * len(lengths)
    arrays = {name: np.repeat(getattr(base, name), count, axis=0) for name in base.__dataclass_fields__}
    steps = np.tile([_STEP, -_STEP], (len(lengths), 1))
    for row, (name, column, part, _) in enumerate(lengths):
        place = (slice(2 * row, 2 * row + 2), column) if column >= 0 else slice(2 * row, 2 * row + 2)
        arrays[name][place] += part * steps[row]
    designs = Dimensions(**arrays)
    # A step may leave what dimensions must keep, as where two parts just meet: the slope is then one-sided.
    for _, mask in broken_rules(designs):
        for design in np.flatnonzero(mask):
            steps[divmod(int(design), 2)] = 0.0
            for name in arrays:
                arrays[name][design] = getattr(base, name)[0]
    return replace(designs, **arrays), steps, np.array([uncertainty for *_, uncertainty in lengths])


def _slopes(designs: Dimensions, lift: Array, steps: Array) -> Array:
    """Return the slopes of gap, throat and flow area over each length, shape (3, L, M)."""
    passages = least_passages(build_profiles(designs), lift)
    width = steps[:, 0] - steps[:, 1]
    slopes = []
    for area in (passages.gap_area, passages.throat_area, passages.flow_area):
        pairs = area.reshape(len(steps), 2, -1)
        slopes.append((pairs[:, 0] - pairs[:, 1]) / np.where(width > 0.0, width, np.inf)[:, None])
    return np.array(slopes)
