"""Jobs of one room or a few, said in a dictionary that is changed and then read as a file."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import pytest
import tomlkit

from envelope.building.job import Job
from envelope.exposure.analysis import analyze
from envelope.exposure.analysis_record import Analysis
from envelope.exposure.casts import cast_job
from envelope.project import load_text
from envelope.rays import Sampling

FEW = Sampling(points_per_panel=2**9, points=2**12)
CONSTRUCTION = {
    "exterior-wall": "wall",
    "interior-wall": "wall",
    "floor": "wall",
    "slab": "wall",
    "roof": "wall",
    "window": "pane",
    "door": "pane",
}
# A whole sphere of open sky: the ground is a kilometre down and blocks nothing.
OPEN_SKY = {"grade": "-1000 m", "reach": "0 m"}


def room(**changes: Any) -> dict[str, Any]:
    """A job of one room of 4 × 3 × 2.4 m with opaque walls; keys replace whole tables."""
    plain: dict[str, Any] = {
        "format": 1,
        "name": "test room",
        "site": {"reach": "0 m"},
        "construction": CONSTRUCTION,
        "assembly": [{"id": "wall", "loss": "200 dB"}, {"id": "pane", "loss": "3 dB"}],
        "storey": [{"id": "ground", "floor": "0 m"}],
        "space": [{"id": "room", "storey": "ground", "size": "4 m x 3 m", "height": "2.4 m"}],
        "receiver": [{"id": "bed", "space": "room", "at": "1.3, 1.1, 0.7 m"}],
    }
    return {**plain, **changes}


def window(**changes: Any) -> dict[str, Any]:
    """A window of 1.5 × 1.2 m in the south wall, from x = 1 m and z = 0.9 m."""
    plain = {
        "id": "W1",
        "on": "room/1",
        "kind": "window",
        "at": "1.0 m",
        "sill": "0.9 m",
        "size": "1.5 m x 1.2 m",
    }
    return {**plain, **changes}


def mast(**changes: Any) -> dict[str, Any]:
    """A source due south, on the horizon, 1 mW/m² at every storey."""
    plain = {
        "id": "mast",
        "azimuth": "180 deg",
        "elevation": "0 deg",
        "spread": "0.5 deg",
        "band": "2.45 GHz",
        "level": "1000 uW/m2",
    }
    return {**plain, **changes}


def read(plain: Mapping[str, Any]) -> Job:
    """The job that a dictionary says, through the project file's own reader.

    What it does not say is stated here, so that a test is about what it says: a bare room, a beam
    with nothing scattered, a transmitter that sends always and everywhere alike.
    """
    spaces = [{"furnishing": "0 m2", **space} for space in plain["space"]]
    sources = [
        {"directivity": "0 dB", **({"duty": 1.0} if "eirp" in source else {}), **source}
        if "at" in source
        else {"scattered": 0.0, **source}
        for source in plain.get("source", ())
    ]
    stated = {"source": sources} if sources else {}
    return read_as_it_is({**plain, "space": spaces, **stated})


def read_as_it_is(plain: Mapping[str, Any]) -> Job:
    """The job of a dictionary that may leave things unsaid."""
    return load_text(tomlkit.dumps(plain), path="test.toml")


def analyzed(job: Job, **switches: Any) -> Analysis:
    """Cast with few rays and analysed."""
    return analyze(job=job, casts=cast_job(job, sampling=FEW), **switches)


@pytest.fixture(scope="session")
def few() -> Sampling:
    """A sampling that is quick, and exact for panels that nothing hides."""
    return FEW


@pytest.fixture(scope="session")
def room_plain() -> Callable[..., dict[str, Any]]:
    return room


@pytest.fixture(scope="session")
def window_plain() -> Callable[..., dict[str, Any]]:
    return window


@pytest.fixture(scope="session")
def mast_plain() -> Callable[..., dict[str, Any]]:
    return mast


@pytest.fixture(scope="session")
def open_sky() -> dict[str, str]:
    return OPEN_SKY


@pytest.fixture(scope="session")
def read_job() -> Callable[[Mapping[str, Any]], Job]:
    return read


@pytest.fixture(scope="session")
def read_job_as_it_is() -> Callable[[Mapping[str, Any]], Job]:
    return read_as_it_is


@pytest.fixture(scope="session")
def analyzed_job() -> Callable[..., Analysis]:
    return analyzed
