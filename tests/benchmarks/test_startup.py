"""How long it takes to say hello, beside an interpreter that does nothing."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

PAIRS = 9
MOST = 8.0


def seconds(*arguments: str) -> float:
    start = time.perf_counter()
    subprocess.run([sys.executable, *arguments], check=True, capture_output=True, timeout=60)
    return time.perf_counter() - start


def test_help_takes_at_most_eight_times_an_empty_run():
    """Each pair in turn, so that a busy machine slows both alike; the median of the ratios."""
    seconds("-m", "envelope.cli", "--help")  # writes the bytecode
    ratios = [seconds("-m", "envelope.cli", "--help") / seconds("-c", "pass") for _ in range(PAIRS)]
    assert statistics.median(ratios) <= MOST, ratios
