"""Statistics of building entry loss against Recommendation ITU-R P.2109-2, section 3.

The Recommendation was not at hand. Coefficients were seen in five public implementations; the
losses in `authorities/itu_r_p2109.csv` were computed apart from this code, by code that agrees
with the 31,250 rows of a public validation table within 1e-8 dB.
"""

import csv
import re
from pathlib import Path

import numpy as np
import pytest

from envelope.errors import RangeError
from envelope.physics.entry_loss import building_entry_loss_db
from envelope.physics.tables import p2109


def rows(quantity):
    path = Path(__file__).parent / "authorities" / "itu_r_p2109.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        found = [row for row in csv.DictReader(handle) if row["quantity"].startswith(quantity)]
    assert found
    return found


def said(row, key):
    return re.search(rf"{key}=([^;]+)", row["inputs"])[1].strip().replace(" ", "-")


@pytest.mark.parametrize("row", rows("P.2109 coefficient"), ids=lambda row: row["inputs"])
def test_coefficients(row):
    name, letter = row["inputs"].removeprefix("building=").split("; ")
    known = p2109.BUILDINGS[name.replace(" ", "-")]
    assert getattr(known, letter) == float(row["value"])


@pytest.mark.parametrize("row", rows("building entry loss"), ids=lambda row: row["inputs"])
def test_losses(row):
    loss, known = building_entry_loss_db(
        building=said(row, "building"),
        frequency_hz=[1e9 * float(said(row, "f_GHz"))],
        share=[float(said(row, "p_percent")) / 100.0],
        elevation_deg=float(said(row, "elevation_deg")),
    )
    assert loss[0, 0] == pytest.approx(float(row["value"]), abs=1e-6)
    assert known[0]


def test_the_figures_of_report_p2346s_house():
    """Traditional buildings at 2.57 GHz: 5.8, 15.3 and 27.8 dB at 10, 50 and 90 %."""
    loss, _ = building_entry_loss_db(
        building="traditional", frequency_hz=[2.57e9], share=[0.1, 0.5, 0.9]
    )
    assert loss[:, 0] == pytest.approx([5.8, 15.3, 27.8], abs=0.05)


def test_more_of_anything_loses_more():
    shares = np.linspace(0.01, 0.99, 21)
    for kind in p2109.BUILDINGS:
        loss, _ = building_entry_loss_db(building=kind, frequency_hz=[0.9e9, 28e9], share=shares)
        assert (np.diff(loss, axis=0) > 0.0).all()
        steep, _ = building_entry_loss_db(
            building=kind, frequency_hz=[0.9e9, 28e9], share=shares, elevation_deg=-40.0
        )
        assert (steep > loss).all()
        above, _ = building_entry_loss_db(
            building=kind, frequency_hz=[0.9e9, 28e9], share=shares, elevation_deg=40.0
        )
        assert above == pytest.approx(steep, abs=1e-12)


def test_where_it_does_not_speak():
    _, known = building_entry_loss_db(
        building="traditional", frequency_hz=[60e6, 80e6, 100e9], share=[0.5]
    )
    assert known.tolist() == [False, True, True]
    plain = {"building": "traditional", "frequency_hz": [1e9], "share": [0.5]}
    for change, message in (
        ({"building": "castle"}, "unknown kind of building 'castle'"),
        ({"share": [0.0]}, "between 0 and 1"),
        ({"elevation_deg": 91.0}, "elevation is 91°"),
    ):
        with pytest.raises(RangeError, match=message):
            building_entry_loss_db(**{**plain, **change})
