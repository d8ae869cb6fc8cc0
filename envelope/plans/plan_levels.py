"""Levels of plans in every draw, with sources where measures put them and as strong as they leave
them.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import replace

from envelope.building.job import Job, Plan
from envelope.exposure.analysis import bench_of
from envelope.exposure.casts import Casts, recast
from envelope.exposure.differences import LevelDraws
from envelope.exposure.tolerances import draw
from envelope.exposure.transmission import Bench
from envelope.exposure.uncertainty import level_draws
from envelope.plans.source_changes import SourceChange, moved, powered

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
    """

    def __init__(self, job: Job, *, casts: Casts, receivers: Collection[str]) -> None:
        self.draws = draw(job)
        self.bench = bench_of(job, casts)
        self.receivers = tuple(receivers)
        counted = tuple(each for each in casts.receivers if each.receiver.id in receivers)
        self._job = job
        self._casts = replace(casts, receivers=counted)
        self._benches: dict[_Moves, tuple[Bench, Casts]] = {(): (self.bench, self._casts)}
        self._drawn: dict[tuple[_Faces, _Moves], LevelDraws] = {}

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
            self._drawn[key] = level_draws(bench=bench, plan=plan, casts=casts, draws=self.draws)
        return powered(replace(self._drawn[key], plan=plan.id), done)

    def placed(self, moves: _Moves) -> tuple[Bench, Casts]:
        """What levels are worked out with where sources are moved."""
        if moves not in self._benches:
            job = moved(self._job, moves)
            sources = {source for change in moves for source in change.sources}
            casts = recast(job, self._casts, sources)
            self._benches[moves] = (bench_of(job, casts), casts)
        return self._benches[moves]
