"""Which stations the change with the grinder really changed, lift by lift.

python examples/what_changed.py
"""

from __future__ import annotations

from pathlib import Path

import portviz

JOB = Path(__file__).parent / "sidecar_intake"


def main() -> None:
    """Print the stations whose velocity is shown to have changed, lift by lift."""
    result = portviz.reduce_job(portviz.read_job(JOB))
    known = portviz.reduction_uncertainty(result)
    before, after = (portviz.Side(result, known, run) for run in (0, 1))
    for lift in portviz.compare_runs(before, after).lifts:
        velocity = lift.stations["velocity"]
        changed = [
            f"{angle:g}° {off:+.1f} m/s"
            for angle, off, verdict in zip(lift.angles_deg, velocity.difference, velocity.verdicts, strict=True)
            if verdict != "not shown"
        ]
        print(f"{lift.lift * 1e3:5.2f} mm: {', '.join(changed) or 'no change is shown'}")


if __name__ == "__main__":
    main()
