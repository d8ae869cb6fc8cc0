"""What an answer costs once a job is cast: another plan, all plans, several hundred draws."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from measures import least_seconds

from envelope.building.job import Job
from envelope.exposure.analysis import analyze, analyze_plan, bench_of
from envelope.exposure.casts import cast_job
from envelope.exposure.tolerances import draw
from envelope.project import load
from envelope.rays import DEFAULT, Sampling

DRAWS = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """Levels, gaps and all, each from the casts of one job."""

    job: str
    plans: int
    bands: int
    draws: int
    cast_s: float
    one_plan_s: float  # one panel's treatment put on and taken off in turns
    all_plans_s: float  # in all bands
    afresh_s: float  # the same with every stack worked out anew
    draws_s: float  # of one plan


def actions(
    job: Job, *, sampling: Sampling = DEFAULT, draws: int = DRAWS
) -> dict[str, Callable[[], object]]:
    """What is measured, each done once already."""
    casts = cast_job(job, sampling=sampling)
    bench = bench_of(job, casts)
    plan = job.plans[-1]
    bare = dict(plan.treatments)
    bare.pop(next(iter(bare)))
    turns = [plan, replace(plan, id="one-less", treatments=bare)]

    def one_plan() -> None:
        turns.reverse()
        analyze_plan(bench=bench, plan=turns[0], casts=casts, with_ranks=False)

    found: dict[str, Callable[[], object]] = {
        "cast": lambda: cast_job(job, sampling=sampling),
        "one plan": one_plan,
        "all plans": lambda: analyze(job=job, casts=casts, bench=bench, ranked_plans=()),
        "afresh": lambda: analyze(job=job, casts=casts, ranked_plans=()),
        "draws": lambda: analyze_plan(
            bench=bench, plan=plan, casts=casts, draws=draw(job, count=draws), with_ranks=False
        ),
    }
    for action in (*found.values(), one_plan):
        action()
    return found


def answers(
    path: Path,
    *,
    rounds: int,
    sampling: Sampling = DEFAULT,
    draws: int = DRAWS,
    clock: Callable[[], float] = time.perf_counter,
) -> Answers:
    """Least times of each."""
    job = load(path)
    least = least_seconds(actions(job, sampling=sampling, draws=draws), rounds=rounds, clock=clock)
    return Answers(
        job=path.stem,
        plans=len(job.plans),
        bands=len({source.band_hz for source in job.sources}),
        draws=draws,
        cast_s=least["cast"],
        one_plan_s=least["one plan"],
        all_plans_s=least["all plans"],
        afresh_s=least["afresh"],
        draws_s=least["draws"],
    )


def answer_rows(found: Answers, few: Callable[[float], str]) -> list[list[str]]:
    """Rows of the table, each a ratio to the cast and a time."""

    def over_cast(seconds: float) -> str:
        ratio = seconds / found.cast_s
        return f"1 : {few(1.0 / ratio)}" if ratio < 1.0 else f"{few(ratio)} : 1"

    every = f"all {found.plans} plans of {found.job} in {found.bands} bands"
    return [
        [what, f"{over_cast(seconds)}; {few(1e3 * seconds)} ms"]
        for what, seconds in (
            (f"one panel treated otherwise in {found.job}, over its casts", found.one_plan_s),
            (f"{every}, over its casts", found.all_plans_s),
            ("the same with every stack worked out anew", found.afresh_s),
            (f"{found.draws} draws of one plan of {found.job}, over its casts", found.draws_s),
        )
    ]
