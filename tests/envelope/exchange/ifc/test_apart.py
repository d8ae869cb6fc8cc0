"""Files are read in a process of their own, which alone ends where the library falls over them."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from envelope.errors import ModelFileError
from envelope.exchange.ifc import apart, shapes
from envelope.exchange.ifc.apart import read_apart
from envelope.exchange.ifc.file import read_here
from envelope.exchange.ifc.model_cache import to_bytes


def test_it_reads_and_refuses_as_this_process_does(
    house: Callable[..., Any], tmp_path: Path
) -> None:
    path = house().written(tmp_path / "a.ifc")
    assert to_bytes(read_apart(path, spaceless=False)) == to_bytes(read_here(path, spaceless=False))
    path.write_bytes(path.read_bytes()[:2000])
    with pytest.raises(ModelFileError, match="is cut short") as caught:
        read_apart(path, spaceless=False)
    assert str(caught.value).startswith(str(path))


def test_a_library_that_falls_over_ends_in_one_message(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("ifcopenshell")
    (tmp_path / "a.ifc").touch()
    ended = SimpleNamespace(returncode=-11)
    monkeypatch.setattr(apart.subprocess, "run", lambda *_, **__: ended)
    with pytest.raises(ModelFileError, match=r"down .SIGSEGV.: the file is damaged"):
        read_apart(tmp_path / "a.ifc", spaceless=False)

    def never_ends(command: list[str], **_: object) -> None:
        raise subprocess.TimeoutExpired(command, 1.0)

    monkeypatch.setattr(apart.subprocess, "run", never_ends)
    with pytest.raises(ModelFileError, match="takes longer than 30 minutes"):
        read_apart(tmp_path / "a.ifc", spaceless=False)


def test_a_library_that_goes_round_in_a_circle_is_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("ifcopenshell")
    pytest.importorskip("resource", reason="the system limits no processor time")
    path = tmp_path / "a.ifc"
    path.touch()
    circle = "import sys; from envelope.exchange.ifc.child import limit; limit(float(sys.argv[4]))"
    monkeypatch.setattr(apart, "_CHILD", f"{circle}\nwhile True: pass")
    monkeypatch.setattr(apart, "LEAST_SECONDS", 2.0)
    with pytest.raises(ModelFileError, match="busy for more than 2 s, far more than files of its"):
        read_apart(path, spaceless=False)


def test_a_large_file_may_take_longer(tmp_path: Path) -> None:
    path = tmp_path / "a.ifc"
    path.write_bytes(b"x" * 2_000_000)
    assert apart.seconds_for(path) == 180.0
    path.write_bytes(b"x" * 20_000_000)
    assert apart.seconds_for(path) == apart.MOST_WORK_SECONDS > shapes.MAX_SECONDS
