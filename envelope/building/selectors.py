"""Which panels a selector names: ids, compass words, globs and groups.

    bedroom/1            one panel                    bedroom/south       by alias, or south wall
    bedroom/W?           a glob within one segment    bedroom/W1/*        its reveals
    bedroom/walls        a group of one space         */windows           of every space
    bedroom/W1/reveals   the reveals of one opening   bedroom/**          all that follows

Bare holes (boxes, `open` panels, seams and rings) answer to their own id alone: a glob or a group
that swept them up would paint the air and call the gap closed.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Sequence
from fnmatch import fnmatchcase
from typing import Protocol

from envelope.building.model import OPENING_KINDS, Building
from envelope.building.sides import several_walls
from envelope.errors import EnvelopeError

__all__ = [
    "GROUPS",
    "Selectable",
    "SelectionError",
    "match",
    "nearest_names",
    "plain_name",
    "select",
    "unknown",
]

_BY_ID_ALONE = frozenset(("box", "open", "seam"))
GROUPS: dict[str, frozenset[str]] = {
    "walls": frozenset(("wall",)),
    "floor": frozenset(("floor",)),
    "ceiling": frozenset(("ceiling",)),
    "openings": frozenset(OPENING_KINDS) - _BY_ID_ALONE,
    "windows": frozenset(("window",)),
    "skylights": frozenset(("skylight",)),
    "doors": frozenset(("door",)),
    "reveals": frozenset(("reveal",)),
}
_MOST_LISTED = 440  # characters of names in a message: keys of any table, not panels of a house
_GLOB = re.compile(r"[*?\[]")
_SPOKEN = re.compile(r"(?<=/)(north|east|south|west)[ -]wall\Z", re.IGNORECASE)


class SelectionError(EnvelopeError, LookupError):
    """A selector that names no panel."""


class Selectable(Protocol):
    """What a selector looks at in a panel."""

    @property
    def id(self) -> str: ...
    @property
    def space(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def aliases(self) -> tuple[str, ...]: ...


def select(building: Building, selector: str) -> tuple[str, ...]:
    """Ids of the panels that a selector names, in the building's order.

    Parameters
    ----------
    building : Building
    selector : str
        An id or alias, a glob, or a group under a space.

    Returns
    -------
    panels : tuple of str
        At least one; SelectionError with the nearest names where there is none.
    """
    found = match(building.panels, selector)
    if not found:
        several = several_walls(building.panels, plain_name(selector))
        if several:
            raise SelectionError(f"{_quoted(selector)} names no one panel: {several}")
        spaces = [space.id for space in building.spaces]
        raise SelectionError(_no_match(building.panels, spaces, selector))
    return found


def plain_name(selector: str) -> str:
    """A selector as panels are named, from the way that people say it.

    Examples
    --------
    >>> plain_name("bedroom/West wall"), plain_name("bedroom/W1")
    ('bedroom/west', 'bedroom/W1')
    """
    return _SPOKEN.sub(lambda found: found[1].lower(), selector)


def match(panels: Sequence[Selectable], selector: str) -> tuple[str, ...]:
    """Ids of those panels that a selector names; empty where there is none."""
    selector = plain_name(selector)
    exact = tuple(panel.id for panel in panels if panel.id == selector)
    exact = exact or tuple(panel.id for panel in panels if selector in panel.aliases)
    if exact:
        return exact
    parts = selector.split("/")
    if len(parts) < 2 or len(selector) > 300:
        return ()
    here = [
        panel
        for panel in panels
        if panel.kind not in _BY_ID_ALONE and fnmatchcase(panel.space, parts[0])
    ]
    kinds = GROUPS.get(parts[-1])
    if kinds is not None and len(parts) == 2:
        return tuple(panel.id for panel in here if panel.kind in kinds)
    if parts[1:] == ["**"]:
        return tuple(panel.id for panel in here)
    if parts[-1] == "reveals" and len(parts) == 3:
        parts[-1] = "*"
        here = [panel for panel in here if panel.kind == "reveal"]
    # A glob in the last segment would find "north" for "*o*": aliases count only without one.
    by_alias = not _GLOB.search(parts[-1])
    return tuple(
        panel.id
        for panel in here
        if _fits(panel.id, parts)
        or (by_alias and any(_fits(name, parts) for name in panel.aliases))
    )


def nearest_names(word: str, known: Iterable[str], *, count: int = 3) -> str:
    """Say which known names come nearest to a word, as the end of a sentence.

    Examples
    --------
    >>> nearest_names("coatin", ["coating", "film"])
    'did you mean "coating"?'
    >>> nearest_names("x", ["film", "coating"])
    'known are "coating", "film"'
    """
    names = sorted(set(known))
    close = [name for name in names if name.lower() == word.lower()]
    close = close or difflib.get_close_matches(word[:80], names, n=count, cutoff=0.6)
    if close:
        return f"did you mean {' or '.join(map(_quoted, close))}?"
    if not names:
        return "there are none"
    shown = [_quoted(name) for name in names]
    while len(", ".join(shown)) > _MOST_LISTED:
        shown.pop()
    rest = f" and {len(names) - len(shown)} more" if len(shown) < len(names) else ""
    return f"known are {', '.join(shown)}{rest}"


def unknown(what: str, name: str, known: Iterable[str]) -> str:
    """Say that a name is unknown, and which come nearest.

    Examples
    --------
    >>> unknown("treatment", "coatin", ["coating", "film"])
    'there is no treatment "coatin": did you mean "coating"?'
    """
    return f"there is no {what} {_quoted(name)}: {nearest_names(name, known)}"


def _fits(name: str, parts: Sequence[str]) -> bool:
    segments = name.split("/")
    return len(segments) == len(parts) and all(map(fnmatchcase, segments, parts))


def _no_match(panels: Sequence[Selectable], spaces: Sequence[str], selector: str) -> str:
    what = f"{_quoted(selector)} names no panel"
    space, slash, rest = selector.partition("/")
    if not slash:
        return (
            f"{what}: write a space and a panel or group, such as {_quoted(spaces[0] + '/walls')}"
        )
    if not any(fnmatchcase(name, space) for name in spaces):
        return f"{what}: there is no space {_quoted(space)}; {nearest_names(space, spaces)}"
    here = [panel for panel in panels if fnmatchcase(panel.space, space)]
    if rest in GROUPS:
        return f"{what}: {_quoted(space)} has no {rest}"
    known = {panel.id.partition("/")[2] for panel in here}
    known |= {alias.partition("/")[2] for panel in here for alias in panel.aliases}
    present = {panel.kind for panel in here}
    known |= {group for group, kinds in GROUPS.items() if kinds & present}
    return f"{what} of {_quoted(space)}: {nearest_names(rest, known)}"


def _quoted(text: str) -> str:
    short = text if len(text) <= 60 else f"{text[:57]}..."
    return '"' + "".join(mark if mark.isprintable() else "?" for mark in short) + '"'
