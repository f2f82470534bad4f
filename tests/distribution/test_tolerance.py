"""Machining tolerances: against the linear law for small ones, a plain loop, closed forms of rectangular draws."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from portviz.distribution.areas import areas_at, job_profiles
from portviz.distribution.tolerance import SEED, draw_values, drawn_keys, tolerance_study
from portviz.errors import JobError
from portviz.job.model import Cut, Job, Seat, Valve
from portviz.job.read import read_job

MM = 1e-3
deg = math.radians
LIFTS = np.array([1.0, 4.0, 8.0, 11.0]) * MM


@pytest.fixture(scope="module")
def job(examples: Path) -> Job:
    return read_job(examples / "sidecar_intake")


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory, small_job: str) -> Job:
    folder = tmp_path_factory.mktemp("small")
    (folder / "job.toml").write_text(small_job, encoding="utf-8")
    return read_job(folder)


def built(job: Job, off: dict[str, float]) -> Job:
    """The job with the dimensions of job.toml put to other values, by an own list of what there is."""
    valve, seat = job.valve, job.seat
    back, top, cuts = valve.back_cut, seat.top_cut, list(seat.bottom_cuts)
    own: dict[str, object] = {}
    for key, value in off.items():
        if key.startswith("valve.back_cut."):
            back = replace(back, **{key.split(".")[-1]: value})
        elif key.startswith("seat.top_cut."):
            top = replace(top, **{key.split(".")[-1]: value})
        elif key.startswith("seat.bottom_cuts"):
            number = int(key[len("seat.bottom_cuts[")]) - 1
            cuts[number] = replace(cuts[number], **{key.split(".")[-1]: value})
        else:
            own[key] = value
    valve = replace(valve, back_cut=back, **{key[6:]: value for key, value in own.items() if key.startswith("valve.")})
    seat = replace(
        seat, top_cut=top, bottom_cuts=tuple(cuts), **{key[5:]: v for key, v in own.items() if key.startswith("seat.")}
    )
    return replace(job, valve=valve, seat=seat)


def test_every_dimension_that_there_is_is_drawn(job: Job, small: Job) -> None:
    """Counted from the data classes: all lengths and angles of valve and seat, those of cuts too."""

    def counted(part: Valve | Seat) -> int:
        count = 0
        for name in part.__dataclass_fields__:
            value = getattr(part, name)
            if isinstance(value, Cut):
                count += 2
            elif isinstance(value, tuple):
                count += 2 * len(value)
            elif isinstance(value, float) and value > 0.0 and name not in ("seat_force", "gas_pressure"):
                count += 1
        return count

    for each in (job, small):
        keys = drawn_keys(each, 1e-5, 1e-3)
        assert len(keys) == len(set(keys)) == counted(each.valve) + counted(each.seat)
    assert all(key.endswith("angle") for key in drawn_keys(job, 0.0, 1e-3))
    assert not any(key.endswith("angle") for key in drawn_keys(job, 1e-5, 0.0))


def test_draws_are_even_within_the_tolerance(job: Job) -> None:
    """A rectangular distribution: bounds, mean, and deviation t / sqrt(3) [JCGM-100] 4.3.7 (from memory)."""
    values, off = draw_values(job, 0.05 * MM, deg(0.5), 20_000)
    keys = drawn_keys(job, 0.05 * MM, deg(0.5))
    assert off.shape == (20_000, len(keys))
    for key in keys:
        step = deg(0.5) if key.endswith("angle") else 0.05 * MM
        drawn = values[key][1:] - values[key][0]
        assert np.all(np.abs(drawn) <= step * (1.0 + 1e-9))
        # Five standard errors of mean and deviation.
        assert abs(drawn.mean()) < 5.0 * step / math.sqrt(3.0 * 20_000)
        assert drawn.std() == pytest.approx(step / math.sqrt(3.0), rel=0.02)
        assert np.histogram(drawn / step, bins=4, range=(-1.0, 1.0))[0] == pytest.approx([5000] * 4, rel=0.07)
    # Each by itself: no two go together more than chance lets them.
    together = np.corrcoef(off.T) - np.eye(len(keys))
    assert np.abs(together).max() < 5.0 / math.sqrt(20_000)


def test_a_plain_loop_gives_the_same(job: Job) -> None:
    """Each of 120 draws as a job of its own: areas, mean, deviation and quantiles by numpy over that list."""
    samples = 120
    found = tolerance_study(job, LIFTS, 0.05 * MM, deg(0.5), samples)
    values, _ = draw_values(job, 0.05 * MM, deg(0.5), samples)
    keys = drawn_keys(job, 0.05 * MM, deg(0.5))
    areas, widths, middles = [], [], []
    for draw in range(1, samples + 1):
        one = built(job, {key: float(values[key][draw]) for key in keys})
        areas.append(areas_at(one, job_profiles(one), LIFTS).flow_area)
        inner = max(
            one.valve.head_diameter - 2.0 * one.valve.face_width * math.cos(one.valve.face_angle),
            one.seat.outer_diameter - 2.0 * one.seat.width * math.cos(one.seat.angle),
        )
        outer = min(one.valve.head_diameter, one.seat.outer_diameter)
        widths.append(0.5 * (outer - inner) / math.cos(one.seat.angle))
        middles.append(0.5 * (outer + inner))
    for part, expected in (
        (found.area, np.array(areas)),
        (found.contact["width"], np.array(widths)[:, None]),
        (found.contact["mean diameter"], np.array(middles)[:, None]),
    ):
        assert part.mean == pytest.approx(expected.mean(axis=0), rel=1e-10)
        assert part.deviation == pytest.approx(expected.std(axis=0, ddof=1), rel=1e-6)
        assert part.low == pytest.approx(np.quantile(expected, 0.025, axis=0), rel=1e-10)
        assert part.high == pytest.approx(np.quantile(expected, 0.975, axis=0), rel=1e-10)
    assert found.present_area == pytest.approx(areas_at(job, job_profiles(job), LIFTS).flow_area, rel=1e-12)


def test_small_tolerances_follow_the_linear_law(small: Job) -> None:
    """sd^2 = sum of (slope x t)^2 / 3, slopes by central differences of jobs of their own [JCGM-100] 5.1.2.

    Lengths alone, where face and seat keep one angle and no result has a corner at the job itself. 4000 draws know a
    deviation to 1.1 %; 5 % is allowed, and 0.03 for a part of variance.
    """
    plain = replace(small, valve=replace(small.valve, face_width=2.1 * MM), seat=replace(small.seat))
    plain = replace(
        plain, seat=replace(plain.seat, outer_diameter=39.8 * MM), unnamed=frozenset(), readings=None, flow=None
    )
    lifts = np.array([0.7, 2.0, 14.0]) * MM
    step = 1e-6
    found = tolerance_study(plain, lifts, step, 0.0, 4000)
    values, _ = draw_values(plain, step, 0.0, 1)
    slopes = []
    for key in found.keys:
        ends = [
            areas_at(one, job_profiles(one), lifts).flow_area
            for one in (built(plain, {key: float(values[key][0]) + sign * step}) for sign in (-1.0, 1.0))
        ]
        slopes.append((ends[1] - ends[0]) / (2.0 * step))
    parts = (np.array(slopes).T * step) ** 2 / 3.0
    total = parts.sum(axis=1)
    assert found.area.deviation == pytest.approx(np.sqrt(total), rel=0.05)
    assert found.share[:3] == pytest.approx(parts / total[:, None], abs=0.03)
    assert found.straight[:3] == pytest.approx(np.ones(3), abs=1e-3)
    assert np.nansum(found.share, axis=1) == pytest.approx(np.ones(5))
    # Wide open it is the ring of throat and stem: slopes pi D / 2, as pi / 4 (D^2 - d^2) says.
    by_key = dict(zip(found.keys, found.share[2], strict=True))
    squares = {"seat.throat_diameter": 35.0**2, "valve.stem_diameter": 7.0**2}
    for key, square in squares.items():
        assert by_key[key] == pytest.approx(square / sum(squares.values()), abs=0.02)
    assert sum(part for key, part in by_key.items() if key not in squares) < 0.01


def test_the_contact_of_rectangular_draws_in_closed_form(small: Job) -> None:
    """A seat well inside its face: width is drawn itself, so that sd = t / sqrt(3) and 95 % lie within 0.95 t."""
    plain = replace(
        small,
        valve=replace(small.valve, face_width=3.2 * MM),
        seat=replace(small.seat, outer_diameter=39.5 * MM, throat_diameter=33 * MM),
        unnamed=frozenset(),
    )
    found = tolerance_study(plain, [MM], 0.05 * MM, deg(0.5), 20_000)
    width = found.contact["width"]
    assert width.mean[0] == pytest.approx(1.6 * MM, abs=1e-6)
    assert width.deviation[0] == pytest.approx(0.05 * MM / math.sqrt(3.0), rel=0.02)
    assert (width.low[0], width.high[0]) == pytest.approx((1.5525 * MM, 1.6475 * MM), abs=1e-6)
    shares = dict(zip(found.keys, found.share[1], strict=True))
    assert shares["seat.width"] == pytest.approx(1.0, abs=1e-3)


def test_the_seed_gives_the_same_again_and_another_does_not(job: Job) -> None:
    one, again, other = (tolerance_study(job, LIFTS, 0.05 * MM, deg(0.5), 300, seed=seed) for seed in (SEED, SEED, 7))
    assert np.array_equal(one.area.deviation, again.area.deviation)
    assert np.array_equal(one.share, again.share, equal_nan=True)
    assert not np.array_equal(one.area.deviation, other.area.deviation)
    assert one.seed == SEED
    # Both know the same deviation, to a few times 1 / sqrt(600).
    assert other.area.deviation == pytest.approx(one.area.deviation, rel=0.25)


def test_impossible_draws_are_counted_by_reason(small: Job) -> None:
    """The throat hardly smaller than the seat's inner edge: half of the draws have it larger, as jobs of their own."""
    inner = 40 * MM - 3.2 * MM * math.cos(deg(45.0))
    tight = replace(small, seat=replace(small.seat, throat_diameter=inner - 1e-6))
    samples = 400
    found = tolerance_study(tight, [4 * MM], 0.05 * MM, deg(0.5), samples)
    values, _ = draw_values(tight, 0.05 * MM, deg(0.5), samples)
    keys = drawn_keys(tight, 0.05 * MM, deg(0.5))
    refused = 0
    for draw in range(1, samples + 1):
        one = built(tight, {key: float(values[key][draw]) for key in keys})
        throat_over = one.seat.throat_diameter - one.seat.outer_diameter
        if throat_over + 2.0 * one.seat.width * math.cos(one.seat.angle) > 2e-9:
            refused += 1
            with pytest.raises(JobError, match="the throat is larger than the seat"):
                job_profiles(one)
    assert found.impossible == {"the throat is larger than the seat": refused}
    assert found.possible == samples - refused
    assert 0.3 * samples < refused < 0.7 * samples


def test_what_does_not_vary_has_no_parts(job: Job) -> None:
    """The closed valve lets nothing through, however it is made; one tolerance alone leaves the others out."""
    found = tolerance_study(job, [0.0, 4 * MM], 0.05 * MM, 0.0, 200)
    assert np.all(np.isnan(found.share[0]))
    assert np.isnan(found.straight[0])
    assert np.all(np.isfinite(found.share[1]))
    assert not any(key.endswith("angle") for key in found.keys)


def test_where_the_throat_takes_over_scatters_round_the_jobs_own(job: Job) -> None:
    found = tolerance_study(job, np.linspace(1.0, 11.0, 11) * MM, 0.02 * MM, 0.0, 400)
    each = found.contact["throat takes over"]
    assert found.takes_over == found.possible == 400
    assert each.low[0] < found.present["throat takes over"] < each.high[0]
    assert each.mean[0] == pytest.approx(found.present["throat takes over"], abs=0.05 * MM)
    other = tolerance_study(job, [1 * MM], 0.02 * MM, 0.0, 400)
    assert other.contact["throat takes over"].mean[0] == pytest.approx(each.mean[0], abs=1e-6)
