"""Each panel's share of the whole level, diffuse part and all."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from envelope.building.job import Job
from envelope.exposure.analysis_record import Analysis

Plain = Callable[..., dict[str, Any]]


def test_a_room_lit_through_one_window_owes_it_the_whole_level(
    room_plain: Plain, window_plain: Plain, mast_plain: Plain,
    read_job: Callable[[Any], Job], analyzed_job: Callable[..., Analysis],
) -> None:  # fmt: skip
    job = read_job(room_plain(opening=[window_plain()], source=[mast_plain(scattered=0.3)]))
    (receiver,) = analyzed_job(job).plans[0].receivers
    shares = {panel.panel: panel.share for panel in receiver.panels}
    assert shares["room/W1"] == pytest.approx(1.0, abs=1e-9)
    assert sum(shares.values()) == pytest.approx(1.0)


def test_what_misses_the_bed_feeds_the_room_by_what_it_lets_in(
    room_plain: Plain, window_plain: Plain, mast_plain: Plain,
    read_job: Callable[[Any], Job], analyzed_job: Callable[..., Analysis],
) -> None:  # fmt: skip
    """Two windows alike, one over the other, the bed in neither beam: half each."""
    job = read_job(
        room_plain(
            assembly=[{"id": "wall", "loss": "200 dB"}, {"id": "pane", "loss": "3 dB"}],
            opening=[
                window_plain(at="2.0 m", size="1.0 m x 0.5 m", sill="0.5 m"),
                window_plain(id="W2", at="2.0 m", size="1.0 m x 0.5 m", sill="1.5 m"),
            ],
            receiver=[{"id": "bed", "space": "room", "at": "0.4, 1.5, 0.4 m"}],
            source=[mast_plain()],
        )
    )
    (receiver,) = analyzed_job(job).plans[0].receivers
    shares = {panel.panel: panel.share for panel in receiver.panels}
    assert receiver.sources[0].direct_w_m2 == pytest.approx(0.0, abs=1e-20)
    assert shares["room/W1"] == pytest.approx(0.5, abs=1e-6)
    assert shares["room/W2"] == pytest.approx(0.5, abs=1e-6)


def test_without_a_source_shares_are_of_an_isotropic_field(
    room_plain: Plain, window_plain: Plain,
    read_job: Callable[[Any], Job], analyzed_job: Callable[..., Analysis],
) -> None:  # fmt: skip
    job = read_job(room_plain(opening=[window_plain()]))
    (receiver,) = analyzed_job(job).plans[0].receivers
    shares = {panel.panel: panel.share for panel in receiver.panels}
    assert shares["room/W1"] == pytest.approx(1.0, abs=1e-9)
    assert receiver.headline.outside_w_m2 == 1.0
    assert receiver.headline.reduction_db == receiver.bands[0].isotropic_reduction_db
