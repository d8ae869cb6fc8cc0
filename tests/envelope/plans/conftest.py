"""A small flat for tests that cast: a bedroom, a study with a router behind one wall, one mast."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from envelope.building.job import Job
from envelope.exposure.casts import Casts, cast_job
from envelope.project import load_text
from envelope.rays import Sampling

FEW = Sampling(points_per_panel=2**7, points=2**11)

TEXT = """
format = 1
name = "Invented flat"

[construction]
exterior-wall = "shell"
interior-wall = "between"
floor = "shell"
slab = "shell"
roof = "shell"
window = "pane"

[[assembly]]
id = "shell"
loss = "9 dB"

[[assembly]]
id = "between"
loss = "3 dB"

[[assembly]]
id = "pane"
loss = "1 dB"

[[storey]]
id = "ground"
floor = "0 m"

[[space]]
id = "bedroom"
storey = "ground"
size = "3.6 m x 3.0 m"
height = "2.4 m"
furnishing = "2 m2"

[[space]]
id = "study"
storey = "ground"
origin = "3.7, 0 m"
size = "3.0 m x 3.0 m"
height = "2.4 m"

[[opening]]
id = "W1"
on = "bedroom/south"
kind = "window"
at = "1.0 m"
sill = "0.9 m"
size = "1.2 m x 1.2 m"
frame = "0 m"
film-edge = "0 m"

[[treatment]]
id = "coating"
kind = "fixed"
loss = "20 dB"
price = "30 EUR/m2"

[[treatment]]
id = "film"
kind = "fixed"
loss = "18 dB"
price = "60 EUR/m2"

[[source]]
id = "mast"
azimuth = "190 deg"
elevation = "5 deg"
band = "1805-1880 MHz"
level = "200 uW/m2"
scattered = 0.1

[[source]]
id = "router"
space = "study"
at = "0.4, 1.5, 1.0 m"
band = "2.4-2.4835 GHz"
eirp = "20 dBm"
duty = 0.2
directivity = "3 dB"
# may

[[receiver]]
id = "pillow"
space = "bedroom"
at = "0.7, 1.2, 0.7 m"

[[plan]]
id = "all"
treat = [
    { on = "bedroom/walls", with = "coating" },
    { on = "bedroom/ceiling", with = "coating" },
    { on = "bedroom/W1", with = "film" },
]
"""


Maker = Callable[..., Job]


@pytest.fixture(scope="session")
def small_text() -> Callable[..., str]:
    """The file, with what may be done about the router, and parts of it replaced."""

    def text(may: str | None = None, *changes: tuple[str, str]) -> str:
        found = TEXT if may is None else TEXT.replace("# may", f"may = {may}")
        for old, new in changes:
            assert old in found, old
            found = found.replace(old, new)
        return found

    return text


@pytest.fixture(scope="session")
def small_job(small_text: Callable[..., str]) -> Maker:
    """The same as a job."""
    return lambda *changes: load_text(small_text(*changes), path="flat.toml")


@pytest.fixture(scope="session")
def small_casts(small_job: Maker) -> Casts:
    """Casts of it, which hold whatever may be done about its router."""
    return cast_job(small_job(), sampling=FEW)
