"""A sound project file, changed in places, and the faults that it then has."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from envelope.errors import ProjectFileError
from envelope.project import load_text

SOUND = Path(__file__).parent / "data" / "bedroom.toml"


@pytest.fixture
def changed() -> Callable[..., str]:
    """``changed((old, new), …, add="")``: the sound file with each first `old` replaced."""

    def text_of(*pairs: tuple[str, str], add: str = "") -> str:
        text = SOUND.read_text(encoding="utf-8")
        for old, new in pairs:
            assert old in text, old
            text = text.replace(old, new, 1)
        return text + add

    return text_of


@pytest.fixture
def messages() -> Callable[[str], list[str]]:
    """Every fault of a text, as it is told."""

    def faults_of(text: str) -> list[str]:
        with pytest.raises(ProjectFileError) as caught:
            load_text(text, path="house.toml")
        told = [str(fault) for fault in caught.value.faults]
        described = [fault.described() for fault in caught.value.faults]
        assert str(caught.value) == "\n".join(described)
        return told

    return faults_of
