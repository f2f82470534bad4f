"""`event --json` of random jobs against a second implementation of its definitions.

It stands in this file, takes the measured lifts' results from `summary --json` (which has tests of its own), and
everything else from the job's files: scipy's PCHIP for areas and shares, and a plain sum over very fine steps of each
straight piece of the cam (Simpson), in plain floats.
"""

from __future__ import annotations

import itertools
import json
import math
import random

import numpy as np
import pytest
from scipy.integrate import simpson
from scipy.interpolate import PchipInterpolator

from portviz.__main__ import main

JOB = """\
format = 1
side = "{side}"
[valve]
head_diameter = "40 mm"
stem_diameter = "7 mm"
[seat]
angle = "45 deg"
width = "1.6 mm"
throat_diameter = "34 mm"
[bench]
test_pressure = "{pressure} Pa"
temperature = "20 degC"
barometer = "100 kPa"
humidity = "40 %"
[gauge]
reads = "{reads}"
[stations]
angles = {angles}
"""


def random_job(folder, seed: int) -> tuple[list[float], list[float]]:
    """Write a job, and return crank angles [deg] and lifts [m] of its cam."""
    rng = random.Random(seed)
    pressure = rng.uniform(3000.0, 15000.0)
    angles = sorted(rng.sample(range(-90, 270), rng.randint(3, 16)))
    side = rng.choice(["intake", "exhaust"])
    reads = rng.choice(["upstream-minus-tap", "tap-minus-downstream"])
    (folder / "job.toml").write_text(
        JOB.format(side=side, pressure=pressure, reads=reads, angles=angles), encoding="utf-8"
    )
    lifts = sorted(rng.sample([0.25 * step for step in range(1, 49)], rng.randint(1, 9)))
    readings, flows = ["run,lift [mm],station,reading [Pa]"], ["run,lift [mm],flow [l/s],test_pressure [Pa]"]
    for run in ("one", "two")[: rng.randint(1, 2)]:
        for lift in lifts:
            own = rng.choice(["", "", f"{pressure * rng.uniform(0.7, 1.3):.1f}"])
            flows.append(f"{run},{lift},{rng.uniform(2.0, 60.0):.3f},{own}")
            readings += [f"{run},{lift},{angle},{pressure * rng.uniform(0.1, 0.9):.2f}" for angle in angles]
    (folder / "readings.csv").write_text("\n".join(readings) + "\n", encoding="utf-8")
    (folder / "flow.csv").write_text("\n".join(flows) + "\n", encoding="utf-8")
    duration, peak, start = rng.uniform(150.0, 350.0), rng.uniform(1.0, 14.0), rng.uniform(-200.0, 400.0)
    points = rng.randint(5, 90)
    crank = [start + duration * place / (points - 1) for place in range(points)]
    lift = [peak * math.sin(math.pi * place / (points - 1)) ** rng.uniform(1.0, 2.0) for place in range(points)]
    lift = [0.0, *sorted(lift[1 : points // 2]), *sorted(lift[points // 2 : -1], reverse=True), 0.0]
    closed = rng.randint(0, 3)
    crank = [crank[0] - 10.0 * (closed - each) for each in range(closed)] + crank
    lift = [0.0] * closed + lift
    unit, factor = rng.choice([("mm", 1e-3), ("in", 0.0254)])
    rows = [f"{angle:.6f},{each * 1e-3 / factor:.7f}" for angle, each in zip(crank, lift, strict=True)]
    (folder / "cam.csv").write_text(f"crank [deg],lift [{unit}]\n" + "\n".join(rows) + "\n", encoding="utf-8")
    typed = [tuple(map(float, row.split(","))) for row in rows]
    return [angle for angle, _ in typed], [each * factor for _, each in typed]


def printed(capsys, *arguments: str) -> dict:
    assert main([*arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


@pytest.mark.parametrize("seed", range(12))
def test_a_random_job(tmp_path, capsys, seed):
    crank, cam = random_job(tmp_path, seed)
    summary = printed(capsys, "summary", str(tmp_path))
    document = printed(capsys, "event", str(tmp_path))
    assert document["format"] == 1
    for row, run in zip(summary["runs"], document["runs"], strict=True):
        lifts = np.array([lift["lift_m"] for lift in row["lifts"]])
        area = np.array([lift["discharge_coefficient"] * lift["curtain_area_m2"] for lift in row["lifts"]])
        shares = np.array([[station["flow_share"] for station in lift["stations"]] for lift in row["lifts"]])
        area_of = PchipInterpolator([0.0, *lifts], [0.0, *area])
        share_of = PchipInterpolator(lifts, shares, axis=0) if len(lifts) > 1 else None
        first = next(place for place, lift in enumerate(cam) if lift > 0.0) - 1
        pieces = list(zip(crank[first:-1], crank[first + 1 :], cam[first:-1], cam[first + 1 :], strict=True))
        whole, by_station, time, flow = 0.0, 0.0, {}, {}
        peak = max(cam)
        edges = [0.0, *[lift for lift in lifts if lift < peak], peak]
        for start, stop, low, high in pieces:
            inside = [(lift - low) / (high - low) for lift in lifts if min(low, high) < lift < max(low, high)]
            parts = [0.0, *sorted(inside), 1.0]
            for begin, end in itertools.pairwise(parts):
                place = np.linspace(begin, end, 61)
                lift = low + (high - low) * place
                held = np.minimum(lift, lifts[-1])
                step = (stop - start) * (end - begin)
                effective = area_of(held)
                mean = simpson(effective, x=place) / (end - begin)
                whole += mean * step
                share = shares[:1] if share_of is None else share_of(np.maximum(held, lifts[0]))
                by_station += simpson(effective[:, None] * share, x=place, axis=0) / (end - begin) * step
                band = np.searchsorted(edges, float(lift.mean())) - 1
                time[band] = time.get(band, 0.0) + step
                flow[band] = flow.get(band, 0.0) + mean * step
        duration = pieces[-1][1] - pieces[0][0]
        assert run["run"] == row["run"]
        assert run["duration_deg"] == pytest.approx(duration, rel=1e-9)
        assert run["area_integral_m2_deg"] == pytest.approx(whole, rel=1e-6)
        assert run["mean_effective_area_m2"] == pytest.approx(whole / duration, rel=1e-6)
        expected = by_station / whole
        found = [station["flow_share"] for station in run["stations"]]
        assert found == pytest.approx(expected.tolist(), rel=1e-6, abs=1e-9)
        angles = [station["angle_deg"] for station in run["stations"]]
        assert angles == [station["angle_deg"] for station in row["lifts"][0]["stations"]]
        bias = sum(share * np.exp(1j * math.radians(angle)) for share, angle in zip(expected, angles, strict=True))
        assert run["bias_magnitude"] == pytest.approx(abs(bias), rel=1e-5)
        assert math.cos(math.radians(run["bias_angle_deg"]) - np.angle(bias)) == pytest.approx(1.0, abs=1e-9)
        assert [band["from_m"] for band in run["lift_bands"]] == pytest.approx(edges[:-1])
        assert [band["to_m"] for band in run["lift_bands"]] == pytest.approx(edges[1:])
        for place, band in enumerate(run["lift_bands"]):
            assert band["time_share"] == pytest.approx(time.get(place, 0.0) / duration, rel=1e-6, abs=1e-9)
            assert band["flow_share"] == pytest.approx(flow.get(place, 0.0) / whole, rel=1e-6, abs=1e-9)
        beyond = flow.get(len(edges) - 2, 0.0) / whole if peak > lifts[-1] else 0.0
        assert run["beyond_measured_share"] == pytest.approx(beyond, rel=1e-6, abs=1e-9)
        # One square metre passes the ideal flux at the job's own test pressure, of upstream air.
        air = summary["air"]
        drop = document["test_pressure_pa"]
        ratio = 1.0 - drop / air["upstream_pressure_pa"]
        heat = 7.0 * air["gas_constant_j_kg_k"] * air["temperature_k"]
        ideal = math.sqrt(heat * (1.0 - ratio ** (2.0 / 7.0))) * ratio ** (1.0 / 1.4)
        assert run["mean_flow_m3_s"] == pytest.approx(whole / duration * ideal, rel=1e-6)
