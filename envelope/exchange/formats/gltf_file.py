"""A glTF or GLB file held against its format before the mesh library sees it.

What a file of others may do to who opens it is settled here: its size, cut ends, fields of a wrong
type, buffers on the network or outside the model's own folder, compression. Buffers come from the
GLB itself, from base64 text, or from a file in that folder; a name that leads elsewhere is refused.
"""

from __future__ import annotations

import base64
import binascii
import json
import struct
from collections.abc import Mapping
from itertools import islice
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import numpy as np
from numpy.typing import NDArray

from envelope.errors import Fault, Location, ModelFileError
from envelope.exchange.formats.gltf_fields import wrong_fields

COMPONENTS = {5120: "i1", 5121: "u1", 5122: "i2", 5123: "u2", 5125: "u4", 5126: "f4"}
_WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4}
# Extensions that change where vertices are; everything else can be passed over.
_GEOMETRY_EXTENSIONS = {"KHR_draco_mesh_compression", "EXT_meshopt_compression"}
MAX_TOLD = 20  # of the fields of a wrong type
MOST_BYTES = 500_000_000


def gltf_fault(path: Path, message: str) -> ModelFileError:
    """An error that names the file."""
    return ModelFileError([Fault(message=message, location=Location(path=str(path)))])


class GltfFile:
    """The JSON tree of a file and its buffers."""

    def __init__(self, path: Path) -> None:
        self.path = path
        content = path.read_bytes()
        self.chunk: bytes | None = None
        text = self._open_glb(content) if content[:4] == b"glTF" else content
        try:
            tree = json.loads(text)
        except (json.JSONDecodeError, UnicodeDecodeError, RecursionError):
            raise gltf_fault(
                path, "is no glTF file, or is cut short: its JSON cannot be read"
            ) from None
        if not isinstance(tree, dict) or not isinstance(tree.get("asset"), dict):
            raise gltf_fault(path, "is no glTF file: it has no asset")
        version = str(tree["asset"].get("version", ""))
        if not version.startswith("2."):
            raise gltf_fault(path, f"is glTF {version or 'without version'}; version 2 can be read")
        wrong = list(islice(wrong_fields(tree), MAX_TOLD))
        if wrong:
            where = Location(path=str(path))
            raise ModelFileError([Fault(message=each, location=where) for each in wrong])
        needed = set(tree.get("extensionsRequired", ())) & _GEOMETRY_EXTENSIONS
        if needed:
            raise gltf_fault(
                path, f"is compressed with {', '.join(sorted(needed))}; export it uncompressed"
            )
        self.tree: dict[str, Any] = tree
        self.buffers: dict[int, bytes] = {}

    def _open_glb(self, content: bytes) -> bytes:
        if len(content) < 20:
            raise gltf_fault(self.path, "is cut short: its header is not complete")
        version, length = struct.unpack_from("<II", content, 4)
        if version != 2:
            raise gltf_fault(self.path, f"is GLB version {version}; version 2 can be read")
        if length > len(content):
            raise gltf_fault(
                self.path, f"is cut short: it announces {length} bytes and holds {len(content)}"
            )
        text: bytes | None = None
        place = 12
        while place + 8 <= length:
            size, kind = struct.unpack_from("<II", content, place)
            if place + 8 + size > length:
                raise gltf_fault(self.path, "is cut short: a chunk is longer than the file")
            if kind == 0x4E4F534A and text is None:
                text = content[place + 8 : place + 8 + size]
            elif kind == 0x004E4942 and self.chunk is None:
                self.chunk = content[place + 8 : place + 8 + size]
            place += 8 + size + (-size) % 4
        if text is None:
            raise gltf_fault(self.path, "holds no JSON chunk")
        return text

    def table(self, key: str, index: Any) -> dict[str, Any]:
        """One entry of a top-level list."""
        listed = self.tree.get(key)
        if (
            not isinstance(listed, list)
            or not isinstance(index, int)
            or not 0 <= index < len(listed)
            or not isinstance(listed[index], dict)
        ):
            raise gltf_fault(self.path, f"refers to entry {index} of {key}, which is not there")
        found: dict[str, Any] = listed[index]
        return found

    def buffer(self, index: int) -> bytes:
        """Bytes of a buffer."""
        if index not in self.buffers:
            self.buffers[index] = self._load(self.table("buffers", index), index)
            if sum(map(len, self.buffers.values())) > MOST_BYTES:
                raise gltf_fault(self.path, f"its buffers hold more than {MOST_BYTES} bytes in all")
        return self.buffers[index]

    def _load(self, entry: Mapping[str, Any], index: int) -> bytes:
        uri = entry.get("uri")
        length = entry.get("byteLength")
        if not isinstance(length, int) or not 0 <= length <= MOST_BYTES:
            raise gltf_fault(
                self.path, f"buffer {index} has no usable length; at most {MOST_BYTES}"
            )
        if uri is None:
            if index != 0 or self.chunk is None:
                raise gltf_fault(self.path, f"buffer {index} has no data")
            found = self.chunk
        elif not isinstance(uri, str):
            raise gltf_fault(self.path, f"buffer {index} has no usable name")
        elif uri.startswith("data:"):
            try:
                found = base64.b64decode(uri.partition(",")[2], validate=True)
            except binascii.Error:
                raise gltf_fault(self.path, f"buffer {index} is not readable base64") from None
        else:
            found = self._neighbour(uri, length)
        if len(found) < length:
            raise gltf_fault(
                self.path, f"buffer {index} is cut short: {len(found)} bytes of {length}"
            )
        return found

    def _neighbour(self, uri: str, length: int) -> bytes:
        """Bytes of a file in the model's own folder; nothing else is opened."""
        parts = urlsplit(uri)
        shown = uri if len(uri) <= 80 else uri[:77] + "..."
        if parts.scheme or parts.netloc:
            raise gltf_fault(
                self.path,
                f"its buffer {shown!r} lies on the network or outside the folder; only files in "
                "the model's own folder are opened",
            )
        folder = self.path.resolve().parent
        target = (folder / unquote(parts.path)).resolve()
        if not target.is_relative_to(folder):
            raise gltf_fault(
                self.path,
                f"its buffer {shown!r} lies outside the model's folder; it was not opened",
            )
        if not target.is_file():
            raise gltf_fault(self.path, f"its buffer {shown!r} is not there")
        with target.open("rb") as stream:
            return stream.read(length)

    def checked(self, index: Any) -> tuple[dict[str, Any], np.dtype[Any], int, int]:
        """An accessor that can be read: its entry, component type, count and width."""
        entry = self.table("accessors", index)
        code = COMPONENTS.get(entry.get("componentType", 0))
        width = _WIDTHS.get(entry.get("type", ""))
        count = entry.get("count")
        if code is None or width is None or not isinstance(count, int) or count < 0:
            raise gltf_fault(self.path, f"accessor {index} is of a kind that cannot be read")
        kind = np.dtype("<" + code)
        if count * width * kind.itemsize > MOST_BYTES:
            raise gltf_fault(self.path, f"accessor {index} is larger than {MOST_BYTES} bytes")
        if "bufferView" in entry:
            self._extent(
                entry["bufferView"], entry.get("byteOffset", 0), kind.itemsize, count, width
            )
        return entry, kind, count, width

    def plain(self, index: Any) -> bool:
        """Whether the mesh library reads an accessor as the format means it.

        trimesh 5.2 passes over sparse parts, so that the corners which they move stay where they
        were, and takes whole numbers that stand for -1 to 1 (`normalized`) for metres.
        """
        entry, kind, count, _ = self.checked(index)
        scaled = bool(entry.get("normalized")) and kind.kind != "f"
        return "bufferView" in entry and "sparse" not in entry and not scaled and count > 0

    def values(self, index: Any) -> NDArray[Any]:
        """Values (n, width) of an accessor, whatever it is made of."""
        entry, kind, count, width = self.checked(index)
        values: NDArray[Any]
        if "bufferView" in entry:
            values = self._view(entry["bufferView"], entry.get("byteOffset", 0), kind, count, width)
        else:
            values = np.zeros((count, width), dtype=kind)
        sparse = entry.get("sparse")
        if isinstance(sparse, Mapping):
            values = values.copy()
            changed = sparse.get("count")
            places, news = sparse.get("indices"), sparse.get("values")
            if (
                not isinstance(changed, int)
                or not isinstance(places, Mapping)
                or not isinstance(news, Mapping)
            ):
                raise gltf_fault(
                    self.path, f"accessor {index} has a sparse part that cannot be read"
                )
            which = np.dtype("<" + COMPONENTS.get(places.get("componentType", 0), "u4"))
            rows = self._view(
                places.get("bufferView"), places.get("byteOffset", 0), which, changed, 1
            ).reshape(-1)
            if len(rows) and not 0 <= int(rows.min()) <= int(rows.max()) < count:
                raise gltf_fault(self.path, f"accessor {index} has a sparse part beyond its end")
            values[rows] = self._view(
                news.get("bufferView"), news.get("byteOffset", 0), kind, changed, width
            )
        if entry.get("normalized") and kind.kind != "f":
            values = np.maximum(values / np.iinfo(kind).max, -1.0)
        return values

    def _extent(
        self, index: Any, offset: Any, item_bytes: int, count: int, width: int
    ) -> tuple[bytes, int, int]:
        """Buffer of a view, where values begin in it, and how far they stand apart."""
        view = self.table("bufferViews", index)
        if "EXT_meshopt_compression" in view.get("extensions", {}) and not view.get("buffer"):
            raise gltf_fault(self.path, "is compressed with EXT_meshopt_compression")
        data = self.buffer(view.get("buffer", 0))
        size = item_bytes * width
        stride = view.get("byteStride", size)
        start, length = view.get("byteOffset", 0), view.get("byteLength", 0)
        numbers = (offset, stride, start, length)
        if not all(isinstance(number, int) and number >= 0 for number in numbers) or stride < size:
            raise gltf_fault(self.path, f"buffer view {index} cannot be read")
        last = offset + stride * (count - 1) + size if count else 0
        if last > length or start + length > len(data):
            raise gltf_fault(self.path, f"buffer view {index} ends beyond its buffer")
        return data, start + offset, stride

    def _view(
        self, index: Any, offset: Any, kind: np.dtype[Any], count: int, width: int
    ) -> NDArray[Any]:
        data, start, stride = self._extent(index, offset, kind.itemsize, count, width)
        if count == 0:
            return np.zeros((0, width), dtype=kind)
        return np.ndarray(
            (count, width),
            dtype=kind,
            buffer=data,
            offset=start,
            strides=(stride, kind.itemsize),
        )
