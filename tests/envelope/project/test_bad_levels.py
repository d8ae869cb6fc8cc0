"""Mistakes in what is said of losses, sources, receivers and plans, and their one message each."""

from __future__ import annotations

from collections.abc import Callable

import pytest

# What is changed in the sound file, and what the file then gives, whole.
ONE_FAULT = [
    # losses and treatments
    (
        'loss = "6 dB"',
        'loss = { "900 MHz" = "4 dB" }',
        "house.toml:16 assembly[0].loss: a table of losses needs at least two points, and this has "
        '1: one loss for every frequency is written such as "6 dB"',
    ),
    (
        'loss = "6 dB"',
        'loss = { "3.5 GHz" = "4 dB", "900 MHz" = "4 dB" }',
        'house.toml:16 assembly[0].loss: the table of losses is not sorted: "900 MHz" does not '
        "come after the frequency before it",
    ),
    (
        'loss = "6 dB"',
        'loss = { "20 MHz" = "4 dB", "900 MHz" = "4 dB" }',
        'house.toml:16 assembly[0].loss: "20 MHz" is out of range: a frequency must be from 30 MHz '
        "to 100 GHz",
    ),
    (
        'loss = "6 dB"',
        'loss = "-6 dB"',
        'house.toml:16 assembly[0].loss: "-6 dB" is out of range: a loss must be from 0 dB to '
        "200 dB",
    ),
    (
        'loss = "6 dB"',
        'loss = "6 dB"\nreflects = 0.9',
        "house.toml:17 assembly[0].reflects: reflects = 0.9 and a loss of 6 dB would return and "
        "pass more than all of the power together",
    ),
    (
        'sheet-resistance = "5 ohm/sq"\n',
        "",
        "house.toml:40 treatment[0].sheet-resistance: sheet-resistance is missing: "
        'kind = "sheet" needs it',
    ),
    (
        'sheet-resistance = "5 ohm/sq"',
        'sheet-resistance = "0 ohm/sq"',
        'house.toml:43 treatment[0].sheet-resistance: "0 ohm/sq" is out of range: a sheet '
        "resistance must be from 1e-9 ohm/sq to 1e9 ohm/sq",
    ),
    (
        'kind = "sheet"\nsheet-resistance = "5 ohm/sq"',
        'kind = "mesh"\nwire = "1 mm"\npitch = "0.5 mm"\nmetal = "copper"',
        "house.toml:44 treatment[0].pitch: pitch must be larger than wire: it runs from wire to "
        "wire",
    ),
    (
        'kind = "sheet"\nsheet-resistance = "5 ohm/sq"',
        'kind = "mesh"\nwire = "0.1 mm"\npitch = "0.5 mm"\nmetal = "coper"',
        'house.toml:45 treatment[0].metal: there is no metal "coper": did you mean "copper"?',
    ),
    (
        'kind = "sheet"\nsheet-resistance = "5 ohm/sq"',
        'kind = "table"\nloss = "40 dB"',
        'house.toml:43 treatment[0].loss: kind = "table" takes losses by frequency, such as '
        '{ "900 MHz" = "40 dB", "3.5 GHz" = "34 dB" }',
    ),
    (
        'price = "24 EUR/m2"',
        'price = "24 EUR/m2"\npitch = "1 mm"',
        'house.toml:45 treatment[0].pitch: pitch does not go with kind = "sheet", which takes '
        "sheet-resistance, coats",
    ),
    (
        'price = "24 EUR/m2"',
        "coats = 0",
        "house.toml:44 treatment[0].coats: 0 is out of range: the number of coats must be from 1 "
        "to 20",
    ),
    (
        'price = "24 EUR/m2"',
        'coats = "2"',
        'house.toml:44 treatment[0].coats: "2" is not a whole number: the number of coats is '
        "written without quotes, such as 2",
    ),
    (
        '"24 EUR/m2"',
        "24",
        "house.toml:44 treatment[0].price: 24 is a bare number: a price is written in quotes with "
        'its unit, such as "24 EUR/m2"',
    ),
    (
        'price = "24 EUR/m2"',
        'loss-tolerance = "1 dB"',
        "house.toml:44 treatment[0].loss-tolerance: loss-tolerance does not go with "
        'kind = "sheet", which takes sheet-resistance, coats',
    ),
    # sources
    (
        "1805-1880 MHz",
        "1880-1805 MHz",
        'house.toml:50 source[0].band: the band "1880-1805 MHz" has its ends swapped: write the '
        'lower frequency first, such as "1805-1880 MHz"',
    ),
    (
        "1805-1880 MHz",
        "20 MHz",
        'house.toml:50 source[0].band: "20 MHz" is out of range: a band must be from 30 MHz to '
        "100 GHz",
    ),
    (
        "1805-1880 MHz",
        "90-110 GHz",
        'house.toml:50 source[0].band: "90-110 GHz" is out of range: a band must be from 30 MHz '
        "to 100 GHz",
    ),
    (
        'elevation = "4 deg"',
        'elevation = "91 deg"',
        'house.toml:49 source[0].elevation: "91 deg" is out of range: an elevation must be from '
        "-90 deg to 90 deg",
    ),
    (
        'azimuth = "231 deg"\n',
        "",
        "house.toml:46 source[0].azimuth: azimuth is missing: a source in a direction needs it",
    ),
    (
        'level = "850 uW/m2"',
        'level = "0 uW/m2"',
        'house.toml:51 source[0].level: "0 uW/m2" is out of range: a level must be above 0 W/m2 '
        "and at most 1e6 W/m2",
    ),
    (
        'level = "850 uW/m2"',
        'level = { upper = "850 uW/m2", ground = "400 uW/m2" }',
        'house.toml:51 source[0].level.upper: there is no storey "upper": known are "ground"',
    ),
    (
        'level = "850 uW/m2"',
        'level = "850 uW/m2"\nscattered = 1.5',
        "house.toml:52 source[0].scattered: 1.5 is out of range: a share must be from 0 to 1",
    ),
    (
        'azimuth = "231 deg"\nelevation = "4 deg"\nband = "1805-1880 MHz"\nlevel = "850 uW/m2"',
        'at = "1, 1, 1 m"\nband = "2.4 GHz"\neirp = "20 dBm"',
        'house.toml:48 source[0].at: the point lies in space "bedroom": say so with '
        'space = "bedroom" and the space\'s own coordinates',
    ),
    (
        'azimuth = "231 deg"\nelevation = "4 deg"\nband = "1805-1880 MHz"\nlevel = "850 uW/m2"',
        'at = "9, 9, -1 m"\nband = "2.4 GHz"\neirp = "20 dBm"',
        "house.toml:48 source[0].at: the point lies at -1 m, below the ground at 0 m",
    ),
    (
        'azimuth = "231 deg"\nelevation = "4 deg"\nband = "1805-1880 MHz"\nlevel = "850 uW/m2"',
        'at = "9, 9, 1 m"\nband = "2.4 GHz"\neirp = "20 dBm"\nground-reflection = true',
        "house.toml:51 source[0].ground-reflection: ground-reflection does not go with a source at "
        "a point",
    ),
    (
        'elevation = "4 deg"',
        'elevation = "-90 deg"\nground-reflection = true',
        "house.toml:50 source[0].ground-reflection: ground-reflection goes with an elevation of "
        "0 deg or more: the ground mirrors what comes from above it",
    ),
    # receivers
    (
        "0.6, 1.2, 0.7 m",
        "9, 1.2, 0.7 m",
        'house.toml:56 receiver[0].at: the point lies outside every space, not in "bedroom": it is '
        '4.80 m from panel "bedroom/2"; coordinates are the space\'s own, the height is above '
        "its floor",
    ),
    (
        "0.6, 1.2, 0.7 m",
        "0.0005, 1.2, 0.7 m",
        'house.toml:56 receiver[0].at: the point stands on panel "bedroom/4": keep it at least '
        "1 mm away",
    ),
    (
        "0.6, 1.2, 0.7 m",
        "0.6, 1.2 m",
        'house.toml:56 receiver[0].at: "0.6, 1.2 m" has 2 of 3 coordinates: write it such as '
        '"0.6, 1.2, 0.7 m"',
    ),
    (
        'at = "0.6, 1.2, 0.7 m"',
        'at = "0.6, 1.2, 0.7 m"\nsize = "2 m x 1 m x 0.2 m"',
        'house.toml:57 receiver[0].size: the box does not fit into space "bedroom": it reaches '
        "through a panel",
    ),
    (
        'space = "bedroom"',
        'space = "bedrom"',
        'house.toml:55 receiver[0].space: there is no space "bedrom": did you mean "bedroom"?',
    ),
    # plans and selectors
    (
        '"bedroom/walls"',
        '"bedroom/doors"',
        'house.toml:60 plan[0].treat[0].on: "bedroom/doors" names no panel: "bedroom" has no doors',
    ),
    (
        '"bedroom/walls"',
        '"bedroom/wals"',
        'house.toml:60 plan[0].treat[0].on: "bedroom/wals" names no panel of "bedroom": did you '
        'mean "walls"?',
    ),
    (
        '"bedroom/walls"',
        '"bed/walls"',
        'house.toml:60 plan[0].treat[0].on: "bed/walls" names no panel: there is no space "bed"; '
        'did you mean "bedroom"?',
    ),
    (
        'id = "walls"',
        'id = "walls"\nextends = "wals"',
        'house.toml:60 plan[0].extends: there is no plan "wals": did you mean "walls"?',
    ),
    (
        'id = "walls"',
        'id = "walls"\nextends = "walls"',
        'house.toml:60 plan[0].extends: plans extend one another in a circle: "walls" → "walls"',
    ),
    (
        'id = "walls"',
        'id = "as-built"',
        'house.toml:59 plan[0].id: "as-built" always exists and has no treatment: give this plan '
        "another id",
    ),
]


@pytest.mark.parametrize(("old", "new", "message"), ONE_FAULT)
def test_one_mistake_gives_one_message(
    messages: Callable[..., list[str]],
    changed: Callable[..., str],
    old: str,
    new: str,
    message: str,
) -> None:
    assert messages(changed((old, new))) == [message]
