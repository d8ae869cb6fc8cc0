"""What panels are called in front of people who never see an id."""

from __future__ import annotations

from collections.abc import Sequence

from viewer.wording import shown

_COMPASS = ("north", "east", "south", "west")
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


def panel_title(*, panel: str, space: str, kind: str, aliases: Sequence[str] = ()) -> str:
    """A panel's name without its room.

    Examples
    --------
    >>> panel_title(panel="bedroom/1", space="bedroom", kind="wall", aliases=["bedroom/south"])
    'south wall (1)'
    >>> panel_title(panel="bedroom/W1", space="bedroom", kind="window")
    'window W1'
    >>> panel_title(panel="bedroom/W1/jamb-left", space="bedroom", kind="reveal")
    'left jamb of W1'
    >>> panel_title(panel="bedroom/D1/undercut", space="bedroom", kind="seam")
    'gap under D1'
    """
    own = panel.removeprefix(f"{space}/")
    if kind == "wall":
        return _wall(own, [alias.removeprefix(f"{space}/") for alias in aliases])
    if kind in ("floor", "ceiling"):
        return shown(own.replace("-", " "))
    if kind in ("reveal", "seam"):
        opening, _, part = own.rpartition("/")
        if not opening:
            return shown(own)
        if kind == "reveal":
            return f"{_REVEALS.get(part, shown(part))} of {shown(opening)}"
        word = {"undercut": "gap under", "ring": "ring around"}.get(part)
        return f"{word} {shown(opening)}" if word else f"{shown(part)} at {shown(opening)}"
    return f"{_WORDS.get(kind, kind)} {shown(own)}"


def _wall(own: str, aliases: Sequence[str]) -> str:
    side = next((alias for alias in aliases if alias in _COMPASS), None)
    if side is None:
        return f"wall {shown(own)}"
    return f"{side} wall" if own == side else f"{side} wall ({shown(own)})"
