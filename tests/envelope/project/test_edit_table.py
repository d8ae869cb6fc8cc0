"""Any key of the schema can be set and taken away, any row added, removed and renamed."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

from envelope.project import load_text
from envelope.project.edit import EditError
from envelope.project.edit_names import remove_with_named
from envelope.project.edit_rename import rename
from envelope.project.edit_table import (
    add_row,
    remove_row,
    set_key,
)
from envelope.project.edit_values import (
    keys_of,
    parts_of,
    parts_typed,
    parts_value,
    typed_value,
)
from envelope.project.schema import job as schema

JOB = """\
# A shed of our own invention.
format = 1
name = "Shed"                     # as the owner calls it

[construction]
exterior-wall = "boards"          # looked at from the loft
floor = "boards"
roof = "boards"
window = "pane"

[[assembly]]
id = "boards"                     # two layers
layers = [
    { material = "plywood", thickness = "12 mm" },   # inside
    { material = "plywood", thickness = "9 mm" },
]

[[assembly]]
id = 'pane'
layers = [{ material = "glass", thickness = "4 mm" }]

[[storey]]
id = "only"
floor = "0 m"

[[space]]
id = "shed"
storey = "only"
size = "3 m x 2 m"                # measured twice
height = "2.2 m"
ceiling = { shape = "gable", along = "x", ridge = "3 m" }

[[opening]]
id = "W1"
on = "shed/south"
kind = "window"
at = "1 m"
sill = "1 m"
size = "1 m x 0.8 m"

[[treatment]]
id = "foil"
kind = "fixed"
loss = "30 dB"

[[source]]
id = "mast"
azimuth = "180 deg"
elevation = "5 deg"
band = "1.8-1.9 GHz"

[[reading]]
id = "inside"
source = "mast"
space = "shed"
at = "1 m, 1 m, 1 m"
level = "20 uW/m2"
states = { W1 = "open" }          # as it stood

[[receiver]]
id = "bench"
space = "shed"
at = "1 m, 1 m, 1 m"

[[plan]]
id = "foil-walls"
treat = [
    { on = "shed/walls", with = "foil" },   # all four
    { on = "shed/W1", with = ["foil"] },
]
"""

KEYS = [(table, key) for table in ("", *schema.LISTS, *schema.SINGLES) for key in keys_of(table)]


def said(text: str) -> dict[str, Any]:
    return tomllib.loads(text)


def comments(text: str) -> list[str]:
    return [line[line.index("#") :].strip() for line in text.splitlines() if "#" in line]


@pytest.mark.parametrize(("table", "key"), KEYS, ids=[f"{t or 'top'}.{k}" for t, k in KEYS])
def test_every_key_of_the_schema_is_editable(table: str, key: str) -> None:
    """Set where it is not stated, set again, taken away; nothing else changes, no comment goes."""
    text, row = JOB, None
    if table in schema.LISTS:
        row = len(said(JOB).get(table, ()))
        text = add_row(text=JOB, table=table, entry={"note": "x"} if key == "note" else {})
    before = said(text)
    read = keys_of(table)[key].read
    values: list[Any] = [read.example if read is not None else ["a"], {"a": 1}, "it's", 7, True]
    for value in values:
        changed = set_key(text=text, table=table, row=row, key=key, value=value)
        where = said(changed)
        holder = where if table == "" else where[table] if row is None else where[table][row]
        assert holder[key] == value
        assert comments(changed) == comments(JOB)
        again = set_key(text=changed, table=table, row=row, key=key, value=value)
        assert again == changed
    gone = set_key(text=changed, table=table, row=row, key=key, value=None)
    holder_before = before if table == "" else before.get(table, {})
    if row is None and key not in holder_before:
        assert said(gone) == before | ({} if table in before or table == "" else {table: {}})
    assert comments(gone) == comments(JOB)


def test_a_value_keeps_its_quotes_and_the_comment_beside_it() -> None:
    text = set_key(text=JOB, table="space", row=0, key="size", value="3.5 m x 2 m")
    assert 'size = "3.5 m x 2 m"                # measured twice' in text
    text = set_key(text=text, table="assembly", row=1, key="id", value="glass")
    assert "id = 'glass'" in text


def test_a_table_that_comes_once_is_begun_after_the_top() -> None:
    text = set_key(text=JOB, table="site", row=None, key="north", value="15 deg")
    head = text.split("[construction]")[0]
    assert '[site]\nnorth = "15 deg"' in head
    assert load_text(text, path="shed.toml").building.site.north_rad == pytest.approx(0.2617994)


def test_a_row_goes_after_the_last_of_its_like() -> None:
    entry = {"id": "W2", "on": "shed/north", "kind": "window", "at": "1 m", "sill": "1 m"}
    text = add_row(text=JOB, table="opening", entry={**entry, "size": "1 m x 1 m"})
    assert text.index('"W2"') < text.index("[[treatment]]")
    assert "shed/W2" in load_text(text, path="shed.toml").building.panel_index
    assert [each["id"] for each in said(text)["opening"]] == ["W1", "W2"]
    with pytest.raises(EditError, match='another opening is called "W1"'):
        add_row(text=JOB, table="opening", entry={"id": "W1"})


def test_a_row_is_removed_with_the_tables_under_it() -> None:
    nested = JOB.replace(
        'treat = [\n    { on = "shed/walls", with = "foil" },   # all four\n'
        '    { on = "shed/W1", with = ["foil"] },\n]\n',
        '\n[[plan.treat]]\non = "shed/walls"\nwith = "foil"\n\n[[plan]]\nid = "second"\n',
    )
    text = remove_row(text=nested, table="plan", row=0)
    assert said(text)["plan"] == [{"id": "second"}]
    assert "plan" not in said(remove_row(text=text, table="plan", row=0))
    with pytest.raises(EditError, match="no such plan"):
        remove_row(text=nested, table="plan", row=7)


@pytest.mark.parametrize(
    ("table", "row", "name"),
    [
        ("space", 0, "workshop"),
        ("opening", 0, "south-window"),
        ("treatment", 0, "sheet"),
        ("source", 0, "tower"),
        ("assembly", 0, "planks"),
        ("storey", 0, "ground"),
        ("plan", 0, "walls-and-window"),
        ("receiver", 0, "vice"),
        ("reading", 0, "by-the-door"),
    ],
)
def test_a_name_changes_wherever_it_stands(table: str, row: int, name: str) -> None:
    old = said(JOB)[table][row]["id"]
    text = rename(text=JOB, table=table, row=row, name=name)
    assert comments(text) == comments(JOB)
    job, before = load_text(text, path="shed.toml"), load_text(JOB, path="shed.toml")
    assert len(job.building.panels) == len(before.building.panels)
    worn = [sorted(plan.treatments.values()) for plan in job.plans]
    swap = {"foil": name} if table == "treatment" else {}
    assert worn == [
        sorted(tuple(swap.get(each, each) for each in names) for names in plan.treatments.values())
        for plan in before.plans
    ]
    assert rename(text=text, table=table, row=row, name=old) == JOB


WIRED = (
    JOB
    + """
[[supply]]
id = "mains"
voltage = "230 V"
frequency = "50 Hz"

[[circuit]]
id = "sockets"
supply = "mains"                  # the only one

[[outlet]]
id = "S1"
circuit = "sockets"
on = "shed/1"
at = "0.5 m"
height = "0.3 m"

[[field-reading]]
id = "by-the-bench"
space = "shed"
at = "1 m, 1 m, 1 m"
field = "12 V/m"
against = "earth"
off = "sockets"
"""
)


@pytest.mark.parametrize(
    ("table", "row"),
    [("space", 0), ("supply", 0), ("circuit", 0), ("outlet", 0), ("source", 0), ("opening", 0)],
)
def test_a_name_changes_in_the_wiring_too(table: str, row: int) -> None:
    load_text(WIRED, path="shed.toml")
    old = said(WIRED)[table][row]["id"]
    text = rename(text=WIRED, table=table, row=row, name="other")
    load_text(text, path="shed.toml")
    assert f'"{old}"' not in text
    assert rename(text=text, table=table, row=row, name=old) == WIRED


@pytest.mark.parametrize(
    ("table", "row", "goes", "stays"),
    [
        ("storey", 0, {"space", "opening", "reading", "receiver", "outlet", "storey"}, {"plan"}),
        ("space", 0, {"space", "opening", "reading", "receiver", "outlet"}, {"storey", "plan"}),
        ("opening", 0, {"opening"}, {"space", "plan", "reading"}),
        ("source", 0, {"source", "reading"}, {"receiver"}),
        ("treatment", 0, {"treatment"}, {"plan"}),
        ("supply", 0, {"supply"}, {"circuit", "outlet"}),
        ("circuit", 0, {"circuit", "outlet"}, {"supply", "field-reading"}),
    ],
)
def test_what_names_a_table_goes_with_it(
    table: str, row: int, goes: set[str], stays: set[str]
) -> None:
    removal = remove_with_named(text=WIRED, table=table, row=row)
    before, left = said(WIRED), said(removal.text)
    assert {kind for kind in goes if kind in left} == set()
    assert stays <= set(left)
    name = before[table][row]["id"]
    assert f'"{name}"' not in removal.text
    assert f"{name}/" not in removal.text
    if table not in ("storey", "space", "supply"):  # no job is without rooms, no circuit without
        load_text(removal.text, path="shed.toml")
    assert len(removal.rows) >= (0 if table == "outlet" else 1)


def test_a_name_that_is_taken_is_refused() -> None:
    with pytest.raises(EditError, match='another assembly is called "pane"'):
        rename(text=JOB, table="assembly", row=0, name="pane")


@pytest.mark.parametrize(
    ("table", "key", "typed", "value"),
    [
        ("space", "height", " 7 ft 2 in ", "7 ft 2 in"),
        ("treatment", "coats", "2", 2),
        ("space", "raised", "true", True),
        ("source", "scattered", "0.2", 0.2),
        (
            "assembly",
            "layers",
            '[{ material = "air", thickness = "9 mm" }]',
            [{"material": "air", "thickness": "9 mm"}],
        ),
        ("assembly", "loss", "6 dB", "6 dB"),
        ("assembly", "loss", '{ "900 MHz" = "4 dB" }', {"900 MHz": "4 dB"}),
        ("treatment", "note", "[sic", None),
    ],
)
def test_what_is_typed_becomes_the_kind_of_value_that_its_key_takes(
    table: str, key: str, typed: str, value: object
) -> None:
    if value is None:
        with pytest.raises(EditError, match="cannot be read"):
            typed_value(table=table, key=key, typed=typed)
    else:
        assert typed_value(table=table, key=key, typed=typed) == value


# What stands in brackets, as typed part by part, and as the file then has it.
PARTS = [
    ("space", "ceiling", [{"shape": "gable", "ridge": "3 m"}], {"shape": "gable", "ridge": "3 m"}),
    ("space", "hollow", [{"name": "0,0 1,0 1,1 m"}, {"name": " "}], ["0,0 1,0 1,1 m"]),
    (
        "assembly",
        "layers",
        [{"thickness": "9 mm", "material": "plywood", "cavity": "true"}, {"perhaps": ""}],
        [{"material": "plywood", "thickness": "9 mm", "cavity": True}],
    ),
    ("assembly", "loss", [{"value": "6 dB"}], "6 dB"),
    (
        "assembly",
        "loss",
        [{"name": "900 MHz", "value": "4 dB"}, {"name": "3.5 GHz", "value": "9 dB"}],
        {"900 MHz": "4 dB", "3.5 GHz": "9 dB"},
    ),
    ("source", "level", [{"name": "upper", "value": "2 uW/m2"}], {"upper": "2 uW/m2"}),
    ("reading", "states", [{"name": "W1", "value": "open"}], {"W1": "open"}),
    (
        "plan",
        "treat",
        [{"on": "shed/W1", "with": "foil, net"}, {"on": "shed/1", "with": "[]"}],
        [{"on": "shed/W1", "with": ["foil", "net"]}, {"on": "shed/1", "with": []}],
    ),
    ("plan", "treat", [], []),
    ("costs", "rates", [{"name": "painter", "value": "48 EUR/h"}], {"painter": "48 EUR/h"}),
    ("costs", "rates", [{"name": "", "value": ""}], None),
]


@pytest.mark.parametrize(("table", "key", "typed", "value"), PARTS)
def test_what_is_typed_into_the_parts_of_a_value_is_its_value(
    table: str, key: str, typed: list[dict[str, str]], value: Any
) -> None:
    parts = parts_of(table=table, key=key)
    assert parts is not None
    assert parts_value(parts, typed) == value
    if value:
        assert parts_value(parts, parts_typed(parts, value)) == value  # and back again


def test_everything_in_brackets_has_parts_to_type_into() -> None:
    brackets = [(table, key) for table, key in KEYS if keys_of(table)[key].kind == "brackets"]
    assert len(brackets) >= 14
    assert not [each for each in brackets if parts_of(table=each[0], key=each[1]) is None]
    assert parts_of(table="space", key="height") is None
    layers = parts_of(table="assembly", key="layers")
    assert layers is not None
    with pytest.raises(EditError, match="colour"):
        parts_value(layers, [{"colour": "red"}])


def test_comments_within_a_list_stay_when_a_part_is_changed_added_or_taken_away() -> None:
    layers = said(JOB)["assembly"][0]["layers"]
    changed = [{**layers[0], "thickness": "15 mm"}, layers[1]]
    text = set_key(text=JOB, table="assembly", row=0, key="layers", value=changed)
    assert '{ material = "plywood", thickness = "15 mm" },   # inside' in text
    longer = [*changed, {"material": "glass", "thickness": "4 mm"}]
    text = set_key(text=text, table="assembly", row=0, key="layers", value=longer)
    assert '"15 mm" },   # inside' in text
    shorter = set_key(text=text, table="assembly", row=0, key="layers", value=longer[1:])
    assert comments(shorter) == comments(JOB)
    assert said(shorter)["assembly"][0]["layers"] == longer[1:]


def test_a_list_written_as_tables_of_its_own_is_changed_part_by_part_or_written_anew() -> None:
    nested = JOB.replace(
        'treat = [\n    { on = "shed/walls", with = "foil" },   # all four\n'
        '    { on = "shed/W1", with = ["foil"] },\n]\n',
        '\n[[plan.treat]]\non = "shed/walls"   # all four\nwith = "foil"\n',
    )
    longer = [{"on": "shed/walls", "with": "foil"}, {"on": "shed/W1", "with": "foil"}]
    text = set_key(text=nested, table="plan", row=0, key="treat", value=longer)
    assert said(text)["plan"][0]["treat"] == longer
    assert comments(text) == comments(nested)
    text = set_key(text=text, table="plan", row=0, key="treat", value=longer[1:])
    assert said(text)["plan"][0]["treat"] == longer[1:]
    changed = [{"on": "shed/W1", "with": ["foil"]}]
    text = set_key(text=text, table="plan", row=0, key="treat", value=changed)
    assert said(text)["plan"][0]["treat"] == changed


def test_unknown_tables_and_keys_are_refused_by_name() -> None:
    with pytest.raises(EditError, match='no table "cellar"'):
        keys_of("cellar")
    with pytest.raises(EditError, match='"colour" is no key of'):
        set_key(text=JOB, table="space", row=0, key="colour", value="red")
    with pytest.raises(EditError, match="comes once"):
        add_row(text=JOB, table="site", entry={})
