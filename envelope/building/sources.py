"""Where energy comes from, where it is looked at and read, and what is put where. All SI.

Each record checks itself: one that cannot be raises `RecordError` with every fault.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from envelope.building import ranges
from envelope.building.refusals import Problems, in_range, is_place, refuse
from envelope.building.source_measures import Owner, SourceMeasure
from envelope.geometry.plane import Floats, frozen

Polarization = Literal["unpolarized", "horizontal", "vertical"]
Range = tuple[float, float]

AS_BUILT = "as-built"  # the plan without treatment, which always exists
MIRRORED = "-ground"  # ends the name of a source's partner that the ground mirrors
LEVEL_TOLERANCE_DB = 3.0  # 10–90 % band of a stated level; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Solved:
    """How a source's level outside, or a point's EIRP, came out of readings.

    All in W/m² for a source in a direction, in W for a point.
    """

    source: str
    quantity: Literal["level_w_m2", "eirp_w"]
    readings: tuple[str, ...]
    value: float
    low: float  # 10–90 % band
    high: float
    lowest: float  # within which it lies at least 95 times in 100
    highest: float
    notes: tuple[str, ...] = ()  # for people: what came out, and where it is poor


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Source:
    """Where energy comes from: a direction outside, or a point.

    `level_w_m2` is the scalar power density at the receiver with every building removed; it has
    one entry "" where it holds for every storey, else one entry a storey. A point source has
    `position_m` and `eirp_w` instead.
    """

    id: str
    band_hz: Range
    azimuth_rad: float | None = None  # true, clockwise from north
    elevation_rad: float = 0.0
    spread_rad: float = 0.0  # half-angle of an evenly bright cone
    level_w_m2: Mapping[str, float] = field(default_factory=dict)
    scattered: float = 0.0  # share of the level that arrives evenly from the exposed directions
    line_of_sight: bool | None = None  # whether the antenna can be seen from the building
    space: str | None = None  # of a point; None where it stands outdoors
    position_m: Floats | None = None  # (3,) in the building's coordinates
    eirp_w: float | None = None  # on the average over time
    directivity_db: float = 0.0  # of a point: what feeds a room is EIRP less this
    polarization: Polarization = "unpolarized"
    ground_reflection: bool = False  # the level was measured without its mirrored partner
    level_tolerance_db: float = LEVEL_TOLERANCE_DB
    direction_tolerance_rad: float = 0.0873  # 5°, the same
    solved: Solved | None = None  # where the level or EIRP comes from readings
    moved_db: float = 0.0  # by which readings move the level or EIRP that the file states
    title: str = ""  # what the client calls it
    duty: float | None = None  # share of the time that it sends: stated, or taken for its EIRP
    device: str = ""  # what sends in this band and in others; the source itself unless stated
    device_title: str = ""  # what the client calls the device, where it sends in several bands
    may: tuple[SourceMeasure, ...] | None = None  # what may be done about it; None: not stated
    owner: Owner | None = None  # whose it is; None: not stated

    @property
    def has_level(self) -> bool:
        """Whether its level or EIRP is known, stated or solved."""
        return bool(self.level_w_m2) or self.eirp_w is not None

    def __post_init__(self) -> None:
        if self.position_m is not None:
            object.__setattr__(self, "position_m", frozen(self.position_m))
        refuse("source", self, source_problems(self))


Head = Literal["north", "east", "south", "west"]  # towards +y, +x, -y, -x
BED_M = (0.9, 2.0)  # width, length of one adult's bed; common practice, no source
PILLOW_M = 0.3  # of the pillow's middle from the head; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Bed:
    """The bed that a receiver is in: a point is its pillow, a box the whole of it."""

    size_m: tuple[float, float] = BED_M  # width, length
    head: Head | None = None  # where it lies; None where the file does not say
    may_move: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Receiver:
    """A point or a box inside a space."""

    id: str
    space: str
    position_m: Floats  # (3,) in the building's coordinates; a box's centre
    size_m: Floats | None = None  # (3,) of a box
    title: str = ""  # what the client calls it
    bed: Bed | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "position_m", frozen(self.position_m))
        if self.size_m is not None:
            object.__setattr__(self, "size_m", frozen(self.size_m))
        refuse("receiver", self, receiver_problems(self))


def standing_at(receiver: Receiver, position_m: Floats, head: Head | None = None) -> Receiver:
    """A receiver elsewhere in its room, its bed turned with the head; a box is the whole bed.

    Parameters
    ----------
    receiver : Receiver
    position_m : (3,) float
        Of the point, or of the box's middle. [m]
    head : str, optional
        Side of the room towards which it then lies; as before unless given.
    """
    if head is None:
        return replace(receiver, position_m=position_m)
    size_m, bed = receiver.size_m, receiver.bed or Bed()
    if size_m is not None:
        wide, long = sorted(size_m[:2].tolist())
        along_y = head in ("north", "south")
        size_m = frozen((wide, long, size_m[2]) if along_y else (long, wide, size_m[2]))
        bed = receiver.bed or Bed(size_m=(wide, long))
    return replace(receiver, position_m=position_m, size_m=size_m, bed=replace(bed, head=head))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """Which panel gets which treatments: panel id → treatment ids, from the surface inward.

    A panel may also be named by an alias, a group or a glob, as in a project file; the job that
    takes the plan writes ids in their place (`Job.resolved`).

    Where a plan has a window or door in another state than the building has it, `assemblies` says
    what then stands behind each of its panels: an assembly, or None for nothing.

    `measures` says what is done about sources, each by its own id or by its device's: a
    `SourceMeasure` with one place at most, or "off-at-night" or "cable". `beds` are receivers that
    stand elsewhere under the plan.
    """

    id: str
    treatments: Mapping[str, tuple[str, ...]]
    title: str = ""
    assemblies: Mapping[str, str | None] = field(default_factory=dict)
    states: Mapping[str, str] = field(default_factory=dict)  # opening id → state, where it says so
    measures: Mapping[str, SourceMeasure] = field(default_factory=dict)
    beds: Mapping[str, Receiver] = field(default_factory=dict)  # by receiver id

    @property
    def does_nothing(self) -> bool:
        """Whether nothing is treated, moved or switched off."""
        return not (self.treatments or self.measures or self.beds)

    def __repr__(self) -> str:
        few = dict(list(self.treatments.items())[:6])
        more = f" and {len(self.treatments) - 6} more panels" if len(self.treatments) > 6 else ""
        return f"<Plan {self.id!r}: {few}{more}>"

    def __post_init__(self) -> None:
        treatments = {
            panel: (names,) if isinstance(names, str) else tuple(names)
            for panel, names in self.treatments.items()
        }
        object.__setattr__(self, "treatments", treatments)
        measures = {
            name: SourceMeasure(do=each) if isinstance(each, str) else each
            for name, each in self.measures.items()
        }
        object.__setattr__(self, "measures", measures)


def source_problems(source: Source) -> Problems:
    """What is wrong with a source by itself."""
    low, high = source.band_hz
    yield from in_range("band", ranges.BAND, source.band_hz, "band_hz")
    if high < low:
        yield "band", f"the band ends below where it begins: {high:.6g} Hz, {low:.6g} Hz"
    is_point = source.position_m is not None
    if is_point and source.azimuth_rad is not None:
        yield "azimuth", "azimuth does not go with a source at a point"
    if not is_point and source.azimuth_rad is None:
        yield "azimuth", "azimuth is missing: a source in a direction needs it"
    if source.azimuth_rad is not None and not math.isfinite(source.azimuth_rad):
        yield "azimuth", f"azimuth_rad = {source.azimuth_rad} is not a number"
    yield from in_range("elevation", ranges.ELEVATION, source.elevation_rad, "elevation_rad")
    if source.spread_rad != 0.0:
        yield from in_range("spread", ranges.SPREAD, source.spread_rad, "spread_rad")
    for level in source.level_w_m2.values():
        if level == 0.0:  # of a partner by ground reflection that nothing is mirrored to
            continue
        yield from in_range("level", ranges.LEVEL, level, "level_w_m2")
    if is_point and source.level_w_m2:
        yield "level", "level does not go with a source at a point"
    if not is_point and source.eirp_w is not None:
        yield "eirp", "eirp goes with a source at a point"
    if source.eirp_w != 0.0:  # 0 where a plan has it off
        yield from in_range("eirp", ranges.POWER, source.eirp_w, "eirp_w")
    yield from in_range("scattered", ranges.SHARE, source.scattered, "scattered")
    if source.position_m is not None:
        yield from is_place(source.position_m)
    if source.ground_reflection and source.elevation_rad < 0.0:
        yield (
            "ground-reflection",
            "ground-reflection goes with an elevation of 0 deg or more: the ground mirrors what "
            "comes from above it",
        )
    yield from in_range(
        "level-tolerance", ranges.TOLERANCE, source.level_tolerance_db, "level_tolerance_db"
    )
    yield from in_range(
        "direction-tolerance",
        ranges.DIRECTION_TOLERANCE,
        source.direction_tolerance_rad,
        "direction_tolerance_rad",
    )


def receiver_problems(receiver: Receiver) -> Problems:
    """What is wrong with a receiver by itself."""
    yield from is_place(receiver.position_m)
    if receiver.size_m is not None:
        yield from in_range("size", ranges.SIZE, receiver.size_m.tolist(), "size_m")
    if receiver.bed is not None:
        yield from in_range("bed.size", ranges.BED, list(receiver.bed.size_m), "size_m")
