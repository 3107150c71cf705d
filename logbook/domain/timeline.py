"""A value that changes from time to time, answerable as of any instant.

Promises that what was in force then is answered for ever as it was then, in the time of one bisection. Before the
first change it answers as of the first: what happened before the log began is judged by the log's first word.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from typing import Generic, TypeVar

from logbook.domain.instants import Instant

T = TypeVar("T")


class Timeline(Generic[T]):
    """Values by the instant from which each is in force."""

    __slots__ = ("instants", "values")

    def __init__(self, changes: Iterable[tuple[Instant, T]] = ()) -> None:
        self.instants: list[Instant] = []
        self.values: list[T] = []
        for at, value in changes:
            self.put(at, value)

    def put(self, at: Instant, value: T) -> None:
        """From `at` on, this value. Raises ValueError if a later change is known: a log never goes back."""
        if self.instants and at < self.instants[-1]:
            raise ValueError("a change cannot be put in before one that is known already")
        if self.instants and at == self.instants[-1]:
            self.values[-1] = value
            return
        self.instants.append(at)
        self.values.append(value)

    def at(self, at: Instant) -> T:
        """The value in force at an instant. Raises IndexError if there never was one."""
        return self.values[max(0, bisect_right(self.instants, at) - 1)]

    def __bool__(self) -> bool:
        return bool(self.instants)
