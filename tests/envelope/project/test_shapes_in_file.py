"""Ceilings, dormers, hollows, obstacles, states and composed assemblies as the file has them."""

import math
from pathlib import Path

import pytest

from envelope.errors import ProjectFileError
from envelope.project import load, load_text

MODELS = Path(__file__).parents[3] / "models"
BASE = """format = 1
name = "attic"
[construction]
exterior-wall = "wall"
interior-wall = "wall"
floor = "wall"
roof = "under-attic"
window = "pane"
door = "wall"
[[assembly]]
id = "wall"
loss = "6 dB"
[[assembly]]
id = "pane"
loss = "2 dB"
[[assembly]]
id = "shutter"
loss = "25 dB"
[[assembly]]
id = "under-attic"
parts = ["wall", "pane"]
[[storey]]
id = "top"
floor = "2.8 m"
[[space]]
id = "room"
storey = "top"
size = "6 m x 4 m"
height = "1 m"
ceiling = { shape = "gable", along = "x", ridge = "3 m" }
[[treatment]]
id = "film"
kind = "sheet"
sheet-resistance = "8 ohm/sq"
"""
WINDOW = """[[opening]]
id = "W1"
on = "room/east"
kind = "window"
at = "1.5 m"
sill = "0.9 m"
size = "1.0 m x 1.0 m"
tilt = "100 mm"
film-edge = "2 mm"
shutter = "shutter"
"""
GAPS = ("room/W1/gap-head", "room/W1/gap-left", "room/W1/gap-right")
NIGHT = """[[plan]]
id = "day"
treat = [{ on = "room/W1", with = "film" }]
[[plan]]
id = "night"
extends = "day"
states = { W1 = "tilted" }
[[plan]]
id = "out"
extends = "night"
states = { W1 = "open" }
[[plan]]
id = "dark"
extends = "day"
states = { W1 = "shuttered" }
"""


def read(*pairs, add="", window=WINDOW):
    text = BASE + window
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new, 1)
    return load_text(text + add, path="attic.toml")


def faults(*pairs, add="", window=WINDOW):
    with pytest.raises(ProjectFileError) as caught:
        read(*pairs, add=add, window=window)
    return [str(fault) for fault in caught.value.faults]


def volume(job, space="room"):
    return job.building.space(space).volume_m3


CEILING = 'ceiling = { shape = "gable", along = "x", ridge = "3 m" }'


class TestCeilings:
    @pytest.mark.parametrize(
        ("ceiling", "expected"),
        [
            ('{ shape = "gable", along = "x", ridge = "3 m" }', 48.0),
            ('{ shape = "gable", along = "y", ridge = "3 m" }', 48.0),
            ('{ shape = "gable", along = "2", ridge = "3 m" }', 48.0),
            ('{ shape = "gable", along = "x", pitch = "45 deg" }', 48.0),
            ('{ shape = "gable", along = "x", pitch = "45 deg", flat = "2.4 m" }', 45.84),
            ('{ shape = "gable", along = "x", pitch = "45 deg", through = "0, 1 m" }', 66.0),
            ('{ shape = "shed", low = "south", ridge = "3 m" }', 48.0),
            ('{ shape = "shed", low = "west", pitch = "45 deg" }', 96.0),
            ('{ shape = "shed", low = "3", pitch = "45 deg" }', 72.0),
            ('{ shape = "hipped", ridge = "3 m" }', 42.666666666666664),
        ],
    )
    def test_volumes(self, ceiling, expected):
        job = read((CEILING, f"ceiling = {ceiling}"), window="")
        assert volume(job) == pytest.approx(expected, abs=1e-9)

    @pytest.mark.parametrize("side", ["south", "east", "north", "west"])
    def test_the_low_side_is_low(self, side):
        low = f'ceiling = {{ shape = "shed", low = "{side}", ridge = "3 m" }}'
        room = read((CEILING, low), window="").building
        opposite = {"south": "north", "north": "south", "east": "west", "west": "east"}[side]
        heights = {
            name: room.panel(f"room/{name}").outline[:, 2].max() - 2.8 for name in (side, opposite)
        }
        assert heights == pytest.approx({side: 1.0, opposite: 3.0})

    @pytest.mark.parametrize(
        ("ceiling", "message"),
        [
            ('"gable"', 'attic.toml:30 space[0].ceiling: "gable" is not a table'),
            ('{ shape = "dome" }', 'attic.toml:30 space[0].ceiling.shape: "dome" is not a shape'),
            (
                '{ shape = "shed", low = "south" }',
                "attic.toml:30 space[0].ceiling.shape: a ceiling takes one of ridge, pitch, and "
                "this has none",
            ),
            (
                '{ shape = "gable", ridge = "3 m" }',
                "attic.toml:30 space[0].ceiling.along: along is missing",
            ),
            (
                '{ shape = "shed", low = "x", ridge = "3 m" }',
                'attic.toml:30 space[0].ceiling.low: "x" is not allowed',
            ),
            (
                '{ shape = "gable", along = "5", ridge = "3 m" }',
                "attic.toml:30 space[0].ceiling.along: there is no wall 5",
            ),
            (
                '{ shape = "hipped", low = "south", ridge = "3 m" }',
                'attic.toml:30 space[0].ceiling.low: low goes with shape = "shed" only',
            ),
            (
                '{ shape = "gable", along = "x", ridge = "0.9 m" }',
                "attic.toml:30 space[0].ceiling: space room: the ridge at 0.9 m is not above",
            ),
            (
                '{ shape = "gable", along = "x", ridge = 3 }',
                "attic.toml:30 space[0].ceiling.ridge: 3 is a bare number",
            ),
            (
                '{ shape = "gable", along = "x", pitch = "89 deg" }',
                'attic.toml:30 space[0].ceiling.pitch: "89 deg" is out of range',
            ),
        ],
    )
    def test_faults_have_their_line(self, ceiling, message):
        (found,) = faults((CEILING, f"ceiling = {ceiling}"), window="")
        assert found.startswith(message)

    def test_height_may_be_nothing_at_the_eaves_alone(self):
        none = ('height = "1 m"', 'height = "0 m"')
        low = read(none, ('sill = "0.9 m"', 'sill = "0.1 m"'), ('"1.0 m x 1.0 m"', '"0.9 m x 1 m"'))
        assert volume(low) == pytest.approx(36.0, abs=1e-9)
        (found,) = faults(none, (CEILING, ""))
        assert "space[0].height" in found

    def test_split_level(self):
        job = read(
            add='[[space]]\nid = "up"\nstorey = "top"\nfloor = "1.2 m"\nheight = "2.4 m"\n'
            'size = "2 m x 2 m"\norigin = "20, 0 m"\n'
        )
        assert job.building.space("up").floor_m == pytest.approx(4.0)


class TestDormersAndHollows:
    DORMER = (
        '[[dormer]]\nid = "N1"\nspace = "room"\norigin = "2, 0 m"\nsize = "2 m x 2 m"\n'
        'height = "2.2 m"\n'
    )

    def test_a_dormer(self):
        assert volume(read(add=self.DORMER)) == pytest.approx(49.44, abs=1e-9)

    def test_a_window_in_its_front(self):
        dormer = self.DORMER.replace('"2, 0 m"', '"2, 0.5 m"')
        window = '[[opening]]\nid = "W2"\non = "room/N1-south"\nkind = "window"\nat = "0.2 m"\n'
        window += 'sill = "1.6 m"\nsize = "1 m x 0.5 m"\n'
        building = read(add=dormer + window).building
        assert building.panel("room/W2").host == "room/N1-1"

    def test_panels_of_it_are_selected_like_any(self):
        panel = '[[panel]]\non = "room/N1-[24]"\nassembly = "pane"\n'
        building = read(add=self.DORMER + panel).building
        assert building.panel("room/N1-2").assembly == "pane"
        assert building.panel("room/N1-ceiling").kind == "ceiling"

    @pytest.mark.parametrize(
        ("old", "new", "message"),
        [
            ('"room"', '"rom"', "dormer[0].space: there is no space"),
            ('"2.2 m"', '"0.9 m"', "dormer[0].height: dormer N1 is nowhere higher than"),
            (
                '"2, 0 m"',
                '"5, 0 m"',
                "dormer[0].size: dormer N1 reaches 1 m past the walls of room",
            ),
            ('"N1"', '"ceiling-1"', 'dormer[0].id: "ceiling-1" is the name of a panel'),
        ],
    )
    def test_faults(self, old, new, message):
        (found,) = faults(add=self.DORMER.replace(old, new))
        assert message in found

    def test_a_hollow(self):
        hollow = f'{CEILING}\nhollow = ["2,1  2.4,1  2.4,1.4  2,1.4 m"]'
        assert volume(read((CEILING, hollow))) == pytest.approx(47.648, abs=1e-9)

    def test_a_hollow_at_a_wall(self):
        hollow = f'{CEILING}\nhollow = ["0,1  0.4,1  0.4,1.4  0,1.4 m"]'
        (found,) = faults((CEILING, hollow))
        assert found.startswith(
            "attic.toml:31 space[0].hollow: hollow 1 of space room touches a wall"
        )


class TestObstacles:
    BLOCK = '[[obstacle]]\nid = "barn"\norigin = "10, 0 m"\nsize = "8 m x 5 m"\nheight = "6 m"\n'

    def test_it_stands_on_the_ground(self):
        (block,) = read(
            ("[construction]", '[site]\ngrade = "-0.5 m"\n[construction]'), add=self.BLOCK
        ).building.obstacles
        assert (block.low_m, block.high_m) == (-0.5, 5.5)
        assert block.corners[2].tolist() == [18.0, 5.0]

    def test_in_a_room(self):
        (found,) = faults(add=self.BLOCK.replace("10, 0", "5, 0"))
        assert "obstacle[0].size: obstacle barn reaches into space room" in found

    def test_a_source_in_it(self):
        source = '[[source]]\nid = "s"\nat = "12, 1, 2 m"\nband = "863-870 MHz"\neirp = "14 dBm"\n'
        (found,) = faults(add=self.BLOCK + source)
        assert 'source[0].at: the point lies inside obstacle "barn"' in found


class TestSmallThings:
    def test_a_round_opening_and_its_ring(self):
        job = read(
            add='[[opening]]\nid = "L1"\non = "room/ceiling"\nkind = "light"\n'
            'at = "1, 1 m"\nsize = "90 mm"\nring = "5 mm"\n'
        )
        leaf = job.building.panel("room/L1")
        assert leaf.host == "room/ceiling-1"
        assert leaf.area_m2 == pytest.approx(math.pi * 0.045**2, abs=1e-12)

    @pytest.mark.parametrize(
        ("old", "new", "message"),
        [
            ('tilt = "100 mm"', 'seams = "2 mm"', 'seams goes with kind = "door" or "hatch" only'),
            (
                'shutter = "shutter"',
                'state = "shuttered"',
                "a shuttered opening names what closes it",
            ),
            ('shutter = "shutter"', 'shutter = "shuter"', "there is no assembly"),
            ('shutter = "shutter"', 'state = "ajar"', '"ajar" is not a state'),
            ('"1.0 m x 1.0 m"', '"1.0"', "has a number without a unit"),
            ('"1.0 m x 1.0 m"', '"1 m x 1 m x 1 m"', "has 3 of 2 lengths"),
        ],
    )
    def test_faults(self, old, new, message):
        (found,) = faults((old, new))
        assert message in found


class TestStates:
    def test_every_state_is_a_plan_on_one_geometry(self):
        job = read(add=NIGHT)
        leaf = {plan.id: plan.assemblies.get("room/W1", "as built") for plan in job.plans}
        assert leaf == {
            "as-built": "as built",
            "day": "as built",
            "night": "pane",
            "out": None,
            "dark": "pane + shutter",
        }
        gaps = {
            plan.id: {plan.assemblies.get(gap, "as built") for gap in GAPS} for plan in job.plans
        }
        assert gaps["night"] == gaps["out"] == {None}
        assert gaps["dark"] == {"pane + shutter"}
        assert job.assemblies["pane + shutter"].parts == ("pane", "shutter")

    def test_what_is_on_the_leaf_goes_with_it(self):
        job = read(add=NIGHT)
        on = {plan.id: set(plan.treatments) for plan in job.plans}
        assert on["day"] == on["dark"] == {"room/W1", *GAPS}
        assert on["night"] == {"room/W1"}
        assert on["out"] == set()

    def test_a_state_of_the_opening_itself(self):
        job = read(('shutter = "shutter"', 'shutter = "shutter"\nstate = "shuttered"'))
        patch = job.building.patches_of["room/W1"][0]
        assert job.building.elements[patch.element].assembly == "pane + shutter"
        back = read(
            ('shutter = "shutter"', 'shutter = "shutter"\nstate = "shuttered"'),
            add='[[plan]]\nid = "day"\nstates = { W1 = "shut" }\n',
        )
        assert back.plan("day").assemblies["room/W1"] == "pane"

    @pytest.mark.parametrize(
        ("states", "message"),
        [
            ('{ W9 = "open" }', 'plan[0].states.W9: there is no opening "W9"'),
            ('{ W1 = "ajar" }', 'plan[0].states.W1: "ajar" is not a state'),
            ('"open"', "plan[0].states"),
        ],
    )
    def test_faults(self, states, message):
        (found,) = faults(add=f'[[plan]]\nid = "day"\nstates = {states}\n')
        assert message in found

    def test_tilted_only_where_the_sash_can_tilt(self):
        (found,) = faults(
            ('tilt = "100 mm"', ""), add='[[plan]]\nid = "n"\nstates = { W1 = "tilted" }\n'
        )
        assert 'say in opening "W1" how far it tilts' in found


class TestComposedAssemblies:
    def test_parts_of_parts_are_refused(self):
        (found,) = faults(('parts = ["wall", "pane"]', 'parts = ["wall", "under-attic"]'))
        assert '"under-attic" has parts itself' in found

    def test_an_unknown_part(self):
        (found,) = faults(('parts = ["wall", "pane"]', 'parts = ["wall", "pain"]'))
        assert 'assembly[3].parts[1]: there is no assembly "pain"' in found

    def test_one_of_layers_and_parts(self):
        (found,) = faults(('parts = ["wall", "pane"]', 'parts = ["wall", "pane"]\nloss = "3 dB"'))
        assert "an assembly takes one of layers, parts, loss, entry-loss" in found


def test_the_attic_model_is_what_it_says():
    job = load(MODELS / "attic.toml")
    building = job.building
    # Bedroom: 5 m of a section of 5 m by 1 m, and of the trapezoid up to 2.4 m above it; less a
    # chimney of 0.4 m square, 2.4 m high; more what dormer and niches add.
    plain = 5.0 * (5.0 + 0.5 * (5.0 + 2.2) * 1.4) - 0.16 * 2.4
    dormer = 0.0
    steps = 2000
    for step in range(steps):
        away = 0.9 * (step + 0.5) / steps  # from the dormer's ridge
        dormer += 2.0 * 0.5 * (2.35 - 0.35 * away / 0.9 - 1.0) ** 2 * 0.9 / steps
    niches = 1.3 * 0.9 * 0.09 + 0.78 * 1.18 * 0.16 + 1.0 * 1.2 * 0.12
    assert volume(job, "bedroom") == pytest.approx(plain + dormer + niches, abs=1e-6)
    boxes = [panel for panel in building.panels if panel.kind == "box"]
    assert len(boxes) == 8
    assert [plan.id for plan in job.plans] == [
        "as-built",
        "walls-only",
        "walls-and-windows",
        "all-round",
    ]
    assert len(building.obstacles) == 1
