"""What treating each panel does to the level at a receiver: the order in which panels matter.

Every panel of the receiver's room is tried by itself, with what the job offers for it, on top of
the plan. A trial casts nothing: it works out anew the rays that cross what changed, and solves one
power balance a band. So a trial is the whole analysis of the changed plan, at a fraction of its
work; `tests/envelope/exposure/test_ranking.py` holds the two together.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from envelope.building.job import Plan, Source
from envelope.errors import RangeError
from envelope.exposure.beams import Direct, direct_part
from envelope.exposure.casts import Casts, ReceiverCasts
from envelope.exposure.crossed import Crossed, entries_of
from envelope.exposure.diffuse import (
    Diffuse,
    Faces,
    absorption_m2,
    balance_matrix,
    hemisphere_means,
    ray_levels,
)
from envelope.exposure.offers import Offers
from envelope.exposure.shares import (
    Coupling,
    Region,
    coupling_of,
    diffuse_by_panel_w_m2,
    fed_by_entry_w,
    first_entries,
    hit_powers_w,
    region_of,
)
from envelope.exposure.solid_angles import exposed_sr, rows_of, totals, unpolarized
from envelope.exposure.transmission import Bench, Stacks, Tables, stacks_with
from envelope.geometry.plane import Floats
from envelope.physics.diffuse import diffuse_densities_w_m2
from envelope.rays import Chain, Crossings

Integers = NDArray[np.int32] | NDArray[np.int64]
Changes = Mapping[str, tuple[str, ...]]  # treatments by panel id
_Named = tuple[tuple[str, tuple[str, ...]], ...]  # changes, hashable and in one order

CUMULATED = 8  # panels that are also tried together with all those before them


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """What brings power: a source, or an isotropic field of one unit in a band."""

    source: Source | None
    band: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """What a receiver sees of each field under the plan, before anything is tried."""

    casts: ReceiverCasts
    direct: Mapping[str, Direct]  # by source id
    factor: Mapping[str, float]  # by source: what it brings over what the model says
    exposed_sr: float
    transmission: Floats  # (signatures, bands), 0 where blocked
    open_equivalent_sr: Floats  # (panels, bands) by the first panel
    region: Region


@dataclass(frozen=True, slots=True, kw_only=True)
class Rank:
    """What treating one panel does to the level of a receiver."""

    panel: str
    treatments: tuple[str, ...]  # what it is tried with
    level_w_m2: float | None  # None where nothing would absorb what is then in the room
    with_all_before_w_m2: float | None = None  # this one and all those before it treated


def seen_of(
    casts: ReceiverCasts,
    *,
    bench: Bench,
    direct: Mapping[str, Direct],
    transmission: Floats,
    factor: Mapping[str, float],
) -> Seen:
    """What a receiver sees, from its casts tagged with the plan.

    Parameters
    ----------
    direct : by source id
        The direct parts of the sources.
    transmission : (signatures, bands) float
        Of the receiver's crossings under the plan, 0 where blocked.
    factor : by source id
        By what readings show a source to bring more here than the model says.
    """
    building = bench.job.building
    crossings = casts.crossings
    weight = crossings.solid_angle_sr
    by_panel = [
        totals(crossings.first_panel, weight * transmission[:, band], len(building.panels))
        for band in range(transmission.shape[1])
    ]
    return Seen(
        casts=casts,
        direct=direct,
        factor=factor,
        exposed_sr=exposed_sr(crossings),
        transmission=transmission,
        open_equivalent_sr=np.stack(by_panel, axis=1),
        region=bench.kept(
            ("region", casts.receiver.space), lambda: region_of(building, casts.receiver.space)
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Feed:
    """What one bundle of rays feeds to the spaces under the plan."""

    chain: Chain
    carried_w: Floats  # (rays,)
    powers_w: Floats  # (entries,)
    fed_w: Floats  # (spaces,)


@dataclass(slots=True, kw_only=True, eq=False)
class Trials:
    """A plan whose panels are treated by way of trial.

    Parameters
    ----------
    bench, casts, plan, tables, faces
        Of the plan, as in `analyze_plan`.
    fields : sequence of Field
        What the level consists of.
    edges : bool
        Let beams bend around the edges of openings.
    """

    bench: Bench
    casts: Casts
    plan: Plan
    tables: Tables
    faces: Faces
    fields: Sequence[Field]
    edges: bool = False
    _feeds: dict[tuple[str, int], _Feed] = field(default_factory=dict)
    _matrices: dict[int, Floats] = field(default_factory=dict)
    _couplings: dict[tuple[int, int], Coupling] = field(default_factory=dict)
    _changed: dict[_Named, Stacks] = field(default_factory=dict)
    # what a chain makes in every space after changes: the same for all receivers
    _densities: dict[tuple[_Named, str, int], Floats] = field(default_factory=dict)

    # ---- under the plan as it is

    def _feed(self, name: str, band: int) -> _Feed:
        """What a source's chain feeds; the isotropic chain of unit radiance where name is ""."""
        found = self._feeds.get((name, band))
        if found is None:
            found = self._feeds[name, band] = self._worked_out(name, band)
        return found

    def _worked_out(self, name: str, band: int) -> _Feed:
        job = self.bench.job
        if name:
            chain = self.casts.chains[name]
            source = next(each for each in job.sources if each.id == name)
            carried = chain.weights * ray_levels(source, chain, job)
        else:
            assert self.casts.even is not None
            chain = self.casts.even
            carried = chain.weights
        logs, reflected = self.bench.along(chain, self.tables.stacks, band)
        powers = hit_powers_w(logs=logs, reflected=reflected, start=chain.start, carried_w=carried)
        hit = chain.space >= 0
        return _Feed(
            chain=chain,
            carried_w=carried,
            powers_w=powers,
            fed_w=totals(chain.space[hit], powers[hit], len(job.building.spaces)),
        )

    def _matrix(self, band: int) -> Floats:
        if band not in self._matrices:
            self._matrices[band] = balance_matrix(
                faces=self.faces,
                tables=self.tables,
                absorption=absorption_m2(self.bench.job),
                band=band,
            )
        return self._matrices[band]

    def _crossed(self, bundle: Chain | Crossings, rows: Integers) -> Crossed:
        return self.bench.kept(
            ("crossed", bundle), lambda: Crossed.of(rows=rows, start=bundle.start)
        )

    def diffuse_of(self, source: Source) -> Diffuse:
        """Diffuse density that a source makes in every space under the plan."""
        band = self.bench.bands_hz.index(source.band_hz)
        beam = self._feed(source.id, band).fed_w
        even = np.zeros_like(beam)
        if source.scattered > 0.0 and self.casts.even is not None:
            even = self._feed("", band).fed_w
        solved = diffuse_densities_w_m2(matrix=self._matrix(band), fed_w=np.stack((beam, even)))
        return Diffuse(from_beam_w_m2=solved[0], from_scattered=solved[1])

    def isotropic_density_sr(self, home: int, band: int) -> float:
        """Diffuse density in a space for an outside field of unit radiance in every direction."""
        fed = self._feed("", band).fed_w
        return float(diffuse_densities_w_m2(matrix=self._matrix(band), fed_w=fed)[home])

    def by_panel_w_m2(self, seen: Seen) -> Floats:
        """Level (panels + 1,) at a receiver by the panel that it came in by.

        The last is what a source in the receiver's own room brings past no panel.
        """
        return np.asarray(np.sum([self.brought_w_m2(each, seen) for each in self.fields], axis=0))

    def brought_w_m2(self, each: Field, seen: Seen) -> Floats:
        """What one field brings (panels + 1,), direct and diffuse, as in `by_panel_w_m2`."""
        brought = np.zeros(len(self.bench.job.building.panels) + 1)
        for share, radiance, name in _parts(each, seen):
            if name:
                direct = seen.direct[name]
                through = float(direct.by_panel.sum())
                brought[:-1] += share * direct.by_panel
                brought[-1] += share * max(direct.transmission - through, 0.0)
            else:
                brought[:-1] += radiance * seen.open_equivalent_sr[:, each.band]
            scale = seen.factor[name] if name else radiance
            brought += scale * self._diffuse_by_panel(seen.region, name, each.band)
        return brought

    def _diffuse_by_panel(self, region: Region, name: str, band: int) -> Floats:
        building = self.bench.job.building
        feed = self._feed(name, band)
        entered = self.bench.kept(
            ("entered", feed.chain, region.home),
            lambda: first_entries(feed.chain, building=building, region=region),
        )
        if (region.home, band) not in self._couplings:
            self._couplings[region.home, band] = coupling_of(
                matrix=self._matrix(band), tables=self.tables, band=band, faces=self.faces,
                building=building, region=region,
            )  # fmt: skip
        fed = fed_by_entry_w(
            chain=feed.chain, powers_w=feed.powers_w, entered=entered,
            panels=len(building.panels), spaces=len(building.spaces),
        )  # fmt: skip
        return diffuse_by_panel_w_m2(fed, self._couplings[region.home, band])

    # ---- with panels treated

    def stacks(self, changes: Changes) -> Stacks:
        """The plan's stacks with treatments put on panels in place of what is on them."""
        name = _named(changes)
        if name not in self._changed:
            plan = replace(self.plan, treatments={**self.plan.treatments, **changes})
            self._changed[name] = stacks_with(
                self.tables.stacks, bench=self.bench, plan=plan, panels=frozenset(changes)
            )
        return self._changed[name]

    def level_w_m2(self, seen: Seen, changes: Changes) -> float | None:
        """Level at a receiver with treatments put on panels in place of what is on them.

        None where nothing would then absorb what is in a room.
        """
        stacks = self.stacks(changes)
        trial = _Trial(
            name=_named(changes),
            trials=self,
            tables=self.bench.tables(stacks),
            rows=stacks.of_row != self.tables.stacks.of_row,
            patches=np.flatnonzero(stacks.of_face != self.tables.stacks.of_face),
        )
        try:
            return trial.level_w_m2(seen)
        except RangeError:
            return None


def _named(changes: Changes) -> _Named:
    return tuple(sorted(changes.items()))


def _parts(each: Field, seen: Seen) -> list[tuple[float, float, str]]:
    """Parts of a field at a receiver: level of its beam, radiance, and the chain that feeds."""
    if each.source is None:
        return [(0.0, _over(1.0, seen.exposed_sr), "")]
    outside = seen.factor[each.source.id] * seen.direct[each.source.id].outside_w_m2
    scattered = each.source.scattered
    parts = [((1.0 - scattered) * outside, 0.0, each.source.id)]
    if scattered > 0.0:
        parts.append((0.0, _over(scattered * outside, seen.exposed_sr), ""))
    return parts


def _over(value: float, solid_angle_sr: float) -> float:
    return value / solid_angle_sr if solid_angle_sr > 0.0 else 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Trial:
    """One change of a plan: only what crosses it is worked out."""

    name: _Named
    trials: Trials
    tables: Tables
    rows: NDArray[np.bool_]  # (2 patches,) those whose stack is another one
    patches: NDArray[np.int64]  # whose diffuse means are others

    def level_w_m2(self, seen: Seen) -> float:
        """Level at a receiver, direct and diffuse, all fields."""
        total = 0.0
        parts = [(each, *part) for each in self.trials.fields for part in _parts(each, seen)]
        self._fill([(name, each.band) for each, _, _, name in parts])
        for each, share, radiance, name in parts:
            if name:
                assert each.source is not None
                total += share * self._transmission(seen, each.source, each.band)
            else:
                total += radiance * self._open_equivalent_sr(seen, each.band)
            scale = seen.factor[name] if name else radiance
            density = self.trials._densities[self.name, name, each.band]
            total += scale * float(density[seen.region.home])
        return total

    def _fill(self, chains: Sequence[tuple[str, int]]) -> None:
        """Work out what chains, each with its band, make in every space, where it is not known."""
        known = self.trials._densities
        missing = [each for each in dict.fromkeys(chains) if (self.name, *each) not in known]
        if not missing:
            return
        bands = sorted({band for _, band in missing})
        matrices = self._matrices(bands)[[bands.index(band) for _, band in missing]]
        fed = np.stack([self._fed_w(name, band) for name, band in missing])
        solved = diffuse_densities_w_m2(matrix=matrices, fed_w=fed)
        known.update({(self.name, *each): solved[row] for row, each in enumerate(missing)})

    def _matrices(self, bands: Sequence[int]) -> Floats:
        """Balances (bands, spaces, spaces), what the changed patches do put in place of the old."""
        faces = self.trials.faces
        matrices = np.stack([self.trials._matrix(band) for band in bands])
        if not len(self.patches):
            return matrices
        few = Faces(
            area_m2=faces.area_m2[self.patches],
            space=faces.space[self.patches],
            beyond=faces.beyond[self.patches],
        )
        nothing = np.zeros(matrices.shape[-1])
        for sign, tables in ((1.0, self.tables), (-1.0, self.trials.tables)):
            of_few = _of_patches(tables, self.patches)
            through, back = zip(*(hemisphere_means(of_few, band) for band in bands), strict=True)
            matrices = matrices + sign * balance_matrix(
                faces=few, tables=of_few, absorption=nothing, band=bands[0],
                hemisphere=(np.stack(through), np.stack(back)),
            )  # fmt: skip
        return matrices

    def _fed_w(self, name: str, band: int) -> Floats:
        """What a chain feeds (spaces,): only rays that cross a changed row feed otherwise. [W]"""
        feed = self.trials._feed(name, band)
        chain = feed.chain
        affected = self.trials._crossed(chain, chain.rows).by(self.rows)
        if not len(affected):
            return feed.fed_w
        entries, start = entries_of(chain.start, affected)
        logs, reflected = self.trials.bench.along(chain, self.tables.stacks, band)
        powers = hit_powers_w(
            logs=logs[entries],
            reflected=reflected[entries],
            start=start,
            carried_w=feed.carried_w[affected],
        )
        hit = chain.space[entries] >= 0
        moved = (powers - feed.powers_w[entries])[hit]
        fed = feed.fed_w + totals(chain.space[entries][hit], moved, len(feed.fed_w))
        return np.maximum(fed, 0.0)  # what is left of a difference may be rounding

    def _transmission(self, seen: Seen, source: Source, band: int) -> float:
        """Mean transmission of a source's beam to the receiver."""
        beams = [point.beams[source.id] for point in seen.casts.points]
        crossed = any(self.rows[beam.rows].any() for beam in beams)
        if not (crossed or self.trials.edges):  # an edge bends what passes beside it
            return seen.direct[source.id].transmission
        return direct_part(
            source=source,
            casts=seen.casts,
            bench=self.trials.bench,
            stacks=self.tables.stacks,
            band=band,
            threshold_db=0.0,
            edges=self.trials.edges,
        ).transmission

    def _open_equivalent_sr(self, seen: Seen, band: int) -> float:
        """Open-equivalent solid angle of a receiver in a band. [sr]"""
        crossings = seen.casts.crossings
        before = float(seen.open_equivalent_sr[:, band].sum())
        rows, bins = self.trials.bench.kept(("rows", crossings), lambda: rows_of(crossings))
        affected = self.trials._crossed(crossings, rows).by(self.rows)
        exposed = affected[crossings.sky[affected] > 0]
        if not len(exposed):
            return before
        entries, start = entries_of(crossings.start, exposed)
        stacks = self.tables.stacks.of_row[rows[entries]]
        logs = self.tables.log_transmission[stacks, bins[entries], band]
        through = unpolarized(np.exp(np.add.reduceat(logs, start[:-1], axis=0)))
        weight = crossings.solid_angle_sr[exposed]
        moved = float((weight * (through - seen.transmission[exposed, band])).sum())
        return max(before + moved, 0.0)


def _of_patches(tables: Tables, patches: NDArray[np.int64]) -> Tables:
    """Tables of the stacks that a few patches have on their faces, and of no others."""
    used, of_face = np.unique(tables.stacks.of_face[patches], return_inverse=True)
    return replace(
        tables,
        stacks=replace(tables.stacks, of_face=of_face.reshape(-1).astype(np.int32)),
        log_transmission=tables.log_transmission[used],
        near_reflection=tables.near_reflection[used],
    )


def ranked(
    trials: Trials,
    seen: Seen,
    *,
    offers: Offers,
    level_w_m2: float,
    without: Collection[str] = (),
    cumulated: bool = True,
) -> tuple[Rank, ...]:
    """Panels of the receiver's room, the one first whose treatment brings the level lowest.

    Parameters
    ----------
    offers : Offers
        What to try on each panel; where there is a choice, what brings the level lowest.
    level_w_m2 : float
        Level of the plan as it is. [W/m²]
    without : collection of str
        Panels that are not tried.
    cumulated : bool
        Try the first ones together, too.
    """
    building = trials.bench.job.building
    offered = {
        panel.id: offers.of(panel)
        for panel in (building.panels[index] for index in seen.region.panels)
        if panel.id not in without
    }
    tried_with = [
        trials.stacks({panel: offer})
        for panel, several in offered.items()
        for offer in several
        if offer != trials.plan.treatments.get(panel, ())
    ]
    found = []
    with trials.bench.expecting(tried_with):
        for panel, several in offered.items():
            worn = trials.plan.treatments.get(panel, ())
            tried = []
            for offer in several:
                level = level_w_m2 if offer == worn else trials.level_w_m2(seen, {panel: offer})
                tried.append((np.inf if level is None else level, len(offer), offer, level))
            _, _, offer, level = min(tried, key=lambda each: each[:3])
            found.append(Rank(panel=panel, treatments=offer, level_w_m2=level))
    found.sort(
        key=lambda rank: (np.inf if rank.level_w_m2 is None else rank.level_w_m2, rank.panel)
    )
    return _with_all_before(found, trials=trials, seen=seen) if cumulated else tuple(found)


def _with_all_before(ranks: Sequence[Rank], *, trials: Trials, seen: Seen) -> tuple[Rank, ...]:
    """The first ranks with the level that they and all those before them come to together.

    Panels that already have what they would be tried with are passed over.
    """
    together: dict[str, tuple[str, ...]] = {}
    found = list(ranks)
    for place, rank in enumerate(ranks):
        if rank.treatments == trials.plan.treatments.get(rank.panel, ()):
            continue
        together[rank.panel] = rank.treatments
        level = trials.level_w_m2(seen, together) if len(together) > 1 else rank.level_w_m2
        found[place] = replace(rank, with_all_before_w_m2=level)
        if len(together) == CUMULATED:
            break
    return tuple(found)
