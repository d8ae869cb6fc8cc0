"""Broken project files from sound ones: texts and bytes changed by chance, a file a number."""

from __future__ import annotations

import math
import random
import re
from collections.abc import Callable
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TINY = """format = 1
name = "Two rooms under a roof"
[construction]
exterior-wall = "wall"
interior-wall = "wall"
floor = "wall"
roof = "wall"
window = "pane"
door = "pane"
[[material]]
id = "strand-board"
permittivity = 3.1
loss-tangent = 0.03
[[assembly]]
id = "wall"
layers = [{ material = "strand-board", thickness = "15 mm" }, { material = "air", thickness = "90 mm", cavity = true }]
[[assembly]]
id = "pane"
loss = { "900 MHz" = "2 dB", "3.5 GHz" = "4 dB" }
[[storey]]
id = "up"
floor = "2.6 m"
[[space]]
id = "loft"
storey = "up"
walk = "E 13 ft 9 in; N 8 ft 6 in; W 4 ft 11 in; N 3 ft 3 in; W 8 ft 10 in; S"
height = "7 ft 6 in"
[[space]]
id = "store"
storey = "up"
origin = "5, 0 m"
footprint = "0,0  3,0  3,4  0,4 m"
height = "1 m"
ceiling = { shape = "gable", along = "y", ridge = "2.4 m", flat = "2.2 m" }
[[obstacle]]
id = "shed"
origin = "20, 0 m"
size = "3 m x 4 m"
height = "3 m"
[[opening]]
id = "W1"
on = "loft/south"
kind = "window"
at = "2 ft"
sill = "0.9 m"
size = "1.2 m x 1 m"
reveal = "100 mm"
tilt = "90 mm"
[[treatment]]
id = "paint"
kind = "sheet"
sheet-resistance = "5 ohm/sq"
coats = 2
price = "24 EUR/m2"
[[treatment]]
id = "foil"
kind = "fixed"
loss = "30 dB"
standoff = "5 mm"
[[source]]
id = "mast"
azimuth = "231 deg"
elevation = "4 deg"
band = "1805-1880 MHz"
level = { up = "0.6 V/m" }
[[source]]
id = "router"
at = "1, -3, 2 m"
eirp = "20 dBm"
band = "2.45 GHz"
[[receiver]]
id = "bed"
space = "loft"
at = "1.2, 1.2, 0.6 m"
size = "0.9 m x 1.9 m x 0.2 m"
[[plan]]
id = "walls"
title = "Walls"
treat = [{ on = "loft/walls", with = ["paint", "foil"] }]
[[plan]]
id = "all"
extends = "walls"
states = { W1 = "tilted" }
treat = [{ on = "*/ceiling*", with = "paint" }]
"""  # noqa: E501
# the same with what a meter showed in the room instead of its first source's level
SURVEYED = TINY.replace('level = { up = "0.6 V/m" }\n', "").replace(
    "[[plan]]\n",
    """[[reading]]
id = "by-the-window"
source = "mast"
space = "loft"
at = "2 ft, 3 ft, 4 ft"
level = "90 uW/m2"
spots = 6
tolerance = "2 dB"
states = { W1 = "open" }
[[plan]]
""",
    1,
)


@cache
def samples() -> tuple[str, ...]:
    """What the files are made from: the jobs that are shipped, and small ones of every table."""
    shipped = [path.read_text(encoding="utf-8") for path in sorted(ROOT.glob("models/*.toml"))]
    return (TINY, SURVEYED, *shipped)


# ---- mutations: each takes a text and a source of chance, and gives another text

_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
_STRING = re.compile(r'"[^"\n]*"')
_UNIT = re.compile(r"(?<=\d )(?:m|mm|ft|in|deg|MHz|GHz|dB|dBm|V/m|uW/m2|ohm/sq|EUR/m2)\b")
_KEY = re.compile(r"(?m)^[a-z][a-z-]*(?= = )")
_VALUE = re.compile(r"(?m)(?<= = ).+$")

ODD_NUMBERS = (
    "0", "-0", "-1", "1e308", "1e-308", "1e400", "nan", "inf", "-inf", "0.0001", "1e6", "99999",
    "9" * 400, "1" * 5000, "1_000", "0x10", "1,5", "1.2.3", "+3", ".5", "5.",
    "0." + "0" * 300 + "1",
    "1e-9", "100000", "360", "90", "-90", "1/0", "3 1/2", "1 0/0", "٣", "½", "1e99999999999",
)  # fmt: skip
ODD_UNITS = (
    "", "mm", "km", "ft", "in", "deg", "rad", "GHz", "Hz", "dB", "ohm", "m2", "''", "\\t", "м",
)  # fmt: skip
ODD_TEXTS = (
    "\x00", "\x07", "\x1b[31m", "\u202e", "\ufeff", "\u2028", "é", "e\u0301", "😀",
    "\U0010ffff", "\x7f",
    "\r", "\r\n", "\t", '"', "'''", '"""', "\\", "\\u0000", "\\u001b", "\\ud800", "\\U00110000",
    "#", "=",
    "[", "]", "{", "}", "[[", "]]", ",", ".", "*", "**", "[!a]", "[", "../", "/", "%s",
    "{0}", "\x85",
)  # fmt: skip
ODD_VALUES = (
    "true", "false", "[]", "{}", '""', "1979-05-27", "1979-05-27T07:32:00Z", "07:32:00", "0", "-1",
    "1.5", "inf", "nan", "[[]]", "[{}]", '" "', '"0"', '"\\u0000"', "{ a = { a = { a = 1 } } }",
    '["a", 1]', "9" * 30, "'" + "x" * 3000 + "'", '[""]', '"a/b/c"', '"/"', '"*"', "1e400",
)  # fmt: skip


def _replaced(
    pattern: re.Pattern[str], text: str, rng: random.Random, new: Callable[[str], str]
) -> str:
    found = list(pattern.finditer(text))
    if not found:
        return text
    match = rng.choice(found)
    return text[: match.start()] + new(match[0]) + text[match.end() :]


def _swapped(pattern: re.Pattern[str], text: str, rng: random.Random) -> str:
    found = list(pattern.finditer(text))
    if len(found) < 2:
        return text
    one, two = sorted(rng.sample(found, 2), key=lambda match: match.start())
    between = text[one.end() : two.start()]
    return text[: one.start()] + two[0] + between + one[0] + text[two.end() :]


def _blocks(text: str) -> list[str]:
    """The text cut before each table's header."""
    return re.split(r"(?m)^(?=\[)", text)


def odd_number(text: str, rng: random.Random) -> str:
    return _replaced(_NUMBER, text, rng, lambda _: rng.choice(ODD_NUMBERS))


def near_number(text: str, rng: random.Random) -> str:
    def new(number: str) -> str:
        value = float(number)
        if not math.isfinite(value):  # hundreds of digits, from another mutation
            return "1"
        changed = rng.choice((
            value * 10.0 ** rng.randint(-6, 6), -value, value + rng.choice((1e-9, 1e-5, 1e-3, 0.1)),
            value * rng.uniform(0.2, 3.0), round(value), value * 1.0000001,
        ))  # fmt: skip
        return f"{changed:.12g}" if rng.random() < 0.8 else repr(changed)

    return _replaced(_NUMBER, text, rng, new)


def swapped_numbers(text: str, rng: random.Random) -> str:
    return _swapped(_NUMBER, text, rng)


def odd_unit(text: str, rng: random.Random) -> str:
    return _replaced(_UNIT, text, rng, lambda _: rng.choice(ODD_UNITS))


def swapped_units(text: str, rng: random.Random) -> str:
    return _swapped(_UNIT, text, rng)


def swapped_strings(text: str, rng: random.Random) -> str:
    return _swapped(_STRING, text, rng)


def swapped_keys(text: str, rng: random.Random) -> str:
    return _swapped(_KEY, text, rng)


def copied_key(text: str, rng: random.Random) -> str:
    keys = _KEY.findall(text)
    return _replaced(_KEY, text, rng, lambda key: rng.choice([*keys, key + "s", key[:-1], "x"]))


def copied_string(text: str, rng: random.Random) -> str:
    strings = _STRING.findall(text)
    return _replaced(_STRING, text, rng, lambda _: rng.choice(strings))


def odd_value(text: str, rng: random.Random) -> str:
    return _replaced(_VALUE, text, rng, lambda _: rng.choice(ODD_VALUES))


def odd_text(text: str, rng: random.Random) -> str:
    place = rng.randrange(len(text) + 1)
    return text[:place] + rng.choice(ODD_TEXTS) * rng.choice((1, 1, 1, 40)) + text[place:]


def odd_text_in_string(text: str, rng: random.Random) -> str:
    def new(string: str) -> str:
        place = rng.randrange(1, len(string))
        return string[:place] + rng.choice(ODD_TEXTS) + string[place:]

    return _replaced(_STRING, text, rng, new)


def lost_line(text: str, rng: random.Random) -> str:
    lines = text.split("\n")
    del lines[rng.randrange(len(lines))]
    return "\n".join(lines)


def doubled_line(text: str, rng: random.Random) -> str:
    lines = text.split("\n")
    line = rng.choice(lines)
    lines.insert(rng.randrange(len(lines) + 1), line)
    return "\n".join(lines)


def swapped_lines(text: str, rng: random.Random) -> str:
    lines = text.split("\n")
    one, two = rng.randrange(len(lines)), rng.randrange(len(lines))
    lines[one], lines[two] = lines[two], lines[one]
    return "\n".join(lines)


def lost_block(text: str, rng: random.Random) -> str:
    blocks = _blocks(text)
    del blocks[rng.randrange(len(blocks))]
    return "".join(blocks)


def doubled_block(text: str, rng: random.Random) -> str:
    blocks = _blocks(text)
    blocks.insert(rng.randrange(len(blocks) + 1), rng.choice(blocks))
    return "".join(blocks)


def many_blocks(text: str, rng: random.Random) -> str:
    """A table thirty times, each time under another id."""
    blocks = _blocks(text)
    block = rng.choice(blocks)
    copies = [
        re.sub(r'(?m)^id = "([^"\n]*)"', rf'id = "\g<1>-{number}"', block) for number in range(30)
    ]
    return "".join(blocks + copies)


def shuffled_blocks(text: str, rng: random.Random) -> str:
    blocks = _blocks(text)
    rng.shuffle(blocks)
    return "".join(blocks)


def other_block(text: str, rng: random.Random) -> str:
    """A table of another sample."""
    blocks = _blocks(text)
    blocks.insert(rng.randrange(1, len(blocks) + 1), rng.choice(_blocks(rng.choice(samples()))))
    return "".join(blocks)


def other_header(text: str, rng: random.Random) -> str:
    headers = (
        "[a]",
        "[[a]]",
        "[site.site]",
        "[[space.opening]]",
        "[space]",
        "[[site]]",
        "[[]]",
        "[",
    )
    return _replaced(re.compile(r"(?m)^\[.*\]$"), text, rng, lambda _: rng.choice(headers))


def nested(text: str, rng: random.Random) -> str:
    depth = rng.choice((2, 5, 30, 200, 3000))
    kind = rng.randrange(3)
    if kind == 0:
        return _replaced(_VALUE, text, rng, lambda value: "[" * depth + value + "]" * depth)
    if kind == 1:
        return _replaced(_VALUE, text, rng, lambda value: "{ a = " * depth + "1" + " }" * depth)
    return text + "\n[" + ".".join("a" * depth) + "]\nb = 1\n"


def cut_off(text: str, rng: random.Random) -> str:
    return text[: rng.randrange(len(text) + 1)]


def spliced(text: str, rng: random.Random) -> str:
    other = rng.choice(samples())
    return text[: rng.randrange(len(text) + 1)] + other[rng.randrange(len(other)) :]


MUTATIONS: tuple[Callable[[str, random.Random], str], ...] = (
    odd_number, near_number, near_number, near_number, swapped_numbers, swapped_numbers, odd_unit,
    swapped_units, swapped_strings, swapped_keys, copied_key, copied_string, copied_string,
    odd_value, odd_text, odd_text_in_string, lost_line, lost_line, doubled_line, swapped_lines,
    lost_block, doubled_block, many_blocks, shuffled_blocks, other_block, other_header, nested,
    cut_off, spliced,
)  # fmt: skip


def _broken_bytes(data: bytes, rng: random.Random) -> bytes:
    broken = bytearray(data)
    for _ in range(rng.randint(1, 4)):
        place = rng.randrange(len(broken)) if broken else 0
        action = rng.randrange(3)
        if action == 0 and broken:
            broken[place] ^= 1 << rng.randrange(8)
        elif action == 1:
            broken[place:place] = rng.randbytes(rng.randint(1, 6))
        else:
            del broken[place : place + rng.randint(1, 20)]
    return bytes(broken)


def mutated(number: int) -> bytes:
    """The broken file of a number."""
    rng = random.Random(number)
    # the short samples are read many times as fast
    (text,) = rng.choices(samples(), weights=[len(sample) ** -2 for sample in samples()])
    # most have one thing wrong, so that reading goes far
    for _ in range(1 + min(int(rng.expovariate(0.9)), 6)):
        text = rng.choice(MUTATIONS)(text, rng) if text else text
    data = text.encode("utf-8", errors="surrogatepass")
    return _broken_bytes(data, rng) if rng.random() < 0.08 else data
