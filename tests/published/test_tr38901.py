"""Material losses against 3GPP TR 38.901, Table 7.4.3-1.

Coefficients seen in at least two public implementations each; the report was not at hand.
"""

import csv
import re
from pathlib import Path

import pytest

from envelope.physics.materials import entry_loss_db

NAMES = {
    "standard multi-pane glass": "multi-pane-glass",
    "IRR glass": "coated-glass",
    "concrete": "concrete",
    "wood": "wood",
}


def rows():
    path = Path(__file__).parent / "authorities" / "tr38901_losses.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


@pytest.mark.parametrize("row", rows(), ids=lambda row: row["inputs"])
def test_penetration_loss(row):
    """Exact as printed."""
    name, f_ghz = re.fullmatch(r"material=(.*); f_GHz=([\d.]+)", row["inputs"]).groups()
    loss, in_range = entry_loss_db(material=NAMES[name], frequency_hz=[float(f_ghz) * 1e9])
    assert loss[0] == pytest.approx(float(row["value"]), abs=1e-12)
    assert in_range[0]
