"""Cautions that belong to one job: where a step of its plans can hurt someone, in a line each."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from envelope.building.islands import coated_faces, floating
from envelope.building.job import AS_BUILT, Job, Plan
from envelope.building.source_measures import is_meter
from envelope.exposure.results import PlanResult
from envelope.text.names import listed, plan_title, shown
from envelope.text.trade import source_title, space_title

_GLAZED = frozenset(("window", "skylight"))
_FUMES = ("garage", "carport", "boiler", "furnace", "kitchen", "utility", "stove")
SHIELDED_DB = 10.0  # from which a room is said to block links; common practice, no source


def cautions_of(
    job: Job, results: Iterable[PlanResult], *, for_client: bool = False
) -> tuple[str, ...]:
    """Cautions for the plans that were analysed: what concerns people first, then the work.

    Parameters
    ----------
    job : Job
        What its plans treat, and with what.
    results : iterable of PlanResult
        What they come to.
    for_client : bool
        Leave out what to write in the file.
    """
    found = list(results)
    chosen = {result.plan for result in found} - {AS_BUILT}
    plans = [plan for plan in job.plans if plan.id in chosen]
    blocked = [
        receiver.space
        for result in found
        for receiver in result.receivers
        if result.plan in chosen and receiver.headline.below_as_built_db >= SHIELDED_DB
    ]
    return cautions_of_plans(job, plans, blocked=blocked, for_client=for_client)


def cautions_of_plans(
    job: Job, plans: Sequence[Plan], *, blocked: Iterable[str], for_client: bool = False
) -> tuple[str, ...]:
    """The same for plans that need not be the job's own, such as the steps of a decision.

    Parameters
    ----------
    job : Job
    plans : sequence of Plan
    blocked : iterable of str
        Spaces in which they block radio links.
    for_client : bool
        Leave out what to write in the file.
    """
    return (
        *_alarms(job, sorted(set(blocked))),
        *_windows(job, plans),
        *_vents(job, plans),
        *_meters(job, bool(plans)),
        *_bonding(job, plans, advice="" if for_client else ": add [[bond]]"),
    )


def _treated(job: Job, plans: Iterable[Plan], kinds: frozenset[str]) -> list[str]:
    panels = {name for plan in plans for name, worn in plan.treatments.items() if worn}
    return [panel.id for panel in job.building.panels if panel.id in panels and panel.kind in kinds]


def _bonding(job: Job, plans: Iterable[Plan], *, advice: str) -> Iterator[str]:
    plans = list(plans)
    if any(coated_faces(job, plan) for plan in plans):
        yield (
            "coatings conduct: one bond, licensed electrician, local code, power off and proved "
            f"dead{_without_bond(job, plans, advice)}."
        )


def _without_bond(job: Job, plans: Iterable[Plan], advice: str) -> str:
    names = [plan_title(plan.id) for plan in plans if floating(job, plan)]
    if not names:
        return ""
    if job.wiring is None or not job.wiring.bonds:
        return f"; the job has none{advice}" if advice else "; none is placed yet"
    some = listed(names) if len(names) <= 3 else f"{', '.join(names[:2])} and others"
    return f"; none {'' if advice else 'is placed yet '}on a part of {some}{advice}"


def _alarms(job: Job, spaces: list[str]) -> Iterator[str]:
    if not spaces:
        return
    beside = _next_to(job, spaces)
    over = f" (adjoins {listed(beside)})" if beside else ""
    titles = [space_title(job, each) for each in spaces]
    yield (
        f"{listed(titles)}{over}: phones and linked smoke and CO alarms may lose their link; "
        "test them, keep a wired way to call."
    )


def _next_to(job: Job, spaces: list[str]) -> list[str]:
    """Rooms that adjoin a shielded one and where smoke or fumes may start."""
    building = job.building
    beyond = {
        building.panel(patch.far).space
        for patch in building.patches
        if patch.far is not None and building.panel(patch.panel).space in spaces
    }
    return sorted(
        space_title(job, each) for each in beyond if any(word in each.lower() for word in _FUMES)
    )


def _windows(job: Job, plans: Iterable[Plan]) -> Iterator[str]:
    panels = _treated(job, plans, _GLAZED)
    if panels:
        names = _opening_titles(job, panels)
        some = listed(names) if len(names) <= 3 else f"{', '.join(names[:2])} and others"
        yield (
            f"{some}: a window that is a way out must still open; film can crack glass that heats "
            "up, so ask the glass maker."
        )


def _opening_titles(job: Job, panels: Iterable[str]) -> list[str]:
    """What the client calls openings, else the ids that they have in their rooms."""
    titles = [job.building.panel(panel).title for panel in panels]
    return [
        shown(title or panel.rpartition("/")[2], limit=24)
        for panel, title in zip(panels, titles, strict=True)
    ]


def _vents(job: Job, plans: Iterable[Plan]) -> Iterator[str]:
    panels = _treated(job, plans, frozenset(("vent",)))
    if panels:
        names = listed(_opening_titles(job, panels))
        yield f"{names}: keep ventilation and combustion air free."


def _meters(job: Job, treats: bool) -> Iterator[str]:
    meters = [each.id for each in job.sources if is_meter(each.id, each.title)]
    if meters and treats:
        verb = "needs its" if len(meters) == 1 else "need their"
        titles = [source_title(job, each) for each in meters]
        yield (
            f"{listed(titles)} {verb} radio link to be read: ask the utility before "
            "anything is put around a meter."
        )
