"""What `gapcast view` says while it begins."""

from __future__ import annotations

from pathlib import Path

import pytest

from envelope.cli import main
from viewer.app import server as app


@pytest.mark.parametrize(
    ("named", "said"), [(["hut.toml"], "Opening hut.toml ...\n"), ([], "")], ids=["job", "form"]
)
def test_it_says_what_it_opens_before_anything_is_read(
    named: list[str], said: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    begun: list[tuple[Path | None, str]] = []

    def run(path: Path | None, *, open_browser: bool, port: int | None) -> int:
        assert not open_browser
        assert port is None
        begun.append((path, capsys.readouterr().err))
        return 0

    monkeypatch.setattr(app, "run", run)
    assert main(["view", *named, "--no-browser"]) == 0
    assert begun == [(Path(*named) if named else None, said)]
