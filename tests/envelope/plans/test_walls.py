"""Walls are decided one by one, and named together where they are done together."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from envelope.building.job import Job
from envelope.exposure.analysis import bench_of
from envelope.exposure.casts import Casts
from envelope.plans.candidates import SMALL_WALL_M2, candidates_of
from envelope.plans.decide import decide
from envelope.plans.decision import Change, Decision
from envelope.plans.terms import tables_of
from envelope.plans.units import groups_of, measures_of
from envelope.project import load, load_text
from envelope.text.decisions import done_words, step_lines, unit_title

Maker = Callable[..., Job]

ATTIC = """
[[space]]
id = "loft"
storey = "ground"
origin = "0, 9 m"
size = "6 m x 4 m"
height = "0 m"
ceiling = { shape = "gable", along = "x", pitch = "45 deg" }

[[dormer]]
id = "N1"
space = "loft"
origin = "1, 0 m"
size = "1.5 m x 1.5 m"
height = "2.1 m"

[[dormer]]
id = "N2"
space = "loft"
origin = "3.5, 0 m"
size = "1.5 m x 1.5 m"
height = "2.1 m"

[[receiver]]
"""


@pytest.fixture(scope="module")
def decision(small_job: Maker, small_casts: Casts) -> Decision:
    return decide(small_job("[]"), casts=small_casts)


def test_one_wall_beats_all_walls_where_the_energy_comes_from_one_side(
    small_job: Maker, small_casts: Casts
) -> None:
    """The mast stands in the south: the wall to the north brings nothing for its money."""
    job = small_job('[{ do = "off-at-night" }]')
    found = decide(job, casts=small_casts)
    units = found.candidates.units
    walls = set(groups_of(units)["bedroom/walls"])
    assert {units[number].id for number in walls} == {f"bedroom/{n}" for n in (1, 2, 3, 4)}
    tables = tables_of(
        job=job,
        casts=small_casts,
        bench=bench_of(job, small_casts),
        units=units,
        base=job.plan("as-built"),
    )
    every = np.array(list(itertools.product(*(range(len(unit.options)) for unit in units))))
    levels = tables.levels(every).max(axis=1)
    cents = found.candidates.purchases.cents(every)
    for cost, level in zip(found.front.cents, found.front.levels_w_m2, strict=True):
        assert levels[cents <= cost].min() == pytest.approx(level, rel=1e-9)
    # what walls could only do together, a part of them does for less
    chosen = every[:, sorted(walls)]
    bundled = (chosen == chosen[:, :1]).all(axis=1)
    cheaper = [
        cost
        for cost, level in zip(found.front.cents, found.front.levels_w_m2, strict=True)
        if levels[bundled & (cents <= cost)].min() > level * 1.1
    ]
    assert cheaper
    first = found.steps[0].plan.treatments
    assert 0 < len({f"bedroom/{n}" for n in (1, 2, 3, 4)} & set(first)) < 4


def test_walls_of_a_step_share_a_line_and_all_or_the_rest_of_them_a_name(
    small_job: Maker, decision: Decision
) -> None:
    job = small_job("[]")

    def change(wall: int, *, done: int) -> Change:
        return Change(
            unit=f"bedroom/{wall}",
            label="coating",
            panels=(f"bedroom/{wall}",),
            area_m2=5.0,
            was="",
            group="bedroom/walls",
            group_units=4,
            group_done=done,
        )

    one, two = [change(1, done=1)], [change(1, done=2), change(4, done=2)]
    assert done_words(job, one) == "south wall of bedroom: coating, 5.00\xa0m²"
    assert done_words(job, two) == "south and west walls of bedroom: coating, 10.00\xa0m²"
    rest = [change(2, done=4), change(3, done=4)]
    assert done_words(job, rest) == "the other walls of bedroom: coating, 10.00\xa0m²"
    every = [change(wall, done=4) for wall in (1, 2, 3, 4)]
    assert done_words(job, every) == "walls of bedroom: coating, 20.00\xa0m²"
    for step in decision.steps:
        lines = step_lines(job, step)
        assert sum("wall" in line for line in lines) <= 1  # one room, one treatment


def test_walls_together_are_a_measure_beside_each_alone(decision: Decision) -> None:
    units = decision.candidates.units
    measures = measures_of(units)
    walls = [chosen for name, label, chosen in measures if name == "bedroom/walls"]
    assert walls == [tuple(int(unit.group == "bedroom/walls") for unit in units)]
    alone = [chosen for name, _, chosen in measures if sum(chosen) == 1]
    assert len(alone) == len(units)  # each has one treatment on offer


def test_rings_of_a_room_are_one_and_so_are_the_seams_of_an_opening() -> None:
    job = load(Path(__file__).parents[3] / "models" / "attic.toml")
    units = {unit.id: unit for unit in candidates_of(job, base=job.plan("as-built")).units}
    seams = [panel for panel in job.building.space("bedroom").panels if panel.kind == "seam"]
    rings = units["bedroom/rings-round-boxes"]
    assert unit_title(job, rings.id) == "rings round boxes of bedroom"
    assert len(rings.panels) > 4
    assert set(units["bedroom/D1/seams"].panels) == {
        panel.id for panel in seams if panel.id.startswith("bedroom/D1/")
    }
    assert unit_title(job, "bedroom/D1/seams") == "seams of door D1 of bedroom"
    held = [panel for unit in units.values() for panel in unit.panels]
    assert len(held) == len(set(held))
    assert {panel.id for panel in seams} <= set(held)


def test_parts_of_a_wall_are_one_and_small_walls_go_together(
    small_text: Callable[..., str],
) -> None:
    treated = '{ on = "loft/walls", with = "coating" }, { on = "bedroom/ceiling"'
    text = small_text("[]", ("[[receiver]]\n", ATTIC), ('{ on = "bedroom/ceiling"', treated))
    job = load_text(text, path="loft.toml")
    units = {unit.id: unit for unit in candidates_of(job, base=job.plan("as-built")).units}
    assert units["loft/1"].panels == ("loft/1-1", "loft/1-2")
    assert unit_title(job, "loft/1") == "south wall of loft"
    small = units["loft/small-walls"]
    assert len(small.panels) > 1
    assert all(job.building.panel(each).area_m2 < SMALL_WALL_M2 for each in small.panels)
    assert unit_title(job, small.id) == "small walls of loft"
