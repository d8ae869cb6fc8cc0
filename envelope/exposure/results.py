"""What an analysis finds, as records: the one thing that tables, JSON, pictures and pages read."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from envelope.building.job import SourceMeasure
from envelope.exposure.decibels import reduction_db
from envelope.exposure.differences import Difference, LevelDraws
from envelope.geometry.plane import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelLeak:
    """One panel of the receiver's room: what comes in by it now, and what treating it does.

    Levels are direct and diffuse, of all sources, or of an isotropic field of 1 W/m² outside
    where the job has none or was asked about one. Infinite losses stand as ``math.inf``.
    """

    panel: str
    kind: str
    treatments: tuple[str, ...]
    area_m2: float
    solid_angle_sr: float  # of its exposed directions
    loss_db: float  # of the mean transmission over them, at the receiver's reference band
    open_equivalent_solid_angle_sr: float  # at that band
    share: float  # of the level, followed through the coupled rooms
    direct_share: float  # of the receiver's open-equivalent solid angle at that band
    is_gap: bool  # mean transmission above the threshold's at that band
    treated_with: tuple[str, ...] = ()  # what it was tried with; () where nothing was tried
    level_if_treated_w_m2: float | None = None
    below_if_treated_db: float | None = None  # below the level now; negative where it gets worse
    level_with_all_before_w_m2: float | None = None  # with those before it in the list treated too


@dataclass(frozen=True, slots=True, kw_only=True)
class BandResult:
    """A receiver in one band: solid angles, an isotropic field, and which sources send in it."""

    frequency_hz: float  # the band's centre
    unshielded_solid_angle_sr: float
    unshielded_error_sr: float  # see `solid_angles`
    open_equivalent_solid_angle_sr: float
    isotropic_direct: float  # of an isotropic field of one unit outside
    isotropic_diffuse: float  # NaN where casts leave out the isotropic field
    isotropic_as_built: float | None = None  # both with no treatment; None where this is that
    sources: tuple[str, ...] = ()
    low_w_m2: float | None = None  # 10–90 % band of these sources together
    high_w_m2: float | None = None

    @property
    def isotropic_level(self) -> float:
        """What an isotropic field of one unit outside comes to, direct and diffuse."""
        return self.isotropic_direct + self.isotropic_diffuse

    @property
    def isotropic_reduction_db(self) -> float:
        """How far that lies below the field outside. [dB]"""
        return reduction_db(1.0, self.isotropic_level)

    @property
    def isotropic_below_as_built_db(self) -> float:
        """How far it lies below the same with no treatment. [dB]"""
        before = self.isotropic_as_built
        return 0.0 if before is None else reduction_db(before, self.isotropic_level)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Landing:
    """Where a beam through one panel lands: a panel of the space, or a receiver's box."""

    on: str  # panel id, or receiver id
    area_m2: float
    polygons: tuple[Floats, ...]  # each (n, 3) [m]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LeakPath:
    """Source × panel × where the beam lands. Ranked by what it brings to the receiver."""

    panel: str
    kind: str
    treatments: tuple[str, ...]
    lit_area_m2: float  # projected along the source's direction
    loss_db: float  # mean over its lit area, all the way from the source
    level_w_m2: float  # direct, at the receiver, through this panel
    share: float  # of the source's direct level at the receiver
    is_gap: bool
    landings: tuple[Landing, ...]
    let_in_m2: float = 0.0  # lit area times transmission: what feeds the room


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A part of one source's level by the panel that it first came in by."""

    panel: str
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceResult:
    """What one source brings to one receiver."""

    id: str
    frequency_hz: float
    outside_w_m2: float
    direct_w_m2: float
    diffuse_w_m2: float
    level_w_m2: float
    low_w_m2: float | None  # 10–90 % band of the level; None where it was not asked for
    high_w_m2: float | None
    reduction_db: float  # below the level outside
    below_as_built_db: float  # below the level at the same place with no treatment
    lit_area_m2: float  # NaN, as is the next, and no paths where casts leave out what is lit
    unshielded_area_m2: float
    unshielded_solid_angle_sr: float | None  # None for a point
    paths: tuple[LeakPath, ...]
    as_built_w_m2: float | None = None  # level with no treatment; None where this is that level
    round_outside_w_m2: float = 0.0  # bound of what leaves other rooms and comes in from outdoors
    entries: tuple[Entry, ...] = ()  # where it comes in, direct and diffuse, the most first

    @property
    def main_entry(self) -> Entry | None:
        """The panel that over half of it first came in by, direct and diffuse, if any."""
        first = self.entries[0] if self.entries else None
        return first if first is not None and first.share > 0.5 else None

    def times(self, factor: float) -> SourceResult:
        """The result with its levels times a factor, as readings show them."""
        if factor == 1.0:
            return self
        return replace(
            self,
            direct_w_m2=factor * self.direct_w_m2,
            diffuse_w_m2=factor * self.diffuse_w_m2,
            level_w_m2=factor * self.level_w_m2,
            reduction_db=reduction_db(self.outside_w_m2, factor * self.level_w_m2),
            paths=tuple(replace(path, level_w_m2=factor * path.level_w_m2) for path in self.paths),
            round_outside_w_m2=factor * self.round_outside_w_m2,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelSum:
    """Levels of several sources at one receiver, added in power. [W/m²]

    Of an isotropic field, the one outside is 1.
    """

    outside_w_m2: float
    direct_w_m2: float
    diffuse_w_m2: float
    level_w_m2: float  # direct and diffuse
    as_built_w_m2: float  # with no treatment
    low_w_m2: float | None
    high_w_m2: float | None

    @property
    def reduction_db(self) -> float:
        """How far the sum lies below the one outside. [dB]"""
        return reduction_db(self.outside_w_m2, self.level_w_m2)

    @property
    def below_as_built_db(self) -> float:
        """How far the sum lies below the one at the same place with no treatment. [dB]"""
        return reduction_db(self.as_built_w_m2, self.level_w_m2)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WorstPoint:
    """The point of a box receiver that is worst off."""

    position_m: Floats
    isotropic_reduction_db: float  # at the reference band
    open_equivalent_solid_angle_sr: float  # at that band
    level_w_m2: float  # all sources


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReceiverResult:
    """One receiver under one plan. A box stands as the mean over its points."""

    id: str
    space: str
    position_m: Floats
    points: int
    exposed_solid_angle_sr: float
    exposed_above_horizon_sr: float
    closure_error_sr: float
    standard_error: float  # of the open-equivalent solid angle, relative; see `solid_angles`
    asked_error: float | None  # at most so large, and so that of what is unshielded; see `Sampling`
    rays: int  # cast in all directions
    reference_band: int  # of `bands`: the one that losses and shares of solid angle are of
    bands: tuple[BandResult, ...]
    sources: tuple[SourceResult, ...]
    low_w_m2: float | None  # 10–90 % band of all sources together
    high_w_m2: float | None
    panels: tuple[PanelLeak, ...]  # of its room, the one first whose treatment helps most
    own_share: float = 0.0  # of the level, from a source in the receiver's own room
    isotropic_ranks: bool = False  # panels are those of an isotropic field, not of the sources
    against_as_built: Difference | None = None  # of all sources; None where nothing was drawn
    worst: WorstPoint | None = None
    title: str = ""  # what the client calls it

    @property
    def name(self) -> str:
        """What people read."""
        return self.title or self.id

    def __repr__(self) -> str:
        level = f"{1e6 * self.level_w_m2:.4g} µW/m², " if self.sources else ""
        return f"<ReceiverResult {self.id!r}: {level}{len(self.gaps)} gaps>"

    @property
    def unshielded_error(self) -> float:
        """Largest error of a band's unshielded solid angle, relative to the whole sphere."""
        return max(band.unshielded_error_sr for band in self.bands) / (4.0 * math.pi)

    @property
    def is_as_exact_as_asked(self) -> bool:
        """Whether both standard errors came to what was asked for, if anything was."""
        largest = max(self.standard_error, self.unshielded_error)
        return self.asked_error is None or largest <= self.asked_error

    @property
    def level_w_m2(self) -> float:
        """Level of all sources together. [W/m²]"""
        return sum(source.level_w_m2 for source in self.sources)

    @property
    def outside_w_m2(self) -> float:
        """The same with every building removed. [W/m²]"""
        return sum(source.outside_w_m2 for source in self.sources)

    def added(self, sources: Sequence[SourceResult], *, band: BandResult | None = None) -> LevelSum:
        """Some sources added; their 10–90 % band is that of `band`, or of all together."""
        held = self if band is None else band
        return LevelSum(
            outside_w_m2=sum(source.outside_w_m2 for source in sources),
            direct_w_m2=sum(source.direct_w_m2 for source in sources),
            diffuse_w_m2=sum(source.diffuse_w_m2 for source in sources),
            level_w_m2=sum(source.level_w_m2 for source in sources),
            as_built_w_m2=sum(
                source.level_w_m2 if source.as_built_w_m2 is None else source.as_built_w_m2
                for source in sources
            ),
            low_w_m2=held.low_w_m2,
            high_w_m2=held.high_w_m2,
        )

    @property
    def total(self) -> LevelSum:
        """All sources together."""
        return self.added(self.sources)

    @property
    def reference(self) -> BandResult:
        """The band that figures of geometry are reported at where one stands for all."""
        return self.bands[self.reference_band]

    @property
    def headline(self) -> LevelSum:
        """The level that a plan is judged by: of all sources, or of an isotropic field of 1."""
        return self.total if self.sources else self.isotropic(self.reference)

    def isotropic(self, band: BandResult) -> LevelSum:
        """An isotropic field of one unit in a band, as a level."""
        before = band.isotropic_as_built
        return LevelSum(
            outside_w_m2=1.0,
            direct_w_m2=band.isotropic_direct,
            diffuse_w_m2=band.isotropic_diffuse,
            level_w_m2=band.isotropic_level,
            as_built_w_m2=band.isotropic_level if before is None else before,
            low_w_m2=None,
            high_w_m2=None,
        )

    def in_band(self, band: BandResult) -> LevelSum:
        """The sources of one of the bands together."""
        inside = [source for source in self.sources if source.id in band.sources]
        return self.added(inside, band=band)

    @property
    def gaps(self) -> tuple[PanelLeak, ...]:
        """The panels that are gaps, the one first whose treatment helps most."""
        return tuple(panel for panel in self.panels if panel.is_gap)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanResult:
    """One plan: a result for each receiver."""

    plan: str
    receivers: tuple[ReceiverResult, ...]
    draws: LevelDraws | None = field(default=None, repr=False, compare=False)
    measures: Mapping[str, SourceMeasure] = field(default_factory=dict)  # as its plan has them
    moved: tuple[str, ...] = ()  # receivers that stand elsewhere under it

    def __repr__(self) -> str:
        return f"<PlanResult {self.plan!r}: {list(self.receivers[:8])}>"
