"""What `gapcast wiring` prints, in which order, and with which cautions where."""

import json

import pytest

from envelope.cli import main

OUTPUT = (  # in the order in which it matters
    "Caution: Work on wiring only when it is dead and proved dead, by a licensed electrician",
    "Caution: Residual-current (ground-fault) protection",
    "Not known: the cable of sockets",
    "A potential-free meter, circuit by circuit, decides.",
    "Field at the receiver",
    "raises the field",
    "Today, what remains with one thing off, least first",
    "a coating without a bond",
    "Bond: by a licensed electrician, the circuit dead and proved dead, to the protective earth",
    "never to neutral, pipes or a separate rod",
    "bonded and behind residual-current protection it trips, floating it never trips anything",
    "Strip: find and mark the cable first; no nail or screw through it",
    "What coatings stand at, and what their bonds carry",
    "A bond carries microamperes: a check by meter",
    "Body voltage to earth",
    "a meter of 10 MΩ shows about a fifth of the open voltage",
    "Readings beside what is predicted for their spots",
    "sockets off: 15 V/m became 6.0 V/m; predicted",
    "The readings point at sockets.",
    "How far 5 V/m reaches from each run alone",
    "coating does not stop them, distance does",
    "the public reference level of ICNIRP 2010 is 5000 V/m at 50 Hz",
)
PLANS = """
[[plan]]
id = "south-bonded"
treat = [{ on = "bedroom/south", with = "coating" }]
strips = [{ on = "bedroom/floor", with = "coating", along = "sockets", width = "25 cm" }]
bond = ["earth-bar"]

[[plan]]
id = "corner-floating"
treat = [{ on = "bedroom/south", with = "coating" }, { on = "bedroom/east", with = "coating" }]
bond = []

[[field-reading]]
id = "all-on"
space = "bedroom"
at = "1.5, 0.4, 0.65 m"
field = "15 V/m"
against = "nothing"

[[field-reading]]
id = "sockets-off"
space = "bedroom"
at = "1.5, 0.4, 0.65 m"
field = "6 V/m"
against = "nothing"
off = ["sockets"]
"""


@pytest.fixture(name="path", scope="module")
def path_fixture(made, tmp_path_factory):
    path = tmp_path_factory.mktemp("wiring") / "room.toml"
    text = made(plans=PLANS, without=("south-run", "riser", "floor-run"))
    text = text.replace(
        '[[cable]]\nid = "east-run"',
        '[[cable]]\nid = "floor-run"\ncircuit = "sockets"\non = "bedroom/floor"\n'
        'path = "1, 0  1, 3.5 m"\ndepth = "150 mm"\n\n[[cable]]\nid = "east-run"',
    ).replace('id = "sockets"\ncable = "round"', 'id = "sockets"\ncable = "unknown"')
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_it_prints_everything_in_order_with_cautions_where_work_is_proposed(path, capsys):
    assert main(["wiring", path]) == 0
    out = " ".join(capsys.readouterr().out.split())
    at = 0
    for words in OUTPUT:
        found = out.find(words, at)
        assert found >= 0, (words, out[at : at + 400])
        at = found
    floating = out.index("corner-floating raises the field")
    assert (
        "It needs a bond: by a licensed electrician, dead and proved dead"
        in out[floating : floating + 400]
    )


def test_one_plan_and_one_receiver_as_json(path, capsys):
    assert main(["wiring", path, "--plan", "south-bonded", "--receiver", "pillow", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert [plan["plan"] for plan in found["plans"]] == ["as-built", "south-bonded"]
    assert found["readings"][0]["against"] == "nothing"
    assert found["switch_tests"][0]["off"] == "sockets"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--plan", "south"], "plan 'south'"),
        (["--receiver", "pilow"], "did you mean pillow"),
        (["--png", "map.jpg"], ".png"),
    ],
)
def test_what_cannot_be_done_is_one_message(path, capsys, arguments, message):
    try:
        code = main(["wiring", path, *arguments])
    except SystemExit as stopped:
        code = stopped.code
    err = capsys.readouterr().err
    assert code == 2
    assert message in err
    assert "Traceback" not in err


@pytest.mark.parametrize(
    ("take", "message"),
    [
        ("[supply]", "no wiring: add supply, [[circuit]]"),
        ("[[receiver]]", "no receiver: add [[receiver]]"),
    ],
)
def test_a_job_without_wiring_or_receiver(made, tmp_path, capsys, take, message):
    text = made(plans="")
    start = text.index(take)
    stop = len(text) if take == "[supply]" else text.index("[supply]")
    path = tmp_path / "room.toml"
    path.write_text(text[:start] + text[stop:], encoding="utf-8")
    assert main(["wiring", str(path)]) == 2
    assert message in capsys.readouterr().err
