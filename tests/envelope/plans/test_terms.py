"""The tables against the whole analysis, on plans by chance of the sample jobs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from envelope.building.fitted import Fitted, FittedPlace
from envelope.building.job import Job
from envelope.building.selectors import select
from envelope.exposure.analysis import analyze_plan, bench_of
from envelope.exposure.casts import Casts, cast_job
from envelope.exposure.transmission import Bench
from envelope.plans.level_tables import without_untouched_spaces
from envelope.plans.terms import tables_of
from envelope.plans.units import Option, Unit, plan_of
from envelope.project import load
from envelope.rays import Sampling

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


def attic() -> tuple[Job, list[Unit]]:
    """A chimney stands in the bedroom: two of its walls face each other through it."""
    job = load(MODELS / "attic.toml")
    units = [
        unit(job, "bedroom/5", ("coating",)),
        unit(job, "bedroom/6", ("coating",)),
        unit(job, "bedroom/7", ("coating",)),
        unit(job, "bedroom/ceiling*", ("coating",)),
        unit(job, "bedroom/windows", ("film",)),
    ]
    return job, units


@dataclass(frozen=True, kw_only=True)
class Analysed:
    """A sample job, and what the whole analysis says of plans by chance."""

    job: Job
    units: list[Unit]
    casts: Casts
    bench: Bench
    plans: np.ndarray
    levels_w_m2: np.ndarray


@pytest.fixture(scope="module", params=[house, bedroom, attic])
def analysed(request: pytest.FixtureRequest) -> Analysed:
    job, units = request.param()
    few = Sampling(points_per_panel=2**6, points=2**10) if request.param is attic else None
    casts = cast_job(job) if few is None else cast_job(job, sampling=few)
    bench = bench_of(job, casts)
    rng = np.random.default_rng(3)
    plans = np.array([[rng.integers(len(u.options)) for u in units] for _ in range(25)])
    plans[0] = 0
    base = job.plan("as-built")
    levels = []
    for chosen in plans:
        plan = plan_of(units, chosen, base=base, name="tried")
        result = analyze_plan(bench=bench, plan=plan, casts=casts, with_ranks=False)
        levels.append([receiver.level_w_m2 for receiver in result.receivers])
    return Analysed(
        job=job, units=units, casts=casts, bench=bench, plans=plans, levels_w_m2=np.array(levels)
    )


def test_tables_have_what_readings_say_of_each_source_at_each_bed() -> None:
    """Readings put a source at one bed above the model and leave it as it is at another."""
    job, units = house()
    places = {
        receiver.id: FittedPlace(
            plans=("as-built",),
            covariance_db2=np.eye(1),
            work_db2=(0.0,),
            error_db=np.zeros((1, 2)),
            parts_w_m2=({source.id: (1.0, 2.0)},),
            shift_db=(3.0 + number,),
        )
        for number, (receiver, source) in enumerate(
            zip(job.receivers, reversed(job.sources), strict=False)
        )
    }
    fitted = Fitted(
        count=1, seed=0, chosen=np.zeros(2, dtype=np.int64), level={}, duty={}, effective=1.0,
        shift_db=-1.0, places=places,
    )  # fmt: skip
    job = replace(job, fitted=fitted)
    casts = cast_job(job, sampling=Sampling(points_per_panel=2**6, points=2**10))
    bench = bench_of(job, casts)
    base = job.plan("as-built")
    tables = tables_of(job=job, casts=casts, bench=bench, units=units, base=base)
    for chosen in (np.zeros(len(units), dtype=np.int64), np.ones(len(units), dtype=np.int64)):
        plan = plan_of(units, chosen, base=base, name="tried")
        result = analyze_plan(bench=bench, plan=plan, casts=casts, with_ranks=False)
        levels = [receiver.level_w_m2 for receiver in result.receivers]
        assert tables.levels(chosen[np.newaxis])[0] == pytest.approx(levels, rel=1e-9)


@pytest.mark.parametrize("max_cells", [1500, 6])
def test_tables_give_what_the_analysis_gives(analysed: Analysed, max_cells: int) -> None:
    tables = tables_of(
        job=analysed.job,
        casts=analysed.casts,
        bench=analysed.bench,
        units=analysed.units,
        base=analysed.job.plan("as-built"),
        max_cells=max_cells,
    )
    found = tables.levels(analysed.plans)
    assert found == pytest.approx(analysed.levels_w_m2, rel=1e-9)
    assert tables.merged.levels(analysed.plans) == pytest.approx(found, rel=1e-12)
    less = without_untouched_spaces(tables).levels(analysed.plans)
    assert less == pytest.approx(found, rel=1e-9)
    if max_cells == 6:
        assert len(tables.paths.outputs) > 0
