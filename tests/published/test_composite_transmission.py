"""Composite transmission of building acoustics, for a wall or a room made of unlike parts.

R = −10 lg (Σ Sᵢ 10^(−Rᵢ/10) / Σ Sᵢ), the area-weighted mean of transmissions, as textbooks of
building acoustics give it for a wall with a window (from memory; no text of a standard was seen,
and the worked pairs below are reckoned from the formula by hand). It holds for an even field that
falls on every part alike, with losses that are the same at every angle: exactly what the even
cast carries.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import tomlkit

from envelope.exposure.analysis import bench_of
from envelope.exposure.casts import Casts
from envelope.exposure.transmission import stacks_of
from envelope.project import load_text
from envelope.rays import cast_even

# Wall of 12.5 m² and 50 dB: window's area and loss, composite loss typed in from the formula.
WALL_WITH_WINDOW = (
    # window m², its dB, wall dB, composite dB
    (2.5, 30.0, 50.0, 36.8),  # 10 lg(12.5 / (10·1e-5 + 2.5·1e-3))
    (1.25, 20.0, 50.0, 30.0),  # a tenth of the area at 20 dB decides: 30 dB
    (0.0125, 0.0, 50.0, 29.96),  # a hole of a thousandth: no more than 30 dB, whatever the wall
)


def job_of(*, window_m2: float, window_db: float, wall_db: float):
    """A room 5 m × 4 m, 2.5 m high, all opaque but its south wall of 12.5 m²."""
    height = min(2.0, window_m2 / 0.02)
    width = window_m2 / height
    plain = {
        "format": 1,
        "name": "a wall with a window",
        "site": {"grade": "-1000 m", "reach": "0 m"},
        "construction": {
            "exterior-wall": "tight",
            "floor": "tight",
            "roof": "tight",
            "window": "pane",
        },
        "assembly": [
            {"id": "tight", "loss": "200 dB"},
            {"id": "wall", "loss": f"{wall_db} dB"},
            {"id": "pane", "loss": f"{window_db} dB"},
        ],
        "storey": [{"id": "ground", "floor": "0 m"}],
        "space": [
            {
                "id": "room",
                "storey": "ground",
                "size": "5 m x 4 m",
                "height": "2.5 m",
                "raised": True,
            }
        ],
        "panel": [{"on": "room/1", "assembly": "wall"}],
        "opening": [
            {
                "id": "W",
                "on": "room/1",
                "kind": "window",
                "at": "1 m",
                "sill": "0.2 m",
                "size": f"{width} m x {height} m",
            }
        ],
    }
    return load_text(tomlkit.dumps(plain), path="wall.toml")


def power_in(job) -> tuple[float, dict[str, float]]:
    """What an even field of unit radiance sends through each panel, and in all. [W]"""
    chain = cast_even(job.building, count=2**13)
    casts = Casts(digest=job.building.digest, receivers=(), chains={}, even=chain)
    bench = bench_of(job, casts)
    log_passed, _ = bench.along(chain, stacks_of(job, job.plans[0]), 0)
    first = chain.start[:-1]
    passed = np.exp(log_passed[first]).mean(axis=1) * chain.weights
    by_panel = np.bincount(chain.side[first], weights=passed, minlength=len(job.building.panels))
    names = [panel.id for panel in job.building.panels]
    return float(passed.sum()), dict(zip(names, by_panel.tolist(), strict=True))


@pytest.mark.parametrize(("window_m2", "window_db", "wall_db", "composite_db"), WALL_WITH_WINDOW)
def test_a_wall_with_a_window(window_m2, window_db, wall_db, composite_db):
    job = job_of(window_m2=window_m2, window_db=window_db, wall_db=wall_db)
    _, by_panel = power_in(job)
    # an even field of unit radiance brings π to each square metre
    mean = (by_panel["room/1"] + by_panel["room/W"]) / (math.pi * 12.5)
    assert -10 * math.log10(mean) == pytest.approx(composite_db, abs=0.05)
    formula = (
        (12.5 - window_m2) * 10 ** (-wall_db / 10) + window_m2 * 10 ** (-window_db / 10)
    ) / 12.5
    assert mean == pytest.approx(formula, rel=1e-9)


def test_a_whole_room_of_unlike_parts():
    """Walls, floor and roof of a bent room, each with its own loss, and two windows."""
    losses = {"wall": 11.0, "floor": 27.0, "roof": 6.5, "pane": 1.5}
    plain = {
        "format": 1,
        "name": "a room of unlike parts",
        "site": {"grade": "-1000 m", "reach": "0 m"},
        "construction": {
            "exterior-wall": "wall",
            "floor": "floor",
            "roof": "roof",
            "window": "pane",
        },
        "assembly": [{"id": name, "loss": f"{loss} dB"} for name, loss in losses.items()],
        "storey": [{"id": "ground", "floor": "0 m"}],
        "space": [
            {
                "id": "room",
                "storey": "ground",
                "height": "2.5 m",
                "raised": True,
                "footprint": "0,0  5,-0.5  5.5,4  1,4.4 m",
            }
        ],
        "opening": [
            {
                "id": f"W{wall}",
                "on": f"room/{wall}",
                "kind": "window",
                "at": "1 m",
                "sill": "0.9 m",
                "size": "1.5 m x 1.2 m",
            }
            for wall in (1, 3)
        ],
    }
    job = load_text(tomlkit.dumps(plain), path="room.toml")
    total, _ = power_in(job)
    kinds = {"floor": "floor", "ceiling": "roof", "window": "pane"}
    parts = [
        (panel.area_m2, 10 ** (-losses[kinds.get(panel.kind, "wall")] / 10))
        for panel in job.building.panels
    ]
    surface = sum(area for area, _ in parts)
    assert total / (math.pi * surface) == pytest.approx(
        sum(area * passed for area, passed in parts) / surface, rel=1e-9
    )
