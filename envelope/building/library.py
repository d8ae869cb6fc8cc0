"""Starter assemblies by name: what is typically found, until someone has looked on site.

    from inside to outside; a floor from the upper space down; a roof from the ceiling up

Our own choice of common constructions and thicknesses: common practice, no source. What is not
tabulated as a material stands as air, as mineral wool and foam do, and what layers cannot express
(bars, lath, studs, seams) is left out: both let more through than the building will, except that
metal without its seams and laps lets less through, which the note then says.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from envelope.building.job import Assembly, Layer

__all__ = ["ASSEMBLIES", "FAMILIES", "TYPICAL"]

TYPICAL: Final = "typical, check on site"

# Air this wide or wider varies from place to place by more than fringes bear; as in a project file.
_CAVITY_M = 0.04
_FOIL_M = 7e-6
_SHEET_METAL_M = 0.6e-3
# Coatings of low emissivity on a pane: sputtered silver, and pyrolytic tin oxide. [Ω/sq]
_SOFT_COAT_OHM_SQ = 4.0
_HARD_COAT_OHM_SQ = 15.0
_SEAMS = "taken as whole metal: seams, laps and edges leak and are not in it"


def _of(material: str, thickness_m: float) -> Layer:
    return Layer(material=material, thickness_m=thickness_m)


def _air(thickness_m: float) -> Layer:
    return Layer(material="air", thickness_m=thickness_m, cavity=thickness_m >= _CAVITY_M)


def _coat(ohm_sq: float) -> Layer:
    return Layer(sheet_resistance_ohm_sq=ohm_sq)


def _perhaps(ohm_sq: float) -> Layer:
    return Layer(sheet_resistance_ohm_sq=ohm_sq, perhaps=True)


_BOARD = _of("plasterboard", 0.0125)
_PLASTER = _of("plasterboard", 0.013)  # gypsum is gypsum
_RENDER = _of("concrete", 0.02)
_PLY = _of("plywood", 0.012)
_BRICK = _of("brick", 0.102)
_TILES = _of("brick", 0.012)
_BATTENS = _air(0.05)
_DECK = _of("wood", 0.018)
_STUDS = _air(0.09)
_PANE = _of("glass", 0.004)
_GLASS_GAP = _air(0.016)
_FOIL = _of("aluminium", _FOIL_M)
_METAL = _of("metal", _SHEET_METAL_M)

# Name, layers, and what to know beside `TYPICAL`.
_EXTERIOR_WALLS: tuple[tuple[str, tuple[Layer, ...], str], ...] = (
    ("timber-wall", (_BOARD, _air(0.14), _PLY, _BATTENS, _of("wood", 0.02)), ""),
    ("brick-veneer-wall", (_BOARD, _STUDS, _PLY, _BATTENS, _BRICK), ""),
    ("rendered-timber-wall", (_BOARD, _air(0.14), _PLY, _RENDER), "no lath under the render"),
    ("log-wall", (_of("wood", 0.2),), ""),
    ("solid-brick-wall", (_PLASTER, _of("brick", 0.22)), ""),
    ("cavity-brick-wall", (_PLASTER, _BRICK, _air(0.06), _BRICK), ""),
    (
        "hollow-block-wall",
        (_PLASTER, _of("concrete", 0.035), _air(0.13), _of("concrete", 0.035), _RENDER),
        "the webs of the blocks are left out",
    ),
    ("concrete-wall", (_PLASTER, _of("concrete", 0.2)), "the bars are left out"),
    (
        "stone-wall",
        (_PLASTER, _of("marble", 0.45)),
        "as marble, the one stone that is tabulated",
    ),
    (
        "foil-insulated-wall",
        (_BOARD, _FOIL, _air(0.14), _PLY, _BATTENS, _BRICK),
        f"foil-faced insulation, its foil towards the room; {_SEAMS}",
    ),
    ("metal-clad-wall", (_BOARD, _air(0.14), _PLY, _METAL), _SEAMS),
)
_INTERIOR_WALLS: tuple[tuple[str, tuple[Layer, ...], str], ...] = (
    ("stud-wall", (_BOARD, _STUDS, _BOARD), "studs are left out"),
    (
        "double-board-stud-wall",
        (_BOARD, _BOARD, _STUDS, _BOARD, _BOARD),
        "studs are left out",
    ),
    ("brick-partition", (_PLASTER, _BRICK, _PLASTER), ""),
    ("block-partition", (_PLASTER, _of("concrete", 0.1), _PLASTER), "solid blocks"),
    (
        "metal-lath-wall",
        (_of("plasterboard", 0.02), _STUDS, _of("plasterboard", 0.02)),
        "plaster on metal lath, without the lath: where it is found whole and bonded, add it as a "
        "mesh",
    ),
)
_FLOORS: tuple[tuple[str, tuple[Layer, ...], str], ...] = (
    ("joist-floor", (_of("wood", 0.02), _air(0.2), _BOARD), "joists are left out"),
    (
        "chipboard-joist-floor",
        (_of("chipboard", 0.022), _air(0.22), _BOARD),
        "joists are left out",
    ),
    ("concrete-floor", (_of("concrete", 0.2), _PLASTER), "the bars are left out"),
    (
        "reinforced-slab",
        (_of("concrete", 0.15),),
        "the mesh of bars is left out: where its spacing is known, add it as a mesh",
    ),
    ("ground-slab", (_of("concrete", 0.1),), ""),
    ("plaster-ceiling", (_BOARD,), "under a roof space"),
)
_ROOFS: tuple[tuple[str, tuple[Layer, ...], str], ...] = (
    ("bare-tiled-roof", (_DECK, _BATTENS, _TILES), "no ceiling under it"),
    ("tiled-roof", (_BOARD, _air(0.16), _DECK, _BATTENS, _TILES), ""),
    (
        "ceiling-and-tiled-roof",
        (_BOARD, _air(1.0), _DECK, _BATTENS, _TILES),
        "a roof space that is not modelled lies between",
    ),
    (
        "joist-ceiling",
        (_BOARD, _air(0.2), _of("wood", 0.02)),
        "the storey above is not modelled; joists are left out",
    ),
    ("shingle-roof", (_BOARD, _air(0.2), _PLY), "the shingles are left out"),
    ("flat-timber-roof", (_BOARD, _air(0.2), _of("plywood", 0.018)), "the felt is left out"),
    ("concrete-roof", (_PLASTER, _of("concrete", 0.2)), "the bars are left out"),
    ("metal-roof", (_BOARD, _air(0.2), _DECK, _METAL), _SEAMS),
    ("foil-insulated-roof", (_BOARD, _FOIL, _air(0.16), _DECK, _BATTENS, _TILES), _SEAMS),
)
_GLAZING: tuple[tuple[str, tuple[Layer, ...], str], ...] = (
    ("single-glazing", (_PANE,), ""),
    ("secondary-glazing", (_PANE, _air(0.1), _PANE), "two windows one behind the other"),
    ("double-glazing", (_PANE, _GLASS_GAP, _PANE), "no coating"),
    ("triple-glazing", (_PANE, _air(0.012), _PANE, _air(0.012), _PANE), "no coating"),
    (
        "double-unknown",
        (_PANE, _perhaps(_SOFT_COAT_OHM_SQ), _GLASS_GAP, _PANE),
        "coated or not: nobody has looked. Taken without a coat; the range has both",
    ),
    (
        "double-low-e",
        (_PANE, _coat(_SOFT_COAT_OHM_SQ), _GLASS_GAP, _PANE),
        "soft coat on the inner pane; frame and sash let more through",
    ),
    (
        "double-low-e-hard",
        (_PANE, _coat(_HARD_COAT_OHM_SQ), _GLASS_GAP, _PANE),
        "hard coat on the inner pane; frame and sash let more through",
    ),
    (
        "triple-low-e",
        (
            _PANE,
            _coat(_SOFT_COAT_OHM_SQ),
            _air(0.012),
            _PANE,
            _air(0.012),
            _coat(_SOFT_COAT_OHM_SQ),
            _PANE,
        ),
        "soft coats on the inner and the outer pane; frame and sash let more through",
    ),
)
_DOORS: tuple[tuple[str, tuple[Layer, ...], str], ...] = (
    ("hollow-wood-door", (_of("wood", 0.004), _air(0.032), _of("wood", 0.004)), ""),
    ("solid-wood-door", (_of("wood", 0.04),), ""),
    ("steel-door", (_METAL, _air(0.04), _METAL), _SEAMS),
    ("wood-frame", (_of("wood", 0.06),), "of a window"),
    (
        "plastic-frame",
        (_air(0.07),),
        "of a window; hollow plastic counts as air, its steel stiffeners are left out",
    ),
    (
        "metal-frame",
        (_of("aluminium", 0.002), _air(0.05), _of("aluminium", 0.002)),
        f"of a window; {_SEAMS}",
    ),
    ("wood-shutter", (_of("wood", 0.015),), ""),
    ("aluminium-shutter", (_of("aluminium", 0.4e-3),), _SEAMS),
)


def _assembly(name: str, layers: tuple[Layer, ...], more: str) -> Assembly:
    return Assembly(id=name, layers=layers, note=f"{TYPICAL}; {more}" if more else TYPICAL)


# Names by what they are for, in the order of a house.
FAMILIES: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        family: tuple(row[0] for row in group)
        for family, group in (
            ("outer walls", _EXTERIOR_WALLS),
            ("inner walls", _INTERIOR_WALLS),
            ("floors", _FLOORS),
            ("roofs and ceilings under what is not modelled", _ROOFS),
            ("glazing", _GLAZING),
            ("doors, frames and shutters", _DOORS),
        )
    }
)
# Every assembly by its name. None of them names another.
ASSEMBLIES: Final[Mapping[str, Assembly]] = MappingProxyType(
    {
        row[0]: _assembly(*row)
        for group in (_EXTERIOR_WALLS, _INTERIOR_WALLS, _FLOORS, _ROOFS, _GLAZING, _DOORS)
        for row in group
    }
)
