"""Rooms from dimensions: panels, volumes, openings, what stands behind each."""

from dataclasses import replace

import numpy as np
import pytest

from envelope.building.model import Site, Storey
from envelope.building.point_location import clearance, locate
from envelope.building.rooms.build import build_building, room_panels
from envelope.building.rooms.specs import OpeningSpec, PanelSpec, SpaceSpec
from envelope.geometry.plane import area_vector, frozen

L_SHAPE = [(0, 0), (4.2, 0), (4.2, 2.6), (2.7, 2.6), (2.7, 3.6), (0, 3.6)]


def window(**changes):
    spec = OpeningSpec(
        id="W1", on="room/1", kind="window", width_m=1.5, height_m=1.2, along_m=1.0, sill_m=0.9
    )
    return replace(spec, **changes)


def door(**changes):
    spec = OpeningSpec(id="D1", on="left/east", kind="door", width_m=0.8, height_m=2.0, along_m=1.0)
    return replace(spec, **changes)


def behind(building, panel):
    return sorted(
        (patch.behind, patch.far, round(patch.area_m2, 9)) for patch in building.patches_of[panel]
    )


def element(building, panel, far=None):
    (patch,) = [item for item in building.patches_of[panel] if item.far == far]
    return building.elements[patch.element]


class TestRoom:
    def test_box(self, box_room):
        building = box_room(size=(4.0, 3.0, 2.4))
        assert [panel.id for panel in building.panels] == [
            "room/1",
            "room/2",
            "room/3",
            "room/4",
            "room/floor",
            "room/ceiling",
        ]
        areas = [panel.area_m2 for panel in building.panels]
        assert areas == pytest.approx([9.6, 7.2, 9.6, 7.2, 12.0, 12.0], abs=1e-12)
        assert building.spaces[0].volume_m3 == pytest.approx(28.8, abs=1e-12)

    def test_normals_point_inward(self, box_room):
        building = box_room()
        normals = [panel.normal.round(12).tolist() for panel in building.panels]
        assert normals == [[0, 1, 0], [-1, 0, 0], [0, -1, 0], [1, 0, 0], [0, 0, 1], [0, 0, -1]]

    def test_compass_words_name_the_side(self, box_room):
        building = box_room()
        assert building.panel("room/south").id == "room/1"
        assert building.panel("room/east").id == "room/2"
        assert building.panel("room/north").id == "room/3"
        assert building.panel("room/west").id == "room/4"

    def test_compass_words_only_where_unique(self):
        spec = SpaceSpec(id="a", storey="g", corners=frozen(L_SHAPE), height_m=2.4)
        aliases = {panel.id: panel.aliases for panel in room_panels(spec)}
        assert aliases["a/1"] == ("a/south",)
        assert aliases["a/6"] == ("a/west",)
        assert [aliases[f"a/{number}"] for number in (2, 3, 4, 5)] == [(), (), (), ()]

    def test_compass_at_exactly_45_degrees_is_neither(self):
        corners = frozen([(0, -1), (1, 0), (0, 1), (-1, 0)])
        spec = SpaceSpec(id="a", storey="g", corners=corners, height_m=2.4)
        assert all(panel.aliases == () for panel in room_panels(spec))

    def test_l_shape(self):
        building = build_building(
            site=Site(),
            storeys=[Storey(id="g", floor_m=2.75)],
            spaces=[
                SpaceSpec(
                    id="a",
                    storey="g",
                    corners=frozen(L_SHAPE),
                    height_m=2.4,
                    floor_m=2.75,
                    origin=frozen((10, -5)),
                    raised=True,
                )
            ],
            construction={"exterior-wall": "w", "floor": "f", "roof": "r"},
        )
        assert building.spaces[0].volume_m3 == pytest.approx(32.688, abs=1e-9)
        assert building.panel("a/floor").area_m2 == pytest.approx(13.62, abs=1e-12)
        assert building.panel("a/1").outline[0].tolist() == [10, -5, 2.75]

    def test_wall_lengths_of_a_slanted_room(self):
        corners = frozen([(0, 0), (3, 0), (3, 4)])
        spec = SpaceSpec(id="a", storey="g", corners=corners, height_m=2.0)
        areas = {panel.id: panel.area_m2 for panel in room_panels(spec)}
        assert areas["a/3"] == pytest.approx(10.0, abs=1e-12)
        assert areas["a/ceiling"] == pytest.approx(6.0, abs=1e-12)


class TestOpenings:
    def test_window_cuts_its_wall(self, box_room):
        building = box_room(openings=[window()])
        assert building.panel("room/1").area_m2 == pytest.approx(7.8, abs=1e-12)
        leaf = building.panel("room/W1")
        assert leaf.area_m2 == pytest.approx(1.8, abs=1e-12)
        assert leaf.outline[:, 0].min() == pytest.approx(1.0)
        assert leaf.outline[:, 0].max() == pytest.approx(2.5)
        assert leaf.host == "room/1"
        assert building.spaces[0].volume_m3 == pytest.approx(28.8, abs=1e-12)

    def test_at_counts_from_the_first_corner_to_the_nearer_edge(self, box_room):
        # Wall 3 runs west, from (4, 3) to (0, 3).
        building = box_room(openings=[window(on="room/3", along_m=0.5)])
        xs = building.panel("room/W1").outline[:, 0]
        assert (xs.min(), xs.max()) == (pytest.approx(2.0), pytest.approx(3.5))

    def test_at_from_the_left(self, box_room):
        # Seen from inside, the left-hand corner of the north wall is the west one.
        building = box_room(openings=[window(on="room/north", along_m=0.5, from_left=True)])
        xs = building.panel("room/W1").outline[:, 0]
        assert (xs.min(), xs.max()) == (pytest.approx(0.5), pytest.approx(2.0))

    def test_reveal_protrudes_and_counts_in_the_volume(self, box_room):
        building = box_room(openings=[window(reveal_m=0.12)])
        assert building.spaces[0].volume_m3 == pytest.approx(28.8 + 1.8 * 0.12, abs=1e-12)
        assert building.panel("room/W1").outline[:, 1] == pytest.approx([-0.12] * 4)
        areas = {
            name: building.panel(f"room/W1/{name}").area_m2
            for name in ("sill", "head", "jamb-left", "jamb-right")
        }
        assert areas == pytest.approx(
            {"sill": 0.18, "head": 0.18, "jamb-left": 0.144, "jamb-right": 0.144}, abs=1e-12
        )

    def test_reveals_are_named_as_seen_from_inside_and_look_into_the_niche(self, box_room):
        building = box_room(openings=[window(reveal_m=0.12)])
        normals = {
            name: building.panel(f"room/W1/{name}").normal.round(9).tolist()
            for name in ("sill", "head", "jamb-left", "jamb-right")
        }
        # Looking south, west is on the right.
        assert normals == {
            "sill": [0, 0, 1],
            "head": [0, 0, -1],
            "jamb-left": [-1, 0, 0],
            "jamb-right": [1, 0, 0],
        }
        assert building.panel("room/W1/jamb-right").outline[:, 0] == pytest.approx([1.0] * 4)

    def test_reveal_has_behind_it_what_its_opening_has(self, box_room):
        building = box_room(openings=[window(reveal_m=0.12)])
        (patch,) = building.patches_of["room/W1/head"]
        assert (patch.behind, patch.far, patch.partner) == ("outdoors", None, None)
        assert building.elements[patch.element].kind == "exterior-wall"
        assert patch.area_m2 == pytest.approx(0.18, abs=1e-12)

    def test_door_at_the_floor_notches_its_wall(self, box_room):
        building = box_room(
            openings=[window(id="D", kind="door", sill_m=0.0, undercut_m=0.008, height_m=2.0)]
        )
        wall = building.panel("room/1")
        assert wall.holes == ()
        assert len(wall.outline) == 8
        assert wall.area_m2 == pytest.approx(6.6, abs=1e-12)
        assert building.panel("room/D").area_m2 == pytest.approx(1.5 * 1.992, abs=1e-12)
        seam = building.panel("room/D/undercut")
        assert (seam.kind, seam.opening, seam.host) == ("seam", "room/D", "room/1")
        assert seam.area_m2 == pytest.approx(0.012, abs=1e-12)
        assert element(building, "room/D/undercut").kind == "none"
        assert element(building, "room/D/undercut").assembly is None

    def test_opening_in_the_corner_of_a_wall(self, box_room):
        building = box_room(
            openings=[window(along_m=2.5, sill_m=1.2)]  # ends at 4.0 and 2.4: both edges
        )
        assert building.panel("room/1").area_m2 == pytest.approx(7.8, abs=1e-12)
        assert len(building.panel("room/1").outline) == 6

    def test_windows_side_by_side(self, box_room):
        building = box_room(openings=[window(), window(id="W2", along_m=2.5, width_m=1.0)])
        assert building.panel("room/1").area_m2 == pytest.approx(9.6 - 1.8 - 1.2, abs=1e-12)

    def test_box_with_ring(self, box_room):
        box = window(id="B1", kind="box", width_m=0.07, height_m=0.08, sill_m=0.3, ring_m=0.005)
        building = box_room(openings=[box])
        assert building.panel("room/B1").area_m2 == pytest.approx(0.0056, abs=1e-12)
        assert building.panel("room/B1/ring").area_m2 == pytest.approx(0.0016, abs=1e-12)
        assert building.panel("room/1").area_m2 == pytest.approx(9.6 - 0.0072, abs=1e-12)
        assert building.panel("room/B1").outline[:, 0].min() == pytest.approx(1.0)
        assert element(building, "room/B1").kind == "box"
        assert element(building, "room/B1").assembly == "outer-wall"
        assert element(building, "room/B1/ring").kind == "exterior-wall"
        assert element(building, "room/B1/ring").assembly == "outer-wall"

    def test_skylight_in_the_ceiling(self, box_room):
        skylight = OpeningSpec(
            id="S",
            on="room/ceiling",
            kind="skylight",
            width_m=0.8,
            height_m=1.2,
            centre=(1.0, 2.0),
            reveal_m=0.3,
        )
        building = box_room(openings=[skylight])
        leaf = building.panel("room/S")
        assert leaf.outline.min(axis=0) == pytest.approx([0.6, 1.4, 2.7])
        assert leaf.outline.max(axis=0) == pytest.approx([1.4, 2.6, 2.7])
        assert building.spaces[0].volume_m3 == pytest.approx(28.8 + 0.288, abs=1e-12)
        assert element(building, "room/S").assembly == "pane"
        assert element(building, "room/S/head").kind == "roof"

    def test_open_state_leaves_nothing_in_the_hole(self, box_room):
        building = box_room(openings=[window(state="open"), window(id="W2", on="room/3")])
        assert element(building, "room/W1").kind == "none"
        assert element(building, "room/W2").kind == "window"

    def test_vent_is_a_bare_hole_unless_given(self, box_room_specs):
        plain = box_room_specs(openings=[window(kind="vent")])
        assert element(plain.build(), "room/W1").kind == "none"
        given = replace(plain, construction={**plain.construction, "vent": "grille"}).build()
        assert element(given, "room/W1").kind == "vent"
        assert element(given, "room/W1").assembly == "grille"


class TestShared:
    def test_door_is_written_once_and_cuts_both_sides(self, two_rooms):
        building = two_rooms(openings=[door(reveal_m=0.03, undercut_m=0.008)])
        near, far = building.panel("left/D1"), building.panel("right/D1")
        assert near.outline[:, 0] == pytest.approx([4.03] * 4)
        assert far.outline[:, 0] == pytest.approx([4.03] * 4)
        assert near.normal == pytest.approx(-far.normal)
        assert (near.host, far.host) == ("left/2", "right/4")
        for panel in ("left/2", "right/4"):
            assert building.panel(panel).area_m2 == pytest.approx(7.2 - 1.6, abs=1e-12)
        assert building.space("left").volume_m3 == pytest.approx(28.8 + 1.6 * 0.03, abs=1e-12)
        assert building.space("right").volume_m3 == pytest.approx(21.6 + 1.6 * 0.07, abs=1e-12)
        assert building.panel("left/D1/jamb-left").area_m2 == pytest.approx(0.06, abs=1e-12)
        assert building.panel("right/D1/jamb-left").area_m2 == pytest.approx(0.14, abs=1e-12)
        # Jambs are named as each room sees them.
        assert building.panel("left/D1/jamb-right").outline[:, 1] == pytest.approx([1.0] * 4)
        assert building.panel("right/D1/jamb-right").outline[:, 1] == pytest.approx([1.8] * 4)

    def test_leaves_face_each_other_at_no_distance(self, two_rooms):
        building = two_rooms(openings=[door(undercut_m=0.008)])
        for name in ("D1", "D1/undercut"):
            (near,), (far,) = (building.patches_of[f"{room}/{name}"] for room in ("left", "right"))
            assert (near.far, far.far) == (f"right/{name}", f"left/{name}")
            assert (near.partner, far.partner) == (far.index, near.index)
            assert near.element == far.element
            assert near.distance_m == 0.0
        assert element(building, "left/D1", "right/D1").kind == "door"

    def test_reveals_of_a_shared_opening_belong_to_the_wall(self, two_rooms):
        building = two_rooms(openings=[door()])
        (patch,) = building.patches_of["right/D1/head"]
        assert (patch.behind, patch.far) == ("space", None)
        assert patch.element == element(building, "left/2", "right/4").index
        assert "left/D1/head" not in building.panel_index  # no depth on this side

    def test_wall_between_is_one_element(self, two_rooms):
        building = two_rooms()
        (near,), (far,) = building.patches_of["left/2"], building.patches_of["right/4"]
        assert near.partner == far.index
        assert near.distance_m == pytest.approx(0.1)
        wall = building.elements[near.element]
        assert (wall.kind, wall.first, wall.second) == ("interior-wall", "left/2", "right/4")

    def test_box_does_not_come_through(self, two_rooms):
        box = door(id="B1", kind="box", width_m=0.08, height_m=0.08, sill_m=0.3, reveal_m=0.05)
        building = two_rooms(openings=[box])
        assert "right/B1" not in building.panel_index
        (patch,) = building.patches_of["left/B1"]
        assert (patch.far, patch.distance_m) == ("right/4", pytest.approx(0.05))
        assert element(building, "left/B1", "right/4").assembly == "stud-wall"
        assert behind(building, "right/4") == [
            ("space", "left/2", 7.1936),
            ("space", "left/B1", 0.0064),
        ]

    def test_assembly_named_by_the_opening_counts_from_its_side(self, two_rooms):
        building = two_rooms(openings=[door(on="right/west", assembly="oak")])
        leaf = element(building, "left/D1", "right/D1")
        assert (leaf.assembly, leaf.first, leaf.second) == ("oak", "right/D1", "left/D1")

    def test_closet_joined_by_a_bare_hole_as_wide_as_itself(self):
        building = build_building(
            site=Site(),
            storeys=[Storey(id="g", floor_m=0.0)],
            spaces=[
                SpaceSpec(
                    id="bedroom",
                    storey="g",
                    corners=frozen([(0, 0), (4, 0), (4, 3), (0, 3)]),
                    height_m=2.4,
                ),
                SpaceSpec(
                    id="closet",
                    storey="g",
                    corners=frozen([(1, 3.1), (2.2, 3.1), (2.2, 3.7), (1, 3.7)]),
                    height_m=2.4,
                ),
            ],
            openings=[
                OpeningSpec(
                    id="O",
                    on="closet/south",
                    kind="open",
                    width_m=1.2,
                    height_m=2.1,
                    along_m=0.0,
                )
            ],
            construction={
                "exterior-wall": "w",
                "interior-wall": "i",
                "floor": "f",
                "roof": "r",
            },
        )
        assert building.panel("closet/1").area_m2 == pytest.approx(0.36, abs=1e-12)
        assert building.space("bedroom").volume_m3 == pytest.approx(28.8 + 0.252, abs=1e-12)
        assert element(building, "closet/O", "bedroom/O").assembly is None


class TestBehind:
    def test_floor_over_two_rooms(self, three_storey_house):
        # The bedroom lies over the kitchen (3.6 m wide) and, past a 0.1 m wall, the lounge.
        assert behind(three_storey_house, "bedroom/floor") == [
            ("outdoors", None, 0.4),
            ("space", "kitchen/ceiling", 14.4),
            ("space", "lounge/ceiling", 2.0),
        ]
        assert element(three_storey_house, "bedroom/floor").kind == "floor"
        floor = element(three_storey_house, "bedroom/floor", "kitchen/ceiling")
        assert (floor.first, floor.second) == ("bedroom/floor", "kitchen/ceiling")

    def test_strip_beside_an_interior_wall_is_not_an_exterior_wall(self, three_storey_house):
        assert behind(three_storey_house, "lounge/3") == [
            ("outdoors", None, 0.24),
            ("space", "store/1", 3.6),
        ]
        assert element(three_storey_house, "lounge/3").kind == "interior-wall"

    def test_partly_shared_wall(self, two_rooms_specs):
        specs = two_rooms_specs()
        right = replace(specs.spaces[1], corners=frozen([(4.1, 0), (7, 0), (7, 1.2), (4.1, 1.2)]))
        building = replace(specs, spaces=(specs.spaces[0], right)).build()
        assert behind(building, "left/2") == [
            ("outdoors", None, 4.32),
            ("space", "right/4", 2.88),
        ]
        assert element(building, "left/2").kind == "exterior-wall"

    def test_walls_too_far_apart_do_not_face(self, two_rooms_specs):
        specs = two_rooms_specs()
        near, far = specs.spaces
        apart = replace(specs, spaces=(near, replace(far, origin=frozen((0.499, 0.0))))).build()
        assert [patch.behind for patch in apart.patches_of["left/2"]] == ["space"]
        apart = replace(specs, spaces=(near, replace(far, origin=frozen((0.501, 0.0))))).build()
        assert [patch.behind for patch in apart.patches_of["left/2"]] == ["outdoors"]

    def test_nearest_of_two_walls_hides_the_other(self, two_rooms_specs):
        specs = two_rooms_specs()
        thin = replace(
            specs.spaces[1],
            id="shaft",
            corners=frozen([(4.1, 1), (4.3, 1), (4.3, 2), (4.1, 2)]),
        )
        right = replace(specs.spaces[1], origin=frozen((0.3, 0.0)))
        building = replace(specs, spaces=(specs.spaces[0], thin, right)).build()
        assert behind(building, "left/2") == [
            ("space", "right/4", 4.8),
            ("space", "shaft/4", 2.4),
        ]
        assert behind(building, "right/4") == [
            ("space", "left/2", 4.8),
            ("space", "shaft/2", 2.4),
        ]

    def test_slanted_thing_in_between_hides_what_is_behind(self, two_rooms_specs):
        specs = two_rooms_specs()
        wedge = replace(
            specs.spaces[1],
            id="wedge",
            corners=frozen([(4.1, 1.5), (4.4, 1.0), (4.4, 2.0)]),
        )
        right = replace(specs.spaces[1], origin=frozen((0.4, 0.0)))
        building = replace(specs, spaces=(specs.spaces[0], wedge, right)).build()
        assert ("space", "right/4", 4.8) in behind(building, "left/2")

    def test_partition_with_one_room_on_both_sides(self, box_room_specs):
        specs = box_room_specs()
        corners = [(0, 0), (4, 0), (4, 3), (2.1, 3), (2.1, 1), (2, 1), (2, 3), (0, 3)]
        room = replace(specs.spaces[0], corners=frozen(corners))
        building = replace(specs, spaces=(room,)).build()
        assert behind(building, "room/4") == [("space", "room/6", 4.8)]
        assert element(building, "room/4", "room/6").kind == "interior-wall"

    def test_lowest_floor_lies_on_earth_unless_raised(self, box_room):
        assert behind(box_room(), "room/floor") == [("earth", None, 12.0)]
        assert behind(box_room(raised=True), "room/floor") == [("outdoors", None, 12.0)]
        assert element(box_room(), "room/floor").kind == "slab"

    def test_floor_high_above_grade_is_open_and_said_so(self, box_room):
        assert box_room(floor_m=1.0).notes == ()
        high = box_room(floor_m=2.75)
        assert behind(high, "room/floor") == [("outdoors", None, 12.0)]
        assert high.notes == (
            "the storey below ground is not modelled: its floor counts as open to what lies below",
        )

    def test_wall_is_cut_at_grade(self, box_room):
        building = box_room(floor_m=-1.0, site=Site(grade_m=0.0), openings=[window()])
        assert behind(building, "room/2") == [("earth", None, 3.0), ("outdoors", None, 4.2)]
        kinds = {building.elements[p.element].kind for p in building.patches_of["room/2"]}
        assert kinds == {"exterior-wall"}
        # The window stands from -0.1 m to 1.1 m.
        assert behind(building, "room/W1") == [("earth", None, 0.15), ("outdoors", None, 1.65)]

    def test_buried_room(self, box_room):
        building = box_room(floor_m=-4.0)
        assert {patch.behind for patch in building.patches} == {"earth"}

    def test_panel_said_to_be_against_earth(self, box_room_specs):
        specs = replace(
            box_room_specs(),
            panels=[PanelSpec(on="room/west", earth=True), PanelSpec(on="room/2", assembly="log")],
        )
        building = specs.build()
        assert behind(building, "room/4") == [("earth", None, 7.2)]
        assert element(building, "room/2").assembly == "log"

    def test_fallbacks_of_the_construction(self, box_room_specs):
        hatch = OpeningSpec(
            id="H", on="room/ceiling", kind="hatch", width_m=0.6, height_m=0.9, centre=(2, 1.5)
        )
        specs = box_room_specs(openings=[hatch])
        lines = {key: name for key, name in specs.construction.items() if key != "slab"}
        building = replace(specs, construction=lines).build()
        assert element(building, "room/H").assembly == "leaf"
        assert element(building, "room/floor").assembly == "joist-floor"
        assert element(building, "room/floor").kind == "slab"

    def test_open_hatch_joins_two_storeys(self, three_storey_house):
        (patch,) = three_storey_house.patches_of["landing/A2"]
        assert patch.far == "study/A2"
        hole = three_storey_house.elements[patch.element]
        assert (hole.kind, hole.first) == ("none", "study/A2")


class TestInside:
    def test_locate(self, three_storey_house):
        for spot, room in (
            ((1.0, 1.0, 1.0), "kitchen"),
            ((5.0, 1.0, 1.0), "lounge"),
            ((7.0, 3.5, 1.0), "store"),
            ((5.0, 1.0, 3.0), "closet"),
            ((1.8, -0.1, 1.5), "kitchen"),  # in the niche of its window
            ((3.65, 3.0, 1.0), None),  # in a wall
            ((9.0, 1.0, 1.0), None),
        ):
            assert locate(three_storey_house, np.array(spot)) == room

    def test_clearance(self, box_room):
        building = box_room(openings=[window()])
        assert clearance(building.space("room"), np.array([1.7, 0.3, 1.5])) == pytest.approx(0.3)
        assert clearance(building.space("room"), np.array([3.9, 1.5, 1.2])) == pytest.approx(0.1)
        assert clearance(building.space("room"), np.array([4.3, 3.4, 1.2])) == pytest.approx(-0.5)

    def test_clearance_of_an_l_shape_counts_to_the_nearest_edge(self, three_storey_house):
        spot = np.array([6.4 - 0.3, 2.6 - 0.4, 1.0])  # off the inner corner of the lounge
        assert clearance(three_storey_house.space("lounge"), spot) == pytest.approx(0.5)


class TestDigest:
    def test_is_of_geometry_only(self, two_rooms_specs):
        specs = two_rooms_specs()
        digest = specs.build().digest
        other = dict.fromkeys(specs.construction, "foam")
        assert replace(specs, construction=other).build().digest == digest
        assert replace(specs, site=Site(north_rad=1.0)).build().digest == digest
        assert replace(specs, site=Site(reach_m=5.0)).build().digest != digest
        assert replace(specs, openings=[door()]).build().digest != digest


def test_a_large_house_is_built(random_house_specs):
    specs = random_house_specs(np.random.default_rng(3))
    assert len(specs.spaces) >= 12
    assert len(specs.openings) >= 60
    assert len(specs.build().spaces) == len(specs.spaces)


def test_panels_touching_in_one_plane_close(box_room):
    total = sum(area_vector(panel.outline) for panel in box_room().panels)
    assert total == pytest.approx([0, 0, 0], abs=1e-12)
