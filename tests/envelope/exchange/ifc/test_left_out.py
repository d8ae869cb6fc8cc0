"""Rooms of the file that are not imported are neither earth nor outdoors."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from envelope.building.assemble import assemble_building
from envelope.building.model import Building, Site, Storey
from envelope.building.rooms.build import build_building
from envelope.building.rooms.specs import PanelSpec, SpaceSpec
from envelope.exchange import Imported, read_model
from envelope.exchange.export import to_glb
from envelope.exchange.ifc.import_ifc import import_ifc
from envelope.exchange.select import Wanted
from envelope.rays import cast_directions
from envelope.rays.isotropic_field import cast_even

CONSTRUCTION = dict.fromkeys(("exterior-wall", "interior-wall", "roof", "slab", "floor"), "any")


def add_slab(made: Any, low: float, high: float) -> None:
    made.solid("IfcSlab", ((-300, -300, low), (7400, 3300, high)), Name=f"slab {low}")


def walls_round(made: Any, low: float, high: float) -> None:
    for name, box in {
        "S": ((-300, -300, low), (7400, 0, high)),
        "N": ((-300, 3000, low), (7400, 3300, high)),
        "W": ((-300, 0, low), (0, 3000, high)),
        "E": ((7100, 0, low), (7400, 3000, high)),
    }.items():
        made.solid("IfcWall", box, Name=name)


@pytest.fixture
def cellared(bare_house: Callable[[], Any]) -> Any:
    """Two cellar rooms side by side below ground, a room over both of them."""
    made = bare_house()
    rooms = [
        made.solid("IfcSpace", ((0, 0, -2500), (4000, 3000, -200)), Name="K1"),
        made.solid("IfcSpace", ((4100, 0, -2500), (7100, 3000, -200)), Name="K2"),
        made.solid("IfcSpace", ((0, 0, 0), (7100, 3000, 2500)), Name="G"),
    ]
    made.root("IfcRelAggregates", RelatingObject=made.storey, RelatedObjects=rooms)
    walls_round(made, -2500, -200)
    walls_round(made, 0, 2500)
    made.solid("IfcWall", ((4000, 0, -2500), (4100, 3000, -200)), Name="M")
    for low, high in ((-2700, -2500), (-200, 0), (2500, 2700)):
        add_slab(made, low, high)
    return made


def behind(imported: Imported) -> dict[str, set[str]]:
    building = assemble_building(
        site=Site(), storeys=imported.storeys, spaces=imported.spaces, construction=CONSTRUCTION
    )
    found: dict[str, set[str]] = {}
    for patch in building.patches:
        found.setdefault(patch.panel, set()).add(patch.behind)
    return found


def test_a_cellar_room_alone_is_not_sealed(cellared: Any, tmp_path: Path) -> None:
    imported = import_ifc(cellared.written(tmp_path / "a.ifc"), Wanted(spaces=["K1"]))
    found = behind(imported)
    partition = next(key for key, origin in imported.origins.items() if origin.beyond == "space K2")
    assert found.pop(partition) == {"unmodelled"}
    assert found.pop("K1/ceiling") == {"unmodelled"}
    assert found.pop("K1/floor") == {"earth"}
    assert set().union(*found.values()) == {"earth"}  # the three walls in the ground
    told = {note.subject: note.message for note in imported.noted("gap")}
    assert told["K1/ceiling"].startswith("leads to G, which is not imported: open air counts")
    assert "K2" in told[partition]


def test_a_floor_over_a_cellar_that_is_left_out_is_no_slab_on_earth(
    cellared: Any, tmp_path: Path
) -> None:
    imported = import_ifc(cellared.written(tmp_path / "a.ifc"), Wanted(spaces=["G"]))
    assert behind(imported)["G/floor"] == {"unmodelled"}


def test_a_cellar_that_has_no_spaces_is_seen_by_its_slab(cellared: Any, tmp_path: Path) -> None:
    for space in cellared.file.by_type("IfcSpace"):
        if space.Name != "G":
            cellared.file.remove(space)
    imported = import_ifc(cellared.written(tmp_path / "a.ifc"))
    assert behind(imported)["G/floor"] == {"unmodelled"}
    assert "without a space" in str(imported.origins["G/floor"].beyond)


def test_a_room_without_a_usable_solid_is_left_out_too(cellared: Any, tmp_path: Path) -> None:
    (space,) = [item for item in cellared.file.by_type("IfcSpace") if item.Name == "K2"]
    make = cellared.file.create_entity
    box = [
        make("IfcCartesianPoint", tuple(map(float, corner)))
        for corner in ((4100, 0, -2500), (7100, 0, -2500), (7100, 3000, -200), (4100, 3000, -200))
    ]
    face = make("IfcFace", [make("IfcFaceOuterBound", make("IfcPolyLoop", box), True)])
    surface = make("IfcFaceBasedSurfaceModel", [make("IfcConnectedFaceSet", [face])])
    shape = make("IfcShapeRepresentation", cellared.context, "Body", "SurfaceModel", [surface])
    space.Representation = make("IfcProductDefinitionShape", None, None, [shape])
    space.ObjectPlacement = cellared.place((0.0, 0.0, 0.0))
    imported = import_ifc(cellared.written(tmp_path / "a.ifc"))
    assert {space.id for space in imported.spaces} == {"K1", "G"}
    found = behind(imported)
    leading = [key for key, origin in imported.origins.items() if origin.beyond == "space K2"]
    assert leading
    assert all("unmodelled" in found[key] for key in leading)


def pit(*, unmodelled: tuple[str, ...]) -> Building:
    """A room wholly in the ground."""
    return build_building(
        site=Site(),
        storeys=[Storey(id="cellar", floor_m=-2.5)],
        spaces=[
            SpaceSpec(
                id="pit",
                storey="cellar",
                corners=np.array([[0, 0], [4, 0], [4, 3], [0, 3]], dtype=float),
                height_m=2.3,
                floor_m=-2.5,
            )
        ],
        openings=[],
        panels=[PanelSpec(on=name, unmodelled=True) for name in unmodelled],
        construction=CONSTRUCTION,
    )


def test_rays_leave_through_what_is_not_modelled_alone() -> None:
    """Below ground all is blocked, but for the wall and the floor that lead to a left-out part.

    From the middle of a box of half-sides 2, 1.5 and 1.15 m the wall at x = 4 m takes the solid
    angle 4 asin(ab / sqrt((a² + d²)(b² + d²))), a closed form (a = 1.5, b = 1.15, d = 2).
    """
    expected_sr = 4.0 * np.arcsin(1.5 * 1.15 / np.sqrt((1.5**2 + 4.0) * (1.15**2 + 4.0)))
    for names in ((), ("pit/2",)):
        building = pit(unmodelled=names)
        crossings = cast_directions(building, space="pit", position_m=np.array([2.0, 1.5, -1.35]))
        open_sr = float(crossings.solid_angle_sr[crossings.sky > 0].sum())
        assert open_sr == pytest.approx(expected_sr if names else 0.0, rel=1e-3, abs=1e-9)


def test_a_field_comes_in_through_what_is_not_modelled_alone() -> None:
    """An even field of unit radiance brings π A through a face of area A."""
    assert not len(cast_even(pit(unmodelled=()), count=2**10).weights)
    chain = cast_even(pit(unmodelled=("pit/2", "pit/floor")), count=2**12)
    assert chain.weights.sum() == pytest.approx(np.pi * (3.0 * 2.3 + 4.0 * 3.0), rel=1e-9)


def test_a_mesh_s_room_taken_alone_leads_to_the_one_left_out(
    two_rooms: Building, tmp_path: Path
) -> None:
    path = tmp_path / "a.glb"
    path.write_bytes(to_glb(two_rooms))
    whole = read_model(path)
    assert not any(panel.unmodelled for space in whole.spaces for panel in space.panels)
    alone = read_model(path, spaces=["bedroom"])
    led = {panel.id for space in alone.spaces for panel in space.panels if panel.unmodelled}
    assert led == {"bedroom/2", "bedroom/D1", "bedroom/D1/undercut"}
