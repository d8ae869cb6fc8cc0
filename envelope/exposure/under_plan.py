"""The sources and beds of a plan: its job, its casts, and a bench that works them out.

Casts are shared by all plans but for what a plan moves, which has its own: made with the job's
(`cast_job`), or here where a plan came later. Power is no matter of geometry.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import replace

from envelope.building.job import Job, Plan
from envelope.building.plan_measures import factors_under, receivers_under, sources_under
from envelope.exposure.bands import reference_of
from envelope.exposure.casts import Casts, placement_of, recast
from envelope.exposure.differences import LevelDraws
from envelope.exposure.transmission import Bench


def job_under(job: Job, plan: Plan, *, power: bool = True) -> Job:
    """A job with sources and beds as a plan leaves them; the same job where it leaves all.

    Parameters
    ----------
    job : Job
    plan : Plan
        Resolved against the job.
    power : bool
        False to leave sources as strong as they are.
    """
    sources = sources_under(plan, job.sources, power=power)
    receivers = receivers_under(plan, job.receivers)
    if sources == job.sources and receivers == job.receivers:
        return job
    return replace(job, sources=sources, receivers=receivers)


def placed(bench: Bench, plan: Plan, casts: Casts) -> tuple[Bench, Casts]:
    """Bench and casts with sources and beds where a plan puts them, power as it is.

    Parameters
    ----------
    bench : Bench
        Of the job; it keeps what a plan needs of its own.
    plan : Plan
        Resolved against the job.
    casts : Casts
        Of the job, of all its receivers or of some.
    """
    where = placement_of(plan, bench.job)
    if not where:
        return bench, casts
    name: Hashable = ("placed", where, casts.receivers)

    def place() -> tuple[Bench, Casts]:
        there = job_under(bench.job, plan, power=False)
        return bench.of(there), recast(there, casts, where)

    return bench.kept(name, place)


def under(bench: Bench, plan: Plan, casts: Casts) -> tuple[Bench, Casts]:
    """Bench and casts with sources and beds as a plan has them, power too.

    Parameters
    ----------
    bench, plan, casts
        As `placed` takes them.
    """
    reference_of(bench)  # one for all plans, whatever they switch off
    own, own_casts = placed(bench, plan, casts)
    if not factors_under(plan, bench.job.sources):
        return own, own_casts
    return own.of(job_under(bench.job, plan)), own_casts


def powered(drawn: LevelDraws, plan: Plan, job: Job) -> LevelDraws:
    """Draws of a plan with the power of sources as it leaves them, in which levels are linear."""
    factors = factors_under(plan, job.sources)
    if not factors:
        return drawn
    return replace(
        drawn,
        by_source={
            (receiver, source): each.times(factors[source]) if source in factors else each
            for (receiver, source), each in drawn.by_source.items()
        },
    )
