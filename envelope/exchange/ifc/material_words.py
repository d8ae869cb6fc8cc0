"""Words of drawings for materials, in the languages of most files, and how sure they are.

Common usage, from memory, no source. Where a word leaves a choice, the reading that stops less is
taken and marked as unsure, so that a wall never shields more on paper than it does.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from envelope.exchange.naming import slug

AIR = "air"
FRAME_M = 0.08  # timber thicker than this in a layered element is joists or studs with air between
SHEET_M = 0.02  # metal thicker than this in a wall is framing or a panel of two sheets


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """What a material is read as where one of the words occurs, and one of `beside` with it."""

    words: frozenset[str]
    known: str
    beside: frozenset[str] = frozenset()
    varies: bool = False  # layers whose spacing varies
    doubt: str = ""  # why it is unsure
    perhaps: str | None = None  # what it may be instead
    solid_m: float = math.inf  # what is thicker is framing with air between...
    unless: frozenset[str] = frozenset()  # ...where none of these words occurs
    thick_doubt: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialReading:
    """A known material for a name in a file, and why."""

    known: str
    why: str
    varies: bool = False
    doubt: str = ""
    perhaps: str | None = None  # what it may be instead, and is drawn as often


def _set(text: str) -> frozenset[str]:
    return frozenset(text.split())


_WOOD = _set(
    "wood timber lumber holz parquet parkett softwood hardwood oak flooring pine spruce larch "
    "beech birch cherry walnut fichte kiefer bois madera madeira legno hout drewno puu"
)
_CONCRETE = _set(
    "concrete beton betong betoni hormigon concreto calcestruzzo screed estrich mortar grout "
    "cement zement parpaing"
)
_GLASS = _set("glass glazing glas verglasung verre vitrage vidrio vidro vetro")
_POROUS = "porous: taken as plasterboard and drawn as dense concrete as often, which stops more"

# First match wins.
WORDS: tuple[Word, ...] = (
    Word(
        words=_set(
            "clt glulam lvl bsp bsh massivholz brettsperrholz brettschichtholz brettstapel log logs"
        ),
        known="wood",
    ),
    Word(words=_WOOD, beside=_set("solid massiv massif massive laminated"), known="wood"),
    Word(
        words=_set("aac porenbeton gasbeton gasbetong leichtbeton schaumbeton cellenbeton"),
        known="plasterboard",
        doubt=_POROUS,
        perhaps="concrete",
    ),
    Word(
        words=_CONCRETE | {"block", "blocks"},
        beside=_set(
            "aerated autoclaved cellular cellulaire celular foam foamed lightweight light leger low"
        ),
        perhaps="concrete",
        known="plasterboard",
        doubt=_POROUS,
    ),
    Word(
        words=_set("fiberglass fibreglass glasfaser schaumglas glasschaum"),
        known=AIR,
    ),
    Word(
        words=_GLASS,
        beside=_set("wool fibre fiber fibres fibers fiberboard cellular foam laine lana"),
        known=AIR,
    ),
    Word(
        words=_set(
            "stud studs joist joists rafter rafters framing frame framed furring staender "
            "staenderwerk stander standerwerk ossature"
        ),
        known=AIR,
        varies=True,
    ),
    Word(words=_set("air cavity luft lucht void aire aria"), known=AIR, varies=True),
    Word(
        words=_set(
            "insulation wool isolation daemmung dammung foam eps xps pir pur wolle laine lana "
            "glaswol steenwol isolant isolante isolatie isolering isolierung isolasjon "
            "aislamiento aislante mineralull glasull stenull polystyrene polystyrol polyurethane "
            "polyurethan cellulose zellulose aerogel"
        ),
        known=AIR,
    ),
    Word(
        words=_set(
            "plasterboard gypsum drywall gipskarton gips plaster gwb platre yeso cartongesso"
        ),
        known="plasterboard",
    ),
    Word(words=_set("plywood sperrholz contreplaque multiplex blockboard"), known="plywood"),
    Word(words=_set("chipboard particleboard mdf osb spanplatte"), known="chipboard"),
    Word(words=_GLASS, known="glass"),
    Word(words=_CONCRETE, known="concrete"),
    Word(
        words=_set(
            "brick masonry mauerwerk ziegel block brique ladrillo tijolo mattone laterizio "
            "muratura baksteen klinker clinker kalksandstein"
        ),
        known="brick",
    ),
    Word(
        words=_set("render rendering stucco putz enduit intonaco revoque"),
        known="plasterboard",
        doubt="of gypsum, lime or cement: taken as plasterboard and drawn as concrete as often",
        perhaps="concrete",
    ),
    Word(words=_set("marble marmor marbre marmol marmo"), known="marble"),
    Word(words=_set("ceiling"), known="ceiling-board"),
    Word(
        words=_WOOD,
        known="wood",
        solid_m=FRAME_M,
        thick_doubt="thicker than 80 mm: taken as framing with air between; solid timber stops "
        "more",
    ),
    Word(
        words=_set(
            "steel metal aluminium aluminum zinc zink copper kupfer stahl blech acier acero "
            "acciaio staal alu aluminio alluminio cuivre cobre inox"
        ),
        known="metal",
        solid_m=SHEET_M,
        unless=_set(
            "sheet panel panels cladding deck decking trapez blech foil folie sandwich roofing"
        ),
        thick_doubt="thicker than 20 mm: taken as framing with air between; a panel of metal "
        "sheets stops nearly all",
    ),
)


def read_material(name: str, *, thickness_m: float) -> MaterialReading | None:
    """Known material of a name; None where no word fits.

    Parameters
    ----------
    name : str
        As the file gives it, in any of the languages of `WORDS`.
    thickness_m : float
        Of the layer. [m]

    Examples
    --------
    >>> read_material("Metal - Stud Layer", thickness_m=0.09).known
    'air'
    >>> read_material("Masonry - Concrete Block", thickness_m=0.19).known
    'concrete'
    >>> read_material("Site - Grass", thickness_m=0.06) is None
    True
    """
    words = slug(name, otherwise="").lower().split("-")
    for row in WORDS:
        found = _first(words, row.words)
        beside = _first(words, row.beside)
        if found is None or (row.beside and beside is None):
            continue
        why = f'"{found}" in its name' if beside is None else f'"{beside}" and "{found}" in it'
        if thickness_m > row.solid_m and _first(words, row.unless) is None:
            return MaterialReading(known=AIR, why=why, varies=True, doubt=row.thick_doubt)
        return MaterialReading(
            known=row.known, why=why, varies=row.varies, doubt=row.doubt, perhaps=row.perhaps
        )
    return None


def _first(words: Sequence[str], known: frozenset[str]) -> str | None:
    """The first of a name's words that is a known one."""
    return next((word for word in words if any(_is(word, item) for item in known)), None)


def _is(word: str, known: str) -> bool:
    """Whether a word is a known one, or a compound that begins or ends with a longer one."""
    if len(known) < 4:
        return word == known
    return word.startswith(known) or word.endswith(known)
