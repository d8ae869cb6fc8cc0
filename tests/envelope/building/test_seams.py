"""Small things in openings: round ones, seams, film edges, tilted sashes."""

import math
from dataclasses import replace

import numpy as np
import pytest

from envelope.building.rooms.specs import OpeningSpec
from envelope.errors import GeometryError

WINDOW = OpeningSpec(
    id="W1", on="room/1", kind="window", width_m=1.5, height_m=1.2, along_m=1.0, sill_m=0.9
)
DOOR = OpeningSpec(id="D1", on="left/east", kind="door", width_m=0.8, height_m=2.0, along_m=1.0)
HATCH = OpeningSpec(
    id="H1", on="room/ceiling", kind="hatch", width_m=0.6, height_m=0.8, centre=(2.0, 1.5)
)
ROUND = OpeningSpec(
    id="P1",
    on="room/1",
    kind="vent",
    width_m=0.09,
    height_m=0.09,
    along_m=1.0,
    sill_m=0.3,
    round=True,
)


def areas(building, opening):
    return {
        panel.id.partition(opening)[2].strip("/"): panel.area_m2
        for panel in building.panels
        if panel.id.startswith(opening)
    }


def kinds(building, panel):
    (patch,) = building.patches_of[panel]
    element = building.elements[patch.element]
    return element.kind, element.assembly


class TestRound:
    def test_twelve_sides_have_the_area_of_the_circle(self, box_room):
        building = box_room(openings=[ROUND])
        leaf = building.panel("room/P1")
        assert len(leaf.outline) == 12
        assert leaf.area_m2 == pytest.approx(6.361725123519332e-3, abs=1e-12)
        assert leaf.outline.mean(axis=0) == pytest.approx([1.045, 0.0, 0.345], abs=1e-12)
        assert building.panel("room/1").area_m2 == pytest.approx(
            9.6 - 6.361725123519332e-3, abs=1e-12
        )

    def test_a_recessed_light_with_a_ring_is_a_can(self, box_room):
        light = OpeningSpec(
            id="L1",
            on="room/ceiling",
            kind="light",
            width_m=0.08,
            height_m=0.08,
            centre=(1.0, 1.0),
            round=True,
            ring_m=0.005,
            reveal_m=0.1,
        )
        building = box_room(openings=[light])
        found = areas(building, "room/L1")
        assert found[""] == pytest.approx(math.pi * 0.04**2, abs=1e-12)
        assert found["ring"] == pytest.approx(math.pi * (0.045**2 - 0.04**2), abs=1e-12)
        # A prism's sides: twelve of 2·R·sin(15°) with R² = r²·π/3.
        side = 2.0 * 0.04 * math.sqrt(math.pi / 3.0) * math.sin(math.pi / 12.0)
        assert [found[f"side-{k}"] for k in range(1, 13)] == pytest.approx([0.1 * side] * 12)
        assert building.spaces[0].volume_m3 == pytest.approx(
            28.8 + 0.1 * math.pi * 0.04**2, abs=1e-9
        )

    def test_through_an_interior_wall(self, two_rooms):
        building = two_rooms(openings=[replace(ROUND, on="left/east")])
        (patch,) = building.patches_of["left/P1"]
        assert patch.far == "right/P1"
        assert patch.area_m2 == pytest.approx(building.panel("right/P1").area_m2, abs=1e-12)

    def test_not_with_an_undercut(self, two_rooms):
        with pytest.raises(GeometryError, match="is round, and has no undercut"):
            two_rooms(openings=[replace(DOOR, round=True, undercut_m=0.01)])


class TestSeams:
    def test_a_door_has_them_on_three_sides_and_its_undercut(self, two_rooms):
        building = two_rooms(openings=[replace(DOOR, seams_m=0.002, undercut_m=0.008)])
        assert areas(building, "left/D1") == pytest.approx(
            {
                "": 0.796 * 1.99,
                "undercut": 0.8 * 0.008,
                "seam-left": 0.002 * 1.99,
                "seam-right": 0.002 * 1.99,
                "seam-head": 0.8 * 0.002,
            },
            abs=1e-12,
        )
        (patch,) = building.patches_of["left/D1/seam-left"]
        assert patch.far == "right/D1/seam-right"
        assert kinds(building, "left/D1/seam-left") == ("none", None)

    def test_a_hatch_has_them_all_round(self, box_room):
        building = box_room(openings=[replace(HATCH, seams_m=0.003)])
        found = areas(building, "room/H1")
        assert sum(found.values()) == pytest.approx(0.48, abs=1e-12)
        assert found[""] == pytest.approx(0.594 * 0.794, abs=1e-12)
        assert set(found) == {"", "seam-left", "seam-right", "seam-head", "seam-foot"}

    @pytest.mark.parametrize(
        ("spec", "key"),
        [
            (replace(WINDOW, seams_m=0.002), "seams"),
            (replace(HATCH, film_edge_m=0.002), "film-edge"),
            (replace(HATCH, tilt_m=0.1), "tilt"),
            (replace(WINDOW, state="tilted"), "state"),
            (replace(ROUND, kind="box", state="open"), "state"),
            (replace(WINDOW, film_edge_m=0.6), "size"),
            (replace(WINDOW, tilt_m=1.0), "size"),
            (replace(WINDOW, film_edge_m=-0.1), "film-edge"),
        ],
    )
    def test_what_cannot_be(self, box_room, spec, key):
        with pytest.raises(GeometryError) as caught:
            box_room(openings=[spec])
        assert [fault.subject for fault in caught.value.faults] == [("opening", spec.id, key)]


class TestGlazing:
    def test_a_film_edge_is_of_the_pane(self, box_room):
        building = box_room(openings=[replace(WINDOW, film_edge_m=0.002, assembly="special")])
        found = areas(building, "room/W1")
        assert found == pytest.approx(
            {"": 1.496 * 1.196, "film-edge": 1.8 - 1.496 * 1.196}, abs=1e-12
        )
        assert kinds(building, "room/W1") == ("window", "special")
        assert kinds(building, "room/W1/film-edge") == ("window", "special")

    def test_round_glazing_has_one_too(self, box_room):
        porthole = replace(WINDOW, round=True, width_m=0.6, height_m=0.6, film_edge_m=0.01)
        building = box_room(openings=[porthole])
        found = areas(building, "room/W1")
        assert sum(found.values()) == pytest.approx(math.pi * 0.09, abs=1e-12)
        # Sides move in by 10 mm: the apothem is R·cos 15°.
        apothem = 0.3 * math.sqrt(math.pi / 3.0) * math.cos(math.pi / 12.0)
        inner = math.pi * 0.09 * ((apothem - 0.01) / apothem) ** 2
        assert found[""] == pytest.approx(inner, abs=1e-12)

    def test_a_tilted_sash_opens_its_head_and_two_triangles(self, box_room):
        building = box_room(openings=[replace(WINDOW, tilt_m=0.1, state="tilted")])
        found = areas(building, "room/W1")
        # Head 1.5 m by 0.1 m; triangles of 0.1 m by 1.2 m over two.
        assert found["gap-head"] == pytest.approx(0.15, abs=1e-12)
        assert found["gap-left"] == pytest.approx(0.06, abs=1e-12)
        assert found["gap-right"] == pytest.approx(0.06, abs=1e-12)
        assert sum(found.values()) == pytest.approx(1.8, abs=1e-12)
        assert kinds(building, "room/W1/gap-head") == ("none", None)
        heights = building.panel("room/W1/gap-head").outline[:, 2]
        assert (heights.min(), heights.max()) == (pytest.approx(2.0), pytest.approx(2.1))

    @pytest.mark.parametrize(
        ("state", "kind"), [("shut", ("window", "pane")), ("open", ("none", None))]
    )
    def test_the_same_sash_in_another_state(self, box_room, state, kind):
        building = box_room(openings=[replace(WINDOW, tilt_m=0.1, film_edge_m=0.002, state=state)])
        names = ("W1", "W1/gap-head", "W1/gap-left", "W1/gap-right", "W1/film-edge")
        assert {kinds(building, f"room/{name}") for name in names} == {kind}

    def test_states_share_one_geometry(self, box_room):
        digests = {
            box_room(openings=[replace(WINDOW, tilt_m=0.1, state=state)]).digest
            for state in ("shut", "tilted", "open")
        }
        assert len(digests) == 1


def test_seams_of_every_kind_fill_the_hole_behind_a_reveal(box_room):
    spec = replace(WINDOW, reveal_m=0.12, film_edge_m=0.004, tilt_m=0.08)
    building = box_room(openings=[spec])
    flat = [panel for panel in building.panels if panel.opening == "room/W1"]
    seams = [panel for panel in flat if panel.kind == "seam"]
    whole = building.panel("room/W1").area_m2 + sum(panel.area_m2 for panel in seams)
    assert whole == pytest.approx(1.8, abs=1e-12)
    assert np.concatenate([panel.outline[:, 1] for panel in seams]) == pytest.approx(-0.12)
    assert building.spaces[0].volume_m3 == pytest.approx(28.8 + 0.216, abs=1e-9)


class TestThin:
    """What is about as small as the distance within which corners are made one."""

    @pytest.mark.parametrize("millimetres", [0.05, 0.1, 0.19, 0.2, 0.21, 0.5, 1.0])
    def test_reveals_are_niches_or_none(self, box_room, millimetres):
        window = replace(WINDOW, reveal_m=millimetres / 1000.0)
        building = box_room(openings=[window])
        reveals = [panel for panel in building.panels if panel.kind == "reveal"]
        assert len(reveals) == (4 if millimetres > 0.2 else 0)

    @pytest.mark.parametrize("millimetres", [0.0, 0.05, 0.1, 0.19, 0.2, 0.21, 0.5, 1.0])
    def test_doors_between_rooms_that_nearly_touch(self, two_rooms_specs, millimetres):
        plain = two_rooms_specs(openings=[replace(DOOR, undercut_m=0.008)])
        left, right = plain.spaces
        near = 4.0 + millimetres / 1000.0
        corners = right.corners - np.array([right.corners[:, 0].min() - near, 0.0])
        building = replace(plain, spaces=(left, replace(right, corners=corners))).build()
        (patch,) = building.patches_of["left/D1"]
        assert (patch.behind, patch.far) == ("space", "right/D1")
        (patch,) = building.patches_of["left/D1/undercut"]
        assert (patch.behind, patch.far) == ("space", "right/D1/undercut")

    def test_seams_too_thin_to_be_made_are_refused(self, two_rooms):
        with pytest.raises(GeometryError, match=r"opening D1 has undercut 0\.1 mm; leave it out"):
            two_rooms(openings=[replace(DOOR, undercut_m=0.0001)])
