"""Hidden lines, against lengths that are worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from envelope.building.model import Panel
from viewer.pictures.hidden_lines import facing, split_by_sight

SOUTH = np.array([0.0, -1.0, 0.0])


def wall(y: float, *, low: float = 0.0, high: float = 1.0, turned: bool = False) -> Panel:
    """A square of 1 m at y whose inside looks south, or north where it is turned."""
    ring = np.array([(low, y, 0.0), (high, y, 0.0), (high, y, 1.0), (low, y, 1.0)])
    return Panel(id=f"a/{y}", space="a", kind="wall", outline=ring[::-1] if turned else ring)


def length(lines: np.ndarray) -> float:
    return float(np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1).sum())


def test_what_faces_the_eye_hides_and_what_is_turned_away_is_cut_away():
    near, away = wall(1.0), wall(1.0, turned=True)
    assert facing([near, away], SOUTH) == [near]


def test_an_edge_behind_a_wall_is_hidden_where_the_wall_is():
    edge = np.array([[(-1.0, 2.0, 0.5), (3.0, 2.0, 0.5)]])  # 4 m, behind a wall of 1 m
    seen, hidden = split_by_sight(edge, [wall(1.0)], towards_eye=SOUTH)
    assert length(hidden) == pytest.approx(1.0)
    assert length(seen) == pytest.approx(3.0)
    assert hidden[0] == pytest.approx(np.array([(0.0, 2.0, 0.5), (1.0, 2.0, 0.5)]))


def test_an_edge_before_a_wall_or_in_it_is_seen():
    for y in (0.5, 1.0):
        edge = np.array([[(-1.0, y, 0.5), (3.0, y, 0.5)]])
        seen, hidden = split_by_sight(edge, [wall(1.0)], towards_eye=SOUTH)
        assert (length(seen), len(hidden)) == (pytest.approx(4.0), 0)


def test_an_edge_through_a_wall_is_hidden_from_there_on():
    # from 1 m before the wall to 1 m behind it, across its whole width; half of it is behind
    edge = np.array([[(0.0, 0.0, 0.5), (1.0, 2.0, 0.5)]])
    seen, hidden = split_by_sight(edge, [wall(1.0)], towards_eye=SOUTH)
    assert length(hidden) == pytest.approx(np.sqrt(5.0) * 0.98 / 2)  # 2 cm of depth are free
    assert length(seen) + length(hidden) == pytest.approx(np.sqrt(5.0))


def test_walls_that_overlap_hide_once_and_a_hole_shows_what_is_behind():
    edge = np.array([[(-1.0, 3.0, 0.5), (3.0, 3.0, 0.5)]])
    both = [wall(1.0), wall(2.0, low=0.5, high=1.5)]
    _, hidden = split_by_sight(edge, both, towards_eye=SOUTH)
    assert length(hidden) == pytest.approx(1.5)
    window = np.array([(0.4, 1.0, 0.2), (0.4, 1.0, 0.8), (0.6, 1.0, 0.8), (0.6, 1.0, 0.2)])
    holed = Panel(id="a/1", space="a", kind="wall", outline=wall(1.0).outline, holes=(window,))
    _, hidden = split_by_sight(edge, [holed], towards_eye=SOUTH)
    assert length(hidden) == pytest.approx(0.8)


def test_nothing_hides_where_there_is_no_panel():
    edge = np.array([[(0.0, 0.0, 0.0), (1.0, 0.0, 0.0)]])
    seen, hidden = split_by_sight(edge, [], towards_eye=SOUTH)
    assert (len(seen), len(hidden)) == (1, 0)
