"""Single faults that a house may have and its file does not, and what each adds to readings.

    a panel left untreated    the plan without it
    treated worse             a share of that: a thinner coat, a hole, an edge that is not taped
    a seam or a frame         a share of the opening left open
    a wall other than stated  a share of the wall left open
    a source not surveyed     a mast in one of eight directions, a transmitter next door

The room's field hardly changes how it absorbs with so little, so that a share adds its share.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from envelope.building.job import Job, Plan, Reading, Source
from envelope.building.model import Panel
from envelope.building.sources import MIRRORED
from envelope.exposure.bands import reference_band
from envelope.exposure.stacks import REFLECTOR
from envelope.geometry.plane import Floats
from envelope.survey.responses import Stations, responses

Kind = Literal["none", "untreated", "worse", "seam", "wall", "source"]

# How likely each kind is before anything is read, shared among its candidates; common practice,
# no source.
PRIOR: dict[Kind, float] = {
    "none": 0.5,
    "untreated": 0.17,
    "worse": 0.13,
    "seam": 0.1,
    "wall": 0.05,
    "source": 0.05,
}
# Which share of the whole is there, even in its logarithm; the same.
SHARES: dict[Kind, tuple[float, float]] = {
    "untreated": (0.9, 1.0),
    "worse": (0.02, 0.5),
    "seam": (0.005, 0.2),
    "wall": (0.02, 0.5),
    "source": (1.0, 1.0),
}
AZIMUTHS = 8
ELEVATION_RAD = np.radians(5.0)
INDOOR_BAND_HZ = (2.4e9, 2.4835e9)
INDOOR_EIRP_W = 0.01
OUTDOORS = "outdoors"  # the place of a mast that nobody surveyed
NEW_LEVEL_DB = 10.0  # standard deviation of a level that nobody has surveyed; common practice


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One candidate."""

    kind: Kind
    panel: str = ""  # where it is
    source: str = ""  # of a source that is not surveyed: what it is called
    azimuth_rad: float | None = None  # of such a source outdoors
    prior: float = 0.0

    @property
    def place(self) -> str:
        """Where to look: faults at one face, or of masts all round, are sought together."""
        if self.kind != "source":
            return self.panel
        return self.source if self.azimuth_rad is None else OUTDOORS


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Effect:
    """What a fault adds to the readings where all of it is there."""

    fault: Fault
    added_w_m2: Floats  # (readings, sources) of the job's sources, at the levels that they have
    new_w_m2: Floats | None = None  # (readings,) of a source that is not among them


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class House:
    """A house as its file has it at the places of readings, and what single faults change there."""

    effects: tuple[Effect, ...]
    plain_w_m2: Floats  # (readings, sources)
    _stations: Stations
    _readings: tuple[Reading, ...]
    _sources: tuple[str, ...]

    def covered(self, panels: Sequence[str], row: int) -> tuple[Floats, dict[str, float]]:
        """Levels (sources,) at one reading with faces covered, and of sources not surveyed."""
        plan = self._readings[row].plan
        worn = dict.fromkeys(panels, (REFLECTOR.id,))
        foil = replace(plan, treatments={**plan.treatments, **worn})
        found = self._stations.levels_w_m2(foil, [self._readings[row].id])
        names = [each.fault.source for each in self.effects if each.new_w_m2 is not None]
        new = {name: float(found[0, self._stations.sources.index(name)]) for name in names}
        return _by_source(found, self._stations, self._sources)[0], new


def house_of(job: Job, readings: Sequence[Reading], sources: Sequence[str]) -> House:
    """Every single fault with what it adds to the readings.

    Parameters
    ----------
    job : Job
        Every source at the level that the columns are of.
    readings : sequence of Reading
        That the rows are of.
    sources : sequence of str
        Ids that the columns are of.
    """
    strangers = list(_strangers(job))
    stations = Stations(replace(job, readings=tuple(readings), fitted=None), strangers)
    base = _levels(stations, readings, lambda plan: plan)
    found = []
    heard = np.array([[float(name in each.sources) for name in sources] for each in readings])
    for fault, change in _changes(job, readings):

        def changed(plan: Plan, change: _Change = change) -> Plan:
            return change.of(plan)

        after = _levels(stations, readings, changed, base=base)
        added = np.where(np.isfinite(after - base), after - base, 0.0)
        found.append(Effect(fault=fault, added_w_m2=_by_source(added, stations, sources) * heard))
    outside = _strangers_outdoors(job, readings, strangers)
    for column, source in enumerate(strangers):
        new = base[:, stations.sources.index(source.id)] + outside[:, column]
        found.append(
            Effect(
                fault=Fault(kind="source", source=source.id, azimuth_rad=source.azimuth_rad),
                added_w_m2=np.zeros((len(readings), len(sources))),
                new_w_m2=new,
            )
        )
    return House(
        effects=tuple(_with_priors(found)),
        plain_w_m2=_by_source(base, stations, sources) * heard,
        _stations=stations,
        _readings=tuple(readings),
        _sources=tuple(sources),
    )


def _by_source(levels: Floats, stations: Stations, sources: Sequence[str]) -> Floats:
    """Columns of the named sources, each with its partner that the ground mirrors."""
    found = np.zeros((len(levels), len(sources)))
    for column, name in enumerate(stations.sources):
        own = name.removesuffix(MIRRORED)
        if own in sources:
            found[:, sources.index(own)] += levels[:, column]
    return found


def _strangers_outdoors(
    job: Job, readings: Sequence[Reading], strangers: Sequence[Source]
) -> Floats:
    """Levels (readings, strangers) at readings in the open air, which such a source raises too."""
    found = np.zeros((len(readings), len(strangers)))
    names = tuple(each.id for each in strangers)
    rows = [row for row, each in enumerate(readings) if each.space is None]
    if rows and names:
        asked = replace(
            job,
            sources=tuple(strangers),
            readings=tuple(replace(readings[row], sources=names, off=()) for row in rows),
            unknowns=(),
            fitted=None,
        )
        found[rows] = responses(asked, draws=1).whole
    return found


def _with_priors(found: Sequence[Effect]) -> list[Effect]:
    kinds = [each.fault.kind for each in found]
    return [
        replace(
            each,
            fault=replace(each.fault, prior=PRIOR[each.fault.kind] / kinds.count(each.fault.kind)),
        )
        for each in found
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Change:
    """What a fault does to a plan."""

    panels: tuple[str, ...]
    opened: bool  # nothing stands there, rather than what stands there without treatment

    def of(self, plan: Plan) -> Plan:
        kept = {name: worn for name, worn in plan.treatments.items() if name not in self.panels}
        if not self.opened:
            return plan if kept == plan.treatments else replace(plan, treatments=kept)
        return replace(
            plan,
            treatments=kept,
            assemblies={**plan.assemblies, **dict.fromkeys(self.panels)},
        )


def _changes(job: Job, readings: Sequence[Reading]) -> Iterator[tuple[Fault, _Change]]:
    """Faults of the house, each with what it does to a plan."""
    rooms = {each.space for each in readings if each.space is not None}
    treated = dict.fromkeys(name for each in readings for name in each.plan.treatments)
    panels = {panel.id: panel for panel in job.building.panels}
    for name in treated:
        if panels[name].kind == "reveal":
            continue
        change = _Change(panels=(name,), opened=False)
        yield Fault(kind="untreated", panel=name), change
        yield Fault(kind="worse", panel=name), change
    for panel in panels.values():
        if panel.space not in rooms:
            continue
        sides = _sides(job, panel)
        if panel.kind in ("window", "door", "skylight", "hatch"):
            yield Fault(kind="seam", panel=panel.id), _Change(panels=sides, opened=True)
        elif panel.kind in ("wall", "ceiling") and panel.host is None:
            yield Fault(kind="wall", panel=panel.id), _Change(panels=sides, opened=True)


def _sides(job: Job, panel: Panel) -> tuple[str, ...]:
    """A panel and what faces it through the same element."""
    own = {patch.element for patch in job.building.patches_of[panel.id]}
    return tuple(
        other.id
        for other in job.building.panels
        if other.id == panel.id
        or (
            other.kind == panel.kind
            and own & {patch.element for patch in job.building.patches_of[other.id]}
        )
    )


def _levels(
    stations: Stations,
    readings: Sequence[Reading],
    changed: object,
    *,
    base: Floats | None = None,
) -> Floats:
    """Nominal levels (readings, sources) with every reading's plan changed."""
    found = np.zeros((len(readings), len(stations.sources)))
    groups: dict[object, list[int]] = {}
    for row, reading in enumerate(readings):
        if reading.space is None:
            found[row] = 0.0 if base is None else base[row]
            continue
        state = (
            tuple(sorted(reading.plan.treatments.items())),
            tuple(sorted(reading.plan.states.items())),
            tuple((name, id(each)) for name, each in sorted(reading.plan.measures.items())),
        )
        groups.setdefault(state, []).append(row)
    for rows in groups.values():
        plan = readings[rows[0]].plan
        other = changed(plan)  # type: ignore[operator]
        if other is plan and base is not None:
            found[rows] = base[rows]
            continue
        found[rows] = stations.levels_w_m2(other, [readings[row].id for row in rows])
    return found


def _strangers(job: Job) -> Iterator[Source]:
    """Sources that nobody has surveyed: masts all round, a transmitter in each other room."""
    if not job.sources:
        return
    outside = [source for source in job.sources if source.azimuth_rad is not None]
    level = float(np.mean([max(each.level_w_m2.values()) for each in outside])) if outside else 1e-4
    for number in range(AZIMUTHS):
        azimuth = 2.0 * np.pi * number / AZIMUTHS
        yield Source(
            id=f"unsurveyed-{np.degrees(azimuth):.0f}",
            band_hz=_band(job),
            azimuth_rad=azimuth,
            elevation_rad=float(ELEVATION_RAD),
            spread_rad=0.0873,
            level_w_m2={"": level},
            scattered=0.1,
        )
    rooms = {receiver.space for receiver in job.receivers}
    for space in job.building.spaces:
        if space.id not in rooms:
            corners = np.concatenate([panel.outline for panel in space.panels])
            middle = 0.5 * (corners.min(axis=0) + corners.max(axis=0))
            yield Source(
                id=f"unsurveyed-{space.id}",
                band_hz=INDOOR_BAND_HZ,
                space=space.id,
                position_m=middle,
                eirp_w=INDOOR_EIRP_W,
                directivity_db=3.5,
            )


def _band(job: Job) -> tuple[float, float]:
    bands = sorted({source.band_hz for source in job.sources})
    return bands[reference_band(job)]
