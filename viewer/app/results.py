"""Casts of a job that is being edited, and what they find: nothing is worked out twice.

A receiver is cast once for each place where it stood, so that going back there costs nothing; a
plan is analysed once for each set of treatments that it had.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass, field, replace

import numpy as np

from envelope.building.job import Job, Plan, Receiver
from envelope.building.plan_measures import factors_under
from envelope.cast_cache import cast_or_recall
from envelope.exposure.analysis import analyze_plan, bench_of
from envelope.exposure.casts import Casts, ReceiverCasts, placement_of
from envelope.exposure.results import PlanResult
from envelope.exposure.solid_angles import THRESHOLD_DB, loss_db, tag, totals
from envelope.exposure.tolerances import draw
from envelope.exposure.transmission import Bench, stacks_of
from envelope.rays import DEFAULT, Sampling

Place = tuple[str, str, tuple[float, ...], tuple[float, ...]]
State = tuple[Hashable, ...]


def place_of(receiver: Receiver) -> Place:
    """What a receiver's casts depend on."""
    size = () if receiver.size_m is None else tuple(receiver.size_m.tolist())
    return receiver.id, receiver.space, tuple(receiver.position_m.tolist()), size


@dataclass(slots=True, kw_only=True, eq=False)
class Findings:
    """What is found for receivers that stand at certain places."""

    casts: Casts
    bench: Bench
    threshold_db: float = THRESHOLD_DB
    _found: dict[tuple[str, State], PlanResult] = field(default_factory=dict)
    _banded: set[tuple[str, State]] = field(default_factory=set)
    _one_at_a_time: threading.RLock = field(default_factory=threading.RLock)

    def has(self, receiver: str) -> bool:
        """Whether this receiver has been cast."""
        return any(each.receiver.id == receiver for each in self.casts.receivers)

    def of(
        self, *, plan: Plan, receivers: Iterable[str] | None = None, with_bands: bool = False
    ) -> PlanResult:
        """Result of a plan for these receivers, or for all of them.

        With `with_bands`, levels have their 10–90 % bands for certain, which takes many times as
        long; without, they have them where they were worked out before.
        """
        wanted = None if receivers is None else set(receivers)
        with self._one_at_a_time:
            parts = [
                self._receiver(plan, each, with_bands=with_bands)
                for each in self.casts.receivers
                if wanted is None or each.receiver.id in wanted
            ]
        return PlanResult(
            plan=plan.id, receivers=tuple(found for part in parts for found in part.receivers)
        )

    def losses_db(self, *, plan: Plan, receiver: str) -> dict[str, tuple[float, ...]]:
        """Loss of each panel that lets something in at a receiver, one a band of the bench.

        Of the mean transmission over the panel's exposed directions, as `PanelLeak.loss_db` is at
        the first band. [dB]
        """
        casts = next(each for each in self.casts.receivers if each.receiver.id == receiver)
        crossings = casts.crossings
        with self._one_at_a_time:
            tables = self.bench.tables(stacks_of(self.bench.job, plan))
        tagged = tag(crossings, tables)
        weights = tagged.weights_sr.mean(axis=1)
        panels = self.bench.job.building.panels
        exposed = totals(crossings.first_panel, weights * tagged.exposed, len(panels))
        through = [
            totals(crossings.first_panel, weights * passed, len(panels))
            for passed in tagged.transmission.T
        ]
        return {
            panels[index].id: tuple(
                loss_db(float(passed[index] / exposed[index])) for passed in through
            )
            for index in np.flatnonzero(exposed > 0.0)
        }

    def _receiver(self, plan: Plan, casts: ReceiverCasts, *, with_bands: bool) -> PlanResult:
        name = casts.receiver.id
        key = (name, _state_of(plan, self.bench.job))
        if key not in self._found or (with_bands and key not in self._banded):
            as_built = None
            if not plan.does_nothing:
                bare = replace(plan, treatments={}, measures={}, beds={})
                # a plan's band holds what may go wrong on the way from there
                as_built = self._receiver(bare, casts, with_bands=with_bands)
            self._found[key] = analyze_plan(
                bench=self.bench,
                plan=plan,
                casts=replace(self.casts, receivers=(casts,)),
                as_built=as_built,
                threshold_db=self.threshold_db,
                draws=draw(self.bench.job) if with_bands else None,
                cumulated=False,  # no page shows it
            )
            if with_bands:
                self._banded.add(key)
        return self._found[key]


def _state_of(plan: Plan, job: Job) -> State:
    """What a plan's figures depend on, whatever it is called."""
    return (
        frozenset((panel, names) for panel, names in plan.treatments.items() if names),
        frozenset(plan.assemblies.items()),
        placement_of(plan, job),
        frozenset(factors_under(plan, job.sources).items()),
    )


class Castings:
    """Casts of one building with its sources, for every place where a receiver stood."""

    def __init__(self, *, sampling: Sampling = DEFAULT, threshold_db: float = THRESHOLD_DB) -> None:
        self._sampling = sampling
        self._threshold_db = threshold_db
        self._receivers: dict[Place, ReceiverCasts] = {}
        self._common: Casts | None = None  # chains, which no receiver changes
        self._findings: dict[tuple[Place, ...], Findings] = {}

    def renewed(self) -> Castings:
        """The same casts for a job whose treatments or plans are others: nothing is found yet."""
        other = Castings(sampling=self._sampling, threshold_db=self._threshold_db)
        other._receivers = dict(self._receivers)
        other._common = self._common
        return other

    def missing(self, job: Job) -> tuple[Receiver, ...]:
        """Receivers that stand where nothing has been cast yet."""
        return tuple(each for each in job.receivers if place_of(each) not in self._receivers)

    def cast(
        self,
        job: Job,
        *,
        progress: Callable[[float], None] | None = None,
        cancel: Callable[[], bool] | None = None,
    ) -> None:
        """Cast what is missing, or read it where it was cast before, by whatever command.

        Raises `CancelledError` where `cancel` says so.
        """
        missing = self.missing(job)
        if not missing:
            return
        casts = cast_or_recall(
            replace(job, receivers=missing, plans=()),  # what plans move is cast when it is seen
            sampling=self._sampling,
            progress=progress,
            cancel=cancel,
        )
        self._common = casts
        for each in casts.receivers:
            self._receivers[place_of(each.receiver)] = each

    def findings(self, job: Job) -> Findings | None:
        """What is found with the job's receivers where they stand; None until that is cast."""
        if not job.receivers or self._common is None or self.missing(job):
            return None
        places = tuple(place_of(each) for each in job.receivers)
        if places not in self._findings:
            casts = replace(
                self._common, receivers=tuple(self._receivers[place] for place in places)
            )
            # A bench keeps what depends on where receivers stand, so each set has its own.
            self._findings[places] = Findings(
                casts=casts, bench=bench_of(job, casts), threshold_db=self._threshold_db
            )
        return self._findings[places]
