"""Measure the wiring's field: times, memory, and how far it lies from what it is held against.

    python tests/benchmarks/wiring.py

Jobs: the demo bedroom with its wiring, the demo house with a wiring of its own (below), and the
room of the tests with all six faces coated. Deviations are the worst of each test in
`tests/published/test_quasistatics.py` and of the table in `tests/envelope/wiring/test_room.py`.
"""

from __future__ import annotations

import importlib.util
import json
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[2]

# An upper bedroom fed from below, a landing light, a closet's light; an invention of ours.
HOUSE_WIRING = """
[supply]
voltage = "230 V"
frequency = "50 Hz"
[[circuit]]
id = "upper-sockets"
cable = "unknown"
route = "unknown"
[[circuit]]
id = "upper-lights"
cable = "round"
route = "ceiling"
[[outlet]]
id = "bed-left"
circuit = "upper-sockets"
on = "bedroom/1"
at = "0.4 m"
[[outlet]]
id = "bed-right"
circuit = "upper-sockets"
on = "bedroom/1"
at = "3.6 m"
[[outlet]]
id = "desk"
circuit = "upper-sockets"
on = "bedroom/2"
at = "1.2 m"
[[outlet]]
id = "switch"
circuit = "upper-lights"
kind = "switch"
on = "bedroom/4"
at = "0.4 m"
[[outlet]]
id = "ceiling-light"
circuit = "upper-lights"
kind = "light"
on = "bedroom/ceiling"
at = "2, 1.5 m"
[[device]]
id = "bedside-lamp"
outlet = "bed-left"
at = "0.9, 0.5, 0.5 m"
[[bond]]
id = "bond"
on = "bedroom/1"
at = "2 m"
"""


def room_text() -> str:
    """The room of the tests."""
    place = ROOT / "tests" / "envelope" / "wiring" / "conftest.py"
    spec = importlib.util.spec_from_file_location("wiring_room", place)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    text: str = module.made(lamp=True, upper=True)
    return text


def job_text(name: str) -> str:
    """Text of a job to measure."""
    if name == "room of the tests":
        return room_text()
    if name == "demo house":
        return (ROOT / "models" / "house.toml").read_text("utf-8") + HOUSE_WIRING
    return (ROOT / "models" / "wiring.toml").read_text("utf-8")


JOBS = ("demo bedroom", "room of the tests", "demo house")


def best_of(rounds: int, work: Callable[[], Any]) -> float:
    """Least time of some rounds, in seconds."""
    found = []
    for _ in range(rounds):
        begun = time.perf_counter()
        work()
        found.append(time.perf_counter() - begun)
    return min(found)


def measured(name: str) -> dict[str, float]:
    """Times of one job, and the most memory that its process held."""
    from envelope.project import load_text
    from envelope.wiring.choices import choices
    from envelope.wiring.field_map import field_map
    from envelope.wiring.spread import _case, solve_wiring
    from envelope.wiring.system import build_system

    job = load_text(job_text(name), path="job.toml")
    wiring = job.wiring
    assert wiring is not None
    plain = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    system, results = solve_wiring(job, wiring)
    plan = max(job.plans, key=lambda each: len(each.treatments)).id  # coats most
    answers, _ = choices(wiring)
    walls, combination = system.wall_states[0], system.combinations[0]
    state = system.state(plan, walls)

    def from_bare() -> None:
        system.factored.clear()
        system.state(plan, walls)

    return {
        "elements": len(system.elements),
        "states": results.states,
        "plans": len(results.plans),
        "matrix_s": best_of(3, lambda: build_system(job, wiring, job.receivers)),
        "all_s": best_of(2, lambda: solve_wiring(job, wiring)),
        "again_s": best_of(3, lambda: solve_wiring(job, wiring, before=system)),
        "factor_s": best_of(3, from_bare),
        "state_s": best_of(5, lambda: _case(system, state, combination, answers[:1])),
        "map_s": best_of(3, lambda: field_map(system, plan)),
        "memory_mb": (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - plain) / 1024.0,
        "low_v_m": results.plans[0].receivers[0].field_v_m.low,
        "high_v_m": results.plans[0].receivers[0].field_v_m.high,
    }


def times() -> str:
    """A table of times and memory, each job in a process of its own."""
    rows = []
    for name in JOBS:
        code = f"import json, wiring; print(json.dumps(wiring.measured({name!r})))"
        answer = subprocess.run(
            [sys.executable, "-c", code],
            capture_output=True,
            text=True,
            check=True,
            cwd=Path(__file__).parent,
        )
        found = json.loads(answer.stdout)
        rows.append(
            f"| {name} | {found['elements']:.0f} | {found['plans']:.0f} × {found['states']:.0f} | "
            f"{found['matrix_s']:.2f} | {found['all_s']:.2f} | {found['again_s']:.2f} | "
            f"{found['factor_s']:.3f} | {1e3 * found['state_s']:.1f} | {found['map_s']:.2f} | "
            f"{found['memory_mb']:.0f} | {found['low_v_m']:.3g} to {found['high_v_m']:.3g} |"
        )
    return "\n".join(
        [
            "| job | elements | plans × states | matrix, s | all, s | all, nothing moved, s | "
            "coated ↔ bare, s | one more state, ms | map, s | memory, MB | as-built, V/m |",
            "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |",
            *rows,
        ]
    )


class _Compared:
    """What `pytest.approx` gives, which notes how far off the other side is."""

    __array_ufunc__ = None
    __array_priority__ = 100

    def __init__(self, inner: Any, expected: Any, note: Callable[[float], None]) -> None:
        self.inner, self.expected, self.note = inner, expected, note

    def __eq__(self, actual: object) -> bool:
        if isinstance(self.expected, (int, float)) and self.expected:
            off = np.abs(np.asarray(actual, dtype=float) / self.expected - 1.0)
            self.note(float(np.max(off)))
        return bool(self.inner == actual)

    __hash__ = None  # type: ignore[assignment]


class _Recorder:
    """A plug-in of pytest: the worst deviation of each test."""

    def __init__(self) -> None:
        self.worst: dict[str, float] = {}
        self.failed: list[str] = []
        self._now = ""
        self._approx = pytest.approx
        pytest.approx = self._note  # type: ignore[assignment]

    def _note(self, expected: Any, **given: Any) -> _Compared:
        return _Compared(self._approx(expected, **given), expected, self._add)

    def _add(self, off: float) -> None:
        self.worst[self._now] = max(off, self.worst.get(self._now, 0.0))

    def pytest_runtest_setup(self, item: Any) -> None:
        self._now = f"{Path(item.fspath).name}: {item.originalname.removeprefix('test_')}"

    def pytest_runtest_logreport(self, report: Any) -> None:
        if report.failed:
            self.failed.append(report.nodeid)


def deviations() -> str:
    """A table of the worst deviation of each test that compares numbers with an outside figure."""
    recorder = _Recorder()
    chosen = ["tests/published/test_quasistatics.py", "tests/envelope/wiring/test_room.py"]
    names = "published or same_room or lamp_that_is_off or test_quasistatics"
    pytest.main(
        [*(str(ROOT / each) for each in chosen), "-q", "-p", "no:cacheprovider", "-k", names],
        plugins=[recorder],
    )
    rows = [
        f"| {name.partition(': ')[2].replace('_', ' ')} | {100.0 * off:.2g} % |"
        for name, off in recorder.worst.items()
    ]
    failed = [f"\nFailed: {', '.join(recorder.failed)}"] if recorder.failed else []
    return "\n".join(["| against | worst deviation |", "| --- | --- |", *rows, *failed])


def main() -> int:
    """Run from the command line."""
    sys.stdout.write(f"{times()}\n\n{deviations()}\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
