"""A flooded battery's thirst: water drunk from week to week, and whether that is clearly more than before.

Water is lost when charge goes on past full: 3600*M/(2F) = 0.336 g an ampere-hour a cell (Faraday's law). So a set
that drinks more than it did is overcharged, old, or hot. Which of these, qualified people find out; the number only
says where to look.
"""

from __future__ import annotations

FARADAY = 96485.33212  # C/mol, exact by the SI of 2019 (CODATA 2018)
WATER = 18.015  # g/mol, from memory

MORE = 1.5
"""Half as much again as the week before: what a refill to another mark does not explain."""
CLEARLY_ML = 300
"""And by at least this much: less is spilt or left in the bottle."""


def water_lost_g(overcharge_ah: float, cells: int) -> float:
    """Grams of water that so many ampere-hours of overcharge split, over all cells of a set."""
    return overcharge_ah * cells * 3600 * WATER / (2 * FARADAY)


def thirstier(before_ml: int, now_ml: int) -> bool:
    """Whether a set drank clearly more than in the week before. Nothing is said where nothing is known of before."""
    return before_ml > 0 and now_ml > before_ml * MORE and now_ml - before_ml >= CLEARLY_ML
