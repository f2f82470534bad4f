"""Pictures of many lifts and runs, drawn by one scene and written together."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from portviz.distribution.reduce import Reduction
from portviz.job.words import lift_text
from portviz.scene.display import Probe
from portviz.scene.export_set import named_after, require_free_set, sortable, told, write_set
from portviz.scene.state import ViewState, view_state


def lift_states(reduction: Reduction, runs: Sequence[int], field: str, camera: str) -> list[ViewState]:
    """Return a view for every measured lift of runs, at places among the reduction's runs."""
    return [
        view_state(reduction, run, float(reduction.lift[group]), field, camera)
        for run in runs
        for group in reduction.groups_of(run)
    ]


def write_picture_set(
    states: Sequence[ViewState], path: Path, size: tuple[int, int], probe: Probe, *, overwrite: bool = False
) -> list[Path]:
    """Draw views of one job, each into a file named after the path, its run and its lift.

    Parameters
    ----------
    states : sequence of ViewState
    path : Path
        The files stand beside it, and begin with its stem.
    size : tuple of int
        Width and height of each picture [pixels].
    probe : Probe
    overwrite : bool

    Raises
    ------
    DrawingError
        If nothing can be drawn on this machine.
    JobError
        If one of the files is there already or can't be written; then none is.
    """
    job, greatest = states[0].reduction.job, lift_text(states[0].reduction.job, states[0].greatest_lift)
    names = [(state.reduction.runs[state.run], sortable(lift_text(job, state.lift), greatest)) for state in states]
    targets = named_after(path, names)
    require_free_set(targets, overwrite=overwrite)
    software = probe.software  # Told here, before VTK may end the process.
    from portviz.scene.scene import Scene, new_plotter

    plotter = new_plotter(size, off_screen=True, software=software)
    try:
        scene = Scene(plotter, states[0])

        def write(scratch: Path) -> None:
            for state, target in told(list(zip(states, targets, strict=True)), "pictures"):
                scene.update(state)
                # A plotter draws by itself only before its first picture.
                plotter.render()
                plotter.screenshot(str(scratch / target.name))

        return write_set(targets, write, overwrite=overwrite)
    finally:
        plotter.close()
