"""The tables of a project file, each validated by its model, with its place in the file."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar, cast

from pydantic import ValidationError

from envelope.building.library import ASSEMBLIES
from envelope.building.selectors import nearest_names
from envelope.project.faults import Faults
from envelope.project.schema import job as schema
from envelope.project.schema.fields import shown
from envelope.project.toml.scan import Path

T = TypeVar("T", bound=schema.Table)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """The sound tables of a file, each with its place in the file."""

    name: str
    site: schema.Site
    construction: schema.Construction
    entries: Mapping[type[schema.Table], list[tuple[int, schema.Table]]]
    # Every id that the file states, with the index of its table: faulty tables count here, so
    # that what refers to them is not called unknown besides.
    ids: Mapping[str, list[tuple[int, str]]]
    costs: schema.Costs
    defaults: schema.Defaults
    model: schema.Model | None = None
    model_storeys: Mapping[str, str] = field(default_factory=dict)  # of the model's spaces

    def of(self, model: type[T]) -> list[tuple[int, T]]:
        """Tables of one kind, with their places."""
        return cast("list[tuple[int, T]]", self.entries[model])

    def known(self, kind: str) -> list[str]:
        """Every id of one kind of table."""
        return [name for _, name in self.ids[kind]]

    def devices(self) -> dict[str, tuple[str, ...]]:
        """Sources that send in several bands, by what they are called together."""
        found: dict[str, tuple[str, ...]] = {}
        for _, source in self.of(schema.Source):
            if source.device:
                found[source.device] = (*found.get(source.device, ()), source.id)
        return found

    def assemblies(self) -> list[str]:
        """Every assembly that may be named: the file's own, then the starter ones."""
        own = self.known("assembly")
        return [*own, *(name for name in ASSEMBLIES if name not in own)]


def says_wiring(tables: Tables) -> bool:
    """Whether a file says anything of the house wiring."""
    listed = (schema.Supply, schema.Circuit, schema.Outlet, schema.Cable, schema.Device)
    if any(tables.of(kind) for kind in (*listed, schema.Bond, schema.FieldReading)):
        return True
    return any(
        plan.strips or plan.off or plan.bond is not None for _, plan in tables.of(schema.Plan)
    )


def on_storeys(tables: Tables, storey_of: Mapping[str, str], faults: Faults) -> Tables:
    """The same tables with some spaces put on other storeys."""
    sound = {}
    for name, storey in storey_of.items():
        wrong = [
            (what, asked)
            for what, asked in (("space", name), ("storey", storey))
            if asked not in tables.known(what)
        ]
        for what, asked in wrong:
            hint = nearest_names(asked, tables.known(what))
            faults.add((what,), f"there is no {what} {shown(asked)}: {hint}")
        if not wrong:
            sound[name] = storey
    spaces: list[tuple[int, schema.Table]] = [
        (index, space.model_copy(update={"storey": sound.get(space.id, space.storey)}))
        for index, space in tables.of(schema.Space)
    ]
    return replace(tables, entries={**tables.entries, schema.Space: spaces})


def read_tables(document: Mapping[str, Any], faults: Faults) -> Tables:
    """Validate every table; faults are noted, sound tables answered."""
    head = {
        key: value
        for key, value in document.items()
        if key not in schema.LISTS and key not in schema.SINGLES
    }
    sound_head = _validated(schema.ProjectFile, head, (), faults)
    singles = {
        key: _single(model, document.get(key, {}), key, faults)
        for key, model in schema.SINGLES.items()
        if key != "model"
    }
    entries, ids = read_lists(document, faults)
    if "space" not in document and "model" not in document:
        faults.add(("space",), "there is no [[space]]: a job needs at least one")
    return Tables(
        name="" if sound_head is None else sound_head.name,
        site=cast("schema.Site", singles["site"]),
        construction=cast("schema.Construction", singles["construction"]),
        costs=cast("schema.Costs", singles["costs"]),
        defaults=cast("schema.Defaults", singles["defaults"]),
        entries=entries,
        ids=ids,
        model=_model(document, faults),
    )


def read_lists(
    document: Mapping[str, Any], faults: Faults
) -> tuple[
    dict[type[schema.Table], list[tuple[int, schema.Table]]], dict[str, list[tuple[int, str]]]
]:
    """Validate the tables that come many times; every id stated, with the index of its table."""
    entries: dict[type[schema.Table], list[tuple[int, schema.Table]]] = {}
    ids: dict[str, list[tuple[int, str]]] = {}
    for key, (model, most) in schema.LISTS.items():
        listed = _listed(document.get(key, []), key, most, faults)
        stated = [(0, document[key])] if isinstance(document.get(key), dict) else listed
        ids[key] = [
            (index, entry["id"]) for index, entry in stated if isinstance(entry.get("id"), str)
        ]
        entries[model] = []
        for index, entry in listed:
            once = key in schema.ONE_OR_MORE and isinstance(document.get(key), dict)
            table = _validated(model, entry, (key,) if once else (key, index), faults)
            if isinstance(table, schema.Source):
                parts = table.each_band()
                entries[model] += [(index, part) for part in parts]
                if table.bands is not None:  # each counts as a source of its own
                    ids[key] = [item for item in ids[key] if item != (index, table.id)]
                    ids[key] += [(index, part.id) for part in parts]
            elif table is not None:
                entries[model].append((index, table))
    return entries, ids


# What dimensions say of a building, and a model says itself.
INSTEAD_OF_MODEL = ("storey", "space", "dormer", "opening")


def _model(document: Mapping[str, Any], faults: Faults) -> schema.Model | None:
    """The [model] table, and what does not go with it, or with its absence."""
    if "model" not in document:
        if "tag" in document:
            faults.add(
                ("tag",), "[[tag]] goes with [model] only: it is a rule for a model's panels"
            )
        return None
    for key in INSTEAD_OF_MODEL:
        if key in document:
            faults.add(
                (key,),
                f"[[{key}]] does not go with [model], which brings its own: take one or the other",
            )
    value = document["model"]
    if isinstance(value, dict):
        return _validated(schema.Model, value, ("model",), faults)
    faults.add(("model",), "model is written once, as a table [model]")
    return None


def _single(model: type[T], value: object, key: str, faults: Faults) -> T:
    if isinstance(value, dict):
        found = _validated(model, value, (key,), faults)
        return _as_meant(model, value) if found is None else found
    faults.add((key,), f"{key} is written once, as a table [{key}]")
    return model.model_validate({})


def _as_meant(model: type[T], value: Mapping[str, Any]) -> T:
    """What is sound in a table that has a fault, with misspelt keys as they were meant.

    Otherwise what depends on them would be told as missing, too.
    """
    known = [field.alias or name for name, field in model.model_fields.items()]
    meant: dict[str, Any] = {}
    for key, each in value.items():
        near = difflib.get_close_matches(key[:80], known, n=1, cutoff=0.6)
        name = key if key in known else near[0] if near else None
        if name is not None and (name == key or name not in value):
            meant[name] = each
    while True:
        try:
            return model.model_validate(meant)
        except ValidationError as error:
            wrong = {str(detail["loc"][0]) for detail in error.errors() if detail["loc"]}
            if not wrong & set(meant):
                return model.model_validate({})
            meant = {key: each for key, each in meant.items() if key not in wrong}


def _listed(value: object, key: str, most: int, faults: Faults) -> list[tuple[int, dict[str, Any]]]:
    if isinstance(value, dict) and key in schema.ONE_OR_MORE:
        value = [value]
    if isinstance(value, dict):
        faults.add((key,), f"{key} is written with two brackets, as [[{key}]]")
        return []
    if not isinstance(value, list):
        faults.add((key,), f"{shown(value)} is not a table: write [[{key}]] and its keys below it")
        return []
    if len(value) > most:
        faults.add((key,), f"there are {len(value)} [[{key}]]: at most {most} are allowed")
    listed = []
    for index, entry in enumerate(value[:most]):
        if isinstance(entry, dict):
            listed.append((index, entry))
        else:
            faults.add((key, index), f"{shown(entry)} is not a table: write [[{key}]]")
    return listed


def _validated(model: type[T], entry: Mapping[str, Any], path: Path, faults: Faults) -> T | None:
    """Read one table; note what is wrong with it and answer None where anything is."""
    try:
        table = model.model_validate(entry)
    except ValidationError as error:
        faults.add_validation(path, error, model)
        for key, message in model.loose_problems(entry):
            if not faults.has((*path, key)):
                faults.add((*path, key), message)
        return None
    sound = True
    for key, message in table.problems():
        parts: Path = tuple(int(part) if part.isdigit() else part for part in key.split("."))
        faults.add((*path, *parts), message)
        sound = False
    return table if sound else None
