"""A model in the app without a browser: what is told of it, and what is written into the file."""

from __future__ import annotations

import asyncio
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from envelope.building.model import Building
from envelope.building.rooms.specs import OpeningSpec
from envelope.errors import EnvelopeError
from envelope.exchange import to_glb, to_obj
from envelope.project import edit_model, load_text
from envelope.project.edit_model import as_pattern, own_words
from envelope.rays import Sampling
from viewer.app import model as app_model
from viewer.app.model import (
    EditError,
    begun,
    listed,
    said_by_model,
    set_assembly,
    set_kind,
    trouble,
)
from viewer.app.protocol import Accept, ImportModel, ListModel, SetAssembly, SetKind
from viewer.app.session import Session
from viewer.app.steps import Steps

WINDOW = OpeningSpec(
    id="W1", on="left/1", kind="window", width_m=1.2, height_m=1.1, along_m=1.0, sill_m=0.9
)


@pytest.fixture
def building(two_rooms: Callable[..., Building]) -> Building:
    return two_rooms(openings=(WINDOW,))


@pytest.fixture
def folder(tmp_path: Path, building: Building) -> Path:
    (tmp_path / "flat.glb").write_bytes(to_glb(building))
    return tmp_path


@pytest.fixture
def session(folder: Path) -> Iterator[Session]:
    path = folder / "flat.toml"
    asked = ImportModel(path="flat.glb", spaces=("left", "right"))
    path.write_text(begun(asked, folder=folder), encoding="utf-8")
    session = Session(path)
    yield session
    session.close()


def element_of(session: Session, panel: str) -> str | None:
    """Assembly of what stands behind a panel."""
    job = session.job
    assert job is not None
    patches = job.building.patches_of[panel]
    found = {job.building.elements[patch.element].assembly for patch in patches}
    assert len(found) == 1
    return found.pop()


def test_a_model_is_listed_with_its_storeys_and_spaces(folder: Path) -> None:
    told = listed(ListModel(path="flat.glb", unit="mm", up="y"), folder=folder)
    assert told["tell"] == "listing"
    assert told["format"] == "glTF"
    assert [space["id"] for space in told["spaces"]] == ["left", "right"]
    assert [space["area_m2"] for space in told["spaces"]] == pytest.approx([12.0, 9.0], rel=1e-5)
    assert [space["trouble"] for space in told["spaces"]] == ["", ""]


def test_a_format_without_a_unit_is_asked_for_one(folder: Path, building: Building) -> None:
    (folder / "flat.obj").write_text(to_obj(building), encoding="utf-8")
    with pytest.raises(EnvelopeError) as told:
        listed(ListModel(path=str(folder / "flat.obj"), unit="", up=""), folder=Path("/"))
    assert "say unit and up" in trouble(told.value)
    told_again = listed(ListModel(path="flat.obj", unit="m", up="z"), folder=folder)
    assert told_again["spaces"][0]["area_m2"] == pytest.approx(12.0, rel=1e-5)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"path": ""}, "no model file is named"),
        ({"path": "  "}, "no model file is named"),
        ({"path": "a\0b.glb"}, "cannot be the name of a file"),
        ({"path": "~nobody-of-that-name/a.glb"}, "home folder"),
        ({"path": "none.glb"}, "there is no such file"),
        ({"path": "."}, "cannot be imported"),
        ({"path": "text.glb"}, "glTF"),
    ],
)
def test_what_is_no_model_is_told_in_one_sentence(
    folder: Path, asked: dict[str, str], said: str
) -> None:
    (folder / "text.glb").write_text("ISO-10303-21;", encoding="utf-8")
    with pytest.raises(EnvelopeError) as told:
        listed(ListModel(**asked), folder=folder)
    message = trouble(told.value)
    assert said in message
    assert "\n" not in message
    assert len(message) < 500


def test_the_job_takes_the_chosen_spaces_only(folder: Path) -> None:
    text = begun(ImportModel(path=str(folder / "flat.glb"), spaces=("left",)), folder=folder)
    said = tomllib.loads(text)
    assert said["model"]["file"] == "flat.glb"
    assert said["model"]["spaces"] == ["left"]
    with pytest.raises(EnvelopeError, match="no space is chosen"):
        begun(ImportModel(path="flat.glb", spaces=()), folder=folder)
    with pytest.raises(EnvelopeError) as told:
        begun(ImportModel(path="flat.glb", spaces=("lefd",)), folder=folder)
    assert "left" in trouble(told.value)


def test_what_the_model_says_of_a_face(session: Session) -> None:
    said = said_by_model(session)
    assert said is not None
    window = said["panels"]["left/W1"]
    assert window["kind"] == "window"
    assert (window["own_kind"], window["own_assembly"], window["rule"]) == (None, None, None)
    assert {"wall", "window", "door"} <= set(said["kinds"])
    assert {"timber-wall", "double-glazing"} <= set(said["assemblies"])
    assert set(said["panels"]) < set(session.job.building.panel_index)  # type: ignore[union-attr]


def test_another_assembly_changes_the_building_and_is_undone(session: Session) -> None:
    before, castings = session.text, session.now.castings
    was = element_of(session, "left/4")
    set_assembly(session, SetAssembly(panels=("left/4",), assembly="solid-brick-wall"))
    assert was != "solid-brick-wall"
    assert element_of(session, "left/4") == "solid-brick-wall"
    assert session.now.castings is not castings
    assert tomllib.loads(session.text)["panel"] == [
        {"on": "left/4", "assembly": "solid-brick-wall"}
    ]
    assert [line for line in before.splitlines() if line not in session.text.splitlines()] == []
    told = said_by_model(session)
    assert told is not None
    assert told["panels"]["left/4"]["own_assembly"] == "solid-brick-wall"
    set_assembly(session, SetAssembly(panels=("left/4",), assembly=None))
    assert session.text == before
    session.undo()
    assert element_of(session, "left/4") == "solid-brick-wall"
    session.undo()
    assert session.text == before
    assert element_of(session, "left/4") == was


def test_another_kind_is_a_rule_that_keeps_the_assembly_of_the_rule_before(
    session: Session,
) -> None:
    ruled = session.text + '\n[[tag]]\nname = "*W1"\nassembly = "hollow-wood-door"\n# the end\n'
    session.set_text(ruled)
    assert element_of(session, "left/W1") == "hollow-wood-door"
    set_kind(session, SetKind(panels=("left/W1",), kind="door"))
    job = session.job
    assert job is not None
    assert job.building.panels[job.building.panel_index["left/W1"]].kind == "door"
    assert element_of(session, "left/W1") == "hollow-wood-door"
    assert session.text.endswith("# the end\n")
    set_kind(session, SetKind(panels=("left/W1",), kind="hatch"))
    assert len(tomllib.loads(session.text)["tag"]) == 2
    assert session.undoes == "left/W1: hatch"


def test_the_plan_lets_go_of_windows_where_the_last_one_becomes_a_door(session: Session) -> None:
    def treated() -> set[str]:
        return {each["on"] for each in tomllib.loads(session.text)["plan"][0]["treat"]}

    before = treated()
    assert "left/windows" in before
    set_kind(session, SetKind(panels=("left/W1",), kind="door"))
    assert treated() == before - {"left/windows"}
    session.undo()
    assert treated() == before


def test_several_faces_are_one_edit(session: Session) -> None:
    before = session.text
    set_assembly(session, SetAssembly(panels=("left/3", "left/4"), assembly="concrete-wall"))
    assert len(tomllib.loads(session.text)["panel"]) == 2
    session.undo()
    assert session.text == before


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (SetAssembly(panels=("left/none",), assembly="solid-brick-wall"), "no such face"),
        (SetAssembly(panels=(), assembly="solid-brick-wall"), "no such face"),
        (SetAssembly(panels=("left/4",), assembly="gold"), "gold is no assembly"),
        (SetKind(panels=("left/4",), kind="cloud"), "cloud is no kind"),
    ],
)
def test_what_cannot_be_is_refused_and_changes_nothing(
    session: Session, asked: SetAssembly | SetKind, said: str
) -> None:
    before = session.text
    with pytest.raises(EditError, match=said):
        set_kind(session, asked) if isinstance(asked, SetKind) else set_assembly(session, asked)
    assert session.text == before
    assert session.undoes is None


def test_a_job_from_dimensions_has_no_model(tmp_path: Path) -> None:
    path = tmp_path / "empty.toml"
    path.write_text("format = 1\n", encoding="utf-8")
    session = Session(path)
    assert said_by_model(session) is None
    with pytest.raises(EditError, match="no model"):
        set_kind(session, SetKind(panels=("a/b",), kind="door"))
    session.close()
    assert set(app_model.choices()) == {"units", "axes", "unstated"}


# The text alone

TEXT = """# first
[[panel]]
on = "a/1"          # measured
assembly = "brick"  # looked at
behind = "earth"

# the rules
[[tag]]
name = "*glass*"
becomes = "window"

# the rest
[site]
north = "3 deg"
"""


def test_a_new_entry_stands_after_the_last_of_its_kind() -> None:
    text = edit_model.set_kind(text=TEXT, panel="a/2", kind="door")
    added = '\n[[tag]]\nname = "a/2"\nbecomes = "door"\n'
    assert text == TEXT.replace('"window"\n', '"window"\n' + added)
    assert own_words(text) == ({"a/1": "brick"}, {"*glass*": "window", "a/2": "door"})
    assert edit_model.set_kind(text=text, panel="a/2", kind=None) == TEXT


def test_an_entry_is_changed_where_it_stands() -> None:
    text = edit_model.set_assembly(text=TEXT, panel="a/1", assembly="stone")
    assert text == TEXT.replace('"brick"', '"stone"')
    bare = edit_model.set_assembly(text=text, panel="a/1", assembly=None)
    assert bare == TEXT.replace('assembly = "brick"  # looked at\n', "# looked at\n")


def test_an_entry_that_a_later_one_may_beat_gets_a_new_one_at_the_end() -> None:
    text = TEXT.replace("# the rules", '[[panel]]\non = "a/*"\nassembly = "tin"\n\n# the rules')
    said = tomllib.loads(edit_model.set_assembly(text=text, panel="a/1", assembly="stone"))
    assert [(each["on"], each["assembly"]) for each in said["panel"]] == [
        ("a/1", "brick"),
        ("a/*", "tin"),
        ("a/1", "stone"),
    ]


def test_a_rule_for_one_panel_stays_before_that_of_another() -> None:
    text = edit_model.set_kind(text=TEXT, panel="a/2", kind="door")
    text = edit_model.set_kind(text=text, panel="a/3", kind="door")
    text = edit_model.set_kind(text=text, panel="a/2", kind="hatch")
    assert [rule["becomes"] for rule in tomllib.loads(text)["tag"]] == ["window", "hatch", "door"]


def test_line_ends_of_the_file_are_kept() -> None:
    text = edit_model.set_assembly(text="format = 1\r\nname = 'x'", panel="a/1", assembly="tin")
    assert text == "format = 1\r\nname = 'x'\r\n\r\n[[panel]]\r\non = \"a/1\"\r\n" + (
        'assembly = "tin"'
    )
    assert (
        edit_model.set_assembly(text=text, panel="a/1", assembly=None) == "format = 1\r\nname = 'x'"
    )


def test_marks_of_patterns_in_a_name_stand_for_themselves() -> None:
    assert as_pattern("a/w[1]*") == "a/w[[]1][*]"


def test_a_file_written_otherwise_is_left_to_its_reader() -> None:
    text = 'tag = [{ name = "a/1", becomes = "door" }, { name = "b", becomes = "door" }]\n'
    with pytest.raises(EditError, match="edit its text"):
        edit_model.set_kind(text=text, panel="a/2", kind="door")
    with pytest.raises(EditError, match="edit its text"):
        edit_model.set_kind(text=text, panel="a/1", kind=None)
    with pytest.raises(EditError, match="mend"):
        edit_model.set_kind(text="tag = 3\n", panel="a/1", kind="door")


def test_the_bed_stands_in_the_room_that_was_chosen(folder: Path) -> None:
    asked = ImportModel(path="flat.glb", spaces=("left", "right"), bed="right")
    text = begun(asked, folder=folder)
    job = load_text(text, path="flat.toml", folder=folder)
    (receiver,) = job.receivers
    assert receiver.space == "right"
    corners = [panel.outline for panel in job.building.panels if panel.space == "right"]
    xs = [x for outline in corners for x, _, _ in outline.tolist()]
    assert receiver.position_m[0] == pytest.approx(0.5 * (min(xs) + max(xs)), abs=0.05)
    assert {name.partition("/")[0] for name in job.plan("example").treatments} == {"right"}
    panes = {panel.id for panel in job.building.panels if panel.kind == "window"}
    filmed = {name for name, put in job.plan("example").treatments.items() if put == ("film",)}
    assert filmed == {name for name in panes if name.startswith("right/")}
    with pytest.raises(EnvelopeError, match="cellar"):
        begun(ImportModel(path="flat.glb", spaces=("left",), bed="cellar"), folder=folder)


def test_the_bed_stands_in_the_room_that_was_named_first(folder: Path) -> None:
    for rooms in (("left", "right"), ("right", "left")):
        made = tomllib.loads(begun(ImportModel(path="flat.glb", spaces=rooms), folder=folder))
        assert made["receiver"][0]["space"] == rooms[0]
        assert {each["on"].partition("/")[0] for each in made["plan"][0]["treat"]} == {rooms[0]}


def test_what_the_model_leaves_open_is_asked_before_anything_is_advised(folder: Path) -> None:
    path = folder / "half.toml"
    path.write_text(begun(ImportModel(path="flat.glb", spaces=("left",)), folder=folder), "utf-8")
    session = Session(path, sampling=Sampling(points_per_panel=2**5, points=2**8))
    session.cast()
    told = app_model.questions_told(session.job)
    assert told
    steps = asyncio.run(Steps(session=session).told("pillow"))
    assert steps is not None
    assert "model leaves open" in (steps["trouble"] or "")
    for each in told:
        app_model.accept(session, Accept(question=each["id"]))
    assert app_model.questions_told(session.job) == []
    assert tomllib.loads(session.text)["model"]["accept"] == [each["id"] for each in told]
    with pytest.raises(EditError, match="not open"):
        app_model.accept(session, Accept(question="ground"))
    session.close()
