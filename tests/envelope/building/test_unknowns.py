"""What a file does not state: taken at a middle value, listed, and gone once it is stated."""

from __future__ import annotations

import pytest

from envelope.building.composition import Assembly, Layer
from envelope.building.unknowns import unknown_products
from envelope.physics.tables.duties import DUTIES
from envelope.project import load_text

JOB = """format = 1
name = "a room"
[construction]
exterior-wall = "wall"
slab = "wall"
roof = "wall"
window = "double-unknown"
[[assembly]]
id = "wall"
layers = [{ material = "unknown-board", thickness = "12 mm" }]
[[storey]]
id = "ground"
floor = "0 m"
[[space]]
id = "room"
storey = "ground"
size = "4 m x 3 m"
height = "2.4 m"
[[space]]
id = "store"
storey = "ground"
origin = "5, 0 m"
size = "2 m x 3 m"
height = "2.4 m"
[[opening]]
id = "W1"
on = "room/south"
kind = "window"
at = "1 m"
sill = "0.9 m"
size = "1.2 m x 1 m"
[[source]]
id = "mast"
azimuth = "180 deg"
elevation = "3 deg"
band = "1.8 GHz"
level = "500 uW/m2"
[[source]]
id = "router"
at = "2, -3, 1.5 m"
band = "2.45 GHz"
eirp = "20 dBm"
[[receiver]]
id = "bed"
space = "room"
at = "1, 1, 0.6 m"
"""


def job(*replaced: tuple[str, str]):
    text = JOB
    for old, new in replaced:
        assert old in text
        text = text.replace(old, new, 1)
    return load_text(text, path="room.toml")


def keys(found) -> set[tuple[str, str, str]]:
    return {(each.table, each.id, each.key) for each in found.unknowns}


def test_everything_that_is_not_stated_is_listed():
    assert keys(job()) == {
        ("space", "room", "furnishing"),  # the store has no receiver
        ("source", "mast", "scattered"),
        ("source", "router", "directivity"),
        ("source", "router", "duty"),
        ("assembly", "wall", "layers"),
        ("assembly", "double-unknown", "layers"),
    }


@pytest.mark.parametrize(
    ("service", "middle", "said"),
    [
        (
            "DECT",
            1 / 24,
            "a cordless phone's base is taken to send 4.2 % of the time, 4.2 % to 12 %",
        ),
        ("Wi-Fi 2.4", 0.05, "a router is taken to send 5 % of the time, 1 % to 50 % drawn"),
        ("smart meter 868", 0.005, "a meter is taken to send 0.5 % of the time, 0.1 % to 2.5 %"),
        ("LTE 1800", 1.0, "a mast is taken to send all the time, drawn down to 20 % of it"),
    ],
)
def test_how_much_of_the_time_it_sends_goes_by_what_it_is(service, middle, said):
    found = job(('band = "2.45 GHz"', f'service = "{service}"'))
    (duty,) = [each for each in found.unknowns if each.key == "duty"]
    assert duty.taken.startswith(said)
    assert duty.range.middle == pytest.approx(middle)
    assert found.sources[1].eirp_w == pytest.approx(0.1 * middle)  # on the average
    assert found.sources[1].duty == pytest.approx(middle)  # what its peak lies above that by


def test_a_source_of_an_unknown_kind_may_be_of_any():
    (duty,) = [each for each in job().unknowns if each.key == "duty"]
    assert (
        "kind that is not stated is taken to send all the time, drawn down to 0.1 %" in duty.taken
    )
    assert duty.settle.startswith("name its service in place of band")
    for kind in DUTIES.values():
        assert duty.range.low <= kind.low <= kind.middle <= kind.high <= duty.range.high


def test_what_is_stated_is_not():
    found = job(
        ('height = "2.4 m"', 'height = "2.4 m"\nfurnishing = "0 m2"'),
        ('level = "500 uW/m2"', 'level = "500 uW/m2"\nscattered = 0.0'),
        ('eirp = "20 dBm"', 'eirp = "20 dBm"\nduty = 0.1\ndirectivity = "2.15 dB"'),
        ("unknown-board", "plywood"),
        ('"double-unknown"', '"double-glazing"'),
    )
    assert found.unknowns == ()
    assert found.furnishing_m2 == {}
    router = found.sources[1]
    assert router.eirp_w == pytest.approx(0.01)  # a tenth of 100 mW, on the average
    assert router.directivity_db == 2.15


@pytest.mark.parametrize(
    ("said", "middle", "low", "high"),
    [("", 0.1, 0.0, 0.4), ("true", 0.03, 0.0, 0.1), ("false", 0.15, 0.05, 0.4)],
)
def test_the_scattered_share_goes_by_the_line_of_sight(said, middle, low, high):
    line = f"\nline-of-sight = {said}" if said else ""
    found = job(('level = "500 uW/m2"', f'level = "500 uW/m2"{line}'))
    (each,) = [each for each in found.unknowns if each.key == "scattered"]
    assert (each.range.low, each.range.middle, each.range.high) == (low, middle, high)
    assert found.sources[0].scattered == middle


def test_a_coat_that_may_be_there_is_written_and_read():
    text = JOB.replace('window = "double-unknown"', 'window = "pane"') + (
        '[[assembly]]\nid = "pane"\nlayers = [{ material = "glass", thickness = "4 mm" }, '
        '{ sheet-resistance = "4 ohm/sq", perhaps = true }]\n'
    )
    found = load_text(text, path="room.toml")
    assert ("assembly", "pane", "layers") in keys(found)
    assert found.assemblies["pane"].layers[1].perhaps


def test_panes_that_may_be_coated_are_named_in_words_and_told_apart():
    def said(*assemblies):
        return [each.words for each in unknown_products(assemblies, ())]

    assert "whether the panes are coated" in {each.words for each in job().unknowns}
    coat = Layer(sheet_resistance_ohm_sq=4.0, perhaps=True)
    glass = Layer(material="glass", thickness_m=0.004)
    old, door = (Assembly(id=name, layers=(glass, coat)) for name in ("old-pane", "garden-door"))
    assert said(old) == ["whether the panes are coated"]
    assert said(old, door) == [
        "whether the panes of “old pane” are coated",
        "whether the panes of “garden door” are coated",
    ]
