"""Whether this machine can draw: asked in a child process, since VTK without OpenGL ends its process."""

from __future__ import annotations

import os
import platform
import select
import signal
import subprocess
import sys
import time
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from portviz.errors import DrawingError

if TYPE_CHECKING:
    import pyvista as pv

_PROGRAM = "from portviz.scene.display import drawn_with; print('drawn with:', drawn_with())"
_PROBE_SECONDS = 60.0
_SOFTWARE = ("llvmpipe", "softpipe", "swrast", "software rasterizer")

INSTALL_OPENGL = (
    "Install an OpenGL library and try again; on Debian and Ubuntu: "
    "apt-get install libgl1 libegl1 libgl1-mesa-dri libxrender1"
)


def drawn_with() -> str:
    """Draw an empty picture and return VTK's words on the OpenGL it was drawn with; may end the process."""
    import vtkmodules.vtkRenderingOpenGL2  # noqa: F401
    from vtkmodules.vtkRenderingCore import vtkRenderer, vtkRenderWindow

    window = vtkRenderWindow()
    window.SetOffScreenRendering(1)
    window.SetSize(16, 16)
    window.AddRenderer(vtkRenderer())
    window.Render()
    return str(window.ReportCapabilities()).replace("\n", " ")


def display_available() -> bool:
    """Tell if there is a screen to open a window on."""
    return platform.system() != "Linux" or bool(os.environ.get("DISPLAY"))


def require_screen(plotter: pv.Plotter) -> None:
    """Raise DrawingError where a window has silently become a picture that nobody sees, as its screen is dead."""
    if platform.system() == "Linux" and not plotter.render_window.IsA("vtkXOpenGLRenderWindow"):
        plotter.close()
        raise DrawingError(
            f"the screen DISPLAY={os.environ.get('DISPLAY', '')} does not answer, so that no window can be opened. "
            "Write a picture instead: portviz view JOB --picture FILE.png"
        )


class _Answer(NamedTuple):
    """What became of the child: its exit code (negative: a signal; None: no answer) and its words."""

    code: int | None
    output: str


class Probe:
    """A running look at this machine's OpenGL, in a child process that draws one empty picture."""

    def _answer(self) -> _Answer:
        raise NotImplementedError

    @cached_property
    def software(self) -> bool:
        """True where OpenGL runs in software; waits for the answer when first asked.

        Raises
        ------
        DrawingError
            If nothing can be drawn: what is missing and what to install.
        """
        code, output = self._answer()
        if code is None:
            raise DrawingError(f"OpenGL did not answer within {_PROBE_SECONDS:g} s. {INSTALL_OPENGL}.")
        if code != 0 or "drawn with:" not in output:
            ending = f"signal {-code}" if code < 0 else f"code {code}"
            raise DrawingError(
                "3D pictures can't be drawn here: OpenGL is missing or broken (the process that tried ended with "
                f"{ending}). {INSTALL_OPENGL}."
            )
        return any(word in output.lower() for word in _SOFTWARE)


class _ForkedProbe(Probe):
    """A copy of this process, which has VTK loaded already: the quick way, where the system has it."""

    def __init__(self) -> None:
        self._reading, writing = os.pipe()
        sys.stdout.flush()
        sys.stderr.flush()
        self._child = os.fork()
        if self._child == 0:
            os.close(self._reading)
            os.dup2(writing, 1)
            os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
            code = 1
            try:
                os.write(1, f"drawn with: {drawn_with()}".encode())
                code = 0
            finally:
                os._exit(code)
        os.close(writing)

    def _answer(self) -> _Answer:
        deadline = time.monotonic() + _PROBE_SECONDS
        words = b""
        while (left := deadline - time.monotonic()) > 0.0:
            if select.select([self._reading], [], [], left)[0]:
                piece = os.read(self._reading, 65536)
                if not piece:
                    break
                words += piece
        else:
            os.kill(self._child, signal.SIGKILL)
        os.close(self._reading)
        status = os.waitstatus_to_exitcode(os.waitpid(self._child, 0)[1])
        return _Answer(None if left <= 0.0 else status, words.decode(errors="replace"))


class _StartedProbe(Probe):
    """A fresh Python: the way for systems where a process can't be copied safely."""

    def __init__(self) -> None:
        self._child = subprocess.Popen(
            [sys.executable, "-c", _PROGRAM],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            errors="replace",
        )

    def _answer(self) -> _Answer:
        try:
            output, _ = self._child.communicate(timeout=_PROBE_SECONDS)
        except subprocess.TimeoutExpired:
            self._child.kill()
            self._child.communicate()
            return _Answer(None, "")
        return _Answer(self._child.returncode, output)


def start_probe(*, off_screen: bool) -> Probe:
    """Start looking at OpenGL in a child process.

    Parameters
    ----------
    off_screen : bool
        True for pictures; a window needs a screen as well.

    Raises
    ------
    DrawingError
        If a window is wanted and there is no screen, or VTK can't be loaded.
    """
    if not off_screen and not display_available():
        raise DrawingError(
            "there is no screen to open a window on (DISPLAY is not set). "
            "Write a picture instead: portviz view JOB --picture FILE.png"
        )
    try:
        import pyvista  # noqa: F401
        import vtkmodules.vtkRenderingOpenGL2  # noqa: F401
    except ImportError as error:
        raise DrawingError(f"3D pictures can't be drawn here: {error}. {INSTALL_OPENGL}.") from None
    return _ForkedProbe() if platform.system() == "Linux" else _StartedProbe()
