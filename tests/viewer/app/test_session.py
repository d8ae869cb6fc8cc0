"""Working on a job: edits, undo, the file on disk, the lock, and what is cast and analysed anew."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from envelope import rays
from envelope.errors import CancelledError, ProjectFileError
from envelope.exposure.analysis import analyze
from envelope.project import load
from envelope.rays import Sampling
from viewer.app.files import JobLock, lock_path, recovery_path
from viewer.app.session import ChangedOnDiskError, EditError, Session, free_plan_id

QUICK = Sampling(points_per_panel=2**6, points=2**9)
JOB = """# A shed of our own invention.
format = 1
name = "Shed"   # kept

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
origin = "10 m, 20 m"

[[opening]]
id = "W1"
on = "shed/south"
kind = "window"
at = "1 m"
sill = "0.9 m"
size = "1 m x 1 m"

[[treatment]]
id = "coat"     # two words on it
kind = "fixed"
loss = "30 dB"

[[treatment]]
id = "film"
kind = "fixed"
loss = "22 dB"

[[receiver]]
id = "pillow"
space = "shed"
at = "1, 1, 0.6 m"   # measured twice

[[receiver]]
id = "chair"
space = "shed"
at = "2, 1, 1.1 m"

[[plan]]
id = "some"
treat = [
    { on = "shed/walls", with = "coat" },   # all four
]
"""
FACES = ["shed/1", "shed/2", "shed/3", "shed/4", "shed/W1", "shed/ceiling", "shed/floor"]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    job = tmp_path / "shed.toml"
    job.write_text(JOB, encoding="utf-8")
    return job


@pytest.fixture
def session(path: Path):
    opened = Session(path, sampling=QUICK)
    yield opened
    opened.close()


def test_opening_changes_nothing(session: Session, path: Path) -> None:
    assert session.text == JOB
    assert session.is_saved
    assert session.undoes is None
    assert session.redoes is None
    assert session.disk() == "same"
    assert not recovery_path(path).exists()


def test_a_treatment_reaches_text_and_plan_and_keeps_comments(session: Session) -> None:
    assert session.set_treatments(plan="some", panels=["shed/W1"], treatments=["film"])
    assert session.job is not None
    assert session.job.plan("some").treatments["shed/W1"] == ("film",)
    for comment in ("# kept", "# two words on it", "# measured twice", "# all four"):
        assert comment in session.text
    assert session.undoes == "film on shed/W1"
    assert not session.is_saved


def test_what_is_there_already_is_no_edit(session: Session) -> None:
    assert not session.set_treatments(plan="some", panels=["shed/1"], treatments=["coat"])
    assert not session.set_treatments(plan="some", panels=["shed/W1"], treatments=[])
    assert session.undoes is None


def test_a_look_ahead_says_what_the_edit_then_does(session: Session) -> None:
    panels = ["shed/2", "shed/W1"]
    ahead = session.with_treatments(plan="some", panels=panels, treatments=["film", "coat"])
    assert session.text == JOB
    session.set_treatments(plan="some", panels=panels, treatments=["film", "coat"])
    assert session.job is not None
    assert dict(session.job.plan("some").treatments) == dict(ahead.treatments)
    bare = session.with_treatments(plan="some", panels=panels, treatments=[])
    assert set(bare.treatments) == {"shed/1", "shed/3", "shed/4"}


def test_twenty_changes_undone_and_redone_end_in_the_same_bytes(
    session: Session, path: Path
) -> None:
    texts = [session.text]
    choices = [["film"], ["film", "coat"], []]
    for k in range(20):
        assert session.set_treatments(
            plan="some", panels=[FACES[k % 7]], treatments=choices[k // 7]
        )
        texts.append(session.text)
    assert len(set(texts)) == 21
    for expected in reversed(texts[:-1]):
        session.undo()
        assert session.text == expected
    assert session.text.encode() == JOB.encode()
    assert session.is_saved
    assert session.undoes is None
    for expected in texts[1:]:
        session.redo()
        assert session.text == expected
    session.save()
    assert path.read_bytes() == texts[-1].encode()
    for _ in range(20):
        session.undo()
    session.save()
    assert path.read_bytes() == JOB.encode()


def test_an_edit_after_an_undo_drops_what_was_undone(session: Session) -> None:
    session.set_treatments(plan="some", panels=["shed/W1"], treatments=["film"])
    session.undo()
    assert session.redoes == "film on shed/W1"
    session.set_treatments(plan="some", panels=["shed/floor"], treatments=["coat"])
    assert session.redoes is None
    session.redo()  # there is nothing, and nothing happens
    assert session.undoes == "coat on shed/floor"


def test_as_built_stays_bare(session: Session) -> None:
    with pytest.raises(EditError, match="as-built"):
        session.set_treatments(plan="as-built", panels=["shed/1"], treatments=["coat"])
    assert session.text == JOB


def test_an_unknown_treatment_is_refused_and_leaves_no_step(session: Session) -> None:
    with pytest.raises(EditError, match="velvet"):
        session.set_treatments(plan="some", panels=["shed/1"], treatments=["velvet"])
    assert session.text == JOB
    assert session.undoes is None


def test_a_new_plan_starts_like_the_one_it_comes_from(session: Session) -> None:
    session.new_plan(plan="some-2", beside="some")
    session.set_treatments(plan="some-2", panels=["shed/1"], treatments=[])
    assert session.job is not None
    assert set(session.job.plan("some-2").treatments) == {"shed/2", "shed/3", "shed/4"}
    assert set(session.job.plan("some").treatments) == {"shed/1", "shed/2", "shed/3", "shed/4"}


def test_ids_for_new_plans() -> None:
    assert free_plan_id(like="as-built", taken=["as-built"]) == "plan-1"
    assert free_plan_id(like="some", taken=["some"]) == "some-2"
    assert free_plan_id(like="some-2", taken=["some", "some-2"]) == "some-3"


def test_a_receiver_moves_in_its_spaces_own_coordinates(session: Session) -> None:
    assert session.job is not None
    assert session.local_m(session.job.receivers[0]) == pytest.approx((1.0, 1.0, 0.6))
    session.move_receiver(receiver="pillow", at_m=(0.5, 1.5, 0.7))
    assert session.job is not None
    np.testing.assert_allclose(session.job.receivers[0].position_m, (10.5, 21.5, 0.7))
    assert "# measured twice" in session.text


def test_a_receiver_cannot_leave_its_room(session: Session) -> None:
    with pytest.raises(EditError, match="outside"):
        session.move_receiver(receiver="pillow", at_m=(5.0, 1.0, 0.6))
    assert session.text == JOB


# The file


def test_save_writes_the_file_and_drops_the_recovery(session: Session, path: Path) -> None:
    session.set_treatments(plan="some", panels=["shed/W1"], treatments=["film"])
    assert recovery_path(path).read_text(encoding="utf-8") == session.text
    session.save()
    assert path.read_text(encoding="utf-8") == session.text
    assert session.is_saved
    assert not recovery_path(path).exists()
    assert load(path).plan("some").treatments["shed/W1"] == ("film",)


def test_a_file_that_changed_meanwhile_is_not_overwritten_unasked(
    session: Session, path: Path
) -> None:
    session.set_treatments(plan="some", panels=["shed/W1"], treatments=["film"])
    path.write_text(JOB.replace("Shed", "Barn"), encoding="utf-8")
    assert session.disk() == "changed"
    with pytest.raises(ChangedOnDiskError, match="changed on disk"):
        session.save()
    assert "Barn" in path.read_text(encoding="utf-8")
    assert recovery_path(path).exists()
    session.save(overwrite=True)
    assert path.read_text(encoding="utf-8") == session.text
    assert session.disk() == "same"


def test_reading_again_can_be_undone(session: Session, path: Path) -> None:
    session.set_treatments(plan="some", panels=["shed/W1"], treatments=["film"])
    mine = session.text
    path.write_text(JOB.replace("Shed", "Barn"), encoding="utf-8")
    session.read_again()
    assert session.job is not None
    assert session.job.name == "Barn"
    assert session.is_saved
    session.undo()
    assert session.text == mine


def test_a_vanished_file_is_noticed_and_can_be_written_anew(session: Session, path: Path) -> None:
    session.set_treatments(plan="some", panels=["shed/W1"], treatments=["film"])
    path.unlink()
    assert session.disk() == "gone"
    with pytest.raises(ChangedOnDiskError, match="deleted"):
        session.save()
    session.save(overwrite=True)
    assert path.read_text(encoding="utf-8") == session.text


def test_touching_the_file_is_no_change(session: Session, path: Path) -> None:
    path.write_text(JOB, encoding="utf-8")
    assert session.disk() == "same"


def test_unsaved_edits_wait_for_the_next_time(path: Path) -> None:
    first = Session(path, sampling=QUICK)
    first.set_treatments(plan="some", panels=["shed/W1"], treatments=["film"])
    edited = first.text
    first.close()
    second = Session(path, sampling=QUICK)
    assert second.waiting == edited
    assert second.text == JOB
    with pytest.raises(EditError, match="take up or drop"):
        second.set_treatments(plan="some", panels=["shed/W1"], treatments=["coat"])
    second.take_up()
    assert second.text == edited
    assert second.undoes == "take up unsaved edits"
    second.close()
    third = Session(path, sampling=QUICK)
    assert third.waiting == edited
    third.drop_waiting()
    assert third.waiting is None
    assert not recovery_path(path).exists()
    third.close()


def test_undoing_everything_leaves_nothing_to_recover(session: Session, path: Path) -> None:
    session.set_treatments(plan="some", panels=["shed/W1"], treatments=["film"])
    session.undo()
    assert not recovery_path(path).exists()


def test_a_second_session_is_told_and_may_go_on_once_the_first_has_ended(path: Path) -> None:
    first = Session(path, sampling=QUICK)
    first.set_treatments(plan="some", panels=["shed/W1"], treatments=["film"])
    second = Session(path, sampling=QUICK)
    assert second.other_process is not None
    assert second.waiting is None  # the first one's unsaved edits are not offered to it
    with pytest.raises(EditError, match="open in another window"):
        second.set_treatments(plan="some", panels=["shed/W1"], treatments=["coat"])
    with pytest.raises(EditError, match="open in another window"):
        second.save()
    assert not second.try_lock()
    first.save()
    first.close()
    assert second.try_lock()
    assert second.other_process is None
    assert second.job is not None
    assert second.job.plan("some").treatments["shed/W1"] == ("film",)
    second.close()
    assert not lock_path(path).exists()


def test_the_lock_of_a_killed_process_holds_nobody(path: Path) -> None:
    code = (
        "import os, sys\nfrom pathlib import Path\nfrom viewer.app.files import JobLock\n"
        "lock = JobLock(Path(sys.argv[1]))\nassert lock.acquire()\nprint('have', flush=True)\n"
        "sys.stdin.read(1)\nos._exit(1)\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, str(path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "have\n"
        lock = JobLock(path)
        assert not lock.acquire()
        assert lock.holder == other.pid
        other.communicate("x")
    assert lock_path(path).exists()
    assert lock.acquire()
    lock.release()


# Faults


def test_a_faulty_job_opens_with_its_faults_and_can_be_mended(path: Path) -> None:
    path.write_text(JOB.replace('size = "3 m x 2 m"', 'size = "3 x 2"'), encoding="utf-8")
    session = Session(path, sampling=QUICK)
    assert session.job is None
    assert [fault.location.line for fault in session.faults if fault.location] == [26]
    assert session.findings is None
    assert not session.needs_cast
    with pytest.raises(EditError, match="faults"):
        session.set_treatments(plan="some", panels=["shed/1"], treatments=[])
    session.set_text(JOB)
    assert session.job is not None
    assert session.faults == ()
    session.close()


def test_no_file_no_session(tmp_path: Path) -> None:
    with pytest.raises(ProjectFileError, match="no such file"):
        Session(tmp_path / "none.toml")
    assert list(tmp_path.iterdir()) == []


def test_a_text_that_no_file_may_have_is_refused(session: Session) -> None:
    with pytest.raises(EditError, match="1 MB"):
        session.set_text(JOB + "#" * 1_000_000)


# Findings


def test_a_treatment_is_answered_from_the_same_casts(session: Session) -> None:
    assert session.findings is None
    assert session.needs_cast
    shares: list[float] = []
    session.cast(progress=shares.append)
    assert shares
    assert max(shares) <= 1.0
    assert not session.needs_cast
    assert session.job is not None
    assert session.findings is not None
    before = session.findings.of(plan=session.job.plan("some")).receivers[0]
    session.set_treatments(plan="some", panels=["shed/W1"], treatments=["coat"])
    assert not session.needs_cast
    after = session.findings.of(plan=session.job.plan("some")).receivers[0]
    loss_db = {panel.panel: panel.loss_db for panel in before.panels}
    assert loss_db["shed/W1"] == pytest.approx(1.0)
    loss_db = {panel.panel: panel.loss_db for panel in after.panels}
    assert loss_db["shed/W1"] == pytest.approx(31.0)
    assert after.bands[0].isotropic_reduction_db > before.bands[0].isotropic_reduction_db
    session.undo()
    again = session.findings.of(plan=session.job.plan("some"), receivers=["pillow"])
    assert again.receivers == (before,)


def test_bands_come_when_they_are_asked_for(session: Session) -> None:
    text = session.text.replace(
        "[[receiver]]",
        '[[source]]\nid = "mast"\nazimuth = "180 deg"\nelevation = "5 deg"\n'
        'band = "1.8-1.9 GHz"\nlevel = "500 uW/m2"\n\n[[receiver]]',
        1,
    )
    session.set_text(text)
    session.cast()
    assert session.job is not None
    assert session.findings is not None
    plan = session.job.plan("some")
    quick = session.findings.of(plan=plan, receivers=["pillow"]).receivers[0]
    assert quick.low_w_m2 is None
    whole = session.findings.of(plan=plan, receivers=["pillow"], with_bands=True).receivers[0]
    assert whole.low_w_m2 is not None
    assert whole.low_w_m2 < whole.level_w_m2 == pytest.approx(quick.level_w_m2)
    again = session.findings.of(plan=plan, receivers=["pillow"]).receivers[0]
    assert again is whole


def test_only_the_moved_receiver_is_cast_again_and_going_back_costs_nothing(
    session: Session,
) -> None:
    session.cast()
    assert session.job is not None
    assert session.findings is not None
    plan = session.job.plan("as-built")
    before = session.findings.of(plan=plan)
    session.move_receiver(receiver="pillow", at_m=(1.5, 0.4, 1.4))
    assert session.job is not None
    missing = session.now.castings.missing(session.job)
    assert [receiver.id for receiver in missing] == ["pillow"]
    session.cast()
    moved = session.findings.of(plan=plan)
    window = {panel.panel: panel for panel in moved.receivers[0].panels}["shed/W1"]
    window_before = {panel.panel: panel for panel in before.receivers[0].panels}["shed/W1"]
    assert window.solid_angle_sr > 2.0 * window_before.solid_angle_sr
    assert moved.receivers[1] is not before.receivers[1]
    assert moved.receivers[1].panels == before.receivers[1].panels
    session.undo()
    assert not session.needs_cast
    assert session.findings.of(plan=plan).receivers[0].panels == before.receivers[0].panels


def test_ranges_are_those_of_the_command_line(session: Session) -> None:
    session.cast()
    assert session.job is not None
    assert session.findings is not None
    plan = session.job.plans[-1]
    assert plan.treatments
    (command,) = analyze(
        job=session.job,
        casts=session.findings.casts,
        plans=[plan],
        with_bands=True,
        ranked_plans=(),
    ).plans
    for receiver in command.receivers:
        (shown,) = session.findings.of(
            plan=plan, receivers=[receiver.id], with_bands=True
        ).receivers
        assert (shown.low_w_m2, shown.high_w_m2) == (receiver.low_w_m2, receiver.high_w_m2)


def test_what_was_cast_before_is_not_cast_again(
    path: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("GAPCAST_CACHE", str(tmp_path / "kept"))
    first = Session(path, sampling=QUICK)
    first.cast()
    first.close()

    def none(*arguments: object, **named: object) -> None:
        raise AssertionError("it was cast again")

    for name in ("cast_chain", "cast_cone", "cast_directions", "cast_lit", "cast_point"):
        monkeypatch.setattr(rays, name, none)
    second = Session(path, sampling=QUICK)
    second.cast()
    assert first.findings is not None
    assert second.findings is not None
    plan = second.job.plans[-1]
    found = [each.findings.of(plan=plan).receivers[0].panels for each in (first, second)]
    assert found[0] == found[1]
    second.close()


def test_casting_can_be_stopped(session: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GAPCAST_CACHE", "")
    with pytest.raises(CancelledError):
        session.cast(cancel=lambda: True)
    assert session.needs_cast
    assert session.findings is None
