"""Decisions at length: 200 jobs by chance against enumeration, and the demo house.

    python tests/benchmarks/decisions.py

Too long for the tests, which run a part of it. Times are processor time of one run, as ratios to a
cast of the same job; what was seen stands in DEVELOPERS.md.
"""

from __future__ import annotations

import itertools
import math
import runpy
import sys
import time
from pathlib import Path

import numpy as np

from envelope.building.job import AS_BUILT
from envelope.exposure.analysis import bench_of
from envelope.exposure.casts import cast_job
from envelope.plans.candidates import candidates_of
from envelope.plans.cheapest import cheapest_below
from envelope.plans.decide import decide
from envelope.plans.search import combine, front_of
from envelope.plans.sequence import best_chain
from envelope.plans.terms import tables_of
from envelope.project import load

ROOT = Path(__file__).parents[2]
JOBS = 200
PLANS = 10_000


def say(line: str) -> None:
    sys.stdout.write(line + "\n")


def random_jobs() -> None:
    made = runpy.run_path(str(ROOT / "tests" / "envelope" / "plans" / "test_search.py"))
    compared = worse = 0
    for seed in range(JOBS):
        rng = np.random.default_rng(1000 + seed)
        receivers = 1 + seed % 2
        tables = made["random_tables"](
            rng, units=int(rng.integers(4, 9)), spaces=1 + seed % 3, receivers=receivers
        )
        purchases = made["random_purchases"](rng, tables.options)
        weights = rng.uniform(0.5, 2.0, receivers)
        plans = np.array(list(itertools.product(*(range(n) for n in tables.options))))
        levels = combine(tables.levels(plans), weights=weights, worst=True)
        cents = purchases.cents(plans)
        alone = plans[(plans > 0).sum(axis=1) == 1]
        worse += bool(
            (combine(tables.levels(alone), weights=weights, worst=True) > levels[0]).any()
        )
        given = {"weights": weights, "worst": True}
        front = front_of(tables, purchases, **given)
        for cost, level in zip(front.cents, front.levels_w_m2, strict=True):
            assert abs(levels[cents <= cost].min() / level - 1.0) < 1e-9
        for share in (0.2, 0.4, 0.6, 0.8):
            budget = int(np.quantile(cents, share))
            found = front_of(tables, purchases, **given, most_cents=budget)
            assert abs(levels[cents <= budget].min() / found.levels_w_m2.min() - 1.0) < 1e-9
            ranked = np.sort(levels)  # halfway between two levels, so that no rounding decides
            target = float(ranked[(at := int(share * (len(ranked) - 1))) : at + 2].mean())
            found = front_of(tables, purchases, **given, most_level_w_m2=target)
            cheapest = int(cents[levels < target].min())
            assert int(found.cents[0]) == cheapest
            straight = cheapest_below(tables, purchases, **given, target_w_m2=target, gap=0.0)
            assert straight is not None
            assert straight.cents == straight.least_cents == cheapest
            compared += 2
    say(f"{JOBS} jobs by chance: fronts, {compared} targets and budgets equal enumeration")
    say(f"in {worse} of them some treatment by itself raises the level")


def nested_orders() -> None:
    """Every other order of a sequence's steps, at what each step costs."""
    made = runpy.run_path(str(ROOT / "tests" / "envelope" / "plans" / "test_search.py"))
    worst_db, orders = 0.0, 0
    for seed in range(JOBS):
        rng = np.random.default_rng(5000 + seed)
        tables = made["random_tables"](
            rng, units=int(rng.integers(4, 9)), spaces=1 + seed % 3, receivers=1 + seed % 2
        )
        purchases = made["random_purchases"](rng, tables.options)
        weights = np.ones(tables.layout.receivers)
        front = front_of(tables, purchases, weights=weights)
        chain = best_chain(
            made["units_of"](rng, tables.options),
            plans=front.plans,
            cents=front.cents,
            levels_w_m2=front.levels_w_m2,
        )
        orders += math.factorial(len(chain.plans) - 1)
        worst_db = max(worst_db, made["better_by_db"](tables, purchases, chain, weights))
    say(
        f"{JOBS} jobs by chance: of {orders} orders of their steps the best is {worst_db:.3f} dB "
        "better at what some step costs"
    )


def demo_house() -> None:
    job = load(ROOT / "models" / "house.toml")
    start = time.process_time()
    casts = cast_job(job)
    cast_s = time.process_time() - start
    decide(job, casts=casts, receiver="pillow")  # compiles
    start = time.process_time()
    found = decide(job, casts=casts, receiver="pillow")
    say(f"house, one decision over one cast: {(time.process_time() - start) / cast_s:.1f} : 1")
    today = job.plan(AS_BUILT)
    units = found.candidates
    tables = tables_of(
        job=job, casts=casts, bench=bench_of(job, casts), units=units.units, base=today
    )
    weights = np.array([float(each.receiver.id == "pillow") for each in casts.receivers])
    made = runpy.run_path(str(ROOT / "tests" / "envelope" / "plans" / "test_search.py"))
    above_db = made["better_by_db"](tables, units.purchases, found.chain, weights)
    say(f"house: the best other order of its steps is {above_db:.3f} dB better somewhere")
    front = front_of(tables, units.purchases, weights=weights)
    ended = "proved" if front.finished else "stopped"
    say(f"house: {len(front.cents)} plans on the front, {front.nodes} nodes, {ended}")


def plans_by_chance() -> None:
    """Plans by chance against the front: half anywhere, half up to three changes from the front."""
    for name, receiver in (("house", "pillow"), ("bedroom", "bed"), ("attic", "pillow")):
        job = load(ROOT / "models" / f"{name}.toml")
        casts = cast_job(job)
        today = job.plan(AS_BUILT)
        units = candidates_of(job, base=today)
        bench = bench_of(job, casts)
        tables = tables_of(job=job, casts=casts, bench=bench, units=units.units, base=today)
        weights = np.array([float(each.receiver.id == receiver) for each in casts.receivers])
        front = front_of(tables, units.purchases, weights=weights)
        rng = np.random.default_rng(1)
        options = np.array(tables.options)
        chosen = np.stack([rng.integers(0, count, PLANS) for count in options], axis=1)
        near = front.plans[rng.integers(0, len(front.plans), PLANS // 2)]
        for plan in near:
            changed = rng.permutation(len(options))[: rng.integers(1, 4)]
            plan[changed] = rng.integers(0, options[changed])
        chosen[: len(near)] = near
        levels = (tables.levels(chosen) * weights).max(axis=1)
        cents = units.purchases.cents(chosen)
        best = front.levels_w_m2[np.searchsorted(front.cents, cents, side="right") - 1]
        beaten = int((levels < best * (1.0 - 1e-9)).sum())
        ended = "proved" if front.finished else "stopped"
        say(
            f"{name}: {len(options)} units, {len(front.cents)} plans on the front ({ended}, "
            f"{front.nodes:,} nodes); of {PLANS:,} plans by chance {beaten} beat it"
        )


if __name__ == "__main__":
    random_jobs()
    plans_by_chance()
    nested_orders()
    demo_house()
