"""Inverse questions: the widest seat and the largest throat that do, and all that is possible; see `recut` for cuts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from portviz.distribution.areas import length_text
from portviz.distribution.designs import Designs, own_dimensions, varied_designs
from portviz.distribution.study import Study, StudyBase, study_designs
from portviz.errors import UsageError
from portviz.geometry.contact import seat_contact
from portviz.geometry.ends import passage_ends
from portviz.geometry.passages import TIE, least_passages
from portviz.geometry.profiles import possible_profiles
from portviz.job.model import Array, Job, Mask

#: Values at which a criterion is looked at before its edges are refined.
_VALUES = 321
#: Narrowest seat that is looked at [m], and the outer diameter of the widest, over the head's [-].
_NARROWEST, _OUTERMOST = 1e-4, 1.05
#: Lifts at which gap and throat are compared, up to the one asked for.
_LIFTS = 160
#: Edges are found to this [m], and a design stands inside by twice as much.
EDGE = 1e-9
#: A flow area that changes by less, over the present one, does not depend on the seat [-].
_FLAT = 1e-4
#: A criterion this much short of what was asked, relative, meets it.
_SLACK = 1e-12


@dataclass(frozen=True)
class Course:
    """A criterion over the dimension that was looked for.

    Parameters
    ----------
    key : str
        The dimension, mostly a key of job.toml.
    value : ndarray, shape (K,)
        [m], ascending.
    columns : dict of str to ndarray, shape (K,)
        By name, those that end in ``_m`` in metres; NaN where there is no such design.
    reasons : tuple of (str or None), length K
        Why there is none.
    fits : ndarray of bool, shape (K,)
    """

    key: str
    value: Array
    columns: dict[str, Array]
    reasons: tuple[str | None, ...]
    fits: Mask


@dataclass(frozen=True)
class Answer:
    """What was found.

    Parameters
    ----------
    what : str
        "width", "cuts" or "throat".
    asked : dict of str to (float or str)
        In SI.
    none : str or None
        Why there is no such design.
    ranges : tuple of (float, float)
        All values that fit, as stretches [m]; ends are where the criterion or the possible ends.
    remarks : tuple of str
        What bounds the answer, and what to know of it.
    course : Course
    study : Study
        The present design, and those found.
    figures : dict of str to float
        What else is known of the design found, by a name that ends in its unit.
    """

    what: str
    asked: dict[str, float | str]
    none: str | None
    ranges: tuple[tuple[float, float], ...]
    remarks: tuple[str, ...]
    course: Course
    study: Study
    figures: dict[str, float]


def find_width(job: Job, base: StudyBase, keep: float, lift: float, hold: str = "outer") -> Answer:
    """Return the widest seat that keeps a part of the present flow area at a lift.

    Parameters
    ----------
    job : Job
    base : StudyBase
    keep : float
        Least flow area over the present one [-].
    lift : float
        [m], above zero.
    hold : str
        What of the seat stays where it is: "outer", "contact" or "inner".

    Raises
    ------
    UsageError
        If something else is to be held.
    """
    if hold not in ("outer", "contact", "inner"):
        raise UsageError(f"hold: {hold!r} can't be held while the width is looked for; only outer, contact, inner can")
    key = "seat.width"
    present = _Criterion(job, key, (hold,), np.array([lift]), lambda gap, throat: np.minimum(gap, throat)[:, 0])
    criterion = present.scaled(1.0 / present.own())
    widest, why = _widest(job, hold)
    # The present width stands among them, so that what little room there is is never missed.
    values = np.union1d(np.linspace(min(_NARROWEST, job.seat.width), widest, _VALUES), job.seat.width)
    course, ranges, ends = criterion.ranges(values, keep, "flow_area_over_present")
    remarks, none, found = [], None, {}
    if ranges:
        low, high = ranges[-1]
        found["widest"] = high
        if ends[-1][1] == "end":
            remarks.append(f"clipped: seats wider than {length_text(job, widest)} were not looked at, as {why}")
        elif ends[-1][1] != "criterion":
            remarks.append(f"any wider is impossible: {ends[-1][1]}")
        if ends[-1][0] == "criterion":
            found["narrowest"] = low
        elif ends[-1][0] == "end":
            remarks.append(f"narrower ones fit down to {length_text(job, low)}, the narrowest looked at")
        else:
            remarks.append(f"any narrower is impossible: {ends[-1][0]}")
        spread = course.columns["flow_area_over_present"]
        if np.nanmax(spread) - np.nanmin(spread) < _FLAT:
            remarks.append("at this lift the flow area does not depend on the seat's width: other parts hold it")
        if len(ranges) > 1:
            remarks.append(f"{len(ranges)} separate ranges fit; the widest of all stands for the answer")
    else:
        none = _most(job, course, "flow_area_over_present", "keeps", f"{100.0 * keep:g} %")
    made = varied_designs(job, {key: np.array(list(found.values()))}, (hold,)) if found else None
    return Answer(
        what="width",
        asked={"keep": keep, "lift_m": lift, "hold": hold},
        none=none,
        ranges=tuple(ranges),
        remarks=tuple(remarks),
        course=course,
        study=checked_study(job, base, made, tuple(found), [lift]),
        figures={},
    )


def _widest(job: Job, hold: str) -> tuple[float, str]:
    """Return the greatest seat width that is looked at [m], and why no wider one is."""
    own = own_dimensions(job)
    outermost = max(_OUTERMOST * own.head_radius[0], own.seat_outer_radius[0])
    contact = seat_contact(own)
    middle = 0.5 * (contact.pressed_inner_radius[0] + contact.pressed_outer_radius[0])
    radial = {
        "outer": own.seat_outer_radius[0] - 0.98 * own.throat_radius[0],
        "contact": 2.0 * (outermost - middle),
        "inner": outermost - own.seat_inner_radius[0],
    }[hold]
    widest = float(radial / np.cos(own.seat_angle[0]))
    covered = _covered(job, hold, job.seat.width)
    if covered and not _covered(job, hold, widest):
        low, high = job.seat.width, widest
        while high - low > 0.5 * EDGE:
            middle = 0.5 * (low + high)
            low, high = (middle, high) if _covered(job, hold, middle) else (low, middle)
        return low, "the valve's face would not cover the band"
    return widest, (
        f"their outer edge would stand {100.0 * (_OUTERMOST - 1.0):.0f} % beyond the valve's head"
        if hold != "outer"
        else "nothing would be left of the throat"
    )


def _covered(job: Job, hold: str, width: float) -> bool:
    """Tell if the valve's face covers the whole seat band."""
    contact = seat_contact(varied_designs(job, {"seat.width": np.array([width])}, (hold,)).dimensions)
    return bool(contact.overhang[1] >= -EDGE and contact.bare[1] <= EDGE)


def find_throat(job: Job, base: StudyBase, up_to: float) -> Answer:
    """Return the largest throat with which the gap limits the flow at every lift up to one.

    Parameters
    ----------
    job : Job
    base : StudyBase
    up_to : float
        [m], above zero.

    Notes
    -----
    A throat can be as large as the seat band's inner edge; from some size on it trims the bottom cuts. What keeps the
    gap the limit is a throat large enough, so that the smallest one that does is told as well.
    """
    key = "seat.throat_diameter"
    own = own_dimensions(job)
    largest, smallest = 2.0 * float(own.seat_inner_radius[0]), 2.0 * float(own.stem_radius[0])
    lifts = up_to * np.arange(1, _LIFTS + 1) / _LIFTS
    criterion = _Criterion(job, key, (), lifts, lambda gap, throat: np.min(throat / gap, axis=1))
    values = np.union1d(np.linspace(smallest, largest, _VALUES), job.seat.throat_diameter)
    course, ranges, ends = criterion.ranges(values, 1.0 - TIE, "least_throat_over_gap")
    cuts = np.sum(own.bottom_cut_widths[0] * np.cos(own.bottom_cut_angles[0]))
    whole = largest - 2.0 * float(cuts)
    remarks, none, found, figures = [], None, {}, {}
    if ranges:
        low, high = ranges[-1]
        found["largest"] = high
        if ends[-1][1] == "end":
            remarks.append(
                f"clipped: no throat is larger than the seat band's inner edge, {length_text(job, largest)}; a larger "
                "one needs a narrower seat or one farther out"
            )
        elif ends[-1][1] != "criterion":
            remarks.append(f"clipped: any larger is impossible: {ends[-1][1]}")
        if ends[-1][0] == "criterion":
            found["smallest"] = low
            remarks.append(
                f"from {length_text(job, low)} on the throat is large enough; a larger one moves the limit no further "
                "at these lifts, as the gap holds it"
            )
        if cuts > 0.0 and high > whole + EDGE:
            figures["bottom_cuts_trimmed_from_m"] = whole
            remarks.append(f"from {length_text(job, whole)} on the throat takes away from the bottom cuts")
    else:
        none = _most(job, course, "least_throat_over_gap", "brings the throat over the gap to", "1")
        none += _other_passage(job, key, course, lifts)
    made = varied_designs(job, {key: np.array(list(found.values()))}) if found else None
    return Answer(
        what="throat",
        asked={"up_to_m": up_to},
        none=none,
        ranges=tuple(ranges),
        remarks=tuple(remarks),
        course=course,
        study=checked_study(job, base, made, tuple(found), [up_to]),
        figures=figures,
    )


def _other_passage(job: Job, key: str, course: Course, lifts: Array) -> str:
    """Return in words which passage other than the gap is the narrower, with the throat that comes nearest."""
    values = course.columns["least_throat_over_gap"]
    if np.all(np.isnan(values)):
        return ""
    best = course.value[[int(np.nanargmax(values))]]
    profiles, _, _ = possible_profiles(varied_designs(job, {key: best}).dimensions.take(slice(1, 2)))
    passages = least_passages(profiles, lifts, lines=True)
    taken = np.flatnonzero(~passages.limited_by_gap[0])
    if not len(taken) or passages.throat_line is None:
        return ""
    (wall, valve) = passage_ends(profiles, passages.throat_line[0, taken[:1]], lifts[taken[:1]])[0]
    return (
        f". There the passage from {wall} to {valve} is the narrower from about "
        f"{length_text(job, float(lifts[taken[0]]))} on"
    )


def _most(job: Job, course: Course, name: str, verb: str, wanted: str) -> str:
    """Return in words that no value fits, and how near the best one comes."""
    values = course.columns[name]
    if np.all(np.isnan(values)):
        return f"no {course.key} makes a valve and seat: {course.reasons[0]}"
    best = int(np.nanargmax(values))
    return (
        f"no possible {course.key} {verb} {wanted}; the most is {values[best]:.4f}, at "
        f"{length_text(job, float(course.value[best]))}"
    )


@dataclass(frozen=True)
class _Criterion:
    """A number of a design that is to reach a level, over one dimension."""

    job: Job
    key: str
    holds: tuple[str, ...]
    lifts: Array
    measure: Callable[[Array, Array], Array]

    def scaled(self, factor: float) -> _Criterion:
        return replace(self, measure=lambda gap, throat: factor * self.measure(gap, throat))

    def own(self) -> float:
        """Return the criterion of the job as it stands."""
        return float(self._of(varied_designs(self.job, {}, ()))[0][0])

    def at(self, values: Array) -> tuple[Array, dict[int, str]]:
        """Return the criterion, shape (K,), NaN where there is no design, and why by place."""
        found, reasons = self._of(varied_designs(self.job, {self.key: values}, self.holds))
        return found[1:], {place - 1: reason for place, reason in reasons.items()}

    def _of(self, designs: Designs) -> tuple[Array, dict[int, str]]:
        profiles, possible, reasons = possible_profiles(
            designs.dimensions, lambda length: length_text(self.job, length)
        )
        found = np.full(len(possible), np.nan)
        if possible.any():
            passages = least_passages(profiles, self.lifts)
            found[possible] = self.measure(passages.gap_area, passages.throat_area)
        return found, reasons

    def ranges(
        self, values: Array, level: float, name: str
    ) -> tuple[Course, list[tuple[float, float]], list[tuple[str, str]]]:
        """Return the course, the stretches of values that reach the level, and what ends each at either side.

        An end is "criterion", "end" of what was looked at, or the reason why a design is none.
        """
        found, reasons = self.at(values)
        reached = level - _SLACK * abs(level)
        with np.errstate(invalid="ignore"):
            fits = found >= reached
        edges = np.flatnonzero(np.diff(np.concatenate([[False], fits, [False]]).astype(np.int8)))
        ranges, ends = [], []
        for first, after in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            low, low_end = self._edge(values, found, reasons, first, first - 1, reached)
            high, high_end = self._edge(values, found, reasons, after - 1, after, reached)
            ranges.append((low, high))
            ends.append((low_end, high_end))
        told = tuple(reasons.get(place) for place in range(len(values)))
        return Course(self.key, values, {name: found}, told, fits), ranges, ends

    def _edge(
        self, values: Array, found: Array, reasons: Mapping[int, str], inside: int, outside: int, level: float
    ) -> tuple[float, str]:
        """Return the last value that fits between one inside and one outside, and what ends it."""
        from scipy.optimize import bisect, brentq

        if not 0 <= outside < len(values):
            return float(values[inside]), "end"

        def over(value: float) -> float:
            return float(self.at(np.array([value]))[0][0] - level)

        def fits(value: float) -> float:
            return 1.0 if over(value) >= 0.0 else -1.0

        # A level that is met at once, a shared corner, or a design that is none, leave no crossing to a secant.
        smooth = np.isfinite(found[outside]) and found[inside] > level
        root = (brentq if smooth else bisect)(over if smooth else fits, values[inside], values[outside], xtol=EDGE)
        side = np.sign(values[inside] - values[outside])
        at = float(root + 2.0 * EDGE * side)
        if fits(at) < 0.0:
            # The secant met a jump.
            at = float(bisect(fits, values[inside], values[outside], xtol=EDGE) + 2.0 * EDGE * side)
        beyond = self.at(np.array([at - 8.0 * EDGE * side]))
        return at, beyond[1].get(0, "criterion") if np.isnan(beyond[0][0]) else "criterion"


def checked_study(job: Job, base: StudyBase, made: Designs | None, names: tuple[str, ...], lifts: list[float]) -> Study:
    """Return the study of the present design and those found: everything worked out anew."""
    designs = varied_designs(job, {}) if made is None else replace(made, names=(None, *names))
    at = np.unique([*base.lifts, *lifts])
    return study_designs(job, designs, at, coefficients=base.coefficients, event=base.event)
