"""Panels cut into patches: the parts that have one and the same thing behind them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from shapely.geometry import box as rectangle

from envelope.building.adjacency import FACING_M, Facing
from envelope.building.elements import ElementMaker
from envelope.building.model import Behind, Panel, Patch, Site, Space
from envelope.geometry.polygons import (
    HAIR_M,
    NOTHING,
    ROUNDING_M,
    Area,
    carried,
    common,
    joined,
    minus,
    pieces,
    polygon_of,
    regions_of,
)

# A floor with nothing below it and this far above grade at most lies on earth (a plinth, steps up
# to the door).
ON_EARTH_M = 1.0
TOUCH_M = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Draft:
    """A patch before it has a number."""

    panel: int
    area: Area
    behind: Behind
    far: int | None = None
    distance_m: float = 0.0
    void: bool = False  # the left-over strip beside an interior wall or floor


def is_high(floor_m: float, site: Site) -> bool:
    """Whether a floor with nothing below it is too far above grade to lie on earth."""
    return floor_m - site.grade_m > ON_EARTH_M + ROUNDING_M


def strips(left: Area, faced: Area) -> Area:
    """The parts of what a panel has left that only an interior wall or floor can stand behind.

    They are no wider than the greatest distance of facing panels and touch a facing one: the ends
    of the walls and floors between the spaces behind.
    """
    found: list[Area] = []
    half = 0.5 * FACING_M + HAIR_M  # of two that are just as wide, rounding must not pick one
    for piece in pieces(left):
        if piece.distance(faced) > TOUCH_M:
            continue
        core = piece.buffer(-half, join_style="mitre", mitre_limit=10.0)
        if core.is_empty:
            found.append(piece)
            continue
        wide = core.buffer(half + TOUCH_M, join_style="mitre", mitre_limit=10.0)
        found.extend(
            part
            for part in pieces(minus(piece, wide))
            if part.area > TOUCH_M and part.distance(faced) < TOUCH_M
        )
    return joined(found)


class _Patcher:
    """Drafts the patches of every panel."""

    def __init__(
        self,
        *,
        site: Site,
        spaces: Sequence[Space],
        panels: Sequence[Panel],
        facings: Sequence[Sequence[Facing]],
    ) -> None:
        self.site = site
        self.panels = panels
        self.facings = facings
        self.index = {panel.id: index for index, panel in enumerate(panels)}
        self.spaces = {space.id: space for space in spaces}
        self.carried_by: dict[str, list[int]] = defaultdict(list)
        for index, panel in enumerate(panels):
            if panel.host is not None and panel.kind != "reveal":
                self.carried_by[panel.host].append(index)
        self.voids: dict[int, Area] = {}

    def base(self, panel: Panel) -> Panel:
        """The wall, floor or ceiling that carries a panel, or the panel itself."""
        return self.panels[self.index[panel.host]] if panel.host in self.index else panel

    def void(self, base: int) -> Area:
        """Strips of a whole wall, floor or ceiling, its openings counted as part of it."""
        if base not in self.voids:
            frame = self.panels[base].frame
            members = [base, *self.carried_by[self.panels[base].id]]
            faced = [
                carried(facing.area, self.panels[member].frame, frame)
                for member in members
                for facing in self.facings[member]
            ]
            if faced:
                whole = joined([polygon_of(self.panels[item], frame) for item in members])
                seen = joined(faced)
                self.voids[base] = strips(minus(whole, seen), seen)
            else:
                self.voids[base] = NOTHING
        return self.voids[base]

    def draft(self, index: int) -> list[_Draft]:
        """Patches of one panel that is not a reveal."""
        panel = self.panels[index]
        found = [
            _Draft(
                panel=index,
                area=facing.area,
                behind="space",
                far=facing.far,
                distance_m=facing.distance_m,
            )
            for facing in self.facings[index]
        ]
        left = polygon_of(panel)
        for item in found:
            left = minus(left, item.area)
        base = self.base(panel)
        void = self.void(self.index[base.id])
        strip: Area = NOTHING
        if not void.is_empty and not left.is_empty:
            void = carried(void, base.frame, panel.frame)
            strip, left = common(left, void), minus(left, void)
        if panel.earth or base.earth:
            left, strip = joined([left, strip]), NOTHING
        elif self._is_unmodelled(panel):
            hidden, left, strip = joined([left, strip]), NOTHING, NOTHING
            if not hidden.is_empty:
                found.append(_Draft(panel=index, area=hidden, behind="unmodelled"))
        above, below = self._by_ground(panel, base, left)
        strip_above, strip_below = self._at_grade(panel, strip)
        rest: list[tuple[Area, Behind, bool]] = [
            (above, "outdoors", False),
            (below, "earth", False),
            (strip_above, "outdoors", True),
            (strip_below, "earth", True),
        ]
        for area, behind, is_void in rest:
            if not area.is_empty:
                found.append(_Draft(panel=index, area=area, behind=behind, void=is_void))
        return found

    def _is_unmodelled(self, panel: Panel) -> bool:
        """Whether it leads to a part of the house that is left out; a seam does as its leaf."""
        if panel.kind == "seam" and panel.opening in self.index:
            return self.panels[self.index[panel.opening]].unmodelled
        return panel.unmodelled

    def _by_ground(self, panel: Panel, base: Panel, left: Area) -> tuple[Area, Area]:
        """What of the rest of a panel is against the outdoors, and what against earth."""
        if left.is_empty:
            return NOTHING, NOTHING
        if panel.earth or base.earth:
            return NOTHING, left
        if base.kind == "floor":
            stands_clear = self.spaces[panel.space].raised
            if stands_clear or is_high(float(base.outline[:, 2].min()), self.site):
                return left, NOTHING
            return NOTHING, left
        return self._at_grade(panel, left)

    def _at_grade(self, panel: Panel, left: Area) -> tuple[Area, Area]:
        """What of a part of a panel lies above grade, and what below."""
        if left.is_empty or panel.outline[:, 2].min() >= self.site.grade_m:
            return left, NOTHING
        if panel.outline[:, 2].max() <= self.site.grade_m:
            return NOTHING, left
        level = (self.site.grade_m - panel.frame.origin[2]) / panel.frame.v[2]
        west, south, east, north = left.bounds
        ground = rectangle(west - 1.0, min(south, level) - 1.0, east + 1.0, level)
        air = rectangle(west - 1.0, level, east + 1.0, max(north, level) + 1.0)
        return common(left, air), common(left, ground)


def lay_patches(
    *,
    site: Site,
    spaces: Sequence[Space],
    panels: Sequence[Panel],
    facings: Sequence[Sequence[Facing]],
    maker: ElementMaker,
) -> tuple[Patch, ...]:
    """Patches of all panels, panel by panel: facing ones, unmodelled, outdoors, earth, strips.

    Parameters
    ----------
    site, spaces
        As in `Building`.
    panels : sequence of Panel
        Every panel of `spaces`, in order.
    facings : sequence
        From `find_facings` on the same panels.
    maker : ElementMaker
        Makes the elements; it also notes what construction is missing.
    """
    patcher = _Patcher(site=site, spaces=spaces, panels=panels, facings=facings)
    drafts: list[list[_Draft]] = [
        [] if panel.kind == "reveal" else patcher.draft(index) for index, panel in enumerate(panels)
    ]
    # A reveal has behind it what its opening has.
    guides: dict[int, _Draft] = {}
    for index, panel in enumerate(panels):
        if panel.kind == "reveal":
            leader = panel.opening if panel.opening in patcher.index else panel.host
            known = drafts[patcher.index[leader]] if leader in patcher.index else []
            guide = (
                max(known, key=lambda item: float(item.area.area))
                if known
                else _Draft(panel=index, area=None, behind="outdoors")
            )
            guides[index] = guide
            drafts[index] = [_Draft(panel=index, area=polygon_of(panel), behind=guide.behind)]
    flat = [draft for group in drafts for draft in group]
    numbers = {
        (draft.panel, draft.far): index for index, draft in enumerate(flat) if draft.far is not None
    }
    found: list[Patch] = []
    for index, draft in enumerate(flat):
        panel = panels[draft.panel]
        far = None if draft.far is None else panels[draft.far]
        if draft.panel in guides:
            guide = guides[draft.panel]
            beyond = None if guide.far is None else patcher.base(panels[guide.far])
            element = maker.behind(patcher.base(panel), beyond, guide.behind, void=guide.void)
        else:
            # Round a column or a chimney there is no exterior wall, however thick it is.
            inner = panel.inner or patcher.base(panel).inner
            element = maker.behind(panel, far, draft.behind, void=draft.void or inner)
        found.append(
            Patch(
                index=index,
                panel=panel.id,
                regions=regions_of(draft.area),
                area_m2=sum(float(piece.area) for piece in pieces(draft.area)),
                behind=draft.behind,
                element=element,
                far=None if far is None else far.id,
                partner=None if draft.far is None else numbers[draft.far, draft.panel],
                distance_m=draft.distance_m,
            )
        )
    return tuple(found)
