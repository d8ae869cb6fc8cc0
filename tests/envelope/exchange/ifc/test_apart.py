"""Files are read in a process of their own, which alone ends where the library falls over them."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from envelope.errors import ModelFileError
from envelope.exchange.ifc import apart
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
    ended = SimpleNamespace(returncode=-11)
    monkeypatch.setattr(apart.subprocess, "run", lambda *_, **__: ended)
    with pytest.raises(ModelFileError, match=r"down .SIGSEGV.: the file is damaged"):
        read_apart(tmp_path / "a.ifc", spaceless=False)

    def never_ends(command: list[str], **_: object) -> None:
        raise subprocess.TimeoutExpired(command, 1.0)

    monkeypatch.setattr(apart.subprocess, "run", never_ends)
    with pytest.raises(ModelFileError, match="takes longer than 30 minutes"):
        read_apart(tmp_path / "a.ifc", spaceless=False)
