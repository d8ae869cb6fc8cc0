"""What is not known is computed every way and never comes out as one number."""

import json

import numpy as np
import pytest

from envelope.building.conduction import conductive_treatments
from envelope.building.islands import unbonded_plans
from envelope.wiring.choices import MAX_STATES, choices
from envelope.wiring.routing import distinct_routes, routed_runs
from envelope.wiring.serialise import wiring_as_plain
from envelope.wiring.spread import solve_wiring
from envelope.wiring.walls import usual_conduction
from envelope.wiring_text import agreement_words, change_words_of, verdict

WALL = """
[[assembly]]
id = "wall"
layers = [{{ material = "plasterboard", thickness = "25 mm" }}]
conducts = "{conducts}"
"""
BONDED = """
[[plan]]
id = "walls-bonded"
treat = [{ on = "bedroom/walls", with = "coating" }]
bond = ["earth-bar"]
"""


def at_pillow(job, plans=None, before=None):
    results = solve_wiring(job, job.wiring, plans=plans, before=before)[1]
    return results, {plan.plan: plan.receivers[0] for plan in results.plans}


def with_walls(made, conducts, *, faces=False, plans=BONDED):
    """The room with walls of an assembly that says what it does, cables where they were."""
    kinds = [("exterior-wall", "timber-wall")]
    if faces:
        kinds += [("slab", "joist-floor"), ("floor", "joist-floor"), ("roof", "tiled-roof")]
    changes = [(f'\n{kind} = "{name}"', f'\n{kind} = "wall"') for kind, name in kinds]
    changes += [
        (path, f'{path}\ndepth = "57 mm"')
        for path in (
            'path = "0, 0.3  4, 0.3 m"',
            'path = "0, 0.3  3.5, 0.3 m"',
            'path = "1, 0  1, 0.3 m"',
            'path = "2.3, 1.1  2.3, 2.5 m"',
        )
    ]
    return made(*changes, plans=plans + WALL.format(conducts=conducts))


@pytest.mark.parametrize(
    ("conducts", "faces", "expected"),
    [("no", False, 14.0), ("earthed", False, 3.5), ("isolated", False, 8.0)],
)
def test_walls_that_conduct_without_any_coating(made, job_of, conducts, faces, expected):
    """As solved by a separate program, rounded: walls earthed 3.5, not earthed 8 V/m."""
    _, fields = at_pillow(job_of(with_walls(made, conducts, faces=faces)))
    assert fields["as-built"].field_v_m.low == pytest.approx(expected, rel=0.05)


def test_a_room_whose_every_face_conducts_is_quiet(made, job_of):
    for conducts in ("earthed", "isolated"):
        _, fields = at_pillow(job_of(with_walls(made, conducts, faces=True)))
        assert fields["as-built"].field_v_m.high < 0.12


def test_unknown_walls_are_all_three_states(made, job_of):
    results, fields = at_pillow(job_of(with_walls(made, "unknown")))
    assert results.unknowns == ("whether walls conduct",)
    assert results.states == 3
    before = fields["as-built"]
    assert set(before.by_walls) == {"no", "earthed", "isolated"}
    assert before.field_v_m.low < 0.5 * before.field_v_m.high
    for walls, single in (("no", 14.0), ("earthed", 3.5), ("isolated", 8.0)):
        assert before.by_walls[walls].high == pytest.approx(single, rel=0.05)
    # earthed walls are as good as the coating, which then wins nothing
    assert results.winner is None
    assert "not decided: measure" in verdict(results)


ROUTED = """
[[outlet]]
id = "far"
circuit = "sockets"
on = "bedroom/east"
at = "3.0 m"
"""
RUNS = ("south-run", "east-run", "floor-run", "riser")


def routed(made, route, **more):
    return made(
        (
            'cable = "round"\n\n[[circuit]]\nid = "lights"',
            f'cable = "round"\nroute = "{route}"\n\n[[circuit]]\nid = "lights"',
        ),
        without=RUNS,
        plans=ROUTED + BONDED,
        **more,
    )


def test_an_unknown_route_is_the_range_of_all_four(made, job_of):
    single = {}
    for route in ("low", "high", "floor", "ceiling"):
        _, fields = at_pillow(job_of(routed(made, route)), plans=[])
        span = fields["as-built"].field_v_m
        assert span.low == span.high
        single[route] = span.low
    results, fields = at_pillow(job_of(routed(made, "unknown")), plans=[])
    assert results.unknowns == ("the route of sockets",)
    assert results.states == 4
    span = fields["as-built"].field_v_m
    assert span.low == pytest.approx(min(single.values()), rel=0.02)
    assert span.high == pytest.approx(max(single.values()), rel=0.02)
    assert span.high > 1.2 * span.low


def test_a_reading_tells_routes_apart_and_decides_between_plans(made, job_of):
    """A strip over the floor helps where the run lies under it, and nowhere else."""
    laid = made(
        (
            'cable = "round"\n\n[[circuit]]\nid = "lights"',
            'cable = "round"\nroute = "unknown"\n\n[[circuit]]\nid = "lights"',
        ),
        without=("south-run", "east-run", "floor-run", "riser", "ceiling-run", "switch-drop"),
        plans=ROUTED + BONDED,
    )
    results, fields = at_pillow(job_of(laid))
    assert results.left_open == ()
    assert results.winner_left is None
    span = fields["as-built"].field_v_m
    assert span.high > 2.3 * span.low  # readings within 1.5 tell the ends apart
    for field, gone in ((span.high, "least"), (span.low, "most")):
        read = (
            '\n[[field-reading]]\nid = "r"\nspace = "bedroom"\nat = "1.5, 0.4, 0.65 m"\n'
            f'field = "{field:.3f} V/m"\nagainst = "nothing"\n'
        )
        told, _ = at_pillow(job_of(laid + read))
        ((name, left),) = told.left_open
        assert name == "route of sockets"
        assert 0 < len(left) < 4, gone
        assert 0 < told.states_left < told.states
        (said, leave, *_) = agreement_words(told)
        assert said.startswith(f"{told.states_left} of 4 states agree")
        assert leave == f"They leave route of sockets: {' or '.join(left)}."


def test_readings_before_and_after_a_plan(made, job_of):
    both = "".join(
        f'\n[[field-reading]]\nid = "{name}"\nspace = "bedroom"\nat = "1.5, 0.4, 0.65 m"\n'
        f'field = "{field} V/m"\nagainst = "{against}"\nplan = "{plan}"\n'
        for name, field, against, plan in (
            ("free-before", 14, "nothing", "as-built"),
            ("free-after", 4, "nothing", "walls-bonded"),
            ("earth-before", 40, "earth", "as-built"),
            ("earth-after", 10, "earth", "walls-bonded"),
        )
    )
    job = job_of(made(plans=BONDED + both))
    results, fields = at_pillow(job)
    free, earth = results.changes
    ratio = fields["walls-bonded"].against_as_built
    assert free.predicted_ratio.low == pytest.approx(ratio.low, rel=1e-9)
    assert change_words_of(free).startswith(
        "walls-bonded: 14\N{NO-BREAK SPACE}V/m before became 4.0\N{NO-BREAK SPACE}V/m, 0.29 times; "
        "predicted 0.25 times"
    )
    assert change_words_of(earth).endswith("0.25 times, both against earth.")
    # what was read against earth takes no part in telling states apart
    assert agreement_words(results) == (
        "The potential-free readings agree within a factor of 1.5.",
    )


def test_an_unknown_cable_and_phase(made, job_of):
    text = made(plans=BONDED).replace(
        'cable = "round"\n\n[[outlet]]', 'cable = "unknown"\n\n[[outlet]]'
    )
    results, fields = at_pillow(job_of(text), plans=[])
    assert results.unknowns == ("the cable of lights",)
    assert fields["as-built"].field_v_m.high > 1.005 * fields["as-built"].field_v_m.low
    text = made(plans=BONDED).replace(
        'cable = "round"\n\n[[outlet]]', 'cable = "round"\nphase = "unknown"\n\n[[outlet]]'
    )
    results, fields = at_pillow(job_of(text), plans=[])
    assert results.unknowns == ("the phase of lights",)
    assert results.states == 3
    assert fields["as-built"].field_v_m.high > 1.05 * fields["as-built"].field_v_m.low


def test_a_split_supply_has_two_phases(made, job_of):
    text = made(plans=BONDED).replace(
        '[supply]\nvoltage = "230 V"\nfrequency = "50 Hz"',
        "\n".join(
            f'[[supply]]\nid = "L{n}"\nvoltage = "120 V"\nfrequency = "60 Hz"\nphase = "{deg} deg"'
            for n, deg in ((1, 0), (2, 180))
        ),
    )
    job = job_of(text)
    assert job.wiring.frequency_hz == 60.0
    for circuit in job.wiring.circuits:
        assert [round(volts.real) for volts in circuit.voltages_v] == [120, -120]
    one = job_of(text.replace('cable = "round"\n', 'cable = "round"\nsupply = "L2"\n'))
    assert [round(v.real) for c in one.wiring.circuits for v in c.voltages_v] == [-120, -120]


def test_more_combinations_than_are_computed_are_a_sample(made, job_of):
    lamps = "".join(
        f'\n[[device]]\nid = "lamp-{n}"\noutlet = "bedside"\n'
        f'at = "2.0, {0.3 + 0.2 * n:.1f}, 0.6 m"\n'
        for n in range(9)
    )
    wiring = job_of(made(plans=BONDED + lamps)).wiring
    answers, sampled = choices(wiring)
    assert sampled
    assert len(answers) == MAX_STATES
    assert len({tuple(sorted(answer.plug.items())) for answer in answers}) == MAX_STATES


def test_figures_do_not_depend_on_the_order_of_tables(made, job_of):
    text = made(plans=BONDED)
    start = text.index('[[cable]]\nid = "south-run"')
    stop = text.index('[[cable]]\nid = "east-run"')
    end = text.index("[[bond]]")
    swapped = text[:start] + text[stop:end] + text[start:stop] + text[end:]
    first, second = (at_pillow(job_of(each))[1] for each in (text, swapped))
    for plan, at in first.items():
        assert second[plan].field_v_m.low == pytest.approx(at.field_v_m.low, rel=1e-9)


def test_json_holds_a_range_for_every_figure(made, job_of):
    results, _ = at_pillow(job_of(with_walls(made, "unknown")))
    plain = json.loads(json.dumps(wiring_as_plain(results), allow_nan=False))
    assert plain["best_plan"] is None
    receiver = plain["plans"][1]["receivers"][0]
    assert set(receiver["field_v_m"]) == {"low", "high"}
    assert set(receiver["by_walls"]) == {"no", "earthed", "isolated"}


def test_what_conducts_by_its_layers(made, job_of):
    text = made().replace(
        'exterior-wall = "timber-wall"',
        "\n".join(
            f'{kind} = "{name}"'
            for kind, name in (
                ("exterior-wall", "solid-brick-wall"),
                ("interior-wall", "log-wall"),
                ("hatch", "brick-veneer-wall"),
                ("vent", "metal-clad-wall"),
                ("box", "hollow-block-wall"),
                ("skylight", "foil-insulated-wall"),
            )
        ),
    )
    made_of = job_of(text).assemblies
    found = {name: usual_conduction(made_of[name]) for name in made_of}
    assert found["solid-brick-wall"] == "earthed"
    assert found["log-wall"] == "unknown"
    assert found["brick-veneer-wall"] == "no"  # the brick lies beyond the cables
    assert usual_conduction(made_of["brick-veneer-wall"], other_side=True) == "earthed"
    assert found["metal-clad-wall"] == "no"
    assert found["foil-insulated-wall"] == "unknown"
    assert found["hollow-block-wall"] == "unknown"
    assert found["joist-floor"] == "no"


def test_which_treatments_conduct(made, job_of):
    text = made().replace(
        "[[receiver]]",
        '[[treatment]]\nid = "paper"\nkind = "layers"\n'
        'layers = [{ material = "plasterboard", thickness = "1 mm" }]\n\n'
        '[[treatment]]\nid = "antistatic"\nkind = "sheet"\nsheet-resistance = "1e8 ohm/sq"\n\n'
        '[[treatment]]\nid = "foil"\nkind = "layers"\n'
        'layers = [{ material = "aluminium", thickness = "0.05 mm" }]\n\n[[receiver]]',
        1,
    )
    assert conductive_treatments(job_of(text)) == {"coating", "foil"}


READINGS = """
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

[[field-reading]]
id = "lights-off"
space = "bedroom"
at = "1.5, 0.4, 0.65 m"
field = "{lights} V/m"
against = "nothing"
off = ["lights"]
"""


def test_readings_stand_beside_predictions_and_point_at_a_circuit(made, job_of):
    job = job_of(made(plans=BONDED + READINGS.format(lights=14)))
    results, _ = at_pillow(job, plans=[])
    beside = {each.id: each for each in results.readings}
    assert beside["all-on"].predicted_v_m.low == pytest.approx(14.0, rel=0.05)
    assert beside["sockets-off"].predicted_v_m.low == pytest.approx(6.1, rel=0.05)
    assert [test.what for test in results.tests] == ["sockets", "lights"]
    assert results.tests[0].before_v_m == 15.0
    assert results.states_left == 1


def test_readings_that_nothing_entered_explains(made, job_of):
    job = job_of(made(plans=BONDED + READINGS.format(lights=80).replace('"6 V/m"', '"60 V/m"')))
    results, _ = at_pillow(job, plans=[])
    assert results.states_left == 0


def test_cables_that_lie_in_one_place_lie_side_by_side(made, job_of):
    """Two cables along one path, as drops to one outlet are, act as a pair and not as nonsense."""
    text = made(plans=BONDED)
    start = text.index('[[cable]]\nid = "south-run"')
    stop = text.index('[[cable]]\nid = "east-run"')
    twin = text[start:stop].replace('"south-run"', '"twin"')
    _, once = at_pillow(job_of(text))
    _, twice = at_pillow(job_of(text[:stop] + twin + text[stop:]))
    for plan in ("as-built", "walls-bonded"):
        ratio = twice[plan].field_v_m.low / once[plan].field_v_m.low
        assert 0.9 < ratio < 1.5


def test_a_film_on_a_leaf_floats_and_does_not_rule_a_plan_out(made, job_of):
    film = """
[[plan]]
id = "with-film"
treat = [
  { on = "bedroom/walls", with = "coating" },
  { on = "bedroom/W1", with = "coating" },
]
bond = ["earth-bar"]
"""
    results, _ = at_pillow(job_of(made(plans=film)))
    (plan,) = (plan for plan in results.plans if plan.plan == "with-film")
    leaf = {island.leaf: island for island in plan.islands}
    assert leaf[True].panels == ("bedroom/W1",)
    assert leaf[True].floats
    assert leaf[True].volts.low > 0.0
    assert not leaf[False].floats
    assert not plan.floats


def test_a_cable_that_doubles_back(made, job_of):
    text = made(
        ('path = "0, 0.3  3.5, 0.3 m"', 'path = "0, 0.3  3.5, 0.3  1, 0.3 m"'), plans=BONDED
    )
    _, fields = at_pillow(job_of(text))
    assert fields["as-built"].field_v_m.low == pytest.approx(14.0, rel=0.1)


LIGHT = """
[[outlet]]
id = "switch"
circuit = "lights"
kind = "switch"
on = "bedroom/west"
at = "2 m"

[[outlet]]
id = "light"
circuit = "lights"
kind = "light"
on = "bedroom/ceiling"
at = "2, 1.75 m"
"""


def test_no_route_to_a_light_rises_through_the_room(made, job_of):
    """Whatever the rule: up the wall from the switch, across above the ceiling, to the light."""
    job = job_of(
        made(
            ('id = "lights"\ncable = "round"', 'id = "lights"\ncable = "round"\nroute = "unknown"'),
            without=("ceiling-run", "switch-drop"),
            plans=LIGHT,
        )
    )
    circuit = job.wiring.circuit("lights")
    assert distinct_routes(job, job.wiring, circuit) == ("low",)
    for route in ("low", "high", "floor", "ceiling"):
        (run,) = routed_runs(job, job.wiring, circuit, route)
        away = run.path_m[np.abs(run.path_m[:, 0] + 0.057) > 1e-6]  # what is not behind the wall
        assert (away[:, 2] >= 2.5).all()
    results, _ = at_pillow(job)
    assert results.states == 1
    assert results.unknowns == ()


def test_a_slab_that_touches_a_coating_is_no_bond(made, job_of):
    """Concrete settles the coating's voltage; a plan is not proposed for that."""
    floor = """
[[plan]]
id = "on-the-slab"
treat = [{ on = "bedroom/west", with = "coating" }]
"""
    job = job_of(
        made(('slab = "joist-floor"', 'slab = "ground-slab"'), ("raised = true\n", ""), plans=floor)
    )
    results, _ = at_pillow(job)
    plan = results.plans[1]
    assert plan.islands[0].earthed_by_wall
    assert not plan.floats
    assert plan.unbonded
    assert results.winner is None
    assert unbonded_plans(job) == {"on-the-slab": ("coating",)}
