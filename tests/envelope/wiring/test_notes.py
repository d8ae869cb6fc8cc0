"""What `check` counts and asks of the wiring, and where commands say that a bond is missing."""

import json

import pytest

from envelope.cli import main
from envelope.text.cautions import _bonding
from envelope.wiring.notes import wiring_counts, wiring_notes

BARE = """
[[circuit]]
id = "boiler"

[[plan]]
id = "ceiling"
treat = [{ on = "bedroom/ceiling", with = "coating" }]
bond = ["earth-bar"]
"""


@pytest.fixture(name="path")
def path_fixture(made, tmp_path):
    path = tmp_path / "room.toml"
    path.write_text(made(lamp=True, plans=BARE), encoding="utf-8")
    return str(path)


def printed(capsys, *arguments):
    code = main([*arguments])
    return code, " ".join(capsys.readouterr().out.split())


def test_check_counts_the_wiring_and_says_what_is_open(capsys, path):
    code, out = printed(capsys, "check", path)
    assert code == 0
    assert "wiring: 3 circuits, 1 outlet, 6 cables, 1 device, 2 bonds plans" in out
    assert "circuit boiler has no run" in out
    assert "bond earth-bar on bedroom/1 lies on no conductive coating of any plan." in out
    assert "not known of the wiring: the cable of boiler." in out
    assert "No bond point is in the job for coating under ceiling" in out
    main(["check", path, "--json"])
    assert json.loads(capsys.readouterr().out)["wiring"]["cables"] == 6


def test_the_take_off_says_what_has_no_bond(capsys, path):
    _, out = printed(capsys, "takeoff", path, "--plan", "ceiling")
    assert "Caution: ceiling of bedroom: coating, film or mesh that conducts, and no bond" in out
    main(["takeoff", path, "--plan", "ceiling", "--json"])
    assert json.loads(capsys.readouterr().out)["without_bond"] == [["bedroom/ceiling"]]


def test_the_first_screen_says_what_has_no_bond(capsys, path):
    _, out = printed(capsys, "analyze", path)
    assert "power off and proved dead; none on a part of ceiling: add [[bond]]." in out


def test_a_plan_of_strips_alone_is_cautioned_too(made, job_of):
    strips = """
[[plan]]
id = "strips"
strips = [{ on = "bedroom/east", with = "coating", along = "sockets", width = "25 cm" }]
"""
    (said,) = _bonding(
        job := job_of(made(plans=strips)), [job.plan("strips")], advice=": add [[bond]]"
    )
    assert said.endswith("power off and proved dead; none on a part of strips: add [[bond]].")


def test_a_job_in_order_leaves_nothing_open(made, job_of):
    job = job_of(made())
    assert wiring_notes(job) == ()
    assert wiring_counts(job.wiring)["circuits"] == 2
