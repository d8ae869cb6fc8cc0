"""What leaves the app: made by the program's own commands of the text as it stands."""

from __future__ import annotations

import asyncio
import csv
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from envelope.project import load
from envelope.rays import Sampling
from viewer.app import outputs
from viewer.app.outputs import OUTPUTS, Outbox, OutputError
from viewer.app.protocol import MakeOutput, SaveCopy
from viewer.app.recent import MOST, other_jobs, recent, remember, store
from viewer.app.session import Session

JOB = (Path(__file__).parent.parent.parent / "browser" / "data" / "hut.toml").read_text("utf-8")


@pytest.fixture
def outbox(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Outbox]:
    monkeypatch.setenv("GAPCAST_STATE", str(tmp_path / "state"))
    path = tmp_path / "hut.toml"
    path.write_text(JOB, encoding="utf-8")
    session = Session(path, sampling=Sampling(points_per_panel=2**5, points=2**8))
    yield Outbox(session=session)
    session.close()


def make(outbox: Outbox, output: str, name: str = "", plan: str = "walls") -> dict[str, object]:
    asked = MakeOutput(output=output, plan=plan, receiver="pillow", name=name)
    return dict(asyncio.run(outbox.make(asked)))


def test_a_list_is_made_of_the_text_as_it_stands_and_leaves_no_draft(outbox: Outbox) -> None:
    outbox.session.set_treatments(plan="walls", panels=["hut/ceiling"], treatments=["film"])
    assert not outbox.session.is_saved
    told = make(outbox, "orders-csv", "hut-order.csv")
    assert told["trouble"] is None
    path = outbox.session.path.with_name("hut-order.csv")
    assert outbox.made == [path]
    assert told["address"] == "/made/0"
    rows = list(csv.reader(path.read_text(encoding="utf-8").splitlines()))
    assert any("film" in row for row in rows)  # which the file on disk does not have yet
    left = {each.name for each in path.parent.iterdir()} - {"state"}
    assert {each for each in left if "draft" in each} == set()
    assert outbox.session.path.read_text(encoding="utf-8") == JOB


def test_a_text_is_shown_without_a_file(outbox: Outbox) -> None:
    told = make(outbox, "orders")
    assert "coat" in str(told["text"])
    assert (told["file"], outbox.made) == (None, [])


def test_what_cannot_be_made_is_said_with_the_name_of_the_job(outbox: Outbox) -> None:
    told = make(outbox, "orders", plan="as-built")
    assert "treats nothing" in str(told["trouble"])
    assert "draft" not in str(told["trouble"])
    assert "no output" in str(make(outbox, "../../bin/sh")["trouble"])


@pytest.mark.parametrize(
    "name",
    [
        "../out.csv",
        "/elsewhere/out.csv",
        "sub/out.csv",
        ".hidden.csv",
        "out.toml",
        "",
        " ",
        "a\\b.csv",
        "a\nb.csv",
        "x" * 300 + ".csv",
        "..",
    ],
)
def test_no_file_goes_outside_the_folders_of_the_menu(outbox: Outbox, name: str) -> None:
    before = sorted(outbox.session.path.parent.rglob("*"))
    with pytest.raises(OutputError):
        outbox.place(name, folder="job", ending=".csv")
    if name.strip():
        assert make(outbox, "orders-csv", name)["trouble"] is not None
    assert sorted(outbox.session.path.parent.rglob("*")) == before


def test_a_file_that_is_there_is_written_over_only_when_that_is_said(outbox: Outbox) -> None:
    path = outbox.session.path.with_name("hut-order.csv")
    path.write_text("mine", encoding="utf-8")
    told = make(outbox, "orders-csv", path.name)
    assert told["exists"] is True
    assert path.read_text(encoding="utf-8") == "mine"
    asked = MakeOutput(
        output="orders-csv", plan="walls", receiver=None, name=path.name, overwrite=True
    )
    assert asyncio.run(outbox.make(asked))["file"] == str(path)
    assert "coat" in path.read_text(encoding="utf-8")


def test_a_copy_holds_what_stands_here_and_never_writes_over_a_file(outbox: Outbox) -> None:
    outbox.session.set_treatments(plan="walls", panels=["hut/W1"], treatments=["film"])
    path = outbox.save_copy(SaveCopy(name="hut-copy.toml"))
    assert load(path).plan("walls").treatments["hut/W1"] == ("film",)
    assert not outbox.session.is_saved
    with pytest.raises(OutputError, match="there already"):
        outbox.save_copy(SaveCopy(name="hut-copy.toml"))
    with pytest.raises(OutputError, match="there already"):
        outbox.save_copy(SaveCopy(name="hut.toml"))


def test_a_copy_may_go_to_the_home_folder(
    outbox: Outbox, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = tmp_path / "home"
    home.mkdir()
    monkeypatch.setattr(outputs.Path, "home", lambda: home)
    assert outbox.save_copy(SaveCopy(name="kept.toml", folder="home")) == home / "kept.toml"
    assert (home / "kept.toml").read_text(encoding="utf-8") == JOB


def test_the_menu_offers_only_commands_that_there_are(
    outbox: Outbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    every = {each["id"] for each in outbox.menu([])["outputs"]}
    assert {"handout", "offer", "orders", "workorder", "bonding", "cutaway", "glb"} <= every
    monkeypatch.setattr(outputs, "COMMANDS", {"handout": ""})
    assert [each["id"] for each in outbox.menu([])["outputs"]] == ["handout"]
    assert len({each.id for each in OUTPUTS}) == len(OUTPUTS)


def test_jobs_that_were_open_lately_are_remembered(outbox: Outbox, tmp_path: Path) -> None:
    others = [tmp_path / f"job-{k}.toml" for k in range(MOST + 3)]
    for each in others:
        each.write_text("", encoding="utf-8")
        remember(each)
    assert recent() == others[::-1][:MOST]
    others[-1].unlink()
    assert others[-1] not in recent()
    listed = other_jobs(others[-2], tmp_path)
    assert listed[0]["path"] == str(others[-3])
    assert listed[0]["recent"]
    assert str(others[-2]) not in {each["path"] for each in listed}
    assert str(outbox.session.path) in {each["path"] for each in listed}
    store().write_text(json.dumps({"jobs": [3, "relative.toml", str(others[0])]}))
    assert recent() == [others[0]]
    store().write_text("no json")
    assert recent() == []
