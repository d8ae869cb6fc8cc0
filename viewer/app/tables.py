"""The tables of a project file for a page: what each key takes, and what stands there now.

Everything comes from the schema, so that a key that is added there can be edited here at once.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from functools import cache
from typing import Any

from envelope.building.job import AS_BUILT, Job
from envelope.building.library import ASSEMBLIES
from envelope.building.model import PanelKind
from envelope.building.selectors import GROUPS
from envelope.physics.materials import entry_loss_names, material_names
from envelope.physics.tables import metals, services
from envelope.project.edit import EditError, data_of
from envelope.project.edit_names import NAMED
from envelope.project.edit_values import Key, keys_of, parts_of, parts_typed, typed_of
from envelope.project.schema import job as schema
from envelope.project.schema.fields import Choice, Names, Text
from viewer.app import protocol
from viewer.app.starters import STARTERS

# In the order in which a job is written: the title, and what one row of it is called.
_TITLES = {
    "": ("The job", "job"),
    "site": ("Site", "site"),
    "storey": ("Storeys", "storey"),
    "space": ("Rooms", "room"),
    "dormer": ("Dormers", "dormer"),
    "opening": ("Windows, doors, openings", "opening"),
    "panel": ("Faces made otherwise", "face"),
    "construction": ("What walls, floors and roofs are made of", "construction"),
    "assembly": ("Assemblies", "assembly"),
    "material": ("Materials", "material"),
    "obstacle": ("What stands outdoors", "obstacle"),
    "source": ("Sources", "source"),
    "visit": ("Visits", "visit"),
    "meter": ("Meters", "meter"),
    "reading": ("Readings of a meter", "reading"),
    "scan": ("Scans along a joint", "scan"),
    "cover-test": ("Tests with a face covered by foil", "cover test"),
    "resistance": ("Resistances of a coating", "resistance"),
    "receiver": ("Beds and other places that matter", "place"),
    "treatment": ("Treatments", "treatment"),
    "product": ("Products", "product"),
    "costs": ("Costs", "cost"),
    "defaults": ("Usual figures of the trade", "figure"),
    "plan": ("Plans", "plan"),
    "supply": ("Mains supply", "supply"),
    "circuit": ("Circuits", "circuit"),
    "outlet": ("Sockets, switches, lights", "outlet"),
    "cable": ("Cables", "cable"),
    "device": ("Lamps and other things on a cord", "device"),
    "bond": ("Bonds", "bond"),
    "field-reading": ("Readings of the 50/60 Hz field", "reading"),
    "model": ("Imported model", "model"),
    "tag": ("Rules for the model", "rule"),
}
# Lists that a value is chosen from, beside the ids of other tables.
_LISTS = {
    ("opening", "on"): "face",
    ("panel", "on"): "face",
    ("outlet", "on"): "wall",
    ("cable", "on"): "wall",
    ("bond", "on"): "face",
    ("space", "beside"): "wall",
    ("treatment", "metal"): "metal",
    ("assembly", "entry-loss"): "entry-loss",
    ("source", "service"): "service",
    ("plan", "treat", "on"): "selector",
    ("plan", "strips", "on"): "wall",
    ("source", "bands", "service"): "service",
    ("plan", "states", "name"): "opening",
    ("reading", "states", "name"): "opening",
    ("model", "materials", "value"): "material",
    ("source", "level", "name"): "storey",
}
_OPEN = ("assembly", "material")  # of which the program knows more than the file names


@cache
def tables_told() -> tuple[protocol.TableTold, ...]:
    """Every table of the schema with its keys."""
    named = ["", *schema.LISTS, *schema.SINGLES]
    ordered = [name for name in _TITLES if name in named]
    return tuple(_table(name) for name in [*ordered, *(n for n in named if n not in _TITLES)])


def _table(name: str) -> protocol.TableTold:
    title, one = _TITLES.get(name, (name, name))
    return {
        "table": name,
        "title": title,
        "one": one,
        "many": name in schema.LISTS,
        "keys": [_key(name, each) for each in keys_of(name).values()],
        "starters": [
            {"title": each.title, "keys": list(each.keys), "typed": each.typed}
            for each in STARTERS.get(name, ())
        ],
    }


def _key(table: str, key: Key, *within: str) -> protocol.KeyTold:
    read = key.read
    described = {} if read is None else read.described()
    place = (table, *within, key.key)
    names = _LISTS.get(place) or _names_of(place)
    parts = None if within else parts_of(table=table, key=key.key)
    return {
        "key": key.key,
        "kind": "choice" if "enum" in described else key.kind,
        "said": key.said or ("" if parts else str(described.get("description", ""))),
        "example": "" if read is None or isinstance(read, Text | Choice) else read.example,
        "choices": [str(each) for each in described.get("enum", ())],
        "names": names,
        "closed": names in schema.LISTS
        and names not in _OPEN
        and key.kind == "text"
        and not isinstance(read, Names),  # several may stand there, with commas between
        "needed": key.needed,
        "parts": None
        if parts is None
        else {
            "shape": parts.shape,
            "keys": [_key(table, each, key.key) for each in parts.keys],
            "alone": parts.alone,
        },
    }


def _names_of(place: tuple[str, ...]) -> str | None:
    """The table whose ids a key holds."""
    table, *keys = place
    if table == "construction":
        return "assembly"
    key, *inner = keys
    if inner == ["name"]:  # the plain names of a list
        inner = []
    for kind, named, what in NAMED:
        if kind == table and [each for each in named if each != "*"] == [key, *inner]:
            return what
    return None


def rows_told(text: str) -> dict[str, list[dict[str, str]]]:
    """What stands in each table, as it would be typed; a text that is no TOML has none."""
    return {
        name: [
            {key: typed_of(value, keys[key]) for key, value in row.items() if key in keys}
            for row in rows
        ]
        for name, keys, rows in _tables_of(text)
    }


def parts_told(text: str) -> dict[str, list[dict[str, list[dict[str, str]]]]]:
    """What stands in brackets in each table, part by part."""
    told = {}
    for name, keys, rows in _tables_of(text):
        known = {key: parts_of(table=name, key=key) for key in keys}
        told[name] = [
            {
                key: parts_typed(parts, value)
                for key, value in row.items()
                if (parts := known.get(key)) is not None
            }
            for row in rows
        ]
    return told


def names_told(job: Job | None, text: str, *, kept: Collection[str] = ()) -> dict[str, list[str]]:
    """Lists of names that values are chosen from, those of other tables included.

    Parameters
    ----------
    job : Job or None
        None where the text has faults.
    text : str
    kept : collection of str
        Sources that only wait for a reading that names them.
    """
    names: dict[str, list[str]] = {}
    for name, keys, rows in _tables_of(text):
        if "id" in keys:
            names[name] = [str(row["id"]) for row in rows if "id" in row]
    names["assembly"] = list(dict.fromkeys([*names.get("assembly", ()), *ASSEMBLIES]))
    names["material"] = list(dict.fromkeys([*names.get("material", ()), *material_names()]))
    names["metal"] = list(metals.CONDUCTIVITY_S_M)
    names["entry-loss"] = list(entry_loss_names())
    names["service"] = list(services.BY_NAME)
    names["source"] = [*names.get("source", ()), *kept]
    plans = names.get("plan", [])
    names["plan"] = [*plans, *([] if AS_BUILT in plans else [AS_BUILT])]
    names |= {"face": [], "wall": [], "selector": []}
    if job is not None:
        hosts: tuple[PanelKind, ...] = ("wall", "floor", "ceiling")
        panels = job.building.panels
        names["face"] = [each.id for each in panels if each.kind in hosts]
        names["wall"] = [each.id for each in panels if each.kind == "wall"]
        spaces = [space.id for space in job.building.spaces]
        groups = [f"{space}/{group}" for space in spaces for group in GROUPS]
        names["selector"] = [*groups, *(each.id for each in panels)]
    return names


def _tables_of(text: str) -> list[tuple[str, Mapping[str, Key], list[Mapping[str, Any]]]]:
    """Each table of the schema, its keys, and its rows in a text."""
    try:
        document = data_of(text)
    except EditError:
        return []
    found: list[tuple[str, Mapping[str, Key], list[Mapping[str, Any]]]] = []
    for told in tables_told():
        name = told["table"]
        nothing: Any = [] if told["many"] else {}
        value = document if name == "" else document.get(name, nothing)
        listed = value if isinstance(value, list) else [value]
        found.append((name, keys_of(name), [row for row in listed if isinstance(row, Mapping)]))
    return found
