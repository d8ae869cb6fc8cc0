from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from envelope.building.model import Building
from envelope.errors import RangeError, StaleCastError
from envelope.rays import Crossings, Sampling, cast_directions, merge, standard_error

FEW = Sampling(points_per_panel=64, points=512)


def crossings(**changes: object) -> Crossings:
    given: dict[str, object] = {
        "digest": "one",
        "bins": 4,
        "first_panel": np.array([0, 1], dtype=np.int32),
        "sky": np.array([2, 0], dtype=np.int8),
        "weights_sr": np.array([[1.0] * 8, [2.0] * 8]),
        "start": np.array([0, 2, 3]),
        "entries": np.array([3, 7, 7], dtype=np.int32),
        "rays": 10,
    }
    return Crossings(**(given | changes))  # type: ignore[arg-type]


def table(cast: Crossings) -> dict[tuple[int, ...], float]:
    return {
        (
            int(cast.first_panel[i]),
            int(cast.sky[i]),
            *map(int, cast.entries[cast.start[i] : cast.start[i + 1]]),
        ): float(cast.solid_angle_sr[i])
        for i in range(len(cast.sky))
    }


def test_standard_error_of_known_scatter() -> None:
    """Eight values ±1 about 5: deviation √(8/7), over √8, times Student's 2.998 of the tables."""
    values = np.array([4.0, 6.0] * 4)
    assert standard_error(values) == pytest.approx(2.998 / np.sqrt(7.0), rel=2e-4)
    assert standard_error(np.stack((values, 2.0 * values))).shape == (2,)
    assert standard_error(np.full(8, 3.0)) == 0.0


def test_standard_error_covers_the_truth_as_often_as_it_says() -> None:
    values = np.random.default_rng(4).normal(size=(20_000, 8))
    covered = np.abs(values.mean(axis=1)) <= standard_error(values)
    assert covered.mean() == pytest.approx(0.98, abs=0.003)


def test_merging_one_cast_gives_it_back() -> None:
    cast = crossings()
    assert merge([cast]) is cast


def test_merging_takes_the_mean() -> None:
    other = crossings(
        first_panel=np.array([1, 1, 0], dtype=np.int32),
        sky=np.array([0, 2, 2], dtype=np.int8),
        weights_sr=np.array([[6.0] * 8, [3.0] * 8, [0.5] * 8]),
        start=np.array([0, 1, 2, 5]),
        entries=np.array([7, 7, 3, 7, 7], dtype=np.int32),
    )
    merged = merge([crossings(), other])
    assert table(merged) == {
        (0, 2, 3, 7): 0.5,
        (0, 2, 3, 7, 7): 0.25,
        (1, 0, 7): 4.0,
        (1, 2, 7): 1.5,
    }
    assert merged.rays == 20


def test_merging_tells_permuted_and_repeated_entries_apart() -> None:
    shapes = [[1], [1, 1], [1, 1, 1], [2], [1, 2], [1, 1, 2], [1, 2, 2], [3, 4], [2, 5]]
    parts = [
        crossings(
            first_panel=np.array([0], dtype=np.int32),
            sky=np.array([2], dtype=np.int8),
            weights_sr=np.ones((1, 8)),
            start=np.array([0, len(shape)]),
            entries=np.array(shape, dtype=np.int32),
        )
        for shape in shapes
    ]
    merged = merge(parts + parts)
    assert table(merged) == {(0, 2, *shape): pytest.approx(1.0 / 9.0) for shape in shapes}


def test_merging_refuses_what_does_not_belong_together() -> None:
    with pytest.raises(RangeError, match="0 casts to merge; allowed: at least 1"):
        merge([])
    with pytest.raises(StaleCastError, match="different buildings"):
        merge([crossings(), crossings(digest="two")])
    with pytest.raises(RangeError, match="4 and 8 cosine bins"):
        merge([crossings(), crossings(bins=8)])


def test_a_cast_knows_its_building(box_room: Callable[..., Building]) -> None:
    small, large = box_room(), box_room(size=(5.0, 3.0, 2.4))
    cast = cast_directions(small, space="room", position_m=np.array([1.0, 1.0, 1.0]), sampling=FEW)
    cast.check(small)
    with pytest.raises(StaleCastError, match="cast again"):
        cast.check(large)


def test_a_cast_cannot_be_changed(box_room: Callable[..., Building]) -> None:
    cast = cast_directions(
        box_room(), space="room", position_m=np.array([1.0, 1.0, 1.0]), sampling=FEW
    )
    for name in ("first_panel", "sky", "weights_sr", "start", "entries"):
        with pytest.raises(ValueError, match="read-only"):
            getattr(cast, name)[0] = 0
