"""The cutaway as a figure for notebooks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from envelope.building.job import Job
from envelope.exposure.analysis_record import Analysis

if TYPE_CHECKING:
    from viewer.pictures.staging import Quantity


def cutaway_figure(
    job: Job,
    analysis: Analysis,
    *,
    plan: str | None = None,
    receiver: str | None = None,
    quantity: Quantity = "let-in",
    off_screen: bool = False,
) -> Any:
    """Draw the cutaway of one plan of an analysis, to be turned by hand in a notebook.

    Parameters
    ----------
    job : Job
        The one that was analysed.
    analysis : Analysis
        From `envelope.analyze`.
    plan : str, optional
        One of the plans analysed; the last unless stated.
    receiver : str, optional
        Whose room; the first unless stated.
    quantity : "let-in", "loss", "treatment" or "wiring"
        What colours mean.
    off_screen : bool
        Draw without a display, for `screenshot`.

    Returns
    -------
    pyvista.Plotter
        `show()` opens it, in a window or in a notebook; `screenshot()` is a picture of it.

    Raises
    ------
    EnvelopeError
        Where nothing can be drawn here, or the plan was not analysed.
    """
    from viewer.pictures.figure import figure
    from viewer.scene.build import build_scene

    shown = analysis.plans[-1].plan if plan is None else analysis.plan(plan).plan
    scene = build_scene(job=job, results=analysis.plans, threshold_db=analysis.threshold_db)
    return figure(scene, plan=shown, receiver=receiver, quantity=quantity, off_screen=off_screen)
