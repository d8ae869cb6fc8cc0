"""What each reader takes out of its format; another library's readers and writers agree."""

from __future__ import annotations

import json
import struct
from pathlib import Path

import numpy as np
import pytest
import trimesh

from envelope.errors import ModelFileError
from envelope.exchange import read_model
from envelope.exchange.formats.gltf import read_gltf
from envelope.exchange.formats.obj import read_obj
from envelope.exchange.formats.ply import read_ply
from envelope.exchange.formats.stl import read_stl


def test_obj_counts_from_either_end_and_keeps_polygons_and_names(tmp_path: Path) -> None:
    path = tmp_path / "a.obj"
    path.write_text(
        "# a comment\n"
        "o desk\nusemtl oak\nv 0 0 0 # here\nv 1 0 0\nv 1 1 0\nv 0 1 0\n"
        "f -4//1 -3//1 \\\n -2//1 -1//1\n"
        "g lamp\nf 1/2/3 3/4/5 4\n"
    )
    soup = read_obj(path)
    assert [soup.face(index).tolist() for index in range(soup.faces)] == [[0, 1, 2, 3], [0, 2, 3]]
    names = [
        (label.object, label.group, label.material)
        for label in (soup.labels[index] for index in soup.label)
    ]
    assert names == [("desk", "", "oak"), ("desk", "lamp", "oak")]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("v 0 0\n", r"bad.obj:1: a vertex needs three numbers"),
        ("v 0 0 0\nf 1 2 3\n", r"bad.obj:2: a face refers to a vertex that is not given"),
        ("v 0 0 0\nf 1 0 -1\n", r"not given before it"),
        ("v 0 0 0\nf a b c\n", r"whole numbers"),
        ("v 0 0 0\nf 1 1\n", r"three corners or more, found 2"),
        ("v 0 0 0\nv nan 0 0\nv 0 1 0\nf 1 2 3\n", r"not a finite number"),
        ("v 0 0 0\n", r"holds no faces"),
    ],
)
def test_a_bad_obj_says_where(tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "bad.obj"
    path.write_text(text)
    with pytest.raises(ModelFileError, match=says):
        read_model(path, unit="m", up="z")


@pytest.fixture
def solid() -> object:
    """A box with one corner cut, by the other library."""
    return trimesh.creation.annulus(r_min=1.0, r_max=2.0, height=0.5, sections=12)


@pytest.mark.parametrize("kind", ["stl", "stl_ascii"])
def test_stl_agrees_with_another_writer(tmp_path: Path, solid: object, kind: str) -> None:
    path = tmp_path / "a.stl"
    content = solid.export(file_type=kind)  # type: ignore[attr-defined]
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    soup = read_stl(path)
    assert soup.faces == len(solid.faces)  # type: ignore[attr-defined]
    np.testing.assert_allclose(
        soup.points.reshape(-1, 3, 3),
        solid.triangles,  # type: ignore[attr-defined]
        atol=1e-6,
    )


@pytest.mark.parametrize("encoding", ["ascii", "binary_little_endian"])
def test_ply_agrees_with_another_writer(tmp_path: Path, solid: object, encoding: str) -> None:
    path = tmp_path / "a.ply"
    solid.export(path, encoding=encoding.split("_")[0])  # type: ignore[attr-defined]
    assert encoding.encode() in path.read_bytes()[:200]
    soup = read_ply(path)
    np.testing.assert_allclose(
        soup.points[soup.corners].reshape(-1, 3, 3),
        solid.triangles,  # type: ignore[attr-defined]
        atol=1e-6,
    )


def test_ply_reads_mixed_polygons_in_either_byte_order(tmp_path: Path) -> None:
    for order, mark in (("little", "<"), ("big", ">")):
        head = (
            f"ply\nformat binary_{order}_endian 1.0\nelement vertex 5\nproperty double x\n"
            "property float y\nproperty short z\nproperty uchar red\nelement face 2\n"
            "property uchar kind\nproperty list uchar ushort vertex_index\nend_header\n"
        )
        body = b"".join(struct.pack(mark + "dfhB", k, 0.5 * k, -k, 9) for k in range(5))
        body += struct.pack(mark + "BB4H", 7, 4, 0, 1, 2, 3)
        body += struct.pack(mark + "BB3H", 7, 3, 4, 2, 0)
        path = tmp_path / f"{order}.ply"
        path.write_bytes(head.encode() + body)
        soup = read_ply(path)
        assert [soup.face(index).tolist() for index in range(2)] == [[0, 1, 2, 3], [4, 2, 0]]
        np.testing.assert_allclose(soup.points[4], [4.0, 2.0, -4.0])


def test_gltf_nodes_turn_mirror_and_scale_as_another_reader_has_them(tmp_path: Path) -> None:
    scene = trimesh.Scene()
    turn = trimesh.transformations.rotation_matrix(0.7, [1, 2, 3], [0.1, 0.2, 0.3])
    mirror = np.diag([-1.0, 2.0, 1.0, 1.0])
    scene.add_geometry(trimesh.creation.box((1, 2, 3)), node_name="turned", transform=turn)
    scene.add_geometry(
        trimesh.creation.box((1, 1, 1)),
        node_name="mirrored",
        parent_node_name="turned",
        transform=mirror,
    )
    path = tmp_path / "a.glb"
    path.write_bytes(scene.export(file_type="glb"))
    soup = read_gltf(path)
    assert {label.object for label in soup.labels} == {"turned", "mirrored"}
    again = trimesh.load_scene(path)
    for label, name in ((soup.labels.index(item), item.object) for item in soup.labels):
        part = soup.select(soup.label == label)
        transform, geometry = again.graph[name]
        expected = trimesh.transform_points(again.geometry[geometry].vertices, transform)
        x, y, z = expected.T
        mine = part.points[np.unique(part.corners)]
        got = {tuple(point) for point in mine.round(5)}
        assert got == {tuple(point) for point in np.column_stack((x, -z, y)).round(5)}
        # However a node is mirrored, its faces still look outward.
        volume = np.einsum(
            "ij,ij->i", part.points[part.corners[part.start[:-1]]], part.area_vectors()
        )
        assert volume.sum() > 0.0


def _gltf(path: Path, **more: object) -> Path:
    tree = {
        "asset": {"version": "2.0"},
        "nodes": [{"mesh": 0, "name": "room"}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "mode": 5}]}],
        "accessors": [{"bufferView": 0, "componentType": 5126, "count": 4, "type": "VEC3"}],
        "bufferViews": [{"buffer": 0, "byteLength": 64, "byteStride": 16}],
        "buffers": [{"byteLength": 64, "uri": "part%201.bin"}],
        **more,
    }
    path.write_text(json.dumps(tree))
    return path


def test_gltf_reads_strips_strides_and_a_neighbouring_file(tmp_path: Path) -> None:
    corners = [(0, 0, 0), (1, 0, 0), (0, 1, 0), (1, 1, 0)]
    (tmp_path / "part 1.bin").write_bytes(b"".join(struct.pack("<4f", *c, 7.0) for c in corners))
    soup = read_gltf(_gltf(tmp_path / "a.gltf"))
    assert soup.faces == 2
    # Both triangles of the strip face the format's +z, which is south here.
    np.testing.assert_allclose(soup.area_vectors(), [[0, -0.5, 0], [0, -0.5, 0]])


@pytest.mark.parametrize(
    ("uri", "says"),
    [
        ("https://example.invalid/a.bin", "on the network"),
        ("//example.invalid/a.bin", "on the network"),
        ("file:///etc/hostname", "on the network or outside"),
        ("../secret.bin", "outside the model's folder"),
        ("%2e%2e/secret.bin", "outside the model's folder"),
        ("/etc/hostname", "outside the model's folder"),
        ("missing.bin", "is not there"),
        ("link.bin", "outside the model's folder"),
    ],
)
def test_gltf_opens_nothing_outside_its_folder(tmp_path: Path, uri: str, says: str) -> None:
    (tmp_path / "secret.bin").write_bytes(bytes(64))
    folder = tmp_path / "model"
    folder.mkdir()
    (folder / "link.bin").symlink_to(tmp_path / "secret.bin")
    path = _gltf(folder / "a.gltf", buffers=[{"byteLength": 64, "uri": uri}])
    with pytest.raises(ModelFileError, match=says):
        read_gltf(path)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"asset": {"version": "1.0"}}, "version 2 can be read"),
        ({"extensionsRequired": ["KHR_draco_mesh_compression"]}, "export it uncompressed"),
        (
            {"nodes": [{"mesh": 0, "children": [0]}], "scenes": [{"nodes": [0]}]},
            "glTF allows each node one parent",
        ),
        ({"nodes": [{"mesh": 9}]}, "refers to entry 9 of meshes"),
        ({"accessors": [{"bufferView": 0, "componentType": 5126, "count": 99, "type": "VEC3"}]},
         "ends beyond its buffer"),
        ({"buffers": [{"byteLength": 10**12, "uri": "part%201.bin"}]}, "no usable length"),
        ({"buffers": [{"byteLength": 64, "uri": "data:;base64,!!!"}]}, "not readable base64"),
        ({"buffers": [{"byteLength": 64, "uri": "data:;base64,AAAA"}]}, "3 bytes of 64"),
        ({"meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "mode": 1}]}]},
         "no triangles"),
    ],
)  # fmt: skip
def test_a_bad_gltf_says_what_is_wrong(tmp_path: Path, more: dict[str, object], says: str) -> None:
    (tmp_path / "part 1.bin").write_bytes(bytes(64))
    with pytest.raises(ModelFileError, match=says):
        read_gltf(_gltf(tmp_path / "a.gltf", **more))


def test_units_and_axes_are_asked_for_and_never_guessed(tmp_path: Path) -> None:
    path = tmp_path / "a.stl"
    trimesh.creation.box((4000, 2500, 3000)).export(path)
    with pytest.raises(ModelFileError) as caught:
        read_model(path)
    said = str(caught.value)
    assert "STL carries no unit and no up axis; say unit and up" in said
    assert "as metres it measures 4e+03 × 2.5e+03 × 3e+03 m" in said
    assert "as mm it measures 4 × 2.5 × 3 m" in said
    assert "as inches it measures 102 × 63.5 × 76.2 m" in said
    with pytest.raises(ModelFileError, match="say up"):
        read_model(path, unit="mm")
    with pytest.raises(ModelFileError, match=r"unit 'yard' is not known; m, cm, mm, ft and in are"):
        read_model(path, unit="yard", up="y")
    with pytest.raises(ModelFileError, match=r"up axis 'w' is not known"):
        read_model(path, unit="mm", up="w")
    found = read_model(path, unit="mm", up="y")
    heights = np.concatenate([panel.outline[:, 2] for panel in found.spaces[0].panels])
    assert np.ptp(heights) == pytest.approx(2.5)
    assert found.spaces[0].volume_m3 == pytest.approx(30.0)
    found = read_model(path, unit="in", up="x")
    heights = np.concatenate([panel.outline[:, 2] for panel in found.spaces[0].panels])
    assert np.ptp(heights) == pytest.approx(4000 * 0.0254)
    with pytest.raises(ModelFileError, match=r"in ft it would be 1.22e\+03 m long"):
        read_model(path, unit="ft", up="x")


def test_gltf_states_its_own_unit(tmp_path: Path) -> None:
    path = tmp_path / "a.glb"
    trimesh.creation.box((4, 2.5, 3)).export(path)
    with pytest.raises(ModelFileError, match="in metres with y up by definition"):
        read_model(path, unit="mm")
    assert read_model(path).spaces[0].volume_m3 == pytest.approx(30.0)
