"""Ratios of power in decibels, infinite where nothing is left."""

from __future__ import annotations

import math


def decibels(ratio: float) -> float:
    """Ten times the common logarithm, infinite where the ratio is zero or infinite. [dB]"""
    if ratio <= 0.0:
        return -math.inf
    return math.inf if math.isinf(ratio) else 10.0 * math.log10(ratio)


def reduction_db(outside: float, inside: float) -> float:
    """How far below outside it is inside; zero where there is nothing outside. [dB]"""
    if outside <= 0.0:
        return 0.0
    return decibels(outside / inside) if inside > 0.0 else math.inf
