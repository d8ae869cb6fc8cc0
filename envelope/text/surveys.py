"""Words on readings: where to hold the meter, what was found, what to do next."""

from __future__ import annotations

import numpy as np

from envelope.building.job import AS_BUILT, Job, Reading
from envelope.geometry.plane import Floats
from envelope.survey.bearings import Bearing
from envelope.survey.faults import Fault
from envelope.survey.glazing import Glazing
from envelope.survey.hunt import Hunt, NextTest, Place
from envelope.survey.meter_range import MARGIN_DB, MeterRange
from envelope.text import trade
from envelope.text.names import TODAY, face_title, listed, plan_title, shown
from envelope.text.numbers import (
    SPACE,
    area,
    decibels,
    difference_decibels,
    length,
    level,
    percent,
)

EXPECTED = (
    "Expected is the middle of what the meter may show: half of all cases lie below it, counting "
    "all that is not known, such as whether panes are coated. The level that analyze shows takes "
    "each figure at one value, so the two differ."
)
SAME_DB = 0.3  # a change below this is none
UPRIGHT = 0.1  # a face whose normal rises less than this is a wall
SURELY, HARDLY = 0.8, 0.2  # from which a reading counts as explained, up to which as not


def place_words(job: Job, reading: Reading) -> str:
    """Where to hold the meter: distances from two walls and the floor, or from the house."""
    feet = job.feet
    if reading.space is None:
        sources = listed([trade.source_title(job, name) for name in reading.sources])
        return f"outdoors, in sight of {sources}"
    if reading.receiver is not None:
        bed = trade.receiver_title(job, reading.receiver)
        return f"at {bed}, {trade.space_title(job, reading.space)}"
    space = job.building.space(reading.space)
    height = float(reading.position_m[2]) - space.floor_m
    away = _from_walls(job, reading.space, reading.position_m)
    parts = [
        f"{length(distance, feet=feet)} from {'' if wall.startswith('wall') else 'the '}{wall}"
        for wall, distance in away
    ]
    parts.append(f"{length(height, feet=feet)} above the floor")
    return f"{trade.space_title(job, reading.space)}: {', '.join(parts)}"


def _from_walls(job: Job, space: str, position_m: Floats) -> list[tuple[str, float]]:
    """The nearest wall of a room and the nearest across to it, each with its distance."""
    walls = []
    for panel in job.building.space(space).panels:
        if panel.kind != "wall" or abs(float(panel.normal[2])) > UPRIGHT:
            continue
        distance = float((position_m - panel.outline[0]) @ panel.normal)
        foot = position_m - distance * panel.normal
        flat = panel.frame.flatten(np.vstack((panel.outline, foot)))
        inside = (flat[-1] >= flat[:-1].min(axis=0) - 1e-6) & (flat[-1] <= flat[:-1].max(axis=0))
        if distance > 0.0 and inside.all():
            walls.append((distance, panel))
    walls.sort(key=lambda each: (each[0], each[1].id))
    chosen = walls[:1]
    for distance, panel in walls[1:]:
        if abs(float(panel.normal @ chosen[0][1].normal)) < 0.5:
            chosen.append((distance, panel))
            break
    return [
        (
            face_title(panel, home=panel.space),
            distance,
        )
        for distance, panel in chosen
    ]


AS_IN_USE = "as in daily use, windows shut"


def opening_states(job: Job, reading: Reading) -> list[str]:
    """Windows and doors that stand otherwise than usual while a reading is taken."""
    states = sorted(reading.plan.states.items())
    return [f"{trade.opening_title(job, name)} {state}" for name, state in states]


def state_words(job: Job, reading: Reading) -> str:
    """What differs from daily use while a reading is taken: windows, and what is off."""
    parts = opening_states(job, reading)
    if reading.off:
        off = dict.fromkeys(trade.source_title(job, name) for name in reading.off)
        parts.append(f"{listed(list(off))} off")
    return ", ".join(parts)


def explained_words(odds: float) -> str:
    """Whether a reading is explained, with the odds of it.

    Examples
    --------
    >>> explained_words(0.95), explained_words(0.5), explained_words(0.02)
    ('explained, 19 to 1', 'cannot be told', 'not explained, 49 to 1')
    """
    if odds >= SURELY:
        return f"explained, {_to_one(odds)}"
    return f"not explained, {_to_one(1.0 - odds)}" if odds <= HARDLY else "cannot be told"


def set_by(job: Job, reading: Reading) -> list[str]:
    """Sources whose level nothing gives but this reading, so that nothing can judge it."""
    return [
        source.id
        for source in job.sources
        if source.solved is not None and source.solved.readings == (reading.id,)
    ]


def verdict_words(job: Job, reading: Reading, odds: float) -> str:
    """Whether a reading is explained, or that it alone gives a source its level."""
    alone = set_by(job, reading)
    if alone and odds > HARDLY:
        return f"sets {listed([trade.source_title(job, name) for name in alone])}"
    return explained_words(odds)


def _to_one(odds: float) -> str:
    ratio = odds / max(1.0 - odds, 1e-3)
    return "100 to 1 or more" if ratio >= 100.0 else f"{ratio:.0f} to 1"


def range_words(low: float, middle: float, high: float) -> str:
    """A level with its range."""
    ends = f"{level(low, unit=False)} to {level(high, unit=False)}"
    return f"{level(middle)} ({ends})"


def difference_range_words(low_db: float, middle_db: float, high_db: float) -> str:
    """By how much a second reading differs from the first, with its range.

    Examples
    --------
    >>> difference_range_words(-6.0, -3.0, 0.5).replace(SPACE, " ")
    '−3.0 dB (−6.0 to +0.5)'
    """
    said = f"{middle_db:+.1f}{SPACE}dB ({low_db:+.1f} to {high_db:+.1f})"
    return said.replace("-", "−").replace("−0.0", "0.0").replace("+0.0", "0.0")


def step_words(reached_db: float, doubt_db: float, *, at_least: bool = False) -> str:
    """By how much a level was lowered, with the doubt of it; at least so much below a floor."""
    said = f"{reached_db:+.1f} ± {difference_decibels(doubt_db)}"
    return f"{said} or more" if at_least else said


def meter_range_words(job: Job, found: MeterRange) -> str:
    """What a meter cannot show of a promise."""
    meter, plan = shown(found.meter), plan_words(job, found.plan)
    bed = trade.receiver_title(job, found.receiver)
    start = f"At {bed} “{plan}” is to leave {level(found.left_w_m2)}"
    least = level(found.lowest_w_m2)
    if found.is_below:
        return (
            f"{start}, and {meter} shows nothing below {least}: it cannot show more than "
            f"{decibels(found.range_db)} of the {decibels(found.promised_db)} promised. Take a "
            "meter that shows less, or read with a source of your own that is stronger"
        )
    return (
        f"{start}, hardly above the least that {meter} shows, {least}: it can show "
        f"{decibels(found.range_db)}, and should show {MARGIN_DB:.0f}{SPACE}dB more than the "
        f"{decibels(found.promised_db)} promised, or its own noise counts too"
    )


def plan_words(job: Job, plan: str) -> str:
    """What had been done: today, or a plan's title."""
    return TODAY if plan == AS_BUILT else plan_title(plan, job.plan(plan).title)


def done_words(job: Job, plan: str) -> str:
    """What had been done by a reading or a visit: a plan's title in quotes, or nothing yet."""
    return "nothing yet" if plan == AS_BUILT else f"“{plan_words(job, plan)}”"


def bound_words(job: Job) -> str:
    """How many readings bind the job's figures, and what their draws are worth."""
    fitted = job.fitted
    assert fitted is not None
    used = [each for each in job.readings if not each.is_bearing]
    count = "1 reading binds" if len(used) == 1 else f"{len(used)} readings bind"
    said = f"{count} the job's figures: ranges rest on {fitted.effective:.0f} independent draws"
    if fitted.tempered < 1.0:
        said += (
            ", and were widened: readings and file agree so badly that fewer would be left. "
            "Look for a wrong figure, or hunt for a fault"
        )
    return f"{said}."


FAULTS = {
    "untreated": "left untreated",
    "worse": "treated worse than planned, or with a gap",
    "seam": "a seam or a frame that the file does not have",
    "wall": "lets more through than stated",
}
# Of a place's odds, from which a kind of fault is named there; and how many at most.
NAMED, MOST_NAMED = 0.2, 2
MOST_FITTED = 4  # windows, doors and boxes named where a wall is searched


def suspect_words(job: Job, fault: Fault) -> str:
    """What may be wrong in the house, where."""
    if fault.kind == "none":
        return "nothing but what the file has"
    if fault.kind == "source":
        if fault.azimuth_rad is not None:
            return f"a source that nobody surveyed, from about {np.degrees(fault.azimuth_rad):.0f}°"
        space = trade.space_title(job, fault.source.removeprefix("unsurveyed-"))
        return f"a source that nobody surveyed, in {space}"
    return f"{_face(job, fault.panel)}: {FAULTS[fault.kind]}"


def suspected_place_words(job: Job, place: Place) -> str:
    """A place to look at, with the faults that are likely there."""
    first = place.suspects[0].fault
    if first.kind in ("none", "source"):
        return suspect_words(job, first)
    named = [each for each in place.suspects if each.odds >= NAMED * place.odds][:MOST_NAMED]
    kinds = "; or ".join(FAULTS[each.fault.kind] for each in named)
    return f"{_face(job, place.name)}: {kinds}"


def _face(job: Job, name: str) -> str:
    panel = job.building.panel(name)
    return face_title(panel, home=panel.space)


def _short(job: Job, place: Place) -> str:
    """A place alone, without what may be wrong there."""
    first = place.suspects[0].fault
    return suspect_words(job, first) if first.kind == "source" else _face(job, place.name)


def alike_words(job: Job, found: Hunt) -> str:
    """Which places the readings cannot tell from the likeliest one; "" where they part all."""
    by_name = {each.name: each for each in found.likely_places}
    first = next((each for each in found.places if each.name), None)
    if first is None or not found.alike:
        return ""
    others = listed([_short(job, by_name[name]) for name in found.alike if name in by_name])
    return (
        f"The readings cannot tell {_short(job, first)} from {others}: each would show the same "
        "there, within what a reading scatters"
    )


def next_test_words(job: Job, test: NextTest) -> str:
    """What to do next, so that the suspects part."""
    panels = [job.building.panel(name) for name in test.panels]
    what = listed([_face(job, name) for name in test.panels])
    foil = area(sum(panel.area_m2 for panel in panels), feet=job.feet)
    if len(panels) > 1:
        what, foil = f"{what} at once", f"{foil} in all"
    at = next((each for each in job.readings if each.id == test.at), None)
    where = shown(test.at) if at is None else place_words(job, at)
    other = (
        "stays within a few tenths of a decibel"
        if abs(test.else_db) < SAME_DB
        else f"changes by about {difference_decibels(test.else_db)}"
    )
    return (
        f"Cover {what} with foil ({foil}), its "
        "edges taped to what is around it and well clear of outlets and anything live, and read "
        f"as for {shown(test.at)} ({where}) just before and just after, at the same {test.spots} "
        f"spots: the level falls by about {difference_decibels(test.falls_db)} if the leak is "
        f"there, and {other} if it is elsewhere. Write both in as a [[cover-test]] "
        f'(on = "{test.on}", uncovered, level), and run this again. Where '
        "much foil is needed, scan the joints of the suspects first, as [[scan]] rows"
    )


def look_here_words(job: Job, name: str) -> str:
    """What to do at the one face that is left: covering it further tells nothing more."""
    panel = job.building.panel(name)
    fitted = dict.fromkeys(
        face_title(each, home=panel.space)
        for each in job.building.panels
        if each.host == panel.id and each.kind not in ("seam", "reveal")
    )
    round_them = f", round {listed(list(fitted)[:MOST_FITTED])}" if fitted else ""
    return (
        f"Go over {_face(job, name)} with the meter a hand's breadth off, along its edges and "
        f"joints{round_them}, and mend what is found. Then read at the same places again and write "
        "that in as a later visit: the steps above say whether the promise is kept"
    )


def source_test_words(job: Job, place: Place) -> str:
    """How to make sure of a source that nobody surveyed, which no foil shows."""
    first = place.suspects[0].fault
    if first.azimuth_rad is not None:
        return (
            "For a source outdoors: read outdoors on that side with a directional antenna, facing "
            "one azimuth after another, and write the round in as readings with facing"
        )
    space = trade.space_title(job, first.source.removeprefix("unsurveyed-"))
    return (
        f"For a source in {space}: read there near whatever may send, and at the bed with it on "
        "and off"
    )


def glass_words(job: Job, found: Glazing) -> str:
    """What a pair of readings, through an open window and a shut one, says of its glass."""
    sure = max(found.odds_coated, 1.0 - found.odds_coated)
    odds = f"{sure / max(1.0 - sure, 1e-2):.0f} to 1"
    what = {
        True: f"its glass is coated, {odds}",
        False: f"its glass is plain, {odds}",
        None: "this does not tell coated glass from plain",
    }[found.coated]
    start = (
        f"Readings {shown(found.open_reading)} and {shown(found.shut_reading)}: shut, "
        f"{trade.opening_title(job, found.opening)} lowers the reading by "
        f"{decibels(found.measured_db)} "
        f"(give or take {decibels(found.doubt_db)}): {what}"
    )
    if found.coated is None:
        return f"{start}. Read close to the window, at more spots."
    said = f"the job says {shown(found.said)}, which would make it {decibels(found.said_db)}"
    if abs(found.said_db - found.measured_db) <= found.doubt_db:
        return f"{start}; {said}."
    return (
        f"{start}, most like {found.nearest} ({decibels(found.nearest_db)}); {said}: "
        "correct its assembly."
    )


def bearing_words(job: Job, bearing: Bearing) -> str:
    """Where a source was found to stand, beside what the file says."""
    what = listed([trade.source_title(job, name) for name in bearing.sources])
    when = f" on visit {shown(bearing.visit)}" if bearing.visit else ""
    start = f"Bearing of {what}{when}, {len(bearing.readings)} readings"
    if not bearing.is_found:
        return f"{start}: nothing stands out; it arrives from all sides, or more turns are needed."
    azimuth, doubt = np.degrees(bearing.azimuth_rad), np.degrees(bearing.doubt_rad)
    said = f"{start}: azimuth {azimuth:.0f}° ± {doubt:.0f}°"
    said += f", {percent(bearing.even_share)} from all sides"
    if bearing.stated_rad is None:
        return f"{said}."
    stated = np.degrees(bearing.stated_rad)
    verdict = "which agrees" if bearing.agrees else "which it does not agree with: correct it"
    return f"{said}; the file says {stated:.0f}°, {verdict}."
