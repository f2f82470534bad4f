"""Which passage limits the air? Seat widths from 1.0 to 2.2 mm on the demo's valve, at five lifts.

    python examples/least_passages.py

One call works out all designs and lifts. The valve is invented; widths for a real seat are those its
maker allows.
"""

from __future__ import annotations

import numpy as np

import portviz

MM = 1e-3


def main() -> None:
    """Print the flow area of each width at each lift."""
    widths = np.arange(1.0, 2.21, 0.2) * MM
    designs = portviz.dimensions(
        head_radius=20.5 * MM,
        stem_radius=3.5 * MM,
        seat_angle=np.radians(45.0),
        seat_width=widths,
        face_width=2.8 * MM,
        throat_radius=17.5 * MM,
        bottom_cut_angles=[np.radians(60.0)],
        bottom_cut_widths=[1.2 * MM],
    )
    lifts = np.array([1.0, 2.0, 4.0, 7.0, 11.0]) * MM
    passages = portviz.least_passages(portviz.build_profiles(designs), lifts)
    print("flow area [mm2]")
    print("seat width  " + "".join(f"{f'{lift / MM:g} mm lift':>14s}" for lift in lifts))
    for width, area, gap in zip(widths, passages.flow_area, passages.limited_by_gap, strict=True):
        cells = (f"{each * 1e6:12.1f} {'g' if by_gap else 't'}" for each, by_gap in zip(area, gap, strict=True))
        print(f"{width / MM:7.1f} mm  {''.join(cells)}")
    print("g: the gap limits; t: the throat limits")


if __name__ == "__main__":
    main()
