"""What a meter showed, against what is computed: levels outside solved from readings."""

from envelope.survey.glazing import Glazing, glazing_found
from envelope.survey.levels import solve_levels

__all__ = ["Glazing", "glazing_found", "solve_levels"]
