"""Ctrl-C while a command loads, reads, casts and computes: one line, exit code 130.

`tests/benchmarks/fault_trials.py` tries many moments, and first runs that are killed or go on at
once.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))

import fault_trials


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGINT for another process")
def test_an_interrupt_at_any_moment() -> None:
    assert fault_trials.interrupts(3) == []
