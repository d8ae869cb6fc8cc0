"""Resistance between places, against the closed form of two contacts on a large sheet."""

from __future__ import annotations

import json
from math import acosh, pi

import numpy as np
import pytest

from envelope.cli import main
from envelope.errors import RangeError
from envelope.project import load_text
from envelope.works.probing import Place, resistances_between

JOB = """
format = 1
name = "Hall"
[construction]
exterior-wall = "timber-wall"
slab = "ground-slab"
roof = "ceiling-and-tiled-roof"
[[storey]]
id = "ground"
floor = "0 m"
[[space]]
id = "hall"
storey = "ground"
size = "12 m x 12 m"
height = "3 m"
[[treatment]]
id = "coating"
kind = "sheet"
sheet-resistance = "5 ohm/sq"
[[treatment]]
id = "film"
kind = "table"
loss = { "1 GHz" = "25 dB", "3 GHz" = "25 dB" }
[[receiver]]
id = "bed"
space = "hall"
at = "2, 2, 1 m"
[[plan]]
id = "ceiling"
treat = [{ on = "hall/ceiling", with = "coating" }, { on = "hall/floor", with = "coating" }]
[[plan]]
id = "film"
treat = [{ on = "hall/ceiling", with = "film" }]
"""


def place(name: str, panel: str, *at: float) -> Place:
    return Place(name=name, panel=panel, position_m=np.array(at))


def test_two_probes_on_a_large_sheet() -> None:
    """R = (Rs/π) acosh(D/2a), two round contacts on an unbounded sheet (2-D conduction).

    1 m apart in the middle of 12 m × 12 m, radius 10 mm: 5/π · acosh(50) = 7.329 Ω; the edges,
    6 m away, add less than 1 %.
    """
    job = load_text(JOB, path="job.toml")
    places = [place("a", "hall/ceiling", 5.5, 6.0, 3.0), place("b", "hall/ceiling", 6.5, 6.0, 3.0)]
    found = resistances_between(job, job.plan("ceiling"), places)
    exact = 5.0 / pi * acosh(1.0 / 0.02)
    assert found[0, 1] == pytest.approx(exact, rel=0.01)
    assert found[0, 1] == found[1, 0]
    assert found[0, 0] == 0.0


def test_places_on_conductors_that_do_not_touch() -> None:
    job = load_text(JOB, path="job.toml")
    places = [place("a", "hall/ceiling", 5.0, 6.0, 3.0), place("b", "hall/floor", 5.0, 6.0, 0.0)]
    assert np.isinf(resistances_between(job, job.plan("ceiling"), places)[0, 1])


@pytest.mark.parametrize(
    ("plan", "second", "message"),
    [
        ("ceiling", place("b", "hall/1", 5.0, 0.0, 1.0), "b: nothing that conducts is there"),
        ("ceiling", place("b", "hall/ceiling", 5.0, 6.01, 3.0), "two probes at one place"),
        ("ceiling", place("b", "hall/ceiling", 5.0, 0.002, 3.0), "does not lie within"),
    ],
)
def test_places_that_cannot_be(plan: str, second: Place, message: str) -> None:
    job = load_text(JOB, path="job.toml")
    first = place("a", "hall/ceiling", 5.0, 6.0, 3.0)
    with pytest.raises(RangeError, match=message):
        resistances_between(job, job.plan(plan), [first, second])


def test_the_command(tmp_path, capsys) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "job.toml"
    path.write_text(JOB, encoding="utf-8")
    command = ["bond", str(path), "--plan", "ceiling", "--json"]
    both = ["--probe", "hall/ceiling: 5.5 m, 6 m", "--probe", "hall/ceiling: 6.5 m, 6 m"]
    assert main([*command, *both]) == 0
    (pair,) = json.loads(capsys.readouterr().out)["resistances"]
    assert pair["resistance_ohm"] == pytest.approx(7.33, rel=0.01)
    for wrong, message in (
        ("hall/cieling: 1 m, 1 m", "did you mean hall/ceiling"),
        ("hall/ceiling: 1 m", "write a face and two lengths"),
        ("hall/ceiling: 1 m, 2", "hall/ceiling: 1 m, 2"),
    ):
        assert main([*command, "--probe", wrong, *both[:2]]) == 2
        assert message in capsys.readouterr().err
