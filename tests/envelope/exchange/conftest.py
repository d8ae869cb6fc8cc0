"""A small building of our own, for writing out and reading back."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from envelope.building.assemble import assemble_building
from envelope.building.model import Building, Site, Storey
from envelope.building.rooms.build import build_building
from envelope.building.rooms.specs import OpeningSpec, SpaceSpec
from envelope.exchange import Imported
from envelope.exchange.ifc.file import read_here

CONSTRUCTION = dict.fromkeys(
    ("exterior-wall", "interior-wall", "roof", "slab", "floor", "window", "door", "skylight"), "any"
)


@pytest.fixture(autouse=True)
def no_kept_readings(monkeypatch: pytest.MonkeyPatch) -> None:
    """Read every IFC file anew and in this process, and leave nothing in the user's folder."""
    monkeypatch.setattr("envelope.exchange.ifc.model_cache.cache_folder", lambda: None)
    monkeypatch.setattr("envelope.exchange.mesh_cache.cache_folder", lambda: None)
    monkeypatch.setattr("envelope.exchange.ifc.file.read_apart", read_here)


@pytest.fixture(scope="session")
def assembled() -> Callable[[Imported], Building]:
    """An import as a building, every element of one assembly unless it names its own."""
    return lambda imported: assemble_building(
        site=Site(),
        storeys=imported.storeys,
        spaces=imported.spaces,
        construction=CONSTRUCTION,
    )


@pytest.fixture(scope="session")
def two_rooms() -> Building:
    """An L-shaped bedroom and a hall, a door with an undercut between, two windows."""
    return build_building(
        site=Site(),
        storeys=[Storey(id="ground", floor_m=0.0)],
        spaces=[
            SpaceSpec(
                id="bedroom",
                storey="ground",
                corners=np.array(
                    [[0, 0], [4.2, 0], [4.2, 2.6], [2.7, 2.6], [2.7, 3.6], [0, 3.6]], dtype=float
                ),
                height_m=2.4,
            ),
            SpaceSpec(
                id="hall",
                storey="ground",
                corners=np.array([[0, 0], [3.0, 0], [3.0, 2.6], [0, 2.6]]),
                height_m=2.4,
                origin=np.array([4.35, 0.0]),
            ),
        ],
        openings=[
            OpeningSpec(
                id="W1",
                on="bedroom/1",
                kind="window",
                width_m=1.5,
                height_m=1.2,
                along_m=1.0,
                sill_m=0.9,
                reveal_m=0.12,
            ),
            OpeningSpec(
                id="W2",
                on="bedroom/6",
                kind="window",
                width_m=0.8,
                height_m=0.7,
                along_m=1.0,
                sill_m=0.9,
            ),
            OpeningSpec(
                id="D1",
                on="bedroom/2",
                kind="door",
                width_m=0.8,
                height_m=2.0,
                along_m=1.0,
                undercut_m=0.008,
            ),
        ],
        panels=[],
        construction=CONSTRUCTION,
    )


Box = tuple[tuple[float, float, float], tuple[float, float, float]]


class House:
    """An IFC4 file in millimetres: a storey 3 m up, and what is put on it."""

    def __init__(self) -> None:
        import ifcopenshell  # an extra

        self.guid = ifcopenshell.guid
        self.file: Any = ifcopenshell.file(schema="IFC4")
        make = self.file.create_entity
        self.zero = make("IfcCartesianPoint", (0.0, 0.0, 0.0))
        frame = make("IfcAxis2Placement3D", self.zero)
        north = make("IfcDirection", (0.5, 3**0.5 / 2))
        self.context = make(
            "IfcGeometricRepresentationContext", None, "Model", 3, 1e-5, frame, north
        )
        units = [
            make("IfcSIUnit", None, "LENGTHUNIT", "MILLI", "METRE"),
            make("IfcSIUnit", None, "AREAUNIT", None, "SQUARE_METRE"),
            make("IfcSIUnit", None, "VOLUMEUNIT", None, "CUBIC_METRE"),
            make("IfcSIUnit", None, "PLANEANGLEUNIT", None, "RADIAN"),
        ]
        project = self.root("IfcProject", Name="house")
        project.RepresentationContexts = [self.context]
        project.UnitsInContext = make("IfcUnitAssignment", units)
        site = self.root("IfcSite", Name="site")
        building = self.root("IfcBuilding", Name="building")
        self.storey = self.root("IfcBuildingStorey", Name="First floor", Elevation=3000.0)
        self.storey.ObjectPlacement = self.place((0.0, 0.0, 3000.0))
        for whole, part in ((project, site), (site, building), (building, self.storey)):
            self.root("IfcRelAggregates", RelatingObject=whole, RelatedObjects=[part])

    def root(self, type_: str, **fields: Any) -> Any:
        return self.file.create_entity(type_, GlobalId=self.guid.new(), **fields)

    def place(
        self, at: tuple[float, float, float], along: tuple[float, float, float] = (1.0, 0.0, 0.0)
    ) -> Any:
        make = self.file.create_entity
        return make(
            "IfcLocalPlacement",
            None,
            make(
                "IfcAxis2Placement3D",
                make("IfcCartesianPoint", at),
                make("IfcDirection", (0.0, 0.0, 1.0)),
                make("IfcDirection", along),
            ),
        )

    def solid(self, type_: str, box: Box, *, along: tuple[float, float, float] = (1.0, 0.0, 0.0),
              **fields: Any) -> Any:  # fmt: skip
        """An element that fills a box in the world, whatever its own axes are. [mm]"""
        make = self.file.create_entity
        low, high = np.array(box[0]), np.array(box[1])
        x = np.array(along)
        y = np.cross((0.0, 0.0, 1.0), x)
        origin = 0.5 * (low + high)
        origin[2] = low[2]
        sides = np.abs(x) @ (high - low), np.abs(y) @ (high - low)
        middle = make("IfcAxis2Placement2D", make("IfcCartesianPoint", (0.0, 0.0)))
        profile = make("IfcRectangleProfileDef", "AREA", None, middle, *map(float, sides))
        up = make("IfcDirection", (0.0, 0.0, 1.0))
        frame = make("IfcAxis2Placement3D", self.zero)
        body = make("IfcExtrudedAreaSolid", profile, frame, up, float(high[2] - low[2]))
        shape = make("IfcShapeRepresentation", self.context, "Body", "SweptSolid", [body])
        element = self.root(type_, **fields)
        element.ObjectPlacement = self.place(tuple(map(float, origin)), along)
        element.Representation = make("IfcProductDefinitionShape", None, None, [shape])
        return element

    def layered(self, element: Any, layers: list[tuple[str, float]], sense: str) -> None:
        make = self.file.create_entity
        made = [make("IfcMaterialLayer", make("IfcMaterial", name), mm) for name, mm in layers]
        usage = make(
            "IfcMaterialLayerSetUsage",
            make("IfcMaterialLayerSet", made),
            "AXIS2",
            sense,
            0.0,
        )
        self.root("IfcRelAssociatesMaterial", RelatedObjects=[element], RelatingMaterial=usage)

    def opening(self, host: Any, box: Box, filling: Any = None) -> Any:
        void = self.solid("IfcOpeningElement", box, Name="opening")
        self.root("IfcRelVoidsElement", RelatingBuildingElement=host, RelatedOpeningElement=void)
        if filling is not None:
            self.root(
                "IfcRelFillsElement", RelatingOpeningElement=void, RelatedBuildingElement=filling
            )
        return void

    def written(self, path: Path) -> Path:
        self.file.write(str(path))
        return path


def _house(*, spaces: bool = True) -> House:
    """Rooms A, 4.0 × 3.0, and B, 3.0 × 3.0 m, 2.5 m high, a 100 mm partition between them."""
    made = House()
    if spaces:
        rooms = [
            made.solid(
                "IfcSpace", ((0, 0, 3000), (4000, 3000, 5500)), Name="A", LongName="Bedroom"
            ),
            made.solid(
                "IfcSpace", ((4100, 0, 3000), (7100, 3000, 5500)), Name="B", LongName="Study"
            ),
        ]
        made.root("IfcRelAggregates", RelatingObject=made.storey, RelatedObjects=rooms)
    outer = [("Gipsputz", 12.0), ("Mineral wool", 188.0), ("Brick, red", 100.0)]
    # The south wall's own y points outward; the north wall's too, but listed the other way.
    south = made.solid(
        "IfcWall", ((-300, -300, 3000), (7400, 0, 5500)), along=(-1.0, 0.0, 0.0), Name="S"
    )
    made.layered(south, outer, "POSITIVE")
    north = made.solid("IfcWall", ((-300, 3000, 3000), (7400, 3300, 5500)), Name="N")
    made.layered(north, outer[::-1], "NEGATIVE")
    west = made.solid(
        "IfcWall", ((-300, 0, 3000), (0, 3000, 5500)), along=(0.0, 1.0, 0.0), Name="W"
    )
    made.layered(west, outer, "POSITIVE")
    east = made.solid(
        "IfcWall", ((7100, 0, 3000), (7400, 3000, 5500)), along=(0.0, -1.0, 0.0), Name="E"
    )
    made.layered(east, outer, "POSITIVE")
    middle = made.solid(
        "IfcWall", ((4000, 0, 3000), (4100, 3000, 5500)), along=(0.0, -1.0, 0.0), Name="M"
    )
    made.layered(
        middle,
        [("Gypsum board", 12.0), ("Timber studs", 76.0), ("Unobtainium", 12.0)],
        "POSITIVE",
    )
    for name, low, high in (("floor", 2800, 3000), ("roof", 5500, 5700)):
        slab = made.solid("IfcSlab", ((-300, -300, low), (7400, 3300, high)), Name=name)
        made.root(
            "IfcRelAssociatesMaterial",
            RelatedObjects=[slab],
            RelatingMaterial=made.file.create_entity("IfcMaterial", "Concrete C25"),
        )
    window = made.solid("IfcWindow", ((1000, -200, 3900), (2500, -150, 5100)), Name="Win 1")
    made.opening(south, ((1000, -300, 3900), (2500, 0, 5100)), window)
    door = made.solid("IfcDoor", ((4030, 500, 3000), (4070, 1300, 5000)), Name="Door 1")
    made.opening(middle, ((4000, 500, 3000), (4100, 1300, 5000)), door)
    made.opening(east, ((7100, 1000, 4800), (7400, 1150, 4950)))
    return made


@pytest.fixture(scope="session")
def house() -> Callable[..., House]:
    """``house(spaces=True)``: the small house, to be changed and written."""
    pytest.importorskip("ifcopenshell")
    return _house


@pytest.fixture(scope="session")
def bare_house() -> Callable[[], House]:
    """A storey with nothing on it."""
    pytest.importorskip("ifcopenshell")
    return House
