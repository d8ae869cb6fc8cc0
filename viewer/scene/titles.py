"""A scene for people who never see an id: treatments by what the client calls them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from envelope.building.job import Job
from envelope.exposure.results import PanelLeak, PlanResult, ReceiverResult
from viewer.scene.records import PanelState, Scene, ScenePanel, ScenePlan

_Rename = Callable[[tuple[str, ...]], tuple[str, ...]]


def with_titles(scene: Scene, job: Job) -> Scene:
    """The same scene with the title of every treatment in place of its id.

    Two treatments of one title keep their ids, as does one whose title is another's id. Nothing but
    words changes; the app, which edits by id, shows the scene as it is.
    """
    names = _titles(job)
    if not names:
        return scene

    def renamed(treatments: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(names.get(each, each) for each in treatments)

    return replace(
        scene,
        panels=tuple(_panel(panel, renamed) for panel in scene.panels),
        plans=tuple(_plan(plan, names, renamed) for plan in scene.plans),
        treatments=tuple(
            replace(style, treatment=names.get(style.treatment, style.treatment))
            for style in scene.treatments
        ),
    )


def _titles(job: Job) -> dict[str, str]:
    """Titles by id of those that have one of their own."""
    titles = [each.title for each in job.treatments.values() if each.title]
    return {
        name: each.title
        for name, each in job.treatments.items()
        if each.title and titles.count(each.title) == 1 and each.title not in job.treatments
    }


def _panel(panel: ScenePanel, renamed: _Rename) -> ScenePanel:
    return replace(panel, states=tuple(_state(state, renamed) for state in panel.states))


def _state(state: PanelState, renamed: _Rename) -> PanelState:
    return replace(
        state,
        treatments=renamed(state.treatments),
        leaks=tuple(None if leak is None else _leak(leak, renamed) for leak in state.leaks),
    )


def _leak(leak: PanelLeak, renamed: _Rename) -> PanelLeak:
    return replace(
        leak, treatments=renamed(leak.treatments), treated_with=renamed(leak.treated_with)
    )


def _plan(plan: ScenePlan, names: Mapping[str, str], renamed: _Rename) -> ScenePlan:
    return replace(
        plan,
        treated_area_m2={
            names.get(treatment, treatment): area_m2
            for treatment, area_m2 in plan.treated_area_m2.items()
        },
        result=None if plan.result is None else _result(plan.result, renamed),
    )


def _result(result: PlanResult, renamed: _Rename) -> PlanResult:
    return replace(result, receivers=tuple(_receiver(each, renamed) for each in result.receivers))


def _receiver(found: ReceiverResult, renamed: _Rename) -> ReceiverResult:
    return replace(
        found,
        panels=tuple(_leak(leak, renamed) for leak in found.panels),
        sources=tuple(
            replace(
                source,
                paths=tuple(
                    replace(path, treatments=renamed(path.treatments)) for path in source.paths
                ),
            )
            for source in found.sources
        ),
    )
