"""Casts kept between commands: never another answer than casting anew would give."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from envelope import cast_cache, rays
from envelope.building.job import Job
from envelope.cast_cache import cast_or_recall
from envelope.exposure.casts import cast_job
from envelope.kept import VARIABLE
from envelope.project import load_text
from envelope.rays import Sampling

ROOT = Path(__file__).parents[2]
FEW = Sampling(points_per_panel=2**6, points=2**9)
JOB = """
format = 1
name = "Two rooms, one over the other"
[site]
north = "15 deg"
grade = "-0.3 m"
reach = "3 m"
[construction]
exterior-wall = "wall"
interior-wall = "wall"
floor = "wall"
roof = "wall"
window = "pane"
[[assembly]]
id = "wall"
loss = "6 dB"
[[assembly]]
id = "pane"
loss = "2 dB"
[[storey]]
id = "ground"
floor = "0 m"
[[storey]]
id = "upper"
floor = "2.7 m"
[[space]]
id = "kitchen"
storey = "ground"
size = "4 m x 3 m"
height = "2.4 m"
raised = true
[[space]]
id = "bedroom"
storey = "upper"
size = "4 m x 3 m"
height = "2.4 m"
[[opening]]
id = "W1"
on = "bedroom/1"
kind = "window"
at = "1.0 m"
sill = "0.9 m"
size = "1.5 m x 1.2 m"
reveal = "100 mm"
[[obstacle]]
id = "shed"
origin = "1, -9 m"
size = "3 m x 3 m"
height = "6 m"
[[treatment]]
id = "coating"
kind = "sheet"
sheet-resistance = "5 ohm/sq"
[[source]]
id = "mast"
azimuth = "190 deg"
elevation = "4 deg"
spread = "3 deg"
direction-tolerance = "5 deg"
band = "1805-1880 MHz"
level = "850 uW/m2"
[[source]]
id = "router"
space = "kitchen"
at = "2.0, 1.0, 1.4 m"
eirp = "20 dBm"
band = "2.45 GHz"
[[receiver]]
id = "bed"
space = "bedroom"
at = "1.3, 1.5, 0.7 m"
size = "0.5 m x 0.3 m x 0.3 m"
[[plan]]
id = "walls"
treat = [{ on = "bedroom/walls", with = "coating" }]
"""
# Everything that a cast depends on, each changed by itself.
CHANGES = [
    ('north = "15 deg"', 'north = "16 deg"'),
    ('grade = "-0.3 m"', 'grade = "-0.9 m"'),
    ('reach = "3 m"', 'reach = "30 m"'),
    ('floor = "2.7 m"', 'floor = "2.71 m"'),
    ('storey = "upper"\nsize = "4 m x 3 m"', 'storey = "upper"\nsize = "4 m x 3.001 m"'),
    ('storey = "ground"\nsize = "4 m x 3 m"', 'storey = "ground"\nsize = "3.5 m x 3 m"'),
    ("raised = true", "raised = false"),
    ('at = "1.0 m"', 'at = "1.1 m"'),
    ('sill = "0.9 m"', 'sill = "0.8 m"'),
    ('size = "1.5 m x 1.2 m"', 'size = "1.5 m x 1.1 m"'),
    ('reveal = "100 mm"', 'reveal = "0 mm"'),
    ('kind = "window"\n', 'kind = "open"\n'),
    ('origin = "1, -9 m"', 'origin = "0, -9 m"'),
    ('height = "6 m"', 'height = "5 m"'),
    ('azimuth = "190 deg"', 'azimuth = "191 deg"'),
    ('elevation = "4 deg"', 'elevation = "5 deg"'),
    ('spread = "3 deg"', 'spread = "4 deg"'),
    ('direction-tolerance = "5 deg"', 'direction-tolerance = "6 deg"'),
    ('at = "2.0, 1.0, 1.4 m"', 'at = "2.0, 1.0, 1.5 m"'),
    ('space = "kitchen"\nat = "2.0, 1.0, 1.4 m"', 'at = "2.0, -1.0, 1.4 m"'),
    ('at = "1.3, 1.5, 0.7 m"', 'at = "1.4, 1.5, 0.7 m"'),
    ('size = "0.5 m x 0.3 m x 0.3 m"', 'size = "0.3 m x 0.5 m x 0.3 m"'),
    ('size = "0.5 m x 0.3 m x 0.3 m"\n', ""),
    ('id = "mast"\n', 'id = "mast"\nground-reflection = true\n'),
]
# What a plan is made of, and what changes no ray.
SAME = [
    ('loss = "6 dB"', 'loss = "9 dB"'),
    ('sheet-resistance = "5 ohm/sq"', 'sheet-resistance = "50 ohm/sq"'),
    ('band = "1805-1880 MHz"', 'band = "791-821 MHz"'),
    ('level = "850 uW/m2"', 'level = "85 uW/m2"'),
    ('on = "bedroom/walls"', 'on = "bedroom/windows"'),
    ('id = "bed"', 'id = "cot"'),
    ('name = "Two rooms', 'name = "Three rooms'),
]


def job_of(text: str = JOB) -> Job:
    return load_text(text, path="job.toml")


def changed(before: str, after: str) -> Job:
    assert JOB.count(before) == 1, before
    return job_of(JOB.replace(before, after))


def leaves(value: Any) -> Iterator[Any]:
    """Every array and plain value of nested records, in order."""
    if is_dataclass(value) and not isinstance(value, type):
        for each in fields(value):
            if each.name != "receiver":
                yield from leaves(getattr(value, each.name))
    elif isinstance(value, dict):
        for key, each in value.items():
            yield key
            yield from leaves(each)
    elif isinstance(value, tuple):
        for each in value:
            yield from leaves(each)
    else:
        yield value


def same(one: object, other: object) -> bool:
    mine, theirs = list(leaves(one)), list(leaves(other))
    return len(mine) == len(theirs) and all(map(np.array_equal, mine, theirs))


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(VARIABLE, str(tmp_path / "kept"))
    return tmp_path / "kept" / "casts"


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of what is cast, one after the other."""
    found: list[str] = []

    def counting(name: str) -> None:
        plain = getattr(rays, name)

        def told(*arguments: Any, **named: Any) -> Any:
            found.append(name)
            return plain(*arguments, **named)

        monkeypatch.setattr(rays, name, told)

    for name in ("directions", "cone", "point", "lit", "chain", "even"):
        counting(f"cast_{name}")
    return found


def test_an_unchanged_job_is_not_cast_again(folder: Path, counted: list[str]) -> None:
    first = cast_or_recall(job_of(), sampling=FEW)
    assert set(counted) == {f"cast_{kind}" for kind in
                            ("directions", "cone", "point", "lit", "chain", "even")}  # fmt: skip
    counted.clear()
    second = cast_or_recall(job_of(), sampling=FEW)
    assert counted == []
    assert same(first, second)
    assert same(second, cast_job(job_of(), sampling=FEW))


@pytest.mark.parametrize(("before", "after"), CHANGES)
def test_what_changes_a_ray_is_cast_anew(
    before: str, after: str, kept_before: Path, monkeypatch: pytest.MonkeyPatch, counted: list[str]
) -> None:
    monkeypatch.setenv(VARIABLE, str(kept_before))
    job = changed(before, after)
    found = cast_or_recall(job, sampling=FEW)
    assert counted
    assert same(found, cast_job(job, sampling=FEW))
    counted.clear()
    assert not same(found, cast_or_recall(job_of(), sampling=FEW))
    assert counted == []


@pytest.fixture(scope="module")
def kept_before(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which the casts of the unchanged job are kept."""
    found = tmp_path_factory.mktemp("kept")
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv(VARIABLE, str(found))
        cast_or_recall(job_of(), sampling=FEW)
    return found


@pytest.mark.parametrize(("before", "after"), SAME)
def test_what_changes_no_ray_is_recalled(
    before: str, after: str, kept_before: Path, monkeypatch: pytest.MonkeyPatch, counted: list[str]
) -> None:
    monkeypatch.setenv(VARIABLE, str(kept_before))
    job = changed(before, after)
    found = cast_or_recall(job, sampling=FEW)
    assert counted == []
    assert found.receivers[0].receiver is job.receivers[0]
    assert same(found, cast_job(job, sampling=FEW))


def test_a_moved_bed_is_cast_and_the_rest_is_not(folder: Path, counted: list[str]) -> None:
    cast_or_recall(job_of(), sampling=FEW)
    counted.clear()
    moved = changed('at = "1.3, 1.5, 0.7 m"', 'at = "1.4, 1.5, 0.7 m"')
    cast_or_recall(moved, sampling=FEW)
    assert {"cast_directions", "cast_cone", "cast_point"} == set(counted)
    counted.clear()
    cast_or_recall(job_of(), sampling=FEW)  # where it was
    cast_or_recall(moved, sampling=FEW, lit=False)
    assert counted == []


@pytest.mark.parametrize(("points", "seed"), [(2**7, FEW.seed), (2**6, 3)])
def test_other_sampling_is_another_cast(
    points: int, seed: int, folder: Path, counted: list[str]
) -> None:
    cast_or_recall(job_of(), sampling=FEW)
    counted.clear()
    other = Sampling(points_per_panel=points, points=FEW.points, seed=seed)
    found = cast_or_recall(job_of(), sampling=other)
    assert "cast_directions" in counted
    assert same(found, cast_job(job_of(), sampling=other))


def test_another_program_casts_anew(
    folder: Path, counted: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    cast_or_recall(job_of(), sampling=FEW)
    counted.clear()
    monkeypatch.setattr(cast_cache, "program_digest", lambda: "of a later version")
    cast_or_recall(job_of(), sampling=FEW)
    assert counted


def test_the_digest_of_the_program_covers_every_module_that_casts() -> None:
    """All that `envelope.rays` imports, directly or not; the building's own are covered whole."""
    covered = ("envelope.building", "envelope.geometry", "envelope.rays")
    waiting = list((ROOT / "envelope" / "rays").rglob("*.py"))
    seen = set(waiting)
    while waiting:
        for node in ast.walk(ast.parse(waiting.pop().read_text(encoding="utf-8"))):
            module = node.module if isinstance(node, ast.ImportFrom) else None
            if module is None or not module.startswith("envelope.") or "building.job" in module:
                continue
            assert module.startswith(covered) or module == "envelope.errors", module
            path = ROOT / (module.replace(".", "/") + ".py")
            if path.is_file() and "building" not in path.parts and path not in seen:
                seen.add(path)
                waiting.append(path)
    text = Path(cast_cache.__file__).read_text(encoding="utf-8")
    for folder in ("building", "geometry", "rays"):
        assert f'_HERE / "{folder}"' in text


@pytest.mark.parametrize("damage", ["cut", "bit", "empty", "other", "longer"])
def test_what_is_damaged_is_cast_anew(damage: str, folder: Path, counted: list[str]) -> None:
    first = cast_or_recall(job_of(), sampling=FEW)
    (path,) = folder.iterdir()
    whole = path.read_bytes()
    middle = len(whole) // 2
    path.write_bytes({
        "cut": whole[:-9],
        "bit": whole[:middle] + bytes([whole[middle] ^ 16]) + whole[middle + 1 :],
        "empty": b"",
        "other": b"PK\3\4" + bytes(200),
        "longer": whole + b"\0",
    }[damage])  # fmt: skip
    counted.clear()
    assert same(cast_or_recall(job_of(), sampling=FEW), first)
    assert counted
    counted.clear()
    assert same(cast_or_recall(job_of(), sampling=FEW), first)
    assert counted == []


def test_a_folder_that_cannot_be_used_stops_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    taken = tmp_path / "file"
    taken.write_text("no folder")
    expected = cast_job(job_of(), sampling=FEW)
    for stated in (str(taken), ""):
        monkeypatch.setenv(VARIABLE, stated)
        assert same(cast_or_recall(job_of(), sampling=FEW), expected)
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_full_disk_stops_nothing(
    step: str, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whether it is full while the casts are written, or only when the file gets its name."""

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    expected = cast_job(job_of(), sampling=FEW)
    monkeypatch.setattr(os, step, full)
    assert same(cast_or_recall(job_of(), sampling=FEW), expected)
    assert list(folder.iterdir()) == []


def test_an_interrupt_amid_keeping_leaves_nothing_half_kept(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", interrupted)
        with pytest.raises(KeyboardInterrupt):
            cast_or_recall(job_of(), sampling=FEW)
    assert list(folder.iterdir()) == []
    assert same(cast_or_recall(job_of(), sampling=FEW), cast_job(job_of(), sampling=FEW))


def test_what_a_killed_run_left_half_written_is_not_taken_for_casts(
    folder: Path, counted: list[str]
) -> None:
    first = cast_or_recall(job_of(), sampling=FEW)
    (path,) = folder.iterdir()
    begun = folder / f".{path.name}.q3kx"  # as the temporary file is called
    begun.write_bytes(path.read_bytes()[:1000])
    path.unlink()
    counted.clear()
    assert same(cast_or_recall(job_of(), sampling=FEW), first)
    assert counted
    counted.clear()
    assert same(cast_or_recall(job_of(), sampling=FEW), first)
    assert counted == []


def test_those_used_longest_ago_go(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cast_cache, "MAX_FILES", 2)
    heights = [f'height = "{metres} m"' for metres in (2.1, 2.2, 2.3)]
    jobs = [job_of(JOB.replace('height = "2.4 m"', height)) for height in heights]
    for when, job in enumerate(jobs):
        cast_or_recall(job, sampling=FEW, lit=False)
        for path in folder.iterdir():
            os.utime(path, (when, min(when, path.stat().st_mtime)))
    assert len(list(folder.iterdir())) == 2
    monkeypatch.setattr(cast_cache, "MAX_BYTES", 1000)
    cast_or_recall(job_of(), sampling=FEW, lit=False)
    assert len(list(folder.iterdir())) == 2  # one that alone is too large is not kept


def test_pieces_that_nobody_asks_for_any_more_go(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A bed moved about leaves one piece a place; a few of the latest stay."""
    monkeypatch.setattr(cast_cache, "UNUSED_BYTES", 0)
    sizes = []
    for place in range(4):
        job = changed('at = "1.3, 1.5, 0.7 m"', f'at = "1.{place}, 1.5, 0.7 m"')
        cast_or_recall(job, sampling=FEW)
        (path,) = folder.iterdir()
        sizes.append(path.stat().st_size)
    assert max(sizes) < 1.2 * min(sizes)


def test_two_at_once(folder: Path) -> None:
    job = job_of()
    expected = cast_job(job, sampling=FEW)
    start = threading.Barrier(4)
    right: list[bool] = []

    def work() -> None:
        start.wait()
        for _ in range(3):
            right.append(same(cast_or_recall(job, sampling=FEW), expected))

    workers = [threading.Thread(target=work) for _ in range(4)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert right == [True] * 12
    assert len(list(folder.iterdir())) == 1


def test_a_second_analysis_loads_no_compiler(tmp_path: Path) -> None:
    """Which takes longer to load than what is left to compute; the answer is the same."""
    path = tmp_path / "job.toml"
    path.write_text(JOB, encoding="utf-8")
    code = (
        "import sys, envelope.cli\n"
        "sys.argv = ['gapcast', 'analyze', 'job.toml', '--json']\n"
        "envelope.cli.main()\n"
        "print('numba' in sys.modules, file=sys.stderr)\n"
    )
    environment = {**os.environ, "PYTHONPATH": str(ROOT), VARIABLE: str(tmp_path / "kept")}
    answers = [
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True,
                       cwd=tmp_path, env=environment)
        for _ in range(2)
    ]  # fmt: skip
    assert [answer.stderr.split()[-1] for answer in answers] == ["True", "False"]
    assert answers[0].stdout == answers[1].stdout
