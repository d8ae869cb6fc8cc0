"""One clear message for each mistake in the tables of the wiring."""

import pytest

from envelope.errors import ProjectFileError

MISTAKES = [
    (
        ('path = "0, 0.3  3.5, 0.3 m"', 'path = "1, 0.3  1, 0.3  2, 0.3 m"'),
        "cable[1].path: corners 1 and 2 of the path are at one place",
    ),
    (
        ('outlet = "bedside"', 'outlet = "beside"'),
        'device[0].outlet: there is no outlet "beside": did you mean "bedside"?',
    ),
    (
        ('on = "bedroom/south"\nat = "2.3 m"', 'on = "bedroom/floor"\nat = "2.3, 1 m"'),
        'outlet[0].on: "bedroom/floor" is a floor: a socket is on a wall',
    ),
    (
        ('on = "bedroom/south"\nat = "2.3 m"', 'on = "bedroom/sout"\nat = "2.3 m"'),
        'outlet[0].on: "bedroom/sout" names no panel of "bedroom": did you mean "south"?',
    ),
    (
        (
            'on = "bedroom/south"\nat = "2.3 m"',
            'on = "bedroom/north"\nat = "2 m"\nheight = "1.2 m"',
        ),
        'outlet[0].at: "2 m" lies in window "bedroom/W1": move it beside it',
    ),
    (
        (
            'on = "bedroom/ceiling"\nat = "1, 1.2 m"',
            'on = "bedroom/west"\nat = "2.8 m"\nheight = "1 m"',
        ),
        'bond[1].at: "2.8 m" lies in door "bedroom/D1": move it beside it',
    ),
    (
        ('at = "2.3 m"', 'at = "4.3 m"'),
        'outlet[0].at: "4.3 m" lies outside face "bedroom/1": it is 4 m long, and reaches from '
        "0 m to 2.5 m above the floor",
    ),
    (
        ('path = "0, 0.3  3.5, 0.3 m"', 'path = "0, 0.3  3.9, 0.3 m"'),
        'cable[1].path: corner 2, 3.9 m and 0.3 m, lies outside face "bedroom/east": it is 3.5 m '
        "long, and reaches from 0 m to 2.5 m above the floor",
    ),
    (
        ('path = "1, 0  1, 3.5 m"', 'path = "1, 0  1, 4.5 m"'),
        'cable[2].path: corner 2, 1 m and 4.5 m, lies outside face "bedroom/floor": x runs from '
        "0 m to 4 m and y from 0 m to 3.5 m",
    ),
    (
        ('on = "bedroom/ceiling"\nat = "1, 1.2 m"', 'on = "bedroom/south"\nat = "1 m"'),
        'bond[1].on: bonds "earth-bar" and "ceiling-bond" are both on one island under plan '
        '"closed-all" ("bedroom/1", "bedroom/2", "bedroom/3", "bedroom/4"): an island is bonded '
        "at one point",
    ),
    (
        (
            '[supply]\nvoltage = "230 V"\nfrequency = "50 Hz"',
            '[[supply]]\nid = "L1"\nvoltage = "120 V"\nfrequency = "60 Hz"\nphase = "0 deg"\n'
            '[[supply]]\nid = "L2"\nvoltage = "120 V"\nfrequency = "60 Hz"',
        ),
        "supply[1].voltage: there are 2 supplies, and this voltage has no phase: add it, such as "
        'phase = "180 deg"',
    ),
    (
        (
            '{ on = "bedroom/floor", with = "coating", along = "sockets", width = "25 cm" }]',
            '{ on = "bedroom/floor", with = "coating", along = "lights", width = "25 cm" }]',
        ),
        'plan[5].strips[0].along: circuit "lights" has no run behind "bedroom/floor"',
    ),
    (
        ('voltage = "230 V"', "voltage = 230"),
        "supply.voltage: 230 is a bare number: a voltage is written in quotes with its unit, "
        'such as "230 V"',
    ),
    (
        ('circuit = "sockets"\non = "bedroom/east"', 'circuit = "socket"\non = "bedroom/east"'),
        'cable[1].circuit: there is no circuit "socket": did you mean "sockets"?',
    ),
    (
        ('off = ["sockets"]', 'off = ["socket"]'),
        'plan[9].off: there is no circuit "socket": did you mean "sockets"?',
    ),
    (
        ('at = "2.0, 0.25, 0.6 m"', 'at = "2.0, 0.25, 2.6 m"'),
        'device[0].at: the point lies outside every space, not in "bedroom": it is 0.10 m from '
        'panel "bedroom/ceiling"; coordinates are the space\'s own, the height is above its floor',
    ),
    (
        (
            '[supply]\nvoltage = "230 V"\nfrequency = "50 Hz"\n',
            "",
        ),
        "circuit[0]: there is no supply: write its voltage to earth, such as "
        'supply = { voltage = "230 V", frequency = "50 Hz" }',
    ),
    (
        (
            'cable = "round"\n\n[[circuit]]\nid = "lights"',
            'cable = "rond"\n\n[[circuit]]\nid = "lights"',
        ),
        'circuit[0].cable: "rond" is not a kind of cable: it is one of "round", "flat", '
        '"singles", "open", "metal-clad", "unknown"; did you mean "round"?',
    ),
]
BOTH = """
[[plan]]
id = "closed-all"
treat = [{ on = "bedroom/walls", with = "coating" }]
"""


@pytest.mark.parametrize(("change", "message"), MISTAKES)
def test_one_mistake_gives_one_message(change, message, made, job_of):
    text = made(lamp=True)
    first = text.index("[[plan]]")
    text = text[:first] + BOTH.lstrip() + "\n" + text[first:]
    old, new = change
    assert old in text
    with pytest.raises(ProjectFileError) as caught:
        job_of(text.replace(old, new, 1))
    said = [str(fault) for fault in caught.value.faults]
    assert [each.partition(" ")[2] for each in said] == [message]
    assert said[0].startswith("room.toml:")


def test_lengths_are_answered_in_the_measure_of_the_file(made, job_of):
    with pytest.raises(ProjectFileError, match=r"reaches from 0 in \(0 m\) to 8 ft 2 7/16 in"):
        job_of(made(('at = "2.3 m"', 'at = "14 ft"')))


def test_a_strip_along_a_route_that_is_not_known(made, job_of):
    text = made(without=("south-run", "east-run", "floor-run", "riser"))
    with pytest.raises(ProjectFileError, match='circuit "sockets" has no run behind'):
        job_of(text)  # one outlet is no run
    text += '[[outlet]]\nid = "far"\ncircuit = "sockets"\non = "bedroom/east"\nat = "3.0 m"\n'
    with pytest.raises(ProjectFileError, match='the route of "sockets" is unknown: find it first'):
        job_of(text)


def test_two_bonds_under_a_plan_that_names_them(made, job_of):
    walls = 'treat = [{ on = "bedroom/walls", with = "coating" }]\nbond = '
    text = made(
        ('on = "bedroom/ceiling"\nat = "1, 1.2 m"', 'on = "bedroom/east"\nat = "1 m"'),
        (walls + '["earth-bar"]', walls + '["earth-bar", "ceiling-bond"]'),
    )
    with pytest.raises(ProjectFileError, match=r"on one island under plan .walls-bonded"):
        job_of(text)
