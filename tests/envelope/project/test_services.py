"""Sources by the service's name, in several bands, near the bed and in its own room."""

from __future__ import annotations

import pytest

import envelope
from envelope.building.source_notes import source_notes
from envelope.errors import ProjectFileError
from envelope.physics.tables.services import SERVICES, plain
from envelope.project import load_text
from envelope.text.trade import source_title

ROOM = """format = 1
name = "room"
[construction]
exterior-wall = "timber-wall"
slab = "ground-slab"
roof = "tiled-roof"
[[storey]]
id = "ground"
floor = "0 ft"
[[space]]
id = "room"
storey = "ground"
size = "12 ft x 10 ft"
height = "8 ft"
[[receiver]]
id = "pillow"
space = "room"
at = "3 ft, 4 ft, 2 ft"
[[source]]
id = "mast"
"""
AIM = 'azimuth = "160 deg"\nelevation = "3 deg"\n'


def sources(text: str) -> tuple[envelope.Source, ...]:
    return load_text(ROOM + text, path="room.toml").sources


def messages(text: str) -> list[str]:
    with pytest.raises(ProjectFileError) as caught:
        load_text(ROOM + text, path="room.toml")
    return [fault.message for fault in caught.value.faults]


@pytest.mark.parametrize("name", ["LTE 1800", "lte1800", "LTE-1800 MHz"])
def test_a_service_stands_for_its_band(name: str) -> None:
    (mast,) = sources(f'service = "{name}"\nlevel = "400 uW/m2"\n{AIM}')
    assert mast.band_hz == (1805e6, 1880e6)


def test_an_unknown_service_has_the_nearest_names() -> None:
    (message,) = messages(f'service = "LTE 1850"\nlevel = "400 uW/m2"\n{AIM}')
    assert message.startswith(
        'there is no service "LTE 1850" (a band may stand in its place): did you mean "LTE 850" '
    )


def test_names_of_services_can_be_told_apart() -> None:
    assert len({plain(each.name) for each in SERVICES}) == len(SERVICES)
    assert all(0 < each.low_hz < each.high_hz for each in SERVICES)
    assert all(each.low_hz >= 30e6 and each.high_hz <= 100e9 for each in SERVICES)


def test_a_source_states_its_band_once() -> None:
    assert messages(f'level = "400 uW/m2"\n{AIM}') == [
        "a source takes one of band, service, bands, and this has none"
    ]
    both = f'service = "LTE 1800"\nband = "1 GHz"\nlevel = "400 uW/m2"\n{AIM}'
    assert messages(both) == [
        "a source takes one of band, service, bands, and this has band and service"
    ]


BANDS = """bands = [
    { service = "LTE 800", level = "100 uW/m2" },
    { service = "5G 3500", level = { ground = "300 uW/m2" }, scattered = 0.3 },
    { band = "2100 MHz", level = "50 uW/m2" },
]
scattered = 0.1
"""


def test_each_of_several_bands_is_a_source_of_its_own() -> None:
    found = sources(BANDS + AIM)
    assert [each.id for each in found] == ["mast-lte-800", "mast-5g-3500", "mast-2100"]
    assert [each.band_hz[0] for each in found] == [791e6, 3300e6, 2100e6]
    assert [each.scattered for each in found] == [0.1, 0.3, 0.1]
    assert found[1].level_w_m2 == {"ground": pytest.approx(300e-6)}
    one = sources(f'band = "2100 MHz"\nlevel = "50 uW/m2"\nscattered = 0.1\n{AIM}')[0]
    assert found[2].azimuth_rad == one.azimuth_rad
    assert found[2].level_w_m2 == one.level_w_m2


def test_levels_of_several_bands_add_up() -> None:
    def level(text: str) -> float:
        job = load_text(ROOM + text, path="room.toml")
        found = envelope.analyze(job, envelope.cast(job, rays="few"), ranges=False)
        return found.plans[0].receivers[0].level_w_m2

    bands = ['service = "LTE 800", level = "100 uW/m2"', 'band = "2100 MHz", level = "50 uW/m2"']
    together = level(f"bands = [{', '.join(f'{{ {band} }}' for band in bands)}]\n{AIM}")
    alone = [level(f"bands = [{{ {band} }}]\n{AIM}") for band in bands]
    assert together == pytest.approx(sum(alone), rel=1e-9)


def test_what_several_bands_cannot_have() -> None:
    assert messages(f'bands = [{{ service = "LTE 800" }}]\n{AIM}') == [
        "level is missing: each of several bands needs it"
    ]
    assert messages(f'bands = [{{ service = "LTE 800", eirp = "1 W" }}]\n{AIM}') == [
        "level is missing: each of several bands needs it",
        "eirp does not go with a source in a direction",
    ]
    twice = '{ service = "LTE 800", level = "1 uW/m2" }'
    assert messages(f"bands = [{twice}, {twice}]\n{AIM}") == [
        'two of the bands would be called "mast-lte-800"'
    ]
    assert messages(f'bands = [{twice}]\nlevel = "1 uW/m2"\n{AIM}') == [
        "level stands in each of bands instead"
    ]
    reading = (
        '[[reading]]\nid = "r"\nsource = "mast"\nspace = "room"\nat = "3 ft, 3 ft, 3 ft"\n'
        'level = "9 uW/m2"\n'
    )
    job = load_text(ROOM + f"bands = [{twice}]\n{AIM}{reading}", path="room.toml")
    assert job.readings[0].sources == ("mast-lte-800",)  # of all its bands


def test_a_transmitter_near_the_bed_and_in_its_room_is_noted() -> None:
    point = 'space = "room"\nat = "3 ft, 4 ft, 2 ft 4 in"\nservice = "DECT"\neirp = "10 mW"\n'
    job = load_text(ROOM + point, path="room.toml")
    own, near = source_notes(job)
    assert own.startswith("mast is in the room of pillow: no treatment of that room's faces lowers")
    # 4 in away; c / 1890 MHz is 0.1586 m
    assert near.startswith("pillow is 0.10 m from mast, less than two wavelengths (0.32 m)")
    far = point.replace("3 ft, 4 ft, 2 ft 4 in", "9 ft, 8 ft, 3 ft")
    assert len(source_notes(load_text(ROOM + far, path="room.toml"))) == 1


def test_a_peak_level_counts_times_the_share_of_the_time_it_is_sent() -> None:
    """An idle base sends in one slot of 24: its average lies 13.8 dB below its peak."""
    base = f'service = "DECT"\nlevel = "2400 uW/m2"\n{AIM}'
    (peak,) = sources(base + 'detector = "peak"\nduty = 0.0416667\n')
    (average,) = sources(base)
    assert peak.azimuth_rad == average.azimuth_rad
    assert peak.level_w_m2[""] == pytest.approx(100e-6, rel=1e-5)
    assert average.level_w_m2[""] == pytest.approx(2400e-6)
    assert messages(base + 'detector = "peak"\n')[0].startswith("a peak level needs the share of")


def test_several_bands_of_a_router_share_its_duty() -> None:
    found = sources(
        'space = "room"\nat = "9 ft, 8 ft, 3 ft"\nduty = 0.5\nbands = ['
        '{ service = "Wi-Fi 2.4", eirp = "100 mW" }, { service = "Wi-Fi 5", eirp = "200 mW" }]\n'
    )
    assert [each.eirp_w for each in found] == [pytest.approx(0.05), pytest.approx(0.1)]


def test_places_of_each_band_are_known() -> None:
    job = load_text(ROOM + BANDS + AIM, path="room.toml")
    for name in ("mast-lte-800", "mast-5g-3500", "mast-2100"):
        assert job.places["source", name, "azimuth"].line == 27


def test_each_band_of_a_titled_source_has_a_title_of_its_own() -> None:
    two = '{ service = "LTE 800", level = "1 uW/m2" }, { band = "2100 MHz", level = "1 uW/m2" }'
    job = load_text(ROOM + f'title = "hill mast"\nbands = [{two}]\n{AIM}', path="room.toml")
    assert [each.title for each in job.sources] == ["hill mast, LTE 800", "hill mast, 2100 MHz"]
    assert source_title(job, job.sources[0].device) == "hill mast"
