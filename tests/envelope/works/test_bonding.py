"""Bonds of islands in a room made for it, against closed forms and by symmetry."""

from __future__ import annotations

import pytest

from envelope.cli import main
from envelope.project import load_text
from envelope.works.bonding import bonding_of

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
[[opening]]
id = "B1"
on = "room/east"
kind = "box"
at = "1 m"
sill = "0.3 m"
size = "70 mm x 70 mm"
ring = "5 mm"
[[treatment]]
id = "coating"
kind = "sheet"
sheet-resistance = "6 ohm/sq"
[[treatment]]
id = "film"
kind = "table"
loss = { "1 GHz" = "25 dB", "3 GHz" = "25 dB" }
[[receiver]]
id = "bed"
space = "room"
at = "2, 1.5, 0.6 m"
[[plan]]
id = "walls"
treat = [{ on = "room/walls", with = "coating" }, { on = "room/W1", with = "film" }]
"""


def test_walls_are_bonded_at_the_box_and_the_film_has_nothing_to_bond_to() -> None:
    job = load_text(JOB, path="job.toml")
    walls, film = bonding_of(job, job.plan("walls"))
    assert walls.bond is not None
    assert (walls.bond.id, walls.bond.stated) == ("room/B1", False)
    assert walls.faults == ()
    assert film.island.leaf
    assert film.bond is None
    assert film.unknown == ("film",)
    assert "no bond" in film.faults[0]
    # the pane has no reveal, so that its edge lies in the wall's
    assert film.bridge is not None
    assert (film.bridge.panel, film.bridge.to_panel) == ("room/W1", "room/1")
    assert film.bridge.gap_m == pytest.approx(0.0, abs=1e-3)
    assert walls.bridge is None
    # farther round the walls is more, and finer triangles change little
    assert walls.expected[0].panel in ("room/4", "room/3")
    finer, _ = bonding_of(job, job.plan("walls"), size_m=0.12)
    for one, other in zip(walls.expected, finer.expected, strict=True):
        assert one.resistance_ohm == pytest.approx(other.resistance_ohm, rel=0.02)


def test_twice_the_coats_half_the_resistance() -> None:
    one, _ = bonding_of(*_job_and_plan(JOB))
    two, _ = bonding_of(*_job_and_plan(JOB.replace('"6 ohm/sq"', '"6 ohm/sq"\ncoats = 2')))
    for before, after in zip(one.expected, two.expected, strict=True):
        assert after.resistance_ohm == pytest.approx(before.resistance_ohm / 2.0, rel=1e-9)


def _job_and_plan(text: str):  # type: ignore[no-untyped-def]
    job = load_text(text, path="job.toml")
    return job, job.plan("walls")


def test_the_command_says_what_is_open(tmp_path, capsys) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "job.toml"
    path.write_text(JOB, encoding="utf-8")
    assert main(["bond", str(path)]) == 1
    out = capsys.readouterr().out
    assert "2 separate conductors, one bond each" in out
    assert "Bond at room/B1 on the east wall of room, proposed" in out
    assert "licensed electrician" in out
    assert main(["bond", str(path), "--plan", "as-built"]) == 2


def test_a_bridge_leads_the_shortest_way_to_a_bonded_island() -> None:
    """A strip of floor left bare: the ceiling is bonded, the floor 2.5 m below it is not."""
    text = JOB.replace('ring = "5 mm"', 'ring = "5 mm"').replace(
        'treat = [{ on = "room/walls", with = "coating" }, { on = "room/W1", with = "film" }]',
        'treat = [{ on = "room/east", with = "coating" }, { on = "room/west", with = "coating" }]',
    )
    bonded, west = bonding_of(*_job_and_plan(text))
    if bonded.bond is None:
        bonded, west = west, bonded
    assert bonded.island.panels == ("room/2",)
    assert west.bridge is not None
    assert west.bridge.gap_m == pytest.approx(4.0, abs=1e-3)  # across the room
