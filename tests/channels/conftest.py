"""Stages: a whole logbook each, closed when its test ends."""

from tests.whole.stage import make

__all__ = ["make"]
