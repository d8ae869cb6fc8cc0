"""A building written out and read back is the same building."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from envelope.building.model import Building, Panel
from envelope.building.point_location import fans
from envelope.exchange import (
    Annotations,
    Imported,
    PanelFinding,
    flush_openings,
    panels_csv,
    read_model,
    to_glb,
    to_obj,
    to_ply,
    to_stl,
)

STATED = {"unit": "m", "up": "z"}
EYE = np.array([0.6, 1.2, 0.7])


def solid_angle(panel: Panel) -> float:
    """Solid angle of a panel from the pillow, by Van Oosterom and Strackee's formula. [sr]"""
    a, b, c = np.moveaxis(fans([panel]) - EYE, 1, 0)
    la, lb, lc = (np.linalg.norm(side, axis=1) for side in (a, b, c))
    over = np.einsum("ij,ij->i", a, np.cross(b, c))
    under = la * lb * lc + np.einsum("ij,ij->i", a, b) * lc
    under += np.einsum("ij,ij->i", b, c) * la + np.einsum("ij,ij->i", c, a) * lb
    return float(-2.0 * np.arctan2(over, under).sum())


def _same(one: Building, two: Building) -> None:
    assert [panel.id for panel in two.panels] == [panel.id for panel in one.panels]
    for before, after in zip(one.panels, two.panels, strict=True):
        for name in ("kind", "host", "opening", "aliases", "assembly", "earth", "space"):
            assert getattr(after, name) == getattr(before, name), (before.id, name)
        assert after.area_m2 == pytest.approx(before.area_m2, rel=1e-5)
        assert len(after.holes) == len(before.holes)
        if before.space == "bedroom":
            assert solid_angle(after) == pytest.approx(solid_angle(before), abs=1e-5)
    assert [patch.far for patch in two.patches] == [patch.far for patch in one.patches]
    for before, after in zip(one.elements, two.elements, strict=True):
        assert (after.kind, after.assembly) == (before.kind, before.assembly)
    for before, after in zip(one.spaces, two.spaces, strict=True):
        assert (after.id, after.storey, after.raised) == (before.id, before.storey, before.raised)
        np.testing.assert_allclose(after.origin, before.origin)
        assert after.floor_m == before.floor_m
    assert [(storey.id, storey.floor_m) for storey in two.storeys] == [
        (storey.id, storey.floor_m) for storey in one.storeys
    ]


def test_glb_loses_nothing(
    tmp_path: Path, two_rooms: Building, assembled: Callable[[Imported], Building]
) -> None:
    path = tmp_path / "a.glb"
    path.write_bytes(to_glb(two_rooms))
    _same(two_rooms, assembled(read_model(path)))


def test_glb_that_lost_its_extras_keeps_names(
    tmp_path: Path, two_rooms: Building, assembled: Callable[[Imported], Building]
) -> None:
    path = tmp_path / "a.glb"
    path.write_bytes(to_glb(two_rooms).replace(b'"gapcast": {', b'"forgets": {'))
    again = assembled(read_model(path))
    assert [panel.id for panel in again.panels] == [panel.id for panel in two_rooms.panels]
    assert again.panel("bedroom/W1").kind == "window"


def test_obj_of_ours_loses_nothing_either(
    tmp_path: Path, two_rooms: Building, assembled: Callable[[Imported], Building]
) -> None:
    path = tmp_path / "a.obj"
    path.write_text(to_obj(two_rooms))
    _same(two_rooms, assembled(read_model(path, **STATED)))


def test_obj_that_another_program_saved_keeps_names_and_solid_angles(
    tmp_path: Path, two_rooms: Building, assembled: Callable[[Imported], Building]
) -> None:
    path = tmp_path / "a.obj"
    lines = to_obj(two_rooms).splitlines(keepends=True)
    path.write_text("".join(line for line in lines if not line.startswith("#")))
    again = assembled(read_model(path, **STATED))
    assert [panel.id for panel in again.panels] == [panel.id for panel in two_rooms.panels]
    kinds = {panel.id: panel.kind for panel in again.panels}
    assert kinds["bedroom/W1"] == "window"
    assert kinds["hall/D1"] == "door"
    assert kinds["bedroom/W1/sill"] == "wall"
    assert again.panel("bedroom/W2").host == "bedroom/6"
    for panel in two_rooms.panels:
        if panel.space == "bedroom":
            found = solid_angle(again.panel(panel.id))
            assert found == pytest.approx(solid_angle(panel), abs=1e-5)


@pytest.mark.parametrize("format", ["stl", "ply"])
def test_stl_and_ply_keep_the_rooms_but_not_flush_openings(
    tmp_path: Path,
    two_rooms: Building,
    assembled: Callable[[Imported], Building],
    format: str,
) -> None:
    path = tmp_path / f"a.{format}"
    path.write_bytes({"stl": to_stl, "ply": to_ply}[format](two_rooms))
    again = assembled(read_model(path, **STATED))
    assert flush_openings(two_rooms) == ("bedroom/W2", "bedroom/D1", "bedroom/D1/undercut")
    bedroom = again.spaces[0]
    assert bedroom.volume_m3 == pytest.approx(two_rooms.space("bedroom").volume_m3, rel=1e-6)
    merged_into = {"bedroom/W2": "bedroom/6", "bedroom/D1": "bedroom/2"}
    merged_into["bedroom/D1/undercut"] = "bedroom/2"
    expected: dict[str, float] = {}
    for panel in two_rooms.space("bedroom").panels:
        key = merged_into.get(panel.id, panel.id)
        expected[key] = expected.get(key, 0.0) + solid_angle(panel)
    found = sorted(solid_angle(panel) for panel in bedroom.panels)
    assert found == pytest.approx(sorted(expected.values()), abs=1e-5)


def test_another_reader_sees_the_same_glb(tmp_path: Path, two_rooms: Building) -> None:
    import trimesh

    notes = Annotations(
        treatments={"bedroom/W1": ("film", "curtain")},
        findings={
            "bedroom/W1": PanelFinding(loss_db=3.4, share=0.83, solid_angle_sr=0.38, is_gap=True),
            "bedroom/1": PanelFinding(
                loss_db=math.inf, share=0.0, solid_angle_sr=1.0, is_gap=False
            ),
        },
    )
    path = tmp_path / "a.glb"
    path.write_bytes(to_glb(two_rooms, notes=notes))
    scene = trimesh.load_scene(path)
    names = set(scene.graph.nodes_geometry)
    assert names == {panel.id for panel in two_rooms.panels}
    total = sum(geometry.area for geometry in scene.geometry.values())
    assert total == pytest.approx(sum(panel.area_m2 for panel in two_rooms.panels), rel=1e-5)
    head = path.read_bytes()
    length = int.from_bytes(head[12:16], "little")
    tree = json.loads(head[20 : 20 + length])
    extras = {node["name"]: node["extras"]["gapcast"] for node in tree["nodes"] if "mesh" in node}
    assert extras["bedroom/W1"]["treatments"] == ["film", "curtain"]
    assert extras["bedroom/W1"]["loss_db"] == 3.4
    assert extras["bedroom/W1"]["share"] == 0.83
    assert extras["bedroom/1"]["loss_db"] is None  # JSON knows no infinity
    assert extras["hall/D1"]["behind"] == ["bedroom/D1"]


def test_csv_has_a_line_a_panel(two_rooms: Building) -> None:
    notes = Annotations(treatments={"hall/D1": ("=2+2", "film")})
    rows = list(csv.DictReader(io.StringIO(panels_csv(two_rooms, notes=notes))))
    assert [row["panel"] for row in rows] == [panel.id for panel in two_rooms.panels]
    by_id = {row["panel"]: row for row in rows}
    assert by_id["bedroom/1"]["facing"] == "south"
    assert by_id["bedroom/floor"]["facing"] == "down"
    assert by_id["bedroom/ceiling"]["facing"] == "up"
    assert by_id["bedroom/2"]["behind"] == "hall/4"
    assert float(by_id["bedroom/W1"]["area_m2"]) == pytest.approx(1.8)
    assert by_id["hall/D1"]["treatments"] == "'=2+2; film"  # no spreadsheet runs it
