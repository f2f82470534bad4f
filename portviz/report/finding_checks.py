"""What the rules of findings ask before they speak: is it shown, does it lean, are two stations surely apart.

A rule picks what it tells of out of all lifts, so that its tests count as one family: over the lifts, and the stations
where it looks at those, a false word comes up in at most one of twenty reports of two runs alike [Holm].
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from portviz.distribution.comparison import Comparison
from portviz.distribution.differences import Difference
from portviz.distribution.verdicts import NOT_SHOWN, expanded, holm, shift_p, two_sided_p, verdict
from portviz.report.finding_words import Facts

#: A bias below this is none worth a word [-].
_LEAST_BIAS = 0.005
#: The last step of lift levels off where it surely brings less than this part of what the step before did [-].
_LEVEL_PART = 0.5


def family_wise(comparison: Comparison) -> Comparison:
    """Return a comparison whose verdicts hold for all lifts together: of flow, closure, stations and bias."""
    lifts = comparison.lifts
    flow = _one_family([each.values["flow"] for each in lifts])
    velocity = _one_family([each.stations["velocity"] for each in lifts])
    bias = _one_family([each.bias.magnitude for each in lifts])
    closure = _one_family([each.values["closure"] for each in lifts])
    return replace(
        comparison,
        lifts=tuple(
            replace(
                each,
                values={**each.values, "flow": flow[place], "closure": closure[place]},
                stations={**each.stations, "velocity": velocity[place]},
                bias=replace(each.bias, magnitude=bias[place]),
            )
            for place, each in enumerate(lifts)
        ),
    )


def _one_family(differences: Sequence[Difference]) -> list[Difference]:
    p = [two_sided_p(each.difference, each.u, each.freedom) for each in differences]
    ends = np.cumsum([len(each) for each in p])
    shown = np.split(holm(np.concatenate(p)), ends[:-1])
    return [
        replace(each, verdicts=tuple(map(verdict, each.difference.tolist(), yeses.tolist())))
        for each, yeses in zip(differences, shown, strict=True)
    ]


def untold(difference: Difference, place: int) -> bool:
    """Tell if a difference is there and its uncertainty is known, but it is not shown."""
    known = np.isfinite(difference.difference[place]) and np.isfinite(difference.u[place])
    return bool(known) and difference.verdicts[place] == NOT_SHOWN


def groups_above_one(facts: Facts, run: int) -> list[int]:
    """Return the groups of a run whose closure is shown to be above 1, and those above 1 of which nothing is known."""
    groups = np.array(facts.open_groups(run), dtype=np.intp)
    over = facts.reduction.closure[groups] - 1.0
    spread = facts.uncertainty.closure.take(groups)
    freedom = spread.freedom(facts.uncertainty.readings.freedom[groups])
    # One-sided: below 1 is as it should be.
    p = 0.5 * two_sided_p(over, spread.standard, freedom)
    above = (over > 0.0) & (holm(np.where(over > 0.0, p, 1.0 - p)) | np.isnan(p))
    return [int(group) for group in groups[above]]


def leaning_groups(facts: Facts, run: int) -> list[int]:
    """Return the groups of a run whose bias is shown: more than uneven stations feign, and than its own uncertainty."""
    groups = facts.open_groups(run)
    shown = holm(np.array([_lean_p(facts, group) for group in groups]))
    return [
        group
        for group, yes in zip(groups, shown, strict=True)
        if yes and bool(facts.reduction.bias_told[group]) and facts.reduction.bias_magnitude[group] >= _LEAST_BIAS
    ]


def _lean_p(facts: Facts, group: int) -> float:
    """Return the chance of a bias at least as far from that of an even ring; NaN where it is not known."""
    reduction, known = facts.reduction, facts.uncertainty
    turn = np.exp(1j * np.radians([reduction.bias_angle_deg[group], reduction.even_bias_angle_deg[group]]))
    bias = reduction.bias_magnitude[group] * turn[0] - reduction.even_bias_magnitude[group] * turn[1]
    parts = np.stack([known.bias_common[:, group].real, known.bias_common[:, group].imag])
    covariance = known.bias[group] + parts @ parts.T
    return shift_p(np.array([bias.real, bias.imag]), covariance, float(known.readings.freedom[group]))


def surely_apart(facts: Facts, run: int) -> list[tuple[int, tuple[int, int]]]:
    """Return the groups of a run whose weakest and strongest station surely differ, with the places of the two.

    The two are picked out of all pairs of the ring, so that their test counts for as many (Bonferroni's bound). A ring
    in which air flows back has no weakest station in this sense.
    """
    groups = facts.open_groups(run)
    pairs = [_extremes(facts, group) for group in groups]
    shown = holm(np.array([p for p, _ in pairs]))
    velocity = facts.reduction.stations.velocity
    return [
        (group, pair)
        for group, (_, pair), yes in zip(groups, pairs, shown, strict=True)
        if yes and velocity[pair[0]] >= 0.0
    ]


def _extremes(facts: Facts, group: int) -> tuple[float, tuple[int, int]]:
    """Return the chance that the extremes of an even ring lie as far apart, and their places."""
    part = facts.reduction.stations_of(group)
    velocity, spread = facts.reduction.stations.velocity[part], facts.uncertainty.velocity.take(part)
    weak, strong = int(np.argmin(velocity)), int(np.argmax(velocity))
    count = len(velocity)
    own = np.hypot(spread.independent[weak], spread.independent[strong])
    common = np.sqrt(np.sum((spread.common[:, strong] - spread.common[:, weak]) ** 2))
    u = np.hypot(np.hypot(own, common), np.hypot(spread.stated[weak], spread.stated[strong]))
    freedom = float(facts.uncertainty.readings.freedom[group])
    p = float(two_sided_p(np.array([velocity[strong] - velocity[weak]]), np.array([u]), freedom)[0])
    chance = min(p * count * (count - 1) / 2.0, 1.0) if np.isfinite(p) else np.nan
    return chance, (part.start + weak, part.start + strong)


@dataclass(frozen=True)
class LastStep:
    """The last step of lift of a run, at the last lift's test pressure and air.

    Parameters
    ----------
    groups : tuple of int
        The lower and the upper group.
    gain, u : float
        Of flow, and its standard uncertainty [m3/s].
    before : float
        What the step before would have brought over as much lift [m3/s].
    falls : bool
        True where the flow surely falls.
    """

    groups: tuple[int, int]
    gain: float
    u: float
    before: float
    falls: bool


def last_step(facts: Facts, run: int) -> LastStep | None:
    """Return the last step of lift of a run, where flow surely levels off or falls in it; None where it does not."""
    reduction, known = facts.reduction, facts.uncertainty.bench_flow
    groups = [group for group in facts.open_groups(run) if np.isfinite(reduction.bench_flow[group])]
    if len(groups) < 3:
        return None
    lower, low, high = groups[-3:]
    lift = reduction.lift
    per_area = reduction.ideal_mass_flux / reduction.upstream_density
    flow = reduction.bench_flow / per_area * per_area[high]
    scale = float(per_area[high] / per_area[low])
    gain = float(flow[high] - flow[low])
    before = float((flow[low] - flow[lower]) / (lift[low] - lift[lower]) * (lift[high] - lift[low]))
    first, second = known.take(np.array([low])).scaled(scale), known.take(np.array([high]))
    parts = [first.independent, first.stated, second.independent, second.stated, *(second.common - first.common)]
    u = float(np.sqrt(np.sum(np.square(parts))))
    most = gain + float(expanded(u, np.inf))
    if not (u > 0.0 and before > 0.0 and most < _LEVEL_PART * before):
        return None
    return LastStep((low, high), gain, u, before, most < 0.0)
