"""What a change of one face would bring: levels for each click.

A plan is worked out anew for every choice, so that what the list says is what a click does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from envelope.building.job import Plan
from envelope.exposure.results import ReceiverResult
from viewer.app.results import Findings

Stack = tuple[str, ...]  # treatments of one face, the one on the surface first


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One way to treat a face, and what comes to the receiver with it."""

    treatments: Stack
    level_w_m2: float | None  # None in a job without sources
    reduction_db: float  # below the level outside, or of a field from everywhere


def outcome(findings: Findings, plan: Plan, receiver: str, treatments: Stack) -> Choice:
    """What comes to a receiver under a plan; `treatments` say which choice this is."""
    (found,) = findings.of(plan=plan, receivers=[receiver]).receivers
    return Choice(
        treatments=treatments,
        level_w_m2=found.level_w_m2 if found.sources else None,
        reduction_db=_reduction_db(found),
    )


def toggles(worn: Stack, treatments: Sequence[str]) -> list[Stack]:
    """What a face wears after a click on each treatment: put on over the others, or taken off."""
    return [
        tuple(each for each in worn if each != name) if name in worn else (*worn, name)
        for name in treatments
    ]


def with_stack(plan: Plan, panels: Sequence[str], stack: Stack) -> Plan:
    """A plan with some faces treated otherwise."""
    worn = {**plan.treatments, **dict.fromkeys(panels, stack)}
    return replace(plan, treatments={panel: on for panel, on in worn.items() if on})


def _reduction_db(found: ReceiverResult) -> float:
    if found.sources:
        return found.total.reduction_db
    return found.bands[found.reference_band].isotropic_reduction_db
