"""What several commands share: load a job, pick its plans, cast it, analyse it.

What casts is imported where it is used, since compiled code takes longer to load than a file.
"""

from __future__ import annotations

import difflib
import json
from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from rich.markup import escape

from envelope.building.job import Job, Plan
from envelope.commands.progress import Progress
from envelope.errors import EnvelopeError
from envelope.exposure.assumptions import people_notes
from envelope.project import load

if TYPE_CHECKING:
    from envelope.exposure.analysis_record import Analysis
    from envelope.exposure.casts import Casts


def read_job(path: Path) -> Job:
    """A project file's job, with the levels that its readings give."""
    job = load(path)
    if job.readings or job.unsolved:
        from envelope.survey import solve_levels

        job = solve_levels(job)
    return job


def stops_for_questions(job: Job, *, as_json: bool) -> bool:
    """Whether a command that advises must stop, having said what the model leaves open.

    A figure that rests on what nobody has looked at would be believed.
    """
    if not job.questions:
        return False
    asked = [each.as_plain() for each in job.questions]
    if as_json:
        print(json.dumps({"format": 1, "questions": asked}, indent=2, ensure_ascii=False))
        return True
    from envelope.commands import tables
    from envelope.commands.layout import open_console

    console = open_console()
    console.print("Nothing is advised yet: the model leaves open what decides it.")
    tables.print_questions(console, asked)
    ids = ", ".join(f'"{each["id"]}"' for each in asked)
    console.print(
        escape(
            f"Where what counts meanwhile is right, write accept = [{ids}], or some of them, in "
            "[model]."
        ),
        highlight=False,
    )
    return True


def nearest(name: str, known: Iterable[str]) -> str:
    """A sentence that offers the nearest known names, or lists them all."""
    names = list(known)
    close = difflib.get_close_matches(name, names, n=3, cutoff=0.5)
    return f"did you mean {' or '.join(close)}?" if close else f"there are {', '.join(names)}"


def chosen_plans(job: Job, names: Sequence[str] | None) -> tuple[Plan, ...]:
    """The plans asked for, in the file's order; all of them where none is.

    Raises
    ------
    EnvelopeError
        Where a name is no plan of the job.
    """
    if not names:
        return job.plans
    known = [plan.id for plan in job.plans]
    for name in names:
        if name not in known:
            raise EnvelopeError(f"no plan {name!r} in this job: {nearest(name, known)}")
    return tuple(plan for plan in job.plans if plan.id in names)


def with_receivers(job: Job, names: Sequence[str] | None) -> Job:
    """The job with the receivers asked for; all of them where none is.

    Raises
    ------
    EnvelopeError
        Where a name is no receiver of the job.
    """
    if not names:
        return job
    known = [receiver.id for receiver in job.receivers]
    for name in names:
        if name not in known:
            raise EnvelopeError(f"no receiver {name!r} in this job: {nearest(name, known)}")
    chosen = tuple(receiver for receiver in job.receivers if receiver.id in names)
    # Who sleeps in the other rooms still absorbs, so that a receiver's level stays what it is.
    people = {**{receiver.space: 1 for receiver in job.receivers}, **job.occupants}
    notes = (*job.notes, *people_notes(replace(job, receivers=chosen)))
    return replace(job, receivers=chosen, occupants=people, notes=notes)


def cast(
    job: Job, *, path: Path, fine: bool = False, error: float | None = None, lit: bool = True
) -> Casts:
    """Cast a job, telling on the terminal how far it is; `lit` as in `cast_job`.

    What an earlier command cast of the same geometry is not cast again.

    Raises
    ------
    EnvelopeError
        Where the job has no receiver, so that there is nothing to look from.
    """
    if not job.receivers:
        raise EnvelopeError(f"{path}: no receiver: add [[receiver]] with the place of the pillow")
    from envelope.cast_cache import cast_or_recall
    from envelope.rays import sampling_for

    progress = Progress("casting rays")
    casts = cast_or_recall(
        job, sampling=sampling_for(fine=fine, error=error), progress=progress, lit=lit
    )
    progress.done()
    return casts


def analyzed(
    job: Job,
    *,
    path: Path,
    plans: Sequence[str] | None,
    threshold_db: float,
    receivers: Sequence[str] | None = None,
    fine: bool = False,
    error: float | None = None,
    edges: bool = False,
    isotropic: bool = False,
    ranked_plans: Collection[str] | None = None,
    brief: bool = False,
) -> Analysis:
    """Cast and analyse in one go, with the band of every level.

    Parameters
    ----------
    job : Job
        As it was read.
    path : Path
        Of its file, for messages.
    plans, receivers : sequence of str, optional
        Ids of what was asked for; all of them where none is.
    threshold_db : float
        Loss below which a direction counts as unshielded. [dB]
    fine, edges, isotropic : bool
        As the switches of `gapcast analyze` say.
    error : float, optional
        Standard error that rays are cast to reach, as a share.
    ranked_plans : collection of str, optional
        Ids of the plans whose faces are tried one by one, for what is shown; all of them where
        none is named.
    brief : bool
        Leave out what levels, shares and ranks do not need: what sources light, leak paths, and an
        isotropic field beside the sources.
    """
    from envelope.exposure.analysis import analyze

    chosen = chosen_plans(job, plans)
    job = with_receivers(job, receivers)
    casts = cast(
        job, path=path, fine=fine, error=error, lit=not brief or isotropic or not job.sources
    )
    return analyze(
        job=job,
        casts=casts,
        plans=chosen,
        threshold_db=threshold_db,
        with_bands=True,
        edges=edges,
        isotropic=isotropic,
        ranked_plans=ranked_plans,
    )
