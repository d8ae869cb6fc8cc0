"""An invented bedroom of 4 x 3.5 x 2.5 m: runs behind the bed, beside it, under it and over it."""

import pytest

from envelope.building.job import Job
from envelope.project.load import load_text

ROOM = """format = 1
name = "Bedroom of the tests"

[construction]
exterior-wall = "timber-wall"
slab = "joist-floor"
floor = "joist-floor"
roof = "tiled-roof"
window = "double-glazing"
door = "hollow-wood-door"

[[storey]]
id = "storey"
floor = "0 m"

[[space]]
id = "bedroom"
storey = "storey"
size = "4 m x 3.5 m"
height = "2.5 m"
raised = true

[[opening]]
id = "W1"
on = "bedroom/north"
kind = "window"
at = "1.2 m"
sill = "0.9 m"
size = "1.6 m x 1.2 m"

[[opening]]
id = "D1"
on = "bedroom/west"
kind = "door"
at = "2.45 m"
size = "0.8 m x 2 m"

[[treatment]]
id = "coating"
kind = "sheet"
sheet-resistance = "5 ohm/sq"

[[receiver]]
id = "pillow"
space = "bedroom"
at = "1.5, 0.4, 0.65 m"

[supply]
voltage = "230 V"
frequency = "50 Hz"

[[circuit]]
id = "sockets"
cable = "round"

[[circuit]]
id = "lights"
cable = "round"

[[outlet]]
id = "bedside"
circuit = "sockets"
on = "bedroom/south"
at = "2.3 m"

[[cable]]
id = "south-run"
circuit = "sockets"
on = "bedroom/south"
path = "0, 0.3  4, 0.3 m"

[[cable]]
id = "east-run"
circuit = "sockets"
on = "bedroom/east"
path = "0, 0.3  3.5, 0.3 m"

[[cable]]
id = "floor-run"
circuit = "sockets"
on = "bedroom/floor"
path = "1, 0  1, 3.5 m"
depth = "150 mm"

[[cable]]
id = "riser"
circuit = "sockets"
on = "bedroom/south"
path = "1, 0  1, 0.3 m"

[[cable]]
id = "ceiling-run"
circuit = "lights"
on = "bedroom/ceiling"
path = "0, 1.2  2, 1.2  2, 1.75 m"
depth = "120 mm"

[[cable]]
id = "switch-drop"
circuit = "lights"
on = "bedroom/west"
path = "2.3, 1.1  2.3, 2.5 m"
"""

LAMP = """
[[device]]
id = "lamp"
outlet = "bedside"
at = "2.0, 0.25, 0.6 m"
cord = ["2.3, 0.05, 0.05 m", "2.05, 0.2, 0.05 m", "2.05, 0.05, 0.5 m"]
wiring = "two-core"
on = true
"""

BONDS = """
[[bond]]
id = "earth-bar"
on = "bedroom/south"
at = "0.2 m"

[[bond]]
id = "ceiling-bond"
on = "bedroom/ceiling"
at = "1, 1.2 m"
"""

PLANS = """
[[plan]]
id = "south-bonded"
treat = [{ on = "bedroom/south", with = "coating" }]
bond = ["earth-bar"]

[[plan]]
id = "south-floating"
extends = "south-bonded"
bond = []

[[plan]]
id = "walls-bonded"
treat = [{ on = "bedroom/walls", with = "coating" }]
bond = ["earth-bar"]

[[plan]]
id = "walls-floating"
extends = "walls-bonded"
bond = []

[[plan]]
id = "walls-and-floor-strip"
extends = "walls-bonded"
strips = [{ on = "bedroom/floor", with = "coating", along = "sockets", width = "25 cm" }]

[[plan]]
id = "closed-bonded"
extends = "walls-bonded"
treat = [{ on = "bedroom/floor", with = "coating" }, { on = "bedroom/ceiling", with = "coating" }]

[[plan]]
id = "closed-floating"
extends = "closed-bonded"
bond = []

[[plan]]
id = "strips"
strips = [
  { on = "bedroom/walls", with = "coating", along = "sockets", width = "25 cm" },
  { on = "bedroom/floor", with = "coating", along = "sockets", width = "25 cm" },
  { on = "bedroom/*", with = "coating", along = "lights", width = "25 cm" },
]

[[plan]]
id = "sockets-off"
off = ["sockets"]
"""


def made(
    *changes: tuple[str, str],
    lamp: bool = False,
    upper: bool = False,
    plans: str = PLANS,
    without: tuple[str, ...] = (),
) -> str:
    """The room's file with some texts put in place of others, and without some runs."""
    text = ROOM + (LAMP if lamp else "") + BONDS + plans
    for name in without:
        start = text.index(f'[[cable]]\nid = "{name}"')
        text = text[:start] + text[text.index("[[", start + 2) :]
    if upper:
        text = text.replace('floor = "0 m"', 'floor = "3 m"')
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def job_of(text: str) -> Job:
    return load_text(text, path="room.toml")


@pytest.fixture(name="made", scope="session")
def made_fixture():
    return made


@pytest.fixture(name="job_of", scope="session")
def job_of_fixture():
    return job_of
