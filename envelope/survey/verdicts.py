"""What each reading makes of the job: explained or not, and steps reached beside steps promised.

A reading is judged without itself, by the job and by the other readings before the work: how
likely is it, beside what it would be if something were not as the file has it? So readings after
work that left a leak do not explain one another. Steps are judged in pairs: the same place, the
same windows, the same sources, the same meter, whose bias cancels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from envelope.building.job import AS_BUILT, Job, Plan, Reading
from envelope.building.plan_measures import as_read
from envelope.building.sources import MIRRORED
from envelope.exposure.analysis import analyze
from envelope.exposure.casts import Casts
from envelope.exposure.differences import Difference, difference
from envelope.exposure.tolerances import TENTH
from envelope.physics.normal import normal_share_below
from envelope.survey.joint import Cloud, Question, part_of, settle, thinned
from envelope.survey.levels import before_work, bound_of
from envelope.survey.noise import noise_of
from envelope.survey.responses import bed_of

# How often a reading is of something that the file does not have, and how far it then lies off;
# common practice, no source.
ODD_SHARE = 0.1
ODD_DB = 10.0
SURE = 0.75  # from which a step counts as kept; up to the rest of it, as not kept
EACH, MEMBERS = 4, 150  # draws under each member of the sample, and members of it

Kept = Literal["kept", "not kept", "too close to tell"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingVerdict:
    """One reading beside what all else says of it."""

    reading: str
    visit: str | None
    shown_w_m2: float
    expected_w_m2: float  # middle of what a meter would show, by all else that is known
    low_w_m2: float  # 10–90 % range of that
    high_w_m2: float
    explained: float  # how likely it is that the job explains it, 0 to 1


@dataclass(frozen=True, slots=True, kw_only=True)
class StepVerdict:
    """What a plan brought at one place, by a pair of readings, beside what was promised."""

    receiver: str
    plan: str
    before: str  # ids of the readings
    after: str
    reached_db: float
    doubt_db: float  # half-width of the 10–90 % range of that
    promised: Difference  # with what was read before, and nothing of what was read after
    odds: float  # how likely the step is at least the least that was promised
    at_least: bool = False  # the meter showed nothing after the work: the step is this or more

    @property
    def kept(self) -> Kept:
        """Whether the promise was kept."""
        if self.odds >= SURE:
            return "kept"
        return "not kept" if self.odds <= 1.0 - SURE else "too close to tell"


def verdicts_of(job: Job) -> tuple[ReadingVerdict, ...]:
    """Judge every reading of a job, each without itself.

    Parameters
    ----------
    job : Job
        From `solve_levels`.
    """
    bound = bound_of(job)
    if bound is None:
        return ()
    question = replace(thinned(bound.question, members=MEMBERS), plan=None, plan_sigma_db=None)
    untreated = [row for row, each in enumerate(bound.readings) if not each.plan.treatments]
    before = settle(part_of(question, untreated), each=EACH) if untreated else None
    found = {}
    for row, reading in enumerate(bound.readings):
        rows = untreated if row in untreated else [*untreated, row]
        part = part_of(question, rows)
        whole = before if row in untreated and before is not None else settle(part, each=EACH)
        found[reading.id] = _judged(reading, part, rows.index(row), whole)
    return tuple(found[each.id] for each in job.readings if each.id in found)


def _judged(reading: Reading, question: Question, row: int, whole: Cloud) -> ReadingVerdict:
    noise = list(question.noise)
    own = noise[row]
    noise[row] = noise_of(
        shape=own.shape, sigma_db=float(np.hypot(own.sigma_db, ODD_DB)), shows=reading.shows
    )
    odd = settle(replace(question, noise=noise), each=EACH)
    against = np.log(ODD_SHARE / (1.0 - ODD_SHARE)) + odd.log_evidence - whole.log_evidence
    # what the others leave of it: weights freed of the reading's own part
    miss = question.shown_db[row] - odd.expected_db[row]
    log_weight = -noise[row].at(miss)[0]
    weight = odd.weight * np.exp(log_weight - log_weight.max())
    expected_db = odd.expected_db[row]
    low, middle, high = _quantiles(expected_db, weight, own.spread_db(), (0.1, 0.5, 0.9))
    return ReadingVerdict(
        reading=reading.id,
        visit=reading.visit,
        shown_w_m2=reading.level_w_m2,
        expected_w_m2=10.0 ** (middle / 10.0),
        low_w_m2=10.0 ** (low / 10.0),
        high_w_m2=10.0 ** (high / 10.0),
        explained=float(1.0 / (1.0 + np.exp(np.clip(against, -50.0, 50.0)))),
    )


def _quantiles(
    values_db: np.ndarray, weight: np.ndarray, sigma_db: float, shares: Sequence[float]
) -> list[float]:
    """Quantiles of weighted draws, the meter's and the averaging's own spread put on."""
    weight = weight / weight.sum()
    grid = np.linspace(values_db.min() - 4 * sigma_db, values_db.max() + 4 * sigma_db, 400)
    away = (grid[:, np.newaxis] - values_db) / max(sigma_db, 1e-3)
    below = normal_share_below(away) @ weight
    return [float(np.interp(share, below, grid)) for share in shares]


# -- steps ---------------------------------------------------------------------------------------


def steps_of(job: Job, *, casts: Casts) -> tuple[StepVerdict, ...]:
    """Judge every step of which a receiver has a pair of readings.

    Parameters
    ----------
    job : Job
        From `solve_levels`.
    casts : Casts
        Of the job.
    """
    pairs = list(_pairs(job))
    if not pairs:
        return ()
    before_only = before_work(job)
    if before_only is None:
        return ()
    names = dict.fromkeys(after.plan.id for _, _, after in pairs)
    plans: list[Plan] = [job.plan(AS_BUILT), *(_as_promised(job, name) for name in names)]
    analysis = analyze(job=before_only, casts=casts, plans=plans, with_bands=True, ranked_plans=())
    results = {each.plan: each for each in analysis.plans}
    found = []
    for receiver, before, after in pairs:
        today, then = results[AS_BUILT], results[after.plan.id]
        assert today.draws is not None
        assert then.draws is not None
        # a router that is off in both brings nothing to the step, nor to its promise
        heard = [each.id for each in job.sources if _is_heard(each.id, after)]
        promised = difference(today.draws, then.draws, receiver, heard)
        reached = 10.0 * float(np.log10(before.level_w_m2 / after.level_w_m2))
        doubt = _doubt_db(job, before, after)
        away = (reached - promised.low_db) / (doubt / TENTH)
        odds = float(normal_share_below(np.array(away)))
        at_least = after.shows == "below"
        found.append(
            StepVerdict(
                receiver=receiver,
                plan=after.plan.id,
                before=before.id,
                after=after.id,
                reached_db=reached,
                doubt_db=doubt,
                promised=promised,
                # below a floor that is too high for the promise nobody can tell
                odds=max(odds, 0.5) if at_least else odds,
                at_least=at_least,
            )
        )
    return tuple(found)


def _is_heard(source: str, reading: Reading) -> bool:
    """Whether a reading hears a source, or the one whose mirrored partner it is."""
    return source in reading.sources or source.removesuffix(MIRRORED) in reading.sources


def _pairs(job: Job) -> list[tuple[str, Reading, Reading]]:
    """Readings at one receiver before and after treatment that differ in nothing else."""
    found = []
    for after in job.readings:
        receiver = bed_of(job, after) if after.space is not None else None
        if receiver is None or not after.plan.treatments or after.shows == "above":
            continue
        if set(job.plan(after.plan.id).states.items()) != set(after.plan.states.items()):
            continue
        for before in sorted(job.readings, key=lambda each: each.id):
            if (
                before.plan.does_nothing
                and before.shows == "value"
                and bed_of(job, before) == receiver
                and set(before.sources) == set(after.sources)
                and before.meter == after.meter
                and before.detector == after.detector
                and before.plan.states == after.plan.states
            ):
                found.append((receiver, before, after))
                break
    return found


def _as_promised(job: Job, name: str) -> Plan:
    """A plan with its beds, and all on that a reading has on."""
    plan = job.plan(name)
    return replace(plan, measures=as_read(plan).measures)


def _doubt_db(job: Job, before: Reading, after: Reading) -> float:
    """Half-width of the 10–90 % range of a pair's step: fading and repeating, no bias. [dB]"""
    bound = bound_of(job)
    assert bound is not None
    rows = [each.id for each in bound.readings]
    spreads = [bound.question.noise[rows.index(each.id)].spread_db() for each in (before, after)]
    return TENTH * float(np.hypot(spreads[0], spreads[1]))
