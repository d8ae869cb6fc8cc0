"""How far levels at spots of random rooms lie from what is computed: traced, fitted, tabled.

    python tests/benchmarks/nonuniformity.py --rooms 30

The figures of `envelope/exposure/model_error.py` come from here: run it after any change of the
balance, and compare the table with the one in DEVELOPERS.md.
"""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "independent"))

from traced_rooms import Errors, errors_of, random_room

SCATTERINGS = (0.1, 0.3, 0.6)


def measured(rooms: int, count: int) -> dict[str, list[Errors]]:
    """Errors by plan, over rooms and roughnesses."""
    by_plan: dict[str, list[Errors]] = defaultdict(list)
    for seed in range(rooms):
        for each in errors_of(random_room(seed), scatterings=SCATTERINGS, count=count):
            by_plan[each.plan].append(each)
    return by_plan


def table(by_plan: dict[str, list[Errors]]) -> str:
    """A row a plan: spots' errors, what the model says of itself, and how many lie within."""
    lines = [
        "| plan | 10–90 % of spots | rms | own error says | within 10–90 % | tracing's noise |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for plan, found in by_plan.items():
        spots = np.array([each.at_spots_db for each in found])
        noise = np.sqrt(np.mean([each.noise_db**2 for each in found]))
        rms = np.sqrt(max(float((spots**2).mean() - noise**2), 0.0))
        said = np.sqrt(np.mean([(each.own_db / 1.2816) ** 2 for each in found]))
        own = np.array([each.own_db for each in found])[:, np.newaxis]
        low, high = np.quantile(spots, (0.1, 0.9))
        lines.append(
            f"| {plan} | {low:+.1f} to {high:+.1f} dB | {rms:.1f} | {said:.1f} dB "
            f"| {(np.abs(spots) < own).mean():.0%} | {noise:.1f} |"
        )
    within = np.mean(
        [np.abs(each.at_spots_db) < each.own_db for found in by_plan.values() for each in found]
    )
    return "\n".join([*lines, f"\nAll plans: {within:.0%} within."])


def correlation(by_plan: dict[str, list[Errors]]) -> str:
    """How much the errors of two plans at the same spot have in common."""
    flat = {plan: np.concatenate([e.at_spots_db for e in found]) for plan, found in by_plan.items()}
    names = list(flat)
    pairs = [
        np.corrcoef(flat[one], flat[other])[0, 1]
        for index, one in enumerate(names)
        for other in names[index + 1 :]
    ]
    return (
        f"Correlation of two plans: {np.mean(pairs):.2f} in the mean, "
        f"{min(pairs):.2f} to {max(pairs):.2f}."
    )


def main() -> None:
    """Trace, and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rooms", type=int, default=30)
    parser.add_argument("--rays", type=int, default=12_000)
    options = parser.parse_args()
    found = measured(options.rooms, options.rays)
    sys.stdout.write(f"{table(found)}\n{correlation(found)}\n")


if __name__ == "__main__":
    main()
