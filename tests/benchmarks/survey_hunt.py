"""Faults planted in random rooms: how often the hunt names the right place first or second.

    python tests/benchmarks/survey_hunt.py --jobs 100

Each room is treated all round; then one thing is not as the plan has it: a face left untreated or
treated in part, a seam round an opening, or a source that nobody surveyed, so that the bed has at
least 3 dB more than it should. Before the work the bed and three places are read, after it the
bed and a place before every treated face, all of them single spots, with a meter that is off by
3 dB. Then the cover tests that the hunt asks for are taken in that world and told to it, one after
another; or, in place of tests, every face is scanned along its joints.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

import tomlkit
from survey_worlds import _faded, quickly, written

from envelope.building.job import CoverTest, Job, Plan, Reading, Scan, Source
from envelope.building.point_location import clearance
from envelope.exposure.model_error import shared_db
from envelope.exposure.stacks import REFLECTOR
from envelope.exposure.tolerances import TENTH
from envelope.project import load_text
from envelope.survey import binding, solve_levels
from envelope.survey.binding import question_of
from envelope.survey.faults import (
    NEW_LEVEL_DB,
    SHARES,
    Fault,
    _Change,
    _changes,
    _strangers,
)
from envelope.survey.hunt import NextTest, line_up, ranked
from envelope.survey.levels import bound_of
from envelope.survey.responses import responses

METER_DB = 3.0
KINDS = {"untreated": 0.35, "worse": 0.25, "seam": 0.2, "source": 0.2}
LEAST_DB = 3.0
BEFORE_FACE_M = 0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What was planted, and where the hunt has it."""

    kind: str
    place: str
    ranks: tuple[int, ...]  # of its place among the suspects' places, from 1, after each test
    scanned: int  # the same before any test, with every joint scanned
    masses: tuple[float, ...]  # odds that the hunt gives to its first two places
    excess_db: float  # at the bed


def treated(random: np.random.Generator) -> dict[str, Any]:
    """A job whose plan treats its room all round."""
    plain = written(random)
    for source in plain["source"]:
        if "azimuth" in source:
            source.setdefault("level", "300 uW/m2")
    second = dict(plain["opening"][0])
    side = {"south": "north", "north": "south", "west": "north"}
    second |= {"id": "W2", "on": f"room/{side[second['on'].rpartition('/')[2]]}", "at": "0.7 m"}
    plain["opening"].append(second)
    plain["plan"][0]["treat"] = [
        {"on": "room/walls", "with": "coating"},
        {"on": "room/ceiling", "with": "coating"},
        {"on": "room/windows", "with": "film"},
    ]
    plain["visit"] = [
        {"id": "before", "date": "2026-03-02"},
        {"id": "after", "date": "2026-04-20", "plan": "treated"},
    ]
    return plain


def with_places(plain: dict[str, Any]) -> dict[str, Any]:
    """The job with readings before, and after it one before every treated face."""
    plain["reading"] = []
    job = load_text(tomlkit.dumps(plain), path="job.toml")

    def add(name: str, visit: str, **where: str) -> None:
        more = {"visit": visit, "spots": 1, "tolerance": f"{METER_DB} dB", "level": "1 uW/m2"}
        plain["reading"].append({"id": name, **where, **more})

    add("bed-before", "before", receiver="bed")
    places = []
    for panel in job.building.space("room").panels:
        if panel.id in job.plan("treated").treatments and panel.kind != "reveal":
            place = panel.outline.mean(axis=0) + BEFORE_FACE_M * panel.normal
            if clearance(job.building.space("room"), place) > 0.05:
                x, y, z = place
                places.append((panel.id, f"{x:.3f}, {y:.3f}, {z:.3f} m"))
    for number, (_, at) in enumerate(places[:3]):
        add(f"before-{number}", "before", space="room", at=at)
    add("bed-after", "after", receiver="bed")
    for panel_id, at in places:
        add(f"at-{panel_id.rpartition('/')[2]}", "after", space="room", at=at)
    return plain


def judged(seed: int, *, tests: int) -> Outcome | None:
    """Plant a fault and hunt it; None where it does not raise the level at the bed enough."""
    random = np.random.default_rng((6_007, seed))
    plain = with_places(treated(random))
    job = load_text(tomlkit.dumps(plain), path="job.toml")
    world = _planted(job, random, seed)
    bed = [each.id for each in job.readings].index("bed-after")
    excess_db = 10 * float(np.log10(world.levels[bed].sum() / world.sound[bed].sum()))
    if excess_db < LEAST_DB:
        return None
    heard = responses(job, draws=1, seed=seed)
    question, places = question_of(job, heard, solved=())
    shared = shared_db() * random.standard_normal() / TENTH
    own = np.array(
        [
            random.standard_normal() * np.sqrt(question.place_covariance_db2[at, at])
            for at in range(len(places))
        ]
    )
    meter_db = METER_DB * random.standard_normal() / TENTH
    levels = world.levels
    for row, reading in enumerate(plain["reading"]):
        whole = np.append(heard.whole[row], heard.whole[row].sum())
        share = np.append(heard.direct[row], heard.direct[row].sum()) / np.maximum(whole, 1e-30)
        straight = share[: levels.shape[1]] * levels[row]
        shown = _faded(straight, levels[row] - straight, 1, random)
        error_db = shared + own[question.place[row]] + meter_db + random.standard_normal() / TENTH
        reading["level"] = f"{shown * 10 ** (error_db / 10):.6e} W/m2"
    ranks, masses = [], []
    tried: list[CoverTest] = []
    asked = solve_levels(load_text(tomlkit.dumps(plain), path="job.toml"))
    bound = bound_of(asked)
    assert bound is not None
    lineup = line_up(asked, bound)
    while True:
        found = ranked(lineup, scans=(), tests=tried)
        order = [each.name for each in found.places if each.name]
        ranks.append(1 + order.index(world.fault.place))
        masses.append(sum(sorted((e.odds for e in found.places if e.name), reverse=True)[:2]))
        if len(tried) == tests or found.test is None:
            break
        tried.append(_covered(asked, world, found.test, random, meter_db + shared))
    scans = tuple(_scanned(asked, world.fault, random))
    found = ranked(lineup, scans=scans, tests=())
    order = [each.name for each in found.places if each.name]
    ranks += ranks[-1:] * (tests + 1 - len(ranks))
    masses += masses[-1:] * (tests + 1 - len(masses))
    return Outcome(
        kind=world.fault.kind,
        place=world.fault.place,
        ranks=tuple(ranks),
        scanned=1 + order.index(world.fault.place),
        masses=tuple(masses),
        excess_db=excess_db,
    )


def _covered(
    job: Job, world: World, test: NextTest, random: np.random.Generator, error_db: float
) -> CoverTest:
    """The test that the hunt asks for, done in the world: the same spots, one fading field.

    What foil takes away fades by itself; what stays is the same wave both times.
    """
    at = next(each for each in job.readings if each.id == test.at)
    before = world.at(at, under=())
    after = world.at(at, under=test.panels)
    stays, goes = np.minimum(before, after), np.abs(before - after)
    waves = _waves(stays, test.spots, random)
    more = waves + _waves(goes, test.spots, random)
    with_more, with_less = (
        (np.abs(each) ** 2).sum(axis=0).mean() * 10 ** (random.standard_normal() / TENTH / 10)
        for each in (more, waves)
    )
    uncovered, level = (
        (with_more, with_less) if after.sum() <= before.sum() else (with_less, with_more)
    )
    factor = 10 ** (error_db / 10)
    return CoverTest(
        id=f"cover-{random.integers(10**9)}",
        on=test.on,
        panels=test.panels,
        space="room",
        position_m=at.position_m,
        receiver=at.receiver,
        uncovered_w_m2=float(uncovered) * factor,
        level_w_m2=float(level) * factor,
        spots=test.spots,
        plan="treated",
        visit="after",
    )


def _waves(power: np.ndarray, spots: int, random: np.random.Generator) -> np.ndarray:
    """Complex amplitudes (sources, spots) of diffuse fields."""
    drawn = random.standard_normal((2, len(power), spots))
    return np.asarray(np.sqrt(0.5 * power)[:, np.newaxis] * (drawn[0] + 1j * drawn[1]))


@dataclass(frozen=True, slots=True, kw_only=True)
class World:
    """What really stands there, and the levels (readings, sources) with the fault and without."""

    job: Job
    fault: Fault
    change: _Change | None
    stranger: Source | None
    stranger_level: float
    share: float
    seed: int
    member: int
    levels: np.ndarray
    sound: np.ndarray
    added: dict[str, np.ndarray] = field(default_factory=dict)  # by reading: the fault's part

    def at(self, reading: Reading, *, under: tuple[str, ...]) -> np.ndarray:
        """Levels (sources,) at a place, with faces under foil that lets a thirtieth through."""

        def drawn(job: Job, plan: Plan) -> np.ndarray:
            one = replace(reading, plan=plan)
            heard = responses(replace(job, readings=(one,)), draws=40, seed=self.seed)
            return heard.drawn[0, :, self.member] * heard.strength[:, self.member]

        def foiled(plan: Plan) -> Plan:
            worn = dict.fromkeys(under, (REFLECTOR.id,))
            return replace(plan, treatments={**plan.treatments, **worn})

        sound = drawn(self.job, foiled(reading.plan))
        if self.stranger is not None:
            names = (*reading.sources, self.stranger.id)
            louder = replace(self.job, sources=(*self.job.sources, self.stranger))
            one = replace(reading, sources=names, plan=foiled(reading.plan))
            new = responses(replace(louder, readings=(one,)), draws=1, seed=self.seed).whole[0, -1]
            return np.append(sound, new * self.stranger_level)
        if reading.id not in self.added:
            assert self.change is not None
            bare = drawn(self.job, reading.plan)
            self.added[reading.id] = self.share * (
                drawn(self.job, self.change.of(reading.plan)) - bare
            )
        added = self.added[reading.id] / (30.0 if self.fault.panel in under else 1.0)
        return np.maximum(sound + added, 0.0)


def _planted(job: Job, random: np.random.Generator, seed: int) -> World:
    """A fault, and what it does in one world."""
    world = responses(job, draws=40, seed=seed)
    member = 1 + int(random.integers(40))
    sound = world.drawn[:, :, member] * world.strength[:, member]
    kind = str(random.choice(list(KINDS), p=list(KINDS.values())))
    common: dict[str, Any] = {"job": job, "seed": seed, "member": member}
    if kind == "source":
        strangers = list(_strangers(job))
        source = strangers[int(random.integers(len(strangers)))]
        louder = replace(job, sources=(*job.sources, source))
        names = tuple(each.id for each in louder.sources)
        louder = replace(
            louder, readings=tuple(replace(each, sources=names) for each in job.readings)
        )
        level = 10 ** (random.normal(0.0, NEW_LEVEL_DB) / 10)
        new = responses(louder, draws=1, seed=seed).whole[:, -1] * level
        return World(
            **common, fault=Fault(kind="source", source=source.id, azimuth_rad=source.azimuth_rad),
            change=None, stranger=source, stranger_level=level, share=1.0,
            levels=np.column_stack((sound, new)), sound=np.column_stack((sound, 0.0 * new)),
        )  # fmt: skip
    some = [each for each in _changes(job, job.readings) if each[0].kind == kind]
    fault, change = some[int(random.integers(len(some)))]
    low, high = np.log(SHARES[fault.kind])
    share = float(np.exp(random.uniform(0.5 * (low + high), high)))
    faulty = replace(
        job,
        readings=tuple(
            replace(each, plan=change.of(each.plan)) if each.plan.treatments else each
            for each in job.readings
        ),
    )
    other = responses(faulty, draws=40, seed=seed)
    levels = other.drawn[:, :, member] * other.strength[:, member]
    return World(
        **common, fault=fault, change=change, stranger=None, stranger_level=0.0, share=share,
        levels=sound + share * (levels - sound), sound=sound,
    )  # fmt: skip


def _scanned(job: Job, fault: Fault, random: np.random.Generator) -> Iterator[Scan]:
    """A scan along the joints of every opening and treated face."""
    for panel in job.plan("treated").treatments:
        leaks = panel == fault.panel
        above = random.normal(12.0, 6.0) if leaks else random.normal(4.0, 2.5)
        yield Scan(
            id=f"scan-{panel.rpartition('/')[2]}", along=panel, edge="", plan="treated",
            level_w_m2=1e-6 * 10 ** (above / 10), beside_w_m2=1e-6,
        )  # fmt: skip


def table(found: Sequence[Outcome], rooms: int) -> str:
    """A row for each kind of fault: how many after no test, one test, two."""
    rounds = range(len(found[0].ranks))
    head = " | ".join(f"{number} tests: first, first or second" for number in rounds)
    lines = [
        f"| fault | jobs | {head} | joints scanned, no test |",
        "| --- | --- |" + " --- |" * (len(rounds) + 1),
    ]
    for kind in (*KINDS, "all"):
        some = [each for each in found if kind in (each.kind, "all")]
        cells = [
            f"{sum(e.ranks[r] == 1 for e in some)}, {sum(e.ranks[r] <= 2 for e in some)}"
            for r in rounds
        ]
        first, near = (sum(e.scanned <= r for e in some) for r in (1, 2))
        cells.append(f"{first}, {near}")
        lines.append(f"| {kind} | {len(some)} | {' | '.join(cells)} |")
    claimed = ", ".join(f"{np.mean([each.masses[r] for each in found]):.2f}" for r in rounds)
    lines.append(f"\nOdds that the hunt gives to its first two places, on the mean: {claimed}; ")
    excess = np.median([each.excess_db for each in found])
    lines.append(f"median excess at the bed {excess:.1f} dB; {rooms} rooms tried.")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--jobs", type=int, default=100)
    parser.add_argument("--first", type=int, default=0, help="the first room's number")
    parser.add_argument("--tests", type=int, default=2, help="cover tests taken as they are asked")
    options = parser.parse_args()
    quickly()
    for function, key, value in ((binding.bind, "samples", (100,)), (responses, "draws", 100)):
        assert function.__kwdefaults__ is not None  # ranks do not rest on ranges
        function.__kwdefaults__[key] = value
    found: list[Outcome] = []
    seed = options.first
    while len(found) < options.jobs:
        outcome = judged(seed, tests=options.tests)
        if outcome is not None:
            found.append(outcome)
            sys.stderr.write(f"{seed} {outcome}\n")
        seed += 1
    sys.stdout.write(table(found, seed - options.first) + "\n")


if __name__ == "__main__":
    main()
