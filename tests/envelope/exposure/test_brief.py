"""Levels, shares and ranks do not rest on what a first screen leaves out."""

from __future__ import annotations

import math

from envelope.exposure.analysis import analyze
from envelope.exposure.casts import cast_job


def test_a_brief_analysis_has_the_levels_of_a_whole_one(
    room_plain, window_plain, mast_plain, read_job, few
):
    job = read_job(
        room_plain(
            opening=[window_plain()],
            source=[mast_plain(scattered=0.2)],
            receiver=[{"id": "bed", "space": "room", "at": "1.6, 1.1, 1.0 m",
                       "size": "0.9 m x 1.9 m x 0.2 m"}],
        )
    )  # fmt: skip
    whole, brief = (
        analyze(job=job, casts=cast_job(job, sampling=few, lit=lit)).plans[0].receivers[0]
        for lit in (True, False)
    )
    assert brief.level_w_m2 == whole.level_w_m2
    assert [each.entries for each in brief.sources] == [each.entries for each in whole.sources]
    assert [(each.panel, each.share) for each in brief.panels] == [
        (each.panel, each.share) for each in whole.panels
    ]
    assert whole.sources[0].paths
    assert not brief.sources[0].paths
    assert math.isnan(brief.sources[0].lit_area_m2)
    assert math.isnan(brief.bands[0].isotropic_diffuse)
    assert whole.worst is not None
    assert brief.worst is None
