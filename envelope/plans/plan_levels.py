"""Levels of plans in every draw, with sources where measures put them and as strong as they leave
them.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

import numpy as np

from envelope.building.job import Job, Plan
from envelope.exposure.analysis import bench_of
from envelope.exposure.casts import Casts, Placement, placement_of
from envelope.exposure.differences import LevelDraws, SourceDraws
from envelope.exposure.tolerances import draw
from envelope.exposure.transmission import Bench
from envelope.exposure.uncertainty import level_draws
from envelope.exposure.under_plan import powered
from envelope.exposure.varying_rows import expect

MEAN = "weighted mean"  # of several receivers, in place of their ids

_Faces = tuple[frozenset[tuple[str, tuple[str, ...]]], frozenset[tuple[str, str | None]]]


class PlanLevels:
    """Draws of plans of one job; each is worked out once.

    Parameters
    ----------
    job : Job
        Whose levels are known.
    casts : Casts
        Of the job.
    receivers : collection of str
        Ids of the receivers that count; no other is drawn.
    shares : mapping of str to float, optional
        Of each receiver in a mean, which then counts in their place under the name `MEAN`.
    bench : Bench, optional
        Of the job and the casts; one of its own unless given.
    """

    def __init__(
        self,
        job: Job,
        *,
        casts: Casts,
        receivers: Collection[str],
        shares: Mapping[str, float] | None = None,
        bench: Bench | None = None,
    ) -> None:
        self.draws = draw(job)
        self.bench = bench_of(job, casts) if bench is None else bench
        self.receivers = (MEAN,) if shares else tuple(receivers)
        self._shares = dict(shares or {})
        counted = tuple(each for each in casts.receivers if each.receiver.id in receivers)
        self._job = job
        self.casts = replace(casts, receivers=counted)
        self._drawn: dict[tuple[_Faces, Placement], LevelDraws] = {}

    def expect(self, panels: Collection[str]) -> None:
        """Say which panels plans will change, so that what they have in common is kept for all."""
        expect(self.bench, panels)

    def drawn(self, plan: Plan) -> LevelDraws:
        """Levels of a plan in every draw.

        Plans that differ in the power of sources alone share what is drawn.

        Parameters
        ----------
        plan : Plan
            Any of the job's, or made for it.
        """
        moves = {name: each for name, each in plan.measures.items() if each.places_m}
        still = replace(plan, measures=moves)
        faces: _Faces = (
            frozenset(plan.treatments.items()),
            frozenset(plan.assemblies.items()),
        )
        key = (faces, placement_of(still, self._job))
        if key not in self._drawn:
            found = level_draws(bench=self.bench, plan=still, casts=self.casts, draws=self.draws)
            self._drawn[key] = mean_of(found, self._shares) if self._shares else found
        left = replace(plan, measures={k: v for k, v in plan.measures.items() if k not in moves})
        return powered(replace(self._drawn[key], plan=plan.id), left, self._job)

    def figure(self, levels_w_m2: Mapping[str, float]) -> float:
        """The worst level of the receivers, or their mean. [W/m²]"""
        if self._shares:
            return sum(share * levels_w_m2[name] for name, share in self._shares.items())
        return max(levels_w_m2.values())


def mean_of(drawn: LevelDraws, shares: Mapping[str, float]) -> LevelDraws:
    """Draws of the weighted mean of receivers, as if it were one receiver.

    Parameters
    ----------
    drawn : LevelDraws
        Of a plan at each of them.
    shares : mapping of str to float
        Of each receiver's level in the mean.
    """
    found = {}
    for source in dict.fromkeys(source for _, source in drawn.by_source):
        parts = [(share, drawn.by_source[name, source]) for name, share in shares.items()]
        diffuse_w_m2 = sum(share * each.diffuse_w_m2 for share, each in parts)
        error = sum(share * each.diffuse_w_m2 * each.error_db for share, each in parts)
        found[MEAN, source] = SourceDraws(
            level_w_m2=np.sum([share * each.level_w_m2 for share, each in parts], axis=0),
            direct_w_m2=sum(share * each.direct_w_m2 for share, each in parts),
            diffuse_w_m2=diffuse_w_m2,
            error_db=error / diffuse_w_m2 if diffuse_w_m2 > 0.0 else 0.0,
        )
    return replace(drawn, by_source=found)
