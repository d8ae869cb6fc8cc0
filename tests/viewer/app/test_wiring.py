"""The house wiring in the app: faces to click on, edits from a click, old figures told as old."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

import viewer.app.wiring as module
from envelope.rays import Sampling
from viewer.app import protocol
from viewer.app.controller import Desk
from viewer.app.session import Session

JOB = (Path(__file__).parents[3] / "models" / "wiring.toml").read_text("utf-8")
BARE = JOB[: JOB.index("# ---- the wiring")]
FEW = Sampling(points_per_panel=2**6, points=2**8)


@pytest.fixture
def opened(tmp_path, monkeypatch):
    monkeypatch.setattr(module, "QUIET_S", 0.0)

    def open_desk(text):
        path = tmp_path / "job.toml"
        path.write_text(text, encoding="utf-8")
        return Desk(session=Session(path, sampling=FEW))

    return open_desk


def run(desk, work):
    """Join a page and do some work with it; what it was told."""
    told = []

    async def all_of_it():
        desk.session.cast()
        page = await desk.join(told.append)
        try:
            await work(page, told)
        finally:
            await desk.close()

    asyncio.run(all_of_it())
    return told


async def until(told, wanted, at=0):
    for _ in range(2000):
        found = [each for each in told[at:] if wanted(each)]
        if found:
            return found[-1]
        await asyncio.sleep(0.01)
    raise AssertionError([each["tell"] for each in told])


def is_field(state):
    return lambda each: each["tell"] == "field" and each["state"] == state


def test_figures_come_beside_the_level_and_are_old_while_they_are_worked_out(opened):
    desk = opened(JOB)

    async def work(page, told):
        first = await until(told, is_field("new"))
        said = first["sentences"]["walls-bonded"]["pillow"]
        assert "V/m at 50\N{NO-BREAK SPACE}Hz from the wiring" in said
        assert "times today's" in said
        assert first["wiring"]["fields"][0][0].endswith("V/m")
        assert first["wiring"]["cables"][0]["plans"][0][0]["colour"].startswith("#")
        at, system = len(told), desk._wiring._system
        row = {"table": "plan", "row": 0, "id": "walls-bonded"}
        await desk.act(page, {"do": "set-keys", **row, "typed": {"off": "sockets"}})
        old = await until(told, is_field("old"), at)
        assert old["sentences"]["walls-bonded"]["pillow"] == said
        assert old["wiring"] is None  # the picture keeps its colours until there are new ones
        new = await until(told, is_field("new"), at)
        assert new["sentences"]["walls-bonded"]["pillow"] != said
        assert new["sentences"]["as-built"] == first["sentences"]["as-built"]
        assert desk._wiring._system.matrix is system.matrix  # nothing has moved

    run(desk, work)


def test_a_wiring_is_entered_click_by_click(opened):
    desk = opened(BARE + '[[plan]]\nid = "none"\n')

    async def work(page, told):
        await desk.act(page, {"do": "wiring", "on": True, "space": "bedroom", "plan": "none"})
        shown = await until(told, lambda each: each["tell"] == "wiring")
        south = next(each for each in shown["faces"] if each["panel"] == "bedroom/1")
        xs, ys = south["outline"][::2], south["outline"][1::2]
        assert set(zip(xs, ys, strict=True)) == {(0, 0), (4.2, 0), (4.2, 2.45), (0, 2.45)}
        assert shown["conductive"] == ["coating"]
        assert "licensed electrician" in shown["cautions"]["bond"]
        assert "bond each island" in shown["cautions"]["strip"]
        supply = {"voltage": "120 V", "frequency": "60 Hz"}
        for number, phase in ((1, "0 deg"), (2, "180 deg")):
            typed = {"id": f"leg-{number}", **supply, "phase": phase}
            await desk.act(page, {"do": "add-row", "table": "supply", "typed": typed})
        circuit = {"id": "sockets", "cable": "unknown", "route": "low"}
        await desk.act(page, {"do": "add-row", "table": "circuit", "typed": circuit})
        for at in ("0.5 m", "3 m"):
            where = {"on": "bedroom/1", "from": "left", "at": at, "height": "0.3 m"}
            typed = {"circuit": "sockets", "kind": "socket", **where}
            await desk.act(page, {"do": "add-row", "table": "outlet", "typed": typed})
        bond = {"on": "bedroom/1", "from": "left", "at": "2 m", "height": "0.3 m"}
        await desk.act(page, {"do": "add-row", "table": "bond", "typed": bond})
        shown = [each for each in told if each["tell"] == "wiring"][-1]
        south = next(each for each in shown["faces"] if each["panel"] == "bedroom/1")
        marks = {mark["id"]: mark for mark in south["marks"]}
        assert [mark["at"] for mark in marks.values()] == [[0.5, 0.3], [2.0, 0.3], [3.0, 0.3]]
        (line,) = south["behind"]
        assert line["likely"]
        assert sorted(line["ends"]) == [0.3, 0.3, 0.5, 3.0]
        first = next(iter(marks.values()))
        # seen from inside the south wall's left end is the eastern one
        assert first["lamp"] == "3.7, 0.3, 0.5 m"
        typed = {"outlet": first["id"], "at": first["lamp"], "wiring": "unknown"}
        await desk.act(page, {"do": "add-row", "table": "device", "typed": typed})
        found = await until(told, is_field("new"))
        said = found["sentences"]["as-built"]["pillow"].replace("\N{NO-BREAK SPACE}", " ")
        assert " to " in said  # of phase, cable and plug nothing is known
        strip = {"on": "bedroom/walls", "with": "coating", "along": "sockets", "width": "25 cm"}
        row = {"table": "plan", "row": 0, "id": "none"}
        await desk.act(page, {"do": "set-keys", **row, "typed": {}, "parts": {"strips": [strip]}})
        shown = [each for each in told if each["tell"] == "wiring"][-1]
        south = next(each for each in shown["faces"] if each["panel"] == "bedroom/1")
        assert len(south["strips"]) == 1
        assert not [each for each in told if each["tell"] == "fields"]

    run(desk, work)


def test_a_click_that_cannot_be_is_told_at_its_field(opened):
    desk = opened(JOB)

    async def work(page, told):
        where = {"on": "bedroom/3", "from": "left", "at": "2 m", "height": "1.5 m"}
        typed = {"circuit": "sockets", "kind": "socket", **where}
        await desk.act(page, {"do": "add-row", "table": "outlet", "typed": typed})
        trouble = await until(told, lambda each: each["tell"] == "fields")
        assert 'lies in window "bedroom/W1"' in trouble["troubles"][0]["message"]

    run(desk, work)


def test_a_job_without_runs_is_told_nothing_or_that_there_is_none(opened):
    desk = opened(BARE + '[[plan]]\nid = "none"\n')

    async def work(page, told):
        await desk.act(page, {"do": "look", "plans": [], "receiver": None})
        assert not [each for each in told if each["tell"] == "field"]

    run(desk, work)


def test_the_menu_makes_its_field_where_there_is_wiring(opened):
    """By the program's own command, of the text as it stands."""
    ids = {}
    for name, text in (("bare", BARE), ("wired", JOB)):
        desk = opened(text)
        ids[name] = {each["id"] for each in desk.outbox.menu([])["outputs"]}
        if name == "wired":
            asked = protocol.MakeOutput(
                output="field", plan="walls-bonded", receiver="pillow", name=""
            )
            told = asyncio.run(desk.outbox.make(asked))
            assert told["trouble"] is None
            assert "never to neutral, pipes or a separate rod" in " ".join(told["text"].split())
        desk.session.close()
    assert ids["wired"] - ids["bare"] == {"cables", "field", "field-map"}
