"""Views of the sky kept from one command to the next, as casts are (`envelope.cast_cache`)."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from functools import cache
from pathlib import Path

from envelope.building.job import Job, Plan, Receiver
from envelope.cast_cache import program_digest
from envelope.exposure.bands import bands_of
from envelope.exposure.results import PlanResult
from envelope.exposure.transmission import Bench
from envelope.exposure.under_plan import job_under
from envelope.kept import Store, folder_for, from_bytes, to_bytes
from envelope.rays import BINS, Beam
from viewer.scene import sky as views
from viewer.scene.records import LOSS
from viewer.scene.sky import (
    SIDE,
    Json,
    Sky,
    SkyOutline,
    SkyView,
    look_around,
    losses_db,
    sky_json,
    sky_of,
)

MAX_FILES = 64
MAX_BYTES = 200_000_000
_RECORDS: dict[str, type] = {made.__name__: made for made in (Beam, SkyOutline, SkyView)}


def sky_or_recall(job: Job, receiver: Receiver, *, side: int = SIDE) -> Sky:
    """`cast_sky`, but what was seen from there before is read in place of being cast.

    Parameters
    ----------
    job, receiver, side
        As `cast_sky` takes them.
    """
    where = Store(folder=folder_for("skies"), max_files=MAX_FILES, max_bytes=MAX_BYTES)
    building, place = job.building, receiver.position_m.tobytes().hex()
    north = building.site.north_rad.hex()  # turns the disc, and is not in the building's digest
    asked = f"{building.digest} {_program()} {receiver.space} {place} {north} {side}"
    key = hashlib.sha256(asked.encode()).hexdigest()[:32]
    view = _recalled(where, key)
    if view is None:
        view = look_around(job.building, receiver, side=side)
        where.put(key, to_bytes(view))
    return sky_of(view, job=job, receiver=receiver)


def skies_json(
    *,
    job: Job,
    results: Sequence[PlanResult],
    bench: Bench | None = None,
    scale_db: Sequence[float] | None = None,
    side: int = SIDE,
) -> list[Json]:
    """The sky of every receiver of a job under the plans of these results, in their order.

    Parameters
    ----------
    bench : Bench, optional
        Of the job, where there is one that keeps what its stacks do.
    scale_db : (low, high), optional
        Ends of the colours; those of a picture's losses unless stated.
    side : int
        Cells across the disc.
    """
    if bench is None:
        bench = Bench(job=job, bands_hz=bands_of(job), bins=BINS)
    if scale_db is None:
        scale_db = (LOSS.low_db, LOSS.high_db)
    found = []
    for receiver in job.receivers:
        sky = sky_or_recall(job, receiver, side=side)
        losses = [losses_db(sky, bench=bench, plan=job.plan(result.plan)) for result in results]
        own = sky_json(sky, job=job, losses=losses, scale_db=scale_db)
        plans = [job.plan(result.plan) for result in results]
        found.append(
            own | {"moved": moved_skies_json(job, receiver.id, plans, bench, scale_db, side=side)}
        )
    return found


def moved_skies_json(
    job: Job,
    receiver: str,
    plans: Sequence[Plan],
    bench: Bench,
    scale_db: Sequence[float],
    *,
    side: int = SIDE,
) -> list[Json | None]:
    """The sky of a receiver under each plan that moves its bed or a source; None under others.

    Parameters
    ----------
    receiver : str
        Its id.
    plans : sequence of Plan
        In the order of the scene's.
    bench, scale_db, side
        As `skies_json` takes them.
    """
    found: list[Json | None] = []
    for plan in plans:
        there = job_under(job, plan, power=False)
        if there is job:
            found.append(None)
            continue
        bed = next(each for each in there.receivers if each.id == receiver)
        sky = sky_or_recall(there, bed, side=side)
        # a grid for this plan alone, at its place among all
        losses = losses_db(sky, bench=bench, plan=plan)
        told = sky_json(sky, job=there, losses=[losses], scale_db=scale_db)
        grids = [told["losses"][0] if each is plan else [] for each in plans]
        found.append(told | {"losses": grids})
    return found


@cache
def _program() -> str:
    """Digest of all that a view comes out of besides geometry."""
    own = hashlib.sha256(Path(views.__file__).read_bytes()).hexdigest()
    return f"{program_digest()} {own}"


def _recalled(where: Store, key: str) -> SkyView | None:
    data = where.get(key)
    if data is None:
        return None
    try:
        found = from_bytes(data, records=_RECORDS)
    except ValueError:
        found = None
    if not isinstance(found, SkyView):
        where.drop(key)
        return None
    return found
