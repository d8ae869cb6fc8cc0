"""A lying person as two boxes, whose voltage a body-voltage meter would show."""

from __future__ import annotations

import numpy as np

from envelope.building.job import Receiver
from envelope.building.model import Space
from envelope.building.point_location import bounds
from envelope.geometry.plane import Floats

# A plain figure of our own: about 55 to 67 pF in a bedroom.
_LENGTH_M, _WIDTH_M, _THICK_M = 1.7, 0.4, 0.2
_HEAD_M, _HEAD_WIDTH_M = 0.25, 0.18
_ABOVE_HEAD_M = 0.2  # from the crown to a pillow's point
_BELOW_M = 0.15  # of the back below a pillow's point
_CELL_M, _HEAD_CELL_M = 0.14, 0.09
METER_OHM = 1e7  # of the usual body-voltage meter


def lying_body(receiver: Receiver, space: Space) -> list[Floats]:
    """Cells (4, 3) of a person who lies at a receiver.

    Along the longer side of a box; from a point to where the room is longer.
    """
    low, high = bounds(space.panels)
    room = (low + high) / 2.0 - receiver.position_m
    if receiver.size_m is None:
        axis = int(np.argmax(np.abs(room[:2])))
        sign = 1.0 if room[axis] >= 0.0 else -1.0
        crown = receiver.position_m.copy()
        crown[axis] -= sign * _ABOVE_HEAD_M
        crown[2] -= _BELOW_M
    else:
        axis = int(np.argmax(receiver.size_m[:2]))
        sign = 1.0 if room[axis] >= 0.0 else -1.0
        crown = receiver.position_m.copy()
        crown[axis] -= sign * _LENGTH_M / 2.0
        crown[2] -= _THICK_M / 2.0
    along = np.zeros(3)
    along[axis] = sign
    across = np.array([-along[1], along[0], 0.0])
    up = np.array([0.0, 0.0, 1.0])
    torso = _box(
        crown + along * _HEAD_M - across * _WIDTH_M / 2.0,
        (along * (_LENGTH_M - _HEAD_M), across * _WIDTH_M, up * _THICK_M),
        _CELL_M,
    )
    head = _box(
        crown - across * _HEAD_WIDTH_M / 2.0 + up * 0.02,
        (along * _HEAD_M, across * _HEAD_WIDTH_M, up * (_THICK_M - 0.02)),
        _HEAD_CELL_M,
    )
    return torso + head


def _box(origin: Floats, sides: tuple[Floats, Floats, Floats], cell_m: float) -> list[Floats]:
    """Cells of the six faces of a box."""
    cells = []
    for fixed in range(3):
        one, other = (sides[number] for number in range(3) if number != fixed)
        counts = [max(2, round(float(np.linalg.norm(side)) / cell_m)) for side in (one, other)]
        for level in (0.0, 1.0):
            base = origin + level * sides[fixed]
            for i in range(counts[0]):
                for j in range(counts[1]):
                    corner = base + one * i / counts[0] + other * j / counts[1]
                    u, v = one / counts[0], other / counts[1]
                    cells.append(np.array([corner, corner + u, corner + u + v, corner + v]))
    return cells
