"""What holds of every building: closed spaces, whole panels, mutual patches, moved alike."""

from collections import defaultdict
from dataclasses import replace

import numpy as np
import pytest

from envelope.building.point_location import clearance, fans, locate, winding
from envelope.geometry.plane import area_vector, frozen

SEEDS = range(4)


@pytest.fixture(scope="module", params=SEEDS)
def house(request, random_house):
    return random_house(np.random.default_rng(request.param))


def described(building):
    return [
        (patch.panel, patch.behind, patch.far, building.elements[patch.element].kind)
        for patch in building.patches
    ]


def areas(building):
    return np.array([patch.area_m2 for patch in building.patches])


def test_area_vectors_of_every_space_cancel(house):
    for space in house.spaces:
        total = np.zeros(3)
        for panel in space.panels:
            total += panel.area_m2 * panel.normal
        assert total == pytest.approx([0, 0, 0], abs=1e-9)


def test_patches_make_up_their_panels(house):
    for panel in house.panels:
        total = sum(patch.area_m2 for patch in house.patches_of[panel.id])
        assert total == pytest.approx(panel.area_m2, abs=1e-9)


def test_regions_lie_in_their_panels_and_turn_counter_clockwise(house):
    for patch in house.patches:
        frame = house.panel(patch.panel).frame
        total = 0.0
        for outer, holes in patch.regions:
            signed = [area_vector(frame.lift(ring)) @ frame.normal for ring in (outer, *holes)]
            assert signed[0] > 0
            assert all(area < 0 for area in signed[1:])
            total += sum(signed)
        assert total == pytest.approx(patch.area_m2, abs=1e-9)


def test_partners_look_back_at_each_other(house):
    for patch in house.patches:
        if patch.partner is None:
            assert patch.far is None
            continue
        partner = house.patches[patch.partner]
        assert partner.partner == patch.index
        assert (partner.panel, partner.far) == (patch.far, patch.panel)
        assert partner.element == patch.element
        assert partner.area_m2 == pytest.approx(patch.area_m2, abs=1e-9)
        assert partner.distance_m == pytest.approx(patch.distance_m, abs=1e-9)
        sides = {house.elements[patch.element].first, house.elements[patch.element].second}
        assert sides == {patch.panel, patch.far}


def test_just_inside_a_panel_is_inside_and_just_outside_is_not(house):
    for space in house.spaces:
        triangles = fans(space.panels)
        spots = np.array([panel.frame.lift(inner_point(panel))[0] for panel in space.panels])
        normals = np.array([panel.normal for panel in space.panels])
        assert winding(spots + 1e-4 * normals, triangles) == pytest.approx(1.0, abs=1e-6)
        assert winding(spots - 1e-4 * normals, triangles) == pytest.approx(0.0, abs=1e-6)


def inner_point(panel):
    """A point of a panel of right angles, a little off its first corner."""
    ring = panel.frame.flatten(panel.outline)
    back, ahead = ring[-1] - ring[0], ring[1] - ring[0]
    step = 2e-4 * (back / np.hypot(*back) + ahead / np.hypot(*ahead))
    turn = ahead[0] * back[1] - ahead[1] * back[0]
    return (ring[0] + (step if turn > 0 else -step))[np.newaxis]


def test_points_are_where_they_were_put(random_house_specs):
    rng = np.random.default_rng(11)
    specs = random_house_specs(rng)
    building = specs.build()
    for spec in specs.spaces:
        corner = np.asarray(spec.corners)[0]
        spot = np.array([*(corner + rng.uniform(0.02, 0.5, 2)), spec.floor_m + 1.0])
        assert locate(building, spot) == spec.id
        assert 0.0 < clearance(building.space(spec.id), spot) <= 0.5


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("turn_rad", [0.0, 0.37, 2.5])
def test_turned_and_a_kilometre_away(random_house_specs, seed, turn_rad):
    specs = random_house_specs(np.random.default_rng(seed), flat_openings=False, storeys=2)
    here = specs.build()
    there = specs.moved(turn_rad=turn_rad, shift_m=(600.0, -800.0)).build()
    assert described(here) == described(there)
    assert areas(there) == pytest.approx(areas(here), abs=1e-9)
    volumes = [[space.volume_m3 for space in building.spaces] for building in (here, there)]
    assert volumes[1] == pytest.approx(volumes[0], abs=1e-9)


def mirrored(specs):
    """The same house with x reversed: walls are numbered the other way round."""
    sides = {spec.id: len(spec.corners) for spec in specs.spaces}

    def host(name):
        room, _, wall = name.partition("/")
        # Corner k of n becomes corner n+1-k, so the wall that began at it now ends at it.
        return f"{room}/{sides[room] - int(wall) or sides[room]}"

    spaces = [
        replace(spec, corners=frozen((np.asarray(spec.corners) * [-1, 1])[::-1]))
        for spec in specs.spaces
    ]
    openings = [
        replace(spec, on=host(spec.on), from_left=not spec.from_left) for spec in specs.openings
    ]
    return replace(specs, spaces=spaces, openings=openings)


def by_what(building):
    """Total area by space, what is behind, which space, and element."""
    found = defaultdict(float)
    for patch in building.patches:
        panel = building.panel(patch.panel)
        far = None if patch.far is None else building.panel(patch.far).space
        found[panel.space, patch.behind, far, building.elements[patch.element].kind] += (
            patch.area_m2
        )
    return dict(found)


@pytest.mark.parametrize("seed", SEEDS)
def test_mirrored(random_house_specs, seed):
    specs = random_house_specs(np.random.default_rng(seed), flat_openings=False, storeys=2)
    assert by_what(mirrored(specs).build()) == pytest.approx(by_what(specs.build()), abs=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_order_of_spaces_and_openings_does_not_matter(random_house_specs, seed):
    specs = random_house_specs(np.random.default_rng(seed), storeys=2)
    reordered = replace(specs, spaces=specs.spaces[::-1], openings=specs.openings[::-1])
    assert by_what(reordered.build()) == pytest.approx(by_what(specs.build()), abs=1e-9)
