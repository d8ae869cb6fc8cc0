"""Rooms placed by their neighbour: the same building as with origins added up by hand."""

from __future__ import annotations

import numpy as np
import pytest

from envelope.building.behind import faces_of
from envelope.building.model import Building
from envelope.errors import ProjectFileError
from envelope.project import load_text

HOUSE = """format = 1
name = "house"
[construction]
exterior-wall = "timber-wall"
interior-wall = "{wall}"
slab = "ground-slab"
roof = "tiled-roof"
[[assembly]]
id = "bare"
loss = "3 dB"
[[storey]]
id = "ground"
floor = "0 ft"
[[storey]]
id = "upper"
floor = "9 ft"
[[space]]
id = "hall"
storey = "ground"
size = "12 ft x 8 ft"
height = "8 ft"
origin = "1 ft, 2 ft"
{rooms}
"""
STUD_M = 0.0125 + 0.09 + 0.0125  # of the starter library
FOOT = 0.3048


def room(name: str, **keys: str) -> str:
    said = {"storey": "ground", "size": "6 ft x 5 ft", "height": "8 ft", **keys}
    lines = (f'{key} = "{value}"' for key, value in said.items())
    return f'[[space]]\nid = "{name}"\n' + "\n".join(lines) + "\n"


def building(rooms: str, wall: str = "stud-wall") -> Building:
    return load_text(HOUSE.format(rooms=rooms, wall=wall), path="house.toml").building


def messages(rooms: str, wall: str = "stud-wall") -> list[str]:
    with pytest.raises(ProjectFileError) as caught:
        building(rooms, wall)
    return [f"{fault.location.key}: {fault.message}" for fault in caught.value.faults]


@pytest.mark.parametrize(
    ("side", "origin"),
    [
        ("north", (1.0 * FOOT, 10.0 * FOOT + STUD_M)),
        ("south", (1.0 * FOOT, 2.0 * FOOT - STUD_M - 5.0 * FOOT)),
        ("east", (13.0 * FOOT + STUD_M, 2.0 * FOOT)),
        ("west", (1.0 * FOOT - STUD_M - 6.0 * FOOT, 2.0 * FOOT)),
    ],
)
def test_a_room_adjoins_the_wall_it_names(side: str, origin: tuple[float, float]) -> None:
    found = building(room("bath", beside=f"hall/{side} wall"))
    np.testing.assert_allclose(found.space("bath").origin, origin, atol=1e-12)
    face = {each.name: each for each in faces_of(found, "hall")}[f"{side} wall"]
    assert "bath" in [part.behind for part in face.parts]
    by_hand = building(room("bath", origin=f"{origin[0]!r}, {origin[1]!r} m"))
    assert [panel.id for panel in by_hand.panels] == [panel.id for panel in found.panels]
    for mine, theirs in zip(found.panels, by_hand.panels, strict=True):
        np.testing.assert_allclose(mine.outline, theirs.outline, atol=1e-9)


def test_a_chain_in_any_order_with_shift_and_thickness() -> None:
    rooms = room("den", beside="bath/4", shift="1 ft", apart="6 in") + room(
        "bath", beside="hall/north", shift="2 ft"
    )
    found = building(rooms)
    bath, den = found.space("bath").origin, found.space("den").origin
    np.testing.assert_allclose(bath, (3.0 * FOOT, 10.0 * FOOT + STUD_M))
    # wall 4 of a rectangle looks west
    np.testing.assert_allclose(den, (bath[0] - 6.5 * FOOT, bath[1] + 1.0 * FOOT))


def test_a_room_with_its_corners_elsewhere_is_placed_by_them() -> None:
    walk = "E 6 ft; N 5 ft; W 6 ft; S"
    rooms = room("bath", beside="hall/north").replace('size = "6 ft x 5 ft"', f'walk = "{walk}"')
    np.testing.assert_allclose(
        building(rooms).space("bath").origin, (1.0 * FOOT, 10.0 * FOOT + STUD_M)
    )


WRONG = [
    (room("bath", beside="hal/north"), 'space[1].beside: there is no space "hal": did you mean'),
    (room("bath", beside="hall/up"), 'space[1].beside: "hall/up" names no wall of "hall"'),
    (room("bath", beside="hall/9"), 'space[1].beside: "hall/9" names no wall of "hall"'),
    (
        room("bath", beside="hall/north", origin="0, 0 m"),
        "space[1].origin: origin does not go with beside",
    ),
    (room("bath", shift="1 ft"), "space[1].shift: shift goes with beside"),
    (
        room("bath", beside="hall/north", storey="upper"),
        'space[1].beside: "hall" is on storey "ground" and this room on "upper"',
    ),
    (
        room("bath", beside="hall/north", apart="3 ft"),
        "space[1].apart: the rooms would stand 3 ft (0.9144 m) apart",
    ),
    (
        room("a", beside="b/north") + room("b", beside="a/south"),
        "space[1].beside: a, b are placed beside one another in a circle",
    ),
]


@pytest.mark.parametrize(("rooms", "message"), WRONG)
def test_a_room_that_cannot_be_placed(rooms: str, message: str) -> None:
    assert messages(rooms)[0].startswith(message)


def test_a_wall_of_unknown_thickness_is_asked_for() -> None:
    (message,) = messages(room("bath", beside="hall/north"), wall="bare")
    assert message.startswith('space[1].beside: interior-wall "bare" has no layers')
    assert building(room("bath", beside="hall/north", apart="5 in"), wall="bare")


def test_a_side_with_several_walls_needs_a_number() -> None:
    ell = (
        '[[space]]\nid = "ell"\nstorey = "ground"\nheight = "8 ft"\norigin = "30 ft, 0 ft"\n'
        'walk = "E 10 ft; N 5 ft; W 4 ft; N 4 ft; W 6 ft; S"\n'
    )
    (message,) = messages(ell + room("bath", beside="ell/north wall"))
    assert message == (
        'space[2].beside: "ell" has 2 walls to the north: name one of them, "ell/3", 4 ft '
        '(1.2192 m) long, or "ell/5", 6 ft (1.8288 m) long'
    )
    opening = '[[opening]]\nid = "D"\non = "ell/north"\nkind = "door"\nassembly = "stud-wall"\n'
    (window,) = messages(ell + opening + 'at = "1 ft"\nsize = "2 ft x 6 ft"\n')
    assert window.endswith('"ell/3", 4 ft (1.2192 m) long, or "ell/5", 6 ft (1.8288 m) long')
    coat = '[[treatment]]\nid = "coat"\nkind = "fixed"\nloss = "20 dB"\n'
    treated = '[[plan]]\nid = "p"\ntreat = [{ on = "ell/east wall", with = "coat" }]\n'
    (plan,) = messages(ell + coat + treated)
    assert plan.endswith('"ell/2", 5 ft (1.524 m) long, or "ell/4", 4 ft (1.2192 m) long')
    placed = building(ell + room("bath", beside="ell/5")).space("bath").origin
    np.testing.assert_allclose(placed, (30.0 * FOOT, 9.0 * FOOT + STUD_M))
