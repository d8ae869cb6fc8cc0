"""Many jobs at once: the results of one by one, going on after a stop, and killed workers."""

from __future__ import annotations

import json
import multiprocessing
import os
import runpy
import signal
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from envelope.batch import Asked, analyze_file, digest_of, jobs_in, run_batch
from envelope.cli import main
from envelope.errors import EnvelopeError

ROOT = Path(__file__).parents[2]


def flat(level: int) -> str:
    return f"""
format = 1
name = "Flat at {level}"
[construction]
exterior-wall = "shell"
slab = "shell"
roof = "shell"
[[assembly]]
id = "shell"
loss = "6 dB"
[[storey]]
id = "ground"
floor = "0 m"
[[space]]
id = "room"
storey = "ground"
size = "3 m x 3 m"
height = "2.4 m"
[[source]]
id = "mast"
azimuth = "190 deg"
elevation = "5 deg"
band = "1805-1880 MHz"
level = "{level} uW/m2"
[[receiver]]
id = "bed"
space = "room"
at = "1, 1, 0.7 m"
"""


@pytest.fixture
def street(tmp_path: Path) -> Path:
    folder = tmp_path / "street"
    folder.mkdir()
    for number in range(4):
        (folder / f"flat-{number}.toml").write_text(flat(100 * (number + 1)), "utf-8")
    return folder


def plain(result: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in result.items() if key != "seconds"}


def test_many_are_what_each_is_by_itself_and_a_second_run_computes_nothing(
    street: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (street / "broken.toml").write_text("format = 1\nname = 3\n", "utf-8")
    paths = jobs_in([street])
    assert [path.name for path in paths] == ["broken.toml", *(f"flat-{n}.toml" for n in range(4))]
    told: list[float] = []
    found = run_batch(paths, Asked(), folder=tmp_path / "kept", workers=2, progress=told.append)
    assert [plain(each) for each in found] == [plain(analyze_file(p, Asked())) for p in paths]
    assert "name" in found[0]["error"]
    levels = [each["rows"][0]["level_w_m2"] for each in found[1:]]
    assert levels == pytest.approx([levels[0] * (n + 1) for n in range(4)])
    assert told == sorted(told)
    # from here on no worker can be started
    nothing = type("Stub", (), {"get_context": staticmethod(lambda _name: None)})
    monkeypatch.setattr("envelope.batch.multiprocessing", nothing)
    again = run_batch(paths, Asked(), folder=tmp_path / "kept", workers=2)
    assert again == found


@pytest.mark.skipif(os.name == "nt", reason="a process is killed otherwise there")
def test_a_killed_worker_takes_nothing_along(street: Path, tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    found: list[Any] = []
    paths = jobs_in([street])
    thread = threading.Thread(
        target=lambda: found.extend(run_batch(paths, Asked(), folder=kept, workers=2))
    )
    thread.start()
    killed = 0
    deadline = time.monotonic() + 120.0
    while killed < 2 and thread.is_alive() and time.monotonic() < deadline:
        begun = [path for path in kept.glob("*.lock") if path.stat().st_size] if killed else [1]
        children = [each for each in multiprocessing.active_children() if each.pid]
        if children and begun:
            os.kill(children[0].pid or 0, signal.SIGKILL)
            killed += 1
            time.sleep(0.3)
        time.sleep(0.02)
    thread.join(120.0)
    assert killed == 2
    assert [each["error"] for each in found] == [None] * 4
    assert len(list(kept.glob("*.json"))) == 4
    assert not [path for path in kept.iterdir() if path.suffix not in (".json", ".lock")]


def test_a_job_that_ends_its_workers_is_given_up(street: Path, tmp_path: Path) -> None:
    path = street / "flat-0.toml"
    kept = tmp_path / "kept"
    kept.mkdir()
    (kept / f"{digest_of(path, Asked())}.lock").write_bytes(b"...")
    (found,) = run_batch([path], Asked(), folder=kept, workers=1)
    assert "given up: it ended 3 workers" in found["error"]


def test_a_result_depends_on_the_file_its_model_and_what_is_asked(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text('[model]\nfile = "room.obj"\n', "utf-8")
    seen = {digest_of(path, Asked())}
    (tmp_path / "room.obj").write_text("v 0 0 0\n")
    seen.add(digest_of(path, Asked()))
    (tmp_path / "room.obj").write_text("v 0 0 1\n")
    seen.add(digest_of(path, Asked()))
    seen.add(digest_of(path, Asked(fine=True)))
    path.write_text('[model]\nfile = "room.obj"\n# said again\n', "utf-8")
    seen.add(digest_of(path, Asked()))
    assert len(seen) == 5


def test_the_command_prints_one_table_and_names_what_is_wrong(
    street: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    kept = str(tmp_path / "kept")
    files = [str(street / "flat-0.toml"), str(street / "flat-1.toml")]
    assert main(["analyze", *files, "--jobs", "1", "--results", kept]) == 0
    out = capsys.readouterr().out
    assert "flat-0.toml" in out
    assert "flat-1.toml" in out
    assert main(["analyze", *files, "--results", kept, "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)["jobs"]) == 2
    assert main(["analyze", *files, "--results", kept, "--csv"]) == 0
    assert capsys.readouterr().out.count("\n") == 3
    assert main(["analyze", *files, "--results", kept, "--detail"]) == 2
    assert "--detail goes with one job" in capsys.readouterr().err
    assert main(["analyze", *files, str(tmp_path / "nowhere"), "--results", kept]) == 2
    assert "there is no such file or folder" in capsys.readouterr().err


def test_an_empty_folder_is_said(tmp_path: Path) -> None:
    with pytest.raises(EnvelopeError, match="holds no project file"):
        jobs_in([tmp_path])


def test_a_cluster_gives_the_same(street: Path) -> None:
    pytest.importorskip("distributed")
    example = runpy.run_path(str(ROOT / "models" / "notebooks" / "cluster.py"))
    found = example["analyze_folder"](street)
    paths = jobs_in([street])
    assert [plain(each) for each in found] == [plain(analyze_file(p, Asked())) for p in paths]
