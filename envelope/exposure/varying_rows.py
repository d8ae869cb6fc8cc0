"""Rows that not all plans of a job leave as they are.

Most of a house is the same under each plan. What rays do that cross nothing else is worked out
once for all of them; so a plan costs what it changes.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from envelope.building.job import AS_BUILT, Job, Plan
from envelope.exposure.transmission import Bench, panels_met

_NAME = "varying panels"


def varying_rows(bench: Bench, plan: Plan) -> NDArray[np.bool_]:
    """Rows (2 patches,) whose stack may differ between the job's plans, or under this one.

    Of a row that is left out every plan makes the same stack.
    """
    job = bench.job
    expect(bench, _changed(plan, job))
    panels = _known(bench)[-1]
    return bench.kept((_NAME, panels), lambda: _rows(job, panels))


def expect(bench: Bench, panels: Collection[str]) -> None:
    """Count panels as such that plans change: of many plans, all before the first saves work."""
    known = _known(bench)
    if not known[-1].issuperset(panels):
        known.append(known[-1].union(panels))


def expect_plans(bench: Bench, plans: Iterable[Plan]) -> None:
    """Count what some plans change, all before the first: else a last bit is of their order."""
    expect(bench, {panel for plan in plans for panel in _changed(plan, bench.job)})


def _known(bench: Bench) -> list[frozenset[str]]:
    """Panels that plans change: those of the job, then with those of each further plan."""
    job = bench.job
    return bench.kept(
        _NAME, lambda: [frozenset(panel for each in job.plans for panel in _changed(each, job))]
    )


def _changed(plan: Plan, job: Job) -> frozenset[str]:
    """Panels on which a plan differs from the one without treatment."""
    before = job.plan(AS_BUILT)
    return _differ(plan.treatments, before.treatments) | _differ(plan.assemblies, before.assemblies)


def _differ(one: Mapping[str, Any], other: Mapping[str, Any]) -> frozenset[str]:
    """Keys that only one of two tables has, or that stand for something else."""
    return frozenset(
        key
        for key in {*one, *other}
        if key not in one or key not in other or one[key] != other[key]
    )


def _rows(job: Job, panels: frozenset[str]) -> NDArray[np.bool_]:
    building = job.building
    touched = [not panels.isdisjoint(panels_met(each, building)) for each in building.patches]
    return np.array(touched * 2, dtype=bool)
