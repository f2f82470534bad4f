"""Write the example jobs. Their data is INVENTED: no bench, head or person stands behind it.

A smooth pattern round the valve is assumed for each run and lift, turned into the drops that would
cause it, and read with noise from a fixed seed. Total flow follows an assumed discharge coefficient.

    python examples/make_examples.py
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from portviz import air
from portviz.distribution.areas import areas_at, job_profiles
from portviz.distribution.reduce import upstream_pressure
from portviz.job.read import read_job
from portviz.units import unit_factor

HERE = Path(__file__).parent

SIDECAR_TOML = """\
# INVENTED demonstration data: a hill-climb sidecar single that never ran. Use it to learn the
# program, not as a pattern to grind to. Limits of valve and seat are those of their makers.
format = 1
title = "Hill-climb sidecar single, intake (invented)"
side = "intake"

[valve]
head_diameter = "41 mm"
stem_diameter = "7 mm"
face_angle = "45 deg"
face_width = "2.2 mm"
margin = "1.2 mm"
back_cut = { angle = "30 deg", width = "1.0 mm" }
underhead_angle = "15 deg"
fillet_radius = "8 mm"

[seat]
angle = "45 deg"
width = "1.6 mm"
outer_diameter = "40.6 mm"
top_cut = { angle = "30 deg", width = "1.2 mm" }
bottom_cuts = [{ angle = "60 deg", width = "1.5 mm" }, { angle = "70 deg", width = "1.6 mm" }]
throat_diameter = "35.5 mm"

[bench]
test_pressure = "635 mmH2O"
temperature = "21 degC"
barometer = "99.8 kPa"
humidity = "45 %"
flow_accuracy = "0.5 %"
lift_uncertainty = "0.02 mm"

[gauge]
reads = "upstream-minus-tap"
coefficient = 0.98
coefficient_uncertainty = 0.01
accuracy = "3 mmH2O"

[stations]
angles = [0, 30, 60, 90, 120, 150, 180, 210, 240, 270, 300, 330]
reference = "toward the bore wall"

[engine]
bore = "94 mm"
stroke = "72 mm"
rod_length = "128 mm"
speed = "8000 rpm"
valves = 2
valve_offset = "24 mm"
valve_direction = "0 deg"
dead_centre = "24 deg"

[shop]
name = "Cobble Lane Heads (invented)"
address = "The Old Smithy, Cobble Lane"
contact = "ask at the bench"

[customer]
name = "the sidecar's crew (invented)"
head = "hill-climb single, intake side"
order = "demo 1"
"""

TRACTOR_TOML = """\
# INVENTED demonstration data: a two-cylinder tractor that never ploughed. Use it to learn the
# program, not as a pattern to grind to. Limits of valve and seat are those of their makers.
format = 1
title = "Two-cylinder tractor, exhaust (invented)"
side = "exhaust"

[valve]
head_diameter = "1.420 in"
stem_diameter = "0.341 in"
face_width = "0.085 in"
margin = "0.055 in"
underhead_angle = "20 deg"
fillet_radius = "0.350 in"

[seat]
angle = "45 deg"
width = "0.068 in"
top_cut = { angle = "30 deg", width = "0.040 in" }
bottom_cuts = [{ angle = "60 deg", width = "0.060 in" }]
throat_diameter = "1.210 in"

[bench]
test_pressure = "28 inH2O"
temperature = "68 degF"
barometer = "29.3 inHg"
humidity = "50 %"

[gauge]
reads = "tap-minus-downstream"
accuracy = "0.15 inH2O"

[stations]
angles = [0, 22.5, 45, 67.5, 90, 112.5, 135, 157.5, 180, 202.5, 225, 247.5, 270, 292.5, 315, 337.5]
reference = "toward the spark plug"

[cam]
lift_of = "tappet"
rocker_ratio = 1.4
lash = "0.014 in"
peak_lift = "0.287 in"
peak_at = "-110 deg"
durations = [{ lift = "0.012 in", angle = "270 deg" }, { lift = "0.050 in", angle = "218 deg" }]

[engine]
bore = "3.6 in"
stroke = "4.2 in"
rod_length = "8.5 in"
speed = "1900 rpm"
dead_centre = "0 deg"
"""

SIDECAR_DESIGNS = """\
# INVENTED designs of seat and valve for the hill-climb sidecar single: none was cut, none was measured.
# Each names what it changes of job.toml; all else stays. The makers' limits come before anything here.
format = 1

[[design]]
name = "narrower seat, same contact"
seat.width = "1.2 mm"
seat.outer_diameter = "40.32 mm"

[[design]]
name = "30 deg seat"
seat.angle = "30 deg"
seat.top_cut = { angle = "15 deg", width = "1.0 mm" }
seat.bottom_cuts = [{ angle = "45 deg", width = "1.2 mm" }, { angle = "60 deg", width = "0.6 mm" }]
valve.face_angle = "30 deg"
valve.back_cut = { angle = "20 deg", width = "1.0 mm" }

[[design]]
name = "larger throat"
seat.throat_diameter = "36.4 mm"
seat.bottom_cuts = [{ angle = "60 deg", width = "1.5 mm" }, { angle = "70 deg", width = "0.6 mm" }]
"""


@dataclass(frozen=True)
class Pattern:
    """The assumed velocity round the valve: even, less a hollow, plus a lean, both growing with lift.

    Parameters
    ----------
    name : str
        Of the run.
    hollow_deg, hollow_depth, hollow_width_deg : float
        Where the flow is held back, by how much at full lift [-], and how wide [deg].
    lean_deg, lean : float
        Where the flow leans to, and by how much at full lift [-].
    flow_factor : float
        Discharge coefficient over the example's usual one [-].
    """

    name: str
    hollow_deg: float
    hollow_depth: float
    hollow_width_deg: float
    lean_deg: float
    lean: float
    flow_factor: float

    def around(self, angle_deg: np.ndarray, opening: float) -> np.ndarray:
        """Return velocity over its mean [-] at station angles, for lift over full lift."""
        off = np.mod(angle_deg - self.hollow_deg + 180.0, 360.0) - 180.0
        hollow = self.hollow_depth * (0.35 + 0.65 * opening) * np.exp(-0.5 * (off / self.hollow_width_deg) ** 2)
        lean = self.lean * opening**1.5 * np.cos(np.radians(angle_deg - self.lean_deg))
        shape = 1.0 - hollow + lean
        return shape / shape.mean()


def write_example(
    folder: Path,
    job_text: str,
    lifts: list[float],
    units: dict[str, str],
    patterns: list[Pattern],
    coefficients: tuple[float, float],
    repeats: int,
    seed: int,
) -> None:
    """Write one job: job.toml, readings.csv, flow.csv and, where job.toml has no cam, cam.csv."""
    rng = np.random.default_rng(seed)
    folder.mkdir(exist_ok=True)
    (folder / "job.toml").write_text(job_text, encoding="utf-8")
    job = read_job(folder, tables=False)
    test_pressure = np.array(job.bench.test_pressure)
    upstream = float(upstream_pressure(job, test_pressure))
    room = job.bench.air
    gas, temperature = room.gas_constant, room.temperature
    density = upstream / (gas * temperature)
    whole = air.isentropic_state(test_pressure, upstream, temperature, gas)
    lift_m = np.array(lifts) * unit_factor(units["lift"], "length")
    areas = areas_at(job, job_profiles(job), lift_m)
    to_reading = 1.0 / unit_factor(units["reading"], "pressure")
    to_flow = 1.0 / unit_factor(units["flow"], "flow")
    readings = [f"run,lift [{units['lift']}],station,reading [{units['reading']}]"]
    flows = [f"run,lift [{units['lift']}],flow [{units['flow']}]"]
    for pattern in patterns:
        for index, lift in enumerate(lifts):
            over = lift_m[index] / job.valve.head_diameter
            discharge = pattern.flow_factor * (coefficients[0] - coefficients[1] * over)
            mass = discharge * float(whole.density * whole.velocity) * areas.curtain_area[index]
            # What does not close: boundary layers and the stations' blind spots, more so at low lift.
            closure = 0.95 - 0.10 * np.exp(-over / 0.06)
            around = pattern.around(job.stations.circle_deg, lift / lifts[-1])
            flux = mass / closure / areas.gap_area[index] * around
            velocity = flux / density
            for _ in range(20):
                drop = air.isentropic_drop(velocity / job.gauge.coefficient, upstream, temperature, gas)
                velocity = flux / air.isentropic_state(drop, upstream, temperature, gas).density
            flow = mass / density * (1.0 + 0.003 * rng.standard_normal())
            flows.append(f"{pattern.name},{lift:g},{flow * to_flow:.1f}")
            noise = 0.6 * (job.gauge.accuracy or 0.0)
            for _ in range(repeats):
                for station, each in zip(job.stations.angles_deg, drop, strict=True):
                    value = each + noise * rng.standard_normal()
                    if job.gauge.reads == "tap-minus-downstream":
                        value = job.bench.test_pressure - value
                    readings.append(f"{pattern.name},{lift:g},{station:g},{value * to_reading:.{units['decimals']}f}")
    (folder / "readings.csv").write_text("\n".join(readings) + "\n", encoding="utf-8")
    (folder / "flow.csv").write_text("\n".join(flows) + "\n", encoding="utf-8")
    if "[cam]" in job_text:
        return
    crank = np.arange(0.0, 264.0 + 1.0, 4.0)
    rise = 0.5 - 0.5 * np.cos(2.0 * np.pi * crank / 264.0)
    cam = [f"crank [deg],lift [{units['lift']}]"]
    cam += [f"{a:g},{lifts[-1] * 0.97 * r**1.15:.4f}" for a, r in zip(crank, rise, strict=True)]
    (folder / "cam.csv").write_text("\n".join(cam) + "\n", encoding="utf-8")


def main() -> None:
    """Write both examples beside this script."""
    write_example(
        HERE / "sidecar_intake",
        SIDECAR_TOML,
        [1.0, 2.0, 3.5, 5.0, 6.5, 8.0, 9.5, 11.0],
        {"lift": "mm", "reading": "mmH2O", "flow": "l/s", "decimals": "1"},
        [
            Pattern("as found", 10.0, 0.30, 38.0, 215.0, 0.24, 1.0),
            Pattern("wall relieved", 10.0, 0.13, 38.0, 215.0, 0.20, 1.035),
        ],
        (0.53, 0.15),
        3,
        20260311,
    )
    (HERE / "sidecar_intake" / "designs.toml").write_text(SIDECAR_DESIGNS, encoding="utf-8")
    write_example(
        HERE / "tractor_exhaust",
        TRACTOR_TOML,
        [0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4],
        {"lift": "in", "reading": "inH2O", "flow": "cfm", "decimals": "2"},
        [
            Pattern("stock casting", 200.0, 0.26, 45.0, 20.0, 0.16, 1.0),
            Pattern("bowl opened", 200.0, 0.18, 45.0, 20.0, 0.19, 1.045),
        ],
        (0.54, 0.12),
        2,
        20260417,
    )


if __name__ == "__main__":
    main()
