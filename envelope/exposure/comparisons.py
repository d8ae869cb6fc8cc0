"""Plans side by side: by how much each lies below the one before it, with ranges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from envelope.building.job import AS_BUILT
from envelope.exposure.differences import Difference, LevelDraws, difference
from envelope.exposure.results import PlanResult


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """One plan against another one at a receiver."""

    receiver: str
    plan: str
    against: str
    difference: Difference  # how far the plan lies below the other


def pairs_of(plans: Sequence[PlanResult], *, today: LevelDraws | None) -> tuple[Pair, ...]:
    """Every treated plan against the treated one before it, by receiver.

    Parameters
    ----------
    plans : sequence of PlanResult
        Analysed with bands; without them there is nothing to pair.
    today : LevelDraws, optional
        Of the plan without treatment, which says how much workmanship may lose. Against that plan
        itself each level has its difference already.
    """
    treated = [plan for plan in plans if plan.plan != AS_BUILT and plan.draws is not None]
    found = []
    for before, after in pairwise(treated):
        assert before.draws is not None
        assert after.draws is not None
        found += [
            Pair(
                receiver=receiver.id,
                plan=after.plan,
                against=before.plan,
                difference=difference(before.draws, after.draws, receiver.id, as_built=today),
            )
            for receiver in after.receivers
        ]
    return tuple(found)


def pairs_among(plans: Sequence[PlanResult]) -> tuple[Pair, ...]:
    """The pairs of plans among which today's may be."""
    today = next((plan.draws for plan in plans if plan.plan == AS_BUILT), None)
    return pairs_of(plans, today=today)


def on_another_storey(before: PlanResult, after: PlanResult, receiver: str) -> Difference | None:
    """By how much a level lies lower with the receiver's room on another storey.

    Parameters
    ----------
    before, after : PlanResult
        One plan with the room on either storey.
    receiver : str
        Its id.
    """
    if before.draws is None or after.draws is None:
        return None
    return difference(before.draws, after.draws, receiver, in_one_place=False)
