"""Expected nights as a form: which weekdays, from, to, and dates left out; kept as RFC 5545 rules.

A rule that says more than weekdays is never bent to fit the form: it is shown as it stands and kept as it stands.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from starlette.datastructures import FormData

from logbook.domain.register import RuleKey, calendar_of
from logbook.domain.wording.mark import mark
from logbook.web.forms import text

DAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
DAY_NAMES = (mark("Mon"), mark("Tue"), mark("Wed"), mark("Thu"), mark("Fri"), mark("Sat"), mark("Sun"))
MOST = 6
_WEEKLY = re.compile(r"FREQ=WEEKLY;BYDAY=((?:MO|TU|WE|TH|FR|SA|SU)(?:,(?:MO|TU|WE|TH|FR|SA|SU))*)")
_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)", re.ASCII)

NO_TIMES = mark("A night needs a beginning and an end, such as 22:00 and 06:00. Nothing was saved.")


@dataclass(frozen=True, slots=True)
class NightRow:
    """One rule as the form shows it. `days`: (sign, name, ticked)."""

    number: int
    days: tuple[tuple[str, str, bool], ...]
    begins: str = ""
    ends: str = ""
    left_out: str = ""


def _row(number: int, days: Sequence[str], begins: str, ends: str, left_out: str) -> NightRow:
    return NightRow(
        number, tuple((d, n, d in days) for d, n in zip(DAYS, DAY_NAMES, strict=True)), begins, ends, left_out
    )


def _days(rule: str) -> tuple[str, ...] | None:
    if rule == "FREQ=DAILY":
        return DAYS
    found = _WEEKLY.fullmatch(rule)
    return None if found is None else tuple(found[1].split(","))


def rows(rules: Sequence[RuleKey]) -> tuple[list[NightRow], list[str]]:
    """The rules that the form can show, with one empty row more; and those that stay as text."""
    shown: list[NightRow] = []
    foreign: list[str] = []
    for rule, begins, ends, left_out in rules:
        days = _days(rule)
        if days is None:
            foreign.append(f"{rule} {begins}-{ends}")
        else:
            shown.append(_row(len(shown), days, begins, ends, " ".join(left_out)))
    if len(shown) < MOST:
        shown.append(_row(len(shown), (), "", "", ""))
    return shown, foreign


def entered_rows(fields: FormData) -> list[NightRow]:
    """The rows as they were entered, to be shown again."""
    found = [
        _row(
            n,
            [str(d) for d in fields.getlist(f"n{n}_day")],
            text(fields, f"n{n}_from", 20),
            text(fields, f"n{n}_to", 20),
            text(fields, f"n{n}_except"),
        )
        for n in range(MOST)
        if f"n{n}_from" in fields
    ]
    return found or rows(())[0]


def read(fields: FormData, before: Sequence[RuleKey], zone: str) -> list[dict[str, Any]]:
    """The rules that a form gives: those it cannot show first, as they stood. Raises ValueError with a sentence."""
    found: list[dict[str, Any]] = []
    if text(fields, "foreign") != "drop":
        found = [_entry(*rule) for rule in before if _days(rule[0]) is None]
    for n in range(MOST):
        days = [d for d in DAYS if d in fields.getlist(f"n{n}_day")]
        begins, ends = text(fields, f"n{n}_from", 20), text(fields, f"n{n}_to", 20)
        if not days:
            continue
        left_out = re.split(r"[\s,;]+", text(fields, f"n{n}_except"))
        rule = "FREQ=DAILY" if len(days) == 7 else "FREQ=WEEKLY;BYDAY=" + ",".join(days)
        found.append(_entry(rule, _time(begins), _time(ends), tuple(d for d in left_out if d)))
    calendar_of(tuple((r["rule"], r["from"], r["to"], tuple(r["except"])) for r in found), zone)
    return found


def _time(said: str) -> str:
    match = _CLOCK.fullmatch(said)
    if match is None:
        raise ValueError(NO_TIMES)
    return f"{int(match[1]):02d}:{match[2]}"


def _entry(rule: str, begins: str, ends: str, left_out: tuple[str, ...]) -> dict[str, Any]:
    return {"rule": rule, "from": begins, "to": ends, "except": list(left_out)}
