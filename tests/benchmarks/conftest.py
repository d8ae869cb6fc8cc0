"""Only tests are collected here: the benchmarks' own modules are run by `run.py` and `fuzz.py`."""

from pathlib import Path

collect_ignore = [
    path.name for path in Path(__file__).parent.glob("*.py") if not path.name.startswith("test_")
]
