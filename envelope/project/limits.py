"""What a job says of where work may be done: faces left as they are, treatments that go on some."""

from __future__ import annotations

from collections.abc import Mapping

from envelope.building.model import Building
from envelope.building.selectors import SelectionError, select
from envelope.project.faults import Faults
from envelope.project.schema import job as schema
from envelope.project.tables import Tables
from envelope.project.toml.scan import Path


def work_of(tables: Tables, building: Building, faults: Faults) -> dict[str, str]:
    """What is said of work on panels, by panel id; the last word on each counts."""
    found: dict[str, str] = {}
    for index, table in tables.of(schema.Panel):
        if table.work is not None:
            path = ("panel", index, "on")
            found.update(dict.fromkeys(_selected(building, table.on, path, faults), table.work))
    return found


def only_on(tables: Tables, building: Building, faults: Faults) -> dict[str, tuple[str, ...]]:
    """Panels on which a treatment may go, by treatment; those that may go anywhere are left out."""
    found = {}
    for index, table in tables.of(schema.Treatment):
        if table.only_on is not None:
            path = ("treatment", index, "only-on")
            panels = {
                panel
                for selector in table.only_on
                for panel in _selected(building, selector, path, faults)
            }
            if faults.has(path):
                continue  # whatever uses it would be wrong a second time
            found[table.id] = tuple(panel.id for panel in building.panels if panel.id in panels)
    return found


def check_plans(
    tables: Tables, building: Building, allowed: Mapping[str, tuple[str, ...]], faults: Faults
) -> None:
    """Note plans that put a treatment where it may not go."""
    stated = {table.id: table.only_on for _, table in tables.of(schema.Treatment)}
    for index, plan in tables.of(schema.Plan):
        for number, entry in enumerate(plan.treat):
            try:
                panels = select(building, entry.on)
            except SelectionError:
                continue  # noted where the plan is read
            for name in entry.with_:
                wrong = [panel for panel in panels if panel not in allowed.get(name, panels)]
                if wrong:
                    where = ", ".join(f'"{each}"' for each in stated.get(name) or ())
                    faults.add(
                        ("plan", index, "treat", number, "with"),
                        f'"{name}" may not go on "{wrong[0]}": its only-on allows {where}',
                    )


def _selected(building: Building, selector: str, path: Path, faults: Faults) -> tuple[str, ...]:
    try:
        return select(building, selector)
    except SelectionError as error:
        faults.add(path, error.marked)
        return ()
