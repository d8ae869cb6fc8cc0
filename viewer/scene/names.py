"""What panels are called in front of people who never see an id."""

from __future__ import annotations

from collections.abc import Sequence

from envelope.exposure.results import PanelLeak
from viewer.scene.records import ScenePanel
from viewer.scene.wording import percent, shown

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
_SEAMS = {
    "undercut": "gap under",
    "ring": "ring around",
    "film-edge": "film edge of",
    "gap-head": "gap at head of",  # where a sash tilts in
    "gap-left": "gap at left of",
    "gap-right": "gap at right of",
    "seam-head": "seam at head of",
    "seam-left": "seam at left of",
    "seam-right": "seam at right of",
    "seam-foot": "seam at foot of",
}


def panel_title(*, panel: str, space: str, kind: str, aliases: Sequence[str] = ()) -> str:
    """A panel's name without its room.

    Examples
    --------
    >>> panel_title(panel="bedroom/1", space="bedroom", kind="wall", aliases=["bedroom/south"])
    'south wall (1)'
    >>> panel_title(panel="bedroom/W1", space="bedroom", kind="window")
    'window W1'
    >>> panel_title(panel="den/window-1", space="den", kind="window")
    'window-1'
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
        word = _SEAMS.get(part)
        return f"{word} {shown(opening)}" if word else f"{shown(part)} at {shown(opening)}"
    return _with_kind(own, _WORDS.get(kind, kind))


def face_title(panel: ScenePanel, *, home: str | None) -> str:
    """A panel's name, with its room where that is not the one that is looked at."""
    title = panel_title(panel=panel.id, space=panel.space, kind=panel.kind, aliases=panel.aliases)
    return title if panel.space == home else f"{title} of {shown(panel.space)}"


def leak_label(panel: ScenePanel, leak: PanelLeak, *, home: str | None, stands: str) -> str:
    """The label of a panel that lets something in; a strip that stays open can wear nothing."""
    title = face_title(panel, home=home)
    if panel.kind == "seam" and not leak.treatments:
        return f"{title}: {percent(leak.share)}"
    return panel_label(title=title, treatments=leak.treatments, share=leak.share, stands=stands)


def panel_label(*, title: str, treatments: Sequence[str], share: float, stands: str = "") -> str:
    """Such as ``window W1, untreated: 83 %``, or ``skylight S1, tilted, film: 83 %``."""
    worn = " + ".join(shown(treatment, limit=24) for treatment in treatments) or "untreated"
    named = f"{title}, {stands}" if stands else title
    return f"{named}, {worn}: {percent(share)}"


def _with_kind(own: str, word: str) -> str:
    """What a panel is and its name; once where the name begins with what it is."""
    first, _, last = word.rpartition(" ")
    after = own[len(last) :]
    if own.lower().startswith(last) and not after[:1].isalpha():
        return f"{first} {shown(own)}".strip()
    return f"{word} {shown(own)}"


def _wall(own: str, aliases: Sequence[str]) -> str:
    side = next((alias for alias in aliases if alias in _COMPASS), None)
    named = _with_kind(own, "wall")
    if side is None:
        return named
    if named == shown(own):  # such as wall-5
        return f"{side} {named}"
    return f"{side} wall" if own == side else f"{side} wall ({shown(own)})"
