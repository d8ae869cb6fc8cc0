"""Broken model files of every format, and what reading them does.

    python tests/benchmarks/fuzz_models.py --count 10000 --out findings.json

Whatever a file holds, reading it ends in rooms or in one `ModelFileError`, within 60 s and 1 GB.
Anything else is a finding, told once for each place that it comes from. A number makes a file: the
same one always makes the same. Files are read in a process of their own, so that a library that
brings it down is a finding too. IFC files are read in that process as well, not in one more for
each as the program does, so that ten thousand can be read and no traceback hides in an exit code;
a file that ends it is read again as the program reads it.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import random
import re
import resource
import signal
import sys
import tempfile
import traceback
import warnings
import zipfile
from collections import Counter
from multiprocessing.connection import Connection
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "envelope" / "exchange")]

MAX_SECONDS = 60.0
MAX_BYTES = 1_000_000_000
MESHES = ("glb", "obj", "stl", "ply")  # every second one is read with rooms fitted to it
FORMATS = ("ifc", "ifczip", "xml", "glb", "obj", "stl", "ply")
_REFERENCE = {
    "ifc": rb"#\d+",
    "xml": rb'"[A-Za-z0-9-]+"|-?\d+\.?\d*',
    "obj": rb"-?\d+",
    "ply": rb"-?\d+",
}


def samples(folder: Path) -> dict[str, bytes]:
    """One small sound file of each format, all of the same two rooms."""
    import conftest
    from gbxml.test_gbxml import text, two_rooms

    from envelope.exchange import to_glb, to_obj, to_ply, to_stl

    rooms = conftest.two_rooms.__wrapped__()
    house = conftest._house().written(folder / "house.ifc").read_bytes()
    packed = folder / "house.ifczip"
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("house.ifc", house)
    return {
        "ifc": house,
        "ifczip": packed.read_bytes(),
        "xml": text(two_rooms()).encode(),
        "glb": to_glb(rooms),
        "obj": to_obj(rooms).encode(),
        "stl": to_stl(rooms),
        "ply": to_ply(rooms),
    }


def mutated(data: bytes, suffix: str, number: int) -> bytes:
    """A file with bits turned, a piece cut out or off, or references exchanged."""
    chance = random.Random(f"{suffix} {number}")
    way = chance.randrange(4)
    if way == 0:
        broken = bytearray(data)
        for _ in range(chance.choice((1, 3, 12))):
            broken[chance.randrange(len(broken))] ^= 1 << chance.randrange(8)
        return bytes(broken)
    if way == 1:
        start = chance.randrange(len(data))
        length = chance.choice((1, 20, 400, len(data)))
        return data[:start] + data[start + length :]
    pattern = _REFERENCE.get(suffix)
    if pattern is None:
        start, length = chance.randrange(len(data) - 8), chance.choice((2, 4, 8))
        other = chance.randrange(len(data) - 8)
        return data[:start] + data[other : other + length] + data[start + length :]
    found = list(re.finditer(pattern, data))
    times = chance.choice((1, 1, 4))
    broken = bytearray(data)
    for _ in range(times):
        one = chance.choice(found)
        other = chance.choice(found)[0]
        if way == 3:
            other = chance.choice((b"$", b"-1", b"1e308", b"nan", b"'x'", b"()", b"#999999"))
        width = one.end() - one.start()
        other = other[:width].ljust(width)
        broken[one.start() : one.end()] = other
    return bytes(broken)


def read(path: Path, *, fit: bool) -> str:
    """What reading a file comes to: "read", "refused", or where it failed."""
    from envelope.errors import EnvelopeError
    from envelope.exchange import read_model

    stated = {"unit": "m", "up": "z"} if path.suffix in (".obj", ".stl", ".ply") else {}
    fit = fit and path.suffix[1:] in MESHES
    try:
        read_model(path, fit=fit, **stated)
    except EnvelopeError:
        return "refused"
    except Exception as error:  # noqa: BLE001  whatever it is, it is the finding
        last = traceback.extract_tb(error.__traceback__)[-1]
        here = [
            frame for frame in traceback.extract_tb(error.__traceback__)
            if "envelope" in frame.filename
        ][-1]  # fmt: skip
        where = f"{Path(here.filename).name}:{here.lineno} > {Path(last.filename).name}"
        return f"{type(error).__name__} at {where}"
    return "read"


def work(pipe: Connection, apart: bool) -> None:
    """Read the files that are named, one after the other; `apart` as the program reads IFC."""
    from envelope.exchange import mesh_cache
    from envelope.exchange.ifc import file, model_cache

    def read_here(path: Path, *, spaceless: bool) -> object:
        read = file.read_here(path, spaceless=spaceless)
        return model_cache.from_bytes(model_cache.to_bytes(read))

    if not apart:
        file.read_apart = read_here  # type: ignore[assignment]

    model_cache.cache_folder = lambda: None  # type: ignore[assignment]
    mesh_cache.cache_folder = lambda: None

    def give_up(*_: object) -> None:
        raise TimeoutError("over the limit of time")

    signal.signal(signal.SIGALRM, give_up)
    while (asked := pipe.recv()) is not None:
        path, fit = asked
        before, started = most_bytes(), used_seconds()
        signal.alarm(int(4 * MAX_SECONDS))
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # a library's warning never reaches the user
            said = read(Path(path), fit=fit)
        signal.alarm(0)
        after, seconds = most_bytes(), used_seconds() - started
        if seconds > MAX_SECONDS:
            said = "slow"
        elif after > before and after > MAX_BYTES:
            said = "memory"
        pipe.send((said, seconds, after))


def used_seconds() -> float:
    """Processor time of this process and of those that read IFC files for it."""
    spent = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(each.ru_utime + each.ru_stime for each in spent)


def most_bytes() -> int:
    """The most memory that this process, or one that read for it, has had."""
    return 1024 * max(
        resource.getrusage(who).ru_maxrss
        for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )


def started(*, apart: bool) -> tuple[Connection, multiprocessing.process.BaseProcess]:
    """A process that reads, and this end of its pipe."""
    context = multiprocessing.get_context("spawn")
    ends, other = context.Pipe()
    worker = context.Process(target=work, args=(other, apart), daemon=True)
    worker.start()
    other.close()
    return ends, worker


def run(count: int, formats: tuple[str, ...], first: int, out: Path | None) -> dict[str, object]:
    """Read `count` broken files in all and gather what each came to."""
    outcomes: Counter[str] = Counter()
    findings: dict[str, str] = {}
    slowest, most, again = 0.0, 0, 0
    ends, worker = None, None
    done: dict[str, object] = {}
    with tempfile.TemporaryDirectory() as folder:
        sound = samples(Path(folder))
        for number in range(first, first + count):
            suffix = formats[number % len(formats)]
            path = Path(folder) / f"broken.{suffix}"
            path.write_bytes(mutated(sound[suffix], suffix, number))
            asked = (str(path), number // len(formats) % 2 == 1)
            said = "ended"
            for apart in (False, True):
                if said != "ended":
                    break
                if worker is None:
                    ends, worker = started(apart=apart)
                ends.send(asked)
                if not ends.poll((10.0 if apart else 3.0) * MAX_SECONDS):
                    worker.kill()  # a library may go round in a circle, deaf to signals
                try:
                    said, seconds, memory = ends.recv()
                    slowest, most = max(slowest, seconds), max(most, memory)
                except EOFError:
                    worker.join()
                    worker = None
                    if apart or suffix not in ("ifc", "ifczip"):
                        said = "process ended"
                    else:
                        again += 1
                if apart and worker is not None:  # the next file is read here again
                    ends.send(None)
                    worker.join()
                    ends, worker = None, None
            outcomes[f"{suffix} {said}"] += 1
            if said not in ("read", "refused"):
                findings.setdefault(f"{suffix}: {said}", f"number {number}")
            done = {
                "files": number - first + 1,
                "outcomes": dict(sorted(outcomes.items())),
                "read_again_apart": again,
                "findings": findings,
                "slowest_s": round(slowest, 2),
                "most_memory_mb": round(most / 1e6),
            }
            if out is not None and number % 100 == 0:
                out.write_text(json.dumps(done, indent=2))  # a run that is stopped has its figures
        if worker is not None:
            ends.send(None)
            worker.join()
    return done


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=700)
    parser.add_argument("--first", type=int, default=0, help="number of the first file")
    parser.add_argument("--format", choices=FORMATS, action="append")
    parser.add_argument("--out", type=Path)
    options = parser.parse_args()
    found = run(options.count, tuple(options.format or FORMATS), options.first, options.out)
    text = json.dumps(found, indent=2)
    if options.out is not None:
        options.out.write_text(text)
    print(text)  # noqa: T201


if __name__ == "__main__":
    main()
