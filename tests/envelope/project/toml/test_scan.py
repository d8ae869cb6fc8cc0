"""Lines of keys against texts whose lines are counted by hand, and against tomllib's keys."""

import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from envelope.project.toml.scan import DEEPEST_NESTING, LONGEST_KEY, Path, scan

TEXT = """\
# a comment with = and [brackets]
format = 1
"quoted key" = "a # b"   # a comment

[site]
north = '''
15 deg
'''
grade.value = 1

[[space]]
id = "one # not a comment"
walls = [
    # [[space]]
    { on = "a", with = [ "x", "y" ] },
    # another
    { on = "b", with = "z" },
]
note = \"\"\"
[[space]]
id = "not a key"
\\"\"\" still inside \"\"\"\"

[[space]]
id = "two"
[space.ceiling]
shape = "gable"
[[space.niche]]
at = 1
[[space.niche]]
at = 2
"""


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("format",), 2),
        (("quoted key",), 3),
        (("site",), 5),
        (("site", "north"), 6),
        (("site", "grade", "value"), 9),
        (("space",), 11),
        (("space", 0), 11),
        (("space", 0, "id"), 12),
        (("space", 0, "walls"), 13),
        (("space", 0, "walls", 0, "on"), 15),
        (("space", 0, "walls", 0, "with", 1), 15),
        (("space", 0, "walls", 1, "on"), 17),
        (("space", 0, "walls", 1, "with"), 17),
        (("space", 0, "note"), 19),
        (("space", 1), 24),
        (("space", 1, "id"), 25),
        (("space", 1, "ceiling", "shape"), 27),
        (("space", 1, "niche", 0, "at"), 29),
        (("space", 1, "niche", 1, "at"), 31),
        (("space", 1, "height"), 24),
        (("space", 0, "walls", 0, "missing"), 15),
        (("nothing",), None),
    ],
)
def test_lines(path: Path, line: int | None) -> None:
    assert scan(TEXT).line(path) == line


def test_windows_line_ends() -> None:
    lines = scan(TEXT.replace("\n", "\r\n"))
    assert lines.line(("space", 1, "id")) == 25


def paths(value: Any, path: Path = ()) -> Iterator[Path]:
    if path:
        yield path
    items = value.items() if isinstance(value, dict) else ()
    if isinstance(value, list):
        items = enumerate(value)
    for key, inner in items:
        yield from paths(inner, (*path, key))


def test_every_key_that_tomllib_finds_has_a_line_of_its_own() -> None:
    lines = scan(TEXT)
    expected = set(paths(tomllib.loads(TEXT)))
    assert expected <= set(lines.by_path)


SCALARS = st.sampled_from(
    ["1", "-0.5", "true", "inf", '"a"', "'b'", '"#]},"', "'''\n]'''", '"""\n"" }"""', "07:32:00"]
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda parts: "[\n" + ",\n".join(parts) + "]"),
        st.lists(inner, max_size=3).map(
            lambda parts: "{" + ", ".join(f"k{i} = {part}" for i, part in enumerate(parts)) + "}"
        ),
    ),
    max_leaves=8,
)


@given(st.lists(VALUES, min_size=1, max_size=4))
def test_any_document_is_walked_to_its_end(values: list[str]) -> None:
    text = "".join(f"[[t]]\n'a.b' = {value} # }}]\n\"c\\u0041\".d = 1\n" for value in values)
    document = tomllib.loads(text)
    lines = scan(text)
    assert set(paths(document)) <= set(lines.by_path)
    last = text.count("\n")
    assert lines.line(("t", len(values) - 1, "cA", "d")) == last


def test_nesting_is_stopped() -> None:
    assert scan("a = 1\nb = " + "[" * (DEEPEST_NESTING + 2)).too_deep == 2
    assert scan("b = " + "[" * 5 + "]" * 5).too_deep is None
    assert scan(".".join("a" * (LONGEST_KEY + 1)) + " = 1").too_deep == 1
    assert scan("[" + ".".join("a" * (LONGEST_KEY + 1)) + "]").too_deep == 1
    assert scan("b = " + "{a=" * 1000).too_deep == 1


@given(st.text(max_size=80))
def test_any_text_is_walked(text: str) -> None:
    scan(text)
