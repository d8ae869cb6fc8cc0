"""What `gapcast bed` says of levels that readings move at the bed alone."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from envelope.building.fitted import Fitted, FittedPlace
from envelope.commands.bed import read_apart
from envelope.project import load

BEDROOM = Path(__file__).parents[3] / "models" / "bedroom.toml"


@pytest.mark.parametrize(
    ("shift_db", "said"),
    [
        (-0.38, "put its level 0.4 dB lower than"),
        (1.2, "put its level 1.2 dB higher than"),
        (0.04, ""),
    ],
)
def test_a_bed_that_was_read_says_why_its_level_is_not_that_of_analyze(
    shift_db: float, said: str
) -> None:
    place = FittedPlace(
        plans=("as-built",),
        covariance_db2=np.eye(1),
        work_db2=(0.0,),
        error_db=np.zeros((1, 2)),
        parts_w_m2=({},),
        shift_db=(shift_db,),
    )
    fitted = Fitted(
        count=1,
        seed=0,
        chosen=np.zeros(2, dtype=np.int64),
        level={},
        duty={},
        effective=1.0,
        places={"bed": place},
    )
    job = replace(load(BEDROOM), fitted=fitted)
    words = read_apart(job, "bed").replace("\xa0", " ")
    assert (said in words) if said else (words == "")
    assert read_apart(replace(job, fitted=None), "bed") == ""
