"""What a notebook calls: cast a job once, analyse any number of plans, compare them.

job = envelope.solve_levels(envelope.load("house.toml"))
casts = envelope.cast(job)                       geometry only, once
envelope.analyze(job, casts, plans=["walls", envelope.Plan(...)])
envelope.compare(job, casts)
envelope.decide(job, casts).steps                what to do first
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Literal

from envelope.building.job import AS_BUILT, Job, Plan
from envelope.building.selectors import select, unknown
from envelope.errors import EnvelopeError, RangeError, UnknownNameError
from envelope.exposure import analysis as analyses
from envelope.exposure.analysis_record import Analysis
from envelope.exposure.casts import Casts, cast_job
from envelope.exposure.comparison import Comparison, compared
from envelope.exposure.solid_angles import THRESHOLD_DB
from envelope.plans import decide as decisions
from envelope.plans.decision import Decision
from envelope.rays import DEFAULT, FINE, Sampling

Rays = Literal["few", "usual", "fine"]
_SAMPLINGS: dict[str, Sampling] = {
    "few": Sampling(points_per_panel=2**7, points=2**11),
    "usual": DEFAULT,
    "fine": FINE,
}


def cast(
    job: Job,
    *,
    rays: Rays = "usual",
    error: float | None = None,
    progress: Callable[[float], None] | None = None,
    cancel: Callable[[], bool] | None = None,
) -> Casts:
    """Cast rays between a job's receivers, its sources and the outside: geometry only.

    Cast once: plans, treatments and frequencies do not matter here, only where things stand.

    Parameters
    ----------
    job : Job
        With at least one receiver.
    rays : "few", "usual" or "fine"
        "few" for a first look, with a standard error of some per cent; "fine" casts about ten
        times as many as usual.
    error : float, optional
        Relative standard error to reach, such as 5e-4, by casting more where it helps most; unless
        stated 1e-3, of fine rays 2e-4, and none is asked of few.
    progress : callable, optional
        Told the share done, 0 to 1.
    cancel : callable, optional
        Asked now and then; true stops with `CancelledError`.
    """
    if not job.receivers:
        raise EnvelopeError("this job has no receiver: there is nothing to look from")
    if rays not in _SAMPLINGS:
        raise RangeError(f"rays = {rays!r} is not allowed: it is one of {', '.join(_SAMPLINGS)}")
    sampling = _SAMPLINGS[rays]
    if error is not None:
        sampling = replace(sampling, error=error, most_rays=FINE.most_rays)
    return cast_job(job, sampling=sampling, progress=progress, cancel=cancel)


def analyze(
    job: Job,
    casts: Casts | None = None,
    *,
    plans: Sequence[str | Plan] | None = None,
    threshold_db: float = THRESHOLD_DB,
    ranges: bool = True,
    edges: bool = False,
) -> Analysis:
    """Analyse plans of a job: what is unshielded, the gaps, the level at each receiver.

    Parameters
    ----------
    job : Job
        With the levels of its sources known; see `solve_levels`.
    casts : Casts, optional
        From `cast`; cast anew where none are given.
    plans : sequence of str or Plan, optional
        Plans of the job by id, or plans made for it; all of the job's unless stated.
    threshold_db : float
        Loss below which a direction counts as unshielded. [dB]
    ranges : bool
        Work out the 10–90 % range of every level, which takes a second or so for a plan.
    edges : bool
        Let beams bend around the edges of openings.

    Returns
    -------
    analysis : Analysis

    Raises
    ------
    RecordError
        Where a plan names a panel or a treatment that the job does not have.
    StaleCastError
        Where the casts were made for another geometry.
    """
    chosen = None if plans is None else [_plan(job, each) for each in plans]
    return analyses.analyze(
        job=job,
        casts=cast(job) if casts is None else casts,
        plans=chosen,
        threshold_db=threshold_db,
        with_bands=ranges,
        edges=edges,
    )


def compare(
    job: Job,
    casts: Casts | None = None,
    *,
    plans: Sequence[str | Plan] | None = None,
    ranges: bool = True,
) -> Comparison:
    """Set plans beside the plan without treatment, each with its range from shared draws.

    Parameters
    ----------
    job : Job
        With the levels of its sources known; see `solve_levels`.
    casts : Casts, optional
        From `cast`; cast anew where none are given.
    plans : sequence of str or Plan, optional
        As in `analyze`; `as-built` comes first whether it is named or not.
    ranges : bool
        Work out the range of every difference, which takes a second or so for a plan.
    """
    chosen = list(job.plans) if plans is None else [_plan(job, each) for each in plans]
    with_today = [job.plan(AS_BUILT), *(plan for plan in chosen if plan.id != AS_BUILT)]
    found = analyze(job, casts, plans=with_today, ranges=ranges)
    return compared(found)


def decide(
    job: Job,
    casts: Casts | None = None,
    *,
    receiver: str | None = None,
    weights: Mapping[str, float] | None = None,
    sources: Sequence[str] = (),
    target_w_m2: float | None = None,
    target_db: float | None = None,
    budget: Decimal | None = None,
    keep: Sequence[str] = (),
    leave_sources: bool = False,
) -> Decision:
    """Find what to do first: a sequence of steps that only add, and where to stop.

    Parameters
    ----------
    job : Job
        With the levels of its sources known; see `solve_levels`. What its plans put on a kind of
        face is on offer for that kind.
    casts : Casts, optional
        From `cast`; cast anew where none are given.
    receiver : str, optional
        Id of the receiver that counts; all of them, the worst at each plan, unless given.
    weights : mapping of str to float, optional
        Of receivers: their weighted mean counts in place of the worst of them.
    sources : sequence of str
        Ids of the sources that count; all unless given.
    target_w_m2 : float, optional
        Level to get below. [W/m²]
    target_db : float, optional
        The same as decibels below today.
    budget : Decimal, optional
        What may be spent before tax, in the job's currency.
    keep : sequence of str
        Faces or groups that stay as they are, such as "bedroom/W2".
    leave_sources : bool
        Count on nothing that may be done about sources.

    Returns
    -------
    decision : Decision
        `first`, `then` and `not_worth` are the steps in order, each with its `plan`, cost, level,
        range and odds.

    Raises
    ------
    EnvelopeError
        Where nothing is on offer or the budget buys nothing that helps.
    """
    return decisions.decide(
        job,
        casts=cast(job) if casts is None else casts,
        receiver=receiver,
        keep={panel for each in keep for panel in select(job.building, each)},
        leave_sources=leave_sources,
        weights=weights,
        sources=sources,
        target_w_m2=target_w_m2,
        target_db=target_db,
        budget_cents=None if budget is None else int(budget * 100),
    )


def _plan(job: Job, plan: str | Plan) -> Plan:
    if isinstance(plan, Plan):
        return job.resolved(plan)
    names = [each.id for each in job.plans]
    if plan not in names:
        raise UnknownNameError(unknown("plan", plan, names))
    return job.plan(plan)
