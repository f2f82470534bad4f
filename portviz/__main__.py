"""The console script: runs a command and turns errors into messages and exit codes."""

from __future__ import annotations

import gc
import io
import os
import sys


def main(arguments: list[str] | None = None) -> int:
    """Run portviz.

    Parameters
    ----------
    arguments : list of str, optional
        The command line without the program's name; that of the process where it is not given.

    Returns
    -------
    int
        0 done, 1 the job has an error, 2 wrong usage, 130 interrupted.
    """
    # A command is short-lived, and the collector would walk the modules being imported again and again, a
    # tenth of the time that a picture takes. The window, which lives on, turns it on again.
    was_on = gc.isenabled()
    gc.disable()
    try:
        return _run(arguments)
    finally:
        if was_on:
            gc.enable()


def _run(arguments: list[str] | None) -> int:
    from portviz import cli
    from portviz.errors import PortvizError, UsageError

    for stream in (sys.stdout, sys.stderr):
        # A terminal that lacks one of our signs gets a question mark, not an error.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    try:
        code = cli.run(arguments)
        sys.stdout.flush()
        return code
    except UsageError as error:
        return _complain(error, 2)
    except PortvizError as error:
        return _complain(error, 1)
    except KeyboardInterrupt:
        return _complain("interrupted; nothing half-made is left behind", 130)
    except (BrokenPipeError, SystemExit):
        # The reader of our output went away, as `head` does (the table printer then asks to exit): no error.
        _silence_output()
        return 0
    except OSError as error:
        _silence_output()
        what = f"{error.filename}: this can't be used" if error.filename else "the output can't be written"
        return _complain(f"{what}: {error.strerror or error}", 1)
    except Exception as error:
        if os.environ.get("PORTVIZ_DEBUG"):
            raise
        return _complain(
            f"an error that was not foreseen ({type(error).__name__}: {error}). Please report it; "
            "with PORTVIZ_DEBUG=1 in the environment the whole trace is shown",
            1,
        )


def _silence_output() -> None:
    """Send what is still buffered nowhere, so that Python's own last flush stays quiet."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _complain(problem: object, code: int) -> int:
    from portviz.errors import one_line

    print(f"portviz: {one_line(str(problem))}", file=sys.stderr)
    return code


if __name__ == "__main__":
    sys.exit(main())
