from __future__ import annotations

import errno
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba
import numpy as np
import pytest

from envelope.building.model import Building
from envelope.rays import Sampling, cast_chain, cast_cone, cast_directions, cast_lit, cast_point
from envelope.rays.kernel import intersect, obstacles, polygon_tests, walk
from envelope.rays.kernel import signatures as counting
from envelope.rays.kernel.jit import compiled, stamp_of


def double(x: float) -> float:
    return 2.0 * x


def test_where_no_folder_can_be_written_it_compiles_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[dict[str, Any]] = []
    plain = numba.njit

    def refusing(*functions: Any, **options: Any) -> Any:
        if functions:  # of numba's own modules, loaded when it first compiles
            return plain(*functions, **options)
        asked.append(options)
        if options.get("cache"):

            def refuse(function: Callable[..., Any]) -> Callable[..., Any]:
                raise RuntimeError("cannot cache function 'double': no locator available")

            return refuse
        return plain(**options)

    monkeypatch.setattr(numba, "njit", refusing)
    assert compiled(double)(1.5) == 3.0
    assert [options.get("cache", False) for options in asked] == [True, False]
    assert all(options["nogil"] for options in asked)


def test_other_refusals_come_through(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(**options: Any) -> Callable[..., Any]:
        raise RuntimeError("no compiler")

    monkeypatch.setattr(numba, "njit", broken)
    with pytest.raises(RuntimeError, match="no compiler"):
        compiled(double)


def test_each_loop_is_compiled_for_one_kind_of_arguments(box_room: Callable[..., Building]) -> None:
    """More would be a second compilation that nobody asked for."""
    building, eye = box_room(), np.array([1.0, 1.0, 1.0])
    few = Sampling(points_per_panel=64, points=512)
    direction = np.array([0.6, 0.0, 0.8])
    cast_directions(building, space="room", position_m=eye, sampling=few)
    cast_cone(building, space="room", position_m=eye, direction=direction, spread_rad=0.1)
    cast_point(
        building, space="room", position_m=eye, target_m=np.array([9, 1, 1]), target_space=None
    )
    cast_lit(building, space="room", direction=direction)
    cast_chain(building, direction=direction)
    modules = (walk, intersect, obstacles, polygon_tests, counting)
    kinds = {
        name: len(function.signatures)
        for module in modules
        for name, function in vars(module).items()
        if hasattr(function, "signatures")
    }
    assert {name for name, count in kinds.items() if count > 1} == set()
    assert kinds["follow"] == 1
    assert {"near_of", "next_of", "normal_part", "to_block", "count_alike"} < set(kinds)


def test_what_is_kept_on_disk_is_tied_to_all_modules(tmp_path: Path) -> None:
    """A function of another module may be compiled into one whose own module did not change."""
    (tmp_path / "one.py").write_text("1")
    (tmp_path / "two.py").write_text("2")
    before = stamp_of(str(tmp_path))
    assert [name for name, *_ in before] == ["one.py", "two.py"]
    (tmp_path / "two.py").write_text("22")
    assert stamp_of(str(tmp_path)) != before
    kept = walk.follow._cache._cache_file  # type: ignore[attr-defined]
    assert kept._source_stamp == stamp_of(str(Path(walk.__file__).parent))


def test_a_full_disk_stops_no_compiled_function(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(numba.config, "CACHE_DIR", str(tmp_path))
    function = compiled(double)
    monkeypatch.setattr(function._cache._cache_file, "save", full)  # type: ignore[attr-defined]
    assert function(1.5) == 3.0
    assert not list(tmp_path.rglob("*.nb*"))


FIRST_RUN = """
import sys
from first_run_module import steps
print("ready", flush=True)
sys.stdin.readline()
print(steps(10))
"""


def test_first_runs_at_once_and_one_that_is_killed(tmp_path: Path) -> None:
    """They compile into one empty folder; what a killed one leaves there hinders nobody."""
    body = "\n".join(f"        total += (k + {n}) % {n + 2}" for n in range(40))
    (tmp_path / "first_run_module.py").write_text(
        "from envelope.rays.kernel.jit import compiled\n\n\n"
        f"@compiled\ndef steps(count):\n    total = 0\n    for k in range(count):\n{body}\n"
        "    return total\n"
    )
    root = Path(walk.__file__).parents[3]
    environment = {
        **os.environ,
        "PYTHONPATH": os.pathsep.join((str(root), str(tmp_path))),
        "NUMBA_CACHE_DIR": str(tmp_path / "compiled"),
    }

    def started() -> subprocess.Popen[str]:
        return subprocess.Popen(
            [sys.executable, "-c", FIRST_RUN], env=environment, text=True,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )  # fmt: skip

    runs = [started() for _ in range(3)]
    for run in runs:
        assert run.stdout is not None
        assert run.stdin is not None
        assert run.stdout.readline() == "ready\n"
    for run in runs:  # all compile from here on
        assert run.stdin is not None
        run.stdin.write("\n")
        run.stdin.flush()
    runs[0].kill()
    expected = sum((k + n) % (n + 2) for k in range(10) for n in range(40))
    for run in (*runs[1:], started()):
        out, told = run.communicate(input="\n", timeout=120)
        assert out.split()[-1] == str(expected)
        assert (run.returncode, told) == (0, "")
    runs[0].communicate()
    assert list((tmp_path / "compiled").rglob("*.nbi"))
