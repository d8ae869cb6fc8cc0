"""Names of panels: those of the model where it has any, else wall, floor and ceiling."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Sequence

import numpy as np

from envelope.building.model import Panel, PanelKind
from envelope.geometry.plane import Floats

_LEVEL = float(np.cos(np.radians(45.0)))
_ROOF = float(np.cos(np.radians(60.5)))  # roofs of up to 60° are ceilings

# Words in the name of an object, group or material that say what a panel is. Common usage of
# people who draw models; no source.
_WORDS: tuple[tuple[PanelKind, frozenset[str]], ...] = (
    ("skylight", frozenset({"skylight", "rooflight"})),
    (
        "window",
        frozenset({"window", "windows", "glass", "glazing", "pane", "fenster", "glas", "fenetre"}),
    ),
    ("hatch", frozenset({"hatch", "trapdoor"})),
    ("door", frozenset({"door", "doors", "tuer", "tur", "porte"})),
    ("vent", frozenset({"vent", "grille"})),
)


def slug(name: str, *, otherwise: str = "space", keep_case: bool = False) -> str:
    """A name as an id: letters, digits and hyphens.

    Examples
    --------
    >>> slug("Küche / EG"), slug("leftWall"), slug("A203")
    ('kuche-eg', 'left-wall', 'a203')
    """
    spaced = name if keep_case else re.sub(r"(?<=[a-z])(?=[A-Z])", "-", name)
    plain = unicodedata.normalize("NFKD", spaced).encode("ascii", "ignore").decode()
    plain = plain if keep_case else plain.lower()
    return re.sub(r"[^A-Za-z0-9]+", "-", plain).strip("-") or otherwise


def plain_text(content: bytes) -> str:
    """Text of a file: UTF-8, else the Western letters of Windows that older programs write."""
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")


def counted(number: int, word: str) -> str:
    """A number with its word.

    Examples
    --------
    >>> counted(1, "face"), counted(2, "face")
    ('1 face', '2 faces')
    """
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def unique(names: Iterable[str]) -> list[str]:
    """Names made different by a number behind those that come again."""
    listed = list(names)
    times = Counter(listed)
    taken = {name for name, count in times.items() if count == 1}
    found: list[str] = []
    running: Counter[str] = Counter()
    for name in listed:
        if times[name] == 1:
            found.append(name)
            continue
        while True:
            running[name] += 1
            candidate = f"{name}-{running[name]}"
            if candidate not in taken:
                break
        taken.add(candidate)
        found.append(candidate)
    return found


def kind_by_normal(normal: Floats) -> PanelKind:
    """Floor, ceiling or wall, from the normal that points into the space."""
    if normal[2] > _LEVEL:
        return "floor"
    return "ceiling" if normal[2] < -_ROOF else "wall"


def kind_by_name(names: Iterable[str]) -> tuple[PanelKind, str] | None:
    """What the words of a model's own names say a panel is, and which name said so."""
    for name in names:
        words = set(slug(name, otherwise="").split("-"))
        words |= {word.rstrip("0123456789") for word in words}
        for kind, known in _WORDS:
            if words & known:
                return kind, name
    return None


def compass(normal: Floats) -> str:
    """The side of the space on which a wall stands: where its outward normal points.

    Examples
    --------
    >>> compass(np.array([0.0, 1.0, 0.0]))
    'south'
    """
    x, y = -normal[0], -normal[1]
    if abs(x) > abs(y):
        return "east" if x > 0.0 else "west"
    return "north" if y > 0.0 else "south"


def compass_aliases(space: str, panels: Sequence[Panel]) -> dict[str, str]:
    """Alias such as "bedroom/south" of each wall that alone faces so, by panel id."""
    walls = [panel for panel in panels if panel.kind == "wall"]
    sides = Counter(compass(panel.normal) for panel in walls)
    taken = {panel.id for panel in panels}
    return {
        panel.id: alias
        for panel in walls
        if sides[compass(panel.normal)] == 1
        and (alias := f"{space}/{compass(panel.normal)}") not in taken
    }


def numbered(stems: Sequence[str], centres: Sequence[Floats], about: Floats) -> list[str]:
    """Names of panels: numbered where a stem comes again, counter-clockwise from the south.

    Parameters
    ----------
    stems : sequence of str
        One a panel.
    centres : sequence of (3,) float
        Middle of each panel. [m]
    about : (3,) float
        Middle of the space. [m]
    """

    def turn(index: int) -> tuple[float, float]:
        offset = centres[index] - about
        angle = np.arctan2(offset[1], offset[0]) + 0.75 * np.pi  # the south-west corner comes first
        return round(float(angle % (2.0 * np.pi)), 6), float(offset[2])

    order = sorted(range(len(stems)), key=turn)
    names = unique(stems[index] for index in order)
    found = [""] * len(stems)
    for index, name in zip(order, names, strict=True):
        found[index] = name
    return found
