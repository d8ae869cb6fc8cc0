"""Bands of radio services, against a table of the standards' operating bands.

Cellular: 3GPP TS 38.101-1, Table 5.2-1 (the same numbering as TS 36.101 for the older bands),
decoded from channel number limits in a public 5G library, rounded to the band edge. Other services
as marked in the table, most from memory. Accessed 2026-11.
"""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from envelope.physics.tables.services import SERVICES, Service

ROWS = {
    row["quantity"]: row
    for row in csv.DictReader(
        (Path(__file__).parent / "authorities" / "bands.csv").read_text("utf-8").splitlines()
    )
}
CELLULAR = [each for each in SERVICES if "Table 5.2-1" in each.source and "end to end" not in
            each.source]  # fmt: skip
# Services of other rules, and the row of the table that they stand in.
OTHERS = {
    "Wi-Fi 2.4": "Wi-Fi / ISM 2.4 GHz",
    "Wi-Fi 6": "Wi-Fi 6E/7",
    "Bluetooth": "Bluetooth",
    "Zigbee": "Zigbee/Thread (IEEE 802.15.4)",
    "DECT": "DECT Europe",
    "DECT US": "DECT US",
    "smart meter 915": "smart meter mesh, US",
    "TETRA": "TETRA / public safety",
    "FM": "FM broadcast",
}


def _mhz(text: str) -> tuple[float, float]:
    low, high = re.findall(r"\d+(?:\.\d+)?", text)[:2]
    return float(low), float(high)


@pytest.mark.parametrize("service", CELLULAR, ids=lambda each: each.name)
def test_a_cellular_service_has_its_bands_limits(service: Service) -> None:
    number = re.search(r"bands? n?(\d+)", service.source)
    assert number is not None
    way = "downlink" if "downlink" in service.source else "TDD"
    row = ROWS[f"cellular band n{number[1]} {way}"]
    assert (service.low_hz / 1e6, service.high_hz / 1e6) == _mhz(row["value"])


@pytest.mark.parametrize("name", OTHERS)
def test_another_service_has_the_limits_of_its_rule(name: str) -> None:
    service = next(each for each in SERVICES if each.name == name)
    row = ROWS[OTHERS[name]]
    assert (service.low_hz / 1e6, service.high_hz / 1e6) == _mhz(row["value"])
    assert ("unverified" in row["status"]) == ("unverified" in service.source)
