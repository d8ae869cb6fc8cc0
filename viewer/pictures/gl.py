"""Whether pictures can be made here at all, and a window be opened: asked in other processes.

Without a display, without EGL and without OSMesa the renderer does not fail, it takes the whole
process down with it. So another one tries first, and what happens to it is read.
"""

from __future__ import annotations

import os
import subprocess
import sys
from functools import cache
from importlib.util import find_spec

from envelope.errors import EnvelopeError, MissingExtraError
from viewer.pictures.painter import painter

# Without a display it falls back to a class that has no window.
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


def begin_trial() -> None:
    """Start what `can_draw` waits for, so that it runs beside other work."""
    painter()


def can_draw() -> bool:
    """Whether off-screen pictures can be drawn here. Waits about a second when first asked."""
    return painter().works()


def require_library(*, name: str, module: str, extra: str = "viewer") -> None:
    """Raise MissingExtraError where an optional library is not installed."""
    if find_spec(module) is None:
        raise MissingExtraError(library=name, extra=extra)


def require_libraries() -> None:
    """Raise MissingExtraError where what pictures are drawn with is not installed."""
    require_library(name="VTK", module="vtkmodules")
    require_library(name="Pillow", module="PIL")
    require_library(name="matplotlib", module="matplotlib")  # its typeface


def require_offscreen() -> None:
    """Raise an error that says what to install where no picture can be drawn."""
    require_libraries()
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
    try:
        tried = subprocess.run(
            [sys.executable, "-c", _WINDOW_TRIAL],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            timeout=_SECONDS,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return False
    return tried.returncode == 0 and tried.stdout.strip() in _WITH_WINDOW


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
