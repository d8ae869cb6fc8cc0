"""Readings of IFC files kept by their content, and rooms imported with what is near them alone."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from envelope.exchange import Imported, read_model
from envelope.exchange.ifc import file, model_cache

MakeHouse = Callable[..., Any]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    found = tmp_path / "kept"
    monkeypatch.setattr(model_cache, "cache_folder", lambda: found)
    return found


def facts(imported: Imported) -> list[Any]:
    return [
        [
            (space.id, space.storey, panel.id, panel.assembly, panel.unmodelled, panel.tags,
             panel.outline.tolist())
            for space in imported.spaces
            for panel in space.panels
        ],
        imported.notes,
        imported.assemblies,
        imported.materials,
        imported.north_rad,
        imported.grade_m,
        [(storey.id, storey.floor_m) for storey in imported.storeys],
    ]  # fmt: skip


@pytest.mark.parametrize("spaces", [True, False])
def test_what_is_kept_is_what_was_read(
    house: MakeHouse, tmp_path: Path, folder: Path, monkeypatch: pytest.MonkeyPatch, spaces: bool
) -> None:
    path = house(spaces=spaces).written(tmp_path / "a.ifc")
    first = read_model(path)
    assert len(list(folder.iterdir())) == 1

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("read anew")

    monkeypatch.setattr(file, "_library", refuse)
    assert facts(read_model(path)) == facts(first)
    path.write_bytes(path.read_bytes() + b" ")
    with pytest.raises(AssertionError, match="read anew"):
        read_model(path)


@pytest.mark.parametrize("damage", [b"", b"\0" * 4, b"{}" * 400])
def test_what_is_damaged_is_read_anew(
    house: MakeHouse, tmp_path: Path, folder: Path, damage: bytes
) -> None:
    path = house().written(tmp_path / "a.ifc")
    first = read_model(path)
    (kept,) = folder.iterdir()
    whole = kept.read_bytes()
    for broken in (damage, whole[:-8], whole[:100] + damage + whole[100:]):
        kept.write_bytes(broken)
        assert facts(read_model(path)) == facts(first)
    assert kept.read_bytes() == whole


def test_the_oldest_go(tmp_path: Path, folder: Path, house: MakeHouse,
                       monkeypatch: pytest.MonkeyPatch) -> None:  # fmt: skip
    monkeypatch.setattr(model_cache, "MAX_FILES", 2)
    for number in range(4):
        read_model(house().written(tmp_path / f"{number}.ifc"))
    assert len(list(folder.iterdir())) == 2


def test_a_folder_that_cannot_be_written_stops_nothing(
    house: MakeHouse, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    taken = tmp_path / "file"
    taken.write_text("no folder")
    monkeypatch.setattr(model_cache, "cache_folder", lambda: taken / "models")
    assert len(read_model(house().written(tmp_path / "a.ifc")).spaces) == 2


def test_a_room_alone_has_the_panels_that_it_has_with_all(house: MakeHouse, tmp_path: Path) -> None:
    """Far off stands another house, of which nothing is looked at."""
    made = house()
    far = [
        made.solid("IfcSpace", ((60000, 0, 3000), (64000, 3000, 5500)), Name="F"),
        made.solid("IfcWall", ((59700, -300, 3000), (64300, 0, 5500)), Name="FS"),
    ]
    made.root("IfcRelAggregates", RelatingObject=made.storey, RelatedObjects=far[:1])
    path = made.written(tmp_path / "a.ifc")
    whole = {space.id: space for space in read_model(path).spaces}
    (alone,) = read_model(path, spaces=["A"]).spaces
    assert [panel.id for panel in alone.panels] == [panel.id for panel in whole["A"].panels]
    for one, other in zip(alone.panels, whole["A"].panels, strict=True):
        assert np.array_equal(one.outline, other.outline)
        assert one.kind == other.kind
