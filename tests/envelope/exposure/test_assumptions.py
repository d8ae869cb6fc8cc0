"""What an analysis takes for granted is said, and only where it does."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest

from envelope.commands.common import with_receivers
from envelope.exposure.assumptions import ASSUMED_SOURCE, notes_of


@pytest.fixture
def make(room_plain, window_plain, mast_plain, read_job, analyzed_job):
    return SimpleNamespace(
        room=room_plain, window=window_plain, mast=mast_plain, read=read_job, analyzed=analyzed_job
    )


def one_of(notes, *words: str) -> str:
    (found,) = (note for note in notes if all(word in note for word in words))
    return found


def test_the_even_field_that_stands_for_no_source_is_among_the_notes(make):
    assert make.analyzed(make.read(make.room())).notes == (ASSUMED_SOURCE,)


def test_one_adult_is_said_to_be_in_a_receivers_room(make):
    plain = make.room(source=[make.mast()])
    assert "in room" in one_of(make.analyzed(make.read(plain)).notes, "One adult")
    plain["space"] = [{**plain["space"][0], "occupants": 0}]
    assert notes_of(make.read(plain)) == ()


def test_it_is_said_of_the_receiver_that_is_asked_for_alone(make):
    plain = make.room(
        source=[make.mast()],
        space=[
            {"id": name, "storey": "ground", "height": "2.4 m", "size": "4 m x 3 m",
             "origin": f"0 m, {y} m"}
            for name, y in (("room", 0), ("next", 3.1))
        ],
        receiver=[
            {"id": name, "space": space, "at": "1, 1, 1 m"}
            for name, space in (("bed", "room"), ("desk", "next"))
        ],
    )  # fmt: skip
    job = make.read(plain)
    assert "in room and next" in one_of(notes_of(job), "One adult")
    alone = with_receivers(job, ["desk"])
    assert "sleep in next and to" in one_of((*alone.notes, *notes_of(alone)), "One adult")


def test_waves_as_long_as_a_window_are_called_a_rough_guide(make):
    """Broadcast at 98 MHz: 3.1 m long, before a window 1.5 m × 1.2 m (1.9 m across)."""
    radio = make.mast(id="radio", band="88-108 MHz")
    plain = make.room(source=[make.mast(), radio], opening=[make.window()])
    note = one_of(notes_of(make.read(plain)), "rough guide")
    assert note.startswith("radio: ")
    for words in ("3.1 m at 98 MHz", "1.9 m across", "2.4 m"):
        assert words in note
    plain["source"] = [make.mast(), {**radio, "band": "301 MHz"}]
    assert not any("rough guide" in note for note in notes_of(make.read(plain)))


def test_a_beam_from_below_is_said_to_pass_the_ground(make):
    job = make.read(make.room(source=[make.mast(elevation="-5 deg"), make.mast(id="up")]))
    note = one_of(notes_of(job), "below the horizon")
    assert "of mast comes" in note
    level = replace(job, sources=job.sources[1:])
    assert not any("below the horizon" in note for note in notes_of(level))
