"""Every command that the README shows, run as a reader would run it.

They share a process, whose start would take longer than most of them; copying the demo, the job in
the text and its reading have processes of their own.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path
from textwrap import dedent

import pytest

from envelope import cli

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text("utf-8")


def _commands() -> list[str]:
    blocks = re.findall(r"```console\n(.*?)```", README, flags=re.DOTALL)
    return [line for block in blocks for line in block.splitlines() if line.strip()]


# Commands that serve until they are stopped are started, asked and stopped in tests/browser.
SERVING = tuple(command for command in _commands() if command.startswith("gapcast view"))
ONCE = tuple(command for command in _commands() if command not in SERVING)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    _run("gapcast demo .", folder)
    return folder


def _run(command: str, folder: Path) -> subprocess.CompletedProcess[str]:
    words = shlex.split(command)
    assert words[0] == "gapcast"
    return subprocess.run(
        [sys.executable, "-m", "envelope.cli", *words[1:]],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUTF8": "1"},
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )


def _run_here(command: str) -> tuple[int, str, str]:
    """Run a command in this process: its exit code, and what it printed and said."""
    streams = [io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2)]
    with contextlib.redirect_stdout(streams[0]), contextlib.redirect_stderr(streams[1]):
        code = cli.main(shlex.split(command)[1:])
    for stream in streams:
        stream.flush()
        stream.seek(0)
    return code, streams[0].read(), streams[1].read()


@pytest.mark.parametrize("command", ONCE)
@pytest.mark.usefixtures("casts_once")
def test_a_command_of_the_tour_runs(
    command: str, demo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(demo)
    code, printed, said = _run_here(command)
    assert code == 0, printed + said
    assert printed.strip()
    for written in re.findall(r"(?:-o|--png|--picture) (\S+)", command):
        assert (demo / written).stat().st_size > 1000


def test_the_job_in_the_text_is_a_whole_job(tmp_path: Path) -> None:
    (job,) = re.findall(r"```toml\n(.*?)```", README, flags=re.DOTALL)
    (tmp_path / "room.toml").write_text(job, encoding="utf-8")
    answer = _run("gapcast analyze room.toml --json", tmp_path)
    assert answer.returncode == 0, answer.stderr
    plans = {plan["plan"]: plan["receivers"][0] for plan in json.loads(answer.stdout)["plans"]}
    assert list(plans) == ["as-built", "walls-only"]
    assert plans["walls-only"]["gaps"][0]["panel"] in ("bedroom/W1", "bedroom/ceiling")


def test_a_reading_in_the_text_takes_the_place_of_its_level(tmp_path: Path) -> None:
    (job,) = re.findall(r"```toml\n(.*?)```", README, flags=re.DOTALL)
    (reading,) = re.findall(r"^    \[\[reading\]\]\n(?:    .+\n)+", README, flags=re.MULTILINE)
    bare, count = re.subn(r"^level = .*\n", "", job, flags=re.MULTILINE)
    assert count == 1
    (tmp_path / "room.toml").write_text(f"{bare}\n{dedent(reading)}", encoding="utf-8")
    answer = _run("gapcast check room.toml", tmp_path)
    assert answer.returncode == 0, answer.stderr
    said = " ".join(answer.stdout.split())
    assert "mast: level outside solved from 1 reading (by-the-window): " in said


def test_links_into_other_documents_lead_somewhere() -> None:
    links = re.findall(r"\]\((\w+\.md)#([\w-]+)\)", README)
    assert links
    for name, anchor in links:
        headings = re.findall(r"^#+ (.+)$", (ROOT / name).read_text("utf-8"), flags=re.MULTILINE)
        assert anchor in {heading.lower().replace(" ", "-") for heading in headings}


def test_the_two_set_up_lines_stand_alone_and_indented() -> None:
    lines = re.findall(r"^ +python3 -m venv .*$", README, flags=re.MULTILINE)
    assert len(lines) == 2
    assert lines[0].strip().endswith(".venv/bin/gapcast analyze .demo/house.toml")
    assert lines[1].strip().endswith(".venv/bin/python -m pytest -q")


def test_every_command_that_the_parser_knows_is_in_the_tour() -> None:
    from envelope.cli import command_names

    shown = {shlex.split(command)[1] for command in _commands()} | {"demo"}
    assert shown == set(command_names())


def test_the_picture_is_there() -> None:
    for name in re.findall(r"!\[[^\]]*\]\(([^)]+)\)", README):
        assert (ROOT / name).is_file()


def test_gapcast_is_installed_as_a_command() -> None:
    assert shutil.which("gapcast", path=str(Path(sys.executable).parent)) is not None
