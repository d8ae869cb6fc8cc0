"""Models of thousands of parts, and files whose numbers or trees are hostile."""

from __future__ import annotations

import base64
import json
import time
import tracemalloc
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from envelope.errors import ModelFileError
from envelope.exchange import list_model, read_model
from envelope.exchange.formats import gltf
from envelope.exchange.mesh.volumes import with_corners_on_edges
from envelope.exchange.select import chosen_ids

QUADS = ((0, 1, 2, 3), (4, 7, 6, 5), (0, 4, 5, 1), (1, 5, 6, 2), (2, 6, 7, 3), (3, 7, 4, 0))
METRES = {"unit": "m", "up": "z"}


def box(name: str, low: Sequence[float], high: Sequence[float], before: int) -> list[str]:
    (a, b, c), (d, e, f) = low, high
    ring = ((a, b), (d, b), (d, e), (a, e))
    corners = [(x, y, z) for z in (c, f) for x, y in ring]
    faces = ["f " + " ".join(str(8 * before + corner + 1) for corner in quad) for quad in QUADS]
    return [f"o {name}", *("v {} {} {}".format(*corner) for corner in corners), *faces]


def furnished(path: Path, count: int) -> None:
    """One room of 40 m × 30 m and so many chairs in it."""
    lines = box("room", (0, 0, 0), (40, 30, 2.5), 0)
    for index in range(count):
        x, y = 0.5 + index % 75 * 0.52, 0.5 + index // 75 * 0.7
        lines += box(f"chair{index}", (x, y, 0.01), (x + 0.3, y + 0.3, 0.8), index + 1)
    path.write_text("\n".join(lines))


def seconds(path: Path) -> float:
    before = time.process_time()
    listing = list_model(path, **METRES)
    assert [item.id for item in listing.spaces if not item.trouble] == ["room"]
    return time.process_time() - before


def test_time_grows_with_the_number_of_objects_and_not_its_square(tmp_path: Path) -> None:
    few, many = tmp_path / "few.obj", tmp_path / "many.obj"
    furnished(few, 375)
    furnished(many, 3000)
    seconds(few)  # what is imported late is imported here
    short, long = seconds(few), seconds(many)
    assert long < 5.0
    assert long < 16.0 * short  # 8 times the chairs: the square would be 64


def tree(path: Path, nodes: list[dict[str, Any]]) -> Path:
    """A file of nodes that place one triangle."""
    data = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0]], dtype="<f4").tobytes()
    uri = "data:application/octet-stream;base64," + base64.b64encode(data).decode()
    content = {
        "asset": {"version": "2.0"},
        "buffers": [{"byteLength": 36, "uri": uri}],
        "bufferViews": [{"buffer": 0, "byteLength": 36}],
        "accessors": [{"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3"}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
        "nodes": nodes,
        "scenes": [{"nodes": [0]}],
    }
    path.write_text(json.dumps(content))
    return path


def stacked(path: Path, count: int) -> Path:
    """Upright triangles, one above the other."""
    placed = [
        {"name": f"n{index}", "mesh": 0, "translation": [0, 2.0 * index, 0]}
        for index in range(count)
    ]
    return tree(path, [{"children": list(range(1, count + 1))}, *placed])


def test_memory_keeps_to_the_number_of_nodes(tmp_path: Path) -> None:
    path = stacked(tmp_path / "a.gltf", 4000)
    with_corners_on_edges(gltf.read_gltf(stacked(tmp_path / "b.gltf", 2)))
    tracemalloc.start()
    try:
        soup = gltf.read_gltf(path)
        reading = tracemalloc.get_traced_memory()[1]
        tracemalloc.reset_peak()
        with_corners_on_edges(soup)
        mending = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert soup.faces == 4000
    assert len(soup.labels) == 4000
    assert reading < 30e6  # a table of labels for every node would have 64 MB
    assert mending < 60e6  # every corner against every edge would have gigabytes


def test_a_node_with_two_parents_is_refused(tmp_path: Path) -> None:
    doubled = [{"children": [index + 1, index + 1]} for index in range(30)]
    for nodes in ([*doubled, {"mesh": 0}], [{"children": [1]}, {"mesh": 0, "children": [0]}]):
        path = tree(tmp_path / "bomb.gltf", nodes)
        before = time.process_time()
        with pytest.raises(ModelFileError, match=r"glTF allows each node one parent"):
            read_model(path)
        assert time.process_time() - before < 1.0


def test_triangles_are_counted_before_they_are_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(gltf, "MOST_TRIANGLES", 1000)
    assert gltf.read_gltf(stacked(tmp_path / "a.gltf", 1000)).faces == 1000
    with pytest.raises(ModelFileError, match=r"place more than 1,000 triangles in all"):
        gltf.read_gltf(stacked(tmp_path / "b.gltf", 1001))


@pytest.mark.parametrize(
    ("number", "says"),
    [
        ("1e300", r"a vertex lies 1e\+300 m from the origin along an axis; allowed is less than"),
        ("1.1e8", r"a vertex lies 1\.1e\+08 m from the origin"),
        ("nan", r"a vertex is not a finite number"),
        ("inf", r"a vertex is not a finite number"),
    ],
)
@pytest.mark.parametrize("format", ["obj", "ply", "stl"])
def test_a_vertex_out_of_all_bounds(tmp_path: Path, format: str, number: str, says: str) -> None:
    if format == "stl" and number == "1e300":
        says = r"not a finite number|1e\+300 m from the origin"  # single precision has none such
    corners = [f"{number} 0 0", f"0 {number} 0", f"0 0 {number}"]
    if format == "obj":
        text = "\n".join([*(f"v {corner}" for corner in corners), "f 1 2 3"])
    elif format == "ply":
        head = ["ply", "format ascii 1.0", "element vertex 3"]
        head += [f"property double {axis}" for axis in "xyz"]
        head += ["element face 1", "property list uchar int vertex_indices", "end_header"]
        text = "\n".join([*head, *corners, "3 0 1 2", ""])
    else:
        facet = ["facet normal 0 0 1", "outer loop", *(f"vertex {item}" for item in corners)]
        text = "\n".join(["solid a", *facet, "endloop", "endfacet", "endsolid a"])
    path = tmp_path / f"a.{format}"
    path.write_text(text)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with pytest.raises(ModelFileError, match=says):
            read_model(path, **METRES)


KNOWN = {"script-alert-1-script-203": ("<script>alert(1)</script>\n203", "Bedroom 2"), "A101": ()}


@pytest.mark.parametrize(
    "name",
    [
        "<script>alert(1)</script>\n203",
        "<SCRIPT>alert(1)</SCRIPT> 203",
        "script-alert-1-script-203",
        "bedroom 2",
        "Bedroom-2",
    ],
)
def test_a_space_goes_by_its_name_and_by_its_id(name: str) -> None:
    found = chosen_ids(wanted=[name], known=KNOWN, source="a.ifc")
    assert found == ["script-alert-1-script-203"]


def test_nearest_names_are_told_once() -> None:
    with pytest.raises(ModelFileError) as caught:
        chosen_ids(wanted=["A1011"], known={"A101": ("A101 ", "A-101"), "B7": ()}, source="a.ifc")
    assert str(caught.value).endswith("there is no space 'A1011'; the nearest names are A101")


def test_a_lattice_of_boards_is_not_cut_for_minutes(tmp_path: Path) -> None:
    lines: list[str] = []
    for index in range(100):
        at = 0.2 * index
        lines += box(f"a{index}", (0, at, 0), (20, at + 0.02, 2.5), 2 * index)
        lines += box(f"b{index}", (at, 0, 0), (at + 0.02, 20, 2.5), 2 * index + 1)
    path = tmp_path / "lattice.obj"
    path.write_text("\n".join(lines))
    before = time.process_time()
    listing = list_model(path, **METRES)
    assert time.process_time() - before < 10.0
    assert len(listing.spaces) == 200
    assert all("too thin for a room" in item.trouble for item in listing.spaces)
