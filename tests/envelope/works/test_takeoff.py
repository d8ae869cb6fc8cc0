"""Quantities of an L-shaped room under a gable, worked by hand, and of the sample house."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from envelope.building.job import Job
from envelope.errors import RangeError
from envelope.project import load, load_text
from envelope.works.takeoff import cost_of, face_quantities, take_off, treated_areas

GABLE = """
format = 1
name = "L under a gable"
[construction]
exterior-wall = "timber-wall"
slab = "ground-slab"
roof = "ceiling-and-tiled-roof"
window = "double-glazing"
[[storey]]
id = "ground"
floor = "0 ft"
[[space]]
id = "room"
storey = "ground"
walk = "E 20 ft; N 10 ft; W 10 ft; N 6 ft; W 10 ft; S"
height = "8 ft"
ceiling = { shape = "gable", along = "x", ridge = "12 ft" }
[[opening]]
id = "W1"
on = "room/1"
kind = "window"
at = "5 ft"
sill = "3 ft"
size = "4 ft x 3 ft"
reveal = "6 in"
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
[[product]]
id = "paint"
for = "coating"
form = "liquid"
spread-rate = "250 ft2/gal"
spare = "10 %"
packs = [{ holds = "1 gal", price = "210 USD" }]
[[product]]
id = "roll"
for = "mesh"
form = "roll"
width = "4 ft"
overlap = "2 in"
turn-up = "3 in"
packs = [{ holds = "100 ft", price = "300 USD" }]
[[receiver]]
id = "bed"
space = "room"
at = "5 ft, 5 ft, 2 ft"
[[plan]]
id = "all"
treat = [{ on = "room/walls", with = "coating" }, { on = "room/reveals", with = "coating" },
         { on = "room/floor", with = "mesh" }]
"""
SQUARE_FOOT = 0.09290304


@pytest.fixture(scope="module")
def gable() -> Job:
    return load_text(GABLE, path="job.toml")


def test_areas_by_hand(gable: Job) -> None:
    """Floor 20 × 10 + 10 × 6 = 260 ft².

    The gable runs along x over a plan 16 ft deep: eaves 8 ft at y = 0 and 16, ridge 12 ft at y = 8,
    so the ceiling stands at 8 + y/2 up to y = 8 and at 12 − (y − 8)/2 beyond.
    Wall 1 (y = 0): 20 × 8 − 4 × 3 = 148. Wall 2 (x = 20, y 0 to 10): 8 × (8 + 12)/2 +
    2 × (12 + 11)/2 = 80 + 23 = 103. Wall 3 (y = 10): 10 × 11 = 110. Wall 4 (x = 10, y 10 to 16):
    6 × (11 + 8)/2 = 57. Wall 5 (y = 16): 10 × 8 = 80. Wall 6 (x = 0, y 0 to 16): 2 × 80 = 160. In
    all 658.
    Reveals: 6 in round 4 × 3: 0.5 × 14 = 7.
    """
    areas: dict[str, float] = {}
    for face in face_quantities(gable, gable.plan("all")):
        key = face.panel.split("/")[1] if face.kind == "wall" else face.kind
        key = key.split("-")[0]
        areas[key] = areas.get(key, 0.0) + face.area_m2 / SQUARE_FOOT
    assert areas == pytest.approx(
        {"1": 148, "2": 103, "3": 110, "4": 57, "5": 80, "6": 160, "reveal": 7, "floor": 260},
        rel=1e-9,
    )
    treated = treated_areas(gable, gable.plan("all"))
    assert treated["coating"].area_m2 / SQUARE_FOOT == pytest.approx(665.0, rel=1e-9)


def test_gallons_by_hand(gable: Job) -> None:
    """665 ft² twice at 250 ft²/gal is 5.32 gal, and a tenth 5.852: six cans, 1260 USD."""
    found = take_off(gable, gable.plan("all"))
    paint = next(line for line in found.bill.lines if line.what == "paint")
    assert paint.quantity / 3.785411784 == pytest.approx(5.852, rel=1e-9)
    assert paint.purchase is not None
    assert paint.purchase.counts == (6,)
    assert paint.amount == Decimal(1260)


def test_strips_by_hand(gable: Job) -> None:
    """A floor 20 × 10 with 10 × 6 beside it, strips of 4 ft that overlap by 2 in: 3 ft 10 in each.

    Along y: (20 − 1/6) / (23/6) = 5.17: six strips; those that begin at 0, 3.83 and 7.67 ft reach
    into the deep part (16 ft), the others are 10 ft; each with 3 in at both ends: 3 × 16.5 +
    3 × 10.5 = 81 ft. Along x: (16 − 1/6) / (23/6) = 4.13: five strips, which begin at 0, 3.83,
    7.67, 11.5 and 15.33 ft: three of 20 and two of 10: 3 × 20.5 + 2 × 10.5 = 82.5 ft. The first
    is less.
    """
    found = take_off(gable, gable.plan("all"))
    (cut,) = found.cuts
    assert cut.strips is not None
    assert cut.strips.direction == "along"
    assert sum(cut.lengths_m) / 0.3048 == pytest.approx(81.0, abs=0.2)  # whole centimetres up
    (roll,) = found.rolls["roll"]
    assert len(roll.lengths_m) == 6


def test_nothing_is_short_in_the_sample_house() -> None:
    job = load(Path(__file__).parents[3] / "models" / "house.toml")
    for plan in job.plans[1:]:
        found = take_off(job, plan)
        for line in found.bill.lines:
            if line.purchase is not None:
                assert float(line.purchase.holds) >= line.quantity - 0.01
        assert found.bill.total == found.bill.net + found.bill.tax
        assert abs(cost_of(job, plan).net - found.bill.net) < found.bill.net


def test_a_price_moves_its_own_lines_and_the_totals_alone(gable: Job) -> None:
    dearer = load_text(GABLE.replace("210 USD", "220 USD"), path="job.toml")
    before = take_off(gable, gable.plan("all")).bill
    after = take_off(dearer, dearer.plan("all")).bill
    moved = [one.what for one, other in zip(before.lines, after.lines, strict=True) if one != other]
    assert moved == ["paint"]
    assert after.net - before.net == 60


def test_a_roll_too_short_is_refused_with_the_products_name() -> None:
    job = load_text(GABLE.replace('holds = "100 ft"', 'holds = "12 ft"'), path="job.toml")
    with pytest.raises(RangeError, match=r"product 'roll': a piece of 5\.0\d m is longer"):
        take_off(job, job.plan("all"))
