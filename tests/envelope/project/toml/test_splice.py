"""Edits of files whose tables of one kind do not stand together: nothing is moved, nothing lost."""

import tomllib
from difflib import SequenceMatcher
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from envelope.project import load_text
from envelope.project.edit import add_plan, move_receiver, set_treatment
from envelope.project.edit_model import set_assembly, set_kind
from envelope.project.toml.scan import scan

MIXED = """\
format = 1
name = "Mixed"   # a name
[construction]
exterior-wall = "w"
roof = "w"
slab = "w"
window = "w"
[[storey]]
id = "s"
floor = "0 m"
[[space]]
id = "r"
storey = "s"
size = "4 m x 3 m"
height = "2.4 m"
# the first window
[[opening]]
id = "W1"
on = "r/1"
kind = "window"
at = "1 m"
sill = "0.9 m"
size = "1 m x 1 m"

# what goes on it
[[treatment]]   # by the roll
id = "film"
kind = "fixed"
loss = "20 dB"
# a plan between
[[plan]]
id = "some"
# opened later
treat = [{ on = "r/W1", with = "film" }]   # done
[plan.states]
W1 = "open"

# the second window
[[opening]]
id = "W2"
on = "r/3"
kind = "window"
at = "1 m"
sill = "0.9 m"
size = "1 m x 1 m"
[[assembly]]
id = "w"
loss = "6 dB"
# a second treatment
[[treatment]]
id = "coat"
kind = "fixed"
loss = "10 dB"

[[receiver]]
id = "bed"
space = "r"
at = '1, 1, 0.6 m'   # the pillow
[[plan]]
id = "bare"
[plan.states]
W2 = "open"
"""


def replaced(text: str, before: str, after: str) -> str:
    assert text.count(before) == 1
    return text.replace(before, after)


def test_values_are_changed_where_they_stand() -> None:
    load_text(MIXED, path="mixed.toml")
    text = set_treatment(text=MIXED, plan="some", panel="r/W1", treatments=["coat"])
    assert text == replaced(MIXED, 'with = "film"', 'with = "coat"')
    text = move_receiver(text=MIXED, receiver="bed", at_m=(2.0, 1.25, 0.6))
    assert text == replaced(MIXED, "'1, 1, 0.6 m'", "'2, 1.25, 0.6 m'")
    text = set_treatment(text=MIXED, plan="some", panel="r/2", treatments=["coat", "film"])
    assert text == replaced(
        MIXED,
        'with = "film" }]',
        'with = "film" }, { on = "r/2", with = ["coat", "film"] }]',
    )
    text = set_treatment(text=MIXED, plan="bare", panel="r/W2", treatments=["film"])
    added = 'id = "bare"\ntreat = [\n    { on = "r/W2", with = "film" },\n]\n'
    assert text == replaced(MIXED, 'id = "bare"\n', added)
    assert add_plan(text=MIXED, plan="new") == MIXED + '\n[[plan]]\nid = "new"\n'


def test_what_is_so_already_changes_nothing() -> None:
    assert set_treatment(text=MIXED, plan="some", panel="r/W1", treatments=["film"]) == MIXED
    assert move_receiver(text=MIXED, receiver="bed", at_m=(1.0, 1.0, 0.6)) == MIXED


def test_a_receiver_written_in_feet_moves_in_feet() -> None:
    feet = MIXED.replace("'1, 1, 0.6 m'", '"3 ft, 3\' 4 1/2\\", 2 ft"')
    text = move_receiver(text=feet, receiver="bed", at_m=(0.9144, 1.2192, 0.6096))
    assert 'at = "3 ft, 4 ft, 2 ft"   # the pillow' in text
    assert load_text(text, path="f.toml").receivers[0].position_m.tolist() == pytest.approx(
        [0.9144, 1.2192, 0.6096]
    )


@pytest.mark.parametrize(
    ("listed", "after"),
    [
        ("[]", '[{ on = "r/2", with = "coat" }]'),
        ("[ ]", '[{ on = "r/2", with = "coat" } ]'),
        ("[ # none yet\n]", '[ # none yet\n    { on = "r/2", with = "coat" },\n]'),
        ("[\n  # later\n  ]", '[\n  # later\n      { on = "r/2", with = "coat" },\n  ]'),
        (
            '[{ on = "r/1", with = "film" },]',
            '[{ on = "r/1", with = "film" }, { on = "r/2", with = "coat" }]',
        ),
        (
            '[\n\t{ on = "r/1", with = "film" } # last, without a comma\n\t# the end\n]',
            '[\n\t{ on = "r/1", with = "film" }, # last, without a comma\n'
            '\t{ on = "r/2", with = "coat" }\n\t# the end\n]',
        ),
        (
            '[\n  { on = "r/1", with = "film" } # and\n  , # a comma\n]',
            '[\n  { on = "r/1", with = "film" } # and\n  , # a comma\n'
            '  { on = "r/2", with = "coat" },\n]',
        ),
        (
            '[{ on = "r/1", with = "film" },\n { on = "r/3", with = "film" }]',
            '[{ on = "r/1", with = "film" },\n { on = "r/3", with = "film" }, '
            '{ on = "r/2", with = "coat" }]',
        ),
    ],
)
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_an_entry_is_added_in_the_manner_of_the_list(listed: str, after: str, newline: str) -> None:
    before = '[{ on = "r/W1", with = "film" }]'
    text = replaced(MIXED, before, listed).replace("\n", newline)
    wanted = replaced(MIXED, before, after).replace("\n", newline)
    assert set_treatment(text=text, plan="some", panel="r/2", treatments=["coat"]) == wanted


def test_plans_in_braces_and_entries_as_tables() -> None:
    text = 'name = "x"\nplan = [{ id = "a" }, {id="b"}] # two\n'
    text = set_treatment(text=text, plan="b", panel="r/1", treatments=["c"])
    assert text == (
        'name = "x"\n'
        'plan = [{ id = "a" }, {id="b", treat = [    { on = "r/1", with = "c" },] }] # two\n'
    )
    tables = '[[plan]]\nid = "a"\n[[plan.treat]]\non = "r/1"\nwith = "c" # one\n# end\n[site]\n'
    text = set_treatment(text=tables, plan="a", panel="r/2", treatments=[])
    assert text == tables.replace("# one\n", '# one\n\n[[plan.treat]]\non = "r/2"\nwith = []\n')


@st.composite
def interleaved(draw: st.DrawFn) -> str:
    """A file whose tables come in any order, comments and blank lines between them."""
    kinds = ("opening", "treatment", "plan", "receiver", "panel", "tag")
    words = draw(st.lists(st.sampled_from(kinds), min_size=6, max_size=14))
    newline = draw(st.sampled_from(("\n", "\r\n")))
    lines = ["format = 1", 'name = "any"']
    counts = dict.fromkeys(kinds, 0)
    for kind in (*words, "plan", "receiver"):
        lines += draw(st.sampled_from(([], [""], ["", f"# before {kind} = [", ""], ["# x", "# y"])))
        counts[kind] += 1
        name = f"{kind}{counts[kind]}"
        indent = draw(st.sampled_from(("", "  ")))
        lines.append(f"{indent}[[{kind}]]" + draw(st.sampled_from(("", "   # here"))))
        lines += {
            "opening": [f'id = "{name}"', 'on = "r/1"', 'at = "1 m"'],
            "treatment": [f'id = "{name}"', 'kind = "sheet" # [[plan]]'],
            "receiver": [f'id = "{name}"', 'space = "r"', 'at = "1, 2, 0.5 m"  # "there"'],
            "plan": [f'id = "{name}"', *draw(st.sampled_from(TREATS))],
            "panel": [f'on = "r/{counts[kind]}"', 'assembly = "w"  # seen'],
            "tag": [f'name = "r/{counts[kind]}"', 'becomes = "window"'],
        }[kind]
    ending = draw(st.sampled_from(("", newline, newline + "# last" + newline)))
    return newline.join(lines) + ending


TREATS: tuple[list[str], ...] = (
    [],
    ['treat = [{ on = "r/1", with = "a" }]'],
    ["treat = [  # in order", '  { on = "r/1", with = ["a", "b"] }, # one', "  # two", "]"],
    ["[[plan.treat]]", 'on = "r/1"', "with = 'a'  # cheap", "[plan.states]", 'W1 = "open"'],
)


def kept(before: str, after: str, *, changed: int) -> None:
    """Every line of the text before is there in its order, but for so many."""
    pair = before.splitlines(keepends=True), after.splitlines(keepends=True)
    steps = SequenceMatcher(None, *pair, autojunk=False).get_opcodes()
    assert sum(end - start for what, start, end, *_ in steps if what != "equal") <= changed


@settings(max_examples=60, deadline=None)
@given(interleaved(), st.data())
def test_an_edit_and_its_inverse(text: str, data: st.DataObject) -> None:
    plain: dict[str, Any] = tomllib.loads(text)
    receiver = data.draw(st.sampled_from([entry["id"] for entry in plain["receiver"]]))
    moved = move_receiver(text=text, receiver=receiver, at_m=(2.0, 1.0, 0.7))
    pairs = zip(text.splitlines(), moved.splitlines(), strict=True)
    assert sum(one != other for one, other in pairs) == 1
    assert move_receiver(text=moved, receiver=receiver, at_m=(1.0, 2.0, 0.5)) == text

    plan = data.draw(st.sampled_from(plain["plan"]))
    if plan.get("treat"):
        worn = plan["treat"][0]["with"]
        new = (
            data.draw(st.sampled_from((["c"], ["c", "d"], []))) if isinstance(worn, list) else ["c"]
        )
        other = set_treatment(text=text, plan=plan["id"], panel="r/1", treatments=new)
        pairs = zip(text.splitlines(), other.splitlines(), strict=True)
        assert sum(one != two for one, two in pairs) == 1
        back = [worn] if isinstance(worn, str) else worn
        assert set_treatment(text=other, plan=plan["id"], panel="r/1", treatments=back) == text
    more = set_treatment(text=text, plan=plan["id"], panel="r/9", treatments=["c"])
    without_end = not text.endswith("\n")
    in_line = plan.get("treat") and '[{ on = "r/1"' in text
    kept(text, more, changed=1 if in_line or without_end else 0)

    added = set_assembly(text=text, panel="r/77", assembly="brick")
    kept(text, added, changed=1 if without_end else 0)
    assert set_assembly(text=added, panel="r/77", assembly=None) == text
    assert (
        set_assembly(
            text=set_assembly(text=added, panel="r/77", assembly="wood"),
            panel="r/77",
            assembly="brick",
        )
        == added
    )
    ruled = set_kind(text=text, panel="r/77", kind="door")
    assert set_kind(text=ruled, panel="r/77", kind=None) == text


def test_comments_inside_what_is_taken_away_stay() -> None:
    text = '# a\n[[panel]] # why\non = "r/1"\n# because\nassembly = "w" # hm\n\n[site]\n'
    assert set_assembly(text=text, panel="r/1", assembly=None) == (
        "# a\n# why\n# because\n# hm\n\n[site]\n"
    )
    text = '[[panel]]\non = "r/1"\nassembly = """\nw"""  # two lines\nbehind = "earth"\n'
    assert set_assembly(text=text, panel="r/1", assembly=None) == (
        '[[panel]]\non = "r/1"\n# two lines\nbehind = "earth"\n'
    )


@pytest.mark.parametrize("sample", ["house", "attic", "bedroom"])
def test_every_value_stands_where_it_is_said_to(sample: str) -> None:
    path = Path(__file__).parents[4] / "models" / f"{sample}.toml"
    text = path.read_text(encoding="utf-8")
    data = tomllib.loads(text)
    found = scan(text)
    for keys, (start, end) in found.values.items():
        value: Any = data
        for key in keys:
            value = value[key]
        assert tomllib.loads(f"x = {text[start:end]}")["x"] == value
    taken = sum(
        end - start for block in found.blocks for start, end in (block.header, *block.pairs)
    )
    outside = list(text)
    for block in found.blocks:
        for start, end in (block.header, *block.pairs):
            outside[start:end] = [""] * (end - start)
    rest = "".join(outside)
    assert len(rest) == len(text) - taken
    assert all(line.strip()[:1] in ("", "#") for line in rest.splitlines())
