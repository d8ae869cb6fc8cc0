"""Pictures drawn in a process of their own, while this one goes on.

Without a display, without EGL and without OSMesa the renderer does not fail, it takes its whole
process down with it; and what it loads is not needed to work a job out. So a process of its own
says whether it can draw, and then draws one picture after another.
"""

from __future__ import annotations

import atexit
import contextlib
import os
import pickle
import queue
import subprocess
import sys
import tempfile
import threading
from concurrent.futures import Future
from functools import cache
from typing import TYPE_CHECKING, Any

from envelope.errors import EnvelopeError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from viewer.pictures.drawing import Drawing

    Pixels = NDArray[np.uint8]

_CHILD = "from viewer.pictures.paint_process import serve; serve()"
_SECONDS = 60.0  # for its start, on however busy a machine


class Painter:
    """A process that draws, and the thread that hands it its work in turn."""

    def __init__(self, code: str = _CHILD) -> None:
        self._complaints = tempfile.TemporaryFile()  # noqa: SIM115  its thread closes it
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-c", code],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._complaints,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
        )
        self._works: Future[bool] = Future()
        self._waiting: queue.SimpleQueue[tuple[Drawing, Future[Pixels]] | None]
        self._waiting = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._hand_over, daemon=True, name="painter")
        self._thread.start()
        atexit.register(self.end)

    def works(self) -> bool:
        """Whether it can draw. Waits until it has said so."""
        try:
            return self._works.result(timeout=_SECONDS)
        except TimeoutError:
            self.end()
            return False

    @property
    def ended(self) -> bool:
        """Whether its process is no more."""
        return self._process.poll() is not None

    def draw(self, drawing: Drawing) -> Future[Pixels]:
        """Pixels (height, width, 3) of a drawing, once they are there."""
        drawn: Future[Pixels] = Future()
        self._waiting.put((drawing, drawn))
        return drawn

    def end(self) -> None:
        """Stop the process, whatever it does."""
        self._process.kill()
        self._process.wait()
        self._waiting.put(None)
        self._thread.join(timeout=_SECONDS)

    def _hand_over(self) -> None:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        with self._complaints, self._process.stdout as answers:
            self._works.set_result(_answer(answers) is True)
            while (asked := self._waiting.get()) is not None:
                drawing, drawn = asked
                with contextlib.suppress(OSError):  # it has ended, which its answer tells
                    pickle.dump(drawing, self._process.stdin, protocol=pickle.HIGHEST_PROTOCOL)
                    self._process.stdin.flush()
                answer = _answer(answers)
                if answer is None:
                    drawn.set_exception(EnvelopeError(self._why()))
                else:
                    drawn.set_result(answer)
        with contextlib.suppress(OSError):
            self._process.stdin.close()

    def _why(self) -> str:
        """What the process said last before it ended."""
        self._complaints.seek(0)
        lines = self._complaints.read().decode("utf-8", "replace").strip().splitlines()
        return (
            f"the renderer ended while it drew a picture{f' ({lines[-1]})' if lines else ''}: its "
            "memory may have run out, or the graphics driver failed"
        )


def _answer(answers: Any) -> Any:
    """What the process says next; None where it has ended."""
    try:
        return pickle.load(answers)
    except (EOFError, OSError, pickle.UnpicklingError):
        return None


@cache
def _first() -> list[Painter]:
    return [Painter()]


def painter() -> Painter:
    """The process that draws for this one: begun when first asked for, anew where it ended."""
    holder = _first()
    if holder[0].ended and holder[0].works():
        holder[0] = Painter()
    return holder[0]
