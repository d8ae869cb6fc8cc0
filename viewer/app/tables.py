"""The tables of a project file for a page: what each key takes, and what stands there now.

Everything comes from the schema, so that a key that is added there can be edited here at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

from envelope.project.edit import EditError, data_of
from envelope.project.edit_table import key_kind, keys_of, model_of
from envelope.project.references import NAMES
from envelope.project.schema import job as schema
from envelope.project.schema.fields import Choice, Text
from envelope.project.toml.write import value_of
from viewer.app import protocol

# In the order in which a job is written.
_TITLES = {
    "": "The job",
    "site": "Site",
    "storey": "Storeys",
    "space": "Rooms",
    "dormer": "Dormers",
    "opening": "Windows, doors, openings",
    "panel": "Faces made otherwise",
    "construction": "What walls, floors and roofs are made of",
    "assembly": "Assemblies",
    "material": "Materials",
    "obstacle": "What stands outdoors",
    "source": "Sources",
    "reading": "Readings of a meter",
    "receiver": "Receivers",
    "treatment": "Treatments",
    "product": "Products",
    "costs": "Costs",
    "plan": "Plans",
    "model": "Imported model",
    "tag": "Rules for the model",
}


@cache
def tables_told() -> tuple[protocol.TableTold, ...]:
    """Every table of the schema with its keys."""
    named = ["", *schema.LISTS, *schema.SINGLES]
    ordered = [name for name in _TITLES if name in named]
    return tuple(_table(name) for name in [*ordered, *(n for n in named if n not in _TITLES)])


def _table(name: str) -> protocol.TableTold:
    model = model_of(name)
    fields = {(field.alias or key): field for key, field in model.model_fields.items()}
    references = {keys[0]: what for kind, keys, what in NAMES if kind == name and len(keys) == 1}
    keys: list[protocol.KeyTold] = []
    for key, read in keys_of(name).items():
        described = {} if read is None else read.described()
        kind = key_kind(table=name, key=key)
        keys.append(
            {
                "key": key,
                "kind": "choice" if "enum" in described else kind,
                "said": fields[key].description or str(described.get("description", "")),
                "example": "" if read is None or isinstance(read, Text | Choice) else read.example,
                "choices": [str(each) for each in described.get("enum", ())],
                "names": references.get(key),
                "needed": fields[key].is_required(),
            }
        )
    title = _TITLES.get(name, name)
    return {"table": name, "title": title, "many": name in schema.LISTS, "keys": keys}


def rows_told(text: str) -> dict[str, list[dict[str, str]]]:
    """What stands in each table, as it would be typed; a text that is no TOML has none."""
    try:
        document = data_of(text)
    except EditError:
        return {}
    rows: dict[str, list[dict[str, str]]] = {}
    for told in tables_told():
        name = told["table"]
        known = {key["key"] for key in told["keys"]}
        found = document if name == "" else document.get(name, {})
        listed = found if isinstance(found, list) else [found]
        rows[name] = [
            {key: typed(value) for key, value in row.items() if key in known}
            for row in listed
            if isinstance(row, Mapping)
        ]
    return rows


def typed(value: Any) -> str:
    """A value as somebody types it: text without its quotes, all else as TOML has it."""
    return value if isinstance(value, str) else value_of(value, one_line=True)
