"""Units of decision: what is decided in one go, and with which options."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from envelope.building.job import Plan
from envelope.plans.source_changes import SourceChange


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """One way to do a unit: treatments by panel, what then stands in openings, or a source."""

    label: str
    treatments: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    assemblies: Mapping[str, str | None] = field(default_factory=dict)
    change: SourceChange | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """What is decided in one go. The first option is to leave it as the base plan has it."""

    id: str
    title: str
    options: tuple[Option, ...]
    group: str = ""  # such as a room's walls: what may also be done in one go, and is named so

    @property
    def is_source(self) -> bool:
        """Whether a source is decided about, and no face."""
        return any(option.change is not None for option in self.options)

    @property
    def panels(self) -> tuple[str, ...]:
        """Panels that some option treats."""
        return tuple(sorted({panel for option in self.options for panel in option.treatments}))


def plan_of(
    units: Sequence[Unit], chosen: Sequence[int], *, base: Plan, name: str, title: str = ""
) -> Plan:
    """The plan that a choice of options makes of a base plan.

    Parameters
    ----------
    units : (n,) Unit
        What is decided.
    chosen : (n,) int
        Index of the option of each.
    base : Plan
        What holds where no unit says otherwise.
    name, title : str
        Of the plan.
    """
    treatments = dict(base.treatments)
    assemblies = dict(base.assemblies)
    measures = dict(base.measures)
    for unit, index in zip(units, chosen, strict=True):
        option = unit.options[index]
        treatments.update(option.treatments)
        assemblies.update(option.assemblies)
        if option.change is not None:
            measures[option.change.device] = option.change.measure
    return Plan(
        id=name,
        title=title,
        treatments={panel: names for panel, names in treatments.items() if names},
        assemblies=assemblies,
        states=base.states,
        measures=measures,
        beds=base.beds,
    )


def changes_in(units: Sequence[Unit], chosen: Sequence[int]) -> tuple[SourceChange, ...]:
    """What a choice of options does about sources."""
    found = (unit.options[index].change for unit, index in zip(units, chosen, strict=True))
    return tuple(change for change in found if change is not None)


def groups_of(units: Sequence[Unit]) -> dict[str, tuple[int, ...]]:
    """Numbers of the units of each group; units of no group are left out."""
    found: dict[str, list[int]] = {}
    for number, unit in enumerate(units):
        if unit.group:
            found.setdefault(unit.group, []).append(number)
    return {group: tuple(numbers) for group, numbers in found.items()}


def measures_of(units: Sequence[Unit]) -> tuple[tuple[str, str, tuple[int, ...]], ...]:
    """What may be done by itself: each option of each unit, and each of a group's units together.

    Returns
    -------
    measures : (n,) of (str, str, (units,) int)
        Id of the unit or group, label of the option, and the choice that does this and no more.
    """
    found = []
    for number, unit in enumerate(units):
        for option in range(1, len(unit.options)):
            chosen = tuple(option if each == number else 0 for each in range(len(units)))
            found.append((unit.id, unit.options[option].label, chosen))
    for group, numbers in groups_of(units).items():
        for label in dict.fromkeys(
            option.label for number in numbers for option in units[number].options[1:]
        ):
            chosen = tuple(
                next((k for k, each in enumerate(unit.options) if k and each.label == label), 0)
                if number in numbers
                else 0
                for number, unit in enumerate(units)
            )
            if sum(map(bool, chosen)) > 1:
                found.append((group, label, chosen))
    return tuple(found)
