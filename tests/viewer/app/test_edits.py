"""Tables of the job file edited from a page, each as one step that undo takes back."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from envelope.project.schema import job as schema
from envelope.rays import Sampling
from viewer.app.edits import edit, field_of
from viewer.app.protocol import AddRow, RemoveRow, Rename, SetKey
from viewer.app.session import EditError, Session
from viewer.app.tables import rows_told, tables_told

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
    for table, rows in rows_told(JOB).items():
        for index, row in enumerate(rows):
            many = table in schema.LISTS
            for key, typed in row.items():
                asked = SetKey(
                    table=table, row=index if many else None, id=row.get("id"), key=key, typed=typed
                )
                if many or table != "":
                    edit(session, asked)
    assert session.undoes is None  # typing what stands there changes nothing


def test_a_room_is_made_larger_and_undo_brings_the_text_back(session: Session) -> None:
    row = row_of(session, "space", "hut")
    edit(session, SetKey(table="space", row=row, id="hut", key="height", typed="9 ft"))
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
    edit(session, SetKey(table="treatment", row=row, id="film", key="price", typed="30 EUR/m2"))
    assert not session.needs_cast
    assert session.findings is not None
    assert session.findings is not before
    assert session.job is not None
    assert session.job.treatments["film"].price is not None
    assert session.findings.bench.job is session.job


def test_faults_are_told_and_change_nothing(session: Session) -> None:
    row = row_of(session, "space", "hut")
    bad = SetKey(table="space", row=row, id="hut", key="height", typed="9")
    with pytest.raises(EditError, match="unit"):
        edit(session, bad)
    assert field_of(bad) == (row, "height")
    with pytest.raises(EditError, match="no \\[\\[space"):
        edit(session, RemoveRow(table="space", row=row, id="hut"))
    with pytest.raises(EditError, match="meanwhile"):
        edit(session, SetKey(table="space", row=row, id="other", key="height", typed="9 ft"))
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
