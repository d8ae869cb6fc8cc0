"""Selectors against a list of panels that is written out by hand."""

from dataclasses import dataclass

import numpy as np
import pytest

from envelope.building.model import Building, Panel, Site, Space, Storey
from envelope.building.selectors import SelectionError, match, nearest_names, select
from envelope.errors import EnvelopeError

# id, kind, aliases
PANELS = [
    ("bedroom/1", "wall", ("bedroom/south",)),
    ("bedroom/2", "wall", ("bedroom/east",)),
    ("bedroom/3", "wall", ()),
    ("bedroom/floor", "floor", ()),
    ("bedroom/ceiling-1", "ceiling", ()),
    ("bedroom/ceiling-2", "ceiling", ()),
    ("bedroom/W1", "window", ()),
    ("bedroom/W1/sill", "reveal", ()),
    ("bedroom/W1/head", "reveal", ()),
    ("bedroom/W2", "window", ()),
    ("bedroom/W2/sill", "reveal", ()),
    ("bedroom/D1", "door", ()),
    ("bedroom/D1/undercut", "seam", ()),
    ("bedroom/B1", "box", ()),
    ("bedroom/B1/ring", "seam", ()),
    ("bedroom/C1", "open", ()),
    ("bedroom/V1", "vent", ()),
    ("closet/1", "wall", ("closet/south",)),
    ("closet/floor", "floor", ()),
    ("closet/C1", "open", ()),
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    id: str
    space: str
    kind: str
    aliases: tuple[str, ...]


NAMED = [
    Named(id=name, space=name.partition("/")[0], kind=kind, aliases=aliases)
    for name, kind, aliases in PANELS
]
SQUARE = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [0.0, 1.0, 0.0]])


def building() -> Building:
    panels = tuple(
        Panel(
            id=name,
            space=name.partition("/")[0],
            kind=kind,  # type: ignore[arg-type]
            outline=SQUARE,
            aliases=aliases,
        )
        for name, kind, aliases in PANELS
    )
    spaces = tuple(
        Space(
            id=name,
            storey="ground",
            panels=tuple(panel for panel in panels if panel.space == name),
            floor_m=0.0,
        )
        for name in ("bedroom", "closet")
    )
    return Building(
        site=Site(),
        storeys=(Storey(id="ground", floor_m=0.0),),
        spaces=spaces,
        panels=panels,
        patches=(),
        elements=(),
        digest="",
    )


@pytest.mark.parametrize(
    ("selector", "found"),
    [
        ("bedroom/1", ["1"]),
        ("bedroom/south", ["1"]),
        ("bedroom/walls", ["1", "2", "3"]),
        ("bedroom/floor", ["floor"]),
        ("bedroom/ceiling", ["ceiling-1", "ceiling-2"]),
        ("bedroom/ceiling-2", ["ceiling-2"]),
        ("bedroom/windows", ["W1", "W2"]),
        ("bedroom/doors", ["D1"]),
        ("bedroom/openings", ["W1", "W2", "D1", "V1"]),
        ("bedroom/reveals", ["W1/sill", "W1/head", "W2/sill"]),
        ("bedroom/W1/reveals", ["W1/sill", "W1/head"]),
        ("bedroom/W?", ["W1", "W2"]),
        ("bedroom/[12]", ["1", "2"]),
        ("bedroom/W1/*", ["W1/sill", "W1/head"]),
        ("bedroom/*/sill", ["W1/sill", "W2/sill"]),
        (
            "bedroom/*",
            ["1", "2", "3", "floor", "ceiling-1", "ceiling-2", "W1", "W2", "D1", "V1"],
        ),
        ("bed*/D1", ["D1"]),
        ("bedroom/B1", ["B1"]),
        ("bedroom/B1/ring", ["B1/ring"]),
        ("bedroom/D1/undercut", ["D1/undercut"]),
        ("bedroom/C1", ["C1"]),
    ],
)
def test_selectors_of_one_space(selector: str, found: list[str]) -> None:
    assert match(NAMED, selector) == tuple(f"bedroom/{name}" for name in found)


def test_selectors_of_every_space() -> None:
    assert match(NAMED, "*/floor") == ("bedroom/floor", "closet/floor")
    assert match(NAMED, "*/south") == ("bedroom/1", "closet/1")
    assert match(NAMED, "*/walls") == ("bedroom/1", "bedroom/2", "bedroom/3", "closet/1")


def test_all_that_follows() -> None:
    bare_holes = {"box", "open", "seam"}
    expected = tuple(
        name for name, kind, _ in PANELS if name.startswith("bed") and kind not in bare_holes
    )
    assert match(NAMED, "bedroom/**") == expected


@pytest.mark.parametrize(
    "selector", ["bedroom/B*", "bedroom/*/ring", "bedroom/*/undercut", "bedroom/C*", "*/C1"]
)
def test_bare_holes_answer_to_their_own_id_alone(selector: str) -> None:
    assert match(NAMED, selector) == ()


@pytest.mark.parametrize("selector", ["bedroom/n*", "bedroom/s*", "Bedroom/1", "bedroom/w1", "*"])
def test_what_matches_nothing(selector: str) -> None:
    assert match(NAMED, selector) == ()


def test_select_in_a_building() -> None:
    assert select(building(), "bedroom/windows") == ("bedroom/W1", "bedroom/W2")


@pytest.mark.parametrize(
    ("selector", "message"),
    [
        ("bedroom/wals", '"bedroom/wals" names no panel of "bedroom": did you mean "walls"?'),
        ("bedroom/w1", '"bedroom/w1" names no panel of "bedroom": did you mean "W1"?'),
        (
            "bedrom/walls",
            '"bedrom/walls" names no panel: there is no space "bedrom"; did you mean "bedroom"?',
        ),
        ("closet/doors", '"closet/doors" names no panel: "closet" has no doors'),
        (
            "walls",
            '"walls" names no panel: write a space and a panel or group, such as "bedroom/walls"',
        ),
    ],
)
def test_what_select_says(selector: str, message: str) -> None:
    with pytest.raises(SelectionError) as caught:
        select(building(), selector)
    assert str(caught.value) == message
    assert isinstance(caught.value, EnvelopeError)
    assert isinstance(caught.value, LookupError)


def test_nearest_names_when_nothing_is_near() -> None:
    assert nearest_names("qqq", ["film", "coating"]) == 'known are "coating", "film"'
    assert nearest_names("qqq", []) == "there are none"
    many = [f"long-name-{number}" for number in range(80)]
    assert nearest_names("qqq", many).endswith(" and 53 more")
    assert "more" not in nearest_names("qqq", many[:27])
