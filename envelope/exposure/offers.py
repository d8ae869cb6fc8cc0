"""What a job offers for a panel: the treatments that its plans put on it, or on others of its kind.

A treatment whose `only-on` names such faces is on offer there too.

A panel that no plan treats, and of whose kind none is treated either, is tried as a perfect
reflector: the most that any treatment of it could do.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from envelope.building.job import Job
from envelope.building.model import Panel
from envelope.exposure.stacks import REFLECTOR

Worn = tuple[str, ...]

_ALIKE = {"skylight": "window"}  # what is put on one serves the other


@dataclass(frozen=True, slots=True, kw_only=True)
class Offers:
    """Treatments by panel and by kind of panel, from all plans of a job."""

    on_panel: Mapping[str, frozenset[Worn]]
    on_kind: Mapping[str, frozenset[Worn]]
    only_on: Mapping[str, Collection[str]]  # treatments that go on some panels only

    def of(self, panel: Panel) -> tuple[Worn, ...]:
        """What to try on a panel, in an order that does not depend on the file's."""
        found = self.on_panel.get(panel.id) or self.on_kind.get(_kind(panel)) or ()
        allowed = [
            worn
            for worn in found
            if all(panel.id in self.only_on.get(name, (panel.id,)) for name in worn)
        ]
        return tuple(sorted(allowed)) or ((REFLECTOR.id,),)


def _kind(panel: Panel) -> str:
    return _ALIKE.get(panel.kind, panel.kind)


def offers_of(job: Job) -> Offers:
    """Collect what the plans of a job put where."""
    on_panel: dict[str, set[Worn]] = defaultdict(set)
    on_kind: dict[str, set[Worn]] = defaultdict(set)
    for plan in job.plans:
        for name, worn in plan.treatments.items():
            if worn:
                on_panel[name].add(worn)
                on_kind[_kind(job.building.panel(name))].add(worn)
    for name, panels in job.only_on.items():
        for panel in panels:
            on_kind[_kind(job.building.panel(panel))].add((name,))
    return Offers(
        on_panel={name: frozenset(worn) for name, worn in on_panel.items()},
        on_kind={kind: frozenset(worn) for kind, worn in on_kind.items()},
        only_on=job.only_on,
    )
