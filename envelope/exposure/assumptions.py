"""What an analysis takes for granted, and where it is poor, in words for people."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from envelope.building.islands import unbonded_plans
from envelope.building.job import Job, Source
from envelope.building.model import OPENING_KINDS
from envelope.building.source_notes import source_notes

ASSUMED_SOURCE = (
    "No source in the file: an isotropic field from all exposed directions at 2.45 GHz is assumed."
)
GEOMETRIC_HZ = 300e6  # below it a window is no larger than a wavelength or so


def hertz(value_hz: float) -> str:
    """A frequency in the unit that people say."""
    if value_hz >= 1e9:
        return f"{value_hz / 1e9:.4g} GHz"
    return f"{value_hz / 1e6:.4g} MHz"


def beyond(what: str, frequencies_hz: Iterable[float]) -> str:
    """What was used outside its range, and where.

    Examples
    --------
    >>> beyond("brick", [9e8, 8.665e8]), beyond("treatment net (a mesh, above 5 GHz)", [6e9])
    ('brick (at 866.5 MHz, 900 MHz)', 'treatment net (a mesh, above 5 GHz; at 6 GHz)')
    """
    at = f"at {', '.join(map(hertz, sorted(frequencies_hz)))})"
    return f"{what[:-1]}; {at}" if what.endswith(")") else f"{what} ({at}"


def notes_of(job: Job) -> tuple[str, ...]:
    """What to say beside the results of a job, whatever the plan."""
    return (
        *([ASSUMED_SOURCE] if job.assumed_source else []),
        *people_notes(job),
        *source_notes(job),
        *_from_below(job),
        *_long_waves(job),
        *bond_notes(job),
    )


def limits_of(job: Job) -> tuple[str, ...]:
    """The notes among them that say how results are meant and how far they hold.

    The others tell the planner what to write in the file.
    """
    return (*people_notes(job), *_from_below(job), *_long_waves(job))


def bond_notes(job: Job) -> tuple[str, ...]:
    """Where a plan coats with something that conducts and has no bond point."""
    found = unbonded_plans(job)
    if not found:
        return ()
    treatments = [
        job.treatments[name].title or name
        for name in dict.fromkeys(name for names in found.values() for name in names)
    ]
    plans = [plan.title or plan.id for plan in job.plans if plan.id in found]
    return (
        f"No bond point is in the job for {_listed(treatments)} under {_listed(plans)}: a "
        "coating that floats can stand at tens of volts near live cables, and a fault can make it "
        "live where nothing trips. Add [[bond]]; bonding is for a licensed electrician. `gapcast "
        "wiring` says what it does to the 50/60 Hz field.",
    )


def people_notes(job: Job) -> tuple[str, ...]:
    """Where somebody is taken to sleep of whom the job says nothing."""
    rooms = dict.fromkeys(receiver.space for receiver in job.receivers)
    assumed = [room for room in rooms if room not in job.occupants]
    if not assumed or not job.sources:
        return ()
    return (
        f"One adult is taken to sleep in {_listed([_space(job, room) for room in assumed])} and to "
        "absorb some of what is scattered there, as nothing else is said.",
    )


def _from_below(job: Job) -> Iterator[str]:
    low = [
        source.title or source.id
        for source in job.sources
        if source.azimuth_rad is not None and source.elevation_rad < 0.0
    ]
    if low:
        yield (
            f"The beam of {_listed(low)} comes from below the horizon as it is said to: earth "
            "behind a panel and obstacles stop it, the ground near the building does not."
        )


def _long_waves(job: Job) -> Iterator[str]:
    long = [source for source in job.sources if _centre_hz(source) < GEOMETRIC_HZ]
    if not long or not job.receivers:
        return
    lowest = min(long, key=_centre_hz)
    wave_m = 299_792_458.0 / _centre_hz(lowest)
    spaces = {receiver.space for receiver in job.receivers}
    corners = [
        np.vstack([panel.outline for panel in space.panels])
        for space in job.building.spaces
        if space.id in spaces
    ]
    room_m = min(float(np.ptp(each, axis=0).min()) for each in corners)
    openings = [
        float(np.linalg.norm(np.ptp(panel.outline, axis=0)))
        for panel in job.building.panels
        if panel.kind in OPENING_KINDS and panel.space in spaces
    ]
    beside = f"the least side of the room is {_about(job, room_m)}"
    if openings:
        beside = f"the largest opening is {_about(job, max(openings))} across and {beside}"
    named = _listed([source.title or source.id for source in long])
    yield (
        f"{named}: rays are too simple for waves this long ({_about(job, wave_m)} at "
        f"{hertz(_centre_hz(lowest))}, while {beside}). They bend round edges "
        "and stand in rooms; no band holds that, so take these levels as a rough guide."
    )


def _about(job: Job, length_m: float) -> str:
    """A length in two figures, in the measure of the job."""
    return f"{length_m / 0.3048:.2g} ft" if job.feet else f"{length_m:.2g} m"


def _space(job: Job, name: str) -> str:
    return job.building.space(name).title or name


def _centre_hz(source: Source) -> float:
    return 0.5 * sum(source.band_hz)


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
