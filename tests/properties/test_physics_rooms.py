"""What must hold of the diffuse field in every house."""

import numpy as np
import pytest

from envelope.physics.diffuse import OUTSIDE, coupling_matrix, diffuse_densities_w_m2


def random_house(rng, count):
    """Rooms with outer walls, and inner walls between neighbours, each from both sides."""
    area, space, beyond, reflected, passed = [], [], [], [], []
    for room in range(count):
        area.append(rng.uniform(10.0, 60.0))
        space.append(room)
        beyond.append(OUTSIDE)
        passed.append(rng.random() ** 3)
        reflected.append(rng.random() * (1 - passed[-1]))
        for other in range(room):
            shared, through = rng.uniform(2.0, 20.0), rng.random() ** 2
            for near, far in ((room, other), (other, room)):
                area.append(shared)
                space.append(near)
                beyond.append(far)
                passed.append(through)
                reflected.append(rng.random() * (1 - through))
    return {
        "area_m2": np.array(area),
        "space": np.array(space),
        "beyond": np.array(beyond),
        "reflection": np.array(reflected),
        "transmission": np.array(passed),
        "absorption_m2": rng.uniform(0.0, 1.0, count),
    }


def densities(house, fed):
    return diffuse_densities_w_m2(matrix=coupling_matrix(**house), fed_w=fed)


@pytest.mark.parametrize("seed", range(20))
def test_power_balance_closes(seed):
    """Fed = absorbed in walls and things + gone outdoors, within 1e-9."""
    rng = np.random.default_rng(seed)
    house = random_house(rng, rng.integers(1, 7))
    fed = rng.random(house["absorption_m2"].size)
    density = densities(house, fed)
    incident = house["area_m2"] * density[house["space"]] / 4
    kept = incident * (1 - house["reflection"] - house["transmission"])
    gone = np.where(house["beyond"] == OUTSIDE, incident * house["transmission"], 0.0)
    taken = house["absorption_m2"] * density
    assert kept.sum() + gone.sum() + taken.sum() == pytest.approx(fed.sum(), rel=1e-9)
    assert np.all(density >= 0.0)


@pytest.mark.parametrize("seed", range(10))
def test_reciprocity(seed):
    """A watt in room i makes in room j what a watt in j makes in i."""
    rng = np.random.default_rng(seed)
    house = random_house(rng, 5)
    response = np.stack([densities(house, fed) for fed in np.eye(5)])
    assert response == pytest.approx(response.T, rel=1e-9)


@pytest.mark.parametrize("seed", range(10))
def test_another_occupant_lowers_every_room(seed):
    rng = np.random.default_rng(seed)
    house = random_house(rng, 4)
    fed = rng.random(4)
    before = densities(house, fed)
    house["absorption_m2"] = house["absorption_m2"] + np.array([0.3, 0.0, 0.0, 0.0])
    assert np.all(densities(house, fed) < before)


def test_a_further_coat_can_raise_the_diffuse_field():
    """Coat the walls, leave the window open: what gets in stays in.

    Same beam through the same open window; plain walls reflect 0.3, coated ones 0.94.
    """
    beam_w, window, walls = 1.0, 1.68, 63.8
    found = {}
    for name, reflected in (("plain", 0.3), ("coated", 0.94)):
        matrix = coupling_matrix(
            area_m2=np.array([window, walls]),
            space=np.array([0, 0]),
            beyond=np.array([OUTSIDE, OUTSIDE]),
            reflection=np.array([0.0, reflected]),
            transmission=np.array([1.0, 0.0]),
            absorption_m2=np.array([0.3]),
        )
        found[name] = diffuse_densities_w_m2(matrix=matrix, fed_w=[beam_w * reflected])[0]
    # by hand: 0.94/(0.42 + 0.957 + 0.3) over 0.3/(0.42 + 11.165 + 0.3)
    assert found["coated"] / found["plain"] == pytest.approx(22.2, rel=0.01)
