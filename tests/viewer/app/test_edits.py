"""Tables of the job file edited from a page, each as one step that undo takes back."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from envelope.project.schema import job as schema
from envelope.rays import Sampling
from viewer.app.edits import edit, named_by, troubles
from viewer.app.protocol import AddRow, RemoveRow, Rename, SetKeys
from viewer.app.session import EditError, Session
from viewer.app.tables import names_told, parts_told, rows_told, tables_told
from viewer.scene.build import build_scene
from viewer.scene.to_json import to_json

JOB = (Path(__file__).parent.parent.parent / "browser" / "data" / "hut.toml").read_text("utf-8")


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    path = tmp_path / "hut.toml"
    path.write_text(JOB, encoding="utf-8")
    session = Session(path, sampling=Sampling(points_per_panel=2**5, points=2**8))
    yield session
    session.close()


def row_of(session: Session, table: str, name: str) -> int:
    rows = rows_told(session.text)[table]
    return next(index for index, row in enumerate(rows) if row.get("id") == name)


def test_every_table_and_key_of_the_schema_is_offered() -> None:
    told = {each["table"]: {key["key"] for key in each["keys"]} for each in tables_told()}
    assert set(told) == {"", *schema.LISTS, *schema.SINGLES}
    for table, (model, _) in schema.LISTS.items():
        assert told[table] == {field.alias for field in model.model_fields.values()}
    for table, single in schema.SINGLES.items():
        assert told[table] == {field.alias for field in single.model_fields.values()}


def test_what_stands_there_is_told_as_it_would_be_typed(session: Session) -> None:
    inner = parts_told(JOB)
    for table, rows in rows_told(JOB).items():
        for index, row in enumerate(rows):
            parts = inner[table][index]
            many = table in schema.LISTS
            for key, typed in row.items():
                asked = SetKeys(
                    table=table,
                    row=index if many else None,
                    id=row.get("id"),
                    typed={} if key in parts else {key: typed},
                    parts={key: parts[key]} if key in parts else {},
                )
                if many or table != "":
                    edit(session, asked)
    assert session.undoes is None  # typing what stands there changes nothing


def test_what_the_file_has_none_of_has_no_row() -> None:
    rows = rows_told(JOB)
    assert rows["reading"] == rows["dormer"] == []
    assert rows["site"] == [{}]  # a table that comes once can be filled in


def test_a_room_is_made_larger_and_undo_brings_the_text_back(session: Session) -> None:
    row = row_of(session, "space", "hut")
    edit(session, SetKeys(table="space", row=row, id="hut", typed={"height": "9 ft"}))
    assert session.job is not None
    assert session.job.building.space("hut").floor_m == 0.0
    assert session.undoes == "height of hut"
    assert session.needs_cast
    session.undo()
    assert session.text == JOB


def test_a_treatment_changes_without_a_new_cast(session: Session) -> None:
    session.cast()
    before = session.findings
    row = row_of(session, "treatment", "film")
    edit(session, SetKeys(table="treatment", row=row, id="film", typed={"price": "30 EUR/m2"}))
    assert not session.needs_cast
    assert session.findings is not None
    assert session.findings is not before
    assert session.job is not None
    assert session.job.treatments["film"].price is not None
    assert session.findings.bench.job is session.job


def test_faults_are_told_and_change_nothing(session: Session) -> None:
    row = row_of(session, "space", "hut")
    bad = SetKeys(table="space", row=row, id="hut", typed={"height": "9"})
    with pytest.raises(EditError, match="unit") as refused:
        edit(session, bad)
    (trouble,) = troubles(session, bad, refused.value)
    assert (trouble["key"], trouble["part"]) == ("height", None)
    with pytest.raises(EditError, match="no \\[\\[space"):
        edit(session, RemoveRow(table="space", row=row, id="hut"))
    with pytest.raises(EditError, match="meanwhile"):
        edit(session, SetKeys(table="space", row=row, id="other", typed={"height": "9 ft"}))
    with pytest.raises(EditError, match="meanwhile"):
        edit(session, RemoveRow(table="space", row=99, id="hut"))
    assert session.text == JOB


def test_rows_are_added_renamed_and_removed(session: Session) -> None:
    typed = {"id": "mesh", "kind": "fixed", "loss": "18 dB", "note": ""}
    edit(session, AddRow(table="treatment", typed=typed))
    assert session.job is not None
    assert "mesh" in session.job.treatments
    row = row_of(session, "treatment", "film")
    edit(session, Rename(table="treatment", row=row, id="film", name="clear-film"))
    assert "clear-film" in session.job.treatments
    assert session.undoes == "rename film to clear-film"
    row = row_of(session, "treatment", "mesh")
    edit(session, RemoveRow(table="treatment", row=row, id="mesh"))
    assert "mesh" not in session.job.treatments
    for comment in ("# kept", "# two words on it", "# measured twice", "# all four"):
        assert comment in session.text


def test_keys_that_only_go_together_are_changed_together(session: Session) -> None:
    row = row_of(session, "space", "hut")
    walk = {"walk": "E 4 m; N 3 m; W 4 m; S"}
    alone = SetKeys(table="space", row=row, id="hut", typed=walk)
    with pytest.raises(EditError, match="one of size, footprint, walk") as refused:
        edit(session, alone)
    assert troubles(session, alone, refused.value)[0]["key"] in ("size", "footprint", "walk")
    edit(session, SetKeys(table="space", row=row, id="hut", typed={"size": None, **walk}))
    assert session.job is not None
    assert session.undoes == "size, walk of hut"
    session.undo()
    assert session.text == JOB


def test_what_is_wrong_in_brackets_is_told_at_its_part(session: Session) -> None:
    layers = [
        {"material": "plasterboard", "thickness": "12.5 mm"},
        {"material": "plywod", "thickness": "12 mm"},
    ]
    asked = AddRow(table="assembly", typed={"id": "new"}, parts={"layers": layers})
    with pytest.raises(EditError) as refused:
        edit(session, asked)
    (trouble,) = troubles(session, asked, refused.value)
    assert (trouble["key"], trouble["part"], trouble["inner"]) == ("layers", 1, "material")
    layers[1]["material"] = "plywood"
    edit(session, AddRow(table="assembly", typed={"id": "new"}, parts={"layers": layers}))
    assert session.job is not None
    assert len(session.job.assemblies["new"].layers) == 2


def test_a_row_without_an_id_gets_one_of_its_title_or_its_sort(session: Session) -> None:
    typed = {"kind": "window", "on": "hut/north", "at": "0.2 m", "size": "0.3 m x 0.3 m"}
    edit(session, AddRow(table="opening", typed={**typed, "sill": "1 m", "title": "Over the bed"}))
    high = {**typed, "at": "0.8 m", "sill": "1 m"}
    edit(session, AddRow(table="opening", typed=high))
    names = [row["id"] for row in rows_told(session.text)["opening"]]
    assert {"over-the-bed", "window-1"} <= set(names)


def test_what_goes_with_a_row_is_asked_before_it_goes(session: Session) -> None:
    row = row_of(session, "treatment", "coat")
    asked = RemoveRow(table="treatment", row=row, id="coat")
    assert any(each.startswith("plan ") for each in named_by(session, asked))
    edit(session, RemoveRow(table="treatment", row=row, id="coat", with_named=True))
    assert session.job is not None
    assert "coat" not in session.job.treatments
    session.undo()
    assert session.text == JOB


def test_every_name_that_a_key_may_hold_can_be_chosen(session: Session) -> None:
    names = names_told(session.job, session.text)
    keys = [key for table in tables_told() for key in table["keys"]]
    keys += [inner for key in keys if key["parts"] is not None for inner in key["parts"]["keys"]]
    listed = [key["names"] for key in keys if key["names"] is not None]
    assert len(listed) > 40
    assert set(listed) <= set(names)
    assert "plywood" in names["material"]
    assert "hut/walls" in names["selector"]


def test_starters_ask_for_keys_of_the_schema_that_go_together() -> None:
    for table in tables_told():
        keys = {each["key"]: each for each in table["keys"]}
        for starter in table["starters"]:
            said = {*starter["keys"], *starter["typed"]}
            assert said <= set(keys), table["table"]
            # what a row must say is asked for; a new table of the schema works without a starter
            needed = {key for key, each in keys.items() if each["needed"]} - {"id"}
            assert needed <= said, (table["table"], starter["title"])


def test_what_stands_between_rooms_that_meet_is_taken_as_typical_and_said(session: Session) -> None:
    typed = {"title": "Shed", "storey": "only", "height": "2 m", "size": "2 m x 2 m"}
    asked = AddRow(table="space", typed={**typed, "origin": "3.1, 0 m"})
    words = edit(session, asked)
    assert "interior wall: stud-wall" in words
    assert 'interior-wall = "stud-wall"' in session.text
    assert session.undoes == "add space shed"
    session.undo()
    assert session.text == JOB
    with pytest.raises(EditError, match="overlap"):
        edit(session, AddRow(table="space", typed={**typed, "origin": "2 m, 0 m"}))


def test_a_storey_without_rooms_yet_is_no_storey_of_the_picture(session: Session) -> None:
    edit(session, AddRow(table="storey", typed={"id": "cellar", "floor": "-3 m"}))
    assert session.job is not None
    scene = to_json(build_scene(job=session.job))
    assert [each["id"] for each in scene["storeys"]] == ["only"]


def test_a_source_without_a_level_waits_for_its_reading_and_both_come_at_once(
    session: Session,
) -> None:
    typed = {"title": "Roof", "service": "LTE 800", "azimuth": "80 deg", "elevation": "9 deg"}
    with pytest.raises(EditError, match="add a reading of roof, and both"):
        edit(session, AddRow(table="source", typed=typed))
    assert session.text == JOB
    assert "roof" in names_told(session.job, session.text, kept=session.kept)["source"]
    reading = {"id": "bed", "source": "roof", "space": "hut", "at": "1 m, 1 m, 1 m"}
    edit(session, AddRow(table="reading", typed={**reading, "level": "40 uW/m2"}))
    assert session.job is not None
    assert "roof" in {each.id for each in session.job.sources}
    assert session.kept == {}
    session.undo()
    assert session.text == JOB
