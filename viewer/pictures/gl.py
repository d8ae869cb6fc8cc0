"""Whether pictures can be made here at all: asked in a process of its own.

Without a display, without EGL and without OSMesa the renderer does not fail, it takes the whole
process down with it. So a small process tries first, and what happens to it is read.
"""

from __future__ import annotations

import os
import subprocess
import sys
from functools import cache
from importlib.util import find_spec

from envelope.errors import EnvelopeError, MissingExtraError

_TRIAL = """
import warnings
warnings.simplefilter("ignore")
import vtkmodules.vtkRenderingOpenGL2
from vtkmodules.vtkRenderingCore import vtkRenderer, vtkRenderWindow
window = vtkRenderWindow()
window.SetOffScreenRendering(1)
window.SetSize(8, 8)
window.AddRenderer(vtkRenderer())
window.Render()
print("rendered" if window.SupportsOpenGL() else "refused", flush=True)
"""
# Not off screen; without a display it falls back to a class that has no window.
_WINDOW_TRIAL = """
import warnings
warnings.simplefilter("ignore")
import vtkmodules.vtkRenderingOpenGL2
from vtkmodules.vtkRenderingCore import vtkRenderer, vtkRenderWindow
window = vtkRenderWindow()
window.SetShowWindow(False)
window.SetSize(8, 8)
window.AddRenderer(vtkRenderer())
window.Render()
print(window.GetClassName(), flush=True)
"""
_WITH_WINDOW = ("vtkXOpenGLRenderWindow", "vtkWin32OpenGLRenderWindow", "vtkCocoaRenderWindow")
_SECONDS = 60.0


def _start(trial: str) -> subprocess.Popen[str]:
    """A process of its own that tries to draw."""
    return subprocess.Popen(
        [sys.executable, "-c", trial],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )


def _said(running: subprocess.Popen[str]) -> str:
    """What a trial says; nothing where it failed."""
    try:
        said, _ = running.communicate(timeout=_SECONDS)
    except subprocess.TimeoutExpired:
        running.kill()
        running.communicate()
        return ""
    return said if running.returncode == 0 else ""


@cache
def begin_trial() -> subprocess.Popen[str]:
    """Start what `can_draw` waits for, so that it runs beside other work."""
    return _start(_TRIAL)


@cache
def can_draw() -> bool:
    """Whether off-screen pictures can be drawn here. Asked once a process, about a second."""
    return "rendered" in _said(begin_trial())


def require_library(*, name: str, module: str, extra: str = "viewer") -> None:
    """Raise MissingExtraError where an optional library is not installed."""
    if find_spec(module) is None:
        raise MissingExtraError(library=name, extra=extra)


def require_offscreen() -> None:
    """Raise an error that says what to install where no picture can be drawn."""
    require_library(name="PyVista", module="pyvista")
    require_library(name="Pillow", module="PIL")
    require_library(name="matplotlib", module="matplotlib")  # its typeface
    if not can_draw():
        raise EnvelopeError(
            "no picture can be drawn here: neither a display nor EGL nor OSMesa answers; install "
            "a GPU driver or Mesa (Debian and Ubuntu: apt-get install libegl1 libegl-mesa0 "
            "libgl1-mesa-dri fonts-dejavu-core)"
        )


@cache
def can_open() -> bool:
    """Whether a window can be opened here. Asked once a process, about a second."""
    if sys.platform.startswith("linux") and not os.environ.get("DISPLAY"):
        return False
    return _said(_start(_WINDOW_TRIAL)).strip() in _WITH_WINDOW


def require_window() -> None:
    """Raise an error that says what to do instead where no window can be opened."""
    require_library(name="PyVista", module="pyvista")
    require_library(name="Pillow", module="PIL")
    require_library(name="matplotlib", module="matplotlib")  # its typeface
    if not can_open():
        raise EnvelopeError(
            "no window can be opened here: there is no display; `gapcast view` shows the same in "
            "a browser, and `gapcast picture` writes it to a file"
        )
