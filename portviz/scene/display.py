"""Whether this machine can draw: asked in a child process, since VTK without OpenGL ends its process."""

from __future__ import annotations

import os
import platform
import subprocess
import sys
from functools import cached_property

from portviz.errors import DrawingError

_PROBE = """
import vtkmodules.vtkRenderingOpenGL2
from vtkmodules.vtkRenderingCore import vtkRenderer, vtkRenderWindow
window = vtkRenderWindow()
window.SetOffScreenRendering(1)
window.SetSize(16, 16)
window.AddRenderer(vtkRenderer())
window.Render()
print("drawn with:", window.ReportCapabilities().replace("\\n", " "))
"""
_PROBE_SECONDS = 60.0
_SOFTWARE = ("llvmpipe", "softpipe", "swrast", "software rasterizer")

INSTALL_OPENGL = (
    "Install an OpenGL library and try again; on Debian and Ubuntu: "
    "apt-get install libgl1 libegl1 libgl1-mesa-dri libxrender1"
)


def display_available() -> bool:
    """Tell if there is a screen to open a window on."""
    if platform.system() == "Linux":
        return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
    return True


class Probe:
    """A running look at this machine's OpenGL.

    Parameters
    ----------
    process : subprocess.Popen
        The child that draws one empty picture.
    """

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self.process = process

    @cached_property
    def software(self) -> bool:
        """True where OpenGL runs in software; waits for the answer when first asked.

        Raises
        ------
        DrawingError
            If nothing can be drawn: what is missing and what to install.
        """
        try:
            output, complaint = self.process.communicate(timeout=_PROBE_SECONDS)
        except subprocess.TimeoutExpired:
            self.process.kill()
            raise DrawingError(f"OpenGL did not answer within {_PROBE_SECONDS:.0f} s. {INSTALL_OPENGL}.") from None
        if self.process.returncode != 0 or "drawn with:" not in output:
            reason = _reason(self.process.returncode, complaint)
            raise DrawingError(f"3D pictures can't be drawn here: {reason}. {INSTALL_OPENGL}.")
        return any(word in output.lower() for word in _SOFTWARE)


def _reason(code: int, complaint: str) -> str:
    lines = [line for line in complaint.strip().splitlines() if line.strip()]
    if code < 0:
        return f"OpenGL is missing or broken (the drawing process ended with signal {-code})"
    if lines and "Error" in lines[-1]:
        return lines[-1].strip()
    return f"OpenGL is missing or broken (the drawing process ended with code {code})"


def start_probe(*, off_screen: bool) -> Probe:
    """Start looking at OpenGL in a child process.

    Parameters
    ----------
    off_screen : bool
        True for pictures; a window needs a screen as well.

    Raises
    ------
    DrawingError
        If a window is wanted and there is no screen.
    """
    if not off_screen and not display_available():
        raise DrawingError(
            "there is no screen to open a window on (DISPLAY is not set). "
            "Write a picture instead: portviz view JOB --picture FILE.png"
        )
    return Probe(
        subprocess.Popen(
            [sys.executable, "-c", _PROBE],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            errors="replace",
        )
    )
