"""A surveyed job in the app: its level is there, edits keep the readings, saving loses nothing."""

from __future__ import annotations

from pathlib import Path

import pytest

from envelope.rays import Sampling
from viewer.app.session import Session

QUICK = Sampling(points_per_panel=2**6, points=2**9)
JOB = """# A surveyed shed of our own invention.
format = 1
name = "Shed"

[construction]
exterior-wall = "wall"
floor = "wall"
roof = "wall"
window = "pane"

[[assembly]]
id = "wall"
loss = "6 dB"

[[assembly]]
id = "pane"
loss = "1 dB"

[[storey]]
id = "only"
floor = "0 m"

[[space]]
id = "shed"
storey = "only"
size = "3 m x 2 m"
height = "2.2 m"

[[opening]]
id = "W1"
on = "shed/south"
kind = "window"
at = "1 m"
sill = "0.9 m"
size = "1 m x 1 m"

[[treatment]]
id = "coat"
kind = "fixed"
loss = "30 dB"

[[source]]
id = "mast"     # its level is not known outside
azimuth = "180 deg"
elevation = "3 deg"
band = "1805-1880 MHz"

[[reading]]     # taken on a still day
id = "r1"
source = "mast"
space = "shed"
at = "1.5, 1, 1.4 m"
level = "120 uW/m2"
spots = 6

[[receiver]]
id = "stool"
space = "shed"
at = "1, 1, 0.7 m"

[[plan]]
id = "walls"
treat = [{ on = "shed/walls", with = "coat" }]
"""
READING = JOB[JOB.index("[[reading]]") : JOB.index("[[receiver]]")]


@pytest.fixture
def session(tmp_path: Path):
    path = tmp_path / "shed.toml"
    path.write_text(JOB, encoding="utf-8")
    session = Session(path, sampling=QUICK)
    yield session
    session.close()


def test_a_job_with_readings_opens_and_is_analysed(session):
    assert session.faults == ()
    session.cast()
    result = session.findings.of(plan=session.job.plan("as-built"), with_bands=True)
    (source,) = result.receivers[0].sources
    assert source.outside_w_m2 == pytest.approx(session.job.solved[0].value, rel=1e-12)
    assert source.low_w_m2 < source.level_w_m2 < source.high_w_m2


def test_edits_and_saving_keep_the_readings_and_the_level(session):
    before = session.job.solved
    session.set_treatments(plan="walls", panels=["shed/ceiling"], treatments=["coat"])
    session.move_receiver(receiver="stool", at_m=(1.2, 0.9, 0.7))
    session.new_plan(plan="more", beside="walls")
    session.save()
    assert READING in session.path.read_text(encoding="utf-8")
    assert session.job.solved == before
    session.read_again()
    assert session.job.solved == before


def test_another_reading_gives_another_level(session):
    before = session.job.sources[0].level_w_m2[""]
    session.set_text(session.text.replace('"120 uW/m2"', '"240 uW/m2"'))
    assert session.job.sources[0].level_w_m2[""] == pytest.approx(2.0 * before, rel=1e-9)


def test_a_reading_that_cannot_be_is_a_fault_with_its_line(session):
    session.set_text(session.text.replace('"120 uW/m2"', '"120"'))
    (fault,) = session.faults
    assert str(fault).startswith("shed.toml:53 reading[0].level: ")
