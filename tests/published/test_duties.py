"""Shares of the time that transmitters send, against published surveys of duty cycles.

Wi-Fi: Prog. Biophys. Mol. Biol. 111 (2013) 30–36 and 107 (2011) 412–420, abstracts. Smart meters:
COMAR's technical information statement, abstract, and a case study of one model, 2011. DECT: a
frame of 24 slots, ETSI EN 301 406. Accessed 2026-11. Rows are typed as the sources print them.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from envelope.physics.tables.duties import DUTIES, IDLE_CORDLESS

VALUE = {
    row["quantity"]: float(row["value"])
    for row in csv.DictReader(
        (Path(__file__).parent / "authorities" / "duties.csv").read_text("utf-8").splitlines()
    )
}


def test_a_routers_range_holds_what_surveys_found() -> None:
    found = DUTIES["router"]
    low, high = 100.0 * found.low, 100.0 * found.high
    assert low <= VALUE["Wi-Fi access point duty factor least"]
    assert low < VALUE["Wi-Fi duty cycle median"] < 100.0 * found.middle
    assert VALUE["Wi-Fi duty cycle 95th percentile"] < high
    assert VALUE["Wi-Fi access point duty factor most"] < high
    assert high == pytest.approx(VALUE["Wi-Fi duty cycle while files are sent"], rel=0.1)
    mean = VALUE["Wi-Fi access point duty factor mean"]
    assert 100.0 * found.middle == pytest.approx(mean, rel=0.05)


def test_an_idle_cordless_base_sends_in_one_slot_of_its_frame() -> None:
    assert pytest.approx(1.0 / VALUE["DECT frame"], rel=1e-12) == IDLE_CORDLESS
    mean_mw = VALUE["DECT peak power"] * IDLE_CORDLESS
    assert mean_mw == pytest.approx(VALUE["DECT mean power"], rel=0.05)  # "about 10"
    assert DUTIES["cordless base"].middle == IDLE_CORDLESS


def test_a_meter_sends_at_most_as_long_as_the_busiest_that_was_measured() -> None:
    found = DUTIES["meter"]
    assert found.high == pytest.approx(VALUE["smart meter transmitting"] / 60.0, rel=1e-9)
    assert 100.0 * found.middle < VALUE["smart meter duty cycle"]
