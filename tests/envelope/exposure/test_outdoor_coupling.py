"""Out of one window and in through another: closed forms, symmetry, and where it is said."""

from __future__ import annotations

import math

import numpy as np
import pytest

from envelope.exposure.diffuse import faces_of
from envelope.exposure.outdoor_coupling import exchange_factors, outdoor_coupling_m2
from envelope.physics.diffraction import knife_edge_loss_db

SIZE = {"sill": "0.9 m", "size": "1.5 m x 1.2 m", "kind": "window"}
AREA = 1.5 * 1.2


@pytest.fixture
def two(room_plain, read_job):
    """Two rooms of 4 × 4 m, the second at `origin`, a window on one wall of each."""

    def made(origin, first, second, *, at=("1 m", "1 m"), **changes):
        rooms = [
            {"id": name, "storey": "ground", "size": "4 m x 4 m", "height": "2.4 m",
             "origin": where, "occupants": 0, "furnishing": "1 m2"}
            for name, where in (("room", "0 m, 0 m"), ("other", origin))
        ]  # fmt: skip
        windows = [
            {"id": f"W-{name}", "on": f"{name}/{wall}", "at": along, **SIZE}
            for name, wall, along in zip(("room", "other"), (first, second), at, strict=True)
        ]
        return read_job(room_plain(space=rooms, opening=windows, **changes))

    return made


def exchange_of(job):
    return exchange_factors(job.building, rooms={"room", "other"})


def panes(job):
    """Indices of the two windows' patches."""
    return [job.building.patches_of[f"{name}/W-{name}"][0].index for name in ("room", "other")]


def between(job):
    """Exchange factor of the two windows, the same either way."""
    found = exchange_of(job)
    one, other = panes(job)
    there = found.factors_m2[found.into == one][0, found.out_of == other]
    back = found.factors_m2[found.into == other][0, found.out_of == one]
    assert there == pytest.approx(back, rel=1e-12)
    return float(there[0])


def test_windows_across_an_inner_corner_see_each_other(two):
    """East wall of one room, south wall of the other: against the double area integral."""
    found = between(two("4.1 m, 4.1 m", 2, 1))
    nodes = (np.arange(16) + 0.5) / 16
    along, beside = 1.0 + 1.5 * nodes, 5.1 + 1.5 * nodes
    south, east, low, high = np.meshgrid(
        4.1 - along, beside - 4.0, 1.2 * nodes, 1.2 * nodes, indexing="ij"
    )
    square = south**2 + east**2 + (high - low) ** 2
    exact = AREA**2 * float((south * east / (math.pi * square**2)).mean())
    assert exact == pytest.approx(0.0527, rel=0.01)
    assert found == pytest.approx(exact, rel=0.1)  # from centre to centre


def test_windows_that_face_each_other(two):
    """10 m apart: A²/(π d²)."""
    found = between(two("14 m, 0 m", 2, 4, at=("1.25 m", "1.25 m")))
    assert found == pytest.approx(AREA**2 / (math.pi * 10.0**2), rel=1e-9)


def test_windows_of_one_facade_exchange_by_diffraction_alone(two):
    """4.1 m apart in one plane: A²/(4π d²)."""
    found = between(two("4.1 m, 0 m", 1, 1))
    assert found == pytest.approx(AREA**2 / (4 * math.pi * 4.1**2), rel=1e-9)


def test_past_a_corner_twenty_decibels_less_for_each_wall_it_lies_behind(two):
    job = two("4.1 m, 0 m", 1, 2)  # south wall of one, east wall of the other
    found = between(job)
    square = (8.1 - 1.75) ** 2 + 1.75**2  # from (1.75, 0) to (8.1, 1.75)
    # behind the plane of the first; the second looks away from it too
    assert found == pytest.approx(AREA**2 / (4 * math.pi * square) * 1e-4, rel=1e-6)
    assert (knife_edge_loss_db(nu=np.array([2.4, 5.0])) > 20.0).all()


def test_nothing_within_a_room_or_through_inner_walls(two):
    job = two("4.1 m, 0 m", 1, 1)
    building, found = job.building, exchange_of(job)
    space = faces_of(job).space
    same = space[found.into][:, np.newaxis] == space[found.out_of]
    assert (found.factors_m2[same] == 0.0).all()
    assert (found.factors_m2[~same] > 0.0).all()
    for index in found.out_of:
        patch = building.patches[index]
        assert patch.behind == "outdoors"
        assert building.elements[patch.element].kind != "interior-wall"
    area = faces_of(job).area_m2
    least = np.minimum(area[found.into][:, np.newaxis], area[found.out_of])
    assert (found.factors_m2 <= least * (1 + 1e-12)).all()


def test_only_rooms_that_are_asked_for(two):
    job = two("4.1 m, 0 m", 1, 1)
    every, some = exchange_of(job), exchange_factors(job.building, rooms={"other"})
    chosen = np.isin(every.into, some.into)
    assert 0 < len(some.into) < len(every.into)
    assert some.factors_m2 == pytest.approx(every.factors_m2[chosen])
    assert exchange_factors(job.building, rooms=set()).factors_m2.shape[0] == 0


def test_coupling_is_the_factor_times_both_transmissions_over_four(two):
    job = two("4.1 m, 4.1 m", 2, 1)
    passed = np.zeros(len(job.building.patches))
    passed[panes(job)] = 0.5, 0.2
    found = outdoor_coupling_m2(exchange=exchange_of(job), faces=faces_of(job), transmission=passed)
    expected = 0.5 * 0.2 * between(job) / 4
    assert found == pytest.approx(np.array([[0.0, expected], [expected, 0.0]]))


def router(eirp="20 dBm"):
    return {"id": "router", "space": "room", "at": "1, 2, 1.2 m", "band": "2.45 GHz", "eirp": eirp}


def test_it_is_said_where_nothing_else_gets_through(two, analyzed_job):
    """Opaque walls, bare windows across a corner: the range holds what the level leaves out."""
    job = two(
        "4.1 m, 4.1 m", 2, 1,
        source=[router()],
        receiver=[{"id": "bed", "space": "other", "at": "2, 2, 1 m"}],
    )  # fmt: skip
    found = analyzed_job(job, with_bands=True)
    (receiver,) = found.plans[0].receivers
    (source,) = receiver.sources
    assert source.round_outside_w_m2 > 1e3 * source.level_w_m2
    assert source.high_w_m2 >= source.round_outside_w_m2
    assert receiver.high_w_m2 >= source.round_outside_w_m2
    assert source.low_w_m2 <= source.level_w_m2
    (note,) = [each for each in found.notes if "come in from outdoors" in each]
    assert note.startswith("At bed, plan as-built: more power than the whole level")


def test_it_does_not_depend_on_who_sleeps_elsewhere(two, analyzed_job):
    bed = {"id": "bed", "space": "other", "at": "2, 2, 1 m"}
    thin = [{"id": "wall", "loss": "4 dB"}, {"id": "pane", "loss": "3 dB"}]
    around = []
    for receivers in ([bed], [bed, {"id": "cot", "space": "room", "at": "2, 3, 1 m"}]):
        sources = [router(), router() | {"id": "hub", "space": "other"}]
        found = analyzed_job(
            two("4.1 m, 0 m", 1, 1, assembly=thin, source=sources, receiver=receivers)
        )
        at_bed = next(each for each in found.plans[0].receivers if each.id == "bed")
        around.append([source.round_outside_w_m2 for source in at_bed.sources])
    assert around[0] == pytest.approx(around[1], rel=1e-12)
    assert min(around[0]) >= 0.0 < max(around[0])


def test_it_is_not_said_where_inner_walls_let_more_through(two, analyzed_job):
    thin = [{"id": "wall", "loss": "4 dB"}, {"id": "pane", "loss": "3 dB"}]
    job = two(
        "4.1 m, 0 m", 1, 1,
        assembly=thin,
        source=[router()],
        receiver=[{"id": "bed", "space": "other", "at": "2, 2, 1 m"}],
    )  # fmt: skip
    found = analyzed_job(job)
    (source,) = found.plans[0].receivers[0].sources
    assert 0.0 < source.round_outside_w_m2 < 0.1 * source.level_w_m2
    assert not [each for each in found.notes if "come in from outdoors" in each]
