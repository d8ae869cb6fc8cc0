"""Names that refer to other tables, and ids that must not clash."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from envelope.building.job import AS_BUILT, no_level
from envelope.building.selectors import GROUPS, unknown
from envelope.physics.materials import entry_loss_names, material_names
from envelope.physics.tables import metals
from envelope.project.faults import Faults
from envelope.project.schema import job as schema
from envelope.project.schema.fields import shown
from envelope.project.tables import Tables
from envelope.project.toml.scan import Path

_COMPASS = ("north", "east", "south", "west")
# Panels have these names already: an opening of the same name could not be told from them.
_PANEL_NAME = re.compile(rf"\d+|(?:floor|ceiling)(?:-\d+)?|{'|'.join((*GROUPS, *_COMPASS))}")


def check_references(tables: Tables, document: Mapping[str, Any], faults: Faults) -> None:
    """Note every name that is unknown and every id that stands twice."""
    _check_ids(tables, faults)
    known = tables.known
    assemblies = tables.assemblies()
    for key, assembly in tables.construction.by_kind().items():
        _check(("construction", key), "assembly", assembly, assemblies, faults)
    materials = [*known("material"), *material_names()]
    layered = [("assembly", index, made.layers) for index, made in tables.of(schema.Assembly)]
    layered += [("treatment", index, put.layers) for index, put in tables.of(schema.Treatment)]
    for kind, index, layers in layered:
        for number, layer in enumerate(layers or ()):
            for key, name in (
                ("material", layer.material),
                ("perhaps-material", layer.perhaps_material),
            ):
                at = (kind, index, "layers", number, key)
                _check(at, "material", name, materials, faults)
    for index, made in tables.of(schema.Assembly):
        path = ("assembly", index, "entry-loss")
        _check(path, "material class", made.entry_loss, entry_loss_names(), faults)
        _check_parts(made, index, tables, faults)
    for index, put in tables.of(schema.Treatment):
        path = ("treatment", index, "metal")
        _check(path, "metal", put.metal, metals.CONDUCTIVITY_S_M, faults)
    for index, space in tables.of(schema.Space):
        _check(("space", index, "storey"), "storey", space.storey, known("storey"), faults)
        _check_sides(space, ("space", index, "ceiling"), faults)
    for index, dormer in tables.of(schema.Dormer):
        _check(("dormer", index, "space"), "space", dormer.space, known("space"), faults)
        _check_sides(dormer, ("dormer", index, "ceiling"), faults)
    for index, opening in tables.of(schema.Opening):
        where = opening.on.partition("/")[0]
        _check(("opening", index, "on"), "space", where, known("space"), faults)
        for key, named in (
            ("assembly", opening.assembly),
            ("shutter", opening.shutter),
            ("frame-assembly", opening.frame_assembly),
        ):
            _check(("opening", index, key), "assembly", named, assemblies, faults)
    for index, panel in tables.of(schema.Panel):
        _check(
            ("panel", index, "assembly"), "assembly", panel.assembly, tables.assemblies(), faults
        )
    for index, tag in tables.of(schema.Tag):
        _check(("tag", index, "assembly"), "assembly", tag.assembly, assemblies, faults)
    for name, read_as in (tables.model.materials if tables.model else {}).items():
        _check(("model", "materials", name), "material", read_as, materials, faults)
    for index, receiver in tables.of(schema.Receiver):
        _check(("receiver", index, "space"), "space", receiver.space, known("space"), faults)
    _check_readings(tables, faults)
    _check_sources(tables, faults)
    _check_products(tables, faults)
    _check_plans(tables, faults)
    _check_faulty(tables, document, faults)


# Keys of names, and of what; `*` is every entry of a list.
NAMES: tuple[tuple[str, tuple[str, ...], str], ...] = (
    ("space", ("storey",), "storey"),
    ("dormer", ("space",), "space"),
    ("opening", ("on",), "space"),
    ("opening", ("assembly",), "assembly"),
    ("opening", ("shutter",), "assembly"),
    ("opening", ("frame-assembly",), "assembly"),
    ("panel", ("assembly",), "assembly"),
    ("tag", ("assembly",), "assembly"),
    ("receiver", ("space",), "space"),
    ("reading", ("space",), "space"),
    ("reading", ("receiver",), "receiver"),
    ("reading", ("visit",), "visit"),
    ("reading", ("meter",), "meter"),
    ("reading", ("plan",), "plan"),
    ("visit", ("plan",), "plan"),
    ("scan", ("visit",), "visit"),
    ("scan", ("plan",), "plan"),
    ("cover-test", ("space",), "space"),
    ("cover-test", ("receiver",), "receiver"),
    ("cover-test", ("visit",), "visit"),
    ("cover-test", ("plan",), "plan"),
    ("resistance", ("visit",), "visit"),
    ("source", ("space",), "space"),
    ("plan", ("extends",), "plan"),
    ("plan", ("treat", "*", "with"), "treatment"),
    ("plan", ("measures", "*", "space"), "space"),
    ("plan", ("beds", "*", "receiver"), "receiver"),
    ("assembly", ("layers", "*", "material"), "material"),
    ("assembly", ("layers", "*", "perhaps-material"), "material"),
    ("assembly", ("parts", "*"), "assembly"),
    ("treatment", ("layers", "*", "material"), "material"),
    ("treatment", ("layers", "*", "perhaps-material"), "material"),
    ("product", ("for",), "treatment"),
)


def _check_faulty(tables: Tables, document: Mapping[str, Any], faults: Faults) -> None:
    """Names in tables that could not be read, which are judged where other keys are faulty."""
    whole = ("storey", "space", "treatment", "receiver", "visit", "meter")
    known = {what: tables.known(what) for what in whole}
    known["assembly"] = tables.assemblies()
    known["material"] = [*tables.known("material"), *material_names()]
    known["plan"] = [*tables.known("plan"), AS_BUILT]
    for kind, keys, what in NAMES:
        model, most = schema.LISTS[kind]
        listed = document.get(kind)
        read = {index for index, _ in tables.of(model)}
        for index, row in enumerate(listed[:most] if isinstance(listed, list) else ()):
            if index in read:
                continue
            for path, name in _at(row, keys, (kind, index)):
                if not faults.has(path):
                    here = name.partition("/")[0] if keys == ("on",) else name
                    _check(path, what, here, known[what], faults)


def _at(value: object, keys: tuple[str, ...], path: Path) -> Iterator[tuple[Path, str]]:
    """Texts at keys within a table, each with its own path."""
    if not keys:
        if isinstance(value, str):
            yield path, value
    elif keys[0] == "*":
        for index, entry in enumerate(value if isinstance(value, list) else ()):
            yield from _at(entry, keys[1:], (*path, index))
    elif isinstance(value, dict):
        yield from _at(value.get(keys[0]), keys[1:], (*path, keys[0]))


def _check(path: Path, what: str, name: str | None, known: Iterable[str], faults: Faults) -> None:
    names = tuple(known)
    if name is not None and name not in names:
        faults.add(path, unknown(what, name, names))


def _check_ids(tables: Tables, faults: Faults) -> None:
    for kind, listed in tables.ids.items():
        first: dict[str, int] = {}
        for index, name in listed:
            if name in first:
                line = faults.line((kind, first[name], "id"))
                faults.add(
                    (kind, index, "id"), f"id {shown(name)} stands twice, first in line {line}"
                )
            first.setdefault(name, index)
    named = [("opening", "W1", index, table.id) for index, table in tables.of(schema.Opening)]
    named += [("dormer", "N1", index, table.id) for index, table in tables.of(schema.Dormer)]
    for kind, example, index, name in named:
        if _PANEL_NAME.fullmatch(name):
            faults.add(
                (kind, index, "id"),
                f"{shown(name)} is the name of a panel or a group: give the {kind} another "
                f'id, such as "{example}"',
            )
    for index, material in tables.of(schema.Material):
        if material.id in material_names():
            faults.add(
                ("material", index, "id"),
                f"material {shown(material.id)} is built in: give this one another id",
            )


def _check_parts(made: schema.Assembly, index: int, tables: Tables, faults: Faults) -> None:
    """Parts are assemblies that have no parts themselves."""
    composed = [other.id for _, other in tables.of(schema.Assembly) if other.parts]
    for number, part in enumerate(made.parts or ()):
        path = ("assembly", index, "parts", number)
        _check(path, "assembly", part, tables.assemblies(), faults)
        if part in composed:
            faults.add(path, f"{shown(part)} has parts itself: write all of them here")


def _check_sides(table: schema.Space | schema.Dormer, path: Path, faults: Faults) -> None:
    """Walls that a ceiling names by number."""
    for key in ("along", "low"):
        side = getattr(table.ceiling, key, None)
        if side is not None and side.isdigit() and int(side) > len(table.corners):
            faults.add(
                (*path, key),
                f"there is no wall {side}: {shown(table.id)} has {len(table.corners)} sides",
            )


def _check_sources(tables: Tables, faults: Faults) -> None:
    storey_of = {space.id: space.storey for _, space in tables.of(schema.Space)}
    storey_of |= tables.model_storeys
    needed = {storey_of.get(receiver.space) for _, receiver in tables.of(schema.Receiver)}
    needed &= set(tables.known("storey"))  # an unknown one is told at its space
    for index, source in tables.of(schema.Source):
        _check(("source", index, "space"), "space", source.space, tables.known("space"), faults)
        levels = source.level or {"": 0.0}
        if "" in levels:
            continue
        for storey in levels:
            path = ("source", index, "level", storey)
            _check(path, "storey", storey, tables.known("storey"), faults)
        for storey in sorted(str(name) for name in needed - set(levels)):
            faults.add(("source", index, "level"), no_level(storey))


def _check_readings(tables: Tables, faults: Faults) -> None:
    """Names in visits, readings, scans and resistances."""
    plans = [*tables.known("plan"), AS_BUILT]
    sources = [*tables.known("source"), *tables.devices()]
    for index, visit in tables.of(schema.Visit):
        _check(("visit", index, "plan"), "plan", visit.plan, plans, faults)
    for index, reading in tables.of(schema.Reading):
        for key, names in (("source", reading.source or ()), ("off", reading.off)):
            for name in names:
                _check(("reading", index, key), "source", name, sources, faults)
        for key, stated in (
            ("space", reading.space),
            ("receiver", reading.receiver),
            ("visit", reading.visit),
            ("meter", reading.meter),
        ):
            _check(("reading", index, key), key, stated, tables.known(key), faults)
        _check(("reading", index, "plan"), "plan", reading.plan, plans, faults)
        for name, state in reading.states.items():
            _check_state(name, state, ("reading", index, "states", name), tables, faults)
    for index, scan in tables.of(schema.Scan):
        _check(("scan", index, "visit"), "visit", scan.visit, tables.known("visit"), faults)
        _check(("scan", index, "plan"), "plan", scan.plan, plans, faults)
    for index, test in tables.of(schema.CoverTest):
        for key, stated in (
            ("space", test.space),
            ("receiver", test.receiver),
            ("visit", test.visit),
        ):
            _check(("cover-test", index, key), key, stated, tables.known(key), faults)
        _check(("cover-test", index, "plan"), "plan", test.plan, plans, faults)
    for index, found in tables.of(schema.Resistance):
        path = ("resistance", index, "visit")
        _check(path, "visit", found.visit, tables.known("visit"), faults)


def _check_products(tables: Tables, faults: Faults) -> None:
    for index, product in tables.of(schema.Product):
        path = ("product", index)
        _check((*path, "for"), "treatment", product.for_, tables.known("treatment"), faults)
        into = product.per_litre_of
        _check((*path, "per-litre-of"), "product", into, tables.known("product"), faults)


def _check_plans(tables: Tables, faults: Faults) -> None:
    known = [*tables.known("plan"), AS_BUILT]
    parents: dict[str, str | None] = {}
    for index, plan in tables.of(schema.Plan):
        if plan.id == AS_BUILT:
            faults.add(
                ("plan", index, "id"),
                f'"{AS_BUILT}" always exists and has no treatment: give this plan another id',
            )
        _check(("plan", index, "extends"), "plan", plan.extends, known, faults)
        for number, entry in enumerate(plan.treat):
            path = ("plan", index, "treat", number, "with")
            for name in dict.fromkeys(entry.with_):
                _check(path, "treatment", name, tables.known("treatment"), faults)
        _check_moves(plan, index, tables, faults)
        parents.setdefault(plan.id, plan.extends)
        for name, state in plan.states.items():
            _check_state(name, state, ("plan", index, "states", name), tables, faults)
    told: set[str] = set()
    for index, plan in tables.of(schema.Plan):
        cycle = _cycle(plan.id, parents)
        if cycle and told.isdisjoint(cycle):
            told.update(cycle)
            way = " → ".join(shown(name) for name in (*cycle, cycle[0]))
            faults.add(("plan", index, "extends"), f"plans extend one another in a circle: {way}")


def _check_moves(plan: schema.Plan, index: int, tables: Tables, faults: Faults) -> None:
    """Names in what a plan does about sources and beds, each of which it names once."""
    sources = list(dict.fromkeys(table.device or table.id for _, table in tables.of(schema.Source)))
    bands = {table.id for _, table in tables.of(schema.Source) if table.device}
    faulty = [name for name in tables.known("source") if name not in (*bands, *sources)]
    sources += faulty
    stated = [*sources, *bands]
    seen: set[str] = set()
    for number, measure in enumerate(plan.measures):
        path: Path = ("plan", index, "measures", number)
        if measure.source not in stated:
            faults.add((*path, "source"), unknown("source", measure.source, sources))
        elif measure.source in seen:
            faults.add((*path, "source"), f"{shown(measure.source)} stands twice in this plan")
        seen.add(measure.source)
        _check((*path, "space"), "space", measure.space, tables.known("space"), faults)
    seen = set()
    for number, bed in enumerate(plan.beds):
        path = ("plan", index, "beds", number, "receiver")
        _check(path, "receiver", bed.receiver, tables.known("receiver"), faults)
        if bed.receiver in seen:
            faults.add(path, f"{shown(bed.receiver)} stands twice in this plan")
        seen.add(bed.receiver)


def _check_state(name: str, state: str, path: Path, tables: Tables, faults: Faults) -> None:
    """A state that a plan has an opening in."""
    _check(path, "opening", name, tables.known("opening"), faults)
    for _, opening in tables.of(schema.Opening):
        if opening.id == name:
            trouble = opening.cannot_be(state)
            if trouble is None and state == "tilted" and not opening.tilt_m:
                trouble = f'say in opening {shown(name)} how far it tilts, such as tilt = "100 mm"'
            if trouble is not None:
                faults.add(path, trouble)


def _cycle(start: str, parents: dict[str, str | None]) -> list[str]:
    """Plans from `start` back to `start`, empty where the chain ends or circles elsewhere."""
    way = [start]
    while (parent := parents.get(way[-1])) is not None:
        if parent == start:
            return way
        if parent in way:
            return []
        way.append(parent)
    return []
