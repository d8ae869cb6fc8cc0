"""Sheds, gables, hipped ceilings, dormers and hollows: volumes and areas against closed forms."""

import math
from dataclasses import replace

import numpy as np
import pytest

from envelope.building.model import Site, Storey
from envelope.building.rooms.build import build_building
from envelope.building.rooms.specs import (
    CeilingSpec,
    DormerSpec,
    OpeningSpec,
    PanelSpec,
    SpaceSpec,
)
from envelope.building.selectors import select
from envelope.errors import GeometryError
from envelope.geometry.plane import frozen

CONSTRUCTION = {
    "exterior-wall": "w",
    "interior-wall": "i",
    "floor": "f",
    "roof": "r",
    "window": "g",
    "door": "d",
}
NORTH = 0.5 * math.pi
GABLE = CeilingSpec(shape="gable", ridge_m=3.0)
T_SHAPE = [(0, 0), (3, 0), (3, -3), (5, -3), (5, 0), (8, 0), (8, 4), (0, 4)]


def rectangle(x0, y0, x1, y1):
    return frozen([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def room(
    *,
    openings=(),
    panels=(),
    others=(),
    storeys=(("g", 0.0),),
    grade_m=0.0,
    **changes,
):
    """A room of 6 m by 4 m with eaves at 1 m."""
    spec = SpaceSpec(id="room", storey="g", corners=rectangle(0, 0, 6, 4), height_m=1.0)
    return build_building(
        site=Site(grade_m=grade_m),
        storeys=[Storey(id=name, floor_m=floor) for name, floor in storeys],
        spaces=[replace(spec, **changes), *others],
        openings=openings,
        panels=panels,
        construction=CONSTRUCTION,
    )


def areas(building):
    return {panel.id.partition("/")[2]: panel.area_m2 for panel in building.panels}


def subjects(call, **changes):
    with pytest.raises(GeometryError) as caught:
        call(**changes)
    return [fault.subject for fault in caught.value.faults]


class TestShapes:
    def test_gable(self):
        building = room(ceiling=GABLE)
        assert building.spaces[0].volume_m3 == pytest.approx(48.0, abs=1e-9)
        assert areas(building) == pytest.approx(
            {
                "1": 6.0,
                "2": 8.0,
                "3": 6.0,
                "4": 8.0,
                "floor": 24.0,
                "ceiling-1": 16.97056274847714,
                "ceiling-2": 16.97056274847714,
            },
            abs=1e-9,
        )
        assert building.panel("room/ceiling-south").id == "room/ceiling-1"
        assert building.panel("room/ceiling-north").normal[1] < 0.0

    def test_gable_cut_off_by_a_level_part(self):
        building = room(ceiling=replace(GABLE, flat_m=2.4))
        assert building.spaces[0].volume_m3 == pytest.approx(45.84, abs=1e-9)
        assert areas(building)["ceiling-3"] == pytest.approx(7.2, abs=1e-9)
        assert areas(building)["2"] == pytest.approx(7.64, abs=1e-9)

    def test_gable_with_its_ridge_aside(self):
        # 1 m from the south wall: (1 + 3) / 2 on both sides of it all the same.
        building = room(ceiling=replace(GABLE, through=(0.0, 1.0)))
        assert building.spaces[0].volume_m3 == pytest.approx(48.0, abs=1e-9)
        assert areas(building)["ceiling-1"] == pytest.approx(13.416407864998739, abs=1e-9)
        assert areas(building)["ceiling-2"] == pytest.approx(21.633307652783937, abs=1e-9)

    def test_one_pitch_with_the_ridge_aside_leaves_the_nearer_eaves_higher(self):
        ceiling = CeilingSpec(shape="gable", pitch_rad=math.pi / 4, through=(0.0, 1.0))
        building = room(ceiling=ceiling)
        # Ridge 1 + 3; eaves 3 in the south and 1 in the north.
        assert areas(building)["1"] == pytest.approx(18.0, abs=1e-9)
        assert areas(building)["3"] == pytest.approx(6.0, abs=1e-9)
        assert building.spaces[0].volume_m3 == pytest.approx(66.0, abs=1e-9)

    def test_shed(self):
        building = room(ceiling=CeilingSpec(shape="shed", direction_rad=NORTH, ridge_m=3.0))
        assert building.spaces[0].volume_m3 == pytest.approx(48.0, abs=1e-9)
        assert areas(building) == pytest.approx(
            {"1": 6.0, "2": 8.0, "3": 18.0, "4": 8.0, "floor": 24.0, "ceiling": 26.832815729997478},
            abs=1e-9,
        )

    def test_eaves_that_come_down_to_the_floor_leave_no_wall(self):
        ceiling = CeilingSpec(shape="shed", direction_rad=NORTH, pitch_rad=math.pi / 4)
        building = room(corners=rectangle(0, 0, 9, 0.9), height_m=0.0, ceiling=ceiling)
        assert building.spaces[0].volume_m3 == pytest.approx(3.645, abs=1e-9)
        assert areas(building) == pytest.approx(
            {"2": 0.405, "3": 8.1, "4": 0.405, "floor": 8.1, "ceiling": 11.45512985522207}, abs=1e-9
        )

    def test_hipped_over_a_rectangle(self):
        building = room(ceiling=CeilingSpec(shape="hipped", ridge_m=3.0))
        assert building.spaces[0].volume_m3 == pytest.approx(42.666666666666664, abs=1e-9)
        assert [areas(building)[f"ceiling-{number}"] for number in (1, 2, 3, 4)] == pytest.approx(
            [11.31370849898476, 5.65685424949238, 11.31370849898476, 5.65685424949238], abs=1e-9
        )

    def test_hipped_over_a_hexagon_is_a_tent(self):
        turn = np.arange(6) * math.pi / 3.0
        corners = frozen(2.0 * np.column_stack((np.cos(turn), np.sin(turn))))
        building = room(
            corners=corners, height_m=2.0, ceiling=CeilingSpec(shape="hipped", ridge_m=3.0)
        )
        # Area 6√3, 2 m of it full and a third of 1 m more; each face 2 m by 2 m over two.
        assert building.spaces[0].volume_m3 == pytest.approx(24.24871130596428, abs=1e-9)
        faces = [area for name, area in areas(building).items() if name.startswith("ceiling")]
        assert faces == pytest.approx([2.0] * 6, abs=1e-9)

    def test_hipped_over_a_square_meets_in_a_point(self):
        building = room(
            corners=rectangle(0, 0, 4, 4), ceiling=CeilingSpec(shape="hipped", ridge_m=4.0)
        )
        assert building.spaces[0].volume_m3 == pytest.approx(32.0, abs=1e-9)

    def test_walls_in_one_line_share_a_plane(self):
        corners = frozen([(0, 0), (2, 0), (6, 0), (6, 4), (0, 4)])
        building = room(corners=corners, ceiling=CeilingSpec(shape="hipped", ridge_m=3.0))
        assert building.spaces[0].volume_m3 == pytest.approx(42.666666666666664, abs=1e-9)

    def test_a_bay_under_a_gable(self):
        corners = frozen([(0, 0), (2, 0), (2.5, -0.5), (3.5, -0.5), (4, 0), (6, 0), (6, 4), (0, 4)])
        ceiling = replace(GABLE, over=rectangle(0, 0, 6, 4))
        # The bay is 2 m wide at the wall and 1 m at 0.5 m out; its ceiling falls on at 45°.
        # ∫ (2 - 2t)(1 - t) dt from 0 to 0.5 = 2 (1 - 0.125) / 3.
        building = room(corners=corners, ceiling=ceiling)
        inside = 0.5833333333333334
        assert building.spaces[0].volume_m3 == pytest.approx(48.0 + inside, abs=1e-9)

    def test_a_ceiling_over_a_hollow(self):
        building = room(ceiling=GABLE, hollows=(rectangle(2, 1, 2.4, 1.4),))
        assert building.spaces[0].volume_m3 == pytest.approx(47.648, abs=1e-9)
        found = areas(building)
        assert [found[name] for name in "5678"] == pytest.approx([0.88, 0.96, 0.88, 0.8], abs=1e-9)
        assert found["floor"] == pytest.approx(23.84, abs=1e-9)
        assert found["ceiling-1"] == pytest.approx(16.744288578497447, abs=1e-9)

    def test_walls_round_a_hollow_are_interior_however_thick_it_is(self):
        building = room(height_m=2.4, hollows=(rectangle(1, 1, 3, 3),))
        kinds = {
            building.elements[patch.element].kind
            for name in ("room/5", "room/6", "room/7", "room/8")
            for patch in building.patches_of[name]
        }
        assert kinds == {"interior-wall"}
        assert building.panel("room/south").id == "room/1"

    def test_walls_round_a_slim_column_face_each_other(self):
        building = room(height_m=2.4, hollows=(rectangle(1, 1, 1.3, 1.3),))
        assert building.patches_of["room/5"][0].far == "room/7"


class TestDormers:
    def test_shed_dormer_on_the_wall(self):
        dormer = DormerSpec(id="N1", corners=rectangle(2, 0, 4, 2), height_m=2.2)
        building = room(ceiling=GABLE, dormers=(dormer,))
        assert building.spaces[0].volume_m3 == pytest.approx(49.44, abs=1e-9)
        found = areas(building)
        assert found["1"] == pytest.approx(8.4, abs=1e-9)
        assert (found["N1-2"], found["N1-4"]) == pytest.approx((0.72, 0.72), abs=1e-9)
        assert found["N1-ceiling"] == pytest.approx(2.4, abs=1e-9)
        assert "N1-1" not in found
        assert "N1-3" not in found

    def test_gable_dormer_in_the_slope(self):
        ceiling = CeilingSpec(shape="gable", direction_rad=NORTH, ridge_m=2.5)
        dormer = DormerSpec(id="N1", corners=rectangle(2, 0.5, 4, 2), height_m=2.0, ceiling=ceiling)
        window = OpeningSpec(
            id="W1",
            on="room/N1-south",
            kind="window",
            width_m=1.0,
            height_m=0.4,
            along_m=0.5,
            sill_m=1.55,
        )
        building = room(ceiling=GABLE, dormers=(dormer,), openings=[window])
        assert building.spaces[0].volume_m3 == pytest.approx(48.583333333333336, abs=1e-9)
        found = areas(building)
        assert found["N1-1"] + found["W1"] == pytest.approx(1.5, abs=1e-9)
        assert (found["N1-2"], found["N1-4"]) == pytest.approx((0.125, 0.125), abs=1e-9)
        assert found["N1-ceiling-1"] == pytest.approx(0.8385254915624212, abs=1e-9)
        # The sill counts from the room's floor.
        assert building.panel("room/W1").outline[:, 2].min() == pytest.approx(1.55)
        assert building.panel("room/W1").outline[:, 0].min() == pytest.approx(2.5)

    def test_cross_gable_over_a_wing(self):
        main = CeilingSpec(shape="gable", ridge_m=4.0, over=rectangle(0, 0, 8, 4))
        wing = CeilingSpec(shape="gable", direction_rad=NORTH, pitch_rad=math.pi / 4)
        dormer = DormerSpec(id="X", corners=rectangle(3, -3, 5, 2), height_m=2.0, ceiling=wing)
        building = room(corners=frozen(T_SHAPE), height_m=2.0, ceiling=main, dormers=(dormer,))
        # 8·4·3 of the main body, 3·5 of the wing, 1/3 where it cuts into the main roof.
        assert building.spaces[0].volume_m3 == pytest.approx(111.33333333333333, abs=1e-9)
        found = areas(building)
        assert found["3"] == pytest.approx(5.0, abs=1e-9)  # the wing's gable end
        assert (found["2"], found["4"]) == pytest.approx((6.0, 6.0), abs=1e-9)
        assert not [name for name in found if name.startswith("X-") and "ceiling" not in name]

    def test_a_dormer_round_a_chimney(self):
        dormer = DormerSpec(id="N1", corners=rectangle(2, 0, 4, 2), height_m=2.2)
        chimney = rectangle(2.8, 0.4, 3.2, 0.8)
        building = room(ceiling=GABLE, dormers=(dormer,), hollows=(chimney,))
        assert building.spaces[0].volume_m3 == pytest.approx(49.44 - 0.16 * 2.2, abs=1e-9)
        assert areas(building)["5"] == pytest.approx(0.88, abs=1e-9)

    def test_a_chimney_half_under_a_dormer_steps_up_with_it(self):
        dormer = DormerSpec(id="N1", corners=rectangle(2, 0, 4, 2), height_m=2.2)
        chimney = rectangle(1.8, 0.2, 2.2, 0.6)
        building = room(ceiling=GABLE, dormers=(dormer,), hollows=(chimney,))
        lost = 0.08 * 1.4 + 0.08 * 2.2
        assert building.spaces[0].volume_m3 == pytest.approx(49.44 - lost, abs=1e-9)


class TestLinesThatFallOnOneAnother:
    """Turned by an angle at which rounding puts them a hair apart."""

    TURN = 0.7203165368939173

    def turned(self, **changes):
        spin = np.array(
            [
                [math.cos(self.TURN), -math.sin(self.TURN)],
                [math.sin(self.TURN), math.cos(self.TURN)],
            ]
        )

        def ceiling(of):
            return replace(of, direction_rad=of.direction_rad + self.TURN)

        def corners(of):
            return frozen(np.asarray(of, dtype=np.float64) @ spin.T)

        changes["ceiling"] = ceiling(changes.get("ceiling", GABLE))
        changes["corners"] = corners(changes.get("corners", rectangle(0, 0, 6, 4)))
        changes["hollows"] = tuple(map(corners, changes.get("hollows", ())))
        changes["dormers"] = tuple(
            replace(item, corners=corners(item.corners), ceiling=ceiling(item.ceiling))
            for item in changes.get("dormers", ())
        )
        return room(**changes)

    def both(self, **changes):
        return room(**{"ceiling": GABLE, **changes}), self.turned(**changes)

    def test_a_chimney_with_an_edge_at_the_ridge(self):
        for building in self.both(hollows=(rectangle(2, 2, 2.4, 2.5),)):
            # 0.2 m² under heights from 3 to 2.5.
            assert building.spaces[0].volume_m3 == pytest.approx(48.0 - 0.55, abs=1e-9)

    def test_chimneys_with_a_corner_at_the_ridge(self):
        # A square of 0.4 m stood on its corner, 0.32 m² in all.
        reach = 0.4 * math.sqrt(0.5)
        square = frozen(
            [(3, 2), (3 + reach, 2 + reach), (3, 2 + 2 * reach), (3 - reach, 2 + reach)]
        )
        for building in self.both(hollows=(square,)):
            lost = 0.16 * (3.0 - reach)
            assert building.spaces[0].volume_m3 == pytest.approx(48.0 - lost, abs=1e-9)

    def test_a_dormer_that_ends_at_the_ridge_and_at_its_height(self):
        dormer = DormerSpec(id="N1", corners=rectangle(2, 0, 4, 2), height_m=3.0)
        for building in self.both(dormers=(dormer,)):
            # 2 m by 2 m, on average 1 m higher.
            assert building.spaces[0].volume_m3 == pytest.approx(52.0, abs=1e-9)
            assert not [name for name in areas(building) if name.startswith("N1-3")]

    def test_a_dormer_across_the_ridge_at_its_height_has_cheeks_in_two_parts(self):
        dormer = DormerSpec(id="N1", corners=rectangle(2, 1, 4, 3), height_m=3.0)
        for building in self.both(dormers=(dormer,)):
            found = areas(building)
            cheeks = ("N1-2", "N1-2-2", "N1-4", "N1-4-2")
            assert [found[name] for name in cheeks] == pytest.approx([0.5] * 4, abs=1e-9)
            assert building.spaces[0].volume_m3 == pytest.approx(50.0, abs=1e-9)

    def test_a_chimney_along_a_dormers_edge(self):
        dormer = DormerSpec(id="N1", corners=rectangle(2, 0, 4, 2), height_m=2.2)
        for building in self.both(dormers=(dormer,), hollows=(rectangle(4, 0.4, 4.4, 0.8),)):
            # Under the slope, at 1.6 m on average.
            assert building.spaces[0].volume_m3 == pytest.approx(49.44 - 0.256, abs=1e-9)
            cheeks = [area for name, area in areas(building).items() if name.startswith("N1-2")]
            assert sum(cheeks) == pytest.approx(0.72 - 0.4 * 0.6, abs=1e-9)

    def test_a_hipped_dormer_as_high_as_the_level_part(self):
        ceiling = replace(GABLE, flat_m=2.4)
        hip = CeilingSpec(shape="hipped", ridge_m=2.4)
        dormer = DormerSpec(id="N1", corners=rectangle(1, 0, 5, 1.4), height_m=2.0, ceiling=hip)
        plain, turned = self.both(ceiling=ceiling, dormers=(dormer,))
        assert turned.spaces[0].volume_m3 == pytest.approx(plain.spaces[0].volume_m3, abs=1e-9)
        assert sorted(areas(turned).values()) == pytest.approx(
            sorted(areas(plain).values()), abs=1e-9
        )

    def test_a_step_of_a_fraction_of_a_millimetre(self):
        dormer = DormerSpec(id="N1", corners=rectangle(2, 0, 4, 2), height_m=3.0002)
        for building in self.both(dormers=(dormer,)):
            assert areas(building)["N1-3"] == pytest.approx(0.0004, abs=1e-9)

    def test_one_below_the_weld_is_refused_with_its_height(self):
        dormer = DormerSpec(id="N1", corners=rectangle(2, 0, 4, 2), height_m=3.00004)
        with pytest.raises(GeometryError, match=r"side 3 of dormer N1 .* 0\.04 mm"):
            self.turned(dormers=(dormer,))


class TestWallsInParts:
    """Eaves on the floor, and two dormers that stand on the wall: 1-1 and 1-2."""

    DORMERS = tuple(
        DormerSpec(id=name, corners=rectangle(x, 0, x + 1.5, 1.5), height_m=2.1)
        for name, x in (("N1", 1.0), ("N2", 3.5))
    )

    def attic(self, **changes):
        return room(height_m=0.0, ceiling=GABLE, dormers=self.DORMERS, **changes)

    def window(self, on):
        return OpeningSpec(
            id="W1", on=on, kind="window", width_m=1.0, height_m=1.0, along_m=0.2, sill_m=0.9
        )

    def test_each_part_is_a_panel(self):
        building = self.attic()
        found = areas(building)
        assert (found["1-1"], found["1-2"]) == pytest.approx((3.15, 3.15), abs=1e-9)
        assert not {"1", "3"} & set(found)
        # A gable of 36 m³, and each dormer higher by 2.1 - 1.5y up to y = 1.4.
        assert building.spaces[0].volume_m3 == pytest.approx(36.0 + 2 * 1.5 * 1.47, abs=1e-9)

    def test_the_names_of_the_wall_mean_all_its_parts(self):
        building = self.attic()
        for name in ("room/1", "room/south"):
            assert select(building, name) == ("room/1-1", "room/1-2")

    def test_what_is_said_of_the_wall_is_said_of_its_parts(self):
        building = self.attic(panels=[PanelSpec(on="room/south", assembly="log")])
        assert building.panel("room/1-1").assembly == building.panel("room/1-2").assembly == "log"

    def test_an_opening_is_in_one_of_them(self):
        building = self.attic(openings=[self.window("room/1-2")])
        assert building.panel("room/W1").outline[:, 0].min() == pytest.approx(3.7)
        with pytest.raises(GeometryError) as caught:
            self.attic(openings=[self.window("room/south")])
        assert str(caught.value) == (
            'opening W1 is on "room/south", which the ceiling leaves in parts: '
            'write "room/1-1" or "room/1-2"'
        )


class TestOpeningsInSlopes:
    def test_a_skylight_is_measured_along_the_slope(self):
        light = OpeningSpec(
            id="S1",
            on="room/ceiling",
            kind="skylight",
            width_m=0.8,
            height_m=1.2,
            centre=(2.0, 3.0),
            reveal_m=0.2,
        )
        building = room(ceiling=GABLE, openings=[light])
        leaf = building.panel("room/S1")
        assert leaf.host == "room/ceiling-2"
        assert leaf.area_m2 == pytest.approx(0.96, abs=1e-9)
        assert building.spaces[0].volume_m3 == pytest.approx(48.0 + 0.192, abs=1e-9)
        # Its middle lies 0.2 m out of the slope, over (2, 3) at 2 m.
        middle = leaf.outline.mean(axis=0)
        assert middle == pytest.approx(
            [2.0, 3.0 + 0.2 * math.sqrt(0.5), 2.0 + 0.2 * math.sqrt(0.5)], abs=1e-9
        )
        sill = building.panel("room/S1/sill").outline[:, 2].max()
        assert sill < building.panel("room/S1/head").outline[:, 2].min()

    def test_one_that_reaches_past_the_ridge(self):
        light = OpeningSpec(
            id="S1", on="room/ceiling", kind="skylight", width_m=0.8, height_m=1.2, centre=(2, 2.1)
        )
        assert subjects(room, ceiling=GABLE, openings=[light]) == [("opening", "S1", "at")]


class TestFaults:
    @pytest.mark.parametrize(
        ("changes", "subject"),
        [
            ({"ceiling": replace(GABLE, ridge_m=1.0)}, ("space", "room", "ceiling")),
            ({"ceiling": replace(GABLE, pitch_rad=0.5)}, ("space", "room", "ceiling")),
            ({"ceiling": replace(GABLE, ridge_m=None)}, ("space", "room", "ceiling")),
            ({"ceiling": replace(GABLE, ridge_m=200.0)}, ("space", "room", "ceiling")),
            ({"ceiling": replace(GABLE, through=(0, 5))}, ("space", "room", "ceiling")),
            ({"ceiling": replace(GABLE, flat_m=0.9)}, ("space", "room", "ceiling")),
            (
                {"ceiling": replace(GABLE, over=rectangle(0, 0, 6, 1))},
                ("space", "room", "ceiling"),
            ),
            (
                {"ceiling": CeilingSpec(shape="hipped", ridge_m=3.0), "corners": frozen(T_SHAPE)},
                ("space", "room", "ceiling"),
            ),
            ({"height_m": 0.0}, ("space", "room", "height")),
            ({"hollows": (rectangle(0, 1, 0.3, 1.3),)}, ("space", "room", "hollow")),
            ({"hollows": (rectangle(5, 1, 7, 2),)}, ("space", "room", "hollow")),
            (
                {"hollows": (rectangle(1, 1, 2, 2), rectangle(2, 1, 3, 2))},
                ("space", "room", "hollow"),
            ),
            ({"hollows": (rectangle(1, 1, 2, 2)[::-1],)}, ("space", "room", "hollow")),
        ],
    )
    def test_what_cannot_be(self, changes, subject):
        assert subjects(room, **changes) == [subject]

    @pytest.mark.parametrize(
        ("dormer", "key"),
        [
            (DormerSpec(id="N1", corners=rectangle(2, 0, 4, 2), height_m=0.5), "height"),
            (DormerSpec(id="N1", corners=rectangle(2, -1, 4, 2), height_m=2.0), "footprint"),
            (
                DormerSpec(
                    id="N1",
                    corners=rectangle(2, 0, 4, 2),
                    height_m=2.0,
                    ceiling=replace(GABLE, ridge_m=1.5),
                ),
                "ceiling",
            ),
        ],
    )
    def test_dormers_that_cannot_be(self, dormer, key):
        found = subjects(room, ceiling=GABLE, dormers=(dormer,))
        assert found == [("dormer", "N1", key)]

    def test_dormers_that_touch(self):
        one = DormerSpec(id="N1", corners=rectangle(1, 0, 2, 2), height_m=2.2)
        two = DormerSpec(id="N2", corners=rectangle(2, 0, 3, 2), height_m=2.2)
        found = subjects(room, ceiling=GABLE, dormers=(one, two))
        assert found == [("dormer", "N2", "footprint")]


class TestSites:
    def test_split_levels_meet_where_both_are(self):
        other = SpaceSpec(
            id="up", storey="g", corners=rectangle(6.1, 0, 9, 4), height_m=2.4, floor_m=1.2
        )
        building = room(height_m=2.4, others=[other])
        faced = [patch for patch in building.patches_of["room/2"] if patch.far == "up/4"]
        assert sum(patch.area_m2 for patch in faced) == pytest.approx(4.8, abs=1e-9)

    def behind(self, building, name):
        return {
            (patch.behind, building.elements[patch.element].kind): pytest.approx(patch.area_m2)
            for patch in building.patches_of[name]
        }

    def beside(self, *, floor_m, **changes):
        """A room on the lowest storey, and one beside it on a storey of its own."""
        other = SpaceSpec(
            id="hall", storey="mid", corners=rectangle(6.2, 0, 9, 4), height_m=2.4, floor_m=floor_m
        )
        storeys = (("low", -1.4), ("mid", floor_m))
        rest = {"storey": "low", "floor_m": -1.4, "height_m": 2.4, **changes}
        return room(others=[other], storeys=storeys, **rest)

    def test_a_floor_at_grade_lies_on_earth_whatever_its_storey(self):
        building = self.beside(floor_m=0.0)
        assert self.behind(building, "hall/floor") == {("earth", "slab"): 11.2}
        assert building.notes == ()

    def test_a_floor_well_above_grade_with_nothing_below_it_is_said(self):
        building = self.beside(floor_m=1.1)
        assert self.behind(building, "hall/floor") == {("outdoors", "floor"): 11.2}
        assert building.notes == (
            "nothing is modelled below hall: its floor counts as open to the outdoors",
        )

    def test_the_strip_below_a_floor_beside_a_sunken_room_is_earth_below_grade(self):
        building = self.beside(floor_m=-0.9, grade_m=-1.2)
        # Wall 2 reaches from -1.4 to 1 m; 0.5 m of it stands below the hall's floor.
        assert self.behind(building, "room/2") == {
            ("space", "interior-wall"): 7.6,
            ("outdoors", "interior-wall"): 1.2,
            ("earth", "interior-wall"): 0.8,
        }

    @pytest.mark.parametrize("angle", np.linspace(-3.0, 3.0, 9))
    def test_a_strip_just_as_wide_as_a_wall_may_be_thick_is_one_however_it_is_turned(self, angle):
        turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
        hall = SpaceSpec(
            id="hall", storey="g", corners=frozen(rectangle(6.2, 0, 9, 4) @ turn), height_m=2.4
        )
        corners = frozen(rectangle(0, 0, 6, 4) @ turn)
        building = room(corners=corners, floor_m=-0.6, height_m=3.0, grade_m=-5.0, others=[hall])
        assert self.behind(building, "room/2") == {
            ("space", "interior-wall"): 9.6,
            ("outdoors", "interior-wall"): 2.4,
        }

    def test_a_window_below_grade_is_said(self):
        window = OpeningSpec(
            id="W1", on="room/1", kind="window", width_m=1.0, height_m=0.8, along_m=1.0, sill_m=1.0
        )
        building = self.beside(floor_m=0.0, openings=[window])
        assert self.behind(building, "room/W1") == {
            ("earth", "window"): 0.4,
            ("outdoors", "window"): 0.4,
        }
        assert building.notes == (
            "room/W1 lies below grade, wholly or in part: earth counts as standing behind it, "
            "since wells and cuttings are not modelled",
        )

    def test_two_buildings_on_one_site(self):
        other = SpaceSpec(id="shed", storey="g", corners=rectangle(20, 0, 24, 3), height_m=2.4)
        building = room(height_m=2.4, others=[other])
        assert {patch.far for patch in building.patches} == {None}

    def test_an_attic_over_a_room(self):
        attic = SpaceSpec(
            id="attic",
            storey="top",
            corners=rectangle(0, 0, 6, 4),
            height_m=0.0,
            floor_m=2.7,
            ceiling=GABLE,
        )
        building = room(height_m=2.4, others=[attic], storeys=(("g", 0.0), ("top", 2.7)))
        (patch,) = building.patches_of["room/ceiling"]
        assert patch.far == "attic/floor"
        assert building.space("attic").volume_m3 == pytest.approx(36.0, abs=1e-9)
        kinds = {building.elements[p.element].kind for p in building.patches_of["attic/ceiling-1"]}
        assert kinds == {"roof"}
