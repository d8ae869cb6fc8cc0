"""What a meter showed, against what is computed: levels outside solved from readings."""

from envelope.survey.levels import solve_levels

__all__ = ["solve_levels"]
