"""The tables against the whole analysis, on plans by chance of the sample jobs."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from envelope.building.job import Job
from envelope.building.selectors import select
from envelope.exposure.analysis import analyze_plan, bench_of
from envelope.exposure.casts import cast_job
from envelope.plans.level_tables import without_untouched_spaces
from envelope.plans.terms import tables_of
from envelope.plans.units import Option, Unit, plan_of
from envelope.project import load

MODELS = Path(__file__).parents[3] / "models"


def unit(job: Job, name: str, *treatments: tuple[str, ...]) -> Unit:
    panels = select(job.building, name)
    options = [Option(label="as it is", treatments=dict.fromkeys(panels, ()))]
    options += [
        Option(label=" + ".join(each), treatments=dict.fromkeys(panels, each))
        for each in treatments
    ]
    return Unit(id=name, title=name, options=tuple(options))


def house() -> tuple[Job, list[Unit]]:
    job = load(MODELS / "house.toml")
    units = [
        unit(job, "bedroom/walls", ("coating",)),
        unit(job, "bedroom/ceiling", ("coating",)),
        unit(job, "bedroom/floor", ("floor-fabric",), ("floor-fabric", "floor-fabric")),
        unit(job, "bedroom/W1", ("film",), ("curtain",), ("film", "curtain")),
        unit(job, "bedroom/W1/*", ("coating",)),
        unit(job, "bedroom/D1", ("door-sheet",)),
        unit(job, "closet/walls", ("coating",)),
        unit(job, "kitchen/ceiling", ("coating",)),
    ]
    return job, units


def bedroom() -> tuple[Job, list[Unit]]:
    job = load(MODELS / "bedroom.toml")
    units = [
        *(unit(job, f"bedroom/{wall}", ("coating",)) for wall in (1, 2, 3, 4)),
        unit(job, "bedroom/windows", ("film",)),
        unit(job, "bedroom/reveals", ("coating",)),
        unit(job, "bedroom/doors", ("door-fabric",)),
        unit(job, "bedroom/floor", ("floor-mesh",)),
    ]
    polarized = tuple(replace(each, polarization="vertical") for each in job.sources)
    return replace(job, sources=polarized), units


@pytest.mark.parametrize("sample", [house, bedroom])
@pytest.mark.parametrize("max_cells", [1500, 6])
def test_tables_give_what_the_analysis_gives(sample, max_cells: int) -> None:  # type: ignore[no-untyped-def]
    job, units = sample()
    casts = cast_job(job)
    bench = bench_of(job, casts)
    base = job.plan("as-built")
    tables = tables_of(
        job=job, casts=casts, bench=bench, units=units, base=base, max_cells=max_cells
    )
    rng = np.random.default_rng(3)
    plans = np.array([[rng.integers(len(u.options)) for u in units] for _ in range(25)])
    plans[0] = 0
    found = tables.levels(plans)
    merged = tables.merged.levels(plans)
    less = without_untouched_spaces(tables).levels(plans)
    for chosen, levels in zip(plans, found, strict=True):
        plan = plan_of(units, chosen, base=base, name="tried")
        result = analyze_plan(bench=bench, plan=plan, casts=casts)
        expected = [receiver.level_w_m2 for receiver in result.receivers]
        assert levels == pytest.approx(expected, rel=1e-9)
    assert merged == pytest.approx(found, rel=1e-12)
    assert less == pytest.approx(found, rel=1e-9)
    if max_cells == 6:
        assert len(tables.paths.outputs) > 0
