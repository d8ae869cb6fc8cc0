import numpy as np
import pytest

from envelope.errors import RangeError
from envelope.physics.diffuse import (
    OUTSIDE,
    coupling_matrix,
    density_answers_m2,
    diffuse_densities_w_m2,
)


def three_storeys():
    """Rooms one above the other: outer walls, two floors between them, a slab on earth."""
    return {
        #        walls of 0, 1, 2;   floor 0|1 from both sides, floor 1|2, slab, roof
        "area_m2": np.array([40.0, 38.0, 30.0, 20.0, 20.0, 18.0, 18.0, 20.0, 18.0]),
        "space": np.array([0, 1, 2, 0, 1, 1, 2, 0, 2]),
        "beyond": np.array([-1, -1, -1, 1, 0, 2, 1, -1, -1]),
        "reflection": np.array([0.3, 0.9, 0.2, 0.4, 0.5, 0.3, 0.35, 0.6, 0.1]),
        "transmission": np.array([0.4, 0.01, 0.5, 0.3, 0.3, 0.2, 0.2, 0.0, 0.6]),
        "absorption_m2": np.array([0.5, 0.3, 0.0]),
    }


def test_energy_of_coupled_storeys_closes():
    """What is fed is absorbed in walls, in people, or leaves for outdoors and earth."""
    house = three_storeys()
    fed = np.array([0.0, 2.0, 0.5])
    density = diffuse_densities_w_m2(matrix=coupling_matrix(**house), fed_w=fed)
    kept = 0.0
    for area, own, other, reflected, passed in zip(
        *(house[key] for key in ("area_m2", "space", "beyond", "reflection", "transmission")),
        strict=True,
    ):
        incident = area * density[own] / 4
        kept += incident * (1 - reflected - passed)
        if other == OUTSIDE:
            kept += incident * passed
    kept += house["absorption_m2"] @ density
    assert kept == pytest.approx(fed.sum(), rel=1e-12)
    assert np.all(density > 0.0)


def test_bands_are_a_leading_axis():
    house = three_storeys()
    single = diffuse_densities_w_m2(matrix=coupling_matrix(**house), fed_w=[1.0, 0.0, 0.0])
    many = dict(house)
    for key in ("reflection", "transmission", "absorption_m2"):
        many[key] = np.stack((house[key], 0.5 * house[key]))
    matrix = coupling_matrix(**many)
    assert matrix.shape == (2, 3, 3)
    both = diffuse_densities_w_m2(matrix=matrix, fed_w=np.array([[1.0, 0, 0], [1.0, 0, 0]]))
    assert both[0] == pytest.approx(single, rel=1e-14)


@pytest.mark.parametrize("passed", [0.9, 0.5, 1e-3, 1e-6])
def test_lossless_room_in_an_even_field(passed):
    """τS0 direct, (1 − τ)S0 diffuse: S0 in all, however tight the walls."""
    outside, surface = 3e-4, 65.5
    area = np.array([40.0, surface - 40.0])
    matrix = coupling_matrix(
        area_m2=area,
        space=np.array([0, 0]),
        beyond=np.array([OUTSIDE, OUTSIDE]),
        reflection=np.full(2, 1 - passed),
        transmission=np.full(2, passed),
        absorption_m2=np.array([0.0]),
    )
    # The direct part hits the walls again, where 1 − τ of it is reflected into the balance.
    fed = surface * outside / 4 * passed * (1 - passed)
    diffuse = diffuse_densities_w_m2(matrix=matrix, fed_w=[fed])[0]
    assert passed * outside + diffuse == pytest.approx(outside, rel=1e-9)


def test_two_lossless_rooms_in_an_even_field():
    """Detailed balance also holds across an inner wall: S0 in both, whatever it passes."""
    outer, inner, outside = 0.2, 0.05, 1.0
    matrix = coupling_matrix(
        area_m2=np.array([50.0, 30.0, 10.0, 10.0]),
        space=np.array([0, 1, 0, 1]),
        beyond=np.array([OUTSIDE, OUTSIDE, 1, 0]),
        reflection=np.array([1 - outer, 1 - outer, 1 - inner, 1 - inner]),
        transmission=np.array([outer, outer, inner, inner]),
        absorption_m2=np.zeros(2),
    )
    fed = [50.0 * outer * outside / 4, 30.0 * outer * outside / 4]
    found = diffuse_densities_w_m2(matrix=matrix, fed_w=fed)
    assert found == pytest.approx([outside, outside], rel=1e-12)


def test_transparent_walls_have_no_diffuse_part():
    """Nothing is reflected at the first hit, so nothing is fed and nothing stays."""
    area, beam_w = np.array([60.0]), 0.7
    reflection = np.array([0.0])
    matrix = coupling_matrix(
        area_m2=area,
        space=np.array([0]),
        beyond=np.array([OUTSIDE]),
        reflection=reflection,
        transmission=np.array([1.0]),
        absorption_m2=np.array([0.0]),
    )
    assert diffuse_densities_w_m2(matrix=matrix, fed_w=beam_w * reflection).tolist() == [0.0]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"reflection": np.full(9, 0.9), "transmission": np.full(9, 0.2)}, "more than arrives"),
        ({"reflection": np.full(9, 1.2)}, "diffuse reflection is 1.2"),
        ({"absorption_m2": np.array([-0.1, 0.0, 0.0])}, "absorption cross-section is -0.1"),
        ({"absorption_m2": np.array([0.1, 0.1])}, "beyond the 2"),
    ],
)
def test_bad_input(change, says):
    with pytest.raises(RangeError, match=says):
        coupling_matrix(**(three_storeys() | change))


def test_room_that_keeps_everything_is_refused():
    matrix = coupling_matrix(
        area_m2=np.array([60.0]),
        space=np.array([0]),
        beyond=np.array([OUTSIDE]),
        reflection=np.array([1.0]),
        transmission=np.array([0.0]),
        absorption_m2=np.array([0.0]),
    )
    with pytest.raises(RangeError, match="keeps all the power"):
        diffuse_densities_w_m2(matrix=matrix, fed_w=[1.0])


def test_negative_power_is_refused():
    with pytest.raises(RangeError, match="power fed to a space is -1 W"):
        diffuse_densities_w_m2(matrix=np.array([[1.0]]), fed_w=[-1.0])


def test_answers_are_the_rows_of_the_inverse() -> None:
    matrix = np.array([[4.0, -1.0, 0.0], [-2.0, 6.0, -1.0], [0.0, -0.5, 3.0]])
    several = np.stack((matrix, 2.0 * matrix))
    found = density_answers_m2(matrix=several, spaces=np.array([2, 0]))
    inverse = np.linalg.inv(matrix)
    assert found[0] == pytest.approx(inverse[[2, 0]], rel=1e-13)
    assert found[1] == pytest.approx(0.5 * inverse[[2, 0]], rel=1e-13)


def test_what_keeps_all_its_power_has_no_answer() -> None:
    for last in (1.0, 1.0 + 1e-15):  # exactly singular, and but for rounding
        with pytest.raises(RangeError, match="has no bound"):
            density_answers_m2(matrix=np.array([[1.0, -1.0], [-1.0, last]]), spaces=np.array([0]))
