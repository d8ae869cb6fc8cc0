"""A small IFC4 house of our own, in millimetres: what stands behind each panel, and bad files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from envelope.building.model import Building
from envelope.errors import MissingExtraError, ModelFileError
from envelope.exchange import Imported, list_model, read_model
from envelope.exchange.ifc.behind import Shell
from envelope.exchange.ifc.facets import cut_voids, facets_of
from envelope.exchange.ifc.file import open_ifc

pytest.importorskip("ifcopenshell")

MakeHouse = Callable[..., Any]


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory, house: MakeHouse) -> Path:
    return house().written(tmp_path_factory.mktemp("ifc") / "house.ifc")


@pytest.fixture(scope="module")
def imported(path: Path) -> Imported:
    return read_model(path)


def test_rooms_storeys_and_axes_are_in_metres(imported: Imported) -> None:
    assert [(space.id, space.storey) for space in imported.spaces] == [
        ("A", "First-floor"), ("B", "First-floor")
    ]  # fmt: skip
    assert [storey.floor_m for storey in imported.storeys] == pytest.approx([3.0])
    assert [space.volume_m3 for space in imported.spaces] == pytest.approx([30.0, 22.5])
    assert [space.floor_m for space in imported.spaces] == pytest.approx([3.0, 3.0])
    # North points 30° to the right of +y, so +y lies 30° left of north.
    assert np.degrees(imported.north_rad) == pytest.approx(330.0)


def test_every_panel_knows_what_stands_behind_it(
    imported: Imported, assembled: Callable[[Imported], Building]
) -> None:
    building = assembled(imported)
    areas = {panel.id: panel.area_m2 for panel in building.panels}
    assert areas == pytest.approx(
        {
            "A/wall-1": 4 * 2.5 - 1.5 * 1.2, "A/window": 1.8,
            "A/wall-2": 3 * 2.5 - 0.8 * 2.0, "A/door": 1.6,
            "A/wall-3": 10.0, "A/wall-4": 7.5, "A/floor": 12.0, "A/ceiling": 12.0,
            "B/wall-1": 7.5, "B/wall-2": 7.5 - 0.15**2, "B/open": 0.15**2,
            "B/wall-3": 7.5, "B/wall-4": 7.5 - 1.6, "B/door": 1.6, "B/floor": 9.0,
            "B/ceiling": 9.0,
        },
        abs=1e-9,
    )  # fmt: skip
    outer = [("plasterboard", 0.012), ("air", 0.188), ("brick", 0.1)]
    for panel in ("A/wall-1", "A/wall-3", "A/wall-4", "B/wall-1", "B/wall-2", "B/wall-3"):
        (patch,) = building.patches_of[panel]
        assert patch.behind == "outdoors"
        layers = imported.assemblies[building.elements[patch.element].assembly or ""].layers
        assert [(layer.material, layer.thickness_m) for layer in layers] == outer, panel
    (door,) = building.patches_of["A/door"]
    assert door.far == "B/door"
    assert door.distance_m == pytest.approx(0.1)
    assert building.panel("A/door").host == "A/wall-2"
    (hole,) = building.patches_of["B/open"]
    assert building.elements[hole.element].kind == "none"
    assert imported.origins["A/window"].names == ("Win 1",)
    assert imported.origins["B/open"].reason == "an opening that nothing fills"


def test_a_partition_is_one_element_named_once(
    imported: Imported, assembled: Callable[[Imported], Building]
) -> None:
    building = assembled(imported)
    near = building.patches_of["A/wall-2"]
    far = building.patches_of["B/wall-4"]
    (mine,) = [patch for patch in near if patch.behind == "space"]
    (theirs,) = [patch for patch in far if patch.behind == "space"]
    assert mine.element == theirs.element
    element = building.elements[mine.element]
    assert element.first == "A/wall-2"
    layers = imported.assemblies[element.assembly or ""].layers
    assert [(layer.material, layer.thickness_m, layer.cavity) for layer in layers] == [
        ("plasterboard", 0.012, False), ("air", 0.076, True), ("air", 0.012, False)
    ]  # fmt: skip
    assert building.panel("B/wall-4").assembly is None
    assert imported.origins["B/wall-4"].beyond == "space A"


def test_leaves_that_stand_back_are_flush_and_told(imported: Imported) -> None:
    (note,) = [note for note in imported.noted("remark") if "reveals" in note.message]
    assert note.message.startswith("1 panel of windows and doors stand 0.15 m back from the face")
    assert note.position_m == pytest.approx((1.75, 0.0, 4.5))
    (window,) = [
        panel for space in imported.spaces for panel in space.panels if panel.kind == "window"
    ]
    assert np.abs(window.outline[:, 1]).max() < 1e-9


def test_materials_that_nothing_fits_are_listed_and_can_be_corrected(
    imported: Imported, path: Path
) -> None:
    assert [note.subject for note in imported.noted("unmapped")] == ["Unobtainium"]
    read_as = {use.name: use.known for use in imported.materials}
    assert read_as == {
        "Brick, red": "brick", "Concrete C25": "concrete", "Gipsputz": "plasterboard",
        "Gypsum board": "plasterboard", "Mineral wool": "air", "Timber studs": "air",
        "Unobtainium": None,
    }  # fmt: skip
    corrected = read_model(path, materials={"Unobtainium": "plywood"})
    assert not corrected.noted("unmapped")
    made = {layer.material for item in corrected.assemblies.values() for layer in item.layers}
    assert "plywood" in made


def test_one_space_says_what_it_leads_to(path: Path) -> None:
    for name in ("A", "bedroom"):
        found = read_model(path, spaces=[name])
        assert [space.id for space in found.spaces] == ["A"]
        (wall,) = [note for note in found.noted("gap") if note.subject == "A/wall-2"]
        assert "leads to B, which is not imported: open air counts" in wall.message
        panel = next(panel for panel in found.spaces[0].panels if panel.id == "A/wall-2")
        assert panel.assembly is not None
    with pytest.raises(ModelFileError, match=r"no space 'Bedrom'; the nearest names are A"):
        read_model(path, spaces=["Bedrom"])
    with pytest.raises(ModelFileError, match=r"no storey 'attic' with spaces; there are First"):
        read_model(path, storey="attic")
    assert len(read_model(path, storey="First floor").spaces) == 2


def test_listing_shows_storeys_and_spaces(path: Path) -> None:
    listing = list_model(path)
    assert [(item.id, item.name, item.storey) for item in listing.spaces] == [
        ("A", "Bedroom", "First-floor"), ("B", "Study", "First-floor")
    ]  # fmt: skip
    assert [item.area_m2 for item in listing.spaces] == pytest.approx([12.0, 9.0])


def test_an_opening_that_the_library_left_uncut_is_found_and_cut(path: Path) -> None:
    model = open_ifc(path)
    whole = {
        "S": np.array([[-0.3, -0.3, 3.0], [7.4, 0.0, 5.5]]),
    }
    bodies = []
    for body in model.shell:
        if body.name in whole:
            low, high = whole[body.name]
            corners = np.array(
                [[(low, high)[bit >> axis & 1][axis] for axis in range(3)] for bit in range(8)]
            )
            quads = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2),
                     (1, 3, 7, 5)]  # fmt: skip
            faces = [(a, b, c) for a, b, c, _ in quads] + [(a, c, d) for a, _, c, d in quads]
            body = replace(body, triangles=corners[np.array(faces)])
        bodies.append(body)
    for shell, expected in ((Shell(model.shell), 0), (Shell(bodies), 1)):
        solid = facets_of(model.spaces[0], 0, model.source)
        assert not isinstance(solid, str)
        notes = cut_voids(solid.facets, model.voids, shell)
        assert len(notes) == expected
        cuts = [cut.area.area for facet in solid.facets for cut in facet.cuts]
        assert sorted(cuts) == pytest.approx([1.6, 1.8])
    assert notes[0].subject == "S"
    assert "left uncut" in notes[0].message


def test_files_that_cannot_be_read(tmp_path: Path, path: Path) -> None:
    text = path.read_text()
    bad = tmp_path / "a.ifc"
    bad.write_text(text[: len(text) // 2])
    with pytest.raises(ModelFileError, match="is cut short"):
        read_model(bad)
    bad.write_text(text.replace("'IFC4'", "'IFC2X_FINAL'"))
    with pytest.raises(ModelFileError, match=r"is written in IFC2X_FINAL; IFC2X3 and IFC4 can"):
        read_model(bad)
    bad.write_text("ISO-10303-21;\nEND-ISO-10303-21;\n")
    with pytest.raises(ModelFileError, match="names no schema"):
        read_model(bad)
    with pytest.raises(ModelFileError, match="states its own units"):
        read_model(path, unit="m")


def test_a_space_without_a_closed_solid_is_refused_alone(tmp_path: Path, house: MakeHouse) -> None:
    made = house()
    made.file.by_type("IfcSpace")[1].Representation = None
    path = made.written(tmp_path / "a.ifc")
    found = read_model(path)
    assert [space.id for space in found.spaces] == ["A"]
    assert [(note.subject, note.message) for note in found.noted("refused")] == [
        ("B", "it has no geometry")
    ]
    with pytest.raises(ModelFileError, match="space B cannot be imported: it has no geometry"):
        read_model(path, spaces=["B"])


def test_without_the_library_the_extra_is_named(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(__import__("sys").modules, "ifcopenshell", None)
    with pytest.raises(MissingExtraError, match=r"gapcast\[ifc\]"):
        read_model(path)
