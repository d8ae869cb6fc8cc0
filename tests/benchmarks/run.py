"""Measure the ray casts beside general ray libraries and write what was seen as a table.

    python tests/benchmarks/run.py [--write DEVELOPERS.md] [--quick]

Needs the extra `bench`; a library that is not installed is named and left out. Everything is
measured in one run and the libraries in turns: the ratios are what to compare, not the times.
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from answers import Answers, answer_rows, answers
from engines import OURS
from measures import (
    Beside,
    Growth,
    Retag,
    Scenery,
    Starts,
    beside,
    bytes_per_ray,
    growth_with_panels,
    growth_with_rays,
    growth_with_rooms,
    retag_beside_cast,
    starts,
)
from scenes import ROOT, cave, house, one_room, round_room, side_by_side

BEGIN, END = "<!-- benchmarks:begin -->", "<!-- benchmarks:end -->"
LIBRARIES = ("numpy", "numba", "trimesh", "embreex", "open3d")


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """How much is measured."""

    rays: int  # of each engine
    judged: int  # of those whose answers are compared
    rounds: int
    rooms: tuple[int, ...]
    walls: tuple[int, ...]  # of one space
    bands: int  # of the cave
    cave_judged: int  # rays, since plain triangles are tried one by one
    casts: tuple[int, ...]  # rays
    memory: int  # rays


FULL = Size(
    rays=500_000,
    judged=100_000,
    rounds=5,
    rooms=(10, 30, 100, 300, 1000, 3000),
    walls=(8, 30, 100, 300, 1000, 3000, 10_000),
    bands=250,
    cave_judged=500,
    casts=(10_000, 100_000, 1_000_000, 10_000_000),
    memory=1_000_000,
)
QUICK = Size(
    rays=20_000,
    judged=2_000,
    rounds=2,
    rooms=(4, 16),
    walls=(8, 30),
    bands=12,
    cave_judged=100,
    casts=(10_000, 40_000),
    memory=40_000,
)


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table in Markdown."""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines) + "\n"


def few(value: float) -> str:
    """Two figures that count."""
    rounded = float(f"{value:.2g}")
    return f"{rounded:,.0f}" if abs(rounded) >= 10 else f"{rounded:g}"


def beside_rows(found: Scenery) -> list[list[str]]:
    """A row for each engine of a scene."""
    ours = next(each for each in found.engines if each.engine == OURS)

    def row(each: Beside) -> list[str]:
        return [
            f"{found.scene}: {found.panels:,} panels, {found.triangles:,} triangles",
            each.engine,
            few(each.rays_per_s / 1e6),
            few(each.rays_per_s / ours.rays_per_s),
            few(each.processor_rays_per_s / ours.processor_rays_per_s),
            f"{each.entries_per_ray:.2f}",
            *(
                f"{wrong.first:,} / {wrong.twice:,} / {wrong.parity:,}"
                for wrong in (each.by_chance, each.at_edges)
            ),
        ]

    return [row(each) for each in found.engines]


def growth_row(found: Growth) -> list[str]:
    """One quantity that was made larger."""
    return [
        found.what,
        " / ".join(f"{size:,}" for size in found.sizes),
        " / ".join(few(seconds / found.seconds[0]) for seconds in found.seconds),
        f"{found.exponent:.2f}",
        f"{found.exponent_at_end:.2f}",
    ]


def text_of(
    *,
    size: Size,
    beside_found: Sequence[Scenery],
    grown: Sequence[Growth],
    memory: tuple[float, float],
    retag: Retag,
    answered: Answers,
    started: Starts,
) -> str:
    """Everything that was seen, in Markdown."""
    missing = sorted({name for found in beside_found for name in found.missing})
    parts = [
        f"Crossing lists, {size.rays:,} rays by chance, libraries in turns on {machine()}. Wrong "
        f"answers are counted in {size.judged:,} rays by chance ({size.cave_judged:,} in the cave) "
        "and as many aimed at edges, a tenth of them at corners: another first wall than it is / "
        "a flat panel met twice / a closed room left more or less often than entered (of the "
        "walk: a chain of spaces that does not begin in its room). The walk's first walls are "
        "held against plain float64 triangles, the libraries' against the walk's. A library's "
        "entry is a triangle, the walk's an element with both of its sides.\n",
        table(
            [
                "scene",
                "engine",
                "Mray/s",
                "speed over this walk's",
                "the same by processor time",
                "entries a ray",
                "wrong, by chance",
                "wrong, at edges",
            ],
            [row for found in beside_found for row in beside_rows(found)],
        ),
    ]
    if missing:
        parts.append(f"Not installed here and left out: {', '.join(missing)}.\n")
    parts += [
        table(
            [
                "what grows",
                "sizes",
                "processor time, over the first",
                "exponent",
                "of the last step",
            ],
            [growth_row(each) for each in grown],
        ),
        table(
            ["what", "figure"],
            [
                ["memory of a cast, most held at once", f"{memory[0]:.0f} bytes a ray"],
                ["memory of whole crossing lists", f"{memory[1]:.0f} bytes a ray"],
                [
                    f"another plan on what was cast ({retag.job}), over casting again",
                    f"1 : {few(retag.cast_again_s / retag.retag_s)}, "
                    f"{'the same numbers' if retag.same else 'NOT the same numbers'}; "
                    f"{few(1e3 * retag.retag_s)} ms",
                ],
                *answer_rows(answered, few),
                [
                    "first cast with nothing compiled, over one with everything compiled",
                    f"{few(started.cold_s / started.warm_s)} : 1; {few(started.cold_s)} s",
                ],
                [
                    "`gapcast --help` over `python -c pass`",
                    f"{few(started.help_over_pass)} : 1",
                ],
            ],
        ),
    ]
    return "\n".join(parts)


def machine() -> str:
    """Class of the machine and what is installed; whether other work was running."""
    found = []
    for name in LIBRARIES:
        try:
            found.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            continue
    cores = os.cpu_count() or 1
    busy = os.getloadavg()[0] > 1.5 * cores if hasattr(os, "getloadavg") else False
    note = "; other work was running" if busy else ""
    return (
        f"{cores} cores ({platform.machine()}, Python {platform.python_version()}, "
        f"{', '.join(found)}{note})"
    )


def measure(size: Size) -> str:
    """Run everything; Markdown."""
    kinds = {one_room(): size.judged, house(): size.judged, cave(size.bands): size.cave_judged}
    lived_in = list(kinds)[1]
    return text_of(
        size=size,
        beside_found=[
            beside(scene, rays=size.rays, judged=judged, rounds=size.rounds)
            for scene, judged in kinds.items()
        ],
        grown=[
            growth_with_rooms(size.rooms, rounds=size.rounds),
            growth_with_rays(lived_in, size.casts, rounds=size.rounds),
            growth_with_panels(
                [side_by_side(rooms) for rooms in size.rooms],
                what="panels, rooms side by side",
                rays=size.judged // 5,
                rounds=size.rounds,
            ),
            growth_with_panels(
                [round_room(walls) for walls in size.walls],
                what="panels of one space",
                rays=size.judged // 5,
                rounds=size.rounds,
            ),
        ],
        memory=bytes_per_ray(lived_in, size.memory),
        retag=retag_beside_cast(ROOT / "models" / "house.toml", rounds=size.rounds),
        answered=answers(ROOT / "models" / "house.toml", rounds=size.rounds),
        started=starts(rounds=4 * size.rounds),
    )


def written(document: str, text: str) -> str:
    """The document with a text between its two marks."""
    before, begin, rest = document.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not begin or not end:
        raise ValueError(f"the document needs the lines {BEGIN} and {END}, in this order")
    return f"{before}{begin}\n{text}{end}{after}"


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description="Measure the casts beside general libraries.")
    parser.add_argument("--write", type=Path, help="a document with the two marks to write between")
    parser.add_argument("--quick", action="store_true", help="small sizes, to see that it runs")
    options = parser.parse_args()
    if options.write is not None:
        written(options.write.read_text(encoding="utf-8"), "")  # refused before, not after
    text = measure(QUICK if options.quick else FULL)
    sys.stdout.write(text)
    if options.write is not None:
        document = options.write.read_text(encoding="utf-8")
        options.write.write_text(written(document, text), encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
