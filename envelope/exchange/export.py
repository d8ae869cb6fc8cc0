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
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from envelope.building.model import Building, Panel
from envelope.exchange.mesh_library import mesh_library
from envelope.exchange.naming import compass
from envelope.exchange.records import OURS
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import polygon_of

_FLUSH_M = 1e-4
_ROOT = "the whole scene"  # no id has blanks


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


def triangulated(panel: Panel) -> tuple[Floats, NDArray[np.int64]]:
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
    library = mesh_library()
    scene = library.Scene(base_frame=_ROOT)
    if notes.tables:
        scene.metadata[OURS] = {"tables": notes.tables}
    for space in building.spaces:
        anchor = space.panels[0].outline[0]
        place = np.eye(4)
        place[:3, 3] = _up_y(anchor[np.newaxis])[0]
        scene.graph.update(frame_from=_ROOT, frame_to=space.id, matrix=place)
        for panel in space.panels:
            corners, faces = triangulated(panel)
            material = " + ".join((panel.kind, *notes.treatments.get(panel.id, ())))
            scene.add_geometry(
                library.Trimesh(
                    vertices=_up_y(corners - anchor),
                    faces=faces,
                    process=False,
                    visual=library.visual.TextureVisuals(
                        material=library.visual.material.PBRMaterial(name=material)
                    ),
                ),
                geom_name=panel.id,
                node_name=panel.id,
                parent_node_name=space.id,
                metadata={OURS: panel_extras(building, panel, notes)},
            )
    found: bytes = scene.export(file_type="glb", tree_postprocessor=_signed)
    return found


def _signed(tree: dict[str, Any]) -> None:
    """Say in a glTF tree what wrote it."""
    tree["asset"]["generator"] = "gapcast"


def _up_y(points: Floats) -> Floats:
    """Points of ours (z up) in glTF's axes (y up)."""
    return np.column_stack((points[:, 0], points[:, 2], -points[:, 1]))


def to_obj(building: Building, *, notes: Annotations = _NOTHING) -> str:
    """Wavefront OBJ in metres, z up. Panels with holes are triangulated, others whole.

    Written here and not by the mesh library, which writes triangles and no groups.
    """
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
    points, faces = mesh_library().util.append_faces(*zip(*parts, strict=True))
    mesh = mesh_library().Trimesh(vertices=points, faces=faces, process=False)
    found: bytes = mesh.export(file_type="stl")
    return found


def to_ply(building: Building) -> bytes:
    """Plain text PLY in metres, z up, in full precision. It has no names.

    Written here and not by the mesh library: trimesh 5.2 writes triangles in single precision.
    """
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
