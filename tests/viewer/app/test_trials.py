"""What the lists say of a change is what the change does."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from envelope.pricing.bill import Bill
from envelope.rays import Sampling
from viewer.app import display
from viewer.app.controller import Desk
from viewer.app.describing import bill_told, choice_told, money
from viewer.app.outlook import Choice, toggles, with_stack
from viewer.app.session import Session

JOB = """# A cabin of our own invention.
format = 1
name = "Cabin"

[construction]
exterior-wall = "wall"
floor = "wall"
roof = "wall"
window = "pane"

[[assembly]]
id = "wall"
loss = "9 dB"

[[assembly]]
id = "pane"
loss = "2 dB"

[[storey]]
id = "only"
floor = "0 m"

[[space]]
id = "cabin"
storey = "only"
size = "3 m x 2.5 m"
height = "2.3 m"

[[opening]]
id = "W1"
on = "cabin/south"
kind = "window"
at = "1 m"
sill = "0.9 m"
size = "1 m x 1 m"

[[treatment]]
id = "coat"
kind = "sheet"
sheet-resistance = "5 ohm/sq"
price = "21 EUR/m2"

[[treatment]]
id = "film"
kind = "fixed"
loss = "22 dB"
price = "80 EUR/m2"

[[source]]
id = "mast"
azimuth = "180 deg"
elevation = "8 deg"
band = "1.8-1.9 GHz"
level = "500 uW/m2"

[[receiver]]
id = "pillow"
space = "cabin"
at = "1, 0.8, 0.6 m"

[[plan]]
id = "windows"
treat = [{ on = "cabin/W1", with = "film" }]

[[plan]]
id = "walls"
treat = [{ on = "cabin/walls", with = "coat" }]

[[plan]]
id = "bare"
"""
Told = list[dict[str, Any]]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    job = tmp_path / "cabin.toml"
    job.write_text(JOB, encoding="utf-8")
    return job


@pytest.fixture(autouse=True)
def _soon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(display, "QUIET_S", 60.0)  # nothing else is worked out meanwhile


def with_desk(path: Path, script: Callable[[Desk, Any, Told], Awaitable[None]]) -> None:
    told: Told = []

    async def run() -> None:
        desk = Desk(session=Session(path, sampling=Sampling(points_per_panel=2**6, points=2**9)))
        try:
            page = await desk.join(told.append)
            await desk.act(page, {"do": "look", "plans": ["bare"], "receiver": "pillow"})
            await until(told, lambda what: what["tell"] == "status" and desk.session.findings)
            await script(desk, page, told)
        finally:
            await desk.close()

    asyncio.run(run())


async def until(told: Told, wanted: Callable[[dict[str, Any]], Any], *, after: int = 0) -> Any:
    for _ in range(1500):
        for what in told[after:]:
            if wanted(what):
                return what
        await asyncio.sleep(0.01)
    raise AssertionError("it was never told")


async def asked(desk: Desk, page: Any, told: Told, message: dict[str, Any]) -> Any:
    start = len(told)
    await desk.act(page, message)
    return await until(told, lambda what: what["tell"] == message["do"], after=start)


def level(told: Told, plan: str) -> float:
    for what in reversed(told):
        if what["tell"] == "columns" and plan in what["columns"]:
            return what["columns"][plan]["plan"]["receivers"][0]["level_w_m2"]
    raise AssertionError(plan)


@pytest.mark.parametrize("treatment", ["coat", "film"])
def test_a_click_brings_the_level_that_its_box_said(path: Path, treatment: str) -> None:
    async def script(desk: Desk, page: Any, told: Told) -> None:
        for panels in (["cabin/W1"], ["cabin/1", "cabin/2"]):
            message = {"plan": "bare", "panel": panels[0], "panels": panels, "receiver": "pillow"}
            found = await asked(desk, page, told, {"do": "choices", **message})
            choice = found["choices"][treatment]
            assert choice["treatments"] == [treatment]
            treat = {"do": "treat", "plan": "bare", "panels": panels}
            await desk.act(page, treat | {"treatments": choice["treatments"]})
            assert level(told, "bare") == pytest.approx(choice["level_w_m2"], rel=1e-5)
            # now the same box says what taking it off brings
            again = await asked(desk, page, told, {"do": "choices", **message})
            assert again["choices"][treatment]["treatments"] == []
            assert again["choices"][treatment]["below_now_db"] == pytest.approx(
                -choice["below_now_db"], abs=1e-9
            )
            await desk.act(page, {"do": "undo"})

    with_desk(path, script)


def test_a_trial_of_what_is_not_there_tells_nothing(path: Path) -> None:
    async def script(desk: Desk, page: Any, told: Told) -> None:
        start = len(told)
        for message in (
            {"do": "choices", "plan": "none", "panel": "a", "panels": [], "receiver": "pillow"},
            {"do": "choices", "plan": "bare", "panel": "a", "panels": [], "receiver": "sofa"},
        ):
            await desk.act(page, message)
            await asyncio.sleep(0.05)
        assert "choices" not in {what["tell"] for what in told[start:]}

    with_desk(path, script)


def test_plans_are_told_with_what_they_cost(path: Path) -> None:
    async def script(desk: Desk, page: Any, told: Told) -> None:
        bills = next(what for what in reversed(told) if what["tell"] == "job")["bills"]
        assert bills["windows"] == {"total": "80.00\u00a0EUR", "unpriced": []}  # 1 m² of film
        # walls of 3 m by 2.5 m, 2.3 m high, less the window: 24.3 m²
        assert bills["walls"]["total"] == "510.30\u00a0EUR"

    with_desk(path, script)


def test_a_total_says_that_the_tax_is_in_it(path: Path) -> None:
    path.write_text(path.read_text() + '\n[costs]\ntax = "20 %"\n')

    async def script(desk: Desk, page: Any, told: Told) -> None:
        bills = next(what for what in reversed(told) if what["tell"] == "job")["bills"]
        assert bills["windows"]["total"] == "96.00\u00a0EUR with tax"
        assert "tax" not in bills["as-built"]["total"]

    with_desk(path, script)


def test_a_copy_stands_on_its_own_and_an_extension_follows(path: Path) -> None:
    session = Session(path, sampling=Sampling(points_per_panel=2**5, points=2**8))
    session.new_plan(plan="copied", beside="windows", copy=True)
    session.new_plan(plan="following", beside="windows")
    session.set_treatments(plan="windows", panels=["cabin/W1"], treatments=["coat"])
    assert session.job is not None
    worn = {plan.id: plan.treatments.get("cabin/W1") for plan in session.job.plans}
    assert worn["copied"] == ("film",)
    assert worn["following"] == ("coat",)
    session.new_plan(plan="again", beside="following", copy=True)
    assert session.job.plan("again").treatments == session.job.plan("following").treatments
    session.new_plan(plan="fresh", beside="as-built", copy=True)
    assert not session.job.plan("fresh").treatments
    session.close()


def test_a_click_toggles_one_treatment_and_leaves_the_others_in_their_order() -> None:
    assert toggles(("a", "b"), ["a", "b", "c"]) == [("b",), ("a",), ("a", "b", "c")]


def test_a_price_that_is_missing_is_said() -> None:
    bill = Bill(lines=(), currency=None, tax_share=Decimal(0), unpriced=("film",))
    assert bill_told(bill)["unpriced"] == ["film"]
    now = Choice(treatments=(), level_w_m2=1e-6, reduction_db=10.0)
    told = choice_told(now, now=now, bill=bill, bill_now=bill)
    assert told["more"] is None
    assert told["below_now_db"] == 0.0
    assert money(Decimal("1234.5"), "EUR") == "1\u00a0234.50\u00a0EUR"


def test_with_no_treatment_a_face_is_bare(path: Path) -> None:
    session = Session(path, sampling=Sampling(points_per_panel=2**5, points=2**8))
    assert session.job is not None
    plan = with_stack(session.job.plan("windows"), ["cabin/W1"], ())
    assert plan.treatments == {}
    session.close()
