"""What to do first: free measures, a sequence that can be built, where to stop, what not to do."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial

import numpy as np

from envelope.building.job import AS_BUILT, Job, Plan, Receiver
from envelope.building.plan_measures import heard_by
from envelope.errors import EnvelopeError, RangeError
from envelope.exposure.analysis import analyze_plan
from envelope.exposure.casts import Casts
from envelope.exposure.differences import Difference, LevelDraws, difference
from envelope.exposure.rests import rests_on
from envelope.exposure.transmission import Bench
from envelope.geometry.plane import Floats
from envelope.plans.bed import bed_places
from envelope.plans.candidates import (
    Candidates,
    candidates_of,
    open_frames,
    panels_on_offer,
)
from envelope.plans.decision import (
    MIN_GAIN_DB,
    Decision,
    NothingOnOfferError,
    SmallBudgetError,
    Step,
    Worse,
)
from envelope.plans.free import source_choices
from envelope.plans.level_tables import without_untouched_spaces
from envelope.plans.plan_levels import MEAN, PlanLevels
from envelope.plans.rivals import rival_of
from envelope.plans.search import Front, combine, front_of
from envelope.plans.sequence import MAX_STEPS, Chain, Ints, best_chain
from envelope.plans.steps import by_receiver, by_source, is_urgent, level_at, steps_of, taken_off
from envelope.plans.stops import stops_of, why_stop
from envelope.plans.sure import level_at_90_db, spared, sturdier
from envelope.plans.terms import tables_of
from envelope.plans.units import Unit, changes_in, groups_of, measures_of, plan_of

EXACT_NODES = 300_000  # a search that takes more may leave out what SLACK would not tell apart
SLACK = 0.01
AGREEMENT = 1e-6  # of a table's level with the analysis, else something is wrong
MAX_TRIALS = 8  # of a search whose plans the take-off finds dearer than the budget
WORSE_DB = 0.1  # a single measure that raises the level by this is named


def decide(
    job: Job,
    *,
    casts: Casts,
    receiver: str | None = None,
    keep: Collection[str] = (),
    leave_sources: bool = False,
    move_bed: bool = False,
    progress: Callable[[float], None] | None = None,
    sources: Collection[str] = (),
    weights: Mapping[str, float] | None = None,
    target_w_m2: float | None = None,
    target_db: float | None = None,
    budget_cents: int | None = None,
    max_steps: int = MAX_STEPS,
    bench: Bench | None = None,
) -> Decision:
    """Find what to do first.

    Parameters
    ----------
    job : Job
        With receivers and levels; its plans say what is on offer.
    casts : Casts
        Of the job.
    receiver : str, optional
        Id of the receiver that counts; all of them, the worst at each plan, unless given.
    keep : collection of str
        Panel ids that stay as they are.
    leave_sources : bool
        Do nothing about sources: show what it would bring, and count on none of it.
    move_bed : bool
        Look for the best place of the bed of the receiver that is worst today, even where its
        `bed` does not say that it may move.
    progress : callable, optional
        Told the share of the map of levels that is done, 0 to 1, where the bed may move.
    sources : collection of str
        Ids of the sources that count: levels are what they bring, and no other; all unless given.
    weights : mapping of str to float, optional
        Of receivers: their weighted mean counts in place of the worst of them.
    target_w_m2 : float, optional
        Level to get below. [W/m²]
    target_db : float, optional
        The same as decibels below today.
    budget_cents : int, optional
        What may be spent, in cents; in hundredths of a square metre where prices are missing.
    max_steps : int
        Of the sequence.
    bench : Bench, optional
        Of the job and the casts, where an analysis has one: what it knows is not worked out again.

    Raises
    ------
    EnvelopeError
        Where nothing is on offer, nothing reaches the target, or the budget buys nothing.
    """
    if not job.sources:
        raise EnvelopeError(
            "there is no source, so there is no level to lower: survey where the energy comes from"
        )
    job.require_levels()
    if sources:
        heard = tuple(each for each in job.sources if each.id in sources)
        job = replace(job, sources=heard, plans=heard_by(job.plans, heard))
    today = job.plan(AS_BUILT)
    names = [each.receiver.id for each in casts.receivers]
    shares = _shares(names, receiver, weights)
    counted = np.array([shares.get(name, 0.0) for name in names])
    levels = PlanLevels(
        job,
        casts=casts,
        receivers=list(shares),
        shares=shares if weights else None,
        bench=None if sources else bench,
    )
    levels.expect(panels_on_offer(job, base=today, keep=keep))  # before anything is drawn
    counting = levels.receivers
    if target_db is not None:
        now_w_m2 = by_receiver(levels.drawn(today), counting)[0][1]
        target_w_m2 = now_w_m2 * 10.0 ** (-target_db / 10.0)
    free, units = source_choices(job, levels=levels, today=today, leave=leave_sources)
    if _would_silence_all(job, units, levels.drawn(today), counting):
        # with every source off there is nothing to decide about faces: decide with them on
        free, units = source_choices(job, levels=levels, today=today, leave=True)
    candidates = candidates_of(job, base=today, keep=keep, sources=units)
    if not candidates.units:
        raise NothingOnOfferError(kept=candidates.kept, goes_nowhere=candidates.goes_nowhere)
    tables = without_untouched_spaces(
        tables_of(job=job, casts=casts, bench=levels.bench, units=candidates.units, base=today)
    )

    def level_of(plans: Ints) -> Floats:
        return combine(tables.levels(plans), weights=counted, worst=not weights)

    search = partial(
        front_of,
        tables,
        candidates.purchases,
        weights=counted,
        worst=not weights,
        together=tuple(groups_of(candidates.units).values()),
    )
    before = levels.drawn(today)

    def drawn_as(chosen: Ints) -> LevelDraws:
        options = chosen.tolist()
        return levels.drawn(plan_of(candidates.units, options, base=today, name="near a step"))

    def at_90_db(chosen: Ints) -> float:
        return level_at_90_db(drawn_as(chosen), counting, before)

    found = _within_budget(
        job,
        candidates,
        today=today,
        search=search,
        level_of=level_of,
        at_90_db=at_90_db,
        target_w_m2=target_w_m2,
        budget_cents=budget_cents,
        max_steps=max_steps,
    )
    chain, plans = found.chain, found.plans
    drawn = [levels.drawn(plan) for plan in plans]
    _agree(chain, drawn, counting)
    rivals = [
        rival_of(
            chain,
            step,
            units=candidates.units,
            level_of=level_of,
            purchases=candidates.purchases,
            draw=drawn_as,
        )
        for step in range(1, len(plans))
    ]
    steps = steps_of(
        job,
        chain,
        plans=plans,
        drawn=drawn,
        receivers=counting,
        candidates=candidates,
        today=before,
        target_w_m2=target_w_m2,
        rivals=rivals,
    )
    at_today = by_receiver(before, counting)

    @cache
    def gain(start: int, end: int) -> Difference:
        worst = by_receiver(drawn[start], counting)[0][0]
        return difference(drawn[start], drawn[end], worst, as_built=before)

    reached = target_w_m2 is not None and bool(steps) and steps[-1].level_w_m2 < target_w_m2
    stops = stops_of(len(steps), gain)
    if reached:  # whoever states a target wants all that leads there
        stops = tuple(dict.fromkeys((*stops, len(steps))))
    stop = stops[-1] if stops else 0
    undone = None
    if stop and any(each.counted for each in free):
        done = changes_in(candidates.units, chain.plans[stop])
        bought = {each.device: each.measure for each in done if not each.is_free}
        undone = by_receiver(levels.drawn(replace(plans[stop], measures=bought)), counting)[0][1]
    # against the plan that the steps begin with: a router that is off by then moves none of them
    rests = rests_on(drawn[: stop + 1], draws=levels.draws, job=job, receivers=counting)
    sleeper = _sleeper(job, at_today[0][0], shares)
    bed = (
        bed_places(
            job,
            casts=casts,
            bench=levels.bench,
            receiver=sleeper,
            plans=[today, *plans[stop : stop + 1]] if stop else [today],
            most=1,
            progress=progress,
        )
        if move_bed or (sleeper.bed is not None and sleeper.bed.may_move)
        else ()
    )
    return Decision(
        bed=bed,
        frames=_frames(job, levels, plans[stop], by_receiver(drawn[stop], counting)[0][0]),
        today=today,
        levels_w_m2=at_today,
        by_source=by_source(job, before, at_today[0][0]),
        free=free,
        start_w_m2=float(chain.levels_w_m2[0]),
        undone_w_m2=undone,
        steps=steps,
        stops=stops,
        why_stop=why_stop(steps, stops, reached=reached),
        left=by_source(job, drawn[stop], by_receiver(drawn[stop], counting)[0][0]),
        worse=_worse(candidates, level_of),
        front=found.front,
        chain=chain,
        candidates=candidates,
        target_w_m2=target_w_m2,
        budget_cents=budget_cents,
        sources=tuple(each.id for each in job.sources) if sources else (),
        shares=tuple(shares.items()) if weights else (),
        best_w_m2=found.best_w_m2,
        now_or_never=tuple(_now_or_never(job, candidates, steps[:stop])),
        rests=rests,
        spared=spared(
            rests,
            job=job,
            draws=levels.draws,
            stops=stops,
            gains_db=[
                _gains_db(drawn[one], drawn[other], counting)
                for one, other in itertools.pairwise((0, *stops))
            ],
            cents=[
                int(chain.cents[other] - chain.cents[one])
                for one, other in itertools.pairwise((0, *stops))
            ],
            least_db=MIN_GAIN_DB,
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Found:
    """What a search came to."""

    front: Front
    best_w_m2: float  # the lowest level that the units reach at all
    chain: Chain
    plans: list[Plan]  # of the chain


def _within_budget(
    job: Job,
    candidates: Candidates,
    *,
    today: Plan,
    search: Callable[..., Front],
    level_of: Callable[[Ints], Floats],
    at_90_db: Callable[[Ints], float],
    target_w_m2: float | None,
    budget_cents: int | None,
    max_steps: int,
) -> _Found:
    """The sequence that the money buys, its take-off counted.

    Purchases are searched by their areas; where the take-off of what is found, cut from rolls and
    bonded, is dearer than the budget, the search is made again with less to spend.
    """
    most_cents = budget_cents
    for _ in range(MAX_TRIALS):
        front = search(max_nodes=EXACT_NODES, most_cents=most_cents)
        if not front.finished:
            front = search(slack=SLACK, most_cents=most_cents)
        best = float(front.levels_w_m2.min())
        if budget_cents is not None and len(front.cents) == 1:
            money = job.costs.currency or ""
            raise _too_little(candidates, level_of, budget_cents, money)
        if target_w_m2 is not None:
            front = _up_to(front, target_w_m2)
        chain = best_chain(
            candidates.units,
            plans=front.plans,
            cents=front.cents,
            levels_w_m2=front.levels_w_m2,
            max_steps=max_steps,
        )
        chain = sturdier(
            chain,
            units=candidates.units,
            level_of=level_of,
            purchases=candidates.purchases,
            at_90_db=at_90_db,
        )
        plans = _plans_of(chain, candidates.units, today)
        over = chain
        chain = taken_off(job, chain, plans=plans, candidates=candidates)
        if budget_cents is None or int(chain.cents.max()) <= budget_cents:
            return _Found(front=front, best_w_m2=best, chain=chain, plans=plans)
        # by areas it was within the budget, and cut from rolls and bonded it is not
        most_cents = min(
            int(over.cents.max()) - 1, budget_cents - int((chain.cents - over.cents).max())
        )
    raise EnvelopeError(
        f"no plan was found whose take-off stays within {(budget_cents or 0) / 100:.2f} "
        f"{job.costs.currency or ''}: allow a little more"
    )


def _frames(job: Job, levels: PlanLevels, plan: Plan, worst: str) -> tuple[tuple[str, float], ...]:
    """Frames left open round glass that a plan treats, with their shares of what is left."""
    frames = open_frames(job, plan)
    if not frames:
        return ()
    found = analyze_plan(bench=levels.bench, plan=plan, casts=levels.casts, with_ranks=False)
    receiver = next((each for each in found.receivers if each.id == worst), found.receivers[0])
    shares = {leak.panel: leak.share for leak in receiver.panels}
    return tuple(
        sorted(
            ((name, shares[name]) for name in frames if name in shares),
            key=lambda each: (-each[1], each[0]),
        )
    )


def _sleeper(job: Job, worst: str, shares: Mapping[str, float]) -> Receiver:
    """The receiver whose bed is looked at: the worst today, of a mean the one that counts most."""
    name = max(shares, key=lambda each: shares[each]) if worst == MEAN else worst
    return next(each for each in job.receivers if each.id == name)


def _shares(
    names: Sequence[str], receiver: str | None, weights: Mapping[str, float] | None
) -> dict[str, float]:
    """What counts of each receiver: 1, or its share of the mean."""
    if not weights:
        return {name: 1.0 for name in names if receiver in (None, name)}
    if unknown := sorted(set(weights) - set(names)):
        raise RangeError(f"weights: no receiver {unknown[0]!r}; known are {', '.join(names)}")
    whole = sum(weights.values())
    if not (whole > 0.0 and min(weights.values()) >= 0.0):
        raise RangeError("weights: allowed is 0 and more, and more than 0 for one of them")
    return {name: weights[name] / whole for name in names if weights.get(name, 0.0) > 0.0}


def _gains_db(before: LevelDraws, after: LevelDraws, names: Sequence[str]) -> Floats:
    """What a step brings in every draw, at the receiver that is worst before it. [dB]"""
    worst = by_receiver(before, names)[0][0]
    with np.errstate(divide="ignore", invalid="ignore"):
        found = 10.0 * np.log10(before.level_w_m2(worst) / after.level_w_m2(worst))
    return np.asarray(found)


def _now_or_never(
    job: Job, candidates: Candidates, worth: Sequence[Step]
) -> Iterator[tuple[str, int | None]]:
    """Units that are out of reach later, each with the step that does it."""
    found: dict[str, int | None] = {}
    for unit in candidates.units:
        if any(is_urgent(job, panel) for panel in unit.panels):
            done = [
                number
                for number, step in enumerate(worth, 1)
                if any(change.unit == unit.id for change in step.changes)
            ]
            found[unit.id] = done[0] if done else None
    for group, numbers in groups_of(candidates.units).items():
        names = [candidates.units[number].id for number in numbers]
        alike = all(name in found for name in names) and len({found[name] for name in names}) == 1
        if alike and len(names) > 1:
            found[group] = found[names[0]]
            for name in names:
                del found[name]
    yield from found.items()


def _would_silence_all(
    job: Job, units: Sequence[Unit], today: LevelDraws, names: Sequence[str]
) -> bool:
    """Whether what may be done about sources leaves nothing to arrive at some receiver."""
    silenced = {
        source
        for unit in units
        for option in unit.options
        if option.change is not None and option.change.factor == 0.0
        for source in option.change.sources
    }
    others = [source.id for source in job.sources if source.id not in silenced]
    return bool(silenced) and any(level_at(today, name, others) <= 0.0 for name in names)


def _up_to(front: Front, target_w_m2: float) -> Front:
    """The front up to the first plan below a target."""
    reached = np.flatnonzero(front.levels_w_m2 < target_w_m2)
    if not len(reached):
        return front
    last = int(reached[0]) + 1
    return replace(
        front,
        cents=front.cents[:last],
        levels_w_m2=front.levels_w_m2[:last],
        plans=front.plans[:last],
    )


def _too_little(
    candidates: Candidates,
    level_of: Callable[[Ints], Floats],
    budget_cents: int,
    money: str,
) -> EnvelopeError:
    """The cheapest useful measure, for a budget that buys none."""
    today = float(level_of(_nothing(candidates))[0])
    cheapest: tuple[int, str, str] | None = None
    for name, label, chosen in measures_of(candidates.units):
        plan = np.array([chosen], dtype=np.int64)
        cents = int(candidates.purchases.cents(plan)[0])
        useful = float(level_of(plan)[0]) < today
        if useful and (cheapest is None or cents < cheapest[0]):
            cheapest = (cents, name, label)
    if cheapest is None:
        return EnvelopeError("no single measure on offer lowers the level, whatever it costs")
    cents, name, label = cheapest
    return SmallBudgetError(
        budget_cents=budget_cents, money=money, unit=name, label=label, cents=cents
    )


def _plans_of(chain: Chain, units: Sequence[Unit], today: Plan) -> list[Plan]:
    # with a space, which no id of a file has: readings of a plan of the job are not of a step
    names = [today.id, *(f"step {number}" for number in range(1, len(chain.plans)))]
    return [
        plan_of(units, chosen, base=today, name=name)
        for name, chosen in zip(names, chain.plans, strict=True)
    ]


def _agree(chain: Chain, drawn: Sequence[LevelDraws], names: Sequence[str]) -> None:
    """Work every step out again by the analysis: a table that disagrees must not be shown."""
    for level, plan in zip(chain.levels_w_m2, drawn, strict=True):
        worst = by_receiver(plan, names)[0][1]
        if abs(worst / level - 1.0) > AGREEMENT:
            raise EnvelopeError(
                f"the tables give {level:g} W/m² and the analysis {worst:g} W/m² for one plan: "
                "please report this job"
            )


def _worse(candidates: Candidates, level_of: Callable[[Ints], Floats]) -> tuple[Worse, ...]:
    """Single measures that raise the level, the worst first; of a room's walls the worst one."""
    today = float(level_of(_nothing(candidates))[0])
    singly = {unit.id: f"one of {unit.group}" for unit in candidates.units if unit.group}
    found: dict[tuple[str, str], Worse] = {}
    for name, label, chosen in measures_of(candidates.units):
        level = float(level_of(np.array([chosen], dtype=np.int64))[0])
        above = 10.0 * float(np.log10(level / today))
        key = (singly.get(name, name), label)
        if above >= WORSE_DB and (key not in found or found[key].above_db < above):
            found[key] = Worse(unit=name, label=label, level_w_m2=level, above_db=above)
    return tuple(sorted(found.values(), key=lambda each: (-each.above_db, each.unit, each.label)))


def _nothing(candidates: Candidates) -> Ints:
    """The choice (1, units) that leaves all as it is."""
    return np.zeros((1, len(candidates.units)), dtype=np.int64)
