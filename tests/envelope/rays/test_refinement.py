"""More points where they bring most, and heavy signatures in finer angles."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from envelope.building.model import Building
from envelope.building.rooms.specs import OpeningSpec
from envelope.errors import RangeError
from envelope.rays import Crossings, Sampling, cast_directions
from envelope.rays.records import hashed
from envelope.rays.refinement import FALL, Scatter, doublings
from envelope.rays.sampling import DEFAULT, FINE, sampling_for

EYE = np.array([1.0, 1.0, 1.0])
BEDROOM = {"space": "bedroom", "position_m": np.array([1.0, 1.0, 3.4])}
FEW = Sampling(points_per_panel=64, points=512)


@pytest.fixture(scope="module")
def refined(three_storey_house: Building) -> Crossings:
    """The usual cast of the house's bedroom."""
    return cast_directions(three_storey_house, **BEDROOM)  # type: ignore[arg-type]


def test_the_panel_that_scatters_most_gets_points_first() -> None:
    """One figure, two panels of a thousand rays, scatters of 3 and 0.1 times what is allowed."""
    scatter = Scatter(share=np.array([[9.0, 0.01]]))
    times = doublings(scatter, rays=np.array([1000, 1000]), room=10**6)
    assert times.tolist() == [2, 0]  # twice at most in a round
    assert scatter.reached[0] > 1.0 > 9.0 * 2.0 ** (-3 * FALL)


def test_no_points_where_everything_is_reached_or_rays_run_out() -> None:
    rays = np.array([1000, 1000])
    reached = Scatter(share=np.array([[0.5, 0.4]]))
    assert doublings(reached, rays=rays, room=10**6).tolist() == [0, 0]
    short = Scatter(share=np.array([[9.0, 0.01]]))
    assert doublings(short, rays=rays, room=999).tolist() == [0, 0]
    assert doublings(short, rays=rays, room=1000).tolist() == [1, 0]


def test_scatter_is_that_of_the_panels_own_rays() -> None:
    """Eight scrambles of equal sums scatter by nothing; ±1 % of a sphere by Student's factor."""
    even = np.full((13, 2, 8), 1.0)
    assert Scatter.of(even, error=1e-3).reached.max() == pytest.approx(0.0, abs=1e-20)
    uneven = even.copy()
    uneven[6:, 0] += 4.0 * np.pi * 0.01 * np.array([1.0, -1.0] * 4)
    reached = Scatter.of(uneven, error=1e-3).reached
    assert reached[:6] == pytest.approx(0.0, abs=1e-20)
    # variance of ±1 with seven degrees of freedom: 8/7; 0.7 of the error is what may be used
    expected = 2.9979515668685277**2 / 8.0 * (8.0 / 7.0) * 10.0**2 / 0.7**2
    assert reached[6:] == pytest.approx(expected)


def test_less_error_takes_more_rays(box_room: Callable[..., Building]) -> None:
    window = OpeningSpec(
        id="W", on="room/south", kind="window", width_m=1.2, height_m=1.2, along_m=0.5, sill_m=0.8
    )
    building = box_room(openings=(window,))
    counts = [
        cast_directions(
            building,
            space="room",
            position_m=EYE,
            sampling=Sampling(points_per_panel=2**8, points=2**11, error=error),
        ).rays
        for error in (None, 1e-1, 1e-3, 1e-4)
    ]
    assert counts[0] == counts[1] < counts[2] < counts[3]


def test_no_more_rays_than_it_may_cost(three_storey_house: Building) -> None:
    most = 2**17
    sampling = Sampling(points_per_panel=2**8, points=2**12, error=1e-5, most_rays=most)
    cast = cast_directions(three_storey_house, sampling=sampling, **BEDROOM)  # type: ignore[arg-type]
    assert most / 8 < cast.rays <= most


def test_finer_angles_are_of_their_signature(refined: Crossings) -> None:
    """A part crosses what its signature crosses, in parts of the same bins, and weighs no more."""
    finer = refined.finer
    assert finer is not None
    assert len(finer.parent) > 1000
    weights_sr = np.zeros(len(refined.sky))
    np.add.at(weights_sr, finer.parent, finer.weights_sr.mean(axis=1))
    assert (weights_sr <= refined.solid_angle_sr * (1.0 + 1e-12)).all()
    for part in range(0, len(finer.parent), 7):
        entries = finer.entries[finer.start[part] : finer.start[part + 1]]
        whole = int(finer.parent[part])
        of_signature = refined.entries[refined.start[whole] : refined.start[whole + 1]]
        assert np.array_equal(np.sort(entries // finer.per_bin), of_signature)
        assert not (entries % finer.width[part]).any()


def test_what_is_heavy_is_split_until_it_is_light(refined: Crossings) -> None:
    """Nothing in wide parts weighs over a quarter of the error asked for, over the sphere."""
    finer = refined.finer
    assert finer is not None
    assert DEFAULT.error is not None
    split = finer.width > finer.width.min()
    light_sr = 4.0 * np.pi * 0.25 * DEFAULT.error
    assert split.any()
    assert finer.weights_sr[split].mean(axis=1).max() <= light_sr


def test_points_move_nothing_by_more_than_the_error(
    three_storey_house: Building, refined: Crossings
) -> None:
    """The exposed solid angle by the refined cast and by another with more points to begin with."""
    other = cast_directions(
        three_storey_house,
        sampling=Sampling(points_per_panel=2**13, points=2**18, seed=7),
        **BEDROOM,  # type: ignore[arg-type]
    )
    exposed_sr = [float(cast.solid_angle_sr[cast.sky > 0].sum()) for cast in (refined, other)]
    assert exposed_sr[0] == pytest.approx(exposed_sr[1], abs=4.0 * np.pi * 1e-3)
    assert refined.solid_angle_sr.sum() == pytest.approx(4.0 * np.pi, abs=4.0 * np.pi * 1e-3)


def test_hashes_are_those_of_the_compiled_count(
    box_room: Callable[..., Building],
) -> None:
    """Equal signatures have equal hashes wherever they come from, and others do not."""
    cast = cast_directions(box_room(), space="room", position_m=EYE, sampling=FEW)
    hashes = hashed(
        first_panel=cast.first_panel, sky=cast.sky, start=cast.start, entries=cast.entries
    )
    assert np.array_equal(hashes, np.unique(hashes))  # the cast is in the order of its hashes


@pytest.mark.parametrize("error", [0.0, 9e-6, 0.11, -1.0, float("nan")])
def test_errors_that_cannot_be_asked_for(error: float) -> None:
    with pytest.raises(RangeError, match=r"sampling error is .*; allowed: 1e-05 to 0\.1"):
        sampling_for(error=error)


def test_a_smaller_error_may_cost_as_much_as_the_fine_cast() -> None:
    assert sampling_for() == DEFAULT
    assert sampling_for(fine=True) == FINE
    assert sampling_for(error=1e-2).most_rays == DEFAULT.most_rays
    assert sampling_for(error=1e-4).most_rays == FINE.most_rays
