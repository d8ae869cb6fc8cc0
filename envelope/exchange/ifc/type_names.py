"""Thicknesses that the name of a type states, where a list of materials has none.

"Wall-Ext_102Bwk-75Ins-100LBlk-12P"   102 mm brick, 75 mm insulation, 100 mm block, 12 mm plaster
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from envelope.exchange.ifc.material_words import read_material
from envelope.exchange.naming import slug

# What draughtsmen shorten a material to in a type's name: common usage, from memory, no source.
SHORT: dict[str, frozenset[str]] = {
    "brick": frozenset({"bwk", "brk", "bk", "brick", "mw", "mzw", "zgl", "ks"}),
    "concrete": frozenset(
        {"blk", "lblk", "cblk", "block", "blockwork", "conc", "con", "rc", "stb", "scr", "pc"}
    ),
    "air": frozenset({"ins", "insul", "wd", "dae", "iso", "cav", "air", "gap", "mstd", "std"}),
    "plasterboard": frozenset({"p", "pl", "plr", "plas", "pb", "gk", "gkb", "gwb", "gyp", "putz"}),
    "wood": frozenset({"tim", "tmb", "wd-brd", "hz", "clt", "bsp"}),
    "plywood": frozenset({"ply"}),
    "chipboard": frozenset({"osb", "chip", "mdf"}),
    "glass": frozenset({"gl", "glz"}),
}
WITHIN = 0.2  # of the drawn thickness, by which the stated ones may miss it
_NUMBER = re.compile(r"(\d{1,4}(?:[.,]\d+)?)\s*(?:mm|cm)?\s*([^\W\d_]*)")


def thicknesses_in(
    name: str, materials: Sequence[str], *, total_m: float
) -> list[tuple[str, float]] | None:
    """Material and thickness of each layer that a type's name states; None where it states none.

    Parameters
    ----------
    name : str
        Of the type or the element.
    materials : sequence of str
        As the file lists them, in no known order.
    total_m : float
        Thickness as it is drawn, which the stated ones must add up to. [m]

    Examples
    --------
    >>> thicknesses_in("Ext_102Bwk-50Ins-100Blk", ["Block", "Wool", "Brick"], total_m=0.25)
    [('Brick', 0.102), ('Wool', 0.05), ('Block', 0.1)]
    >>> thicknesses_in("Wall 7", ["Block", "Wool"], total_m=0.3)
    """
    found = [(float(a.replace(",", ".")), b.lower()) for a, b in _NUMBER.findall(name)]
    found = [(number, word) for number, word in found if number > 0.0]
    if len(found) < len(materials) or not materials:
        return None
    for unit_m in (1e-3, 1e-2):
        if abs(sum(number for number, _ in found) * unit_m - total_m) <= WITHIN * total_m:
            break
    else:
        return None
    readings = {material: _reading(material) for material in materials}
    left = list(materials)
    chosen: list[str | None] = []
    for _, word in found:
        known = next((key for key, words in SHORT.items() if word in words), None)
        fits = [item for item in (*left, *materials) if known and readings[item] == known]
        chosen.append(fits[0] if fits else None)
        if fits and fits[0] in left:
            left.remove(fits[0])
    if chosen.count(None) > len(left) or (chosen.count(None) > 1 and len(set(left)) > 1):
        return None  # which is which would hang on the order of the file's list
    layers = [item if item is not None else left.pop(0) for item in chosen]
    if left:
        return None
    return [
        (layer, round(number * unit_m, 5)) for layer, (number, _) in zip(layers, found, strict=True)
    ]


def _reading(material: str) -> str | None:
    """What a material is, by the short words first: a "Block" is then what "Blk" is."""
    short = next((key for key, words in SHORT.items() if slug(material) in words), None)
    if short is not None:
        return short
    found = read_material(material, thickness_m=0.01)
    return None if found is None else found.known
