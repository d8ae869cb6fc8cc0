"""On which side of its room a wall stands, and which of several walls on one side is meant."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from envelope.building.model import Panel
from envelope.errors import length_text
from envelope.geometry.plane import Floats

COMPASS = ("north", "east", "south", "west")
_LEVEL = 0.7  # a panel whose normal leans less than 45° from the level is a wall by side


def compass_side(inward: Sequence[float] | Floats) -> str:
    """Compass word of the side on which a face lies whose normal points inward.

    Examples
    --------
    >>> compass_side((0.0, 1.0, 0.0)), compass_side((-0.8, 0.6, 0.0))
    ('south', 'east')
    """
    x, y = float(inward[0]), float(inward[1])
    if abs(x) > abs(y):
        return "east" if x < 0.0 else "west"
    return "north" if y < 0.0 else "south"


def side_of(panel: Panel) -> str | None:
    """Compass word of the side on which a wall stands, in the project's axes; None if level.

    Examples
    --------
    >>> wall = Panel(id="a/1", space="a", kind="wall",
    ...              outline=np.array([[0, 0, 0], [1, 0, 0], [1, 0, 1], [0, 0, 1.0]])[::-1])
    >>> side_of(wall)
    'south'
    """
    return None if abs(float(panel.normal[2])) > _LEVEL else compass_side(panel.normal)


def several_walls(panels: Sequence[Panel], name: str) -> str:
    """Which walls a name such as "bedroom/west" may mean, each with its length.

    Parameters
    ----------
    panels : sequence of Panel
        Of a building, or of some of its rooms.
    name : str
        A space and a compass word; of any other name nothing is said.

    Returns
    -------
    words : str
        "" where fewer than two walls of the space stand on that side.
    """
    space, _, side = name.partition("/")
    walls = [each for each in panels if each.space == space and each.kind == "wall"]
    walls = [each for each in walls if side in COMPASS and side_of(each) == side]
    if len(walls) < 2:
        return ""
    return several_words(space, side, [(each.id, _length_m(each)) for each in walls])


def several_words(space: str, side: str, walls: Sequence[tuple[str, float]]) -> str:
    """Say that a side has several walls, each by its id with its length.

    Parameters
    ----------
    space, side : str
        Id of the room, and the compass word.
    walls : sequence of (str, float)
        Ids and lengths. [m]
    """
    named = ", or ".join(f'"{wall}", {length_text(length_m)} long' for wall, length_m in walls)
    return f'"{space}" has {len(walls)} walls to the {side}: name one of them, {named}'


def _length_m(wall: Panel) -> float:
    flat = wall.outline[:, :2]
    return float(np.hypot(*(flat.max(axis=0) - flat.min(axis=0))))
