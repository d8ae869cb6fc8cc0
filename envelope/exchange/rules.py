"""Tag rules: which panels of an import get which assembly or kind, and which rule caught each."""

from __future__ import annotations

import fnmatch
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from envelope.building.model import OPENING_KINDS, Panel, PanelKind
from envelope.errors import Fault, GeometryError
from envelope.exchange.records import Imported, PanelOrigin


@dataclass(frozen=True, slots=True, kw_only=True)
class TagRule:
    """What a panel must be, and what it then gets. Conditions left out hold for every panel.

    Patterns have * and ? and mind no capitals. `name` is held against the panel's id, its aliases
    and every name that the model gave it.
    """

    id: str
    name: str | None = None
    kind: PanelKind | None = None
    storey: str | None = None
    material: str | None = None
    assembly: str | None = None
    becomes: PanelKind | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tagged:
    """One panel, as a preview lists it."""

    panel: str
    kind: PanelKind
    area_m2: float
    beyond: str | None
    names: tuple[str, ...]
    assembly: str | None
    rule: str | None  # id of the last rule that caught it, None where none did


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TaggedImport:
    """An import with the rules applied."""

    imported: Imported
    panels: tuple[Tagged, ...]
    unused: tuple[str, ...]  # rules that caught no panel

    @property
    def leftovers(self) -> tuple[Tagged, ...]:
        """Panels that no rule caught."""
        return tuple(panel for panel in self.panels if panel.rule is None)


def _like(pattern: str | None, values: Sequence[str]) -> bool:
    if pattern is None:
        return True
    wanted = pattern.casefold()
    return any(fnmatch.fnmatchcase(value.casefold(), wanted) for value in values)


def _caught(rule: TagRule, panel: Panel, origin: PanelOrigin | None, storey: str) -> bool:
    names = [panel.id, *panel.aliases, *panel.tags]
    materials: Sequence[str] = ()
    if origin is not None:
        names += origin.names
        materials = origin.materials
    return (
        (rule.kind is None or rule.kind == panel.kind)
        and (rule.storey is None or rule.storey.casefold() == storey.casefold())
        and _like(rule.name, names)
        and _like(rule.material, materials)
    )


def tag_panels(imported: Imported, rules: Sequence[TagRule]) -> TaggedImport:
    """Apply rules in order; the last that catches a panel wins.

    Parameters
    ----------
    imported : Imported
    rules : sequence of TagRule
        Each must say an assembly or a kind.

    Returns
    -------
    tagged : TaggedImport
        A new import; panels that no rule caught are left as they were, and listed.

    Raises
    ------
    GeometryError
        For a rule that gives nothing.
    """
    faults = [
        Fault(
            message=f"tag rule {rule.id} gives neither an assembly nor a kind",
            subject=("tag", rule.id, "assembly"),
        )
        for rule in rules
        if rule.assembly is None and rule.becomes is None
    ]
    if faults:
        raise GeometryError(faults)
    last: dict[str, TagRule] = {}
    used: set[str] = set()
    changed: dict[str, Panel] = {}
    for space in imported.spaces:
        for panel in space.panels:
            for rule in rules:
                if _caught(rule, panel, imported.origins.get(panel.id), space.storey):
                    last[panel.id] = rule
                    used.add(rule.id)
            changed[panel.id] = _applied(panel, last.get(panel.id))
    spaces = tuple(
        replace(space, panels=tuple(changed[panel.id] for panel in space.panels))
        for space in imported.spaces
    )
    return TaggedImport(
        imported=replace(imported, spaces=spaces),
        panels=tuple(
            _listed(panel, imported.origins, last.get(panel.id)) for panel in changed.values()
        ),
        unused=tuple(rule.id for rule in rules if rule.id not in used),
    )


def _applied(panel: Panel, rule: TagRule | None) -> Panel:
    if rule is None:
        return panel
    kind = rule.becomes or panel.kind
    assembly = rule.assembly or panel.assembly
    # A wall that was taken for a window has no host any more.
    host = panel.host if kind in OPENING_KINDS or kind == panel.kind else None
    return replace(panel, kind=kind, assembly=assembly, host=host)


def _listed(panel: Panel, origins: Mapping[str, PanelOrigin], rule: TagRule | None) -> Tagged:
    origin = origins.get(panel.id)
    return Tagged(
        panel=panel.id,
        kind=panel.kind,
        area_m2=panel.area_m2,
        beyond=None if origin is None else origin.beyond,
        names=panel.tags if origin is None else (origin.names or panel.tags),
        assembly=panel.assembly,
        rule=None if rule is None else rule.id,
    )
