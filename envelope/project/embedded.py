"""What a job says beside its rooms, carried in the extras of a GLB and written out again.

    project file ── carried ── extras of the scene ── fitted ── write.tables ── another project file
                   (tables)                        (to the rooms taken)

Tables are carried as they were typed, so that every unit stands where its writer put it. What comes
back is a stranger's text all the same: it is taken table by table, and read by the schema as any
project file is.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from envelope.building.job import Job
from envelope.building.library import ASSEMBLIES
from envelope.building.selectors import match
from envelope.exchange import Imported, Note
from envelope.project.assembly_table import assembly_table
from envelope.project.schema.fields import shown

# Tables that do not say where the rooms' own panels are: those come with the geometry.
_SINGLES = ("site", "construction")
_LISTS = (
    *("assembly", "material", "obstacle", "treatment", "source", "reading", "receiver"),
    "plan",
)
_MOST_CHARACTERS = 500_000

Table = dict[str, Any]
Tables = dict[str, Any]


def carried(document: Mapping[str, Any], job: Job) -> Tables:
    """Tables of a project file that an export takes along, with what its model said instead.

    Parameters
    ----------
    document : mapping
        The project file, sound.
    job : Job
        What it came to.
    """
    found: Tables = {key: document[key] for key in (*_SINGLES, *_LISTS) if key in document}
    if "model" not in document:
        return found
    site = job.building.site
    found["site"] = {
        "north": f"{site.north_rad!r} rad",
        "grade": f"{site.grade_m!r} m",
        **found.get("site", {}),
    }
    own = {entry["id"] for entry in found.get("assembly", [])}
    used = dict.fromkeys(element.assembly for element in job.building.elements)
    brought = [
        assembly_table(job.assemblies[name])
        for name in used
        if name and name not in own and name not in ASSEMBLIES
    ]
    if brought:
        found["assembly"] = [*found.get("assembly", []), *brought]
    return found


def fitted(imported: Imported) -> tuple[Tables, list[Note]]:
    """The tables that a model carries, without what speaks of rooms and storeys not taken."""
    tables = {
        **{key: _table(imported.tables.get(key)) for key in _SINGLES},
        **{key: _entries(imported.tables.get(key)) for key in _LISTS},
    }
    tables = {key: value for key, value in tables.items() if value}
    if len(json.dumps(tables)) > _MOST_CHARACTERS:
        return {}, [_left("the job that it carries", "is too long, and was left out")]
    notes: list[Note] = []
    spaces = {space.id for space in imported.spaces}
    for key in ("obstacle", "source", "reading", "receiver"):
        for entry in _entries(tables.get(key)):
            if entry.get("space", None) not in (None, *spaces):
                notes.append(
                    _left(f"{key} {shown(entry.get('id'))}", "stands in a space that was not taken")
                )
        kept = [e for e in _entries(tables.get(key)) if e.get("space") in (None, *spaces)]
        tables[key] = kept
    tables["source"] = [_on_storeys(entry, imported, notes) for entry in _entries(tables["source"])]
    tables["plan"] = [_on_panels(entry, imported, notes) for entry in _entries(tables.get("plan"))]
    return {key: value for key, value in tables.items() if value}, notes


def _table(value: Any) -> Table:
    return dict(value) if isinstance(value, Mapping) else {}


def _entries(value: Any) -> list[Table]:
    return [dict(item) for item in value if isinstance(item, Mapping)] if _listed(value) else []


def _listed(value: Any) -> bool:
    return isinstance(value, Sequence) and not isinstance(value, str)


def _left(subject: str, why: str) -> Note:
    return Note(kind="left-out", subject=subject, message=why)


def _on_storeys(source: Table, imported: Imported, notes: list[Note]) -> Table:
    """A source without its levels on storeys that the model does not have."""
    level = source.get("level")
    if not isinstance(level, Mapping):
        return source
    known = {storey.id for storey in imported.storeys}
    gone = [name for name in level if name not in known]
    if gone:
        subject = f"source {shown(source.get('id'))}"
        notes.append(_left(subject, f"its level on {', '.join(gone)}: no space stands there"))
    kept = {name: value for name, value in level.items() if name in known}
    rest = {key: value for key, value in source.items() if key != "level"}
    return {**rest, "level": kept} if kept else rest


def _on_panels(plan: Table, imported: Imported, notes: list[Note]) -> Table:
    """A plan without what it puts on panels that were not taken."""
    panels = [panel for space in imported.spaces for panel in space.panels]
    kept = []
    for treat in _entries(plan.get("treat")):
        if match(panels, str(treat.get("on", ""))):
            kept.append(treat)
        else:
            subject = f"plan {shown(plan.get('id'))}"
            notes.append(_left(subject, f"{shown(treat.get('on'))} names no panel of the model"))
    return {**plan, "treat": kept} if kept else {k: v for k, v in plan.items() if k != "treat"}
