"""Rooms whose levels are traced spot by spot beside what the diffuse balance says of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from power_tracing import Facets, Floats, facets_of_job, from_outside, from_transmitter, trace

from envelope.building.job import Job
from envelope.exposure.analysis import analyze
from envelope.exposure.casts import cast_job, direction_of
from envelope.exposure.diffuse import absorption_m2
from envelope.exposure.model_error import diffuse_error_db
from envelope.project import load_text
from envelope.rays import Sampling

FEW = Sampling(points_per_panel=2**9, points=2**12)
BODY_M = 0.5  # edge of a probe

OUTER_WALLS = ("timber-wall", "brick-veneer-wall", "cavity-brick-wall", "solid-brick-wall")
PLANS = {
    "lit-walls": ("1", "2"),
    "one-wall": ("1",),
    "walls": ("walls",),
    "walls-windows": ("walls", "windows"),
    "walls-openings": ("walls", "windows", "doors"),
    "but-floor": ("walls", "windows", "doors", "ceiling"),
    "ceiling-floor": ("ceiling", "floor"),
    "all-round": ("walls", "windows", "doors", "ceiling", "floor"),
}


def random_room(seed: int, plans: Sequence[str] = tuple(PLANS)) -> Job:
    """A room with two windows beside another one, its construction and a mast by chance."""
    random = np.random.default_rng(seed)
    along, across, height = random.uniform((2.6, 2.4, 2.3), (5.5, 4.5, 2.8)).round(3)
    wide = round(float(random.uniform(0.8, along - 0.9)), 2)
    floor = random.choice(["joist-floor", "chipboard-joist-floor"])
    site = '[site]\nreach = "0 m"\ngrade = "-1000 m"\n'  # the whole sphere is open sky
    construction = "\n".join(
        f'{kind} = "{name}"'
        for kind, name in {
            "exterior-wall": random.choice(OUTER_WALLS),
            "interior-wall": random.choice(["stud-wall", "brick-partition"]),
            "floor": floor,
            "slab": floor,
            "roof": random.choice(["tiled-roof", "ceiling-and-tiled-roof"]),
            "window": random.choice(["double-glazing", "single-glazing"]),
            "door": "hollow-wood-door",
        }.items()
    )
    treated = "\n".join(
        f'[[plan]]\nid = "{name}"\ntreat = ['
        + ", ".join(f'{{ on = "room/{on}", with = "coat" }}' for on in PLANS[name])
        + "]"
        for name in plans
    )
    text = f"""format = 1
name = "room {seed}"
{site}
[construction]
{construction}
[[storey]]
id = "ground"
floor = "0 m"
[[space]]
id = "room"
storey = "ground"
raised = true
size = "{along} m x {across} m"
height = "{height} m"
furnishing = "{random.uniform(0.0, 3.0):.2f} m2"
[[space]]
id = "next"
storey = "ground"
raised = true
origin = "-3.1 m, 0 m"
size = "3 m x {across} m"
height = "{height} m"
[[opening]]
id = "W1"
on = "room/1"
kind = "window"
at = "0.5 m"
sill = "0.9 m"
size = "{wide} m x 1.2 m"
[[opening]]
id = "W2"
on = "room/2"
kind = "window"
at = "0.6 m"
sill = "0.9 m"
size = "0.9 m x 1.1 m"
[[opening]]
id = "D1"
on = "room/4"
kind = "door"
at = "0.4 m"
size = "0.8 m x 2 m"
[[treatment]]
id = "coat"
kind = "sheet"
sheet-resistance = "{random.choice([2, 5, 8, 20])} ohm/sq"
[[source]]
id = "mast"
azimuth = "{random.uniform(0.0, 360.0):.1f} deg"
elevation = "{random.uniform(0.0, 15.0):.1f} deg"
spread = "2 deg"
band = "{random.choice([0.9, 1.8, 2.45, 3.5])} GHz"
level = "1000 uW/m2"
[[receiver]]
id = "bed"
space = "room"
at = "1, 1, 0.7 m"
{treated}
"""
    return bare(load_text(text, path=f"room-{seed}.toml"))


def only(job: Job, source: str) -> Job:
    """The job with one source of one strength, all of it from its own direction."""
    (found,) = (each for each in job.sources if each.id == source)
    if found.eirp_w is None:
        found = replace(found, scattered=0.0, level_w_m2={"": 1e-3})
    return bare(replace(job, sources=(found,)))


def bare(job: Job) -> Job:
    """The job as it is traced: no furniture, beams alone, transmitters alike all round."""
    return replace(
        job,
        furnishing_m2={space.id: 0.0 for space in job.building.spaces},
        sources=tuple(
            replace(each, scattered=0.0, directivity_db=0.0)
            if each.eirp_w is not None
            else replace(each, scattered=0.0)
            for each in job.sources
        ),
    )


def facets_under(job: Job, plan: str) -> Facets:
    """Facets of a job in its one source's band."""
    (source,) = job.sources
    return facets_of_job(
        job,
        job.plan(plan),
        band_hz=source.band_hz,
        absorption_m2=absorption_m2(job),
    )


def rays_of(job: Job, facets: Facets, *, count: int, seed: int = 0):
    """Rays of the job's one source."""
    (source,) = job.sources
    if source.eirp_w is not None:
        return from_transmitter(
            position_m=source.position_m,
            space=job.building.space_index[source.space],
            power_w=source.eirp_w,
            count=count,
            seed=seed,
        )
    return from_outside(
        facets,
        directions=-direction_of(source, job.building)[np.newaxis, :],
        density_w_m2=source.level_w_m2[""],
        count=count,
        seed=seed,
    )


def probes_in(size_m: Sequence[float]) -> Floats:
    """Boxes (k, 6) of half a metre: corners, sides and middle of a room, at bed and desk height."""
    along, across, _ = size_m
    found = []
    for x in (0.15, 0.5, 0.85):
        for y in (0.15, 0.5, 0.85):
            for z in (0.5,) if (x == 0.5) != (y == 0.5) else (0.5, 1.5):
                middle = np.array([x * along, y * across, z])
                low = np.maximum(middle - BODY_M / 2, 0.0)
                high = np.minimum(middle + BODY_M / 2, size_m)
                found.append(np.concatenate([low, high]))
    return np.array(found)


@dataclass(frozen=True, kw_only=True, eq=False)
class Errors:
    """Traced over computed level at spots of a room under one plan. [dB]"""

    plan: str
    scattering: float
    at_spots_db: Floats  # (k,)
    noise_db: float  # of the tracing itself, as a standard deviation
    own_db: float  # what the model says of itself: half of a 10–90 % range
    room_db: float  # of the diffuse field's mean over the room


def errors_of(
    job: Job, *, scatterings: Sequence[float], count: int, plans: Sequence[str] | None = None
) -> Iterator[Errors]:
    """Levels at spots of `room`, traced and computed, for plans and roughnesses."""
    analysis = analyze(job=job, casts=cast_job(job, sampling=FEW), ranked_plans=())
    index = job.building.space_index["room"]
    corners = np.vstack([panel.outline for panel in job.building.space("room").panels])
    probes = probes_in(corners.max(axis=0))
    for result in analysis.plans:
        if plans is not None and result.plan not in plans:
            continue
        (source,) = result.receivers[0].sources
        facets = facets_under(job, result.plan)
        share = np.arange(facets.reflection.shape[1]) + 0.5
        diffuse_db = diffuse_error_db(
            area_m2=facets.area_m2,
            space=facets.space,
            reflection=facets.reflection @ (share / share.sum()),
            absorption_m2=facets.absorption_m2,
        )[index]
        for scattering in scatterings:
            found = trace(
                facets,
                rays_of(job, facets, count=count),
                scattering=scattering,
                watched=index,
                probes=probes,
            )
            direct, spots = found.probe_direct.mean(axis=0), found.probe_diffuse.mean(axis=0)
            noise = found.probe_diffuse.std(axis=0, ddof=1) / len(found.diffuse) ** 0.5
            computed = direct + source.diffuse_w_m2
            yield Errors(
                plan=result.plan,
                scattering=scattering,
                at_spots_db=10.0 * np.log10((direct + spots) / computed),
                noise_db=float(np.sqrt(np.mean((4.343 * noise / (direct + spots)) ** 2))),
                own_db=float(diffuse_db * np.mean(source.diffuse_w_m2 / computed)),
                room_db=float(
                    10.0 * np.log10(found.diffuse[:, index].mean() / source.diffuse_w_m2)
                ),
            )
