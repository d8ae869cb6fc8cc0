"""The bed as the job states it: where it may move to, carried out in the file, and drawn."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from envelope.building.job import Job, Receiver
from envelope.building.sources import Bed
from envelope.cli import main
from envelope.errors import ProjectFileError
from envelope.exposure.analysis import analyze
from envelope.exposure.casts import Casts, cast_job
from envelope.plans.bed import BedPlace, bed_of, moved_to
from envelope.plans.decide import decide
from envelope.project import load
from envelope.rays import Sampling
from envelope.text.decisions import bed_moves, bed_words
from viewer.scene.meshes import bed_for

Maker = Callable[..., Job]
AT = 'at = "0.7, 1.2, 0.7 m"'
MAY = (AT, f'{AT}   # as it stands\nbed = {{ size = "0.8 m x 1.8 m", may-move = true }}')


def test_a_bed_that_may_move_is_among_what_costs_nothing(
    small_job: Maker, small_casts: Casts
) -> None:
    by_the_window = MAY[1].replace("0.7, 1.2", "1.8, 0.8")
    job = small_job("[]", (AT, by_the_window))
    assert job.receivers[0].bed == Bed(size_m=(0.8, 1.8), may_move=True)
    few = Sampling(points_per_panel=2**7, points=2**11)
    found = decide(job, casts=cast_job(job, sampling=few))
    assert [each.plan for each in found.bed] == ["as-built", f"step {found.stop_after}"]
    ((where, below_db),) = bed_moves(job, found.bed)
    assert below_db == pytest.approx(found.bed[0].below_db)
    words = bed_words(job, found.bed)
    assert words.startswith(f"{where}: ")
    assert words.endswith("once the steps are done; no step counts on it")
    stays = decide(small_job("[]"), casts=small_casts)
    assert stays.bed == ()
    assert bed_moves(job, stays.bed) == ()
    # the bed where it is said to be best has there what was said
    there = replace(job, receivers=(moved_to(job.receivers[0], found.bed[0].best),))
    again = cast_job(there, sampling=few)
    (plan,) = analyze(job=there, casts=again, plans=[there.plan("as-built")]).plans
    level = plan.receivers[0].level_w_m2
    assert 10.0 * math.log10(level / found.bed[0].best.level_w_m2) == pytest.approx(0.0, abs=0.25)


def test_a_box_moves_as_a_whole_and_turns() -> None:
    box = Receiver(
        id="bed", space="room", position_m=np.array([1.0, 2.0, 0.6]), size_m=np.array([1.4, 2, 0.2])
    )
    assert bed_of(box).size_m == (1.4, 2.0)
    place = BedPlace(head="east", pillow_m=(3.7, 1.5, 0.6), level_w_m2=1e-6)
    there = moved_to(box, place)
    assert there.position_m == pytest.approx([3.0, 1.5, 0.6])  # a metre less 0.3 m from its pillow
    assert there.size_m == pytest.approx([2.0, 1.4, 0.2])
    assert there.bed == Bed(size_m=(1.4, 2.0), head="east")
    north = moved_to(box, replace(place, head="north"))
    assert north.position_m == pytest.approx([3.7, 0.8, 0.6])
    assert north.size_m == pytest.approx([1.4, 2.0, 0.2])
    # and a point is its pillow
    point = replace(box, size_m=None)
    assert moved_to(point, place).position_m == pytest.approx([3.7, 1.5, 0.6])


def test_the_best_place_is_written_into_a_copy_and_all_else_stays(
    tmp_path: Path, small_text: Callable[..., str], capsys: pytest.CaptureFixture[str]
) -> None:
    path, moved = tmp_path / "flat.toml", tmp_path / "moved.toml"
    path.write_text(small_text("[]", MAY), encoding="utf-8")
    assert main(["bed", str(path), "--plan", "as-built", "-o", str(moved)]) == 0
    assert "the job with the bed at the best place under today" in capsys.readouterr().out
    before, after = (each.read_text("utf-8").splitlines() for each in (path, moved))
    changed = [new for old, new in zip(before, after, strict=True) if old != new]
    assert len(changed) == 2
    assert changed[0].endswith("# as it stands")
    (receiver,) = load(moved).receivers
    assert receiver.bed is not None
    assert receiver.bed.head is not None
    assert receiver.bed.may_move
    assert not np.allclose(receiver.position_m, load(path).receivers[0].position_m)


@pytest.mark.parametrize(
    ("head", "towards"),
    [("north", (0, 1)), ("east", (1, 0)), ("south", (0, -1)), ("west", (-1, 0))],
)
def test_the_bed_is_drawn_with_its_head_where_the_job_has_it(
    small_job: Maker, head: str, towards: tuple[int, int]
) -> None:
    room = small_job("[]").building.space("bedroom")
    point = np.array([1.8, 1.5, 0.6])
    bed = Bed(size_m=(0.8, 1.1), head=head)  # type: ignore[arg-type]
    slab = next(
        each
        for each in bed_for(position_m=point, size_m=None, space=room, bed=bed)
        if each.kind == "slab"
    )
    assert slab.size_m[:2] == pytest.approx([1.1, 0.8])
    feet = slab.centre_m[:2] - point[:2]
    assert feet / np.linalg.norm(feet) == pytest.approx(-np.array(towards), abs=1e-9)
    box = bed_for(position_m=point, size_m=np.array([2, 2.0, 0.4]), space=room, bed=bed)
    pillow = next(each for each in box if each.kind == "pillow")
    if head in ("north", "south"):  # a square box lies along y
        assert np.sign(pillow.centre_m[1] - point[1]) == towards[1]


@pytest.mark.parametrize(
    ("bed", "said"),
    [
        ('{ head = "up" }', "receiver"),
        ('{ size = "0.2 m x 2 m" }', "0.3 m"),
        ('{ size = "0.9 m x 2 m", may-mov = true }', "may-move"),
    ],
)
def test_a_bed_that_cannot_be_is_one_fault(small_job: Maker, bed: str, said: str) -> None:
    with pytest.raises(ProjectFileError, match=said) as caught:
        small_job("[]", (AT, f"{AT}\nbed = {bed}"))
    assert len(caught.value.faults) == 1


def test_a_box_says_its_size_once(small_job: Maker) -> None:
    box = f'{AT}\nsize = "0.9 m x 2.0 m x 0.2 m"\n'
    with pytest.raises(ProjectFileError, match="size of bed does not go with"):
        small_job("[]", (AT, f'{box}bed = {{ size = "0.9 m x 2 m" }}'))
    job = small_job("[]", (AT, 'at = "0.7, 1.2, 0.7 m"\nsize = "0.9 m x 2.0 m x 0.2 m"'))
    assert bed_of(job.receivers[0]).size_m == (0.9, 2.0)
