"""Names in front of people who never see an id: of faces, sources, plans, treatments."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Sequence
from typing import Protocol

from envelope.building.job import AS_BUILT
from envelope.building.sides import COMPASS, compass_side
from envelope.exposure.stacks import REFLECTOR
from envelope.geometry.plane import Floats
from envelope.text.numbers import percent

TODAY = "today"  # what people call the plan that has no treatment

_WORDS = {
    "window": "window",
    "door": "door",
    "hatch": "hatch",
    "vent": "vent",
    "skylight": "skylight",
    "light": "light",
    "box": "electrical box",
    "open": "bare opening",
}
_REVEALS = {
    "sill": "sill",
    "head": "head",
    "jamb-left": "left jamb",
    "jamb-right": "right jamb",
}
_SEAMS = {
    "undercut": "gap under",
    "ring": "ring around",
    "film-edge": "film edge of",
    "frame": "frame of",
    "gap-head": "gap at head of",  # where a sash tilts in
    "gap-left": "gap at left of",
    "gap-right": "gap at right of",
    "seam-head": "seam at head of",
    "seam-left": "seam at left of",
    "seam-right": "seam at right of",
    "seam-foot": "seam at foot of",
}


_LEVEL = 0.98  # of a ceiling's normal: it slopes by more than some 11°
_UPRIGHT = 0.7  # of a wall's normal: it leans by less than 45°


class Face(Protocol):
    """What a face's name is made of."""

    @property
    def id(self) -> str: ...
    @property
    def space(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def aliases(self) -> Sequence[str]: ...
    @property
    def title(self) -> str: ...
    @property
    def normal(self) -> Floats: ...


def shown(name: str, *, limit: int = 48) -> str:
    """A name from a file, fit for a label: one line, no invisible marks, not endless."""
    plain = "".join(
        " " if character.isspace() else character
        for character in name
        if character.isspace() or not unicodedata.category(character).startswith("C")
    )
    plain = " ".join(plain.split())
    return plain if len(plain) <= limit else plain[: limit - 1].rstrip() + "…"


def sentence(words: str) -> str:
    """Words as a sentence of their own: a capital first, one line, a point last.

    Examples
    --------
    >>> sentence("coatings conduct: one bond")
    'Coatings conduct: one bond.'
    """
    plain = shown(words, limit=600).rstrip(".")
    return f"{plain[:1].upper()}{plain[1:]}."


def listed(names: Sequence[str]) -> str:
    """Names in a row, as a sentence has them.

    Examples
    --------
    >>> listed(["a"]), listed(["a", "b"]), listed(["a", "b", "c"])
    ('a', 'a and b', 'a, b and c')
    """
    if not names:
        return ""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def plan_title(plan: str, title: str = "") -> str:
    """A plan's title, else its id; the one without treatment is today."""
    if title:
        return shown(title)
    return TODAY if plan == AS_BUILT else shown(plan)


def treatment_names(treatments: Sequence[str]) -> str:
    """What is put on a face, in order, or "untreated".

    Examples
    --------
    >>> treatment_names(["film", "curtain"]), treatment_names([])
    ('film + curtain', 'untreated')
    """
    return " + ".join(shown(each, limit=24) for each in treatments) or "untreated"


def worn_sentence(treatments: Sequence[str]) -> str:
    """What a face carries under a plan.

    Examples
    --------
    >>> worn_sentence(["film", "curtain"]), worn_sentence([])
    ('Treated with film and curtain.', 'Untreated.')
    """
    worn = listed([shown(treatment) for treatment in treatments])
    return f"Treated with {worn}." if worn else "Untreated."


def trial_names(treatments: Sequence[str]) -> str:
    """What a face was tried with: a treatment of the job, or everything that could be done."""
    return "sealed tight" if tuple(treatments) == (REFLECTOR.id,) else treatment_names(treatments)


def source_label(
    *, name: str, azimuth_rad: float | None, elevation_rad: float, space: str | None = None
) -> str:
    """Such as ``mast, azimuth 231°, 4° up``, or ``router in kitchen``."""
    if azimuth_rad is None:
        named = shown(name)
        if space is None or space.casefold() in named.casefold():
            return named  # such as "router in the living room"
        return f"{named} in {shown(space, limit=24)}"
    turned = round(math.degrees(azimuth_rad)) % 360
    rise = round(math.degrees(elevation_rad))
    height = "level" if rise == 0 else f"{abs(rise)}° {'up' if rise > 0 else 'down'}"
    return f"{shown(name)}, azimuth {turned}°, {height}"


def moved_label(label: str) -> str:
    """What something is called that stands where a plan has moved it."""
    return f"{label}, moved"


def panel_title(
    *,
    panel: str,
    space: str,
    kind: str,
    aliases: Sequence[str] = (),
    title: str = "",
    normal: Sequence[float] | Floats | None = None,
) -> str:
    """A panel's name without its room.

    Parameters
    ----------
    panel, space : str
        Ids.
    kind : str
        Of the panel.
    aliases : sequence of str
        Other ids; a wall with a compass word among them is the only one on its side.
    title : str
        What the client calls its opening.
    normal : (3,) float, optional
        Into its space. It tells on which side a wall stands or a ceiling slopes.

    Examples
    --------
    >>> panel_title(panel="bedroom/1", space="bedroom", kind="wall", aliases=["bedroom/south"])
    'south wall'
    >>> panel_title(panel="bedroom/5", space="bedroom", kind="wall", normal=(0.0, -1.0, 0.0))
    'north wall (5)'
    >>> panel_title(panel="den/ceiling-2", space="den", kind="ceiling", normal=(0.0, -0.6, -0.8))
    'north slope (ceiling 2)'
    >>> panel_title(panel="bedroom/W1", space="bedroom", kind="window")
    'window W1'
    >>> panel_title(panel="den/window-1", space="den", kind="window")
    'window-1'
    >>> panel_title(panel="bedroom/W1/jamb-left", space="bedroom", kind="reveal")
    'left jamb of W1'
    >>> panel_title(panel="bedroom/D1/undercut", space="bedroom", kind="seam")
    'gap under D1'
    >>> panel_title(panel="bedroom/W1/sill", space="bedroom", kind="reveal", title="garden window")
    'sill of garden window'
    """
    own = panel.removeprefix(f"{space}/")
    if kind == "wall":
        return _wall(own, [alias.removeprefix(f"{space}/") for alias in aliases], normal)
    if kind in ("floor", "ceiling"):
        named = shown(own.replace("-", " "))
        slopes = kind == "ceiling" and normal is not None and abs(float(normal[2])) < _LEVEL
        return f"{compass_side(normal)} slope ({named})" if slopes and normal is not None else named
    if kind in ("reveal", "seam"):
        opening, _, part = own.rpartition("/")
        if not opening:
            return shown(own)
        named = shown(title or opening)
        if kind == "reveal":
            return f"{_REVEALS.get(part, shown(part))} of {named}"
        word = _SEAMS.get(part)
        return f"{word} {named}" if word else f"{shown(part)} at {named}"
    if title:
        return shown(title)
    return _with_kind(own, _WORDS.get(kind, kind))


def face_title(panel: Face, *, home: str | None, room: str = "") -> str:
    """A panel's name, with its room where that is not the one that is looked at.

    Parameters
    ----------
    panel : Face
    home : str, optional
        Id of the room that is looked at.
    room : str
        What the client calls the panel's room, where that is not its id.
    """
    title = panel_title(
        panel=panel.id,
        space=panel.space,
        kind=panel.kind,
        aliases=panel.aliases,
        title=panel.title,
        normal=panel.normal,
    )
    return title if panel.space == home else f"{title} of {shown(room or panel.space)}"


def panel_label(*, title: str, treatments: Sequence[str], share: float, stands: str = "") -> str:
    """Such as ``window W1, untreated: 83 %``, or ``skylight S1, tilted, film: 83 %``."""
    named = f"{title}, {stands}" if stands else title
    return f"{named}, {treatment_names(treatments)}: {percent(share)}"


def _with_kind(own: str, word: str) -> str:
    """What a panel is and its name; once where the name begins with what it is."""
    first, _, last = word.rpartition(" ")
    after = own[len(last) :]
    if own.lower().startswith(last) and not after[:1].isalpha():
        return f"{first} {shown(own)}".strip()
    return f"{word} {shown(own)}"


def _wall(own: str, aliases: Sequence[str], normal: Sequence[float] | Floats | None) -> str:
    side = next((alias for alias in aliases if alias in COMPASS), None)
    named = _with_kind(own, "wall")
    if side is None:
        if normal is None or not own[:1].isdigit() or abs(float(normal[2])) > _UPRIGHT:
            return named
        return f"{compass_side(normal)} wall ({shown(own)})"
    if named == shown(own):  # such as wall-5
        return f"{side} {named}"
    return f"{side} wall"  # its number says nothing more: only one wall has the alias
