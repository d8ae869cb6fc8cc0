"""Meshes as other programs write them: encodings, layouts, cracks, skins and far origins."""

from __future__ import annotations

import base64
import json
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from envelope.building.model import Building
from envelope.errors import ModelFileError
from envelope.exchange import Imported, read_model

STATED = {"unit": "m", "up": "z"}
# A room of 4 × 3 × 2.5 m
CORNERS = np.array([[x, y, z] for z in (0, 2.5) for y in (0, 3) for x in (0, 4)], dtype=float)
QUADS = [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [1, 3, 7, 5], [3, 2, 6, 7], [2, 0, 4, 6]]
TRIANGLES = np.array([[q[k] for k in cut] for q in QUADS for cut in ((0, 1, 2), (0, 2, 3))])
FACETS = CORNERS[TRIANGLES]


def a_room(found: Imported, *, within_m3: float = 1e-3) -> None:
    (space,) = found.spaces
    assert space.volume_m3 == pytest.approx(30.0, abs=within_m3)
    assert sorted(panel.kind for panel in space.panels) == ["ceiling", "floor", *["wall"] * 4]


def box(low: tuple[float, ...], high: tuple[float, ...]) -> np.ndarray:
    return (np.array(low) + np.subtract(high, low) * CORNERS / CORNERS[-1])[TRIANGLES]


def stl(facets: np.ndarray, *, head: bytes = b"") -> bytes:
    record = np.zeros(
        len(facets), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("more", "<u2")]
    )
    record["corners"] = facets
    return head.ljust(80) + struct.pack("<I", len(record)) + record.tobytes()


def plain_stl(facets: np.ndarray, name: str) -> str:
    lines = [f"solid {name}"]
    for corners in facets:
        lines.append("  facet normal 0 0 0\n    outer loop")
        lines.extend(f"      vertex {x:e} {y:e} {z:e}" for x, y, z in corners)
        lines.append("    endloop\n  endfacet")
    return "\n".join([*lines, f"endsolid {name}\n"])


@pytest.mark.parametrize(
    "content",
    [
        stl(FACETS, head=b"solid by some program"),
        stl(FACETS) + b"a line of its own",
        plain_stl(FACETS, "my room (final) v2").encode(),
        plain_stl(FACETS, "Küche").encode("cp1252"),
        plain_stl(FACETS, "room").upper().encode(),
        plain_stl(FACETS, "room").replace("\n", "\r\n").encode(),
        stl(FACETS[:, ::-1]),
        stl(np.concatenate((FACETS,) * 5)),  # 60 triangles, and 60 is "<"
    ],
    ids=["solid", "trailer", "spaces", "western", "upper", "crlf", "inward", "sixty"],
)
def test_stl_of_many_writers(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "a.stl"
    path.write_bytes(content)
    found = read_model(path, **STATED)
    a_room(found)
    if "Küche".encode("cp1252") in content:
        assert found.spaces[0].id == "Kuche"


def test_an_stl_with_a_wrong_count_is_refused(tmp_path: Path) -> None:
    content = bytearray(stl(FACETS))
    content[80:84] = struct.pack("<I", 5)
    path = tmp_path / "a.stl"
    path.write_bytes(content)
    with pytest.raises(ModelFileError, match=r"announces 5 triangles but holds 12: its count is"):
        read_model(path, **STATED)


def obj(*, vertices: str = "", faces: str = "") -> str:
    listed = "".join(f"v {x} {y} {z} 0.5 0.5 0.5\n" for x, y, z in CORNERS)
    rings = "".join("f " + " ".join(f"{k + 1}//1" for k in quad) + "\n" for quad in QUADS[1:])
    return f"{vertices}o Küche\nmtllib not there.mtl\n{listed}vn 0 0 1\n{faces}{rings}l 1 2\n"


CONTINUED = "g floor slab\nusemtl Eiche\ns off\nf -8/1/1 -6/1/1 \\\n -5/1/1 -7/1/1\nusemtl Putz\n"


@pytest.mark.parametrize(
    ("encoding", "end"),
    [("utf-8", "\n"), ("utf-8-sig", "\r\n"), ("cp1252", "\r\n"), ("utf-8", "\r")],
)
def test_obj_of_many_writers(tmp_path: Path, encoding: str, end: str) -> None:
    path = tmp_path / "a.obj"
    path.write_bytes(obj(faces=CONTINUED).replace("\n", end).encode(encoding))
    found = read_model(path, **STATED)
    a_room(found)
    assert found.spaces[0].id == "Kuche"
    (floor,) = [panel for panel in found.spaces[0].panels if panel.kind == "floor"]
    assert "Eiche" in floor.tags


def test_a_concave_polygon_is_one_panel(tmp_path: Path) -> None:
    plan = [(0, 0), (4, 0), (4, 2), (2, 2), (2, 3), (0, 3)]
    lines = [f"v {x} {y} {z}" for z in (0, 2.5) for x, y in plan]
    lines += ["f 6 5 4 3 2 1", "f 7 8 9 10 11 12"]
    lines += [f"f {k + 1} {(k + 1) % 6 + 1} {(k + 1) % 6 + 7} {k + 7}" for k in range(6)]
    path = tmp_path / "a.obj"
    path.write_text("\n".join(lines))
    (space,) = read_model(path, **STATED).spaces
    assert space.volume_m3 == pytest.approx(25.0)
    assert len(space.panels) == 8


PLY_HEAD = """ply
format {} 1.0
comment by some program
obj_info more
element vertex 8
property double x
property double y
property double z
property uchar red
property float quality
element face 6
property uchar flags
property list uchar uint vertex_indices
property list uchar float texcoord
element edge 1
property int vertex1
property int vertex2
end_header
"""


@pytest.mark.parametrize("order", ["<", ">", ""])
def test_ply_with_more_than_is_needed(tmp_path: Path, order: str) -> None:
    if order:
        name = "binary_little_endian" if order == "<" else "binary_big_endian"
        body = b"".join(struct.pack(order + "dddBf", *corner, 7, 1.0) for corner in CORNERS)
        body += b"".join(
            struct.pack(order + "BB4IB8f", 1, 4, *quad, 8, *[0.0] * 8) for quad in QUADS
        )
        body += struct.pack(order + "ii", 0, 1)
    else:
        name = "ascii"
        lines = [f"{x} {y} {z} 7 1.0" for x, y, z in CORNERS]
        lines += ["1 4 {} {} {} {} 8 0 0 0 0 0 0 0 0".format(*quad) for quad in QUADS]
        body = "\n".join([*lines, "0 1\n"]).encode()
    path = tmp_path / "a.ply"
    path.write_bytes(PLY_HEAD.format(name).encode() + body)
    a_room(read_model(path, **STATED))


def test_ply_strips_are_refused_by_name(tmp_path: Path) -> None:
    path = tmp_path / "a.ply"
    path.write_text(
        "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\n"
        "property float z\nelement tristrips 1\nproperty list int int vertex_indices\n"
        "end_header\n0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n"
    )
    with pytest.raises(ModelFileError, match="holds triangle strips, which cannot be read"):
        read_model(path, **STATED)


UPRIGHT = np.column_stack((CORNERS[:, 0], CORNERS[:, 2], -CORNERS[:, 1]))  # y up
POINTS = UPRIGHT.astype("<f4").tobytes()
INDICES = TRIANGLES.astype("<u2").tobytes()


def gltf(parts: list[bytes], **tree: Any) -> str:
    """A glTF with its buffer inside, one view a part."""
    views, blob = [], b""
    for part in parts:
        views.append({"buffer": 0, "byteOffset": len(blob), "byteLength": len(part)})
        blob += part + b"\0" * (-len(part) % 4)
    uri = "data:application/octet-stream;base64," + base64.b64encode(blob).decode()
    whole = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"name": "den", "mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "buffers": [{"uri": uri, "byteLength": len(blob)}],
        "bufferViews": views,
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": 8, "type": "VEC3"},
            {"bufferView": 1, "componentType": 5123, "count": 36, "type": "SCALAR"},
        ],
    }
    return json.dumps(whole | tree, ensure_ascii=False)


def sparse() -> str:
    """The last corner stands at the origin until the sparse part moves it."""
    moved = UPRIGHT.copy()
    moved[7] = 0.0
    parts = [
        moved.astype("<f4").tobytes(),
        INDICES,
        struct.pack("<H", 7),
        UPRIGHT[7].astype("<f4").tobytes(),
    ]
    corners = {"bufferView": 0, "componentType": 5126, "count": 8, "type": "VEC3"}
    corners["sparse"] = {
        "count": 1,
        "indices": {"bufferView": 2, "componentType": 5123},
        "values": {"bufferView": 3},
    }
    indices = {"bufferView": 1, "componentType": 5123, "count": 36, "type": "SCALAR"}
    return gltf(parts, accessors=[corners, indices])


def quantized() -> str:
    """Corners in whole centimetres, padded to 8 bytes."""
    whole = np.zeros((8, 4), dtype="<i2")
    whole[:, :3] = np.round(100.0 * UPRIGHT)
    text = json.loads(gltf([whole.tobytes(), INDICES]))
    text["bufferViews"][0]["byteStride"] = 8
    text["accessors"][0]["componentType"] = 5122
    text["nodes"] = [{"name": "den", "mesh": 0, "scale": [0.01, 0.01, 0.01]}]
    text["extensionsRequired"] = ["KHR_mesh_quantization"]
    return json.dumps(text)


def fans() -> str:
    """Each face a fan of its own without indices, and a line that is no face."""
    parts = [UPRIGHT[quad].astype("<f4").tobytes() for quad in QUADS]
    corners = {"componentType": 5126, "count": 4, "type": "VEC3"}
    primitives = [{"attributes": {"POSITION": k}, "mode": 6} for k in range(6)]
    primitives.append({"attributes": {"POSITION": 0}, "mode": 1})
    return gltf(
        parts,
        accessors=[{"bufferView": k, **corners} for k in range(6)],
        meshes=[{"primitives": primitives}],
    )


def mirrored() -> str:
    """A mirrored parent over a turned child, with a name of other letters."""
    nodes = [
        {"scale": [-1, 1, 1], "children": [1]},
        {"name": "den 寝室", "mesh": 0, "rotation": [0, 0.5**0.5, 0, 0.5**0.5]},
    ]
    return gltf([POINTS, INDICES], nodes=nodes)


@pytest.mark.parametrize("write", [sparse, quantized, fans, mirrored])
def test_gltf_of_many_writers(
    tmp_path: Path, write: Callable[[], str], assembled: Callable[[Imported], Building]
) -> None:
    path = tmp_path / "a.gltf"
    path.write_text(write(), encoding="utf-8")
    found = read_model(path)
    a_room(found)
    assert found.spaces[0].id == "den"
    assert len(assembled(found).panels) == 6


def test_gltf_nodes_that_share_a_mesh_and_a_name_are_two_rooms(tmp_path: Path) -> None:
    nodes = [
        {"children": [1, 2]},
        {"name": "Room", "mesh": 0},
        {"name": "Room", "mesh": 0, "translation": [4.1, 0, 0]},
    ]
    path = tmp_path / "a.gltf"
    path.write_text(gltf([POINTS, INDICES], nodes=nodes))
    assert [space.id for space in read_model(path).spaces] == ["Room-1", "Room-2"]


@pytest.mark.parametrize("name", ["KHR_draco_mesh_compression", "EXT_meshopt_compression"])
def test_compressed_gltf_is_refused(tmp_path: Path, name: str) -> None:
    path = tmp_path / "a.gltf"
    path.write_text(gltf([POINTS, INDICES], extensionsRequired=[name]))
    with pytest.raises(ModelFileError, match=f"is compressed with {name}; export it uncompr"):
        read_model(path)


def shrunk(gap_m: float) -> np.ndarray:
    """Every face drawn in towards its middle at its corners, so that cracks are left."""
    found = []
    for quad in QUADS:
        ring = CORNERS[quad]
        inward = ring.mean(axis=0) - ring
        ring = ring + gap_m * inward / np.linalg.norm(inward, axis=1, keepdims=True)
        found += [ring[[0, 1, 2]], ring[[0, 2, 3]]]
    return np.array(found)


@pytest.mark.parametrize(
    ("gap_m", "closed_mm"), [(3e-5, None), (1e-4, "0.5"), (2e-4, "0.5"), (1e-3, "2")]
)
def test_cracks_are_closed_and_told(tmp_path: Path, gap_m: float, closed_mm: str | None) -> None:
    path = tmp_path / "a.stl"
    path.write_bytes(stl(shrunk(gap_m)))
    found = read_model(path, **STATED)
    a_room(found, within_m3=60.0 * gap_m)
    told = [note.message for note in found.noted("repaired") if "cracks" in note.message]
    wanted = (
        [] if closed_mm is None else [f"cracks of up to {closed_mm} mm between its faces closed"]
    )
    assert told == wanted
    assert found.noted("gap") == ()


def test_wide_cracks_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.stl"
    path.write_bytes(stl(shrunk(5e-3)))
    with pytest.raises(ModelFileError, match=r"no closed space .* \(6 × a flat sheet that bounds"):
        read_model(path, **STATED)


def test_a_sheet_beside_a_hole_is_no_crack(tmp_path: Path) -> None:
    """A screen 10 cm before an open front closes nothing."""
    front = FACETS[4:6]
    path = tmp_path / "a.stl"
    path.write_bytes(stl(np.concatenate((FACETS[:4], FACETS[6:], front - [0.0, 0.1, 0.0]))))
    (gap,) = read_model(path, **STATED).noted("gap")
    assert "10 m²" in gap.message


def test_a_hollow_body_with_both_skins_wound_alike(tmp_path: Path) -> None:
    path = tmp_path / "a.stl"
    outer = box((-0.2, -0.2, -0.2), (4.2, 3.2, 2.7))
    path.write_bytes(stl(np.concatenate((outer, FACETS))))
    found = read_model(path, **STATED)
    a_room(found)
    assert "whose walls it is" in found.noted("left-out")[0].message


def test_a_large_wardrobe_is_furniture_all_the_same(tmp_path: Path) -> None:
    path = tmp_path / "a.stl"
    path.write_bytes(stl(np.concatenate((FACETS, box((0.1, 0.1, 0.1), (2.4, 2.9, 2.4))))))
    found = read_model(path, **STATED)
    a_room(found)
    assert "furniture" in found.noted("left-out")[0].message


def test_far_from_the_origin_single_precision_is_told(tmp_path: Path) -> None:
    path = tmp_path / "a.stl"
    path.write_bytes(stl(FACETS + np.array([1e5, 2e4, 300.0])))
    found = read_model(path, **STATED)
    a_room(found)
    (note,) = found.noted("remark")
    assert "holds its corners there to 7.8 mm only" in note.message
    path.write_bytes(stl(FACETS + np.array([1e3, 0.0, 0.0])))
    assert read_model(path, **STATED).noted("remark") == ()


def test_rooms_that_share_walls_of_no_thickness(tmp_path: Path) -> None:
    path = tmp_path / "a.stl"
    boxes = (FACETS, box((4, 0, 0), (8, 3, 2.5)), box((0, 3, 0), (8, 6, 2.5)))
    path.write_bytes(stl(np.concatenate(boxes)))
    volumes = [space.volume_m3 for space in read_model(path, **STATED).spaces]
    assert volumes == pytest.approx([30.0, 30.0, 60.0])


def square(y: float, *, inward: bool = False) -> list[list[tuple[float, ...]]]:
    """A square metre across the opening of `thick_walls`, as two triangles."""
    a, b, c, d = ((1, y, 1), (2, y, 1), (2, y, 2), (1, y, 2))
    return [[a, b, c], [a, c, d]] if not inward else [[c, b, a], [d, c, a]]


def thick_walls() -> list[Any]:
    """Walls 0.2 m thick all round in one piece, an opening of 1 m² through the south one."""

    def pierced(y: float, low: tuple[float, ...], high: tuple[float, ...]) -> list[Any]:
        found: list[Any] = []
        xs, zs = (low[0], 1, 2, high[0]), (low[2], 1, 2, high[2])
        for i in range(3):
            for k in range(3):
                if (i, k) != (1, 1):
                    a, b = (xs[i], y, zs[k]), (xs[i + 1], y, zs[k])
                    c, d = (xs[i + 1], y, zs[k + 1]), (xs[i], y, zs[k + 1])
                    found += [[a, b, c], [a, c, d]]
        return found

    inside = ((0.0, 0.0, 0.0), (4.0, 3.0, 2.5))
    outside = ((-0.2, -0.2, -0.2), (4.2, 3.2, 2.7))
    south = [4, 5]
    found = list(np.delete(box(*outside), south, axis=0))
    found += list(np.delete(box(*inside), south, axis=0)[:, ::-1])
    found += pierced(-0.2, *outside) + [ring[::-1] for ring in pierced(0.0, *inside)]
    around = [(1, 1), (2, 1), (2, 2), (1, 2)]
    for (x0, z0), (x1, z1) in zip(around, around[1:] + around[:1], strict=True):
        a, b, c, d = (x0, -0.2, z0), (x1, -0.2, z1), (x1, 0.0, z1), (x0, 0.0, z0)
        found += [[a, b, c], [a, c, d]]
    return found


def written(path: Path, parts: dict[str, Any]) -> Path:
    lines: list[str] = []
    count = 0
    for name, facets in parts.items():
        lines.append(f"o {name}")
        for facet in facets:
            lines += [f"v {x} {y} {z}" for x, y, z in facet]
            lines.append(f"f {count + 1} {count + 2} {count + 3}")
            count += 3
    path.write_text("\n".join(lines))
    return path


GLASS = {
    "flush": (0.0, 7, square(0.0)),
    "in the reveal": (-0.1, 11, square(-0.1)),
    "facing out": (-0.1, 11, square(-0.1, inward=True)),
    "of two sides": (-0.1, 11, box((1.0, -0.12, 1.0), (2.0, -0.1, 2.0))),
    "let into the walls": (-0.1, 11, box((0.98, -0.12, 0.98), (2.02, -0.1, 2.02))),
}


@pytest.mark.parametrize(("y", "panels", "glass"), GLASS.values(), ids=list(GLASS))
def test_a_pane_in_thick_walls_closes_the_room(
    tmp_path: Path, y: float, panels: int, glass: Any, assembled: Callable[[Imported], Building]
) -> None:
    parts = {
        "House": thick_walls(),
        "Glass": glass,
        "Table": box((1.0, 1.0, 0.0), (2.0, 2.0, 0.8)),
    }
    found = read_model(written(tmp_path / "a.obj", parts), **STATED)
    (space,) = found.spaces
    assert space.volume_m3 == pytest.approx(30.0 - y)
    assert len(space.panels) == panels
    (window,) = [panel for panel in space.panels if panel.kind == "window"]
    np.testing.assert_allclose(window.outline[:, 1], y, atol=1e-9)
    assert window.area_m2 == pytest.approx(1.0)
    left_out = {note.subject: note.message for note in found.noted("left-out")}
    assert "walls of the house in one piece" in left_out["House"]
    assert "furniture" in left_out["Table"]
    assert len(assembled(found).panels) == panels


def test_thick_walls_with_nothing_in_the_opening_say_how_to_go_on(tmp_path: Path) -> None:
    path = written(tmp_path / "a.obj", {"House": thick_walls()})
    with pytest.raises(ModelFileError, match=r"openings through them .* draw faces over its win"):
        read_model(path, **STATED)


def two_rooms_of_boxes() -> dict[str, np.ndarray]:
    """Every wall a box of its own; a window, a door between the rooms, and furniture."""
    return {
        "Slab": box((-0.3, -0.3, -0.3), (7.4, 3.3, 0)),
        "Roof": box((-0.3, -0.3, 2.5), (7.4, 3.3, 2.7)),
        "West wall": box((-0.3, -0.3, 0), (0, 3.3, 2.5)),
        "East wall": box((7.1, -0.3, 0), (7.4, 3.3, 2.5)),
        "North wall": box((-0.1, 3, 0), (7.2, 3.3, 2.5)),  # let into its neighbours
        "South wall left": box((0, -0.3, 0), (1, 0, 2.5)),
        "South wall right": box((2.5, -0.3, 0), (7.1, 0, 2.5)),
        "Sill wall": box((1, -0.3, 0), (2.5, 0, 0.9)),
        "Lintel": box((1, -0.3, 2.1), (2.5, 0, 2.5)),
        "Window": box((1, -0.15, 0.9), (2.5, -0.13, 2.1)),
        "Partition a": box((4, 0, 0), (4.1, 1, 2.5)),
        "Partition b": box((4, 1.8, 0), (4.1, 3, 2.5)),
        "Beam": box((4, 1, 2), (4.1, 1.8, 2.5)),
        "Door": box((4.03, 1, 0), (4.07, 1.8, 2)),
        "Bed": box((0.2, 0.5, 0), (1.6, 2.5, 0.5)),
        "Table": box((5, 1, 0.7), (6, 2, 0.73)),
    }


@pytest.mark.parametrize("turn", [0.0, 0.37])
def test_walls_that_are_boxes_of_their_own_enclose_rooms(
    tmp_path: Path, turn: float, assembled: Callable[[Imported], Building]
) -> None:
    cosine, sine = np.cos(turn), np.sin(turn)
    turned = np.array([[cosine, -sine, 0], [sine, cosine, 0], [0, 0, 1]])
    parts = {
        name: facets @ turned.T + (13.7, -5.2, 3.1) for name, facets in two_rooms_of_boxes().items()
    }
    found = read_model(written(tmp_path / "a.obj", parts), **STATED)
    niches = 0.8 * 2.0 * 0.03  # before the door, on either side
    volumes = [space.volume_m3 for space in found.spaces]
    assert volumes == pytest.approx([30.0 + 1.5 * 1.2 * 0.13 + niches, 22.5 + niches], abs=1e-4)
    kinds = [panel.kind for space in found.spaces for panel in space.panels]
    assert [kinds.count(kind) for kind in ("window", "door", "floor")] == [1, 2, 2]
    assert kinds.count("ceiling") == 4  # two over the door's niches
    left_out = {note.subject: note.message for note in found.noted("left-out")}
    assert "furniture" in left_out["Bed"]
    assert "furniture" in left_out["Table"]
    building = assembled(found)
    (door,) = [p for p in building.panels if p.kind == "door" and p.space == found.spaces[0].id]
    (patch,) = building.patches_of[door.id]
    assert building.panel(patch.far or "").kind == "door"


def test_boxes_that_leave_a_window_open_are_no_room(tmp_path: Path) -> None:
    """Neither slab, nor thick wall, nor bed is taken for one."""
    parts = two_rooms_of_boxes()
    del parts["Window"], parts["Door"]
    with pytest.raises(ModelFileError, match=r"too thin .* must meet all round a room, panes and"):
        read_model(written(tmp_path / "a.obj", parts), **STATED)
