"""Forty panels with six options each: the cheapest plan below a target, within 1 % of the optimum.

    python tests/benchmarks/forty_panels.py

The demo house, panel by panel: 1.3e31 plans. Prices, set-ups and packages are invented. For each of
six targets it prints the plan's cost, what is proved of it and the time taken. What was seen stands
in DEVELOPERS.md.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import numpy as np

from envelope.building.composition import Treatment
from envelope.building.job import AS_BUILT, Job
from envelope.building.selectors import select
from envelope.exposure.analysis import bench_of
from envelope.exposure.casts import cast_job
from envelope.plans.cheapest import cheapest_below
from envelope.plans.level_tables import LevelTables, without_untouched_spaces
from envelope.plans.purchases import OptionCost, Purchases
from envelope.plans.terms import tables_of
from envelope.plans.units import Option, Unit
from envelope.pricing.packages import Package
from envelope.project import load

ROOT = Path(__file__).parents[2]
GAP = 0.01
SECONDS = 10.0
SHARES = (0.15, 0.3, 0.45, 0.6, 0.75, 0.9)  # of the decibels that all panels can bring

_NAMES = (
    *(f"bedroom/{wall}" for wall in range(1, 7)),
    *("bedroom/ceiling", "bedroom/floor", "bedroom/W1", "bedroom/W2", "bedroom/D1"),
    *(f"closet/{wall}" for wall in range(1, 5)),
    *("closet/ceiling", "closet/floor"),
    *(
        f"bedroom/{window}/{side}"
        for window in ("W1", "W2")
        for side in ("sill", "head", "jamb-left", "jamb-right")
    ),
    *("guest/floor", "guest/W8", *(f"guest/{wall}" for wall in range(1, 5))),
    *("kitchen/ceiling", "kitchen/W5", "landing/W3", "landing/ceiling", "landing/floor"),
    *(f"landing/{wall}" for wall in range(1, 5)),
)
_WALL = ((), ("coating-1",), ("coating",), ("coating-3",), ("floor-fabric",), ("foil",))
_FLOOR = ((), ("floor-fabric",), ("floor-fabric",) * 2, ("coating-1",), ("coating",), ("foil",))
_WINDOW = (
    *((), ("film",), ("curtain",), ("film", "curtain"), ("floor-fabric",)),
    ("curtain", "curtain"),
)
_DOOR = ((), ("door-sheet",), ("floor-fabric",), ("coating-1",), ("coating",), ("foil",))
_OFFER = {"floor": _FLOOR, "window": _WINDOW, "door": _DOOR}

_CENTS_M2 = {"film": 7700, "curtain": 6500, "floor-fabric": 2700, "door-sheet": 5500, "foil": 8900}
_SETUP_CENTS = {"film": 4000, "curtain": 2500, "foil": 15000, "coating": 9000}
_COATS = {"coating-1": 1, "coating": 2, "coating-3": 3}


def say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def job_and_units(count: int = 40) -> tuple[Job, tuple[Unit, ...]]:
    """The house with its pillow alone, and its first panels as units of six options."""
    job = load(ROOT / "models" / "house.toml")
    treatments = dict(job.treatments)
    for name, coats in _COATS.items():
        treatments[name] = replace(treatments["coating"], id=name, coats=coats)
    treatments["foil"] = Treatment(id="foil", kind="sheet", sheet_resistance_ohm_sq=0.05)
    pillow = tuple(each for each in job.receivers if each.id == "pillow")
    job = replace(job, treatments=treatments, receivers=pillow)
    units = []
    for name in _NAMES[:count]:
        panel = job.building.panel(select(job.building, name)[0])
        options = tuple(
            Option(label=" and ".join(names) or "leave", treatments={panel.id: names})
            for names in _OFFER.get(panel.kind, _WALL)
        )
        units.append(Unit(id=name, title=name, options=options))
    return job, tuple(units)


def purchases_of(job: Job, units: Sequence[Unit]) -> Purchases:
    """Invented prices: coating in cans with a set-up, all else by area with set-ups."""

    def cost(option: Option) -> OptionCost:
        ((panel, names),) = option.treatments.items()
        area_m2 = job.building.panel(panel).area_m2
        own = sum(round(_CENTS_M2[name] * area_m2) for name in names if name in _CENTS_M2)
        coats = sum(_COATS.get(name, 0) for name in names)
        setups = {"coating" if name in _COATS else name for name in names}
        return OptionCost(
            own_cents=own + round(400 * area_m2 * coats),
            setups=tuple(sorted(setups & set(_SETUP_CENTS))),
            amounts=(("coating", area_m2 * coats / 7.0),) if coats else (),
        )

    return Purchases.of(
        [[cost(option) for option in unit.options] for unit in units],
        setups=dict(_SETUP_CENTS),
        packages={
            "coating": (
                Package(holds=Decimal(5), price=Decimal(310)),
                Package(holds=Decimal(1), price=Decimal(74)),
            )
        },
    )


def prepared(count: int = 40) -> tuple[LevelTables, Purchases]:
    """Tables and costs of the first panels."""
    job, units = job_and_units(count)
    casts = cast_job(job)
    start = time.process_time()
    tables = without_untouched_spaces(
        tables_of(
            job=job, casts=casts, bench=bench_of(job, casts), units=units, base=job.plan(AS_BUILT)
        )
    )
    say(
        f"{count} panels: tables in {time.process_time() - start:.1f} s, {len(tables.tables)} of "
        f"them, {sum(table.values.size for table in tables.tables) * 8 / 1e6:.0f} MB, "
        f"{len(tables.paths.outputs)} paths"
    )
    return tables, purchases_of(job, units)


def targets_of(tables: LevelTables) -> list[float]:
    """Six levels between today's and the lowest that a descent finds. [W/m²]"""
    today = float(tables.levels(np.zeros((1, len(tables.options)), dtype=np.int64))[0, 0])
    lowest, chosen = np.inf, np.zeros(len(tables.options), dtype=np.int64)
    while True:
        before = lowest
        for unit, options in enumerate(tables.options):
            tried = np.repeat(chosen[np.newaxis], options, axis=0)
            tried[:, unit] = np.arange(options)
            levels = tables.levels(tried)[:, 0]
            chosen, lowest = tried[int(levels.argmin())], float(levels.min())
        if lowest >= before:
            break
    return [today * (lowest / today) ** share for share in SHARES]


def main() -> None:
    """Six targets, each within the gap or with the gap that is left."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--panels", type=int, default=len(_NAMES))
    parser.add_argument("--nodes", type=int, default=8_000_000)
    given = parser.parse_args()
    tables, purchases = prepared(given.panels)
    today = float(tables.levels(np.zeros((1, given.panels), dtype=np.int64))[0, 0])
    cheapest_below(tables, purchases, target_w_m2=today, max_nodes=1000)  # compiles
    within = 0
    for target in targets_of(tables):
        start = time.process_time()
        found = cheapest_below(
            tables, purchases, target_w_m2=target, gap=GAP, max_nodes=given.nodes
        )
        taken = time.process_time() - start
        assert found is not None
        assert found.level_w_m2 < target
        within += found.gap <= GAP and taken <= SECONDS
        say(
            f"{10.0 * np.log10(target / today):6.1f} dB: {found.cents / 100:9,.2f}, the "
            f"optimum at most {100.0 * found.gap:.1f} % less, {found.nodes:,} nodes, {taken:.1f} s"
        )
    say(f"within {GAP:.0%} in {SECONDS:g} s: {within} of {len(SHARES)}")


if __name__ == "__main__":
    main()
