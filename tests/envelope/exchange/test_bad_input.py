"""Files that cannot be used: one clear sentence each, soon, and in bounded memory."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest
import trimesh

from envelope.errors import ModelFileError
from envelope.exchange import read_model


def _box(path: Path) -> bytes:
    trimesh.creation.box((4, 3, 2.5)).export(path)
    return path.read_bytes()


@pytest.mark.parametrize("suffix", ["glb", "stl", "ply"])
@pytest.mark.parametrize("share", [0.1, 0.5, 0.97])
def test_files_that_are_cut_short(tmp_path: Path, suffix: str, share: float) -> None:
    path = tmp_path / f"a.{suffix}"
    content = _box(path)
    path.write_bytes(content[: int(share * len(content))])
    stated = {} if suffix == "glb" else {"unit": "m", "up": "z"}
    with pytest.raises(ModelFileError) as caught:
        read_model(path, **stated)
    assert str(path) in str(caught.value)
    assert "cut short" in str(caught.value)


@pytest.mark.parametrize("suffix", ["glb", "stl", "ply"])
@pytest.mark.parametrize("bits", [0x7FC00000, 0x7F800001, 0xFF800000])  # nan twice, -inf
def test_a_vertex_whose_bits_are_no_number(tmp_path: Path, suffix: str, bits: int) -> None:
    path = tmp_path / f"a.{suffix}"
    sound, broken = struct.pack("<f", 2.0), struct.pack("<I", bits)
    assert sound in _box(path)
    path.write_bytes(path.read_bytes().replace(sound, broken))
    stated = {} if suffix == "glb" else {"unit": "m", "up": "z"}
    with pytest.raises(ModelFileError, match="a vertex is not a finite number"):
        read_model(path, **stated)


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("a.skp", b"x", r"end in .skp cannot be imported: export it as IFC or as GLB"),
        ("a", b"x", r"end in nothing cannot be imported"),
        ("a.obj", b"", r"is empty"),
        ("a.obj", b"glTF\x02\0\0\0", r"named as OBJ but its content is glTF"),
        ("a.stl", b"ply\nformat ascii 1.0\n", r"named as STL but its content is PLY"),
        ("a.glb", b"PK\x03\x04rest", r"its content is a ZIP archive"),
        ("a.obj", b"v 0 0 0\0\0", r"its content is binary"),
        ("a.ply", b"plywood", r"is no PLY file"),
        ("a.stl", b"solid\n", r"is no STL file, or is cut short"),
        ("a.stl", bytes(80) + b"\xff\xff\xff\xff", r"announces 4294967295 triangles but holds 0"),
        ("a.gltf", b"{", r"its JSON cannot be read"),
        ("a.gltf", b"{}", r"it has no asset"),
        (
            "a.ply",
            b"ply\nformat binary_little_endian 1.0\nelement vertex 4000000000\n"
            b"property float x\nend_header\n",
            r"announces 4000000000 × vertex, more than it has bytes",
        ),
        (
            "a.ply",
            b"ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nproperty float y\n"
            b"property float z\nend_header\n0 0 0\n",
            r"holds no faces: a cloud of points",
        ),
    ],
)
def test_wrong_files(tmp_path: Path, name: str, content: bytes, says: str) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    stated = {"unit": "m", "up": "z"} if path.suffix in (".obj", ".stl", ".ply") else {}
    with pytest.raises(ModelFileError, match=says):
        read_model(path, **stated)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(ModelFileError, match="there is no such file"):
        read_model(tmp_path / "a.obj", unit="m", up="z")


def test_a_great_many_faces_without_area(tmp_path: Path) -> None:
    path = tmp_path / "a.obj"
    path.write_text("v 0 0 0\nv 1 0 0\nv 2 0 0\n" + "f 1 2 3\n" * 300_000)
    with pytest.raises(ModelFileError, match="none of its 300000 faces has an area"):
        read_model(path, unit="m", up="z")


def test_a_model_without_a_room_says_what_it_has(tmp_path: Path) -> None:
    path = tmp_path / "a.stl"
    trimesh.creation.box((4, 0.2, 2.5)).export(path)
    with pytest.raises(ModelFileError, match=r"no closed space .* 4 × 0.2 × 2.5 m \(1 × too thin"):
        read_model(path, unit="m", up="z")
