"""The table of constants without a source is the one that the code makes."""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent


def test_the_table_in_the_documentation_is_current(monkeypatch) -> None:  # type: ignore[no-untyped-def]
    monkeypatch.syspath_prepend(str(ROOT / "tests"))
    monkeypatch.delitem(sys.modules, "constants", raising=False)
    import constants

    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    assert constants.written(text) == text, "run: python tests/constants.py --write DEVELOPERS.md"
    assert len(constants.constants()) > 20
