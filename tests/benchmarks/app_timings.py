"""How long a person waits in the app: a click, an edit of the geometry, the start.

    python tests/benchmarks/app_timings.py [job.toml]

The app runs as it does for a person, in a real Chromium that draws in software. A click puts a
treatment on a window or takes it off; it counts until the page has its numbers, and until the frame
with them is painted. An edit of the geometry counts until numbers are there that are not marked as
old. The start is that of the program with everything compiled, until the first answer stands on the
page. Times of a busy machine say little: the ratios to a click's are printed beside them.
"""

from __future__ import annotations

import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Page, expect, sync_playwright

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "browser")]

from conftest import QUIET, SLOW_MS, SOFTWARE_GL, chromium_place, running  # noqa: E402

CLICKS, EDITS = 20, 3
NUMBERS = ".ga-answer:not(.ga-old) .ga-big"
MEASURED = """name => performance.getEntriesByName(name).map(each => each.duration)"""


def clicks(page: Page) -> tuple[list[float], list[float]]:
    """Milliseconds of clicks on a treatment of a window, to numbers and to the frame."""
    page.locator(".ga-gap", has_text="window").first.click()
    box = page.locator(".ga-worn input").first
    expect(box).to_be_enabled()
    page.wait_for_timeout(3000)  # what is worked out once is worked out
    page.evaluate("performance.clearMeasures()")
    for number in range(1, CLICKS + 1):
        box.click()
        page.wait_for_function(
            f"performance.getEntriesByName('gapcast-painted').length >= {number}"
        )
        page.wait_for_timeout(700)  # ranges follow in peace
    return page.evaluate(MEASURED, "gapcast-numbers"), page.evaluate(MEASURED, "gapcast-painted")


def edits(page: Page) -> list[float]:
    """Seconds of edits of a room's height, until new numbers are there."""
    page.get_by_role("tab", name="Everything").click()
    page.get_by_label("Part of the job").select_option("space")
    height = page.locator(".ga-rowform").get_by_label("height", exact=True)
    found = []
    for number in range(EDITS):
        height.fill(f"{2.5 + 0.01 * number:.2f} m")
        before = time.perf_counter()
        height.press("Tab")
        page.locator(".ga-answer.ga-old").wait_for()
        page.locator(NUMBERS).first.wait_for()
        found.append(time.perf_counter() - before)
        page.wait_for_timeout(3000)
    return found


def main() -> None:
    source = Path(sys.argv[1]) if sys.argv[1:] else ROOT / "models" / "house.toml"
    starts: list[float] = []
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        folder = Path(name)
        shutil.copy(source, folder)
        browser = playwright.chromium.launch(
            executable_path=chromium_place(), args=[*QUIET, *SOFTWARE_GL]
        )
        for last in (False, False, True):
            before = time.perf_counter()
            with running(source.name, folder=folder, empty_s=20.0) as app:
                context = browser.new_context(viewport={"width": 1440, "height": 900})
                page = context.new_page()
                page.set_default_timeout(SLOW_MS)
                page.goto(app.address)
                page.locator(NUMBERS).first.wait_for()
                starts.append(time.perf_counter() - before)
                if last:
                    page.wait_for_timeout(4000)
                    numbers, painted = clicks(page)
                    geometry = edits(page)
                context.close()
        browser.close()
    click = statistics.median(numbers)
    room = (1e3 * statistics.median(geometry), 1e3 * max(geometry))
    rows = [
        ("click to numbers, ms", click, max(numbers)),
        ("click to the painted frame, ms", statistics.median(painted), max(painted)),
        ("edit of a room to new numbers, ms", *room),
        ("start to the first answer, warm, ms", 1e3 * min(starts[1:]), 1e3 * max(starts[1:])),
    ]
    for words, middle, most in rows:
        times = f"median {middle:8.0f}  most {most:8.0f}  {middle / click:7.1f} clicks"
        sys.stdout.write(f"{words:40} {times}\n")


if __name__ == "__main__":
    main()
