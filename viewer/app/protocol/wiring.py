"""The house wiring: its faces to click on, and what its field comes to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from typing_extensions import TypedDict

from viewer.app.protocol.limits import Text
from viewer.scene.json_types import Flat, WiringJson


@dataclass(frozen=True, slots=True, kw_only=True)
class SeeWiring:
    """Whether the page shows the faces of a room to place outlets on, and under which plan."""

    do: Literal["wiring"] = "wiring"
    on: bool
    space: Text | None = None
    plan: Text | None = None


class CutoutTold(TypedDict):
    """An opening in a face; `outline` in the face's own coordinates."""

    kind: str
    title: str
    outline: Flat


class BehindTold(TypedDict):
    """A run behind a face: two points; `likely` where a rule has put it there."""

    id: str
    ends: Flat
    likely: bool


class MarkTold(TypedDict):
    """An outlet or a bond; `lamp`: where a lamp beside it would stand, as it would be typed."""

    id: str
    kind: str
    at: Flat
    lamp: str | None


class DrawnFaceTold(TypedDict):
    """A face seen from inside: metres from its left end, and above the floor.

    `origin` and `axes`: where its corner lies in the room's x and y, and which way its two
    coordinates run there.
    """

    panel: str
    title: str
    kind: str
    outline: Flat
    origin: Flat
    axes: Flat
    openings: list[CutoutTold]
    behind: list[BehindTold]
    strips: list[Flat]
    marks: list[MarkTold]


class CautionsTold(TypedDict):
    """What to mind, at each place where work is proposed."""

    work: list[str]
    bond: str
    strip: str


class WiringTold(TypedDict):
    """Faces of a room, for the page that shows its wiring."""

    tell: Literal["wiring"]
    space: str
    plan: str
    faces: list[DrawnFaceTold]
    conductive: list[str]
    cautions: CautionsTold


class FieldTold(TypedDict):
    """The wiring's field: `old` while it is worked out anew.

    `sentences`: by plan and receiver; `wiring` replaces what the scene has, None leaves it.
    """

    tell: Literal["field"]
    state: Literal["none", "old", "new", "trouble"]
    said: str
    sentences: dict[str, dict[str, str]]
    verdict: str
    wiring: WiringJson | None
