"""Gapcast: finds the gaps that remain in a shielded room.

    job = envelope.solve_levels(envelope.load("bedroom.toml"))
    casts = envelope.cast(job)
    envelope.compare(job, casts)

Everything named in `__all__` is loaded when it is first used: importing the package costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from envelope.api import analyze, cast, compare, decide
    from envelope.building.job import (
        Assembly,
        Job,
        Layer,
        LossCurve,
        Material,
        Plan,
        Receiver,
        Source,
        Treatment,
    )
    from envelope.errors import (
        CancelledError,
        EnvelopeError,
        GeometryError,
        LevelsError,
        MissingExtraError,
        ModelFileError,
        ProjectFileError,
        RangeError,
        RecordError,
        StaleCastError,
        UnitError,
        UnknownNameError,
    )
    from envelope.exposure.analysis_record import Analysis
    from envelope.exposure.casts import Casts
    from envelope.exposure.comparison import Comparison
    from envelope.plans.decision import Decision
    from envelope.project.load import load
    from envelope.survey.levels import solve_levels

__version__: Final = "0.1.0"

__all__ = [
    "Analysis",
    "Assembly",
    "CancelledError",
    "Casts",
    "Comparison",
    "Decision",
    "EnvelopeError",
    "GeometryError",
    "Job",
    "Layer",
    "LevelsError",
    "LossCurve",
    "Material",
    "MissingExtraError",
    "ModelFileError",
    "Plan",
    "ProjectFileError",
    "RangeError",
    "Receiver",
    "RecordError",
    "Source",
    "StaleCastError",
    "Treatment",
    "UnitError",
    "UnknownNameError",
    "__version__",
    "analyze",
    "cast",
    "compare",
    "decide",
    "load",
    "solve_levels",
]

# Module that holds each name, loaded when the name is first used.
_HOMES: Final = {
    "envelope.api": ("analyze", "cast", "compare", "decide"),
    "envelope.building.job": (
        *("Assembly", "Job", "Layer", "LossCurve", "Material", "Plan", "Receiver", "Source"),
        "Treatment",
    ),
    "envelope.errors": (
        *("CancelledError", "EnvelopeError", "GeometryError", "LevelsError", "MissingExtraError"),
        *("ModelFileError", "ProjectFileError", "RangeError", "RecordError", "StaleCastError"),
        *("UnitError", "UnknownNameError"),
    ),
    "envelope.exposure.analysis_record": ("Analysis",),
    "envelope.exposure.casts": ("Casts",),
    "envelope.exposure.comparison": ("Comparison",),
    "envelope.plans.decision": ("Decision",),
    "envelope.project.load": ("load",),
    "envelope.survey.levels": ("solve_levels",),
}


def __getattr__(name: str) -> Any:
    for home, names in _HOMES.items():
        if name in names:
            value = getattr(importlib.import_module(home), name)
            globals()[name] = value
            return value
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
