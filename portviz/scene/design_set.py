"""Designs that a window goes through, padded so that all have the same parts, and the lift that tells them apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portviz.distribution.areas import length_text
from portviz.distribution.designs import named_designs
from portviz.errors import UsageError
from portviz.geometry.dimensions import Dimensions
from portviz.geometry.passages import least_passages
from portviz.geometry.profiles import Profiles, possible_profiles
from portviz.job.design_file import NamedDesign
from portviz.job.model import Array, Job
from portviz.scene.state import ViewState

_HALVINGS = 7


@dataclass(frozen=True)
class DesignSet:
    """N designs that have the same number of bottom cuts, the first one the job as it stands.

    Parameters
    ----------
    names : tuple of str
    jobs : tuple of Job
        With the valve and seat of each.
    dimensions : Dimensions
    profiles : Profiles
        A cut that a design does not have is there without length, so that meshes of all have the same faces.
    refused : tuple of str
        Designs of the file that make no valve and seat, in words.
    numbers : tuple of int
        Of each design in the file, counted from one; zero is the job as it stands.
    """

    names: tuple[str, ...]
    jobs: tuple[Job, ...]
    dimensions: Dimensions
    profiles: Profiles
    refused: tuple[str, ...]
    numbers: tuple[int, ...]

    @property
    def count_words(self) -> str:
        """How many designs the file holds, and how many of them make no seat."""
        refused = len(self.refused)
        none = f", {refused} make{'s' if refused == 1 else ''} no seat" if refused else ""
        return f"{len(self.names) - 1 + refused}{none}"

    def profiles_of(self, place: int) -> Profiles:
        """Return the profiles of one design."""
        return self.profiles.take(slice(place, place + 1))


def design_set(job: Job, named: tuple[NamedDesign, ...]) -> DesignSet:
    """Return the job as it stands and the possible designs of a file.

    Raises
    ------
    UsageError
        If no design of the file makes a valve and seat.
    """
    made = named_designs(job, named)
    profiles, possible, reasons = possible_profiles(made.dimensions, lambda length: length_text(job, length))
    places = np.flatnonzero(possible)
    refused = tuple(
        f"design {made.names[place]!r} can't be shown: {reason}" for place, reason in sorted(reasons.items())
    )
    if len(places) < 2:
        raise UsageError(f"designs: none of them makes a valve and seat; {refused[-1]}")
    jobs = [job, *(each.job for each in named)]
    names = ["present", *(each.name for each in named)]
    return DesignSet(
        tuple(names[place] for place in places.tolist()),
        tuple(jobs[place] for place in places.tolist()),
        made.dimensions.take(places),
        profiles,
        refused,
        tuple(places.tolist()),
    )


def gap_limits_up_to(profiles: Profiles, highest: float) -> Array:
    """Return the lift [m] up to which the gap is the narrowest passage of each design, shape (N,).

    NaN where it is up to the highest lift. Found on a hundred lifts, then halved out.
    """
    lifts = np.linspace(0.0, highest, 101)[1:]
    other = ~least_passages(profiles, lifts).limited_by_gap
    first = np.argmax(other, axis=1)
    high = lifts[first]
    low = high - lifts[0]
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        gap = least_passages(profiles, middle[:, None]).limited_by_gap[:, 0]
        low, high = np.where(gap, middle, low), np.where(gap, high, middle)
    return np.where(other.any(axis=1), 0.5 * (low + high), np.nan)


def opening_lift(state: ViewState, designs: DesignSet) -> float:
    """Return the measured lift [m] to open at: the lowest or that at half the greatest, where designs differ more."""
    above = state.measured_lifts[state.measured_lifts > 0.0]
    if not len(above):
        return state.lift
    middle = above[np.argmin(np.abs(above - 0.5 * above[-1]))]
    choices = np.array([above[0], middle])
    area = least_passages(designs.profiles, choices).flow_area
    return float(choices[np.argmax(np.ptp(area / area[0], axis=0))])
