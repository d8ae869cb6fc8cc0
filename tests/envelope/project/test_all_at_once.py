"""Faults of every sort are told together, in the measure of the file, and none that follows."""

import random
from pathlib import Path

import pytest

from envelope.errors import Fault, GeometryError, ProjectFileError, RangeError, length_text
from envelope.project import load_text
from envelope.project.faults import key_text
from envelope.project.measures import Measures, in_measure, written_in_feet
from envelope.project.toml.scan import scan

BASE = (Path(__file__).parent / "data" / "bedroom.toml").read_text(encoding="utf-8")
NO_UNIT = 'has a number without a unit: write it such as "3.6 m" or "12 ft 4 1/2 in"'
SIZE = 'size = "4.2 m x 3.6 m"'
FEET = 'size = "12 ft x 11\' 6\\""'
HALL = """
[[space]]
id = "hall"
storey = "ground"
size = "2 m x 3.6 m"
height = "2.4 m"
origin = "4.3, 0 m"
"""
DOOR = """
[[opening]]
id = "{name}"
on = "{on}"
kind = "door"
at = "{at}"
size = "0.9 m x 2 m"
"""


def told(*changes: tuple[str, str], add: str = "") -> list[str]:
    text = BASE
    for before, after in changes:
        assert before in text
        text = text.replace(before, after, 1)
    with pytest.raises(ProjectFileError) as caught:
        load_text(text + add, path="house.toml")
    return [str(fault).removeprefix("house.toml:") for fault in caught.value.faults]


def test_geometry_is_told_beside_units() -> None:
    assert told(('at = "1.0 m"', 'at = "3.5 m"'), ('"5 ohm/sq"', '"5"')) == [
        "36 opening[0].at: opening W1 ends 5 m from the first corner of bedroom/1, which is 4.2 m "
        "long",
        '43 treatment[0].sheet-resistance: "5" has no unit: a sheet resistance is written such as '
        '"5 ohm/sq"',
    ]


def test_geometry_does_not_wait_for_a_storey_or_the_site() -> None:
    assert told(
        ('north = "15 deg"', 'north = "15"'),
        ('floor = "0 m"', 'floor = "0"'),
        ("bedroom/1", "bedroom/9"),
        ("0.6, 1.2, 0.7 m", "9, 1.2, 0.7 m"),
    ) == [
        '5 site.north: "15" has no unit: an angle is written such as "15 deg"',
        f'24 storey[0].floor: "0" {NO_UNIT}',
        '34 opening[0].on: opening W1 is on "bedroom/9", which does not exist; bedroom has '
        '"bedroom/1" or "bedroom/south", "bedroom/2" or "bedroom/east", "bedroom/3" or '
        '"bedroom/north", "bedroom/4" or "bedroom/west", "bedroom/floor", "bedroom/ceiling"',
        '56 receiver[0].at: the point lies outside every space, not in "bedroom": it is 4.80 m '
        'from panel "bedroom/2"; coordinates are the space\'s own, the height is above its floor',
    ]


def test_what_stands_in_a_faulty_space_waits_for_it() -> None:
    assert told(
        (SIZE, 'size = "4.2 x 3.6"'),
        ('at = "1.0 m"', 'at = "3.5 m"'),
        ("0.6, 1.2, 0.7 m", "9, 1.2, 0.7 m"),
        ('on = "bedroom/walls"', 'on = "bedroom/7"'),
    ) == [f'29 space[0].size: "4.2 x 3.6" {NO_UNIT}']


def test_a_sound_space_is_judged_beside_a_faulty_one() -> None:
    hall = HALL.replace("2 m x 3.6 m", "2 m x 3.6")
    doors = DOOR.format(name="D1", on="bedroom/2", at="3 m") + DOOR.format(
        name="D2", on="hall/1", at="9 m"
    )
    found = told(("0.6, 1.2, 0.7 m", "4.5, 1, 1 m"), add=hall + doors)
    assert [line.partition(": ")[0] for line in found] == [
        "56 receiver[0].at",
        "65 space[1].size",
        "73 opening[1].at",
    ]
    assert found[0].startswith('56 receiver[0].at: the point lies elsewhere, not in "bedroom"')


def test_a_door_to_a_faulty_space_is_no_fault() -> None:
    add = HALL.replace('origin = "4.3, 0 m"', 'origin = "4.3, 0"')
    add += DOOR.format(name="D1", on="bedroom/2", at="1 m")
    add += '[[panel]]\non = "hall/D1"\nassembly = "pane"\n'
    add += '[[plan]]\nid = "p"\ntreat = [{ on = "hall/D1", with = "coating" }]\n'
    assert len(told((SIZE, SIZE), add=add)) == 1


def test_names_that_a_faulty_opening_brings_are_not_unknown() -> None:
    add = (
        '[[panel]]\non = "bedroom/W1"\nassembly = "wall"\n'
        '[[panel]]\non = "bedroom/7"\nassembly = "wall"\n'
        '[[plan]]\nid = "p"\n'
        'treat = [{ on = "bedroom/W1", with = "coating" }, { on = "bedroom/8", with = "coating" }]'
    )
    found = told(('at = "1.0 m"', 'at = "1.0"'), add=add)
    assert [line.partition(": ")[0] for line in found] == [
        "36 opening[0].at",
        "65 panel[1].on",
        "69 plan[1].treat[1].on",
    ]


def test_a_receiver_in_a_niche_that_is_not_known_waits() -> None:
    niche = ('size = "1.5 m x 1.2 m"', 'size = "1.5 m x 1.2 m"\nreveal = "300 mm"')
    inside = ("0.6, 1.2, 0.7 m", "1.5, -0.1, 1.2 m")
    assert len(told(niche, inside, ('sill = "0.9 m"', 'sill = "0.9"'))) == 1
    assert len(told(niche, inside, ('sill = "0.9 m"', 'sill = "2 m"'))) == 1
    assert len(told(inside, ('sill = "0.9 m"', 'sill = "0.9"'))) == 2


def test_a_dormer_that_may_stand_on_any_space_lets_all_wait() -> None:
    dormer = '[[dormer]]\nid = "N1"\nspace = "bedrom"\nsize = "1 m x 1 m"\nheight = "2 m"\n'
    assert len(told(('at = "1.0 m"', 'at = "3.5 m"'), add=dormer)) == 1
    dormer = dormer.replace("bedrom", "bedroom").replace("2 m", "2")
    found = told(
        ('at = "1.0 m"', 'at = "3.5 m"'),
        add=dormer + HALL + DOOR.format(name="D1", on="hall/1", at="9 m"),
    )
    assert [line.partition(": ")[0] for line in found] == [
        "65 dormer[0].height",
        "78 opening[1].at",
    ]


def test_two_spaces_on_an_unknown_storey_do_not_meet() -> None:
    add = HALL.replace('"ground"', '"top"').replace('origin = "4.3, 0 m"', 'origin = "1, 0 m"')
    assert len(told((SIZE, SIZE), add=add)) == 1
    both = (('storey = "ground"', 'storey = "tpo"'),)
    assert len(told(*both, add=add)) == 2


def test_what_a_record_knows_is_told_but_not_of_what_names_something_faulty() -> None:
    add = (
        '[[material]]\nid = "mine"\npermittivity = 4\nconductivity = "1"\n'
        '[[assembly]]\nid = "a"\nlayers = [{ material = "mine", thickness = "1 cm" }]\n'
        '[[assembly]]\nid = "b"\nparts = ["a", "wall"]\n'
        '[[treatment]]\nid = "none"\nkind = "table"\n'
        'loss = { "900 MHz" = "0 dB", "2 GHz" = "0 dB" }\n'
    )
    assert told((SIZE, SIZE), add=add) == [
        '64 material[0].conductivity: "1" has no unit: a conductivity is written such as '
        '"0.02 S/m"',
        "74 treatment[1].loss: a data sheet's loss of 0 dB is no shielding: each must be above "
        "0 dB",
    ]


def test_a_misspelt_key_is_told_once() -> None:
    assert told(("height = ", "heigth = ")) == [
        '30 space[0].heigth: unknown key "heigth": did you mean "height"?'
    ]


# Values broken by chance in the sample jobs: each is told, and nothing but them.

MODELS = Path(__file__).parents[3] / "models"
KINDS = (
    *("site", "storey", "space", "dormer", "obstacle", "opening", "panel", "construction"),
    *("receiver", "source", "assembly", "treatment", "material"),
)


def broken(text: str, count: int, seed: int, *, but: tuple[str, ...] = ()) -> tuple[str, set[str]]:
    """A text with some of its values made senseless, and the keys of those."""
    values = [
        (span, path)
        for path, span in scan(text).values.items()
        if path[0] in KINDS and text[span[0]] in "\"'" and path[-1] not in ("id", "title", "note")
        if not key_text(path).startswith(but)
    ]
    chosen = sorted(random.Random(seed).sample(values, count), reverse=True)
    for (start, end), _ in chosen:
        text = f'{text[:start]}"zz zz"{text[end:]}'
    return text, {key_text(path) for _, path in chosen}


@pytest.mark.parametrize("sample", ["house", "attic", "bedroom"])
@pytest.mark.parametrize("seed", range(6))
def test_what_is_broken_is_told_and_nothing_else(sample: str, seed: int) -> None:
    text = (MODELS / f"{sample}.toml").read_text(encoding="utf-8")
    text, keys = broken(text, 1 + seed % 3, seed)
    with pytest.raises(ProjectFileError) as caught:
        load_text(text, path="house.toml")
    found = {str(fault.location.key) for fault in caught.value.faults if fault.location}
    for key in keys:
        assert any(name.startswith(key) or key.startswith(name) for name in found), key
    for name in found:
        assert any(name.startswith(key.rpartition(".")[0]) for key in keys), name


@pytest.mark.parametrize("seed", range(6))
def test_an_opening_past_its_wall_is_told_whatever_else_is_broken(seed: int) -> None:
    text = (MODELS / "house.toml").read_text(encoding="utf-8")
    past = text.replace('at = "1.4 m"\nsill = "0.9 m"', 'at = "80 m"\nsill = "0.9 m"', 1)
    assert past != text
    past, _ = broken(past, 2, seed, but=("space[0]", "opening[1].", "dormer"))
    with pytest.raises(ProjectFileError) as caught:
        load_text(past, path="house.toml")
    assert any("opening W2 ends" in fault.message for fault in caught.value.faults)


# Measures


def test_lengths_are_answered_as_they_are_written() -> None:
    assert told((SIZE, FEET), ('at = "1.0 m"', 'at = "9\' 6\\""'), ("1.5 m x", "5 ft x")) == [
        "36 opening[0].at: opening W1 ends 14 ft 6 in (4.4196 m) from the first corner of "
        "bedroom/1, which is 12 ft (3.6576 m) long"
    ]
    assert told((SIZE, FEET), ('at = "1.0 m"', 'at = "3.5 m"')) == [
        "36 opening[0].at: opening W1 ends 5 m from the first corner of bedroom/1, which is "
        "3.6576 m long"
    ]
    assert told(
        (SIZE, 'walk = "E 13 ft 9 in; N 8 ft; W 13 ft 8 in; S"'),
    ) == [
        "29 space[0].walk: the walk does not close: it ends 1 in (0.0254 m) east of where it began"
    ]
    found = told((SIZE, FEET), ("0.6, 1.2, 0.7 m", "-3 ft, 4 ft, 2 ft"))
    assert "it is 3 ft (0.91 m) from panel" in found[0]


def test_a_key_that_is_not_written_takes_the_measure_of_its_table_then_of_the_file() -> None:
    high = ('height = "2.4 m"', 'height = "6 ft"')
    found = told((SIZE, FEET), high, ('sill = "0.9 m"', 'sill = "3 ft"'))
    assert (
        "reaches 6 ft 11 1/4 in (2.1144 m) up bedroom/1, which is 6 ft (1.8288 m) high" in found[0]
    )
    document = {
        "space": [{"size": "3 ft x 4 ft", "height": "8 ft"}, {"size": "1 m x 1 m"}],
        "opening": [{"at": "2 ft"}, {"on": "x/1"}],
    }
    measures = Measures(document)
    assert measures.feet(("space", 0, "ceiling"))
    assert not measures.feet(("space", 1, "height"))
    assert measures.feet(("opening", 1, "at"))
    assert measures.feet(())


@pytest.mark.parametrize(
    ("text", "feet"),
    [
        ("12 ft 4 1/2 in", True),
        ("12′ 4½″", True),
        ("4½in", True),
        ("E 3 ft; N 4 ft; W", True),
        ("0.6, 1.2, 0.7 m", False),
        ("20mm", False),
        ("3 metres", False),
        ("bedroom/1", None),
        ("3", None),
        (3.0, None),
        (["0,0 1,0 1,1 ft", "x"], True),
        ("0 m", None),
        ("0.0 ft", None),
        ("0, 0 m", None),
        ("0,0 1,0 1,1 m", False),
    ],
)
def test_the_measure_of_a_text(text: object, feet: bool | None) -> None:
    assert written_in_feet(text) is feet


@pytest.mark.parametrize(
    ("value_m", "said"),
    [
        (3.6576, "12 ft (3.6576 m)"),
        (0.005, "3/16 in (0.005 m)"),
        (0.0003, "0.0003 m"),
        (0.0, "0 in (0 m)"),
        (float("nan"), "nan m"),
        (float("inf"), "inf m"),
        (-0.3048, "-1 ft (-0.3048 m)"),
    ],
)
def test_a_length_in_feet(value_m: float, said: str) -> None:
    assert in_measure(f"at {length_text(value_m)}.", feet=True) == f"at {said}."


def test_errors_speak_in_metres_by_themselves() -> None:
    assert str(RangeError(f"a wall of {length_text(2.0)}")) == "a wall of 2 m"
    fault = Fault(message=f"a wall of {length_text(0.002, '2 mm')}")
    assert fault.message == str(fault) == "a wall of 2 mm"
    assert in_measure(fault.marked, feet=True) == "a wall of 1/16 in (2 mm)"
    assert str(GeometryError([fault])) == "a wall of 2 mm"
