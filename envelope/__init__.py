"""Gapcast: finds the gaps that remain in a shielded room."""
