"""glTF 2.0 and GLB: triangles under nodes, with names, materials and extras; metres, y up.

The mesh library reads the geometry and places it. It is handed a plain copy of the file's tree:
the nodes of the scene, numbered, with one mesh for each primitive, and the accessors that their
geometry needs; no pictures, cameras or animations, which it would open too. So every node that
comes back is known by its number, and names, materials and extras are taken from the file's own
tree.
"""

from __future__ import annotations

import io
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from envelope.exchange.formats.gltf_file import GltfFile, gltf_fault
from envelope.exchange.mesh.soup import Ints, Label, Soup, joined, triangles
from envelope.exchange.mesh_library import mesh_library
from envelope.geometry.plane import Floats

MOST_NODES = 200_000
MOST_DEPTH = 200
MOST_TRIANGLES = 2_000_000
_TRIANGLES, _STRIP, _FAN = 4, 5, 6
_UPRIGHT = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """One primitive of a mesh under one node."""

    node: int
    mesh: int
    primitive: int
    label: Label

    @property
    def name(self) -> str:
        return f"{self.node}/{self.primitive}"

    @property
    def geometry(self) -> str:
        return f"{self.mesh}/{self.primitive}"


def _roots(file: GltfFile) -> list[int]:
    """Nodes of the default scene; all that are no children where the file has no scenes."""
    scenes = file.tree.get("scenes")
    nodes = file.tree.get("nodes") or []
    if isinstance(scenes, list) and scenes:
        found: list[int] = file.table("scenes", file.tree.get("scene", 0)).get("nodes", [])
        return found
    children = {child for node in nodes for child in node.get("children", ())}
    return [index for index in range(len(nodes)) if index not in children]


def _parts(file: GltfFile) -> Iterator[_Part]:
    """Primitives in the order of the tree; a tree that is none is refused."""
    stack = [(root, "", 0) for root in reversed(_roots(file))]
    seen: set[int] = set()
    while stack:
        index, parent, depth = stack.pop()
        if depth > MOST_DEPTH:
            raise gltf_fault(file.path, f"its nodes are nested more than {MOST_DEPTH} deep")
        if index in seen:
            raise gltf_fault(
                file.path,
                f"its node {index} is a child of two nodes, or twice of one, or of itself; glTF "
                "allows each node one parent",
            )
        seen.add(index)
        if len(seen) > MOST_NODES:
            raise gltf_fault(file.path, f"has more nodes than {MOST_NODES}")
        node = file.table("nodes", index)
        name = str(node.get("name") or "")
        stack.extend((child, name or parent, depth + 1) for child in reversed(_children(node)))
        if "mesh" not in node:
            continue
        mesh = file.table("meshes", node["mesh"])
        for number, primitive in enumerate(mesh.get("primitives", ())):
            yield _Part(
                node=index,
                mesh=node["mesh"],
                primitive=number,
                label=_label(file, node, mesh, primitive, parent),
            )


def _children(node: Mapping[str, Any]) -> list[int]:
    found: list[int] = node.get("children", [])
    return found


def _label(
    file: GltfFile,
    node: Mapping[str, Any],
    mesh: Mapping[str, Any],
    primitive: Mapping[str, Any],
    parent: str,
) -> Label:
    """What the file calls a primitive."""
    name = str(node.get("name") or "")
    extras = {**_extras(mesh), **_extras(node)}
    ours = extras.get("gapcast")
    material = ""
    if "material" in primitive:
        material = str(file.table("materials", primitive["material"]).get("name") or "")
    if isinstance(ours, Mapping) and isinstance(ours.get("space"), str):
        return Label(object=ours["space"], group=name, material=material, extras=extras)
    if parent and name.startswith(f"{parent}/"):
        return Label(object=parent, group=name, material=material)
    own = name or str(mesh.get("name") or "") or parent
    return Label(object=own, group="", material=material)


class _Plain:
    """The copy of a tree that the mesh library reads, with the buffers that it refers to."""

    def __init__(self, file: GltfFile) -> None:
        self.file = file
        self.accessors: list[dict[str, Any]] = []
        self.views: list[dict[str, Any]] = []
        self.buffers: dict[str, bytes] = {}
        self.meshes: dict[str, int] = {}
        self.primitives: list[dict[str, Any]] = []
        self.triangles: list[int] = []  # of each mesh
        self._known: dict[int, int] = {}

    def add(self, part: _Part) -> int:
        """Number of the mesh of a part, and 0 triangles where it has none: points, lines."""
        if part.geometry in self.meshes:
            return self.meshes[part.geometry]
        file = self.file
        primitive = file.table("meshes", part.mesh)["primitives"][part.primitive]
        if "KHR_draco_mesh_compression" in primitive.get("extensions", {}):
            raise gltf_fault(
                file.path, "is compressed with KHR_draco_mesh_compression; export it uncompressed"
            )
        position = primitive.get("attributes", {}).get("POSITION")
        _, _, corners, width = file.checked(position)
        if width != 3:
            raise gltf_fault(file.path, "a mesh has positions that are not three numbers")
        if position not in self._known and not np.isfinite(file.values(position)).all():
            raise gltf_fault(file.path, "a vertex is not a finite number")
        indices = primitive.get("indices")
        count = corners if indices is None else file.checked(indices)[2]
        mode = primitive.get("mode", _TRIANGLES)
        made: dict[str, Any] = {"attributes": {"POSITION": self._taken(position)}, "mode": mode}
        number = count // 3 if mode == _TRIANGLES else max(count - 2, 0)
        if mode not in (_TRIANGLES, _STRIP, _FAN):
            number = 0
        elif mode == _FAN or (mode == _TRIANGLES and count % 3):
            # trimesh 5.2 passes over fans without a word, and fails on a corner too many
            order = self._order(indices, corners)
            faces = (
                order[: 3 * number].reshape(-1, 3)
                if mode == _TRIANGLES
                else np.column_stack((np.full(number, order[:1]), order[1:-1], order[2:]))
                if number
                else np.zeros((0, 3), dtype=np.int64)
            )
            made |= {"indices": self._stored(faces.reshape(-1, 1).astype("<u4")), "mode": 4}
        elif indices is not None:
            made["indices"] = self._taken(indices)
        self.meshes[part.geometry] = len(self.primitives)
        self.primitives.append(made)
        self.triangles.append(number)
        return self.meshes[part.geometry]

    def _order(self, indices: Any, corners: int) -> Ints:
        if indices is None:
            return np.arange(corners, dtype=np.int64)
        return self.file.values(indices).reshape(-1).astype(np.int64)

    def _taken(self, index: int) -> int:
        """Number of an accessor in the copy."""
        if index in self._known:
            return self._known[index]
        if not self.file.plain(index):
            values = self.file.values(index)
            stored = values.astype("<u4" if values.shape[1] == 1 else "<f4")
            self._known[index] = self._stored(stored)
            return self._known[index]
        entry = self.file.table("accessors", index)
        view = dict(self.file.table("bufferViews", entry["bufferView"]))
        name = str(view.get("buffer", 0))
        self.buffers.setdefault(name, self.file.buffer(view.get("buffer", 0)))
        keys = ("byteOffset", "byteLength", "byteStride")
        self.views.append({key: view[key] for key in keys if key in view} | {"buffer": name})
        kept = ("byteOffset", "componentType", "count", "type")
        made = {key: entry[key] for key in kept if key in entry}
        self.accessors.append(made | {"bufferView": len(self.views) - 1})
        self._known[index] = len(self.accessors) - 1
        return self._known[index]

    def _stored(self, values: Any) -> int:
        """Number of an accessor of its own for some values (n, 1) or (n, 3)."""
        name = f"own-{len(self.views)}"
        self.buffers[name] = values.tobytes()
        self.views.append({"buffer": name, "byteLength": values.nbytes})
        self.accessors.append(
            {
                "bufferView": len(self.views) - 1,
                "componentType": 5125 if values.dtype.kind == "u" else 5126,
                "count": len(values),
                "type": "SCALAR" if values.shape[1] == 1 else "VEC3",
            }
        )
        return len(self.accessors) - 1

    def tree(self, parts: list[_Part]) -> dict[str, Any]:
        """The whole copy: nodes by number, with a node of its own for each part."""
        file = self.file
        source = file.tree.get("nodes") or []
        nodes: list[dict[str, Any]] = []
        for index, node in enumerate(source):
            keys = ("matrix",) if "matrix" in node else ("translation", "rotation", "scale")
            kept = {key: node[key] for key in keys if key in node}
            nodes.append(kept | {"name": str(index), "children": list(_children(node))})
        for part in parts:
            nodes[part.node]["children"].append(len(nodes))
            nodes.append({"name": part.name, "mesh": self.meshes[part.geometry]})
        places = {name: index for index, name in enumerate(self.buffers)}
        return {
            "asset": {"version": "2.0"},
            "scene": 0,
            "scenes": [{"nodes": _roots(file)}],
            "nodes": nodes,
            "meshes": [
                {"name": name, "primitives": [self.primitives[index]]}
                for name, index in self.meshes.items()
            ],
            "accessors": self.accessors,
            "bufferViews": [view | {"buffer": places[view["buffer"]]} for view in self.views],
            "buffers": [
                {"uri": name, "byteLength": len(data)} for name, data in self.buffers.items()
            ],
        }


def read_gltf(path: Path) -> Soup:
    """Triangles of the default scene in metres, z up: the format's −z becomes north."""
    file = GltfFile(path)
    plain = _Plain(file)
    parts: list[_Part] = []
    count = 0
    for part in _parts(file):
        here = plain.triangles[plain.add(part)]
        if not here:
            continue
        parts.append(part)
        count += here
        if count > MOST_TRIANGLES:
            raise gltf_fault(
                path,
                f"its nodes place more than {MOST_TRIANGLES:,} triangles in all; simplify the "
                "model, or export fewer of its parts",
            )
    if not parts:
        raise gltf_fault(path, "holds no triangles")
    scene = mesh_library().load_scene(
        io.BytesIO(json.dumps(plain.tree(parts)).encode()),
        file_type="gltf",
        resolver=plain.buffers,
        skip_materials=True,
        process=False,
    )
    soups: list[Soup] = []
    for number, part in enumerate(parts):
        placed, name = scene.graph[part.name]
        mesh = scene.geometry[name]
        soups.append(_placed(path, mesh.vertices, mesh.faces, placed, number))
    return joined(soups, [part.label for part in parts])


def _placed(path: Path, spots: Any, faces: Any, placed: Floats, label: int) -> Soup:
    """Triangles of a mesh where its node puts them."""
    spots, faces = np.asarray(spots, dtype=np.float64), np.asarray(faces, dtype=np.int64)
    if len(faces) and not 0 <= faces.min() <= faces.max() < len(spots):
        raise gltf_fault(
            path, f"a face refers to vertex {faces.max()}; there are {len(spots)} from 0"
        )
    if np.linalg.det(placed[:3, :3]) < 0.0:  # a mirror turns the winding round
        faces = faces[:, ::-1]
    points = (spots @ placed[:3, :3].T + placed[:3, 3]) @ _UPRIGHT.T
    # the table of labels comes with `joined`: a copy for each part would grow as its square
    return triangles(points=points, faces=faces, label=label, labels=())


def carried_tables(path: Path) -> Mapping[str, Any]:
    """Tables of the job that a file was exported from, as the scene's extras hold them, or none."""
    file = GltfFile(path)
    if not isinstance(file.tree.get("scenes"), list) or not file.tree["scenes"]:
        return {}
    ours = _extras(file.table("scenes", file.tree.get("scene", 0))).get("gapcast")
    found = ours.get("tables") if isinstance(ours, Mapping) else None
    return found if isinstance(found, Mapping) else {}


def _extras(entry: Mapping[str, Any]) -> dict[str, Any]:
    found = entry.get("extras")
    return dict(found) if isinstance(found, Mapping) else {}
