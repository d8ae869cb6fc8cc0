"""Pages printed through Chromium: the paper's size, and every page within it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from envelope.cli import main

JOB = Path(__file__).parents[3] / "models" / "wiring.toml"
POINTS = {"a4": (595, 842), "letter": (612, 792)}  # 1/72 in: 210 × 297 mm; 8 1/2 × 11 in


@pytest.mark.browser
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_work_order_is_printed_on_its_paper(paper: str, tmp_path: Path) -> None:
    out = tmp_path / "work-order.pdf"
    command = ["workorder", str(JOB), "--plan", "walls-bonded", "-o", str(out), "--paper", paper]
    assert main(command) == 0
    printed = out.read_bytes()
    assert printed.startswith(b"%PDF")
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", printed)
    assert len(boxes) >= 5  # at a glance, and a page for each trade
    wide, high = POINTS[paper]
    for one, other in boxes:
        assert float(one) == pytest.approx(wide, abs=1.0)
        assert float(other) == pytest.approx(high, abs=1.0)
