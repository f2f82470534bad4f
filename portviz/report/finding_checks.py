"""What the rules of findings ask before they speak: is it shown, does it lean, are two stations surely apart."""

from __future__ import annotations

import numpy as np

from portviz.distribution.differences import Difference
from portviz.distribution.verdicts import LEVEL, NOT_SHOWN, expanded, shift_p, two_sided_p
from portviz.report.finding_words import Facts


def untold(difference: Difference, place: int) -> bool:
    """Tell if a difference is there and its uncertainty is known, but it is not shown."""
    known = np.isfinite(difference.difference[place]) and np.isfinite(difference.u[place])
    return bool(known) and difference.verdicts[place] == NOT_SHOWN


def leans(facts: Facts, group: int) -> bool:
    """Tell if a group's bias is shown to be one: more than uneven stations feign, and than its own uncertainty."""
    reduction, known = facts.reduction, facts.uncertainty
    if not bool(reduction.bias_told[group]) or not np.isfinite(reduction.bias_magnitude[group]):
        return False
    turn = np.exp(1j * np.radians([reduction.bias_angle_deg[group], reduction.even_bias_angle_deg[group]]))
    bias = reduction.bias_magnitude[group] * turn[0] - reduction.even_bias_magnitude[group] * turn[1]
    parts = np.stack([known.bias_common[:, group].real, known.bias_common[:, group].imag])
    covariance = known.bias[group] + parts @ parts.T
    return shift_p(np.array([bias.real, bias.imag]), covariance, float(known.readings.freedom[group])) <= LEVEL


def surely_apart(facts: Facts, group: int) -> tuple[int, int] | None:
    """Return the places of the weakest and the strongest station, or None where they may be alike.

    The two were picked out of all pairs of the ring, so that their test counts for as many (Bonferroni's bound).
    """
    part = facts.reduction.stations_of(group)
    velocity, spread = facts.reduction.stations.velocity[part], facts.uncertainty.velocity.take(part)
    weak, strong = int(np.argmin(velocity)), int(np.argmax(velocity))
    count = len(velocity)
    own = np.hypot(spread.independent[weak], spread.independent[strong])
    common = np.sqrt(np.sum((spread.common[:, strong] - spread.common[:, weak]) ** 2))
    u = np.hypot(np.hypot(own, common), np.hypot(spread.stated[weak], spread.stated[strong]))
    freedom = float(facts.uncertainty.readings.freedom[group])
    p = float(two_sided_p(np.array([velocity[strong] - velocity[weak]]), np.array([u]), freedom)[0])
    if not p * count * (count - 1) / 2.0 <= LEVEL:
        return None
    return part.start + weak, part.start + strong


def last_step(facts: Facts, run: int) -> tuple[tuple[int, int], float, float] | None:
    """Return the last two groups with flow, the gain between them [m3/s] and its uncertainty, where none is shown.

    The lower one's flow stands for the upper one's test pressure and air, at the effective area that it was.
    """
    reduction, known = facts.reduction, facts.uncertainty.bench_flow
    groups = [group for group in facts.open_groups(run) if np.isfinite(reduction.bench_flow[group])]
    if len(groups) < 2:
        return None
    low, high = groups[-2:]
    per_area = reduction.ideal_mass_flux / reduction.upstream_density
    scale = float(per_area[high] / per_area[low])
    gain = float(reduction.bench_flow[high] - scale * reduction.bench_flow[low])
    first, second = known.take(np.array([low])).scaled(scale), known.take(np.array([high]))
    parts = [first.independent, first.stated, second.independent, second.stated, *(second.common - first.common)]
    u = float(np.sqrt(np.sum(np.square(parts))))
    if not u > 0.0 or abs(gain) > float(expanded(u, np.inf)):
        return None
    return (low, high), gain, u
