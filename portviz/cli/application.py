"""The application: what all commands share, how a command line is run, and how it is refused."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from cyclopts import App, CycloptsError, MissingArgumentError, Parameter, UnusedCliTokensError

from portviz import __version__
from portviz.errors import UsageError, shortened

CAUTION = (
    "Grinding a valve or seat wrong can burn the valve, or drop it. The limits of the valve's and seat's makers "
    "and licensed practice come first; these numbers describe air on a bench and permit nothing."
)

app = App(
    name="portviz",
    version=__version__,
    version_flags=["--version"],
    help_flags=["--help", "-h"],
    help="Where the air leaves the valve: flow-bench readings mapped onto the valve's curtain, in numbers and in 3D.",
    help_epilogue=f"A job is a folder with job.toml, readings.csv, flow.csv. Start with: portviz demo\n\n{CAUTION}",
    help_format="plaintext",
    result_action="return_value",
)

JobFolder = Annotated[Path, Parameter(name="JOB", help="The job's folder.")]
AsJson = Annotated[bool, Parameter("--json", negative=(), help="Print one JSON document in SI instead of tables.")]
RunName = Annotated[str | None, Parameter(help="The run; without it, all of them.")]
OneRun = Annotated[str | None, Parameter(help="The run; without it, the first.")]
FIELD_HELP = "What colours the curtain: velocity, velocity-ratio, mach, flow-per-degree or drop (pressure drop)."
LIMITS_HELP = "A table of usual ranges, instead of the job's limits.csv or the package's."
DesignFile = Annotated[Path | None, Parameter(help="A designs.toml with named designs.")]
Overwrite = Annotated[bool, Parameter(negative=(), help="Replace the file if it is there already.")]


def run(arguments: list[str] | None = None) -> int:
    """Run a command line and return its exit code; portviz's own errors pass through."""
    try:
        result = app(arguments, exit_on_error=False, print_error=False)
    except CycloptsError as error:
        raise UsageError(_refusal(error)) from None
    except SystemExit as ending:
        # The parser makes an exit of its own out of an interrupt.
        if ending.code == 130:
            raise KeyboardInterrupt from None
        raise
    return result if isinstance(result, int) else 0


def _refusal(error: CycloptsError) -> str:
    """Return what is wrong with a command line, and whose help says more."""
    command = " ".join(["portviz", *(error.command_chain or ())])
    refusal = str(error).strip()
    if isinstance(error, MissingArgumentError) and error.argument is not None and error.argument.required:
        refusal = f"{command} needs {error.argument.names[0]}: {error.argument.parameter.help}"
    if isinstance(error, UnusedCliTokensError):
        more = " ".join(error.unused_tokens or ())
        refusal = f"{command} can make nothing of {shortened(more)}; a name with spaces stands in quotes."
    return f"{refusal} See: {command} --help"
