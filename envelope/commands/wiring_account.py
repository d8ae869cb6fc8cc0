"""What hand-out and report say of the wiring's field: one plain paragraph and the map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from envelope.building.job import Job
from envelope.errors import MissingExtraError
from envelope.text.names import shown

if TYPE_CHECKING:
    from envelope.wiring.results import WiringResults

_ISOLATE, _END = "\u2068", "\u2069"  # around a name, whose direction of writing may be another


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WiringAccount:
    """For a page that a client reads."""

    sentences: tuple[str, ...]  # plain text: whoever writes HTML escapes it
    picture: bytes | None  # PNG of the cables and the maps; None where matplotlib is missing
    results: WiringResults


def wiring_account(
    job: Job, plan: str, *, receiver: str | None = None, plans: Sequence[str] = ()
) -> WiringAccount | None:
    """Solve the wiring's field for a plan beside today; None where the job has nothing to solve.

    Parameters
    ----------
    job : Job
    plan : str
        That is told beside today.
    receiver : str, optional
        At which the field is told; all of them if not given.
    plans : sequence of str
        Of which the results are wanted too, for a picture that can show several.
    """
    from envelope.wiring.spread import has_runs, solve_wiring
    from envelope.wiring_text import paragraph
    from viewer.pictures.wiring_map import wiring_map

    if job.wiring is None or not job.receivers or not has_runs(job.wiring):
        return None
    chosen = [each for each in job.receivers if receiver in (None, each.id)]
    system, results = solve_wiring(job, job.wiring, receivers=chosen, plans=[*plans, plan])
    try:
        picture = wiring_map(system, results, [plan])
    except MissingExtraError:
        picture = None
    return WiringAccount(
        sentences=paragraph(
            results,
            plan=plan,
            name=_isolated,
            strips=bool(job.wiring.plan(plan).strips),
        ),
        picture=picture,
        results=results,
    )


def _isolated(name: str) -> str:
    return f"{_ISOLATE}{shown(name)}{_END}"
