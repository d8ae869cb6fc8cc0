"""Names of materials in IFC files, read as materials whose properties are known.

Words of English and German drawings; common usage, no source. Whatever fits no word counts as
air, so that a wall never shields more on paper than it does, and is listed for the user to map.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

from envelope.building.job import Layer
from envelope.exchange.naming import slug
from envelope.exchange.records import MaterialUse

AIR = "air"
_FRAME_M = 0.08  # timber thicker than this in a layered element is joists or studs with air between

# First match wins. (words any of which must occur, known material, spacing varies)
_WORDS: tuple[tuple[frozenset[str], str, bool], ...] = (
    (
        frozenset({"stud", "studs", "joist", "joists", "rafter", "rafters", "framing", "furring"}),
        AIR,
        True,
    ),
    (frozenset({"air", "cavity", "luft", "void"}), AIR, True),
    (
        frozenset(
            {"insulation", "wool", "isolation", "daemmung", "dammung", "foam", "eps", "xps", "pir"}
        ),
        AIR,
        False,
    ),
    (
        frozenset({"plasterboard", "gypsum", "drywall", "gipskarton", "gips", "plaster", "gwb"}),
        "plasterboard",
        False,
    ),
    (frozenset({"plywood", "sperrholz"}), "plywood", False),
    (frozenset({"chipboard", "particleboard", "mdf", "spanplatte"}), "chipboard", False),
    (frozenset({"glass", "glazing", "glas"}), "glass", False),
    (
        frozenset(
            {"concrete", "beton", "stahlbeton", "screed", "estrich", "mortar", "grout", "cement"}
        ),
        "concrete",
        False,
    ),
    (frozenset({"brick", "masonry", "mauerwerk", "ziegel", "block"}), "brick", False),
    (frozenset({"marble", "marmor"}), "marble", False),
    (frozenset({"ceiling"}), "ceiling-board", False),
    (
        frozenset({"wood", "timber", "lumber", "holz", "parquet", "softwood", "oak", "flooring"}),
        "wood",
        False,
    ),
    (
        frozenset({"steel", "metal", "aluminium", "aluminum", "zinc", "copper", "stahl", "blech"}),
        "metal",
        False,
    ),
)


def known_material(name: str, *, thickness_m: float) -> tuple[str, bool] | None:
    """Known material of a name, and whether its spacing varies; None where no word fits.

    Examples
    --------
    >>> known_material("Metal - Stud Layer", thickness_m=0.09)
    ('air', True)
    >>> known_material("Masonry - Concrete Block", thickness_m=0.19)
    ('concrete', False)
    >>> known_material("Site - Grass", thickness_m=0.06) is None
    True
    """
    words = slug(name, otherwise="").split("-")
    for known, material, varies in _WORDS:
        if any(_is(word, item) for word in words for item in known):
            if material == "wood" and thickness_m > _FRAME_M:
                return AIR, True
            return material, varies
    return None


def _is(word: str, known: str) -> bool:
    """Whether a word is a known one, or a compound that begins or ends with a longer one."""
    if len(known) < 4:
        return word == known
    return word.startswith(known) or word.endswith(known)


@dataclass(slots=True)
class MaterialMap:
    """Reads names, remembering which were met and which nothing fits."""

    corrections: Mapping[str, str] = field(default_factory=dict)
    met: Counter[str] = field(default_factory=Counter)
    read_as: dict[str, str | None] = field(default_factory=dict)

    def reads(self, name: str) -> str | None:
        """Known material that a name is read as, for a thin part; None where nothing fits."""
        if name in self.corrections:
            return self.corrections[name]
        found = known_material(name, thickness_m=0.01)
        return None if found is None else found[0]

    def layer(self, name: str | None, thickness_m: float) -> Layer:
        """One layer of a known material."""
        shown = name or "(no material)"
        self.met[shown] += 1
        if shown in self.corrections:
            self.read_as[shown] = self.corrections[shown]
            return Layer(material=self.corrections[shown], thickness_m=thickness_m)
        found = None if name is None else known_material(name, thickness_m=thickness_m)
        self.read_as[shown] = None if found is None else found[0]
        material, varies = found or (AIR, False)
        return Layer(material=material, thickness_m=thickness_m, cavity=varies)

    def uses(self) -> tuple[MaterialUse, ...]:
        """Every name met."""
        return tuple(
            MaterialUse(name=name, known=self.read_as[name], panels=count)
            for name, count in sorted(self.met.items())
        )
