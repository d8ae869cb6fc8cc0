"""Faults planted in random rooms: how often the hunt names the right place first or second.

    python tests/benchmarks/survey_hunt.py --jobs 100

Each room is treated all round; then one thing is not as the plan has it: a face left untreated or
treated in part, a seam round an opening, or a source that nobody surveyed, so that the bed has at
least 3 dB more than it should. Before the work the bed and three places are read, after it the
bed and a place before every treated face, all of them single spots, with a meter that is off by
3 dB; each joint of an opening is scanned if `--scans` is given.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

import tomlkit
from survey_worlds import _faded, quickly, written

from envelope.building.job import Job, Scan
from envelope.building.point_location import clearance
from envelope.exposure.model_error import shared_db
from envelope.exposure.tolerances import TENTH
from envelope.project import load_text
from envelope.survey import binding, solve_levels
from envelope.survey.binding import question_of
from envelope.survey.faults import SHARES, Fault, _changes, _strangers
from envelope.survey.hunt import hunt
from envelope.survey.responses import responses

METER_DB = 3.0
LEAST_DB = 3.0
BEFORE_FACE_M = 0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What was planted, and where the hunt has it."""

    kind: str
    place: str
    rank: int  # of its place among the suspects' places, from 1
    excess_db: float  # at the bed
    test_is_right: bool


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
            if clearance(job.building, "room", place) > 0.05:
                x, y, z = place
                places.append((panel.id, f"{x:.3f}, {y:.3f}, {z:.3f} m"))
    for number, (_, at) in enumerate(places[:3]):
        add(f"before-{number}", "before", space="room", at=at)
    add("bed-after", "after", receiver="bed")
    for panel_id, at in places:
        add(f"at-{panel_id.rpartition('/')[2]}", "after", space="room", at=at)
    return plain


def judged(seed: int, *, scans: bool) -> Outcome | None:
    """Plant a fault and hunt it; None where it does not raise the level at the bed enough."""
    random = np.random.default_rng((6_007, seed))
    plain = with_places(treated(random))
    job = load_text(tomlkit.dumps(plain), path="job.toml")
    fault, levels, sound = _planted(job, random, seed)
    bed = [each.id for each in job.readings].index("bed-after")
    excess_db = 10 * float(np.log10(levels[bed].sum() / sound[bed].sum()))
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
    for row, reading in enumerate(plain["reading"]):
        whole = np.append(heard.whole[row], heard.whole[row].sum())
        share = np.append(heard.direct[row], heard.direct[row].sum()) / np.maximum(whole, 1e-30)
        straight = share[: levels.shape[1]] * levels[row]
        shown = _faded(straight, levels[row] - straight, 1, random)
        error_db = shared + own[question.place[row]] + meter_db + random.standard_normal() / TENTH
        reading["level"] = f"{shown * 10 ** (error_db / 10):.6e} W/m2"
    asked = solve_levels(load_text(tomlkit.dumps(plain), path="job.toml"))
    if scans:
        asked = replace(asked, scans=tuple(_scanned(asked, fault, random)))
    found = hunt(asked)
    assert found is not None
    order = list(
        dict.fromkeys(_place(each.fault) for each in found.suspects if each.fault.kind != "none")
    )
    return Outcome(
        kind=fault.kind,
        place=_place(fault),
        rank=1 + order.index(_place(fault)),
        excess_db=excess_db,
        test_is_right=found.test is not None and found.test.panel == fault.panel,
    )


def _place(fault: Fault) -> str:
    return fault.panel or ("outdoors" if fault.source[-1:].isdigit() else fault.source)


def _planted(
    job: Job, random: np.random.Generator, seed: int
) -> tuple[Fault, np.ndarray, np.ndarray]:
    """A fault, and the levels (readings, sources) of a world with it and of one without."""
    world = responses(job, draws=40, seed=seed)
    member = 1 + int(random.integers(40))
    sound = world.drawn[:, :, member] * world.strength[:, member]
    changes = list(_changes(job, job.readings))
    kinds = ["untreated", "worse", "seam", "source"]
    kind = str(random.choice(kinds, p=[0.4, 0.25, 0.2, 0.15]))
    if kind == "source":
        strangers = list(_strangers(job))
        source = strangers[int(random.integers(len(strangers)))]
        louder = replace(job, sources=(*job.sources, source))
        names = tuple(each.id for each in louder.sources)
        louder = replace(
            louder, readings=tuple(replace(each, sources=names) for each in job.readings)
        )
        new = responses(louder, draws=1, seed=seed).whole[:, -1]
        new = new * 10 ** (random.normal(0.0, 6.0) / 10)
        new[:4] = 0.0  # it came since
        return Fault(kind="source", source=source.id), np.column_stack((sound, new)), sound
    some = [each for each in changes if each[0].kind == kind]
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
    return fault, sound + share * (levels - sound), sound


def _scanned(job: Job, fault: Fault, random: np.random.Generator) -> Iterator[Scan]:
    """A scan along the joints of every opening and treated face."""
    for panel in job.plan("treated").treatments:
        leaks = panel == fault.panel
        above = random.normal(12.0, 6.0) if leaks else random.normal(4.0, 2.5)
        yield Scan(
            id=f"scan-{panel.rpartition('/')[2]}", along=panel, edge="", plan="treated",
            level_w_m2=1e-6 * 10 ** (above / 10), beside_w_m2=1e-6,
        )  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--jobs", type=int, default=100)
    parser.add_argument("--scans", action="store_true")
    options = parser.parse_args()
    quickly()
    binding.bind.__kwdefaults__["samples"] = (300,)  # ranks do not rest on ranges
    found: list[Outcome] = []
    seed = 0
    while len(found) < options.jobs:
        outcome = judged(seed, scans=options.scans)
        if outcome is not None:
            found.append(outcome)
            sys.stderr.write(f"{seed} {outcome}\n")
        seed += 1
    hits = [each for each in found if each.rank <= 2]
    kinds = Counter(each.kind for each in found)
    right = Counter(each.kind for each in hits)
    first = sum(each.rank == 1 for each in found)
    sys.stdout.write(
        f"first or second: {len(hits)} of {len(found)}; first: {first}; by kind: "
        + ", ".join(f"{kind} {right[kind]} of {kinds[kind]}" for kind in sorted(kinds))
        + f"; median excess {np.median([each.excess_db for each in found]):.1f} dB; "
        f"{seed} rooms tried\n"
    )
    for each in found:
        if each.rank > 2:
            sys.stdout.write(f"  {each}\n")


if __name__ == "__main__":
    main()
