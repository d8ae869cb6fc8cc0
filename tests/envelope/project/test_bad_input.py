"""Every mistake in a project file, and the one message that it gives."""

import os
import random
from pathlib import Path

import pytest

from envelope.errors import Location, ProjectFileError
from envelope.project import load, load_text

BASE = (Path(__file__).parent / "data" / "bedroom.toml").read_text(encoding="utf-8")
SIZE = 'size = "4.2 m x 3.6 m"'


def messages(text: str) -> list[str]:
    with pytest.raises(ProjectFileError) as caught:
        load_text(text, path="house.toml")
    assert str(caught.value) == "\n".join(str(fault) for fault in caught.value.faults)
    return [str(fault) for fault in caught.value.faults]


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
    # losses and treatments
    (
        'loss = "6 dB"',
        'loss = { "900 MHz" = "4 dB" }',
        "house.toml:16 assembly[0].loss: a table of losses needs at least two points, and this has "
        '1: one loss for every frequency is written such as "6 dB"',
    ),
    (
        'loss = "6 dB"',
        'loss = { "3.5 GHz" = "4 dB", "900 MHz" = "4 dB" }',
        'house.toml:16 assembly[0].loss: the table of losses is not sorted: "900 MHz" does not '
        "come after the frequency before it",
    ),
    (
        'loss = "6 dB"',
        'loss = { "20 MHz" = "4 dB", "900 MHz" = "4 dB" }',
        'house.toml:16 assembly[0].loss: "20 MHz" is out of range: a frequency must be from 30 MHz '
        "to 100 GHz",
    ),
    (
        'loss = "6 dB"',
        'loss = "-6 dB"',
        'house.toml:16 assembly[0].loss: "-6 dB" is out of range: a loss must be from 0 dB to '
        "200 dB",
    ),
    (
        'loss = "6 dB"',
        'loss = "6 dB"\nreflects = 0.9',
        "house.toml:17 assembly[0].reflects: reflects = 0.9 and a loss of 6 dB would return and "
        "pass more than all of the power together",
    ),
    (
        'sheet-resistance = "5 ohm/sq"\n',
        "",
        "house.toml:40 treatment[0].sheet-resistance: sheet-resistance is missing: "
        'kind = "sheet" needs it',
    ),
    (
        'sheet-resistance = "5 ohm/sq"',
        'sheet-resistance = "0 ohm/sq"',
        'house.toml:43 treatment[0].sheet-resistance: "0 ohm/sq" is out of range: a sheet '
        "resistance must be above 0 ohm/sq and at most 1e9 ohm/sq",
    ),
    (
        'kind = "sheet"\nsheet-resistance = "5 ohm/sq"',
        'kind = "mesh"\nwire = "1 mm"\npitch = "0.5 mm"\nmetal = "copper"',
        "house.toml:44 treatment[0].pitch: pitch must be larger than wire: it runs from wire to "
        "wire",
    ),
    (
        'kind = "sheet"\nsheet-resistance = "5 ohm/sq"',
        'kind = "mesh"\nwire = "0.1 mm"\npitch = "0.5 mm"\nmetal = "coper"',
        'house.toml:45 treatment[0].metal: there is no metal "coper": did you mean "copper"?',
    ),
    (
        'kind = "sheet"\nsheet-resistance = "5 ohm/sq"',
        'kind = "table"\nloss = "40 dB"',
        'house.toml:43 treatment[0].loss: kind = "table" takes losses by frequency, such as '
        '{ "900 MHz" = "40 dB", "3.5 GHz" = "34 dB" }',
    ),
    (
        'price = "24 EUR/m2"',
        'price = "24 EUR/m2"\npitch = "1 mm"',
        'house.toml:45 treatment[0].pitch: pitch does not go with kind = "sheet", which takes '
        "sheet-resistance, coats",
    ),
    (
        'price = "24 EUR/m2"',
        "coats = 0",
        "house.toml:44 treatment[0].coats: 0 is out of range: the number of coats must be from 1 "
        "to 20",
    ),
    (
        'price = "24 EUR/m2"',
        'coats = "2"',
        'house.toml:44 treatment[0].coats: "2" is not a whole number: the number of coats is '
        "written without quotes, such as 2",
    ),
    (
        '"24 EUR/m2"',
        "24",
        "house.toml:44 treatment[0].price: 24 is a bare number: a price is written in quotes with "
        'its unit, such as "24 EUR/m2"',
    ),
    (
        'price = "24 EUR/m2"',
        'loss-tolerance = "1 dB"',
        "house.toml:44 treatment[0].loss-tolerance: loss-tolerance does not go with "
        'kind = "sheet", which takes sheet-resistance, coats',
    ),
    # sources
    (
        "1805-1880 MHz",
        "1880-1805 MHz",
        'house.toml:50 source[0].band: the band "1880-1805 MHz" has its ends swapped: write the '
        'lower frequency first, such as "1805-1880 MHz"',
    ),
    (
        "1805-1880 MHz",
        "20 MHz",
        'house.toml:50 source[0].band: "20 MHz" is out of range: a band must be from 30 MHz to '
        "100 GHz",
    ),
    (
        "1805-1880 MHz",
        "90-110 GHz",
        'house.toml:50 source[0].band: "90-110 GHz" is out of range: a band must be from 30 MHz '
        "to 100 GHz",
    ),
    (
        'elevation = "4 deg"',
        'elevation = "91 deg"',
        'house.toml:49 source[0].elevation: "91 deg" is out of range: an elevation must be from '
        "-90 deg to 90 deg",
    ),
    (
        'azimuth = "231 deg"\n',
        "",
        "house.toml:46 source[0].azimuth: azimuth is missing: a source in a direction needs it",
    ),
    (
        'level = "850 uW/m2"',
        'level = "0 uW/m2"',
        'house.toml:51 source[0].level: "0 uW/m2" is out of range: a level must be above 0 W/m2 '
        "and at most 1e6 W/m2",
    ),
    (
        'level = "850 uW/m2"',
        'level = { upper = "850 uW/m2", ground = "400 uW/m2" }',
        'house.toml:51 source[0].level.upper: there is no storey "upper": known are "ground"',
    ),
    (
        'level = "850 uW/m2"',
        'level = "850 uW/m2"\nscattered = 1.5',
        "house.toml:52 source[0].scattered: 1.5 is out of range: a share must be from 0 to 1",
    ),
    (
        'azimuth = "231 deg"\nelevation = "4 deg"\nband = "1805-1880 MHz"\nlevel = "850 uW/m2"',
        'at = "1, 1, 1 m"\nband = "2.4 GHz"\neirp = "20 dBm"',
        'house.toml:48 source[0].at: the point lies in space "bedroom": say so with '
        'space = "bedroom" and the space\'s own coordinates',
    ),
    (
        'azimuth = "231 deg"\nelevation = "4 deg"\nband = "1805-1880 MHz"\nlevel = "850 uW/m2"',
        'at = "9, 9, -1 m"\nband = "2.4 GHz"\neirp = "20 dBm"',
        "house.toml:48 source[0].at: the point lies at -1 m, below the ground at 0 m",
    ),
    (
        'azimuth = "231 deg"\nelevation = "4 deg"\nband = "1805-1880 MHz"\nlevel = "850 uW/m2"',
        'at = "9, 9, 1 m"\nband = "2.4 GHz"\neirp = "20 dBm"\nground-reflection = true',
        "house.toml:51 source[0].ground-reflection: ground-reflection does not go with a source at "
        "a point",
    ),
    (
        'elevation = "4 deg"',
        'elevation = "-90 deg"\nground-reflection = true',
        "house.toml:50 source[0].ground-reflection: ground-reflection goes with an elevation of "
        "0 deg or more: the ground mirrors what comes from above it",
    ),
    # receivers
    (
        "0.6, 1.2, 0.7 m",
        "9, 1.2, 0.7 m",
        'house.toml:56 receiver[0].at: the point lies outside every space, not in "bedroom": it is '
        '4.80 m from panel "bedroom/2"; coordinates are the space\'s own, the height is above '
        "its floor",
    ),
    (
        "0.6, 1.2, 0.7 m",
        "0.0005, 1.2, 0.7 m",
        'house.toml:56 receiver[0].at: the point stands on panel "bedroom/4": keep it at least '
        "1 mm away",
    ),
    (
        "0.6, 1.2, 0.7 m",
        "0.6, 1.2 m",
        'house.toml:56 receiver[0].at: "0.6, 1.2 m" has 2 of 3 coordinates: write it such as '
        '"0.6, 1.2, 0.7 m"',
    ),
    (
        'at = "0.6, 1.2, 0.7 m"',
        'at = "0.6, 1.2, 0.7 m"\nsize = "2 m x 1 m x 0.2 m"',
        'house.toml:57 receiver[0].size: the box does not fit into space "bedroom": it reaches '
        "through a panel",
    ),
    (
        'space = "bedroom"',
        'space = "bedrom"',
        'house.toml:55 receiver[0].space: there is no space "bedrom": did you mean "bedroom"?',
    ),
    # plans and selectors
    (
        '"bedroom/walls"',
        '"bedroom/doors"',
        'house.toml:60 plan[0].treat[0].on: "bedroom/doors" names no panel: "bedroom" has no doors',
    ),
    (
        '"bedroom/walls"',
        '"bedroom/wals"',
        'house.toml:60 plan[0].treat[0].on: "bedroom/wals" names no panel of "bedroom": did you '
        'mean "walls"?',
    ),
    (
        '"bedroom/walls"',
        '"bed/walls"',
        'house.toml:60 plan[0].treat[0].on: "bed/walls" names no panel: there is no space "bed"; '
        'did you mean "bedroom"?',
    ),
    (
        'id = "walls"',
        'id = "walls"\nextends = "wals"',
        'house.toml:60 plan[0].extends: there is no plan "wals": did you mean "walls"?',
    ),
    (
        'id = "walls"',
        'id = "walls"\nextends = "walls"',
        'house.toml:60 plan[0].extends: plans extend one another in a circle: "walls" → "walls"',
    ),
    (
        'id = "walls"',
        'id = "as-built"',
        'house.toml:59 plan[0].id: "as-built" always exists and has no treatment: give this plan '
        "another id",
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
def test_one_mistake_gives_one_message(old: str, new: str, message: str) -> None:
    assert messages(changed((old, new))) == [message]


@pytest.mark.parametrize("key", ["outlet", "circuit", "cable", "bond"])
def test_keys_kept_for_later(key: str) -> None:
    assert messages(changed(add=f'[[{key}]]\nid = "x"\n')) == [
        f"house.toml:61 {key}: {key} is not understood yet by this version: leave it out"
    ]


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
def test_an_id_that_stands_twice(table: str, line: str, first: int) -> None:
    name = table.split('"')[1]
    assert messages(changed(add=table)) == [
        f'house.toml:62 {line}.id: id "{name}" stands twice, first in line {first}'
    ]


def test_a_circle_of_plans_is_told_once() -> None:
    add = '[[plan]]\nid = "a"\nextends = "b"\n[[plan]]\nid = "b"\nextends = "c"\n'
    add += '[[plan]]\nid = "c"\nextends = "a"\n[[plan]]\nid = "d"\nextends = "a"\n'
    assert messages(changed(add=add)) == [
        'house.toml:63 plan[1].extends: plans extend one another in a circle: "a" → "b" → "c" → "a"'
    ]


def test_a_level_is_needed_where_a_receiver_is() -> None:
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
def test_what_the_building_refuses(text: str, where: str, words: tuple[str, ...]) -> None:
    found = messages(text)
    assert len(found) == 1
    assert found[0].startswith(where)
    for word in words:
        assert word in found[0]


def test_all_faults_come_at_once_in_the_order_of_the_file() -> None:
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


def test_faults_of_the_building_and_of_the_rest_come_together() -> None:
    text = changed(('at = "1.0 m"', 'at = "3.0 m"'), ("1805-1880", "1880-1805"))
    places = [message.split(": ")[0] for message in messages(text)]
    assert places == ["house.toml:36 opening[0].at", "house.toml:50 source[0].band"]


def test_receivers_and_plans_are_told_together() -> None:
    text = changed(("0.6, 1.2, 0.7 m", "9, 1.2, 0.7 m"), ('"bedroom/walls"', '"bedroom/doors"'))
    places = [message.split(": ")[0] for message in messages(text)]
    assert places == ["house.toml:56 receiver[0].at", "house.toml:60 plan[0].treat[0].on"]


def test_a_file_with_very_many_faults_is_told_of_the_first() -> None:
    found = messages(changed(add="".join(f"k{number} = 1\n" for number in range(3000))))
    assert len(found) == 101
    assert found[-1] == "house.toml: and 2900 more faults"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", 'house.toml: the file is empty: a project file begins with "format = 1"'),
        ("\n  \n", 'house.toml: the file is empty: a project file begins with "format = 1"'),
        (
            "format = 1\nhello\n",
            "house.toml:2: this is not TOML: there is no = after the key",
        ),
        (
            'format = 1\nname = "abc',
            "house.toml:2: this is not TOML: a text is not closed: its "
            "second quotation mark is missing",
        ),
        (
            "format = 1\nformat = 1\n",
            "house.toml:2: this is not TOML: a key stands twice in its table",
        ),
        (
            "format = " + "1" * 5000,
            "house.toml: this is not TOML that can be read: a value is too large",
        ),
        ("format = 1\nx = " + "[" * 5000, "house.toml:2: tables or lists are nested too deeply"),
        ("x." * 400_000 + "x = 1", "house.toml:1: tables or lists are nested too deeply"),
    ],
)
def test_texts_that_are_no_project(text: str, message: str) -> None:
    assert messages(text) == [message]


@pytest.mark.parametrize(
    ("written", "says"),
    [
        (
            '"10\'6""',
            "something follows the value on its line; a mark of feet or inches that is also the "
            'quotation mark ends the text: write "12 ft 4 1/2 in"',
        ),
        (
            "'10' 6\"'",
            "something follows the value on its line; a mark of feet or inches that is also the "
            'quotation mark ends the text: write "12 ft 4 1/2 in"',
        ),
        (
            "2.4 m",
            "something follows the value on its line; words and quantities are written in quotes, "
            'such as "2.4 m"',
        ),
        (
            "high",
            "what follows the = is no value; words and quantities are written in quotes, such as "
            '"2.4 m"',
        ),
        ('"8 ft', "a text is not closed: its second quotation mark is missing"),
        ('"2.4 m" now', "something follows the value on its line"),
        ('"2.4 m"\nheight = "2 m"', "a key stands twice in its table"),
        ('"2.4 m"\n[site]', "the table [site] stands twice"),
        ('"2.4 m"\n{', "this is neither a [table] nor a key = value pair"),
    ],
)
def test_texts_that_are_not_toml_in_plain_words(written: str, says: str) -> None:
    (message,) = messages(changed(('height = "2.4 m"', f"height = {written}")))
    place, _, said = message.partition(": this is not TOML: ")
    assert place in ("house.toml:30", "house.toml:31")
    assert said == says


def test_a_name_of_a_file_cannot_command_a_terminal() -> None:
    location = Location(path="a\x1b[31m\u202eb.toml", line=3, key="name")
    assert str(location) == "a?[31m?b.toml:3 name"


def test_a_file_that_says_nothing() -> None:
    assert messages("# nothing yet\n") == [
        "house.toml format: format is missing, such as format = 1",
        'house.toml name: name is missing, such as name = "Larch Cottage, upper bedroom"',
        "house.toml space: there is no [[space]]: a job needs at least one",
    ]


def loading(path: Path | str) -> str:
    with pytest.raises(ProjectFileError) as caught:
        load(path)
    (fault,) = caught.value.faults
    return str(fault)


def test_a_missing_file(tmp_path: Path) -> None:
    path = tmp_path / "none.toml"
    assert loading(path) == f"{path}: there is no such file: check its name and folder"


def test_a_folder(tmp_path: Path) -> None:
    assert loading(tmp_path) == f"{tmp_path}: this is a folder: give the project file in it"


def test_a_path_through_a_file(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_text(BASE, encoding="utf-8")
    assert (
        loading(path / "b.toml") == f"{path / 'b.toml'}: the file cannot be read: not a directory"
    )


def test_a_name_that_no_file_can_have() -> None:
    assert loading("a\0b.toml") == '"a?b.toml": this cannot be the name of a file'


def test_a_pipe(tmp_path: Path) -> None:
    path = tmp_path / "pipe"
    os.mkfifo(path)
    assert loading(path) == f"{path}: this is not a file: give a project file"


def test_a_huge_file(tmp_path: Path) -> None:
    path = tmp_path / "huge.toml"
    with path.open("wb") as file:
        file.truncate(50_000_000)
    assert loading(path) == f"{path}: the file has 50.0 MB: a project file has at most 1 MB"


def test_not_utf_8(tmp_path: Path) -> None:
    path = tmp_path / "latin.toml"
    path.write_bytes(b'format = 1\nname = "K\xfcche"\n')
    assert loading(path) == (
        f"{path}:2: the file is not UTF-8 text: byte 0xfc is no character; save it as UTF-8"
    )


def test_an_empty_file(tmp_path: Path) -> None:
    path = tmp_path / "empty.toml"
    path.write_bytes(b"")
    assert loading(path) == f'{path}: the file is empty: a project file begins with "format = 1"'


def test_hostile_text_stays_on_one_short_line() -> None:
    hostile = '"\\u001b[31m<script>\\n\\u202e' + "x" * 10_000 + '"'
    for old in ('"ground"', '"bedroom"', '"Test bedroom"', '"2.4 m"', '"mast"', '"sheet"'):
        for message in messages(changed((old, hostile))):
            assert "\n" not in message
            assert "\x1b" not in message
            assert "\u202e" not in message
            assert len(message) < 400


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
