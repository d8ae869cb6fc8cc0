"""Rays of power through coupled rooms: what the diffuse balance is held against.

    launch at outer faces or at a transmitter
      → hit: reflect (specular or Lambertian by chance), cross into the next room, or leave
      → every stretch of a path adds power × length to its room, to probes and to a decay curve

Power × length over volume is the scalar power density. Nothing is assumed to be even anywhere:
no balance, no mean absorption, no casts. Only what a facet reflects and transmits at an angle
comes from outside, from numbers typed in or from the layer formulas.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numba
import numpy as np
from numpy.typing import NDArray

from envelope.building.job import Job, Plan
from envelope.building.model import Building
from envelope.exposure.transmission import Bench, stacks_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SPEED_M_S = 299_792_458.0
OUTSIDE = -1
FAINT = (
    0.02  # of a ray of the room with the weakest: below it a ray lives on by chance, and stronger
)
ON = 0.1  # that chance
RARE = 0.1  # least chance of crossing a wall, with less power where it is less likely


@dataclass(frozen=True, kw_only=True, eq=False)
class Facets:
    """Plane pieces of the rooms' boundaries, each with one thing behind it."""

    space: Ints  # (f,)
    beyond: Ints  # (f,) space behind, or `OUTSIDE`
    panel: Ints  # (f,)
    gap_m: Floats  # (f,) to the facing surface
    open: NDArray[np.bool_]  # (f,) outdoors behind it, no earth
    frame: Floats  # (f, 4, 3) origin, two axes, normal into the room
    edges: Floats  # (e, 4) of all rings, in the facet's own axes
    start: Ints  # (f + 1,)
    area_m2: Floats  # (f,)
    reflection: Floats  # (f, bins) by the cosine of incidence
    transmission: Floats  # (f, bins)
    volume_m3: Floats  # (s,)
    absorption_m2: Floats  # (s,) of people and furnishing, spread through the room

    def coated(self, chosen: Sequence[int], *, reflection: float, transmission: float) -> Facets:
        """The same with other figures on some facets."""
        reflected, passed = self.reflection.copy(), self.transmission.copy()
        reflected[list(chosen)], passed[list(chosen)] = reflection, transmission
        return replace(self, reflection=reflected, transmission=passed)


def facets_of(
    building: Building, *, reflection: Floats, transmission: Floats, absorption_m2: Floats
) -> Facets:
    """Facets of a building's patches, with what each patch (p, bins) reflects and transmits."""
    edges, start, frames, panels, spaces, beyond = [], [0], [], [], [], []
    for patch in building.patches:
        panel = building.panel(patch.panel)
        count = 0
        for outer, holes in patch.regions:
            for ring in (outer, *holes):
                edges.append(np.hstack([ring, np.roll(ring, -1, axis=0)]))
                count += len(ring)
        start.append(start[-1] + count)
        frame = panel.frame
        frames.append([frame.origin, frame.u, frame.v, frame.normal])
        panels.append(building.panel_index[panel.id])
        spaces.append(building.space_index[panel.space])
        beyond.append(
            OUTSIDE if patch.far is None else building.space_index[building.panel(patch.far).space]
        )
    return Facets(
        space=np.array(spaces),
        beyond=np.array(beyond),
        panel=np.array(panels),
        gap_m=np.array([patch.distance_m for patch in building.patches]),
        open=np.array([patch.behind == "outdoors" for patch in building.patches]),
        frame=np.array(frames),
        edges=np.vstack(edges),
        start=np.array(start),
        area_m2=np.array([patch.area_m2 for patch in building.patches]),
        reflection=np.ascontiguousarray(reflection),
        transmission=np.ascontiguousarray(transmission),
        volume_m3=np.array([space.volume_m3 for space in building.spaces]),
        absorption_m2=np.asarray(absorption_m2, dtype=np.float64),
    )


def facets_of_job(
    job: Job, plan: Plan, *, band_hz: tuple[float, float], absorption_m2: Floats, bins: int = 32
) -> Facets:
    """Facets of a job under a plan: layer formulas over a band, both polarizations alike."""
    bench = Bench(job=job, bands_hz=(band_hz,), bins=bins)
    tables = bench.tables(stacks_of(job, plan))
    of_face = tables.stacks.of_face
    passed = np.exp(tables.log_transmission[of_face, :, 0]).mean(axis=-1)
    back = tables.near_reflection[of_face, :, 0].mean(axis=-1)
    return facets_of(
        job.building,
        reflection=back,
        transmission=np.minimum(passed, 1.0 - back),
        absorption_m2=absorption_m2,
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Rays:
    """Where rays start inside a room: just past an outer `facet`, or anywhere."""

    position_m: Floats  # (n, 3)
    direction: Floats  # (n, 3)
    facet: Ints  # (n,), -1 without
    space: Ints  # (n,)
    power_w: Floats  # (n,)


def from_transmitter(
    *, position_m: Sequence[float], space: int, power_w: float, count: int, seed: int
) -> Rays:
    """Rays of an isotropic transmitter in a room."""
    random = np.random.default_rng(seed)
    direction = random.standard_normal((count, 3))
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    return Rays(
        position_m=np.tile(np.asarray(position_m, dtype=np.float64), (count, 1)),
        direction=direction,
        facet=np.full(count, -1),
        space=np.full(count, space),
        power_w=np.full(count, power_w / count),
    )


def _spots(facets: Facets, facet: int, count: int, random: np.random.Generator) -> Floats:
    """Points (count, 3) spread evenly over a facet, by rejection."""
    edges = facets.edges[facets.start[facet] : facets.start[facet + 1]]
    low, high = edges[:, :2].min(axis=0), edges[:, :2].max(axis=0)
    found = np.empty((0, 2))
    while len(found) < count:
        tried = random.uniform(low, high, (2 * count + 16, 2))
        a, b = tried[:, :1], tried[:, 1:]
        x0, y0, x1, y1 = edges.T
        with np.errstate(divide="ignore", invalid="ignore"):
            crossed = ((y0 > b) != (y1 > b)) & (a < x0 + (b - y0) / (y1 - y0) * (x1 - x0))
        found = np.vstack([found, tried[crossed.sum(axis=1) % 2 == 1]])
    origin, u, v, _ = facets.frame[facet]
    return origin + found[:count, :1] * u + found[:count, 1:] * v


def from_outside(
    facets: Facets, *, directions: Floats, density_w_m2: float, count: int, seed: int
) -> Rays:
    """Rays of plane waves that travel along `directions` (n, 3), sharing a power density.

    Each outer facet is lit from every direction that reaches its outer side, by its projected
    area; what another part of the building shadows is left out. Rooms get rays alike, and the
    facets of a room by the power that they let in.
    """
    random = np.random.default_rng(seed)
    outer = np.flatnonzero(facets.open)
    let_in = np.array([_let_in(facets, each, directions).mean() for each in outer])
    let_in *= facets.area_m2[outer]
    of_space = np.bincount(facets.space[outer], let_in)
    share = let_in / np.maximum(of_space, 1e-300)[facets.space[outer]] / (of_space > 0.0).sum()
    parts = []
    for facet, each in zip(outer, np.ceil(count * share), strict=True):
        rays = int(each)
        if rays == 0:
            continue
        passed = _let_in(facets, facet, directions)
        chosen = random.choice(len(directions), rays, p=passed / passed.sum())
        heading = directions[chosen]
        spot = _spots(facets, facet, rays, random)
        free = ~_shadowed(spot, -heading, facets.frame, facets.edges, facets.start, int(facet))
        power = density_w_m2 * facets.area_m2[facet] * passed.mean() / rays
        parts.append((spot[free], heading[free], np.full(free.sum(), facet), free[free] * power))
    position, heading, facet, power = (np.concatenate(each) for each in zip(*parts, strict=True))
    return Rays(
        position_m=position,
        direction=heading,
        facet=facet,
        space=facets.space[facet],
        power_w=power,
    )


def _let_in(facets: Facets, facet: int, directions: Floats) -> Floats:
    """Projected share of a facet times its transmission, by direction (n,)."""
    cosine = directions @ facets.frame[facet, 3]
    bins = facets.transmission.shape[1]
    index = np.minimum((np.abs(cosine) * bins).astype(np.int64), bins - 1)
    return np.where(cosine > 1e-6, cosine * facets.transmission[facet, index], 0.0)


def isotropic(count: int, seed: int = 0) -> Floats:
    """Directions (count, 3) spread over the sphere."""
    random = np.random.default_rng(seed)
    direction = random.standard_normal((count, 3))
    return direction / np.linalg.norm(direction, axis=1, keepdims=True)


@dataclass(frozen=True, kw_only=True, eq=False)
class Traced:
    """Scalar power densities, each in batches of rays so that their scatter is known. [W/m²]"""

    direct: Floats  # (batches, s) of paths that were never reflected
    diffuse: Floats  # (batches, s) of all others
    probe_direct: Floats  # (batches, k)
    probe_diffuse: Floats  # (batches, k)
    entered: Floats  # (batches, panels) diffuse in the room watched, by the panel it came in by
    decay: Floats  # (t,) power × length in the room watched, by time since launch
    sent_w: float
    lost_share: float  # of the power sent, where a ray found no facet

    def mean_db(self, values: Floats) -> Floats:
        """Mean over batches, in dB."""
        return np.asarray(10.0 * np.log10(values.mean(axis=0)))


def trace(
    facets: Facets,
    rays: Rays,
    *,
    scattering: float,
    watched: int = 0,
    probes: Floats | None = None,
    step_s: float = 0.5e-9,
    steps: int = 0,
    outdoors: bool = False,
    batches: int = 8,
    seed: int = 1,
) -> Traced:
    """Follow rays of power until they are gone.

    Parameters
    ----------
    scattering : float
        Share of a reflection that goes to all sides (Lambert), 0 to 1; the rest is specular.
    watched : int
        Space whose probes, entries and decay are kept.
    probes : (k, 6) float, optional
        Boxes in the space watched: low corner, high corner. [m]
    step_s, steps : float, int
        Bins of the decay curve.
    outdoors : bool
        Also follow what was reflected and leaves the building, until it meets it again.
    """
    boxes = np.zeros((0, 6)) if probes is None else np.asarray(probes, dtype=np.float64)
    spaces, panels = len(facets.volume_m3), int(facets.panel.max()) + 1
    size = np.prod(boxes[:, 3:] - boxes[:, :3], axis=1)
    parts = [np.zeros((batches, n)) for n in (spaces, spaces, len(boxes), len(boxes), panels)]
    decay, lost = np.zeros(max(steps, 1)), 0.0
    random = np.random.default_rng(seed)
    order = random.permutation(len(rays.power_w))
    rays_in = np.bincount(rays.space, minlength=spaces)
    power_in = np.bincount(rays.space, rays.power_w, minlength=spaces)
    faintest = float((power_in[rays_in > 0] / rays_in[rays_in > 0]).min()) * batches
    for batch in range(batches):
        chosen = order[batch::batches]
        lost += _follow(
            rays.position_m[chosen], rays.direction[chosen], rays.facet[chosen],
            rays.space[chosen], rays.power_w[chosen] * batches,
            facets.space, facets.beyond, facets.panel, facets.gap_m, facets.frame, facets.edges,
            facets.start, facets.reflection, facets.transmission,
            facets.absorption_m2 / facets.volume_m3,
            scattering, watched, boxes, step_s * SPEED_M_S, steps, outdoors, random,
    faintest,
            *(part[batch] for part in parts), decay,
        )  # fmt: skip
    direct, diffuse, probe_direct, probe_diffuse, entered = parts
    sent = float(rays.power_w.sum())
    return Traced(
        direct=direct / facets.volume_m3,
        diffuse=diffuse / facets.volume_m3,
        probe_direct=probe_direct / size,
        probe_diffuse=probe_diffuse / size,
        entered=entered / facets.volume_m3[watched],
        decay=decay / batches,
        sent_w=sent,
        lost_share=lost / batches / sent,
    )


@numba.njit
def _inside(a, b, edges, first, last):  # type: ignore[no-untyped-def]
    """Whether a spot lies inside rings, by the parity of crossings."""
    odd = False
    for e in range(first, last):
        x0, y0, x1, y1 = edges[e]
        if (y0 > b) != (y1 > b) and a < x0 + (b - y0) / (y1 - y0) * (x1 - x0):
            odd = not odd
    return odd


@numba.njit
def _distance(p, d, facet, frame, edges, start):  # type: ignore[no-untyped-def]
    """Distance to a facet along a ray, infinite where it passes beside it."""
    o, u, v, n = frame[facet]
    slope = d[0] * n[0] + d[1] * n[1] + d[2] * n[2]
    if slope == 0.0:
        return np.inf
    t = ((o[0] - p[0]) * n[0] + (o[1] - p[1]) * n[1] + (o[2] - p[2]) * n[2]) / slope
    if t < -1e-7:
        return np.inf
    x, y, z = p[0] + t * d[0] - o[0], p[1] + t * d[1] - o[1], p[2] + t * d[2] - o[2]
    a, b = x * u[0] + y * u[1] + z * u[2], x * v[0] + y * v[1] + z * v[2]
    return max(t, 0.0) if _inside(a, b, edges, start[facet], start[facet + 1]) else np.inf


@numba.njit
def _along_normal(d, n):  # type: ignore[no-untyped-def]
    return d[0] * n[0] + d[1] * n[1] + d[2] * n[2]


@numba.njit
def _from_behind(p, d, own, frame, edges, start):  # type: ignore[no-untyped-def]
    """Nearest facet that a ray outdoors meets from behind, and how far it is."""
    nearest, hit = np.inf, -1
    for f in range(len(frame)):
        if f != own and _along_normal(d, frame[f, 3]) > 1e-9:
            t = _distance(p, d, f, frame, edges, start)
            if 1e-6 < t < nearest:
                nearest, hit = t, f
    return nearest, hit


@numba.njit
def _shadowed(spots, towards, frame, edges, start, own):  # type: ignore[no-untyped-def]
    """Whether something of the building stands between spots and where light comes from."""
    found = np.zeros(len(spots), dtype=np.bool_)
    for i in range(len(spots)):
        found[i] = _from_behind(spots[i], towards[i], own, frame, edges, start)[1] >= 0
    return found


@numba.njit
def _clipped(p, d, length, box):  # type: ignore[no-untyped-def]
    """Where a stretch enters and leaves a box; equal where it misses it."""
    near, far = 0.0, length
    for axis in range(3):
        if d[axis] == 0.0:
            if not box[axis] <= p[axis] <= box[axis + 3]:
                return 0.0, 0.0
        else:
            one, other = (box[axis] - p[axis]) / d[axis], (box[axis + 3] - p[axis]) / d[axis]
            near, far = max(near, min(one, other)), min(far, max(one, other))
    return (near, far) if far > near else (0.0, 0.0)


@numba.njit
def _carried(power, thinning, near, far):  # type: ignore[no-untyped-def]
    """Power × length between two points of a stretch on which power thins out."""
    if thinning == 0.0:
        return power * (far - near)
    return power * (np.exp(-thinning * near) - np.exp(-thinning * far)) / thinning


@numba.njit
def _turned(d, n, scattering, random):  # type: ignore[no-untyped-def]
    """Direction after a reflection."""
    if random.random() >= scattering:
        return d - 2.0 * _along_normal(d, n) * n
    other = np.array([1.0, 0.0, 0.0]) if abs(n[0]) < 0.5 else np.array([0.0, 1.0, 0.0])
    u = np.cross(n, other)
    u /= np.sqrt((u * u).sum())
    sine2, turn = random.random(), 2.0 * np.pi * random.random()
    sine = np.sqrt(sine2)
    return np.sqrt(1.0 - sine2) * n + sine * (np.cos(turn) * u + np.sin(turn) * np.cross(n, u))


@numba.njit
def _follow(  # type: ignore[no-untyped-def]
    position, direction, facet0, space0, power0, of_space, beyond, panel, gap, frame, edges, start,
    reflection, transmission, thinning, scattering, watched, boxes, step, steps, outdoors, random,
    faintest,
    direct, diffuse, probe_direct, probe_diffuse, entered, decay,
):  # fmt: skip
    bins, lost, floor = reflection.shape[1], 0.0, FAINT * faintest
    for ray in range(len(position)):
        p, d, w, space = position[ray].copy(), direction[ray].copy(), power0[ray], space0[ray]
        came, reflected, travelled = -1, False, 0.0
        if facet0[ray] >= 0:
            came = panel[facet0[ray]]
        while True:
            if w < floor:
                if random.random() >= ON:
                    break
                w /= ON
            nearest, hit = np.inf, -1
            for f in range(len(of_space)):
                if of_space[f] == space and _along_normal(d, frame[f, 3]) < -1e-12:
                    t = _distance(p, d, f, frame, edges, start)
                    if t < nearest:
                        nearest, hit = t, f
            if hit < 0:
                lost += w
                break
            kappa = thinning[space]
            amount = _carried(w, kappa, 0.0, nearest)
            if reflected:
                diffuse[space] += amount
            else:
                direct[space] += amount
            if space == watched:
                if came >= 0 and reflected:
                    entered[came] += amount
                for k in range(len(boxes)):
                    near, far = _clipped(p, d, nearest, boxes[k])
                    if far > near:
                        if reflected:
                            probe_diffuse[k] += _carried(w, kappa, near, far)
                        else:
                            probe_direct[k] += _carried(w, kappa, near, far)
                if steps > 0:
                    at = travelled
                    while at < travelled + nearest and int(at / step) < steps:
                        stop = min((int(at / step) + 1) * step, travelled + nearest)
                        if stop <= at:
                            stop = at + 1e-9
                        decay[int(at / step)] += _carried(
                            w, kappa, at - travelled, stop - travelled
                        )
                        at = stop
            travelled += nearest
            w *= np.exp(-kappa * nearest)
            p = p + nearest * d
            n = frame[hit, 3]
            cosine = -_along_normal(d, n)
            index = min(int(cosine * bins), bins - 1)
            back, through = reflection[hit, index], transmission[hit, index]
            follows = beyond[hit] >= 0 or outdoors or not reflected
            total = back + (through if follows else 0.0)
            if total <= 0.0:
                break
            crosses = 1.0 - back / total
            chance = crosses if crosses in (0.0, 1.0) else min(max(crosses, RARE), 1.0 - RARE)
            if random.random() >= chance:
                w *= back / (1.0 - chance)
                d = _turned(d, n, scattering, random)
                reflected = True
                continue
            w *= through / chance
            if beyond[hit] >= 0:
                p = p - gap[hit] * n
                space, came = beyond[hit], -2
            else:
                away, met = _from_behind(p, d, hit, frame, edges, start)
                if met < 0:
                    break
                p = p + away * d
                travelled += away
                cosine = _along_normal(d, frame[met, 3])
                w *= transmission[met, min(int(cosine * bins), bins - 1)]
                space, came = of_space[met], panel[met]
            if came == -2:  # the facing panel: the one whose plane the ray now stands on
                came = -1
                for f in range(len(of_space)):
                    if of_space[f] == space and _along_normal(d, frame[f, 3]) > 1e-12:
                        o, u, v, m = frame[f]
                        x = p - o
                        if abs(_along_normal(x, m)) < 1e-4 and _inside(
                            _along_normal(x, u), _along_normal(x, v), edges, start[f], start[f + 1]
                        ):
                            came = panel[f]
                            break
    return lost
