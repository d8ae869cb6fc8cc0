"""A building written for other programs: GLB with everything, OBJ, STL and PLY with less, CSV.

===== ======================================================================================
GLB   panels under their names; kind, host, assembly, storey, treatments, loss, share in extras,
      and in those of the scene what the job says of assemblies, treatments, sources and plans
OBJ   polygons, names; the rest in comments that only this project reads
STL   triangles only: openings that lie flush in their wall cannot be told from it again
PLY   polygons only: the same
CSV   one line a panel, no geometry
===== ======================================================================================
"""

from __future__ import annotations

import csv
import io
import json
import math
import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely

from envelope.building.model import Building, Panel
from envelope.exchange.mesh.soup import Ints
from envelope.exchange.mesh.spaces import OURS
from envelope.exchange.naming import compass
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import polygon_of

_FLUSH_M = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelFinding:
    """What an analysis found for one panel, to be written beside it."""

    loss_db: float
    share: float
    solid_angle_sr: float
    is_gap: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Annotations:
    """What stands beside the panels of an export, by panel id."""

    treatments: Mapping[str, Sequence[str]] = field(default_factory=dict)
    findings: Mapping[str, PanelFinding] = field(default_factory=dict)
    tables: Mapping[str, Any] = field(default_factory=dict)  # of the project file, as it says them


_NOTHING = Annotations()


def triangulated(panel: Panel) -> tuple[Floats, Ints]:
    """Corners (n, 3) of a panel and triangles (f, 3) over them, wound as the panel is.

    No corner is added, and none is moved.
    """
    corners = np.concatenate((panel.outline, *panel.holes))
    flat = panel.frame.flatten(corners)
    number = {(float(x), float(y)): index for index, (x, y) in enumerate(flat)}
    faces = []
    for piece in shapely.constrained_delaunay_triangles(polygon_of(panel)).geoms:
        turned = shapely.geometry.polygon.orient(piece, 1.0)
        faces.append([number[x, y] for x, y in list(turned.exterior.coords)[:3]])
    return corners, np.array(faces, dtype=np.int64).reshape(-1, 3)


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def panel_extras(building: Building, panel: Panel, notes: Annotations) -> dict[str, Any]:
    """Everything about a panel that its geometry does not say."""
    space = building.space(panel.space)
    storey = next(item for item in building.storeys if item.id == space.storey)
    patches = building.patches_of[panel.id]
    elements = [building.elements[patch.element] for patch in patches]
    found: dict[str, Any] = {
        "panel": panel.id,
        "space": panel.space,
        "kind": panel.kind,
        "aliases": list(panel.aliases),
        "host": panel.host,
        "opening": panel.opening,
        "assembly": panel.assembly,
        "earth": panel.earth,
        "unmodelled": panel.unmodelled,
        "stands_open": panel.stands_open,
        "tags": list(panel.tags),
        "storey": {"id": storey.id, "floor_m": storey.floor_m},
        "floor_m": space.floor_m,
        "origin_m": space.origin.tolist(),
        "raised": space.raised,
        "area_m2": panel.area_m2,
        "behind": list(dict.fromkeys(patch.far or patch.behind for patch in patches)),
        "elements": list(dict.fromkeys(element.kind for element in elements)),
        "assemblies": list(dict.fromkeys(item.assembly for item in elements if item.assembly)),
        "treatments": list(notes.treatments.get(panel.id, ())),
    }
    finding = notes.findings.get(panel.id)
    if finding is not None:
        found |= {
            "loss_db": _finite(finding.loss_db),
            "share": finding.share,
            "solid_angle_sr": finding.solid_angle_sr,
            "is_gap": finding.is_gap,
        }
    return found


def to_glb(building: Building, *, notes: Annotations = _NOTHING) -> bytes:
    """Binary glTF: one node a space, one named node a panel, extras beside each.

    Corners are float32 about their space's own corner, so that a house far from the origin
    loses nothing; a node's place is kept in full.
    """
    nodes: list[dict[str, Any]] = []
    meshes: list[dict[str, Any]] = []
    accessors: list[dict[str, Any]] = []
    views: list[dict[str, Any]] = []
    materials: dict[str, int] = {}
    blob = bytearray()

    def view(data: bytes, target: int) -> int:
        views.append(
            {"buffer": 0, "byteOffset": len(blob), "byteLength": len(data), "target": target}
        )
        blob.extend(data)
        blob.extend(b"\0" * (-len(data) % 4))
        return len(views) - 1

    roots: list[int] = []
    for space in building.spaces:
        anchor = space.panels[0].outline[0]
        group: dict[str, Any] = {
            "name": space.id,
            "translation": _up_y(anchor[np.newaxis])[0].tolist(),
            "children": [],
        }
        roots.append(len(nodes))
        nodes.append(group)
        for panel in space.panels:
            corners, faces = triangulated(panel)
            spots = _up_y(corners - anchor).astype("<f4")
            position = len(accessors)
            accessors.append(
                {
                    "bufferView": view(spots.tobytes(), 34962),
                    "componentType": 5126,
                    "count": len(spots),
                    "type": "VEC3",
                    "min": spots.min(axis=0).tolist(),
                    "max": spots.max(axis=0).tolist(),
                }
            )
            accessors.append(
                {
                    "bufferView": view(faces.astype("<u4").tobytes(), 34963),
                    "componentType": 5125,
                    "count": int(faces.size),
                    "type": "SCALAR",
                }
            )
            treatments = notes.treatments.get(panel.id, ())
            material = " + ".join((panel.kind, *treatments))
            group["children"].append(len(nodes))
            nodes.append(
                {
                    "name": panel.id,
                    "mesh": len(meshes),
                    "extras": {OURS: panel_extras(building, panel, notes)},
                }
            )
            meshes.append(
                {
                    "name": panel.id,
                    "primitives": [
                        {
                            "attributes": {"POSITION": position},
                            "indices": position + 1,
                            "material": materials.setdefault(material, len(materials)),
                        }
                    ],
                }
            )
    tree = {
        "asset": {"version": "2.0", "generator": "gapcast"},
        "scene": 0,
        "scenes": [
            {
                "nodes": roots,
                **({"extras": {OURS: {"tables": notes.tables}}} if notes.tables else {}),
            }
        ],
        "nodes": nodes,
        "meshes": meshes,
        "accessors": accessors,
        "bufferViews": views,
        "buffers": [{"byteLength": len(blob)}],
        "materials": [{"name": name} for name in materials],
    }
    text = json.dumps(tree, ensure_ascii=False, allow_nan=False).encode()
    text += b" " * (-len(text) % 4)
    length = 12 + 8 + len(text) + 8 + len(blob)
    return b"".join(
        (
            struct.pack("<4sII", b"glTF", 2, length),
            struct.pack("<II", len(text), 0x4E4F534A),
            text,
            struct.pack("<II", len(blob), 0x004E4942),
            bytes(blob),
        )
    )


def _up_y(points: Floats) -> Floats:
    """Points of ours (z up) in glTF's axes (y up)."""
    return np.column_stack((points[:, 0], points[:, 2], -points[:, 1]))


def to_obj(building: Building, *, notes: Annotations = _NOTHING) -> str:
    """Wavefront OBJ in metres, z up. Panels with holes are triangulated, others whole."""
    lines = ["# metres, z up"]
    count = 0
    for space in building.spaces:
        lines.append(f"o {space.id}")
        for panel in space.panels:
            lines.append(f"g {panel.id}")
            extras = json.dumps(panel_extras(building, panel, notes), allow_nan=False)
            lines.append(f"# {OURS} {extras}")
            lines.append(f"usemtl {panel.kind}")
            if panel.holes:
                corners, faces = triangulated(panel)
            else:
                corners, faces = panel.outline, np.arange(len(panel.outline))[np.newaxis]
            lines.extend(f"v {x!r} {y!r} {z!r}" for x, y, z in corners.tolist())
            for face in (faces + count + 1).tolist():
                lines.append("f " + " ".join(str(corner) for corner in face))
            count += len(corners)
    return "\n".join(lines) + "\n"


def to_stl(building: Building) -> bytes:
    """Binary STL in metres, z up. It has no names; see `flush_openings`."""
    parts = [triangulated(panel) for panel in building.panels]
    corners = np.concatenate([spots[faces] for spots, faces in parts])
    record = np.zeros(
        len(corners), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("more", "<u2")]
    )
    crossed = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    record["normal"] = crossed / np.linalg.norm(crossed, axis=1, keepdims=True)
    record["corners"] = corners
    head = b"metres, z up".ljust(80, b" ")
    return head + struct.pack("<I", len(record)) + record.tobytes()


def to_ply(building: Building) -> bytes:
    """Plain text PLY in metres, z up, in full precision. It has no names."""
    points: list[list[float]] = []
    faces: list[list[int]] = []
    for panel in building.panels:
        corners, triangles = triangulated(panel)
        if not panel.holes:
            triangles = np.arange(len(corners))[np.newaxis]
        faces.extend((triangles + len(points)).tolist())
        points.extend(corners.tolist())
    lines = [
        "ply",
        "format ascii 1.0",
        "comment metres, z up",
        f"element vertex {len(points)}",
        *(f"property double {axis}" for axis in "xyz"),
        f"element face {len(faces)}",
        "property list uchar int vertex_indices",
        "end_header",
        *(" ".join(repr(value) for value in point) for point in points),
        *(" ".join(str(number) for number in (len(face), *face)) for face in faces),
    ]
    return ("\n".join(lines) + "\n").encode("ascii")


def flush_openings(building: Building) -> tuple[str, ...]:
    """Panels that lie in the plane of their host, so that STL and PLY cannot carry them."""
    found = []
    for panel in building.panels:
        if panel.host is None:
            continue
        host = building.panel(panel.host)
        off = np.abs((panel.outline - host.frame.origin) @ host.normal).max()
        if abs(float(panel.normal @ host.normal)) > 1.0 - 1e-9 and off < _FLUSH_M:
            found.append(panel.id)
    return tuple(found)


CSV_COLUMNS = (
    "panel",
    "space",
    "storey",
    "kind",
    "facing",
    "area_m2",
    "behind",
    "elements",
    "assemblies",
    "treatments",
    "loss_db",
    "share",
    "solid_angle_sr",
    "is_gap",
)


def panels_csv(building: Building, *, notes: Annotations = _NOTHING) -> str:
    """One line a panel, with a header. Lists are joined with "; "."""
    text = io.StringIO()
    writer = csv.DictWriter(text, CSV_COLUMNS, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    for panel in building.panels:
        row = panel_extras(building, panel, notes)
        row["storey"] = row["storey"]["id"]
        level = panel.normal[2]
        row["facing"] = compass(panel.normal) if abs(level) < 0.7 else "up" if level < 0 else "down"
        row["area_m2"] = f"{panel.area_m2:.6g}"
        for key in ("behind", "elements", "assemblies", "treatments"):
            row[key] = "; ".join(row[key])
        writer.writerow({key: _plain(row.get(key)) for key in CSV_COLUMNS})
    return text.getvalue()


def _plain(value: Any) -> str:
    """A cell that no spreadsheet takes for a formula."""
    text = "" if value is None else str(value)
    return f"'{text}" if text[:1] in ("=", "+", "@", "\t") else text
