"""Meshes as they come: holes, duplicates, wrong winding, T-junctions, furniture, shared walls."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from envelope.building.model import Building
from envelope.errors import ModelFileError
from envelope.exchange import Imported, list_model, read_model
from envelope.exchange.mesh import spaces
from envelope.exchange.mesh.coplanar import Polygon

# A room of 4 × 3 × 2.5 m; faces seen from outside counter-clockwise, as solids are drawn.
CORNERS = [
    (0, 0, 0), (4, 0, 0), (4, 3, 0), (0, 3, 0),
    (0, 0, 2.5), (4, 0, 2.5), (4, 3, 2.5), (0, 3, 2.5),
]  # fmt: skip
FACES = {
    "bottom": (0, 3, 2, 1),
    "top": (4, 5, 6, 7),
    "south": (0, 1, 5, 4),
    "east": (1, 2, 6, 5),
    "north": (2, 3, 7, 6),
    "west": (3, 0, 4, 7),
}

Corner = tuple[float, ...]


def written(path: Path, parts: dict[str, list[tuple[Corner, ...]]]) -> Path:
    """An OBJ file of named objects, each a list of faces given by their corners."""
    lines: list[str] = []
    count = 0
    for name, faces in parts.items():
        lines.append(f"o {name}")
        for face in faces:
            lines.extend("v " + " ".join(repr(float(x)) for x in corner) for corner in face)
            lines.append("f " + " ".join(str(count + k + 1) for k in range(len(face))))
            count += len(face)
    path.write_text("\n".join(lines) + "\n")
    return path


def box(low: Corner, size: Corner, *, without: tuple[str, ...] = ()) -> list[tuple[Corner, ...]]:
    """Faces of a box."""
    scale = np.array(size) / np.array([4.0, 3.0, 2.5])
    points = np.array(low) + np.array(CORNERS) * scale
    return [
        tuple(tuple(points[corner]) for corner in face)
        for name, face in FACES.items()
        if name not in without
    ]


def imported(path: Path, **more: object) -> Imported:
    return read_model(path, unit="m", up="z", **more)  # type: ignore[arg-type]


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "model.obj"


def test_a_polygon_of_mended_corners_in_a_line_is_no_panel(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    merged = spaces.merged

    def with_sliver(*arguments: Any) -> list[Polygon]:
        found = merged(*arguments)
        line = np.array([[4, 0, 2], [4, 0.1, 2], [4 - 5e-7, 2, 2], [4, -1.9, 2], [4, -1.7, 2]])
        return [*found, dataclasses.replace(found[0], outline=line, holes=())]

    monkeypatch.setattr(spaces, "merged", with_sliver)
    found = imported(written(file, {"study": box((0, 0, 0), (4, 3, 2.5))}))
    assert len(found.spaces[0].panels) == 6


def test_a_plain_room(file: Path, assembled: Callable[[Imported], Building]) -> None:
    found = imported(written(file, {"study": box((0, 0, 0), (4, 3, 2.5))}))
    (space,) = found.spaces
    assert space.id == "study"
    assert space.volume_m3 == pytest.approx(30.0, abs=1e-9)
    assert [panel.id for panel in space.panels] == [
        "study/floor", "study/ceiling", "study/wall-1", "study/wall-2", "study/wall-3",
        "study/wall-4",
    ]  # fmt: skip
    aliases = {alias: panel for panel in space.panels for alias in panel.aliases}
    assert set(aliases) == {"study/south", "study/east", "study/north", "study/west"}
    # Seen from inside: the south wall's normal points north, into the room.
    assert aliases["study/south"].normal.tolist() == pytest.approx([0.0, 1.0, 0.0])
    assert aliases["study/east"].area_m2 == pytest.approx(7.5)
    assert found.notes == ()
    assert len(assembled(found).patches) == 6


def test_a_missing_face_is_kept_open(file: Path, assembled: Callable[[Imported], Building]) -> None:
    found = imported(written(file, {"room": box((0, 0, 0), (4, 3, 2.5), without=("east",))}))
    (gap,) = [panel for panel in found.spaces[0].panels if panel.kind == "open"]
    assert gap.id == "room/open-east"
    assert gap.area_m2 == pytest.approx(7.5)
    (note,) = found.noted("gap")
    assert note.subject == "room/open-east"
    building = assembled(found)
    (patch,) = building.patches_of["room/open-east"]
    assert building.elements[patch.element].kind == "none"


def test_a_hole_that_is_not_flat_is_refused_and_located(file: Path) -> None:
    faces = box((0, 0, 0), (4, 3, 2.5), without=("east", "top"))
    with pytest.raises(ModelFileError, match=r"no closed space .* not flat"):
        imported(written(file, {"room": faces}))


def test_flipped_and_double_faces_are_mended(file: Path) -> None:
    faces = box((0, 0, 0), (4, 3, 2.5))
    faces[1] = faces[1][::-1]
    faces += [faces[3], faces[4][::-1]]
    found = imported(written(file, {"room": faces}))
    assert found.spaces[0].volume_m3 == pytest.approx(30.0, abs=1e-9)
    assert len(found.spaces[0].panels) == 6
    said = [note.message for note in found.noted("repaired")]
    assert said == [
        "2 faces on top of another of the same object dropped",
        "1 face wound the other way turned",
    ]


def test_t_junctions_are_mended_without_moving_anything(file: Path) -> None:
    faces = box((0, 0, 0), (4, 3, 2.5), without=("top",))
    # The ceiling in two halves: its middle corners stand on the edges of two walls.
    faces += [
        ((0, 0, 2.5), (1.7, 0, 2.5), (1.7, 3, 2.5), (0, 3, 2.5)),
        ((1.7, 0, 2.5), (4, 0, 2.5), (4, 3, 2.5), (1.7, 3, 2.5)),
    ]
    found = imported(written(file, {"room": faces}))
    (space,) = found.spaces
    assert space.volume_m3 == pytest.approx(30.0, abs=1e-9)
    assert not found.noted("gap")
    assert len(space.panels) == 6  # the halves are one panel again
    (note,) = found.noted("repaired")
    assert note.message.startswith("2 T-junctions mended")
    assert note.position_m is not None


def test_walls_of_different_objects_meet(file: Path) -> None:
    room = box((0, 0, 0), (4, 3, 2.5))
    names = ("slab", "deck", "Window wall", "wall b", "wall c", "wall d")
    found = imported(written(file, {name: [face] for name, face in zip(names, room, strict=True)}))
    (space,) = found.spaces
    assert space.volume_m3 == pytest.approx(30.0, abs=1e-9)
    kinds = {panel.id.partition("/")[2]: panel.kind for panel in space.panels}
    assert kinds["window-wall"] == "window"
    assert kinds["wall-b"] == "wall"
    assert kinds["deck"] == "ceiling"
    assert "name 'Window wall'" in found.origins[f"{space.id}/window-wall"].reason


def test_two_rooms_share_one_wall(file: Path, assembled: Callable[[Imported], Building]) -> None:
    faces = box((0, 0, 0), (4, 3, 2.5)) + box((4, 0, 0), (2, 3, 2.5), without=("west",))
    found = imported(written(file, {"flat": faces}))
    assert sorted(space.volume_m3 for space in found.spaces) == pytest.approx([15.0, 30.0])
    building = assembled(found)
    facing = [patch for patch in building.patches if patch.behind == "space"]
    assert len(facing) == 2
    assert facing[0].area_m2 == pytest.approx(7.5)


def test_rooms_that_differ_in_height_share_part_of_a_wall(file: Path) -> None:
    faces = box((0, 0, 0), (4, 3, 2.5)) + box((4, 0, 0), (2, 3, 3.5))
    found = imported(written(file, {"flat": faces}))
    assert sorted(space.volume_m3 for space in found.spaces) == pytest.approx([21.0, 30.0])


def test_furniture_and_walls_are_left_out_with_the_reason(file: Path) -> None:
    parts = {
        "room": box((0, 0, 0), (4, 3, 2.5)),
        "wardrobe": box((0.5, 0.5, 0.0), (1.2, 0.6, 2.0)),
        "garden wall": box((8, 0, 0), (4, 0.2, 2.0)),
        "meter box": box((9, 2, 0), (0.5, 0.6, 0.7)),
        "lawn": [((-5, -5, 0), (9, -5, 0), (9, 9, 0), (-5, 9, 0))],
    }
    found = imported(written(file, parts))
    assert [space.id for space in found.spaces] == ["room"]
    assert len(found.spaces[0].panels) == 6
    reasons = {note.subject: note.message for note in found.noted("left-out")}
    assert reasons["wardrobe"].startswith("stands inside room")
    assert "too thin" in reasons["garden wall"]
    assert "too small" in reasons["meter box"]
    assert "flat sheet" in reasons["lawn"]


def test_what_stands_in_a_hole_is_named(file: Path) -> None:
    parts = {
        "room": box((0, 0, 0), (4, 3, 2.5), without=("east",)),
        "sliding door": box((4.0, 0.1, 0.0), (0.05, 2.8, 2.4)),
    }
    (note,) = imported(written(file, parts)).noted("gap")
    assert "beside it stands sliding door" in note.message


def test_a_hollow_solid_gives_the_room_inside_it(file: Path) -> None:
    inner = [face[::-1] for face in box((0, 0, 0), (4, 3, 2.5))]
    parts = {"house": box((-0.3, -0.3, -0.3), (4.6, 3.6, 3.1)), "inside": inner}
    found = imported(written(file, parts))
    assert [space.id for space in found.spaces] == ["inside"]
    assert "solid body around" in found.noted("left-out")[0].message


def test_a_left_out_volume_comes_when_asked_for(file: Path) -> None:
    parts = {
        "room": box((0, 0, 0), (4, 3, 2.5)),
        "Duct": box((8, 0, 0), (0.2, 0.2, 2.5)),
    }
    written(file, parts)
    assert [space.id for space in imported(file, spaces=["duct"]).spaces] == ["Duct"]
    with pytest.raises(ModelFileError, match=r"no space 'romm'; the nearest names are room"):
        imported(file, spaces=["romm"])
    listing = list_model(file, unit="m", up="z")
    assert [(item.id, item.trouble == "") for item in listing.spaces] == [
        ("room", True),
        ("Duct", False),
    ]
    assert listing.spaces[0].area_m2 == pytest.approx(12.0)


def test_storeys_come_from_the_heights_of_floors(file: Path) -> None:
    parts = {
        "hall": box((0, 0, 0), (4, 3, 2.5)),
        "step": box((5, 0, 0.4), (4, 3, 2.5)),
        "loft": box((0, 0, 2.8), (4, 3, 2.5)),
    }
    found = imported(written(file, parts))
    assert {space.id: space.storey for space in found.spaces} == {
        "hall": "storey-1", "step": "storey-1", "loft": "storey-2"
    }  # fmt: skip
    assert [storey.floor_m for storey in found.storeys] == pytest.approx([0.0, 2.8])
    assert [space.id for space in imported(file, storey="storey-2").spaces] == ["loft"]
    with pytest.raises(ModelFileError, match="no storey 'attic' with spaces; there are storey-1"):
        imported(file, storey="attic")


def test_far_from_the_origin_nothing_is_lost(file: Path) -> None:
    found = imported(written(file, {"room": box((4.5e5, 5.2e6, 112.0), (4, 3, 2.5))}))
    assert found.spaces[0].volume_m3 == pytest.approx(30.0, abs=1e-6)


def test_vertices_closer_than_a_tenth_of_a_millimetre_are_one(file: Path) -> None:
    faces = [
        tuple(tuple(x + 4e-5 * (index % 2) for x in corner) for corner in face)
        for index, face in enumerate(box((0, 0, 0), (4, 3, 2.5)))
    ]
    found = imported(written(file, {"room": faces}))
    assert found.spaces[0].volume_m3 == pytest.approx(30.0, abs=5e-3)
    assert len(found.spaces[0].panels) == 6


def test_a_detailed_model_of_furniture(tmp_path: Path) -> None:
    import trimesh

    parts = [trimesh.creation.box((8.0, 6.0, 2.5))]
    for index in range(6):
        ball = trimesh.creation.icosphere(subdivisions=5, radius=0.4)
        ball.apply_translation((-3.0 + index, 0.5 * index - 1.0, 0.0))
        parts.append(ball)
    path = tmp_path / "many.stl"
    trimesh.util.concatenate(parts).export(path)
    found = imported(path)
    assert [len(space.panels) for space in found.spaces] == [6]
    assert found.spaces[0].volume_m3 == pytest.approx(120.0, rel=1e-6)
    assert len(found.noted("left-out")) == 6
