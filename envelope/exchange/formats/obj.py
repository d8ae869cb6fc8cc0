"""Wavefront OBJ: polygons, object, group and material names, indices counted from either end.

Read here and not by the mesh library: trimesh 5.2 joins what bears one material whatever object or
group it belongs to, keeps no polygon, and misreads indices that are counted from the end.
"""

from __future__ import annotations

import codecs
import json
from dataclasses import replace
from pathlib import Path

import numpy as np

from envelope.errors import Fault, Location, ModelFileError
from envelope.exchange.mesh.soup import Label, Soup

MOST_CORNERS_OF_A_FACE = 10_000
_COMMENT = "# gapcast "


def _fault(path: Path, line: int, message: str) -> ModelFileError:
    return ModelFileError([Fault(message=message, location=Location(path=str(path), line=line))])


def read_obj(path: Path) -> Soup:
    """Faces of a file, in the file's own unit and axes. Materials are names only."""
    points: list[tuple[float, float, float]] = []
    corners: list[int] = []
    lengths: list[int] = []
    label: list[int] = []
    labels: dict[tuple[Label, int], int] = {}
    extended = 0  # labels with extras are told apart by their number
    current = Label()
    with path.open(encoding=_encoding(path), errors="replace") as stream:
        number = 0
        for line in stream:
            number += 1
            first = number
            while line.endswith("\\\n"):
                number += 1
                line = line[:-2] + " " + next(stream, "")
            if line.startswith(_COMMENT):
                current = _with_extras(current, line[len(_COMMENT) :])
                extended += 1
                continue
            words = line.partition("#")[0].split()
            if not words:
                continue
            word = words[0]
            if word == "v":
                try:
                    x, y, z = (float(value) for value in words[1:4])
                except ValueError:
                    raise _fault(
                        path, first, f"a vertex needs three numbers, found {' '.join(words[:5])!r}"
                    ) from None
                points.append((x, y, z))
            elif word == "f":
                ring = _ring(path, first, words[1:], len(points))
                corners.extend(ring)
                lengths.append(len(ring))
                label.append(labels.setdefault((current, extended), len(labels)))
            elif word in ("o", "g", "usemtl"):
                name = " ".join(words[1:])
                if word == "o":
                    current = Label(object=name, group="", material=current.material)
                elif word == "g":
                    current = Label(object=current.object, group=name, material=current.material)
                else:
                    current = replace(current, material=name)
    return Soup(
        points=np.array(points, dtype=np.float64).reshape(-1, 3),
        corners=np.array(corners, dtype=np.int64),
        start=np.concatenate(([0], np.cumsum(lengths))).astype(np.int64),
        label=np.array(label, dtype=np.int64),
        labels=tuple(label for label, _ in labels) or (Label(),),
    )


def _encoding(path: Path) -> str:
    """UTF-8, with or without its mark; names of older programs are in Windows' Western letters."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        with path.open("rb") as stream:
            while piece := stream.read(1 << 20):
                decoder.decode(piece)
            decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8-sig"


def _with_extras(label: Label, text: str) -> Label:
    """What an export of this project wrote in a comment about the group that follows."""
    try:
        found = json.loads(text)
    except (json.JSONDecodeError, RecursionError):
        return label
    if not isinstance(found, dict) or found.get("panel") != label.group:
        return label
    return replace(label, extras={"gapcast": found})


def _ring(path: Path, line: int, words: list[str], count: int) -> list[int]:
    """Corners of one face, counted from 0."""
    if len(words) < 3:
        raise _fault(path, line, f"a face needs three corners or more, found {len(words)}")
    if len(words) > MOST_CORNERS_OF_A_FACE:
        raise _fault(
            path, line, f"a face has {len(words)} corners; at most {MOST_CORNERS_OF_A_FACE}"
        )
    try:
        ring = [int(word.partition("/")[0]) for word in words]
    except ValueError:
        raise _fault(
            path, line, f"a face needs whole numbers, found {' '.join(words[:4])!r}"
        ) from None
    ring = [index - 1 if index > 0 else count + index if index < 0 else -1 for index in ring]
    if min(ring) < 0 or max(ring) >= count:
        raise _fault(
            path, line, f"a face refers to a vertex that is not given before it; there are {count}"
        )
    return ring
