"""Rows that not all plans of a job leave as they are.

Most of a house is the same under each plan. What rays do that cross nothing else is worked out
once for all of them; so a plan costs what it changes.
"""

from __future__ import annotations

from collections.abc import Mapping
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
    known = bench.kept(
        _NAME, lambda: [frozenset(panel for each in job.plans for panel in _changed(each, job))]
    )
    own = _changed(plan, job)
    if not own <= known[-1]:  # a plan that is not the job's
        known.append(known[-1] | own)
    panels = known[-1]
    return bench.kept((_NAME, panels), lambda: _rows(job, panels))


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
