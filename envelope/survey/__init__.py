"""What a meter showed, against what is computed: levels outside solved from readings."""

from envelope.survey.levels import with_notes, with_solved_levels

__all__ = ["with_notes", "with_solved_levels"]
