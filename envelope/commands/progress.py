"""A line on the terminal's error stream for work that takes more than a second."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

SILENT_SECONDS = 1.0


class Progress:
    """Tells how far a long computation is, on a terminal only; wiped when it is done."""

    def __init__(self, label: str) -> None:
        self._label = label
        self._start = time.monotonic()
        self._shown = False

    def __call__(self, share: float) -> None:
        """Show the share done, 0 to 1."""
        if not sys.stderr.isatty() or time.monotonic() - self._start < SILENT_SECONDS:
            return
        self._shown = True
        sys.stderr.write(f"\r{self._label} {100.0 * share:3.0f} % ")
        sys.stderr.flush()

    def done(self) -> None:
        """Wipe the line."""
        if self._shown:
            sys.stderr.write("\r" + " " * (len(self._label) + 8) + "\r")
            sys.stderr.flush()


def quiet(share: float) -> None:
    """Show nothing."""
    del share


Show = Callable[[float], None]
