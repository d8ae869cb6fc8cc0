"""A real Chromium for tests of pages, cut off from the network and from the maker's services."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Playwright, expect, sync_playwright

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
