"""What a field meter showed, beside what is predicted for its spot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

import numpy as np

from envelope.building.sources import AS_BUILT
from envelope.building.wiring import Wiring
from envelope.geometry.plane import Floats
from envelope.wiring.results import PlanTest, ReadingBeside, Span, SwitchTest

_SAME_SPOT_M = 0.05
# A spot is held to some centimetres, and the meter's own body counts: common practice, no source.
_AGREES = 1.5


class _Read(Protocol):
    """A plan in one state of walls and routes."""

    @property
    def readings(self) -> Mapping[str, Floats]: ...


Cases = Mapping[str, Sequence[_Read]]


def beside(wiring: Wiring, cases: Cases) -> tuple[ReadingBeside, ...]:
    """Each reading with its prediction."""
    return tuple(
        ReadingBeside(
            id=reading.id,
            plan=reading.plan,
            off=reading.off,
            potential_free=reading.potential_free,
            field_v_m=reading.field_v_m,
            predicted_v_m=_span(reading.id, reading.plan, cases),
        )
        for reading in wiring.readings
    )


def switch_tests(wiring: Wiring, cases: Cases) -> tuple[SwitchTest, ...]:
    """Pairs of readings at one spot, one with one thing more off; what leaves least comes first."""
    found = []
    for after in wiring.readings:
        for before in wiring.readings:
            more = set(after.off) - set(before.off)
            if (
                len(more) == 1
                and set(before.off) <= set(after.off)
                and before.plan == after.plan
                and before.potential_free == after.potential_free
                and np.linalg.norm(before.position_m - after.position_m) < _SAME_SPOT_M
            ):
                found.append(
                    SwitchTest(
                        what=more.pop(),
                        before_v_m=before.field_v_m,
                        after_v_m=after.field_v_m,
                        predicted_after_v_m=_span(after.id, after.plan, cases),
                    )
                )
    return tuple(sorted(found, key=lambda test: test.after_v_m / max(test.before_v_m, 1e-9)))


def plan_tests(wiring: Wiring, cases: Cases) -> tuple[PlanTest, ...]:
    """Readings at one spot before and after a plan, everything else alike."""
    found = []
    for after in wiring.readings:
        for before in wiring.readings:
            if (
                before.plan == AS_BUILT != after.plan
                and set(before.off) == set(after.off)
                and before.potential_free == after.potential_free
                and np.linalg.norm(before.position_m - after.position_m) < _SAME_SPOT_M
            ):
                ratio = np.concatenate(
                    [
                        one.readings[after.id] / np.maximum(base.readings[before.id], 1e-12)
                        for one, base in zip(cases[after.plan], cases[AS_BUILT], strict=True)
                    ]
                )
                found.append(
                    PlanTest(
                        plan=after.plan,
                        potential_free=after.potential_free,
                        before_v_m=before.field_v_m,
                        after_v_m=after.field_v_m,
                        predicted_ratio=Span(low=float(ratio.min()), high=float(ratio.max())),
                    )
                )
    return tuple(found)


def agreement(wiring: Wiring, cases: Cases) -> Floats | None:
    """Which states (cases, answers) agree with every potential-free reading, 1 or 0.

    Within a factor of 1.5 and the meter's tolerance; None where there is no such reading.
    """
    agree: Floats | None = None
    for reading in wiring.readings:
        if not reading.potential_free or reading.field_v_m <= 0.0:
            continue
        predicted = np.stack([case.readings[reading.id] for case in cases[reading.plan]])
        factor = _AGREES * (1.0 + reading.tolerance)
        ratio = predicted / reading.field_v_m
        fits = ((ratio < factor) & (ratio > 1.0 / factor)).astype(np.float64)
        agree = fits if agree is None else agree * fits
    return agree


def left_open(
    axes: Mapping[str, Sequence[Sequence[str]]], agree: Floats
) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """What readings leave of each thing that is not known, where they leave less than all.

    Parameters
    ----------
    axes : mapping of str to (cases, answers) str
        What each unknown is in each state, in words.
    agree : (cases, answers) float
        Which states agree.
    """
    found = []
    for name, words in axes.items():
        grid = np.array(words)
        every = list(dict.fromkeys(grid.ravel().tolist()))
        left = [each for each in every if (agree[grid == each] > 0.0).any()]
        if 0 < len(left) < len(every):
            found.append((name, tuple(left)))
    return tuple(found)


def _span(reading: str, plan: str, cases: Cases) -> Span:
    predicted = np.concatenate([case.readings[reading] for case in cases[plan]])
    return Span(low=float(predicted.min()), high=float(predicted.max()))
