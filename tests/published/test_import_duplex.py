"""The Duplex Apartment, an IFC2x3 model that others made: every space, window and door of it.

Source: buildingSMART community sample test files, CC BY 4.0, Duplex Apartment; its own lists of
spaces, windows, doors and space boundaries, read from the file on 2026-11-25. Facts checked
against: 21 spaces, 24 windows, 14 doors; A203 lies over a foyer and other rooms, and its 0.55 m
party wall leads to B202 though the file flags it external. The file stays outside the project;
these tests skip where it is absent.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from envelope.building.assemble import assemble_building
from envelope.building.model import Building, Site
from envelope.exchange import Imported
from envelope.exchange.ifc.bodies import IfcModel
from envelope.exchange.ifc.file import open_ifc
from envelope.exchange.ifc.import_ifc import import_ifc
from envelope.rays import cast_directions

MODEL = Path(__file__).parents[2].parent / "shared" / "models" / "duplex.ifc"

pytest.importorskip("ifcopenshell")
pytestmark = pytest.mark.skipif(not MODEL.is_file(), reason="shared models are not here")

# The one bounding wall, window or door of the file's lists that is not found, and why.
EXPLAINED = {
    # Stands in the partition between A204 and A205; only its jamb touches A201's wall.
    ("A201", "M_Single-Flush:0762 x 2032mm:0762 x 2032mm:204034"),
}


class Duplex(NamedTuple):
    """The file, and what was made of it."""

    model: IfcModel
    imported: Imported
    building: Building


@pytest.fixture(scope="module")
def duplex() -> Duplex:
    imported = import_ifc(MODEL)
    building = assemble_building(
        site=Site(),
        storeys=imported.storeys,
        spaces=imported.spaces,
        construction=imported.construction,
    )
    return Duplex(open_ifc(MODEL), imported, building)


def test_every_space_is_imported(duplex: Duplex) -> None:
    assert len(duplex.building.spaces) == 21
    assert duplex.imported.noted("refused") == ()
    floors = {storey.id: storey.floor_m for storey in duplex.building.storeys}
    assert floors == pytest.approx({"Level-1": 0.0, "Level-2": 3.1, "Roof": 6.0})


def test_areas_and_volumes_are_those_of_the_file_s_solids(duplex: Duplex) -> None:
    solids = {body.id: body.triangles for body in duplex.model.spaces}
    for space in duplex.building.spaces:
        triangles = solids[space.id]
        assert triangles is not None
        local = triangles - triangles[0, 0]
        crossed = np.cross(local[:, 1] - local[:, 0], local[:, 2] - local[:, 0])
        area = 0.5 * float(np.linalg.norm(crossed, axis=1).sum())
        volume = abs(float(np.einsum("ij,ij->i", local[:, 0], crossed).sum())) / 6.0
        assert sum(panel.area_m2 for panel in space.panels) == pytest.approx(area, rel=1e-3)
        assert space.volume_m3 == pytest.approx(volume, rel=1e-3)


def test_the_elements_that_the_file_lists_are_found(duplex: Duplex) -> None:
    names = {body.id: body.name for body in duplex.model.shell}
    names |= {
        void.filling.id: void.filling.name
        for void in duplex.model.voids
        if void.filling is not None
    }
    listed: Counter[str] = Counter()
    found: Counter[str] = Counter()
    missed: set[tuple[str, str]] = set()
    for body in duplex.model.spaces:
        space = duplex.building.space(body.id)
        known = {
            element
            for panel in space.panels
            for element in duplex.imported.origins[panel.id].elements
        }
        for element, type_, _ in set(body.listed):
            sort = next((s for s in ("IfcWall", "IfcWindow", "IfcDoor") if type_.startswith(s)), "")
            if not sort:
                continue
            listed[sort] += 1
            if element in known:
                found[sort] += 1
            else:
                missed.add((body.id, names[element]))
    assert listed == {"IfcWall": 88, "IfcWindow": 16, "IfcDoor": 25}
    for sort, count in listed.items():
        assert found[sort] >= 0.95 * count, sort
    assert missed == EXPLAINED


def test_windows_and_doors_are_all_accounted_for(duplex: Duplex) -> None:
    sorts: dict[str, str] = {}
    for panel in duplex.building.panels:
        origin = duplex.imported.origins[panel.id]
        if origin.type in ("IfcWindow", "IfcDoor"):
            sorts[origin.elements[0]] = origin.type
            assert panel.kind in ("window", "skylight", "door")
    assert Counter(sorts.values()) == {"IfcWindow": 24, "IfcDoor": 14}
    doors = [
        patch
        for patch in duplex.building.patches
        if duplex.building.panel(patch.panel).kind == "door" and patch.behind == "space"
    ]
    for patch in doors:
        assert duplex.building.panel(patch.far or "").kind == "door"


def test_the_party_wall_leads_to_the_neighbour(duplex: Duplex) -> None:
    building = duplex.building
    patches = [
        patch
        for panel in building.space("A203").panels
        for patch in building.patches_of[panel.id]
        if patch.far is not None and patch.far.startswith("B202/")
    ]
    (party,) = patches
    assert party.distance_m == pytest.approx(0.55, abs=1e-3)
    layers = duplex.imported.assemblies[building.elements[party.element].assembly or ""].layers
    assert sum(layer.thickness_m for layer in layers) == pytest.approx(0.55, abs=1e-3)
    assert [layer.material for layer in layers if not layer.cavity] == [
        "plasterboard", "concrete", "concrete", "plasterboard"
    ]  # fmt: skip
    flagged = [note for note in duplex.imported.noted("remark") if note.subject == party.panel]
    assert "calls it external" in flagged[0].message


def test_the_floor_is_split_by_the_rooms_below(duplex: Duplex) -> None:
    building = duplex.building
    (floor,) = [panel for panel in building.space("A203").panels if panel.kind == "floor"]
    below: Counter[str] = Counter()
    for patch in building.patches_of[floor.id]:
        if patch.far is not None:
            below[building.panel(patch.far).space] += patch.area_m2
    assert set(below) == {"A101", "A102", "A103", "A105"}
    assert below["A101"] / floor.area_m2 == pytest.approx(0.6, abs=0.1)
    element = building.elements[building.patches_of[floor.id][0].element]
    layers = duplex.imported.assemblies[element.assembly or ""].layers
    thicknesses = [layer.thickness_m for layer in layers]
    # Slab finish, 0.305 m joists with subfloor, 0.057 m ceiling, and the void between them.
    assert 0.286 in thicknesses
    assert thicknesses[-2:] == [0.045, 0.012]
    assert sum(thicknesses) == pytest.approx(0.519, abs=2e-3)


def test_rooms_without_a_wall_between_them_are_open_to_each_other(duplex: Duplex) -> None:
    building = duplex.building
    for near, far in (("A102", "A101"), ("A201", "A105")):
        ways = {
            building.panel(patch.far).kind
            for panel in building.space(near).panels
            if panel.kind == "open"
            for patch in building.patches_of[panel.id]
            if patch.far is not None and patch.far.startswith(f"{far}/")
        }
        assert ways == {"open"}


def test_a_cast_in_the_bedroom_closes(duplex: Duplex) -> None:
    crossings = cast_directions(
        duplex.building, space="A203", position_m=np.array([6.0, -15.0, 3.8])
    )
    assert abs(crossings.closure_error_sr) < 1e-3
    assert (crossings.sky > 0).any()


def test_what_is_not_known_is_said(duplex: Duplex) -> None:
    unmapped = {note.subject for note in duplex.imported.noted("unmapped")}
    assert unmapped == {
        "Ceramic Tile", "Roofing - Barrier", "Roofing - EPDM Membrane", "Site - Grass"
    }  # fmt: skip
    guessed = {note.subject for note in duplex.imported.noted("guessed")}
    # The joists of its floors are layers of timber that are thicker than 80 mm.
    timber = {"Wood - Dimensional Lumber", "Wood - Flooring"}
    assert guessed == {"double-unknown", "door-assumed", "glass-door-assumed"} | timber
