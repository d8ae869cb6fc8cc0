"""Texts and files that are no project, and the one message that each gives."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from envelope.errors import Location, ProjectFileError
from envelope.project import load

BASE = (Path(__file__).parent / "data" / "bedroom.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", 'house.toml: the file is empty: a project file begins with "format = 1"'),
        ("\n  \n", 'house.toml: the file is empty: a project file begins with "format = 1"'),
        (
            "format = 1\nhello\n",
            "house.toml:2: this is not TOML: there is no = after the key",
        ),
        (
            'format = 1\nname = "abc',
            "house.toml:2: this is not TOML: a text is not closed: its "
            "second quotation mark is missing",
        ),
        (
            "format = 1\nformat = 1\n",
            "house.toml:2: this is not TOML: a key stands twice in its table",
        ),
        (
            "format = " + "1" * 5000,
            "house.toml: this is not TOML that can be read: a value is too large",
        ),
        ("format = 1\nx = " + "[" * 5000, "house.toml:2: tables or lists are nested too deeply"),
        ("x." * 400_000 + "x = 1", "house.toml:1: tables or lists are nested too deeply"),
    ],
)
def test_texts_that_are_no_project(
    text: str, message: str, messages: Callable[..., list[str]]
) -> None:
    assert messages(text) == [message]


@pytest.mark.parametrize(
    ("written", "says"),
    [
        (
            '"10\'6""',
            "something follows the value on its line; a mark of feet or inches that is also the "
            'quotation mark ends the text: write "12 ft 4 1/2 in"',
        ),
        (
            "'10' 6\"'",
            "something follows the value on its line; a mark of feet or inches that is also the "
            'quotation mark ends the text: write "12 ft 4 1/2 in"',
        ),
        (
            "2.4 m",
            "something follows the value on its line; words and quantities are written in quotes, "
            'such as "2.4 m"',
        ),
        (
            "high",
            "what follows the = is no value; words and quantities are written in quotes, such as "
            '"2.4 m"',
        ),
        ('"8 ft', "a text is not closed: its second quotation mark is missing"),
        ('"2.4 m" now', "something follows the value on its line"),
        ('"2.4 m"\nheight = "2 m"', "a key stands twice in its table"),
        ('"2.4 m"\n[site]', "the table [site] stands twice"),
        ('"2.4 m"\n{', "this is neither a [table] nor a key = value pair"),
    ],
)
def test_texts_that_are_not_toml_in_plain_words(
    written: str, says: str, messages: Callable[..., list[str]], changed: Callable[..., str]
) -> None:
    (message,) = messages(changed(('height = "2.4 m"', f"height = {written}")))
    place, _, said = message.partition(": this is not TOML: ")
    assert place in ("house.toml:30", "house.toml:31")
    assert said == says


def test_a_name_of_a_file_cannot_command_a_terminal() -> None:
    location = Location(path="a\x1b[31m\u202eb.toml", line=3, key="name")
    assert str(location) == "a?[31m?b.toml:3 name"


def test_a_file_that_says_nothing(messages: Callable[..., list[str]]) -> None:
    assert messages("# nothing yet\n") == [
        "house.toml format: format is missing, such as format = 1",
        'house.toml name: name is missing, such as name = "Larch Cottage, upper bedroom"',
        "house.toml space: there is no [[space]]: a job needs at least one",
    ]


def loading(path: Path | str) -> str:
    with pytest.raises(ProjectFileError) as caught:
        load(path)
    (fault,) = caught.value.faults
    return str(fault)


def test_a_missing_file(tmp_path: Path) -> None:
    path = tmp_path / "none.toml"
    assert loading(path) == f"{path}: there is no such file: check its name and folder"


def test_a_folder(tmp_path: Path) -> None:
    assert loading(tmp_path) == f"{tmp_path}: this is a folder: give the project file in it"


def test_a_path_through_a_file(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_text(BASE, encoding="utf-8")
    assert (
        loading(path / "b.toml") == f"{path / 'b.toml'}: the file cannot be read: not a directory"
    )


def test_a_name_that_no_file_can_have() -> None:
    assert loading("a\0b.toml") == '"a?b.toml": this cannot be the name of a file'


def test_a_pipe(tmp_path: Path) -> None:
    path = tmp_path / "pipe"
    os.mkfifo(path)
    assert loading(path) == f"{path}: this is not a file: give a project file"


def test_a_huge_file(tmp_path: Path) -> None:
    path = tmp_path / "huge.toml"
    with path.open("wb") as file:
        file.truncate(50_000_000)
    assert loading(path) == f"{path}: the file has 50.0 MB: a project file has at most 1 MB"


def test_not_utf_8(tmp_path: Path) -> None:
    path = tmp_path / "latin.toml"
    path.write_bytes(b'format = 1\nname = "K\xfcche"\n')
    assert loading(path) == (
        f"{path}:2: the file is not UTF-8 text: byte 0xfc is no character; save it as UTF-8"
    )


def test_an_empty_file(tmp_path: Path) -> None:
    path = tmp_path / "empty.toml"
    path.write_bytes(b"")
    assert loading(path) == f'{path}: the file is empty: a project file begins with "format = 1"'


def test_hostile_text_stays_on_one_short_line(
    messages: Callable[..., list[str]], changed: Callable[..., str]
) -> None:
    hostile = '"\\u001b[31m<script>\\n\\u202e' + "x" * 10_000 + '"'
    for old in ('"ground"', '"bedroom"', '"Test bedroom"', '"2.4 m"', '"mast"', '"sheet"'):
        for message in messages(changed((old, hostile))):
            assert "\n" not in message
            assert "\x1b" not in message
            assert "\u202e" not in message
            assert len(message) < 400
