"""gbXML: rooms, adjacency and openings as the schema names them."""

from __future__ import annotations

import gzip
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from envelope.building.model import Building
from envelope.errors import ModelFileError
from envelope.exchange import Imported, list_model, read_model

Corners = Sequence[tuple[float, float, float]]


def loop(corners: Corners) -> str:
    points = "".join(
        "<CartesianPoint>"
        + "".join(f"<Coordinate>{v}</Coordinate>" for v in c)
        + "</CartesianPoint>"
        for c in corners
    )
    return f"<PlanarGeometry><PolyLoop>{points}</PolyLoop></PlanarGeometry>"


def surface(
    id: str, type_: str, corners: Corners, spaces: Sequence[str], inside: str = "", of: str = "c"
) -> str:
    beside = "".join(f'<AdjacentSpaceId spaceIdRef="{name}"/>' for name in spaces)
    return (
        f'<Surface id="{id}" surfaceType="{type_}" constructionIdRef="{of}">'
        f"<Name>{id}</Name>{beside}{loop(corners)}{inside}</Surface>"
    )


def opening(id: str, type_: str, corners: Corners) -> str:
    return f'<Opening id="{id}" openingType="{type_}">{loop(corners)}</Opening>'


def box_walls(x0: float, x1: float, z0: float, z1: float) -> dict[str, Corners]:
    """South, north, floor and ceiling of a room from y = 0 to 10 ft."""
    return {
        "s": [(x0, 0, z0), (x1, 0, z0), (x1, 0, z1), (x0, 0, z1)],
        "n": [(x1, 10, z0), (x0, 10, z0), (x0, 10, z1), (x1, 10, z1)],
        "f": [(x0, 0, z0), (x0, 10, z0), (x1, 10, z0), (x1, 0, z0)],
        "c": [(x0, 0, z1), (x1, 0, z1), (x1, 10, z1), (x0, 10, z1)],
    }


def text(surfaces: Sequence[str], *, unit: str = "Feet") -> str:
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<gbXML xmlns="http://www.gbxml.org/schema" lengthUnit="{unit}" version="6.01">
<Campus id="campus"><Location><CADModelAzimuth>30</CADModelAzimuth></Location>
<Building id="b"><BuildingStorey id="l0"><Name>Ground</Name><Level>0</Level></BuildingStorey>
<Space id="sp1" buildingStoreyIdRef="l0"><Name>Bed room</Name></Space>
<Space id="sp2" buildingStoreyIdRef="l0"><Name>Study</Name></Space></Building>
{"".join(surfaces)}</Campus>
<Construction id="c"><LayerId layerIdRef="ly"/><Name>Ext wall</Name></Construction>
<Layer id="ly"><MaterialId materialIdRef="m1"/><MaterialId materialIdRef="m2"/></Layer>
<Material id="m1"><Name>Brick</Name><Thickness unit="Millimeters">100</Thickness></Material>
<Material id="m2"><Name>Plasterboard</Name><Thickness unit="Millimeters">12</Thickness></Material>
</gbXML>"""


def two_rooms() -> list[str]:
    """Two rooms of 12 × 10 and 8 × 10 ft, 8 ft high, with windows, a door and a bare hole."""
    one, two = box_walls(0, 12, 0, 8), box_walls(12, 20, 0, 8)
    window = opening("w1", "OperableWindow", [(3, 0, 3), (6, 0, 3), (6, 0, 7), (3, 0, 7)])
    door = opening("d1", "NonSlidingDoor", [(12, 2, 0), (12, 5, 0), (12, 5, 7), (12, 2, 7)])
    hole = opening("h1", "Air", [(12, 6, 0), (12, 9, 0), (12, 9, 7), (12, 6, 7)])
    west = [(0, 10, 0), (0, 0, 0), (0, 0, 8), (0, 10, 8)]
    east = [(20, 0, 0), (20, 10, 0), (20, 10, 8), (20, 0, 8)]
    middle = [(12, 0, 0), (12, 10, 0), (12, 10, 8), (12, 0, 8)]
    made = [
        surface("s1", "ExteriorWall", one["s"], ["sp1"], window),
        surface("n1", "ExteriorWall", one["n"], ["sp1"]),
        surface("w", "UndergroundWall", west, ["sp1"]),
        surface("m", "InteriorWall", middle, ["sp1", "sp2"], door + hole),
        surface("e", "ExteriorWall", east, ["sp2"]),
        surface("s2", "ExteriorWall", two["s"], ["sp2"]),
        surface("n2", "ExteriorWall", two["n"][::-1], ["sp2"]),  # wound the wrong way
        surface("shade", "Shade", [(0, -5, 0), (9, -5, 0), (9, -5, 9), (0, -5, 9)], []),
    ]
    for space, walls in (("sp1", one), ("sp2", two)):
        made.append(surface(f"f{space}", "SlabOnGrade", walls["f"], [space]))
        made.append(surface(f"c{space}", "Roof", walls["c"], [space]))
    return made


@pytest.fixture
def path(tmp_path: Path) -> Path:
    found = tmp_path / "a.xml"
    found.write_text(text(two_rooms()))
    return found


def test_rooms_openings_and_what_lies_behind(
    path: Path, assembled: Callable[[Imported], Building]
) -> None:
    imported = read_model(path)
    building = assembled(imported)
    foot = 0.3048
    assert [space.id for space in imported.spaces] == ["Bed-room", "Study"]
    volumes = [space.volume_m3 for space in building.spaces]
    assert volumes == pytest.approx([960 * foot**3, 640 * foot**3])
    found = {
        (panel.space, panel.kind): panel.area_m2 / foot**2
        for panel in building.panels
        if panel.host is not None
    }
    assert found == pytest.approx(
        {
            ("Bed-room", "window"): 12.0,
            ("Bed-room", "door"): 21.0,
            ("Study", "door"): 21.0,
            ("Bed-room", "open"): 21.0,
            ("Study", "open"): 21.0,
        }
    )
    behind: dict[str, set[str]] = {}
    for patch in building.patches:
        name = imported.origins[patch.panel].names[0]
        behind.setdefault(name, set()).add(patch.behind)
    assert behind["w"] == {"earth"}  # though it stands above 0 m
    assert behind["m"] == behind["d1"] == behind["h1"] == {"space"}
    assert behind["e"] == behind["csp2"] == {"outdoors"}
    assert behind["fsp1"] == {"earth"}
    (hole,) = {p.element for p in building.patches if imported.origins[p.panel].names == ("h1",)}
    assert building.elements[hole].kind == "none"
    assert imported.north_rad == pytest.approx(0.5236, abs=1e-4)
    assert "1 × Shade" in imported.noted("left-out")[0].message


def test_layers_are_turned_from_inside_out(path: Path) -> None:
    imported = read_model(path)
    (made,) = [a for a in imported.assemblies.values() if a.id.startswith("ext-wall")]
    assert [(layer.material, layer.thickness_m) for layer in made.layers] == [
        ("plasterboard", 0.012),
        ("brick", 0.1),
    ]


def test_a_room_that_is_left_out_is_not_outdoors(path: Path) -> None:
    imported = read_model(path, spaces=["study"])
    (space,) = imported.spaces
    led = {imported.origins[panel.id].names[0] for panel in space.panels if panel.unmodelled}
    assert led == {"m", "d1", "h1"}


def test_a_room_that_does_not_close_is_refused_alone(tmp_path: Path) -> None:
    path = tmp_path / "a.gbxml"
    path.write_text(text([item for item in two_rooms() if 'id="e"' not in item]))
    imported = read_model(path)
    assert [space.id for space in imported.spaces] == ["Bed-room"]
    (note,) = imported.noted("refused")
    assert note.subject == "Study"
    listing = {space.id: space.trouble for space in list_model(path).spaces}
    assert listing["Bed-room"] == ""
    assert listing["Study"]


@pytest.mark.parametrize(
    ("content", "match"),
    [
        (text([], unit="Cubits"), "lengthUnit 'Cubits'"),
        ("<gbXML lengthUnit='Meters'/>", "has no Space"),
        ("<html/>", "root is html, not gbXML"),
        ("<ifcXML/>", "is ifcXML, which is not read: export it as IFC"),
        ("<gbXML", "is no sound XML"),
        ("<!DOCTYPE x [<!ENTITY a 'b'>]><gbXML>&a;</gbXML>", "declares entities"),
        (text(two_rooms()).replace("<Coordinate>20</Coordinate>", "<Coordinate>x</Coordinate>"),
         None),
    ],
)  # fmt: skip
def test_bad_files(tmp_path: Path, content: str, match: str | None) -> None:
    path = tmp_path / "a.xml"
    path.write_text(content)
    if match is None:
        notes = read_model(path).noted("refused")
        assert any("has no readable PlanarGeometry" in note.message for note in notes)
        return
    with pytest.raises(ModelFileError, match=match):
        read_model(path)


SAMPLE = Path(__file__).parents[4].parent / "shared" / "models" / "OneRoom.xml.gz"


@pytest.mark.skipif(not SAMPLE.is_file(), reason="shared models are not here")
def test_a_file_of_others(tmp_path: Path, assembled: Callable[[Imported], Building]) -> None:
    """OneRoom.xml of ladybug-tools/3d-models (MIT): its Building states 594.7886 m² of floor."""
    path = tmp_path / "a.xml"
    path.write_bytes(gzip.decompress(SAMPLE.read_bytes()))
    (space,) = assembled(read_model(path)).spaces
    floors = [panel.area_m2 for panel in space.panels if panel.kind == "floor"]
    assert sum(floors) == pytest.approx(594.7886, abs=1e-3)
