"""What a project file may say of visits, meters and what they showed."""

from __future__ import annotations

import datetime
import math
from typing import Annotated, Literal

from pydantic import Field

from envelope.building import job as records
from envelope.building.readings import BACK_DB
from envelope.project.schema import fields
from envelope.project.schema.fields import Choice
from envelope.project.schema.rooms import Problems, State, Table

_TURN_RAD = 2.0 * math.pi


class Meter(Table):
    """A meter: what it can show, and how its antenna hears."""

    id: fields.Id
    title: fields.Name = ""
    tolerance: fields.Decibels = Field(
        0.0, description="Half of the meter's own 10-90 % band, the same in every reading"
    )
    lowest: fields.OneLevel | None = Field(None, description="The least that it shows")
    highest: fields.OneLevel | None = Field(None, description="The most that it shows")
    beamwidth: fields.Beamwidth | None = Field(
        None, description="Of a directional antenna, at half power; none: it hears from all sides"
    )
    front_to_back: fields.Decibels = Field(
        BACK_DB, description="By how much such an antenna hears less from behind; default 15 dB"
    )

    def problems(self) -> Problems:
        if self.lowest is not None and self.highest is not None and self.lowest >= self.highest:
            yield "highest", "the most that it shows is not above the least"
        if "front-to-back" in self.given() and self.beamwidth is None:
            yield "front-to-back", "front-to-back goes with beamwidth, of a directional antenna"

    def record(self) -> records.Meter:
        """The meter, in SI."""
        return records.Meter(
            id=self.id,
            tolerance_db=self.tolerance,
            lowest_w_m2=self.lowest or 0.0,
            highest_w_m2=math.inf if self.highest is None else self.highest,
            beamwidth_rad=self.beamwidth,
            back_db=self.front_to_back,
        )


class Visit(Table):
    """One visit with the meter, and what had been done by then."""

    id: fields.Id
    date: fields.Date
    plan: fields.Reference = Field("as-built", description="As carried out by then; default none")
    title: fields.Name = ""

    def record(self) -> records.Visit:
        """The visit."""
        date = datetime.date.fromisoformat(self.date)
        return records.Visit(id=self.id, date=date, plan=self.plan, title=self.title)


class Reading(Table):
    """What a meter showed: levels and walls are settled by it."""

    id: fields.Id
    source: fields.Sources | None = Field(
        None, description="What it was taken of, one or several; default all sources together"
    )
    off: fields.Sources = Field((), description="Sources that were switched off for it")
    receiver: fields.Reference | None = Field(
        None, description="At which it was taken, in place of space and at"
    )
    space: fields.Reference | None = Field(
        None, description="In which it was taken; none: outdoors"
    )
    at: fields.Point | None = Field(
        None,
        description="In the space's coordinates, height above its floor; outdoors the building's",
    )
    level: fields.OneLevel
    shows: Annotated[
        Literal["value", "below", "above"],
        Choice(what="what a meter shows", words=("value", "below", "above")),
    ] = Field("value", description="below: less than level, the meter's floor; above: more than it")
    detector: Annotated[
        Literal["average", "peak"], Choice(what="a detector", words=("average", "peak"))
    ] = Field("average", description="peak: while the source sends; needs its duty")
    spots: fields.Spots = Field(
        1, description="Places, and directions of the antenna, averaged in power; default 1"
    )
    visit: fields.Reference | None = None
    meter: fields.Reference | None = None
    tolerance: fields.Decibels = Field(
        0.0, description="Half of the meter's own 10-90 % band; default its meter's"
    )
    facing: fields.Turn | None = Field(
        None, description="True azimuth that a directional antenna faced"
    )
    tilt: fields.Elevation = Field(0.0, description="Of that antenna, up from the horizon")
    plan: fields.Reference | None = Field(
        None, description="What had been done when it was taken; default its visit's, or nothing"
    )
    states: Annotated[dict[str, State], Field(max_length=500)] = Field(
        default_factory=dict, description="States of openings by id, where they stood so"
    )

    def problems(self) -> Problems:
        if self.receiver is not None:
            for key in ("space", "at"):
                if key in self.given():
                    yield key, f"{key} does not go with receiver, which says where it was taken"
        elif self.at is None:
            yield "at", "at is missing: say where it was taken, or receiver = with the bed's id"
        if self.source is not None and not self.source:
            yield "source", 'the list is empty: name the source, such as source = "mast"'
        for key, names in (("source", self.source or ()), ("off", self.off)):
            for name in dict.fromkeys(names):
                if names.count(name) > 1:
                    yield key, f'"{name}" is named twice'
        for name in self.off:
            if name in (self.source or ()):
                yield "off", f'"{name}" is off, so it cannot be what the reading is of'
        if "tilt" in self.given() and self.facing is None:
            yield "tilt", "tilt goes with facing, of a directional antenna"


class Scan(Table):
    """The most that a meter showed while it was moved along a joint or an edge."""

    id: fields.Id
    along: fields.Reference = Field(description="Id of the face")
    edge: fields.Name = Field("", description="In words, such as left jamb")
    level: fields.OneLevel
    beside: fields.OneLevel = Field(description="The same held a metre off in the room")
    visit: fields.Reference | None = None
    plan: fields.Reference | None = None


class CoverTest(Table):
    """Faces covered with foil for a moment: what the meter showed without the foil and with it."""

    id: fields.Id
    on: fields.Selector = Field(
        description="What was covered: the id of a face, or a group such as bedroom/windows"
    )
    receiver: fields.Reference | None = Field(
        None, description="At which both were taken, in place of space and at"
    )
    space: fields.Reference | None = Field(None, description="In which both were taken")
    at: fields.Point | None = Field(
        None, description="In the space's coordinates, height above its floor"
    )
    level: fields.OneLevel = Field(description="With it covered")
    uncovered: fields.OneLevel = Field(description="At the same spots before it was covered")
    spots: fields.Spots = Field(1, description="The same ones both times, averaged in power")
    visit: fields.Reference | None = None
    plan: fields.Reference | None = None

    def problems(self) -> Problems:
        if self.receiver is not None:
            for key in ("space", "at"):
                if key in self.given():
                    yield key, f"{key} does not go with receiver, which says where it was taken"
        elif self.space is None or self.at is None:
            key = "at" if self.space is not None else "space"
            yield key, f"{key} is missing: say in which room and where, or receiver ="


class Resistance(Table):
    """A resistance between two points of a coating."""

    id: fields.Id
    on: fields.Reference = Field(description="Id of the face")
    between: fields.Name = Field(description="In words, such as far corner and bond")
    resistance: fields.Ohms
    visit: fields.Reference | None = None

    def record(self) -> records.ResistanceReading:
        """The reading, in SI."""
        return records.ResistanceReading(
            id=self.id,
            on=self.on,
            between=self.between,
            resistance_ohm=self.resistance,
            visit=self.visit,
        )
