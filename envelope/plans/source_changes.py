"""What may be done about sources, as choices of a plan: moved, on a cable, turned down, off.

A source that is moved is cast from its new place; all else only changes its power, in which every
level is linear.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal

from envelope.building.job import Job, Source, SourceMeasure
from envelope.building.plan_measures import may_be_done
from envelope.building.source_measures import Agreement, Measure
from envelope.geometry.plane import Floats


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
        return self.cost == 0 and self.agreed_by in ("household", "nobody")

    @property
    def measure(self) -> SourceMeasure:
        """What a plan says of it."""
        return SourceMeasure(
            do=self.do,
            places_m=() if self.position_m is None else (self.position_m,),
            space=self.space,
            lower_db=self.lower_db,
            cost=self.cost,
            agreed_by=self.agreed_by,
            reason=self.reason,
        )


def changes_of(job: Job) -> dict[str, tuple[SourceChange, ...]]:
    """All that may be done about sources, by device in the order of their names."""
    found: dict[str, list[Source]] = {}
    for source in job.sources:
        if may_be_done(source, job.building):
            found.setdefault(source.device or source.id, []).append(source)
    return {
        device: tuple(
            change
            for measure in may_be_done(found[device][0], job.building)
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


def _of(device: str, sources: tuple[str, ...], measure: SourceMeasure) -> list[SourceChange]:
    one = SourceChange(
        device=device,
        sources=sources,
        do=measure.do,
        factor=measure.factor,
        space=measure.space,
        lower_db=measure.lower_db,
        cost=measure.cost,
        agreed_by=measure.agreed_by,
        reason=measure.reason,
    )
    if measure.do != "move":
        return [one]
    return [replace(one, position_m=place) for place in measure.places_m]
