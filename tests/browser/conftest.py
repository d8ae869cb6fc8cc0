"""A real Chromium for tests of pages, cut off from the network and from the maker's services."""

from __future__ import annotations

import dataclasses
import datetime
import io
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, Playwright, expect, sync_playwright

from envelope.building.job import Job
from envelope.exposure.analysis import analyze
from envelope.exposure.analysis_record import Analysis
from envelope.exposure.casts import cast_job
from envelope.project import load
from envelope.rays import Sampling
from viewer.handout.build import write_handout
from viewer.scene.build import build_scene
from viewer.scene.records import Scene
from viewer.scene.sky_cache import skies_json

QUIET = (
    "--headless",
    "--no-sandbox",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
)
SLOW_MS = 60_000  # what is waited for in a machine that is busy with other things
expect.set_options(timeout=SLOW_MS)
SOFTWARE_GL = ("--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader")
NO_GL = ("--disable-gpu", "--disable-3d-apis")


def chromium_place() -> str | None:
    """The system's Chromium; None lets Playwright take its own."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="module")
def playwright() -> Iterator[Playwright]:
    """Playwright, for every browser of the session."""
    with sync_playwright() as running:
        yield running


@pytest.fixture(scope="module")
def chromium(playwright: Playwright) -> Iterator[Browser]:
    """Chromium with WebGL drawn in software."""
    browser = playwright.chromium.launch(
        executable_path=chromium_place(), args=[*QUIET, *SOFTWARE_GL]
    )
    yield browser
    browser.close()


@pytest.fixture(scope="module")
def chromium_without_webgl(playwright: Playwright) -> Iterator[Browser]:
    """Chromium whose canvases have no WebGL."""
    browser = playwright.chromium.launch(executable_path=chromium_place(), args=[*QUIET, *NO_GL])
    yield browser
    browser.close()


@dataclass
class Watched:
    """A page, what it asked the network for, and what went wrong in it."""

    page: Page
    requests: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)

    def outside(self) -> list[str]:
        """Requests that would have left the machine."""
        return [each for each in self.requests if not each.startswith(("file:", "blob:", "data:"))]


@pytest.fixture
def watch() -> Iterator[Callable[..., Watched]]:
    """``watch(browser, width=, height=, offline=, touch=, density=)`` opens a watched page."""
    contexts: list[Any] = []

    def opened(
        browser: Browser,
        *,
        width: int = 1280,
        height: int = 860,
        offline: bool = True,
        touch: bool = False,
        density: float = 1.0,
    ) -> Watched:
        context = browser.new_context(
            viewport={"width": width, "height": height},
            offline=offline,
            has_touch=touch,
            is_mobile=touch,
            device_scale_factor=density,
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(SLOW_MS)
        watched = Watched(page=page)
        page.on("request", lambda request: watched.requests.append(request.url))
        page.on("pageerror", lambda error: watched.errors.append(str(error)))
        page.on(
            "console",
            lambda said: watched.errors.append(said.text) if said.type == "error" else None,
        )
        return watched

    yield opened
    for context in contexts:
        context.close()


DATE = datetime.date(2025, 11, 25)
QUICK = Sampling(points_per_panel=2**9, points=2**12)
STILLS = {"as-built": (200, 160, 90), "all-round": (20, 60, 150)}


@dataclasses.dataclass(frozen=True)
class Made:
    """A hand-out that was written, and from what."""

    job: Job
    analysis: Analysis
    scene: Scene
    path: Path
    size: int
    stills: dict[str, tuple[int, int, int]]  # colour of the still of each plan that has one


def png(colour: tuple[int, int, int]) -> bytes:
    drawn = io.BytesIO()
    Image.new("RGB", (60, 40), colour).save(drawn, "PNG")
    return drawn.getvalue()


@pytest.fixture(scope="session")
def handout(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """The hand-out of the demo house, written once."""
    job = load(ROOT / "models" / "house.toml")
    analysis = analyze(job=job, casts=cast_job(job, sampling=QUICK))
    scene = build_scene(job=job, results=analysis.plans)
    path = tmp_path_factory.mktemp("handout") / "Larch Cottage & more.html"
    size = write_handout(
        path,
        scene=scene,
        job=job,
        analysis=analysis,
        date=DATE,
        skies=skies_json(job=job, results=analysis.plans, side=120),
        pictures={plan: png(shade) for plan, shade in STILLS.items()},
        plan="walls-only",
    )
    return Made(job=job, analysis=analysis, scene=scene, path=path, size=size, stills=STILLS)


ROOT = Path(__file__).parent.parent.parent
START = """
import sys
from pathlib import Path
from viewer.app.server import run
path = Path(sys.argv[2]) if sys.argv[2:] else None
sys.exit(run(path, open_browser=False, empty_s=float(sys.argv[1])))
"""


@dataclass(frozen=True, kw_only=True)
class App:
    """A running app."""

    address: str  # with the key, which works once
    process: subprocess.Popen[str]

    @property
    def origin(self) -> str:
        return self.address.split("/?")[0]


@contextmanager
def running(*arguments: str, folder: Path, empty_s: float) -> Iterator[App]:
    """The app in a process of its own, in a folder."""
    environment = {k: v for k, v in os.environ.items() if k != "PYTEST_CURRENT_TEST"}
    environment["PYTHONPATH"] = str(ROOT)
    environment["GAPCAST_STATE"] = str(folder / ".state")  # not this user's own
    with subprocess.Popen(
        [sys.executable, "-c", START, str(empty_s), *arguments],
        cwd=folder,
        env=environment,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        try:
            assert process.stderr is not None
            said = process.stderr.readline()
            found = re.search(r"http://127\.0\.0\.1:\d+/\?key=\S+", said)
            assert found is not None, said + process.stderr.read()
            yield App(address=found[0], process=process)
        finally:
            process.terminate()


@pytest.fixture(scope="module")
def started() -> Iterator[Callable[..., App]]:
    """Starts apps that end with the tests."""
    with ExitStack() as apps:

        def start(*arguments: str, folder: Path, empty_s: float = 20.0) -> App:
            return apps.enter_context(running(*arguments, folder=folder, empty_s=empty_s))

        yield start
