"""Where does the air hold back? Prints, for each run of a job, the slowest direction at each lift.

python examples/weakest_direction.py [JOB]
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

import portviz


def main(folder: Path) -> None:
    """Print the slowest direction between and at the stations, from the interpolated field."""
    result = portviz.reduce_job(portviz.read_job(folder))
    angles = np.arange(360.0)
    for run, name in enumerate(result.runs):
        print(f"run “{name}”")
        field = portviz.run_field(result, run, "velocity", angles)
        for lift, around in zip(field.lifts, field.values, strict=True):
            slowest = int(np.argmin(around))
            print(
                f"  {lift * 1e3:6.2f} mm: {angles[slowest]:3.0f} deg, {around[slowest] / around.mean():.2f} of the mean"
            )


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "sidecar_intake")
