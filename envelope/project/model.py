"""A building from a model file: [model] and [[tag]] of a project file, and what they come to.

    [model] ── read_modelled ── named ── Modelled.build
              (file, rules)    (ids)    (panels, patches)

What the project file says beats what the model says: of an assembly with the same id, of the
other side of a wall that a rule names, of north and grade.
"""

from __future__ import annotations

import hashlib
import os
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from envelope.building.adjacency import find_facings
from envelope.building.assemble import assemble, find_faults
from envelope.building.model import Building, Panel, Site, Space, Storey, said_behind
from envelope.building.rooms.obstacles import place_obstacles
from envelope.building.selectors import match, nearest_names
from envelope.errors import Fault, GeometryError, ModelFileError
from envelope.exchange import (
    Imported,
    TaggedImport,
    TagRule,
    list_model,
    read_model,
    tag_panels,
)
from envelope.geometry.plane import frozen
from envelope.project.faults import Faults
from envelope.project.schema import job as schema
from envelope.project.schema.fields import shown
from envelope.project.space_dimensions import obstacle_specs
from envelope.project.tables import INSTEAD_OF_MODEL, Tables
from envelope.project.toml import scan as lines

# Formats that carry neither a unit nor an axis that points up.
_UNSTATED = (".obj", ".stl", ".ply")
_FINGERPRINT_DIGITS = 16
_HOSTS = ("wall", "floor", "ceiling")
# Tables without which it is not known what stands behind a panel.
_NEEDED = frozenset(("site", "construction", "obstacle", "panel", "model", "tag"))
_NOTED: Mapping[str, str] = {
    "refused": "refused",
    "gap": "left open",
    "unmapped": "of unknown material",
    "guessed": "assumed",
    "repaired": "repaired",
    "left-out": "left out",
    "remark": "remarked on",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Modelled:
    """A model file as one project file reads it."""

    tagged: TaggedImport
    plain: Imported  # before the rules
    notes: tuple[str, ...]

    @property
    def imported(self) -> Imported:
        """The import, rules applied."""
        return self.tagged.imported

    def build(self, tables: Tables, faults: Faults) -> Building | None:
        """Building of the model's spaces, or None with its faults noted."""
        stated = tables.site.given()
        grade_m = self.imported.grade_m
        site = Site(
            north_rad=tables.site.north if "north" in stated else self.imported.north_rad,
            grade_m=tables.site.grade if "grade" in stated or grade_m is None else grade_m,
            reach_m=tables.site.reach,
        )
        spaces, said_by = _with_panel_tables(self.imported.spaces, tables, faults)
        ruled = {panel.panel for panel in self.tagged.panels if panel.rule is not None}
        spaces = _yielding(spaces, first=set(said_by), second=ruled)
        _check_assemblies(spaces, tables, faults)
        found: list[Fault] = []
        blocks = place_obstacles(
            obstacle_specs(tables), spaces={space.id: space for space in spaces}, faults=found
        )
        found += find_faults(spaces)
        if not found and not faults.tables & _NEEDED:
            try:
                return assemble(
                    site=site,
                    storeys=self.imported.storeys,
                    spaces=spaces,
                    construction={**self.imported.construction, **tables.construction.by_kind()},
                    obstacles=blocks,
                )
            except GeometryError as error:
                found += error.faults
        for fault in found:
            faults.add(_place(fault.subject, tables, said_by), fault.marked)
        return None


@lru_cache(maxsize=4)
def _read_once(
    path: str,
    stamp: tuple[int, int],
    unit: str | None,
    up: str | None,
    spaces: tuple[str, ...] | None,
    storey: str | None,
    materials: tuple[tuple[str, str], ...],
    fit: bool,
) -> tuple[Imported, str]:
    """An import and its file's fingerprint, kept while the file is the same (`stamp`)."""
    del stamp
    imported = read_model(
        path,
        unit=unit,
        up=up,
        spaces=spaces,
        storey=storey,
        materials=dict(materials),
        fit=fit,
    )
    with open(path, "rb") as stream:
        digest = hashlib.file_digest(stream, "sha256").hexdigest()
    return imported, digest[:_FINGERPRINT_DIGITS]


def read_cached(
    path: Path,
    *,
    unit: str | None = None,
    up: str | None = None,
    spaces: Sequence[str] | None = None,
    storey: str | None = None,
    materials: Mapping[str, str] | None = None,
    fit: bool = False,
) -> tuple[Imported, str]:
    """Import a model as `read_model` does, once for each state of its file.

    Returns
    -------
    imported : Imported
    fingerprint : str
        Of the file's bytes.
    """
    try:
        found = os.stat(path)
        stamp = (found.st_mtime_ns, found.st_size)
    except (OSError, ValueError):
        stamp = (0, 0)  # read_model says what is wrong
    return _read_once(
        str(path),
        stamp,
        unit,
        up,
        None if spaces is None else tuple(spaces),
        storey,
        tuple(sorted((materials or {}).items())),
        fit,
    )


def read_modelled(
    tables: Tables, *, folder: str, faults: Faults, storey_of: Mapping[str, str]
) -> Modelled | None:
    """Read the model of a project file, or None with what is wrong noted.

    Parameters
    ----------
    tables : Tables
    folder : str
        Where the project file is: its model is named relative to it.
    faults : Faults
    storey_of : mapping
        Spaces to put on another storey than the model does.
    """
    model = tables.model
    if model is None or faults.tables & {"model", "tag", *INSTEAD_OF_MODEL}:
        return None
    path = Path(folder) / model.file
    try:
        imported, fingerprint = read_cached(
            path,
            unit=model.unit,
            up=model.up,
            spaces=model.spaces,
            storey=model.storey,
            materials=model.materials,
            fit=model.fit,
        )
    except ModelFileError as error:
        key = _key_of(model, path)
        for fault in error.faults:
            faults.add(("model", key), f"{shown(model.file)}: {fault.message}")
        return None
    plain = _moved(imported, storey_of)
    tagged = tag_panels(plain, rules_of(tables.of(schema.Tag)))
    notes = [_summary(imported, path.name)] if imported.notes else []
    if model.fingerprint is not None and model.fingerprint != fingerprint:
        notes.append(
            f"{path.name} has changed since it was imported: look at its panels again, then "
            f'write fingerprint = "{fingerprint}"'
        )
    notes += [f"{rule} catches no panel of {path.name}" for rule in tagged.unused]
    return Modelled(tagged=tagged, plain=plain, notes=tuple(notes))


def rules_of(tags: Sequence[tuple[int, schema.Tag]]) -> list[TagRule]:
    """Rules of [[tag]] tables, in the order of the file."""
    return [
        TagRule(
            id=tag.id or f"tag {index + 1}",
            name=tag.name,
            kind=tag.kind,
            storey=tag.storey,
            material=tag.material,
            assembly=tag.assembly,
            becomes=tag.becomes,
        )
        for index, tag in tags
    ]


def named(tables: Tables, modelled: Modelled) -> Tables:
    """The tables with the names that the model brings: storeys, spaces and assemblies."""
    imported = modelled.imported
    own = set(tables.known("assembly"))
    brought = {
        "storey": [storey.id for storey in imported.storeys],
        "space": [space.id for space in imported.spaces],
        "assembly": [name for name in imported.assemblies if name not in own],
    }
    ids = dict(tables.ids)
    for kind, names in brought.items():
        count = len(ids[kind])
        ids[kind] = [*ids[kind], *((count + index, name) for index, name in enumerate(names))]
    storeys = {space.id: space.storey for space in imported.spaces}
    return replace(tables, ids=ids, model_storeys=storeys)


def _key_of(model: schema.Model, path: Path) -> str:
    """Key that a refusal of the model file speaks of."""
    if path.suffix.lower() in _UNSTATED and path.is_file():
        for key in ("unit", "up"):
            if getattr(model, key) is None:
                return key
    if model.spaces is None and model.storey is None:
        return "file"
    try:
        list_model(path, unit=model.unit, up=model.up, fit=model.fit)
    except ModelFileError:
        return "file"
    return "storey" if model.spaces is None else "spaces"


def _summary(imported: Imported, file: str) -> str:
    counts = Counter(note.kind for note in imported.notes)
    listed = ", ".join(f"{count} {_NOTED[kind]}" for kind, count in counts.items())
    return f"reading {file}: {listed}; gapcast import --dry-run with this project file lists them"


def _moved(imported: Imported, storey_of: Mapping[str, str]) -> Imported:
    """The import with some spaces put on other storeys."""
    storeys = {storey.id: storey for storey in imported.storeys}
    spaces = tuple(
        _on_storey(space, storeys[space.storey], storeys[storey_of[space.id]])
        if storey_of.get(space.id) in storeys
        else space
        for space in imported.spaces
    )
    return replace(imported, spaces=spaces)


def _on_storey(space: Space, before: Storey, after: Storey) -> Space:
    rise = np.array([0.0, 0.0, after.floor_m - before.floor_m])
    panels = tuple(
        replace(
            panel,
            outline=frozen(panel.outline + rise),
            holes=tuple(frozen(hole + rise) for hole in panel.holes),
        )
        for panel in space.panels
    )
    return replace(space, storey=after.id, panels=panels, floor_m=space.floor_m + float(rise[2]))


def _with_panel_tables(
    spaces: Sequence[Space], tables: Tables, faults: Faults
) -> tuple[list[Space], dict[str, int]]:
    """The spaces with what [[panel]] says of them; which table said it of each panel."""
    panels = {panel.id: panel for space in spaces for panel in space.panels}
    said_by: dict[str, int] = {}
    for index, table in tables.of(schema.Panel):
        found = match(list(panels.values()), table.on)
        if not found:
            names = [name for panel in panels.values() for name in (panel.id, *panel.aliases)]
            hint = nearest_names(table.on, names)
            faults.add(("panel", index, "on"), f"{shown(table.on)} names no panel: {hint}")
        for name in found:
            panel = panels[name]
            panels[name] = replace(panel, assembly=table.assembly or panel.assembly)
            panels |= said_behind(
                panels,
                name,
                earth=table.behind == "earth",
                unmodelled=table.behind == "unmodelled",
            )
            said_by[name] = index
    return _with_panels(spaces, panels), said_by


def _with_panels(spaces: Sequence[Space], panels: Mapping[str, Panel]) -> list[Space]:
    return [
        replace(space, panels=tuple(panels[panel.id] for panel in space.panels)) for space in spaces
    ]


def _yielding(spaces: Sequence[Space], *, first: set[str], second: set[str]) -> list[Space]:
    """Where the two sides of an element name different assemblies, the weaker word is dropped.

    A [[panel]] table is stronger than a rule, a rule stronger than the model.
    """
    panels = [panel for space in spaces for panel in space.panels]
    silent: set[str] = set()
    for near, facings in zip(panels, find_facings(panels), strict=True):
        for facing in facings:
            far = panels[facing.far]
            same_sort = (near.kind in _HOSTS) == (far.kind in _HOSTS)
            if None in (near.assembly, far.assembly) or near.assembly == far.assembly:
                continue
            strengths = [2 * (panel.id in first) + (panel.id in second) for panel in (near, far)]
            if same_sort and strengths[0] > strengths[1]:
                silent.add(far.id)
    return _with_panels(
        spaces,
        {
            panel.id: replace(panel, assembly=None) if panel.id in silent else panel
            for panel in panels
        },
    )


def _check_assemblies(spaces: Sequence[Space], tables: Tables, faults: Faults) -> None:
    """Note assemblies that the model's panels name and nothing defines."""
    known = tables.assemblies()
    missing: dict[str, list[str]] = {}
    for space in spaces:
        for panel in space.panels:
            if panel.assembly is not None and panel.assembly not in known:
                missing.setdefault(panel.assembly, []).append(panel.id)
    for name, panels in missing.items():
        if any(tag.assembly == name for _, tag in tables.of(schema.Tag)):
            continue  # told at the rule
        more = f" and {len(panels) - 1} more" if len(panels) > 1 else ""
        faults.add(
            ("model", "file"),
            f"the model's panel {shown(panels[0])}{more} is made of {shown(name)}, which is not "
            f"defined: add [[assembly]] with id = {shown(name)}",
        )


def _place(
    subject: tuple[str, str, str] | None, tables: Tables, said_by: Mapping[str, int]
) -> lines.Path:
    """Key that a fault of the building speaks of."""
    if subject is None:
        return ("model", "file")
    table, name, key = subject
    if table == "construction":
        return ("construction", key)
    if table == "panel" and name in said_by:
        return ("panel", said_by[name], key)
    if table == "obstacle":
        index = next((index for index, known in tables.ids["obstacle"] if known == name), 0)
        return ("obstacle", index, key)
    return ("model", "file")
