from __future__ import annotations

import threading
from collections.abc import Callable

import numpy as np
import pytest

from envelope.building.model import Building
from envelope.errors import CancelledError
from envelope.rays.building_arrays import geometry_of
from envelope.rays.parallel import follow
from envelope.rays.threads import in_threads


def test_results_come_in_the_order_of_their_tasks() -> None:
    last = threading.Event()

    def work(task: int) -> int:
        if task == 0:
            assert last.wait(10.0)
        else:
            last.set()
        return task * task

    assert in_threads(range(2), work) == [0, 1]
    assert in_threads(list(range(50)), lambda task: -task) == [-task for task in range(50)]
    assert in_threads([], lambda task: task) == []


def test_the_first_failure_comes_through() -> None:
    def work(task: int) -> int:
        if task == 3:
            raise ValueError("task 3")
        return task

    with pytest.raises(ValueError, match="task 3"):
        in_threads(list(range(100)), work)


def test_a_stop_leaves_the_rest_undone() -> None:
    started: list[int] = []
    with pytest.raises(CancelledError):
        in_threads(list(range(1000)), started.append, cancel=lambda: len(started) > 3)
    assert len(started) < 100


def test_rays_kept_whole_survive_any_chunking(
    three_storey_house: Building, monkeypatch: pytest.MonkeyPatch
) -> None:
    geometry = geometry_of(three_storey_house)
    ways = np.random.default_rng(1).normal(size=(3000, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, np.newaxis]
    starts = np.tile(np.array([1.0, 1.0, 3.4]) - geometry.middle, (len(ways), 1))
    home = three_storey_house.space_index["bedroom"]
    whole = follow(geometry, starts=starts, directions=ways, home=home)
    monkeypatch.setattr("envelope.rays.parallel._CHUNK", 1000)
    monkeypatch.setattr("envelope.rays.parallel._ROOM_EACH", 0)
    pieces = follow(geometry, starts=starts, directions=ways, home=home)
    for name in ("start", "rows", "cosines", "spaces", "panels", "sky", "first", "returned"):
        assert (getattr(whole, name) == getattr(pieces, name)).all()
    assert len(whole.start) == 3001


def test_the_order_of_walking_changes_nothing(
    three_storey_house: Building, monkeypatch: pytest.MonkeyPatch
) -> None:
    geometry = geometry_of(three_storey_house)
    ways = np.random.default_rng(2).normal(size=(3000, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, np.newaxis]
    starts = np.tile(np.array([1.0, 1.0, 3.4]) - geometry.middle, (len(ways), 1))
    home = three_storey_house.space_index["bedroom"]
    monkeypatch.setattr("envelope.rays.parallel._CHUNK", 1000)
    as_told = follow(geometry, starts=starts, directions=ways, home=home)
    monkeypatch.setattr("envelope.rays.parallel._MANY_PANELS", 0)
    by_way = follow(geometry, starts=starts, directions=ways, home=home)
    for name in ("start", "rows", "cosines", "spaces", "panels", "sky", "first", "returned"):
        assert (getattr(as_told, name) == getattr(by_way, name)).all()


def test_no_rays_are_no_trouble(box_room: Callable[..., Building]) -> None:
    trace = follow(
        geometry_of(box_room()), starts=np.empty((0, 3)), directions=np.empty((0, 3)), home=0
    )
    assert trace.start.tolist() == [0]
    assert len(trace.rows) == 0
