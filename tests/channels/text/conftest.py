"""A small fleet of a ferry company, one night, and short ways to ask what a text comes to there."""

from __future__ import annotations

from collections.abc import Callable
from zoneinfo import ZoneInfo

import pytest

from logbook.channels.text import Fleet, Reading, answer, read
from logbook.domain import instants

HALIFAX = ZoneInfo("America/Halifax")
NIGHT = instants.parse("2026-11-25T09:12:00Z")  # 05:12 at the terminals
CODES = frozenset({"B7H", "C4J", "C5H", "B8F"})


def make_fleet(lone: str | None = None, zone: ZoneInfo = HALIFAX, language: str = "en") -> Fleet:
    return Fleet(codes=CODES, zone_of=lambda code: zone, lone_machine=lone, language=language, zone=zone)


@pytest.fixture
def fleet() -> Fleet:
    return make_fleet()


@pytest.fixture
def lone_fleet() -> Fleet:
    return make_fleet(lone="B7H")


Ask = Callable[..., Reading]


@pytest.fixture
def ask() -> Ask:
    """`ask(text, at="2026-11-25T09:12:00Z", lone=None, zone="America/Halifax")`."""

    def asked(text: str, *, at: str | None = None, lone: str | None = None, zone: str = "America/Halifax") -> Reading:
        moment = NIGHT if at is None else instants.parse(at)
        return read(text, make_fleet(lone, ZoneInfo(zone)), moment)

    return asked


@pytest.fixture
def kinds(ask: Ask) -> Callable[..., list[str]]:
    """The kinds that a text records, in order; or a list of one with the refusal after "?" or the control after "!"."""

    def said(text: str, **more: str) -> list[str]:
        reading = ask(text, **more)
        if reading.refused is not None:
            assert reading.drafts == ()
            return [f"?{reading.refused}"]
        if reading.control is not None:
            assert reading.drafts == ()
            return [f"!{reading.control}"]
        return [draft.kind for draft in reading.drafts]

    return said


@pytest.fixture
def clocks(ask: Ask) -> Callable[..., list[str]]:
    """What a text records with its times, as "rinse 09:10" in UTC; or the refusal after "?"."""

    def said(text: str, **more: str) -> list[str]:
        reading = ask(text, **more)
        if reading.refused is not None:
            return [f"?{reading.refused}"]
        return [f"{draft.kind} {instants.text(draft.occurred_at)[11:16]}" for draft in reading.drafts]

    return said


@pytest.fixture
def reply(ask: Ask) -> Callable[..., str]:
    """The answer to a text; options as those of `ask` and of `answer`."""

    def said(text: str, *, language: str = "en", owed: object = None, repeated: bool = False, **more: str) -> str:
        reading = ask(text, **more)
        return answer(reading, fleet=make_fleet(), owed=owed, repeated=repeated, language=language)  # type: ignore[arg-type]

    return said
