"""What the figures rest on: which unknown or tolerated figure moves the decision most.

A decision is by how much a plan lowers the level. In the paired draws every figure moves by
itself, so a linear fit to all of them says what each one brings: half of its own 10–90 % range.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from envelope.building.job import AS_BUILT, Job
from envelope.building.sources import MIRRORED
from envelope.building.unknowns import COATED
from envelope.exposure.differences import LevelDraws
from envelope.exposure.tolerances import Draws, deviate_name
from envelope.geometry.plane import Floats

MIN_DB = 0.3  # what moves a decision by less is not listed
MIN_SURE = 3.0  # standard errors of the fit that it must stand out by
MAX_LISTED = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """One figure that a result rests on."""

    words: str  # such as "scattered share of mast"
    moves_db: float  # half of the 10–90 % range that it alone brings to what is decided
    receiver: str
    plan: str  # whose level below today's it moves most; "as-built" where it is the level itself
    is_unknown: bool  # not stated at all, rather than stated with a tolerance
    taken: str  # what is taken and drawn
    settle: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Figure:
    words: str
    deviate: Floats  # (draws,) ±1 at 10–90 %
    taken: str
    settle: str
    is_unknown: bool = False
    is_bound: bool = False  # by readings: its deviates no longer have a range of ±1


def rests_on(
    plans: Sequence[LevelDraws], *, draws: Draws, job: Job, receivers: Sequence[str]
) -> tuple[Rest, ...]:
    """The figures that move the decision most, the one that moves it most first.

    Parameters
    ----------
    plans : sequence of LevelDraws
        Of the plans, the one without treatment among them: the others are compared with it. By
        itself it is judged by its level.
    draws : Draws
        That the levels were drawn with.
    job : Job
        That both belong to.
    receivers : sequence of str
        Ids of the receivers whose level is decided on.
    """
    figures = [
        replace(figure, is_bound=draws.fitted is not None) for figure in _figures(job, draws)
    ]
    before = next((plan for plan in plans if plan.plan == AS_BUILT), None)
    treated = [plan for plan in plans if plan.plan != AS_BUILT]
    if before is None or not figures:
        return ()
    found: dict[str, Rest] = {}
    for plan in treated or [before]:
        for receiver in receivers:
            levels = [plan.level_w_m2(receiver)]
            if treated:
                levels.append(before.level_w_m2(receiver))
            for figure, moves_db in _moves(figures, levels):
                known = found.get(figure.words)
                if known is None or moves_db > known.moves_db:
                    found[figure.words] = Rest(
                        words=figure.words,
                        moves_db=moves_db,
                        receiver=receiver,
                        plan=plan.plan,
                        is_unknown=figure.is_unknown,
                        taken=figure.taken,
                        settle=figure.settle,
                    )
    ranked = sorted(found.values(), key=lambda rest: (-rest.moves_db, rest.words))
    return tuple(ranked[:MAX_LISTED])


def deviates_of(job: Job, draws: Draws) -> dict[str, Floats]:
    """How each figure was drawn (draws,), ±1 at 10–90 %, by its words."""
    return {figure.words: figure.deviate for figure in _figures(job, draws)}


def _moves(figures: Sequence[_Figure], levels: Sequence[Floats]) -> Iterator[tuple[_Figure, float]]:
    """What each figure brings to the decibels between levels, where it stands out. [dB]"""
    with np.errstate(divide="ignore", invalid="ignore"):
        decibels = [10.0 * np.log10(each[1:]) for each in levels]
        decided = decibels[0] - decibels[1] if len(decibels) > 1 else decibels[0]
    sound = np.isfinite(decided)
    if sound.sum() <= 2 * len(figures):
        return
    columns = np.stack([figure.deviate[1:][sound] for figure in figures], axis=1)
    columns = np.column_stack((np.ones(len(columns)), columns))
    fitted, *_ = np.linalg.lstsq(columns, decided[sound], rcond=None)
    left = decided[sound] - columns @ fitted
    noise = left @ left / (len(left) - columns.shape[1])
    errors = np.sqrt(noise * np.diag(np.linalg.pinv(columns.T @ columns)))
    spans = np.ones(len(figures))
    if any(figure.is_bound for figure in figures):  # readings narrow what is drawn
        low, high = np.quantile(columns[:, 1:], (0.1, 0.9), axis=0)
        spans = 0.5 * (high - low)
    moved = np.abs(fitted[1:]) * spans
    for figure, moves_db, error in zip(figures, moved, errors[1:] * spans, strict=True):
        if moves_db >= MIN_DB and moves_db > MIN_SURE * error:
            yield figure, float(moves_db)


def _of_level(draws: Draws, source: int, tolerance_db: float) -> Floats:
    """A source's level as readings leave it, in parts of its tolerance."""
    return np.asarray(10.0 * np.log10(draws.level[source]) / tolerance_db)


def _figures(job: Job, draws: Draws) -> Iterator[_Figure]:
    """Everything that is drawn and that somebody could settle, each with its deviates."""
    seen: set[str] = set()
    for each, deviate in draws.unknown.items():
        name = deviate_name(each)
        if name not in seen:
            seen.add(name)
            yield _Figure(
                words=each.words,
                deviate=np.sign(deviate) if each.range is COATED else deviate,
                taken=each.taken,
                settle=each.settle,
                is_unknown=True,
            )
    moved = draws.tolerances.deviate
    partners = {each.id + MIRRORED for each in job.sources if each.ground_reflection}
    for index, source in enumerate(job.sources):
        if source.id in partners:
            continue
        if source.level_tolerance_db > 0.0:
            yield _Figure(
                words=f"level of {source.id}",
                deviate=_of_level(draws, index, source.level_tolerance_db)
                if draws.fitted is not None
                else moved(f"level of source {source.id}"),
                taken=f"good to {source.level_tolerance_db:.2g} dB",
                settle="read it again outdoors, at several places and times"
                if source.position_m is None
                else "read it at a known distance with nothing between",
            )
        if source.position_m is None and source.direction_tolerance_rad > 0.0:
            for word, axis in (("across", "bearing"), ("upward", "elevation")):
                yield _Figure(
                    words=f"{axis} of {source.id}",
                    deviate=moved(f"direction {word} of source {source.id}"),
                    taken=f"good to {np.degrees(source.direction_tolerance_rad):.2g}°",
                    settle="take it from a map or with a compass from the window, and state "
                    "direction-tolerance",
                )
    for treatment in job.treatments.values():
        of = "loss" if treatment.kind == "fixed" else "sheet resistance"
        yield _Figure(
            words=f"{of} of {treatment.id}",
            deviate=moved(f"{of} of treatment {treatment.id}"),
            taken="as its maker says, within its tolerance",
            settle="measure a sample that was put on as the job will be",
        )
    for assembly in job.assemblies.values():
        if assembly.loss is not None or assembly.entry_loss is not None:
            yield _Figure(
                words=f"loss of {assembly.id}",
                deviate=moved(f"loss of assembly {assembly.id}"),
                taken=f"good to {assembly.loss_tolerance_db:g} dB",
                settle="read the level on both sides of it, or write its layers",
            )
    yield _Figure(
        words="absorption of the people in the room",
        deviate=moved("occupants"),
        taken="0.18 to 0.45 m² an adult",
        settle="state occupants; the rest stays open",
    )
