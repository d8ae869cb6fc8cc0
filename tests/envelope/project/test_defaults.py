"""Usual figures of the trade: what a job leaves open, what it changes, and what is refused."""

from __future__ import annotations

import json

import pytest

from envelope.cli import main
from envelope.errors import FaultsError, RangeError
from envelope.pricing.defaults import USUAL, Defaults
from envelope.project import load_text
from envelope.project.schema.costs import Defaults as Table
from envelope.works.takeoff import take_off

JOB = """
format = 1
name = "Room"
[construction]
exterior-wall = "timber-wall"
slab = "ground-slab"
roof = "ceiling-and-tiled-roof"
window = "double-glazing"
[[storey]]
id = "ground"
floor = "0 m"
[[space]]
id = "room"
storey = "ground"
size = "4 m x 3 m"
height = "2.5 m"
[[opening]]
id = "W1"
on = "room/south"
kind = "window"
at = "1 m"
sill = "1 m"
size = "1 m x 1.2 m"
[[treatment]]
id = "coating"
kind = "sheet"
sheet-resistance = "6 ohm/sq"
coats = 2
[[treatment]]
id = "cloth"
kind = "mesh"
wire = "0.03 mm"
pitch = "1 mm"
metal = "copper"
standoff = "80 mm"
[[product]]
id = "paint"
for = "coating"
form = "liquid"
[[product]]
id = "top"
for = "coating"
form = "liquid"
stage = "finish"
[[product]]
id = "curtain"
for = "cloth"
form = "curtain"
width = "1.4 m"
[[receiver]]
id = "bed"
space = "room"
at = "2, 1.5, 0.6 m"
[[plan]]
id = "all"
treat = [{ on = "room/ceiling", with = "coating" }, { on = "room/W1", with = "cloth" }]
"""


def _quantities(text: str) -> dict[str, float]:
    job = load_text(text, path="job.toml")
    lines = take_off(job, job.plan("all")).bill.lines
    return {line.what: line.quantity for line in lines}


def test_what_is_not_stated_is_the_usual() -> None:
    """Ceiling 12 m², two coats at 5 m²/l and 10 %: 5.28 l; finish 2 at 8.6: 3.0698 l.

    Curtain: (1 + 0.2) × 2 / 1.4 = 1.71, two drops of 1.2 + 0.2 m: 2.8 m.
    """
    found = _quantities(JOB)
    assert found["paint"] == pytest.approx(5.28)
    assert found["top"] == pytest.approx(12 * 2 / 8.6 * 1.1)
    assert found["curtain"] == pytest.approx(2.8)


def test_a_job_changes_a_figure_and_a_product_comes_first() -> None:
    """8 m²/l and no spare: 3 l. With 4 m²/l on the product itself: 6 l."""
    table = '[defaults]\nspread-rate-coating = "8 m2/l"\nspare-liquid = "0 %"\n[construction]'
    changed = JOB.replace("[construction]", table)
    assert _quantities(changed)["paint"] == pytest.approx(3.0)
    own = changed.replace('id = "paint"', 'id = "paint"\nspread-rate = "4 m2/l"')
    assert _quantities(own)["paint"] == pytest.approx(6.0)


def test_what_was_taken_as_usual_is_told() -> None:
    job = load_text(JOB, path="job.toml")
    assumed = {product.id: product.assumed for product in job.products}
    assert assumed == {
        "paint": ("spare", "spread-rate"),
        "top": ("spare", "spread-rate"),
        "curtain": ("fullness", "hem", "spare"),
    }


def test_every_row_can_be_changed_and_every_key_has_a_row() -> None:
    keys = {name.replace("_", "-") for name in Table.model_fields}
    assert keys == {each.key for each in USUAL}
    for each in USUAL:
        assert each.source
        assert Defaults(changed={each.key: 7.0}).value(each.key) == 7.0


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ('spread-rate-coating = "8 l/m2"', "8 l/m2"),
        ('spread-rate-coating = "0 m2/l"', "0.1 m2/l"),
        ("spots = 0", "spots"),
        ('ring-from = "8 mm"\nring-to = "5 mm"', "ring-from is more than ring-to"),
        ('spread-rate = "8 m2/l"', 'unknown key "spread-rate"'),
    ],
)
def test_a_figure_that_cannot_be(line: str, message: str) -> None:
    text = JOB.replace("[construction]", f"[defaults]\n{line}\n[construction]")
    with pytest.raises(FaultsError) as caught:
        load_text(text, path="job.toml")
    (fault,) = caught.value.faults
    assert message in fault.described()
    assert "defaults." in fault.described()


def test_the_command_lists_them_with_their_sources(capsys) -> None:  # type: ignore[no-untyped-def]
    assert main(["library", "defaults", "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["defaults"]
    assert [row["key"] for row in rows] == [each.key for each in USUAL]
    assert all("common practice" in row["source"] for row in rows)


def test_a_curtain_wider_than_its_wall_is_refused_with_its_window() -> None:
    """A window of 3.9 m in a wall of 4 m: with 10 % the curtain would be 4.29 m wide."""
    wide = JOB.replace('at = "1 m"\nsill = "1 m"\nsize = "1 m x 1.2 m"', 'at = "0.05 m"\n'
                       'sill = "1 m"\nsize = "3.9 m x 1.2 m"')  # fmt: skip
    job = load_text(wide, path="job.toml")
    with pytest.raises(RangeError) as caught:
        take_off(job, job.plan("all"))
    said = str(caught.value)
    assert "over room/W1 the curtain is 4.29 m wide" in said
    assert "its wall 4 m" in said
    narrow = wide.replace("[construction]", '[defaults]\ncurtain-sides = "5 cm"\n[construction]')
    job = load_text(narrow, path="job.toml")
    assert take_off(job, job.plan("all")).bill.lines


def test_pieces_count_faces_bonds_or_boxes() -> None:
    """The ceiling is one conductor with one box in it; the curtain is a leaf's."""
    more = JOB.replace(
        "[[receiver]]",
        """[[opening]]
id = "L1"
on = "room/ceiling"
kind = "box"
at = "2, 1.5 m"
size = "10 cm x 10 cm"
[[product]]
id = "kit"
for = "coating"
form = "piece"
per = "bond"
packs = [{ holds = "1 piece", price = "38 EUR" }]
[[product]]
id = "collar"
for = "coating"
form = "piece"
per = "box"
packs = [{ holds = "10 pieces", price = "12 EUR" }]
[[receiver]]""",
        1,
    )
    found = _quantities(more)
    assert found["kit"] == 1.0
    assert found["collar"] == 1.0
    with pytest.raises(FaultsError, match="per goes with form"):
        load_text(JOB.replace('form = "curtain"', 'form = "curtain"\nper = "bond"'), path="j.toml")
