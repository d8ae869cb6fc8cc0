"""Steps cost what the take-off of their plan costs: cut from rolls, per bond, per box."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest

from envelope.building.job import AS_BUILT, Job
from envelope.exposure.casts import Casts
from envelope.plans.candidates import candidates_of
from envelope.plans.decide import decide
from envelope.works.takeoff import take_off

Maker = Callable[..., Job]

PAINT = (
    '[[treatment]]\nid = "coating"\nkind = "fixed"\nloss = "20 dB"\nprice = "30 EUR/m2"\n',
    """
[[treatment]]
id = "coating"
kind = "sheet"
sheet-resistance = "4 ohm/sq"

[[product]]
id = "paint"
for = "coating"
form = "liquid"
spread-rate = "6 m2/l"
packs = [{ holds = "5 l", price = "210 EUR" }, { holds = "1 l", price = "49 EUR" }]

[[product]]
id = "clamp"
title = "bonding plate"
for = "coating"
form = "piece"
per = "bond"
packs = [{ holds = "1 piece", price = "38 EUR" }]
""",
)


@pytest.fixture(scope="module")
def job(small_job: Maker) -> Job:
    return small_job("[]", PAINT)


def test_bonds_are_in_the_cost_of_steps_to_the_cent(job: Job, small_casts: Casts) -> None:
    found = decide(job, casts=small_casts)
    counts = []
    for step in found.steps:
        bill = take_off(job, step.plan).bill
        assert step.total_cents == int(bill.net * 100)
        counts.append(
            sum(line.quantity for line in bill.lines if line.product == "clamp" and line.amount)
        )
    assert counts[-1] >= 1.0
    # the search counts one bond in the room as soon as something is coated there
    walls = [unit for unit in candidates_of(job, base=job.plan(AS_BUILT)).units if unit.group]
    assert len(walls) == 4
    purchases = found.candidates.purchases
    one = [int(unit.id == "bedroom/1") for unit in found.candidates.units]
    litres = take_off(job, found.steps[-1].plan).bill
    assert litres.net > 0
    alone = int(purchases.cents([one])[0])  # type: ignore[arg-type]
    assert alone == 49_00 * 2 + 38_00  # 7.2 m² of 6 m² a litre, and spare: two litres, one plate


@pytest.mark.parametrize("budget", [150_00, 180_00, 260_00, 330_00])
def test_a_budget_holds_for_what_the_take_off_says(
    job: Job, small_casts: Casts, budget: int
) -> None:
    found = decide(job, casts=small_casts, budget_cents=budget)
    for step in found.steps:
        assert step.total_cents <= budget
        assert take_off(job, step.plan).bill.net <= Decimal(budget) / 100
