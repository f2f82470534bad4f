"""What a change brought while the valve opens and closes, not lift by lift: and which lifts it came from.

python examples/over_the_event.py [JOB]
"""

from __future__ import annotations

import sys
from pathlib import Path

import portviz


def main(folder: Path) -> None:
    """Print the mean flow of both runs over the event, and each lift band's part of the change."""
    result = portviz.reduce_job(portviz.read_job(folder))
    events = portviz.lift_event(result, portviz.reduction_uncertainty(result))
    for run, name in zip(events.runs, result.runs, strict=True):
        print(f"{name}: {run.mean_flow * 1e3:.2f} l/s, bias {run.bias_magnitude:.3f} at {run.bias_angle_deg:.0f} deg")
    change = portviz.compare_events(events, 0, 1)
    flow = change.values["mean_flow"]
    print(f"change {flow.difference[0] * 1e3:+.2f} l/s, u {flow.u[0] * 1e3:.2f}: {flow.verdicts[0]}")
    for low, high, part in zip(change.edges[:-1], change.edges[1:], change.band_gain_share, strict=True):
        print(f"  {low * 1e3:5.2f} to {high * 1e3:5.2f} mm: {100 * part:3.0f} % of it")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "sidecar_intake")
