"""Single rays through small buildings, followed by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from envelope.building.model import Building, Site, Storey
from envelope.building.rooms.build import build_building
from envelope.building.rooms.specs import OpeningSpec, SpaceSpec
from envelope.errors import EnvelopeError
from envelope.geometry.plane import frozen
from envelope.rays.building_arrays import geometry_of
from envelope.rays.parallel import follow

BLOCKED, BELOW, ABOVE = 0, 1, 2


def window(*, reveal: float = 0.2, on: str = "room/1", kind: str = "window") -> OpeningSpec:
    """From 1 to 2 m along the wall, from 0.5 to 1.5 m up."""
    return OpeningSpec(
        id="W",
        on=on,
        kind=kind,  # type: ignore[arg-type]
        along_m=1.0,
        sill_m=0.5,
        width_m=1.0,
        height_m=1.0,
        reveal_m=reveal,
    )


def go(
    building: Building,
    start: tuple[float, float, float],
    direction: tuple[float, float, float],
    *,
    space: str | None,
) -> tuple[list[tuple[str, float]], int, str]:
    """What one ray crosses: panel and cosine of each crossing, its sky, its first panel.

    A panel marked with * is entered from inside its wall.
    """
    geometry = geometry_of(building)
    way = np.array(direction) / np.linalg.norm(direction)
    trace = follow(
        geometry,
        starts=(np.array(start) - geometry.middle)[np.newaxis],
        directions=way[np.newaxis],
        home=-1 if space is None else building.space_index[space],
    )
    patches = len(building.patches)
    crossed = [
        (building.patches[row % patches].panel + "*" * int(row >= patches), float(cosine))
        for row, cosine in zip(trace.rows, trace.cosines, strict=True)
    ]
    first = building.panels[trace.first[0]].id if trace.first[0] >= 0 else ""
    return crossed, int(trace.sky[0]), first


def test_straight_through_two_rooms(two_rooms: Callable[..., Building]) -> None:
    crossed, sky, first = go(two_rooms(), (1.0, 1.0, 1.0), (1.0, 0.0, 0.0), space="left")
    assert crossed == [("left/2", pytest.approx(1.0)), ("right/2", pytest.approx(1.0))]
    assert (sky, first) == (ABOVE, "left/2")


def test_the_shift_is_along_the_normal(two_rooms: Callable[..., Building]) -> None:
    """Leaving at y = 2.95 with slope 1, the ray enters at 2.95 and leaves north at x = 4.15.

    Without a wall between it would have gone on at y = 3.05, past the room.
    """
    crossed, sky, _ = go(two_rooms(), (3.0, 1.95, 1.0), (1.0, 1.0, 0.0), space="left")
    half = np.sqrt(0.5)
    assert crossed == [("left/2", pytest.approx(half)), ("right/3", pytest.approx(half))]
    assert sky == ABOVE


def test_down_into_the_slab(box_room: Callable[..., Building]) -> None:
    crossed, sky, first = go(box_room(), (1.0, 1.0, 1.0), (0.1, 0.0, -1.0), space="room")
    assert crossed == [("room/floor", pytest.approx(1.0 / np.hypot(1.0, 0.1)))]
    assert (sky, first) == (BLOCKED, "room/floor")


@pytest.mark.parametrize(
    ("slope", "sky"),
    [(0.0, ABOVE), (1e-9, ABOVE), (-1e-9, BELOW), (-0.39, BELOW), (-0.41, BLOCKED)],
)
def test_the_ground_blocks_within_reach(
    box_room: Callable[..., Building], slope: float, sky: int
) -> None:
    """Leaving 1.2 m above grade, a slope of -0.4 meets the ground 3 m from the wall."""
    building = box_room(floor_m=1.0, raised=True)
    height = 1.2 - slope * 1.0
    crossed, found, _ = go(building, (3.0, 1.0, height), (1.0, 0.0, slope), space="room")
    assert [panel for panel, _ in crossed] == ["room/2"]
    assert found == sky


def test_reach_and_grade_are_the_sites(box_room: Callable[..., Building]) -> None:
    site = Site(grade_m=-1.0, reach_m=1.0)
    building = box_room(floor_m=1.0, raised=True, site=site)
    for slope, sky in ((-2.15, BELOW), (-2.25, BLOCKED)):  # 2.2 m up, 1 m away
        start = (3.5, 1.0, 1.2 - slope * 0.5)
        assert go(building, start, (1.0, 0.0, slope), space="room")[1] == sky


def test_walls_below_grade_are_earth(box_room: Callable[..., Building]) -> None:
    building = box_room(site=Site(grade_m=1.0))
    for height, sky in ((0.9, BLOCKED), (1.1, ABOVE)):
        crossed, found, _ = go(building, (1.0, 1.0, height), (1.0, 0.0, 0.0), space="room")
        assert [panel for panel, _ in crossed] == ["room/2"]
        assert found == sky


def test_out_through_a_jamb(box_room: Callable[..., Building]) -> None:
    """From inside, seen 45° off, the jamb at x = 2 is met 0.1 m deep, then the wall at 45°."""
    building = box_room(openings=(window(),))
    crossed, sky, first = go(building, (1.4, 0.5, 1.0), (1.0, -1.0, 0.0), space="room")
    half = pytest.approx(np.sqrt(0.5))
    assert [panel for panel, _ in crossed][1] == "room/1*"
    assert crossed[0][0].startswith("room/W/jamb-")
    assert [cosine for _, cosine in crossed] == [half, half]
    assert (sky, first) == (ABOVE, crossed[0][0])


def test_the_jamb_and_its_wall_have_their_own_cosines(box_room: Callable[..., Building]) -> None:
    building = box_room(openings=(window(),))
    crossed, _, _ = go(building, (1.84, 0.5, 1.0), (0.18, -0.6, 0.0), space="room")
    length = np.hypot(0.18, 0.6)
    assert [cosine for _, cosine in crossed] == [
        pytest.approx(0.18 / length),
        pytest.approx(0.6 / length),
    ]


def test_past_the_wall_beside_the_niche(box_room: Callable[..., Building]) -> None:
    """Through the wall beside the window: the wall, and nothing of the niche that is in it."""
    building = box_room(openings=(window(),))
    crossed, sky, first = go(building, (0.45, 0.5, 1.0), (1.0, -1.0, 0.0), space="room")
    assert [panel for panel, _ in crossed] == ["room/1"]
    assert (sky, first) == (ABOVE, "room/1")


def test_in_from_outdoors_through_a_jamb(box_room: Callable[..., Building]) -> None:
    """Along the wall, within its thickness: its outside, the jamb, the niche, and out again."""
    building = box_room(openings=(window(),))
    crossed, _, first = go(building, (-3.0, -0.1, 1.0), (1.0, 0.02, 0.0), space=None)
    names = [panel for panel, _ in crossed]
    assert names[0] == "room/1*"
    assert names[1].startswith("room/W/jamb-")
    assert first == names[1]
    length = np.hypot(1.0, 0.02)
    assert [cosine for _, cosine in crossed][:2] == [
        pytest.approx(0.02 / length),
        pytest.approx(1.0 / length),
    ]


def test_through_an_inside_doors_jamb_into_the_next_room(
    two_rooms: Callable[..., Building],
) -> None:
    """The leaf is in the left room's plane; its niche belongs to the right room."""
    door = OpeningSpec(id="D", on="left/2", kind="door", along_m=1.0, width_m=1.0, height_m=2.0)
    building = two_rooms(openings=(door,))
    crossed, sky, first = go(building, (4.6, 1.5, 1.0), (-0.55, 0.53, 0.0), space="right")
    names = [panel for panel, _ in crossed]
    assert names[0].startswith("right/D/jamb-")
    assert names[1] == "right/4*"
    assert names[2] == "left/3"
    assert len(names) == 3
    length = np.hypot(0.55, 0.53)
    assert [cosine for _, cosine in crossed][:2] == [
        pytest.approx(0.53 / length),
        pytest.approx(0.55 / length),
    ]
    assert (sky, first) == (ABOVE, names[0])


def test_a_bare_hole_passes_the_attribution_on(two_rooms: Callable[..., Building]) -> None:
    hole = OpeningSpec(id="H", on="left/2", kind="open", along_m=1.0, width_m=1.0, height_m=2.0)
    building = two_rooms(openings=(hole,))
    crossed, _, first = go(building, (1.0, 1.5, 1.0), (1.0, 0.0, 0.0), space="left")
    assert [panel for panel, _ in crossed] == ["left/H", "right/2"]
    assert first == "right/2"
    door = replace(hole, kind="door")
    _, _, first = go(two_rooms(openings=(door,)), (1.0, 1.5, 1.0), (1.0, 0.0, 0.0), space="left")
    assert first == "left/H"


def test_a_bare_hole_to_the_outdoors_keeps_it(box_room: Callable[..., Building]) -> None:
    building = box_room(openings=(window(kind="open", reveal=0.0),))
    crossed, sky, first = go(building, (1.5, 1.0, 1.0), (0.0, -1.0, 0.0), space="room")
    assert [panel for panel, _ in crossed] == ["room/W"]
    assert (sky, first) == (ABOVE, "room/W")


def test_a_walk_that_cannot_end_says_which_ray(box_room: Callable[..., Building]) -> None:
    """A space without its ceiling and walls lets a rising ray leave through nothing."""
    whole = box_room()
    floor = whole.panel("room/floor")
    broken = replace(
        whole,
        spaces=(replace(whole.spaces[0], panels=(floor,)),),
        panels=(floor,),
        patches=tuple(
            replace(patch, index=0) for patch in whole.patches if patch.panel == floor.id
        ),
    )
    with pytest.raises(EnvelopeError, match=r"internal error: the ray from \(1, 1, 1\) m"):
        go(broken, (1.0, 1.0, 1.0), (0.0, 0.0, 1.0), space="room")


DOORWAYS = ["r/3", "c/1"]  # in the wall between the two rooms, said from either
HEADS_M = [2.0, 2.37, 2.399]


def doorway(on: str, head_m: float) -> Building:
    """Two rooms upstairs with nothing below, an open doorway in the wall between them."""
    return build_building(
        site=Site(),
        storeys=[Storey(id="upper", floor_m=2.75)],
        spaces=[
            SpaceSpec(
                id=name,
                storey="upper",
                floor_m=2.75,
                corners=frozen([(0.0, low), (4.0, low), (4.0, high), (0.0, high)]),
                height_m=2.4,
            )
            for name, low, high in (("r", 0.0, 3.0), ("c", 3.1, 4.1))
        ],
        openings=[
            OpeningSpec(
                id="C", on=on, kind="open", along_m=1.5, sill_m=0.0, width_m=1.0, height_m=head_m
            )
        ],
        panels=[],
        construction=dict.fromkeys(("exterior-wall", "interior-wall", "floor", "roof"), "a"),
    )


@pytest.mark.parametrize("head_m", HEADS_M)
@pytest.mark.parametrize("on", DOORWAYS)
def test_no_ray_leaves_by_a_doorway_unhindered(on: str, head_m: float) -> None:
    """Through its sill, its head and its jambs a ray meets floor, ceiling or wall."""
    building = doorway(on, head_m)
    solid = np.array(
        [
            building.elements[patch.element].assembly is not None
            and building.panel(patch.panel).kind != "reveal"
            for patch in building.patches
        ]
    )
    geometry = geometry_of(building)
    rng = np.random.default_rng(4)
    corner = np.array([[1.5, 3.0, 2.75], [2.5, 3.1, 2.75 + head_m]])
    for space, y in (("r", 1.5), ("c", 3.6)):
        eye = np.array([2.1, y, 3.5])
        # at the doorway's faces, where rays run into the wall between the rooms
        at = rng.uniform(corner[0], corner[1], size=(20_000, 3))
        side = rng.integers(0, 4, size=len(at))
        axis, end = np.array([0, 0, 2, 2])[side], np.array([0, 1, 0, 1])[side]
        at[np.arange(len(at)), axis] = corner[end, axis]
        ways = (at - eye) / np.linalg.norm(at - eye, axis=1)[:, np.newaxis]
        trace = follow(
            geometry,
            starts=np.tile(eye - geometry.middle, (len(ways), 1)),
            directions=ways,
            home=building.space_index[space],
        )
        ray = np.repeat(np.arange(len(ways)), np.diff(trace.start))
        met = np.bincount(ray, weights=solid[trace.rows % len(building.patches)])
        assert met.min() >= 1


@pytest.mark.parametrize("on", DOORWAYS)
def test_under_a_doorway_lies_the_floor(on: str) -> None:
    crossed, _, _ = go(doorway(on, 2.0), (2.0, 2.5, 3.0), (0.0, 0.55, -0.25), space="r")
    assert [panel.split("/")[-1] for panel, _ in crossed[-2:]] == ["sill", "floor*"]
    assert crossed[-1][1] == pytest.approx(0.25 / np.hypot(0.55, 0.25))


def stacked_rooms() -> Building:
    """An L-shaped room, one in its notch, two above them; nothing has a thickness.

    The north walls of the two above are flush. Where the notch has its corner, at (3, 3), the floor
    of the first of them lies over both rooms below.
    """
    below = {
        "ell": [(0, 0), (3, 0), (3, 3), (5, 3), (5, 5), (0, 5)],
        "notch": [(3, 0), (8, 0), (8, 3), (3, 3)],
    }
    above = {"west": [(1, 1), (4, 1), (4, 4), (1, 4)], "east": [(4, 1), (8, 1), (8, 4), (4, 4)]}
    spaces = [
        SpaceSpec(
            id=name,
            storey=storey,
            corners=frozen(corners),
            height_m=2.5,
            floor_m=floor_m,
            raised=True,
        )
        for storey, floor_m, rooms in (("lower", 0.0, below), ("upper", 2.5, above))
        for name, corners in rooms.items()
    ]
    kinds = ("exterior-wall", "interior-wall", "floor", "roof", "window", "door")
    return build_building(
        site=Site(grade_m=-100.0, reach_m=0.0),
        storeys=[Storey(id="lower", floor_m=0.0), Storey(id="upper", floor_m=2.5)],
        spaces=spaces,
        openings=(),
        panels=(),
        construction=dict.fromkeys(kinds, "wall"),
    )


def aimed_from_west(building: Building, targets: np.ndarray) -> list[list[int]]:
    """Spaces that rays from all over the room "west" leave or enter on their way, -1 outdoors."""
    geometry = geometry_of(building)
    rng = np.random.default_rng(8)
    starts = rng.uniform((1.2, 1.2, 2.7), (2.9, 2.9, 3.0), size=targets.shape)
    ways = targets - starts
    trace = follow(
        geometry,
        starts=starts - geometry.middle,
        directions=ways / np.linalg.norm(ways, axis=1)[:, np.newaxis],
        home=building.space_index["west"],
    )
    return [part.tolist() for part in np.split(trace.spaces, trace.start[1:-1])]


def test_a_ray_through_the_edge_of_flush_rooms_does_not_enter_the_second() -> None:
    heights = np.linspace(3.1, 4.9, 300)
    edge = np.column_stack((np.full((300, 2), 4.0), heights))
    assert not any(-1 in spaces for spaces in aimed_from_west(stacked_rooms(), edge))


def test_a_ray_that_comes_in_at_a_reflex_edge_does_not_leave_again_by_the_wall_beside_it() -> None:
    building = stacked_rooms()
    ell = building.space_index["ell"]
    for spaces in aimed_from_west(building, np.tile((3.0, 3.0, 2.5), (300, 1))):
        assert (ell, ell) not in pairwise(spaces)
