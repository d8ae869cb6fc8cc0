"""What of a large file lies near the spaces asked for: the rest is neither closed nor cut."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from envelope.exchange.ifc.bodies import Body, IfcModel, Void
from envelope.geometry.plane import Floats

NEIGHBOUR_M = 2.5  # farther than the thickest wall between two rooms
LINE_M = 9.0  # farther than lines from a panel run


class Around:
    """What of a file lies near the spaces asked for: all that their panels can look at."""

    def __init__(self, model: IfcModel, wanted: Sequence[int]) -> None:
        self.model = model
        self.boxes = [_box(model.spaces[index].triangles) for index in wanted]
        self.wanted = frozenset(wanted)

    def _near(self, triangles: Floats | None, reach_m: float) -> bool:
        low, high = _box(triangles)
        return any(
            bool(np.all(low <= far + reach_m) and np.all(high >= near - reach_m))
            for near, far in self.boxes
        )

    def spaces(self) -> list[int]:
        """Indices of the spaces asked for and of their neighbours."""
        return [
            index
            for index, space in enumerate(self.model.spaces)
            if index in self.wanted or self._near(space.triangles, NEIGHBOUR_M)
        ]

    def elements(self) -> list[Body]:
        """Elements that a line from a panel can meet."""
        return [body for body in self.model.shell if self._near(body.triangles, LINE_M)]

    def voids(self) -> list[Void]:
        """Openings in the walls of the spaces and of their neighbours."""
        return [void for void in self.model.voids if self._near(void.triangles, LINE_M)]


def _box(triangles: Floats | None) -> tuple[Floats, Floats]:
    if triangles is None or not len(triangles):
        return np.full(3, np.inf), np.full(3, -np.inf)
    corners = triangles.reshape(-1, 3)
    return corners.min(axis=0), corners.max(axis=0)
