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
    *("circuit", "outlet", "cable", "device", "bond", "field-reading"),
    "plan",
)
_ON_FACES = ("outlet", "cable", "bond")
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
    keys = (*_SINGLES, "supply", *_LISTS)
    found: Tables = {key: document[key] for key in keys if key in document}
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
    supply = imported.tables.get("supply")
    tables = {
        **{key: _table(imported.tables.get(key)) for key in _SINGLES},
        "supply": _entries(supply) if _listed(supply) else _table(supply),
        **{key: _entries(imported.tables.get(key)) for key in _LISTS},
    }
    tables = {key: value for key, value in tables.items() if value}
    if len(json.dumps(tables)) > _MOST_CHARACTERS:
        return {}, [_left("the job that it carries", "is too long, and was left out")]
    notes: list[Note] = []
    spaces = {space.id for space in imported.spaces}
    for key in ("obstacle", "source", "reading", "receiver", "field-reading"):
        for entry in _entries(tables.get(key)):
            if entry.get("space", None) not in (None, *spaces):
                notes.append(
                    _left(f"{key} {shown(entry.get('id'))}", "stands in a space that was not taken")
                )
        kept = [e for e in _entries(tables.get(key)) if e.get("space") in (None, *spaces)]
        tables[key] = kept
    tables["source"] = [_on_storeys(entry, imported, notes) for entry in _entries(tables["source"])]
    torn = _wiring_on_panels(tables, imported, notes)
    tables["plan"] = [
        _wiring_of(_on_panels(entry, imported, notes), tables, imported, torn, notes)
        for entry in _entries(tables.get("plan"))
    ]
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


def _wiring_on_panels(tables: Tables, imported: Imported, notes: list[Note]) -> set[str]:
    """Take out what lies on faces that were not taken; the circuits that lost something."""
    panels = [panel for space in imported.spaces for panel in space.panels]
    torn: set[str] = set()
    for key in _ON_FACES:
        kept = []
        for entry in _entries(tables.get(key)):
            if match(panels, str(entry.get("on", ""))):
                kept.append(entry)
                continue
            torn.add(str(entry.get("circuit", "")))
            subject = f"{key} {shown(entry.get('id', entry.get('circuit')))}"
            notes.append(_left(subject, f"{shown(entry.get('on'))} names no panel of the model"))
        tables[key] = kept
    outlets = {entry.get("id") for entry in tables["outlet"]}
    kept = []
    for entry in _entries(tables.get("device")):
        if entry.get("outlet") in outlets:
            kept.append(entry)
        else:
            subject = f"device {shown(entry.get('id'))}"
            notes.append(_left(subject, f"its outlet {shown(entry.get('outlet'))} was left out"))
    tables["device"] = kept
    return torn


def _wiring_of(
    plan: Table, tables: Tables, imported: Imported, torn: set[str], notes: list[Note]
) -> Table:
    """A plan without bonds and strips that were left behind."""
    panels = [panel for space in imported.spaces for panel in space.panels]
    bonds = {entry.get("id") for entry in tables["bond"]}
    found = dict(plan)
    if _listed(plan.get("bond")):
        found["bond"] = [name for name in plan["bond"] if name in bonds]
    if "strips" in plan:
        found["strips"] = []
        for strip in _entries(plan["strips"]):
            whole = str(strip.get("along", "")) not in torn
            if whole and match(panels, str(strip.get("on", ""))):
                found["strips"].append(strip)
            else:
                why = f"its strip along {shown(strip.get('along'))}: not all of the run was taken"
                notes.append(_left(f"plan {shown(plan.get('id'))}", why))
        if not found["strips"]:
            del found["strips"]
    return found
