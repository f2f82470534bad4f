"""Where the files are that portviz brings along."""

from __future__ import annotations

from pathlib import Path

from portviz.errors import JobError
from portviz.job.model import JOB_FILE

_PACKAGE = Path(__file__).parent.parent


def demo_folder() -> Path:
    """Return the folder of the demo job: inside the installed package, or among a checkout's examples."""
    for folder in (_PACKAGE / "demo_job", _PACKAGE.parent / "examples" / "sidecar_intake"):
        if (folder / JOB_FILE).is_file():
            return folder
    raise JobError("the demo job is missing from this installation", mend="Install portviz again")


def template_folder() -> Path:
    """Return the folder of the template job."""
    return Path(__file__).parent / "template"
