"""portviz: where the air leaves the valve, from flow-bench readings.

The public catalogue. Names are imported when they are first used, so that ``import portviz`` is
instant. A short tour::

    import portviz

    job = portviz.read_job("my-head")
    result = portviz.reduce_job(job)
    print(result.discharge_coefficient, result.bias_magnitude)
    field = portviz.run_field(result, "as found", quantity="velocity")
    print(field.at(6e-3).max())
    known = portviz.reduction_uncertainty(result)
    changes = portviz.compare(result, "as found", "wall relieved", known)
    print(changes.lifts[0].stations["velocity"].verdicts)
    events = portviz.lift_event(result, known)
    print(portviz.compare_events(events, "as found", "wall relieved").values["mean_flow"].verdicts)

Where pandas is installed (extra ``notebook``), job, result, field, changes and events have ``to_dataframe()``: SI, with
the unit in each column's name. Functions named ``plot_...`` return matplotlib figures, and ``plot_curtain`` a pyvista
plotter::

    result.to_dataframe(known, of="stations")
    portviz.plot_velocities(result, known, lift=8e-3).savefig("round-the-valve.png")

``examples/sidecar_notebook.ipynb`` goes through all of it.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

__version__ = "0.1.0"

_CATALOGUE = {
    "Areas": "distribution.areas",
    "CamEvent": "distribution.cam_event",
    "Comparison": "distribution.comparison",
    "Dimensions": "geometry.dimensions",
    "EventComparison": "distribution.event_comparison",
    "Job": "job.model",
    "JobError": "errors",
    "LiftEvent": "distribution.event_comparison",
    "Passages": "geometry.passages",
    "PortvizError": "errors",
    "Profiles": "geometry.profiles",
    "Reduction": "distribution.reduce",
    "RoomAir": "air",
    "RunEvent": "distribution.event",
    "RunField": "distribution.field",
    "Side": "distribution.comparison",
    "Uncertainty": "distribution.uncertainty",
    "areas_at": "distribution.areas",
    "build_profiles": "geometry.profiles",
    "cam_event": "distribution.cam_event",
    "collected_facts": "report.build",
    "compare": "distribution.by_name",
    "compare_events": "distribution.event_comparison",
    "compare_runs": "distribution.comparison",
    "curtain_area": "geometry.three_stage",
    "dimensions": "geometry.dimensions",
    "ideal_mass_flux": "air",
    "isentropic_drop": "air",
    "isentropic_state": "air",
    "job_profiles": "distribution.areas",
    "least_passages": "geometry.passages",
    "lift_event": "distribution.event_comparison",
    "moist_air_density": "air",
    "plot_changes": "scene.plots",
    "plot_curtain": "scene.plots",
    "plot_event": "scene.plots",
    "plot_flow": "scene.plots",
    "plot_section": "scene.plots",
    "plot_unrolled": "scene.plots",
    "plot_velocities": "scene.plots",
    "read_job": "job.read",
    "reduce_job": "distribution.reduce",
    "reduction_uncertainty": "distribution.uncertainty",
    "reduction_warnings": "distribution.notes",
    "report_findings": "report.findings",
    "run_field": "distribution.field",
    "run_place": "distribution.given",
    "summary_document": "report.machine",
    "three_stage_area": "geometry.three_stage",
    "write_mesh": "scene.export",
}

__all__ = ["__version__", *_CATALOGUE]

if TYPE_CHECKING:
    from portviz.air import RoomAir, ideal_mass_flux, isentropic_drop, isentropic_state, moist_air_density
    from portviz.distribution.areas import Areas, areas_at, job_profiles
    from portviz.distribution.by_name import compare
    from portviz.distribution.cam_event import CamEvent, cam_event
    from portviz.distribution.comparison import Comparison, Side, compare_runs
    from portviz.distribution.event import RunEvent
    from portviz.distribution.event_comparison import EventComparison, LiftEvent, compare_events, lift_event
    from portviz.distribution.field import RunField, run_field
    from portviz.distribution.given import run_place
    from portviz.distribution.notes import reduction_warnings
    from portviz.distribution.reduce import Reduction, reduce_job
    from portviz.distribution.uncertainty import Uncertainty, reduction_uncertainty
    from portviz.errors import JobError, PortvizError
    from portviz.geometry.dimensions import Dimensions, dimensions
    from portviz.geometry.passages import Passages, least_passages
    from portviz.geometry.profiles import Profiles, build_profiles
    from portviz.geometry.three_stage import curtain_area, three_stage_area
    from portviz.job.model import Job
    from portviz.job.read import read_job
    from portviz.report.build import collected_facts
    from portviz.report.findings import report_findings
    from portviz.report.machine import summary_document
    from portviz.scene.export import write_mesh
    from portviz.scene.plots import (
        plot_changes,
        plot_curtain,
        plot_event,
        plot_flow,
        plot_section,
        plot_unrolled,
        plot_velocities,
    )


def __getattr__(name: str) -> object:
    if name not in _CATALOGUE:
        raise AttributeError(f"module 'portviz' has no attribute {name!r}")
    return getattr(import_module(f"portviz.{_CATALOGUE[name]}"), name)


def __dir__() -> list[str]:
    return sorted(__all__)
