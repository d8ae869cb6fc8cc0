"""Tag rules catch panels by what they are called, are made of, and where they stand."""

from __future__ import annotations

import pytest

from envelope.building.model import Building
from envelope.errors import GeometryError
from envelope.exchange import Imported, TagRule, read_model, tag_panels, to_obj


@pytest.fixture(scope="module")
def imported(two_rooms: Building, tmp_path_factory: pytest.TempPathFactory) -> Imported:
    path = tmp_path_factory.mktemp("rules") / "a.obj"
    path.write_text(to_obj(two_rooms))
    return read_model(path, unit="m", up="z")


def test_the_last_rule_wins_and_leftovers_are_listed(imported: Imported) -> None:
    tagged = tag_panels(
        imported,
        [
            TagRule(id="walls", kind="wall", assembly="brick"),
            TagRule(id="bedroom south", name="bedroom/SOUTH", assembly="timber"),
            TagRule(id="glass", material="win*", assembly="double-pane"),
            TagRule(id="attic", storey="attic", assembly="tiles"),
        ],
    )
    by_id = {panel.panel: panel for panel in tagged.panels}
    assert by_id["hall/1"].rule == "walls"
    assert by_id["bedroom/1"].rule == "bedroom south"
    assert by_id["bedroom/1"].assembly == "timber"
    assert by_id["bedroom/W2"].rule == "glass"
    assert tagged.unused == ("attic",)
    assert len(by_id) == 28
    left = {panel.panel for panel in tagged.leftovers}
    assert {"bedroom/floor", "bedroom/ceiling", "bedroom/D1", "bedroom/W1/sill"} <= left
    assert not left & {"bedroom/1", "bedroom/W1", "hall/2"}
    space = tagged.imported.spaces[0]
    assert {panel.id: panel.assembly for panel in space.panels}["bedroom/1"] == "timber"
    assert {panel.id: panel.assembly for panel in imported.spaces[0].panels}["bedroom/1"] is None


def test_a_rule_changes_the_kind(imported: Imported) -> None:
    tagged = tag_panels(imported, [TagRule(id="glazed", name="*/D1", becomes="window")])
    kinds = {panel.panel: panel.kind for panel in tagged.panels if panel.rule}
    assert kinds == {"bedroom/D1": "window", "hall/D1": "window"}


def test_a_rule_that_gives_nothing_is_refused(imported: Imported) -> None:
    with pytest.raises(GeometryError, match="tag rule odd gives neither"):
        tag_panels(imported, [TagRule(id="odd", kind="wall")])
