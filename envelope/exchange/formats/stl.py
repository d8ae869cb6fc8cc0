"""STL, binary and plain text: triangles and nothing else.

Both kinds are read here. Of plain text trimesh 5.2 makes four triangles of three facets with four
corners each, leaves out a solid that is cut short, loses the name of a second "Solid2", and gives
no line for what it refuses; a binary file that ends with a line of its own it takes for an empty
one, and where a number is none it warns.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from envelope.errors import Fault, Location, ModelFileError
from envelope.exchange.mesh.soup import Label, Soup, joined, triangles
from envelope.exchange.naming import plain_text

_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def _fault(path: Path, message: str) -> ModelFileError:
    return ModelFileError([Fault(message=message, location=Location(path=str(path)))])


def read_stl(path: Path) -> Soup:
    """Triangles of a file, in the file's own unit and axes. Solids' names become objects."""
    content = path.read_bytes()
    count = rest = -1
    if len(content) >= 84:
        count = int(np.frombuffer(content, dtype="<u4", count=1, offset=80)[0])
        rest = len(content) - 84 - 50 * count
        if rest == 0:
            return _binary(path, content, count)
    if content[:512].lstrip().lower().startswith(b"solid") and b"facet" in content[:4096].lower():
        return _text(path, content)
    if count < 0:
        raise _fault(path, f"is no STL file, or is cut short: it holds only {len(content)} bytes")
    if 0 < rest < 50 and count:
        return _binary(path, content, count)  # some writers end with a line of their own
    held = (len(content) - 84) // 50
    why = "it is cut short, or no STL file" if rest < 0 else "its count is wrong, or it is no STL"
    raise _fault(path, f"announces {count} triangles but holds {held}: {why}")


def _binary(path: Path, content: bytes, count: int) -> Soup:
    corners = np.frombuffer(content, dtype=_FACET, count=count, offset=84)["corners"].reshape(-1, 3)
    # some numbers that are none cannot be widened without a warning
    if not np.isfinite(corners).all():
        raise _fault(path, "a vertex is not a finite number")
    faces = np.arange(3 * count, dtype=np.int64).reshape(-1, 3)
    labels = [Label()] if count else []
    return triangles(points=corners.astype(np.float64), faces=faces, label=0, labels=labels)


def _text(path: Path, content: bytes) -> Soup:
    soups: list[Soup] = []
    labels: list[Label] = []
    points: list[list[float]] = []
    name = ""

    def close() -> None:
        if points:
            labels.append(Label(object=name))
            faces = np.arange(len(points), dtype=np.int64).reshape(-1, 3)
            soups.append(
                triangles(
                    points=np.array(points), faces=faces, label=len(labels) - 1, labels=labels
                )
            )
            points.clear()

    ended = True
    for number, line in enumerate(plain_text(content).splitlines(), 1):
        words = line.split()
        if not words:
            continue
        word = words[0].lower()
        if word == "solid":
            close()
            name, ended = " ".join(words[1:]), False
        elif word == "vertex":
            try:
                x, y, z = (float(value) for value in words[1:4])
            except ValueError:
                message = f"a vertex needs three numbers, found {line.strip()[:60]!r}"
                place = Location(path=str(path), line=number)
                raise ModelFileError([Fault(message=message, location=place)]) from None
            points.append([x, y, z])
        elif word == "endloop" and len(points) % 3:
            message = "a facet has not three corners; STL knows triangles only"
            place = Location(path=str(path), line=number)
            raise ModelFileError([Fault(message=message, location=place)])
        elif word == "endsolid":
            ended = True
    if not ended or len(points) % 3:
        raise _fault(path, "is cut short: its last solid does not end")
    close()
    if not soups:
        raise _fault(path, "holds no triangles")
    return joined(soups, labels)
