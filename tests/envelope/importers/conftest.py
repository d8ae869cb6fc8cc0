"""A small building of our own, for writing out and reading back."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from envelope.building.assembling import assemble_building
from envelope.building.records import Building, Site, Storey
from envelope.building.rooms import build_building
from envelope.building.specs import OpeningSpec, SpaceSpec
from envelope.importers import Imported

CONSTRUCTION = dict.fromkeys(
    ("exterior-wall", "interior-wall", "roof", "slab", "floor", "window", "door", "skylight"), "any"
)


@pytest.fixture(scope="session")
def assembled() -> Callable[[Imported], Building]:
    """An import as a building, every element of one assembly unless it names its own."""
    return lambda imported: assemble_building(
        site=Site(),
        storeys=imported.storeys,
        spaces=imported.spaces,
        construction=CONSTRUCTION,
    )


@pytest.fixture(scope="session")
def two_rooms() -> Building:
    """An L-shaped bedroom and a hall, a door with an undercut between, two windows."""
    return build_building(
        site=Site(),
        storeys=[Storey(id="ground", floor_m=0.0)],
        spaces=[
            SpaceSpec(
                id="bedroom",
                storey="ground",
                corners=np.array(
                    [[0, 0], [4.2, 0], [4.2, 2.6], [2.7, 2.6], [2.7, 3.6], [0, 3.6]], dtype=float
                ),
                height_m=2.4,
            ),
            SpaceSpec(
                id="hall",
                storey="ground",
                corners=np.array([[0, 0], [3.0, 0], [3.0, 2.6], [0, 2.6]]),
                height_m=2.4,
                origin=np.array([4.35, 0.0]),
            ),
        ],
        openings=[
            OpeningSpec(
                id="W1",
                on="bedroom/1",
                kind="window",
                width_m=1.5,
                height_m=1.2,
                along_m=1.0,
                sill_m=0.9,
                reveal_m=0.12,
            ),
            OpeningSpec(
                id="W2",
                on="bedroom/6",
                kind="window",
                width_m=0.8,
                height_m=0.7,
                along_m=1.0,
                sill_m=0.9,
            ),
            OpeningSpec(
                id="D1",
                on="bedroom/2",
                kind="door",
                width_m=0.8,
                height_m=2.0,
                along_m=1.0,
                undercut_m=0.008,
            ),
        ],
        panels=[],
        construction=CONSTRUCTION,
    )
