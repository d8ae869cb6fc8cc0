"""A coating without a bond point in the job is told with every result."""

import pytest

from envelope.building.islands import unbonded_plans
from envelope.exposure.assumptions import bond_notes
from envelope.project.load import load_text

JOB = """format = 1
name = "Room"
[construction]
exterior-wall = "timber-wall"
slab = "joist-floor"
roof = "tiled-roof"
[[storey]]
id = "s"
floor = "0 m"
[[space]]
id = "room"
storey = "s"
size = "4 m x 3 m"
height = "2.5 m"
[[treatment]]
id = "coating"
kind = "sheet"
sheet-resistance = "5 ohm/sq"
[[treatment]]
id = "board"
kind = "layers"
layers = [{ material = "plasterboard", thickness = "12 mm" }]
[[plan]]
id = "one-wall"
treat = [{ on = "room/south", with = "WHAT" }]
"""
BOND = """
[[bond]]
id = "b"
on = "room/FACE"
at = "1 m"
"""


@pytest.mark.parametrize(
    ("what", "add", "told"),
    [
        ("coating", "", True),
        ("coating", BOND.replace("FACE", "south"), False),
        ("coating", BOND.replace("FACE", "north"), True),
        ("board", "", False),
        ("coating", BOND.replace("FACE", "south") + '[[plan]]\nid = "x"\nbond = []\n', False),
    ],
)
def test_a_plan_without_a_bond_is_told(what, add, told):
    job = load_text(JOB.replace("WHAT", what) + add, path="room.toml")
    assert (set(unbonded_plans(job)) == {"one-wall"}) == told
    notes = bond_notes(job)
    assert len(notes) == told
    if told:
        assert notes[0].startswith("No bond point is in the job for coating under one-wall: ")
        assert "licensed electrician" in notes[0]
