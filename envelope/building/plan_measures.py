"""What a plan does about sources and beds: what the job allows of it, and where they then are."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

from envelope.building.model import Building
from envelope.building.selectors import unknown
from envelope.building.source_measures import SourceMeasure, as_stated, taken_measures
from envelope.building.sources import Plan, Receiver, Source
from envelope.geometry.plane import Floats

Standing = Callable[[str | None, Floats], str | None]  # trouble with a point in a space


def meant(name: str, sources: Iterable[Source]) -> tuple[Source, ...]:
    """Sources of a name: one, or all bands of a device; none where the name is unknown."""
    return tuple(each for each in sources if name in (each.id, each.device))


def may_be_done(source: Source, building: Building) -> tuple[SourceMeasure, ...]:
    """What may be done about a source: what the job states, else what is taken to be possible."""
    if source.may is not None:
        return source.may
    if source.position_m is None:
        return ()
    return taken_measures(
        source.device or source.id,
        source.space,
        title=source.device_title or source.title,
        called="" if source.space is None else building.space(source.space).title,
        owner=source.owner,
    )


def measure_taken(
    name: str,
    measure: SourceMeasure,
    *,
    sources: Sequence[Source],
    building: Building,
    standing: Standing,
) -> SourceMeasure | tuple[str, str]:
    """What a plan does about a source, with what the job says of its cost and of who must agree.

    Parameters
    ----------
    name : str
        Id of a source or of a device.
    measure : SourceMeasure
        With one place where it moves the source.
    sources : sequence of Source
        Of the job.
    building : Building
    standing : callable
        Says what is wrong with a place, in a space or outdoors; None where nothing is.

    Returns
    -------
    measure : SourceMeasure, or (str, str)
        In its place the key that is wrong, and why, where it cannot be so.
    """
    found = meant(name, sources)
    if not found:
        known = dict.fromkeys(each.device or each.id for each in sources)
        return "source", unknown("source", name, known)
    source = found[0]
    if source.position_m is None:
        return "source", (
            f'source "{name}" is in a direction: nobody moves it or switches it off from here'
        )
    if source.may is None:
        allowed = as_stated(measure, may_be_done(source, building)) or measure
    else:
        stated = as_stated(measure, source.may)
        if stated is None:
            can = ", ".join(dict.fromkeys(f'"{each.do}"' for each in source.may))
            only = f"says {can} only" if can else "is []: nothing may be done about it"
            if any(each.do == measure.do for each in source.may):
                only = f'has no do = "{measure.do}" like this one'
            return "do", f'may of source "{name}" {only}; allow it there, or leave it out here'
        allowed = stated
    if measure.do == "move":
        at = measure.position_m
        if at is None or len(measure.places_m) != 1:
            return "to", f"{len(measure.places_m)} places to move to: a plan needs one"
        if measure.space is not None and measure.space not in building.space_index:
            return "space", unknown("space", measure.space, building.space_index)
        trouble = standing(measure.space, at)
        if trouble is not None:
            return "to", f"the source cannot be moved there: {trouble}"
    return allowed


def sources_under(
    plan: Plan, sources: Sequence[Source], *, power: bool = True
) -> tuple[Source, ...]:
    """The sources of a job where a plan puts them, and as strong as it leaves them.

    Parameters
    ----------
    plan : Plan
        Resolved against the job.
    sources : sequence of Source
        Of the job.
    power : bool
        False to leave them as strong as they are.
    """
    if not plan.measures:
        return tuple(sources)
    return tuple(_under(each, measure_of(plan, each), power=power) for each in sources)


def measure_of(plan: Plan, source: Source) -> SourceMeasure | None:
    """What a plan does about a source, by its own name or its device's."""
    return plan.measures.get(source.id, plan.measures.get(source.device or source.id))


def _under(source: Source, measure: SourceMeasure | None, *, power: bool) -> Source:
    if measure is None:
        return source
    changes: dict[str, object] = {}
    if measure.position_m is not None:
        changes = {"position_m": measure.position_m, "space": measure.space}
    if power and source.eirp_w is not None and measure.factor != 1.0:
        changes["eirp_w"] = source.eirp_w * measure.factor
    return replace(source, **changes) if changes else source  # type: ignore[arg-type]


def receivers_under(plan: Plan, receivers: Sequence[Receiver]) -> tuple[Receiver, ...]:
    """The receivers of a job where a plan puts their beds."""
    return tuple(plan.beds.get(each.id, each) for each in receivers)


def factors_under(plan: Plan, sources: Iterable[Source]) -> Mapping[str, float]:
    """What a plan leaves of the power of sources, by source id; none where it leaves all."""
    found = {each.id: measure_of(plan, each) for each in sources} if plan.measures else {}
    return {
        name: measure.factor
        for name, measure in found.items()
        if measure is not None and measure.factor != 1.0
    }


def as_read(plan: Plan) -> Plan:
    """A plan as a reading finds it carried out.

    What is off at night need not be off when a meter is there: the reading says what is. Where it
    was taken is in the reading, wherever beds stand.
    """
    if not plan.measures and not plan.beds:
        return plan
    always = {name: each for name, each in plan.measures.items() if each.do != "off-at-night"}
    return replace(plan, measures=always, beds={})


def heard_by(plans: Iterable[Plan], sources: Iterable[Source]) -> tuple[Plan, ...]:
    """Plans for a job with fewer sources: without what they do about the others."""
    names = {name for each in sources for name in (each.id, each.device)}
    return tuple(
        replace(plan, measures={k: v for k, v in plan.measures.items() if k in names})
        if plan.measures.keys() - names
        else plan
        for plan in plans
    )
