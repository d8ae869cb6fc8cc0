"""What a job's model leaves open and its figures would hide: asked before anything is decided."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, get_args

QuestionId = Literal["rooms", "left-out", "nothing-behind", "ground", "materials"]
QUESTION_IDS: tuple[QuestionId, ...] = get_args(QuestionId)


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One thing that the model does not say, or that the job leaves out of it."""

    id: QuestionId
    words: str  # what is open, and what counts meanwhile
    settle: str  # what to write or to do
    panels: tuple[str, ...] = ()  # ids of those that it is about

    def as_plain(self) -> dict[str, Any]:
        """The question as plain data."""
        return {
            "id": self.id,
            "words": self.words,
            "settle": self.settle,
            "panels": list(self.panels),
        }
