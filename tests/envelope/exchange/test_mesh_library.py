"""Where the mesh library is not followed: each fault of its, and that ours does not have it.

Held against trimesh 5.2. Where a later one no longer has a fault, its test fails here, and the
code of ours that it names can go.
"""

from __future__ import annotations

import base64
import io
import json
import struct
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from envelope.building.model import Building
from envelope.errors import ModelFileError
from envelope.exchange import read_model, to_obj, to_ply
from envelope.exchange.formats.gltf import read_gltf
from envelope.exchange.formats.obj import read_obj
from envelope.exchange.formats.ply import read_ply
from envelope.exchange.formats.stl import read_stl
from envelope.exchange.mesh.coplanar import merged
from envelope.exchange.mesh.soup import Label, Soup, triangles, weld
from envelope.exchange.mesh.volumes import volumes

L_SHAPE = ((0, 0), (4, 0), (4, 1), (1, 1), (1, 3), (0, 3))  # 6 m²
STATED = {"unit": "m", "up": "z"}


def area_m2(soup: Soup) -> float:
    return float(np.linalg.norm(soup.area_vectors(), axis=1).sum())


def theirs(content: bytes, kind: str) -> Any:
    return trimesh.load_mesh(io.BytesIO(content), file_type=kind, process=False)


# --- PLY


def ply(head: str, vertices: int, faces: int) -> str:
    return (
        f"ply\nformat {head} 1.0\nelement vertex {vertices}\nproperty double x\nproperty double y\n"
        f"property double z\nelement face {faces}\nproperty list uchar int vertex_indices\n"
        "end_header\n"
    )


def test_a_polygon_with_an_inner_corner_keeps_its_area(tmp_path: Path) -> None:
    path = tmp_path / "a.ply"
    text = ply("ascii", 6, 1) + "".join(f"{x} {y} 0\n" for x, y in L_SHAPE) + "6 1 2 3 4 5 0\n"
    path.write_text(text)
    assert theirs(path.read_bytes(), "ply").area == pytest.approx(12.0)
    assert area_m2(read_ply(path)) == pytest.approx(6.0)


def test_binary_faces_with_different_numbers_of_corners(tmp_path: Path) -> None:
    path = tmp_path / "a.ply"
    spots = np.array([(x, y, 0) for x, y in L_SHAPE], dtype="<f8").tobytes()
    rings = b"".join(
        bytes([len(ring)]) + np.array(ring, dtype="<i4").tobytes()
        for ring in ((0, 1, 2, 3), (0, 3, 4), (0, 4, 5))
    )
    path.write_bytes(ply("binary_little_endian", 6, 3).encode() + spots + rings)
    with pytest.raises(ValueError, match="unexpected length"):
        theirs(path.read_bytes(), "ply")
    assert area_m2(read_ply(path)) == pytest.approx(6.0)


def test_ply_is_written_in_full_precision_with_whole_panels(two_rooms: Building) -> None:
    box = trimesh.creation.box((4.123456789, 3.0, 2.5))
    assert b"2.061728394" not in box.export(file_type="ply", encoding="ascii")
    ours = to_ply(two_rooms).decode()
    faces = ours.partition("end_header\n")[2].splitlines()
    assert any(line.startswith("4 ") for line in faces)
    assert "property double x" in ours


# --- STL, binary


def test_binary_stl_with_a_line_at_its_end_or_a_vertex_that_is_no_number(tmp_path: Path) -> None:
    path = tmp_path / "a.stl"
    sound = trimesh.creation.box((4.0, 3.0, 2.5)).export(file_type="stl")
    path.write_bytes(sound + b"\n")
    assert len(theirs(path.read_bytes(), "stl").faces) == 0
    assert read_stl(path).faces == 12
    broken = sound.replace(struct.pack("<f", 2.0), struct.pack("<I", 0x7F800001))
    with pytest.warns(RuntimeWarning, match="invalid value"):
        theirs(broken, "stl")
    path.write_bytes(broken)
    with pytest.raises(ModelFileError, match="a vertex is not a finite number"):
        read_model(path, **STATED)


# --- STL as text


def stl(solids: dict[str, list[list[str]]]) -> bytes:
    lines = []
    for name, facets in solids.items():
        lines.append(f"solid {name}")
        for facet in facets:
            lines += ["facet normal 0 0 0", "outer loop", *(f"vertex {spot}" for spot in facet)]
            lines += ["endloop", "endfacet"]
        lines.append(f"endsolid {name}")
    return ("\n".join(lines) + "\n").encode()


QUAD = ["0 0 0", "1 0 0", "1 1 0", "0 1 0"]
HALF = QUAD[:3]


def test_facets_of_four_corners_are_refused_and_not_read_as_other_triangles(
    tmp_path: Path,
) -> None:
    path = tmp_path / "a.stl"
    path.write_bytes(stl({"wall": [QUAD] * 3}))
    assert len(theirs(path.read_bytes(), "stl").faces) == 4  # of three squares, which are six
    with pytest.raises(Exception, match=r"a.stl:8: a facet has not three corners"):
        read_stl(path)


def test_a_solid_that_is_cut_short_is_not_left_out_in_silence(tmp_path: Path) -> None:
    path = tmp_path / "a.stl"
    path.write_bytes(stl({"wall": [HALF], "other": [HALF]})[:-25])
    assert len(theirs(path.read_bytes(), "stl").faces) == 1
    with pytest.raises(Exception, match="is cut short"):
        read_stl(path)


def test_names_with_the_word_solid_stay(tmp_path: Path) -> None:
    path = tmp_path / "a.stl"
    path.write_bytes(stl({"Solid1": [HALF], "Solid2": [HALF]}))
    scene = trimesh.load_scene(io.BytesIO(path.read_bytes()), file_type="stl")
    assert "Solid2" not in scene.geometry
    assert [label.object for label in read_stl(path).labels] == ["Solid1", "Solid2"]


def test_a_binary_file_that_ends_with_a_line_of_its_own(tmp_path: Path) -> None:
    path = tmp_path / "a.stl"
    path.write_bytes(trimesh.creation.box((4.0, 3.0, 2.5)).export(file_type="stl") + b"\n")
    assert not trimesh.load_scene(io.BytesIO(path.read_bytes()), file_type="stl").geometry
    assert read_stl(path).faces == 12


# --- OBJ


def test_obj_groups_and_indices_counted_from_the_end(tmp_path: Path) -> None:
    path = tmp_path / "a.obj"
    lines = ["usemtl oak"]
    for height, name in enumerate(("desk", "shelf", "lamp")):
        lines += [f"o {name}", *(f"v {x} {y} {height}" for x, y in L_SHAPE)]
        lines.append("f -5 -4 -3 -2 -1 -6")
    path.write_text("\n".join(lines) + "\n")
    mesh = theirs(path.read_bytes(), "obj")
    assert set(mesh.vertices[mesh.faces][..., 2].ravel()) == {2.0}  # all three at the last one's
    soup = read_obj(path)
    assert [label.object for label in soup.labels] == ["desk", "shelf", "lamp"]
    assert soup.points[soup.corners[soup.start[:-1]], 2].tolist() == [0.0, 1.0, 2.0]
    assert area_m2(soup) == pytest.approx(18.0)
    assert mesh.area == pytest.approx(36.0)


def test_obj_is_written_with_groups_and_whole_panels(two_rooms: Building) -> None:
    box = trimesh.Scene()
    box.add_geometry(trimesh.creation.box((4.0, 3.0, 2.5)), geom_name="bedroom")
    text = box.export(file_type="obj")
    assert "\ng " not in text
    assert all(len(line.split()) == 4 for line in text.splitlines() if line.startswith("f "))
    ours = to_obj(two_rooms).splitlines()
    assert "g bedroom/floor" in ours
    assert any(len(line.split()) > 5 for line in ours if line.startswith("f "))


# --- glTF


def gltf(accessor: dict[str, Any], data: bytes, mode: int = 4) -> dict[str, Any]:
    uri = "data:application/octet-stream;base64," + base64.b64encode(data).decode()
    return {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0, "name": "wall"}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "mode": mode}]}],
        "accessors": [accessor],
        "bufferViews": [{"buffer": 0, "byteLength": len(data)}],
        "buffers": [{"byteLength": len(data), "uri": uri}],
    }


def gltf_areas(tmp_path: Path, tree: dict[str, Any]) -> tuple[float, float]:
    """By the library alone, and by ours."""
    path = tmp_path / "a.gltf"
    path.write_text(json.dumps(tree))
    scene = trimesh.load_scene(io.BytesIO(path.read_bytes()), file_type="gltf", process=False)
    alone = sum(mesh.area for mesh in scene.geometry.values())
    return float(alone), area_m2(read_gltf(path))


def test_fans_are_read(tmp_path: Path) -> None:
    ring = np.array([(0, 0, 0), (2, 0, 0), (2, 1, 0), (0, 1, 0)], dtype="<f4")
    entry = {"bufferView": 0, "componentType": 5126, "count": 4, "type": "VEC3"}
    alone, ours = gltf_areas(tmp_path, gltf(entry, ring.tobytes(), mode=6))
    assert alone == 0.0
    assert ours == pytest.approx(2.0)


def test_corners_that_a_sparse_part_moves_are_moved(tmp_path: Path) -> None:
    base = np.array([(0, 0, 0), (1, 0, 0), (0, 1, 0)], dtype="<f4").tobytes()
    news = np.array([(5, 0, 0)], dtype="<f4").tobytes()
    tree = gltf({}, base + np.array([1], dtype="<u4").tobytes() + news)
    tree["bufferViews"] = [
        {"buffer": 0, "byteOffset": 0, "byteLength": 36},
        {"buffer": 0, "byteOffset": 36, "byteLength": 4},
        {"buffer": 0, "byteOffset": 40, "byteLength": 12},
    ]
    tree["accessors"] = [
        {
            "bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3",
            "sparse": {
                "count": 1,
                "indices": {"bufferView": 1, "componentType": 5125},
                "values": {"bufferView": 2},
            },
        }
    ]  # fmt: skip
    alone, ours = gltf_areas(tmp_path, tree)
    assert alone == pytest.approx(0.5)
    assert ours == pytest.approx(2.5)


def test_whole_numbers_that_stand_for_fractions(tmp_path: Path) -> None:
    top = 32767
    ring = np.array([(0, 0, 0), (top, 0, 0), (0, top, 0)], dtype="<i2")
    entry = {
        "bufferView": 0, "componentType": 5122, "count": 3, "type": "VEC3", "normalized": True,
    }  # fmt: skip
    alone, ours = gltf_areas(tmp_path, gltf(entry, ring.tobytes()))
    assert alone == pytest.approx(0.5 * top**2)
    assert ours == pytest.approx(0.5)


def test_no_picture_of_a_model_is_opened(tmp_path: Path) -> None:
    ring = np.array([(0, 0, 0), (1, 0, 0), (0, 1, 0)], dtype="<f4")
    entry = {"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3"}
    tree = gltf(entry, ring.tobytes())
    tree["images"] = [{"uri": "https://example.invalid/a.png"}, {"bufferView": 99}]
    tree["textures"] = [{"source": 0}]
    tree["materials"] = [{"pbrMetallicRoughness": {"baseColorTexture": {"index": 0}}}]
    tree["meshes"][0]["primitives"][0]["material"] = 0
    tree["animations"] = [{"channels": "none"}]
    path = tmp_path / "a.gltf"
    path.write_text(json.dumps(tree))
    assert read_gltf(path).faces == 1


# --- meshes


def test_corners_are_joined_by_distance_and_not_by_rounding() -> None:
    rng = np.random.default_rng(5)
    one = rng.uniform(0.0, 5.0, (3000, 3))
    two = one + rng.normal(0.0, 1e-5, one.shape)  # a tenth of what is joined
    spots, faces = np.vstack((one, two)), np.arange(6000).reshape(-1, 3)
    mesh = trimesh.Trimesh(spots, faces, process=False)
    mesh.merge_vertices(digits_vertex=4)
    assert len(mesh.vertices) > 3300
    welded = weld(triangles(points=spots, faces=faces, label=0, labels=[Label()]))
    assert len(np.unique(welded.corners)) == 3000


def test_a_round_wall_is_no_flat_panel() -> None:
    tower = trimesh.creation.cylinder(radius=30.0, height=2.5, sections=2000)
    assert max(len(facet) for facet in tower.facets) == 4000  # the whole wall
    soup = weld(triangles(points=tower.vertices, faces=tower.faces, label=0, labels=[Label()]))
    (room,), _ = volumes(soup, np.zeros(soup.faces, dtype=np.int64))
    panels = merged(soup, room, np.zeros(len(room.faces), dtype=np.int64))
    assert len(panels) == 2002


def test_rooms_with_one_wall_between_them_are_two_volumes(tmp_path: Path) -> None:
    one = trimesh.creation.box((4.0, 3.0, 2.5))
    two = one.copy()
    two.apply_translation((4.0, 0.0, 0.0))
    both = trimesh.util.concatenate([one, two])
    both.merge_vertices()
    assert both.body_count == 1
    assert not both.is_watertight
    path = tmp_path / "a.ply"
    both.export(path)
    found = read_model(path, **STATED)
    assert [space.volume_m3 for space in found.spaces] == pytest.approx([30.0, 30.0])


def test_nothing_loads_the_library_before_a_mesh_is_read() -> None:
    code = (
        "import sys; import envelope.cli, envelope.exchange, envelope.project.load; "
        "sys.exit('trimesh' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
