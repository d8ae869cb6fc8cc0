"""What pages are told when something is asked of the desk, without a browser."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest

import viewer.app.controller as module
from envelope.rays import Sampling
from viewer.app import display
from viewer.app.controller import Desk
from viewer.app.describing import layers_said, treatment_said
from viewer.app.session import Session

JOB = """# A booth of our own invention.
format = 1
name = "Booth"

[construction]
exterior-wall = "wall"
floor = "wall"
roof = "wall"
window = "pane"

[[assembly]]
id = "wall"
layers = [
    { material = "plasterboard", thickness = "12.5 mm" },
    { material = "brick", thickness = "115 mm" },
]

[[assembly]]
id = "pane"
loss = { "900 MHz" = "1 dB", "3.5 GHz" = "3 dB" }

[[storey]]
id = "only"
floor = "0 m"

[[space]]
id = "booth"
storey = "only"
size = "2 m x 1.6 m"
height = "2.1 m"

[[opening]]
id = "W1"
on = "booth/south"
kind = "window"
at = "0.5 m"
sill = "0.9 m"
size = "1 m x 1 m"

[[treatment]]
id = "coat"
kind = "sheet"
sheet-resistance = "5 ohm/sq"
coats = 2
price = "21 EUR/m2"

[[treatment]]
id = "film"
kind = "fixed"
loss = "22 dB"

[[source]]
id = "mast"
azimuth = "180 deg"
elevation = "8 deg"
band = "1.8-1.9 GHz"
level = "500 uW/m2"

[[source]]
id = "cell"
azimuth = "90 deg"
elevation = "8 deg"
band = "3.4-3.6 GHz"
level = "90 uW/m2"

[[receiver]]
id = "pillow"
space = "booth"
at = "1, 0.8, 0.6 m"

[[plan]]
id = "some"

[[plan]]
id = "more"
extends = "some"
"""
Told = list[dict[str, Any]]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    job = tmp_path / "booth.toml"
    job.write_text(JOB, encoding="utf-8")
    return job


@pytest.fixture(autouse=True)
def _soon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GAPCAST_CACHE", "")  # what is cast takes its time
    monkeypatch.setattr(display, "QUIET_S", 0.01)
    monkeypatch.setattr(module, "LOOK_S", 0.02)


def with_desk(
    path: Path, script: Callable[[Desk, Any, Told], Awaitable[None]], *, ready: bool = True
) -> Told:
    """Run a script on a desk with one page; answers all that the page was told."""
    told: Told = []

    async def run() -> None:
        desk = Desk(session=Session(path, sampling=Sampling(points_per_panel=2**6, points=2**9)))
        try:
            page = await desk.join(told.append)
            await desk.act(page, {"do": "look", "plans": ["some"], "receiver": "pillow"})
            if ready:
                await until(told, lambda what: complete(what, "more"))
            await script(desk, page, told)
        finally:
            await desk.close()

    asyncio.run(run())
    return told


def complete(what: dict[str, Any], plan: str) -> bool:
    """Whether this tells a plan with the band of its level."""
    column = what.get("columns", {}).get(plan)
    receivers = column["plan"]["receivers"] if column else [None]
    return all(each is not None and each["low_w_m2"] is not None for each in receivers)


def test_a_job_is_worked_out_before_a_page_shows_it(path: Path) -> None:
    async def script() -> None:
        desk = Desk(session=Session(path, sampling=Sampling(points_per_panel=2**6, points=2**9)))
        try:
            await desk.begin()
            while desk.session.findings is None:
                await asyncio.sleep(0.02)
            told: Told = []
            await desk.join(told.append)
            await until(told, numbered)
            await until(told, lambda what: complete(what, "more"))  # and ranges once it is there
            async with desk._doing:  # what comes meanwhile is told how things stood
                others: Told = []
                joined = asyncio.create_task(desk.join(others.append))
                await asyncio.sleep(0.02)
                assert others[0]["tell"] == "job"
            await joined
        finally:
            await desk.close()

    asyncio.run(script())


def numbered(what: dict[str, Any]) -> bool:
    """Whether this tells the whole job with numbers."""
    return what["tell"] == "job" and what["scene"]["plans"][1]["receivers"] != [None]


async def until(told: Told, wanted: Callable[[dict[str, Any]], bool], *, after: int = 0) -> Any:
    for _ in range(1500):
        for what in told[after:]:
            if wanted(what):
                return what
        await asyncio.sleep(0.02)
    raise AssertionError("it was never told")


def window(what: dict[str, Any], plan: str) -> dict[str, Any]:
    """State of the window in a column, wherever it stands in the list."""
    states = what["columns"][plan]["panels"].values()
    return next(s for s in states if any(e and "W1" in e["label"] for e in s["leaks"]))


def test_a_page_gets_the_shapes_first_and_the_numbers_when_they_are_cast(path: Path) -> None:
    async def script(desk: Desk, page: Any, told: Told) -> None:
        return

    told = with_desk(path, script)
    jobs = [what for what in told if what["tell"] == "job"]
    assert [each["id"] for each in jobs[0]["scene"]["plans"]] == ["as-built", "some", "more"]
    assert jobs[0]["scene"]["plans"][1]["receivers"] == [None]
    numbers = jobs[-1]["scene"]["plans"][1]["receivers"][0]
    assert [source["id"] for source in numbers["sources"]] == ["mast", "cell"]
    losses = jobs[-1]["losses"]["some"]["pillow"]["booth/W1"]
    assert len(losses) == 2
    assert 1.0 < losses[0] < losses[1] < 4.0
    # the pane has its data up to 3.5 GHz, and one source sends above
    assert jobs[0]["beyond"] == []
    assert any("assembly pane" in each for each in jobs[-1]["beyond"])
    assert jobs[-1]["places"] == {"pillow": pytest.approx((1.0, 0.8, 0.6))}
    assert any(what["tell"] == "progress" for what in told)


def test_numbers_come_before_the_text_and_other_plans_follow(path: Path) -> None:
    async def script(desk: Desk, page: Any, told: Told) -> None:
        start = len(told)
        await desk.act(
            page,
            {"do": "treat", "plan": "some", "panels": ["booth/W1"], "treatments": ["film"]},
        )
        kinds = [(what["tell"], sorted(what.get("columns", {}))) for what in told[start:]]
        assert kinds[0] == ("columns", ["some"])
        assert window(told[start], "some")["treatments"] == ["film"]
        assert kinds[1] == ("columns", ["more", "some"])  # "more" stands on "some"
        assert kinds[2][0] == "status"
        assert told[start + 2]["undo"] == "film on booth/W1"
        assert not told[start + 2]["saved"]
        await until(told, lambda what: complete(what, "some"), after=start)
        await until(told, lambda what: complete(what, "more"), after=start)

    with_desk(path, script)


def test_an_edit_that_cannot_be_is_said_where_it_was_typed_and_nothing_stays_of_it(
    path: Path,
) -> None:
    async def script(desk: Desk, page: Any, told: Told) -> None:
        for asked, at, field in (
            (treat("as-built", "booth/W1", "film"), None, None),
            (treat("some", "booth/W1", "velvet"), None, None),
            (treat("some", "attic/1", "film"), None, None),
            (treat("none", "booth/W1", "film"), None, None),
            ({"do": "new-plan", "beside": "none"}, "plan", None),
            ({"do": "new-plan", "beside": "some", "id": "more"}, "plan", None),
            ({"do": "move", "receiver": "pillow", "at": [1, 2]}, None, None),
            ({"do": "move", "receiver": "pillow", "at": ["1", "2", "3"]}, "place", 0),
            ({"do": "move", "receiver": "pillow", "at": ["1 m", "2 fo", "3"]}, "place", 1),
            ({"do": "move", "receiver": "pillow", "at": [9.0, 1.0, 1.0]}, "place", None),
            ({"do": "move", "receiver": "pillow", "at": [float("nan"), 1.0, 1.0]}, None, None),
            ({"do": "move", "receiver": "sofa", "at": [1.0, 1.0, 1.0]}, "place", None),
        ):
            start = len(told)
            await desk.act(page, asked)
            said = [what for what in told[start:] if what["tell"] in ("say", "trouble")]
            assert len(said) == 1, asked
            if at is None:
                assert (said[0]["tell"], said[0]["tone"]) == ("say", "bad"), asked
            else:
                assert (said[0]["at"], said[0]["field"]) == (at, field), asked
            assert desk.session.text == JOB
            assert desk.session.undoes is None

    with_desk(path, script)


def treat(plan: str, panel: str, treatment: str) -> dict[str, object]:
    return {"do": "treat", "plan": plan, "panels": [panel], "treatments": [treatment]}


def test_what_is_no_question_changes_nothing(path: Path) -> None:
    async def script(desk: Desk, page: Any, told: Told) -> None:
        for asked in (None, {}, {"do": None}, {"do": "__init__"}, {"do": "sky", "receiver": 4}):
            start = len(told)
            await desk.act(page, asked)
            said = [what for what in told[start:] if what["tell"] == "say"]
            assert ["does not fit" in what["text"] for what in said] == [True]
        assert desk.session.text == JOB

    with_desk(path, script)


def test_pages_are_told_of_each_others_edits(path: Path) -> None:
    async def script(desk: Desk, page: Any, told: Told) -> None:
        other: Told = []
        second = await desk.join(other.append)
        assert other[0]["tell"] == "job"
        await desk.act(page, {"do": "new-plan", "beside": "some"})
        columns = next(what for what in other if what["tell"] == "columns")
        assert columns["plans"] == ["as-built", "some", "more", "some-2"]
        assert {"tell": "plan", "id": "some-2"} in told
        assert {"tell": "plan", "id": "some-2"} not in other
        await desk.act(second, {"do": "undo"})
        last = [what for what in told if what["tell"] == "columns"][-1]
        assert last["plans"] == ["as-built", "some", "more"]
        desk.leave(second)
        count = len(other)
        await desk.act(page, {"do": "redo"})
        assert len(other) == count

    with_desk(path, script)


def test_a_moved_receiver_is_cast_and_undo_brings_the_old_numbers_at_once(path: Path) -> None:
    async def script(desk: Desk, page: Any, told: Told) -> None:
        def level() -> float:
            job = [what for what in told if what["tell"] == "job"][-1]
            return job["scene"]["plans"][1]["receivers"][0]["level_w_m2"]

        before = level()
        start = len(told)
        await desk.act(page, {"do": "move", "receiver": "pillow", "at": ["1 m", "1 ft", "1.4 m"]})
        await until(
            told,
            lambda what: what["tell"] == "job" and what["scene"]["plans"][1]["receivers"][0],
            after=start,
        )
        assert level() != before
        await desk.act(page, {"do": "undo"})
        assert level() == before

    with_desk(path, script)


def test_casting_can_be_stopped_and_begun_again(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def script(desk: Desk, page: Any, told: Told) -> None:
        await desk.act(page, {"do": "halt"})
        await until(told, lambda what: what["tell"] == "status" and what["stopped"])
        assert desk.session.findings is None
        await desk.act(page, {"do": "cast"})
        await until(told, lambda what: complete(what, "some"))

    real = Session.cast
    calls: list[int] = []

    def late(session: Session, **options: Any) -> None:
        """The first cast begins late, so that there is time to stop it."""
        calls.append(1)
        time.sleep(0.3 if len(calls) == 1 else 0.0)
        real(session, **options)

    monkeypatch.setattr(Session, "cast", late)
    with_desk(path, script, ready=False)


def test_faults_are_told_with_their_lines_and_the_text_can_be_mended(path: Path) -> None:
    path.write_text(JOB.replace('"2 m x 1.6 m"', '"2 x 1.6"'), encoding="utf-8")

    async def script(desk: Desk, page: Any, told: Told) -> None:
        assert told[0]["tell"] == "faulty"
        assert told[0]["text"] == path.read_text(encoding="utf-8")
        (fault,) = told[0]["faults"]
        assert fault["line"] == 29
        assert "without a unit" in fault["text"]
        await desk.act(
            page, {"do": "treat", "plan": "some", "panels": ["booth/W1"], "treatments": ["film"]}
        )
        assert any(what["tell"] == "say" and "faults" in what["text"] for what in told)
        await desk.act(page, {"do": "text", "text": JOB})
        await until(told, lambda what: complete(what, "some"))

    with_desk(path, script, ready=False)


def test_saving_asks_before_it_overwrites_what_changed_on_disk(path: Path) -> None:
    async def script(desk: Desk, page: Any, told: Told) -> None:
        watching = asyncio.create_task(desk.watch())
        await desk.act(
            page, {"do": "treat", "plan": "some", "panels": ["booth/W1"], "treatments": ["film"]}
        )
        path.write_text(JOB + "# someone else\n", encoding="utf-8")
        await until(told, lambda what: what.get("disk") == "changed")
        await desk.act(page, {"do": "save"})
        assert len([what for what in told if what["tell"] == "overwrite"]) == 1
        await desk.act(page, {"do": "save", "overwrite": True})
        assert path.read_text(encoding="utf-8") == desk.session.text
        path.unlink()
        await until(told, lambda what: what.get("disk") == "gone")
        watching.cancel()

    with_desk(path, script)


def test_the_sky_has_a_grid_for_every_plan(path: Path) -> None:
    async def script(desk: Desk, page: Any, told: Told) -> None:
        await desk.act(page, {"do": "sky", "receiver": "pillow"})
        (what,) = [what for what in told if what["tell"] == "sky"]
        assert what["sky"]["receiver"] == "pillow"
        assert len(what["sky"]["losses"]) == 3

    with_desk(path, script)


def test_assemblies_and_treatments_are_said_in_one_line(path: Path) -> None:
    session = Session(path)
    assert session.job is not None
    assert (
        layers_said(session.job.assemblies["wall"], feet=False)
        == "plasterboard 12.5\u00a0mm, brick 115\u00a0mm"
    )
    said = layers_said(session.job.assemblies["pane"], feet=False)
    assert said == "a stated loss: 1 dB at 900\u00a0MHz, 3 dB at 3.5\u00a0GHz"
    said = treatment_said(session.job.treatments["coat"], feet=False)
    assert said == "5 Ω per square, 2 coats, 21 EUR per m2"
    assert treatment_said(session.job.treatments["film"], feet=False) == "22 dB"
    session.close()
