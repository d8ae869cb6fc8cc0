"""Rays of one kind put together: fewer of them, the same sums."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from envelope.building.model import Building
from envelope.rays import cast_chain, cast_lit, merge_chain, merge_lit

DOWNWARD = np.array([0.6, -0.64, 0.48])


def carried(start: np.ndarray, rows: np.ndarray, weights: np.ndarray, count: int) -> np.ndarray:
    """Weight that crosses each row, once for each crossing."""
    ray = np.repeat(np.arange(len(weights)), np.diff(start))
    return np.bincount(rows, weights=weights[ray], minlength=count)


def test_a_chain_keeps_what_crosses_each_row(two_rooms: Callable[..., Building]) -> None:
    building = two_rooms()
    chain = cast_chain(building, direction=DOWNWARD, count=2**12)
    merged = merge_chain(chain)
    assert len(merged.weights) < len(chain.weights) / 10
    rows = 2 * len(building.patches)
    np.testing.assert_allclose(
        carried(merged.start, merged.rows, merged.weights, rows),
        carried(chain.start, chain.rows, chain.weights, rows),
        rtol=1e-12,
    )
    assert merged.weights.sum() == pytest.approx(chain.weights.sum(), rel=1e-12)


def test_a_lit_room_keeps_the_area_of_each_panel(two_rooms: Callable[..., Building]) -> None:
    building = two_rooms()
    lit = cast_lit(building, space=building.spaces[0].id, direction=DOWNWARD)
    merged = merge_lit(lit)
    assert len(merged.panel) < len(lit.panel) / 10
    panels = len(building.panels)
    np.testing.assert_allclose(
        np.bincount(merged.panel, weights=merged.area_m2, minlength=panels),
        np.bincount(lit.panel, weights=lit.area_m2, minlength=panels),
        rtol=1e-12,
    )


def test_nothing_stays_nothing(box_room: Callable[..., Building]) -> None:
    building = box_room()
    lit = cast_lit(building, space=building.spaces[0].id, direction=DOWNWARD)
    first = merge_lit(lit)
    again = merge_lit(first)
    assert len(again.panel) == len(first.panel)
