"""The seam between geometry and physics: what each row of a cast lets through under a plan.

A row (see `envelope.rays`) is a patch with what stands on both of its sides. Many rows share one
stack, so stacks are listed once and rows point at them. What a stack lets through is worked out
once for a job and kept: changing one panel's treatment costs one new stack, if any.

Every element is averaged over the source's band before rays multiply them: where fringes of
several elements meet, their phases vary independently in a real building, and the mean of the
product is then the product of the means.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Collection, Hashable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from envelope.building.job import Job, Plan, Range
from envelope.building.model import Building, Panel, Patch
from envelope.building.rooms.specs import GAPS
from envelope.exposure.apertures import (
    SmallOpening,
    passed_over_area,
    small_opening,
    within_formula,
)
from envelope.exposure.assumptions import beyond
from envelope.exposure.stacks import Stacker, StackKey
from envelope.geometry.plane import Floats
from envelope.physics.apertures import TIGHTER_DB
from envelope.physics.bands import band_mean, band_nodes, cosine_bins, diffuse_mean
from envelope.physics.interpolation import even_spline
from envelope.physics.stacks import solve_many
from envelope.rays import Beam, Chain, Lit

Ints = NDArray[np.int32]
Bundle = Beam | Lit | Chain
Kept = TypeVar("Kept")

# A cone of rays meets a wall at thousands of cosines within a few degrees: the stack is solved at
# this many and joined by a cubic spline in log transmission. Measured in
# tests/envelope/exposure/test_transmission.py.
SPLINE_NODES = 65
# Cosines in each bin: at its centre alone a bare 1 Ω/sq sheet is 3 dB off near grazing, with
# three less than 0.1 dB; walls and panes are within 0.002 dB of an even field of directions.
PER_BIN = 3
MAX_PLANS = 64  # whose stacks are kept
ANGLES = np.array([0.1, 0.3, 0.5, 0.7, 0.9])  # to compare an opening with what is around it
ALL = slice(None)  # nodes of every band
_INCH_M = 0.0254
SMALLEST = 1e-300  # keeps the logarithm of a wall that lets nothing through


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stacks:
    """The stacks of a job under one plan.

    `of_row` has two entries a patch: row p is the patch whole, row ``patches + p`` the same
    without the treatments of its own panel (a ray that came in through a reveal).
    """

    keys: tuple[StackKey, ...]
    of_row: Ints
    of_face: Ints  # (patches,) what a diffuse field meets; a reveal's with the wall behind it


def stacks_of(job: Job, plan: Plan) -> Stacks:
    """List the stacks that a plan makes of a building's patches."""
    count = len(job.building.patches)
    blank = Stacks(
        keys=(),
        of_row=np.empty(2 * count, dtype=np.int32),
        of_face=np.empty(count, dtype=np.int32),
    )
    return _with_keys(blank, job=job, plan=plan, patches=job.building.patches)


def stacks_under(bench: Bench, plan: Plan) -> Stacks:
    """The stacks that a plan makes, listed once for as long as the bench stands.

    A plan is asked for by what it puts where: levels, ranks and draws ask for it in turn.
    """
    known: dict[Hashable, Stacks] = bench.kept("stacks of plans", dict)
    name = frozenset(plan.treatments.items()), frozenset(plan.assemblies.items())
    found = known.get(name)
    if found is None:
        if len(known) >= MAX_PLANS:
            known.clear()
        found = known[name] = stacks_of(bench.job, plan)
    return found


def stacks_with(stacks: Stacks, *, bench: Bench, plan: Plan, panels: Collection[str]) -> Stacks:
    """The stacks of a plan that differs from another one on a few panels only.

    Parameters
    ----------
    stacks : Stacks
        Of the other plan. Its keys keep their numbers; new ones follow.
    bench : Bench
        Of the job.
    plan : Plan
        The plan itself.
    panels : collection of str
        Ids of the panels on which the two may differ.
    """
    job = bench.job
    met = bench.kept("patches met", lambda: _patches_met(job.building))
    touched = sorted({place for panel in panels for place in met.get(panel, ())})
    return _with_keys(
        stacks, job=job, plan=plan, patches=[job.building.patches[place] for place in touched]
    )


def _patches_met(building: Building) -> dict[str, list[int]]:
    """Places of the patches whose stacks each panel's treatments decide."""
    found: dict[str, list[int]] = {}
    for place, patch in enumerate(building.patches):
        for panel in panels_met(patch, building):
            if panel is not None:
                found.setdefault(panel, []).append(place)
    return found


def panels_met(patch: Patch, building: Building) -> frozenset[str | None]:
    """Panels whose treatments decide what a patch's stacks are."""
    met = [patch.panel, patch.far]
    holder = _holder_of(building.panel(patch.panel))
    if holder is not None:
        met += [holder, _beside(holder, building).far]
    return frozenset(met)


def _with_keys(stacks: Stacks, *, job: Job, plan: Plan, patches: Iterable[Patch]) -> Stacks:
    """The stacks with those of some patches written anew."""
    listed = {key: number for number, key in enumerate(stacks.keys)}
    count = len(job.building.patches)
    of_row, of_face = stacks.of_row.copy(), stacks.of_face.copy()

    def number(key: StackKey) -> int:
        return listed.setdefault(key, len(listed))

    for patch in patches:
        bare = _bare_key(patch, job=job, plan=plan)
        face = _face_key(patch, bare, job=job, plan=plan)
        is_reveal = job.building.panel(patch.panel).kind == "reveal"
        jamb = StackKey(near=face.near, assembly=None, forward=True, far=())
        of_row[patch.index] = number(jamb if is_reveal else face)
        of_row[count + patch.index] = number(bare)
        of_face[patch.index] = number(face)
    return Stacks(keys=tuple(listed), of_row=of_row, of_face=of_face)


def _holder_of(panel: Panel) -> str | None:
    """The panel that a seam or a bare opening is cut into: a film's edge into its film."""
    return panel.opening if panel.filled else panel.host


def _beside(holder: str, building: Building) -> Patch:
    """The patch of a panel that stands around what is cut into it."""
    return max(building.patches_of[holder], key=lambda each: each.area_m2)


def _bare_key(patch: Patch, *, job: Job, plan: Plan) -> StackKey:
    """A patch without the treatments of its own panel."""
    building = job.building
    element = building.elements[patch.element]
    panel = building.panel(patch.panel)
    side = panel.host if panel.kind == "reveal" else panel.id  # a jamb is its wall's flank
    return StackKey(
        near=(),
        assembly=plan.assemblies.get(patch.panel, element.assembly),
        forward=element.first == side,
        far=treatments_on(plan, patch.far) if patch.far is not None else (),
    )


def _face_key(patch: Patch, bare: StackKey, *, job: Job, plan: Plan) -> StackKey:
    """A patch with everything on both of its sides, as a slot or hole where it is one."""
    building = job.building
    panel = building.panel(patch.panel)
    # Beside a reveal the host's own assembly is met, whatever is on the host's own face.
    face = StackKey(
        near=treatments_on(plan, panel.id),
        assembly=bare.assembly,
        forward=bare.forward,
        far=bare.far,
    )
    small = small_opening(panel)
    if panel.id.rpartition("/")[2] in GAPS and bare.assembly is not None:
        small = None  # the strip beside a sash that is shut: part of its pane
    holder = _holder_of(panel)
    if small is None or holder is None:
        return face
    bare_around = _bare_key(_beside(holder, building), job=job, plan=plan)
    around = replace(bare_around, near=treatments_on(plan, holder))
    return replace(face, opening=small, around=around)


def treatments_on(plan: Plan, panel: str) -> tuple[str, ...]:
    """Treatments that a plan puts on a panel."""
    found: tuple[str, ...] = plan.treatments.get(panel, ())
    return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tables:
    """What every stack of a plan does at bin centres: each (stacks, bins, bands, 2)."""

    stacks: Stacks
    log_transmission: Floats  # -inf never: see SMALLEST
    near_reflection: Floats
    log_at_nodes: tuple[Floats, ...]  # of each stack (bins * PER_BIN, bands, 2): see `node_cosines`


def node_cosines(bins: int) -> tuple[Floats, Floats]:
    """Cosines at which stacks are solved for their means over bins, and weights that sum to 1."""
    return cosine_bins(count=bins, per_bin=PER_BIN)


@dataclass(slots=True, kw_only=True, eq=False)
class Bench:
    """Works out and keeps what the stacks of a job do, band by band.

    Parameters
    ----------
    job : Job
        Its assemblies, treatments and materials; plans come later.
    bands_hz : tuple of (low, high)
        Bands that powers are averaged over.
    bins : int
        Bins of the cosine of incidence.
    """

    job: Job
    bands_hz: tuple[Range, ...]
    bins: int
    _stacker: Stacker = field(init=False)
    _weights: list[Floats] = field(init=False)
    _binned: dict[StackKey, tuple[Floats, Floats]] = field(default_factory=dict)
    _at_nodes: dict[StackKey, Floats] = field(default_factory=dict)  # log transmission
    _along: dict[tuple[int, int], _Along] = field(default_factory=dict)
    _kept: dict[Hashable, Any] = field(default_factory=dict)
    _number_of: dict[StackKey, int] = field(default_factory=dict)
    _numbered: tuple[Stacks, NDArray[np.int64]] | None = None  # the latest
    _expected: tuple[tuple[Stacks, NDArray[np.int64]], ...] = ()  # with their numbers
    _beyond: dict[str, dict[float, None]] = field(default_factory=dict)  # see `extrapolated`

    def __post_init__(self) -> None:
        nodes = [band_nodes(lowest_hz=low, highest_hz=high) for low, high in self.bands_hz]
        self._weights = [weight for _, weight in nodes]
        self._stacker = Stacker(
            job=self.job,
            frequency_hz=np.concatenate([frequency for frequency, _ in nodes]),
        )

    def of(self, job: Job) -> Bench:
        """A bench for the job with other sources or receivers, which shares all that is kept."""
        found = copy.copy(self)
        found.job = job
        return found

    def kept(self, name: Hashable, make: Callable[[], Kept]) -> Kept:
        """What `make` gave the first time: for what depends on the job alone, not on a plan."""
        if name not in self._kept:
            self._kept[name] = make()
        found: Kept = self._kept[name]
        return found

    @contextmanager
    def expecting(self, several: Iterable[Stacks]) -> Iterator[None]:
        """While it lasts, what is worked out for one of some stacks is worked out for all of them.

        Stacks of plans and trials have most of their layers in common, and solving a few of them
        takes as long as solving one.
        """
        before = self._expected
        self._expected = tuple((stacks, self._numbers(stacks)) for stacks in several)
        try:
            yield
        finally:
            self._expected = before

    def expected_keys(self, stacks: Stacks) -> tuple[StackKey, ...]:
        """Keys of some stacks, and of those that are expected after them."""
        listed = dict.fromkeys(stacks.keys)
        for each, _ in self._expected:
            listed.update(dict.fromkeys(each.keys))
        return tuple(listed)

    @property
    def extrapolated(self) -> tuple[str, ...]:
        """What was used outside the range of its source or formula."""
        data = (
            (what, self._centres_of(nodes_hz))
            for what, nodes_hz in self._stacker.extrapolated.items()
        )
        return tuple(beyond(*each) for each in (*data, *self._beyond.items()))

    def _centres_of(self, nodes_hz: Sequence[float]) -> list[float]:
        """Middles of the bands that hold some of these nodes. [Hz]"""
        stops = np.cumsum([len(weight) for weight in self._weights])[:-1]
        of_band = np.split(self._stacker.frequency_hz, stops)
        return [
            0.5 * (low + high)
            for (low, high), nodes in zip(self.bands_hz, of_band, strict=True)
            if not set(nodes_hz).isdisjoint(nodes.tolist())
        ]

    def _nodes_of(self, band: int) -> slice:
        """Where the nodes of a band stand among those of all."""
        start = sum(len(weight) for weight in self._weights[:band])
        return slice(start, start + len(self._weights[band]))

    def _solve(
        self, keys: Sequence[StackKey], cosines: Floats, nodes: slice = ALL
    ) -> list[tuple[Floats, Floats]]:
        """Transmission and near reflection (f, a, 2) of stacks at nodes of the bands."""
        stacker = self._stacker
        if nodes != ALL:
            frequency_hz = self._stacker.frequency_hz[nodes]
            stacker = self.kept(
                ("stacker", nodes.start), lambda: Stacker(job=self.job, frequency_hz=frequency_hz)
            )
        found = solve_many(
            stacks=[stacker.items(key) for key in keys],
            frequency_hz=stacker.frequency_hz,
            cosine=cosines,
        )
        return [
            (each.transmission * self._small_factor(key, cosines, nodes), each.front_reflection)
            for key, each in zip(keys, found, strict=True)
        ]

    def _small_factor(self, key: StackKey, cosines: Floats, nodes: slice) -> Floats:
        """What a small opening passes over what its area would: the middle of the bracket."""
        if key.opening is None:
            return np.ones(1)
        ratio = passed_over_area(
            key.opening, frequency_hz=self._stacker.frequency_hz[nodes], cosines=cosines
        )
        middle = np.sqrt(ratio.low * ratio.high)
        counts = self._stands_out(key)
        self._note_small(key.opening, counts)
        return np.where(counts[nodes, np.newaxis, np.newaxis], middle, 1.0)

    def _note_small(self, opening: SmallOpening, counts: NDArray[np.bool_]) -> None:
        """Remember the bands in which a slot or hole is outside the range of its formula."""
        feet = self.job.feet
        width = f"{opening.width_m / _INCH_M:.3g} in" if feet else f"{1e3 * opening.width_m:.3g} mm"
        what = f"slots {width} wide"
        if not opening.is_slot:
            square = opening.area_m2 / _INCH_M**2
            what = (
                f"holes of {square:.3g} in²"
                if feet
                else f"holes of {1e4 * opening.area_m2:.3g} cm²"
            )
        for band, (low, high) in enumerate(self.bands_hz):
            middle = np.array([0.5 * (low + high)])
            counted = counts[self._nodes_of(band)].any()
            if counted and not within_formula(opening, frequency_hz=middle)[0]:
                self._beyond.setdefault(what, {})[float(middle[0])] = None

    def _stands_out(self, key: StackKey) -> NDArray[np.bool_]:
        """At which nodes (f,) what is around a small opening is that much tighter."""
        return self.kept(("stands out", key), lambda: self._beside_around(key))

    def _beside_around(self, key: StackKey) -> NDArray[np.bool_]:
        assert key.around is not None
        around, itself = (
            diffuse_mean(values=found.transmission, cosine=ANGLES, weight=np.ones(len(ANGLES)))
            for found in solve_many(
                stacks=[
                    self._stacker.items(key.around),
                    self._stacker.items(replace(key, opening=None, around=None)),
                ],
                frequency_hz=self._stacker.frequency_hz,
                cosine=ANGLES,
            )
        )
        return np.asarray(itself >= around * 10.0 ** (TIGHTER_DB / 10.0))

    def counts_as_small(self, key: StackKey, band: int) -> bool:
        """Whether a stack's slot or hole counts as one, rather than by its area, in a band."""
        if key.opening is None:
            return False
        return bool(self._stands_out(key)[self._nodes_of(band)].any())

    def bracket_half_width(self, key: StackKey, band: int) -> float:
        """Half the logarithm of high over low of a small opening, 0 where its area counts."""
        if key.opening is None or not self.counts_as_small(key, band):
            return 0.0
        low, high = self.bands_hz[band]
        ratio = passed_over_area(
            key.opening, frequency_hz=np.array([0.5 * (low + high)]), cosines=ANGLES
        )
        return float(0.5 * np.log(ratio.high / ratio.low).mean())

    def _over_bands(self, values: Floats) -> Floats:
        """Means (a, bands, 2) over each band of values (f, a, 2) at all nodes."""
        means = [
            band_mean(values=values[self._nodes_of(band)], weight=weight)
            for band, weight in enumerate(self._weights)
        ]
        return np.stack(means, axis=1)

    def tables(self, stacks: Stacks) -> Tables:
        """Tables of a plan's stacks, each value the mean over its cosine bin."""
        if any(key not in self._binned for key in stacks.keys):
            self._bin(key for key in self.expected_keys(stacks) if key not in self._binned)
        both = [self._binned[key] for key in stacks.keys]
        return Tables(
            stacks=stacks,
            log_transmission=np.stack([through for through, _ in both]),
            near_reflection=np.stack([reflected for _, reflected in both]),
            log_at_nodes=tuple(self._at_nodes[key] for key in stacks.keys),
        )

    def binned(self, key: StackKey) -> tuple[Floats, Floats]:
        """One stack's part (bins, bands, 2) of tables: log transmission and near reflection."""
        if key not in self._binned:
            self._bin((key,))
        return self._binned[key]

    def _bin(self, keys: Iterable[StackKey]) -> None:
        cosines, weight = node_cosines(self.bins)
        shares = (weight * self.bins).reshape(self.bins, PER_BIN)

        def over_bins(values: Floats) -> Floats:
            split = values.reshape(self.bins, PER_BIN, len(self.bands_hz), 2)
            return np.asarray(np.einsum("bk,bkfp->bfp", shares, split))

        missing = tuple(keys)
        for key, (passed, reflected) in zip(missing, self._solve(missing, cosines), strict=True):
            at_nodes = self._over_bands(passed)
            through = np.log(np.maximum(over_bins(at_nodes), SMALLEST))
            self._binned[key] = (through, over_bins(self._over_bands(reflected)))
            self._at_nodes[key] = np.log(np.maximum(at_nodes, SMALLEST))

    def _exactly(self, key: StackKey, cosines: Floats, band: int) -> Floats:
        """Log transmission and near reflection (n, 2, 2) in a band at given cosines."""
        ((found,),) = self._each_exactly([key], [cosines], band)
        return found

    def _each_exactly(
        self, keys: Sequence[StackKey], groups: Sequence[Floats], band: int
    ) -> list[list[Floats]]:
        """As `_exactly`, by key for groups of cosines: each is joined over its own."""
        angles: list[Floats] = []
        backs: list[NDArray[np.int64] | None] = []
        for cosines in groups:
            if _many_distinct(cosines):
                angles.append(np.linspace(cosines.min(), cosines.max(), SPLINE_NODES))
                backs.append(None)
            else:
                distinct, back = np.unique(cosines, return_inverse=True)
                angles.append(distinct)
                backs.append(back)
        weight = self._weights[band]
        ends = np.cumsum([len(each) for each in angles])[:-1]
        solved_at = np.concatenate(angles)
        if len(solved_at) == 1:
            # for one angle numpy adds up a band in another order: what else is worked out at the
            # same time would show in the last digit
            solved_at = np.repeat(solved_at, 2)
        found = []
        for passed, reflected in self._solve(keys, solved_at, self._nodes_of(band)):
            through = np.log(np.maximum(band_mean(values=passed, weight=weight), SMALLEST))
            values = np.stack((through, band_mean(values=reflected, weight=weight)), axis=1)
            found.append(
                [
                    even_spline(first=nodes[0], last=nodes[-1], values=part, at=cosines)
                    if back is None
                    else np.asarray(part[back])
                    for cosines, nodes, back, part in zip(
                        groups, angles, backs, np.split(values, ends), strict=True
                    )
                ]
            )
        return found

    def transmission_at(self, stacks: Stacks, row: int, cosine: float, band: int) -> float:
        """Transmission of a row at one angle, both polarizations alike."""
        key = stacks.keys[stacks.of_row[row]]

        def work_out() -> float:
            return float(np.exp(self._exactly(key, np.array([cosine]), band)[0, 0]).mean())

        return self.kept(("at", key, cosine, band), work_out)

    def along(self, bundle: Bundle, stacks: Stacks, band: int) -> tuple[Floats, Floats]:
        """Log transmission and near reflection of a bundle's entries at their own angles.

        Returns
        -------
        log_transmission, near_reflection : (entries, 2) float
            They hold until the next call for the same bundle and band: a plan that changes one
            stack rewrites only the entries that cross it.
        """
        found = self._along.get((id(bundle), band))
        if found is None:
            found = self._along[id(bundle), band] = _Along.of(bundle, band=band)
        wanted = self._numbers(stacks)[stacks.of_row[found.rows]]
        changed = np.flatnonzero(found.current != wanted)
        ways = [(place, int(wanted[place])) for place in changed.tolist()]
        if any(way not in found.known for way in ways):
            self._learn(found, [wanted, *self._expected_along(found)])
        for place, number in ways:
            found.values[found.entries_of[place]] = found.known[place, number]
        found.current[changed] = wanted[changed]
        return found.values[:, 0], found.values[:, 1]

    def _expected_along(self, along: _Along) -> list[NDArray[np.int64]]:
        """Numbers (r,) of the stacks that rows of a bundle have under what is expected."""
        return [numbers[stacks.of_row[along.rows]] for stacks, numbers in self._expected]

    def _numbers(self, stacks: Stacks) -> NDArray[np.int64]:
        """Numbers (stacks,) that the bench knows stacks by, whatever the plan."""
        latest = self._numbered
        if latest is None or latest[0] is not stacks:
            known = self._number_of
            numbers = np.array([known.setdefault(key, len(known)) for key in stacks.keys], int)
            latest = self._numbered = (stacks, numbers)
        return latest[1]

    def _learn(self, along: _Along, several: Sequence[NDArray[np.int64]]) -> None:
        """Work out rows under stacks of some numbers (r,); rows with the same stacks together."""
        keys = list(self._number_of)
        numbers_of: dict[int, dict[int, None]] = {}
        first = several[0]
        for wanted in several:
            # most rows have the first one's stack in all of them
            places = np.arange(len(first)) if wanted is first else np.flatnonzero(wanted != first)
            for place in places.tolist():
                if (place, number := int(wanted[place])) not in along.known:
                    numbers_of.setdefault(place, {})[number] = None
        places_of: dict[tuple[int, ...], list[int]] = {}
        for place, numbers in numbers_of.items():
            places_of.setdefault(tuple(sorted(numbers)), []).append(place)
        for alike, together_at in places_of.items():
            cosines = [along.bundle.cosines[along.entries_of[place]] for place in together_at]
            ends = np.cumsum([len(each) for each in cosines])[:-1]
            together = np.concatenate(cosines)
            spread = _many_distinct(together)  # then each row over its own few degrees
            found = self._each_exactly(
                [keys[number] for number in alike], cosines if spread else [together], along.band
            )
            for number, parts in zip(alike, found, strict=True):
                of_place = parts if spread else np.split(parts[0], ends)
                for place, values in zip(together_at, of_place, strict=True):
                    along.known[place, number] = values


def _many_distinct(cosines: Floats) -> bool:
    """Whether a stack is solved at fewer angles than these; the first of them mostly tell."""
    few = cosines[: 4 * SPLINE_NODES]
    return len(set(few.tolist())) > SPLINE_NODES or (
        len(few) < len(cosines) and len(np.unique(cosines)) > SPLINE_NODES
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Along:
    """Values of a bundle's entries in a band, under the plan that was asked for last."""

    bundle: Bundle  # kept, so that its id stays its own
    band: int
    rows: Ints  # (r,) that its entries cross
    entries_of: tuple[NDArray[np.int64], ...]  # of each of these
    values: Floats  # (entries, 2, 2)
    current: NDArray[np.int64]  # (r,) numbers of the stacks that they are of; -1 at first
    known: dict[tuple[int, int], Floats]  # by place among the rows, and number

    @classmethod
    def of(cls, bundle: Bundle, *, band: int) -> _Along:
        order = np.argsort(bundle.rows, kind="stable")
        rows, first = np.unique(bundle.rows[order], return_index=True)
        parts = np.split(order, first[1:]) if len(rows) else []  # a source that nothing lets in
        return cls(
            bundle=bundle,
            rows=rows,
            entries_of=tuple(parts),
            band=band,
            values=np.zeros((len(order), 2, 2)),
            current=np.full(len(rows), -1, dtype=np.int64),
            known={},
        )
