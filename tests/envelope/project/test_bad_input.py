"""Every mistake in a project file, and the one message that it gives."""

import random
from collections.abc import Callable
from pathlib import Path

import pytest

from envelope.errors import ProjectFileError
from envelope.project import load_text

BASE = (Path(__file__).parent / "data" / "bedroom.toml").read_text(encoding="utf-8")
SIZE = 'size = "4.2 m x 3.6 m"'


def changed(*pairs: tuple[str, str], add: str = "") -> str:
    text = BASE
    for old, new in pairs:
        assert text.count(old) >= 1, old
        text = text.replace(old, new, 1)
    return text + add


# What is changed in the sound file, and what the file then gives, whole.
ONE_FAULT = [
    # lengths
    (
        'height = "2.4 m"',
        "height = 2.4",
        "house.toml:30 space[0].height: 2.4 is a bare number: a length is written in quotes with "
        'its unit, such as "2.4 m"',
    ),
    (
        'height = "2.4 m"',
        'height = "2.4"',
        'house.toml:30 space[0].height: "2.4" has a number without a unit: write it such as '
        '"3.6 m" or "12 ft 4 1/2 in"',
    ),
    (
        'height = "2.4 m"',
        'height = "2,4 m"',
        'house.toml:30 space[0].height: "2,4 m" has a comma between digits: write decimals with a '
        'point and no mark between thousands, such as "3.6 m"',
    ),
    (
        'height = "2.4 m"',
        'height = "inf m"',
        'house.toml:30 space[0].height: "inf m" is not a length: write it such as "3.6 m" or '
        '"12 ft 4 1/2 in"',
    ),
    (
        'height = "2.4 m"',
        "height = inf",
        "house.toml:30 space[0].height: inf is a bare number: a length is written in quotes with "
        'its unit, such as "2.4 m"',
    ),
    (
        'height = "2.4 m"',
        'height = "-2.4 m"',
        'house.toml:30 space[0].height: "-2.4 m" is out of range: a length must be above 0 m and '
        "at most 100 km",
    ),
    (
        'height = "2.4 m"',
        'height = "0 m"',
        'house.toml:30 space[0].height: "0 m" is out of range: a length must be above 0 m and at '
        "most 100 km",
    ),
    (
        'height = "2.4 m"',
        "height = true",
        'house.toml:30 space[0].height: true is not a length: write it in quotes, such as "2.4 m"',
    ),
    (
        'height = "2.4 m"\n',
        "",
        'house.toml:26 space[0].height: height is missing, such as height = "2.4 m"',
    ),
    (
        SIZE,
        'size = "4.2 m x 0 m"',
        'house.toml:29 space[0].size: "4.2 m x 0 m" is out of range: both lengths must be above '
        "0 m",
    ),
    # outlines
    (
        SIZE,
        'footprint = "0,0 4,3 4,0 0,3 m"',
        "house.toml:29 space[0].footprint: the outline crosses itself: wall 1 meets wall 3",
    ),
    (
        SIZE,
        'footprint = "0,0 4,0 2,0 m"',
        "house.toml:29 space[0].footprint: the outline crosses itself: wall 1 meets wall 2",
    ),
    (
        SIZE,
        'footprint = "0,0 0,3 4,3 4,0 m"',
        "house.toml:29 space[0].footprint: the outline runs clockwise: write its corners in the "
        "opposite order",
    ),
    (
        SIZE,
        'footprint = "0,0 4,0 4,0 4,3 m"',
        "house.toml:29 space[0].footprint: corners 2 and 3 of the outline are the same point",
    ),
    (
        SIZE,
        'footprint = "0,0 4,0 m"',
        "house.toml:29 space[0].footprint: the outline has 2 corners: a room has at least 3",
    ),
    (
        SIZE,
        'walk = "E 4 m; N 3 m; W 3.88 m; S 3.05 m"',
        "house.toml:29 space[0].walk: the walk does not close: it ends 0.1200 m east and 0.0500 m "
        "south of where it began",
    ),
    (
        SIZE,
        'walk = "E 4 m; N 3 m; W 3.88 m; S"',
        "house.toml:29 space[0].walk: the walk does not close: it ends 0.1200 m east of where it "
        "began",
    ),
    (
        SIZE,
        'walk = "E 4 m; N 3 m; W 4 m; N"',
        "house.toml:29 space[0].walk: the walk does not close: leg 4 goes N, away from the start, "
        "which lies 3.0000 m south of the corner before it",
    ),
    (
        SIZE,
        'walk = "N 4 m; E 3 m; S 4 m; W"',
        "house.toml:29 space[0].walk: the outline runs clockwise: go round the other way, so that "
        'the room lies on your left, for example "E 4.2 m; N 3.6 m; W 4.2 m; S"',
    ),
    (
        SIZE,
        'walk = "E 4 m; N 3 m; W 4 m; S"\nsize = "4 m x 3 m"',
        "house.toml:29 space[0].walk: a space takes one of size, footprint, walk, and this has "
        "size and walk",
    ),
    (
        SIZE,
        "",
        "house.toml:27 space[0].id: a space takes one of size, footprint, walk, and this has none",
    ),
    # keys, kinds, names
    (
        'height = "2.4 m"',
        'height = "2.4 m"\nheigth = "2.4 m"',
        'house.toml:31 space[0].heigth: unknown key "heigth": did you mean "height"?',
    ),
    (
        'height = "2.4 m"',
        'height = "2.4 m"\nfurnishing = "normal"',
        'house.toml:31 space[0].furnishing: "normal" is not what the things in a room absorb, as '
        'an area: write "0 m2" for a bare room, "2 m2" for a usual bedroom, "4 m2" with '
        "upholstery, curtains and carpet",
    ),
    (
        'storey = "ground"\n',
        "",
        'house.toml:26 space[0].storey: storey is missing, such as storey = "upper"',
    ),
    (  # what people call a key goes before one that is spelt like it
        'azimuth = "231 deg"',
        'azimuth = "231 deg"\npower = "20 dBm"',
        'house.toml:49 source[0].power: unknown key "power": did you mean "eirp"?',
    ),
    (
        "[site]",
        "[sight]",
        'house.toml:4 sight: unknown key "sight": did you mean "site"?',
    ),
    (
        'kind = "window"',
        'kind = "windw"',
        'house.toml:35 opening[0].kind: "windw" is not a kind of opening: it is one of "window", '
        '"door", "hatch", "vent", "skylight", "light", "box", "open"; did you mean "window"?',
    ),
    (
        'kind = "sheet"',
        'kind = "shet"',
        'house.toml:42 treatment[0].kind: "shet" is not a kind of treatment: it is one of "sheet", '
        '"mesh", "table", "layers", "honeycomb", "fixed"; did you mean "sheet"?',
    ),
    (
        'on = "bedroom/1"',
        'on = "bedrom/1"',
        'house.toml:34 opening[0].on: there is no space "bedrom": did you mean "bedroom"?',
    ),
    (
        'on = "bedroom/1"',
        'on = "bedroom"',
        'house.toml:34 opening[0].on: "bedroom" is not a panel: write it such as "bedroom/1"',
    ),
    (
        'storey = "ground"',
        'storey = "grond"',
        'house.toml:28 space[0].storey: there is no storey "grond": did you mean "ground"?',
    ),
    (
        'slab = "wall"',
        'slab = "wal"',
        'house.toml:9 construction.slab: there is no assembly "wal": did you mean "wall"?',
    ),
    (
        'slab = "wall"',
        'slob = "wall"',
        'house.toml:9 construction.slob: unknown key "slob": did you mean "slab"?',
    ),
    (
        'with = "coating"',
        'with = ["coating", "coatin"]',
        'house.toml:60 plan[0].treat[0].with: there is no treatment "coatin": did you mean '
        '"coating"?',
    ),
    (
        'with = "coating"',
        "with = 3",
        "house.toml:60 plan[0].treat[0].with: 3 is not a treatment: write one name or a list of "
        'names, such as "coating" or ["film", "curtain"]',
    ),
    (
        'loss = "6 dB"',
        'layers = [{ material = "plasterbord", thickness = "12.7 mm" }]',
        'house.toml:16 assembly[0].layers[0].material: there is no material "plasterbord": did you '
        'mean "plasterboard"?',
    ),
    (
        'loss = "6 dB"',
        'layers = [\n  { material = "glass", thickness = "4 mm" },\n  { material = "air" },\n]',
        "house.toml:18 assembly[0].layers[1].thickness: thickness is missing, such as thickness = "
        '"12.5 mm"',
    ),
    (
        'loss = "6 dB"',
        "layers = []",
        "house.toml:16 assembly[0].layers: the list is empty: write at least one entry",
    ),
    (
        'loss = "6 dB"',
        'entry-loss = "concret"',
        'house.toml:16 assembly[0].entry-loss: there is no material class "concret": did you mean '
        '"concrete"?',
    ),
    (
        'id = "W1"',
        'id = "W 1"',
        'house.toml:33 opening[0].id: "W 1" is not an id: an id begins with a letter or digit and '
        "goes on with letters, digits, hyphens and underscores, at most 64 in all",
    ),
    (
        'id = "W1"',
        'id = "walls"',
        'house.toml:33 opening[0].id: "walls" is the name of a panel or a group: give the opening '
        'another id, such as "W1"',
    ),
    (
        'sill = "0.9 m"\n',
        "",
        'house.toml:32 opening[0].sill: sill is missing: a window needs it, such as sill = "0.9 m"',
    ),
    (
        'sill = "0.9 m"',
        'sill = "0.9 m"\nundercut = "8 mm"',
        'house.toml:38 opening[0].undercut: undercut goes with kind = "door" only',
    ),
    # the file itself
    (
        "format = 1",
        "format = 2",
        "house.toml:1 format: format 2 is newer than this version reads, which is 1: update "
        "gapcast",
    ),
    ("format = 1\n", "", "house.toml format: format is missing, such as format = 1"),
    (
        "format = 1",
        'format = "1"',
        'house.toml:1 format: "1" is not a whole number: the format is written without quotes, '
        "such as 1",
    ),
    (
        "[site]",
        "[[site]]",
        "house.toml:4 site: site is written once, as a table [site]",
    ),
    (
        "[[storey]]",
        "[storey]",
        "house.toml:22 storey: storey is written with two brackets, as [[storey]]",
    ),
    (
        'height = "2.4 m"',
        'height = "2.4 m"\nceiling = { shape = "gable", ridge = "3 m" }',
        "house.toml:31 space[0].ceiling.along: along is missing: a gable needs it, such as "
        'along = "x"',
    ),
]


@pytest.mark.parametrize(("old", "new", "message"), ONE_FAULT)
def test_one_mistake_gives_one_message(
    old: str, new: str, message: str, messages: Callable[..., list[str]]
) -> None:
    assert messages(changed((old, new))) == [message]


@pytest.mark.parametrize(
    ("table", "line", "first"),
    [
        ('[[assembly]]\nid = "wall"\nloss = "1 dB"\n', "assembly[2]", 15),
        ('[[storey]]\nid = "ground"\nfloor = "1 m"\n', "storey[1]", 23),
        ('[[treatment]]\nid = "coating"\nkind = "fixed"\nloss = "1 dB"\n', "treatment[1]", 41),
        ('[[plan]]\nid = "walls"\n', "plan[1]", 59),
        ('[[receiver]]\nid = "pillow"\nspace = "bedroom"\nat = "1, 1, 1 m"\n', "receiver[1]", 54),
    ],
)
def test_an_id_that_stands_twice(
    table: str, line: str, first: int, messages: Callable[..., list[str]]
) -> None:
    name = table.split('"')[1]
    assert messages(changed(add=table)) == [
        f'house.toml:62 {line}.id: id "{name}" stands twice, first in line {first}'
    ]


def test_a_circle_of_plans_is_told_once(messages: Callable[..., list[str]]) -> None:
    add = '[[plan]]\nid = "a"\nextends = "b"\n[[plan]]\nid = "b"\nextends = "c"\n'
    add += '[[plan]]\nid = "c"\nextends = "a"\n[[plan]]\nid = "d"\nextends = "a"\n'
    assert messages(changed(add=add)) == [
        'house.toml:63 plan[1].extends: plans extend one another in a circle: "a" → "b" → "c" → "a"'
    ]


def test_a_level_is_needed_where_a_receiver_is(messages: Callable[..., list[str]]) -> None:
    add = '[[storey]]\nid = "upper"\nfloor = "2.7 m"\n'
    text = changed(('level = "850 uW/m2"', 'level = { upper = "850 uW/m2" }'), add=add)
    assert messages(text) == [
        'house.toml:51 source[0].level: there is no level for storey "ground", where a receiver is'
    ]


# What the building refuses is told at the line of the file that says it.
@pytest.mark.parametrize(
    ("text", "where", "words"),
    [
        (
            changed(('at = "1.0 m"', 'at = "3.0 m"')),
            "house.toml:36 opening[0].at: ",
            ("W1", "4.5 m", "4.2 m"),
        ),
        (
            changed(('on = "bedroom/1"', 'on = "bedroom/7"')),
            "house.toml:34 opening[0].on: ",
            ("bedroom/7", "south"),
        ),
        (
            changed(
                add='[[opening]]\nid = "W2"\non = "bedroom/1"\nkind = "window"\nat = "2 m"\n'
                'sill = "1 m"\nsize = "1 m x 1 m"\n'
            ),
            "house.toml:65 opening[1].at: ",
            ("W2", "W1"),
        ),
        (
            changed(
                add='[[space]]\nid = "hall"\nstorey = "ground"\nheight = "2.4 m"\n'
                'origin = "2, 2 m"\nwalk = "E 3 m; N 3 m; W 3 m; S"\n'
            ),
            "house.toml:66 space[1].walk: ",
            ("bedroom", "hall", "overlap"),
        ),
        (
            changed(('exterior-wall = "wall"\n', "")),
            "house.toml:7 construction.exterior-wall: ",
            ("exterior-wall", "bedroom/1"),
        ),
        (
            changed(add='[[panel]]\non = "bedroom/9"\nbehind = "earth"\n'),
            "house.toml:62 panel[0].on: ",
            ("bedroom/9",),
        ),
        (
            changed(add='[[panel]]\non = "bedroom/z*"\nbehind = "earth"\n'),
            "house.toml:62 panel[0].on: ",
            ('"bedroom/z*" names no panel',),
        ),
    ],
)
def test_what_the_building_refuses(
    text: str, where: str, words: tuple[str, ...], messages: Callable[..., list[str]]
) -> None:
    found = messages(text)
    assert len(found) == 1
    assert found[0].startswith(where)
    for word in words:
        assert word in found[0]


def test_all_faults_come_at_once_in_the_order_of_the_file(
    messages: Callable[..., list[str]],
) -> None:
    text = changed(
        ('floor = "0 m"', "floor = 0"),
        ('height = "2.4 m"', 'height = "2.4"'),
        ('"24 EUR/m2"', '"24"'),
        ("1805-1880", "1880-1805"),
        ('with = "coating"', 'with = "foil"'),
    )
    places = [message.split(": ")[0] for message in messages(text)]
    assert places == [
        "house.toml:24 storey[0].floor",
        "house.toml:30 space[0].height",
        "house.toml:44 treatment[0].price",
        "house.toml:50 source[0].band",
        "house.toml:60 plan[0].treat[0].with",
    ]


def test_faults_of_the_building_and_of_the_rest_come_together(
    messages: Callable[..., list[str]],
) -> None:
    text = changed(('at = "1.0 m"', 'at = "3.0 m"'), ("1805-1880", "1880-1805"))
    places = [message.split(": ")[0] for message in messages(text)]
    assert places == ["house.toml:36 opening[0].at", "house.toml:50 source[0].band"]


def test_receivers_and_plans_are_told_together(messages: Callable[..., list[str]]) -> None:
    text = changed(("0.6, 1.2, 0.7 m", "9, 1.2, 0.7 m"), ('"bedroom/walls"', '"bedroom/doors"'))
    places = [message.split(": ")[0] for message in messages(text)]
    assert places == ["house.toml:56 receiver[0].at", "house.toml:60 plan[0].treat[0].on"]


def test_a_file_with_very_many_faults_is_told_of_the_first(
    messages: Callable[..., list[str]],
) -> None:
    found = messages(changed(add="".join(f"k{number} = 1\n" for number in range(3000))))
    assert len(found) == 101
    assert found[-1] == "house.toml: and 2900 more faults"


def test_mutated_files_give_a_job_or_faults() -> None:
    rng = random.Random(20)
    marks = "\"'[]{}=,.#\\\n 019-xeE\x00é½"
    refused = 0
    for _ in range(400):
        text = list(BASE)
        for _ in range(rng.randint(1, 4)):
            place = rng.randrange(len(text))
            act = rng.randrange(3)
            if act == 0:
                text[place] = rng.choice(marks)
            elif act == 1:
                del text[place : place + rng.randint(1, 12)]
            else:
                text.insert(place, rng.choice(marks))
        try:
            load_text("".join(text), path="house.toml")
        except ProjectFileError as error:
            refused += 1
            for fault in error.faults:
                assert fault.location is not None
    assert refused > 200


STRANGE = [
    '""', "0", "-1", "1e300", "nan", "true", "[]", "{}", "[[]]", "{ a = 1 }", "1979-05-27",
    '"0"', '"-0 m"', '"1e9 m"', '"0.2 mm"', '"1 ft"', '"99 km x 99 km"', '"0.001 mm x 1 m"',
    '"*/**"', '"/"', '"bedroom/"', '"bedroom/1/1"', '"as-built"', '"bedroom/ceiling"', '"50, 50 m"',
]  # fmt: skip


@pytest.mark.parametrize("value", STRANGE)
def test_any_value_in_any_place_gives_a_job_or_faults(value: str) -> None:
    lines = BASE.splitlines()
    for number, line in enumerate(lines):
        key, equals, _ = line.partition(" = ")
        if not equals:
            continue
        text = "\n".join([*lines[:number], f"{key} = {value}", *lines[number + 1 :]])
        try:
            found = load_text(text, path="house.toml")
        except ProjectFileError as error:
            places = [fault.location for fault in error.faults]
            assert all(place is not None and place.path == "house.toml" for place in places)
        else:
            assert found.building.panels
