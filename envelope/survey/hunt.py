"""The leak that is left: which single fault explains the readings best, and how to be sure.

Each candidate is weighed by how likely it makes the readings, everything else that is uncertain
drawn as ever (`joint`); scans along joints count where the meter was held. The next test is the
one whose outcome parts the candidates best.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from envelope.building.job import Job, Scan
from envelope.geometry.plane import Floats
from envelope.physics.normal import normal_share_below
from envelope.survey.binding import Bound
from envelope.survey.faults import NEW_LEVEL_DB, SHARES, Effect, Fault, effects_of
from envelope.survey.joint import Cloud, Question, settle, thinned
from envelope.survey.levels import bound_of
from envelope.survey.responses import bed_of

EACH = 4  # draws under each member of the sample
MEMBERS = 100  # of the sample: odds need fewer than ranges
# Decibels by which a meter that is moved along a joint shows more than one a metre off: where the
# joint leaks, and where only the room's field rises and falls; common practice, no source.
LEAKS_DB, LEAKS_SIGMA_DB = 12.0, 6.0
FADES_DB, FADES_SIGMA_DB = 4.0, 2.5
TEST_SIGMA_DB = 2.0  # of a test that is repeated at once at the same spots; the same
LIKELY = 0.02  # candidates below are not shown


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspect:
    """A fault with how likely it is once the readings are known."""

    fault: Fault
    odds: float  # posterior probability, 0 to 1
    excess_db: float  # by which it raises the level of the reading that it raises most


@dataclass(frozen=True, slots=True, kw_only=True)
class Test:
    """What to do next: cover one face, and read again where the excess was greatest."""

    panel: str
    at: str  # id of the reading
    falls_db: float  # by how much, if the fault is there
    tells_bits: float  # of which candidate it is


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hunt:
    """Suspects, the likeliest first; “none” is among them."""

    suspects: tuple[Suspect, ...]
    test: Test | None

    @property
    def likely(self) -> tuple[Suspect, ...]:
        """Those worth naming."""
        return tuple(each for each in self.suspects if each.odds >= LIKELY)


def hunt(job: Job, *, bound: Bound | None = None) -> Hunt | None:
    """Rank the single faults that may explain what the readings show.

    Parameters
    ----------
    job : Job
        From `solve_levels`.
    bound : Bound, optional
        Of the job, where it is at hand.

    Returns
    -------
    hunt : Hunt or None
        None for a job without readings indoors.
    """
    bound = bound_of(job) if bound is None else bound
    if bound is None or not any(each.space for each in bound.readings):
        return None
    # what work may be off by is what the faults are to explain
    question = replace(thinned(bound.question, members=MEMBERS), plan=None, plan_sigma_db=None)
    effects = effects_of(job, bound.readings, bound.sources)
    nobody = Fault(kind="none", prior=0.5)
    without = settle(question, each=EACH)
    logs = [np.log(nobody.prior) + without.log_evidence + _scans(job.scans, nobody)]
    clouds: list[Cloud] = [without]
    faults = [nobody]
    for effect in effects:
        if not _matters(effect, question):
            logs.append(np.log(effect.fault.prior) + without.log_evidence)
            clouds.append(without)
        else:
            cloud = settle(_with(question, effect), each=EACH)
            logs.append(np.log(effect.fault.prior) + cloud.log_evidence)
            clouds.append(cloud)
        logs[-1] += _scans(job.scans, effect.fault)
        faults.append(effect.fault)
    weight = np.exp(np.array(logs) - max(logs))
    weight /= weight.sum()
    excess = [_excess_db(cloud, without) for cloud in clouds]
    suspects = [
        Suspect(fault=fault, odds=float(odds), excess_db=float(each.max()))
        for fault, odds, each in zip(faults, weight, excess, strict=True)
    ]
    test = _next_test(job, bound, suspects, excess)
    ranked = sorted(suspects, key=lambda each: (-each.odds, each.fault.kind, each.fault.panel))
    return Hunt(suspects=tuple(ranked), test=test)


def _matters(effect: Effect, question: Question) -> bool:
    """Whether a fault changes any reading by more than nothing."""
    if effect.new_w_m2 is not None:
        return bool((effect.new_w_m2 > 0.0).any())
    nominal = question.response_w_m2.mean(axis=2).sum(axis=1)
    return bool((np.abs(effect.added_w_m2.sum(axis=1)) > 1e-3 * nominal).any())


def _with(question: Question, effect: Effect) -> Question:
    """The question with a fault in the house."""
    if effect.new_w_m2 is None:
        share = SHARES[effect.fault.kind]
        return replace(question, fault_w_m2=effect.added_w_m2, fault_share=share)
    members = question.response_w_m2.shape[2]
    new = np.repeat(effect.new_w_m2[:, np.newaxis, np.newaxis], members, axis=2)
    return replace(
        question,
        response_w_m2=np.concatenate((question.response_w_m2, new), axis=1),
        level_sigma_db=np.append(question.level_sigma_db, NEW_LEVEL_DB),
        duty_open=np.append(question.duty_open, False),
    )


def _scans(scans: Sequence[Scan], fault: Fault) -> float:
    """Log likelihood of the scans under a fault, beside that of a house without one."""
    found = 0.0
    for scan in scans:
        above_db = 10.0 * float(np.log10(scan.level_w_m2 / scan.beside_w_m2))
        if fault.panel and (scan.along == fault.panel or scan.along.startswith(f"{fault.panel}/")):
            found += _log_normal(above_db, LEAKS_DB, LEAKS_SIGMA_DB)
            found -= _log_normal(above_db, FADES_DB, FADES_SIGMA_DB)
    return found


def _log_normal(value: float, mean: float, sigma: float) -> float:
    return float(-0.5 * ((value - mean) / sigma) ** 2 - np.log(sigma))


def _excess_db(cloud: Cloud, without: Cloud) -> Floats:
    """By how much readings (r,) stand above the house without the fault, places' errors aside."""
    with_it = cloud.without_errors_db @ cloud.weight
    return np.asarray(with_it - without.without_errors_db @ without.weight)


# -- the next test -------------------------------------------------------------------------------


def _next_test(
    job: Job, bound: Bound, suspects: Sequence[Suspect], excess: Sequence[Floats]
) -> Test | None:
    """The face to cover whose reading afterwards parts the suspects best."""
    odds = np.array([each.odds for each in suspects])
    panels = list(dict.fromkeys(each.fault.panel for each in suspects if each.odds >= LIKELY))
    best: Test | None = None
    beds = [row for row, each in enumerate(bound.readings) if each.space and bed_of(job, each)]
    rows = beds or [row for row, each in enumerate(bound.readings) if each.space]
    for panel in (name for name in panels if name):
        for row in rows:
            falls = np.array(
                [
                    max(float(each[row]), 0.0) if suspect.fault.panel == panel else 0.0
                    for suspect, each in zip(suspects, excess, strict=True)
                ]
            )
            tells = _bits(odds, falls)
            if best is None or tells > best.tells_bits:
                own = odds * (falls > 0.0)
                mean = float(falls @ own / own.sum()) if own.sum() > 0.0 else 0.0
                best = Test(panel=panel, at=bound.readings[row].id, falls_db=mean, tells_bits=tells)
    return best


def _bits(odds: Floats, falls_db: Floats) -> float:
    """What the outcome of a test tells of which candidate it is: mutual information. [bit]"""
    edges = np.linspace(-8.0, float(falls_db.max()) + 8.0, 60)
    below = normal_share_below((edges[:, np.newaxis] - falls_db) / TEST_SIGMA_DB)
    mass = np.maximum(np.diff(below, axis=0), 1e-12)  # (outcomes, candidates)
    mass /= mass.sum(axis=0)
    whole = mass @ odds
    return float((mass * np.log2(mass / whole[:, np.newaxis])).sum(axis=0) @ odds)
