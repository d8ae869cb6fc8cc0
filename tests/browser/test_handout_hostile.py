"""The hand-out of a job whose names mean harm."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Callable
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser

from envelope.building.job import Job
from envelope.exposure.analysis import analyze
from envelope.exposure.analysis_record import Analysis
from envelope.exposure.casts import cast_job
from envelope.rays import Sampling
from viewer.handout.build import write_handout
from viewer.scene.build import build_scene
from viewer.scene.sky_cache import skies_json

DATE = datetime.date(2025, 11, 25)
QUICK = Sampling(points_per_panel=2**9, points=2**12)
HOSTILE = (
    "<script>globalThis.pwned = 1</script>",
    "</script><img src=x onerror=globalThis.pwned=1>",
    "x" * 10_000,
    "\u202egnihton\u202c \u2067right\u2069",
    "'\"><svg onload=globalThis.pwned=1>",
)


def renamed(job: Job) -> tuple[Job, Analysis]:
    """The same job with names that mean harm wherever a file may give one."""
    tag, end, endless, turned, quoted = HOSTILE
    treatments = {key: dataclasses.replace(each, id=key) for key, each in job.treatments.items()}
    treatments[end] = dataclasses.replace(treatments.pop("film"), id=end)
    treatments[endless] = dataclasses.replace(treatments.pop("curtain"), id=endless)
    swap = {"film": end, "curtain": endless}
    plans = tuple(
        dataclasses.replace(
            plan,
            title=turned + quoted if plan.id == "walls-only" else plan.title,
            treatments={
                panel: tuple(swap.get(worn, worn) for worn in each)
                for panel, each in plan.treatments.items()
            },
        )
        for plan in job.plans
    )
    receivers = (dataclasses.replace(job.receivers[0], id=quoted),)
    sources = (dataclasses.replace(job.sources[0], id=endless), *job.sources[1:])
    changed = dataclasses.replace(
        job, name=tag, treatments=treatments, plans=plans, receivers=receivers, sources=sources
    )
    casts = cast_job(changed, sampling=QUICK)
    return changed, analyze(job=changed, casts=casts, plans=changed.plans[:3])


def test_hostile_names_neither_run_nor_break_the_page(
    watch: Callable[..., Any], chromium: Browser, handout: Any, tmp_path: Path
) -> None:
    job, analysis = renamed(handout.job)
    path = tmp_path / "hostile.html"
    write_handout(
        path,
        scene=build_scene(job=job, results=analysis.plans),
        job=job,
        analysis=analysis,
        date=DATE,
        skies=skies_json(job=job, results=analysis.plans, side=48),
        plan="walls-and-windows",
    )
    for width in (1280, 390):
        watched = watch(chromium, width=width)
        page = watched.page
        page.goto(path.as_uri())
        page.wait_for_selector("html.ready", state="attached")
        assert watched.errors == []
        assert watched.outside() == []
        assert page.evaluate("globalThis.pwned") is None
        assert page.locator("h1").inner_text() == HOSTILE[0]
        assert page.evaluate("document.documentElement.scrollWidth") == width
        page.locator("input[name=plan][value='1']").check(force=True)
        assert "gnihton" in page.locator(".verdicts .case.on .verdict").inner_text()
        page.evaluate("(id) => gapcast.view.hover(id)", "bedroom/W1")
        assert page.locator("#view .gc-tip").bounding_box()["width"] <= 300
        assert page.evaluate("globalThis.pwned") is None
        assert page.locator("body img").count() == 0
