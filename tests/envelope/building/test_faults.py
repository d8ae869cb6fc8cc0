"""What cannot be built, and the one message that each fault gives."""

from dataclasses import replace

import numpy as np
import pytest

from envelope.building.assemble import assemble_building
from envelope.building.model import Panel, Site, Space, Storey
from envelope.building.rooms.build import room_panels
from envelope.building.rooms.specs import OpeningSpec, PanelSpec, SpaceSpec
from envelope.errors import GeometryError
from envelope.geometry.plane import frozen


def faults_of(specs):
    with pytest.raises(GeometryError) as caught:
        specs.build()
    return [(fault.subject, fault.message) for fault in caught.value.faults]


def only_fault(specs):
    (fault,) = faults_of(specs)
    return fault


def opening(**changes):
    spec = OpeningSpec(
        id="W1", on="room/1", kind="window", width_m=1.5, height_m=1.2, along_m=1.0, sill_m=0.9
    )
    return replace(spec, **changes)


class TestFootprints:
    @pytest.mark.parametrize(
        ("changes", "key", "message"),
        [
            (
                {"corners": [(0, 0), (4, 0), (0, 3), (4, 3)]},
                "footprint",
                "the footprint of space room crosses itself: wall 2 meets wall 4",
            ),
            (
                {"corners": [(0, 0), (0, 3), (4, 3), (4, 0)]},
                "footprint",
                "the footprint of space room runs clockwise; "
                "go round its corners counter-clockwise",
            ),
            (
                {"corners": [(0, 0), (4, 0), (2, 0)]},
                "footprint",
                "the footprint of space room crosses itself: wall 1 meets wall 2",
            ),
            (
                {"corners": [(0, 0), (4, 0), (4, 0), (0, 3)]},
                "footprint",
                "wall 2 of space room has no length",
            ),
            (
                {"corners": [(0, 0), (4, 0)]},
                "footprint",
                "space room has 2 corners; a footprint has at least 3",
            ),
            (
                {"corners": [(0, 0), (4, 0), (4, np.inf)]},
                "footprint",
                "a corner of space room is not finite",
            ),
            ({"height_m": 0.0}, "height", "space room has height 0 m; it must be above 0"),
            ({"height_m": -2.4}, "height", "space room has height -2.4 m; it must be above 0"),
            ({"height_m": np.inf}, "height", "space room has height inf m; it must be above 0"),
            (
                {"storey": "grund"},
                "storey",
                'space room stands on storey "grund", which is not defined; did you mean "ground"?',
            ),
        ],
    )
    def test_refused(self, box_room_specs, changes, key, message):
        specs = box_room_specs()
        changes = {**changes, "corners": frozen(changes.get("corners", specs.spaces[0].corners))}
        space = replace(specs.spaces[0], **changes)
        assert only_fault(replace(specs, spaces=(space,))) == (("space", "room", key), message)

    def test_space_given_twice(self, two_rooms_specs):
        specs = two_rooms_specs()
        spaces = (specs.spaces[0], replace(specs.spaces[1], id="left"))
        assert only_fault(replace(specs, spaces=spaces)) == (
            ("space", "left", "id"),
            "space left is given 2 times",
        )

    def test_storey_given_twice(self, box_room_specs):
        specs = box_room_specs()
        assert only_fault(replace(specs, storeys=specs.storeys * 2)) == (
            ("storey", "ground", "id"),
            "storey ground is given 2 times",
        )

    def test_slash_in_an_id(self, box_room_specs):
        specs = box_room_specs()
        space = replace(specs.spaces[0], id="a/b")
        assert only_fault(replace(specs, spaces=(space,))) == (
            ("space", "a/b", "id"),
            'a space cannot be called "a/b": its id must not be empty or contain a slash',
        )

    def test_no_space(self, box_room_specs):
        assert only_fault(replace(box_room_specs(), spaces=())) == (
            ("space", "", "id"),
            "there is no space",
        )

    def test_overlapping_spaces(self, two_rooms_specs):
        specs = two_rooms_specs()
        near, far = specs.spaces
        far = replace(far, origin=frozen((-0.15, 0.5)))
        assert only_fault(replace(specs, spaces=(near, far))) == (
            ("space", "right", "footprint"),
            "spaces left and right overlap, at left/2",
        )

    def test_space_inside_another(self, two_rooms_specs):
        specs = two_rooms_specs()
        far = replace(specs.spaces[1], corners=frozen([(1, 1), (2, 1), (2, 2), (1, 2)]))
        ((subject, message),) = faults_of(replace(specs, spaces=(specs.spaces[0], far)))
        assert subject == ("space", "right", "footprint")
        assert message.startswith("spaces left and right overlap")

    def test_same_space_twice_under_two_names(self, two_rooms_specs):
        specs = two_rooms_specs()
        far = replace(specs.spaces[0], id="copy")
        ((subject, _),) = faults_of(replace(specs, spaces=(specs.spaces[0], far)))
        assert subject == ("space", "copy", "footprint")

    def test_storeys_that_reach_into_each_other(self, three_storey_specs):
        specs = three_storey_specs()
        kitchen = replace(specs.spaces[0], height_m=2.8)
        found = faults_of(replace(specs, spaces=(kitchen, *specs.spaces[1:])))
        assert [subject for subject, _ in found] == [("space", "bedroom", "footprint")]

    def test_rooms_that_touch_do_not_overlap(self, two_rooms_specs):
        specs = two_rooms_specs()
        far = replace(specs.spaces[1], origin=frozen((-0.1, 0.0)))
        building = replace(specs, spaces=(specs.spaces[0], far)).build()
        assert building.patches_of["left/2"][0].distance_m == pytest.approx(0.0, abs=1e-12)

    def test_room_wrapped_round_another_does_not_overlap(self, two_rooms_specs):
        specs = two_rooms_specs()
        ell = replace(
            specs.spaces[0],
            corners=frozen([(-1, -1), (8, -1), (8, -0.1), (-0.1, -0.1), (-0.1, 4), (-1, 4)]),
        )
        inner = replace(specs.spaces[1], origin=frozen((-3.9, 0.2)))
        assert len(replace(specs, spaces=(ell, inner)).build().spaces) == 2


class TestOpenings:
    @pytest.mark.parametrize(
        ("changes", "key", "message"),
        [
            (
                {"along_m": 3.0},
                "at",
                "opening W1 ends 4.5 m from the first corner of room/1, which is 4 m long",
            ),
            (
                {"along_m": 3.0, "from_left": True},
                "at",
                "opening W1 ends 4.5 m from the left-hand corner of room/1, which is 4 m long",
            ),
            (
                {"sill_m": 1.5},
                "sill",
                "opening W1 reaches 2.7 m up room/1, which is 2.4 m high",
            ),
            (
                {"along_m": None},
                "at",
                'opening W1 sits in wall room/1: say where along it, at = "1 m"',
            ),
            ({"along_m": -0.1}, "at", "opening W1 has at -0.1 m; it cannot be below 0"),
            ({"width_m": 0.0}, "size", "opening W1 has size 0 m; it must be above 0"),
            ({"height_m": -1.0}, "size", "opening W1 has size -1 m; it must be above 0"),
            ({"reveal_m": -0.1}, "reveal", "opening W1 has reveal -0.1 m; it cannot be below 0"),
            ({"sill_m": np.nan}, "sill", "opening W1 has sill nan m; it cannot be below 0"),
            (
                {"undercut_m": 0.01},
                "undercut",
                "opening W1 is a window; only a door in a wall has an undercut",
            ),
            (
                {"kind": "door", "undercut_m": 1.2},
                "undercut",
                "opening W1 has an undercut of 1.2 m, which is not below its height of 1.2 m",
            ),
            (
                {"ring_m": 0.01},
                "ring",
                "opening W1 is a window; only a box or a light has a ring",
            ),
            (
                {"kind": "box", "ring_m": 0.1, "along_m": 0.05},
                "at",
                "opening W1 with its ring begins before the first corner of room/1",
            ),
            (
                {"kind": "box", "ring_m": 0.1, "sill_m": 0.05},
                "sill",
                "opening W1 with its ring begins below the foot of room/1",
            ),
            (
                {"on": "room/7"},
                "on",
                'opening W1 is on "room/7", which does not exist; '
                'room has "room/1" or "room/south", "room/2" or "room/east", '
                '"room/3" or "room/north", "room/4" or "room/west", "room/floor", "room/ceiling"',
            ),
            (
                {"on": "room/sotuh"},
                "on",
                'opening W1 is on "room/sotuh", which does not exist; did you mean "room/south"?',
            ),
            (
                {"on": "rom/1"},
                "on",
                'opening W1 is on "rom/1", but there is no space "rom"; did you mean "room"?',
            ),
            (
                {"on": "room/ceiling"},
                "at",
                "opening W1 sits in room/ceiling: give the x and y of its centre, "
                'at = "1.0, 2.0 m"',
            ),
            (
                {"on": "room/ceiling", "centre": (3.5, 1.0)},
                "at",
                "opening W1 reaches past the edge of room/ceiling",
            ),
            (
                {"along_m": 0.0, "width_m": 4.0, "sill_m": 0.0, "height_m": 2.4},
                "size",
                "opening W1 covers the whole of room/1: "
                "leave at least 1 mm beside, above or below it",
            ),
            (
                {"sill_m": 0.0, "height_m": 2.4},
                "size",
                "opening W1 splits room/1 into 2 pieces: "
                "leave at least 1 mm beside, above or below it",
            ),
            (
                {"kind": "gate"},
                "kind",
                'opening W1 is of unknown kind "gate"; kinds are window, door, hatch, vent, '
                "skylight, light, box, open",
            ),
        ],
    )
    def test_refused(self, box_room_specs, changes, key, message):
        specs = box_room_specs(openings=[opening(**changes)])
        assert only_fault(specs) == (("opening", "W1", key), message)

    def test_one_over_another(self, box_room_specs):
        specs = box_room_specs(openings=[opening(), opening(id="W2", along_m=2.4)])
        assert only_fault(specs) == (
            ("opening", "W2", "at"),
            "opening W2 lies over opening W1 in room/1",
        )

    def test_jambs_that_would_touch(self, box_room_specs):
        pair = [opening(), opening(id="W2", along_m=2.5, width_m=1.0, reveal_m=0.1)]
        ((subject, message),) = faults_of(box_room_specs(openings=pair))
        assert subject == ("opening", "W2", "at")
        assert message.startswith("opening W2 touches opening W1 in room/1; between reveals")

    def test_given_twice(self, box_room_specs):
        specs = box_room_specs(openings=[opening(), opening(on="room/3")])
        assert only_fault(specs) == (
            ("opening", "W1", "id"),
            "opening W1 is given 2 times",
        )

    @pytest.mark.parametrize("name", ["3", "floor", "walls", "south", "a/b", ""])
    def test_id_that_means_something_else(self, box_room_specs, name):
        specs = box_room_specs(openings=[opening(id=name)])
        ((subject, message),) = faults_of(specs)
        assert subject == ("opening", name, "id")
        assert message.endswith("cannot be called so: that name means other panels")

    def test_reveal_deeper_than_the_wall_between(self, two_rooms_specs):
        door = opening(id="D", on="left/2", kind="door", width_m=0.8, reveal_m=0.15)
        for kind in ("door", "box"):
            assert only_fault(two_rooms_specs(openings=[replace(door, kind=kind)])) == (
                ("opening", "D", "reveal"),
                "opening D has a reveal of 0.15 m in left/2, but right/4 is only 0.1 m behind it",
            )

    def test_partly_into_a_room_and_partly_outdoors(self, two_rooms_specs):
        specs = two_rooms_specs(openings=[opening(on="left/2", width_m=1.0)])
        right = replace(specs.spaces[1], corners=frozen([(4.1, 0), (7, 0), (7, 1.6), (4.1, 1.6)]))
        assert only_fault(replace(specs, spaces=(specs.spaces[0], right))) == (
            ("opening", "W1", "at"),
            "opening W1 in left/2 has behind it right/4 (60%) and no space (40%); "
            "an opening must lead to one space or outdoors",
        )

    def test_written_from_both_sides(self, two_rooms_specs):
        pair = [
            opening(id="D1", on="left/2", width_m=0.8),
            opening(id="D2", on="right/4", along_m=1.2, width_m=0.8),
        ]
        assert only_fault(two_rooms_specs(openings=pair)) == (
            ("opening", "D2", "at"),
            "opening D2 lies over opening D1 (cut through from left/2) in right/4",
        )

    def test_through_a_partition_into_the_same_room(self, box_room_specs):
        corners = [(0, 0), (4, 0), (4, 3), (2.1, 3), (2.1, 1), (2, 1), (2, 3), (0, 3)]
        specs = box_room_specs(openings=[opening(on="room/4", along_m=0.2)])
        room = replace(specs.spaces[0], corners=frozen(corners))
        ((subject, message),) = faults_of(replace(specs, spaces=(room,)))
        assert subject == ("opening", "W1", "on")
        assert message.startswith("opening W1 leads from room into itself through room/6")

    def test_reveal_that_comes_out_in_the_room_itself(self, box_room_specs):
        # Beside the inner corner of an L, the niche would open along the other wall.
        corners = [(0, 0), (4.2, 0), (4.2, 2.6), (2.7, 2.6), (2.7, 3.6), (0, 3.6)]
        specs = box_room_specs(
            openings=[
                opening(on="room/3", along_m=0.5, width_m=1.0, reveal_m=0.2),
            ]
        )
        room = replace(specs.spaces[0], corners=frozen(corners))
        ((subject, message),) = faults_of(replace(specs, spaces=(room,)))
        assert subject == ("opening", "W1", "reveal")
        assert "runs through or against space room itself" in message

    def test_niche_that_reaches_into_another_space(self, two_rooms_specs):
        specs = two_rooms_specs(openings=[opening(on="left/2", reveal_m=0.9)])
        far = replace(specs.spaces[1], origin=frozen((0.6, 0.0)))
        found = faults_of(replace(specs, spaces=(specs.spaces[0], far)))
        assert [subject for subject, _ in found] == [("space", "right", "footprint")]


class TestPanels:
    def test_unknown(self, box_room_specs):
        specs = replace(box_room_specs(), panels=[PanelSpec(on="room/cieling")])
        assert only_fault(specs) == (
            ("panel", "room/cieling", "on"),
            'there is no panel "room/cieling"; did you mean "room/ceiling"?',
        )

    def test_described_twice(self, box_room_specs):
        said = [PanelSpec(on="room/1", earth=True), PanelSpec(on="room/south", assembly="log")]
        assert only_fault(replace(box_room_specs(), panels=said)) == (
            ("panel", "room/south", "on"),
            "panel room/south is described twice",
        )

    def test_assembly_given_twice(self, box_room_specs):
        specs = box_room_specs(openings=[opening(assembly="triple")])
        specs = replace(specs, panels=[PanelSpec(on="room/W1", assembly="double")])
        assert only_fault(specs) == (
            ("panel", "room/W1", "assembly"),
            "room/W1 is given assembly triple and double; it can have one",
        )

    def test_two_sides_that_contradict(self, two_rooms_specs):
        said = [
            PanelSpec(on="left/2", assembly="brick"),
            PanelSpec(on="right/4", assembly="stud"),
        ]
        assert only_fault(replace(two_rooms_specs(), panels=said)) == (
            ("panel", "left/2", "assembly"),
            "left/2 names assembly brick and right/4, the other side of the same interior-wall, "
            "names stud; they must agree",
        )

    def test_two_sides_that_agree(self, two_rooms_specs):
        said = [
            PanelSpec(on="left/2", assembly="brick"),
            PanelSpec(on="right/4", assembly="brick"),
        ]
        building = replace(two_rooms_specs(), panels=said).build()
        (patch,) = building.patches_of["left/2"]
        assert building.elements[patch.element].assembly == "brick"


class TestConstruction:
    def test_missing_lines(self, box_room_specs):
        specs = box_room_specs(openings=[opening(id="H", kind="hatch")])
        assert faults_of(replace(specs, construction={"floor": "f"})) == [
            (
                ("construction", "", "exterior-wall"),
                "[construction] has no line for exterior-wall, which room/1, room/2, room/3, "
                "room/4 needs",
            ),
            (
                ("construction", "", "roof"),
                "[construction] has no line for roof, which room/ceiling needs",
            ),
            (
                ("construction", "", "hatch"),
                "[construction] has no line for hatch (or door), which room/H needs",
            ),
        ]

    def test_panels_that_name_their_own_need_no_line(self, box_room_specs):
        specs = box_room_specs()
        lines = {key: name for key, name in specs.construction.items() if key != "roof"}
        said = [PanelSpec(on="room/ceiling", assembly="thatch")]
        building = replace(specs, construction=lines, panels=said).build()
        (patch,) = building.patches_of["room/ceiling"]
        assert building.elements[patch.element].assembly == "thatch"


def test_all_faults_come_at_once(two_rooms_specs):
    specs = two_rooms_specs(
        openings=[
            opening(id="A", on="left/1", along_m=3.9),
            opening(id="B", on="nowhere/1"),
            opening(id="C", on="right/1"),
        ]
    )
    far = replace(specs.spaces[1], origin=frozen((-0.5, 0.0)))
    specs = replace(
        specs,
        spaces=(specs.spaces[0], far, replace(far, id="third", height_m=0.0)),
        panels=[PanelSpec(on="left/9")],
    )
    subjects = [subject for subject, _ in faults_of(specs)]
    assert subjects == [
        ("space", "third", "height"),
        ("opening", "A", "at"),
        ("opening", "B", "on"),
        ("panel", "left/9", "on"),
        ("space", "right", "footprint"),
    ]


def test_missing_lines_are_told_together_with_bad_openings(box_room_specs):
    specs = box_room_specs(openings=[opening(along_m=9.0)])
    lines = {key: name for key, name in specs.construction.items() if key != "roof"}
    subjects = [subject for subject, _ in faults_of(replace(specs, construction=lines))]
    assert subjects == [("opening", "W1", "at"), ("construction", "", "roof")]


class TestAssembling:
    """Panels from elsewhere."""

    def assemble(self, panels, storey="g"):
        spaces = [Space(id="a", storey=storey, panels=tuple(panels), floor_m=0.0)]
        return assemble_building(
            site=Site(),
            storeys=[Storey(id="g", floor_m=0.0)],
            spaces=spaces,
            construction={"exterior-wall": "w", "floor": "f", "roof": "r"},
        )

    def refused(self, panels, storey="g"):
        with pytest.raises(GeometryError) as caught:
            self.assemble(panels, storey)
        return [fault.message for fault in caught.value.faults]

    @pytest.fixture
    def panels(self):
        corners = frozen([(0, 0), (4, 0), (4, 3), (0, 3)])
        return list(room_panels(SpaceSpec(id="a", storey="g", corners=corners, height_m=2.4)))

    def test_sound(self, panels):
        assert self.assemble(panels).spaces[0].volume_m3 == pytest.approx(28.8)

    def test_missing_panel(self, panels):
        assert self.refused(panels[:3] + panels[4:]) == [
            "space a is not closed: 10.8 m of edges of a/1, a/3, a/floor, a/ceiling meet nothing, "
            "first from (0.000, 0.000, 0.000) to (0.000, 0.000, 2.400) m"
        ]

    def test_panel_turned_over(self, panels):
        panels[1] = replace(panels[1], outline=panels[1].outline[::-1])
        assert self.refused(panels) == ["space a has panels wound the wrong way: a/2"]

    def test_inside_out(self, panels):
        turned = [replace(panel, outline=panel.outline[::-1]) for panel in panels]
        assert self.refused(turned) == ["space a is inside out: its panels' normals point out"]

    def test_hole_that_nothing_fills(self, panels):
        hole = panels[0].outline * 0.5 + panels[0].outline.mean(axis=0) * 0.5
        panels[0] = replace(panels[0], holes=(hole,))
        (message,) = self.refused(panels)
        assert message.startswith("space a is not closed: 6.4 m of edges of a/1 meet nothing")

    def test_panels_over_each_other(self, panels):
        film = Panel(id="a/film", space="a", kind="window", outline=panels[0].outline * 0.5)
        assert self.refused([*panels, film]) == ["panels a/1 and a/film lie over each other"]

    def test_not_flat(self, panels):
        outline = np.array(panels[4].outline)
        outline[0, 2] += 0.03
        panels[4] = replace(panels[4], outline=outline)
        (message,) = self.refused(panels)
        assert message.startswith("panel a/floor is not flat: a corner stands ")

    def test_corners_within_a_tenth_of_a_millimetre_are_one(self, panels):
        rng = np.random.default_rng(5)
        loose = [
            replace(panel, outline=panel.outline + rng.uniform(-2e-5, 2e-5, panel.outline.shape))
            for panel in panels
        ]
        building = self.assemble(loose)
        corners = np.concatenate([panel.outline for panel in building.panels])
        assert len(np.unique(corners, axis=0)) == 8
        assert building.spaces[0].volume_m3 == pytest.approx(28.8, abs=2e-3)

    def test_gap_of_a_millimetre_is_open(self, panels):
        panels[5] = replace(panels[5], outline=panels[5].outline + np.array([0, 0, 1e-3]))
        assert "not closed" in self.refused(panels)[0]

    def test_wall_of_two_panels_meets_edges_half_way(self, panels):
        outline = panels[0].outline
        middle = outline.mean(axis=0) * [1, 1, 0]
        above = middle + np.array([0, 0, 2.4])
        right = Panel(
            id="a/1a", space="a", kind="wall", outline=[outline[0], outline[1], above, middle]
        )
        left = Panel(
            id="a/1b", space="a", kind="wall", outline=[middle, above, outline[2], outline[3]]
        )
        assert len(self.assemble([right, left, *panels[1:]]).panels) == 7

    def test_unknown_storey(self, panels):
        assert self.refused(panels, storey="attic") == [
            'space a stands on storey "attic", which is not defined'
        ]

    def test_id_used_twice(self, panels):
        panels[1] = replace(panels[1], id="a/1")
        assert self.refused(panels) == ["panel id a/1 is used 2 times"]

    def test_no_panels(self):
        corners = frozen([(0, 0), (1, 0), (0, 1)])
        panel = Panel(
            id="a/1", space="a", kind="floor", outline=np.column_stack((corners, np.zeros(3)))
        )
        assert "not closed" in self.refused([panel])[0]
