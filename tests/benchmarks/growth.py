"""How the time of an analysis grows: with rooms, receivers, plans and sources.

    python tests/benchmarks/growth.py [rooms|all|receivers|plans|sources|tower …]

An invented tower of ten flats a storey, each a room with a window, with masts around it. Each case
is measured in a process of its own, by processor time after a small job has loaded and compiled
everything; memory is the most that process held. What was seen stands in DEVELOPERS.md.
"""

from __future__ import annotations

import itertools
import json
import math
import resource
import subprocess
import sys
import time
from collections.abc import Sequence

from envelope.building.job import Job
from envelope.exposure.analysis import analyze
from envelope.exposure.casts import cast_job
from envelope.project import load_text

ACROSS, DEEP = 5, 2  # flats of a storey
WIDE_M, LONG_M, HIGH_M = 6.0, 5.0, 2.6
LIMIT_S, LIMIT_MB = 10.0, 1000.0  # of the tower

CASES = {
    "rooms": (1, 10, 40, 100, 400),
    "all": (1, 10, 40),
    "receivers": (1, 3, 10, 30, 100),
    "plans": (1, 3, 10, 30, 100),
    "sources": (1, 3, 10, 30, 100),
}

_HEAD = """
format = 1
name = "Invented tower"
[construction]
exterior-wall = "outer"
interior-wall = "inner"
floor = "deck"
slab = "deck"
roof = "deck"
window = "pane"
[[assembly]]
id = "outer"
layers = [{ material = "concrete", thickness = "150 mm" }]
[[assembly]]
id = "inner"
layers = [{ material = "plasterboard", thickness = "25 mm" }]
[[assembly]]
id = "deck"
layers = [{ material = "concrete", thickness = "200 mm" }]
[[assembly]]
id = "pane"
layers = [{ material = "glass", thickness = "6 mm" }]
"""


def say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def tower(*, rooms: int, receivers: int = 1, plans: int = 1, sources: int = 1) -> Job:
    """A tower of so many flats; receivers stand in flats from the middle of it upwards."""
    text = [_HEAD]
    names = []
    for number in range(rooms):
        storey, place = divmod(number, ACROSS * DEEP)
        column, row = place % ACROSS, place // ACROSS
        if place == 0:
            text.append(
                f'[[storey]]\nid = "s{storey}"\nfloor = "{storey * (HIGH_M + 0.2):.2f} m"\n'
            )
        name = f"f{number}"
        names.append(name)
        text.append(
            f'[[space]]\nid = "{name}"\nstorey = "s{storey}"\nsize = "{WIDE_M} m x {LONG_M} m"\n'
            f'origin = "{column * (WIDE_M + 0.1):.2f}, {row * (LONG_M + 0.1):.2f} m"\n'
            f'height = "{HIGH_M} m"\nfurnishing = "2 m2"\n'
            f'[[opening]]\nid = "W{number}"\non = "{name}/{"north" if row else "south"}"\n'
            'kind = "window"\nat = "2 m"\nsill = "0.9 m"\nsize = "1.5 m x 1.2 m"\n'
        )
    text.append(
        '[[treatment]]\nid = "coating"\nkind = "sheet"\nsheet-resistance = "8 ohm/sq"\n'
        '[[treatment]]\nid = "film"\nkind = "sheet"\nsheet-resistance = "12 ohm/sq"\n'
    )
    for number in range(sources):
        text.append(
            f'[[source]]\nid = "mast-{number}"\nazimuth = "{(170 + 77 * number) % 360} deg"\n'
            f'elevation = "{3 + number % 7} deg"\nband = "1805-1880 MHz"\n'
            f'level = "{100 + number} uW/m2"\nscattered = 0.1\n'
        )
    first = rooms // 2
    places = [
        (names[(first + number) % rooms], 0.5 + 0.5 * (number // rooms % 10))
        for number in range(receivers)
    ]
    for number, (name, across) in enumerate(places):
        text.append(
            f'[[receiver]]\nid = "bed-{number}"\nspace = "{name}"\n'
            f'at = "{across:.2f}, 1.2, 0.7 m"\n'
        )
    room = names[first]
    faces = [f"{room}/{wall}" for wall in (1, 2, 3, 4)]
    faces += [f"{room}/ceiling", f"{room}/floor", f"{room}/W{first}"]
    for number in range(1, plans):
        treated = [face for bit, face in enumerate(faces) if number >> bit & 1]
        listed = ", ".join(
            f'{{ on = "{face}", with = "{"film" if "W" in face else "coating"}" }}'
            for face in treated
        )
        text.append(f'[[plan]]\nid = "p{number}"\ntreat = [{listed}]\n')
    return load_text("\n".join(text), path="tower.toml")


def _one(case: str, count: int) -> None:
    """Analyse one case and print its figures."""
    wanted = {"rooms": 10, "receivers": 1, "plans": 1, "sources": 1}
    if case == "all":
        wanted |= {"rooms": count, "receivers": count}
    else:
        wanted[case] = count
    warm = tower(rooms=1, plans=2)
    analyze(job=warm, casts=cast_job(warm))
    marks = [time.process_time()]
    job = tower(**wanted)
    marks.append(time.process_time())
    casts = cast_job(job)
    marks.append(time.process_time())
    analyze(job=job, casts=casts)
    marks.append(time.process_time())
    read, cast, analysed = (later - sooner for sooner, later in itertools.pairwise(marks))
    memory_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    say(json.dumps({"read": read, "cast": cast, "analyse": analysed, "mb": memory_mb}))


def measured(case: str, count: int) -> dict[str, float]:
    """Figures of a case, from a process of its own."""
    command = [sys.executable, __file__, "--one", case, str(count)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    found: dict[str, float] = json.loads(done.stdout)
    return found


def _table(case: str, counts: Sequence[int]) -> None:
    before: tuple[int, float] | None = None
    for count in counts:
        found = measured(case, count)
        total = found["read"] + found["cast"] + found["analyse"]
        exponent = ""
        if before is not None:
            power = math.log(total / before[1]) / math.log(count / before[0])
            exponent = f", exponent {power:.2f}"
        before = (count, total)
        say(
            f"{case} {count}: {total:.2f} s (read {found['read']:.2f}, cast {found['cast']:.2f}, "
            f"analyse {found['analyse']:.2f}), {found['mb']:.0f} MB{exponent}"
        )


def main() -> None:
    if sys.argv[1:2] == ["--one"]:
        _one(sys.argv[2], int(sys.argv[3]))
        return
    asked = sys.argv[1:] or [*CASES, "tower"]
    for case in asked:
        if case == "tower":
            found = measured("rooms", 400)
            total = found["read"] + found["cast"] + found["analyse"]
            kept = "kept" if total <= LIMIT_S and found["mb"] <= LIMIT_MB else "missed"
            say(
                f"tower of 400 flats, one analysed: {total:.1f} s, {found['mb']:.0f} MB "
                f"({LIMIT_S:g} s and {LIMIT_MB:g} MB: {kept})"
            )
        else:
            _table(case, CASES[case])


if __name__ == "__main__":
    main()
