"""What a project file may say of sources, and of readings of a meter."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Annotated, ClassVar, Literal

from pydantic import Field, PrivateAttr

from envelope.building import job as records
from envelope.building.job import Polarization
from envelope.building.source_measures import (
    AGREEMENTS,
    MEASURES,
    OWNERS,
    Agreement,
    Measure,
    Owner,
)
from envelope.building.unknowns import DIRECTIVITY_DB, duty_range, scattered_range
from envelope.geometry.plane import Floats
from envelope.physics.tables import services
from envelope.project.schema import fields
from envelope.project.schema.composition import of_record
from envelope.project.schema.costs import Amount
from envelope.project.schema.fields import Choice
from envelope.project.schema.rooms import (
    Problems,
    Table,
    exactly_one,
)

_TURN_RAD = 2.0 * math.pi


DEFAULT_SPREAD_RAD = 0.08726646259971647  # 5°


DEFAULT_TOLERANCE_RAD = 0.0873  # 5°, as the record has it


class SourceBand(Table):
    """One of several bands in which a transmitter sends."""

    band: fields.Band | None = None
    service: fields.Service | None = Field(None, description="Instead of band: its usual name")
    level: fields.Level | None = None
    eirp: fields.Power | None = None
    scattered: fields.Share | None = Field(None, description="Default: the source's own")

    def problems(self) -> Problems:
        yield from exactly_one(self, what="a band", of=("band", "service"), fallback="level")

    @property
    def suffix(self) -> str:
        """What tells its id from those of the source's other bands."""
        if self.service is not None:
            return re.sub(r"[^a-z0-9]+", "-", self.service.lower()).strip("-")
        assert self.band is not None
        return f"{0.5e-6 * sum(self.band):.0f}"

    @property
    def called(self) -> str:
        """What tells its title from those of the other bands."""
        return self.service if self.service is not None else f"{self.suffix} MHz"


PlanDo = Literal["leave", "move", "cable", "lower-power", "off-at-night"]
PLAN_DO: tuple[PlanDo, ...] = ("leave", *MEASURES)

# What each measure needs, and what only it takes.
_OF_MEASURE = {"move": ("to", "along", "space"), "lower-power": ("by",)}


class SourceMeasure(Table):
    """What may be done about a source at a point: it is decided before anything is bought."""

    do: Annotated[Measure, Choice(what="a measure", words=MEASURES)]
    to: fields.Point | None = Field(None, description="Of a move: the place")
    along: Annotated[list[fields.Point], Field(min_length=2, max_length=2)] | None = Field(
        None, description="Of a move, instead of to: both ends of a line on which it may stand"
    )
    space: fields.Reference | None = Field(
        None, description="Of a move: in which space; default the one that it stands in"
    )
    by: fields.Decibels | None = Field(None, description="Of lower-power: how much less it sends")
    cost: Amount | None = Field(None, description="Default nothing")
    agreed_by: Annotated[Agreement, Choice(what="who must agree", words=AGREEMENTS)] | None = Field(
        None,
        description="Who must agree; default whose it is, else the household. What a neighbour "
        "must agree to is shown, and no step counts on it",
    )

    def problems(self) -> Problems:
        for measure, keys in _OF_MEASURE.items():
            for key in sorted(self.given() & set(keys)) if measure != self.do else ():
                yield key, f'{key} goes with do = "{measure}"'
        if self.do == "move":
            yield from exactly_one(self, what="a move", of=("to", "along"), fallback="do")
        if self.do == "lower-power" and not self.by:
            yield "by", 'by is missing: say how much less it sends, such as by = "6 dB"'


class PlanMeasure(Table):
    """What a plan does about a source at a point."""

    source: fields.Reference
    do: Annotated[PlanDo, Choice(what="a measure", words=PLAN_DO)] = Field(
        description="leave takes back what the plan that it extends does"
    )
    to: fields.Point | None = Field(None, description="Of a move: the place")
    space: fields.Reference | None = Field(
        None, description="Of a move: in which space; default the one that it stands in"
    )
    by: fields.Decibels | None = Field(None, description="Of lower-power: how much less it sends")

    def problems(self) -> Problems:
        for measure, keys in _OF_MEASURE.items():
            for key in sorted(self.given() & set(keys)) if measure != self.do else ():
                yield key, f'{key} goes with do = "{measure}"'
        if self.do == "move" and self.to is None:
            yield "to", 'to is missing: say where it is moved to, such as to = "2.0, 0.6, 0.4 m"'
        if self.do == "lower-power" and not self.by:
            yield "by", 'by is missing: say how much less it sends, such as by = "6 dB"'


class Source(Table):
    """A direction outside, or a point."""

    meant: ClassVar[Mapping[str, str]] = {
        "power": "eirp",
        "frequency": "band",
        "direction": "azimuth",
        "strength": "level",
    }

    _device: str = PrivateAttr("")  # id of the table where several bands make several sources
    _device_title: str = PrivateAttr("")

    id: fields.Id
    title: fields.Name = Field("", description="What the client calls it")
    band: fields.Band | None = None
    service: fields.Service | None = Field(
        None, description="Instead of band: the service's usual name"
    )
    bands: Annotated[list[SourceBand], Field(min_length=1, max_length=20)] | None = Field(
        None,
        description="Instead of band: several, each with its level or EIRP; each counts as a "
        'source of its own, such as "mast-lte-1800"',
    )
    azimuth: fields.Turn | None = Field(None, description="True, clockwise from north")
    elevation: fields.Elevation | None = Field(None, description="Up from the horizon")
    spread: fields.Spread = Field(DEFAULT_SPREAD_RAD, description="Half-angle; default 5 deg")
    level: fields.Level | None = Field(None, description="Or leave it to a [[reading]]")
    detector: Annotated[str, Choice(what="a detector", words=("average", "peak"))] = Field(
        "average",
        description="What level shows: the average (default), or the peak while it sends, which "
        "then counts times duty",
    )
    scattered: fields.Share | None = Field(
        None,
        description="Share that arrives evenly from the exposed directions; else drawn, by "
        "line-of-sight",
    )
    line_of_sight: bool | None = Field(
        None, description="Whether its antenna can be seen from the building"
    )
    space: fields.Reference | None = Field(None, description="Of a point; none: outdoors")
    at: fields.Point | None = None
    eirp: fields.Power | None = Field(None, description="While it sends")
    duty: fields.Duty | None = Field(
        None, description="Share of the time that it sends; else drawn, by its service"
    )
    directivity: fields.Decibels | None = Field(
        None,
        description="By how much EIRP exceeds what a point radiates in all; else drawn, 2 to 5 dB",
    )
    polarization: Annotated[
        Polarization,
        Choice(what="a polarization", words=("unpolarized", "horizontal", "vertical")),
    ] = Field("unpolarized", description="Default unpolarized")
    ground_reflection: bool = Field(
        False, description="The level was measured without its mirrored partner; default false"
    )

    may: Annotated[list[SourceMeasure], Field(max_length=20)] | None = Field(
        None,
        description="What may be done about a source at a point; [] nothing. Left out, one that "
        "stands in a space, is no meter and is the household's may be switched off at night",
    )
    owner: Annotated[Owner, Choice(what="an owner", words=OWNERS)] | None = Field(
        None,
        description="Whose it is, of one at a point in the house; left out it is asked for, and "
        "no step counts on switching it off",
    )
    level_tolerance: fields.Decibels = Field(
        3.0, description="Half of the level's 10-90 % band; default 3 dB"
    )
    direction_tolerance: fields.Tolerance = Field(
        DEFAULT_TOLERANCE_RAD, description="Of its direction, the same; default 5 deg"
    )

    @property
    def device(self) -> str:
        """What its bands are called together, where it has several."""
        return self._device

    @property
    def is_point(self) -> bool:
        """Whether it is a point rather than a direction."""
        own = {"space", "at", "eirp", "directivity"}
        if "detector" not in self.given():
            own.add("duty")
        return bool(self.given() & own)

    def each_band(self) -> tuple[Source, ...]:
        """The source in each of its bands, which then are sources of their own."""
        if self.bands is None:
            if self.service is None:
                return (self,)
            found = services.BY_NAME[self.service]
            return (self.model_copy(update={"band": found.band_hz}),)
        parts: list[Source] = []
        for each in self.bands:
            said = each.model_dump(exclude_none=True, exclude={"scattered"})
            if each.scattered is not None:
                said["scattered"] = each.scattered
            if self.title and len(self.bands) > 1:
                said["title"] = f"{self.title}, {each.called}"
            one = self.model_copy(update={**said, "bands": None, "id": f"{self.id}-{each.suffix}"})
            one._device = self.id
            one._device_title = self.title
            parts += one.each_band()
        return tuple(parts)

    def _in_bands(self) -> Problems:
        """What is wrong with its bands: each states what a source of one band states."""
        key, other = ("eirp", "level") if self.is_point else ("level", "eirp")
        for index, each in enumerate(self.bands or ()):
            yield from ((f"bands.{index}.{at}", said) for at, said in each.problems())
            if key not in each.given():
                yield f"bands.{index}.{key}", f"{key} is missing: each of several bands needs it"
            if other in each.given():
                what = "at a point" if self.is_point else "in a direction"
                yield f"bands.{index}.{other}", f"{other} does not go with a source {what}"
        if self.bands is not None:
            for key in sorted(self.given() & {"level", "eirp"}):
                yield key, f"{key} stands in each of bands instead"
            suffixes = [each.suffix for each in self.bands if each.service or each.band]
            for suffix in sorted({name for name in suffixes if suffixes.count(name) > 1}):
                yield "bands", f'two of the bands would be called "{self.id}-{suffix}"'

    def problems(self) -> Problems:
        yield from exactly_one(self, what="a source", of=("band", "service", "bands"))
        yield from self._in_bands()
        direction = ("azimuth", "elevation")
        what = "a source at a point" if self.is_point else "a source in a direction"
        for key in ("at",) if self.is_point else direction:
            if key not in self.given():
                yield key, f"{key} is missing: {what} needs it"
        beam = (
            "level", "detector", "spread", "scattered", "line-of-sight", "ground-reflection",
            "direction-tolerance",
        )  # fmt: skip
        for number, measure in enumerate(self.may or ()):
            yield from ((f"may.{number}.{key}", said) for key, said in measure.problems())
        if self.may and not self.is_point:
            yield "may", "may goes with a source at a point: one far away is not moved from here"
        if self.owner is not None and self.space is None:
            yield "owner", "owner goes with a source in a space of the building"
        for key in (*direction, *beam):
            if self.is_point and key in self.given():
                yield key, f"{key} does not go with {what}"
        stated = self.eirp is not None or self.bands is not None
        if self.detector == "peak":
            if self.duty is None:
                yield (
                    "detector",
                    "a peak level needs the share of the time that the source sends, such as "
                    "duty = 0.04: the average is what counts",
                )
        elif self.duty is not None and not stated and "detector" not in self.given():
            yield (
                "duty",
                'duty goes with eirp, or with detector = "peak": a level is an average already; '
                'for readings of the peak say detector = "average" beside it',
            )
        if not self.is_point and self.azimuth is not None and self.band is not None:
            yield from of_record("source", self.record)

    def record(
        self,
        position_m: Floats | None = None,
        may: tuple[records.SourceMeasure, ...] | None = None,
    ) -> records.Source:
        """The source, in SI, at a point where it has one; of `each_band`."""
        assert self.band is not None
        return records.Source(
            id=self.id,
            title=self.title,
            band_hz=self.band,
            azimuth_rad=None if self.azimuth is None else self.azimuth % _TURN_RAD,
            elevation_rad=self.elevation or 0.0,
            spread_rad=0.0 if self.is_point else self.spread,
            level_w_m2={
                storey: level * (self._duty() if self.detector == "peak" else 1.0)
                for storey, level in (self.level or {}).items()
            },
            scattered=self._scattered(),
            line_of_sight=self.line_of_sight,
            space=self.space,
            position_m=position_m,
            eirp_w=None if self.eirp is None else self.eirp * self._duty(),
            directivity_db=self._directivity_db() if self.is_point else 0.0,
            polarization=self.polarization,
            ground_reflection=self.ground_reflection,
            level_tolerance_db=self.level_tolerance,
            direction_tolerance_rad=self.direction_tolerance,
            duty=self.duty if self.eirp is None else self._duty(),
            device=self._device,
            device_title=self._device_title,
            may=may,
            owner=self.owner,
        )

    def _scattered(self) -> float:
        """As stated, or the middle of what is drawn."""
        if self.scattered is not None:
            return self.scattered
        return 0.0 if self.is_point else scattered_range(self.line_of_sight).middle

    def _duty(self) -> float:
        """As stated, or the middle of what is drawn."""
        return duty_range(self.service).middle if self.duty is None else self.duty

    def _directivity_db(self) -> float:
        return DIRECTIVITY_DB.middle if self.directivity is None else self.directivity
