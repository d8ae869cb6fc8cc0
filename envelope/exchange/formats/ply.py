"""PLY, plain text and binary: vertices and polygons.

Read here and not by the mesh library: trimesh 5.2 refuses binary files whose faces have different
numbers of corners, cuts a polygon into a fan about its first corner, which makes 12 m² of a floor
of 6 m² in the shape of an L, and has no message for a file that is cut short.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from envelope.errors import Fault, Location, ModelFileError
from envelope.exchange.mesh.soup import Ints, Label, Soup

_TYPES = {
    **dict.fromkeys(("char", "int8"), "i1"),
    **dict.fromkeys(("uchar", "uint8"), "u1"),
    **dict.fromkeys(("short", "int16"), "i2"),
    **dict.fromkeys(("ushort", "uint16"), "u2"),
    **dict.fromkeys(("int", "int32"), "i4"),
    **dict.fromkeys(("uint", "uint32"), "u4"),
    **dict.fromkeys(("float", "float32"), "f4"),
    **dict.fromkeys(("double", "float64"), "f8"),
}
_ORDERS = {"binary_little_endian": "<", "binary_big_endian": ">", "ascii": ""}
MOST_HEADER_BYTES = 65_536


@dataclass(slots=True)
class _Part:
    """One element of the header: its name, count and properties."""

    name: str
    count: int
    # (name, type, type of the list's count or "")
    properties: list[tuple[str, str, str]] = field(default_factory=list)


def _fault(path: Path, message: str) -> ModelFileError:
    return ModelFileError([Fault(message=message, location=Location(path=str(path)))])


def read_ply(path: Path) -> Soup:
    """Faces of a file, in the file's own unit and axes."""
    content = path.read_bytes()
    order, parts, body = _header(path, content)
    lists: dict[str, tuple[Ints, Ints]] = {}
    points = np.zeros((0, 3))
    read = _Text(path, content[body:]) if order == "" else _Binary(path, content, body, order)
    for part in parts:
        columns, rings = read.part(part)
        if part.name == "vertex":
            missing = [axis for axis in "xyz" if axis not in columns]
            if missing:
                raise _fault(path, f"its vertices have no {', '.join(missing)}")
            with np.errstate(invalid="ignore"):  # some numbers that are none; refused further on
                points = np.column_stack([columns[axis] for axis in "xyz"]).astype(np.float64)
        lists |= {f"{part.name}.{name}": ring for name, ring in rings.items()}
    ring = lists.get("face.vertex_indices", lists.get("face.vertex_index"))
    if ring is None and any(part.name == "tristrips" for part in parts):
        raise _fault(path, "holds triangle strips, which cannot be read: export it with faces")
    if ring is None:
        raise _fault(path, "holds no faces: a cloud of points cannot be imported")
    corners, lengths = ring
    if len(corners) and (corners.min() < 0 or corners.max() >= len(points)):
        raise _fault(
            path, f"a face refers to vertex {corners.max()}; there are {len(points)} from 0"
        )
    start = np.concatenate(([0], np.cumsum(lengths))).astype(np.int64)
    soup = Soup(
        points=points,
        corners=corners,
        start=start,
        label=np.zeros(len(lengths), dtype=np.int64),
        labels=(Label(),),
    )
    return soup.select(lengths >= 3)


def _header(path: Path, content: bytes) -> tuple[str, list[_Part], int]:
    end = content.find(b"end_header", 0, MOST_HEADER_BYTES)
    if not content.startswith(b"ply") or end < 0:
        raise _fault(path, "is no PLY file, or its header is cut short")
    body = content.find(b"\n", end) + 1
    order: str | None = None
    parts: list[_Part] = []
    for line in content[:end].decode("ascii", errors="replace").splitlines():
        words = line.split()
        if words[:1] == ["format"] and len(words) > 1:
            order = _ORDERS.get(words[1])
        elif words[:1] == ["element"] and len(words) == 3 and words[2].isdigit():
            parts.append(_Part(words[1], int(words[2])))
        elif words[:1] == ["property"] and parts:
            is_list = words[1:2] == ["list"]
            types = words[2:4] if is_list else words[1:2]
            if len(words) < 3 + 2 * is_list or any(name not in _TYPES for name in types):
                raise _fault(path, f"its header has a property that is not known: {line.strip()!r}")
            if words[1] == "list":
                parts[-1].properties.append((words[-1], _TYPES[words[3]], _TYPES[words[2]]))
            else:
                parts[-1].properties.append((words[-1], _TYPES[words[1]], ""))
    if order is None or body == 0:
        raise _fault(path, "its header names no format that is known")
    # A count that the file cannot hold would otherwise be believed.
    for part in parts:
        if part.count > len(content):
            raise _fault(path, f"announces {part.count} × {part.name}, more than it has bytes")
    return order, parts, body


Columns = dict[str, NDArray[Any]]
Rings = dict[str, tuple[Ints, Ints]]


class _Text:
    """Values of a plain text file, in order."""

    def __init__(self, path: Path, body: bytes) -> None:
        self.path = path
        self.lines = iter(body.decode("ascii", errors="replace").split("\n"))

    def part(self, part: _Part) -> tuple[Columns, Rings]:
        rows = [line.split() for line in islice(self.lines, part.count)]
        if len(rows) < part.count or (rows and not rows[-1]):
            raise _fault(self.path, f"is cut short: fewer than {part.count} × {part.name}")
        columns: dict[str, list[float]] = {
            name: [] for name, _, many in part.properties if not many
        }
        rings: dict[str, list[int]] = {name: [] for name, _, many in part.properties if many}
        lengths: dict[str, list[int]] = {name: [] for name in rings}
        try:
            for row in rows:
                place = 0
                for name, _, many in part.properties:
                    if many:
                        count = int(row[place])
                        values = row[place + 1 : place + 1 + count]
                        if count < 0 or len(values) < count:
                            raise IndexError
                        rings[name].extend(int(float(value)) for value in values)
                        lengths[name].append(count)
                        place += 1 + count
                    else:
                        columns[name].append(float(row[place]))
                        place += 1
        except (ValueError, IndexError):
            raise _fault(self.path, f"a line of its {part.name} list cannot be read") from None
        return (
            {name: np.array(values) for name, values in columns.items()},
            {
                name: (np.array(values, dtype=np.int64), np.array(lengths[name], dtype=np.int64))
                for name, values in rings.items()
            },
        )


class _Binary:
    """Values of a binary file, in order."""

    def __init__(self, path: Path, content: bytes, place: int, order: str) -> None:
        self.path, self.content, self.place, self.order = path, content, place, order

    def part(self, part: _Part) -> tuple[Columns, Rings]:
        lists = [item for item in part.properties if item[2]]
        if not lists:
            kind = np.dtype([(name, self.order + type_) for name, type_, _ in part.properties])
            table = self._take(kind, part.count, part)
            return {name: table[name] for name, _, _ in part.properties}, {}
        # Most files hold polygons of one size: try that in one go.
        quick = self._even(part)
        return quick if quick is not None else self._ragged(part)

    def _take(self, kind: np.dtype[Any], count: int, part: _Part) -> NDArray[Any]:
        if self.place + kind.itemsize * count > len(self.content):
            raise _fault(self.path, f"is cut short: fewer than {part.count} × {part.name}")
        found = np.frombuffer(self.content, dtype=kind, count=count, offset=self.place)
        self.place += kind.itemsize * count
        return found

    def _row(self, part: _Part, place: int) -> tuple[dict[str, int], int]:
        """Where each property of a row begins, and where the row ends."""
        starts: dict[str, int] = {}
        for name, type_, many in part.properties:
            starts[name] = place
            if many:
                kind = np.dtype(self.order + many)
                if place + kind.itemsize > len(self.content):
                    raise _fault(self.path, f"is cut short: fewer than {part.count} × {part.name}")
                count = int(np.frombuffer(self.content, dtype=kind, count=1, offset=place)[0])
                place += kind.itemsize + max(count, 0) * np.dtype(type_).itemsize
            else:
                place += np.dtype(type_).itemsize
        if place > len(self.content):
            raise _fault(self.path, f"is cut short: fewer than {part.count} × {part.name}")
        return starts, place

    def _even(self, part: _Part) -> tuple[Columns, Rings] | None:
        if part.count == 0:
            return None
        starts, _ = self._row(part, self.place)
        fields: list[tuple[str, str] | tuple[str, str, int]] = []
        sizes: dict[str, int] = {}
        for name, type_, many in part.properties:
            if many:
                kind = np.dtype(self.order + many)
                count = np.frombuffer(self.content, dtype=kind, count=1, offset=starts[name])[0]
                sizes[name] = int(count)
                fields.append((name + "#", self.order + many))
                fields.append((name, self.order + type_, max(int(count), 0)))
            else:
                fields.append((name, self.order + type_))
        kind = np.dtype(fields)
        if self.place + kind.itemsize * part.count > len(self.content):
            return None
        table = np.frombuffer(self.content, dtype=kind, count=part.count, offset=self.place)
        if any(np.any(table[name + "#"] != size) for name, size in sizes.items()):
            return None
        self.place += kind.itemsize * part.count
        return (
            {name: table[name] for name, _, many in part.properties if not many},
            {
                name: (
                    table[name].astype(np.int64).reshape(-1),
                    np.full(part.count, size, dtype=np.int64),
                )
                for name, size in sizes.items()
            },
        )

    def _ragged(self, part: _Part) -> tuple[Columns, Rings]:
        rings: dict[str, list[Ints]] = {name: [] for name, _, many in part.properties if many}
        for _ in range(part.count):
            starts, end = self._row(part, self.place)
            for name, type_, many in part.properties:
                if many:
                    kind = np.dtype(self.order + many)
                    head = starts[name]
                    count = int(np.frombuffer(self.content, dtype=kind, count=1, offset=head)[0])
                    values = np.frombuffer(
                        self.content,
                        dtype=np.dtype(self.order + type_),
                        count=max(count, 0),
                        offset=head + kind.itemsize,
                    )
                    rings[name].append(values.astype(np.int64))
            self.place = end
        nothing = np.zeros(0, dtype=np.int64)
        return {}, {
            name: (
                np.concatenate(values) if values else nothing,
                np.array([len(ring) for ring in values], dtype=np.int64),
            )
            for name, values in rings.items()
        }
