"""A hole in the plane of its ceiling is sound however thin the attic is there."""

from __future__ import annotations

import numpy as np

from envelope.building.checks import check_spaces
from envelope.building.model import Panel, Space

SLOPE = 0.1
WIDE, LONG, STRIP = 6.0, 3.0, 0.3


def wedge(lift_m: float = 0.0) -> Space:
    """An attic that runs out to nothing at x = 0, its ceiling open along the eave."""

    def on_roof(x: float, y: float) -> tuple[float, float, float]:
        return x, y, SLOPE * x + (lift_m if 0.0 < x < WIDE else 0.0)

    def made(name: str, kind: str, corners: list[tuple[float, float, float]]) -> Panel:
        return Panel(
            id=f"attic/{name}",
            space="attic",
            kind=kind,  # type: ignore[arg-type]
            outline=np.array(corners, dtype=float),
            host="attic/ceiling" if kind == "open" else None,
        )

    eave = [(0.0, 0.0, 0.0), (0.0, LONG, 0.0)]
    strip = [on_roof(STRIP, 0.0), on_roof(STRIP, LONG)]
    ridge = [on_roof(WIDE, 0.0), on_roof(WIDE, LONG)]
    foot = [(WIDE, 0.0, 0.0), (WIDE, LONG, 0.0)]
    panels = (
        made("floor", "floor", [eave[0], foot[0], foot[1], eave[1]]),
        made("hole", "open", [eave[0], eave[1], strip[1], strip[0]]),
        made("ceiling", "ceiling", [strip[0], strip[1], ridge[1], ridge[0]]),
        made("high", "wall", [foot[0], ridge[0], ridge[1], foot[1]]),
        made("south", "wall", [eave[0], strip[0], ridge[0], foot[0]]),
        made("north", "wall", [eave[1], foot[1], ridge[1], strip[1]]),
    )
    return Space(id="attic", storey="top", panels=panels, floor_m=0.0, origin=np.zeros(2))


def test_a_hole_along_the_eave_is_sound() -> None:
    assert check_spaces([wedge()]) == []


def test_one_that_comes_through_the_floor_is_not() -> None:
    assert check_spaces([wedge(lift_m=-0.2)])
