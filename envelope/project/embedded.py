"""What a job says beside its rooms, carried in the extras of a GLB and written out again.

    project file ── carried ── extras of the scene ── fitted ── as_toml ── another project file
                   (tables)                        (to the rooms taken)

Tables are carried as they were typed, so that every unit stands where its writer put it. What comes
back is a stranger's text all the same: it is taken table by table, and read by the schema as any
project file is.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from envelope.building.job import Assembly, Job
from envelope.building.library import ASSEMBLIES
from envelope.building.selectors import match
from envelope.exchange import Imported, Note
from envelope.project.schema.fields import shown

# Tables that do not say where the rooms' own panels are: those come with the geometry.
_SINGLES = ("site", "construction")
_LISTS = (
    *("assembly", "material", "obstacle", "treatment", "source", "reading", "receiver"),
    "plan",
)
_MOST_CHARACTERS = 500_000
_BARE = re.compile(r"[A-Za-z0-9_-]+")

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
        as_table(job.assemblies[name])
        for name in used
        if name and name not in own and name not in ASSEMBLIES
    ]
    if brought:
        found["assembly"] = [*found.get("assembly", []), *brought]
    return found


def as_table(assembly: Assembly) -> Table:
    """An assembly of layers or of one loss, as a project file says it."""
    found: Table = {"id": assembly.id}
    if assembly.note:
        found["note"] = assembly.note
    if assembly.loss is not None:
        return {**found, "loss": f"{assembly.loss.losses_db[0]!r} dB"}
    layers: list[Table] = []
    for layer in assembly.layers:
        if layer.material is None:
            layers.append({"sheet-resistance": f"{layer.sheet_resistance_ohm_sq!r} ohm/sq"})
        elif layer.thickness_m > 0.0:
            entry: Table = {"material": layer.material, "thickness": f"{layer.thickness_m!r} m"}
            if layer.cavity or layer.material in ("air", "vacuum"):
                entry["cavity"] = layer.cavity
            layers.append(entry)
    return {**found, "layers": layers}


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


def as_toml(tables: Mapping[str, Any], *, keys: Sequence[str] = (*_SINGLES, *_LISTS)) -> list[str]:
    """Lines of a project file that say some tables."""
    found: list[str] = []
    for key in keys:
        value = tables.get(key, [])
        entries, head = (
            ([value], f"[{key}]") if isinstance(value, Mapping) else (value, f"[[{key}]]")
        )
        for entry in entries:
            found += [head, *(f"{_key(name)} = {_value(item)}" for name, item in entry.items()), ""]
    return found


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else quoted(name)


def quoted(text: str) -> str:
    """Text as a TOML string."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:
    if isinstance(value, Mapping):
        return (
            "{ "
            + ", ".join(f"{_key(name)} = {_value(item)}" for name, item in value.items())
            + " }"
        )
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if _listed(value):
        lines = list(_lines(value))
        return "[" + ", ".join(lines) + "]" if len(", ".join(lines)) < 60 else _block(lines)
    return repr(value)


def _lines(values: Sequence[Any]) -> Iterator[str]:
    for value in values:
        yield _value(value)


def _block(lines: Sequence[str]) -> str:
    return "[\n" + "".join(f"    {line},\n" for line in lines) + "]"
