"""glTF 2.0 and GLB: triangles under nodes, with names, materials and extras; metres, y up.

Read from the format's own structure: buffers → views → accessors → primitives → meshes → nodes.
Buffers come from the GLB itself, from base64 text, or from a file in the model's own folder; a
name that leads anywhere else is refused.
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
from envelope.exchange.mesh.soup import Label, Soup, joined, triangles
from envelope.geometry.plane import Floats

_COMPONENTS = {5120: "i1", 5121: "u1", 5122: "i2", 5123: "u2", 5125: "u4", 5126: "f4"}
_WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4}
# Extensions that change where vertices are; everything else can be passed over.
_GEOMETRY_EXTENSIONS = {"KHR_draco_mesh_compression", "EXT_meshopt_compression"}
MAX_TOLD = 20  # of the fields of a wrong type
MOST_NODES = 200_000
MOST_DEPTH = 200
MOST_BYTES = 500_000_000
MOST_TRIANGLES = 2_000_000


def _fault(path: Path, message: str) -> ModelFileError:
    return ModelFileError([Fault(message=message, location=Location(path=str(path)))])


class _File:
    """The JSON tree of a file and its buffers."""

    def __init__(self, path: Path) -> None:
        self.path = path
        content = path.read_bytes()
        self.chunk: bytes | None = None
        text = self._open_glb(content) if content[:4] == b"glTF" else content
        try:
            tree = json.loads(text)
        except (json.JSONDecodeError, UnicodeDecodeError, RecursionError):
            raise _fault(
                path, "is no glTF file, or is cut short: its JSON cannot be read"
            ) from None
        if not isinstance(tree, dict) or not isinstance(tree.get("asset"), dict):
            raise _fault(path, "is no glTF file: it has no asset")
        version = str(tree["asset"].get("version", ""))
        if not version.startswith("2."):
            raise _fault(path, f"is glTF {version or 'without version'}; version 2 can be read")
        wrong = list(islice(wrong_fields(tree), MAX_TOLD))
        if wrong:
            where = Location(path=str(path))
            raise ModelFileError([Fault(message=each, location=where) for each in wrong])
        needed = set(tree.get("extensionsRequired", ())) & _GEOMETRY_EXTENSIONS
        if needed:
            raise _fault(
                path, f"is compressed with {', '.join(sorted(needed))}; export it uncompressed"
            )
        self.tree: dict[str, Any] = tree
        self.buffers: dict[int, bytes] = {}

    def _open_glb(self, content: bytes) -> bytes:
        if len(content) < 20:
            raise _fault(self.path, "is cut short: its header is not complete")
        version, length = struct.unpack_from("<II", content, 4)
        if version != 2:
            raise _fault(self.path, f"is GLB version {version}; version 2 can be read")
        if length > len(content):
            raise _fault(
                self.path, f"is cut short: it announces {length} bytes and holds {len(content)}"
            )
        text: bytes | None = None
        place = 12
        while place + 8 <= length:
            size, kind = struct.unpack_from("<II", content, place)
            if place + 8 + size > length:
                raise _fault(self.path, "is cut short: a chunk is longer than the file")
            if kind == 0x4E4F534A and text is None:
                text = content[place + 8 : place + 8 + size]
            elif kind == 0x004E4942 and self.chunk is None:
                self.chunk = content[place + 8 : place + 8 + size]
            place += 8 + size + (-size) % 4
        if text is None:
            raise _fault(self.path, "holds no JSON chunk")
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
            raise _fault(self.path, f"refers to entry {index} of {key}, which is not there")
        found: dict[str, Any] = listed[index]
        return found

    def buffer(self, index: int) -> bytes:
        """Bytes of a buffer."""
        if index not in self.buffers:
            self.buffers[index] = self._load(self.table("buffers", index), index)
        return self.buffers[index]

    def _load(self, entry: Mapping[str, Any], index: int) -> bytes:
        uri = entry.get("uri")
        length = entry.get("byteLength")
        if not isinstance(length, int) or not 0 <= length <= MOST_BYTES:
            raise _fault(self.path, f"buffer {index} has no usable length; at most {MOST_BYTES}")
        if uri is None:
            if index != 0 or self.chunk is None:
                raise _fault(self.path, f"buffer {index} has no data")
            found = self.chunk
        elif not isinstance(uri, str):
            raise _fault(self.path, f"buffer {index} has no usable name")
        elif uri.startswith("data:"):
            try:
                found = base64.b64decode(uri.partition(",")[2], validate=True)
            except binascii.Error:
                raise _fault(self.path, f"buffer {index} is not readable base64") from None
        else:
            found = self._neighbour(uri, length)
        if len(found) < length:
            raise _fault(self.path, f"buffer {index} is cut short: {len(found)} bytes of {length}")
        return found

    def _neighbour(self, uri: str, length: int) -> bytes:
        """Bytes of a file in the model's own folder; nothing else is opened."""
        parts = urlsplit(uri)
        shown = uri if len(uri) <= 80 else uri[:77] + "..."
        if parts.scheme or parts.netloc:
            raise _fault(
                self.path,
                f"its buffer {shown!r} lies on the network or outside the folder; only files in "
                "the model's own folder are opened",
            )
        folder = self.path.resolve().parent
        target = (folder / unquote(parts.path)).resolve()
        if not target.is_relative_to(folder):
            raise _fault(
                self.path,
                f"its buffer {shown!r} lies outside the model's folder; it was not opened",
            )
        if not target.is_file():
            raise _fault(self.path, f"its buffer {shown!r} is not there")
        with target.open("rb") as stream:
            return stream.read(length)

    def accessor(self, index: Any) -> NDArray[Any]:
        """Values (n, width) of an accessor."""
        entry = self.table("accessors", index)
        code = _COMPONENTS.get(entry.get("componentType", 0))
        width = _WIDTHS.get(entry.get("type", ""))
        count = entry.get("count")
        if code is None or width is None or not isinstance(count, int) or count < 0:
            raise _fault(self.path, f"accessor {index} is of a kind that cannot be read")
        kind = np.dtype("<" + code)
        if count * width * kind.itemsize > MOST_BYTES:
            raise _fault(self.path, f"accessor {index} is larger than {MOST_BYTES} bytes")
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
                raise _fault(self.path, f"accessor {index} has a sparse part that cannot be read")
            which = np.dtype("<" + _COMPONENTS.get(places.get("componentType", 0), "u4"))
            rows = self._view(
                places.get("bufferView"), places.get("byteOffset", 0), which, changed, 1
            ).reshape(-1)
            if len(rows) and int(rows.max()) >= count:
                raise _fault(self.path, f"accessor {index} has a sparse part beyond its end")
            values[rows] = self._view(
                news.get("bufferView"), news.get("byteOffset", 0), kind, changed, width
            )
        if entry.get("normalized") and kind.kind != "f":
            values = np.maximum(values / np.iinfo(kind).max, -1.0)
        return values

    def _view(
        self, index: Any, offset: Any, kind: np.dtype[Any], count: int, width: int
    ) -> NDArray[Any]:
        view = self.table("bufferViews", index)
        if "EXT_meshopt_compression" in view.get("extensions", {}) and not view.get("buffer"):
            raise _fault(self.path, "is compressed with EXT_meshopt_compression")
        data = self.buffer(view.get("buffer", 0))
        size = kind.itemsize * width
        stride = view.get("byteStride", size)
        start, length = view.get("byteOffset", 0), view.get("byteLength", 0)
        numbers = (offset, stride, start, length)
        if not all(isinstance(number, int) and number >= 0 for number in numbers) or stride < size:
            raise _fault(self.path, f"buffer view {index} cannot be read")
        if count == 0:
            return np.zeros((0, width), dtype=kind)
        last = offset + stride * (count - 1) + size
        if last > length or start + length > len(data):
            raise _fault(self.path, f"buffer view {index} ends beyond its buffer")
        return np.ndarray(
            (count, width),
            dtype=kind,
            buffer=data,
            offset=start + offset,
            strides=(stride, kind.itemsize),
        )


def _matrix(file: _File, node: Mapping[str, Any]) -> Floats:
    """Transform of a node (4, 4)."""
    try:
        if "matrix" in node:
            return np.array(node["matrix"], dtype=np.float64).reshape(4, 4).T
        x, y, z, w = np.array(node.get("rotation", (0, 0, 0, 1)), dtype=np.float64)
        scale = np.array(node.get("scale", (1, 1, 1)), dtype=np.float64)
        shift = np.array(node.get("translation", (0, 0, 0)), dtype=np.float64)
        found = np.eye(4)
        found[:3, :3] = scale * np.array(
            [
                [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
                [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
                [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
            ]
        )
        found[:3, 3] = shift
    except (ValueError, TypeError):
        raise _fault(file.path, "a node's transform cannot be read") from None
    return found


def _faces(file: _File, primitive: Mapping[str, Any], count: int) -> NDArray[np.int64] | None:
    """Triangles (f, 3) of a primitive; None for points and lines."""
    if "indices" in primitive:
        order = file.accessor(primitive["indices"]).reshape(-1).astype(np.int64)
    else:
        order = np.arange(count, dtype=np.int64)
    if len(order) and (order.min() < 0 or order.max() >= count):
        raise _fault(file.path, f"a face refers to vertex {order.max()}; there are {count} from 0")
    mode = primitive.get("mode", 4)
    if mode == 4:
        return order[: len(order) // 3 * 3].reshape(-1, 3)
    if len(order) < 3:
        return np.zeros((0, 3), dtype=np.int64)
    if mode == 5:
        strip = np.column_stack((order[:-2], order[1:-1], order[2:]))
        strip[1::2] = strip[1::2][:, ::-1]
        return strip
    if mode == 6:
        return np.column_stack((np.full(len(order) - 2, order[0]), order[1:-1], order[2:]))
    return None


def read_gltf(path: Path) -> Soup:
    """Triangles of the default scene in metres, z up: the format's −z becomes north."""
    file = _File(path)
    tree = file.tree
    scenes = tree.get("scenes")
    nodes = tree.get("nodes") or []
    if isinstance(scenes, list) and scenes:
        roots = file.table("scenes", tree.get("scene", 0)).get("nodes", [])
    else:
        children = {child for node in nodes for child in node.get("children", ())}
        roots = [index for index in range(len(nodes)) if index not in children]
    soups: list[Soup] = []
    labels: list[Label] = []
    upright = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
    stack = [(root, np.eye(4), "", 0) for root in reversed(roots)]
    seen: set[int] = set()
    count = 0
    while stack:
        index, above, parent, depth = stack.pop()
        if depth > MOST_DEPTH:
            raise _fault(path, f"its nodes are nested more than {MOST_DEPTH} deep")
        if index in seen:
            raise _fault(
                path,
                f"its node {index} is a child of two nodes, or twice of one, or of itself; glTF "
                "allows each node one parent",
            )
        seen.add(index)
        if len(seen) > MOST_NODES:
            raise _fault(path, f"has more nodes than {MOST_NODES}")
        node = file.table("nodes", index)
        placed = above @ _matrix(file, node)
        name = str(node.get("name") or "")
        stack.extend(
            (child, placed, name or parent, depth + 1)
            for child in reversed(node.get("children", []))
        )
        if "mesh" not in node:
            continue
        mesh = file.table("meshes", node["mesh"])
        extras = {**_extras(mesh), **_extras(node)}
        ours = extras.get("gapcast")
        for primitive in mesh.get("primitives", ()):
            if "KHR_draco_mesh_compression" in primitive.get("extensions", {}):
                raise _fault(
                    path, "is compressed with KHR_draco_mesh_compression; export it uncompressed"
                )
            spots = file.accessor(primitive.get("attributes", {}).get("POSITION"))
            if spots.shape[1] != 3:
                raise _fault(path, "a mesh has positions that are not three numbers")
            faces = _faces(file, primitive, len(spots))
            if faces is None or len(faces) == 0:
                continue
            count += len(faces)
            if count > MOST_TRIANGLES:
                raise _fault(
                    path,
                    f"its nodes place more than {MOST_TRIANGLES:,} triangles in all; simplify the "
                    "model, or export fewer of its parts",
                )
            if np.linalg.det(placed[:3, :3]) < 0.0:  # a mirror turns the winding round
                faces = faces[:, ::-1]
            points = (spots.astype(np.float64) @ placed[:3, :3].T + placed[:3, 3]) @ upright.T
            material = ""
            if "material" in primitive:
                material = str(file.table("materials", primitive["material"]).get("name") or "")
            if isinstance(ours, Mapping) and isinstance(ours.get("space"), str):
                label = Label(object=ours["space"], group=name, material=material, extras=extras)
            elif parent and name.startswith(f"{parent}/"):
                label = Label(object=parent, group=name, material=material)
            else:
                own = name or str(mesh.get("name") or "") or parent
                label = Label(object=own, group="", material=material)
            labels.append(label)
            # the table of labels comes with `joined`: a copy a primitive would grow as its square
            soups.append(triangles(points=points, faces=faces, label=len(labels) - 1, labels=()))
    if not soups:
        raise _fault(path, "holds no triangles")
    return joined(soups, labels)


def carried_tables(path: Path) -> Mapping[str, Any]:
    """Tables of the job that a file was exported from, as the scene's extras hold them, or none."""
    file = _File(path)
    if not isinstance(file.tree.get("scenes"), list) or not file.tree["scenes"]:
        return {}
    ours = _extras(file.table("scenes", file.tree.get("scene", 0))).get("gapcast")
    found = ours.get("tables") if isinstance(ours, Mapping) else None
    return found if isinstance(found, Mapping) else {}


def _extras(entry: Mapping[str, Any]) -> dict[str, Any]:
    found = entry.get("extras")
    return dict(found) if isinstance(found, Mapping) else {}
