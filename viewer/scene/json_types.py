"""The JSON of a scene, key by key: what `to_json` and `sky_json` write and the pages' scripts read.

`viewer/web/scene.d.ts` is generated from this module, and the scripts are checked against it.
Lengths are metres, x east, y north, z up in project axes; `flat` lists hold coordinates one after
another. Lists "by plan" and "by receiver" have the order of `plans` and `receivers`. A decibel
figure is None where nothing passes.
"""

from __future__ import annotations

from typing import Literal

from typing_extensions import TypedDict

Flat = list[float]
PanelKind = Literal[
    "wall",
    "floor",
    "ceiling",
    "reveal",
    "seam",
    "window",
    "door",
    "hatch",
    "vent",
    "skylight",
    "light",
    "box",
    "open",
]
Pattern = Literal["plain", "rising", "falling", "dots", "cross", "upright", "level", "grid"]


class MeshJson(TypedDict):
    """Triangles, counter-clockwise from the side that shows."""

    vertices: Flat
    triangles: list[int]


class ScalesJson(TypedDict):
    """Ends of the colours in dB: of what is let in high is bright, of a loss low is bright."""

    let_in_db: list[float]
    loss_db: list[float]


class StoreyJson(TypedDict):
    """A storey; the lowest comes first."""

    id: str
    floor_m: float
    spaces: list[str]


class SpaceJson(TypedDict):
    """A room: rings of its inside faces and of its walls, its floor's body, its closed block."""

    id: str
    title: str
    storey: str
    floor_m: float
    top_m: float
    footprint: list[Flat]
    outer: list[Flat]
    base: MeshJson
    block: MeshJson
    bounds: Flat


class LeakJson(TypedDict):
    """What a panel lets in at one receiver under one plan.

    `rank`: its place in lists (`listing.listed_faces`); `trial`: what treating it does, shortly.
    """

    solid_angle_sr: float
    open_equivalent_sr: float
    let_in_db: float | None
    loss_db: float | None
    share: float
    direct_share: float
    level_if_treated_w_m2: float | None
    below_if_treated_db: float | None
    rank: int
    trial: str
    is_gap: bool
    outlined: bool
    label: str
    lines: list[str]


class PanelStateJson(TypedDict):
    """A panel under one plan; `leaks` goes by receiver.

    `stands`: of an opening that is not simply shut, such as "tilted". `worn`: "Treated with A.".
    """

    treatments: list[str]
    stands: str
    worn: str
    leaks: list[LeakJson | None]


class PanelJson(TypedDict):
    """A face. `rings`: corners of each outline in `vertices`; `mark`: a point well inside.

    `ground_lines`: where the ground outside ends on it, two points each.
    """

    id: str
    title: str
    kind: PanelKind
    storey: str
    space: str
    area_m2: float
    centre: Flat
    mark: Flat
    normal: Flat
    vertices: Flat
    triangles: list[int]
    rings: list[int]
    is_opening: bool
    ground_lines: list[Flat]
    host: str | None
    opening: str | None
    aliases: list[str]
    assemblies: list[str]
    behind: list[str]
    plans: list[PanelStateJson]


class WallJson(TypedDict):
    """A wall's body: `standing` where its normal faces the eye, else `stub`."""

    panel: str
    space: str
    storey: str
    normal: Flat
    thickness_m: float
    standing: MeshJson
    stub: MeshJson


class BandJson(TypedDict):
    """All directions alike, at one band."""

    frequency_hz: float
    unshielded_sr: float
    open_equivalent_sr: float
    reduction_db: float | None
    below_as_built_db: float | None


class SourceLevelJson(TypedDict):
    """What one source comes to at one receiver."""

    id: str
    frequency_hz: float
    outside_w_m2: float
    direct_w_m2: float
    diffuse_w_m2: float
    level_w_m2: float
    low_w_m2: float | None
    high_w_m2: float | None
    reduction_db: float | None
    below_as_built_db: float | None
    lit_area_m2: float
    unshielded_area_m2: float
    unshielded_sr: float | None


class WorstJson(TypedDict):
    """The worst point of a receiver that is a box."""

    position: Flat
    reduction_db: float | None
    open_equivalent_sr: float
    level_w_m2: float | None


class FaceLabelJson(TypedDict):
    """A face that is named in a picture; `only_seen`: only while it and its wall face the eye."""

    panel: str
    text: str
    short: str
    is_gap: bool
    only_seen: bool


class NumbersJson(TypedDict):
    """The numbers of one plan at one receiver.

    `headline`: parts of one line. `labels`: faces that are named, the most important first; the
    first `look.max_labels` that can show are. `beams`: places in the scene's `beams`, of which the
    first `look.max_beams` are drawn.
    """

    exposed_sr: float
    exposed_above_horizon_sr: float
    closure_error_sr: float
    standard_error: float | None
    points: int
    reference_band: int
    outside_w_m2: float | None
    level_w_m2: float | None
    low_w_m2: float | None
    high_w_m2: float | None
    bands: list[BandJson]
    sources: list[SourceLevelJson]
    gaps: list[str]
    worst: WorstJson | None
    headline: list[str]
    labels: list[FaceLabelJson]
    beams: list[int]


class TreatmentStyleJson(TypedDict):
    """Letter, colour and pattern of a treatment: told apart without colour, too."""

    id: str
    letter: str
    colour: str
    pattern: Pattern


class SourceJson(TypedDict):
    """A source: `direction` points to it; a point has a `position` in place of it."""

    id: str
    title: str
    label: str
    frequency_hz: list[float]
    direction: Flat | None
    azimuth_rad: float | None
    elevation_rad: float
    spread_rad: float
    position: Flat | None
    space: str | None


class FurnitureJson(TypedDict):
    """A box turned about z."""

    kind: str
    centre: Flat
    size: Flat
    heading_rad: float


class ReceiverJson(TypedDict):
    """A receiver; `size` is None for a point; `nothing` is said of a face without a leak at it."""

    id: str
    title: str
    space: str
    position: Flat
    size: Flat | None
    furniture: list[FurnitureJson]
    nothing: str


class SightJson(TypedDict):
    """Line of sight to a transmitter, open where it passes a panel; two points each piece.

    `dashes` are what is drawn: whole in the receiver's room, dashed beyond it.
    """

    source: str
    receiver: str
    pieces: list[Flat]
    dashes: list[Flat]


class RingJson(TypedDict):
    """The compass around what is shown, at the foot of its floor."""

    centre: Flat
    radius_m: float


class SourceMarkJson(TypedDict):
    """A source in a picture: label, what it names, and the arrow's tail and tip.

    `arrow` is None for a transmitter that stands where it is, `hidden` one in a room not shown.
    """

    source: str
    label: str
    short: str
    at: Flat
    arrow: Flat | None
    hidden: bool


class ArcJson(TypedDict):
    """A part of the ring before something outdoors that blocks."""

    id: str
    text: str
    points: Flat


class ScopeJson(TypedDict):
    """What is shown around a receiver (its place in `receivers`), and from where at first.

    Modes: its room; all rooms of one `storey`; the whole house; the house without its top `count`
    storeys. Rooms stand in `full`, are cut `low` around them, or lie `below`. The eye's azimuth is
    clockwise from +y. `mark_m`: half the width of a transmitter's mark.
    """

    receiver: int
    mode: Literal["room", "one", "all", "peel"]
    storey: str | None
    count: int
    full: list[str]
    low: list[str]
    below: list[str]
    ring: RingJson
    azimuth_rad: float
    elevation_rad: float
    mark_m: float
    marks: list[SourceMarkJson]
    arcs: list[ArcJson]


class MovedJson(TypedDict):
    """What a plan moves: receivers, lines of sight and scopes in place of the scene's own."""

    receivers: list[ReceiverJson]
    sights: list[SightJson]
    scopes: list[ScopeJson]


class PlanJson(TypedDict):
    """A plan; `receivers` goes by receiver, None where nothing is worked out yet.

    `moved` is None where sources and beds stay.
    """

    id: str
    title: str
    treated_area_m2: dict[str, float]
    receivers: list[NumbersJson | None]
    moved: MovedJson | None


class ThemeJson(TypedDict):
    """Colours of what is no quantity; `shadow`: darkness of the shade on the ground, 0 to 1."""

    name: Literal["light", "dark"]
    paper: str
    paper_top: str
    ink: str
    muted: str
    edge: str
    rim: str
    plinth: str
    ghost: str
    ghost_edge: str
    neutral: str
    ring: str
    source: str
    label: str
    beam: str
    beam_edge: str
    shadow: float


class FurnitureLookJson(TypedDict):
    """`squareness`: 1 is an ellipsoid, towards 0 a sharp box; None for a sharp box."""

    colour: str
    squareness: float | None


class LookJson(TypedDict):
    """Colours and limits that pictures and pages share.

    Amber is for gaps alone, `amber_case` its dark rim, `landing` where a beam lands. `stub_m`: what
    is left of a wall before the eye.
    """

    themes: dict[str, ThemeJson]
    amber: str
    amber_case: str
    landing: str
    furniture: dict[str, FurnitureLookJson]
    stub_m: float
    max_beams: int
    max_labels: int


class BeamShareJson(TypedDict):
    """What a beam carries under one plan."""

    level_w_m2: float
    share: float
    loss_db: float | None
    lit_area_m2: float
    is_gap: bool


class BeamSideJson(TypedDict):
    """The ring at the panel, and the same ring where the beam has faded."""

    near: Flat
    far: Flat


class LandingJson(TypedDict):
    """Where a beam lands: on a panel or a receiver."""

    on: str
    area_m2: float
    vertices: Flat
    triangles: list[int]
    rings: list[int]


class BeamJson(TypedDict):
    """A beam through a panel; `plans` goes by plan."""

    source: str
    receiver: str
    panel: str
    inside: MeshJson
    outside: list[BeamSideJson]
    landings: list[LandingJson]
    plans: list[BeamShareJson | None]


class BlockJson(TypedDict):
    """What stands outdoors and blocks, by the corners of its plan."""

    id: str
    corners: Flat


class CableShareJson(TypedDict):
    """What remains of the field with a cable off; `rank`: 0 leaves least; `matters`: less does."""

    colour: str
    label: str
    rank: int
    matters: bool


class CableJson(TypedDict):
    """A run of the house wiring, a device or its cord, as a tube; `what` is off in its figures.

    `plans`: by plan and receiver; none at all before the field is worked out.
    """

    id: str
    circuit: str
    kind: Literal["run", "cord", "device"]
    what: str
    spaces: list[str]
    mark: Flat
    vertices: Flat
    triangles: list[int]
    plans: list[list[CableShareJson | None]]


class SpotJson(TypedDict):
    """An outlet or a bond: a small plate on its face; `plans`: ids of those that make a bond."""

    id: str
    kind: Literal["socket", "switch", "light", "bond"]
    space: str
    colour: str
    plans: list[str] | None
    vertices: Flat
    triangles: list[int]


class StripJson(TypedDict):
    """A strip of coating on a face, under the plans (by their ids) that put it there."""

    panel: str
    colour: str
    plans: list[str]
    vertices: Flat
    triangles: list[int]


class WiringKeyJson(TypedDict):
    """A colour of the cables and what it says."""

    colour: str
    words: str


class WiringJson(TypedDict):
    """The house wiring. `fields`: by plan and receiver, in words; "" where not worked out."""

    cables: list[CableJson]
    spots: list[SpotJson]
    strips: list[StripJson]
    key: list[WiringKeyJson]
    title: str
    most_named: int
    fields: list[list[str]]


class SceneJson(TypedDict):
    """Everything that a picture shows; `north` is a unit vector."""

    format: Literal[1]
    name: str
    threshold_db: float
    feet: bool
    north_rad: float
    grade_m: float
    bounds: Flat
    scales: ScalesJson
    cividis: list[str]
    look: LookJson
    north: Flat
    storeys: list[StoreyJson]
    spaces: list[SpaceJson]
    panels: list[PanelJson]
    walls: list[WallJson]
    plans: list[PlanJson]
    treatments: list[TreatmentStyleJson]
    sources: list[SourceJson]
    receivers: list[ReceiverJson]
    sights: list[SightJson]
    scopes: list[ScopeJson]
    beams: list[BeamJson]
    blocks: list[BlockJson]
    wiring: WiringJson | None
    notes: list[str]


class ColumnJson(TypedDict):
    """What changes with one plan; a panel that is left out is bare and lets nothing in."""

    plan: PlanJson
    panels: dict[str, PanelStateJson]
    beams: list[BeamShareJson | None]


class SkyOutlineJson(TypedDict):
    """Outline of a panel on the disc of all directions."""

    panel: str
    runs: list[Flat]
    mark: Flat


class SkySourceJson(TypedDict):
    """A source on the disc of all directions."""

    id: str
    label: str
    at: Flat
    rim: Flat


class SkyViewJson(TypedDict):
    """All directions around a place; grids are run-length coded."""

    receiver: str
    side: int
    panels: list[str]
    first: list[int]
    losses: list[list[int]]
    outlines: list[SkyOutlineJson]
    sources: list[SkySourceJson]
    scale_db: list[float]
    cividis: list[str]


class SkyJson(SkyViewJson):
    """All directions around a receiver; `moved` by plan, None where bed and sources stay."""

    moved: list[SkyViewJson | None]


class ReadingJson(TypedDict):
    """A reading: where the meter was held, what it showed under a plan, whether it is explained.

    `space`: None outdoors. `label`: beside its mark; `where` and `lines`: the same in full.
    """

    id: str
    at: tuple[float, float, float]
    space: str | None
    plan: str
    stands: Literal["explained", "not explained", "cannot be told", "not judged"]
    colour: str
    label: str
    where: str
    lines: list[str]
