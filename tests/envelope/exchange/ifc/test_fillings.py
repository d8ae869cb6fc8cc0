"""What fills a window or a door, from lists of materials in any order."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from envelope.exchange.ifc.assemblies import GLAZING, Stacks
from envelope.exchange.ifc.behind import Shell
from envelope.exchange.ifc.bodies import Body
from envelope.exchange.ifc.materials import MaterialMap


def body(type_: str, *materials: str, name: str = "leaf") -> Body:
    return Body(
        id="x",
        type=type_,
        name=name,
        triangles=np.array([[(0.0, 0.0, 0.0), (0.9, 0.0, 0.0), (0.9, 0.06, 2.0)]]),
        materials=materials,
    )


@pytest.fixture
def stacks() -> Stacks:
    shell: Shell = SimpleNamespace(bodies={})  # type: ignore[assignment]
    return Stacks(shell=shell, materials=MaterialMap())


def layers(stacks: Stacks, id: str) -> list[str | None]:
    return [layer.material for layer in stacks.assemblies[id].layers]


def test_a_glass_door_is_no_plate_of_aluminium(stacks: Stacks) -> None:
    for order in (("Aluminium", "Cherry", "Glass"), ("Glass", "Aluminium", "Cherry")):
        id = stacks.filling(body("IfcDoor", *order))
        assert layers(stacks, id) == ["glass"]
    assert any("guessed" in note.kind for note in stacks.notes())


def test_a_wooden_door_with_a_steel_handle_is_of_wood(stacks: Stacks) -> None:
    id = stacks.filling(body("IfcDoor", "Stainless Steel", "Oak"))
    assert layers(stacks, id) == ["wood"]


def test_a_door_of_nothing_but_metal_is_told(stacks: Stacks) -> None:
    id = stacks.filling(body("IfcDoor", "Steel", "Zinc"))
    assert layers(stacks, id) == ["metal"]
    assert any("nothing passes" in note.message for note in stacks.notes())


@pytest.mark.parametrize("names", [(), ("Aluminium",), ("Wood - Frame", "Glass"), ("Glass",)])
def test_panes_that_the_file_does_not_tell_are_unknown(
    stacks: Stacks, names: tuple[str, ...]
) -> None:
    assert stacks.filling(body("IfcWindow", *names)) == GLAZING
    (note,) = [note for note in stacks.notes() if note.subject == GLAZING]
    assert "1 window whose panes" in note.message


def test_parts_without_a_thickness_are_none_of_them_the_whole(stacks: Stacks) -> None:
    wall = body("IfcWall", "Brick", "Insulation", "Plasterboard", name="Wall:x")
    found = stacks._layers(wall, 0.3, np.array([0.0, 1.0, 0.0]))
    assert [layer.material for layer in found] == ["brick", "air", "plasterboard"]
    assert [layer.thickness_m for layer in found] == [0.1, 0.1, 0.1]
    assert any("no thickness in the file" in note.message for note in stacks.notes())
