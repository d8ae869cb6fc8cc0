"""A job whose sources have no level of their own gets them from its readings.

    readings and sources that hear one another ─→ groups ─→ each solved by itself ─→ levels, notes

The answer depends on building, walls, sources and readings, not on plans: it is kept, so that a
job that is read again after an edit of its plans costs nothing.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Literal

import numpy as np

from envelope.building.ground_reflection import with_ground_partners, without_ground_partners
from envelope.building.job import LEVEL_TOLERANCE_DB, Job, Reading, Solved, Source
from envelope.errors import Fault, LevelsError
from envelope.geometry.plane import Floats
from envelope.survey.binding import Bound, bind
from envelope.survey.notes import (
    MOVED_DB,
    listed,
    moved_sentence,
    poor,
    sentence,
    three_digits,
    widened_sentence,
)
from envelope.survey.responses import DRAWS, Responses, answering
from envelope.survey.solving import Heard, Strengths, can_be_told_apart, solve

NOTHING = 1e-12  # of the level outside: below this a source does not get to a reading
MOST_DRAWS = 301  # that strengths are solved in, the nominal one counted
FREE = 0.5  # of what is read outdoors must come past the building
MOST = {"level_w_m2": 1e6, "eirp_w": 1e9}  # as the project file allows


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """Solved levels by source id, and what is wrong."""

    solved: Mapping[str, tuple[Solved, float]]  # with the half-width of its band [dB]
    faults: tuple[Fault, ...]
    bound: Bound | None = None  # everything as the readings leave it; None with faults


def solve_levels(job: Job, *, as_drawn: Job | None = None) -> Job:
    """Solve the levels of sources from the job's readings, and note how good they are.

    Parameters
    ----------
    job : Job
    as_drawn : Job, optional
        The job as its file has it, where `job` has rooms on other storeys: readings were taken
        in the house as it is drawn, so the levels are solved there.

    Returns
    -------
    job : Job
        Unchanged where every source has a level of its own.

    Raises
    ------
    LevelsError
        Where the readings do not give a level, with every reason.
    """
    plain = _as_read(job if as_drawn is None else as_drawn)
    missing = [
        Fault(
            message=f'source "{name}" has no level, and no reading names it: state its level or '
            "EIRP, or add a reading",
            subject=("source", name, "level"),
        )
        for name in plain.unsolved
        if not any(
            name in reading.sources and reading.shows == "value" and not reading.is_bearing
            for reading in plain.readings
        )
    ]
    if missing:
        raise LevelsError(_placed(missing, plain))
    if not plain.readings:
        return job
    found = _found(_question(plain))
    if found.faults:
        raise LevelsError(_placed(found.faults, plain))
    own = without_ground_partners(job)
    sources = tuple(_with_level(_without_solved_level(source), found) for source in own.sources)
    fitted = None if found.bound is None else found.bound.fitted
    if fitted is not None and as_drawn is not None:  # errors at places are the drawn house's
        fitted = replace(fitted, places={})
    solved = replace(own, sources=sources, fitted=fitted)
    said = [note for each in solved.solved for note in each.notes]
    said += [
        moved_sentence(each)
        for each in sources
        if each.solved is None and abs(each.moved_db) >= MOVED_DB
    ]
    if fitted is not None and fitted.tempered < 1.0:
        said.append(widened_sentence(fitted.effective))
    notes = tuple(dict.fromkeys((*job.notes, *said)))
    return with_ground_partners(replace(solved, notes=notes))


def bound_of(job: Job) -> Bound | None:
    """Everything that a job's readings leave open; None where it has none that bind.

    Parameters
    ----------
    job : Job
        From `solve_levels`, whose work is taken up.
    """
    plain = _as_read(job)
    return _found(_question(plain)).bound if plain.readings else None


def _as_read(job: Job) -> Job:
    """The job as its file has it, with the readings that tell of levels.

    Those of a bearing tell where a source stands, not how strong it is.
    """
    plain = without_ground_partners(job)
    return replace(
        plain,
        sources=tuple(map(_without_solved_level, plain.sources)),
        readings=tuple(each for each in plain.readings if not each.is_bearing),
        fitted=None,
    )


def _placed(faults: Iterable[Fault], job: Job) -> Iterator[Fault]:
    """The faults with where the project file says what they are about."""
    for fault in faults:
        table, name, key = fault.subject or ("", "", "")
        place = job.places.get((table, name, key)) or job.places.get((table, name, "id"))
        yield replace(fault, location=place)


def _without_solved_level(source: Source) -> Source:
    """The source as its file has it."""
    if source.solved is not None:
        return replace(
            source,
            level_w_m2={},
            eirp_w=None,
            level_tolerance_db=LEVEL_TOLERANCE_DB,
            moved_db=0.0,
            solved=None,
        )
    return _times(replace(source, moved_db=0.0), -source.moved_db)


def before_work(job: Job) -> Job | None:
    """The job as it was when its plans were promised: bound by what was read before any work.

    Parameters
    ----------
    job : Job
        From `solve_levels`.

    Returns
    -------
    job : Job or None
        The same one where nothing was read after work; None where only such readings give the
        level of some source, so that nothing could be promised.
    """
    before = tuple(each for each in job.readings if not each.plan.treatments)
    if len(before) == len(job.readings):
        return job
    plain = replace(_as_read(job), readings=before)
    try:
        return solve_levels(replace(plain, notes=()))
    except LevelsError:
        return None


def at_stated_levels(job: Job) -> Job:
    """A solved job with levels as they were before all readings moved them: draws are about these.

    Stated ones are then as the file has them.
    """
    back = tuple(_times(replace(each, moved_db=0.0), -each.moved_db) for each in job.sources)
    return replace(job, sources=back)


def _times(source: Source, moved_db: float) -> Source:
    """The source with another level."""
    if moved_db == 0.0:
        return source
    factor = 10.0 ** (moved_db / 10.0)
    return replace(
        source,
        level_w_m2={storey: factor * level for storey, level in source.level_w_m2.items()},
        eirp_w=None if source.eirp_w is None else factor * source.eirp_w,
    )


def _with_level(source: Source, found: Found) -> Source:
    moved_db = 0.0 if found.bound is None else found.bound.level_db.get(source.id, 0.0)
    if source.id not in found.solved:
        return replace(_times(source, moved_db), moved_db=moved_db)
    solved, tolerance_db = found.solved[source.id]
    told = replace(source, level_tolerance_db=tolerance_db, solved=solved, moved_db=moved_db)
    if solved.quantity == "eirp_w":
        return replace(told, eirp_w=solved.value)
    return replace(told, level_w_m2={"": solved.value})


# -- kept answers -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Question:
    """A job as far as its readings go: equal where the key is."""

    job: Job
    key: str
    named: tuple[str, ...]  # ids of readings as the file has them, for words

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Question) and self._whole == other._whole

    def __hash__(self) -> int:
        return hash(self._whole)

    @property
    def _whole(self) -> tuple[str, tuple[str, ...]]:
        return self.key, self.named


def _question(job: Job) -> _Question:
    """A job's question, in the order of ids.

    Errors are drawn for one source and one reading after another: else what comes out would hang
    on the order of the file.
    """
    by_id = replace(
        job,
        sources=tuple(sorted(job.sources, key=lambda each: each.id)),
        readings=tuple(sorted(job.readings, key=lambda each: each.id)),
    )
    return _Question(
        job=by_id, key=_key(by_id), named=tuple(reading.id for reading in job.readings)
    )


def _key(job: Job) -> str:
    """Everything that an answer depends on."""
    building = job.building
    return repr(
        (
            building.digest,
            [_plain(element) for element in building.elements],
            building.site.north_rad,
            [(space.id, space.storey) for space in building.spaces],
            _plain(job.assemblies),
            _plain(job.materials),
            _plain(job.sources),
            _plain(job.readings),
            _plain(job.treatments) if any(each.plan.treatments for each in job.readings) else (),
            _plain(job.receivers),
            _plain(job.unknowns),
            _plain(job.occupants),
            _plain(job.furnishing_m2),
        )
    )


def _plain(value: Any) -> Any:
    """A record as nested plain data, its numbers whole."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return [_plain(getattr(value, field.name)) for field in dataclasses.fields(value)]
    if isinstance(value, Mapping):
        return [(key, _plain(each)) for key, each in value.items()]
    if isinstance(value, tuple | list):
        return [_plain(each) for each in value]
    return value.tolist() if isinstance(value, np.ndarray) else value


@lru_cache(maxsize=8)
def _found(question: _Question) -> Found:
    job = question.job
    answer = answering(job)
    heard = answer(DRAWS)
    faults = _unheard(job, heard)
    if faults:
        return Found(solved={}, faults=tuple(faults))
    solved: dict[str, tuple[Solved, float]] = {}
    for rows, columns in _groups(job, heard):
        wrong, strengths = _solve_group(job, heard, rows, columns)
        faults += wrong
        if strengths is None:
            continue
        for place, column in enumerate(columns):
            solved[heard.sources[column]] = (
                _solved(job, heard, rows, column, strengths, place, question.named),
                float(strengths.tolerance_db[place]),
            )
    if faults:
        return Found(solved=solved, faults=tuple(faults))
    without = Found(solved=solved, faults=())
    with_levels = replace(
        job, sources=tuple(_with_level(source, without) for source in job.sources)
    )
    bound = bind(
        with_levels,
        heard,
        answer=answer,
        solved=tuple(solved),
    )
    return replace(without, solved=_as_bound(job, heard, solved, bound), bound=bound)


def _as_bound(
    job: Job, heard: Responses, solved: Mapping[str, tuple[Solved, float]], bound: Bound
) -> dict[str, tuple[Solved, float]]:
    """Solved levels as all readings leave them, where they move what is stated beside these."""
    found = dict(solved)
    for name, (each, tolerance_db) in solved.items():
        if bound.level_db[name] == 0.0:
            continue
        column = bound.sources.index(name)
        level_db = bound.cloud.level_db[column]
        low, value, high = (
            each.value * 10.0 ** (bound.cloud.quantile(level_db, share) / 10.0)
            for share in (0.1, 0.5, 0.9)
        )
        moved = replace(
            each,
            value=value,
            low=low,
            high=high,
            lowest=min(each.lowest, low),
            highest=max(each.highest, high),
        )
        rows = [row for row, reading in enumerate(job.readings) if reading.id in each.readings]
        notes = (sentence(moved), *poor(job, heard, moved, rows, column))
        found[name] = (replace(moved, notes=notes), tolerance_db)
    return found


# -- groups -------------------------------------------------------------------------------------


def _groups(job: Job, heard: Responses) -> list[tuple[list[int], list[int]]]:
    """Readings (rows) with the unknown sources (columns) that they share, group by group."""
    known = {source.id for source in job.sources if source.has_level}
    unknown = [column for column, name in enumerate(heard.sources) if name not in known]
    left, groups = dict.fromkeys(unknown), []
    while left:
        columns, rows = {next(iter(left))}, set[int]()
        while True:
            names = {heard.sources[column] for column in columns}
            rows = {
                row
                for row, each in enumerate(job.readings)
                if names & set(each.sources) and each.shows == "value"
            }
            untreated = {row for row in rows if not job.readings[row].plan.treatments}
            if len(untreated) >= len(columns):  # what a treatment does is less sure
                rows = untreated
            wider = {
                c for c in unknown if any(heard.sources[c] in job.readings[r].sources for r in rows)
            }
            if wider == columns:
                break
            columns = wider
        groups.append((sorted(rows), sorted(columns)))
        left = dict.fromkeys(column for column in left if column not in columns)
    return groups


def _unheard(job: Job, heard: Responses) -> list[Fault]:
    """Readings that a source does not get to, or gets to only through the building."""
    known = {source.id for source in job.sources if source.has_level}
    faults = []
    for row, reading in enumerate(job.readings):
        for column, name in enumerate(heard.sources):
            if name not in reading.sources:
                continue
            whole, outside = heard.whole[row, column], heard.outside[row, column]
            if len(reading.sources) > 1 and name in known:
                continue  # one of many, of which nothing need arrive here
            if whole <= NOTHING * outside:
                faults.append(
                    _fault(
                        reading,
                        "source",
                        f'nothing of "{name}" gets to this point: the ground, an obstacle or '
                        "walls that let nothing through stand in between, so the reading says "
                        "nothing of its level",
                    )
                )
            elif reading.space is None and heard.free[row, column] < FREE * whole:
                faults.append(
                    _fault(
                        reading,
                        "at",
                        f'the building stands between this point outdoors and "{name}": take a '
                        "point on the side that faces it, or one indoors with its space",
                    )
                )
    return faults


def _fault(reading: Reading, key: str, message: str) -> Fault:
    return Fault(message=message, subject=("reading", reading.id, key))


def _solve_group(
    job: Job, heard: Responses, rows: Sequence[int], columns: Sequence[int]
) -> tuple[list[Fault], Strengths | None]:
    names = [heard.sources[column] for column in columns]
    readings = [job.readings[row] for row in rows]
    them, those = listed(names), listed([reading.id for reading in readings])
    if len(rows) < len(columns):
        few = f"{len(rows)} reading{'s' if len(rows) > 1 else ''} ({those})"
        return [
            _fault(
                readings[0],
                "source",
                f"{them} are heard together in {few}: as many readings as sources are needed, "
                "at different places",
            )
        ], None
    question = _heard(job, heard, rows, columns)
    if not can_be_told_apart(question):
        return [
            _fault(
                readings[-1],
                "at",
                f"{those} hear {them} in the same proportion, so that their levels cannot be "
                "told apart: read where one of them is weak, or one at a time",
            )
        ], None
    strengths = solve(question)
    faults = []
    for place, column in enumerate(columns):
        source = _source(job, heard.sources[column])
        loudest = max(rows, key=lambda row: heard.whole[row, column])
        value, quantity = float(strengths.value[place]), _quantity(source)
        loudest_w_m2 = value * heard.whole[loudest, column]
        if loudest_w_m2 <= NOTHING * job.readings[loudest].level_w_m2:
            faults.append(
                _fault(
                    job.readings[loudest],
                    "level",
                    _nothing_left(job, heard, loudest, column),
                )
            )
        elif value > MOST[quantity]:
            faults.append(
                _fault(
                    job.readings[loudest],
                    "level",
                    f'"{source.id}" comes out at {value:.1e} {_unit(quantity)}, which no source '
                    "has: check the reading's unit, its place and the walls in between",
                )
            )
    return faults, None if faults else strengths


def _nothing_left(job: Job, heard: Responses, row: int, column: int) -> str:
    """Say that others account for a reading, and what to read instead."""
    name, reading = heard.sources[column], job.readings[row]
    start = f'the other sources account for all that is read, and nothing is left for "{name}": '
    others = [
        place
        for place, other in enumerate(heard.sources)
        if other in reading.sources and other not in job.unsolved
    ]
    if not others:
        return start + "read where it is strong and they are weak"
    most = max(others, key=lambda place: float(heard.whole[row, place]))
    strongest = heard.sources[most]
    if _source(job, strongest).position_m is None:
        try_this = "Check its level"
    else:
        try_this = f'Switch it off and read again (off = "{strongest}")'
    return (
        f'{start}"{strongest}" as stated brings {three_digits(1e6 * heard.whole[row, most])} '
        f"µW/m² there by itself, {three_digits(1e6 * reading.level_w_m2)} µW/m² are read. "
        f'{try_this}, or read "{name}" where it is strong'
    )


def _heard(job: Job, heard: Responses, rows: Sequence[int], columns: Sequence[int]) -> Heard:
    """Arrays of one group; a source counts in a reading only where the reading names it."""
    known = [c for c in range(len(heard.sources)) if c not in columns]
    unknown, rest = np.ix_(rows, columns), np.ix_(rows, known)
    readings = [job.readings[row] for row in rows]

    def of(value: str) -> Floats:
        return np.array([getattr(reading, value) for reading in readings], dtype=np.float64)

    return Heard(
        shown_w_m2=of("level_w_m2"),
        direct=heard.direct[unknown],
        spread=heard.spread[unknown],
        drawn=heard.drawn[unknown][..., :MOST_DRAWS],
        known_direct=heard.direct[rest].sum(axis=1),
        known_spread=heard.spread[rest].sum(axis=1),
        known_drawn=(heard.drawn[rest] * heard.strength[known]).sum(axis=1)[:, :MOST_DRAWS],
        spots=of("spots"),
        tolerance_db=of("tolerance_db"),
        indoors=np.array([float(reading.space is not None) for reading in readings]),
    )


# -- records ------------------------------------------------------------------------------------


def _source(job: Job, name: str) -> Source:
    return next(source for source in job.sources if source.id == name)


def _quantity(source: Source) -> Literal["level_w_m2", "eirp_w"]:
    return "level_w_m2" if source.position_m is None else "eirp_w"


def _unit(quantity: str) -> str:
    return "W/m²" if quantity == "level_w_m2" else "W"


def _solved(
    job: Job,
    heard: Responses,
    rows: Sequence[int],
    column: int,
    strengths: Strengths,
    place: int,
    named: Sequence[str],
) -> Solved:
    name = heard.sources[column]
    source = _source(job, name)
    own = [row for row in rows if name in job.readings[row].sources]
    own.sort(key=lambda row: named.index(job.readings[row].id))
    solved = Solved(
        source=name,
        quantity=_quantity(source),
        readings=tuple(job.readings[row].id for row in own),
        value=float(strengths.value[place]),
        low=float(strengths.low[place]),
        high=float(strengths.high[place]),
        lowest=float(strengths.lowest[place]),
        highest=float(strengths.highest[place]),
    )
    return replace(solved, notes=(sentence(solved), *poor(job, heard, solved, own, column)))
