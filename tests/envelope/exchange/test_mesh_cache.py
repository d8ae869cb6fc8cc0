"""What was made of a mesh is kept, and is the same when it comes back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from envelope.building.model import Building
from envelope.exchange import (
    Annotations,
    Fit,
    Imported,
    Offset,
    mesh_cache,
    read,
    read_model,
    to_glb,
    to_obj,
)
from envelope.exchange.mesh_cache import keep_import, key_of, load_import

STATED = {"unit": "m", "up": "z"}


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    kept = tmp_path / "kept"
    monkeypatch.setattr(mesh_cache, "cache_folder", lambda: kept)
    return kept


def same(one: Imported, two: Imported) -> None:
    assert [space.id for space in two.spaces] == [space.id for space in one.spaces]
    for before, after in zip(one.spaces, two.spaces, strict=True):
        assert [panel.id for panel in after.panels] == [panel.id for panel in before.panels]
        for left, right in zip(before.panels, after.panels, strict=True):
            np.testing.assert_array_equal(left.outline, right.outline)
            assert (left.kind, left.host, left.aliases, left.unmodelled) == (
                right.kind, right.host, right.aliases, right.unmodelled,
            )  # fmt: skip
    assert two.notes == one.notes
    assert dict(two.origins) == dict(one.origins)
    levels = [[(storey.id, storey.floor_m) for storey in each.storeys] for each in (one, two)]
    assert levels[0] == levels[1]
    assert two.tables == one.tables


def test_a_reading_comes_back_as_it_was(
    folder: Path, tmp_path: Path, two_rooms: Building, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.glb"
    path.write_bytes(to_glb(two_rooms, notes=Annotations(tables={"plan": [{"id": "p", "on": []}]})))
    first = read_model(path)
    assert len(list(folder.iterdir())) == 1
    monkeypatch.setattr(read, "_import_mesh", None)  # it is not made again
    again = read_model(path)
    same(first, again)
    assert isinstance(again.tables["plan"], list)


def test_what_is_asked_for_and_the_content_are_in_the_key(
    folder: Path, tmp_path: Path, two_rooms: Building
) -> None:
    path = tmp_path / "a.obj"
    path.write_text(to_obj(two_rooms))
    keys = {
        key_of(path, {"unit": unit, "spaces": spaces, "fit": fit})
        for unit in ("m", "ft")
        for spaces in (None, ["hall"])
        for fit in (False, True)
    }
    assert len(keys) == 8
    path.write_text(to_obj(two_rooms) + "\n")
    assert key_of(path, {"unit": "m", "spaces": None, "fit": False}) not in keys
    assert [space.id for space in read_model(path, spaces=["hall"], **STATED).spaces] == ["hall"]
    assert len(read_model(path, **STATED).spaces) == 2


def test_a_file_with_others_beside_it_is_not_kept(folder: Path, tmp_path: Path) -> None:
    path = tmp_path / "a.gltf"
    path.write_text("{}")
    assert key_of(path, {}) is None


def test_a_fit_comes_back_too(folder: Path, tmp_path: Path, two_rooms: Building) -> None:
    path = tmp_path / "a.obj"
    path.write_text(to_obj(two_rooms))
    fit = Fit(
        offsets={"hall/1": Offset(mean_m=0.004, most_m=0.008, beyond=0.0)},
        lines_m=np.arange(8.0).reshape(2, 2, 2),
        elsewhere=0.25,
    )
    key = key_of(path, {})
    assert key is not None
    keep_import(key, replace(read_model(path, **STATED), fit=fit))
    again = load_import(key)
    assert again is not None
    assert again.fit is not None
    assert again.fit.offsets == fit.offsets
    np.testing.assert_array_equal(again.fit.lines_m, fit.lines_m)


def test_a_kept_file_that_is_cut_is_dropped_and_made_again(
    folder: Path, tmp_path: Path, two_rooms: Building
) -> None:
    path = tmp_path / "a.obj"
    path.write_text(to_obj(two_rooms))
    first = read_model(path, **STATED)
    (kept,) = folder.iterdir()
    kept.write_bytes(kept.read_bytes()[:-9])
    same(first, read_model(path, **STATED))
    (kept,) = folder.iterdir()
    assert load_import(kept.name) is not None
