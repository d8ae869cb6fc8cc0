"""What `check` and `analyze` of an imported job cost beside the same job from dimensions.

    python tests/benchmarks/imported.py

The demo house is exported as GLB and read back, and both jobs are run in turns, each command in a
process of its own, by processor time. An IFC house and an office of 99 rooms are written by the
tests' own writer; the second command has the reading that the first one kept.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "envelope" / "exchange")]


def used(folder: Path, *command: str) -> tuple[float, float]:
    """Processor time and most memory of one command. [s, MB]"""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    code = (
        "import resource, sys; from envelope.cli import main; main(sys.argv[1:]); "
        "print(max(resource.getrusage(w).ru_maxrss for w in "
        "(resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)), file=sys.stderr)"
    )
    environment = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "GAPCAST_CACHE": str(folder / "cache"),
    }
    done = subprocess.run(
        [sys.executable, "-c", code, *command],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return spent, int(done.stderr.split()[-1]) / 1000.0


def demo(folder: Path, turns: int) -> None:
    """The demo house from dimensions and from its own export."""
    shutil.copy(ROOT / "models" / "house.toml", folder / "plain.toml")
    used(folder, "export", "plain.toml", "-o", "house.glb")
    used(folder, "import", "house.glb", "-o", "imported.toml")
    for command in ("check", "analyze"):
        times: dict[str, list[float]] = {"plain.toml": [], "imported.toml": []}
        used(folder, command, "plain.toml")  # what is compiled once
        for _ in range(turns):
            for name, spent in times.items():
                spent.append(used(folder, command, name)[0])
        plain, imported = (min(spent) for spent in times.values())
        print(f"| {command} | {plain:.2f} | {imported:.2f} | {imported / plain:.2f} |")  # noqa: T201


def written_office(path: Path, *, wide: int, deep: int) -> None:
    """A grid of rooms of 4 × 3 m on one storey, a door to the east of each, windows south."""
    from conftest import House

    made = House()
    rooms = []
    for i in range(wide):
        for j in range(deep):
            x, y = 4100 * i, 3100 * j
            name = f"R{i:02d}{j:02d}"
            low, high = (x, y, 3000), (x + 4000, y + 3000, 5500)
            rooms.append(made.solid("IfcSpace", (low, high), Name=name))
            sides = {"south": ((x - 100, y - 100, 3000), (x + 4000, y, 5500)),
                     "west": ((x - 100, y, 3000), (x, y + 3000, 5500))}  # fmt: skip
            if i == wide - 1:
                sides["east"] = ((x + 4000, y - 100, 3000), (x + 4100, y + 3000, 5500))
            if j == deep - 1:
                sides["north"] = ((x - 100, y + 3000, 3000), (x + 4100, y + 3100, 5500))
            for side, box in sides.items():
                wall = made.solid("IfcWall", box, Name=f"{name} {side}")
                if side == "west" and i > 0:
                    hole = ((x - 100, y + 1000, 3000), (x, y + 1900, 5000))
                    made.opening(wall, hole, made.solid("IfcDoor", hole, Name=f"{name} door"))
                if side == "south" and j == 0:
                    hole = ((x + 1000, y - 100, 3900), (x + 2500, y, 5100))
                    made.opening(wall, hole, made.solid("IfcWindow", hole, Name=f"{name} window"))
    for name, low, high in (("floor", 2800, 3000), ("roof", 5500, 5700)):
        ends = (-100, -100, low), (4100 * wide, 3100 * deep, high)
        made.solid("IfcSlab", ends, Name=name)
    made.root("IfcRelAggregates", RelatingObject=made.storey, RelatedObjects=rooms)
    made.written(path)


def office(folder: Path, wide: int, deep: int) -> None:
    """A grid of rooms on one storey: one of them imported, then asked for again."""
    path = folder / f"office-{wide * deep}.ifc"
    written_office(path, wide=wide, deep=deep)
    name = f"R{wide // 2:02d}{deep // 2:02d}"
    first, memory = used(folder, "import", path.name, "--space", name, "-o", f"{path.stem}.toml")
    again, _ = used(folder, "check", f"{path.stem}.toml")
    print(f"| {wide * deep} rooms | {first:.1f} | {again:.1f} | {memory:.0f} |")  # noqa: T201


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--turns", type=int, default=5)
    parser.add_argument("--office", action="append", metavar="WxD")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        print("| command | from dimensions, s | imported, s | ratio |")  # noqa: T201
        print("| --- | --- | --- | --- |")  # noqa: T201
        demo(folder, options.turns)
        print("\n| office | one room imported, s | the next command, s | memory, MB |")  # noqa: T201
        print("| --- | --- | --- | --- |")  # noqa: T201
        for size in options.office or ["11x9"]:
            wide, deep = map(int, size.split("x"))
            office(folder, wide, deep)


if __name__ == "__main__":
    main()
