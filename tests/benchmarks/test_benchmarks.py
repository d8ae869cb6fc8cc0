"""The benchmarks run, at sizes too small to time anything, and the engines' answers agree."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import answers
import engines
import measures
import run
import scenes

from envelope.building.assemble import find_faults
from envelope.rays import Sampling


@pytest.mark.parametrize("make", [scenes.one_room, scenes.house, lambda: scenes.cave(16)])
def test_the_walk_agrees_with_plain_triangles(make: Callable[[], scenes.Scene]) -> None:
    scene = make()
    found = measures.beside(scene, rays=500, judged=1500, rounds=1)
    ours = found.engines[0]
    assert ours.engine == engines.OURS
    for wrong in (ours.by_chance, ours.at_edges):
        assert (wrong.rays, wrong.first, wrong.twice, wrong.parity) == (1500, 0, 0, 0)
    # every other engine finds the same first walls for rays that are not aimed at edges
    assert all(each.by_chance.first == 0 for each in found.engines)
    assert {each.engine for each in found.engines} | set(found.missing) == {
        engines.OURS,
        *engines.MAKERS,
    }


def test_plain_triangles_are_judged_right() -> None:
    """In a house by chance nothing is met twice, and every room is left as often as entered."""
    scene = scenes.house()
    ways = scenes.by_chance(1500, seed=3)
    lister = engines.general_engines(scene, plain=True)[0][engines.PLAIN]
    hits = lister(scene.starts(len(ways)), ways)
    walked = engines.trace(scene, ways)
    judged = engines.judge(scene, ways, walked, hits)
    assert (judged.first, judged.twice, judged.parity) == (0, 0, 0)


def test_a_wrong_list_is_seen() -> None:
    """A hit that is lost, a hit that comes twice, and a first wall that is not the first."""
    scene = scenes.one_room()
    ways = scenes.by_chance(100, seed=3)
    hits = engines.general_engines(scene, plain=True)[0][engines.PLAIN](scene.starts(100), ways)
    walked = engines.trace(scene, ways)
    lost = engines.Hits(ray=hits.ray[1:], triangle=hits.triangle[1:])
    assert engines.judge(scene, ways, walked, lost).first == 1
    assert engines.judge(scene, ways, walked, lost).parity == 1
    double = engines.Hits(
        ray=np.append(hits.ray, hits.ray[:1]), triangle=np.append(hits.triangle, hits.triangle[:1])
    )
    assert engines.judge(scene, ways, walked, double).twice == 1
    assert engines.judge(scene, ways, walked, double).parity == 1
    other = engines.Hits(ray=hits.ray, triangle=np.roll(hits.triangle, 1))
    assert engines.judge(scene, ways, walked, other).first > 20
    assert engines.judge_walk(scene, ways, walked, other).first > 10


def test_scenes_are_what_the_table_says() -> None:
    assert len(scenes.one_room().building.panels) == 8
    assert 400 <= len(scenes.house().building.panels) <= 450
    for rooms in (1, 2, 5, 9, 10):
        assert len(scenes.side_by_side(rooms).building.panels) == 6 * rooms
    assert scenes.side_by_side(9).space == "r4"  # the middle one
    assert len(scenes.round_room(12).building.panels) == 14
    skin = scenes.cave(12).building
    assert len(skin.panels) == 2 * 24 * 11
    assert find_faults(skin.spaces) == []
    aimed = scenes.at_edges(scenes.house(), 200)
    assert np.linalg.norm(aimed, axis=1) == pytest.approx(1.0)


def test_growth_and_memory_are_figures() -> None:
    scene = scenes.one_room()
    grown = measures.growth_with_rays(scene, (2000, 8000), rounds=1)
    assert grown.sizes[0] < grown.sizes[1]
    rooms = measures.growth_with_panels(
        [scenes.side_by_side(1), scenes.side_by_side(4)], what="panels", rays=200, rounds=1
    )
    assert rooms.sizes == (6, 24)
    assert all(seconds > 0.0 for seconds in rooms.seconds)
    built = measures.growth_with_rooms((1, 4), rounds=1)
    assert built.sizes == (1, 4)
    assert all(seconds > 0.0 for seconds in built.seconds)
    assert measures.slope([1, 10, 100], [2, 20, 200]) == pytest.approx(1.0)
    cast, lists = measures.bytes_per_ray(scene, 5000)
    assert 0.0 < cast < 5000.0
    assert 20.0 < lists < 5000.0


def test_another_plan_gives_the_same_numbers_as_casting_again() -> None:
    found = measures.retag_beside_cast(
        scenes.ROOT / "models" / "bedroom.toml",
        rounds=1,
        sampling=Sampling(points_per_panel=64, points=2**12),
    )
    assert found.same
    assert found.receivers == 1


def test_table_is_written_between_its_marks() -> None:
    document = f"# A\n\n{run.BEGIN}\nold\n{run.END}\n\n# B\n"
    text = run.written(document, "new\n")
    assert text == f"# A\n\n{run.BEGIN}\nnew\n{run.END}\n\n# B\n"
    with pytest.raises(ValueError, match="in this order"):
        run.written("# A\n", "new\n")


def test_text_names_what_is_missing_and_every_scene() -> None:
    scene = scenes.one_room()
    found = measures.beside(scene, rays=200, judged=200, rounds=1)
    grown = measures.Growth(what="panels", sizes=(6, 600), seconds=(1.0, 10.0))
    text = run.text_of(
        size=run.QUICK,
        beside_found=[found],
        grown=[grown],
        memory=(30.0, 60.0),
        retag=measures.Retag(job="j", retag_s=0.01, cast_again_s=1.0, receivers=1, same=True),
        answered=answers.Answers(
            job="j",
            plans=4,
            bands=3,
            draws=500,
            cast_s=0.5,
            one_plan_s=0.01,
            all_plans_s=0.05,
            afresh_s=0.6,
            draws_s=0.25,
        ),
        started=measures.Starts(cold_s=9.0, warm_s=0.5, help_over_pass=4.0),
    )
    assert f"| one room: 8 panels, 26 triangles | {engines.OURS} |" in text
    assert "| panels | 6 / 600 | 1 / 10 | 0.50 | 0.50 |" in text
    assert "1 : 100, the same numbers; 10 ms" in text
    assert "| 500 draws of one plan of j, over its casts | 1 : 2; 250 ms |" in text
    for name in found.missing:
        assert name in text
