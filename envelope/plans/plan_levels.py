"""Levels of plans in every draw, with sources where measures put them and as strong as they leave
them.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace

import numpy as np

from envelope.building.job import Job, Plan
from envelope.exposure.analysis import bench_of
from envelope.exposure.casts import Casts, recast
from envelope.exposure.differences import LevelDraws, SourceDraws
from envelope.exposure.tolerances import draw
from envelope.exposure.transmission import Bench
from envelope.exposure.uncertainty import level_draws
from envelope.exposure.varying_rows import expect
from envelope.plans.source_changes import SourceChange, moved, powered

MEAN = "weighted mean"  # of several receivers, in place of their ids

_Moves = tuple[SourceChange, ...]
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
    """

    def __init__(
        self,
        job: Job,
        *,
        casts: Casts,
        receivers: Collection[str],
        shares: Mapping[str, float] | None = None,
    ) -> None:
        self.draws = draw(job)
        self.bench = bench_of(job, casts)
        self.receivers = (MEAN,) if shares else tuple(receivers)
        self._shares = dict(shares or {})
        counted = tuple(each for each in casts.receivers if each.receiver.id in receivers)
        self._job = job
        self._casts = replace(casts, receivers=counted)
        self._benches: dict[_Moves, tuple[Bench, Casts]] = {(): (self.bench, self._casts)}
        self._drawn: dict[tuple[_Faces, _Moves], LevelDraws] = {}
        self._expected: frozenset[str] = frozenset()

    def expect(self, panels: Collection[str]) -> None:
        """Say which panels plans will change, so that what they have in common is kept for all."""
        self._expected = frozenset(panels)
        for bench, _ in self._benches.values():
            expect(bench, self._expected)

    def drawn(self, plan: Plan, changes: Iterable[SourceChange]) -> LevelDraws:
        """Levels of a plan in every draw.

        Parameters
        ----------
        plan : Plan
            Any of the job's, or made for it.
        changes : iterable of SourceChange
            What is done about sources.
        """
        done = tuple(changes)
        moves = tuple(change for change in done if change.position_m is not None)
        faces: _Faces = (
            frozenset(plan.treatments.items()),
            frozenset(plan.assemblies.items()),
        )
        key = (faces, moves)
        if key not in self._drawn:
            bench, casts = self.placed(moves)
            found = level_draws(bench=bench, plan=plan, casts=casts, draws=self.draws)
            self._drawn[key] = mean_of(found, self._shares) if self._shares else found
        return powered(replace(self._drawn[key], plan=plan.id), done)

    def figure(self, levels_w_m2: Mapping[str, float]) -> float:
        """The worst level of the receivers, or their mean. [W/m²]"""
        if self._shares:
            return sum(share * levels_w_m2[name] for name, share in self._shares.items())
        return max(levels_w_m2.values())

    def placed(self, moves: _Moves) -> tuple[Bench, Casts]:
        """What levels are worked out with where sources are moved."""
        if moves not in self._benches:
            job = moved(self._job, moves)
            sources = {source for change in moves for source in change.sources}
            casts = recast(job, self._casts, sources)
            bench = bench_of(job, casts)
            expect(bench, self._expected)
            self._benches[moves] = (bench, casts)
        return self._benches[moves]


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
