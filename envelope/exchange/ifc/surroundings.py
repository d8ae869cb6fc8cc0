"""What stands round the rooms of a file: elements, ceilings hung in them, rooms not imported."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from envelope.building.model import Panel
from envelope.building.point_location import winding
from envelope.exchange.ifc.behind import (
    BEHIND_M,
    HUNG_M,
    HUNG_SHARE,
    INSIDE_M,
    Passage,
    Shell,
    behind,
    past_the_gap,
    spots_in,
)
from envelope.exchange.ifc.facets import Facets, united
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import Area, pieces, swept

TOUCHING_M = 0.05  # spaces this near each other with no element between are one open room
FOOTPRINT_M2 = 0.02
LEAST_CELLAR_M, MOST_CELLAR_M = 0.6, 6.0  # clear height of a void under a floor
CLEAR_M = 0.3  # over the floor of a space, in which no roof of its own is looked for


@dataclass(slots=True)
class Surroundings:
    """The elements and solids of a file, asked from the panels of its spaces."""

    ids: Sequence[str]  # of the spaces, by index
    shell: Shell
    solids: Mapping[int, Facets]
    triangles: Mapping[int, Floats]  # (n, 3, 3) of each space's solid, usable or not
    # Area [m²] under elements that hang inside a space, by space and element.
    hung: dict[tuple[str, str], float] = field(default_factory=dict)

    def height_m(self, space: str) -> float:
        """Height of a space's solid. [m]"""
        return float(np.ptp(self.solids[self.ids.index(space)].corners[:, 2]))

    def hangs_m(self, space: str) -> float:
        """How far below the top of a space its ceiling may hang. [m]"""
        return max(INSIDE_M, min(HUNG_M, HUNG_SHARE * self.height_m(space)))

    def open_parts(self, panel: Panel, area: Area, distance_m: float) -> list[tuple[Area, bool]]:
        """Parts of a facing area, each with whether nothing stands there."""
        if distance_m > TOUCHING_M:
            return [(area, False)]
        covered = []
        for index in range(len(self.shell.bodies)):
            print_ = self._footprint(index, panel, area, distance_m + BEHIND_M)
            if print_ is not None:
                covered.append(print_[0])
        # A footprint is only a hint: what the line through it passes decides.
        parts: list[tuple[Area, bool]] = []
        cover = united(covered)
        for part in (swept(area.intersection(cover)), swept(area.difference(cover))):
            for piece in pieces(part):
                spots = spots_in(piece)
                empty = sum(
                    not behind(self.shell, panel.frame, spot, distance_m=distance_m)
                    for spot in spots
                )
                parts.append((piece, 2 * empty > len(spots)))
        return parts

    def _footprint(
        self, index: int, panel: Panel, area: Area, reach_m: float, inside_m: float = INSIDE_M
    ) -> tuple[Area, float] | None:
        margin_m = max(reach_m, inside_m)
        low, high = panel.outline.min(axis=0) - margin_m, panel.outline.max(axis=0) + margin_m
        if np.any(self.shell.low[index] > high) or np.any(self.shell.high[index] < low):
            return None
        found = self.shell.footprint(index, panel.frame, reach_m=reach_m, inside_m=inside_m)
        if found is None:
            return None
        shared = swept(area.intersection(found[0]))
        return None if shared.area < FOOTPRINT_M2 else (shared, found[1])

    def by_element(
        self, panel: Panel, area: Area, distance_m: float | None, *, far: str | None = None
    ) -> list[tuple[Area, tuple[Passage, ...]]]:
        """An area split by the nearest element behind each part, and what lies behind it.

        Parameters
        ----------
        panel : Panel
        area : Area
            In the panel's frame.
        distance_m : float or None
            To the room on the other side, `far`; None for none. [m]
        """
        prints = []
        inside_m = self.hangs_m(panel.space) if panel.kind == "ceiling" else INSIDE_M
        beyond_m = self.hangs_m(far) if panel.kind == "floor" and far is not None else INSIDE_M
        reach = BEHIND_M if distance_m is None else min(BEHIND_M, distance_m + 0.01)
        for index in range(len(self.shell.bodies)):
            found = self._footprint(index, panel, area, reach, inside_m)
            if found is not None:
                prints.append((found[1], index, found[0]))
        prints.sort(key=lambda item: item[:2])
        parts: list[Area] = []
        left = area
        for _, _, shape in prints:
            part = swept(left.intersection(shape))
            if part.area > FOOTPRINT_M2:
                parts.append(part)
                left = swept(left.difference(part))
        if not left.is_empty:
            parts.append(left)
        result = []
        for part in parts:
            for piece in pieces(part):
                stacks = [
                    behind(
                        self.shell,
                        panel.frame,
                        spot,
                        distance_m=distance_m,
                        inside_m=inside_m,
                        beyond_m=beyond_m,
                    )
                    or self._own_roof(panel, spot, distance_m)
                    for spot in spots_in(piece)
                ]
                votes = Counter(tuple(item.element for item in stack) for stack in stacks)
                most = votes.most_common(1)[0][0] if votes else ()
                passed = next(
                    (stack for stack in stacks if tuple(item.element for item in stack) == most),
                    (),
                )
                result.append((piece, passed))
                self._keep_hung(panel, piece, passed)
        return result

    def _own_roof(
        self, panel: Panel, spot: Floats, distance_m: float | None
    ) -> tuple[Passage, ...]:
        """The roof that stands inside a space, under its top, where nothing stands behind."""
        if panel.kind not in ("ceiling", "wall") or distance_m is not None:
            return ()
        corners = self.solids[self.ids.index(panel.space)].corners
        if panel.kind == "ceiling":
            inside_m = self.height_m(panel.space) - CLEAR_M
        else:
            inside_m = 0.5 * float(np.ptp(corners @ panel.normal))
        begin = panel.frame.lift(spot[np.newaxis])[0] + inside_m * panel.normal
        return tuple(
            Passage(
                element=item.element, start_m=item.start_m - inside_m, end_m=item.end_m - inside_m
            )
            for item in self.shell.passages(begin, -panel.normal, reach_m=inside_m)
            if self.shell.bodies[item.element].type in ("IfcRoof", "IfcSlab")
            and item.end_m < inside_m + INSIDE_M
        )

    def _keep_hung(self, panel: Panel, area: Area, passed: Sequence[Passage]) -> None:
        for item in passed:
            if item.end_m < -INSIDE_M:
                body = self.shell.bodies[item.element]
                key = (panel.space, body.name.rsplit(":", 1)[0] or body.type)
                self.hung[key] = self.hung.get(key, 0.0) + float(area.area)

    def hollow(self, panel: Panel, area: Area, passed: Sequence[Passage]) -> bool:
        """Whether a void with an element under it lies below a floor: a cellar without a space."""
        spot = spots_in(area, count=1)
        if not passed or not len(spot):
            return False
        past = past_the_gap(self.shell, panel.frame, spot[0], passed)
        if past is None:
            return False
        clear_m = past.start_m - max(item.end_m for item in passed)
        return LEAST_CELLAR_M < clear_m < MOST_CELLAR_M

    def unusable(self, panel: Panel, area: Area, passed: Sequence[Passage]) -> int | None:
        """A space of the file that has no usable solid but whose shape begins behind a panel."""
        spot = spots_in(area, count=1)
        if not self.triangles.keys() - self.solids.keys() or not len(spot):
            return None
        last = max((item.end_m for item in passed), default=0.0)
        point = panel.frame.lift(spot)[0] - (last + TOUCHING_M) * panel.normal
        for index in sorted(self.triangles.keys() - self.solids.keys()):
            corners = np.asarray(self.triangles[index]).reshape(-1, 3)
            if np.all(point > corners.min(axis=0)) and np.all(point < corners.max(axis=0)):
                return index
        return None

    def farther(self, panel: Panel, area: Area, passed: Sequence[Passage]) -> int | None:
        """A space that begins right behind the elements behind a panel, farther than rays look."""
        if not passed:
            return None
        last = max(0.0, *(item.end_m for item in passed))
        spot = spots_in(area, count=1)
        if not len(spot):
            return None
        point = panel.frame.lift(spot)[0] - (last + 0.02) * panel.normal
        for index, solid in self.solids.items():
            low, high = solid.corners.min(axis=0), solid.corners.max(axis=0)
            if np.all(point > low) and np.all(point < high):
                triangles = np.asarray(self.triangles[index])
                if abs(float(winding(point[np.newaxis], triangles)[0])) > 0.5:
                    return index
        return None
