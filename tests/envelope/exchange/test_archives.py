"""IFCZIP, and formats that are refused with what to export in their place."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from envelope.errors import ModelFileError
from envelope.exchange import read_model
from envelope.exchange.ifc import archive


def test_an_ifczip_is_the_file_in_it(house: Callable[..., Any], tmp_path: Path) -> None:
    plain = house().written(tmp_path / "a.ifc")
    packed = tmp_path / "a.ifczip"
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as made:
        made.write(plain, "deep/house.IFC")
    one, two = read_model(plain), read_model(packed)
    assert two.source == "a.ifczip"
    assert [space.volume_m3 for space in one.spaces] == [space.volume_m3 for space in two.spaces]


def packed(path: Path, files: dict[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as made:
        for name, content in files.items():
            made.writestr(name, content)
    return path


@pytest.mark.parametrize(
    ("files", "match"),
    [
        ({}, "holds 0 files that end in .ifc"),
        ({"a.ifc": b"x", "b.ifc": b"x"}, "holds 2 files that end in .ifc; one is allowed"),
        ({"a.ifcxml": b"<x/>"}, "holds ifcXML, which is not read: export it as IFC"),
        ({"a.ifc": b"ISO-10303-21;"}, "names no schema"),
        ({"a.ifc": b"0" * 2000}, "unpacks to more than"),
    ],
)
def test_bad_archives(
    tmp_path: Path, files: dict[str, bytes], match: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("ifcopenshell")
    monkeypatch.setattr(archive, "MAX_BYTES", 1000)
    with pytest.raises(ModelFileError, match=match):
        read_model(packed(tmp_path / "a.ifczip", files))


def test_a_cut_archive(tmp_path: Path) -> None:
    pytest.importorskip("ifcopenshell")
    path = packed(tmp_path / "a.ifczip", {"a.ifc": bytes(range(256)) * 40})
    path.write_bytes(path.read_bytes()[:200])
    with pytest.raises(ModelFileError, match="no archive that can be unpacked"):
        read_model(path)


@pytest.mark.parametrize(
    ("suffix", "way_on"),
    [
        (".ifcxml", "IFC .STEP"),
        (".dwg", "as IFC, or the walls as 3D faces in OBJ"),
        (".rvt", "as IFC with rooms and space boundaries, or as gbXML"),
        (".skp", "as IFC or as GLB, in metres"),
        (".zip", "unpack it first"),
    ],
)
def test_what_is_not_read_says_what_to_export(tmp_path: Path, suffix: str, way_on: str) -> None:
    path = tmp_path / f"a{suffix}"
    path.write_bytes(b"anything")
    with pytest.raises(ModelFileError, match=way_on):
        read_model(path)
