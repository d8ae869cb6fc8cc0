"""Steps of a sequence, each with what it changes, costs and brings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from envelope.building.job import NOW_OR_NEVER, Job, Plan
from envelope.exposure.differences import LevelDraws, difference, paired
from envelope.exposure.model_error import difference_own_db
from envelope.plans.candidates import Candidates
from envelope.plans.decision import Change, Decision, Rival, Step
from envelope.plans.purchases import cents_of
from envelope.plans.rivals import Rivalry
from envelope.plans.search import Front
from envelope.plans.sequence import Chain, Ints, ordered_within
from envelope.plans.sure import target_odds
from envelope.plans.units import changes_in, groups_of, plan_of
from envelope.works.takeoff import take_off


def is_urgent(job: Job, panel: str) -> bool:
    """Whether a face is out of reach later."""
    return job.work.get(panel) == NOW_OR_NEVER


def level_at(drawn: LevelDraws, receiver: str, sources: Sequence[str] | None = None) -> float:
    """Nominal level at a receiver from some sources together, or from all. [W/m²]"""
    if sources is not None and not sources:
        return 0.0
    return float(drawn.level_w_m2(receiver, sources)[0])


def by_source(job: Job, drawn: LevelDraws, receiver: str) -> tuple[tuple[str, float], ...]:
    """Level that each source brings to a receiver, the strongest first."""
    levels = [(source.id, level_at(drawn, receiver, (source.id,))) for source in job.sources]
    return tuple(sorted(levels, key=lambda each: (-each[1], each[0])))


def by_receiver(drawn: LevelDraws, names: Sequence[str]) -> tuple[tuple[str, float], ...]:
    """Level at each receiver, the worst first."""
    levels = [(name, level_at(drawn, name)) for name in names]
    return tuple(sorted(levels, key=lambda each: (-each[1], each[0])))


def taken_off(job: Job, chain: Chain, *, plans: Sequence[Plan], candidates: Candidates) -> Chain:
    """The chain with the cost of each plan as the take-off counts it: cut, bonded, in packages.

    Parameters
    ----------
    job : Job
    chain : Chain
        Costed by areas, as the search needs it.
    plans : (steps + 1,) Plan
        Of the chain.
    candidates : Candidates
        What the chain chooses from.
    """
    if not candidates.priced:
        return chain
    return replace(chain, cents=_bills(job, plans))


def front_taken_off(job: Job, decision: Decision, *, most: int | None = None) -> Front:
    """The front with its costs on the basis of the steps: cut, bonded, in packages.

    Parameters
    ----------
    job : Job
    decision : Decision
        Whose front is costed by areas, as the search needs it.
    most : int, optional
        Plans taken off, spread evenly over the front, where a picture needs no more; a house's
        take-off takes some hundredths of a second.

    Returns
    -------
    front : Front
        In order of cost, without the plans that another one beats at these costs, and without
        those beyond the budget.
    """
    front, candidates = decision.front, decision.candidates
    if not candidates.priced:
        return front
    count = len(front.cents)
    kept = np.unique(np.linspace(0, count - 1, min(count, most or count)).round().astype(int))
    chosen = front.plans[kept]
    plans = [
        plan_of(candidates.units, each, base=decision.today, name="of the front")
        for each in chosen.tolist()
    ]
    cents = _bills(job, plans)
    levels_w_m2 = front.levels_w_m2[kept]
    order = np.lexsort((levels_w_m2, cents))
    best = np.minimum.accumulate(levels_w_m2[order])
    order = order[np.append(True, best[1:] < best[:-1])]
    if decision.budget_cents is not None:
        order = order[cents[order] <= decision.budget_cents]
    return replace(front, cents=cents[order], levels_w_m2=levels_w_m2[order], plans=chosen[order])


def _bills(job: Job, plans: Sequence[Plan]) -> Ints:
    """What each plan costs as the take-off counts it, with what is paid for at sources. [cents]"""
    return np.array([cents_of(take_off(job, plan).bill.net) for plan in plans], dtype=np.int64)


def changes_between(
    job: Job, candidates: Candidates, before: Ints, after: Ints
) -> tuple[Change, ...]:
    """What makes one choice (units,) of options of another.

    Parameters
    ----------
    job : Job
    candidates : Candidates
        What is chosen from.
    before, after : (units,) int
        Index of the option of each unit.
    """
    units = candidates.units
    groups = groups_of(units)
    found = []
    for unit, old, new in ordered_within(units, before, after):
        index = units.index(unit)
        mates = list(groups.get(unit.group, (index,)))
        found.append(
            Change(
                unit=unit.title,
                label=new.label,
                panels=tuple(sorted(each for each, names in new.treatments.items() if names)),
                area_m2=candidates.areas_m2[index][int(after[index])],
                was=old.label if before[index] else "",
                now_or_never=any(is_urgent(job, each) for each in new.treatments),
                source=new.change,
                group=unit.group,
                group_units=len(mates),
                group_done=int((after[mates] > 0).sum()),
            )
        )
    return tuple(found)


def steps_of(
    job: Job,
    chain: Chain,
    *,
    plans: Sequence[Plan],
    drawn: Sequence[LevelDraws],
    receivers: Sequence[str],
    candidates: Candidates,
    today: LevelDraws,
    target_w_m2: float | None,
    rivals: Sequence[Rivalry | None],
) -> tuple[Step, ...]:
    """Steps between the plans of a chain.

    Parameters
    ----------
    job : Job
    chain : Chain
    plans, drawn : (steps + 1,) of Plan and LevelDraws
        Of the chain.
    receivers : sequence of str
        Ids of those that count.
    candidates : Candidates
        What the chain chooses from.
    today : LevelDraws
        Of the plan without treatment.
    target_w_m2 : float, optional
        [W/m²]
    rivals : (steps,) of Rivalry, optional
        What else the money of each step would buy.
    """
    steps = []
    at_first = by_receiver(today, receivers)[0][0]
    for number in range(1, len(plans)):
        before, after = drawn[number - 1], drawn[number]
        cents = int(chain.cents[number] - chain.cents[number - 1])
        worst = by_receiver(before, receivers)[0][0]
        gain = difference(before, after, worst, as_built=today)
        rival = rivals[number - 1]
        steps.append(
            Step(
                changes=changes_between(
                    job, candidates, chain.plans[number - 1], chain.plans[number]
                ),
                plan=plans[number],
                cents=cents,
                total_cents=int(chain.cents[number]),
                levels_w_m2=by_receiver(after, receivers),
                gain_at=worst,
                gain=gain,
                so_far=difference(today, after, at_first),
                db_per_hundred=gain.below_db / (cents / 1e4)
                if cents > 0 and candidates.priced
                else None,
                target_odds=None
                if target_w_m2 is None
                else target_odds(after, receivers, today, target_w_m2),
                sources=changes_in(candidates.units, chain.plans[number]),
                rival=None
                if rival is None
                else Rival(
                    changes=changes_between(job, candidates, chain.plans[number - 1], rival.chosen),
                    level_w_m2=rival.level_w_m2,
                    odds=_odds(rival.drawn, after, receivers, today),
                ),
            )
        )
    return tuple(steps)


def _odds(
    other: LevelDraws, step: LevelDraws, receivers: Sequence[str], today: LevelDraws
) -> float:
    """How likely the worst receiver has less under a step than under another plan."""
    if len(receivers) == 1:
        return difference(other, step, receivers[0], as_built=today).odds
    worst = [by_receiver(each, receivers)[0][0] for each in (other, step)]
    own_db = [
        each.own_db(name, as_built=today) for each, name in zip((other, step), worst, strict=True)
    ]
    levels = [
        np.max([each.level_w_m2(name) for name in receivers], axis=0) for each in (other, step)
    ]
    error_db = difference_own_db(one_db=own_db[0], other_db=own_db[1])
    return paired(levels[0], levels[1], error_db=error_db).odds
