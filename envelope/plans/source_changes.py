"""What may be done about sources, as choices of a plan: moved, on a cable, turned down, off.

A source that is moved is cast from its new place; all else only changes its power, in which every
level is linear.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import Decimal

from envelope.building.job import Job, Source, SourceMeasure
from envelope.building.source_measures import Agreement, Measure, taken_measures
from envelope.exposure.differences import LevelDraws
from envelope.geometry.plane import Floats

_NO_POWER: frozenset[Measure] = frozenset(("cable", "off-at-night"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SourceChange:
    """One thing done about a device, in all the bands in which it sends."""

    device: str
    sources: tuple[str, ...]
    do: Measure
    factor: float  # of the power; 0 where it no longer sends
    position_m: Floats | None = None  # where it is moved to, in the building's coordinates
    space: str | None = None
    lower_db: float = 0.0
    cost: Decimal = Decimal(0)
    agreed_by: Agreement = "household"
    reason: str = ""  # why it is taken to be possible, where the job does not say so

    @property
    def is_free(self) -> bool:
        """Whether nothing is bought and nobody outside the household has to agree."""
        return self.cost == 0 and self.agreed_by != "neighbour"


def changes_of(job: Job) -> dict[str, tuple[SourceChange, ...]]:
    """All that may be done about sources, by device in the order of their names."""
    found: dict[str, list[Source]] = {}
    for source in job.sources:
        if source.measures:
            found.setdefault(source.device or source.id, []).append(source)
    return {
        device: tuple(
            change
            for measure in measures_of(job, found[device][0])
            for change in _of(device, tuple(each.id for each in found[device]), measure)
        )
        for device in sorted(found)
    }


def free_where_it_stands(job: Job) -> tuple[SourceChange, ...]:
    """Of each device what lowers its power most for nothing, without moving it."""
    found = []
    for changes in changes_of(job).values():
        free = [each for each in changes if each.is_free and each.do != "move"]
        if free:
            found.append(min(free, key=lambda each: each.factor))
    return tuple(found)


def measures_of(job: Job, source: Source) -> tuple[SourceMeasure, ...]:
    """What may be done about a source; a room in it goes by its title."""
    if source.may is not None or source.space is None:
        return source.measures
    called = job.building.space(source.space).title
    device = source.device or source.id
    title = source.device_title or source.title
    return taken_measures(device, source.space, title=title, called=called)


def _of(device: str, sources: tuple[str, ...], measure: SourceMeasure) -> list[SourceChange]:
    factor = 0.0 if measure.do in _NO_POWER else 10.0 ** (-measure.lower_db / 10.0)
    one = SourceChange(
        device=device,
        sources=sources,
        do=measure.do,
        factor=factor,
        space=measure.space,
        lower_db=measure.lower_db,
        cost=measure.cost,
        agreed_by=measure.agreed_by,
        reason=measure.reason,
    )
    if measure.do != "move":
        return [one]
    return [replace(one, position_m=place) for place in measure.places_m]


def moved(job: Job, changes: Iterable[SourceChange]) -> Job:
    """The job with its sources where changes put them, their power as it is."""
    places = {
        source: change
        for change in changes
        if change.position_m is not None
        for source in change.sources
    }
    if not places:
        return job
    return replace(
        job,
        sources=tuple(
            replace(source, position_m=places[source.id].position_m, space=places[source.id].space)
            if source.id in places
            else source
            for source in job.sources
        ),
    )


def powered(drawn: LevelDraws, changes: Iterable[SourceChange]) -> LevelDraws:
    """Draws of a plan with the power of sources as changes leave it."""
    factors = {source: change.factor for change in changes for source in change.sources}
    return replace(
        drawn,
        by_source={
            (receiver, source): each
            if factors.get(source, 1.0) == 1.0
            else replace(
                each,
                level_w_m2=each.level_w_m2 * factors[source],
                direct_w_m2=each.direct_w_m2 * factors[source],
                diffuse_w_m2=each.diffuse_w_m2 * factors[source],
            )
            for (receiver, source), each in drawn.by_source.items()
        },
    )
