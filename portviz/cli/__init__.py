"""The commands: each parses, calls and prints. Heavy modules are imported where a command needs them."""

from portviz.cli import (
    export_command,
    job_commands,
    picture_commands,
    report_commands,
    result_commands,
    seat_commands,
)
from portviz.cli.application import CAUTION, app, run

__all__ = [
    "CAUTION",
    "app",
    "export_command",
    "job_commands",
    "picture_commands",
    "report_commands",
    "result_commands",
    "run",
    "seat_commands",
]
