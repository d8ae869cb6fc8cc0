"""glTF whose fields hold another type than the format allows: one message each, no traceback."""

from __future__ import annotations

import base64
import contextlib
import copy
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from envelope.errors import EnvelopeError, ModelFileError
from envelope.exchange.formats.gltf import read_gltf

CORNERS = np.array([(0, 0, 0), (1, 0, 0), (0, 1, 0)], dtype="<f4").tobytes()
ORDER = np.array([0, 1, 2], dtype="<u2").tobytes()
WHOLE: dict[str, Any] = {
    "asset": {"version": "2.0"},
    "scene": 0,
    "scenes": [{"nodes": [0]}],
    "nodes": [
        {"name": "parent", "children": [1], "scale": [1, 1, 1]},
        {"name": "wall", "mesh": 0, "translation": [0, 0, 1], "rotation": [0, 0, 0, 1]},
    ],
    "meshes": [
        {"primitives": [{"attributes": {"POSITION": 0}, "indices": 1, "material": 0, "mode": 4}]}
    ],
    "materials": [{"name": "plaster"}],
    "accessors": [
        {"bufferView": 0, "byteOffset": 0, "componentType": 5126, "count": 3, "type": "VEC3"},
        {"bufferView": 1, "componentType": 5123, "count": 3, "type": "SCALAR"},
    ],
    "bufferViews": [
        {"buffer": 0, "byteOffset": 0, "byteLength": 36},
        {"buffer": 0, "byteOffset": 36, "byteLength": 6},
    ],
    "buffers": [
        {
            "byteLength": 42,
            "uri": "data:;base64," + base64.b64encode(CORNERS + ORDER).decode(),
        }
    ],
}
VALUES: list[Any] = [None, True, -1, 0.5, 1e308, "x", [], {}, [None], [[]], [{}], {"nodes": 3}, 7]


def places(value: Any, at: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Paths to everything in a tree."""
    if at:
        yield at
    inside: Any = ()
    if isinstance(value, dict):
        inside = value.items()
    elif isinstance(value, list):
        inside = enumerate(value)
    for key, each in inside:
        yield from places(each, (*at, key))


def changed(at: tuple[Any, ...], value: Any) -> dict[str, Any]:
    tree = copy.deepcopy(WHOLE)
    table: Any = tree
    for key in at[:-1]:
        table = table[key]
    table[at[-1]] = value
    return tree


def written(tmp_path: Path, tree: Any) -> Path:
    path = tmp_path / "model.gltf"
    path.write_text(json.dumps(tree), "utf-8")
    return path


def test_the_file_itself_can_be_read(tmp_path: Path) -> None:
    assert len(read_gltf(written(tmp_path, WHOLE)).start) == 2


@pytest.mark.parametrize("value", VALUES, ids=repr)
def test_any_field_may_hold_anything_without_a_traceback(tmp_path: Path, value: Any) -> None:
    for at in places(WHOLE):
        path = written(tmp_path, changed(at, value))
        with contextlib.suppress(EnvelopeError):
            read_gltf(path)


def test_the_message_names_the_field_what_it_holds_and_what_it_may(tmp_path: Path) -> None:
    tree = changed(("nodes", 1, "mesh"), "zero")
    with pytest.raises(ModelFileError) as caught:
        read_gltf(written(tmp_path, tree))
    assert str(caught.value).endswith("nodes[1].mesh is 'zero'; allowed: a whole number from 0 on")
