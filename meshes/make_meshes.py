"""Write the demo job's curtain, valve and seat beside this script, as `portviz export` does.

    python meshes/make_meshes.py

The same by hand, for one file:

    portviz export examples/sidecar_intake meshes/sidecar_curtain.vtp --lift "8 mm" --part curtain
"""

from __future__ import annotations

from pathlib import Path

from portviz.distribution.reduce import reduce_job
from portviz.job.read import read_job
from portviz.scene.export import write_mesh

HERE = Path(__file__).parent
LIFT = 8e-3


def main() -> None:
    """Write the meshes."""
    reduction = reduce_job(read_job(HERE.parent / "examples" / "sidecar_intake"))
    for part, ending in (("curtain", "vtp"), ("curtain", "ply"), ("valve", "stl"), ("seat", "stl")):
        print(write_mesh(reduction, 0, LIFT, part, HERE / f"sidecar_{part}.{ending}", overwrite=True))


if __name__ == "__main__":
    main()
