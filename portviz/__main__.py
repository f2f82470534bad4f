"""The console script: runs a command and turns errors into messages and exit codes."""

from __future__ import annotations

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
    from portviz import cli
    from portviz.errors import PortvizError, UsageError

    try:
        return cli.run(arguments)
    except UsageError as error:
        return _complain(error, 2)
    except PortvizError as error:
        return _complain(error, 1)
    except KeyboardInterrupt:
        return _complain("interrupted; nothing half-made is left behind", 130)
    except BrokenPipeError:
        # The reader of our output went away, as `head` does: not an error. Keep Python's exit quiet too.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:
        if os.environ.get("PORTVIZ_DEBUG"):
            raise
        return _complain(
            f"an error that was not foreseen ({type(error).__name__}: {error}). Please report it; "
            "with PORTVIZ_DEBUG=1 in the environment the whole trace is shown",
            1,
        )


def _complain(problem: object, code: int) -> int:
    print(f"portviz: {problem}", file=sys.stderr)
    return code


if __name__ == "__main__":
    sys.exit(main())
