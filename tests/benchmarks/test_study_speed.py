"""Least passages of a seat study against one scipy minimisation a case, in the same run."""

import math
import time
import tracemalloc
from bisect import bisect_right
from itertools import pairwise

import numpy as np
import pytest
from scipy import optimize

from portviz.geometry.dimensions import dimensions
from portviz.geometry.passages import least_passages
from portviz.geometry.profiles import build_profiles

MM = 1e-3
LIFTS = np.linspace(0.5, 12.5, 25) * MM


def seats(count):
    """Designs about one with a top cut, three bottom cuts, a back cut and a fillet; invented."""
    rng = np.random.default_rng(1)

    def about(middle, reach):
        return (middle + reach * rng.uniform(-1.0, 1.0, count)) * MM

    return build_profiles(
        dimensions(
            head_radius=about(20.5, 0.3),
            stem_radius=3.5 * MM,
            seat_angle=np.radians(45.0),
            seat_width=about(1.5, 0.4),
            throat_radius=about(16.6, 0.4),
            top_cut_angle=np.radians(30.0),
            top_cut_width=about(1.0, 0.3),
            bottom_cut_angles=np.radians([52.0, 60.0, 68.0]),
            bottom_cut_widths=np.stack([about(0.6, 0.2), about(0.8, 0.2), about(0.8, 0.2)], axis=1),
            back_cut_angle=np.radians(30.0),
            back_cut_width=about(0.9, 0.3),
            fillet_radius=about(8.0, 2.0),
        )
    )


def seconds(action):
    start = time.perf_counter()
    action()
    return time.perf_counter() - start


class Chain:
    """A profile by arc length [m], as one would write it for an optimiser: corners, and maybe an arc at a part."""

    def __init__(self, corners, arc=None):
        self.corners = corners.tolist()
        self.arc = arc
        lengths = [math.dist(*part) for part in pairwise(self.corners)]
        if arc:
            lengths[4] = arc[2] * abs(arc[4] - arc[3])
        self.places = [0.0, *np.cumsum(lengths).tolist()]

    def at(self, place):
        part = min(max(bisect_right(self.places, place) - 1, 0), len(self.places) - 2)
        length = self.places[part + 1] - self.places[part]
        share = (place - self.places[part]) / length if length else 0.0
        if self.arc and part == 4:
            r, z, radius, first, last = self.arc
            angle = first + share * (last - first)
            return r + radius * math.cos(angle), z + radius * math.sin(angle)
        (r0, z0), (r1, z1) = self.corners[part], self.corners[part + 1]
        return r0 + share * (r1 - r0), z0 + share * (z1 - z0)

    def parts_at(self, place):
        """The one or two parts of some length that meet or lie at a place."""
        return [part for part in pairwise(self.places) if part[1] > part[0] and part[0] <= place <= part[1]]


def scipy_flow_area(profiles, design, lift, method):
    """The smaller passage of a case with scipy.optimize.minimize over the arc lengths of wall and valve [m2].

    The start is the best node of a grid, 80 places a side and every corner; with 40, some starts lie by the wrong
    valley. From it, minimise on each rectangle of parts that meets there: on both sides of a corner the area has a
    kink, which misleads a search across it.
    """
    wall, valve = profiles.wall[design].copy(), profiles.valve[design] - [0.0, lift]
    wall[-1, 1], valve[-1, 1] = wall[-2, 1] + 8 * MM, valve[-2, 1] + 20 * MM
    centre = profiles.fillet_centre[design] - [0.0, lift]
    arc = (*centre.tolist(), float(profiles.fillet_radius[design]), *profiles.fillet_angles[design].tolist())
    first, second = Chain(wall), Chain(valve, arc)

    def ring_times_length(places):
        (r0, z0), (r1, z1) = first.at(places[0] * MM), second.at(places[1] * MM)
        return (r0 + r1) * math.hypot(r0 - r1, z0 - z1) / MM**2

    nodes = [sorted({*np.linspace(0.0, each.places[-1], 80).tolist(), *each.places}) for each in (first, second)]
    points = [np.array([each.at(place) for place in own]) for each, own in zip((first, second), nodes, strict=True)]
    (r0, z0), (r1, z1) = (each.T for each in points)
    grid = (r0[:, None] + r1) * np.hypot(r0[:, None] - r1, z0[:, None] - z1)
    row, column = np.unravel_index(np.argmin(grid), grid.shape)
    start = np.array([nodes[0][row], nodes[1][column]])
    best = float(grid[row, column]) / MM**2
    for wall_part in first.parts_at(start[0]):
        for valve_part in second.parts_at(start[1]):
            # A hair inside the ends, so that each place belongs to its own part.
            bounds = [((low + 1e-12) / MM, (high - 1e-12) / MM) for low, high in (wall_part, valve_part)]
            found = optimize.minimize(
                ring_times_length, np.clip(start / MM, *np.transpose(bounds)), method=method, bounds=bounds
            )
            best = min(best, float(found.fun))
    return math.pi * best * MM**2


def test_a_study_against_one_scipy_minimisation_a_case():
    """At least 500 times faster; scipy's quicker method that is right to 1e-6 in every case of the sample.

    Nelder-Mead and Powell over the whole chains are slower and miss 1e-6 at some kinks; direct, shgo and differential
    evolution are slower by a further ten times.
    """
    profiles, sample = seats(4000), range(0, 4000, 250)
    found = least_passages(profiles, LIFTS).flow_area
    few = range(1, len(LIFTS), 4)
    cases = [(design, lift) for design in sample for lift in few]
    expected = np.array([found[case] for case in cases])
    per_case = {}
    for method in ("L-BFGS-B", "SLSQP"):
        areas = [scipy_flow_area(profiles, design, LIFTS[lift], method) for design, lift in cases]
        if np.max(np.abs(areas / expected - 1.0)) < 1e-6:
            per_case[method] = math.inf
    assert per_case
    ours = math.inf
    # Other work on the machine disturbs: the least of several rounds for either side.
    for _ in range(4):
        for method in per_case:
            whole = seconds(lambda: [scipy_flow_area(profiles, k, LIFTS[m], method) for k, m in cases])  # noqa: B023
            per_case[method] = min(per_case[method], whole / len(cases))
        ours = min(ours, *(seconds(lambda: least_passages(profiles, LIFTS)) for _ in range(4)))
    ours /= found.size
    method = min(per_case, key=per_case.get)
    ratio = per_case[method] / ours
    theirs = f"scipy's {method} {per_case[method] * 1e6:.0f} us"
    print(f"\na case of a study: {ours * 1e6:.2f} us; {theirs}, {ratio:.0f} times as long")
    assert ratio >= 500.0


def test_time_grows_with_the_number_of_designs_and_memory_stays_small():
    """Linear from 1,000 to 4,000 designs; 100,000 designs x 25 lifts below 1 GiB, results and all."""
    profiles = seats(100_000)
    some, more = (profiles.take(slice(0, count)) for count in (1000, 4000))
    # A few rounds, and the least disturbed one counts.
    growth = []
    while len(growth) < 5 and not (growth and min(growth) <= 4.0):
        small, large = (min(seconds(lambda: least_passages(each, LIFTS)) for _ in range(5)) for each in (some, more))  # noqa: B023
        growth.append(large / small)
    hundredfold = min(seconds(lambda: least_passages(profiles, LIFTS)) for _ in range(2)) / small
    told = []
    tracemalloc.start()
    found = least_passages(profiles, LIFTS, progress=told.append)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    kept = found.gap_area.nbytes + found.throat_area.nbytes
    print(
        f"\n1,000 to 4,000 designs: {min(growth):.2f} times as long; to 100,000: {hundredfold:.0f} times, and "
        f"{peak / 2**20:.0f} MiB, of which {kept / 2**20:.0f} MiB are results"
    )
    assert found.flow_area[::25_000] == pytest.approx(
        least_passages(profiles.take(slice(0, None, 25_000)), LIFTS).flow_area
    )
    assert told[-1] == 100_000
    assert len(told) > 100
    assert peak < 2**30
    assert min(growth) <= 6.0
    assert hundredfold <= 200.0
