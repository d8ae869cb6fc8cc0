"""Islands of conductive treatment in the sample house and in a room made for it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from envelope.building.islands import (
    bonds_of,
    common_edge_m,
    direct_current_sheet_resistance_ohm_sq,
    floating,
    islands_of,
    unbonded_plans,
)
from envelope.project import load, load_text

JOB = """
format = 1
name = "Test room"
[construction]
exterior-wall = "timber-wall"
slab = "ground-slab"
roof = "ceiling-and-tiled-roof"
window = "double-glazing"
[[storey]]
id = "ground"
floor = "0 m"
[[space]]
id = "room"
storey = "ground"
size = "4 m x 3 m"
height = "2.5 m"
[[opening]]
id = "W1"
on = "room/south"
kind = "window"
at = "1 m"
sill = "1 m"
size = "1 m x 1 m"
reveal = "10 cm"
[[treatment]]
id = "coating"
kind = "sheet"
sheet-resistance = "6 ohm/sq"
coats = 2
[[treatment]]
id = "mesh"
kind = "mesh"
wire = "0.25 mm"
pitch = "1.3 mm"
metal = "copper"
[[treatment]]
id = "board"
kind = "layers"
layers = [{ material = "plasterboard", thickness = "12.5 mm" }]
[[receiver]]
id = "bed"
space = "room"
at = "2, 1.5, 0.6 m"
[[plan]]
id = "opposite"
treat = [{ on = "room/south", with = "coating" }, { on = "room/north", with = "coating" }]
[[plan]]
id = "round"
treat = [{ on = "room/walls", with = "coating" }, { on = "room/reveals", with = "coating" },
         { on = "room/W1", with = "coating" }]
[[plan]]
id = "floor-too"
extends = "round"
treat = [{ on = "room/floor", with = "mesh" }, { on = "room/ceiling", with = "board" }]
"""


@pytest.fixture(scope="module")
def job():  # type: ignore[no-untyped-def]
    return load_text(JOB, path="job.toml")


def test_walls_that_do_not_meet_are_two_islands(job) -> None:  # type: ignore[no-untyped-def]
    found = islands_of(job, job.plan("opposite"))
    assert [island.panels for island in found] == [("room/3",), ("room/1",)]
    assert [island.area_m2 for island in found] == pytest.approx([10.0, 9.0])


def test_walls_and_reveals_are_one_island_and_the_pane_another(job) -> None:  # type: ignore[no-untyped-def]
    round_, pane = islands_of(job, job.plan("round"))
    # 14 m round, 2.5 m high, less 1 m² of window, and 4 × 1 m × 0.1 m of reveals
    assert round_.area_m2 == pytest.approx(35.0 - 1.0 + 0.4)
    assert len(round_.panels) == 8
    assert pane.panels == ("room/W1",)
    assert pane.leaf
    assert not any(contact.lap for contact in round_.contacts)


def test_another_conductive_treatment_joins_over_a_lap_and_a_board_does_not(job) -> None:  # type: ignore[no-untyped-def]
    whole, pane = islands_of(job, job.plan("floor-too"))
    assert "room/floor" in whole.panels
    assert "room/ceiling" not in whole.panels
    laps = [contact for contact in whole.contacts if contact.lap]
    assert sum(contact.length_m for contact in laps) == pytest.approx(14.0)
    assert whole.treatments == ("coating", "mesh")
    assert pane.leaf


def test_no_treatment_no_island(job) -> None:  # type: ignore[no-untyped-def]
    assert islands_of(job, job.plan("as-built")) == ()


def test_resistance_to_direct_current(job) -> None:  # type: ignore[no-untyped-def]
    assert direct_current_sheet_resistance_ohm_sq(job.treatments["coating"]) == 3.0
    # copper 5.8e7 S/m: 1.3e-3 / (5.8e7 × π (0.25e-3)²/4) = 0.457 mΩ/sq
    assert direct_current_sheet_resistance_ohm_sq(job.treatments["mesh"]) == pytest.approx(
        4.57e-4, rel=0.03
    )
    assert direct_current_sheet_resistance_ohm_sq(job.treatments["board"]) is None


def test_edges_on_one_another() -> None:
    one = np.array([(0, 0, 0), (2, 0, 0), (2, 0, 2), (0, 0, 2)], dtype=float)
    other = np.array([(2, 0, 0.5), (2, 3, 0.5), (2, 3, 4), (2, 0, 4)], dtype=float)
    assert common_edge_m([one], [other]) == pytest.approx(1.5)
    assert common_edge_m([other], [one]) == pytest.approx(1.5)
    apart = other + np.array([0.001, 0.0, 0.0])
    assert common_edge_m([one], [apart]) == 0.0


def test_islands_of_the_sample_house_cover_every_conductive_panel_once() -> None:
    job = load(Path(__file__).parents[3] / "models" / "house.toml")
    for plan in job.plans:
        found = islands_of(job, plan)
        names = [name for island in found for name in island.panels]
        assert len(names) == len(set(names))
        assert set(names) == {
            panel
            for panel, treatments in plan.treatments.items()
            if any(job.treatments[name].kind in ("sheet", "mesh", "table") for name in treatments)
        }


RUN = """
[supply]
voltage = "230 V"
frequency = "50 Hz"
[[circuit]]
id = "sockets"
cable = "round"
[[cable]]
circuit = "sockets"
on = "room/floor"
path = "1, 0  1, 3 m"
[[cable]]
circuit = "sockets"
on = "room/east"
path = "0.5, 0.3  2.5, 0.3 m"
[[bond]]
id = "b"
on = "room/south"
at = "1 m"
[[plan]]
id = "strips"
treat = [{ on = "room/south", with = "coating" }]
strips = [{ on = "room/*", with = "coating", along = "sockets", width = "25 cm" }]
"""


def test_a_strip_is_one_with_the_wall_that_it_meets_and_else_floats() -> None:
    job = load_text(JOB + RUN, path="room.toml")
    plan = job.plan("strips")
    south, east = islands_of(job, plan)
    assert south.panels == ("room/1", "room/floor")
    (contact,) = south.contacts
    assert contact.length_m == pytest.approx(0.25)
    assert south.area_m2 == pytest.approx(4.0 * 2.5 - 1.0 + 0.25 * 3.0)
    assert east.panels == ("room/2",)
    # from half a width before the run to half a width behind it
    assert east.area_m2 == pytest.approx(0.25 * 2.25)
    assert [[bond.id for bond in bonds] for bonds in bonds_of(job, plan, (south, east))] == [
        ["b"],
        [],
    ]
    assert [island.name for island in floating(job, plan)] == ["room/2"]
    assert unbonded_plans(job)["strips"] == ("coating",)
